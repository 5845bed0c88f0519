//! A film behind a resistance, for kernels: the same equation as [`series`](super::series), solved from a start that is
//! close, and answered as a deviation from the film's zero-voltage resistance, so that nothing small is lost.
//!
//! Every law is `R i = s U phi(x) + (1-s) u`, `x = u/U`: `phi = sinh`, `expm1` or `atan`, `U` the law's voltage, `s` the share of
//! the law (1, or 1 - leak). Behind `Rp` at a voltage `a`, with `c = Rp/R`: `(1 + c (1-s)) x + c s phi(x) = a/U`. The left side
//! rises, and on each side of zero it is convex or concave, so that Halley's steps between two bounds cannot miss.

use super::constants::THERMAL_VOLTAGE_V;
use super::film::{EXPONENT_LIMIT, Film, heating_voltage_v};
use std::f64::consts::FRAC_PI_2;

#[derive(Debug, Clone, Copy, PartialEq)]
enum Shape {
    Sinh,
    Expm1,
    Atan,
}

/// A film behind a resistance, its constants made ready.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loaded {
    shape: Shape,
    /// voltage of the law, V
    unit_v: f64,
    /// share of the zero-voltage conductance that follows the law
    share: f64,
    /// zero-voltage resistance, ohm
    resistance_ohm: f64,
    /// resistance in front over `resistance_ohm`
    front: f64,
}

/// Where a film stands: its voltage and how far it is from its zero-voltage resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// voltage across the film, V
    pub voltage_v: f64,
    /// `R i(u) - u`, V: what the current is beyond `u/R`, times R
    pub excess_v: f64,
    /// `R di/du - 1`
    pub rise: f64,
}

/// Below this argument `phi(x) - x` is summed as its series.
const SERIES_BELOW: f64 = 0.3;

/// `1/n!` for n = 3, 5, ..., 15: enough for |x| < 0.3.
const SINH: [f64; 7] = [
    1.0 / 6.0,
    1.0 / 120.0,
    1.0 / 5040.0,
    1.0 / 362_880.0,
    1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
    7.647_163_731_819_816e-13,
];

/// `1/n!` for n = 2, 4, ..., 14.
const COSH: [f64; 7] = [
    1.0 / 2.0,
    1.0 / 24.0,
    1.0 / 720.0,
    1.0 / 40_320.0,
    1.0 / 3_628_800.0,
    1.0 / 479_001_600.0,
    1.147_074_559_772_972_5e-11,
];

/// `1/n!` for n = 2, 3, ..., 13.
const EXPM1: [f64; 12] = [
    1.0 / 2.0,
    1.0 / 6.0,
    1.0 / 24.0,
    1.0 / 120.0,
    1.0 / 720.0,
    1.0 / 5040.0,
    1.0 / 40_320.0,
    1.0 / 362_880.0,
    1.0 / 3_628_800.0,
    1.0 / 39_916_800.0,
    1.0 / 479_001_600.0,
    1.0 / 6_227_020_800.0,
];

/// `1/n` for n = 3, 5, ..., 31.
const ATAN: [f64; 15] = [
    1.0 / 3.0,
    1.0 / 5.0,
    1.0 / 7.0,
    1.0 / 9.0,
    1.0 / 11.0,
    1.0 / 13.0,
    1.0 / 15.0,
    1.0 / 17.0,
    1.0 / 19.0,
    1.0 / 21.0,
    1.0 / 23.0,
    1.0 / 25.0,
    1.0 / 27.0,
    1.0 / 29.0,
    1.0 / 31.0,
];

/// A polynomial, lowest coefficient first: Horner's rule for even and odd powers side by side, half as long a chain.
#[inline]
fn polynomial<const N: usize>(coefficients: &[f64; N], z: f64) -> f64 {
    let square = z * z;
    let horner = |from: usize| coefficients[from..].iter().step_by(2).rev().fold(0.0, |sum, c| sum * square + c);
    horner(0) + z * horner(1)
}

/// `x^3/6 + x^5/120 + ...`, next term below rounding for |x| < 0.3.
fn sinh_minus_x(x: f64) -> f64 {
    let z = x * x;
    x * z * polynomial(&SINH, z)
}

/// `x^2/2 + x^3/6 + ...`, next term below rounding for |x| < 0.3.
fn expm1_minus_x(x: f64) -> f64 {
    x * x * polynomial(&EXPM1, x)
}

/// `-x^3/3 + x^5/5 - ...`, next term below rounding for |x| < 0.3.
fn atan_minus_x(x: f64) -> f64 {
    let z = -x * x;
    x * z * polynomial(&ATAN, z)
}

impl Shape {
    /// `phi(x) - x`, `phi'(x) - 1`, `phi''(x)`.
    fn beyond(self, x: f64) -> (f64, f64, f64) {
        let small = x.abs() < SERIES_BELOW;
        match self {
            Self::Sinh => {
                if small {
                    let excess = sinh_minus_x(x);
                    let z = x * x;
                    return (excess, z * polynomial(&COSH, z), x + excess);
                }
                let e = x.exp();
                let inverse = e.recip();
                let sinh = 0.5 * (e - inverse);
                (sinh - x, 0.5 * (e + inverse) - 1.0, sinh)
            }
            Self::Expm1 => {
                let excess = if small { expm1_minus_x(x) } else { x.exp_m1() - x };
                (excess, x + excess, 1.0 + x + excess)
            }
            Self::Atan => {
                let excess = if small { atan_minus_x(x) } else { x.atan() - x };
                let slope = (1.0 + x * x).recip();
                (excess, -x * x * slope, -2.0 * x * slope * slope)
            }
        }
    }
}

impl Loaded {
    /// A film behind `front_ohm`; `None` for a film that is a plain resistance.
    #[must_use]
    pub fn new(film: &Film, front_ohm: f64) -> Option<Self> {
        let (shape, unit_v, share) = match *film {
            Film::Ohmic { .. } => return None,
            Film::Tunnelling { scale_v, .. } => (Shape::Sinh, scale_v, 1.0),
            Film::Rectifying { ideality, leak_ratio, .. } => {
                if leak_ratio >= 1.0 {
                    return None;
                }
                (Shape::Expm1, ideality * THERMAL_VOLTAGE_V, 1.0 - leak_ratio)
            }
            Film::Bridged { .. } => (Shape::Atan, heating_voltage_v(), 1.0),
        };
        let resistance_ohm = film.resistance_ohm();
        Some(Self { shape, unit_v, share, resistance_ohm, front: front_ohm / resistance_ohm })
    }

    /// Where the film stands at a voltage across it.
    #[must_use]
    #[inline]
    pub fn standing(&self, voltage_v: f64) -> Standing {
        let x = voltage_v / self.unit_v;
        let (excess, rise, _) = self.shape.beyond(x);
        Standing { voltage_v, excess_v: self.share * self.unit_v * excess, rise: self.share * rise }
    }

    /// Whether the law is odd: what it does to a sine is the same in both halves.
    #[must_use]
    pub fn is_odd(&self) -> bool {
        self.shape != Shape::Expm1
    }

    /// Film voltage where film and resistance share `across_v`; `start_v` is a guess, of any quality.
    #[must_use]
    #[inline]
    pub fn film_voltage_v(&self, across_v: f64, start_v: f64) -> f64 {
        if across_v == 0.0 {
            return 0.0;
        }
        // the odd laws are solved for positive voltages
        let mirrored = across_v < 0.0 && self.is_odd();
        let sign = if mirrored { -1.0 } else { 1.0 };
        let y = sign * across_v / self.unit_v;
        let (linear, law) = (1.0 + self.front * (1.0 - self.share), self.front * self.share);
        let bounds = self.bounds(y, linear, law);
        sign * self.root(y, (linear, law), bounds, sign * start_v / self.unit_v).0 * self.unit_v
    }

    /// Where the film stands at each of several voltages across film and resistance that fall towards zero from above it: each
    /// root bounds the next, so no bound is computed but the first.
    #[inline]
    pub fn standings_downhill(&self, across_v: impl Iterator<Item = f64>, mut each: impl FnMut(Standing)) {
        let (linear, law) = (1.0 + self.front * (1.0 - self.share), self.front * self.share);
        let mut before: Option<(f64, f64, f64)> = None;
        for across_v in across_v {
            let y = across_v / self.unit_v;
            let straight = y / (linear + law);
            let (bounds, start) = match (before, self.shape) {
                // the chord to zero of a law that only steepens lies above it, of one that only flattens below
                (Some((x, at, slope)), Shape::Sinh | Shape::Expm1) => {
                    ((x * y / at, straight.min(x)), x - (at - y) / slope)
                }
                (Some((x, at, slope)), Shape::Atan) => ((straight, x * y / at), x - (at - y) / slope),
                (None, _) => (self.bounds(y, linear, law), f64::NAN),
            };
            let (x, excess, rise) = self.root(y, (linear, law), bounds, start);
            before = (y > 0.0).then_some((x, y, linear + law + law * rise));
            each(Standing {
                voltage_v: x * self.unit_v,
                excess_v: self.share * self.unit_v * excess,
                rise: self.share * rise,
            });
        }
    }

    /// Root of `linear x + law phi(x) = y` between two bounds, with `phi(x) - x` and `phi'(x) - 1` there.
    #[inline]
    fn root(&self, y: f64, (linear, law): (f64, f64), (low, high): (f64, f64), start: f64) -> (f64, f64, f64) {
        // on a film that is all but straight two bounds meet, and rounding may put them the other way round
        let (low, high) = (low.min(high), low.max(high));
        let mut x = start;
        if !(x > low && x < high) {
            x = if self.shape == Shape::Atan { low } else { high };
        }
        for _ in 0..100 {
            let (excess, rise, curve) = self.shape.beyond(x);
            let f = (linear + law).mul_add(x, law * excess) - y;
            let slope = linear + law + law * rise;
            let newton = f / slope;
            // Halley's correction, kept from turning the step round
            let step = newton / (1.0 - 0.5 * newton * law * curve / slope).clamp(0.5, 2.0);
            let next = within(x - step, (low, high));
            let moved = (next - x).abs();
            x = next;
            // a step of s leaves at most s^3/4 (the laws bend by no more than their slope), and the last one half the square of
            // that: less than rounding
            if moved <= 1e-3 * x.abs().min(1.0) {
                break;
            }
        }
        let (excess, rise, curve) = self.shape.beyond(x);
        let f = (linear + law).mul_add(x, law * excess) - y;
        let last = within(x - f / (linear + law + law * rise), (low, high));
        // rounding is left of that step, so its square is nothing
        (last, excess + rise * (last - x), rise + curve * (last - x))
    }

    /// Two bounds of the root.
    fn bounds(&self, y: f64, linear: f64, law: f64) -> (f64, f64) {
        let straight = y / (linear + law);
        match self.shape {
            Shape::Sinh => (0.0, straight.min((y / law).asinh()).min(EXPONENT_LIMIT)),
            Shape::Expm1 if y > 0.0 => (0.0, straight.min((y / law).ln_1p()).min(EXPONENT_LIMIT)),
            // the diode carries nothing more, the leak and the resistance all
            Shape::Expm1 => (y / linear, straight.min((y + law) / linear)),
            Shape::Atan => (straight.max((y - law * FRAC_PI_2) / linear), y / linear),
        }
    }

    /// `R di/du` at its smallest and largest over film voltages from `low_v` to `high_v`.
    #[must_use]
    pub fn slopes(&self, low_v: f64, high_v: f64) -> (f64, f64) {
        let rise = |v: f64| 1.0 + self.standing(v).rise;
        let (a, b) = (rise(low_v), rise(high_v));
        // the odd laws turn at zero
        let middle = if low_v < 0.0 && high_v > 0.0 { 1.0 } else { a };
        (a.min(b).min(middle), a.max(b).max(middle))
    }

    /// Zero-voltage resistance, ohm.
    #[must_use]
    pub fn resistance_ohm(&self) -> f64 {
        self.resistance_ohm
    }

    /// Resistance in front over the film's.
    #[must_use]
    pub fn front(&self) -> f64 {
        self.front
    }

    /// Voltage of the law, V.
    #[must_use]
    pub fn unit_v(&self) -> f64 {
        self.unit_v
    }

    /// Share of the zero-voltage conductance that follows the law.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.share
    }

    /// Chord `u/i` at a film voltage, ohm.
    #[must_use]
    pub fn chord_ohm(&self, voltage_v: f64) -> f64 {
        if voltage_v == 0.0 {
            return self.resistance_ohm;
        }
        self.resistance_ohm / (1.0 + self.standing(voltage_v).excess_v / voltage_v)
    }
}

/// Between two bounds; `f64::clamp` stops the program where they are no numbers, as those of a voltage past all numbers.
#[inline]
fn within(x: f64, (low, high): (f64, f64)) -> f64 {
    if x < low {
        low
    } else if x > high {
        high
    } else {
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::series::Series;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn films(resistance_ohm: f64, scale_v: f64) -> [Film; 3] {
        [
            Film::Tunnelling { resistance_ohm, scale_v },
            Film::Rectifying { resistance_ohm, ideality: 1.5, leak_ratio: 0.1 },
            Film::Bridged { resistance_ohm },
        ]
    }

    #[test]
    fn plain_resistances_have_no_law() {
        assert_eq!(Loaded::new(&Film::Ohmic { resistance_ohm: 1.0 }, 1.0), None);
        let leak = Film::Rectifying { resistance_ohm: 1.0, ideality: 1.0, leak_ratio: 1.0 };
        assert_eq!(Loaded::new(&leak, 1.0), None);
    }

    #[test]
    fn tiny_voltages_keep_their_digits() {
        // leading terms: sinh x - x = x^3/6, expm1 x - x = x^2/2, atan x - x = -x^3/3; the next is 1e-10 of them here
        let x = 1e-5;
        assert_relative_eq!(Shape::Sinh.beyond(x).0, x.powi(3) / 6.0, epsilon = 0.0, max_relative = 1e-10);
        assert_relative_eq!(
            Shape::Expm1.beyond(x).0,
            x * x / 2.0 * (1.0 + x / 3.0),
            epsilon = 0.0,
            max_relative = 1e-10
        );
        assert_relative_eq!(Shape::Atan.beyond(x).0, -x.powi(3) / 3.0, epsilon = 0.0, max_relative = 1e-10);
    }

    proptest! {
        #[test]
        fn series_and_functions_meet(x in 0.2f64..0.3, sign in 0..2) {
            // at the switch the plain difference has lost a factor of 3/x^2 of an ulp or two of the library's, and the series none
            let x = x * f64::from(2 * sign - 1);
            for (series, plain) in [(sinh_minus_x(x), x.sinh() - x), (expm1_minus_x(x), x.exp_m1() - x), (atan_minus_x(x), x.atan() - x)] {
                prop_assert!((series / plain - 1.0).abs() < 12.0 / (x * x) * f64::EPSILON, "{series} {plain}");
            }
        }

        #[test]
        fn the_root_is_the_slow_one(log_r in -6.0f64..9.0, log_front in -6.0f64..6.0, log_v in -7.0f64..1.5, sign in 0..2,
                                    start in -40.0f64..40.0, scale in 0.02f64..2.0) {
            let (r, front) = (10f64.powf(log_r), 10f64.powf(log_front));
            let across = 10f64.powf(log_v) * f64::from(2 * sign - 1);
            for film in films(r, scale) {
                let slow = Series { film, constriction_ohm: front }.film_voltage_v(across);
                let fast = Loaded::new(&film, front).unwrap().film_voltage_v(across, start);
                // both solve to rounding; the condition of the root stays below 4 where the film has the larger share
                prop_assert!((fast - slow).abs() <= 1e-13 * slow.abs(), "{film:?} {front} {across}: {fast} {slow}");
            }
        }

        #[test]
        fn what_stands_downhill_is_what_stands_alone(log_r in -3.0f64..6.0, log_front in -3.0f64..6.0, log_v in -4.0f64..1.0) {
            let (r, front) = (10f64.powf(log_r), 10f64.powf(log_front));
            for film in films(r, 0.08) {
                let loaded = Loaded::new(&film, front).unwrap();
                let across: Vec<f64> = (0..12).map(|k| 10f64.powf(log_v) * (0.13 * f64::from(k)).cos()).collect();
                let mut found = Vec::new();
                loaded.standings_downhill(across.iter().copied(), |standing| found.push(standing));
                prop_assert_eq!(found.len(), across.len());
                for (across, found) in across.iter().zip(found) {
                    let alone = loaded.standing(loaded.film_voltage_v(*across, f64::NAN));
                    prop_assert!((found.voltage_v - alone.voltage_v).abs() <= 1e-13 * alone.voltage_v.abs());
                    // an exponential turns an error of the voltage into as many times its exponent
                    prop_assert!((found.excess_v - alone.excess_v).abs() <= 1e-11 * alone.excess_v.abs(), "{found:?} {alone:?}");
                    prop_assert!((found.rise - alone.rise).abs() <= 1e-11 * alone.rise.abs(), "{found:?} {alone:?}");
                }
            }
        }

        #[test]
        fn excess_and_rise_are_those_of_the_film(r in 1e-3f64..1e6, v in -1.0f64..1.0) {
            for film in films(r, 0.08) {
                let s = Loaded::new(&film, 1.0).unwrap().standing(v);
                let current = film.current_a(v);
                prop_assert!(((s.excess_v + v) / r - current).abs() <= 1e-13 * current.abs());
                prop_assert!(((s.rise + 1.0) / r - film.slope_s(v)).abs() <= 1e-13 * film.slope_s(v));
            }
        }
    }

    #[test]
    fn what_lies_outside_is_put_on_the_bound() {
        assert_eq!([-2.0, 0.5, 3.0].map(|x| within(x, (-1.0, 1.0))), [-1.0, 0.5, 1.0]);
        assert!(within(f64::NAN, (-1.0, 1.0)).is_nan());
    }

    #[test]
    fn a_voltage_that_is_no_number_has_no_place() {
        for law in films(10.0, 0.1) {
            let loaded = Loaded::new(&law, 100.0).unwrap();
            for across_v in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, f64::MAX] {
                // a number or none, but an answer
                let found = loaded.film_voltage_v(across_v, 0.0);
                assert!(found.is_nan() || found.abs() <= across_v.abs(), "{law:?} {across_v} {found}");
            }
            loaded.standings_downhill([f64::NAN].into_iter(), |standing| assert!(standing.voltage_v.is_nan()));
        }
    }
}
