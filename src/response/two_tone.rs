//! Two tones at once: the products that films make of them.
//!
//! `U(k1, k2)` is the level at the output of the product at `k1 f1 + k2 f2`, `f1` the lower tone. Definitions of IEC 60268-3
//! \[memory\]; the reference of the difference form, twice the upper tone, \[seen\]:
//!
//! * unequal tones, modulation distortion (14.12.7): `d2 = (U(-1,1) + U(1,1))/U(0,1)`, `d3 = (U(-2,1) + U(2,1))/U(0,1)`
//! * equal tones, difference-frequency distortion (14.12.8): `d2 = U(-1,1)/(2 U(0,1))`, `d3 = (U(2,-1) + U(-1,2))/(2 U(0,1))`
//! * `rms`: unequal tones, all sidebands `k1 != 0` of the upper tone over it (spectral form, common practice); equal tones,
//!   all that is neither tone nor direct current over the root of the sum of squares of the tones.
//!
//! Lowest order for `y = x + a2 x^2 + a3 x^3`, low tone A, high tone B: `d2 = 2 a2 A`, `d3 = (3/2) a3 A^2`; equal tones A: `d2 =
//! a2 A/2`, `d3 = (3/4) a3 A^2` (derived). The levels are those at the output, so equalisation lifts what falls low.

use super::distortion::Outcome;
use super::steady::solve::{Answer, Solver, Tones};
use crate::circuit::chain::Network;
use std::f64::consts::SQRT_2;

/// Products up to this order are listed.
pub const MOST_ORDER: i32 = 5;

/// Distortion of two tones at the output.
#[derive(Debug, Clone)]
pub struct TwoTone {
    /// second-order products, by the definition for the ratio of the tones
    pub d2: f64,
    /// third-order products
    pub d3: f64,
    /// rms form
    pub rms: f64,
    /// levels of the listed products over the upper tone, in the order of [`products`]
    pub level: Vec<f64>,
    /// bound of the error of everything at the output, over the upper tone
    pub error_bound: f64,
    /// rounds of the solver
    pub rounds: usize,
    /// how to take it
    pub outcome: Outcome,
}

/// Orders of the listed products: all `(k1, k2)` with `2 <= |k1| + |k2| <= 5`, of a mirror pair the one with `k2 > 0`, or `k1 > 0`.
#[must_use]
pub fn products() -> Vec<(i32, i32)> {
    let mut all = Vec::new();
    for order in 2..=MOST_ORDER {
        for k2 in 0..=order {
            let k1 = order - k2;
            if k1 != 0 && k2 != 0 {
                all.push((-k1, k2));
            }
            all.push((k1, k2));
        }
    }
    all
}

/// Level of a product, V rms.
fn level_v(answer: &Answer, order: (i32, i32)) -> f64 {
    let mirror = (-order.0, -order.1);
    let line = answer.orders.iter().position(|o| *o == order || *o == mirror);
    line.map_or(0.0, |line| SQRT_2 * answer.output[line].norm())
}

/// Two tones of a common peak, that of a sine of `emf_v` (rms); `ratio` is the lower tone's amplitude over the upper one's.
pub fn two_tone(
    solver: &mut Solver,
    network: &Network,
    (low_hz, high_hz): (f64, f64),
    (emf_v, ratio): (f64, f64),
    film_ohm: &[f64],
) -> TwoTone {
    let (low_v, high_v) = (emf_v * ratio / (1.0 + ratio), emf_v / (1.0 + ratio));
    let answer = solver.solve(network, Tones::Two((low_hz, low_v), (high_hz, high_v)), film_ohm);
    let u = |k1, k2| level_v(&answer, (k1, k2));
    let upper = u(0, 1);
    let of = |wanted: &dyn Fn(i32, i32) -> bool| -> f64 {
        let lines = answer.output.iter().zip(&answer.orders);
        lines.filter(|(_, (k1, k2))| wanted(*k1, *k2)).map(|(line, _)| 2.0 * line.norm_sqr()).sum::<f64>().sqrt()
    };
    let (d2, d3, rms) = if ratio == 1.0 {
        let tone = |k1: i32, k2: i32| k1.abs() + k2.abs() <= 1;
        let rest = of(&|k1, k2| !tone(k1, k2));
        (u(-1, 1) / (2.0 * upper), (u(2, -1) + u(-1, 2)) / (2.0 * upper), rest / u(1, 0).hypot(upper))
    } else {
        let sidebands = of(&|k1, k2| k2.abs() == 1 && k1 != 0);
        ((u(-1, 1) + u(1, 1)) / upper, (u(-2, 1) + u(2, 1)) / upper, sidebands / upper)
    };
    TwoTone {
        d2,
        d3,
        rms,
        level: products().iter().map(|&(k1, k2)| u(k1, k2) / upper).collect(),
        error_bound: answer.error_v / upper,
        rounds: answer.rounds,
        outcome: Outcome::of(answer.converged && rms.is_finite(), upper.min(u(1, 0))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Contact, Load, PathItem, Section, Source};
    use crate::physics::Film;
    use crate::response::distortion::Outcome;
    use std::f64::consts::TAU;

    #[test]
    fn the_finest_grid_answers_as_far_as_it_holds() {
        // a tunnelling film that wants more than the last grid but one: 400 ohm in front, instant by instant, so that the products
        // are a double Fourier series of a function of two angles (after Bennett 1933 [memory]), here by halving on a finer grid
        let (resistance_ohm, scale_v, emf_v) = (500.0, 0.2, 2.2);
        let film = Film::Tunnelling { resistance_ohm, scale_v };
        let section = Section {
            name: "s".into(),
            source: Some(Source { emf_v, resistance_ohm: 100.0, inductance_h: 0.0 }),
            path: vec![PathItem::Contact(Contact { film, ..Contact::ohmic("k", 1.0) })],
            load: Load::resistance(300.0),
        };
        let network = Network::from_section(&section).unwrap();
        let mut solver = Solver::default();
        let tones = Tones::Two((60.0, 0.8 * emf_v), (7000.0, 0.2 * emf_v));
        assert_eq!(solver.solve(&network, tones, &[resistance_ohm]).samples, 135 * 133);
        let found = two_tone(&mut solver, &network, (60.0, 7000.0), (emf_v, 4.0), &[resistance_ohm]);
        assert_eq!(found.outcome, Outcome::Converged);
        assert!(found.error_bound > 1e-9 && found.error_bound < 1e-6, "{}", found.error_bound);
        const STEPS: usize = 256;
        let current_a = |across_v: f64| {
            let (mut low, mut high) = (0.0, across_v.abs());
            for _ in 0..60 {
                let film_v = 0.5 * (low + high);
                let over = scale_v / resistance_ohm * (film_v / scale_v).sinh() * 400.0 + film_v > across_v.abs();
                *(if over { &mut high } else { &mut low }) = film_v;
            }
            (across_v - low.copysign(across_v)) / 400.0
        };
        let angle = |k: usize| TAU * k as f64 / STEPS as f64;
        let orders = [(0i32, 1i32), (-2, 1), (2, 1)];
        let mut sums = [0.0; 3];
        for (a, b) in (0..STEPS).flat_map(|a| (0..STEPS).map(move |b| (angle(a), angle(b)))) {
            let load_v = 300.0 * current_a(SQRT_2 * emf_v * (0.8 * a.cos() + 0.2 * b.cos()));
            for (sum, (k1, k2)) in sums.iter_mut().zip(orders) {
                *sum += load_v * (f64::from(k1) * a + f64::from(k2) * b).cos();
            }
        }
        let d3 = (sums[1] + sums[2]).abs() / sums[0];
        assert!(
            d3 > 0.05 && (found.d3 - d3).abs() < found.error_bound * (1.0 + d3),
            "{} {d3} {}",
            found.d3,
            found.error_bound
        );
        assert!(found.d2 < found.error_bound);
    }
}
