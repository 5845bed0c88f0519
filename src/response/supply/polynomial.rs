//! Polynomials in `y`, the square of the frequency over that of the end of the band, a set in each lane.

use crate::physics::lanes::Lanes;
use pulp::Simd;

/// `N` coefficients, the constant first. Degrees are below `N`, but for `N = 1`: the value at one frequency.
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
        for (own, other) in self.0.iter_mut().zip(&other.0) {
            *own = other.times_plus(by, *own);
        }
    }

    /// Times `w^2`: `square` is that of the end of the band, for one frequency its own.
    #[inline(always)]
    pub(super) fn raised(&self, square: Lanes<S>) -> Self {
        let mut c = self.0;
        for k in (1..N).rev() {
            c[k] = c[k - 1] * square;
        }
        c[0] = if N == 1 { c[0] * square } else { Lanes::splat(square.simd(), 0.0) };
        Self(c)
    }

    #[inline(always)]
    pub(super) fn at(&self, y: Lanes<S>) -> Lanes<S> {
        let mut sum = self.0[N - 1];
        for k in (0..N - 1).rev() {
            sum = sum.times_plus(y, self.0[k]);
        }
        sum
    }

    /// `by` times this less another.
    #[inline(always)]
    pub(super) fn scaled_less(&self, by: Lanes<S>, other: &Self) -> Self {
        let mut c = self.0;
        for (c, other) in c.iter_mut().zip(&other.0) {
            *c = c.times_plus(by, -*other);
        }
        Self(c)
    }

    /// The same of `x` in `[-1, 1]`, `y = middle + half x`.
    #[inline(always)]
    pub(super) fn within(&self, middle: f64, half: f64) -> Self {
        let simd = self.0[0].simd();
        let (middle, half) = (Lanes::splat(simd, middle), Lanes::splat(simd, half));
        let mut c = [Lanes::splat(simd, 0.0); N];
        c[0] = self.0[N - 1];
        for power in (0..N - 1).rev() {
            for k in (1..N - power).rev() {
                c[k] = c[k].times_plus(middle, c[k - 1] * half);
            }
            c[0] = c[0].times_plus(middle, self.0[power]);
        }
        Self(c)
    }
}

/// `[i][k]`: what `x^k` has of the Bernstein polynomial `i` of degree `degree` on `[-1, 1]`: of `(1 + z)^i (1 - z)^(degree - i)` the
/// factor of `z^k`, over `degree` choose `k` (Farouki, Computer Aided Geometric Design 29, 2012 \[memory\]).
const fn bernstein<const N: usize>(degree: usize) -> [[f64; N]; N] {
    let mut table = [[0.0; N]; N];
    let mut i = 0;
    while i <= degree {
        let mut product = [0.0; N];
        product[0] = 1.0;
        let mut factor = 0;
        while factor < degree {
            let sign = if factor < i { 1.0 } else { -1.0 };
            let mut k = degree;
            while k > 0 {
                product[k] += sign * product[k - 1];
                k -= 1;
            }
            factor += 1;
        }
        let (mut k, mut choose) = (0, 1.0);
        while k <= degree {
            table[i][k] = product[k] / choose;
            choose *= (degree - k) as f64 / (k + 1) as f64;
            k += 1;
        }
        i += 1;
    }
    table
}

/// The tables of a degree and of two less.
struct Tables<const N: usize>;

impl<const N: usize> Tables<N> {
    const OF: [[[f64; N]; N]; 2] = [bernstein(N - 1), bernstein(N - 3)];
}

/// Not above any value of a polynomial, or of its second derivative (`order` 2), on `[-1, 1]`, but for rounding.
#[inline(always)]
pub(super) fn lowest_coefficient<S: Simd, const N: usize>(c: &[Lanes<S>; N], order: usize) -> Lanes<S> {
    let simd = c[0].simd();
    let table = &Tables::<N>::OF[order / 2];
    let degree = N - 1 - order;
    let mut derived = *c;
    if order == 2 {
        for k in 0..=degree {
            derived[k] = c[k + 2] * ((k + 2) * (k + 1)) as f64;
        }
    }
    let mut least = Lanes::splat(simd, f64::INFINITY);
    // of two that mirror each other the even powers are the same, the odd ones have the other sign
    for row in table.iter().take(degree / 2 + 1) {
        let (mut even, mut odd) = (derived[0], Lanes::splat(simd, 0.0));
        for k in 1..=degree {
            let sum = if k % 2 == 0 { &mut even } else { &mut odd };
            *sum = derived[k].times_plus(Lanes::splat(simd, row[k]), *sum);
        }
        least = least.min(even - odd.abs());
    }
    least
}
