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
    /// in the return conductor that both channels share: the other channel's current runs through it too
    SharedReturn,
    /// across the signal, like a muting contact: perfect when open
    Shunt,
    /// in a feedback network: no section describes it
    Feedback,
    /// in a supply: no section describes it
    Supply,
    /// in a bias network: no section describes it
    Bias,
}

impl Role {
    /// Every role, in the order of this page.
    pub const ALL: [Self; 7] =
        [Self::Signal, Self::Return, Self::SharedReturn, Self::Shunt, Self::Feedback, Self::Supply, Self::Bias];

    /// The words for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Signal => "signal",
            Self::Return => "return",
            Self::SharedReturn => "shared return",
            Self::Shunt => "shunt",
            Self::Feedback => "feedback",
            Self::Supply => "supply",
            Self::Bias => "bias",
        }
    }

    /// The role for its words.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }

    /// Whether a section can describe it: the signal itself runs through it or across it.
    #[must_use]
    pub fn is_in_the_path(self) -> bool {
        !matches!(self, Self::Feedback | Self::Supply | Self::Bias)
    }

    /// Resistance at which a contact in this role takes nothing from the signal, ohm: open across it, zero elsewhere.
    #[must_use]
    pub fn perfect_ohm(self) -> f64 {
        if self == Self::Shunt { f64::INFINITY } else { 0.0 }
    }
}

/// One mating pair in the signal path.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Contact {
    /// name, unique in its chain
    pub name: String,
    /// film law with its zero-voltage resistance; an open contact across the signal is ohmic and infinite, `null` in JSON
    #[serde(with = "open_film_as_null")]
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
    /// largest direct current that runs through it, A
    #[serde(default)]
    pub direct_current_a: f64,
}

const OPEN: Film = Film::Ohmic { resistance_ohm: f64::INFINITY };

/// JSON has no infinity: an open contact is written as no film.
mod open_film_as_null {
    use super::{Film, OPEN};
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    pub(super) fn serialize<S: Serializer>(film: &Film, to: S) -> Result<S::Ok, S::Error> {
        (*film != OPEN).then_some(film).serialize(to)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Film, D::Error> {
        Ok(Option::<Film>::deserialize(from)?.unwrap_or(OPEN))
    }
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
            direct_current_a: 0.0,
        }
    }

    /// A contact in a role, as good as one can be.
    #[must_use]
    pub fn perfect(name: impl Into<String>, role: Role) -> Self {
        Self { role, ..Self::ohmic(name, role.perfect_ohm()) }
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
        if self.role != Role::Shunt {
            self.film.check().map_err(|e| e.within(&place))?;
        } else if self.film != OPEN {
            self.film.check().map_err(|e| e.within(&place))?;
            if self.film.resistance_ohm() <= 0.0 {
                let allowed = "allowed across the signal: above zero; infinite for an open contact";
                return Err(InputError::new("resistance_ohm", self.film.resistance_ohm(), allowed).within(&place));
            }
        }
        not_negative("constriction_ohm", self.constriction_ohm).map_err(|e| e.within(&place))?;
        not_negative("direct_current_a", self.direct_current_a).map_err(|e| e.within(&place))?;
        if self.role == Role::Shunt && self.direct_current_a > 0.0 {
            let allowed = "allowed across the signal: 0; nothing bounds what a direct current does there";
            return Err(InputError::new("direct_current_a", self.direct_current_a, allowed).within(&place));
        }
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
    /// Across the signal, where few ohms are worse than many: from the smallest chord of its film to open.
    /// What a direct current adds to the voltage is not known here: with one, the film's largest chord at any voltage stands.
    #[must_use]
    pub fn chords_ohm(&self, peak_v: f64) -> (f64, f64) {
        if self.role == Role::Shunt {
            let chord = |voltage_v: f64| self.film.chord_ohm(voltage_v);
            let least = chord(peak_v).min(chord(-peak_v)).min(chord(0.0)) + self.constriction_ohm;
            return self.range_ohm.unwrap_or((least, f64::INFINITY));
        }
        let peak_v = if self.direct_current_a > 0.0 { f64::MAX } else { peak_v };
        self.range_ohm.unwrap_or_else(|| (0.0, self.film.largest_chord_ohm(peak_v) + self.constriction_ohm))
    }
}
