//! A load: a resistance with a capacitance across it.

use crate::error::{InputError, not_negative, positive};
use serde::{Deserialize, Serialize};

/// What a section ends in: `resistance_ohm` with `capacitance_f` in parallel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Load {
    /// resistance, ohm
    pub resistance_ohm: f64,
    /// parallel capacitance, F
    #[serde(default)]
    pub capacitance_f: f64,
}

impl Load {
    /// Checks every value.
    ///
    /// # Errors
    /// A resistance that is not above zero, a negative or non-finite capacitance.
    pub fn check(&self) -> Result<(), InputError> {
        positive("load: resistance_ohm", self.resistance_ohm)?;
        not_negative("load: capacitance_f", self.capacitance_f)?;
        Ok(())
    }
}
