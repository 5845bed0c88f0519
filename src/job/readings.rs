//! Readings, from a CSV file beside the sheet or from `[[reading]]`.

use super::keys::READING;
use super::tree::{allowed_names, nearest};
use crate::bench::evidence::Channel;
use crate::bench::method::Shows;
use crate::bench::quantity::{Dimension, Shown, engineering, quantity, shown};
use crate::bench::range::{Place, range_from};
use crate::bench::reading::{UNKNOWN, parallel_ohm};
pub(super) use crate::bench::spreadsheet::decoded;
use crate::bench::spreadsheet::{Lines, delimiter, torn};
use crate::bench::{Method, Reading, State};
use crate::error::InputError;
use std::collections::BTreeMap;

/// The cells of one reading as text, by key.
pub(super) type Cells<'c> = BTreeMap<&'c str, String>;

/// What a reading may refer to.
pub(super) struct Known<'k> {
    pub(super) contacts: Vec<&'k str>,
    pub(super) methods: &'k BTreeMap<String, Method>,
    /// contacts whose part is no control: megohms there are a slip of the prefix
    pub(super) small: Vec<&'k str>,
}

/// Channels of a cell.
pub(super) fn channels(cell: &str) -> Option<Vec<Channel>> {
    Some(match cell {
        "left" | "L" | "l" => vec![Channel::Left],
        "right" | "R" | "r" => vec![Channel::Right],
        "both" => vec![Channel::Left, Channel::Right],
        _ => return None,
    })
}

/// The readings of one row, one per channel.
pub(super) fn reading(cells: &Cells<'_>, known: &Known<'_>, line: usize) -> Result<Vec<Reading>, InputError> {
    let cell = |key: &str| cells.get(key).map(|c| c.trim().to_owned()).filter(|c| !c.is_empty());
    let fault = |key: &str, value: String, allowed: String| {
        InputError::new(format!("reading: {key}"), value, allowed).at_line(line)
    };
    let wanted = |key: &str| {
        let meaning = READING.iter().find(|k| k.name == key).map_or("", |k| k.meaning);
        cell(key).ok_or_else(|| fault(key, "missing".into(), format!("write {meaning}")))
    };
    let contact = wanted("contact")?;
    if !known.contacts.contains(&contact.as_str()) {
        let allowed = match nearest(&contact, known.contacts.iter().copied()) {
            Some(near) => format!("did you mean \"{near}\"? a contact must be on a section's path"),
            None => "a contact must be on a section's path".to_owned(),
        };
        return Err(fault("contact", format!("unknown contact \"{contact}\""), allowed));
    }
    let channel = wanted("channel")?;
    let Some(channels) = channels(&channel) else {
        return Err(fault("channel", format!("\"{channel}\""), "allowed: left, right, both, L, R".into()));
    };
    let when = cell("when").unwrap_or_else(|| State::AsFound.word().to_owned());
    let Some(when) = State::from_word(&when) else {
        let words = State::ALL.iter().map(|s| s.word());
        return Err(fault("when", format!("\"{when}\""), allowed_names(&when, words)));
    };
    let method_name = wanted("method")?;
    let own = known.methods.get(&method_name).cloned();
    let Some(mut method) = own.or_else(|| Method::typical(&method_name)) else {
        let names = known.methods.keys().map(String::as_str).chain(Method::TYPICAL);
        return Err(fault("method", format!("unknown method \"{method_name}\""), allowed_names(&method_name, names)));
    };
    let text = wanted("shows")?;
    let (allowed, by_voltage) = method.dimensions();
    let (shows, dimension) = shown(&text, &allowed).map_err(|e| fault("shows", e.problem, e.allowed))?;
    method.shows = match dimension {
        Dimension::Voltage => by_voltage,
        Dimension::Decibel => Shows::LossDb,
        _ if shows == Shown::Open && !matches!(method.shows, Shows::Ohms) => Shows::Ohms,
        _ => Shows::Ohms,
    };
    let largest = match shows {
        Shown::Value(q) => q.value,
        Shown::Between(_, high) => high,
        _ => 0.0,
    };
    if dimension == Dimension::Resistance
        && largest >= 1e6
        && known.small.contains(&contact.as_str())
        && text.contains('M')
    {
        let meant = text.replace('M', "m");
        return Err(fault(
            "shows",
            format!("\"{text}\" on {contact}"),
            format!("did you mean \"{meant}\"? m is milli, M is mega; an open contact reads \"OL\""),
        ));
    }
    if let Some(allowed) = cannot_show(&method, &method_name, shows) {
        return Err(fault("shows", format!("\"{text}\" on {contact}"), allowed));
    }
    let at_v = cell("at")
        .map(|at| quantity(&at, Dimension::Voltage).map(|q| q.value).map_err(|e| fault("at", e.problem, e.allowed)))
        .transpose()?;
    if method.shows == Shows::SignalVolts && !at_v.is_some_and(|v| v > 0.0) {
        return Err(fault(
            "at",
            "missing".into(),
            "signal millivolts need the load's voltage beside them, like \"2.83 V\"".into(),
        ));
    }
    let parallel_ohm = cell("parallel")
        .map(|text| {
            if matches!(method.shows, Shows::SignalVolts | Shows::LossDb) {
                let allowed = "read with the signal itself there is nothing to take off; leave it out";
                return Err(fault("parallel", format!("\"{text}\""), allowed.into()));
            }
            parallel_ohm(&text).map_err(|e| fault("parallel", e.problem, e.allowed))
        })
        .transpose()?;
    if let Some((_, most)) = parallel_ohm {
        let read = range_from(&method, shows, at_v, when, &Place::UNKNOWN).low_ohm;
        if read >= most {
            let told = engineering(read, Dimension::Resistance);
            let allowed =
                format!("what stands beside it is more than what was read, at least {told}; or \"{UNKNOWN}\"");
            return Err(fault("parallel", format!("\"{}\"", cell("parallel").unwrap_or_default()), allowed));
        }
    }
    Ok(channels
        .into_iter()
        .map(|channel| Reading {
            when,
            contact: contact.clone(),
            channel,
            shows,
            method: method.clone(),
            method_name: method_name.clone(),
            polarity: cell("polarity"),
            at_v,
            parallel_ohm,
            note: cell("note"),
            file: None,
            line,
        })
        .collect())
}

/// What is allowed, where a method cannot show what was read: more volts than it has, or a level that falls when a contact is bridged.
fn cannot_show(method: &Method, name: &str, shows: Shown) -> Option<String> {
    let (least, most) = match shows {
        Shown::Value(q) => (q.value, q.value),
        Shown::Between(low, high) => (low, high),
        _ => return None,
    };
    match method.shows {
        Shows::DividerVolts | Shows::DropVolts => {
            let open = method.open_circuit_v?;
            let told = engineering(open, Dimension::Voltage);
            (most > open + method.half_width(open))
                .then(|| format!("allowed: at most {told}, which \"{name}\" has across an open contact; m is milli; a source that has more is a [method] of its own"))
        }
        Shows::LossDb => (least < -method.half_width(least)).then(|| {
            "allowed: 0 dB or more: by how much the channel gets louder with the clip lead across the contact"
                .to_owned()
        }),
        Shows::Ohms | Shows::SignalVolts => None,
    }
}

/// Refuses a row that stands twice.
pub(super) fn refuse_twice(readings: &[Reading], faults: &mut Vec<InputError>) {
    for (index, r) in readings.iter().enumerate() {
        let same = |o: &&Reading| {
            (o.when, &o.contact, o.channel, o.shows, &o.method_name, &o.polarity)
                == (r.when, &r.contact, r.channel, r.shows, &r.method_name, &r.polarity)
        };
        if let Some(first) = readings[..index].iter().find(same) {
            let found = format!("the same as line {}: {}, {}", first.line, r.contact, r.channel.word());
            let mut fault = InputError::new("reading", found, "write each reading once").at_line(r.line);
            if let Some(file) = &r.file {
                fault = fault.in_file(file);
            }
            faults.push(fault);
        }
    }
}

/// Reads a CSV of readings: what was read, how many rows have nothing in `shows` yet, and every fault with its line.
pub(super) fn from_csv(text: &str, file: &str, known: &Known<'_>) -> (Vec<Reading>, usize, Vec<InputError>) {
    let text = text.trim_start_matches('\u{feff}');
    let delimiter = delimiter(text);
    let mut lines = Lines::new(text);
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).flexible(true).trim(csv::Trim::All).from_reader(text.as_bytes());
    let (mut readings, mut blank, mut faults) = (Vec::new(), 0, Vec::new());
    let columns: Vec<String> = match reader.headers() {
        Ok(headers) => headers.iter().map(str::to_lowercase).collect(),
        Err(error) => {
            faults.push(
                InputError::new("readings", error, "allowed: a CSV file in UTF-8 with a header row").in_file(file),
            );
            return (readings, blank, faults);
        }
    };
    for column in &columns {
        if !READING.iter().any(|k| k.name == column) {
            let allowed = allowed_names(column, READING.iter().map(|k| k.name));
            faults.push(
                InputError::new("header", format!("unknown column \"{column}\""), allowed).at_line(1).in_file(file),
            );
        }
    }
    for (place, column) in columns.iter().enumerate() {
        if columns[..place].contains(column) {
            let allowed = "allowed: each column once";
            faults.push(
                InputError::new("header", format!("column \"{column}\" comes twice"), allowed).at_line(1).in_file(file),
            );
        }
    }
    for key in ["contact", "channel", "shows", "method"] {
        if !columns.iter().any(|c| c == key) {
            faults.push(
                InputError::new(
                    "header",
                    format!("no column \"{key}\""),
                    "allowed: a header row with contact, channel, shows, method",
                )
                .at_line(1)
                .in_file(file),
            );
        }
    }
    if !faults.is_empty() {
        return (readings, blank, faults);
    }
    let mut record = csv::StringRecord::new();
    loop {
        match reader.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => {
                let line = error.position().map_or(0, |p| p.line() as usize);
                faults.push(InputError::new("row", error, "allowed: a CSV row in UTF-8").at_line(line).in_file(file));
                continue;
            }
        };
        let begins = record.position().map_or(0, |p| p.byte() as usize);
        let line = lines.at(begins);
        if record.iter().all(str::is_empty) {
            continue;
        }
        if record.len() > columns.len() {
            let allowed = format!(
                "allowed: the {} columns of the header; put a cell with the delimiter in quotes",
                columns.len()
            );
            faults.push(InputError::new("row", format!("{} cells", record.len()), allowed).at_line(line).in_file(file));
            continue;
        }
        let rest = (reader.position().byte() as usize >= text.len()).then(|| text.get(begins..)).flatten();
        if let Some((found, allowed)) = torn(&record, rest, (columns.len(), delimiter)) {
            faults.push(InputError::new("row", found, allowed).at_line(line).in_file(file));
            continue;
        }
        let cells: Cells<'_> = columns.iter().map(String::as_str).zip(record.iter().map(str::to_owned)).collect();
        if cells.get("shows").is_none_or(|cell| cell.is_empty())
            && cells.get("contact").is_some_and(|contact| known.contacts.contains(&contact.as_str()))
        {
            blank += 1;
            continue;
        }
        match reading(&cells, known, line) {
            Ok(found) => readings.extend(found.into_iter().map(|r| Reading { file: Some(file.to_owned()), ..r })),
            Err(fault) => faults.push(fault.in_file(file)),
        }
    }
    (readings, blank, faults)
}
