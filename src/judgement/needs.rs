//! What a contact must be able to do to be the cause of a symptom.
//!
//! Where the sheet has no measured figure, the least that an ear could have noticed is taken: the safe end for clearing.

use crate::bench::{Heard, Strength, What};

/// Least residue that a listener could call grit, as a ratio, when only just heard.
///
/// Safe end of published masking and threshold models: higher harmonics of 1 kHz at 80 dB become audible from
/// 0.0068 % on (ISO/IEC 11172-3 annex D with Terhardt's threshold \[calc\]).
pub const SLIGHT_RESIDUE: f64 = 0.000_068;
/// The same when plainly heard: ten times as much \[assumption\].
pub const PLAIN_RESIDUE: f64 = 10.0 * SLIGHT_RESIDUE;
/// Least loss or imbalance noticed, dB: 0.5 dB (Jesteadt, Wier and Green 1977, 80 dB sensation level \[calc\]; Mills 1960 \[seen\]).
pub const SLIGHT_LOSS_DB: f64 = 0.5;
/// The same when plainly heard: 1 dB (Mills 1960, 1 kHz \[seen\]).
pub const PLAIN_LOSS_DB: f64 = 1.0;
/// Loss from which a channel is called dead, dB \[assumption\].
pub const DEAD_LOSS_DB: f64 = 20.0;
/// Loss that would itself have been heard and written down, dB: the limit of channel difference in DIN 45500-6 \[seen\].
pub const LOSS_SURELY_HEARD_DB: f64 = 3.0;

/// What it takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Need {
    /// residue at the output of at least this ratio, steadily
    Residue(f64),
    /// residue of at least this ratio at moments: never excluded by a reading at rest
    ResidueNowAndThen(f64),
    /// loss of at least so many dB; and at most, where it was measured
    Loss(f64, f64),
    /// loss of at least so many dB at moments: never excluded by a reading at rest
    LossNowAndThen(f64),
    /// response change over the audible band of at least so many dB
    ResponseChange(f64),
    /// not computed by this version
    NotComputed,
}

impl Need {
    /// What one observation asks for; `None` for a clean one.
    #[must_use]
    pub fn of(heard: &Heard) -> Option<Self> {
        let plain = heard.strength == Strength::Plain;
        let residue = heard.residue.map_or(if plain { PLAIN_RESIDUE } else { SLIGHT_RESIDUE }, |r| r.0);
        let loss = heard.loss_db.unwrap_or((if plain { PLAIN_LOSS_DB } else { SLIGHT_LOSS_DB }, f64::INFINITY));
        Some(match heard.what {
            What::Clean => return None,
            What::Grit => Self::Residue(residue),
            What::Crackle => Self::ResidueNowAndThen(residue),
            What::Quieter | What::Imbalance => Self::Loss(loss.0, loss.1),
            What::Dead => Self::Loss(DEAD_LOSS_DB, f64::INFINITY),
            What::ComesAndGoes => Self::LossNowAndThen(loss.0),
            What::Dull => Self::ResponseChange(loss.0),
            What::Hum => Self::NotComputed,
        })
    }

    /// Whether only a reading taken while the contact moves can exclude it.
    #[must_use]
    pub fn needs_moved_reading(self) -> bool {
        matches!(self, Self::ResidueNowAndThen(_) | Self::LossNowAndThen(_))
    }
}
