//! Whether all contacts of a bad route together could leave what is heard there (T2, T8, T9).

use super::model::Job;
use super::report::Row;
use super::routes::Routes;
use super::rows::{TONE_HZ, measured, millivolts, side};
use crate::bench::quantity::{Dimension, engineering};
use crate::bench::{Channel, What};
use crate::circuit::Role;
use crate::judgement::finding::{Bound, Kind, TOGETHER};
use crate::judgement::needs::Need;
use crate::response::ceiling::Status;
use crate::response::ceiling_by_readings::ceiling_by_readings;
use crate::response::linear::AUDIBLE_BAND_HZ;

/// The most that all contacts of a route can leave together, and what is heard.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Together {
    pub(super) route: String,
    /// the sum, or why there is none
    pub(super) residue: Result<f64, Status>,
    pub(super) need: f64,
    /// how many of the contacts are bounded by millivolts, and how many by ohms
    pub(super) read: (usize, usize),
}

impl Together {
    /// Whether not even all of them can do it.
    pub(super) fn clears(&self) -> bool {
        self.residue.is_ok_and(|residue| residue < self.need)
    }

    /// How far it clears: ohms read at rest are the mean of one that jumps fast.
    fn cleared(&self) -> &'static str {
        if self.read.1 == 0 { "not even together" } else { "not even together, as long as none jumps" }
    }

    /// In one line.
    pub(super) fn line(&self, channel: Channel) -> String {
        let ratio = |value| engineering(value, Dimension::Ratio);
        let (word, route, need) = (channel.word(), &self.route, ratio(self.need));
        match self.residue {
            Ok(residue) => {
                let from = match self.read {
                    (0, _) => "their largest ohms".to_owned(),
                    (_, 0) => "the millivolts across them".to_owned(),
                    (volts, ohms) => format!("the millivolts across {volts} of them and the ohms of {ohms}"),
                };
                let verdict = if self.clears() { self.cleared() } else { "together they could" };
                format!(
                    "{word}: all contacts of \"{route}\" at once: at most {} residue (bound from {from}), what is heard takes {need}: {verdict}",
                    ratio(residue)
                )
            }
            Err(status) => format!("{word}: all contacts of \"{route}\" at once: {}", status.reason()),
        }
    }
}

/// One entry for every bad route of a channel on which residue is heard and every contact has a reading that bounds it.
///
/// A reading of millivolts across a contact comes before its ohms.
pub(super) fn together(job: &Job, routes: &Routes, channel: Channel) -> Vec<Together> {
    let bad = job.heard.iter().filter(|h| h.channel == channel && h.what != What::Clean);
    let one = |heard: &crate::bench::Heard| {
        let Some(Need::Residue(need, _)) = routes.need(heard) else { return None };
        let route = routes.named(&heard.route)?;
        let level = routes.level(heard);
        let (mut moving, mut read) = (Vec::new(), Vec::new());
        for name in route.contacts() {
            let index = route.index_of(name)?;
            let contact = &route.network.contacts[index];
            let across = contact.role == Role::Shunt;
            let by_millivolts = millivolts(job, route, index, (name, channel), false).filter(|share| share.is_finite());
            if let Some(share) = by_millivolts.filter(|_| !across && contact.role != Role::SharedReturn) {
                read.push((index, share));
                continue;
            }
            let place = route.place(index, level);
            let range = measured(job, name, channel, &place)?;
            let ends = if across { (range.low_ohm, f64::INFINITY) } else { (0.0, range.high_in_use_ohm(&place)) };
            if contact.direct_current_a > 0.0 || !across && ends.1.is_infinite() || across && ends.0 <= 0.0 {
                return None;
            }
            moving.push((index, ends));
        }
        let residue = ceiling_by_readings(&route.network, TONE_HZ, &moving, &read, AUDIBLE_BAND_HZ);
        let told = matches!(residue, Ok(_) | Err(Status::ReadDifferently));
        (told && moving.len() + read.len() > 0).then(|| Together {
            route: heard.route.clone(),
            residue,
            need,
            read: (read.len(), moving.len()),
        })
    };
    bad.filter_map(one).collect()
}

/// Adds to every finding that a ceiling clears that not even all contacts of its route could do it.
pub(super) fn mark(rows: &mut [Row], channel: Channel, sums: &[Together]) {
    for finding in rows.iter_mut().map(|row| &mut row.findings[side(channel)]) {
        let Some(own) =
            finding.bound.as_ref().filter(|_| matches!(finding.kind, Kind::CannotBeSole | Kind::CannotUnlessItJumps))
        else {
            continue;
        };
        // every need of the route, and a bound of the same kind
        let mut own_route = sums.iter().filter(|all| all.route == own.route && own.unit == "ratio");
        let all = own_route.clone().all(Together::clears).then(|| own_route.next()).flatten();
        let Some((all, residue)) = all.and_then(|all| Some((all, all.residue.ok()?))) else { continue };
        finding.reasons.push(format!(
            "route \"{}\": {}: at most {} residue (bound from {TOGETHER})",
            all.route,
            all.cleared(),
            engineering(residue, Dimension::Ratio)
        ));
        finding.bound_together = Some(Bound {
            by: TOGETHER.to_owned(),
            route: all.route.clone(),
            at_most: residue,
            needed: all.need,
            unit: "ratio",
        });
    }
}
