"""Laws to their last places, against the same formula in fifty digits (mpmath)."""

import mpmath
import numpy as np
import pytest

import weaklink as wl

# kT/e at 293.15 K in double precision, as the stub says: what rounding makes of it is the law's own
THERMAL_VOLTAGE_V = 1.380649e-23 * 293.15 / 1.602176634e-19
# exp and a handful of products
LAST_PLACES = 1e-15


@pytest.mark.parametrize("ideality", [1.0, 1.3, 1.7, 2.5])
def test_a_diode_far_out_keeps_its_digits(ideality):
    """v/U of some hundreds loses as many units of the last place to its own rounding, were that not put back."""
    film = wl.Film.rectifying(resistance_ohm=70.0, ideality=ideality, leak_ratio=0.1)
    with mpmath.workdps(50):
        unit = mpmath.mpf(ideality) * mpmath.mpf(THERMAL_VOLTAGE_V)
        volts = [float(x * unit) for x in np.linspace(11.0, 690.0, 97)]
        whole = [(mpmath.mpf(0.9) * unit * mpmath.expm1(v / unit) + mpmath.mpf(0.1) * v) / 70 for v in map(mpmath.mpf, volts)]
        apart = [float(abs(found / exact - 1)) for found, exact in zip(map(mpmath.mpf, film.current_a(np.array(volts)).tolist()), whole, strict=True)]
    assert max(apart) < LAST_PLACES, max(apart)


def test_a_leak_alone_is_ohms_law():
    """With a leak of 1 nothing is left of the diode: v = R i, and back, to the last place or two."""
    film = wl.Film.rectifying(resistance_ohm=70.0, ideality=1.5, leak_ratio=1.0)
    current = np.geomspace(1e-12, 10.0, 40)
    current = np.concatenate([-current, current])
    assert np.abs(film.voltage_v(current) / (70.0 * current) - 1.0).max() < LAST_PLACES
    volts = 70.0 * current[np.abs(current) < 0.1]
    assert np.abs(film.current_a(volts) / (volts / 70.0) - 1.0).max() < LAST_PLACES
