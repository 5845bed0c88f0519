//! Bounds beside the ceiling of one tone: two tones, music, and an attack on the ceiling.

use super::answers::{ByContact, Statuses, contact_columns, pairs, statused, whole};
use super::array::{Arguments, Columns, Domain, at, first_above, run};
use super::errors::input_error;
use super::linear::{RangeColumns, range_columns};
use super::number::{Band, Number, Whole};
use super::steady::ratio_of;
use super::system::{Chain, Section, network_of};
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::error::InputError;
use crate::response::attack::{self, Search};
use crate::response::ceiling_by_readings::{Across, ceiling_by_readings as by_readings};
use crate::response::ceiling_many::Moving;
use crate::response::ceiling_resistive::ceiling_music;
use crate::response::ceiling_two_tone::ceiling_two_tone;
use crate::response::status::Status;
use crate::response::sweep::Values;
use numpy::{IntoPyArray, PyArrayMethods};
use pyo3::prelude::*;
use pyo3::types::{PyMapping, PyTuple};

/// Ranges as columns; the first fault is a low end above the high one.
fn wanted<'a>(
    py: Python<'_>,
    columns: &'a Columns<'_>,
    given: &[RangeColumns],
) -> PyResult<Vec<(usize, Values<'a>, Values<'a>)>> {
    let mut wanted = Vec::new();
    for (index, low, high, place) in given {
        let (low, high) = (columns.values(*low)?, columns.values(*high)?);
        if let Some(point) = first_above(low, high, columns.size) {
            let found = format!("low {} above high {}", at(low, point), at(high, point));
            return Err(input_error(py, InputError::new(place, found, "allowed: low at most high")));
        }
        wanted.push((*index, low, high));
    }
    Ok(wanted)
}

/// What moves at one point, and the resistance of everything that does not.
fn at_point(
    network: &Network,
    wanted: &[(usize, Values<'_>, Values<'_>)],
    values: &[Values<'_>],
    point: usize,
) -> (Vec<Moving>, Vec<f64>) {
    let mut fixed = whole(network, values, point);
    let mut moving = Vec::new();
    for &(k, low, high) in wanted {
        let range = (at(low, point), at(high, point));
        if range.1 > range.0 {
            moving.push((k, range));
            fixed[k] = network.contacts[k].role.perfect_ohm();
        } else {
            fixed[k] = range.0;
        }
    }
    (moving, fixed)
}

#[doc = told!("TwoToneCeiling")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct TwoToneCeiling {
    #[doc = told!("TwoToneCeiling.definition")]
    #[pyo3(get)]
    definition: &'static str,
    #[doc = told!("TwoToneCeiling.d2")]
    #[pyo3(get)]
    d2: Py<PyAny>,
    #[doc = told!("TwoToneCeiling.d3")]
    #[pyo3(get)]
    d3: Py<PyAny>,
    #[doc = told!("TwoToneCeiling.rms")]
    #[pyo3(get)]
    rms: Py<PyAny>,
    statuses: Statuses,
}

#[doc = told!("MusicCeiling")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct MusicCeiling {
    #[doc = told!("MusicCeiling.to_copy")]
    #[pyo3(get)]
    to_copy: Py<PyAny>,
    #[doc = told!("MusicCeiling.to_total")]
    #[pyo3(get)]
    to_total: Py<PyAny>,
    statuses: Statuses,
}

#[doc = told!("ReadingsCeiling")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct ReadingsCeiling {
    #[doc = told!("ReadingsCeiling.chatter")]
    #[pyo3(get)]
    chatter: Py<PyAny>,
    statuses: Statuses,
}

macro_rules! with_status {
    ($name:ident, $($field:ident),+) => {
        statused!($name, applies);

        #[pymethods]
        impl $name {
            fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
                let mut text = String::new();
                $(text += &format!("{}={}, ", stringify!($field), self.$field.bind(py).repr()?);)+
                Ok(format!("{}({text}status={})", stringify!($name), self.statuses.words(py)?.repr()?))
            }
        }
    };
}

with_status!(TwoToneCeiling, d2, d3, rms);
with_status!(MusicCeiling, to_copy, to_total);
with_status!(ReadingsCeiling, chatter);

pub(super) fn two_tone_ceiling<'py>(
    py: Python<'py>,
    network: &Network,
    (low_hz, high_hz): (&Bound<'py, PyAny>, &Bound<'py, PyAny>),
    ranges: &Bound<'py, PyMapping>,
    (ratio, emf_v): (Number<'py>, Option<&Bound<'py, PyAny>>),
    contacts: ByContact<'_, 'py>,
    Band(band_hz): Band,
) -> PyResult<TwoToneCeiling> {
    let ratio = ratio_of(&ratio, py)?;
    let mut arguments = Arguments::new(py);
    let low = arguments.add("low_hz", low_hz, Domain::Positive)?;
    let high = arguments.add("high_hz", high_hz, Domain::Positive)?;
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let emf = match emf_v {
        Some(emf) => arguments.add("emf_v", emf, Domain::NotNegative)?,
        None => arguments.constant(network.emf_v),
    };
    let given = range_columns(py, network, &mut arguments, Some(ranges))?;
    let columns = arguments.broadcast()?;
    let (low, high, emf) = (columns.values(low)?, columns.values(high)?, columns.values(emf)?);
    if let Some(k) = (0..columns.size).find(|&k| at(low, k) >= at(high, k)) {
        let found = format!("{} beside low_hz {}", at(high, k), at(low, k));
        return Err(input_error(py, InputError::new("high_hz", found, "allowed: above low_hz")));
    }
    let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
    let wanted = wanted(py, &columns, &given)?;
    let size = columns.size;
    let out = run(py, |watch| {
        let one = |point: usize| {
            if watch.stop() {
                return Err(crate::watch::Stopped);
            }
            let (moving, fixed) = at_point(network, &wanted, &values, point);
            let tones = (at(low, point), at(high, point));
            Ok(ceiling_two_tone(network, tones, (at(emf, point), ratio), &moving, &fixed, band_hz))
        };
        (0..size).map(one).collect::<Result<Vec<_>, _>>()
    })?;
    Ok(TwoToneCeiling {
        definition: if ratio == 1.0 { "difference" } else { "modulation" },
        d2: columns.result(out.iter().map(|t| t.d2).collect::<Vec<_>>())?,
        d3: columns.result(out.iter().map(|t| t.d3).collect::<Vec<_>>())?,
        rms: columns.result(out.iter().map(|t| t.rms).collect::<Vec<_>>())?,
        statuses: Statuses::new(&columns, out.iter().map(|t| t.status))?,
    })
}

pub(super) fn music_ceiling<'py>(
    py: Python<'py>,
    network: &Network,
    ranges: &Bound<'py, PyMapping>,
    contacts: ByContact<'_, 'py>,
) -> PyResult<MusicCeiling> {
    let mut arguments = Arguments::new(py);
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let given = range_columns(py, network, &mut arguments, Some(ranges))?;
    let columns = arguments.broadcast()?;
    let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
    let wanted = wanted(py, &columns, &given)?;
    let size = columns.size;
    let out = run(py, |watch| {
        let one = |point: usize| {
            if watch.stop() {
                return Err(crate::watch::Stopped);
            }
            let (moving, fixed) = at_point(network, &wanted, &values, point);
            Ok(ceiling_music(network, &moving, &fixed))
        };
        (0..size).map(one).collect::<Result<Vec<_>, _>>()
    })?;
    let part = |pick: fn(&(f64, f64)) -> f64| -> Vec<f64> {
        out.iter().map(|found| found.as_ref().map_or(f64::NAN, pick)).collect()
    };
    Ok(MusicCeiling {
        to_copy: columns.result(part(|pair| pair.0))?,
        to_total: columns.result(part(|pair| pair.1))?,
        statuses: Statuses::new(&columns, out.iter().map(|found| found.err().unwrap_or(Status::Holds)))?,
    })
}

pub(super) fn ceiling_by_readings<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    ranges: ByContact<'_, 'py>,
    across: ByContact<'_, 'py>,
    Band(band_hz): Band,
) -> PyResult<ReadingsCeiling> {
    let mut arguments = Arguments::new(py);
    let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
    let given = match ranges {
        Some(ranges) => range_columns(py, network, &mut arguments, Some(ranges))?,
        None => Vec::new(),
    };
    let mut read = Vec::new();
    for (name, object) in pairs(across)? {
        let index = network.contact_index(&name).map_err(|fault| input_error(py, fault))?;
        let place = format!("across[{name:?}]");
        if given.iter().any(|g| g.0 == index) {
            let allowed = "allowed: a contact in ranges or in across, not in both";
            return Err(input_error(py, InputError::new(place, "in ranges too", allowed)));
        }
        read.push((index, arguments.add(&place, &object, Domain::NotNegative)?));
    }
    let columns = arguments.broadcast()?;
    let frequency = columns.values(frequency)?;
    let wanted = wanted(py, &columns, &given)?;
    let read = read.into_iter().map(|(k, n)| Ok((k, columns.values(n)?))).collect::<PyResult<Vec<_>>>()?;
    let size = columns.size;
    let out = run(py, |watch| {
        let one = |point: usize| {
            if watch.stop() {
                return Err(crate::watch::Stopped);
            }
            let moving: Vec<Moving> = wanted.iter().map(|&(k, l, h)| (k, (at(l, point), at(h, point)))).collect();
            let volts: Vec<Across> = read.iter().map(|&(k, v)| (k, at(v, point))).collect();
            Ok(by_readings(network, at(frequency, point), &moving, &volts, band_hz))
        };
        (0..size).map(one).collect::<Result<Vec<_>, _>>()
    })?;
    Ok(ReadingsCeiling {
        chatter: columns.result(out.iter().map(|found| found.unwrap_or(f64::NAN)).collect::<Vec<_>>())?,
        statuses: Statuses::new(&columns, out.iter().map(|found| found.err().unwrap_or(Status::Holds)))?,
    })
}

/// What sections and chains can be asked beside the ceiling of one tone.
macro_rules! bound_methods {
    ($name:ident) => {
        #[pymethods]
        impl $name {
            #[pyo3(
                signature = (low_hz, high_hz, *, ranges, ratio=Number::Default(4.0), emf_v=None, contacts=None, band_hz=Band::AUDIBLE),
                text_signature = "($self, low_hz, high_hz, *, ranges, ratio=4.0, emf_v=None, contacts=None, band_hz=(20.0, 20000.0))"
            )]
            #[doc = told!("_System.two_tone_ceiling")]
            #[allow(clippy::too_many_arguments)] // keywords of one question
            fn two_tone_ceiling<'py>(
                &self,
                py: Python<'py>,
                low_hz: &Bound<'py, PyAny>,
                high_hz: &Bound<'py, PyAny>,
                ranges: &Bound<'py, PyMapping>,
                ratio: Number<'py>,
                emf_v: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
                band_hz: Band,
            ) -> PyResult<TwoToneCeiling> {
                two_tone_ceiling(py, self.network(py)?, (low_hz, high_hz), ranges, (ratio, emf_v), contacts, band_hz)
            }

            #[doc = told!("_System.music_ceiling")]
            #[pyo3(signature = (*, ranges, contacts=None))]
            fn music_ceiling<'py>(
                &self,
                py: Python<'py>,
                ranges: &Bound<'py, PyMapping>,
                contacts: ByContact<'_, 'py>,
            ) -> PyResult<MusicCeiling> {
                music_ceiling(py, self.network(py)?, ranges, contacts)
            }

            #[pyo3(
                signature = (frequency_hz, *, ranges=None, across=None, band_hz=Band::AUDIBLE),
                text_signature = "($self, frequency_hz, *, ranges=None, across=None, band_hz=(20.0, 20000.0))"
            )]
            #[doc = told!("_System.ceiling_by_readings")]
            fn ceiling_by_readings<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                ranges: ByContact<'_, 'py>,
                across: ByContact<'_, 'py>,
                band_hz: Band,
            ) -> PyResult<ReadingsCeiling> {
                ceiling_by_readings(py, self.network(py)?, frequency_hz, ranges, across, band_hz)
            }
        }
    };
}

bound_methods!(Section);
bound_methods!(Chain);

#[doc = told!("Attack")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Attack {
    #[doc = told!("Attack.best")]
    #[pyo3(get)]
    best: f64,
    #[doc = told!("Attack.bound")]
    #[pyo3(get)]
    bound: f64,
    #[doc = told!("Attack.ratio")]
    #[pyo3(get)]
    ratio: f64,
    #[doc = told!("Attack.contacts")]
    #[pyo3(get)]
    contacts: Vec<String>,
    #[doc = told!("Attack.ohm")]
    #[pyo3(get)]
    ohm: Py<PyAny>,
    #[doc = told!("Attack.time_s")]
    #[pyo3(get)]
    time_s: Py<PyAny>,
    #[doc = told!("Attack.trials")]
    #[pyo3(get)]
    trials: usize,
    #[doc = told!("Attack.seed")]
    #[pyo3(get)]
    seed: u64,
}

#[pymethods]
impl Attack {
    fn __repr__(&self) -> String {
        let Self { best, bound, ratio, trials, seed, .. } = self;
        format!("Attack(best={best:?}, bound={bound:?}, ratio={ratio:?}, trials={trials}, seed={seed})")
    }
}

/// Ends of one contact's jumps: a pair, or a swing above what it is.
fn ends(py: Python<'_>, network: &Network, k: usize, place: &str, object: &Bound<'_, PyAny>) -> PyResult<Moving> {
    let fault = |allowed: &str| input_error(py, InputError::new(place, object.to_string(), allowed));
    let across = network.contacts[k].role == Role::Shunt;
    let (low, high) = if object.cast::<PyTuple>().is_ok() {
        object.extract::<(f64, f64)>().map_err(|_| fault("allowed: a pair (low, high) in ohm"))?
    } else if across {
        return Err(fault("allowed across the signal: a pair (low, high) in ohm"));
    } else {
        let swing: f64 = object.extract().map_err(|_| fault("allowed: a swing in ohm, or a pair (low, high)"))?;
        let own = network.contacts[k].small_signal_ohm();
        (own, own + swing)
    };
    if !(low >= 0.0 && high > low && (high.is_finite() || across)) || across && low <= 0.0 {
        return Err(fault(
            "allowed: a finite swing above zero, or a pair with 0 <= low < high; 0 < low across the signal",
        ));
    }
    Ok((k, (low, high)))
}

#[doc = told!("try_ceiling")]
#[pyfunction]
#[pyo3(
    signature = (system, swing_ohm, *, trials=Whole::Default(1000), seed=Whole::Default(0), frequency_hz=Number::Default(1000.0), periods=Whole::Default(1), samples=None),
    text_signature = "(system, swing_ohm, *, trials=1000, seed=0, frequency_hz=1000.0, periods=1, samples=None)"
)]
#[allow(clippy::too_many_arguments)] // keywords of one question
pub(super) fn try_ceiling(
    py: Python<'_>,
    system: &Bound<'_, PyAny>,
    swing_ohm: &Bound<'_, PyAny>,
    trials: Whole<'_>,
    seed: Whole<'_>,
    frequency_hz: Number<'_>,
    periods: Whole<'_>,
    samples: Option<Whole<'_>>,
) -> PyResult<Attack> {
    let (trials, seed, periods) = (trials.count("trials")?, seed.argument("seed")?, periods.count("periods")?);
    let frequency_hz = frequency_hz.argument("frequency_hz")?;
    let samples = samples.map(|samples| samples.count("samples")).transpose()?;
    let network = network_of(py, system)?;
    let fault = |place: &str, found: String, allowed: &str| input_error(py, InputError::new(place, found, allowed));
    let moving: Vec<Moving> = if let Ok(mapping) = swing_ohm.cast::<PyMapping>() {
        let mut moving = Vec::new();
        for (name, object) in pairs(Some(mapping))? {
            let index = network.contact_index(&name).map_err(|fault| input_error(py, fault))?;
            moving.push(ends(py, network, index, &format!("swing_ohm[{name:?}]"), &object)?);
        }
        moving
    } else {
        let all = (0..network.contacts.len()).map(|k| ends(py, network, k, "swing_ohm", swing_ohm));
        all.collect::<PyResult<_>>()?
    };
    if moving.is_empty() {
        return Err(fault("swing_ohm", "no contact".to_owned(), "allowed: at least one contact that moves"));
    }
    if !(frequency_hz.is_finite() && frequency_hz > 0.0) {
        return Err(fault("frequency_hz", frequency_hz.to_string(), "allowed: finite, above zero"));
    }
    if !(1..=3).contains(&periods) {
        return Err(fault("periods", periods.to_string(), "allowed: 1 (a steady film), 2 or 3 (chatter)"));
    }
    let samples = samples.unwrap_or([21, 27, 39][periods - 1]);
    if samples % 2 == 0 || samples <= 4 * periods || samples > 99 {
        let allowed = "allowed: odd, above four a period, at most 99";
        return Err(fault("samples", samples.to_string(), allowed));
    }
    if trials == 0 {
        return Err(fault("trials", "0".to_owned(), "allowed: one or more"));
    }
    let search = Search { trials, seed, samples, periods };
    let fixed = network.resistances_ohm();
    // always watched: a search can take long
    let (bound, found) = run(py, |watch| {
        let bound = attack::attacked(network, frequency_hz, &moving, &fixed, search);
        let found = match bound {
            Ok(_) => attack::attack(network, frequency_hz, &moving, &fixed, search, watch)?,
            Err(status) => Err(status),
        };
        Ok((bound, found))
    })?;
    let no_bound = |status: Status| fault("swing_ohm", status.word().to_owned(), status.reason());
    let (bound, found) = (bound.map_err(no_bound)?, found.map_err(no_bound)?);
    let step_s = periods as f64 / frequency_hz / samples as f64;
    let flat: Vec<f64> = found.ohm.into_iter().flatten().collect();
    Ok(Attack {
        best: found.residue,
        bound,
        ratio: if bound > 0.0 { found.residue / bound } else { 0.0 },
        contacts: moving.iter().map(|m| network.contacts[m.0].name.clone()).collect(),
        ohm: flat.into_pyarray(py).reshape([moving.len(), samples])?.into_any().unbind(),
        time_s: (0..samples).map(|k| k as f64 * step_s).collect::<Vec<_>>().into_pyarray(py).into_any().unbind(),
        trials,
        seed,
    })
}
