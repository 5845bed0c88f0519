"""The bench log's regressions against statsmodels row by row and against lifelines on the data that it ships."""

import dataclasses
import math

import lifelines
import lifelines.datasets
import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from weaklink import shop_fits as fits
from weaklink import shop_model as model
from weaklink.shop import HORIZON_YEARS, invented_log

# two optimisers of one likelihood, each stopped at about 1e-8 of it
SAME_OPTIMUM = 2e-5


@pytest.fixture
def frame():
    return model.Frame(invented_log(1500, 5).log())


def only(log, rows):
    """The same log with some of its pairs."""
    arrays = {f.name: getattr(log, f.name) for f in dataclasses.fields(log)}
    return dataclasses.replace(log, **{k: v[rows] for k, v in arrays.items() if isinstance(v, np.ndarray)})


def episodes(frame, edges, crossed):
    """One row per contact and interval it was under way in, the long way."""
    log = frame.log
    design = frame.of_cells(crossed=crossed)
    rows = []
    for k in np.flatnonzero(np.isfinite(log.years)):
        for number, start in enumerate(edges):
            end = edges[number + 1] if number + 1 < len(edges) else math.inf
            if log.years[k] <= start:
                break
            came = log.came_back[k] and log.years[k] <= end
            indicator = np.eye(len(edges))[number]
            rows.append((*indicator, *design[frame.cell[k], 1:], min(log.years[k], end) - start, came, frame.job[k]))
    table = np.array(rows, dtype=float)
    return table[:, :-3], table[:, -3], table[:, -2], table[:, -1].astype(int)


def test_cells_and_one_pass_scores_are_the_row_by_row_fit(frame, monkeypatch):
    # statsmodels on every contact's every interval, clustered by amplifier: the same estimate and the same sandwich
    monkeypatch.setattr(model, "WEAK", np.full(5, 1e-9))
    found = model.comebacks(frame)
    x, exposure, came, job = episodes(frame, found.edges, found.crossed)
    fit = sm.GLM(came, x, family=sm.families.Poisson(), offset=np.log(exposure)).fit(
        tol=1e-12, cov_type="cluster", cov_kwds={"groups": job, "use_correction": False}
    )
    np.testing.assert_allclose(found.estimate.theta, fit.params, rtol=SAME_OPTIMUM, atol=1e-6)
    clustered = np.sqrt(np.diag(found.estimate.covariance) / found.estimate.correction)
    np.testing.assert_allclose(clustered, fit.bse, rtol=1e-4)
    assert 1.0 < found.estimate.correction < 1.3 and found.crossed


def test_back_in_order_is_the_row_by_row_fit(frame, monkeypatch):
    # without the replaced: they are all in order, and their term has no finite maximum
    monkeypatch.setattr(model, "WEAK", np.full(5, 1e-9))
    log = only(frame.log, frame.log.remedy != model.REPLACE)
    frame = model.Frame(log)
    found = model.in_order(frame)
    limit = np.array([model.words().in_order_up_to_ohm[k] for k in log.kind])
    good, bad = log.after_high_ohm <= limit, log.after_low_ohm > limit
    rows = good | bad
    x = frame.of_cells(crossed=True)[frame.cell[rows]]
    fit = sm.GLM(good[rows].astype(float), x, family=sm.families.Binomial()).fit(
        tol=1e-12, cov_type="cluster", cov_kwds={"groups": frame.job[rows], "use_correction": False}
    )
    np.testing.assert_allclose(found.estimate.theta, fit.params, rtol=1e-5, atol=1e-6)
    clustered = np.sqrt(np.diag(found.estimate.covariance) / found.estimate.correction)
    np.testing.assert_allclose(clustered, fit.bse, rtol=1e-4)


def rossi_by_events(seed=1):
    """The recidivism data of Rossi, Berk and Lenihan 1980, ties broken, as intervals between events."""
    table = lifelines.datasets.load_rossi()
    table["week"] = table["week"].astype(float)
    # censored only at the end: then a rate constant between events is Cox's likelihood exactly
    came = table["arrest"] == 1
    table.loc[came, "week"] -= np.random.default_rng(seed).uniform(0.0, 0.5, came.sum())
    return table


def test_comebacks_against_cox_of_lifelines():
    # piecewise exponential with one interval per event is Cox's partial likelihood (Holford 1976 [memory])
    table = rossi_by_events()
    names = ["fin", "age", "prio"]
    table["cluster"] = np.arange(len(table)) // 3
    cox = lifelines.CoxPHFitter().fit(table[[*names, "week", "arrest", "cluster"]], "week", "arrest", cluster_col="cluster")
    x = table[names].to_numpy(float)
    ends = np.sort(table.loc[table["arrest"] == 1, "week"].to_numpy())
    edges = np.concatenate([[0.0], ends])
    week, arrest = table["week"].to_numpy(), table["arrest"].to_numpy() == 1
    blocks, events, exposures, who = [], [], [], []
    for k in range(len(ends)):
        here = np.flatnonzero(week > edges[k])
        blocks.append(np.concatenate([np.eye(len(ends))[np.full(len(here), k)], x[here]], axis=1))
        events.append((arrest[here] & (week[here] <= edges[k + 1])).astype(float))
        exposures.append(np.minimum(week[here], edges[k + 1]) - edges[k])
        who.append(here)
    design, came, exposure, who = (np.concatenate(part) for part in (blocks, events, exposures, who))
    weak = (design[:1], np.array([1e-12]), np.array([1e-12]))
    theta, inverse, mean, converged = fits.glm("poisson", design, came, exposure, weak)
    assert converged
    np.testing.assert_allclose(theta[-3:], cox.params_.to_numpy(), rtol=1e-4)
    job = table["cluster"].to_numpy()[who]
    scores = fits.score_sums(came - mean * exposure, design, np.arange(len(came)), job, int(job.max()) + 1)
    robust = np.sqrt(np.diag((scores @ inverse).T @ (scores @ inverse)))[-3:]
    np.testing.assert_allclose(robust, cox.standard_errors_.to_numpy(), rtol=1e-3)


@pytest.mark.parametrize("gender", ["male", "female"])
def test_interval_censored_fit_against_lifelines(gender):
    # time to diabetic nephropathy, exact and interval-censored (731 patients, in the package)
    table = lifelines.datasets.load_diabetes()
    table = table[table["gender"] == gender]
    assert (table["left"] < table["right"]).sum() > 20 and (table["left"] == table["right"]).sum() > 100
    other = lifelines.LogNormalFitter().fit_interval_censoring(table["left"], table["right"])
    with np.errstate(divide="ignore"):
        # some begin at 0: left-censored
        low, high = np.log(table["left"].to_numpy(float)), np.log(table["right"].to_numpy(float))
    every = np.arange(len(table))
    one = np.zeros(len(table), dtype=int)
    found, sigma, _ = fits.interval_regression(low, high, np.ones((1, 1)), one, every, len(table), narrow=0.0)
    assert found.converged
    np.testing.assert_allclose([found.theta[0], sigma], [other.mu_, other.sigma_], rtol=1e-4)
    np.testing.assert_allclose(found.independent_se[0], other.summary.loc["mu_", "se(coef)"], rtol=1e-3)


def test_left_and_right_censored_fit_against_lifelines():
    # right-censored arrests turned round for the left: minus the logarithm is left-censored where the time is right-censored
    table = rossi_by_events()
    aft = lifelines.LogNormalAFTFitter().fit(table[["week", "arrest", "prio"]], "week", "arrest")
    y, came = np.log(table["week"].to_numpy()), table["arrest"].to_numpy() == 1
    design = np.stack([np.ones(len(y)), table["prio"].to_numpy(float)], axis=1)
    every = np.arange(len(y))
    right, s, _ = fits.interval_regression(y, np.where(came, y, np.inf), design, every, every, len(y))
    left, t, _ = fits.interval_regression(np.where(came, -y, -np.inf), -y, design, every, every, len(y))
    mu = aft.params_["mu_"]
    np.testing.assert_allclose(right.theta, [mu["Intercept"], mu["prio"]], rtol=1e-3)
    np.testing.assert_allclose(left.theta, -right.theta, rtol=1e-6)
    np.testing.assert_allclose([s, t], math.exp(aft.params_["sigma_"]["Intercept"]), rtol=1e-3)


def test_clustered_error_of_a_censored_fit_against_lifelines():
    # the sandwich of lifelines, row by row, with half of the rows censored: the spread's share in it counts
    table = rossi_by_events()
    table["week"] = np.minimum(table["week"], np.where(np.arange(len(table)) % 2, 60.0, 20.0))
    table["arrest"] = (table["arrest"] == 1) & (table["week"] != 20.0)
    aft = lifelines.LogNormalAFTFitter().fit(table[["week", "arrest", "prio"]], "week", "arrest", robust=True)
    y, came = np.log(table["week"].to_numpy()), table["arrest"].to_numpy()
    design = np.stack([np.ones(len(y)), table["prio"].to_numpy(float)], axis=1)
    every = np.arange(len(y))
    found, _, _ = fits.interval_regression(y, np.where(came, y, np.inf), design, every, every, len(y))
    ours = np.sqrt(np.diag(found.influence.T @ found.influence))
    errors = aft.standard_errors_["mu_"]
    np.testing.assert_allclose(ours, [errors["Intercept"], errors["prio"]], rtol=2e-3)
    assert np.abs(ours / found.independent_se - 1.0).max() > 0.02


def test_limits_of_a_change():
    # before 1 to 4 ohm, after 0.5 to 1: an eighth to one; over limit before, below the range after
    low, high = model.change_limits(
        np.array([1.0, 1e6, 1.0, 0.0]), np.array([4.0, np.inf, 1.0, 1.0]), np.array([0.5, 0.1, 0.0, 0.0]), np.array([1.0, 0.2, 0.1, 0.1])
    )
    np.testing.assert_allclose(np.exp(low), [0.125, 0.0, 0.0, 0.0])
    np.testing.assert_allclose(np.exp(high), [1.0, 2e-7, 0.1, np.inf])


def test_a_comeback_on_an_edge_counts_once(frame):
    # everything in whole half years: the edges of the intervals fall on comebacks
    years = np.ceil(2.0 * frame.log.years) / 2.0
    found = model.comebacks(model.Frame(dataclasses.replace(frame.log, years=years)))
    assert np.isin(found.edges[1:], years).all()
    # score equations: as many comebacks expected as there were, but for the few weak cells
    expected = found.events_of - found.deviations.raw * np.where(found.events_of > 0, found.events_of / (1.0 + found.deviations.raw), 0.0)
    assert expected.sum() == pytest.approx(found.events, rel=0.01)


def test_blocks_change_nothing(monkeypatch):
    random = np.random.default_rng(3)
    y = random.normal(size=900)
    low, high = np.where(y > -1.0, y - 0.3, -np.inf), np.where(y < 1.0, y + 0.3, np.inf)
    design = np.stack([np.ones(3), np.arange(3.0)], axis=1)
    cell, job = random.integers(0, 3, 900), random.integers(0, 50, 900)
    whole = fits.interval_regression(low, high, design, cell, job, 50)
    monkeypatch.setattr(fits, "BLOCK", 64)
    parts = fits.interval_regression(low, high, design, cell, job, 50)
    np.testing.assert_allclose(parts[0].theta, whole[0].theta, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(parts[0].influence, whole[0].influence, rtol=1e-6, atol=1e-12)


def test_a_spline_is_straight_outside_its_knots():
    knots = np.array([-1.0, -0.2, 0.4, 1.5])
    x = np.linspace(2.0, 4.0, 9)
    for end in (x, -x):
        basis = fits.spline(end, knots)
        np.testing.assert_allclose(np.diff(basis, 2, axis=0), 0.0, atol=1e-12)
    inside = fits.spline(np.linspace(-0.5, 1.0, 9), knots)
    assert np.abs(np.diff(inside, 2, axis=0)[:, 1:]).max() > 1e-3


def test_errors_of_functions():
    # two independent clusters sums: the error of a mean, and of its logarithm
    random = np.random.default_rng(1)
    influence = random.normal(size=(400, 2)) / 400
    estimate = fits.Estimate(np.array([2.0, 3.0]), influence, np.eye(2), True)
    value, error = fits.error_of(lambda t: np.array([t[0], math.log(t[1]), t[0] * t[1]]), estimate)
    c = estimate.covariance
    gradient = np.array([3.0, 2.0])
    np.testing.assert_allclose(value, [2.0, math.log(3.0), 6.0])
    np.testing.assert_allclose(error, [math.sqrt(c[0, 0]), math.sqrt(c[1, 1]) / 3.0, math.sqrt(gradient @ c @ gradient)], rtol=1e-6)


def test_shrinking():
    # cells that scatter no more than their errors lose their deviation; cells that scatter far more keep it
    random = np.random.default_rng(2)
    variance = np.full(400, 0.04)
    chance, _, between = fits.shrunk(0.2 * random.standard_normal(400), variance)
    assert between < 0.01 and np.abs(chance).max() < 0.15
    true = 0.5 * random.standard_normal(400)
    noisy = true + 0.2 * random.standard_normal(400)
    value, left, between = fits.shrunk(noisy, variance)
    assert between == pytest.approx(0.25, rel=0.2)
    assert np.mean((value - true) ** 2) < np.mean((noisy - true) ** 2)
    assert np.mean((value - true) ** 2) == pytest.approx(left.mean(), rel=0.2)
    # a cell without data says nothing
    value, left, _ = fits.shrunk(np.array([0.0, 1.0, -1.0]), np.array([np.inf, 0.01, 0.01]))
    assert value[0] == 0.0 and left[0] > left[1]


def test_service_of_a_constant_rate(frame):
    found = model.comebacks(frame)
    hazard = np.full((2, len(found.edges)), 0.3)
    holds, years = found.service(hazard, HORIZON_YEARS)
    # exp(-0.9) and (1 - exp(-0.9))/0.3 [calc]
    np.testing.assert_allclose(holds, 0.4065696597405991, rtol=1e-12)
    np.testing.assert_allclose(years, 1.978101134198003, rtol=1e-12)
    uneven = np.array([[0.1, 0.4, 0.2, 0.3, 0.5]])[:, : len(found.edges)]
    for until in (0.1, 1.0, 3.0):
        np.testing.assert_allclose(found.holding(uneven, np.array([until]))[:, 0], found.service(uneven, until)[0], rtol=1e-12)


def test_shipped_data_is_there():
    assert len(lifelines.datasets.load_diabetes()) == 731
    assert isinstance(lifelines.datasets.load_rossi(), pd.DataFrame)
