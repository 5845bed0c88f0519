"""How many ohms are too many: closed forms, the command, the list of typical values."""

import json
import subprocess
import sys

import pytest

import weaklink as wl

LAYOUTS = ["integrated amplifier", "phono and line", "headphone amplifier"]
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
    assert relay.one_ampere_v == relay.stop_ohm
    assert relay.dry_box_v == pytest.approx(19.7e-3 * relay.stop_ohm / (relay.stop_ohm + 987.0), rel=1e-12)


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
    assert kind(0.9 * limit) == "cannot be the sole cause"
    assert kind(1.01 * limit) == "able to account for it"


@pytest.mark.parametrize("name", LAYOUTS)
def test_the_command_fits_a_card(name):
    done = run("limits", "--typical", name)
    lines = done.stdout.splitlines()
    assert done.returncode == 0 and len(lines) < 25 and max(map(len, lines)) <= 80 and done.stdout.isascii()
    assert "stop at" in done.stdout and "19.7 mV" in done.stdout


def test_json_sheet_and_bad_targets(jobs):
    sheet = str(jobs / "two-faults.toml")
    rows = json.loads(run("limits", sheet, "--json").stdout)
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
    for word in ("moving magnet", "power stage", "rotary switch", "[seen]", "[memory]", "common practice", "version 1"):
        assert word in done.stdout
