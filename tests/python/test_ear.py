"""The level at the ear in job sheets and limits: against wl.hearing, closed forms, and bad sheets."""

import math
import subprocess
import sys

import pytest
import weaklink as wl

SHEET = """sheet = 1
title = "a relay at several levels (invented)"
{top}
[section]
"out" = {{ from = {{ emf = "{emf} V", resistance = "0.1 ohm" }}, path = ["relay / a"], into = "8 ohm" }}
[route]
"disc" = ["out"]
[[heard]]
route = "disc"
left = "clean"
right = "grit"
strength = "{strength}"
{heard}
[[reading]]
contact = "relay / a"
channel = "right"
shows = "{shows}"
method = "signal millivolts"
at = "2.8 V"
"""


def job(top="", heard="", emf=2.83, strength="slight", shows="1.8 mV"):
    return wl.Job.from_text(SHEET.format(top=top, heard=heard, emf=emf, strength=strength, shows=shows))


def finding(found):
    return next(f for f in found.findings if f.channel == "right")


def assumed(made):
    return next(line for line in wl.assess(made).assumes if "dB SPL" in line)


def test_level_by_sensitivity_distance_and_drive():
    # 87 dB at 1 m from 2.83 V; 0.283 V is 20 dB less, 2.5 m 7.96 dB less: 59.04
    assert "at 59 dB SPL" in assumed(job('sensitivity = "87 dB"\ndistance = "2.5 m"', 'output = "0.283 V"'))
    assert "at 67 dB SPL" in assumed(job('sensitivity = "87 dB"\ndistance = "1 m"', 'output = "0.283 V"'))
    # headphones: 100 dB from 1 V, no distance; 0.1 V is 80 dB
    assert "at 80 dB SPL" in assumed(job('sensitivity = "100 dB"', 'output = "0.1 V"'))
    # a stated level comes first; nothing stated is 80 dB
    assert "at 71 dB SPL" in assumed(job('sensitivity = "100 dB"', 'level = "71 dB"'))
    assert "slight grit at 80 dB SPL" in assumed(job())


def test_louder_listening_needs_less_residue():
    # 1.8 mV across it under 2.8 V at the load, T8: 0.064 % times (0.1 + 8)/8 at most... and the meter's accuracy on top
    low = wl.hearing.smallest_noticeable_residue(1e3, 50.0, where="anywhere")[0]
    assert low > 1.1e-3
    quiet = finding(wl.assess(job(heard='level = "50 dB"')))
    assert quiet.kind == "cannot be the sole cause" and quiet.ceiling == pytest.approx(6.4e-4, rel=0.1)
    assert finding(wl.assess(job(heard='level = "90 dB"'))).kind != "cannot be the sole cause"
    # plain takes ten times as much: 0.16 % at 70 dB
    at = lambda strength: finding(wl.assess(job(heard='level = "70 dB"', strength=strength))).kind
    assert (at("slight"), at("plain")) == ("able to account for it", "cannot be the sole cause")


def test_limits_for_inaudible():
    made = wl.typical("integrated amplifier")
    found = wl.limits(made, residue="inaudible")
    # -6.0 dB SPL at 3150 Hz is the lowest published threshold, ISO 389-7 free field [seen]: nothing is counted on that masks
    assert found.residue == pytest.approx(10 ** ((-6.0 - 80.0) / 20), rel=1e-12) and found.inaudible_up_to_db == 80.0
    assert found.residue < wl.hearing.smallest_noticeable_residue(1e3, 80.0, where="anywhere")[0]
    same = wl.limits(made, residue=found.residue)
    assert [row.residue_ohm for row in same.rows] == [row.residue_ohm for row in found.rows] and same.inaudible_up_to_db is None
    louder = wl.limits(made, residue="inaudible", level_db=100.0)
    relay = lambda limits: next(row.residue_ohm for row in limits.rows if row.contact == "speaker relay / a")
    assert relay(louder) == pytest.approx(0.1 * relay(found), rel=0.02)
    # the loudest listening of a sheet
    assert wl.limits(job(heard='level = "93 dB"'), residue="inaudible").inaudible_up_to_db == 93.0
    # what is inaudible there makes no model hear it, at the most sensitive place, beside a tone anywhere, beside nothing
    for beside in ([], [wl.hearing.Masker(1e3, 80.0)], [wl.hearing.Masker(100.0, 80.0)], wl.hearing.programme(80.0)):
        level = [80.0 + 20 * math.log10(found.residue) - 1e-6]
        assert wl.hearing.audible(beside, lines_hz=[3150.0], lines_db=level).verdict == "inaudible"
    assert wl.hearing.audible([], lines_hz=[3150.0], lines_db=[level[0] + 2e-6]).verdict == "may be heard"


def test_beyond_the_published_models_is_marked():
    line = lambda db: assumed(job(heard=f'level = "{db} dB"'))
    assert "extrapolated" in line(105) and "100 dB SPL" in line(105) and "extrapolated" not in line(100)
    for bad in (10.0, 111.0):
        with pytest.raises(wl.InputError, match="level_db"):
            wl.limits(job(), residue="inaudible", level_db=bad)


def test_a_level_that_nobody_listens_at_is_refused():
    # 87 dB at 1 m from 2.83 V: 50 uV would be -8 dB SPL, at which any contact would be excused
    with pytest.raises(wl.InputError, match="level at the ear"):
        wl.assess(job('sensitivity = "87 dB"\ndistance = "1 m"', 'output = "50 uV"'))


def test_the_safe_end_excludes_and_the_strict_end_accuses():
    # what a listening takes, as the sheet's assumption prints it: first excludes, second accuses
    import re

    found = wl.assess(job(heard='level = "70 dB"'))
    first, second = (float(x) for x in re.search(r"takes ([\d.]+) % to ([\d.]+) %", assumed(job(heard='level = "70 dB"'))).groups())
    tone = wl.hearing.Masker(1e3, 70.0)
    grid = [20.0 * 800 ** (k / 600) for k in range(601)]
    at = wl.hearing.masked_thresholds([tone], grid)
    strict = 100 * 10 ** ((min(at.high_db) - 70.0) / 20)
    assert first == pytest.approx(100 * 10 ** ((-6.0 - 70.0) / 20), rel=0.02) and second == pytest.approx(strict, rel=0.03)
    assert first < second and finding(found).kind == "able to account for it"
    kinds = {}
    for millivolts in (0.03, 0.06, 0.1, 0.2, 0.3, 0.45, 0.6, 0.9, 1.8, 4.0):
        one = finding(wl.assess(job(heard='level = "70 dB"', shows=f"{millivolts} mV")))
        kinds[one.ceiling] = one.kind
    for ceiling, kind in kinds.items():
        if 100 * ceiling < 0.98 * first:
            assert kind == "cannot be the sole cause", (ceiling, kind)
        # the ceiling is by the upper end of the reading: below the strict end nothing is able, below the safe end nothing is open
        if 100 * ceiling < 0.98 * second:
            assert kind != "able to account for it", (ceiling, kind)
        if 100 * ceiling > 1.02 * first:
            assert kind != "cannot be the sole cause", (ceiling, kind)
    assert set(kinds.values()) == {"cannot be the sole cause", "not settled", "able to account for it"}


def test_the_command():
    run = lambda *more: subprocess.run([sys.executable, "-m", "weaklink.cli", "limits", "--typical", "integrated amplifier", *more], capture_output=True, text=True)  # fmt: skip
    page = run("--residue", "inaudible", "--level", "90").stdout
    assert "below the median threshold of hearing even in silence, up to 90 dB SPL" in " ".join(page.split()) and max(map(len, page.splitlines())) <= 80
    assert " 0* " not in page  # a small limit keeps its digits
    for more, match in ((["--residue", "loud"], "--residue"), (["--level", "90"], "level_db"), (["--residue", "inaudible", "--level", "200"], "level_db")):  # fmt: skip
        failed = run(*more)
        assert failed.returncode == 2 and match in failed.stderr


@pytest.mark.parametrize("top,heard,match", [
    ('distance = "2 m"', "", "write sensitivity"),
    ('sensitivity = "87 dB"\ndistance = "0 m"', "", "above zero"),
    ('sensitivity = "87 ohm"', "", "sensitivity"),
    ('sensitivity = "87 dB"\ndistance = "2 s"', "", "distance"),
    ("", 'level = "140 dB"', r"line \d+: \[\[heard\]\]: level: 140 dB; allowed: 20 to 110"),
    ("", 'level = "quiet"', "level"),
])  # fmt: skip
def test_bad_sheets(top, heard, match):
    with pytest.raises(wl.InputError, match=match):
        job(top, heard)


def test_a_level_beyond_the_models_is_refused_and_not_clamped():
    with pytest.raises(wl.InputError, match="level at the ear"):
        wl.assess(job('sensitivity = "130 dB"\ndistance = "1 m"', 'output = "28 V"', emf=28.3))


# ---- what contacts leave, at the ear: two tones, chatter, noise

RELAY = wl.Section(
    "loudspeaker",
    source=wl.Source(emf_v=2.83, resistance_ohm=0.1),
    path=[wl.Contact("relay", film=wl.Film.rectifying(resistance_ohm=0.05, ideality=1.5, leak_ratio=0.1))],
    load=wl.Load(resistance_ohm=8.0),
)


def test_products_of_two_tones_are_heard_where_the_tones_hide_nothing():
    def ear(low_hz, high_hz):
        two = RELAY.two_tone(low_hz, high_hz, ratio=1.0, emf_v=2.83)
        tones = [wl.hearing.Masker(f, 80.0) for f in (low_hz, high_hz)]
        found = wl.hearing.audible(tones, lines_hz=two.frequency_hz, lines_ratio=two.level, ratio_of_db=80.0)
        return two, found

    # 19 and 20 kHz: the difference of 1 kHz stands alone, at threshold from -76.63 dB (Terhardt) [calc]
    two, found = ear(19e3, 20e3)
    at = list(two.frequency_hz).index(1000.0)
    assert two.level[at] == pytest.approx(2 * two.d2, rel=1e-12)
    over = 20 * math.log10(two.level[at]) + 76.6309
    assert over > 0.0 and found.over_all.least_db[at] == pytest.approx(over, abs=1e-3) and found.verdict == "plain" and found.extrapolated
    # 1 and 1.1 kHz: the products near them are heard as modulation or not at all, none of them by every model
    two, found = ear(1000.0, 1100.0)
    near = [k for k, f in enumerate(two.frequency_hz) if 800.0 < f < 1300.0]
    assert len(near) >= 2 and all(found.modulates[k] for k in near) and max(found.over_all.least_db[k] for k in near) < 0.0


def test_chatter_is_heard_as_its_spectrum():
    # a telegraph of 1 ms dwells, its level set so that the third about 3 kHz stands 10 dB over or under the threshold in quiet
    hz = [31.5 * 2 ** (k / 6) for k in range(54)]
    shape = [10 * math.log10(wl.physics.telegraph_spectrum_per_hz(1.0, 1e-3, 1e-3, f)) for f in hz]
    at_3k = 10 * math.log10(wl.physics.telegraph_spectrum_per_hz(1.0, 1e-3, 1e-3, 3150.0) * wl.hearing.critical_bandwidth_hz(3150.0))

    def heard(over_db, beside=()):
        lift = -6.0 + over_db - at_3k
        return wl.hearing.audible(beside, noise_hz=hz, noise_db_per_hz=[s + lift for s in shape])

    assert heard(20.0).verdict == "plain" and heard(-25.0).verdict == "inaudible"
    probe = min(range(len(heard(0.0).frequency_hz)), key=lambda k: abs(heard(0.0).frequency_hz[k] - 3150.0))
    assert heard(0.0).over_all.most_db[probe] == pytest.approx(0.0, abs=0.5)
    # the same chatter under programme, and when the music goes quiet
    loud, quiet = heard(20.0, wl.hearing.programme(85.0)), heard(20.0, wl.hearing.programme(25.0))
    assert (loud.verdict, quiet.verdict) == ("inaudible", "plain")
