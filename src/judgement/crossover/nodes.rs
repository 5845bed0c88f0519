//! The table against the model that it is of.

use super::*;

fn exact(quiescent: f64, peak_v: f64) -> f64 {
    ClassAb { quiescent, emitter_ohm: 0.22, load_ohm: 8.0, thermal_v: THERMAL_VOLTAGE_V }.residue(peak_v)
}

#[test]
fn at_its_nodes_the_model_and_between_them_straight_in_logarithms() {
    let spaced = |(low, high): (f64, f64), share: f64| low * (high / low).powf(share);
    let table = crossover();
    for (a, b) in [(0.0, 0.0), (0.25, 0.5), (0.625, 0.0625), (0.875, 0.75), (1.0, 1.0)] {
        let (quiescent, peak_v) = (spaced(QUIESCENT, a), spaced(PEAK_V, b));
        let expected = exact(quiescent, peak_v).max(1e-12);
        let found = table.residue(quiescent, peak_v);
        assert!((found / expected - 1.0).abs() < 1e-9, "{quiescent} {peak_v}: {found} {expected}");
    }
    // a quarter of the way from one node to the next, in level and in bias
    let (a, b, s, t) = (3.0 / 8.0, 9.0 / 16.0, 1.0 / 8.0, 1.0 / 16.0);
    let corner = |i: f64, j: f64| exact(spaced(QUIESCENT, a + i * s), spaced(PEAK_V, b + j * t)).ln();
    let along = 0.75 * corner(0.0, 0.0) + 0.25 * corner(0.0, 1.0);
    let found = table.residue(spaced(QUIESCENT, a), spaced(PEAK_V, b + 0.25 * t));
    assert!((found.ln() - along).abs() < 1e-9, "{} {along}", found.ln());
    let across = 0.75 * corner(0.0, 0.0) + 0.25 * corner(1.0, 0.0);
    let found = table.residue(spaced(QUIESCENT, a + 0.25 * s), spaced(PEAK_V, b));
    assert!((found.ln() - across).abs() < 1e-9, "{} {across}", found.ln());
    // held beyond its ends
    assert_eq!(table.residue(2.0 * QUIESCENT.1, 1.0), table.residue(QUIESCENT.1, 1.0));
}
