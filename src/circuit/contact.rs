//! A contact as it is placed in a path: its resistance or film, its role, the range of its chords.

use crate::error::{InputError, not_negative};
use crate::physics::Film;
use serde::{Deserialize, Serialize};

/// Where in the circuit a contact stands.
///
/// A contact in the return conductor of a two-conductor section acts on the signal exactly as one in the
/// signal conductor at the same place, for the same current runs through both.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// in the signal conductor
    #[default]
    Signal,
    /// in the return conductor of this section alone
    Return,
}

/// One mating pair in the signal path.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Contact {
    /// name, unique in its chain
    pub name: String,
    /// film law with its zero-voltage resistance
    pub film: Film,
    /// series resistance of the metal constriction under the film, ohm
    #[serde(default)]
    pub constriction_ohm: f64,
    /// smallest and largest chord in use, ohm; `None`: from zero to the largest chord up to the peak in use
    #[serde(default, with = "open_as_null")]
    pub range_ohm: Option<(f64, f64)>,
    /// where it stands
    #[serde(default)]
    pub role: Role,
}

/// A range as `(low, high)`; JSON has no infinity, so a contact that can open has `null` for its largest resistance.
mod open_as_null {
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(range: &Option<(f64, f64)>, to: S) -> Result<S::Ok, S::Error> {
        range.map(|(low, high)| (low, high.is_finite().then_some(high))).serialize(to)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Option<(f64, f64)>, D::Error> {
        let range = Option::<(f64, Option<f64>)>::deserialize(from)?;
        Ok(range.map(|(low, high)| (low, high.unwrap_or(f64::INFINITY))))
    }
}

/// Checks a range of chords: `0 <= low <= high`; `high` may be infinite, for a contact that can open.
pub(crate) fn check_range(place: &str, (low, high): (f64, f64)) -> Result<(), InputError> {
    if low.is_finite() && low >= 0.0 && high >= low {
        return Ok(());
    }
    let allowed = "allowed: (low, high) with 0 <= low <= high; high may be infinite";
    Err(InputError::new(place, format!("({low}, {high})"), allowed))
}

impl Contact {
    /// A plain resistance; zero is a perfect contact.
    #[must_use]
    pub fn ohmic(name: impl Into<String>, resistance_ohm: f64) -> Self {
        Self {
            name: name.into(),
            film: Film::Ohmic { resistance_ohm },
            constriction_ohm: 0.0,
            range_ohm: None,
            role: Role::Signal,
        }
    }

    /// Checks every value.
    ///
    /// # Errors
    /// An empty name, a film parameter out of its range, a negative resistance, a range that is upside down.
    pub fn check(&self) -> Result<(), InputError> {
        let place = format!("contact {:?}", self.name);
        if self.name.trim().is_empty() {
            return Err(InputError::new("contact: name", "\"\"", "allowed: a name with at least one letter"));
        }
        self.film.check().map_err(|e| e.within(&place))?;
        not_negative("constriction_ohm", self.constriction_ohm).map_err(|e| e.within(&place))?;
        if let Some(range) = self.range_ohm {
            check_range("range_ohm", range).map_err(|e| e.within(&place))?;
        }
        Ok(())
    }

    /// Resistance that a vanishing signal sees, ohm.
    #[must_use]
    pub fn small_signal_ohm(&self) -> f64 {
        self.film.resistance_ohm() + self.constriction_ohm
    }

    /// Smallest and largest chord in use up to a peak voltage across the contact, ohm.
    ///
    /// The contact's own `range_ohm` if it has one; else from zero to the largest chord of its film, constriction included.
    #[must_use]
    pub fn chords_ohm(&self, peak_v: f64) -> (f64, f64) {
        self.range_ohm.unwrap_or_else(|| (0.0, self.film.largest_chord_ohm(peak_v) + self.constriction_ohm))
    }
}
