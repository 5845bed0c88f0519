//! Critical bands: frequency to Bark after two authors, and the width of a band.
//!
//! | what | equation | source |
//! | --- | --- | --- |
//! | Zwicker-Terhardt | `z = 13 atan(0.76 F) + 3.5 atan((F/7.5)^2)`, F in kHz | JASA 68 (1980) 1523 \[seen\] |
//! | Traunmueller | `z = 26.81 f/(1960 + f) - 0.53`; below 2 add `0.15 (2 - z)`, above 20.1 add `0.22 (z - 20.1)` | JASA 88 (1990) 97 \[seen\] |
//! | critical bandwidth | `25 + 75 (1 + 1.4 F^2)^0.69` Hz | Zwicker and Terhardt 1980 \[memory\] |
//! | equivalent rectangular | `24.7 (4.37 F + 1)` Hz | Glasberg and Moore, Hear. Res. 47 (1990) 103 \[memory\] |
//!
//! Against Zwicker's band edges of 1961 (100 Hz to 15.5 kHz) the first is within 0.2 Bark, the second within 0.05.

use super::named;
use crate::error::InputError;

/// A scale of critical bands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Scale {
    /// Zwicker and Terhardt 1980
    #[default]
    ZwickerTerhardt,
    /// Traunmueller 1990, with both corrections at the ends
    Traunmueller,
}

named!(Scale { ZwickerTerhardt = "Zwicker-Terhardt", Traunmueller = "Traunmueller" });

impl Scale {
    /// Bark at a frequency, Hz.
    #[must_use]
    pub fn bark(self, frequency_hz: f64) -> f64 {
        match self {
            Self::ZwickerTerhardt => {
                let f = frequency_hz / 1000.0;
                13.0 * (0.76 * f).atan() + 3.5 * (f / 7.5).powi(2).atan()
            }
            Self::Traunmueller => {
                let z = 26.81 * (frequency_hz / (1960.0 + frequency_hz)) - 0.53;
                if z < 2.0 {
                    z + 0.15 * (2.0 - z)
                } else if z > 20.1 {
                    z + 0.22 * (z - 20.1)
                } else {
                    z
                }
            }
        }
    }

    /// Frequency at a place on the scale, Hz: Traunmueller's inverse with its corrections undone, Zwicker-Terhardt by halving.
    ///
    /// # Errors
    /// A place that no frequency above zero has.
    pub fn frequency_hz(self, bark: f64) -> Result<f64, InputError> {
        let (low, high) = (self.bark(0.0), self.bark(f64::MAX.sqrt()));
        if !(bark > low && bark < high) {
            return Err(InputError::new("bark", bark, format!("allowed: above {low:.4}, below {high:.4}")));
        }
        match self {
            Self::Traunmueller => {
                let z = if bark < 2.0 {
                    (bark - 0.3) / 0.85
                } else if bark > 20.1 {
                    (bark + 4.422) / 1.22
                } else {
                    bark
                };
                Ok(1960.0 * (z + 0.53) / (26.28 - z))
            }
            Self::ZwickerTerhardt => {
                // even steps of the logarithm; 200 of them end at neighbouring numbers
                let (mut below, mut above) = (f64::MIN_POSITIVE, f64::MAX.sqrt());
                for _ in 0..200 {
                    let middle = (below * above).sqrt();
                    if self.bark(middle) < bark {
                        below = middle;
                    } else {
                        above = middle;
                    }
                }
                Ok((below * above).sqrt())
            }
        }
    }
}

/// Width of a critical band about a frequency, Hz.
#[must_use]
pub fn critical_bandwidth_hz(frequency_hz: f64) -> f64 {
    25.0 + 75.0 * (1.0 + 1.4 * (frequency_hz / 1000.0).powi(2)).powf(0.69)
}

/// Equivalent rectangular bandwidth of an auditory filter, Hz.
#[must_use]
pub fn equivalent_rectangular_hz(frequency_hz: f64) -> f64 {
    24.7 * (4.37 * frequency_hz / 1000.0 + 1.0)
}

/// Ends of the critical band about a frequency, Hz; where half a band would reach below zero it starts there.
#[must_use]
pub fn critical_band_hz(frequency_hz: f64) -> (f64, f64) {
    let width = critical_bandwidth_hz(frequency_hz);
    let low = (frequency_hz - 0.5 * width).max(0.0);
    (low, low + width)
}

#[cfg(test)]
mod tests {
    use super::Scale::{Traunmueller, ZwickerTerhardt};
    use super::*;
    use proptest::prelude::*;

    /// Zwicker 1961: 1 to 24 Bark \[seen\].
    const EDGES_HZ: [f64; 24] = [
        100.0, 200.0, 300.0, 400.0, 510.0, 630.0, 770.0, 920.0, 1080.0, 1270.0, 1480.0, 1720.0, 2000.0, 2320.0, 2700.0,
        3150.0, 3700.0, 4400.0, 5300.0, 6400.0, 7700.0, 9500.0, 12000.0, 15500.0,
    ];

    fn worst(bark: impl Fn(f64) -> f64) -> f64 {
        EDGES_HZ.iter().enumerate().map(|(k, &hz)| (bark(hz) - (k as f64 + 1.0)).abs()).fold(0.0, f64::max)
    }

    #[test]
    fn band_edges() {
        assert!((worst(|hz| ZwickerTerhardt.bark(hz)) - 0.197).abs() < 1e-3);
        assert!((worst(|hz| Traunmueller.bark(hz)) - 0.047).abs() < 1e-3);
        // without the corrections at the ends it is far off
        assert!(worst(|hz| 26.81 * hz / (1960.0 + hz) - 0.53) > 0.3);
    }

    #[test]
    fn published_places() {
        for (hz, z) in [(100.0, 0.9867), (500.0, 4.7365), (1e3, 8.5105), (2e3, 13.1041), (3e3, 15.6024), (1e4, 22.4240)]
        {
            assert!((ZwickerTerhardt.bark(hz) - z).abs() < 6e-5, "{hz}");
        }
        assert!((Traunmueller.bark(4000.0) - 17.46329).abs() < 6e-6);
        assert!((Traunmueller.bark(1000.0) - 8.5274).abs() < 6e-5);
        assert!((Traunmueller.frequency_hz(10.0).unwrap() - 1267.7396).abs() < 6e-5);
        assert!((critical_bandwidth_hz(1000.0) - 162.22).abs() < 6e-3);
        // at 20 Hz a band of 100 Hz does not reach below zero
        let (low, high) = critical_band_hz(20.0);
        assert!(low == 0.0 && (high - 100.03).abs() < 6e-3);
        assert!((equivalent_rectangular_hz(1000.0) - 132.64).abs() < 6e-3);
    }

    proptest! {
        #[test]
        fn there_and_back(hz in 1f64..40e3) {
            for scale in [ZwickerTerhardt, Traunmueller] {
                let back = scale.frequency_hz(scale.bark(hz)).unwrap();
                prop_assert!((back / hz - 1.0).abs() < 1e-11);
                prop_assert!(scale.bark(hz * 1.001) > scale.bark(hz));
            }
            let (low, high) = critical_band_hz(hz);
            prop_assert!(low <= hz && hz <= high);
        }
    }

    #[test]
    fn places_that_no_frequency_has() {
        for scale in [ZwickerTerhardt, Traunmueller] {
            for bad in [-1.0, 28.0, f64::NAN, f64::INFINITY] {
                assert_eq!(scale.frequency_hz(bad).unwrap_err().place, "bark");
            }
            assert_eq!(Scale::named(scale.name()), Some(scale));
        }
        assert_eq!(Scale::named("mel"), None);
    }
}
