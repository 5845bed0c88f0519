//! Closed forms of T1 and T6, what is refused, direct current.

use super::*;
use crate::circuit::{Contact, Load, PathItem, Section, Source};
use crate::response::linear::AUDIBLE_BAND_HZ;
use approx::assert_relative_eq;
use proptest::prelude::*;

fn resistive_loop(source: f64, load: f64) -> Network {
    let section = Section {
        name: "loop".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: source, inductance_h: 0.0 }),
        path: vec![PathItem::Contact(Contact::ohmic("a", 0.0)), PathItem::Contact(Contact::ohmic("b", 0.0))],
        load: Load::resistance(load),
    };
    Network::from_section(&section).unwrap()
}

#[test]
fn contacts_of_one_loop_add() {
    let network = resistive_loop(0.05, 8.0);
    let both = ceiling(&network, 1e3, &[(0, (0.0, 0.2)), (1, (0.0, 0.3))], &[0.0, 0.0], AUDIBLE_BAND_HZ);
    assert_relative_eq!(both.harmonics, resistive(0.5 / 8.05), max_relative = 1e-12);
    assert_relative_eq!(both.chatter, resistive(0.5 / 8.05), max_relative = 1e-12);
}

#[test]
fn no_harmonic_in_the_band_is_nan_and_open_has_none() {
    let network = resistive_loop(0.05, 8.0);
    let high = ceiling(&network, 15e3, &[(0, (0.0, 0.2))], &[0.0; 2], AUDIBLE_BAND_HZ);
    assert!(high.harmonics.is_nan() && high.chatter > 0.0);
    let open = ceiling(&network, 1e3, &[(0, (0.0, f64::INFINITY))], &[0.0; 2], AUDIBLE_BAND_HZ);
    assert_eq!(open.status, Status::CanOpen);
    let nothing = ceiling(&network, 1e3, &[(0, (0.3, 0.3))], &[0.0; 2], AUDIBLE_BAND_HZ);
    assert_eq!((nothing.harmonics, nothing.status), (0.0, Status::Holds));
}

fn muting(source_ohm: f64, load_ohm: f64) -> Network {
    let section = Section {
        name: "muted".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: source_ohm, inductance_h: 0.0 }),
        path: vec![PathItem::Contact(Contact::perfect("mute", Role::Shunt))],
        load: Load::resistance(load_ohm),
    };
    Network::from_section(&section).unwrap()
}

#[test]
fn across_the_signal_conductances_take_the_place_of_resistances() {
    let network = muting(1000.0, 9000.0);
    let open = [f64::INFINITY];
    let found = ceiling(&network, 1e3, &[(0, (180.0, f64::INFINITY))], &open, AUDIBLE_BAND_HZ);
    // node of 900 ohm: conductance ratio 5
    assert_relative_eq!(found.chatter, resistive(5.0), max_relative = 1e-12);
    let shorts = ceiling(&network, 1e3, &[(0, (0.0, 1e3))], &open, AUDIBLE_BAND_HZ);
    assert_eq!(shorts.status, Status::CanShort);
    // beside an ideal source it does nothing
    let stiff = ceiling(&muting(0.0, 9000.0), 1e3, &[(0, (1.0, 1e3))], &open, AUDIBLE_BAND_HZ);
    assert_eq!((stiff.chatter, stiff.status), (0.0, Status::Holds));
}

#[test]
fn a_shared_return_is_refused_unless_it_is_perfect() {
    let section = Section {
        name: "headphones".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 10.0, inductance_h: 0.0 }),
        path: vec![
            PathItem::Contact(Contact::ohmic("tip", 0.0)),
            PathItem::Contact(Contact::perfect("sleeve", Role::SharedReturn)),
        ],
        load: Load::resistance(32.0),
    };
    let network = Network::from_section(&section).unwrap();
    let of = |moving: &[(usize, (f64, f64))], fixed: &[f64]| ceiling(&network, 1e3, moving, fixed, AUDIBLE_BAND_HZ);
    assert_eq!(of(&[(0, (0.0, 1.0))], &[0.0, 0.0]).status, Status::Holds);
    assert_eq!(of(&[(0, (0.0, 1.0))], &[0.0, 0.1]).status, Status::SharedReturn);
    assert_eq!(of(&[(1, (0.0, 1.0))], &[0.0, 0.0]).status, Status::SharedReturn);
}

#[test]
fn a_direct_current_lets_a_switch_do_more_and_never_more_than_the_bound() {
    // a contact that jumps between 0 and R once a half period, beside a direct current of its own source: the load
    // voltage over a period, direct current at the output not counted
    let (z, r, emf, direct_emf) = (1000.0, 400.0, 1.0, 3.0);
    let network = resistive_loop(300.0, 700.0);
    let ready = Loop::new(&network, &[0], &[0.0; 2], 1e3, AUDIBLE_BAND_HZ).unwrap();
    let direct_a = direct_emf / z; // largest: with the contact closed
    let bound = ready.ceiling_beside((0.0, r), emf, direct_a);
    let alone = ready.ceiling((0.0, r));
    let samples = 4800;
    let residue = |shift: usize, parts: usize| {
        let current: Vec<f64> = (0..samples)
            .map(|k| {
                let angle = std::f64::consts::TAU * k as f64 / samples as f64;
                let closed = ((k + shift) * parts / samples) % 2 == 0;
                (std::f64::consts::SQRT_2 * emf * angle.sin() + direct_emf) / (z + if closed { 0.0 } else { r })
            })
            .collect();
        let n = samples as f64;
        let mean = current.iter().sum::<f64>() / n;
        let sum = |phase: f64| {
            let wave = |k: usize| (std::f64::consts::TAU * k as f64 / n + phase).sin();
            2.0 / n * current.iter().enumerate().map(|(k, i)| i * wave(k)).sum::<f64>()
        };
        let fundamental = sum(0.0).hypot(sum(std::f64::consts::FRAC_PI_2)) / std::f64::consts::SQRT_2;
        let all = current.iter().map(|i| (i - mean).powi(2)).sum::<f64>() / n;
        (all - fundamental * fundamental).sqrt() / fundamental
    };
    let mut worst = 0.0f64;
    for parts in [2, 4, 6, 8, 12, 16, 24] {
        for shift in (0..samples / parts).step_by(20) {
            worst = worst.max(residue(shift, parts));
        }
    }
    assert!(worst > alone.chatter * 2.0 && worst < bound.chatter, "{} {worst} {}", alone.chatter, bound.chatter);
    // both grow by the factor of the page above, here by hand: middle of the range 200 ohm, half of it too
    let by = (1.0 + (1200.0 * direct_a).powi(2) / (1.0 - (200.0 * direct_a).powi(2))).sqrt();
    assert_relative_eq!(bound.chatter, by * alone.chatter, max_relative = 1e-12);
    assert_relative_eq!(bound.harmonics, by * alone.harmonics, max_relative = 1e-12);
    assert_eq!(ready.ceiling_beside((0.0, r), 0.0, direct_a).status, Status::NoFundamental);
}

#[test]
fn huge_resistances_do_not_overflow() {
    let network = resistive_loop(1.0, 7.0);
    let of = |range| ceiling(&network, 1e3, &[(0, range)], &[0.0; 2], AUDIBLE_BAND_HZ);
    assert_relative_eq!(of((0.0, 1e200)).chatter, resistive(1e200 / 8.0), max_relative = 1e-12);
    let far = of((1e200, 2e200));
    assert_relative_eq!(far.chatter, far.harmonics, max_relative = 1e-11);
    assert_relative_eq!(far.chatter, resistive(1.0), max_relative = 1e-11);
}

#[test]
fn published_pairs_of_loss_and_residue() {
    // 0.1 dB goes with at most 0.58 %, 1 dB with 5.8 % (theorem T6 of this project)
    assert_relative_eq!(residue_from_loss_range(0.1), 0.0058, max_relative = 0.01);
    assert_relative_eq!(residue_from_loss_range(1.0), 0.058, max_relative = 0.01);
}

proptest! {
    #[test]
    fn inverses(d in 1e-9f64..10.0) {
        prop_assert!((resistive(ratio_for_residue(d)) / d - 1.0).abs() < 1e-9);
        prop_assert!((residue_from_loss_range(loss_range_for_residue(d)) / d - 1.0).abs() < 1e-9);
    }

    #[test]
    fn resistive_loop_is_the_closed_form(z in 0.1f64..1e5, r in 1e-4f64..1e4) {
        let network = resistive_loop(z * 0.3, z * 0.7);
        let found = ceiling(&network, 1e3, &[(0, (0.0, r * z))], &[0.0; 2], AUDIBLE_BAND_HZ);
        prop_assert!((found.harmonics / resistive(r) - 1.0).abs() < 1e-11);
    }

    #[test]
    fn loss_range_and_ohms_give_the_same_residue(r in 1e-6f64..1e4) {
        let loss = 20.0 * (1.0 + r).log10();
        prop_assert!((residue_from_loss_range(loss) / resistive(r) - 1.0).abs() < 1e-9);
    }
}
