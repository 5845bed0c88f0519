//! The collapsed loss against the plain walk, in every shape of arrays, and far below the last place of its argument.

use crate::circuit::chain::Network;
use crate::circuit::{Chain, ChainItem, Contact, Equalisation, Lead, Load, Loudspeaker, PathItem, Role, Section};
use crate::circuit::{Source, Stage};
use crate::response::linear;
use crate::response::sweep::{Values, loss_db};
use crate::watch::Unwatched;

fn contact(name: &str) -> PathItem {
    PathItem::Contact(Contact::ohmic(name, 0.0))
}

fn lead(ohm: f64, farad: f64) -> PathItem {
    PathItem::Lead(Lead { resistance_ohm: ohm, inductance_h: 1e-6, capacitance_f: farad })
}

/// Four loops, one contact across, a loudspeaker, two sections: six contacts.
fn chain() -> Network {
    let speaker = Loudspeaker {
        voice_coil_ohm: 6.4,
        voice_coil_h: 0.4e-3,
        resonance_hz: 45.0,
        mechanical_q: 4.0,
        electrical_q: 0.5,
    };
    let first = Section {
        name: "first".into(),
        source: Some(Source { emf_v: 5e-3, resistance_ohm: 1000.0, inductance_h: 0.5 }),
        path: vec![
            contact("a"),
            lead(0.3, 150e-12),
            contact("b"),
            lead(0.5, 0.0),
            contact("c"),
            PathItem::Contact(Contact::perfect("mute", Role::Shunt)),
            contact("d"),
        ],
        load: Load { capacitance_f: 100e-12, ..Load::resistance(47e3) },
    };
    let stage =
        Stage { name: "stage".into(), gain_db: 35.0, equalisation: Equalisation::Riaa, output_resistance_ohm: 0.1 };
    let path = vec![lead(0.1, 1e-8), contact("e")];
    let second = Section {
        name: "second".into(),
        source: None,
        path,
        load: Load { loudspeaker: Some(speaker), ..Load::resistance(8.0) },
    };
    let items = vec![ChainItem::Section(first), ChainItem::Stage(stage), ChainItem::Section(second)];
    Network::from_chain(&Chain { items }).unwrap()
}

/// One loop with a resonance inside the band.
pub(super) fn cartridge() -> Network {
    let section = Section {
        name: "one".into(),
        source: Some(Source { emf_v: 5e-3, resistance_ohm: 1000.0, inductance_h: 0.5 }),
        path: vec![lead(0.0, 150e-12), contact("k"), contact("l")],
        load: Load { capacitance_f: 100e-12, ..Load::resistance(47e3) },
    };
    Network::from_section(&section).unwrap()
}

/// One contact across the signal.
pub(super) fn muted() -> Network {
    let section = Section {
        name: "muted".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 600.0, inductance_h: 0.0 }),
        path: vec![PathItem::Contact(Contact::perfect("mute", Role::Shunt)), lead(0.3, 1e-8)],
        load: Load::resistance(1e4),
    };
    Network::from_section(&section).unwrap()
}

pub(super) fn losses(network: &Network, f: Values<'_>, ohm: &[Values<'_>], points: usize) -> Vec<f64> {
    let mut out = vec![f64::NAN; points];
    loss_db(network, f, ohm, &mut out, &Unwatched).unwrap();
    out
}

pub(super) fn geometric(from: f64, to: f64, count: usize) -> Vec<f64> {
    (0..count).map(|k| from * (to / from).powf(k as f64 / (count.max(2) - 1) as f64)).collect()
}

#[test]
fn it_agrees_with_the_plain_walk() {
    // rounding of some dozens of operations on a logarithm of size one
    const ROUNDING_DB: f64 = 3e-12;
    let network = chain();
    let f = geometric(5.0, 90e3, 997);
    let ohm = [geometric(1e-3, 1e5, 997), geometric(3e4, 1e-2, 997), geometric(0.1, 9e3, 997)];
    let mute = geometric(1.0, 1e9, 997);
    let columns = [
        Values::Many(&ohm[0]),
        Values::Many(&ohm[1]),
        Values::One(20.0),
        Values::Many(&mute),
        Values::Many(&ohm[2]),
        Values::Many(&ohm[0]),
    ];
    let found = losses(&network, Values::Many(&f), &columns, 997);
    for k in 0..997 {
        let plain = linear::loss_db(&network, f[k], &columns.map(|column| column.at(k)));
        assert!((found[k] - plain).abs() < ROUNDING_DB, "{k}: {} {plain}", found[k]);
    }
}

#[test]
fn no_shape_changes_a_bit() {
    for network in [chain(), cartridge(), muted()] {
        for (frequencies, sets) in [(200, 9), (201, 7), (3, 400), (1, 600), (63, 20), (64, 20), (513, 3), (20_000, 2)] {
            let f = geometric(20.0, 20e3, frequencies);
            let r = geometric(1e-2, 1e4, sets);
            let points = frequencies * sets;
            let (all_f, all_r): (Vec<f64>, Vec<f64>) =
                (0..points).map(|k| (f[k % frequencies], r[k / frequencies])).unzip();
            let of = |f: Values<'_>, r: Values<'_>, points: usize| {
                let columns: Vec<Values<'_>> = (0..network.contacts.len())
                    .map(|k| if k % 2 == 0 { r } else { Values::One(77.0 * k as f64) })
                    .collect();
                losses(&network, f, &columns, points)
            };
            let spread = of(Values::Spread(&f, 1), Values::Spread(&r, frequencies), points);
            let many = of(Values::Many(&all_f), Values::Many(&all_r), points);
            let bits = |list: &[f64]| list.iter().map(|x| x.to_bits()).collect::<Vec<_>>();
            assert_eq!(bits(&spread), bits(&many), "{frequencies} {sets}");
            // frequencies along the other axis
            let turned = of(Values::Spread(&f, sets), Values::Spread(&r, 1), points);
            for k in (0..points).step_by(points / 50 + 1) {
                let one = of(Values::One(all_f[k]), Values::One(all_r[k]), 1)[0];
                assert_eq!(one.to_bits(), spread[k].to_bits(), "{frequencies} {sets} {k}");
                let across = turned[k % frequencies * sets + k / frequencies];
                assert_eq!(across.to_bits(), spread[k].to_bits(), "{frequencies} {sets} {k}");
            }
        }
    }
}

#[test]
fn small_losses_keep_their_digits() {
    // to first order 20/ln 10 Re(k) R with k the loss of one ohm; the next order is R/M of it
    let network = cartridge();
    for f in [20.0, 1e3, 15e3] {
        let of = |ohm: f64| losses(&network, Values::One(f), &[Values::One(ohm), Values::One(0.0)], 1)[0];
        let per_ohm = of(1e-3) / 1e-3;
        for ohm in [1e-6, 1e-9, 1e-12] {
            assert!((of(ohm) / (per_ohm * ohm) - 1.0).abs() < 1e-7, "{f} {ohm}: {:e}", of(ohm));
        }
        assert_eq!(of(0.0), 0.0);
    }
}

#[test]
fn a_loss_at_a_resonance_is_as_good_as_the_plain_walk() {
    // series inductance, capacitive load: a contact damps what resonates, and makes nothing louder
    let section = Section {
        name: "trap".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 1e-3, inductance_h: 0.0 }),
        path: vec![PathItem::Lead(Lead { resistance_ohm: 0.0, inductance_h: 1e-3, capacitance_f: 0.0 }), contact("k")],
        load: Load { capacitance_f: 1e-6, ..Load::resistance(1e6) },
    };
    let network = Network::from_section(&section).unwrap();
    let f = geometric(4.9e3, 5.2e3, 300);
    for ohm in [1e-4, 1.0, 1e4] {
        let found = losses(&network, Values::Many(&f), &[Values::One(ohm)], 300);
        for k in 0..300 {
            let plain = linear::loss_db(&network, f[k], &[ohm]);
            // a sum that cancels to a thousandth loses three digits in either walk
            assert!((found[k] - plain).abs() < 1e-10, "{k} {ohm}: {} {plain}", found[k]);
            assert!(found[k] > -1e-12, "{k} {ohm}: {}", found[k]);
        }
    }
}

#[test]
fn what_a_logarithm_does_not_know_is_as_in_the_plain_walk() {
    let network = cartridge();
    for ohm in [1e155, 1e200, f64::MAX, f64::INFINITY] {
        let found = losses(&network, Values::One(1e3), &[Values::One(ohm), Values::One(1.0)], 1)[0];
        let plain = linear::loss_db(&network, 1e3, &[ohm, 1.0]);
        assert!(
            found == plain || (found.is_nan() && plain.is_nan()) || (found - plain).abs() < 1e-9,
            "{found} {plain}"
        );
    }
}

#[test]
fn a_row_past_all_numbers_leaves_its_neighbours_alone() {
    let network = cartridge();
    let f = geometric(20.0, 20e3, 200);
    let ohm = [1.0, 1e155, 5.0, f64::MAX, f64::INFINITY, 1e150, 0.0];
    let columns = [Values::Spread(&ohm, 200), Values::One(1.0)];
    let all = losses(&network, Values::Spread(&f, 1), &columns, 1400);
    let each: Vec<f64> = (0..1400).map(|k| ohm[k / 200]).collect();
    let many = losses(&network, Values::Spread(&f, 1), &[Values::Many(&each), Values::One(1.0)], 1400);
    for k in 0..1400 {
        let plain = linear::loss_db(&network, f[k % 200], &[ohm[k / 200], 1.0]);
        let same = |x: f64, y: f64| x == y || (x.is_nan() && y.is_nan());
        assert!(same(all[k], plain) || (all[k] - plain).abs() < 1e-9, "{k} {} {plain}", all[k]);
        assert!(same(all[k], many[k]), "{k} {} {}", all[k], many[k]);
    }
}

#[test]
fn a_table_knows_up_to_which_resistance_every_frequency_has_a_logarithm() {
    use super::table::Table;
    use super::{LEAST, MOST_DEVIATION};
    // `2 Re k` of two frequencies, then their `|k|^2`
    let table = |twice: [f64; 2], square: [f64; 2]| Table::new(2, [twice, square].concat(), true);
    let down = table([-1e-4, 1e-4], [0.0, 0.0]);
    assert!(down.has_logarithms(-0.98 * LEAST * 1e4) && !down.has_logarithms(-LEAST * 1e4));
    let up = table([0.0, 2.0], [0.0, 0.0]);
    assert!(up.has_logarithms(0.49 * MOST_DEVIATION) && !up.has_logarithms(0.5 * MOST_DEVIATION));
    let square = table([0.0, 0.0], [0.0, 4.0]);
    let edge = 0.5 * MOST_DEVIATION.sqrt();
    assert!(square.has_logarithms(0.99 * edge) && !square.has_logarithms(edge));
    assert!(!table([f64::NAN, 0.0], [0.0, 0.0]).has_logarithms(1e-9));
}
