"""The page of one job: half a page for the customer, the bench record behind it; one HTML file that needs nothing else.

No script, no network; light and dark; prints on A4 and Letter. Every text of the sheet is escaped.
"""

from __future__ import annotations

import os
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from . import page_heard, page_svg
from .evidence import evidence as evidence_of
from .page_customer import Words, before_and_after, customer
from .report import _cells, _number, _pairs
from .results import assess

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from ._core import Job
    from .evidence import Evidence, Heard
    from .results import Assessment, Finding

__all__ = ["page", "write"]


def _table(caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]], *, numbers: Sequence[int] = ()) -> str:
    """A table that scrolls by itself where the screen is narrow; the first cell of a row names it."""
    top = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    body = []
    for row in rows:
        first, *more = row
        cells = "".join(
            f'<td class="n">{escape(cell)}</td>' if k + 1 in numbers else f"<td>{escape(cell)}</td>" for k, cell in enumerate(more)
        )
        body.append(f'<tr><th scope="row">{escape(first)}</th>{cells}</tr>')
    inside = f"<table><caption>{escape(caption)}</caption><thead><tr>{top}</tr></thead><tbody>{''.join(body)}</tbody></table>"
    return f'<div class="wide" tabindex="0" role="region" aria-label="{escape(caption)}">{inside}</div>'


def _list(lines: Iterable[str]) -> str:
    return "<ul>" + "".join(f"<li>{escape(line)}</li>" for line in lines) + "</ul>"


def _chance(finding: Finding) -> str:
    """A probability with its Monte Carlo error; at the ends only which end, for nobody is as sure as the draws."""
    value, error = finding.probability, finding.probability_se
    if value is None:
        return "-"
    if not 0.01 <= value <= 0.99:
        return "<1 %" if value < 0.5 else ">99 %"
    return f"{100 * value:.0f} %" + (f" +- {100 * error:.2g} %" if error is not None else "")


def _findings(assessment: Assessment) -> str:
    chances = any(f.probability is not None for f in assessment.findings)
    heads = ["contact", "left, ohm", "right, ohm", "usual to, ohm", "most residue", "left", "right"]
    if chances:
        heads += ["chance left", "chance right"]
    rows = []
    for pair in _pairs(assessment):
        name, left, right, usual, worst, _ = _cells(pair)
        row = [name, left, right, usual, worst, pair[0].kind, pair[1].kind]
        rows.append(row + [_chance(finding) for finding in pair] if chances else row)
    return _table("Findings, one row per contact", heads, rows, numbers=(1, 2, 3, 4))


def _reasons(assessment: Assessment) -> str:
    out = []
    for finding in assessment.findings:
        lines = [*finding.reasons, f"decided by {finding.decided_by}"]
        by_law = ", ".join(f"{law} {100 * worst:.3g} %" for law, worst in finding.by_hypothesis)
        if by_law:
            lines.append(f"most residue by hypothesis: {by_law}")
        if finding.impossible_below_ohm is not None:
            lines.append(f"cannot do what is heard below {_number(finding.impossible_below_ohm)} ohm")
        if finding.in_order_source:
            lines.append(f"usual for its kind after {finding.in_order_source}")
        told = "".join(f"<dd>{escape(line)}</dd>" for line in lines)
        out.append(f"<dt>{escape(finding.contact)}, {finding.channel}: {escape(finding.kind)}</dt>{told}")
    return f"<dl>{''.join(out)}</dl>"


def _volts(ends: tuple[float, float] | None) -> str:
    if ends is None:
        return "-"
    return f"{ends[0]:.3g} V" if ends[0] == ends[1] else f"{ends[0]:.3g} to {ends[1]:.3g} V"


def _beside(parallel_ohm: tuple[float, float | None] | None) -> str:
    if parallel_ohm is None:
        return ""
    return "in circuit" if parallel_ohm[1] is None else f"{_number(parallel_ohm[0])} ohm in parallel"


def _observed(evidence: Evidence) -> str:
    def heard_row(h: Heard) -> list[str]:
        measured = []
        if h.residue:
            measured.append(f"residue {100 * h.residue[0]:.3g} to {100 * h.residue[1]:.3g} %")
        if h.loss_db:
            measured.append(f"{h.loss_db[0]:.3g} to {h.loss_db[1]:.3g} dB quieter")
        marks = [*(f"goes away: {g}" for g in h.goes_away), *(f"comes back: {c}" for c in h.comes_back)]
        gone = ", ".join([*marks, *([f"in pauses: {h.in_pauses}"] if h.in_pauses else [])])
        levels = [f"{h.output_v:.3g} V" if h.output_v is not None else "", f"{h.level_db:.0f} dB SPL" if h.level_db is not None else ""]
        level = ", ".join(part for part in levels if part) or "-"
        what = h.what if h.what == "clean" else f"{h.what} ({h.strength})"
        return [h.route, h.channel, what, level, "; ".join(measured) or "-", gone or "-"]

    parts = [_table("What was heard", ["route", "channel", "what", "level", "measured", "remarks"], map(heard_row, evidence.heard))]
    if evidence.bridged:
        rows = [[b.contact, b.channel, b.put, b.then] for b in evidence.bridged]
        parts.append(_table("What was bridged or replaced", ["contact", "channel", "with", "then"], rows))
    if evidence.checked:
        rows = [[c.at, c.channel, _volts(c.bias_v), _volts(c.direct_v), c.swapped or "-"] for c in evidence.checked]
        heads = ["at", "channel", "bias", "direct voltage", "left and right swapped"]
        parts.append(_table("What was found where there is no contact", heads, rows))
    if evidence.readings:
        rows = []
        for r in evidence.readings:
            high = f"{_number(r.low_ohm)} or more" if r.high_ohm is None else f"{_number(r.low_ohm)} to {_number(r.high_ohm)}"
            notes = ", ".join(part for part in (r.polarity, _beside(r.parallel_ohm), r.note) if part) or "-"
            rows.append([r.contact, r.channel, r.when, r.shows, r.method, high, "yes" if r.dry else "no", notes])
        heads = ["contact", "channel", "when", "shows", "method", "ohm", "dry", "note"]
        parts.append(_table("Readings", heads, rows, numbers=(5,)))
    return "".join(parts)


def _sheet(job: Job) -> str:
    parts = [f"<h3>Job sheet</h3><pre>{escape(job.text)}</pre>"]
    if job.readings is not None:
        name, text = job.readings
        parts.append(f"<h3>Readings file {escape(name)}</h3><pre>{escape(text)}</pre>")
    return "".join(parts)


def _record(job: Job, evidence: Evidence, assessment: Assessment) -> str:
    effect = {True: "half or twice changes a finding", False: "half or twice changes nothing", None: "not varied"}
    headlines = "".join(
        f"<dt>{escape(line.channel.capitalize())}: {escape(line.says)}</dt><dd>{escape(line.because)}</dd>" for line in assessment.headlines
    )
    steps = [
        f"{s.what}, {s.channel} ({s.minutes:.0f} min, {'lid on' if s.lid_on else 'lid off'}): {s.reads_as}" for s in assessment.next_steps
    ]
    rivals = [f"{r.who} ({', '.join(r.channels)}): {r.test}" for r in assessment.rivals]
    typical = [[t.place, t.name, t.means, effect[t.changes_the_answer]] for t in assessment.typical]
    if assessment.draw_count:
        drawn = f"seed {assessment.seed}, {assessment.draw_count} draws; their priors are assumptions, no field data stands behind the chances"
    else:
        drawn = "nothing was drawn at random: no seed"
    parts = [
        f"<h2>Who, and how sure</h2><dl>{headlines}</dl>",
        _list([f"contradiction: {clash}" for clash in assessment.clashes]) if assessment.clashes else "",
        _list(assessment.why) if assessment.why else "",
        "<h2>Findings</h2>",
        page_svg.routes(evidence, assessment),
        _findings(assessment),
        page_svg.readings(evidence, assessment),
        page_heard.heard(evidence, assessment),
    ]
    twice = before_and_after(evidence, assessment, ohms=True)
    if twice:
        parts.append(f"<h2>Before and after</h2>{twice}")
    parts += ["<h2>Evidence</h2>", _observed(evidence), "<h2>Reasons</h2>", _reasons(assessment)]
    if steps:
        parts.append(f"<h2>Next tests</h2><ol>{''.join(f'<li>{escape(step)}</li>' for step in steps)}</ol>")
    if rivals:
        parts.append(f"<h2>If it is no contact</h2>{_list(rivals)}")
    parts.append("<h2>Assumptions</h2>")
    parts.append(_list(assessment.assumes))
    if typical:
        parts.append(_table("Typical values that stood in for a number", ["place", "value", "means", "effect"], typical))
    parts.append(f'<h2>Cautions</h2><div class="caution">{_list(assessment.cautions)}</div>')
    parts.append(f"<h2>The sheet as written</h2>{_sheet(job)}")
    told = f"weaklink {assessment.version}, typical values {assessment.typical_version}; {drawn}."
    parts.append(f"<footer><p>{escape(told)} Estimates defer to local codes and licensed practice.</p></footer>")
    return "".join(parts)


def page(
    job: Job,
    *,
    assessment: Assessment | None = None,
    done: Iterable[str] = (),
    not_tested: Iterable[str] = (),
    price: str | None = None,
    ohms: bool = False,
) -> str:
    """The page of a job as HTML text.

    done, not_tested: sentences of the workshop; what the sheet itself says of both comes by itself. price: a sentence. ohms: whether the
    customer's part shows them. assessment: None computes it. Raises InputError as assess does.
    """
    answer = assess(job) if assessment is None else assessment
    seen = evidence_of(job)
    words = Words(tuple(done), tuple(not_tested), price, ohms)
    style = Path(__file__).with_name("page.css").read_text(encoding="utf-8")
    title = escape(answer.title or "One amplifier, one visit")
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="color-scheme" content="light dark">'
        f"<title>{title}</title><style>{style}</style></head><body>"
        f'<main><section class="customer" aria-label="For the customer"><h1>{title}</h1>{customer(seen, answer, words)}</section>'
        f'<section class="bench" aria-label="Bench record"><h1>Bench record</h1>'
        f'<p class="small">{title}. All evidence, numbers and assumptions behind the page for the customer.</p>'
        f"{_record(job, seen, answer)}</section></main></body></html>\n"
    )


def write(path: str | os.PathLike[str], text: str) -> None:
    """Writes a page; never leaves half a file."""
    there = Path(path)
    new = there.with_name(there.name + ".new")
    try:
        new.write_text(text, encoding="utf-8")
        os.replace(new, there)
    finally:
        new.unlink(missing_ok=True)
