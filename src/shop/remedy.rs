//! Remedies, and the resistance from which the next one pays.

use crate::bench::State;
use crate::bench::evidence::words;
use serde::{Deserialize, Serialize};

words! {
    /// What was done to a contact.
    Remedy {
        /// cleaned in place
        Clean = "clean",
        /// taken apart, stripped and polished
        Strip = "strip",
        /// replaced
        Replace = "replace",
        /// nothing: read again as it was
        Untouched = "none",
    }
}

impl Remedy {
    /// The remedy that a reading's state names.
    #[must_use]
    pub fn of_state(state: State) -> Option<Self> {
        match state {
            State::AfterCleaning => Some(Self::Clean),
            State::AfterStripping => Some(Self::Strip),
            State::AfterReplacing => Some(Self::Replace),
            _ => None,
        }
    }
}

/// From which resistance a dearer remedy is worth it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BreakEven {
    /// already at the smallest resistance of the table
    Always,
    /// nowhere in the table
    Never,
    /// above this resistance, ohm
    Above(f64),
}

/// Smallest resistance above which `to` costs less per good year than `from` at every larger one of the table.
///
/// `before_ohm` rises; between two rows the logarithm of the ratio of costs runs straight over the logarithm of the
/// resistance. A cost that is not finite (no good year at all) loses against any that is.
#[must_use]
pub fn break_even(before_ohm: &[f64], from: &[f64], to: &[f64]) -> BreakEven {
    let gain = |k: usize| match (from[k].is_finite(), to[k].is_finite()) {
        (true, true) => (from[k] / to[k]).ln(),
        (false, true) => f64::INFINITY,
        _ => f64::NEG_INFINITY,
    };
    let rows = before_ohm.len().min(from.len()).min(to.len());
    let Some(last_loss) = (0..rows).rev().find(|&k| gain(k) <= 0.0) else {
        return if rows == 0 { BreakEven::Never } else { BreakEven::Always };
    };
    if last_loss + 1 == rows {
        return BreakEven::Never;
    }
    let (a, b) = (gain(last_loss), gain(last_loss + 1));
    let share = if a.is_finite() && b.is_finite() { -a / (b - a) } else { 0.5 };
    let (low, high) = (before_ohm[last_loss].ln(), before_ohm[last_loss + 1].ln());
    BreakEven::Above((low + share * (high - low)).exp())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn where_two_costs_cross() {
        // from = R, to = 2 at every R: they cross at R = 2 exactly, and the ratio is straight in logarithms
        let ohm = [0.1, 1.0, 10.0];
        let BreakEven::Above(at) = break_even(&ohm, &ohm, &[2.0; 3]) else { panic!("no crossing") };
        assert_relative_eq!(at, 2.0, epsilon = 0.0, max_relative = 1e-12);
        assert_eq!(break_even(&ohm, &[1.0; 3], &[2.0; 3]), BreakEven::Never);
        assert_eq!(break_even(&ohm, &[3.0; 3], &[2.0; 3]), BreakEven::Always);
        // cheaper in the middle only is not cheaper above
        assert_eq!(break_even(&ohm, &[1.0, 3.0, 1.0], &[2.0; 3]), BreakEven::Never);
        // no good year at all loses
        assert_eq!(break_even(&ohm, &[f64::INFINITY; 3], &[2.0; 3]), BreakEven::Always);
        assert_eq!(break_even(&[], &[], &[]), BreakEven::Never);
    }
}
