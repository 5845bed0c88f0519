"""What an invented technician finds at stages, sources and loudspeakers: bias, direct voltage, what a swap of left and right shows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np

    from .judgement_layout import Layout

THERMAL_V = 0.025262
# how often each is looked at
LOOKED_AT = 0.2
# what is sound, and how far a meter is off: medians and geometric standard deviations of the judgement
BIAS_SET, DIRECT_SOUND, SEEN_SPREAD, SWAP_TELLS = (18e-3, 1.5), (2e-3, 4.0), 1.25, 0.97


class Guilty(Protocol):
    """A fault, as far as it matters here."""

    who: str
    way: str
    quiescent: float
    direct_v: float


def checked(layout: Layout, side: str, faults: Sequence[Guilty], elsewhere: bool, rng: np.random.Generator) -> str:
    """Tables of the sheet for one channel; elsewhere: what is wrong is nothing in the sheet."""
    text = ""
    for name, (nature, _) in layout.others().items():
        own = next((fault for fault in faults if fault.who == name), None)
        lines = []
        if nature == "power stage" and rng.random() < LOOKED_AT:
            median, spread = (own.quiescent * THERMAL_V, SEEN_SPREAD) if own and own.way == "under-biased" else BIAS_SET
            lines.append(f'bias = "{median * math.exp(math.log(spread) * rng.normal()):.6g} V"')
        if layout.drives_control(name) and rng.random() < LOOKED_AT:
            median, spread = (own.direct_v, SEEN_SPREAD) if own and own.way == "direct voltage" else DIRECT_SOUND
            lines.append(f'direct = "{median * math.exp(math.log(spread) * rng.normal()):.6g} V"')
        if nature in ("source", "loudspeaker") and (faults or elsewhere) and rng.random() < LOOKED_AT:
            moves = (own is not None) == (nature == "source")
            unsure = elsewhere or (own is not None and len(faults) > 1)
            if rng.random() > (0.5 if unsure else SWAP_TELLS):
                moves = not moves
            lines.append(f'swapped = "{"changes sides" if moves else "stays"}"')
        if lines:
            text += "\n".join(["[[checked]]", f'at = "{name}"', f'channel = "{side}"', *lines]) + "\n"
    return text
