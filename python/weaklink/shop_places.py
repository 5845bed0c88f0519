"""What contacts of a log do where they stand: the physics over the whole log in one array call per kind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ._core import Contact, Load, Section, Source, _heard_from
from .extras import bad_input
from .shop_log import words

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

# the targets of `weaklink limits`
TARGET_LOSS_DB = 0.5
TARGET_RESIDUE = 1e-3


def section_of(kind: str) -> Section:
    """The typical place of a kind as a section with one contact, "contact" (common practice; `places` of the words)."""
    table = words()
    _, source_ohm, load_ohm, emf_v = table.places[table.kinds.index(kind)]
    return Section(
        kind,
        source=Source(emf_v=emf_v, resistance_ohm=source_ohm),
        path=[Contact("contact", resistance_ohm=0.0)],
        load=Load(resistance_ohm=load_ohm),
    )


# whether a contact is heard in its place
EXCLUDED, NOT_SETTLED, ABLE = 0.0, 1.0, 2.0


def heard_from(level_db: float | None = None) -> tuple[float, tuple[float, float], tuple[float, float]]:
    """What `assess` takes to be heard: the level at the ear (dB SPL, 80 where none is said), residue (ratio) and loss (dB), each
    below which nobody hears it and from which every model does."""
    return _heard_from(level_db)


def what_if(resistance_ohm: ArrayLike, kind: ArrayLike, *, level_db: float | None = None) -> NDArray[np.float64]:
    """Loss (dB), ceiling of the residue (ratio) and whether it is heard, of each contact in the typical place of its kind, at 1 kHz.

    Parameters
    ----------
    resistance_ohm
        Shape (n,), ohm; infinite and NaN give NaN.
    kind
        Shape (n,), codes of kinds as in :class:`BenchLog`.
    level_db
        Level at the ear, dB SPL, 20 to 110; 80 where none is said, as in `assess`.

    Returns
    -------
    array of shape (n, 3): loss_db; the most that a contact chattering between 0 and this resistance can leave (T1, which a resistive
    loop reaches); and 0 excluded, 1 not settled, 2 able. Excluded: loss and ceiling both below what any model of hearing hears (lowest
    threshold in quiet, nothing masks; 0.5 dB), as long as it does not jump past this resistance. Able: a loss that all notice (1.5 dB),
    or a ceiling that every model hears where it is placed best beside a tone of that level: heard, if it chatters so.
    Raises InputError for codes that are none, another shape, a level outside. Every contact stands by itself, so that any split of the rows gives the same bits: it runs in dask blocks as it is.
    """
    import numpy as np

    _, (never_below, surely_from), (least_loss_db, sure_loss_db) = _heard_from(level_db)
    ohm = np.asarray(resistance_ohm, dtype=np.float64)
    code, known = np.asarray(kind), len(words().kinds)
    if code.shape != ohm.shape:
        raise bad_input("kind", f"shape {code.shape}", f"allowed: that of resistance_ohm, {ohm.shape}")
    wrong = np.ones(code.shape, bool) if code.dtype.kind not in "iu" else (code < 0) | (code >= known)
    if wrong.any():
        raise bad_input("kind", code[wrong][0], f"allowed: codes of kinds, 0 to {known - 1}")
    out = np.full((*ohm.shape, 3), np.nan)
    for number in np.unique(code):
        here = (code == number) & np.isfinite(ohm)
        if not here.any():
            continue
        section = section_of(words().kinds[int(number)])
        values = ohm[here]
        loss = section.loss_db(1000.0, contacts={"contact": values})
        ceiling = section.ceiling(1000.0, ranges={"contact": (0.0, values)}).chatter
        able = (loss >= sure_loss_db) | (ceiling >= surely_from)
        excluded = (loss < least_loss_db) & (ceiling < never_below)
        out[here, 0], out[here, 1] = loss, ceiling
        out[here, 2] = np.where(able, ABLE, np.where(excluded, EXCLUDED, NOT_SETTLED))
    return out
