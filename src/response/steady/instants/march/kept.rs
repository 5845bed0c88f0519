//! What every step of a march keeps.

use super::super::Period;
use super::*;
use crate::circuit::chain::Network;
use crate::circuit::{Contact, Lead, Load, PathItem, Role, Section, Source};
use crate::physics::Film;
use crate::watch::Unwatched;

#[test]
fn no_step_leaves_more_than_it_may() {
    // a diode that opens and closes hard before a cartridge's inductance: steps must shrink where it does
    let film = Film::Rectifying { resistance_ohm: 1e4, ideality: 1.0, leak_ratio: 0.01 };
    let contact = Contact { film, constriction_ohm: 0.01, ..Contact::ohmic("k", 1.0) };
    let section = Section {
        name: "s".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 800.0, inductance_h: 0.3 }),
        path: vec![PathItem::Contact(contact)],
        load: Load { capacitance_f: 2e-10, ..Load::resistance(47e3) },
    };
    let network = Network::from_section(&section).unwrap();
    let mut period = Period::new(&network, (2e3, 1.0), &[1e4], &Unwatched).unwrap();
    let per_row = period.gains[0].per_row.clone();
    let Period { loops, marcher, start, tone_v, .. } = &mut period;
    let allowed_v = 1e-4 * *tone_v;
    let march = marcher.march(loops, start, &per_row, allowed_v).unwrap();
    let most = 1.5 * allowed_v / USUAL_STEPS.sqrt();
    for step in &march.steps {
        let mut worst = 0.0f64;
        for place in LOOKED_AT {
            let mut sum = 0.0;
            marcher.rest(loops, step, &Basis::at(place), place, &mut |i, left| sum += (per_row[i] * left.rest).abs());
            worst = worst.max(sum);
        }
        let error = step.length.sqrt() * worst;
        assert!(error <= most * (1.0 + 1e-6), "{error:e} {most:e} at {} of {}", step.from, step.length);
    }
    assert!(march.steps.len() > 60, "{}", march.steps.len());
}

#[test]
fn a_film_that_lets_go_within_the_last_place_of_the_period_is_gone_through() {
    // two inductances and a diode of 200 megohms across between them: its current of 1e-10 A is gone while theirs change by as much
    let film = |resistance_ohm| Film::Rectifying { resistance_ohm, ideality: 1.5, leak_ratio: 0.015 };
    let contact = |name: &str, ohm, role| {
        PathItem::Contact(Contact { film: film(ohm), role, constriction_ohm: 1e-3, ..Contact::ohmic(name, 1.0) })
    };
    let lead = || PathItem::Lead(Lead { resistance_ohm: 0.1, inductance_h: 1.6e-6, capacitance_f: 0.0 });
    let section = Section {
        name: "s".into(),
        source: Some(Source { emf_v: 30.0, resistance_ohm: 0.015, inductance_h: 0.0 }),
        path: vec![contact("a", 1e4, Role::Signal), lead(), contact("b", 2.2e8, Role::Shunt), lead()],
        load: Load::resistance(8.0),
    };
    let network = Network::from_section(&section).unwrap();
    let answer = super::super::solve(&network, (3.7e3, 30.0), &[1e4, 2.2e8], &Unwatched).unwrap();
    assert!(answer.error_v <= 1e-6 * answer.output[2].norm());
}

#[test]
fn a_matrix_with_nothing_on_its_diagonal_is_solved() {
    // x = (1, 2, 3): the columns are brought forward one by one, and the largest pivot keeps 1e-18 from being one
    for (mut matrix, right) in [
        (vec![0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0], [2.0, 3.0, 1.0]),
        (vec![1e-18, 1.0, 1.0, 1.0, 1.0, 0.0, 1.0, 0.0, 1.0], [5.0, 3.0, 4.0]),
    ] {
        let (mut pivots, mut found) = ([0; 3], right);
        assert!(decompose(&mut matrix, &mut pivots));
        substitute(&matrix, &pivots, &mut found);
        for (x, exact) in found.iter().zip([1.0, 2.0, 3.0]) {
            assert!((x - exact).abs() < 1e-14, "{found:?}");
        }
    }
    assert!(!decompose(&mut [1.0, 2.0, 2.0, 4.0], &mut [0; 2]));
}
