//! An active stage: gain, equalisation, output resistance.
//!
//! Playback equalisation after IEC 60098 (time constants 3180, 318 and 75 us; the 1976 amendment adds 7950 us).

use crate::error::{InputError, not_negative};
use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// Time constants of IEC 60098, s: bass pole, middle zero, treble pole, and the zero of the 1976 amendment.
pub const RIAA_BASS_S: f64 = 3180e-6;
/// See [`RIAA_BASS_S`].
pub const RIAA_MIDDLE_S: f64 = 318e-6;
/// See [`RIAA_BASS_S`].
pub const RIAA_TREBLE_S: f64 = 75e-6;
/// See [`RIAA_BASS_S`].
pub const RIAA_RUMBLE_S: f64 = 7950e-6;

/// Frequency at which a stage's gain is stated, Hz.
pub const GAIN_REFERENCE_HZ: f64 = 1000.0;

/// Frequency shaping of a stage, unity at 1 kHz.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Equalisation {
    /// none
    #[default]
    #[serde(rename = "flat")]
    Flat,
    /// `(1 + s T2) / ((1 + s T1)(1 + s T3))`, IEC 60098
    #[serde(rename = "riaa")]
    Riaa,
    /// the same with `s T4 / (1 + s T4)`, the amendment of 1976
    #[serde(rename = "riaa 7950 us")]
    RiaaAmended,
}

impl Equalisation {
    /// The names by which sheets and Python know them.
    pub const NAMES: [&'static str; 3] = ["flat", "riaa", "riaa 7950 us"];

    /// Finds one by its name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "flat" => Some(Self::Flat),
            "riaa" => Some(Self::Riaa),
            "riaa 7950 us" => Some(Self::RiaaAmended),
            _ => None,
        }
    }

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Flat => "flat",
            Self::Riaa => "riaa",
            Self::RiaaAmended => "riaa 7950 us",
        }
    }

    pub(crate) fn raw(self, frequency_hz: f64) -> Complex64 {
        let corner = |time_s: f64| Complex64::new(1.0, TAU * frequency_hz * time_s);
        let standard = || corner(RIAA_MIDDLE_S) / (corner(RIAA_BASS_S) * corner(RIAA_TREBLE_S));
        match self {
            Self::Flat => Complex64::new(1.0, 0.0),
            Self::Riaa => standard(),
            Self::RiaaAmended => {
                let rumble = corner(RIAA_RUMBLE_S);
                standard() * Complex64::new(0.0, rumble.im) / rumble
            }
        }
    }

    /// Response at a frequency, magnitude 1 at 1 kHz.
    #[must_use]
    pub fn response(self, frequency_hz: f64) -> Complex64 {
        self.raw(frequency_hz) / self.raw(GAIN_REFERENCE_HZ).norm()
    }
}

/// What follows a section and drives the next one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stage {
    /// name, for messages and for the list of rivals
    pub name: String,
    /// gain at 1 kHz, dB
    #[serde(default)]
    pub gain_db: f64,
    /// frequency shaping
    #[serde(default)]
    pub equalisation: Equalisation,
    /// output resistance, ohm
    #[serde(default)]
    pub output_resistance_ohm: f64,
}

/// Largest gain or loss of a stage, dB: far beyond any that is built, far within what numbers hold.
pub const MOST_GAIN_DB: f64 = 400.0;

impl Stage {
    /// Checks every value.
    ///
    /// # Errors
    /// A gain beyond [`MOST_GAIN_DB`] either way, a negative output resistance.
    pub fn check(&self) -> Result<(), InputError> {
        let place = format!("stage {:?}", self.name);
        if self.gain_db.is_nan() || self.gain_db.abs() > MOST_GAIN_DB {
            let allowed = format!("allowed: -{MOST_GAIN_DB} to {MOST_GAIN_DB} dB");
            return Err(InputError::new("gain_db", self.gain_db, allowed).within(&place));
        }
        not_negative("output_resistance_ohm", self.output_resistance_ohm).map_err(|e| e.within(&place))?;
        Ok(())
    }

    /// Gain at 1 kHz as a ratio.
    #[must_use]
    pub fn gain(&self) -> f64 {
        10f64.powf(self.gain_db / 20.0)
    }

    /// Gain and equalisation at a frequency.
    #[must_use]
    pub fn transfer(&self, frequency_hz: f64) -> Complex64 {
        self.equalisation.response(frequency_hz) * self.gain()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Chain, ChainItem, Load, Section, Source};

    #[test]
    fn a_gain_beyond_all_stages_is_refused() {
        let with =
            |gain_db| Stage { name: "p".into(), gain_db, equalisation: Equalisation::Flat, output_resistance_ohm: 1.0 };
        for gain_db in [400.1, -3010.0, f64::INFINITY, f64::NAN] {
            let said = with(gain_db).check().unwrap_err().to_string();
            assert!(said.contains("gain_db") && said.contains("-400 to 400 dB") && said.contains("\"p\""), "{said}");
        }
        assert!(with(400.0).check().is_ok() && with(-400.0).check().is_ok());
    }

    #[test]
    fn stages_together_have_no_more_gain_than_one() {
        let section = |source| Section { name: "s".into(), source, path: Vec::new(), load: Load::resistance(1e3) };
        let stage = |gain_db| {
            ChainItem::Stage(Stage {
                name: format!("{gain_db}"),
                gain_db,
                equalisation: Equalisation::Flat,
                output_resistance_ohm: 1.0,
            })
        };
        let source = Source { emf_v: 1.0, resistance_ohm: 1.0, inductance_h: 0.0 };
        let chain = |gains: &[f64]| {
            let mut items = vec![ChainItem::Section(section(Some(source)))];
            items.extend(gains.iter().flat_map(|&gain| [stage(gain), ChainItem::Section(section(None))]));
            Chain { items }
        };
        let said = chain(&[250.0, 151.0]).check().unwrap_err().to_string();
        assert!(said.contains("stages up to \"151\"") && said.contains("401") && said.contains("together"), "{said}");
        assert!(chain(&[-250.0, -151.0]).check().is_err());
        assert!(chain(&[250.0, -151.0, 300.0]).check().is_ok());
    }
}
