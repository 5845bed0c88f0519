"""What a bench log teaches: planted truths come back, sparse logs do not break it, the answer ends in decisions."""

import dataclasses
import json
import math
import subprocess
import sys
import tomllib

import numpy as np
import pytest

import weaklink as wl
from weaklink import shop_truth
from weaklink import shop_model as model
from weaklink.cli import main
from weaklink.shop import Truth, compare, invented_log, read_log, what_if, words

from weaklink.shop_places import ABLE, EXCLUDED, NOT_SETTLED, heard_from
from weaklink.shop_work import Work

from test_shop_fits import only


@pytest.fixture(scope="module")
def log():
    return invented_log(5000, 9, untidy=True).log()


@pytest.fixture(scope="module")
def found(log):
    return compare(log)


# twelve logs of the two hundred that `python -m weaklink.shop_truth` takes: wider targets, same checks
LOGS = 12


@pytest.fixture(scope="module")
def planted():
    return shop_truth.recovered(LOGS, 5000, seed=1000)


def test_the_plain_table_lies(planted):
    assert np.median(planted.plain) > 1.3


def test_the_marginal_truth_comes_back(planted):
    # 12 logs scatter by 0.13 each: the median by 0.05
    assert np.median(planted.ratio) == pytest.approx(planted.truth, abs=0.10)
    assert planted.covered >= 0.75


def test_clusters_count(planted):
    # the scatter of 12 logs is known to a fifth
    assert 0.65 < planted.clustered_over_true < 1.5
    assert planted.independent.mean() / planted.log_error.mean() < 0.8


def test_a_fall_without_an_effect(planted):
    assert np.median(planted.fall) == pytest.approx(0.31, abs=0.04)
    assert np.median(planted.sham_plain) > 0.2
    assert np.median(planted.sham) == pytest.approx(1.0, abs=0.06)
    assert planted.sham_recognised >= 0.75


def test_the_truth_of_a_simple_case():
    # no frailty, exponential, alike contacts: the marginal ratio is the conditional one
    same = Truth(frailty_variance=0.0, shape=1.0, per_tenfold=1.0, ratio=(1.0, 0.8, 0.5, 1.5))
    assert same.marginal_ratio(3.0) == pytest.approx(0.5, abs=0.01)
    # frail amplifiers fail early whatever was done: the ratio moves towards one, the more the longer
    frail = Truth()
    assert 0.5 < frail.marginal_ratio(1.0) < frail.marginal_ratio(3.0) < frail.marginal_ratio(10.0) < 1.0


def test_the_frailty_of_the_truth():
    # against drawn frailties: what the formula integrates out
    truth = Truth()
    v = truth.frailty_variance
    drawn = np.random.default_rng(1).gamma(1.0 / v, v, 400_000)
    for cumulative in (0.05, 0.3, 2.0):
        assert truth.survival(np.array(cumulative)) == pytest.approx(np.exp(-drawn * cumulative).mean(), abs=2e-3)
    assert truth.marginal_ratio(3.0) > dataclasses.replace(truth, frailty_variance=0.0).marginal_ratio(3.0) + 0.02


def test_a_single_log(found, log):
    ratios = {r.remedy: r for r in found.ratios}
    assert ratios["replace"].plain > 1.3
    value, low, high = ratios["replace"].adjusted
    assert low < value < high < 1.0
    fall, least, most = found.reread_ratio
    assert least < 0.69 < most and found.rereadings > 300
    cells = {(c.kind, c.remedy): c for c in found.cells}
    assert len(cells) == 18
    truth = Truth()
    for kind in ("relay", "rotary switch"):
        # what was planted for cleaning and stripping, against leaving alone
        assert cells[kind, "clean"].left_ratio[1] < truth.left[0] < cells[kind, "clean"].left_ratio[2]
        assert cells[kind, "strip"].left_ratio[1] < truth.left[1] < cells[kind, "strip"].left_ratio[2]
        assert cells[kind, "clean"].in_order[0] < cells[kind, "replace"].in_order[0]
        assert cells[kind, "clean"].cost_per_good_year[0] < cells[kind, "replace"].cost_per_good_year[0]
        assert cells[kind, "replace"].part_cost == pytest.approx({"relay": 11.0, "rotary switch": 24.0}[kind], rel=0.1)
    assert sum(c.contacts for c in found.cells) + np.sum(log.remedy == model.UNTOUCHED) == found.pairs


def test_shares_and_damage_are_those_of_the_log(found, log):
    # shrunk a little towards the remedy's mean: within three standard errors of the plain share
    for cell in found.cells:
        rows = (log.kind == words().kinds.index(cell.kind)) & (log.remedy == words().remedies.index(cell.remedy))
        assert cell.contacts == rows.sum()
        plain = log.damage[rows].mean()
        assert abs(cell.damage - plain) < 3 * math.sqrt(0.05 * 0.95 / rows.sum())
        assert cell.minutes == pytest.approx(np.nanmean(log.minutes[rows]), rel=0.15)


def test_break_even_is_where_the_costs_cross(found, log):
    work = Work(log, 60.0, 3.0, None, lambda step: None)
    (decision,) = [d for d in found.decisions if (d.kind, d.remedy) == ("relay", "replace")]
    at, low, high = decision.above_ohm
    assert low < at < high and decision.seen_ohm[0] < at < decision.seen_ohm[1]
    kind = work.kinds.index("relay")
    start = np.concatenate([work.comebacks.estimate.theta, work.in_order.estimate.theta, work.extra(kind)[0]])

    def cost(ohm, remedy):
        z = np.array([math.log(ohm)]) - work.frame.centre[kind]
        return math.exp(work.log_cost(start, kind, remedy, work.designs(kind, remedy, z))[0])

    def gain(ohm):
        return min(cost(ohm, model.CLEAN), cost(ohm, model.STRIP)) - cost(ohm, model.REPLACE)

    assert gain(at / 1.1) < 0.0 < gain(at * 1.1)
    # by hand: minutes at 60 an hour, the part, damages at the price of a new one, over share times years
    values = work.extra(kind)[0]
    minutes, part, damage, price = work.visit(kind, model.REPLACE, values)
    assert price == pytest.approx(minutes + part) == work.visit(kind, model.CLEAN, values)[3]
    design = work.designs(kind, model.REPLACE, np.array([math.log(at)]) - work.frame.centre[kind])
    _, back, order = start, work.comebacks, work.in_order
    a, b, extra = work.split(start)
    years = back.service(back.hazard(a, design[0]) * math.exp(extra[2]), work.horizon)[1][0]
    share = order.share(b, design[1], extra[6])[0]
    assert cost(at, model.REPLACE) == pytest.approx((minutes + part + damage * price) / (share * years), rel=1e-9)


def test_dearer_work_moves_the_decision(log, found):
    def above(result):
        return {(d.kind, d.remedy): d.above_ohm[0] for d in result.decisions}["rotary switch", "replace"]

    # at ten times the hourly price the price of the part no longer holds replacing back
    assert above(compare(log, per_hour=600.0)) < above(found)


def test_warranty_by_hand(found, log):
    clean = next(w for w in found.warranties if w.remedy == "clean")
    years = log.years[(log.remedy == model.CLEAN) & np.isfinite(log.years)]
    back = log.came_back[(log.remedy == model.CLEAN) & np.isfinite(log.years)]
    # Kaplan and Meier: at that time at least nine in ten must still hold, a while later fewer
    def held(until):
        share = 1.0
        for t in np.unique(years[back & (years <= until)]):
            share *= 1.0 - np.sum(back & (years == t)) / np.sum(years >= t)
        return share

    assert 0.0 < clean.years <= clean.carried_years
    assert 0.90 <= held(clean.years) < 0.93


def test_more_rows_answer_more(found):
    small = compare(invented_log(1200, 9).log())
    need = {(q.kind, q.remedy): q.rows_more for q in small.questions}
    need_now = {(q.kind, q.remedy): q.rows_more for q in found.questions}
    assert need["relay", "replace"] > need_now.get(("relay", "replace"), 0)
    assert all(rows > 0 for rows in need.values())


def test_without_rereadings_it_warns(log, found):
    assert not any("regression to the mean" in w for w in found.warnings)
    without = compare(only(log, log.remedy != model.UNTOUCHED))
    assert without.reread_ratio is None and any("regression to the mean" in w for w in without.warnings)


def no_dates(log):
    return dataclasses.replace(log, years=np.full(len(log), np.nan), came_back=np.zeros(len(log), bool))


SPARSE = {
    "one row": lambda log: only(log, slice(0, 1)),
    "twelve rows": lambda log: only(log, slice(0, 12)),
    "eighty rows": lambda log: only(log, slice(0, 80)),
    "one remedy": lambda log: only(log, log.remedy == model.CLEAN),
    "only untouched": lambda log: only(log, log.remedy == model.UNTOUCHED),
    "no cleaning": lambda log: only(log, log.remedy != model.CLEAN),
    "one kind": lambda log: only(log, log.kind == log.kind[0]),
    "one amplifier": lambda log: only(log, log.job == np.bincount(log.job).argmax()),
    "no dates": no_dates,
    "no afters": lambda log: dataclasses.replace(
        log, after_low_ohm=np.full(len(log), np.nan), after_high_ohm=np.full(len(log), np.nan)
    ),
    "all over limit": lambda log: dataclasses.replace(
        log, before_low_ohm=np.full(len(log), 1e6), before_high_ohm=np.full(len(log), np.inf)
    ),
    "no costs": lambda log: dataclasses.replace(
        log, minutes=np.full(len(log), np.nan), part_cost=np.full(len(log), np.nan), damage=np.full(len(log), np.nan)
    ),
    "no comeback": lambda log: dataclasses.replace(log, came_back=np.zeros(len(log), bool)),
    "kinds without a limit": lambda log: dataclasses.replace(
        log, kind=np.full(len(log), words().kinds.index("terminal"), np.uint8)
    ),
}


@pytest.mark.parametrize("name", SPARSE)
def test_sparse_logs(name, log):
    answer = compare(SPARSE[name](log))
    lines = answer.text().splitlines()
    assert len(lines) < 40 and max(map(len, lines)) <= 80
    assert any(line.startswith("Decisions") for line in lines)
    told = json.loads(answer.to_json(), parse_constant=lambda text: pytest.fail(text))
    assert told["pairs"] == len(SPARSE[name](log))
    if name in ("no dates", "no comeback", "one row"):
        assert any("how long it holds: not known" in w for w in answer.warnings) and not answer.decisions


@pytest.mark.parametrize("seed", range(8))
def test_small_logs_say_what_they_can(seed):
    answer = compare(invented_log(60, seed).log())
    for cell in answer.cells:
        for band in (cell.left_ratio, cell.in_order, cell.comebacks_per_100_years, cell.cost_per_good_year):
            assert band is None or (band[1] <= band[0] <= band[2] and all(math.isfinite(x) for x in band))


def test_cautions_come_where_they_apply(log, found):
    assert any("Plated metal" in c for c in found.cautions)
    assert not any("Plated metal" in c for c in compare(only(log, ~log.plated)).cautions)
    assert not any("light contacts" in c for c in found.cautions)
    oiled = dataclasses.replace(log, product=np.full(len(log), words().products.index("lubricant"), np.uint8))
    assert any("light contacts" in c for c in compare(oiled).cautions)
    assert "mains unplugged" in found.cautions[0]


def test_the_demo_is_what_the_generator_writes(jobs, tmp_path):
    again = tmp_path / "log.csv"
    invented_log(5000, 9, untidy=True).write(again)
    demo = (jobs / "bench-log.csv").read_text(encoding="utf-8")
    assert again.read_text(encoding="utf-8") == demo and len(demo) < 1_000_000
    assert all(line.endswith(",invented") for line in demo.splitlines()[1:])


def test_the_command(jobs, tmp_path, capsys):
    saved, aside = tmp_path / "shop.toml", tmp_path / "aside.csv"
    demo = str(jobs / "bench-log.csv")
    assert main(["compare", demo, "--save", str(saved), "--set-aside", str(aside)]) == 0
    text = capsys.readouterr().out
    lines = text.splitlines()
    assert len(lines) < 40 and max(map(len, lines)) <= 80
    assert lines[0].startswith("4,869 used, 108 without after, 27 set aside")
    start = next(k for k, line in enumerate(lines) if line.startswith("Decisions"))
    assert start > len(lines) // 2 and any("relay" in line for line in lines[start:])
    assert "warranty" in text and "not answerable yet" in text and "plain table: 1.65" in text
    learnt = tomllib.loads(saved.read_text(encoding="utf-8"))
    assert learnt["shop"] == 1 and learnt["relay"]["clean"]["contacts"] > 100
    assert len(learnt["relay"]["replace"]["good_years"]) == 3
    assert aside.read_text(encoding="utf-8").count("row set aside") == 27
    assert main(["compare", demo, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["jobs"] == 424
    assert main(["compare", demo, "--all"]) == 0
    assert capsys.readouterr().out.replace("\n    ", " ").count("set aside)") == 43
    assert main(["compare", demo, "--strict"]) == 2
    assert "bench-log.csv: row 84, minutes: " in capsys.readouterr().err
    assert main(["compare"]) == 2 and main(["compare", str(tmp_path / "none.csv")]) == 2
    assert main(["compare", demo, "--hour", "0"]) == 2
    assert "per_hour" in capsys.readouterr().err
    assert main(["compare", "--columns"]) == 0
    assert capsys.readouterr().out.count("\n") == len(words().columns) + 1


def test_an_empty_log_is_bad_input():
    with pytest.raises(wl.InputError, match="no contact with a kind"):
        compare(b"job,contact,kind,shows,remedy,after\n1,a / b,relais,4 ohm,clean,1 ohm\n")


def test_strict_counts_for_a_log_already_read(log):
    with pytest.raises(wl.InputError, match="row 84, minutes"):
        compare(log, strict=True)


def test_what_a_contact_does_in_its_place():
    table = words()
    relay, phono = table.kinds.index("relay"), table.kinds.index("phono socket")
    got = what_if([0.8, 0.8, np.inf, np.nan], [relay, phono, relay, relay])
    # divider of 8 ohm behind 0.05: 20 log10(8.85/8.05) dB [calc]; the phono input hardly sees it
    assert got[0, 0] == pytest.approx(20.0 * math.log10(8.85 / 8.05), rel=1e-12)
    assert got[1, 0] == pytest.approx(20.0 * math.log10(48000.8 / 48000.0), rel=1e-6)
    # T6: chatter between two levels that differ by the loss leaves sinh(loss/17.37) at most
    assert got[0, 1] == pytest.approx(math.sinh(got[0, 0] * math.log(10.0) / 40.0), rel=1e-9)
    assert np.isnan(got[2:]).all()
    # 1.7 % of chatter at 80 dB SPL is heard by every model, 1e-5 of it by none; a loss of 1.5 dB is noticed
    assert got[0, 2] == ABLE and got[1, 2] == EXCLUDED


def test_what_is_heard_of_a_contact():
    table = words()
    relay = table.kinds.index("relay")
    level, (never, surely), loss = heard_from()
    # the lowest published threshold, -6.0 dB SPL (ISO 389-7 free field, 3150 Hz [seen]), 86 dB below 80
    assert level == 80.0 and never == pytest.approx(10.0 ** (-86.0 / 20.0), rel=1e-9) and loss == (0.5, 1.5)
    # where chatter reaches each end: sinh(ln(1 + R/8.05)/2) = ratio [calc]
    ohm = [8.05 * (math.exp(2.0 * math.asinh(ratio)) - 1.0) for ratio in (never, surely)]
    for at, (below, above) in zip(ohm, ((EXCLUDED, NOT_SETTLED), (NOT_SETTLED, ABLE)), strict=True):
        assert what_if([0.999 * at, 1.001 * at], [relay, relay])[:, 2].tolist() == [below, above]
    # 20 dB quieter excludes ten times as much; a level outside the models is refused
    assert what_if([9.0 * ohm[0]], [relay], level_db=60.0)[0, 2] == EXCLUDED
    assert what_if([9.0 * ohm[0]], [relay])[0, 2] == ABLE
    with pytest.raises(wl.InputError, match="level_db"):
        what_if([1.0], [relay], level_db=10.0)
    for wrong, says in ((["relay"], "relay; allowed: codes of kinds"), ([99], "99"), ([-1], "-1"), ([0.5], "0.5"), ([0, 0], "shape")):
        with pytest.raises(wl.InputError, match="kind: ") as fault:
            what_if([1.0], wrong)
        assert says in str(fault.value)
    # very quiet listening: residue alone would exclude 0.6 dB, its loss does not; one of 1.5 dB is noticed (and its chatter heard)
    ohm = [8.05 * (10.0 ** (db / 20.0) - 1.0) for db in (0.4, 0.6, 1.501)]
    assert what_if(ohm, [relay] * 3, level_db=20.0)[:, 2].tolist() == [EXCLUDED, NOT_SETTLED, ABLE]


def test_the_place_in_the_table(found, log):
    cell = next(c for c in found.cells if (c.kind, c.remedy) == ("relay", "clean"))
    rows = (log.kind == words().kinds.index("relay")) & (log.remedy == model.CLEAN) & ~np.isnan(log.after_high_ohm)
    high = log.after_high_ohm[rows]
    each = what_if(high, log.kind[rows])
    over = (each[:, 0] > 0.5) | (each[:, 1] > 1e-3) | np.isposinf(high)
    assert cell.over_target == pytest.approx(over.mean(), abs=0.01)
    assert cell.ceiling == pytest.approx(np.quantile(each[np.isfinite(high), 1], 0.9), rel=1e-3)
    # what a meter left decides: its upper end excludes, its lower end accuses; over its limit is no exclusion
    low = what_if(log.after_low_ohm[rows], log.kind[rows])[:, 2]
    shares = (np.mean(each[:, 2] == EXCLUDED), np.mean(low == ABLE))
    assert cell.heard[0] == pytest.approx(shares[0], abs=0.01) and cell.heard[2] == pytest.approx(shares[1], abs=0.01)
    assert sum(cell.heard) == pytest.approx(1.0) and 0.0 < cell.heard[1] < 1.0
    # afters of which nothing is known but that they were read are not settled
    blind = np.where(rows, 0.0, log.after_low_ohm), np.where(rows, 1e6, log.after_high_ohm)
    wide = dataclasses.replace(log, after_low_ohm=blind[0], after_high_ohm=blind[1])
    assert next(c for c in compare(wide).cells if (c.kind, c.remedy) == ("relay", "clean")).heard == (0.0, 1.0, 0.0)
    quiet = next(c for c in compare(log, level_db=50.0).cells if (c.kind, c.remedy) == ("relay", "clean"))
    assert quiet.heard[0] > cell.heard[0] and "at 80 dB SPL" in found.text()


def test_the_whole_log_in_dask_on_two_processes(root):
    # a script of its own: worker processes import what they run
    script = root / "notebooks" / "fleet.py"
    done = subprocess.run([sys.executable, str(script)], capture_output=True, text=True, check=False, timeout=180)
    assert done.returncode == 0, done.stderr
    assert "contacts on 2 processes, identical to one call: True" in done.stdout


def test_the_answer_does_not_depend_on_the_order_of_rows(log, found):
    order = np.random.default_rng(4).permutation(len(log))
    again = compare(only(log, order))
    for a, b in zip(found.ratios, again.ratios, strict=True):
        np.testing.assert_allclose(a.adjusted, b.adjusted, rtol=1e-9)


def test_the_same_log_from_text_and_numbers():
    # the reader gives back what was drawn
    made = invented_log(300, 2)
    found = read_log(made.text.encode())
    drawn = shop_truth.draw(300, 2, Truth())
    fine = (drawn.contacts.first_ohm < 4.0) & (drawn.after_ohm > 5e-4)
    middle = np.sqrt(found.before_low_ohm * found.before_high_ohm)
    np.testing.assert_allclose(middle[fine], drawn.contacts.first_ohm[fine], rtol=0.03)
    np.testing.assert_array_equal(found.came_back, drawn.came_back & drawn.followed)
