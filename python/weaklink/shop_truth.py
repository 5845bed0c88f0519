"""The planted-truth check of the bench log's statistics: ``python -m weaklink.shop_truth [--logs 200] [--rows 5000]``.

Every log is invented, written as CSV, read and compared like any other. Four numbers come back: what the plain table says,
what ours says against the marginal truth, how right the clustered errors are, and what a fall without an effect is taken for.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from . import shop_model as model
from .shop import HORIZON_YEARS
from .shop_fits import Z95, gradient_of
from .shop_invented import Truth, draw, invented_log
from .shop_model import CLEAN, REPLACE, UNTOUCHED, with_error

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from .shop_log import BenchLog

    _Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Recovered:
    """What the logs gave; arrays have one element per log."""

    truth: float
    plain: _Floats
    ratio: _Floats
    log_error: _Floats
    independent: _Floats
    fall: _Floats
    sham_plain: _Floats
    sham: _Floats
    sham_error: _Floats

    @property
    def covered(self) -> float:
        """Share of logs whose 95 % band of the ratio holds the marginal truth."""
        return float(np.mean(np.abs(np.log(self.ratio / self.truth)) < Z95 * self.log_error))

    @property
    def clustered_over_true(self) -> float:
        """Mean clustered error of the ratio's logarithm over how much it really scatters between logs."""
        return float(self.log_error.mean() / np.log(self.ratio).std(ddof=1))

    @property
    def independent_over_true(self) -> float:
        """The same for the error that takes contacts for independent."""
        return float(self.independent.mean() / np.log(self.ratio).std(ddof=1))

    @property
    def sham_recognised(self) -> float:
        """Share of logs whose band of the remedy without an effect holds "no change"."""
        return float(np.mean(np.abs(np.log(self.sham)) < Z95 * self.sham_error))


def recovered(logs: int, rows: int, *, truth: Truth | None = None, seed: int = 1000, progress: bool = False) -> Recovered:
    """Invents logs, reads each as CSV, and gathers what the statistics make of them.

    In a second log of the same size cleaning has no effect at all (it leaves the whole true resistance): its fall in the plain
    table is regression to the mean.
    """
    truth = truth or Truth()
    # cleaning without an effect: like leaving alone, with the spread of a reading
    sham = replace(truth, left=(1.0, *truth.left[1:]), spread_after=(truth.reading, *truth.spread_after[1:]))
    found: list[tuple[float, ...]] = []
    for k in range(logs):
        if progress and sys.stderr.isatty():
            sys.stderr.write(f"\r{k + 1} of {logs}")
            sys.stderr.flush()
        log = invented_log(rows, seed + k, truth=truth).log()
        frame = model.Frame(log)
        back = model.comebacks(frame)
        if back is None:
            continue
        groups = frame.in_group.astype(np.float64)

        def gap(theta: _Floats, back: model.Comebacks = back, groups: _Floats = groups) -> float:
            rates = [back.standardised(theta, r, groups, HORIZON_YEARS) for r in (REPLACE, CLEAN)]
            return float(np.log(rates[0] / rates[1]))

        value, error = with_error(gap, back.estimate)
        rates = [back.events_of.reshape(-1, 4)[:, r].sum() / back.person_years.reshape(-1, 4)[:, r].sum() for r in (REPLACE, CLEAN)]
        _, gradient = gradient_of(lambda theta, gap=gap: np.atleast_1d(gap(theta)), back.estimate.theta)  # type: ignore[misc]
        alone = float(np.sqrt(gradient[:, 0] @ back.estimate.independent @ gradient[:, 0]))
        fall = 1.0 - np.exp(_mean_change(log, UNTOUCHED))
        log = invented_log(rows, seed + k, truth=sham).log()
        frame = model.Frame(log)
        change = model.change(frame)
        assert change is not None
        weights = frame.in_group.astype(np.float64)

        def effect(theta: _Floats, fit: model.Change = change, weights: _Floats = weights) -> float:
            return fit.mean(theta, CLEAN, weights) - fit.mean(theta, UNTOUCHED, weights)

        none, none_error = with_error(effect, change.estimate)
        found.append(
            (
                rates[0] / rates[1],
                float(np.exp(value[0])),
                float(error[0]),
                alone,
                float(fall),
                float(1.0 - np.exp(_mean_change(log, CLEAN))),
                float(np.exp(none[0])),
                float(none_error[0]),
            )
        )
    if progress and sys.stderr.isatty():
        sys.stderr.write("\r\033[K")
    return Recovered(truth.marginal_ratio(HORIZON_YEARS), *np.array(found).T)


def _mean_change(log: BenchLog, remedy: int) -> float:
    """Mean logarithm of after over before in the plain table: exact readings only."""
    low, high = log.after_low_ohm, log.after_high_ohm
    first, last = log.before_low_ohm, log.before_high_ohm
    rows = (log.remedy == remedy) & (low > 0.0) & np.isfinite(high) & np.isfinite(last) & (first > 0.0)
    return float(np.mean(0.5 * np.log(low[rows] * high[rows] / (first[rows] * last[rows]))))


def report(found: Recovered, truth: Truth) -> str:
    """The four numbers, each beside its target."""
    conditional = truth.ratio[REPLACE] / truth.ratio[CLEAN]
    lines = [
        f"{len(found.ratio)} invented logs; replacing multiplies the comeback rate by {conditional:.2f} within an amplifier,",
        f"by {found.truth:.3f} over amplifiers to {HORIZON_YEARS:g} years (marginal truth, frailty variance {truth.frailty_variance:g})",
        f"1 plain table: {np.median(found.plain):.2f} at the median, {found.plain.min():.2f} at least (target: above 1.3)",
        f"2 ours: {np.median(found.ratio):.3f} at the median, off by {abs(np.median(found.ratio) - found.truth):.3f} (target: within 0.05);"
        f" bands hold the truth in {100 * found.covered:.1f} % (target: 90 to 99 %)",
        f"3 clustered errors: {found.clustered_over_true:.3f} of the true scatter (target: 0.9 to 1.1);"
        f" ignoring clusters {found.independent_over_true:.3f} (target: 0.8 or less)",
        f"4 untouched re-readings fell by {100 * np.median(found.fall):.0f} %; a remedy without an effect falls by"
        f" {100 * np.median(found.sham_plain):.0f} % in the plain table, ours makes {np.median(found.sham):.3f} times of it,"
        f" no effect in {100 * found.sham_recognised:.1f} % of logs (target: 90 to 99 %)",
    ]
    return "\n".join(lines) + "\n"


def failures(found: Recovered) -> list[str]:
    """The targets that were missed."""
    checks = {
        "plain table above 1.3": float(np.median(found.plain)) > 1.3,
        "median within 0.05": abs(float(np.median(found.ratio)) - found.truth) < 0.05,
        "coverage 90 to 99 %": 0.90 <= found.covered <= 0.99,
        "clustered errors within 10 %": 0.9 <= found.clustered_over_true <= 1.1,
        "ignoring clusters 20 % too small": found.independent_over_true <= 0.8,
        "31 % fall on untouched re-readings": abs(float(np.median(found.fall)) - 0.31) < 0.03,
        "plain fall of the sham as large": abs(float(np.median(found.sham_plain)) - 0.31) < 0.10,
        "no effect at the median": abs(float(np.median(found.sham)) - 1.0) < 0.05,
        "no effect recognised in 90 to 99 %": 0.90 <= found.sham_recognised <= 0.99,
    }
    return [name for name, held in checks.items() if not held]


def main(arguments: list[str] | None = None) -> int:
    """Runs the check; exit status 1 if a target is missed."""
    parser = argparse.ArgumentParser(prog="python -m weaklink.shop_truth", description=__doc__.split("\n", 1)[0])
    parser.add_argument("--logs", type=int, default=200)
    parser.add_argument("--rows", type=int, default=5000)
    options = parser.parse_args(arguments)
    truth = Truth()
    found = recovered(options.logs, options.rows, truth=truth, progress=True)
    sys.stdout.write(report(found, truth))
    missed = failures(found)
    sys.stdout.write(f"missed: {', '.join(missed)}\n" if missed else "all targets met\n")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
