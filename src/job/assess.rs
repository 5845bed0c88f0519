//! From a job sheet to the answer; the lines of [`assess`] are the steps.

use super::model::{Job, SourceSheet, part_of};
use super::report::{Assessment, Headline, Rival, Row, Typical};
use super::routes::{Route, Routes};
use crate::bench::evidence::{ComesBack, GoesAway, Heard};
use crate::bench::kind::Kind as PartKind;
use crate::bench::quantity::{Dimension, engineering};
use crate::bench::range::{Place, ResistanceRange, counts_for_symptom, range_of, swing};
use crate::bench::{Channel, What};
use crate::error::InputError;
use crate::judgement::finding::{Ability, Known};
use crate::judgement::needs::Need;
use crate::judgement::next_step::{Candidate, LID_MIN, propose};
use crate::judgement::suspects::{ChannelPicture, picture};
use crate::judgement::{Finding, Kind, NextStep, Picture, Standing, Who};
use crate::response::ceiling::{Loop, loss_range_for_residue};
use crate::response::linear::{AUDIBLE_BAND_HZ, loss_db, response_change_db};
use crate::response::resistive_loop::worst_steady_residue;
use std::collections::BTreeMap;

/// Frequency of the test tone that losses and ceilings are stated for, Hz.
const TONE_HZ: f64 = 1000.0;

/// Assesses a job.
///
/// # Errors
/// A route whose chain cannot be computed.
pub fn assess(job: &Job) -> Result<Assessment, InputError> {
    let routes = Routes::new(job)?;
    let picture = picture(&routes.observations(job), &job.bridged);
    let rows = rows(job, &routes, &picture);
    let rivals = rivals(&picture, &rows);
    let headlines = headlines(&picture, &rows, &rivals);
    let next_steps = next_steps(job, &routes, &picture, &rows);
    let why = why(job, &picture, &rows);
    let typical = typical(job, &rows)?;
    let clashes = picture
        .channels
        .iter()
        .flat_map(|c| c.clashes.clone())
        .collect();
    Ok(Assessment {
        title: job.title.clone(),
        headlines,
        why,
        rows,
        next_steps,
        rivals,
        typical,
        assumes: assumes(job, &routes),
        cautions: cautions(job),
        clashes,
        version: env!("CARGO_PKG_VERSION"),
        typical_version: crate::circuit::typical::VERSION,
    })
}

/// Every contact, in the order of the routes.
fn contacts(routes: &Routes) -> Vec<String> {
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

fn rows(job: &Job, routes: &Routes, picture: &Picture) -> Vec<Row> {
    let row = |contact: String| {
        let part = job.parts.get(part_of(&contact));
        let limit = part.and_then(|p| p.kind?.in_order(p.track_ohm));
        let one = |channel| {
            finding(
                job,
                routes,
                picture,
                &contact,
                channel,
                limit.map(|l| l.up_to_ohm),
            )
        };
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

/// Place of a channel in a pair.
fn side(channel: Channel) -> usize {
    usize::from(channel == Channel::Right)
}

fn channel_of(picture: &Picture, channel: Channel) -> &ChannelPicture {
    &picture.channels[side(channel)]
}

/// The range that the readings before any remedy leave for one contact and channel.
fn measured(job: &Job, contact: &str, channel: Channel, place: &Place) -> Option<ResistanceRange> {
    let readings = job
        .readings
        .iter()
        .filter(|r| r.contact == contact && r.channel == channel && counts_for_symptom(r.when));
    swing(&readings.map(|r| range_of(r, place)).collect::<Vec<_>>())
}

fn finding(
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
    let range = place
        .as_ref()
        .and_then(|place| measured(job, contact, channel, place));
    let abilities = abilities(job, routes, contact, channel, range);
    let mut by_hypothesis = BTreeMap::new();
    if let (Some(place), Some(range)) = (place, range) {
        let ohm = if range.high_ohm.is_finite() {
            range.high_ohm
        } else {
            range.low_ohm
        };
        for law in ["tunnelling", "rectifying"] {
            let emf_v = place.open_peak_v / std::f64::consts::SQRT_2;
            if ohm > 0.0 {
                by_hypothesis.extend(
                    worst_steady_residue(law, ohm, place.loop_ohm, emf_v)
                        .map(|worst| (law.to_owned(), worst)),
                );
            }
        }
        let chatter = abilities
            .iter()
            .map(|a| {
                if range.high_ohm.is_finite() {
                    a.residue.1
                } else {
                    a.residue.0
                }
            })
            .reduce(f64::max);
        by_hypothesis.extend(chatter.map(|c| ("chatter".to_owned(), c)));
    }
    Known {
        contact,
        channel,
        standing,
        range,
        abilities,
        in_order_up_to_ohm: limit,
        by_hypothesis,
    }
    .judge()
}

/// What the contact can do on each bad route through it.
fn abilities(
    job: &Job,
    routes: &Routes,
    contact: &str,
    channel: Channel,
    range: Option<ResistanceRange>,
) -> Vec<Ability> {
    let bad = |h: &&Heard| h.channel == channel && h.what != What::Clean;
    let loss_heard = |route: &str| {
        job.heard.iter().any(|h| {
            h.channel == channel
                && h.route == route
                && matches!(h.what, What::Quieter | What::Imbalance | What::Dead)
        })
    };
    let one = |heard: &Heard| {
        let route = routes.named(&heard.route)?;
        let (index, _) = route.contacts().find(|c| c.1 == contact)?;
        let need = Need::of(heard)?;
        let (least, low, high) = range.map_or((0.0, 0.0, f64::INFINITY), |r| {
            (r.low_ohm, r.reached_ohm, r.high_ohm)
        });
        let high = range.map_or(high, |r| {
            r.high_in_use_ohm(&route.place(index, routes.level(heard)))
        });
        let perfect = vec![0.0; route.network.contacts.len()];
        let ready = Loop::new(&route.network, &[index], &perfect, TONE_HZ, AUDIBLE_BAND_HZ).ok()?;
        let residue = |ohm: f64| {
            if ohm.is_finite() {
                ready.ceiling((0.0, ohm)).chatter
            } else {
                f64::INFINITY
            }
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
        let change = |ohm: f64| {
            at(ohm, &|ohms| {
                response_change_db(&route.network, ohms, AUDIBLE_BAND_HZ)
            })
        };
        let dull = matches!(need, Need::ResponseChange(_));
        Some(Ability {
            route: heard.route.clone(),
            need,
            residue: (residue(low), residue(high)),
            loss_db: (loss(low), loss(high)),
            least_loss_db: loss(least),
            change_db: if dull {
                (change(low), change(high))
            } else {
                (0.0, 0.0)
            },
            loss_was_heard: loss_heard(&heard.route),
            impossible_below_ohm: impossible_below(need, &residue, &loss, &change),
        })
    };
    job.heard.iter().filter(bad).filter_map(one).collect()
}

/// Resistance below which what is needed cannot be done: each law rises with the resistance, so it is bisected.
fn impossible_below(
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

fn is_proved(rows: &[Row], channel: Channel) -> bool {
    rows.iter()
        .any(|row| row.findings[side(channel)].kind == Kind::Proved)
}

fn rivals(picture: &Picture, rows: &[Row]) -> Vec<Rival> {
    let mut open: BTreeMap<&Who, Vec<Channel>> = BTreeMap::new();
    for channel in &picture.channels {
        for (who, standing) in &channel.standing {
            let asked = !channel.symptoms.is_empty() && !is_proved(rows, channel.channel);
            if !who.is_contact() && standing.is_open() && asked {
                open.entry(who).or_default().push(channel.channel);
            }
        }
    }
    let test = |who: &Who| match who {
        Who::Source(_) => {
            "swap its left and right plugs; a fault that moves is before them".to_owned()
        }
        Who::Loudspeaker(_) => {
            "swap them, power off; a fault that stays is the loudspeaker".to_owned()
        }
        Who::Stage(name) if name.contains("power") => {
            "bias, 26 mV across each emitter resistor (Oliver 1971) or the maker's figure"
                .to_owned()
        }
        Who::Stage(_) | Who::Contact(_) => {
            "noise and direct voltage behind it with its input shorted".to_owned()
        }
    };
    open.into_iter()
        .map(|(who, channels)| Rival {
            who: who.to_string(),
            channels,
            test: test(who),
        })
        .collect()
}

fn list(names: &[&str]) -> String {
    match names {
        [] => "nothing".to_owned(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

fn headlines(picture: &Picture, rows: &[Row], rivals: &[Rival]) -> Vec<Headline> {
    picture
        .channels
        .iter()
        .map(|channel| headline(channel, picture.alike, rows, rivals))
        .collect()
}

fn headline(channel: &ChannelPicture, alike: bool, rows: &[Row], rivals: &[Rival]) -> Headline {
    let at = side(channel.channel);
    let made = |says: String, because: String| Headline {
        channel: channel.channel,
        says,
        because,
    };
    if channel.symptoms.is_empty() {
        let says = if channel.standing.is_empty() {
            "nobody has listened"
        } else {
            "clean wherever it was listened to"
        };
        return made(says.to_owned(), "no symptom to explain".to_owned());
    }
    let of = |kind: Kind| -> Vec<&str> {
        let on_bad = |row: &&Row| {
            channel
                .standing
                .get(&Who::Contact(row.contact.clone()))
                .is_some_and(|s| !matches!(s, Standing::NotOnABadRoute(_)))
        };
        rows.iter()
            .filter(on_bad)
            .filter(|row| row.findings[at].kind == kind)
            .map(|row| row.contact.as_str())
            .collect()
    };
    let (proved, able, open) = (of(Kind::Proved), of(Kind::Able), of(Kind::NotSettled));
    let others: Vec<&str> = rivals
        .iter()
        .filter(|r| r.channels.contains(&channel.channel))
        .map(|r| r.who.as_str())
        .collect();
    if !proved.is_empty() {
        return made(
            format!("{} is the cause", list(&proved)),
            "proved: bridging it restored clean sound".to_owned(),
        );
    }
    let faults = if channel.groups.len() > 1 {
        let groups: Vec<String> = channel
            .groups
            .iter()
            .map(|(routes, who)| {
                let names: Vec<&str> = who.iter().map(Who::name).collect();
                format!("{} for {}", list(&names), routes.join(", "))
            })
            .collect();
        format!("; no single fault explains all: {}", groups.join("; "))
    } else {
        String::new()
    };
    let shared = if alike {
        "; both channels alike: look for one shared cause first"
    } else {
        ""
    };
    if !able.is_empty() {
        let rest = [open.as_slice(), others.as_slice()].concat();
        let because = if rest.is_empty() {
            format!("its reading allows it and nothing else is left{faults}")
        } else {
            format!("not excluded yet: {}{faults}", list(&rest))
        };
        let says = if able.len() == 1 {
            format!("{} can account for it", able[0])
        } else {
            format!("each of {} can account for it", list(&able))
        };
        return made(says + shared, because);
    }
    if !open.is_empty() {
        return made(
            format!(
                "not settled between {}{shared}",
                list(&[open.as_slice(), others.as_slice()].concat())
            ),
            format!("the readings do not reach{faults}"),
        );
    }
    if others.is_empty() {
        return made(
            "nothing is left that could be the cause".to_owned(),
            "one observation is wrong, or the fault is not steady".to_owned(),
        );
    }
    made(
        format!("no contact alone; look at {}{shared}", list(&others)),
        format!("every contact on the bad routes is cleared, in order or too good{faults}"),
    )
}

fn next_steps(job: &Job, routes: &Routes, picture: &Picture, rows: &[Row]) -> Vec<NextStep> {
    let mut steps: Vec<NextStep> = Vec::new();
    for channel in &picture.channels {
        let at = side(channel.channel);
        let settled = is_proved(rows, channel.channel);
        if channel.symptoms.is_empty() || settled {
            continue;
        }
        let mut open = Vec::new();
        for (place, (who, standing)) in channel.standing.iter().enumerate() {
            let row = rows
                .iter()
                .find(|row| who.is_contact() && row.contact == who.name());
            let finding = row.map(|row| &row.findings[at]);
            if !standing.is_open()
                || finding.is_some_and(|f| !matches!(f.kind, Kind::Able | Kind::NotSettled))
            {
                continue;
            }
            let worked = job.heard.iter().any(|h| {
                h.channel == channel.channel && h.goes_away.contains(&GoesAway::SwitchWorked)
            });
            let part_name = part_of(who.name());
            let part = job.parts.get(part_name);
            let by_hand = |kind: PartKind| {
                matches!(
                    kind,
                    PartKind::RotarySwitch
                        | PartKind::SlideSwitch
                        | PartKind::PushSwitch
                        | PartKind::ToggleSwitch
                        | PartKind::Potentiometer
                )
            };
            open.push(Candidate {
                who: who.clone(),
                access_min: part.and_then(|p| p.access_s).map_or(LID_MIN, |s| s / 60.0),
                has_dry_reading: finding.is_some_and(|f| f.dry == Some(true)),
                impossible_below_ohm: finding.and_then(|f| f.impossible_below_ohm),
                can_be_worked: !worked && part.and_then(|p| p.kind).is_some_and(by_hand),
                part: part_name.to_owned(),
                place,
            });
        }
        for step in propose(
            channel.channel,
            &open,
            &routes.unheard(job, channel.channel),
            picture.alike,
        ) {
            if !steps
                .iter()
                .any(|known| known.what == step.what && known.channel == step.channel)
            {
                steps.push(step);
            }
        }
    }
    steps.sort_by(|a, b| {
        let rate = |s: &NextStep| s.bits / s.minutes * if s.lid_on { 3.0 } else { 1.0 };
        rate(b).total_cmp(&rate(a))
    });
    steps
}

/// How the routes and the ohms lead to the headlines.
fn why(job: &Job, picture: &Picture, rows: &[Row]) -> Vec<String> {
    let mut lines = Vec::new();
    for channel in &picture.channels {
        if channel.symptoms.is_empty() {
            continue;
        }
        let at = side(channel.channel);
        let word = channel.channel.word();
        let cleared = rows
            .iter()
            .filter(|r| r.findings[at].kind == Kind::Cleared)
            .count();
        let left = if channel.single.is_empty() {
            "no single element".to_owned()
        } else {
            list(&channel.single.iter().map(Who::name).collect::<Vec<_>>())
        };
        if !is_proved(rows, channel.channel) {
            let total = rows.len();
            lines.push(format!(
                "{word}: the routes clear {cleared} of {total} contacts and leave {left}"
            ));
        }
        for kind in [Kind::Able, Kind::CannotBeSole] {
            for row in rows.iter().filter(|row| row.findings[at].kind == kind) {
                if let Some(reason) = row.findings[at].reasons.last() {
                    lines.push(format!("{word}: {}: {reason}", row.contact));
                }
            }
        }
        lines.extend(hints(job, channel.channel));
        for heard in job
            .heard
            .iter()
            .filter(|h| h.channel == channel.channel && h.what == What::Grit)
        {
            if let (Some(residue), Some(loss)) = (heard.residue, heard.loss_db) {
                let least = loss_range_for_residue(residue.0);
                if loss.1 < least {
                    lines.push(format!(
                        "{word}: {} residue from a steady film takes a loss of {}, {} at most was measured: not a steady film in a resistive loop",
                        engineering(residue.0, Dimension::Ratio), engineering(least, Dimension::Decibel), engineering(loss.1, Dimension::Decibel)
                    ));
                }
            }
        }
    }
    lines
}

/// What the way a symptom goes and comes speaks for (common practice).
fn hints(job: &Job, channel: Channel) -> Vec<String> {
    let word = channel.word();
    let mut lines = Vec::new();
    for heard in job
        .heard
        .iter()
        .filter(|h| h.channel == channel && h.what != What::Clean)
    {
        let what = heard.what.word();
        for goes in &heard.goes_away {
            let speaks = match goes {
                GoesAway::TurnedUp => "a film that the larger signal breaks",
                GoesAway::SwitchWorked => "a contact that wipes itself clean",
                GoesAway::Tapped => "a loose contact or joint",
                GoesAway::WarmedUp => "a joint that closes with heat, or a bias that settles",
                GoesAway::MeterApplied => "a film that the ohmmeter broke",
            };
            lines.push(format!(
                "{word}: {what} goes away ({}): speaks for {speaks}",
                goes.word()
            ));
        }
        for comes in &heard.comes_back {
            let speaks = match comes {
                ComesBack::Overnight | ComesBack::AfterRest => {
                    "a film that grows again or a bridge that lets go"
                }
                ComesBack::WhenTapped => "a loose contact or joint",
            };
            lines.push(format!(
                "{word}: {what} comes back ({}): speaks for {speaks}",
                comes.word()
            ));
        }
    }
    lines
}

/// Kinds of all findings, for comparing two answers.
fn kinds(rows: &[Row]) -> Vec<Kind> {
    rows.iter()
        .flat_map(|row| row.findings.iter().map(|f| f.kind))
        .collect()
}

/// Whether half or twice of each typical value changes a finding.
fn typical(job: &Job, rows: &[Row]) -> Result<Vec<Typical>, InputError> {
    let mut found = Vec::new();
    for used in &job.typical {
        let mut changes = None;
        for factor in [0.5, 2.0] {
            let Some(other) = with_typical(job, &used.place, factor) else {
                break;
            };
            let routes = Routes::new(&other)?;
            let picture = picture(&routes.observations(&other), &other.bridged);
            let differs = kinds(&self::rows(&other, &routes, &picture)) != kinds(rows);
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
fn with_typical(job: &Job, place: &str, factor: f64) -> Option<Job> {
    let mut other = job.clone();
    let section = other
        .sections
        .iter_mut()
        .find(|s| place.starts_with(&format!("[section] \"{}\"", s.name)))?;
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

fn assumes(job: &Job, routes: &Routes) -> Vec<String> {
    let mut lines = Vec::new();
    if job
        .heard
        .iter()
        .any(|h| h.what == What::Grit && h.residue.is_none())
    {
        lines.push("grit is 0.068 % residue if plain, 0.0068 % if slight".to_owned());
    }
    if job.heard.iter().any(|h| h.output_v.is_none())
        && routes.all.iter().any(|r: &Route| r.network.links.len() > 1)
    {
        lines.push(format!(
            "all routes equally loud, {}",
            engineering(routes.output_v, Dimension::Voltage)
        ));
    }
    lines.push("one contact at fault at a time; intervals, no probabilities yet".to_owned());
    lines
}

fn cautions(job: &Job) -> Vec<String> {
    let mut lines = vec![
        "Lid off: mains unplugged, reservoirs discharged and checked, relays and heat sinks cool; live work only by those trained and licensed, after local rules.".to_owned(),
        "Cartridge unplugged before any ohmmeter; ohmmeter last, it may break a film.".to_owned(),
    ];
    let power = job.sections.iter().any(|s| s.loudspeaker.is_some());
    if power {
        lines.push(
            "First power-up through a current limiter; no loudspeaker on a d.c. output.".to_owned(),
        );
    }
    lines
}
