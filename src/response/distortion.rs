//! What the films of a section or chain do to one tone: harmonics at the output, their sum, and what it does to the level.
//!
//! * `thd_f = sqrt(U2^2 + U3^2 + ...)/U1`, `thd_r = thd_f/sqrt(1 + thd_f^2)` (IEC 60268-3, 14.12.3 \[seen\]: referred to the total)
//! * direct current is not counted
//! * `fundamental_db`: the fundamental against the same network with every film at its zero-voltage resistance; positive is louder.
//!   What a contact takes at this level is `loss_db - fundamental_db`.
//! * A contact in a shared return: both channels are driven alike.
//!
//! The harmonics are complex, of a time that begins at a crest of the fundamental: `x(t) = cos + sum Re h_n exp(j n omega t)`.

use super::steady::direct::channel_chords;
use super::steady::solve::{Answer, Solver, Tones};
use crate::circuit::chain::Network;
use num_complex::Complex64;
use std::f64::consts::FRAC_1_SQRT_2;

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

    /// Of an answer at its fundamental; what is past all numbers has not converged.
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
    /// bound of the error of `thd_f`, over the harmonics that the solver answered: some hundred to some thousand
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
    if let Some(found) = solver.direct_distortion(network, (frequency_hz, emf_v), film_ohm, count) {
        return found;
    }
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
    let linear = FRAC_1_SQRT_2 * emf_v * even_transfer(network, frequency_hz, film_ohm);
    Distortion {
        thd_f,
        harmonics,
        fundamental_db: 20.0 * (size / linear).log10(),
        error_bound: answer.error_v / (std::f64::consts::SQRT_2 * size) * (1.0 + thd_f),
        rounds: answer.rounds,
        outcome: Outcome::of(answer.converged && thd_f.is_finite(), size),
        chord_ohm: answer.chord_ohm,
        film_peak_v: answer.film_peak_v,
    }
}

impl Solver<'_> {
    /// The direct road without the lists of an [`Answer`]: one resistive section and nothing behind it that shapes.
    fn direct_distortion(
        &mut self,
        network: &Network,
        tone: (f64, f64),
        film_ohm: &[f64],
        count: usize,
    ) -> Option<Distortion> {
        let [link] = &network.links[..] else { return None };
        if !link.stages.is_empty() {
            return None;
        }
        let road = self.direct.run(network, tone, film_ohm, &mut self.planner)?;
        let lines = &self.direct.lines;
        let linear = road.output * tone.1 * FRAC_1_SQRT_2;
        let size = linear + road.reach * lines[1];
        let harmonics_v2: f64 = lines[2..].iter().map(|c| c * c).sum();
        // below zero by rounding alone: a current that rises with the EMF never turns its tone round
        let per_v = road.reach / size;
        let harmonic = |n: usize| Complex64::from(lines.get(n).map_or(0.0, |c| c * per_v));
        let mut chord_ohm = channel_chords(network, film_ohm);
        chord_ohm[road.film.contact] = road.chord_ohm;
        let mut film_peak_v = vec![0.0; film_ohm.len()];
        film_peak_v[road.film.contact] = road.film_peak_v;
        let thd_f = harmonics_v2.sqrt() * per_v.abs();
        Some(Distortion {
            thd_f,
            harmonics: (2..count + 2).map(harmonic).collect(),
            fundamental_db: 20.0 * (size / linear).abs().log10(),
            error_bound: road.error * per_v.abs() * FRAC_1_SQRT_2 * (1.0 + thd_f),
            rounds: 0,
            outcome: Outcome::of(road.converged && thd_f.is_finite(), size.abs()),
            chord_ohm,
            film_peak_v,
        })
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::chain::{Chain, ChainItem};
    use crate::circuit::{Contact, Equalisation, Load, PathItem, Section, Source, Stage};
    use crate::physics::Film;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_short_way_is_the_long_one(log_r in -3.0f64..6.0, log_z in 0.0f64..5.0, emf_v in 1e-4f64..2.0, which in 0usize..3) {
            // a flat stage behind it takes the same section through the lists of an answer
            let (r, z) = (10f64.powf(log_r), 10f64.powf(log_z));
            let film = [Film::Tunnelling { resistance_ohm: r, scale_v: 0.2 }, Film::Bridged { resistance_ohm: r },
                        Film::Rectifying { resistance_ohm: r, ideality: 1.5, leak_ratio: 0.1 }][which];
            let section = Section {
                name: "s".into(),
                source: Some(Source { emf_v, resistance_ohm: 0.3 * z, inductance_h: 0.0 }),
                path: vec![PathItem::Contact(Contact { film, constriction_ohm: 0.01 * z, ..Contact::ohmic("k", 1.0) })],
                load: Load::resistance(z),
            };
            let short = Network::from_section(&section).unwrap();
            let stage = Stage { name: "flat".into(), gain_db: 0.0, equalisation: Equalisation::Flat, output_resistance_ohm: 0.0 };
            let long = Network::from_chain(&Chain { items: vec![ChainItem::Section(section), ChainItem::Stage(stage)] }).unwrap();
            let mut solver = Solver::default();
            let mut solve = |network: &Network| distortion(&mut solver, network, (1e3, emf_v), &[r], 5);
            let (a, b) = (solve(&short), solve(&long));
            prop_assert!((a.thd_f / b.thd_f - 1.0).abs() < 1e-12);
            prop_assert!((a.fundamental_db - b.fundamental_db).abs() < 1e-12);
            prop_assert!((a.error_bound / b.error_bound - 1.0).abs() < 1e-12 && a.outcome == b.outcome);
            prop_assert!(a.chord_ohm == b.chord_ohm && a.film_peak_v == b.film_peak_v);
            for (x, y) in a.harmonics.iter().zip(&b.harmonics) {
                prop_assert!((x - y).norm() <= 1e-12 * a.thd_f);
            }
        }
    }

    #[test]
    fn what_follows_turns_each_harmonic_by_its_own_angle() {
        use std::f64::consts::TAU;
        // IEC 60098, time constants 3180, 318 and 75 us [memory]: a harmonic of order n leaves with H(n f), and is told in the time
        // frame of the fundamental, which left with H(f)
        let h = |hz: f64| {
            let corner = |time_s: f64| Complex64::new(1.0, TAU * hz * time_s);
            corner(318e-6) / (corner(3180e-6) * corner(75e-6))
        };
        let hz = 300.0;
        let film = Film::Rectifying { resistance_ohm: 200.0, ideality: 1.5, leak_ratio: 0.1 };
        let section = Section {
            name: "s".into(),
            source: Some(Source { emf_v: 0.2, resistance_ohm: 100.0, inductance_h: 0.0 }),
            path: vec![PathItem::Contact(Contact { film, ..Contact::ohmic("k", 1.0) })],
            load: Load::resistance(300.0),
        };
        let plain = Network::from_section(&section).unwrap();
        let stage = Stage {
            name: "records".into(),
            gain_db: 37.0,
            equalisation: Equalisation::Riaa,
            output_resistance_ohm: 0.0,
        };
        let shaped =
            Network::from_chain(&Chain { items: vec![ChainItem::Section(section), ChainItem::Stage(stage)] }).unwrap();
        let mut solver = Solver::default();
        let mut solve = |network: &Network| distortion(&mut solver, network, (hz, 0.2), &[200.0], 6);
        let (before, after) = (solve(&plain), solve(&shaped));
        let turn = h(hz) / h(hz).norm();
        let (mut order, mut square) = (1, 0.0);
        for (was, found) in before.harmonics.iter().zip(&after.harmonics) {
            order += 1;
            let expected = was * h(f64::from(order) * hz) / h(hz).norm() / turn.powi(order);
            assert!((found - expected).norm() < 1e-9 * before.thd_f, "{order} {found} {expected}");
            square += expected.norm_sqr();
        }
        // six of them make all but a part of the whole
        assert!(order == 7 && before.thd_f > 0.01 && after.thd_f > square.sqrt() && after.thd_f < 1.01 * square.sqrt());
    }
}
