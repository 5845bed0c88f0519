//! The search attacks one contact, several, chains; and solves what the ladder does.

use super::*;
use crate::circuit::{Chain, ChainItem, Contact, Equalisation, Lead, Load, PathItem, Section, Source, Stage};
use crate::watch::Unwatched;

/// A section that is reactive within a few harmonics of 1 kHz: source R and L, contacts around a lead's C, load R and C.
fn section(random: &mut Random, name: &str, first: bool, roles: &[Role]) -> Section {
    let mut power = |low: f64, high: f64| 10f64.powf(low + (high - low) * random.share());
    let omega = TAU * 1e3;
    let (source_ohm, corner) = (power(0.0, 3.5), power(0.0, 2.0));
    let load_ohm = source_ohm * power(-0.7, 1.7);
    let mut path =
        vec![PathItem::Lead(Lead { capacitance_f: 1.0 / (omega * source_ohm * power(0.0, 2.0)), ..Lead::default() })];
    for (k, role) in roles.iter().enumerate() {
        let contact = PathItem::Contact(Contact::perfect(format!("{name}{k}"), *role));
        if k == 1 { path.insert(0, contact) } else { path.push(contact) }
    }
    let source =
        first.then_some(Source { emf_v: 1.0, resistance_ohm: source_ohm, inductance_h: source_ohm / omega / corner });
    let load = Load { capacitance_f: 1.0 / (omega * load_ohm * power(0.0, 2.0)), ..Load::resistance(load_ohm) };
    Section { name: name.into(), source, path, load }
}

fn range(random: &mut Random, network: &Network, k: usize) -> Moving {
    let link = &network.links[network.section_of(k)];
    let ports = Ports::new(&link.ladder, &[1e3], &network.perfect_ohm());
    let seen = ports.loop_impedance[k - link.ladder.contacts().start].norm();
    let mut power = |low: f64, high: f64| 10f64.powf(low + (high - low) * random.share());
    let (low, swing) = (seen * power(-3.0, 0.0), seen * power(-1.5, 0.5));
    if network.contacts[k].role == Role::Shunt {
        (k, ((low + swing).recip(), low.recip()))
    } else {
        (k, (low, low + swing))
    }
}

/// Shares of the bound that the best attacks reach, smallest first.
fn reached(seed: u64, circuits: usize, search: Search, build: &dyn Fn(&mut Random) -> Network) -> Vec<f64> {
    let mut random = Random(seed);
    let mut all = Vec::new();
    for _ in 0..circuits {
        let network = build(&mut random);
        let fixed = network.perfect_ohm();
        let moving: Vec<Moving> = (0..fixed.len()).map(|k| range(&mut random, &network, k)).collect();
        let Ok(limit) = attacked(&network, 1e3, &moving, &fixed, search) else { continue };
        let found = attack(&network, 1e3, &moving, &fixed, search, &Unwatched).unwrap().unwrap();
        all.push(found.residue / limit);
    }
    all.sort_by(f64::total_cmp);
    all
}

fn report(name: &str, shares: &[f64], least_median: f64) {
    let (median, most) = (shares[shares.len() / 2], shares[shares.len() - 1]);
    println!("{name}: {} bounded, least {:.3}, median {median:.3}, most {most:.9}", shares.len(), shares[0]);
    assert!(most <= 1.0 + 1e-9, "{name}: a bound was passed: {most}");
    assert!(median >= least_median, "{name}: median {median}");
}

const SHORT: Search = Search { trials: 30, seed: 1, samples: 15, periods: 1 };

#[test]
fn one_contact() {
    let build = |random: &mut Random| Network::from_section(&section(random, "s", true, &[Role::Signal])).unwrap();
    report("T1, harmonics", &reached(3, 30, SHORT, &build), 0.85);
    report("T1, chatter", &reached(4, 20, Search { samples: 27, periods: 2, ..SHORT }, &build), 0.85);
}

#[test]
fn one_contact_across_the_signal() {
    let build = |random: &mut Random| Network::from_section(&section(random, "s", true, &[Role::Shunt])).unwrap();
    report("T1, across", &reached(5, 30, SHORT, &build), 0.85);
}

#[test]
fn two_contacts_of_one_section() {
    let roles = [Role::Signal, Role::Return];
    let build = |random: &mut Random| Network::from_section(&section(random, "s", true, &roles)).unwrap();
    report("T2", &reached(6, 30, SHORT, &build), 0.85);
}

fn cascade(random: &mut Random, equalisation: Equalisation) -> Network {
    let first = section(random, "a", true, &[Role::Signal]);
    let second = section(random, "b", false, &[Role::Signal]);
    let output_resistance_ohm = 0.3 * second.load.resistance_ohm;
    let stage = Stage { name: "stage".into(), gain_db: 6.0, equalisation, output_resistance_ohm };
    let items = vec![ChainItem::Section(first), ChainItem::Stage(stage), ChainItem::Section(second)];
    Network::from_chain(&Chain { items }).unwrap()
}

#[test]
fn two_sections() {
    report("T4, flat", &reached(7, 24, SHORT, &|random| cascade(random, Equalisation::Flat)), 0.85);
    report("T4, riaa", &reached(8, 24, SHORT, &|random| cascade(random, Equalisation::Riaa)), 0.85);
}

#[test]
fn the_model_solves_what_the_ladder_does() {
    // no jump: the output is the ladder's transfer
    let mut random = Random(9);
    let network = cascade(&mut random, Equalisation::Riaa);
    let moving = [(0, (30.0, 30.0)), (1, (70.0, 70.0))];
    let hz = lines(15, 1e3);
    let parts = network.links.iter().map(|l| Part::new(l, &network, &moving, &[0.0; 2], &hz).unwrap()).collect();
    let emf = DVector::from_fn(15, |t, _| (TAU * t as f64 / 15.0).cos());
    let model = Model { parts, emf, samples: 15, periods: 1 };
    let (output, _) = model.solve(&[vec![false; 15], vec![true; 15]], false).unwrap();
    let transfer: Complex64 = network
        .links
        .iter()
        .map(|l| {
            l.ladder.transfer(1e3, &[30.0, 70.0]) * l.stages.iter().map(|s| s.transfer(1e3)).product::<Complex64>()
        })
        .product();
    for (t, y) in output.iter().enumerate() {
        let exact = (transfer * Complex64::from_polar(1.0, TAU * t as f64 / 15.0)).re;
        assert!((y - exact).abs() < 1e-10 * transfer.norm());
    }
    assert!(model.ratio(output.as_slice()) < 1e-7);
}

#[test]
fn a_jump_changes_the_output_as_it_says() {
    let mut random = Random(10);
    let network = cascade(&mut random, Equalisation::Riaa);
    let moving: Vec<Moving> = (0..2).map(|k| range(&mut random, &network, k)).collect();
    let hz = lines(15, 1e3);
    let parts = network.links.iter().map(|l| Part::new(l, &network, &moving, &[0.0; 2], &hz).unwrap()).collect();
    let emf = DVector::from_fn(15, |t, _| (TAU * t as f64 / 15.0).cos());
    let model = Model { parts, emf, samples: 15, periods: 1 };
    let states: Vec<Vec<bool>> = (0..2).map(|_| (0..15).map(|_| random.share() < 0.5).collect()).collect();
    let (output, jumps) = model.solve(&states, true).unwrap();
    for (part, column) in [(0, 3), (1, 7)] {
        let mut other = states.clone();
        other[part][column] ^= true;
        let afresh = model.solve(&other, false).unwrap().0;
        let predicted = &output + jumps[part].column(column);
        assert!((&afresh - &predicted).norm() < 1e-10 * afresh.norm());
    }
}

#[test]
fn the_same_seed_gives_the_same_attack_and_it_refuses_what_has_no_ceiling() {
    let mut random = Random(11);
    let network = Network::from_section(&section(&mut random, "s", true, &[Role::Signal])).unwrap();
    let of = |range, seed| attack(&network, 1e3, &[(0, range)], &[0.0], Search { seed, ..SHORT }, &Unwatched).unwrap();
    assert_eq!(of((0.0, 500.0), 3), of((0.0, 500.0), 3));
    assert_eq!(of((0.0, f64::INFINITY), 3), Err(Status::CanOpen));
    struct Stop;
    impl Watch for Stop {
        fn stop(&self) -> bool {
            true
        }
    }
    assert_eq!(attack(&network, 1e3, &[(0, (0.0, 1.0))], &[0.0], SHORT, &Stop), Err(Stopped));
}
