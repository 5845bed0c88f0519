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
