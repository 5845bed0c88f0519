"""Errors of minutes, prices and damages: planted means come back within their bands, and the bands of the decisions carry them."""

import dataclasses
import math

import numpy as np
import pytest

from weaklink import shop_costs
from weaklink import shop_model as model
from weaklink.shop import compare, invented_log
from weaklink.shop_decisions import decisions
from weaklink.shop_fits import Z95, exact_band
from weaklink.shop_work import Work

TRIALS = 400
# 400 trials of a share of 95 % scatter by 1.1 %
HELD = (0.925, 0.975)


@pytest.fixture(scope="module")
def log():
    return invented_log(1200, 6).log()


def test_means_hold_planted_truths_with_clusters(log):
    frame = model.Frame(log)
    random = np.random.default_rng(8)
    cell = frame.kind_remedy
    held, narrow, cells = 0, 0, 0
    for _ in range(TRIALS):
        truth = 20.0 + 4.0 * random.standard_normal((len(frame.kinds), 1)) + np.array([0.0, 25.0, 15.0, -10.0])
        slow = 6.0 * random.standard_normal(frame.jobs)
        minutes = truth.ravel()[cell] + slow[frame.job] + 5.0 * random.standard_normal(len(log))
        found = shop_costs.means(frame, minutes)
        error = np.abs(found.value - truth)[:, :3]
        held += int(np.sum(error < Z95 * np.sqrt(found.variance[:, :3])))
        # what independent contacts would be given
        alone = np.sqrt((6.0**2 + 5.0**2) / np.bincount(cell, minlength=found.value.size).reshape(found.value.shape)[:, :3])
        narrow += int(np.sum(np.sqrt(found.variance[:, :3]) > alone))
        cells += error.size
    assert cells >= 4000 and 0.92 <= held / cells <= 0.98, held / cells
    # amplifiers are slow or quick as a whole: most cells know less than so many contacts alone would
    assert narrow / cells > 0.3


def test_a_price_list_is_exact_and_not_shrunk(log):
    frame = model.Frame(log)
    prices = np.where(frame.remedy == model.REPLACE, np.array([4.0, 24.0, 7.0, 6.0, 9.0, 11.0])[frame.kind], np.nan)
    found = shop_costs.means(frame, prices, model.REPLACE)
    np.testing.assert_allclose(found.value[:, model.REPLACE], [4.0, 24.0, 7.0, 6.0, 9.0, 11.0], rtol=1e-6)
    assert np.all(np.sqrt(found.variance[:, model.REPLACE]) < 1e-3)
    # cleaning buys no part, and that is no estimate
    assert np.all(found.value[:, model.CLEAN] == 0.0) and np.all(found.variance[:, model.CLEAN] == 0.0)


def test_alike_kinds_are_shrunk_together(log):
    frame = model.Frame(log)
    random = np.random.default_rng(3)
    found = shop_costs.means(frame, 20.0 + 5.0 * random.standard_normal(len(log)))
    raw = np.array([np.mean((20.0 + 5.0 * np.random.default_rng(3).standard_normal(len(log)))[frame.kind_remedy == c]) for c in range(found.value.size)])
    # cells that differ by chance only move to the mean of their remedy
    assert np.std(found.value[:, model.STRIP]) < 0.7 * np.std(raw.reshape(found.value.shape)[:, model.STRIP])


def test_shrinking_a_few_cells_by_hand():
    # six cells that chance alone explains: three fifths are taken off, and what a far one loses stays in its variance [calc]
    value, left = shop_costs._shrunk_with_few(np.array([1.0, -1.0, 2.0, -2.0, 0.0, 0.0]), np.ones(6), 0.0)
    np.testing.assert_allclose(value, [0.4, -0.4, 0.8, -0.8, 0.0, 0.0], rtol=1e-12)
    np.testing.assert_allclose(left, [0.74, 0.74, 1.46, 1.46, 0.5, 0.5], rtol=1e-12)
    # cells that truly differ keep theirs; three cells are not shrunk at all
    assert shop_costs._shrunk_with_few(np.array([1.0, -1.0, 2.0, -2.0]), np.ones(4), 99.0)[0][0] == pytest.approx(1.0 - 1.0 / 300.0)
    assert shop_costs._shrunk_with_few(np.array([1.0, -1.0, 2.0]), np.ones(3), 0.0)[0].tolist() == [1.0, -1.0, 2.0]


def test_damages_carry_at_least_a_binomial_error(log):
    found = shop_costs.damages(model.Frame(log))
    count = np.bincount(model.Frame(log).kind_remedy, minlength=found.value.size).reshape(found.value.shape)
    p = found.value
    assert np.all(found.variance >= p * (1.0 - p) / (count + shop_costs.DAMAGE_PRIOR) * (1.0 - 1e-12)) and np.all(p > 0.0)


def without_errors(work):
    costs = work.costs
    known = [shop_costs.Means(m.value, np.zeros_like(m.variance)) for m in (costs.minutes, costs.part, costs.damage)]
    work.costs = shop_costs.Costs(*known)
    return work


def test_break_evens_carry_the_errors_of_minutes_and_prices(log):
    # minutes that scatter threefold either way: the decision is much less sure than with minutes known exactly
    random = np.random.default_rng(5)
    rough = dataclasses.replace(
        log,
        minutes=log.minutes * np.exp(1.5 * random.standard_normal(len(log))),
        part_cost=log.part_cost * np.exp(1.5 * random.standard_normal(len(log))),
    )

    def width(work):
        spans = []
        for kind in range(len(work.kinds)):
            for d in decisions(work, kind):
                low, high = (min(max(x, d.seen_ohm[0]), d.seen_ohm[1]) for x in d.above_ohm[1:])
                spans.append(math.log(high / low))
        return np.array(spans)

    def made():
        return Work(rough, 60.0, 3.0, None, lambda step: None)

    carried, exact = width(made()), width(without_errors(made()))
    assert np.all(carried >= exact) and carried.sum() > 1.1 * exact.sum()
    cost = {(c.kind, c.remedy): c.cost_per_good_year for c in compare(rough).cells}
    assert cost["relay", "replace"][2] / cost["relay", "replace"][1] > 1.2


def test_replacing_must_beat_each_of_the_cheaper_ones(log):
    # stripping as quick as cleaning is the better of the two: replacing pays later than against cleaning alone
    quick = dataclasses.replace(log, minutes=np.where(log.remedy == model.STRIP, log.minutes / 3.0, log.minutes))
    work, alone, stripping = (Work(quick, 60.0, 3.0, None, lambda step: None) for _ in range(3))
    alone.remedies, stripping.remedies = [model.CLEAN, model.REPLACE], [model.STRIP, model.REPLACE]
    later = 0
    for kind in range(len(work.kinds)):
        both, one, other = ([d for d in decisions(w, kind) if d.remedy == "replace"][0] for w in (work, alone, stripping))
        assert (both.against, one.against, other.against) == ("clean or strip", "clean", "strip")
        # each end is that of the one which is beaten last, not less
        for a, b, c in zip(both.above_ohm, one.above_ohm, other.above_ohm, strict=True):
            assert a >= max(b, c) * (1.0 - 1e-9)
        later += both.above_ohm[0] > 1.05 * one.above_ohm[0]
    assert later >= 3


def test_the_error_of_a_cost_by_hand(log):
    # delta method: the share of minutes in the error of log cost is hourly price over cost of the visit
    work = Work(log, 60.0, 3.0, None, lambda step: None)
    kind = work.kinds.index("relay")
    cell = work.cell(kind, model.CLEAN)
    value, variance = work.extra(kind)
    minutes, part, damage, price = work.visit(kind, model.CLEAN, value)
    visit = minutes + part + damage * price
    # cost of a damage is the visit of a replacement: its minutes and its part count too, and the damages themselves
    own = variance[8] + (damage**2) * (variance[8 + 2] + variance[12 + 2]) + price**2 * variance[16]
    bare = without_errors(work).cell(kind, model.CLEAN)
    log_error = [math.log(c.cost_per_good_year[2] / c.cost_per_good_year[1]) / (2.0 * Z95) for c in (cell, bare)]
    assert math.sqrt(log_error[0] ** 2 - log_error[1] ** 2) == pytest.approx(math.sqrt(own) / visit, rel=1e-3)


def test_the_exact_band_is_clopper_and_pearsons():
    from scipy.stats import binomtest

    for good, n in ((250, 250), (249, 250), (3, 40), (0, 12)):
        other = binomtest(good, n).proportion_ci(0.95, method="exact")
        # an error of the logarithm of odds that says nothing: as many contacts as were counted
        _, low, high = exact_band(good / n, 1e-3, n)
        assert (low, high) == pytest.approx((other.low, other.high), rel=1e-9)
    # an error that is worth fewer contacts widens it
    share = 0.9
    error = 1.0 / math.sqrt(share * (1.0 - share) * 30.0)
    assert exact_band(share, error, 1000.0)[1:] == pytest.approx(exact_band(share, 1e-3, 30.0)[1:], rel=1e-9)


def test_shares_near_one_hold_the_truth():
    # 2 000 planted shares from 0.95 to 0.9999 over 30 to 300 contacts: at least 95 %, where a band from the fit alone held 38 %
    random = np.random.default_rng(12)
    held = 0
    for _ in range(2000):
        share, n = 1.0 - 10.0 ** random.uniform(-4.0, -1.3), int(random.integers(30, 300))
        good = random.binomial(n, share)
        # as weak cells leave it: off one by a little, with hardly any error
        fitted = (good + 0.25) / (n + 0.5)
        _, low, high = exact_band(fitted, 0.3, float(n))
        held += low <= share <= high
    assert held / 2000 >= 0.95, held / 2000
