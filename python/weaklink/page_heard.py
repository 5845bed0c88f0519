"""The page's figure of what an ear makes of a residue: its spectrum over three models' thresholds, beside a loud and a quiet passage."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from . import hearing
from .page_svg import ADVANCE, WIDTH, _disc, _line, _text, figure

if TYPE_CHECKING:
    from .evidence import Evidence
    from .results import Assessment

# assumptions, printed with the figure
LOUD_DB, QUIET_DB, QUIET_HZ = 85.0, 45.0, 440.0
THIRDS_HZ = tuple(1000.0 * 2.0 ** (k / 3) for k in range(-12, 13))
LOWEST_DB, HIGHEST_DB = -20.0, 100.0
# a full dot over all and one under all differ in size too, not by colour alone
SIZES = {"able": 4.0, "open": 3.6, "calm": 1.8}


@dataclass(frozen=True)
class Passage:
    """What plays, the residue's level in each third of an octave beside it, and what the models say of it."""

    name: str
    maskers: tuple[hearing.Masker, ...]
    bands_db: float
    verdict: str


def residue_of(evidence: Evidence, assessment: Assessment) -> tuple[float, str] | None:
    """A residue as a ratio and where it comes from: measured, else the most that a suspect can do; None without either."""
    measured = [h.residue[1] for h in evidence.heard if h.residue and h.what != "clean"]
    if measured:
        return max(measured), "as measured"
    able = [f for f in assessment.findings if f.kind in ("proved", "able to account for it") and f.ceiling and math.isfinite(f.ceiling)]
    if not able:
        return None
    most = max(able, key=lambda f: f.ceiling or 0.0)
    return (most.ceiling or 0.0), f"the most that {most.contact} can do"


def passages(ratio: float, loud_db: float = LOUD_DB) -> tuple[Passage, Passage]:
    """A loud and a quiet passage with a residue of a ratio to each, spread evenly over thirds of an octave."""
    loud, quiet = hearing.programme(loud_db), (hearing.Masker(QUIET_HZ, QUIET_DB),)
    out = []
    for name, maskers, level in ((f"loud: programme, {loud_db:.0f} dB SPL", loud, loud_db), (f"quiet: one tone, {QUIET_DB:.0f} dB SPL", quiet, QUIET_DB)):
        each = level + 20.0 * math.log10(ratio) - 10.0 * math.log10(len(THIRDS_HZ))
        bands = [(f * 2 ** (-1 / 6), min(f * 2 ** (1 / 6), 16e3), each) for f in THIRDS_HZ]
        out.append(Passage(name, maskers, each, hearing.audible(maskers, noise_bands=bands).verdict))
    return out[0], out[1]


def heard(evidence: Evidence, assessment: Assessment) -> str:
    """The figure, or nothing where there is no residue to draw."""
    found = residue_of(evidence, assessment)
    if found is None or not 0.0 < found[0] < 10.0:
        return ""
    ratio, source = found
    parts, told = [], []
    top, bottom = 26.0, 216.0
    decade = 92.0
    grid = [20.0 * 800.0 ** (k / 160) for k in range(161)]

    def y(level: float) -> float:
        return bottom - (bottom - top) * (min(HIGHEST_DB, max(LOWEST_DB, level)) - LOWEST_DB) / (HIGHEST_DB - LOWEST_DB)

    # the level at which the fault was heard, where the sheet says it
    levels = [h.level_db for h in evidence.heard if h.level_db is not None and h.what != "clean"]
    for k, passage in enumerate(passages(ratio, min(100.0, max(levels)) if levels else LOUD_DB)):
        left = 58.0 + k * (WIDTH / 2)

        def x(hertz: float, left: float = left) -> float:
            return left + decade * math.log10(hertz / 20.0)

        for level in range(int(LOWEST_DB), int(HIGHEST_DB) + 1, 20):
            parts += [_line(left, y(level), x(20e3), y(level), "grid"), _text(left - 6, y(level) + 4, str(level), "end quiet")]
        parts += [_text(x(hertz), bottom + 16, label, "mid quiet") for hertz, label in ((100.0, "100"), (1e3, "1k"), (1e4, "10k"))]
        parts.append(_text(left - 6, 14, "dB SPL", "end quiet"))
        parts.append(_text(x(20e3), bottom + 30, "Hz", "end quiet"))
        parts.append(_text(left, 14, f"{passage.name}: {passage.verdict}", "bold"))
        masked = hearing.masked_thresholds(passage.maskers, grid)
        for model, classes in zip(masked.models, ("line", "line dashes", "line dots"), strict=True):
            points = " ".join(f"{x(f):.1f},{y(level):.1f}" for f, level in zip(grid, model.high_db, strict=True))
            parts.append(f'<polyline points="{points}" class="{classes}"/>')
        at = hearing.masked_thresholds(passage.maskers, list(THIRDS_HZ))
        if not LOWEST_DB <= passage.bands_db <= HIGHEST_DB:
            parts.append(_text(left + 4, bottom - 6, f"each third of the residue: {passage.bands_db:.0f} dB SPL, not in the picture", "quiet"))
        for hertz, low, high in zip(THIRDS_HZ, at.low_db, at.high_db, strict=True):
            if not LOWEST_DB <= passage.bands_db <= HIGHEST_DB:
                continue
            face = "able" if passage.bands_db >= high else "calm" if passage.bands_db < low else "open"
            parts.append(_disc(x(hertz), y(passage.bands_db), SIZES[face], face))
        told.append(f"{passage.name}: the residue is {passage.verdict}")
    shift, down = 12.0, bottom + 52
    for name, classes in zip(hearing.MODELS, ("line", "line dashes", "line dots"), strict=True):
        parts += [_line(shift, down, shift + 28, down, classes), _text(shift + 34, down + 4, name)]
        shift += 52 + ADVANCE * len(name)
    for face, label in (("able", "over all"), ("open", "over some"), ("calm", "under all")):
        parts += [_disc(shift, down, SIZES[face], face), _text(shift + 10, down + 4, label)]
        shift += 26 + ADVANCE * len(label)
    title = (
        f"A residue of {100 * ratio:.3g} % ({source}) over the masked thresholds of three models; it is taken to follow the signal and to spread "
        "evenly over thirds of an octave (assumptions), beside a loud and a quiet passage (assumed). A dot is one third by itself; the words above "
        "count all of them together"
    )
    return figure("heard", title, "; ".join(told), down + 14, parts)
