"""How many ohms are too many: closed forms, the command, the list of typical values."""

import json
import subprocess
import sys

import numpy as np
import pytest

import weaklink as wl

LAYOUTS = ["integrated amplifier", "receiver", "phono stage with line amplifier", "headphone amplifier"]
# bisection over 15 decades in 40 rounds
BISECTION = 1e-9


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "weaklink.cli", *arguments], capture_output=True, text=True)


def test_closed_forms_in_a_resistive_loop():
    found = wl.limits(wl.typical("integrated amplifier"), residue=0.01, loss_db=1.0)
    relay = next(row for row in found.rows if row.contact == "speaker relay / a")
    d, loop = 0.01, 0.05 + 0.13 + 8.0
    assert relay.residue_ohm == pytest.approx(loop * 2 * d * (d + (1 + d * d) ** 0.5), rel=BISECTION)
    assert relay.loss_ohm == pytest.approx(loop * (10 ** (1 / 20) - 1), rel=BISECTION)
    assert relay.stop_ohm == min(relay.residue_ohm, relay.loss_ohm)
    # a dry box does not see 0.17 ohm, one ampere is not dry at a watt, an ohmmeter with leads convicts from here on
    assert not relay.as_movement and relay.dry_box_v is None and relay.one_ampere_v is None
    assert relay.hand_meter_ohm == pytest.approx((relay.stop_ohm + 0.3 + 0.3) / 0.99, rel=1e-12)


def test_a_small_loop_is_limited_by_movement():
    relay = next(row for row in wl.limits(wl.typical("integrated amplifier")).rows if row.contact == "speaker relay / a")
    # 0.1 % takes 16 mohm of movement; a relay that is usual for its kind has up to 100 mohm
    assert relay.as_movement and relay.stop_ohm < relay.in_order_up_to_ohm and relay.hand_meter_ohm is None
    assert relay.one_ampere_v == pytest.approx((relay.stop_ohm - 0.2e-3) / 1.02, rel=1e-12)


def test_a_display_below_the_last_digit_is_no_display():
    # 10 ohm at a phono socket would be 5 uV less the accuracy: a box with a 0.1 mV digit does not tell
    pin = next(row for row in wl.limits(wl.typical("integrated amplifier")).rows if row.contact == "phono socket / pin")
    assert 5.0 < pin.stop_ohm < 20.0 and pin.dry_box_v is None


def test_the_displays_hold_against_assess():
    # just below the dry box display the sheet with that reading says cannot; an ohmmeter just above its own convicts
    sheet = """
sheet = 1
[section]
"s" = { from = { emf = "20 mV", resistance = "1 kohm" }, path = ["a / b"], into = "46 kohm" }
[route]
"r" = ["s"]
[[heard]]
route = "r"
channel = "left"
what = "grit"
residue = "0.5 %"
[[reading]]
contact = "a / b"
channel = "left"
shows = "SHOWS"
method = "METHOD"
"""

    def finding(shows: str, method: str) -> wl.Finding:
        return wl.assess(wl.Job.from_text(sheet.replace("SHOWS", shows).replace("METHOD", method))).finding("a / b", "left")

    row = wl.limits(wl.Job.from_text(sheet.replace("SHOWS", "1 ohm").replace("METHOD", "hand meter")), residue=0.005).rows[0]
    assert row.stop_ohm == row.residue_ohm
    below, above = f"{1e3 * row.dry_box_v * 0.999:.6f} mV", f"{1e3 * row.dry_box_v * 1.001:.6f} mV"
    assert finding(below, "dry box").kind == "cannot unless it jumps"
    assert finding(above, "dry box").kind != "cannot unless it jumps"
    assert finding(f"{row.hand_meter_ohm * 1.0001:.6f} ohm", "hand meter").resistance_ohm[0] > row.stop_ohm
    assert finding(f"{row.hand_meter_ohm * 0.9999:.6f} ohm", "hand meter").resistance_ohm[0] < row.stop_ohm


def test_shared_return_by_crosstalk_and_typical_values_tell_how_much_they_move():
    found = wl.limits(wl.typical("headphone amplifier"), crosstalk_db=-30.0)
    sleeve = next(row for row in found.rows if row.contact == "headphone socket / sleeve")
    # 600 ohm of the line stage and 32 ohm; Rg/(M + 2 Rg) over its rest to one: x = Rg/(M + Rg)
    x = 10 ** (-30 / 20)
    assert sleeve.crosstalk_ohm == pytest.approx(632 * x / (1 - x), rel=1e-6)
    # both channels play the same: twice its ohms in one of 632, r = 2 d (d + sqrt(1 + d^2)) of it
    assert sleeve.residue_ohm == pytest.approx(316 * 2e-3 * (1e-3 + np.hypot(1.0, 1e-3)), rel=1e-6)
    assert sleeve.stop_ohm == sleeve.residue_ohm < sleeve.crosstalk_ohm
    # both channels alike: the contact sees half of one channel's loop
    assert sleeve.loop_ohm == pytest.approx(316.0, rel=1e-12)
    moved = {used.name: used.moves_by for used in found.typical}
    assert set(moved) == {"line source", "line stage", "32 ohm headphones"} and all(1.0 <= m <= 2.0 + 1e-9 for m in moved.values())
    assert moved["line stage"] > 1.9


def test_the_sheets_own_ohmmeter_is_the_meter():
    sheet = """
sheet = 1
[method]
"bench meter" = { wires = 2, open_circuit = "1 V", lead = "0.1 ohm", accuracy = "1 % + 2 x 0.1 ohm" }
[contact]
"a / b" = { sees = "10 kohm", signal = "1 V" }
[route]
"r" = ["a / b"]
"""
    found = wl.limits(wl.Job.from_text(sheet))
    assert found.hand_meter == "bench meter"
    assert found.rows[0].hand_meter_ohm == pytest.approx((found.rows[0].stop_ohm + 0.1 + 0.2) / 0.99, rel=1e-12)
    assert "bench meter" in str(found)


def test_below_the_limit_assess_says_cannot():
    # the two commands rest on the same bound: a reading just below the limit clears, one just above does not
    sheet = """
sheet = 1
readings = "r.csv"
[method]
"bridge" = { wires = 4, open_circuit = "1 mV", source = "1 kohm", accuracy = "0.001 %" }
[section]
"s" = { from = { emf = "1 mV", resistance = "100 ohm" }, path = ["a / b"], into = "900 ohm" }
[route]
"r" = ["s"]
[[heard]]
route = "r"
channel = "left"
what = "grit"
residue = "1 %"
"""
    rows = "contact,channel,shows,method\na / b,left,{} ohm,bridge\n"
    limit = wl.limits(wl.Job.from_text(sheet, readings=("r.csv", rows.format(1))), residue=0.01).rows[0].residue_ohm

    def kind(ohm: float) -> str:
        return wl.assess(wl.Job.from_text(sheet, readings=("r.csv", rows.format(ohm)))).finding("a / b", "left").kind

    # at 1 mV a rectifying film can grow by a few percent, so that much is kept
    assert kind(0.9 * limit) == "cannot unless it jumps"
    assert kind(1.01 * limit) == "able to account for it"


@pytest.mark.parametrize("name", LAYOUTS)
def test_the_command_fits_a_card(name):
    done = run("limits", "--typical", name)
    lines = done.stdout.splitlines()
    # a third column of ohms and one of millivolts take a line of words each
    assert done.returncode == 0 and len(lines) < 27 and max(map(len, lines)) <= 80 and done.stdout.isascii()
    assert "residue" in done.stdout and "19.7 mV" in done.stdout and "9.91 mV" in done.stdout


def test_json_sheet_and_bad_targets(jobs):
    sheet = str(jobs / "two-faults.toml")
    data = json.loads(run("limits", sheet, "--json").stdout)
    rows = data["rows"]
    assert data["targets"] == {"residue": 1e-3, "inaudible_up_to_db": None, "loss_db": 0.5, "crosstalk_db": -40.0}
    assert {row["contact"] for row in rows} == set(wl.load_job(sheet).contacts)
    assert len(wl.limits(wl.load_job(sheet)).to_frame()) == len(rows) == 6
    done = run("limits", sheet, "--residue", "0")
    assert done.returncode == 2 and "residue: 0; allowed: finite, above zero" in done.stderr
    done = run("limits", "--typical", "radiogram")
    assert done.returncode == 2 and "integrated amplifier" in done.stderr
    assert run("limits").returncode == 2


def test_typicals_name_their_sources():
    done = run("typicals")
    assert done.returncode == 0 and max(map(len, done.stdout.splitlines())) <= 80
    for word in ("moving magnet", "power stage", "rotary switch", "dry box", "19.7 mV open, behind 987 ohm", "headphone resistor", "receiver", "[seen]", "[memory]", "common practice", "version 2"):
        assert word in done.stdout


# what each may have at once is found from below by secants to this
SHARE = 1e-4


def test_ohms_of_all_contacts_at_once_hold_against_the_bound():
    # T2 of the whole route with every contact at its own limit is the wanted residue; at the limits for one alone it is more
    found = wl.limits(wl.typical("receiver"))
    rows = {row.contact: row for row in found.rows}
    relay, switch, clamp = (rows[name] for name in ("speaker relay / a", "speaker switch / a", "loudspeaker clamp / signal"))
    assert relay.together_ohm == pytest.approx(switch.together_ohm, rel=1e-9) == pytest.approx(clamp.together_ohm, rel=1e-9)
    assert all(0.0 < row.together_ohm < row.residue_ohm for row in found.rows)
    # each of a route does the same share of what it may alone
    shares = [rows[name].together_ohm / rows[name].residue_ohm for name in ("phono socket / pin", "source selector / phono", "tone defeat / out")]
    assert shares == pytest.approx([shares[0]] * 3, rel=1e-9)


def test_ohms_of_two_loops_at_once_are_the_closed_form():
    # resistive and flat: sinh(1/2 sum ln(1 + s r)) = d, with r the limit of each alone
    sheet = """
sheet = 1
[section]
"s" = { from = { emf = "1 V", resistance = "100 ohm" }, path = ["a / b"], into = "900 ohm", then = { gain = "0 dB", output_resistance = "300 ohm" } }
"t" = { path = ["c / d", "e / f"], into = "700 ohm" }
[route]
"r" = ["s", "t"]
"""
    rows = {row.contact: row for row in wl.limits(wl.Job.from_text(sheet), residue=0.05).rows}
    ohms = np.array([rows[name].together_ohm for name in ("a / b", "c / d", "e / f")])
    reached = np.sinh(0.5 * (np.log1p(ohms[0] / 1e3) + np.log1p((ohms[1] + ohms[2]) / 1e3)))
    assert 0.05 * (1.0 - 2 * SHARE) <= reached <= 0.05


def test_millivolts_hold_against_assess():
    # just below the display assess says cannot by that bound, just above it does not
    sheet = """
sheet = 1
[section]
"s" = { from = { emf = "3 V", resistance = "0.5 ohm" }, path = ["a / b"], into = "8 ohm loudspeaker" }
[route]
"r" = ["s"]
[[heard]]
route = "r"
channel = "left"
what = "grit"
residue = "0.5 %"
output = "2 V"
[[reading]]
contact = "a / b"
channel = "left"
shows = "SHOWS"
method = "signal millivolts"
at = "2 V"
"""
    row = wl.limits(wl.Job.from_text(sheet.replace("SHOWS", "1 mV")), residue=0.005).rows[0]
    # the smallest over the band of loop over load is what T8 takes: above its own loop's share of a resistive one
    assert 0.005 < row.playing_ratio < 0.005 * 1.1 and row.playing_load_v == pytest.approx(2.0, rel=1e-9)
    assert row.playing_v == pytest.approx((row.playing_ratio * 2.0 - 0.1e-3) / 1.03, rel=1e-9)
    for times, kind in ((0.999, "cannot be the sole cause"), (1.001, None)):
        shows = f"{1e3 * times * row.playing_v:.7f} mV"
        found = wl.assess(wl.Job.from_text(sheet.replace("SHOWS", shows)), draws=0).finding("a / b", "left")
        assert (found.kind == "cannot be the sole cause") == (kind is not None)
        assert (found.bound is not None) == (kind is not None)
        if found.bound:
            assert found.bound.by == "the millivolts across it" and found.bound.unit == "ratio"
            assert found.bound.at_most == pytest.approx(found.ceiling) and found.bound.at_most < found.bound.needed == 0.005
