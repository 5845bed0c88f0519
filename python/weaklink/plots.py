"""Figures of what a contact does. Needs matplotlib when called (``pip install 'weaklink[notebooks]'``).

Every function takes ``ax`` (None: new axes), draws on it, returns it and never shows it. Axes name their unit; series differ in
lightness, dash and mark, so that they read in grey and for the colour-blind.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from .extras import bad_input, needs
from .hearing import Masker, masked_thresholds
from .plots_bench import as_found_to_after, comebacks, readings, suspects
from .plots_style import BAND, DASHES, INK, MARKS, PALE, QUIET, SERIES, axes, legend, log_axis, percent_axis, rows
from .sweep_axes import elements

if TYPE_CHECKING:
    from typing import TypeAlias

    import numpy.typing
    from matplotlib.axes import Axes

    from ._core import Chain, LevelCycle, Section
    from .results import Limits

    _Num: TypeAlias = float | numpy.typing.ArrayLike

__all__ = [
    "as_found_to_after",
    "comebacks",
    "level_cycle",
    "new_figure",
    "ohms_that_matter",
    "readings",
    "residue",
    "spectrum",
    "suspects",
]

# shares of a decade left free on either side
MARGIN = 2.0


def ohms_that_matter(limits: Limits, *, ax: Axes | None = None) -> Axes:
    """How many ohms matter at each place: one row per contact, ohms on a logarithmic axis.

    Bar: resistances at which the contact leaves less than the wanted residue whatever it does. Disc: its end, limits.residue. Square: a
    steady resistance of the wanted loss. Upright stroke: what is usual for its kind. Limits that do not exist are not drawn.
    """
    found = [row for row in limits.rows if row.residue_ohm or row.loss_ohm]
    if not found:
        raise bad_input("limits", "no contact with a limit", "allowed: one at least")
    ax = axes(ax, 7.5, 1.3 + 0.34 * len(found))
    log_axis(ax, "x", "resistance", "ohm")
    ends = [ohm for row in found for ohm in (row.residue_ohm, row.loss_ohm, row.in_order_up_to_ohm) if ohm]
    low, high = min(ends) / 10.0, max(ends) * 4.0
    rows(ax, [row.contact for row in found])
    ax.set_xlim(low, high)

    def marked(name: str) -> tuple[list[float], list[int]]:
        kept = [(float(ohm), k) for k, row in enumerate(found) if (ohm := getattr(row, name))]
        return [ohm for ohm, _ in kept], [k for _, k in kept]

    residue_ohm, at = marked("residue_ohm")
    ax.barh(at, [ohm - low for ohm in residue_ohm], left=low, height=0.62, color=BAND, zorder=1)
    ax.plot(residue_ohm, at, "o", color=SERIES[0], markersize=7, label=f"{100 * limits.residue:.3g} % residue impossible below")
    loss_ohm, at = marked("loss_ohm")
    ax.plot(loss_ohm, at, "s", color=SERIES[1], markersize=6, label=f"steady: {limits.loss_db:.3g} dB quieter")
    usual, at = marked("in_order_up_to_ohm")
    ax.plot(usual, at, "|", color=INK, markersize=15, markeredgewidth=2.0, label="usual for its kind up to")
    legend(ax, loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3)
    return ax


def residue(
    resistance_ohm: _Num,
    by_law: Mapping[str, _Num],
    *,
    ceiling: _Num | None = None,
    heard: tuple[float, float] | None = None,
    ax: Axes | None = None,
) -> Axes:
    """Residue (ratio) against resistance (ohm): a line for each law, the ceiling, and above it what no contact can do.

    by_law: label to residue, up to four. ceiling: bound at each resistance; for a film that grows with voltage (rectifying) take the bound of
    the chords in use, as ``Section.ceiling`` does without ranges: a bound of (0, resistance at rest) is none for it. heard: a range of residue to compare with, drawn as a band.
    """
    import numpy as np

    if len(by_law) > len(SERIES):
        raise bad_input("by_law", f"{len(by_law)} laws", f"allowed: up to {len(SERIES)} in one figure")
    ohm = np.asarray(resistance_ohm, dtype=float)
    ax = axes(ax)
    log_axis(ax, "x", "resistance at rest", "ohm")
    percent_axis(ax, "residue")
    if heard is not None:
        ax.axhspan(heard[0], heard[1], color=PALE, label="may be heard", zorder=0)
    for (label, value), color, dash in zip(by_law.items(), SERIES, DASHES, strict=False):
        ax.plot(ohm, np.broadcast_to(np.asarray(value, dtype=float), ohm.shape), color=color, linestyle=dash, linewidth=1.8, label=label)
    if ceiling is not None:
        top = np.broadcast_to(np.asarray(ceiling, dtype=float), ohm.shape)
        ax.plot(ohm, top, color=INK, linewidth=2.6, label="ceiling: the most that any contact can do")
        highest = float(np.nanmax(top)) * 3.0
        ax.fill_between(ohm, top, highest, facecolor="none", edgecolor=QUIET, hatch="////", linewidth=0.0, label="impossible")
        ax.set_ylim(top=highest)
    shown = [np.asarray(v, dtype=float) for v in [*by_law.values(), *([ceiling] if ceiling is not None else [])]]
    positive = [float(v[v > 0.0].min()) for v in shown if (v > 0.0).any()]
    highest = max((float(np.nanmax(v)) for v in shown), default=1.0)
    # nine decades tell enough
    if positive and highest > 0.0:
        ax.set_ylim(bottom=max(min(positive) / MARGIN, highest * 1e-9))
    ax.set_xlim(float(ohm.min()), float(ohm.max()))
    legend(ax, loc="best")
    return ax


def level_cycle(
    cycle: LevelCycle,
    system: Section | Chain | None = None,
    *,
    quantity: str = "loss",
    frequency_hz: float = 1000.0,
    ax: Axes | None = None,
) -> Axes:
    """A level turned up, down again, and put on the next morning after a rest, against the source's EMF (V rms).

    quantity: "loss" (dB against perfect contacts, louder upwards; takes the system that the cycle was made of) or "residue" (harmonics over
    the tone, a ratio). Arrows show the way; levels at which the answer depends on what came before are shaded.
    """
    import numpy as np

    if quantity not in ("loss", "residue"):
        raise bad_input("quantity", repr(quantity), 'allowed: "loss" or "residue"')
    if quantity == "loss" and system is None:
        raise bad_input("system", "None", 'allowed: the section or chain of the cycle; quantity="residue" goes without')
    ax = axes(ax)
    emf = np.asarray(cycle.emf_v, dtype=float)
    log_axis(ax, "x", "EMF of the source", "V rms")
    if quantity == "residue":
        percent_axis(ax, "harmonics")
    else:
        ax.set_ylabel("loss, dB (louder is up)", color=INK, fontsize=9)
        ax.grid(axis="y", color=PALE, linewidth=0.8)
        ax.invert_yaxis()
    depends = ~np.asarray(cycle.unique)
    if depends.any():
        ax.axvspan(float(emf[depends].min()), float(emf[depends].max()), facecolor=PALE, edgecolor=QUIET, linewidth=0.6, zorder=0, label="depends on what came before")
    ways = (("turned up", cycle.up, 1), ("turned down", cycle.down, -1), ("next morning", cycle.after_rest, 0))
    for way, (label, state, step) in enumerate(ways):
        color, mark = SERIES[way], MARKS[way]
        if system is not None and quantity == "loss":
            # a broken film is its bridge: what is lost at zero voltage, less what the level changes
            own = {name: contact_ohm(system, name) for name in cycle.bridge_ohm}
            bridge = {name: np.asarray(ohms[way], dtype=float) for name, ohms in cycle.bridge_ohm.items()}
            ohms = {name: np.where(np.isnan(ohm), own[name], ohm) for name, ohm in bridge.items()}
            value = np.asarray(system.loss_db(frequency_hz, contacts=ohms)) - np.asarray(state.fundamental_db)
        else:
            value = np.asarray(state.thd_f, dtype=float)
        value = np.broadcast_to(value, emf.shape)
        if step:
            ax.plot(emf, value, color=color, linestyle=DASHES[way], marker=mark, markersize=4, linewidth=1.7, label=label)
            middle = len(emf) // 2
            if 0 < middle < len(emf) - 1:
                ends = [(emf[middle + k], value[middle + k]) for k in (0, step)]
                ax.annotate("", ends[1], ends[0], arrowprops={"arrowstyle": "-|>", "color": color, "lw": 1.6})
        else:
            ax.plot(emf, value, mark, color=color, markersize=9, markerfacecolor="none", markeredgewidth=1.4, label=label)
    legend(ax, loc="best")
    return ax


def contact_ohm(system: Section | Chain, name: str) -> float:
    """Zero-voltage resistance of a contact of a system, ohm; KeyError if there is none of that name."""
    element = elements(system.to_dict())[name]
    film = element["film"]
    return math.inf if film is None else float(film["resistance_ohm"])


def spectrum(
    lines_hz: _Num,
    lines_db: _Num,
    *,
    maskers: Iterable[Masker] = (),
    tone: tuple[float, float] | None = None,
    points: int = 240,
    ax: Axes | None = None,
) -> Axes:
    """A residue's lines (Hz, dB SPL) over the masked thresholds of three published models, as :func:`weaklink.hearing.masked_thresholds`.

    maskers: what plays besides; none is silence. tone: (Hz, dB SPL), drawn and not a masker by itself. Each model is a band, lowest to
    highest over its thresholds in quiet. A line's mark is full above every model (plain), half between them, hollow below all (inaudible).
    Each line is judged by itself; :func:`weaklink.hearing.audible` counts them together.
    """
    import numpy as np

    listed = list(maskers)
    at = np.atleast_1d(np.asarray(lines_hz, dtype=float))
    level = np.broadcast_to(np.asarray(lines_db, dtype=float), at.shape)
    ax = axes(ax, 7.0, 4.4)
    log_axis(ax, "x", "frequency", "Hz")
    ax.set_ylabel("level at the ear, dB SPL", color=INK, fontsize=9)
    grid = np.geomspace(20.0, 16e3, points)
    masked = masked_thresholds(listed, grid)
    for model, color, dash in zip(masked.models, SERIES[1:], DASHES[1:], strict=True):
        ax.fill_between(grid, model.low_db, model.high_db, facecolor=color, alpha=0.22, linewidth=0.0)
        ax.plot(grid, model.high_db, color=color, linestyle=dash, linewidth=1.4, label=model.model)
    inside = (at >= 20.0) & (at <= 16e3)
    here = masked_thresholds(listed, at[inside].tolist()) if inside.any() else None
    low = np.full(at.shape, math.inf)
    high = np.full(at.shape, math.inf)
    if here is not None:
        low[inside], high[inside] = here.low_db, here.high_db
    floor = min(-20.0, *(float(x) - 5.0 for x in level[np.isfinite(level)])) if np.isfinite(level).any() else -20.0
    floor = max(floor, -40.0)
    if tone is not None:
        ax.vlines(tone[0], floor, tone[1], color=QUIET, linewidth=3.0)
        ax.plot([tone[0]], [tone[1]], "_", color=QUIET, markersize=12, markeredgewidth=3.0, label="the tone itself")
    ax.vlines(at, floor, level, color=SERIES[0], linewidth=1.3)
    kinds = (
        ("residue, heard by every model", level >= high, {"markerfacecolor": SERIES[0]}),
        ("residue, heard by some model", (level >= low) & (level < high), {"fillstyle": "bottom", "markerfacecoloralt": "white"}),
        ("residue, heard by no model", level < low, {"markerfacecolor": "white"}),
    )
    for label, which, face in kinds:
        if which.any():
            style: dict[str, Any] = {"color": SERIES[0], "marker": "o", "linestyle": "none", "markersize": 7, **face}
            ax.plot(at[which], level[which], label=label, **style)
    ax.set_xlim(20.0, 20e3)
    tops = [float(np.max(model.high_db)) for model in masked.models] if listed else []
    ax.set_ylim(floor, max([60.0, *tops, *(float(x) for x in level), tone[1] if tone else 0.0]) + 6.0)
    if listed:
        loudest = max(listed, key=lambda m: m.level_db)
        told = f"masked by {'a tone' if len(listed) == 1 else f'{len(listed)} bands'}, loudest {loudest.level_db:.0f} dB SPL"
    else:
        told = "nothing plays: thresholds in quiet"
    below = int(np.count_nonzero(np.isfinite(level) & (level < floor)))
    if below:
        told += f"; {below} of {at.size} lines below {floor:.0f} dB SPL are not shown"
    ax.set_title(told, fontsize=9, color=INK, loc="left")
    legend(ax, loc="upper center", bbox_to_anchor=(0.5, -0.14), ncols=2)
    return ax


def new_figure(rows_count: int = 1, columns: int = 1, *, width: float = 7.0, height: float = 4.2) -> tuple[Any, Any]:
    """A figure and its axes, laid out so that nothing overlaps; for several figures side by side."""
    pyplot = needs("matplotlib.pyplot", "a figure")
    figure, ax = pyplot.subplots(rows_count, columns, figsize=(width * columns, height * rows_count), layout="constrained", squeeze=True)
    return figure, ax
