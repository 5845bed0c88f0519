"""The elementary functions of the array kernels against mpmath, in units in the last place, with vectors and without."""

import mpmath
import numpy as np
import pytest
import weaklink as wl
from weaklink import _core

# what src/physics/lanes.rs promises, in units in the last place of the true value
FUNCTIONS = {
    "exp": (mpmath.exp, 1.0),
    "ln": (mpmath.log, 1.0),
    "10 lg(1 + x)": (lambda x: 10 * mpmath.log1p(x) / mpmath.log(10), 3.0),
    "sinh - x": (lambda x: mpmath.sinh(x) - x, 4.0),
    "cosh - 1": (lambda x: mpmath.cosh(x) - 1, 4.0),
    "atan": (mpmath.atan, 5.0),
    "atan - x": (lambda x: mpmath.atan(x) - x, 6.0),
}


def arguments(name):
    rng = np.random.default_rng(7)
    if name == "exp":
        # the whole range, about zero, and where the power of two changes: odd halves of ln 2
        edges = (np.arange(-1009, 1010, 7) + 0.5) * np.log(2)
        edges = np.concatenate([edges * (1 + k * 2.0**-50) for k in (-1, 0, 1)])
        some = [rng.uniform(-700, 700, 3000), rng.uniform(-1, 1, 2000), 10 ** rng.uniform(-18, 0, 500), edges, [0.0, -0.0, 700.0, -700.0]]
    elif name == "ln":
        near = 1 + np.concatenate([s * 10 ** rng.uniform(-15.5, -1, 800) for s in (-1, 1)])
        middle = np.sqrt(0.5) * 2.0 ** np.arange(-1000, 1000, 17)
        edges = np.concatenate([middle * (1 + k * 2.0**-52) for k in range(-2, 3)])
        some = [10 ** rng.uniform(-307, 308, 2000), rng.uniform(0.3, 3, 2000), near, edges, [1.0, 2.0, np.finfo(float).tiny, np.finfo(float).max]]
    elif name == "10 lg(1 + x)":
        near = np.concatenate([s * 10 ** rng.uniform(-300, -0.13, 1000) for s in (-1, 1)])
        # where the power of two changes, and where a number beside one takes over
        edges = np.concatenate([c - 1 + np.arange(-8, 9) * 2.0**-52 for c in (np.sqrt(0.5) / 2, np.sqrt(0.5), np.sqrt(2.0), 0.75, 1.5, 2.0)])
        some = [near, rng.uniform(-0.75, 3, 4000), 10 ** rng.uniform(0, 300, 500), edges, [0.0, -0.75]]
    elif name.startswith("atan"):
        sign = rng.choice([-1.0, 1.0], 2000)
        some = [rng.uniform(-3, 3, 3000), sign * 10 ** rng.uniform(-60, 90, 2000), [1.0, -1.0, np.tan(np.pi / 8)]]
    else:
        sign = rng.choice([-1.0, 1.0], 1000)
        some = [rng.uniform(-1.5, 1.5, 3000), sign * 10 ** rng.uniform(-60, 0, 1000), [1.5, -1.5]]
    return np.concatenate([np.asarray(part, float) for part in some])


@pytest.mark.parametrize("plain", [False, True], ids=["vectors", "plain"])
@pytest.mark.parametrize("name", FUNCTIONS)
def test_largest_error(name, plain):
    law, allowed_ulp = FUNCTIONS[name]
    x = arguments(name)
    found = _core._lanes(name, x, plain)
    worst, where = 0.0, None
    with mpmath.workdps(280):
        for argument, value in zip(x, found, strict=True):
            true = law(mpmath.mpf(float(argument)))
            if true == 0:
                assert value == 0.0
                continue
            error = float(abs(mpmath.mpf(float(value)) - true) / mpmath.mpf(float(np.spacing(abs(float(true))))))
            if error > worst:
                worst, where = error, float(argument)
    print(f"{name}, {'plain' if plain else 'vectors'}: {worst:.3f} ulp at {where!r} of {len(x)}")
    assert worst <= allowed_ulp, f"{worst} ulp at {where!r}"
    # an error far below what is promised would mean that nothing was compared
    assert worst > 0.3 * allowed_ulp


def test_no_value_depends_on_its_neighbours():
    x = arguments("exp")
    turned = _core._lanes("exp", x[::-1].copy(), False)[::-1]
    assert (turned == _core._lanes("exp", x, False)).all()
    alone = [_core._lanes("exp", x[k : k + 1], False)[0] for k in range(0, len(x), 50)]
    assert (alone == turned[::50]).all()


def test_another_function_is_refused():
    with pytest.raises(wl.InputError, match="sinh - x"):
        _core._lanes("sin", np.ones(1), False)
