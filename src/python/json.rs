//! Between plain Python data and serde values, for `to_dict`, `from_dict`, `repr`, `hash` and pickling.

use super::errors::input_error;
use crate::error::InputError;
use pyo3::prelude::*;
use pyo3::types::{PyBool, PyDict, PyFloat, PyInt, PyList, PyString, PyTuple};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

pub(super) fn to_python<'py>(py: Python<'py>, value: &Value) -> PyResult<Bound<'py, PyAny>> {
    Ok(match value {
        Value::Null => py.None().into_bound(py),
        Value::Bool(flag) => PyBool::new(py, *flag).to_owned().into_any(),
        Value::Number(number) => match number.as_i64() {
            Some(whole) if !number.is_f64() => whole.into_pyobject(py)?.into_any(),
            _ => PyFloat::new(py, number.as_f64().unwrap_or(f64::NAN)).into_any(),
        },
        Value::String(text) => PyString::new(py, text).into_any(),
        Value::Array(items) => {
            let items: Vec<_> = items.iter().map(|item| to_python(py, item)).collect::<PyResult<_>>()?;
            PyList::new(py, items)?.into_any()
        }
        Value::Object(map) => {
            let dict = PyDict::new(py);
            for (key, item) in map {
                dict.set_item(key, to_python(py, item)?)?;
            }
            dict.into_any()
        }
    })
}

fn from_python(place: &str, object: &Bound<'_, PyAny>) -> PyResult<Value> {
    let py = object.py();
    if object.is_none() {
        return Ok(Value::Null);
    }
    if let Ok(flag) = object.cast::<PyBool>() {
        return Ok(Value::Bool(flag.is_true()));
    }
    if let Ok(text) = object.cast::<PyString>() {
        return Ok(Value::String(text.to_string()));
    }
    if object.cast::<PyInt>().is_ok() || object.cast::<PyFloat>().is_ok() {
        let number: f64 = object.extract()?;
        return serde_json::Number::from_f64(number)
            .map(Value::Number)
            .ok_or_else(|| input_error(py, InputError::new(place, number, "allowed: a finite number")));
    }
    if let Ok(dict) = object.cast::<PyDict>() {
        let mut map = Map::new();
        for (key, item) in dict.iter() {
            let key: String = key.extract()?;
            let inner = format!("{place}: {key}");
            map.insert(key, from_python(&inner, &item)?);
        }
        return Ok(Value::Object(map));
    }
    if object.cast::<PyList>().is_ok() || object.cast::<PyTuple>().is_ok() {
        let items: PyResult<Vec<_>> = object.try_iter()?.map(|item| from_python(place, &item?)).collect();
        return Ok(Value::Array(items?));
    }
    let found = object.get_type().name()?.to_string();
    Err(input_error(py, InputError::new(place, found, "allowed: numbers, text, lists and dicts")))
}

pub(super) fn value_of<T: Serialize>(thing: &T) -> Value {
    serde_json::to_value(thing).unwrap_or(Value::Null)
}

pub(super) fn read<T: DeserializeOwned>(place: &str, dict: &Bound<'_, PyAny>) -> PyResult<T> {
    let value = from_python(place, dict)?;
    serde_json::from_value(value).map_err(|error| {
        input_error(dict.py(), InputError::new(place, error, "allowed: what to_dict() of the same class gives"))
    })
}

/// A text as Python writes it: quotes, backslashes and control characters escaped.
pub(super) fn python_string(text: &str) -> String {
    let mut out = String::from("\"");
    for c in text.chars() {
        match c {
            '"' | '\\' => out.extend(['\\', c]),
            _ if c.is_control() && (c as u32) < 0x100 => out += &format!("\\x{:02x}", c as u32),
            '\u{2028}' | '\u{2029}' => out += &format!("\\u{:04x}", c as u32),
            _ => out.push(c),
        }
    }
    out + "\""
}

/// A number as Python writes it.
pub(super) fn python_number(value: f64) -> String {
    if value.is_infinite() { "float(\"inf\")".to_owned() } else { format!("{value:?}") }
}

/// Hash of a value in which zero and negative zero are the same.
pub(super) fn hash_of(value: &Value) -> u64 {
    use std::hash::{DefaultHasher, Hash, Hasher};
    fn feed(value: &Value, hasher: &mut DefaultHasher) {
        match value {
            Value::Number(number) => (number.as_f64().unwrap_or(f64::NAN) + 0.0).to_bits().hash(hasher),
            Value::Array(items) => items.iter().for_each(|item| feed(item, hasher)),
            Value::Object(map) => map.values().for_each(|item| feed(item, hasher)),
            other => other.to_string().hash(hasher),
        }
    }
    let mut hasher = DefaultHasher::new();
    feed(value, &mut hasher);
    hasher.finish()
}

/// Python text of a value, for `repr`.
pub(super) fn python_text(value: &Value) -> String {
    match value {
        Value::Null => "None".to_owned(),
        Value::Bool(flag) => if *flag { "True" } else { "False" }.to_owned(),
        Value::Number(number) => number.to_string(),
        Value::String(text) => python_string(text),
        Value::Array(items) => {
            let items: Vec<_> = items.iter().map(python_text).collect();
            format!("({})", items.join(", "))
        }
        Value::Object(map) => {
            let items: Vec<_> = map.iter().map(|(k, v)| format!("{k}={}", python_text(v))).collect();
            items.join(", ")
        }
    }
}
