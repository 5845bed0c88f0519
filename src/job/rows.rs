//! One row per contact: its range of resistance, what it can do on each bad route, the finding.

use super::model::{Job, part_of};
use super::report::Row;
use super::routes::Routes;
use crate::bench::evidence::Heard;
use crate::bench::range::{Place, ResistanceRange, range_of, swing};
use crate::bench::{Channel, What};
use crate::judgement::finding::{Ability, Known};
use crate::judgement::needs::Need;
use crate::judgement::suspects::ChannelPicture;
use crate::judgement::{Finding, Kind, Picture, Who};
use crate::response::ceiling::Loop;
use crate::response::linear::{AUDIBLE_BAND_HZ, loss_db, response_change_db};
use crate::response::resistive_loop::worst_steady_residue;
use std::collections::BTreeMap;

/// Frequency of the test tone that losses and ceilings are stated for, Hz.
pub(super) const TONE_HZ: f64 = 1000.0;

/// Every contact, in the order of the routes.
pub(super) fn contacts(routes: &Routes) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for route in &routes.all {
        for (_, name) in route.contacts() {
            if !names.iter().any(|known| known == name) {
                names.push(name.to_owned());
            }
        }
    }
    names
}

pub(super) fn rows(job: &Job, routes: &Routes, picture: &Picture) -> Vec<Row> {
    let row = |contact: String| {
        let part = job.parts.get(part_of(&contact));
        let limit = part.and_then(|p| p.kind?.in_order(p.track_ohm));
        let one = |channel| finding(job, routes, picture, &contact, channel, limit.map(|l| l.up_to_ohm));
        let findings = [one(Channel::Left), one(Channel::Right)];
        Row {
            in_order_up_to_ohm: limit.map(|l| l.up_to_ohm),
            in_order_source: limit.map(|l| l.source.to_owned()),
            contact,
            findings,
        }
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
    let place = through.map(|(route, index, level)| route.place(index, level));
    let range = place.as_ref().and_then(|place| measured(job, contact, channel, place));
    let abilities = abilities(job, routes, contact, channel, range);
    let mut by_hypothesis = BTreeMap::new();
    if let (Some(place), Some(range)) = (place, range) {
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
    Known { contact, channel, standing, range, abilities, in_order_up_to_ohm: limit, by_hypothesis }.judge()
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
        let (index, _) = route.contacts().find(|c| c.1 == contact)?;
        let need = Need::of(heard)?;
        let (least, low, high) = range.map_or((0.0, 0.0, f64::INFINITY), |r| (r.low_ohm, r.reached_ohm, r.high_ohm));
        let high = range.map_or(high, |r| r.high_in_use_ohm(&route.place(index, routes.level(heard))));
        let perfect = vec![0.0; route.network.contacts.len()];
        let ready = Loop::new(&route.network, &[index], &perfect, TONE_HZ, AUDIBLE_BAND_HZ).ok()?;
        let residue = |ohm: f64| {
            if ohm.is_finite() { ready.ceiling((0.0, ohm)).chatter } else { f64::INFINITY }
        };
        let at = |ohm: f64, law: &dyn Fn(&[f64]) -> f64| {
            if ohm.is_infinite() {
                return f64::INFINITY;
            }
            let mut ohms = perfect.clone();
            ohms[index] = ohm;
            law(&ohms)
        };
        let loss = |ohm: f64| at(ohm, &|ohms| loss_db(&route.network, TONE_HZ, ohms));
        let change = |ohm: f64| at(ohm, &|ohms| response_change_db(&route.network, ohms, AUDIBLE_BAND_HZ));
        let dull = matches!(need, Need::ResponseChange(_));
        Some(Ability {
            route: heard.route.clone(),
            need,
            residue: (residue(low), residue(high)),
            loss_db: (loss(low), loss(high)),
            least_loss_db: loss(least),
            change_db: if dull { (change(low), change(high)) } else { (0.0, 0.0) },
            loss_was_heard: loss_heard(&heard.route),
            impossible_below_ohm: impossible_below(need, &residue, &loss, &change),
        })
    };
    job.heard.iter().filter(bad).filter_map(one).collect()
}

/// Resistance below which what is needed cannot be done.
pub(super) fn impossible_below(
    need: Need,
    residue: &dyn Fn(f64) -> f64,
    loss: &dyn Fn(f64) -> f64,
    change: &dyn Fn(f64) -> f64,
) -> Option<f64> {
    let (law, least): (&dyn Fn(f64) -> f64, f64) = match need {
        Need::Residue(least) | Need::ResidueNowAndThen(least) => (residue, least),
        Need::Loss(least, _) | Need::LossNowAndThen(least) => (loss, least),
        Need::ResponseChange(least) => (change, least),
        Need::NotComputed => return None,
    };
    smallest_reaching(law, least)
}

/// Smallest resistance at which a rising law reaches a value, ohm; `None` if a gigohm does not.
pub(super) fn smallest_reaching(law: &dyn Fn(f64) -> f64, least: f64) -> Option<f64> {
    const SMALLEST_OHM: f64 = 1e-6;
    const LARGEST_OHM: f64 = 1e9;
    const ROUNDS: usize = 40;
    if law(LARGEST_OHM) < least {
        return None;
    }
    let (mut low, mut high) = (SMALLEST_OHM.ln(), LARGEST_OHM.ln());
    for _ in 0..ROUNDS {
        let middle = 0.5 * (low + high);
        if law(middle.exp()) < least {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(low.exp())
}

/// Place of a channel in a pair.
pub(super) fn side(channel: Channel) -> usize {
    usize::from(channel == Channel::Right)
}

pub(super) fn is_proved(rows: &[Row], channel: Channel) -> bool {
    rows.iter().any(|row| row.findings[side(channel)].kind == Kind::Proved)
}
