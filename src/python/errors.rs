//! Exceptions: bad input with its place, and a panic of ours as an error that can be caught.

use crate::error::InputError as CoreError;
use pyo3::create_exception;
use pyo3::exceptions::PyException;
use pyo3::prelude::*;
use std::panic::{AssertUnwindSafe, catch_unwind};

create_exception!(weaklink, WeaklinkError, PyException, told!("WeaklinkError"));
create_exception!(weaklink, InputError, WeaklinkError, told!("InputError"));
create_exception!(weaklink, InternalError, WeaklinkError, told!("InternalError"));

pub(super) fn register(module: &Bound<'_, PyModule>) -> PyResult<()> {
    let py = module.py();
    module.add("WeaklinkError", py.get_type::<WeaklinkError>())?;
    module.add("InputError", py.get_type::<InputError>())?;
    module.add("InternalError", py.get_type::<InternalError>())
}

/// One or more faults as one exception.
pub(super) fn input_errors(py: Python<'_>, faults: &[CoreError]) -> PyErr {
    let text: Vec<_> = faults.iter().map(ToString::to_string).collect();
    let error = InputError::new_err(text.join("\n"));
    let fill = || -> PyResult<()> {
        let value = error.value(py);
        let row = |f: &CoreError| (f.file.clone(), f.line, f.place.clone(), f.value.clone(), f.allowed.clone());
        if let Some(first) = faults.first() {
            value.setattr("place", &first.place)?;
            value.setattr("value", &first.value)?;
            value.setattr("allowed", &first.allowed)?;
            value.setattr("file", &first.file)?;
            value.setattr("line", first.line)?;
        }
        value.setattr("faults", faults.iter().map(row).collect::<Vec<_>>())
    };
    match fill() {
        Ok(()) => error,
        Err(other) => other,
    }
}

pub(super) fn input_error(py: Python<'_>, fault: CoreError) -> PyErr {
    input_errors(py, &[fault])
}

/// Runs `work`; a panic inside it becomes an `InternalError`.
pub(super) fn guarded<T>(work: impl FnOnce() -> T) -> PyResult<T> {
    catch_unwind(AssertUnwindSafe(work)).map_err(|cause| {
        let text = cause
            .downcast_ref::<&str>()
            .map(ToString::to_string)
            .or_else(|| cause.downcast_ref::<String>().cloned())
            .unwrap_or_else(|| "unknown cause".to_owned());
        InternalError::new_err(format!("weaklink failed inside: {text}"))
    })
}
