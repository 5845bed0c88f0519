"""Colours, marks and axes that every figure shares; told apart in grey and by the colour-blind, never by colour alone."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from .extras import needs

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INK = "#1c2430"
QUIET = "#8b94a0"
PALE = "#e4e8ea"
BAND = "#cfe0dc"
# dark to light, so that they keep their order in grey; each with a dash and a mark of its own
SERIES = ("#14304f", "#a3431c", "#4f8a86", "#cf9a3a")
DASHES = ("-", "--", "-.", (0, (1, 1.4)))
MARKS = ("o", "s", "^", "D")


def axes(ax: Axes | None, width: float = 7.0, height: float = 4.2) -> Axes:
    """The axes given, or new ones; the frame is only left and bottom."""
    if ax is None:
        pyplot = needs("matplotlib.pyplot", "a figure")
        _, ax = pyplot.subplots(figsize=(width, height), layout="constrained")
    assert ax is not None
    ax.spines[["top", "right"]].set_visible(False)
    for side in ("left", "bottom"):
        ax.spines[side].set_color(QUIET)
    ax.tick_params(colors=INK, labelsize=9)
    ax.set_axisbelow(True)
    return ax


def thousands(value: float) -> str:
    """A number with its prefix, as a bench writes it: 20m, 4.7, 15k."""
    if value == 0.0 or not math.isfinite(value):
        return f"{value:g}"
    prefixes = {-12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}
    power = min(9, max(-12, 3 * math.floor(math.log10(abs(value)) / 3 + 1e-9)))
    return f"{value / 10.0**power:.3g}{prefixes[power]}"


def log_axis(ax: Axes, which: str, what: str, unit: str) -> None:
    """A logarithmic axis that names its unit and writes prefixes in place of powers."""
    ticker = needs("matplotlib.ticker", "a figure")
    axis: Any = ax.xaxis if which == "x" else ax.yaxis
    (ax.set_xscale if which == "x" else ax.set_yscale)("log")
    axis.set_major_formatter(ticker.FuncFormatter(lambda value, _: thousands(value)))

    def between(value: float, _: int) -> str:
        # on less than two decades the twos and fives are named as well
        low, high = axis.get_view_interval()
        first = round(value / 10.0 ** math.floor(math.log10(value)), 6) if value > 0.0 else 0.0
        return thousands(value) if high < 100.0 * low and first in (2.0, 5.0) else ""

    axis.set_minor_formatter(ticker.FuncFormatter(between))
    axis.set_tick_params(which="minor", labelsize=9, labelcolor=INK, color=QUIET)
    axis.set_label_text(f"{what}, {unit}", color=INK, fontsize=9)
    ax.grid(axis="x" if which == "x" else "y", color=PALE, linewidth=0.8)


def percent_axis(ax: Axes, what: str) -> None:
    """A logarithmic axis of ratios written as per cent; the data stay ratios."""
    ticker = needs("matplotlib.ticker", "a figure")
    ax.set_yscale("log")
    ax.yaxis.set_major_formatter(ticker.FuncFormatter(lambda value, _: f"{100 * value:.3g}"))
    ax.yaxis.set_minor_formatter(ticker.NullFormatter())
    ax.set_ylabel(f"{what}, %", color=INK, fontsize=9)
    ax.grid(axis="y", color=PALE, linewidth=0.8)


def rows(ax: Axes, names: list[str]) -> None:
    """Names down the left side, the first on top."""
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)


def legend(ax: Axes, **more: Any) -> None:
    """A legend without a box."""
    if ax.get_legend_handles_labels()[0]:
        ax.legend(frameon=False, fontsize=8, labelcolor=INK, **more)
