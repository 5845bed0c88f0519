"""Where a log does not say how long a remedy holds: growth of films as a labelled prior, apart from all data."""

import dataclasses
import json
import math

import numpy as np
import pytest

import weaklink as wl
from weaklink import physics as ph
from weaklink import shop_model as model
from weaklink import shop_prior
from weaklink.cli import main
from weaklink.shop import compare, invented_log, prior_of, words

from test_shop_fits import only

HEADER = b"job,contact,kind,shows,method,remedy,after\n"
LABEL = "prior, growth physics, not data"


def test_an_empty_log_gives_the_prior_and_nothing_else(tmp_path, capsys):
    answer = compare(HEADER)
    assert answer.pairs == 0 and not (answer.cells or answer.decisions or answer.ratios or answer.warranties or answer.curves)
    # every kind that has a limit, for each metal that has a law
    with_limit = [kind for kind, limit in zip(words().kinds, words().in_order_up_to_ohm, strict=True) if limit is not None]
    assert [(p.kind, p.metal) for p in answer.priors] == [(kind, metal) for kind in with_limit for metal in ("silver", "copper")]
    path = tmp_path / "empty.csv"
    path.write_bytes(HEADER)
    assert main(["compare", str(path)]) == 0
    text = capsys.readouterr().out
    lines = text.splitlines()
    assert len(lines) < 40 and max(map(len, lines)) <= 80 and LABEL in text and "not known, the log is empty" in text
    assert "[seen]" in text and "[assumption]" in text and lines[-2].startswith("Decisions")
    assert main(["compare", str(path), "--all"]) == 0
    every = " ".join(capsys.readouterr().out.split())
    assert all(f"{kind}, silver, " in every for kind in with_limit) and "Kusano et al. 2014 [seen]" in every and "[memory, low]" in every
    told = json.loads(answer.to_json(), parse_constant=lambda text: pytest.fail(text))
    assert told["priors"][0]["latest_years"] == "past 1000" and "[seen]" in told["priors"][0]["source"]
    assert all(row["label"] == LABEL for row in told["priors"])


def test_a_log_whose_rows_are_all_set_aside_is_still_bad_input():
    with pytest.raises(wl.InputError, match="no contact with a kind"):
        compare(HEADER + b"1,a / b,relais,4 ohm,1 A drop,clean,1 ohm\n")


def test_the_prior_is_the_growth_law():
    found = prior_of("relay", "copper")
    assert (found.limit_ohm, found.environment) == (0.1, "ISA-71.04 G1")
    # at the earliest time the most resistive film over the small spot has the limit, at the latest the least resistive over the large one
    for years, end, radius in ((found.earliest_years, 1, 10e-6), (found.latest_years, 0, 50e-6)):
        ohm_m2 = ph.film_area_resistance_ohm_m2("ISA-71.04 G1", "copper", years * 365.25 * 86_400.0)[end]
        assert ohm_m2 / (math.pi * radius**2) == pytest.approx(0.1, rel=1e-6)
    assert math.isinf(prior_of("relay", "silver").latest_years)
    # a higher limit is reached later; a kind without one has no prior
    assert prior_of("push switch", "copper").latest_years > found.latest_years
    assert prior_of("potentiometer", "copper") is None


@pytest.mark.parametrize(
    ("text", "metal"),
    [("silver", "silver"), ("Silver alloy", "silver"), ("brass", "copper"), ("gold plated brass", None), ("tin", None), ("", None)],
)
def test_metals_that_have_a_law(text, metal):
    assert shop_prior.metal_of(text) == metal


@pytest.mark.parametrize(
    ("years", "told"),
    [(0.0, "less than 2 hours"), (3.0 / 8766.0, "3 hours"), (14.0 / 365.25, "14 days"), (2.5, "2.5 years"), (math.inf, "never (past 1000 years)")],
)
def test_durations(years, told):
    assert shop_prior.duration(years) == told


def test_data_take_the_place_of_the_prior_kind_by_kind():
    log = invented_log(1500, 3).log()
    assert compare(log).priors == ()
    assert LABEL not in compare(log).text()
    # no comeback at all: every kind of the log; one kind never followed: that one
    none = compare(dataclasses.replace(log, came_back=np.zeros(len(log), bool)))
    assert {p.kind for p in none.priors} == {c.kind for c in none.cells} and LABEL in none.text()
    relay = log.kind == words().kinds.index("relay")
    years = np.where(relay, np.nan, log.years)
    one = compare(dataclasses.replace(log, years=years, came_back=log.came_back & ~relay))
    assert {p.kind for p in one.priors} == {"relay"} and LABEL in one.text()


def test_the_prior_moves_no_number():
    # the same log with and without a kind that only has a prior: not a digit of the others moves
    log = invented_log(1500, 3).log()
    followed = dataclasses.replace(log, years=np.where(log.kind == words().kinds.index("relay"), np.nan, log.years))
    with_prior = compare(followed)
    assert with_prior.priors
    for cell in with_prior.cells:
        if cell.kind == "relay":
            assert cell.comebacks_per_100_years is None and cell.good_years is None and cell.cost_per_good_year is None
    assert not any(d.kind == "relay" for d in with_prior.decisions) and not any(c.kind == "relay" for c in with_prior.curves)
    assert compare(only(log, log.remedy == model.CLEAN)).priors == ()
