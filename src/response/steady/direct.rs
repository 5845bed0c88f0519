//! The direct road: one film in a section without reactances has no memory, so each instant is solved alone.
//!
//! `u + Z i(u) = e(t)` has one root. With a cosine for EMF the film's own EMF `e_f = R i - u` is even in time, so half a period
//! is enough, and of an odd law a quarter; its lines come from a table of cosines where they are few, from a transform where they are many. The
//! deviation from the zero-voltage resistance is what is summed, so nothing small is taken from something large.
//! Samples are raised until the outer quarter of the orders holds no more than the error that is allowed.

use super::films::{Placed, Seen, channel_ohm, placed};
use super::grid::{Grid, ONE_TONE};
use super::solve::{Answer, CONVERGED, ENOUGH, chords, stages_at};
use crate::circuit::chain::Network;
use crate::physics::loaded::Loaded;
use num_complex::Complex64;
use realfft::RealFftPlanner;
use std::f64::consts::{FRAC_1_SQRT_2, SQRT_2, TAU};

/// Sizes whose lines come from a table.
const TABLES: usize = 2;

/// Instants of a quarter period of the tabled sizes, for odd laws.
const QUARTERS: [usize; TABLES] = [12, 36];

/// Rounding of the sums, relative to what is summed.
const ROUNDING: f64 = 1e-15;

/// Buffers and tables of the direct road.
#[derive(Default)]
pub struct Direct {
    seen: Seen,
    /// `cos(2 pi h n / N)` of each tabled size, row by row over the half period, weights included
    tables: Vec<Vec<f64>>,
    cosines: Vec<Vec<f64>>,
    /// the same for odd laws over a quarter period: odd lines only, instants `(2k + 1)/(4 M)` of a quarter
    odd_tables: Vec<Vec<f64>>,
    odd_cosines: Vec<Vec<f64>>,
    placed: Vec<Placed>,
    voltage_v: Vec<f64>,
    emf: Vec<f64>,
    /// lines of the film's own EMF, V
    pub lines: Vec<f64>,
}

/// What the direct road found; the lines are in [`Direct::lines`].
#[derive(Debug, Clone, Copy)]
pub struct Road {
    /// the film
    pub film: Placed,
    /// samples of the whole period
    pub samples: usize,
    /// load voltage per EMF of the source, films at zero voltage
    pub output: f64,
    /// load voltage per EMF of the film
    pub reach: f64,
    /// bound of the error of the film's EMF, V rms
    pub error: f64,
    /// whether that is small against its harmonics
    pub converged: bool,
    /// chords of the contact over the period, ohm
    pub chord_ohm: (f64, f64),
    /// largest film voltage, V peak
    pub film_peak_v: f64,
}

impl Direct {
    /// The answer, where this road is open: one section without reactances, one film, no direct current.
    pub fn solve(
        &mut self,
        network: &Network,
        tone: (f64, f64),
        film_ohm: &[f64],
        planner: &mut RealFftPlanner<f64>,
    ) -> Option<Answer> {
        let road = self.run(network, tone, film_ohm, planner)?;
        let link = network.links.first()?;
        let (hz, emf_v) = tone;
        let mut answer = Answer { samples: road.samples, converged: road.converged, ..Answer::default() };
        let mut gain = 0.0f64;
        for (line, &made) in self.lines.iter().enumerate() {
            let at = line as f64 * hz;
            let shape = stages_at(link, at);
            let fed = if line == 1 { road.output * emf_v * FRAC_1_SQRT_2 } else { 0.0 };
            answer.output.push(shape * (fed + road.reach * made));
            answer.frequency_hz.push(at);
            answer.orders.push((line as i32, 0));
            gain = if line > 0 { gain.max(shape.norm()) } else { gain };
        }
        answer.error_v = road.error * road.reach.abs() * gain;
        answer.chord_ohm = channel_chords(network, film_ohm);
        answer.chord_ohm[road.film.contact] = road.chord_ohm;
        answer.film_peak_v = vec![0.0; network.contacts.len()];
        answer.film_peak_v[road.film.contact] = road.film_peak_v;
        Some(answer)
    }

    /// The film's own EMF, line by line, where this road is open; nothing is allocated once the buffers are warm but the
    /// resistances of the contacts.
    pub fn run(
        &mut self,
        network: &Network,
        (hz, emf_v): (f64, f64),
        film_ohm: &[f64],
        planner: &mut RealFftPlanner<f64>,
    ) -> Option<Road> {
        let [link] = &network.links[..] else { return None };
        if !link.ladder.is_resistive() {
            return None;
        }
        self.placed.clear();
        self.placed.extend(placed(network, &link.ladder, film_ohm));
        let [film] = self.placed[..] else { return None };
        if network.contacts[film.contact].direct_current_a != 0.0 {
            return None;
        }
        self.seen.fill(&link.ladder, &self.placed, &channel_ohm(network, &self.placed, film_ohm), &[hz]);
        let (output, reach) = (self.seen.output[0].re, self.seen.reach[0].re);
        let rest_ohm = self.seen.rest[0].re;
        let loaded = Loaded::new(&film.film, rest_ohm)?;
        // open voltage of the film's branch, peak
        let open_v = SQRT_2 * emf_v * self.seen.drive[0].re * (rest_ohm + film.reference_ohm);
        let film = Placed { wave_ohm: rest_ohm, loaded, ..film };
        for (level, &samples) in ONE_TONE.iter().enumerate() {
            let samples = if loaded.is_odd() && level < TABLES {
                self.quarter(&loaded, open_v, level)
            } else {
                self.sample(&loaded, open_v, level, samples);
                self.spectrum(level, samples, planner);
                samples
            };
            let last = level + 1 == ONE_TONE.len();
            let power = |from: usize| 2.0 * self.lines[from..].iter().map(|c| c * c).sum::<f64>();
            let (outer, residue) = (power(3 * samples / 8 + 1), power(2));
            let error = 2.0 * outer.sqrt() + ROUNDING * power(1).sqrt();
            if error <= ENOUGH * residue.sqrt() || last {
                // crest and trough are not among the instants of every grid
                let crest = loaded.film_voltage_v(open_v, self.voltage_v[0]);
                let trough = if loaded.is_odd() { -crest } else { loaded.film_voltage_v(-open_v, -crest) };
                return Some(Road {
                    samples,
                    output,
                    reach,
                    error,
                    converged: error <= CONVERGED * residue.sqrt(),
                    chord_ohm: chords(&film, &[crest, trough], network),
                    film_peak_v: crest.abs().max(trough.abs()),
                    film,
                });
            }
        }
        None
    }

    /// An odd law over a quarter of the period: lines 0 to twice the instants, the even ones zero; returns the samples of
    /// a whole period that this is worth.
    fn quarter(&mut self, loaded: &Loaded, open_v: f64, level: usize) -> usize {
        while self.odd_tables.len() <= level {
            let count = QUARTERS[self.odd_tables.len()];
            let angle = |h: usize, k: usize| TAU * (h * (2 * k + 1) % (8 * count)) as f64 / (8 * count) as f64;
            let row = |h: usize| (0..count).map(move |k| angle(2 * h + 1, k).cos() / count as f64);
            self.odd_tables.push((0..count).flat_map(row).collect());
            self.odd_cosines.push((0..count).map(|k| angle(1, k).cos()).collect());
        }
        let Self { odd_tables, odd_cosines, voltage_v, emf, lines, .. } = self;
        voltage_v.clear();
        emf.clear();
        let sign = if open_v < 0.0 { -1.0 } else { 1.0 };
        let across = odd_cosines[level].iter().map(|cosine| open_v.abs() * cosine);
        loaded.standings_downhill(across, |standing| {
            voltage_v.push(sign * standing.voltage_v);
            emf.push(sign * standing.excess_v);
        });
        lines.clear();
        for row in odd_tables[level].chunks_exact(emf.len()) {
            lines.extend([0.0, row.iter().zip(emf.iter()).map(|(c, e)| c * e).sum::<f64>()]);
        }
        4 * emf.len()
    }

    /// Film voltages and EMFs over half a period.
    fn sample(&mut self, loaded: &Loaded, open_v: f64, level: usize, samples: usize) {
        let half = samples / 2 + 1;
        while self.cosines.len() <= level {
            let n = ONE_TONE[self.cosines.len()];
            self.cosines.push((0..=n / 2).map(|k| (TAU * k as f64 / n as f64).cos()).collect());
        }
        self.voltage_v.clear();
        self.emf.clear();
        let mut u = open_v / (1.0 + loaded.front());
        for cosine in &self.cosines[level][..half] {
            u = loaded.film_voltage_v(open_v * cosine, u);
            self.voltage_v.push(u);
            self.emf.push(loaded.standing(u).excess_v);
        }
    }

    fn spectrum(&mut self, level: usize, samples: usize, planner: &mut RealFftPlanner<f64>) {
        let half = samples / 2 + 1;
        self.lines.clear();
        if level >= TABLES {
            let mut grid = Grid::one_tone(1.0, samples, planner);
            let mut whole: Vec<f64> = (0..samples).map(|n| self.emf[n.min(samples - n)]).collect();
            let mut lines = vec![Complex64::default(); half];
            grid.spectrum(&mut whole, &mut lines);
            self.lines.extend(lines.iter().map(|line| line.re));
            return;
        }
        while self.tables.len() <= level {
            let n = ONE_TONE[self.tables.len()];
            let entry = |h: usize, k: usize| {
                let twice = if k == 0 { 1.0 } else { 2.0 };
                twice * (TAU * ((h * k) % n) as f64 / n as f64).cos() / n as f64
            };
            self.tables.push((0..=n / 2).flat_map(|h| (0..=n / 2).map(move |k| entry(h, k))).collect());
        }
        let rows = self.tables[level].chunks_exact(half);
        self.lines.extend(rows.map(|row| row.iter().zip(&self.emf).map(|(c, e)| c * e).sum::<f64>()));
    }
}

/// Chords of contacts without a law.
pub fn channel_chords(network: &Network, film_ohm: &[f64]) -> Vec<(f64, f64)> {
    let whole = |(c, &r): (&crate::circuit::Contact, &f64)| (r + c.constriction_ohm, r + c.constriction_ohm);
    network.contacts.iter().zip(film_ohm).map(whole).collect()
}

#[cfg(test)]
mod tests {
    use super::super::solve::{Solver, Tones};
    use super::*;
    use crate::circuit::{Contact, Lead, Load, PathItem, Section, Source};
    use crate::physics::Film;
    use proptest::prelude::*;

    #[test]
    fn instants_of_a_quarter_are_told_as_those_of_a_whole_period() {
        let film = Film::Tunnelling { resistance_ohm: 50.0, scale_v: 0.2 };
        let section = |emf_v: f64| Section {
            name: "s".into(),
            source: Some(Source { emf_v, resistance_ohm: 300.0, inductance_h: 0.0 }),
            path: vec![PathItem::Contact(Contact { film, ..Contact::ohmic("k", 1.0) })],
            load: Load::resistance(700.0),
        };
        // next to straight: the fewest do; strongly bent: more
        for (emf_v, count) in [(1e-3, QUARTERS[0]), (5.0, QUARTERS[1])] {
            let network = Network::from_section(&section(emf_v)).unwrap();
            let road = Direct::default().run(&network, (1e3, emf_v), &[50.0], &mut RealFftPlanner::new()).unwrap();
            assert_eq!(road.samples, 4 * count);
        }
    }

    proptest! {
        #[test]
        fn the_direct_road_and_the_long_one_agree(log_r in -3.0f64..6.0, log_z in 0.0f64..5.0, emf_v in 1e-4f64..2.0, which in 0usize..3) {
            let (r, z) = (10f64.powf(log_r), 10f64.powf(log_z));
            let film = [Film::Tunnelling { resistance_ohm: r, scale_v: 0.2 }, Film::Bridged { resistance_ohm: r },
                        Film::Rectifying { resistance_ohm: r, ideality: 1.5, leak_ratio: 0.1 }][which];
            let section = |farad: f64| Section {
                name: "s".into(),
                source: Some(Source { emf_v, resistance_ohm: 0.3 * z, inductance_h: 0.0 }),
                path: vec![PathItem::Contact(Contact { film, constriction_ohm: 0.01 * z, ..Contact::ohmic("k", 1.0) }),
                           PathItem::Lead(Lead { capacitance_f: farad, ..Lead::default() })],
                load: Load::resistance(z),
            };
            let mut solver = Solver::default();
            let mut solve = |farad: f64| {
                let network = Network::from_section(&section(farad)).unwrap();
                solver.solve(&network, Tones::One((1e3, emf_v)), &[r])
            };
            // a capacitance too small to matter keeps the section off the direct road: 1e-22 F against 1e-5 S at the most
            let (direct, long) = (solve(0.0), solve(1e-22));
            let residue = |a: &Answer| a.output.iter().skip(2).map(|c| c.norm_sqr()).sum::<f64>().sqrt();
            prop_assert!(direct.rounds == 0 && direct.converged);
            prop_assert!((residue(&direct) / residue(&long) - 1.0).abs() < 1e-8, "{} {}", residue(&direct), residue(&long));
            prop_assert!((direct.output[1] / long.output[1] - 1.0).norm() < 1e-9);
            // the long one's chords are those of its samples, a few per mille short of the trough
            prop_assert!((direct.chord_ohm[0].1 / long.chord_ohm[0].1 - 1.0).abs() < 0.02);
            prop_assert!((direct.chord_ohm[0].0 / long.chord_ohm[0].0 - 1.0).abs() < 0.02);
        }
    }
}

#[cfg(test)]
mod few;
