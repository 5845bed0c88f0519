"""Numbers that make an object: what is no number is an InputError that names the place, the value and what is allowed."""

import numpy as np
import pytest

import weaklink as wl

# what makes it, its good numbers, the place that a fault names
SPEAKER = {"nominal_ohm": 8.0, "voice_coil_ohm": 6.0, "voice_coil_h": 1e-3, "resonance_hz": 50.0, "mechanical_q": 3.0, "electrical_q": 0.5, "capacitance_f": 1e-9}
MAKERS = {
    "source": (wl.Source, {"emf_v": 1.0, "resistance_ohm": 2.0, "inductance_h": 1e-3}),
    "lead": (wl.Lead, {"resistance_ohm": 2.0, "inductance_h": 1e-3, "capacitance_f": 1e-9}),
    "load": (wl.Load, {"resistance_ohm": 2.0, "capacitance_f": 1e-9}),
    "load: loudspeaker": (wl.Load.loudspeaker, SPEAKER),
    "film": (wl.Film.ohmic, {"resistance_ohm": 2.0}),
    "film, tunnelling": (wl.Film.tunnelling, {"resistance_ohm": 2.0, "scale_v": 0.1}),
    "film, rectifying": (wl.Film.rectifying, {"resistance_ohm": 2.0, "ideality": 1.5, "leak_ratio": 0.5}),
    "film, bridged": (wl.Film.bridged, {"resistance_ohm": 2.0}),
    'contact "a"': (lambda **n: wl.Contact("a", **n), {"resistance_ohm": 2.0, "constriction_ohm": 1.0, "direct_current_a": 0.5}),
    'stage "a"': (lambda **n: wl.Stage("a", **n), {"gain_db": 2.0, "output_resistance_ohm": 1.0}),
    'divider "a"': (lambda **n: wl.Divider("a", **n), {"track_ohm": 1e4, "setting_db": -20.0}),
}
# what may be None
OPTIONAL = {('contact "a"', "resistance_ohm"), *(("load: loudspeaker", name) for name in ("voice_coil_ohm", "resonance_hz", "mechanical_q", "electrical_q"))}
ARGUMENTS = [(place, name) for place, (_, numbers) in MAKERS.items() for name in numbers]
# a value, what of it is told, what is told of what is allowed
ARRAYS = "arrays go into contacts={...} of the calls"
BAD = {
    "text": ("1 ohm", "'1 ohm'", "allowed: a number; its unit is in the name"),
    "yes": (True, "True", "allowed: a number"),
    "yes of numpy": (np.True_, "bool", "allowed: real numbers"),
    "list": ([1.0, 2.0], "list of 2", ARRAYS),
    "tuple": ((1.0,), "tuple of 1", ARRAYS),
    "array of one": (np.array([1.0]), "shape [1]", ARRAYS),
    "array": (np.ones((2, 3)), "shape [2, 3]", ARRAYS),
    "complex": (1j, "complex128", "allowed: real numbers"),
    "masked": (np.ma.masked, "masked", "without a mask"),
    "anything": (object(), "object", "allowed: real numbers"),
    "huge": (10**400, "too large", "allowed: a number"),
}


def make(place, **changes):
    maker, numbers = MAKERS[place]
    return maker(**numbers | changes)


@pytest.mark.parametrize("bad", BAD)
@pytest.mark.parametrize(("place", "name"), ARGUMENTS)
def test_what_is_no_number_is_told(place, name, bad):
    value, found, allowed = BAD[bad]
    with pytest.raises(wl.InputError) as caught:
        make(place, **{name: value})
    # the capacitance stands across the loudspeaker: it is the load's
    told = "load" if (place, name) == ("load: loudspeaker", "capacitance_f") else place.split(",")[0]
    assert caught.value.place == f"{told}: {name}"
    assert found in caught.value.value and allowed in caught.value.allowed


@pytest.mark.parametrize(("place", "name"), [each for each in ARGUMENTS if each not in OPTIONAL])
def test_nothing_is_no_number(place, name):
    with pytest.raises(wl.InputError, match=f"{name}: None; allowed: a number"):
        make(place, **{name: None})


@pytest.mark.parametrize("kind", [np.float64, np.float32, np.array, lambda x: np.array(x, dtype=np.float32)])
@pytest.mark.parametrize(("place", "name"), ARGUMENTS)
def test_numbers_of_numpy_are_numbers(place, name, kind):
    number = float(np.float32(MAKERS[place][1][name]))
    assert make(place, **{name: kind(number)}) == make(place, **{name: number})


@pytest.mark.parametrize("kind", [int, np.int64, np.uint8, np.array])
def test_whole_numbers_are_numbers(kind):
    assert wl.Source(emf_v=kind(3), resistance_ohm=kind(2)) == wl.Source(emf_v=3.0, resistance_ohm=2.0)


@pytest.mark.parametrize(
    ("bad", "told"),
    [
        (1.0, "range_ohm: 1.0; allowed: a pair"),
        ((1.0, 2.0, 3.0), "range_ohm: .*; allowed: a pair"),
        (("1", 2.0), "range_ohm: low: '1'; allowed: a number"),
        ((0.0, True), "range_ohm: high: True; allowed: a number"),
        ((0.0, np.ones(2)), "range_ohm: high: an array"),
    ],
)
def test_a_range_is_a_pair_of_numbers(bad, told):
    with pytest.raises(wl.InputError, match=f'contact "a": {told}'):
        wl.Contact("a", resistance_ohm=1.0, range_ohm=bad)


def test_a_range_of_numpy_is_a_range():
    assert wl.Contact("a", resistance_ohm=1.0, range_ohm=(np.float32(0.5), np.array(2))).range_ohm == (0.5, 2.0)


def test_changes_are_told_as_well():
    section = wl.Section("s", source=wl.Source(emf_v=1.0), path=[wl.Contact("a", resistance_ohm=1.0)], load=wl.Load(resistance_ohm=8.0))
    with pytest.raises(wl.InputError, match='contact "a": resistance_ohm: \'1 ohm\''):
        section.with_contact("a", resistance_ohm="1 ohm")
    with pytest.raises(wl.InputError, match="source: emf_v: list of 2"):
        section.with_source(emf_v=[1.0, 2.0])


SECTION = wl.Section("s", source=wl.Source(emf_v=1.0), path=[wl.Contact("a", film=wl.Film.bridged(resistance_ohm=1.0))], load=wl.Load(resistance_ohm=8.0))
JOB = wl.typical("headphone amplifier")
RANGES = {"a": (0.0, 1.0)}
# calls with one number of their own
REAL = {
    "ratio": lambda x: SECTION.two_tone(60.0, 7e3, ratio=x),
    "ratio of a ceiling": lambda x: SECTION.two_tone_ceiling(60.0, 7e3, ranges=RANGES, ratio=x),
    "notch_q": lambda x: SECTION.residue(1e3, notch_q=x),
    "other_channel": lambda x: SECTION.ceiling(1e3, ranges=RANGES, other_channel=x),
    "frequency_hz": lambda x: wl.try_ceiling(SECTION, 1.0, trials=1, frequency_hz=x),
    "frequency_hz of a cycle": lambda x: wl.level_cycle(SECTION, [1.0], frit_v=0.1, frequency_hz=x),
    "pinned_v": lambda x: wl.level_cycle(SECTION, [1.0], frit_v=0.1, pinned_v=x),
    "residue": lambda x: wl.limits(JOB, residue=x),
    "loss_db": lambda x: wl.limits(JOB, loss_db=x),
    "crosstalk_db": lambda x: wl.limits(JOB, crosstalk_db=x),
    "level_db": lambda x: wl.limits(JOB, residue="inaudible", level_db=x),
}
WHOLE = {
    "harmonics": lambda x: SECTION.distortion(1e3, harmonics=x),
    "trials": lambda x: wl.try_ceiling(SECTION, 1.0, trials=x),
    "seed": lambda x: wl.try_ceiling(SECTION, 1.0, trials=1, seed=x),
    "periods": lambda x: wl.try_ceiling(SECTION, 1.0, trials=1, periods=x),
    "samples": lambda x: wl.try_ceiling(SECTION, 1.0, trials=1, samples=x),
    "draws": lambda x: wl.assess(JOB, draws=x),
    "seed of an assessment": lambda x: wl.assess(JOB, draws=0, seed=x),
}


@pytest.mark.parametrize("bad", ["text", "yes", "list", "array", "complex", "anything", "huge"])
@pytest.mark.parametrize("call", REAL)
def test_what_is_no_number_in_a_call_is_told(call, bad):
    value, found, _ = BAD[bad]
    with pytest.raises(wl.InputError) as caught:
        REAL[call](value)
    assert caught.value.place == call.split(" of ")[0]
    assert found in caught.value.value and "allowed: " in str(caught.value)


@pytest.mark.parametrize(("bad", "found"), [("10", "'10'"), (True, "True"), (-1, "-1"), (1.5, "1.5"), (2**64, "18446744073709551616"), ([1], "[1]")])
@pytest.mark.parametrize("call", WHOLE)
def test_what_is_no_whole_number_in_a_call_is_told(call, bad, found):
    with pytest.raises(wl.InputError) as caught:
        WHOLE[call](bad)
    assert caught.value.place == call.split(" of ")[0]
    assert caught.value.value == found and "whole number, zero or more" in caught.value.allowed


@pytest.mark.parametrize("kind", [np.int64, np.uint8, int])
def test_whole_numbers_of_numpy_are_whole_numbers(kind):
    assert WHOLE["seed"](kind(3)).best == WHOLE["seed"](3).best


@pytest.mark.parametrize(
    ("bad", "told"),
    [
        (1.0, "band_hz: 1.0; allowed: a pair"),
        ((20.0,), "band_hz: .*; allowed: a pair"),
        (("20", 2e4), "band_hz: low: '20'; allowed: a number"),
        ((20.0, True), "band_hz: high: True; allowed: a number"),
        ((20.0, 20.0), r"band_hz: \(20, 20\); allowed: .*0 < low < high"),
        ((20.0, np.inf), r"band_hz: \(20, inf\)"),
    ],
)
def test_a_band_is_a_pair_of_numbers(bad, told):
    contact = {"across_v": 1e-3, "load_v": 1.0, "frequency_hz": 1e3}
    for call in (
        lambda: SECTION.response_change_db(band_hz=bad), lambda: SECTION.johnson_v(band_hz=bad), lambda: SECTION.ceiling(1e3, band_hz=bad),
        lambda: SECTION.residue(1e3, band_hz=bad), lambda: SECTION.millivolt_bound("a", band_hz=bad, **contact),
        lambda: SECTION.ceiling_by_readings(1e3, ranges=RANGES, band_hz=bad), lambda: SECTION.two_tone_ceiling(60.0, 7e3, ranges=RANGES, band_hz=bad),
    ):  # fmt: skip
        with pytest.raises(wl.InputError, match=told):
            call()
