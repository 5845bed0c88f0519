//! What the signal puts on a contact: the voltage across it when open, the current through it when closed.

use crate::circuit::chain::Network;
use crate::circuit::ports::Ports;
use crate::circuit::stage::GAIN_REFERENCE_HZ;

/// What the signal puts on one contact at 1 kHz, all other contacts perfect.
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

/// EMF of every section at 1 kHz with perfect contacts, V rms.
#[must_use]
pub fn section_emf_v(network: &Network) -> Vec<f64> {
    let perfect = vec![0.0; network.contacts.len()];
    let mut emf = network.emf_v;
    network
        .links
        .iter()
        .map(|link| {
            let here = emf;
            emf *= link.ladder.transfer(GAIN_REFERENCE_HZ, &perfect).norm();
            emf *= link.stages.iter().map(crate::circuit::Stage::gain).product::<f64>();
            here
        })
        .collect()
}

/// What a section EMF puts on contact `index` (its number through the chain).
#[must_use]
pub fn on_contact(network: &Network, index: usize, emf_v: f64) -> OnContact {
    let perfect = vec![0.0; network.contacts.len()];
    let ladder = &network.links[network.section_of(index)].ladder;
    let ports = Ports::new(ladder, &[GAIN_REFERENCE_HZ], &perfect);
    let k = index - ladder.contacts().start;
    let short_a = emf_v * ports.drive[k].norm();
    let loop_ohm = ports.loop_impedance[k].norm();
    OnContact { open_v: short_a * loop_ohm, short_a, loop_ohm, load_v: emf_v * ports.output[0].norm() }
}
