//! The weights of T2: a search on plain numbers. Any weights are allowed, good ones make the bound small.

use super::linear::log_grid;
use super::seen::Plain;
use num_complex::Complex64;

/// Over which the bracket of T2 is looked at while weights are searched, Hz; the proof afterwards leaves nothing out.
const EVERYWHERE_HZ: (f64, f64) = (1e-3, 1e9);

/// How much more than it does an earlier section may do to a later one while weights are searched: room for the proof.
const ROOM: f64 = 1.001;

/// Share of its largest term that a sum of this size may have lost by rounding.
const CANCELLED: f64 = 1e-13;

/// How often the bound without direct current is doubled before it is said that there is none.
const DOUBLINGS: usize = 30;

/// Frequencies of a band, some per octave, Hz.
pub(crate) fn frequencies(band_hz: (f64, f64), per_octave: f64) -> Vec<f64> {
    let grid = log_grid(band_hz);
    let step = (super::linear::POINTS_PER_OCTAVE / per_octave).round().max(1.0) as usize;
    let last = grid.len() - 1;
    grid.iter().enumerate().filter(|(k, _)| k % step == 0 || *k == last).map(|(_, x)| x.exp()).collect()
}

/// Frequencies that stand for all of them while weights are searched, Hz.
pub(crate) fn everywhere() -> Vec<f64> {
    let mut all = vec![0.0];
    all.extend(frequencies(EVERYWHERE_HZ, 2.0));
    all
}

/// Several contacts as the search sees them.
pub(crate) struct Problem {
    pub(crate) delta: Vec<f64>,
    /// section of each contact
    pub(crate) group: Vec<usize>,
    /// direct current (or voltage) of each
    pub(crate) direct: Vec<f64>,
    pub(crate) emf_v: f64,
    pub(crate) driven: Plain,
    pub(crate) band: Vec<Plain>,
    pub(crate) everywhere: Vec<Plain>,
}

/// In which order frequencies are asked: those that refused last come first.
struct Order {
    band: Vec<usize>,
    everywhere: Vec<usize>,
}

/// Lower triangle of a Hermitian positive definite matrix as `L L^H`, in place; false where it is not.
fn cholesky(m: &mut [Complex64], n: usize) -> bool {
    for j in 0..n {
        let mut pivot = m[j * n + j].re;
        for k in 0..j {
            pivot -= m[j * n + k].norm_sqr();
        }
        if pivot.is_nan() || pivot <= 0.0 {
            return false;
        }
        let root = pivot.sqrt();
        m[j * n + j] = root.into();
        for i in j + 1..n {
            let mut entry = m[i * n + j];
            for k in 0..j {
                entry -= m[i * n + k] * m[j * n + k].conj();
            }
            m[i * n + j] = entry / root;
        }
    }
    true
}

/// `v^H M^-1 v` of a positive definite `M`; infinite where it is not.
pub(crate) fn over(mut m: Vec<Complex64>, mut v: Vec<Complex64>) -> f64 {
    let n = v.len();
    if !cholesky(&mut m, n) {
        return f64::INFINITY;
    }
    let mut sum = 0.0;
    for i in 0..n {
        let mut entry = v[i];
        for k in 0..i {
            entry -= m[i * n + k] * v[k];
        }
        v[i] = entry / m[i * n + i].re;
        sum += v[i].norm_sqr();
    }
    sum
}

/// `1 - m^H m`.
fn rest(m: &[Complex64], n: usize) -> Vec<Complex64> {
    let entry = |i: usize, j: usize| -> Complex64 { (0..n).map(|row| m[row * n + i].conj() * m[row * n + j]).sum() };
    (0..n * n).map(|at| Complex64::from(f64::from(u8::from(at / n == at % n))) - entry(at / n, at % n)).collect()
}

/// Whether `1 - K^H K` is positive definite at a frequency, `K = W Delta G W^-1`.
pub(crate) fn is_passive(g: &[Complex64], delta: &[f64], w: &[f64]) -> bool {
    let n = w.len();
    let k: Vec<Complex64> = (0..n * n).map(|at| g[at] * (w[at / n] * delta[at / n] / w[at % n])).collect();
    cholesky(&mut rest(&k, n), n)
}

impl Problem {
    pub(crate) fn has_direct(&self) -> bool {
        self.direct.iter().any(|d| *d != 0.0)
    }

    fn k(&self, g: &[Complex64], w: &[f64], room: f64) -> Vec<Complex64> {
        let n = w.len();
        let one = |row: usize, column: usize| {
            let more = if self.group[row] == self.group[column] { 1.0 } else { room };
            g[row * n + column] * (more * w[row] * self.delta[row] / w[column])
        };
        (0..n * n).map(|at| one(at / n, at % n)).collect()
    }

    fn lambda(&self, seen: &Plain, w: &[f64]) -> f64 {
        let row = seen.h.iter().zip(w).map(|(h, w)| h.conj() / w).collect();
        over(rest(&self.k(&seen.g, w, ROOM), w.len()), row)
    }

    fn is_passive(&self, seen: &Plain, w: &[f64]) -> bool {
        let n = w.len();
        cholesky(&mut rest(&self.k(&seen.g, w, ROOM), n), n)
    }

    /// Largest of the bracket of T2 over the fundamental: see [`super::ceiling_many`].
    pub(crate) fn driven(&self, w: &[f64]) -> f64 {
        let (n, at) = (w.len(), &self.driven);
        let loaded: Vec<Complex64> = (0..n * n).map(|k| at.a[k / n] * at.h[k % n] / at.t - at.g[k]).collect();
        // 1 - Q Q^H is 1 - m^H m with m = Q^H
        let q = self.k(&loaded, w, 1.0);
        let q_adjoint: Vec<Complex64> = (0..n * n).map(|k| q[(k % n) * n + k / n].conj()).collect();
        let c = (0..n).map(|k| at.a[k] / at.t * (w[k] * self.delta[k])).collect();
        let alone = over(rest(&q_adjoint, n), c);
        if !self.has_direct() || !alone.is_finite() {
            return alone;
        }
        let extra: f64 = (0..n).map(|k| (w[k] * self.delta[k] * self.direct[k]).powi(2)).sum();
        if !extra.is_finite() || self.emf_v.is_nan() || self.emf_v <= 0.0 {
            return f64::INFINITY;
        }
        let k_driven = self.k(&at.g, w, 1.0);
        let base = rest(&k_driven, n);
        let alpha: Vec<Complex64> = (0..n).map(|k| at.a[k] * (w[k] * self.delta[k] * self.emf_v)).collect();
        let g: Vec<Complex64> = at.h.iter().zip(w).map(|(h, w)| h / w).collect();
        let t = at.t * self.emf_v;
        let alpha_sqr: f64 = alpha.iter().map(|a| a.norm_sqr()).sum();
        // largest of bracket - m |y|^2 over what the contacts can do at the driven frequency
        let left = |m: f64| {
            let p = (0..n * n).map(|k| base[k] + g[k / n].conj() * g[k % n] * m).collect();
            let b = (0..n)
                .map(|j| {
                    let back: Complex64 = (0..n).map(|row| k_driven[row * n + j].conj() * alpha[row]).sum();
                    back - g[j].conj() * t * m
                })
                .collect();
            // above zero by what the cancellation may have lost
            alpha_sqr + extra - m * t.norm_sqr() * (1.0 - CANCELLED) + over(p, b)
        };
        let (mut low, mut high) = (alone, alone.max(1e-300));
        for _ in 0..DOUBLINGS {
            if left(high) <= 0.0 {
                break;
            }
            low = high;
            high *= 2.0;
        }
        if left(high) > 0.0 {
            return f64::INFINITY;
        }
        for _ in 0..60 {
            let middle = (low * high).sqrt();
            if left(middle) <= 0.0 { high = middle } else { low = middle }
        }
        high
    }

    /// The bound under these weights on the frequencies of the search, if it is below `best`; infinite where it is not, or where
    /// some frequency takes a negative share. Which frequencies refuse first is remembered: most weights are refused by the same.
    fn cost(&self, w: &[f64], best: f64, order: &mut Order) -> f64 {
        let driven = self.driven(w);
        if !driven.is_finite() {
            return f64::INFINITY;
        }
        let mut largest = 0.0f64;
        for place in 0..order.band.len() {
            largest = largest.max(self.lambda(&self.band[order.band[place]], w));
            // a largest value only grows
            if driven * largest >= best {
                order.band[..=place].rotate_right(1);
                return f64::INFINITY;
            }
        }
        for place in 0..order.everywhere.len() {
            if !self.is_passive(&self.everywhere[order.everywhere[place]], w) {
                order.everywhere[..=place].rotate_right(1);
                return f64::INFINITY;
            }
        }
        driven * largest
    }

    /// `1/sqrt(Delta)`: what passivity asks for within one section.
    pub(crate) fn passive_weights(&self) -> Vec<f64> {
        self.delta.iter().map(|delta| delta.sqrt().recip()).collect()
    }

    /// Weights that make the bound small: from a few steps between sections, by search along one contact or section at a time.
    pub(crate) fn best_weights(&self) -> Vec<f64> {
        let n = self.delta.len();
        let passive = self.passive_weights();
        let sections: std::collections::BTreeSet<usize> = self.group.iter().copied().collect();
        // a later section weighs less, by more or less, counted in what the signal puts on its contacts
        let scale = |section: usize| -> f64 {
            let of = |k: usize| passive[k] * self.delta[k] * self.driven.a[k].norm();
            (0..n).filter(|&k| self.group[k] == section).map(of).fold(0.0, f64::max)
        };
        let guess = |step: f64| -> Vec<f64> {
            let mut w = passive.clone();
            for (number, &section) in sections.iter().enumerate() {
                let by = step.powi(number as i32) / scale(section);
                (0..n).filter(|&k| self.group[k] == section).for_each(|k| w[k] *= by);
            }
            w
        };
        let mut order =
            Order { band: (0..self.band.len()).collect(), everywhere: (0..self.everywhere.len()).collect() };
        let mut w = passive.clone();
        let mut best = self.cost(&w, f64::INFINITY, &mut order);
        if sections.len() > 1 {
            for step in [3.0, 1.0, 0.5, 0.25, 0.1, 0.03, 0.01, 1e-3, 1e-4] {
                let other = guess(step);
                let found = self.cost(&other, best, &mut order);
                if found < best {
                    (w, best) = (other, found);
                }
            }
        }
        if n == 1 || best.is_infinite() && sections.len() > 1 {
            return w;
        }
        let mut moves: Vec<Vec<usize>> = (1..n).map(|k| vec![k]).collect();
        if sections.len() > 1 && sections.len() < n {
            let of = |section: &usize| (0..n).filter(|&k| self.group[k] >= *section).collect();
            moves.extend(sections.iter().skip(1).map(of));
        }
        for step in [4.0f64, 2.0, 1.4, 1.2, 1.1, 1.05, 1.02] {
            for _ in 0..4 {
                let before = best;
                for together in &moves {
                    for factor in [step, step.recip()] {
                        let mut other = w.clone();
                        together.iter().for_each(|&k| other[k] *= factor);
                        let found = self.cost(&other, best, &mut order);
                        // from no bound at all any bound is better
                        if found < best {
                            (w, best) = (other, found);
                        }
                    }
                }
                if best.is_infinite() || best >= before {
                    break;
                }
            }
        }
        w
    }

    /// The same weights with some of what was gained given back, where they could not be proved.
    pub(crate) fn held_back(&self, w: &[f64], share: f64) -> Vec<f64> {
        let first = self.group.iter().copied().min();
        let passive = self.passive_weights();
        let sections_differ = self.group.iter().any(|g| Some(*g) != first);
        let one = |k: usize| match sections_differ {
            true => w[k] * (1.0 - share).max(0.1).powi(i32::from(Some(self.group[k]) != first)),
            false => w[k] * (passive[k] / w[k]).powf(share),
        };
        (0..w.len()).map(one).collect()
    }
}

#[cfg(test)]
mod searched;
