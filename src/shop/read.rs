//! Reading a bench log: a table as it comes, every row accounted for, nothing unknown read or printed.

use super::cells::{AtAnEnd, Cells, Fault, Sheet};
use super::date::{order, written};
use super::log::{COLUMNS, COUNT, Form, place as at};
use super::pairs::{Fate, Pairs, pairs};
use crate::bench::quantity::{Dimension, quantity};
use crate::bench::spreadsheet::{Lines, decoded, delimiter, torn};
use crate::error::InputError;
use crate::watch::{Stopped, Watch};
use std::collections::hash_map::DefaultHasher;
use std::collections::{HashMap, HashSet};
use std::hash::{Hash, Hasher};

/// A log, read and checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Log {
    /// the contacts before and after
    pub pairs: Pairs,
    /// rows used
    pub used: usize,
    /// rows of a before without an after
    pub without_after: Vec<usize>,
    /// rows set aside
    pub set_aside: Vec<usize>,
    /// every fault, rows and cells, in the order of the file
    pub faults: Vec<Fault>,
    /// readings at an end of the meter's range
    pub ends: AtAnEnd,
    /// currency, where the log names one
    pub currency: Option<String>,
    /// columns that are not in the table: counted, neither read nor named
    pub unknown_columns: usize,
    /// columns that were there
    pub columns: Vec<&'static str>,
    /// number of jobs
    pub jobs: usize,
}

/// Rows between two looks at the watch.
pub(super) const WATCH_EVERY: usize = 4096;

/// Name and unit of a header cell: "Shows (ohm)" is shows in ohm.
fn heading(cell: &str) -> (String, Option<String>) {
    let text = cell.trim().to_lowercase();
    let name = text.split(['(', '[']).next().unwrap_or("").trim().replace([' ', '-'], "_");
    let original = cell.trim();
    let unit = original
        .find(['(', '['])
        .map(|open| original[open + 1..].trim_end_matches([')', ']']).trim().to_owned())
        .filter(|unit| !unit.is_empty());
    (name, unit)
}

fn sheet_of(header: &csv::StringRecord) -> Result<(Sheet, usize), InputError> {
    let mut sheet = Sheet {
        columns: [None; COUNT],
        units: [const { None }; COUNT],
        order: None,
        currency: None,
        ends: AtAnEnd::default(),
    };
    let mut unknown = 0;
    for (place, cell) in header.iter().enumerate() {
        let (name, unit) = heading(cell);
        let Some(column) = COLUMNS.iter().position(|c| c.name == name) else {
            unknown += usize::from(!name.is_empty());
            continue;
        };
        if sheet.columns[column].replace(place).is_some() {
            let found = format!("column \"{name}\" comes twice");
            return Err(InputError::new("header", found, "allowed: each column once").at_line(1));
        }
        if let Some(unit) = unit {
            // only readings, quantities and minutes have a unit to lend
            let fits = |d| quantity(&format!("1 {unit}"), d).is_ok();
            let allowed = match COLUMNS[column].form {
                Form::Figure => fits(Dimension::Resistance) || fits(Dimension::Voltage),
                Form::Minutes => fits(Dimension::Time),
                Form::Quantity => fits(Dimension::Resistance) || fits(Dimension::Voltage),
                _ => true,
            };
            if !allowed {
                let found = format!("column \"{name}\" in \"{unit}\"");
                return Err(
                    InputError::new("header", found, "allowed: a unit of the SI, like (ohm), (mV), (min)").at_line(1)
                );
            }
            if matches!(COLUMNS[column].form, Form::Figure | Form::Minutes | Form::Quantity) {
                sheet.units[column] = Some(unit);
            }
        }
    }
    let has = |column: usize| sheet.columns[column].is_some();
    for (there, name) in [
        (has(at::SHOWS), "shows"),
        (has(at::JOB), "job"),
        (has(at::KIND), "kind"),
        (has(at::CONTACT) || has(at::PART), "contact\" or \"part"),
    ] {
        if !there {
            let allowed =
                "allowed: a header row with shows, job, kind, contact or part; weaklink compare --columns lists all";
            return Err(InputError::new("header", format!("no column \"{name}\""), allowed).at_line(1));
        }
    }
    Ok((sheet, unknown))
}

fn reader(text: &str) -> csv::Reader<&[u8]> {
    csv::ReaderBuilder::new().delimiter(delimiter(text)).flexible(true).from_reader(text.as_bytes())
}

fn broken(error: csv::Error) -> InputError {
    InputError::new("log", error, "allowed: a table as CSV with a header row")
}

/// Whether the slashed dates of a file have the day first: the first date that gives it away decides.
fn find_order(text: &str, sheet: &mut Sheet, watch: &dyn Watch) -> Result<Result<(), InputError>, Stopped> {
    let places: Vec<usize> =
        [at::DATE, at::BACK_ON, at::LAST_KNOWN_GOOD].into_iter().filter_map(|column| sheet.columns[column]).collect();
    if places.is_empty() || !text.contains('/') {
        return Ok(Ok(()));
    }
    let mut reader = reader(text);
    let mut record = csv::StringRecord::new();
    for count in 1usize.. {
        if count % WATCH_EVERY == 0 && watch.stop() {
            return Err(Stopped);
        }
        match reader.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => return Ok(Err(broken(error))),
        }
        let cells = places.iter().filter_map(|&place| record.get(place));
        if let Some(found) = cells.filter_map(|cell| written(cell.trim())).find_map(order) {
            sheet.order = Some(found);
            break;
        }
    }
    Ok(Ok(()))
}

/// Numbers for names, in the order of their first mention; the names themselves are not kept.
#[derive(Default)]
struct Numbers(HashMap<u64, u32>);

impl Numbers {
    fn of(&mut self, name: impl Hash) -> u32 {
        let mut hasher = DefaultHasher::new();
        name.hash(&mut hasher);
        let next = self.0.len() as u32;
        *self.0.entry(hasher.finish()).or_insert(next)
    }
}

/// Reads a log from the bytes of a CSV file.
///
/// # Errors
/// A header without the columns it takes, or a column twice. Faults of rows and cells are data: see [`Log::faults`].
pub fn read(bytes: &[u8], file: &str, watch: &dyn Watch) -> Result<Result<Log, InputError>, Stopped> {
    let text = decoded(bytes);
    let text = text.trim_start_matches('\u{feff}');
    read_text(text, watch).map(|log| log.map_err(|fault| fault.in_file(file)))
}

fn read_text(text: &str, watch: &dyn Watch) -> Result<Result<Log, InputError>, Stopped> {
    let mut csv = reader(text);
    let start = csv.headers().map_err(broken).and_then(sheet_of);
    let (mut sheet, unknown_columns) = match start {
        Ok(start) => start,
        Err(fault) => return Ok(Err(fault)),
    };
    if let Err(fault) = find_order(text, &mut sheet, watch)? {
        return Ok(Err(fault));
    }
    let (width, cell_ends) = (csv.headers().map_or(0, csv::StringRecord::len), delimiter(text));
    let (mut lines, mut record) = (Lines::new(text), csv::StringRecord::new());
    let (mut rows, mut faults, mut aside) = (Vec::new(), Vec::new(), Vec::new());
    let (mut jobs, mut contacts) = (Numbers::default(), Numbers::default());
    let mut seen: HashSet<u64> = HashSet::new();
    let mut count = 0usize;
    loop {
        count += 1;
        if count % WATCH_EVERY == 0 {
            watch.done(WATCH_EVERY);
            if watch.stop() {
                return Err(Stopped);
            }
        }
        match csv.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => break,
            Err(error) => return Ok(Err(broken(error))),
        }
        let begins = record.position().map_or(0, |p| p.byte() as usize);
        let row = lines.at(begins);
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let mut cells = Cells { record: &record, row, faults: &mut faults, aside: false };
        if record.len() > width {
            let found = format!("{} cells", record.len());
            cells.fault(
                at::SHOWS,
                found,
                format!("allowed: the {width} columns of the header; put a cell with the delimiter in quotes"),
                true,
            );
            aside.push(row);
            continue;
        }
        let rest = (csv.position().byte() as usize >= text.len()).then(|| text.get(begins..)).flatten();
        if let Some((found, allowed)) = torn(&record, rest, (width, cell_ends)) {
            cells.fault(at::SHOWS, found, allowed, true);
            aside.push(row);
            continue;
        }
        let job = cells.text(&sheet, at::JOB);
        let contact = cells.text(&sheet, at::CONTACT);
        let part = (cells.text(&sheet, at::PART), cells.text(&sheet, at::POSITION));
        let channel = cells.text(&sheet, at::CHANNEL).map(|c| c.chars().next().map(|c| c.to_ascii_lowercase()));
        let Some(job) = job else {
            cells.fault(at::JOB, "missing", "write the number of the amplifier's job", true);
            aside.push(row);
            continue;
        };
        if contact.is_none() && part.0.is_none() {
            cells.fault(at::CONTACT, "missing", "write a contact, \"part / position\"", true);
            aside.push(row);
            continue;
        }
        let (job, named) = (jobs.of(job), contact.map_or((None, part.0, part.1), |c| (Some(c), None, None)));
        let number = contacts.of((named, channel.flatten()));
        if let Some(found) = cells.read(&mut sheet, job, number) {
            let mut hasher = DefaultHasher::new();
            for column in [
                at::JOB,
                at::CHANNEL,
                at::CONTACT,
                at::PART,
                at::POSITION,
                at::WHEN,
                at::DATE,
                at::REMEDY,
                at::SHOWS,
                at::AFTER,
                at::METHOD,
                at::POLARITY,
            ] {
                cells.text(&sheet, column).hash(&mut hasher);
            }
            if seen.insert(hasher.finish()) {
                rows.push(found);
            } else {
                cells.fault(at::CONTACT, "the same row once more", "write each reading once", true);
            }
        }
        if cells.aside {
            aside.push(row);
        }
    }
    let (pairs, fate) = pairs(&rows, &mut faults, watch)?;
    faults.sort_by_key(|fault| fault.row);
    let Fate { used, mut without_after, aside: more } = fate;
    aside.extend(more);
    aside.sort_unstable();
    without_after.sort_unstable();
    let columns = (0..COUNT).filter(|&k| sheet.columns[k].is_some()).map(|k| COLUMNS[k].name).collect();
    Ok(Ok(Log {
        pairs,
        used: used.len(),
        without_after,
        set_aside: aside,
        faults,
        ends: sheet.ends,
        currency: sheet.currency,
        unknown_columns,
        columns,
        jobs: jobs.0.len(),
    }))
}
