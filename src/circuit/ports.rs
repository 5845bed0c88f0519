//! The network of one section seen from its contacts, computed once per frequency grid.
//!
//! With every contact perfect, at each frequency:
//!
//! * `drive[k]`: current through contact k per EMF, S
//! * `output`: load voltage per EMF
//! * `admittance[k][j]`: current through contact k per EMF put in series with contact j, S (reciprocal)
//! * `reach[k]`: load voltage per EMF put in series with contact k
//!
//! Contacts of impedance `Z` then carry `i = (1 + Y diag Z)^-1 drive E`, and the load sees `output E - sum reach_k Z_k i_k`.
//! In a ladder all of it follows from two walks, one from each end: no matrix is inverted until contacts are put in.
//!
//! A contact across the signal is the dual: perfect when open, it has a node admittance where the others have a loop
//! impedance, a voltage where they have a current. Its entries hold these duals: `drive` is the open contact's voltage per
//! EMF, `loop_impedance` the admittance of its node without it (S), `transfer_impedance` the load voltage per contact
//! voltage, `reach` the load voltage per current fed into its node (ohm). A contact in the shared return counts twice, as in
//! [`twoport`](super::twoport): its entries are those of one channel, both driven alike.

use super::twoport::{Ladder, Step};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// A section's network seen from its contacts on a grid of frequencies; arrays are contact-major: `[contact * points + point]`.
#[derive(Debug, Clone)]
pub struct Ports {
    /// the grid, Hz
    pub frequency_hz: Vec<f64>,
    /// number of contacts of the section
    pub contacts: usize,
    /// load voltage per EMF, one per point
    pub output: Vec<Complex64>,
    /// contact current per EMF, S
    pub drive: Vec<Complex64>,
    /// load voltage per EMF in series with the contact
    pub reach: Vec<Complex64>,
    /// impedance of the loop seen from the contact, ohm
    pub loop_impedance: Vec<Complex64>,
    /// load voltage per contact current, ohm
    pub transfer_impedance: Vec<Complex64>,
    /// current at each contact in the walk from the load, per load volt, S
    walk_current: Vec<Complex64>,
}

/// What a contact's resistance adds to the loop of one channel: twice its own in the shared return.
fn in_series(step: &Step, ohm: f64) -> f64 {
    if matches!(step, Step::Shared(_)) { 2.0 * ohm } else { ohm }
}

impl Ports {
    /// The ports of a ladder on a grid; `contact_ohm` (by number through the chain) holds resistances that are part
    /// of the network, zero for perfect contacts.
    #[must_use]
    pub fn new(ladder: &Ladder, frequency_hz: &[f64], contact_ohm: &[f64]) -> Self {
        let points = frequency_hz.len();
        let contacts = ladder.contacts().len();
        let first = ladder.contacts().start;
        let zero = Complex64::new(0.0, 0.0);
        let mut ports = Self {
            frequency_hz: frequency_hz.to_vec(),
            contacts,
            output: vec![zero; points],
            drive: vec![zero; points * contacts],
            reach: vec![zero; points * contacts],
            loop_impedance: vec![zero; points * contacts],
            transfer_impedance: vec![zero; points * contacts],
            walk_current: vec![zero; points * contacts],
        };
        for (point, &frequency) in frequency_hz.iter().enumerate() {
            let omega = TAU * frequency;
            // from the load: what each contact sees towards the load, and the current there per load volt
            let mut voltage = Complex64::new(1.0, 0.0);
            let mut current = ladder.load.admittance(frequency);
            for step in ladder.steps.iter().rev() {
                match *step {
                    Step::Series(ohm, henry) => {
                        voltage += Complex64::new(ohm, omega * henry) * current;
                    }
                    Step::Shunt(siemens, farad) => current += Complex64::new(siemens, omega * farad) * voltage,
                    Step::Contact(index) | Step::Shared(index) => {
                        let at = (index - first) * points + point;
                        let ohm = in_series(step, contact_ohm[index]);
                        ports.loop_impedance[at] = voltage / current + ohm;
                        ports.transfer_impedance[at] = current.inv();
                        ports.walk_current[at] = current;
                        voltage += current * ohm;
                    }
                    Step::Across(index) => {
                        let at = (index - first) * points + point;
                        let siemens = contact_ohm[index].recip();
                        ports.loop_impedance[at] = current / voltage + siemens;
                        ports.transfer_impedance[at] = voltage.inv();
                        ports.walk_current[at] = voltage;
                        current += voltage * siemens;
                    }
                }
            }
            let mut upstream = ladder.source_impedance(frequency);
            let emf = voltage + upstream * current;
            ports.output[point] = emf.inv();
            // from the source: what each contact sees towards the source
            for step in &ladder.steps {
                match *step {
                    Step::Series(ohm, henry) => upstream += Complex64::new(ohm, omega * henry),
                    Step::Shunt(siemens, farad) => {
                        upstream /= 1.0 + Complex64::new(siemens, omega * farad) * upstream;
                    }
                    Step::Contact(index) | Step::Shared(index) => {
                        let at = (index - first) * points + point;
                        ports.loop_impedance[at] += upstream;
                        upstream += in_series(step, contact_ohm[index]);
                        ports.drive[at] = ports.walk_current[at] / emf;
                        ports.reach[at] = (ports.loop_impedance[at] * ports.walk_current[at]).inv();
                    }
                    Step::Across(index) => {
                        let at = (index - first) * points + point;
                        ports.drive[at] = ports.walk_current[at] / emf;
                        if upstream == zero {
                            // an ideal source beside it: nothing that it does reaches the load
                            ports.loop_impedance[at] = Complex64::new(f64::INFINITY, 0.0);
                            continue;
                        }
                        ports.loop_impedance[at] += upstream.inv();
                        ports.reach[at] = (ports.loop_impedance[at] * ports.walk_current[at]).inv();
                        upstream /= 1.0 + upstream / contact_ohm[index];
                    }
                }
            }
        }
        ports
    }

    /// Number of frequencies.
    #[must_use]
    pub fn points(&self) -> usize {
        self.frequency_hz.len()
    }

    /// Current through contact `k` per EMF in series with contact `j`, S, at a point of the grid; contacts in series only.
    #[must_use]
    pub fn admittance(&self, k: usize, j: usize, point: usize) -> Complex64 {
        let (near, far) = (k.min(j) * self.points() + point, k.max(j) * self.points() + point);
        // an EMF nearer the source drives 1/M there; what arrives further on is the ratio of the walk's currents
        self.walk_current[far] / self.walk_current[near] / self.loop_impedance[near]
    }

    /// Load voltage per EMF with impedances put into the contacts, at a point of the grid; contacts in series only.
    #[must_use]
    pub fn loaded_output(&self, impedance: &[Complex64], point: usize) -> Complex64 {
        let one = Complex64::new(1.0, 0.0);
        let matrix = DMatrix::from_fn(self.contacts, self.contacts, |k, j| {
            let through = self.admittance(k, j, point) * impedance[j];
            if k == j { one + through } else { through }
        });
        let drive = DVector::from_fn(self.contacts, |k, _| self.drive[k * self.points() + point]);
        let Some(current) = matrix.lu().solve(&drive) else {
            return Complex64::new(f64::NAN, f64::NAN);
        };
        let lost: Complex64 =
            (0..self.contacts).map(|k| self.reach[k * self.points() + point] * impedance[k] * current[k]).sum();
        self.output[point] - lost
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::chain::Network;
    use crate::circuit::{Contact, Lead, Load, PathItem, Section, Source};
    use proptest::prelude::*;

    prop_compose! {
        fn sections()(emf_v in 0.001f64..10.0, source in 0.1f64..5e3, henry in 0.0f64..0.7, load in 4.0f64..1e5,
                      leads in prop::collection::vec((0.0f64..500.0, 0.0f64..1e-3, 0.0f64..1e-9), 3),
                      ohms in prop::collection::vec(1e-3f64..1e5, 3)) -> (Section, Vec<f64>) {
            let mut path = Vec::new();
            for (index, &(resistance_ohm, inductance_h, capacitance_f)) in leads.iter().enumerate() {
                path.push(PathItem::Contact(Contact::ohmic(format!("c{index}"), ohms[index])));
                path.push(PathItem::Lead(Lead { resistance_ohm, inductance_h, capacitance_f }));
            }
            let section = Section { name: "s".into(), source: Some(Source { emf_v, resistance_ohm: source, inductance_h: henry }),
                path, load: Load { capacitance_f: 1e-10, ..Load::resistance(load) } };
            (section, ohms)
        }
    }

    proptest! {
        #[test]
        fn contacts_put_into_the_ports_give_the_ladder((section, ohms) in sections(), f in 10.0f64..4e4) {
            const ROUNDING: f64 = 1e-9;
            let network = Network::from_section(&section).unwrap();
            let ladder = &network.links[0].ladder;
            let ports = Ports::new(ladder, &[f], &[0.0; 3]);
            let impedance: Vec<_> = ohms.iter().map(|&r| Complex64::new(r, 0.0)).collect();
            let through_ports = ports.loaded_output(&impedance, 0);
            let plain = ladder.transfer(f, &ohms);
            prop_assert!((through_ports - plain).norm() <= ROUNDING * plain.norm(), "{through_ports} {plain}");
        }

        #[test]
        fn loop_impedance_is_emf_over_current((section, ohms) in sections(), f in 10.0f64..4e4) {
            // with the other contacts in the network, a resistance r in contact 1 cuts the output by M/(M + r)
            let network = Network::from_section(&section).unwrap();
            let ladder = &network.links[0].ladder;
            let others = [ohms[0], 0.0, ohms[2]];
            let ports = Ports::new(ladder, &[f], &others);
            let m = ports.loop_impedance[1];
            let expected = ladder.transfer(f, &others) * m / (m + ohms[1]);
            let plain = ladder.transfer(f, &ohms);
            prop_assert!((expected - plain).norm() <= 1e-9 * plain.norm());
        }
    }
}
