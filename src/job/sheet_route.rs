//! Routes of a job sheet: which sections and quick contacts they pass, and whether these join.

use super::model::{Job, RouteSheet, SourceSheet, part_of};
use super::sheet::named;
use super::tree::{Node, Walk, allowed_names};
use crate::bench::kind::Kind;
use crate::bench::quantity::{Dimension, engineering};
use crate::circuit::PathItem;
use std::collections::BTreeMap;

/// Reads `[route]` into the job.
pub(super) fn read(walk: &mut Walk<'_>, tables: &BTreeMap<&str, &Node<'_>>, job: &mut Job) {
    let Some(routes) = tables.get("route") else {
        return walk.fault(0, "sheet", "no [route]", "list at least one route: the sections from source to ear");
    };
    let mut unread = false;
    for (name, at, node) in named(walk, routes, "[route]") {
        unread |= !route(walk, name, at, node, job);
    }
    if !unread {
        refuse_unused(walk, tables, job);
    }
}

/// Refuses a section or quick contact that no route passes: nothing on it could be judged.
fn refuse_unused(walk: &mut Walk<'_>, tables: &BTreeMap<&str, &Node<'_>>, job: &Job) {
    const ALLOWED: &str = "name it in a route, or take it out";
    for (header, name) in [("[section]", "section"), ("[contact]", "contact")] {
        let Some(node) = tables.get(name) else { continue };
        for (entry, at, _) in named(walk, node, header) {
            let used = job.routes.iter().any(|route| {
                route.sections.iter().any(|&k| name == "section" && job.sections[k].name == entry)
                    || route.quick.iter().any(|&k| name == "contact" && job.quick[k].contact.name == entry)
            });
            let known = job.sections.iter().any(|s| name == "section" && s.name == entry)
                || job.quick.iter().any(|q| name == "contact" && q.contact.name == entry);
            if known && !used {
                walk.fault(at, &format!("{header} \"{entry}\""), "no route passes it", ALLOWED);
            }
        }
    }
}

/// Reads one route and sees that its sections join; whether it could be read.
fn route(walk: &mut Walk<'_>, name: &str, at: usize, node: &Node<'_>, job: &mut Job) -> bool {
    let place = format!("[route] \"{name}\"");
    let mut sheet = RouteSheet { name: name.to_owned(), sections: Vec::new(), quick: Vec::new(), line: walk.line(at) };
    let mut broken = false;
    for (entry, at) in walk.texts(&place, node) {
        let section = job.sections.iter().position(|s| s.name == entry);
        let quick = job.quick.iter().position(|q| q.contact.name == entry);
        match (section, quick) {
            (Some(number), _) if !sheet.sections.contains(&number) => sheet.sections.push(number),
            (None, Some(number)) if !sheet.quick.contains(&number) => sheet.quick.push(number),
            (None, None) => {
                let sections = job.sections.iter().map(|s| s.name.as_str());
                let known: Vec<&str> = sections.chain(job.quick.iter().map(|q| q.contact.name.as_str())).collect();
                let on_path =
                    job.sections.iter().find(|s| s.path.iter().filter_map(PathItem::contact).any(|c| c.name == entry));
                let allowed = match on_path {
                    Some(s) => format!("the contact stands on the path of section \"{}\": name the section", s.name),
                    None => allowed_names(&entry, known.iter().copied()),
                };
                walk.fault(at, &place, format!("unknown section \"{entry}\""), allowed);
                broken = true;
            }
            _ => walk.fault(at, &place, format!("\"{entry}\" stands twice"), "a route passes each section once"),
        }
    }
    if broken {
        // its name stays known, so that what was heard on it is not a fault as well
        job.routes.push(sheet);
        return false;
    }
    let first = sheet.sections.first().copied();
    if first.is_none() && sheet.quick.is_empty() {
        walk.fault(at, &place, "no sections", "list the sections from source to ear");
        return false;
    }
    if let Some(first) = first.map(|first| &job.sections[first]).filter(|s| !matches!(s.from, SourceSheet::Own(_))) {
        let allowed = format!(
            "a route begins with a source: give section \"{}\" a from, or begin with another section",
            first.name
        );
        walk.fault(at, &place, format!("begins with \"{}\", which has no source", first.name), allowed);
    }
    for pair in sheet.sections.windows(2) {
        let (before, after) = (pair[0], pair[1]);
        let (from, to) = (job.sections[before].name.clone(), job.sections[after].name.clone());
        let not_joined = format!("\"{from}\" and \"{to}\" do not join");
        if matches!(job.sections[after].from, SourceSheet::Own(_)) {
            let allowed = "take its from away, or begin a route of its own with it";
            walk.fault(at, &place, format!("{not_joined}: \"{to}\" has a source of its own"), allowed);
        } else if job.sections[before].then.is_none() {
            match joined(job, before, after) {
                Ok(()) => job.sections[after].from = SourceSheet::Joined,
                Err(allowed) => walk.fault(at, &place, not_joined, allowed),
            }
        }
    }
    job.routes.push(sheet);
    true
}

/// Largest difference between a control's track and what the section before it is said to end in: tracks are 20 % parts.
const TRACK_TOLERANCE: f64 = 0.2;

/// Whether a section goes on with a control whose track the section before it ends in; else what to write.
fn joined(job: &Job, before: usize, after: usize) -> Result<(), String> {
    let (before, after) = (&job.sections[before], &job.sections[after]);
    if let Some(PathItem::Divider(control)) = after.path.first() {
        let ends_in = before.load.resistance_ohm;
        if ends_in.is_nan() || (ends_in / control.track_ohm - 1.0).abs() <= TRACK_TOLERANCE {
            return Ok(());
        }
        let ohm = |value| engineering(value, Dimension::Resistance);
        return Err(format!(
            "\"{}\" ends in {}, and the track of \"{}\" across it has {}: write the track for both",
            before.name,
            ohm(ends_in),
            control.name,
            ohm(control.track_ohm)
        ));
    }
    let Some(PathItem::Contact(wiper)) = after.path.first() else {
        return Err(format!(
            "give section \"{}\" a stage (then), or begin the path of \"{}\" with the wiper of a control",
            before.name, after.name
        ));
    };
    let part = part_of(&wiper.name);
    if job.parts.get(part).is_none_or(|p| p.kind != Some(Kind::Potentiometer)) {
        return Err(format!(
            "give section \"{}\" a stage (then); or, if \"{part}\" is a control, write [part] \"{part}\" = {{ kind = \"potentiometer\", track = \"50 kohm\", setting = \"-30 dB\" }}",
            before.name
        ));
    }
    if !wiper.name.ends_with("/ wiper") {
        return Err(format!(
            "the contact that a control hands on is written \"{part} / wiper\", not \"{}\"",
            wiper.name
        ));
    }
    Err(format!("[part] \"{part}\" drives \"{}\": it needs track and setting", after.name))
}
