//! A lead: series resistance and inductance, then capacitance to the return.

use crate::error::{InputError, not_negative};
use serde::{Deserialize, Serialize};

/// A cable, a track or a plain series resistance; its capacitance stands after the series part.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Lead {
    /// series resistance, both conductors together, ohm
    pub resistance_ohm: f64,
    /// series inductance, H
    pub inductance_h: f64,
    /// capacitance to the return, after the series part, F
    pub capacitance_f: f64,
}

impl Lead {
    /// Checks every value.
    ///
    /// # Errors
    /// A negative or non-finite value.
    pub fn check(&self) -> Result<(), InputError> {
        not_negative("lead: resistance_ohm", self.resistance_ohm)?;
        not_negative("lead: inductance_h", self.inductance_h)?;
        not_negative("lead: capacitance_f", self.capacitance_f)?;
        Ok(())
    }
}
