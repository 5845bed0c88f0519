//! Linear answers beside transfer and loss: crosstalk, damping, dissipation, imbalance, the range of loss.

use super::answers::{ByContact, Ready, Statuses, contact_columns, pairs, statused, whole};
use super::array::{Arguments, Domain, at, first_above, run};
use super::errors::{guarded, input_error};
use super::number::Band;
use crate::circuit::chain::Network;
use crate::circuit::{Contact, Role};
use crate::error::InputError;
use crate::response::ceiling::Status;
use crate::response::sweep::Values;
use crate::response::{linear, loss_disc, millivolt, sweep};
use crate::watch::{Stopped, Unwatched, Watch};
use pyo3::prelude::*;
use pyo3::types::PyFloat;

fn over(watch: &dyn Watch, size: usize, one: impl Fn(usize) -> f64) -> Result<Vec<f64>, Stopped> {
    (0..size).map(|point| if watch.stop() { Err(Stopped) } else { Ok(one(point)) }).collect()
}

/// Loss at one frequency, contacts as they are, without what arrays ask for: the same kernel, so the same bits. Nothing where the
/// frequency is no plain number above zero.
pub(super) fn loss_of_one(network: &Network, frequency_hz: &Bound<'_, PyAny>) -> PyResult<Option<f64>> {
    let Ok(number) = frequency_hz.cast_exact::<PyFloat>() else { return Ok(None) };
    let frequency = number.value();
    if !Domain::Positive.holds(frequency) {
        return Ok(None);
    }
    let whole = |contact: &Contact| Values::One(contact.film.resistance_ohm() + contact.constriction_ohm);
    let contacts: Vec<_> = network.contacts.iter().map(whole).collect();
    let mut loss = [0.0];
    let done = guarded(|| sweep::loss_db(network, Values::One(frequency), &contacts, &mut loss, &Unwatched))?;
    Ok(done.ok().map(|()| loss[0]))
}

pub(super) fn crosstalk_db<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    contacts: ByContact<'_, 'py>,
    out: Option<&Bound<'py, PyAny>>,
) -> PyResult<Py<PyAny>> {
    let ready = Ready::new(py, network, frequency_hz, contacts)?;
    ready.evaluate(network, 0.0, out, sweep::crosstalk_db)
}

pub(super) fn imbalance_db<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    left: ByContact<'_, 'py>,
    right: ByContact<'_, 'py>,
) -> PyResult<Py<PyAny>> {
    let loss = |contacts| -> PyResult<Py<PyAny>> {
        let ready = Ready::new(py, network, frequency_hz, contacts)?;
        ready.evaluate(network, 0.0, None, sweep::loss_db)
    };
    Ok(loss(right)?.bind(py).sub(loss(left)?)?.unbind())
}

/// Frequency and contacts as columns, and a value for each point.
fn plain<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    contacts: ByContact<'_, 'py>,
    emf_v: Option<&Bound<'py, PyAny>>,
    law: impl Fn(f64, f64, &[f64]) -> f64 + Send + Sync,
) -> PyResult<Py<PyAny>> {
    let mut arguments = Arguments::new(py);
    let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let emf = match emf_v {
        Some(emf) => arguments.add("emf_v", emf, Domain::NotNegative)?,
        None => arguments.constant(network.emf_v),
    };
    let columns = arguments.broadcast()?;
    let (frequency, emf) = (columns.values(frequency)?, columns.values(emf)?);
    let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
    let size = columns.size;
    let out = run(py, |watch| over(watch, size, |k| law(at(frequency, k), at(emf, k), &whole(network, &values, k))))?;
    columns.result(out)
}

pub(super) fn response_change_db<'py>(
    py: Python<'py>,
    network: &Network,
    contacts: ByContact<'_, 'py>,
    Band(band_hz): Band,
) -> PyResult<Py<PyAny>> {
    let mut arguments = Arguments::new(py);
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let columns = arguments.broadcast()?;
    let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
    let size = columns.size;
    let law = |k| linear::response_change_db(network, &whole(network, &values, k), band_hz);
    let out = run(py, |watch| over(watch, size, law))?;
    columns.result(out)
}

pub(super) fn damping_factor<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    contacts: ByContact<'_, 'py>,
) -> PyResult<Py<PyAny>> {
    plain(py, network, frequency_hz, contacts, None, |f, _, ohm| linear::damping_factor(network, f, ohm))
}

pub(super) fn dissipation_w<'py>(
    py: Python<'py>,
    network: &Network,
    contact: &str,
    frequency_hz: &Bound<'py, PyAny>,
    emf_v: Option<&Bound<'py, PyAny>>,
    contacts: ByContact<'_, 'py>,
) -> PyResult<Py<PyAny>> {
    let index = network.contact_index(contact).map_err(|fault| input_error(py, fault))?;
    plain(py, network, frequency_hz, contacts, emf_v, |f, emf, ohm| linear::dissipation_w(network, index, f, emf, ohm))
}

pub(super) fn millivolt_bound<'py>(
    py: Python<'py>,
    network: &Network,
    contact: &str,
    frequency_hz: &Bound<'py, PyAny>,
    (across_v, load_v): (&Bound<'py, PyAny>, &Bound<'py, PyAny>),
    Band(band_hz): Band,
) -> PyResult<Py<PyAny>> {
    let index = network.contact_index(contact).map_err(|fault| input_error(py, fault))?;
    let mut arguments = Arguments::new(py);
    let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
    let across = arguments.add("across_v", across_v, Domain::NotNegative)?;
    let load = arguments.add("load_v", load_v, Domain::Positive)?;
    let columns = arguments.broadcast()?;
    let (frequency, across, load) = (columns.values(frequency)?, columns.values(across)?, columns.values(load)?);
    let size = columns.size;
    let ohm = network.resistances_ohm();
    let out = run(py, |watch| {
        let mut known = (f64::NAN, Ok(f64::NAN));
        let mut out = Vec::with_capacity(size);
        for point in 0..size {
            if watch.stop() {
                return Err(Stopped);
            }
            let f = at(frequency, point);
            if known.0 != f {
                known = (f, millivolt::millivolt_factor(network, index, f, &ohm, band_hz));
            }
            out.push(known.1.map(|factor| factor * at(across, point) / at(load, point)));
        }
        Ok(out)
    })?;
    if let Some(Err(status)) = out.iter().find(|found| found.is_err()) {
        let place = format!("contact {contact:?}");
        return Err(input_error(py, InputError::new(place, status.word(), status.reason())));
    }
    columns.result(out.into_iter().map(|found| found.unwrap_or(f64::NAN)).collect::<Vec<f64>>())
}

#[doc = told!("LossRange")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct LossRange {
    #[doc = told!("LossRange.low_db")]
    #[pyo3(get)]
    low_db: Py<PyAny>,
    #[doc = told!("LossRange.high_db")]
    #[pyo3(get)]
    high_db: Py<PyAny>,
    statuses: Statuses,
}

statused!(LossRange, applies);

#[pymethods]
impl LossRange {
    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let text = |object: &Py<PyAny>| -> PyResult<String> { Ok(object.bind(py).repr()?.to_string()) };
        let status = self.statuses.words(py)?.repr()?;
        Ok(format!("LossRange(low_db={}, high_db={}, status={status})", text(&self.low_db)?, text(&self.high_db)?))
    }
}

/// Numbers of a contact, and of the columns of its range.
pub(super) type RangeColumns = (usize, usize, usize, String);

/// Takes in the ranges of contacts.
pub(super) fn range_columns<'py>(
    py: Python<'py>,
    network: &Network,
    arguments: &mut Arguments<'py>,
    ranges: ByContact<'_, 'py>,
) -> PyResult<Vec<RangeColumns>> {
    let mut given = Vec::new();
    for (name, range) in pairs(ranges)? {
        let index = network.contact_index(&name).map_err(|fault| input_error(py, fault))?;
        let place = format!("ranges[{name:?}]");
        let (low, high): (Bound<'py, PyAny>, Bound<'py, PyAny>) = range.extract().map_err(|_| {
            input_error(py, InputError::new(&place, range.to_string(), "allowed: a pair (low, high) in ohm"))
        })?;
        let across = network.contacts[index].role == Role::Shunt;
        let domain = if across { Domain::NotNegativeOrInfinite } else { Domain::NotNegative };
        let low = arguments.add(&format!("{place}: low"), &low, domain)?;
        let high = arguments.add(&format!("{place}: high"), &high, Domain::NotNegativeOrInfinite)?;
        given.push((index, low, high, place));
    }
    Ok(given)
}

pub(super) fn loss_range_db<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    ranges: ByContact<'_, 'py>,
    contacts: ByContact<'_, 'py>,
) -> PyResult<LossRange> {
    let mut arguments = Arguments::new(py);
    let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let given = range_columns(py, network, &mut arguments, ranges)?;
    let columns = arguments.broadcast()?;
    let frequency = columns.values(frequency)?;
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
    let out = run(py, |watch| {
        let mut out = Vec::with_capacity(size);
        for point in 0..size {
            if watch.stop() {
                return Err(Stopped);
            }
            let moving: Vec<_> = wanted.iter().map(|&(k, low, high)| (k, (at(low, point), at(high, point)))).collect();
            let fixed = whole(network, &values, point);
            out.push(loss_disc::loss_range_db(network, at(frequency, point), &moving, &fixed));
        }
        Ok(out)
    })?;
    let end = |pick: fn(&(f64, f64)) -> f64| -> Vec<f64> {
        out.iter().map(|found| found.as_ref().map_or(f64::NAN, pick)).collect()
    };
    Ok(LossRange {
        low_db: columns.result(end(|range| range.0))?,
        high_db: columns.result(end(|range| range.1))?,
        statuses: Statuses::new(&columns, out.iter().map(|found| found.err().unwrap_or(Status::Holds)))?,
    })
}
