//! One row per contact: its range of resistance, what it can do on each bad route, the finding.

use super::model::{Job, part_of};
use super::reaching::smallest_reaching;
use super::report::Row;
use super::route::Route;
use super::routes::Routes;
use crate::bench::evidence::Heard;
use crate::bench::method::Shows;
use crate::bench::quantity::Shown;
use crate::bench::range::{Place, ResistanceRange, range_of, swing};
use crate::bench::{Channel, Reading, What};
use crate::circuit::Role;
use crate::error::InputError;
use crate::judgement::finding::{Ability, Known};
use crate::judgement::needs::Need;
use crate::judgement::suspects::ChannelPicture;
use crate::judgement::{Finding, Kind, Picture, Who};
use crate::response::ceiling::{Loop, Status};
use crate::response::ceiling_many::{Beside, ceiling_many_beside};
use crate::response::linear::{AUDIBLE_BAND_HZ, crosstalk_db, loss_db, response_change_db};
use crate::response::millivolt::millivolt_factor;
use crate::response::resistive_loop::worst_steady_residue;
use crate::watch::{Stopped, Watch};
use std::collections::BTreeMap;

/// Frequency of the test tone that losses and ceilings are stated for, Hz.
pub(super) const TONE_HZ: f64 = 1000.0;

/// Every contact, in the order of the routes.
pub(super) fn contacts(routes: &Routes) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for route in &routes.all {
        for name in route.contacts() {
            if !names.iter().any(|known| known == name) {
                names.push(name.to_owned());
            }
        }
    }
    names
}

pub(super) fn rows(job: &Job, routes: &Routes, picture: &Picture, watch: &dyn Watch) -> Result<Vec<Row>, InputError> {
    let row = |contact: String| {
        if watch.stop() {
            return Err(InputError::new("assess", Stopped, "let it run to its end"));
        }
        let part = job.parts.get(part_of(&contact));
        // what is usual for a kind is said of closed contacts
        let closed = job.role(&contact) != Role::Shunt;
        let limit = part.filter(|_| closed).and_then(|p| p.kind?.in_order(p.track_ohm));
        let one = |channel| finding(job, routes, picture, &contact, channel, limit.map(|l| l.up_to_ohm));
        let findings = [one(Channel::Left), one(Channel::Right)];
        Ok(Row {
            in_order_up_to_ohm: limit.map(|l| l.up_to_ohm),
            in_order_source: limit.map(|l| l.source.to_owned()),
            contact,
            findings,
        })
    };
    contacts(routes).into_iter().map(row).collect()
}

pub(super) fn channel_of(picture: &Picture, channel: Channel) -> &ChannelPicture {
    &picture.channels[side(channel)]
}

/// The range that the readings before any remedy leave for one contact and channel.
pub(super) fn measured(job: &Job, contact: &str, channel: Channel, place: &Place) -> Option<ResistanceRange> {
    let readings =
        job.readings.iter().filter(|r| r.contact == contact && r.channel == channel && r.when.before_remedy());
    swing(&readings.map(|r| range_of(r, place)).collect::<Vec<_>>())
}

pub(super) fn finding(
    job: &Job,
    routes: &Routes,
    picture: &Picture,
    contact: &str,
    channel: Channel,
    limit: Option<f64>,
) -> Finding {
    let who = Who::Contact(contact.to_owned());
    let standing = channel_of(picture, channel).standing.get(&who);
    let through = routes.through(job, contact, channel);
    let place = through.map_or(Place::UNKNOWN, |(route, index, level)| route.place(index, level));
    let range = measured(job, contact, channel, &place);
    let abilities = abilities(job, routes, contact, channel, range);
    let mut by_hypothesis = BTreeMap::new();
    if let Some(range) = range.filter(|_| job.role(contact) == Role::Signal || job.role(contact) == Role::Return) {
        let ohm = if range.high_ohm.is_finite() { range.high_ohm } else { range.low_ohm };
        for law in ["tunnelling", "rectifying"] {
            let emf_v = place.open_peak_v / std::f64::consts::SQRT_2;
            if ohm > 0.0 {
                by_hypothesis
                    .extend(worst_steady_residue(law, ohm, place.loop_ohm, emf_v).map(|worst| (law.to_owned(), worst)));
            }
        }
        let chatter = abilities
            .iter()
            .map(|a| if range.high_ohm.is_finite() { a.residue.1 } else { a.residue.0 })
            .reduce(f64::max);
        by_hypothesis.extend(chatter.map(|c| ("chatter".to_owned(), c)));
    }
    let role = job.role(contact);
    Known { contact, channel, role, standing, range, abilities, in_order_up_to_ohm: limit, by_hypothesis }.judge()
}

/// What the contact can do on each bad route through it.
pub(super) fn abilities(
    job: &Job,
    routes: &Routes,
    contact: &str,
    channel: Channel,
    range: Option<ResistanceRange>,
) -> Vec<Ability> {
    let bad = |h: &&Heard| h.channel == channel && h.what != What::Clean;
    let loss_heard = |route: &str| {
        job.heard.iter().any(|h| {
            h.channel == channel && h.route == route && matches!(h.what, What::Quieter | What::Imbalance | What::Dead)
        })
    };
    let one = |heard: &Heard| {
        let route = routes.named(&heard.route)?;
        let index = route.index_of(contact)?;
        let need = routes.need(heard)?;
        let level = routes.level(heard);
        let deed = Deed::new(route, index, level);
        let across = deed.across;
        // the end of the reading that is worst for the signal, the one that the contact surely reached, and the best one
        let range = range.unwrap_or(ResistanceRange::unknown());
        let place = route.place(index, level);
        let in_use = range.high_in_use_ohm(&place);
        let (best, surely, worst) = if across {
            (range.high_ohm, range.high_ohm, range.low_ohm)
        } else {
            (range.low_ohm, range.reached_ohm, in_use)
        };
        let dull = matches!(need, Need::ResponseChange(..));
        let by_millivolts = deed.by_millivolts(job, (contact, channel), need.needs_moved_reading());
        let by_range = deed.residue(worst).unwrap_or(f64::INFINITY);
        Some(Ability {
            route: heard.route.clone(),
            need,
            residue: (deed.residue(surely).unwrap_or(0.0), by_millivolts.unwrap_or(by_range)),
            loss_db: (deed.loss_db(surely), deed.loss_db(worst)),
            jumping_loss_db: if across { f64::INFINITY } else { range.mean_loss_db(&place) },
            least_loss_db: deed.loss_db(best),
            change_db: if dull { (deed.change_db(surely), deed.change_db(worst)) } else { (0.0, 0.0) },
            loss_was_heard: loss_heard(&heard.route),
            by: if by_millivolts.is_some() { "the millivolts across it".to_owned() } else { deed.by_ohms() },
            loss_by: if across { "its smallest ohms" } else { "its largest ohms" },
            by_millivolts: by_millivolts.is_some(),
            impossible_below_v: deed.impossible_below_v(need, level),
            impossible_below_ohm: (!across).then(|| impossible_below(need, &deed)).flatten(),
        })
    };
    job.heard.iter().filter(bad).filter_map(one).collect()
}

/// Largest millivolts read across a contact while the signal played, accuracy counted, over the volts at its link's load; nothing
/// without such a reading.
/// What comes and goes takes readings that were taken while the contact was moved.
pub(super) fn millivolts(
    job: &Job,
    route: &Route,
    index: usize,
    (contact, channel): (&str, Channel),
    only_moved: bool,
) -> Option<f64> {
    let played = job.readings.iter().filter(|r| !only_moved || r.when.moved()).filter(|r| {
        r.contact == contact && r.channel == channel && r.when.before_remedy() && r.method.shows == Shows::SignalVolts
    });
    let share = |r: &Reading| {
        let across_v = match r.shows {
            Shown::Value(q) => q.high(),
            Shown::Between(_, high) => high,
            Shown::Below(limit) => limit,
            Shown::Above(_) | Shown::Open => f64::INFINITY,
        };
        let load_v = route.at_link_load_v(index, r.at_v.unwrap_or(f64::NAN));
        (across_v + r.method.half_width(across_v)) / load_v
    };
    played.map(share).reduce(f64::max)
}

/// What a contact can do to the signal of a route, all others perfect.
pub(super) struct Deed<'r> {
    route: &'r Route,
    index: usize,
    perfect_ohm: Vec<f64>,
    bound: Option<Loop<'r>>,
    chain_emf_v: f64,
    direct_current_a: f64,
    /// whether it stands across the signal, where few ohms are worse than many
    pub(super) across: bool,
}

impl<'r> Deed<'r> {
    pub(super) fn new(route: &'r Route, index: usize, level_v: f64) -> Self {
        let network = &route.network;
        let perfect_ohm = network.perfect_ohm();
        let bound = Loop::new(network, &[index], &perfect_ohm, TONE_HZ, AUDIBLE_BAND_HZ).ok();
        Self {
            bound,
            chain_emf_v: route.chain_emf_v(index, level_v),
            direct_current_a: network.contacts[index].direct_current_a,
            across: network.contacts[index].role == Role::Shunt,
            route,
            index,
            perfect_ohm,
        }
    }

    /// Most residue of any contact between its best and `ohm`; nothing without a bound.
    pub(super) fn residue(&self, ohm: f64) -> Option<f64> {
        let range = if self.across { (ohm, f64::INFINITY) } else { (0.0, ohm) };
        if ohm == self.perfect_ohm[self.index] {
            return Some(0.0);
        }
        let network = &self.route.network;
        let ceiling = match &self.bound {
            Some(bound) => bound.ceiling_beside(range, self.chain_emf_v, self.direct_current_a),
            // in a shared return, both channels playing the same (T2)
            None if network.contacts[self.index].role == Role::SharedReturn && ohm.is_finite() => {
                let beside = Beside {
                    emf_v: self.chain_emf_v,
                    direct_current_a: network.contacts.iter().map(|contact| contact.direct_current_a).collect(),
                    other_channel: Some(1.0),
                };
                let moving = [(self.index, range)];
                ceiling_many_beside(network, TONE_HZ, &moving, &self.perfect_ohm, AUDIBLE_BAND_HZ, &beside)
            }
            None => return None,
        };
        (ceiling.status == Status::Holds).then_some(ceiling.chatter)
    }

    /// Most residue by the millivolts that were read across it while the signal played (T8); nothing without such a reading.
    fn by_millivolts(&self, job: &Job, whose: (&str, Channel), only_moved: bool) -> Option<f64> {
        Some(self.millivolt_factor()? * millivolts(job, self.route, self.index, whose, only_moved)?)
    }

    fn millivolt_factor(&self) -> Option<f64> {
        millivolt_factor(&self.route.network, self.index, TONE_HZ, &self.perfect_ohm, AUDIBLE_BAND_HZ).ok()
    }

    /// Volts across it below which it leaves less residue than is heard, while the route plays at a level (T8).
    fn impossible_below_v(&self, need: Need, level_v: f64) -> Option<f64> {
        let (Need::Residue(least, _) | Need::ResidueNowAndThen(least, _)) = need else { return None };
        let load_v = self.route.at_link_load_v(self.index, self.route.load_v(self.index, level_v));
        Some(least / self.millivolt_factor()? * load_v).filter(|v| v.is_finite() && *v > 0.0)
    }

    /// What the bound of its ohms is from.
    fn by_ohms(&self) -> String {
        let ends = if self.across { "its smallest ohms" } else { "its largest ohms" };
        let shared = self.route.network.contacts[self.index].role == Role::SharedReturn;
        let direct = if self.direct_current_a > 0.0 { " and the direct current through it" } else { "" };
        format!("{ends}{direct}{}", if shared { ", both channels playing the same" } else { "" })
    }

    fn with(&self, ohm: f64) -> Vec<f64> {
        let mut ohms = self.perfect_ohm.clone();
        ohms[self.index] = ohm;
        ohms
    }

    /// Loss at 1 kHz of a steady resistance, dB.
    pub(super) fn loss_db(&self, ohm: f64) -> f64 {
        let shuts = if self.across { ohm == 0.0 } else { ohm.is_infinite() };
        if shuts { f64::INFINITY } else { loss_db(&self.route.network, TONE_HZ, &self.with(ohm)) }
    }

    /// Response change of a steady resistance over the audible band, dB.
    pub(super) fn change_db(&self, ohm: f64) -> f64 {
        let shuts = if self.across { ohm == 0.0 } else { ohm.is_infinite() };
        if shuts { f64::INFINITY } else { response_change_db(&self.route.network, &self.with(ohm), AUDIBLE_BAND_HZ) }
    }

    /// Crosstalk at 1 kHz of a resistance in a shared return, dB.
    pub(super) fn crosstalk_db(&self, ohm: f64) -> f64 {
        crosstalk_db(&self.route.network, TONE_HZ, &self.with(ohm))
    }
}

/// Resistance below which what is needed cannot be done.
fn impossible_below(need: Need, deed: &Deed<'_>) -> Option<f64> {
    let residue = |ohm| deed.residue(ohm).unwrap_or(f64::INFINITY);
    let (law, least): (&dyn Fn(f64) -> f64, f64) = match need {
        Need::Residue(least, _) | Need::ResidueNowAndThen(least, _) => {
            // a microhm has a bound wherever there is one at all
            deed.residue(1e-6)?;
            (&residue, least)
        }
        Need::Loss(least, ..) | Need::LossNowAndThen(least, _) => (&|ohm| deed.loss_db(ohm), least),
        Need::ResponseChange(least, _) => (&|ohm| deed.change_db(ohm), least),
        Need::NotComputed => return None,
    };
    smallest_reaching(law, least)
}

/// Place of a channel in a pair.
pub(super) fn side(channel: Channel) -> usize {
    usize::from(channel == Channel::Right)
}

pub(super) fn is_proved(rows: &[Row], channel: Channel) -> bool {
    rows.iter().any(|row| row.findings[side(channel)].kind == Kind::Proved)
}
