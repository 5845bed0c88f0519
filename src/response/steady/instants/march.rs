//! Steps through a period, each solved for all its stages by Newton's method, short where the waveform is quick.
//!
//! The unknown of each part is its wave ([`Element`](super::element::Element)), a polynomial of the step; what stores goes on where
//! the step before ended. The rows hold at Radau's points, and between them their rest says whether the step was short enough.

use super::loops::Loops;
use super::radau::{Basis, POINTS, STAGES};
use super::twofold::Twofold;
use super::ways::{Left, Ways};
use crate::watch::Watch;

/// A step: its start and length in periods, and the waves of all parts at its start and its stages.
#[derive(Debug, Clone)]
pub struct Step {
    /// start
    pub from: f64,
    /// length
    pub length: f64,
    /// waves, point by point
    pub wave_v: Vec<f64>,
    /// the same less those at the start: of a short step the sum would lose the digits
    pub risen_v: Vec<f64>,
    /// what the waves at the start have below their last places
    pub low_v: Vec<f64>,
}

impl Step {
    fn new(from: f64, length: f64, left: &[Twofold], rise: &[f64]) -> Self {
        let mut step = Self {
            from,
            length,
            wave_v: Vec::with_capacity((STAGES + 1) * left.len()),
            risen_v: Vec::with_capacity((STAGES + 1) * left.len()),
            low_v: left.iter().map(|wave| wave.low).collect(),
        };
        for place in POINTS {
            step.risen_v.extend(rise.iter().map(|rise| rise * length * place));
            step.wave_v.extend(left.iter().zip(rise).map(|(wave, rise)| wave.plus(rise * length * place).high));
        }
        step
    }

    /// A part's wave where these weights, whose sum is one, say.
    #[inline]
    #[must_use]
    pub fn wave(&self, i: usize, weights: &[f64; STAGES + 1]) -> f64 {
        let parts = self.low_v.len();
        let risen: f64 = (0..=STAGES).map(|l| weights[l] * self.risen_v[l * parts + i]).sum();
        self.wave_v[i] + (self.low_v[i] + risen)
    }

    /// A part's wave at the end.
    #[must_use]
    pub fn end(&self, i: usize) -> Twofold {
        let parts = self.low_v.len();
        Twofold { high: self.wave_v[i], low: self.low_v[i] }.plus(self.risen_v[STAGES * parts + i])
    }
}

/// A march through one period.
#[derive(Debug, Clone, Default)]
pub struct March {
    /// the steps
    pub steps: Vec<Step>,
    /// change of what stores at the end per change at the start, row by row
    pub carry: Vec<f64>,
}

/// Newton steps of one step, and of the first.
const MOST_NEWTON: usize = 10;
const MOST_FIRST: usize = 60;

/// Step of Newton, relative to the EMF, after which one more is the last.
const NEARLY: f64 = 1e-8;

/// The same after which there is nothing left to win; between them one more is taken for as long as each is this much shorter.
const DONE: f64 = 1e-12;
const SHORTER: f64 = 0.01;

/// Shortest step, periods, and that which looks where waves begin.
const SHORTEST: f64 = 1e-17;
const FIRST: f64 = 1e-14;

/// Longest step, periods.
const LONGEST: f64 = 1.0 / 48.0;

/// Steps that the error allowed is meant for.
const USUAL_STEPS: f64 = 400.0;

/// Steps of a period before giving up.
const MOST_STEPS: usize = 6_000;
/// The same where nothing else is left to try.
pub const MOST_AT_WORST: usize = 60_000;

/// Rest of the rows over the rounding of their terms below which it is taken for rounding.
const NOISE: f64 = 16.0;

/// Where in the step the rest of the rows is looked at.
const LOOKED_AT: [f64; 3] = [0.15, 0.43, 0.74];

/// Loops and nodes of the longest chain that is taken.
pub const MOST_PARTS: usize = 32;

/// Start of the period: the EMF goes through zero.
pub const BEGIN: f64 = -0.25;

/// Buffers of marches.
pub struct Marcher<'w> {
    parts: usize,
    slope: [[f64; STAGES + 1]; STAGES + 1],
    looked: [Basis; 3],
    matrix: Vec<f64>,
    pivots: Vec<usize>,
    right: Vec<f64>,
    change: Vec<f64>,
    starts: Vec<f64>,
    /// which parts store
    pub stores: Vec<usize>,
    /// who makes the rows hold that neither store nor lose
    pub ways: Ways,
    /// steps solved so far
    pub spent: usize,
    /// steps of a period before giving up
    pub most_steps: usize,
    /// how far into the period the last march came, periods
    pub came: f64,
    watch: &'w dyn Watch,
}

impl<'w> Marcher<'w> {
    /// For a chain.
    pub fn new(loops: &Loops, watch: &'w dyn Watch) -> Self {
        let parts = loops.parts.len();
        let size = STAGES * parts;
        let mut slope = [[0.0; STAGES + 1]; STAGES + 1];
        for (j, row) in slope.iter_mut().enumerate() {
            *row = Basis::at(POINTS[j]).slope;
        }
        Self {
            parts,
            slope,
            looked: LOOKED_AT.map(Basis::at),
            matrix: vec![0.0; size * size],
            pivots: vec![0; size],
            right: vec![0.0; size],
            change: vec![0.0; size],
            starts: vec![f64::NAN; size],
            stores: (0..parts).filter(|&i| loops.parts[i].stored > 0.0).collect(),
            ways: Ways::new(loops),
            spent: 0,
            most_steps: MOST_STEPS,
            came: 0.0,
            watch,
        }
    }

    /// Whether the watch says stop.
    #[must_use]
    pub fn stopped(&self) -> bool {
        self.watch.stop()
    }

    /// Rows and their matrix at the stages of a step.
    fn fill(&mut self, loops: &Loops, step: &Step) {
        let (m, size) = (self.parts, STAGES * self.parts);
        self.matrix.fill(0.0);
        let (mut y, mut dy) = ([0.0; MOST_PARTS], [0.0; MOST_PARTS]);
        for (j, place) in POINTS.into_iter().enumerate().skip(1) {
            let mut row_rest = [0.0; MOST_PARTS];
            let mut own = [0.0; MOST_PARTS];
            for i in 0..m {
                let part = &loops.parts[i];
                let at = (j - 1) * m + i;
                let wave = step.wave_v[j * m + i];
                let stand = part.element.at(wave, &mut self.starts[at]);
                (y[i], dy[i]) = (stand.y, stand.dy);
                row_rest[i] = part.lost * stand.y + stand.f;
                own[i] = part.lost * stand.dy + stand.df;
                if part.stored > 0.0 {
                    let per_step = part.stored / step.length;
                    let rise: f64 = (0..=STAGES).map(|l| self.slope[j][l] * step.risen_v[l * m + i]).sum();
                    row_rest[i] += per_step * stand.dy * rise;
                    if part.element.has_films() {
                        // change of the slope: a difference will do, it only steers
                        let nudge = 1e-6 * wave.abs().max(1e-3);
                        let mut start = self.starts[at];
                        let bend = (part.element.at(wave + nudge, &mut start).dy - stand.dy) / nudge;
                        own[i] += per_step * bend * rise;
                    }
                    for l in 1..=STAGES {
                        self.matrix[at * size + (l - 1) * m + i] += part.row * per_step * stand.dy * self.slope[j][l];
                    }
                }
            }
            for i in 0..m {
                let part = &loops.parts[i];
                let at = (j - 1) * m + i;
                let from = step.from + place * step.length;
                let rest = row_rest[i] + loops.neighbours(|n| y[n], i) - loops.source_v(i, from);
                self.right[at] = -part.row * rest;
                self.matrix[at * size + at] += part.row * own[i];
                if i + 1 < m {
                    self.matrix[at * size + at + 1] += part.row * dy[i + 1];
                }
                if i > 0 {
                    self.matrix[at * size + at - 1] -= part.row * dy[i - 1];
                }
            }
        }
    }

    /// Solves the stages of a step from what they are; `false` where Newton's method does not come near.
    pub fn solve(&mut self, loops: &Loops, step: &mut Step, first: bool) -> bool {
        let m = self.parts;
        self.spent += 1;
        let most = if first { MOST_FIRST } else { MOST_NEWTON };
        let mut before = f64::INFINITY;
        let mut last = false;
        for _ in 0..most {
            self.fill(loops, step);
            if !decompose(&mut self.matrix, &mut self.pivots) {
                return false;
            }
            self.change.copy_from_slice(&self.right);
            substitute(&self.matrix, &self.pivots, &mut self.change);
            let size = self.change.iter().fold(0.0f64, |most, x| most.max(x.abs()));
            if !size.is_finite() || !first && size > 4.0 * before.max(0.01 * loops.emf_peak_v) {
                return false;
            }
            let (start, stages) = step.wave_v.split_at_mut(m);
            for ((n, change), wave) in self.change.iter().enumerate().zip(stages) {
                let risen = &mut step.risen_v[m + n];
                *risen += change;
                *wave = start[n % m] + (step.low_v[n % m] + *risen);
            }
            if last && (size <= DONE * loops.emf_peak_v || size > SHORTER * before) {
                return true;
            }
            last |= size <= NEARLY * loops.emf_peak_v;
            before = size;
        }
        last
    }

    /// What each row leaves over at a place of a step, see [`Ways::rest`].
    pub fn rest(
        &mut self,
        loops: &Loops,
        step: &Step,
        basis: &Basis,
        place: f64,
        each: &mut impl FnMut(usize, Left),
    ) -> f64 {
        self.ways.rest(loops, step, (basis, place), &mut self.starts, each)
    }

    /// Puts what does not store where what stores asks it to be at the start of the period, if waves go through the starts of steps.
    fn begin(&mut self, loops: &Loops, start: &[Twofold]) -> Vec<Twofold> {
        let mut start = start.to_vec();
        if self.ways.unbroken {
            let mut step = Step::new(BEGIN, FIRST, &start, &vec![0.0; self.parts]);
            if self.solve(loops, &mut step, true) {
                // at the start itself: by the end of even the shortest step what stores has gone on
                let basis = Basis::at(0.0);
                for i in (0..self.parts).filter(|&i| loops.parts[i].stored == 0.0) {
                    let risen: f64 = (1..=STAGES).map(|l| basis.free[l] * step.risen_v[l * self.parts + i]).sum();
                    start[i] = start[i].plus(risen);
                }
            }
        }
        start
    }

    /// One period from waves at its start, steps as short as `allowed_v` of output error asks; `None` where it gets stuck.
    pub fn march(&mut self, loops: &Loops, start: &[Twofold], per_row: &[f64], allowed_v: f64) -> Option<March> {
        let m = self.parts;
        let mut march = March { steps: Vec::new(), carry: identity(self.stores.len()) };
        let end = BEGIN + 1.0;
        let mut from = Twofold { high: BEGIN, low: 0.0 };
        let mut length: f64 = 1e-3;
        let mut left = self.begin(loops, start);
        let mut rise = vec![0.0; m];
        let target = allowed_v / USUAL_STEPS.sqrt();
        while from.high < end {
            self.came = from.high - BEGIN;
            if march.steps.len() > self.most_steps || length < SHORTEST || self.stopped() {
                return None;
            }
            length = length.min(LONGEST);
            let is_last = from.high + length * 1.01 >= end;
            if is_last {
                length = Twofold { high: end, low: 0.0 }.minus(from);
            }
            let first = march.steps.is_empty();
            let mut step = Step::new(from.high, length, &left, &rise);
            if !self.solve(loops, &mut step, first) {
                length *= if first { 0.1 } else { 0.25 };
                continue;
            }
            let (mut square, mut rounding) = (0.0f64, 0.0f64);
            for (k, place) in LOOKED_AT.into_iter().enumerate() {
                let (mut sum, mut sizes) = (0.0, 0.0);
                let basis = self.looked[k];
                let given = self.rest(loops, &step, &basis, place, &mut |i, left| {
                    sum += (per_row[i] * left.rest).abs();
                    sizes += per_row[i] * left.size;
                });
                sum += given.abs();
                // a law that has no such place says nothing: not a number is the largest error
                square = if sum.is_nan() { f64::INFINITY } else { square.max(sum * sum) };
                rounding = rounding.max(f64::EPSILON * sizes);
            }
            let error = (length * square).sqrt();
            // shorter steps do not help where rounding is all that is left
            let error = if square.sqrt() < NOISE * rounding { 0.0 } else { error };
            let factor = if error > 0.0 { (0.8 * (target / error).powf(1.0 / 5.5)).clamp(0.1, 3.0) } else { 3.0 };
            if error > 1.5 * target && length > 10.0 * SHORTEST && factor < 0.95 {
                length *= factor.min(0.8);
                continue;
            }
            self.carry(loops, &step, &mut march.carry);
            for i in 0..m {
                left[i] = step.end(i);
                rise[i] = (0..=STAGES).map(|l| self.slope[STAGES][l] * step.risen_v[l * m + i]).sum::<f64>() / length;
                if loops.parts[i].stored == 0.0 {
                    rise[i] = (step.risen_v[STAGES * m + i] - step.risen_v[(STAGES - 1) * m + i])
                        / (length * (1.0 - POINTS[STAGES - 1]));
                }
            }
            from = if is_last { Twofold { high: end, low: 0.0 } } else { from.plus(length) };
            march.steps.push(step);
            length *= factor;
        }
        Some(march)
    }

    /// The same period again on the steps of another march, from other waves at its start.
    pub fn again(&mut self, loops: &Loops, start: &[Twofold], march: &mut March) -> bool {
        let m = self.parts;
        let mut left = start.to_vec();
        march.carry = identity(self.stores.len());
        let mut steps = std::mem::take(&mut march.steps);
        let mut good = true;
        for (k, step) in steps.iter_mut().enumerate() {
            for (n, wave) in step.wave_v.iter_mut().enumerate() {
                *wave = left[n % m].plus(step.risen_v[n]).high;
            }
            step.low_v.iter_mut().zip(&left).for_each(|(low, left)| *low = left.low);
            good = good && !self.stopped() && self.solve(loops, step, k == 0);
            if !good {
                break;
            }
            self.carry(loops, step, &mut march.carry);
            left.iter_mut().enumerate().for_each(|(i, left)| *left = step.end(i));
        }
        march.steps = steps;
        good
    }

    /// Takes a step's share into what the end changes per change at the start; the matrix is that of the last Newton step.
    fn carry(&mut self, loops: &Loops, step: &Step, carry: &mut [f64]) {
        let (m, count) = (self.parts, self.stores.len());
        let mut columns = vec![0.0; count * count];
        for c in 0..count {
            let i = self.stores[c];
            let part = &loops.parts[i];
            self.change.fill(0.0);
            for j in 1..=STAGES {
                let mut start = self.starts[(j - 1) * m + i];
                let dy = part.element.at(step.wave_v[j * m + i], &mut start).dy;
                self.change[(j - 1) * m + i] = -part.row * part.stored / step.length * dy * self.slope[j][0];
            }
            substitute(&self.matrix, &self.pivots, &mut self.change);
            for r in 0..count {
                columns[r * count + c] = self.change[(STAGES - 1) * m + self.stores[r]];
            }
        }
        let before = carry.to_vec();
        for r in 0..count {
            for c in 0..count {
                carry[r * count + c] = (0..count).map(|k| columns[r * count + k] * before[k * count + c]).sum();
            }
        }
    }
}

fn identity(size: usize) -> Vec<f64> {
    let mut one = vec![0.0; size * size];
    (0..size).for_each(|i| one[i * size + i] = 1.0);
    one
}

/// Gauss's elimination in place with the largest pivot of each column; `false` for a matrix without an inverse.
fn decompose(matrix: &mut [f64], pivots: &mut [usize]) -> bool {
    let n = pivots.len();
    for k in 0..n {
        let mut best = k;
        for i in k + 1..n {
            if matrix[i * n + k].abs() > matrix[best * n + k].abs() {
                best = i;
            }
        }
        pivots[k] = best;
        if best != k {
            for j in 0..n {
                matrix.swap(k * n + j, best * n + j);
            }
        }
        let pivot = matrix[k * n + k];
        if pivot == 0.0 || !pivot.is_finite() {
            return false;
        }
        let (above, below) = matrix.split_at_mut((k + 1) * n);
        let row = &above[k * n + k + 1..];
        for line in below.chunks_exact_mut(n) {
            if line[k] != 0.0 {
                let factor = line[k] / pivot;
                line[k] = factor;
                for (x, y) in line[k + 1..].iter_mut().zip(row) {
                    *x -= factor * y;
                }
            }
        }
    }
    true
}

fn substitute(matrix: &[f64], pivots: &[usize], right: &mut [f64]) {
    let n = pivots.len();
    for (k, &pivot) in pivots.iter().enumerate() {
        right.swap(k, pivot);
    }
    for i in 0..n {
        let sum: f64 = matrix[i * n..i * n + i].iter().zip(&right[..i]).map(|(a, x)| a * x).sum();
        right[i] -= sum;
    }
    for i in (0..n).rev() {
        let sum: f64 = matrix[i * n + i + 1..(i + 1) * n].iter().zip(&right[i + 1..]).map(|(a, x)| a * x).sum();
        right[i] = (right[i] - sum) / matrix[i * n + i];
    }
}

#[cfg(test)]
mod kept;
