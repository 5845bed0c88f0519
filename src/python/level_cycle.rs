//! Levels up, down and after a rest; what tells one law from another.

use super::answers::{ByContact, Statuses};
use super::array::{Arguments, Domain, at, run};
use super::errors::input_error;
use super::number::Number;
use super::steady::{AtLevel, Distortion, over_points, wrap};
use crate::circuit::chain::Network;
use crate::error::InputError;
use crate::physics::Film;
use crate::response::distortion::{self, Distortion as One};
use crate::response::distortion_many::Distortions;
use crate::response::level_cycle::{self as cycles, Breakdown, Step};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyMapping};

/// Peak voltage at which bridges are pinned where nobody says, V: inside 0.1 to 0.45 V, Holm 1967 \[memory\].
const PINNED_V: f64 = 0.2;

#[doc = told!("LevelCycle")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct LevelCycle {
    #[doc = told!("LevelCycle.emf_v")]
    #[pyo3(get)]
    emf_v: Py<PyAny>,
    #[doc = told!("LevelCycle.up")]
    #[pyo3(get)]
    up: Py<Distortion>,
    #[doc = told!("LevelCycle.down")]
    #[pyo3(get)]
    down: Py<Distortion>,
    #[doc = told!("LevelCycle.after_rest")]
    #[pyo3(get)]
    after_rest: Py<Distortion>,
    #[doc = told!("LevelCycle.bridge_ohm")]
    #[pyo3(get)]
    bridge_ohm: Py<PyDict>,
    #[doc = told!("LevelCycle.unique")]
    #[pyo3(get)]
    unique: Py<PyAny>,
}

#[pymethods]
impl LevelCycle {
    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let text = |object: &Py<PyAny>| -> PyResult<String> { Ok(object.bind(py).repr()?.to_string()) };
        Ok(format!("LevelCycle(emf_v={}, unique={})", text(&self.emf_v)?, text(&self.unique)?))
    }
}

/// Voltages by contact: a mapping, or one number for every film that is not a bridge yet.
fn by_contact(
    py: Python<'_>,
    network: &Network,
    place: &str,
    object: &Bound<'_, PyAny>,
) -> PyResult<Vec<(usize, f64)>> {
    let fault = |found: String, allowed: &str| input_error(py, InputError::new(place, found, allowed));
    if let Ok(mapping) = object.cast::<PyMapping>() {
        let mut all = Vec::new();
        for (name, value) in super::answers::pairs(Some(mapping))? {
            let index = network.contact_index(&name).map_err(|e| input_error(py, e.within(place)))?;
            let number = value.extract::<f64>().map_err(|_| fault(value.to_string(), "allowed: volts, V peak"))?;
            if matches!(network.contacts[index].film, Film::Ohmic { .. } | Film::Bridged { .. }) {
                let law = network.contacts[index].film.law();
                return Err(fault(
                    format!("contact {name:?} is {law}"),
                    "allowed: a contact with a film that can break",
                ));
            }
            all.push((index, number));
        }
        return Ok(all);
    }
    let number = object
        .extract::<f64>()
        .map_err(|_| fault(object.to_string(), "allowed: volts, V peak, or a mapping of contact names to volts"))?;
    let films = network.contacts.iter().enumerate();
    Ok(films
        .filter(|(_, c)| !matches!(c.film, Film::Ohmic { .. } | Film::Bridged { .. }))
        .map(|(k, _)| (k, number))
        .collect())
}

#[doc = told!("level_cycle")]
#[pyfunction]
#[pyo3(
    signature = (system, emf_v, *, frit_v, pinned_v=None, frequency_hz=Number::Default(1000.0)),
    text_signature = "(system, emf_v, *, frit_v, pinned_v=None, frequency_hz=1000.0)"
)]
pub(super) fn level_cycle<'py>(
    py: Python<'py>,
    system: &Bound<'py, PyAny>,
    emf_v: &Bound<'py, PyAny>,
    frit_v: &Bound<'py, PyAny>,
    pinned_v: Option<Number<'_>>,
    frequency_hz: Number<'_>,
) -> PyResult<LevelCycle> {
    let frequency_hz = frequency_hz.argument("frequency_hz")?;
    let pinned_v = pinned_v.map(|volts| volts.argument("pinned_v")).transpose()?;
    let network = super::system::network_of(py, system)?;
    let mut arguments = Arguments::new(py);
    let levels = arguments.add("emf_v", emf_v, Domain::Positive)?;
    let columns = arguments.broadcast()?;
    let levels: Vec<f64> =
        (0..columns.size).map(|k| columns.values(levels).map(|v| at(v, k))).collect::<PyResult<_>>()?;
    if !(frequency_hz.is_finite() && frequency_hz > 0.0) {
        return Err(input_error(py, InputError::new("frequency_hz", frequency_hz, "allowed: finite, above zero")));
    }
    let broken = by_contact(py, network, "frit_v", frit_v)?;
    if broken.is_empty() {
        let allowed = "allowed: a system with a contact whose film can break down";
        return Err(input_error(py, InputError::new("system", "no tunnelling or rectifying film", allowed)));
    }
    let breakdowns: Vec<Breakdown> = broken
        .iter()
        .map(|&(contact, frit_v)| Breakdown { contact, frit_v, pinned_v: pinned_v.unwrap_or(PINNED_V.min(frit_v)) })
        .collect();
    let film_ohm: Vec<f64> = network.contacts.iter().map(|c| c.film.resistance_ohm()).collect();
    let cycle =
        run(py, |watch| match cycles::level_cycle(network, &film_ohm, (frequency_hz, &levels), &breakdowns, watch) {
            Ok(Ok(cycle)) => Ok(Ok(cycle)),
            Ok(Err(stopped)) => Err(stopped),
            Err(fault) => Ok(Err(fault)),
        })?
        .map_err(|fault| input_error(py, fault))?;
    let leg = |steps: &[Step]| -> PyResult<Py<Distortion>> {
        let all: Vec<One> = steps.iter().map(|step| step.distortion.clone()).collect();
        Py::new(py, wrap(py, network, &columns, Distortions::of(&all, network.contacts.len(), 10), 10)?)
    };
    let bridge_ohm = PyDict::new(py);
    for &(k, _) in &broken {
        let leg = |steps: &[Step]| {
            columns.result(steps.iter().map(|s| s.bridge_ohm[k].unwrap_or(f64::NAN)).collect::<Vec<f64>>())
        };
        let legs = (leg(&cycle.up)?, leg(&cycle.down)?, leg(&cycle.after_rest)?);
        bridge_ohm.set_item(&network.contacts[k].name, legs)?;
    }
    Ok(LevelCycle {
        emf_v: columns.result(levels)?,
        up: leg(&cycle.up)?,
        down: leg(&cycle.down)?,
        after_rest: leg(&cycle.after_rest)?,
        bridge_ohm: bridge_ohm.unbind(),
        unique: columns.result((0..columns.size).map(|k| cycle.unique(k)).collect::<Vec<bool>>())?,
    })
}

#[doc = told!("Signature")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Signature {
    #[doc = told!("Signature.order")]
    #[pyo3(get)]
    order: Py<PyAny>,
    #[doc = told!("Signature.slope")]
    #[pyo3(get)]
    slope: Py<PyAny>,
    #[doc = told!("Signature.fundamental_db")]
    #[pyo3(get)]
    fundamental_db: Py<PyAny>,
    statuses: Statuses,
}

#[pymethods]
impl Signature {
    #[doc = told!("Signature.converged")]
    #[getter]
    fn converged(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        self.statuses.applies(py)
    }
    #[doc = told!("Signature.status")]
    #[getter]
    fn status<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        self.statuses.words(py)
    }
    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let text = |object: &Py<PyAny>| -> PyResult<String> { Ok(object.bind(py).repr()?.to_string()) };
        Ok(format!("Signature(order={}, slope={})", text(&self.order)?, text(&self.slope)?))
    }
}

pub(super) fn signature<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    emf_v: Option<&Bound<'py, PyAny>>,
    contacts: ByContact<'_, 'py>,
) -> PyResult<Signature> {
    let asked = AtLevel::new(py, network, &[("frequency_hz", frequency_hz)], emf_v, contacts)?;
    let (columns, levels) = (&asked.columns, asked.values()?);
    let size = columns.size;
    let out = run(py, |watch| {
        over_points(watch, size, |solver, point| {
            let (hz, emf) = (levels.frequency(0, point), levels.emf(point));
            distortion::signature(solver, network, (hz, emf), &levels.film_ohm(point))
        })
    })?;
    Ok(Signature {
        order: columns.result(out.iter().map(|s| s.order).collect::<Vec<i64>>())?,
        slope: columns.result(out.iter().map(|s| s.slope).collect::<Vec<f64>>())?,
        fundamental_db: columns.result(out.iter().map(|s| s.fundamental_db).collect::<Vec<f64>>())?,
        statuses: Statuses::of_outcomes(columns, out.iter().map(|s| s.outcome))?,
    })
}
