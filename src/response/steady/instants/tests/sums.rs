//! Sums over the period.

use super::*;

#[test]
fn the_residue_is_the_rms_of_what_is_past_the_fundamental() {
    let lines = [9.0, 7.0, 3.0, 0.0, 1.0].map(Complex64::from);
    assert!((residue_v(&lines) - 20f64.sqrt()).abs() < 1e-14);
    assert_eq!(residue_v(&lines[..2]), 0.0);
}

#[test]
fn rounding_is_of_all_that_is_summed() {
    // Parseval: the mean square of a period is that of all its lines, and rounding is told as a share of its root
    let network = &mild()[1];
    let mut period = Period::new(network, (2e3, network.emf_v), &ohm(network), &Unwatched).unwrap();
    period.settle().unwrap();
    let (lines, rounding) = period.lines(LINES[0]);
    let all = (lines[0].norm_sqr() + lines[1..].iter().map(|c| 2.0 * c.norm_sqr()).sum::<f64>()).sqrt();
    assert!(lines.len() == LINES[0] + 1 && (rounding / all - 1.0).abs() < 1e-6, "{rounding:e} {all}");
}

#[test]
fn what_turning_line_by_line_rounds_is_within_what_is_counted() {
    // n times the instant in two numbers, so that whole turns go without a rounding
    let exact = |n: usize, instant: f64| {
        let high = n as f64 * instant;
        let low = (n as f64).mul_add(instant, -high);
        (TAU * ((high - high.round()) + low)).sin_cos()
    };
    for (pieces, count) in [(60, 121), (500, 364), (300, 1093)] {
        let mut sum = vec![Complex64::default(); count + 1];
        let mut known = sum.clone();
        let mut square = 0.0;
        for piece in 0..pieces {
            let instants: [f64; SUMMED] =
                std::array::from_fn(|k| BEGIN + (piece as f64 + (k as f64 + 0.5) / SUMMED as f64) / f64::from(pieces));
            let weight = 1.0 / f64::from(pieces * SUMMED as i32);
            let value = instants.map(|t| weight * (TAU * t).cos());
            square += value.iter().map(|v| v * v / weight).sum::<f64>();
            add_lines(&mut sum, value, &instants.map(|t| (-TAU * t).sin_cos()));
            for (line, known) in known.iter_mut().enumerate() {
                for (value, t) in value.iter().zip(instants) {
                    let (sin, cos) = exact(line, t);
                    *known += value * Complex64::new(cos, -sin);
                }
            }
        }
        let apart = sum.iter().zip(&known).map(|(a, b)| 2.0 * (a - b).norm_sqr()).sum::<f64>().sqrt() / square.sqrt();
        let counted = ROUNDING * (count as f64).powf(1.5);
        assert!(apart <= counted && apart > 0.02 * counted, "{count} lines: {apart:e} of {counted:e}");
    }
}

#[test]
fn the_last_part_has_no_neighbour_behind_it() {
    let network = &mild()[1];
    let period = Period::new(network, (2e3, network.emf_v), &ohm(network), &Unwatched).unwrap();
    let parts = period.loops.parts.len();
    assert!(parts > 2);
    for i in 0..parts {
        // numbered from 1: what follows less what goes before, nothing past the ends
        let expected = if i + 1 < parts { i as f64 + 2.0 } else { 0.0 } - i as f64;
        assert_eq!(period.loops.neighbours(|n| n as f64 + 1.0, i), expected);
    }
}

#[test]
fn what_it_costs() {
    // rounds and marches as counted when this was written, and half as many again
    for (network, most) in mild().iter().zip([(5, 3), (5, 3), (14, 3), (12, 3), (5, 4)]) {
        let film_ohm = ohm(network);
        let tone = (2e3, network.emf_v);
        let lines = Solver::default().solve(network, Tones::One(tone), &film_ohm);
        let mut period = Period::new(network, tone, &film_ohm, &Unwatched).unwrap();
        period.settle().unwrap();
        assert!(lines.rounds <= most.0 && period.rounds <= most.1, "{} {}", lines.rounds, period.rounds);
    }
}
