//! Distributions of what is known of a quantity (JCGM 101:2008, table 1).

use super::generator::Stream;
use crate::error::{InputError, finite, positive};
use std::f64::consts::PI;

/// What is known of one quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    /// known limits and nothing else: standard uncertainty `(high - low)/sqrt 12` (JCGM 100, 4.3.7)
    Rectangular {
        /// lower limit
        low: f64,
        /// upper limit
        high: f64,
    },
    /// limits that are themselves known to `give` only (JCGM 101, 6.4.3)
    CurvilinearTrapezoid {
        /// lower limit
        low: f64,
        /// upper limit
        high: f64,
        /// half width of what is known of either limit
        give: f64,
    },
    /// sum of two rectangular ones of the same width
    Triangular {
        /// lower limit
        low: f64,
        /// upper limit
        high: f64,
    },
    /// a sine at an unknown phase between two limits
    Arcsine {
        /// lower limit
        low: f64,
        /// upper limit
        high: f64,
    },
    /// best estimate with its standard uncertainty
    Normal {
        /// mean
        mean: f64,
        /// standard deviation
        deviation: f64,
    },
    /// the same with `freedom` degrees of freedom behind the uncertainty: a scaled and shifted t
    StudentT {
        /// mean
        mean: f64,
        /// scale; the standard deviation is `scale sqrt(freedom/(freedom - 2))`
        scale: f64,
        /// degrees of freedom, whole
        freedom: u32,
    },
}

impl Distribution {
    /// Checks every value.
    ///
    /// # Errors
    /// A limit that is not finite, limits upside down, a spread not above zero, less than one degree of freedom.
    pub fn check(&self, place: &str) -> Result<(), InputError> {
        let limits = |low: f64, high: f64| {
            finite(place, low)?;
            finite(place, high)?;
            if high > low {
                return Ok(());
            }
            Err(InputError::new(place, format!("{low} to {high}"), "allowed: limits that rise"))
        };
        match *self {
            Self::Rectangular { low, high } | Self::Triangular { low, high } | Self::Arcsine { low, high } => {
                limits(low, high)
            }
            Self::CurvilinearTrapezoid { low, high, give } => {
                limits(low, high)?;
                positive(place, give)?;
                if 2.0 * give <= high - low {
                    return Ok(());
                }
                Err(InputError::new(place, give, "allowed: at most half the width, so that the limits do not cross"))
            }
            Self::Normal { mean, deviation } => {
                finite(place, mean)?;
                positive(place, deviation).map(|_| ())
            }
            Self::StudentT { mean, scale, freedom } => {
                finite(place, mean)?;
                positive(place, scale)?;
                if freedom >= 1 {
                    return Ok(());
                }
                Err(InputError::new(place, freedom, "allowed: one degree of freedom or more"))
            }
        }
    }

    /// Mean; for a t of one degree of freedom its centre.
    #[must_use]
    pub fn mean(&self) -> f64 {
        match *self {
            Self::Rectangular { low, high }
            | Self::CurvilinearTrapezoid { low, high, .. }
            | Self::Triangular { low, high }
            | Self::Arcsine { low, high } => 0.5 * (low + high),
            Self::Normal { mean, .. } | Self::StudentT { mean, .. } => mean,
        }
    }

    /// Standard uncertainty as JCGM 100 takes it: for a t the scale, with its degrees of freedom beside it.
    #[must_use]
    pub fn standard_uncertainty(&self) -> f64 {
        match *self {
            Self::Rectangular { low, high } => (high - low) / 12f64.sqrt(),
            Self::CurvilinearTrapezoid { low, high, give } => ((high - low).powi(2) / 12.0 + give * give / 9.0).sqrt(),
            Self::Triangular { low, high } => (high - low) / 24f64.sqrt(),
            Self::Arcsine { low, high } => (high - low) / 8f64.sqrt(),
            Self::Normal { deviation, .. } => deviation,
            Self::StudentT { scale, .. } => scale,
        }
    }

    /// One draw (JCGM 101, clause 6.4).
    pub fn draw(&self, stream: &mut Stream) -> f64 {
        match *self {
            Self::Rectangular { low, high } => stream.between(low, high),
            Self::CurvilinearTrapezoid { low, high, give } => {
                let from = low - give + 2.0 * give * stream.uniform();
                // the other limit is as far on the other side: the middle is known
                let to = low + high - from;
                stream.between(from, to)
            }
            Self::Triangular { low, high } => {
                let (a, b) = (stream.uniform(), stream.uniform());
                low + 0.5 * (high - low) * (a + b)
            }
            Self::Arcsine { low, high } => {
                let phase = 2.0 * PI * stream.uniform();
                0.5 * (low + high) + 0.5 * (high - low) * phase.sin()
            }
            Self::Normal { mean, deviation } => mean + deviation * stream.normal(),
            Self::StudentT { mean, scale, freedom } => {
                let top = stream.normal();
                let sum: f64 = (0..freedom).map(|_| stream.normal().powi(2)).sum();
                mean + scale * top / (sum / f64::from(freedom)).sqrt()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const ALL: [Distribution; 6] = [
        Distribution::Rectangular { low: 1.0, high: 3.0 },
        Distribution::CurvilinearTrapezoid { low: 1.0, high: 3.0, give: 0.5 },
        Distribution::Triangular { low: 1.0, high: 3.0 },
        Distribution::Arcsine { low: 1.0, high: 3.0 },
        Distribution::Normal { mean: 2.0, deviation: 0.4 },
        Distribution::StudentT { mean: 2.0, scale: 0.4, freedom: 12 },
    ];

    #[test]
    fn draws_have_mean_and_spread() {
        const N: usize = 200_000;
        for (k, one) in ALL.iter().enumerate() {
            let mut stream = Stream::new(5, k as u64);
            let draws: Vec<f64> = (0..N).map(|_| one.draw(&mut stream)).collect();
            let mean = draws.iter().sum::<f64>() / N as f64;
            let variance = draws.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / N as f64;
            let spread = match *one {
                Distribution::StudentT { scale, freedom, .. } => {
                    scale * (f64::from(freedom) / f64::from(freedom - 2)).sqrt()
                }
                _ => one.standard_uncertainty(),
            };
            // five standard errors of the mean; 1.5 % of the spread
            assert!((mean - one.mean()).abs() < 5.0 * spread / (N as f64).sqrt(), "{one:?} {mean}");
            assert_relative_eq!(variance.sqrt(), spread, max_relative = 0.015);
            assert!(one.check("x").is_ok());
        }
    }

    #[test]
    fn uncertainties_of_limits() {
        // JCGM 100, 4.3.7: 15 uV either way is 8.7 uV [memory, calc]; resolution d: 0.288675 d; triangular 0.408248 a
        let meter = Distribution::Rectangular { low: -15e-6, high: 15e-6 };
        assert_relative_eq!(meter.standard_uncertainty(), 8.660_25e-6, max_relative = 1e-6);
        let digit = Distribution::Rectangular { low: -0.5, high: 0.5 };
        assert_relative_eq!(digit.standard_uncertainty(), 0.288_675, max_relative = 1e-6);
        let sum = Distribution::Triangular { low: -1.0, high: 1.0 };
        assert_relative_eq!(sum.standard_uncertainty(), 0.408_248, max_relative = 1e-6);
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let bad = [
            Distribution::Rectangular { low: 2.0, high: 1.0 },
            Distribution::Normal { mean: f64::NAN, deviation: 1.0 },
            Distribution::Normal { mean: 0.0, deviation: 0.0 },
            Distribution::StudentT { mean: 0.0, scale: 1.0, freedom: 0 },
            Distribution::CurvilinearTrapezoid { low: 0.0, high: 1.0, give: 0.6 },
        ];
        for one in bad {
            assert_eq!(one.check("lead").unwrap_err().place, "lead", "{one:?}");
        }
    }
}
