//! What sections and chains answer: arguments of one shape, kernels, ceilings.

use super::array::{Arguments, Columns, Domain, at, first_above, run};
use super::errors::input_error;
use super::number::{Band, Number};
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::error::InputError;
use crate::response::ceiling::{self as bounds, Status};
use crate::response::ceilings::{Asked, ceilings};
use crate::response::distortion::Outcome;
use crate::response::sweep::Values;
use numpy::PyReadonlyArrayDyn;
use pyo3::prelude::*;
use pyo3::types::{PyMapping, PyString};

/// A mapping of contact names, or nothing.
pub(super) type ByContact<'a, 'py> = Option<&'a Bound<'py, PyMapping>>;

pub(super) fn pairs<'py>(mapping: ByContact<'_, 'py>) -> PyResult<Vec<(String, Bound<'py, PyAny>)>> {
    let Some(mapping) = mapping else {
        return Ok(Vec::new());
    };
    mapping.items()?.iter().map(|item| item.extract()).collect()
}

/// Whole resistance of every contact: what the caller gave, else its own; returns the arguments' numbers.
pub(super) fn contact_columns<'py>(
    py: Python<'py>,
    network: &Network,
    arguments: &mut Arguments<'py>,
    contacts: ByContact<'_, 'py>,
) -> PyResult<Vec<usize>> {
    let mut numbers = vec![None; network.contacts.len()];
    for (name, values) in pairs(contacts)? {
        let index = network.contact_index(&name).map_err(|fault| input_error(py, fault))?;
        let place = format!("contacts[{name:?}]");
        let across = network.contacts[index].role == Role::Shunt;
        let domain = if across { Domain::PositiveOrInfinite } else { Domain::NotNegative };
        numbers[index] = Some(arguments.add(&place, &values, domain)?);
    }
    let own = network.contacts.iter().zip(numbers);
    Ok(own.map(|(c, number)| number.unwrap_or_else(|| arguments.constant(c.film.resistance_ohm()))).collect())
}

/// Adds each contact's constriction to a column of film resistances, only where there is one.
pub(super) fn with_constriction<'a>(values: Values<'a>, constriction: f64, store: &'a mut Vec<f64>) -> Values<'a> {
    match values {
        Values::One(value) => Values::One(value + constriction),
        Values::Many(values) if constriction != 0.0 => {
            store.extend(values.iter().map(|v| v + constriction));
            Values::Many(store)
        }
        Values::Spread(values, each) if constriction != 0.0 => {
            store.extend(values.iter().map(|value| value + constriction));
            Values::Spread(store, each)
        }
        many @ (Values::Many(_) | Values::Spread(..)) => many,
    }
}

/// Columns of an evaluation over frequency and contacts.
pub(super) struct Ready<'py> {
    pub(super) columns: Columns<'py>,
    frequency: usize,
    contacts: Vec<usize>,
}

impl<'py> Ready<'py> {
    pub(super) fn new(
        py: Python<'py>,
        network: &Network,
        frequency_hz: &Bound<'py, PyAny>,
        contacts: ByContact<'_, 'py>,
    ) -> PyResult<Self> {
        let mut arguments = Arguments::new(py);
        let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
        let contacts = contact_columns(py, network, &mut arguments, contacts)?;
        Ok(Self { columns: arguments.broadcast()?, frequency, contacts })
    }

    /// The kernel's answer at every point, as Python sees it, in the caller's array where there is one.
    pub(super) fn evaluate<T>(
        &self,
        network: &Network,
        blank: T,
        to: Option<&Bound<'py, PyAny>>,
        kernel: impl Fn(
            &Network,
            Values<'_>,
            &[Values<'_>],
            &mut [T],
            &dyn crate::watch::Watch,
        ) -> Result<(), crate::watch::Stopped>
        + Send
        + Sync,
    ) -> PyResult<Py<PyAny>>
    where
        T: numpy::Element + Copy + Send + Sync + pyo3::IntoPyObjectExt<'py>,
    {
        let frequency = self.columns.values(self.frequency)?;
        let mut stores = vec![Vec::new(); self.contacts.len()];
        let mut values = Vec::with_capacity(self.contacts.len());
        for ((&number, contact), store) in self.contacts.iter().zip(&network.contacts).zip(&mut stores) {
            values.push(with_constriction(self.columns.values(number)?, contact.constriction_ohm, store));
        }
        self.columns.filled(blank, to, |out, watch| kernel(network, frequency, &values, out, watch))
    }
}

/// Whole resistance of every contact at one point.
pub(super) fn whole(network: &Network, values: &[Values<'_>], point: usize) -> Vec<f64> {
    values.iter().zip(&network.contacts).map(|(v, c)| at(*v, point) + c.constriction_ohm).collect()
}

pub(super) fn ceiling<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    ranges: ByContact<'_, 'py>,
    emf_v: Option<&Bound<'py, PyAny>>,
    contacts: ByContact<'_, 'py>,
    (Band(band_hz), other_channel): (Band, Option<Number<'py>>),
) -> PyResult<Ceiling> {
    let other_channel = other_channel.map(|ratio| ratio.argument("other_channel")).transpose()?;
    if let Some(ratio) = other_channel.filter(|ratio| !ratio.is_finite()) {
        let allowed = "allowed: a finite number: the other channel's EMF over this one's; None for another programme";
        return Err(input_error(py, InputError::new("other_channel", ratio, allowed)));
    }
    let mut arguments = Arguments::new(py);
    let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let emf = match emf_v {
        Some(emf) => arguments.add("emf_v", emf, Domain::NotNegative)?,
        None => arguments.constant(network.emf_v),
    };
    let given = super::linear::range_columns(py, network, &mut arguments, ranges)?;
    let columns = arguments.broadcast()?;
    let frequency = columns.values(frequency)?;
    let emf = columns.values(emf)?;
    let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
    let mut wanted = Vec::new();
    for (index, low, high, place) in &given {
        let (low, high) = (columns.values(*low)?, columns.values(*high)?);
        if let Some(point) = first_above(low, high, columns.size) {
            let found = format!("low {} above high {}", at(low, point), at(high, point));
            return Err(input_error(py, InputError::new(place, found, "allowed: low at most high")));
        }
        wanted.push((*index, low, high));
    }
    let size = columns.size;
    let asked = Asked {
        network,
        frequency_hz: frequency,
        emf_v: emf,
        film_ohm: &values,
        ranges: ranges.is_some().then_some(&wanted[..]),
        band_hz,
        other_channel,
    };
    let out = run(py, |watch| ceilings(&asked, size, watch))?;
    Ok(Ceiling {
        statuses: Statuses::new(&columns, out.status.iter().copied())?,
        harmonics: columns.result(out.harmonics)?,
        chatter: columns.result(out.chatter)?,
    })
}

/// Numbers of statuses, one per point, with their words and sentences.
pub(super) struct Statuses {
    numbers: Py<PyAny>,
    words: &'static [&'static str],
    reasons: &'static [&'static str],
}

impl Statuses {
    pub(super) fn new(columns: &Columns<'_>, statuses: impl Iterator<Item = Status>) -> PyResult<Self> {
        let numbers = columns.result(statuses.map(|status| status as u8).collect::<Vec<_>>())?;
        Ok(Self { numbers, words: &Status::WORDS, reasons: &Status::REASONS })
    }

    /// Statuses of a solver.
    pub(super) fn of_outcomes(columns: &Columns<'_>, outcomes: impl Iterator<Item = Outcome>) -> PyResult<Self> {
        let numbers = columns.result(outcomes.map(|outcome| outcome as u8).collect::<Vec<_>>())?;
        Ok(Self { numbers, words: &Outcome::WORDS, reasons: &Outcome::REASONS })
    }

    /// The same by number.
    pub(super) fn of_numbers(columns: &Columns<'_>, outcomes: Vec<u8>) -> PyResult<Self> {
        Ok(Self { numbers: columns.result(outcomes)?, words: &Outcome::WORDS, reasons: &Outcome::REASONS })
    }

    /// Whether the status is the first one, the good one.
    pub(super) fn applies(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        Ok(self.numbers.bind(py).rich_compare(0, pyo3::basic::CompareOp::Eq)?.unbind())
    }

    pub(super) fn words<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let bound = self.numbers.bind(py);
        if let Ok(one) = bound.extract::<usize>() {
            return Ok(PyString::new(py, self.words[one]).into_any());
        }
        let array: PyReadonlyArrayDyn<'py, u8> = bound.extract()?;
        let words: Vec<_> = array.as_array().iter().map(|&k| self.words[usize::from(k)]).collect();
        py.import("numpy")?.call_method1("array", (words,))?.call_method1("reshape", (bound.getattr("shape")?,))
    }

    pub(super) fn reason(&self, py: Python<'_>, index: Option<&Bound<'_, PyAny>>) -> PyResult<&'static str> {
        let bound = self.numbers.bind(py);
        let number: usize = match bound.extract() {
            Ok(one) => one,
            Err(_) => match index {
                Some(index) => bound.get_item(index)?.extract()?,
                None => bound.call_method0("max")?.extract()?,
            },
        };
        Ok(self.reasons[number])
    }
}

/// What every answer with statuses has in Python: whether it can be taken as it is (under the name that fits), the words, the reasons.
macro_rules! statused {
    ($class:ident, $flag:ident) => {
        #[pymethods]
        impl $class {
            #[doc = told!(stringify!($class), ".", stringify!($flag))]
            #[getter]
            fn $flag(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
                self.statuses.applies(py)
            }
            #[doc = told!(stringify!($class), ".status")]
            #[getter]
            fn status<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
                self.statuses.words(py)
            }
            #[doc = told!(stringify!($class), ".reason")]
            #[pyo3(signature = (index=None))]
            fn reason(&self, py: Python<'_>, index: Option<&Bound<'_, PyAny>>) -> PyResult<&'static str> {
                self.statuses.reason(py, index)
            }
        }
    };
}
pub(super) use statused;

#[doc = told!("Ceiling")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Ceiling {
    #[doc = told!("Ceiling.harmonics")]
    #[pyo3(get)]
    harmonics: Py<PyAny>,
    #[doc = told!("Ceiling.chatter")]
    #[pyo3(get)]
    chatter: Py<PyAny>,
    statuses: Statuses,
}

statused!(Ceiling, applies);

#[pymethods]
impl Ceiling {
    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let text = |object: &Py<PyAny>| -> PyResult<String> { Ok(object.bind(py).repr()?.to_string()) };
        Ok(format!(
            "Ceiling(harmonics={}, chatter={}, status={})",
            text(&self.harmonics)?,
            text(&self.chatter)?,
            self.statuses.words(py)?.repr()?
        ))
    }
}

pub(super) fn of_array<'py>(
    py: Python<'py>,
    place: &str,
    object: &Bound<'py, PyAny>,
    law: fn(f64) -> f64,
) -> PyResult<Py<PyAny>> {
    let mut arguments = Arguments::new(py);
    let number = arguments.add(place, object, Domain::NotNegative)?;
    let columns = arguments.broadcast()?;
    let values = columns.values(number)?;
    columns.result((0..columns.size).map(|k| law(at(values, k))).collect::<Vec<_>>())
}

#[doc = told!("residue_from_loss_range")]
#[pyfunction]
pub(super) fn residue_from_loss_range<'py>(py: Python<'py>, range_db: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
    of_array(py, "range_db", range_db, bounds::residue_from_loss_range)
}

#[doc = told!("loss_range_for_residue")]
#[pyfunction]
pub(super) fn loss_range_for_residue<'py>(py: Python<'py>, residue: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
    of_array(py, "residue", residue, bounds::loss_range_for_residue)
}
