//! Noise of a contact: thermal, 1/f, and what a direct current makes of a resistance that changes.
//!
//! | what | equation | source |
//! | --- | --- | --- |
//! | thermal | `S_V = 4 k T R` | Johnson 1928, Nyquist 1928 |
//! | 1/f | `S_V/V^2 = C/f` | Hooge, Phys. Lett. A 29 (1969) 139 \[memory\] |
//! | one metal spot | `C = alpha_H/(20 pi n a^3)` | shells from radius `a` on either side; Vandamme, Appl. Phys. 11 (1976) 89 \[seen\]; factor \[derived\] |
//! | the same by resistance | `C = alpha_H pi^2 R^3/(20 n rho^3)`, `R = rho/(pi a)` | as above |
//! | film (assumption) | `C = c R` | that a film goes with R, not `R^3`: \[memory\]; the constant is the caller's |
//! | step | `dV = I (R_h - R_l) Z/(Z + R_h)` | Ohm \[derived\] |
//!
//! Validity: metal contacts are quiet (gold, `a` = 1 um, 10 mV: 0.23 nV per root Hz at 1 Hz); noise that is heard means a film
//! or a contact that moves. `alpha_H` is about 2e-3, and scatters from 1e-4 to 1e-2.

use super::constants::BOLTZMANN_J_PER_K;
use std::f64::consts::PI;

/// Hooge's constant as usually quoted \[memory\].
pub const HOOGE: f64 = 2e-3;

/// Thermal noise density, V per root Hz: `sqrt(4 k T R)`.
#[must_use]
pub fn thermal_v_per_rthz(resistance_ohm: f64, temperature_k: f64) -> f64 {
    (4.0 * BOLTZMANN_J_PER_K * temperature_k * resistance_ohm).sqrt()
}

/// 1/f coefficient `C` of one metal spot of radius `a` (m), free electrons per `m^3`.
#[must_use]
pub fn spot_flicker(radius_m: f64, hooge: f64, electrons_per_m3: f64) -> f64 {
    hooge / (20.0 * PI * electrons_per_m3 * radius_m * radius_m * radius_m)
}

/// The same from the resistance of its shells, ohm: grows with `R^3`.
#[must_use]
pub fn constriction_flicker(resistance_ohm: f64, resistivity_ohm_m: f64, hooge: f64, electrons_per_m3: f64) -> f64 {
    let ratio = resistance_ohm / resistivity_ohm_m;
    hooge * PI * PI * ratio * ratio * ratio / (20.0 * electrons_per_m3)
}

/// ASSUMPTION: 1/f coefficient of a film, `c R`, with a constant (1/ohm) that only a measurement can give.
#[must_use]
pub fn assumed_film_flicker(resistance_ohm: f64, coefficient_per_ohm: f64) -> f64 {
    coefficient_per_ohm * resistance_ohm
}

/// Voltage density of 1/f noise, V per root Hz: `V sqrt(C/f)` at a steady voltage `V` across the contact.
#[must_use]
pub fn flicker_v_per_rthz(voltage_v: f64, coefficient: f64, frequency_hz: f64) -> f64 {
    voltage_v.abs() * (coefficient / frequency_hz).sqrt()
}

/// 1/f noise in a band, V rms: `V sqrt(C ln(f_h/f_l))`.
#[must_use]
pub fn flicker_v(voltage_v: f64, coefficient: f64, low_hz: f64, high_hz: f64) -> f64 {
    voltage_v.abs() * (coefficient * (high_hz / low_hz).ln()).sqrt()
}

/// Crackle: the step of voltage on the rest of a loop when a contact that carries a direct current jumps, V.
///
/// `current_a` flows at the low resistance; `loop_ohm` is the rest of the loop; a stiff current (infinite loop) gives
/// `I (R_h - R_l)`. With the dwell times, [`super::chatter::spectrum_per_hz`] of this step is the crackle's spectrum.
#[must_use]
pub fn crackle_step_v(current_a: f64, low_ohm: f64, high_ohm: f64, loop_ohm: f64) -> f64 {
    let step = current_a * (high_ohm - low_ohm);
    if loop_ohm.is_infinite() { step } else { step * (loop_ohm / (loop_ohm + high_ohm)) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::chatter::{Telegraph, variance};
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn thermal_noise_of_one_kilohm() {
        // 300 K: 4.070 nV/rtHz at 1 kohm, 0.129 at 1 ohm [calc]
        assert_relative_eq!(thermal_v_per_rthz(1e3, 300.0), 4.070e-9, epsilon = 0.0, max_relative = 1e-4);
        assert_relative_eq!(thermal_v_per_rthz(1.0, 300.0), 0.129e-9, epsilon = 0.0, max_relative = 5e-3);
    }

    #[test]
    fn gold_spots() {
        // gold 5.9e28 per m^3, 2e-3: a = 10, 1, 0.1 um; 0.23 nV/rtHz at 10 mV, 1 Hz, 1 um [calc]
        for (a, c) in [(10e-6, 5.395e-19), (1e-6, 5.395e-16), (0.1e-6, 5.395e-13)] {
            assert_relative_eq!(spot_flicker(a, HOOGE, 5.9e28), c, epsilon = 0.0, max_relative = 1e-4);
        }
        assert_relative_eq!(flicker_v_per_rthz(0.01, 5.395e-16, 1.0), 0.23e-9, epsilon = 0.0, max_relative = 2e-2);
    }

    #[test]
    fn by_radius_or_by_resistance() {
        let (a, rho) = (0.7e-6, 2.3e-8);
        let c = constriction_flicker(rho / (PI * a), rho, HOOGE, 5.9e28);
        assert_relative_eq!(c, spot_flicker(a, HOOGE, 5.9e28), epsilon = 0.0, max_relative = 1e-13);
    }

    proptest! {
        #[test]
        fn crackle_is_the_change_of_current_in_the_loop(i in 1e-9f64..1.0, low in 0.0f64..1e3, step in 0.0f64..1e4, z in 1e-2f64..1e6) {
            let emf = i * (z + low);
            let plain = z * (emf / (z + low) - emf / (z + low + step));
            prop_assert!((crackle_step_v(i, low, low + step, z) - plain).abs() <= 1e-12 * emf);
            prop_assert!(crackle_step_v(i, low, low + step, z) <= crackle_step_v(i, low, low + step, f64::INFINITY));
        }
    }

    #[test]
    fn flicker_of_a_film_grows_with_its_ohms() {
        assert_relative_eq!(assumed_film_flicker(200.0, 1e-9), 2e-7, epsilon = 0.0);
        assert_relative_eq!(flicker_v_per_rthz(-0.5, 4e-8, 100.0), 1e-5, epsilon = 0.0, max_relative = 1e-12);
    }

    #[test]
    fn crackle_of_a_telegraph_has_its_rms() {
        // 1 uA through a wiper that jumps by 1 kohm, in 100 kohm, even duty: half of the step
        let t = Telegraph { low_ohm: 0.0, high_ohm: 1e3, dwell_low_s: 1e-3, dwell_high_s: 1e-3 };
        let step = crackle_step_v(1e-6, t.low_ohm, t.high_ohm, 100e3);
        assert_relative_eq!(variance(step, 1e-3, 1e-3).sqrt(), 0.5e-3 / 1.01, epsilon = 0.0, max_relative = 1e-12);
    }
}
