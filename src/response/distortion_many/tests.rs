use super::*;
use crate::circuit::{Contact, Load, PathItem, Section, Source};
use crate::watch::Unwatched;
use proptest::prelude::*;

/// Relative error of what is summed from a few dozen roots, each with a few units in the last place.
const ROUNDING: f64 = 1e-12;

fn network(role: Role, scale_v: f64, constriction_ohm: f64) -> Network {
    let film = Film::Tunnelling { resistance_ohm: 1.0, scale_v };
    let contact = Contact { film, constriction_ohm, role, ..Contact::ohmic("k", 1.0) };
    let section = Section {
        name: "s".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 300.0, inductance_h: 0.0 }),
        path: vec![PathItem::Contact(Contact::ohmic("plain", 5.0)), PathItem::Contact(contact)],
        load: Load::resistance(700.0),
    };
    Network::from_section(&section).unwrap()
}

fn many(network: &Network, emf_v: &[f64], ohm: &[f64]) -> Distortions {
    let film_ohm = [Values::One(5.0), Values::Many(ohm)];
    let asked = Asked { frequency_hz: Values::One(1e3), emf_v: Values::Many(emf_v), film_ohm: &film_ohm, harmonics: 7 };
    distortion_many(network, asked, ohm.len(), &Unwatched).unwrap()
}

fn same(found: &Distortions, k: usize, one: &Distortion) -> Result<(), TestCaseError> {
    let near = |a: f64, b: f64| (a - b).abs() <= ROUNDING * b.abs();
    // where the single road needed fewer instants than its tolerance, both differ by what that leaves
    prop_assert!((found.thd_f[k] / one.thd_f - 1.0).abs() < 1e-10, "{} {}", found.thd_f[k], one.thd_f);
    prop_assert!(near(found.thd_r[k], found.thd_f[k] / found.thd_f[k].hypot(1.0)));
    prop_assert!((found.fundamental_db[k] - one.fundamental_db).abs() < 1e-12);
    prop_assert!(found.outcome[k] == one.outcome as i64 && found.rounds[k] == one.rounds as i64);
    for ((low, high), &(least, most)) in found.chord_ohm.iter().zip(&one.chord_ohm) {
        prop_assert!(near(low[k], least) && near(high[k], most), "{} {least}", low[k]);
    }
    for (a, b) in found.harmonics[7 * k..][..7].iter().zip(&one.harmonics) {
        prop_assert!((a - b).norm() <= 1e-10 * one.thd_f);
    }
    // both bounds are of the outer quarter of different samples; each must hold for the difference
    prop_assert!((found.thd_f[k] - one.thd_f).abs() <= found.error_bound[k] + one.error_bound);
    prop_assert!(found.outcome[k] != 0 || found.error_bound[k] <= 1.001 * CONVERGED * one.thd_f * (1.0 + one.thd_f));
    Ok(())
}

proptest! {
    #[test]
    fn abreast_is_as_alone(films in prop::collection::vec((-3.0f64..7.0, -4.0f64..1.5), 1..40), scale_v in 0.02f64..1.0,
                           constriction_ohm in 0.0f64..50.0, shared in any::<bool>()) {
        let network = network(if shared { Role::SharedReturn } else { Role::Signal }, scale_v, constriction_ohm);
        let (ohm, emf_v): (Vec<f64>, Vec<f64>) = films.iter().map(|&(r, e)| (10f64.powf(r), 10f64.powf(e))).unzip();
        prop_assert!(OneFilm::of(&network, &[Values::One(5.0), Values::Many(&ohm)]).is_some());
        let found = many(&network, &emf_v, &ohm);
        let mut solver = Solver::default();
        for k in 0..ohm.len() {
            same(&found, k, &distortion(&mut solver, &network, (1e3, emf_v[k]), &[5.0, ohm[k]], 7))?;
        }
    }
}

#[test]
fn a_film_does_not_see_its_neighbours() {
    let network = network(Role::Signal, 0.1, 1.0);
    let ohm: Vec<f64> = (0..3000).map(|k| 10f64.powf(-2.0 + 0.003 * f64::from(k * 617 % 3000))).collect();
    let emf_v: Vec<f64> = (0..3000).map(|k| 0.01 + 0.001 * f64::from(k % 1500)).collect();
    let all = many(&network, &emf_v, &ohm);
    for k in (0..3000).step_by(7) {
        let alone = many(&network, &emf_v[k..=k], &ohm[k..=k]);
        assert_eq!((alone.thd_f[0].to_bits(), alone.harmonics[5]), (all.thd_f[k].to_bits(), all.harmonics[7 * k + 5]));
        assert_eq!(alone.error_bound[0].to_bits(), all.error_bound[k].to_bits());
    }
}

#[test]
fn a_film_that_is_none_and_a_silent_source_take_the_other_road() {
    let network = network(Role::Signal, 0.1, 1.0);
    let found = many(&network, &[1.0, 0.0, 1e-3, 1e9], &[0.0, 10.0, f64::INFINITY, 1e3]);
    let mut solver = Solver::default();
    for (k, (emf, ohm)) in [(1.0, 0.0), (0.0, 10.0), (1e-3, f64::INFINITY), (1e9, 1e3)].into_iter().enumerate() {
        let one = distortion(&mut solver, &network, (1e3, emf), &[5.0, ohm], 7);
        assert_eq!(found.outcome[k], one.outcome as i64);
        assert_eq!(found.thd_f[k].to_bits(), one.thd_f.to_bits());
    }
}

#[test]
fn most_films_of_an_ordinary_sweep_go_abreast() {
    // else the speed would be lost without a sign
    let network = network(Role::Signal, 0.1, 0.0);
    let ohm: Vec<f64> = (0..2000).map(|k| 300f64.powf(f64::from(k) / 1999.0)).collect();
    let film_ohm = [Values::One(5.0), Values::Many(&ohm)];
    let asked = Asked { frequency_hz: Values::One(1e3), emf_v: Values::One(0.5), film_ohm: &film_ohm, harmonics: 7 };
    let mut all = Distortions::with_room(2000, 2, 7);
    all.grow(2000, 7);
    let film = OneFilm::of(&network, &film_ohm).unwrap();
    let mut room = Room::default();
    for (number, part) in all.parts(0, ABREAST_CHUNK, 7).into_iter().enumerate() {
        Chunk { network: &network, asked, start: number * ABREAST_CHUNK, part }.abreast(&film, &mut room);
    }
    assert!(room.alone.is_empty(), "{}", room.alone.len());
}
