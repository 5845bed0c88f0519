//! A section as a ladder of series and shunt elements, walked from its load to its source.
//!
//! With one volt at the load, every voltage and current up to the source follows by adding: a series impedance adds
//! `Z I` to the voltage, a shunt admittance adds `Y V` to the current. What is left at the source is the EMF, so the
//! transfer is its inverse. This is the chain matrix of the section (column for an open port), common textbook practice.
//!
//! A contact in a return that two equal channels share counts twice when both are driven alike (each channel's current
//! runs through it) and not at all when they are driven oppositely. Everything else follows from these two modes: with one
//! channel driven, its own output is half their sum and the other's half their difference. Here the modes are written as
//! resistances: the ladder counts a shared contact twice, and the odd mode is the ladder with shared contacts at zero.

use super::{Contact, Load, PathItem, Role, Section, Source};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::ops::Range;

/// One element of a ladder, in the order from source to load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// series `resistance + j omega inductance`: ohm, H
    Series(f64, f64),
    /// `conductance + j omega capacitance` to the return: S, F
    Shunt(f64, f64),
    /// contact in series by its number in the chain
    Contact(usize),
    /// contact in the shared return by its number: counts twice
    Shared(usize),
    /// contact across the signal by its number
    Across(usize),
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
    /// what it ends in
    pub load: Load,
    contacts: Range<usize>,
}

impl Ladder {
    /// The ladder of a section; its first contact gets number `first_contact`.
    #[must_use]
    pub fn new(section: &Section, source: &Source, first_contact: usize) -> Self {
        let mut steps = Vec::with_capacity(2 * section.path.len());
        let mut next = first_contact;
        for item in &section.path {
            let mut place = |contact: &Contact| {
                next += 1;
                match contact.role {
                    Role::SharedReturn => Step::Shared(next - 1),
                    Role::Shunt => Step::Across(next - 1),
                    _ => Step::Contact(next - 1),
                }
            };
            match item {
                PathItem::Contact(contact) => steps.push(place(contact)),
                PathItem::Divider(divider) => {
                    if divider.above_ohm() != 0.0 {
                        steps.push(Step::Series(divider.above_ohm(), 0.0));
                    }
                    steps.push(Step::Shunt(divider.below_ohm().recip(), 0.0));
                    steps.extend(divider.wiper.as_ref().map(place));
                }
                PathItem::Lead(lead) => {
                    if lead.resistance_ohm != 0.0 || lead.inductance_h != 0.0 {
                        steps.push(Step::Series(lead.resistance_ohm, lead.inductance_h));
                    }
                    if lead.capacitance_f != 0.0 {
                        steps.push(Step::Shunt(0.0, lead.capacitance_f));
                    }
                }
            }
        }
        Self {
            source_ohm: source.resistance_ohm,
            source_h: source.inductance_h,
            steps,
            load: section.load,
            contacts: first_contact..next,
        }
    }

    /// Numbers of the contacts of this section.
    #[must_use]
    pub fn contacts(&self) -> Range<usize> {
        self.contacts.clone()
    }

    /// Contacts in series in groups that share one loop: nothing to the return stands between them.
    #[must_use]
    pub fn loops(&self) -> Vec<Vec<usize>> {
        let mut groups = vec![Vec::new()];
        for step in &self.steps {
            match (step, groups.last_mut()) {
                (Step::Contact(index), Some(group)) => group.push(*index),
                (Step::Shunt(..) | Step::Across(_), Some(group)) if !group.is_empty() => groups.push(Vec::new()),
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
            && self.load.is_resistive()
            && self.steps.iter().all(|step| match step {
                Step::Series(_, reactive) | Step::Shunt(_, reactive) => *reactive == 0.0,
                Step::Contact(_) | Step::Shared(_) | Step::Across(_) => true,
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
        let mut current = self.load.admittance(frequency_hz);
        for step in self.steps.iter().rev() {
            match *step {
                Step::Series(ohm, henry) => voltage += Complex64::new(ohm, omega * henry) * current,
                Step::Shunt(siemens, farad) => current += Complex64::new(siemens, omega * farad) * voltage,
                Step::Contact(index) => voltage += current * contact_ohm[index],
                Step::Shared(index) => voltage += current * (2.0 * contact_ohm[index]),
                Step::Across(index) => current += voltage / contact_ohm[index],
            }
        }
        (voltage + self.source_impedance(frequency_hz) * current).inv()
    }

    /// Impedance that the load looks back into, the source silent, ohm.
    #[must_use]
    pub fn output_impedance(&self, frequency_hz: f64, contact_ohm: &[f64]) -> Complex64 {
        let omega = TAU * frequency_hz;
        let mut upstream = self.source_impedance(frequency_hz);
        let beside = |upstream: Complex64, y: Complex64| upstream / (1.0 + y * upstream);
        for step in &self.steps {
            match *step {
                Step::Series(ohm, henry) => upstream += Complex64::new(ohm, omega * henry),
                Step::Shunt(siemens, farad) => upstream = beside(upstream, Complex64::new(siemens, omega * farad)),
                Step::Contact(index) => upstream += contact_ohm[index],
                Step::Shared(index) => upstream += 2.0 * contact_ohm[index],
                Step::Across(index) => upstream = beside(upstream, contact_ohm[index].recip().into()),
            }
        }
        upstream
    }
}
