"""Two tones against closed forms, Bessel functions, and the dense oracle."""

import math

import numpy as np
import pytest
import weaklink as wl
from oracle_cases import one_contact
from oracle_network import THERMAL_V
from oracle_newton import harmonics_newton
from scipy.special import iv

PAIRS = [(60.0, 7000.0, 4.0), (250.0, 8000.0, 4.0), (19e3, 20e3, 1.0), (11e3, 12e3, 1.0)]


def across(film, emf_v, ohm=1e-9):
    load = wl.Load(resistance_ohm=ohm)
    return wl.Section("s", source=wl.Source(emf_v=emf_v), path=[wl.Contact("k", film=film)], load=load)


@pytest.mark.parametrize("low_hz,high_hz,ratio", PAIRS)
def test_weak_second_and_third_order_products(low_hz, high_hz, ratio):
    # y = x + a2 x^2 + a3 x^3, low tone A, high tone B: d2 = 2 a2 A, d3 = 1.5 a3 A^2; equal: d2 = a2 A/2, d3 = 0.75 a3 A^2 (derived)
    emf_v = 1e-5
    found = across(wl.Film.rectifying(resistance_ohm=1e9, ideality=1.0, leak_ratio=1e-12), emf_v).two_tone(low_hz, high_hz, ratio=ratio)
    a = math.sqrt(2) * emf_v * ratio / (1 + ratio)
    a2, a3 = 1 / (2 * THERMAL_V), 1 / (6 * THERMAL_V**2)
    known = (2 * a2 * a, 1.5 * a3 * a * a) if ratio != 1 else (a2 * a / 2, 0.75 * a3 * a * a)
    assert found.definition == ("difference" if ratio == 1 else "modulation")
    assert (found.d2, found.d3) == (pytest.approx(known[0], rel=1e-6), pytest.approx(known[1], rel=1e-6, abs=0.0))
    if ratio != 1:  # sidebands as rms instead of as sums of pairs
        assert found.rms == pytest.approx(math.hypot(found.d2, found.d3) / math.sqrt(2), rel=1e-6)


@pytest.mark.parametrize("x", [0.3, 2.0, 8.0])
def test_products_of_sinh_are_bessel_functions(x):
    # sinh(x1 cos a + x2 cos b): the product (k1, k2) has I_k1(x1) I_k2(x2) for odd k1 + k2
    scale_v, ratio = 0.5, 4.0
    found = across(wl.Film.tunnelling(resistance_ohm=1e9, scale_v=scale_v), x * scale_v / math.sqrt(2)).two_tone(60.0, 7e3)
    x1, x2 = x * ratio / (1 + ratio), x / (1 + ratio)
    for (k1, k2), level, hz in zip(found.order, found.level, found.frequency_hz, strict=True):
        known = iv(abs(k1), x1) * iv(abs(k2), x2) / (iv(0, x1) * iv(1, x2)) if (k1 + k2) % 2 else 0.0
        assert level == pytest.approx(known, rel=1e-8, abs=1e-11)
        assert hz == pytest.approx(abs(60.0 * k1 + 7e3 * k2))


def test_a_cartridge_against_the_dense_oracle():
    # tones at 3 and 10 times a base: products of low order do not meet there, those that do are far below
    film = wl.Film.rectifying(resistance_ohm=2e3, ideality=1.5, leak_ratio=0.1)
    case = one_contact(film.to_dict(), 0.01, 1000.0, 0.5, 47e3, 2e-10)
    found = wl.Section.from_dict(case).two_tone(900.0, 3e3, ratio=4.0)
    known = np.abs(harmonics_newton(case, 300.0, tones=[(3, 0.008), (10, 0.002)], samples=405, most_samples=405)["load"])
    assert found.converged and found.rounds > 0
    assert found.d2 == pytest.approx((known[7] + known[13]) / known[10], rel=1e-6)
    assert found.d3 == pytest.approx((known[4] + known[16]) / known[10], rel=1e-4)


def test_equalisation_lifts_the_difference_tone():
    # 19 and 20 kHz make 1 kHz, which RIAA plays 19.620 dB louder than 20 kHz (IEC 60098)
    film = wl.Film.rectifying(resistance_ohm=2e3, ideality=1.5, leak_ratio=0.1)
    first = wl.Section.from_dict(one_contact(film.to_dict(), 5e-3, 600.0, 0.0, 47e3))
    plain = first.two_tone(19e3, 20e3, ratio=1.0)
    lifted = wl.Chain([first, wl.Stage("phono stage", equalisation="riaa")]).two_tone(19e3, 20e3, ratio=1.0)
    assert 20 * math.log10(lifted.d2 / plain.d2) == pytest.approx(19.620, abs=1e-3)


def test_arrays_and_bad_input():
    made = across(wl.Film.tunnelling(resistance_ohm=10.0, scale_v=0.5), 1.0, 8.0)
    found = made.two_tone(60.0, 7e3, emf_v=[0.1, 1.0], contacts={"k": [[10.0], [0.0]]})
    assert found.d3.shape == (2, 2) and found.level.shape == (2, 2, len(found.order))
    assert (found.d3[1] == 0).all() and found.d3[0, 1] > found.d3[0, 0] > 0
    assert made.two_tone(60.0, 7e3, emf_v=0.0).status == "no fundamental"
    for low, high, keys, match in ((7e3, 60.0, {}, "above low_hz"), (60.0, 7e3, {"ratio": 0.0}, "ratio"), (0.0, 7e3, {}, "low_hz")):
        with pytest.raises(wl.InputError, match=match):
            made.two_tone(low, high, **keys)
