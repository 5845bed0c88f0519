//! Where the search for a law through current-voltage points begins, and the best of what several starts come to.

use super::fit_law::{Held, Law, Parameters, straight_down, sum_of_squares};
use super::fit_points::Points;
use crate::physics::Film;
use crate::physics::film::heating_voltage_v;
use std::f64::consts::FRAC_PI_2;

/// Largest ideality that is still a diode: published 1 to 2.5 \[memory\], twice that for two films in series.
pub(super) const LARGEST_IDEALITY: f64 = 5.0;

/// Ends of the usual idealities \[memory\].
pub(super) const USUAL_IDEALITY: [f64; 2] = [1.0, 2.5];

/// Two starts whose squares differ by less than this share came to the same.
const SAME: f64 = 1e-9;

/// A tunnelling film whose scale is as many times the largest voltage bends by 2e-5; a diode that carries one part in as many of a
/// current bends as little.
const FAR: f64 = 100.0;

/// A law whose bend few points do not show may have run off to no bend at all, and nothing leads back from there: what is free is
/// brought to where there is some.
fn brought_back(points: &Points<'_>, held: &Held, found: Parameters) -> Parameters {
    let mut values = found.values();
    for ((value, name), _) in values.iter_mut().zip(found.names()).zip(held).filter(|(_, held)| !**held) {
        match *name {
            "scale_v" => *value = value.min(FAR * points.largest_voltage_v()),
            "leak_ratio" => *value = value.min(1.0 - FAR.recip()),
            _ => {}
        }
    }
    found.with_values(&values)
}

/// Least squares from one start; of many points a few go ahead.
fn descend(points: &Points<'_>, start: Parameters, held: Held) -> Option<Parameters> {
    let ahead = points.thinned().and_then(|few| {
        let few = few.points(points.watch);
        let nearer = brought_back(&few, &held, straight_down(&few, start, held.clone())?);
        straight_down(points, nearer, held.clone())
    });
    ahead.or_else(|| straight_down(points, start, held))
}

/// Resistance at small currents, ohm: mean chord of the third of the points, or of few of them, with the least.
fn small_signal_ohm(points: &Points<'_>) -> f64 {
    if let Some(few) = points.thinned() {
        return small_signal_ohm(&few.points(points.watch));
    }
    let mut order: Vec<usize> = (0..points.current_a.len()).filter(|&k| points.current_a[k] != 0.0).collect();
    let few = (order.len() / 3).max(2);
    let least =
        |&a: &usize, &b: &usize| points.current_a[a].abs().total_cmp(&points.current_a[b].abs()).then(a.cmp(&b));
    if few < order.len() {
        order.select_nth_unstable_by(few, least);
        order.truncate(few);
    }
    let (top, bottom) = order.iter().fold((0.0, 0.0), |(t, b), &k| {
        let (v, i) = (points.voltage_v[k], points.current_a[k]);
        (t + v * i, b + i * i)
    });
    (top / bottom).max(f64::MIN_POSITIVE)
}

/// A fit of a law, and which of its values are at an end of what is allowed.
#[derive(Clone)]
pub(super) struct Outcome {
    pub(super) squares: f64,
    pub(super) found: Parameters,
    pub(super) held: Held,
}

/// What the starts of a law come to on a few of many points, best first.
pub(super) fn ahead(few: &Points<'_>, law: Law) -> Vec<Outcome> {
    let mut ahead = outcomes_of(few, law, &starts(few, law));
    ahead.sort_by(|a, b| a.squares.total_cmp(&b.squares));
    ahead.dedup_by(|a, b| a.squares <= b.squares * (1.0 + SAME));
    ahead.iter_mut().for_each(|one| one.found = brought_back(few, &one.held, one.found));
    ahead
}

/// The best fit of a law to all points, from what was found ahead where something was.
pub(super) fn fit(points: &Points<'_>, law: Law, ahead: &[Outcome]) -> Option<Outcome> {
    let free = ahead.iter().map(|one| (vec![false; one.held.len()], one.found.values()));
    let held = ahead.iter().filter(|one| one.held.contains(&true)).map(|one| (one.held.clone(), one.found.values()));
    let mut outcomes = outcomes_of(points, law, &free.chain(held).collect::<Vec<_>>());
    if outcomes.is_empty() && !points.watch.stop() {
        outcomes = outcomes_of(points, law, &starts(points, law));
    }
    outcomes.into_iter().min_by(|a, b| a.squares.total_cmp(&b.squares))
}

/// What one search on all points makes of a fit to a few of them, its held values as they are.
pub(super) fn carried_on(points: &Points<'_>, ahead: &Outcome) -> Option<Outcome> {
    let found = straight_down(points, ahead.found, ahead.held.clone())?;
    let squares = sum_of_squares(points, &found);
    let inside = found.film.check().is_ok() && found.constriction_ohm >= 0.0;
    (inside && squares.is_finite()).then(|| Outcome { squares, found, held: ahead.held.clone() })
}

/// Where the search for a law begins, and which of its values are held.
fn starts(points: &Points<'_>, law: Law) -> Vec<(Held, Vec<f64>)> {
    let resistance = small_signal_ohm(points);
    let largest_v = points.largest_voltage_v();
    let end_ohm = FRAC_PI_2 * heating_voltage_v() / points.largest_current_a();
    let free = |values: Vec<f64>| (vec![false; values.len()], values);
    let rectifier = |ideality: f64, leak: f64| vec![0.05 * resistance, resistance, ideality, leak];
    match law {
        Law::Ohmic => vec![free(vec![resistance])],
        Law::Bridged => vec![free(vec![resistance.min(0.9 * end_ohm)])],
        Law::Tunnelling => {
            [0.1, 0.3, 1.0, 3.0].map(|share| free(vec![0.05 * resistance, resistance, share * largest_v])).to_vec()
        }
        Law::Rectifying { .. } => {
            let mut starts = [(1.0, 0.03), (1.3, 0.3), (2.0, 0.1)].map(|(n, leak)| free(rectifier(n, leak))).to_vec();
            // a slight bend tells (1-l)/n alone: hold n at the ends of what is usual, and the constriction at none
            starts.extend(USUAL_IDEALITY.map(|n| {
                let mut values = rectifier(n, 0.3);
                values[0] = 0.0;
                (vec![true, false, true, false], values)
            }));
            starts
        }
    }
}

/// What several starts come to.
fn outcomes_of(points: &Points<'_>, law: Law, starts: &[(Held, Vec<f64>)]) -> Vec<Outcome> {
    let blank = Parameters { law, constriction_ohm: 0.0, film: Film::Ohmic { resistance_ohm: 1.0 } };
    let mut outcomes: Vec<Outcome> = Vec::new();
    for (held, start) in starts {
        // a start with values held is for where the free ones found nothing within range
        let best = outcomes.iter().min_by(|a, b| a.squares.total_cmp(&b.squares));
        if held.contains(&true) && best.is_some_and(|best| !best.held.contains(&true)) {
            continue;
        }
        let mut held = held.clone();
        let Some(mut found) = straight_down(points, blank.with_values(start), held.clone()) else { continue };
        // what left its range is put on the end of it, and the rest fitted again from the start
        let mut again = start.clone();
        for _ in 0..2 {
            let mut changed = false;
            for (k, name) in found.names().iter().enumerate() {
                let (least, most) = match *name {
                    "constriction_ohm" => (0.0, f64::INFINITY),
                    "ideality" => (1.0, LARGEST_IDEALITY),
                    _ => continue,
                };
                let value = found.values()[k];
                if value < least || value > most {
                    (again[k], held[k], changed) = (value.clamp(least, most), true, true);
                }
            }
            if !changed {
                break;
            }
            let Some(next) = straight_down(points, blank.with_values(&again), held.clone()) else { break };
            found = next;
        }
        let diode = !matches!(found.film, Film::Rectifying { ideality, .. } if ideality > LARGEST_IDEALITY);
        let inside = diode && found.film.check().is_ok() && found.constriction_ohm >= 0.0;
        let squares = sum_of_squares(points, &found);
        if inside && squares.is_finite() {
            outcomes.push(Outcome { squares, found, held });
        }
    }
    outcomes
}

/// The same law with everything but its resistance as given: for what the points could have told.
pub(super) fn fit_resistance(points: &Points<'_>, law: Law, film: Film) -> Option<Parameters> {
    let end_ohm = FRAC_PI_2 * heating_voltage_v() / points.largest_current_a();
    let mut resistance = small_signal_ohm(points);
    if law == Law::Bridged {
        resistance = resistance.min(0.9 * end_ohm);
    }
    let start = Parameters { law, constriction_ohm: 0.0, film: film.with_resistance(resistance) };
    let held = start.names().iter().map(|name| *name != "resistance_ohm").collect();
    descend(points, start, held)
}

/// Sum of squares with the ideality held at a value, the rest fitted again; infinite where nothing is found.
pub(super) fn squares_at_ideality(points: &Points<'_>, best: &Parameters, ideality: f64) -> f64 {
    let Film::Rectifying { .. } = best.film else { return f64::INFINITY };
    let mut least = f64::INFINITY;
    for leak in [0.01, 0.1, 0.4, 0.8] {
        let held = vec![best.constriction_ohm == 0.0, false, true, false];
        let start = best.with_values(&[best.constriction_ohm, best.film.resistance_ohm(), ideality, leak]);
        if let Some(found) = descend(points, start, held) {
            if found.film.check().is_ok() && found.constriction_ohm >= 0.0 {
                least = least.min(sum_of_squares(points, &found));
            }
        }
    }
    least
}
