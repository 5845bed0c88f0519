"""Clean, strip or replace: what a bench log teaches. Needs ``pip install 'weaklink[shop]'``.

``read_log`` reads a log, ``compare`` computes, ``invented_log`` makes one with a planted truth.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from .shop_decisions import curves, decisions, questions, warranties
from .shop_invented import InventedLog, Truth, invented_log
from .extras import bad_input
from .shop_log import BenchLog, Column, Fault, columns_text, missing_extra, read_log, words
from .shop_model import REMEDIES, UNTOUCHED, only_comebacks, with_error
from .shop_places import heard_from, what_if
from .shop_prior import prior_of, priors
from .shop_results import CLEANING_CAUTION, PLATED_CAUTION, Band, Cell, Comparison, Curve, Decision, Prior, Question, Ratio, Warranty
from .shop_work import Work, band_of

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = [
    "BenchLog",
    "Cell",
    "Column",
    "Comparison",
    "Curve",
    "Decision",
    "Fault",
    "InventedLog",
    "Prior",
    "Question",
    "Ratio",
    "Truth",
    "Warranty",
    "columns_text",
    "compare",
    "invented_log",
    "missing_extra",
    "prior_of",
    "read_log",
    "what_if",
    "words",
]

# up to which horizon good service counts, years
HORIZON_YEARS = 3.0
# amplifiers below which cluster-robust errors are too small themselves
FEW_JOBS = 30

LIGHT_CAUTION = (
    "Lubricant on very light contacts can make them worse: 4 of 6 fretting tests with a perfluorinated one failed at centinewtons "
    "(Kaushik, Azarian and Pecht 2019 [seen])."
)
LID_CAUTION = (
    "Lid off: mains unplugged, reservoirs discharged by a resistor and metered, parts cool; live work only by those trained "
    "and licensed, after local rules."
)


def compare(
    source: Any,
    *,
    per_hour: float = 60.0,
    horizon_years: float = HORIZON_YEARS,
    level_db: float | None = None,
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
    level_db
        Level at the ear for whether an after is heard in its place, dB SPL, 20 to 110; 80 where none is said, as in `assess`.
    strict
        Raise InputError at any fault of the log.
    progress
        Told the name of each step as it begins.

    Every number is adjusted for how bad the contact was before, errors are clustered by amplifier (sandwich), small cells are
    shrunk towards their kind. Where the log does not say how long a remedy holds, ``priors`` has what the growth of films says, apart
    from everything else; of a log without any row that is all there is. Raises InputError for a log whose rows are all set aside.
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
    level_db = heard_from(level_db)[0]
    if not (len(log) or log.without_after or log.set_aside):
        return _empty(log, per_hour, horizon_years, level_db)
    if len(log) == 0:
        raise bad_input("log", f"no contact with a kind, a reading and a remedy ({log.summary})", "allowed: one at least")
    work = Work(log, per_hour, horizon_years, level_db, tell)
    tell("table and decisions")
    cells = [work.cell(k, r) for k in range(len(work.kinds)) for r in work.remedies if work.rows_of[k * REMEDIES + r]]
    reread, rereadings = None, int(np.sum((log.remedy == UNTOUCHED) & ~np.isnan(log.after_low_ohm)))
    if work.change and rereadings:
        fit, own = work.change, work.frame.in_cell[:, UNTOUCHED].astype(np.float64)
        fallen, fallen_error = with_error(lambda theta: fit.mean(theta, UNTOUCHED, own), fit.estimate)
        reread = band_of(float(fallen[0]), float(fallen_error[0]))
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
        level_db=level_db,
        reread_ratio=reread,
        rereadings=rereadings,
        cells=tuple(cells),
        ratios=tuple(work.ratios()),
        decisions=tuple(decision for k in range(len(work.kinds)) for decision in decisions(work, k)),
        curves=tuple(curve for k in range(len(work.kinds)) for curve in curves(work, k)),
        warranties=tuple(warranties(work)),
        questions=tuple(questions(work)),
        priors=tuple(priors(work.kinds_unknown())),
        warnings=tuple(_warnings(work, rereadings)),
        assumes=tuple(_assumes(work)),
        cautions=tuple(_cautions(log)),
    )


def _empty(log: BenchLog, per_hour: float, horizon_years: float, level_db: float) -> Comparison:
    """The answer of a log without any row: what the growth of films says of every kind that has a limit."""
    told = ("how long it holds: not known, the log is empty",)
    assumed = (f"{per_hour:g} an hour (--hour)", f"service counts to {horizon_years:.1f} years")
    nothing: dict[str, tuple[Any, ...]] = {
        name: () for name in ("faults", "cells", "ratios", "decisions", "curves", "warranties", "questions")
    }
    return Comparison(
        summary=log.summary,
        over=0,
        below=0,
        pairs=0,
        jobs=0,
        currency=log.currency or "",
        per_hour=per_hour,
        horizon_years=horizon_years,
        level_db=level_db,
        reread_ratio=None,
        rereadings=0,
        priors=tuple(priors(words().kinds)),
        warnings=told,
        assumes=assumed,
        cautions=(LID_CAUTION, CLEANING_CAUTION),
        **nothing,
    )


# share of treated contacts that a log follows, below which it says that rates may be too high
FOLLOWED = 0.5


def _follow_up(work: Work) -> list[str]:
    """What is wrong with the comebacks of a log that follows few contacts, or those alone that came back."""
    treated = work.log.remedy != UNTOUCHED
    followed = treated & np.isfinite(work.log.years)
    alone = int((only_comebacks(work.frame) & followed).sum())
    if not followed.any() or not (alone or followed.sum() < FOLLOWED * treated.sum()):
        return []
    reason = f"; no rate (-) where all that are followed came back ({alone})" if alone else ""
    return [
        f"{followed.sum():,} of {treated.sum():,} treated contacts are followed: enter last_known_good of the others; "
        f"of comebacks alone rates are too high{reason}"
    ]


def _warnings(work: Work, rereadings: int) -> list[str]:
    log, out = work.log, _follow_up(work)
    if not rereadings:
        out.append(
            "no untouched contact was read again (remedy none): part of every fall may be regression to the mean; "
            "contacts picked for a high first reading fall when left alone"
        )
    if work.comebacks is None and "comebacks" not in work.failed:
        why = "only contacts that came back are followed" if only_comebacks(work.frame).any() else "fewer than 5 comebacks with dates"
        if any(work.counted(number)[1] for number in range(work.count)):
            why += "; back/100y: as counted, exact band"
        out.append(f"how long it holds: not known, {why}")
    out += [f"the fit of {name} did not converge: its numbers are left out (-)" for name in work.failed]
    if work.in_order is None and "back in order" not in work.failed:
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


def _assumes(work: Work) -> list[str]:
    out = [f"{work.per_hour:g} an hour (--hour)", f"service counts to {work.horizon:.1f} years"]
    out.append("a damaged part is replaced" if np.isfinite(work.log.damage).any() else "no damage: the log has no such column")
    if work.log.currency is None and np.isfinite(work.log.part_cost).any():
        out.append("one currency, not named")
    out.append("ohmmeter readings lose 0.1 to 0.3 ohm of leads (method dry box or 1 A drop: none)")
    out.append("like contacts differ by amplifier and chance")
    return out


def _cautions(log: BenchLog) -> list[str]:
    out = [LID_CAUTION, CLEANING_CAUTION]
    if log.plated.any():
        out.append(PLATED_CAUTION)
    table = words().products
    lubricants = [k for k, name in enumerate(table) if "lubricant" in name]
    if np.isin(log.product, lubricants).any():
        out.append(LIGHT_CAUTION)
    return out
