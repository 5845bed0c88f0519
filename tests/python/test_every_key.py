"""Every key of a sheet, and every column of a readings file, with every kind of wrong value: a fault that names line, key, what is allowed.

The sheet below has each key on a line of its own; a row of BAD or BAD_CELLS extends the table.
"""

import re
import subprocess
import sys

import pytest
import weaklink as wl

SHEET = """sheet = 1
title = "invented"
readings = "r.csv"
currency = "EUR"
sensitivity = "87 dB"
distance = "2.5 m"
[method."my meter"]
wires = 2
open_circuit = "1.9 V"
current = "0.6 mA"
lead = "0.1 to 0.3 ohm"
accuracy = "0.8 % + 3 x 0.1 ohm"
[method."my box"]
open_circuit = "19 mV"
source = "987 ohm"
[part."selector"]
kind = "rotary switch"
metal = "silver"
access = "40 min"
price = 9
suspicion = 2
note = "worked stiffly"
[part."volume"]
kind = "potentiometer"
track = "50 kohm"
setting = "-30 dB"
[section."in"]
from = "moving magnet"
path = ["phono lead", "selector / phono"]
into = "47 kohm"
then = "phono stage"
signal = "2 mV"
[section."vol"]
path = ["volume / wiper"]
into = "47 kohm"
then = "power stage"
[section."out"]
path = ["relay / a", "0.1 ohm"]
into = "8 ohm loudspeaker"
[contact."spare plug / a"]
sees = "8 ohm"
signal = "2.8 V"
role = "return"
direct_current = "0.1 mA"
[section."table".from]
emf = "5 mV"
resistance = "1 kohm"
inductance = "500 mH"
[section."table".into]
voice_coil = "6.4 ohm"
resistance = "8 ohm"
resonance = "50 Hz"
mechanical_q = 2.6
electrical_q = 0.5
[section."table".then]
name = "tone stage"
gain = "35 dB"
equalisation = "riaa"
output_resistance = "600 ohm"
[route]
"phono" = ["in", "vol", "out"]
"spare" = ["spare plug / a"]
"table" = ["table"]
[[heard]]
route = "phono"
left = "clean"
right = "grit"
strength = "slight"
output = "1 W"
level = "75 dB"
residue = "1.2 % +- 0.2 %"
by = "0.6 dB +- 0.2 dB"
than = "the other channel"
goes_away = ["switch worked"]
comes_back = ["overnight"]
in_pauses = "no"
[[bridged]]
contact = "relay / a"
channel = "right"
then = "same"
with = "replacement"
[[checked]]
at = "power stage"
channel = "right"
bias = "18 mV"
direct = "-2 mV"
[[checked]]
at = "moving magnet"
channel = "both"
swapped = "stays"
[[reading]]
when = "as found"
contact = "relay / a"
channel = "right"
shows = "0.2 mV"
method = "dry box"
polarity = "+"
parallel = "8 ohm"
note = "after tapping it rose"
"""
TABLE_PATH = '[section."table".then]'  # its path goes before the tables inside it
ROWS = "when,contact,channel,shows,method\nas found,selector / phono,left,12 ohm,my meter\n"

# TOML as it may be written, wrong for almost every key
BAD = ["true", "[]", "{}", "[1, 2]", '""', "-7", "1e400", '"12 parsec"', '"nothing of the kind"', '"nan ohm"', "1979-05-27", '{ a = 1 }']
SAYS_WHAT = ("allowed", "write", "begin", "belongs", "did you mean", "must be", "needs")
# the cells of a readings file
BAD_CELLS = {
    "when": ["soon", "as fuond", "1", "tomorrow"],
    "contact": ["", "selector", "selector / disk", "a / b / c", "relay a", "/", "nobody / a"],
    "channel": ["", "middle", "3", "left and right", "Lef", "0"],
    "shows": ["12", "ohm", "12 parsec", "-3 ohm", "nan ohm", "inf ohm", "0x10 ohm", "1 2 ohm", "5 to 3 ohm", "<-1 ohm", "12 kg", "> ohm",
              "+- 2 ohm", "1e400 ohm", "twelve ohm", "12 ohm 5", "3 dB", "5 Hz"],
    "method": ["", "my metre", "box", "1", "my meter 2", "drybox"],
}  # fmt: skip


def sheet(lines):
    return wl.Job.from_text("\n".join(lines), file="job.toml", readings=("r.csv", ROWS))


def base():
    lines = SHEET.splitlines()
    at = lines.index('[section."table".from]')
    lines += ["[prior]", *(f"{name} = {value:g}" for name, value, *_ in wl._core._priors())]
    return [*lines[:at], '[section."table"]', 'path = ["table / plug", { lead = "phono lead" }]', *lines[at:]]


def test_the_sheet_is_good_and_has_every_key():
    import json

    sheet(base())
    schema = json.loads(wl._core._schema_json())
    written = {line.split(" = ")[0] for line in base() if " = " in line}
    keys = set()

    def walk(node):
        if isinstance(node, dict):
            keys.update(node.get("properties", {}))
            for child in node.values():
                walk(child)
        elif isinstance(node, list):
            for child in node:
                walk(child)

    walk(schema)
    # keys of inline tables inside paths, headers, and the two ways to write a channel
    inline = {"lead", "capacitance", "contact", "what", "at"} | {"method", "part", "section", "contact", "route", "heard", "bridged", "checked", "reading", "prior"}
    assert keys - written - inline == set()


def cases():
    for number, line in enumerate(base(), 1):
        key = line.split(" = ")[0]
        if " = " in line and not line.startswith('"'):
            yield from ((number, key, value) for value in BAD)


def test_wrong_values_of_every_key():
    refused = 0
    for number, key, value in cases():
        lines = base()
        lines[number - 1] = f"{key} = {value}"
        try:
            sheet(lines)
        except wl.InputError as fault:
            told = str(fault)
            if (key, value) == ("path", "[]"):  # a section without contacts is one; the reading of its contact has no home then
                continue
            # the line itself, or the header of its table where values are judged together
            header = max(n for n, line in enumerate(base()[:number], 1) if line.startswith("[") or n == 1)
            assert set(range(header, number + 1)) & {int(n) for n in re.findall(r"job.toml: line (\d+)", told)}, (key, value, told)
            assert any(word in told for word in SAYS_WHAT), (key, value, told)
            assert key in told or value.strip('"') in told, (key, value, told)
            refused += 1
        else:
            # any text is a text; a number is a price
            assert key in {"title", "currency", "metal", "note", "name", "than", "polarity", "price"} or value in ('""', "[]", "{}"), (key, value)
    print(f"\n{refused} malformed sheets")
    assert refused >= 600


def rows():
    good = dict(zip(("when", "contact", "channel", "shows", "method"), ROWS.splitlines()[1].split(","), strict=True))
    for column, cells in BAD_CELLS.items():
        for cell in cells:
            yield column, cell, ",".join({**good, column: cell}.values())
            yield column, cell, ";".join({**good, column: cell}.values())
            yield column, cell, ",".join(f'"{text}"' for text in {**good, column: cell}.values())


def test_wrong_cells_of_every_column():
    count = 0
    for column, cell, row in rows():
        header = ROWS.splitlines()[0].replace(",", ";" if ";" in row else ",")
        text = f"{header}\n{row}\n"
        with pytest.raises(wl.InputError) as fault:
            wl.Job.from_text("\n".join(base()), file="job.toml", readings=("r.csv", text))
        told = str(fault.value)
        assert "r.csv" in told and "line 2" in told and column in told, (column, cell, told)
        assert cell.strip("<> ") in told and any(word in told for word in SAYS_WHAT), (column, cell, told)
        count += 1
    print(f"\n{count} malformed readings files")
    assert count >= 100


def test_the_command_leaves_with_two(tmp_path):
    (tmp_path / "r.csv").write_text(ROWS)
    path = tmp_path / "job.toml"
    for number, key, value in list(cases())[:: 60]:
        lines = base()
        lines[number - 1] = f"{key} = {value}"
        path.write_text("\n".join(lines))
        done = subprocess.run([sys.executable, "-m", "weaklink.cli", "assess", str(path)], capture_output=True, text=True)
        assert done.returncode in (0, 2) and "Traceback" not in done.stderr
        assert done.returncode == 0 or "line " in done.stderr
