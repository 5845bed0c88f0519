//! T7: how much quieter a contact can make a tone, whatever it does within its range.
//!
//! At the driven frequency the describing impedance `z` of a contact whose chord stays in `[Rmin, Rmax]` lies in the disc of
//! centre `Rmid` and radius `Delta`, for `(v - Rmin i)(Rmax i - v) >= 0` averaged over time leaves
//! `|z - Rmid|^2 <= Delta^2` and less where there is residue. With `M` the impedance of its loop the loss of the fundamental
//! lies between
//!
//! `20 log10((|M + Rmid| - Delta)/|M|)` and `20 log10((|M + Rmid| + Delta)/|M|)`
//!
//! In a resistive loop these are the losses at `Rmin` and `Rmax`; behind an inductance the lower end can be a gain. Several
//! contacts of one loop add their ranges. It is for one tone: out of a second one, or of direct current, a contact that jumps
//! makes some of this one, and the disc is left. Across the signal the dual holds: conductances, and the admittance of the node.
//! Related to describing functions and the circle criterion (Desoer and Vidyasagar, Feedback Systems, 1975 \[memory\]).

use super::ceiling::Status;
use super::linear::loss_db;
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::circuit::ports::Ports;

/// Least and greatest loss of a tone, dB against perfect contacts, over all that the contacts `moving` can do.
///
/// `moving` names contacts of one loop (or one contact across the signal) with their ranges; the others keep `fixed_ohm`.
/// A contact that can open has no greatest loss: infinite.
///
/// # Errors
/// The status that says why there is no such loop.
pub fn loss_range_db(
    network: &Network,
    frequency_hz: f64,
    moving: &[(usize, (f64, f64))],
    fixed_ohm: &[f64],
) -> Result<(f64, f64), Status> {
    let mut fixed = fixed_ohm.to_vec();
    let mut loop_of = Vec::new();
    let mut sum = (0.0, 0.0);
    for &(index, (low, high)) in moving {
        if high > low {
            fixed[index] = network.contacts[index].role.perfect_ohm();
            loop_of.push(index);
            sum = (sum.0 + low, sum.1 + high);
        } else {
            fixed[index] = low;
        }
    }
    let rest_db = loss_db(network, frequency_hz, &fixed);
    let Some(&first) = loop_of.first() else {
        return Ok((rest_db, rest_db));
    };
    if loop_of.iter().any(|&k| network.contacts[k].direct_current_a != 0.0) {
        return Err(Status::DirectCurrent);
    }
    let is_shared = |k: usize| network.contacts[k].role == Role::SharedReturn;
    if (0..fixed.len()).any(|k| is_shared(k) && (loop_of.contains(&k) || fixed[k] > 0.0)) {
        return Err(Status::SharedReturn);
    }
    let ladder = &network.links[network.section_of(first)].ladder;
    let across = network.contacts[first].role == Role::Shunt;
    let together = ladder.loops().iter().any(|group| loop_of.iter().all(|index| group.contains(index)));
    if !(together || across && loop_of.len() == 1) {
        return Err(Status::SeveralLoops);
    }
    let (low, high) = if across { (sum.1.recip(), sum.0.recip()) } else { sum };
    let seen = Ports::new(ladder, &[frequency_hz], &fixed).loop_impedance[first - ladder.contacts().start];
    if seen.re.is_infinite() {
        return Ok((rest_db, rest_db));
    }
    if high.is_infinite() {
        // the disc becomes a half plane right of Rmin
        let least = 20.0 * ((seen.re + low) / seen.norm()).log10();
        return Ok((rest_db + least, f64::INFINITY));
    }
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
    let at = |reach: f64| rest_db + 20.0 * (((seen + middle).norm() + reach) / seen.norm()).log10();
    Ok((at(-half), at(half)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Contact, Load, PathItem, Section, Source};
    use approx::assert_relative_eq;
    use num_complex::Complex64;
    use proptest::prelude::*;

    fn section(role: Role, henry: f64) -> Network {
        Network::from_section(&Section {
            name: "s".into(),
            source: Some(Source { emf_v: 1.0, resistance_ohm: 1000.0, inductance_h: henry }),
            path: vec![PathItem::Contact(Contact::perfect("c", role))],
            load: Load::resistance(9000.0),
        })
        .unwrap()
    }

    #[test]
    fn resistive_loop_is_the_loss_at_the_ends() {
        let network = section(Role::Signal, 0.0);
        let (low, high) = loss_range_db(&network, 1e3, &[(0, (100.0, 700.0))], &[0.0]).unwrap();
        assert_relative_eq!(low, loss_db(&network, 1e3, &[100.0]), max_relative = 1e-12);
        assert_relative_eq!(high, loss_db(&network, 1e3, &[700.0]), max_relative = 1e-12);
    }

    #[test]
    fn with_a_direct_current_it_is_refused() {
        let mut network = section(Role::Signal, 0.0);
        network.contacts[0].direct_current_a = 1e-3;
        assert_eq!(loss_range_db(&network, 1e3, &[(0, (0.0, 1.0))], &[0.0]), Err(Status::DirectCurrent));
        assert!(loss_range_db(&network, 1e3, &[(0, (1.0, 1.0))], &[0.0]).is_ok());
    }

    #[test]
    fn across_the_signal_the_ends_change_places() {
        let network = section(Role::Shunt, 0.0);
        let (low, high) = loss_range_db(&network, 1e3, &[(0, (100.0, f64::INFINITY))], &[f64::INFINITY]).unwrap();
        assert_relative_eq!(low, 0.0, epsilon = 1e-12);
        assert_relative_eq!(high, loss_db(&network, 1e3, &[100.0]), max_relative = 1e-12);
        let shorts = loss_range_db(&network, 1e3, &[(0, (0.0, 1e6))], &[f64::INFINITY]).unwrap();
        assert!(shorts.1.is_infinite() && shorts.0 > 0.0);
    }

    proptest! {
        #[test]
        fn no_point_of_the_disc_leaves_the_range_and_the_ends_are_reached(
            henry in 0.0f64..0.5, low in 0.0f64..5e3, more in 1.0f64..5e4, angle in 0.0f64..std::f64::consts::TAU, share in 0.0f64..1.0, across: bool
        ) {
            let role = if across { Role::Shunt } else { Role::Signal };
            let network = section(role, henry);
            let low = low + if across { 1.0 } else { 0.0 };
            let (least, most) = loss_range_db(&network, 5e3, &[(0, (low, low + more))], &[role.perfect_ohm()]).unwrap();
            let (a, b) = if across { ((low + more).recip(), low.recip()) } else { (low, low + more) };
            let seen = Ports::new(&network.links[0].ladder, &[5e3], &[role.perfect_ohm()]).loop_impedance[0];
            let loss = |angle: f64, share: f64| {
                let z = Complex64::new(0.5 * (a + b), 0.0) + Complex64::from_polar(0.5 * (b - a) * share, angle);
                20.0 * ((seen + z) / seen).norm().log10()
            };
            let inside = loss(angle, share);
            prop_assert!(inside >= least - 1e-9 && inside <= most + 1e-9, "{inside} {least} {most}");
            let along = (seen + 0.5 * (a + b)).arg();
            prop_assert!((loss(along, 1.0) - most).abs() < 1e-9);
            prop_assert!((loss(along + std::f64::consts::PI, 1.0) - least).abs() < 1e-9);
        }
    }
}
