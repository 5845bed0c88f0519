"""The pages made from a comparison: the short answer, and the file that a later assessment reads."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING

from ._core import __version__
from .report import WIDTH, _number, _wrapped
from .shop_prior import ASSUMES, LABEL, SOURCE, from_to, span

if TYPE_CHECKING:
    from .shop_results import Band, Cell, Comparison, Decision

# the short answer stays below forty lines
MOST_LINES = 39
HEADS = ("kind", "remedy", "n", "left", "in order", "ceiling", "back/100y", "damage", "cost/y")


def _percent(share: float) -> str:
    if share >= 0.995:
        # no log shows that none ever misses
        return ">99 %"
    return f"{100 * share:.0f} %" if share >= 0.0995 else f"{100 * share:.1f} %"


def _plain(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


# contacts below which a share of damages is that of the weak cells rather than the log's
FEW_TOLD = 20


def _damage(cell: Cell) -> str:
    """Share of damages; counts where it would be made of little but what was supposed."""
    if cell.damage is None or cell.damaged is None:
        return "-"
    happened, told = cell.damaged
    return f"{happened}/{told}" if not happened or told < FEW_TOLD else _percent(cell.damage)


def _cells(cell: Cell, kind: str) -> tuple[str, ...]:
    left = f"{100 * cell.left_ratio[0]:.2g} %" if cell.left_ratio else "-"
    order = _percent(cell.in_order[0]) if cell.in_order else "-"
    ceiling = "-" if cell.ceiling is None else f"{100 * cell.ceiling:.1g} %" if cell.ceiling >= 1e-5 else "<0.001 %"
    back = "-"
    if cell.comebacks_per_100_years:
        value, low, high = cell.comebacks_per_100_years
        back = f"{_plain(value)} ({_plain(low)}-{_plain(high)})"
    damage = _damage(cell)
    cost = _plain(cell.cost_per_good_year[0]) if cell.cost_per_good_year else "-"
    return (kind, cell.remedy, f"{cell.contacts:,}", left, order, ceiling, back, damage, cost)


def _aligned(rows: list[tuple[str, ...]]) -> list[str]:
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    gap = 2 if sum(widths) + 2 * (len(widths) - 1) <= WIDTH else 1
    return [(" " * gap).join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


# beyond this many rows the short answer has one line per kind
SHORT_ROWS = 6


def _compact(comparison: Comparison, kinds: list[str]) -> list[str]:
    """One line per kind; the remedies stand side by side."""
    remedies = sorted({cell.remedy for cell in comparison.cells}, key=["clean", "strip", "replace"].index)
    made = {(cell.kind, cell.remedy): _cells(cell, "") for cell in comparison.cells}
    heads = ("kind", "n", "left %", "in order %", "back/100y", "damage %", "cost/y")
    rows: list[tuple[str, ...]] = [heads]
    for kind in kinds:
        cells = [made.get((kind, remedy), ("-",) * len(HEADS)) for remedy in remedies]
        columns = [[cell[k].replace(" %", "").split(" (")[0] for cell in cells] for k in (2, 3, 4, 6, 7, 8)]
        rows.append((kind, *("/".join(column) for column in columns)))
    lines = _aligned(rows)
    if max(len(line) for line in lines) > WIDTH:
        # damages are the rarest: --all has them
        lines = _aligned([(*row[:5], *row[6:]) for row in rows])
    return [f"{' / '.join(remedies)}:", *lines]


def _table(comparison: Comparison, kinds: list[str]) -> list[str]:
    rows: list[tuple[str, ...]] = [HEADS]
    last = ""
    for cell in comparison.cells:
        if cell.kind in kinds:
            rows.append(_cells(cell, "" if cell.kind == last else cell.kind))
            last = cell.kind
    return _aligned(rows) if len(rows) > 1 else []


def _from_to(band: Band) -> str:
    high = "any" if math.isinf(band[2]) else f"{band[2]:.2f}"
    return f"{band[0]:.2f} times ({band[1]:.2f}-{high})"


def _threshold(decision: Decision | None, others: list[Decision]) -> str:
    """Above which reading, with its band; a remedy that a dearer one overtakes first never has its turn."""
    if decision is None:
        return "not known"
    at, low, high = decision.above_ohm
    if math.isfinite(at) and any(other.above_ohm[0] <= at for other in others):
        return f"never: {others[0].remedy} pays first"
    if at == 0.0:
        return "any" if high == 0.0 else "any, not sure" if math.isinf(high) else f"any (0 to {_number(high)})"
    if math.isinf(at):
        return "never" if math.isinf(low) else "never, not sure" if low == 0.0 else f"never ({_number(low)} to never)"
    return f"{_number(at)} ({_number(low)} to {'never' if math.isinf(high) else _number(high)})"


def _decisions(comparison: Comparison, kinds: list[str]) -> list[str]:
    made = {(d.kind, d.remedy): d for d in comparison.decisions}
    rows: list[tuple[str, ...]] = [("kind", "strip above, ohm", "replace above, ohm")]
    for kind in kinds:
        strip, new = made.get((kind, "strip")), made.get((kind, "replace"))
        if strip or new:
            rows.append((kind, _threshold(strip, [new] if new else []), _threshold(new, [])))
    return [f"  {line}" for line in _aligned(rows)] if len(rows) > 1 else []


def _priors(comparison: Comparison, everything: bool) -> list[str]:
    """What the growth of films says of kinds without data, under a name of its own."""
    if not comparison.priors:
        return []
    lines = [*_wrapped(f"How long it holds: {LABEL}", "", "  ")]
    for metal in dict.fromkeys(prior.metal for prior in comparison.priors):
        own = [prior for prior in comparison.priors if prior.metal == metal]
        if everything:
            lines += [line for prior in own for line in _wrapped(f"{prior.kind}, {metal}, {_number(prior.limit_ohm)} ohm: {from_to(*span(prior))}")]
            continue
        least, most = min(p.limit_ohm for p in own), max(p.limit_ohm for p in own)
        limit = _number(least) if least == most else f"{_number(least)} to {_number(most)}"
        names = own[0].kind if len(own) == 1 else f"{len(own)} kinds"
        spans = [span(prior) for prior in own]
        lines += _wrapped(f"{metal}, {names}, {limit} ohm: {from_to(min(s[0] for s in spans), max(s[1] for s in spans))}")
    lines += _wrapped(f"until its film alone reaches the limit; assumes {ASSUMES}")
    if everything:
        lines += [line for metal in dict.fromkeys(p.metal for p in comparison.priors) for line in _wrapped(f"{metal}: {SOURCE[metal]}")]
    else:
        lines += _wrapped("growth after ISA-71.04 [seen] and Kusano et al. 2014 [seen]; resistivities [seen, memory]: --all")
    return ["", *lines]


def _heard(comparison: Comparison, everything: bool) -> list[str]:
    """What of the afters would be heard, remedy by remedy or with every kind."""
    shares_of = "% of afters excluded/not settled/able if it chatters"
    told = f"heard in a place typical for the kind at {comparison.level_db:.0f} dB SPL, {shares_of}"
    cells = [cell for cell in comparison.cells if cell.heard is not None]
    if not cells:
        return []

    def shares(rows: list[Cell]) -> str:
        count = sum(cell.afters for cell in rows)
        parts = [sum(cell.afters * cell.heard[k] for cell in rows if cell.heard) / count for k in range(3)]
        return "/".join(f"{100 * part:.0f}" for part in parts)

    remedies = list(dict.fromkeys(cell.remedy for cell in cells))
    every = ", ".join(f"{remedy} {shares([cell for cell in cells if cell.remedy == remedy])}" for remedy in remedies)
    lines = _wrapped(f"{told}: {every}", "", "  ")
    if everything:
        lines += [f"  {cell.kind}, {cell.remedy}: {shares([cell])}" for cell in cells]
    return lines


def _warranty(comparison: Comparison) -> list[str]:
    told = []
    for row in comparison.warranties:
        months = round(12 * row.years)
        more = " or more" if row.years > 0.0 and row.years + 1 / 12 > row.carried_years else ""
        told.append(f"{row.remedy} {months} months{more}" if months else f"{row.remedy} none yet")
    return _wrapped("warranty on what each is used for now, nine in ten hold (lower band): " + ", ".join(told)) if told else []


def _questions(comparison: Comparison, most: int) -> list[str]:
    if not comparison.questions:
        return []
    rows = comparison.questions[:most]
    told = [f"{q.kind}, {q.remedy} or {q.against}: {q.rows_more:,}" for q in rows]
    more = f"; {len(comparison.questions) - most} more" if len(comparison.questions) > most else ""
    return _wrapped(f"holds longer? not answerable yet; rows of each still needed: {'; '.join(told)}{more}")


def _page(comparison: Comparison, kinds: int, warnings: int, questions: int, everything: bool) -> list[str]:
    c = comparison
    counts: dict[str, int] = {}
    for cell in c.cells:
        counts[cell.kind] = counts.get(cell.kind, 0) + cell.contacts
    shown = sorted(counts, key=lambda kind: -counts[kind])[:kinds]
    lines = _wrapped(f"{c.summary}; {c.over:,} over limit, {c.below:,} below range", "", "  ")
    if not c.faults:
        lines.append(f"{c.jobs:,} amplifiers")
    else:
        first = c.faults[0]
        more = "" if everything else f", the first in row {first.row}, {first.column} (--all names each)"
        lines.append(f"{c.jobs:,} amplifiers; {len(c.faults):,} faults{more}")
        if everything:
            lines += [line for fault in c.faults for line in _wrapped(str(fault))]
    short = not everything and len(c.cells) > SHORT_ROWS
    lines += ["", *(_compact(c, shown) if short else _table(c, shown))]
    hidden = len(counts) - len(shown)
    if hidden > 0:
        lines.append(f"({hidden} kinds more with --all)")
    key = "left: after/before against leaving alone" if c.reread_ratio else "left: after over before"
    ceiling = "" if short else "; ceiling: nine in ten stay below, in a place typical for the kind"
    lines += _wrapped(f"{key}{ceiling}; back/100y: per 100 contact-years", "", "  ")
    lines += _heard(c, everything)
    lines.append("")
    if c.reread_ratio:
        fall = [100.0 * (1.0 - x) for x in c.reread_ratio]
        lines += _wrapped(
            f"{c.rereadings} untouched re-readings fell by {fall[0]:.0f} % ({fall[2]:.0f} to {fall[1]:.0f}): no effect, taken off above",
            "",
            "  ",
        )
    for ratio in c.ratios:
        plain = f"; plain table: {ratio.plain:.2f}" if ratio.plain is not None else ""
        lines += _wrapped(f"{ratio.remedy} comes back {_from_to(ratio.adjusted)} as often as {ratio.over}{plain}", "", "  ")
    for warning in c.warnings[:warnings]:
        lines += _wrapped(f"! {warning}", "", "  ")
    assumed = _wrapped("Assumes: " + "; ".join(c.assumes), "", "  ")
    for caution in c.cautions:
        assumed += _wrapped(f"! {caution}", "", "  ")
    decided = _decisions(c, list(counts)) + _warranty(c) + _questions(c, questions)
    if not decided:
        decided = ["  none: the log does not say yet how long a remedy holds"]
    return [*lines, *assumed, *_priors(c, everything), "", "Decisions, by cost per good year, bands 95 %", *decided]


def page(comparison: Comparison, *, everything: bool = False) -> str:
    """The answer as text of at most 80 columns; under 40 lines unless ``everything`` is asked for."""
    if everything:
        return "\n".join(_page(comparison, 99, 99, 99, True)) + "\n"
    most = {"kinds": 11, "warnings": 3, "questions": 3}
    least = {"kinds": 1, "warnings": 1, "questions": 1}
    while True:
        lines = _page(comparison, **most, everything=False)
        larger = [name for name in most if most[name] > least[name]]
        if len(lines) <= MOST_LINES or not larger:
            return "\n".join(lines) + "\n"
        name = max(larger, key=lambda n: most[n] / least[n] if n != "kinds" else 0.9 + 0.1 * most[n])
        most[name] -= 1


def toml(comparison: Comparison) -> str:
    """What the shop has learnt, as TOML: per kind and remedy money, minutes, what is left and how long it holds."""
    c = comparison
    lines = [f"# what a bench log taught: {c.summary}; weaklink {__version__}", "shop = 1"]
    lines += [f"per_hour = {c.per_hour!r}", f"horizon_years = {c.horizon_years!r}"]
    if c.currency:
        lines.append(f"currency = {json.dumps(c.currency)}")
    for cell in c.cells:
        lines += ["", f"[{json.dumps(cell.kind)}.{json.dumps(cell.remedy)}]", f"contacts = {cell.contacts}"]
        bands = {
            "left_ratio": cell.left_ratio,
            "in_order": cell.in_order,
            "comebacks_per_100_years": cell.comebacks_per_100_years,
            "good_years": cell.good_years,
            "cost_per_good_year": cell.cost_per_good_year,
        }
        singles = {"minutes": cell.minutes, "part_cost": cell.part_cost, "damage": cell.damage}
        lines += [f"{name} = [{', '.join(f'{x:.6g}' for x in band)}]" for name, band in bands.items() if band]
        lines += [f"{name} = {value:.6g}" for name, value in singles.items() if value is not None]
        for curve in c.curves:
            if (curve.kind, curve.remedy) == (cell.kind, cell.remedy):
                points = {"before_ohm": curve.before_ohm, "in_order_at": curve.in_order, "good_years_at": curve.good_years}
                lines += [f"{name} = [{', '.join(f'{x:.6g}' for x in row)}]" for name, row in points.items()]
        for decision in c.decisions:
            if (decision.kind, decision.remedy) == (cell.kind, cell.remedy):
                lines.append(f"above_ohm = {decision.above_ohm[0]:.6g}")
    return "\n".join(lines) + "\n"
