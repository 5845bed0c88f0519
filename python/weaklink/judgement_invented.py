"""Invented amplifiers with a planted fault, for checking what the judgement makes of them. No real set is behind any of it.

Symptoms come from the full model (the steady state of the section with its film, reactances and equalisation), not from the
tables that the draws use; a listener with an ear of its own writes down what is noticed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from . import _core
from ._core import Contact, Film, InputError, Job
from .judgement_checked import THERMAL_V, checked
from .judgement_ear import BY_CHANCE, PRIOR, Ear, cured, somewhere_else
from .judgement_layout import Layout
from .physics import tunnelling_scale_v, tunnelling_thickness_m

if TYPE_CHECKING:
    from collections.abc import Iterator

LAWS = ("ohmic", "tunnelling", "rectifying", "bridged", "chatter")
HEATING_V = 2.0 * math.sqrt(_core._LORENZ_V2_PER_K2) * _core._ROOM_K
# what another fault sounds like, by nature, as the judgement has it: grit, crackle, quieter, comes and goes, dull, hum, dead
SOUNDS = ("grit", "crackle", "quieter", "comes and goes", "dull", "hum", "dead")
SHARES = {
    "source": (0.25, 0.15, 0.20, 0.10, 0.15, 0.10, 0.05),
    "loudspeaker": (0.40, 0.05, 0.15, 0.10, 0.15, 0.0, 0.15),
    "power stage": (0.25, 0.20, 0.05, 0.10, 0.05, 0.20, 0.15),
    "stage": (0.20, 0.15, 0.20, 0.10, 0.10, 0.20, 0.05),
}
# ways of what is no contact beside another fault, with their shares, as the judgement has them
RIVAL_WAYS = {
    "power stage": {"under-biased": PRIOR["under_biased"], "noisy": 0.25 * (1.0 - PRIOR["under_biased"])},
    "stage": {"noisy": PRIOR["noisy"]},
}
DIRECT_V, TRACK_STEP = (0.02, 10.0), (1e-4, 3e-2)


@dataclass(frozen=True)
class World:
    """How the truth is drawn; the defaults are the judgement's own priors, anything else is misspecified on purpose.

    law: every steady film follows this one. wrong_by: how far the sheet's circuit values are off, as a share. sound: median of sound
    contacts over what is usual for their kind, and their geometric standard deviation.
    """

    law: str | None = None
    wrong_by: float = 0.0
    sound: tuple[float, float] = (0.25, 3.0)


@dataclass
class Fault:
    """One fault: who, in what way, with every number that its sound depends on."""

    who: str
    way: str
    ohm: float = math.nan
    low_ohm: float = 0.0
    film: Film | None = None
    frit_v: float = math.inf
    rate: float = 0.0
    duty: float = 0.5
    quiescent: float = 1.0
    feedback: float = 1.0
    sound: str = ""
    size: float = 0.0
    covered: bool = False
    direct_v: float = 0.0


@dataclass
class Invented:
    """One amplifier: its sheet and who is guilty on each channel."""

    sheet: str
    readings: str
    guilty: dict[str, set[str]] = field(default_factory=dict)
    way: dict[str, str] = field(default_factory=dict)

    def job(self) -> Job:
        """The sheet, read."""
        return Job.from_text(self.sheet, readings=("readings.csv", self.readings))


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """One draw between two values above zero."""
    return float(np.exp(rng.uniform(math.log(low), math.log(high))))


class Amplifier:
    """A layout with its faults: what there is to hear on each route, and what the meters show."""

    def __init__(self, layout: Layout, world: World, rng: np.random.Generator) -> None:
        self.layout, self.world, self.rng = layout, world, rng
        self.loops = {name: self._loop(name) for name in layout.contacts()}

    def _route_of(self, contact: str) -> str:
        return next(name for name, path in self.layout.routes.items() if contact in path)

    def _loop(self, contact: str) -> tuple[complex, float]:
        """Impedance of a contact's loop at 1 kHz and the peak voltage across it when open, from two probes of the model."""
        route = self._route_of(contact)
        system, emf = self.layout.section(route, contact, Contact(contact, resistance_ohm=0.0))
        closed = complex(system.transfer(1000.0))
        system, _ = self.layout.section(route, contact, Contact(contact, resistance_ohm=1000.0))
        ratio = closed / complex(system.transfer(1000.0))
        z = 1000.0 / (ratio - 1.0)
        # the smallest signal current times the impedance: dissipation in a known resistance
        watt = float(system.dissipation_w(contact, 1000.0, emf_v=emf))
        current = math.sqrt(watt / 1000.0)
        return z, math.sqrt(2.0) * current * abs(z + 1000.0)

    def fault_of(self, who: str) -> Fault:
        """A fault of a contact or of something else, by the priors; a steady film that the signal would have broken is drawn again."""
        rng, p = self.rng, PRIOR
        if who not in self.loops:
            nature = self.layout.others()[who][0]
            ways = dict(RIVAL_WAYS.get(nature, {}))
            if self.layout.drives_control(who):
                ways["direct voltage"] = PRIOR["direct_voltage"]
            ways["another fault"] = 1.0 - sum(ways.values())
            way = str(rng.choice(list(ways), p=list(ways.values())))
            if way == "under-biased":
                return Fault(who, way, quiescent=log_uniform(rng, 0.02, 1.0), feedback=log_uniform(rng, 3.0, 100.0))
            if way == "direct voltage":
                return Fault(who, way, direct_v=log_uniform(rng, *DIRECT_V), size=log_uniform(rng, *TRACK_STEP))
            if way == "noisy":
                return Fault(who, way, sound=str(rng.choice(("grit", "crackle"))), size=log_uniform(rng, 1e-4, 0.1))
            sound = str(rng.choice(SOUNDS, p=SHARES[nature]))
            size = log_uniform(rng, 1e-4, 0.1) if sound in ("grit", "crackle") else log_uniform(rng, 0.5, 40.0)
            return Fault(who, "another fault", sound=sound, size=size, covered=bool(rng.random() < 0.5))
        z, open_v = self.loops[who]
        steady = 1.0 - p["chatter"] - p["bridged"]
        shares = [steady * p["ohmic"], steady * p["tunnelling"], steady * p["rectifying"], p["bridged"], p["chatter"]]
        while True:
            way = str(rng.choice(LAWS, p=shares))
            if self.world.law is not None and way in ("ohmic", "tunnelling", "rectifying"):
                way = self.world.law
            frit = log_uniform(rng, p["frit_from"], p["frit_to"])
            ohm = log_uniform(rng, p["bad_from"] * abs(z), p["bad_to"] * abs(z))
            fault = Fault(who, way, ohm=ohm, frit_v=frit)
            if way == "bridged":
                peak = open_v * log_uniform(rng, 1.0, 10.0)
                pinned = rng.uniform(p["pinned_from"], p["pinned_to"])
                if peak <= max(pinned, frit):
                    continue
                fault.ohm = HEATING_V * math.atan(pinned / HEATING_V) * abs(z) / max(peak - pinned, 1e-3 * peak)
                fault.film = Film.bridged(resistance_ohm=fault.ohm)
                return fault
            if way == "chatter":
                low = min(p["bad_from"] * abs(z), 0.5 * self.layout.part_usual(who), 0.5 * ohm)
                fault.low_ohm = log_uniform(rng, low, ohm)
                fault.rate, fault.duty = log_uniform(rng, 0.03, 3000.0), float(rng.uniform(0.1, 0.9))
                return fault
            if way == "tunnelling":
                fault.film = Film.tunnelling(resistance_ohm=ohm, scale_v=self._scale(ohm))
            elif way == "rectifying":
                leak = min(log_uniform(rng, p["leak_from"], p["leak_to"]), 0.999)
                fault.film = Film.rectifying(resistance_ohm=ohm, ideality=float(rng.uniform(1.0, 2.5)), leak_ratio=leak)
            if way == "ohmic" or open_v * (1.0 - abs(z / (z + ohm))) <= frit:
                return fault

    def _scale(self, ohm: float) -> float:
        rng, p = self.rng, PRIOR
        if rng.random() < p["hopping"]:
            return max(p["hopping_v"] * math.exp(math.log(p["hopping_spread"]) * rng.normal()), THERMAL_V)
        height, area = float(rng.uniform(p["barrier_from"], p["barrier_to"])), log_uniform(rng, p["area_from"], p["area_to"])
        try:
            thickness = float(tunnelling_thickness_m(height, ohm * area))
            scale = float(tunnelling_scale_v(height, thickness))
        except InputError:
            return 1.9
        return scale if math.isfinite(scale) else 1.9

    def effect(self, fault: Fault, route: str) -> dict[str, float]:
        """What there is to hear of a fault on a route: sizes by kind of symptom."""
        none = dict.fromkeys(("grit", "crackle", "loss", "drops", "dull", "hum"), 0.0)
        layout = self.layout
        if fault.who in layout.others():
            if route not in layout.others()[fault.who][1]:
                return none
            if fault.way == "under-biased":
                return {**none, "grit": crossover(fault.quiescent, math.sqrt(2.0) * layout.out_v) / fault.feedback}
            if fault.way == "direct voltage":
                return {**none, "crackle": fault.size * fault.direct_v / layout.drive(route)[0]}
            kind = {"quieter": "loss", "dead": "loss", "comes and goes": "drops"}.get(fault.sound, fault.sound)
            size = {"hum": 1.0, "dead": 40.0, "quieter": min(fault.size, 20.0)}.get(fault.sound, fault.size)
            return {**none, kind: size}
        if fault.who not in layout.routes[route]:
            return none

        def of(ohm: float, hz: float) -> float:
            return self._loss(fault.who, route, ohm, hz)

        if fault.way == "chatter":
            worse, better = (10.0 ** (-of(ohm, 1000.0) / 20.0) for ohm in (fault.ohm, fault.low_ohm))
            mean = fault.duty * worse + (1.0 - fault.duty) * better
            residue = (better - worse) / mean * math.sqrt(fault.duty * (1.0 - fault.duty))
            if fault.rate >= 20.0:
                return {**none, "grit": residue, "loss": -20.0 * math.log10(mean)}
            if fault.rate >= 1.0:
                return {**none, "crackle": residue}
            return {**none, "crackle": 0.3 * residue, "drops": 20.0 * math.log10(better / worse)}
        found = {**none, "loss": of(fault.ohm, 1000.0)}
        found["dull"] = max(of(fault.ohm, 10e3) - found["loss"], 0.0)
        if fault.film is not None:
            system, emf = layout.section(route, fault.who, Contact(fault.who, film=fault.film))
            solved = system.distortion(1000.0, emf_v=emf)
            found["grit"] = float(solved.thd_f)
            found["loss"] -= float(solved.fundamental_db)
        return found

    def _loss(self, contact: str, route: str, ohm: float, hz: float) -> float:
        system, _ = self.layout.section(route, contact, Contact(contact, resistance_ohm=ohm))
        return float(system.loss_db(hz))

    def cures(self, fault: Fault, route: str) -> dict[str, float]:
        """Chances that each cure works, by the judgement's table."""
        chance = {"turned up": 0.03, "switch worked": 0.03, "tapped": 0.05, "warmed up": 0.1, "meter applied": 0.02, "overnight": 0.05, "when tapped": 0.05}
        chance |= {"when turned": 0.03, "in pauses": 0.02}
        layout = self.layout
        if fault.way == "under-biased":
            peak = math.sqrt(2.0) * layout.out_v
            falls = crossover(fault.quiescent, 4.0 * peak) < 0.5 * crossover(fault.quiescent, peak)
            return {**chance, "turned up": 0.7 if falls else 0.05, "warmed up": 0.3}
        if fault.way == "another fault":
            behind = fault.who in ("power stage", "8 ohm loudspeaker")
            covered = fault.covered and behind and fault.sound == "grit"
            return {**chance, "turned up": 0.4 if covered else 0.03, "tapped": 0.1, "in pauses": 0.3}
        if fault.way == "noisy":
            return {**chance, "turned up": 0.4 if fault.who == "power stage" else 0.03, "tapped": 0.1, "in pauses": 0.9}
        if fault.way == "direct voltage":
            return {**chance, "when turned": 0.9, "in pauses": 0.7}
        louder = 4.0 if fault.who in ("volume control / wiper", layout.relay) else 1.0
        worked = 0.05 if fault.who == layout.relay or "socket" in fault.who else 0.6
        z, open_v = self.loops[fault.who]
        if fault.way == "chatter":
            breaks = louder > 1.0 and open_v * louder > fault.frit_v
            return {"turned up": 0.2 if breaks else 0.03, "switch worked": worked, "tapped": 0.4, "warmed up": 0.1, "meter applied": 0.2, "overnight": 0.2, "when tapped": 0.5, "when turned": 0.6 if worked > 0.5 else 0.03, "in pauses": 0.02}
        if fault.way == "bridged":
            return {**chance, "switch worked": worked, "overnight": 0.3}
        film = fault.way != "ohmic"
        breaks = film and louder > 1.0 and louder * open_v * (1.0 - abs(z / (z + fault.ohm))) > fault.frit_v
        turned = 0.15 if worked > 0.5 else 0.03
        found = {"turned up": 0.7 if breaks else 0.03, "switch worked": worked, "tapped": 0.15, "overnight": 0.5 if film else 0.1}
        return {**chance, **found, "when tapped": 0.1, "when turned": turned}

    def innocent_ohm(self, contact: str) -> float:
        """Resistance of a contact without a fault."""
        usual = self.layout.part_usual(contact)
        if self.rng.random() < PRIOR["worn_part"]:
            return log_uniform(self.rng, usual, max(10.0 * usual, PRIOR["worn_to"] * abs(self.loops[contact][0])))
        median, spread = self.world.sound
        return median * usual * math.exp(math.log(spread) * self.rng.normal())

    def readings(self, contact: str, channel: str, fault: Fault | None) -> Iterator[str]:
        """Rows of the readings file: a dry box on about half of the contacts, at rest and, for some, while tapped."""
        rng = self.rng
        if rng.random() > 0.5:
            return

        def shown(ohm: float, film: Film | None = None) -> float:
            """What the box shows, mV: the share of its 19.7 mV behind 987 ohm that a film takes, either way round."""
            if film is None:
                return 19.7 * ohm / (ohm + 987.0)
            low, high, way = 0.0, 19.7e-3, float(rng.choice((-1.0, 1.0)))
            for _ in range(50):
                middle = 0.5 * (low + high)
                current = abs(float(film.current_a(way * middle)))
                low, high = (low, middle) if middle + 987.0 * current > 19.7e-3 else (middle, high)
            return 1e3 * low

        def noisy(mv: float) -> float:
            return float(max(mv + rng.uniform(-1.0, 1.0) * (0.01 * mv + 0.2), 0.0))

        if fault is None:
            yield f"as found,{contact},{channel},{noisy(shown(self.innocent_ohm(contact))):.4f} mV,dry box"
        elif fault.way == "chatter":
            # a meter averages what jumps faster than it looks
            if fault.rate >= 5.0:
                now = fault.duty * shown(fault.ohm) + (1.0 - fault.duty) * shown(fault.low_ohm)
            else:
                now = shown(log_uniform(rng, max(fault.low_ohm, 1e-9), fault.ohm))
            yield f"as found,{contact},{channel},{noisy(now):.4f} mV,dry box"
        else:
            yield f"as found,{contact},{channel},{noisy(shown(fault.ohm, fault.film)):.4f} mV,dry box"


def crossover(quiescent: float, peak_v: float) -> float:
    """Open-loop residue of an under-biased stage."""
    return _core._crossover_residue(quiescent, 0.22, 8.0, peak_v)


def invent(seed: int, world: World | None = None) -> Invented | None:
    """One amplifier from its seed; nothing where nobody hears anything wrong."""
    world = world or World()
    rng = np.random.default_rng(seed)
    layout = Layout(rng, world.wrong_by)
    amplifier, ear = Amplifier(layout, world, rng), Ear(rng)
    sides = ("left", "right")
    faults: dict[str, list[Fault]] = {side: [] for side in sides}
    guilty: dict[str, set[str]] = {side: set() for side in sides}
    lost: dict[str, dict[str, str]] = {side: {} for side in sides}

    def one(side: str, who: str | None = None) -> None:
        if who is None:
            who = _somebody(layout, rng)
        guilty[side].add(who)
        if who == "something else":
            label = str(rng.choice(SOUNDS[:6]))
            lost[side] = {name: label for name in layout.routes if rng.random() < 0.5}
            return
        faults[side].append(amplifier.fault_of(who))
        if rng.random() < PRIOR["two_faults"] and len(faults[side]) == 1:
            other = _somebody(layout, rng)
            if other not in (who, "something else"):
                guilty[side].add(other)
                faults[side].append(amplifier.fault_of(other))

    kind = rng.random()
    if kind < 0.7:
        one(str(rng.choice(sides)))
    elif kind < 0.88:
        # a body that both channels have, by the same priors, and on either any contact of it; each channel has its own loudspeaker
        while (body := _somebody(layout, rng).split(" / ")[0]) in ("something else", "8 ohm loudspeaker"):
            pass
        members = [c for c in layout.contacts() if c.split(" / ")[0] == body] or [body]
        for side in sides:
            one(side, str(rng.choice(members)))
    else:
        for side in sides:
            one(side)
    rows, text = ["when,contact,channel,shows,method"], ""
    bad = False
    for side in sides:
        for route in layout.routes:
            if rng.random() > 0.9:
                continue
            effects = [amplifier.effect(fault, route) for fault in faults[side]]
            total = {k: 0.0 for k, _ in ear.KINDS}
            for effect in effects:
                for k, size in effect.items():
                    total[k] = math.hypot(total[k], size) if k in ("grit", "crackle") else max(total[k], size) if k in ("drops", "hum") else total[k] + size
            notes = ear.notes(total)
            if route in lost[side]:
                notes = [somewhere_else(lost[side][route], rng)]
            bad = bad or bool(notes)
            for note in notes or [{"what": "clean"}]:
                text += f'[[heard]]\nroute = "{route}"\nchannel = "{side}"\noutput = "{layout.out_v:.6g} V"\n'
                text += "".join(f'{key} = "{value}"\n' for key, value in note.items())
                if route in lost[side]:
                    text += cured(note["what"], BY_CHANCE, rng)
                elif notes and faults[side]:
                    strongest = max(range(len(effects)), key=lambda k: effects[k]["grit"] + effects[k]["loss"])
                    text += cured(note["what"], amplifier.cures(faults[side][strongest], route), rng)
        text += checked(layout, side, faults[side], bool(lost[side]), rng)
        for contact in layout.contacts():
            fault = next((f for f in faults[side] if f.who == contact), None)
            rows.extend(amplifier.readings(contact, side, fault))
    if not bad:
        return None
    return Invented(layout.sheet(text), "\n".join(rows) + "\n", guilty, {side: ",".join(f.way for f in faults[side]) for side in sides})


def _somebody(layout: Layout, rng: np.random.Generator) -> str:
    """Who is at fault, by the priors."""
    u = rng.random()
    if u < PRIOR["something_else"]:
        return "something else"
    if u < PRIOR["something_else"] + PRIOR["no_contact"]:
        names = list(layout.others())
        weights = np.array([{"power stage": 2.0, "loudspeaker": 0.7}.get(layout.others()[n][0], 1.0) for n in names])
        return str(rng.choice(names, p=weights / weights.sum()))
    return str(rng.choice(layout.contacts()))
