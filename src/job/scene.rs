//! From a job to the scene that the draws need: suspects, sightings, readings, tables of what each contact does.

use super::model::{Job, part_of};
use super::report::Row;
use super::routes::Routes;
use super::rows::side;
use crate::bench::kind::Kind as PartKind;
use crate::bench::range::Place;
use crate::bench::{Channel, Strength, What};
use crate::circuit::{PathItem, Role};
use crate::error::InputError;
use crate::judgement::deeds::Deeds;
use crate::judgement::needs::Noticed;
use crate::judgement::scene::{ChannelScene, Excluded, Measured, Nature, Noted, On, Scene, Sighting, Suspect};
use crate::judgement::uncertainty::monte_carlo::blocks;
use crate::judgement::{Kind, Who};
use crate::watch::Watch;
use std::collections::BTreeMap;
use std::sync::Arc;

/// What is taken as usual where a kind has no figure, ohm \[assumption\].
const USUAL_OHM: f64 = 0.1;

/// How much likelier an output stage is at fault than another stage or a source, and a loudspeaker \[assumption\].
const POWER_STAGE: f64 = 2.0;
const LOUDSPEAKER: f64 = 0.7;

fn nature(job: &Job, who: &Who) -> Nature {
    match who {
        Who::Contact(name) if job.role(name).is_in_the_path() => Nature::Contact,
        Who::Contact(_) => Nature::Beside,
        Who::Stage(_) if who.is_power_stage() => Nature::PowerStage,
        Who::Stage(_) => Nature::Stage,
        Who::Source(_) => Nature::Source,
        Who::Loudspeaker(_) => Nature::Loudspeaker,
    }
}

/// Whether a part can be worked by hand from outside.
pub(super) fn by_hand(kind: PartKind) -> bool {
    matches!(
        kind,
        PartKind::RotarySwitch
            | PartKind::SlideSwitch
            | PartKind::PushSwitch
            | PartKind::ToggleSwitch
            | PartKind::Potentiometer
    )
}

/// Sources and loudspeakers with which a contact is swapped: a headshell stands before the cartridge's lead, a contact of the
/// loudspeaker behind its own.
fn goes_with(job: &Job, contact: &str) -> Vec<String> {
    let is_cable = |item: &PathItem| matches!(item, PathItem::Lead(l) if l.capacitance_f > 0.0 || l.inductance_h > 0.0);
    let mut found = Vec::new();
    for section in &job.sections {
        let at = section.path.iter().position(|item| item.contact().is_some_and(|c| c.name == contact));
        let cables = || section.path.iter().enumerate().filter(|(_, item)| is_cable(item)).map(|(k, _)| k);
        let Some((at, (first, last))) = at.zip(cables().min().zip(cables().max())) else { continue };
        found.extend(section.source_name.clone().filter(|_| at < first));
        found.extend(section.loudspeaker.clone().filter(|_| at > last));
    }
    found
}

fn suspects(job: &Job, routes: &Routes, rows: &[Row], channel: Channel) -> Vec<Suspect> {
    let mut everyone: Vec<Who> = Vec::new();
    for route in &routes.all {
        for element in route.elements(job, routes.output_v) {
            if !everyone.contains(&element.who) {
                everyone.push(element.who);
            }
        }
    }
    let priors = &job.priors;
    let times = |who: &Who| {
        match nature(job, who) {
            Nature::PowerStage => return POWER_STAGE,
            Nature::Loudspeaker => return LOUDSPEAKER,
            _ => {}
        }
        let part = job.parts.get(part_of(who.name())).filter(|_| who.is_contact());
        part.and_then(|p| p.suspicion).unwrap_or(1.0)
    };
    let sum = |contacts: bool| everyone.iter().filter(|w| w.is_contact() == contacts).map(times).sum::<f64>();
    let (contacts, others) = (sum(true), sum(false));
    let inside = 1.0 - priors.no_contact - priors.something_else;
    let one = |who: Who| {
        let name = who.name().to_owned();
        let row = rows.iter().find(|row| who.is_contact() && row.contact == name);
        let part = job.parts.get(part_of(&name)).filter(|_| who.is_contact());
        let place = routes
            .through(job, &name, channel)
            .filter(|_| who.is_contact())
            .map_or(Place::UNKNOWN, |(route, index, level)| route.place(index, level));
        let readings = job
            .readings
            .iter()
            .filter(|r| who.is_contact() && r.contact == name && r.channel == channel && r.when.before_remedy());
        let bridges = job.bridged.iter().filter(|b| who.is_contact() && b.contact == name && b.channel == channel);
        let prior =
            if who.is_contact() { inside * times(&who) / contacts } else { priors.no_contact * times(&who) / others };
        Suspect {
            nature: nature(job, &who),
            part: part_of(&name).to_owned(),
            workable: part.and_then(|p| p.kind).is_some_and(by_hand),
            in_return: matches!(job.role(&name), Role::Return | Role::SharedReturn),
            laws: priors.laws(part.and_then(|p| p.metal.as_deref())),
            prior: if prior.is_finite() { prior } else { 0.0 },
            usual_ohm: row.and_then(|r| r.in_order_up_to_ohm).unwrap_or(USUAL_OHM),
            worn_ohm: if place.loop_ohm.is_finite() { priors.worn_to * place.loop_ohm } else { 0.0 },
            readings: readings.map(|r| Measured::new(r, &place)).collect(),
            bridges: bridges.map(|b| b.then).collect(),
            drives_control: routes.all.iter().any(|route| route.drives_control(job, &who)),
            direct_current: job.contacts().any(|c| who.is_contact() && c.name == name && c.direct_current_a != 0.0),
            goes_with: if who.is_contact() { goes_with(job, &name) } else { Vec::new() },
            checked: job.checked.iter().find(|c| !who.is_contact() && c.at == name && c.channel == channel).cloned(),
            excluded: match row.map(|r| r.findings[side(channel)].kind) {
                Some(Kind::CannotBeSole) => Excluded::Whatever,
                Some(Kind::CannotUnlessItJumps) => Excluded::Steady,
                _ => Excluded::No,
            },
            who,
        }
    };
    everyone.into_iter().map(one).collect()
}

/// Route, level, line, least residue that is noticed there, what was noted.
type Heard = (String, f64, usize, f64, Vec<Noted>);

/// Symptoms of a channel, route by route and level by level: route, level, what was noted.
fn heard(job: &Job, routes: &Routes, channel: Channel) -> Result<Vec<Heard>, InputError> {
    let mut found: Vec<Heard> = Vec::new();
    for h in job.heard.iter().filter(|h| h.channel == channel) {
        let level = routes.level(h);
        let at_ear_db = routes.level_at_ear_db(job, h);
        let least = Noticed::at(at_ear_db, Strength::Slight)?.never_below;
        let known = found.iter().position(|f| f.0 == h.route && f.1 == level && f.3 == least);
        let at = known.unwrap_or_else(|| {
            found.push((h.route.clone(), level, h.line, least, Vec::new()));
            found.len() - 1
        });
        if h.what != What::Clean {
            found[at].4.push(Noted {
                what: h.what,
                strength: h.strength,
                residue: h.residue,
                loss_db: h.loss_db,
                goes_away: h.goes_away.clone(),
                comes_back: h.comes_back.clone(),
                in_pauses: h.in_pauses,
                line: h.line,
            });
        }
    }
    Ok(found)
}

/// The scene of a job, its tables solved on every thread there is.
///
/// # Errors
/// Stopped by the watch.
pub(super) fn scene(job: &Job, routes: &Routes, rows: &[Row], watch: &dyn Watch) -> Result<Scene, InputError> {
    let both = [Channel::Left, Channel::Right];
    let heard = [heard(job, routes, Channel::Left)?, heard(job, routes, Channel::Right)?];
    let bad = |k: usize| heard[k].iter().any(|h| !h.4.is_empty());
    // a table for every contact on a bad route of its channel, wherever it was listened through
    let mut wanted: BTreeMap<(usize, usize, u64), f64> = BTreeMap::new();
    for k in (0..2).filter(|&k| bad(k)) {
        let on_bad: Vec<&str> = heard[k]
            .iter()
            .filter(|h| !h.4.is_empty())
            .filter_map(|h| routes.named(&h.0))
            .flat_map(|route| route.contacts())
            .collect();
        for (name, level, ..) in &heard[k] {
            let Some(number) = routes.all.iter().position(|route| &route.name == name) else { continue };
            for contact in routes.all[number].contacts().filter(|c| on_bad.contains(c)) {
                if let Some(index) = routes.all[number].index_of(contact) {
                    wanted.insert((number, index, level.to_bits()), *level);
                }
            }
        }
    }
    let jobs: Vec<((usize, usize, u64), f64)> = wanted.into_iter().collect();
    let work = |k: usize| {
        let ((number, index, _), level) = jobs[k];
        let route = &routes.all[number];
        Arc::new(Deeds::new(&route.network, index, route.emf_v(index, level), &job.priors))
    };
    let solved = blocks(0, jobs.len(), watch, &work)
        .map_err(|stopped| InputError::new("draws", stopped, "let it run to its end"))?;
    let tables: BTreeMap<(usize, usize, u64), Arc<Deeds>> = jobs.iter().map(|j| j.0).zip(solved).collect();
    let channels = both.map(|channel| {
        let suspects = suspects(job, routes, rows, channel);
        let behind = routes.behind_control(job, channel);
        let sightings = heard[side(channel)]
            .iter()
            .filter_map(|(name, level, line, least, noted)| {
                let number = routes.all.iter().position(|route| &route.name == name)?;
                let route = &routes.all[number];
                let elements = route.elements(job, *level);
                let on = suspects
                    .iter()
                    .map(|suspect| {
                        let element = elements.iter().find(|e| e.who == suspect.who)?;
                        let index = route.index_of(suspect.who.name()).filter(|_| suspect.nature == Nature::Contact);
                        let deeds = index.and_then(|index| tables.get(&(number, index, level.to_bits())).cloned());
                        let follows_hand = behind.contains(&suspect.who);
                        Some(On { deeds, level_v: element.level_v, follows_hand })
                    })
                    .collect();
                Some(Sighting { route: name.clone(), line: *line, least_residue: *least, noted: noted.clone(), on })
            })
            .collect();
        ChannelScene { suspects, sightings }
    });
    Ok(Scene { channels, priors: job.priors.clone() })
}
