//! Damped Newton steps for the waves of the films, and half-step averaging where they do not fall.
//!
//! A step solves `(I - G e') s = r` with `r = G e - delta`. With the mean slope of each film in place of `e'` the matrix is one
//! small block per line; GMRES (Saad and Schultz 1986 \[memory\]) does what is left. Where a damped step does not make the
//! residual smaller, `a <- (a + a0 + S b(a))/2` is taken instead (Krasnoselskii 1955, Mann 1953 \[memory\]): a film reflects no
//! more wave than reaches it and the network no more than it is given, so that average always comes nearer.

use super::films::{Placed, Seen, wave_per_emf};
use super::grid::Grid;
use super::reflect::reflect;
use crate::watch::Watch;
use nalgebra::DMatrix;
use num_complex::Complex64;

/// Residual over the size of its terms at which rounding is all that is left.
const ROUNDING: f64 = 2e-14;

/// Newton and averaging rounds before giving up.
const MOST_ROUNDS: usize = 60;

/// Steps of GMRES before it starts afresh, at least and at most, the numbers that they may fill, and fresh starts.
const KRYLOV: (usize, usize) = (40, 250);
const KRYLOV_NUMBERS: usize = 1_000_000;
const RESTARTS: usize = 2;

/// Numbers that one section's solve may touch before it gives up, all grids together: a few seconds.
pub const BUDGET: usize = 1_000_000_000;

/// State and buffers of one grid; film-major arrays.
#[derive(Debug, Default)]
pub struct State {
    /// waves of the films at their references, lines
    pub linear: Vec<Complex64>,
    /// what the films add to their waves, lines
    pub delta: Vec<Complex64>,
    /// film voltages, samples
    pub voltage_v: Vec<f64>,
    /// EMFs of the films, lines
    pub emf: Vec<Complex64>,
    /// `G e - delta`, lines
    pub residual: Vec<Complex64>,
    slope: Vec<f64>,
    samples: Vec<f64>,
    mean: Vec<f64>,
    step: Vec<Complex64>,
    before: Vec<Complex64>,
    inverse: Vec<Complex64>,
    basis: Vec<Complex64>,
    work: Vec<Complex64>,
    direction: Vec<Complex64>,
    rest: Vec<Complex64>,
    /// columns of the triangle that GMRES makes, one after the other
    upper: Vec<f64>,
    rotations: Vec<(f64, f64)>,
    right: Vec<f64>,
    row: Vec<Complex64>,
    /// numbers touched so far
    pub spent: usize,
    /// numbers that may be touched
    pub budget: usize,
}

/// How a solve on one grid went.
#[derive(Debug, Clone, Copy)]
pub struct Went {
    /// steps, averaging included
    pub rounds: usize,
    /// residual over the size of its terms
    pub residual: f64,
}

impl State {
    /// Makes room for films on a grid and begins at the linear answer.
    pub fn begin(&mut self, films: usize, grid: &Grid) {
        let (lines, samples) = (films * grid.lines(), films * grid.samples);
        let zero = Complex64::default();
        for array in [&mut self.linear, &mut self.delta, &mut self.emf, &mut self.residual] {
            array.clear();
            array.resize(lines, zero);
        }
        for array in [&mut self.step, &mut self.before, &mut self.work, &mut self.direction, &mut self.rest] {
            array.resize(lines, zero);
        }
        self.inverse.resize(films * lines, zero);
        for array in [&mut self.voltage_v, &mut self.slope] {
            array.clear();
            array.resize(samples, 0.0);
        }
        self.samples.resize(grid.samples, 0.0);
        self.mean.resize(films, 0.0);
        self.row.resize(films, zero);
    }

    /// Film voltages, EMFs and residual of the present `delta`; returns the norms of the residual and of its terms.
    pub fn evaluate(&mut self, seen: &Seen, placed: &[Placed], grid: &mut Grid) -> (f64, f64) {
        let (lines, samples) = (grid.lines(), grid.samples);
        self.spent += 16 * placed.len() * samples;
        for (k, film) in placed.iter().enumerate() {
            let of = k * lines..(k + 1) * lines;
            for (sum, (a, d)) in
                self.direction.iter_mut().zip(self.linear[of.clone()].iter().zip(&self.delta[of.clone()]))
            {
                *sum = a + d;
            }
            grid.in_time(&self.direction[..lines], &mut self.samples);
            let at = k * samples..(k + 1) * samples;
            let slope = &mut self.slope[at.clone()];
            reflect(film, &mut self.samples, &mut self.voltage_v[at], slope);
            self.mean[k] = slope.iter().sum::<f64>() / samples as f64;
            grid.spectrum(&mut self.samples, &mut self.emf[of]);
        }
        let mut size = 0.0;
        let films = placed.len();
        for k in 0..films {
            for line in 0..lines {
                let made: Complex64 =
                    (0..films).map(|j| wave_per_emf(seen, placed, k, j, line) * self.emf[j * lines + line]).sum();
                let at = k * lines + line;
                size += weight(placed, k, line) * (made.norm_sqr() + self.delta[at].norm_sqr());
                self.residual[at] = made - self.delta[at];
            }
        }
        (norm(placed, lines, &self.residual), size.sqrt())
    }

    /// Newton steps until rounding is all that is left, or no step helps.
    pub fn solve(&mut self, seen: &Seen, placed: &[Placed], grid: &mut Grid, watch: &dyn Watch) -> Went {
        let (mut now, mut size) = self.evaluate(seen, placed, grid);
        let mut rounds = 0;
        let mut stalled = 0;
        while now > ROUNDING * size && rounds < MOST_ROUNDS && self.spent < self.budget && !watch.stop() {
            rounds += 1;
            self.before.copy_from_slice(&self.delta);
            let wanted = (1e-3f64).min(now / size).max(1e-13);
            self.newton_step(seen, placed, grid, wanted);
            let (mut part, mut taken) = (1.0, false);
            for _ in 0..8 {
                for ((delta, before), step) in self.delta.iter_mut().zip(&self.before).zip(&self.step) {
                    *delta = before + part * step;
                }
                let (then, its_size) = self.evaluate(seen, placed, grid);
                if then < now * (1.0 - 1e-3 * part) {
                    taken = true;
                    // near rounding a step that gains little is the last one
                    stalled = if then > 0.3 * now { stalled + 1 } else { 0 };
                    (now, size) = (then, its_size);
                    break;
                }
                part *= 0.5;
            }
            if taken && !(stalled >= 2 && now < 1e-11 * size) {
                continue;
            }
            if !taken {
                self.delta.copy_from_slice(&self.before);
                let (back, its_size) = self.evaluate(seen, placed, grid);
                if back < 1e-11 * its_size {
                    // the residual is rounding: no step can make it smaller
                    (now, size) = (back, its_size);
                    break;
                }
                for _ in 0..4 {
                    self.average(seen, placed, grid.lines());
                    (now, size) = self.evaluate(seen, placed, grid);
                }
                continue;
            }
            break;
        }
        Went { rounds, residual: if size > 0.0 { now / size } else { 0.0 } }
    }

    /// `step` from `(I - G e') step = residual`, to `wanted` of the residual's norm.
    fn newton_step(&mut self, seen: &Seen, placed: &[Placed], grid: &mut Grid, wanted: f64) {
        let lines = grid.lines();
        self.precondition(seen, placed, lines);
        let length = self.residual.len();
        self.step.fill(Complex64::default());
        let target = wanted * norm(placed, lines, &self.residual);
        self.rest.copy_from_slice(&self.residual);
        for _ in 0..RESTARTS {
            let beta = norm(placed, lines, &self.rest);
            if beta <= target {
                break;
            }
            let count = self.krylov(seen, placed, grid, (beta, target));
            // back through the triangle, in place
            for i in (0..count).rev() {
                let known: f64 = (i + 1..count).map(|j| self.upper[j * (j + 1) / 2 + i] * self.right[j]).sum();
                self.right[i] = (self.right[i] - known) / self.upper[i * (i + 1) / 2 + i];
            }
            self.work.fill(Complex64::default());
            for (weight, vector) in self.right[..count].iter().zip(self.basis.chunks(length)) {
                for (w, v) in self.work.iter_mut().zip(vector) {
                    *w += weight * v;
                }
            }
            self.take_step(seen, placed, grid);
        }
    }

    /// Adds the preconditioned `work` to the step and takes what it makes off the rest.
    fn take_step(&mut self, seen: &Seen, placed: &[Placed], grid: &mut Grid) {
        self.basis.clear();
        self.basis.extend_from_slice(&self.work);
        self.precondition_apply(placed.len(), grid.lines());
        for (step, w) in self.step.iter_mut().zip(&self.work) {
            *step += w;
        }
        self.work.copy_from_slice(&self.basis);
        self.operator(seen, placed, grid);
        for (rest, w) in self.rest.iter_mut().zip(&self.work) {
            *rest -= w;
        }
    }

    /// Arnoldi's basis from the rest, with the triangle and the right side turned by Givens' rotations; returns its size.
    fn krylov(&mut self, seen: &Seen, placed: &[Placed], grid: &mut Grid, (beta, target): (f64, f64)) -> usize {
        let (lines, length) = (grid.lines(), self.rest.len());
        let most = (KRYLOV_NUMBERS / length).clamp(KRYLOV.0, KRYLOV.1);
        self.basis.clear();
        self.basis.extend(self.rest.iter().map(|x| x / beta));
        self.upper.clear();
        self.rotations.clear();
        self.right.clear();
        self.right.push(beta);
        for m in 0..most {
            self.work.copy_from_slice(&self.basis[m * length..]);
            self.operator(seen, placed, grid);
            let column = self.upper.len();
            self.spent += (8 + m) * length;
            for v in self.basis.chunks(length) {
                let h = dot(placed, lines, v, &self.work);
                for (w, v) in self.work.iter_mut().zip(v) {
                    *w -= h * v;
                }
                self.upper.push(h);
            }
            let next = norm(placed, lines, &self.work);
            for (i, (c, s)) in self.rotations.iter().enumerate() {
                let (a, b) = (self.upper[column + i], self.upper[column + i + 1]);
                self.upper[column + i] = c * a + s * b;
                self.upper[column + i + 1] = c * b - s * a;
            }
            let radius = self.upper[column + m].hypot(next);
            if radius == 0.0 {
                return m;
            }
            let (c, s) = (self.upper[column + m] / radius, next / radius);
            self.upper[column + m] = radius;
            self.rotations.push((c, s));
            self.right.push(-s * self.right[m]);
            self.right[m] *= c;
            if self.right[m + 1].abs() <= target || self.spent > self.budget || next <= f64::EPSILON * radius {
                return m + 1;
            }
            if m + 1 < most {
                self.basis.extend(self.work.iter().map(|x| x / next));
            }
        }
        most
    }

    /// `work <- work - G F((e' - mean) F^-1 P^-1 work)`.
    fn operator(&mut self, seen: &Seen, placed: &[Placed], grid: &mut Grid) {
        let (lines, samples, films) = (grid.lines(), grid.samples, placed.len());
        self.direction.copy_from_slice(&self.work);
        self.precondition_apply(films, lines);
        for k in 0..films {
            grid.in_time(&self.work[k * lines..(k + 1) * lines], &mut self.samples);
            for n in 0..samples {
                self.samples[n] *= self.slope[k * samples + n] - self.mean[k];
            }
            grid.spectrum(&mut self.samples, &mut self.work[k * lines..(k + 1) * lines]);
        }
        for line in 0..lines {
            for k in 0..films {
                let made: Complex64 =
                    (0..films).map(|j| wave_per_emf(seen, placed, k, j, line) * self.work[j * lines + line]).sum();
                self.direction[k * lines + line] -= made;
            }
        }
        std::mem::swap(&mut self.work, &mut self.direction);
    }

    /// Inverse of `I - G mean`, line by line.
    fn precondition(&mut self, seen: &Seen, placed: &[Placed], lines: usize) {
        let films = placed.len();
        let one = Complex64::new(1.0, 0.0);
        if films == 1 {
            for line in 0..lines {
                self.inverse[line] = (one - wave_per_emf(seen, placed, 0, 0, line) * self.mean[0]).inv();
            }
            return;
        }
        for line in 0..lines {
            let matrix = DMatrix::from_fn(films, films, |k, j| {
                let through = -wave_per_emf(seen, placed, k, j, line) * self.mean[j];
                if k == j { one + through } else { through }
            });
            let inverse = matrix.try_inverse().unwrap_or_else(|| DMatrix::identity(films, films));
            for k in 0..films {
                for j in 0..films {
                    self.inverse[(k * films + j) * lines + line] = inverse[(k, j)];
                }
            }
        }
    }

    fn precondition_apply(&mut self, films: usize, lines: usize) {
        if films == 1 {
            self.work.iter_mut().zip(&self.inverse).for_each(|(w, p)| *w *= p);
            return;
        }
        for line in 0..lines {
            for k in 0..films {
                self.row[k] = (0..films)
                    .map(|j| self.inverse[(k * films + j) * lines + line] * self.work[j * lines + line])
                    .sum();
            }
            for (k, value) in self.row.iter().enumerate() {
                self.work[k * lines + line] = *value;
            }
        }
    }

    /// One averaged half step: `delta += (I + G_eta gamma)^-1 residual / 2`, in waves `a0 + S b - a`.
    fn average(&mut self, seen: &Seen, placed: &[Placed], lines: usize) {
        let films = placed.len();
        for line in 0..lines {
            let matrix = DMatrix::from_fn(films, films, |k, j| {
                let film = &placed[j];
                // b = gamma a + eta, eta = -2 Rp/(Rref + Rp) e, gamma = (Rref - Rp)/(Rref + Rp)
                let through = -wave_per_emf(seen, placed, k, j, line) * (film.reference_ohm - film.wave_ohm)
                    / (2.0 * film.wave_ohm);
                if k == j { Complex64::new(1.0, 0.0) + through } else { through }
            });
            let right = nalgebra::DVector::from_fn(films, |k, _| self.residual[k * lines + line]);
            if let Some(wave) = matrix.lu().solve(&right) {
                for k in 0..films {
                    self.delta[k * lines + line] += 0.5 * wave[k];
                }
            }
        }
    }
}

/// Weight of a line in the norm: mirror lines count, and waves are taken per root of their resistance.
fn weight(placed: &[Placed], k: usize, line: usize) -> f64 {
    (if line == 0 { 1.0 } else { 2.0 }) / placed[k].wave_ohm
}

fn dot(placed: &[Placed], lines: usize, a: &[Complex64], b: &[Complex64]) -> f64 {
    let mut total = 0.0;
    for (k, film) in placed.iter().enumerate() {
        let of = k * lines..(k + 1) * lines;
        let product = |(x, y): (&Complex64, &Complex64)| x.re * y.re + x.im * y.im;
        let first = product((&a[k * lines], &b[k * lines]));
        let all: f64 = a[of.clone()].iter().zip(&b[of]).map(product).sum();
        total += (2.0 * all - first) / film.wave_ohm;
    }
    total
}

/// Norm of waves, root of power.
#[must_use]
pub fn norm(placed: &[Placed], lines: usize, a: &[Complex64]) -> f64 {
    dot(placed, lines, a, a).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::films::{channel_ohm, linear_waves, place, tune};
    use super::*;
    use crate::circuit::chain::Network;
    use crate::circuit::{Contact, Lead, Load, PathItem, Section, Source};
    use crate::physics::Film;
    use crate::watch::Unwatched;
    use realfft::RealFftPlanner;

    #[test]
    fn averaging_alone_comes_to_what_newton_finds() {
        let film = |name: &str, film| PathItem::Contact(Contact { film, ..Contact::ohmic(name, 1.0) });
        let path = vec![
            film("a", Film::Tunnelling { resistance_ohm: 3e3, scale_v: 0.1 }),
            PathItem::Lead(Lead { capacitance_f: 1e-9, ..Lead::default() }),
            film("b", Film::Rectifying { resistance_ohm: 2e3, ideality: 1.5, leak_ratio: 0.1 }),
        ];
        let source = Some(Source { emf_v: 0.5, resistance_ohm: 2e3, inductance_h: 0.1 });
        let load = Load { capacitance_f: 1e-9, ..Load::resistance(5e3) };
        let network = Network::from_section(&Section { name: "s".into(), source, path, load }).unwrap();
        let (ladder, ohm) = (&network.links[0].ladder, [3e3, 2e3]);
        let mut placed = place(&network, ladder, &ohm);
        tune(&network, ladder, &mut placed, &ohm, (0.5, 1e3));
        let mut grid = Grid::one_tone(1e3, 63, &mut RealFftPlanner::new());
        let mut seen = Seen::default();
        seen.fill(ladder, &placed, &channel_ohm(&network, &placed, &ohm), &grid.frequency_hz);
        let mut emf = vec![Complex64::default(); grid.lines()];
        emf[grid.line((1, 0)).unwrap().0] = Complex64::new(0.5 / std::f64::consts::SQRT_2, 0.0);
        let begun = || {
            let mut state = State { budget: usize::MAX, ..State::default() };
            state.begin(2, &grid);
            linear_waves(&seen, &placed, &grid, &emf, &[0.0; 2], &mut state.linear);
            state
        };
        let (mut newton, mut averaged) = (begun(), begun());
        let lines = grid.lines();
        let went = newton.solve(&seen, &placed, &mut grid, &Unwatched);
        assert!(went.residual < 1e-12, "{went:?}");
        averaged.evaluate(&seen, &placed, &mut grid);
        let away = |state: &State| {
            let apart: Vec<Complex64> = state.delta.iter().zip(&newton.delta).map(|(a, b)| a - b).collect();
            norm(&placed, lines, &apart)
        };
        let first = away(&averaged);
        let mut before = first;
        for _ in 0..200 {
            averaged.average(&seen, &placed, lines);
            let now = away(&averaged);
            // Mann and Krasnoselskii: never farther than before
            assert!(now <= before * (1.0 + 1e-12) + 1e-12 * first, "{now} {before}");
            before = now;
            averaged.evaluate(&seen, &placed, &mut grid);
        }
        assert!(before < 1e-6 * first, "{before} {first}");
    }
}
