//! A section as a chain of loops and nodes, for instants in place of lines.
//!
//! The currents of the loops and the voltages of the nodes, `y`, obey, one row each, with time in periods,
//!
//! ```text
//! E y'_i + D y_i + f_i(y_i) + y_(i+1) - y_(i-1) = source_i
//! ```
//!
//! `E` inductance or capacitance, `D` resistance or conductance, `f` the films ([`Element`]). All passive parts are on the diagonal;
//! what joins neighbours neither stores nor loses.

use super::super::films::Placed;
use super::element::Element;
use crate::circuit::chain::Network;
use crate::circuit::twoport::{Ladder, Step};
use num_complex::Complex64;
use std::f64::consts::{SQRT_2, TAU};

/// A loop or a node.
#[derive(Debug, Clone)]
pub struct Part {
    /// inductance, H, or capacitance, F, over the period, s: ohm or S
    pub stored: f64,
    /// resistance, ohm, or conductance, S
    pub lost: f64,
    /// what its row is multiplied with to be in volts
    pub row: f64,
    /// the films
    pub element: Element,
}

/// The chain.
#[derive(Debug, Clone)]
pub struct Loops {
    /// loop, node, loop, ...
    pub parts: Vec<Part>,
    /// peak of the EMF in the first loop, V
    pub emf_peak_v: f64,
    /// part whose voltage or current makes the output
    pub output: usize,
    /// output per current, where the output is not a node: resistance, and inductance over the period, ohm; the next part's voltage adds
    pub output_ohm: Option<(f64, f64)>,
}

/// A part while it is collected.
#[derive(Default)]
struct Raw {
    is_node: bool,
    stored: f64,
    lost: f64,
    wave_ohm: f64,
    films: Vec<(crate::physics::Film, f64, usize)>,
}

#[derive(Default)]
struct Builder(Vec<Raw>);

impl Builder {
    fn add(&mut self, is_node: bool, stored: f64, lost: f64) -> &mut Raw {
        if self.0.last().is_none_or(|last| last.is_node != is_node) {
            self.0.push(Raw { is_node, ..Raw::default() });
        }
        let last = self.0.len() - 1;
        let raw = &mut self.0[last];
        raw.stored += stored;
        raw.lost += lost;
        raw
    }
}

impl Loops {
    /// The chain of a section; `placed` are its films, `whole_ohm` the resistances of all contacts as one channel sees them.
    pub fn new(
        network: &Network,
        ladder: &Ladder,
        placed: &[Placed],
        contact_ohm: &[f64],
        (frequency_hz, emf_v): (f64, f64),
    ) -> Option<Self> {
        let mut builder = Builder::default();
        builder.add(false, ladder.source_h * frequency_hz, ladder.source_ohm);
        let film = |index: usize| placed.iter().enumerate().find(|(_, film)| film.contact == index);
        let plain = |index: usize| contact_ohm[index] + network.contacts[index].constriction_ohm;
        for step in &ladder.steps {
            match *step {
                Step::Series(ohm, henry) if ohm == 0.0 && henry == 0.0 => {}
                Step::Series(ohm, henry) => {
                    builder.add(false, henry * frequency_hz, ohm);
                }
                Step::Shunt(siemens, farad) => {
                    builder.add(true, farad * frequency_hz, siemens);
                }
                Step::Contact(index) | Step::Shared(index) => match film(index) {
                    Some((number, film)) => {
                        let raw = builder.add(false, 0.0, film.constriction_ohm);
                        raw.films.push((film.film, 0.0, number));
                        raw.wave_ohm =
                            if raw.films.len() == 1 { film.wave_ohm } else { raw.wave_ohm.min(film.wave_ohm) };
                    }
                    None => {
                        let times = if matches!(step, Step::Shared(_)) { 2.0 } else { 1.0 };
                        builder.add(false, 0.0, times * plain(index));
                    }
                },
                Step::Across(index) => match film(index) {
                    Some((number, film)) => {
                        let raw = builder.add(true, 0.0, 0.0);
                        raw.films.push((film.film, film.constriction_ohm, number));
                        raw.wave_ohm = raw.wave_ohm.max(film.wave_ohm);
                    }
                    None => {
                        builder.add(true, 0.0, plain(index).recip());
                    }
                },
            }
        }
        let load = ladder.load;
        if load.capacitance_f > 0.0 || load.loudspeaker.is_none() {
            let siemens = if load.loudspeaker.is_none() { load.resistance_ohm.recip() } else { 0.0 };
            builder.add(true, load.capacitance_f * frequency_hz, siemens);
        }
        let ends_in_node = builder.0.last().is_some_and(|last| last.is_node);
        let mut output = builder.0.len() - 1;
        let mut output_ohm = None;
        if let Some(speaker) = load.loudspeaker {
            if !ends_in_node {
                output_ohm = Some((speaker.voice_coil_ohm, speaker.voice_coil_h * frequency_hz));
                output = builder.0.len() - 1;
            }
            builder.add(false, speaker.voice_coil_h * frequency_hz, speaker.voice_coil_ohm);
            let motional_ohm = speaker.voice_coil_ohm * speaker.mechanical_q / speaker.electrical_q;
            let turns = TAU * speaker.resonance_hz / frequency_hz;
            builder.add(true, speaker.mechanical_q / (turns * motional_ohm), motional_ohm.recip());
            builder.add(false, motional_ohm / (speaker.mechanical_q * turns), 0.0);
        }
        let mut parts = Vec::new();
        for raw in builder.0 {
            let own = (raw.lost * raw.lost + (TAU * raw.stored).powi(2)).sqrt();
            let own = if raw.is_node && own > 0.0 { own.recip() } else { own };
            let wave_ohm = if raw.films.is_empty() { own } else { raw.wave_ohm };
            if !(wave_ohm > 0.0 && wave_ohm.is_finite()) {
                return None;
            }
            let element = Element::new(raw.is_node, wave_ohm, &raw.films)?;
            let row = if raw.is_node { wave_ohm } else { 1.0 };
            parts.push(Part { stored: raw.stored, lost: raw.lost, row, element });
        }
        Some(Self { parts, emf_peak_v: SQRT_2 * emf_v, output, output_ohm })
    }

    /// Output per `y` of the parts that make it, at a harmonic: of the output part, and of the one after it.
    pub fn output_row(&self, harmonic: f64) -> (Complex64, Complex64) {
        match self.output_ohm {
            None => (Complex64::new(1.0, 0.0), Complex64::default()),
            Some((ohm, stored)) => (Complex64::new(ohm, TAU * harmonic * stored), Complex64::new(1.0, 0.0)),
        }
    }

    /// What a part's row says of its neighbours.
    #[inline]
    pub fn neighbours(&self, y: impl Fn(usize) -> f64, i: usize) -> f64 {
        let next = if i + 1 < self.parts.len() { y(i + 1) } else { 0.0 };
        let before = if i > 0 { y(i - 1) } else { 0.0 };
        next - before
    }

    /// EMF of the first loop at an instant, in periods.
    #[inline]
    pub fn source_v(&self, i: usize, period: f64) -> f64 {
        if i == 0 { self.emf_peak_v * (TAU * period).cos() } else { 0.0 }
    }
}
