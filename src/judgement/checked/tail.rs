//! Chances far out in a tail, against the expansion of the normal law there: `phi(x)/x (1 - 1/x^2 + 3/x^4 - 15/x^6 + 105/x^8)`
//! (Abramowitz and Stegun 26.2.12 \[memory\]).

use super::*;

#[test]
fn a_reading_far_above_keeps_the_digits_of_its_chance() {
    let beyond = |x: f64| {
        let z = x.powi(-2);
        let series = 1.0 - z * (1.0 - z * (3.0 - z * (15.0 - z * 105.0)));
        (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt() / x * series
    };
    let (median, spread) = (2e-3, 2.0f64);
    for far in [9.0, 12.0, 20.0] {
        let place = |factor: f64| far + factor.ln() / spread.ln();
        let expected = beyond(place(0.95)) - beyond(place(1.05));
        let v = median * spread.powf(far);
        let found = window((v, v), (median, spread));
        assert!((found / expected - 1.0).abs() < 1e-4, "{far}: {found:e} {expected:e}");
    }
}
