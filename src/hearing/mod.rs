//! What a listener would notice: ranges over published models, never one number.
//!
//! Levels are dB SPL (re 20 uPa rms), frequencies Hz. The models speak of a median young listener with nothing else in the room; half of
//! them hear better. Where a model ends, the answer is refused or marked as extrapolated.
//!
//! ```
//! use weaklink::hearing::audible::{Listener, Verdict, audible};
//! use weaklink::hearing::masking::{Kind, Masker};
//! use weaklink::hearing::residue::{Line, ratio_level_db};
//! // a second harmonic of 0.5 % beside 1 kHz at 80 dB SPL: the models do not agree
//! let tone = Masker { frequency_hz: 1000.0, level_db: 80.0, kind: Kind::Tone };
//! let second = Line { frequency_hz: 2000.0, level_db: ratio_level_db(0.005, 80.0) };
//! let beside = audible(&[tone], &[second], &[], &Listener::default())?;
//! assert_eq!(beside.over_all.verdict, Verdict::MayBeHeard);
//! // the same sound in silence is plain
//! let alone = audible(&[], &[second], &[], &Listener::default())?;
//! assert_eq!(alone.over_all.verdict, Verdict::Plain);
//! # Ok::<(), weaklink::InputError>(())
//! ```

pub mod audible;
pub mod bark;
pub mod equal_loudness;
pub mod level;
pub mod masking;
pub mod metric;
pub mod noticeable;
pub mod residue;
pub mod smallest;
pub mod threshold;

/// Names by which Python knows the members of a list of models.
macro_rules! named {
    ($kind:ident { $($member:ident = $name:literal),+ }) => {
        impl $kind {
            /// Every member, in a fixed order.
            pub const ALL: &'static [Self] = &[$(Self::$member),+];
            /// The names by which Python knows them, in the same order.
            pub const NAMES: &'static [&'static str] = &[$($name),+];

            /// Finds one by its name.
            #[must_use]
            pub fn named(name: &str) -> Option<Self> {
                match name {
                    $($name => Some(Self::$member),)+
                    _ => None,
                }
            }

            /// Its name.
            #[must_use]
            pub fn name(self) -> &'static str {
                match self {
                    $(Self::$member => $name,)+
                }
            }
        }
    };
}
pub(crate) use named;

/// Power of a level, re the reference of the level.
pub(crate) fn power(level_db: f64) -> f64 {
    10f64.powf(level_db / 10.0)
}

/// Level of a power; minus infinity for none.
pub(crate) fn decibel(power: f64) -> f64 {
    10.0 * power.log10()
}

/// Value at a frequency of a table, straight between its entries on a logarithmic scale of frequency; none outside.
///
/// The tables have thirds of an octave, which are even on that scale. A cubic through the same thresholds differs by up to 0.53 dB to
/// 12.5 kHz, and by up to 2.4 dB above, where they rise steeply and the straight line runs above the cubic.
pub(crate) fn between(table_hz: &[f64], values: &[f64], frequency_hz: f64) -> Option<f64> {
    let above = table_hz.iter().position(|&entry| entry >= frequency_hz)?;
    if table_hz[above] == frequency_hz {
        return Some(values[above]);
    }
    let below = above.checked_sub(1)?;
    let share = (frequency_hz / table_hz[below]).ln() / (table_hz[above] / table_hz[below]).ln();
    Some(values[below] + share * (values[above] - values[below]))
}
