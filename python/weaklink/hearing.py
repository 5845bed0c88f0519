"""What a listener would notice: frequency weightings.

Numbers in, a float out; arrays broadcast. Tags: [seen] read in a text, [memory] recalled, [derived] by this project.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from . import _core

if TYPE_CHECKING:
    from typing import TypeAlias

    # numpy itself loads when the first array comes
    import numpy.typing

    _Num: TypeAlias = float | numpy.typing.ArrayLike

__all__ = ["weighting_db"]


def weighting_db(frequency_hz: _Num, weighting: str = "A") -> Any:
    """Weight at a frequency (Hz, above zero), dB re 1 kHz: "none", "A", "BS.468" or "riaa".

    A: poles computed after IEC 61672-1:2013 Annex E [seen]. BS.468: fit [memory] within 0.05 dB of ITU-R BS.468-4 table 1 [seen];
    its noise figure needs a quasi-peak detector as well. riaa: IEC 60098 replay [seen]. The tables of the standards belong to
    exact frequencies 1000 * 10^(n/10), not to nominal ones.
    """
    return _core._weighting_db(frequency_hz, weighting)
