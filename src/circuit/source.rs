//! A signal source: an EMF behind a resistance and an inductance.

use crate::error::{InputError, not_negative};
use serde::{Deserialize, Serialize};

/// Source of a section: `emf_v` (rms, open circuit) behind `resistance_ohm + j omega inductance_h`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Source {
    /// open-circuit voltage, V rms
    pub emf_v: f64,
    /// series resistance, ohm
    #[serde(default)]
    pub resistance_ohm: f64,
    /// series inductance, H
    #[serde(default)]
    pub inductance_h: f64,
}

impl Source {
    /// Checks every value.
    ///
    /// # Errors
    /// A negative or non-finite value.
    pub fn check(&self) -> Result<(), InputError> {
        not_negative("source: emf_v", self.emf_v)?;
        not_negative("source: resistance_ohm", self.resistance_ohm)?;
        not_negative("source: inductance_h", self.inductance_h)?;
        Ok(())
    }
}
