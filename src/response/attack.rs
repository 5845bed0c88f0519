//! An attack on the ceiling: contacts that jump between the ends of their ranges, searched for the most residue.
//!
//! Over `periods` periods of the tone in an odd number of samples every network is a matrix: with the contacts perfect,
//! currents are `i = i0 - Y v` with `v = R i` at every sample (across the signal voltages, with conductances), and the output
//! is what drives it less what the contacts hold back. One jump more or less at one sample changes the inverse of `1 + Y R` by
//! one rank (Sherman and Morrison 1950 \[memory\]), so that every jump can be tried at once. From each start the best jump is
//! taken until none helps. What is found is a contact that exists: it shows how near the ceiling a contact can come, and any
//! attack that passed it would refute the theorem.

use super::ceiling::ceiling;
use super::ceiling_many::{Beside, Moving, ceiling_many, from_one_section};
use super::status::Status;
use crate::circuit::Role;
use crate::circuit::chain::{Link, Network};
use crate::circuit::ports::Ports;
use crate::watch::{Stopped, Watch};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// The best that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Attack {
    /// residue over fundamental, direct current not counted
    pub residue: f64,
    /// resistance of every contact of the list at every sample, ohm
    pub ohm: Vec<Vec<f64>>,
}

/// How a search goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Search {
    /// starts; each is climbed until no jump helps
    pub trials: usize,
    /// the same seed gives the same answer
    pub seed: u64,
    /// samples, odd
    pub samples: usize,
    /// periods of the tone in them
    pub periods: usize,
}

/// Uniform random numbers (`SplitMix64`, Steele, Lea and Flood 2014 \[memory\]).
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// From zero to one.
    fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    fn below(&mut self, count: usize) -> usize {
        ((self.share() * count as f64) as usize).min(count - 1)
    }
}

/// A spectrum, one value per line of the samples, as the matrix that applies it to a wave.
fn operator(spectrum: &[Complex64]) -> DMatrix<f64> {
    let n = spectrum.len();
    // circulant: its first column is the inverse transform
    let column: Vec<f64> = (0..n)
        .map(|t| {
            let wave = |k: usize| spectrum[k] * Complex64::from_polar(1.0, TAU * ((k * t) % n) as f64 / n as f64);
            (0..n).map(wave).sum::<Complex64>().re / n as f64
        })
        .collect();
    DMatrix::from_fn(n, n, |row, col| column[(row + n - col) % n])
}

/// One section with contacts that move.
struct Part {
    /// what a cause at sample column does to the effects: contacts by samples
    between: DMatrix<f64>,
    drive: DMatrix<f64>,
    through: DMatrix<f64>,
    /// output that a contact's `R i` takes away
    reach: DMatrix<f64>,
    /// stages behind it
    after: DMatrix<f64>,
    /// resistances of the two states, siemens across the signal
    ends: Vec<(f64, f64)>,
    contacts: Vec<usize>,
}

/// Periodic steady state of a whole chain.
struct Model {
    parts: Vec<Part>,
    emf: DVector<f64>,
    samples: usize,
    periods: usize,
}

/// Lines of the samples, Hz: negative ones last.
fn lines(samples: usize, step_hz: f64) -> Vec<f64> {
    let half = samples / 2;
    (0..samples).map(|k| if k <= half { k as f64 } else { k as f64 - samples as f64 } * step_hz).collect()
}

/// Values at the lines: those of negative frequencies are conjugate.
fn at_lines(hz: &[f64], value: impl Fn(f64) -> Complex64) -> Vec<Complex64> {
    hz.iter().map(|&f| if f < 0.0 { value(-f).conj() } else { value(f) }).collect()
}

impl Part {
    fn new(link: &Link, network: &Network, moving: &[Moving], fixed_ohm: &[f64], hz: &[f64]) -> Option<Self> {
        let n = hz.len();
        let start = link.ladder.contacts().start;
        let here: Vec<Moving> = moving.iter().copied().filter(|m| link.ladder.contacts().contains(&m.0)).collect();
        let across = here.iter().any(|m| network.contacts[m.0].role == Role::Shunt);
        if across && here.len() > 1 {
            return None;
        }
        let positive: Vec<f64> = hz.iter().copied().filter(|f| *f >= 0.0).collect();
        let ports = Ports::new(&link.ladder, &positive, fixed_ohm);
        let points = positive.len();
        let spectrum = |value: &dyn Fn(usize) -> Complex64| -> Vec<Complex64> {
            (0..n).map(|k| if k < points { value(k) } else { value(n - k).conj() }).collect()
        };
        let of = |k: usize| here[k].0 - start;
        let count = here.len();
        let mut part = Self {
            between: DMatrix::zeros(count * n, count * n),
            drive: DMatrix::zeros(count * n, n),
            through: operator(&spectrum(&|p| ports.output[p])),
            reach: DMatrix::zeros(n, count * n),
            after: operator(&at_lines(hz, |f| link.stages.iter().map(|s| s.transfer(f)).product())),
            ends: here.iter().map(|m| if across { (m.1.1.recip(), m.1.0.recip()) } else { m.1 }).collect(),
            contacts: here.iter().map(|m| m.0).collect(),
        };
        for k in 0..count {
            let at = of(k) * points;
            part.drive.view_mut((k * n, 0), (n, n)).copy_from(&operator(&spectrum(&|p| ports.drive[at + p])));
            part.reach.view_mut((0, k * n), (n, n)).copy_from(&operator(&spectrum(&|p| ports.reach[at + p])));
            for j in 0..count {
                let value = |p: usize| match across {
                    true => ports.loop_impedance[at + p].inv(),
                    false => ports.admittance(of(k), of(j), p),
                };
                part.between.view_mut((k * n, j * n), (n, n)).copy_from(&operator(&spectrum(&value)));
            }
        }
        Some(part)
    }
}

impl Model {
    /// Residue over fundamental of an output, direct current not counted.
    fn ratio(&self, output: &[f64]) -> f64 {
        let n = self.samples as f64;
        let (mut sum, mut square, mut re, mut im) = (0.0, 0.0, 0.0, 0.0);
        for (k, y) in output.iter().enumerate() {
            let (s, c) = (TAU * (k * self.periods % self.samples) as f64 / n).sin_cos();
            (sum, square, re, im) = (sum + y, square + y * y, re + y * c, im + y * s);
        }
        let fundamental = 2.0 * (re * re + im * im) / (n * n);
        let rest = square / n - (sum / n).powi(2) - fundamental;
        if fundamental > 0.0 { (rest.max(0.0) / fundamental).sqrt() } else { 0.0 }
    }

    fn resistance(part: &Part, states: &[bool], samples: usize) -> Vec<f64> {
        let one = |(k, high): (usize, &bool)| {
            let ends = part.ends[k / samples];
            if *high { ends.1 } else { ends.0 }
        };
        states.iter().enumerate().map(one).collect()
    }

    /// Output of the chain solved afresh, and for every jump the change of the output that comes with it.
    fn solve(&self, states: &[Vec<bool>], changes: bool) -> Option<(DVector<f64>, Vec<DMatrix<f64>>)> {
        let n = self.samples;
        let mut wave = self.emf.clone();
        let mut jumps: Vec<DMatrix<f64>> = Vec::new();
        for (part, states) in self.parts.iter().zip(states) {
            let r = Self::resistance(part, states, n);
            let size = r.len();
            let matrix = DMatrix::from_fn(size, size, |row, col| {
                part.between[(row, col)] * r[col] + f64::from(u8::from(row == col))
            });
            let lu = matrix.lu();
            let hold = |i: &DMatrix<f64>| -> DMatrix<f64> {
                &part.reach * DMatrix::from_fn(i.nrows(), i.ncols(), |row, col| r[row] * i[(row, col)])
            };
            let i0 = lu.solve(&(&part.drive * &wave))?;
            let output = &part.through * &wave - &hold(&DMatrix::from_column_slice(size, 1, i0.as_slice()));
            if changes {
                let gain = &part.through - hold(&lu.solve(&part.drive)?);
                let onwards = &part.after * gain;
                jumps.iter_mut().for_each(|jump| *jump = &onwards * &*jump);
                // a jump of s at one sample: i' there is i/(1 + s H), and the output changes by s i' (reach R H - reach)
                let h = lu.solve(&part.between)?;
                let effect = &part.after * (hold(&h) - &part.reach);
                jumps.push(DMatrix::from_fn(n, size, |row, col| {
                    let ends = part.ends[col / n];
                    let s = if states[col] { ends.0 - ends.1 } else { ends.1 - ends.0 };
                    effect[(row, col)] * (s * i0[col] / (1.0 + s * h[(col, col)]))
                }));
            }
            wave = &part.after * output.column(0);
        }
        Some((wave, jumps))
    }

    /// Takes the best jump until none helps.
    fn climb(&self, states: &mut [Vec<bool>], watch: &dyn Watch) -> Result<f64, Stopped> {
        let mut best = 0.0;
        let most = 10 * self.samples * self.parts.iter().map(|part| part.ends.len()).sum::<usize>();
        for _ in 0..most {
            if watch.stop() {
                return Err(Stopped);
            }
            let Some((output, jumps)) = self.solve(states, true) else { return Ok(best) };
            best = self.ratio(output.as_slice());
            let mut found = (best * (1.0 + 1e-12), None);
            let mut other = output.clone();
            for (part, jump) in jumps.iter().enumerate() {
                for column in 0..jump.ncols() {
                    other.copy_from(&output);
                    other += jump.column(column);
                    let ratio = self.ratio(other.as_slice());
                    if ratio > found.0 {
                        found = (ratio, Some((part, column)));
                    }
                }
            }
            let Some((part, column)) = found.1 else { break };
            states[part][column] ^= true;
        }
        Ok(best)
    }
}

/// Looks for the contacts within their ranges that leave the most residue beside a tone; the others keep `fixed_ohm`.
///
/// # Errors
/// Inside: the status that says why there is nothing to attack. Outside: the watch stopped it.
pub fn attack(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    fixed_ohm: &[f64],
    search: Search,
    watch: &dyn Watch,
) -> Result<Result<Attack, Status>, Stopped> {
    let role = |k: usize| network.contacts[k].role;
    let mut fixed = fixed_ohm.to_vec();
    for &(k, (low, high)) in moving {
        match role(k) {
            Role::Shunt if low <= 0.0 => return Ok(Err(Status::CanShort)),
            Role::Shunt => {}
            _ if high.is_infinite() => return Ok(Err(Status::CanOpen)),
            _ => {}
        }
        fixed[k] = role(k).perfect_ohm();
    }
    let shared = |k: usize| role(k) == Role::SharedReturn;
    if (0..fixed.len()).any(|k| shared(k) && (fixed[k] > 0.0 || moving.iter().any(|m| m.0 == k))) {
        return Ok(Err(Status::SharedReturn));
    }
    let n = search.samples;
    let hz = lines(n, driven_hz / search.periods as f64);
    let parts: Option<Vec<Part>> =
        network.links.iter().map(|link| Part::new(link, network, moving, &fixed, &hz)).collect();
    let Some(parts) = parts else { return Ok(Err(Status::SeveralLoops)) };
    let wave = |t: usize| (TAU * (t * search.periods % n) as f64 / n as f64).cos();
    let model = Model { parts, emf: DVector::from_fn(n, |t, _| wave(t)), samples: n, periods: search.periods };
    let blank: Vec<Vec<bool>> = model.parts.iter().map(|part| vec![false; part.ends.len() * n]).collect();
    match model.solve(&blank, false) {
        Some((output, _)) if output.iter().any(|y| y.abs() > 0.0) => {}
        _ => return Ok(Err(Status::NoFundamental)),
    }
    let mut random = Random(search.seed);
    let mut best = (0.0, blank.clone());
    for trial in 0..search.trials {
        let mut states = blank.clone();
        // random jumps; square waves of any rate, duty and phase; the best so far with a few jumps changed
        let kind = if best.0 > 0.0 { trial % 3 } else { trial % 2 };
        for contact in states.iter_mut().flat_map(|part| part.chunks_mut(n)) {
            let (duty, phase, rate) = (0.1 + 0.8 * random.share(), random.share(), 1 + random.below(n - 1));
            for (t, state) in contact.iter_mut().enumerate() {
                *state = match kind {
                    0 => random.share() < duty,
                    _ => ((t * rate) as f64 / n as f64 + phase).fract() < duty,
                };
            }
        }
        if kind == 2 {
            states.clone_from(&best.1);
            for state in states.iter_mut().flatten() {
                *state ^= random.share() < 3.0 / n as f64;
            }
        }
        let _ = model.climb(&mut states, watch)?;
        // what counts is the state solved afresh
        let found = model.solve(&states, false).map_or(0.0, |(output, _)| model.ratio(output.as_slice()));
        if found > best.0 {
            best = (found, states);
        }
        watch.done(1);
    }
    let mut ohm = vec![Vec::new(); moving.len()];
    for (part, states) in model.parts.iter().zip(&best.1) {
        for (contact, states) in part.contacts.iter().zip(states.chunks(n)) {
            if let Some(place) = moving.iter().position(|m| m.0 == *contact) {
                let (low, high) = moving[place].1;
                // across the signal the second state is the one of more siemens
                let across = role(*contact) == Role::Shunt;
                ohm[place] = states.iter().map(|high_state| if *high_state != across { high } else { low }).collect();
            }
        }
    }
    Ok(Ok(Attack { residue: best.0, ohm }))
}

/// The ceiling that a search attacks: T1 where it holds, else T2; for one period over the harmonics, else for any chatter.
///
/// # Errors
/// The status that says why there is none.
pub fn attacked(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    fixed_ohm: &[f64],
    search: Search,
) -> Result<f64, Status> {
    let band = band_of(driven_hz, search);
    let alone = Beside::nothing(network);
    let one_section = from_one_section(network, driven_hz, moving, fixed_ohm, band, &alone);
    let mut found = one_section.unwrap_or_else(|| ceiling(network, driven_hz, moving, fixed_ohm, band));
    if found.status == Status::SeveralLoops {
        found = ceiling_many(network, driven_hz, moving, fixed_ohm, band);
    }
    match found.status {
        Status::Holds if search.periods == 1 => Ok(found.harmonics),
        Status::Holds => Ok(found.chatter),
        status => Err(status),
    }
}

/// The band that holds just the lines of a search: what its attacks can leave.
#[must_use]
pub fn band_of(driven_hz: f64, search: Search) -> (f64, f64) {
    let step = driven_hz / search.periods as f64;
    (step * (1.0 - 1e-9), step * ((search.samples - 1) / 2) as f64 * (1.0 + 1e-9))
}

#[cfg(test)]
mod tests;
