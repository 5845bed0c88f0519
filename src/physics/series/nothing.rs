//! Where there is no resistance.

use super::*;

#[test]
fn no_film_has_no_voltage() {
    let of = |resistance_ohm, constriction_ohm| Series { film: Film::Ohmic { resistance_ohm }, constriction_ohm };
    // a film of no resistance has none, with a constriction or without; without one the film has all
    assert!(of(0.0, 0.0).film_voltage_v(0.3) == 0.0 && of(0.0, 2.0).film_voltage_v(0.3) == 0.0);
    assert!(of(5.0, 0.0).film_voltage_v(0.3) == 0.3 && of(5.0, 2.0).film_voltage_v(0.0) == 0.0);
    assert!((of(5.0, 1.0).film_voltage_v(0.3) - 0.25).abs() < 1e-15);
}
