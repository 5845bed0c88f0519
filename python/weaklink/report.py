"""The pages made from an assessment: plain text for the bench, a table for the notebook."""

from __future__ import annotations

import textwrap
from html import escape
from typing import TYPE_CHECKING

from ._core import TYPICAL_VERSION, _dry_box_v, _engineering, _typical_values

if TYPE_CHECKING:
    from collections.abc import Iterable

    from .results import Assessment, Finding, Limit, Limits

WIDTH = 80
# a space at which no line is broken
HOLDS = "\N{NO-BREAK SPACE}"

SHORT = {
    "proved": "proved",
    "able to account for it": "able",
    "cannot be the sole cause": "cannot",
    "cannot unless it jumps": "if jumps",
    "cleared": "cleared",
    "in order": "in order",
    "not settled": "open",
}

OTHER_FAULT = "another fault"

# the short answer stays below this many lines; the rest is for --all
MOST_LINES = 44


def _wrapped(text: str, lead: str = "  ", then: str = "    ") -> list[str]:
    lines = textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=then, break_on_hyphens=False)
    return [line.replace(HOLDS, " ") for line in lines]


def _number(ohm: float) -> str:
    """Ohms without their unit: 9.92, 0.058, 1.47k, 240u."""
    for scale, prefix in ((1e9, "G"), (1e6, "M"), (1e3, "k")):
        if ohm >= 0.9995 * scale:
            return f"{ohm / scale:.3g}{prefix}"
    if 0 < ohm < 0.0995:
        return f"{ohm * 1e6:.3g}u" if ohm < 0.000995 else f"{ohm:.2g}"
    return f"{ohm:.3f}".rstrip("0").rstrip(".") if ohm < 1 else f"{ohm:.3g}"


def _ohms(finding: Finding) -> str:
    """The range of a reading: 9.92-15.3, <15.3, >0.057 where it is one-sided, - without one."""
    low, high = finding.resistance_ohm
    if low is None:
        return "-"
    if high is None:
        return f">{_number(low)}" if low else "not dry"
    return f"{_number(low)}-{_number(high)}" if low else f"<{_number(high)}"


def _worst(pair: tuple[Finding, Finding]) -> str:
    ceilings = [f.ceiling for f in pair if f.ceiling is not None]
    return f"{100 * max(ceilings):.2g} %" if ceilings else "-"


def _percent(p: float) -> str:
    return "<1 %" if p < 0.005 else ">99 %" if p > 0.995 else f"{100 * p:.0f} %"


def _short(finding: Finding) -> str:
    word = SHORT[finding.kind]
    if finding.probability is None or finding.probability < 0.005 or finding.kind == "proved":
        return word
    return f"{word} {_percent(finding.probability)}".replace(" %", "%")


def _verdict(pair: tuple[Finding, Finding]) -> str:
    left, right = (_short(f) for f in pair)
    return left if left == right else f"{left} / {right}"


def _pairs(assessment: Assessment) -> list[tuple[Finding, Finding]]:
    found = assessment.findings
    return list(zip(found[0::2], found[1::2], strict=True))


def _cells(pair: tuple[Finding, Finding]) -> tuple[str, ...]:
    limit = pair[0].in_order_up_to_ohm
    usual = _number(limit) if limit is not None else "-"
    return (pair[0].contact, _ohms(pair[0]), _ohms(pair[1]), usual, _worst(pair), _verdict(pair))


HEADS = ("contact", "left, ohm", "right, ohm", "usual to", "worst", "left / right")


def _aligned(rows: list[tuple[str, ...]]) -> list[str]:
    """Columns as wide as they need; the first one wraps where the page is too narrow."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    gaps = len(widths) - 1
    gap = 2 if sum(widths) + 2 * gaps <= WIDTH else 1
    name = max(12, min(widths[0], WIDTH - sum(widths[1:]) - gap * gaps))
    lines = []
    for row in rows:
        first, *more = textwrap.wrap(row[0], name, subsequent_indent="  ")
        cells = [first.ljust(name)]
        cells += [cell.ljust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        lines.append((" " * gap).join(cells).rstrip())
        lines += more
    return lines


def _table(pairs: Iterable[tuple[Finding, Finding]]) -> list[str]:
    return _aligned([HEADS, *(_cells(pair) for pair in pairs)])


LIMIT_HEADS = ("contact", "sees", "residue", "each", "loss", "usual", "dry box", "playing", "meter")


def _short_ohms(ohm: float) -> str:
    """As a number, or in milliohms: 14.6, 2.3m."""
    return f"{1e3 * ohm:.2g}m" if 0.000995 <= ohm < 0.0995 else _number(ohm)


def _limit_cells(row: Limit) -> tuple[str, ...]:
    def ohm(value: float | None) -> str:
        return "-" if value is None else _number(value)

    def volt(value: float | None) -> str:
        return "-" if value is None else _engineering(value, "V").replace(" ", "")

    at_least = ">" if row.role == "shunt" else ""
    residue = "-" if row.residue_ohm is None else at_least + ohm(row.residue_ohm) + ("*" if row.as_movement else "")
    loss = "-" if row.loss_ohm is None else at_least + ohm(row.loss_ohm)
    if row.crosstalk_ohm is not None and (row.loss_ohm is None or row.crosstalk_ohm < row.loss_ohm):
        loss = ohm(row.crosstalk_ohm) + "x"
    # one ampere is for ohms that a dry box no longer tells apart
    dry = volt(row.dry_box_v)
    if row.dry_box_v is None and row.one_ampere_v is not None:
        dry = volt(row.one_ampere_v) + "'"
    each = "-" if row.together_ohm is None else at_least + _short_ohms(row.together_ohm)
    usual, meter = ohm(row.in_order_up_to_ohm), ohm(row.hand_meter_ohm)
    return (row.contact, ohm(row.loop_ohm), residue, each, loss, usual, dry, volt(row.playing_v), meter)


def limits_text(limits: Limits) -> str:
    """One row per contact, of at most 80 columns."""
    rows = [LIMIT_HEADS, *(_limit_cells(row) for row in limits.rows)]
    residue, loss = _engineering(limits.residue, "%"), _engineering(limits.loss_db, "dB")
    marks = ""
    if any(row.as_movement for row in limits.rows):
        marks += " * movement: the value may be more."
    if any(row.crosstalk_ohm is not None for row in limits.rows):
        marks += f" x {limits.crosstalk_db:g} dB crosstalk."
    if any(row.role == "shunt" for row in limits.rows):
        marks += " > across the signal: at least."
    lines = [*([limits.title, ""] if limits.title else []), *_aligned(rows), ""]
    if limits.inaudible_up_to_db is not None:
        # half of young listeners hear better than the median of the standards
        residue += f", which is below the median threshold of hearing even in silence, up to {limits.inaudible_up_to_db:.0f} dB SPL"
    each = ', each below "each" not even all at once' if any(row.together_ohm for row in limits.rows) else ""
    told = f'Ohms. Below "residue" no contact leaves {residue}{each}. "loss" is {loss} at 1 kHz.{marks}'
    lines += _wrapped(told, "", "  ")
    meter = limits.hand_meter.replace(" ", HOLDS)
    by_ampere = [row for row in limits.rows if row.dry_box_v is None and row.one_ampere_v is not None]
    ampere = " (' 1 A, * moving)" if any(row.as_movement for row in by_ampere) else " (' 1 A)" if by_ampere else ""
    told = f'Below "dry box"{ampere} it is surely below residue and loss, if it does not jump; from "meter" ({meter})'
    told += " on above, less there proves nothing."
    lines += _wrapped(told, "", "  ")
    if any(row.playing_v is not None for row in limits.rows):
        level = _engineering(limits.playing_output_v, "V").replace(" ", HOLDS)
        told = f'Less than "playing" across it (true rms, 1 kHz at {level} out): cleared.'
        lines += _wrapped(told, "", "  ")
    shown = [_engineering(_dry_box_v(ohm), "V").replace(" ", HOLDS) for ohm in (float("inf"), 1e3)]
    told = "Dry box: 1.5 V cell, 75 kohm, then 1 kohm across the contact. "
    lines += _wrapped(f"{told}Check: open {shown[0]}, 1 kohm {shown[1]}, shorted 0.", "", "  ")
    factors = [used.moves_by for used in limits.typical if used.moves_by is not None]
    if factors:
        count = len(limits.typical)
        told = f"Half or twice of a typical value (of {count}) moves a limit up to {max(factors):.2g} times."
        lines += _wrapped(told, "", "  ")
    lines += _wrapped("! Set unplugged and discharged, cartridge unplugged, before any probe goes in.", "", "  ")
    if any(row.role in ("feedback", "supply", "bias") for row in limits.rows):
        lines += _wrapped("! Never bridge or open a feedback, supply or bias contact with the set on.", "", "  ")
    return "\n".join(lines) + "\n"


def _headlines(assessment: Assessment) -> list[str]:
    lines = [assessment.title, ""] if assessment.title else []
    told = [(line.says, line.because) for line in assessment.headlines]
    alike = len(told) == 2 and told[0] == told[1]
    for line in assessment.headlines[:1] if alike else assessment.headlines:
        lead = f"{'BOTH' if alike else line.channel.upper():<6} "
        lines += textwrap.wrap(line.says, WIDTH, initial_indent=lead, subsequent_indent=" " * 7)
        lines += textwrap.wrap(line.because, WIDTH, initial_indent=" " * 7, subsequent_indent=" " * 7)
    for clash in assessment.clashes:
        lines += _wrapped(f"contradiction: {clash}")
    return lines


def _details(assessment: Assessment) -> list[str]:
    lines = []
    for finding in assessment.findings:
        lines += _wrapped(f"{finding.contact}, {finding.channel}: {finding.kind}, decided by {finding.decided_by}")
        for reason in finding.reasons:
            lines += _wrapped(reason, "    ", "      ")
        by_law = ", ".join(f"{law} {_engineering(worst, '%')}" for law, worst in finding.by_hypothesis)
        if by_law:
            lines += _wrapped(f"most residue by hypothesis: {by_law}", "    ", "      ")
        ways = ", ".join(f"{law} {_percent(p)}" for law, p in finding.probability_by_hypothesis if p >= 0.005)
        if finding.probability is not None and ways:
            error = 100 * (finding.probability_se or 0.0)
            lines += _wrapped(f"probability {_percent(finding.probability)} +-{error:.1f} %: {ways}", "    ", "      ")
        if finding.in_order_source:
            lines += _wrapped(f"usual for its kind after {finding.in_order_source}", "    ", "      ")
    return lines


def _steps(assessment: Assessment, most: int) -> list[str]:
    lines = []
    # the same test on both channels is one line
    channels: dict[tuple[str, float, bool, str], list[str]] = {}
    for step in assessment.next_steps:
        channels.setdefault((step.what, step.minutes, step.lid_on, step.reads_as), []).append(step.channel)
    for number, ((what, minutes, lid_on, reads_as), sides) in enumerate([*channels.items()][:most], 1):
        lid = "lid on" if lid_on else "lid off"
        told = f"{number}. {what}, {' and '.join(sides)} ({minutes:.0f} min, {lid}): {reads_as}"
        lines += _wrapped(told, "  ", "     ")
    return ["", "Next", *lines] if lines else []


def _ways(assessment: Assessment, who: str) -> str:
    """In what way it is likeliest at fault, where that has a name of its own and is the same on every channel: "; mostly under-biased"."""
    mostly = set()
    for channel in assessment.odds:
        shares = next((dict(one.by_hypothesis) for one in channel.odds if one.who == who), {})
        if sum(shares.values()) > 0.005:
            most = max(shares, key=lambda way: shares[way])
            mostly.add(most if 2.0 * shares[most] > sum(shares.values()) else OTHER_FAULT)
    return f"; mostly {mostly.pop()}" if len(mostly) == 1 and OTHER_FAULT not in mostly else ""


def _rivals(assessment: Assessment, most: int) -> list[str]:
    lines = []
    for rival in assessment.rivals[:most]:
        odds = {one.channel: one.of(rival.who) for one in assessment.odds}
        sides = [f"{side} {_percent(odds[side])}" if side in odds else side for side in rival.channels]
        ways = _ways(assessment, rival.who)
        lines += _wrapped(f"{rival.who} ({', '.join(sides)}{ways}): {rival.test}")
    return ["", "If it is no contact", *lines] if lines else []


def _typical(assessment: Assessment, everything: bool) -> list[str]:
    if everything:
        effect = {True: "half or twice changes a finding", False: "makes no difference", None: "not varied"}
        lines = []
        for used in assessment.typical:
            told = f"typical: {used.place} = {used.name} ({used.means}): {effect[used.changes_the_answer]}"
            lines += _wrapped(told, "", "  ")
        return lines
    if not assessment.typical:
        return []
    matters = [f"{t.name} ({t.means})" for t in assessment.typical if t.changes_the_answer]
    count = len(assessment.typical)
    told = "1 typical value taken" if count == 1 else f"{count} typical values taken"
    told += "; half or twice "
    told += f"of these changes a finding: {', '.join(matters)}" if matters else "of each changes no finding"
    return _wrapped(told, "", "  ")


def _page(assessment: Assessment, why: int, rows: int, steps: int, rivals: int, everything: bool) -> list[str]:
    lines = _headlines(assessment)
    reasons = [line for reason in assessment.why[:why] for line in _wrapped(reason)]
    lines += ["", "Why", *reasons] if reasons else []
    pairs = _pairs(assessment)
    order = ["proved", "able", "open", "if jumps", "cannot", "in order", "cleared"]
    telling = sorted(pairs, key=lambda pair: min(order.index(SHORT[f.kind]) for f in pair))
    kept = {id(pair) for pair in telling[:rows]}
    lines += ["", *_table(pair for pair in pairs if id(pair) in kept)]
    if everything:
        lines += _details(assessment)
    lines += _steps(assessment, steps) + _rivals(assessment, rivals) + [""]
    lines += _typical(assessment, everything)
    lines += _wrapped("Assumes: " + "; ".join(assessment.assumes), "", "  ")
    for caution in assessment.cautions:
        lines += _wrapped(f"! {caution}", "", "  ")
    if not everything:
        more = f"; {len(pairs) - rows} contacts more" if len(pairs) > rows else ""
        lines.append(f"(--all: every reason and number{more})")
    return lines


def text(assessment: Assessment, *, everything: bool = False, below: int = 0) -> str:
    """The answer as text of at most 80 columns; short unless ``everything`` is asked for, shorter by the lines that come ``below``."""
    if everything:
        return "\n".join(_page(assessment, 99, 999, 99, 99, True)) + "\n"
    most = {"why": 5, "rows": 12, "steps": 4, "rivals": 3}
    least = {"why": 2, "rows": 4, "steps": 2, "rivals": 1}
    while True:
        lines = _page(assessment, **most, everything=False)
        larger = [name for name in most if most[name] > least[name]]
        if len(lines) <= MOST_LINES - below or not larger:
            return "\n".join(lines) + "\n"
        # shorten what is longest beyond its least, reasons first
        name = max(larger, key=lambda n: most[n] / least[n])
        most[name] -= 1


def typicals_text() -> str:
    """Every typical value with its source and tag."""
    lines = [f"Typical values, version {TYPICAL_VERSION}"]
    group = ""
    for kind, name, value, source in _typical_values():
        if kind != group:
            lines += ["", kind]
            group = kind
        lines += _wrapped(f"{name}: {value} ({source})")
    return "\n".join(lines) + "\n"


def html(assessment: Assessment) -> str:
    """The headlines and the table of contacts, for a notebook."""
    parts = [f"<p><b>{escape(assessment.title)}</b></p><ul>"]
    for line in assessment.headlines:
        parts.append(f"<li><b>{line.channel}</b>: {escape(line.says)} <i>({escape(line.because)})</i></li>")
    heads = "".join(f"<th>{head}</th>" for head in HEADS)
    parts.append(f"</ul><table><thead><tr>{heads}</tr></thead><tbody>")
    for pair in _pairs(assessment):
        parts.append("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in _cells(pair)) + "</tr>")
    parts.append("</tbody></table>")
    for caution in assessment.cautions:
        parts.append(f"<p>&#9888; {escape(caution)}</p>")
    return "".join(parts)
