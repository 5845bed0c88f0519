"""Frequency weightings against the tables of the standards, scipy's filters and mpmath."""

import math

import mpmath
import numpy as np
import pytest
import weaklink as wl
from scipy.signal import freqs_zpk
from weaklink.hearing import weighting_db

BS468_FIT_DB = 0.05  # the fit is 0.046 dB from a table printed to 0.1 dB
ROUNDING_DB = 1e-11


@pytest.mark.rows("weighting-a.csv")
def test_every_entry_of_a(row):
    assert round(weighting_db(1000.0 * 10.0 ** (row.number("tenth") / 10.0)), 1) == row.number("a_db")


def test_nominal_frequencies_give_another_table():
    # trap: 20 Hz nominal is 19.953 Hz; -50.39 rounds to -50.4, the table has -50.5
    assert weighting_db(20.0) == pytest.approx(-50.39, abs=0.005)
    assert weighting_db(1000.0 * 10.0**-1.7) == pytest.approx(-50.4522, abs=5e-5)


def a_poles():
    with mpmath.workdps(40):
        low, high, middle = mpmath.mpf(10) ** 1.5, mpmath.mpf(10) ** mpmath.mpf("3.9"), mpmath.mpf(10) ** mpmath.mpf("2.45")
        d = 1 / mpmath.sqrt(2)
        b = (10**6 + low**2 * high**2 / 10**6 - d * (low**2 + high**2)) / (1 - d)
        root = mpmath.sqrt(b * b - 4 * low**2 * high**2)
        side = mpmath.sqrt(5)
        poles = [mpmath.sqrt((-b - root) / 2), (3 - side) / 2 * middle, (3 + side) / 2 * middle, mpmath.sqrt((-b + root) / 2)]
        return [float(p) for p in poles]


def test_a_is_the_filter_with_its_poles():
    f1, f2, f3, f4 = a_poles()
    assert [f1, f2, f3, f4] == pytest.approx([20.598997, 107.652649, 737.862231, 12194.217148], abs=1e-6)
    hz = np.geomspace(1.0, 1e5, 200)
    poles = -2 * np.pi * np.array([f1, f1, f2, f3, f4, f4])
    _, h = freqs_zpk([0, 0, 0, 0], poles, 1.0, 2 * np.pi * np.append(hz, 1000.0))
    assert weighting_db(hz) == pytest.approx(20 * np.log10(abs(h[:-1] / h[-1])), rel=0.0, abs=ROUNDING_DB)


@pytest.mark.rows("weighting-468.csv")
def test_bs468_keeps_to_its_table(row):
    assert weighting_db(row.number("frequency_hz"), "BS.468") == pytest.approx(row.number("weight_db"), rel=0.0, abs=BS468_FIT_DB)


@pytest.mark.rows("riaa.csv")
def test_riaa(row):
    assert weighting_db(row.number("frequency_hz"), "riaa") == row.printed("riaa_db")


def test_arrays_and_bad_input():
    assert type(weighting_db(1000.0)) is float and weighting_db(1000.0) == 0.0 and weighting_db(50.0, "none") == 0.0
    assert weighting_db([[100], [200]], "BS.468").shape == (2, 1)
    for bad in (0.0, -1.0, math.nan, math.inf):
        with pytest.raises(wl.InputError) as caught:
            weighting_db(bad)
        assert caught.value.place == "frequency_hz"
    with pytest.raises(wl.InputError) as caught:
        weighting_db(1000.0, "C")
    assert caught.value.place == "weighting" and '"BS.468"' in caught.value.allowed
