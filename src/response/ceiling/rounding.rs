//! Rounding on the safe side, seen exactly: a fused product has the sign of the exact difference.

use super::*;

#[test]
fn the_factor_is_never_below_the_exact_one() {
    for a in [3.0f64, 7.0, 11.0, 1025.0, 99_991.0] {
        for b in [1.0f64, 2.0, 5.0, 13.0] {
            if b < a {
                // high a^2, low b^2: (a^2 - b^2)/(2 a b), and all of these whole numbers are exact
                let found = factor((b * b, a * a));
                let less = found.mul_add(a * b, -0.5 * (a * a - b * b));
                assert!(less >= 0.0 && less < 1e-14 * a * a, "{a} {b}: {less:e}");
            }
        }
    }
}
