"""What is no contact, as hypotheses of their own, and the evidence that tells them apart: pauses, turning, bias, direct voltage, swaps."""

import json

import pytest
import weaklink as wl

SHEET = """sheet = 1
[part]
"volume control" = { kind = "potentiometer", track = "50 kohm", setting = "-30 dB" }
[section]
"tape" = { from = "tape deck", path = ["tape socket / pin"], into = "22 kohm", then = "line stage" }
"volume" = { path = ["volume control / wiper"], into = "100 kohm", then = "power stage" }
"out" = { path = ["speaker relay / a"], into = "8 ohm loudspeaker" }
[route]
"tape" = ["tape", "volume", "out"]
[[heard]]
route = "tape"
right = "clean"
"""
CRACKLE, GRIT = 'left = "crackle"\n', 'left = "grit"\n'


def checked(at: str, **found: str) -> str:
    return f'[[checked]]\nat = "{at}"\nchannel = "left"\n' + "".join(f'{key} = "{value}"\n' for key, value in found.items())


def odds(more: str) -> wl.Assessment:
    return wl.assess(wl.Job.from_text(SHEET + more), draws=40_000)


def share(found: wl.Assessment, who: str, way: str) -> float:
    (channel,) = found.odds
    return next(dict(one.by_hypothesis).get(way, 0.0) for one in channel.odds if one.who == who)


def contacts(found: wl.Assessment) -> float:
    (channel,) = found.odds
    return sum(one.probability for one in channel.odds if " / " in one.who) - channel.two_faults


def test_what_is_heard_in_pauses_is_no_contact_that_only_carries_the_signal():
    before, on, off = (odds(CRACKLE + told) for told in ("", 'in_pauses = "yes"\n', 'in_pauses = "no"\n'))
    assert contacts(on) < 0.2 < contacts(before) < contacts(off)
    assert share(on, "line stage", "noisy") > 3.0 * share(before, "line stage", "noisy") > 10.0 * share(off, "line stage", "noisy")
    assert any("goes on in pauses" in line for line in on.why) and any("silent in pauses" in line for line in off.why)
    # asked for while nobody has listened for it, not afterwards
    asks = [any(step.what == "Stop the music and listen" for step in found.next_steps) for found in (before, on, off)]
    assert asks == [True, False, False]


def test_a_direct_current_through_a_contact_lets_it_crackle_in_pauses():
    def told(direct: str) -> float:
        contact = f'{{ contact = "volume control / wiper"{direct} }}'
        sheet = SHEET.replace('["volume control / wiper"]', f"[{contact}]")
        return wl.assess(wl.Job.from_text(sheet + CRACKLE + 'in_pauses = "yes"\n'), draws=40_000).odds[0].of("volume control / wiper")

    assert told(', direct_current = "0.1 mA"') > 3.0 * told("")


def test_a_direct_voltage_on_the_control_is_told_from_a_worn_track():
    turned = CRACKLE + 'comes_back = ["when turned"]\n'
    before = odds(turned)
    leaks, holds = (odds(turned + checked("line stage", direct=v)) for v in ("-0.4 V", "1 mV"))
    way = ("line stage", "direct voltage")
    assert share(holds, *way) < 0.1 * share(before, *way) and share(leaks, *way) > 0.9
    assert leaks.headline["left"].startswith("likeliest line stage, ")
    # none at all acquits, a supply's accuses
    none, supply = (odds(turned + checked("line stage", direct=v)) for v in ("0 V", "250 V"))
    assert share(none, *way) < 0.1 * share(before, *way) and share(supply, *way) > 0.9
    assert "400 mV direct behind it" in " ".join(leaks.why)
    assert "mostly direct voltage" in str(leaks)
    # the tape deck ends in a loop without a control: direct voltage of its own says nothing there
    assert share(before, "tape deck", "direct voltage") == 0.0
    measure = "Direct voltage behind the line stage"
    assert any(measure in s.what for s in before.next_steps) and not any(measure in s.what for s in leaks.next_steps)


def test_bias_accuses_far_below_what_is_usual_and_acquits_at_it():
    before, low, right = (odds(GRIT + more) for more in ("", checked("power stage", bias="1.5 mV"), checked("power stage", bias="18 mV")))
    way = ("power stage", "under-biased")
    assert share(right, *way) < 0.5 * share(before, *way) < 0.5 * share(low, *way)
    # what was measured to be off is put right first
    assert "Set the bias of the power stage" in low.next_steps[0].what and "15 minutes" in low.next_steps[0].reads_as
    for dead in ("0 V", "0.1 mV", "<0.1 mV"):
        assert share(odds(GRIT + checked("power stage", bias=dead)), *way) > share(low, *way)
    assert not any("Set the bias" in s.what for s in right.next_steps)
    measure = "Measure the bias"
    assert any(measure in s.what for s in before.next_steps) and not any(measure in s.what for s in right.next_steps)


def test_a_swap_tells_a_source_and_a_loudspeaker_from_the_rest():
    for at in ("tape deck", "8 ohm loudspeaker"):
        moves, stays = (odds(GRIT + checked(at, swapped=word)).odds[0].of(at) for word in ("changes sides", "stays"))
        guilty, innocent = (moves, stays) if at == "tape deck" else (stays, moves)
        # 0.97 against 0.03, unless two are at fault
        assert guilty / (1.0 - guilty) > 100.0 * innocent / (1.0 - innocent)
        done = odds(GRIT + checked(at, swapped="stays"))
        assert not any("wap" in step.what and at in step.what for step in done.next_steps)


def test_what_was_checked_is_kept_as_it_was_written():
    job = wl.Job.from_text(SHEET + GRIT + 'in_pauses = "no"\n' + checked("power stage", bias="18 mV +- 1 mV", direct="-3 mV"))
    seen = wl.evidence(job)
    (one,) = seen.checked
    assert (one.at, one.channel, one.swapped) == ("power stage", "left", None)
    assert one.bias_v == pytest.approx((17e-3, 19e-3)) and one.direct_v == pytest.approx((3e-3, 3e-3))
    assert [h.in_pauses for h in seen.heard] == [None, "no"]


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (checked("nobody", bias="1 mV"), 'unknown "nobody"'),
        (checked("speaker relay / a", bias="1 mV"), 'unknown "speaker relay / a"'),
        (checked("power stage"), "nothing was found"),
        (checked("tape deck", bias="1 mV"), "only an output stage has one"),
        (checked("line stage", bias="1 mV"), "only an output stage has one"),
        (checked("line stage", direct="--1 mV"), "--1 mV"),
        (checked("8 ohm loudspeaker", direct="1 mV"), "a loudspeaker drives nothing"),
        (checked("line stage", swapped="stays"), "swapped at a source or at the loudspeakers"),
        (checked("line stage", direct="1 ohm"), "direct"),
        (checked("line stage", direct="1 mV") * 2, "stands twice"),
        ('[[checked]]\nat = "line stage"\nbias = "1 mV"\n', "write at (a stage, source or loudspeaker) and channel"),
    ],
)
def test_what_cannot_be_checked_there_is_refused(more, says):
    with pytest.raises(wl.InputError) as fault:
        wl.Job.from_text(SHEET + GRIT + more)
    assert says in str(fault.value) and "line " in str(fault.value)
    # one fault, not a second one that follows from it
    assert str(fault.value).count("[[checked]]") == 1


def test_evidence_that_no_single_fault_explains_is_told_with_the_pair():
    """One stage, one level: what takes 6 dB on one route and 14 dB on the other is no single fault; two are ruled out by the prior."""
    both = SHEET.replace('[route]\n"tape" = ["tape", "volume", "out"]\n', '''[route]
"tape" = ["tape", "volume", "out"]
"disc" = ["disc", "volume", "out"]
''').replace('"volume" =', '"disc" = { from = "tape deck", path = ["disc socket / pin"], into = "22 kohm", then = "line stage" }\n"volume" =')
    both = both[: both.index("[[heard]]")]
    quieter = '[[heard]]\nroute = "{}"\nchannel = "left"\nwhat = "quieter"\nby = "{} dB +- 0.3 dB"\n'
    prior = "[prior]\ntwo_faults = 0\nsomething_else = 0.001\n"
    agree, clash = (
        wl.assess(wl.Job.from_text(both + quieter.format("tape", 6) + quieter.format("disc", other) + prior), draws=40_000) for other in (6, 14)
    )
    assert agree.clashes == ()
    (told,) = clash.clashes
    assert 'quieter on "tape"' in told and 'quieter on "disc"' in told and "no single fault explains both" in told
    assert told in " ".join(str(clash).split())
    assert json.loads(clash.to_json())["clashes"] == [told]


# -- what stands beside a contact while it is read ------------------------------------------------------------------------------------


def reading(shows: str, method: str, parallel: str, **more: str) -> wl.Evidence:
    row = {"contact": "speaker relay / a", "channel": "left", "shows": shows, "method": method, "parallel": parallel, **more}
    text = "[[reading]]\n" + "".join(f'{key} = "{value}"\n' for key, value in row.items())
    return wl.evidence(wl.Job.from_text(SHEET + GRIT + text))


def test_what_stands_in_parallel_is_taken_off():
    exact = '[method]\n"m" = { wires = 4, open_circuit = "15 mV", current = "1 mA", accuracy = "0 %" }\n'
    row = "[[reading]]\n" + "".join(
        f'{k} = "{v}"\n' for k, v in {"contact": "speaker relay / a", "channel": "left", "shows": "{shows}", "method": "m", "parallel": "{beside}"}.items()
    )

    def ends(shows: str, beside: str) -> tuple[float, float | None]:
        job = wl.Job.from_text(SHEET.replace("[section]", exact + "[section]", 1) + GRIT + row.format(shows=shows, beside=beside))
        (one,) = wl.evidence(job).readings
        return one.low_ohm, one.high_ohm

    # 4 ohm beside 8 ohm: 8 ohm of its own
    assert ends("4 ohm", "8 ohm") == pytest.approx((8.0, 8.0))
    # 1/(1/4 - 1/9) and 1/(1/4 - 1/7)
    assert ends("4 ohm", "8 ohm +- 1 ohm") == pytest.approx((7.2, 28.0 / 3.0))
    # as much as stands beside it: nothing bounds it from above
    low, high = ends("8 ohm", "8 ohm +- 1 ohm")
    assert high is None and low == pytest.approx(72.0)
    # nobody knows: at least what was read
    assert ends("4 ohm", "unknown") == (pytest.approx(4.0), None)


def test_an_unknown_path_beside_it_excludes_nothing():
    def kind(parallel: str) -> str:
        row = f'[[reading]]\ncontact = "tape socket / pin"\nchannel = "left"\nshows = "0 mV"\nmethod = "dry box"\n{parallel}'
        return odds(GRIT + row).finding("tape socket / pin", "left").kind

    assert kind("") == "cannot unless it jumps" and kind('parallel = "unknown"\n') == "not settled"
    assert kind('parallel = "22 kohm"\n') == "cannot unless it jumps"


@pytest.mark.parametrize(("parallel", "says"), [("0 ohm", "above zero"), ("2 ohm", "more than what was read"), ("8 V", "unknown"), ("some", "unknown"), ("8 ohm +- 8 ohm", "above zero")])
def test_what_cannot_stand_in_parallel_is_refused(parallel, says):
    with pytest.raises(wl.InputError, match="reading: parallel") as fault:
        reading("4 ohm", "hand meter", parallel)
    assert says in str(fault.value)


def test_the_signals_own_reading_has_nothing_beside_it():
    with pytest.raises(wl.InputError, match="nothing to take off"):
        reading("5 mV", "signal millivolts", "8 ohm", at="2 V")


def test_the_shares_of_rivals_are_priors():
    turned = CRACKLE + 'comes_back = ["when turned"]\nin_pauses = "yes"\n'
    before, none = (odds(turned + more) for more in ("", "[prior]\nnoisy = 0\ndirect_voltage = 0\nunder_biased = 1\n"))
    for way in ("noisy", "direct voltage"):
        assert share(before, "line stage", way) > 0.01 and share(none, "line stage", way) == 0.0
    assert share(none, "power stage", "another fault") == share(none, "power stage", "noisy") == 0.0
    with pytest.raises(wl.InputError, match=r"noisy \+ direct_voltage"):
        odds(turned + "[prior]\nnoisy = 0.9\n")


def test_what_stands_before_the_cable_goes_with_the_source():
    """A headshell changes sides with its cartridge; a socket behind the lead does not."""
    path = '["headshell / pin", "phono lead", "phono socket / pin"]'
    sheet = (
        f'sheet = 1\n[section]\n"in" = {{ from = "moving magnet", path = {path}, into = "47 kohm", then = "phono stage" }}\n'
        '"out" = { path = ["monitor / a"], into = "100 kohm" }\n[route]\n"phono" = ["in", "out"]\n[[heard]]\nroute = "phono"\nright = "clean"\n'
    )
    before, moves = (wl.assess(wl.Job.from_text(sheet + GRIT + more), draws=40_000).odds[0] for more in ("", checked("moving magnet", swapped="changes sides")))
    assert moves.of("headshell / pin") > 2.0 * before.of("headshell / pin") and moves.of("phono socket / pin") < 0.3 * before.of("phono socket / pin")
