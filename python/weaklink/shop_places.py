"""What contacts of a log do where they stand: the physics over the whole log in one array call per kind."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ._core import Contact, Load, Section, Source
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


def what_if(resistance_ohm: ArrayLike, kind: ArrayLike) -> NDArray[np.float64]:
    """Loss (dB) and ceiling of the residue (ratio) of each contact in the typical place of its kind, at 1 kHz.

    Parameters
    ----------
    resistance_ohm
        Shape (n,), ohm; infinite and NaN give NaN.
    kind
        Shape (n,), codes of kinds as in :class:`BenchLog`.

    Returns
    -------
    array of shape (n, 2): loss_db, and the most that a contact chattering between 0 and this resistance can leave (T1).
    Every contact stands by itself, so that any split of the rows gives the same bits: it runs in dask blocks as it is.
    """
    import numpy as np

    ohm = np.asarray(resistance_ohm, dtype=np.float64)
    code = np.asarray(kind)
    out = np.full((*ohm.shape, 2), np.nan)
    for number in np.unique(code):
        here = (code == number) & np.isfinite(ohm)
        if not here.any():
            continue
        section = section_of(words().kinds[int(number)])
        values = ohm[here]
        out[here, 0] = section.loss_db(1000.0, contacts={"contact": values})
        out[here, 1] = section.ceiling(1000.0, ranges={"contact": (0.0, values)}).chatter
    return out
