"""Distortion of a tunnelling film in a resistive loop at many resistances, against Newton's method in vectorised numpy."""

import numpy as np
import weaklink as wl

from .common import row

SCALE_V, LOOP_OHM, EMF_V = 0.1, 1e3, 0.5
COUNT = 20_000
# per film of this sweep, counted from src/response/steady/abreast.rs: 9 roots of about 140, lines 180, the rest 100
OPERATIONS = 1540


def by_newton(ohms):
    """THD by Newton on 64 samples for all resistances at once, until nothing moves."""
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


def section():
    film = wl.Film.tunnelling(resistance_ohm=1.0, scale_v=SCALE_V)
    source = wl.Source(emf_v=EMF_V, resistance_ohm=0.4 * LOOP_OHM)
    return wl.Section("s", source=source, path=[wl.Contact("k", film=film)], load=wl.Load(resistance_ohm=0.6 * LOOP_OHM))


def rows():
    ready, ohms = section(), np.geomspace(1.0, 300.0, COUNT)
    found, known = ready.distortion(1e3, contacts={"k": ohms}), by_newton(ohms)
    # the peer takes harmonics from the whole current, so its error is rounding of the fundamental; 64 samples hold the tail of all
    assert np.abs(found.thd_f - known).max() < 1e-9 * known.max()
    assert found.converged.all()
    title = f"film THD, resistive loop, {COUNT} resistances"
    return [
        row(title, lambda: ready.distortion(1e3, contacts={"k": ohms}), "numpy, Newton on 64 samples", lambda: by_newton(ohms), 25,
            operations=OPERATIONS * COUNT)
    ]  # fmt: skip
