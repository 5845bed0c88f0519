//! Film laws from measurements: current-voltage points, harmonics.

use super::array::{Arguments, Domain, at, run};
use super::errors::{InternalError, input_error};
use crate::bench::{fit, harmonics};
use pyo3::prelude::*;

/// Numbers of one argument, flattened.
pub(super) fn flat<'py>(
    py: Python<'py>,
    place: &str,
    object: &Bound<'py, PyAny>,
    domain: Domain,
) -> PyResult<Vec<f64>> {
    let mut arguments = Arguments::new(py);
    let number = arguments.add(place, object, domain)?;
    let columns = arguments.broadcast()?;
    let values = columns.values(number)?;
    Ok((0..columns.size).map(|k| at(values, k)).collect())
}

fn json<T: serde::Serialize>(value: &T) -> PyResult<String> {
    serde_json::to_string(value).map_err(|error| InternalError::new_err(error.to_string()))
}

/// Fit of every law to points, as JSON.
#[pyfunction]
pub(super) fn _fit_film_json<'py>(
    py: Python<'py>,
    voltage_v: &Bound<'py, PyAny>,
    current_a: &Bound<'py, PyAny>,
    sd_v: Option<&Bound<'py, PyAny>>,
) -> PyResult<String> {
    let voltage = flat(py, "voltage_v", voltage_v, Domain::Finite)?;
    let current = flat(py, "current_a", current_a, Domain::Finite)?;
    let sd = sd_v.map(|sd| flat(py, "sd_v", sd, Domain::Positive)).transpose()?;
    let found = run(py, |watch| match fit::fit_film_watched(&voltage, &current, sd.as_deref(), watch) {
        Ok(Err(stopped)) => Err(stopped),
        Ok(Ok(found)) => Ok(Ok(found)),
        Err(fault) => Ok(Err(fault)),
    })?;
    json(&found.map_err(|fault| input_error(py, fault))?)
}

/// The law from harmonics, as JSON.
#[pyfunction]
pub(super) fn _harmonics_json(
    py: Python<'_>,
    first_v: f64,
    second_v: f64,
    third_v: f64,
    floor_v: f64,
) -> PyResult<String> {
    let told = harmonics::law_from_harmonics(first_v, second_v, third_v, floor_v);
    json(&told.map_err(|fault| input_error(py, fault))?)
}
