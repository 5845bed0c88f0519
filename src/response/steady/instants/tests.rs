use super::super::solve::{Solver, Tones};
use super::element::Element;
use super::march::BEGIN;
use super::sums::add_lines;
use super::*;
use crate::circuit::{Contact, Lead, Load, Loudspeaker, PathItem, Role, Section, Source};
use crate::physics::Film;
use crate::watch::Unwatched;
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;
use std::f64::consts::TAU;

const SPEAKER: Loudspeaker =
    Loudspeaker { voice_coil_ohm: 6.0, voice_coil_h: 3e-4, resonance_hz: 50.0, mechanical_q: 4.0, electrical_q: 0.5 };

fn network(emf_v: f64, films: &[(Film, Role)], load: Load, farad: f64) -> Network {
    let mut path = Vec::new();
    for (k, (film, role)) in films.iter().enumerate() {
        let contact =
            Contact { film: *film, role: *role, constriction_ohm: 0.01, ..Contact::ohmic(format!("k{k}"), 1.0) };
        path.push(PathItem::Contact(contact));
        path.push(PathItem::Lead(Lead { capacitance_f: farad, ..Lead::default() }));
    }
    let inductance_h = if load.loudspeaker.is_some() { 0.0 } else { 0.3 };
    let source = Source { emf_v, resistance_ohm: if inductance_h > 0.0 { 800.0 } else { 0.05 }, inductance_h };
    Network::from_section(&Section { name: "s".into(), source: Some(source), path, load }).unwrap()
}

pub(super) fn ohm(network: &Network) -> Vec<f64> {
    network.contacts.iter().map(|c| c.film.resistance_ohm()).collect()
}

fn cartridge() -> Load {
    Load { capacitance_f: 2e-10, ..Load::resistance(47e3) }
}

fn speaker() -> Load {
    Load { loudspeaker: Some(SPEAKER), ..Load::resistance(8.0) }
}

/// Diodes of 10 ohm to a megohm, mild and hard, one to three of them, at a cartridge and at a loudspeaker.
pub(super) fn mild() -> Vec<Network> {
    let diode = |ohm| Film::Rectifying { resistance_ohm: ohm, ideality: 1.5, leak_ratio: 0.1 };
    let sinh = |ohm| Film::Tunnelling { resistance_ohm: ohm, scale_v: 0.1 };
    let bridge = |ohm| Film::Bridged { resistance_ohm: ohm };
    let signal = |film| (film, Role::Signal);
    vec![
        network(0.05, &[signal(diode(1e4))], cartridge(), 0.0),
        network(0.3, &[signal(sinh(1e4)), signal(diode(2e3))], cartridge(), 1e-10),
        network(0.3, &[signal(bridge(300.0)), (sinh(2e4), Role::Shunt)], cartridge(), 1e-10),
        network(0.5, &[(sinh(3.0), Role::SharedReturn), signal(bridge(0.1))], speaker(), 0.0),
        network(0.1, &[(diode(10.0), Role::Shunt), (sinh(2e2), Role::Shunt), signal(sinh(4.0))], speaker(), 0.0),
        // a film across the signal that carries next to nothing beside what goes by, and one with nothing of its own between capacitances
        network(0.5, &[(bridge(3e8), Role::Shunt), signal(diode(6.0))], speaker(), 0.0),
        between_capacitances(sinh(1e3)),
    ]
}

/// Rows that neither store nor lose: a film next to a short between capacitances, two of them in a row, a film across the signal beside one
/// in series, one across the loudspeaker itself; two bridges in loops that only a capacitance joins; two in a row between nodes without loss; and two with a shunt between.
pub(super) fn hollow() -> Vec<Network> {
    let sinh = |ohm| Film::Tunnelling { resistance_ohm: ohm, scale_v: 0.1 };
    let bridge = |ohm| Film::Bridged { resistance_ohm: ohm };
    let bare = |emf_v, films: &[(Film, Role)], load, farad| {
        let mut network = network(emf_v, films, load, farad);
        network.contacts[1..].iter_mut().for_each(|contact| contact.constriction_ohm = 0.0);
        network
    };
    let (signal, shunt) = (Role::Signal, Role::Shunt);
    let mut across = network(0.1, &[(sinh(2.0), signal), (sinh(20.0), shunt)], speaker(), 0.0);
    across.contacts[1].constriction_ohm = 0.0;
    // nothing but capacitance on all the nodes that two of them tie
    let four = [1e3, 0.1, 50.0, 10.0].map(|ohm| (sinh(ohm), signal));
    let mut last_lossless = bare(0.3, &four, cartridge(), 3e-11);
    last_lossless.contacts[3].constriction_ohm = 0.01;
    vec![
        bare(0.3, &[(sinh(1e3), signal), (sinh(1e-3), signal)], cartridge(), 3e-11),
        bare(0.3, &[(sinh(1e3), signal), (sinh(0.1), signal), (sinh(50.0), signal)], cartridge(), 3e-11),
        bare(0.1, &[(sinh(1e3), signal), (sinh(2e3), shunt), (sinh(300.0), signal)], cartridge(), 0.0),
        across,
        network(0.3, &[(bridge(300.0), signal), (bridge(200.0), signal)], cartridge(), 1e-10),
        last_lossless,
        beside_a_shunt(),
    ]
}

/// Two films next to shorts and a plain resistance across between them: what one makes its neighbour give, the other must follow with its slope.
fn beside_a_shunt() -> Network {
    let sinh = |name: &str, ohm, constriction_ohm| {
        let film = Film::Tunnelling { resistance_ohm: ohm, scale_v: 0.1 };
        PathItem::Contact(Contact { film, constriction_ohm, ..Contact::ohmic(name.to_owned(), 1.0) })
    };
    let across = PathItem::Contact(Contact { role: Role::Shunt, ..Contact::ohmic("across", 1e4) });
    let lead = PathItem::Lead(Lead { capacitance_f: 3e-9, ..Lead::default() });
    let source = Source { emf_v: 0.3, resistance_ohm: 800.0, inductance_h: 0.3 };
    let path = vec![sinh("a", 1e3, 0.01), lead, sinh("b", 0.1, 0.0), across, sinh("c", 0.1, 0.0)];
    Network::from_section(&Section { name: "s".into(), source: Some(source), path, load: cartridge() }).unwrap()
}

fn between_capacitances(film: Film) -> Network {
    let contact = |name: &str, constriction_ohm| {
        PathItem::Contact(Contact { film, constriction_ohm, ..Contact::ohmic(name.to_owned(), 1.0) })
    };
    let lead = PathItem::Lead(Lead { capacitance_f: 3e-11, ..Lead::default() });
    let source = Source { emf_v: 0.3, resistance_ohm: 800.0, inductance_h: 0.3 };
    let path = vec![contact("a", 0.01), lead, contact("b", 0.0)];
    Network::from_section(&Section { name: "s".into(), source: Some(source), path, load: cartridge() }).unwrap()
}

#[test]
fn a_neighbour_gives_way_where_a_film_hardly_answers() {
    // what a node's film carries is the difference of two currents: 1e-9 of them here, of which rounding leaves the film's voltage unknown
    let weak = &mild()[5];
    let mut period = Period::new(weak, (2e3, weak.emf_v), &ohm(weak), &Unwatched).unwrap();
    let either = Some(ways::Way::Either(0));
    assert_eq!(period.marcher.ways.of, [None, either, None, None, None][..period.loops.parts.len()]);
    assert!(!period.marcher.ways.unbroken);
    period.settle().unwrap();
    period.refine(1e-12 * weak.emf_v).unwrap();
    let rest: Vec<f64> = period.rest().rows.into_iter().map(|(rms, _)| rms).collect();
    assert!(rest[0] < 1e-10 * weak.emf_v && rest[1] == 0.0, "{rest:?}");
}

#[test]
fn who_makes_a_row_hold() {
    let of = |network: &Network| Period::new(network, (2e3, network.emf_v), &ohm(network), &Unwatched).unwrap();
    let gives = |n| Some(ways::Way::Gives(n));
    let [short, two, beside, across, bridges, _, shunt] = &hollow()[..] else { panic!() };
    assert_eq!(of(short).marcher.ways.of, [None, None, gives(1), None]);
    // from the last to the first, each to the left
    assert_eq!(of(two).marcher.ways.of, [None, None, gives(1), None, gives(3), None]);
    // side by side neither can ask its own film
    assert_eq!(of(beside).marcher.ways.of, [None, gives(0), gives(3), None]);
    // what is answered may move along its own film too
    let period = of(across);
    assert_eq!((period.marcher.ways.of[1], period.loops.output), (Some(ways::Way::Either(0)), 1));
    assert_eq!(of(shunt).marcher.ways.of, [None, None, gives(1), None, gives(3), None]);
    let period = of(bridges);
    assert_eq!(period.balance.as_ref().unwrap().rows().collect::<Vec<_>>(), [1]);
    assert_eq!(period.gains[0].per_mean[1], 0.0);
}

#[test]
fn how_far_an_answered_node_goes_along_its_film_is_counted() {
    // where the diode blocks, what it carries is the difference of two currents: the node's film follows, not the diode's voltage
    let diode = Film::Rectifying { resistance_ohm: 3e6, ideality: 2.0, leak_ratio: 0.014 };
    let across = Film::Tunnelling { resistance_ohm: 3e8, scale_v: 0.36 };
    let network = network(5.7, &[(diode, Role::Signal), (across, Role::Shunt)], speaker(), 0.0);
    let tone = (2e4, network.emf_v);
    let mut period = Period::new(&network, tone, &ohm(&network), &Unwatched).unwrap();
    assert_eq!((period.marcher.ways.of[1], period.loops.output), (Some(ways::Way::Either(0)), 1));
    period.settle().unwrap();
    assert!(period.rest().given > 0.0);
    let answer = solve(&network, tone, &ohm(&network), &Unwatched).unwrap();
    assert!(answer.error_v <= CONVERGED * residue_v(&answer.output));
}

#[test]
fn lines_and_instants_agree() {
    let mut solver = Solver::default();
    for (k, network) in mild().into_iter().chain(hollow()).enumerate() {
        let film_ohm = ohm(&network);
        let tone = (2e3, network.emf_v);
        let lines = solver.solve(&network, Tones::One(tone), &film_ohm);
        let instants = solve(&network, tone, &film_ohm, &Unwatched).unwrap_or_else(|| panic!("network {k}"));
        // as many as so many lines and direct current take
        assert_eq!(instants.samples, 2 * (instants.output.len() - 1) + 1);
        assert!(lines.converged && lines.samples != instants.samples);
        let apart: f64 = lines.output.iter().zip(&instants.output).skip(1).map(|(a, b)| 2.0 * (a - b).norm_sqr()).sum();
        // both bounds hold, and neither is large
        assert!(apart.sqrt() <= lines.error_v + instants.error_v, "{} {}", apart.sqrt(), instants.error_v);
        assert!(instants.error_v <= CONVERGED * residue_v(&instants.output));
        for (a, b) in lines.chord_ohm.iter().zip(&instants.chord_ohm) {
            assert!((a.0 / b.0 - 1.0).abs() < 0.02 && (a.1 / b.1 - 1.0).abs() < 0.02, "{a:?} {b:?}");
        }
    }
}

#[test]
fn the_bound_is_above_the_error_and_not_far() {
    // a coarse march, pushed aside besides, against the fine answer
    let mut nearest = 0.0f64;
    for network in mild().into_iter().chain(hollow()) {
        let film_ohm = ohm(&network);
        let tone = (2e3, network.emf_v);
        let fine = solve(&network, tone, &film_ohm, &Unwatched).unwrap();
        let mut period = Period::new(&network, tone, &film_ohm, &Unwatched).unwrap();
        period.settle().unwrap();
        period.refine(1e-7 * residue_v(&fine.output)).unwrap();
        period.close();
        let parts = period.loops.parts.len();
        for part in 0..parts {
            for order in [0, 1, 3] {
                let kept = period.march.clone();
                for step in &mut period.march.steps {
                    let push = |place: f64| 1e-4 * (TAU * f64::from(order) * (step.from + step.length * place)).cos();
                    let start = push(0.0);
                    for (l, place) in radau::POINTS.into_iter().enumerate() {
                        step.wave_v[l * parts + part] += push(place);
                        step.risen_v[l * parts + part] += push(place) - start;
                    }
                }
                let mut rest = period.rest();
                period.balance(&mut rest);
                let count = LINES[0];
                let lines = period.lines(count).0;
                let off: f64 =
                    lines.iter().zip(&fine.output).skip(1).map(|(a, b)| 2.0 * (a - b).norm_sqr()).sum::<f64>().sqrt();
                let bound = period.moved_v(&rest, &period.gains[0]) + fine.error_v;
                assert!(off <= bound, "part {part} order {order}: {off} above {bound}");
                nearest = nearest.max(off / bound);
                period.march = kept;
            }
        }
    }
    assert!(nearest > 0.3, "{nearest}");
}

#[test]
fn a_film_that_lets_an_inductance_go_is_answered_with_a_proof() {
    // the lines of a step of a nanosecond: no even grid holds them
    let film = Film::Rectifying { resistance_ohm: 1e6, ideality: 1.3, leak_ratio: 0.02 };
    let network = network(4.0, &[(film, Role::Signal)], speaker(), 0.0);
    let film_ohm = ohm(&network);
    let answer = Solver::default().solve(&network, Tones::One((1e3, 4.0)), &film_ohm);
    assert!(answer.converged && answer.error_v <= CONVERGED * residue_v(&answer.output));
    // half of the sine is missing: its even harmonics are there
    let second = answer.output[2].norm() / answer.output[1].norm();
    assert!((0.3..0.6).contains(&second), "{second}");
}

#[test]
fn a_megohm_at_the_source_and_a_diode_at_an_output_far_away_are_proved() {
    // two dividers take the tone to 1e-12 of itself: what rounding of the EMF makes the first film carry hardly comes so far
    let film = Film::Tunnelling { resistance_ohm: 2.3e6, scale_v: 0.04 };
    let diode = Film::Rectifying { resistance_ohm: 1.4, ideality: 1.4, leak_ratio: 0.024 };
    let item = |name: &str, film, role| PathItem::Contact(Contact { film, role, ..Contact::ohmic(name, 1.0) });
    let ohmic = |ohm| Film::Ohmic { resistance_ohm: ohm };
    let path = vec![
        item("a", film, Role::Signal),
        item("b", ohmic(3e3), Role::Signal),
        item("c", Film::Bridged { resistance_ohm: 3e-5 }, Role::Shunt),
        item("d", ohmic(1.3e4), Role::Signal),
        item("e", diode, Role::Shunt),
    ];
    let source = Source { emf_v: 14.0, resistance_ohm: 800.0, inductance_h: 0.13 };
    let network =
        Network::from_section(&Section { name: "s".into(), source: Some(source), path, load: cartridge() }).unwrap();
    let answer = solve(&network, (1e4, 14.0), &ohm(&network), &Unwatched).unwrap();
    assert!(answer.error_v <= CONVERGED * residue_v(&answer.output) && residue_v(&answer.output) < 1e-11);
}

#[test]
fn where_films_have_no_bound_finer_steps_say_where_the_true_state_is() {
    // nothing is known of a bridge between capacitances but over what it visits
    let diode = |resistance_ohm, ideality, leak_ratio| Film::Rectifying { resistance_ohm, ideality, leak_ratio };
    let films = [diode(10.0, 1.8, 0.02), diode(5.4e8, 1.07, 0.37), Film::Bridged { resistance_ohm: 6.4e-6 }];
    let mut network = network(21.5, &films.map(|film| (film, Role::Signal)), cartridge(), 1.8e-10);
    network.contacts.iter_mut().for_each(|contact| contact.constriction_ohm = 0.0);
    let tone = (1e3, network.emf_v);
    assert!(Period::new(&network, tone, &ohm(&network), &Unwatched).unwrap().anywhere.is_none());
    let answer = solve(&network, tone, &ohm(&network), &Unwatched).unwrap();
    assert!(answer.error_v <= CONVERGED * residue_v(&answer.output));
}

#[test]
fn what_this_road_does_not_take_is_refused() {
    let plain = network(1.0, &[(Film::Ohmic { resistance_ohm: 1.0 }, Role::Signal)], speaker(), 0.0);
    assert!(solve(&plain, (1e3, 1.0), &[1.0], &Unwatched).is_none());
    let mut direct = mild().remove(0);
    direct.contacts[0].direct_current_a = 1e-6;
    assert!(solve(&direct, (1e3, 0.05), &[1e4], &Unwatched).is_none());
    assert!(solve(&mild()[0], (1e3, 0.05), &[f64::INFINITY], &Unwatched).is_none());
}

#[test]
fn a_wave_that_is_no_number_has_no_place() {
    // a row that has no solution tells its neighbours so, and none of them may stop the program
    let sinh = (Film::Tunnelling { resistance_ohm: 10.0, scale_v: 0.1 }, 0.3, 0);
    let bridge = (Film::Bridged { resistance_ohm: 10.0 }, 0.3, 1);
    for is_node in [false, true] {
        for films in [&[][..], &[sinh], &[bridge], &[sinh, bridge]] {
            let element = Element::new(is_node, 50.0, films).unwrap();
            for wave in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                for mut start in [f64::NAN, 0.1] {
                    let stand = element.at(wave, &mut start);
                    assert!(stand.y.is_nan() && stand.f.is_nan() && (start.is_nan() || start == 0.1));
                }
            }
        }
    }
}

/// Films of these resistances, in powers of ten, and kinds, for one element.
pub(super) fn films(log_r: &[f64], kinds: &[usize], is_node: bool) -> Vec<(Film, f64, usize)> {
    let one = |(number, (log_r, kind)): (usize, (&f64, &usize))| {
        let resistance_ohm = 10f64.powf(*log_r);
        let film = match kind {
            0 => Film::Tunnelling { resistance_ohm, scale_v: 0.1 },
            1 => Film::Bridged { resistance_ohm },
            _ => Film::Rectifying { resistance_ohm, ideality: 1.5, leak_ratio: 0.1 },
        };
        (film, if is_node { 0.3 } else { 0.0 }, number)
    };
    log_r.iter().zip(kinds).enumerate().map(one).collect()
}

proptest! {
    #[test]
    fn an_element_lies_on_its_laws_and_on_its_wave(log_r in prop::collection::vec(-3.0f64..7.0, 1..4), kinds in prop::collection::vec(0usize..3, 3),
                                                  log_wave in -2.0f64..6.0, wave_v in -30.0f64..30.0, is_node in any::<bool>()) {
        let films = films(&log_r, &kinds, is_node);
        let wave_ohm = 10f64.powf(log_wave);
        let element = Element::new(is_node, wave_ohm, &films).unwrap();
        let at = |wave_v: f64| {
            let mut start = f64::NAN;
            element.at(wave_v, &mut start)
        };
        let stand = at(wave_v);
        let wave = if is_node { stand.y + wave_ohm * stand.f } else { wave_ohm * stand.y + stand.f };
        prop_assert!((wave - wave_v).abs() <= 1e-12 * wave_v.abs(), "{wave} {wave_v}");
        let (mut voltage, mut current) = (0.0, 0.0);
        let mut near = true;
        element.voltages(wave_v, &mut |k, u| {
            let own = films[k].0.current_a(u);
            voltage += u;
            current += own;
            // an exponential makes 1e-13 of a voltage some 1e-10 of its current
            near &= is_node || (own - stand.y).abs() <= 1e-9 * stand.y.abs();
        });
        prop_assert!(near);
        let sum = if is_node { current } else { voltage };
        prop_assert!((sum - stand.f).abs() <= 1e-9 * stand.f.abs(), "{sum} {}", stand.f);
        // slopes against a difference
        let h = 1e-5 * wave_v.abs();
        let (a, b) = (at(wave_v - h), at(wave_v + h));
        prop_assert!(((b.y - a.y) / (2.0 * h) - stand.dy).abs() <= 1e-4 * stand.dy.abs() + 1e-9 * (stand.y / wave_v).abs());
        prop_assert!(((b.f - a.f) / (2.0 * h) - stand.df).abs() <= 1e-4 * stand.df.abs() + 1e-9 * (stand.f / wave_v).abs());
    }
}

/// Largest output that one volt or ampere left over by a row makes at a line, the films at any of several fixed slopes.
fn largest(loops: &Loops, row: usize, line: usize) -> f64 {
    let parts = loops.parts.len();
    let omega = TAU * line as f64;
    let slopes = [0.0, 1e-4, 1e-3, 1e-2, 0.1, 0.3, 0.7, 1.0];
    let ports: Vec<usize> = (0..parts).filter(|&i| loops.parts[i].element.has_films()).collect();
    let mut most = 0.0f64;
    for choice in 0..slopes.len().pow(ports.len() as u32) {
        let matrix = DMatrix::from_fn(parts, parts, |i, j| {
            let part = &loops.parts[i];
            let mut own = Complex64::new(part.lost, omega * part.stored);
            if let Some(port) = ports.iter().position(|&port| port == i) {
                let (least, largest) = part.element.slopes();
                let share = slopes[choice / slopes.len().pow(port as u32) % slopes.len()];
                own += least + share * (largest.min(1e9) - least);
            }
            let side = if j == i + 1 { 1.0 } else { -f64::from(u8::from(i == j + 1)) };
            if i == j { own } else { side.into() }
        });
        let right = DVector::from_fn(parts, |i, _| Complex64::new(f64::from(u8::from(i == row)), 0.0));
        let y = matrix.lu().solve(&right).unwrap();
        let (own, next) = loops.output_row(line as f64);
        let more = if loops.output + 1 < parts { next * y[loops.output + 1] } else { Complex64::default() };
        most = most.max((own * y[loops.output] + more).norm());
    }
    most
}

#[test]
fn no_slope_of_any_film_makes_more_of_what_is_left_over() {
    let mut nearest = Vec::new();
    for network in mild() {
        let period = Period::new(&network, (2e3, network.emf_v), &ohm(&network), &Unwatched).unwrap();
        let gains = &period.gains[0];
        for row in 0..period.loops.parts.len() {
            let most = (1..=gains.lines).step_by(3).map(|line| largest(&period.loops, row, line)).fold(0.0, f64::max);
            assert!(most <= gains.per_row[row] * (1.0 + 1e-9), "row {row}: {most} above {}", gains.per_row[row]);
            nearest.push(most / gains.per_row[row]);
        }
    }
    // the proof is for slopes that change with time as well, so it is not reached
    assert!(nearest.iter().copied().fold(0.0, f64::max) > 0.5, "{nearest:?}");
}

mod sums;
