//! How far a loop changes between two frequencies, as its contacts see it.
//!
//! With `Z = M + Rmid` and `D = |Z|^2 - Delta^2` two frequencies have the coupling
//!
//! `kappa = (conj(Z) Z' - Delta^2)/sqrt(D D')`, `|kappa|^2 = 1 + sinh^2 d`, `sinh d = Delta |Z - Z'|/sqrt(D D')`.
//!
//! `d` is a distance (the points `Z` lie outside a circle of radius `Delta`, a model of the hyperbolic plane): it is at most the
//! length of the path between, and over a short step it is `Delta |dM| / D`. By the theorem of the sensitivities of a network
//! (Cohn 1950 \[memory\]) `dM/ds = sum L h^2 - sum C g^2`, `h` the current of an inductance and `g` the voltage of a capacitance
//! per ampere of the loop, so `|dM/dw| <= sum L |h|^2 + sum C |g|^2 = S`. For frequencies that are `w` apart
//!
//! `d <= most over x of the integral of Delta S/D from x to x + w`.
//!
//! `S` and `D` are sums of squares of polynomials, enclosed over intervals from zero to infinity; what is given is never too
//! small. Across the signal the same with admittances.

use super::ceiling::Loop;
use super::enclosed::{EVEN, Field, Term, Walk};
use super::supremum::{SPLIT, Span};

/// An interval is halved while the rate on it may be this much above its middle.
const CLOSE: f64 = 1.2;

/// What an interval adds to the drift is not worth halving below this.
const NEGLIGIBLE: f64 = 1e-4;

/// Most enclosures; the bound is safe wherever it ends.
const MOST: usize = 1000;

/// `Delta S/D` from above, constant on intervals of angular frequency from zero to infinity.
#[derive(Debug)]
pub(super) struct Drift {
    /// lower ends, rad/s, the rate from there to the next one, s, and its integral up to there
    steps: Vec<(f64, f64, f64)>,
}

impl Loop<'_> {
    /// `Delta S/D` over an interval; nothing if it has no bound there. In siemens across the signal.
    fn drift_rate(&self, span: Span, (low, high): (f64, f64)) -> Option<(f64, f64)> {
        let field = Field::with_energy(span);
        let walk = Walk::new(&field, self.ladder(), self.fixed_ohm(), EVEN);
        let cut = self.cut(&walk);
        let square = |amount: &Term| field.weighed_square(1.0, amount);
        let (b, u) = (square(cut.b()), square(cut.u()));
        let both = |(down, up): &(Term, Term)| {
            field.plus_squares(&field.times_squares(&u, down), &field.times_squares(&b, up))
        };
        let mut d = square(&walk.emf);
        for (weight, part) in [(low + high, both(&cut.power)), (low * high, field.times_squares(&b, &u))] {
            if weight > 0.0 {
                d = field.plus_squares(&d, &part.scaled(weight));
            }
        }
        let rate = field.ratio_of_squares(&both(&cut.stored), &d)?.scaled(0.5 * (high - low));
        let top = rate.largest().1;
        top.is_finite().then(|| (rate.middle().re, top.max(0.0)))
    }
}

impl Drift {
    /// For steps of at most `widest` rad/s; nothing if no bound is found.
    pub(super) fn new(ready: &Loop, range: (f64, f64), widest: f64) -> Option<Self> {
        let mut open = Span::everywhere();
        open.reverse();
        let (mut steps, mut left) = (Vec::new(), MOST);
        while let Some(span) = open.pop() {
            left = left.checked_sub(1)?;
            let (from, to) = match span {
                Span::Low(a, b) => (a, b),
                Span::High(a, b) => (SPLIT / b, SPLIT / a),
            };
            match ready.drift_rate(span, range) {
                Some((middle, top)) if top <= CLOSE * middle || top * widest.min(to - from) <= NEGLIGIBLE => {
                    steps.push((from, top, 0.0));
                }
                _ if span.is_narrow() => return None,
                _ => open.extend(span.halves()),
            }
        }
        steps.sort_by(|a, b| a.0.total_cmp(&b.0));
        for k in 1..steps.len() {
            let (from, rate, until) = steps[k - 1];
            steps[k].2 = until + rate * (steps[k].0 - from);
        }
        Some(Self { steps })
    }

    /// Integral of the rate from zero.
    fn until(&self, omega: f64) -> f64 {
        let at = self.steps.partition_point(|step| step.0 <= omega).max(1) - 1;
        let (from, rate, until) = self.steps[at];
        until + rate * (omega - from)
    }

    /// `sinh d` for frequencies `apart` rad/s from each other, negative ones among them.
    pub(super) fn between(&self, apart: f64) -> f64 {
        let signed = |omega: f64| self.until(omega.abs()).copysign(omega);
        let over = |from: f64| signed(from + apart) - signed(from);
        // the integral over a window is linear between places where an end of it meets an end of an interval
        let at = self.steps.iter().flat_map(|s| [s.0, s.0 - apart, -s.0, -s.0 - apart]).map(over).fold(0.0, f64::max);
        (at * (1.0 + 1e-12)).sinh()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::chain::Network;
    use crate::circuit::{Contact, Lead, Load, PathItem, Role, Section, Source};
    use crate::response::linear::AUDIBLE_BAND_HZ;
    use num_complex::Complex64;
    use proptest::prelude::*;
    use std::f64::consts::TAU;

    proptest! {
        #[test]
        fn no_two_frequencies_are_further_apart(
            henry in 0.0f64..0.2, farad in 0.0f64..1e-7, load_f in 0.0f64..1e-8, low in 0.0f64..500.0, swing in 1.0f64..2e3,
            f in -3e5f64..3e5, apart in 1.0f64..4e4, across: bool
        ) {
            let role = if across { Role::Shunt } else { Role::Signal };
            let path = vec![
                PathItem::Lead(Lead { resistance_ohm: 3.0, inductance_h: 1e-5, capacitance_f: farad }),
                PathItem::Contact(Contact::perfect("c", role)),
            ];
            let source = Some(Source { emf_v: 1.0, resistance_ohm: 600.0, inductance_h: henry });
            let load = Load { capacitance_f: load_f, ..Load::resistance(1e4) };
            let network = Network::from_section(&Section { name: "s".into(), source, path, load }).unwrap();
            let ready = Loop::new(&network, &[0], &[0.0], 1e3, AUDIBLE_BAND_HZ).unwrap();
            let (low, high) = if across { (0.0, swing * 1e-6) } else { (low, low + swing) };
            let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
            let z = |f: f64| -> Complex64 {
                let m = ready.drive(f.abs()).0 + middle;
                if f < 0.0 { m.conj() } else { m }
            };
            let (a, b) = (z(f), z(f + apart));
            let d = |z: Complex64| z.norm_sqr() - half * half;
            let exact = half * (a - b).norm() / (d(a) * d(b)).sqrt();
            let found = Drift::new(&ready, (low, high), TAU * apart).unwrap().between(TAU * apart);
            prop_assert!(exact <= found * (1.0 + 1e-6) + 1e-9, "{exact} {found}");
        }
    }

    #[test]
    fn rounding_is_on_the_safe_side() {
        // one rate everywhere: the integral over a window is its product with the width
        let drift = Drift { steps: vec![(0.0, 1e-3, 0.0)] };
        for apart in [0.3f64, 2.0, 700.0] {
            let exact = (1e-3 * apart).sinh();
            let found = drift.between(apart);
            assert!(found > exact && found < exact * (1.0 + 1e-11), "{found} {exact}");
        }
    }

    #[test]
    fn a_resistive_loop_does_not_change_and_a_reactive_one_does() {
        let of = |farad: f64| {
            let source = Some(Source { emf_v: 1.0, resistance_ohm: 300.0, inductance_h: 0.0 });
            let path = vec![PathItem::Contact(Contact::ohmic("c", 0.0))];
            let load = Load { capacitance_f: farad, ..Load::resistance(700.0) };
            let network = Network::from_section(&Section { name: "s".into(), source, path, load }).unwrap();
            let ready = Loop::new(&network, &[0], &[0.0], 1e3, AUDIBLE_BAND_HZ).unwrap();
            Drift::new(&ready, (0.0, 100.0), TAU * 1e3).unwrap().between(TAU * 1e3)
        };
        assert_eq!(of(0.0), 0.0);
        // near zero frequency M = R - j w C R^2: the largest rate, Delta C R^2 / D
        let (c, d) = (1e-8, 1050.0f64.powi(2) - 2500.0);
        let rate = 50.0 * c * 700.0 * 700.0 / d;
        let found = of(c);
        assert!(found > 0.95 * rate * TAU * 1e3 && found < 1.3 * rate * TAU * 1e3, "{found} {}", rate * TAU * 1e3);
    }
}
