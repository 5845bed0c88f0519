"""Steady state of a film in a cartridge section over many resistances, against a dense Newton in numpy, one film after another."""

import numpy as np
import weaklink as wl

from .common import row

COUNT, JUDGED = 2_000, 24
EMF_V, HZ, SCALE_V = 5e-3, 1e3, 0.02


def section():
    film = wl.Film.tunnelling(resistance_ohm=1.0, scale_v=SCALE_V)
    source = wl.Source(emf_v=EMF_V, resistance_ohm=1000.0, inductance_h=0.5)
    load = wl.Load(resistance_ohm=47e3, capacitance_f=2e-10)
    return wl.Section("cartridge", source=source, path=[wl.Lead(capacitance_f=1.5e-10), wl.Contact("k", film=film)], load=load)


def dense(ohm, samples):
    """THD at the load: the loop as a matrix on the samples, Newton's method in the film's voltage; own set-up kept out of the loop."""
    lines = samples // 2 + 1
    w = 2j * np.pi * HZ * np.arange(lines)
    upstream = 1000.0 + w * 0.5
    upstream = upstream / (1 + w * 1.5e-10 * upstream)
    load = 1 / (1 / 47e3 + w * 2e-10)
    open_share = 1 / (1 + w[1] * 1.5e-10 * (1000.0 + w[1] * 0.5))
    z = upstream + load
    kernel = np.fft.irfft(z, samples)
    turn = (np.arange(samples)[:, None] - np.arange(samples)[None, :]) % samples
    matrix = kernel[turn]
    drive = np.zeros(lines, complex)
    drive[1] = open_share * EMF_V / np.sqrt(2) * samples
    e = np.fft.irfft(drive, samples)
    u = e * ohm / (ohm + abs(z[1]))
    for _ in range(40):
        current = SCALE_V / ohm * np.sinh(u / SCALE_V)
        left = u + matrix @ current - e
        step = np.linalg.solve(np.eye(samples) + matrix * (np.cosh(u / SCALE_V) / ohm)[None, :], left)
        u -= step
        if np.abs(step).max() < 1e-16:
            break
    heard = np.abs(np.fft.rfft(SCALE_V / ohm * np.sinh(u / SCALE_V)) * load)
    return np.sqrt((heard[2:] ** 2).sum()) / heard[1]


def rows():
    ready = section()
    ohms = 10 ** np.random.default_rng(1).uniform(2, 5, COUNT)
    found = ready.distortion(HZ, contacts={"k": ohms})
    assert found.converged.all()
    out = []
    for samples, wanted in ((63, 20), (255, 100)):
        known = np.array([dense(ohm, samples) for ohm in ohms[:JUDGED]])
        # the dense one takes its harmonics from the whole current: rounding of the fundamental
        assert np.abs(found.thd_f[:JUDGED] - known).max() < 1e-9 * max(known.max(), 1e-3)
        title = f"film THD, cartridge, {COUNT} resistances"
        peer_name = f"numpy, dense Newton on {samples} (from {JUDGED})"
        out.append(
            row(title, lambda: ready.distortion(HZ, contacts={"k": ohms}), peer_name,
                lambda samples=samples: [dense(ohm, samples) for ohm in ohms[:JUDGED]], wanted, COUNT / JUDGED)
        )  # fmt: skip
    return out
