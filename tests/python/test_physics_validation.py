"""Every figure of show_validation, measured again.

``FIGURES`` has one function per claim; it returns the worst error found. The test fails if a figure is worse than what
``python/weaklink/validation.csv`` states, and if the statement is ten times worse than the figure (a claim that says nothing).
After a change: ``python tests/python/test_physics_validation.py`` writes the file from what it measures here.
"""

import csv
import functools
import math
from pathlib import Path

import mpmath
import numpy as np
import pytest
import scipy.constants
import scipy.integrate
import scipy.signal
import scipy.special
import scipy.stats
import sympy
import weaklink as wl
from mpmath import mpf
from weaklink import physics as ph

FILE = Path(__file__).resolve().parents[2] / "python" / "weaklink" / "validation.csv"
COLUMNS = ["id", "claim", "checked_against", "worst_error", "where"]
# below this a relative error is rounding of the last digits, and how large exactly depends on the machine's libm
ROUNDING = 5e-14
# what else may differ from machine to machine: five trials of 1 000 tipped by a last digit, scipy's step sizes, a bisection
GRAIN = {"fit_coverage_known": 5e-3, "fit_coverage_estimated": 5e-3, "copper_growth": 1e-8, "harmonics_to_scale": 1e-11}
FIGURES = {}

mpmath.mp.dps = 50
H, E, K, ME = mpf("6.62607015e-34"), mpf("1.602176634e-19"), mpf("1.380649e-23"), mpf("9.1093837015e-31")
T0 = mpf(293.15)
VT = K * mpf("293.15") / E
LORENZ = mpmath.pi**2 / 3 * (K / E) ** 2
HEAT = 2 * mpmath.sqrt(LORENZ) * mpf("293.15")


def figure(claim, against):
    def keep(measure):
        FIGURES[measure.__name__] = (claim, against, measure)
        return measure

    return keep


def worst(found, exact):
    """Largest relative error against mpmath numbers."""
    found, exact = np.atleast_1d(found), list(np.atleast_1d(exact))
    assert len(found) == len(exact) > 0 and np.all(np.isfinite(found))
    return float(max(abs(mpf(float(f)) / e - 1) for f, e in zip(found, exact, strict=True)))


def decades(low, high, n=60):
    """Both signs, evenly over decades."""
    v = np.geomspace(low, high, n)
    return np.concatenate([-v[::-1], v])


SCALE, IDEALITY, LEAK, OHM = 0.08, 1.7, 0.03, 47.0
TUNNEL = wl.Film.tunnelling(resistance_ohm=OHM, scale_v=SCALE)
RECTIFIER = wl.Film.rectifying(resistance_ohm=OHM, ideality=IDEALITY, leak_ratio=LEAK)
BRIDGE = wl.Film.bridged(resistance_ohm=OHM)
# voltages up to the exponent limit, 700
EDGE_TUNNEL, EDGE_RECTIFIER = 699.9 * SCALE, 699.9 * IDEALITY * float(VT)


def tunnel_a(v):
    return mpf(SCALE) / mpf(OHM) * mpmath.sinh(v / mpf(SCALE))


def rectifier_a(v):
    u = mpf(IDEALITY) * VT
    return ((1 - mpf(LEAK)) * u * mpmath.expm1(v / u) + mpf(LEAK) * v) / mpf(OHM)


def bridge_a(v):
    return HEAT / mpf(OHM) * mpmath.atan(v / HEAT)


LAWS = [(TUNNEL, tunnel_a, EDGE_TUNNEL), (RECTIFIER, rectifier_a, EDGE_RECTIFIER), (BRIDGE, bridge_a, 10.0)]


@figure("film laws: current, 1e-9 V to the overflow edge", "mpmath, 50 digits")
def film_current():
    out = []
    for film, exact, edge in LAWS:
        v = decades(1e-9, edge)
        out.append(worst(film.current_a(v), [exact(mpf(x)) for x in v]))
    return max(out)


@figure("film laws: slope, 1e-9 V to the overflow edge", "sympy's derivative, 50 digits")
def film_slope():
    v, r, s, u, leak, heat = sympy.symbols("v r s u l h")
    formulas = [
        (TUNNEL, s / r * sympy.sinh(v / s), EDGE_TUNNEL),
        (RECTIFIER, ((1 - leak) * u * (sympy.exp(v / u) - 1) + leak * v) / r, EDGE_RECTIFIER),
        (BRIDGE, heat / r * sympy.atan(v / heat), 10.0),
    ]
    out = []
    for film, formula, edge in formulas:
        slope = sympy.lambdify((v, r, s, u, leak, heat), sympy.diff(formula, v), "mpmath")
        rest = (mpf(OHM), mpf(SCALE), mpf(IDEALITY) * VT, mpf(LEAK), HEAT)
        points = decades(1e-9, edge)
        out.append(worst(film.slope_s(points), [slope(mpf(x), *rest) for x in points]))
    return max(out)


@figure("film laws: voltage at a current (inverse)", "mpmath asinh, tan, Lambert W")
def film_inverse():
    i = decades(1e-12, 1e12)
    out = [worst(TUNNEL.voltage_v(i), [mpf(SCALE) * mpmath.asinh(mpf(x) * mpf(OHM) / mpf(SCALE)) for x in i])]
    i = decades(1e-12, 0.99 * 1.57 * float(HEAT) / OHM)
    out.append(worst(BRIDGE.voltage_v(i), [HEAT * mpmath.tan(mpf(x) * mpf(OHM) / HEAT) for x in i]))
    # (1-l) expm1(x) + l x = y: with z = (y+1-l)/l, x = z - W((1-l)/l exp(z)); reverse currents of any size, forward to z = 600
    u, leak = mpf(IDEALITY) * VT, mpf(LEAK)
    i = decades(1e-12, 1e-2)
    exact = []
    for x in i:
        z = (mpf(x) * mpf(OHM) / u + 1 - leak) / leak
        exact.append(u * (z - mpmath.lambertw((1 - leak) / leak * mpmath.exp(z)).real))
    out.append(worst(RECTIFIER.voltage_v(i), exact))
    return max(out)


@figure("film behind a constriction: current at a voltage", "mpmath root")
def series():
    out = []
    v = decades(1e-9, 30.0, 15)
    for film, exact, _ in LAWS:
        for rc in (1e-3, 1.0, 1e3):
            found = ph.series_current_a(film, rc, v)
            roots = []
            for x, guess in zip(v, found, strict=True):
                start = mpf(float(x)) - mpf(rc) * mpf(float(guess))
                if abs(start) < abs(mpf(float(x))) * mpf("1e-9"):
                    start = mpf(film.voltage_v(float(guess)))
                root = mpmath.findroot(lambda f, x=x, rc=rc, e=exact: f + mpf(rc) * e(f) - mpf(float(x)), start, tol=1e-60)
                roots.append(exact(root))
            out.append(worst(found, roots))
    return max(out)


@figure("film behind a constriction: slope", "difference of the mpmath root, 50 digits")
def series_slope():
    out = []
    v = decades(1e-9, 30.0, 12)
    # step 1e-15 of the voltage: truncation 1e-24 (a law bends over 1e-3 of these voltages or more), rounding 1e-33
    step = mpf("1e-15")
    for film, exact, _ in LAWS:
        for rc in (1e-3, 1.0, 1e3):
            slopes = []
            for x in v:
                start = mpf(float(x)) - mpf(rc) * mpf(ph.series_current_a(film, rc, float(x)))
                if abs(start) < abs(mpf(float(x))) * mpf("1e-9"):
                    start = mpf(film.voltage_v(ph.series_current_a(film, rc, float(x))))
                ends = []
                for at in (mpf(float(x)) * (1 - step), mpf(float(x)) * (1 + step)):
                    root = mpmath.findroot(lambda f, at=at, rc=rc, e=exact: f + mpf(rc) * e(f) - at, start, tol=1e-80)
                    ends.append(exact(root))
                slopes.append((ends[1] - ends[0]) / (2 * step * mpf(float(x))))
            out.append(worst(ph.series_slope_s(film, rc, v), slopes))
    return max(out)


def simmons(phi, s, v):
    a = 4 * mpmath.pi * s * mpmath.sqrt(2 * ME * E) / H
    j0 = E**2 / (2 * mpmath.pi * H * s**2)

    def term(u):
        return u * mpmath.exp(-a * mpmath.sqrt(u))

    return j0 * (term(phi - v / 2) - term(phi + v / 2))


BARRIERS = [(1.0, 0.5e-9), (1.0, 1e-9), (2.5, 3e-9), (0.8, 2e-9), (2.0, 5e-9)]


@figure("Simmons intermediate form, 1e-9 V to the barrier", "mpmath, the two terms at 50 digits")
def tunnelling_density():
    out = []
    for phi, s in BARRIERS:
        v = decades(1e-9, 0.999 * phi, 40)
        exact = [simmons(mpf(phi), mpf(s), mpf(float(x))) for x in v]
        out.append(worst(ph.tunnelling_density_a_per_m2(phi, s, v), exact))
    return max(out)


@figure("Simmons intermediate form: slope", "sympy's derivative, 50 digits")
def tunnelling_slope():
    v, phi, a = sympy.symbols("v phi a")
    form = (phi - v / 2) * sympy.exp(-a * sympy.sqrt(phi - v / 2)) - (phi + v / 2) * sympy.exp(-a * sympy.sqrt(phi + v / 2))
    slope = sympy.lambdify((v, phi, a), sympy.diff(form, v), "mpmath")
    out = []
    for p, s in BARRIERS:
        att = 4 * mpmath.pi * mpf(s) * mpmath.sqrt(2 * ME * E) / H
        j0 = E**2 / (2 * mpmath.pi * H * mpf(s) ** 2)
        points = decades(1e-9, 0.999 * p, 40)
        exact = [j0 * slope(mpf(float(x)), mpf(p), att) for x in points]
        out.append(worst(ph.tunnelling_slope_s_per_m2(p, s, points), exact))
    return max(out)


@figure("tunnelling: area resistance and thickness from it", "mpmath")
def tunnelling_area_resistance():
    out = []
    for phi, s in BARRIERS:
        root = mpmath.sqrt(2 * ME * E * mpf(phi))
        exact = H**2 * mpf(s) / (E**2 * root) * mpmath.exp(4 * mpmath.pi * mpf(s) * root / H)
        out.append(worst(ph.tunnelling_area_resistance_ohm_m2(phi, s), exact))
        out.append(abs(ph.tunnelling_thickness_m(phi, float(exact)) / s - 1))
    return max(out)


@figure("tunnelling: cubic coefficient of the intermediate form", "mpmath Taylor series of the form")
def tunnelling_taylor():
    out = []
    for phi, s in BARRIERS:
        series = mpmath.taylor(lambda v, p=phi, s=s: simmons(mpf(p), mpf(s), v), 0, 3)
        out.append(worst(ph.tunnelling_taylor_gamma_per_v2(phi, s), series[3] / series[1]))
    return max(out)


@figure("small spot: Sharvin's term", "quantum of conductance, scipy's CODATA constants")
def small_spot():
    # free electrons: rho l = 3 pi^2 hbar/(e^2 kF^2), Sharvin's conductance (2 e^2/h) (kF a/2)^2
    out = []
    for wave in (0.7e10, 1.2e10):
        radius = np.geomspace(1e-10, 1e-6, 5)
        product = 3 * math.pi**2 * scipy.constants.hbar / (scipy.constants.e**2 * wave**2)
        sharvin = scipy.constants.h / (2 * scipy.constants.e**2) / (wave * radius / 2) ** 2
        for path in (1e-9, 40e-9, 1e-6):
            low, high = ph.small_spot_ohm(radius, product / path, path)
            holm = product / path / (2 * radius)
            out.append(np.max(np.abs(low / (0.69 * holm + sharvin) - 1)))
            out.append(np.max(np.abs(high / (holm + sharvin) - 1)))
    return float(max(out))


@figure("heated spot: current, rise of temperature", "mpmath")
def heated():
    v = decades(1e-9, 10.0)
    lorenz = mpf(ph.LORENZ_V2_PER_K2)
    scale = 2 * mpmath.sqrt(lorenz) * T0
    out = [worst(ph.heated_current_a(v, 0.3), [scale / mpf(0.3) * mpmath.atan(mpf(x) / scale) for x in v])]
    out.append(worst(ph.rise_k(v), [mpmath.sqrt(T0**2 + mpf(x) ** 2 / (4 * lorenz)) - T0 for x in v]))
    return max(out)


def tangent_harmonic(n, y):
    """Harmonic n (odd) of tan(y cos t), from the poles of the tangent at p = (k - 1/2) pi.

    tan x is the sum of 1/(p - x) - 1/(p + x), and 1/(p - y cos t) has the harmonics 2 r^n/s, s = sqrt(p^2 - y^2), r = y/(p + s).
    """

    def term(k):
        p = (k - mpf(1) / 2) * mpmath.pi
        s = mpmath.sqrt(p * p - y * y)
        return 4 * (y / (p + s)) ** n / s

    return mpmath.nsum(term, [1, mpmath.inf])


@figure("heated spot: third harmonic at a sine of current", "mpmath, sum over the poles of the tangent")
def third_harmonic():
    scale = 2 * mpmath.sqrt(mpf(ph.LORENZ_V2_PER_K2)) * T0
    peaks = [1e-6, 1e-3, 0.01, 0.05, 0.1, 0.137]
    exact = [tangent_harmonic(3, mpf(peak) / scale) / tangent_harmonic(1, mpf(peak) / scale) for peak in peaks]
    # the sum itself, once, against quadrature
    y = mpf(0.1) / scale
    direct = 2 / mpmath.pi * mpmath.quad(
        lambda t: mpmath.tan(y * mpmath.cos(t)) * mpmath.cos(3 * t), mpmath.linspace(0, mpmath.pi, 13)
    )
    assert abs(tangent_harmonic(3, y) / direct - 1) < 1e-25
    return worst(ph.third_harmonic(peaks), exact)


def amplitudes(film, peak, n=256):
    t = 2 * np.pi * np.arange(n) / n
    return np.fft.rfft(film.current_a(peak * np.cos(t))).real * 2 / n


@figure("harmonics of a tunnelling film at a sine of voltage", "Jacobi-Anger: 2 (V0/R) I_n(V1/V0), scipy")
def jacobi_anger_sinh():
    out = []
    for x in (0.1, 1.0, 5.0, 20.0):
        found = amplitudes(TUNNEL, x * SCALE)
        exact = 2 * SCALE / OHM * scipy.special.iv(np.arange(1, 12, 2), x)
        out.append(np.max(np.abs(found[1:12:2] - exact)) / exact[0])
        out.append(np.max(np.abs(found[2:12:2])) / exact[0])
    return float(max(out))


@figure("harmonics of a rectifying film at a sine of voltage", "Jacobi-Anger: 2 (1-l) (U/R) I_n(V1/U), scipy")
def jacobi_anger_exponential():
    out = []
    unit = IDEALITY * float(VT)
    for x in (0.1, 1.0, 5.0, 20.0):
        found = amplitudes(RECTIFIER, x * unit)
        exact = 2 * (1 - LEAK) * unit / OHM * scipy.special.iv(np.arange(1, 12), x)
        exact[0] += LEAK * x * unit / OHM
        out.append(np.max(np.abs(found[1:12] - exact)) / exact[0])
    return float(max(out))


@figure("scale of a tunnelling film from its third harmonic at a sine of current", "mpmath quadrature")
def harmonics_to_scale():
    out = []
    for y in (0.03, 0.3, 1.0, 3.0, 10.0):

        def harmonic(n, y=y):
            return abs(
                2 / mpmath.pi * mpmath.quad(
                    lambda t: mpmath.asinh(mpf(y) * mpmath.cos(t)) * mpmath.cos(n * t),
                    mpmath.linspace(0, mpmath.pi, 13),
                )
            )

        with mpmath.workdps(25):
            first, third = float(mpf(SCALE) * harmonic(1)), float(mpf(SCALE) * harmonic(3))
        told = wl.law_from_harmonics(first_v=first, second_v=0.0, third_v=third, floor_v=1e-12)
        out.append(abs(told.scale_v / SCALE - 1))
    return max(out)


@figure("telegraph: integral of the spectrum is the variance", "scipy quadrature")
def telegraph_integral():
    out = []
    for one, other in ((2e-3, 0.5e-3), (1e-3, 1e-3), (1e-5, 1.0)):
        corner = ph.telegraph_corner_hz(one, other)
        # f = corner tan(a): the integrand is flat
        whole = scipy.integrate.quad(
            lambda a, one=one, other=other, c=corner: ph.telegraph_spectrum_per_hz(1.3, one, other, c * math.tan(a))
            * c / math.cos(a) ** 2,
            0.0, math.pi / 2, epsabs=0.0, epsrel=1e-12,
        )[0]
        out.append(abs(whole / ph.telegraph_variance(1.3, one, other) - 1))
    return max(out)


def simulated(dwell_low_s, dwell_high_s, seconds, rate_hz, seed):
    """Whether the telegraph is high, sampled; drawn from exponential dwell times."""
    rng = np.random.default_rng(seed)
    pairs = int(1.2 * seconds / (dwell_low_s + dwell_high_s)) + 50
    dwells = np.empty(2 * pairs)
    dwells[0::2] = rng.exponential(dwell_low_s, pairs)
    dwells[1::2] = rng.exponential(dwell_high_s, pairs)
    edges = np.cumsum(dwells)
    assert edges[-1] > seconds
    n = int(seconds * rate_hz)
    # every edge turns the state of all samples from the next one on
    turned = np.bincount(np.ceil(edges * rate_hz).astype(np.int64).clip(max=n), minlength=n + 1)[:n]
    # a sum that wraps round at 256 keeps its parity
    return np.cumsum(turned.astype(np.uint8), dtype=np.uint8) & 1


@figure("telegraph: spectrum below a tenth of the sampling rate", "seeded simulation, 200 s (statistical)")
def telegraph_simulation():
    rate = 200e3
    x = simulated(2e-3, 0.5e-3, 200.0, rate, seed=4).astype(np.float32)
    f, s = scipy.signal.welch(x, rate, nperseg=1 << 15, detrend="constant")
    # bands of a third of a decade: 1 000 to 100 000 averages each
    out = []
    for low in np.geomspace(20.0, 7e3, 8):
        band = (f >= low) & (f < 2.15 * low)
        out.append(abs(np.mean(s[band]) / np.mean(ph.telegraph_spectrum_per_hz(1.0, 2e-3, 0.5e-3, f[band])) - 1))
    return float(max(out))


@figure("chatter: residue of a tone in a resistive loop", "seeded simulation, notch by least squares (statistical)")
def chatter_simulation():
    rate, seconds, tone = 50e3, 100.0, 1e3
    high = simulated(2e-3, 1e-3, seconds, rate, seed=5)
    t = np.arange(high.size) / rate
    e = np.sin(2 * np.pi * tone * t)
    y = e / np.where(high, 8.0 + 3.0, 8.0 + 0.1)
    basis = np.stack([e, np.cos(2 * np.pi * tone * t), np.ones_like(t)])
    fitted = np.linalg.lstsq(basis.T, y, rcond=None)[0]
    rest = y - fitted @ basis
    residue = np.sqrt(2.0) * np.std(rest) / np.hypot(fitted[0], fitted[1])
    closed = ph.chatter_residue(0.1, 3.0, dwell_low_s=2e-3, dwell_high_s=1e-3, loop_ohm=8.0)
    return float(abs(residue / closed - 1))


@figure("chatter touches bound T1 at dwell times as Z + R_low to Z + R_high", "Section.ceiling of this project")
def chatter_touches_t1():
    out = []
    for low, high, loop in ((0.0, 8.0, 8.0), (0.1, 3.0, 8.0), (10.0, 1e5, 5e4)):
        closed = ph.chatter_residue(low, high, dwell_low_s=loop + low, dwell_high_s=loop + high, loop_ohm=loop)
        section = wl.Section(
            "loop",
            source=wl.Source(emf_v=1.0),
            path=[wl.Contact("c", resistance_ohm=low)],
            load=wl.Load(resistance_ohm=loop),
        )
        ceiling = section.ceiling(1000.0, ranges={"c": (low, high)}).chatter
        out.append(abs(closed / ceiling - 1))
        around = np.linspace(0.01, 0.99, 99)
        others = ph.chatter_residue(low, high, dwell_low_s=around, dwell_high_s=1 - around, loop_ohm=loop)
        assert np.all(others <= ceiling * (1 + 1e-9))
    return max(out)


@figure("thermal noise", "scipy's CODATA constants")
def thermal_noise():
    r = np.geomspace(1e-3, 1e6, 10)
    return float(np.max(np.abs(ph.thermal_noise_v_per_rthz(r, 300.0) / np.sqrt(4 * scipy.constants.k * 300.0 * r) - 1)))


@figure("1/f of a spot: factor 1/(20 pi) of its shells", "scipy quadrature of J^4 and J^2")
def hooge_shells():
    a, n, hooge = 0.7e-6, 5.9e28, 2e-3
    # current density 1/(2 pi r^2) in either half space, from r = a
    shell = lambda power: 2 * scipy.integrate.quad(  # noqa: E731
        lambda x: (1 / (2 * math.pi)) ** power * x ** (2 * power - 4) * 2 * math.pi, 0.0, 1.0
    )[0] * a ** (3 - 2 * power)
    exact = hooge / n * shell(4) / shell(2) ** 2
    return abs(ph.spot_flicker(a, n, hooge) / exact - 1)


@figure("Greenwood's sum over spots", "numpy, all pairs")
def greenwood():
    rng = np.random.default_rng(2)
    x, y = rng.uniform(-1e-4, 1e-4, (2, 40))
    a = rng.uniform(1e-8, 1e-7, 40)
    s = np.hypot(x[:, None] - x, y[:, None] - y)
    exact = 1.7e-8 / (2 * a.sum()) + 3 * np.pi * 1.7e-8 / (32 * 40**2) * np.sum(1 / s[~np.eye(40, dtype=bool)])
    return abs(ph.spots_ohm(x, y, a, 1.7e-8) / exact - 1)


@figure("melting voltages of silver, copper, gold, palladium, tin, tungsten", "Kohlrausch against Holm's table [memory]")
def melting():
    safe = [m for m in ph.metals().values() if m.melting_is_safe]
    assert {m.name for m in safe} == {"silver", "copper", "soft gold", "hard gold", "palladium", "tin", "tungsten"}
    out = []
    for m in safe:
        volts = 2 * math.sqrt(2.45e-8 * (m.melting_k.low**2 - 293.15**2))
        assert m.calculated_melting_v == pytest.approx(volts, rel=1e-12, abs=0.0)
        out.append(abs(volts / m.melting_v.low - 1))
    return max(out)


@figure("copper's film: logarithmic, cubic, parabolic joined", "scipy integration of the rate")
def copper_growth():
    def rate(_, x):
        x = x[0]
        return [math.exp((5 - x) / 2.5) if x < 5 else (5 / x) ** 2 if x < 25 else 1 / x]

    times = np.array([1.0, 5.0, 50.0, 200.0, 1000.0, 2e4])
    path = scipy.integrate.solve_ivp(rate, (0.0, 2e4), [0.0], t_eval=times, rtol=1e-10, atol=1e-12, max_step=20.0)
    known = path.y[0][2] * 1e-9
    return float(np.max(np.abs(ph.copper_growth_m(times, known, 50.0) / (path.y[0] * 1e-9) - 1)))


@functools.cache
def region_95(parameters, degrees_of_freedom):
    """Square of the distance that 95 % stay within: chi-square, or Fisher's where the scatter is estimated."""
    if degrees_of_freedom is None:
        return scipy.stats.chi2.ppf(0.95, parameters)
    return parameters * scipy.stats.f.ppf(0.95, parameters, degrees_of_freedom)


def fitted_coverage(film, constriction_ohm, current_a, sd_v, known, trials, seed):
    """Share of trials whose 95 % region has the planted values, all at once; and of trials that told the law."""
    rng = np.random.default_rng(seed)
    clean = ph.series_voltage_v(film, constriction_ohm, current_a)
    truth = {"constriction_ohm": constriction_ohm} | {k: v for k, v in film.to_dict().items() if k != "law"}
    inside = told = 0
    for _ in range(trials):
        sd = sd_v if known else None
        fit = wl.fit_film(clean + rng.normal(0.0, sd_v, clean.size), current_a, sd_v=sd)
        told += fit.identifiable and fit.law == film.law
        if fit.law != film.law or fit.covariance is None:
            continue
        off = np.array([p.value - truth[p.name] for p in fit.parameters])
        k = off.size
        distance = off @ np.linalg.solve(fit.covariance, off)
        inside += distance <= region_95(k, None if known else fit.degrees_of_freedom)
    return inside / trials, told / trials


PLANTED = [
    (wl.Film.tunnelling(resistance_ohm=50.0, scale_v=0.2), 1.0, 0.05, 1e-3),
    (wl.Film.rectifying(resistance_ohm=50.0, ideality=1.5, leak_ratio=0.1), 2.0, 0.01, 1e-4),
]


def coverage(known, planted):
    out = []
    for film, rc, most, sd in planted:
        current = most * np.linspace(-1.0, 1.0, 24)
        inside, told = fitted_coverage(film, rc, current, sd, known, 1000, seed=6)
        assert told > 0.99
        out.append(abs(inside - 0.95))
    return max(out)


@figure("fit_film: 95 % region has the planted values, sd known", "1 000 seeded trials of two laws; off 0.95")
def fit_coverage_known():
    return coverage(True, PLANTED)


@figure("fit_film: 95 % region has the planted values, sd estimated", "1 000 seeded trials of a tunnelling film; off 0.95")
def fit_coverage_estimated():
    return coverage(False, PLANTED[:1])


def stated():
    with open(FILE, newline="", encoding="utf-8") as file:
        return {row["id"]: row for row in csv.DictReader(file)}


def test_every_claim_has_a_figure_and_the_other_way_round():
    assert set(stated()) == set(FIGURES)
    for name, row in stated().items():
        claim, against, _ = FIGURES[name]
        assert (row["claim"], row["checked_against"]) == (claim, against)
        assert row["where"] == f"tests/python/test_physics_validation.py: {name}"


@pytest.mark.parametrize("name", list(FIGURES))
def test_figure(name):
    error, told = FIGURES[name][2](), float(stated()[name]["worst_error"])
    grain = GRAIN.get(name, ROUNDING)
    assert error <= max(told, grain)
    assert told <= max(10.0 * error, grain), "the statement says less than it could"


# the limits of the issue; the file may state less
LIMITS = {
    "film_current": 1e-13,
    "film_slope": 1e-13,
    "film_inverse": 1e-13,
    "series": 1e-13,
    "series_slope": 1e-13,
    "tunnelling_density": 1e-13,
    "tunnelling_slope": 1e-13,
    "third_harmonic": 1e-12,
    "melting": 0.06,
    "fit_coverage_known": 0.02,
    "fit_coverage_estimated": 0.02,
    "telegraph_simulation": 0.05,
    "chatter_simulation": 0.02,
}


@pytest.mark.parametrize("name", list(LIMITS))
def test_statement_keeps_the_limit(name):
    assert float(stated()[name]["worst_error"]) <= LIMITS[name]


def test_show_validation_prints_every_row():
    table = wl.show_validation()
    assert len(table) == len(FIGURES)
    lines = repr(table).splitlines()
    assert lines[0].split("  ")[0] == "claim" and len(lines) == len(FIGURES) + 1
    assert all(claim.claim in line for claim, line in zip(table, lines[1:], strict=True))


def round_up(error, grain):
    """To one digit, upwards; statements below the grain are all alike."""
    if error <= grain:
        return grain
    unit = 10.0 ** math.floor(math.log10(error))
    return math.ceil(error / unit) * unit


if __name__ == "__main__":
    with open(FILE, "w", newline="", encoding="utf-8") as out:
        table = csv.writer(out, lineterminator="\n")
        table.writerow(COLUMNS)
        for key, (what, reference, measure) in FIGURES.items():
            value = measure()
            print(key, value, flush=True)
            table.writerow([key, what, reference, f"{round_up(value, GRAIN.get(key, ROUNDING)):.0e}", f"tests/python/test_physics_validation.py: {key}"])
