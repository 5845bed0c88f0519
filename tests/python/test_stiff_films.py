"""Stiff films in resistive loops against a plain solution: bisection and Newton's method in numpy's longest numbers, Gauss's rule on
panels that halve towards the knee. Other instants, another quadrature, the whole current in place of the deviation."""

import numpy as np
import pytest
import weaklink as wl

LOOP_OHM = 1000.0
SCALE_V, IDEALITY = 0.1, 1.5
# relative error of the THD, and of harmonics against the THD: rounding of doubles where the THD is 1e-4 of the current
THD_TOLERANCE, LINE_TOLERANCE = 1e-11, 1e-10
REAL = np.longdouble
PI = REAL("3.14159265358979323846264338327950288")
# k/e of the SI (2019), T = 293.15 K; 2 sqrt(L) T with Sommerfeld's L = (pi^2/3)(k/e)^2
K_PER_E = REAL("1.380649e-23") / REAL("1.602176634e-19")
DIODE_V = REAL(IDEALITY) * K_PER_E * REAL("293.15")
HEATING_V = 2 * PI / np.sqrt(REAL(3)) * K_PER_E * REAL("293.15")
HARMONICS = 12

# law, leak, zero-voltage ohm, EMF V rms: shorted, all but open, a knee near the crest, near zero and between
CASES = [
    ("tunnelling", 0.0, 300.0, 50.0),
    ("tunnelling", 0.0, 1e6, 50.0),
    ("tunnelling", 0.0, 1.0, 900.0),
    ("tunnelling", 0.0, 3e4, 2.0),
    ("rectifying", 1e-3, 30.0, 5.0),
    ("rectifying", 1e-3, 1e4, 50.0),
    ("rectifying", 0.1, 1e5, 3.0),
    ("rectifying", 0.5, 200.0, 20.0),
    ("bridged", 0.0, 1.0, 90.0),
    ("bridged", 0.0, 300.0, 5.0),
    ("bridged", 0.0, 1e5, 50.0),
    ("bridged", 0.0, 2e4, 0.6),
]


def current(law, leak, ohm, u):
    """Current of the film and its slope; past 11 000 exponents nothing is larger than anything here."""
    if law == "tunnelling":
        x = np.clip(u / REAL(SCALE_V), -11_000, 11_000)
        return REAL(SCALE_V) / ohm * np.sinh(x), np.cosh(x) / ohm
    if law == "rectifying":
        x = np.minimum(u / DIODE_V, 11_000)
        return ((1 - leak) * DIODE_V * np.expm1(x) + leak * u) / ohm, ((1 - leak) * np.exp(x) + leak) / ohm
    return HEATING_V / ohm * np.arctan(u / HEATING_V), 1 / (ohm * (1 + (u / HEATING_V) ** 2))


def loop_current(law, leak, ohm, across):
    low, high = np.minimum(across, 0), np.maximum(across, 0)
    for _ in range(60):
        middle = (low + high) / 2
        above = middle + LOOP_OHM * current(law, leak, ohm, middle)[0] > across
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    u = (low + high) / 2
    for _ in range(6):
        i, slope = current(law, leak, ohm, u)
        u = u - (u + LOOP_OHM * i - across) / (1 + LOOP_OHM * slope)
    # of a film that is steep the loop knows the current best
    i, slope = current(law, leak, ohm, u)
    return np.where(LOOP_OHM * slope > 1, (across - u) / LOOP_OHM, i)


def plainly(law, leak, ohm, emf_v):
    """THD and harmonics."""
    leak, ohm, peak = REAL(leak), REAL(ohm), np.sqrt(REAL(2)) * REAL(emf_v)
    # the knee is about where the current bends most on a plain grid
    grid = np.linspace(0, np.pi, 4001).astype(REAL)
    knee = float(grid[1 + np.abs(np.diff(loop_current(law, leak, ohm, peak * np.cos(grid)), 2)).argmax()])
    middles = np.array([knee, np.pi - knee, np.pi / 2])[:, None]
    levels = 1.6 * 0.5 ** np.arange(16)
    edges = np.concatenate([middles - levels, middles + levels, middles], axis=1).ravel()
    edges = np.concatenate([[0], np.unique(edges[(edges > 0) & (edges < np.pi)]), [PI]]).astype(REAL)
    node, weight = (a.astype(REAL) for a in np.polynomial.legendre.leggauss(40))
    half = np.diff(edges)[:, None] / 2
    t = ((edges[:-1] + edges[1:])[:, None] / 2 + half * node).ravel()
    w = (half * weight).ravel() / PI
    i = loop_current(law, leak, ohm, peak * np.cos(t))
    lines = [2 * (w * i * np.cos(h * t)).sum() for h in range(HARMONICS + 2)]
    rest = i - lines[0] / 2 - lines[1] * np.cos(t)
    return float(np.sqrt(2 * (w * rest * rest).sum()) / lines[1]), np.array(lines[2:], float) / float(lines[1])


def film(law, leak, ohm):
    if law == "tunnelling":
        return wl.Film.tunnelling(resistance_ohm=ohm, scale_v=SCALE_V)
    if law == "rectifying":
        return wl.Film.rectifying(resistance_ohm=ohm, ideality=IDEALITY, leak_ratio=leak)
    return wl.Film.bridged(resistance_ohm=ohm)


@pytest.mark.parametrize(("law", "leak", "ohm", "emf_v"), CASES)
def test_a_stiff_film_is_as_plainly(law, leak, ohm, emf_v):
    source = wl.Source(emf_v=1.0, resistance_ohm=0.4 * LOOP_OHM)
    section = wl.Section("s", source=source, path=[wl.Contact("k", film=film(law, leak, 1.0))], load=wl.Load(resistance_ohm=0.6 * LOOP_OHM))
    found = section.distortion(1e3, emf_v=[emf_v], contacts={"k": [ohm]}, harmonics=HARMONICS)
    thd, lines = plainly(law, leak, ohm, emf_v)
    assert found.converged[0]
    off = abs(found.thd_f[0] / thd - 1)
    worst = np.abs(found.harmonics[0] - lines).max() / thd
    print(f"{law} {ohm:g} ohm at {emf_v:g} V: THD {thd:.6g}, off by {off:.1e}, harmonics {worst:.1e}")
    assert off < THD_TOLERANCE
    assert off * thd <= found.error_bound[0]
    assert worst < LINE_TOLERANCE
