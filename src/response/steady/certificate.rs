//! How far an answer can be from the true one, from what its own equations leave over.
//!
//! **One film.** Current and film voltage lie on the law, and what the loop's equation `open - u - M i` leaves over is `r`. The
//! law rises, so with the true answer `Re <M di, di> <= Re <r, di>`, and with `m = Re M` line by line
//! `|sqrt(m) di| <= |r / sqrt(m)|`. What the load sees is `T di`, hence `|T di| <= sup(|T|/sqrt(m)) |r/sqrt(m)|`.
//!
//! **Several films.** In waves a film reflects at most the share `q < 1` of a change, `q` the largest `|1 - Rp g|/(1 + Rp g)` of its
//! slopes `g` between the voltages that it visits, widened by a margin that the bound itself must not pass; the network
//! reflects at most all. So `|da| <= |a0 + S b - a| / (1 - q)`, a contraction of a ball into itself.
//!
//! Both hold for the equations on the samples that they are given. `r` is taken on a finer grid than the answer was
//! solved on, so that what falls between the lines of the coarse one counts too.

use super::films::{Placed, Seen};
use super::grid::Grid;
use super::newton::{State, norm};

/// Bound of the error of the load's voltage, all lines but direct current, rms; infinite where nothing is known.
#[must_use]
pub fn load_error_v(state: &State, seen: &Seen, placed: &[Placed], grid: &Grid) -> f64 {
    match placed {
        [] => 0.0,
        [film] => one(state, seen, film, grid.lines()),
        _ => several(state, seen, placed, grid),
    }
}

fn one(state: &State, seen: &Seen, film: &Placed, lines: usize) -> f64 {
    let (mut gain, mut power) = (0.0f64, 0.0);
    for line in 0..lines {
        let (rest, reach) = (seen.rest[line], seen.reach[line]);
        let total = rest + film.reference_ohm;
        let left = state.residual[line] * total / (film.reference_ohm + film.wave_ohm);
        let real = rest.re;
        if real <= 0.0 {
            if left.norm_sqr() == 0.0 {
                continue;
            }
            return f64::INFINITY;
        }
        let times = if line == 0 { 1.0 } else { 2.0 };
        power += times * left.norm_sqr() / real;
        if line > 0 {
            gain = gain.max((reach * total).norm_sqr() / real);
        }
    }
    (gain * power).sqrt()
}

fn several(state: &State, seen: &Seen, placed: &[Placed], grid: &Grid) -> f64 {
    let (lines, samples) = (grid.lines(), grid.samples);
    // |a0 + S b - a| = |(I - S gamma) r| <= 2 |r|
    let left = 2.0 * norm(placed, lines, &state.residual);
    if left == 0.0 {
        return 0.0;
    }
    let mut ends = Vec::with_capacity(placed.len());
    for k in 0..placed.len() {
        let own = &state.voltage_v[k * samples..(k + 1) * samples];
        ends.push(own.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), &u| (a.min(u), b.max(u))));
    }
    // widen until the margin holds what it allows
    let mut margin = left;
    for _ in 0..60 {
        let mut reflected = 0.0f64;
        let mut load = 0.0;
        for (k, film) in placed.iter().enumerate() {
            let wide = margin * (samples as f64 * film.wave_ohm).sqrt();
            let (low, high) = film.loaded.slopes(ends[k].0 - wide, ends[k].1 + wide);
            for slope in [low, high] {
                let held = slope * film.wave_ohm / film.film.resistance_ohm();
                reflected = reflected.max((1.0 - held).abs() / (1.0 + held));
            }
            let scale = film.reference_ohm / film.film.resistance_ohm();
            let emf_per_wave = [low, high]
                .map(|slope| (scale * slope - 1.0).abs() / (1.0 + film.loaded.front() * slope))
                .into_iter()
                .fold(0.0, f64::max);
            let reach = (1..lines).map(|line| seen.reach[k * lines + line].norm()).fold(0.0, f64::max);
            load += (reach * emf_per_wave).powi(2) * film.wave_ohm;
        }
        if reflected >= 1.0 {
            return f64::INFINITY;
        }
        let error = left / (1.0 - reflected);
        if error <= margin {
            return error * load.sqrt();
        }
        margin = 2.0 * error;
        if !margin.is_finite() {
            break;
        }
    }
    f64::INFINITY
}
