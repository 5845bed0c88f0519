//! What a notch leaves of a tone's output, on arrays.

use super::answers::{ByContact, Statuses, contact_columns, pairs, statused, whole};
use super::array::{Arguments, Domain, at, run};
use super::errors::input_error;
use super::number::{Band, Number};
use super::steady::over_points;
use crate::bench::names::allowed_names;
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::error::InputError;
use crate::physics::chatter::Telegraph;
use crate::response::distortion::Outcome;
use crate::response::residue::{self, Unsteady, View};
use crate::response::steady::solve::Tones;
use crate::response::weighting::Weighting;
use pyo3::prelude::*;

#[doc = told!("Residue")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Residue {
    #[doc = told!("Residue.total")]
    #[pyo3(get)]
    total: Py<PyAny>,
    #[doc = told!("Residue.harmonics")]
    #[pyo3(get)]
    harmonics: Py<PyAny>,
    #[doc = told!("Residue.chatter")]
    #[pyo3(get)]
    chatter: Py<PyAny>,
    #[doc = told!("Residue.johnson")]
    #[pyo3(get)]
    johnson: Py<PyAny>,
    #[doc = told!("Residue.contact_noise")]
    #[pyo3(get)]
    contact_noise: Py<PyAny>,
    #[doc = told!("Residue.notch_reading")]
    #[pyo3(get)]
    notch_reading: Py<PyAny>,
    #[doc = told!("Residue.crackle_per_s")]
    #[pyo3(get)]
    crackle_per_s: Py<PyAny>,
    statuses: Statuses,
}

statused!(Residue, converged);

#[pymethods]
impl Residue {
    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let text = |object: &Py<PyAny>| -> PyResult<String> { Ok(object.bind(py).repr()?.to_string()) };
        Ok(format!(
            "Residue(total={}, harmonics={}, chatter={}, johnson={}, contact_noise={})",
            text(&self.total)?,
            text(&self.harmonics)?,
            text(&self.chatter)?,
            text(&self.johnson)?,
            text(&self.contact_noise)?
        ))
    }
}

/// What does not stand still, and how it is looked at.
pub(super) struct Asked<'a, 'py> {
    pub(super) chatter: ByContact<'a, 'py>,
    pub(super) flicker: ByContact<'a, 'py>,
    pub(super) band_hz: Band,
    pub(super) weighting: &'a str,
    pub(super) notch_q: Option<Number<'py>>,
}

fn view(py: Python<'_>, asked: &Asked<'_, '_>) -> PyResult<View> {
    let Some(weighting) = Weighting::named(asked.weighting) else {
        let allowed = allowed_names(asked.weighting, Weighting::NAMES);
        return Err(input_error(py, InputError::new("weighting", format!("{:?}", asked.weighting), allowed)));
    };
    let notch_q = asked.notch_q.as_ref().map(|q| q.argument("notch_q")).transpose()?;
    if let Some(q) = notch_q.filter(|q| !(q.is_finite() && *q > 0.0)) {
        return Err(input_error(py, InputError::new("notch_q", q, "allowed: finite, above zero, or None")));
    }
    Ok(View { band_hz: asked.band_hz.0, weighting, notch_q })
}

pub(super) fn residue<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    emf_v: Option<&Bound<'py, PyAny>>,
    contacts: ByContact<'_, 'py>,
    asked: &Asked<'_, 'py>,
) -> PyResult<Residue> {
    let view = view(py, asked)?;
    let mut arguments = Arguments::new(py);
    let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let emf = match emf_v {
        Some(emf) => arguments.add("emf_v", emf, Domain::NotNegative)?,
        None => arguments.constant(network.emf_v),
    };
    let mut jumping = Vec::new();
    for (name, value) in pairs(asked.chatter)? {
        let index = network.contact_index(&name).map_err(|e| input_error(py, e.within("chatter")))?;
        let place = format!("chatter[{name:?}]");
        let four: Vec<Bound<'py, PyAny>> = value.extract().unwrap_or_default();
        let [low, high, dwell_low, dwell_high] = &four[..] else {
            let allowed = "allowed: (low_ohm, high_ohm, dwell_low_s, dwell_high_s)";
            return Err(input_error(py, InputError::new(place, value.to_string(), allowed)));
        };
        let mut add = |what: &str, object, domain| arguments.add(&format!("{place}: {what}"), object, domain);
        let columns = [
            add("low_ohm", low, Domain::NotNegative)?,
            add("high_ohm", high, Domain::NotNegative)?,
            add("dwell_low_s", dwell_low, Domain::Positive)?,
            add("dwell_high_s", dwell_high, Domain::Positive)?,
        ];
        jumping.push((index, columns, place));
    }
    let mut fluctuating = Vec::new();
    for (name, value) in pairs(asked.flicker)? {
        let index = network.contact_index(&name).map_err(|e| input_error(py, e.within("flicker")))?;
        let place = format!("flicker[{name:?}]");
        if network.contacts[index].role == Role::Shunt {
            let allowed = "allowed: a contact in series with the signal";
            return Err(input_error(py, InputError::new(place, "a contact across the signal", allowed)));
        }
        fluctuating.push((index, arguments.add(&place, &value, Domain::NotNegative)?));
    }
    let columns = arguments.broadcast()?;
    let (frequency, emf) = (columns.values(frequency)?, columns.values(emf)?);
    let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
    let mut telegraphs = Vec::new();
    for (index, four, place) in &jumping {
        let four = four.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
        let telegraph = |k: usize| Telegraph {
            low_ohm: at(four[0], k),
            high_ohm: at(four[1], k),
            dwell_low_s: at(four[2], k),
            dwell_high_s: at(four[3], k),
        };
        let all: Vec<Telegraph> = (0..columns.size).map(telegraph).collect();
        all.iter().try_for_each(|t| t.check().map_err(|e| input_error(py, e.within(place))))?;
        telegraphs.push((*index, all));
    }
    let flicker =
        fluctuating.iter().map(|&(k, n)| Ok((k, columns.values(n)?))).collect::<PyResult<Vec<(usize, _)>>>()?;
    let size = columns.size;
    let out = run(py, |watch| {
        over_points(watch, size, |solver, point| {
            let tone = (at(frequency, point), at(emf, point));
            let mut film_ohm: Vec<f64> = values.iter().map(|v| at(*v, point)).collect();
            let unsteady: Vec<Unsteady> = telegraphs
                .iter()
                .map(|(contact, all)| Unsteady { contact: *contact, chatter: Some(all[point]), flicker: 0.0 })
                .chain(flicker.iter().map(|&(contact, c)| Unsteady { contact, chatter: None, flicker: at(c, point) }))
                .collect();
            // what jumps is no steady film
            let mut steady = None;
            for one in unsteady.iter().filter(|one| one.chatter.is_some()) {
                let network = steady.get_or_insert_with(|| network.clone());
                let mean = one.chatter.map_or(0.0, |t| t.mean_ohm());
                network.contacts[one.contact].film = crate::physics::Film::Ohmic { resistance_ohm: mean };
                network.contacts[one.contact].constriction_ohm = 0.0;
                film_ohm[one.contact] = mean;
            }
            let network = steady.as_ref().unwrap_or(network);
            let answer = solver.solve(network, Tones::One(tone), &film_ohm);
            let fundamental = answer.output.get(1).map_or(0.0, |line| line.norm());
            let ohm: Vec<f64> = if steady.is_some() {
                film_ohm.iter().zip(&network.contacts).map(|(r, c)| r + c.constriction_ohm).collect()
            } else {
                whole(network, &values, point)
            };
            let found = residue::residue(network, &answer, tone, &ohm, &unsteady, &view);
            (found, Outcome::of(answer.converged, fundamental))
        })
    })?;
    let each = |pick: &dyn Fn(&residue::Residue) -> f64| {
        columns.result(out.iter().map(|(found, _)| pick(found)).collect::<Vec<f64>>())
    };
    Ok(Residue {
        total: each(&|r| r.total())?,
        harmonics: each(&|r| r.harmonics)?,
        chatter: each(&|r| r.chatter)?,
        johnson: each(&|r| r.johnson)?,
        contact_noise: each(&|r| r.contact_noise)?,
        notch_reading: each(&|r| r.total() / r.total().hypot(1.0))?,
        crackle_per_s: each(&|r| r.crackle_per_s)?,
        statuses: Statuses::of_outcomes(&columns, out.iter().map(|(_, outcome)| *outcome))?,
    })
}

/// Johnson noise at the output in a band, V rms.
pub(super) fn johnson_v<'py>(
    py: Python<'py>,
    network: &Network,
    contacts: ByContact<'_, 'py>,
    asked: &Asked<'_, 'py>,
) -> PyResult<Py<PyAny>> {
    let view = view(py, asked)?;
    let mut arguments = Arguments::new(py);
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let columns = arguments.broadcast()?;
    let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
    let size = columns.size;
    let out = run(py, |watch| {
        over_points(watch, size, |_, point| residue::johnson_v(network, &whole(network, &values, point), &view))
    })?;
    columns.result(out)
}
