//! Film laws: how the current through a contact's film depends on the voltage across it.
//!
//! Every law is written for its zero-voltage resistance `R`, so that one reading taken dry
//! describes all of them. Each is strictly increasing and passive (current and voltage never differ in sign).
//!
//! | law | current at `v` | source |
//! | --- | --- | --- |
//! | ohmic | `v / R` | Ohm |
//! | tunnelling | `(V0/R) sinh(v/V0)` | low-voltage form of Simmons, J. Appl. Phys. 34 (1963) 238 \[memory\]: the cubic term of `sinh` matches with `gamma = 1/(6 V0^2)` |
//! | rectifying | `((1-l)/R) U expm1(v/U) + (l/R) v`, `U = n kT/e`, T = 293.15 K | thermionic emission over an oxide barrier \[memory\] beside an ohmic leak |
//! | bridged | `(V_T/R) atan(v/V_T)`, `V_T = 2 sqrt(L) T0` | heated constriction, Holm, Electric Contacts, 1967, paragraphs 15-17 \[memory\]; derivation \[computed\] |

use super::constants::{LORENZ_V2_PER_K2, ROOM_TEMPERATURE_K, THERMAL_VOLTAGE_V};
use crate::error::{InputError, not_negative, positive};
use serde::{Deserialize, Serialize};

/// Voltage at which a constriction heats itself markedly, V: `2 sqrt(L) T0`, 91.6 mV at room temperature.
#[must_use]
pub fn heating_voltage_v() -> f64 {
    2.0 * LORENZ_V2_PER_K2.sqrt() * ROOM_TEMPERATURE_K
}

/// Largest exponent that `exp` is given: beyond it a law goes on along its tangent, far outside any contact's life.
pub(crate) const EXPONENT_LIMIT: f64 = 700.0;

/// `v/unit` for `unit = ideality kT/e`, and what rounding took from it, so that `exp` of it keeps 1e-13 up to the limit.
fn exponent(voltage_v: f64, ideality: f64) -> (f64, f64) {
    let unit = ideality * THERMAL_VOLTAGE_V;
    let x = voltage_v / unit;
    if x < 10.0 {
        return (x, 0.0);
    }
    let missing = ideality.mul_add(THERMAL_VOLTAGE_V, -unit);
    let rest = (-x).mul_add(unit, voltage_v) - x * missing;
    (x, rest / unit)
}

/// A film law with its zero-voltage resistance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "law", rename_all = "snake_case", deny_unknown_fields)]
pub enum Film {
    /// A plain resistance.
    Ohmic {
        /// resistance, ohm
        resistance_ohm: f64,
    },
    /// A tunnelling film, `sinh`.
    Tunnelling {
        /// resistance at zero voltage, ohm
        resistance_ohm: f64,
        /// voltage scale of the `sinh`, V
        scale_v: f64,
    },
    /// A rectifying film: a diode beside a leak.
    Rectifying {
        /// resistance at zero voltage, ohm
        resistance_ohm: f64,
        /// ideality of the diode, 1 to about 2.5
        ideality: f64,
        /// share of the zero-voltage conductance that is leak, above 0 and at most 1
        leak_ratio: f64,
    },
    /// A film after breakdown: a metal bridge that heats itself.
    Bridged {
        /// resistance when cold, ohm
        resistance_ohm: f64,
    },
}

impl Film {
    /// Resistance at zero voltage, ohm.
    #[must_use]
    pub fn resistance_ohm(&self) -> f64 {
        match *self {
            Self::Ohmic { resistance_ohm }
            | Self::Tunnelling { resistance_ohm, .. }
            | Self::Rectifying { resistance_ohm, .. }
            | Self::Bridged { resistance_ohm } => resistance_ohm,
        }
    }

    /// The same law at another zero-voltage resistance.
    #[must_use]
    pub fn with_resistance(mut self, ohm: f64) -> Self {
        match &mut self {
            Self::Ohmic { resistance_ohm }
            | Self::Tunnelling { resistance_ohm, .. }
            | Self::Rectifying { resistance_ohm, .. }
            | Self::Bridged { resistance_ohm } => *resistance_ohm = ohm,
        }
        self
    }

    /// Name of the law, as the reports print it.
    #[must_use]
    pub fn law(&self) -> &'static str {
        match self {
            Self::Ohmic { .. } => "ohmic",
            Self::Tunnelling { .. } => "tunnelling",
            Self::Rectifying { .. } => "rectifying",
            Self::Bridged { .. } => "bridged",
        }
    }

    /// Checks every parameter.
    ///
    /// # Errors
    /// A resistance or scale that is not above zero, an ideality below 1, a leak ratio outside (0, 1].
    pub fn check(&self) -> Result<(), InputError> {
        if let Self::Ohmic { resistance_ohm } = *self {
            // zero is a perfect contact
            not_negative("film: resistance_ohm", resistance_ohm)?;
        } else {
            positive("film: resistance_ohm", self.resistance_ohm())?;
        }
        match *self {
            Self::Tunnelling { scale_v, .. } => {
                positive("film: scale_v", scale_v)?;
            }
            Self::Rectifying { ideality, leak_ratio, .. } => {
                if !(ideality.is_finite() && ideality >= 1.0) {
                    let allowed = "allowed: finite, 1 or more";
                    return Err(InputError::new("film: ideality", ideality, allowed));
                }
                if !(leak_ratio > 0.0 && leak_ratio <= 1.0) {
                    let allowed =
                        "allowed: above 0, at most 1 (a film without any leak has no finite reverse resistance)";
                    return Err(InputError::new("film: leak_ratio", leak_ratio, allowed));
                }
            }
            Self::Ohmic { .. } | Self::Bridged { .. } => {}
        }
        Ok(())
    }

    /// Current at a voltage, A.
    #[must_use]
    pub fn current_a(&self, voltage_v: f64) -> f64 {
        if voltage_v == 0.0 {
            return 0.0;
        }
        match *self {
            Self::Ohmic { resistance_ohm } => voltage_v / resistance_ohm,
            Self::Tunnelling { resistance_ohm, scale_v } => {
                let x = voltage_v / scale_v;
                let held = x.clamp(-EXPONENT_LIMIT, EXPONENT_LIMIT);
                scale_v / resistance_ohm * (held.sinh() + held.cosh() * (x - held))
            }
            Self::Rectifying { resistance_ohm, ideality, leak_ratio } => {
                let unit = ideality * THERMAL_VOLTAGE_V;
                let (x, rest) = exponent(voltage_v, ideality);
                let held = x.min(EXPONENT_LIMIT);
                let diode = held.exp_m1() + held.exp() * (x - held + rest);
                ((1.0 - leak_ratio) * unit * diode + leak_ratio * voltage_v) / resistance_ohm
            }
            Self::Bridged { resistance_ohm } => {
                let unit = heating_voltage_v();
                unit / resistance_ohm * (voltage_v / unit).atan()
            }
        }
    }

    /// Slope di/dv at a voltage, S.
    #[must_use]
    pub fn slope_s(&self, voltage_v: f64) -> f64 {
        match *self {
            Self::Ohmic { resistance_ohm } => 1.0 / resistance_ohm,
            Self::Tunnelling { resistance_ohm, scale_v } => {
                let x = (voltage_v / scale_v).clamp(-EXPONENT_LIMIT, EXPONENT_LIMIT);
                x.cosh() / resistance_ohm
            }
            Self::Rectifying { resistance_ohm, ideality, leak_ratio } => {
                let (x, rest) = exponent(voltage_v, ideality);
                let diode = if x > EXPONENT_LIMIT { EXPONENT_LIMIT.exp() } else { x.exp() * (1.0 + rest) };
                ((1.0 - leak_ratio) * diode + leak_ratio) / resistance_ohm
            }
            Self::Bridged { resistance_ohm } => {
                let x = voltage_v / heating_voltage_v();
                1.0 / (resistance_ohm * (1.0 + x * x))
            }
        }
    }

    /// Voltage at a current, V: the inverse of [`Film::current_a`].
    ///
    /// Ohmic `R i`; tunnelling `V0 asinh(R i/V0)`; bridged `V_T tan(R i/V_T)`, none from `R |i| = (pi/2) V_T` = 143.9 mV on;
    /// rectifying by Newton's method, which comes down a convex curve and cannot miss. `None` also where the current or the
    /// voltage is not finite. Rounding: the law's own condition, below 1e-14 for all but a
    /// bridge near its end.
    #[must_use]
    pub fn voltage_v(&self, current_a: f64) -> Option<f64> {
        if !current_a.is_finite() {
            return None;
        }
        let drop_v = current_a * self.resistance_ohm();
        let voltage = match *self {
            Self::Ohmic { .. } => drop_v,
            Self::Tunnelling { scale_v, .. } => {
                let x = (drop_v / scale_v).asinh();
                // past the limit the law is its tangent, and so is its inverse
                let past = (drop_v / scale_v).abs() / EXPONENT_LIMIT.cosh() - 1.0;
                scale_v * if x.abs() > EXPONENT_LIMIT { (EXPONENT_LIMIT + past).copysign(x) } else { x }
            }
            Self::Rectifying { ideality, leak_ratio, .. } => {
                let unit = ideality * THERMAL_VOLTAGE_V;
                unit * rectifier_exponent(drop_v / unit, leak_ratio)
            }
            Self::Bridged { .. } => {
                let unit = heating_voltage_v();
                let angle = drop_v / unit;
                if angle.abs() >= std::f64::consts::FRAC_PI_2 {
                    return None;
                }
                unit * angle.tan()
            }
        };
        voltage.is_finite().then_some(voltage)
    }

    /// Chord v/i at a voltage, ohm; at zero voltage the zero-voltage resistance.
    #[must_use]
    pub fn chord_ohm(&self, voltage_v: f64) -> f64 {
        let current = self.current_a(voltage_v);
        if current == 0.0 { self.resistance_ohm() } else { voltage_v / current }
    }

    /// Largest chord for any voltage up to `peak_v` in either polarity, ohm.
    ///
    /// A tunnelling film is largest at rest, a rectifying one in its reverse direction at the peak, a bridge when it is hottest.
    #[must_use]
    pub fn largest_chord_ohm(&self, peak_v: f64) -> f64 {
        match self {
            Self::Ohmic { .. } | Self::Tunnelling { .. } => self.resistance_ohm(),
            Self::Rectifying { .. } | Self::Bridged { .. } => self.chord_ohm(-peak_v.abs()),
        }
    }
}

/// Root x of `(1-l) expm1(x) + l x = y`.
///
/// `expm1(x) >= x` puts the root at `y` or below; for `y > 0` also at `ln1p(y/(1-l))` or below. The left side is convex, so
/// from there each Newton step falls and stops at the root.
fn rectifier_exponent(y: f64, leak_ratio: f64) -> f64 {
    let diode = 1.0 - leak_ratio;
    let edge = EXPONENT_LIMIT.exp();
    if y > diode * edge + leak_ratio * EXPONENT_LIMIT {
        // past the limit the law is its tangent
        return EXPONENT_LIMIT + (y - diode * edge - leak_ratio * EXPONENT_LIMIT) / (diode * edge + leak_ratio);
    }
    let mut x = y;
    // of the diode alone: a bound for y > 0, and for y < 0 none, since the leak may carry the rest
    if y > 0.0 && diode > 0.0 {
        x = x.min((y / diode).ln_1p());
    }
    // the diode saturates: the leak carries what is left, a bound from above for y < 0
    if y < -diode {
        x = x.min((y + diode) / leak_ratio);
    }
    for _ in 0..200 {
        let step = (diode * x.exp_m1() + leak_ratio * x - y) / (diode * x.exp() + leak_ratio);
        let next = x - step;
        // from above each step is positive until rounding is all that is left
        if step <= 0.5 * f64::EPSILON * x.abs() {
            return next;
        }
        x = next;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn laws(resistance_ohm: f64) -> [Film; 4] {
        [
            Film::Ohmic { resistance_ohm },
            Film::Tunnelling { resistance_ohm, scale_v: 0.08 },
            Film::Rectifying { resistance_ohm, ideality: 1.5, leak_ratio: 0.1 },
            Film::Bridged { resistance_ohm },
        ]
    }

    #[test]
    fn heated_constriction_root() {
        // V = 0.1 V, L = 2.44e-8 gives I R0 = 0.0759501 V [computed]; with the Sommerfeld L it is within 1e-3
        let film = Film::Bridged { resistance_ohm: 1.0 };
        assert_relative_eq!(film.current_a(0.1), 0.075_950_1, max_relative = 1e-3);
        assert_relative_eq!(film.chord_ohm(0.1), 1.316_65, max_relative = 1e-3);
    }

    #[test]
    fn past_the_exponent_limit_a_law_still_rises_along_its_slope() {
        for film in [Film::Tunnelling { resistance_ohm: 1e6, scale_v: 0.025 }, laws(1e6)[2]] {
            let (a, b) = (film.current_a(30.0), film.current_a(31.0));
            assert!(b > a && b.is_finite());
            assert_relative_eq!(b - a, film.slope_s(30.5), max_relative = 1e-12);
        }
    }

    #[test]
    fn past_the_exponent_limit_the_inverse_follows_the_tangent() {
        for film in [Film::Tunnelling { resistance_ohm: 1e6, scale_v: 0.025 }, laws(1e6)[2]] {
            for v in [17.4f64, 17.6, 26.4, 26.6, 40.0] {
                let back = film.voltage_v(film.current_a(v)).unwrap();
                assert_relative_eq!(back, v, epsilon = 0.0, max_relative = 1e-13);
            }
        }
    }

    #[test]
    fn a_bridge_has_no_voltage_past_its_end() {
        let film = Film::Bridged { resistance_ohm: 2.0 };
        assert_eq!(film.voltage_v(0.0720), None);
        assert!(film.voltage_v(0.0719).is_some_and(|v| v > 10.0 * heating_voltage_v()));
        assert_eq!(Film::Ohmic { resistance_ohm: 1.0 }.voltage_v(f64::NAN), None);
    }

    #[test]
    fn rectifier_reads_little_and_blocks_much() {
        let film = Film::Rectifying { resistance_ohm: 0.8, ideality: 1.0, leak_ratio: 0.01 };
        assert!(film.largest_chord_ohm(2.0) > 30.0 * film.largest_chord_ohm(0.02));
    }

    proptest! {
        #[test]
        fn rising_passive_and_bounded_by_the_largest_chord(r in 1e-6f64..1e9, v in -3.0f64..3.0) {
            for film in laws(r) {
                let i = film.current_a(v);
                prop_assert!(i * v >= 0.0);
                prop_assert!(film.slope_s(v) > 0.0);
                prop_assert!(film.chord_ohm(v) <= film.largest_chord_ohm(v) * (1.0 + 1e-12));
            }
        }

        #[test]
        fn slope_is_the_derivative(r in 1e-3f64..1e6, v in -0.5f64..0.5) {
            // central difference, step 1e-6 V on a scale of 25 mV: truncation below 1e-9 relative, rounding below 1e-8
            const TOLERANCE: f64 = 1e-6;
            for film in laws(r) {
                let h = 1e-6;
                let difference = (film.current_a(v + h) - film.current_a(v - h)) / (2.0 * h);
                prop_assert!((difference / film.slope_s(v) - 1.0).abs() < TOLERANCE);
            }
        }

        #[test]
        fn voltage_is_the_inverse_of_current(r in 1e-6f64..1e9, decade in -9.0f64..0.5, sign in 0..2) {
            let v = 10f64.powf(decade) * f64::from(2 * sign - 1);
            for film in laws(r) {
                let i = film.current_a(v);
                let back = film.voltage_v(i).unwrap();
                // rounding of the current, brought back through the slope, and a few units of the voltage's own
                let condition = (i / (film.slope_s(v) * v)).abs();
                prop_assert!((back - v).abs() <= 4e-16 * (4.0 + 4.0 * condition) * v.abs(), "{:?} {v} {back}", film);
            }
        }

        #[test]
        fn the_inverse_holds_for_any_leak(leak_ratio in 1e-12f64..1.0, y in -1e3f64..1e3) {
            let x = rectifier_exponent(y, leak_ratio);
            let back = (1.0 - leak_ratio) * x.exp_m1() + leak_ratio * x;
            // terms of either sign never cancel; e^x makes |x| units of rounding
            prop_assert!((back - y).abs() <= 1e-15 * (4.0 + x.abs()) * y.abs());
        }

        #[test]
        fn every_law_is_ohmic_at_rest(r in 1e-6f64..1e9) {
            for film in laws(r) {
                prop_assert!((film.chord_ohm(1e-9) / r - 1.0).abs() < 1e-6);
                prop_assert_eq!(film.chord_ohm(0.0), r);
            }
        }
    }
}
