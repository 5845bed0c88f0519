//! The job sheet: a TOML file written by hand at the bench, read whole, every fault with its line.

use super::keys::{HEADERS, Header, TOP};
use super::model::{Job, part_of};
use super::readings::{Known, refuse_twice};
use super::tree::{Node, Walk, allowed_names};
use super::{readings, sheet_circuit, sheet_evidence};
use crate::bench::kind::Kind;
use crate::bench::quantity::{Dimension, Shown, accuracy, shown};
use crate::bench::{Method, Part};
use crate::error::InputError;
use std::collections::BTreeMap;
use std::path::Path;
use toml::de::DeTable;

/// How the text of a readings file is found by its name.
pub type ReadingsFile<'f> = &'f dyn Fn(&str) -> std::io::Result<String>;

/// Reads a job sheet from a file, with the readings file beside it.
///
/// # Errors
/// Every fault of the sheet and its readings, each with file, line, place, value and what is allowed.
pub fn load(path: &Path) -> Result<Job, Vec<InputError>> {
    let name = path.display().to_string();
    let read = |path: &Path| {
        std::fs::read(path).and_then(|bytes| {
            String::from_utf8(bytes).map_err(|_| std::io::Error::new(std::io::ErrorKind::InvalidData, "not UTF-8 text"))
        })
    };
    let spreadsheet = |path: &Path| std::fs::read(path).map(|bytes| readings::decoded(&bytes));
    let text = read(path)
        .map_err(|error| vec![InputError::new(&name, error, "allowed: a job sheet, a TOML file in UTF-8")])?;
    let folder = path.parent().unwrap_or(Path::new("."));
    self::read(&text, &name, &|file| spreadsheet(&folder.join(file)))
}

/// Reads a job sheet from its text; `readings` finds the text of a readings file.
///
/// # Errors
/// As [`load`].
pub fn read(text: &str, file: &str, readings: ReadingsFile<'_>) -> Result<Job, Vec<InputError>> {
    let text = text.trim_start_matches('\u{feff}');
    let mut walk = Walk::new(text, file);
    let Some(tree) = walk.parse() else {
        return Err(walk.faults);
    };
    let mut job = Job { text: text.to_owned(), file: Some(file.to_owned()), ..Job::default() };
    let mut tables: BTreeMap<&str, &Node<'_>> = BTreeMap::new();
    let mut csv_name = None;
    let mut version = None;
    let mut distance_at = None;
    for (key, node) in tree.get_ref() {
        let (name, at): (&str, usize) = (key.get_ref(), key.span().start);
        match name {
            "sheet" => version = Some(node),
            "title" => job.title = walk.text("title", node).unwrap_or_default(),
            "currency" => job.currency = walk.text("currency", node),
            "sensitivity" => {
                job.sensitivity_db = walk.quantity("sensitivity", node, Dimension::Decibel).map(|q| q.value)
            }
            "distance" => {
                job.distance_m = walk.quantity("distance", node, Dimension::Length).map(|q| q.value);
                distance_at = job.distance_m.map(|_| at);
                if job.distance_m == Some(0.0) {
                    walk.fault(at, "distance", "0 m", "allowed: above zero; for headphones leave it out");
                }
            }
            "readings" => csv_name = walk.text("readings", node).map(|text| (text, node.span().start)),
            _ if HEADERS.iter().any(|h| h.name == name) => {
                tables.insert(name, node);
            }
            _ => {
                let known = TOP.iter().map(|k| k.name).chain(HEADERS.iter().map(|h| h.name));
                let allowed = match super::keys::home_of(name) {
                    Some(home) => format!("it belongs under {home}"),
                    None => allowed_names(name, known),
                };
                walk.fault(at, "sheet", format!("unknown key \"{name}\""), allowed);
            }
        }
    }
    match version {
        None => walk.fault(0, "sheet", "missing", "begin with sheet = 1"),
        Some(node) => {
            let written = walk.written(node.span()).to_owned();
            if written.parse::<u64>().is_ok_and(|newer| newer > 1) {
                // what its other keys mean is not known here: they are no faults
                let own = env!("CARGO_PKG_VERSION");
                let allowed = format!("allowed: 1; weaklink {own} reads no newer sheet, a newer weaklink does");
                walk.faults.clear();
                walk.fault(node.span().start, "sheet", format!("a sheet of version {written}"), allowed);
                return Err(walk.faults);
            }
            if written != "1" {
                walk.fault(node.span().start, "sheet", written, "allowed: 1, the only version so far");
            }
        }
    }
    if let (Some(at), None) = (distance_at, job.sensitivity_db) {
        walk.fault(at, "distance", "distance without sensitivity", "write sensitivity = \"87 dB\" beside it");
    }
    let methods = tables.get("method").map(|node| read_methods(&mut walk, node)).unwrap_or_default();
    if let Some(node) = tables.get("part") {
        read_parts(&mut walk, node, &mut job);
    }
    if let Some(node) = tables.get("prior") {
        super::sheet_prior::read(&mut walk, node, &mut job.priors);
    }
    sheet_circuit::read(&mut walk, &tables, &mut job);
    sheet_evidence::read(&mut walk, tables.get("heard").copied(), tables.get("bridged").copied(), &mut job);
    if let Some(node) = tables.get("checked") {
        super::sheet_checked::read(&mut walk, node, &mut job);
    }

    let contacts: Vec<String> = job.contacts().map(|contact| contact.name.clone()).collect();
    for contact in &contacts {
        job.parts.entry(part_of(contact).to_owned()).or_default();
    }
    let is_control = |c: &&String| job.parts.get(part_of(c)).is_some_and(|p| p.kind == Some(Kind::Potentiometer));
    let known = Known {
        contacts: contacts.iter().map(String::as_str).collect(),
        methods: &methods,
        small: contacts.iter().filter(|c| !is_control(c)).map(String::as_str).collect(),
    };
    let mut found = Vec::new();
    if let Some((name, at)) = csv_name {
        match readings(&name) {
            Ok(text) => {
                let (rows, blank, faults) = readings::from_csv(&text, &name, &known);
                found.extend(rows);
                job.blank_readings = blank;
                walk.faults.extend(faults);
                job.readings_text = Some((name, text));
            }
            Err(error) => {
                walk.fault(at, "readings", format!("\"{name}\": {error}"), "allowed: a CSV file beside the sheet")
            }
        }
    }
    if let Some(node) = tables.get("reading") {
        for (table, line) in rows(&mut walk, node, "reading") {
            let mut cells = BTreeMap::new();
            for (key, node) in walk.entries("[[reading]]", table, super::keys::READING) {
                if let Some(text) = walk.text(&format!("[[reading]]: {key}"), node) {
                    cells.insert(key, text);
                }
            }
            match readings::reading(&cells, &known, line) {
                Ok(rows) => found.extend(rows),
                Err(fault) => walk.faults.push(fault.in_file(file)),
            }
        }
    }
    refuse_twice(&found, &mut walk.faults);
    job.readings = found;
    typical_methods(&mut job, &methods);
    job.methods = methods;
    if walk.faults.is_empty() { Ok(job) } else { Err(walk.faults) }
}

/// The header's keys.
pub(super) fn header(name: &str) -> &'static Header {
    HEADERS.iter().find(|h| h.name == name).unwrap_or(&HEADERS[0])
}

/// Tables of an array like `[[heard]]`, each with its line.
pub(super) fn rows<'n, 'a>(walk: &mut Walk<'_>, node: &'n Node<'a>, name: &str) -> Vec<(&'n DeTable<'a>, usize)> {
    let Some(items) = node.get_ref().as_array() else {
        walk.fault(node.span().start, name, "one table", format!("write [[{name}]] with two brackets"));
        return Vec::new();
    };
    items
        .iter()
        .filter_map(|item| {
            let line = walk.line(item.span().start);
            walk.table(name, item).map(|table| (table, line))
        })
        .collect()
}

/// Named entries of a table like `[part]`.
pub(super) fn named<'n, 'a>(
    walk: &mut Walk<'_>,
    node: &'n Node<'a>,
    name: &str,
) -> Vec<(&'n str, usize, &'n Node<'a>)> {
    let Some(table) = walk.table(name, node) else {
        return Vec::new();
    };
    table
        .iter()
        .map(|(key, node)| {
            let name: &str = key.get_ref();
            (name, key.span().start, node)
        })
        .collect()
}

fn read_methods(walk: &mut Walk<'_>, node: &Node<'_>) -> BTreeMap<String, Method> {
    let mut methods = BTreeMap::new();
    for (name, _, node) in named(walk, node, "[method]") {
        let place = format!("[method] \"{name}\"");
        let Some(table) = walk.table(&place, node) else {
            continue;
        };
        let mut method = Method::typical(name).unwrap_or_else(Method::plain);
        let mut leads_at = None;
        for (key, node) in walk.entries(&place, table, header("method").keys) {
            let place = format!("{place}: {key}");
            match key {
                "wires" => {
                    let written = walk.written(node.span()).to_owned();
                    match written.as_str() {
                        "2" => method.wires = 2,
                        "4" => method.wires = 4,
                        _ => walk.fault(node.span().start, &place, written, "allowed: 2 or 4"),
                    }
                }
                "open_circuit" => method.open_circuit_v = walk.value(&place, node, Dimension::Voltage),
                "current" => method.current_a = walk.value(&place, node, Dimension::Current),
                "source" => method.source_ohm = walk.value(&place, node, Dimension::Resistance),
                "lead" => {
                    leads_at = Some(node);
                    let Some(text) = walk.text(&place, node) else {
                        continue;
                    };
                    match shown(&text, &[Dimension::Resistance]) {
                        Ok((Shown::Value(q), _)) => method.lead_ohm = (q.low().max(0.0), q.high()),
                        Ok((Shown::Between(low, high), _)) => method.lead_ohm = (low, high),
                        Ok(_) => walk.fault(
                            node.span().start,
                            &place,
                            format!("\"{text}\""),
                            "write it like \"0.2 ohm\" or \"0.1 to 0.3 ohm\"",
                        ),
                        Err(error) => walk.fault(node.span().start, &place, error.problem, error.allowed),
                    }
                }
                _ => {
                    let Some(text) = walk.text(&place, node) else {
                        continue;
                    };
                    match accuracy(&text) {
                        Ok(found) => method = method.with_accuracy(found),
                        Err(error) => walk.fault(node.span().start, &place, error.problem, error.allowed),
                    }
                }
            }
        }
        if method.wires == 4 {
            if let Some(node) = leads_at {
                let allowed = "four wires leave the leads out: write wires = 2, or take lead away";
                walk.fault(node.span().start, &format!("{place}: lead"), "lead resistance with four wires", allowed);
            }
        }
        methods.insert(name.to_owned(), method);
    }
    methods
}

fn read_parts(walk: &mut Walk<'_>, node: &Node<'_>, job: &mut Job) {
    for (name, part_at, node) in named(walk, node, "[part]") {
        let place = format!("[part] \"{name}\"");
        let Some(table) = walk.table(&place, node) else {
            continue;
        };
        let mut part = Part::default();
        for (key, node) in walk.entries(&place, table, header("part").keys) {
            let place = format!("{place}: {key}");
            let at = node.span().start;
            match key {
                "kind" => {
                    let all: Vec<&'static str> = Kind::ALL.iter().map(|k| k.word()).collect();
                    part.kind =
                        walk.text(&place, node).and_then(|word| walk.word(&place, &word, at, Kind::from_word, &all));
                }
                "metal" => part.metal = walk.text(&place, node),
                "note" => part.note = walk.text(&place, node),
                "access" => part.access_s = walk.value(&place, node, Dimension::Time),
                "price" => {
                    let written = walk.written(node.span()).to_owned();
                    match written.parse::<f64>() {
                        Ok(price) if price.is_finite() && price >= 0.0 => part.price = Some(price),
                        _ => walk.fault(at, &place, written, "allowed: a number, zero or more, without a currency"),
                    }
                }
                "suspicion" => {
                    part.suspicion = walk.number(&place, node);
                    if part.suspicion.is_some_and(|times| !(0.0..=1000.0).contains(&times)) {
                        let written = walk.written(node.span()).to_owned();
                        walk.fault(at, &place, written, "allowed: 0 to 1000; 1 is as likely as another part");
                    }
                }
                "track" => {
                    part.track_ohm = walk.value(&place, node, Dimension::Resistance);
                    if part.track_ohm.is_some_and(|ohm| ohm < 100.0) {
                        let written = walk.written(node.span()).to_owned();
                        walk.fault(at, &place, written, "a control's track is 100 ohm or more; did you mean kohm?");
                    }
                }
                _ => {
                    part.setting_db = walk.value(&place, node, Dimension::Decibel);
                    if part.setting_db.is_some_and(|db| db > 0.0) {
                        let written = walk.written(node.span()).to_owned();
                        walk.fault(at, &place, written, "a control does not amplify: write 0 dB or less");
                    }
                }
            }
        }
        if let Some(kind) = part.kind.filter(|kind| *kind != Kind::Potentiometer) {
            if part.track_ohm.is_some() || part.setting_db.is_some() {
                let found = format!("track or setting of a {}", kind.word());
                walk.fault(
                    part_at,
                    &place,
                    found,
                    "only a control has them: write kind = \"potentiometer\", or take them away",
                );
            }
        }
        job.parts.insert(name.to_owned(), part);
    }
}

/// Lists the typical methods that readings used.
fn typical_methods(job: &mut Job, own: &BTreeMap<String, Method>) {
    let mut names: Vec<String> =
        job.readings.iter().map(|r| r.method_name.clone()).filter(|n| !own.contains_key(n)).collect();
    names.sort_unstable();
    names.dedup();
    for name in names {
        let place = "readings: method".to_owned();
        job.typical.push(super::TypicalUse { place, means: "typical meter figures".to_owned(), name });
    }
}
