//! The EMF of a section is what stands before it.

use super::*;
use crate::circuit::stage::Equalisation;
use crate::circuit::{Chain, ChainItem, Contact, Load, PathItem, Section, Source, Stage};

#[test]
fn dividers_and_gains_multiply() {
    let section = |name: &str, source| {
        let path = vec![PathItem::Contact(Contact::ohmic(name, 0.0))];
        ChainItem::Section(Section { name: name.into(), source, path, load: Load::resistance(700.0) })
    };
    let stage = |gain_db| {
        let name = "s".into();
        ChainItem::Stage(Stage { name, gain_db, equalisation: Equalisation::Flat, output_resistance_ohm: 50.0 })
    };
    let source = Some(Source { emf_v: 2.0, resistance_ohm: 100.0, inductance_h: 0.0 });
    let items = vec![section("a", source), stage(20.0), section("b", None), stage(-6.0), section("c", None)];
    let found = section_emf_v(&Network::from_chain(&Chain { items }).unwrap(), 1e3);
    let second = 2.0 * 700.0 / 800.0 * 10.0;
    let third = second * 700.0 / 750.0 * 10f64.powf(-0.3);
    for (found, expected) in found.iter().zip([2.0, second, third]) {
        assert!((found / expected - 1.0).abs() < 1e-12, "{found} {expected}");
    }
    assert_eq!(found.len(), 3);
}
