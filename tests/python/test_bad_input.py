"""Every fault of a sheet or a readings file says where, what and what is allowed; the table can be extended by a row."""

import subprocess
import sys

import pytest

import weaklink as wl

GOOD = """sheet = 1
title = "invented"
readings = "r.csv"
[method]
"my meter" = { wires = 2, open_circuit = "1.9 V", lead = "0.2 ohm", accuracy = "0.8 % + 3 x 0.1 ohm" }
[part]
"selector" = { kind = "rotary switch", access = "40 min" }
"volume" = { kind = "potentiometer", track = "50 kohm", setting = "-30 dB" }
[section]
"in" = { from = "line source", path = ["selector / disc"], into = "50 kohm" }
"vol" = { path = ["volume / wiper"], into = "47 kohm", then = "power stage" }
"out" = { path = ["relay / a", "0.1 ohm"], into = "8 ohm loudspeaker" }
[route]
"disc" = ["in", "vol", "out"]
[[heard]]
route = "disc"
channel = "left"
what = "grit"
[[bridged]]
contact = "relay / a"
channel = "left"
then = "same"
"""
ROWS = "when,contact,channel,shows,method\nas found,selector / disc,left,12 ohm,my meter\n"


def read(text: str, rows: str = ROWS) -> wl.Job:
    return wl.Job.from_text(text, file="job.toml", readings=("r.csv", rows))


def test_the_good_sheet_is_good():
    job = read(GOOD)
    assert job.contacts == ["selector / disc", "volume / wiper", "relay / a"]
    assert len(wl.assess(job).findings) == 6


# what to replace, with what, and what the message must hold: line, place, value, allowed
SHEETS = {
    "quotes forgotten": ('into = "50 kohm"', "into = 50 kohm", ["line 10", "quotes forgotten? write"]),
    "quotes forgotten at a line of its own": ('what = "grit"', "what = grit", ["line 18", "what", 'write what = "grit"']),
    "unit missing": ('into = "50 kohm"', "into = 50", ["line 10", '[section] "in": into', "unit missing", '"50 ohm"']),
    "unit missing in text": ('into = "50 kohm"', 'into = "50"', ["line 10", "into", "has no unit", '"47 kohm"']),
    "wrong dimension": ('into = "50 kohm"', 'into = "50 kV"', ["line 10", "into", "is a voltage, not a resistance"]),
    "unknown unit": ('into = "50 kohm"', 'into = "50 kohn"', ["line 10", 'unknown unit "kohn"']),
    "unknown source": ('"line source"', '"line sourse"', ["line 10", "from", 'did you mean "line source"?']),
    "unknown stage": ('"power stage"', '"powr stage"', ["line 11", "then", 'did you mean "power stage"?']),
    "neither contact nor lead": ('"0.1 ohm"]', '"cable"]', ["line 12", "path", '"cable" is neither a contact nor a lead']),
    "contact without position": ('"relay / a"', '"relay /"', ["line 12", "path", '"part / position"']),
    "contact twice": ('"relay / a", "0.1 ohm"', '"selector / disc"', ["line 12", 'contact "selector / disc" stands twice']),
    "unknown role": ('"0.1 ohm"]', '{ contact = "x / y", role = "retrun" }]', ["line 12", "role", 'did you mean "return"?']),
    "role that no section describes": (
        '"0.1 ohm"]',
        '{ contact = "x / y", role = "bias" }]',
        ["line 12", "role", '"bias"', "name the contact under [contact]"],
    ),
    "role without a contact": ('"0.1 ohm"]', '{ resistance = "1 ohm", role = "shunt" }]', ["line 12", "without a contact"]),
    "direct current in a mute": (
        '"0.1 ohm"]',
        '{ contact = "x / y", role = "shunt", direct_current = "1 mA" }]',
        ["line 12", "direct_current", "across the signal: 0"],
    ),
    "no load": (', into = "47 kohm"', "", ["line 11", "no into"]),
    "load of zero": ('into = "50 kohm"', 'into = "0 ohm"', ["line 10", "above zero"]),
    "unknown kind": ('"rotary switch"', '"rotary swich"', ["line 7", '[part] "selector": kind', 'did you mean "rotary switch"?']),
    "milliohm track": ('track = "50 kohm"', 'track = "50 mohm"', ["line 8", "track", "did you mean kohm?"]),
    "control that amplifies": ('"-30 dB"', '"30 dB"', ["line 8", "setting", "does not amplify"]),
    "unknown key": ("access =", "acces =", ["line 7", 'unknown key "acces"', 'did you mean "access"?']),
    "key under the wrong header": ('channel = "left"\nwhat', 'track = "1 kohm"\nwhat', ["line 17", '"track"', "belongs under [part]"]),
    "key at the top that belongs lower": ("sheet = 1", 'sheet = 1\ngoes_away = ["tapped"]', ["line 2", "belongs under [[heard]]"]),
    "unknown header": ("[part]", "[prat]", ["line 6", 'unknown key "prat"', 'did you mean "part"?']),
    "quick contact on no route": (
        "[route]",
        '[contact]\n"x / y" = { sees = "8 ohm", signal = "1 V" }\n[route]',
        ["line 14", '[contact] "x / y"', "no route passes it"],
    ),
    "section on no route": ('["in", "vol", "out"]', '["in", "vol"]', ["line 12", '[section] "out"', "no route passes it"]),
    "quick contact without sees": (
        "[route]",
        '[contact]\n"x / y" = { signal = "1 V" }\n[route]',
        ["line 14", "no sees", 'write sees = "8 ohm"'],
    ),
    "quick contact that sees nothing": (
        "[route]",
        '[contact]\n"x / y" = { sees = "0 ohm", signal = "1 V" }\n[route]',
        ["line 14", "sees", "above zero"],
    ),
    "quick contact on a path": (
        "[route]",
        '[contact]\n"relay / a" = { sees = "8 ohm", signal = "1 V" }\n[route]',
        ["line 14", 'on the path of section "out"', "in one way"],
    ),
    "quick contact without a position": (
        "[route]",
        '[contact]\n"relay" = { sees = "8 ohm", signal = "1 V" }\n[route]',
        ["line 14", '"part / position"'],
    ),
    "quick contact without spaces": (
        "[route]",
        '[contact]\n"x/y" = { sees = "8 ohm", signal = "1 V" }\n[route]',
        ["line 14", 'write it with a space on either side: "x / y"'],
    ),
    "bias contact with a signal": (
        "[route]",
        '[contact]\n"x / y" = { role = "bias", signal = "1 V" }\n[route]',
        ["line 14", 'role "bias"', "write the role alone"],
    ),
    "route that names a contact of a path": (
        '["in", "vol", "out"]',
        '["in", "vol", "out", "relay / a"]',
        ["line 14", 'stands on the path of section "out": name the section'],
    ),
    "clip lead across a mute": (
        '"relay / a", "0.1 ohm"',
        '{ contact = "relay / a", role = "shunt" }',
        ["line 19", "a clip lead across", "mutes and tells nothing"],
    ),
    "clip lead across a bias contact": (
        '"disc" = ["in", "vol", "out"]\n',
        '"disc" = ["in", "vol", "out", "bias pot / wiper"]\n[contact]\n"bias pot / wiper" = { role = "bias" }\n'
        '[[bridged]]\ncontact = "bias pot / wiper"\nchannel = "left"\nthen = "same"\n',
        ["line 17", "never bridge"],
    ),
    "load that is not the track": (
        'into = "50 kohm"',
        'into = "100 kohm"',
        ["line 14", '"in" and "vol" do not join', "ends in 100 kohm", "has 50 kohm", "write the track"],
    ),
    "control that is not at its wiper": ('"volume / wiper"', '"volume / top"', ["line 14", '"volume / wiper", not "volume / top"']),
    "leads with four wires": ("wires = 2", "wires = 4", ["line 5", "lead", "four wires leave the leads out"]),
    "track of a switch": ('kind = "rotary switch"', 'kind = "rotary switch", track = "10 kohm"', ["line 7", "only a control"]),
    "than without by": ('what = "grit"', 'what = "grit"\nthan = "the left"', ["line 19", "than without by"]),
    "stage without gain": ('"power stage"', '{ output_resistance = "1 ohm" }', ["line 11", "then", "no gain", '"0 dB"']),
    "half a loudspeaker": (
        '"8 ohm loudspeaker"',
        '{ resistance = "8 ohm", resonance = "50 Hz" }',
        ["line 12", "into", "needs resonance, mechanical_q and electrical_q"],
    ),
    "Q in quotes": (
        '"8 ohm loudspeaker"',
        '{ resistance = "8 ohm", mechanical_q = "3" }',
        ["line 12", "mechanical_q", "without quotes"],
    ),
    "Q of zero": (
        '"8 ohm loudspeaker"',
        '{ resistance = "8 ohm", resonance = "50 Hz", mechanical_q = 0, electrical_q = 1 }',
        ["line 12", "mechanical_q: 0", "above zero"],
    ),
    "version": ("sheet = 1", "sheet = 2", ["line 1", "sheet", "allowed: 1"]),
    "no version": ("sheet = 1\n", "\n", ["begin with sheet = 1"]),
    "route of an unknown section": ('["in", "vol", "out"]', '["in", "volume", "out"]', ["line 14", 'did you mean "vol"?']),
    "route that does not join": (', then = "power stage"', "", ["line 14", '"vol" and "out" do not join', "give section"]),
    "route without a source": ('["in", "vol", "out"]', '["out"]', ["line 14", "has no source", "begins with a source"]),
    "source in the middle": ('["in", "vol", "out"]', '["in", "in2"]\n', ["unknown section"]),
    "control without a setting": (', setting = "-30 dB"', "", ["line 14", "needs track and setting"]),
    "heard on an unknown route": ('route = "disc"', 'route = "disk"', ["line 16", 'did you mean "disc"?']),
    "unknown symptom": ('what = "grit"', 'what = "gritty"', ["line 18", "what", 'did you mean "grit"?']),
    "unknown channel": ('channel = "left"\nwhat', 'channel = "middle"\nwhat', ["line 17", "channel", '"both"']),
    "no channel": ('channel = "left"\nwhat', "what", ["line 15", "[[heard]]", "channel and what"]),
    "one bracket": ("[[bridged]]", "[bridged]", ["bridged", "two brackets"]),
    "bridged an unknown contact": ('contact = "relay / a"', 'contact = "relay / b"', ["line 20", 'did you mean "relay / a"?']),
    "contradiction": (
        "[[bridged]]",
        '[[heard]]\nroute = "disc"\nchannel = "left"\nwhat = "clean"\n[[bridged]]',
        ["line 19", "clean here and grit on line 15", "contradict"],
    ),
    "heard twice": ("[[bridged]]", '[[heard]]\nroute = "disc"\nleft = "grit"\n[[bridged]]', ["line 19", "stands twice"]),
    "duplicate part": ('"volume" = {', '"selector" = {', ["line 8", "comes twice", "each name once"]),
    "accuracy": ("0.8 % + 3 x 0.1 ohm", "quite good", ["line 5", "accuracy", '"0.8 % + 3 x 0.1 ohm"']),
    "negative counts": ("3 x 0.1 ohm", "-3 x 0.1 ohm", ["line 5", "accuracy", "cannot be read"]),
    "wires": ("wires = 2", "wires = 3", ["line 5", "wires", "allowed: 2 or 4"]),
    "residue as a number": ('what = "grit"', 'what = "grit"\nresidue = 1.2', ["line 19", "residue", '"1.2 %"']),
    "no readings file": ('readings = "r.csv"', 'readings = "other.csv"', ["line 3", '"other.csv"', "beside the sheet"]),
    "path is no list": ('path = ["selector / disc"]', 'path = "selector / disc"', ["line 10", "path", "write a list"]),
    "text for a number": ('title = "invented"', "title = 3", ["line 2", "title", "in quotes"]),
}


@pytest.mark.parametrize("name", SHEETS)
def test_bad_sheet(name):
    old, new, fragments = SHEETS[name]
    assert GOOD.count(old) >= 1
    with pytest.raises(wl.InputError) as caught:
        read(GOOD.replace(old, new, 1))
    text = str(caught.value)
    for fragment in ["job.toml", *fragments]:
        assert fragment in text, text
    assert caught.value.place and caught.value.allowed and caught.value.faults


READINGS = {
    "unknown contact": ("selector / disc", "selektor / disc", ["line 2", 'did you mean "selector / disc"?']),
    "unknown method": ("my meter", "my metre", ["line 2", 'unknown method "my metre"', 'did you mean "my meter"?']),
    "unknown state": ("as found", "as fund", ["line 2", "when", 'did you mean "as found"?']),
    "unknown column": ("shows", "show", ["line 1", 'unknown column "show"', 'did you mean "shows"?']),
    "missing column": (",method\n", "\n", ["line 1", 'no column "method"']),
    "no unit": ("12 ohm", "12", ["line 2", "shows", "has no unit"]),
    "megohm for milliohm": ("12 ohm", "85 Mohm", ["line 2", 'did you mean "85 mohm"?', "M is mega"]),
    "range upside down": ("12 ohm", "4 to 0.3 ohm", ["line 2", "larger to the smaller"]),
    "negative": ("12 ohm", "-3 ohm", ["line 2", "negative"]),
    "decibels on an ohmmeter": ("12 ohm", "0.6 dB", ["line 2", "is a level in dB, not a resistance"]),
    "channel": ("left", "top", ["line 2", "channel", "left, right, both"]),
    "nothing shown on an unknown contact": ("selector / disc,left,12 ohm", "selektor,left,", ["line 2", "unknown contact"]),
    "signal millivolts without the load": ("12 ohm,my meter", "1 mV,signal millivolts", ["line 2", "at", "2.83 V"]),
    "twice": (ROWS, ROWS + ROWS.splitlines()[1] + "\n", ["line 3", "the same as line 2"]),
    "volts on an ohmmeter": ("12 ohm", "1 mV", ["line 2", "is a voltage, not a resistance"]),
    "ohms from a millivolt method": ("12 ohm,my meter", "12 ohm,dry box", ["line 2", "is a resistance, not a voltage"]),
    "column twice": ("shows,method", "shows,method,shows", ["line 1", 'column "shows" comes twice']),
    "line after empty lines": ("as found,selector", "\r\n\r\nas fund,selector", ["line 4", 'did you mean "as found"?']),
    "too many cells": ("my meter", "my meter,1,2", ["line 2", "7 cells"]),
}


@pytest.mark.parametrize("name", READINGS)
def test_bad_readings(name):
    old, new, fragments = READINGS[name]
    with pytest.raises(wl.InputError) as caught:
        read(GOOD, ROWS.replace(old, new, 1))
    for fragment in ["r.csv", *fragments]:
        assert fragment in str(caught.value), caught.value


def test_every_fault_is_told_at_once():
    bad = GOOD.replace('"rotary switch"', '"x"').replace('what = "grit"', 'what = "y"').replace("12 ohm", "z")
    with pytest.raises(wl.InputError) as caught:
        read(bad, ROWS.replace("12 ohm", "12"))
    assert len(caught.value.faults) == 3
    assert [fault[1] for fault in caught.value.faults] == [7, 18, 2]


@pytest.mark.parametrize(
    "rows",
    [
        "\ufeffwhen;contact;channel;shows;method\r\nas found;selector / disc;L;1,2 ohm;my meter\r\n\r\n",
        "contact\tchannel\tshows\tmethod\nselector / disc\tleft\t1.2 ohm\tmy meter\n",
        "contact,channel,shows,method\nselector / disc,left,1.2 \u03a9,my meter\n",
        'contact,channel,shows,method\n"selector / disc",l,1R2,my meter\n;\n'.replace(";\n", ""),
    ],
)
def test_spreadsheets_as_they_come(rows):
    finding = wl.assess(read(GOOD, rows)).finding("selector / disc", "left")
    # 1.2 ohm less 0.2 ohm of leads less 0.8 % and three counts of 0.1 ohm
    assert finding.resistance_ohm[0] == pytest.approx(1.2 - 0.2 - 0.0096 - 0.3)


def test_a_method_without_leads_has_typical_ones():
    no_lead = GOOD.replace(', lead = "0.2 ohm"', "")
    # 1.2 ohm less 0.8 % and three counts of 0.1 ohm, less 0.3 ohm of leads at most
    low = wl.assess(read(no_lead, ROWS.replace("12 ohm", "1.2 ohm"))).finding("selector / disc", "left").resistance_ohm[0]
    assert low == pytest.approx(1.2 - 0.0096 - 0.3 - 0.3)


def test_a_bad_source_is_one_fault():
    with pytest.raises(wl.InputError) as caught:
        read(GOOD.replace('"line source"', '"x"'))
    assert len(caught.value.faults) == 1


def test_exit_status(tmp_path, jobs):
    run = lambda *a: subprocess.run([sys.executable, "-m", "weaklink.cli", *map(str, a)], capture_output=True, text=True)  # noqa: E731
    bad = tmp_path / "bad.toml"
    bad.write_text(GOOD.replace("sheet = 1", "sheet = 7"))
    (tmp_path / "r.csv").write_text(ROWS)
    done = run("assess", bad)
    assert done.returncode == 2 and "line 1" in done.stderr and done.stdout == ""
    done = run("assess", tmp_path / "none.toml")
    assert done.returncode == 2 and "none.toml" in done.stderr
    assert run("assess").returncode == 2
    assert run("assess", jobs / "two-faults.toml").returncode == 0
