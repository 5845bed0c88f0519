"""Remedies for the contacts of one job, by what the shop's own log taught: ``weaklink assess JOB.toml --shop shop.toml``."""

from __future__ import annotations

import math
import re
import tomllib
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .report import _number, _wrapped
from .extras import bad_input
from .shop_log import words
from .shop_prior import ASSUMES, LABEL, from_to, metal_of, prior_of, span
from .shop_results import CLEANING_CAUTION, PLATED_CAUTION

if TYPE_CHECKING:
    import os
    from collections.abc import Mapping

    from ._core import Job
    from .results import Assessment, Finding
    from .shop_results import Prior

    _Shop = Mapping[str, Any]

REMEDIES = ("clean", "strip", "replace")
# findings that a remedy is for
OPEN = ("proved", "able to account for it", "not settled")
NOT_KNOWN = "how long it holds: not known"


@dataclass(frozen=True)
class JobRemedy:
    """One remedy for one contact: what it costs on this job and what the log says of it at this reading.

    ``money``: work with the time to get at it, and the part; per visit. ``left_ohm``: what it leaves of the largest reading.
    ``in_order``, ``good_years``: at the largest reading (``beyond``: that lies outside what the log has seen, its nearest end is
    taken). ``comebacks_per_100_years``: value and 95 % band over the kind. None: not known.
    """

    contact: str
    kind: str
    remedy: str
    minutes: float
    money: float
    left_ohm: float | None
    in_order: float | None
    good_years: float | None
    beyond: bool
    comebacks_per_100_years: tuple[float, ...] | None
    cost_per_good_year: float | None


def _at(known: Mapping[str, Any], name: str, ohm: float | None) -> tuple[float | None, bool]:
    """A curve of the log at a reading, straight over its logarithm; and whether the reading lies outside it."""
    x, y = known.get("before_ohm"), known.get(f"{name}_at")
    if ohm is None or not x or not y:
        # no reading: the mean of the kind
        band = known.get(name)
        return (float(band[0]) if band else None), False
    if ohm <= x[0] or ohm >= x[-1]:
        return float(y[0] if ohm <= x[0] else y[-1]), not x[0] <= ohm <= x[-1]
    k = next(k for k in range(1, len(x)) if ohm <= x[k])
    share = math.log(ohm / x[k - 1]) / math.log(x[k] / x[k - 1])
    return float(y[k - 1] + share * (y[k] - y[k - 1])), False


def load_shop(path: str | os.PathLike[str]) -> dict[str, Any]:
    """Reads what ``weaklink compare --save`` wrote. Raises InputError for anything else."""
    try:
        shop = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except OSError as error:
        raise bad_input("shop", error.strerror or error, "allowed: a file that compare --save wrote", file=str(path)) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise bad_input("shop", error, "allowed: a file that compare --save wrote", file=str(path)) from None
    if shop.get("shop") != 1:
        raise bad_input("shop", shop.get("shop", "missing"), "allowed: shop = 1, as compare --save writes it", file=str(path))
    for name in ("per_hour", "horizon_years"):
        value = shop.get(name)
        if not isinstance(value, (int, float)) or isinstance(value, bool) or not math.isfinite(value) or value <= 0.0:
            raise bad_input(name, value, "allowed: a number above zero", file=str(path))
    for kind, rows in shop.items():
        for remedy, row in rows.items() if isinstance(rows, dict) else ():
            _checked(f'["{kind}"."{remedy}"]', row, str(path))
    return shop


def _checked(place: str, row: Any, file: str) -> None:
    if not isinstance(row, dict):
        raise bad_input(place, row, "allowed: a table", file=file)
    for name, value in row.items():
        band = name in ("left_ratio", "in_order", "comebacks_per_100_years", "good_years", "cost_per_good_year")
        values = value if band and isinstance(value, list) else [value]
        if name in ("before_ohm", "in_order_at", "good_years_at"):
            rows = [r for n in ("before_ohm", "in_order_at", "good_years_at") if isinstance(r := row.get(n), list)]
            fine = len(rows) == 3 and len(rows[0]) >= 2 and all(len(r) == len(rows[0]) for r in rows)
            fine = fine and all(isinstance(x, (int, float)) and math.isfinite(x) and x >= 0.0 for r in rows for x in r)
            if not fine or rows[0][0] <= 0.0 or any(b <= a for a, b in zip(rows[0], rows[0][1:], strict=False)):
                raise bad_input(f"{place} {name}", value, "allowed: three rows of one length, before_ohm rising from above zero", file=file)
            continue
        fine = all(isinstance(x, (int, float)) and not isinstance(x, bool) and not math.isnan(x) and x >= 0.0 for x in values)
        if not fine or band != isinstance(value, list) or (band and len(values) != 3):
            wanted = "three numbers, value and band" if band else "a number, zero or more"
            raise bad_input(f"{place} {name}", value, f"allowed: {wanted}", file=file)


def _minutes(text: Any) -> float:
    """Minutes of a time that the sheet's reader has passed."""
    found = re.match(r"\s*([\d.,]+)\s*(min|h|s)", str(text))
    if not found:
        return 0.0
    return float(found[1].replace(",", ".")) * {"min": 1.0, "h": 60.0, "s": 1.0 / 60.0}[found[2]]


def _largest_ohm(pair: list[Finding]) -> float | None:
    ends = [end for finding in pair for end in finding.resistance_ohm if end is not None]
    return max(ends) if ends else None


@dataclass(frozen=True)
class NoLog:
    """An open contact of a kind of which the log says nothing: how long a remedy holds is not known.

    ``prior``: what the growth of films on its metal says, apart from any data; None without a metal that has a law, or a limit.
    """

    contact: str
    kind: str
    prior: Prior | None


def _open(job: Job, answer: Assessment) -> tuple[dict[str, Any], dict[str, list[Finding]]]:
    """The sheet, and the findings of every contact that one of them leaves open or proves: the proved and the likeliest first."""
    contacts: dict[str, list[Finding]] = {}
    for finding in answer.findings:
        contacts.setdefault(finding.contact, []).append(finding)
    kept = {name: pair for name, pair in contacts.items() if any(finding.kind in OPEN for finding in pair)}
    def suspected(name: str) -> float:
        return max(1.0 if finding.kind == "proved" else finding.probability or 0.0 for finding in kept[name])

    return tomllib.loads(job.text), {name: kept[name] for name in sorted(kept, key=suspected, reverse=True)}


def without_log(job: Job, answer: Assessment, shop: _Shop) -> list[NoLog]:
    """Open contacts of kinds of which the log does not say how long a remedy holds, each with its prior."""
    sheet, contacts = _open(job, answer)
    out = []
    for contact in contacts:
        part = sheet.get("part", {}).get(contact.split(" / ")[0], {})
        kind = str(part.get("kind", ""))
        known = shop.get(kind)
        if isinstance(known, dict) and any("good_years" in row for row in known.values()):
            continue
        metal = metal_of(str(part.get("metal", "")))
        out.append(NoLog(contact, kind, prior_of(kind, metal) if metal is not None and kind in words().kinds else None))
    return out


def remedies_for(job: Job, answer: Assessment, shop: _Shop) -> list[JobRemedy]:
    """Remedies of every contact that a finding leaves open or proves, the cheapest per good year first."""
    sheet, contacts = _open(job, answer)
    parts: dict[str, Any] = sheet.get("part", {})
    same_money = sheet.get("currency") in (None, shop.get("currency")) or "currency" not in shop
    out = []
    for contact, pair in contacts.items():
        part = parts.get(contact.split(" / ")[0], {})
        kind = part.get("kind", "")
        if not isinstance(shop.get(kind), dict):
            continue
        rows = []
        for remedy in REMEDIES:
            known = shop[kind].get(remedy)
            if known is None or "minutes" not in known:
                continue
            minutes = known["minutes"] + _minutes(part.get("access", ""))
            price = part.get("price") if remedy == "replace" and same_money else None
            bought = float(price) if price is not None else known.get("part_cost", 0.0)
            money = minutes / 60.0 * shop["per_hour"] + bought
            largest, left = _largest_ohm(pair), known.get("left_ratio")
            share, beyond = _at(known, "in_order", largest)
            years, _ = _at(known, "good_years", largest)
            good = share * years if share is not None and years is not None else 0.0
            rows.append(
                JobRemedy(
                    contact=contact,
                    kind=kind,
                    remedy=remedy,
                    minutes=minutes,
                    money=money,
                    # a new part starts anew: what it leaves does not follow from what was there
                    left_ohm=largest * left[0] if largest is not None and left and remedy != "replace" else None,
                    in_order=share,
                    good_years=years,
                    beyond=beyond,
                    comebacks_per_100_years=tuple(known["comebacks_per_100_years"]) if "comebacks_per_100_years" in known else None,
                    cost_per_good_year=money / good if good > 0.0 else None,
                )
            )
        out += sorted(rows, key=lambda row: math.inf if row.cost_per_good_year is None else row.cost_per_good_year)
    return out


def _percent(share: float) -> str:
    return ">99 %" if share >= 0.995 else f"{100 * share:.0f} %" if share >= 0.01 else "below 1 %"


def remedies_json(job: Job, answer: Assessment, shop: _Shop | None) -> dict[str, Any]:
    """The remedies beside an assessment in JSON; without a log, that how long one holds is not known."""
    if shop is None:
        return {"remedies": [], "how_long_it_holds": "not known"}
    without = [asdict(row) for row in without_log(job, answer, shop)]
    for row in without:
        if row["prior"] is not None and math.isinf(row["prior"]["latest_years"]):
            row["prior"]["latest_years"] = "past 1000"
    return {"remedies": [asdict(row) for row in remedies_for(job, answer, shop)], "how_long_it_holds_not_known": without}


def _without_text(rows: list[NoLog]) -> list[str]:
    """Contacts without data; the prior under a name of its own."""
    lines = []
    for row in rows:
        kind = row.kind or "no kind on the sheet"
        lines += _wrapped(f"{row.contact} ({kind}): the log does not say; {NOT_KNOWN}")
        if row.prior is not None:
            lines += _wrapped(f"{LABEL}: {from_to(*span(row.prior))}, {row.prior.metal} to {_number(row.prior.limit_ohm)} ohm", "    ", "      ")
    if any(row.prior is not None for row in rows):
        lines += _wrapped(f"assumes {ASSUMES}", "    ", "      ")
    return lines


def remedies_text(job: Job, answer: Assessment, shop: _Shop | None) -> str:
    """The remedies as lines below an assessment; without a log, one line that how long one holds is not known."""
    if shop is None:
        return f"Remedies: {NOT_KNOWN} (--shop)\n" if _open(job, answer)[1] else ""
    rows = remedies_for(job, answer, shop)
    money = shop.get("currency", "")
    years = shop["horizon_years"]
    lines = ["", f"Remedies, by the shop's log ({shop['per_hour']:g} an hour; service counts to {years:.1f} years)"]
    without = without_log(job, answer, shop)
    if not rows and not without:
        return "\n".join([*lines, "  no contact is open"]) + "\n"
    last = ""
    for row in rows:
        if row.contact != last:
            beyond = ": its reading is beyond what the log has seen" if row.beyond else ""
            lines += _wrapped(f"{row.contact} ({row.kind}){beyond}")
            last = row.contact
        left = f", leaves about {_number(row.left_ohm)} ohm" if row.left_ohm is not None else ""
        order = f", back in order {_percent(row.in_order)}" if row.in_order is not None else ""
        holds = f"holds {row.good_years:.1f} years of {years:.1f}" if row.good_years is not None else NOT_KNOWN
        cost = f"; {row.cost_per_good_year:.3g} a good year" if row.cost_per_good_year is not None else ""
        lines += _wrapped(f"{row.remedy}: {row.money:.3g} {money} in {row.minutes:.0f} min{left}{order}; {holds}{cost}", "    ", "      ")
    lines += _without_text(without)
    metals = [str(part.get("metal", "")).lower() for part in tomllib.loads(job.text).get("part", {}).values()]
    if any(word in metal for metal in metals for word in ("plat", "flash", "gilt", "gold")):
        lines += _wrapped(f"! {PLATED_CAUTION}", "", "  ")
    if any(row.remedy in ("clean", "strip") for row in rows):
        lines += _wrapped(f"! {CLEANING_CAUTION}", "", "  ")
    return "\n".join(lines) + "\n"
