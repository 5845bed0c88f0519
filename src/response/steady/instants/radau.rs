//! Polynomials through Radau's points: the end of a step is one of them, so stiff parts come to rest there.
//!
//! Points of the Radau IIA method of five stages (Hairer and Wanner, Solving Ordinary Differential Equations II, IV.5 \[memory\]; the
//! test finds them again as those whose quadrature is exact to the eighth power).

/// Stages of a step.
pub const STAGES: usize = 5;

/// Start of a step and its stages.
pub const POINTS: [f64; STAGES + 1] =
    [0.0, 0.057_104_196_114_517_68, 0.276_843_013_638_123_8, 0.583_590_432_368_916_8, 0.860_240_135_656_219_4, 1.0];

/// Weights with which the values at the points make the value and the slope at a place of the step.
#[derive(Debug, Clone, Copy, Default)]
pub struct Basis {
    /// of a part that stores: through the start and the stages
    pub stored: [f64; STAGES + 1],
    /// slope of the same, per step
    pub slope: [f64; STAGES + 1],
    /// of a part that does not: through the stages alone
    pub free: [f64; STAGES + 1],
}

impl Basis {
    /// At a place, 0 at the start of the step and 1 at its end.
    pub fn at(place: f64) -> Self {
        let mut basis = Self::default();
        for l in 0..=STAGES {
            let (value, slope) = lagrange(&POINTS, l, place);
            basis.stored[l] = value;
            basis.slope[l] = slope;
            if l > 0 {
                basis.free[l] = lagrange(&POINTS[1..], l - 1, place).0;
            }
        }
        basis
    }
}

/// Lagrange's polynomial of a point and its slope.
fn lagrange(points: &[f64], own: usize, place: f64) -> (f64, f64) {
    let (mut value, mut slope) = (1.0, 0.0);
    for (k, point) in points.iter().enumerate() {
        if k != own {
            let under = points[own] - point;
            slope = slope * (place - point) / under + value / under;
            value *= (place - point) / under;
        }
    }
    (value, slope)
}

/// Points and weights of Gauss and Legendre on 0 to 1, by Newton's method on the polynomial.
pub fn gauss(count: usize) -> Vec<(f64, f64)> {
    let n = count as f64;
    (0..count)
        .map(|k| {
            let mut x = (std::f64::consts::PI * (k as f64 + 0.75) / (n + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..50 {
                let (mut before, mut now) = (1.0, x);
                for m in 2..=count {
                    let m = m as f64;
                    (before, now) = (now, ((2.0 * m - 1.0) * x * now - (m - 1.0) * before) / m);
                }
                slope = n * (x * now - before) / (x * x - 1.0);
                let step = now / slope;
                x -= step;
                if step.abs() < 1e-16 {
                    break;
                }
            }
            (0.5 * (1.0 + x), 1.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn radaus_points_are_exact_to_the_eighth_power() {
        // weights: integrals of the stages' polynomials
        let many = gauss(12);
        for power in 0..9 {
            let sum: f64 = (1..=STAGES)
                .map(|l| {
                    let weight: f64 = many.iter().map(|(x, w)| w * Basis::at(*x).free[l]).sum();
                    weight * POINTS[l].powi(power)
                })
                .sum();
            assert!((sum - 1.0 / f64::from(power + 1)).abs() < 1e-14, "{power}: {sum}");
        }
    }

    #[test]
    fn gauss_and_the_slopes_are_exact() {
        for power in 0..20 {
            let sum: f64 = gauss(10).iter().map(|(x, w)| w * x.powi(power)).sum();
            assert!((sum - 1.0 / f64::from(power + 1)).abs() < 1e-14);
        }
        let basis = Basis::at(0.37);
        for power in 1..=5 {
            let slope: f64 = (0..=STAGES).map(|l| basis.slope[l] * POINTS[l].powi(power)).sum();
            assert!((slope - f64::from(power) * 0.37f64.powi(power - 1)).abs() < 1e-12);
        }
    }
}
