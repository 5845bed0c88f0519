//! That the search for a root is Newton's, not only right in the end.

use super::*;

#[test]
fn a_root_takes_a_few_steps() {
    for (bound, sought) in [(2.0f64, 1.3f64), (3.0, 0.7), (-2.0, -1.3), (5.0, 1.0)] {
        let cube = |x: f64| x * x * x + x;
        let mut steps = 0;
        let x = root(bound, f64::NAN, |x| {
            steps += 1;
            (cube(x) - cube(sought), 3.0 * x * x + 1.0)
        });
        assert!((x - sought).abs() <= 8.0 * f64::EPSILON * sought.abs(), "{x} {sought}");
        // halving alone takes fifty
        assert!(steps <= 20, "{steps} for {sought} from {bound}");
    }
}
