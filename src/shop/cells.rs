//! The cells of one row, read and checked.

use super::date::{self, Order, Written};
use super::log::{BackWhy, COLUMNS, COUNT, Product, Surroundings, place as at};
use super::place::place_of;
use super::remedy::Remedy;
use crate::bench::kind::Kind;
use crate::bench::method::Shows;
use crate::bench::names::allowed_names;
use crate::bench::quantity::{Dimension, QuantityError, Shown, quantity, shown};
use crate::bench::range::{Place, range_from};
use crate::bench::reading::parallel_ohm;
use crate::bench::{Method, State};

/// What is wrong with a cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// row of the file, its header is row 1
    pub row: usize,
    /// the column
    pub column: &'static str,
    /// what was found
    pub found: String,
    /// what is allowed
    pub allowed: String,
    /// whether the whole row is set aside, not the cell alone
    pub row_aside: bool,
}

/// What a meter left of a resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ohms {
    /// lower end, ohm
    pub low: f64,
    /// upper end as the meter saw it, ohm; infinite where it showed over limit
    pub high: f64,
    /// whether the method was dry enough for the place
    pub dry: bool,
}

/// A row that passed.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Row {
    pub(super) row: usize,
    pub(super) job: u32,
    pub(super) contact: u32,
    pub(super) when: State,
    pub(super) shows: Option<Ohms>,
    pub(super) after: Option<Ohms>,
    pub(super) meta: Meta,
}

/// What a row says beside its readings.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Meta {
    pub(super) kind: Option<Kind>,
    pub(super) remedy: Option<Remedy>,
    pub(super) product: Option<Product>,
    pub(super) environment: Option<Surroundings>,
    pub(super) plated: bool,
    pub(super) date: Option<i32>,
    pub(super) back_on: Option<i32>,
    pub(super) back_why: Option<BackWhy>,
    pub(super) last_known_good: Option<i32>,
    pub(super) minutes: Option<f64>,
    pub(super) part_cost: Option<f64>,
    pub(super) damage: Option<bool>,
}

impl Meta {
    /// What is blank here is taken from another row of the same contact.
    pub(super) fn or(self, other: &Self) -> Self {
        Self {
            kind: self.kind.or(other.kind),
            remedy: self.remedy.or(other.remedy),
            product: self.product.or(other.product),
            environment: self.environment.or(other.environment),
            plated: self.plated || other.plated,
            date: self.date.or(other.date),
            back_on: self.back_on.or(other.back_on),
            back_why: self.back_why.or(other.back_why),
            last_known_good: self.last_known_good.or(other.last_known_good),
            minutes: self.minutes.or(other.minutes),
            part_cost: self.part_cost.or(other.part_cost),
            damage: self.damage.or(other.damage),
        }
    }
}

/// How often meters were at an end of their range.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize)]
pub struct AtAnEnd {
    /// over limit, or more than something
    pub over: usize,
    /// less than something
    pub below: usize,
    /// readings with nothing in them
    pub blank: usize,
}

/// What the reader knows of the whole table while it reads a row.
pub(super) struct Sheet {
    /// where each column of the table stands in the file
    pub(super) columns: [Option<usize>; COUNT],
    /// units that the header lends to its cells
    pub(super) units: [Option<String>; COUNT],
    pub(super) order: Option<Order>,
    pub(super) currency: Option<String>,
    pub(super) ends: AtAnEnd,
}

/// One record while it is read: its cells, and the faults found in them.
pub(super) struct Cells<'a> {
    pub(super) record: &'a csv::StringRecord,
    pub(super) row: usize,
    pub(super) faults: &'a mut Vec<Fault>,
    pub(super) aside: bool,
}

/// A cell as a fault prints it.
fn cut(text: &str) -> String {
    const LONGEST: usize = 40;
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text.to_owned(),
    }
}

impl<'a> Cells<'a> {
    pub(super) fn text(&self, sheet: &Sheet, column: usize) -> Option<&'a str> {
        sheet.columns[column].and_then(|place| self.record.get(place)).map(str::trim).filter(|cell| !cell.is_empty())
    }

    pub(super) fn fault(&mut self, column: usize, found: impl Into<String>, allowed: impl Into<String>, aside: bool) {
        self.aside |= aside;
        self.faults.push(Fault {
            row: self.row,
            column: COLUMNS[column].name,
            found: found.into(),
            allowed: allowed.into(),
            row_aside: aside,
        });
    }

    /// A word of a closed list, whatever its case.
    fn word<T>(&mut self, sheet: &Sheet, column: usize, from: fn(&str) -> Option<T>, aside: bool) -> Option<T> {
        let text = self.text(sheet, column)?;
        let found = from(text).or_else(|| from(&text.to_lowercase()));
        if found.is_none() {
            let allowed = allowed_names(text, COLUMNS[column].form.words());
            self.fault(column, format!("\"{}\"", cut(text)), allowed, aside);
        }
        found
    }

    fn day(&mut self, sheet: &Sheet, column: usize) -> Option<i32> {
        let text = self.text(sheet, column)?;
        let written = date::written(text);
        let day = written.and_then(|w| date::days(w, sheet.order));
        if day.is_none() {
            let allowed = match written {
                Some(Written::Slashed(..)) if sheet.order.is_none() => {
                    "day or month first? no date of the file tells; write 2024-03-05"
                }
                _ => "allowed: a day like 2024-03-05 or 5.3.2024",
            };
            self.fault(column, format!("\"{}\"", cut(text)), allowed, false);
        }
        day
    }

    fn amount(&mut self, sheet: &Sheet, column: usize, dimension: Dimension) -> Option<f64> {
        let text = self.text(sheet, column)?;
        match quantity(&lent(text, sheet.units[column].as_deref()), dimension) {
            Ok(q) if q.value > 0.0 => Some(q.value),
            Ok(_) => {
                self.fault(column, format!("\"{}\"", cut(text)), "allowed: above zero", false);
                None
            }
            Err(e) => {
                self.fault(column, e.problem, e.allowed, false);
                None
            }
        }
    }

    /// Minutes: a bare number, or a time with its unit.
    fn minutes(&mut self, sheet: &Sheet) -> Option<f64> {
        let text = self.text(sheet, at::MINUTES)?;
        let bare = text.replace(',', ".").parse::<f64>().ok();
        let unit = sheet.units[at::MINUTES].as_deref();
        let minutes = match (bare, unit) {
            (Some(value), None) => Some(value),
            _ => quantity(&lent(text, unit), Dimension::Time).ok().map(|q| q.value / 60.0),
        };
        let fine = minutes.filter(|m| m.is_finite() && *m >= 0.0);
        if fine.is_none() {
            self.fault(at::MINUTES, format!("\"{}\"", cut(text)), "allowed: minutes, zero or more, like 25", false);
        }
        fine
    }

    /// Money: a number, with or without the currency of the whole log.
    fn money(&mut self, sheet: &mut Sheet) -> Option<f64> {
        let text = self.text(sheet, at::PART_COST)?;
        let number: String = text.chars().filter(|c| c.is_ascii_digit() || matches!(c, '.' | ',' | '-')).collect();
        let currency: String = text.chars().filter(|c| !c.is_ascii_digit() && !" .,-\u{a0}".contains(*c)).collect();
        let number = number.trim_end_matches(['-', '.', ',']);
        let value = amount_of_money(number).filter(|v| *v >= 0.0);
        let (Some(value), true) = (value, currency.chars().count() <= 4) else {
            self.fault(
                at::PART_COST,
                format!("\"{}\"", cut(text)),
                "allowed: zero or more, like 9.50 or 9.50 EUR",
                false,
            );
            return None;
        };
        if !currency.is_empty() {
            let known = sheet.currency.get_or_insert_with(|| currency.clone());
            if known.to_lowercase() != currency.to_lowercase() {
                let allowed = format!("the log began in {known}: one currency in one log");
                self.fault(at::PART_COST, format!("\"{}\"", cut(text)), allowed, false);
                return None;
            }
        }
        Some(value)
    }

    fn yes(&mut self, sheet: &Sheet, column: usize) -> Option<bool> {
        sheet.columns[column]?;
        let Some(text) = self.text(sheet, column) else { return Some(false) };
        match text.to_lowercase().as_str() {
            "no" | "n" | "false" | "0" | "none" => Some(false),
            "yes" | "y" | "true" | "1" | "x" => Some(true),
            _ => {
                self.fault(column, format!("\"{}\"", cut(text)), "allowed: yes, no", false);
                None
            }
        }
    }

    /// The reading of a column as a range of ohms.
    fn ohms(
        &mut self,
        sheet: &mut Sheet,
        column: usize,
        method: &Method,
        place: &Place,
        kind: Option<Kind>,
    ) -> Option<Ohms> {
        let Some(text) = self.text(sheet, column) else {
            sheet.ends.blank += usize::from(sheet.columns[column].is_some());
            return None;
        };
        let text = lent(text, sheet.units[column].as_deref());
        let (allowed, by_voltage) = method.dimensions();
        let (shows, dimension) = match shown(&text, &allowed) {
            Ok(found) => found,
            Err(QuantityError { problem, allowed }) => {
                self.fault(column, cut(&problem), allowed, true);
                return None;
            }
        };
        let mut method = method.clone();
        method.shows = match dimension {
            Dimension::Voltage => by_voltage,
            Dimension::Decibel => Shows::LossDb,
            _ => Shows::Ohms,
        };
        let largest = match shows {
            Shown::Value(q) => q.value,
            Shown::Between(_, high) => high,
            _ => 0.0,
        };
        if dimension == Dimension::Resistance
            && largest >= 1e6
            && text.contains('M')
            && kind != Some(Kind::Potentiometer)
        {
            let meant = text.replace('M', "m");
            let hint = format!("did you mean \"{meant}\"? m is milli, M is mega; an open contact reads \"OL\"");
            self.fault(column, format!("\"{}\"", cut(&text)), hint, true);
            return None;
        }
        let at_v = self.amount(sheet, at::AT, Dimension::Voltage);
        if method.shows == Shows::SignalVolts && at_v.is_none() {
            self.fault(at::AT, "missing", "signal millivolts need the load's voltage, like \"2.83 V\"", true);
            return None;
        }
        match shows {
            Shown::Open | Shown::Above(_) => sheet.ends.over += 1,
            Shown::Below(_) => sheet.ends.below += 1,
            Shown::Value(_) | Shown::Between(..) => {}
        }
        let range = range_from(&method, shows, at_v, State::AsFound, place);
        let range = match self.text(sheet, at::PARALLEL).map(parallel_ohm) {
            // read with the signal itself, or over the meter's limit, there is nothing to take off
            None => range,
            Some(_) if matches!(method.shows, Shows::SignalVolts | Shows::LossDb) => range,
            Some(Ok((_, most))) if range.low_ohm >= most => {
                self.fault(
                    at::PARALLEL,
                    "less than was read",
                    "what stands beside it is more than what was read",
                    true,
                );
                return None;
            }
            Some(Ok(parallel)) => range.beside(parallel, &method),
            Some(Err(error)) => {
                self.fault(at::PARALLEL, cut(&error.problem), error.allowed, true);
                return None;
            }
        };
        let high = if matches!(shows, Shown::Open | Shown::Above(_)) { f64::INFINITY } else { range.shown_high_ohm };
        if !range.low_ohm.is_finite() || high.is_nan() {
            self.fault(
                column,
                format!("\"{}\"", cut(&text)),
                "a voltage this method cannot show, or no load to refer it to",
                true,
            );
            return None;
        }
        Some(Ohms { low: range.low_ohm, high, dry: range.dry })
    }

    /// Reads the row; `None` where it is set aside as a whole.
    pub(super) fn read(&mut self, sheet: &mut Sheet, job: u32, contact: u32) -> Option<Row> {
        let when = self.word(sheet, at::WHEN, State::from_word, true).unwrap_or(State::AsFound);
        let kind = self.word(sheet, at::KIND, Kind::from_word, true);
        let remedy = self.word(sheet, at::REMEDY, Remedy::from_word, true);
        let method = match self.text(sheet, at::METHOD) {
            None => Method::plain(),
            Some(name) => {
                Method::typical(name).or_else(|| Method::typical(&name.to_lowercase())).unwrap_or_else(|| {
                    self.fault(at::METHOD, format!("\"{}\"", cut(name)), allowed_names(name, Method::TYPICAL), true);
                    Method::plain()
                })
            }
        };
        if self.aside {
            return None;
        }
        let sees_ohm = self.amount(sheet, at::SEES, Dimension::Resistance);
        let signal_v = self.amount(sheet, at::SIGNAL, Dimension::Voltage);
        let place = place_of(kind, sees_ohm, signal_v);
        let shows = self.ohms(sheet, at::SHOWS, &method, &place, kind);
        let after = self.ohms(sheet, at::AFTER, &method, &place, kind);
        if after.is_some() && shows.is_none() && !self.aside {
            self.fault(at::AFTER, "an after without a before", "fill shows too, or leave after blank", true);
        }
        if let (Some(said), Some(named)) = (remedy, Remedy::of_state(when)) {
            if said != named {
                let found = format!("\"{}\" beside \"{}\"", said.word(), when.word());
                self.fault(at::REMEDY, found, "the same remedy in both columns", true);
            }
        }
        let metal = self.text(sheet, at::METAL).map(str::to_lowercase).unwrap_or_default();
        let meta = Meta {
            kind,
            remedy: remedy.or_else(|| Remedy::of_state(when)),
            product: self.word(sheet, at::PRODUCT, Product::from_word, false),
            environment: self.word(sheet, at::ENVIRONMENT, Surroundings::from_word, false),
            plated: ["plat", "flash", "gilt", "gold"].iter().any(|word| metal.contains(word)),
            date: self.day(sheet, at::DATE),
            back_on: self.day(sheet, at::BACK_ON),
            back_why: self.word(sheet, at::BACK_WHY, BackWhy::from_word, false),
            last_known_good: self.day(sheet, at::LAST_KNOWN_GOOD),
            minutes: self.minutes(sheet),
            part_cost: self.money(sheet),
            damage: self.yes(sheet, at::DAMAGE),
        };
        (!self.aside).then_some(Row { row: self.row, job, contact, when, shows, after, meta })
    }
}

/// A cell with the unit that its header lends it.
fn lent(text: &str, unit: Option<&str>) -> String {
    match unit {
        Some(unit) if text.ends_with(|c: char| c.is_ascii_digit() || c == '.') => format!("{text} {unit}"),
        _ => text.to_owned(),
    }
}

/// "9.50", "9,50", "1.234,50", "1,234.50", "0.085": the last sign with one or two digits behind it is the decimal one, and so is the only one
/// behind a zero, for no thousands begin with it.
fn amount_of_money(text: &str) -> Option<f64> {
    let behind_zero = |at: usize| text[..at].trim_start_matches('-') == "0";
    let decimal = text.rfind(['.', ',']).filter(|&at| text.len() - at <= 3 || behind_zero(at));
    let plain = |part: &str| part.replace(['.', ','], "");
    match decimal {
        Some(at) => format!("{}.{}", plain(&text[..at]), &text[at + 1..]).parse().ok(),
        None => plain(text).parse().ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn money_as_people_write_it() {
        for (text, value) in [
            ("9", 9.0),
            ("9.5", 9.5),
            ("9,50", 9.5),
            ("1.234,50", 1234.5),
            ("1,234.50", 1234.5),
            ("1.234", 1234.0),
            ("0,085", 0.085),
            ("0.125", 0.125),
            ("0,0850", 0.085),
            ("10.125", 10125.0),
            ("-3", -3.0),
        ] {
            assert_eq!(amount_of_money(text), Some(value), "{text}");
        }
        assert_eq!(amount_of_money(""), None);
    }

    #[test]
    fn the_header_lends_its_unit() {
        assert_eq!(lent("<0.1", Some("ohm")), "<0.1 ohm");
        assert_eq!(lent("0.3 to 4", Some("ohm")), "0.3 to 4 ohm");
        assert_eq!(lent("85 mohm", Some("ohm")), "85 mohm");
        assert_eq!(lent("OL", Some("ohm")), "OL");
        assert_eq!(lent("85", None), "85");
    }
}
