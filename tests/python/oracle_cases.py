"""Random and plain sections for the oracle."""

import math

import numpy as np
from oracle_network import Network


def random_section(rng, gentle):
    """Cartridge, line or loudspeaker, 1 to 4 contacts of every law and role; no shunt beside a source without resistance."""

    def log(low, high):
        return float(10 ** rng.uniform(math.log10(low), math.log10(high)))

    place = rng.choice(["cartridge", "line", "loudspeaker"])
    if place == "cartridge":
        source = {"emf_v": log(1e-4, 0.1), "resistance_ohm": log(10.0, 2e3), "inductance_h": log(1e-4, 0.8)}
        load = {"resistance_ohm": log(100.0, 1e5), "capacitance_f": log(1e-11, 5e-10)}
    elif place == "line":
        source = {"emf_v": log(1e-3, 10.0), "resistance_ohm": log(10.0, 1e4), "inductance_h": 0.0}
        load = {"resistance_ohm": log(1e3, 1e6), "capacitance_f": float(rng.choice([0.0, log(1e-11, 1e-9)]))}
    else:
        source = {"emf_v": log(1e-2, 30.0), "resistance_ohm": float(rng.choice([0.0, log(1e-3, 1.0)])), "inductance_h": 0.0}
        load = {"resistance_ohm": 8.0, "capacitance_f": 0.0}
        if rng.random() < 0.7:
            load["loudspeaker"] = {"voice_coil_ohm": log(3.0, 7.0), "voice_coil_h": float(rng.choice([0.0, log(1e-4, 2e-3)])),
                                   "resonance_hz": log(20.0, 200.0), "mechanical_q": log(1.0, 10.0), "electrical_q": log(0.2, 1.5)}  # fmt: skip
    if not gentle:
        source["emf_v"] = log(1e-6, 30.0)
    loop = source["resistance_ohm"] + load["resistance_ohm"]
    path = []
    for number in range(int(rng.integers(1, 5))):
        wiper = place == "line" and rng.random() < 0.15
        roles = ["signal", "return", "shared_return"] + (["shunt"] if source["resistance_ohm"] > 0 else [])
        role = "signal" if wiper else str(rng.choice(roles))
        if gentle:
            ohm = log(1e-6, 0.3) * loop if role != "shunt" else log(3.0, 1e6) * loop
        else:
            ohm = log(1e-6, 1e9)
        which = str(rng.choice(["ohmic", "tunnelling", "rectifying", "bridged"], p=[0.1, 0.3, 0.3, 0.3]))
        film = {"law": which, "resistance_ohm": ohm}
        if which == "tunnelling":
            film["scale_v"] = log(0.02, 1.0)
        elif which == "rectifying":
            film.update(ideality=float(rng.uniform(1.0, 2.5)), leak_ratio=log(1e-2 if gentle else 1e-3, 1.0))
        contact = {"name": f"k{number}", "film": film, "constriction_ohm": float(rng.choice([0.0, log(1e-6, 1e-2)])),
                   "range_ohm": None, "role": role, "direct_current_a": 0.0}  # fmt: skip
        if wiper:
            path.append({"divider": {"name": f"d{number}", "track_ohm": log(1e3, 1e5), "setting_db": float(rng.uniform(-60, 0)), "wiper": contact}})
        else:
            path.append({"contact": contact})
        if rng.random() < 0.5:
            size = (0.1, 3e-7, 1e-10) if place == "loudspeaker" else (0.3, 0.0, 2e-10)
            path.append({"lead": {"resistance_ohm": size[0] * float(rng.random()), "inductance_h": size[1] * float(rng.random()),
                                  "capacitance_f": size[2] * float(rng.random())}})  # fmt: skip
    return {"name": place, "source": source, "path": path, "load": load}


def random_case(rng, gentle=True):
    """(section, frequency): gentle ones have no film driven past six times its scale."""
    while True:
        section = random_section(rng, gentle)
        frequency_hz = float(10 ** rng.uniform(1.0, math.log10(40e3)))
        if not gentle or softness(section, frequency_hz) < 6.0:
            return section, frequency_hz


def softness(section, frequency_hz):
    """Largest film voltage of the linear answer in units of the film's scale: how bent the worst film is."""
    net = Network(section)
    y = net.answers("norton", [0.0 if net.resistive else 2 * math.pi * frequency_hz])[:, :, 0]
    if not net.films:
        return 0.0
    peaks = np.abs(net.ports(y)[0][0]) * section["source"]["emf_v"] * math.sqrt(2)
    return max(float(v) / film[3][2] for v, film in zip(peaks, net.films, strict=True))


def one_contact(film, emf_v=1.0, ohm=100.0, henry=0.0, load_ohm=1000.0, farad=0.0, role="signal", more=()):
    contacts = [{"contact": {"name": f"k{j}", "film": f, "constriction_ohm": 0.0, "role": role}} for j, f in enumerate([film, *more])]
    source = {"emf_v": emf_v, "resistance_ohm": ohm, "inductance_h": henry}
    return {"name": "check", "source": source, "path": contacts, "load": {"resistance_ohm": load_ohm, "capacitance_f": farad}}
