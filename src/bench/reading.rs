//! A reading, and the range of resistance that it leaves.

use super::evidence::{Channel, words};
use super::method::Method;
use super::quantity::{Dimension, QuantityError, Shown, quantity};

words! {
    /// The state in which a reading was taken.
    State {
        /// before anything was done
        AsFound = "as found",
        /// while tapping
        Tapped = "tapped",
        /// while turning or working the control
        Turned = "turned",
        /// with the meter's leads reversed
        Reversed = "reversed",
        /// at another test current
        OtherCurrent = "other current",
        /// when warm
        Warm = "warm",
        /// after cleaning in place
        AfterCleaning = "after cleaning",
        /// after stripping and polishing
        AfterStripping = "after stripping",
        /// after replacing
        AfterReplacing = "after replacing",
    }
}

use serde::{Deserialize, Serialize};

/// What stands under `parallel` where nobody knows.
pub const UNKNOWN: &str = "unknown";

/// Least and most of what else joins the two ends of a contact, ohm, from `8 ohm` or `unknown`.
///
/// # Errors
/// What is no resistance above zero.
pub fn parallel_ohm(text: &str) -> Result<(f64, f64), QuantityError> {
    if text.eq_ignore_ascii_case(UNKNOWN) {
        return Ok((0.0, f64::INFINITY));
    }
    match quantity(text, Dimension::Resistance) {
        Ok(found) if found.low() > 0.0 => Ok((found.low(), found.high())),
        Ok(_) => {
            Err(QuantityError { problem: format!("\"{text}\""), allowed: format!("above zero, or \"{UNKNOWN}\"") })
        }
        Err(error) => Err(QuantityError { allowed: format!("{}; or \"{UNKNOWN}\"", error.allowed), ..error }),
    }
}

impl State {
    /// Whether the contact was still as the symptom was heard: nothing had been remedied.
    #[must_use]
    pub fn before_remedy(self) -> bool {
        !matches!(self, Self::AfterCleaning | Self::AfterStripping | Self::AfterReplacing)
    }

    /// Whether the contact was being moved.
    #[must_use]
    pub fn moved(self) -> bool {
        matches!(self, Self::Tapped | Self::Turned)
    }
}

/// What a meter showed on one contact and channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// the state
    pub when: State,
    /// the contact, `part / position`
    pub contact: String,
    /// the channel
    pub channel: Channel,
    /// the number
    pub shows: Shown,
    /// the method, and its name
    pub method: Method,
    /// name of the method
    pub method_name: String,
    /// which way round, as written
    pub polarity: Option<String>,
    /// the load's voltage, V, for signal millivolts
    pub at_v: Option<f64>,
    /// least and most of what else joined the contact's two ends while it was read, ohm; from zero to infinity where nobody knows
    pub parallel_ohm: Option<(f64, f64)>,
    /// remark
    pub note: Option<String>,
    /// file, if not the sheet itself
    pub file: Option<String>,
    /// line there
    pub line: usize,
}
