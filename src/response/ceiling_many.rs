//! **T2**: the most residue that several contacts anywhere in one section can cause together.
//!
//! Contact k keeps its chord in `[Rmin_k, Rmax_k]`; with `Rmid_k` of it counted to the network, what is left is an EMF `e_k`
//! in series of no more than `Delta_k` times its current, in rms over all frequencies: `|e_k| <= Delta_k |i_k|`. For any
//! weights `p_k > 0`, `sum p_k |e_k|^2 <= sum p_k Delta_k^2 |i_k|^2`. With the network's admittances `G` between the contacts,
//! `h` from these EMFs to the output, `a` and `t` from the source to the currents and the output, write
//! `W = diag sqrt(p)`, `K = W Delta G W^-1`, `g = h W^-1`. Off the driven line `i = G e` and `y = h e`, so that
//!
//! `sum over w not driven of |y_w|^2 <= sup lambda(w) (|W Delta i_1|^2 - |W e_1|^2)`, `lambda = g (1 - K^H K)^-1 g^H`
//!
//! and on it `W Delta i_1 = c y_1 - Q W e_1` with `c = W Delta a/t`, `Q = W Delta (a h/t - G) W^-1`, so that the last bracket
//! is at most `c^H (1 - Q Q^H)^-1 c |y_1|^2`. Together
//!
//! `residue / fundamental <= sqrt(sup lambda c^H (1 - Q Q^H)^-1 c)`
//!
//! for every choice of weights under which both brackets are positive definite, the first one at every frequency and not only
//! in the band that is looked at: a frequency left out of the sum must not have taken a negative share. That is looked at from
//! 1 mHz to 1 GHz; where none is, there is no ceiling. The
//! weights start at `1/Delta` (the passive choice) and are improved by coordinate search. For contacts of one loop `Q`
//! vanishes and the bound is T1. Related to structured singular values with diagonal scalings (Packard and Doyle, Automatica
//! 29, 1993 \[memory\]). Relative rounding grows as `1e-16 Rmax/|M|`.

use super::ceiling::{Ceiling, Status};
use super::linear::{gain_after, log_grid, refine_largest};
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::circuit::ports::Ports;
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

/// Frequencies between which a section is looked at where all of them count, Hz: below and above nothing in it changes.
pub(crate) const EVERYWHERE_HZ: (f64, f64) = (1e-3, 1e9);

/// One contact that moves: its number through the chain and the range of its chord, ohm.
pub type Moving = (usize, (f64, f64));

/// Above so many harmonics in the band the supremum over the whole band is taken for theirs: never too small.
const MOST_HARMONICS: usize = 2_000;

/// Every how many grid points one is looked at while the weights are improved.
const COARSE: usize = 16;

struct Seen {
    /// between the contacts, S
    g: Vec<DMatrix<Complex64>>,
    /// from an EMF in series with each contact to the output, relative to the driven line's stages
    h: Vec<DVector<Complex64>>,
}

/// Several contacts of one section made ready for one set of ranges.
struct Several<'a> {
    network: &'a Network,
    link: usize,
    contacts: Vec<usize>,
    fixed_ohm: Vec<f64>,
    delta: Vec<f64>,
    after_driven: f64,
    a: DVector<Complex64>,
    t: Complex64,
    at_driven: (DMatrix<Complex64>, DVector<Complex64>),
}

/// The ceiling of several contacts in series in one section; the others keep `fixed_ohm`.
#[must_use]
pub fn ceiling_many(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    fixed_ohm: &[f64],
    band_hz: (f64, f64),
) -> Ceiling {
    let moving: Vec<Moving> = moving.iter().copied().filter(|&(_, (low, high))| high > low).collect();
    let Some(&(first, _)) = moving.first() else {
        return Ceiling::NOTHING_MOVES;
    };
    if moving.iter().any(|m| m.1.1.is_infinite()) {
        return Ceiling::none(Status::CanOpen);
    }
    let link = network.section_of(first);
    let role = |k: usize| network.contacts[k].role;
    if (0..fixed_ohm.len()).any(|k| role(k) == Role::SharedReturn && fixed_ohm[k] > 0.0) {
        return Ceiling::none(Status::SharedReturn);
    }
    let in_series = |k: usize| matches!(role(k), Role::Signal | Role::Return);
    if !moving.iter().all(|&(k, _)| network.section_of(k) == link && in_series(k)) {
        return Ceiling::none(Status::SeveralLoops);
    }
    let Some(several) = Several::new(network, link, driven_hz, &moving, fixed_ohm) else {
        return Ceiling::none(Status::NoFundamental);
    };
    several.ceiling(driven_hz, band_hz)
}

impl<'a> Several<'a> {
    fn new(network: &'a Network, link: usize, driven_hz: f64, moving: &[Moving], fixed_ohm: &[f64]) -> Option<Self> {
        let mut middle_ohm = fixed_ohm.to_vec();
        for &(index, (low, high)) in moving {
            middle_ohm[index] = 0.5 * (low + high);
        }
        let zero = Complex64::new(0.0, 0.0);
        let n = moving.len();
        let first = network.links[link].ladder.contacts().start;
        let mut this = Self {
            network,
            link,
            contacts: moving.iter().map(|m| m.0 - first).collect(),
            fixed_ohm: middle_ohm,
            delta: moving.iter().map(|m| 0.5 * (m.1.1 - m.1.0)).collect(),
            after_driven: 1.0,
            a: DVector::zeros(n),
            t: zero,
            at_driven: (DMatrix::zeros(n, n), DVector::zeros(n)),
        };
        this.after_driven = gain_after(network, link, driven_hz, &this.fixed_ohm);
        let ports = Ports::new(&network.links[link].ladder, &[driven_hz], &this.fixed_ohm);
        this.a = DVector::from_iterator(n, this.contacts.iter().map(|&k| ports.drive[k]));
        this.t = ports.output[0];
        if this.t.norm() * this.after_driven <= 0.0 {
            return None;
        }
        let mut seen = this.see(&[driven_hz]);
        this.at_driven = (seen.g.pop()?, seen.h.pop()?);
        Some(this)
    }

    fn see(&self, frequency_hz: &[f64]) -> Seen {
        let ports = Ports::new(&self.network.links[self.link].ladder, frequency_hz, &self.fixed_ohm);
        let (n, points) = (self.contacts.len(), frequency_hz.len());
        let mut seen = Seen { g: Vec::with_capacity(points), h: Vec::with_capacity(points) };
        for (point, &frequency) in frequency_hz.iter().enumerate() {
            let gain = gain_after(self.network, self.link, frequency, &self.fixed_ohm) / self.after_driven;
            let at = |k: usize, j: usize| ports.admittance(self.contacts[k], self.contacts[j], point);
            seen.g.push(DMatrix::from_fn(n, n, at));
            let reach = |k: usize, _| ports.reach[self.contacts[k] * points + point] * gain;
            seen.h.push(DVector::from_fn(n, reach));
        }
        seen
    }

    /// `diag(left) m diag(right)`.
    fn scaled(m: &DMatrix<Complex64>, left: &[f64], right: &[f64]) -> DMatrix<Complex64> {
        DMatrix::from_fn(m.nrows(), m.ncols(), |k, j| m[(k, j)] * (left[k] * right[j]))
    }

    /// `v^H (1 - m m^H)^-1 v`; infinite where the bracket is not positive definite.
    fn over_rest(m: &DMatrix<Complex64>, v: &DVector<Complex64>) -> f64 {
        let n = m.nrows();
        let rest = DMatrix::identity(n, n) - m * m.adjoint();
        // Cholesky of a complex matrix takes square roots of negative pivots: look at them first
        let Some(factor) = rest.clone().cholesky() else { return f64::INFINITY };
        let l = factor.l();
        let definite = (0..n).all(|k| l[(k, k)].re > 0.0 && l[(k, k)].im.abs() <= 1e-12 * l[(k, k)].re);
        if !definite {
            return f64::INFINITY;
        }
        v.dotc(&factor.solve(v)).re
    }

    /// What the weights make of the driven line: `c^H (1 - Q Q^H)^-1 c`.
    fn driven(&self, w: &[f64]) -> f64 {
        let (g, h) = &self.at_driven;
        let left: Vec<f64> = w.iter().zip(&self.delta).map(|(w, delta)| w * delta).collect();
        let right: Vec<f64> = w.iter().map(|w| w.recip()).collect();
        let loaded = &self.a * h.transpose() / self.t - g;
        let c = DVector::from_fn(w.len(), |k, _| self.a[k] / self.t * left[k]);
        Self::over_rest(&Self::scaled(&loaded, &left, &right), &c)
    }

    /// `lambda` at one point: `g (1 - K^H K)^-1 g^H`.
    fn lambda(&self, w: &[f64], g: &DMatrix<Complex64>, h: &DVector<Complex64>) -> f64 {
        let left: Vec<f64> = w.iter().zip(&self.delta).map(|(w, delta)| w * delta).collect();
        let right: Vec<f64> = w.iter().map(|w| w.recip()).collect();
        let k = Self::scaled(g, &left, &right);
        let row = DVector::from_fn(w.len(), |n, _| h[n].conj() * right[n]);
        Self::over_rest(&k.adjoint(), &row)
    }

    fn largest(&self, w: &[f64], seen: &Seen, every: usize) -> f64 {
        let points = (0..seen.g.len()).step_by(every);
        points.map(|k| self.lambda(w, &seen.g[k], &seen.h[k])).fold(0.0, f64::max)
    }

    /// Whether no frequency can take a negative share under these weights.
    fn everywhere_passive(&self, w: &[f64], wide: &Seen, every: usize) -> bool {
        let zero = DVector::zeros(w.len());
        (0..wide.g.len()).step_by(every).all(|k| self.lambda(w, &wide.g[k], &zero).is_finite())
    }

    /// Weights that make the bound small, by coordinate search on their logarithms.
    fn weights(&self, seen: &Seen) -> Vec<f64> {
        let passive: Vec<f64> = self.delta.iter().map(|delta| delta.sqrt().recip()).collect();
        let mut w = passive.clone();
        let grid: Vec<f64> = log_grid(EVERYWHERE_HZ).iter().step_by(4).map(|x| x.exp()).collect();
        let wide = self.see(&grid);
        let cost = |w: &[f64]| {
            if !self.everywhere_passive(w, &wide, COARSE) {
                return f64::INFINITY;
            }
            self.largest(w, seen, COARSE) * self.driven(w)
        };
        let mut best = cost(&w);
        for step in [4.0f64, 2.0, 1.4, 1.2, 1.1, 1.05] {
            for _ in 0..4 {
                let before = best;
                for k in 1..w.len() {
                    for factor in [step, step.recip()] {
                        let mut other = w.clone();
                        other[k] *= factor;
                        let found = cost(&other);
                        // from no bound at all any bound is better
                        if found < best || (best.is_infinite() && found.is_finite()) {
                            (w, best) = (other, found);
                        }
                    }
                }
                if best >= before {
                    break;
                }
            }
        }
        // the passive choice needs no proof at any frequency
        if self.everywhere_passive(&w, &wide, 1) { w } else { passive }
    }

    fn ceiling(&self, driven_hz: f64, band_hz: (f64, f64)) -> Ceiling {
        let log_grid = log_grid(band_hz);
        let grid: Vec<f64> = log_grid.iter().map(|x| x.exp()).collect();
        let on_grid = self.see(&grid);
        let w = self.weights(&on_grid);
        let driven = self.driven(&w);
        let values: Vec<f64> = on_grid.g.iter().zip(&on_grid.h).map(|(g, h)| self.lambda(&w, g, h)).collect();
        let refined = |ln_f: f64| {
            let seen = self.see(&[ln_f.exp()]);
            self.lambda(&w, &seen.g[0], &seen.h[0])
        };
        let chatter = (refine_largest(&log_grid, &values, refined) * driven).sqrt();
        if !chatter.is_finite() {
            return Ceiling::none(Status::NoBound);
        }
        let last = (band_hz.1 / driven_hz * (1.0 + 1e-12)).floor() as usize;
        let harmonics = if last > MOST_HARMONICS {
            chatter
        } else {
            let lines: Vec<f64> = (2..=last).map(|n| n as f64 * driven_hz).filter(|&f| f >= band_hz.0).collect();
            if lines.is_empty() { f64::NAN } else { (self.largest(&w, &self.see(&lines), 1) * driven).sqrt() }
        };
        Ceiling { harmonics, chatter, status: Status::Holds }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Contact, Lead, Load, PathItem, Section, Source};
    use crate::response::ceiling::ceiling;
    use crate::response::linear::AUDIBLE_BAND_HZ;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn section(henry: f64, between: Lead) -> Network {
        Network::from_section(&Section {
            name: "s".into(),
            source: Some(Source { emf_v: 1.0, resistance_ohm: 800.0, inductance_h: henry }),
            path: vec![
                PathItem::Contact(Contact::ohmic("a", 0.0)),
                PathItem::Lead(between),
                PathItem::Contact(Contact::ohmic("b", 0.0)),
            ],
            load: Load { capacitance_f: 2e-10, ..Load::resistance(47e3) },
        })
        .unwrap()
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn contacts_of_one_loop_are_t1(
            henry in 0.0f64..0.6, low in 0.0f64..500.0, a in 1.0f64..2e4, b in 1.0f64..2e4
        ) {
            // coordinate search stops at steps of 5 %: a flat minimum, so the bound is within 1e-2 of its best
            const SEARCH: f64 = 1e-2;
            let network = section(henry, Lead { resistance_ohm: 3.0, ..Lead::default() });
            let moving = [(0, (low, low + a)), (1, (0.0, b))];
            let many = ceiling_many(&network, 1e3, &moving, &[0.0; 2], AUDIBLE_BAND_HZ);
            let one = ceiling(&network, 1e3, &moving, &[0.0; 2], AUDIBLE_BAND_HZ);
            prop_assert!(many.chatter >= one.chatter * (1.0 - 1e-9), "{} {}", many.chatter, one.chatter);
            prop_assert!(many.chatter <= one.chatter * (1.0 + SEARCH), "{} {}", many.chatter, one.chatter);
        }

        #[test]
        fn one_contact_is_t1(henry in 0.0f64..0.6, low in 0.0f64..500.0, a in 1.0f64..1e6) {
            let network = section(henry, Lead { capacitance_f: 3e-10, ..Lead::default() });
            let moving = [(0, (low, low + a))];
            let many = ceiling_many(&network, 1e3, &moving, &[0.0; 2], AUDIBLE_BAND_HZ);
            let one = ceiling(&network, 1e3, &moving, &[0.0; 2], AUDIBLE_BAND_HZ);
            prop_assert!((many.chatter / one.chatter - 1.0).abs() < 1e-6, "{} {}", many.chatter, one.chatter);
            prop_assert!((many.harmonics / one.harmonics - 1.0).abs() < 1e-6);
        }

        #[test]
        fn more_to_move_is_never_less(henry in 0.0f64..0.6, a in 1.0f64..1e4, b in 1.0f64..1e4) {
            let network = section(henry, Lead { capacitance_f: 3e-10, ..Lead::default() });
            let both = ceiling_many(&network, 1e3, &[(0, (0.0, a)), (1, (0.0, b))], &[0.0; 2], AUDIBLE_BAND_HZ);
            let alone = ceiling(&network, 1e3, &[(0, (0.0, a))], &[0.0; 2], AUDIBLE_BAND_HZ);
            prop_assert!(both.status != Status::Holds || both.chatter >= alone.chatter * (1.0 - 1e-9));
        }
    }

    #[test]
    fn small_contacts_of_two_loops_add_about() {
        // to first order in the ohms each adds its own ceiling, if both are worst at the same frequency
        let network = section(0.0, Lead { capacitance_f: 1e-9, ..Lead::default() });
        let of = |moving: &[Moving]| ceiling_many(&network, 1e3, moving, &[0.0; 2], AUDIBLE_BAND_HZ).chatter;
        let (a, b) = (of(&[(0, (0.0, 1.0))]), of(&[(1, (0.0, 1.0))]));
        assert_relative_eq!(of(&[(0, (0.0, 1.0)), (1, (0.0, 1.0))]), a + b, max_relative = 0.01);
    }

    #[test]
    fn what_it_refuses() {
        let network = section(0.0, Lead::default());
        let of = |moving: &[Moving]| ceiling_many(&network, 1e3, moving, &[0.0; 2], AUDIBLE_BAND_HZ).status;
        assert_eq!(of(&[(0, (0.0, f64::INFINITY)), (1, (0.0, 1.0))]), Status::CanOpen);
        assert_eq!(of(&[(0, (1.0, 1.0))]), Status::Holds);
    }
}
