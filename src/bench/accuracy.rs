//! Accuracy of a meter as its data sheet writes it: "0.8 % + 3 x 0.1 ohm".

use super::quantity::{Dimension, QuantityError, number, single, tidy, trailing_unit, unit_of, wrong};
use Dimension as D;
use serde::{Deserialize, Serialize};

/// Meter accuracy: a share of the reading and a fixed part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Accuracy {
    /// share of the reading
    pub of_reading: f64,
    /// fixed part, SI
    pub floor: f64,
    /// what the fixed part measures
    pub dimension: Option<Dimension>,
}

/// Reads an accuracy such as "0.8 % + 3 x 0.1 ohm".
///
/// # Errors
/// As [`quantity`](super::quantity::quantity), with the form that is wanted.
pub fn accuracy(text: &str) -> Result<Accuracy, QuantityError> {
    const FORM: &str =
        "write it like \"0.8 % + 3 x 0.1 ohm\": share of the reading, counts times the last digit's worth";
    let text = tidy(text).replace(['*', '\u{d7}'], "x");
    let mut found = Accuracy { of_reading: 0.0, floor: 0.0, dimension: None };
    for term in text.split('+').map(str::trim) {
        if term.ends_with('%') || term.ends_with("ppm") {
            match single(term, D::Ratio, None) {
                Ok(share) => found.of_reading += share,
                Err(error) => return wrong(error.problem, FORM),
            }
            continue;
        }
        let (counts, digit) = match term.split_once('x') {
            Some((counts, digit)) => (number(counts.trim()), digit.trim()),
            None => (Some(1.0), term),
        };
        let unit = trailing_unit(digit).and_then(unit_of);
        let counts = counts.filter(|counts| *counts >= 0.0);
        let (Some(counts), Some((dimension, _))) = (counts, unit) else {
            return wrong(format!("{term:?} in {text:?} cannot be read"), FORM);
        };
        let part = counts * single(digit, dimension, None)?;
        if found.dimension.is_some_and(|other| other != dimension) || !(part.is_finite() && part >= 0.0) {
            return wrong(format!("{term:?} in {text:?} does not fit the rest"), FORM);
        }
        found.floor += part;
        found.dimension = Some(dimension);
    }
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn accuracies() {
        let found = accuracy("0.8 % + 3 x 0.1 ohm").unwrap();
        assert_relative_eq!(found.of_reading, 0.008, max_relative = 1e-12);
        assert_relative_eq!(found.floor, 0.3, max_relative = 1e-12);
        assert_eq!(found.dimension, Some(D::Resistance));
        let ppm = accuracy("50 ppm + 1 mV").unwrap();
        assert_relative_eq!(ppm.of_reading, 50e-6, max_relative = 1e-12);
        assert_relative_eq!(ppm.floor, 1e-3, max_relative = 1e-12);
        for bad in ["1 V + 1 A", "-0.2 dB", "1e300 x 1e300 V"] {
            assert!(accuracy(bad).is_err(), "{bad}");
        }
        assert!(accuracy("pretty good").unwrap_err().allowed.contains("0.8 % + 3 x 0.1 ohm"));
    }
}
