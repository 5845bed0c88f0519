//! Chatter: a contact that jumps between two resistances at random (random telegraph).
//!
//! Dwell times are exponential with means `t_l`, `t_h`. Of any quantity that takes two values `d` apart
//! (Machlup, J. Appl. Phys. 25 (1954) 341; closed form \[memory\], checked by its integral and by simulation):
//!
//! * one-sided spectrum `S(f) = 4 d^2 / {(t_l + t_h) [(1/t_l + 1/t_h)^2 + (2 pi f)^2]}`,
//! * variance `d^2 t_l t_h/(t_l + t_h)^2`, corner `(1/t_l + 1/t_h)/(2 pi)`.
//!
//! In a resistive loop of `Z` the gain jumps between `g_l = 1/(Z + R_l)` and `g_h = 1/(Z + R_h)`. With `p` the share of time
//! in the low state, a tone leaves
//!
//! `residue/fundamental = sqrt(p (1-p)) (g_l - g_h) / (p g_l + (1-p) g_h)`  \[derived\],
//!
//! at every level alike. Over all duties the most is `r/(2 sqrt(1+r))`, `r = (R_h - R_l)/(Z + R_l)`: bound T1, touched where
//! both states carry the same charge, `t_l/t_h = (Z + R_l)/(Z + R_h)`. At equal dwell times the residue is `r/(2+r)`,
//! which is T1's only for small `r` \[derived\]. Validity: jumps that do not follow the signal, no reactance.

use crate::error::{InputError, not_negative, positive};
use std::f64::consts::{PI, TAU};

/// Rise of resistance that counts as an event, ohm: more than this for longer than one of [`EVENT_S`]
/// (ASTM B878-97(2019), 1.2 and 3.2.1 \[seen\]).
pub const EVENT_OHM: f64 = 10.0;
/// Duration of an event of class A, B, C, s (ASTM B878-97(2019) \[seen\]).
pub const EVENT_S: [f64; 3] = [1e-9, 10e-9, 50e-9];
/// Least and largest test current at which events are counted, A: 100 +- 20 mA (ASTM B878-97(2019), 4.3 \[seen\]).
pub const EVENT_CURRENT_A: [f64; 2] = [0.080, 0.120];

/// A random telegraph between two resistances.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Telegraph {
    /// smaller resistance, ohm
    pub low_ohm: f64,
    /// larger resistance, ohm
    pub high_ohm: f64,
    /// mean time at the smaller, s
    pub dwell_low_s: f64,
    /// mean time at the larger, s
    pub dwell_high_s: f64,
}

/// One-sided spectrum of a telegraph whose values are `step` apart, in the square of its unit per Hz.
#[must_use]
pub fn spectrum_per_hz(step: f64, dwell_one_s: f64, dwell_other_s: f64, frequency_hz: f64) -> f64 {
    let rate = 1.0 / dwell_one_s + 1.0 / dwell_other_s;
    let omega = TAU * frequency_hz;
    4.0 * step * step / ((dwell_one_s + dwell_other_s) * (rate * rate + omega * omega))
}

/// Variance of a telegraph whose values are `step` apart.
#[must_use]
pub fn variance(step: f64, dwell_one_s: f64, dwell_other_s: f64) -> f64 {
    let share = dwell_one_s / (dwell_one_s + dwell_other_s);
    step * step * share * (1.0 - share)
}

/// Corner of the spectrum, Hz: half of its value at rest.
#[must_use]
pub fn corner_hz(dwell_one_s: f64, dwell_other_s: f64) -> f64 {
    (1.0 / dwell_one_s + 1.0 / dwell_other_s) / TAU
}

impl Telegraph {
    /// Checks resistances and dwell times.
    ///
    /// # Errors
    /// A resistance below zero, a high one below the low one, a dwell time not above zero; none may be infinite.
    pub fn check(&self) -> Result<(), InputError> {
        not_negative("low_ohm", self.low_ohm)?;
        not_negative("high_ohm", self.high_ohm)?;
        positive("dwell_low_s", self.dwell_low_s)?;
        positive("dwell_high_s", self.dwell_high_s)?;
        if self.high_ohm < self.low_ohm {
            return Err(InputError::new(
                "high_ohm",
                self.high_ohm,
                format!("allowed: low_ohm, {}, or more", self.low_ohm),
            ));
        }
        Ok(())
    }

    /// Share of time at the smaller resistance.
    #[must_use]
    pub fn low_share(&self) -> f64 {
        self.dwell_low_s / (self.dwell_low_s + self.dwell_high_s)
    }

    /// Mean resistance, ohm.
    #[must_use]
    pub fn mean_ohm(&self) -> f64 {
        let p = self.low_share();
        p * self.low_ohm + (1.0 - p) * self.high_ohm
    }

    /// Residue over fundamental of a tone in a resistive loop (ohm, without the contact), all frequencies.
    #[must_use]
    pub fn residue(&self, loop_ohm: f64) -> f64 {
        let p = self.low_share();
        let (low, high) = (loop_ohm + self.low_ohm, loop_ohm + self.high_ohm);
        // times low * high: gains 1/low and 1/high
        (p * (1.0 - p)).sqrt() * (high - low) / (p * high + (1.0 - p) * low)
    }

    /// The same as an analyser sees it between two frequencies with the tone at a third (Hz).
    ///
    /// The spectrum stands mirrored about the tone and about its negative: four arctangents \[derived\]. The tone itself, a line,
    /// is not in it.
    #[must_use]
    pub fn residue_in_band(&self, loop_ohm: f64, tone_hz: f64, low_hz: f64, high_hz: f64) -> f64 {
        let corner = corner_hz(self.dwell_low_s, self.dwell_high_s);
        let part = |centre: f64| {
            let (a, b) = ((low_hz - centre) / corner, (high_hz - centre) / corner);
            // atan b - atan a, without the difference of near equals far from the centre
            (b - a).atan2(1.0 + a * b)
        };
        self.residue(loop_ohm) * ((part(tone_hz) + part(-tone_hz)) / PI).sqrt()
    }

    /// The dwell times, of the same sum, that leave the most residue in a loop: T1 is touched.
    #[must_use]
    pub fn at_worst_duty(mut self, loop_ohm: f64) -> Self {
        let both = self.dwell_low_s + self.dwell_high_s;
        let (low, high) = (loop_ohm + self.low_ohm, loop_ohm + self.high_ohm);
        self.dwell_low_s = both * low / (low + high);
        self.dwell_high_s = both * high / (low + high);
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn published_numbers() {
        // t 2 ms and 0.5 ms, step 1: S(0) 2.56e-4, corner 397.887 Hz, variance 0.16; Machlup 1954, form [memory], number [calc]
        assert_relative_eq!(spectrum_per_hz(1.0, 2e-3, 0.5e-3, 0.0), 2.56e-4, epsilon = 0.0, max_relative = 1e-14);
        assert_relative_eq!(corner_hz(2e-3, 0.5e-3), 397.887, epsilon = 0.0, max_relative = 1e-6);
        assert_relative_eq!(variance(1.0, 2e-3, 0.5e-3), 0.16, epsilon = 0.0, max_relative = 1e-14);
        // even dwell: S(0) = d^2 t/2
        assert_relative_eq!(spectrum_per_hz(1.0, 1e-3, 1e-3, 0.0), 5e-4, epsilon = 0.0, max_relative = 1e-14);
    }

    #[test]
    fn events_of_the_standard() {
        // ASTM B878-97(2019) [seen]: 10 ohm at the nominal 100 mA is 1.0 V; classes 1, 10, 50 ns
        let nominal = 0.5 * (EVENT_CURRENT_A[0] + EVENT_CURRENT_A[1]);
        assert_relative_eq!(nominal, 0.1, epsilon = 0.0, max_relative = 1e-15);
        assert_relative_eq!(EVENT_CURRENT_A[1] - nominal, 0.02, epsilon = 0.0, max_relative = 1e-14);
        assert_relative_eq!(EVENT_OHM * nominal, 1.0, epsilon = 0.0, max_relative = 1e-15);
        assert_eq!(EVENT_S.map(|s| (s * 1e9).round()), [1.0, 10.0, 50.0]);
    }

    #[test]
    fn even_duty_stays_below_the_ceiling() {
        let t = Telegraph { low_ohm: 0.0, high_ohm: 8.0, dwell_low_s: 1e-3, dwell_high_s: 1e-3 };
        assert_relative_eq!(t.residue(8.0), 1.0 / 3.0, epsilon = 0.0, max_relative = 1e-14);
        assert_relative_eq!(
            t.at_worst_duty(8.0).residue(8.0),
            1.0 / (2.0 * 2f64.sqrt()),
            epsilon = 0.0,
            max_relative = 1e-14
        );
    }

    #[test]
    fn a_wide_band_sees_all_and_a_narrow_one_part() {
        let t = Telegraph { low_ohm: 0.1, high_ohm: 3.0, dwell_low_s: 2e-3, dwell_high_s: 1e-3 };
        assert_relative_eq!(t.residue_in_band(8.0, 1e3, 0.0, 1e12), t.residue(8.0), epsilon = 0.0, max_relative = 1e-8);
        // against the sum of the shifted spectra
        let n = 200_000;
        let (low, high) = (20.0, 20e3);
        let width = (high - low) / f64::from(n);
        let half = |f: f64| 0.5 * spectrum_per_hz(1.0, 2e-3, 1e-3, f);
        let sum: f64 = (0..n).map(|k| low + (f64::from(k) + 0.5) * width).map(|f| half(f - 1e3) + half(f + 1e3)).sum();
        let share = sum * width / variance(1.0, 2e-3, 1e-3);
        assert_relative_eq!(
            t.residue_in_band(8.0, 1e3, low, high),
            t.residue(8.0) * share.sqrt(),
            epsilon = 0.0,
            max_relative = 1e-7
        );
    }

    #[test]
    fn bad_input_is_named() {
        let good = Telegraph { low_ohm: 0.1, high_ohm: 3.0, dwell_low_s: 2e-3, dwell_high_s: 1e-3 };
        assert!(good.check().is_ok());
        assert_eq!(Telegraph { dwell_low_s: 0.0, ..good }.check().unwrap_err().place, "dwell_low_s");
        assert_eq!(Telegraph { high_ohm: 0.05, ..good }.check().unwrap_err().place, "high_ohm");
        assert!(Telegraph { low_ohm: f64::NAN, ..good }.check().is_err());
    }

    proptest! {
        #[test]
        fn never_above_t1_and_touching_it(low in 0.0f64..1e3, step in 1e-3f64..1e5, z in 1.0f64..1e5, share in 0.001f64..0.999) {
            let t = Telegraph { low_ohm: low, high_ohm: low + step, dwell_low_s: share, dwell_high_s: 1.0 - share };
            let r = step / (z + low);
            let ceiling = r / (2.0 * (1.0 + r).sqrt());
            prop_assert!(t.residue(z) <= ceiling * (1.0 + 1e-12));
            prop_assert!((t.at_worst_duty(z).residue(z) / ceiling - 1.0).abs() < 1e-9);
        }
    }
}
