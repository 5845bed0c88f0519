//! A control: its track across the signal, its wiper at a setting.
//!
//! A track `R` at the voltage ratio `a` (unloaded) is `(1 - a) R` in series, then `a R` to the return, then the wiper's
//! contact. Seen from the wiper with a stiff drive it is `a (1 - a) R`. Elementary circuit theory.

use super::Contact;
use crate::error::{InputError, finite, positive};
use serde::{Deserialize, Serialize};

/// A control in a path.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Divider {
    /// name, for messages
    pub name: String,
    /// resistance of the whole track, ohm
    pub track_ohm: f64,
    /// setting, dB: zero fully up, negative below
    pub setting_db: f64,
    /// contact of the wiper on the track; `None` for a perfect one
    #[serde(default)]
    pub wiper: Option<Contact>,
}

impl Divider {
    /// Voltage ratio of the unloaded track, above zero and at most one.
    #[must_use]
    pub fn ratio(&self) -> f64 {
        10f64.powf(self.setting_db / 20.0)
    }

    /// Part of the track above the wiper, ohm.
    #[must_use]
    pub fn above_ohm(&self) -> f64 {
        (1.0 - self.ratio()) * self.track_ohm
    }

    /// Part of the track below the wiper, ohm.
    #[must_use]
    pub fn below_ohm(&self) -> f64 {
        self.ratio() * self.track_ohm
    }

    /// Checks every value.
    ///
    /// # Errors
    /// A track that is not above zero, a setting above 0 dB or so low that nothing of the track is left, a wiper that is no series contact.
    pub fn check(&self) -> Result<(), InputError> {
        let place = format!("divider {:?}", self.name);
        positive("track_ohm", self.track_ohm).map_err(|e| e.within(&place))?;
        finite("setting_db", self.setting_db).map_err(|e| e.within(&place))?;
        if self.setting_db > 0.0 || self.below_ohm() <= 0.0 {
            let allowed =
                "allowed: 0 dB or less, and some of the track left below the wiper; a control does not amplify";
            return Err(InputError::new("setting_db", self.setting_db, allowed).within(&place));
        }
        let Some(wiper) = &self.wiper else { return Ok(()) };
        wiper.check().map_err(|e| e.within(&place))?;
        if wiper.role != super::Role::Signal {
            let found = format!("a wiper with the role {:?}", wiper.role.word());
            return Err(InputError::new("wiper", found, "allowed: role \"signal\"").within(&place));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn the_track_is_divided_and_nothing_is_lost() {
        let half = Divider { name: "volume".into(), track_ohm: 50e3, setting_db: -20.0, wiper: None };
        assert_relative_eq!(half.below_ohm(), 5e3, max_relative = 1e-12);
        assert_relative_eq!(half.above_ohm() + half.below_ohm(), 50e3, max_relative = 1e-12);
        half.check().unwrap();
        for setting_db in [0.1, f64::NEG_INFINITY, f64::NAN, -1e9] {
            assert!(Divider { setting_db, ..half.clone() }.check().is_err(), "{setting_db}");
        }
    }
}
