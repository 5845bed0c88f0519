"""One comparison on its way: the fits of a log, what its cells say, and what a good year costs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from . import shop_model as model
from ._core import _cost_per_good_year
from .shop_costs import costs
from .shop_fits import FEW, Z95, exact_band, exact_rate, exact_ratio, joined
from .shop_log import BenchLog, words
from .shop_model import CLEAN, REMEDIES, REPLACE, STRIP, UNTOUCHED, with_error
from .shop_places import ABLE, EXCLUDED, TARGET_LOSS_DB, TARGET_RESIDUE, what_if
from .shop_results import Band, Cell, Ratio

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from .shop_fits import Estimate

    _Floats = NDArray[np.float64]

# a rate of zero as a shift of its logarithm
NONE = -15.0

def band_of(value: float, error: float) -> Band:
    """A positive number with its band, from its logarithm and that one's error."""
    return (math.exp(value), math.exp(value - Z95 * error), math.exp(value + Z95 * error))


def _from_logs(ends: tuple[_Floats, _Floats, _Floats], k: int) -> Band:
    """The k-th of several numbers from the logarithms of its value and ends."""
    return math.exp(float(ends[0][k])), math.exp(float(ends[1][k])), math.exp(float(ends[2][k]))


class Work:
    """One comparison on its way."""

    def __init__(self, log: BenchLog, per_hour: float, horizon_years: float, level_db: float | None, progress: Callable[[str], None]) -> None:
        self.log, self.per_hour, self.level_db = log, per_hour, level_db
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
        self._swings: dict[int, tuple[float, float]] = {}
        # numbers of a fit that did not converge are not to be used: nothing is made of them
        fits = {"comebacks": self.comebacks, "back in order": self.in_order, "change": self.change}
        self.failed = [name for name, fit in fits.items() if fit is not None and not fit.estimate.converged]
        self.comebacks, self.in_order, self.change = (
            None if "comebacks" in self.failed else self.comebacks,
            None if "back in order" in self.failed else self.in_order,
            None if "change" in self.failed else self.change,
        )
        reach = self.comebacks.longest_years if self.comebacks else horizon_years
        self.horizon = min(horizon_years, reach)
        self.remedies = [r for r in (CLEAN, STRIP, REPLACE) if self.frame.there[r]]
        progress("costs")
        self.costs = costs(self.frame)
        progress("what they do where they stand")
        self.effects = self.place_effects()

    def place_effects(self) -> _Floats:
        """Per kind x remedy: loss and ceiling at the afters that nine in ten stay below, share over a target, shares that are
        excluded from being heard, not settled, able to be heard."""
        low, high = self.log.after_low_ohm, self.log.after_high_ohm
        out = np.full((self.count, 6), np.nan)
        known, which = ~np.isnan(high), self.frame.kind_remedy
        cells = np.unique(which[known])
        # loss and ceiling rise with the resistance: the first over a target decides every contact of the kind
        ohm = np.geomspace(1e-6, 1e9, 6000)
        for kind, code in enumerate(self.frame.kinds):
            found = what_if(ohm, np.full(len(ohm), code), level_db=self.level_db)
            over, excluded, able = (
                float(ohm[np.argmax(over)]) if over.any() else math.inf
                for over in ((found[:, 0] > TARGET_LOSS_DB) | (found[:, 1] > TARGET_RESIDUE), found[:, 2] > EXCLUDED, found[:, 2] >= ABLE)
            )
            for cell in cells[cells // REMEDIES == kind]:
                own = known & (which == cell)
                if np.isfinite(high[own]).any():
                    worst = np.quantile(high[own & np.isfinite(high)], 0.9)
                    out[cell, :2] = what_if([worst], [code], level_db=self.level_db)[0, :2]
                    out[cell, 2] = np.mean(high[own] >= over)
                # what the meter left decides: its upper end excludes, its lower one accuses
                shares = np.mean(high[own] < excluded), np.mean(low[own] >= able)
                out[cell, 3:] = shares[0], 1.0 - shares[0] - shares[1], shares[1]
        return out

    def kinds_unknown(self) -> list[str]:
        """Kinds of which the log does not say how long a remedy holds: no fit, or no contact of theirs followed after one."""
        back = self.comebacks
        if back is None:
            return self.kinds
        followed = back.followed.reshape(-1, REMEDIES)[:, [CLEAN, STRIP, REPLACE]].sum(axis=1)
        return [name for name, count in zip(self.kinds, followed, strict=True) if count == 0.0]

    def groups_of(self, kind: int) -> _Floats:
        """All contacts of a kind, as counts per group."""
        return np.asarray(np.where(self.frame.kind_of_group == kind, self.frame.in_group, 0).astype(np.float64))

    def extra(self, kind: int) -> tuple[_Floats, _Floats]:
        """What stands behind the parameters of the two fits, with its variances, remedy by remedy: deviations of a kind's
        comebacks, of its share in order, then minutes, prices and damages."""
        cells = kind * REMEDIES + np.arange(REMEDIES)
        parts = [self.comebacks.deviations if self.comebacks else None, self.in_order.deviations if self.in_order else None]
        zero = np.zeros(REMEDIES)
        values = [np.log1p(np.maximum(d.shrunk[cells], -0.9)) if k == 0 and d else d.shrunk[cells] if d else zero for k, d in enumerate(parts)]
        left = [d.left[cells] if d else zero for d in parts]
        value, variance = self.costs.of(kind)
        return np.concatenate([*values, value]), np.concatenate([*left, variance])

    def visit(self, kind: int, remedy: int, extra: _Floats) -> tuple[float, float, float, float]:
        """Minutes, part cost, damage share, damage cost: what one remedy takes on average."""
        minutes, part, damage = (np.maximum(extra[k * REMEDIES :][:REMEDIES], 0.0) for k in (2, 3, 4))
        # a damaged part is replaced; without a price of a new one a damage costs the work once more
        price = minutes[remedy] / 60.0 * self.per_hour
        if self.costs.known(kind, REPLACE):
            price = minutes[REPLACE] / 60.0 * self.per_hour + part[REPLACE]
        return float(minutes[remedy]), float(part[remedy]), float(damage[remedy]), float(price)

    def split(self, theta: _Floats) -> tuple[_Floats, _Floats, _Floats]:
        """Parameters of comebacks, of back in order, and deviations."""
        assert self.comebacks is not None and self.in_order is not None
        a, b = len(self.comebacks.estimate.theta), len(self.in_order.estimate.theta)
        return theta[:a], theta[a : a + b], theta[a + b :]

    def counted(self, number: int) -> tuple[float, float]:
        """Comebacks and contact-years of a kind x remedy without any fit; none where only those that came back are followed."""
        rows = (self.frame.kind_remedy == number) & np.isfinite(self.log.years) & ~model.only_comebacks(self.frame)
        return float(np.count_nonzero(self.log.came_back & rows)), float(self.log.years[rows].sum())

    def swing(self, kind: int, remedy: int) -> tuple[float, float]:
        """How far the logarithm of a cell's rate may lie below and above the fitted one by the exact band of its few comebacks; zero where
        they are many. The score of a cell without comebacks hardly scatters: its sandwich is next to nothing."""
        back, number = self.comebacks, kind * REMEDIES + remedy
        if back is None or not back.followed[number] or back.events_of[number] >= FEW:
            return 0.0, 0.0
        if number not in self._swings:
            shift = float(self.extra(kind)[0][remedy])
            level = back.standardised(back.estimate.theta, remedy, self.groups_of(kind), self.horizon, shift)
            low, high = exact_rate(float(back.events_of[number]), float(back.person_years[number]))
            self._swings[number] = (min(math.log(low / level), 0.0) if low > 0.0 else NONE, max(math.log(high / level), 0.0))
        return self._swings[number]

    def banded(
        self,
        function: Callable[[_Floats], Any],
        estimate: Estimate,
        extra: _Floats,
        variance: _Floats,
        swings: list[tuple[int, tuple[float, float]]],
    ) -> tuple[_Floats, _Floats, _Floats]:
        """Value and 95 % ends; ``swings``: elements of ``extra`` with how far each may lie below and above by an exact band.

        What each end of an exact band moves is added in squares to the rest, side by side (Zou and Donner, Statistics in Medicine 27
        (2008) 1693 [memory]): never narrower than without.
        """
        value, error = with_error(function, estimate, extra, variance)
        below, above = (Z95 * error) ** 2, (Z95 * error) ** 2
        for place, ends in swings:
            for end in ends:
                if end:
                    moved = extra.copy()
                    moved[place] += end
                    step = np.atleast_1d(function(np.concatenate([estimate.theta, moved]))) - value
                    below, above = below + np.minimum(step, 0.0) ** 2, above + np.maximum(step, 0.0) ** 2
        return value, value - np.sqrt(below), value + np.sqrt(above)

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
        minutes, part, damage, price = self.visit(kind, remedy, extra)
        cost = _cost_per_good_year(minutes, self.per_hour, part, damage, price, np.maximum(share, 1e-12), np.maximum(years, 1e-9))
        return np.asarray(np.log(cost))

    def cell(self, kind: int, remedy: int) -> Cell:
        """One row of the table."""
        number, name = kind * REMEDIES + remedy, self.kinds[kind]
        groups = self.groups_of(kind)
        extra, variance = self.extra(kind)
        left = rate = years = cost = None
        shares: Band | None = None
        if self.change and self.change.bounded[number]:
            against = UNTOUCHED if self.frame.there[UNTOUCHED] and remedy != UNTOUCHED else None
            fit, deviations = self.change, self.change.deviations

            def fallen(theta: _Floats) -> float:
                base = fit.mean(theta[:-1], against, groups) if against is not None else 0.0
                return fit.mean(theta[:-1], remedy, groups, float(theta[-1])) - base

            value, error = with_error(fallen, fit.estimate, deviations.shrunk[[number]], deviations.left[[number]])
            left = band_of(float(value[0]), float(error[0]))
        order, back = self.in_order, self.comebacks
        if order and order.decided[number] > 0:
            weights = groups / groups.sum()
            design = self.frame.of_groups(remedy, crossed=True)

            def logit(theta: _Floats) -> float:
                share = float(weights @ order.share(theta[:-1], design, float(theta[-1])))
                return math.log(share / (1.0 - share)) if 0.0 < share < 1.0 else math.copysign(40.0, share - 0.5)

            value, error = with_error(logit, order.estimate, extra[[REMEDIES + remedy]], variance[[REMEDIES + remedy]])
            logits = [float(value[0]) + k * Z95 * float(error[0]) for k in (0.0, -1.0, 1.0)]
            value_of, low, high = (1.0 / (1.0 + math.exp(-min(max(x, -40.0), 40.0))) for x in logits)
            shares = (value_of, low, high)
            decided, good = order.decided[number], order.good[number]
            if min(good, decided - good) < FEW:
                shares = exact_band(value_of, float(error[0]), decided)
        if back and back.followed[number] > 0:

            def rates(theta: _Floats) -> _Floats:
                level = back.standardised(theta[:-1], remedy, groups, self.horizon, float(theta[-1]))
                design = self.frame.of_groups(remedy, crossed=back.crossed)[groups > 0.0]
                _, good = back.service(back.hazard(theta[:-1], design) * np.exp(theta[-1]), self.horizon)
                weight = groups[groups > 0.0]
                return np.log([100.0 * level, float(weight @ good / weight.sum())])

            swing = self.swing(kind, remedy)
            ends = self.banded(rates, back.estimate, extra[[remedy]], variance[[remedy]], [(0, swing)])
            rate, years = (_from_logs(ends, k) for k in (0, 1))
            # none serves past the horizon
            years = (years[0], years[1], min(years[2], self.horizon))
            if any(swing):
                # the rate's own ends as they are, and zero where none came back
                low, high = (100.0 * x for x in exact_rate(float(back.events_of[number]), float(back.person_years[number])))
                _, below, above = band_of(*(float(x[0]) for x in with_error(rates, back.estimate, extra[[remedy]], variance[[remedy]])))
                rate = (rate[0], min(low, below), max(high, above))
        came, lived = (float(back.events_of[number]), float(back.person_years[number])) if back else self.counted(number)
        if back is None and lived:
            low, high = exact_rate(came, lived)
            rate = (100.0 * came / lived, 100.0 * low, 100.0 * high)
        if order and back and shares and rate and self.costs.known(kind, remedy):
            both = joined(back.estimate, order.estimate)
            weight, at = groups[groups > 0.0], self.designs(kind, remedy, self.frame.z_of_group[groups > 0.0])

            def mean_cost(theta: _Floats) -> float:
                # the kind's contacts together: what they cost over the good years they get
                return float(-np.log(weight @ np.exp(-self.log_cost(theta, kind, remedy, at)) / weight.sum()))

            ends = self.banded(mean_cost, both, extra, variance, [(remedy, self.swing(kind, remedy))])
            cost = _from_logs(ends, 0)

        def known(x: float) -> float | None:
            return float(x) if math.isfinite(x) else None

        hurt = self.log.damage[self.frame.kind_remedy == number]
        loss, ceiling, over, *heard = self.effects[number]
        return Cell(
            kind=name,
            remedy=words().remedies[remedy],
            contacts=int(self.rows_of[number]),
            left_ratio=left,
            in_order=shares,
            not_decided=int(order.undecided[number]) if order else 0,
            loss_db=known(loss),
            ceiling=known(ceiling),
            over_target=known(over),
            heard=None if math.isnan(heard[0]) else (float(heard[0]), float(heard[1]), float(heard[2])),
            afters=int(np.count_nonzero(~np.isnan(self.log.after_high_ohm[self.frame.kind_remedy == number]))),
            comebacks=int(came),
            contact_years=lived,
            comebacks_per_100_years=rate,
            good_years=years,
            damage=known(self.costs.damage.value[kind, remedy]),
            damaged=(int(np.nansum(hurt)), told) if (told := int(np.count_nonzero(np.isfinite(hurt)))) else None,
            minutes=known(self.costs.minutes.value[kind, remedy]),
            part_cost=known(self.costs.part.value[kind, remedy]),
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
            if not events[remedy] and not events[CLEAN]:
                continue
            plain, adjusted = None, band_of(float(value[0]), float(error[0]))
            if min(events[remedy], events[CLEAN]) < FEW:
                low, high = exact_ratio((events[remedy], events[CLEAN]), (years[remedy], years[CLEAN]))
                adjusted = (adjusted[0], min(adjusted[1], low), max(adjusted[2], high))
            if events[CLEAN] and years[remedy] and years[CLEAN]:
                plain = float(events[remedy] / years[remedy] / (events[CLEAN] / years[CLEAN]))
            out.append(Ratio(words().remedies[remedy], "clean", plain, adjusted))
        return out

