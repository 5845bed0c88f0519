"""Steady states against vectorised numpy and a dense numpy Newton, both sides in one run: python tests/speed/steady.py

Prints time per solve and the ratio; results are compared to 1e-9 before anything is timed. No test asserts a time.
"""

import statistics
import sys
import time
from pathlib import Path

import numpy as np
import weaklink as wl

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "python"))
from oracle_newton import harmonics_newton  # noqa: E402

RUNS = 7
SCALE_V, LOOP_OHM, EMF_V = 0.1, 1e3, 0.5


def numpy_films(ohms):
    """THD of a tunnelling film in a resistive loop: Newton on 64 samples for all resistances at once, until nothing moves."""
    e = np.sqrt(2) * EMF_V * np.cos(2 * np.pi * np.arange(64) / 64)[None, :]
    r = ohms[:, None]
    u = np.minimum(np.abs(e) * r / (r + LOOP_OHM), SCALE_V * np.arcsinh(np.abs(e) * r / (LOOP_OHM * SCALE_V))) * np.sign(e)
    for _ in range(60):
        i = SCALE_V / r * np.sinh(u / SCALE_V)
        step = (u + LOOP_OHM * i - e) / (1 + LOOP_OHM / r * np.cosh(u / SCALE_V))
        u = u - step
        if np.abs(step).max() < 1e-14:
            break
    lines = np.abs(np.fft.rfft(SCALE_V / r * np.sinh(u / SCALE_V), axis=1))
    return np.sqrt((lines[:, 2:] ** 2).sum(axis=1)) / lines[:, 1]


def timed(*sides):
    """Medians of RUNS interleaved runs of each side, s."""
    spent = [[] for _ in sides]
    for _ in range(RUNS):
        for side, times in zip(sides, spent, strict=True):
            began = time.perf_counter()
            side()
            times.append(time.perf_counter() - began)
    return [statistics.median(times) for times in spent]


def resistive(count=20_000):
    film = wl.Film.tunnelling(resistance_ohm=1.0, scale_v=SCALE_V)
    source = wl.Source(emf_v=EMF_V, resistance_ohm=0.4 * LOOP_OHM)
    section = wl.Section("s", source=source, path=[wl.Contact("k", film=film)], load=wl.Load(resistance_ohm=0.6 * LOOP_OHM))
    ohms = np.geomspace(1.0, 300.0, count)
    ours, theirs = section.distortion(1e3, contacts={"k": ohms}).thd_f, numpy_films(ohms)
    # the peer takes harmonics from the whole current, so its error is rounding of the fundamental
    assert np.abs(ours - theirs).max() < 1e-9 * theirs.max()
    mine, peer = timed(lambda: section.distortion(1e3, contacts={"k": ohms}), lambda: numpy_films(ohms))
    print(f"resistive film, {count} resistances: ours {1e6 * mine / count:.2f} us each, numpy {1e6 * peer / count:.2f} us, ratio {peer / mine:.1f}")


def cartridges(count=2_000, judged=12):
    rng = np.random.default_rng(1)
    source = wl.Source(emf_v=5e-3, resistance_ohm=1000.0, inductance_h=0.5)
    load = wl.Load(resistance_ohm=47e3, capacitance_f=2e-10)
    lead = wl.Lead(capacitance_f=1.5e-10)
    sections = []
    for _ in range(count):
        ohm = 10 ** rng.uniform(0, 5)
        film = rng.choice([0, 1, 2])
        made = (
            wl.Film.tunnelling(resistance_ohm=ohm, scale_v=10 ** rng.uniform(-1.5, 0)),
            wl.Film.rectifying(resistance_ohm=ohm, ideality=rng.uniform(1, 2.5), leak_ratio=10 ** rng.uniform(-2, 0)),
            wl.Film.bridged(resistance_ohm=ohm),
        )[film]
        sections.append(wl.Section("cartridge", source=source, path=[lead, wl.Contact("k", film=made)], load=load))
    each = []
    for section in sections:
        began = time.perf_counter()
        found = section.distortion(1e3)
        each.append(time.perf_counter() - began)
        assert found.converged
    peers = []
    for section in sections[:judged]:
        began = time.perf_counter()
        known = harmonics_newton(section.to_dict(), 1e3, samples=63, most_samples=63)["load"]
        peers.append(time.perf_counter() - began)
        thd = np.sqrt((np.abs(known[2:]) ** 2).sum()) / abs(known[1])
        assert abs(section.distortion(1e3).thd_f / thd - 1) < 1e-6
    mine, peer = statistics.median(each), statistics.median(peers)
    print(f"cartridge, {count} random films, one call each: median {1e6 * mine:.0f} us, 99 % {1e6 * np.quantile(each, 0.99):.0f} us")
    print(f"   the plain oracle in numpy, 63 samples, {judged} of them: median {1e6 * peer:.0f} us, ratio {peer / mine:.0f}")


if __name__ == "__main__":
    resistive()
    cartridges()
