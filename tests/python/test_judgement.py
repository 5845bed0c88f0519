"""Probabilities: draws, priors, contradictions, next steps, planted truth (reduced; the whole by a named command)."""

import math

import numpy as np
import pytest

import weaklink as wl
from weaklink import judgement_truth
from weaklink.judgement_ear import Ear
from weaklink.judgement_invented import World, invent

SHEET = """sheet = 1
[part]
"selector" = { kind = "rotary switch" }
[section]
"disc" = { from = "disc player", path = ["selector / disc"], into = "22 kohm", then = "line stage" }
"tape" = { from = "tape deck", path = ["selector / tape"], into = "22 kohm", then = "line stage" }
"out" = { path = ["monitor / a"], into = "100 kohm" }
[route]
"disc" = ["disc", "out"]
"tape" = ["tape", "out"]
"""
GRITTY = '[[heard]]\nroute = "disc"\nleft = "grit"\n[[heard]]\nroute = "tape"\nleft = "clean"\n'


def assess(more: str, **settings: int) -> wl.Assessment:
    return wl.assess(wl.Job.from_text(SHEET + more), **settings)


def test_odds_sum_and_stand_beside_the_findings():
    found = assess(GRITTY, draws=20_000, seed=1)
    (left,) = found.odds
    total = sum(one.probability for one in left.odds) + left.something_else - left.two_faults
    assert total == pytest.approx(1.0, abs=1e-9)
    finding = found.finding("selector / disc", "left")
    assert finding.probability == left.of("selector / disc")
    assert sum(p for _, p in finding.probability_by_hypothesis) == pytest.approx(finding.probability, abs=1e-9)
    # clean on the tape route, at less signal: little is left to it, and no rule is overridden
    assert left.of("monitor / a") < 0.1 < left.of("selector / disc")
    assert found.finding("selector / disc", "right").probability is None
    assert assess(GRITTY, draws=0).odds == ()


def test_seeds_and_their_error():
    first, again = assess(GRITTY, draws=10_000, seed=5), assess(GRITTY, draws=10_000, seed=5)
    assert first.odds == again.odds
    runs = [assess(GRITTY, draws=10_000, seed=seed).odds[0] for seed in range(12)]
    p = np.array([run.of("selector / disc") for run in runs])
    said = np.mean([next(o.probability_se for o in run.odds if o.who == "selector / disc") for run in runs])
    # twelve runs know a spread to a fifth: within a factor of two and a half
    assert 0.4 < p.std(ddof=1) / said < 2.5
    with pytest.raises(wl.InputError, match="draws"):
        assess(GRITTY, draws=-1)


def test_a_clip_lead_settles_it():
    bridged = '[[bridged]]\ncontact = "selector / disc"\nchannel = "left"\nthen = "{}"\n'
    clean, same = (assess(GRITTY + bridged.format(then), draws=20_000) for then in ("clean", "same"))
    before = assess(GRITTY, draws=20_000).odds[0].of("selector / disc")
    assert before > 0.3 and same.odds[0].of("selector / disc") < 0.02
    # probability never overrides a proof: a channel with a proved contact has no odds
    finding = clean.finding("selector / disc", "left")
    assert clean.odds == () and finding.kind == "proved" and finding.probability is None


def test_the_proved_channel_of_two_has_no_odds(jobs):
    found = wl.assess(wl.load_job(jobs / "two-faults.toml"), draws=5_000)
    assert [one.channel for one in found.odds] == ["right"]
    assert found.finding("speaker relay / a", "left").probability is None
    assert set(found.draws.channel.values.tolist()) == {"right"}


def test_the_error_of_large_and_small_probabilities(jobs):
    # of the leader its own weights make the error, of the others the leader's
    job = wl.load_job(jobs / "quick-form.toml")
    runs = [wl.assess(job, draws=2_000, seed=seed).odds[0] for seed in range(24)]
    for who in ("speaker switch / a", "tape switch / source", "bias pot / wiper"):
        own = [next(one for one in run.odds if one.who == who) for run in runs]
        p, said = np.array([one.probability for one in own]), np.array([one.probability_se for one in own])
        # 24 runs know a spread to a seventh
        assert (p.mean() > 0.9) == (who == "speaker switch / a") and 0.5 < p.std(ddof=1) / np.sqrt(np.mean(said**2)) < 2.0


def test_priors_are_followed_and_refused():
    usual = assess(GRITTY, draws=20_000).odds[0]
    never = assess("[prior]\nno_contact = 0\n" + GRITTY, draws=20_000)
    assert never.odds[0].of("line stage") == 0.0 and usual.of("disc player") > 0.01
    assert "priors set: no_contact 0" in " ".join(never.assumes)
    likelier = assess(GRITTY.replace("[[heard]]", "[[heard]]", 1), draws=20_000)
    assert likelier.odds[0] == usual
    suspicious = wl.assess(wl.Job.from_text(SHEET.replace('"rotary switch"', '"rotary switch", suspicion = 20') + GRITTY), draws=20_000)
    assert suspicious.odds[0].of("selector / disc") > usual.of("selector / disc")
    for text, place in [
        ("ohmic = 0.9", "ohmic + tunnelling + rectifying"),
        ("chatter = -0.1", "chatter"),
        ("chatter = 0.95", "chatter + bridged"),
        ("no_contact = 0.9\nsomething_else = 0.2", "no_contact + something_else"),
        ("frit_to = 0.01", "frit_from"),
        ("guess = 1", "prior"),
        ('chatter = "often"', "chatter"),
    ]:
        with pytest.raises(wl.InputError) as caught:
            assess(f"[prior]\n{text}\n" + GRITTY)
        assert place in str(caught.value) and caught.value.line is not None
    nothing = SHEET.replace('"rotary switch"', '"rotary switch", suspicion = 0').replace("[section]", '"monitor" = { suspicion = 0 }\n[section]')
    with pytest.raises(wl.InputError, match="exclude everything"):
        wl.assess(wl.Job.from_text(nothing + "[prior]\nno_contact = 0\nsomething_else = 0\n" + GRITTY))


def test_a_shared_cause_keeps_the_priors_of_the_sheet():
    # with shared = 1 both channels' evidence multiplies and the prior counts once, with shared = 0 each channel's stands alone: what
    # is left when one is divided by the other is the prior of the body, here 65 of 100 over three contacts against 30 over three others
    # (two of the contacts are one body)
    for heard in ('left = "grit"\nright = "grit"\n', 'left = "dull"\nright = "dull"\n', 'left = "grit"\nright = "dull"\n'):
        text = '[prior]\nshared = {}\ntwo_faults = 0\n[[heard]]\nroute = "disc"\n' + heard
        apart, together, between = (assess(text.format(shared), draws=20_000).odds for shared in (0, 1, 0.6))
        left = {
            who: apart[0].of(who) * apart[1].of(who) / together[0].of(who)
            for who in ("monitor / a", "selector / disc", "line stage", "disc player")
        }
        whole = {"monitor / a": 0.65 / 3, "selector / disc": 2 * 0.65 / 3, "line stage": 0.30 / 3, "disc player": 0.30 / 3}
        for who, prior in whole.items():
            assert left[who] / left["line stage"] == pytest.approx(prior / whole["line stage"], rel=1e-9), who
        assert together[0].something_else == 0.0 < apart[0].something_else
        # what a share of 0.6 does to a stage against "nothing in the sheet", which is never shared: the other channel's odds on it over its
        # prior, among the 95 of 100 that can be shared
        lost = (between[0].something_else / apart[0].something_else) / (between[0].of("line stage") / apart[0].of("line stage"))
        assert (1 / lost - 1) * 0.4 / 0.6 == pytest.approx(apart[1].of("line stage") / whole["line stage"] / 0.95, rel=1e-9)
    # what is shared is on both channels the same body: the clip lead that clears a contact on one speaks for it on the other
    cleared = '[[bridged]]\ncontact = "selector / disc"\nchannel = "left"\nthen = "same"\n'
    both = text.format("{}").replace("dull", "grit")
    of = [assess((both + cleared).format(shared), draws=20_000).odds[1].of("selector / disc") for shared in (0, 0.6, 1)]
    assert of[0] > of[1] > of[2] and of[2] < 0.2 * of[0]


def test_what_can_be_shared(jobs):
    # each channel has its own loudspeaker; one of two faults can be the shared one
    text = (jobs / "innocent-contacts.toml").read_text(encoding="utf-8").replace('readings = "innocent-contacts.csv"', "")
    apart, together = (wl.assess(wl.Job.from_text(f"{text}\n[prior]\nshared = {s}\n"), draws=20_000).odds for s in (0, 1))
    assert together[0].of("8 ohm loudspeaker") == 0.0 < apart[0].of("8 ohm loudspeaker")
    heard = '[[heard]]\nroute = "disc"\nchannel = "both"\nwhat = "grit"\n[[heard]]\nroute = "tape"\nchannel = "both"\nwhat = "hum"\n'
    for shared in (0, 1):
        (left, _) = assess(f"[prior]\nshared = {shared}\ntwo_faults = 0.3\n" + heard, draws=20_000).odds
        assert left.two_faults > 0.1


def test_every_draw_as_a_dataset():
    pytest.importorskip("xarray")
    found = assess(GRITTY, draws=5000, seed=2)
    draws = found.draws
    left = found.odds[0]
    weight = draws["weight"].values
    assert weight.sum() == pytest.approx(1.0 - left.something_else, abs=1e-9)
    mine = weight[(draws["suspect"].values == "selector / disc") & (draws["second"].values == "selector / disc")].sum()
    assert mine == pytest.approx(left.of("selector / disc"), abs=1e-9)
    assert set(np.unique(draws["hypothesis"].values)) >= {"chatter", "rectifying", "another fault"}


def test_progress_and_stopping():
    told: list[int] = []
    assess(GRITTY, draws=20_000, **{"progress": told.append})  # type: ignore[arg-type]
    assert told and max(told) > 0

    def stop(_: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        wl.assess(wl.Job.from_text(SHEET + GRITTY), draws=200_000, progress=stop)


def test_invented_amplifiers_are_the_same_for_the_same_seed():
    first, again = invent(4), invent(4)
    assert first is not None and again is not None and first.sheet == again.sheet and first.readings == again.readings
    wrong = invent(4, World(wrong_by=0.2))
    assert wrong is not None and wrong.sheet != first.sheet


def test_whatever_is_invented_is_a_sheet_that_could_be_written():
    # a meter shows no more than 100 %, and a sheet that says more is refused
    for world in judgement_truth.WORLDS.values():
        for seed in range(100):
            amplifier = invent(seed, world)
            if amplifier is not None:
                amplifier.job()
    loud = dict.fromkeys(("grit", "crackle", "loss", "drops", "dull", "hum"), 0.0) | {"grit": 1.1}
    notes = [note for seed in range(200) for note in Ear(np.random.default_rng(seed)).notes(loud)]
    shown = [float(note["residue"].split(" %")[0]) for note in notes if "residue" in note]
    assert 5 <= len(shown) and max(shown) <= 100.0


def test_deciles_count_amplifiers_not_cases():
    # 100 amplifiers at 45 %, 50 of them hits: each told once, then told twice, then with the other suspect at 45 % that is right when the
    # first is not. The second adds nothing to know, the third says 90 % of what always is one of the two
    hits = [k % 2 == 0 for k in range(100)]
    once = judgement_truth.Told(odds=[(0.45, hit, k) for k, hit in enumerate(hits)])
    twice = judgement_truth.Told(odds=2 * once.odds)
    either = judgement_truth.Told(odds=once.odds + [(0.45, not hit, k) for k, hit in enumerate(hits)])
    (one,), (two,), (pair,) = once.deciles(), twice.deciles(), either.deciles()
    assert one[:3] == pytest.approx((100, 0.45, 0.5)) and two[:3] == pytest.approx((200, 0.45, 0.5))
    # root of the sum of squares of 50 times 0.55 and 50 times 0.45, over 100
    assert one[3] == pytest.approx((50 * 0.55**2 + 50 * 0.45**2) ** 0.5 / 100) and two[3] == pytest.approx(one[3])
    assert pair[3] == pytest.approx(100**0.5 * 0.1 / 200)
    assert not once.uncalibrated() and either.uncalibrated()


def test_planted_truth_reduced():
    # the whole: python -m weaklink.judgement_truth
    found = judgement_truth.judged(40, World(), draws=5000, workers=1)
    print(judgement_truth.report("reduced", found))
    count, hits, _ = found.sure(judgement_truth.LIKELY)
    assert found.amplifiers == 40 and count >= 10
    # no guilty contact is acquitted by a rule
    assert found.alone >= 15 and not found.innocent, found.innocent
    # binomial: at 85 % true, 40 channels, below 60 % is less than one in a thousand
    assert hits / count > 0.6
    # a suspect picked at random would be right in about one of ten
    assert found.first / found.channels > 0.4
    brier = np.mean([(p - hit) ** 2 for p, hit, _ in found.odds])
    base = np.mean([hit for _, hit, _ in found.odds])
    assert brier < 0.75 * base * (1.0 - base) and math.isfinite(brier)
