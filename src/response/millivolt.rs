//! **T8**: what the voltage across a contact says about it, whatever its law, memory or range.
//!
//! Off the driven line the current of a contact is `i = -v/M`, so what it adds at the output there is `T i = -(T/M) v`:
//!
//! `residue / fundamental at the output <= sup over the band of |T/M| * (rms voltage across the contact) / (load voltage)`
//!
//! with `T/M` the load voltage per EMF in series with the contact, the stages behind it relative to the driven frequency. In a
//! resistive loop it is the load's share of the loop. The whole voltage across the contact stands for the part of it that is
//! not fundamental, so nothing has to be told apart: 1 mV across a relay at 2.83 V bounds the residue at 0.035 %. It holds for
//! the time and the state in which it was measured (several contacts, each with its own voltage: their bounds add), with a meter that takes in the band in true rms. The supremum is
//! enclosed (`response::supremum`).

use super::ceiling::Status;
use super::enclosed::{EVEN, Field, Walk};
use super::jet::Jet;
use super::linear::gain_after;
use super::supremum::{Span, supremum_of};
use crate::circuit::Role;
use crate::circuit::chain::Network;

/// Most residue at the output, as a ratio to the fundamental, per volt across the contact and volt at its section's load.
///
/// The other contacts keep `contact_ohm`. Multiply by `across_v / load_v`.
///
/// # Errors
/// The status that says why there is no bound: a contact across the signal or in a shared return, no fundamental.
pub fn millivolt_factor(
    network: &Network,
    index: usize,
    driven_hz: f64,
    contact_ohm: &[f64],
    band_hz: (f64, f64),
) -> Result<f64, Status> {
    let role = |k: usize| network.contacts[k].role;
    if (0..contact_ohm.len()).any(|k| role(k) == Role::SharedReturn && (k == index || contact_ohm[k] > 0.0)) {
        return Err(Status::SharedReturn);
    }
    if role(index) == Role::Shunt {
        return Err(Status::SeveralLoops);
    }
    let number = network.section_of(index);
    let mut fixed_ohm = contact_ohm.to_vec();
    fixed_ohm[index] = 0.0;
    let after = |frequency_hz: f64| gain_after(network, number, frequency_hz, &fixed_ohm);
    let at_driven = after(driven_hz);
    if at_driven <= 0.0 || !at_driven.is_finite() {
        return Err(Status::NoFundamental);
    }
    let largest = supremum_of(&Span::band(band_hz), |span| {
        let output = output_per_emf(&Field::new(span), network, index, &fixed_ohm)?;
        Some(output.scaled(at_driven.recip()).square())
    });
    if largest.is_finite() { Ok(largest.max(0.0).sqrt()) } else { Err(Status::NoBound) }
}

/// Output of the chain per EMF in series with a contact, over an interval of frequency; the contacts keep `contact_ohm`.
pub(super) fn output_per_emf(field: &Field, network: &Network, index: usize, contact_ohm: &[f64]) -> Option<Jet> {
    let number = network.section_of(index);
    let link = &network.links[number];
    let k = index - link.ladder.contacts().start;
    let mut output = Walk::new(field, &link.ladder, contact_ohm, EVEN).reach(field, k)?;
    output = output.times(&field.stages(&link.stages)?);
    for later in &network.links[number + 1..] {
        let walk = Walk::new(field, &later.ladder, contact_ohm, EVEN);
        output = output.times(&walk.transfer(field)?).times(&field.stages(&later.stages)?);
    }
    Some(output)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Contact, Lead, Load, PathItem, Section, Source};
    use crate::response::linear::AUDIBLE_BAND_HZ;
    use approx::assert_relative_eq;

    fn section(source_ohm: f64, henry: f64, path: Vec<PathItem>, load: Load) -> Network {
        let source = Some(Source { emf_v: 1.0, resistance_ohm: source_ohm, inductance_h: henry });
        Network::from_section(&Section { name: "s".into(), source, path, load }).unwrap()
    }

    #[test]
    fn a_resistive_loop_is_the_loads_share() {
        let relay = PathItem::Contact(Contact::ohmic("relay", 0.0));
        let network = section(0.05, 0.0, vec![relay], Load::resistance(8.0));
        let factor = millivolt_factor(&network, 0, 1e3, &[0.3], AUDIBLE_BAND_HZ).unwrap();
        assert_relative_eq!(factor, 8.0 / 8.05, max_relative = 1e-12);
        // 1 mV across a relay at 2.83 V: 0.035 %
        assert_relative_eq!(factor * 1e-3 / 2.83, 0.000_35, max_relative = 0.01);
    }

    #[test]
    fn behind_a_cartridge_the_resonance_counts() {
        let path = vec![
            PathItem::Contact(Contact::ohmic("pin", 0.0)),
            PathItem::Lead(Lead { capacitance_f: 250e-12, ..Lead::default() }),
        ];
        let network = section(1000.0, 0.5, path, Load::resistance(47e3));
        let factor = millivolt_factor(&network, 0, 1e3, &[0.0], AUDIBLE_BAND_HZ).unwrap();
        // the pin's EMF drives the same circuit as the cartridge's: the peak of its response, against a fine grid
        let peak = (0..200_000)
            .map(|k| network.links[0].ladder.transfer(20.0 * 1.0000346f64.powi(k), &[0.0]).norm())
            .fold(0.0, f64::max);
        assert_relative_eq!(factor, peak, max_relative = 1e-6);
        assert!(factor > 1.1);
    }

    #[test]
    fn it_refuses_what_it_cannot_bound() {
        let at = |role| {
            let path = vec![PathItem::Contact(Contact::perfect("c", role))];
            millivolt_factor(
                &section(10.0, 0.0, path, Load::resistance(100.0)),
                0,
                1e3,
                &[role.perfect_ohm()],
                AUDIBLE_BAND_HZ,
            )
        };
        assert_eq!(at(Role::SharedReturn), Err(Status::SharedReturn));
        assert_eq!(at(Role::Shunt), Err(Status::SeveralLoops));
        assert!(at(Role::Return).is_ok());
    }
}
