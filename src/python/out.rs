//! `out=`: the caller's array that an answer is written to.

use super::array::run;
use super::errors::input_error;
use crate::error::InputError;
use crate::watch::{Stopped, Watch};
use numpy::{BorrowError, Element, PyArrayDyn, PyArrayMethods, PyUntypedArray, PyUntypedArrayMethods};
use pyo3::prelude::*;
use std::ops::Range;

/// Whether this is an array with a mask: `np.ma.masked` and classes of a user's own are MaskedArrays too.
pub(super) fn is_masked(object: &Bound<'_, PyAny>) -> bool {
    let masked =
        |class: Bound<'_, PyAny>| class.getattr("__name__").is_ok_and(|name| name.eq("MaskedArray").unwrap_or(false));
    object.get_type().mro().iter().any(masked)
}

fn refused(py: Python<'_>, value: impl Into<String>, allowed: impl Into<String>) -> PyErr {
    input_error(py, InputError::new("out", value.into(), allowed.into()))
}

/// The caller's array: of this shape, in C order, and none of the memory that arguments are `read` from, addresses.
pub(super) fn taken<'py, T: Element>(
    to: &Bound<'py, PyAny>,
    shape: &[usize],
    read: impl IntoIterator<Item = Range<usize>>,
) -> PyResult<Bound<'py, PyArrayDyn<T>>> {
    let py = to.py();
    let allowed = || format!("allowed: a numpy array of {}", T::get_dtype(py));
    if is_masked(to) {
        return Err(refused(py, "a masked array", allowed()));
    }
    let Ok(array) = to.cast::<PyArrayDyn<T>>() else {
        let found = match to.cast::<PyUntypedArray>() {
            Ok(array) => format!("values of type {}", array.dtype()),
            Err(_) => format!("an object of type {}", to.get_type().name()?),
        };
        return Err(refused(py, found, allowed()));
    };
    if array.shape() != shape {
        return Err(refused(py, format!("shape {:?}", array.shape()), format!("allowed: shape {shape:?}")));
    }
    let from = array.data() as usize;
    if !array.is_c_contiguous() || from % align_of::<T>() != 0 {
        return Err(refused(py, "values that do not lie one after another", "allowed: C order, aligned"));
    }
    // numpy's borrows go by the object that owns the memory, and one memory can have several
    let written = from..from + array.len() * size_of::<T>();
    if read.into_iter().any(|read| read.start < written.end && written.start < read.end) {
        return Err(refused(
            py,
            "memory that an argument is read from",
            "allowed: an array that shares none with the arguments",
        ));
    }
    Ok(array.clone())
}

/// Lets work write an array.
pub(super) fn fill<T: Element + Send>(
    array: &Bound<'_, PyArrayDyn<T>>,
    work: impl FnOnce(&mut [T], &dyn Watch) -> Result<(), Stopped> + Send,
) -> PyResult<()> {
    let py = array.py();
    let in_use = |error: BorrowError| match error {
        BorrowError::NotWriteable => refused(py, "a read-only array", "allowed: an array that can be written"),
        _ => refused(
            py,
            "an array that another call uses",
            "allowed: an array that no other call reads or writes meanwhile",
        ),
    };
    let mut view = array.try_readwrite().map_err(in_use)?;
    let out = view.as_slice_mut()?;
    run(py, |watch| work(out, watch))
}
