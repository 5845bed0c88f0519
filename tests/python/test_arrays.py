"""Whatever numpy takes as real numbers works; what it is not is an error that names the argument."""

import threading

import numpy as np
import pandas as pd
import pytest

import weaklink as wl


def plain(section, f, r):
    return np.array([section.loss_db(float(a), contacts={"pin": float(b)}) for a, b in zip(np.ravel(f), np.ravel(r), strict=True)])


def test_scalars_and_shapes(cartridge):
    assert isinstance(cartridge.loss_db(1000, contacts={"pin": 5}), float)
    assert isinstance(cartridge.transfer(np.float64(1000.0)), complex)
    f, r = np.array([20.0, 1e3, 2e4]), np.array([[1.0], [10.0]])
    found = cartridge.loss_db(f, contacts={"pin": r})
    assert found.shape == (2, 3) and found.dtype == np.float64
    np.testing.assert_allclose(found.ravel(), plain(cartridge, *np.broadcast_arrays(f, r)), rtol=1e-12)
    assert cartridge.loss_db([1000.0]).shape == (1,)
    assert cartridge.loss_db(np.empty(0)).shape == (0,)


@pytest.mark.parametrize(
    "values",
    [
        [1, 10, 100],
        (1.0, 10.0, 100.0),
        np.array([1, 10, 100], dtype=np.int16),
        np.array([1, 10, 100], dtype=np.float32),
        np.array([1, 0, 10, 0, 100], dtype=float)[::2],
        np.array([100.0, 10.0, 1.0])[::-1],
        pd.Series([1.0, 10.0, 100.0]),
    ],
)
def test_everything_numpy_takes(cartridge, values):
    expected = [cartridge.loss_db(1000.0, contacts={"pin": v}) for v in (1.0, 10.0, 100.0)]
    np.testing.assert_allclose(cartridge.loss_db(1000.0, contacts={"pin": values}), expected, rtol=1e-12)


def test_fortran_and_read_only(cartridge):
    r = np.asfortranarray(np.arange(1.0, 7.0).reshape(2, 3))
    r.flags.writeable = False
    before = r.copy()
    found = cartridge.loss_db(1000.0, contacts={"pin": r})
    np.testing.assert_allclose(found.ravel(), plain(cartridge, np.full(6, 1000.0), r), rtol=1e-12)
    np.testing.assert_array_equal(r, before)


def test_large_arrays_on_all_cores(cartridge):
    f = np.geomspace(20.0, 2e4, 300_000)
    r = np.linspace(0.0, 1e4, f.size)
    found = cartridge.loss_db(f, contacts={"pin": r})
    some = slice(None, None, 9973)
    # rounding of a few dozen operations
    np.testing.assert_allclose(found[some], plain(cartridge, f[some], r[some]), rtol=0, atol=1e-12)
    assert (found == cartridge.loss_db(f, contacts={"pin": r})).all()


def test_the_interpreter_is_released(cartridge):
    counted, stop = [0], threading.Event()

    def count():
        while not stop.is_set():
            counted[0] += 1

    thread = threading.Thread(target=count)
    thread.start()
    before = counted[0]
    cartridge.loss_db(np.full(20_000_000, 1000.0), contacts={"pin": 5.0})
    grown = counted[0] - before
    stop.set()
    thread.join()
    assert grown > 0


BAD = [
    (np.nan, "nan"),
    (np.inf, "inf"),
    (-1.0, "-1"),
    ([1.0, 2.0, -3.0], "-3 at index [2]"),
    ([[1.0, np.nan]], "NaN at index [0, 1]"),
    ("5 ohm", "<U5"),
    (1j, "complex128"),
    ([True, False], "bool"),
    (None, "object"),
    ([[1.0], [2.0, 3.0]], "inhomogeneous"),
]


@pytest.mark.parametrize("value,fragment", BAD)
def test_bad_values_are_named(cartridge, value, fragment):
    with pytest.raises(wl.InputError) as caught:
        cartridge.loss_db(1000.0, contacts={"pin": value})
    text = str(caught.value)
    assert 'contacts["pin"]' in text and "allowed" in text and fragment.lower() in text.lower(), text


def test_bad_frequency_shape_name_and_band(cartridge):
    with pytest.raises(wl.InputError, match="frequency_hz: 0; allowed: finite, above zero"):
        cartridge.loss_db(0.0)
    with pytest.raises(wl.InputError, match=r"shape \[3\]; allowed: a shape that broadcasts with \[2\] of frequency_hz"):
        cartridge.loss_db([1.0, 2.0], contacts={"pin": [1.0, 2.0, 3.0]})
    with pytest.raises(wl.InputError, match='unknown contact "pim"; allowed: "pin"'):
        cartridge.loss_db(1.0, contacts={"pim": 1.0})
    with pytest.raises(wl.InputError, match="band_hz"):
        cartridge.ceiling(1000.0, band_hz=(100.0, 20.0))
    with pytest.raises(wl.InputError, match=r"ranges\[\"pin\"\]: low 5 above high 1"):
        cartridge.ceiling(1000.0, ranges={"pin": (5.0, 1.0)})


def test_film_arrays():
    film = wl.Film.tunnelling(resistance_ohm=100.0, scale_v=0.1)
    v = np.linspace(-0.3, 0.3, 7)
    np.testing.assert_allclose(film.current_a(v), 0.1 / 100.0 * np.sinh(v / 0.1), rtol=1e-13)
    np.testing.assert_allclose(film.slope_s(v), np.cosh(v / 0.1) / 100.0, rtol=1e-13)
    assert film.chord_ohm(0.0) == 100.0
