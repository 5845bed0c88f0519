//! The film law from harmonics across the contact at a sine of fixed current (idea of IEC 60440's third-harmonic test).
//!
//! Peaks `V1, V2, V3` of the voltage across the contact. With the current fixed the film's voltage is its inverse law:
//!
//! * tunnelling `V0 asinh(y cos wt)`: odd; for small `V3/V1` `V0 = V1 sqrt(V1/(24 V3))`; here solved exactly \[derived\];
//! * rectifying without leak `U ln(1 + y cos wt)`: `V_n = 2 U t^n/n`, so that `U = V1^2/(4 V2)` at every level and
//!   `V3 = 4 V2^2/(3 V1)` \[derived\]; with a leak `l` the weak-signal value of the same expression is `U/(1-l)`;
//! * bridged: odd, `V3/V1 = V1^2/(48 L T0^2)` with nothing free: [`crate::physics::constriction::third_harmonic_cubic`].
//!
//! Validity: a contact steady over a period, a constriction small against the film, a test current free of harmonics. A
//! plain resistance in series (or a spot too large to follow its heat) makes a bridge's ratio smaller, as a tunnelling film's
//! is; and unlike metals give a tunnelling film a small second harmonic (Brinkman, Dynes and Rowell 1970 \[memory\]), as a
//! rectifier with much leak has: one level cannot part these, [`super::fit`] can.

use crate::error::{InputError, not_negative, positive};
use crate::physics::constants::{ROOM_TEMPERATURE_K, THERMAL_VOLTAGE_V};
use crate::physics::constriction::{Heating, third_harmonic_cubic};
use serde::Serialize;
use std::f64::consts::FRAC_PI_2;

/// What harmonics tell of a film.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HarmonicLaw {
    /// whether one law is told
    pub identifiable: bool,
    /// "tunnelling", "rectifying", "bridged", or none
    pub law: Option<&'static str>,
    /// why, or why not
    pub reason: String,
    /// scale of a tunnelling film that has this third harmonic, V
    pub scale_v: Option<f64>,
    /// ideality (of a film without leak) that has this second harmonic
    pub ideality: Option<f64>,
    /// third harmonic over fundamental of a heated bridge at this fundamental
    pub bridged_ratio: f64,
}

/// How far a third harmonic may be from a bridge's and still be called one: the Lorenz number of metals and half a decibel.
const BRIDGE_TOLERANCE: f64 = 0.1;

/// Largest apparent ideality that is called a rectifier: twice the largest published, 2.5 \[memory\], or half of it leak.
const LARGEST_IDEALITY: f64 = 5.0;

/// Largest `V3/V1` for which a tunnelling scale is given: a square wave has 1/3.
const LARGEST_RATIO: f64 = 0.2;

/// First and third harmonic of `asinh(y cos t)`, midpoint rule on a quarter period.
fn asinh_harmonics(y: f64) -> (f64, f64) {
    /// samples: the nearest branch point at `y = 100` leaves `exp(-4 * 1024 * 0.01)`
    const QUARTER: usize = 1024;
    let (mut first, mut third) = (0.0, 0.0);
    for k in 0..QUARTER {
        let angle = (k as f64 + 0.5) * FRAC_PI_2 / QUARTER as f64;
        let v = (y * angle.cos()).asinh();
        first += v * angle.cos();
        third -= v * (3.0 * angle).cos();
    }
    let weight = 2.0 / QUARTER as f64;
    (weight * first, weight * third)
}

/// Scale of the `sinh` law with this third harmonic at a fixed current, V; peaks in V.
///
/// # Errors
/// Peaks not above zero; a ratio above 0.2, near that of a square wave (1/3).
pub fn scale_from_third_v(first_v: f64, third_v: f64) -> Result<f64, InputError> {
    positive("first_v", first_v)?;
    positive("third_v", third_v)?;
    let ratio = third_v / first_v;
    if ratio > LARGEST_RATIO {
        let allowed = format!("allowed: third over first up to {LARGEST_RATIO}; a square wave has 1/3");
        return Err(InputError::new("third_v", third_v, allowed));
    }
    if ratio < 1e-8 {
        // the exact sum has lost its digits, the leading term is exact to the ratio itself
        return Ok(first_v / (24.0 * ratio).sqrt());
    }
    let (mut low, mut high) = (1e-5f64.ln(), 1e4f64.ln());
    for _ in 0..80 {
        let middle = 0.5 * (low + high);
        let (a, b) = asinh_harmonics(middle.exp());
        if b / a > ratio { high = middle } else { low = middle }
    }
    Ok(first_v / asinh_harmonics(low.exp()).0)
}

/// The law from the peaks of the first three harmonics across a contact (V); `floor_v`: what the instrument shows of none.
///
/// # Errors
/// A fundamental or floor not above zero, harmonics below zero or above the fundamental.
pub fn law_from_harmonics(first_v: f64, second_v: f64, third_v: f64, floor_v: f64) -> Result<HarmonicLaw, InputError> {
    positive("first_v", first_v)?;
    positive("floor_v", floor_v)?;
    for (name, value) in [("second_v", second_v), ("third_v", third_v)] {
        if not_negative(name, value)? > first_v {
            return Err(InputError::new(name, value, "allowed: at most the fundamental, first_v"));
        }
    }
    // three times the floor: the instrument's own share is then below 6 % if it adds as power
    let seen = 3.0 * floor_v;
    let (second, third) = (second_v >= seen, third_v >= seen);
    let bridged_ratio = third_harmonic_cubic(first_v, 1.0 / ROOM_TEMPERATURE_K, &Heating::default());
    if !bridged_ratio.is_finite() {
        return Err(InputError::new("first_v", format!("{first_v:e}"), "allowed: a voltage across a contact"));
    }
    let scale_v = if third { scale_from_third_v(first_v, third_v).ok() } else { None };
    let ideality = second.then(|| first_v * first_v / (4.0 * second_v) / THERMAL_VOLTAGE_V);
    let near_bridge = third && (third_v / first_v / bridged_ratio - 1.0).abs() <= BRIDGE_TOLERANCE;
    let (law, reason) = match (second, third) {
        (false, false) => {
            (None, "no harmonic above the floor: the contact is dry at this current, or ohmic".to_owned())
        }
        (true, _) if second_v > third_v => match ideality {
            Some(n) if n < 0.9 => (None, format!("the second harmonic is larger than any diode's (ideality {n:.2})")),
            Some(n) if n > LARGEST_IDEALITY => (
                None,
                format!(
                    "second harmonic only, weaker than a diode's (apparent ideality {n:.1}): a rectifier with much leak, or a \
                     tunnelling film between unlike metals"
                ),
            ),
            _ => (Some("rectifying"), "the second harmonic leads".to_owned()),
        },
        (true, _) => (None, "second and third harmonic alike: two films, or a rectifier driven hard".to_owned()),
        (false, true) if near_bridge => {
            (None, "third harmonic only, and of the size that a heated bridge has: tunnelling or bridged".to_owned())
        }
        (false, true) if third_v / first_v < bridged_ratio => {
            let reason = "third harmonic only, below that of a bridge (if no plain resistance hides one: measure at the contact)";
            (Some("tunnelling"), reason.to_owned())
        }
        (false, true) if scale_v.is_none() => (None, "the third harmonic is near that of a square wave".to_owned()),
        (false, true) => (Some("tunnelling"), "third harmonic only, above that of a bridge".to_owned()),
    };
    Ok(HarmonicLaw { identifiable: law.is_some(), law, reason, scale_v, ideality, bridged_ratio })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::Film;
    use approx::assert_relative_eq;

    /// Peaks of the first three harmonics of a film's voltage at a cosine of current.
    fn peaks(film: Film, current_a: f64) -> [f64; 3] {
        let n = 4096;
        let angle = |k: usize| (k as f64 + 0.5) * std::f64::consts::TAU / n as f64;
        let v: Vec<f64> = (0..n).map(|k| film.voltage_v(current_a * angle(k).cos()).unwrap()).collect();
        [1.0, 2.0, 3.0]
            .map(|h| (2.0 / n as f64 * v.iter().enumerate().map(|(k, v)| v * (h * angle(k)).cos()).sum::<f64>()).abs())
    }

    #[test]
    fn a_tunnelling_scale_comes_back() {
        for i in [1e-4, 1e-3, 1e-2] {
            let [v1, v2, v3] = peaks(Film::Tunnelling { resistance_ohm: 100.0, scale_v: 0.12 }, i);
            assert_relative_eq!(scale_from_third_v(v1, v3).unwrap(), 0.12, epsilon = 0.0, max_relative = 1e-7);
            let told = law_from_harmonics(v1, v2, v3, 1e-9).unwrap();
            assert_eq!(told.law, Some("tunnelling"), "{told:?}");
        }
        // small: the closed form V1 sqrt(V1/(24 V3))
        assert_relative_eq!(
            scale_from_third_v(1.0, 1e-6).unwrap(),
            (1e6f64 / 24.0).sqrt(),
            epsilon = 0.0,
            max_relative = 1e-4
        );
    }

    #[test]
    fn an_ideality_comes_back_at_any_level() {
        for share in [0.01, 0.3, 0.9] {
            let film = Film::Rectifying { resistance_ohm: 100.0, ideality: 1.7, leak_ratio: 1e-9 };
            let [v1, v2, v3] = peaks(film, share * 1.7 * THERMAL_VOLTAGE_V / 100.0);
            assert_relative_eq!(v3, 4.0 * v2 * v2 / (3.0 * v1), epsilon = 0.0, max_relative = 1e-5);
            let told = law_from_harmonics(v1, v2, v3, 1e-9).unwrap();
            assert_eq!(told.law, Some("rectifying"));
            assert_relative_eq!(told.ideality.unwrap(), 1.7, epsilon = 0.0, max_relative = 1e-6);
        }
    }

    #[test]
    fn what_is_not_told_is_not_guessed() {
        let [v1, v2, v3] = peaks(Film::Bridged { resistance_ohm: 1.0 }, 0.03);
        let told = law_from_harmonics(v1, v2, v3, 1e-9).unwrap();
        assert!(!told.identifiable && told.reason.contains("bridge"), "{told:?}");
        assert!(!law_from_harmonics(1e-3, 1e-9, 1e-9, 1e-8).unwrap().identifiable);
        // a second harmonic a hundred times weaker than a diode's is no diode's
        let weak = law_from_harmonics(1e-3, 1e-7, 0.0, 1e-9).unwrap();
        assert!(!weak.identifiable && weak.reason.contains("unlike metals"), "{weak:?}");
        assert!(law_from_harmonics(1e200, 0.0, 0.0, 1e-9).is_err());
        assert!(law_from_harmonics(0.0, 0.0, 0.0, 1e-9).is_err());
        assert!(law_from_harmonics(1.0, 2.0, 0.0, 1e-9).is_err());
        assert!(scale_from_third_v(1.0, 0.3).is_err());
    }
}
