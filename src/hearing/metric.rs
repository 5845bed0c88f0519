//! Published single numbers for distortion. None of them is an audibility: they are figures to compare, each by its name.
//!
//! | metric | equation | source |
//! | --- | --- | --- |
//! | Geddes-Lee, 2003 | `Gm = sqrt(integral over -1 to 1 of cos^2(pi x/2) (T'')^2 dx)` | AES 115 preprints 5890, 5891 \[seen\]; formula \[memory\] |
//! | Geddes-Lee, without the root | `Gm^2`, which its authors preferred later | \[seen\] |
//! | Shorter | `sqrt(sum (n^2/4 h_n)^2)` | Electronic Engineering 22 (1950) 152: weights \[seen\] |
//! | Radio Manufacturers | `sqrt(sum (n/2 h_n)^2)` | Radio Manufacturers' Association 1937: weights \[seen\] |
//!
//! `T` is the transfer curve over a full swing of +-1 with slope 1 at small signal or fundamental 1; `h_n` the harmonics' ratios to it. Geddes and
//! Lee: below 1 not told from guessing, up to 2 mildly audible, of 34 listeners to clipped and bent music \[seen\].

use crate::error::InputError;
use std::f64::consts::PI;

/// Steps of Simpson's rule over -1 to 1: a polynomial of degree 30 keeps 10 digits.
const STEPS: usize = 4000;
/// Highest power or harmonic that the rule takes.
pub const HIGHEST: usize = 30;

/// Weights of harmonics.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HarmonicWeight {
    /// `n^2/4`, Shorter 1950
    Shorter,
    /// `n/2`, Radio Manufacturers' Association 1937
    RadioManufacturers,
}

super::named!(HarmonicWeight { Shorter = "n^2/4", RadioManufacturers = "n/2" });

impl HarmonicWeight {
    /// Weight of harmonic `order`, 1 for the second.
    #[must_use]
    pub fn weight(self, order: f64) -> f64 {
        match self {
            Self::Shorter => order * order / 4.0,
            Self::RadioManufacturers => order / 2.0,
        }
    }

    /// Weighted sum of harmonics 2, 3, ... given as ratios to the fundamental, a ratio.
    #[must_use]
    pub fn of(self, harmonics: &[f64]) -> f64 {
        let square = |(k, h): (usize, &f64)| (self.weight(k as f64 + 2.0) * h).powi(2);
        harmonics.iter().enumerate().map(square).sum::<f64>().sqrt()
    }
}

/// `Gm` (with the root of 2003) and its square from the second derivative of the transfer curve.
fn geddes_lee(curvature: impl Fn(f64) -> f64) -> (f64, f64) {
    let step = 2.0 / STEPS as f64;
    let sum: f64 = (0..=STEPS)
        .map(|k| {
            let x = -1.0 + step * k as f64;
            let simpson = if k == 0 || k == STEPS { 1.0 } else { 2.0 + 2.0 * (k % 2) as f64 };
            simpson * ((0.5 * PI * x).cos() * curvature(x)).powi(2)
        })
        .sum();
    let square = sum * step / 3.0;
    (square.sqrt(), square)
}

fn check(place: &str, values: &[f64], most: usize) -> Result<(), InputError> {
    if let Some(bad) = values.iter().find(|x| !x.is_finite()) {
        return Err(InputError::new(place, bad, "allowed: finite numbers"));
    }
    if values.len() > most {
        return Err(InputError::new(place, format!("{} values", values.len()), format!("allowed: at most {most}")));
    }
    Ok(())
}

/// `(Gm, Gm^2)` of `T = x + a2 x^2 + a3 x^3 + ...`, coefficients from `a2` on.
///
/// # Errors
/// A coefficient that is not finite, or more than up to the 30th power.
pub fn geddes_lee_of_polynomial(from_second: &[f64]) -> Result<(f64, f64), InputError> {
    check("from_second", from_second, HIGHEST - 1)?;
    let curvature = |x: f64| {
        let term = |(k, a): (usize, &f64)| ((k + 1) * (k + 2)) as f64 * a;
        from_second.iter().enumerate().map(term).rev().fold(0.0, |sum, factor| sum * x + factor)
    };
    Ok(geddes_lee(curvature))
}

/// `(Gm, Gm^2)` of the curve that makes these harmonics of a full-scale cosine: `T = x + sum h_n T_n(x)`, `T_n` Chebyshev's polynomials.
///
/// `harmonics` from the second on, signed ratios of the peaks, all in step with the fundamental: a curve without memory.
///
/// # Errors
/// A harmonic that is not finite, or more than up to the 30th.
pub fn geddes_lee_of_harmonics(harmonics: &[f64]) -> Result<(f64, f64), InputError> {
    check("harmonics", harmonics, HIGHEST - 1)?;
    let curvature = |x: f64| {
        // value, slope, curvature of two polynomials in a row
        let (mut before, mut now) = ([1.0, 0.0, 0.0], [x, 1.0, 0.0]);
        let mut sum = 0.0;
        for h in harmonics {
            let next = [
                2.0 * x * now[0] - before[0],
                2.0 * now[0] + 2.0 * x * now[1] - before[1],
                4.0 * now[1] + 2.0 * x * now[2] - before[2],
            ];
            (before, now) = (now, next);
            sum += h * now[2];
        }
        sum
    };
    Ok(geddes_lee(curvature))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn closed_forms_of_geddes_and_lee() {
        let of = |a: &[f64]| geddes_lee_of_polynomial(a).unwrap();
        assert_relative_eq!(of(&[0.1]).0, 0.2, epsilon = 0.0, max_relative = 1e-11);
        assert_relative_eq!(of(&[0.0, 1.0]).0, 2.169_072_331, epsilon = 0.0, max_relative = 1e-9);
        assert_relative_eq!(of(&[0.0, 1.0]).1, 12.0 * (PI * PI - 6.0) / (PI * PI), epsilon = 0.0, max_relative = 1e-11);
        assert_relative_eq!(of(&[0.0, 0.0, 0.0, 1.0]).1, 7.172_660_317, epsilon = 0.0, max_relative = 1e-9);
        let both = 4.0 * 0.09 + (12.0 - 72.0 / (PI * PI)) * 0.04;
        assert_relative_eq!(of(&[0.3, -0.2]).1, both, epsilon = 0.0, max_relative = 1e-11);
        // trap: with and without the outer root are different numbers
        assert!((of(&[0.1]).0 - of(&[0.1]).1).abs() > 0.1);
        assert_eq!(of(&[]), (0.0, 0.0));
    }

    #[test]
    fn from_harmonics() {
        let of = |h: &[f64]| geddes_lee_of_harmonics(h).unwrap().0;
        assert_relative_eq!(of(&[0.01]), 0.04, epsilon = 0.0, max_relative = 1e-11);
        assert_relative_eq!(of(&[0.0, 0.01]), 0.086_762_893, epsilon = 0.0, max_relative = 1e-8);
        // T4 = 8 x^4 - 8 x^2 + 1, T5 = 16 x^5 - 20 x^3 + 5 x
        let by_powers = geddes_lee_of_polynomial(&[-8.0 * 0.02, -20.0 * 0.03, 8.0 * 0.02, 16.0 * 0.03]).unwrap().0;
        assert_relative_eq!(of(&[0.0, 0.0, 0.02, 0.03]), by_powers, epsilon = 0.0, max_relative = 1e-12);
        assert!(geddes_lee_of_harmonics(&[f64::NAN]).is_err() && geddes_lee_of_polynomial(&[0.0; 30]).is_err());
    }

    #[test]
    fn weights_of_harmonics() {
        for (n, half, quarter) in
            [(2.0, 1.0, 1.0), (3.0, 1.5, 2.25), (4.0, 2.0, 4.0), (5.0, 2.5, 6.25), (6.0, 3.0, 9.0), (7.0, 3.5, 12.25)]
        {
            assert_eq!(HarmonicWeight::RadioManufacturers.weight(n), half);
            assert_eq!(HarmonicWeight::Shorter.weight(n), quarter);
        }
        // the second harmonic counts as it is; 3 % third is 6.75 %
        assert_relative_eq!(
            HarmonicWeight::Shorter.of(&[0.04, 0.03]),
            0.04f64.hypot(0.0675),
            epsilon = 0.0,
            max_relative = 1e-14
        );
        assert_eq!(HarmonicWeight::Shorter.of(&[]), 0.0);
    }
}
