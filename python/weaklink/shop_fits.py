"""Regressions of the bench log, each with its influence per amplifier, so that any number drawn from several of them gets
one cluster-robust error.

For an estimate solving ``sum_j s_j(theta) = 0`` over the amplifiers j, the influence of amplifier j is ``A^-1 s_j`` with A
the information, and the sandwich covariance is ``J/(J-p) sum_j (A^-1 s_j)(A^-1 s_j)^T`` (Liang and Zeger, Biometrika 73
(1986) 13 [memory]). Rows enter as cells (counts that share their regressors) and as one pass of score sums, so that five
million rows cost memory for their columns only.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from .shop_log import missing_extra

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    _Floats = NDArray[np.float64]
    _Ints = NDArray[np.int64]

# two-sided 95 %
Z95 = 1.959963984540054
# rows of one block of a pass
BLOCK = 200_000


@dataclass(frozen=True)
class Estimate:
    """Estimated parameters, their influence per amplifier (amplifiers x parameters), and the covariance without clusters."""

    theta: _Floats
    influence: _Floats
    independent: _Floats
    converged: bool

    @property
    def covariance(self) -> _Floats:
        """Cluster-robust covariance of the parameters."""
        return np.asarray(self.influence.T @ self.influence * self.correction)

    @property
    def independent_se(self) -> _Floats:
        """Standard errors that take contacts for independent: too small where amplifiers matter."""
        return np.asarray(np.sqrt(np.clip(np.diag(self.independent), 0.0, None)))

    @cached_property
    def correction(self) -> float:
        """``J/(J-p)``: fitted residuals are smaller than true ones, the more so the more parameters few amplifiers carry."""
        jobs = int(np.count_nonzero(np.any(self.influence != 0.0, axis=1)))
        return jobs / max(jobs - int(self.influence.shape[1]), 1)


def joined(*estimates: Estimate) -> Estimate:
    """Several estimates from the same amplifiers as one, with the covariance between them."""
    return Estimate(
        np.concatenate([e.theta for e in estimates]),
        np.concatenate([e.influence for e in estimates], axis=1),
        _block_diagonal([e.independent for e in estimates]),
        all(e.converged for e in estimates),
    )


def _block_diagonal(parts: list[_Floats]) -> _Floats:
    size = sum(len(part) for part in parts)
    out, at = np.zeros((size, size)), 0
    for part in parts:
        out[at : at + len(part), at : at + len(part)] = part
        at += len(part)
    return out


def exact_band(share: float, logit_error: float, contacts: float) -> tuple[float, float, float]:
    """A share with the exact binomial band of as many contacts as its error is worth, and of no more than were counted.

    Near one (or zero) the score of a regression hardly scatters in the sample while a single miss would move it far: its sandwich is
    too small. So Clopper and Pearson's band (Biometrika 26 (1934) 404 [memory]) at the effective number of Korn and Graubard (Survey
    Methodology 24 (1998) 193 [memory]), ``n = p(1-p)/variance``, but at most ``contacts``. It holds the truth in 95 % or more.
    """
    from scipy.special import betaincinv  # type: ignore[import-untyped]

    worth = share * (1.0 - share) * logit_error**2
    n = min(contacts, 1.0 / worth) if worth > 0.0 else contacts
    good = n * share
    tail = 0.025
    low = float(betaincinv(good, n - good + 1.0, tail)) if good > 0.0 else 0.0
    high = float(betaincinv(good + 1.0, n - good, 1.0 - tail)) if good < n else 1.0
    return share, min(low, share), max(high, share)


# fewer events than this in a cell and the exact band counts: at ten, the lower end of a band from the logarithm's error is an eighth off,
# with none the error itself is made of the weak cells' half a comeback
FEW = 10.0


def exact_rate(events: float, years: float) -> tuple[float, float]:
    """Exact 95 % band of a rate: Garwood (Biometrika 28 (1936) 437 [memory]), half chi-square quantiles over the time."""
    from scipy.special import chdtri

    # chdtri takes the upper tail
    low = float(chdtri(2.0 * events, 0.975)) / 2.0 if events > 0.0 else 0.0
    return low / years, float(chdtri(2.0 * events + 2.0, 0.025)) / 2.0 / years


def exact_ratio(events: tuple[float, float], years: tuple[float, float]) -> tuple[float, float]:
    """Exact 95 % band of a rate over another: given all events, those of the first are binomial (Przyborowski and Wilenski, Biometrika 31
    (1940) 313 [memory]) with Clopper and Pearson's band. No end above where the second has none."""
    total = events[0] + events[1]
    _, low, high = exact_band(events[0] / total, 0.0, total)
    odds = [share / (1.0 - share) if share < 1.0 else math.inf for share in (low, high)]
    return odds[0] * years[1] / years[0], odds[1] * years[1] / years[0]


def gradient_of(function: Callable[[_Floats], _Floats], theta: _Floats) -> tuple[_Floats, _Floats]:
    """Values of a function of the parameters and its derivatives (parameters x values), by central differences."""
    value = np.atleast_1d(function(theta))
    gradient = np.empty((theta.size, value.size))
    for k in range(theta.size):
        step = 1e-5 * max(1.0, abs(theta[k]))
        up, down = theta.copy(), theta.copy()
        up[k] += step
        down[k] -= step
        gradient[k] = (np.atleast_1d(function(up)) - np.atleast_1d(function(down))) / (2.0 * step)
    return np.asarray(value), gradient


def error_of(function: Callable[[_Floats], _Floats], estimate: Estimate) -> tuple[_Floats, _Floats]:
    """Values of a function of the parameters and their standard errors, to first order (delta method)."""
    value, gradient = gradient_of(function, estimate.theta)
    spread = estimate.influence @ gradient
    return value, np.sqrt(np.sum(spread * spread, axis=0) * estimate.correction)


def spline(x: _Floats, knots: _Floats) -> _Floats:
    """Restricted cubic spline: cubic between the knots, straight beyond the outer two (Harrell's basis [memory]).

    Columns: x itself and one per inner knot, in units of the range of the knots.
    """
    inner = len(knots) - 2
    scale = max(float(knots[-1] - knots[0]), 1e-12)

    def cube(t: _Floats) -> _Floats:
        return np.asarray(np.clip(t, 0.0, None) ** 3)

    columns = [x]
    last, before = knots[-1], knots[-2]
    for k in range(inner):
        a = (last - knots[k]) / (last - before)
        b = (before - knots[k]) / (last - before)
        columns.append((cube(x - knots[k]) - a * cube(x - before) + b * cube(x - last)) / scale**2)
    return np.stack(columns, axis=-1)


def glm(
    family: str, design: _Floats, successes: _Floats, size: _Floats, pseudo: tuple[_Floats, _Floats, _Floats]
) -> tuple[_Floats, _Floats, _Floats, bool]:
    """Poisson (events over exposure) or binomial (successes of trials) regression on cells, by statsmodels.

    ``pseudo`` holds a few weak cells (design, successes, size) that keep a level finite which had no event or only events.
    Returns parameters, inverse information, fitted mean per cell and unit of size, and whether it converged.
    """
    try:
        from statsmodels.genmod import families  # type: ignore[import-untyped]
        from statsmodels.genmod.generalized_linear_model import GLM  # type: ignore[import-untyped]
    except ModuleNotFoundError:
        raise missing_extra("statsmodels") from None
    x = np.concatenate([design, pseudo[0]])
    y = np.concatenate([successes, pseudo[1]])
    n = np.concatenate([size, pseudo[2]])
    if family == "poisson":
        model = GLM(y, x, family=families.Poisson(), offset=np.log(n))
    else:
        model = GLM(y / n, x, family=families.Binomial(), var_weights=n)
    mean = float(y.sum() / n.sum())
    level = math.log(mean) if family == "poisson" else math.log(mean / (1.0 - mean))
    # what of a constant the regressors can carry
    start = np.linalg.lstsq(x.T @ x, x.T @ np.full(len(x), level), rcond=None)[0]
    # on the way a step may overshoot: then reweighted least squares, slower and surer
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = model.fit(method="newton", start_params=start, maxiter=50, disp=0)
        converged = bool(fit.mle_retvals["converged"]) and bool(np.all(np.isfinite(fit.params)))
        if converged:
            slope = x.T @ (y - n * np.asarray(fit.fittedvalues)) if family == "binomial" else x.T @ (y - np.asarray(fit.fittedvalues))
            converged = float(np.max(np.abs(slope))) < 1e-3 * (1.0 + float(y.sum())) ** 0.5
        if not converged:
            fit = model.fit(maxiter=100)
            converged = bool(fit.converged)
    theta = np.asarray(fit.params, dtype=np.float64)
    eta = np.clip(design @ theta, -50.0, 50.0)
    every = np.clip(x @ theta, -50.0, 50.0)
    if family == "poisson":
        fitted, weight = np.exp(eta), n * np.exp(every)
    else:
        fitted, p = 1.0 / (1.0 + np.exp(-eta)), 1.0 / (1.0 + np.exp(-every))
        weight = n * p * (1.0 - p)
    information = x.T @ (x * weight[:, None])
    return theta, np.linalg.pinv(information, hermitian=True), fitted, converged


def score_sums(residual: _Floats, design: _Floats, cell: _Ints, job: _Ints, jobs: int) -> _Floats:
    """Scores summed within amplifiers: ``sum_i x[cell_i] residual_i``, column by column."""
    out = np.empty((jobs, design.shape[1]))
    for k in range(design.shape[1]):
        column = design[:, k]
        if not np.any(column):
            out[:, k] = 0.0
            continue
        out[:, k] = np.bincount(job, weights=residual * column[cell], minlength=jobs)
    return out


# intervals of the logarithm narrower than this count as exact
NARROW = 0.2


def interval_regression(low: _Floats, high: _Floats, design: _Floats, cell: _Ints, job: _Ints, jobs: int, narrow: float = NARROW) -> tuple[Estimate, float, _Floats]:
    """Normal regression of values known to lie between two limits: exact, left-, right- and interval-censored.

    Maximum likelihood in ``delta = beta/sigma, h = 1/sigma``, where it is concave (Olsen, Econometrica 46 (1978) 1211
    [memory]); Newton steps over blocks of rows. Rows without any limit say nothing. Returns beta with its influence, sigma,
    and the expected residual of every row given its limits.
    """
    from scipy.special import ndtr

    width = design.shape[1]
    exact = high <= low + narrow
    has_low, has_high = np.isfinite(low), np.isfinite(high)
    usable = has_low | has_high
    safe_low, safe_high = np.where(has_low, low, 0.0), np.where(has_high, high, 0.0)
    # halfway, or the one limit there is
    finite = (safe_low + safe_high) / np.where(has_low & has_high, 2.0, 1.0)
    middle = np.where(exact, finite, 0.0)
    start = finite[usable]
    sigma = max(float(np.std(start)), 1e-3)
    theta = np.zeros(width + 1)
    theta[width] = 1.0 / sigma
    # a start from least squares on what is finite
    gram = np.zeros((width, width))
    right = np.zeros(width)
    for part in _blocks(len(low)):
        x = design[cell[part]] * usable[part][:, None]
        gram += x.T @ x
        right += x.T @ np.where(usable[part], finite[part], 0.0)
    theta[:width] = np.linalg.lstsq(gram + 1e-9 * np.eye(width), right, rcond=None)[0] / sigma

    def density(t: _Floats) -> _Floats:
        return np.asarray(np.exp(-0.5 * np.clip(t, -38.0, 38.0) ** 2) / math.sqrt(2.0 * math.pi))

    def rows(theta: _Floats, part: slice) -> tuple[_Floats, _Floats, _Floats, _Floats, _Floats, _Floats, _Floats]:
        """Log-likelihood and its derivatives in -x'delta (A) and h (B), for the rows of a block."""
        h = theta[width]
        eta = (design @ theta[:width])[cell[part]]
        y = middle[part]
        e = h * y - eta
        is_exact, is_used = exact[part], usable[part]
        a, b = safe_low[part], safe_high[part]
        lower = np.where(has_low[part], h * a - eta, -40.0)
        upper = np.where(has_high[part], h * b - eta, 40.0)
        flip = lower > 0.0
        p = np.where(flip, ndtr(-lower) - ndtr(-upper), ndtr(upper) - ndtr(lower))
        p = np.maximum(p, 1e-300)
        fl = np.where(has_low[part], density(lower), 0.0)
        fu = np.where(has_high[part], density(upper), 0.0)
        big_a, big_b = (fu - fl) / p, (b * fu - a * fl) / p
        haa = (-upper * fu + lower * fl) / p - big_a**2
        hab = (-upper * b * fu + lower * a * fl) / p - big_a * big_b
        hbb = (-upper * b * b * fu + lower * a * a * fl) / p - big_b**2

        def pick(one: _Floats, two: _Floats) -> _Floats:
            return np.asarray(np.where(is_used, np.where(is_exact, one, two), 0.0))

        ones = np.ones_like(y)
        return (
            pick(math.log(h) - 0.5 * e * e, np.log(p)),
            pick(-e, big_a),
            pick(1.0 / h - y * e, big_b),
            pick(-ones, haa),
            pick(-y, hab),
            pick(-y * y - 1.0 / h**2, hbb),
            np.where(is_used, np.where(is_exact, e, -big_a), 0.0),
        )

    def total(theta: _Floats) -> float:
        return sum(float(np.sum(rows(theta, part)[0])) for part in _blocks(len(low)))

    value, converged = total(theta), False
    hessian = np.eye(width + 1)
    for _ in range(60):
        gradient = np.zeros(width + 1)
        hessian = np.zeros((width + 1, width + 1))
        for part in _blocks(len(low)):
            _, big_a, big_b, haa, hab, hbb, _ = rows(theta, part)
            x = -design[cell[part]]
            gradient[:width] += x.T @ big_a
            gradient[width] += big_b.sum()
            hessian[:width, :width] += x.T @ (x * haa[:, None])
            hessian[:width, width] += x.T @ hab
            hessian[width, width] += hbb.sum()
        hessian[width, :width] = hessian[:width, width]
        step = -np.linalg.lstsq(hessian - 1e-9 * np.eye(width + 1), gradient, rcond=None)[0]
        scale = 1.0
        while scale > 1e-6:
            trial = theta + scale * step
            if trial[width] > 0.0:
                after = total(trial)
                if after >= value - 1e-12 * abs(value):
                    break
            scale *= 0.5
        else:
            break
        change = abs(after - value)
        theta, value = trial, after
        if change < 1e-9 * (1.0 + abs(value)):
            converged = True
            break
    inverse = np.linalg.pinv(-hessian, hermitian=True)
    scores = np.zeros((jobs, width + 1))
    residual: _Floats = np.empty(len(low))
    for part in _blocks(len(low)):
        _, big_a, big_b, *_, e = rows(theta, part)
        scores[:, :width] += score_sums(-big_a, design, cell[part], job[part], jobs)
        scores[:, width] += np.bincount(job[part], weights=big_b, minlength=jobs)
        residual[part] = e / theta[width]
    # beta = delta/h: from the influence of (delta, h) to that of beta
    h = theta[width]
    beta = theta[:width] / h
    jacobian = np.concatenate([np.eye(width) / h, -(beta / h)[:, None]], axis=1)
    influence = scores @ inverse @ jacobian.T
    return Estimate(beta, influence, jacobian @ inverse @ jacobian.T, converged), float(1.0 / h), residual


def _blocks(rows: int) -> list[slice]:
    return [slice(k, min(k + BLOCK, rows)) for k in range(0, rows, BLOCK)]


def shrunk(raw: _Floats, variance: _Floats) -> tuple[_Floats, _Floats, float]:
    """Deviations of cells shrunk towards zero: ``w raw`` with ``w = tau2/(tau2 + variance)``, and what variance is left.

    tau2, how far cells truly differ, from ``E sum(raw^2/variance) = cells + tau2 sum(1/variance)``: the moments of DerSimonian and
    Laird (Controlled Clinical Trials 7 (1986) 177 [memory]) about zero.
    Cells without data have an infinite variance.
    """
    known = np.isfinite(variance) & (variance > 0.0)
    weight = np.where(known, 1.0 / np.where(known, variance, 1.0), 0.0)
    count = int(known.sum())
    tau2 = 0.0
    if count > 1:
        tau2 = max(0.0, float(((weight * raw**2).sum() - count) / weight.sum()))
    share = np.where(known, tau2 / np.where(known, tau2 + variance, 1.0), 0.0)
    return np.where(known, share * np.where(known, raw, 0.0), 0.0), np.where(known, share * np.where(known, variance, 0.0), tau2), tau2
