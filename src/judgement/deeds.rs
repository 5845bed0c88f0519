//! What one contact does on one route at one level, as tables over its resistance and its film, so that a draw costs a look-up.
//!
//! At each node the film is solved in a loop of the magnitude of its impedance at 1 kHz ([`crate::response::steady`], the direct
//! road): exact where the section has no reactances. With reactances each harmonic is then shaped as a weak film's would be, by
//! the loop's impedance and the transfer to the load at its own frequency. Harmonics go on through what follows. All other
//! contacts are perfect. Between nodes logarithms are interpolated straight. The errors of both are measured by a test
//! ([`TABLE_ERROR`]). Loss without a film is exact.

use super::priors::Priors;
use crate::circuit::Role;
use crate::circuit::chain::{Link, Network};
use crate::circuit::ports::Ports;
use crate::physics::Film;
use crate::physics::constants::THERMAL_VOLTAGE_V;
use crate::response::distortion_many::{Asked, distortion_many};
use crate::response::resistive_loop;
use crate::response::sweep::Values;
use crate::watch::Unwatched;
use num_complex::Complex64;
use std::f64::consts::SQRT_2;

/// Largest relative error of a residue from a table that the test allows, where the residue is above a millionth: a line input
/// and a moving-magnet input, a loudspeaker as a resistance and one in a box.
pub const TABLE_ERROR: [f64; 4] = [0.15, 0.5, 0.4, 0.5];

const TONE_HZ: f64 = 1000.0;
const HARMONICS: usize = 10;
const OHM_NODES: usize = 18;
const SCALE_NODES: usize = 8;
const IDEALITY_NODES: usize = 3;
const LEAK_NODES: usize = 9;
/// A leak above it is a plain resistance.
const MOST_LEAK: f64 = 0.999;
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

/// A leak on a scale that is even at both ends: logarithm of leak over diode.
fn evened(leak: f64) -> f64 {
    (leak / (1.0 - leak)).ln()
}

fn leak_of(evened: f64) -> f64 {
    1.0 / (1.0 + (-evened).exp())
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
        let tones: Vec<f64> = (1..=HARMONICS).map(|h| h as f64 * TONE_HZ).collect();
        let ports = Ports::new(&link.ladder, &tones, &perfect);
        let k = index - link.ladder.contacts().start;
        let seen = |point: usize| {
            let z = ports.loop_impedance[HARMONICS * k + point];
            match role {
                Role::Shunt => z.inv(),
                Role::SharedReturn => 0.5 * z,
                _ => z,
            }
        };
        let (loop_ohm, treble_ohm) = (seen(0), seen(HARMONICS - 1));
        let drive = emf_v * ports.drive[HARMONICS * k].norm();
        let open_v = match role {
            Role::Shunt => drive,
            _ => drive * ports.loop_impedance[HARMONICS * k].norm(),
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
            leak: Axis::new(evened(priors.leak_from), evened(priors.leak_to.min(MOST_LEAK)), LEAK_NODES),
            tunnelling: Vec::new(),
            rectifying: Vec::new(),
            bridged: Vec::new(),
        };
        if !across {
            deeds.solve(network, index, section, &ports);
        }
        deeds
    }

    /// Range of a bad contact's resistance here, ohm.
    #[must_use]
    pub fn bad_ohm(&self) -> (f64, f64) {
        (self.ohm.low.exp(), self.ohm.node(self.ohm.count - 1).exp())
    }

    fn solve(&mut self, network: &Network, index: usize, section: usize, ports: &Ports) {
        let perfect = network.perfect_ohm();
        let next = &network.links[section];
        let stages = |hz: f64| next.stages.iter().map(|stage| stage.transfer(hz).norm()).product::<f64>();
        let rest = &network.links[section + 1..];
        let gain = |h: usize| stages(h as f64 * TONE_HZ) * after(rest, &perfect, h as f64 * TONE_HZ).norm();
        let points = ports.points();
        let k = index - network.links[section].ladder.contacts().start;
        let at = |h: usize| k * points + h - 1;
        let shape: Vec<(f64, Complex64)> = (1..=HARMONICS)
            .map(|h| (gain(h) * ports.transfer_impedance[at(h)].norm(), ports.loop_impedance[at(h)]))
            .collect();
        let size = self.loop_ohm.norm();
        let Some(mut alone) = resistive_loop::network(Film::Ohmic { resistance_ohm: 0.0 }, size) else { return };
        let emf_v = self.open_peak_v / SQRT_2;
        let nodes: Vec<f64> = (0..self.ohm.count).map(|k| self.ohm.node(k).exp()).collect();
        // of a law with its parameters, at every resistance: films side by side
        let mut column = |film: Film| -> Vec<(f64, f64)> {
            alone.contacts[0].film = film;
            let ohm = [Values::Many(&nodes)];
            let asked = Asked {
                frequency_hz: Values::One(TONE_HZ),
                emf_v: Values::One(emf_v),
                film_ohm: &ohm,
                harmonics: HARMONICS,
            };
            // nobody stops it
            let Ok(found) = distortion_many(&alone, asked, nodes.len(), &Unwatched) else {
                return vec![(LEAST_RESIDUE.ln(), 0.0); nodes.len()];
            };
            let one = |((ohm, harmonics), fundamental_db): ((&f64, &[Complex64]), &f64)| {
                let power: f64 = harmonics
                    .iter()
                    .zip(&shape[1..])
                    .map(|(h, (through, z))| {
                        (h.norm() * through / shape[0].0 * (size + ohm) / (z + ohm).norm()).powi(2)
                    })
                    .sum();
                // what did not converge is a residue that the tables need no better than this
                let fundamental_db = if fundamental_db.is_finite() { *fundamental_db } else { 0.0 };
                (power.sqrt().max(LEAST_RESIDUE).ln(), fundamental_db)
            };
            nodes.iter().zip(found.harmonics.chunks_exact(HARMONICS)).zip(&found.fundamental_db).map(one).collect()
        };
        let resistance_ohm = 1.0;
        let scales = (0..self.scale.count).map(|s| self.scale.node(s).exp());
        let tunnelling: Vec<_> = scales.map(|scale_v| column(Film::Tunnelling { resistance_ohm, scale_v })).collect();
        let of_diodes = (0..self.ideality.count * self.leak.count).map(|number| {
            let (n, l) = (number / self.leak.count, number % self.leak.count);
            let (ideality, leak_ratio) = (self.ideality.node(n), leak_of(self.leak.node(l)));
            Film::Rectifying { resistance_ohm, ideality, leak_ratio }
        });
        let rectifying: Vec<_> = of_diodes.map(&mut column).collect();
        let bridged = column(Film::Bridged { resistance_ohm });
        // resistance after resistance, in each parameter after parameter
        let by_ohm = |columns: &[Vec<(f64, f64)>]| {
            (0..nodes.len()).flat_map(|k| columns.iter().map(move |column| column[k])).collect::<Vec<_>>()
        };
        self.tunnelling = by_ohm(&tunnelling);
        self.rectifying = by_ohm(&rectifying);
        self.bridged = bridged;
    }

    /// Share of the signal that passes a steady resistance, against a perfect contact.
    #[must_use]
    pub fn passes(&self, ohm: f64, treble: bool) -> Complex64 {
        let z = if treble { self.treble_ohm } else { self.loop_ohm };
        if self.across { (Complex64::from(1.0) + z / ohm.max(1e-12)).inv() } else { z / (z + ohm) }
    }

    /// Peak voltage across a contact of a resistance, V, from the share that no longer passes.
    #[must_use]
    pub fn across_v(&self, ohm: f64) -> f64 {
        self.open_peak_v * (1.0 - self.passes(ohm, false).norm())
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
                let (l, c) = self.leak.place(evened(leak_ratio.min(MOST_LEAK)));
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
    use crate::response::distortion::distortion;
    use crate::response::steady::solve::Solver;

    fn section(source: Source, capacitance_f: f64, load: Load) -> Network {
        let lead = Lead { capacitance_f, ..Lead::default() };
        let path = vec![PathItem::Lead(lead), PathItem::Contact(Contact::ohmic("k", 0.0))];
        Network::from_section(&Section { name: "s".into(), source: Some(source), path, load }).unwrap()
    }

    #[test]
    fn tables_are_the_solver_at_their_nodes() {
        let source = Source { emf_v: 0.5, resistance_ohm: 2200.0, inductance_h: 0.0 };
        let network = section(source, 0.0, Load::resistance(22e3));
        let deeds = Deeds::new(&network, 0, 0.5, &Priors::default());
        let (mut alone, mut solver) = (network, Solver::default());
        for k in [0, 7, 17] {
            let resistance_ohm = deeds.ohm.node(k).exp();
            for (s, n, l) in [(0, 0, 0), (3, 0, 4), (7, 2, 3)] {
                let (ideality, leak_ratio) = (deeds.ideality.node(n), leak_of(deeds.leak.node(l)));
                for film in [
                    Film::Tunnelling { resistance_ohm, scale_v: deeds.scale.node(s).exp() },
                    Film::Rectifying { resistance_ohm, ideality, leak_ratio },
                    Film::Bridged { resistance_ohm },
                ] {
                    alone.contacts[0].film = film;
                    let exact = distortion(&mut solver, &alone, (TONE_HZ, 0.5), &[resistance_ohm], HARMONICS);
                    let residue = exact.harmonics[..HARMONICS - 1].iter().map(Complex64::norm_sqr).sum::<f64>().sqrt();
                    let found = deeds.of(&film);
                    assert!(
                        (found.residue - residue).abs() < 1e-8 * residue + LEAST_RESIDUE,
                        "{film:?}: {found:?} {residue}"
                    );
                    let loss_db = deeds.loss_db(resistance_ohm) - exact.fundamental_db;
                    assert!((found.loss_db - loss_db).abs() < 1e-8, "{film:?}: {found:?} {loss_db}");
                }
            }
        }
    }

    #[test]
    fn tables_against_the_solver_between_their_nodes() {
        let source = |emf_v, resistance_ohm, inductance_h| Source { emf_v, resistance_ohm, inductance_h };
        let networks = [
            section(source(0.5, 2200.0, 0.0), 0.0, Load::resistance(22e3)),
            section(source(5e-3, 1000.0, 0.5), 150e-12, Load { capacitance_f: 100e-12, ..Load::resistance(47e3) }),
            section(source(2.83, 0.1, 0.0), 0.0, Load::resistance(8.0)),
            section(
                source(0.2, 0.1, 0.0),
                0.0,
                crate::circuit::typical::LOADS.iter().find(|l| l.0.contains("boxed")).unwrap().1,
            ),
        ];
        let priors = Priors::default();
        let mut stream = Stream::new(4, 0);
        let mut solver = Solver::default();
        for (network, worst_allowed) in networks.into_iter().zip(TABLE_ERROR) {
            let mut errors = Vec::new();
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
                    if error > 0.1 {
                        println!("{film:?} {:.3e} {:.3e}", found.residue, exact.thd_f);
                    }
                    errors.push(error);
                }
            }
            errors.sort_by(f64::total_cmp);
            let (median, worst) = (errors[errors.len() / 2], errors[errors.len() - 1]);
            println!("table error: median {median:.4}, worst {worst:.3} of {}", errors.len());
            assert!(errors.len() >= 15 && worst < worst_allowed, "{median} {worst}");
            // loss without a film is the circuit's own
            let ohm = stream.log_between(low, high);
            let exact = crate::response::linear::loss_db(&network, 1000.0, &[ohm]);
            assert!((deeds.loss_db(ohm) - exact).abs() < 1e-9 * (1.0 + exact));
        }
    }
}

#[cfg(test)]
mod staged;
