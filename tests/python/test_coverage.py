"""95 % intervals against planted truths, a reduced set: tests/hard/coverage.py has all kinds with a thousand trials each."""

import importlib.util
import sys

import pytest


@pytest.fixture(scope="module")
def planted(request):
    # by its path: "coverage" is a module of others too
    path = request.config.rootpath / "tests" / "hard" / "coverage.py"
    spec = importlib.util.spec_from_file_location("planted_coverage", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["planted_coverage"] = module
    spec.loader.exec_module(module)
    return module


def pooled(rows, word):
    chosen = [row for name, row in rows.items() if word in name and row.trials]
    trials = sum(row.trials for row in chosen)
    return trials, 100.0 * sum(row.held for row in chosen) / trials


def test_intervals_of_fitted_films_hold_the_truth(planted):
    # 600 intervals of 30 fits each of four laws: the share scatters by some 1.5 %
    rows = planted.fits(30)
    trials, share = pooled(rows, "fit_film")
    assert trials >= 500 and 91.0 <= share <= 99.0, planted.printed(rows)
    # a scatter stated a third too small is seen
    assert pooled(planted.fits(10, stated=0.6), "scatter known")[1] < 88.0


def test_a_reading_leaves_no_truth_out(planted):
    row = planted.readings(300)["reading to ohms (a limit: all)"]
    assert row.held == row.trials == 300


def test_bands_of_a_log_hold_the_truth(planted):
    rows = planted.bands(2, 4000)
    trials, share = pooled(rows, "comebacks per 100 years")
    assert trials >= 20 and share >= 80.0, planted.printed(rows)
    # shares near one, and break-evens with the errors of minutes and prices: 72 and 24 bands
    for word, least in (("in order after", 90.0), ("break-even", 80.0), ("cost per good year", 80.0)):
        trials, share = pooled(rows, word)
        assert trials >= 20 and share >= least, planted.printed(rows)
