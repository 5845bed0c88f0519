//! Whether a typical value that stood in for a number changes the answer.

use super::model::{Job, SourceSheet};
use super::report::{Row, Typical};
use super::routes::Routes;
use super::rows::rows as find;
use crate::error::InputError;
use crate::judgement::Kind;
use crate::judgement::suspects::picture;
use crate::watch::Watch;

/// Kinds of all findings, for comparing two answers.
pub(super) fn kinds(rows: &[Row]) -> Vec<Kind> {
    rows.iter().flat_map(|row| row.findings.iter().map(|f| f.kind)).collect()
}

/// Whether half or twice of each typical value changes a finding.
pub(super) fn typical(job: &Job, rows: &[Row], watch: &dyn Watch) -> Result<Vec<Typical>, InputError> {
    let mut found = Vec::new();
    for used in &job.typical {
        let mut changes = None;
        for factor in [0.5, 2.0] {
            let Some(other) = with_typical(job, &used.place, factor) else {
                break;
            };
            let routes = Routes::new(&other)?;
            let picture = picture(&routes.observations(&other), &other.bridged);
            let differs = kinds(&find(&other, &routes, &picture, watch)?) != kinds(rows);
            changes = Some(changes.unwrap_or(false) || differs);
        }
        found.push(Typical {
            place: used.place.clone(),
            name: used.name.clone(),
            means: used.means.clone(),
            changes_the_answer: changes,
        });
    }
    Ok(found)
}

/// The job with the typical value at a place scaled; `None` where scaling has no meaning.
pub(super) fn with_typical(job: &Job, place: &str, factor: f64) -> Option<Job> {
    let mut other = job.clone();
    let section = other.sections.iter_mut().find(|s| place.starts_with(&format!("[section] \"{}\"", s.name)))?;
    if place.ends_with(": from") {
        let SourceSheet::Own(source) = &mut section.from else {
            return None;
        };
        source.emf_v *= factor;
        source.resistance_ohm *= factor;
        source.inductance_h *= factor;
    } else if place.ends_with(": then") {
        let stage = section.then.as_mut()?;
        stage.gain_db += 20.0 * factor.log10();
        stage.output_resistance_ohm *= factor;
    } else if place.ends_with(": into") {
        section.load.resistance_ohm *= factor;
        section.load.capacitance_f *= factor;
    } else {
        for item in &mut section.path {
            if let crate::circuit::PathItem::Lead(lead) = item {
                lead.resistance_ohm *= factor;
                lead.capacitance_f *= factor;
            }
        }
    }
    Some(other)
}
