//! What one contact does on one route at one level, as tables over its resistance and its film, so that a draw costs a look-up.
//!
//! The contact's own section is solved with its film at each node ([`crate::response::steady`]); its harmonics go on through
//! what follows. All other contacts are perfect. Between nodes logarithms are interpolated straight; the error that this leaves
//! is measured by a test ([`TABLE_ERROR`]). Loss without a film is exact.

use super::priors::Priors;
use crate::circuit::Role;
use crate::circuit::chain::{Link, Network};
use crate::circuit::ports::Ports;
use crate::physics::Film;
use crate::physics::constants::THERMAL_VOLTAGE_V;
use crate::response::distortion::distortion;
use crate::response::steady::solve::Solver;
use num_complex::Complex64;
use std::f64::consts::SQRT_2;

/// Largest relative error of a residue from a table that the test allows, where the residue is above a millionth.
pub const TABLE_ERROR: f64 = 0.15;

const TONE_HZ: f64 = 1000.0;
const TREBLE_HZ: f64 = 10_000.0;
const HARMONICS: usize = 10;
const OHM_NODES: usize = 18;
const SCALE_NODES: usize = 8;
const IDEALITY_NODES: usize = 3;
const LEAK_NODES: usize = 5;
/// Residue below which a table says nothing more.
const LEAST_RESIDUE: f64 = 1e-12;

/// Evenly spaced nodes.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Axis {
    low: f64,
    step: f64,
    count: usize,
}

impl Axis {
    fn new(low: f64, high: f64, count: usize) -> Self {
        let count = if high > low { count } else { 1 };
        Self { low, step: if count > 1 { (high - low) / (count - 1) as f64 } else { 1.0 }, count }
    }

    fn node(&self, k: usize) -> f64 {
        self.low + self.step * k as f64
    }

    /// The node below and the share of the way to the next; ends are held.
    fn place(&self, x: f64) -> (usize, f64) {
        if self.count < 2 {
            return (0, 0.0);
        }
        let at = ((x - self.low) / self.step).clamp(0.0, (self.count - 1) as f64);
        let k = (at as usize).min(self.count - 2);
        (k, at - k as f64)
    }
}

/// What comes out: residue over the tone, loss at 1 kHz.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Predicted {
    /// harmonics at the output over the tone
    pub residue: f64,
    /// loss at 1 kHz, dB
    pub loss_db: f64,
}

/// Tables of one contact on one route.
#[derive(Debug, Clone)]
pub struct Deeds {
    /// peak voltage across the contact when it is open, V
    pub open_peak_v: f64,
    /// impedance of its loop at 1 kHz, ohm; of its node where it stands across the signal
    pub loop_ohm: Complex64,
    treble_ohm: Complex64,
    /// whether it stands across the signal
    pub across: bool,
    ohm: Axis,
    scale: Axis,
    ideality: Axis,
    leak: Axis,
    /// ln residue and what the film takes off the loss, dB, node by node
    tunnelling: Vec<(f64, f64)>,
    rectifying: Vec<(f64, f64)>,
    bridged: Vec<(f64, f64)>,
}

/// Gain of what follows a section.
fn after(links: &[Link], perfect: &[f64], hz: f64) -> Complex64 {
    let one = |link: &Link| {
        let stages: Complex64 = link.stages.iter().map(|stage| stage.transfer(hz)).product();
        link.ladder.transfer(hz, perfect) * stages
    };
    links.iter().map(one).product()
}

impl Deeds {
    /// Solves the tables of contact `index` for an EMF of its own section, V rms.
    #[must_use]
    pub fn new(network: &Network, index: usize, emf_v: f64, priors: &Priors) -> Self {
        let section = network.section_of(index);
        let link = &network.links[section];
        let perfect = network.perfect_ohm();
        let role = network.contacts[index].role;
        let ports = Ports::new(&link.ladder, &[TONE_HZ, TREBLE_HZ], &perfect);
        let k = index - link.ladder.contacts().start;
        let seen = |point: usize| {
            let z = ports.loop_impedance[2 * k + point];
            match role {
                Role::Shunt => z.inv(),
                Role::SharedReturn => 0.5 * z,
                _ => z,
            }
        };
        let (loop_ohm, treble_ohm) = (seen(0), seen(1));
        let drive = emf_v * ports.drive[2 * k].norm();
        let open_v = match role {
            Role::Shunt => drive,
            _ => drive * ports.loop_impedance[2 * k].norm(),
        };
        let size = loop_ohm.norm().max(1e-6);
        let across = role == Role::Shunt;
        let range = if across {
            (size / priors.bad_to, size / priors.bad_from)
        } else {
            (size * priors.bad_from, size * priors.bad_to)
        };
        let mut deeds = Self {
            open_peak_v: SQRT_2 * open_v,
            loop_ohm,
            treble_ohm,
            across,
            ohm: Axis::new(range.0.ln(), range.1.ln(), OHM_NODES),
            scale: Axis::new(THERMAL_VOLTAGE_V.ln(), 3f64.ln(), SCALE_NODES),
            ideality: Axis::new(priors.ideality_from, priors.ideality_to, IDEALITY_NODES),
            leak: Axis::new(priors.leak_from.ln(), priors.leak_to.min(0.999).ln(), LEAK_NODES),
            tunnelling: Vec::new(),
            rectifying: Vec::new(),
            bridged: Vec::new(),
        };
        if !across {
            deeds.solve(network, index, section, emf_v);
        }
        deeds
    }

    /// Range of a bad contact's resistance here, ohm.
    #[must_use]
    pub fn bad_ohm(&self) -> (f64, f64) {
        (self.ohm.low.exp(), self.ohm.node(self.ohm.count - 1).exp())
    }

    fn solve(&mut self, network: &Network, index: usize, section: usize, emf_v: f64) {
        let link = &network.links[section];
        let perfect = network.perfect_ohm();
        let mut alone = Network { links: vec![link.clone()], contacts: network.contacts.clone(), emf_v: network.emf_v };
        let next = &network.links[section + 1..];
        let gain: Vec<f64> = (1..=HARMONICS).map(|h| after(next, &perfect, h as f64 * TONE_HZ).norm()).collect();
        let mut solver = Solver::default();
        let mut ohms = perfect;
        let mut one = |film: Film| {
            alone.contacts[index].film = film;
            ohms[index] = film.resistance_ohm();
            let found = distortion(&mut solver, &alone, (TONE_HZ, emf_v), &ohms, HARMONICS);
            let power: f64 =
                found.harmonics.iter().zip(&gain[1..]).map(|(h, g)| (h.norm() * g / gain[0]).powi(2)).sum();
            // what did not converge is a residue that the tables need no better than this
            (
                power.sqrt().max(LEAST_RESIDUE).ln(),
                if found.fundamental_db.is_finite() { found.fundamental_db } else { 0.0 },
            )
        };
        for k in 0..self.ohm.count {
            let resistance_ohm = self.ohm.node(k).exp();
            for s in 0..self.scale.count {
                let scale_v = self.scale.node(s).exp();
                self.tunnelling.push(one(Film::Tunnelling { resistance_ohm, scale_v }));
            }
            for n in 0..self.ideality.count {
                for l in 0..self.leak.count {
                    let (ideality, leak_ratio) = (self.ideality.node(n), self.leak.node(l).exp());
                    self.rectifying.push(one(Film::Rectifying { resistance_ohm, ideality, leak_ratio }));
                }
            }
            self.bridged.push(one(Film::Bridged { resistance_ohm }));
        }
    }

    /// Share of the signal that passes a steady resistance, against a perfect contact.
    #[must_use]
    pub fn passes(&self, ohm: f64, treble: bool) -> Complex64 {
        let z = if treble { self.treble_ohm } else { self.loop_ohm };
        if self.across { (Complex64::from(1.0) + z / ohm.max(1e-12)).inv() } else { z / (z + ohm) }
    }

    /// Loss of a steady resistance at 1 kHz, dB.
    #[must_use]
    pub fn loss_db(&self, ohm: f64) -> f64 {
        -20.0 * self.passes(ohm, false).norm().max(1e-15).log10()
    }

    /// How much more it takes from the treble than from 1 kHz, dB.
    #[must_use]
    pub fn dull_db(&self, ohm: f64) -> f64 {
        -20.0 * self.passes(ohm, true).norm().max(1e-15).log10() - self.loss_db(ohm)
    }

    /// Resistance that a steady loss speaks of, ohm: what a reading taken with the signal itself would show.
    #[must_use]
    pub fn ohm_of_loss(&self, loss_db: f64) -> f64 {
        let z = self.loop_ohm.norm();
        let more = (10f64.powf(loss_db.max(0.0) / 20.0) - 1.0).max(1e-12);
        if self.across { z / more } else { z * more }
    }

    /// What a film does.
    #[must_use]
    pub fn of(&self, film: &Film) -> Predicted {
        let ohm = film.resistance_ohm();
        let plain = Predicted { residue: 0.0, loss_db: self.loss_db(ohm) };
        if self.across || self.bridged.is_empty() {
            return plain;
        }
        let (k, a) = self.ohm.place(ohm.ln());
        let mix = |x: (f64, f64), y: (f64, f64), t: f64| (x.0 + t * (y.0 - x.0), x.1 + t * (y.1 - x.1));
        let found = match *film {
            Film::Ohmic { .. } => return plain,
            Film::Bridged { .. } => mix(self.bridged[k], self.bridged[k + 1], a),
            Film::Tunnelling { scale_v, .. } => {
                let (s, b) = self.scale.place(scale_v.ln());
                let row = |k: usize| {
                    let at = k * self.scale.count + s;
                    mix(self.tunnelling[at], self.tunnelling[at + 1], b)
                };
                mix(row(k), row(k + 1), a)
            }
            Film::Rectifying { ideality, leak_ratio, .. } => {
                let (n, b) = self.ideality.place(ideality);
                let (l, c) = self.leak.place(leak_ratio.ln());
                let leaks = self.leak.count;
                let line = |k: usize, n: usize| {
                    let at = (k * self.ideality.count + n.min(self.ideality.count - 1)) * leaks;
                    mix(self.rectifying[at + l], self.rectifying[at + (l + 1).min(leaks - 1)], c)
                };
                let row = |k: usize| mix(line(k, n), line(k, n + 1), b);
                mix(row(k), row(k + 1), a)
            }
        };
        Predicted { residue: found.0.exp(), loss_db: plain.loss_db - found.1 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Contact, Lead, Load, PathItem, Section, Source};
    use crate::judgement::uncertainty::Stream;

    fn section(source: Source, capacitance_f: f64, load: Load) -> Network {
        let lead = Lead { capacitance_f, ..Lead::default() };
        let path = vec![PathItem::Lead(lead), PathItem::Contact(Contact::ohmic("k", 0.0))];
        Network::from_section(&Section { name: "s".into(), source: Some(source), path, load }).unwrap()
    }

    #[test]
    fn tables_against_the_solver_between_their_nodes() {
        let source = |emf_v, resistance_ohm, inductance_h| Source { emf_v, resistance_ohm, inductance_h };
        let networks = [
            section(source(0.5, 2200.0, 0.0), 0.0, Load::resistance(22e3)),
            section(source(5e-3, 1000.0, 0.5), 150e-12, Load { capacitance_f: 100e-12, ..Load::resistance(47e3) }),
            section(source(2.83, 0.1, 0.0), 0.0, Load::resistance(8.0)),
        ];
        let priors = Priors::default();
        let mut stream = Stream::new(4, 0);
        let mut solver = Solver::default();
        let mut worst = 0.0f64;
        let mut errors = Vec::new();
        for network in networks {
            let deeds = Deeds::new(&network, 0, network.emf_v, &priors);
            let (low, high) = deeds.bad_ohm();
            for k in 0..60 {
                let resistance_ohm = stream.log_between(low, high);
                let film = match k % 3 {
                    0 => Film::Tunnelling { resistance_ohm, scale_v: stream.log_between(0.03, 2.0) },
                    1 => Film::Rectifying {
                        resistance_ohm,
                        ideality: stream.between(1.0, 2.5),
                        leak_ratio: stream.log_between(0.01, 0.9),
                    },
                    _ => Film::Bridged { resistance_ohm },
                };
                let mut other = network.clone();
                other.contacts[0].film = film;
                let exact = distortion(&mut solver, &other, (1000.0, network.emf_v), &[resistance_ohm], 10);
                let found = deeds.of(&film);
                if exact.thd_f > 1e-6 {
                    let error = (found.residue / exact.thd_f - 1.0).abs();
                    errors.push(error);
                    worst = worst.max(error);
                }
            }
            // loss without a film is the circuit's own
            let ohm = stream.log_between(low, high);
            let exact = crate::response::linear::loss_db(&network, 1000.0, &[ohm]);
            assert!((deeds.loss_db(ohm) - exact).abs() < 1e-9 * (1.0 + exact));
        }
        errors.sort_by(f64::total_cmp);
        println!("table error: median {:.3}, worst {:.3} of {}", errors[errors.len() / 2], worst, errors.len());
        assert!(errors.len() > 60 && worst < TABLE_ERROR, "{worst}");
    }
}
