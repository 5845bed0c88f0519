//! Job sheets and assessments; the answer crosses as JSON and becomes plain frozen objects in the package.

use super::errors::{InternalError, guarded, input_error, input_errors};
use super::number::{Number, Whole};
use crate::bench::quantity::{self, Dimension};
use crate::job;
use crate::watch::Watch;
use numpy::PyArray1;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::RecvTimeoutError;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

#[doc = told!("Job")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Job(job::Job);

fn reread(py: Python<'_>, text: &str, file: &str, readings: Option<(String, String)>) -> PyResult<Job> {
    let find = |name: &str| match &readings {
        Some((known, text)) if known == name => Ok(text.clone()),
        _ => Err(std::io::Error::new(std::io::ErrorKind::NotFound, "no such readings were given")),
    };
    let read = py.detach(|| guarded(|| job::read(text, file, &find)))?;
    read.map(Job).map_err(|faults| input_errors(py, &faults))
}

#[pymethods]
impl Job {
    #[doc = told!("Job.from_text")]
    #[staticmethod]
    #[pyo3(signature = (text, *, file="sheet", readings=None))]
    fn from_text(py: Python<'_>, text: &str, file: &str, readings: Option<(String, String)>) -> PyResult<Self> {
        reread(py, text, file, readings)
    }
    #[doc = told!("Job.title")]
    #[getter]
    fn title(&self) -> &str {
        &self.0.title
    }
    #[doc = told!("Job.file")]
    #[getter]
    fn file(&self) -> Option<&str> {
        self.0.file.as_deref()
    }
    #[doc = told!("Job.text")]
    #[getter]
    fn text(&self) -> &str {
        &self.0.text
    }
    #[doc = told!("Job.readings")]
    #[getter]
    fn readings(&self) -> Option<(String, String)> {
        self.0.readings_text.clone()
    }
    #[doc = told!("Job.routes")]
    #[getter]
    fn routes(&self) -> Vec<&str> {
        self.0.routes.iter().map(|route| route.name.as_str()).collect()
    }
    #[doc = told!("Job.contacts")]
    #[getter]
    fn contacts(&self) -> Vec<&str> {
        self.0.contacts().map(|contact| contact.name.as_str()).collect()
    }
    fn __repr__(&self) -> String {
        format!("<Job {:?}: {} routes, {} readings>", self.0.title, self.0.routes.len(), self.0.readings.len())
    }
    fn __eq__(&self, other: &Bound<'_, PyAny>) -> bool {
        other.cast::<Self>().is_ok_and(|other| {
            let other = &other.get().0;
            other.text == self.0.text && other.readings_text == self.0.readings_text
        })
    }
    fn __hash__(&self) -> u64 {
        use std::hash::{DefaultHasher, Hash, Hasher};
        let mut hasher = DefaultHasher::new();
        (&self.0.text, &self.0.readings_text).hash(&mut hasher);
        hasher.finish()
    }
    #[allow(clippy::type_complexity)]
    fn __reduce__<'py>(
        slf: &Bound<'py, Self>,
    ) -> PyResult<(Bound<'py, PyAny>, (String, String, Option<(String, String)>))> {
        let make = slf.py().import("weaklink._core")?.getattr("_reread_job")?;
        let job = &slf.get().0;
        let file = job.file.clone().unwrap_or_default();
        Ok((make, (job.text.clone(), file, job.readings_text.clone())))
    }
}

#[doc = told!("load_job")]
#[pyfunction]
pub(super) fn load_job(py: Python<'_>, path: PathBuf) -> PyResult<Job> {
    let read = py.detach(|| guarded(|| job::load(&path)))?;
    read.map(Job).map_err(|faults| input_errors(py, &faults))
}

#[pyfunction]
pub(super) fn _reread_job(py: Python<'_>, text: &str, file: &str, readings: Option<(String, String)>) -> PyResult<Job> {
    reread(py, text, file, readings)
}

fn settings(py: Python<'_>, draws: &Whole<'_>, seed: &Whole<'_>) -> PyResult<job::Settings> {
    const MOST: usize = 50_000_000;
    let (draws, seed) = (draws.count("draws")?, seed.argument("seed")?);
    if draws > MOST {
        return Err(input_error(py, crate::error::InputError::new("draws", draws, format!("allowed: 0 to {MOST}"))));
    }
    Ok(job::Settings { draws, seed })
}

/// The assessment of a job, as JSON.
#[pyfunction]
pub(super) fn _assess_json(
    py: Python<'_>,
    job: &Bound<'_, Job>,
    draws: Whole<'_>,
    seed: Whole<'_>,
    progress: Option<Py<PyAny>>,
) -> PyResult<String> {
    let job = &job.get().0;
    let settings = settings(py, &draws, &seed)?;
    let found = asked(py, progress, |watch| job::assess_with(job, settings, watch))?;
    serde_json::to_string(&found).map_err(|error| InternalError::new_err(error.to_string()))
}

/// Between two looks for Ctrl-C.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// Runs long work with Ctrl-C alive, telling `progress` how many blocks are done.
///
/// Python hands signals to its main thread alone, and the work's loops run on others: so the caller waits and looks.
fn asked<T: Send>(
    py: Python<'_>,
    progress: Option<Py<PyAny>>,
    work: impl FnOnce(&dyn Watch) -> Result<T, crate::error::InputError> + Send,
) -> PyResult<T> {
    let bell = Bell { progress, raised: Mutex::new(None), count: AtomicUsize::new(0), ringing: AtomicBool::new(false) };
    let rung = &bell;
    let (sender, receiver) = std::sync::mpsc::channel();
    let found = py.detach(move || {
        std::thread::scope(|scope| {
            scope.spawn(move || {
                // nobody listens any more only if the caller has gone
                let _ = sender.send(guarded(|| work(rung)));
            });
            loop {
                match receiver.recv_timeout(LOOK_EVERY) {
                    Ok(outcome) => return Some(outcome),
                    Err(RecvTimeoutError::Disconnected) => return None,
                    Err(RecvTimeoutError::Timeout) => {
                        if let Err(error) = Python::attach(|py| py.check_signals()) {
                            rung.raise(error);
                        }
                    }
                }
            }
        })
    });
    if let Some(error) = bell.raised.into_inner().unwrap_or_else(PoisonError::into_inner) {
        return Err(error);
    }
    match found {
        Some(found) => found?.map_err(|fault| input_error(py, fault)),
        None => Err(InternalError::new_err("a worker thread ended without a result")),
    }
}

/// Tells of progress from the long loops, and stops them.
struct Bell {
    progress: Option<Py<PyAny>>,
    raised: Mutex<Option<PyErr>>,
    count: AtomicUsize,
    /// whether a thread is at it: the others go on working
    ringing: AtomicBool,
}

impl Bell {
    fn raise(&self, error: PyErr) {
        self.raised.lock().unwrap_or_else(PoisonError::into_inner).get_or_insert(error);
    }
}

impl Watch for Bell {
    fn stop(&self) -> bool {
        if let Some(progress) = &self.progress {
            if !self.ringing.swap(true, Ordering::AcqRel) {
                let count = self.count.load(Ordering::Relaxed);
                let outcome = Python::attach(|py| progress.call1(py, (count,)).map(|_| ()));
                self.ringing.store(false, Ordering::Release);
                if let Err(error) = outcome {
                    self.raise(error);
                }
            }
        }
        self.raised.lock().unwrap_or_else(PoisonError::into_inner).is_some()
    }

    fn done(&self, points: usize) {
        self.count.fetch_add(points, Ordering::Relaxed);
    }
}

/// Every draw behind an assessment: channel by channel the suspects' names and one array per column.
#[pyfunction]
#[allow(clippy::type_complexity)]
pub(super) fn _draws<'py>(
    py: Python<'py>,
    job: &Bound<'py, Job>,
    draws: Whole<'_>,
    seed: Whole<'_>,
) -> PyResult<Vec<(&'static str, Vec<String>, Bound<'py, PyDict>)>> {
    let job = &job.get().0;
    let settings = settings(py, &draws, &seed)?;
    let found = asked(py, None, |watch| job::draws(job, settings, watch))?;
    let mut channels = Vec::new();
    for (name, channel) in ["left", "right"].into_iter().zip(found) {
        let Some(channel) = channel else { continue };
        let columns = PyDict::new(py);
        let each = &channel.draws;
        let floats = |pick: fn(&crate::judgement::trial::Draw) -> f64| PyArray1::from_iter(py, each.iter().map(pick));
        columns.set_item("suspect", PyArray1::from_iter(py, each.iter().map(|d| d.suspect.0 as i64)))?;
        columns.set_item("second", PyArray1::from_iter(py, each.iter().map(|d| d.suspect.1 as i64)))?;
        columns.set_item("hypothesis", PyArray1::from_iter(py, each.iter().map(|d| d.hypothesis as i64)))?;
        columns.set_item("resistance_ohm", floats(|d| d.resistance_ohm))?;
        columns.set_item("keenness", floats(|d| d.keenness))?;
        columns.set_item("frit_v", floats(|d| d.frit_v))?;
        columns.set_item("residue", floats(|d| d.residue))?;
        columns.set_item("loss_db", floats(|d| d.loss_db))?;
        columns.set_item("weight", floats(|d| d.weight))?;
        channels.push((name, channel.suspects, columns));
    }
    Ok(channels)
}

/// Names of the hypotheses, by number.
#[pyfunction]
pub(super) fn _hypotheses() -> Vec<&'static str> {
    crate::judgement::causes::Hypothesis::ALL.iter().map(|h| h.word()).collect()
}

/// Open-loop residue of a class-AB stage at room temperature; `quiescent` over the thermal voltage.
#[pyfunction]
pub(super) fn _crossover_residue(quiescent: f64, emitter_ohm: f64, load_ohm: f64, input_peak_v: f64) -> f64 {
    let thermal_v = crate::physics::constants::THERMAL_VOLTAGE_V;
    crate::circuit::amplifier::ClassAb { quiescent, emitter_ohm, load_ohm, thermal_v }.residue(input_peak_v)
}

/// Defaults, limits and meanings of the priors.
#[pyfunction]
pub(super) fn _priors() -> Vec<(&'static str, f64, f64, f64, &'static str)> {
    let rows = crate::judgement::priors::TABLE.iter();
    rows.map(|row| (row.name, row.default, row.low, row.high, row.meaning)).collect()
}

/// The evidence of a job line by line, as JSON.
#[pyfunction]
pub(super) fn _evidence_json(py: Python<'_>, job: &Bound<'_, Job>) -> PyResult<String> {
    let job = &job.get().0;
    let seen = py.detach(|| guarded(|| job::evidence(job)))?.map_err(|fault| input_error(py, fault))?;
    serde_json::to_string(&seen).map_err(|error| InternalError::new_err(error.to_string()))
}

/// A value in engineering form, as the reports print it.
#[pyfunction]
pub(super) fn _engineering(value: f64, unit: &str) -> String {
    let dimension = match unit {
        "V" => Dimension::Voltage,
        "dB" => Dimension::Decibel,
        "%" => Dimension::Ratio,
        _ => Dimension::Resistance,
    };
    quantity::engineering(value, dimension)
}

#[doc = told!("typical")]
#[pyfunction]
pub(super) fn typical(py: Python<'_>, name: &str) -> PyResult<Job> {
    let Some((_, text)) = job::LAYOUTS.iter().find(|row| row.0 == name) else {
        let names: Vec<_> = job::LAYOUTS.iter().map(|row| format!("{:?}", row.0)).collect();
        let allowed = format!("allowed: {}", names.join(", "));
        return Err(input_error(
            py,
            crate::error::InputError::new("typical", format!("unknown layout {name:?}"), allowed),
        ));
    };
    reread(py, text, name, None)
}

/// Names of the typical layouts.
#[pyfunction]
pub(super) fn _layouts() -> Vec<&'static str> {
    job::LAYOUTS.iter().map(|row| row.0).collect()
}

/// Limits of every contact, as JSON.
#[pyfunction]
pub(super) fn _limits_json(
    py: Python<'_>,
    job: &Bound<'_, Job>,
    residue: Option<Number<'_>>,
    loss_db: Number<'_>,
    crosstalk_db: Number<'_>,
    level_db: Option<Number<'_>>,
) -> PyResult<String> {
    let residue = residue.map(|ratio| ratio.argument("residue")).transpose()?;
    let level_db = level_db.map(|level| level.argument("level_db")).transpose()?;
    let (loss_db, crosstalk_db) = (loss_db.argument("loss_db")?, crosstalk_db.argument("crosstalk_db")?);
    let job = &job.get().0;
    let limits = |watch: &dyn Watch| {
        let targets = job::Targets { loss_db, crosstalk_db, ..job::Targets::default() };
        let targets = match residue {
            Some(residue) => job::Targets { residue, ..targets },
            None => targets.inaudible(level_db.map_or_else(|| job::loudest_db(job), Ok)?)?,
        };
        job::limits_with(job, targets, watch)
    };
    let found = asked(py, None, limits)?;
    serde_json::to_string(&found).map_err(|error| InternalError::new_err(error.to_string()))
}

/// A commented job sheet to fill in.
#[pyfunction]
pub(super) fn _sheet_template() -> String {
    job::sheet_template()
}

/// A readings file to fill in for the contacts of a job.
#[pyfunction]
pub(super) fn _readings_template(job: &Bound<'_, Job>) -> String {
    job::readings_template(&job.get().0)
}

/// The JSON Schema of a job sheet, as JSON.
#[pyfunction]
pub(super) fn _schema_json() -> String {
    job::schema().to_string()
}

/// What the dry box shows for a resistance, V.
#[pyfunction]
pub(super) fn _dry_box_v(resistance_ohm: f64) -> f64 {
    crate::bench::range::dry_box_v(resistance_ohm)
}

/// The tables of typical values: group, name, value, source.
#[pyfunction]
pub(super) fn _typical_values() -> Vec<(&'static str, String, String, String)> {
    use crate::bench::kind::Kind;
    use crate::circuit::typical;
    let ohm = |value| quantity::engineering(value, Dimension::Resistance);
    let mut rows = Vec::new();
    let mut add =
        |group, name: &str, value: String, source: &str| rows.push((group, name.to_owned(), value, source.to_owned()));
    for (name, source, from) in typical::SOURCES {
        let emf = quantity::engineering(source.emf_v, Dimension::Voltage);
        let coil = quantity::engineering(source.inductance_h, Dimension::Inductance);
        add("source", name, format!("{emf}, {}, {coil}", ohm(source.resistance_ohm)), from);
    }
    for (name, lead, from) in typical::LEADS {
        let farad = quantity::engineering(lead.capacitance_f, Dimension::Capacitance);
        add("lead", name, format!("{}, {farad}", ohm(lead.resistance_ohm)), from);
    }
    for (name, load, _, from) in typical::LOADS {
        add("load", name, typical::load_in_words(&load), from);
    }
    for name in typical::STAGES {
        if let Some((stage, from)) = typical::stage(name) {
            let gain = quantity::engineering(stage.gain_db, Dimension::Decibel);
            let value = format!("{gain}, {}, {} out", stage.equalisation.name(), ohm(stage.output_resistance_ohm));
            add("stage", name, value, from);
        }
    }
    for name in crate::bench::Method::TYPICAL {
        if let Some((value, from)) = crate::bench::Method::typical_in_words(name) {
            add("method", name, value, from);
        }
    }
    for kind in Kind::ALL {
        const TRACK_OHM: f64 = 50e3;
        if let Some(limit) = kind.in_order(Some(TRACK_OHM)) {
            let of = if kind.in_order(None).is_none() { " of a 50 kohm track" } else { "" };
            add("kind", kind.word(), format!("usual to {}{of}", ohm(limit.up_to_ohm)), limit.source);
        }
    }
    for (name, _) in job::LAYOUTS {
        add("layout", name, "whole amplifier without readings".to_owned(), "common practice");
    }
    rows
}
