//! Gauss and Legendre's rule of quadrature on -1 to 1, and the last Legendre coefficients of what is sampled at its nodes.

/// Nodes, weights, and what makes the last coefficients.
pub struct Gauss {
    /// nodes, rising
    pub node: Vec<f64>,
    /// weights
    pub weight: Vec<f64>,
    /// roots of the weights
    pub root_weight: Vec<f64>,
    /// `sqrt((2m+1)/2 w_k) P_m(t_k)` for the last eighth of the degrees that the nodes know, row by row: of numbers times
    /// `root_weight` the coefficients on the normalised polynomials
    pub last: Vec<f64>,
}

/// `P_n` at `t` and its derivative.
fn legendre(n: usize, t: f64) -> (f64, f64) {
    let (mut before, mut here) = (1.0, t);
    for k in 2..=n {
        let k = k as f64;
        (before, here) = (here, ((2.0 * k - 1.0) * t * here - (k - 1.0) * before) / k);
    }
    (here, n as f64 * (before - t * here) / (1.0 - t * t))
}

impl Gauss {
    /// With `count` nodes, an even number. Abramowitz and Stegun 25.4.29 and 22.16.6 \[memory\]: Newton's method from `cos(pi (k - 1/4)/(n + 1/2))`.
    #[must_use]
    pub fn new(count: usize) -> Self {
        let upper: Vec<(f64, f64)> = (1..=count / 2)
            .map(|k| {
                let mut t = (std::f64::consts::PI * (k as f64 - 0.25) / (count as f64 + 0.5)).cos();
                for _ in 0..8 {
                    let (value, slope) = legendre(count, t);
                    t -= value / slope;
                }
                let slope = legendre(count, t).1;
                (t, 2.0 / ((1.0 - t * t) * slope * slope))
            })
            .collect();
        let all: Vec<(f64, f64)> =
            upper.iter().map(|&(t, w)| (-t, w)).chain(upper.iter().rev().map(|&(t, w)| (t, w))).collect();
        let last = (count - count / 8..count)
            .flat_map(|m| all.iter().map(move |&(t, w)| ((m as f64 + 0.5) * w).sqrt() * legendre(m, t).0))
            .collect();
        Self {
            node: all.iter().map(|a| a.0).collect(),
            weight: all.iter().map(|a| a.1).collect(),
            root_weight: all.iter().map(|a| a.1.sqrt()).collect(),
            last,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::GRADED;
    use super::*;

    #[test]
    fn every_power_up_to_twice_the_nodes_is_integrated() {
        for count in GRADED {
            let rule = Gauss::new(count);
            assert!(rule.node.windows(2).all(|pair| pair[0] < pair[1]));
            for power in (0..2 * count as i32).step_by(2) {
                let sum: f64 = rule.node.iter().zip(&rule.weight).map(|(t, w)| w * t.powi(power)).sum();
                // rounding of a sum of positive numbers
                assert!((sum * f64::from(power + 1) / 2.0 - 1.0).abs() < 2e-13, "{count} {power} {sum}");
            }
        }
    }

    #[test]
    fn the_last_coefficients_are_those_of_legendre() {
        let count = 32;
        let rule = Gauss::new(count);
        let found = |values: &dyn Fn(f64) -> f64| -> Vec<f64> {
            rule.last
                .chunks_exact(count)
                .map(|row| (0..count).map(|k| row[k] * rule.root_weight[k] * values(rule.node[k])).sum::<f64>())
                .collect()
        };
        let one = found(&|t| 3.0 * (29.5f64).sqrt() * legendre(29, t).0 + legendre(5, t).0);
        assert!(one.iter().zip([0.0, 3.0, 0.0, 0.0]).all(|(a, b)| (a - b).abs() < 1e-13), "{one:?}");
    }
}
