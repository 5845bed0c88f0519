//! How far an answer can be from the true one, from what its own equations leave over.
//!
//! **One film.** Current and film voltage lie on the law, and what the loop's equation `open - u - M i` leaves over is `r`. The
//! law rises, so with the true answer `Re <M di, di> <= Re <r, di>`, and with `m = Re M` line by line
//! `|sqrt(m) di| <= |r / sqrt(m)|`. What the load sees is `T di`, hence `|T di| <= sup(|T|/sqrt(m)) |r/sqrt(m)|`.
//!
//! **Several films.** In waves of their reference resistances, `a = u + Rref i`, a film reflects at the instant t at most the share
//! `q(t) = |1 - Rref g|/(1 + Rref g)` of a change, `g` its slope anywhere within a margin of the voltage there, and the network
//! returns no more power than it is given. With `p = 1 - q^2` and the residual `rho = a0 + S b - a`, at every film and instant,
//! `sum |sqrt(p) da|^2 <= 2 sum da rho`, so `|sqrt(p) da| <= 2 |rho / sqrt(p)|`. A film's EMF changes by at most `q da`, and the load
//! by `reach` times that. The margin is widened until the bound does not pass it.
//!
//! Both hold for the equations on the samples that they are given. The residual is taken on a finer grid than the answer was
//! solved on, so that what falls between the lines of the coarse one counts too.

use super::films::{Placed, Seen};
use super::grid::Grid;
use super::newton::State;
use num_complex::Complex64;

/// Bound of the error of the load's voltage, all lines but direct current, rms, and how much of it the equations leave over;
/// infinite where nothing is known.
///
/// To what they leave over come what the samples fold back, taken as twice the outer quarter of the orders, which holds for spectra that
/// fall at least as fast as those of a corner, and the rounding of the sum.
#[must_use]
pub fn load_error_v(state: &mut State, seen: &Seen, placed: &[Placed], grid: &mut Grid) -> (f64, f64) {
    let equations = match placed {
        [] => return (0.0, 0.0),
        [film] => one(state, seen, film, grid.lines()),
        _ => several(state, seen, placed, grid),
    };
    let (mut outer, mut all) = (0.0, 0.0);
    for line in 1..grid.lines() {
        let made: Complex64 = (0..placed.len()).map(|k| at(state, seen, grid, k, line)).sum();
        all += 2.0 * (0..placed.len()).map(|k| at(state, seen, grid, k, line).norm_sqr()).sum::<f64>();
        if grid.is_outer(line) {
            outer += 2.0 * made.norm_sqr();
        }
    }
    (equations + 2.0 * outer.sqrt() + ROUNDING * all.sqrt(), equations)
}

/// Rounding of a transform and a sum, relative to what is summed.
const ROUNDING: f64 = 1e-15;

fn at(state: &State, seen: &Seen, grid: &Grid, k: usize, line: usize) -> Complex64 {
    let at = k * grid.lines() + line;
    seen.reach[at] * state.emf[at]
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

/// Widenings of the margin that are tried.
const MOST_WIDENINGS: usize = 60;

fn several(state: &mut State, seen: &Seen, placed: &[Placed], grid: &mut Grid) -> f64 {
    let (lines, samples) = (grid.lines(), grid.samples);
    let mut left = vec![0.0; placed.len() * samples];
    for (k, film) in placed.iter().enumerate() {
        let own = &mut left[k * samples..(k + 1) * samples];
        grid.in_time(&state.residual[k * lines..(k + 1) * lines], own);
        let scale = 2.0 * film.reference_ohm / (film.reference_ohm + film.wave_ohm);
        own.iter_mut().for_each(|x| *x *= scale);
    }
    let mut margin = vec![0.0; placed.len()];
    for _ in 0..MOST_WIDENINGS {
        // per film: what its residual adds, the most of q^2/p, the least p
        let (mut power, mut load) = (0.0, 0.0);
        let mut least = vec![1.0f64; placed.len()];
        for (k, film) in placed.iter().enumerate() {
            let scale = film.reference_ohm / film.film.resistance_ohm();
            let mut most = 0.0f64;
            let mut sum = 0.0;
            let of = k * samples..(k + 1) * samples;
            for (&u, left) in state.voltage_v[of.clone()].iter().zip(&left[of]) {
                let (low, high) = film.loaded.slopes(u - margin[k], u + margin[k]);
                for slope in [low, high] {
                    let held = scale * slope;
                    least[k] = least[k].min(4.0 * held / (1.0 + held).powi(2));
                    most = most.max((1.0 - held).powi(2) / (4.0 * held));
                }
                let p = [low, high].map(|slope| 4.0 * scale * slope / (1.0 + scale * slope).powi(2));
                sum += left * left / p[0].min(p[1]);
            }
            power += sum / (samples as f64 * film.reference_ohm);
            let reach = (1..lines).map(|line| seen.reach[k * lines + line].norm_sqr()).fold(0.0, f64::max);
            load += reach * most * film.reference_ohm;
        }
        let bound = 2.0 * power.sqrt();
        if !bound.is_finite() {
            return f64::INFINITY;
        }
        let mut held = true;
        for (k, film) in placed.iter().enumerate() {
            let needed = bound * (samples as f64 * film.reference_ohm / least[k]).sqrt();
            if needed > margin[k] {
                held = false;
                margin[k] = 2.0 * needed;
            }
        }
        if held {
            return bound * load.sqrt();
        }
    }
    f64::INFINITY
}

#[cfg(test)]
mod tests {
    use super::super::films::{channel_ohm, linear_waves, place, tune};
    use super::*;
    use crate::circuit::chain::Network;
    use crate::circuit::{Contact, Load, PathItem, Section, Source};
    use crate::physics::Film;
    use crate::watch::Unwatched;
    use realfft::RealFftPlanner;

    /// Largest true error of the load over its bound, for answers pushed aside at one line of one film.
    fn sharpest(films: &[Film], inductance_h: f64) -> f64 {
        let contact = |(k, film): (usize, &Film)| {
            PathItem::Contact(Contact { film: *film, ..Contact::ohmic(format!("k{k}"), 1.0) })
        };
        let section = Section {
            name: "s".into(),
            source: Some(Source { emf_v: 0.3, resistance_ohm: 600.0, inductance_h }),
            path: films.iter().enumerate().map(contact).collect(),
            load: Load::resistance(400.0),
        };
        let network = Network::from_section(&section).unwrap();
        let ohm: Vec<f64> = films.iter().map(Film::resistance_ohm).collect();
        let mut grid = Grid::one_tone(1e3, 135, &mut RealFftPlanner::new());
        let ladder = &network.links[0].ladder;
        let mut placed = place(&network, ladder, &ohm);
        tune(&network, ladder, &mut placed, &ohm, (0.3, 1e3));
        let mut seen = Seen::default();
        seen.fill(ladder, &placed, &channel_ohm(&network, &placed, &ohm), &grid.frequency_hz);
        let lines = grid.lines();
        let mut emf = vec![Complex64::default(); lines];
        emf[1] = Complex64::new(0.3 / std::f64::consts::SQRT_2, 0.0);
        let mut state = State::default();
        state.budget = usize::MAX;
        state.begin(films.len(), &grid);
        linear_waves(&seen, &placed, &grid, &emf, &vec![0.0; films.len()], &mut state.linear);
        assert!(state.solve(&seen, &placed, &mut grid, &Unwatched).residual < 1e-12);
        let load = |state: &State, grid: &Grid| -> Vec<Complex64> {
            (1..lines).map(|line| (0..films.len()).map(|k| at(state, &seen, grid, k, line)).sum()).collect()
        };
        let (known, settled) = (load(&state, &grid), state.delta.clone());
        let mut most = 0.0f64;
        for k in 0..films.len() {
            for line in [1, 2, 3, 5, 9] {
                for push in [Complex64::new(1e-4, 0.0), Complex64::new(0.0, 1e-4)] {
                    state.delta.copy_from_slice(&settled);
                    state.delta[k * lines + line] += push;
                    state.evaluate(&seen, &placed, &mut grid);
                    let off: f64 = load(&state, &grid).iter().zip(&known).map(|(a, b)| 2.0 * (a - b).norm_sqr()).sum();
                    let bound = load_error_v(&mut state, &seen, &placed, &mut grid).1;
                    assert!(off.sqrt() <= bound, "film {k} line {line}: {} above {bound}", off.sqrt());
                    most = most.max(off.sqrt() / bound);
                }
            }
        }
        most
    }

    #[test]
    fn never_below_the_true_error_and_not_far_above() {
        let film = |ohm| Film::Tunnelling { resistance_ohm: ohm, scale_v: 0.1 };
        let diode = |ohm| Film::Rectifying { resistance_ohm: ohm, ideality: 1.0, leak_ratio: 0.01 };
        let one: Vec<f64> =
            [(5.0, 0.0), (1e3, 0.0), (1e4, 0.02), (1e5, 0.0)].map(|(ohm, henry)| sharpest(&[diode(ohm)], henry)).into();
        let two: Vec<f64> = [(300.0, 0.0), (1e3, 0.05), (1e4, 0.0)]
            .map(|(ohm, henry)| sharpest(&[film(ohm), Film::Bridged { resistance_ohm: ohm }], henry))
            .into();
        let best = |all: &[f64]| all.iter().copied().fold(0.0, f64::max);
        assert!(best(&one) > 0.4 && best(&two) > 0.1, "{one:?} {two:?}");
    }
}
