//! Steady state of one film in a resistive loop: no memory, so each instant is solved alone.
//!
//! `v + Z i(v) = e(t)` has one root between zero and `e`, because every film law rises and is passive. The current's
//! harmonics are the load's. Checked against the closed forms for a weak nonlinearity (Sansen, IEEE TCAS-II 46, 1999
//! \[memory\]): `HD2 = A a2 / (2 (1+T)^2)`, `HD3 = A^2 (a3 (1+T) - 2 T a2^2) / (4 (1+T)^4)`, `T = Z/R`.

use super::distortion::Outcome;
use super::distortion_many::{Asked, distortion_many};
use super::sweep::Values;
use crate::circuit::chain::Network;
use crate::circuit::{Contact, Load, PathItem, Section, Source};
use crate::physics::Film;
use crate::physics::series::Series;
use crate::watch::Unwatched;

/// Samples of one period; enough for a residue above 1e-9 from the smooth laws used here.
const SAMPLES: usize = 256;

/// Nothing in such a loop knows the frequency.
const ANY_HZ: f64 = 1000.0;

/// The loop as a network, all of its resistance at the load; nothing for a resistance that a load cannot have.
pub(crate) fn network(film: Film, loop_ohm: f64) -> Option<Network> {
    let section = Section {
        name: "loop".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 0.0, inductance_h: 0.0 }),
        path: vec![PathItem::Contact(Contact { film, ..Contact::ohmic("film", 0.0) })],
        load: Load::resistance(loop_ohm),
    };
    Network::from_section(&section).ok()
}

/// Voltage across the film for an instantaneous EMF in a loop of `loop_ohm`.
#[must_use]
pub fn film_voltage_v(film: &Film, loop_ohm: f64, emf_v: f64) -> f64 {
    Series { film: *film, constriction_ohm: loop_ohm }.film_voltage_v(emf_v)
}

/// Residue of the load's voltage over its fundamental for a sine of `emf_v` (rms), direct current not counted.
#[must_use]
pub fn steady_residue(film: &Film, loop_ohm: f64, emf_v: f64) -> f64 {
    // of a loop without end the film is no part
    if emf_v <= 0.0 || loop_ohm <= 0.0 || loop_ohm == f64::INFINITY {
        return 0.0;
    }
    let peak = emf_v * std::f64::consts::SQRT_2;
    let current: Vec<f64> = (0..SAMPLES)
        .map(|k| {
            let e = peak * (std::f64::consts::TAU * k as f64 / SAMPLES as f64).cos();
            film.current_a(film_voltage_v(film, loop_ohm, e))
        })
        .collect();
    let n = SAMPLES as f64;
    let mean = current.iter().sum::<f64>() / n;
    // the law has no memory and the drive is a cosine: the fundamental is a cosine too
    let cosine = |k: usize| (std::f64::consts::TAU * k as f64 / n).cos();
    let fundamental = 2.0 / n * current.iter().enumerate().map(|(k, i)| i * cosine(k)).sum::<f64>();
    let rest: f64 =
        current.iter().enumerate().map(|(k, i)| (i - mean - fundamental * cosine(k)).powi(2)).sum::<f64>() / n;
    (rest * 2.0).sqrt() / fundamental
}

/// Largest steady residue of a law's family at one zero-voltage resistance: the least favourable of its parameters.
///
/// Tunnelling: scale 0.025 V (kT/e) to 1.9 V; rectifying: ideality 1 to 2.5, leak 0.01 to 1 (bench priors of this project).
#[must_use]
pub fn worst_steady_residue(law: &str, resistance_ohm: f64, loop_ohm: f64, emf_v: f64) -> Option<f64> {
    let films = films(law, resistance_ohm)?;
    films.into_iter().map(|film| solved_residue(film, loop_ohm, emf_v)).reduce(f64::max)
}

/// Films of a law's family that stand for all.
fn films(law: &str, resistance_ohm: f64) -> Option<Vec<Film>> {
    Some(match law {
        "tunnelling" => [0.025, 0.04, 0.08, 0.16, 0.4, 1.0, 1.9]
            .map(|scale_v| Film::Tunnelling { resistance_ohm, scale_v })
            .to_vec(),
        "rectifying" => [1.0, 1.5, 2.5]
            .iter()
            .flat_map(|&ideality| {
                [0.01, 0.03, 0.1, 0.3].map(|leak_ratio| Film::Rectifying { resistance_ohm, ideality, leak_ratio })
            })
            .collect(),
        "bridged" => vec![Film::Bridged { resistance_ohm }],
        _ => return None,
    })
}

/// As [`steady_residue`], by the solver, with as many instants as the film asks for; by samples where that has no answer.
fn solved_residue(film: Film, loop_ohm: f64, emf_v: f64) -> f64 {
    let film_ohm = [Values::One(film.resistance_ohm())];
    let asked =
        Asked { frequency_hz: Values::One(ANY_HZ), emf_v: Values::One(emf_v), film_ohm: &film_ohm, harmonics: 1 };
    // the road of many: stiff films stand on instants where they bend
    let solved = network(film, loop_ohm).and_then(|network| distortion_many(&network, asked, 1, &Unwatched).ok());
    match solved {
        Some(found) if found.outcome[0] == Outcome::Converged as u8 => found.thd_f[0],
        _ => steady_residue(&film, loop_ohm, emf_v),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::constants::THERMAL_VOLTAGE_V;
    use crate::response::ceiling::resistive;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn weak_tunnelling_film_is_the_cubic_closed_form() {
        // sinh: a2 = 0, a3 = 1/(6 V0^2); HD3 = A^2 a3 (1+T) / (4 (1+T)^4); terms of order A^4 are below 1e-3 of it here
        let (scale_v, r, z, amplitude) = (0.1, 1000.0, 3000.0, 0.01);
        let t = z / r;
        let hd3 = amplitude * amplitude / (6.0 * scale_v * scale_v) * (1.0 + t) / (4.0 * (1.0f64 + t).powi(4));
        let film = Film::Tunnelling { resistance_ohm: r, scale_v };
        let found = steady_residue(&film, z, amplitude / std::f64::consts::SQRT_2);
        assert_relative_eq!(found, hd3, max_relative = 1e-3);
    }

    #[test]
    fn weak_rectifier_is_the_quadratic_closed_form() {
        // exponential law beside a leak: a2 = (1-l)/(2 U); HD2 = A a2 / (2 (1+T)^2)
        let (leak_ratio, r, z, amplitude) = (0.2, 1000.0, 1000.0, 1e-4);
        let hd2 = amplitude * (1.0 - leak_ratio) / (2.0 * THERMAL_VOLTAGE_V) / (2.0 * 4.0);
        let film = Film::Rectifying { resistance_ohm: r, ideality: 1.0, leak_ratio };
        let found = steady_residue(&film, z, amplitude / std::f64::consts::SQRT_2);
        assert_relative_eq!(found, hd2, max_relative = 1e-3);
    }

    #[test]
    fn an_exponential_far_from_its_root_is_solved() {
        // plain Newton gains one thermal voltage a step here and ran out of rounds; found by proptest
        let film = Film::Rectifying { resistance_ohm: 65_831.15, ideality: 1.5, leak_ratio: 0.1 };
        let (z, emf) = (14_613.58, 12.63);
        let v = film_voltage_v(&film, z, emf);
        assert_relative_eq!(v + z * film.current_a(v), emf, max_relative = 1e-12);
    }

    #[test]
    fn low_level_tunnelling_is_harmless() {
        // at 5 mV into 47 kohm no steady tunnelling film passes 0.02 % at any ohms (bench practice of this
        // project); checked at 0.19 V, the smallest scale that a readable tunnelling film has there
        const TWO_IN_TEN_THOUSAND: f64 = 2e-4;
        let at = |quarter_decades: i32| {
            let resistance_ohm = 10f64.powf(1.0 + 0.25 * f64::from(quarter_decades));
            steady_residue(&Film::Tunnelling { resistance_ohm, scale_v: 0.19 }, 48e3, 5e-3)
        };
        let worst = (0..24).map(at).fold(0.0, f64::max);
        assert!(worst < TWO_IN_TEN_THOUSAND && worst > 0.1 * TWO_IN_TEN_THOUSAND, "{worst}");
    }

    proptest! {
        #[test]
        fn never_above_the_ceiling(r in 0.01f64..1e5, z in 1.0f64..1e5, emf in 1e-4f64..10.0, which in 0usize..3) {
            let film = [
                Film::Tunnelling { resistance_ohm: r, scale_v: 0.1 },
                Film::Rectifying { resistance_ohm: r, ideality: 1.5, leak_ratio: 0.1 },
                Film::Bridged { resistance_ohm: r },
            ][which];
            let largest = film.largest_chord_ohm(emf * std::f64::consts::SQRT_2);
            prop_assert!(steady_residue(&film, z, emf) <= resistive(largest / z) * (1.0 + 1e-9) + 1e-12);
        }
    }
}

#[cfg(test)]
mod worst;
