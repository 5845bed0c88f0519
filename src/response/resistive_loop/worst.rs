//! The least favourable film of each law, where the signal is weak and closed forms hold.

use super::*;
use crate::physics::constants::THERMAL_VOLTAGE_V;
use crate::physics::film::heating_voltage_v;

#[test]
fn the_worst_of_a_law_is_the_closed_form_of_its_worst_parameter() {
    // see the tests beside: HD3 = A^2 a3 (1+T)/(4 (1+T)^4), HD2 = A a2/(2 (1+T)^2)
    let (r, z, amplitude) = (1000.0, 3000.0, 1e-4f64);
    let t: f64 = 1.0 + z / r;
    let hd3 = |a3: f64| amplitude * amplitude * a3 * t / (4.0 * t.powi(4));
    let hd2 = |a2: f64| amplitude * a2 / (2.0 * t * t);
    for (law, expected) in [
        ("tunnelling", hd3(1.0 / (6.0 * 0.025 * 0.025))),
        ("rectifying", hd2(0.99 / (2.0 * THERMAL_VOLTAGE_V))),
        ("bridged", hd3(1.0 / (3.0 * heating_voltage_v().powi(2)))),
    ] {
        let found = worst_steady_residue(law, r, z, amplitude / std::f64::consts::SQRT_2).unwrap();
        assert!((found / expected - 1.0).abs() < 1e-3, "{law} {found:e} {expected:e}");
    }
    assert!(worst_steady_residue("ohmic", r, z, 1.0).is_none());
}

#[test]
fn the_solver_says_what_samples_say() {
    // where 256 samples hold the waveform; worst of all parameters by each road
    for law in ["tunnelling", "rectifying", "bridged"] {
        for (r, z, emf_v) in
            [(10.0, 1e3, 1e-3), (1e3, 3e3, 0.05), (2e4, 1e3, 0.3), (1e5, 1e4, 0.3), (1e-3, 8.0, 20.0), (1e9, 1e3, 1.0)]
        {
            let by_samples =
                films(law, r).unwrap().iter().map(|film| steady_residue(film, z, emf_v)).fold(0.0, f64::max);
            let found = worst_steady_residue(law, r, z, emf_v).unwrap();
            assert!(
                (found - by_samples).abs() < 1e-6 * by_samples + 1e-12,
                "{law} {r} {z} {emf_v}: {found:e} {by_samples:e}"
            );
        }
        for (z, emf_v) in [(0.0, 1.0), (1e3, 0.0), (f64::INFINITY, 1.0)] {
            let found = worst_steady_residue(law, 1e3, z, emf_v).unwrap();
            assert_eq!(found, 0.0, "{law} {z} {emf_v}");
        }
    }
}
