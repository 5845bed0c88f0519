//! What the signal puts on a contact: the voltage across it when open, the current through it when closed.

use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::circuit::ports::Ports;

/// What a tone puts on one contact, all other contacts perfect.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnContact {
    /// voltage across the open contact, V rms
    pub open_v: f64,
    /// current through the closed contact, A rms
    pub short_a: f64,
    /// magnitude of the loop impedance seen from the contact, ohm
    pub loop_ohm: f64,
    /// voltage at the section's load, V rms
    pub load_v: f64,
}

/// EMF of every section for a tone with perfect contacts, V rms: what stands before a section shapes its level.
#[must_use]
pub fn section_emf_v(network: &Network, frequency_hz: f64) -> Vec<f64> {
    let perfect = network.perfect_ohm();
    let mut emf = network.emf_v;
    network
        .links
        .iter()
        .map(|link| {
            let here = emf;
            emf *= link.ladder.transfer(frequency_hz, &perfect).norm();
            emf *= link.stages.iter().map(|stage| stage.transfer(frequency_hz).norm()).product::<f64>();
            here
        })
        .collect()
}

/// What a section EMF of a frequency puts on contact `index` (its number through the chain).
///
/// In a loop with reactances the voltage across a contact that jumps can for a moment exceed the peak of `open_v`. A contact
/// across the signal stands open in use and sees `open_v`; its `loop_ohm` is the impedance of its node. In a shared return
/// both channels are taken as driven alike: the contact carries twice the current of one.
#[must_use]
pub fn on_contact(network: &Network, index: usize, emf_v: f64, frequency_hz: f64) -> OnContact {
    let ladder = &network.links[network.section_of(index)].ladder;
    let ports = Ports::new(ladder, &[frequency_hz], &network.perfect_ohm());
    let k = index - ladder.contacts().start;
    let (drive, seen, load_v) =
        (emf_v * ports.drive[k].norm(), ports.loop_impedance[k].norm(), emf_v * ports.output[0].norm());
    match network.contacts[index].role {
        Role::Shunt => OnContact { open_v: drive, short_a: drive * seen, loop_ohm: seen.recip(), load_v },
        Role::SharedReturn => OnContact { open_v: drive * seen, short_a: 2.0 * drive, loop_ohm: 0.5 * seen, load_v },
        _ => OnContact { open_v: drive * seen, short_a: drive, loop_ohm: seen, load_v },
    }
}

#[cfg(test)]
mod before;
