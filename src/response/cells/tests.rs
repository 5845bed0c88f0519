//! Cells against the old road, interval by interval, and against a dense grid of frequencies.

use super::*;
use crate::circuit::chain::Network;
use crate::circuit::{Chain, ChainItem, Contact, Equalisation, Lead, Load, Loudspeaker, PathItem, Role, Section};
use crate::circuit::{Source, Stage};
use crate::response::ceiling::{Ceiling, Loop, Status};
use crate::response::ceilings::{Asked, Ceilings, ceilings_on};
use crate::response::linear::{AUDIBLE_BAND_HZ, log_grid};
use crate::response::sweep::Values;
use crate::watch::Unwatched;

#[test]
fn a_floor_is_below_every_value_and_close() {
    // by looking: the parabola's least value, and what higher powers and the rest can take from it at most
    for (c, rest) in [
        ([1.0, 0.5, 2.0, 0.0], 0.0),
        ([1.0, 0.5, 2.0, 0.1], 1e-3),
        ([-3.0, 4.0, 1.0, -0.2], 0.5),
        ([2.0, -1.0, -3.0, 0.0], 0.25),
        ([0.5, 0.0, 0.0, 0.0], 2.0),
    ] {
        let parabola = |x: f64| (c[2] * x + c[1]) * x + c[0];
        let least = (0..=2000).map(|k| parabola(f64::from(k) * 1e-3 - 1.0)).fold(f64::INFINITY, f64::min);
        let expected = least - c[3].abs() - rest;
        let found = below(&c, rest);
        assert!(found <= expected + 1e-12 && found > expected - 1e-5, "{c:?} {rest} {found} {expected}");
    }
}

#[test]
fn a_bowl_is_curved_as_much_as_its_polynomial_proves() {
    let corners = Corners { s: (1.0, 2.0), p: (0.5, 1.0) };
    let run = |first: &[f64]| {
        let mut part = [0.0; MANY];
        part[..first.len()].copy_from_slice(first);
        run_of(&Form { parts: [part, [0.0; MANY], [0.0; MANY]], rest: [0.0; 3] }, &corners)
    };
    // second derivative of 1 + x/10 + x^2/2 + x^3/20 + x^4/50 on [-1, 1]: 1 + 3x/10 + 12 x^2/50, bounded term by term
    let Run::Bowl(curvature) = run(&[1.0, 0.1, 0.5, 0.05, 0.02]) else { panic!("no bowl") };
    assert!((curvature - (1.0 - 0.3 - 0.24 - CURVED)).abs() < 1e-15, "{curvature}");
    // rises everywhere; falls everywhere; does neither by more than rounding
    assert!(matches!(run(&[1.0, 0.5, 0.1, 0.05]), Run::Rising) && matches!(run(&[1.0, -0.5, 0.1, 0.05]), Run::Falling));
    assert!(matches!(run(&[1.0, 0.1 * LEFT_OUT]), Run::Level));
    // as much curvature as is taken off for rounding: nothing is proved
    assert!(matches!(run(&[1.0, 0.0, 0.5 * CURVED]), Run::Unclear));
}

fn contact(name: &str) -> PathItem {
    PathItem::Contact(Contact::ohmic(name, 0.0))
}

fn lead(ohm: f64, henry: f64, farad: f64) -> PathItem {
    PathItem::Lead(Lead { resistance_ohm: ohm, inductance_h: henry, capacitance_f: farad })
}

fn section(source: (f64, f64), path: Vec<PathItem>, load: Load) -> Section {
    let (resistance_ohm, inductance_h) = source;
    let source = Some(Source { emf_v: 1.0, resistance_ohm, inductance_h });
    Section { name: "s".into(), source, path, load }
}

/// Loops that differ in what their supremum does: at an end, at a resonance, level, across, behind stages.
fn networks() -> Vec<(&'static str, Network)> {
    let of = |section: &Section| Network::from_section(section).unwrap();
    let cartridge_load = Load { capacitance_f: 100e-12, ..Load::resistance(47e3) };
    let speaker = Loudspeaker {
        voice_coil_ohm: 6.4,
        voice_coil_h: 0.4e-3,
        resonance_hz: 45.0,
        mechanical_q: 4.0,
        electrical_q: 0.5,
    };
    let speaker_load = Load { loudspeaker: Some(speaker), ..Load::resistance(8.0) };
    let mute = PathItem::Contact(Contact::perfect("mute", Role::Shunt));
    let items = vec![
        ChainItem::Section(section((1e3, 0.5), vec![contact("k"), lead(0.0, 0.0, 2e-10)], cartridge_load)),
        ChainItem::Stage(Stage {
            name: "stage".into(),
            gain_db: 35.0,
            equalisation: Equalisation::Riaa,
            output_resistance_ohm: 600.0,
        }),
        ChainItem::Section(Section {
            name: "t".into(),
            source: None,
            path: vec![lead(10.0, 0.0, 1e-9)],
            load: Load::resistance(2e4),
        }),
    ];
    vec![
        ("cartridge", of(&section((1e3, 0.5), vec![lead(0.0, 0.0, 150e-12), contact("k")], cartridge_load))),
        ("before the lead", of(&section((1e3, 0.5), vec![contact("k"), lead(0.0, 0.0, 150e-12)], cartridge_load))),
        ("sharp", of(&section((20.0, 0.5), vec![contact("k"), lead(0.0, 0.0, 1e-9)], Load::resistance(1e6)))),
        ("speaker", of(&section((0.05, 0.0), vec![contact("k"), lead(0.1, 1e-6, 1e-9)], speaker_load))),
        ("level", of(&section((10.0, 0.0), vec![contact("k")], Load::resistance(1e3)))),
        ("across", of(&section((1e3, 0.02), vec![mute, lead(10.0, 0.0, 1e-8)], Load::resistance(9e3)))),
        ("chain", Network::from_chain(&Chain { items }).unwrap()),
    ]
}

/// Ranges of every size, a third from zero; one in `every`.
fn ranges(count: usize, across: bool) -> Vec<(f64, f64)> {
    let mut seed = 1u64;
    let mut next = move || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1u64 << 53) as f64
    };
    let one = |k: usize| {
        let high = 10f64.powf(-3.0 + 10.0 * next());
        let low = high * next();
        match (across, k % 3) {
            (true, 0) => (low, f64::INFINITY),
            (false, 0) => (0.0, high),
            _ => (low, high),
        }
    };
    (0..count).map(one).collect()
}

/// The ceiling, and whether its cell gave it.
fn from_cells(ready: &Loop<'_>, range: (f64, f64)) -> (Ceiling, bool) {
    let mut found = [[f64::NAN; ROOM]; 2];
    if let Some((number, (low, high))) = ready.cell_number(range) {
        if let Some(cell) = ready.cell(number) {
            let [harmonics, chatter] = &mut found;
            ready.in_cell(&cell, 1, [&[low; ROOM], &[high; ROOM]], [harmonics, chatter]);
        }
    }
    (ready.one_from_cell(range), !found[1][0].is_nan())
}

#[test]
fn cells_say_what_intervals_say() {
    // both enclose the same supremum, each to 1e-11 of the square
    const BOTH: f64 = 2e-11;
    // below, only by the rounding of the harmonics' arithmetic
    const ROUNDING: f64 = 1e-13;
    for (name, network) in networks() {
        let across = network.contacts[0].role == Role::Shunt;
        let fixed = network.perfect_ohm();
        for driven_hz in [37.0, 1e3, 11e3] {
            let ready = Loop::new(&network, &[0], &fixed, driven_hz, AUDIBLE_BAND_HZ).unwrap();
            let mut by_cells = 0;
            let all = ranges(300, across);
            for &range in &all {
                let (new, cell) = from_cells(&ready, range);
                let old = ready.ceiling(range);
                assert_eq!((new.status, old.status), (Status::Holds, Status::Holds));
                assert!((new.chatter / old.chatter - 1.0).abs() < BOTH, "{name} {range:?} {new:?} {old:?}");
                let same = new.harmonics.is_nan() && old.harmonics.is_nan();
                assert!(same || (new.harmonics / old.harmonics - 1.0).abs() < ROUNDING, "{name} {new:?} {old:?}");
                by_cells += usize::from(cell);
            }
            // the comparison says nothing where all go the old road; at a Q of a thousand rounding leaves cells to it
            println!("{name} at {driven_hz} Hz: {by_cells} of {} from cells", all.len());
            let least = if name == "sharp" { 0.3 } else { 0.9 };
            assert!(by_cells as f64 > least * all.len() as f64, "{name} {by_cells}");
        }
    }
}

#[test]
fn no_frequency_is_above_the_ceiling() {
    for (name, network) in networks() {
        let across = network.contacts[0].role == Role::Shunt;
        let ready = Loop::new(&network, &[0], &network.perfect_ohm(), 1e3, AUDIBLE_BAND_HZ).unwrap();
        let at_driven = ready.output_per_current(1e3);
        let mut nearest = 0.0f64;
        for range in ranges(24, across) {
            let ceiling = from_cells(&ready, range).0.chatter;
            let own = if across { (range.1.recip(), range.0.recip()) } else { range };
            for x in log_grid(AUDIBLE_BAND_HZ) {
                let share = ready.product_share(x.exp(), own) / at_driven;
                nearest = nearest.max(share / ceiling);
                assert!(share <= ceiling * (1.0 + 1e-13), "{name} {range:?} {share} {ceiling}");
            }
        }
        assert!(nearest > 0.99, "{name}: a ceiling far above everything proves nothing, {nearest}");
    }
}

#[test]
fn one_range_has_the_bits_that_it_has_among_many() {
    let network = &networks()[0].1;
    let all = ranges(20_000, false);
    let (low, high): (Vec<f64>, Vec<f64>) = all.into_iter().unzip();
    let of = |low: Values<'_>, high: Values<'_>, points: usize| {
        let ranges = [(0, low, high)];
        let asked = Asked {
            network,
            frequency_hz: Values::One(1e3),
            emf_v: Values::One(1.0),
            film_ohm: &[Values::One(0.0)],
            ranges: Some(&ranges),
            band_hz: AUDIBLE_BAND_HZ,
            other_channel: Some(1.0),
        };
        ceilings_on(None, &asked, points, &Unwatched).unwrap()
    };
    let bits = |c: &Ceilings, k: usize| (c.harmonics[k].to_bits(), c.chatter[k].to_bits());
    let many = of(Values::Many(&low), Values::Many(&high), low.len());
    let front = of(Values::Many(&low[..77]), Values::Many(&high[..77]), 77);
    assert!((0..77).all(|k| bits(&front, k) == bits(&many, k)));
    for k in (0..low.len()).step_by(397) {
        let alone = of(Values::One(low[k]), Values::One(high[k]), 1);
        assert_eq!(bits(&alone, 0), bits(&many, k), "{k}");
    }
}

/// Two contacts of one loop, one of them with a direct current through it.
fn two_in_a_loop(direct_current_a: f64) -> Network {
    let second = PathItem::Contact(Contact { direct_current_a, ..Contact::ohmic("l", 0.0) });
    let path = vec![contact("k"), second, lead(0.0, 0.0, 150e-12)];
    Network::from_section(&section((1e3, 0.5), path, Load::resistance(47e3))).unwrap()
}

#[test]
fn what_does_not_move_opens_or_carries_direct_current_is_as_alone() {
    let mut all = networks();
    all.truncate(6);
    all.push(("two", two_in_a_loop(0.0)));
    all.push(("direct", two_in_a_loop(2e-6)));
    for (name, network) in all {
        let across = network.contacts[0].role == Role::Shunt;
        let (mut low, mut high): (Vec<f64>, Vec<f64>) = ranges(5000, across).into_iter().unzip();
        for k in (0..5000).step_by(7) {
            if k % 2 == 0 {
                high[k] = low[k];
            } else if across {
                low[k] = 0.0;
            } else {
                high[k] = f64::INFINITY;
            }
        }
        // the second contact of two stands now and then
        let second: Vec<f64> = (0..5000).map(|k| if k % 5 == 0 { 1.0 } else { 2.0 }).collect();
        let film_ohm = [Values::One(0.0), Values::One(0.0)];
        let of = |low: Values<'_>, high: Values<'_>, second: Values<'_>, points: usize| {
            let both = [(0, low, high), (1, Values::One(1.0), second)];
            let asked = Asked {
                network: &network,
                frequency_hz: Values::One(1e3),
                emf_v: Values::One(1.0),
                film_ohm: &film_ohm[..network.contacts.len()],
                ranges: Some(&both[..network.contacts.len()]),
                band_hz: AUDIBLE_BAND_HZ,
                other_channel: Some(1.0),
            };
            ceilings_on(None, &asked, points, &Unwatched).unwrap()
        };
        let many = of(Values::Many(&low), Values::Many(&high), Values::Many(&second), low.len());
        let mut seen = [0; 2];
        for k in (0..low.len()).step_by(11).chain((0..low.len()).step_by(35)) {
            let alone = of(Values::One(low[k]), Values::One(high[k]), Values::One(second[k]), 1);
            assert_eq!(alone.status[0], many.status[k], "{name} {k} {} {}", low[k], high[k]);
            assert_eq!(alone.chatter[0].to_bits(), many.chatter[k].to_bits(), "{name} {k} {} {}", low[k], high[k]);
            assert_eq!(alone.harmonics[0].to_bits(), many.harmonics[k].to_bits(), "{name} {k}");
            seen[usize::from(many.status[k] == Status::Holds)] += 1;
        }
        assert!(seen[1] > 100 && seen[0] > 30, "{name} {seen:?}");
    }
}

#[test]
fn frequencies_along_either_axis_are_the_same() {
    let network = &networks()[1].1;
    let (hz, (low, high)): (Vec<f64>, (Vec<f64>, Vec<f64>)) =
        ([37.0, 1e3, 2.5e3].to_vec(), ranges(150, false).into_iter().unzip());
    let of = |hz: Values<'_>, low: Values<'_>, high: Values<'_>, points: usize| {
        let ranges = [(0, low, high)];
        let asked = Asked {
            network,
            frequency_hz: hz,
            emf_v: Values::One(1.0),
            film_ohm: &[Values::One(0.0)],
            ranges: Some(&ranges),
            band_hz: AUDIBLE_BAND_HZ,
            other_channel: Some(1.0),
        };
        ceilings_on(None, &asked, points, &Unwatched).unwrap()
    };
    let rows = of(Values::Spread(&hz, 150), Values::Spread(&low, 1), Values::Spread(&high, 1), 450);
    let columns = of(Values::Spread(&hz, 1), Values::Spread(&low, 3), Values::Spread(&high, 3), 450);
    for (row, &f) in hz.iter().enumerate() {
        let shared = of(Values::One(f), Values::Many(&low), Values::Many(&high), 150);
        for k in 0..150 {
            let (by_row, by_column) = (rows.chatter[row * 150 + k], columns.chatter[k * 3 + row]);
            assert_eq!((by_row.to_bits(), by_column.to_bits()), (shared.chatter[k].to_bits(), by_row.to_bits()));
            assert_eq!(rows.harmonics[row * 150 + k].to_bits(), shared.harmonics[k].to_bits());
        }
    }
}

#[test]
fn a_range_lies_in_its_cell() {
    for range in ranges(5000, false) {
        let number = cell_of(range).unwrap();
        let Corners { s, p } = corners_of(number);
        let (sum, product) = (range.0 + range.1, range.0 * range.1);
        assert!(s.0 <= sum && sum < s.1 && p.0 <= product && product <= p.1, "{range:?} {s:?} {p:?}");
    }
    for beyond in [(0.0, 1e-20), (0.0, 1e30), (1e-200, 1.0), (f64::NAN, 1.0), (0.0, f64::INFINITY)] {
        assert_eq!(cell_of(beyond), None);
    }
}

/// `1/least^2` of a polynomial whose curvature is at least `m`, as the kernel sees it: half a swing of one, no sum, no product.
fn lowest(a: &[f64], rest: f64, m: f64) -> f64 {
    let mut parts = [[0.0; MANY]; 3];
    parts[0][..a.len()].copy_from_slice(a);
    let form = Form { parts, rest: [rest, 0.0, 0.0] };
    let bowl = Bowl { form, terms: a.len(), inverse_curvature: 0.5 / m };
    let cell = Cell { floors: Vec::new(), bowls: vec![bowl], harmonics: Vec::new() };
    let [mut harmonics, mut chatter] = [[0.0; ROOM]; 2];
    let (low, high) = ([-1.0; ROOM], [1.0; ROOM]);
    pulp::Arch::new().dispatch(Ranges {
        cell: &cell,
        count: 1,
        low: &low,
        high: &high,
        harmonics: &mut harmonics,
        chatter: &mut chatter,
    });
    chatter[0].powi(-2)
}

#[test]
fn a_bowl_is_never_taken_for_higher_than_it_is() {
    // the product is -1 here and its part zero. Least 0.955 at x = -0.3, and the rest comes off
    let found = lowest(&[1.0, 0.3, 0.5, 0.0], 1e-3, 1.0);
    assert!((found - 0.954).abs() < 1e-12, "{found}");
    // the least at an end, the slope outwards: nothing comes off for the slope
    let found = lowest(&[2.0, -1.5, 0.1, 0.0], 0.0, 0.2);
    assert!((found - 0.6).abs() < 1e-12, "{found}");
    // three steps do not arrive: the old road, not a number that is too high
    assert!(lowest(&[3.0, 0.9, 0.05, 0.0, 3.0], 0.0, 0.1).is_nan());
}
