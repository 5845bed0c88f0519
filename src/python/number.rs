//! Numbers that make a value object: one each, of any kind that numpy takes as a real number; its range is the object's affair.

use super::array::number_of;
use super::errors::input_error;
use crate::error::InputError;
use pyo3::prelude::*;
use pyo3::types::{PyBool, PyFloat, PyList, PyString, PyTuple};

/// An argument as it was given, or its default.
pub(super) enum Number<'py> {
    Default(f64),
    Given(Bound<'py, PyAny>),
}

impl<'a, 'py> FromPyObject<'a, 'py> for Number<'py> {
    type Error = PyErr;

    fn extract(object: Borrowed<'a, 'py, PyAny>) -> PyResult<Self> {
        Ok(Self::Given(object.to_owned()))
    }
}

impl Number<'_> {
    /// Its value; `place` is what it belongs to: `source`, `contact "relay"`.
    pub(super) fn value(&self, place: &str, name: &str) -> PyResult<f64> {
        match self {
            Self::Default(value) => Ok(*value),
            Self::Given(object) => match object.cast::<PyFloat>() {
                // most are: without a word about their place
                Ok(number) => Ok(number.value()),
                Err(_) => one(object, &format!("{place}: {name}")),
            },
        }
    }
}

const ARRAYS: &str = "allowed: one number; arrays go into contacts={...} of the calls, or into their emf_v";

fn one(object: &Bound<'_, PyAny>, place: &str) -> PyResult<f64> {
    let fault = |value: String, allowed: &str| input_error(object.py(), InputError::new(place, value, allowed));
    if object.is_none() || object.cast::<PyBool>().is_ok() {
        return Err(fault(object.str()?.to_string(), "allowed: a number"));
    }
    if object.cast::<PyString>().is_ok() {
        return Err(fault(object.repr()?.to_string(), "allowed: a number; its unit is in the name"));
    }
    if object.cast::<PyList>().is_ok() || object.cast::<PyTuple>().is_ok() {
        return Err(fault(format!("{} of {}", object.get_type().name()?, object.len()?), ARRAYS));
    }
    number_of(place, object)?.map_err(|shape| fault(format!("an array of shape {shape:?}"), ARRAYS))
}

/// A pair of numbers, low and high.
pub(super) fn pair(object: &Bound<'_, PyAny>, place: &str, name: &str) -> PyResult<(f64, f64)> {
    let place = format!("{place}: {name}");
    let Ok((low, high)) = object.extract::<(Bound<'_, PyAny>, Bound<'_, PyAny>)>() else {
        let allowed = "allowed: a pair (low, high)";
        return Err(input_error(object.py(), InputError::new(place, object.repr()?, allowed)));
    };
    Ok((one(&low, &format!("{place}: low"))?, one(&high, &format!("{place}: high"))?))
}
