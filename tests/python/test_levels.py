"""Levels and response changes that follow from common practice and from the definition."""

import math

import numpy as np

import weaklink as wl


def loop(source: float, load: float) -> wl.Section:
    return wl.Section(
        "loop",
        source=wl.Source(emf_v=1.0, resistance_ohm=source),
        path=[wl.Contact("c", resistance_ohm=0.0)],
        load=wl.Load(resistance_ohm=load),
    )


def test_phono_and_line_sensitivity():
    # common practice: 2.5 mV phono, 150 mV line for 35 W into 8 ohm, 16.7 V: the typical stages must carry one to the other
    sheet = """
sheet = 1
[section]
"in" = { from = { emf = "2.5 mV" }, path = ["a / b"], into = "1 Mohm", then = "phono stage" }
"out" = { path = [], into = "100 Mohm", then = "power stage" }
"speaker" = { path = [], into = "8 ohm" }
[route]
"phono" = ["in", "out", "speaker"]
[[heard]]
route = "phono"
channel = "left"
what = "hum"
"""
    told = str(wl.assess(wl.Job.from_text(sheet)).assumes)
    assert "16.6 V" in told or "16.7 V" in told


def test_later_line_inputs():
    # common practice: 250 mV on later amplifiers for the same 16.7 V; 150 mV on older ones
    sheet = """
sheet = 1
[section]
"in" = { from = { emf = "250 mV" }, path = ["a / b"], into = "1 Mohm", then = "later power stage" }
"speaker" = { path = [], into = "8 ohm" }
[route]
"line" = ["in", "speaker"]
[[heard]]
route = "line"
channel = "left"
what = "hum"
"""
    assert "16.6 V" in str(wl.assess(wl.Job.from_text(sheet)).assumes) or "16.7 V" in str(wl.assess(wl.Job.from_text(sheet)).assumes)


def test_loss_of_a_relay():
    # 50 mohm in 8 ohm -0.054 dB; 0.5 ohm in 8 ohm -0.53 dB [computed]
    section = loop(0.0, 8.0)
    assert abs(section.loss_db(1000.0, contacts={"c": 0.05}) - 0.054) < 5e-4
    assert abs(section.loss_db(1000.0, contacts={"c": 0.5}) - 0.53) < 5e-3


def test_response_change_is_the_spread_of_the_loss():
    cartridge = wl.Section(
        "phono input",
        source=wl.Source(emf_v=5e-3, resistance_ohm=1000.0, inductance_h=0.5),
        path=[wl.Contact("pin", resistance_ohm=0.0)],
        load=wl.Load(resistance_ohm=47e3, capacitance_f=200e-12),
    )
    grid = np.geomspace(20.0, 20e3, 20001)
    loss = cartridge.loss_db(grid, contacts={"pin": 1000.0})
    found = cartridge.response_change_db(contacts={"pin": 1000.0})
    # a grid of 20 001 points misses an extreme by less than its curvature over 1/2000 octave
    assert abs(found - (loss.max() - loss.min())) < 1e-6
    assert loop(1.0, 8.0).response_change_db(contacts={"c": 3.0}) < 1e-12


def test_chain_ceiling_sees_the_equalisation():
    # behind a playback equaliser the harmonics of a tone are attenuated, chatter below it is lifted
    first = wl.Section(
        "in",
        source=wl.Source(emf_v=1.0, resistance_ohm=100.0),
        path=[wl.Contact("c", resistance_ohm=0.0)],
        load=wl.Load(resistance_ohm=900.0),
    )
    # the section behind rolls off as well: a ceiling must see every link up to the output
    last = wl.Section("out", source=None, path=[wl.Lead(resistance_ohm=1e4, capacitance_f=2e-8)], load=wl.Load(resistance_ohm=1e4))
    chain = wl.Chain([first, wl.Stage("eq", equalisation="riaa"), last])
    plain = first.ceiling(1000.0, ranges={"c": (0, 10.0)})
    shaped = chain.ceiling(1000.0, ranges={"c": (0, 10.0)})
    second = abs(chain.transfer(2000.0) / chain.transfer(1000.0))
    lowest = abs(chain.transfer(20.0) / chain.transfer(1000.0))
    assert math.isclose(shaped.harmonics, plain.harmonics * second, rel_tol=1e-9)
    assert math.isclose(shaped.chatter, plain.chatter * lowest, rel_tol=1e-9)
