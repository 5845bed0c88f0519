//! A sum that keeps what its large part rounds off.

/// A number and what is below its last place.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Twofold {
    /// the number as far as it goes
    pub high: f64,
    /// the rest
    pub low: f64,
}

impl Twofold {
    /// The sum with a third number; Knuth's sum that tells its rounding.
    #[must_use]
    pub fn plus(self, more: f64) -> Self {
        let (sum, lost) = two_sum(self.high, more);
        let (high, low) = two_sum(sum, self.low + lost);
        Self { high, low }
    }

    /// The difference, rounded once.
    #[must_use]
    pub fn minus(self, other: Self) -> f64 {
        let (high, lost) = two_sum(self.high, -other.high);
        high + (lost + (self.low - other.low))
    }
}

fn two_sum(a: f64, b: f64) -> (f64, f64) {
    let sum = a + b;
    let back = sum - a;
    (sum, (a - (sum - back)) + (b - back))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_steps_far_from_zero_add_up() {
        // a million of a tenth of an ulp: a plain sum would stay where it began
        let step = 0.1 * f64::EPSILON;
        let end = (0..1_000_000).fold(Twofold { high: 1.0, low: 0.0 }, |sum, _| sum.plus(step));
        let gone = end.minus(Twofold { high: 1.0, low: 0.0 });
        assert!((gone / (1e6 * step) - 1.0).abs() < 1e-14, "{gone}");
        assert!(end.low.abs() <= 0.5 * f64::EPSILON * end.high);
        assert_eq!(Twofold::default().plus(1e300).plus(-1e300), Twofold::default());
    }
}
