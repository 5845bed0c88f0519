//! The one room where whatever comes from Python becomes checked float64 values of one shape.
//!
//! Numbers, lists, integer, float32, strided, Fortran-ordered and read-only arrays, labelled arrays: all are taken as
//! numpy sees them. Complex, text, NaN, infinite and out-of-range values are errors that name the argument.

use super::errors::{guarded, input_error};
use super::out::{self, is_masked};
use crate::error::InputError;
use crate::response::sweep::Values;
use crate::watch::{Stopped, Watch};
use numpy::{Element, IntoPyArray, PyArrayDyn, PyArrayMethods, PyReadonlyArrayDyn, PyUntypedArrayMethods};
use pyo3::IntoPyObjectExt;
use pyo3::PyTypeInfo;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyFloat, PyInt};
use std::ops::Range;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Mutex, OnceLock, PoisonError};
use std::thread::ThreadId;
use std::time::{Duration, Instant};

/// What values an argument may take.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Domain {
    /// finite, above zero
    Positive,
    /// finite, zero or more
    NotNegative,
    /// zero or more, infinity included
    NotNegativeOrInfinite,
    /// above zero, infinity included
    PositiveOrInfinite,
    /// finite
    Finite,
}

impl Domain {
    /// No comparison holds for what is not a number; without branches, so that long arrays go by vectors.
    #[inline]
    pub(super) fn holds(self, value: f64) -> bool {
        match self {
            Self::Positive => (value > 0.0) & (value < f64::INFINITY),
            Self::NotNegative => (0.0..f64::INFINITY).contains(&value),
            Self::NotNegativeOrInfinite => value >= 0.0,
            Self::PositiveOrInfinite => value > 0.0,
            Self::Finite => value.is_finite(),
        }
    }

    fn allowed(self) -> &'static str {
        match self {
            Self::Positive => "allowed: finite, above zero",
            Self::NotNegative => "allowed: finite, zero or more",
            Self::NotNegativeOrInfinite => "allowed: zero or more",
            Self::PositiveOrInfinite => "allowed across the signal: above zero; infinite is open",
            Self::Finite => "allowed: a finite number",
        }
    }
}

/// The first value outside a domain, with its place.
fn first_outside(view: &PyReadonlyArrayDyn<'_, f64>, domain: Domain) -> Option<String> {
    let view = view.as_array();
    let (at, value) = view.indexed_iter().find(|(_, value)| !domain.holds(**value))?;
    let index: Vec<_> = numpy::ndarray::Dimension::slice(&at).iter().map(ToString::to_string).collect();
    Some(format!("{value} at index [{}]", index.join(", ")))
}

enum Held<'py> {
    Scalar(f64),
    /// in C order, aligned
    Array(Bound<'py, PyArrayDyn<f64>>),
}

/// What is such an array already: Python is not asked anything, which is most of the cost of a small call.
fn ready<'a, 'py>(object: &'a Bound<'py, PyAny>) -> Option<&'a Bound<'py, PyArrayDyn<f64>>> {
    let array = object.cast::<PyArrayDyn<f64>>().ok()?;
    // masked arrays and others that numpy's own could be made from go the long way
    let plain = object.get_type().is(PyArrayDyn::<f64>::type_object(object.py()));
    let aligned = array.data() as usize % align_of::<f64>() == 0;
    (plain && aligned && array.ndim() > 0 && array.is_c_contiguous()).then_some(array)
}

/// What numpy takes as real numbers, whatever their values.
fn held<'py>(place: &str, object: &Bound<'py, PyAny>, allowed: &str) -> PyResult<Held<'py>> {
    let py = object.py();
    let fault = |value: String, allowed: &str| input_error(py, InputError::new(place, value, allowed));
    if object.cast::<PyFloat>().is_ok() || object.cast_exact::<PyInt>().is_ok() {
        let number = object.extract::<f64>();
        return Ok(Held::Scalar(number.map_err(|_| fault("a whole number too large".to_owned(), allowed))?));
    }
    if let Some(array) = ready(object) {
        return Ok(Held::Array(array.clone()));
    }
    if is_masked(object) {
        return Err(fault("a masked array".to_owned(), "allowed: an array without a mask; fill it first"));
    }
    let numpy = py.import("numpy")?;
    let array = numpy
        .call_method1("asarray", (object,))
        .map_err(|error| fault(error.value(py).to_string(), "allowed: a number or an array of numbers"))?;
    let kind: String = array.getattr("dtype")?.getattr("kind")?.extract()?;
    if !["f", "i", "u"].contains(&kind.as_str()) {
        let dtype = array.getattr("dtype")?.to_string();
        return Err(fault(format!("values of type {dtype}"), "allowed: real numbers"));
    }
    let kwargs = PyDict::new(py);
    kwargs.set_item("dtype", "float64")?;
    kwargs.set_item("requirements", ("C", "A"))?;
    let array = numpy.call_method("require", (array,), Some(&kwargs))?;
    let array = array.cast_into::<PyArrayDyn<f64>>()?;
    Ok(if array.ndim() == 0 { Held::Scalar(array.extract()?) } else { Held::Array(array) })
}

/// One number; the shape of what is an array.
pub(super) fn number_of(place: &str, object: &Bound<'_, PyAny>) -> PyResult<Result<f64, Vec<usize>>> {
    Ok(match held(place, object, "allowed: a number")? {
        Held::Scalar(value) => Ok(value),
        Held::Array(array) => Err(array.shape().to_vec()),
    })
}

/// An array to read; while another call writes it, it is none.
fn reading<'py>(place: &str, array: &Bound<'py, PyArrayDyn<f64>>) -> PyResult<PyReadonlyArrayDyn<'py, f64>> {
    let in_use = |_| {
        let allowed = "allowed: an array that no other call writes meanwhile";
        input_error(array.py(), InputError::new(place, "an array that another call writes with out=", allowed))
    };
    array.try_readonly().map_err(in_use)
}

/// Arguments on their way to one shape.
pub(super) struct Arguments<'py> {
    py: Python<'py>,
    held: Vec<(String, Held<'py>)>,
}

impl<'py> Arguments<'py> {
    pub(super) fn new(py: Python<'py>) -> Self {
        Self { py, held: Vec::new() }
    }

    /// Takes one argument in; returns its number.
    pub(super) fn add(&mut self, place: &str, object: &Bound<'py, PyAny>, domain: Domain) -> PyResult<usize> {
        let fault = |value: String, allowed: &str| input_error(self.py, InputError::new(place, value, allowed));
        let held = held(place, object, domain.allowed())?;
        match &held {
            Held::Scalar(value) => {
                if !domain.holds(*value) {
                    return Err(fault(value.to_string(), domain.allowed()));
                }
            }
            Held::Array(array) => {
                let view = reading(place, array)?;
                let fine = view.as_slice()?.iter().fold(true, |fine, &value| fine & domain.holds(value));
                let bad = if fine { None } else { first_outside(&view, domain) };
                if let Some(bad) = bad {
                    return Err(fault(bad, domain.allowed()));
                }
            }
        }
        self.held.push((place.to_owned(), held));
        Ok(self.held.len() - 1)
    }

    /// Takes in a number that needs no check.
    pub(super) fn constant(&mut self, value: f64) -> usize {
        self.held.push((String::new(), Held::Scalar(value)));
        self.held.len() - 1
    }

    /// Brings all to one shape.
    pub(super) fn broadcast(self) -> PyResult<Columns<'py>> {
        let mut shape: Vec<usize> = Vec::new();
        let mut shaped_by = "";
        let mut scalar = true;
        for (place, held) in &self.held {
            let Held::Array(array) = held else { continue };
            scalar = false;
            let other = array.shape();
            let dims = shape.len().max(other.len());
            let at = |s: &[usize], k: usize| (k + s.len()).checked_sub(dims).map_or(1, |i| s[i]);
            let mut merged = Vec::with_capacity(dims);
            for k in 0..dims {
                let (a, b) = (at(&shape, k), at(other, k));
                if a != b && a != 1 && b != 1 {
                    let allowed = format!("allowed: a shape that broadcasts with {shape:?} of {shaped_by}");
                    return Err(input_error(self.py, InputError::new(place, format!("shape {other:?}"), allowed)));
                }
                merged.push(if a == 1 { b } else { a });
            }
            shape = merged;
            shaped_by = place;
        }
        let mut columns = Vec::with_capacity(self.held.len());
        for (place, held) in &self.held {
            columns.push(match held {
                Held::Scalar(value) => Column::One(*value),
                Held::Array(array) if array.len() == 1 => Column::One(reading(place, array)?.as_slice()?[0]),
                Held::Array(array) => {
                    if let Some(each) = spread(array.shape(), &shape) {
                        columns.push(Column::Spread(reading(place, array)?, each));
                        continue;
                    }
                    let numpy = self.py.import("numpy")?;
                    let full = numpy.call_method1("broadcast_to", (array, shape.clone()))?;
                    let full = numpy.call_method1("ascontiguousarray", (full,))?;
                    Column::Many(reading(place, &full.cast_into::<PyArrayDyn<f64>>()?)?)
                }
            });
        }
        let size = shape.iter().product();
        Ok(Columns { py: self.py, shape, size, scalar, columns })
    }
}

/// For how many points one after another each value of an array of shape `own` holds in the common shape, where its values
/// follow each other there; `None` where they do not.
fn spread(own: &[usize], common: &[usize]) -> Option<usize> {
    let lead = common.len() - own.len();
    let axis = |k: &usize| own[*k] == common[lead + k] && own[*k] != 1;
    let (first, last) = ((0..own.len()).find(axis)?, (0..own.len()).rfind(axis)?);
    let together = (first..=last).all(|k| own[k] == common[lead + k]);
    together.then(|| common[lead + last + 1..].iter().product())
}

enum Column<'py> {
    One(f64),
    Spread(PyReadonlyArrayDyn<'py, f64>, usize),
    Many(PyReadonlyArrayDyn<'py, f64>),
}

/// Arguments of one shape.
pub(super) struct Columns<'py> {
    py: Python<'py>,
    shape: Vec<usize>,
    /// number of points
    pub(super) size: usize,
    scalar: bool,
    columns: Vec<Column<'py>>,
}

impl<'py> Columns<'py> {
    /// The common shape.
    pub(super) fn shape(&self) -> &[usize] {
        &self.shape
    }

    /// The values of argument `number`.
    pub(super) fn values(&self, number: usize) -> PyResult<Values<'_>> {
        Ok(match &self.columns[number] {
            Column::One(value) => Values::One(*value),
            Column::Many(array) => Values::Many(array.as_slice()?),
            Column::Spread(array, each) => {
                let values = array.as_slice()?;
                if *each == 1 && values.len() == self.size {
                    Values::Many(values)
                } else {
                    Values::Spread(values, *each)
                }
            }
        })
    }

    /// A result that work writes in place: to the caller's array where there is one, which is checked. A large one of its own is numpy's own memory from
    /// the start: not set to zero before it is filled, and on large pages where the system has them.
    pub(super) fn filled<T>(
        &self,
        blank: T,
        to: Option<&Bound<'py, PyAny>>,
        work: impl FnOnce(&mut [T], &dyn Watch) -> Result<(), Stopped> + Send,
    ) -> PyResult<Py<PyAny>>
    where
        T: Element + Copy + Send + Sync + IntoPyObjectExt<'py>,
    {
        let size = self.size;
        if let Some(to) = to {
            out::fill(&out::taken::<T>(to, &self.shape, self.read_from()?)?, work)?;
            return Ok(to.clone().unbind());
        }
        if size < OWN_MEMORY_FROM {
            let out = run(self.py, move |watch| {
                let mut out = vec![blank; size];
                work(&mut out, watch)?;
                Ok(out)
            })?;
            return self.result(out);
        }
        let empty = self.py.import("numpy")?.call_method1("empty", (self.shape.clone(), T::get_dtype(self.py)))?;
        let array = empty.cast_into::<PyArrayDyn<T>>()?;
        out::fill(&array, work)?;
        Ok(array.into_any().unbind())
    }

    /// Addresses of the memory that arguments are read from while work goes on.
    fn read_from(&self) -> PyResult<Vec<Range<usize>>> {
        let mut all = Vec::new();
        for column in &self.columns {
            if let Column::Spread(array, _) | Column::Many(array) = column {
                let ends = array.as_slice()?.as_ptr_range();
                all.push(ends.start as usize..ends.end as usize);
            }
        }
        Ok(all)
    }

    /// A result: a plain number where every argument was one, else an array of the common shape.
    pub(super) fn result<T>(&self, values: Vec<T>) -> PyResult<Py<PyAny>>
    where
        T: Element + Copy + IntoPyObjectExt<'py>,
    {
        if self.scalar {
            return values[0].into_py_any(self.py);
        }
        let array = values.into_pyarray(self.py);
        if self.shape.len() == 1 {
            return Ok(array.into_any().unbind());
        }
        Ok(array.reshape(self.shape.clone())?.into_any().unbind())
    }
}

/// Points from which on numpy is asked for the memory of a result.
const OWN_MEMORY_FROM: usize = 4096;

/// The value of one point.
pub(super) fn at(values: Values<'_>, point: usize) -> f64 {
    values.at(point)
}

/// The first point with `low` above `high`.
pub(super) fn first_above(low: Values<'_>, high: Values<'_>, points: usize) -> Option<usize> {
    const TILE: usize = 512;
    let [mut from, mut to] = [[0.0; TILE]; 2];
    (0..points).step_by(TILE).find_map(|start| {
        let count = TILE.min(points - start);
        low.read(start, &mut from[..count]);
        high.read(start, &mut to[..count]);
        let above = || from[..count].iter().zip(&to[..count]).map(|(low, high)| low > high);
        // all together first: that goes by vectors
        if !above().fold(false, |any, above| any | above) {
            return None;
        }
        above().position(|above| above).map(|place| start + place)
    })
}

/// How long Ctrl-C may wait to be asked for.
const ASKED_EVERY: Duration = Duration::from_millis(20);

/// Asks Python for Ctrl-C, now and then, where signals are its business: on the thread that called, which works with the others.
struct Signals {
    caller: ThreadId,
    /// when the work asked first: what never asks does not need a clock
    began: OnceLock<Instant>,
    /// milliseconds from the beginning at which it is asked next
    next: AtomicU64,
    stopped: AtomicBool,
    error: Mutex<Option<PyErr>>,
}

impl Signals {
    fn new() -> Self {
        Self {
            caller: std::thread::current().id(),
            began: OnceLock::new(),
            next: AtomicU64::new(ASKED_EVERY.as_millis() as u64),
            stopped: AtomicBool::new(false),
            error: Mutex::new(None),
        }
    }
}

impl Watch for Signals {
    fn stop(&self) -> bool {
        if self.stopped.load(Ordering::Relaxed) {
            return true;
        }
        let now = self.began.get_or_init(Instant::now).elapsed();
        if now.as_millis() as u64 >= self.next.load(Ordering::Relaxed) && std::thread::current().id() == self.caller {
            self.next.store((now + ASKED_EVERY).as_millis() as u64, Ordering::Relaxed);
            if let Err(error) = Python::attach(|py| py.check_signals()) {
                *self.error.lock().unwrap_or_else(PoisonError::into_inner) = Some(error);
                self.stopped.store(true, Ordering::Relaxed);
                return true;
            }
        }
        false
    }
}

/// Runs `work` with the interpreter released; Ctrl-C stops it, a panic becomes `InternalError`. The work must ask its watch on the thread that calls.
pub(super) fn run<T: Send>(py: Python<'_>, work: impl FnOnce(&dyn Watch) -> Result<T, Stopped> + Send) -> PyResult<T> {
    let signals = Signals::new();
    let outcome = py.detach(|| guarded(|| work(&signals)))?;
    if let Some(error) = signals.error.into_inner().unwrap_or_else(PoisonError::into_inner) {
        return Err(error);
    }
    outcome.map_err(|stopped| super::errors::InternalError::new_err(stopped.to_string()))
}
