"""Ceilings over many ranges against numpy on a grid of frequencies; ours encloses the supremum, numpy looks at 200 frequencies."""

import numpy as np
import weaklink as wl

from .common import row

T1_COUNT, T2_COUNT, GRID = 100_000, 2_000, 200
# what numpy takes at once: more no longer fits its caches
BLOCK = 5_000
HZ, BAND_HZ = 1e3, (20.0, 20e3)
CAPACITANCE_F = (150e-12, 200e-12)
LOAD_OHM, LOAD_F = 47e3, 100e-12


def source():
    return wl.Source(emf_v=5e-3, resistance_ohm=1000.0, inductance_h=0.5)


def one_loop():
    path = [wl.Lead(capacitance_f=CAPACITANCE_F[0]), wl.Contact("k", resistance_ohm=1.0)]
    return wl.Section("one", source=source(), path=path, load=wl.Load(resistance_ohm=LOAD_OHM, capacitance_f=LOAD_F))


def two_loops():
    path = [wl.Contact("fixed", resistance_ohm=1.0), wl.Lead(capacitance_f=CAPACITANCE_F[0]), wl.Contact("k", resistance_ohm=1.0)]
    return wl.Section("two", source=source(), path=path, load=wl.Load(resistance_ohm=LOAD_OHM, capacitance_f=LOAD_F))


def three_loops():
    path = [wl.Contact("a", resistance_ohm=1.0), wl.Lead(capacitance_f=CAPACITANCE_F[0]), wl.Contact("b", resistance_ohm=1.0),
            wl.Lead(capacitance_f=CAPACITANCE_F[1]), wl.Contact("c", resistance_ohm=1.0)]  # fmt: skip
    return wl.Section("three", source=source(), path=path, load=wl.Load(resistance_ohm=LOAD_OHM, capacitance_f=LOAD_F))


def t1_by_numpy(high, hz):
    """T1 with the range from zero to `high` ohm, the largest share at any of the frequencies."""
    w = 2j * np.pi * hz
    upstream = 1000.0 + w * 0.5
    upstream = upstream / (1 + w * CAPACITANCE_F[0] * upstream)
    load = 1 / (1 / LOAD_OHM + w * LOAD_F)
    m = upstream + load
    at = np.argmin(abs(hz - HZ))
    output = np.abs(load / load[at])
    magnitude, real = np.abs(m) ** 2, m.real
    best = np.zeros(len(high))
    for k in range(len(hz)):
        if k != at:
            np.maximum(best, output[k] * 0.5 * high / np.sqrt(magnitude[k] + high * real[k]), out=best)
    return best


def t1_of_sections_by_numpy(fixed, high, hz):
    """The same with another contact before the lead, `fixed` ohm: sections by frequencies at once, in blocks."""
    if len(fixed) > BLOCK:
        return np.concatenate([t1_of_sections_by_numpy(fixed[k : k + BLOCK], high[k : k + BLOCK], hz) for k in range(0, len(fixed), BLOCK)])
    w = 2j * np.pi * hz
    upstream = 1000.0 + w * 0.5 + fixed[:, None]
    upstream = upstream / (1 + w * CAPACITANCE_F[0] * upstream)
    load = 1 / (1 / LOAD_OHM + w * LOAD_F)
    m = upstream + load
    at = np.argmin(abs(hz - HZ))
    share = np.abs(load / load[at]) * 0.5 * high[:, None] / np.sqrt(np.abs(m) ** 2 + high[:, None] * m.real)
    share[:, at] = 0.0
    return share.max(axis=1)


def t2_by_numpy(high, hz):
    """T2 with weights `1/Delta`, ranges from zero to `high[:, k]` ohm of three contacts in three meshes, on the frequencies."""
    w = 2j * np.pi * hz
    middle, delta = high / 2, high / 2
    mesh = np.zeros((len(high), len(hz), 3, 3), complex)
    c1, c2 = 1 / (w * CAPACITANCE_F[0]), 1 / (w * CAPACITANCE_F[1])
    load = 1 / (1 / LOAD_OHM + w * LOAD_F)
    for k, own in enumerate((1000.0 + w * 0.5 + c1, c1 + c2, c2 + load)):
        mesh[:, :, k, k] = own + middle[:, k, None]
    mesh[:, :, 0, 1] = mesh[:, :, 1, 0] = -c1
    mesh[:, :, 1, 2] = mesh[:, :, 2, 1] = -c2
    inverse = np.linalg.inv(mesh)
    root = np.sqrt(delta)[:, None, :]
    between = -root[..., :, None] * inverse * root[..., None, :]
    out = -load[None, :, None] * inverse[:, :, 2, :] * root
    at = np.argmin(abs(hz - HZ))
    gram = np.eye(3) - np.conj(np.swapaxes(between, -1, -2)) @ between
    share = np.einsum("sfj,sfj->sf", out, np.linalg.solve(gram, np.conj(out)[..., None])[..., 0]).real
    share[:, at] = 0.0
    drive = root[:, 0] * inverse[:, at, :, 0]
    through = load[at] * inverse[:, at, 2, 0]
    bent = drive[:, :, None] * (out[:, at] / through[:, None])[:, None, :] - between[:, at]
    gram = np.eye(3) - bent @ np.conj(np.swapaxes(bent, -1, -2))
    driven = np.einsum("sj,sj->s", np.conj(drive), np.linalg.solve(gram, drive[..., None])[..., 0]).real
    return np.sqrt(share.max(axis=1) * driven) / np.abs(through)


def rows():
    hz = np.unique(np.append(np.geomspace(*BAND_HZ, GRID - 1), HZ))
    rng = np.random.default_rng(1)
    high = 10 ** rng.uniform(0, 5, T1_COUNT)
    ready = one_loop()
    found = ready.ceiling(HZ, ranges={"k": (0.0, high)})
    # what numpy sees at the harmonics is ours to 1e-9; over the band it sees less than the supremum, by what lies between its frequencies
    harmonics = t1_by_numpy(high[:1000], HZ * np.arange(1, 21))
    assert np.abs(found.harmonics[:1000] / harmonics - 1).max() < 1e-9
    seen = t1_by_numpy(high, hz)
    assert (seen <= found.chatter * (1 + 1e-9)).all() and (found.chatter < 1.02 * seen).all()
    out = [row(f"ceiling T1, {T1_COUNT} ranges", lambda: ready.ceiling(HZ, ranges={"k": (0.0, high)}),
               f"numpy on {GRID} frequencies", lambda: t1_by_numpy(high, hz), 40)]  # fmt: skip
    two, fixed = two_loops(), 10 ** rng.uniform(0, 4, T1_COUNT)

    def sections():
        return two.ceiling(HZ, ranges={"k": (0.0, high)}, contacts={"fixed": fixed})

    found, seen = sections(), t1_of_sections_by_numpy(fixed, high, hz)
    assert (seen <= found.chatter * (1 + 1e-9)).all() and (found.chatter < 1.02 * seen).all()
    harmonics = t1_of_sections_by_numpy(fixed, high, HZ * np.arange(1, 21))
    assert np.abs(found.harmonics / harmonics - 1).max() < 1e-9
    out.append(row(f"ceiling T1, {T1_COUNT} sections that differ in another contact too", sections,
                   f"numpy on {GRID} frequencies", lambda: t1_of_sections_by_numpy(fixed, high, hz), 40))  # fmt: skip
    three = three_loops()
    ranges = 10 ** rng.uniform(0, 3.5, (T2_COUNT, 3))
    named = {name: (0.0, ranges[:, k]) for k, name in enumerate("abc")}
    bound, seen = three.ceiling(HZ, ranges=named), t2_by_numpy(ranges, hz)
    # other weights are never worse than 1/Delta, and gain a few per cent; a proof over all frequencies costs a little
    assert bound.applies.all() and (bound.chatter < 1.001 * seen).all() and (bound.chatter > 0.95 * seen).all()
    out.append(row(f"ceiling T2, three contacts, {T2_COUNT} sets", lambda: three.ceiling(HZ, ranges=named),
                   f"numpy on {GRID} frequencies, no search for weights", lambda: t2_by_numpy(ranges, hz), 40))  # fmt: skip
    return out
