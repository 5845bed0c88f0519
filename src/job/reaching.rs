//! The smallest resistance at which a law that rises with it reaches a value: Chandrupatla's method on logarithms.
//!
//! T. R. Chandrupatla, "A new hybrid quadratic/bisection algorithm for finding the zero of a nonlinear function without using
//! derivatives", Advances in Engineering Software 28 (1997), 145-149 \[memory\]: a step of inverse quadratic interpolation where three
//! points promise that it is good, else one of bisection. What a contact does is nearly in proportion to its ohms or has levelled off:
//! a dozen values of the law in place of the forty of bisection alone.

const SMALLEST_OHM: f64 = 1e-6;
const LARGEST_OHM: f64 = 1e9;

/// How narrow the bounds become, of the resistance.
const CLOSE: f64 = 2e-11;

/// The same where three digits are asked for.
pub const NEAR: f64 = 1e-4;

/// How far from a value that is expected the bounds begin, as a factor.
const ASIDE: f64 = 2.1;

/// Values of the law before giving up on more digits; bisection alone would take forty-one.
const MOST: usize = 100;

/// Smallest resistance at which a rising law reaches a value, ohm, from below; `None` if a gigohm does not.
pub fn smallest_reaching(law: &dyn Fn(f64) -> f64, least: f64) -> Option<f64> {
    between(&over(law, least), (SMALLEST_OHM.ln(), LARGEST_OHM.ln()), CLOSE)
}

/// The same to a ten thousandth, where it is expected not far from `near_ohm`.
pub fn smallest_reaching_near(law: &dyn Fn(f64) -> f64, least: f64, near_ohm: f64) -> Option<f64> {
    let over = over(law, least);
    let aside = |factor: f64| (near_ohm * factor).clamp(SMALLEST_OHM, LARGEST_OHM).ln();
    let (low, high) = (aside(ASIDE.recip()), aside(ASIDE));
    let near = over(low) < 0.0 && over(high) >= 0.0;
    between(&over, if near { (low, high) } else { (SMALLEST_OHM.ln(), LARGEST_OHM.ln()) }, NEAR)
}

/// How far a law is over a value. Decibels below zero stay as they are, ratios and decibels above zero are straighter as logarithms.
fn over(law: &dyn Fn(f64) -> f64, least: f64) -> impl Fn(f64) -> f64 {
    move |log_ohm: f64| {
        let value = law(log_ohm.exp());
        if least > 0.0 { (value / least).ln() } else { value - least }
    }
}

/// Where between two logarithms of a resistance something rises through zero, from below.
fn between(over: &dyn Fn(f64) -> f64, (low, high): (f64, f64), close: f64) -> Option<f64> {
    let mut a = (high, over(high));
    if a.1 < 0.0 {
        return None;
    }
    let mut b = (low, over(low));
    if b.1 >= 0.0 {
        return Some(low.exp());
    }
    let mut share = 0.5;
    for _ in 0..MOST {
        let next = a.0 + share * (b.0 - a.0);
        let next = (next, over(next));
        // not a number counts as reached, like no bound at all
        let reached = |point: (f64, f64)| point.1.is_nan() || point.1 >= 0.0;
        let c = if reached(next) == reached(a) {
            a
        } else {
            let old = b;
            b = a;
            old
        };
        a = next;
        if (b.0 - a.0).abs() <= close {
            break;
        }
        let narrow = 0.5 * close / (b.0 - a.0).abs();
        share = interpolated(a, b, c).unwrap_or(0.5).clamp(narrow, 1.0 - narrow);
    }
    let below = if a.1 < 0.0 { a.0 } else { b.0 };
    Some(below.exp())
}

/// Where between `a` and `b` the parabola on its side through three points goes through zero, as a share of the way; `None` where it is not to be trusted.
fn interpolated(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> Option<f64> {
    let place = (a.0 - b.0) / (c.0 - b.0);
    let value = (a.1 - b.1) / (c.1 - b.1);
    let trusted = value * value < place && (1.0 - value) * (1.0 - value) < 1.0 - place;
    let share =
        a.1 / (b.1 - a.1) * c.1 / (b.1 - c.1) + (c.0 - a.0) / (b.0 - a.0) * a.1 / (c.1 - a.1) * b.1 / (c.1 - b.1);
    (trusted && share.is_finite()).then_some(share)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::cell::Cell;

    /// The root by halving, as long as numbers can tell.
    fn halved(law: &dyn Fn(f64) -> f64, least: f64) -> f64 {
        let (mut low, mut high) = (SMALLEST_OHM.ln(), LARGEST_OHM.ln());
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if law(middle.exp()) < least { low = middle } else { high = middle }
        }
        low.exp()
    }

    fn is_smallest(ohm: f64) -> bool {
        (ohm / SMALLEST_OHM - 1.0).abs() < 1e-12
    }

    #[test]
    fn what_a_gigohm_does_not_reach_and_a_microhm_does() {
        assert_eq!(smallest_reaching(&|ohm| ohm / (ohm + 1.0), 1.0 + 1e-6), None);
        assert!(smallest_reaching(&|ohm| ohm, 1e-7).is_some_and(is_smallest));
        assert!(smallest_reaching(&|_| f64::INFINITY, 1.0).is_some_and(is_smallest));
    }

    #[test]
    fn a_law_that_ends_or_steps() {
        let ends = |ohm: f64| if ohm < 3.0 { 0.01 * ohm } else { f64::INFINITY };
        let found = smallest_reaching(&ends, 1.0).unwrap_or(0.0);
        assert!(found < 3.0 && found > 3.0 * (1.0 - 1e-10), "{found}");
        let nothing_first = |ohm: f64| if ohm < 50.0 { f64::NEG_INFINITY } else { -20.0 };
        let found = smallest_reaching(&nothing_first, -40.0).unwrap_or(0.0);
        assert!(found < 50.0 && found > 50.0 * (1.0 - 1e-10), "{found}");
    }

    proptest! {
        #[test]
        fn as_by_halving_from_below_and_in_fewer_steps(
            all in -3.0f64..6.0, least in -7.0f64..1.5, power in prop::sample::select(vec![1.0, 2.0]), as_loss in any::<bool>(),
        ) {
            let (all, least) = (10f64.powf(all), 10f64.powf(least));
            let asked = Cell::new(0);
            let law = |ohm: f64| {
                asked.set(asked.get() + 1);
                let share = (ohm / (ohm + all)).powf(power);
                if as_loss { -20.0 * (-share).ln_1p() / 10f64.ln() } else { share }
            };
            let Some(found) = smallest_reaching(&law, least) else {
                prop_assert!(law(LARGEST_OHM) < least);
                return Ok(());
            };
            let spent = asked.get();
            let known = halved(&law, least);
            prop_assert!((found / known - 1.0).abs() <= 2.0 * CLOSE, "{found} {known}");
            prop_assert!(is_smallest(found) || law(found) < least);
            prop_assert!(spent <= 26, "{spent}");
            for near in [known, 1.5 * known, 40.0 * known] {
                let found = smallest_reaching_near(&law, least, near).unwrap_or(f64::NAN);
                prop_assert!(is_smallest(found) || (known / found - 1.0).abs() <= 2.0 * NEAR, "{found} {known} {near}");
            }
        }
    }
}
