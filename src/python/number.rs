//! Numbers that make a value object or an argument of a call: one each, of any kind that numpy takes as a real number, told by name.
//! What range is allowed is the object's affair.

use super::array::number_of;
use super::errors::input_error;
use crate::error::InputError;
use crate::response::linear::AUDIBLE_BAND_HZ;
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
        self.told(|| format!("{place}: {name}"), ARRAYS)
    }

    /// Its value as an argument of a call.
    pub(super) fn argument(&self, name: &str) -> PyResult<f64> {
        self.told(|| name.to_owned(), ONE)
    }

    fn told(&self, place: impl Fn() -> String, arrays: &str) -> PyResult<f64> {
        match self {
            Self::Default(value) => Ok(*value),
            Self::Given(object) => match object.cast::<PyFloat>() {
                // most are: without a word about their place
                Ok(number) => Ok(number.value()),
                Err(_) => one(object, &place(), arrays),
            },
        }
    }
}

/// A whole number that is an argument of a call, as it was given, or its default.
pub(super) enum Whole<'py> {
    Default(u64),
    Given(Bound<'py, PyAny>),
}

impl<'a, 'py> FromPyObject<'a, 'py> for Whole<'py> {
    type Error = PyErr;

    fn extract(object: Borrowed<'a, 'py, PyAny>) -> PyResult<Self> {
        Ok(Self::Given(object.to_owned()))
    }
}

impl Whole<'_> {
    /// Its value.
    pub(super) fn argument(&self, name: &str) -> PyResult<u64> {
        match self {
            Self::Default(value) => Ok(*value),
            Self::Given(object) if object.cast::<PyBool>().is_err() => {
                object.extract::<u64>().map_err(|_| Self::fault(object, name))
            }
            Self::Given(object) => Err(Self::fault(object, name)),
        }
    }

    /// Its value as a count.
    pub(super) fn count(&self, name: &str) -> PyResult<usize> {
        Ok(usize::try_from(self.argument(name)?).unwrap_or(usize::MAX))
    }

    fn fault(object: &Bound<'_, PyAny>, name: &str) -> PyErr {
        let found = object.repr().map_or_else(|_| "what cannot be shown".to_owned(), |text| text.to_string());
        input_error(object.py(), InputError::new(name, found, "allowed: a whole number, zero or more, below 2^64"))
    }
}

/// A band of frequencies, Hz, as an argument `band_hz`.
#[derive(Clone, Copy)]
pub(super) struct Band(pub(super) (f64, f64));

impl Band {
    pub(super) const AUDIBLE: Self = Self(AUDIBLE_BAND_HZ);
}

impl<'a, 'py> FromPyObject<'a, 'py> for Band {
    type Error = PyErr;

    fn extract(object: Borrowed<'a, 'py, PyAny>) -> PyResult<Self> {
        let (low, high) = both(&object, "band_hz")?;
        if low > 0.0 && high > low && high.is_finite() {
            return Ok(Self((low, high)));
        }
        let allowed = "allowed: (low, high) in Hz with 0 < low < high";
        Err(input_error(object.py(), InputError::new("band_hz", format!("({low}, {high})"), allowed)))
    }
}

const ONE: &str = "allowed: one number";
const ARRAYS: &str = "allowed: one number; arrays go into contacts={...} of the calls, or into their emf_v";

fn one(object: &Bound<'_, PyAny>, place: &str, arrays: &str) -> PyResult<f64> {
    let fault = |value: String, allowed: &str| input_error(object.py(), InputError::new(place, value, allowed));
    if object.is_none() || object.cast::<PyBool>().is_ok() {
        return Err(fault(object.str()?.to_string(), "allowed: a number"));
    }
    if object.cast::<PyString>().is_ok() {
        return Err(fault(object.repr()?.to_string(), "allowed: a number; its unit is in the name"));
    }
    if object.cast::<PyList>().is_ok() || object.cast::<PyTuple>().is_ok() {
        return Err(fault(format!("{} of {}", object.get_type().name()?, object.len()?), arrays));
    }
    number_of(place, object)?.map_err(|shape| fault(format!("an array of shape {shape:?}"), arrays))
}

/// A pair of numbers, low and high.
pub(super) fn pair(object: &Bound<'_, PyAny>, place: &str, name: &str) -> PyResult<(f64, f64)> {
    both(object, &format!("{place}: {name}"))
}

fn both(object: &Bound<'_, PyAny>, place: &str) -> PyResult<(f64, f64)> {
    let Ok((low, high)) = object.extract::<(Bound<'_, PyAny>, Bound<'_, PyAny>)>() else {
        let allowed = "allowed: a pair (low, high)";
        return Err(input_error(object.py(), InputError::new(place, object.repr()?, allowed)));
    };
    Ok((one(&low, &format!("{place}: low"), ONE)?, one(&high, &format!("{place}: high"), ONE)?))
}
