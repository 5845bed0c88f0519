//! A section as a ladder of series and shunt elements, walked from its load to its source.
//!
//! With one volt at the load, every voltage and current up to the source follows by adding: a series impedance adds
//! `Z I` to the voltage, a shunt admittance adds `Y V` to the current. What is left at the source is the EMF, so the
//! transfer is its inverse. This is the chain matrix of the section (column for an open port), common textbook practice.

use super::{PathItem, Section, Source};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::Range;

/// One element of a ladder, in the order from source to load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// series `resistance + j omega inductance`: ohm, H
    Series(f64, f64),
    /// capacitance to the return, F
    Shunt(f64),
    /// contact by its number in the chain
    Contact(usize),
}

/// A section made ready: source impedance, steps, load.
#[derive(Debug, Clone)]
pub struct Ladder {
    /// series resistance of the source, ohm
    pub source_ohm: f64,
    /// series inductance of the source, H
    pub source_h: f64,
    /// path, source to load
    pub steps: Vec<Step>,
    /// load resistance, ohm
    pub load_ohm: f64,
    /// capacitance across the load, F
    pub load_f: f64,
    contacts: Range<usize>,
}

impl Ladder {
    /// The ladder of a section; its first contact gets number `first_contact`.
    #[must_use]
    pub fn new(section: &Section, source: &Source, first_contact: usize) -> Self {
        let mut steps = Vec::with_capacity(2 * section.path.len());
        let mut next = first_contact;
        for item in &section.path {
            match item {
                PathItem::Contact(_) => {
                    steps.push(Step::Contact(next));
                    next += 1;
                }
                PathItem::Lead(lead) => {
                    if lead.resistance_ohm != 0.0 || lead.inductance_h != 0.0 {
                        steps.push(Step::Series(lead.resistance_ohm, lead.inductance_h));
                    }
                    if lead.capacitance_f != 0.0 {
                        steps.push(Step::Shunt(lead.capacitance_f));
                    }
                }
            }
        }
        Self {
            source_ohm: source.resistance_ohm,
            source_h: source.inductance_h,
            steps,
            load_ohm: section.load.resistance_ohm,
            load_f: section.load.capacitance_f,
            contacts: first_contact..next,
        }
    }

    /// Numbers of the contacts of this section.
    #[must_use]
    pub fn contacts(&self) -> Range<usize> {
        self.contacts.clone()
    }

    /// Contacts in groups that share one loop: no capacitance to the return stands between them.
    #[must_use]
    pub fn loops(&self) -> Vec<Vec<usize>> {
        let mut groups = vec![Vec::new()];
        for step in &self.steps {
            match (step, groups.last_mut()) {
                (Step::Contact(index), Some(group)) => group.push(*index),
                (Step::Shunt(_), Some(group)) if !group.is_empty() => groups.push(Vec::new()),
                _ => {}
            }
        }
        groups.retain(|group| !group.is_empty());
        groups
    }

    /// Whether nothing in the section depends on frequency.
    #[must_use]
    pub fn is_resistive(&self) -> bool {
        self.source_h == 0.0
            && self.load_f == 0.0
            && self.steps.iter().all(|step| match step {
                Step::Series(_, inductance) => *inductance == 0.0,
                Step::Shunt(_) => false,
                Step::Contact(_) => true,
            })
    }

    /// Impedance of the source at a frequency, ohm.
    #[must_use]
    pub fn source_impedance(&self, frequency_hz: f64) -> Complex64 {
        Complex64::new(self.source_ohm, TAU * frequency_hz * self.source_h)
    }

    /// Load voltage per EMF at a frequency, `contact_ohm` indexed by contact number through the chain.
    ///
    /// The plain version of the array kernel in [`crate::response::linear`], kept beside it as its check.
    #[must_use]
    pub fn transfer(&self, frequency_hz: f64, contact_ohm: &[f64]) -> Complex64 {
        let omega = TAU * frequency_hz;
        let mut voltage = Complex64::new(1.0, 0.0);
        let mut current = Complex64::new(1.0 / self.load_ohm, omega * self.load_f);
        for step in self.steps.iter().rev() {
            match *step {
                Step::Series(ohm, henry) => voltage += Complex64::new(ohm, omega * henry) * current,
                Step::Shunt(farad) => current += Complex64::new(0.0, omega * farad) * voltage,
                Step::Contact(index) => voltage += current * contact_ohm[index],
            }
        }
        (voltage + self.source_impedance(frequency_hz) * current).inv()
    }
}
