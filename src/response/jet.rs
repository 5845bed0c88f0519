//! A complex function of frequency on a whole interval: a parabola and a bound of what is left.
//!
//! On an interval of `x` in `[-1, 1]` a [`Jet`] says `|q(x) - c0 - c1 x - c2 x^2| <= rest`. Sums, products and inverses of
//! jets are jets; what they leave out is of the third order in the width of the interval, and every operation adds a bound
//! of its own rounding. So the largest value of a jet bounds the function over the interval, no point of it left out (Taylor
//! models; Makino and Berz 1998 \[memory\]; running error analysis, Higham, Accuracy and Stability of Numerical Algorithms
//! \[memory\]). Rounding of `rest` itself is covered by taking four times the rounding that the operations need.

use num_complex::Complex64;

/// Bound of the rounding of one complex product or sum of a few terms, relative, with room to spare.
const ROUNDING: f64 = 16.0 * f64::EPSILON;

/// Enclosure of a complex function over an interval.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Jet {
    c: [Complex64; 3],
    rest: f64,
}

fn size(z: Complex64) -> f64 {
    z.norm_sqr().sqrt()
}

impl Jet {
    pub(crate) const ZERO: Self = Self { c: [Complex64::ZERO; 3], rest: 0.0 };
    pub(crate) const ONE: Self = Self { c: [Complex64::ONE, Complex64::ZERO, Complex64::ZERO], rest: 0.0 };

    /// `at + slope x`.
    pub(crate) fn affine(at: Complex64, slope: Complex64) -> Self {
        Self { c: [at, slope, Complex64::ZERO], rest: ROUNDING * (size(at) + size(slope)) }
    }

    pub(crate) fn real(value: f64) -> Self {
        Self { c: [value.into(), Complex64::ZERO, Complex64::ZERO], rest: 0.0 }
    }

    /// Value in the middle of the interval.
    pub(crate) fn middle(&self) -> Complex64 {
        self.c[0]
    }

    pub(crate) fn is_zero(&self) -> bool {
        self.rest == 0.0 && self.c.iter().all(|c| *c == Complex64::ZERO)
    }

    fn moving(&self) -> f64 {
        size(self.c[1]) + size(self.c[2])
    }

    /// Bound of the magnitude of the parabola.
    fn reach(&self) -> f64 {
        size(self.c[0]) + self.moving()
    }

    pub(crate) fn plus(&self, other: &Self) -> Self {
        let c = [self.c[0] + other.c[0], self.c[1] + other.c[1], self.c[2] + other.c[2]];
        let sum = Self { c, rest: 0.0 };
        Self { c, rest: self.rest + other.rest + ROUNDING * sum.reach() }
    }

    pub(crate) fn minus(&self, other: &Self) -> Self {
        self.plus(&Self { c: other.c.map(|c| -c), rest: other.rest })
    }

    pub(crate) fn scaled(&self, by: f64) -> Self {
        let c = self.c.map(|c| c * by);
        let product = Self { c, rest: 0.0 };
        Self { c, rest: self.rest * by.abs() + ROUNDING * product.reach() }
    }

    pub(crate) fn conj(&self) -> Self {
        Self { c: self.c.map(|c| c.conj()), rest: self.rest }
    }

    pub(crate) fn times(&self, other: &Self) -> Self {
        let (a, b) = (&self.c, &other.c);
        let c = [a[0] * b[0], a[0] * b[1] + a[1] * b[0], a[0] * b[2] + a[1] * b[1] + a[2] * b[0]];
        let (a1, a2, b1, b2) = (size(a[1]), size(a[2]), size(b[1]), size(b[2]));
        let (reach_a, reach_b) = (size(a[0]) + a1 + a2, size(b[0]) + b1 + b2);
        let rest = a1 * b2
            + a2 * b1
            + a2 * b2
            + self.rest * reach_b
            + other.rest * reach_a
            + self.rest * other.rest
            + ROUNDING * reach_a * reach_b;
        Self { c, rest }
    }

    /// `q conj(q)`.
    pub(crate) fn square(&self) -> Self {
        self.times(&self.conj())
    }

    /// `1/q`, if `q` cannot vanish on the interval.
    pub(crate) fn inverse(&self) -> Option<Self> {
        // 1/(c0 (1 + z)), 1/(1 + z) = 1 - z + z^2 - z^3/(1 + z)
        let c0 = size(self.c[0]);
        let (z1, z2, zr) = (size(self.c[1]) / c0, size(self.c[2]) / c0, self.rest / c0);
        let z = z1 + z2 + zr;
        if z.is_nan() || z >= 0.99 {
            return None;
        }
        let inverse = self.c[0].inv();
        let (p, q) = (self.c[1] * inverse, self.c[2] * inverse);
        let c = [inverse, -p * inverse, (p * p - q) * inverse];
        let square = 2.0 * z1 * z2 + z2 * z2 + 2.0 * (z1 + z2) * zr + zr * zr;
        let rest = (z * z * z / (1.0 - z) + zr + square + ROUNDING * (1.0 + z + z * z)) / c0;
        Some(Self { c, rest })
    }

    /// Largest real part on the interval, as `(at least, at most)`.
    pub(crate) fn largest(&self) -> (f64, f64) {
        let [c0, c1, c2] = self.c.map(|c| c.re);
        let mut top = (c0 + c2) + c1.abs();
        if c2 < 0.0 && c1.abs() < -2.0 * c2 {
            top = top.max(c0 - 0.25 * c1 * c1 / c2);
        }
        let rest = self.rest + ROUNDING * (c0.abs() + c1.abs() + c2.abs());
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

    fn at(jet: &Jet, x: f64) -> Complex64 {
        jet.c[0] + jet.c[1] * x + jet.c[2] * (x * x)
    }

    proptest! {
        #[test]
        fn nothing_leaves_the_enclosure(
            a in -3.0f64..3.0, b in -3.0f64..3.0, c in -1.0f64..1.0, d in -1.0f64..1.0, x in -1.0f64..1.0
        ) {
            let p = Jet::affine(Complex64::new(a, b), Complex64::new(0.1 * c, d));
            let q = Jet::affine(Complex64::new(b, 4.0), Complex64::new(c, 0.3 * d));
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
        fn what_is_left_out_is_of_the_third_order(a in 0.5f64..3.0, b in -3.0f64..3.0, d in 0.2f64..1.0) {
            let of = |width: f64| {
                let q = Jet::affine(Complex64::new(a, b), Complex64::new(0.0, d * width));
                q.square().inverse().unwrap().times(&q).rest
            };
            prop_assert!(of(0.01) < of(0.1) * 2e-3);
        }
    }

    #[test]
    fn a_zero_inside_has_no_inverse() {
        assert!(Jet::affine(Complex64::new(0.5, 0.0), Complex64::new(1.0, 0.0)).inverse().is_none());
        assert!(Jet::ZERO.inverse().is_none() && Jet::ZERO.is_zero() && !Jet::ONE.is_zero());
    }
}

#[cfg(test)]
mod rounding;
