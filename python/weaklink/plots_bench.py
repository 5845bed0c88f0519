"""Figures of one job and of a shop's log; the faces stand in :mod:`weaklink.plots`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .extras import bad_input
from .plots_style import BAND, DASHES, INK, MARKS, PALE, QUIET, SERIES, axes, legend, log_axis, rows

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .evidence import Evidence, Reading
    from .results import Assessment, Limits
    from .shop_results import Comparison

# a reading that begins at zero is drawn from here, ohm
SMALLEST_OHM = 1e-3
CHANNELS = ("left", "right")
# full disc, ring, small dot, cross: open fault, undecided, cleared, excluded
STANDING: dict[str, tuple[str, dict[str, Any]]] = {
    "proved": ("*", {"markersize": 15, "markerfacecolor": SERIES[1], "markeredgecolor": INK}),
    "able to account for it": ("o", {"markersize": 11, "markerfacecolor": SERIES[1], "markeredgecolor": INK}),
    "not settled": ("o", {"markersize": 10, "markerfacecolor": "white", "markeredgecolor": SERIES[1], "markeredgewidth": 2.0}),
    "cannot unless it jumps": ("X", {"markersize": 9, "markerfacecolor": "white", "markeredgecolor": INK}),
    "cannot be the sole cause": ("X", {"markersize": 9, "markerfacecolor": QUIET, "markeredgecolor": "white"}),
    "in order": ("o", {"markersize": 5, "markerfacecolor": QUIET, "markeredgecolor": QUIET}),
    "cleared": ("o", {"markersize": 5, "markerfacecolor": QUIET, "markeredgecolor": QUIET}),
}


def _ends(reading: Reading, farthest: float) -> tuple[float, float, bool]:
    """Ends of a reading as drawn, and whether its upper end is one."""
    top = reading.high_ohm
    low = max(reading.low_ohm, SMALLEST_OHM)
    return low, farthest if top is None else max(top, low), top is not None


def readings(
    evidence: Evidence, assessment: Assessment, *, limits: Limits | None = None, ax: Axes | None = None
) -> Axes:
    """Every reading on a logarithmic axis of ohms: one row per contact and channel that was read.

    A reading is a line between its ends with a mark at the end that the meter gave; full: dry, hollow: not dry, so that nothing bounds it from
    above and an arrow leads on. Band: in order for its kind. Upright stroke: below it the contact cannot do what is heard. Dotted stroke
    (limits): a steady resistance of limits.loss_db. A mark at the left edge begins at zero.
    """
    read = [(c, side) for c in evidence.contacts for side in CHANNELS if any(r.contact == c and r.channel == side for r in evidence.readings)]
    if not read:
        raise bad_input("evidence", "no reading", "allowed: one at least")
    ax = axes(ax, 7.5, 1.4 + 0.36 * len(read))
    log_axis(ax, "x", "resistance", "ohm")
    rows(ax, [f"{contact}, {side}" for contact, side in read])
    strokes = [f.impossible_below_ohm for f in assessment.findings if f.impossible_below_ohm and (f.contact, f.channel) in read]
    half = {row.contact: row.loss_ohm for row in limits.rows if row.loss_ohm} if limits is not None else {}
    tops = [r.high_ohm for r in evidence.readings if r.high_ohm] + [half[c] for c, _ in read if c in half] + strokes
    lows = [max(r.low_ohm, SMALLEST_OHM) for r in evidence.readings] + strokes
    left, right = min([SMALLEST_OHM, *lows]) / 1.5, max([1.0, *tops, *lows]) * 5.0
    ax.set_xlim(left, right)
    told: set[str] = set()

    def once(label: str) -> str:
        return "_" if label in told else (told.add(label) or label)  # type: ignore[func-returns-value]

    for row, (contact, side) in enumerate(read):
        finding = assessment.finding(contact, side)
        if finding.in_order_up_to_ohm:
            ax.barh(row, finding.in_order_up_to_ohm - left, left=left, height=0.8, color=BAND, zorder=0, label=once("in order for its kind"))
        if finding.impossible_below_ohm:
            ax.plot([finding.impossible_below_ohm] * 2, [row - 0.4, row + 0.4], color=SERIES[1], linewidth=2.2, label=once("cannot do it below"))
        if contact in half:
            loss = f"{limits.loss_db:g} dB quieter" if limits is not None else ""
            ax.plot([half[contact]] * 2, [row - 0.4, row + 0.4], color=INK, linewidth=1.6, linestyle=DASHES[3], label=once(loss))
        here = [r for r in evidence.readings if r.contact == contact and r.channel == side]
        for place, reading in enumerate(here):
            y = row + (place + 1) / (len(here) + 1) * 0.6 - 0.3
            low, high, ends = _ends(reading, right / 1.3)
            face = SERIES[0] if reading.dry else "white"
            ax.plot([low, high], [y, y], color=SERIES[0], linewidth=1.6, linestyle="-" if ends else DASHES[3])
            label = once("dry" if reading.dry else "not dry: at least this, may be far more")
            mark = "o" if reading.before_remedy else "s"
            at = high if ends else low
            ax.plot([at], [y], mark, markersize=6, markerfacecolor=face, markeredgecolor=SERIES[0], color=SERIES[0], label=label, zorder=3)
            if not ends:
                ax.plot([high], [y], ">", markersize=5, color=SERIES[0])
    legend(ax, loc="lower center", bbox_to_anchor=(0.4, 1.0), ncols=3)
    return ax


def in_signal_order(evidence: Evidence) -> list[str]:
    """Every contact, source to ear: none stands before one that a route passes earlier."""
    left = list(evidence.contacts)
    after = {name: {c for _, on in evidence.routes if name in on for c in on[: on.index(name)]} for name in left}
    out: list[str] = []
    while left:
        # two routes that pass two contacts the other way round have no order: the sheet's stands
        free = next((name for name in left if not (after[name] & set(left))), left[0])
        left.remove(free)
        out.append(free)
    return out


def suspects(evidence: Evidence, assessment: Assessment, *, ax: Axes | None = None) -> Axes:
    """Who is suspected, by route and channel: contacts side by side, each route a line through those that its signal passes.

    A heavy line is a route with a symptom (named at its end), a thin one was clean, a dotted one nobody listened to. Marks: star proved, disc
    able to account for it, ring not settled, hollow cross cannot unless it jumps, cross cannot be the sole cause, dot cleared or in order.
    """
    names = in_signal_order(evidence)
    ax = axes(ax, 2.4 + 0.95 * len(names), 1.9 + 0.42 * 2 * len(evidence.routes))
    place = {name: k for k, name in enumerate(names)}
    labels: list[str] = []
    told: set[str] = set()
    y = 0.0
    ticks: list[float] = []
    for side in CHANNELS:
        for route, contacts in evidence.routes:
            heard = evidence.symptoms(route, side)
            what, bad = evidence.told(route, side), bool(heard)
            width, dash, color = (3.2, "-", SERIES[0]) if bad else (1.4, DASHES[3] if heard is None else "-", QUIET)
            at = sorted(place[contact] for contact in contacts)
            ax.plot([at[0] - 0.5, *at, len(names) - 0.5], [y] * (len(at) + 2), color=color, linewidth=width, linestyle=dash, zorder=1)
            ax.text(len(names) - 0.35, y, what, va="center", fontsize=9, color=INK, fontweight="bold" if bad else "normal")
            for contact in contacts:
                kind = assessment.finding(contact, side).kind
                mark, style = STANDING[kind]
                label = "cleared or in order" if kind in ("cleared", "in order") else kind
                label = "_" if label in told else (told.add(label) or label)  # type: ignore[func-returns-value]
                ax.plot([place[contact]], [y], mark, linestyle="none", label=label, zorder=3, **style)
            labels.append(f"{side}: {route}")
            ticks.append(y)
            y += 1.0
        y += 0.6
    ax.set_yticks(ticks, labels)
    ax.set_ylim(y - 0.9, -0.6)
    ax.set_xticks(range(len(names)), [name.replace(" / ", "\n") for name in names], fontsize=8)
    ax.xaxis.set_ticks_position("top")
    ax.set_xlim(-0.7, len(names) + 0.3)
    ax.tick_params(length=0)
    ax.spines[["left", "bottom"]].set_visible(False)
    legend(ax, loc="upper center", bbox_to_anchor=(0.45, 0.0), ncols=3)
    return ax


def as_found_to_after(evidence: Evidence, *, ax: Axes | None = None) -> Axes:
    """From as found to after the work: for each contact and channel that was read before and after, its readings on log ohms, joined.

    Upright bars are the readings' ends, hollow where not dry; a reading that begins at zero ends at the bottom edge.
    """
    pairs = []
    for contact in evidence.contacts:
        for side in CHANNELS:
            own = [r for r in evidence.readings if r.contact == contact and r.channel == side]
            before, after = [r for r in own if r.before_remedy], [r for r in own if not r.before_remedy]
            if before and after:
                pairs.append((f"{contact}, {side}", before, after))
    if not pairs:
        raise bad_input("evidence", "no contact read before and after", 'allowed: readings with when = "after cleaning" and the like')
    ax = axes(ax, 6.5, 4.4)
    log_axis(ax, "y", "resistance", "ohm")
    spread = 0.5 / max(1, len(pairs))
    tops = [r.high_ohm for _, before, after in pairs for r in [*before, *after] if r.high_ohm is not None]
    farthest = 4.0 * max([1.0, *tops])
    for k, (name, before, after) in enumerate(pairs):
        color, dash, mark = SERIES[k % 4], DASHES[k % 4], MARKS[k % 4]
        points = []
        for x, several in ((0.0, before), (1.0, after)):
            at = x + (k - (len(pairs) - 1) / 2) * spread * 0.4
            low = min(_ends(r, farthest)[0] for r in several)
            high = max(_ends(r, farthest)[1] for r in several)
            dry = all(r.dry for r in several)
            ax.plot([at, at], [low, high], color=color, linewidth=4.0, alpha=0.45, solid_capstyle="butt")
            points.append((at, high, "full" if dry else "none"))
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        ax.plot(xs, ys, color=color, linestyle=dash, linewidth=1.5, label=name)
        for x, high, fill in points:
            ax.plot([x], [high], mark, color=color, markersize=7, markerfacecolor=color if fill == "full" else "white")
    ax.set_xticks([0.0, 1.0], ["as found", "after"])
    ax.set_xlim(-0.4, 1.4)
    legend(ax, loc="upper right")
    return ax


def comebacks(comparison: Comparison, *, ax: Axes | None = None) -> Axes:
    """Comebacks per hundred contact-years with their 95 % bands: kinds down the side, one mark for each remedy; logarithmic.

    Remedies without enough comebacks to fit have no mark.
    """
    kinds = list(dict.fromkeys(cell.kind for cell in comparison.cells))
    remedies = list(dict.fromkeys(cell.remedy for cell in comparison.cells if cell.comebacks_per_100_years))
    if not remedies:
        raise bad_input("comparison", "no comebacks", "allowed: a log with dates of comebacks")
    ax = axes(ax, 7.0, 1.4 + 0.5 * len(kinds))
    log_axis(ax, "x", "comebacks per 100 contact-years", "95 % bands")
    rows(ax, kinds)
    for k, (remedy, color, mark) in enumerate(zip(remedies, SERIES, MARKS, strict=False)):
        cells = [cell for cell in comparison.cells if cell.remedy == remedy and cell.comebacks_per_100_years]
        bands = [cell.comebacks_per_100_years for cell in cells if cell.comebacks_per_100_years]
        at = [kinds.index(cell.kind) + (k - (len(remedies) - 1) / 2) * 0.2 for cell in cells]
        value = [band[0] for band in bands]
        wide = [[band[0] - band[1] for band in bands], [band[2] - band[0] for band in bands]]
        ax.errorbar(value, at, xerr=wide, fmt=mark, color=color, markersize=6, elinewidth=1.6, capsize=0, label=remedy)
    for edge in range(len(kinds) - 1):
        ax.axhline(edge + 0.5, color=PALE, linewidth=0.8)
    legend(ax, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=4)
    return ax
