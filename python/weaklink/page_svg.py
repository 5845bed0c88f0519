"""Figures of the page as inline SVG: colours come from the page's style, every figure has a title and a description in words."""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

from .plots_bench import CHANNELS, SMALLEST_OHM, in_signal_order
from .plots_style import thousands

if TYPE_CHECKING:
    from collections.abc import Sequence

    from .evidence import Evidence, Reading
    from .results import Assessment

WIDTH = 720.0
# widest usual sans-serif letter mix at 12 units, bold included
CHARACTER = 7.4
# the same as a mean, for what stands in a row
ADVANCE = 6.6


def _shortened(text: str, room: float) -> str:
    """Text that fits in so many units; the whole of it stands in the table."""
    most = max(4, int(room / CHARACTER))
    return text if len(text) <= most else text[: most - 1] + "\N{HORIZONTAL ELLIPSIS}"


def figure(identity: str, title: str, told: str, height: float, parts: Sequence[str]) -> str:
    """A figure with its caption; told: the same in words, for whoever does not see it."""
    head = (
        f'<svg viewBox="0 0 {WIDTH:.0f} {height:.0f}" role="img" aria-labelledby="{identity}-t {identity}-d">'
        f'<title id="{identity}-t">{escape(title)}</title><desc id="{identity}-d">{escape(told)}</desc>'
    )
    scroll = f'<div class="wide" tabindex="0" role="region" aria-label="{escape(title)}">'
    return f"<figure>{scroll}{head}{''.join(parts)}</svg></div><figcaption>{escape(title)}</figcaption></figure>"


def _text(x: float, y: float, text: str, classes: str = "") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" class="{classes}">{escape(text)}</text>'


def _line(x1: float, y1: float, x2: float, y2: float, classes: str) -> str:
    return f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" class="{classes}"/>'


def _disc(x: float, y: float, radius: float, classes: str) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" class="{classes}"/>'


def _mark(kind: str, x: float, y: float) -> str:
    """Star proved, disc able, ring not settled, ring with a stroke cannot unless it jumps, cross cannot, dot cleared or in order."""
    if kind == "proved":
        turn = [(9.0 if k % 2 == 0 else 4.0, math.pi * k / 5) for k in range(10)]
        points = " ".join(f"{x + r * math.sin(t):.1f},{y - r * math.cos(t):.1f}" for r, t in turn)
        return f'<polygon points="{points}" class="able"/>'
    if kind == "able to account for it":
        return _disc(x, y, 7, "able")
    if kind == "not settled":
        return _disc(x, y, 6, "open")
    if kind == "cannot unless it jumps":
        return _disc(x, y, 6.5, "pale") + _line(x - 4, y + 4, x + 4, y - 4, "cross")
    if kind == "cannot be the sole cause":
        return _line(x - 5, y - 5, x + 5, y + 5, "cross") + _line(x - 5, y + 5, x + 5, y - 5, "cross")
    return _disc(x, y, 3.5, "calm")


def routes(evidence: Evidence, assessment: Assessment) -> str:
    """Each route and channel as a line through its contacts; the same picture as plots.suspects."""
    names = in_signal_order(evidence)
    left, right, top = 130.0, 126.0, 16.0
    step = (WIDTH - left - right) / max(1, len(names))
    place = {name: left + (k + 0.5) * step for k, name in enumerate(names)}
    parts = [_text(place[name], 16, str(k + 1), "mid quiet") for k, name in enumerate(names)]
    y, told = top + 20.0, []
    for side in CHANNELS:
        for route, contacts in evidence.routes:
            heard = evidence.symptoms(route, side)
            what, bad = evidence.told(route, side), bool(heard)
            at = [place[contact] for contact in contacts]
            classes = "heavy" if bad else "thin dots" if heard is None else "thin"
            parts.append(_line(min(at) - step * 0.45, y, WIDTH - right, y, classes))
            parts.append(_text(left - 8, y + 4, _shortened(f"{side}: {route}", left - 12), "end"))
            parts.append(_text(WIDTH - right + 8, y + 4, _shortened(what, right - 10), "bold" if bad else ""))
            parts += [_mark(assessment.finding(contact, side).kind, place[contact], y) for contact in contacts]
            told.append(f"{side}, {route}: {what}")
            y += 26.0
        y += 8.0
    per_row = 2
    for k, name in enumerate(names):
        x, down = (8.0 if k % per_row == 0 else WIDTH / 2), y + 12 + 17 * (k // per_row)
        parts.append(_text(x, down, _shortened(f"{k + 1}  {name}", WIDTH / 2 - 12), "quiet"))
    y += 17.0 * math.ceil(len(names) / per_row) + 14
    x = 12.0
    for kind, label in (
        ("proved", "proved"),
        ("able to account for it", "able to account for it"),
        ("not settled", "not settled"),
        ("cannot unless it jumps", "only if it jumps"),
        ("cannot be the sole cause", "cannot"),
        ("cleared", "cleared or in order"),
    ):
        parts += [_mark(kind, x, y), _text(x + 13, y + 4, label)]
        x += 30 + ADVANCE * len(label)
    return figure("routes", "What each route passes, and what was heard on it", "; ".join(told), y + 14, parts)


def _scale(low: float, high: float, left: float, right: float) -> tuple[list[tuple[float, str]], float, float]:
    a, b = math.floor(math.log10(low)), math.ceil(math.log10(high))
    ticks = [(10.0**k, thousands(10.0**k)) for k in range(a, b + 1)]
    return ticks, left - a * (right - left) / (b - a), (right - left) / (b - a)


def _range(several: Sequence[Reading]) -> str:
    return "; ".join(f"{r.when} {r.shows} ({r.method}{'' if r.dry else ', not dry'})" for r in several)


def readings(evidence: Evidence, assessment: Assessment) -> str:
    """Every reading on a logarithmic axis of ohms; the same picture as plots.readings. Empty without a reading."""
    rows = [(c, s) for c in evidence.contacts for s in CHANNELS if any((r.contact, r.channel) == (c, s) for r in evidence.readings)]
    if not rows:
        return ""
    strokes = [ohm for f in assessment.findings if (ohm := f.impossible_below_ohm) and (f.contact, f.channel) in rows]
    ends = [r.high_ohm for r in evidence.readings if r.high_ohm] + [max(r.low_ohm, SMALLEST_OHM) for r in evidence.readings] + strokes
    left, right, top = 244.0, WIDTH - 24.0, 12.0
    ticks, zero, decade = _scale(SMALLEST_OHM, 2.0 * max([1.0, *ends]), left, right)

    def x(ohm: float) -> float:
        return min(right, max(left, zero + decade * math.log10(max(ohm, SMALLEST_OHM))))

    bottom = top + 30.0 * len(rows) + 4
    parts = [_line(x(ohm), top, x(ohm), bottom, "grid") + _text(x(ohm), bottom + 15, label, "mid quiet") for ohm, label in ticks]
    told = []
    for k, (contact, side) in enumerate(rows):
        y = top + 30.0 * k + 15.0
        finding = assessment.finding(contact, side)
        here = [r for r in evidence.readings if (r.contact, r.channel) == (contact, side)]
        if finding.in_order_up_to_ohm:
            parts.append(f'<rect x="{left:.1f}" y="{y - 11:.1f}" width="{x(finding.in_order_up_to_ohm) - left:.1f}" height="22" class="band"/>')
        if finding.impossible_below_ohm:
            at = x(finding.impossible_below_ohm)
            parts.append(_line(at, y - 11, at, y + 11, "limit"))
        parts.append(_text(left - 8, y + 4, _shortened(f"{contact}, {side}", left - 12), "end"))
        for place, reading in enumerate(here):
            level = y + (place + 1) / (len(here) + 1) * 18.0 - 9.0
            low, high = x(reading.low_ohm), right - 8 if reading.high_ohm is None else x(reading.high_ohm)
            parts.append(_line(low, level, high, level, "line" if reading.high_ohm is not None else "line dots"))
            at = low if reading.high_ohm is None else high
            face = "full" if reading.dry else "hollow"
            if reading.before_remedy:
                parts.append(_disc(at, level, 4, face))
            else:
                parts.append(f'<rect x="{at - 4:.1f}" y="{level - 4:.1f}" width="8" height="8" class="{face}"/>')
            if reading.high_ohm is None:
                parts.append(f'<path d="M{right - 10:.1f} {level - 4:.1f} L{right:.1f} {level:.1f} L{right - 10:.1f} {level + 4:.1f} Z" class="full"/>')
        told.append(f"{contact}, {side}: {_range(here)}")
    y = bottom + 34
    parts.append(_text(left - 24, bottom + 15, "ohm", "end quiet"))
    keys = (
        (_disc(12, y, 4, "full"), "dry"),
        (_disc(12, y, 4, "hollow"), "not dry: at least this"),
        (f'<rect x="8" y="{y - 4:.1f}" width="8" height="8" class="full"/>', "after the work"),
        (f'<rect x="6" y="{y - 7:.1f}" width="14" height="14" class="band"/>', "in order for its kind"),
        (_line(12, y - 7, 12, y + 7, "limit"), "cannot do it below"),
    )
    shift = 0.0
    for mark, label in keys:
        parts.append(f'<g transform="translate({shift:.0f} 0)">{mark}{_text(24, y + 4, label)}</g>')
        shift += 36 + ADVANCE * len(label)
    return figure("readings", "Readings on a logarithmic scale of ohms", "; ".join(told), y + 14, parts)
