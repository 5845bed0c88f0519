//! Weights other than `1/Delta`: a search in steps, and the proof that no frequency takes a negative share under them.

use super::polynomial::{Polynomial, lowest_coefficient};
use super::{Bound, Group, Lambda, Route, rounding_of};
use crate::physics::lanes::{Lanes, Mask};
use pulp::Simd;

/// Factors by which weights are changed.
const STEPS: [f64; 5] = [10.0, 3.0, 1.6, 1.2, 1.06];

/// How often one factor is tried while something gets better.
const PASSES: usize = 2;

/// A gain that counts, relative.
const WORTH: f64 = 1e-6;

/// Octaves of frequency below and above the end of the band that are looked at one by one; what is beyond is judged at once.
const OCTAVES: i32 = 14;

/// A weight for each loop, those that are best so far, and what walks leave at the contacts.
pub(super) struct Search<S: Simd, const N: usize> {
    weights: Vec<Lanes<S>>,
    tried: Vec<Lanes<S>>,
    under: Vec<Polynomial<S, N>>,
    most_under: Vec<Polynomial<S, N>>,
}

impl<S: Simd, const N: usize> Search<S, N> {
    pub(super) fn new(route: &Route, simd: S) -> Self {
        let weights = vec![Lanes::splat(simd, 1.0); route.loops.max(1)];
        let under = vec![Polynomial::constant(simd, 0.0); route.contacts.len()];
        Self { tried: weights.clone(), weights, most_under: under.clone(), under }
    }

    /// From `1/Delta`.
    #[inline(always)]
    pub(super) fn start(&mut self, group: &Group<'_, S>) {
        self.weights.fill(group.splat(1.0));
    }

    /// `lambda` under the weights that are tried.
    #[inline(always)]
    fn lambda(&mut self, group: &Group<'_, S>) -> Lambda<S, N> {
        let top = group.splat(group.route.top);
        let form = group.walk(top, -1.0, &self.tried, &mut self.under);
        let all = group.walk(top, 1.0, &self.tried, &mut self.most_under);
        // a contact is three elements: what it keeps, what moves of it, and where the weight changes
        let elements = group.route.elements.len() + 2 * group.route.contacts.len();
        Lambda { a: form.a, d: form.d, most: [all.a, all.d], rounding: rounding_of(elements, N) }
    }

    /// Both factors under the best weights.
    #[inline(always)]
    pub(super) fn bound(&mut self, group: &Group<'_, S>, driven_square: Lanes<S>) -> Bound<S, N> {
        self.tried.copy_from_slice(&self.weights);
        let lambda = self.lambda(group);
        let top = lambda.largest(&group.route.ends);
        Bound { lambda, top, driven: group.driven::<true>(driven_square, &self.weights) }
    }

    /// Both factors under given weights, and where these are proved to hold.
    #[cfg(test)]
    #[inline(always)]
    pub(super) fn under(
        &mut self,
        group: &Group<'_, S>,
        driven_square: Lanes<S>,
        weights: &[Lanes<S>],
    ) -> (Bound<S, N>, Mask<S>) {
        self.weights = weights.to_vec();
        self.tried = weights.to_vec();
        let bound = self.bound(group, driven_square);
        let definite = self.is_definite(group, &bound.lambda);
        (bound, definite)
    }

    /// Looks for better weights; whether any were found. They hold where they are better.
    #[inline(always)]
    pub(super) fn improve(&mut self, group: &Group<'_, S>, driven_square: Lanes<S>, passive: &Bound<S, N>) -> bool {
        let loops = self.weights.len();
        let most = group.splat(f64::MAX);
        let mut best = passive.top.lambda * passive.driven;
        // from no bound at all any bound is better
        best = best.below(most).select(best, most);
        let mut found = false;
        for step in STEPS {
            for _ in 0..PASSES {
                let mut better = false;
                // loops one after the other together, the first one left as it is: all weights times a number are the same
                for first in 1..loops {
                    for last in first..loops {
                        for factor in [step, step.recip()] {
                            self.tried.copy_from_slice(&self.weights);
                            self.tried[first..=last].iter_mut().for_each(|weight| *weight = *weight * factor);
                            let lambda = self.lambda(group);
                            let mut largest = lambda.at(passive.top.at);
                            for end in &group.route.ends {
                                largest = largest.max(lambda.at(group.splat(*end)));
                            }
                            let cost = largest * group.driven::<false>(driven_square, &self.tried);
                            let less = cost.below(best * (1.0 - WORTH)).and(group.splat(0.0).below(cost));
                            if !less.any() {
                                continue;
                            }
                            let less = less.and(self.is_definite(group, &lambda));
                            if less.any() {
                                best = less.select(cost, best);
                                for (weight, tried) in self.weights.iter_mut().zip(&self.tried) {
                                    *weight = less.select(*tried, *weight);
                                }
                                (better, found) = (true, true);
                            }
                        }
                    }
                }
                if !better {
                    break;
                }
            }
        }
        found
    }

    /// Whether no frequency from zero to infinity takes a negative share under the weights that are tried.
    #[inline(always)]
    fn is_definite(&self, group: &Group<'_, S>, lambda: &Lambda<S, N>) -> Mask<S> {
        let zero = group.splat(0.0);
        let mut proved = is_positive(&lambda.a, &lambda.most[0], lambda.rounding);
        let mut moved = zero.below(zero);
        for k in 0..self.under.len() {
            let moves = zero.below(group.delta(k));
            // behind the first contact that moves d is a multiple of a
            let needed = moves.and(moved);
            if needed.any() {
                let holds = is_positive(&self.under[k], &self.most_under[k], lambda.rounding);
                proved = proved.and(holds.or(group.splat(0.5).below(needed.select(zero, group.splat(1.0)))));
            }
            moved = moved.or(moves);
        }
        proved
    }
}

/// Whether a polynomial is above zero for every `y` of zero and more, its rounding counted.
#[inline(always)]
fn is_positive<S: Simd, const N: usize>(c: &Polynomial<S, N>, most: &Polynomial<S, N>, rounding: f64) -> Mask<S> {
    let simd = c.0[0].simd();
    let zero = Lanes::splat(simd, 0.0);
    let mut low = *c;
    for (low, most) in low.0.iter_mut().zip(&most.0) {
        *low = *low - *most * rounding;
    }
    let start = 4f64.powi(-OCTAVES);
    // up to there: every sum of first terms; from the other end on every sum of last ones (Abel's summation)
    let mut positive = zero.below(low.0[0]);
    let (mut sum, mut power) = (low.0[0], 1.0);
    for k in 1..N {
        power *= start;
        sum = low.0[k].times_plus(Lanes::splat(simd, power), sum);
        positive = positive.and(zero.below(sum));
    }
    let (mut sum, mut power) = (zero, start.powi(1 - N as i32));
    for k in (0..N).rev() {
        sum = low.0[k].times_plus(Lanes::splat(simd, power), sum);
        positive = positive.and(Lanes::splat(simd, -f64::MIN_POSITIVE).below(sum));
        power *= start;
    }
    for octave in -OCTAVES..OCTAVES {
        if !positive.any() {
            break;
        }
        let (from, to) = (4f64.powi(octave), 4f64.powi(octave + 1));
        let middle = 0.5 * (from + to);
        let piece = low.within(middle, (to - middle) * (1.0 + 4.0 * f64::EPSILON));
        // what the shift rounds
        let rest = most.at(Lanes::splat(simd, to)) * rounding;
        positive = positive.and(rest.below(lowest_coefficient(&piece.0, 0)));
    }
    positive
}
