"""What the shop's log says about the remedies of one job."""

import json
import math
import tomllib

import pytest

import weaklink as wl
from weaklink import shop_job
from weaklink.cli import main
from weaklink.shop import compare


@pytest.fixture(scope="module")
def saved(tmp_path_factory):
    from conftest import ROOT

    path = tmp_path_factory.mktemp("shop") / "shop.toml"
    compare(ROOT / "notebooks" / "jobs" / "bench-log.csv").save(path)
    return path


def rows_of(job, saved):
    return shop_job.remedies_for(job, wl.assess(job), shop_job.load_shop(saved))


def test_by_hand(jobs, saved):
    rows = {row.remedy: row for row in rows_of(wl.load_job(jobs / "worn-relay.toml"), saved)}
    known = tomllib.loads(saved.read_text(encoding="utf-8"))["relay"]
    # the sheet: 15 minutes to get at it, a new one for 12
    assert rows["replace"].minutes == pytest.approx(known["replace"]["minutes"] + 15.0)
    assert rows["replace"].money == pytest.approx(rows["replace"].minutes + 12.0)
    assert rows["clean"].money == pytest.approx(known["clean"]["minutes"] + 15.0)
    # 120 mV beside 150 mV across 8 ohm, within the method's 3 % + 0.1 mV: the largest reading, far beyond the invented log's
    assert rows["clean"].beyond and rows["clean"].in_order == known["clean"]["in_order_at"][-1]
    assert rows["clean"].cost_per_good_year == pytest.approx(
        rows["clean"].money / (known["clean"]["in_order_at"][-1] * known["clean"]["good_years_at"][-1])
    )
    # a bad relay is replaced first, as the decisions say
    assert [row.remedy for row in rows_of(wl.load_job(jobs / "worn-relay.toml"), saved)][0] == "replace"


def test_a_mild_reading_is_cleaned(jobs, saved):
    text = (jobs / "worn-relay.toml").read_text(encoding="utf-8")
    csv = "when,contact,channel,shows,method\nas found,output relay / a,left,150 mV,1 A drop\n"
    rows = rows_of(wl.Job.from_text(text, readings=("worn-relay.csv", csv)), saved)
    relay = [row for row in rows if row.contact == "output relay / a"]
    assert [row.remedy for row in relay][0] == "clean" and not relay[0].beyond
    # the share in order at this reading is between its neighbours on the curve
    known = tomllib.loads(saved.read_text(encoding="utf-8"))["relay"]["clean"]
    at = max(k for k, ohm in enumerate(known["before_ohm"]) if ohm <= 0.1532)
    assert known["in_order_at"][at + 1] < relay[0].in_order < known["in_order_at"][at]


def test_a_curve_is_straight_over_the_logarithm():
    known = {"before_ohm": [0.1, 10.0], "in_order_at": [0.8, 0.4], "in_order": [0.5, 0.4, 0.6]}
    assert shop_job._at(known, "in_order", 1.0)[0] == pytest.approx(0.6)
    assert shop_job._at(known, "in_order", 0.01) == (0.8, True)
    assert shop_job._at(known, "in_order", 100.0) == (0.4, True)
    assert shop_job._at(known, "in_order", None) == (0.5, False)


def test_another_currency_leaves_the_prices_of_the_sheet(jobs, saved):
    text = (jobs / "worn-relay.toml").read_text(encoding="utf-8")
    readings = ("worn-relay.csv", (jobs / "worn-relay.csv").read_text(encoding="utf-8"))
    head, rest = text.split("sheet    = 1\n")
    rows = rows_of(wl.Job.from_text(f'{head}sheet = 1\ncurrency = "CHF"\n{rest}', readings=readings), saved)
    new = next(row for row in rows if row.remedy == "replace")
    known = tomllib.loads(saved.read_text(encoding="utf-8"))["relay"]["replace"]
    assert new.money == pytest.approx(new.minutes + known["part_cost"])


def test_the_command(jobs, saved, capsys):
    sheet = str(jobs / "worn-relay.toml")
    assert main(["assess", sheet]) == 0
    plain = capsys.readouterr().out
    assert main(["assess", sheet, "--shop", str(saved)]) == 0
    text = capsys.readouterr().out
    *_, last = plain.splitlines(keepends=True)
    assert last == "(--all: every reason and number) Remedies: how long it holds: not known (--shop)\n" and len(plain.splitlines()) < 45
    assert text.startswith(plain[:600]) and last not in text and max(map(len, text.splitlines())) <= 80
    assert "replace: " in text and "beyond what the log has seen" in text
    assert main(["assess", sheet, "--shop", str(saved), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert {row["remedy"] for row in told["remedies"]} == {"clean", "strip", "replace"} and told["headlines"]
    assert "how_long_it_holds" not in told
    # the wiper is open too, and the invented log has no control: said, not left out
    assert [row["contact"] for row in told["how_long_it_holds_not_known"]] == ["volume control / wiper"]
    assert main(["assess", sheet, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["how_long_it_holds"] == "not known" and told["remedies"] == []


def test_nothing_open_asks_for_no_remedy(jobs, capsys):
    # innocent contacts: no finding is open, so nothing is said of remedies
    assert main(["assess", str(jobs / "innocent-contacts.toml")]) == 0
    assert "how long it holds" not in capsys.readouterr().out


BAD = {
    "not TOML": "shop = ",
    "another file": "sheet = 1\n",
    "no price": "shop = 1\nhorizon_years = 3.0\n",
    "a price of none": "shop = 1\nper_hour = 0\nhorizon_years = 3.0\n",
    "half a band": "shop = 1\nper_hour = 60\nhorizon_years = 3.0\n[relay.clean]\nin_order = [0.5]\n",
    "text for a number": 'shop = 1\nper_hour = 60\nhorizon_years = 3.0\n[relay.clean]\nminutes = "ten"\n',
    "half a curve": "shop = 1\nper_hour = 60\nhorizon_years = 3.0\n[relay.clean]\nbefore_ohm = [1.0, 2.0]\n",
    "a falling curve": (
        "shop = 1\nper_hour = 60\nhorizon_years = 3.0\n[relay.clean]\n"
        "before_ohm = [2.0, 1.0]\nin_order_at = [1.0, 1.0]\ngood_years_at = [1.0, 1.0]\n"
    ),
    "no table": "shop = 1\nper_hour = 60\nhorizon_years = 3.0\n[relay]\nclean = 4\n",
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_is_none(name, tmp_path, jobs, capsys):
    path = tmp_path / "shop.toml"
    path.write_text(BAD[name], encoding="utf-8")
    with pytest.raises(wl.InputError, match="allowed"):
        shop_job.load_shop(path)
    page = tmp_path / "page.html"
    assert main(["assess", str(jobs / "worn-relay.toml"), "--shop", str(path), "--report", str(page)]) == 2
    # said before anything is written
    assert "shop.toml" in capsys.readouterr().err and not page.exists()


def test_a_kind_that_the_log_has_not(jobs, tmp_path):
    path = tmp_path / "shop.toml"
    path.write_text("shop = 1\nper_hour = 60.0\nhorizon_years = 3.0\n", encoding="utf-8")
    job = wl.load_job(jobs / "worn-relay.toml")
    assert rows_of(job, path) == []
    shop, answer = shop_job.load_shop(path), wl.assess(job)
    relay = next(row for row in shop_job.without_log(job, answer, shop) if row.kind == "relay")
    text = " ".join(shop_job.remedies_text(job, answer, shop).split())
    assert f"{relay.contact} (relay): the log does not say; how long it holds: not known" in text
    # a kind that the log has, but of which nothing was followed: its remedies are told, and how long they hold is not known
    path.write_text("shop = 1\nper_hour = 60.0\nhorizon_years = 3.0\n[relay.clean]\nminutes = 15.0\npart_cost = 0.0\n", encoding="utf-8")
    shop = shop_job.load_shop(path)
    assert [row.good_years for row in shop_job.remedies_for(job, answer, shop)] == [None]
    followed = " ".join(shop_job.remedies_text(job, answer, shop).split())
    assert f"{relay.contact} (relay): the log does not say" in followed and "clean: 30 in 30 min; how long it holds: not known" in followed
    # its metal has a growth law: a prior under a name of its own, and none where the metal is covered or unknown
    assert relay.prior.metal == "silver" and "prior, growth physics, not data: " in text
    readings = ("worn-relay.csv", (jobs / "worn-relay.csv").read_text(encoding="utf-8"))
    for metal in ("gold plated silver", "unknown"):
        other = wl.Job.from_text(job.text.replace('metal = "silver alloy"', f'metal = "{metal}"'), readings=readings)
        assert all(row.prior is None for row in shop_job.without_log(other, wl.assess(other), shop))


@pytest.mark.parametrize(("text", "minutes"), [("40 min", 40.0), ("1.5 h", 90.0), ("1,5 h", 90.0), ("30 s", 0.5), ("", 0.0)])
def test_minutes(text, minutes):
    assert math.isclose(shop_job._minutes(text), minutes)
