//! The enclosure against exact sums: `a + b - fl(a + b)` and `a b - fl(a b)` are numbers themselves (Knuth's two-sum, and the fused
//! product; Higham, Accuracy and Stability of Numerical Algorithms \[memory\]).

use super::*;

#[test]
fn what_a_sum_or_a_product_loses_is_inside() {
    // the larger one first
    for (a, b) in [(0.2, 0.1), (1.0, 1e-17), (3.7, -3.3e-3)] {
        let sum = <Jet>::real(a).plus(&Jet::real(b));
        let lost = (b - (sum.c[0].re - a)).abs();
        assert!(lost > 0.0 && lost <= sum.rest && sum.rest < 1e-14 * a, "{a} {b}: {lost:e} {:e}", sum.rest);
        let product = <Jet>::real(a).scaled(b);
        let lost = a.mul_add(b, -product.c[0].re).abs();
        assert!(lost <= product.rest && product.rest < 1e-14 * (a * b).abs(), "{a} {b}: {lost:e} {:e}", product.rest);
    }
    assert!(0.1f64.mul_add(0.2, -0.1 * 0.2) != 0.0);
}

#[test]
fn the_inverse_of_what_is_only_known_to_a_hundredth_is_known_to_the_like() {
    // 1/(2 + d) of |d| up to 0.02 is farthest from 1/2 at -0.02
    let q = Jet { c: [2.0.into(), Complex64::ZERO, Complex64::ZERO], rest: 0.02 };
    let farthest = 0.02 / (2.0 * 1.98);
    let found = q.inverse().unwrap();
    assert!(found.rest >= farthest && found.rest < 1.001 * farthest, "{} {farthest}", found.rest);
    // of a slope: 1/(2 + d x) = 1/2 - d x/4 + (d x)^2/8 and the third order
    let found = Jet { c: [2.0.into(), 0.02.into(), Complex64::ZERO], rest: 0.0 }.inverse().unwrap();
    let third = 0.01f64.powi(3) / 0.99 / 2.0;
    assert!(found.rest >= third && found.rest < third + 1e-14, "{} {third}", found.rest);
}
