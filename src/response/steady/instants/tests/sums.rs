//! Sums over the period.

use super::*;

#[test]
fn the_residue_is_the_rms_of_what_is_past_the_fundamental() {
    let lines = [9.0, 7.0, 3.0, 0.0, 1.0].map(Complex64::from);
    assert!((residue_v(&lines) - 20f64.sqrt()).abs() < 1e-14);
    assert_eq!(residue_v(&lines[..2]), 0.0);
}

#[test]
fn rounding_is_of_all_that_is_summed() {
    // Parseval: the mean square of a period is that of all its lines, and rounding is told as a share of its root
    let network = &mild()[1];
    let mut period = Period::new(network, (2e3, network.emf_v), &ohm(network)).unwrap();
    period.settle().unwrap();
    let (lines, rounding) = period.lines(LINES[0]);
    let all = (lines[0].norm_sqr() + lines[1..].iter().map(|c| 2.0 * c.norm_sqr()).sum::<f64>()).sqrt();
    assert!(lines.len() == LINES[0] + 1 && (rounding / (ROUNDING * all) - 1.0).abs() < 1e-6, "{rounding:e} {all}");
}
