//! The laws of hearing on arrays: one table of names, arguments and functions; `weaklink.hearing` has the faces.

use super::array::Domain::{self, Finite, Positive};
use super::errors::input_error;
use super::physics::over;
use crate::error::InputError;
use crate::hearing::bark::{self, Scale};
use crate::hearing::equal_loudness::Edition;
use crate::hearing::level::{self, Sensitivity};
use crate::hearing::masking::{self, Kind, Masker, Model};
use crate::hearing::noticeable;
use crate::hearing::threshold::Quiet;
use crate::response::weighting::Weighting;
use pyo3::prelude::*;
use pyo3::types::PyTuple;

/// One of a list of names, or an error that lists them.
pub(super) fn chosen<T>(py: Python<'_>, place: &str, name: &str, names: &[&str], found: Option<T>) -> PyResult<T> {
    found.ok_or_else(|| {
        let quoted: Vec<_> = names.iter().map(|name| format!("{name:?}")).collect();
        input_error(py, InputError::new(place, format!("{name:?}"), format!("allowed: {}", quoted.join(", "))))
    })
}

/// A law on numbers, by the names of what it takes from lists.
type Law = Box<dyn Fn(&[f64]) -> Result<f64, InputError> + Send + Sync>;

pub(super) fn scale(py: Python<'_>, name: &str) -> PyResult<Scale> {
    chosen(py, "scale", name, Scale::NAMES, Scale::named(name))
}

pub(super) fn quiet(py: Python<'_>, name: &str) -> PyResult<Quiet> {
    chosen(py, "quiet", name, Quiet::NAMES, Quiet::named(name))
}

fn edition(py: Python<'_>, name: &str) -> PyResult<Edition> {
    chosen(py, "edition", name, &["2003", "2023"], name.parse().ok().and_then(Edition::of))
}

fn sensitivity(py: Python<'_>, name: &str) -> PyResult<Sensitivity> {
    chosen(py, "per", name, Sensitivity::NAMES, Sensitivity::named(name))
}

/// The names that a law takes and the flag that lets it go beyond its range.
struct Chosen<'a> {
    names: &'a [String],
    beyond: bool,
}

/// What a table of laws has: arguments with what they may be, how many names, and the law once these are known.
struct Row {
    name: &'static str,
    arguments: &'static [(&'static str, Domain)],
    names: usize,
    law: fn(Python<'_>, &Chosen<'_>) -> PyResult<Law>,
}

const HZ: (&str, Domain) = ("frequency_hz", Positive);

/// A masker within the published range, or anywhere if asked for.
pub(super) fn masker(x: &[f64], kind: Kind, beyond: bool) -> Result<Masker, InputError> {
    let masker = Masker { frequency_hz: x[0], level_db: x[1], kind };
    if beyond {
        masker.check()?
    } else {
        masker.check_published()?
    };
    Ok(masker)
}

const LAWS: &[Row] = &[
    Row {
        name: "weighting_db",
        arguments: &[HZ],
        names: 1,
        law: |py, c| {
            let name = c.names[0].as_str();
            let weighting = chosen(py, "weighting", name, &Weighting::NAMES, Weighting::named(name))?;
            Ok(Box::new(move |x| Ok(weighting.db(x[0]))))
        },
    },
    Row {
        name: "quiet_threshold_db",
        arguments: &[HZ],
        names: 1,
        law: |py, c| {
            let (quiet, beyond) = (quiet(py, &c.names[0])?, c.beyond);
            Ok(Box::new(move |x| if beyond { Ok(quiet.or_beyond_db(x[0]).0) } else { quiet.level_db(x[0]) }))
        },
    },
    Row {
        name: "equal_loudness_db",
        arguments: &[("loudness_phon", Finite), HZ],
        names: 1,
        law: |py, c| {
            let (edition, beyond) = (edition(py, &c.names[0])?, c.beyond);
            Ok(Box::new(move |x| edition.level_db(x[0], x[1], beyond)))
        },
    },
    Row {
        name: "loudness_phon",
        arguments: &[("level_db", Finite), HZ],
        names: 1,
        law: |py, c| {
            let (edition, beyond) = (edition(py, &c.names[0])?, c.beyond);
            Ok(Box::new(move |x| edition.loudness_phon(x[0], x[1], beyond)))
        },
    },
    Row {
        name: "bark",
        arguments: &[HZ],
        names: 1,
        law: |py, c| {
            let scale = scale(py, &c.names[0])?;
            Ok(Box::new(move |x| Ok(scale.bark(x[0]))))
        },
    },
    Row {
        name: "bark_to_hz",
        arguments: &[("bark", Finite)],
        names: 1,
        law: |py, c| {
            let scale = scale(py, &c.names[0])?;
            Ok(Box::new(move |x| scale.frequency_hz(x[0])))
        },
    },
    Row {
        name: "critical_bandwidth_hz",
        arguments: &[HZ],
        names: 0,
        law: |_, _| Ok(Box::new(|x| Ok(bark::critical_bandwidth_hz(x[0])))),
    },
    Row {
        name: "equivalent_rectangular_hz",
        arguments: &[HZ],
        names: 0,
        law: |_, _| Ok(Box::new(|x| Ok(bark::equivalent_rectangular_hz(x[0])))),
    },
    Row {
        name: "schroeder_spreading_db",
        arguments: &[("distance_bark", Finite)],
        names: 0,
        law: |_, _| Ok(Box::new(|x| Ok(masking::schroeder_spreading_db(x[0])))),
    },
    Row {
        name: "masked_threshold_db",
        arguments: &[("masker_hz", Positive), ("masker_db", Finite), ("probe_hz", Positive)],
        names: 4,
        law: |py, c| {
            let (model, kind) = (c.names[0].as_str(), c.names[1].as_str());
            let model = chosen(py, "model", model, Model::NAMES, Model::named(model))?;
            let kind = chosen(py, "masker", kind, Kind::NAMES, Kind::named(kind))?;
            let (scale, quiet, beyond) = (scale(py, &c.names[2])?, quiet(py, &c.names[3])?, c.beyond);
            Ok(Box::new(move |x| {
                let masker = masker(x, kind, beyond)?;
                let quiet_db =
                    if beyond { quiet.or_beyond_db(x[2]).0 } else { quiet.level_db(x[2]).map_err(at_probe)? };
                Ok(model.threshold_db(&masker, scale, x[2], quiet_db))
            }))
        },
    },
    Row {
        name: "level_at_ear_db",
        arguments: &[
            ("sensitivity_db", Finite),
            ("drive", Positive),
            ("distance_m", Positive),
            ("room_gain_db", Finite),
        ],
        names: 1,
        law: |py, c| {
            let per = sensitivity(py, &c.names[0])?;
            Ok(Box::new(move |x| Ok(per.level_db(x[0], x[1], x[2]) + x[3])))
        },
    },
    Row {
        name: "headphone_per_volt_db",
        arguments: &[("per_milliwatt_db", Finite), ("impedance_ohm", Positive)],
        names: 0,
        law: |_, _| Ok(Box::new(|x| Ok(level::headphone_per_volt_db(x[0], x[1])))),
    },
    Row {
        name: "noticeable_tone_change_db",
        arguments: &[("sensation_db", Finite)],
        names: 0,
        law: |_, _| Ok(Box::new(|x| noticeable::jesteadt_db(x[0]))),
    },
    Row {
        name: "noticeable_loss_low_db",
        arguments: &[("sensation_db", Finite)],
        names: 0,
        law: |_, c| {
            let beyond = c.beyond;
            Ok(Box::new(move |x| loss(x[0], beyond).map(|range| range.low_db)))
        },
    },
    Row {
        name: "noticeable_loss_high_db",
        arguments: &[("sensation_db", Finite)],
        names: 0,
        law: |_, c| {
            let beyond = c.beyond;
            Ok(Box::new(move |x| loss(x[0], beyond).map(|range| range.high_db)))
        },
    },
    Row {
        name: "image_angle_deg",
        arguments: &[("imbalance_db", Finite), ("half_angle_deg", Positive)],
        names: 0,
        law: |_, _| {
            Ok(Box::new(|x| {
                half_angle(x[1])?;
                Ok(noticeable::image_angle_deg(x[0], x[1]))
            }))
        },
    },
    Row {
        name: "imbalance_for_angle_db",
        arguments: &[("angle_deg", Finite), ("half_angle_deg", Positive)],
        names: 0,
        law: |_, _| {
            Ok(Box::new(|x| {
                half_angle(x[1])?;
                noticeable::imbalance_for_angle_db(x[0], x[1])
            }))
        },
    },
];

fn at_probe(fault: InputError) -> InputError {
    InputError { place: "probe_hz".to_owned(), ..fault }
}

fn half_angle(degrees: f64) -> Result<(), InputError> {
    if degrees < 90.0 { Ok(()) } else { Err(InputError::new("half_angle_deg", degrees, "allowed: below 90 degrees")) }
}

fn loss(sensation_db: f64, beyond: bool) -> Result<noticeable::Noticeable, InputError> {
    if !beyond {
        noticeable::jesteadt_db(sensation_db)?;
    }
    noticeable::loss(sensation_db)
}

/// A law of the table by its name: names from lists, whether it may go beyond its range, arguments in its order.
#[pyfunction]
#[pyo3(signature = (name, names, beyond, *arguments))]
pub(super) fn _hearing<'py>(
    py: Python<'py>,
    name: &str,
    names: Vec<String>,
    beyond: bool,
    arguments: &Bound<'py, PyTuple>,
) -> PyResult<Py<PyAny>> {
    let row = LAWS.iter().find(|row| row.name == name);
    let row = row.filter(|row| row.names == names.len() && row.arguments.len() == arguments.len());
    let row = row.ok_or_else(|| {
        let found = format!("{name:?}, {} names, {} arguments", names.len(), arguments.len());
        input_error(py, InputError::new("_hearing", found, "allowed: a law of the table with what it takes"))
    })?;
    let law = (row.law)(py, &Chosen { names: &names, beyond })?;
    let given: Vec<_> = row.arguments.iter().zip(arguments.iter()).map(|((n, d), x)| (*n, *d, x)).collect();
    over(py, row.name, &given, law)
}

/// Names of the table.
#[pyfunction]
pub(super) fn _hearing_laws() -> Vec<&'static str> {
    LAWS.iter().map(|row| row.name).collect()
}
