"""The compiled part of weaklink: sections and chains of contacts, their linear response and ceilings, job sheets.

Conventions: SI units with the unit in the name; rms of a sine unless the name says peak; EMF is open circuit; loss is
positive for quieter; residue is a ratio to the fundamental; exp(+j omega t). ``_Num`` is a number or anything numpy takes
as an array of real numbers; all arguments of one call broadcast to one shape S; all scalars in, a float out (where there is no ``out``).
"""

import os
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Literal, Self, final

import numpy
import numpy.typing

type _Num = float | numpy.typing.ArrayLike
type _Floats = Any
type _Reals = numpy.typing.NDArray[numpy.float64]
type _Complexes = numpy.typing.NDArray[numpy.complex128]
type _Contacts = Mapping[str, _Num]
type _Ranges = Mapping[str, tuple[_Num, _Num]]

__all__ = [
    "WeaklinkError",
    "InputError",
    "InternalError",
    "Source",
    "Lead",
    "Load",
    "Film",
    "Contact",
    "Divider",
    "Stage",
    "Section",
    "Chain",
    "Ceiling",
    "LossRange",
    "TwoToneCeiling",
    "MusicCeiling",
    "ReadingsCeiling",
    "Attack",
    "try_ceiling",
    "Distortion",
    "TwoTone",
    "Residue",
    "LevelCycle",
    "Signature",
    "level_cycle",
    "residue_from_loss_range",
    "loss_range_for_residue",
    "Job",
    "load_job",
    "_reread_job",
    "_assess_json",
    "_evidence_json",
    "_draws",
    "_hypotheses",
    "_crossover_residue",
    "_priors",
    "_engineering",
    "typical",
    "_layouts",
    "_limits_json",
    "_dry_box_v",
    "_sheet_template",
    "_readings_template",
    "_schema_json",
    "_typical_values",
    "_law",
    "_laws",
    "_series",
    "_spots_ohm",
    "_small_spot_ohm",
    "_tunnelling_film",
    "_fritting",
    "_grown",
    "_time_to_s",
    "_metals_json",
    "_environments",
    "_hearing",
    "_hearing_laws",
    "_hearing_names",
    "_masked",
    "_audible",
    "_smallest_noticeable_residue",
    "_programme",
    "_geddes_lee",
    "_weighted_harmonics",
    "_lanes",
    "_noticeable",
    "_fit_film_json",
    "_harmonics_json",
    "_log_read",
    "_log_words",
    "_break_even",
    "_heard_from",
    "_cost_per_good_year",
    "_ROOM_K",
    "_LORENZ_V2_PER_K2",
    "_HOOGE",
    "_BREAKDOWN_FIELD_V_PER_M",
    "__version__",
    "TYPICAL_VERSION",
]

__version__: str
TYPICAL_VERSION: int
_ROOM_K: float
_LORENZ_V2_PER_K2: float
_HOOGE: float
_BREAKDOWN_FIELD_V_PER_M: float

class WeaklinkError(Exception):
    """Whatever weaklink itself raises."""

class InputError(WeaklinkError):
    """Bad input: place, value and what is allowed of the first fault; every fault in ``faults``."""

    place: str
    value: str
    allowed: str
    file: str | None
    line: int | None
    faults: list[tuple[str | None, int | None, str, str, str]]

class InternalError(WeaklinkError):
    """A fault of weaklink itself; please report it."""

class _Value:
    def __eq__(self, other: object, /) -> bool: ...
    def __hash__(self, /) -> int: ...
    def __reduce__(self, /) -> tuple[Any, tuple[Any]]: ...
    def to_dict(self, /) -> dict[str, Any]:
        """Plain dicts, lists, numbers and text; an infinite upper end of a range is None."""
    @classmethod
    def from_dict(cls, /, data: Mapping[str, Any]) -> Self:
        """The inverse of to_dict; InputError for anything else."""

@final
class Source(_Value):
    """EMF (V rms, open circuit) behind ``resistance_ohm + j omega inductance_h``; all finite, zero or more."""

    def __new__(cls, /, *, emf_v: float, resistance_ohm: float = 0.0, inductance_h: float = 0.0) -> Self: ...
    @property
    def emf_v(self, /) -> float:
        """EMF, open circuit, V rms, zero or more."""
    @property
    def resistance_ohm(self, /) -> float:
        """Series resistance, ohm, zero or more."""
    @property
    def inductance_h(self, /) -> float:
        """Series inductance, H, zero or more."""

@final
class Lead(_Value):
    """Series resistance and inductance, then capacitance to the return; all finite, zero or more."""

    def __new__(
        cls, /, *, resistance_ohm: float = 0.0, inductance_h: float = 0.0, capacitance_f: float = 0.0
    ) -> Self: ...
    @property
    def resistance_ohm(self, /) -> float:
        """Series resistance, both conductors together, ohm, zero or more."""
    @property
    def inductance_h(self, /) -> float:
        """Series inductance, H, zero or more."""
    @property
    def capacitance_f(self, /) -> float:
        """Capacitance to the return, after the series part, F, zero or more."""

@final
class Load(_Value):
    """Resistance (ohm, above zero) with a capacitance across it, or a loudspeaker."""

    def __new__(cls, /, *, resistance_ohm: float, capacitance_f: float = 0.0) -> Self: ...
    @staticmethod
    def loudspeaker(
        *,
        nominal_ohm: float,
        voice_coil_ohm: float | None = None,
        voice_coil_h: float = 0.0,
        resonance_hz: float | None = None,
        mechanical_q: float | None = None,
        electrical_q: float | None = None,
        capacitance_f: float = 0.0,
    ) -> Load:
        """A moving-coil loudspeaker in its box: Z = Re + j w Le + Re (Qms/Qes) / (1 + j Qms (f/fs - fs/f)) (Small 1972).

        voice_coil_ohm Re (default 80 % of nominal, IEC 60268-5), voice_coil_h Le, resonance_hz fs, mechanical_q Qms,
        electrical_q Qes, all above zero (Le zero or more). With nominal_ohm alone it is that resistance. Small signals.
        """
    def impedance_ohm(self, /, frequency_hz: _Num) -> Any:
        """Complex impedance at a frequency (Hz, above zero), ohm, shape of the argument."""
    def total_q(self, /, series_ohm: _Num) -> _Floats:
        """Qts with a resistance (ohm) in series: 1/Q = 1/Qms + Re/(Qes (Re + R)) (Small 1972); Le is left out.

        InputError for a load without a resonance.
        """
    @property
    def voice_coil_ohm(self, /) -> float | None:
        """Resistance of the voice coil, Re, ohm, above zero; None for a plain resistance."""
    @property
    def voice_coil_h(self, /) -> float | None:
        """Inductance of the voice coil, Le, H, zero or more; None for a plain resistance."""
    @property
    def resonance_hz(self, /) -> float | None:
        """Resonance in the box, fs, Hz, above zero; None for a plain resistance."""
    @property
    def mechanical_q(self, /) -> float | None:
        """Q of the resonance by mechanical losses, Qms, above zero; None for a plain resistance."""
    @property
    def electrical_q(self, /) -> float | None:
        """Q of the resonance by the voice coil's resistance, Qes, above zero; None for a plain resistance."""
    @property
    def resistance_ohm(self, /) -> float:
        """Resistance, or nominal impedance of a loudspeaker, ohm, above zero."""
    @property
    def capacitance_f(self, /) -> float:
        """Capacitance across it, F, zero or more."""

@final
class Film(_Value):
    """Film law by its zero-voltage resistance R (ohm, above zero).

    ohmic: i = v/R. tunnelling: (V0/R) sinh(v/V0), V0 = scale_v (low-voltage form of Simmons 1963).
    rectifying: (1-l)/R U expm1(v/U) + l v/R, U = ideality kT/e at 293.15 K, l = leak_ratio in (0, 1].
    bridged: (VT/R) atan(v/VT), VT = 2 sqrt(L) T0 = 91.6 mV (heated constriction, Holm 1967).
    """

    @staticmethod
    def ohmic(*, resistance_ohm: float) -> Film:
        """i = v/R; resistance_ohm R finite, zero (a perfect contact) or more. Raises InputError."""
    @staticmethod
    def tunnelling(*, resistance_ohm: float, scale_v: float) -> Film:
        """i = (V0/R) sinh(v/V0); resistance_ohm R and scale_v V0 (V) finite, above zero. Raises InputError."""
    @staticmethod
    def rectifying(*, resistance_ohm: float, ideality: float = 1.0, leak_ratio: float = 0.1) -> Film:
        """i = (1-l)/R U expm1(v/U) + l v/R, U = ideality kT/e at 293.15 K; leak_ratio l above 0, at most 1.

        resistance_ohm R finite, above zero; ideality 1 or more. Raises InputError.
        """
    @staticmethod
    def bridged(*, resistance_ohm: float) -> Film:
        """i = (VT/R) atan(v/VT), VT = 91.6 mV; resistance_ohm R finite, above zero. Raises InputError."""
    @property
    def law(self, /) -> str:
        """Name of the law: "ohmic", "tunnelling", "rectifying" or "bridged"."""
    @property
    def resistance_ohm(self, /) -> float:
        """Zero-voltage resistance R, ohm, above zero; ohmic: zero or more, infinite for an open contact."""
    def current_a(self, /, voltage_v: _Num) -> _Floats:
        """Current at a voltage, A, shape of the argument."""
    def slope_s(self, /, voltage_v: _Num) -> _Floats:
        """Slope di/dv at a voltage, S."""
    def chord_ohm(self, /, voltage_v: _Num) -> _Floats:
        """Chord v/i at a voltage, ohm; at zero voltage the zero-voltage resistance."""
    def voltage_v(self, /, current_a: _Num) -> _Floats:
        """Voltage at a current, V, the inverse of current_a; InputError past a bridge's end, |i| R = (pi/2) VT."""

@final
class Contact(_Value):
    """One mating pair; exactly one of ``resistance_ohm`` (ohm, zero is perfect) and ``film``.

    constriction_ohm: metal in series with the film. range_ohm: (low, high) chords in use, high may be infinite; default from
    zero to the largest chord up to the peak voltage in use. role: "signal" or "return" conductor of this channel; "shared
    return" of two equal channels; "shunt" across the signal, where resistance_ohm=inf is an open, perfect contact and the
    default range is from its resistance to open; "feedback", "supply" and "bias" contacts are known to job sheets, no
    Section takes them. direct_current_a: largest direct current through it, A; ceilings grow by it.
    """

    def __new__(
        cls,
        /,
        name: str,
        *,
        resistance_ohm: float | None = None,
        film: Film | None = None,
        constriction_ohm: float = 0.0,
        range_ohm: tuple[float, float] | None = None,
        role: Literal["signal", "return", "shared return", "shunt", "feedback", "supply", "bias"] = "signal",
        direct_current_a: float = 0.0,
    ) -> Self: ...
    @property
    def name(self, /) -> str:
        """Its name, with at least one letter; every contact of a section or chain has its own."""
    @property
    def resistance_ohm(self, /) -> float:
        """Zero-voltage resistance of the film, constriction not included, ohm, zero or more; infinite for an open one."""
    @property
    def film(self, /) -> Film:
        """Its film law; ohmic where it was made of ``resistance_ohm``."""
    @property
    def constriction_ohm(self, /) -> float:
        """Metal in series with the film, ohm, zero or more."""
    @property
    def range_ohm(self, /) -> tuple[float, float] | None:
        """Smallest and largest chord in use, ohm, 0 <= low <= high, high may be infinite; None for the default."""
    @property
    def role(self, /) -> str:
        """"signal", "return", "shared return", "shunt", "feedback", "supply" or "bias"."""
    @property
    def direct_current_a(self, /) -> float:
        """Largest direct current through it, A, zero or more."""

@final
class Divider(_Value):
    """A control in a path: of its track R at the voltage ratio a, (1-a) R in series, a R to the return, then the wiper.

    track_ohm: above zero. setting_db: 20 log10 a, 0 dB is fully up, below it negative. wiper: its contact, None for a
    perfect one; it is one of the contacts of the section.
    """

    def __new__(
        cls, /, name: str, *, track_ohm: float, setting_db: float, wiper: Contact | None = None
    ) -> Self: ...
    @property
    def name(self, /) -> str:
        """Its name."""
    @property
    def track_ohm(self, /) -> float:
        """Resistance of the whole track, ohm, above zero."""
    @property
    def setting_db(self, /) -> float:
        """Voltage ratio at the wiper, 20 log10 a, dB, zero (fully up) or below."""
    @property
    def wiper(self, /) -> Contact | None:
        """Contact of the wiper; None for a perfect one."""

@final
class Stage(_Value):
    """Active stage: gain at 1 kHz (dB), equalisation "flat", "riaa" or "riaa 7950 us" (IEC 60098), output resistance.

    At most 400 dB either way, and so for the stages of a chain together."""

    def __new__(
        cls,
        /,
        name: str,
        *,
        gain_db: float = 0.0,
        equalisation: Literal["flat", "riaa", "riaa 7950 us"] = "flat",
        output_resistance_ohm: float = 0.0,
    ) -> Self: ...
    @property
    def name(self, /) -> str:
        """Its name."""
    @property
    def gain_db(self, /) -> float:
        """Gain at 1 kHz, dB, -400 to 400."""
    @property
    def equalisation(self, /) -> str:
        """"flat", "riaa" or "riaa 7950 us"."""
    @property
    def output_resistance_ohm(self, /) -> float:
        """Output resistance, ohm, zero or more."""

@final
class Ceiling:
    """Most residue that any contacts in their ranges can cause (bounds T1, T2, T4), ratios to the fundamental, shape S.

    harmonics: steady film, multiples of the driven frequency in the band (NaN if there are none).
    chatter: any law, memory or vibration, all frequencies of the band. NaN where status is not "holds".
    Over the band the supremum is enclosed: never too small, no frequency left out, within 1e-9 of it where rounding allows.
    """

    @property
    def harmonics(self, /) -> _Floats:
        """Most residue of a steady film over the fundamental, zero or more, shape S; NaN for no harmonic or no ceiling."""
    @property
    def chatter(self, /) -> _Floats:
        """Most residue of any law or movement over the fundamental, zero or more, shape S; NaN for no ceiling."""
    @property
    def applies(self, /) -> Any:
        """Whether there is a ceiling, bool or array of bool."""
    @property
    def status(self, /) -> Any:
        """"holds", "can open", "no fundamental", "can short", "no bound", "direct current", and of other bounds
        "several loops", "shared return" or "not resistive"; text or array of text."""
    def reason(self, /, index: int | tuple[int, ...] | None = None) -> str:
        """The status of one element as a sentence; without an index the worst one's."""

@final
class TwoToneCeiling:
    """Most distortion of two tones that contacts of one loop in their ranges can cause (bound T3), ratios, shape S.

    d2, d3, rms: as in TwoTone, rms over all products of the band. NaN where there is no bound: one tone can drown the other.
    definition: "modulation", or "difference" for equal tones.
    """

    @property
    def definition(self, /) -> str:
        """"modulation", or "difference" for equal tones."""
    @property
    def d2(self, /) -> _Floats:
        """Most d2 as in TwoTone, a ratio, zero or more, shape S; NaN for no bound."""
    @property
    def d3(self, /) -> _Floats:
        """Most d3 as in TwoTone, a ratio, zero or more, shape S; NaN for no bound."""
    @property
    def rms(self, /) -> _Floats:
        """Most rms of all products of the band, a ratio, zero or more, shape S; NaN for no bound."""
    @property
    def applies(self, /) -> Any:
        """Whether all three have a bound, bool or array of bool."""
    @property
    def status(self, /) -> Any:
        """As Ceiling.status."""
    def reason(self, /, index: int | tuple[int, ...] | None = None) -> str:
        """The status of one element as a sentence; without an index the worst one's."""

@final
class MusicCeiling:
    """Most that contacts can leave of any signal after the best single gain (bound T5), ratios, shape S; resistive chains.

    to_copy: residue over the fitted copy, sinh(rho/2). to_total: over the whole output, tanh(rho/2). rho: logarithm of the
    largest over the least gain. NaN where status is not "holds".
    """

    @property
    def to_copy(self, /) -> _Floats:
        """Most residue over the fitted copy, sinh(rho/2), zero or more, shape S; NaN for no bound."""
    @property
    def to_total(self, /) -> _Floats:
        """Most residue over the whole output, tanh(rho/2), 0 to 1, shape S; NaN for no bound."""
    @property
    def applies(self, /) -> Any:
        """Whether there is a bound, bool or array of bool."""
    @property
    def status(self, /) -> Any:
        """As Ceiling.status."""
    def reason(self, /, index: int | tuple[int, ...] | None = None) -> str:
        """The status of one element as a sentence; without an index the worst one's."""

@final
class ReadingsCeiling:
    """Most residue of contacts read in ohms and in millivolts together (bound T9), a ratio, shape S; NaN where status is not "holds"."""

    @property
    def chatter(self, /) -> _Floats:
        """Most residue of any law or movement over the fundamental, zero or more, shape S; NaN for no bound."""
    @property
    def applies(self, /) -> Any:
        """Whether there is a bound, bool or array of bool."""
    @property
    def status(self, /) -> Any:
        """As Ceiling.status; "read differently": no sum of readings that stand like this."""
    def reason(self, /, index: int | tuple[int, ...] | None = None) -> str:
        """The status of one element as a sentence; without an index the worst one's."""

@final
class Attack:
    """The best attack on a ceiling that a search found: contacts that jump between two resistances.

    best: residue over fundamental that it leaves. bound: the ceiling, on the lines that the samples have. ratio: their ratio,
    never above 1. ohm: float64 (contact, sample), in the order of ``contacts``; time_s: float64 (sample,).
    """

    @property
    def best(self, /) -> float:
        """Largest residue over the fundamental that was found, a ratio, zero or more."""
    @property
    def bound(self, /) -> float:
        """The ceiling on the lines that the samples have, a ratio, zero or more."""
    @property
    def ratio(self, /) -> float:
        """best over bound, 0 to 1; 0 where the bound is zero."""
    @property
    def contacts(self, /) -> list[str]:
        """Names of the contacts that jump, in the order of ``ohm``."""
    @property
    def ohm(self, /) -> numpy.typing.NDArray[numpy.float64]:
        """Resistance of each contact at each sample in the best attack, ohm, float64, shape (contact, sample)."""
    @property
    def time_s(self, /) -> numpy.typing.NDArray[numpy.float64]:
        """Time of each sample from the first on, s, float64, shape (sample,)."""
    @property
    def trials(self, /) -> int:
        """Starts of the search, one or more."""
    @property
    def seed(self, /) -> int:
        """Seed of the search, zero or more."""

def try_ceiling(
    system: Section | Chain,
    swing_ohm: float | Mapping[str, float | tuple[float, float]],
    *,
    trials: int = 1000,
    seed: int = 0,
    frequency_hz: float = 1000.0,
    periods: int = 1,
    samples: int | None = None,
) -> Attack:
    """Attacks the ceiling: searches for contacts that jump within their ranges and leave the most residue.

    swing_ohm: how far contacts jump above their resistance (ohm, all of them), or by name so much or (low, high); across the
    signal (low, high), one a section. trials: starts; from each the best jump is taken until none helps. periods: of the tone,
    in ``samples`` odd samples (default 21, 27, 39): one attacks ``harmonics``, two or three ``chatter``. The same seed gives the
    same answer. No direct current, no shared return. Raises InputError; Ctrl-C stops it.
    """

@final
class LossRange:
    """Least and greatest loss of a tone over all that contacts in a range can do (bound T7), dB, shape S.

    NaN where status is not "holds"; high_db is infinite for a contact that can open.
    """

    @property
    def low_db(self, /) -> _Floats:
        """Least loss, dB, negative is louder, shape S; NaN for no range."""
    @property
    def high_db(self, /) -> _Floats:
        """Greatest loss, dB, at least low_db, shape S; infinite for a contact that can open, NaN for no range."""
    @property
    def applies(self, /) -> Any:
        """Whether there is a range, bool or array of bool."""
    @property
    def status(self, /) -> Any:
        """As Ceiling.status."""
    def reason(self, /, index: int | tuple[int, ...] | None = None) -> str:
        """The status of one element as a sentence; without an index the worst one's."""

@final
class Distortion:
    """What films do to one tone at the output, shape S; direct current is not counted.

    With a contact in a shared return both channels are driven alike. NaN in ``harmonics`` and ``thd_f`` where no fundamental
    reaches the output; elsewhere a number even when not converged, with its ``status`` and ``error_bound``.
    """

    @property
    def thd_f(self, /) -> _Floats:
        """sqrt(U2^2 + U3^2 + ...)/U1, all harmonics that the samples hold (IEC 60268-3)."""
    @property
    def thd_r(self, /) -> _Floats:
        """The same referred to the total: thd_f/sqrt(1 + thd_f^2)."""
    @property
    def order(self, /) -> Any:
        """Orders of ``harmonics``, 2, 3, ..., shape (n,)."""
    @property
    def harmonics(self, /) -> Any:
        """Complex harmonics over the fundamental, S + (n,): x(t) = cos wt + sum Re h_n exp(j n w t), t = 0 at its crest."""
    @property
    def fundamental_db(self, /) -> _Floats:
        """The fundamental against the same network with every film at its zero-voltage resistance, dB, positive is louder.

        What the contacts take at this level is loss_db(...) - fundamental_db.
        """
    @property
    def error_bound(self, /) -> _Floats:
        """Bound of the error of thd_f, from what the equations leave over on a finer grid of samples."""
    @property
    def rounds(self, /) -> Any:
        """Newton and averaging rounds, all sections and grids."""
    @property
    def chord_ohm(self, /) -> dict[str, tuple[_Floats, _Floats]]:
        """Smallest and largest v/i of each contact over the period, ohm."""
    @property
    def converged(self, /) -> Any:
        """Whether status is "converged", bool or array of bool."""
    @property
    def status(self, /) -> Any:
        """"converged", "not converged" or "no fundamental"; text or array of text."""
    def reason(self, /, index: int | tuple[int, ...] | None = None) -> str:
        """The status of one element as a sentence, with what to try; without an index the worst one's."""

@final
class TwoTone:
    """What films do to two tones at the output, shape S; U(k1, k2) is the level of the product k1 low_hz + k2 high_hz.

    definition "modulation" (unequal tones, IEC 60268-3 14.12.7 [memory]): d2 = (U(-1,1) + U(1,1))/U(0,1), d3 = (U(-2,1) +
    U(2,1))/U(0,1), rms: all sidebands of the upper tone over it. "difference" (equal tones, 14.12.8): d2 = U(-1,1)/(2 U(0,1)),
    d3 = (U(2,-1) + U(-1,2))/(2 U(0,1)), rms: all products over the root of the sum of squares of the tones.
    """

    @property
    def definition(self, /) -> str:
        """"modulation", or "difference" for equal tones."""
    @property
    def d2(self, /) -> _Floats:
        """Products of the second order over the upper tone, by the definition, a ratio, zero or more, shape S."""
    @property
    def d3(self, /) -> _Floats:
        """Products of the third order over the upper tone, by the definition, a ratio, zero or more, shape S."""
    @property
    def rms(self, /) -> _Floats:
        """All products together over the upper tone or both, by the definition, a ratio, zero or more, shape S."""
    @property
    def order(self, /) -> list[tuple[int, int]]:
        """(k1, k2) of the listed products, up to the fifth order; n of them."""
    @property
    def frequency_hz(self, /) -> Any:
        """Frequency of each product, Hz, S + (n,)."""
    @property
    def level(self, /) -> Any:
        """Level of each product over the upper tone, S + (n,)."""
    @property
    def error_bound(self, /) -> _Floats:
        """Bound of the error of the output over the upper tone."""
    @property
    def rounds(self, /) -> Any:
        """As Distortion.rounds."""
    @property
    def converged(self, /) -> Any:
        """As Distortion.converged."""
    @property
    def status(self, /) -> Any:
        """As Distortion.status."""
    def reason(self, /, index: int | tuple[int, ...] | None = None) -> str:
        """The status of one element as a sentence; without an index the worst one's."""

@final
class LevelCycle:
    """Levels up, down, and each again after a rest; made by level_cycle."""

    @property
    def emf_v(self, /) -> _Floats:
        """Levels of the first source as they rise, V rms, above zero, shape S."""
    @property
    def up(self, /) -> Distortion:
        """Going up to the highest level, in the order of emf_v."""
    @property
    def down(self, /) -> Distortion:
        """Coming down from the highest level, in the order of emf_v."""
    @property
    def after_rest(self, /) -> Distortion:
        """Each level put on after a rest: whole films again."""
    @property
    def bridge_ohm(self, /) -> dict[str, tuple[_Floats, _Floats, _Floats]]:
        """Resistance of each contact's bridge up, down and after rest, ohm; NaN while its film is whole."""
    @property
    def unique(self, /) -> Any:
        """Whether up and down find the same state; where not, the answer depends on what came before."""

@final
class Signature:
    """What tells one law from another, shape S.

    Where a law bends little: rectifying order 2 and slope 1; tunnelling order 3, slope 2, louder with level; a heated
    bridge order 3, slope 2, quieter with level. Chatter follows the level: slope 0.
    """

    @property
    def order(self, /) -> Any:
        """Order of the largest of the harmonics 2 to 11; 0 for none."""
    @property
    def slope(self, /) -> _Floats:
        """d ln thd_f / d ln emf_v, from two levels 1 % over and under."""
    @property
    def fundamental_db(self, /) -> _Floats:
        """As Distortion.fundamental_db."""
    @property
    def converged(self, /) -> Any:
        """As Distortion.converged."""
    @property
    def status(self, /) -> Any:
        """As Distortion.status."""

@final
class Residue:
    """What a notch leaves of a tone's output in a band, weighted, as ratios to the tone (unweighted), shape S."""

    @property
    def total(self, /) -> _Floats:
        """Root of the sum of squares of all parts: THD+N referred to the tone."""
    @property
    def harmonics(self, /) -> _Floats:
        """Harmonics that lie in the band, from the steady state."""
    @property
    def chatter(self, /) -> _Floats:
        """What chattering contacts make in the band, from their random telegraphs."""
    @property
    def johnson(self, /) -> _Floats:
        """Johnson noise of every resistance of every section at 293.15 K; stages add none of their own."""
    @property
    def contact_noise(self, /) -> _Floats:
        """1/f noise of contacts under the tone's and the direct current."""
    @property
    def notch_reading(self, /) -> _Floats:
        """total/sqrt(1 + total^2): what a meter shows that refers the rest to the whole (AES17, IEC 60268-3)."""
    @property
    def crackle_per_s(self, /) -> _Floats:
        """Changes of chattering contacts per second, 0 for none; NaN above 20 per second, where they fuse [memory]."""
    @property
    def converged(self, /) -> Any:
        """As Distortion.converged."""
    @property
    def status(self, /) -> Any:
        """As Distortion.status."""
    def reason(self, /, index: int | tuple[int, ...] | None = None) -> str:
        """The status of one element as a sentence; without an index the worst one's."""

class _System(_Value):
    @property
    def contact_names(self, /) -> list[str]:
        """Names of its contacts in the order of the signal, wipers of controls included."""
    def transfer(self, /, frequency_hz: _Num, *, contacts: _Contacts | None = None, out: _Complexes | None = None) -> Any:
        """Complex V(load)/EMF, through all stages of a chain. contacts: zero-voltage ohms by name. Raises InputError.

        With a contact in a shared return this channel is driven and the other one, its equal, is silent. out: as loss_db, complex128.
        """
    def loss_db(self, /, frequency_hz: _Num, *, contacts: _Contacts | None = None, out: _Reals | None = None) -> _Floats:
        """20 log10 |transfer with perfect contacts / transfer|, dB: positive is quieter. Raises InputError.

        out: float64 array of shape S in C order (a memory map too) that is written and returned in place of a new one; large sweeps one after
        another save the time for new memory. Memory that arguments are read from is refused (two maps of one file are not seen to be one), and so
        is an array that another thread's call uses. A call that is interrupted leaves part of it written.
        """
    def crosstalk_db(self, /, frequency_hz: _Num, *, contacts: _Contacts | None = None, out: _Reals | None = None) -> _Floats:
        """Level of the silent channel over the driven one, dB, through contacts in a shared return; -inf without one.

        Both channels alike. One resistance Rg between sources Rs and loads RL: 20 log10(Rg/(Rs+RL+Rg)), in antiphase
        (common-impedance coupling, Ott). out: as loss_db. Raises InputError.
        """
    def damping_factor(self, /, frequency_hz: _Num = 1000.0, *, contacts: _Contacts | None = None) -> _Floats:
        """Nominal impedance of the last load over |what it looks back into|: source, leads, contacts. inf for none."""
    def dissipation_w(
        self, /, contact: str, frequency_hz: _Num, *, emf_v: _Num | None = None, contacts: _Contacts | None = None
    ) -> _Floats:
        """Power that the contact's small-signal resistance takes from a tone, W; emf_v: first source's EMF, V rms."""
    def millivolt_bound(
        self,
        /,
        contact: str,
        *,
        across_v: _Num,
        load_v: _Num,
        frequency_hz: _Num,
        band_hz: tuple[float, float] = (20.0, 20000.0),
    ) -> _Floats:
        """Bound T8: most residue at the output, sup over the band of |T/M| across_v/load_v; no law, no ohms are needed.

        across_v: rms voltage across the contact while a tone plays (V), load_v: at its section's load. Holds for the time
        and state of the measurement. InputError for a contact across the signal or in a shared return.
        """
    def distortion(
        self,
        /,
        frequency_hz: _Num,
        *,
        emf_v: _Num | None = None,
        contacts: _Contacts | None = None,
        harmonics: int = 10,
    ) -> Distortion:
        """Steady state of every film for a tone: harmonics at the output. emf_v: first source's EMF, V rms.

        harmonics: how many are listed, from the second on (1 to 1000). Contacts may stand anywhere, in any number; what one
        section makes drives the next. Raises InputError.
        """
    def signature(
        self, /, frequency_hz: _Num, *, emf_v: _Num | None = None, contacts: _Contacts | None = None
    ) -> Signature:
        """Leading harmonic, slope with level and change of the fundamental of a tone. Raises InputError."""
    def two_tone(
        self,
        /,
        low_hz: _Num,
        high_hz: _Num,
        *,
        ratio: float = 4.0,
        emf_v: _Num | None = None,
        contacts: _Contacts | None = None,
    ) -> TwoTone:
        """Steady state for two tones whose amplitudes are as ``ratio`` to 1, lower to upper; 1 for the difference form.

        emf_v: V rms of the sine that has the same peak as the two together. The usual pairs: 60 Hz and 7 kHz or 250 Hz and
        8 kHz, 4:1; 19 and 20 kHz or 11 and 12 kHz, 1:1. They need no common period. Raises InputError.
        """
    def residue(
        self,
        /,
        frequency_hz: _Num,
        *,
        emf_v: _Num | None = None,
        contacts: _Contacts | None = None,
        chatter: Mapping[str, tuple[_Num, _Num, _Num, _Num]] | None = None,
        flicker: Mapping[str, _Num] | None = None,
        band_hz: tuple[float, float] = (20.0, 20000.0),
        weighting: Literal["none", "A", "BS.468", "riaa"] = "none",
        notch_q: float | None = None,
    ) -> Residue:
        """Harmonics, chatter and noise beside a tone at the output. emf_v: first source's EMF, V rms.

        chatter: name to (low_ohm, high_ohm, dwell_low_s, dwell_high_s), a random telegraph (Machlup 1954 [memory]) that is slow
        against the section's time constants, in place of the contact's film; exact in a resistive loop. flicker: name to the 1/f coefficient C of S_V/V^2 = C/f (see
        weaklink.physics), taken from 1 Hz beside the tone on. notch_q: Q of the notch, None for one that takes the tone alone.
        Raises InputError.
        """
    def johnson_v(
        self,
        /,
        *,
        contacts: _Contacts | None = None,
        band_hz: tuple[float, float] = (20.0, 20000.0),
        weighting: Literal["none", "A", "BS.468", "riaa"] = "none",
    ) -> _Floats:
        """Johnson noise at the output in a band, V rms, at 293.15 K: sqrt of the integral of 4 k T Re Z over it."""
    def imbalance_db(
        self, /, frequency_hz: _Num, *, left: _Contacts | None = None, right: _Contacts | None = None
    ) -> _Floats:
        """Loss with the right channel's contacts minus loss with the left one's, dB: positive is right quieter."""
    def loss_range_db(
        self, /, frequency_hz: _Num, *, ranges: _Ranges, contacts: _Contacts | None = None
    ) -> LossRange:
        """Bound T7: 20 log10((|M + Rmid| -+ Delta)/|M|), M the loop seen from the contact, for a tone at ``frequency_hz``.

        ranges: name to (low, high) ohm of contacts of one loop (or one across the signal); the others stay as they are.
        """
    def response_change_db(
        self, /, *, contacts: _Contacts | None = None, band_hz: tuple[float, float] = (20.0, 20000.0)
    ) -> _Floats:
        """Largest minus smallest loss over a band, dB."""
    def ceiling(
        self,
        /,
        frequency_hz: _Num,
        *,
        ranges: _Ranges | None = None,
        emf_v: _Num | None = None,
        contacts: _Contacts | None = None,
        band_hz: tuple[float, float] = (20.0, 20000.0),
        other_channel: float | None = 1.0,
    ) -> Ceiling:
        """Bound T1 (one loop), T2 (several contacts anywhere in the chain) or T4 (no reactances) for a tone at ``frequency_hz``.

        ranges: name to (low, high) ohm of the contacts that may move, the others stay at their resistance; without it every
        contact moves in its own range, by default up to its largest chord at the peak that ``emf_v`` (V rms, default the
        source's) puts on it. Contacts of one loop are added; others are bound by T2, whose weights are searched. A direct
        current (``direct_current_a`` of a contact) counts beside ``emf_v``. With a contact in a shared return both channels are
        alike, ``other_channel`` is the other one's EMF over this one's at this frequency (1: the same, 0: silent; None: another
        programme, which is refused), and what moves here has a twin there.
        """
    def two_tone_ceiling(
        self,
        /,
        low_hz: _Num,
        high_hz: _Num,
        *,
        ranges: _Ranges,
        ratio: float = 4.0,
        emf_v: _Num | None = None,
        contacts: _Contacts | None = None,
        band_hz: tuple[float, float] = (20.0, 20000.0),
    ) -> TwoToneCeiling:
        """Bound T3: most distortion of two tones whose EMFs are as ``ratio`` to 1, lower to upper.

        ranges: name to (low, high) ohm of contacts of one loop (or one across the signal). emf_v counts beside a direct
        current only. Products that fall on a tone are left out of d2 and d3, which are weighed in time (tens of milliseconds a point) unless
        a direct current runs through the contact. Raises InputError.
        """
    def ceiling_by_readings(
        self,
        /,
        frequency_hz: _Num,
        *,
        ranges: _Ranges | None = None,
        across: _Contacts | None = None,
        band_hz: tuple[float, float] = (20.0, 20000.0),
    ) -> ReadingsCeiling:
        """Bound T9: most residue of contacts read in ohms and contacts read in millivolts across them, all together.

        ranges: name to (low, high) ohm. across: name to true rms volts across it over volts of the tone at its section's load,
        while a tone plays. Contacts in neither are perfect. Millivolts may stand in later sections than ohms, or in one section
        with them if nothing moves before it; else the status says why there is none. Raises InputError.
        """
    def music_ceiling(self, /, *, ranges: _Ranges, contacts: _Contacts | None = None) -> MusicCeiling:
        """Bound T5: what contacts can leave of any signal after the best single gain; contacts anywhere, chain resistive.

        ranges: name to (low, high) ohm. Raises InputError.
        """

@final
class Section(_System):
    """Source, path (contacts, leads and controls in the order of the signal) and load; source=None after a stage of a chain."""

    def __new__(cls, /, name: str, *, source: Source | None, path: Iterable[Contact | Lead | Divider], load: Load) -> Self: ...
    @property
    def name(self, /) -> str:
        """Its name."""
    @property
    def source(self, /) -> Source | None:
        """Its source; None after a stage of a chain."""
    @property
    def path(self, /) -> list[Contact | Lead | Divider]:
        """Contacts, leads and controls from the source to the load, a new list."""
    @property
    def load(self, /) -> Load:
        """What it ends in."""
    def with_contact(self, /, name: str, **changes: Any) -> Section:
        """A copy with one contact changed; changes are the arguments of Contact."""
    def with_source(self, /, **changes: Any) -> Section:
        """A copy with its source changed; changes are the arguments of Source."""

@final
class Chain(_System):
    """Sections and stages in order; the first section has a source, a section after a stage has none."""

    def __new__(cls, /, items: Iterable[Section | Stage]) -> Self: ...
    @property
    def items(self, /) -> list[Section | Stage]:
        """Sections and stages from the first source to the last load, a new list."""
    def with_contact(self, /, name: str, **changes: Any) -> Chain:
        """A copy with one contact changed; changes are the arguments of Contact."""
    def with_source(self, /, **changes: Any) -> Chain:
        """A copy with its first source changed; changes are the arguments of Source."""

@final
class Job:
    """A job sheet, read and checked; made by load_job or Job.from_text."""

    @staticmethod
    def from_text(text: str, *, file: str = "sheet", readings: tuple[str, str] | None = None) -> Job:
        """Reads a sheet from its text; readings: (name, text) of its CSV. Raises InputError with every fault."""
    @property
    def title(self, /) -> str:
        """Title of the sheet."""
    @property
    def file(self, /) -> str | None:
        """Name of the file that the sheet came from; None where there is none."""
    @property
    def text(self, /) -> str:
        """The sheet as it was read."""
    @property
    def readings(self, /) -> tuple[str, str] | None:
        """Name and text of the readings file; None without one."""
    @property
    def routes(self, /) -> list[str]:
        """Names of the routes."""
    @property
    def contacts(self, /) -> list[str]:
        """Names of the contacts: those on paths, then those under [contact]."""
    def __eq__(self, other: object, /) -> bool: ...
    def __hash__(self, /) -> int: ...
    def __reduce__(self, /) -> tuple[Any, tuple[str, str, tuple[str, str] | None]]: ...

def load_job(path: str | os.PathLike[str]) -> Job:
    """Reads a job sheet and the readings file beside it. Raises InputError with every fault, each with its line."""

def level_cycle(
    system: Section | Chain,
    emf_v: _Num,
    *,
    frit_v: float | Mapping[str, float],
    pinned_v: float | None = None,
    frequency_hz: float = 1000.0,
) -> LevelCycle:
    """Distortion as the level rises, falls, and is put on again after a rest, films breaking down on the way.

    emf_v: rising levels, V rms. frit_v: peak voltage at which a film breaks, one for all or by contact name, V. A broken film
    is a metal bridge that widens until pinned_v (V peak; 0.1 to 0.45 for common metals [memory], default 0.2 or frit_v if that is
    less) is across it at the peak, and stays so at lower levels (Holm 1967 [memory]). Raises InputError.
    """

def residue_from_loss_range(range_db: _Num) -> _Floats:
    """T6: most residue in a resistive loop whose instantaneous loss ranges over ``range_db``: sinh(range_db/17.37)."""

def loss_range_for_residue(residue: _Num) -> _Floats:
    """Inverse of T6: least range of loss, dB, that goes with a residue in a resistive loop."""

def _reread_job(text: str, file: str, readings: tuple[str, str] | None) -> Job: ...
def _evidence_json(job: Job) -> str: ...
def _assess_json(job: Job, draws: int, seed: int, progress: Callable[[int], object] | None) -> str: ...
def _draws(job: Job, draws: int, seed: int) -> list[tuple[str, list[str], dict[str, numpy.typing.NDArray[Any]]]]: ...
def _hypotheses() -> list[str]: ...
def _crossover_residue(quiescent: float, emitter_ohm: float, load_ohm: float, input_peak_v: float) -> float: ...
def _priors() -> list[tuple[str, float, float, float, str]]: ...
def _engineering(value: float, unit: str) -> str: ...
def typical(name: str) -> Job:
    """A typical layout as a job without readings: "integrated amplifier", "receiver" and so on (weaklink typicals)."""

def _layouts() -> list[str]: ...
def _limits_json(job: Job, residue: float | None, loss_db: float, crosstalk_db: float, level_db: float | None) -> str: ...
def _dry_box_v(resistance_ohm: float) -> float: ...
def _sheet_template() -> str: ...
def _readings_template(job: Job) -> str: ...
def _schema_json() -> str: ...
def _typical_values() -> list[tuple[str, str, str, str]]: ...
def _law(name: str, *arguments: _Num) -> _Floats: ...
def _laws() -> list[str]: ...
def _series(which: str, film: Film, constriction_ohm: _Num, at: _Num) -> _Floats: ...
def _spots_ohm(x_m: _Num, y_m: _Num, radius_m: _Num, resistivity_ohm_m: float) -> float: ...
def _small_spot_ohm(radius_m: _Num, resistivity_ohm_m: _Num, free_path_m: _Num) -> tuple[_Floats, _Floats]: ...
def _tunnelling_film(height_ev: float, thickness_m: float, area_m2: float) -> Film: ...
def _fritting(
    film: Film, breakdown_v: float, pinned_v: float, events: list[float | str], loop_ohm: float
) -> list[tuple[float, bool]]: ...
def _log_read(data: bytes, file: str) -> tuple[dict[str, Any], str]: ...
def _log_words() -> str: ...
def _heard_from(level_db: float | None = None) -> tuple[float, tuple[float, float], tuple[float, float]]: ...
def _break_even(before_ohm: list[float], from_: list[float], to: list[float]) -> float: ...
def _cost_per_good_year(
    minutes: _Num,
    per_hour: _Num,
    part_cost: _Num,
    damage_share: _Num,
    damage_cost: _Num,
    in_order_share: _Num,
    good_years: _Num,
) -> _Floats: ...
def _grown(which: str, environment: str, metal: str, time_s: _Num) -> tuple[_Floats, _Floats]: ...
def _time_to_s(environment: str, metal: str, resistance_ohm: float, area_m2: float) -> tuple[float, float]: ...
def _metals_json() -> str: ...
def _environments() -> list[str]: ...
def _hearing(name: str, names: list[str], beyond: bool, *arguments: _Num) -> _Floats: ...
def _hearing_laws() -> list[str]: ...
def _hearing_names() -> dict[str, list[str]]: ...
def _masked(by: tuple[_Num, _Num, list[str]], probe_hz: _Num, scale_name: str, quiets: list[str]) -> dict[str, Any]: ...
def _audible(
    by: tuple[_Num, _Num, list[str]], residue: dict[str, Any], scale_name: str, quiets: list[str], keen_db: float
) -> dict[str, Any]: ...
def _smallest_noticeable_residue(
    accuses: bool, tone_hz: _Num, tone_db: _Num, place: str, scale_name: str, quiets: list[str], keen_db: float, beyond: bool
) -> _Floats: ...
def _programme(level_db: float) -> list[tuple[float, float]]: ...
def _geddes_lee(from_second: _Num | None, harmonics: _Num | None) -> tuple[float, float]: ...
def _weighted_harmonics(harmonics: _Num, weight: str) -> float: ...
def _noticeable() -> tuple[tuple[float, float], tuple[float, float]]: ...
def _fit_film_json(voltage_v: _Num, current_a: _Num, sd_v: _Num | None) -> str: ...
def _harmonics_json(first_v: float, second_v: float, third_v: float, floor_v: float) -> str: ...
def _lanes(name: str, values: _Floats, plain: bool) -> _Floats: ...
