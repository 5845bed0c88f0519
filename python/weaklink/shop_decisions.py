"""What follows from a comparison: break-even resistances, curves over the reading, warranties, open questions."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from ._core import _break_even
from .shop_fits import FEW, Z95, exact_band, joined
from .shop_log import words
from .shop_model import CLEAN, REMEDIES, REPLACE, STRIP, with_error
from .shop_results import Curve, Decision, Question, Warranty

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .shop_work import Work

    _Floats = NDArray[np.float64]

# share of contacts that a warranty must find in order
WARRANTED = 0.90
# contacts still followed that carry a statement about a time
LEAST_FOLLOWED = 20
# a question is answerable once a factor of this much would show in four of five logs: z(0.975) + z(0.8) = 2.80 [calc]
TELLING_FACTOR = 1.5
POWER = Z95 + 0.8416212335729143
GRID = 25
CURVE_POINTS = 9


def decisions(work: Work, kind: int) -> list[Decision]:
    """From which resistance stripping beats cleaning, and replacing beats the better of both."""
    back, order = work.comebacks, work.in_order
    if back is None or order is None:
        return []
    number = kind * REMEDIES
    usable = [r for r in work.remedies if order.decided[number + r] and back.followed[number + r] and work.costs.known(kind, r)]
    here = work.frame.kind == kind
    seen = np.quantile(work.frame.before[here], [0.02, 0.98])
    grid = np.linspace(seen[0], seen[1], GRID)
    z = grid - work.frame.centre[kind]
    both = joined(back.estimate, order.estimate)
    extra, variance = work.extra(kind)
    designs = {r: work.designs(kind, r, z) for r in usable}
    out = []
    for remedy in (STRIP, REPLACE):
        cheaper = [r for r in usable if r < remedy]
        if remedy not in usable or not cheaper:
            continue

        def gains(theta: _Floats, remedy: int = remedy, which: list[int] = cheaper) -> _Floats:
            dear = work.log_cost(theta, kind, remedy, designs[remedy])
            return np.concatenate([work.log_cost(theta, kind, r, designs[r]) - dear for r in which])

        # it must beat each of the cheaper ones, whose bands are taken one by one: the smaller of two is bent where they cross
        swings = [(r, work.swing(kind, r)) for r in (*cheaper, remedy)]
        value, low, high = (row.reshape(len(cheaper), GRID) for row in work.banded(gains, both, extra, variance, swings))
        ohm, even = np.exp(grid).tolist(), np.ones(GRID).tolist()
        ends = [_break_even(ohm, np.exp(np.min(row, axis=0)).tolist(), even) for row in (value, high, low)]
        names = " or ".join(words().remedies[r] for r in cheaper)
        above = (ends[0], ends[1], ends[2])
        out.append(Decision(work.kinds[kind], words().remedies[remedy], names, above, (ohm[0], ohm[-1])))
    return out


def curves(work: Work, kind: int) -> list[Curve]:
    """What each remedy does at resistances that the log has seen."""
    back, order, out = work.comebacks, work.in_order, []
    if back is None or order is None:
        return []
    seen = np.quantile(work.frame.before[work.frame.kind == kind], [0.02, 0.98])
    grid = np.linspace(seen[0], seen[1], CURVE_POINTS)
    extra, _ = work.extra(kind)
    for remedy in work.remedies:
        number = kind * REMEDIES + remedy
        if not (order.decided[number] and back.followed[number]):
            continue
        plain, crossed = work.designs(kind, remedy, grid - work.frame.centre[kind])
        share = order.share(order.estimate.theta, crossed, extra[REMEDIES + remedy])
        _, years = back.service(back.hazard(back.estimate.theta, plain) * np.exp(extra[remedy]), work.horizon)
        points = (tuple(float(x) for x in row) for row in (np.exp(grid), share, years))
        out.append(Curve(work.kinds[kind], words().remedies[remedy], *points))
    return out


def warranties(work: Work) -> list[Warranty]:
    """What each remedy's own contacts carry: nine in ten in order with the lower band.

    Up to a time by which fewer than ten came back, the exact lower end of the share that still held counts too, of contacts that came
    back or were followed so long: 36 of 36 carry nine in ten, 30 of 30 do not.
    """
    back = work.comebacks
    if back is None:
        return []
    out = []
    log = work.log
    for remedy in work.remedies:
        own = np.isfinite(log.years) & (work.frame.remedy == remedy)
        followed, came = np.sort(log.years[own]), np.sort(log.years[own & log.came_back])
        if len(followed) < LEAST_FOLLOWED:
            continue
        carried = float(followed[-LEAST_FOLLOWED])
        times = np.arange(1, max(2, int(carried * 12.0) + 1)) / 12.0
        groups = work.frame.in_cell[:, remedy].astype(np.float64)
        design = work.frame.of_groups(remedy, crossed=back.crossed)[groups > 0.0]
        weight = groups[groups > 0.0] / groups.sum()

        def lost(theta: _Floats, design: _Floats = design, weight: _Floats = weight, times: _Floats = times) -> _Floats:
            held = weight @ back.holding(back.hazard(theta, design), times)
            return np.asarray(np.log(-np.log(np.clip(held, 1e-12, 1.0 - 1e-12))))

        value, error = with_error(lost, back.estimate)
        lower = np.exp(-np.exp(value + Z95 * error))
        lost_by = np.searchsorted(came, times, side="right")
        held = len(followed) - np.searchsorted(followed, times, side="left")
        for k in np.flatnonzero(lost_by < FEW):
            # one that came back on the very day counts as lost
            still = held[k] - np.count_nonzero(came == times[k])
            known = float(still + lost_by[k])
            lower[k] = min(lower[k], exact_band(still / known, 0.0, known)[1]) if known else 0.0
        # the last month up to which every one holds
        good = times[np.logical_and.accumulate((lower >= WARRANTED) & (times <= carried))]
        out.append(Warranty(words().remedies[remedy], float(good.max()) if len(good) else 0.0, carried))
    return out


def questions(work: Work) -> list[Question]:
    """Comparisons kind by kind whose error would hide a factor of 1.5, the nearest to an answer first."""
    back = work.comebacks
    if back is None:
        return []
    out = []
    for kind, name in enumerate(work.kinds):
        for remedy in work.remedies:
            if remedy == CLEAN or CLEAN not in work.remedies:
                continue
            a, b = kind * REMEDIES + CLEAN, kind * REMEDIES + remedy
            least = min(back.followed[a], back.followed[b])
            # a cell without a comeback still stands for as many as it should have had
            error2 = sum(float(x) if math.isfinite(x) else 4.0 for x in back.deviations.variance[[a, b]])
            needed = max(least, 5.0) * error2 * (POWER / math.log(TELLING_FACTOR)) ** 2
            if needed > least:
                out.append(Question(name, words().remedies[remedy], "clean", math.ceil(needed - least)))
    return sorted(out, key=lambda q: q.rows_more)
