"""Few comebacks, few contacts, logs that record little: bands are exact, and what is not known is said, not printed as a number."""

import dataclasses
import math

import numpy as np
import pytest
from scipy import stats

from weaklink import shop_model as model
from weaklink.shop import compare, read_log
from weaklink.shop_fits import exact_rate, exact_ratio
from weaklink.shop_work import Work

HEAD = "job,date,contact,kind,method,shows,remedy,after,minutes,part_cost,damage,back_on,last_known_good\n"


def row(job, remedy, *, kind="relay", before=500, after="30 mV", back="", good="2022-03-01", method="1 A drop", damage="no"):
    """One invented contact, treated on 2020-03-01, with its comeback or its last good day."""
    cost = "30,9.50" if remedy == "replace" else "15,"
    shows = f"{before} mV" if isinstance(before, int) else before
    return f"{job},2020-03-01,c {job} / a,{kind},{method},{shows},{remedy},{after},{cost},{damage},{back},{'' if back else good}\n"


def spread(k):
    return (300, 500, 900, 2000)[k * 7 % 4] + 10 * k


def log_of(*rows):
    return read_log((HEAD + "".join(rows)).encode())


def eight_of_thirty():
    """Thirty cleaned with eight comebacks, thirty replaced with none; two years each."""
    clean = [row(k, "clean", before=spread(k), back=f"2021-0{1 + k // 4}-10" if k % 4 == 0 else "") for k in range(30)]
    return log_of(*clean, *(row(30 + k, "replace", before=spread(k)) for k in range(30)))


def test_exact_bands_by_hand():
    # nobody came back in 59.96 years: -ln(0.025) = 3.689 over them [calc]; eight in 53.3 by tables of Poisson's limits: 3.454 and 15.76
    assert exact_rate(0.0, 59.96) == (0.0, pytest.approx(0.0615, abs=5e-5))
    assert exact_rate(8.0, 53.3) == pytest.approx((3.4538 / 53.3, 15.763 / 53.3), rel=1e-4)
    # none of eight: 1 - 0.025^(1/8) = 0.3694 are odds of 0.5858, times 53.3/59.96 [calc]
    assert exact_ratio((0.0, 8.0), (59.96, 53.3)) == (0.0, pytest.approx(0.5207, abs=1e-4))
    low, high = exact_ratio((8.0, 0.0), (53.3, 59.96))
    assert low == pytest.approx(1.0 / 0.5207, rel=1e-3) and math.isinf(high)
    # the ends are where the counts seen have 2.5 % left
    low, high = exact_rate(3.0, 10.0)
    assert stats.poisson.sf(2, 10.0 * low) == pytest.approx(0.025) and stats.poisson.cdf(3, 10.0 * high) == pytest.approx(0.025)


def test_a_cell_without_a_comeback_keeps_its_exact_band():
    found = compare(eight_of_thirty())
    clean, new = found.cells
    assert (clean.comebacks, new.comebacks) == (8, 0) and new.contact_years == pytest.approx(60.0, rel=2e-3)
    value, low, high = new.comebacks_per_100_years
    assert low == 0.0 < value < high and high == pytest.approx(100.0 * 3.6889 / new.contact_years, rel=1e-4)
    # eight are few too: the exact band lies within
    low, high = (100.0 * x / clean.contact_years for x in (3.4538, 15.763))
    assert clean.comebacks_per_100_years[1] <= low * 1.0001 and clean.comebacks_per_100_years[2] >= high * 0.9999
    (ratio,) = found.ratios
    assert ratio.plain == 0.0 and ratio.adjusted[1] == 0.0
    assert ratio.adjusted[2] == pytest.approx(0.5858 * clean.contact_years / new.contact_years, rel=1e-3)
    # good years and costs widen with the rate: at 6.15 per 100 a year two years lose 0.12 if the rate is constant [calc], less if it rises
    assert new.good_years[2] == pytest.approx(found.horizon_years, rel=1e-3)
    assert 1.88 < new.good_years[1] < 1.95 < new.good_years[0]
    assert new.cost_per_good_year[2] > new.cost_per_good_year[0] * 1.03
    # thirty of thirty: 0.025^(1/30) = 0.884 is below nine in ten [calc]
    assert {w.remedy: w.years for w in found.warranties} == {"clean": 0.0, "replace": 0.0}
    assert "(0-6.1)" in found.text() or "(0-6.2)" in found.text()


def test_a_warranty_takes_thirty_six_that_held():
    # 0.025^(1/36) = 0.9026, 0.025^(1/35) = 0.8999 [calc]; others came back often enough for a fit
    others = [row(100 + k, "clean", before=spread(k), back="2021-05-10" if k % 3 == 0 else "") for k in range(30)]
    months = []
    for count in (35, 36):
        made = compare(log_of(*others, *(row(k, "replace", before=spread(k)) for k in range(count))))
        months.append({w.remedy: w.years for w in made.warranties}["replace"] * 12.0)
    assert months[0] == 0.0 and months[1] == pytest.approx(24.0, abs=1.1)


def test_many_comebacks_leave_the_bands_as_they_were():
    rows = [row(k, "clean", before=spread(k), back=f"202{1 if k % 4 else 0}-0{5 + k % 5}-10" if k % 2 == 0 else "") for k in range(60)]
    rows += [row(60 + k, "replace", before=spread(k), back="2021-03-10" if k % 6 == 0 else "") for k in range(54)]
    work = Work(log_of(*rows), 60.0, 3.0, None, lambda step: None)
    assert work.swing(0, model.CLEAN) == (0.0, 0.0)
    down, up = work.swing(0, model.REPLACE)
    assert work.comebacks.events_of[model.REPLACE] == 9 and down < 0.0 < up


def test_exact_bands_hold_planted_rates():
    # 2 000 planted rates with 0 to 9 comebacks expected: 95 % or more
    random = np.random.default_rng(21)
    held = 0
    for _ in range(2000):
        rate = random.uniform(0.001, 0.15)
        low, high = exact_rate(float(random.poisson(60.0 * rate)), 60.0)
        held += low <= rate <= high
    assert held / 2000 >= 0.95, held / 2000


def test_a_log_of_comebacks_alone_gives_no_rate():
    # thirty treated, six came back, nobody asked after the others
    def rows(known):
        return [row(k, "clean", before=spread(k), back="2021-05-10" if k < 6 else "", good="2022-03-01" if k < known else "") for k in range(30)]

    found = compare(log_of(*rows(6)))
    (cell,) = found.cells
    assert cell.comebacks_per_100_years is None and cell.good_years is None and cell.cost_per_good_year is None
    assert not (found.ratios or found.warranties or found.decisions or found.curves)
    told = found.warnings[0]
    assert told.startswith("6 of 30 treated contacts are followed: enter last_known_good") and "too high" in told
    assert "(-) where all that are followed came back (6)" in told
    # six more that held: a rate, and still the warning; all known: none
    some, all_of = compare(log_of(*rows(12))), compare(log_of(*rows(30)))
    assert some.cells[0].comebacks_per_100_years is not None and some.warnings[0].startswith("12 of 30 treated")
    assert "(-)" not in some.warnings[0]
    assert all_of.cells[0].comebacks_per_100_years[0] < 0.6 * some.cells[0].comebacks_per_100_years[0]
    assert not any("are followed" in w for w in all_of.warnings)
    # one remedy followed in full, of the other the comebacks alone: a rate of the one, no comparison
    mixed = compare(log_of(*rows(30), *(row(50 + k, "replace", before=spread(k), back="2021-05-10" if k < 2 else "", good="") for k in range(10))))
    assert [c.comebacks_per_100_years is None for c in mixed.cells] == [False, True] and not mixed.ratios
    assert {w.remedy for w in mixed.warranties} == {"clean"} and "came back (2)" in mixed.warnings[0]


def test_what_is_heard_is_weighted_by_afters():
    # eleven relay rows of which one has an after (able), one rotary switch (excluded): half and half
    found = compare(log_of(*(row(k, "clean", after="30 mV" if k == 0 else "") for k in range(11)), row(40, "clean", kind="rotary switch")))
    assert {c.kind: (c.contacts, c.afters) for c in found.cells} == {"relay": (11, 1), "rotary switch": (1, 1)}
    text = " ".join(found.text().split())
    assert "able if it chatters: clean 50/0/50" in text


def test_damages_of_few_are_counts():
    found = compare(log_of(row(1, "clean"), *(row(10 + k, "strip", damage="yes" if k == 0 else "no") for k in range(3))))
    assert {c.remedy: c.damaged for c in found.cells} == {"clean": (0, 1), "strip": (1, 3)}
    assert "0/1 " in found.text() and "1/3 " in found.text()
    # none of many is no share either; two of forty are one
    many = compare(log_of(*(row(k, "clean") for k in range(40)), *(row(50 + k, "strip", damage="yes" if k < 2 else "no") for k in range(40))))
    assert "0/40 " in many.text() and "2/40" not in many.text()


def test_what_is_not_determined_is_not_printed(monkeypatch):
    # a fit that says it did not converge is left out
    fitted = model.change

    def lost(frame):
        made = fitted(frame)
        return dataclasses.replace(made, estimate=dataclasses.replace(made.estimate, converged=False))

    with monkeypatch.context() as patched:
        patched.setattr(model, "change", lost)
        found = compare(eight_of_thirty())
    assert compare(eight_of_thirty()).cells[0].left_ratio is not None
    assert any("fit of change did not converge" in w for w in found.warnings)
    assert all(c.left_ratio is None for c in found.cells) and found.reread_ratio is None
    # all afters within what the leads of an ohmmeter may be: no lower end, no number
    below = compare(log_of(*(row(k, "clean", before=f"{1.5 + 0.1 * k:.1f} ohm", after="0.12 ohm", method="") for k in range(16))))
    assert below.cells[0].left_ratio is None and "e-" not in below.text()
    # a few above: a number again
    some = [row(k, "clean", before=f"{1.5 + 0.1 * k:.1f} ohm", after=f"{0.12 + 0.05 * k:.2f} ohm", method="") for k in range(16)]
    assert compare(log_of(*some)).cells[0].left_ratio is not None


def test_leads_taken_off_are_said():
    found = compare(log_of(row(1, "clean", before="1.80 ohm", after="0.50 ohm", method="")))
    assert "ohmmeter readings lose 0.1 to 0.3 ohm of leads (method dry box or 1 A drop: none)" in " ".join(found.text().split())
    # and it is so: with a method of four wires nothing is taken off
    for method, shows, low, high in (("", "1.80 ohm", 1.5, 1.7), ("1 A drop", "1800 mV", 1.8, 1.8)):
        log = log_of(row(1, "clean", before=shows, after=shows, method=method))
        assert log.before_low_ohm[0] == pytest.approx(low, rel=0.03) and log.before_high_ohm[0] == pytest.approx(high, rel=0.03)


def test_no_comeback_at_all_still_bounds_the_rate():
    # twelve for two years, none came back: 3.689 over 24 contact-years is 15.4 per 100 [calc]
    found = compare(log_of(*(row(k, "clean") for k in range(12))))
    (cell,) = found.cells
    assert cell.comebacks == 0 and cell.contact_years == pytest.approx(24.0, rel=2e-3)
    assert cell.comebacks_per_100_years == (0.0, 0.0, pytest.approx(15.38, abs=0.05)) and cell.good_years is None
    assert "0 (0-15)" in found.text() and any("not known" in w and "exact band" in w for w in found.warnings)
    assert found.priors and not found.decisions
    # not followed: nothing to bound
    blind = compare(log_of(*(row(k, "clean", good="") for k in range(12))))
    assert blind.cells[0].comebacks_per_100_years is None
