//! The law of propagation of uncertainty (JCGM 100:2008, 5.1 and 5.2), its second order and the effective degrees of freedom.

use crate::error::{InputError, finite, not_negative};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// One input: best estimate, standard uncertainty, degrees of freedom behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Input {
    /// best estimate
    pub value: f64,
    /// standard uncertainty
    pub uncertainty: f64,
    /// degrees of freedom; infinite for one that is taken as known
    pub freedom: f64,
}

/// An uncertainty budget.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// value of the model at the best estimates
    pub value: f64,
    /// sensitivity to each input
    pub sensitivity: Vec<f64>,
    /// combined standard uncertainty, first order, correlations counted
    pub uncertainty: f64,
    /// the same with the terms of second order of JCGM 100, 5.1.2 note, for inputs that do not correlate
    pub uncertainty_second_order: f64,
    /// effective degrees of freedom (Welch and Satterthwaite, JCGM 100 G.4.1), correlations not counted
    pub freedom: f64,
}

/// Steps of the differences over the standard uncertainty: near the largest that keeps the truncation small.
const STEP: f64 = 0.1;

impl Budget {
    /// The budget of a model; `correlation(i, j)` is asked for every pair `i < j`.
    ///
    /// Sensitivities are central differences of fourth order over a tenth of each standard uncertainty.
    ///
    /// # Errors
    /// An estimate or an uncertainty that is not finite, an uncertainty below zero, a model that is not finite there.
    pub fn new(
        model: &dyn Fn(&[f64]) -> f64,
        inputs: &[Input],
        correlation: &dyn Fn(usize, usize) -> f64,
    ) -> Result<Self, InputError> {
        let at: Vec<f64> = inputs.iter().map(|input| input.value).collect();
        for input in inputs {
            finite("input", input.value)?;
            not_negative("input: uncertainty", input.uncertainty)?;
        }
        let value = finite("model", model(&at))?;
        let moved = |moves: &[(usize, f64)]| {
            let mut x = at.clone();
            for &(k, by) in moves {
                x[k] += by;
            }
            model(&x)
        };
        let h: Vec<f64> = inputs.iter().map(|input| STEP * input.uncertainty).collect();
        let first = |k: usize| {
            if h[k] == 0.0 {
                return 0.0;
            }
            let d = |n: f64| moved(&[(k, n * h[k])]) - moved(&[(k, -n * h[k])]);
            (8.0 * d(1.0) - d(2.0)) / (12.0 * h[k])
        };
        let second = |i: usize, j: usize| {
            if h[i] == 0.0 || h[j] == 0.0 {
                return 0.0;
            }
            if i == j {
                return (moved(&[(i, h[i])]) - 2.0 * value + moved(&[(i, -h[i])])) / (h[i] * h[i]);
            }
            let d = |a: f64, b: f64| moved(&[(i, a * h[i]), (j, b * h[j])]);
            (d(1.0, 1.0) - d(1.0, -1.0) - d(-1.0, 1.0) + d(-1.0, -1.0)) / (4.0 * h[i] * h[j])
        };
        let third = |i: usize, j: usize| {
            // d3 f / (dx_i dx_j^2)
            if h[i] == 0.0 || h[j] == 0.0 {
                return 0.0;
            }
            let curve = |a: f64| {
                let d = |b: f64| moved(&[(i, a * h[i]), (j, b * h[j])]);
                (d(1.0) - 2.0 * d(0.0) + d(-1.0)) / (h[j] * h[j])
            };
            if i == j {
                let d = |n: f64| moved(&[(i, n * h[i])]);
                return (d(2.0) - 2.0 * d(1.0) + 2.0 * d(-1.0) - d(-2.0)) / (2.0 * h[i].powi(3));
            }
            (curve(1.0) - curve(-1.0)) / (2.0 * h[i])
        };
        let n = inputs.len();
        let sensitivity: Vec<f64> = (0..n).map(first).collect();
        let part = |k: usize| sensitivity[k] * inputs[k].uncertainty;
        let mut variance: f64 = (0..n).map(|k| part(k).powi(2)).sum();
        let own = variance;
        for i in 0..n {
            for j in i + 1..n {
                variance += 2.0 * correlation(i, j) * part(i) * part(j);
            }
        }
        let mut more = variance;
        for i in 0..n {
            for j in 0..n {
                let both = (inputs[i].uncertainty * inputs[j].uncertainty).powi(2);
                more += both * (0.5 * second(i, j).powi(2) + sensitivity[i] * third(i, j));
            }
        }
        let spread: f64 = (0..n).map(|k| part(k).powi(4) / inputs[k].freedom).sum();
        Ok(Self {
            value,
            sensitivity,
            uncertainty: variance.max(0.0).sqrt(),
            uncertainty_second_order: more.max(0.0).sqrt(),
            freedom: own * own / spread,
        })
    }

    /// Covariance of this output and another of the same inputs.
    #[must_use]
    pub fn covariance(&self, other: &Self, inputs: &[Input], correlation: &dyn Fn(usize, usize) -> f64) -> f64 {
        let mut sum = 0.0;
        for (i, a) in inputs.iter().enumerate() {
            for (j, b) in inputs.iter().enumerate() {
                let r = if i == j { 1.0 } else { correlation(i.min(j), i.max(j)) };
                sum += self.sensitivity[i] * other.sensitivity[j] * r * a.uncertainty * b.uncertainty;
            }
        }
        sum
    }

    /// Expanded uncertainty for a probability: t of the effective degrees of freedom, cut down to a whole number (G.4.1).
    #[must_use]
    pub fn expanded(&self, probability: f64) -> f64 {
        let freedom = self.freedom.floor().max(1.0);
        let p = 0.5 + 0.5 * probability;
        let factor = if freedom.is_finite() && freedom < 1e6 {
            StudentsT::new(0.0, 1.0, freedom).map_or(f64::NAN, |t| t.inverse_cdf(p))
        } else {
            super::generator::normal_quantile(p)
        };
        factor * self.uncertainty
    }
}
