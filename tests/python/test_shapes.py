"""No answer of an array call depends on the shape of the arrays or on what else is in them, to the last bit, or where there are very many rows to 2e-15; small losses keep their digits."""

import mpmath
import numpy as np
import pytest
import weaklink as wl

SOURCE = (1000.0, 0.5)
LEAD_F, LOAD_OHM, LOAD_F = 150e-12, 47e3, 100e-12


def section():
    path = [wl.Lead(capacitance_f=LEAD_F), wl.Contact("a", resistance_ohm=0.0), wl.Contact("b", resistance_ohm=0.0)]
    source = wl.Source(emf_v=5e-3, resistance_ohm=SOURCE[0], inductance_h=SOURCE[1])
    return wl.Section("s", source=source, path=path, load=wl.Load(resistance_ohm=LOAD_OHM, capacitance_f=LOAD_F))


def same_bits(one, other):
    return np.array_equal(np.asarray(one).view(np.int64), np.asarray(other).view(np.int64))


@pytest.mark.parametrize("frequencies", [3, 63, 64, 200, 201, 600])
@pytest.mark.parametrize("method", ["loss_db", "transfer"])
def test_shape_does_not_matter(method, frequencies):
    # above and below the size from which on numpy's own memory is written
    s = section()
    f, r = np.geomspace(20.0, 20e3, frequencies), np.geomspace(1e-6, 1e5, 41)
    ask = getattr(s, method)
    grid = ask(f[None, :], contacts={"a": r[:, None], "b": 3.0})
    assert grid.shape == (41, frequencies)
    whole = ask(np.broadcast_to(f, grid.shape).copy(), contacts={"a": np.broadcast_to(r[:, None], grid.shape).copy(), "b": 3.0})
    turned = ask(f[:, None], contacts={"a": r[None, :], "b": 3.0})
    assert same_bits(np.ascontiguousarray(grid), np.ascontiguousarray(whole))
    assert same_bits(np.ascontiguousarray(grid), np.ascontiguousarray(turned.T))
    for i, k in [(0, 0), (7, frequencies // 2), (40, frequencies - 1)]:
        assert ask(float(f[k]), contacts={"a": float(r[i]), "b": 3.0}) == grid[i, k]
        assert ask(float(f[k]), contacts={"a": r, "b": 3.0})[i] == grid[i, k]


def test_very_many_rows_are_polynomials_and_the_same():
    s, f = section(), np.geomspace(20.0, 20e3, 200)
    r = np.concatenate([np.geomspace(1e-9, 1e6, 3000), np.random.default_rng(5).uniform(0.0, 3e4, 1000)])
    grid = s.loss_db(f, contacts={"a": r[:, None], "b": 3.0})
    alone = s.loss_db(np.broadcast_to(f, grid.shape).copy(), contacts={"a": np.broadcast_to(r[:, None], grid.shape).copy(), "b": 3.0})
    apart = np.abs(grid / alone - 1)
    print(f"largest distance {apart.max():.1e}, {np.mean(apart == 0):.2f} to the last bit")
    assert 0.0 < apart.max() < 2e-15
    # no resistances at all
    assert not s.loss_db(f, contacts={"a": np.zeros((400, 1)), "b": 0.0}).any()


def test_rows_against_mpmath():
    s, worst = section(), 0.0
    f, r = np.geomspace(20.0, 20e3, 64), np.repeat([1e-12, 1e-8, 1e-3, 1.0, 700.0, 2e4, 1e6], 64)
    found = s.loss_db(f, contacts={"a": r[:, None], "b": 0.0})
    with mpmath.workdps(60):
        for i in range(0, len(r), 64):
            for j in range(0, 64, 9):
                w = 2j * mpmath.pi * mpmath.mpf(f[j])
                z, y, load = SOURCE[0] + w * SOURCE[1], w * mpmath.mpf(LEAD_F), 1 / mpmath.mpf(LOAD_OHM) + w * mpmath.mpf(LOAD_F)
                k = (1 + z * y) * load / (1 + z * y + z * load)
                true = 20 * mpmath.log10(abs(1 + k * mpmath.mpf(r[i])))
                worst = max(worst, abs(float((mpmath.mpf(found[i + i // 64, j]) - true) / true)))
    print(f"largest relative error of a loss: {worst:.1e}")
    assert worst < 1e-13


def test_small_and_large_losses_against_mpmath():
    # some operations in double precision; the real part of `k` may be some times below its size
    rounding = 1e-13
    s, worst = section(), 0.0
    with mpmath.workdps(60):
        for f in (20.0, 1e3, 9e3, 20e3):
            w = 2j * mpmath.pi * mpmath.mpf(f)
            z, y, load = SOURCE[0] + w * SOURCE[1], w * mpmath.mpf(LEAD_F), 1 / mpmath.mpf(LOAD_OHM) + w * mpmath.mpf(LOAD_F)
            k = (1 + z * y) * load / (1 + z * y + z * load)
            for ohm in (1e-12, 1e-8, 1e-3, 1.0, 1e3, 1e6):
                true = 20 * mpmath.log10(abs(1 + k * mpmath.mpf(ohm)))
                found = s.loss_db(f, contacts={"a": ohm, "b": 0.0})
                worst = max(worst, abs(float((mpmath.mpf(found) - true) / true)))
    print(f"largest relative error of a loss: {worst:.1e}")
    assert worst < rounding
    assert s.loss_db(1e3, contacts={"a": 0.0, "b": 0.0}) == 0.0


def test_a_ceiling_is_the_same_alone_and_among_many():
    s = section()
    rng = np.random.default_rng(3)
    high = 10 ** rng.uniform(-3, 8, 9000)
    low = high * rng.uniform(0, 1, 9000) * rng.integers(0, 2, 9000)
    # some do not move
    high[::50] = low[::50]
    many = s.ceiling(1e3, ranges={"a": (low, high)}, contacts={"b": 5.0})
    assert (many.chatter[::50] == 0.0).all() and many.applies.all()
    for k in range(0, 9000, 301):
        one = s.ceiling(1e3, ranges={"a": (float(low[k]), float(high[k]))}, contacts={"b": 5.0})
        assert (one.harmonics, one.chatter) == (many.harmonics[k], many.chatter[k])
    # the other contact as an array, and frequencies along the other axis
    varied = s.ceiling(np.array([[700.0], [1e3]]), ranges={"a": (low[:70], high[:70])}, contacts={"b": np.full(70, 5.0)})
    assert same_bits(varied.chatter[1], many.chatter[:70]) and same_bits(varied.harmonics[1], many.harmonics[:70])
    turned = s.ceiling(np.array([700.0, 1e3]), ranges={"a": (low[:70, None], high[:70, None])}, contacts={"b": 5.0})
    assert same_bits(np.ascontiguousarray(turned.chatter[:, 1]), many.chatter[:70])


def test_a_direct_current_among_many():
    path = [wl.Contact("a", resistance_ohm=1.0, direct_current_a=1e-6)]
    s = wl.Section("s", source=wl.Source(emf_v=1.0, resistance_ohm=1e3, inductance_h=0.1), path=path, load=wl.Load(resistance_ohm=47e3))
    high, emf = np.geomspace(1.0, 1e7, 5000), np.geomspace(0.1, 1.0, 5000)
    many = s.ceiling(1e3, ranges={"a": (0.0, high)}, emf_v=emf)
    for k in range(0, 5000, 499):
        one = s.ceiling(1e3, ranges={"a": (0.0, float(high[k]))}, emf_v=float(emf[k]))
        assert one.status == many.status[k]
        assert same_bits(one.chatter, many.chatter[k])
    assert set(many.status) > {"holds"}
