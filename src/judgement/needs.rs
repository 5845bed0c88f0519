//! What a contact must be able to do to be the cause of a symptom.
//!
//! Where the sheet has no measured figure, the least that an ear could have noticed is taken: the safe end for clearing.

use crate::bench::{Heard, Strength, What};
use crate::error::InputError;
use crate::hearing::audible::Listener;
use crate::hearing::masking::{MOST_DB, PUBLISHED_TO_DB};
use crate::hearing::noticeable::{LOSS_RULE_DB, MILLS_DB, RESPONSE_DB};
use crate::hearing::smallest::{Where, smallest_noticeable_residue};
use std::sync::OnceLock;

/// Level at the ear that is taken for granted where the sheet gives none, dB SPL \[assumption\].
pub const LISTENING_DB: f64 = 80.0;
/// Levels at the ear that are taken, dB SPL: from a quiet room \[assumption\] to the end of the models of masking.
pub const LEVELS_DB: (f64, f64) = (20.0, MOST_DB);
/// Tone that stands for the programme, Hz \[assumption\].
const PROGRAMME_HZ: f64 = 1000.0;
/// Residue that is heard plainly, against one that is just heard: ten times as much \[assumption\].
pub const PLAINLY: f64 = 10.0;
/// Least loss or imbalance noticed, dB: 0.5 dB (Jesteadt, Wier and Green 1977, 80 dB sensation level \[calc\]; Mills 1960 \[seen\]).
pub const SLIGHT_LOSS_DB: f64 = 0.5;
/// The same when plainly heard: 1 dB (Mills 1960, 1 kHz \[seen\]); the upper ends of what is noticed double with it \[assumption\].
pub const PLAIN_LOSS_DB: f64 = 1.0;
/// Loss from which a channel is called dead, dB \[assumption\].
pub const DEAD_LOSS_DB: f64 = 20.0;
/// Loss that would itself have been heard and written down, dB: the limit of channel difference in DIN 45500-6 \[seen\].
pub const LOSS_SURELY_HEARD_DB: f64 = 3.0;

/// Residue that could be called grit, as ratios, at one level at the ear: a range over published models of hearing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noticed {
    /// level at the ear, dB SPL
    pub level_db: f64,
    /// below this no model hears it, wherever it stands in the spectrum and whatever plays, even nothing: excludes
    pub never_below: f64,
    /// from this on every model can hear it, at the place in the spectrum where it is heard best: accuses
    pub surely_from: f64,
    /// the level is above what the models of masking were published for: the second figure is extrapolated, the first knows no masking
    pub extrapolated: bool,
}

impl Noticed {
    /// At a level at the ear, dB SPL; both grow tenfold for what is heard plainly.
    ///
    /// Music pauses, and no programme is one tone: what excludes counts on nothing that masks, the lowest threshold in quiet.
    ///
    /// # Errors
    /// A level outside [`LEVELS_DB`].
    pub fn at(level_db: f64, strength: Strength) -> Result<Self, InputError> {
        if !(LEVELS_DB.0..=LEVELS_DB.1).contains(&level_db) {
            let allowed = format!("allowed: {} to {} dB SPL at the ear", LEVELS_DB.0, LEVELS_DB.1);
            return Err(InputError::new("level_db", level_db, allowed));
        }
        // most sheets say nothing of levels, and one answer costs milliseconds
        static AT_THE_USUAL_LEVEL: OnceLock<Result<(f64, f64), InputError>> = OnceLock::new();
        let (silent, placed_well) = if level_db == LISTENING_DB {
            AT_THE_USUAL_LEVEL.get_or_init(|| just_noticed(LISTENING_DB)).clone()?
        } else {
            just_noticed(level_db)?
        };
        let times = if strength == Strength::Plain { PLAINLY } else { 1.0 };
        let extrapolated = level_db > PUBLISHED_TO_DB;
        Ok(Self { level_db, never_below: times * silent, surely_from: times * placed_well, extrapolated })
    }
}

/// Residue that is below all thresholds in quiet, and that every model hears at the best place, as ratios to the tone that stands for the programme.
fn just_noticed(level_db: f64) -> Result<(f64, f64), InputError> {
    let ears = Listener::default();
    let found = smallest_noticeable_residue(PROGRAMME_HZ, level_db, Where::Anywhere, &ears)?;
    Ok((10f64.powf((ears.silence_db()? - level_db) / 20.0), found.placed_well))
}

/// What it takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Need {
    /// steady residue at the output: what does less than the first ratio is excluded, what does the second is able
    Residue(f64, f64),
    /// the same at moments: never excluded by a reading at rest
    ResidueNowAndThen(f64, f64),
    /// loss: what reaches less than the first, dB, is excluded, what reaches the second is able; at most the third, where measured
    Loss(f64, f64, f64),
    /// the same at moments: never excluded by a reading at rest
    LossNowAndThen(f64, f64),
    /// response change over the audible band, dB, in the same way
    ResponseChange(f64, f64),
    /// not computed by this version
    NotComputed,
}

impl Need {
    /// What one observation asks for, `noticed` where no residue was measured; `None` for a clean one.
    #[must_use]
    pub fn of(heard: &Heard, noticed: Noticed) -> Option<Self> {
        let plain = heard.strength == Strength::Plain;
        let residue = heard.residue.unwrap_or((noticed.never_below, noticed.surely_from));
        let times = if plain { PLAIN_LOSS_DB / SLIGHT_LOSS_DB } else { 1.0 };
        let by_ear = |(low, high): (f64, f64)| (times * low, times * high);
        // what was measured is there: its lower end excludes and accuses
        let loss = |range: (f64, f64)| heard.loss_db.map_or(by_ear(range), |measured| (measured.0, measured.0));
        let most = heard.loss_db.map_or(f64::INFINITY, |measured| measured.1);
        Some(match heard.what {
            What::Clean => return None,
            What::Grit => Self::Residue(residue.0, residue.1),
            What::Crackle => Self::ResidueNowAndThen(residue.0, residue.1),
            What::Quieter => {
                Self::Loss(loss((SLIGHT_LOSS_DB, LOSS_RULE_DB)).0, loss((SLIGHT_LOSS_DB, LOSS_RULE_DB)).1, most)
            }
            What::Imbalance => Self::Loss(loss(MILLS_DB).0, loss(MILLS_DB).1, most),
            What::Dead => Self::Loss(DEAD_LOSS_DB, DEAD_LOSS_DB, f64::INFINITY),
            What::ComesAndGoes => {
                Self::LossNowAndThen(loss((SLIGHT_LOSS_DB, LOSS_RULE_DB)).0, loss((SLIGHT_LOSS_DB, LOSS_RULE_DB)).1)
            }
            What::Dull => Self::ResponseChange(loss(RESPONSE_DB).0, loss(RESPONSE_DB).1),
            What::Hum => Self::NotComputed,
        })
    }

    /// Whether only a reading taken while the contact moves can exclude it.
    #[must_use]
    pub fn needs_moved_reading(self) -> bool {
        matches!(self, Self::ResidueNowAndThen(..) | Self::LossNowAndThen(..))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn louder_listening_hears_smaller_residue_and_plain_is_ten_times_slight() {
        let at = |db, strength| Noticed::at(db, strength).unwrap();
        for db in [40.0, 60.0, 80.0, 100.0] {
            let (slight, plain) = (at(db, Strength::Slight), at(db, Strength::Plain));
            assert!(slight.never_below < slight.surely_from && slight.surely_from < 0.1);
            assert_eq!(plain.never_below, 10.0 * slight.never_below);
            assert_eq!(plain.surely_from, 10.0 * slight.surely_from);
            assert!(at(db + 1.0, Strength::Slight).never_below < slight.never_below);
        }
        // the threshold in quiet decides: 20 dB quieter takes ten times the ratio
        let (loud, quiet) = (at(80.0, Strength::Slight), at(60.0, Strength::Slight));
        assert!((quiet.never_below / loud.never_below / 10.0 - 1.0).abs() < 1e-12);
    }

    #[test]
    fn what_excludes_counts_on_no_masking_and_what_accuses_takes_every_model() {
        use crate::hearing::audible::{Verdict, audible};
        use crate::hearing::masking::{Kind, Masker};
        use crate::hearing::residue::{Line, programme, ratio_level_db};
        // the lowest of the published thresholds, ISO 389-7 free field at 3150 Hz: -6.0 dB SPL [seen]
        let noticed = Noticed::at(80.0, Strength::Slight).unwrap();
        assert!((ratio_level_db(noticed.never_below, 80.0) + 6.0).abs() < 1e-9);
        let tone = |frequency_hz| vec![Masker { frequency_hz, level_db: 80.0, kind: Kind::Tone }];
        let says = |beside: &[Masker], ratio: f64, hz: f64| {
            let line = Line { frequency_hz: hz, level_db: ratio_level_db(ratio, 80.0) };
            audible(beside, &[line], &[], &Listener::default()).unwrap().over_all.verdict
        };
        let places: Vec<f64> = (0..=400).map(|k| 20.0 * 800f64.powf(f64::from(k) / 400.0)).chain([3150.0]).collect();
        for beside in [vec![], tone(100.0), tone(1e3), tone(5e3), programme(80.0).unwrap()] {
            let below = |&hz: &f64| says(&beside, 0.9999 * noticed.never_below, hz) == Verdict::Inaudible;
            assert!(places.iter().all(below));
        }
        assert_ne!(says(&[], 1.0001 * noticed.never_below, 3150.0), Verdict::Inaudible);
        // the other end: plain by every model at its best place beside the tone, and nowhere a tenth of a decibel lower
        let plain = |ratio: f64| places.iter().any(|&hz| says(&tone(1e3), ratio, hz) == Verdict::Plain);
        assert!(plain(1.02 * noticed.surely_from) && !plain(0.98 * noticed.surely_from));
        assert!(noticed.never_below < noticed.surely_from);
    }

    #[test]
    fn losses_accuse_by_the_other_end_of_what_is_noticed() {
        use crate::bench::Channel;
        let noticed = Noticed::at(80.0, Strength::Slight).unwrap();
        let of = |what, strength, loss_db| {
            let heard = Heard {
                route: "r".into(),
                channel: Channel::Left,
                what,
                strength,
                output_v: None,
                level_db: None,
                residue: None,
                loss_db,
                goes_away: vec![],
                comes_back: vec![],
                in_pauses: None,
                line: 1,
            };
            Need::of(&heard, noticed).unwrap()
        };
        assert_eq!(of(What::Quieter, Strength::Slight, None), Need::Loss(0.5, 1.5, f64::INFINITY));
        assert_eq!(of(What::Imbalance, Strength::Slight, None), Need::Loss(0.5, 1.0, f64::INFINITY));
        assert_eq!(of(What::Quieter, Strength::Plain, None), Need::Loss(1.0, 3.0, f64::INFINITY));
        assert_eq!(of(What::Quieter, Strength::Plain, Some((0.4, 0.8))), Need::Loss(0.4, 0.4, 0.8));
        // a change of 0.2 dB over a part of the band was told in comparison: nothing below is excluded wrongly
        assert_eq!(of(What::Dull, Strength::Slight, None), Need::ResponseChange(0.2, 1.0));
        assert_eq!(of(What::ComesAndGoes, Strength::Plain, None), Need::LossNowAndThen(1.0, 3.0));
    }

    #[test]
    fn levels_that_are_refused_or_marked() {
        for bad in [19.9, 110.1, -300.0, f64::NAN, f64::NEG_INFINITY, f64::INFINITY] {
            assert_eq!(Noticed::at(bad, Strength::Plain).unwrap_err().place, "level_db", "{bad}");
        }
        let marked = [20.0, 100.0, 100.1, 110.0].map(|db| Noticed::at(db, Strength::Slight).unwrap().extrapolated);
        assert_eq!(marked, [false, false, true, true]);
    }

    #[test]
    fn a_measured_residue_comes_before_any_model() {
        let heard = Heard {
            route: "disc".into(),
            channel: crate::bench::Channel::Left,
            what: What::Grit,
            strength: Strength::Plain,
            output_v: None,
            level_db: None,
            residue: Some((0.01, 0.014)),
            loss_db: None,
            goes_away: vec![],
            comes_back: vec![],
            in_pauses: None,
            line: 1,
        };
        let noticed = Noticed::at(80.0, Strength::Plain).unwrap();
        assert_eq!(Need::of(&heard, noticed), Some(Need::Residue(0.01, 0.014)));
        let unmeasured = Heard { residue: None, ..heard };
        assert_eq!(Need::of(&unmeasured, noticed), Some(Need::Residue(noticed.never_below, noticed.surely_from)));
    }
}
