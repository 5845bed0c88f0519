"""The pages made from an assessment: plain text for the bench, a table for the notebook."""

from __future__ import annotations

import textwrap
from html import escape
from typing import TYPE_CHECKING

from ._core import _engineering

if TYPE_CHECKING:
    from collections.abc import Iterable

    from .results import Assessment, Finding

WIDTH = 80

SHORT = {
    "proved": "proved",
    "able to account for it": "able",
    "cannot be the sole cause": "cannot",
    "cleared": "cleared",
    "in order": "in order",
    "not settled": "open",
}

# how many lines of each kind the short answer prints; the rest is for --all
MOST_WHY, MOST_ROWS, MOST_STEPS, MOST_RIVALS = 4, 10, 4, 3


def _wrapped(text: str, lead: str = "  ", then: str = "    ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=then, break_on_hyphens=False)


def _ohms(finding: Finding) -> str:
    low, high = finding.resistance_ohm
    if low is None:
        return "-"
    if high is None:
        return f"from {_engineering(low, 'ohm')}" if low else "any"
    bottom, top = _engineering(low, "ohm"), _engineering(high, "ohm")
    if low == 0.0:
        return f"to {top}"
    number, unit = bottom.split(" ")
    return f"{number}-{top}" if top.endswith(f" {unit}") else f"{bottom}-{top}"


def _worst(pair: tuple[Finding, Finding]) -> str:
    ceilings = [f.ceiling for f in pair if f.ceiling is not None]
    return _engineering(max(ceilings), "%") if ceilings else "-"


def _verdict(pair: tuple[Finding, Finding]) -> str:
    left, right = (SHORT[f.kind] for f in pair)
    return left if left == right else f"L {left}, R {right}"


def _pairs(assessment: Assessment) -> list[tuple[Finding, Finding]]:
    found = assessment.findings
    return list(zip(found[0::2], found[1::2], strict=True))


def _table(pairs: Iterable[tuple[Finding, Finding]]) -> list[str]:
    rows = [("contact", "left", "right", "usual to", "at worst", "finding")]
    for pair in pairs:
        limit = pair[0].in_order_up_to_ohm
        usual = _engineering(limit, "ohm") if limit is not None else "-"
        rows.append((pair[0].contact, _ohms(pair[0]), _ohms(pair[1]), usual, _worst(pair), _verdict(pair)))
    widths = [max(len(row[k]) for row in rows) for k in range(6)]
    spare = WIDTH - sum(widths) - 2 * 5
    lines = []
    for row in rows:
        name = row[0]
        cells = [name.ljust(widths[0])] + [cell.ljust(width) for cell, width in zip(row[1:], widths[1:], strict=True)]
        if spare < 0:
            # too wide for the page: the finding goes below, indented
            lines.append("  ".join(cells[:-1]).rstrip())
            lines.append(f"    {row[-1]}")
        else:
            lines.append("  ".join(cells).rstrip())
    return lines


def text(assessment: Assessment, *, everything: bool = False) -> str:
    """The answer as text of at most 80 columns; under 40 lines unless ``everything`` is asked for."""
    lines = [assessment.title, ""]
    for line in assessment.headlines:
        lead = f"{line.channel.upper():<6} "
        lines += textwrap.wrap(line.says, WIDTH, initial_indent=lead, subsequent_indent=" " * 7)
        lines += textwrap.wrap(line.because, WIDTH, initial_indent=" " * 7, subsequent_indent=" " * 7)
    for clash in assessment.clashes:
        lines += _wrapped(f"contradiction: {clash}")

    def cut(items: tuple[str, ...] | list[str], most: int) -> list[str]:
        return list(items) if everything or len(items) <= most else list(items[:most])

    hidden = []
    if assessment.why:
        lines += ["", "Why"]
        for reason in cut(assessment.why, MOST_WHY):
            lines += _wrapped(reason)
    pairs = _pairs(assessment)
    shown = pairs
    if not everything and len(pairs) > MOST_ROWS:
        order = list(SHORT)
        telling = sorted(pairs, key=lambda p: min(order.index(f.kind) if f.kind != "not settled" else 1 for f in p))
        kept = {id(p) for p in telling[:MOST_ROWS]}
        shown = [p for p in pairs if id(p) in kept]
        hidden.append(f"{len(pairs) - MOST_ROWS} more contacts")
    lines += ["", *_table(shown)]
    if everything:
        for finding in assessment.findings:
            lines += _wrapped(f"{finding.contact}, {finding.channel}: {finding.kind}, decided by {finding.decided_by}")
            for reason in finding.reasons:
                lines += _wrapped(reason, "    ", "      ")
            by_law = ", ".join(f"{law} {_engineering(worst, '%')}" for law, worst in finding.by_hypothesis)
            if by_law:
                lines += _wrapped(f"most residue by hypothesis: {by_law}", "    ", "      ")
            if finding.in_order_source:
                lines += _wrapped(f"usual for its kind after {finding.in_order_source}", "    ", "      ")
    steps = assessment.next_steps if everything else assessment.next_steps[:MOST_STEPS]
    if steps:
        lines += ["", "Next"]
        for number, step in enumerate(steps, 1):
            lid = "lid on" if step.lid_on else "lid off"
            told = f"{number}. {step.what}, {step.channel} ({step.minutes:.0f} min, {lid}): {step.reads_as}"
            lines += _wrapped(told, "  ", "     ")
    rivals = assessment.rivals if everything else assessment.rivals[:MOST_RIVALS]
    if rivals:
        lines += ["", "If it is no contact"]
        for rival in rivals:
            lines += _wrapped(f"{rival.who} ({', '.join(rival.channels)}): {rival.test}")
    matters = [t for t in assessment.typical if t.changes_the_answer]
    rest = [t for t in assessment.typical if not t.changes_the_answer]
    lines += [""]
    if everything:
        for used in assessment.typical:
            effect = {True: "half or twice changes a finding", False: "makes no difference", None: "not varied"}
            lines += _wrapped(f"typical: {used.place} = {used.name} ({used.means}): {effect[used.changes_the_answer]}", "")
    elif assessment.typical:
        told = "Typical values taken: "
        told += "; ".join(f"{t.name} ({t.means}) CHANGES a finding at half or twice" for t in matters)
        if rest:
            told += ("; " if matters else "") + f"{len(rest)} others make no difference" * bool(matters)
            told += f"{len(rest)}, none changes a finding at half or twice" * (not matters)
        lines += _wrapped(told, "", "  ")
    lines += _wrapped("Assumes: " + "; ".join(assessment.assumes), "", "  ")
    for caution in assessment.cautions if everything else assessment.cautions[:3]:
        lines += _wrapped(f"! {caution}", "", "  ")
    if not everything:
        lines.append("(--all: every reason and number)" + (f"; {', '.join(hidden)}" if hidden else ""))
    return "\n".join(lines) + "\n"


def html(assessment: Assessment) -> str:
    """The headlines and the table of contacts, for a notebook."""
    parts = [f"<p><b>{escape(assessment.title)}</b></p><ul>"]
    for line in assessment.headlines:
        parts.append(f"<li><b>{line.channel}</b>: {escape(line.says)} <i>({escape(line.because)})</i></li>")
    heads = "".join(f"<th>{h}</th>" for h in ("contact", "left", "right", "usual to", "at worst", "finding"))
    parts.append(f"</ul><table><thead><tr>{heads}</tr></thead><tbody>")
    for pair in _pairs(assessment):
        limit = pair[0].in_order_up_to_ohm
        usual = _engineering(limit, "ohm") if limit is not None else "-"
        cells = (pair[0].contact, _ohms(pair[0]), _ohms(pair[1]), usual, _worst(pair), _verdict(pair))
        parts.append("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>")
    parts.append("</tbody></table>")
    for caution in assessment.cautions:
        parts.append(f"<p>&#9888; {escape(caution)}</p>")
    return "".join(parts)
