//! The film law of a barrier against the barrier's own coefficients.

use super::*;

#[test]
fn the_cubic_term_of_the_film_is_the_barriers() {
    for (height_ev, thickness_m) in [(1.0, 1e-9), (2.0, 1.5e-9), (1.0, 2e-9)] {
        let barrier = Barrier { height_ev, thickness_m };
        let film = barrier.film(1e-12).unwrap();
        let resistance_ohm = barrier.area_resistance_ohm_m2() / 1e-12;
        assert!((film.resistance_ohm() / resistance_ohm - 1.0).abs() < 1e-12);
        // i R/v = 1 + gamma v^2 + (gamma v^2)^2 (6/20): the rest is left out below
        let v = (1e-4 / barrier.gamma_per_v2()).sqrt();
        let cubic = (film.current_a(v) * resistance_ohm / v - 1.0) / (v * v);
        assert!((cubic / barrier.gamma_per_v2() - 1.0).abs() < 1e-4, "{cubic} {}", barrier.gamma_per_v2());
    }
}
