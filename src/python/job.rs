//! Job sheets and assessments; the answer crosses as JSON and becomes plain frozen objects in the package.

use super::errors::{InternalError, guarded, input_error, input_errors};
use crate::bench::quantity::{self, Dimension};
use crate::job;
use pyo3::prelude::*;
use std::path::PathBuf;

/// A job sheet, read and checked.
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Job(job::Job);

fn reread(py: Python<'_>, text: &str, file: &str, readings: Option<(String, String)>) -> PyResult<Job> {
    let find = |name: &str| match &readings {
        Some((known, text)) if known == name => Ok(text.clone()),
        _ => Err(std::io::Error::new(std::io::ErrorKind::NotFound, "no such readings were given")),
    };
    let read = py.detach(|| guarded(|| job::read(text, file, &find)))?;
    read.map(Job).map_err(|faults| input_errors(py, &faults))
}

#[pymethods]
impl Job {
    /// Reads a sheet from its text.
    #[staticmethod]
    #[pyo3(signature = (text, *, file="sheet", readings=None))]
    fn from_text(py: Python<'_>, text: &str, file: &str, readings: Option<(String, String)>) -> PyResult<Self> {
        reread(py, text, file, readings)
    }
    #[getter]
    fn title(&self) -> &str {
        &self.0.title
    }
    #[getter]
    fn file(&self) -> Option<&str> {
        self.0.file.as_deref()
    }
    #[getter]
    fn text(&self) -> &str {
        &self.0.text
    }
    #[getter]
    fn readings(&self) -> Option<(String, String)> {
        self.0.readings_text.clone()
    }
    #[getter]
    fn routes(&self) -> Vec<&str> {
        self.0.routes.iter().map(|route| route.name.as_str()).collect()
    }
    #[getter]
    fn contacts(&self) -> Vec<&str> {
        let items = self.0.sections.iter().flat_map(|section| &section.path);
        items
            .filter_map(|item| match item {
                crate::circuit::PathItem::Contact(contact) => Some(contact.name.as_str()),
                crate::circuit::PathItem::Lead(_) => None,
            })
            .collect()
    }
    fn __repr__(&self) -> String {
        format!("<Job {:?}: {} routes, {} readings>", self.0.title, self.0.routes.len(), self.0.readings.len())
    }
    fn __eq__(&self, other: &Bound<'_, PyAny>) -> bool {
        other.cast::<Self>().is_ok_and(|other| {
            let other = &other.get().0;
            other.text == self.0.text && other.readings_text == self.0.readings_text
        })
    }
    fn __hash__(&self) -> u64 {
        use std::hash::{DefaultHasher, Hash, Hasher};
        let mut hasher = DefaultHasher::new();
        (&self.0.text, &self.0.readings_text).hash(&mut hasher);
        hasher.finish()
    }
    #[allow(clippy::type_complexity)]
    fn __reduce__<'py>(
        slf: &Bound<'py, Self>,
    ) -> PyResult<(Bound<'py, PyAny>, (String, String, Option<(String, String)>))> {
        let make = slf.py().import("weaklink._core")?.getattr("_reread_job")?;
        let job = &slf.get().0;
        let file = job.file.clone().unwrap_or_default();
        Ok((make, (job.text.clone(), file, job.readings_text.clone())))
    }
}

/// Reads a job sheet and the readings file beside it.
#[pyfunction]
pub(super) fn load_job(py: Python<'_>, path: PathBuf) -> PyResult<Job> {
    let read = py.detach(|| guarded(|| job::load(&path)))?;
    read.map(Job).map_err(|faults| input_errors(py, &faults))
}

#[pyfunction]
pub(super) fn _reread_job(py: Python<'_>, text: &str, file: &str, readings: Option<(String, String)>) -> PyResult<Job> {
    reread(py, text, file, readings)
}

/// The assessment of a job, as JSON.
#[pyfunction]
pub(super) fn _assess_json(py: Python<'_>, job: &Bound<'_, Job>) -> PyResult<String> {
    let job = &job.get().0;
    let answer = py.detach(|| guarded(|| job::assess(job)))?;
    let answer = answer.map_err(|fault| input_error(py, fault))?;
    serde_json::to_string(&answer).map_err(|error| InternalError::new_err(error.to_string()))
}

/// A value in engineering form, as the reports print it.
#[pyfunction]
pub(super) fn _engineering(value: f64, unit: &str) -> String {
    let dimension = match unit {
        "V" => Dimension::Voltage,
        "dB" => Dimension::Decibel,
        "%" => Dimension::Ratio,
        _ => Dimension::Resistance,
    };
    quantity::engineering(value, dimension)
}
