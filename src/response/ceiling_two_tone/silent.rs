//! Where one of the tones is not there, or nothing moves.

use super::*;
use crate::circuit::{Contact, Load, PathItem, Section, Source};
use crate::response::linear::AUDIBLE_BAND_HZ;

#[test]
fn a_tone_that_is_not_there_leaves_no_ratio() {
    let network = Network::from_section(&Section {
        name: "s".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 300.0, inductance_h: 0.0 }),
        path: vec![PathItem::Contact(Contact::perfect("c", Role::Signal))],
        load: Load::resistance(700.0),
    })
    .unwrap();
    let of = |ratio: f64, swing: f64| {
        ceiling_two_tone(&network, (60.0, 7e3), (1.0, ratio), &[(0, (0.0, swing))], &[0.0], AUDIBLE_BAND_HZ)
    };
    let found = of(0.0, 10.0);
    assert!(found.status == Status::NoFundamental && found.d2.is_nan() && found.d3.is_nan() && found.rms.is_nan());
    let still = of(0.0, 0.0);
    assert!(still.status == Status::Holds && still.d2 == 0.0 && still.d3 == 0.0 && still.rms == 0.0, "{still:?}");
    // one that cannot move is as good as none, even where it stands open
    let network = |ohm: f64| {
        let moving = [(0, (ohm, ohm))];
        ceiling_two_tone(&network, (60.0, 7e3), (1.0, 4.0), &moving, &[ohm], AUDIBLE_BAND_HZ)
    };
    for ohm in [1e3, f64::INFINITY] {
        assert!(network(ohm).status == Status::Holds && network(ohm).rms == 0.0, "{:?}", network(ohm));
    }
}
