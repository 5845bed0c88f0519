//! What makes a symptom go, come and stay, and how often it does, given who is at fault and in what way.

use super::causes::{Cause, Hypothesis};
use super::crossover::crossover;
use super::deeds::Deeds;
use super::scene::{On, Suspect};
use crate::physics::Film;
use std::f64::consts::SQRT_2;

/// How much louder "turned up" is \[assumption\]: 12 dB.
pub const TURNED_UP: f64 = 4.0;

/// Chances that a cure works, given who is at fault \[assumption, after common practice\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cures {
    /// turned up
    pub turned_up: f64,
    /// switch worked
    pub worked: f64,
    /// tapped
    pub tapped: f64,
    /// warmed up
    pub warmed: f64,
    /// after an ohmmeter
    pub metered: f64,
    /// comes back after a night or a rest
    pub rest: f64,
    /// comes when tapped
    pub by_tapping: f64,
    /// comes when a control is turned or a switch worked
    pub by_turning: f64,
    /// heard while nothing plays
    pub in_pauses: f64,
}

impl Cures {
    /// Where nobody knows what it is: a cure works by chance, and one fault of two needs no signal \[assumption\].
    pub const BY_CHANCE: Self = Self {
        turned_up: 0.05,
        worked: 0.05,
        tapped: 0.05,
        warmed: 0.05,
        metered: 0.05,
        rest: 0.05,
        by_tapping: 0.05,
        by_turning: 0.05,
        in_pauses: 0.5,
    };
}

impl Cause {
    /// Whether more signal leaves less than half of the residue, unbroken: a tunnelling film of many times its loop carries so much that the
    /// rest of the loop decides. So many times the signal is as a scale that is so many times smaller.
    fn shorts_itself(&self, deeds: &Deeds, louder: f64) -> bool {
        let Film::Tunnelling { resistance_ohm, scale_v } = self.film else { return false };
        let residue = |scale_v: f64| deeds.of(&Film::Tunnelling { resistance_ohm, scale_v }).residue;
        louder > 1.0 && residue(scale_v / louder) < 0.5 * residue(scale_v)
    }

    /// Chances that each cure works, on a route.
    #[must_use]
    pub fn cures(&self, suspect: &Suspect, on: &On) -> Cures {
        let none = Cures {
            turned_up: 0.03,
            worked: 0.03,
            tapped: 0.05,
            warmed: 0.1,
            metered: 0.02,
            rest: 0.05,
            by_tapping: 0.05,
            by_turning: 0.03,
            in_pauses: 0.02,
        };
        let worked = if suspect.workable { 0.6 } else { 0.05 };
        let by_turning = |chance: f64| if suspect.workable { chance } else { 0.03 };
        let louder = if on.follows_hand { TURNED_UP } else { 1.0 };
        match (self.hypothesis, &on.deeds) {
            (Hypothesis::Crossover, _) => {
                let peak = SQRT_2 * on.level_v;
                let table = crossover();
                let falls = table.residue(self.quiescent, TURNED_UP * peak) < 0.5 * table.residue(self.quiescent, peak);
                Cures { turned_up: if falls { 0.7 } else { 0.05 }, warmed: 0.3, ..none }
            }
            (Hypothesis::DirectVoltage, _) => Cures { by_turning: 0.9, in_pauses: 0.7, ..none },
            // its own noise does not grow with the signal that the hand lets through
            (Hypothesis::Noise, _) => {
                let turned_up = if louder > 1.0 { 0.4 } else { 0.03 };
                Cures { turned_up, tapped: 0.1, in_pauses: 0.9, ..none }
            }
            (Hypothesis::Fault, _) | (_, None) => {
                let covered = self.covered_when_louder && louder > 1.0 && self.other.grit > 0.0;
                Cures { turned_up: if covered { 0.4 } else { 0.03 }, tapped: 0.1, in_pauses: 0.3, ..none }
            }
            (Hypothesis::Chatter, Some(deeds)) => {
                let breaks = deeds.open_peak_v * louder > self.frit_v && louder > 1.0;
                let turned_up = if breaks { 0.2 } else { 0.03 };
                Cures {
                    turned_up,
                    worked,
                    tapped: 0.4,
                    warmed: 0.1,
                    metered: 0.2,
                    rest: 0.2,
                    by_tapping: 0.5,
                    by_turning: by_turning(0.6),
                    // what jumps with nothing through it is silent
                    in_pauses: if suspect.direct_current { 0.5 } else { none.in_pauses },
                }
            }
            (Hypothesis::Bridged, _) => Cures { worked, rest: 0.3, ..none },
            (_, Some(deeds)) => {
                let across = deeds.across_v(self.resistance_ohm);
                let breaks = louder > 1.0 && louder * across > self.frit_v;
                let film = self.hypothesis != Hypothesis::Ohmic;
                Cures {
                    turned_up: if breaks && film || self.shorts_itself(deeds, louder) { 0.7 } else { 0.03 },
                    worked,
                    tapped: 0.15,
                    warmed: 0.1,
                    metered: if film && suspect.readings.iter().any(|r| !r.dry) { 0.6 } else { 0.02 },
                    rest: if film { 0.5 } else { 0.1 },
                    by_tapping: 0.1,
                    by_turning: by_turning(0.15),
                    ..none
                }
            }
        }
    }
}
