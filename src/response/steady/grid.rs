//! Samples of one period, or of two tones at once, and the frequencies of their spectrum.
//!
//! With two tones the samples lie on a torus of `n1` by `n2` points with `n1` and `n2` coprime, walked along its diagonal: by
//! the Chinese remainder theorem each point comes once, and the spectrum of the walk has the product `k1 f1 + k2 f2` in line
//! `(k1 n2 + k2 n1) mod n1 n2` (Good 1958, Thomas 1963 \[memory\]). So two tones need no common period and no product falls on another.
//!
//! An odd number of samples has no line that is its own mirror. Lines are `c` in `x = c_0 + 2 Re sum c_h exp(j h theta)`.

use num_complex::Complex64;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::sync::Arc;

/// Samples for one tone, small factors only.
pub const ONE_TONE: [usize; 13] = [45, 81, 135, 243, 405, 729, 1215, 2187, 3645, 6561, 10935, 19683, 32805];

/// Samples for two tones: coprime, odd, small factors.
pub const TWO_TONES: [(usize, usize); 6] = [(9, 7), (15, 13), (27, 25), (45, 49), (81, 77), (135, 133)];

/// Samples, their spectrum's frequencies, and the transforms.
pub struct Grid {
    /// number of samples, odd
    pub samples: usize,
    /// frequency of each line, Hz; negative where the product `k1 f1 + k2 f2` is
    pub frequency_hz: Vec<f64>,
    /// orders of each line: multiples of the first and of the second tone
    pub orders: Vec<(i32, i32)>,
    sizes: (usize, usize),
    forward: Arc<dyn RealToComplex<f64>>,
    inverse: Arc<dyn ComplexToReal<f64>>,
    scratch: Vec<Complex64>,
    lines: Vec<Complex64>,
}

impl Grid {
    /// A grid of one period of `base_hz`.
    #[must_use]
    pub fn one_tone(base_hz: f64, samples: usize, planner: &mut RealFftPlanner<f64>) -> Self {
        let orders: Vec<_> = (0..=samples / 2).map(|h| (h as i32, 0)).collect();
        let frequency_hz = (0..=samples / 2).map(|h| h as f64 * base_hz).collect();
        Self::new((samples, 1), frequency_hz, orders, planner)
    }

    /// A grid of two tones with `sizes` samples of each, coprime and odd.
    #[must_use]
    pub fn two_tones(tones_hz: (f64, f64), sizes: (usize, usize), planner: &mut RealFftPlanner<f64>) -> Self {
        let samples = sizes.0 * sizes.1;
        let mut orders = vec![(0, 0); samples / 2 + 1];
        let half = |n: usize| (n / 2) as i32;
        for k1 in -half(sizes.0)..=half(sizes.0) {
            for k2 in -half(sizes.1)..=half(sizes.1) {
                let line = line_of((k1, k2), sizes);
                if let Some(order) = orders.get_mut(line) {
                    *order = (k1, k2);
                }
            }
        }
        let hz = |&(k1, k2): &(i32, i32)| f64::from(k1) * tones_hz.0 + f64::from(k2) * tones_hz.1;
        let frequency_hz = orders.iter().map(hz).collect();
        Self::new(sizes, frequency_hz, orders, planner)
    }

    fn new(
        sizes: (usize, usize),
        frequency_hz: Vec<f64>,
        orders: Vec<(i32, i32)>,
        planner: &mut RealFftPlanner<f64>,
    ) -> Self {
        let samples = sizes.0 * sizes.1;
        let forward = planner.plan_fft_forward(samples);
        let inverse = planner.plan_fft_inverse(samples);
        let scratch = vec![Complex64::default(); forward.get_scratch_len().max(inverse.get_scratch_len())];
        let lines = vec![Complex64::default(); samples / 2 + 1];
        Self { samples, frequency_hz, orders, sizes, forward, inverse, scratch, lines }
    }

    /// Number of lines, direct current included.
    #[must_use]
    pub fn lines(&self) -> usize {
        self.samples / 2 + 1
    }

    /// Line of an order and whether it is stored as its mirror; `None` past the grid.
    #[must_use]
    pub fn line(&self, (k1, k2): (i32, i32)) -> Option<(usize, bool)> {
        if 2 * k1.unsigned_abs() as usize > self.sizes.0 || 2 * k2.unsigned_abs() as usize > self.sizes.1 {
            return None;
        }
        let line = line_of((k1, k2), self.sizes);
        Some(if line < self.lines() { (line, false) } else { (self.samples - line, true) })
    }

    /// Whether a line is in the outer quarter of the orders that the samples hold.
    #[must_use]
    pub fn is_outer(&self, line: usize) -> bool {
        let (k1, k2) = self.orders[line];
        let outer = |order: i32, size: usize| size > 1 && 8 * order.unsigned_abs() as usize > 3 * size;
        outer(k1, self.sizes.0) || outer(k2, self.sizes.1)
    }

    /// Spectrum of samples; the samples are used up.
    pub fn spectrum(&mut self, samples: &mut [f64], lines: &mut [Complex64]) {
        // the lengths are those of the plan, the only thing that it refuses
        let done = self.forward.process_with_scratch(samples, lines, &mut self.scratch);
        debug_assert!(done.is_ok());
        let scale = (self.samples as f64).recip();
        lines.iter_mut().for_each(|line| *line *= scale);
    }

    /// Samples of a spectrum.
    pub fn in_time(&mut self, lines: &[Complex64], samples: &mut [f64]) {
        self.lines.copy_from_slice(lines);
        self.lines[0].im = 0.0;
        let done = self.inverse.process_with_scratch(&mut self.lines, samples, &mut self.scratch);
        debug_assert!(done.is_ok());
    }

    /// Puts a spectrum of a coarser grid in; orders that it lacks are zero.
    pub fn prolong(&self, coarse: &Self, from: &[Complex64], to: &mut [Complex64]) {
        to.fill(Complex64::default());
        for (order, value) in coarse.orders.iter().zip(from) {
            if let Some((line, mirrored)) = self.line(*order) {
                to[line] = if mirrored { value.conj() } else { *value };
            }
        }
    }
}

fn line_of((k1, k2): (i32, i32), (n1, n2): (usize, usize)) -> usize {
    let walk = i64::from(k1) * n2 as i64 + i64::from(k2) * n1 as i64;
    walk.rem_euclid((n1 * n2) as i64) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn each_product_of_two_tones_has_a_line_of_its_own() {
        for sizes in TWO_TONES {
            let grid = Grid::two_tones((60.0, 7000.0), sizes, &mut RealFftPlanner::new());
            let mut seen = std::collections::BTreeSet::new();
            for &(k1, k2) in &grid.orders {
                // an order and its mirror are one real product
                assert!(seen.insert((k1, k2)) && ((k1, k2) == (0, 0) || !seen.contains(&(-k1, -k2))), "{sizes:?}");
            }
            assert_eq!(seen.len(), sizes.0 * sizes.1 / 2 + 1);
        }
    }

    #[test]
    fn a_product_is_found_where_its_line_is() {
        let sizes = (15, 13);
        let mut grid = Grid::two_tones((60.0, 7000.0), sizes, &mut RealFftPlanner::new());
        let (k1, k2) = (-3, 2);
        let mut wave: Vec<f64> = (0..grid.samples)
            .map(|n| {
                let (a, b) = ((n % sizes.0) as f64 / sizes.0 as f64, (n % sizes.1) as f64 / sizes.1 as f64);
                (TAU * (f64::from(k1) * a + f64::from(k2) * b) + 0.3).cos()
            })
            .collect();
        let mut lines = vec![Complex64::default(); grid.lines()];
        grid.spectrum(&mut wave, &mut lines);
        let (line, mirrored) = grid.line((k1, k2)).unwrap();
        let found = if mirrored { lines[line].conj() } else { lines[line] };
        assert!((found - Complex64::from_polar(0.5, 0.3)).norm() < 1e-14);
        let hz = grid.frequency_hz[line] * if mirrored { -1.0 } else { 1.0 };
        assert_eq!(hz, -3.0 * 60.0 + 2.0 * 7000.0);
        let rest: f64 = lines.iter().enumerate().filter(|(h, _)| *h != line).map(|(_, c)| c.norm()).sum();
        assert!(rest < 1e-13);
    }

    #[test]
    fn a_spectrum_comes_back_and_fits_a_finer_grid() {
        let mut planner = RealFftPlanner::new();
        let (mut coarse, mut fine) = (Grid::one_tone(1e3, 45, &mut planner), Grid::one_tone(1e3, 81, &mut planner));
        let wave = |n: usize, of: usize| (TAU * n as f64 / of as f64).cos().powi(3) + 0.25;
        let mut samples: Vec<f64> = (0..45).map(|n| wave(n, 45)).collect();
        let mut lines = vec![Complex64::default(); coarse.lines()];
        coarse.spectrum(&mut samples, &mut lines);
        coarse.in_time(&lines, &mut samples);
        assert!((0..45).all(|n| (samples[n] - wave(n, 45)).abs() < 1e-14));
        let (mut more, mut finer) = (vec![Complex64::default(); fine.lines()], vec![0.0; 81]);
        fine.prolong(&coarse, &lines, &mut more);
        fine.in_time(&more, &mut finer);
        assert!((0..81).all(|n| (finer[n] - wave(n, 81)).abs() < 1e-14));
    }
}
