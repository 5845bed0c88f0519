//! What of a residue is audible, and the metrics: functions of lists; `weaklink.hearing` has the faces.

use super::array::Domain::{Finite, NotNegative, Positive};
use super::array::run;
use super::errors::input_error;
use super::fit::flat;
use super::hearing::{chosen, masker, quiet, scale};
use super::physics::over;
use crate::error::InputError;
use crate::hearing::audible::{self, Listener};
use crate::hearing::bark::Scale;
use crate::hearing::level::Sensitivity;
use crate::hearing::masking::{self, Kind, Masker, Model};
use crate::hearing::metric::{self, HarmonicWeight};
use crate::hearing::noticeable;
use crate::hearing::residue::{self, Band, Line};
use crate::hearing::smallest::{Where, smallest_noticeable_residue};
use crate::hearing::threshold::Quiet;
use crate::response::weighting::Weighting;
use pyo3::prelude::*;
use pyo3::types::PyDict;

/// Maskers as they come from Python: frequencies, levels, kinds.
type Maskers<'py> = (Bound<'py, PyAny>, Bound<'py, PyAny>, Vec<String>);

fn same_length(py: Python<'_>, place: &str, counts: &[usize], of: &str) -> PyResult<()> {
    if counts.windows(2).all(|pair| pair[0] == pair[1]) {
        return Ok(());
    }
    let found = counts.iter().map(ToString::to_string).collect::<Vec<_>>().join(" and ");
    Err(input_error(py, InputError::new(place, format!("{found} values"), format!("allowed: {of}"))))
}

fn maskers(py: Python<'_>, (hz, db, kinds): &Maskers<'_>) -> PyResult<Vec<Masker>> {
    let (hz, db) = (flat(py, "masker: frequency_hz", hz, Positive)?, flat(py, "masker: level_db", db, Finite)?);
    same_length(py, "maskers", &[hz.len(), db.len(), kinds.len()], "a frequency, a level and a kind each")?;
    let one = |((&frequency_hz, &level_db), kind): ((&f64, &f64), &String)| {
        let kind = chosen(py, "masker: kind", kind, Kind::NAMES, Kind::named(kind))?;
        Ok(Masker { frequency_hz, level_db, kind })
    };
    hz.iter().zip(&db).zip(kinds).map(one).collect()
}

fn listener(py: Python<'_>, scale_name: &str, quiets: &[String], keen_db: f64) -> PyResult<Listener> {
    let quiets = quiets.iter().map(|name| quiet(py, name)).collect::<PyResult<Vec<_>>>()?;
    Ok(Listener { scale: scale(py, scale_name)?, quiets, keen_db })
}

/// Pairs as two lists.
fn apart(pairs: &[(f64, f64)]) -> (Vec<f64>, Vec<f64>) {
    pairs.iter().copied().unzip()
}

/// Thresholds by model, their range, what is extrapolated.
#[pyfunction]
pub(super) fn _masked<'py>(
    py: Python<'py>,
    by: Maskers<'py>,
    probe_hz: &Bound<'py, PyAny>,
    scale_name: &str,
    quiets: Vec<String>,
) -> PyResult<Bound<'py, PyDict>> {
    let by = maskers(py, &by)?;
    let probe_hz = flat(py, "probe_hz", probe_hz, Positive)?;
    let Listener { scale, quiets, .. } = listener(py, scale_name, &quiets, 0.0)?;
    let found = run(py, |_| Ok(masking::masked(&by, &probe_hz, scale, &quiets)))?;
    let found = found.map_err(|fault| input_error(py, fault))?;
    let out = PyDict::new(py);
    out.set_item("frequency_hz", probe_hz)?;
    masked_into(&out, &found)?;
    Ok(out)
}

fn masked_into(out: &Bound<'_, PyDict>, found: &masking::Masked) -> PyResult<()> {
    let models: Vec<_> = Model::NAMES.iter().zip(&found.by_model_db).map(|(name, rows)| (*name, apart(rows))).collect();
    out.set_item("thresholds", models)?;
    out.set_item("range", apart(&found.range_db))?;
    out.set_item("extrapolated", &found.extrapolated)
}

/// Residue at the ear as it comes from Python: lines by level, or by ratio to a level; bands; a density.
#[derive(FromPyObject)]
pub(super) struct Residue<'py> {
    #[pyo3(item)]
    lines_hz: Bound<'py, PyAny>,
    #[pyo3(item)]
    lines_db: Option<Bound<'py, PyAny>>,
    #[pyo3(item)]
    lines_ratio: Option<Bound<'py, PyAny>>,
    #[pyo3(item)]
    ratio_of_db: Option<f64>,
    #[pyo3(item)]
    bands_low_hz: Bound<'py, PyAny>,
    #[pyo3(item)]
    bands_high_hz: Bound<'py, PyAny>,
    #[pyo3(item)]
    bands_db: Bound<'py, PyAny>,
    #[pyo3(item)]
    noise_hz: Bound<'py, PyAny>,
    #[pyo3(item)]
    noise_db_per_hz: Bound<'py, PyAny>,
}

fn fault(py: Python<'_>, place: &str, value: &str, allowed: &str) -> PyErr {
    input_error(py, InputError::new(place, value, allowed))
}

/// What ratios refer to: the level given, or the tones among the maskers.
fn reference_db(py: Python<'_>, given: Option<f64>, by: &[Masker]) -> PyResult<f64> {
    let tones: Vec<_> = by.iter().filter(|m| m.kind == Kind::Tone).map(|m| m.level_db).collect();
    let level = match given {
        Some(level) => level,
        None if tones.is_empty() => {
            return Err(fault(py, "ratio_of_db", "missing", "allowed: a level, or a tone among the maskers"));
        }
        None => residue::sum_db(&tones),
    };
    if level.is_finite() {
        Ok(level)
    } else {
        Err(input_error(py, InputError::new("ratio_of_db", level, "allowed: a finite number")))
    }
}

fn residue_of(py: Python<'_>, given: &Residue<'_>, by: &[Masker]) -> PyResult<(Vec<Line>, Vec<Band>)> {
    let hz = flat(py, "lines_hz", &given.lines_hz, Positive)?;
    let levels = match (&given.lines_db, &given.lines_ratio) {
        (None, None) => Vec::new(),
        (Some(db), None) => flat(py, "lines_db", db, Finite)?,
        (None, Some(ratios)) => {
            let of_db = reference_db(py, given.ratio_of_db, by)?;
            let ratios = flat(py, "lines_ratio", ratios, NotNegative)?;
            ratios.iter().map(|&ratio| residue::ratio_level_db(ratio, of_db)).collect()
        }
        (Some(_), Some(_)) => {
            return Err(fault(py, "lines_ratio", "given beside lines_db", "allowed: one of the two"));
        }
    };
    same_length(py, "lines", &[hz.len(), levels.len()], "a frequency and a level or ratio each")?;
    let lines = hz.iter().zip(&levels).map(|(&frequency_hz, &level_db)| Line { frequency_hz, level_db }).collect();
    let low = flat(py, "noise: low_hz", &given.bands_low_hz, NotNegative)?;
    let high = flat(py, "noise: high_hz", &given.bands_high_hz, Positive)?;
    let level = flat(py, "noise: level_db", &given.bands_db, Finite)?;
    let band = |((&low_hz, &high_hz), &level_db)| Band { low_hz, high_hz, level_db };
    let mut bands: Vec<_> = low.iter().zip(&high).zip(&level).map(band).collect();
    let density_hz = flat(py, "noise_hz", &given.noise_hz, Positive)?;
    let density_db = flat(py, "noise_db_per_hz", &given.noise_db_per_hz, Finite)?;
    if !density_hz.is_empty() || !density_db.is_empty() {
        let more = residue::bands_of_density(&density_hz, &density_db);
        bands.extend(more.map_err(|fault| input_error(py, fault))?);
    }
    Ok((lines, bands))
}

/// What of a residue is audible.
#[pyfunction]
pub(super) fn _audible<'py>(
    py: Python<'py>,
    by: Maskers<'py>,
    residue: Residue<'py>,
    scale_name: &str,
    quiets: Vec<String>,
    keen_db: f64,
) -> PyResult<Bound<'py, PyDict>> {
    let by = maskers(py, &by)?;
    let (lines, bands) = residue_of(py, &residue, &by)?;
    let listener = listener(py, scale_name, &quiets, keen_db)?;
    let found = run(py, |_| Ok(audible::audible(&by, &lines, &bands, &listener)))?;
    let found = found.map_err(|fault| input_error(py, fault))?;
    let out = PyDict::new(py);
    let excess = |e: &audible::Excess| (apart(&e.by_probe_db), e.whole_db, e.verdict.name());
    let models: Vec<_> = Model::NAMES.iter().zip(&found.by_model).map(|(name, e)| (*name, excess(e))).collect();
    out.set_item("excess", models)?;
    out.set_item("over_all", excess(&found.over_all))?;
    out.set_item("frequency_hz", &found.frequency_hz)?;
    out.set_item("lines", found.lines)?;
    out.set_item("own_db", &found.own_db)?;
    out.set_item("band_db", &found.band_db)?;
    out.set_item("modulates", &found.modulates)?;
    masked_into(&out, &found.masked)?;
    Ok(out)
}

/// Smallest noticeable residue of a tone: the ratio that excludes (0) or accuses (1).
#[pyfunction]
#[allow(clippy::too_many_arguments)]
pub(super) fn _smallest_noticeable_residue<'py>(
    py: Python<'py>,
    accuses: bool,
    tone_hz: Bound<'py, PyAny>,
    tone_db: Bound<'py, PyAny>,
    place: &str,
    scale_name: &str,
    quiets: Vec<String>,
    keen_db: f64,
    beyond: bool,
) -> PyResult<Py<PyAny>> {
    let place = chosen(py, "where", place, Where::NAMES, Where::named(place))?;
    let listener = listener(py, scale_name, &quiets, keen_db)?;
    let given = [("tone_hz", Positive, tone_hz), ("tone_db", Finite, tone_db)];
    over(py, "smallest_noticeable_residue", &given, move |x| {
        masker(x, Kind::Tone, beyond)?;
        let found = smallest_noticeable_residue(x[0], x[1], place, &listener)?;
        let pair = (found.never_below, found.always_above);
        Ok(if accuses { pair.1 } else { pair.0 })
    })
}

/// Programme of a level as maskers: frequency and level of each.
#[pyfunction]
pub(super) fn _programme(py: Python<'_>, level_db: f64) -> PyResult<Vec<(f64, f64)>> {
    let found = residue::programme(level_db).map_err(|fault| input_error(py, fault))?;
    Ok(found.iter().map(|m| (m.frequency_hz, m.level_db)).collect())
}

/// Geddes and Lee's metric, with the root of 2003 and without, from powers or from harmonics.
#[pyfunction]
pub(super) fn _geddes_lee(
    py: Python<'_>,
    from_second: Option<&Bound<'_, PyAny>>,
    harmonics: Option<&Bound<'_, PyAny>>,
) -> PyResult<(f64, f64)> {
    let found = match (from_second, harmonics) {
        (Some(values), None) => metric::geddes_lee_of_polynomial(&flat(py, "from_second", values, Finite)?),
        (None, Some(values)) => metric::geddes_lee_of_harmonics(&flat(py, "harmonics", values, Finite)?),
        (given, _) => {
            let value = if given.is_some() { "given beside harmonics" } else { "missing, and so are harmonics" };
            return Err(fault(py, "from_second", value, "allowed: one of the two"));
        }
    };
    found.map_err(|fault| input_error(py, fault))
}

/// Weighted sum of harmonics from the second on.
#[pyfunction]
pub(super) fn _weighted_harmonics(py: Python<'_>, harmonics: &Bound<'_, PyAny>, weight: &str) -> PyResult<f64> {
    let weight = chosen(py, "weight", weight, HarmonicWeight::NAMES, HarmonicWeight::named(weight))?;
    Ok(weight.of(&flat(py, "harmonics", harmonics, Finite)?))
}

/// Ranges that are not functions of anything: imbalance, response.
#[pyfunction]
pub(super) fn _noticeable() -> ((f64, f64), (f64, f64)) {
    let pair = |range: noticeable::Noticeable| (range.low_db, range.high_db);
    (pair(noticeable::imbalance()), pair(noticeable::response_change()))
}

/// What each list of names holds.
#[pyfunction]
pub(super) fn _hearing_names(py: Python<'_>) -> PyResult<Bound<'_, PyDict>> {
    let out = PyDict::new(py);
    for (what, names) in [
        ("weighting", &Weighting::NAMES[..]),
        ("scale", Scale::NAMES),
        ("quiet", Quiet::NAMES),
        ("model", Model::NAMES),
        ("masker", Kind::NAMES),
        ("per", Sensitivity::NAMES),
        ("where", Where::NAMES),
        ("weight", HarmonicWeight::NAMES),
    ] {
        out.set_item(what, names)?;
    }
    Ok(out)
}
