//! What the signal puts on a contact: the voltage across it when open, the current through it when closed.

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
    let perfect = vec![0.0; network.contacts.len()];
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
/// In a loop with reactances the voltage across a contact that jumps can for a moment exceed the peak of `open_v`.
#[must_use]
pub fn on_contact(network: &Network, index: usize, emf_v: f64, frequency_hz: f64) -> OnContact {
    let perfect = vec![0.0; network.contacts.len()];
    let ladder = &network.links[network.section_of(index)].ladder;
    let ports = Ports::new(ladder, &[frequency_hz], &perfect);
    let k = index - ladder.contacts().start;
    let short_a = emf_v * ports.drive[k].norm();
    let loop_ohm = ports.loop_impedance[k].norm();
    OnContact { open_v: short_a * loop_ohm, short_a, loop_ohm, load_v: emf_v * ports.output[0].norm() }
}
