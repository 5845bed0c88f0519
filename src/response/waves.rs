//! Waves of two tones as finite sums of lines, and samples of them over both tones' phases.
//!
//! A label `(k1, k2)` stands for the line at `k1 f1 + k2 f2`; means over time of tones without a common period are means over
//! the torus of their two phases.

use num_complex::Complex64;
use std::f64::consts::{SQRT_2, TAU};

/// Orders of a line in the lower and the upper tone.
pub(super) type Label = (i32, i32);

/// Samples of the torus from which weights and their inverse are taken; any choice is safe.
const GRID: (usize, usize) = (64, 40);

/// Largest labels of the inverse.
const INVERSE: Label = (30, 18);

/// A real wave: its lines, both signs of each, rms of a pair.
pub(super) type Wave = Vec<(Label, Complex64)>;

pub(super) fn push(wave: &mut Wave, label: Label, value: Complex64) {
    match wave.iter_mut().find(|line| line.0 == label) {
        Some(line) => line.1 += value,
        None => wave.push((label, value)),
    }
}

pub(super) fn cosine(label: Label, rms: Complex64) -> [(Label, Complex64); 2] {
    [(label, rms / SQRT_2), ((-label.0, -label.1), rms.conj() / SQRT_2)]
}

pub(super) fn product(a: &Wave, b: &Wave) -> Wave {
    let mut found = Wave::new();
    for (k, x) in a {
        for (l, y) in b {
            push(&mut found, (k.0 + l.0, k.1 + l.1), x * y);
        }
    }
    found
}

/// A wave of many lines as a table.
#[derive(Debug, Clone)]
pub(super) struct Table {
    lines: Vec<Complex64>,
    /// their magnitudes
    sizes: Vec<f64>,
}

impl Table {
    /// The mirror image: backwards in time.
    pub(super) fn mirrored(&self) -> Self {
        Self { lines: self.lines.iter().map(|c| c.conj()).collect(), sizes: self.sizes.clone() }
    }

    const WIDE: usize = 2 * INVERSE.0 as usize + 1;
    const SIZE: usize = Self::WIDE * (2 * INVERSE.1 as usize + 1);

    pub(super) fn at(&self, label: Label) -> Complex64 {
        if Self::holds(label) { self.lines[Self::place(label)] } else { Complex64::ZERO }
    }

    fn size(&self, label: Label) -> f64 {
        if Self::holds(label) { self.sizes[Self::place(label)] } else { 0.0 }
    }

    fn holds(label: Label) -> bool {
        label.0.abs() <= INVERSE.0 && label.1.abs() <= INVERSE.1
    }

    fn new(lines: Vec<Complex64>) -> Self {
        let sizes = lines.iter().map(|c| c.norm()).collect();
        Self { lines, sizes }
    }

    fn place(label: Label) -> usize {
        (label.1 + INVERSE.1) as usize * Self::WIDE + (label.0 + INVERSE.0) as usize
    }

    pub(super) fn one() -> Self {
        let mut lines = vec![Complex64::ZERO; Self::SIZE];
        lines[Self::SIZE / 2] = Complex64::ONE;
        Self::new(lines)
    }

    /// Mean of the product with two waves, on the torus.
    pub(super) fn mean(&self, x: &Wave, y: &Wave) -> f64 {
        let line = |k: Label| y.iter().map(|(l, b)| b * self.at((-k.0 - l.0, -k.1 - l.1))).sum::<Complex64>();
        x.iter().map(|(k, a)| (a * line(*k)).re).sum()
    }

    /// Most that labels which meet can add to that mean.
    pub(super) fn meeting(&self, x: &Wave, y: &Wave, meet: &[Label]) -> f64 {
        let of = |wave: &Wave| wave.iter().map(|(label, c)| (*label, c.norm())).collect::<Vec<_>>();
        let (x, y) = (of(x), of(y));
        let mut sum = 0.0;
        for m in meet {
            for (k, a) in &x {
                let with: f64 = y.iter().map(|(l, b)| b * self.size((m.0 - k.0 - l.0, m.1 - k.1 - l.1))).sum();
                sum += a * with;
            }
        }
        sum
    }
}

/// Values on the samples of the torus.
pub(super) struct Torus {
    /// turns of every sample for every line of an axis, from the most negative line on
    turns: [Vec<Complex64>; 2],
}

impl Torus {
    pub(super) fn new() -> Self {
        let turns = |n: usize, most: i32| {
            let step = move |k: i32, at: usize| Complex64::from_polar(1.0, TAU * f64::from(k * at as i32) / n as f64);
            (-most..=most).flat_map(|k| (0..n).map(move |at| step(k, at))).collect()
        };
        Self { turns: [turns(GRID.0, INVERSE.0), turns(GRID.1, INVERSE.1)] }
    }

    fn turned(&self, axis: usize, times: i32) -> &[Complex64] {
        let (n, most) = [(GRID.0, INVERSE.0), (GRID.1, INVERSE.1)][axis];
        let from = (times + most) as usize * n;
        &self.turns[axis][from..from + n]
    }

    pub(super) fn sampled(&self, wave: &Wave) -> Vec<f64> {
        let mut values = vec![0.0; GRID.0 * GRID.1];
        // a real wave has every line twice
        for (label, c) in wave.iter().filter(|(label, _)| *label >= (0, 0)) {
            let c = if *label == (0, 0) { *c } else { 2.0 * c };
            let (first, second) = (self.turned(0, label.0), self.turned(1, label.1));
            for (row, turn) in values.chunks_exact_mut(GRID.1).zip(first) {
                let from = c * turn;
                for (value, turn) in row.iter_mut().zip(second) {
                    *value += from.re * turn.re - from.im * turn.im;
                }
            }
        }
        values
    }

    /// The second axis of a line: one value for every sample of the first.
    fn rows(&self, values: &[f64], k2: i32) -> [Complex64; GRID.0] {
        let second = self.turned(1, -k2);
        let mut rows = [Complex64::ZERO; GRID.0];
        for (row, samples) in rows.iter_mut().zip(values.chunks_exact(GRID.1)) {
            *row = samples.iter().zip(second).map(|(v, turn)| turn * v).sum();
        }
        rows
    }

    fn over_rows(&self, rows: &[Complex64], k1: i32) -> Complex64 {
        let first = self.turned(0, -k1);
        rows.iter().zip(first).map(|(row, turn)| row * turn).sum::<Complex64>() / (GRID.0 * GRID.1) as f64
    }

    pub(super) fn line(&self, values: &[f64], label: Label) -> Complex64 {
        self.over_rows(&self.rows(values, label.1), label.0)
    }

    /// All lines of a table; those that a real wave has twice are computed once.
    fn table(&self, values: &[f64]) -> Table {
        let mut lines = vec![Complex64::ZERO; Table::SIZE];
        for k2 in 0..=INVERSE.1 {
            let rows = self.rows(values, k2);
            for k1 in -INVERSE.0..=INVERSE.0 {
                // weights have even lines only
                if (k1 + k2) % 2 == 0 {
                    let value = self.over_rows(&rows, k1);
                    lines[Table::place((k1, k2))] = value;
                    lines[Table::place((-k1, -k2))] = value.conj();
                }
            }
        }
        Table::new(lines)
    }
}

/// `1/s` from above as a finite sum: the inverse on the samples, times what makes up for the lines that it leaves out.
pub(super) fn inverse_above(torus: &Torus, s: &Wave) -> Option<Table> {
    const LEAST: f64 = 0.02;
    let inverse: Vec<f64> = torus.sampled(s).iter().map(|v| v.max(LEAST).recip()).collect();
    let table = torus.table(&inverse);
    // |inverse s - 1| is at most the sum of its lines, those below zero as large as those above
    let (most1, most2) = s.iter().fold((0, 0), |most, (l, _)| (most.0.max(l.0.abs()), most.1.max(l.1.abs())));
    let mut left = 0.0;
    for k2 in 0..=INVERSE.1 + most2 {
        for k1 in (-INVERSE.0 - most1..=INVERSE.0 + most1).filter(|k1| (k1 + k2) % 2 == 0) {
            let sum: Complex64 = s.iter().map(|(l, c)| c * table.at((k1 - l.0, k2 - l.1))).sum();
            let off = (sum - f64::from(u8::from((k1, k2) == (0, 0)))).norm();
            left += if k2 == 0 { off } else { 2.0 * off };
        }
    }
    if left.is_nan() || left > 0.5 {
        return None;
    }
    Some(Table::new(table.lines.iter().map(|c| c * (1.0 - left).recip()).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_inverse_is_above_at_every_instant(c in prop::collection::vec(-0.3f64..0.3, 6), one in 0.0f64..TAU, two in 0.0f64..TAU) {
            let labels = [(1, 1), (-1, 1), (4, 0)];
            let mut s = vec![((0, 0), Complex64::ONE)];
            for (label, c) in labels.into_iter().zip(c.chunks(2)) {
                s.extend(cosine(label, Complex64::new(c[0], c[1])));
            }
            let value = |wave: &mut dyn Iterator<Item = (Label, Complex64)>| -> f64 {
                let turn = |l: Label| Complex64::from_polar(1.0, f64::from(l.0) * one + f64::from(l.1) * two);
                wave.map(|(l, c)| (c * turn(l)).re).sum()
            };
            if let Some(table) = inverse_above(&Torus::new(), &s) {
                let all = (-INVERSE.0..=INVERSE.0).flat_map(|a| (-INVERSE.1..=INVERSE.1).map(move |b| (a, b)));
                let inverse = value(&mut all.map(|l| (l, table.at(l))));
                let exact = value(&mut s.iter().copied());
                prop_assert!(exact > 0.0 && inverse * exact >= 1.0 - 1e-12, "{inverse} {exact}");
            }
        }
    }
}

#[cfg(test)]
mod tables;
