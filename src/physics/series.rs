//! A film in series with its constriction (or any resistance): one voltage across both, one current through both.
//!
//! `v = v_f + Rc i(v_f)`. Every law rises and is passive, so there is one root, between zero and `v`. Slope
//! `1/(Rc + 1/i'(v_f))`. Validity is the film law's. Rounding: 1e-13 of the current wherever the film's own is.

use super::film::Film;
use crate::error::{InputError, not_negative};

/// A film law behind a constriction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Series {
    /// the film
    pub film: Film,
    /// metal in series, ohm
    pub constriction_ohm: f64,
}

impl Series {
    /// Checks the film and the constriction.
    ///
    /// # Errors
    /// What [`Film::check`] refuses; a constriction below zero or not finite.
    pub fn check(&self) -> Result<(), InputError> {
        self.film.check()?;
        not_negative("constriction_ohm", self.constriction_ohm).map(|_| ())
    }

    /// Resistance at zero voltage, ohm.
    #[must_use]
    pub fn resistance_ohm(&self) -> f64 {
        self.constriction_ohm + self.film.resistance_ohm()
    }

    /// Voltage across both at a current, V: the film's inverse plus the constriction's drop; none where the film has none.
    #[must_use]
    pub fn voltage_v(&self, current_a: f64) -> Option<f64> {
        Some(self.film.voltage_v(current_a)? + self.constriction_ohm * current_a)
    }

    /// Share of a voltage that is across the film, V.
    #[must_use]
    pub fn film_voltage_v(&self, voltage_v: f64) -> f64 {
        let (film, rc) = (&self.film, self.constriction_ohm);
        if rc == 0.0 || voltage_v == 0.0 || film.resistance_ohm() == 0.0 {
            return if rc == 0.0 && film.resistance_ohm() > 0.0 { voltage_v } else { 0.0 };
        }
        let (mut low, mut high) = if voltage_v < 0.0 { (voltage_v, 0.0) } else { (0.0, voltage_v) };
        let mut v = voltage_v * film.resistance_ohm() / self.resistance_ohm();
        // with all of the voltage across the constriction: where an exponential ends up, a start close to its root
        if let Some(most) = film.voltage_v(voltage_v / rc) {
            if most.abs() < v.abs() {
                v = most;
            }
        }
        let mut before = f64::INFINITY;
        for _ in 0..400 {
            let excess = v + rc * film.current_a(v) - voltage_v;
            if excess > 0.0 {
                high = v;
            } else {
                low = v;
            }
            let newton = v - excess / (1.0 + rc * film.slope_s(v));
            let fast = excess.abs() < 0.25 * before && newton >= low && newton <= high;
            before = excess.abs();
            let next = if fast { newton } else { 0.5 * (low + high) };
            if (next - v).abs() <= 0.5 * f64::EPSILON * v.abs() {
                return next;
            }
            v = next;
        }
        v
    }

    /// Current at a voltage across both, A.
    #[must_use]
    pub fn current_a(&self, voltage_v: f64) -> f64 {
        if self.film.resistance_ohm() == 0.0 {
            // both zero is a perfect contact: any current
            return if voltage_v == 0.0 { 0.0 } else { voltage_v / self.constriction_ohm };
        }
        let film_v = self.film_voltage_v(voltage_v);
        let rest = voltage_v - film_v;
        let stiff = self.constriction_ohm * self.film.slope_s(film_v);
        // the drop over the constriction is the better conditioned of the two where the film is the stiffer
        if stiff > 1.0 { rest / self.constriction_ohm } else { self.film.current_a(film_v) }
    }

    /// Slope di/dv at a voltage across both, S.
    #[must_use]
    pub fn slope_s(&self, voltage_v: f64) -> f64 {
        if self.film.resistance_ohm() == 0.0 {
            return 1.0 / self.constriction_ohm;
        }
        let slope = self.film.slope_s(self.film_voltage_v(voltage_v));
        1.0 / (self.constriction_ohm + 1.0 / slope)
    }

    /// Chord v/i at a voltage across both, ohm; at zero voltage the zero-voltage resistance.
    #[must_use]
    pub fn chord_ohm(&self, voltage_v: f64) -> f64 {
        let current = self.current_a(voltage_v);
        if current == 0.0 { self.resistance_ohm() } else { voltage_v / current }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn pairs(r: f64, constriction_ohm: f64) -> [Series; 4] {
        [
            Film::Ohmic { resistance_ohm: r },
            Film::Tunnelling { resistance_ohm: r, scale_v: 0.08 },
            Film::Rectifying { resistance_ohm: r, ideality: 1.5, leak_ratio: 0.1 },
            Film::Bridged { resistance_ohm: r },
        ]
        .map(|film| Series { film, constriction_ohm })
    }

    #[test]
    fn at_zero_voltage_two_resistances_in_series_add() {
        for both in pairs(3.0, 0.5) {
            assert_eq!(both.resistance_ohm(), 3.5);
            // and that is the slope at rest, of the current's own law
            assert_relative_eq!(both.current_a(1e-7) / 1e-7, 1.0 / 3.5, epsilon = 0.0, max_relative = 1e-5);
        }
    }

    #[test]
    fn perfect_parts_do_not_divide_by_zero() {
        let metal = Series { film: Film::Ohmic { resistance_ohm: 0.0 }, constriction_ohm: 2.0 };
        assert_relative_eq!(metal.current_a(1.0), 0.5);
        assert_relative_eq!(metal.slope_s(1.0), 0.5);
        let film = Series { film: Film::Ohmic { resistance_ohm: 4.0 }, constriction_ohm: 0.0 };
        assert_relative_eq!(film.current_a(1.0), 0.25);
    }

    proptest! {
        #[test]
        fn current_then_voltage_gives_it_back(log_r in -3.0f64..6.0, log_rc in -4.0f64..4.0, log_v in -9.0f64..1.0, s in 0..2) {
            let v = 10f64.powf(log_v) * f64::from(2 * s - 1);
            for pair in pairs(10f64.powf(log_r), 10f64.powf(log_rc)) {
                let i = pair.current_a(v);
                prop_assert!(i * v > 0.0 && pair.slope_s(v) > 0.0);
                // a hot bridge near its end carries a current that no longer tells the voltage: compare currents there
                match pair.voltage_v(i) {
                    Some(back) => {
                        let condition = (i / (pair.slope_s(v) * v)).abs();
                        prop_assert!((back / v - 1.0).abs() <= 2e-14 * (1.0 + condition), "{:?} {v} {back}", pair);
                    }
                    None => prop_assert!(pair.film.law() == "bridged"),
                }
            }
        }

        #[test]
        fn slope_is_the_derivative(log_r in -3.0f64..6.0, log_rc in -4.0f64..4.0, v in -2.0f64..2.0) {
            // step 1e-6 V on a scale of 38 mV: truncation 1e-10, rounding 1e-13/1e-6 of the current
            for pair in pairs(10f64.powf(log_r), 10f64.powf(log_rc)) {
                let h = 1e-6;
                let difference = (pair.current_a(v + h) - pair.current_a(v - h)) / (2.0 * h);
                let rounding = 1e-14 / h * pair.current_a(v).abs();
                prop_assert!((difference - pair.slope_s(v)).abs() <= 1e-6 * pair.slope_s(v) + rounding);
            }
        }
    }
}

#[cfg(test)]
mod nothing;
