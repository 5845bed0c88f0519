"""The evidence of a job line by line: what figures and the record are made of."""

import pytest

import weaklink as wl
from weaklink import html_report

# a dry box of 1.5 V over 75 kohm and 1 kohm shows v = 19.7 mV R/(R + 987) (divider, common practice); within 1 % + 200 uV
OPEN_V, SOURCE_OHM, SHARE, FLOOR_V = 19.7e-3, 987.0, 0.01, 200e-6


def box_ohm(shown_v):
    return SOURCE_OHM * shown_v / (OPEN_V - shown_v)


@pytest.fixture
def seen(jobs):
    return wl.evidence(wl.load_job(jobs / "gritty-right-on-records.toml"))


def test_a_reading_becomes_ohms_at_its_place(seen):
    box = next(r for r in seen.readings if r.shows == "6.2 mV")
    low, high = (box_ohm(6.2e-3 + sign * (SHARE * 6.2e-3 + FLOOR_V)) for sign in (-1, 1))
    assert (box.low_ohm, box.high_ohm) == (pytest.approx(low, rel=2e-3), pytest.approx(high, rel=2e-3))
    assert box.dry and box.before_remedy and (box.when, box.method, box.note) == ("as found", "dry box", "wanders")
    # an ordinary meter on five millivolts of signal: nothing bounds it from above
    meter = next(r for r in seen.readings if r.method == "my meter")
    assert not meter.dry and meter.high_ohm is None and meter.shown_high_ohm == pytest.approx(0.3 * 1.008 + 0.3 - 0.1, rel=1e-3)
    assert next(r.shows for r in seen.readings if r.when == "tapped") == "400 uV to 9.1 mV"


def test_routes_and_what_was_heard(seen):
    assert [name for name, _ in seen.routes] == ["phono", "tuner"]
    assert seen.contacts[0] == "phono socket / pin" and len(seen.contacts) == 7
    assert seen.symptoms("phono", "right") == ("grit",) and seen.symptoms("phono", "left") == () and seen.symptoms("phono", "middle") is None
    assert [seen.told("phono", side) for side in ("left", "right", "middle")] == ["clean", "grit", "not listened to"]
    assert dict(seen.prices) == {"speaker relay": 9.0} and seen.currency is None


def test_two_symptoms_on_one_route_are_both_told(jobs):
    text = (jobs / "innocent-contacts.toml").read_text() + '\n[[heard]]\nroute = "disc"\nchannel = "both"\nwhat = "hum"\n'
    job = wl.Job.from_text(text, readings=("innocent-contacts.csv", (jobs / "innocent-contacts.csv").read_text()))
    seen = wl.evidence(job)
    assert seen.symptoms("disc", "left") == ("grit", "hum") and seen.told("disc", "left") == "grit and hum"
    page = html_report.page(job)
    assert "The left channel sounds gritty on disc and hums on disc." in page and ">grit and hum</text>" in page


def test_states_limits_and_bridges_come_through(jobs):
    job = wl.load_job(jobs / "worn-relay.toml")
    seen = wl.evidence(job)
    relay = next(h for h in seen.heard if (h.route, h.channel) == ("loudspeakers", "left"))
    assert relay.loss_db == (3.0, 5.0) and relay.goes_away == ("turned up",) and relay.comes_back == ("overnight",) and relay.output_v == 0.2
    two = wl.load_job(jobs / "two-faults.toml")
    assert next(h for h in wl.evidence(two).heard if (h.route, h.channel) == ("disc", "right")).residue == (pytest.approx(0.007), pytest.approx(0.011))
    (bridge,) = wl.evidence(two).bridged
    assert (bridge.contact, bridge.channel, bridge.then, bridge.put) == ("speaker relay / a", "left", "clean", "clip lead")
    name, csv = two.readings
    more = csv + "speaker relay / a;L;<0,5 mV;1 A drop;after replacing\nspeaker relay / a;R;OL;1 A drop;tapped\n"
    after, open_ = wl.evidence(wl.Job.from_text(two.text, readings=(name, more))).readings[-2:]
    assert not after.before_remedy and after.when == "after replacing" and after.shows == "<500 uV" and after.low_ohm == 0.0
    assert open_.shows == "OL" and open_.high_ohm is None and open_.before_remedy


def test_without_readings_there_is_still_a_picture_of_the_routes(jobs):
    seen = wl.evidence(wl.typical("receiver"))
    assert not seen.readings and not seen.heard and len(seen.routes) >= 2


def test_what_is_said_of_a_symptom_is_not_said_of_the_clean_channel(jobs):
    text = (jobs / "gritty-right-on-records.toml").read_text(encoding="utf-8")
    seen = wl.evidence(wl.Job.from_text(text.replace('readings = "', '# readings = "', 1)))
    pairs = {h.channel: h for h in seen.heard if h.route == "phono"}
    assert pairs["right"].goes_away == ("switch worked",) and pairs["left"].what == "clean"
    assert pairs["left"].goes_away == () and pairs["left"].comes_back == () and pairs["left"].residue is None


def test_no_reason_says_inf(jobs):
    # a hand meter's reading has no upper end for the signal
    text = (jobs / "innocent-contacts.toml").read_text(encoding="utf-8")
    rows = "contact,channel,shows,method\nsource selector / disc,left,3 ohm,hand meter\n"
    name = text.split('readings = "')[1].split('"')[0]
    found = wl.assess(wl.Job.from_text(text, readings=(name, rows)), draws=0).finding("source selector / disc", "left")
    assert any("to any residue" in reason for reason in found.reasons) and not any("inf" in reason.split() for reason in found.reasons)
