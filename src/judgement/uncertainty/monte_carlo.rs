//! Propagation of distributions by a Monte Carlo method (JCGM 101:2008, clauses 5 and 7).

use super::generator::Stream;
use super::interval::{Interval, numerical_tolerance, shortest, symmetric};
use crate::cores;
use crate::error::InputError;
use crate::watch::{Stopped, Watch};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// Trials of one stream. Results are gathered in the order of the blocks, so that they do not depend on threads.
pub const BLOCK: usize = 10_000;

/// What came out of a propagation.
#[derive(Debug, Clone, PartialEq)]
pub struct Propagated {
    /// every trial, sorted
    pub sorted: Vec<f64>,
    /// mean
    pub mean: f64,
    /// standard deviation
    pub standard_uncertainty: f64,
    /// standard error of the mean from the number of trials
    pub mean_error: f64,
}

impl Propagated {
    fn of(mut values: Vec<f64>) -> Self {
        let count = values.len() as f64;
        let mean = values.iter().sum::<f64>() / count;
        let variance = values.iter().map(|y| (y - mean).powi(2)).sum::<f64>() / (count - 1.0);
        values.sort_by(f64::total_cmp);
        Self { sorted: values, mean, standard_uncertainty: variance.sqrt(), mean_error: (variance / count).sqrt() }
    }

    /// The shortest interval of a probability.
    #[must_use]
    pub fn shortest(&self, probability: f64) -> Option<Interval> {
        shortest(&self.sorted, probability)
    }

    /// The symmetric interval of a probability.
    #[must_use]
    pub fn symmetric(&self, probability: f64) -> Option<Interval> {
        symmetric(&self.sorted, probability)
    }
}

/// Runs `work` for blocks `first..last` on every thread there is; answers come in the order of the blocks.
pub fn blocks<T: Send>(
    first: usize,
    last: usize,
    watch: &dyn Watch,
    work: &(dyn Fn(usize) -> T + Sync),
) -> Result<Vec<T>, Stopped> {
    let count = last.saturating_sub(first);
    cores::answers(
        count,
        watch,
        || (),
        |(), number| {
            if watch.stop() {
                return Err(Stopped);
            }
            let made = work(first + number);
            watch.done(1);
            Ok(made)
        },
    )
}

/// Propagates: `model` draws its own inputs from the stream and returns the output.
///
/// # Errors
/// Fewer than two trials; an output that is not a number; stopped by the watch, which is an error too.
pub fn propagate(
    model: &(dyn Fn(&mut Stream) -> f64 + Sync),
    trials: usize,
    seed: u64,
    watch: &dyn Watch,
) -> Result<Propagated, InputError> {
    if trials < 2 {
        return Err(InputError::new("trials", trials, "allowed: two or more"));
    }
    let values = run(model, 0..trials, seed, watch)?;
    Ok(Propagated::of(values))
}

fn run(
    model: &(dyn Fn(&mut Stream) -> f64 + Sync),
    trials: std::ops::Range<usize>,
    seed: u64,
    watch: &dyn Watch,
) -> Result<Vec<f64>, InputError> {
    let work = |block: usize| -> Vec<f64> {
        let mut stream = Stream::new(seed, block as u64);
        let size = BLOCK.min(trials.end - block * BLOCK);
        (0..size).map(|_| model(&mut stream)).collect()
    };
    let (first, last) = (trials.start / BLOCK, trials.end.div_ceil(BLOCK));
    let found = blocks(first, last, watch, &work).map_err(|e| InputError::new("trials", e, "let it run to its end"))?;
    let values: Vec<f64> = found.into_iter().flatten().collect();
    match values.iter().find(|y| !y.is_finite()) {
        Some(bad) => Err(InputError::new("model", bad, "allowed: a finite number for every draw of its inputs")),
        None => Ok(values),
    }
}

/// Result of an adaptive run.
#[derive(Debug, Clone, PartialEq)]
pub struct Adaptive {
    /// all trials together
    pub all: Propagated,
    /// numerical tolerance that was asked for
    pub tolerance: f64,
    /// whether it was reached within the most trials that were allowed
    pub reached: bool,
}

/// Runs blocks until twice the standard error of mean, uncertainty and both ends of the symmetric interval is within the
/// numerical tolerance of `digits` significant digits (JCGM 101, 7.9.4).
///
/// The factor 2 of the standard is replaced by the quantile of t for the blocks at hand, and at least ten blocks are run: with
/// few blocks the factor 2 stops too early (Wuebbeler, Harris, Cox, Elster, Metrologia 47, 317, 2010 \[seen\]).
///
/// # Errors
/// As [`propagate`].
pub fn adaptive(
    model: &(dyn Fn(&mut Stream) -> f64 + Sync),
    probability: f64,
    digits: i32,
    most_trials: usize,
    seed: u64,
    watch: &dyn Watch,
) -> Result<Adaptive, InputError> {
    const LEAST_BLOCKS: usize = 10;
    if !(probability > 0.0 && probability < 1.0) {
        return Err(InputError::new("probability", probability, "allowed: above 0 and below 1"));
    }
    if !(1..=6).contains(&digits) {
        return Err(InputError::new("digits", digits, "allowed: 1 to 6"));
    }
    let mut values: Vec<f64> = Vec::new();
    let mut each: Vec<[f64; 4]> = Vec::new();
    loop {
        let more = if each.is_empty() { LEAST_BLOCKS } else { each.len().div_ceil(4) };
        let found = run(model, values.len()..values.len() + more * BLOCK, seed, watch)?;
        for block in found.chunks(BLOCK) {
            let one = Propagated::of(block.to_vec());
            if let Some(ends) = one.symmetric(probability) {
                each.push([one.mean, one.standard_uncertainty, ends.low, ends.high]);
            }
        }
        values.extend(found);
        let all = Propagated::of(values.clone());
        let tolerance = numerical_tolerance(all.standard_uncertainty, digits);
        let h = each.len() as f64;
        let factor = StudentsT::new(0.0, 1.0, h - 1.0).map_or(f64::INFINITY, |t| t.inverse_cdf(0.975));
        let error = |k: usize| {
            let mean = each.iter().map(|b| b[k]).sum::<f64>() / h;
            let variance = each.iter().map(|b| (b[k] - mean).powi(2)).sum::<f64>() / (h - 1.0);
            (variance / h).sqrt()
        };
        let reached = (0..4).all(|k| factor * error(k) <= tolerance);
        if reached || values.len() >= most_trials {
            return Ok(Adaptive { all, tolerance, reached });
        }
    }
}
