//! A stage behind the section shapes the harmonics of the tables.

use super::*;
use crate::circuit::stage::Equalisation;
use crate::circuit::{Chain, ChainItem, Contact, Load, PathItem, Section, Source, Stage};
use crate::response::distortion::distortion;
use crate::response::steady::solve::Solver;

#[test]
fn what_the_stage_behind_takes_off_the_harmonics_is_taken_off_the_residue() {
    let network = |equalisation| {
        let section = Section {
            name: "s".into(),
            source: Some(Source { emf_v: 0.5, resistance_ohm: 2200.0, inductance_h: 0.0 }),
            path: vec![PathItem::Contact(Contact::ohmic("k", 0.0))],
            load: Load::resistance(22e3),
        };
        let stage = Stage { name: "e".into(), gain_db: 30.0, equalisation, output_resistance_ohm: 100.0 };
        let items = vec![ChainItem::Section(section), ChainItem::Stage(stage)];
        Network::from_chain(&Chain { items }).unwrap()
    };
    let film = Film::Tunnelling { resistance_ohm: 3e3, scale_v: 0.1 };
    let exact = |equalisation| {
        let mut network = network(equalisation);
        network.contacts[0].film = film;
        distortion(&mut Solver::default(), &network, (TONE_HZ, 0.5), &[3e3], HARMONICS).thd_f
    };
    let priors = Priors::default();
    let deeds = |equalisation| Deeds::new(&network(equalisation), 0, 0.5, &priors);
    let flat = deeds(Equalisation::Flat);
    assert!((flat.of(&film).residue / exact(Equalisation::Flat) - 1.0).abs() < TABLE_ERROR[0]);
    // 24.2 kohm in series with as much leaves half
    assert!((flat.across_v(24.2e3) / (0.5 * 0.5 * SQRT_2) - 1.0).abs() < 1e-12, "{}", flat.across_v(24.2e3));
    let table = |equalisation| deeds(equalisation).of(&film).residue;
    // the same nodes with and without: what the tables miss between them is the same
    let found = table(Equalisation::Riaa) / table(Equalisation::Flat);
    let expected = exact(Equalisation::Riaa) / exact(Equalisation::Flat);
    assert!(expected < 0.7 && (found / expected - 1.0).abs() < 0.01, "{found} {expected}");
}

#[test]
fn nodes_and_what_lies_between() {
    let axis = Axis::new(2.0, 10.0, 5);
    assert_eq!((axis.node(0), axis.node(3), axis.node(4)), (2.0, 8.0, 10.0));
    assert_eq!((axis.place(5.0), axis.place(2.0), axis.place(4.0)), ((1, 0.5), (0, 0.0), (1, 0.0)));
}
