"""The physics of one contact, law by law, on arrays.

Numbers in, a float out; arrays broadcast. SI units, the unit in the name. A value outside a law raises InputError with its
place, and so does a result that overflows. Tags: [seen] read in a text, [memory] recalled, [derived] by this project. Films
are ``weaklink.Film``; heated spots take the ambient temperature (K) and the Lorenz number (V^2/K^2; Sommerfeld 2.443e-8, handbooks 2.4e-8 to 2.45e-8).
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from . import _core
from ._core import Film, _law

if TYPE_CHECKING:
    from collections.abc import Iterable
    from typing import TypeAlias

    # numpy itself loads when the first array comes
    import numpy.typing

    _Num: TypeAlias = float | numpy.typing.ArrayLike

ROOM_K = _core._ROOM_K
LORENZ_V2_PER_K2 = _core._LORENZ_V2_PER_K2
HOOGE = _core._HOOGE
"""Hooge's constant as usually quoted [memory]; metals scatter from 1e-4 to 1e-2."""
BREAKDOWN_FIELD_V_PER_M = _core._BREAKDOWN_FIELD_V_PER_M
"""Field at which films break down, order of magnitude, Holm 1967 [memory]."""

__all__ = [
    "BREAKDOWN_FIELD_V_PER_M",
    "HOOGE",
    "LORENZ_V2_PER_K2",
    "ROOM_K",
    "Metal",
    "Published",
    "assumed_film_flicker",
    "breakdown_v",
    "chatter_residue",
    "chatter_residue_in_band",
    "cluster_ohm",
    "constriction_flicker",
    "copper_growth_m",
    "crackle_step_v",
    "cubic_growth_m",
    "environments",
    "film_area_resistance_ohm_m2",
    "film_thickness_m",
    "flicker_v",
    "flicker_v_per_rthz",
    "fritting",
    "heated_current_a",
    "heated_voltage_v",
    "hottest_k",
    "logarithmic_growth_m",
    "metals",
    "parabolic_growth_m",
    "plastic_ohm",
    "plastic_radius_m",
    "quasi_static_limit_hz",
    "rise_k",
    "series_chord_ohm",
    "series_current_a",
    "series_slope_s",
    "series_voltage_v",
    "small_spot_ohm",
    "spot_flicker",
    "spot_ohm",
    "spots_ohm",
    "telegraph_corner_hz",
    "telegraph_spectrum_per_hz",
    "telegraph_variance",
    "thermal_noise_v_per_rthz",
    "thermal_time_s",
    "third_harmonic",
    "third_harmonic_cubic",
    "time_to_resistance_s",
    "tunnelling_area_resistance_ohm_m2",
    "tunnelling_density_a_per_m2",
    "tunnelling_film",
    "tunnelling_gamma_per_v2",
    "tunnelling_scale_v",
    "tunnelling_slope_s_per_m2",
    "tunnelling_taylor_gamma_per_v2",
    "tunnelling_thickness_m",
    "voltage_for_temperature_v",
]


@dataclass(frozen=True)
class Published:
    """A published range: low and high (equal where one value is given) and how it was obtained."""

    low: float
    high: float
    tag: str


@dataclass(frozen=True)
class Metal:
    """A contact metal. Holm 1967 appendix X and Slade 2014 appendix, [memory] unless a tag says otherwise."""

    name: str
    resistivity_ohm_m: Published
    temperature_coefficient_per_k: Published
    hardness_pa: Published
    softening_k: Published | None
    softening_v: Published | None
    melting_k: Published | None
    melting_v: Published | None
    diffusivity_m2_per_s: Published | None
    calculated_melting_v: float | None
    """2 sqrt(L (Tm^2 - T0^2)), L = 2.45e-8 V^2/K^2 (Kohlrausch)."""
    melting_is_safe: bool
    """Tabled and calculated melting voltage agree within 6 %: only then assert it."""


def metals() -> dict[str, Metal]:
    """The usual contact metals by name."""
    out = {}
    for row in json.loads(_core._metals_json()):
        fields: dict[str, Any] = {key: Published(*value) if isinstance(value, list) else value for key, value in row.items()}
        out[row["name"]] = Metal(**fields)
    return out


def spot_ohm(radius_m: _Num, resistivity_ohm_m: _Num, other_resistivity_ohm_m: _Num | None = None) -> Any:
    """One round spot, ohm: (rho1 + rho2)/(4 a). Holm 1967 par. 3-4, like members [seen], unlike [memory].

    Radius far above the electrons' free path (40 nm; else small_spot_ohm), members wide against the spot.
    """
    other = resistivity_ohm_m if other_resistivity_ohm_m is None else other_resistivity_ohm_m
    return _law("spot_ohm", radius_m, resistivity_ohm_m, other)


def small_spot_ohm(radius_m: _Num, resistivity_ohm_m: _Num, free_path_m: _Num) -> tuple[Any, Any]:
    """A spot of any size against the electrons' free path l, ohm, lowest and highest: G rho/(2 a) + 4 rho l/(3 pi a^2).

    Wexler's factor G lies between 0.69 (a far below l) and 1 (far above); both ends are given. Wexler 1966, Sharvin 1965 [memory].
    """
    return _core._small_spot_ohm(radius_m, resistivity_ohm_m, free_path_m)


def cluster_ohm(count: _Num, radius_m: _Num, cluster_radius_m: _Num, resistivity_ohm_m: _Num) -> Any:
    """Equal spots spread evenly over a round patch of radius alpha, ohm: rho/(2 n a) + rho/(2 alpha). Greenwood 1966 [seen].

    Holds for many spots, far apart against their radii; the second term is uncertain by 8 % (see spots_ohm).
    """
    return _law("cluster_ohm", count, radius_m, cluster_radius_m, resistivity_ohm_m)


def spots_ohm(x_m: _Num, y_m: _Num, radius_m: _Num, resistivity_ohm_m: float) -> float:
    """Spots where they are, ohm: rho/(2 sum a) + (3 pi rho/(32 n^2)) sum over pairs of 1/s. Greenwood 1966 [seen].

    Spots must not overlap. The factor is uncertain by 8 % ([derived]: far spots of equal current have 1/pi).
    """
    return _core._spots_ohm(x_m, y_m, radius_m, resistivity_ohm_m)


def plastic_radius_m(force_n: _Num, hardness_pa: _Num, fullness: _Num = 1.0) -> Any:
    """Spot that yields under a force, m: sqrt(F/(xi pi H)); xi 1 clean, 0.3 rough, 0.1 partly elastic. Holm 1967 [memory]."""
    return _law("plastic_radius_m", force_n, hardness_pa, fullness)


def plastic_ohm(force_n: _Num, hardness_pa: _Num, resistivity_ohm_m: _Num, fullness: _Num = 1.0) -> Any:
    """Constriction of a plastic contact, ohm: (rho/2) sqrt(xi pi H/F); one spot carries all the force. Holm 1967 par. 7 [memory]."""
    return _law("plastic_ohm", force_n, hardness_pa, fullness, resistivity_ohm_m)


def hottest_k(voltage_v: _Num, ambient_k: _Num = ROOM_K, lorenz_v2_per_k2: _Num = LORENZ_V2_PER_K2) -> Any:
    """Hottest point of a constriction, K: sqrt(T0^2 + V^2/(4 L)), any shape. Form [seen]; Kohlrausch 1900, Holm 1967 par. 13 [memory].

    Heat and current on the same lines, Wiedemann-Franz, slow against thermal_time_s.
    """
    return _law("hottest_k", voltage_v, ambient_k, lorenz_v2_per_k2)


def rise_k(voltage_v: _Num, ambient_k: _Num = ROOM_K, lorenz_v2_per_k2: _Num = LORENZ_V2_PER_K2) -> Any:
    """Rise of the hottest point over ambient, K, exact for small voltages too. Source as hottest_k."""
    return _law("rise_k", voltage_v, ambient_k, lorenz_v2_per_k2)


def voltage_for_temperature_v(hottest_k: _Num, ambient_k: _Num = ROOM_K, lorenz_v2_per_k2: _Num = LORENZ_V2_PER_K2) -> Any:
    """Voltage that heats the hottest point to a temperature, V: 2 sqrt(L (Tm^2 - T0^2)). Source as hottest_k."""
    return _law("voltage_for_temperature_v", hottest_k, ambient_k, lorenz_v2_per_k2)


def heated_current_a(
    voltage_v: _Num, cold_ohm: _Num, ambient_k: _Num = ROOM_K, lorenz_v2_per_k2: _Num = LORENZ_V2_PER_K2
) -> Any:
    """Current through a spot that heats itself, A: (VT/R0) atan(V/VT), VT = 2 sqrt(L) T0; rho as T. Holm 1967 [memory], [derived]."""
    return _law("heated_current_a", voltage_v, cold_ohm, ambient_k, lorenz_v2_per_k2)


def heated_voltage_v(
    current_a: _Num, cold_ohm: _Num, ambient_k: _Num = ROOM_K, lorenz_v2_per_k2: _Num = LORENZ_V2_PER_K2
) -> Any:
    """Voltage across a spot that heats itself, V: VT tan(I R0/VT); InputError from I R0 = (pi/2) VT on. As heated_current_a [derived]."""
    return _law("heated_voltage_v", current_a, cold_ohm, ambient_k, lorenz_v2_per_k2)


def third_harmonic(cold_peak_v: _Num, ambient_k: _Num = ROOM_K, lorenz_v2_per_k2: _Num = LORENZ_V2_PER_K2) -> Any:
    """V3/V1 of VT tan((I R0/VT) cos wt), a heated spot at a sine of current; cold_peak_v: peak of I R0, V. [derived]

    Below (pi/2) VT, 143.9 mV at room temperature; slow against thermal_time_s. Rounding below 1e-12 up to 137 mV.
    """
    return _law("third_harmonic", cold_peak_v, ambient_k, lorenz_v2_per_k2)


def third_harmonic_cubic(
    fundamental_peak_v: _Num,
    coefficient_per_k: _Num = 1.0 / ROOM_K,
    ambient_k: _Num = ROOM_K,
    lorenz_v2_per_k2: _Num = LORENZ_V2_PER_K2,
) -> Any:
    """V3/V1 across a heated spot, cubic term: alpha V1^2/(48 L T0). 0.3 % too high at 10 mV, 7 % at 50 mV.

    [derived]; the same as Holm's R0 (1 + (2/3) alpha theta) [seen]. Slow against thermal_time_s.
    """
    return _law("third_harmonic_cubic", fundamental_peak_v, coefficient_per_k, ambient_k, lorenz_v2_per_k2)


def thermal_time_s(radius_m: _Num, diffusivity_m2_per_s: _Num) -> Any:
    """Time in which a spot follows its heat, s: a^2/D, an order of magnitude. [derived] from the diffusion of heat."""
    return _law("thermal_time_s", radius_m, diffusivity_m2_per_s)


def quasi_static_limit_hz(radius_m: _Num, diffusivity_m2_per_s: _Num) -> Any:
    """Above this the heated law is not quasi-static, Hz: D/(2 pi a^2), an order of magnitude. Copper, 10 um: 185 kHz. [derived]"""
    return _law("quasi_static_limit_hz", radius_m, diffusivity_m2_per_s)


def series_current_a(film: Film, constriction_ohm: _Num, voltage_v: _Num) -> Any:
    """Current at a voltage across film and constriction, A: the root of v = Rc i + v_film(i). Ohm; valid as the film is. [derived]"""
    return _core._series("current_a", film, constriction_ohm, voltage_v)


def series_slope_s(film: Film, constriction_ohm: _Num, voltage_v: _Num) -> Any:
    """Slope di/dv across film and constriction, S: 1/(Rc + 1/i'), i' the film's slope at its share of the voltage. [derived]"""
    return _core._series("slope_s", film, constriction_ohm, voltage_v)


def series_chord_ohm(film: Film, constriction_ohm: _Num, voltage_v: _Num) -> Any:
    """Chord v/i across film and constriction, ohm; at zero voltage the zero-voltage resistance. [derived]"""
    return _core._series("chord_ohm", film, constriction_ohm, voltage_v)


def series_voltage_v(film: Film, constriction_ohm: _Num, current_a: _Num) -> Any:
    """Voltage at a current through film and constriction, V: Rc i + v_film(i); InputError where the film has none. [derived]"""
    return _core._series("voltage_v", film, constriction_ohm, current_a)


def tunnelling_density_a_per_m2(height_ev: _Num, thickness_m: _Num, voltage_v: _Num) -> Any:
    """Current density through a rectangular barrier, A/m^2, intermediate form, |V| < phi. Simmons 1963 (JAP 34, 1793) [memory].

    J0 {(phi - V/2) exp(-A sqrt(phi - V/2)) - (phi + V/2) exp(-A sqrt(phi + V/2))}, J0 = e^2/(2 pi h s^2),
    A = 10.2463 s/nm per sqrt(eV). Free electron mass, no image force, A sqrt(phi) of 4 to 600; real films tunnel up to 2 to 3 nm.
    """
    return _law("tunnelling_density_a_per_m2", height_ev, thickness_m, voltage_v)


def tunnelling_slope_s_per_m2(height_ev: _Num, thickness_m: _Num, voltage_v: _Num) -> Any:
    """Slope dJ/dV of the intermediate form, S/m^2; at rest 1 - 2/(A sqrt(phi)) of 1/area resistance. Validity as the form. [derived]"""
    return _law("tunnelling_slope_s_per_m2", height_ev, thickness_m, voltage_v)


def tunnelling_area_resistance_ohm_m2(height_ev: _Num, thickness_m: _Num) -> Any:
    """Low-voltage resistance of an area, ohm m^2: h^2 s/(e^2 sqrt(2 m phi)) exp(A sqrt(phi)). Simmons 1963 eq. 24 [seen].

    |V| well below phi; A sqrt(phi) of 4 to 600.
    """
    return _law("tunnelling_area_resistance_ohm_m2", height_ev, thickness_m)


def tunnelling_gamma_per_v2(height_ev: _Num, thickness_m: _Num) -> Any:
    """Cubic coefficient, V^-2: A^2/(96 phi) - A/(32 phi^1.5). Simmons 1963 (JAP 34, 238) [memory]. As physics +-40 %."""
    return _law("tunnelling_gamma_per_v2", height_ev, thickness_m)


def tunnelling_taylor_gamma_per_v2(height_ev: _Num, thickness_m: _Num) -> Any:
    """Cubic coefficient of the intermediate form itself, V^-2: J = G (V + gamma V^3 + ...), G its slope at rest. [derived]

    (A^3/(8 sqrt(phi)) - 3 A^2/(8 phi) - 3 A/(8 phi^1.5)) / (24 (A sqrt(phi)/2 - 1)).
    """
    return _law("tunnelling_taylor_gamma_per_v2", height_ev, thickness_m)


def tunnelling_scale_v(height_ev: _Num, thickness_m: _Num) -> Any:
    """Scale of the sinh law with the same cubic term, V: 1/sqrt(6 gamma); for |V| up to about that scale. [derived]"""
    return _law("tunnelling_scale_v", height_ev, thickness_m)


def tunnelling_thickness_m(height_ev: _Num, area_resistance_ohm_m2: _Num) -> Any:
    """Thickness that has an area resistance, m: inverse of tunnelling_area_resistance_ohm_m2. [derived]

    A factor of ten in resistance is about 0.1 nm; the height, seldom known, matters more.
    """
    return _law("tunnelling_thickness_m", height_ev, area_resistance_ohm_m2)


def tunnelling_film(*, height_ev: float, thickness_m: float, area_m2: float) -> Film:
    """The film of an area (m^2) of a barrier: resistance RA/area, scale 1/sqrt(6 gamma). [derived]"""
    return _core._tunnelling_film(height_ev, thickness_m, area_m2)


def breakdown_v(thickness_m: _Num, field_v_per_m: _Num = BREAKDOWN_FIELD_V_PER_M) -> Any:
    """Breakdown voltage of a film, V: field times thickness, 0.1 V per nm. Holm 1967 par. 26-28 [memory]; a scatter over decades."""
    return _law("breakdown_v", thickness_m, field_v_per_m)


def fritting(
    film: Film, events: Iterable[float | str], *, breakdown_v: float, pinned_v: float, loop_ohm: float
) -> list[Film]:
    """The law in force after each event: an EMF peak (V) put on a resistive loop, "rest" or "move".

    A film breaks where the peak across it reaches breakdown_v; its bridge widens until pinned_v (0.1 to 0.45 V, at most
    breakdown_v) is left across it, R0 = VT atan(Vp/VT) Z/(E - Vp), and stays until it rests or moves. Holm 1967 [memory].
    """
    after = _core._fritting(film, breakdown_v, pinned_v, list(events), loop_ohm)
    return [Film.bridged(resistance_ohm=ohm) if bridged else film for ohm, bridged in after]


def telegraph_spectrum_per_hz(step: _Num, dwell_one_s: _Num, dwell_other_s: _Num, frequency_hz: _Num) -> Any:
    """One-sided spectrum of a random telegraph, step^2/Hz: 4 d^2/{(t0 + t1) [(1/t0 + 1/t1)^2 + (2 pi f)^2]}.

    Machlup 1954 [memory]. Exponential dwell times with these means.
    """
    return _law("telegraph_spectrum_per_hz", step, dwell_one_s, dwell_other_s, frequency_hz)


def telegraph_variance(step: _Num, dwell_one_s: _Num, dwell_other_s: _Num) -> Any:
    """Variance of a random telegraph, step^2: d^2 t0 t1/(t0 + t1)^2. Machlup 1954 [memory]."""
    return _law("telegraph_variance", step, dwell_one_s, dwell_other_s)


def telegraph_corner_hz(dwell_one_s: _Num, dwell_other_s: _Num) -> Any:
    """Corner of a telegraph's spectrum, Hz: (1/t0 + 1/t1)/(2 pi), half of its value at rest. Machlup 1954 [memory]."""
    return _law("telegraph_corner_hz", dwell_one_s, dwell_other_s)


def chatter_residue(low_ohm: _Num, high_ohm: _Num, *, dwell_low_s: _Num, dwell_high_s: _Num, loop_ohm: _Num) -> Any:
    """Residue over fundamental of a tone through a chattering contact in a resistive loop, all frequencies. [derived]

    sqrt(p (1-p)) (g_l - g_h)/(p g_l + (1-p) g_h), g = 1/(Z + R), p the share of time at the low resistance. At every level alike.
    Touches bound T1 at dwell times as Z + R_l to Z + R_h; at even ones it is r/(2 + r), r = (R_h - R_l)/(Z + R_l).
    """
    return _law("chatter_residue", low_ohm, high_ohm, dwell_low_s, dwell_high_s, loop_ohm)


def chatter_residue_in_band(
    low_ohm: _Num,
    high_ohm: _Num,
    *,
    dwell_low_s: _Num,
    dwell_high_s: _Num,
    loop_ohm: _Num,
    tone_hz: _Num,
    low_hz: _Num = 20.0,
    high_hz: _Num = 20000.0,
) -> Any:
    """The same as an analyser of a band sees it, without the tone: the telegraph's spectrum mirrored about the tone. [derived]"""
    return _law(
        "chatter_residue_in_band", low_ohm, high_ohm, dwell_low_s, dwell_high_s, loop_ohm, tone_hz, low_hz, high_hz
    )


def thermal_noise_v_per_rthz(resistance_ohm: _Num, temperature_k: _Num = ROOM_K) -> Any:
    """Thermal noise density, V per root Hz: sqrt(4 k T R). Johnson 1928, Nyquist 1928."""
    return _law("thermal_noise_v_per_rthz", resistance_ohm, temperature_k)


def spot_flicker(radius_m: _Num, electrons_per_m3: _Num, hooge: _Num = HOOGE) -> Any:
    """1/f coefficient C (S_V/V^2 = C/f) of one metal spot: alpha_H/(20 pi n a^3). Vandamme 1976 [seen], factor [derived]."""
    return _law("spot_flicker", radius_m, hooge, electrons_per_m3)


def constriction_flicker(
    resistance_ohm: _Num, resistivity_ohm_m: _Num, electrons_per_m3: _Num, hooge: _Num = HOOGE
) -> Any:
    """The same from the resistance of its shells, R = rho/(pi a): alpha_H pi^2 R^3/(20 n rho^3). Vandamme 1976 [seen], factor [derived]."""
    return _law("constriction_flicker", resistance_ohm, resistivity_ohm_m, hooge, electrons_per_m3)


def assumed_film_flicker(resistance_ohm: _Num, coefficient_per_ohm: _Num) -> Any:
    """ASSUMPTION: 1/f coefficient of a film, c R ([memory] that it goes with R); c must come from a measurement."""
    return _law("assumed_film_flicker", resistance_ohm, coefficient_per_ohm)


def flicker_v_per_rthz(voltage_v: _Num, coefficient: _Num, frequency_hz: _Num) -> Any:
    """1/f noise density, V per root Hz, at a steady voltage: |V| sqrt(C/f). Hooge 1969 [memory]."""
    return _law("flicker_v_per_rthz", voltage_v, coefficient, frequency_hz)


def flicker_v(voltage_v: _Num, coefficient: _Num, low_hz: _Num, high_hz: _Num) -> Any:
    """1/f noise in a band, V rms: |V| sqrt(C ln(f_high/f_low)), at a steady voltage. Hooge 1969 [memory], integral [derived]."""
    return _law("flicker_v", voltage_v, coefficient, low_hz, high_hz)


def crackle_step_v(current_a: _Num, low_ohm: _Num, high_ohm: _Num, loop_ohm: _Num = float("inf")) -> Any:
    """Step on the rest of a loop when a contact that carries a direct current jumps, V: I (R_h - R_l) Z/(Z + R_h). [derived]

    current_a flows at the low resistance. As ``step`` of telegraph_spectrum_per_hz it gives the crackle's spectrum.
    """
    return _law("crackle_step_v", current_a, low_ohm, high_ohm, loop_ohm)


def logarithmic_growth_m(time_s: _Num, length_m: _Num, onset_s: _Num) -> Any:
    """Film after a time, m: k ln(1 + t/t0). Copper below 5 nm: Kusano et al. 2014 [seen]."""
    return _law("logarithmic_growth_m", time_s, length_m, onset_s)


def cubic_growth_m(time_s: _Num, rate_m3_per_s: _Num, start_m: _Num = 0.0) -> Any:
    """Film after a time, m: cube root of x0^3 + k t. Copper from 5 to 25 nm: Kusano et al. 2014 [seen]."""
    return _law("cubic_growth_m", time_s, rate_m3_per_s, start_m)


def parabolic_growth_m(time_s: _Num, rate_m2_per_s: _Num, start_m: _Num = 0.0) -> Any:
    """Film after a time, m: root of x0^2 + k t. Copper above 25 nm: Kusano et al. 2014 [seen]."""
    return _law("parabolic_growth_m", time_s, rate_m2_per_s, start_m)


def copper_growth_m(time_s: _Num, known_m: _Num, known_s: _Num) -> Any:
    """Copper's oxide after a time, m, from one known film: logarithmic below 5 nm, cubic to 25 nm, parabolic above.

    Ranges: Kusano et al. 2014, 313 to 453 K [seen]; joined with a continuous rate [derived].
    """
    return _law("copper_growth_m", time_s, known_m, known_s)


def environments() -> list[str]:
    """Names of the environments: classes of ISA-71.04-2013 (G1 [seen], others [memory]) and ISO 9223:2012 [memory]."""
    return _core._environments()


def film_thickness_m(environment: str, metal: str, time_s: _Num) -> tuple[Any, Any]:
    """Film on "copper" or "silver" after a time, m: lowest and highest.

    Copper as copper_growth_m from the film of the class after a month (ISA-71.04) or a year (ISO 9223, loss times 1.68);
    silver between parabolic and linear: an assumption. Limits of the classes as environments says; G1 [seen], others [memory].
    """
    return _core._grown("thickness_m", environment, metal, time_s)


def film_area_resistance_ohm_m2(environment: str, metal: str, time_s: _Num) -> tuple[Any, Any]:
    """Resistance times area of that film, ohm m^2: lowest and highest, decades apart. That spread is the answer.

    The smaller of tunnelling (0.8 to 2.5 eV) and an ohmic film: Cu2O 0.43 [seen] to 1e6 ohm m [seen, low], Ag2S 1e-3 to
    10 ohm m [memory, low].
    """
    return _core._grown("area_resistance_ohm_m2", environment, metal, time_s)


def time_to_resistance_s(environment: str, metal: str, *, resistance_ohm: float, area_m2: float) -> tuple[float, float]:
    """When a film of an area may have reached a resistance, s: earliest and latest; infinite past 1 000 years. Not a date.

    Inverse of film_area_resistance_ohm_m2 at resistance times area; never below a microsecond. [derived]
    """
    return _core._time_to_s(environment, metal, resistance_ohm, area_m2)
