//! Sections and routes of a job sheet.

use super::keys::{LOAD, PATH, SOURCE, STAGE};
use super::model::{Job, RouteSheet, SectionSheet, SourceSheet, TypicalUse, part_of};
use super::sheet::{RoleWord, header, named};
use super::tree::{Node, Walk, allowed_names};
use crate::bench::kind::Kind;
use crate::bench::quantity::{Dimension, engineering, quantity};
use crate::circuit::{Contact, Equalisation, Lead, Load, PathItem, Role, Source, Stage, typical};

/// Reads `[section]` and `[route]` into the job.
pub(super) fn read(walk: &mut Walk<'_>, sections: Option<&Node<'_>>, routes: Option<&Node<'_>>, job: &mut Job) {
    let Some(sections) = sections else {
        return walk.fault(0, "sheet", "no [section]", "describe at least one section: from, path, into");
    };
    for (name, at, node) in named(walk, sections, "[section]") {
        if let Some(section) = section(walk, name, at, node, job) {
            for item in &section.path {
                let PathItem::Contact(contact) = item else {
                    continue;
                };
                let twice = job
                    .sections
                    .iter()
                    .chain([&section])
                    .flat_map(|s| &s.path)
                    .filter(|other| matches!(other, PathItem::Contact(c) if c.name == contact.name));
                if twice.count() > 1 {
                    let place = format!("[section] \"{name}\": path");
                    walk.fault(
                        at,
                        &place,
                        format!("contact \"{}\" stands twice", contact.name),
                        "each contact stands on one path, once",
                    );
                }
            }
            job.sections.push(section);
        }
    }
    let Some(routes) = routes else {
        return walk.fault(0, "sheet", "no [route]", "list at least one route: the sections from source to ear");
    };
    for (name, at, node) in named(walk, routes, "[route]") {
        route(walk, name, at, node, job);
    }
}

fn section(walk: &mut Walk<'_>, name: &str, at: usize, node: &Node<'_>, job: &mut Job) -> Option<SectionSheet> {
    let place = format!("[section] \"{name}\"");
    let table = walk.table(&place, node)?;
    let mut section = SectionSheet {
        name: name.to_owned(),
        from: SourceSheet::Before,
        source_name: None,
        path: Vec::new(),
        load: Load { resistance_ohm: f64::NAN, capacitance_f: 0.0 },
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
            items.push(PathItem::Contact(Contact::ohmic(format!("{} / {}", part.trim(), position.trim()), 0.0)));
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
    let (mut contact, mut role) = (None, Role::Signal);
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
                let all: Vec<&'static str> = RoleWord::ALL.iter().map(|r| r.word()).collect();
                let word =
                    walk.text(&place, node).and_then(|word| walk.word(&place, &word, at, RoleWord::from_word, &all));
                match word {
                    Some(RoleWord::Return) => role = Role::Return,
                    Some(RoleWord::Signal) | None => {}
                    Some(other) => walk.fault(
                        at,
                        &place,
                        format!("\"{}\"", other.word()),
                        "this version places contacts in the signal or the return conductor",
                    ),
                }
            }
            "resistance" => lead.resistance_ohm = walk.value(&place, node, Dimension::Resistance).unwrap_or(0.0),
            "inductance" => lead.inductance_h = walk.value(&place, node, Dimension::Inductance).unwrap_or(0.0),
            _ => lead.capacitance_f = walk.value(&place, node, Dimension::Capacitance).unwrap_or(0.0),
        }
    }
    match contact {
        Some(name) if lead == Lead::default() => {
            items.push(PathItem::Contact(Contact { role, ..Contact::ohmic(name, 0.0) }))
        }
        Some(_) => {
            walk.fault(node.span().start, place, "a contact and a lead in one", "write them as two items of the path")
        }
        None => items.push(PathItem::Lead(lead)),
    }
}

fn load(walk: &mut Walk<'_>, place: &str, node: &Node<'_>, job: &mut Job) -> Option<(Load, Option<String>)> {
    let at = node.span().start;
    let mut load = Load { resistance_ohm: f64::NAN, capacitance_f: 0.0 };
    let mut name = None;
    if let Some(text) = node.get_ref().as_str() {
        let text = text.trim();
        let ear = ["loudspeaker", "headphones"].iter().find_map(|kind| text.strip_suffix(kind));
        if let Some((found, is_loudspeaker, _)) = typical::load(text) {
            note(job, place, text, engineering(found.resistance_ohm, Dimension::Resistance));
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
        for (key, node) in walk.entries(place, table, LOAD) {
            let place = format!("{place}: {key}");
            match key {
                "resistance" => load.resistance_ohm = walk.value(&place, node, Dimension::Resistance)?,
                _ => load.capacitance_f = walk.value(&place, node, Dimension::Capacitance)?,
            }
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
            "gain" => stage.gain_db = walk.value(&place, node, Dimension::Decibel)?,
            "equalisation" => {
                let word = walk.text(&place, node)?;
                stage.equalisation = walk.word(&place, &word, at, Equalisation::named, &Equalisation::NAMES)?;
            }
            _ => stage.output_resistance_ohm = walk.value(&place, node, Dimension::Resistance)?,
        }
    }
    Some(stage)
}

/// Reads one route and sees that its sections join.
fn route(walk: &mut Walk<'_>, name: &str, at: usize, node: &Node<'_>, job: &mut Job) {
    let place = format!("[route] \"{name}\"");
    let mut numbers: Vec<usize> = Vec::new();
    let mut broken = false;
    for (section, at) in walk.texts(&place, node) {
        match job.sections.iter().position(|s| s.name == section) {
            Some(number) if numbers.contains(&number) => {
                walk.fault(at, &place, format!("\"{section}\" stands twice"), "a route passes each section once")
            }
            Some(number) => numbers.push(number),
            None => {
                let known: Vec<&str> = job.sections.iter().map(|s| s.name.as_str()).collect();
                walk.fault(
                    at,
                    &place,
                    format!("unknown section \"{section}\""),
                    allowed_names(&section, known.iter().copied()),
                );
                broken = true;
            }
        }
    }
    if broken {
        // its name stays known, so that what was heard on it is not a fault as well
        job.routes.push(RouteSheet { name: name.to_owned(), sections: numbers, line: walk.line(at) });
        return;
    }
    let Some(&first) = numbers.first() else {
        return walk.fault(at, &place, "no sections", "list the sections from source to ear");
    };
    if !matches!(job.sections[first].from, SourceSheet::Own(_)) {
        let allowed = format!(
            "a route begins with a source: give section \"{}\" a from, or begin with another section",
            job.sections[first].name
        );
        walk.fault(at, &place, format!("begins with \"{}\", which has no source", job.sections[first].name), allowed);
    }
    for pair in numbers.windows(2) {
        let (before, after) = (pair[0], pair[1]);
        let (from, to) = (job.sections[before].name.clone(), job.sections[after].name.clone());
        if matches!(job.sections[after].from, SourceSheet::Own(_)) {
            walk.fault(
                at,
                &place,
                format!("\"{from}\" and \"{to}\" do not join: \"{to}\" has a source of its own"),
                "take its from away, or begin a route of its own with it",
            );
            continue;
        }
        if job.sections[before].then.is_some() {
            continue;
        }
        match control(job, after) {
            Ok(control) => job.sections[after].from = control,
            Err(allowed) => {
                walk.fault(at, &place, format!("\"{from}\" and \"{to}\" do not join"), allowed.replace("BEFORE", &from))
            }
        }
    }
    job.routes.push(RouteSheet { name: name.to_owned(), sections: numbers, line: walk.line(at) });
}

/// The control that drives a section whose path begins with its wiper.
fn control(job: &Job, section: usize) -> Result<SourceSheet, String> {
    let section = &job.sections[section];
    let Some(PathItem::Contact(wiper)) = section.path.first() else {
        return Err(format!(
            "give section \"BEFORE\" a stage (then), or begin the path of \"{}\" with the wiper of a control",
            section.name
        ));
    };
    let part = part_of(&wiper.name);
    let entry = job.parts.get(part);
    if entry.is_none_or(|p| p.kind != Some(Kind::Potentiometer)) {
        return Err(format!(
            "give section \"BEFORE\" a stage (then); or, if \"{part}\" is a control, write [part] \"{part}\" = {{ kind = \"potentiometer\", track = \"50 kohm\", setting = \"-30 dB\" }}"
        ));
    }
    match entry.and_then(|p| Some((p.track_ohm?, p.setting_db?))) {
        Some((track_ohm, setting_db)) => {
            Ok(SourceSheet::Control { part: part.to_owned(), track_ohm, ratio: 10f64.powf(setting_db / 20.0) })
        }
        None => Err(format!("[part] \"{part}\" drives \"{}\": it needs track and setting", section.name)),
    }
}
