"""What a visit takes: minutes, price of the part and share of damages, kind by kind and remedy by remedy, each with its variance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from . import shop_fits as fits
from .shop_model import REMEDIES, REPLACE, Frame

if TYPE_CHECKING:
    from numpy.typing import NDArray

    _Floats = NDArray[np.float64]
    _Bools = NDArray[np.bool_]

# shrinking damages: a kind counts as many contacts of the remedy's share
DAMAGE_PRIOR = 20.0
# prices that never differ are known to this share: a deviation of theirs is no chance
EXACT = 1e-4


@dataclass(frozen=True)
class Means:
    """Kinds x remedies: mean, NaN where the log does not say, and the variance of that mean, zero where nothing is estimated."""

    value: _Floats
    variance: _Floats


def _cluster_squares(frame: Frame, rows: _Bools, residual: _Floats, which: NDArray[np.int64], count: int) -> _Floats:
    """Sum over amplifiers of their squared sums, in each of several sets of rows, with the correction for the fitted mean."""
    job, out = frame.job[rows], np.zeros(count)
    for number in np.unique(which):
        here = which == number
        sums = np.bincount(job[here], weights=residual[here])
        jobs = int(np.count_nonzero(np.bincount(job[here])))
        out[number] = np.sum(sums * sums) * (jobs / (jobs - 1) if jobs > 1 else 1.0)
    return out


def _shrunk_with_few(deviation: _Floats, variance: _Floats, between: float) -> tuple[_Floats, _Floats]:
    """Deviations of a few cells shrunk towards zero, and the variance left, which knows that how far cells differ was told by few.

    Morris (Journal of the American Statistical Association 78 (1983) 47 [memory]): shares ``B = (k-3)/(k-1) V/(V+A)`` are taken off,
    ``V (1 - (k-1)/k B) + 2/(k-3) (B d)^2`` is left. Below four cells nothing is shrunk.
    """
    known = np.isfinite(variance)
    cells = int(known.sum())
    if cells < 4:
        return deviation, np.where(known, variance, np.inf)
    v = np.where(known, variance, 1.0)
    share = np.where(known, (cells - 3) / (cells - 1) * v / (v + between), 1.0)
    left = v * (1.0 - (cells - 1) / cells * share) + 2.0 / (cells - 3) * (share * deviation) ** 2
    return (1.0 - share) * deviation, left


def means(frame: Frame, values: _Floats, only: int | None = None) -> Means:
    """Mean per kind x remedy, shrunk towards the remedy's as far as kinds do not truly differ, clustered by amplifier.

    ``only``: the one remedy that buys a part; the others cost none unless the log says so.
    """
    kinds = len(frame.kinds)
    value, variance = np.full((kinds, REMEDIES), np.nan), np.zeros((kinds, REMEDIES))
    rows = np.isfinite(values)
    cell, remedy, known = frame.kind_remedy[rows], frame.remedy[rows], values[rows]
    count = np.bincount(cell, minlength=kinds * REMEDIES).astype(np.float64)
    mean = np.bincount(cell, weights=known, minlength=kinds * REMEDIES) / np.maximum(count, 1.0)
    residual = known - mean[cell]
    squares = _cluster_squares(frame, rows, residual, cell, kinds * REMEDIES).reshape(kinds, REMEDIES)
    whole = _cluster_squares(frame, rows, residual, remedy, REMEDIES)
    count, mean = count.reshape(kinds, REMEDIES), mean.reshape(kinds, REMEDIES)
    spread = np.bincount(remedy, weights=residual**2, minlength=REMEDIES)
    for r in range(REMEDIES):
        n = count[:, r]
        total, cells = float(n.sum()), int(np.count_nonzero(n))
        if total == 0.0:
            continue
        overall = float(n @ mean[:, r] / total)
        # one contact by itself scatters as those of the other kinds do
        free = total - cells
        own = spread[r] / free if free > 0 else float(n @ (mean[:, r] - overall) ** 2 / max(total - 1.0, 1.0))
        least = max(own, (EXACT * overall) ** 2)
        of_overall = max(whole[r], total * least) / total**2
        with np.errstate(divide="ignore", invalid="ignore"):
            of_cell = np.where(n > 0.0, np.maximum(squares[:, r], n * least) / n**2, np.inf)
        deviation = np.where(n > 0.0, mean[:, r] - overall, 0.0)
        _, _, between = fits.shrunk(deviation, of_cell)
        shrunk, left = _shrunk_with_few(deviation, of_cell, between)
        value[:, r] = np.maximum(overall + shrunk, 0.0)
        # a kind without a contact of this remedy differs as kinds do
        variance[:, r] = np.where(n > 0.0, left, between + of_overall)
    if only is not None:
        others = np.arange(REMEDIES) != only
        value[:, others] = np.where(np.isfinite(value[:, others]), value[:, others], 0.0)
    return Means(value, variance)


def damages(frame: Frame) -> Means:
    """Share of damages per kind x remedy, shrunk towards the remedy's."""
    kinds = len(frame.kinds)
    rows = np.isfinite(frame.log.damage)
    if not rows.any():
        return Means(np.full((kinds, REMEDIES), np.nan), np.zeros((kinds, REMEDIES)))
    cell, hurt = frame.kind_remedy[rows], frame.log.damage[rows]
    counted = np.bincount(cell, minlength=kinds * REMEDIES).reshape(kinds, REMEDIES)
    happened = np.bincount(cell, weights=hurt, minlength=kinds * REMEDIES).reshape(kinds, REMEDIES)
    overall = (happened.sum(axis=0) + 0.5) / (counted.sum(axis=0) + 1.0)
    share = (happened + DAMAGE_PRIOR * overall) / (counted + DAMAGE_PRIOR)
    squares = _cluster_squares(frame, rows, hurt - share.ravel()[cell], cell, kinds * REMEDIES).reshape(kinds, REMEDIES)
    worth = counted + DAMAGE_PRIOR
    return Means(np.asarray(share), np.asarray(np.maximum(squares, worth * share * (1.0 - share)) / worth**2))


@dataclass(frozen=True)
class Costs:
    """Minutes, price of the part, share of damages."""

    minutes: Means
    part: Means
    damage: Means

    def of(self, kind: int) -> tuple[_Floats, _Floats]:
        """Minutes, prices and damages of a kind's remedies in one row, with their variances; zero where the log does not say."""
        parts = (self.minutes, self.part, self.damage)
        value = np.concatenate([m.value[kind] for m in parts])
        variance = np.concatenate([m.variance[kind] for m in parts])
        known = np.isfinite(value)
        return np.where(known, value, 0.0), np.where(known, variance, 0.0)

    def known(self, kind: int, remedy: int) -> bool:
        """Whether the log has minutes and a price for a remedy."""
        return bool(np.isfinite(self.minutes.value[kind, remedy]) and np.isfinite(self.part.value[kind, remedy]))


def costs(frame: Frame) -> Costs:
    """What a visit takes, by the log."""
    log = frame.log
    return Costs(means(frame, log.minutes), means(frame, log.part_cost, REPLACE), damages(frame))
