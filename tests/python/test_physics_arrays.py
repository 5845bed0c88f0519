"""Scalars in, a float out; arrays broadcast; limits; bad input by name: every function of weaklink.physics."""

import inspect
import math

import numpy as np
import pytest
import weaklink as wl
from weaklink import _core
from weaklink import physics as ph

FILM = wl.Film.tunnelling(resistance_ohm=50.0, scale_v=0.2)
# arguments at which every law holds, by name
GOOD = {
    "ambient_k": 293.15,
    "area_resistance_ohm_m2": 1e-9,
    "cluster_radius_m": 5e-5,
    "coefficient": 1e-15,
    "coefficient_per_k": 4e-3,
    "coefficient_per_ohm": 1e-12,
    "cold_ohm": 1.0,
    "cold_peak_v": 0.01,
    "constriction_ohm": 0.5,
    "count": 5.0,
    "current_a": 0.01,
    "diffusivity_m2_per_s": 1e-4,
    "dwell_high_s": 1e-3,
    "dwell_low_s": 2e-3,
    "dwell_one_s": 1e-3,
    "dwell_other_s": 2e-3,
    "electrons_per_m3": 5.9e28,
    "field_v_per_m": 1e8,
    "film": FILM,
    "force_n": 0.1,
    "frequency_hz": 1e3,
    "fullness": 0.7,
    "fundamental_peak_v": 0.01,
    "hardness_pa": 1e9,
    "height_ev": 1.0,
    "high_hz": 2e4,
    "high_ohm": 10.0,
    "hooge": 2e-3,
    "hottest_k": 400.0,
    "known_m": 1e-8,
    "known_s": 1e6,
    "length_m": 1e-9,
    "loop_ohm": 8.0,
    "lorenz_v2_per_k2": 2.44e-8,
    "low_hz": 20.0,
    "low_ohm": 0.1,
    "onset_s": 1e3,
    "other_resistivity_ohm_m": 7e-8,
    "radius_m": 1e-6,
    "rate_m2_per_s": 1e-22,
    "rate_m3_per_s": 1e-30,
    "resistance_ohm": 2.0,
    "resistivity_ohm_m": 1.7e-8,
    "start_m": 1e-9,
    "step": 1.0,
    "temperature_k": 300.0,
    "thickness_m": 1e-9,
    "time_s": 1e6,
    "tone_hz": 1e3,
    "voltage_v": 0.05,
}
# not of numbers only, tested by themselves below
OTHERS = {
    "environments", "film_area_resistance_ohm_m2", "film_thickness_m", "fritting", "metals", "small_spot_ohm", "spots_ohm",
    "time_to_resistance_s", "tunnelling_film",
}  # fmt: skip
# may be of either sign, zero, or anything: what a bad value of them is
SIGNED = {"voltage_v", "current_a", "step"}
ZERO_HOLDS = {
    "coefficient", "coefficient_per_ohm", "constriction_ohm", "frequency_hz", "fundamental_peak_v", "low_hz", "low_ohm",
    "rate_m2_per_s", "rate_m3_per_s", "resistance_ohm", "start_m", "time_s",
}  # fmt: skip
LAWS = [n for n in ph.__all__ if inspect.isfunction(getattr(ph, n)) and n not in OTHERS]


def arguments(law):
    return {name: GOOD[name] for name in inspect.signature(law).parameters}


def test_every_row_of_the_table_has_a_face():
    assert set(_core._laws()) <= set(LAWS) and len(LAWS) > 35


@pytest.mark.parametrize("name", LAWS)
def test_scalars_and_arrays(name):
    law = getattr(ph, name)
    good = arguments(law)
    one = law(**good)
    assert type(one) is float and math.isfinite(one)
    assert law.__doc__
    numbers = [n for n in good if n != "film"]
    wide = dict(good)
    wide[numbers[0]] = np.full((3, 1), good[numbers[0]])
    wide[numbers[-1]] = [good[numbers[-1]]] * 2
    if numbers[0] == numbers[-1]:
        wide[numbers[0]] = np.full((3, 2), good[numbers[0]])
    many = law(**wide)
    assert many.shape == (3, 2) and many.dtype == np.float64 and np.all(many == one)


@pytest.mark.parametrize("name", LAWS)
def test_bad_values_are_named(name):
    law = getattr(ph, name)
    good = arguments(law)
    for argument in good:
        if argument == "film":
            continue
        bad = [math.nan]
        if argument not in SIGNED:
            bad.append(-1.0)
        if argument not in SIGNED | ZERO_HOLDS | {"high_ohm"}:
            bad.append(0.0)
        for value in bad:
            with pytest.raises(wl.InputError) as caught:
                law(**(good | {argument: value}))
            assert caught.value.place == argument, (argument, value, str(caught.value))


@pytest.mark.parametrize(
    ("law", "bad", "place"),
    [
        (ph.heated_voltage_v, {"current_a": 1.0}, "current_a"),
        (ph.third_harmonic, {"cold_peak_v": 0.15}, "cold_peak_v"),
        (ph.tunnelling_density_a_per_m2, {"voltage_v": 1.0}, "voltage_v"),
        (ph.tunnelling_density_a_per_m2, {"thickness_m": [1e-9, 1e-10]}, "thickness_m"),
        (ph.tunnelling_thickness_m, {"area_resistance_ohm_m2": 1e-14}, "area_resistance_ohm_m2"),
        (ph.chatter_residue, {"high_ohm": 0.05}, "high_ohm"),
        (ph.crackle_step_v, {"high_ohm": 0.05}, "high_ohm"),
        (ph.flicker_v, {"high_hz": 1.0}, "high_hz"),
        (ph.voltage_for_temperature_v, {"hottest_k": 200.0}, "hottest_k"),
        (ph.series_voltage_v, {"film": wl.Film.bridged(resistance_ohm=50.0), "current_a": 0.1}, "current_a"),
    ],
)
def test_values_outside_a_law(law, bad, place):
    with pytest.raises(wl.InputError) as caught:
        law(**(arguments(law) | bad))
    assert caught.value.place == place
    if isinstance(next(iter(bad.values())), list):
        assert "element 1" in caught.value.value


def test_a_bridge_past_its_end_is_an_error_of_film_too():
    with pytest.raises(wl.InputError):
        wl.Film.bridged(resistance_ohm=1.0).voltage_v([0.01, 0.2])


def test_limits():
    # sinh to ohmic, rectifier to its leak, heated to cold, many spots to one, intermediate form to ohmic
    assert wl.Film.tunnelling(resistance_ohm=50.0, scale_v=1e6).current_a(1.0) == pytest.approx(1 / 50, rel=1e-11, abs=0.0)
    assert wl.Film.rectifying(resistance_ohm=50.0, leak_ratio=1.0).current_a(1.0) == pytest.approx(1 / 50, rel=1e-15, abs=0.0)
    assert ph.heated_current_a(1e-6, 2.0) == pytest.approx(0.5e-6, rel=1e-9, abs=0.0)
    assert ph.rise_k(1e-9) == pytest.approx(1e-18 / (8 * ph.LORENZ_V2_PER_K2 * ph.ROOM_K), rel=1e-12, abs=0.0)
    assert ph.cluster_ohm(1.0, 1e-6, 1e9, 1.7e-8) == pytest.approx(ph.spot_ohm(1e-6, 1.7e-8), rel=1e-12, abs=0.0)
    assert ph.spots_ohm([0], [0], [1e-6], 1.7e-8) == ph.spot_ohm(1e-6, 1.7e-8)
    slope = ph.tunnelling_slope_s_per_m2(1.0, 1e-9, 0.0)
    assert ph.tunnelling_density_a_per_m2(1.0, 1e-9, 1e-7) == pytest.approx(slope * 1e-7, rel=1e-12, abs=0.0)
    assert ph.crackle_step_v(1e-6, 1.0, 11.0) == pytest.approx(1e-5, rel=1e-15, abs=0.0)
    assert ph.crackle_step_v(1e-6, 1.0, 11.0, 1e12) == pytest.approx(1e-5, rel=1e-9, abs=0.0)
    # steady: no chatter
    assert ph.chatter_residue(1.0, 1.0, dwell_low_s=1.0, dwell_high_s=1.0, loop_ohm=8.0) == 0.0
    # even dwell: r/(2+r), below T1
    assert ph.chatter_residue(0, 8, dwell_low_s=1.0, dwell_high_s=1.0, loop_ohm=8.0) == pytest.approx(1 / 3, rel=1e-15, abs=0.0)


def test_fritting_remembers_until_rest_or_move():
    after = ph.fritting(
        FILM, [0.5, 5.0, 0.5, "rest", 0.5, 5.0, "move"], breakdown_v=1.0, pinned_v=0.3, loop_ohm=8.0
    )
    assert [film.law for film in after] == [
        "tunnelling", "bridged", "bridged", "tunnelling", "tunnelling", "bridged", "tunnelling",
    ]  # fmt: skip
    assert ph.series_voltage_v(after[1], 8.0, (5.0 - 0.3) / 8.0) == pytest.approx(5.0, rel=1e-12, abs=0.0)
    for bad in (["sleep"], [-1.0], [math.nan], [None], [True], [1e308]):
        with pytest.raises(wl.InputError) as caught:
            ph.fritting(FILM, bad, breakdown_v=1.0, pinned_v=0.3, loop_ohm=1e-5 if bad == [1e308] else 8.0)
        assert "events[0]" in caught.value.place
    with pytest.raises(wl.InputError):
        ph.fritting(FILM, [1.0], breakdown_v=0.2, pinned_v=0.3, loop_ohm=8.0)
    with pytest.raises(wl.InputError) as caught:
        ph.fritting(FILM, ["rest"], breakdown_v=1.0, pinned_v=0.3, loop_ohm=-1.0)
    assert caught.value.place == "loop_ohm"


def test_growth_is_a_range():
    month = 30 * 86400.0
    assert ph.film_thickness_m("ISA-71.04 G1", "copper", month)[1] == pytest.approx(300e-10, rel=1e-9, abs=0.0)
    assert ph.film_thickness_m("ISA-71.04 G1", "silver", month)[1] == pytest.approx(200e-10, rel=1e-9, abs=0.0)
    low, high = ph.film_area_resistance_ohm_m2("ISA-71.04 G2", "silver", np.geomspace(1e3, 1e9, 7))
    assert np.all(low <= high) and np.all(np.diff(low) > 0) and np.all(np.diff(high) > 0)
    early, late = ph.time_to_resistance_s("ISA-71.04 G1", "copper", resistance_ohm=1.0, area_m2=1e-10)
    assert late > 10 * early
    assert len(ph.environments()) == 10
    for bad in (("G9", "copper"), ("ISA-71.04 G1", "lead"), ("ISO 9223 C1", "silver")):
        with pytest.raises(wl.InputError):
            ph.film_thickness_m(*bad, month)
    with pytest.raises(wl.InputError):
        ph.time_to_resistance_s("ISA-71.04 G1", "copper", resistance_ohm=0.0, area_m2=1e-10)


@pytest.mark.parametrize("name", [n for n in ph.__all__ if inspect.isfunction(getattr(ph, n))])
def test_docstrings_state_a_source(name):
    text = getattr(ph, name).__doc__
    if name in {"metals", "fritting", "environments"}:
        return
    tags = ("[seen]", "[memory]", "[derived]", "Johnson 1928", "Source as ")
    assert any(tag in text for tag in tags), text


UNITS = {
    "_ohm": "ohm", "_v": "V", "_a": ", A", "_m": ", m", "_k": ", K", "_s": ", s", "_hz": "Hz", "_v2": "V^-2",
    "_ohm_m2": "ohm m^2", "_a_per_m2": "A/m^2", "_s_per_m2": "S/m^2", "slope_s": ", S", "_per_rthz": "V per root Hz",
}  # fmt: skip


@pytest.mark.parametrize("name", [n for n in ph.__all__ if inspect.isfunction(getattr(ph, n))])
def test_docstrings_state_the_unit_of_the_name(name):
    ends = [end for end in UNITS if name.endswith(end)]
    if ends and name != "environments":
        assert UNITS[max(ends, key=len)] in getattr(ph, name).__doc__.split("\n")[0], name


def test_small_spots():
    # a = l: Sharvin's term is 8/(3 pi) of Holm's; 0.69 [memory]
    low, high = ph.small_spot_ohm(40e-9, 1.7e-8, 40e-9)
    holm = ph.spot_ohm(40e-9, 1.7e-8)
    assert type(low) is float and high / holm == pytest.approx(1 + 8 / (3 * math.pi), rel=1e-13, abs=0.0)
    assert low / holm == pytest.approx(0.69 + 8 / (3 * math.pi), rel=1e-13, abs=0.0)
    assert ph.small_spot_ohm(1e-6, 1.7e-8, 0)[1] == ph.spot_ohm(1e-6, 1.7e-8)
    low, high = ph.small_spot_ohm([1e-9, 1e-8], 1.7e-8, [[1e-8], [4e-8]])
    assert low.shape == high.shape == (2, 2) and np.all(low < high)
    for k, bad in enumerate([(0.0, 1e-8, 1e-8), (1e-6, -1.0, 1e-8), (1e-6, 1e-8, math.nan)]):
        with pytest.raises(wl.InputError) as caught:
            ph.small_spot_ohm(*bad)
        assert caught.value.place == ["radius_m", "resistivity_ohm_m", "free_path_m"][k]


@pytest.mark.parametrize(
    "call",
    [
        lambda: ph.plastic_ohm(1e-300, 1e300, 1e300),
        lambda: ph.spot_ohm([1e-6, 1e-310], 1.0),
        lambda: ph.rise_k(1e308),
        lambda: ph.telegraph_corner_hz(1e-310, 1.0),
        lambda: ph.copper_growth_m(1e30, 1e-9, 1e-300),
        lambda: ph.spots_ohm([0], [0], [1e-320], 1.0),
        lambda: ph.series_current_a(wl.Film.tunnelling(resistance_ohm=1e-6, scale_v=0.01), 0.0, 10.0),
        lambda: wl.Film.tunnelling(resistance_ohm=1e-6, scale_v=0.01).current_a(10.0),
        lambda: wl.Film.tunnelling(resistance_ohm=1e-6, scale_v=0.01).slope_s([0.0, 10.0]),
    ],
)
def test_results_that_overflow_are_refused(call):
    with pytest.raises(wl.InputError) as caught:
        call()
    assert "result" in caught.value.place and caught.value.value and "finite" in caught.value.allowed


def test_a_perfect_contact_has_no_current_of_its_own():
    film = wl.Film.ohmic(resistance_ohm=0.0)
    assert film.current_a(0.0) == 0.0 and film.voltage_v(1.0) == 0.0 and film.chord_ohm(1.0) == 0.0
    for call in (lambda: film.current_a([0.0, 1.0]), lambda: film.slope_s(0.0)):
        with pytest.raises(wl.InputError) as caught:
            call()
        assert caught.value.place == "film: resistance_ohm"


def test_barriers_thicker_than_any_film_are_refused():
    for call in (
        lambda: ph.tunnelling_area_resistance_ohm_m2(1.0, 1e-7),
        lambda: ph.tunnelling_density_a_per_m2(1.0, 3e-7, 0.99),
        lambda: ph.tunnelling_slope_s_per_m2(1.0, 3e-7, 0.99),
    ):
        with pytest.raises(wl.InputError) as caught:
            call()
        assert caught.value.place == "thickness_m"
    with pytest.raises(wl.InputError) as caught:
        ph.tunnelling_thickness_m(1.0, 1e300)
    assert caught.value.place == "area_resistance_ohm_m2"


@pytest.mark.parametrize(
    ("bad", "place"), [({"area_m2": 0.0}, "area_m2"), ({"area_m2": -1.0}, "area_m2"), ({"area_m2": math.nan}, "area_m2"),
                       ({"height_ev": 0.0}, "height_ev"), ({"thickness_m": 1e-10}, "thickness_m")]
)  # fmt: skip
def test_tunnelling_film_names_what_is_wrong(bad, place):
    with pytest.raises(wl.InputError) as caught:
        ph.tunnelling_film(**({"height_ev": 1.0, "thickness_m": 1e-9, "area_m2": 1e-10} | bad))
    assert caught.value.place == place


def test_metals_and_films():
    metals = ph.metals()
    assert len(metals) == 13 and not metals["nickel"].melting_is_safe
    assert metals["brass"].melting_v.tag == "[memory, low]"
    film = ph.tunnelling_film(height_ev=1.0, thickness_m=1e-9, area_m2=1e-10)
    assert film.law == "tunnelling" and film.resistance_ohm == pytest.approx(8.9208, rel=1e-5, abs=0.0)


def test_spots_are_checked():
    for bad in (([], [], []), ([0, 1e-6], [0, 0], [1e-6, 1e-6]), ([0], [0, 1], [1e-6]), ([0], [0], [0.0]), ([math.nan], [0], [1.0])):
        with pytest.raises(wl.InputError):
            ph.spots_ohm(*bad, 1.7e-8)


def test_spots_take_arrays_and_say_which():
    x = np.arange(8.0)[::2] * 1e-4
    ohm = ph.spots_ohm(x, [0, 0, 0, 0], np.full(4, 1e-6, dtype=np.float32), 1.7e-8)
    assert type(ohm) is float
    with pytest.raises(wl.InputError) as caught:
        ph.spots_ohm(x, 0 * x, [1e-6, 1e-6, 0.0, 1e-6], 1.7e-8)
    assert caught.value.place == "radius_m" and "[2]" in caught.value.value
    with pytest.raises(wl.InputError) as caught:
        ph.spots_ohm(["a"], [0], [1e-6], 1.7e-8)
    assert caught.value.place == "x_m"
