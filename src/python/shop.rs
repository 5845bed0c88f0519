//! The bench log as arrays, and the shop's decisions.

use super::array::{Domain, run};
use super::errors::{InternalError, input_error};
use super::physics::over;
use crate::bench::Strength;
use crate::bench::kind::Kind;
use crate::hearing::noticeable::LOSS_RULE_DB;
use crate::judgement::needs::{LISTENING_DB, Noticed, SLIGHT_LOSS_DB};
use crate::shop::cost::{Visit, cost_per_good_year};
use crate::shop::log::{BackWhy, COLUMNS, Product, Surroundings};
use crate::shop::place::typical_place;
use crate::shop::remedy::{BreakEven, Remedy, break_even};
use numpy::IntoPyArray;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde_json::json;

/// Reads a log: arrays of the pairs, and the account of its rows as JSON.
#[pyfunction]
pub(super) fn _log_read<'py>(py: Python<'py>, data: &[u8], file: &str) -> PyResult<(Bound<'py, PyDict>, String)> {
    let log = run(py, |watch| crate::shop::read(data, file, watch))?.map_err(|fault| input_error(py, fault))?;
    let account = json!({
        "used": log.used,
        "without_after": log.without_after,
        "set_aside": log.set_aside,
        "faults": log.faults.iter().map(|f| json!([f.row, f.column, f.found, f.allowed, f.row_aside])).collect::<Vec<_>>(),
        "over": log.ends.over,
        "below": log.ends.below,
        "blank": log.ends.blank,
        "currency": log.currency,
        "unknown_columns": log.unknown_columns,
        "columns": log.columns,
        "jobs": log.jobs,
    });
    let out = PyDict::new(py);
    let pairs = log.pairs;
    out.set_item("row", pairs.row.into_pyarray(py))?;
    out.set_item("job", pairs.job.into_pyarray(py))?;
    out.set_item("kind", pairs.kind.into_pyarray(py))?;
    out.set_item("remedy", pairs.remedy.into_pyarray(py))?;
    out.set_item("product", pairs.product.into_pyarray(py))?;
    out.set_item("environment", pairs.environment.into_pyarray(py))?;
    out.set_item("plated", pairs.plated.into_pyarray(py))?;
    out.set_item("dry", pairs.dry.into_pyarray(py))?;
    let [low, high] = pairs.before;
    out.set_item("before_low_ohm", low.into_pyarray(py))?;
    out.set_item("before_high_ohm", high.into_pyarray(py))?;
    let [low, high] = pairs.after;
    out.set_item("after_low_ohm", low.into_pyarray(py))?;
    out.set_item("after_high_ohm", high.into_pyarray(py))?;
    out.set_item("day", pairs.day.into_pyarray(py))?;
    out.set_item("years", pairs.years.into_pyarray(py))?;
    out.set_item("came_back", pairs.came_back.into_pyarray(py))?;
    out.set_item("why_unknown", pairs.why_unknown.into_pyarray(py))?;
    out.set_item("minutes", pairs.minutes.into_pyarray(py))?;
    out.set_item("part_cost", pairs.part_cost.into_pyarray(py))?;
    out.set_item("damage", pairs.damage.into_pyarray(py))?;
    let account = serde_json::to_string(&account).map_err(|error| InternalError::new_err(error.to_string()))?;
    Ok((out, account))
}

/// The table of columns, the words of a log, and what is usual for each kind, as JSON.
#[pyfunction]
pub(super) fn _log_words() -> String {
    let words = |all: Vec<&'static str>| json!(all);
    json!({
        "columns": COLUMNS.iter().map(|c| json!([c.name, c.form.name(), c.example, c.meaning])).collect::<Vec<_>>(),
        "kinds": words(Kind::ALL.iter().map(|w| w.word()).collect()),
        "remedies": words(Remedy::ALL.iter().map(|w| w.word()).collect()),
        "products": words(Product::ALL.iter().map(|w| w.word()).collect()),
        "environments": words(Surroundings::ALL.iter().map(|w| w.word()).collect()),
        "back_why": words(BackWhy::ALL.iter().map(|w| w.word()).collect()),
        "in_order_up_to_ohm": Kind::ALL.iter().map(|k| k.in_order(None).map(|o| o.up_to_ohm)).collect::<Vec<_>>(),
        "in_order_source": Kind::ALL.iter().map(|k| k.in_order(None).map(|o| o.source)).collect::<Vec<_>>(),
        "places": Kind::ALL.iter().map(|k| {
            let p = typical_place(*k);
            json!([p.name, p.source_ohm, p.load_ohm, p.emf_v])
        }).collect::<Vec<_>>(),
    })
    .to_string()
}

/// Below the first nobody hears it, from the second on all models do.
type Ends = (f64, f64);

/// What `assess` takes to be heard at a level at the ear (dB SPL, its own where none is said): the level, then residue (ratio) and
/// loss (dB), each below which nobody hears it and from which all models do.
#[pyfunction]
#[pyo3(signature = (level_db=None))]
pub(super) fn _heard_from(py: Python<'_>, level_db: Option<f64>) -> PyResult<(f64, Ends, Ends)> {
    let level_db = level_db.unwrap_or(LISTENING_DB);
    let noticed = Noticed::at(level_db, Strength::Slight).map_err(|fault| input_error(py, fault))?;
    Ok((level_db, (noticed.never_below, noticed.surely_from), (SLIGHT_LOSS_DB, LOSS_RULE_DB)))
}

/// Resistance above which `to` costs less per good year than `from`: a number, 0 (always) or infinity (never).
#[pyfunction]
pub(super) fn _break_even(before_ohm: Vec<f64>, from_: Vec<f64>, to: Vec<f64>) -> f64 {
    match break_even(&before_ohm, &from_, &to) {
        BreakEven::Always => 0.0,
        BreakEven::Never => f64::INFINITY,
        BreakEven::Above(ohm) => ohm,
    }
}

/// Cost per year of good service; arrays broadcast. Shares and years of zero are refused: they buy nothing.
#[pyfunction]
#[allow(clippy::too_many_arguments)]
pub(super) fn _cost_per_good_year<'py>(
    py: Python<'py>,
    minutes: Bound<'py, PyAny>,
    per_hour: Bound<'py, PyAny>,
    part_cost: Bound<'py, PyAny>,
    damage_share: Bound<'py, PyAny>,
    damage_cost: Bound<'py, PyAny>,
    in_order_share: Bound<'py, PyAny>,
    good_years: Bound<'py, PyAny>,
) -> PyResult<Py<PyAny>> {
    let given = [
        ("minutes", Domain::NotNegative, minutes),
        ("per_hour", Domain::NotNegative, per_hour),
        ("part_cost", Domain::NotNegative, part_cost),
        ("damage_share", Domain::NotNegative, damage_share),
        ("damage_cost", Domain::NotNegative, damage_cost),
        ("in_order_share", Domain::Positive, in_order_share),
        ("good_years", Domain::Positive, good_years),
    ];
    over(py, "cost_per_good_year", &given, |x| {
        let visit = Visit { minutes: x[0], per_hour: x[1], part_cost: x[2], damage_share: x[3], damage_cost: x[4] };
        cost_per_good_year(&visit, x[5], x[6])
    })
}
