//! The laws of films in lanes, films or instants side by side: `phi(x)`, its derivatives, its moves, and where its loop `linear x + law phi(x)` bends.

use crate::physics::lanes::{Lanes, Mask, SERIES_TO, atan_and_beyond, sinh_and_cosh_beyond};
use pulp::Simd;
use std::f64::consts::{FRAC_PI_2, PI};

/// A step up to this, against the reach of the law's series, is carried out by the addition theorem.
const SHORT_STEP: f64 = 1.0 / 16.0;

/// Least argument that the exponential is given: it is nothing against 1 there.
const LEAST_EXPONENT: f64 = -600.0;

/// Where a film stands: `x`, `phi(x)`, `phi - x`, `phi' - 1`, `phi'`.
#[derive(Clone, Copy)]
pub(super) struct Point<S: Simd> {
    pub x: Lanes<S>,
    pub phi: Lanes<S>,
    pub excess: Lanes<S>,
    pub rise: Lanes<S>,
    pub slope: Lanes<S>,
}

/// Films of one group, the constants of `linear x + law phi(x) = y`.
#[derive(Clone, Copy)]
pub(super) struct Loops<S: Simd> {
    pub simd: S,
    pub linear: Lanes<S>,
    pub law: Lanes<S>,
    /// `1/(linear + law)`
    pub straight: Lanes<S>,
}

/// A law with `phi(0) = 0` and `phi'(0) = 1`.
pub(super) trait Law {
    /// Whether `phi(-x) = -phi(x)`.
    const ODD: bool;
    /// Whether it steepens as `x` rises, so that from above plain steps cannot miss; else from below.
    const STEEPENS: bool;
    /// Largest `x` at the crest.
    const MOST_CREST: f64;

    /// The law at `x`; `WEAK` where |x| stays below [`SERIES_TO`].
    fn at<S: Simd, const WEAK: bool>(x: Lanes<S>) -> Point<S>;
    /// The same after a short step.
    fn moved<S: Simd>(from: Point<S>, step: Lanes<S>) -> Point<S>;
    /// `phi''/2`, `phi'''/6`, `phi''''/24`.
    fn bends<S: Simd>(at: Point<S>) -> [Lanes<S>; 3];
    /// Whether a step is below a share of the reach of the series there.
    fn is_within<S: Simd>(at: Point<S>, step: Lanes<S>, share: f64) -> Mask<S>;
    /// Two bounds of the root.
    fn bounds<S: Simd>(of: Loops<S>, y: Lanes<S>) -> (Lanes<S>, Lanes<S>);
    /// Where to begin at the crest, on the side from which plain steps come without a turn.
    fn start<S: Simd>(of: Loops<S>, y: Lanes<S>) -> Lanes<S>;
    /// `p + i q`: the voltage in front, over the law's, where the slope `linear + law phi'` vanishes.
    fn singular<S: Simd>(of: Loops<S>) -> (Lanes<S>, Lanes<S>);
    /// Bound of |x| at the trough (at the crest for odd laws), by which films are weak.
    fn weak<S: Simd>(of: Loops<S>, y: Lanes<S>) -> Mask<S>;

    #[inline(always)]
    fn is_short<S: Simd>(at: Point<S>, step: Lanes<S>) -> Mask<S> {
        Self::is_within(at, step, SHORT_STEP)
    }
}

/// `sinh`: tunnelling.
pub(super) struct Sinh;

impl Law for Sinh {
    const ODD: bool = true;
    const STEEPENS: bool = true;
    const MOST_CREST: f64 = 300.0;

    #[inline(always)]
    fn at<S: Simd, const WEAK: bool>(x: Lanes<S>) -> Point<S> {
        if WEAK {
            let (excess, rise) = sinh_and_cosh_beyond(x);
            return Point { x, phi: x + excess, excess, rise, slope: rise + 1.0 };
        }
        let half = 0.5 * x.exp();
        let inverse = 0.25 / half;
        let (phi, slope) = (half - inverse, half + inverse);
        Point { x, phi, excess: phi - x, rise: slope - 1.0, slope }
    }

    #[inline(always)]
    fn moved<S: Simd>(from: Point<S>, d: Lanes<S>) -> Point<S> {
        // sinh d - d and cosh d - 1, next terms 1e-17 of them
        let z = d * d;
        let sinh = d * z * z.polynomial(&[1.0 / 6.0, 1.0 / 120.0, 1.0 / 5040.0, 1.0 / 362_880.0]);
        let cosh = z * z.polynomial(&[0.5, 1.0 / 24.0, 1.0 / 720.0, 1.0 / 40_320.0, 1.0 / 3_628_800.0]);
        let whole = d + sinh;
        let x = from.x + d;
        let excess = from.excess + from.phi.times_plus(cosh, from.rise.times_plus(whole, sinh));
        let rise = from.rise + from.phi.times_plus(whole, from.rise.times_plus(cosh, cosh));
        Point { x, phi: x + excess, excess, rise, slope: rise + 1.0 }
    }

    #[inline(always)]
    fn bends<S: Simd>(at: Point<S>) -> [Lanes<S>; 3] {
        [0.5 * at.phi, (1.0 / 6.0) * at.slope, (1.0 / 24.0) * at.phi]
    }

    #[inline(always)]
    fn is_within<S: Simd>(_at: Point<S>, step: Lanes<S>, share: f64) -> Mask<S> {
        step.abs().below(Lanes::splat(step.simd(), share))
    }

    #[inline(always)]
    fn bounds<S: Simd>(of: Loops<S>, y: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        (Lanes::splat(of.simd, 0.0), y * of.straight)
    }

    #[inline(always)]
    fn start<S: Simd>(of: Loops<S>, y: Lanes<S>) -> Lanes<S> {
        // both lie above the root; ln(1 + 2 y/c) is at least asinh(y/c)
        (y * of.straight).min((2.0 * y / of.law + 1.0).ln())
    }

    #[inline(always)]
    fn singular<S: Simd>(of: Loops<S>) -> (Lanes<S>, Lanes<S>) {
        // linear is 1. Where 1 + c cosh x = 0: at i beta for c >= 1, at a + i pi below it; asin(1/c) is at least 1/c
        let (zero, one) = (Lanes::splat(of.simd, 0.0), Lanes::splat(of.simd, 1.0));
        let inverse = 1.0 / of.law;
        let steep = one.below(of.law);
        let a = steep.select(one, inverse + (inverse * inverse - 1.0).max(zero).sqrt()).ln();
        let p = a - (1.0 - of.law * of.law).max(zero).sqrt();
        let q = inverse + FRAC_PI_2 + (of.law * of.law - 1.0).max(zero).sqrt();
        (p, steep.select(q, Lanes::splat(of.simd, PI)))
    }

    #[inline(always)]
    fn weak<S: Simd>(of: Loops<S>, y: Lanes<S>) -> Mask<S> {
        Self::start(of, y).below(Lanes::splat(of.simd, SERIES_TO))
    }
}

/// `exp(x) - 1`: the diode of a rectifying film. The leak is in `linear`.
pub(super) struct Expm1;

impl Law for Expm1 {
    const ODD: bool = false;
    const STEEPENS: bool = true;
    const MOST_CREST: f64 = 300.0;

    #[inline(always)]
    fn at<S: Simd, const WEAK: bool>(x: Lanes<S>) -> Point<S> {
        if WEAK {
            let (sinh, cosh) = sinh_and_cosh_beyond(x);
            let excess = sinh + cosh;
            let phi = x + excess;
            return Point { x, phi, excess, rise: phi, slope: phi + 1.0 };
        }
        let slope = x.max(Lanes::splat(x.simd(), LEAST_EXPONENT)).exp();
        let phi = slope - 1.0;
        Point { x, phi, excess: phi - x, rise: phi, slope }
    }

    #[inline(always)]
    fn moved<S: Simd>(from: Point<S>, d: Lanes<S>) -> Point<S> {
        // exp(d) - 1 - d, next term 1e-18 of it
        const REST: [f64; 9] = [
            0.5,
            1.0 / 6.0,
            1.0 / 24.0,
            1.0 / 120.0,
            1.0 / 720.0,
            1.0 / 5040.0,
            1.0 / 40_320.0,
            1.0 / 362_880.0,
            1.0 / 3_628_800.0,
        ];
        let beyond = d * d * d.polynomial(&REST);
        let whole = d + beyond;
        let excess = from.excess + from.rise.times_plus(whole, beyond);
        let phi = from.phi + from.slope * whole;
        Point { x: from.x + d, phi, excess, rise: phi, slope: from.slope.times_plus(whole, from.slope) }
    }

    #[inline(always)]
    fn bends<S: Simd>(at: Point<S>) -> [Lanes<S>; 3] {
        [0.5 * at.slope, (1.0 / 6.0) * at.slope, (1.0 / 24.0) * at.slope]
    }

    #[inline(always)]
    fn is_within<S: Simd>(_at: Point<S>, step: Lanes<S>, share: f64) -> Mask<S> {
        step.abs().below(Lanes::splat(step.simd(), share))
    }

    #[inline(always)]
    fn bounds<S: Simd>(of: Loops<S>, y: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        // phi lies above x and above -1
        let high = (y * of.straight).min((y + of.law) / of.linear);
        ((y / of.linear).min(Lanes::splat(of.simd, 0.0)), high)
    }

    #[inline(always)]
    fn start<S: Simd>(of: Loops<S>, y: Lanes<S>) -> Lanes<S> {
        (y * of.straight).min((y / of.law + 1.0).ln())
    }

    #[inline(always)]
    fn singular<S: Simd>(of: Loops<S>) -> (Lanes<S>, Lanes<S>) {
        // exp x = -linear/law
        let a = (of.linear / of.law).ln();
        (of.linear * (a - 1.0) - of.law, PI * of.linear)
    }

    #[inline(always)]
    fn weak<S: Simd>(of: Loops<S>, y: Lanes<S>) -> Mask<S> {
        // of the trough: the leak alone, or the diode alone where it can carry all; the crest is nearer to zero than the first
        let limit = Lanes::splat(of.simd, SERIES_TO);
        let diode = y.below((1.0 - (-SERIES_TO).exp()) * of.law);
        (y * of.straight).below(limit).and((y / of.linear).below(limit).or(diode))
    }
}

/// `atan`: a bridge that heats itself.
pub(super) struct Atan;

impl Law for Atan {
    const ODD: bool = true;
    const STEEPENS: bool = false;
    const MOST_CREST: f64 = 1e30;

    #[inline(always)]
    fn at<S: Simd, const WEAK: bool>(x: Lanes<S>) -> Point<S> {
        let (phi, excess) = atan_and_beyond(x);
        let square = x * x;
        let slope = 1.0 / (square + 1.0);
        Point { x, phi, excess, rise: -(square * slope), slope }
    }

    #[inline(always)]
    fn moved<S: Simd>(from: Point<S>, d: Lanes<S>) -> Point<S> {
        // atan(x + d) - atan(x) = atan s; atan s - s, next term 1e-17 of it
        const REST: [f64; 7] = [-1.0 / 3.0, 1.0 / 5.0, -1.0 / 7.0, 1.0 / 9.0, -1.0 / 11.0, 1.0 / 13.0, -1.0 / 15.0];
        let x = from.x + d;
        let product = from.x * x;
        let s = d / (product + 1.0);
        let z = s * s;
        let beyond = s * z * z.polynomial(&REST);
        let square = x * x;
        let slope = 1.0 / (square + 1.0);
        // s - d = -s x (x + d)
        let excess = from.excess + (beyond - s * product);
        Point { x, phi: from.phi + (s + beyond), excess, rise: -(square * slope), slope }
    }

    #[inline(always)]
    fn bends<S: Simd>(at: Point<S>) -> [Lanes<S>; 3] {
        let (square, q) = (at.x * at.x, at.slope * at.slope);
        let second = at.x * q;
        [-second, (square - 1.0 / 3.0) * q * at.slope, (1.0 - square) * q * second]
    }

    #[inline(always)]
    fn is_within<S: Simd>(at: Point<S>, step: Lanes<S>, share: f64) -> Mask<S> {
        // the series reach to the poles at +-i
        (step * step * at.slope).below(Lanes::splat(step.simd(), share * share))
    }

    #[inline(always)]
    fn bounds<S: Simd>(of: Loops<S>, y: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        // linear is 1
        ((y * of.straight).max(y - FRAC_PI_2 * of.law), y)
    }

    #[inline(always)]
    fn start<S: Simd>(of: Loops<S>, y: Lanes<S>) -> Lanes<S> {
        Self::bounds(of, y).0
    }

    #[inline(always)]
    fn singular<S: Simd>(of: Loops<S>) -> (Lanes<S>, Lanes<S>) {
        // x^2 = -(1 + c), above the branch point i: atan of i b is pi/2 + i acoth b there
        let b = (of.law + 1.0).sqrt();
        let far = ((b + 1.0) / of.law.sqrt()).ln();
        (FRAC_PI_2 * of.law, far.times_plus(of.law, b))
    }

    #[inline(always)]
    fn weak<S: Simd>(_of: Loops<S>, y: Lanes<S>) -> Mask<S> {
        // one form serves all
        y.below(y)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use pulp::Scalar;

    fn number(lanes: Lanes<Scalar>) -> f64 {
        let mut all = [0.0; 2];
        lanes.store(&mut all);
        all[0]
    }

    /// All five after a short step against the law there; `reach` is how far its series goes.
    fn moves<L: Law>(x: f64, share: f64, reach: f64) -> Result<(), TestCaseError> {
        let splat = |number| Lanes::splat(Scalar::new(), number);
        let from = L::at::<_, true>(splat(x));
        let step = share * SHORT_STEP * reach;
        prop_assert!(L::is_short(from, splat(0.999 * step)).all());
        let (moved, there) = (L::moved(from, splat(step)), L::at::<_, true>(splat(x + step)));
        let near = |a: Lanes<Scalar>, b: Lanes<Scalar>, size: f64| (number(a) - number(b)).abs() <= 4e-15 * size;
        let excess = number(from.excess).abs().max(number(there.excess).abs());
        prop_assert!(near(moved.x, there.x, x.abs() + step.abs()));
        prop_assert!(near(moved.phi, there.phi, number(from.phi).abs() + number(there.phi).abs()));
        prop_assert!(near(moved.excess, there.excess, excess), "{} {}", number(moved.excess), number(there.excess));
        prop_assert!(near(moved.rise, there.rise, number(from.rise).abs().max(number(there.rise).abs())));
        prop_assert!(near(moved.slope, there.slope, number(there.slope)));
        // the derivatives, by what the law does in a step: the fifth power is left
        let [second, third, fourth] = L::bends(from).map(number);
        let d = 0.1 * step;
        let beyond = number(L::moved(from, splat(d)).excess) - number(from.excess) - number(from.rise) * d;
        let series = d * d * (second + d * (third + d * fourth));
        let largest = (second * d * d).abs().max((third * d * d * d).abs()).max((fourth * d * d * d * d).abs());
        prop_assert!((beyond - series).abs() <= 1e-5 * largest + 1e-14 * excess, "{beyond} {series}");
        Ok(())
    }

    proptest! {
        #[test]
        fn a_short_step_is_the_law_there(x in 0.05f64..1.4, share in 0.1f64..0.999, up in any::<bool>(), below in any::<bool>(), far in 1.4f64..300.0) {
            let share = if up { share } else { -share };
            moves::<Sinh>(x, share, 1.0)?;
            moves::<Expm1>(if below { -x } else { x }, share, 1.0)?;
            moves::<Atan>(x, share, x.hypot(1.0))?;
            moves::<Atan>(far, share, far.hypot(1.0))?;
        }
    }
}
