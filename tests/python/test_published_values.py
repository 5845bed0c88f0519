"""The linear response against published and handbook values; sources stand in tests/references and beside each number."""

import math

import numpy as np
import pytest
from scipy import optimize

import weaklink as wl

# printed to 1e-3 dB, so half a digit of print and the rest for rounding
PRINTED_3_DB = 1e-3
# printed to 1e-4 or 1e-5 dB
PRINTED_4_DB = 6e-5
PRINTED_5_DB = 6e-6


def db(ratio: float) -> float:
    return 20.0 * math.log10(abs(ratio))


@pytest.mark.parametrize("name,column", [("riaa", "riaa_db"), ("riaa 7950 us", "with_7950_us_db")])
def test_playback_equalisation(references, name, column):
    stage = wl.Stage("phono stage", gain_db=40.0, equalisation=name)
    first = wl.Section("in", source=wl.Source(emf_v=1.0), path=[], load=wl.Load(resistance_ohm=47e3))
    after = wl.Section("out", source=None, path=[], load=wl.Load(resistance_ohm=50e3))
    chain = wl.Chain([first, stage, after])
    for row in references("riaa.csv"):
        found = db(chain.transfer(float(row["frequency_hz"]))) - 40.0
        assert abs(found - float(row[column])) < PRINTED_3_DB, row


def cartridge_of(row) -> wl.Section:
    return wl.Section(
        "cartridge",
        source=wl.Source(emf_v=1.0, resistance_ohm=float(row["resistance_ohm"]), inductance_h=float(row["inductance_h"])),
        path=[wl.Contact("c", resistance_ohm=0.0)],
        load=wl.Load(resistance_ohm=float(row["load_ohm"]), capacitance_f=float(row["capacitance_f"])),
    )


def test_moving_magnet_rows(references):
    for row in references("cartridge.csv"):
        section = cartridge_of(row)
        at = lambda f, section=section: db(section.transfer(f))  # noqa: E731
        assert abs(at(1e-3) - float(row["dc_db"])) < PRINTED_5_DB
        assert abs(at(10e3) - at(1e3) - float(row["at_10k_db"])) < PRINTED_4_DB
        assert abs(at(20e3) - at(1e3) - float(row["at_20k_db"])) < PRINTED_4_DB
        top = optimize.minimize_scalar(lambda f: -at(f), bounds=(10.0, 30e3), method="bounded", options={"xatol": 1e-4})
        if row["peak_hz"]:
            assert abs(top.x - float(row["peak_hz"])) < 0.1
            assert abs(-top.fun - at(1e-3) - float(row["peak_db"])) < PRINTED_5_DB
        else:
            assert top.x < 30.0


def test_series_contact_at_a_cartridge(references, cartridge):
    for row in references("series_contact.csv"):
        found = -cartridge.loss_db(float(row["frequency_hz"]), contacts={"pin": float(row["contact_ohm"])})
        assert abs(found - float(row["change_db"])) < 2 * PRINTED_5_DB if row["contact_ohm"] == "100" else 6e-5, row


def loop(source: float, load: float) -> wl.Section:
    return wl.Section(
        "loop",
        source=wl.Source(emf_v=1.0, resistance_ohm=source),
        path=[wl.Contact("c", resistance_ohm=0.0)],
        load=wl.Load(resistance_ohm=load),
    )


def test_line_level_loading():
    # IEC 61938: 2.2 kohm source into 22 kohm [source seen, load from memory], 20 log10(22/24.2) = -0.827854 dB [calc]
    section = loop(2200.0, 22e3)
    assert abs(db(section.transfer(1000.0)) + 0.827854) < 1e-6
    # elementary circuit [calc]
    for ohm, change in ((10.0, -0.00359), (100.0, -0.03582), (1000.0, -0.35170)):
        assert abs(section.loss_db(1000.0, contacts={"c": ohm}) + change) < PRINTED_5_DB


def test_ohms_for_a_loss():
    # R = Rt (10^(dB/20) - 1): 0.011579, 0.059254, 0.122018 of the loop for 0.1, 0.5, 1 dB [calc]
    for source, load in ((0.05, 8.0), (1000.0, 47e3), (2200.0, 22e3), (10.0, 100.0)):
        for loss, share in ((0.1, 0.011579), (0.5, 0.059254), (1.0, 0.122018)):
            found = loop(source, load).loss_db(1000.0, contacts={"c": share * (source + load)})
            assert abs(found / loss - 1.0) < 5e-5


def test_ohms_that_are_one_percent():
    # common practice: 1 % of the loop is 0.08 ohm at a loudspeaker, 1.1 ohm at a moving-coil input, 480 ohm at a moving-magnet one
    for source, load, ohm in ((0.05, 8.0, 0.08), (10.0, 100.0, 1.1), (1000.0, 47e3, 480.0)):
        assert abs(loop(source, load).loss_db(1000.0, contacts={"c": ohm}) - db(1.01)) < 1e-3


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


def test_amplifier_minimum_loss_of_a_relay():
    # 50 mohm in 8 ohm -0.054 dB; 0.5 ohm in 8 ohm -0.53 dB [computed]
    section = loop(0.0, 8.0)
    assert abs(section.loss_db(1000.0, contacts={"c": 0.05}) - 0.054) < 5e-4
    assert abs(section.loss_db(1000.0, contacts={"c": 0.5}) - 0.53) < 5e-3


def test_response_change_is_the_spread_of_the_loss(cartridge):
    grid = np.geomspace(20.0, 20e3, 20001)
    loss = cartridge.loss_db(grid, contacts={"pin": 1000.0})
    found = cartridge.response_change_db(contacts={"pin": 1000.0})
    # a grid of 20 001 points misses an extreme by less than its curvature over 1/2000 octave
    assert abs(found - (loss.max() - loss.min())) < 1e-6
    assert loop(1.0, 8.0).response_change_db(contacts={"c": 3.0}) < 1e-12
