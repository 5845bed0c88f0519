"""The what-if panel without a screen: what a move computes, what the widgets then say and show."""

import math
import statistics
import sys
import time

import numpy as np
import pytest

import weaklink as wl
from weaklink import _core, hearing

pytest.importorskip("ipywidgets")
pytest.importorskip("matplotlib")
from weaklink import panel as what_if  # noqa: E402

# the panel leaves out what stands in parallel behind a control; its loops are those of the typical layouts to a per cent
LOOP_TOLERANCE = 0.01


def loop_ohm(name):
    """Loop at 1 kHz out of the loss of a resistance far above it."""
    return 1e7 / (10.0 ** (what_if.place(name).loss_db(1000.0, contacts={"contact": 1e7}) / 20.0) - 1.0)


@pytest.mark.parametrize(
    ("name", "layout", "contact"),
    [
        ("record player's socket", "integrated amplifier", "phono socket / pin"),
        ("selector after the phono stage", "integrated amplifier", "source selector / phono"),
        ("selector of a line source", "integrated amplifier", "source selector / line"),
        ("volume control's wiper", "integrated amplifier", "volume control / wiper"),
        ("loudspeaker relay", "integrated amplifier", "speaker relay / a"),
        ("headphone socket", "headphone amplifier", "headphone socket / tip"),
    ],
)
def test_places_are_those_of_the_typical_layouts(name, layout, contact):
    row = next(row for row in wl.limits(wl.typical(layout)).rows if row.contact == contact)
    assert loop_ohm(name) == pytest.approx(row.loop_ohm, rel=LOOP_TOLERANCE)


def test_their_sources_and_loads_are_the_typical_values():
    listed = {(kind, name): value for kind, name, value, _ in _core._typical_values()}
    assert listed["source", "moving magnet"] == "5 mV, 1 kohm, 500 mH" and listed["load", "moving magnet input"] == "47 kohm and 100 pF"
    phono = what_if.place("record player's socket")
    assert phono.source == wl.Source(emf_v=5e-3, resistance_ohm=1e3, inductance_h=0.5) and phono.load == wl.Load(resistance_ohm=47e3, capacitance_f=100e-12)
    assert listed["source", "line source"] == "500 mV, 2.2 kohm, 0 H"
    assert what_if.place("selector of a line source").source == wl.Source(emf_v=0.5, resistance_ohm=2.2e3)
    assert listed["stage", "phono stage"].endswith("1 kohm out") and listed["stage", "power stage"].endswith("50 mohm out")
    assert listed["lead", "loudspeaker lead"].startswith("130 mohm")


@pytest.mark.parametrize("law", what_if.LAWS)
@pytest.mark.parametrize("name", what_if.PLACES)
def test_a_move_is_the_plain_calls(name, law):
    low, high = what_if.ohm_range(name)
    ohm, level = math.sqrt(low * high), -12.0
    now = what_if.moved(name, ohm, level, law)
    section = what_if.place(name).with_contact("contact", resistance_ohm=None, film=what_if._film(law, ohm))
    emf = section.source.emf_v * 10 ** (level / 20)
    plain = section.distortion(1000.0, emf_v=emf)
    assert (now.residue, now.ceiling) == (plain.thd_f, section.ceiling(1000.0, emf_v=emf).chatter)
    assert now.loss_db == section.loss_db(1000.0) - plain.fundamental_db and now.status == "converged"
    assert now.residue <= now.ceiling and (now.curve_residue <= now.curve_ceiling * (1 + 1e-9)).all()
    # a point of the curve is what the same ohms give when they are moved to
    assert what_if.moved(name, float(now.curve_ohm[7]), level, law).residue == pytest.approx(now.curve_residue[7], rel=1e-6, abs=1e-14)
    heard = [68.0 + 20 * math.log10(abs(h)) if abs(h) else -math.inf for h in plain.harmonics]
    assert now.ear_db == 68.0 and list(now.lines_db) == pytest.approx(heard) and now.lines_hz[:2] == (2000.0, 3000.0)
    masked = hearing.masked_thresholds([hearing.Masker(1000.0, 68.0)], list(now.threshold_hz))
    assert now.thresholds == {model.model: model.high_db for model in masked.models}


def test_moving_the_sliders_redraws_two_axes_and_says_the_numbers():
    shown = what_if.panel()
    assert shown.figure.axes == [shown.left, shown.right] and bytes(shown.picture.value[:4]) == b"\x89PNG"
    before = bytes(shown.picture.value)
    shown.place.value = "loudspeaker relay"
    assert 10.0**shown.ohm.min == pytest.approx(1e-4) and 10.0**shown.ohm.max == pytest.approx(100.0) and shown.ohm.value <= 100.0
    shown.law.value, shown.ohm.value, shown.level.value = "rectifying", 0.5, -6.0
    assert np.isclose(shown.now.residue, what_if.moved("loudspeaker relay", 0.5, -6.0, "rectifying").residue, rtol=1e-12)
    assert f"<b>{shown.now.loss_db:.3g} dB</b> quieter" in shown.told.value and f"<b>{100 * shown.now.residue:.2g} %</b>" in shown.told.value
    assert bytes(shown.picture.value) != before and len(shown.figure.axes) == 2
    here = next(line for line in shown.left.lines if line.get_label() == "here")
    assert here.get_xdata()[0] == shown.ohm.value and here.get_ydata()[0] == shown.now.residue
    assert {line.get_label() for line in shown.right.lines} >= {*hearing.MODELS, "harmonics"}
    assert "application/vnd.jupyter.widget-view+json" in shown._repr_mimebundle_()


def test_every_place_can_be_gone_to_from_every_other():
    shown = what_if.panel()
    for name in [*what_if.PLACES, *reversed(what_if.PLACES)]:
        shown.place.value = name
        low, high = what_if.ohm_range(name)
        assert low * 0.999 <= shown.ohm.value <= high * 1.001
        assert shown.now.loss_db == what_if.moved(name, shown.ohm.value, 0.0, "tunnelling").loss_db


def test_how_long_a_move_computes():
    """No time is asserted; ``pytest -s`` prints it. Asked for: under 10 ms."""
    random = np.random.default_rng(1)
    times = []
    for _ in range(300):
        name, law = random.choice(what_if.PLACES), random.choice(what_if.LAWS)
        low, high = np.log10(what_if.ohm_range(str(name)))
        began = time.perf_counter()
        now = what_if.moved(str(name), float(10 ** random.uniform(low, high)), float(random.integers(-60, 13)), str(law))
        times.append(1e3 * (time.perf_counter() - began))
        assert now.status == "converged"
    late = float(np.quantile(times, 0.99))
    print(f"\npanel: a move computes {statistics.median(times):.1f} ms at the median, {late:.1f} ms at 99 in 100, {max(times):.1f} ms at most")


@pytest.mark.parametrize(
    ("arguments", "place"),
    [
        (("loudspeaker", 1.0, 0.0, "ohmic"), "place"),
        (("loudspeaker relay", 0.0, 0.0, "ohmic"), "ohm"),
        (("loudspeaker relay", math.nan, 0.0, "ohmic"), "ohm"),
        (("loudspeaker relay", 1.0, math.inf, "ohmic"), "level_db"),
        (("loudspeaker relay", 1.0, 0.0, "magic"), "law"),
    ],
)
def test_bad_input_is_named(arguments, place):
    with pytest.raises(wl.InputError) as caught:
        what_if.moved(*arguments)
    assert caught.value.place == place


def test_without_ipywidgets_one_line_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "ipywidgets", None)
    with pytest.raises(ModuleNotFoundError, match=r"^the panel needs ipywidgets: pip install 'weaklink\[notebooks\]' brings it$"):
        what_if.panel()
