//! Tunnelling through a thin film: a rectangular barrier between like metals (Simmons).
//!
//! With barrier height `phi` (eV), thickness `s`, `A = 4 pi s sqrt(2 m e)/h` (10.2463 per nm and root eV) and
//! `J0 = e^2/(2 pi h s^2)`:
//!
//! | form | equation | source |
//! | --- | --- | --- |
//! | intermediate, `|V| < phi` | `J = J0 [(phi - V/2) exp(-A sqrt(phi - V/2)) - (phi + V/2) exp(-A sqrt(phi + V/2))]` | Simmons, J. Appl. Phys. 34 (1963) 1793 \[memory\] |
//! | low voltage | `J = V/RA`, `RA = h^2 s/(e^2 sqrt(2 m e phi)) exp(A sqrt phi)` | the same, equation 24 \[seen\] in a secondary text |
//! | cubic | `J = (V + gamma V^3)/RA`, `gamma = A^2/(96 phi) - A/(32 phi^(3/2))` | Simmons, J. Appl. Phys. 34 (1963) 238 \[memory\]; re-derived \[derived\] |
//!
//! Validity: free electron mass, no image force, like electrodes, 0 K; `A sqrt phi` of 4 or more (0.39 nm at 1 eV), below which
//! the intermediate form loses its conductance (slope `(1 - 2/(A sqrt phi))/RA`). The low-voltage prefactor is 1: a form with
//! 3/2 circulates, and direct WKB integration gives `1 + 1/(A sqrt phi)` \[derived\]. As physics, `gamma` is good to 40 %
//! (WKB gives 1.08 where the equation gives 0.77, 1 eV and 1 nm), and thickness moves resistance by a factor 250 in 0.5 nm;
//! as algebra the equations are exact here to 1e-14. Beyond 2 to 3 nm another path conducts \[memory\].

use super::constants::{ELECTRON_MASS_KG, ELEMENTARY_CHARGE_C, PLANCK_J_S};
use super::film::Film;
use crate::error::{InputError, positive};
use std::f64::consts::PI;

/// Least `A sqrt phi` for which the equations are used.
const LEAST_ATTENUATION: f64 = 4.0;

/// Largest `A sqrt phi`: 59 nm at 1 eV, far outside any tunnelling film; beyond it resistances leave the range of numbers.
const LARGEST_ATTENUATION: f64 = 600.0;

/// A rectangular barrier.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Barrier {
    /// height over the Fermi level, eV
    pub height_ev: f64,
    /// thickness, m
    pub thickness_m: f64,
}

/// `A` per metre of thickness, 1/(m sqrt eV): `4 pi sqrt(2 m e)/h`.
fn attenuation_per_m() -> f64 {
    4.0 * PI * (2.0 * ELECTRON_MASS_KG * ELEMENTARY_CHARGE_C).sqrt() / PLANCK_J_S
}

impl Barrier {
    /// Checks height and thickness.
    ///
    /// # Errors
    /// Either not above zero; a barrier so thin and low that the equations do not hold, or so thick that they overflow.
    pub fn check(&self) -> Result<(), InputError> {
        positive("height_ev", self.height_ev)?;
        positive("thickness_m", self.thickness_m)?;
        if self.exponent() < LEAST_ATTENUATION {
            let least = LEAST_ATTENUATION / (attenuation_per_m() * self.height_ev.sqrt());
            let allowed =
                format!("allowed: {least:.3e} m or more at this height; thinner films do not tunnel, they touch");
            return Err(InputError::new("thickness_m", self.thickness_m, allowed));
        }
        if self.exponent() > LARGEST_ATTENUATION {
            let most = LARGEST_ATTENUATION / (attenuation_per_m() * self.height_ev.sqrt());
            let allowed = format!("allowed: {most:.3e} m or less at this height; no film so thick tunnels");
            return Err(InputError::new("thickness_m", self.thickness_m, allowed));
        }
        Ok(())
    }

    /// `A`, 1/sqrt(eV).
    #[must_use]
    pub fn attenuation(&self) -> f64 {
        attenuation_per_m() * self.thickness_m
    }

    /// `A sqrt phi`: the exponent of the low-voltage resistance.
    #[must_use]
    pub fn exponent(&self) -> f64 {
        self.attenuation() * self.height_ev.sqrt()
    }

    /// `J0` of the intermediate form, `A m^-2 eV^-1`: `e^2/(2 pi h s^2)`.
    #[must_use]
    pub fn prefactor(&self) -> f64 {
        ELEMENTARY_CHARGE_C * ELEMENTARY_CHARGE_C / (2.0 * PI * PLANCK_J_S * self.thickness_m * self.thickness_m)
    }

    /// Current density at a voltage, intermediate form, `A/m^2`; none from `|V| = phi` on.
    ///
    /// The two terms are near equal at small voltages. With `p, q = sqrt(phi -+ V/2)`, `m = (p+q)/2`, `d = V/(4m)` they are
    /// `J0 exp(-A m) [2 phi sinh(A d) - V cosh(A d)]`, exactly, without that difference \[derived\].
    #[must_use]
    pub fn density_a_per_m2(&self, voltage_v: f64) -> Option<f64> {
        let (p, q) = self.roots(voltage_v)?;
        let m = 0.5 * (p + q);
        let x = self.attenuation() * voltage_v / (4.0 * m);
        let bracket = 2.0 * self.height_ev * x.sinh() - voltage_v * x.cosh();
        Some(self.prefactor() * (-self.attenuation() * m).exp() * bracket)
    }

    /// Slope dJ/dV of the intermediate form, `S/m^2`; none from `|V| = phi` on.
    #[must_use]
    pub fn slope_s_per_m2(&self, voltage_v: f64) -> Option<f64> {
        let (p, q) = self.roots(voltage_v)?;
        let a = self.attenuation();
        let term = |root: f64| (0.5 * a * root - 1.0) * (-a * root).exp();
        Some(0.5 * self.prefactor() * (term(p) + term(q)))
    }

    fn roots(&self, voltage_v: f64) -> Option<(f64, f64)> {
        let phi = self.height_ev;
        (voltage_v.abs() < phi).then(|| ((phi - 0.5 * voltage_v).sqrt(), (phi + 0.5 * voltage_v).sqrt()))
    }

    /// Low-voltage resistance of an area, `ohm m^2`: `h^2 s/(e^2 sqrt(2 m e phi)) exp(A sqrt phi)`.
    #[must_use]
    pub fn area_resistance_ohm_m2(&self) -> f64 {
        self.thickness_m * area_resistance_per_m(self.height_ev) * self.exponent().exp()
    }

    /// Cubic coefficient `gamma`, `V^-2`: `A^2/(96 phi) - A/(32 phi^(3/2))`, leading terms for large `A sqrt phi`.
    #[must_use]
    pub fn gamma_per_v2(&self) -> f64 {
        let (a, phi) = (self.attenuation(), self.height_ev);
        a * a / (96.0 * phi) - a / (32.0 * phi * phi.sqrt())
    }

    /// Cubic coefficient of the intermediate form itself, `V^-2`, its exact Taylor value \[derived\].
    #[must_use]
    pub fn taylor_gamma_per_v2(&self) -> f64 {
        let (a, phi) = (self.attenuation(), self.height_ev);
        let root = phi.sqrt();
        let top = a * a * a / (8.0 * root) - 3.0 * a * a / (8.0 * phi) - 3.0 * a / (8.0 * phi * root);
        top / (24.0 * (0.5 * a * root - 1.0))
    }

    /// The `sinh` law of an area of this barrier: `R = RA/area`, `V0 = 1/sqrt(6 gamma)`.
    ///
    /// # Errors
    /// What [`Barrier::check`] refuses; an area not above zero; a resistance that is not finite.
    pub fn film(&self, area_m2: f64) -> Result<Film, InputError> {
        self.check()?;
        positive("area_m2", area_m2)?;
        let resistance_ohm = self.area_resistance_ohm_m2() / area_m2;
        positive("thickness_m: resistance", resistance_ohm)?;
        Ok(Film::Tunnelling { resistance_ohm, scale_v: 1.0 / (6.0 * self.gamma_per_v2()).sqrt() })
    }

    /// The barrier of a height whose area has a low-voltage resistance: the inverse of [`Barrier::area_resistance_ohm_m2`].
    ///
    /// `y + ln y = ln(RA ...)` with `y = A sqrt phi`, by Newton's method. Because thickness goes with the logarithm, a
    /// resistance known to a factor of ten gives it to about 0.1 nm; the unknown height matters more.
    ///
    /// # Errors
    /// A height or resistance not above zero; a resistance below what the equations hold for.
    pub fn from_area_resistance(height_ev: f64, area_resistance_ohm_m2: f64) -> Result<Self, InputError> {
        positive("height_ev", height_ev)?;
        positive("area_resistance_ohm_m2", area_resistance_ohm_m2)?;
        let per_m = attenuation_per_m() * height_ev.sqrt();
        let target = area_resistance_ohm_m2.ln() - (area_resistance_per_m(height_ev) / per_m).ln();
        let mut y = if target > 1.0 { target - target.ln() } else { 1.0 };
        for _ in 0..50 {
            let step = (y + y.ln() - target) / (1.0 + 1.0 / y);
            // the curve is concave: a step from the right may pass below zero
            let next = if step < y { y - step } else { 0.5 * y };
            let done = (next - y).abs() <= 1e-16 * y;
            y = next;
            if done {
                break;
            }
        }
        let barrier = Self { height_ev, thickness_m: y / per_m };
        barrier.check().map_err(|_| {
            let end = |exponent: f64| Self { height_ev, thickness_m: exponent / per_m }.area_resistance_ohm_m2();
            let (least, most) = (end(LEAST_ATTENUATION), end(LARGEST_ATTENUATION));
            let allowed = format!(
                "allowed: {least:.3e} to {most:.3e} ohm m^2 at this height; less is metal, not a film, and more does not tunnel"
            );
            InputError::new("area_resistance_ohm_m2", format!("{area_resistance_ohm_m2:e}"), allowed)
        })?;
        Ok(barrier)
    }
}

/// `h^2/(e^2 sqrt(2 m e phi))`, `ohm m`.
fn area_resistance_per_m(height_ev: f64) -> f64 {
    let quantum = PLANCK_J_S / ELEMENTARY_CHARGE_C;
    quantum * quantum / (2.0 * ELECTRON_MASS_KG * ELEMENTARY_CHARGE_C * height_ev).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    const NM: f64 = 1e-9;

    fn barrier(height_ev: f64, nanometres: f64) -> Barrier {
        Barrier { height_ev, thickness_m: nanometres * NM }
    }

    #[test]
    fn constants_of_the_form() {
        // A = 10.2463 per nm, J0 = 6.1657e12 A/m^2/eV at 1 nm [calc]
        assert_relative_eq!(barrier(1.0, 1.0).attenuation(), 10.2463, epsilon = 0.0, max_relative = 1e-5);
        assert_relative_eq!(barrier(1.0, 1.0).prefactor(), 6.1657e12, epsilon = 0.0, max_relative = 1e-4);
    }

    #[test]
    fn table_of_the_references() {
        // contact-physics references section 3.1 [calc]: eV, nm, ohm m^2, gamma, Taylor gamma
        for (ev, nm, area, gamma, taylor) in [
            (1.0, 0.5, 2.657e-12, 0.113, 0.135),
            (1.0, 1.0, 8.921e-10, 0.7734, 0.9222),
            (1.0, 2.0, 5.028e-5, 3.734, 4.103),
            (2.0, 1.0, 4.397e-8, 0.4336, 0.4940),
            (2.0, 3.0, 5.09e5, 4.582, 4.794),
        ] {
            let b = barrier(ev, nm);
            assert_relative_eq!(b.area_resistance_ohm_m2(), area, epsilon = 0.0, max_relative = 1e-3);
            assert_relative_eq!(b.gamma_per_v2(), gamma, epsilon = 0.0, max_relative = 5e-3);
            assert_relative_eq!(b.taylor_gamma_per_v2(), taylor, epsilon = 0.0, max_relative = 5e-3);
        }
    }

    #[test]
    fn what_is_said_to_be_allowed_is_where_the_check_turns() {
        let named = |error: InputError| -> f64 {
            let text = error.to_string();
            let after = text.split("allowed: ").nth(1).unwrap();
            after.split(' ').next().unwrap().parse().unwrap()
        };
        for ev in [0.5, 1.0, 4.0] {
            for beyond in [1e-3, 1e3] {
                let limit = named(barrier(ev, beyond).check().unwrap_err()) / NM;
                // four figures of it are written
                let inside = if beyond < 1.0 { 1.001 } else { 0.999 };
                assert!(barrier(ev, limit * inside).check().is_ok() && barrier(ev, limit / inside).check().is_err());
            }
            let least = named(Barrier::from_area_resistance(ev, 1e-20).unwrap_err());
            assert!(Barrier::from_area_resistance(ev, 1.001 * least).is_ok());
            // down to nothing: no search is led astray
            for share in [0.999, 0.1, 1e-3, 1e-6, 1e-12, 1e-60, 1e-280] {
                assert!(Barrier::from_area_resistance(ev, share * least).is_err(), "{ev} {share}");
            }
        }
    }

    #[test]
    fn taylor_gamma_is_that_of_the_intermediate_form() {
        // J/(G V) - 1 = gamma V^2 + O(V^4), G the slope at rest; Richardson's two steps leave 1e-8
        let b = barrier(1.5, 1.2);
        let g = b.slope_s_per_m2(0.0).unwrap();
        let at = |v: f64| (b.density_a_per_m2(v).unwrap() / (g * v) - 1.0) / (v * v);
        let found = (4.0 * at(0.005) - at(0.01)) / 3.0;
        assert_relative_eq!(found, b.taylor_gamma_per_v2(), epsilon = 0.0, max_relative = 1e-6);
    }

    #[test]
    fn slope_at_rest_is_short_of_the_low_voltage_form_by_two_over_the_exponent() {
        let b = barrier(1.0, 1.0);
        let ratio = b.slope_s_per_m2(0.0).unwrap() * b.area_resistance_ohm_m2();
        // 0.805 at 1 eV, 1 nm [calc]
        assert_relative_eq!(ratio, 1.0 - 2.0 / b.exponent(), epsilon = 0.0, max_relative = 1e-13);
        assert_relative_eq!(ratio, 0.805, epsilon = 0.0, max_relative = 1e-3);
    }

    #[test]
    fn thin_barriers_are_refused() {
        assert!(barrier(1.0, 0.3).check().unwrap_err().allowed.contains("3.904e-10"));
        assert!(Barrier::from_area_resistance(1.0, 1e-14).is_err());
        // A = 600 at 1 eV, 10.2463 per nm
        assert!(barrier(1.0, 58.5).check().is_ok() && barrier(1.0, 58.6).check().is_err());
        assert!(Barrier::from_area_resistance(1.0, 1e300).is_err());
        for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
            assert!(barrier(bad, 1.0).check().is_err() && barrier(1.0, bad).check().is_err());
            assert!(Barrier::from_area_resistance(1.0, bad).is_err());
        }
    }

    proptest! {
        #[test]
        fn rising_odd_and_passive(ev in 0.5f64..4.0, exponent in 4.0f64..60.0, share in -0.999f64..0.999) {
            let b = Barrier { height_ev: ev, thickness_m: exponent / (attenuation_per_m() * ev.sqrt()) };
            prop_assume!(b.check().is_ok());
            let v = share * ev;
            let j = b.density_a_per_m2(v).unwrap();
            prop_assert!(j * v >= 0.0 && b.slope_s_per_m2(v).unwrap() > 0.0);
            prop_assert_eq!(b.density_a_per_m2(-v).unwrap(), -j);
        }

        #[test]
        fn thickness_comes_back(ev in 0.5f64..4.0, exponent in 4.001f64..599.9) {
            let b = Barrier { height_ev: ev, thickness_m: exponent / (attenuation_per_m() * ev.sqrt()) };
            let back = Barrier::from_area_resistance(ev, b.area_resistance_ohm_m2()).unwrap();
            prop_assert!((back.thickness_m / b.thickness_m - 1.0).abs() < 1e-14);
        }
    }
}

#[cfg(test)]
mod film_of;
