"""What a listener would notice: ranges over published models, never one number.

Levels are dB SPL, frequencies Hz. Numbers in, a float out; arrays broadcast; lists of lines and maskers give frozen objects. The models
speak of a median young listener in a silent room; half of them hear better. Outside the published range a function raises InputError
unless ``extrapolate=True``; objects mark it in ``extrapolated``. Tags: [seen] read in a text, [memory] recalled, [derived] by this project.

The lowest threshold of all models excludes ("cannot be heard"), the highest accuses ("plain"); between them "may be heard".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from . import _core
from ._core import _hearing

if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import TypeAlias

    # numpy itself loads when the first array comes
    import numpy.typing
    import pandas

    _Num: TypeAlias = float | numpy.typing.ArrayLike

__all__ = [
    "MODELS",
    "QUIET",
    "SCALES",
    "Audible",
    "GeddesLee",
    "Masked",
    "Masker",
    "ModelExcess",
    "ModelThresholds",
    "audible",
    "bark",
    "bark_to_hz",
    "critical_bandwidth_hz",
    "equal_loudness_db",
    "equivalent_rectangular_hz",
    "geddes_lee",
    "headphone_per_volt_db",
    "image_angle_deg",
    "imbalance_for_angle_db",
    "level_at_ear_db",
    "loudness_phon",
    "masked_threshold_db",
    "masked_thresholds",
    "noticeable_imbalance_db",
    "noticeable_loss_db",
    "noticeable_response_change_db",
    "noticeable_tone_change_db",
    "programme",
    "quiet_threshold_db",
    "schroeder_spreading_db",
    "smallest_noticeable_residue",
    "weighted_harmonics",
    "weighting_db",
]

_NAMES = _core._hearing_names()
MODELS: tuple[str, ...] = tuple(_NAMES["model"])
"""Models of masking: ISO/IEC 11172-3 annex D model 1, Schroeder-Atal-Hall with Johnston's offset, Terhardt's slopes."""
QUIET: tuple[str, ...] = tuple(_NAMES["quiet"])
"""Thresholds in quiet: ISO 389-7 free and diffuse field, Terhardt 1979."""
SCALES: tuple[str, ...] = tuple(_NAMES["scale"])
"""Scales of critical bands: Zwicker and Terhardt 1980, Traunmueller 1990."""


def weighting_db(frequency_hz: _Num, weighting: str = "A") -> Any:
    """Weight at a frequency (Hz, above zero), dB re 1 kHz: "none", "A", "BS.468" or "riaa".

    A: poles computed after IEC 61672-1:2013 Annex E [seen]. BS.468: fit [memory] within 0.05 dB of ITU-R BS.468-4 table 1 [seen];
    its noise figure needs a quasi-peak detector as well. riaa: IEC 60098 replay [seen]. The tables of the standards belong to
    exact frequencies 1000 * 10^(n/10), not to nominal ones.
    """
    return _hearing("weighting_db", [weighting], False, frequency_hz)


def quiet_threshold_db(frequency_hz: _Num, quiet: str = "free field", *, extrapolate: bool = False) -> Any:
    """Threshold of hearing at a frequency (20 Hz to 16 kHz), dB SPL: "free field", "diffuse field" (ISO 389-7:2019 [seen]) or "Terhardt".

    Tables (thirds of an octave, and 750 Hz, 1.5, 3, 6, 9, 11.2, 14 kHz) are taken straight in dB over the logarithm of frequency. Terhardt 1979 [seen]:
    3.64 F^-0.8 - 6.5 exp(-0.6 (F-3.3)^2) + 0.001 F^4, F in kHz; from 7.8 dB below the free field (8 kHz) to 12.6 above (12.5 kHz).
    extrapolate: beyond the range tables give their last value, the least it can be there; the formula goes on.
    """
    return _hearing("quiet_threshold_db", [quiet], extrapolate, frequency_hz)


def equal_loudness_db(loudness_phon: _Num, frequency_hz: _Num, *, edition: int = 2023, extrapolate: bool = False) -> Any:
    """Level of a tone as loud as 1 kHz at so many dB (phon), dB SPL; ISO 226:2003 or 2023, equation 1 and table 1 [seen].

    20 Hz to 12.5 kHz; 20 to 90 phon, above 4 kHz to 80 [memory]; extrapolate: 0 to 120 phon. The table's parameters are taken
    straight over the logarithm of frequency, so that loudness_phon is the exact inverse between its frequencies too.
    """
    return _hearing("equal_loudness_db", [str(edition)], extrapolate, loudness_phon, frequency_hz)


def loudness_phon(level_db: _Num, frequency_hz: _Num, *, edition: int = 2023, extrapolate: bool = False) -> Any:
    """Loudness of a tone of a level (dB SPL), phon: exact inverse of equal_loudness_db, same range and source [seen]."""
    return _hearing("loudness_phon", [str(edition)], extrapolate, level_db, frequency_hz)


def bark(frequency_hz: _Num, scale: str = "Zwicker-Terhardt") -> Any:
    """Place on a scale of critical bands, Bark: "Zwicker-Terhardt" (JASA 68, 1980 [seen]) or "Traunmueller" (JASA 88, 1990 [seen]).

    13 atan(0.76 F) + 3.5 atan((F/7.5)^2), within 0.2 Bark of Zwicker's band edges to 15.5 kHz; or 26.81 f/(1960 + f) - 0.53, below 2
    plus 0.15 (2 - z), above 20.1 plus 0.22 (z - 20.1), within 0.05.
    """
    return _hearing("bark", [scale], False, frequency_hz)


def bark_to_hz(bark: _Num, scale: str = "Zwicker-Terhardt") -> Any:
    """Frequency at a place on a scale (Bark), Hz. Traunmueller: 1960 (z + 0.53)/(26.28 - z), corrections undone [seen]; else by halving."""
    return _hearing("bark_to_hz", [scale], False, bark)


def critical_bandwidth_hz(frequency_hz: _Num) -> Any:
    """Width of a critical band, Hz: 25 + 75 (1 + 1.4 F^2)^0.69, F in kHz. Zwicker and Terhardt 1980 [memory]."""
    return _hearing("critical_bandwidth_hz", [], False, frequency_hz)


def equivalent_rectangular_hz(frequency_hz: _Num) -> Any:
    """Equivalent rectangular bandwidth of an auditory filter, Hz: 24.7 (4.37 F + 1). Glasberg and Moore 1990 [memory]."""
    return _hearing("equivalent_rectangular_hz", [], False, frequency_hz)


def schroeder_spreading_db(distance_bark: _Num) -> Any:
    """Spreading at z(probe) - z(masker) Bark, dB: 15.81 + 7.5 x - 17.5 sqrt(1 + x^2), x = dz + 0.474. Schroeder, Atal, Hall 1979 [seen]."""
    return _hearing("schroeder_spreading_db", [], False, distance_bark)


def masked_threshold_db(
    probe_hz: _Num,
    masker_hz: _Num,
    masker_db: _Num,
    *,
    model: str = "ISO 11172-3",
    masker: str = "tone",
    scale: str = "Zwicker-Terhardt",
    quiet: str = "Terhardt",
    extrapolate: bool = False,
) -> Any:
    """Threshold of a probe (Hz) beside one masker (Hz, dB SPL) by one model, dB SPL; the threshold in quiet added as a power.

    "ISO 11172-3": ISO/IEC 11172-3:1993 annex D.1 step 6 [seen], no masking from 8 Bark on. "Schroeder-Johnston": spreading [seen] less
    14.5 + z(masker) dB for a tone, 5.5 dB for noise, Johnston 1988 [memory]. "Terhardt slopes": 27 dB/Bark below, 24 + 0.23/F - 0.2 L
    above, no offset, Terhardt 1979 [memory]. masker "noise": level in its critical band. Up to 100 dB SPL, 20 Hz to 16 kHz; extrapolate: to 110 dB SPL.
    """
    names = [model, masker, scale, quiet]
    return _hearing("masked_threshold_db", names, extrapolate, masker_hz, masker_db, probe_hz)


@dataclass(frozen=True, slots=True)
class Masker:
    """Something that masks: frequency (Hz), level at the ear (dB SPL, of noise in its critical band), "tone" or "noise"."""

    frequency_hz: float
    level_db: float
    kind: str = "tone"


@dataclass(frozen=True, slots=True)
class ModelThresholds:
    """One model's threshold at each probe, dB SPL: lowest and highest over the thresholds in quiet."""

    model: str
    low_db: tuple[float, ...]
    high_db: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Masked:
    """Masked thresholds at probes (Hz) by model, and their range: low_db excludes, high_db accuses. extrapolated: see the module."""

    frequency_hz: tuple[float, ...]
    models: tuple[ModelThresholds, ...]
    low_db: tuple[float, ...]
    high_db: tuple[float, ...]
    extrapolated: tuple[bool, ...]

    def model(self, name: str) -> ModelThresholds:
        """One model by its name; KeyError if there is none."""
        for row in self.models:
            if row.model == name:
                return row
        raise KeyError(name)


@dataclass(frozen=True, slots=True)
class ModelExcess:
    """Excess over one model's thresholds, dB: per probe, of the whole residue, and what that says.

    least: a probe's own level over the highest threshold. most: all residue in the critical band about it over the lowest; of the whole,
    all bands together. verdict: inaudible (most below zero), plain (least zero or more), may be heard.
    """

    model: str
    least_db: tuple[float, ...]
    most_db: tuple[float, ...]
    whole_least_db: float
    whole_most_db: float
    verdict: str


@dataclass(frozen=True, slots=True)
class Audible:
    """What of a residue is audible, by model and over all.

    frequency_hz: probes, the lines as given (the first ``lines``), then those of the noise, where it stands: sixths of an octave, the ends
    and the middle of its bands. own_db, band_db: a probe's own level
    and that of all residue in its critical band, dB SPL. modulates: within a critical band of a tone, heard as modulation; over_all counts
    it, the models do not know it. Minus infinity: nothing there.
    """

    frequency_hz: tuple[float, ...]
    lines: int
    own_db: tuple[float, ...]
    band_db: tuple[float, ...]
    modulates: tuple[bool, ...]
    masked: Masked
    models: tuple[ModelExcess, ...]
    over_all: ModelExcess

    @property
    def verdict(self) -> str:
        """Over all models: inaudible, may be heard or plain."""
        return self.over_all.verdict

    @property
    def extrapolated(self) -> bool:
        """Whether any probe or masker lies outside what the models were made for."""
        return any(self.masked.extrapolated)

    def model(self, name: str) -> ModelExcess:
        """One model's excess by its name; KeyError if there is none."""
        for row in self.models:
            if row.model == name:
                return row
        raise KeyError(name)

    def to_frame(self) -> pandas.DataFrame:
        """One row per probe; needs pandas."""
        import pandas

        columns: dict[str, Any] = {
            "frequency_hz": self.frequency_hz,
            "what": ["line"] * self.lines + ["noise"] * (len(self.frequency_hz) - self.lines),
            "own_db": self.own_db,
            "band_db": self.band_db,
            "modulates": self.modulates,
            "extrapolated": self.masked.extrapolated,
            "threshold_low_db": self.masked.low_db,
            "threshold_high_db": self.masked.high_db,
            "excess_least_db": self.over_all.least_db,
            "excess_most_db": self.over_all.most_db,
        }
        return pandas.DataFrame(columns)


def _columns(maskers: Iterable[Masker]) -> tuple[list[float], list[float], list[str]]:
    listed = list(maskers)
    return [m.frequency_hz for m in listed], [m.level_db for m in listed], [m.kind for m in listed]


def _listed(quiet: str | Iterable[str]) -> list[str]:
    return [quiet] if isinstance(quiet, str) else list(quiet)


def _masked_of(found: dict[str, Any]) -> Masked:
    low, high = found["range"]
    return Masked(
        frequency_hz=tuple(found["frequency_hz"]),
        models=tuple(ModelThresholds(name, tuple(low), tuple(high)) for name, (low, high) in found["thresholds"]),
        low_db=tuple(low),
        high_db=tuple(high),
        extrapolated=tuple(found["extrapolated"]),
    )


def masked_thresholds(
    maskers: Iterable[Masker],
    probe_hz: _Num,
    *,
    scale: str = "Zwicker-Terhardt",
    quiet: str | Iterable[str] = QUIET,
) -> Masked:
    """Thresholds at probes (Hz, a list) beside all maskers together, by three models, ranging over thresholds in quiet; in silence without.

    Powers of the maskers and of the threshold in quiet are added. Sources as masked_threshold_db [seen, memory]. Levels above 110 dB SPL are refused.
    """
    return _masked_of(_core._masked(_columns(maskers), probe_hz, scale, _listed(quiet)))


def audible(
    maskers: Iterable[Masker] = (),
    *,
    lines_hz: _Num = (),
    lines_db: _Num | None = None,
    lines_ratio: _Num | None = None,
    ratio_of_db: float | None = None,
    noise_hz: _Num = (),
    noise_db_per_hz: _Num = (),
    noise_bands: Iterable[tuple[float, float, float]] = (),
    scale: str = "Zwicker-Terhardt",
    quiet: str | Iterable[str] = QUIET,
    keen_db: float = 0.0,
) -> Audible:
    """What of a residue is audible beside tones or programme, or in silence (no maskers): excess in dB and verdict, by model and over all.

    Lines: frequencies (Hz) with levels (dB SPL) or ratios to ratio_of_db (default: the tones among the maskers, powers added). Noise: a density
    (Hz, dB SPL re 1 Hz; straight in dB over the logarithm of frequency) or bands (low Hz, high Hz, level dB SPL; even inside). keen_db: by how
    much the keenest listener hears better than the median; lowers the safe end only. Steady maskers are taken: for pauses and quiet passages ask
    again without. Residue within a critical band of a tone may be heard as modulation: the safe end is 43 dB under the tone there
    (1 %, Zwicker and Fastl [memory]). Bands add as the root of the sum of squared excesses, Green 1958 [memory]. Not known: noise that
    raises noise of the same spectrum. Rest: masked_thresholds [seen, memory].
    """
    bands = list(noise_bands)
    residue = {
        "lines_hz": lines_hz,
        "lines_db": lines_db,
        "lines_ratio": lines_ratio,
        "ratio_of_db": ratio_of_db,
        "bands_low_hz": [low for low, _, _ in bands],
        "bands_high_hz": [high for _, high, _ in bands],
        "bands_db": [level for _, _, level in bands],
        "noise_hz": noise_hz,
        "noise_db_per_hz": noise_db_per_hz,
    }
    found = _core._audible(_columns(maskers), residue, scale, _listed(quiet), keen_db)

    def excess(name: str, row: Any) -> ModelExcess:
        (least, most), (whole_least, whole_most), verdict = row
        return ModelExcess(name, tuple(least), tuple(most), whole_least, whole_most, verdict)

    return Audible(
        frequency_hz=tuple(found["frequency_hz"]),
        lines=found["lines"],
        own_db=tuple(found["own_db"]),
        band_db=tuple(found["band_db"]),
        modulates=tuple(found["modulates"]),
        masked=_masked_of(found),
        models=tuple(excess(name, row) for name, row in found["excess"]),
        over_all=excess("over all", found["over_all"]),
    )


def smallest_noticeable_residue(
    tone_hz: _Num,
    tone_db: _Num,
    *,
    where: str = "harmonics",
    scale: str = "Zwicker-Terhardt",
    quiet: str | Iterable[str] = QUIET,
    keen_db: float = 0.0,
    extrapolate: bool = False,
) -> tuple[Any, Any]:
    """Total residue of a tone (Hz, dB SPL), ratios to it: below the first it cannot be heard however spread, above the second it is plain.

    where: "harmonics" (2 to 10, up to 16 kHz: a steady film) or "anywhere" (20 Hz to 16 kHz, modulation too: chatter; the second ratio for
    what is spread over sixths of an octave). No single audible percentage: the two are often more than a decade apart. [derived] from masked_thresholds. Tones 20 Hz to 16 kHz up to 100 dB SPL; extrapolate: to 110.
    """

    def one(accuses: bool) -> Any:
        return _core._smallest_noticeable_residue(
            accuses, tone_hz, tone_db, where, scale, _listed(quiet), keen_db, extrapolate
        )

    return one(False), one(True)


def programme(level_db: float) -> tuple[Masker, ...]:
    """ASSUMPTION: programme of a level (sum of its bands, dB SPL) as third-octave noise maskers, 31.5 Hz to 16 kHz; common practice [derived].

    Equal bands (pink) from 63 Hz to 2 kHz, 6 dB per octave less below, 3 dB per octave less above; steady. Own bands: make the maskers.
    """
    return tuple(Masker(hz, db, "noise") for hz, db in _core._programme(level_db))


def level_at_ear_db(
    sensitivity_db: _Num,
    drive: _Num,
    *,
    per: str = "2.83 V, 1 m",
    distance_m: _Num = 1.0,
    room_gain_db: tuple[_Num, _Num] = (0.0, 0.0),
) -> tuple[Any, Any]:
    """Level at the ear, dB SPL, low and high: S + 20 log10(V/V0) or S + 10 log10(P/P0), less 20 log10(d) for a loudspeaker, plus the room's gain.

    per: what the sensitivity is for, "2.83 V, 1 m" and "1 V" (headphones) with drive in V rms, "1 W, 1 m" and "1 mW" (headphones) in W. Free field;
    a room adds (range in dB, the caller's), and so does a second loudspeaker (about 3 dB). 2.83 V is 2 W into 4 ohm. IEC 60268-5, -7 [memory].
    """
    low, high = (_hearing("level_at_ear_db", [per], False, sensitivity_db, drive, distance_m, gain) for gain in room_gain_db)
    return low, high


def headphone_per_volt_db(per_milliwatt_db: _Num, impedance_ohm: _Num) -> Any:
    """Headphones: sensitivity at 1 V from that at 1 mW, dB SPL: S + 10 log10(1000/Z). Ohm [derived]."""
    return _hearing("headphone_per_volt_db", [], False, per_milliwatt_db, impedance_ohm)


def noticeable_tone_change_db(sensation_db: _Num) -> Any:
    """Just noticeable change of a tone's level, dB: 10 log10(1 + 0.463 (I/I0)^-0.072), I/I0 the sensation level, 5 to 80 dB.

    Jesteadt, Wier and Green, JASA 61 (1977) 169 [memory].
    """
    return _hearing("noticeable_tone_change_db", [], False, sensation_db)


def noticeable_loss_db(sensation_db: _Num, *, extrapolate: bool = False) -> tuple[Any, Any]:
    """Loss, all frequencies and both channels alike, dB: below the first nobody is known to notice side by side, above the second it is noticed.

    noticeable_tone_change_db or 0.7 dB (Shub et al. 2008 [seen]) if less; 1.5 dB (rule of 0.5 to 1.5 dB [seen]) if more. 5 to 80 dB over the
    threshold; extrapolate: 0 to 140 dB.
    """
    low = _hearing("noticeable_loss_low_db", [], extrapolate, sensation_db)
    return low, _hearing("noticeable_loss_high_db", [], extrapolate, sensation_db)


def noticeable_imbalance_db() -> tuple[float, float]:
    """Imbalance of two channels that is noticed, dB: 0.5 at high frequencies to 1 at 1 kHz. Mills, JASA 32 (1960) 132 [seen]."""
    return _core._noticeable()[0]


def noticeable_response_change_db() -> tuple[float, float]:
    """Change of response that is noticed, dB: 0.2, to which comparisons are matched (Clark 1982 [memory]), to 1, broadband rule [seen]."""
    return _core._noticeable()[1]


def image_angle_deg(imbalance_db: _Num, half_angle_deg: _Num = 30.0) -> Any:
    """Angle by which an imbalance moves a stereo image, degrees: tan(phi) = tan(phi0) tanh(dL ln10/40). Tangent law, Bernfeld 1973 [memory]."""
    return _hearing("image_angle_deg", [], False, imbalance_db, half_angle_deg)


def imbalance_for_angle_db(angle_deg: _Num, half_angle_deg: _Num = 30.0) -> Any:
    """Imbalance that moves the image by an angle, dB: inverse of image_angle_deg; 1 degree, the least audible angle, 0.525 dB [memory]."""
    return _hearing("imbalance_for_angle_db", [], False, angle_deg, half_angle_deg)


@dataclass(frozen=True, slots=True)
class GeddesLee:
    """Geddes and Lee's metric in both versions; say which you mean. A figure to compare, no audibility."""

    with_root_2003: float
    """sqrt of the integral, as in the preprint of 2003: below 1 like guessing, up to 2 mildly audible to its listeners [seen]."""
    without_root: float
    """The integral itself, which the authors preferred later [seen]."""


def geddes_lee(*, from_second: _Num | None = None, harmonics: _Num | None = None) -> GeddesLee:
    """Integral of cos^2(pi x/2) (T'')^2 over -1 to 1, with and without root. Geddes and Lee, AES preprint 5890 (2003) [seen], formula [memory].

    T = x + a2 x^2 + ..., from_second: a2, a3, ...; or T = x + sum h_n T_n(x) (Chebyshev), harmonics: h2, h3, ... signed ratios of a full-scale tone.
    Up to the 30th. For curves without memory.
    """
    return GeddesLee(*_core._geddes_lee(from_second, harmonics))


def weighted_harmonics(harmonics: _Num, weight: str = "n^2/4") -> float:
    """Weighted sum of harmonics h2, h3, ... (ratios), a ratio: sqrt(sum (w_n h_n)^2). A figure to compare, no audibility.

    "n^2/4": Shorter 1950; "n/2": Radio Manufacturers' Association 1937; weights [seen].
    """
    return _core._weighted_harmonics(harmonics, weight)
