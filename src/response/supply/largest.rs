//! The largest `lambda = d/a` of a band, no frequency left out.
//!
//! On an interval `gamma a - d` is a polynomial. It is above zero where its Bernstein coefficients are; else, where those of its curvature are
//! at least `m > 0`, from its value at any `x`, `q(x) - q'(x)^2/(2 m)`, `x` by a few steps of Newton. What is reached there is the next `gamma`
//! (Dinkelbach, Management Science 13, 1967 \[memory\]), which only grows, so intervals that are done stay done. An interval of which
//! neither can be said is halved.

use super::Lambda;
use super::polynomial::lowest_coefficient;
use crate::physics::lanes::{Lanes, Mask};
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
const DEPTH: usize = 14;

/// What is found.
pub(super) struct Top<S: Simd> {
    /// never below the largest `lambda`; not a number where there is no proof
    pub(super) lambda: Lanes<S>,
    /// where so much is reached
    pub(super) at: Lanes<S>,
}

/// What is known of each set so far.
struct Known<S: Simd> {
    gamma: Lanes<S>,
    reached: Lanes<S>,
    /// where
    at: Lanes<S>,
    /// one where a set has no proof
    lost: Lanes<S>,
}

impl<S: Simd> Known<S> {
    #[inline(always)]
    fn is_lost(&self) -> Mask<S> {
        Lanes::splat(self.lost.simd(), 0.5).below(self.lost)
    }

    #[inline(always)]
    fn reach(&mut self, value: Lanes<S>, at: Lanes<S>) {
        self.at = self.reached.below(value).select(at, self.at);
        self.reached = self.reached.max(value);
    }
}

impl<S: Simd, const N: usize> Lambda<S, N> {
    /// Over pieces that meet at `ends`.
    #[inline(always)]
    pub(super) fn largest(&self, ends: &[f64]) -> Top<S> {
        let simd = self.a.0[0].simd();
        let (zero, one) = (Lanes::splat(simd, 0.0), Lanes::splat(simd, 1.0));
        let mut known = Known { gamma: zero, reached: zero, at: zero, lost: zero };
        for end in ends {
            let end = Lanes::splat(simd, *end);
            known.reach(self.at(end), end);
        }
        known.gamma = known.reached * (1.0 + ASKED);
        // where nothing moves, and where numbers leave their range
        let sound = zero.below(known.reached).and(known.reached.below(Lanes::splat(simd, f64::MAX)));
        known.lost = sound.select(zero, one);
        let mut open = [((0.0, 0.0), 0, known.is_lost()); DEPTH + 1];
        for ends in ends.windows(2) {
            open[0] = ((ends[0], ends[1]), 0, known.is_lost());
            let mut count = 1;
            while count > 0 {
                count -= 1;
                let (span, depth, before) = open[count];
                // what was proved of the whole is of its halves
                let proved = self.ask(span, &mut known, before);
                if proved.all() {
                    continue;
                }
                if depth == DEPTH {
                    known.lost = proved.select(known.lost, one);
                    continue;
                }
                let middle = 0.5 * (span.0 + span.1);
                open[count] = ((span.0, middle), depth + 1, proved);
                open[count + 1] = ((middle, span.1), depth + 1, proved);
                count += 2;
            }
        }
        Top { lambda: known.is_lost().select(Lanes::splat(simd, f64::NAN), known.gamma), at: known.at }
    }

    /// Whether no `lambda` of an interval is above what is asked, which grows to that end; true for sets that are lost.
    #[inline(always)]
    fn ask(&self, (low, high): (f64, f64), known: &mut Known<S>, before: Mask<S>) -> Mask<S> {
        let simd = self.a.0[0].simd();
        let middle = 0.5 * (low + high);
        // no end falls outside by rounding
        let half = (high - middle).max(middle - low) * (1.0 + 4.0 * f64::EPSILON);
        let end = Lanes::splat(simd, high * (1.0 + 4.0 * f64::EPSILON));
        let [rest_a, rest_d] = [self.most[0].at(end) * self.rounding, self.most[1].at(end) * self.rounding];
        let mut proved = before.or(known.is_lost());
        for round in 0..=ROUNDS {
            let q = self.a.scaled_less(known.gamma, &self.d).within(middle, half);
            let rest = known.gamma.times_plus(rest_a, rest_d);
            proved = proved.or(rest.below(lowest_coefficient(&q.0, 0)));
            if proved.all() {
                break;
            }
            let (x, low) = lowest(&q.0, rest);
            let y = x * half + middle;
            // of those that are proved nothing more is asked: their answers are the same whatever stands beside them
            known.reach(proved.select(Lanes::splat(simd, 0.0), self.at(y)), y);
            proved = proved.or(rest.below(low));
            if proved.all() {
                break;
            }
            if round == ROUNDS {
                // what rounding leaves open
                let least = lowest_coefficient(&self.a.within(middle, half).0, 0) - rest_a;
                let asked = (known.gamma + (rest - low) / least) * (1.0 + 4.0 * f64::EPSILON);
                let within = known.gamma.below(asked).and(asked.below(known.reached * (1.0 + MOST_ASKED)));
                let within = within.and(Lanes::splat(simd, 0.0).below(least));
                known.gamma = proved.select(known.gamma, within.select(asked, known.gamma));
                proved = proved.or(within);
            } else {
                known.gamma = proved.select(known.gamma, known.gamma.max(known.reached * (1.0 + ASKED)));
            }
        }
        proved
    }
}

/// Where a polynomial is least, about, and below every value of it but for its rounding, at most `rest`; minus infinity where that is
/// not known.
#[inline(always)]
pub(super) fn lowest<S: Simd, const N: usize>(c: &[Lanes<S>; N], rest: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let simd = c[0].simd();
    let (zero, one) = (Lanes::splat(simd, 0.0), Lanes::splat(simd, 1.0));
    let end = zero.below(c[1]).select(-one, one);
    let inside = zero.below(c[2]).and(c[1].abs().below(c[2] + c[2]));
    let mut x = inside.select(-0.5 * c[1] / inside.select(c[2], one), end);
    let mut slope = zero;
    for step in 0..=STEPS {
        slope = c[N - 1] * (N - 1) as f64;
        let mut bend = zero;
        for k in (1..N - 1).rev() {
            bend = bend.times_plus(x, slope);
            slope = slope.times_plus(x, c[k] * k as f64);
        }
        if step < STEPS {
            // where it bends the wrong way, the end that is downhill
            let next = zero.below(bend).select(x - slope / bend, zero.below(slope).select(-one, one));
            x = next.max(-one).min(one);
        }
    }
    let mut value = c[N - 1];
    for k in (0..N - 1).rev() {
        value = value.times_plus(x, c[k]);
    }
    // at an end of the interval with the slope outwards nothing inside is lower
    let outwards = slope.below(zero).and((one * (1.0 - f64::EPSILON)).below(x));
    let outwards = outwards.or(zero.below(slope).and(x.below(one * (f64::EPSILON - 1.0))));
    // what rounding leaves over of a coefficient is so often in the second derivative
    let curvature = lowest_coefficient(c, 2) - rest * ((N - 1) * (N - 2)) as f64;
    let gap = outwards.select(zero, slope * slope * 0.5 / curvature);
    (x, zero.below(curvature).select(value - gap, Lanes::splat(simd, f64::NEG_INFINITY)))
}
