//! A loudspeaker in its box: voice coil and one mechanical resonance.
//!
//! `Z(f) = Re + j 2 pi f Le + Re (Qms/Qes) / (1 + j Qms (f/fs - fs/f))`
//!
//! the electrical equivalent of a moving-coil driver near its resonance, R. H. Small, "Direct-radiator loudspeaker system
//! analysis", J. Audio Eng. Soc. 20 (1972) 383 \[memory\]. At `fs` the impedance is `Re (1 + Qms/Qes)`; a resistance `R` in
//! series raises the electrical Q to `Qes (Re + R)/Re` and leaves `fs` and the mechanical Q as they are. Valid for small
//! signals and for a voice coil whose inductance does not fall with frequency; the nominal impedance is that of IEC 60268-5:
//! the lowest one in the rated band is not below 80 % of it.

use crate::error::{InputError, not_negative, positive};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Share of its nominal impedance below which a loudspeaker does not go (IEC 60268-5:2003 clause 16 \[seen\]): taken for a voice coil
/// whose resistance is not given.
pub const LOWEST_OF_NOMINAL: f64 = 0.8;

/// Voice coil and mechanical resonance, parameters as Thiele and Small name them.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Loudspeaker {
    /// direct-current resistance of the voice coil, Re, ohm
    pub voice_coil_ohm: f64,
    /// inductance of the voice coil, Le, H
    #[serde(default)]
    pub voice_coil_h: f64,
    /// resonance in its box, fs, Hz
    pub resonance_hz: f64,
    /// Q of the mechanical losses alone, Qms
    pub mechanical_q: f64,
    /// Q of the electrical damping alone, Qes, with nothing in series with the voice coil
    pub electrical_q: f64,
}

impl Loudspeaker {
    /// Checks every value.
    ///
    /// # Errors
    /// A value that is not above zero, or a negative inductance.
    pub fn check(&self) -> Result<(), InputError> {
        positive("loudspeaker: voice_coil_ohm", self.voice_coil_ohm)?;
        not_negative("loudspeaker: voice_coil_h", self.voice_coil_h)?;
        positive("loudspeaker: resonance_hz", self.resonance_hz)?;
        positive("loudspeaker: mechanical_q", self.mechanical_q)?;
        positive("loudspeaker: electrical_q", self.electrical_q)?;
        Ok(())
    }

    /// Impedance at a frequency, ohm; at zero the voice coil's resistance.
    #[must_use]
    pub fn impedance(&self, frequency_hz: f64) -> Complex64 {
        let coil = Complex64::new(self.voice_coil_ohm, TAU * frequency_hz * self.voice_coil_h);
        if frequency_hz == 0.0 {
            return coil;
        }
        let detuning = frequency_hz / self.resonance_hz - self.resonance_hz / frequency_hz;
        let motional_ohm = self.voice_coil_ohm * self.mechanical_q / self.electrical_q;
        coil + motional_ohm / Complex64::new(1.0, self.mechanical_q * detuning)
    }

    /// Q of the whole with a resistance in series with the voice coil, Qts: `1/Q = 1/Qms + Re / (Qes (Re + R))`.
    ///
    /// The voice coil's inductance is left out, as in Small's paper.
    #[must_use]
    pub fn total_q(&self, series_ohm: f64) -> f64 {
        let electrical_q = self.electrical_q * (self.voice_coil_ohm + series_ohm) / self.voice_coil_ohm;
        (self.mechanical_q.recip() + electrical_q.recip()).recip()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const DRIVER: Loudspeaker = Loudspeaker {
        voice_coil_ohm: 6.4,
        voice_coil_h: 0.0,
        resonance_hz: 50.0,
        mechanical_q: 2.625,
        electrical_q: 0.5,
    };

    #[test]
    fn ends_and_resonance() {
        assert_relative_eq!(DRIVER.impedance(0.0).re, 6.4);
        // 6.4 ohm times 1 + 2.625/0.5
        assert_relative_eq!(DRIVER.impedance(50.0).norm(), 40.0, max_relative = 1e-12);
        assert_relative_eq!(DRIVER.impedance(1e6).norm(), 6.4, max_relative = 1e-6);
    }

    #[test]
    fn width_of_the_resonance_gives_back_the_mechanical_q() {
        // Small: at f1 < fs < f2 with |Z| = Re sqrt(r0), r0 = Zmax/Re: Qms = fs sqrt(r0)/(f2 - f1)
        let r0 = 40.0f64 / 6.4;
        let level = 6.4 * r0.sqrt();
        let cross = |mut low: f64, mut high: f64| {
            for _ in 0..200 {
                let middle = 0.5 * (low + high);
                let above = DRIVER.impedance(middle).norm() > level;
                if above == (DRIVER.impedance(low).norm() > level) { low = middle } else { high = middle }
            }
            low
        };
        let (f1, f2) = (cross(1.0, 50.0), cross(50.0, 2500.0));
        assert_relative_eq!(50.0 * r0.sqrt() / (f2 - f1), 2.625, max_relative = 1e-9);
        assert_relative_eq!((f1 * f2).sqrt(), 50.0, max_relative = 1e-9);
    }

    #[test]
    fn a_series_resistance_takes_damping_away() {
        assert_relative_eq!(DRIVER.total_q(0.0), 2.625 * 0.5 / 3.125, max_relative = 1e-12);
        assert_relative_eq!(DRIVER.total_q(1e12), 2.625, max_relative = 1e-9);
    }
}
