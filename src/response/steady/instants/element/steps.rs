//! That the search for a root is Newton's, not only right in the end.

use super::*;

#[test]
fn a_root_takes_a_few_steps() {
    for (bound, sought) in [(5.0, 1.0f64), (-5.0, -1.0), (5.0, 0.1), (900.0, 8.0)] {
        let cube = |x: f64| x * x * x + x;
        let mut steps = 0;
        let x = root(bound, f64::NAN, |x| {
            steps += 1;
            (cube(x) - cube(sought), 3.0 * x * x + 1.0)
        });
        assert!((x - sought).abs() <= 4.0 * f64::EPSILON * sought.abs(), "{x} {sought}");
        // a third is taken off while the cube rules, then the error is squared
        let falls = ((bound / sought).ln() / 1.5f64.ln()).max(0.0);
        assert!(f64::from(steps) < falls + 9.0, "{steps} for {sought} from {bound}");
    }
}
