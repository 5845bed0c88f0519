//! Readings that cannot be of the contact as it was listened through: so many ohms, and yet the channel was clean.
//!
//! Mostly a relay that was read with the set off, as it must be, and without its coil fed: open, whatever its contacts are like. What was read
//! of its other channel in the same way says as little.

use super::model::{Job, part_of};
use super::routes::Routes;
use super::rows::channel_of;
use crate::bench::Reading;
use crate::bench::kind::Kind;
use crate::bench::quantity::{Dimension, engineering};
use crate::bench::range::range_of;
use crate::circuit::Role;
use crate::judgement::needs::{DEAD_LOSS_DB, LOSS_SURELY_HEARD_DB};
use crate::judgement::{Picture, Standing, Who};

/// A contact whose high readings say nothing.
pub(super) struct Impossible {
    contact: String,
    /// how, as a sentence
    pub(super) says: String,
}

/// What a reading at rest shows at least, ohm, where that is so much that the channel would be called dead.
fn dead_from_ohm(job: &Job, routes: &Routes, r: &Reading) -> Option<f64> {
    loses(job, routes, r, DEAD_LOSS_DB)
}

/// What a reading at rest shows at least, ohm, where that takes more off the signal than so much.
fn loses(job: &Job, routes: &Routes, r: &Reading, loss_db: f64) -> Option<f64> {
    let in_series = matches!(job.role(&r.contact), Role::Signal | Role::Return);
    let (route, index, level) = routes.through(job, &r.contact, r.channel).filter(|_| in_series)?;
    let place = route.place(index, level);
    let range = range_of(r, &place);
    let most_ohm = (10f64.powf(loss_db / 20.0) - 1.0) * place.loop_ohm;
    (!range.moved && range.low_ohm > most_ohm).then_some(range.low_ohm)
}

/// The route that is clean through what was read.
fn clean_on<'p>(picture: &'p Picture, r: &Reading) -> Option<&'p str> {
    match channel_of(picture, r.channel).standing.get(&Who::Contact(r.contact.clone())) {
        Some(Standing::ClearedBy { route, .. } | Standing::NotOnABadRoute(Some(route))) => Some(route),
        _ => None,
    }
}

/// Readings of more ohms than a channel that was called clean can have: not enough to leave them out, enough to ask again.
pub(super) fn at_odds(job: &Job, routes: &Routes, picture: &Picture) -> Vec<String> {
    let one = |r: &Reading| {
        let low_ohm = loses(job, routes, r, LOSS_SURELY_HEARD_DB)?;
        let clean_on = clean_on(picture, r)?;
        Some(format!(
            "{}: {} reads {} or more (line {}), which takes {LOSS_SURELY_HEARD_DB} dB or more off, yet route \"{clean_on}\" is clean through it: were the channels swapped?",
            r.channel.word(),
            r.contact,
            engineering(low_ohm, Dimension::Resistance),
            r.line
        ))
    };
    job.readings.iter().filter(|r| r.when.before_remedy()).filter_map(one).collect()
}

/// Contacts that read open on a channel that is clean through them.
pub(super) fn impossible(job: &Job, routes: &Routes, picture: &Picture) -> Vec<Impossible> {
    let mut found: Vec<Impossible> = Vec::new();
    for r in job.readings.iter().filter(|r| r.when.before_remedy()) {
        let Some(low_ohm) = dead_from_ohm(job, routes, r) else { continue };
        let Some(clean_on) = clean_on(picture, r) else { continue };
        if found.iter().any(|one| one.contact == r.contact) {
            continue;
        }
        let relay = job.parts.get(part_of(&r.contact)).is_some_and(|part| part.kind == Some(Kind::Relay));
        let ask = if relay { "was its coil fed?" } else { "was it closed, and the probe on it?" };
        found.push(Impossible {
            says: format!(
                "{}: {} reads {} or more (line {}), yet route \"{clean_on}\" is clean through it: {ask} Such readings of it are left out",
                r.channel.word(),
                r.contact,
                engineering(low_ohm, Dimension::Resistance),
                r.line
            ),
            contact: r.contact.clone(),
        });
    }
    found
}

/// The job without what cannot be: of such a contact no reading on either channel that says it is as good as open.
pub(super) fn without(job: &Job, routes: &Routes, impossible: &[Impossible]) -> Job {
    let mut job = job.clone();
    if !impossible.is_empty() {
        let kept = |r: &Reading| {
            !impossible.iter().any(|one| one.contact == r.contact) || dead_from_ohm(&job, routes, r).is_none()
        };
        let readings = job.readings.iter().filter(|r| kept(r)).cloned().collect();
        job.readings = readings;
    }
    job
}
