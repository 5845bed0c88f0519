"""Clean, strip or replace: what a bench log teaches. Needs ``pip install 'weaklink[shop]'``.

``read_log`` reads a log, ``compare`` computes, ``invented_log`` makes one with a planted truth.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from . import shop_model as model
from ._core import _break_even, _cost_per_good_year
from .shop_fits import Z95, joined
from .shop_invented import InventedLog, Truth, invented_log
from .shop_log import BenchLog, Column, Fault, bad_input, columns_text, missing_extra, read_log, words
from .shop_model import CLEAN, REMEDIES, REPLACE, STRIP, UNTOUCHED, with_error
from .shop_places import TARGET_LOSS_DB, TARGET_RESIDUE, what_if
from .shop_results import PLATED_CAUTION, Band, Cell, Comparison, Curve, Decision, Question, Ratio, Warranty

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    _Floats = NDArray[np.float64]

__all__ = [
    "BenchLog",
    "Cell",
    "Column",
    "Comparison",
    "Curve",
    "Decision",
    "Fault",
    "InventedLog",
    "Question",
    "Ratio",
    "Truth",
    "Warranty",
    "columns_text",
    "compare",
    "invented_log",
    "missing_extra",
    "read_log",
    "what_if",
    "words",
]

# up to which horizon good service counts, years
HORIZON_YEARS = 3.0
# share of contacts that a warranty must find in order
WARRANTED = 0.90
# contacts still followed that carry a statement about a time
LEAST_FOLLOWED = 20
# a question is answerable once a factor of this much would show in four of five logs: z(0.975) + z(0.8) = 2.80 [calc]
TELLING_FACTOR = 1.5
POWER = Z95 + 0.8416212335729143
# shrinking costs: a kind counts as many contacts of the remedy's mean
COST_PRIOR = 5.0
DAMAGE_PRIOR = 20.0
# amplifiers below which cluster-robust errors are too small themselves
FEW_JOBS = 30
GRID = 25
CURVE_POINTS = 9


def _band(value: float, error: float) -> Band:
    """A positive number with its band, from its logarithm and that one's error."""
    return (math.exp(value), math.exp(value - Z95 * error), math.exp(value + Z95 * error))


class _Work:
    """One comparison on its way."""

    def __init__(self, log: BenchLog, per_hour: float, horizon_years: float, progress: Callable[[str], None]) -> None:
        self.log, self.per_hour = log, per_hour
        progress("cells")
        self.frame = model.Frame(log)
        self.kinds = [words().kinds[k] for k in self.frame.kinds]
        self.count = len(self.kinds) * REMEDIES
        self.rows_of = np.bincount(self.frame.kind_remedy, minlength=self.count)
        progress("change of resistance")
        self.change = model.change(self.frame)
        progress("back in order")
        self.in_order = model.in_order(self.frame)
        progress("comebacks")
        self.comebacks = model.comebacks(self.frame)
        reach = self.comebacks.longest_years if self.comebacks else horizon_years
        self.horizon = min(horizon_years, reach)
        self.remedies = [r for r in (CLEAN, STRIP, REPLACE) if self.frame.there[r]]
        progress("costs")
        self.minutes = self.means(log.minutes)
        self.part_cost = self.means(log.part_cost, REPLACE)
        self.damage = self.damage_shares()
        self.effects = self.place_effects()

    def means(self, values: _Floats, only: int | None = None) -> _Floats:
        """Mean per kind x remedy, shrunk towards the remedy's; NaN where the log does not say. A part is bought to replace."""
        known = np.isfinite(values)
        which = self.frame.kind_remedy[known]
        total = np.bincount(which, weights=values[known], minlength=self.count).reshape(-1, REMEDIES)
        count = np.bincount(which, minlength=self.count).reshape(-1, REMEDIES)
        with np.errstate(invalid="ignore"):
            overall = total.sum(axis=0) / count.sum(axis=0)
        prior = np.where(np.isfinite(overall), overall, 0.0)
        mean = (total + COST_PRIOR * prior) / (count + COST_PRIOR)
        mean = np.where(np.isfinite(overall)[None, :], mean, np.nan)
        if only is not None:
            # cleaning and stripping buy no part unless the log says so
            others = np.arange(REMEDIES) != only
            mean[:, others] = np.where(np.isfinite(mean[:, others]), mean[:, others], 0.0)
        return np.asarray(mean)

    def damage_shares(self) -> _Floats:
        known = np.isfinite(self.log.damage)
        which = self.frame.kind_remedy[known]
        hurt = np.bincount(which, weights=self.log.damage[known], minlength=self.count).reshape(-1, REMEDIES)
        count = np.bincount(which, minlength=self.count).reshape(-1, REMEDIES)
        if not known.any():
            return np.full((len(self.kinds), REMEDIES), np.nan)
        overall = (hurt.sum(axis=0) + 0.5) / (count.sum(axis=0) + 1.0)
        return np.asarray((hurt + DAMAGE_PRIOR * overall) / (count + DAMAGE_PRIOR))

    def place_effects(self) -> _Floats:
        """Loss, ceiling at the afters that nine in ten stay below, and share over a target, per kind x remedy."""
        high = self.log.after_high_ohm
        out = np.full((self.count, 3), np.nan)
        known, which = ~np.isnan(high), self.frame.kind_remedy
        cells = [cell for cell in np.unique(which[known]) if np.isfinite(high[known & (which == cell)]).any()]
        if not cells:
            return out
        worst = [np.quantile(high[(which == cell) & np.isfinite(high)], 0.9) for cell in cells]
        out[cells, :2] = what_if(worst, self.frame.kinds[np.array(cells) // REMEDIES])
        # loss and ceiling rise with the resistance: the first over a target decides every contact of the kind
        ohm = np.geomspace(1e-3, 1e6, 2000)
        for kind, code in enumerate(self.frame.kinds):
            found = what_if(ohm, np.full(len(ohm), code))
            over = (found[:, 0] > TARGET_LOSS_DB) | (found[:, 1] > TARGET_RESIDUE)
            limit = float(ohm[np.argmax(over)]) if over.any() else math.inf
            for cell in cells:
                if cell // REMEDIES == kind:
                    out[cell, 2] = np.mean(high[known & (which == cell)] >= limit)
        return out

    def groups_of(self, kind: int) -> _Floats:
        """All contacts of a kind, as counts per group."""
        return np.asarray(np.where(self.frame.kind_of_group == kind, self.frame.in_group, 0).astype(np.float64))

    def extra(self, kind: int) -> tuple[_Floats, _Floats]:
        """Deviations of a kind's remedies with their variances: comebacks first, back in order then."""
        cells = kind * REMEDIES + np.arange(REMEDIES)
        parts = [self.comebacks.deviations if self.comebacks else None, self.in_order.deviations if self.in_order else None]
        zero = np.zeros(REMEDIES)
        values = [np.log1p(np.maximum(d.shrunk[cells], -0.9)) if k == 0 and d else d.shrunk[cells] if d else zero for k, d in enumerate(parts)]
        left = [d.left[cells] if d else zero for d in parts]
        return np.concatenate(values), np.concatenate(left)

    def visit(self, kind: int, remedy: int) -> tuple[float, float, float, float] | None:
        """Minutes, part cost, damage share, damage cost: what one remedy takes on average; None where the log lacks one."""
        minutes, part = self.minutes[kind, remedy], self.part_cost[kind, remedy]
        if not (math.isfinite(minutes) and math.isfinite(part)):
            return None
        damage = self.damage[kind, remedy]
        new = self.minutes[kind, REPLACE] / 60.0 * self.per_hour + self.part_cost[kind, REPLACE]
        # a damaged part is replaced; without a price of a new one a damage costs the work once more
        price = new if math.isfinite(new) else minutes / 60.0 * self.per_hour
        return float(minutes), float(part), float(damage) if math.isfinite(damage) else 0.0, float(price)

    def split(self, theta: _Floats) -> tuple[_Floats, _Floats, _Floats]:
        """Parameters of comebacks, of back in order, and deviations."""
        assert self.comebacks is not None and self.in_order is not None
        a, b = len(self.comebacks.estimate.theta), len(self.in_order.estimate.theta)
        return theta[:a], theta[a : a + b], theta[a + b :]

    def designs(self, kind: int, remedy: int, z: _Floats) -> tuple[_Floats, _Floats]:
        """Regressors of comebacks and of back in order at resistances before (logarithm from the kind's median)."""
        same, done = np.full(len(z), kind, dtype=np.int64), np.full(len(z), remedy, dtype=np.int64)
        zero = np.zeros(len(z), dtype=np.int64)
        back = self.comebacks is not None and self.comebacks.crossed
        first, second = (self.frame.regressors(same, z, zero, done, crossed=crossed) for crossed in (back, True))
        return first, second

    def log_cost(self, theta: _Floats, kind: int, remedy: int, designs: tuple[_Floats, _Floats]) -> _Floats:
        """Logarithm of the cost per good year, row by row of the regressors."""
        comebacks, order = self.comebacks, self.in_order
        assert comebacks is not None and order is not None
        a, b, extra = self.split(theta)
        _, years = comebacks.service(comebacks.hazard(a, designs[0]) * np.exp(extra[remedy]), self.horizon)
        share = order.share(b, designs[1], extra[REMEDIES + remedy])
        visit = self.visit(kind, remedy)
        assert visit is not None
        minutes, part, damage, price = visit
        cost = _cost_per_good_year(minutes, self.per_hour, part, damage, price, np.maximum(share, 1e-12), np.maximum(years, 1e-9))
        return np.asarray(np.log(cost))

    def cell(self, kind: int, remedy: int) -> Cell:
        """One row of the table."""
        number, name = kind * REMEDIES + remedy, self.kinds[kind]
        groups = self.groups_of(kind)
        extra, variance = self.extra(kind)
        left = shares = rate = years = cost = None
        if self.change and self.rows_of[number]:
            against = UNTOUCHED if self.frame.there[UNTOUCHED] and remedy != UNTOUCHED else None
            fit, deviations = self.change, self.change.deviations

            def fallen(theta: _Floats) -> float:
                base = fit.mean(theta[:-1], against, groups) if against is not None else 0.0
                return fit.mean(theta[:-1], remedy, groups, float(theta[-1])) - base

            value, error = with_error(fallen, fit.estimate, deviations.shrunk[[number]], deviations.left[[number]])
            left = _band(float(value[0]), float(error[0]))
        order, back = self.in_order, self.comebacks
        if order and order.decided[number] > 0:
            weights = groups / groups.sum()
            design = self.frame.of_groups(remedy, crossed=True)

            def logit(theta: _Floats) -> float:
                share = float(weights @ order.share(theta[:-1], design, float(theta[-1])))
                return math.log(share / (1.0 - share)) if 0.0 < share < 1.0 else math.copysign(40.0, share - 0.5)

            value, error = with_error(logit, order.estimate, extra[[REMEDIES + remedy]], variance[[REMEDIES + remedy]])
            ends = [float(value[0]) + k * Z95 * float(error[0]) for k in (0.0, -1.0, 1.0)]
            shares = tuple(1.0 / (1.0 + math.exp(-min(max(x, -40.0), 40.0))) for x in ends)
        if back and back.followed[number] > 0:

            def rates(theta: _Floats) -> _Floats:
                level = back.standardised(theta[:-1], remedy, groups, self.horizon, float(theta[-1]))
                design = self.frame.of_groups(remedy, crossed=back.crossed)[groups > 0.0]
                _, good = back.service(back.hazard(theta[:-1], design) * np.exp(theta[-1]), self.horizon)
                weight = groups[groups > 0.0]
                return np.log([100.0 * level, float(weight @ good / weight.sum())])

            value, error = with_error(rates, back.estimate, extra[[remedy]], variance[[remedy]])
            rate, years = (_band(float(v), float(e)) for v, e in zip(value, error, strict=True))
        if order and back and shares and rate and self.visit(kind, remedy):
            both = joined(back.estimate, order.estimate)
            weight, at = groups[groups > 0.0], self.designs(kind, remedy, self.frame.z_of_group[groups > 0.0])

            def mean_cost(theta: _Floats) -> float:
                # the kind's contacts together: what they cost over the good years they get
                return float(-np.log(weight @ np.exp(-self.log_cost(theta, kind, remedy, at)) / weight.sum()))

            value, error = with_error(mean_cost, both, extra, variance)
            cost = _band(float(value[0]), float(error[0]))

        def known(x: float) -> float | None:
            return float(x) if math.isfinite(x) else None

        loss, ceiling, over = self.effects[number]
        return Cell(
            kind=name,
            remedy=words().remedies[remedy],
            contacts=int(self.rows_of[number]),
            left_ratio=left,
            in_order=shares,  # type: ignore[arg-type]
            not_decided=int(order.undecided[number]) if order else 0,
            loss_db=known(loss),
            ceiling=known(ceiling),
            over_target=known(over),
            comebacks=int(back.events_of[number]) if back else 0,
            contact_years=float(back.person_years[number]) if back else 0.0,
            comebacks_per_100_years=rate,
            good_years=years,
            damage=known(self.damage[kind, remedy]),
            minutes=known(self.minutes[kind, remedy]),
            part_cost=known(self.part_cost[kind, remedy]),
            cost_per_good_year=cost,
        )

    def ratios(self) -> list[Ratio]:
        """Comebacks of the dearer remedies over those of cleaning, adjusted."""
        back, out = self.comebacks, []
        if back is None or CLEAN not in self.remedies:
            return []
        groups = self.frame.in_group.astype(np.float64)
        events = back.events_of.reshape(-1, REMEDIES).sum(axis=0)
        years = back.person_years.reshape(-1, REMEDIES).sum(axis=0)
        followed = back.followed.reshape(-1, REMEDIES).sum(axis=0)
        for remedy in self.remedies[1:]:
            if not (followed[remedy] and followed[CLEAN]):
                continue

            def gap(theta: _Floats, remedy: int = remedy) -> float:
                rates = [back.standardised(theta, r, groups, self.horizon) for r in (remedy, CLEAN)]
                return math.log(rates[0] / rates[1])

            value, error = with_error(gap, back.estimate)
            plain = None
            if events[CLEAN] and years[remedy] and years[CLEAN]:
                plain = float(events[remedy] / years[remedy] / (events[CLEAN] / years[CLEAN]))
            out.append(Ratio(words().remedies[remedy], "clean", plain, _band(float(value[0]), float(error[0]))))
        return out

    def decisions(self, kind: int) -> list[Decision]:
        """From which resistance stripping beats cleaning, and replacing beats the better of both."""
        back, order = self.comebacks, self.in_order
        if back is None or order is None:
            return []
        number = kind * REMEDIES
        usable = [r for r in self.remedies if order.decided[number + r] and back.followed[number + r] and self.visit(kind, r)]
        here = self.frame.kind == kind
        seen = np.quantile(self.frame.before[here], [0.02, 0.98])
        grid = np.linspace(seen[0], seen[1], GRID)
        z = grid - self.frame.centre[kind]
        both = joined(back.estimate, order.estimate)
        extra, variance = self.extra(kind)
        start = np.concatenate([both.theta, extra])
        designs = {r: self.designs(kind, r, z) for r in usable}
        out = []
        for remedy in (STRIP, REPLACE):
            cheaper = [r for r in usable if r < remedy]
            if remedy not in usable or not cheaper:
                continue

            def curve(theta: _Floats, which: list[int] = cheaper) -> _Floats:
                return np.asarray(np.min([self.log_cost(theta, kind, r, designs[r]) for r in which], axis=0))

            def gain(theta: _Floats, remedy: int = remedy, curve: Callable[[_Floats], _Floats] = curve) -> _Floats:
                return curve(theta) - self.log_cost(theta, kind, remedy, designs[remedy])

            _, error = with_error(gain, both, extra, variance)
            now, dear = curve(start), self.log_cost(start, kind, remedy, designs[remedy])
            ohm = np.exp(grid)
            ends = [_break_even(ohm.tolist(), np.exp(now + k * Z95 * error).tolist(), np.exp(dear).tolist()) for k in (0.0, 1.0, -1.0)]
            names = " or ".join(words().remedies[r] for r in cheaper)
            above = (ends[0], ends[1], ends[2])
            out.append(Decision(self.kinds[kind], words().remedies[remedy], names, above, (float(ohm[0]), float(ohm[-1]))))
        return out

    def curves(self, kind: int) -> list[Curve]:
        """What each remedy does at resistances that the log has seen."""
        back, order, out = self.comebacks, self.in_order, []
        if back is None or order is None:
            return []
        seen = np.quantile(self.frame.before[self.frame.kind == kind], [0.02, 0.98])
        grid = np.linspace(seen[0], seen[1], CURVE_POINTS)
        extra, _ = self.extra(kind)
        for remedy in self.remedies:
            number = kind * REMEDIES + remedy
            if not (order.decided[number] and back.followed[number]):
                continue
            plain, crossed = self.designs(kind, remedy, grid - self.frame.centre[kind])
            share = order.share(order.estimate.theta, crossed, extra[REMEDIES + remedy])
            _, years = back.service(back.hazard(back.estimate.theta, plain) * np.exp(extra[remedy]), self.horizon)
            points = (tuple(float(x) for x in row) for row in (np.exp(grid), share, years))
            out.append(Curve(self.kinds[kind], words().remedies[remedy], *points))
        return out

    def warranties(self) -> list[Warranty]:
        """What each remedy's own contacts carry: nine in ten in order with the lower band."""
        back = self.comebacks
        if back is None:
            return []
        out = []
        log = self.log
        for remedy in self.remedies:
            followed = np.sort(log.years[np.isfinite(log.years) & (self.frame.remedy == remedy)])
            if len(followed) < LEAST_FOLLOWED:
                continue
            carried = float(followed[-LEAST_FOLLOWED])
            times = np.arange(1, max(2, int(carried * 12.0) + 1)) / 12.0
            groups = self.frame.in_cell[:, remedy].astype(np.float64)
            design = self.frame.of_groups(remedy, crossed=back.crossed)[groups > 0.0]
            weight = groups[groups > 0.0] / groups.sum()

            def lost(theta: _Floats, design: _Floats = design, weight: _Floats = weight, times: _Floats = times) -> _Floats:
                held = weight @ back.holding(back.hazard(theta, design), times)
                return np.asarray(np.log(-np.log(np.clip(held, 1e-12, 1.0 - 1e-12))))

            value, error = with_error(lost, back.estimate)
            lower = np.exp(-np.exp(value + Z95 * error))
            good = times[(lower >= WARRANTED) & (times <= carried)]
            # the band falls with time: the last month that still holds
            out.append(Warranty(words().remedies[remedy], float(good.max()) if len(good) else 0.0, carried))
        return out

    def questions(self) -> list[Question]:
        """Comparisons kind by kind whose error would hide a factor of 1.5, the nearest to an answer first."""
        back = self.comebacks
        if back is None:
            return []
        out = []
        for kind, name in enumerate(self.kinds):
            for remedy in self.remedies:
                if remedy == CLEAN or CLEAN not in self.remedies:
                    continue
                a, b = kind * REMEDIES + CLEAN, kind * REMEDIES + remedy
                least = min(back.followed[a], back.followed[b])
                # a cell without a comeback still stands for as many as it should have had
                error2 = sum(float(x) if math.isfinite(x) else 4.0 for x in back.deviations.variance[[a, b]])
                needed = max(least, 5.0) * error2 * (POWER / math.log(TELLING_FACTOR)) ** 2
                if needed > least:
                    out.append(Question(name, words().remedies[remedy], "clean", math.ceil(needed - least)))
        return sorted(out, key=lambda q: q.rows_more)


LIGHT_CAUTION = (
    "Lubricant on very light contacts can make them worse: 4 of 6 fretting tests with a perfluorinated one failed at centinewtons "
    "(Kaushik, Azarian and Pecht 2019 [seen])."
)
LID_CAUTION = (
    "Lid off: mains unplugged, reservoirs discharged and checked, relays and heat sinks cool; live work only by those trained "
    "and licensed, after local rules."
)


def compare(
    source: Any,
    *,
    per_hour: float = 60.0,
    horizon_years: float = HORIZON_YEARS,
    strict: bool = False,
    progress: Callable[[str], None] | None = None,
) -> Comparison:
    """What a bench log says about cleaning, stripping and replacing.

    Parameters
    ----------
    source
        A :class:`BenchLog`, or whatever :func:`read_log` takes.
    per_hour
        Price of an hour of work, in the log's currency.
    horizon_years
        Up to when good service counts, years; cut to what the log follows.
    strict
        Raise InputError at any fault of the log.
    progress
        Told the name of each step as it begins.

    Every number is adjusted for how bad the contact was before, errors are clustered by amplifier (sandwich), small cells are
    shrunk towards their kind. Raises InputError for a log without a single usable contact.
    """
    for place, value in (("per_hour", per_hour), ("horizon_years", horizon_years)):
        if not (math.isfinite(value) and value > 0.0):
            raise bad_input(place, value, "allowed: finite, above zero")
    tell = progress or (lambda step: None)
    tell("log")
    log = source if isinstance(source, BenchLog) else read_log(source, strict=strict)
    if strict and log.faults:
        first = log.faults[0]
        raise bad_input(first.column, first.found, first.allowed, row=first.row)
    if len(log) == 0:
        raise bad_input("log", f"no contact with a kind, a reading and a remedy ({log.summary})", "allowed: one at least")
    work = _Work(log, per_hour, horizon_years, tell)
    tell("table and decisions")
    cells = [work.cell(k, r) for k in range(len(work.kinds)) for r in work.remedies if work.rows_of[k * REMEDIES + r]]
    decisions = [decision for k in range(len(work.kinds)) for decision in work.decisions(k)]
    reread, rereadings = None, int(np.sum((log.remedy == UNTOUCHED) & ~np.isnan(log.after_low_ohm)))
    if work.change and rereadings:
        fit, own = work.change, work.frame.in_cell[:, UNTOUCHED].astype(np.float64)
        fallen, fallen_error = with_error(lambda theta: fit.mean(theta, UNTOUCHED, own), fit.estimate)
        reread = _band(float(fallen[0]), float(fallen_error[0]))
    return Comparison(
        summary=log.summary,
        faults=log.faults,
        over=log.over,
        below=log.below,
        pairs=len(log),
        jobs=len(np.unique(log.job)),
        currency=log.currency or "",
        per_hour=per_hour,
        horizon_years=work.horizon,
        reread_ratio=reread,
        rereadings=rereadings,
        cells=tuple(cells),
        ratios=tuple(work.ratios()),
        decisions=tuple(decisions),
        curves=tuple(curve for k in range(len(work.kinds)) for curve in work.curves(k)),
        warranties=tuple(work.warranties()),
        questions=tuple(work.questions()),
        warnings=tuple(_warnings(work, rereadings)),
        assumes=tuple(_assumes(work)),
        cautions=tuple(_cautions(log)),
    )


def _warnings(work: _Work, rereadings: int) -> list[str]:
    log, out = work.log, []
    if not rereadings:
        out.append(
            "no untouched contact was read again (remedy none): part of every fall may be regression to the mean; "
            "contacts picked for a high first reading fall when left alone"
        )
    if work.comebacks is None:
        out.append("how long it holds: not known, fewer than 5 comebacks with dates")
    else:
        for name, fit in (("comebacks", work.comebacks), ("back in order", work.in_order), ("change", work.change)):
            if fit is not None and not fit.estimate.converged:
                out.append(f"the fit of {name} did not converge: its numbers are not to be used")
    if work.in_order is None:
        out.append("back in order: not known, fewer than 10 afters that a limit decides")
    if (jobs := len(np.unique(log.job))) < FEW_JOBS:
        out.append(f"{jobs} amplifiers only: bands are too narrow below about {FEW_JOBS}")
    if work.in_order and (open_ := int(work.in_order.undecided.sum())):
        out.append(f"{open_} afters straddle the limit of their kind, meter too coarse: left out there")
    if (unknown := int(log.why_unknown.sum())) > 0:
        out.append(f"{unknown} came back for a reason nobody looked for: counted as this contact")
    wet = int(np.sum(~log.dry & ~np.isnan(log.after_low_ohm)))
    if 2 * wet > len(log):
        out.append("most readings were not dry: a film that the meter broke looks better here")
    return out


def _assumes(work: _Work) -> list[str]:
    out = [f"{work.per_hour:g} an hour (--hour)", f"service counts to {work.horizon:.1f} years"]
    out.append("a damaged part is replaced" if np.isfinite(work.damage).any() else "no damage: the log has no such column")
    if work.log.currency is None and np.isfinite(work.log.part_cost).any():
        out.append("one currency, not named")
    out.append("like contacts differ by amplifier and chance only")
    return out


def _cautions(log: BenchLog) -> list[str]:
    out = [LID_CAUTION]
    if log.plated.any():
        out.append(PLATED_CAUTION)
    table = words().products
    lubricants = [k for k, name in enumerate(table) if "lubricant" in name]
    if np.isin(log.product, lubricants).any():
        out.append(LIGHT_CAUTION)
    return out
