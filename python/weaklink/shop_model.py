"""The regressions of a bench log: change of resistance, back in order, comebacks; adjusted, clustered, shrunk."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from . import shop_fits as fits
from .shop_log import BenchLog, words

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    _Floats = NDArray[np.float64]
    _Ints = NDArray[np.int64]
    _Bools = NDArray[np.bool_]

# bins of how bad a contact was: so many of equal counts, and so many of equal widths
BINS = 20
# comebacks from which on remedies may differ in how they follow from how bad it was
CROSSED_FROM = 200
# intervals of the piecewise-constant comeback rate, of equal comebacks
INTERVALS = 5
# an environment has a term of its own from this many contacts on
ENOUGH_ROWS = 100
# a level counts this many contacts of the log's mean besides its own, so that it stays finite
PSEUDO = 0.5
# from hardly bad to very bad: nearly all of it in the middle, since the ends would flatten the slope that adjusts
WEAK = PSEUDO * np.array([0.02, 0.02, 1.0, 0.02, 0.02])
# a bin of how bad a contact was holds this many rows at least; a curve takes this many bins
ROWS_PER_BIN = 15
LEAST_BINS_OF_A_CURVE = 8
CLEAN, STRIP, REPLACE, UNTOUCHED = 0, 1, 2, 3
REMEDIES = 4


@dataclass(frozen=True)
class Deviations:
    """How cells kind x remedy differ from the pooled fit: shrunk value, variance left, raw value, its variance."""

    shrunk: _Floats
    left: _Floats
    raw: _Floats
    variance: _Floats
    between: float


class Frame:
    """A log as cells kind x remedy x how bad x environment, and the regressors of each cell."""

    def __init__(self, log: BenchLog) -> None:
        self.log = log
        self.job: _Ints = log.job.astype(np.int64)
        self.jobs = int(self.job.max()) + 1 if len(log) else 0
        self.kinds: _Ints = np.unique(log.kind).astype(np.int64)
        kind_of = np.zeros(256, np.int64)
        kind_of[self.kinds] = np.arange(len(self.kinds))
        self.kind: _Ints = kind_of[log.kind]
        self.remedy: _Ints = log.remedy.astype(np.int64)
        counts = np.bincount(log.environment, minlength=256)
        # the commonest environment, or "not said", is the reference; rare ones go with it
        own = [code for code in np.argsort(-counts)[1:] if counts[code] >= ENOUGH_ROWS]
        env_of = np.zeros(256, np.int64)
        env_of[own] = np.arange(1, len(own) + 1)
        environment = env_of[log.environment]
        self.environments = len(own) + 1
        low, high = log.before_low_ohm, log.before_high_ohm
        # a reading below the range counts as half of it, one over the limit as the limit
        ohm = np.where(np.isfinite(high), np.where(low > 0.0, np.sqrt(low * np.where(np.isfinite(high), high, 1.0)), 0.5 * high), low)
        self.before: _Floats = np.log(np.maximum(ohm, 1e-6))
        self.centre: _Floats = np.array([np.median(self.before[self.kind == k]) for k in range(len(self.kinds))])
        z = self.before - self.centre[self.kind]
        wanted = min(BINS, max(2, len(z) // ROWS_PER_BIN))
        # equal counts, and equal widths too, so that the long tail of the worst is not one bin
        even = np.quantile(z, np.linspace(0.0, 1.0, wanted + 1)[1:-1])
        wide = np.linspace(z.min(), np.quantile(z, 0.995), wanted + 1)[1:]
        cuts = np.unique(np.concatenate([even, wide]))
        cuts = cuts[(cuts > z.min()) & (cuts <= z.max())]
        bins: _Ints = np.searchsorted(cuts, z, side="right").astype(np.int64)
        self.bins = len(cuts) + 1
        filled = np.maximum(np.bincount(bins, minlength=self.bins), 1)
        self.z_of_bin: _Floats = np.bincount(bins, weights=z, minlength=self.bins) / filled
        self.knots: _Floats = np.quantile(z, [0.05, 0.35, 0.65, 0.95])
        # a curve where there is enough to bend, a straight line where there is a little, nothing where all read alike
        bends = self.bins >= LEAST_BINS_OF_A_CURVE and float(np.min(np.diff(self.knots))) > 1e-6
        self.shape = 2 if bends else 1 if self.bins > 1 else 0
        self.typical_z: _Floats = np.quantile(z, [0.02, 0.25, 0.5, 0.75, 0.98])
        self.group: _Ints = (self.kind * self.bins + bins) * self.environments + environment
        self.cell: _Ints = self.group * REMEDIES + self.remedy
        self.groups = len(self.kinds) * self.bins * self.environments
        self.cells = self.groups * REMEDIES
        g = np.arange(self.groups)
        self.kind_of_group: _Ints = g // (self.bins * self.environments)
        self.z_of_group: _Floats = self.z_of_bin[g // self.environments % self.bins]
        self.environment_of_group: _Ints = g % self.environments
        self.in_group: _Ints = np.bincount(self.group, minlength=self.groups)
        self.in_cell: _Ints = np.bincount(self.cell, minlength=self.cells).reshape(self.groups, REMEDIES)
        self.there: _Bools = np.bincount(self.remedy, minlength=REMEDIES)[:REMEDIES] > 0
        self.reference = int(np.argmax(self.there))
        self._of_groups: dict[tuple[int, bool], _Floats] = {}

    def regressors(self, kind: _Ints, z: _Floats, environment: _Ints, remedy: _Ints, *, crossed: bool) -> _Floats:
        """Columns: one, kinds but the first, how bad (spline), environments but the first, remedies but the reference;
        if ``crossed``, remedies times how bad."""
        parts = [np.ones((len(z), 1))]
        parts.append((kind[:, None] == np.arange(1, len(self.kinds))[None, :]).astype(np.float64))
        if self.shape:
            parts.append(fits.spline(z, self.knots) if self.shape == 2 else z[:, None])
        parts.append((environment[:, None] == np.arange(1, self.environments)[None, :]).astype(np.float64))
        others = np.array([r for r in range(REMEDIES) if self.there[r] and r != self.reference], dtype=np.int64)
        is_remedy = (remedy[:, None] == others[None, :]).astype(np.float64)
        parts.append(is_remedy)
        if crossed and self.shape:
            parts.append(is_remedy * z[:, None])
        return np.concatenate(parts, axis=1)

    def of_groups(self, remedy: int, *, crossed: bool) -> _Floats:
        """Regressors of every group had all its contacts had one remedy."""
        key = (remedy, crossed)
        if key not in self._of_groups:
            same = np.full(self.groups, remedy, dtype=np.int64)
            made = self.regressors(self.kind_of_group, self.z_of_group, self.environment_of_group, same, crossed=crossed)
            self._of_groups[key] = made
        return self._of_groups[key]

    def of_cells(self, *, crossed: bool) -> _Floats:
        """Regressors of every cell."""
        cell = np.arange(self.cells)
        g = cell // REMEDIES
        return self.regressors(
            self.kind_of_group[g], self.z_of_group[g], self.environment_of_group[g], cell % REMEDIES, crossed=crossed
        )

    @cached_property
    def kind_remedy(self) -> _Ints:
        """Number of every row's kind x remedy."""
        return np.asarray(self.kind * REMEDIES + self.remedy)

    def pseudo(self, crossed: bool) -> _Floats:
        """Regressors of weak cells: every kind, environment and remedy by itself, from hardly bad to very bad."""
        kinds = [(k, 0, self.reference) for k in range(len(self.kinds))]
        environments = [(0, e, self.reference) for e in range(1, self.environments)]
        remedies = [(0, 0, r) for r in range(REMEDIES) if self.there[r] and r != self.reference]
        levels = np.array(kinds + environments + remedies, dtype=np.int64)
        every, z = np.repeat(levels, len(self.typical_z), axis=0), np.tile(self.typical_z, len(levels))
        return self.regressors(every[:, 0], z, every[:, 1], every[:, 2], crossed=crossed)

    def deviations(self, residual: _Floats, rows: _Bools, weight: _Floats, floor: _Floats) -> Deviations:
        """Shrunk deviations of kind x remedy from residuals; ``weight`` turns a sum into a deviation, ``floor`` is the least
        variance of the sum (what independent contacts would give)."""
        count = len(self.kinds) * REMEDIES
        which = self.kind_remedy[rows]
        job, values = self.job[rows], residual[rows]
        total = np.bincount(which, weights=values, minlength=count)
        squares = np.zeros(count)
        for cell in np.unique(which):
            here = which == cell
            sums = np.bincount(job[here], weights=values[here])
            squares[cell] = np.sum(sums * sums)
        known = weight > 0.0
        safe = np.where(known, weight, 1.0)
        raw = np.where(known, total / safe, 0.0)
        variance = np.where(known, np.maximum(squares, floor) / safe**2, np.inf)
        value, left, between = fits.shrunk(raw, variance)
        return Deviations(value, left, raw, variance, between)


@dataclass(frozen=True)
class Comebacks:
    """The piecewise-exponential fit of comebacks."""

    frame: Frame
    edges: _Floats
    estimate: fits.Estimate
    deviations: Deviations
    rows: int
    events: int
    person_years: _Floats
    events_of: _Floats
    followed: _Floats
    longest_years: float
    crossed: bool

    def hazard(self, theta: _Floats, design: _Floats) -> _Floats:
        """Rate per year: rows of the design x intervals."""
        steps = len(self.edges)
        base = theta[:steps]
        return np.asarray(np.exp(np.clip(base[None, :] + (design[:, 1:] @ theta[steps:])[:, None], -40.0, 10.0)))

    def service(self, hazard: _Floats, horizon_years: float) -> tuple[_Floats, _Floats]:
        """Share that holds to the horizon, and mean good years up to it."""
        starts = np.minimum(self.edges, horizon_years)
        widths = np.diff(np.append(starts, horizon_years))
        cumulative = np.cumsum(hazard * widths[None, :], axis=1)
        entering = np.exp(-np.concatenate([np.zeros((len(hazard), 1)), cumulative[:, :-1]], axis=1))
        step = hazard * widths[None, :]
        years = entering * np.where(step > 1e-12, -np.expm1(-step) / np.maximum(hazard, 1e-300), widths[None, :])
        return np.exp(-cumulative[:, -1]), years.sum(axis=1)

    def holding(self, hazard: _Floats, years: _Floats) -> _Floats:
        """Share that holds at each of several times: rows of the rates x times."""
        ends = np.append(self.edges[1:], np.inf)
        under_way = np.clip(years[None, :], self.edges[:, None], ends[:, None]) - self.edges[:, None]
        return np.asarray(np.exp(-hazard @ under_way))

    def standardised(self, theta: _Floats, remedy: int, groups: _Floats, horizon_years: float, shift: _Floats | float = 0.0) -> float:
        """Comebacks per contact-year to the horizon had the contacts counted in ``groups`` had one remedy."""
        design = self.frame.of_groups(remedy, crossed=self.crossed)
        hazard = self.hazard(theta, design[groups > 0.0]) * np.exp(shift)
        holds, years = self.service(hazard, horizon_years)
        weight = groups[groups > 0.0]
        return float(weight @ (1.0 - holds) / (weight @ years))


def only_comebacks(frame: Frame) -> _Bools:
    """Row by row, whether the log follows of its kind and remedy those that came back and no other: a rate of such says nothing."""
    followed = np.isfinite(frame.log.years)
    count = len(frame.kinds) * REMEDIES
    seen, all_of = (np.bincount(frame.kind_remedy[rows], minlength=count) for rows in (followed, slice(None)))
    held = np.bincount(frame.kind_remedy[followed & ~frame.log.came_back], minlength=count)
    return np.asarray(((seen > 0) & (held == 0) & (seen < all_of))[frame.kind_remedy])


def comebacks(frame: Frame) -> Comebacks | None:
    """Fits comebacks: a rate that is constant within intervals, times kind, how bad before, environment and remedy."""
    log = frame.log
    rows = np.isfinite(log.years)
    event = log.came_back & rows
    if event.sum() < 5 or only_comebacks(frame)[rows].all():
        return None
    years, cell, job = log.years[rows], frame.cell[rows], frame.job[rows]
    came = event[rows]
    inner = np.unique(np.round(np.quantile(years[came], np.linspace(0.0, 1.0, INTERVALS + 1)[1:-1]), 3))
    edges = np.concatenate([[0.0], inner[inner > 0.0]])
    ends = np.append(edges[1:], np.inf)
    crossed = int(event.sum()) >= CROSSED_FROM
    design = frame.of_cells(crossed=crossed)
    steps = len(edges)
    blocks: list[_Floats] = []
    events: list[_Floats] = []
    exposures: list[_Floats] = []
    wheres: list[_Ints] = []
    for k in range(steps):
        held = np.clip(years, edges[k], ends[k]) - edges[k]
        exposure = np.bincount(cell, weights=held, minlength=frame.cells).astype(np.float64)
        inside = came & (years > edges[k]) & (years <= ends[k])
        came_here = np.bincount(cell[inside], minlength=frame.cells).astype(np.float64)
        where = np.flatnonzero(exposure > 0.0)
        indicator = np.zeros((len(where), steps))
        indicator[:, k] = 1.0
        blocks.append(np.concatenate([indicator, design[where, 1:]], axis=1))
        events.append(came_here[where])
        exposures.append(exposure[where])
        wheres.append(k * frame.cells + where)
    rate = float(came.sum() / years.sum())
    weak = frame.pseudo(crossed=crossed)
    indicator = np.full((len(weak), steps), 1.0 / steps)
    pseudo = np.concatenate([indicator, weak[:, 1:]], axis=1)
    x, where = np.concatenate(blocks), np.concatenate(wheres)
    weak_events = np.tile(WEAK, len(weak) // len(WEAK))
    theta, inverse, mean, converged = fits.glm(
        "poisson", x, np.concatenate(events), np.concatenate(exposures), (pseudo, weak_events, weak_events / rate)
    )
    fitted = np.zeros(steps * frame.cells)
    fitted[where] = mean
    scores = np.zeros((frame.jobs, x.shape[1]))
    residual = np.zeros(len(years))
    expected = np.zeros(len(years))
    for k in range(steps):
        exposed = np.clip(years, edges[k], ends[k]) - edges[k]
        due = fitted[k * frame.cells + cell] * exposed
        step = (came & (years > edges[k]) & (years <= ends[k])) - due
        scores[:, k] = np.bincount(job, weights=step, minlength=frame.jobs)
        residual += step
        expected += due
    scores[:, steps:] = fits.score_sums(residual, design[:, 1:], cell, job, frame.jobs)
    estimate = fits.Estimate(theta, scores @ inverse, inverse, converged)
    which = frame.kind_remedy[rows]
    count = len(frame.kinds) * REMEDIES
    full = np.zeros(len(log))
    full[rows] = residual
    due_of: _Floats = np.bincount(which, weights=expected, minlength=count).astype(np.float64)
    deviations = frame.deviations(full, rows, due_of, due_of)
    return Comebacks(
        frame,
        edges,
        estimate,
        deviations,
        int(rows.sum()),
        int(came.sum()),
        np.bincount(which, weights=years, minlength=count).astype(np.float64),
        np.bincount(which, weights=came.astype(np.float64), minlength=count).astype(np.float64),
        # of a cell whose comebacks alone were followed nothing is known
        np.bincount(which[~only_comebacks(frame)[rows]], minlength=count).astype(np.float64),
        float(np.quantile(years, 0.95)),
        crossed,
    )


@dataclass(frozen=True)
class InOrder:
    """The logistic fit of being back in order; kinds without a limit have no rows in it."""

    frame: Frame
    estimate: fits.Estimate
    deviations: Deviations
    decided: _Floats
    undecided: _Floats
    good: _Floats

    def share(self, theta: _Floats, design: _Floats, shift: _Floats | float = 0.0) -> _Floats:
        """Share back in order."""
        return np.asarray(1.0 / (1.0 + np.exp(-np.clip(design @ theta + shift, -40.0, 40.0))))


def in_order(frame: Frame) -> InOrder | None:
    """Fits the share back in order; a reading that straddles the limit is not decided and counted apart."""
    log, table = frame.log, words()
    limits = np.array([np.nan if (x := table.in_order_up_to_ohm[k]) is None else x for k in frame.kinds], dtype=np.float64)
    limit = limits[frame.kind]
    has = np.isfinite(limit) & ~np.isnan(log.after_low_ohm)
    good = has & (log.after_high_ohm <= limit)
    bad = has & (log.after_low_ohm > limit)
    rows = good | bad
    if rows.sum() < 10:
        return None
    cell, job = frame.cell[rows], frame.job[rows]
    trials = np.bincount(cell, minlength=frame.cells).astype(np.float64)
    successes = np.bincount(cell, weights=good[rows].astype(np.float64), minlength=frame.cells).astype(np.float64)
    design = frame.of_cells(crossed=True)
    where = trials > 0.0
    weak = frame.pseudo(crossed=True)
    worth = np.tile(WEAK, len(weak) // len(WEAK))
    pseudo = (weak, worth * (successes.sum() + 1.0) / (trials.sum() + 2.0), worth)
    theta, inverse, mean, converged = fits.glm("binomial", design[where], successes[where], trials[where], pseudo)
    p = np.zeros(frame.cells)
    p[where] = mean
    residual = good[rows] - p[cell]
    scores = fits.score_sums(residual, design, cell, job, frame.jobs)
    estimate = fits.Estimate(theta, scores @ inverse, inverse, converged)
    count = len(frame.kinds) * REMEDIES
    which = frame.kind_remedy
    full = np.zeros(len(log))
    full[rows] = residual
    spread: _Floats = np.bincount(which[rows], weights=p[cell] * (1.0 - p[cell]), minlength=count).astype(np.float64)
    # a cell in which hardly anything was uncertain cannot shift far: a weak contact's worth holds it
    deviations = frame.deviations(full, rows, np.where(spread > 0.0, spread + PSEUDO, 0.0), spread + PSEUDO)

    def counted(mask: _Bools) -> _Floats:
        return np.bincount(which[mask], minlength=count).astype(np.float64)

    return InOrder(frame, estimate, deviations, counted(rows), counted(has & ~rows), counted(good))


@dataclass(frozen=True)
class Change:
    """The censored regression of the logarithm of after over before."""

    frame: Frame
    estimate: fits.Estimate
    deviations: Deviations
    sigma: float
    exact: int
    left_censored: int
    right_censored: int
    between: int
    empty: int
    bounded: _Bools

    def mean(self, theta: _Floats, remedy: int, groups: _Floats, shift: float = 0.0) -> float:
        """Mean logarithm of after over before had the contacts counted in ``groups`` had one remedy."""
        design = self.frame.of_groups(remedy, crossed=True)
        return float(groups @ (design @ theta) / groups.sum()) + shift


def change_limits(
    before_low: _Floats, before_high: _Floats, after_low: _Floats, after_high: _Floats
) -> tuple[_Floats, _Floats]:
    """Least and largest logarithm of after over before that two readings leave; infinite where a meter was at its end."""
    with np.errstate(divide="ignore", invalid="ignore"):
        low = np.log(after_low) - np.log(before_high)
        high = np.log(after_high) - np.log(before_low)
    return np.where(np.isnan(low), -np.inf, low), np.where(np.isnan(high), np.inf, high)


def change(frame: Frame) -> Change | None:
    """Fits the paired change: left-, right- and interval-censored where a meter was at its end."""
    log = frame.log
    rows = ~np.isnan(log.after_low_ohm)
    if rows.sum() < 10:
        return None
    low, high = change_limits(log.before_low_ohm, log.before_high_ohm, log.after_low_ohm, log.after_high_ohm)
    low, high = low[rows], high[rows]
    design = frame.of_cells(crossed=True)
    estimate, sigma, residual = fits.interval_regression(low, high, design, frame.cell[rows], frame.job[rows], frame.jobs)
    count = len(frame.kinds) * REMEDIES
    full = np.zeros(len(log))
    full[rows] = residual * sigma
    which = frame.kind_remedy[rows]
    there = np.bincount(which, minlength=count).astype(np.float64)
    deviations = frame.deviations(full, rows, there, there * sigma**2)
    narrow = high < low + fits.NARROW
    left, right = np.isneginf(low), np.isposinf(high)
    return Change(
        frame,
        estimate,
        deviations,
        sigma,
        int(narrow.sum()),
        int((left & ~right).sum()),
        int((right & ~left).sum()),
        int((~narrow & ~left & ~right).sum()),
        int((left & right).sum()),
        # of a cell whose afters are all below the meter's end, or all over it, the change has no lower or no upper end
        np.asarray(np.logical_and(*(np.bincount(which[~none], minlength=count) > 0 for none in (left, right)))),
    )


def with_error(
    function: Callable[[_Floats], Any], estimate: fits.Estimate, extra: _Floats | None = None, variance: _Floats | None = None
) -> tuple[_Floats, _Floats]:
    """Value and error of a function of the parameters followed by ``extra`` ones of known, independent variance."""
    base = estimate.theta
    if extra is None or variance is None:
        return fits.error_of(lambda t: np.atleast_1d(function(t)), estimate)
    value, error = fits.error_of(lambda t: np.atleast_1d(function(np.concatenate([t, extra]))), estimate)
    total = error**2
    for k in np.flatnonzero(variance > 0.0):
        up, down = extra.copy(), extra.copy()
        up[k] += 1e-4
        down[k] -= 1e-4
        slope = (np.atleast_1d(function(np.concatenate([base, up]))) - np.atleast_1d(function(np.concatenate([base, down])))) / 2e-4
        total = total + slope**2 * variance[k]
    return value, np.sqrt(total)
