//! Linear response: transfer, loss, and how the loss varies over the audible band.
//!
//! * `transfer = V(load) / EMF`, complex, with `exp(+j omega t)`.
//! * `loss_db = 20 log10 |transfer with perfect contacts / transfer|`: positive for quieter.
//! * `response_change_db`: largest minus smallest loss over a band.
//!
//! Source: elementary circuit theory; checked against scikit-rf cascades and a numpy ladder in `tests/python`.

use crate::circuit::chain::Network;
use num_complex::Complex64;

/// The audible band, Hz.
pub const AUDIBLE_BAND_HZ: (f64, f64) = (20.0, 20e3);

/// Points per octave of the grid on which extremes over a band are looked for before they are refined.
pub(crate) const POINTS_PER_OCTAVE: f64 = 48.0;

/// Load voltage per EMF through all sections and stages; `contact_ohm` by number through the chain.
#[must_use]
pub fn transfer(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> Complex64 {
    network.links.iter().fold(Complex64::new(1.0, 0.0), |product, link| {
        let stages: Complex64 = link.stages.iter().map(|s| s.transfer(frequency_hz)).product();
        product * link.ladder.transfer(frequency_hz, contact_ohm) * stages
    })
}

/// How much quieter than with perfect contacts, dB.
#[must_use]
pub fn loss_db(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> f64 {
    let perfect = vec![0.0; contact_ohm.len()];
    let ratio = |link: &crate::circuit::chain::Link| {
        link.ladder.transfer(frequency_hz, &perfect).norm_sqr()
            / link.ladder.transfer(frequency_hz, contact_ohm).norm_sqr()
    };
    10.0 * network.links.iter().map(ratio).product::<f64>().log10()
}

/// Largest minus smallest loss over a band, dB.
///
/// Found on a logarithmic grid of 48 points an octave, each extreme refined by golden section between its neighbours.
#[must_use]
pub fn response_change_db(network: &Network, contact_ohm: &[f64], band_hz: (f64, f64)) -> f64 {
    let loss = |ln_f: f64| loss_db(network, ln_f.exp(), contact_ohm);
    let largest = largest_over(band_hz, loss);
    let smallest = -largest_over(band_hz, |ln_f| -loss(ln_f));
    (largest - smallest).max(0.0)
}

/// Logarithms of a band's grid frequencies, both ends included.
pub(crate) fn log_grid(band_hz: (f64, f64)) -> Vec<f64> {
    let (low, high) = (band_hz.0.ln(), band_hz.1.ln());
    let steps = ((high - low) / std::f64::consts::LN_2 * POINTS_PER_OCTAVE).ceil().max(1.0);
    (0..=steps as usize).map(|k| low + (high - low) * k as f64 / steps).collect()
}

fn largest_over(band_hz: (f64, f64), value: impl Fn(f64) -> f64) -> f64 {
    let grid = log_grid(band_hz);
    let on_grid: Vec<f64> = grid.iter().map(|&x| value(x)).collect();
    refine_largest(&grid, &on_grid, value)
}

/// Largest value of a function sampled on a grid, each local maximum within 10 % of the top refined between its neighbours.
pub(crate) fn refine_largest(grid: &[f64], on_grid: &[f64], value: impl Fn(f64) -> f64) -> f64 {
    let top = on_grid.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let bottom = on_grid.iter().copied().fold(f64::INFINITY, f64::min);
    let worth = top - 0.1 * (top - bottom);
    let mut best = top;
    for k in 1..grid.len().saturating_sub(1) {
        let (before, here, after) = (on_grid[k - 1], on_grid[k], on_grid[k + 1]);
        if here >= worth && here >= before && here >= after && (here > before || here > after) {
            best = best.max(golden_section(grid[k - 1], grid[k + 1], &value));
        }
    }
    best
}

/// Largest value of a function with one maximum between two points (golden section, Kiefer 1953 \[memory\]).
fn golden_section(mut low: f64, mut high: f64, value: &impl Fn(f64) -> f64) -> f64 {
    const SHARE: f64 = 0.618_033_988_749_894_9;
    const ROUNDS: usize = 30;
    let mut left = high - SHARE * (high - low);
    let mut right = low + SHARE * (high - low);
    let (mut at_left, mut at_right) = (value(left), value(right));
    for _ in 0..ROUNDS {
        if at_left > at_right {
            high = right;
            (right, at_right) = (left, at_left);
            left = high - SHARE * (high - low);
            at_left = value(left);
        } else {
            low = left;
            (left, at_left) = (right, at_right);
            right = low + SHARE * (high - low);
            at_right = value(right);
        }
    }
    at_left.max(at_right)
}
