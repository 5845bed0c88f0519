//! What stands at the ear: residue as lines and bands of noise, programme as maskers.

use super::bark::critical_band_hz;
use super::masking::{Kind, LEAST_DB, MOST_DB, Masker, check_frequency};
use super::{decibel, power};
use crate::error::InputError;

/// A line of residue at the ear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// frequency, Hz
    pub frequency_hz: f64,
    /// level, dB SPL; minus infinity: nothing there
    pub level_db: f64,
}

/// Noise spread evenly over a band (a constant density).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// lower end, Hz
    pub low_hz: f64,
    /// upper end, Hz
    pub high_hz: f64,
    /// level of the whole band at the ear, dB SPL; minus infinity: nothing there
    pub level_db: f64,
}

fn check_level(place: &str, level_db: f64) -> Result<(), InputError> {
    if level_db == f64::NEG_INFINITY || (level_db.is_finite() && level_db <= 200.0) {
        return Ok(());
    }
    Err(InputError::new(place, level_db, "allowed: at most 200 dB SPL; minus infinity is nothing"))
}

impl Line {
    pub(super) fn check(&self) -> Result<(), InputError> {
        check_frequency("line: frequency_hz", self.frequency_hz)?;
        check_level("line: level_db", self.level_db)
    }
}

impl Band {
    pub(super) fn check(&self) -> Result<(), InputError> {
        check_frequency("noise: high_hz", self.high_hz)?;
        if !(self.low_hz >= 0.0 && self.low_hz < self.high_hz) {
            let allowed = format!("allowed: zero or more, below the band's upper end, {} Hz", self.high_hz);
            return Err(InputError::new("noise: low_hz", self.low_hz, allowed));
        }
        check_level("noise: level_db", self.level_db)
    }

    /// Power within the critical band about a frequency.
    pub(super) fn power_about(&self, frequency_hz: f64) -> f64 {
        let (low, high) = critical_band_hz(frequency_hz);
        let inside = (high.min(self.high_hz) - low.max(self.low_hz)).max(0.0);
        power(self.level_db) * inside / (self.high_hz - self.low_hz)
    }
}

/// Level of a residue from its ratio to something of a level, dB; minus infinity for a ratio of zero.
#[must_use]
pub fn ratio_level_db(ratio: f64, of_db: f64) -> f64 {
    of_db + 20.0 * ratio.log10()
}

/// Level of tones together, powers added, dB.
#[must_use]
pub fn sum_db(levels_db: &[f64]) -> f64 {
    decibel(levels_db.iter().copied().map(power).sum())
}

/// Bands of a noise density that runs straight, in dB over the logarithm of frequency, between its points.
///
/// Each band has the power of its stretch: `integral of f^s`. Frequencies rise; densities in dB SPL re 1 Hz.
///
/// # Errors
/// Fewer than two points, frequencies that do not rise, a density that is not finite.
pub fn bands_of_density(frequency_hz: &[f64], density_db: &[f64]) -> Result<Vec<Band>, InputError> {
    if frequency_hz.len() < 2 || frequency_hz.len() != density_db.len() {
        let found = format!("{} frequencies, {} densities", frequency_hz.len(), density_db.len());
        return Err(InputError::new("noise density", found, "allowed: two or more frequencies, a density for each"));
    }
    for &hz in frequency_hz {
        check_frequency("noise density: frequency_hz", hz)?;
    }
    if let Some(bad) = density_db.iter().find(|db| !(LEAST_DB..=200.0).contains(*db)) {
        return Err(InputError::new("noise density: density_db", bad, "allowed: -200 to 200 dB SPL re 1 Hz"));
    }
    let stretches = frequency_hz.windows(2).zip(density_db.windows(2));
    stretches
        .map(|(f, d)| {
            if f[1] <= f[0] {
                let allowed = format!("allowed: rising, above {} Hz", f[0]);
                return Err(InputError::new("noise density: frequency_hz", f[1], allowed));
            }
            let octaves = (f[1] / f[0]).ln();
            // with f = f0 e^x the power is S0 f0 times the integral of e^(u x): u/octaves is slope + 1
            let u = (power(d[1] - d[0]) * f[1] / f[0]).ln();
            let mean = if u.abs() < 1e-8 { 1.0 + 0.5 * u } else { u.exp_m1() / u };
            Ok(Band { low_hz: f[0], high_hz: f[1], level_db: d[0] + decibel(f[0] * octaves * mean) })
        })
        .collect()
}

/// Centres of third-octave bands of programme, Hz: `1000 * 10^(n/10)`, 31.6 Hz to 15.8 kHz.
const PROGRAMME: std::ops::RangeInclusive<i32> = -15..=12;

/// ASSUMPTION: programme of a level (sum of its bands, dB SPL) as maskers, third-octave bands of noise.
///
/// Equal bands (pink) from 63 Hz to 2 kHz, falling by 6 dB per octave below and by 3 dB per octave above, 31.5 Hz to 16 kHz: common
/// practice for the long-term spectrum of music. It is steady: programme that pauses masks less, which is what a quiet passage is
/// for. A third of an octave is wider than a critical band from 510 Hz to 10 kHz, so that its level overstates that of a critical
/// band by up to 1.9 dB.
///
/// # Errors
/// A level outside -200 to 110 dB SPL.
pub fn programme(level_db: f64) -> Result<Vec<Masker>, InputError> {
    if !(LEAST_DB..=MOST_DB).contains(&level_db) {
        return Err(InputError::new("programme_db", level_db, "allowed: -200 to 110 dB SPL"));
    }
    let centre = |n: i32| 1000.0 * 10f64.powf(f64::from(n) / 10.0);
    let shape = |n: i32| -0.6 * 10.0 * f64::from((-12 - n).max(0)) / 3.0 - f64::from((n - 3).max(0));
    let sum = decibel(PROGRAMME.map(|n| power(shape(n))).sum());
    let masker = |n| Masker { frequency_hz: centre(n), level_db: level_db + shape(n) - sum, kind: Kind::Noise };
    Ok(PROGRAMME.map(masker).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn programme_has_its_level_and_shape() {
        let bands = programme(80.0).unwrap();
        let sum: f64 = bands.iter().map(|m| power(m.level_db)).sum();
        assert!((decibel(sum) - 80.0).abs() < 1e-9 && bands.len() == 28);
        let at = |hz: f64| bands.iter().find(|m| (m.frequency_hz / hz - 1.0).abs() < 0.02).unwrap().level_db;
        assert!((at(63.1) - at(1995.0)).abs() < 1e-9 && (at(1995.0) - at(7943.0) - 6.0).abs() < 1e-9);
        assert!((at(63.1) - at(31.6) - 6.0).abs() < 1e-9);
        assert_eq!(programme(f64::NAN).unwrap_err().place, "programme_db");
    }

    #[test]
    fn a_third_of_an_octave_against_a_critical_band() {
        let wider = |hz: f64| {
            let third = hz * (10f64.powf(0.05) - 10f64.powf(-0.05));
            decibel(third / super::super::bark::critical_bandwidth_hz(hz))
        };
        let most = (20..=200).map(|k| wider(100.0 * f64::from(k))).fold(f64::NEG_INFINITY, f64::max);
        assert!(
            (most - 1.86).abs() < 0.01 && wider(500.0) < 0.0 && wider(520.0) > 0.0 && wider(9900.0) > 0.0,
            "{most}"
        );
        assert!(wider(10_100.0) < 0.0);
    }

    #[test]
    fn white_and_pink_densities() {
        // 20 dB re 1 Hz over 100 Hz to 10.1 kHz: 20 + 40 dB; pink of 40 dB at 100 Hz: 40 + 10 log10(100 ln 100)
        let white = bands_of_density(&[100.0, 10_100.0], &[20.0, 20.0]).unwrap();
        assert!((white[0].level_db - 60.0).abs() < 1e-9);
        let pink = bands_of_density(&[100.0, 1000.0, 10_000.0], &[40.0, 30.0, 20.0]).unwrap();
        let sum = decibel(pink.iter().map(|b| power(b.level_db)).sum());
        assert!((sum - 40.0 - decibel(100.0 * 100f64.ln())).abs() < 1e-9);
        for (f, d) in [(vec![1.0], vec![1.0]), (vec![2.0, 1.0], vec![0.0, 0.0]), (vec![1.0, 2.0], vec![f64::NAN, 0.0])]
        {
            assert!(bands_of_density(&f, &d).is_err());
        }
        assert!(bands_of_density(&[0.0, 2.0], &[0.0, 0.0]).is_err());
    }

    proptest! {
        #[test]
        fn a_density_keeps_its_power(low in 20f64..2e3, times in 1.01f64..10.0, from in -20f64..60.0, rise in -30f64..30.0) {
            let band = bands_of_density(&[low, low * times], &[from, from + rise]).unwrap()[0];
            let n = 20_000;
            let sum: f64 = (0..n).map(|k| {
                let x = (f64::from(k) + 0.5) / f64::from(n);
                let f = low * times.powf(x);
                power(from + rise * x) * f * times.ln() / f64::from(n)
            }).sum();
            prop_assert!((band.level_db - decibel(sum)).abs() < 1e-6);
        }
    }

    #[test]
    fn levels_of_ratios() {
        assert!((ratio_level_db(0.01, 80.0) - 40.0).abs() < 1e-12);
        assert_eq!(ratio_level_db(0.0, 80.0), f64::NEG_INFINITY);
        assert!((sum_db(&[80.0, 80.0]) - 83.0103).abs() < 1e-4);
    }
}
