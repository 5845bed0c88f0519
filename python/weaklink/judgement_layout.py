"""The layout of an invented amplifier: its sections, routes and contacts, and its job sheet. No real set is behind any of it."""

from __future__ import annotations

import math

import numpy as np

from ._core import Chain, Contact, Divider, Lead, Load, Section, Source, Stage

# sources by their typical names, and what stands behind them in the typical table, ohm
SOURCES = {"tape": ("tape deck", 2200.0), "disc": ("disc player", 1000.0), "tuner": ("tuner", 2200.0)}


class Layout:
    """A random amplifier: sections, routes, what every contact sees at its level."""

    def __init__(self, rng: np.random.Generator, wrong_by: float) -> None:
        self.rng = rng
        u = rng.uniform
        self.out_v = float(np.exp(u(math.log(0.1), math.log(3.0))))
        track, setting = float(rng.choice([20e3, 50e3, 100e3])), float(u(-40.0, -15.0))
        self.signal = {name: float(u(0.15, 0.6)) for name in SOURCES}
        self.gain_db = float(u(26.0, 32.0))
        inputs = ["tape", "disc", "tuner"][: int(rng.integers(1, 4))]
        self.phono = bool(rng.random() < 0.5)
        if not self.phono and len(inputs) == 1:
            inputs = ["tape", "disc"]
        self.inputs = inputs
        self.monitor = bool(rng.random() < 0.5)
        self.relay = "speaker relay / a"
        self.track, self.setting = track, setting
        selector = str(rng.choice(["rotary switch", "slide switch", "push switch"]))
        self.kinds = {"source selector": selector, "tape monitor": "slide switch", "volume control": "potentiometer", "speaker relay": "relay"}
        usual = {"rotary switch": 0.04, "slide switch": 0.13, "push switch": 0.25}
        self.usual = {"source selector": usual[selector], "tape monitor": 0.13, "volume control": 0.03 * track, "speaker relay": 0.1}
        # the sheet's values are off where that is asked for

        def off() -> float:
            return float(float(np.exp(rng.normal(0.0, wrong_by))) if wrong_by else 1.0)

        self.off = {name: off() for name in ("signal", "track")}
        self.routes = {name: self._route(name) for name in ([*inputs, "phono"] if self.phono else inputs)}

    def _select(self, name: str) -> list[str]:
        path = [f"{name} socket / pin"] if name != "phono" else []
        path.append(f"source selector / {name}")
        return [*path, f"tape monitor / {name}"] if self.monitor else path

    def _route(self, name: str) -> list[str]:
        pins = ["phono socket / pin"] if name == "phono" else []
        return [*pins, *self._select(name), "volume control / wiper", self.relay]

    def contacts(self) -> list[str]:
        """Every contact once."""
        return list(dict.fromkeys(name for route in self.routes.values() for name in route))

    def others(self) -> dict[str, tuple[str, list[str]]]:
        """Stages, sources and loudspeakers: nature and routes."""
        every = list(self.routes)
        found = {"power stage": ("power stage", every), "8 ohm loudspeaker": ("loudspeaker", every)}
        if self.phono:
            found |= {"phono stage": ("stage", ["phono"]), "moving magnet": ("source", ["phono"])}
        return found | {SOURCES[name][0]: ("source", [name]) for name in self.inputs}

    def part_usual(self, contact: str) -> float:
        """What is usual for the contact, ohm."""
        return self.usual.get(contact.split(" / ")[0], 0.1)

    def section(self, route: str, contact: str, film: Contact) -> tuple[Section | Chain, float]:
        """The section around a contact with its film, as a system, and its EMF at the listening level."""
        if contact == "phono socket / pin":
            source = Source(emf_v=5e-3, resistance_ohm=1000.0, inductance_h=0.5)
            section = Section("pin", source=source, path=[Lead(capacitance_f=150e-12), film], load=Load(resistance_ohm=47e3, capacitance_f=100e-12))
            return Chain([section, Stage("phono stage", equalisation="riaa", gain_db=35.0)]), 5e-3
        if contact == self.relay:
            source = Source(emf_v=1.0, resistance_ohm=0.1)
            return Section("out", source=source, path=[film], load=Load(resistance_ohm=8.0)), self.out_v * 8.1 / 8.0
        emf, ohm = self.drive(route)
        source = Source(emf_v=emf, resistance_ohm=ohm)
        control = Divider("control", track_ohm=self.track, setting_db=self.setting, wiper=film if contact == "volume control / wiper" else None)
        path: list[Contact | Lead | Divider] = [control] if contact == "volume control / wiper" else [film, control]
        whole = Section("loop", source=source, path=path, load=Load(resistance_ohm=47e3))
        if contact != "volume control / wiper":
            return whole, emf
        perfect = Section("loop", source=source, path=[Divider("control", track_ohm=self.track, setting_db=self.setting)], load=Load(resistance_ohm=47e3))
        by_chain = emf * abs(perfect.transfer(1000.0)) * 10.0 ** (self.gain_db / 20.0) * 8.0 / 8.1
        return whole, emf * self.out_v / by_chain

    def drives_control(self, who: str) -> bool:
        """Whether a stage or source drives the volume control."""
        return who == "phono stage" or who in {SOURCES[name][0] for name in self.inputs}

    def drive(self, route: str) -> tuple[float, float]:
        """EMF and resistance behind the volume control's track on a route."""
        if route != "phono":
            return self.signal[route], SOURCES[route][1]
        return 5e-3 * 10.0 ** (35.0 / 20.0) * 0.98, 1000.0

    def sheet(self, heard: str) -> str:
        """The job sheet, with circuit values as wrong as the world says."""
        rows = ["# Invented for a check; no real set was measured.", "sheet = 1", 'readings = "readings.csv"', "[part]"]
        for part, kind in self.kinds.items():
            more = f', track = "{self.track * self.off["track"]:.6g} ohm", setting = "{self.setting:.6g} dB"' if kind == "potentiometer" else ""
            rows.append(f'"{part}" = {{ kind = "{kind}"{more} }}')
        rows.append("[section]")

        def quoted(names: list[str]) -> str:
            return ", ".join(f'"{name}"' for name in names)

        track = f"{self.track * self.off['track']:.6g} ohm"
        for name in self.routes:
            if name == "phono":
                pin = '{ capacitance = "150 pF" }, "phono socket / pin"'
                stage = '{ name = "phono stage", gain = "35 dB", equalisation = "riaa", output_resistance = "1 kohm" }'
                rows.append(f'"phono in" = {{ from = "moving magnet", path = [{pin}], into = {{ resistance = "47 kohm", capacitance = "100 pF" }}, then = {stage} }}')
                rows.append(f'"phono select" = {{ path = [{quoted(self._select("phono"))}], into = "{track}" }}')
            else:
                rows.append(f'"{name} select" = {{ from = "{SOURCES[name][0]}", signal = "{self.signal[name] * self.off["signal"]:.6g} V", path = [{quoted(self._select(name))}], into = "{track}" }}')
        power = f'{{ name = "power stage", gain = "{self.gain_db:.6g} dB", output_resistance = "0.1 ohm" }}'
        rows.append(f'"volume" = {{ path = ["volume control / wiper"], into = "47 kohm", then = {power} }}')
        rows.append(f'"out" = {{ path = ["{self.relay}"], into = "8 ohm loudspeaker" }}')
        rows.append("[route]")
        for name in self.routes:
            first = ["phono in"] if name == "phono" else []
            rows.append(f'"{name}" = [{quoted([*first, f"{name} select", "volume", "out"])}]')
        return "\n".join(rows) + "\n" + heard
