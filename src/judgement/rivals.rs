//! What else than a contact it can be: an output stage with too little bias, a noisy stage, direct voltage on a control, any other
//! fault; how often each, and what it sounds like.

use super::causes::{Effect, Hypothesis, SILENT_DB};
use super::dice::Dice;
use super::priors::Priors;
use super::scene::Nature;

/// Of the faults of an output stage that are not its bias, the share that is noise of its own: its gain is small \[assumption\].
pub const POWER_NOISE_SHARE: f64 = 0.25;
/// Direct voltage of such a fault, V \[assumption\]: from what a control begins to tell of to a supply's.
pub const DIRECT_V: (f64, f64) = (0.02, 10.0);
/// Steps of a control's track as it is turned, over the whole \[assumption\]: up to the 3 % that a control's noise may be
/// (common practice, 1 to 3 %).
pub const TRACK_STEP: (f64, f64) = (1e-4, 3e-2);
/// Residue of a fault that is no contact, ratio, and its loss, dB \[assumption\].
pub const FAULT_RESIDUE: (f64, f64) = (1e-4, 0.1);
/// See [`FAULT_RESIDUE`].
pub const FAULT_LOSS_DB: (f64, f64) = (0.5, 40.0);
/// Voltage across each emitter circuit over the thermal voltage, of an under-biased stage, and what feedback divides the
/// residue by \[assumption\].
pub const QUIESCENT: (f64, f64) = (0.02, 1.0);
/// See [`QUIESCENT`].
pub const FEEDBACK: (f64, f64) = (3.0, 100.0);

/// The ways in which what is no contact can be at fault, with their shares: a leaky coupling capacitor where a control follows.
#[must_use]
pub fn rival_ways(nature: Nature, drives_control: bool, priors: &Priors) -> Vec<(Hypothesis, f64)> {
    let mut ways = match nature {
        Nature::PowerStage => vec![
            (Hypothesis::Crossover, priors.under_biased),
            (Hypothesis::Noise, POWER_NOISE_SHARE * (1.0 - priors.under_biased)),
        ],
        Nature::Stage => vec![(Hypothesis::Noise, priors.noisy)],
        _ => vec![],
    };
    if drives_control && matches!(nature, Nature::Stage | Nature::Source) {
        ways.push((Hypothesis::DirectVoltage, priors.direct_voltage));
    }
    let rest = (1.0 - ways.iter().map(|w| w.1).sum::<f64>()).max(0.0);
    ways.push((Hypothesis::Fault, rest));
    ways
}

/// Shares of what another fault sounds like, by nature: grit, crackle, quieter, comes and goes, dull, hum, dead \[assumption\].
#[must_use]
pub fn fault_shares(nature: Nature) -> [f64; 7] {
    match nature {
        Nature::Source => [0.25, 0.15, 0.20, 0.10, 0.15, 0.10, 0.05],
        Nature::Loudspeaker => [0.40, 0.05, 0.15, 0.10, 0.15, 0.0, 0.15],
        Nature::PowerStage => [0.25, 0.20, 0.05, 0.10, 0.05, 0.20, 0.15],
        _ => [0.20, 0.15, 0.20, 0.10, 0.10, 0.20, 0.05],
    }
}

pub(super) fn another_fault(nature: Nature, dice: &mut Dice<'_>) -> Effect {
    let shares = fault_shares(nature);
    let mut u = dice.uniform();
    let mut which = 0;
    for (k, share) in shares.iter().enumerate() {
        which = k;
        if u < *share {
            break;
        }
        u -= share;
    }
    let residue = dice.log_between(FAULT_RESIDUE.0, FAULT_RESIDUE.1);
    let loss_db = dice.log_between(FAULT_LOSS_DB.0, FAULT_LOSS_DB.1);
    let none = Effect::default();
    match which {
        0 => Effect { grit: residue, ..none },
        1 => Effect { crackle: residue, ..none },
        2 => Effect { loss_db: loss_db.min(SILENT_DB), ..none },
        3 => Effect { drops_db: loss_db, ..none },
        4 => Effect { dull_db: loss_db, ..none },
        5 => Effect { hum: true, ..none },
        _ => Effect { loss_db: 2.0 * SILENT_DB, ..none },
    }
}

/// Noise of a stage: a rough bed under the music, or cracks.
pub(super) fn noise(dice: &mut Dice<'_>) -> Effect {
    let residue = dice.log_between(FAULT_RESIDUE.0, FAULT_RESIDUE.1);
    if dice.uniform() < 0.5 {
        Effect { grit: residue, ..Effect::default() }
    } else {
        Effect { crackle: residue, ..Effect::default() }
    }
}

#[cfg(test)]
mod often;
