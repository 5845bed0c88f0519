//! A mild law that is not odd is done with the fewest samples, and what comes out is its closed form.

use crate::circuit::chain::Network;
use crate::circuit::{Contact, Load, PathItem, Section, Source};
use crate::physics::Film;
use crate::physics::constants::THERMAL_VOLTAGE_V;
use crate::response::steady::grid::ONE_TONE;
use crate::response::steady::solve::{Solver, Tones};

#[test]
fn a_weak_rectifier_takes_the_first_table() {
    let film = Film::Rectifying { resistance_ohm: 1e3, ideality: 1.0, leak_ratio: 0.2 };
    let network = Network::from_section(&Section {
        name: "s".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 300.0, inductance_h: 0.0 }),
        path: vec![PathItem::Contact(Contact { film, ..Contact::ohmic("k", 1.0) })],
        load: Load::resistance(700.0),
    })
    .unwrap();
    let amplitude = 1e-4f64;
    let emf_v = amplitude / std::f64::consts::SQRT_2;
    let answer = Solver::default().solve(&network, Tones::One((1e3, emf_v)), &[1e3]);
    assert!(answer.converged && answer.samples == ONE_TONE[0], "{}", answer.samples);
    // HD2 = A a2/(2 (1 + T)^2) with a2 = (1 - l)/(2 U), as in `resistive_loop`
    let expected = amplitude * 0.8 / (2.0 * THERMAL_VOLTAGE_V) / (2.0 * 4.0);
    let found = answer.output[2].norm() / answer.output[1].norm();
    assert!((found / expected - 1.0).abs() < 1e-3, "{found:e} {expected:e}");
}
