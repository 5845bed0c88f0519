//! Quantities as a technician writes them by hand: "4k7", "2.2 mV +- 5 %", "0.3 to 4 ohm", "OL".
//!
//! Units are the SI's; codes like 4k7 are those of IEC 60062. "m" is milli and "M" is mega.

pub use super::accuracy::{Accuracy, accuracy};
pub use super::engineering::engineering;

use serde::{Deserialize, Serialize};
use std::fmt;

/// What a quantity measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub enum Dimension {
    Resistance,
    Voltage,
    Current,
    Power,
    Capacitance,
    Inductance,
    Time,
    Frequency,
    Length,
    Decibel,
    Ratio,
}

use Dimension as D;

const UNITS: &[(&str, D, f64)] = &[
    ("ohm", D::Resistance, 1.0),
    ("ohms", D::Resistance, 1.0),
    ("Ohm", D::Resistance, 1.0),
    ("\u{3a9}", D::Resistance, 1.0),
    ("\u{2126}", D::Resistance, 1.0),
    ("R", D::Resistance, 1.0),
    ("V", D::Voltage, 1.0),
    ("A", D::Current, 1.0),
    ("W", D::Power, 1.0),
    ("F", D::Capacitance, 1.0),
    ("H", D::Inductance, 1.0),
    ("s", D::Time, 1.0),
    ("min", D::Time, 60.0),
    ("h", D::Time, 3600.0),
    ("Hz", D::Frequency, 1.0),
    ("m", D::Length, 1.0),
    ("dB", D::Decibel, 1.0),
    ("%", D::Ratio, 0.01),
    ("ppm", D::Ratio, 1e-6),
];

const PREFIXES: &[(&str, f64)] = &[
    ("p", 1e-12),
    ("n", 1e-9),
    ("u", 1e-6),
    ("\u{b5}", 1e-6),
    ("\u{3bc}", 1e-6),
    ("m", 1e-3),
    ("k", 1e3),
    ("K", 1e3),
    ("M", 1e6),
    ("G", 1e9),
];

impl Dimension {
    /// Name with its article, for messages.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            D::Resistance => "a resistance",
            D::Voltage => "a voltage",
            D::Current => "a current",
            D::Power => "a power",
            D::Capacitance => "a capacitance",
            D::Inductance => "an inductance",
            D::Time => "a time",
            D::Frequency => "a frequency",
            D::Length => "a distance",
            D::Decibel => "a level in dB",
            D::Ratio => "a percentage",
        }
    }

    /// How to write one, for messages.
    #[must_use]
    pub fn example(self) -> &'static str {
        match self {
            D::Resistance => "\"47 kohm\"",
            D::Voltage => "\"2.2 mV\"",
            D::Current => "\"1 mA\"",
            D::Power => "\"1 W\"",
            D::Capacitance => "\"150 pF\"",
            D::Inductance => "\"500 mH\"",
            D::Time => "\"40 min\"",
            D::Frequency => "\"1 kHz\"",
            D::Length => "\"2.5 m\"",
            D::Decibel => "\"-30 dB\"",
            D::Ratio => "\"1.2 %\"",
        }
    }

    /// Unit in the SI, ASCII.
    #[must_use]
    pub fn unit(self) -> &'static str {
        match self {
            D::Resistance => "ohm",
            D::Voltage => "V",
            D::Current => "A",
            D::Power => "W",
            D::Capacitance => "F",
            D::Inductance => "H",
            D::Time => "s",
            D::Frequency => "Hz",
            D::Length => "m",
            D::Decibel => "dB",
            D::Ratio => "%",
        }
    }
}

/// A value with the half width of its tolerance, both in SI units.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    /// the value
    pub value: f64,
    /// half width, absolute; zero where none is written
    pub plus_minus: f64,
}

impl Quantity {
    /// Lower end.
    #[must_use]
    pub fn low(self) -> f64 {
        self.value - self.plus_minus
    }

    /// Upper end.
    #[must_use]
    pub fn high(self) -> f64 {
        self.value + self.plus_minus
    }
}

/// What a meter showed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shown {
    /// one value
    Value(Quantity),
    /// a display that wanders between two values
    Between(f64, f64),
    /// less than the least the meter can show
    Below(f64),
    /// more than the most it can show
    Above(f64),
    /// over the limit of every range: open
    Open,
}

/// Why a text is not a quantity: what was wrong, and what to write.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QuantityError {
    /// what is wrong with it
    pub problem: String,
    /// what is allowed
    pub allowed: String,
}

impl fmt::Display for QuantityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; {}", self.problem, self.allowed)
    }
}

impl std::error::Error for QuantityError {}

pub(super) fn wrong<T>(problem: impl Into<String>, allowed: impl Into<String>) -> Result<T, QuantityError> {
    Err(QuantityError { problem: problem.into(), allowed: allowed.into() })
}

fn write_like(dimension: D) -> String {
    format!("write {} like {}", dimension.name(), dimension.example())
}

/// Prefix and unit of a text, the prefix as a factor.
pub(super) fn unit_of(text: &str) -> Option<(D, f64)> {
    if let Some(unit) = UNITS.iter().find(|unit| unit.0 == text) {
        return Some((unit.1, unit.2));
    }
    UNITS.iter().find_map(|&(name, dimension, factor)| {
        let prefix = text.strip_suffix(name)?;
        let scalable = !matches!(dimension, D::Decibel | D::Ratio) && !matches!(name, "min" | "h" | "R");
        let scale = PREFIXES.iter().find(|p| p.0 == prefix)?.1;
        let kilo_by_capital = prefix == "K" && dimension != D::Resistance;
        (scalable && !kilo_by_capital).then_some((dimension, factor * scale))
    })
}

/// Splits the leading number from what follows it.
fn split_number(text: &str) -> (&str, &str) {
    let mut end = 0;
    let mut exponent = false;
    let bytes = text.as_bytes();
    for (index, c) in text.char_indices() {
        let after_exponent = exponent && matches!(bytes.get(index.wrapping_sub(1)), Some(b'e' | b'E'));
        let sign = matches!(c, '+' | '-') && (index == 0 || after_exponent);
        let starts_exponent = matches!(c, 'e' | 'E')
            && !exponent
            && index > 0
            && matches!(bytes.get(index + 1), Some(b'0'..=b'9' | b'-' | b'+'));
        if !(c.is_ascii_digit() || matches!(c, '.' | ',') || sign || starts_exponent) {
            break;
        }
        exponent |= starts_exponent;
        end = index + c.len_utf8();
    }
    text.split_at(end)
}

pub(super) fn number(text: &str) -> Option<f64> {
    text.replace(',', ".").parse().ok()
}

/// A resistance, capacitance or inductance in the code of IEC 60062: 4k7, R47, 100R, 2n2.
fn coded(text: &str, dimension: D) -> Option<f64> {
    let letters: &[(char, f64)] = match dimension {
        D::Resistance => &[('R', 1.0), ('k', 1e3), ('K', 1e3), ('M', 1e6), ('G', 1e9)],
        D::Capacitance => &[('p', 1e-12), ('n', 1e-9), ('u', 1e-6), ('\u{b5}', 1e-6), ('\u{3bc}', 1e-6)],
        _ => return None,
    };
    let text = match dimension {
        D::Resistance => text.strip_suffix("ohm").unwrap_or(text).trim_end(),
        _ => text,
    };
    let (at, letter) = text.char_indices().find(|(_, c)| !c.is_ascii_digit())?;
    let scale = letters.iter().find(|row| row.0 == letter)?.1;
    let (whole, rest) = text.split_at(at);
    let fraction = &rest[letter.len_utf8()..];
    if whole.is_empty() && fraction.is_empty() || !fraction.chars().all(|c| c.is_ascii_digit()) {
        return None;
    }
    Some(format!("{whole}.{fraction}0").parse::<f64>().ok()? * scale)
}

/// A number with its unit; the unit may be lent by the other side of a tolerance or a range.
pub(super) fn single(text: &str, dimension: D, lent: Option<&str>) -> Result<f64, QuantityError> {
    if let Some(value) = coded(text, dimension).filter(|value| value.is_finite()) {
        return Ok(value);
    }
    let (digits, rest) = split_number(text);
    let unit = rest.trim();
    let Some(value) = number(digits) else {
        return wrong(format!("{text:?} does not begin with a number"), write_like(dimension));
    };
    let unit = if unit.is_empty() { lent.unwrap_or("") } else { unit };
    if unit.is_empty() {
        return wrong(format!("{text:?} has no unit"), write_like(dimension));
    }
    let Some((found, factor)) = unit_of(unit) else {
        let known =
            UNITS.iter().find(|u| u.0.eq_ignore_ascii_case(unit) || unit.to_lowercase().ends_with(&u.0.to_lowercase()));
        let hint = known.map_or(String::new(), |u| format!(" (did you mean {:?}? m is milli, M is mega)", u.0));
        return wrong(format!("{text:?} has the unknown unit {unit:?}{hint}"), write_like(dimension));
    };
    if found != dimension {
        return wrong(format!("{text:?} is {}, not {}", found.name(), dimension.name()), write_like(dimension));
    }
    let value = value * factor;
    if !value.is_finite() {
        return wrong(format!("{text:?} is not a finite number"), write_like(dimension));
    }
    if value < 0.0 && dimension != D::Decibel {
        return wrong(format!("{text:?} is negative"), "allowed: zero or more");
    }
    Ok(value)
}

pub(super) fn tidy(text: &str) -> String {
    text.replace(['\u{a0}', '\u{202f}'], " ")
        .replace("+/-", "+-")
        .replace('\u{b1}', "+-")
        .replace(['\u{2013}', '\u{2212}'], "-")
        .trim()
        .to_owned()
}

pub(super) fn trailing_unit(text: &str) -> Option<&str> {
    let unit = split_number(text).1.trim();
    (!unit.is_empty()).then_some(unit)
}

/// Reads a quantity of one dimension.
///
/// # Errors
/// An empty text, a missing or unknown unit, a wrong dimension, a negative or non-finite value.
pub fn quantity(text: &str, dimension: Dimension) -> Result<Quantity, QuantityError> {
    let text = tidy(text);
    if text.is_empty() {
        return wrong("the text is empty", write_like(dimension));
    }
    let Some((main, tolerance)) = text.split_once("+-") else {
        return Ok(Quantity { value: single(&text, dimension, None)?, plus_minus: 0.0 });
    };
    let (main, tolerance) = (main.trim(), tolerance.trim());
    if main.is_empty() || tolerance.is_empty() {
        return wrong(format!("{text:?} has nothing on one side of +-"), write_like(dimension));
    }
    let value = single(main, dimension, trailing_unit(tolerance))?;
    let relative = tolerance.ends_with('%') && !matches!(dimension, D::Ratio | D::Decibel);
    let plus_minus = if relative {
        value.abs() * single(tolerance, D::Ratio, None)?
    } else {
        single(tolerance, dimension, trailing_unit(main))?
    };
    if !(plus_minus.is_finite() && plus_minus >= 0.0) {
        return wrong(format!("the tolerance of {text:?} is not zero or more"), write_like(dimension));
    }
    Ok(Quantity { value, plus_minus })
}

/// Reads what a meter showed; the first allowed dimension whose unit fits is taken.
///
/// # Errors
/// As [`quantity`]; a range written upside down.
pub fn shown(text: &str, allowed: &[Dimension]) -> Result<(Shown, Dimension), QuantityError> {
    let text = tidy(text);
    let first = allowed.first().copied().unwrap_or(D::Resistance);
    let lower = text.to_lowercase();
    if ["ol", "o.l", "o.l.", "0l", "open", "over"].contains(&lower.as_str()) {
        return Ok((Shown::Open, first));
    }
    let mut failure = None;
    for &dimension in allowed {
        match shown_as(&text, &lower, dimension) {
            Ok(shown) => return Ok((shown, dimension)),
            Err(error) => {
                failure.get_or_insert(error);
            }
        }
    }
    match failure {
        Some(error) => Err(error),
        None => wrong(format!("{text:?} cannot be read"), write_like(first)),
    }
}

fn shown_as(text: &str, lower: &str, dimension: D) -> Result<Shown, QuantityError> {
    let led_by =
        |words: &[&str]| words.iter().find(|w| lower.starts_with(**w)).and_then(|w| text.get(w.len()..)).map(str::trim);
    if let Some(rest) = led_by(&["<", "\u{2264}", "below ", "under "]) {
        return Ok(Shown::Below(single(rest, dimension, None)?));
    }
    if let Some(rest) = led_by(&[">", "\u{2265}", "above ", "over "]) {
        return Ok(Shown::Above(single(rest, dimension, None)?));
    }
    let range = text.split_once(" to ").or_else(|| text.split_once("...")).or_else(|| {
        let at = text.char_indices().skip(1).find(|&(i, c)| c == '-' && !text[..i].ends_with(['+', 'e', 'E']))?.0;
        Some((&text[..at], &text[at + 1..]))
    });
    if let Some((low, high)) = range {
        let (low, high) = (low.trim(), high.trim());
        let lowest = single(low, dimension, trailing_unit(high))?;
        let highest = single(high, dimension, None)?;
        if lowest > highest {
            return wrong(
                format!("{text:?} runs from the larger to the smaller"),
                "write the smaller first, like \"0.3 to 4 ohm\"",
            );
        }
        return Ok(Shown::Between(lowest, highest));
    }
    Ok(Shown::Value(quantity(text, dimension)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn spellings_of_the_bench() {
        let table = [
            ("47 kohm", D::Resistance, 47e3),
            ("47kohm", D::Resistance, 47e3),
            ("47 k\u{3a9}", D::Resistance, 47e3),
            ("47 k\u{2126}", D::Resistance, 47e3),
            ("4k7", D::Resistance, 4700.0),
            ("4k7 ohm", D::Resistance, 4700.0),
            ("R47", D::Resistance, 0.47),
            ("4R7", D::Resistance, 4.7),
            ("100R", D::Resistance, 100.0),
            ("2M2", D::Resistance, 2.2e6),
            ("85 mohm", D::Resistance, 0.085),
            ("85 Mohm", D::Resistance, 85e6),
            ("4,7 kohm", D::Resistance, 4700.0),
            ("1e3 ohm", D::Resistance, 1e3),
            ("2n2", D::Capacitance, 2.2e-9),
            ("220 pF", D::Capacitance, 220e-12),
            ("10 \u{b5}F", D::Capacitance, 10e-6),
            ("10 \u{3bc}F", D::Capacitance, 10e-6),
            ("500 mH", D::Inductance, 0.5),
            ("2.2\u{a0}mV", D::Voltage, 2.2e-3),
            ("-30 dB", D::Decibel, -30.0),
            ("\u{2212}30 dB", D::Decibel, -30.0),
            ("1.2 %", D::Ratio, 0.012),
            ("40 min", D::Time, 2400.0),
        ];
        for (text, dimension, value) in table {
            let found = quantity(text, dimension).unwrap();
            assert_relative_eq!(found.value, value, max_relative = 1e-12);
        }
    }

    #[test]
    fn tolerances() {
        let q = quantity("2.2 mV +- 5 %", D::Voltage).unwrap();
        assert_relative_eq!(q.plus_minus, 0.11e-3, max_relative = 1e-12);
        let q = quantity("1.2 % \u{b1} 0.2 %", D::Ratio).unwrap();
        assert_relative_eq!(q.low(), 0.010, max_relative = 1e-12);
        let q = quantity("0.6 +- 0.2 dB", D::Decibel).unwrap();
        assert_relative_eq!(q.high(), 0.8, max_relative = 1e-12);
    }

    #[test]
    fn displays_of_a_meter() {
        let ohms = [D::Resistance];
        assert_eq!(shown("OL", &ohms).unwrap().0, Shown::Open);
        assert_eq!(shown("0.3 to 4 ohm", &ohms).unwrap().0, Shown::Between(0.3, 4.0));
        assert_eq!(shown("0.3-4 ohm", &ohms).unwrap().0, Shown::Between(0.3, 4.0));
        assert_eq!(shown("<0.1 mV", &[D::Voltage]).unwrap().0, Shown::Below(1e-4));
        assert_eq!(shown("> 20 Mohm", &ohms).unwrap().0, Shown::Above(20e6));
        let (value, dimension) = shown("1.83 mV", &[D::Resistance, D::Voltage]).unwrap();
        assert_eq!(dimension, D::Voltage);
        assert_eq!(value, Shown::Value(Quantity { value: 1.83e-3, plus_minus: 0.0 }));
        assert!(shown("4 to 0.3 ohm", &ohms).unwrap_err().problem.contains("larger to the smaller"));
    }

    #[test]
    fn units_and_tolerances_that_do_not_fit() {
        assert!(quantity("220p ohm", D::Capacitance).is_err());
        assert!(quantity("3 dB +- -1 dB", D::Decibel).is_err());
    }

    #[test]
    fn errors_say_what_to_write() {
        let table = [
            ("", D::Resistance, "empty"),
            ("47", D::Resistance, "no unit"),
            ("47 kV", D::Resistance, "is a voltage, not a resistance"),
            ("47 kohn", D::Resistance, "unknown unit \"kohn\""),
            ("abc", D::Voltage, "does not begin with a number"),
            ("-5 ohm", D::Resistance, "negative"),
            ("1e999 ohm", D::Resistance, "not a finite number"),
            ("nan ohm", D::Resistance, "does not begin with a number"),
        ];
        for (text, dimension, fragment) in table {
            let error = quantity(text, dimension).unwrap_err();
            assert!(error.problem.contains(fragment), "{text}: {error}");
            assert!(!error.allowed.is_empty());
        }
    }

    #[test]
    fn engineering_form_reads_back() {
        for exponent in -11..9 {
            let x = 4.7 * 10f64.powi(exponent);
            let text = engineering(x, D::Resistance);
            assert_relative_eq!(quantity(&text, D::Resistance).unwrap().value, x, max_relative = 6e-3);
        }
        assert_eq!(engineering(f64::INFINITY, D::Resistance), "open");
        assert_eq!(engineering(0.05, D::Resistance), "50 mohm");
        assert_eq!(engineering(0.0001, D::Ratio), "0.01 %");
    }
}
