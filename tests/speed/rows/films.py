"""Distortion of a film in a resistive loop at many resistances, each law against Newton's method in vectorised numpy."""

import numpy as np
import weaklink as wl

from .common import row

SCALE_V, LOOP_OHM, EMF_V = 0.1, 1e3, 0.5
IDEALITY, LEAK_RATIO = 1.5, 0.1
COUNT = 20_000
SAMPLES = 64
# per tunnelling film of this sweep, counted from src/response/steady/abreast.rs: 9 roots of about 140, lines 180, the rest 100
OPERATIONS = 1540
# processor time that one solve may take on a core, us
WANTED_US = 2.0
# k/e of the SI (2019), T = 293.15 K; 2 sqrt(L) T with Sommerfeld's L = (pi^2/3)(k/e)^2
K_PER_E = 1.380649e-23 / 1.602176634e-19
DIODE_V = IDEALITY * K_PER_E * 293.15
HEATING_V = 2 * np.pi / np.sqrt(3) * K_PER_E * 293.15


def tunnelling(u):
    """R i and its slope."""
    return SCALE_V * np.sinh(u / SCALE_V), np.cosh(u / SCALE_V)


def rectifying(u):
    return (1 - LEAK_RATIO) * DIODE_V * np.expm1(u / DIODE_V) + LEAK_RATIO * u, (1 - LEAK_RATIO) * np.exp(u / DIODE_V) + LEAK_RATIO


def bridged(u):
    return HEATING_V * np.arctan(u / HEATING_V), 1 / (1 + (u / HEATING_V) ** 2)


def tunnelling_start(e, r):
    return np.minimum(np.abs(e) * r / (r + LOOP_OHM), SCALE_V * np.arcsinh(np.abs(e) * r / (LOOP_OHM * SCALE_V))) * np.sign(e)


def rectifying_start(e, r):
    # above the root, so that the steps come down a convex curve
    straight, front = e * r / (r + LOOP_OHM), LOOP_OHM / r * (1 - LEAK_RATIO)
    return np.minimum(straight, DIODE_V * np.log1p(np.maximum(e, 0) / (DIODE_V * front)) + np.minimum(e, 0))


def bridged_start(e, r):
    return np.maximum(np.abs(e) * r / (r + LOOP_OHM), np.abs(e) - np.pi / 2 * HEATING_V * LOOP_OHM / r) * np.sign(e)


def by_newton(ohms, law, start, samples=SAMPLES, emf_v=EMF_V):
    """THD by Newton on samples of the period for all resistances at once, until nothing moves."""
    e = np.sqrt(2) * emf_v * np.cos(2 * np.pi * np.arange(samples) / samples)[None, :]
    r = ohms[:, None]
    u = start(e, r)
    for _ in range(60):
        current, slope = law(u)
        step = (u + LOOP_OHM / r * current - e) / (1 + LOOP_OHM / r * slope)
        u = u - step
        if np.abs(step).max() < 1e-14:
            break
    lines = np.abs(np.fft.rfft(law(u)[0] / r, axis=1))
    return np.sqrt((lines[:, 2:] ** 2).sum(axis=1)) / lines[:, 1]


def section(film):
    source = wl.Source(emf_v=EMF_V, resistance_ohm=0.4 * LOOP_OHM)
    return wl.Section("s", source=source, path=[wl.Contact("k", film=film)], load=wl.Load(resistance_ohm=0.6 * LOOP_OHM))


# name, film, law and start of the peer, samples that hold the tail, ratio that is wanted, operations
LAWS = [
    ("tunnelling", wl.Film.tunnelling(resistance_ohm=1.0, scale_v=SCALE_V), tunnelling, tunnelling_start, 64, 25, OPERATIONS),
    ("rectifying", wl.Film.rectifying(resistance_ohm=1.0, ideality=IDEALITY, leak_ratio=LEAK_RATIO), rectifying, rectifying_start, 96, None, None),
    ("bridged", wl.Film.bridged(resistance_ohm=1.0), bridged, bridged_start, 64, None, None),
]  # fmt: skip


# name, film, law, start, samples, EMF, V: knees so sharp that even samples need thousands; the peer does one film in STRIDE
STIFF = [
    ("rectifying, 5 V,", wl.Film.rectifying(resistance_ohm=1.0, ideality=IDEALITY, leak_ratio=LEAK_RATIO), rectifying, rectifying_start, 4096, 5.0),
    ("bridged, 50 V,", wl.Film.bridged(resistance_ohm=1.0), bridged, bridged_start, 8192, 50.0),
]  # fmt: skip
STRIDE = 1000


def rows():
    return [*(of_law(*law) for law in LAWS), *(stiff(*law) for law in STIFF)]


def stiff(name, film, law, start, samples, emf_v):
    ready, ohms = section(film), np.geomspace(1.0, 300.0, COUNT)
    found, known = ready.distortion(1e3, emf_v=emf_v, contacts={"k": ohms}), by_newton(ohms[::STRIDE], law, start, samples, emf_v)
    off = np.abs(found.thd_f[::STRIDE] - known).max() / known.max()
    assert off < 1e-9, (name, off)
    assert found.converged.all()
    return row(f"stiff films: {name} resistive loop, {COUNT} resistances", lambda: ready.distortion(1e3, emf_v=emf_v, contacts={"k": ohms}),
               f"numpy, Newton on {samples} samples", lambda: by_newton(ohms[::STRIDE], law, start, samples, emf_v), None,
               times=STRIDE, solves=COUNT, wanted_us=WANTED_US, runs=3)  # fmt: skip


def of_law(name, film, law, start, samples, wanted, operations):
    ready, ohms = section(film), np.geomspace(1.0, 300.0, COUNT)
    found, known = ready.distortion(1e3, contacts={"k": ohms}), by_newton(ohms, law, start, samples)
    # the peer takes harmonics from the whole current, so its error is rounding of the fundamental; its samples hold the tail of all
    assert np.abs(found.thd_f - known).max() < 1e-9 * known.max(), (name, np.abs(found.thd_f - known).max() / known.max())
    assert found.converged.all()
    title = f"{name} film THD, resistive loop, {COUNT} resistances"
    return row(title, lambda: ready.distortion(1e3, contacts={"k": ohms}), f"numpy, Newton on {samples} samples",
               lambda: by_newton(ohms, law, start, samples), wanted,
               operations=operations and operations * COUNT, solves=COUNT, wanted_us=WANTED_US)  # fmt: skip
