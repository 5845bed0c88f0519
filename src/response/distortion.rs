//! What the films of a section or chain do to one tone: harmonics at the output, their sum, and what it does to the level.
//!
//! * `thd_f = sqrt(U2^2 + U3^2 + ...)/U1`, `thd_r = thd_f/sqrt(1 + thd_f^2)` (IEC 60268-3, 14.12.3 \[seen\]: referred to the total)
//! * direct current is not counted
//! * `fundamental_db`: the fundamental against the same network with every film at its zero-voltage resistance; positive is louder.
//!   What a contact takes at this level is `loss_db - fundamental_db`.
//! * A contact in a shared return: both channels are driven alike.
//!
//! The harmonics are complex, of a time that begins at a crest of the fundamental: `x(t) = cos + sum Re h_n exp(j n omega t)`.

use super::steady::solve::{Answer, Solver, Tones};
use crate::circuit::chain::Network;
use num_complex::Complex64;

/// How a steady-state answer is to be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub enum Outcome {
    /// the error bound is small against the residue
    Converged = 0,
    /// it is not
    NotConverged = 1,
    /// no fundamental reaches the output
    NoFundamental = 2,
}

impl Outcome {
    /// One word for each, by number.
    pub const WORDS: [&'static str; 3] = ["converged", "not converged", "no fundamental"];
    /// A sentence for each, by number.
    pub const REASONS: [&'static str; 3] = [
        "the error bound is at most a millionth of the residue",
        "not converged: the waveform is finer than the samples, or no step came nearer; error_bound says what is known. Try a constriction or a capacitance where the circuit has one, a lower level, or a higher resistance in the loop",
        "no fundamental: the source is silent or the output passes nothing at its frequency",
    ];

    /// Of an answer at its fundamental.
    #[must_use]
    pub fn of(converged: bool, fundamental_v: f64) -> Self {
        if fundamental_v.is_nan() || fundamental_v <= 0.0 {
            Self::NoFundamental
        } else if converged {
            Self::Converged
        } else {
            Self::NotConverged
        }
    }
}

/// Distortion of one tone at the output.
#[derive(Debug, Clone)]
pub struct Distortion {
    /// all harmonics over the fundamental
    pub thd_f: f64,
    /// harmonics from the second on, over the fundamental
    pub harmonics: Vec<Complex64>,
    /// change of the fundamental against zero-voltage resistances, dB, positive is louder
    pub fundamental_db: f64,
    /// bound of the error of `thd_f`
    pub error_bound: f64,
    /// rounds of the solver
    pub rounds: usize,
    /// how to take it
    pub outcome: Outcome,
    /// smallest and largest chord of each contact, ohm
    pub chord_ohm: Vec<(f64, f64)>,
    /// largest voltage across each contact's film, V peak
    pub film_peak_v: Vec<f64>,
}

/// Transfer with both channels driven alike, films at `film_ohm`.
#[must_use]
pub fn even_transfer(network: &Network, frequency_hz: f64, film_ohm: &[f64]) -> f64 {
    let whole: Vec<f64> = film_ohm.iter().zip(&network.contacts).map(|(r, c)| r + c.constriction_ohm).collect();
    let one = |link: &crate::circuit::chain::Link| {
        let stages: f64 = link.stages.iter().map(|stage| stage.transfer(frequency_hz).norm()).product();
        link.ladder.transfer(frequency_hz, &whole).norm() * stages
    };
    network.links.iter().map(one).product()
}

/// Distortion of a tone of `emf_v` (rms); `film_ohm` are the zero-voltage film resistances by number through the chain,
/// `count` the number of harmonics wanted.
pub fn distortion(
    solver: &mut Solver,
    network: &Network,
    (frequency_hz, emf_v): (f64, f64),
    film_ohm: &[f64],
    count: usize,
) -> Distortion {
    let answer = solver.solve(network, Tones::One((frequency_hz, emf_v)), film_ohm);
    let fundamental = answer.output.get(1).copied().unwrap_or_default();
    let size = fundamental.norm();
    let turn = fundamental / size;
    let mut phase = turn;
    let harmonics = (2..count + 2)
        .map(|n| {
            phase *= turn;
            answer.output.get(n).map_or(Complex64::default(), |line| line / phase / size)
        })
        .collect();
    let thd_f = residue_v(&answer) / (std::f64::consts::SQRT_2 * size);
    let linear = std::f64::consts::FRAC_1_SQRT_2 * emf_v * even_transfer(network, frequency_hz, film_ohm);
    Distortion {
        thd_f,
        harmonics,
        fundamental_db: 20.0 * (size / linear).log10(),
        error_bound: answer.error_v / (std::f64::consts::SQRT_2 * size) * (1.0 + thd_f),
        rounds: answer.rounds,
        outcome: Outcome::of(answer.converged, size),
        chord_ohm: answer.chord_ohm,
        film_peak_v: answer.film_peak_v,
    }
}

/// Everything from the second harmonic on, V rms.
fn residue_v(answer: &Answer) -> f64 {
    answer.output.iter().skip(2).map(|line| 2.0 * line.norm_sqr()).sum::<f64>().sqrt()
}

/// What tells one law from another.
#[derive(Debug, Clone, Copy)]
pub struct Signature {
    /// order of the largest harmonic; 0 where there is none
    pub order: i64,
    /// slope of the distortion with level, `d ln thd_f / d ln emf`
    pub slope: f64,
    /// change of the fundamental, dB, positive is louder
    pub fundamental_db: f64,
    /// how to take it
    pub outcome: Outcome,
}

/// Ratio of the two levels that the slope is taken between, over and under the level asked for.
const SLOPE_STEP: f64 = 1.01;

/// Leading harmonic, slope with level and change of the fundamental.
///
/// Where the law bends little: rectifying order 2, slope 1; tunnelling order 3, slope 2, louder with level; a heated bridge order
/// 3, slope 2, quieter with level; chatter slope 0.
pub fn signature(
    solver: &mut Solver,
    network: &Network,
    (frequency_hz, emf_v): (f64, f64),
    film_ohm: &[f64],
) -> Signature {
    let over = distortion(solver, network, (frequency_hz, emf_v * SLOPE_STEP), film_ohm, 10);
    let under = distortion(solver, network, (frequency_hz, emf_v / SLOPE_STEP), film_ohm, 10);
    let leading = over.harmonics.iter().enumerate().max_by(|a, b| a.1.norm().total_cmp(&b.1.norm()));
    let order = leading.filter(|(_, h)| h.norm() > 0.0).map_or(0, |(k, _)| k as i64 + 2);
    Signature {
        order,
        slope: (over.thd_f / under.thd_f).ln() / (2.0 * SLOPE_STEP.ln()),
        fundamental_db: 0.5 * (over.fundamental_db + under.fundamental_db),
        outcome: if (over.outcome as u8) > (under.outcome as u8) { over.outcome } else { under.outcome },
    }
}
