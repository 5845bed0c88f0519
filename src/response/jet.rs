//! A complex function of frequency on a whole interval: a polynomial, mostly a parabola, and a bound of what is left.
//!
//! On an interval of `x` in `[-1, 1]` a [`Jet`] says `|q(x) - c0 - c1 x - c2 x^2| <= rest`, one of `N` coefficients the same with
//! powers up to `N - 1`. Sums, products and inverses of jets are jets; what they leave out is of the order `N`
//! in the width of the interval, and every operation adds a bound of its own rounding. So the largest value of a jet bounds the function over the interval, no point of it left out (Taylor
//! models; Makino and Berz 1998 \[memory\]; running error analysis, Higham, Accuracy and Stability of Numerical Algorithms
//! \[memory\]). Rounding of `rest` itself is covered by taking four times the rounding that the operations need.

use num_complex::Complex64;

/// Enclosure of a complex function over an interval: `N` coefficients, three unless told otherwise; one for a single frequency.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Jet<const N: usize = 3> {
    c: [Complex64; N],
    rest: f64,
}

fn size(z: Complex64) -> f64 {
    z.norm_sqr().sqrt()
}

/// Sum of `a_i b_j` with `i + j` of at least `N`: what a product leaves out.
fn beyond<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    let mut sum = 0.0;
    // sums of the last numbers of b
    let mut tail = 0.0;
    for i in 1..N {
        tail += b[N - i];
        sum += a[i] * tail;
    }
    sum
}

impl<const N: usize> Jet<N> {
    pub(crate) const ZERO: Self = Self { c: [Complex64::ZERO; N], rest: 0.0 };
    pub(crate) const ONE: Self = Self::from_real(1.0);

    /// Bound of the rounding of one complex product or sum of `N` terms, relative, with room to spare.
    const ROUNDING: f64 = (if N > 3 { 16 * N / 3 } else { 16 }) as f64 * f64::EPSILON;

    const fn from_real(value: f64) -> Self {
        let mut c = [Complex64::ZERO; N];
        c[0] = Complex64::new(value, 0.0);
        Self { c, rest: 0.0 }
    }

    /// `at + slope x`.
    pub(crate) fn affine(at: Complex64, slope: Complex64) -> Self {
        let mut c = [Complex64::ZERO; N];
        c[0] = at;
        // one coefficient is one frequency
        if N > 1 {
            c[1] = slope;
        }
        Self { c, rest: Self::ROUNDING * (size(at) + size(slope)) }
    }

    pub(crate) fn real(value: f64) -> Self {
        Self::from_real(value)
    }

    /// Value in the middle of the interval.
    pub(crate) fn middle(&self) -> Complex64 {
        self.c[0]
    }

    /// Real parts of the coefficients, and the bound of what is left.
    pub(crate) fn real_parts(&self) -> ([f64; N], f64) {
        (self.c.map(|c| c.re), self.rest)
    }

    pub(crate) fn is_zero(&self) -> bool {
        self.rest == 0.0 && self.c.iter().all(|c| *c == Complex64::ZERO)
    }

    fn sizes(&self) -> [f64; N] {
        self.c.map(size)
    }

    /// Bound of the magnitude of the polynomial.
    fn reach(&self) -> f64 {
        self.sizes().iter().sum()
    }

    pub(crate) fn plus(&self, other: &Self) -> Self {
        let c = std::array::from_fn(|k| self.c[k] + other.c[k]);
        let sum = Self { c, rest: 0.0 };
        Self { c, rest: self.rest + other.rest + Self::ROUNDING * sum.reach() }
    }

    pub(crate) fn minus(&self, other: &Self) -> Self {
        self.plus(&Self { c: other.c.map(|c| -c), rest: other.rest })
    }

    pub(crate) fn scaled(&self, by: f64) -> Self {
        let c = self.c.map(|c| c * by);
        let product = Self { c, rest: 0.0 };
        Self { c, rest: self.rest * by.abs() + Self::ROUNDING * product.reach() }
    }

    pub(crate) fn conj(&self) -> Self {
        Self { c: self.c.map(|c| c.conj()), rest: self.rest }
    }

    pub(crate) fn times(&self, other: &Self) -> Self {
        let mut c = [Complex64::ZERO; N];
        for (i, a) in self.c.iter().enumerate() {
            // most first factors are straight lines
            if *a != Complex64::ZERO {
                for (to, b) in c[i..].iter_mut().zip(&other.c) {
                    *to += a * b;
                }
            }
        }
        let (a, b) = (self.sizes(), other.sizes());
        let (reach_a, reach_b) = (a.iter().sum::<f64>(), b.iter().sum::<f64>());
        let rest = beyond(&a, &b)
            + self.rest * reach_b
            + other.rest * reach_a
            + self.rest * other.rest
            + Self::ROUNDING * reach_a * reach_b;
        Self { c, rest }
    }

    /// `q conj(q)`.
    pub(crate) fn square(&self) -> Self {
        self.times(&self.conj())
    }

    /// `1/q`, if `q` cannot vanish on the interval.
    pub(crate) fn inverse(&self) -> Option<Self> {
        // d with q d = 1 but for the terms beyond; |1/q - d| = |1 - q d|/|q|
        let sizes = self.sizes();
        let reach: f64 = sizes.iter().sum();
        let moving = reach - sizes[0] + self.rest;
        if moving.is_nan() || moving >= 0.99 * sizes[0] {
            return None;
        }
        let first = self.c[0].inv();
        let mut d = [Complex64::ZERO; N];
        d[0] = first;
        for k in 1..N {
            let sum: Complex64 = (1..=k).map(|j| self.c[j] * d[k - j]).sum();
            d[k] = -sum * first;
        }
        let inverse = Self { c: d, rest: 0.0 };
        let least = sizes[0] - moving;
        let off = beyond(&sizes, &inverse.sizes()) + (self.rest + Self::ROUNDING * reach) * inverse.reach();
        Some(Self { c: d, rest: off / least })
    }
}

impl Jet {
    /// Largest real part on the interval, as `(at least, at most)`.
    pub(crate) fn largest(&self) -> (f64, f64) {
        let [c0, c1, c2] = self.c.map(|c| c.re);
        let mut top = (c0 + c2) + c1.abs();
        if c2 < 0.0 && c1.abs() < -2.0 * c2 {
            top = top.max(c0 - 0.25 * c1 * c1 / c2);
        }
        let rest = self.rest + Self::ROUNDING * (c0.abs() + c1.abs() + c2.abs());
        if rest.is_nan() || top.is_nan() {
            return (f64::NEG_INFINITY, f64::INFINITY);
        }
        (top.max(c0) - rest, top.max(c0) + rest)
    }

    /// No real part on the interval is below this.
    pub(crate) fn least(&self) -> f64 {
        -Self { c: self.c.map(|c| -c), rest: self.rest }.largest().1
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at<const N: usize>(jet: &Jet<N>, x: f64) -> Complex64 {
        jet.c.iter().rev().fold(Complex64::ZERO, |sum, c| sum * x + c)
    }

    proptest! {
        #[test]
        fn nothing_leaves_the_enclosure(
            a in -3.0f64..3.0, b in -3.0f64..3.0, c in -1.0f64..1.0, d in -1.0f64..1.0, x in -1.0f64..1.0
        ) {
            let p = Jet::<3>::affine(Complex64::new(a, b), Complex64::new(0.1 * c, d));
            let q = Jet::<3>::affine(Complex64::new(b, 4.0), Complex64::new(c, 0.3 * d));
            let (px, qx) = (at(&p, x), at(&q, x));
            let made = [
                (p.times(&q).times(&q), px * qx * qx),
                (p.minus(&q).square(), ((px - qx) * (px - qx).conj())),
                (q.square().inverse().unwrap(), (qx * qx.conj()).inv()),
                (p.times(&p).times(&q.inverse().unwrap()).scaled(3.0), px * px / qx * 3.0),
            ];
            for (jet, exact) in made {
                prop_assert!((at(&jet, x) - exact).norm() <= jet.rest, "{jet:?} {exact}");
                prop_assert!(exact.re <= jet.largest().1 && exact.re >= jet.least());
            }
        }

        #[test]
        fn nothing_leaves_more_coefficients(
            a in -3.0f64..3.0, b in -3.0f64..3.0, c in -1.0f64..1.0, d in -1.0f64..1.0, x in -1.0f64..1.0, narrow in 1e-4f64..1.0
        ) {
            let p = Jet::<12>::affine(Complex64::new(a, b), Complex64::new(0.1 * c, d) * narrow);
            let q = Jet::<12>::affine(Complex64::new(b, 4.0), Complex64::new(c, 0.3 * d) * narrow);
            let (px, qx) = (at(&p, x), at(&q, x));
            let inverse = q.square().inverse().unwrap();
            let made = [
                (p.times(&q).times(&q).minus(&p), px * qx * qx - px),
                (inverse, (qx * qx.conj()).inv()),
                (p.times(&p).times(&q.inverse().unwrap()).scaled(3.0), px * px / qx * 3.0),
                (inverse.times(&inverse).times(&p), px / (qx * qx.conj()).powi(2)),
            ];
            for (jet, exact) in made {
                prop_assert!((at(&jet, x) - exact).norm() <= jet.rest, "{jet:?} {exact}");
                // and the bound is worth having
                prop_assert!(narrow > 0.05 || jet.rest < 1e-12 * (1.0 + exact.norm()), "{jet:?}");
            }
        }

        #[test]
        fn what_is_left_out_is_of_the_third_order(a in 0.5f64..3.0, b in -3.0f64..3.0, d in 0.2f64..1.0) {
            let of = |width: f64| {
                let q = Jet::<3>::affine(Complex64::new(a, b), Complex64::new(0.0, d * width));
                q.square().inverse().unwrap().times(&q).rest
            };
            prop_assert!(of(0.01) < of(0.1) * 2e-3);
        }
    }

    #[test]
    fn a_zero_inside_has_no_inverse() {
        assert!(Jet::<3>::affine(Complex64::new(0.5, 0.0), Complex64::new(1.0, 0.0)).inverse().is_none());
        assert!(Jet::<3>::ZERO.inverse().is_none() && Jet::<3>::ZERO.is_zero() && !Jet::<3>::ONE.is_zero());
    }
}

#[cfg(test)]
mod rounding;
