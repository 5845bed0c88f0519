//! Distortion of one tone and of two, on arrays.

use super::answers::{ByContact, Statuses, contact_columns, statused};
use super::array::{Arguments, Columns, Domain, at, run};
use super::errors::input_error;
use super::number::{Number, Whole};
use crate::circuit::chain::Network;
use crate::cores;
use crate::error::InputError;
use crate::response::distortion_many::{Asked, Distortions, distortion_many};
use crate::response::steady::solve::Solver;
use crate::response::sweep::Values;
use crate::response::two_tone::{self, TwoTone as Two, products};
use crate::watch::{Stopped, Watch};
use numpy::{IntoPyArray, PyArrayMethods};
use pyo3::prelude::*;
use pyo3::types::PyDict;

/// Most harmonics that may be asked for.
const MOST_HARMONICS: usize = 1000;

/// Runs `one(solver, point)` over all points, on all cores, a solver for each.
pub(super) fn over_points<T: Send>(
    watch: &dyn Watch,
    size: usize,
    one: impl Fn(&mut Solver, usize) -> T + Sync,
) -> Result<Vec<T>, Stopped> {
    cores::answers(
        size,
        watch,
        || Solver::watched(watch),
        |solver, point| if watch.stop() { Err(Stopped) } else { Ok(one(solver, point)) },
    )
}

/// Columns of a question about a level: frequency, EMF, contacts.
pub(super) struct AtLevel<'py> {
    pub(super) columns: Columns<'py>,
    frequency: Vec<usize>,
    emf: usize,
    contacts: Vec<usize>,
}

/// The columns as values.
pub(super) struct Levels<'a> {
    frequency: Vec<Values<'a>>,
    emf: Values<'a>,
    contacts: Vec<Values<'a>>,
}

impl<'py> AtLevel<'py> {
    pub(super) fn new(
        py: Python<'py>,
        network: &Network,
        frequencies: &[(&str, &Bound<'py, PyAny>)],
        emf_v: Option<&Bound<'py, PyAny>>,
        contacts: ByContact<'_, 'py>,
    ) -> PyResult<Self> {
        let mut arguments = Arguments::new(py);
        let mut frequency = Vec::new();
        for (place, object) in frequencies {
            frequency.push(arguments.add(place, object, Domain::Positive)?);
        }
        let contacts = contact_columns(py, network, &mut arguments, contacts)?;
        let emf = match emf_v {
            Some(emf) => arguments.add("emf_v", emf, Domain::NotNegative)?,
            None => arguments.constant(network.emf_v),
        };
        Ok(Self { columns: arguments.broadcast()?, frequency, emf, contacts })
    }

    pub(super) fn values(&self) -> PyResult<Levels<'_>> {
        let all = |numbers: &[usize]| numbers.iter().map(|&n| self.columns.values(n)).collect::<PyResult<Vec<_>>>();
        let (frequency, contacts) = (all(&self.frequency)?, all(&self.contacts)?);
        Ok(Levels { frequency, emf: self.columns.values(self.emf)?, contacts })
    }
}

impl Levels<'_> {
    pub(super) fn frequency(&self, which: usize, point: usize) -> f64 {
        at(self.frequency[which], point)
    }
    pub(super) fn emf(&self, point: usize) -> f64 {
        at(self.emf, point)
    }
    pub(super) fn film_ohm(&self, point: usize) -> Vec<f64> {
        self.contacts.iter().map(|v| at(*v, point)).collect()
    }
}

/// Rows of one length for every point: shape S + (n,), or (n,) for plain numbers.
pub(super) fn rows<'py, T: numpy::Element + Copy>(
    py: Python<'py>,
    columns: &Columns<'py>,
    values: Vec<T>,
    length: usize,
) -> PyResult<Py<PyAny>> {
    let mut shape = columns.shape().to_vec();
    shape.push(length);
    Ok(values.into_pyarray(py).reshape(shape)?.into_any().unbind())
}

#[doc = told!("Distortion")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Distortion {
    #[doc = told!("Distortion.thd_f")]
    #[pyo3(get)]
    thd_f: Py<PyAny>,
    #[doc = told!("Distortion.thd_r")]
    #[pyo3(get)]
    thd_r: Py<PyAny>,
    #[doc = told!("Distortion.order")]
    #[pyo3(get)]
    order: Py<PyAny>,
    #[doc = told!("Distortion.harmonics")]
    #[pyo3(get)]
    harmonics: Py<PyAny>,
    #[doc = told!("Distortion.fundamental_db")]
    #[pyo3(get)]
    fundamental_db: Py<PyAny>,
    #[doc = told!("Distortion.error_bound")]
    #[pyo3(get)]
    error_bound: Py<PyAny>,
    #[doc = told!("Distortion.rounds")]
    #[pyo3(get)]
    rounds: Py<PyAny>,
    #[doc = told!("Distortion.chord_ohm")]
    #[pyo3(get)]
    chord_ohm: Py<PyDict>,
    statuses: Statuses,
}

statused!(Distortion, converged);

#[pymethods]
impl Distortion {
    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let text = |object: &Py<PyAny>| -> PyResult<String> { Ok(object.bind(py).repr()?.to_string()) };
        Ok(format!(
            "Distortion(thd_f={}, fundamental_db={}, error_bound={}, status={})",
            text(&self.thd_f)?,
            text(&self.fundamental_db)?,
            text(&self.error_bound)?,
            self.statuses.words(py)?.repr()?
        ))
    }
}

pub(super) fn distortion<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    emf_v: Option<&Bound<'py, PyAny>>,
    contacts: ByContact<'_, 'py>,
    harmonics: &Whole<'py>,
) -> PyResult<Distortion> {
    let harmonics = harmonics.count("harmonics")?;
    if !(1..=MOST_HARMONICS).contains(&harmonics) {
        let allowed = format!("allowed: 1 to {MOST_HARMONICS}, from the second one on");
        return Err(input_error(py, InputError::new("harmonics", harmonics, allowed)));
    }
    let asked = AtLevel::new(py, network, &[("frequency_hz", frequency_hz)], emf_v, contacts)?;
    let (columns, levels) = (&asked.columns, asked.values()?);
    let size = columns.size;
    let found = run(py, |watch| {
        let frequency_hz = levels.frequency[0];
        let asked = Asked { frequency_hz, emf_v: levels.emf, film_ohm: &levels.contacts, harmonics };
        distortion_many(network, asked, size, watch)
    })?;
    wrap(py, network, columns, found, harmonics)
}

/// Columns of solves as Python sees them.
pub(super) fn wrap<'py>(
    py: Python<'py>,
    network: &Network,
    columns: &Columns<'py>,
    found: Distortions,
    harmonics: usize,
) -> PyResult<Distortion> {
    let chord_ohm = PyDict::new(py);
    for (contact, (low, high)) in network.contacts.iter().zip(found.chord_ohm) {
        chord_ohm.set_item(&contact.name, (columns.result(low)?, columns.result(high)?))?;
    }
    let order: Vec<i64> = (2..harmonics as i64 + 2).collect();
    Ok(Distortion {
        thd_f: columns.result(found.thd_f)?,
        thd_r: columns.result(found.thd_r)?,
        order: order.into_pyarray(py).into_any().unbind(),
        harmonics: rows(py, columns, found.harmonics, harmonics)?,
        fundamental_db: columns.result(found.fundamental_db)?,
        error_bound: columns.result(found.error_bound)?,
        rounds: columns.result(found.rounds)?,
        chord_ohm: chord_ohm.unbind(),
        statuses: Statuses::of_numbers(columns, found.outcome)?,
    })
}

#[doc = told!("TwoTone")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct TwoTone {
    #[doc = told!("TwoTone.definition")]
    #[pyo3(get)]
    definition: &'static str,
    #[doc = told!("TwoTone.d2")]
    #[pyo3(get)]
    d2: Py<PyAny>,
    #[doc = told!("TwoTone.d3")]
    #[pyo3(get)]
    d3: Py<PyAny>,
    #[doc = told!("TwoTone.rms")]
    #[pyo3(get)]
    rms: Py<PyAny>,
    #[doc = told!("TwoTone.order")]
    #[pyo3(get)]
    order: Vec<(i32, i32)>,
    #[doc = told!("TwoTone.frequency_hz")]
    #[pyo3(get)]
    frequency_hz: Py<PyAny>,
    #[doc = told!("TwoTone.level")]
    #[pyo3(get)]
    level: Py<PyAny>,
    #[doc = told!("TwoTone.error_bound")]
    #[pyo3(get)]
    error_bound: Py<PyAny>,
    #[doc = told!("TwoTone.rounds")]
    #[pyo3(get)]
    rounds: Py<PyAny>,
    statuses: Statuses,
}

statused!(TwoTone, converged);

#[pymethods]
impl TwoTone {
    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let text = |object: &Py<PyAny>| -> PyResult<String> { Ok(object.bind(py).repr()?.to_string()) };
        Ok(format!(
            "TwoTone(definition={:?}, d2={}, d3={}, rms={}, status={})",
            self.definition,
            text(&self.d2)?,
            text(&self.d3)?,
            text(&self.rms)?,
            self.statuses.words(py)?.repr()?
        ))
    }
}

/// A ratio of two tones.
pub(super) fn ratio_of(ratio: &Number<'_>, py: Python<'_>) -> PyResult<f64> {
    let ratio = ratio.argument("ratio")?;
    if ratio.is_finite() && ratio > 0.0 {
        return Ok(ratio);
    }
    let allowed = "allowed: finite, above zero: the lower tone's amplitude over the upper one's";
    Err(input_error(py, InputError::new("ratio", ratio, allowed)))
}

pub(super) fn two_tone<'py>(
    py: Python<'py>,
    network: &Network,
    (low_hz, high_hz): (&Bound<'py, PyAny>, &Bound<'py, PyAny>),
    ratio: Number<'py>,
    emf_v: Option<&Bound<'py, PyAny>>,
    contacts: ByContact<'_, 'py>,
) -> PyResult<TwoTone> {
    let ratio = ratio_of(&ratio, py)?;
    let asked = AtLevel::new(py, network, &[("low_hz", low_hz), ("high_hz", high_hz)], emf_v, contacts)?;
    let (columns, levels) = (&asked.columns, asked.values()?);
    let upside_down = (0..columns.size).find(|&k| levels.frequency(0, k) >= levels.frequency(1, k));
    if let Some(k) = upside_down {
        let found = format!("{} beside low_hz {}", levels.frequency(1, k), levels.frequency(0, k));
        return Err(input_error(py, InputError::new("high_hz", found, "allowed: above low_hz")));
    }
    let size = columns.size;
    let out = run(py, |watch| {
        over_points(watch, size, |solver, point| {
            let tones = (levels.frequency(0, point), levels.frequency(1, point));
            two_tone::two_tone(solver, network, tones, (levels.emf(point), ratio), &levels.film_ohm(point))
        })
    })?;
    let order = products();
    let each = |pick: &dyn Fn(&Two) -> f64| columns.result(out.iter().map(pick).collect::<Vec<f64>>());
    let hz = (0..columns.size).flat_map(|point| {
        let (low, high) = (levels.frequency(0, point), levels.frequency(1, point));
        order.iter().map(move |&(k1, k2)| (f64::from(k1) * low + f64::from(k2) * high).abs())
    });
    Ok(TwoTone {
        definition: if ratio == 1.0 { "difference" } else { "modulation" },
        d2: each(&|t| t.d2)?,
        d3: each(&|t| t.d3)?,
        rms: each(&|t| t.rms)?,
        frequency_hz: rows(py, columns, hz.collect(), order.len())?,
        level: rows(py, columns, out.iter().flat_map(|t| t.level.iter().copied()).collect(), order.len())?,
        order,
        error_bound: each(&|t| t.error_bound)?,
        rounds: columns.result(out.iter().map(|t| t.rounds as i64).collect::<Vec<_>>())?,
        statuses: Statuses::of_outcomes(columns, out.iter().map(|t| t.outcome))?,
    })
}
