//! Coverage intervals from draws, and the numerical tolerance of a stated uncertainty (JCGM 101:2008, 7.7 and 7.9.2 \[memory\]).

/// A coverage interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// lower end
    pub low: f64,
    /// upper end
    pub high: f64,
}

/// Draws that an interval of a probability holds: `pM`, rounded to the nearest.
fn held(count: usize, probability: f64) -> usize {
    let exact = probability * count as f64;
    let whole = exact.round();
    let held = if (exact - whole).abs() < 1e-9 * exact { whole } else { (exact + 0.5).floor() };
    (held as usize).clamp(1, count.saturating_sub(1).max(1))
}

/// The probabilistically symmetric interval of sorted draws; `None` for fewer than two.
#[must_use]
pub fn symmetric(sorted: &[f64], probability: f64) -> Option<Interval> {
    if sorted.len() < 2 {
        return None;
    }
    let q = held(sorted.len(), probability);
    let rest = sorted.len() - q;
    // (M - q)/2, or (M - q + 1)/2 where that is no whole number
    let first = rest.div_ceil(2).max(1);
    let last = (first + q).min(sorted.len());
    Some(Interval { low: sorted[first - 1], high: sorted[last - 1] })
}

/// The shortest interval of sorted draws; `None` for fewer than two.
#[must_use]
pub fn shortest(sorted: &[f64], probability: f64) -> Option<Interval> {
    if sorted.len() < 2 {
        return None;
    }
    let q = held(sorted.len(), probability);
    let mut best = Interval { low: sorted[0], high: sorted[q] };
    for (low, high) in sorted.iter().zip(&sorted[q..]) {
        if high - low < best.high - best.low {
            best = Interval { low: *low, high: *high };
        }
    }
    Some(best)
}

/// Half of the last digit that a value has when `digits` significant ones are stated: `u = c 10^l`, `delta = 10^l / 2`.
#[must_use]
pub fn numerical_tolerance(uncertainty: f64, digits: i32) -> f64 {
    if uncertainty <= 0.0 || !uncertainty.is_finite() {
        return 0.0;
    }
    let mut exponent = uncertainty.log10().floor() as i32 - digits + 1;
    // 9.96 stated with two digits is 10
    let top = 10f64.powi(digits) - 0.5;
    if uncertainty / 10f64.powi(exponent) >= top {
        exponent += 1;
    }
    0.5 * 10f64.powi(exponent)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_many_draws_an_interval_holds() {
        // JCGM 101, 7.7.1: pM where it is whole, else the integer part of pM + 1/2 [memory]
        for (count, probability, q) in
            [(100, 0.95, 95), (30, 0.95, 29), (50, 0.95, 48), (10, 0.98, 9), (3, 0.5, 2), (2, 0.01, 1)]
        {
            assert_eq!(held(count, probability), q, "{count} {probability}");
        }
    }
    use approx::assert_relative_eq;

    #[test]
    fn tolerances_of_the_standard() {
        // JCGM 101, 7.9.2.1 examples [memory, calc]: 0.00035 with two digits 5e-6, 0.0004 with one 5e-5, 2 K with one 0.5
        for (u, digits, delta) in
            [(0.000_35, 2, 5e-6), (0.000_4, 1, 5e-5), (2.0, 1, 0.5), (9.96, 2, 0.5), (9.94, 2, 0.05)]
        {
            assert_relative_eq!(numerical_tolerance(u, digits), delta, epsilon = 0.0, max_relative = 1e-12);
        }
        assert_eq!(numerical_tolerance(0.0, 2), 0.0);
    }

    #[test]
    fn ends_by_counting() {
        // M = 100, p = 0.95: q = 95; symmetric r = (5 + 1)/2 = 3, so the 3rd and the 98th of the sorted draws
        let draws: Vec<f64> = (1..=100).map(f64::from).collect();
        assert_eq!(symmetric(&draws, 0.95), Some(Interval { low: 3.0, high: 98.0 }));
        // M = 200, p = 0.95: q = 190, r = 5
        let draws: Vec<f64> = (1..=200).map(f64::from).collect();
        assert_eq!(symmetric(&draws, 0.95), Some(Interval { low: 5.0, high: 195.0 }));
        // a long right tail: the shortest begins at the first draw
        let tail: Vec<f64> = (1..=200).map(|k| f64::from(k).powi(4)).collect();
        assert_eq!(shortest(&tail, 0.95).unwrap().low, 1.0);
        assert_eq!(shortest(&[1.0], 0.95), None);
    }
}

#[cfg(test)]
mod two;
