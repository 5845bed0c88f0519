//! Lines of the output, summed over the steps of a march.

use super::radau::{Basis, gauss};
use super::{Period, SUMMED};
use num_complex::Complex64;
use std::f64::consts::TAU;

impl Period<'_> {
    /// Lines 0 to `count` of the currents or voltages that make the output, and the rms of what is summed.
    pub(super) fn lines(&mut self, count: usize) -> (Vec<Complex64>, f64) {
        let wanted: Vec<usize> =
            (0..if self.loops.output_ohm.is_some() { 2 } else { 1 }).map(|k| self.loops.output + k).collect();
        let mut sums = vec![vec![Complex64::default(); count + 1]; wanted.len()];
        let mut squares = vec![0.0; wanted.len()];
        let points = gauss(SUMMED);
        let mut start = f64::NAN;
        let mut stopped = false;
        for step in &self.march.steps {
            stopped = stopped || self.marcher.stopped();
            if stopped {
                break;
            }
            // a turn of the highest line per piece is well within ten points
            let pieces = (count as f64 * step.length).ceil().max(1.0) as usize;
            for piece in 0..pieces {
                let (mut value, mut turn) = ([[0.0; SUMMED]; 2], [(0.0, 0.0); SUMMED]);
                for (k, (x, weight)) in points.iter().enumerate() {
                    let place = (piece as f64 + x) / pieces as f64;
                    let basis = Basis::at(place);
                    turn[k] = (-TAU * (step.from + place * step.length)).sin_cos();
                    let weight = weight * step.length / pieces as f64;
                    for ((value, square), &i) in value.iter_mut().zip(&mut squares).zip(&wanted) {
                        let weights = self.marcher.ways.weights(&self.loops, i, &basis);
                        let wave = step.wave(i, weights);
                        let y = self.loops.parts[i].element.at(wave, &mut start).y;
                        *square += weight * y * y;
                        value[k] = weight * y;
                    }
                }
                for (sum, value) in sums.iter_mut().zip(value) {
                    add_lines(sum, value, &turn);
                }
            }
        }
        let mut rounding = 0.0;
        let output = (0..=count)
            .map(|line| {
                let (own, next) = self.loops.output_row(line as f64);
                let more = sums.get(1).map_or(Complex64::default(), |sum| next * sum[line]);
                rounding = own.norm() * squares[0].sqrt() + squares.get(1).map_or(0.0, |s| s.sqrt());
                own * sums[0][line] + more
            })
            .collect();
        // half a period proves nothing
        (output, if stopped { f64::NAN } else { rounding })
    }

    pub(super) fn residue_v(&mut self, count: usize) -> f64 {
        residue_v(&self.lines(count).0)
    }
}

/// Adds to each line what values at some instants make of it, all of them turned on together line by line.
pub(super) fn add_lines(sum: &mut [Complex64], value: [f64; SUMMED], turn: &[(f64, f64); SUMMED]) {
    let (mut re, mut im) = (value, [0.0; SUMMED]);
    for line in sum {
        *line += Complex64::new(re.iter().sum(), im.iter().sum());
        for k in 0..SUMMED {
            let (sin, cos) = turn[k];
            (re[k], im[k]) = (re[k] * cos - im[k] * sin, re[k] * sin + im[k] * cos);
        }
    }
}

/// Everything past the fundamental, V rms.
pub(super) fn residue_v(lines: &[Complex64]) -> f64 {
    lines.iter().skip(2).map(|c| 2.0 * c.norm_sqr()).sum::<f64>().sqrt()
}
