//! Frequency weightings of noise and residue.
//!
//! | weighting | what | source |
//! | --- | --- | --- |
//! | A | four poles at 0 dB for 1 kHz, computed from IEC's base-10 corner frequencies | IEC 61672-1:2013 Annex E \[seen\] |
//! | BS.468 | the network's ladder as a rational function, within 0.05 dB of the table | ITU-R BS.468-4 table 1 \[seen\]; fit \[memory\], its offset \[seen\] |
//! | RIAA | replay equalisation, 0 dB at 1 kHz | IEC 60098, [`Equalisation::Riaa`] |
//!
//! The tables of the standards belong to exact frequencies `1000 * 10^(n/10)`: nominal 20 Hz is 19.953 Hz. A BS.468 noise figure needs
//! the quasi-peak detector of that standard as well: the weighting alone is none. Its table runs from 31.5 Hz to 31.5 kHz; beyond, the
//! network's slopes go on.

use crate::circuit::stage::Equalisation;
use serde::{Deserialize, Serialize};
use std::sync::LazyLock;

/// Frequency at which every weighting is 0 dB, Hz.
pub const REFERENCE_HZ: f64 = 1000.0;

/// A weighting by frequency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Weighting {
    /// all frequencies alike
    #[default]
    #[serde(rename = "none")]
    None,
    /// A-weighting, IEC 61672-1
    #[serde(rename = "A")]
    A,
    /// ITU-R BS.468-4
    #[serde(rename = "BS.468")]
    Bs468,
    /// IEC 60098 replay, 1 at 1 kHz: what a phono stage makes of noise at its input
    #[serde(rename = "riaa")]
    Riaa,
}

impl Weighting {
    /// The names by which Python knows them.
    pub const NAMES: [&'static str; 4] = ["none", "A", "BS.468", "riaa"];

    /// Finds one by its name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "none" => Some(Self::None),
            "A" => Some(Self::A),
            "BS.468" => Some(Self::Bs468),
            "riaa" => Some(Self::Riaa),
            _ => None,
        }
    }

    /// Its name.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::A => "A",
            Self::Bs468 => "BS.468",
            Self::Riaa => "riaa",
        }
    }

    /// Weight of a power at a frequency (Hz, zero or more), 1 at 1 kHz (the fit of BS.468 is 0.0076 dB off there).
    #[must_use]
    pub fn power(self, frequency_hz: f64) -> f64 {
        match self {
            Self::None => 1.0,
            Self::A => a_raw(frequency_hz) / *A_AT_REFERENCE,
            Self::Bs468 => bs468_power(frequency_hz),
            Self::Riaa => Equalisation::Riaa.response(frequency_hz).norm_sqr(),
        }
    }

    /// The same in dB; minus infinity where nothing is let through.
    #[must_use]
    pub fn db(self, frequency_hz: f64) -> f64 {
        10.0 * self.power(frequency_hz).log10()
    }
}

/// The poles f1 to f4 of A-weighting, Hz, from IEC 61672-1 Annex E: reference 1 kHz, corners `10^1.5`, `10^3.9`, `10^2.45` Hz.
pub static A_POLES_HZ: LazyLock<[f64; 4]> = LazyLock::new(|| {
    let (low, high, middle) = (10f64.powf(1.5), 10f64.powf(3.9), 10f64.powf(2.45));
    let (low2, high2, reference2) = (low * low, high * high, REFERENCE_HZ * REFERENCE_HZ);
    // the corners are 3 dB down: a power of one half
    let d = 0.5f64.sqrt();
    let b = (reference2 + low2 * high2 / reference2 - d * (low2 + high2)) / (1.0 - d);
    let c = low2 * high2;
    let f4_squared = 0.5 * (-b + (b * b - 4.0 * c).sqrt());
    // the product of the roots: their difference would lose five digits
    let f1_squared = c / f4_squared;
    let side = |sign: f64| 0.5 * (3.0 + sign * 5f64.sqrt()) * middle;
    [f1_squared.sqrt(), side(-1.0), side(1.0), f4_squared.sqrt()]
});

static A_AT_REFERENCE: LazyLock<f64> = LazyLock::new(|| a_raw(REFERENCE_HZ));

/// Power of `f4^2 f^4 / ((f^2+f1^2) sqrt((f^2+f2^2)(f^2+f3^2)) (f^2+f4^2))`, as ratios that neither overflow nor underflow early.
fn a_raw(frequency_hz: f64) -> f64 {
    let [f1, f2, f3, f4] = *A_POLES_HZ;
    let high_pass = |pole: f64| 1.0 / (1.0 + (pole / frequency_hz).powi(2));
    let low_pass = 1.0 / (1.0 + (frequency_hz / f4).powi(2));
    (high_pass(f1) * low_pass).powi(2) * high_pass(f2) * high_pass(f3)
}

/// Gain of the BS.468 fit, dB; the 18.2 that is often printed puts everything 0.046 dB too low.
const BS468_GAIN_DB: f64 = 18.246_265;

static BS468_GAIN: LazyLock<f64> = LazyLock::new(|| 10f64.powf(BS468_GAIN_DB / 10.0));

fn bs468_power(frequency_hz: f64) -> f64 {
    let f = frequency_hz;
    let f2 = f * f;
    let h1 = ((-4.737_338_981_378_384e-24 * f2 + 2.043_828_333_606_125e-15) * f2 - 1.363_894_795_463_638e-7) * f2 + 1.0;
    let h2 = ((1.306_612_257_412_824e-19 * f2 - 2.118_150_887_518_656e-11) * f2 + 5.559_488_023_498_642e-4) * f;
    let through = 1.246_332_637_532_143e-4 * f / h1.hypot(h2);
    *BS468_GAIN * through * through
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// IEC 61672-1:2013 table 3, 10 Hz to 20 kHz nominal \[seen\].
    const A_TABLE_DB: [f64; 34] = [
        -70.4, -63.4, -56.7, -50.5, -44.7, -39.4, -34.6, -30.2, -26.2, -22.5, -19.1, -16.1, -13.4, -10.9, -8.6, -6.6,
        -4.8, -3.2, -1.9, -0.8, 0.0, 0.6, 1.0, 1.2, 1.3, 1.2, 1.0, 0.5, -0.1, -1.1, -2.5, -4.3, -6.6, -9.3,
    ];
    const NOMINAL_HZ: [f64; 34] = [
        10.0, 12.5, 16.0, 20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0,
        500.0, 630.0, 800.0, 1e3, 1250.0, 1600.0, 2e3, 2500.0, 3150.0, 4e3, 5e3, 6300.0, 8e3, 10e3, 12.5e3, 16e3, 20e3,
    ];
    /// ITU-R BS.468-4 table 1, dB re 1 kHz \[seen\].
    const BS468_TABLE: [(f64, f64); 21] = [
        (31.5, -29.9),
        (63.0, -23.9),
        (100.0, -19.8),
        (200.0, -13.8),
        (400.0, -7.8),
        (800.0, -1.9),
        (1000.0, 0.0),
        (2000.0, 5.6),
        (3150.0, 9.0),
        (4000.0, 10.5),
        (5000.0, 11.7),
        (6300.0, 12.2),
        (7100.0, 12.0),
        (8000.0, 11.4),
        (9000.0, 10.1),
        (10000.0, 8.1),
        (12500.0, 0.0),
        (14000.0, -5.3),
        (16000.0, -11.7),
        (20000.0, -22.2),
        (31500.0, -42.7),
    ];
    /// What the fit is from the table (0.046 dB), which is printed to 0.1 dB.
    const BS468_FIT_DB: f64 = 0.05;

    fn tenths(db: f64) -> i64 {
        (10.0 * db).round() as i64
    }

    fn a_mismatches(frequency_hz: impl Fn(usize) -> f64) -> usize {
        (0..34).filter(|&k| tenths(Weighting::A.db(frequency_hz(k))) != tenths(A_TABLE_DB[k])).count()
    }

    #[test]
    fn every_entry_of_the_a_table_at_exact_frequencies() {
        assert_eq!(a_mismatches(|k| 1000.0 * 10f64.powf((k as f64 - 20.0) / 10.0)), 0);
        // trap: at nominal frequencies the table does not come out (20 Hz gives -50.4)
        assert!(a_mismatches(|k| NOMINAL_HZ[k]) > 0);
        assert_eq!(tenths(Weighting::A.db(20.0)), -504);
    }

    #[test]
    fn poles_and_constants_of_a() {
        // IEC 61672-1 Annex E: 20.60, 107.7, 737.9, 12194 Hz [seen]; digits by mpmath [calc]
        let printed = [20.598997057568144, 107.65264864304629, 737.8622307362899, 12194.21714799801];
        for (&pole, value) in A_POLES_HZ.iter().zip(printed) {
            assert_relative_eq!(pole, value, epsilon = 0.0, max_relative = 1e-14);
        }
        // A1000 = -2.000 dB, exact -1.9996555 [calc]
        assert!((10.0 * A_AT_REFERENCE.log10() + 1.999_655_5).abs() < 1e-7);
        assert_eq!(Weighting::A.power(1000.0), 1.0);
        for (hz, db) in [(10f64.powf(1.3), -50.4522), (10f64.powf(1.7), -30.2282), (1e4, -2.4918)] {
            assert!((Weighting::A.db(hz) - db).abs() < 6e-5, "{hz}");
        }
    }

    #[test]
    fn a_is_the_formula_as_printed() {
        let [f1, f2, f3, f4] = *A_POLES_HZ;
        for k in -40..40 {
            let f = 1000.0 * 10f64.powf(f64::from(k) / 10.0);
            let g = f64::hypot;
            let plain = f4 * f4 * f.powi(4) / (g(f, f1).powi(2) * g(f, f2) * g(f, f3) * g(f, f4).powi(2));
            assert_relative_eq!(a_raw(f), plain * plain, epsilon = 0.0, max_relative = 1e-13);
        }
        assert_eq!(Weighting::A.power(0.0), 0.0);
    }

    fn worst_of_bs468(offset_db: f64) -> f64 {
        BS468_TABLE.iter().map(|(hz, db)| (Weighting::Bs468.db(*hz) + offset_db - db).abs()).fold(0.0, f64::max)
    }

    #[test]
    fn bs468_keeps_to_its_table() {
        assert!(worst_of_bs468(0.0) < BS468_FIT_DB);
        // trap: with the gain of 18.2 dB that is often printed it does not
        assert!(worst_of_bs468(18.2 - BS468_GAIN_DB) > 0.08);
        assert!((Weighting::Bs468.db(1000.0) - 0.00759).abs() < 1e-5);
        assert_eq!(Weighting::Bs468.power(0.0), 0.0);
    }

    #[test]
    fn riaa_is_the_stage() {
        for (hz, db) in [(20.0, 19.274), (100.0, 13.088), (10e3, -13.734), (20e3, -19.620)] {
            assert!((Weighting::Riaa.db(hz) - db).abs() < 1e-3);
        }
    }

    #[test]
    fn noise_bandwidth_of_riaa() {
        // 8630.38 Hz from 20 Hz to 20 kHz, with A 3213.7 Hz; trapezoid over 200 000 even steps of the logarithm [calc]
        let n = 200_000;
        let (mut plain, mut with_a) = (0.0, 0.0);
        for k in 0..=n {
            let f = 20.0 * 1000f64.powf(f64::from(k) / f64::from(n));
            let step = f * 1000f64.ln() / f64::from(n) * if k == 0 || k == n { 0.5 } else { 1.0 };
            let g = Weighting::Riaa.power(f) * step;
            plain += g;
            with_a += g * Weighting::A.power(f);
        }
        assert!((plain - 8630.38).abs() < 0.01, "{plain}");
        assert!((with_a - 3213.7).abs() < 0.05, "{with_a}");
    }

    #[test]
    fn names_go_both_ways() {
        for name in Weighting::NAMES {
            let found = Weighting::named(name).unwrap();
            assert_eq!(found.name(), name);
            assert_eq!(serde_json::to_value(found).unwrap(), name);
            assert!(found.db(1000.0).abs() < 0.01);
        }
        assert_eq!(Weighting::named("C"), None);
        assert_eq!(Weighting::None.power(3.0), 1.0);
    }
}
