//! A section or chain at one or two tones: samples raised until the certificate is small, the EMF raised where nothing else helps;
//! one section and one tone that no even grid holds go step by step in time instead ([`instants`]).

use super::certificate::load_error_v;
use super::direct::{Direct, channel_chords};
use super::films::{Placed, Seen, channel_ohm, direct_emf_v, linear_waves, place, tune};
use super::grid::{Grid, ONE_TONE, TWO_TONES};
use super::instants;
use super::newton::{BUDGET, State};
use crate::circuit::chain::{Link, Network};
use crate::watch::{Unwatched, Watch};
use num_complex::Complex64;
use realfft::RealFftPlanner;
use std::f64::consts::SQRT_2;

/// Error of the residue, relative, at which samples are enough.
pub(crate) const ENOUGH: f64 = 1e-8;

/// Error of the residue, relative, up to which an answer counts as converged.
pub const CONVERGED: f64 = 1e-6;

/// Residual, relative, at which a grid counts as solved.
const SOLVED: f64 = 1e-9;

/// Share of [`BUDGET`] after which the road through the instants is quicker, one over it.
const QUICKER: usize = 100;

/// Halvings of the EMF that are tried.
const MOST_HALVINGS: usize = 8;

/// What is fed in: one tone, or two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tones {
    /// frequency, Hz, and EMF, V rms
    One((f64, f64)),
    /// frequencies and EMFs of two
    Two((f64, f64), (f64, f64)),
}

/// What a solve is of.
#[derive(Clone, Copy)]
struct Asked<'a> {
    network: &'a Network,
    tones: Tones,
    film_ohm: &'a [f64],
    watch: &'a dyn Watch,
}

/// How a section is to be gone through: on which grid, with what before it, solved or only read.
struct Visit<'a> {
    coarse: Option<&'a Grid>,
    solve: bool,
}

/// The steady state at the output of a section or chain.
#[derive(Debug, Clone, Default)]
pub struct Answer {
    /// output voltage, line by line, `c` in `x = c_0 + 2 Re sum c_h exp(j h theta)`
    pub output: Vec<Complex64>,
    /// frequency of each line, Hz, signed
    pub frequency_hz: Vec<f64>,
    /// orders of each line
    pub orders: Vec<(i32, i32)>,
    /// bound of the error of the output, tones and products together, over the lines that are answered, V rms
    pub error_v: f64,
    /// whether the bound is small against the residue
    pub converged: bool,
    /// Newton and averaging rounds of all sections and grids
    pub rounds: usize,
    /// samples of the grid that the answer was read on; by instants, of one that holds the lines that were proved, so that
    /// harmonics beyond half of it are not counted
    pub samples: usize,
    /// smallest and largest chord of each contact over the period, ohm, by number through the chain
    pub chord_ohm: Vec<(f64, f64)>,
    /// largest voltage across each contact's film, V peak; zero for a contact without a law
    pub film_peak_v: Vec<f64>,
}

/// Buffers of a solver; keep one per thread.
pub struct Solver<'w> {
    pub(crate) planner: RealFftPlanner<f64>,
    pub(crate) direct: Direct,
    sections: Vec<Section>,
    watch: &'w dyn Watch,
}

#[derive(Default)]
struct Section {
    placed: Vec<Placed>,
    direct_v: Vec<f64>,
    seen: Seen,
    state: State,
    coarse: Vec<Complex64>,
    emf: Vec<Complex64>,
    load: Vec<Complex64>,
    own_error_v: f64,
    error_v: f64,
}

impl Default for Solver<'_> {
    fn default() -> Self {
        Self::watched(&Unwatched)
    }
}

impl<'w> Solver<'w> {
    /// A solver that gives up an answer, as one that has not converged, when the watch says stop: one section alone can take seconds.
    pub fn watched(watch: &'w dyn Watch) -> Self {
        Self { planner: RealFftPlanner::new(), direct: Direct::default(), sections: Vec::new(), watch }
    }

    /// Steady state of a network; `film_ohm` are the zero-voltage resistances of the films by number through the chain.
    pub fn solve(&mut self, network: &Network, tones: Tones, film_ohm: &[f64]) -> Answer {
        if let Tones::One(tone) = tones {
            if let Some(answer) = self.direct.solve(network, tone, film_ohm, &mut self.planner) {
                return answer;
            }
        }
        let Tones::One(tone) = tones else { return self.by_lines(network, tones, film_ohm, BUDGET) };
        let answer = self.by_lines(network, tones, film_ohm, BUDGET / QUICKER);
        if answer.converged || self.watch.stop() {
            return answer;
        }
        if let Some(mut found) = instants::solve(network, tone, film_ohm, self.watch) {
            found.rounds += answer.rounds;
            return found;
        }
        if self.watch.stop() {
            return answer;
        }
        self.by_lines(network, tones, film_ohm, BUDGET)
    }

    /// On even grids, line by line, touching about so many numbers in each section.
    fn by_lines(&mut self, network: &Network, tones: Tones, film_ohm: &[f64], budget: usize) -> Answer {
        let asked = Asked { network, tones, film_ohm, watch: self.watch };
        let mut answer = Answer::default();
        self.sections.resize_with(network.links.len(), Section::default);
        self.make_ready(network, tones, film_ohm, budget);
        let levels = match tones {
            Tones::One(_) => ONE_TONE.len(),
            Tones::Two(..) => TWO_TONES.len(),
        };
        let has_films = self.sections.iter().any(|section| !section.placed.is_empty());
        let mut coarse: Option<Grid> = None;
        for level in 0..levels {
            let mut grid = self.grid(tones, level);
            let last = level + 1 == levels
                || self.sections.iter().any(|section| section.state.spent > section.state.budget / 2);
            let solve = coarse.is_none();
            let mut error_v =
                self.pass(asked, &mut grid, &Visit { coarse: coarse.as_ref(), solve }, &mut answer.rounds);
            let mut residue_v = self.residue_v(&grid);
            if !solve || !has_films {
                let rounding: f64 = self.sections.iter().map(|section| section.own_error_v).sum();
                if error_v <= (ENOUGH * residue_v).max(4.0 * rounding) {
                    answer.converged = error_v <= CONVERGED * residue_v || !has_films;
                    self.read(network, &grid, film_ohm, &mut answer);
                    answer.error_v = error_v;
                    return answer;
                }
                // what was solved coarser does not do here: solve here
                let before: Vec<Complex64> = self.output().to_vec();
                let bound =
                    self.pass(asked, &mut grid, &Visit { coarse: coarse.as_ref(), solve: true }, &mut answer.rounds);
                if last {
                    // no finer grid to read it on: what the last raising changed stands for what the next would
                    let changed: f64 =
                        self.output().iter().zip(&before).skip(1).map(|(a, b)| 2.0 * (a - b).norm_sqr()).sum();
                    error_v = bound + changed.sqrt();
                    residue_v = self.residue_v(&grid);
                    answer.converged = error_v <= CONVERGED * residue_v;
                    self.read(network, &grid, film_ohm, &mut answer);
                    answer.error_v = error_v;
                    return answer;
                }
            }
            coarse = Some(grid);
        }
        answer
    }

    fn grid(&mut self, tones: Tones, level: usize) -> Grid {
        match tones {
            Tones::One((hz, _)) => Grid::one_tone(hz, ONE_TONE[level], &mut self.planner),
            Tones::Two((low, _), (high, _)) => Grid::two_tones((low, high), TWO_TONES[level], &mut self.planner),
        }
    }

    fn make_ready(&mut self, network: &Network, tones: Tones, film_ohm: &[f64], budget: usize) {
        let whole: Vec<f64> = film_ohm.iter().zip(&network.contacts).map(|(r, c)| r + c.constriction_ohm).collect();
        let mut tone = match tones {
            Tones::One(tone) => vec![tone],
            Tones::Two(low, high) => vec![low, high],
        };
        for (section, link) in self.sections.iter_mut().zip(&network.links) {
            section.state.spent = 0;
            section.state.budget = budget;
            section.placed = place(network, &link.ladder, film_ohm);
            let strongest =
                tone.iter().fold((0.0, 0.0), |best, now| if now.1 > best.0 { (now.1, now.0) } else { best });
            tune(network, &link.ladder, &mut section.placed, film_ohm, strongest);
            section.direct_v = direct_emf_v(network, &link.ladder, &section.placed, film_ohm);
            for (hz, emf_v) in &mut tone {
                let stages: f64 = link.stages.iter().map(|stage| stage.transfer(*hz).norm()).product();
                *emf_v *= link.ladder.transfer(*hz, &whole).norm() * stages;
            }
        }
    }

    /// All sections once on a grid, in the order of the signal; returns the bound of the output's error.
    fn pass(&mut self, asked: Asked<'_>, grid: &mut Grid, visit: &Visit<'_>, rounds: &mut usize) -> f64 {
        let lines = grid.lines();
        let mut emf = vec![Complex64::default(); lines];
        match asked.tones {
            Tones::One((_, emf_v)) => set_tone(grid, &mut emf, (1, 0), emf_v),
            Tones::Two((_, low_v), (_, high_v)) => {
                set_tone(grid, &mut emf, (1, 0), low_v);
                set_tone(grid, &mut emf, (0, 1), high_v);
            }
        }
        let mut error_v = 0.0;
        for (section, link) in self.sections.iter_mut().zip(&asked.network.links) {
            section.emf.clear();
            section.emf.extend_from_slice(&emf);
            section.run(asked, link, grid, visit, rounds);
            let mut gain = 0.0f64;
            for (line, (load, &hz)) in section.load.iter().zip(&grid.frequency_hz).enumerate() {
                let shape = stages_at(link, hz);
                emf[line] = load * shape;
                if line > 0 {
                    gain = gain.max(shape.norm());
                }
            }
            // an error that comes in passes on at most as a signal would
            let through = section.seen.output.iter().map(|h| h.norm()).fold(0.0, f64::max);
            error_v = (error_v * through + section.error_v) * gain;
        }
        if let Some(section) = self.sections.last_mut() {
            section.load.copy_from_slice(&emf);
        }
        error_v
    }

    fn output(&self) -> &[Complex64] {
        self.sections.last().map_or(&[], |section| &section.load)
    }

    /// Everything at the output that is neither a tone nor direct current, V rms.
    fn residue_v(&self, grid: &Grid) -> f64 {
        let of = |(line, order): (f64, &(i32, i32))| {
            if matches!(order, (1, 0) | (0, 1) | (0, 0)) { 0.0 } else { 2.0 * line }
        };
        self.output().iter().map(Complex64::norm_sqr).zip(&grid.orders).map(of).sum::<f64>().sqrt()
    }

    fn read(&self, network: &Network, grid: &Grid, film_ohm: &[f64], answer: &mut Answer) {
        answer.output = self.output().to_vec();
        answer.frequency_hz.clone_from(&grid.frequency_hz);
        answer.orders.clone_from(&grid.orders);
        answer.samples = grid.samples;
        answer.chord_ohm = channel_chords(network, film_ohm);
        answer.film_peak_v = vec![0.0; network.contacts.len()];
        for section in &self.sections {
            for (k, film) in section.placed.iter().enumerate() {
                let own = &section.state.voltage_v[k * grid.samples..(k + 1) * grid.samples];
                answer.chord_ohm[film.contact] = chords(film, own, network);
                answer.film_peak_v[film.contact] = own.iter().fold(0.0, |most, u| u.abs().max(most));
            }
        }
    }
}

fn set_tone(grid: &Grid, emf: &mut [Complex64], order: (i32, i32), emf_v: f64) {
    if let Some((line, _)) = grid.line(order) {
        emf[line] = Complex64::new(emf_v / SQRT_2, 0.0);
    }
}

/// Stages after a section at a signed frequency.
pub(super) fn stages_at(link: &Link, signed_hz: f64) -> Complex64 {
    let shape: Complex64 = link.stages.iter().map(|stage| stage.transfer(signed_hz.abs())).product();
    if signed_hz < 0.0 { shape.conj() } else { shape }
}

/// Smallest and largest chord over the voltages that a film visits, constriction included, ohms of the contact itself.
pub(super) fn chords(film: &Placed, voltage_v: &[f64], network: &Network) -> (f64, f64) {
    let (least, most) = voltage_v.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &u| (a.min(u), b.max(u)));
    let cold = if least < 0.0 && most > 0.0 { film.film.resistance_ohm() } else { film.loaded.chord_ohm(least) };
    let all = [film.loaded.chord_ohm(least), film.loaded.chord_ohm(most), cold];
    // of one channel to the contact's own
    let contact = &network.contacts[film.contact];
    let own = if film.constriction_ohm > 0.0 { contact.constriction_ohm / film.constriction_ohm } else { 1.0 };
    let own = if contact.role == crate::circuit::Role::SharedReturn { 0.5 } else { own.min(1.0) };
    let low = all.into_iter().fold(f64::INFINITY, f64::min);
    let high = all.into_iter().fold(0.0, f64::max);
    (own * low + contact.constriction_ohm, own * high + contact.constriction_ohm)
}

impl Section {
    fn run(&mut self, asked: Asked<'_>, link: &Link, grid: &mut Grid, visit: &Visit<'_>, rounds: &mut usize) {
        let (films, lines) = (self.placed.len(), grid.lines());
        if self.seen.output.len() != lines || visit.coarse.is_none() {
            let ohm = channel_ohm(asked.network, &self.placed, asked.film_ohm);
            self.seen.fill(&link.ladder, &self.placed, &ohm, &grid.frequency_hz);
            let mut delta = std::mem::take(&mut self.state.delta);
            self.coarse.clear();
            self.coarse.extend_from_slice(&delta);
            delta.clear();
            self.state.delta = delta;
            self.state.begin(films, grid);
            if let Some(coarse) = visit.coarse {
                let few = coarse.lines();
                for k in 0..films {
                    let to = &mut self.state.delta[k * lines..(k + 1) * lines];
                    grid.prolong(coarse, &self.coarse[k * few..(k + 1) * few], to);
                }
            }
        }
        linear_waves(&self.seen, &self.placed, grid, &self.emf, &self.direct_v, &mut self.state.linear);
        if films > 0 {
            if visit.solve {
                *rounds += self.climb(grid, asked.watch);
                (self.error_v, self.own_error_v) = load_error_v(&mut self.state, &self.seen, &self.placed, grid);
            } else {
                self.state.evaluate(&self.seen, &self.placed, grid);
                self.error_v = load_error_v(&mut self.state, &self.seen, &self.placed, grid).0;
            }
        } else {
            self.error_v = 0.0;
            self.own_error_v = 0.0;
        }
        self.load.clear();
        for line in 0..lines {
            let made: Complex64 = (0..films)
                .map(|k| {
                    let at = k * lines + line;
                    let direct = if line == 0 { self.direct_v[k] } else { 0.0 };
                    self.seen.reach[at] * (self.state.emf[at] + direct)
                })
                .sum();
            self.load.push(self.seen.output[line] * self.emf[line] + made);
        }
    }

    /// Solves at the full EMF, or, where that fails, at the largest half of it that succeeds, and from there up.
    fn climb(&mut self, grid: &mut Grid, watch: &dyn Watch) -> usize {
        let went = self.state.solve(&self.seen, &self.placed, grid, watch);
        let mut rounds = went.rounds;
        if went.residual <= SOLVED {
            return rounds;
        }
        let full = self.state.linear.clone();
        let start = self.state.delta.clone();
        let scaled = |state: &mut State, scale: f64| {
            for (now, full) in state.linear.iter_mut().zip(&full) {
                *now = scale * full;
            }
        };
        let mut halvings = 0;
        while halvings < MOST_HALVINGS {
            halvings += 1;
            scaled(&mut self.state, 0.5f64.powi(halvings as i32));
            self.state.delta.fill(Complex64::default());
            let went = self.state.solve(&self.seen, &self.placed, grid, watch);
            rounds += went.rounds;
            if went.residual <= SOLVED {
                break;
            }
        }
        let mut residual = f64::INFINITY;
        while halvings > 0 {
            halvings -= 1;
            scaled(&mut self.state, 0.5f64.powi(halvings as i32));
            self.state.delta.iter_mut().for_each(|x| *x *= 2.0);
            let went = self.state.solve(&self.seen, &self.placed, grid, watch);
            rounds += went.rounds;
            residual = went.residual;
        }
        self.state.linear.copy_from_slice(&full);
        if residual.is_nan() || residual >= went.residual {
            self.state.delta.copy_from_slice(&start);
            self.state.evaluate(&self.seen, &self.placed, grid);
        }
        rounds
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::chain::{Chain, ChainItem};
    use crate::circuit::{Contact, Equalisation, Load, PathItem, Source, Stage};
    use crate::physics::Film;

    #[test]
    fn a_solve_that_may_touch_next_to_nothing_ends_and_says_so() {
        let film = Film::Bridged { resistance_ohm: 1e3 };
        let section = crate::circuit::Section {
            name: "s".into(),
            source: Some(Source { emf_v: 0.5, resistance_ohm: 500.0, inductance_h: 0.3 }),
            path: vec![PathItem::Contact(Contact { film, ..Contact::ohmic("k", 1.0) })],
            load: Load { capacitance_f: 1e-9, ..Load::resistance(2e3) },
        };
        let network = Network::from_section(&section).unwrap();
        let tones = Tones::One((1e3, 0.5));
        // not one step at the full EMF, at none of its halves, and on no grid
        let answer = Solver::default().by_lines(&network, tones, &[1e3], 1);
        assert!(!answer.converged && answer.rounds == 0);
        assert!(answer.output.iter().all(|line| line.is_finite()) && answer.error_v > 0.0);
        // the first steps count, whatever comes of what is tried after them
        let some = Solver::default().by_lines(&network, tones, &[1e3], 2_000);
        assert!(!some.converged && some.rounds > 0);
        assert!(Solver::default().by_lines(&network, tones, &[1e3], BUDGET).converged);
    }

    #[test]
    fn what_a_divider_leaves_of_a_signal_it_leaves_of_its_error() {
        let film = Film::Tunnelling { resistance_ohm: 1e3, scale_v: 0.2 };
        let first = crate::circuit::Section {
            name: "films".into(),
            source: Some(Source { emf_v: 0.5, resistance_ohm: 500.0, inductance_h: 0.0 }),
            path: vec![PathItem::Contact(Contact { film, ..Contact::ohmic("k", 1.0) })],
            load: Load { capacitance_f: 10e-9, ..Load::resistance(2e3) },
        };
        let stage = |output_resistance_ohm: f64| {
            ChainItem::Stage(Stage {
                name: "flat".into(),
                gain_db: 0.0,
                equalisation: Equalisation::Flat,
                output_resistance_ohm,
            })
        };
        // nothing but 900 ohm into 100 ohm: a tenth of everything
        let divider = crate::circuit::Section {
            name: "divider".into(),
            source: None,
            path: vec![],
            load: Load::resistance(100.0),
        };
        let alone = vec![ChainItem::Section(first.clone()), stage(0.0)];
        let divided = vec![ChainItem::Section(first), stage(900.0), ChainItem::Section(divider)];
        let [alone, divided] = [alone, divided].map(|items| {
            let network = Network::from_chain(&Chain { items }).unwrap();
            Solver::default().solve(&network, Tones::One((5e3, 0.5)), &[1e3])
        });
        assert!(alone.converged && divided.converged && alone.samples == divided.samples);
        for (whole, tenth) in alone.output.iter().zip(&divided.output).skip(1) {
            assert!((0.1 * whole - tenth).norm() < 1e-12 * alone.output[1].norm());
        }
        assert!(alone.error_v > 0.0 && (divided.error_v / alone.error_v - 0.1).abs() < 1e-9, "{}", divided.error_v);
    }
}
