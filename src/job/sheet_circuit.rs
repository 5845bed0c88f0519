//! Sections and routes of a job sheet.

use super::keys::{LOAD, PATH, SOURCE, STAGE};
use super::model::{Job, SectionSheet, SourceSheet, TypicalUse, part_of};
use super::sheet::{header, named};
use super::tree::{Node, Walk, allowed_names};
use super::{sheet_contact, sheet_route};
use crate::bench::kind::Kind;
use crate::bench::quantity::{Dimension, engineering, quantity};
use crate::circuit::loudspeaker::LOWEST_OF_NOMINAL;
use crate::circuit::{Contact, Divider, Equalisation, Lead, Load, Loudspeaker, PathItem, Role, Source, Stage, typical};
use std::collections::BTreeMap;

/// Reads `[section]`, `[contact]` and `[route]` into the job.
pub(super) fn read(walk: &mut Walk<'_>, tables: &BTreeMap<&str, &Node<'_>>, job: &mut Job) {
    if !tables.contains_key("section") && !tables.contains_key("contact") {
        let allowed = "describe at least one [section] (from, path, into), or contacts under [contact]";
        return walk.fault(0, "sheet", "no [section]", allowed);
    }
    if let Some(node) = tables.get("section") {
        for (name, at, node) in named(walk, node, "[section]") {
            let Some(section) = section(walk, name, at, node, job) else { continue };
            let place = format!("[section] \"{name}\": path");
            job.sections.push(section);
            let on_path: Vec<String> = job
                .sections
                .last()
                .map(|s| s.path.iter().filter_map(PathItem::contact).map(|c| c.name.clone()).collect())
                .unwrap_or_default();
            for contact in on_path {
                if job.contacts().filter(|c| c.name == contact).count() > 1 {
                    let allowed = "each contact stands on one path, once";
                    walk.fault(at, &place, format!("contact \"{contact}\" stands twice"), allowed);
                }
            }
        }
    }
    if let Some(node) = tables.get("contact") {
        sheet_contact::read(walk, node, job);
    }
    sheet_route::read(walk, tables, job);
}

fn section(walk: &mut Walk<'_>, name: &str, at: usize, node: &Node<'_>, job: &mut Job) -> Option<SectionSheet> {
    let place = format!("[section] \"{name}\"");
    let table = walk.table(&place, node)?;
    let mut section = SectionSheet {
        name: name.to_owned(),
        from: SourceSheet::Before,
        source_name: None,
        path: Vec::new(),
        load: Load::resistance(f64::NAN),
        loudspeaker: None,
        then: None,
        signal_v: None,
        line: walk.line(at),
    };
    let (mut has_path, mut has_load) = (false, false);
    for (key, node) in walk.entries(&place, table, header("section").keys) {
        let place = format!("{place}: {key}");
        match key {
            "from" => {
                // an unreadable source is a fault already; its routes are not to be faults as well
                let unread = Source { emf_v: 1.0, resistance_ohm: 0.0, inductance_h: 0.0 };
                let found = source(walk, &place, node, job);
                section.source_name = found.as_ref().map(|found| found.1.clone());
                section.from = SourceSheet::Own(found.map_or(unread, |found| found.0));
            }
            "path" => {
                has_path = true;
                path(walk, &place, node, &mut section.path, job);
            }
            "into" => {
                has_load = true;
                if let Some((load, loudspeaker)) = load(walk, &place, node, job) {
                    section.load = load;
                    section.loudspeaker = loudspeaker;
                }
            }
            "then" => section.then = stage(walk, &place, node, name, job),
            _ => section.signal_v = walk.value(&place, node, Dimension::Voltage),
        }
    }
    if !has_path {
        walk.fault(at, &place, "no path", "write path = [\"part / position\", ...], or [] for a plain wire");
    }
    if !has_load {
        walk.fault(at, &place, "no into", "write what it ends in, like into = \"47 kohm\"");
    }
    Some(section)
}

fn note(job: &mut Job, place: &str, name: &str, means: String) {
    job.typical.push(TypicalUse { place: place.to_owned(), name: name.to_owned(), means });
}

fn source(walk: &mut Walk<'_>, place: &str, node: &Node<'_>, job: &mut Job) -> Option<(Source, String)> {
    if let Some(name) = node.get_ref().as_str() {
        let Some((source, _)) = typical::source(name) else {
            let names = typical::SOURCES.iter().map(|row| row.0);
            walk.fault(node.span().start, place, format!("unknown source \"{name}\""), allowed_names(name, names));
            return None;
        };
        let mut means = format!(
            "{} behind {}",
            engineering(source.emf_v, Dimension::Voltage),
            engineering(source.resistance_ohm, Dimension::Resistance)
        );
        if source.inductance_h > 0.0 {
            means += &format!(" and {}", engineering(source.inductance_h, Dimension::Inductance));
        }
        note(job, place, name, means);
        return Some((source, name.to_owned()));
    }
    let table = walk.table(place, node)?;
    let mut source = Source { emf_v: f64::NAN, resistance_ohm: 0.0, inductance_h: 0.0 };
    for (key, node) in walk.entries(place, table, SOURCE) {
        let place = format!("{place}: {key}");
        match key {
            "emf" => source.emf_v = walk.value(&place, node, Dimension::Voltage)?,
            "resistance" => source.resistance_ohm = walk.value(&place, node, Dimension::Resistance)?,
            _ => source.inductance_h = walk.value(&place, node, Dimension::Inductance)?,
        }
    }
    if source.emf_v.is_nan() || source.emf_v <= 0.0 {
        walk.fault(node.span().start, place, "no emf", "write { emf = \"0.5 V\", resistance = \"2.2 kohm\" }");
        return None;
    }
    Some((source, "source".to_owned()))
}

fn path(walk: &mut Walk<'_>, place: &str, node: &Node<'_>, items: &mut Vec<PathItem>, job: &mut Job) {
    let Some(list) = node.get_ref().as_array() else {
        let written = walk.written(node.span()).to_owned();
        return walk.fault(node.span().start, place, written, "write a list, like [\"relay / a\"]");
    };
    for item in list {
        let at = item.span().start;
        if item.get_ref().is_table() {
            path_table(walk, place, item, items, job);
            continue;
        }
        let Some(text) = walk.text(place, item) else {
            continue;
        };
        if let Some((part, position)) = text.split_once('/') {
            if part.trim().is_empty() || position.trim().is_empty() {
                walk.fault(at, place, format!("\"{text}\""), "a contact is written \"part / position\"");
                continue;
            }
            let contact = Contact::ohmic(format!("{} / {}", part.trim(), position.trim()), 0.0);
            items.push(placed(job, contact));
        } else if let Some(lead) = typical_lead(job, place, &text) {
            items.push(PathItem::Lead(lead));
        } else if text.starts_with(|c: char| c.is_ascii_digit() || c == 'R') {
            match quantity(&text, Dimension::Resistance) {
                Ok(q) => items.push(PathItem::Lead(Lead { resistance_ohm: q.value, ..Lead::default() })),
                Err(error) => walk.fault(at, place, error.problem, error.allowed),
            }
        } else {
            let leads = typical::LEADS.iter().map(|row| row.0);
            let allowed = format!("a contact is written \"part / position\"; leads: {}", allowed_names(&text, leads));
            walk.fault(at, place, format!("\"{text}\" is neither a contact nor a lead"), allowed);
        }
    }
}

/// A contact as it stands on a path: the wiper of a control whose track and setting are known brings its track along.
fn placed(job: &Job, contact: Contact) -> PathItem {
    let part = part_of(&contact.name);
    let is_wiper = contact.role == Role::Signal && contact.name.ends_with("/ wiper");
    let control = job.parts.get(part).filter(|p| is_wiper && p.kind == Some(Kind::Potentiometer));
    match control.and_then(|p| Some((p.track_ohm?, p.setting_db?))) {
        Some((track_ohm, setting_db)) => {
            PathItem::Divider(Divider { name: part.to_owned(), track_ohm, setting_db, wiper: Some(contact) })
        }
        None => PathItem::Contact(contact),
    }
}

fn typical_lead(job: &mut Job, place: &str, name: &str) -> Option<Lead> {
    let (lead, _) = typical::lead(name)?;
    let mut means = engineering(lead.resistance_ohm, Dimension::Resistance);
    if lead.capacitance_f > 0.0 {
        means += &format!(" and {}", engineering(lead.capacitance_f, Dimension::Capacitance));
    }
    note(job, place, name, means);
    Some(lead)
}

fn path_table(walk: &mut Walk<'_>, place: &str, node: &Node<'_>, items: &mut Vec<PathItem>, job: &mut Job) {
    let Some(table) = walk.table(place, node) else {
        return;
    };
    let mut lead = Lead::default();
    let (mut contact, mut role, mut direct_current_a) = (None, Role::Signal, 0.0);
    for (key, node) in walk.entries(place, table, PATH) {
        let at = node.span().start;
        let place = format!("{place}: {key}");
        match key {
            "lead" => {
                let Some(name) = walk.text(&place, node) else {
                    continue;
                };
                match typical_lead(job, &place, &name) {
                    Some(found) => lead = found,
                    None => walk.fault(
                        at,
                        &place,
                        format!("unknown lead \"{name}\""),
                        allowed_names(&name, typical::LEADS.iter().map(|row| row.0)),
                    ),
                }
            }
            "contact" => {
                contact = walk.text(&place, node);
                if contact.as_ref().is_some_and(|c| !c.contains(" / ")) {
                    walk.fault(
                        at,
                        &place,
                        walk.written(node.span()).to_owned(),
                        "a contact is written \"part / position\"",
                    );
                }
            }
            "role" => {
                role = read_role(walk, &place, node).unwrap_or(role);
                if !role.is_in_the_path() {
                    let allowed =
                        "no section describes it: name the contact under [contact] with its role, and in the route";
                    walk.fault(at, &place, format!("\"{}\"", role.word()), allowed);
                    role = Role::Signal;
                }
            }
            "direct_current" => direct_current_a = walk.value(&place, node, Dimension::Current).unwrap_or(0.0),
            "resistance" => lead.resistance_ohm = walk.value(&place, node, Dimension::Resistance).unwrap_or(0.0),
            "inductance" => lead.inductance_h = walk.value(&place, node, Dimension::Inductance).unwrap_or(0.0),
            _ => lead.capacitance_f = walk.value(&place, node, Dimension::Capacitance).unwrap_or(0.0),
        }
    }
    match contact {
        Some(name) if lead == Lead::default() => {
            let contact = Contact { direct_current_a, ..Contact::perfect(name, role) };
            match contact.check() {
                Ok(()) => items.push(placed(job, contact)),
                Err(fault) => {
                    walk.fault(node.span().start, place, format!("{}: {}", fault.place, fault.value), fault.allowed)
                }
            }
        }
        Some(_) => {
            walk.fault(node.span().start, place, "a contact and a lead in one", "write them as two items of the path")
        }
        None if role != Role::Signal || direct_current_a != 0.0 => walk.fault(
            node.span().start,
            place,
            "a role or a direct current without a contact",
            "write contact = \"part / position\" beside it",
        ),
        None => items.push(PathItem::Lead(lead)),
    }
}

/// A role by its words.
pub(super) fn read_role(walk: &mut Walk<'_>, place: &str, node: &Node<'_>) -> Option<Role> {
    let all: Vec<&'static str> = Role::ALL.iter().map(|r| r.word()).collect();
    let word = walk.text(place, node)?;
    walk.word(place, &word, node.span().start, Role::from_word, &all)
}

fn load(walk: &mut Walk<'_>, place: &str, node: &Node<'_>, job: &mut Job) -> Option<(Load, Option<String>)> {
    let at = node.span().start;
    let mut load = Load::resistance(f64::NAN);
    let mut name = None;
    if let Some(text) = node.get_ref().as_str() {
        let text = text.trim();
        let ear = ["loudspeaker", "headphones"].iter().find_map(|kind| text.strip_suffix(kind));
        if let Some((found, is_loudspeaker, _)) = typical::load(text) {
            note(job, place, text, typical::load_in_words(&found));
            return Some((found, is_loudspeaker.then(|| text.to_owned())));
        } else if let Some(resistance) = ear {
            name = Some(text.to_owned());
            load.resistance_ohm = match quantity(resistance, Dimension::Resistance) {
                Ok(q) => q.value,
                Err(error) => {
                    walk.fault(at, place, error.problem, error.allowed);
                    return None;
                }
            };
        } else {
            load.resistance_ohm = walk.value(place, node, Dimension::Resistance)?;
        }
    } else if node.get_ref().is_table() {
        let table = walk.table(place, node)?;
        let (mut voice_coil_ohm, mut voice_coil_h) = (None, 0.0);
        let (mut resonance_hz, mut mechanical_q, mut electrical_q) = (None, None, None);
        for (key, node) in walk.entries(place, table, LOAD) {
            let place = format!("{place}: {key}");
            match key {
                "resistance" => load.resistance_ohm = walk.value(&place, node, Dimension::Resistance)?,
                "capacitance" => load.capacitance_f = walk.value(&place, node, Dimension::Capacitance)?,
                "voice_coil" => voice_coil_ohm = Some(walk.value(&place, node, Dimension::Resistance)?),
                "inductance" => voice_coil_h = walk.value(&place, node, Dimension::Inductance)?,
                "resonance" => resonance_hz = Some(walk.value(&place, node, Dimension::Frequency)?),
                "mechanical_q" => mechanical_q = Some(walk.number(&place, node)?),
                _ => electrical_q = Some(walk.number(&place, node)?),
            }
        }
        let moving = (resonance_hz, mechanical_q, electrical_q);
        if let (Some(resonance_hz), Some(mechanical_q), Some(electrical_q)) = moving {
            let voice_coil_ohm = voice_coil_ohm.unwrap_or(LOWEST_OF_NOMINAL * load.resistance_ohm);
            load.loudspeaker =
                Some(Loudspeaker { voice_coil_ohm, voice_coil_h, resonance_hz, mechanical_q, electrical_q });
            name = Some(format!("{} loudspeaker", engineering(load.resistance_ohm, Dimension::Resistance)));
        } else if voice_coil_ohm.is_some() || voice_coil_h != 0.0 || moving != (None, None, None) {
            let allowed =
                "a loudspeaker needs resonance, mechanical_q and electrical_q; voice_coil and inductance may stay out";
            walk.fault(at, place, "part of a loudspeaker", allowed);
            return None;
        }
    } else {
        walk.value(place, node, Dimension::Resistance);
        return None;
    }
    if load.resistance_ohm.is_nan() || load.resistance_ohm <= 0.0 {
        let written = walk.written(node.span()).to_owned();
        walk.fault(at, place, written, "a load needs a resistance above zero");
        return None;
    }
    if let Err(fault) = load.check() {
        walk.fault(at, place, format!("{}: {}", fault.place, fault.value), fault.allowed);
        return None;
    }
    Some((load, name))
}

fn stage(walk: &mut Walk<'_>, place: &str, node: &Node<'_>, section: &str, job: &mut Job) -> Option<Stage> {
    if let Some(name) = node.get_ref().as_str() {
        let Some((stage, _)) = typical::stage(name) else {
            walk.fault(
                node.span().start,
                place,
                format!("unknown stage \"{name}\""),
                allowed_names(name, typical::STAGES),
            );
            return None;
        };
        let means = format!(
            "{}, {} out",
            engineering(stage.gain_db, Dimension::Decibel),
            engineering(stage.output_resistance_ohm, Dimension::Resistance)
        );
        note(job, place, name, means);
        return Some(stage);
    }
    let table = walk.table(place, node)?;
    let mut has_gain = false;
    let mut stage = Stage {
        name: format!("stage after {section}"),
        gain_db: 0.0,
        equalisation: Equalisation::Flat,
        output_resistance_ohm: 0.0,
    };
    for (key, node) in walk.entries(place, table, STAGE) {
        let at = node.span().start;
        let place = format!("{place}: {key}");
        match key {
            "name" => stage.name = walk.text(&place, node)?,
            "gain" => {
                has_gain = true;
                stage.gain_db = walk.value(&place, node, Dimension::Decibel)?;
            }
            "equalisation" => {
                let word = walk.text(&place, node)?;
                stage.equalisation = walk.word(&place, &word, at, Equalisation::named, &Equalisation::NAMES)?;
            }
            _ => stage.output_resistance_ohm = walk.value(&place, node, Dimension::Resistance)?,
        }
    }
    if !has_gain {
        walk.fault(
            node.span().start,
            place,
            "no gain",
            "write gain = \"20 dB\"; \"0 dB\" for a stage that only drives",
        );
        return None;
    }
    Some(stage)
}
