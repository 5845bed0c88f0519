//! From rows to pairs: the same contact before and after a remedy, and how long it held.

use super::cells::{Fault, Meta, Ohms, Row};
use super::log::{BackWhy, COLUMNS, place as at};
use super::read::WATCH_EVERY;
use super::remedy::Remedy;
use crate::bench::State;
use crate::bench::kind::Kind;
use crate::watch::{Stopped, Watch};
use std::collections::HashMap;

/// One contact before and after: columns of equal length.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pairs {
    /// row of the file with the after-reading, or the only one
    pub row: Vec<u32>,
    /// number of the amplifier's job, from 0
    pub job: Vec<u32>,
    /// kind, as its place in `Kind::ALL`
    pub kind: Vec<u8>,
    /// remedy, as its place in `Remedy::ALL`
    pub remedy: Vec<u8>,
    /// product class, as its place in `Product::ALL`; 255 not said
    pub product: Vec<u8>,
    /// environment, as its place in `Surroundings::ALL`; 255 not said
    pub environment: Vec<u8>,
    /// plated metal
    pub plated: Vec<bool>,
    /// both readings dry enough for their place
    pub dry: Vec<bool>,
    /// before, lower and upper end, ohm
    pub before: [Vec<f64>; 2],
    /// after, lower and upper end, ohm; NaN without one
    pub after: [Vec<f64>; 2],
    /// day of the remedy since 1970-01-01; NaN not said
    pub day: Vec<f64>,
    /// years it was followed; NaN not followed
    pub years: Vec<f64>,
    /// it came back for this contact
    pub came_back: Vec<bool>,
    /// it came back and nobody looked why; counted as this contact
    pub why_unknown: Vec<bool>,
    /// working time, min; NaN not said
    pub minutes: Vec<f64>,
    /// price of the part; NaN not said
    pub part_cost: Vec<f64>,
    /// 1 damaged, 0 not, NaN not recorded
    pub damage: Vec<f64>,
}

/// What became of the rows.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Fate {
    pub(super) used: Vec<usize>,
    pub(super) without_after: Vec<usize>,
    pub(super) aside: Vec<usize>,
}

/// Days of a year, for follow-up times.
const DAYS_PER_YEAR: f64 = 365.25;
/// A comeback on the day of the remedy counts as half a day of service.
const LEAST_DAYS: f64 = 0.5;

fn index<T: PartialEq>(all: &[T], value: &T) -> u8 {
    all.iter().position(|v| v == value).map_or(u8::MAX, |k| k as u8)
}

/// Which pair.
#[derive(Debug, Clone, Copy)]
struct Who {
    row: usize,
    job: u32,
    kind: Kind,
    remedy: Remedy,
}

impl Pairs {
    /// Adds one pair; dates that run backwards are named and the follow-up set aside.
    fn push(&mut self, who: Who, ohms: (Ohms, Option<Ohms>), meta: &Meta, faults: &mut Vec<Fault>) {
        use super::log::{Product, Surroundings};
        let Who { row, job, kind, remedy } = who;
        let (before, after) = ohms;
        let mut follow = f64::NAN;
        let mut came_back = false;
        let end =
            meta.back_on.map(|day| (day, at::BACK_ON)).or(meta.last_known_good.map(|day| (day, at::LAST_KNOWN_GOOD)));
        if let (Some(start), Some((end, column))) = (meta.date, end) {
            if end < start {
                faults.push(Fault {
                    row,
                    column: COLUMNS[column].name,
                    found: format!("{} days before the remedy", start - end),
                    allowed: "allowed: the day of the remedy or later".to_owned(),
                    row_aside: false,
                });
            } else {
                follow = f64::from(end - start).max(LEAST_DAYS) / DAYS_PER_YEAR;
                came_back = meta.back_on.is_some() && meta.back_why != Some(BackWhy::OtherFault);
            }
        }
        self.row.push(row as u32);
        self.job.push(job);
        self.kind.push(index(Kind::ALL, &kind));
        self.remedy.push(index(Remedy::ALL, &remedy));
        self.product.push(meta.product.map_or(u8::MAX, |p| index(Product::ALL, &p)));
        self.environment.push(meta.environment.map_or(u8::MAX, |e| index(Surroundings::ALL, &e)));
        self.plated.push(meta.plated);
        self.dry.push(before.dry && after.is_none_or(|a| a.dry));
        self.before[0].push(before.low);
        self.before[1].push(before.high);
        self.after[0].push(after.map_or(f64::NAN, |a| a.low));
        self.after[1].push(after.map_or(f64::NAN, |a| a.high));
        self.day.push(meta.date.map_or(f64::NAN, f64::from));
        self.years.push(follow);
        self.came_back.push(came_back);
        self.why_unknown.push(came_back && meta.back_why == Some(BackWhy::NotKnown));
        self.minutes.push(meta.minutes.unwrap_or(f64::NAN));
        self.part_cost.push(meta.part_cost.unwrap_or(f64::NAN));
        self.damage.push(meta.damage.map_or(f64::NAN, |d| if d { 1.0 } else { 0.0 }));
    }
}

fn missing(row: usize, column: usize, faults: &mut Vec<Fault>) {
    let column = &COLUMNS[column];
    let allowed = match column.form.words().as_slice() {
        [] => format!("write {}", column.meaning),
        words => format!("allowed: {}", words.join(", ")),
    };
    faults.push(Fault { row, column: column.name, found: "missing".to_owned(), allowed, row_aside: true });
}

/// Pairs rows up: a row with an after-reading is a pair by itself; the others pair along their contact, in file order.
pub(super) fn pairs(rows: &[Row], faults: &mut Vec<Fault>, watch: &dyn Watch) -> Result<(Pairs, Fate), Stopped> {
    let (mut pairs, mut fate) = (Pairs::default(), Fate::default());
    let mut along: HashMap<(u32, u32), Vec<usize>> = HashMap::new();
    let mut order: Vec<(u32, u32)> = Vec::new();
    for (k, row) in rows.iter().enumerate() {
        if k % WATCH_EVERY == 0 && watch.stop() {
            return Err(Stopped);
        }
        let Some((before, _)) = row.shows.zip(row.after) else {
            let key = (row.job, row.contact);
            let group = along.entry(key).or_insert_with(|| {
                order.push(key);
                Vec::new()
            });
            group.push(k);
            continue;
        };
        match (row.meta.kind, row.meta.remedy) {
            (Some(kind), Some(remedy)) => {
                pairs.push(Who { row: row.row, job: row.job, kind, remedy }, (before, row.after), &row.meta, faults);
                fate.used.push(row.row);
            }
            (kind, _) => {
                missing(row.row, if kind.is_none() { at::KIND } else { at::REMEDY }, faults);
                fate.aside.push(row.row);
            }
        }
    }
    for (k, key) in order.into_iter().enumerate() {
        if k % WATCH_EVERY == 0 && watch.stop() {
            return Err(Stopped);
        }
        if let Some(group) = along.get(&key) {
            along_one(rows, group, &mut pairs, &mut fate, faults);
        }
    }
    Ok((pairs, fate))
}

/// Rows of one contact of one job, one reading each.
fn along_one(rows: &[Row], group: &[usize], pairs: &mut Pairs, fate: &mut Fate, faults: &mut Vec<Fault>) {
    let kind = group.iter().find_map(|&k| rows[k].meta.kind);
    let Some(kind) = kind else {
        for &k in group {
            missing(rows[k].row, at::KIND, faults);
            fate.aside.push(rows[k].row);
        }
        return;
    };
    let shared = |own: &Meta| group.iter().fold(*own, |meta, &k| Meta { date: meta.date, ..meta.or(&rows[k].meta) });
    let last = group.iter().copied().rfind(|&k| Remedy::of_state(rows[k].when).is_some());
    // the reading to compare with, its row, its day, and whether a pair has used it
    let mut before: Option<(Ohms, usize, Option<i32>, bool)> = None;
    let mut others = Vec::new();
    for &k in group {
        let row = &rows[k];
        let Some(ohms) = row.shows else {
            missing(row.row, at::SHOWS, faults);
            fate.aside.push(row.row);
            continue;
        };
        let remedy = Remedy::of_state(row.when);
        // a second reading as found on a later day, with nothing done between
        let again = row.when == State::AsFound
            && before.is_some_and(|(_, _, day, _)| day.is_some() && row.meta.date > day)
            && group.iter().all(|&k| matches!(rows[k].meta.remedy, None | Some(Remedy::Untouched)));
        if let Some(remedy) = remedy.or(again.then_some(Remedy::Untouched)) {
            let Some((ohms_before, row_before, day, used)) = before else {
                faults.push(Fault {
                    row: row.row,
                    column: COLUMNS[at::WHEN].name,
                    found: format!("\"{}\" without a reading as found", row.when.word()),
                    allowed: "the reading as found of the same job, contact and channel above it".to_owned(),
                    row_aside: true,
                });
                fate.aside.push(row.row);
                continue;
            };
            if let (Some(then), Some(now)) = (day, row.meta.date) {
                if now < then {
                    faults.push(Fault {
                        row: row.row,
                        column: COLUMNS[at::DATE].name,
                        found: format!("{} days before the reading as found", then - now),
                        allowed: "allowed: its day or later".to_owned(),
                        row_aside: true,
                    });
                    fate.aside.push(row.row);
                    continue;
                }
            }
            let mut meta = shared(&row.meta);
            meta.date = meta.date.or(day);
            if last.is_some_and(|last| last != k) {
                // what came back later came back after the last remedy
                (meta.back_on, meta.last_known_good) = (row.meta.back_on, row.meta.last_known_good);
            }
            pairs.push(Who { row: row.row, job: row.job, kind, remedy }, (ohms_before, Some(ohms)), &meta, faults);
            fate.used.push(row.row);
            if !used {
                fate.used.push(row_before);
            }
            before = Some((ohms, row.row, row.meta.date.or(day), true));
        } else if row.when == State::AsFound && before.is_none() {
            before = Some((ohms, row.row, row.meta.date, false));
        } else {
            others.push(row.row);
        }
    }
    let paired = before.is_some_and(|(_, _, _, used)| used);
    // followed up without an after-reading: it still counts for comebacks
    if let Some((ohms, row, _, false)) = before {
        let own = group.iter().find(|&&k| rows[k].row == row).map_or(Meta::default(), |&k| rows[k].meta);
        let meta = shared(&own);
        if let Some(remedy) = meta.remedy {
            pairs.push(Who { row, job: rows[group[0]].job, kind, remedy }, (ohms, None), &meta, faults);
        }
        fate.without_after.push(row);
    }
    if paired { fate.used.extend(others) } else { fate.without_after.extend(others) }
}
