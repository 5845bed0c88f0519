"""A what-if panel for notebooks: a place, ohms, a level, a law; loss, residue, ceiling and spectrum at once. Needs ipywidgets and matplotlib.

``panel()`` shows it; :func:`moved` is what one move computes, without widgets.
"""

from __future__ import annotations

import functools
import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ._core import Contact, Divider, Film, Lead, Load, Section, Source
from .extras import bad_input, needs
from .hearing import MODELS, Masker, masked_thresholds

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["EAR_DB", "LAWS", "PLACES", "Moved", "Panel", "moved", "panel"]

TONE_HZ = 1000.0
# level at the ear of the tone at the level that is typical of a place, dB SPL [assumption]
EAR_DB = 80.0
# the loudest tone that the models of masking are made for, dB SPL
LOUDEST_DB = 100.0
ORDERS = tuple(range(2, 12))
CURVE = 16
# sources, leads and loads as ``weaklink typicals`` lists them; a test compares them with that list and with the typical layouts
PHONO_STAGE_OHM, POWER_STAGE_OHM = 1e3, 0.05


def _make_places() -> dict[str, Section]:
    contact = Contact("contact", resistance_ohm=0.0)
    return {
        "record player's socket": Section(
            "record player's socket",
            source=Source(emf_v=5e-3, resistance_ohm=1e3, inductance_h=0.5),
            path=[Lead(resistance_ohm=0.2, capacitance_f=150e-12), contact],
            load=Load(resistance_ohm=47e3, capacitance_f=100e-12),
        ),
        "selector after the phono stage": Section(
            "selector after the phono stage",
            source=Source(emf_v=0.3, resistance_ohm=PHONO_STAGE_OHM),
            path=[contact],
            load=Load(resistance_ohm=50e3),
        ),
        "selector of a line source": Section(
            "selector of a line source", source=Source(emf_v=0.5, resistance_ohm=2.2e3), path=[contact], load=Load(resistance_ohm=50e3)
        ),
        "volume control's wiper": Section(
            "volume control's wiper",
            source=Source(emf_v=0.5, resistance_ohm=0.0),
            path=[Divider("volume control", track_ohm=50e3, setting_db=-30.0, wiper=contact)],
            load=Load(resistance_ohm=47e3),
        ),
        "loudspeaker relay": Section(
            "loudspeaker relay",
            source=Source(emf_v=2.83, resistance_ohm=POWER_STAGE_OHM),
            path=[contact, Lead(resistance_ohm=0.13)],
            load=Load(resistance_ohm=8.0),
        ),
        "headphone socket": Section(
            "headphone socket", source=Source(emf_v=1.0, resistance_ohm=600.0), path=[contact], load=Load(resistance_ohm=32.0)
        ),
    }


_PLACES = _make_places()
PLACES = tuple(_PLACES)
LAWS = ("ohmic", "tunnelling", "rectifying", "bridged")


def _film(law: str, ohm: float) -> Film:
    """The law of a film with usual parameters."""
    if law == "ohmic":
        return Film.ohmic(resistance_ohm=ohm)
    if law == "tunnelling":
        return Film.tunnelling(resistance_ohm=ohm, scale_v=0.4)
    if law == "rectifying":
        return Film.rectifying(resistance_ohm=ohm, ideality=1.5, leak_ratio=0.1)
    return Film.bridged(resistance_ohm=ohm)


def place(name: str) -> Section:
    """The section of a typical place, its contact perfect; InputError for another name."""
    if name not in PLACES:
        raise bad_input("place", f'"{name}"', f"allowed: {', '.join(PLACES)}")
    return _PLACES[name]


@dataclass(frozen=True)
class Moved:
    """What one move of the panel gives.

    loss_db: of the tone, at this level. residue: harmonics over the tone; ceiling: bound T1 of the chords in use, any chatter; NaN where
    nothing bounds it. lines_hz, lines_db: harmonics at the ear, dB SPL. ear_db: the tone there. curve_*: residue and ceiling along ohms.
    thresholds: (grid, Hz) and each model's threshold, dB SPL. status: of the steady state.
    """

    loss_db: float
    residue: float
    ceiling: float
    lines_hz: tuple[float, ...]
    lines_db: tuple[float, ...]
    ear_db: float
    curve_ohm: Any
    curve_residue: Any
    curve_ceiling: Any
    threshold_hz: tuple[float, ...]
    thresholds: Mapping[str, tuple[float, ...]]
    status: str


def _thresholds_at(tone_db: float) -> tuple[tuple[float, ...], dict[str, tuple[float, ...]]]:
    import numpy as np

    grid = np.geomspace(200.0, 15e3, 60).tolist()
    masked = masked_thresholds([Masker(TONE_HZ, tone_db)], grid)
    return tuple(grid), {model.model: model.high_db for model in masked.models}


_thresholds = functools.lru_cache(maxsize=256)(_thresholds_at)


def _curve_of(name: str, law: str, emf_v: float) -> tuple[Any, Any, Any]:
    """Residue and ceiling along the ohms about the place's loop: kept while only the ohms move."""
    import numpy as np

    section = place(name)
    ohm = np.geomspace(*ohm_range(name), CURVE)
    with_film = section.with_contact("contact", resistance_ohm=None, film=_film(law, 1.0))
    found = with_film.distortion(TONE_HZ, emf_v=emf_v, contacts={"contact": ohm})
    top = with_film.ceiling(TONE_HZ, emf_v=emf_v, contacts={"contact": ohm})
    return ohm, np.asarray(found.thd_f), np.asarray(top.chatter)


_curve = functools.lru_cache(maxsize=64)(_curve_of)


def ohm_range(name: str) -> tuple[float, float]:
    """Ohms that a place can be moved over: from a ten-thousandth to twice of its loop, to whole decades."""
    section = place(name)
    put_in = 1e6
    loop = put_in / (10.0 ** (section.loss_db(TONE_HZ, contacts={"contact": put_in}) / 20.0) - 1.0)
    low = 10.0 ** math.floor(math.log10(loop * 1e-4))
    return low, 10.0 ** math.ceil(math.log10(2.0 * loop))


def moved(name: str, ohm: float, level_db: float, law: str) -> Moved:
    """What the panel shows: a place, its contact's resistance at rest (ohm), level against the typical one (dB), a film law."""
    section = place(name)
    if law not in LAWS:
        raise bad_input("law", f'"{law}"', f"allowed: {', '.join(LAWS)}")
    if not (math.isfinite(ohm) and ohm > 0.0):
        raise bad_input("ohm", ohm, "allowed: finite, above zero")
    if not (math.isfinite(level_db) and -100.0 <= level_db <= 40.0):
        raise bad_input("level_db", level_db, "allowed: -100 to 40")
    source = section.source
    assert source is not None
    emf_v = source.emf_v * 10.0 ** (level_db / 20.0)
    film = section.with_contact("contact", resistance_ohm=None, film=_film(law, ohm))
    found = film.distortion(TONE_HZ, emf_v=emf_v, harmonics=len(ORDERS))
    top = film.ceiling(TONE_HZ, emf_v=emf_v)
    ear_db = min(LOUDEST_DB, EAR_DB + level_db)
    grid, thresholds = _thresholds(round(ear_db, 1))
    lines = [(order * TONE_HZ, abs(h)) for order, h in zip(ORDERS, found.harmonics.tolist(), strict=True)]
    curve_ohm, curve_residue, curve_ceiling = _curve(name, law, emf_v)
    return Moved(
        loss_db=film.loss_db(TONE_HZ) - found.fundamental_db,
        residue=found.thd_f,
        ceiling=top.chatter,
        lines_hz=tuple(hertz for hertz, _ in lines),
        lines_db=tuple(ear_db + 20.0 * math.log10(ratio) if ratio > 0.0 else -math.inf for _, ratio in lines),
        ear_db=ear_db,
        curve_ohm=curve_ohm,
        curve_residue=curve_residue,
        curve_ceiling=curve_ceiling,
        threshold_hz=grid,
        thresholds=thresholds,
        status=found.status,
    )


class Panel:
    """The widgets and their picture; ``widget`` is what a notebook shows, ``now`` the last :class:`Moved`."""

    def __init__(self) -> None:
        widgets = needs("ipywidgets", "the panel")
        figure = needs("matplotlib.figure", "the panel")
        self._busy = False
        wide = {"description_width": "6.5em"}
        layout = widgets.Layout(width="28em")
        self.place = widgets.Dropdown(options=PLACES, value=PLACES[0], description="place", style=wide, layout=layout)
        self.law = widgets.Dropdown(options=LAWS, value="tunnelling", description="law", style=wide, layout=layout)
        # log10 of ohms; the read-out says ohms
        self.ohm = widgets.FloatLogSlider(value=1e3, base=10, min=0, max=5, step=0.02, description="ohms at rest", readout_format=".3g", style=wide, layout=layout)
        self.level = widgets.FloatSlider(value=0.0, min=-60.0, max=12.0, step=1.0, description="level, dB", readout_format="+.0f", style=wide, layout=layout)
        self.told = widgets.HTML()
        self.picture = widgets.Image(format="png")
        self.figure = figure.Figure(figsize=(10.0, 3.9), layout="constrained")
        self.left, self.right = self.figure.subplots(1, 2)
        self._fit_ohms()
        self.place.observe(self._placed, names="value")
        for one in (self.law, self.ohm, self.level):
            one.observe(self._changed, names="value")
        controls = widgets.HBox([widgets.VBox([self.place, self.law]), widgets.VBox([self.ohm, self.level])])
        self.widget = widgets.VBox([controls, self.told, self.picture])
        self.now = self.draw()

    def _fit_ohms(self) -> None:
        low, high = (math.log10(end) for end in ohm_range(self.place.value))
        # wide first, so that min stays below max on the way
        self.ohm.min, self.ohm.max = min(self.ohm.min, low), max(self.ohm.max, high)
        self.ohm.value = 10.0 ** min(max(math.log10(self.ohm.value), low), high)
        self.ohm.min, self.ohm.max = low, high

    def _placed(self, change: object) -> None:
        self._busy = True
        try:
            self._fit_ohms()
        finally:
            self._busy = False
        self.now = self.draw()

    def _changed(self, change: object) -> None:
        if not self._busy:
            self.now = self.draw()

    def draw(self) -> Moved:
        """Computes the position of the sliders and redraws both axes."""
        now = moved(self.place.value, self.ohm.value, self.level.value, self.law.value)
        self.told.value = (
            f"<b>{now.loss_db:.3g} dB</b> quieter; residue <b>{100 * now.residue:.2g} %</b>; no contact of its range can leave more than "
            f"<b>{100 * now.ceiling:.2g} %</b>" + ("" if now.status == "converged" else f" ({now.status})")
        )
        self._left(now)
        self._right(now)
        # the notebook's own backend is not asked: a picture works everywhere
        kept = io.BytesIO()
        self.figure.savefig(kept, format="png", dpi=80)
        self.picture.value = kept.getvalue()
        return now

    def _left(self, now: Moved) -> None:
        from . import plots
        from .plots_style import SERIES

        self.left.clear()
        law = self.law.value
        plots.residue(now.curve_ohm, {law: now.curve_residue}, ceiling=now.curve_ceiling, ax=self.left)
        self.left.plot([self.ohm.value], [max(now.residue, self.left.get_ylim()[0])], "o", color=SERIES[1], markersize=9, label="here")

    def _right(self, now: Moved) -> None:
        from .plots_style import DASHES, INK, QUIET, SERIES, axes, legend, log_axis

        ax = self.right
        ax.clear()
        axes(ax)
        log_axis(ax, "x", "frequency", "Hz")
        ax.set_ylabel(f"at the ear, dB SPL ({EAR_DB:.0f} at 0 dB)", color=INK, fontsize=9)
        for model, color, dash in zip(MODELS, SERIES[1:], DASHES[1:], strict=True):
            ax.plot(now.threshold_hz, now.thresholds[model], color=color, linestyle=dash, linewidth=1.3, label=model)
        floor = -30.0
        shown = [(hertz, level) for hertz, level in zip(now.lines_hz, now.lines_db, strict=True) if level > floor]
        ax.vlines(TONE_HZ, floor, now.ear_db, color=QUIET, linewidth=3.0)
        ax.vlines([hertz for hertz, _ in shown], floor, [level for _, level in shown], color=SERIES[0], linewidth=1.6)
        ax.plot([hertz for hertz, _ in shown], [level for _, level in shown], "o", color=SERIES[0], label="harmonics")
        ax.set_xlim(200.0, 15e3)
        ax.set_ylim(floor, 105.0)
        legend(ax, loc="upper right")

    def _repr_mimebundle_(self, **how: Any) -> Any:
        return self.widget._repr_mimebundle_(**how)


def panel() -> Panel:
    """The what-if panel, to be the last line of a cell. Raises ModuleNotFoundError with what to install."""
    return Panel()
