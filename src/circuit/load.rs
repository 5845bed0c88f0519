//! A load: a resistance with a capacitance across it, or a loudspeaker.

use super::Loudspeaker;
use crate::error::{InputError, not_negative, positive};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// What a section ends in: `resistance_ohm`, or a loudspeaker of that nominal impedance, with `capacitance_f` in parallel.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Load {
    /// resistance, or nominal impedance of the loudspeaker, ohm
    pub resistance_ohm: f64,
    /// parallel capacitance, F
    #[serde(default)]
    pub capacitance_f: f64,
    /// voice coil and resonance; `None` for a plain resistance
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loudspeaker: Option<Loudspeaker>,
}

impl Load {
    /// A plain resistance.
    #[must_use]
    pub const fn resistance(resistance_ohm: f64) -> Self {
        Self { resistance_ohm, capacitance_f: 0.0, loudspeaker: None }
    }

    /// Checks every value.
    ///
    /// # Errors
    /// A resistance that is not above zero, a negative or non-finite capacitance, a loudspeaker value out of its range.
    pub fn check(&self) -> Result<(), InputError> {
        positive("load: resistance_ohm", self.resistance_ohm)?;
        not_negative("load: capacitance_f", self.capacitance_f)?;
        self.loudspeaker.map_or(Ok(()), |l| l.check().map_err(|e| e.within("load")))
    }

    /// Admittance at a frequency, S.
    #[must_use]
    pub fn admittance(&self, frequency_hz: f64) -> Complex64 {
        let across = Complex64::new(0.0, TAU * frequency_hz * self.capacitance_f);
        match self.loudspeaker {
            None => across + self.resistance_ohm.recip(),
            Some(loudspeaker) => across + loudspeaker.impedance(frequency_hz).inv(),
        }
    }

    /// Whether it depends on frequency.
    #[must_use]
    pub fn is_resistive(&self) -> bool {
        self.capacitance_f == 0.0 && self.loudspeaker.is_none()
    }
}
