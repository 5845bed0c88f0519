//! The largest `lambda = d/a` of a band, no frequency left out.
//!
//! On an interval `gamma a - d` is a polynomial. It is above zero where its parabola is by more than its other terms; else where its
//! slope keeps its sign, or its curvature is at least `m > 0`: then from its value at any `x`, `q(x) - q'(x)^2/(2 m)`, `x` by a few steps of
//! Newton. What is reached there is the next `gamma` (Dinkelbach, Management Science 13, 1967 \[memory\]), which only grows, so intervals that are done
//! stay done. An interval of which none of it can be said is halved.

use super::{Form, Group, Square};
use crate::physics::lanes::Lanes;
use pulp::Simd;

/// How much more than what is reached is asked first, relative.
const ASKED: f64 = 1e-12;

/// What may be asked more where rounding leaves no proof of less, relative to `lambda`.
const MOST_ASKED: f64 = 1e-9;

/// Rounds of one interval.
const ROUNDS: usize = 4;

/// Steps of Newton in a round.
const STEPS: usize = 3;

/// Halvings of an interval.
const DEPTH: u32 = 12;

/// What is found.
pub(super) struct Top<S: Simd> {
    /// never below the largest `lambda`; not a number where there is no proof
    pub(super) lambda: Lanes<S>,
    /// `w^2` where so much is reached
    pub(super) at: Lanes<S>,
}

impl<S: Simd> Group<'_, S> {
    #[inline(always)]
    pub(super) fn largest<const N: usize>(&self) -> Top<S> {
        let simd = self.simd;
        let splat = |number: f64| Lanes::splat(simd, number);
        let (zero, one) = (splat(0.0), splat(1.0));
        let (mut reached, mut at) = (zero, zero);
        let ends = self.route.spans.iter().map(|span| span.0).chain(self.route.spans.last().map(|span| span.1));
        for end in ends {
            let form = self.walk::<1>(Square::at(splat(end)), -1.0);
            let value = form.d.0[0] / form.a.0[0];
            at = reached.below(value).select(splat(end), at);
            reached = reached.max(value);
        }
        let mut gamma = reached * (1.0 + ASKED);
        // one where a set has no proof
        let mut lost = zero;
        let mut open = [((0.0, 0.0), 0); DEPTH as usize + 1];
        for span in &self.route.spans {
            open[0] = (*span, 0);
            let mut count = 1;
            while count > 0 {
                count -= 1;
                let (span, depth) = open[count];
                let square = Square::over(simd, span);
                let form: Form<S, N> = self.walk(square, -1.0);
                let all = self.walk::<1>(Square::at(splat(span.1)), 1.0);
                let rounding = self.rounding();
                let rest = [all.a.0[0] * rounding, all.d.0[0] * rounding];
                let mut proved = one.below(lost + lost);
                for round in 0..=ROUNDS {
                    let q = form.a.scaled_less(gamma, &form.d);
                    let rest = gamma.times_plus(rest[0], rest[1]);
                    let low = below(&q.0, rest);
                    proved = (-low).below(zero).or(one.below(lost + lost));
                    if proved.all() {
                        break;
                    }
                    let (x, low) = lowest(&q.0, rest);
                    let value = form.d.at(x) / form.a.at(x);
                    let more = reached.below(value);
                    at = more.select(square.half.times_plus(x, square.middle), at);
                    reached = reached.max(value);
                    proved = proved.or((-low).below(zero));
                    if proved.all() {
                        break;
                    }
                    let next = gamma.max(reached * (1.0 + ASKED));
                    if round == ROUNDS {
                        // what rounding leaves open
                        let asked = (gamma - low / below(&form.a.0, all.a.0[0] * rounding)) * (1.0 + 4.0 * f64::EPSILON);
                        let within = gamma.below(asked).and(asked.below(reached * (1.0 + MOST_ASKED)));
                        gamma = proved.select(gamma, within.select(asked, gamma));
                        proved = proved.or(within);
                    } else {
                        gamma = proved.select(gamma, next);
                    }
                }
                if proved.all() {
                    continue;
                }
                if depth == DEPTH {
                    lost = proved.select(lost, one);
                    continue;
                }
                let middle = 0.5 * (span.0 + span.1);
                (open[count], open[count + 1]) = (((span.0, middle), depth + 1), ((middle, span.1), depth + 1));
                count += 2;
            }
        }
        Top { lambda: one.below(lost + lost).select(splat(f64::NAN), gamma), at }
    }
}

/// Below every value of a polynomial: its parabola less its other terms.
#[inline(always)]
fn below<S: Simd, const N: usize>(c: &[Lanes<S>; N], rest: Lanes<S>) -> Lanes<S> {
    let x = parabola(c);
    let value = c[2].times_plus(x, c[1]).times_plus(x, c[0]);
    let mut others = rest;
    for c in &c[3..] {
        others = others + c.abs();
    }
    value.min(c[0] + c[2] - c[1].abs()) - others
}

/// Where the parabola is least.
#[inline(always)]
fn parabola<S: Simd, const N: usize>(c: &[Lanes<S>; N]) -> Lanes<S> {
    let simd = c[0].simd();
    let (zero, one) = (Lanes::splat(simd, 0.0), Lanes::splat(simd, 1.0));
    let end = zero.below(c[1]).select(-one, one);
    let inside = zero.below(c[2]).and(c[1].abs().below(c[2] + c[2]));
    inside.select(-0.5 * c[1] / inside.select(c[2], one), end)
}

/// Where a polynomial is least, about, and below every value of it; minus infinity where that is not known.
#[inline(always)]
fn lowest<S: Simd, const N: usize>(c: &[Lanes<S>; N], rest: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let simd = c[0].simd();
    let splat = |number: f64| Lanes::splat(simd, number);
    let (zero, one) = (splat(0.0), splat(1.0));
    let (mut turned, mut bent) = (c[2].abs() * 2.0, zero);
    for k in 3..N {
        turned = c[k].abs().times_plus(splat(k as f64), turned);
        bent = c[k].abs().times_plus(splat((k * (k - 1)) as f64), bent);
    }
    let curvature = c[2] + c[2] - bent;
    let slanted = turned.below(c[1].abs());
    let mut x = parabola(c);
    let mut slope = zero;
    for step in 0..=STEPS {
        slope = c[N - 1] * (N - 1) as f64;
        let mut bend = zero;
        for k in (1..N - 1).rev() {
            bend = bend.times_plus(x, slope);
            slope = slope.times_plus(x, c[k] * k as f64);
        }
        if step < STEPS {
            // a bend the wrong way goes to the end that is downhill
            let next = zero.below(bend).select(x - slope / bend, zero.below(slope).select(-one, one));
            x = next.max(-one).min(one);
        }
    }
    let mut value = c[N - 1];
    for k in (0..N - 1).rev() {
        value = value.times_plus(x, c[k]);
    }
    let outwards = slope.below(zero).and(splat(1.0 - f64::EPSILON).below(x));
    let outwards = outwards.or(zero.below(slope).and(x.below(splat(f64::EPSILON - 1.0))));
    let gap = outwards.select(zero, slope * slope * 0.5 / curvature);
    let bowl = zero.below(curvature).select(value - gap - rest, splat(f64::NEG_INFINITY));
    // the end that is downhill
    let end = value_at_end(c, zero.below(c[1])) - rest;
    (slanted.select(zero.below(c[1]).select(-one, one), x), slanted.select(end, bowl))
}

#[inline(always)]
fn value_at_end<S: Simd, const N: usize>(c: &[Lanes<S>; N], left: crate::physics::lanes::Mask<S>) -> Lanes<S> {
    let (mut even, mut odd) = (c[0], c[1]);
    for k in 2..N {
        if k % 2 == 0 {
            even = even + c[k];
        } else {
            odd = odd + c[k];
        }
    }
    left.select(even - odd, even + odd)
}
