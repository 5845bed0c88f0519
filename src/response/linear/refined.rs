//! What the search for a largest value costs.

use super::*;
use std::cell::Cell;

#[test]
fn one_top_is_refined_once() {
    let grid: Vec<f64> = (0..=40).map(|k| 0.1 * f64::from(k)).collect();
    let parabola = |x: f64| -(x - 1.234).powi(2);
    let on_grid: Vec<f64> = grid.iter().map(|&x| parabola(x)).collect();
    let asked = Cell::new(0);
    let top = refine_largest(&grid, &on_grid, |x| {
        asked.set(asked.get() + 1);
        parabola(x)
    });
    // 30 rounds make 0.2 into 1e-7
    assert!(top <= 0.0 && top > -1e-13, "{top}");
    // two to begin with and one a round
    assert_eq!(asked.get(), 32);
}
