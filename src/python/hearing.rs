//! What a listener would notice, on arrays; `weaklink.hearing` has the faces.

use super::array::Domain;
use super::errors::input_error;
use super::physics::over;
use crate::error::InputError;
use crate::response::weighting::Weighting;
use pyo3::prelude::*;

/// One of a list of names, or an error that lists them.
fn chosen<T>(py: Python<'_>, place: &str, name: &str, names: &[&str], found: Option<T>) -> PyResult<T> {
    found.ok_or_else(|| {
        let quoted: Vec<_> = names.iter().map(|name| format!("{name:?}")).collect();
        input_error(py, InputError::new(place, format!("{name:?}"), format!("allowed: {}", quoted.join(", "))))
    })
}

/// Weight of a power at a frequency, dB.
#[pyfunction]
pub(super) fn _weighting_db<'py>(
    py: Python<'py>,
    frequency_hz: Bound<'py, PyAny>,
    weighting: &str,
) -> PyResult<Py<PyAny>> {
    let chosen = chosen(py, "weighting", weighting, &Weighting::NAMES, Weighting::named(weighting))?;
    over(py, "weighting_db", &[("frequency_hz", Domain::Positive, frequency_hz)], move |x| Ok(chosen.db(x[0])))
}
