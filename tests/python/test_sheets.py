"""Job sheets in full: spreadsheets as they come, the quick form, controls as dividers, template and schema."""

import csv
import io
import json
import math
import subprocess
import sys
import tomllib

import jsonschema
import pytest

import weaklink as wl
from test_bad_input import GOOD, SHEETS, read


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "weaklink.cli", *arguments], capture_output=True, text=True, encoding="utf-8")


QUICK = """sheet = 1
title = "invented"
[contact]
"speaker relay / a" = { sees = "8.1 ohm", signal = "2.8 V" }
"mute relay / a" = { sees = "1 kohm", signal = "1 V", role = "shunt" }
"bias pot / wiper" = { role = "bias" }
[route]
"tape" = ["speaker relay / a", "mute relay / a", "bias pot / wiper"]
[[heard]]
route = "tape"
left = "grit"
right = "clean"
residue = "1 %"
[[reading]]
contact = "speaker relay / a"
channel = "left"
shows = "SHOWS"
method = "signal millivolts"
at = "2.83 V"
"""


# --- spreadsheets as they come -------------------------------------------------------------------------------------

HEAD = "when;contact;channel;shows;method"
ROW = "as found;selector / disc;{channel};{shows};my meter"
SHEET_TEXT = GOOD


def readings_of(tmp_path, data: bytes) -> list[float | None]:
    (tmp_path / "job.toml").write_text(SHEET_TEXT, encoding="utf-8")
    (tmp_path / "r.csv").write_bytes(data)
    job = wl.load_job(tmp_path / "job.toml")
    found = [wl.assess(job).finding("selector / disc", side).resistance_ohm[0] for side in ("left", "right")]
    return found


# 12 ohm on the meter: 0.8 % + 0.3 ohm and 0.2 ohm of leads come off it
TWELVE = 12 - 0.096 - 0.3 - 0.2


@pytest.mark.parametrize(
    "text",
    [
        "12 ohm", "12,0 ohm", "12 \u03a9", "12 \u2126", "12R", "0,012 kohm", "12000 m\u03a9", "12000000 \u00b5\u03a9", "12000000 \u03bc\u2126",
    ],
)  # fmt: skip
def test_ways_to_write_twelve_ohms(tmp_path, text):
    data = "\n".join([HEAD, ROW.format(channel="L", shows=text)]).encode()
    left, right = readings_of(tmp_path, data)
    assert left == pytest.approx(TWELVE, rel=1e-12) and right is None


@pytest.mark.parametrize(
    "encode",
    [
        lambda text: text.encode(),
        lambda text: text.encode("utf-8-sig"),
        lambda text: text.encode("utf-16"),
        lambda text: text.replace("\n", "\r\n").encode(),
        lambda text: text.replace(";", "\t").encode(),
        lambda text: text.replace("12,0", "12.0").replace(";", ",").encode(),
        lambda text: text.replace("\n", "\n;;;;\n\n").encode(),
        lambda text: ("\n\n" + text).encode(),
    ],
)
def test_spreadsheets_as_they_come(tmp_path, encode):
    text = "\n".join([HEAD, ROW.format(channel="R", shows="12,0 \u03a9")])
    left, right = readings_of(tmp_path, encode(text))
    assert left is None and right == pytest.approx(TWELVE, rel=1e-12)


def test_windows_1252(tmp_path):
    # its micro sign and its umlaut are no UTF-8; it has no ohm sign
    text = "\n".join([HEAD + ";note", ROW.format(channel="L", shows="12000000 \u00b5ohm") + ";gepr\u00fcft"])
    data = text.encode("cp1252")
    with pytest.raises(UnicodeDecodeError):
        data.decode()
    left, _ = readings_of(tmp_path, data)
    assert left == pytest.approx(TWELVE, rel=1e-12)


def test_blank_readings_are_counted(tmp_path):
    rows = [HEAD.replace(";", ","), "as found,selector / disc,left,12 ohm,my meter", "as found,relay / a,left,,my meter"]
    text = str(wl.assess(read(GOOD, "\n".join(rows))))
    assert "still blank: 1" in text.replace("\n  ", " ")


# --- controls ------------------------------------------------------------------------------------------------------


def test_a_control_is_one_loop_with_what_stands_before_it():
    # a wiper behind a selector: the whole is source, selector, track, wiper, load; against numpy's nodal solution
    import numpy as np

    rows = {row.contact: row for row in wl.limits(read(GOOD)).rows}
    source, track, ratio, load = 2200.0, 50e3, 10 ** (-30 / 20), 47e3
    above, below = (1 - ratio) * track, ratio * track

    def gain(selector: float, wiper: float) -> float:
        # nodes: top of the track, wiper's end of the track, load
        g = 1 / (source + selector)
        y = np.array([[g + 1 / above, -1 / above, 0], [-1 / above, 1 / above + 1 / below + 1 / wiper, -1 / wiper], [0, -1 / wiper, 1 / wiper + 1 / load]])
        return float(np.linalg.solve(y, [g, 0, 0])[2])

    tiny = 1e-3
    for contact, loss in (
        ("selector / disc", lambda r: 20 * np.log10(gain(0, tiny) / gain(r, tiny))),
        ("volume / wiper", lambda r: 20 * np.log10(gain(0, tiny) / gain(0, r))),
    ):
        # the tiny wiper costs 2e-8 of the loop
        assert loss(rows[contact].loss_ohm) == pytest.approx(0.5, rel=1e-6)


def test_a_stated_signal_sets_the_level_behind_it():
    # a meter with 60 mV open is dry at the relay only where the signal there is larger
    def dry(signal: str) -> bool | None:
        text = GOOD.replace('"out" = {', f'"out" = {{ signal = "{signal}",').replace('open_circuit = "1.9 V"', 'open_circuit = "60 mV"')
        rows = "when,contact,channel,shows,method\nas found,relay / a,left,0.5 ohm,my meter\n"
        return wl.assess(read(text, rows)).finding("relay / a", "left").dry

    assert dry("10 mV") is False and dry("1 V") is True


def test_capacitance_across_a_track_stays_when_the_control_joins_it():
    plain, loaded = (
        next(row for row in wl.limits(read(text)).rows if row.contact == "selector / disc")
        for text in (GOOD, GOOD.replace('into = "50 kohm"', 'into = { resistance = "50 kohm", capacitance = "10 nF" }'))
    )
    # 2.2 kohm, then the track with 47 kohm at its wiper beside 10 nF
    a = 10 ** (-30 / 20)
    track = (1 - a) * 50e3 + 1 / (1 / (a * 50e3) + 1 / 47e3)
    beside = 1 / (1 / track + 2j * math.pi * 1e3 * 10e-9)
    assert plain.loop_ohm == pytest.approx(2200 + track, rel=1e-9)
    assert loaded.loop_ohm == pytest.approx(abs(2200 + beside), rel=1e-9)


def test_millivolts_before_a_control_are_beside_the_voltage_on_its_track():
    # the selector's section ends in the track: what is written under at was measured there, not behind the wiper
    rows = "when,contact,channel,shows,method,at\nas found,selector / disc,left,1 mV,signal millivolts,0.4 V\n"
    found = wl.assess(read(GOOD, rows)).finding("selector / disc", "left")
    shown = (1e-3 * 1.03 + 1e-4) / 0.4
    assert found.resistance_ohm[1] == pytest.approx(50e3 * shown, rel=1e-9)
    a = 10 ** (-30 / 20)
    track = (1 - a) * 50e3 + 1 / (1 / (a * 50e3) + 1 / 47e3)
    assert found.ceiling == pytest.approx(track / (track + 2200) * shown, rel=1e-9)


# --- quick form ----------------------------------------------------------------------------------------------------


def test_quick_form():
    job = wl.Job.from_text(QUICK.replace("SHOWS", "400 mV"))
    assert job.contacts == ["speaker relay / a", "mute relay / a", "bias pot / wiper"]
    answer = wl.assess(job)
    relay, bias = answer.finding("speaker relay / a", "left"), answer.finding("bias pot / wiper", "left")
    # 400 mV over 2.83 V at what the contact sees: 1.14 ohm in 8.1 ohm does up to 6 % by chatter
    assert relay.kind == "able to account for it"
    assert relay.resistance_ohm[1] == pytest.approx(8.1 * (0.4 * 1.03 + 1e-4) / 2.83, rel=1e-9)
    assert bias.kind == "not settled" and "no ohms clear it" in " ".join(bias.reasons)
    assert any("Never bridge" in caution for caution in answer.cautions)
    steps = " ".join(step.what for step in answer.next_steps)
    assert "Clip lead across bias" not in steps and "Clip lead across mute" not in steps
    clean = wl.assess(wl.Job.from_text(QUICK.replace("SHOWS", "<0.1 mV"))).finding("speaker relay / a", "left")
    assert clean.kind == "cannot be the sole cause"


def test_quick_form_has_the_same_limits_as_a_section():
    quick = {row.contact: row for row in wl.limits(wl.Job.from_text(QUICK.replace("SHOWS", "1 mV"))).rows}
    relay, mute, bias = (quick[name] for name in ("speaker relay / a", "mute relay / a", "bias pot / wiper"))
    d = 1e-3
    assert relay.residue_ohm == pytest.approx(8.1 * 2 * d * (d + (1 + d * d) ** 0.5), rel=1e-9)
    # across a node of 1 kohm: the same in conductances
    assert mute.residue_ohm == pytest.approx(1e3 / (2 * d * (d + (1 + d * d) ** 0.5)), rel=1e-9)
    assert mute.loss_ohm == pytest.approx(1e3 / (10 ** (0.5 / 20) - 1), rel=1e-9)
    # across the signal the tighter limit is the larger one
    assert mute.stop_ohm == mute.residue_ohm > mute.loss_ohm
    assert bias.stop_ohm is None and bias.loop_ohm is None and bias.role == "bias"


def test_a_muting_contact_that_leaks_is_able_and_an_open_one_is_not():
    sheet = QUICK.replace('contact = "speaker relay / a"', 'contact = "mute relay / a"').replace("at =", "# at =")

    def kind(shows: str, method: str) -> str:
        text = sheet.replace("SHOWS", shows).replace("signal millivolts", method)
        return wl.assess(wl.Job.from_text(text)).finding("mute relay / a", "left").kind

    assert kind("15 mV", "dry box") == "able to account for it"
    # so strong a leak would have been heard as a loss
    assert kind("1 mV", "dry box") == "not settled"
    assert kind("OL", "hand meter") == "cannot unless it jumps"


def test_what_is_usual_for_a_closed_contact_is_not_asked_of_a_mute():
    text = QUICK.replace("SHOWS", "1 mV").replace("[contact]", '[part]\n"mute relay" = { kind = "relay" }\n"speaker relay" = { kind = "relay" }\n[contact]')
    answer = wl.assess(wl.Job.from_text(text))
    assert answer.finding("speaker relay / a", "left").in_order_up_to_ohm == 0.1
    assert answer.finding("mute relay / a", "left").in_order_up_to_ohm is None
    rows = {row.contact: row for row in wl.limits(wl.Job.from_text(text)).rows}
    assert rows["mute relay / a"].in_order_up_to_ohm is None


def test_sections_and_quick_contacts_share_a_route():
    text = GOOD.replace('["in", "vol", "out"]', '["in", "vol", "out", "supply relay / a", "output screw / hot"]').replace(
        "[route]", '[contact]\n"supply relay / a" = { role = "supply" }\n"output screw / hot" = { sees = "8 ohm", signal = "2 V" }\n[route]'
    )
    before, after = wl.limits(read(GOOD)).rows, wl.limits(read(text)).rows
    assert [row.contact for row in after] == [row.contact for row in before] + ["output screw / hot", "supply relay / a"]
    # a contact beside the chain changes nothing in it
    assert [row.stop_ohm for row in after[: len(before)]] == pytest.approx([row.stop_ohm for row in before], rel=4e-11, abs=0.0)


# --- template and schema -------------------------------------------------------------------------------------------


def test_template_is_a_sheet(tmp_path):
    done = run("template")
    assert done.returncode == 0
    job = wl.Job.from_text(done.stdout)
    assert "source selector / phono" in job.contacts
    (tmp_path / "my.toml").write_text(done.stdout)
    blank = run("template", "--readings", str(tmp_path / "my.toml"))
    rows = list(csv.DictReader(io.StringIO(blank.stdout)))
    assert {row["contact"] for row in rows} == set(job.contacts) and {row["channel"] for row in rows} == {"right"}
    assert run("template", "--readings").stdout == blank.stdout


def schema() -> dict:
    done = run("schema")
    assert done.returncode == 0
    found = json.loads(done.stdout)
    jsonschema.Draft202012Validator.check_schema(found)
    return found


def test_schema_accepts_every_sheet_that_reads(root):
    validator = jsonschema.Draft202012Validator(schema())
    sheets = [*(root / "notebooks" / "jobs").glob("*.toml"), *(root / "src" / "job" / "layouts").glob("*.toml")]
    assert len(sheets) >= 9
    texts = [path.read_text(encoding="utf-8") for path in sheets]
    for text in [*texts, GOOD, QUICK.replace("SHOWS", "1 mV"), run("template").stdout]:
        assert list(validator.iter_errors(tomllib.loads(text))) == []


# what a schema can see, one value at a time
SEEN = [
    "unit missing", "unknown kind", "unknown key", "key under the wrong header", "version", "no version",
    "unknown symptom", "unknown channel", "wires", "residue as a number", "path is no list", "text for a number", "no load",
    "unknown role", "role that no section describes", "one bracket", "unknown header", "Q in quotes", "key at the top that belongs lower",
]  # fmt: skip


@pytest.mark.parametrize("name", SEEN)
def test_schema_refuses_what_it_can_see(name):
    old, new, _ = SHEETS[name]
    text = GOOD.replace(old, new, 1)
    assert list(jsonschema.Draft202012Validator(schema()).iter_errors(tomllib.loads(text))), name
