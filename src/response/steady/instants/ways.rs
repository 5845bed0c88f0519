//! What the rows leave over between the points of a step, once those that nothing would bound are made to hold.
//!
//! A row that neither stores nor loses bounds nothing that it leaves over, so it must leave nothing, at any instant. Its part is
//! put where its neighbours ask it to be, along its film's law; or a neighbour gives way instead: one that stores nothing at once, one that stores
//! with the slope of what it gives, which its own row then has over. That needs waveforms without breaks: all go through the start of their
//! steps then, are closed over the period (`Period::close`), and which of the two it is does not change on the way. Where the film is next
//! to nothing its law would make an ampere of rounding, and the neighbour's way is the better one. The answered node may give way too, or go along its
//! own film: how far it moves is told and counted as an error of the output.

use super::element::{Element, Stand};
use super::loops::Loops;
use super::march::{MOST_PARTS, Step};
use super::radau::{Basis, STAGES};

/// Change of a waveform's slope over a step, of what it misses over the step, and usual steps of a period: for the choice of a way, no more.
const SLOPE: f64 = 5.0;
const USUAL_STEPS: f64 = 400.0;

/// Steps towards where a law is asked to be.
const MOST_ASKED: usize = 8;

/// Roundings of what is summed within which a law is met.
const MET: f64 = 32.0 * f64::EPSILON;

/// What makes a row hold that neither stores nor loses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Way {
    /// the part goes along its own film
    Law,
    /// this neighbour gives way
    Gives(usize),
    /// whichever leaves less over at the instant: a neighbour that nobody else counts on and that stores nothing
    Either(usize),
}

/// What a row leaves over at an instant.
#[derive(Debug, Clone, Copy, Default)]
pub struct Left {
    /// V in a loop, A at a node
    pub rest: f64,
    /// size of what it is the sum of
    pub size: f64,
    /// wave of the part, moved so that the rows hold which must
    pub wave_v: f64,
}

/// The ways of a chain.
#[derive(Debug, Clone, Default)]
pub struct Ways {
    /// of each row that is made to hold
    pub of: Vec<Option<Way>>,
    /// whether all waves go through the start of their steps
    pub unbroken: bool,
    /// the node that is answered
    answered: Option<usize>,
}

impl Ways {
    /// For a chain. A row between two others of its kind has none, nor one without a film and without a neighbour that can.
    #[must_use]
    pub fn new(loops: &Loops) -> Self {
        let count = loops.parts.len();
        let idle = |i: usize| i > 0 && i < count && loops.parts[i].stored == 0.0 && loops.parts[i].lost == 0.0;
        let answered = |n: usize| n == loops.output || loops.output_ohm.is_some() && n == loops.output + 1;
        let of = |i: usize| {
            if !idle(i) {
                return None;
            }
            let beside = idle(i - 1) || idle(i + 1);
            // rows are made to hold from the last to the first: one further on must not have its neighbour moved after it
            let can = |n: usize| {
                let part = &loops.parts[n];
                let moves = part.stored > 0.0 || part.lost > 0.0 || part.element.has_films();
                let must_not = n > i && idle(n + 1) || answered(n) && loops.output_ohm.is_some();
                moves && !idle(n) && !must_not
            };
            let both = [i - 1, i + 1].into_iter().filter(|&n| n < count && can(n));
            // rather one that stores nothing, has no films, and is not the answer
            let rank = |n: usize| {
                let part = &loops.parts[n];
                let shared = n < i && i > 1 && idle(i - 2);
                (answered(n), part.stored > 0.0, shared, part.element.has_films())
            };
            let gives = both.min_by_key(|&n| rank(n));
            // what is answered may move where that is counted
            let stays = answered(i) && loops.output_ohm.is_some();
            let by_law = !beside && !stays && loops.parts[i].element.has_films();
            match gives {
                None => by_law.then_some(Way::Law),
                Some(n) if !by_law => Some(Way::Gives(n)),
                Some(n) if loops.parts[n].stored == 0.0 && !(n < i && i > 1 && idle(i - 2)) => Some(Way::Either(n)),
                // waveforms must not jump: one choice for all of the period
                Some(n) => Some(if gives_less(loops, i, n) { Way::Gives(n) } else { Way::Law }),
            }
        };
        let of: Vec<Option<Way>> = (0..count).map(of).collect();
        let stores = |way: &Way| matches!(way, Way::Gives(n) if loops.parts[*n].stored > 0.0);
        let unbroken = of.iter().flatten().any(stores);
        Self { of, unbroken, answered: loops.output_ohm.is_none().then_some(loops.output) }
    }

    /// Weights of a part's wave at a place.
    #[must_use]
    pub fn weights<'a>(&self, loops: &Loops, i: usize, basis: &'a Basis) -> &'a [f64; STAGES + 1] {
        if self.unbroken || loops.parts[i].stored > 0.0 { &basis.stored } else { &basis.free }
    }

    /// What each row leaves over at a place of a step; returns what the answered node was moved by.
    pub fn rest(
        &self,
        loops: &Loops,
        step: &Step,
        (basis, place): (&Basis, f64),
        starts: &mut [f64],
        each: &mut impl FnMut(usize, Left),
    ) -> f64 {
        let (at, given) = self.here(loops, step, basis, starts);
        let period = step.from + place * step.length;
        for i in 0..loops.parts.len() {
            let wave_v = at.wave[i];
            if self.of[i].is_some() {
                each(i, Left { rest: 0.0, size: 0.0, wave_v });
                continue;
            }
            let around = loops.neighbours(|n| if n > i { at.y[n].abs() } else { -at.y[n].abs() }, i);
            // rounding of the instant is that of the peak
            let source_v = if i == 0 { loops.emf_peak_v } else { 0.0 };
            let rest = at.rest[i] + loops.neighbours(|n| at.y[n], i) - loops.source_v(i, period);
            each(i, Left { rest, size: at.size[i] + around + source_v, wave_v });
        }
        given
    }

    /// All parts at a place of a step, moved so that the rows hold which must, and what the answered node was moved by.
    fn here(&self, loops: &Loops, step: &Step, basis: &Basis, starts: &mut [f64]) -> (Here, f64) {
        let m = loops.parts.len();
        let mut at = Here::default();
        for (i, start) in starts.iter_mut().enumerate().take(m) {
            let part = &loops.parts[i];
            let weights = self.weights(loops, i, basis);
            let wave = step.wave(i, weights);
            let stand = part.element.at(wave, start);
            (at.wave[i], at.stand[i], at.y[i]) = (wave, stand, stand.y);
            at.rest[i] = part.lost * stand.y + stand.f;
            at.size[i] = wave.abs() * (part.lost * stand.dy + stand.df);
            if self.unbroken || part.stored > 0.0 {
                let rise: f64 = (0..=STAGES).map(|l| basis.slope[l] * step.risen_v[l * m + i]).sum();
                at.rise[i] = rise / step.length;
                at.turn[i] = stand.dy * at.rise[i];
                at.rest[i] += part.stored * at.turn[i];
                at.size[i] += (part.stored * at.turn[i]).abs();
            }
        }
        let mut given = 0.0;
        for i in (1..m).rev() {
            let Some(way) = self.of[i] else { continue };
            let asked = -loops.neighbours(|n| at.y[n], i);
            match way {
                Way::Gives(n) | Way::Either(n) if matches!(way, Way::Gives(_)) || at.is_less(loops, i, n) => {
                    let moved = at.give(loops, step, starts, (i, n), asked, self.unbroken);
                    if self.answered == Some(n) {
                        given += moved;
                    }
                }
                _ => {
                    let before = at.y[i];
                    at.ask(loops, starts, i, asked);
                    if self.answered == Some(i) {
                        given += at.y[i] - before;
                    }
                }
            }
        }
        (at, given)
    }
}

/// Whether what a neighbour gives leaves less over than what the film makes of the same, at rest or at the full EMF.
fn gives_less(loops: &Loops, i: usize, n: usize) -> bool {
    let (own, other) = (&loops.parts[i], &loops.parts[n]);
    let peak_v = loops.emf_peak_v;
    [0.0, peak_v, -peak_v].into_iter().any(|wave_v| {
        let own = own.element.at(wave_v, &mut f64::NAN.clone());
        let stand = other.element.at(wave_v, &mut f64::NAN.clone());
        (SLOPE * USUAL_STEPS * other.stored + other.lost + stand.df / stand.dy) * own.df < own.dy
    })
}

/// All parts at an instant.
struct Here {
    wave: [f64; MOST_PARTS],
    stand: [Stand; MOST_PARTS],
    y: [f64; MOST_PARTS],
    /// slope of the wave
    rise: [f64; MOST_PARTS],
    /// slope of `y`
    turn: [f64; MOST_PARTS],
    rest: [f64; MOST_PARTS],
    size: [f64; MOST_PARTS],
}

impl Default for Here {
    fn default() -> Self {
        let none = [0.0; MOST_PARTS];
        let stand = [Stand::default(); MOST_PARTS];
        Self { wave: none, stand, y: none, rise: none, turn: none, rest: none, size: none }
    }
}

impl Here {
    /// Whether what a neighbour that stores nothing gives leaves less over than what the film makes of the same.
    fn is_less(&self, loops: &Loops, i: usize, n: usize) -> bool {
        let (own, other) = (self.stand[i], self.stand[n]);
        (loops.parts[n].lost + other.df / other.dy) * own.df < own.dy
    }

    /// Moves `n` so that row `i` holds, along the law of its own films.
    fn give(
        &mut self,
        loops: &Loops,
        step: &Step,
        starts: &[f64],
        (i, n): (usize, usize),
        asked: f64,
        unbroken: bool,
    ) -> f64 {
        let sign = if n > i { 1.0 } else { -1.0 };
        let part = &loops.parts[n];
        let way = sign * (asked - self.stand[i].f);
        self.y[n] += way;
        self.rest[n] += part.lost * way;
        if part.element.has_films() {
            let before = self.stand[n].f;
            (self.stand[n], self.wave[n]) = self.along(&part.element, n, starts[n], way);
            self.rest[n] += self.stand[n].f - before;
        } else {
            self.wave[n] += way / self.stand[n].dy;
        }
        if unbroken {
            // rows that are made to hold after this one count on it, whether or not it stores
            let asked_turn = -loops.neighbours(|k| self.turn[k], i);
            let turn = sign * (asked_turn - self.stand[i].df * self.rise[i]);
            self.turn[n] += turn;
            self.rest[n] += part.stored * turn;
            // the slope of a difference has the rounding of its terms over the step
            let terms = self.stand[i].f.abs() + asked.abs() + self.y[n].abs();
            self.size[n] += part.stored / step.length * terms;
        }
        way
    }

    /// Where the films of `n` stand once it has moved, and its wave; by rounding, or what a short step misses, that is along a straight line. Not a
    /// number where their law has no such place.
    fn along(&self, element: &Element, n: usize, mut start: f64, way: f64) -> (Stand, f64) {
        let mut wave = self.wave[n] + way / self.stand[n].dy;
        for _ in 0..MOST_ASKED {
            let stand = element.at(wave, &mut start);
            let miss = self.y[n] - stand.y;
            let next = element.at(wave + miss / stand.dy, &mut start);
            let f = stand.f + stand.df / stand.dy * miss;
            if (next.f - f).abs() <= MET * (f.abs() + self.stand[n].f.abs() + next.df * wave.abs()) {
                return (Stand { f, ..stand }, wave + miss / stand.dy);
            }
            wave += miss / stand.dy;
        }
        (Stand { f: f64::NAN, ..self.stand[n] }, f64::NAN)
    }

    /// Puts part `i` where its neighbours ask it to be, along its own law; not a number where that has no such place.
    fn ask(&mut self, loops: &Loops, starts: &[f64], i: usize, asked: f64) {
        let element = &loops.parts[i].element;
        let around = loops.neighbours(|n| if n > i { self.y[n].abs() } else { -self.y[n].abs() }, i);
        // what rounding of the neighbours makes of the part
        let rounded = around * self.stand[i].dy / self.stand[i].df;
        let (mut wave, mut start, mut stand) = (self.wave[i], starts[i], self.stand[i]);
        (self.y[i], self.wave[i]) = (f64::NAN, f64::NAN);
        for _ in 0..MOST_ASKED {
            let change = (asked - stand.f) / stand.df;
            let next = element.at(wave + change, &mut start);
            if (next.f - asked).abs() <= MET * (around + next.df * wave.abs()) {
                self.y[i] = stand.y + stand.dy * change;
                self.wave[i] = wave + change;
                break;
            }
            wave += change;
            stand = next;
        }
        for n in [i - 1, i + 1].into_iter().filter(|&n| n < loops.parts.len()) {
            self.size[n] += rounded;
        }
    }
}

#[cfg(test)]
mod tests;
