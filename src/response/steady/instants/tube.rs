//! What the films visit, a little widened, and whether the true state is surely in there: then their slopes over it are all that the bound
//! of the error needs, in place of those anywhere on their laws.
//!
//! A film of a hundred megohms that sees microvolts is a plain resistance, and a proof that lets it be a short gives away twelve places. Let the waves of
//! the parts with films be widened by a little each. Scale what the rows leave over by `x` from 0 to 1: the difference `d` from the true state grows
//! from nothing, continuously, for there is one periodic state and no more. As long as no wave has left what it was widened by, slopes `s` are those of the tube:
//!
//! * over the period, each row times its `d` and summed, stores and neighbours cancel: `X^2 = sum <d_i, (D_i + s_i) d_i> <= sum |rho_i| |d_i|`, with
//!   `|d_i| <= X / sqrt(D_i + least)`; and a part that stores has its swing from its own row too, its mean, or all of it where the neighbour stores nothing,
//!   from a neighbour's
//! * the energy stored, on the average over the period at most `sum E_i |d_i|^2 / 2`, is nowhere larger than this and `sum |rho_i| |d_i|`
//! * parts in a row that store nothing obey the same sum at every instant, what stores beside them given, and each row ties its neighbours together
//!
//! If these say that no wave has left its room at 1, none has before. Instants are the ten points of each step: looked at, not enclosed, so half of the
//! room is kept for what is between them.

use super::loops::{Loops, Part};
use super::march::MOST_PARTS;
use super::ways::Left;
use std::f64::consts::TAU;

/// Rounding of slopes, relative: the least and the largest of a plain resistance must not meet.
const ROUNDING: f64 = 1e-9;

/// Share of its room that a wave may be off by at the points that are looked at: between them more may be left over.
const SPARE: f64 = 0.5;

/// Times that parts which store nothing hand on what bounds them.
const TIES: usize = 3;

/// What the rows of a march leave over, and the waves of its parts.
#[derive(Debug, Clone, Default)]
pub struct Rest {
    /// rms and mean of each row
    pub rows: Vec<(f64, f64)>,
    /// rms of what the answered node was moved by
    pub given: f64,
    /// least and largest wave of each part, V
    pub visited_v: Vec<(f64, f64)>,
}

/// Waves and slopes of each part.
#[derive(Debug, Clone)]
pub struct Tube {
    /// share of a wave, and of the wave at which its films begin to bend, that it is widened by
    width: f64,
    range_v: Vec<(f64, f64)>,
    /// least and largest slope of each part's films
    pub slopes: Vec<(f64, f64)>,
}

impl Tube {
    /// Around waves that are visited, widened by a share of each wave, and of the wave at which its films begin to bend.
    #[must_use]
    pub fn around(loops: &Loops, visited_v: &[(f64, f64)], width: f64) -> Self {
        let wider = |(part, &(low, high)): (&Part, &(f64, f64))| {
            (low - 2.0 * room_v(part, low, width), high + 2.0 * room_v(part, high, width))
        };
        let range_v: Vec<(f64, f64)> = loops.parts.iter().zip(visited_v).map(wider).collect();
        let slopes = loops.parts.iter().zip(&range_v).map(|(part, range)| slopes(part, *range)).collect();
        Self { width, range_v, slopes }
    }

    /// Whether the true state is in here: what `d` is over the period and where it stores, if a march with this rest stays a room away from the edge.
    #[must_use]
    pub fn reach(&self, loops: &Loops, rest: &Rest) -> Option<Reach> {
        let parts = &loops.parts;
        for (i, ((low, high), range)) in rest.visited_v.iter().zip(&self.range_v).enumerate() {
            // not a number is outside
            let room = |wave_v: f64| room_v(&parts[i], wave_v, self.width);
            let inside = low - room(*low) >= range.0 && high + room(*high) <= range.1;
            if parts[i].element.has_films() && !inside {
                return None;
            }
        }
        let rho = |i: usize| rest.rows[i].0;
        let lost = |i: usize| (parts[i].lost + self.slopes[i].0, parts[i].lost + self.slopes[i].1);
        // |d_i| <= of.0 X + of.1, and the same of its mean alone
        let none = (f64::INFINITY, 0.0);
        let from_loss = |i: usize| if lost(i).0 > 0.0 { (lost(i).0.sqrt().recip(), 0.0) } else { none };
        let mut of: Vec<(f64, f64)> = (0..parts.len()).map(from_loss).collect();
        let mut mean = of.clone();
        let beside = |i: usize| [i.checked_sub(1), (i + 1 < parts.len()).then_some(i + 1)].into_iter().flatten();
        for _ in 0..parts.len() {
            for i in (0..parts.len()).filter(|&i| parts[i].stored > 0.0) {
                for row in beside(i) {
                    let far = beside(row).find(|&far| far != i);
                    let through = |far: Option<(f64, f64)>| {
                        let far = far.unwrap_or_default();
                        (far.0 + lost(row).1.sqrt(), far.1 + rho(row))
                    };
                    mean[i] = less(mean[i], through(far.map(|far| mean[far])));
                    if parts[row].stored == 0.0 {
                        of[i] = less(of[i], through(far.map(|far| of[far])));
                    }
                }
                // its own row: what it swings by
                let around = beside(i).fold((lost(i).1.sqrt(), rho(i)), |sum, n| (sum.0 + of[n].0, sum.1 + of[n].1));
                let swing = TAU * parts[i].stored;
                of[i] = less(of[i], (mean[i].0 + around.0 / swing, mean[i].1 + around.1 / swing));
                mean[i] = less(mean[i], of[i]);
            }
        }
        if of.iter().any(|of| of.0.is_infinite()) {
            return None;
        }
        let sum = |each: &dyn Fn(usize) -> f64| (0..parts.len()).map(each).sum::<f64>();
        let x = sum(&|i| rho(i) * of[i].0) + sum(&|i| rho(i) * of[i].1).sqrt();
        let off = |i: usize| of[i].0 * x + of[i].1;
        let energy = sum(&|i| 0.5 * parts[i].stored * off(i).powi(2) + rho(i) * off(i));
        let peak = (0..parts.len()).map(|i| (parts[i].stored > 0.0).then(|| (2.0 * energy / parts[i].stored).sqrt()));
        Some(Reach { width: self.width, peak: peak.collect() })
    }
}

/// What a wave may be off by. A film that does not bend has all the room until it would.
fn room_v(part: &Part, wave_v: f64, width: f64) -> f64 {
    if part.element.has_films() { width * wave_v.abs().max(part.element.bends_at_v()) } else { 0.0 }
}

/// Least and largest slope of a part's films over waves.
fn slopes(part: &Part, (low_v, high_v): (f64, f64)) -> (f64, f64) {
    if !part.element.has_films() {
        return (0.0, 0.0);
    }
    let (least, most) = part.element.slopes_between(low_v, high_v);
    (least * (1.0 - ROUNDING), most * (1.0 + ROUNDING))
}

/// How far parts that store are off at most, at any instant.
#[derive(Debug, Clone)]
pub struct Reach {
    width: f64,
    peak: Vec<Option<f64>>,
}

impl Reach {
    /// Whether at an instant, with these waves and what the rows leave over there, no wave is off by all of its room.
    #[must_use]
    pub fn stays(&self, loops: &Loops, left: &[Left]) -> bool {
        let parts = &loops.parts;
        let count = parts.len();
        let (mut slope, mut room) = ([(0.0, 0.0); MOST_PARTS], [0.0; MOST_PARTS]);
        for (i, part) in parts.iter().enumerate() {
            let wave_v = left[i].wave_v;
            room[i] = room_v(part, wave_v, self.width);
            slope[i] = slopes(part, (wave_v - room[i], wave_v + room[i]));
        }
        let mut off = [0.0; MOST_PARTS];
        (0..count).for_each(|i| off[i] = self.peak[i].unwrap_or(f64::INFINITY));
        let mut first = 0;
        while first < count {
            let run = (first..count).take_while(|&i| self.peak[i].is_none());
            let end = first + run.count();
            let stored = |n: usize| self.peak.get(n).copied().flatten().unwrap_or(0.0);
            let square = |i: usize| {
                let right = left[i].rest.abs() + if i > 0 { stored(i - 1) } else { 0.0 } + stored(i + 1);
                right * right / (parts[i].lost + slope[i].0)
            };
            let size = (first..end).map(square).sum::<f64>().sqrt();
            (first..end).for_each(|i| off[i] = size / (parts[i].lost + slope[i].0).sqrt());
            first = end.max(first + 1);
        }
        // rows without stores tie their neighbours together, and are tied by them
        for _ in 0..TIES {
            for i in (0..count).filter(|&i| self.peak[i].is_none()) {
                let (before, next) =
                    (if i > 0 { off[i - 1] } else { 0.0 }, if i + 1 < count { off[i + 1] } else { 0.0 });
                let rest = left[i].rest.abs();
                off[i] = off[i].min((rest + before + next) / (parts[i].lost + slope[i].0));
                let apart = rest + (parts[i].lost + slope[i].1) * off[i];
                if i > 0 {
                    off[i - 1] = before.min(next + apart);
                }
                if i + 1 < count {
                    off[i + 1] = next.min(before + apart);
                }
            }
        }
        // of what a part is off by, what its wave is
        let wave = |i: usize| {
            let element = &parts[i].element;
            off[i] * if element.is_node { 1.0 + element.wave_ohm * slope[i].1 } else { element.wave_ohm + slope[i].1 }
        };
        (0..count).all(|i| !parts[i].element.has_films() || wave(i) < SPARE * room[i])
    }
}

/// The bound that counts less on what is not known.
fn less(one: (f64, f64), other: (f64, f64)) -> (f64, f64) {
    if other.0 < one.0 { other } else { one }
}

#[cfg(test)]
mod tests;
