//! Polynomials in `x` of `[-1, 1]`, a set in each lane.

use super::Square;
use crate::physics::lanes::Lanes;
use pulp::Simd;

/// `N` coefficients, the constant first. What `N` does not hold is not there: degrees are below `N` but for `N = 1`, a single point.
#[derive(Clone, Copy)]
pub(super) struct Polynomial<S: Simd, const N: usize>(pub(super) [Lanes<S>; N]);

impl<S: Simd, const N: usize> Polynomial<S, N> {
    #[inline(always)]
    pub(super) fn constant(simd: S, number: f64) -> Self {
        let mut c = [Lanes::splat(simd, 0.0); N];
        c[0] = Lanes::splat(simd, number);
        Self(c)
    }

    /// Plus `by` times another.
    #[inline(always)]
    pub(super) fn add(&mut self, by: Lanes<S>, other: &Self) {
        for k in 0..N {
            self.0[k] = other.0[k].times_plus(by, self.0[k]);
        }
    }

    /// Times `w^2`.
    #[inline(always)]
    pub(super) fn raised(&self, square: Square<S>) -> Self {
        let mut c = self.0;
        for k in (1..N).rev() {
            c[k] = c[k].times_plus(square.middle, c[k - 1] * square.half);
        }
        c[0] = c[0] * square.middle;
        Self(c)
    }

    #[inline(always)]
    pub(super) fn at(&self, x: Lanes<S>) -> Lanes<S> {
        let mut sum = self.0[N - 1];
        for k in (0..N - 1).rev() {
            sum = sum.times_plus(x, self.0[k]);
        }
        sum
    }

    /// `by` times this less another.
    #[inline(always)]
    pub(super) fn scaled_less(&self, by: Lanes<S>, other: &Self) -> Self {
        let mut c = self.0;
        for k in 0..N {
            c[k] = c[k].times_plus(by, -other.0[k]);
        }
        Self(c)
    }
}
