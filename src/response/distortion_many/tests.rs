use super::*;
use crate::circuit::{Contact, Load, PathItem, Section, Source};
use crate::watch::Unwatched;
use proptest::prelude::*;

/// Relative error of what is summed from a few dozen roots, each with a few units in the last place.
const ROUNDING: f64 = 1e-12;

fn network(role: Role, scale_v: f64, constriction_ohm: f64) -> Network {
    network_of(Film::Tunnelling { resistance_ohm: 1.0, scale_v }, role, constriction_ohm)
}

fn rectifying(ideality: f64, leak_ratio: f64) -> Film {
    Film::Rectifying { resistance_ohm: 1.0, ideality, leak_ratio }
}

fn network_of(film: Film, role: Role, constriction_ohm: f64) -> Network {
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
    prop_assert!((found.fundamental_db[k] - one.fundamental_db).abs() < 20.0 / std::f64::consts::LN_10 * ROUNDING);
    // graded instants may prove what the even ones of the single road could not
    let (outcome, rounds) = (one.outcome as u8, one.rounds as i64);
    prop_assert!(
        found.outcome[k] == outcome && found.rounds[k] == rounds
            || found.outcome[k] == 0 && outcome == Outcome::NotConverged as u8
    );
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

proptest! {
    #[test]
    fn other_laws_abreast_are_as_alone(films in prop::collection::vec((-3.0f64..7.0, -4.0f64..1.5), 1..40), ideality in 1.0f64..2.5,
                                       log_leak in -3.0f64..-0.01, constriction_ohm in 0.0f64..50.0, shared in any::<bool>(), bridged in any::<bool>()) {
        let film = if bridged { Film::Bridged { resistance_ohm: 1.0 } } else { rectifying(ideality, 10f64.powf(log_leak)) };
        let network = network_of(film, if shared { Role::SharedReturn } else { Role::Signal }, constriction_ohm);
        let (ohm, emf_v): (Vec<f64>, Vec<f64>) = films.iter().map(|&(r, e)| (10f64.powf(r), 10f64.powf(e))).unzip();
        prop_assert!(OneFilm::of(&network, &[Values::One(5.0), Values::Many(&ohm)]).is_some());
        let found = many(&network, &emf_v, &ohm);
        let mut solver = Solver::default();
        for k in 0..ohm.len() {
            same(&found, k, &distortion(&mut solver, &network, (1e3, emf_v[k]), &[5.0, ohm[k]], 7))?;
        }
    }

    #[test]
    fn other_laws_abreast_are_as_by_a_slow_newton(log_ohm in 0.5f64..4.0, log_emf in -2.0f64..0.3, ideality in 1.0f64..2.5,
                                                  log_leak in -3.0f64..-0.1, bridged in any::<bool>()) {
        let (ohm, emf_v) = (10f64.powf(log_ohm), 10f64.powf(log_emf));
        let leak_ratio = 10f64.powf(log_leak);
        let film = if bridged { Film::Bridged { resistance_ohm: ohm } } else { Film::Rectifying { resistance_ohm: ohm, ideality, leak_ratio } };
        // 300 and 700 ohm of source and load and 5 of the other contact, 2 of constriction
        let (slow, size, harmonics) = by_slow_newton(&film, SQRT_2 * emf_v, 1007.0);
        let network = network_of(film, Role::Signal, 2.0);
        let found = many(&network, &[emf_v], &[ohm]);
        // the slow one sums the whole current: its rounding is of the fundamental
        let tolerance = 1e-10 * slow + 1e-14;
        prop_assert!((found.thd_f[0] - slow).abs() <= tolerance, "{} {slow}", found.thd_f[0]);
        let linear = SQRT_2 * emf_v / (1007.0 + ohm);
        prop_assert!((found.fundamental_db[0] - 20.0 * (size / linear).log10()).abs() < 1e-11);
        for (a, b) in found.harmonics.iter().zip(harmonics) {
            prop_assert!((a - b).norm() <= tolerance, "{a} {b}");
        }
    }
}

/// THD, fundamental (A peak) and seven harmonics over it: 1024 instants of the period, each by bisection and Newton's method on
/// the film's own current.
fn by_slow_newton(film: &Film, open_v: f64, front_ohm: f64) -> (f64, f64, Vec<f64>) {
    const SAMPLES: usize = 1024;
    let angle = |h: usize, n: usize| std::f64::consts::TAU * (h * n % SAMPLES) as f64 / SAMPLES as f64;
    let current = |n: usize| {
        let across = open_v * angle(1, n).cos();
        let left = |u: f64| u + front_ohm * film.current_a(u) - across;
        let (mut low, mut high) = (across.min(0.0), across.max(0.0));
        for _ in 0..30 {
            let middle = 0.5 * (low + high);
            if left(middle) > 0.0 { high = middle } else { low = middle }
        }
        let mut u = 0.5 * (low + high);
        for _ in 0..8 {
            u -= left(u) / (1.0 + front_ohm * film.slope_s(u));
        }
        film.current_a(u)
    };
    let all: Vec<f64> = (0..SAMPLES).map(current).collect();
    let line = |h: usize| 2.0 / SAMPLES as f64 * (0..SAMPLES).map(|n| all[n] * angle(h, n).cos()).sum::<f64>();
    let fundamental = line(1);
    let lines: Vec<f64> = (2..400).map(|h| line(h) / fundamental).collect();
    (lines.iter().map(|c| c * c).sum::<f64>().sqrt(), fundamental, lines[..7].to_vec())
}

#[test]
fn a_film_does_not_see_its_neighbours() {
    for film in [
        Film::Tunnelling { resistance_ohm: 1.0, scale_v: 0.1 },
        rectifying(1.5, 0.03),
        Film::Bridged { resistance_ohm: 1.0 },
    ] {
        no_neighbours(&network_of(film, Role::Signal, 1.0));
    }
}

fn no_neighbours(network: &Network) {
    let ohm: Vec<f64> = (0..3000).map(|k| 10f64.powf(-2.0 + 0.003 * f64::from(k * 617 % 3000))).collect();
    let emf_v: Vec<f64> = (0..3000).map(|k| 0.01 + 0.001 * f64::from(k % 1500)).collect();
    let all = many(network, &emf_v, &ohm);
    for k in (0..3000).step_by(7) {
        let alone = many(network, &emf_v[k..=k], &ohm[k..=k]);
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
        assert_eq!(found.outcome[k], one.outcome as u8);
        assert_eq!(found.thd_f[k].to_bits(), one.thd_f.to_bits());
    }
}

#[test]
fn most_films_of_an_ordinary_sweep_go_abreast() {
    // else the speed would be lost without a sign
    for film in [
        Film::Tunnelling { resistance_ohm: 1.0, scale_v: 0.1 },
        rectifying(1.5, 0.1),
        Film::Bridged { resistance_ohm: 1.0 },
    ] {
        most_go_abreast(&network_of(film, Role::Signal, 0.0));
    }
}

fn most_go_abreast(network: &Network) {
    let ohm: Vec<f64> = (0..2000).map(|k| 300f64.powf(f64::from(k) / 1999.0)).collect();
    let film_ohm = [Values::One(5.0), Values::Many(&ohm)];
    let asked = Asked { frequency_hz: Values::One(1e3), emf_v: Values::One(0.5), film_ohm: &film_ohm, harmonics: 7 };
    let mut all = Distortions::with_room(2000, 2, 7);
    let film = OneFilm::of(network, &film_ohm).unwrap();
    let mut room = Room::new(&Unwatched);
    for (number, part) in all.parts(ABREAST_CHUNK, 7).enumerate() {
        Chunk { network, asked, start: number * ABREAST_CHUNK, part }.abreast(&film, &mut room);
    }
    assert!(room.alone.is_empty(), "{}", room.alone.len());
}

#[test]
fn a_processor_without_vectors_finds_the_same() {
    // fused or not and in what width: rounding alone may differ
    use pulp::{Scalar, WithSimd};
    for (shape, leak) in [(Shape::Sinh, 0.0), (Shape::Expm1, 0.03), (Shape::Atan, 0.0)] {
        let (mut plain, mut fast) = (Abreast::default(), Abreast::default());
        for films in [&mut plain, &mut fast] {
            (films.count, films.leak) = (24, leak);
        }
        for lane in 0..24 {
            let (front, drive) = (10f64.powf(-2.0 + 0.15 * lane as f64), 2.0 + 0.3 * (lane * 7 % 24) as f64);
            for films in [&mut plain, &mut fast] {
                (films.front[lane], films.drive[lane]) = (front, drive);
            }
        }
        let table = Table::new(256);
        Solve { shape, films: &mut plain, table: &table, weak: false }.with_simd(Scalar::new());
        pulp::Arch::new().dispatch(Solve { shape, films: &mut fast, table: &table, weak: false });
        for lane in 0..24 {
            assert!(plain.solved[lane] == 1.0 && fast.solved[lane] == 1.0, "{shape:?} {lane}");
            let ratio = plain.thd_f[lane] / fast.thd_f[lane];
            assert!((ratio - 1.0).abs() < ROUNDING, "{shape:?} {lane}: {ratio}");
        }
    }
}

#[test]
fn the_number_of_threads_changes_no_bit() {
    // whole chunks against the same points one after the other, loud and stiff ones among them
    for film in [rectifying(1.2, 0.01), Film::Bridged { resistance_ohm: 1.0 }] {
        let network = network_of(film, Role::Signal, 1.0);
        let ohm: Vec<f64> = (0..5000).map(|k| 10f64.powf(-1.0 + 0.0006 * f64::from(k * 617 % 5000))).collect();
        let emf_v: Vec<f64> = (0..5000).map(|k| 0.01 + 0.0002 * f64::from(k)).collect();
        let all = many(&network, &emf_v, &ohm);
        // pieces below a chunk go in one thread
        let pieces: Vec<f64> =
            ohm.chunks(500).zip(emf_v.chunks(500)).flat_map(|(r, e)| many(&network, e, r).thd_f).collect();
        assert!(all.thd_f.iter().zip(&pieces).all(|(a, b)| a.to_bits() == b.to_bits()));
    }
}

#[test]
fn what_is_past_all_numbers_has_not_converged() {
    for film in [
        Film::Tunnelling { resistance_ohm: 100.0, scale_v: 0.1 },
        Film::Rectifying { resistance_ohm: 100.0, ideality: 1.0, leak_ratio: 0.1 },
        Film::Bridged { resistance_ohm: 100.0 },
    ] {
        let network = network_of(film, Role::Signal, 0.0);
        for emf_v in [1e30, 1e160, 1e200, 1e300, f64::MAX] {
            let film_ohm: Vec<f64> = network.contacts.iter().map(|contact| contact.film.resistance_ohm()).collect();
            let found = distortion(&mut Solver::default(), &network, (1e3, emf_v), &film_ohm, 3);
            let is_number = found.thd_f.is_finite() && found.error_bound.is_finite();
            assert!(found.outcome != Outcome::Converged || is_number, "{film:?} {emf_v} {found:?}");
            let ohm: Vec<Values<'_>> = film_ohm.iter().map(|&ohm| Values::One(ohm)).collect();
            let asked =
                Asked { frequency_hz: Values::One(1e3), emf_v: Values::One(emf_v), film_ohm: &ohm, harmonics: 3 };
            let many = distortion_many(&network, asked, 1, &Unwatched).unwrap();
            let is_number = many.thd_f[0].is_finite() && many.error_bound[0].is_finite();
            assert!(many.outcome[0] != Outcome::Converged as u8 || is_number, "{film:?} {emf_v} {many:?}");
        }
    }
}
