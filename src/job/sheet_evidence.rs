//! What was heard and bridged, from a job sheet.

use super::model::Job;
use super::readings::channels;
use super::sheet::{header, rows};
use super::tree::{Node, Walk, allowed_names};
use crate::bench::evidence::{BridgedWith, ComesBack, GoesAway, InPauses};
use crate::bench::quantity::{Dimension, Quantity, quantity};
use crate::bench::{Bridged, Channel, Heard, Strength, Then, What};
use crate::circuit::Role;
use crate::judgement::needs::LEVELS_DB;

/// The words of a closed list.
macro_rules! all_words {
    ($name:ident) => {
        &$name::ALL.iter().map(|w| w.word()).collect::<Vec<&'static str>>()
    };
}

/// Reads `[[heard]]` and `[[bridged]]` into the job.
pub(super) fn read(walk: &mut Walk<'_>, heard: Option<&Node<'_>>, bridged: Option<&Node<'_>>, job: &mut Job) {
    if let Some(node) = heard {
        for (table, line) in rows(walk, node, "heard") {
            let at = walk.start_of(line);
            heard_row(walk, table, line, at, job);
        }
    }
    if let Some(node) = bridged {
        for (table, line) in rows(walk, node, "bridged") {
            let at = walk.start_of(line);
            bridged_row(walk, table, line, at, job);
        }
    }
    contradictions(walk, job);
}

/// A quantity above zero, up to the most that it can be.
fn measured(
    walk: &mut Walk<'_>,
    place: &str,
    node: &Node<'_>,
    (dimension, most): (Dimension, f64),
    told: &str,
) -> Option<Quantity> {
    let found = walk.quantity(place, node, dimension)?;
    if found.value > 0.0 && found.value <= most {
        return Some(found);
    }
    walk.fault(node.span().start, place, node.get_ref().as_str().unwrap_or_default(), told);
    None
}

fn low_high(q: Quantity) -> (f64, f64) {
    (q.low().max(0.0), q.high())
}

fn heard_row(walk: &mut Walk<'_>, table: &toml::de::DeTable<'_>, line: usize, at: usize, job: &mut Job) {
    const PLACE: &str = "[[heard]]";
    let mut row = Heard {
        route: String::new(),
        channel: Channel::Left,
        what: What::Clean,
        strength: Strength::Plain,
        output_v: None,
        level_db: None,
        residue: None,
        loss_db: None,
        goes_away: Vec::new(),
        comes_back: Vec::new(),
        in_pauses: None,
        line,
    };
    let mut routes = Vec::new();
    let (mut both, mut what, mut each, mut output, mut than) = (None, None, Vec::new(), None, None);
    for (key, node) in walk.entries(PLACE, table, header("heard").keys) {
        let place = format!("{PLACE}: {key}");
        let at = node.span().start;
        match key {
            "route" => routes = walk.texts(&place, node),
            "channel" => {
                let Some(text) = walk.text(&place, node) else {
                    continue;
                };
                both = channels(&text);
                if both.is_none() {
                    walk.fault(
                        at,
                        &place,
                        format!("\"{text}\""),
                        "allowed: \"left\", \"right\", \"both\", \"L\", \"R\"",
                    );
                }
            }
            "what" | "left" | "right" => {
                let Some(text) = walk.text(&place, node) else {
                    continue;
                };
                let Some(word) = walk.word(&place, &text, at, What::from_word, all_words!(What)) else {
                    return;
                };
                match key {
                    "what" => what = Some(word),
                    "left" => each.push((Channel::Left, word)),
                    _ => each.push((Channel::Right, word)),
                }
            }
            "strength" => {
                let word = walk.text(&place, node);
                let word = word.and_then(|w| walk.word(&place, &w, at, Strength::from_word, all_words!(Strength)));
                row.strength = word.unwrap_or(row.strength);
            }
            "output" => output = walk.text(&place, node).map(|text| (text, at)),
            "level" => {
                row.level_db = walk.quantity(&place, node, Dimension::Decibel).map(|q| q.value);
                if let Some(level) = row.level_db.filter(|level| !(LEVELS_DB.0..=LEVELS_DB.1).contains(level)) {
                    let allowed = format!("allowed: {} to {} dB, sound level at the ear", LEVELS_DB.0, LEVELS_DB.1);
                    walk.fault(at, &place, format!("{level} dB"), allowed);
                }
            }
            "residue" => {
                let told = "allowed: above 0 %, up to 100 %, as a distortion meter shows it";
                row.residue = measured(walk, &place, node, (Dimension::Ratio, 1.0), told).map(low_high);
            }
            "by" => {
                let told = "allowed: above 0 dB: by how much the bad channel is quieter";
                row.loss_db = measured(walk, &place, node, (Dimension::Decibel, f64::INFINITY), told).map(low_high);
            }
            "goes_away" => {
                for (text, at) in walk.texts(&place, node) {
                    row.goes_away.extend(walk.word(&place, &text, at, GoesAway::from_word, all_words!(GoesAway)));
                }
            }
            "comes_back" => {
                for (text, at) in walk.texts(&place, node) {
                    row.comes_back.extend(walk.word(&place, &text, at, ComesBack::from_word, all_words!(ComesBack)));
                }
            }
            "in_pauses" => {
                let word = walk.text(&place, node);
                row.in_pauses = word.and_then(|w| walk.word(&place, &w, at, InPauses::from_word, all_words!(InPauses)));
            }
            _ => than = walk.text(&place, node).map(|_| at),
        }
    }
    if let Some(at) = than.filter(|_| row.loss_db.is_none()) {
        walk.fault(at, "[[heard]]: than", "than without by", "write the measured loss beside it, like by = \"0.6 dB\"");
    }
    let whats: Vec<(Channel, What)> = match (both, what, each.is_empty()) {
        (Some(both), Some(what), true) => both.into_iter().map(|channel| (channel, what)).collect(),
        (None, None, false) => each,
        _ => {
            return walk.fault(
                at,
                PLACE,
                "who hears what is not clear",
                "write channel and what, or left and right with a what each",
            );
        }
    };
    if routes.is_empty() {
        return walk.fault(at, PLACE, "no route", "write route = \"...\", one of [route]");
    }
    for (route, at) in routes {
        let Some(known) = job.routes.iter().find(|r| r.name == route) else {
            let names: Vec<&str> = job.routes.iter().map(|r| r.name.as_str()).collect();
            walk.fault(
                at,
                "[[heard]]: route",
                format!("unknown route \"{route}\""),
                allowed_names(&route, names.iter().copied()),
            );
            continue;
        };
        let by_section = known.sections.last().map(|&s| job.sections[s].load.resistance_ohm);
        let by_contact = known.quick.last().map(|&q| job.quick[q].sees_ohm);
        let load = by_section.or(by_contact).unwrap_or(f64::NAN);
        if let Some((text, at)) = &output {
            let volts = quantity(text, Dimension::Voltage).map(|q| q.value);
            let watts = quantity(text, Dimension::Power).map(|q| (q.value * load).sqrt());
            match volts.or(watts) {
                Ok(v) => row.output_v = Some(v),
                Err(_) => walk.fault(
                    *at,
                    "[[heard]]: output",
                    format!("\"{text}\""),
                    "write a voltage or a power, like \"2 V\" or \"1 W\"",
                ),
            }
        }
        for &(channel, what) in &whats {
            // what makes a symptom go or come, and how large it was read, is said of the symptom, not of a clean channel beside it
            let of = match what {
                What::Clean => Heard {
                    residue: None,
                    loss_db: None,
                    goes_away: Vec::new(),
                    comes_back: Vec::new(),
                    in_pauses: None,
                    ..row.clone()
                },
                _ => row.clone(),
            };
            job.heard.push(Heard { route: route.clone(), channel, what, ..of });
        }
    }
}

fn bridged_row(walk: &mut Walk<'_>, table: &toml::de::DeTable<'_>, line: usize, at: usize, job: &mut Job) {
    const PLACE: &str = "[[bridged]]";
    let (mut contact, mut both, mut then, mut with) = (None, None, None, BridgedWith::ClipLead);
    for (key, node) in walk.entries(PLACE, table, header("bridged").keys) {
        let place = format!("{PLACE}: {key}");
        let at = node.span().start;
        let Some(text) = walk.text(&place, node) else {
            continue;
        };
        match key {
            "contact" => {
                let known: Vec<String> = job.contacts().map(|contact| contact.name.clone()).collect();
                if known.contains(&text) {
                    contact = Some(text);
                } else {
                    let allowed = allowed_names(&text, known.iter().map(String::as_str));
                    walk.fault(at, &place, format!("unknown contact \"{text}\""), allowed);
                    return;
                }
            }
            "channel" => both = channels(&text),
            "then" => then = walk.word(&place, &text, at, Then::from_word, all_words!(Then)),
            _ => with = walk.word(&place, &text, at, BridgedWith::from_word, all_words!(BridgedWith)).unwrap_or(with),
        }
    }
    let (Some(contact), Some(both), Some(then)) = (contact, both, then) else {
        return walk.fault(
            at,
            PLACE,
            "not complete",
            "write contact, channel (left, right, both) and then (clean, better, same)",
        );
    };
    let role = job.role(&contact);
    if with == BridgedWith::ClipLead && !matches!(role, Role::Signal | Role::Return | Role::SharedReturn) {
        let allowed = match role {
            Role::Shunt => {
                "a clip lead across it mutes and tells nothing; write with = \"replacement\" where it was taken out or renewed"
            }
            _ => "never bridge a feedback, supply or bias contact; write with = \"replacement\" where it was renewed",
        };
        return walk.fault(at, PLACE, format!("a clip lead across \"{contact}\", role \"{}\"", role.word()), allowed);
    }
    for channel in both {
        job.bridged.push(Bridged { contact: contact.clone(), channel, then, with, line });
    }
}

/// Refuses two observations that cannot both be true, or the same one twice.
fn contradictions(walk: &mut Walk<'_>, job: &Job) {
    for (index, b) in job.heard.iter().enumerate() {
        for a in &job.heard[..index] {
            if a.route != b.route || a.channel != b.channel {
                continue;
            }
            let at = walk.start_of(b.line);
            let side = b.channel.word();
            if a.what == b.what {
                walk.fault(
                    at,
                    "[[heard]]",
                    format!("\"{}\" {side} {} stands twice (line {})", b.route, b.what.word(), a.line),
                    "write it once",
                );
            } else if a.what == What::Clean || b.what == What::Clean {
                let found = format!(
                    "\"{}\" {side} is {} here and {} on line {}",
                    b.route,
                    b.what.word(),
                    a.what.word(),
                    a.line
                );
                walk.fault(at, "[[heard]]", found, "the two contradict each other: keep the one that holds");
            }
        }
    }
    for (index, b) in job.bridged.iter().enumerate() {
        let before =
            job.bridged[..index].iter().find(|a| a.contact == b.contact && a.channel == b.channel && a.with == b.with);
        if let Some(a) = before {
            let at = walk.start_of(b.line);
            let found = format!(
                "\"{}\" {} is {} here and {} on line {}",
                b.contact,
                b.channel.word(),
                b.then.word(),
                a.then.word(),
                a.line
            );
            walk.fault(at, "[[bridged]]", found, "keep the one that holds");
        }
    }
}
