//! A class-AB output stage as a rival: two ideal complementary emitter followers, each with `R` in its emitter circuit.
//!
//! `i_N = (VT/R) W(q e^(q+u/VT))`, `i_P` with the other sign, `q = Iq R/VT`, `u = Vin - Vout` (derived from the exponential law;
//! Oliver, Hewlett-Packard Journal 22(6), 1971 \[result seen\]: at `q = 1`, 26 mV across each emitter circuit, the output
//! resistance at rest is what it is at large currents). Open loop: feedback divides what is left, and is left to the caller.

use std::f64::consts::FRAC_PI_2;

/// The stage and its load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClassAb {
    /// voltage across each emitter circuit at rest over the thermal voltage
    pub quiescent: f64,
    /// resistance of each emitter circuit, ohm
    pub emitter_ohm: f64,
    /// load, ohm
    pub load_ohm: f64,
    /// thermal voltage, V
    pub thermal_v: f64,
}

/// `w` of `w + ln w = x`: Lambert's W of `e^x`, without overflow.
#[must_use]
pub fn lambert_of_exp(x: f64) -> f64 {
    // e^x underflows W to e^x itself
    if x < -36.0 {
        return x.exp();
    }
    let mut w = if x > 1.0 { x - x.ln() } else { x.exp() / (1.0 + x.exp()) };
    for _ in 0..20 {
        // Halley on ln: f = w + ln w - x, with f' = (1 + w)/w
        let f = w + w.ln() - x;
        let step = w * f / (1.0 + w);
        let next = w - step / (1.0 + 0.5 * f / (1.0 + w).powi(2)).max(0.5);
        let next = if next > 0.0 { next } else { 0.5 * w };
        let done = (next - w).abs() <= 1e-15 * w;
        w = next;
        if done {
            break;
        }
    }
    w
}

impl ClassAb {
    fn halves(&self, u: f64) -> (f64, f64) {
        let rest = self.quiescent.ln() + self.quiescent;
        (lambert_of_exp(rest + u / self.thermal_v), lambert_of_exp(rest - u / self.thermal_v))
    }

    /// Output resistance over `R` at a drop `u`, V.
    #[must_use]
    pub fn output_ohm(&self, u: f64) -> f64 {
        let (n, p) = self.halves(u);
        self.emitter_ohm / (n / (1.0 + n) + p / (1.0 + p))
    }

    /// Output current at a drop `u`, A.
    #[must_use]
    pub fn current_a(&self, u: f64) -> f64 {
        let (n, p) = self.halves(u);
        self.thermal_v / self.emitter_ohm * (n - p)
    }

    /// Drop between input and output at an input voltage, by Newton's method between bounds.
    fn drop_v(&self, input_v: f64, start: f64) -> f64 {
        let (mut low, mut high) = if input_v >= 0.0 { (0.0, input_v) } else { (input_v, 0.0) };
        let mut u = start.max(low).min(high);
        for _ in 0..60 {
            let f = u + self.load_ohm * self.current_a(u) - input_v;
            if f > 0.0 {
                high = u;
            } else {
                low = u;
            }
            let newton = u - f / (1.0 + self.load_ohm / self.output_ohm(u));
            let next = if newton > low && newton < high { newton } else { 0.5 * (low + high) };
            let done = (next - u).abs() <= 1e-14 * input_v.abs().max(1e-12);
            u = next;
            if done {
                break;
            }
        }
        u
    }

    /// Harmonics over fundamental for a sine of `input_peak_v`, open loop: the crossover residue against level.
    #[must_use]
    pub fn residue(&self, input_peak_v: f64) -> f64 {
        const QUARTER: usize = 64;
        // odd in time about the crossing, even about the crest: a quarter of the period says all
        let mut start = 0.0;
        let mut drops = [0.0; QUARTER];
        let angle = |k: usize| FRAC_PI_2 * (k as f64 + 0.5) / QUARTER as f64;
        for (k, drop) in drops.iter_mut().enumerate() {
            start = self.drop_v(input_peak_v * angle(k).sin(), start);
            *drop = start;
        }
        let share = |k: usize| 2.0 / QUARTER as f64 * angle(k).sin();
        let in_drop: f64 = drops.iter().enumerate().map(|(k, u)| u * share(k)).sum();
        let power: f64 =
            drops.iter().enumerate().map(|(k, u)| (u - in_drop * angle(k).sin()).powi(2)).sum::<f64>() / QUARTER as f64;
        (2.0 * power).sqrt() / (input_peak_v - in_drop)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn stage(quiescent: f64) -> ClassAb {
        ClassAb { quiescent, emitter_ohm: 0.22, load_ohm: 8.0, thermal_v: 25.852e-3 }
    }

    #[test]
    fn lambert_of_many_sizes() {
        for x in [-700.0, -40.0, -5.0, -0.5, 0.0, 1.0, 3.0, 50.0, 1e4] {
            let w = lambert_of_exp(x);
            if x > -36.0 {
                assert!((w + w.ln() - x).abs() < 1e-12 * (1.0 + x.abs()), "{x} {w}");
            }
        }
        // the omega constant, W(1) [handbook]
        assert_relative_eq!(lambert_of_exp(0.0), 0.567_143_290_409_783_8, max_relative = 1e-14);
    }

    #[test]
    fn output_resistance_at_rest_and_its_peak() {
        // r(0)/R = (1 + q)/(2 q): 5.5, 1.5, 1, 0.75 [derived]; at q = 1 the peak is 1.202558 R [calc]
        for (q, ratio) in [(0.1, 5.5), (0.5, 1.5), (1.0, 1.0), (2.0, 0.75)] {
            assert_relative_eq!(stage(q).output_ohm(0.0) / 0.22, ratio, max_relative = 1e-12);
        }
        let peak = (0..4000).map(|k| stage(1.0).output_ohm(f64::from(k) * 1e-4) / 0.22).fold(0.0, f64::max);
        assert!((peak - 1.202_558).abs() < 1e-5, "{peak}");
    }

    #[test]
    fn residue_against_level() {
        // the references' table, open loop, 0.22 ohm, 8 ohm, 300 K, % [calc]
        let table = [
            (
                1.0,
                [(0.1, 0.00007), (0.5, 0.001_86), (1.0, 0.007_35), (4.0, 0.061_44), (10.0, 0.0276), (28.284, 0.030_96)],
            ),
            (
                0.2,
                [
                    (0.1, 0.007_83),
                    (0.5, 0.134_28),
                    (1.0, 0.278_47),
                    (4.0, 0.368_09),
                    (10.0, 0.266_45),
                    (28.284, 0.147_55),
                ],
            ),
        ];
        for (q, row) in table {
            for (peak, percent) in row {
                let found = 100.0 * stage(q).residue(peak);
                assert!((found - percent).abs() < 6e-6 + 1e-3 * percent, "{q} {peak} {found}");
            }
        }
        // small signals, in closed form: HD3 = A^2 |a3| / (4 (1 + T)^3): 7.4692e-7 and 3.3602e-5 by numbers [calc]
        assert_relative_eq!(stage(1.0).residue(0.1), 7.4692e-7, max_relative = 1e-3);
        assert_relative_eq!(stage(0.25).residue(0.1), 3.3602e-5, max_relative = 1e-3);
    }
}
