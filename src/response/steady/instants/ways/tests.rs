use super::super::radau::POINTS;
use super::super::tests::{hollow, mild, ohm};
use super::super::twofold::Twofold;
use super::super::{LINES, Period};
use super::*;
use crate::circuit::chain::Network;
use crate::physics::Film;
use crate::watch::Unwatched;

fn settled(network: &Network) -> Period<'static> {
    let mut period = Period::new(network, (2e3, network.emf_v), &ohm(network), &Unwatched).unwrap();
    period.settle().unwrap();
    period
}

/// A period's march, its waves pushed aside by smooth amounts of a millionth, each part's by its own.
fn pushed(network: &Network) -> Period<'static> {
    let mut period = settled(network);
    period.refine(1e-9 * network.emf_v).unwrap();
    let parts = period.loops.parts.len();
    for step in &mut period.march.steps {
        let (from, length) = (step.from, step.length);
        let push = |i: usize, l: usize| {
            let turns = (i + 1) as f64 * (from + length * POINTS[l]);
            1e-6 * network.emf_v * (std::f64::consts::TAU * turns + i as f64).cos()
        };
        for l in 0..=STAGES {
            for i in 0..parts {
                step.wave_v[l * parts + i] += push(i, l);
                step.risen_v[l * parts + i] += push(i, l) - push(i, 0);
            }
        }
    }
    period
}

/// What the films of a part answer at `y`, by their laws: none of a node has a constriction here.
fn answer(period: &Period, i: usize, y: f64) -> f64 {
    let element = &period.loops.parts[i].element;
    let mut sum = 0.0;
    element.voltages(0.1, &mut |k, _| {
        let film = period.placed[k].film;
        sum += if element.is_node { film.current_a(y) } else { film.voltage_v(y).unwrap() };
    });
    sum
}

#[test]
fn rows_hold_that_must_and_what_the_others_leave_over_is_all_of_it() {
    // rows written down again, slopes as differences: moved or not, waveforms must obey them
    for network in hollow().into_iter().chain([mild().pop().unwrap()]) {
        let period = pushed(&network);
        let (loops, ways) = (&period.loops, &period.marcher.ways);
        let m = loops.parts.len();
        let tone = network.emf_v * std::f64::consts::SQRT_2;
        let mut judged = 0;
        for step in period.march.steps.iter().step_by(7) {
            for place in [0.21, 0.5, 0.83] {
                let mut starts = vec![f64::NAN; m];
                let h = 1e-3;
                let (at, given) = ways.here(loops, step, &Basis::at(place), &mut starts);
                let (before, _) = ways.here(loops, step, &Basis::at(place - h), &mut starts);
                let (after, _) = ways.here(loops, step, &Basis::at(place + h), &mut starts);
                let mut rest = vec![0.0; m];
                let told =
                    ways.rest(loops, step, (&Basis::at(place), place), &mut starts, &mut |i, left| rest[i] = left.rest);
                assert!((given - told).abs() <= 1e-9 * tone, "{given} {told}");
                for (i, part) in loops.parts.iter().enumerate() {
                    let turn = (after.y[i] - before.y[i]) / (2.0 * h * step.length);
                    let law = answer(&period, i, at.y[i]);
                    let source_v = loops.source_v(i, step.from + place * step.length);
                    let terms =
                        [part.stored * turn, part.lost * at.y[i], law, loops.neighbours(|n| at.y[n], i), -source_v];
                    let size = terms.iter().map(|x| x.abs()).sum::<f64>();
                    let expected: f64 = terms.iter().sum();
                    // a millionth was pushed; a tenth of it must be seen, and second orders of it not
                    let apart = (expected - rest[i]).abs();
                    assert!(
                        apart <= 1e-8 * size + 1e-11 * tone / part.row,
                        "{i} of {m}: {expected:e} told {:e} of {size:e}",
                        rest[i]
                    );
                    judged += usize::from(ways.of[i].is_some());
                }
            }
        }
        assert!(judged > 20 || ways.of.iter().all(Option::is_none));
    }
}

#[test]
fn waves_that_must_not_break_go_from_step_to_step() {
    for network in hollow() {
        let mut period = Period::new(&network, (2e3, network.emf_v), &ohm(&network), &Unwatched).unwrap();
        let m = period.loops.parts.len();
        if !period.marcher.ways.unbroken {
            continue;
        }
        // from a start that asks what does not store for more than nothing
        for &i in &period.marcher.stores.clone() {
            period.start[i] = period.start[i].plus(0.01 * network.emf_v);
        }
        let per_row = period.gains[0].per_row.clone();
        let march = period.marcher.march(&period.loops, &period.start, &per_row, 1e-6 * network.emf_v).unwrap();
        let ways = period.marcher.ways.clone();
        for (k, step) in march.steps.iter().enumerate() {
            let mut starts = vec![f64::NAN; m];
            for place in [0.0, 1.0] {
                let basis = Basis::at(place);
                let (at, _) = ways.here(&period.loops, step, &basis, &mut starts);
                for (i, part) in period.loops.parts.iter().enumerate() {
                    let element = &part.element;
                    let moved = (at.y[i] - element.at(step.wave(i, &basis.stored), &mut starts[i]).y).abs();
                    let size = if element.is_node { moved } else { moved * element.wave_ohm };
                    assert!(size <= 1e-6 * network.emf_v, "step {k} at {place}, part {i}: {size:e}");
                }
            }
        }
    }
}

#[test]
fn a_sum_of_steps_keeps_its_digits() {
    let network = &hollow()[4];
    let mut period = settled(network);
    let m = period.loops.parts.len();
    // an aim that asks for a gap far below the rounding of the waves
    let aim_v = 1e-15 * period.residue_v(LINES[0]);
    period.refine(aim_v).unwrap();
    let gap = period.gap_v();
    assert!(gap.iter().all(|gap| gap.abs() < 2e-17 * network.emf_v), "{gap:?}");
    for pair in period.march.steps.windows(2) {
        for i in 0..m {
            assert_eq!(pair[0].end(i), Twofold { high: pair[1].wave_v[i], low: pair[1].low_v[i] });
        }
    }
    let exact = |step: &Step, l: usize, i: usize| step.wave_v[i] + (step.low_v[i] + step.risen_v[l * m + i]);
    for step in &period.march.steps {
        assert!((1..=STAGES).all(|l| (0..m).all(|i| step.wave_v[l * m + i] == exact(step, l, i))));
    }
}

#[test]
fn a_period_that_was_closed_ends_where_it_begins() {
    // from a coarse march, whose gap is large: moved or not, no part may jump at the seam
    for network in hollow() {
        let mut period = settled(&network);
        for &i in &period.marcher.stores.clone() {
            period.start[i] = period.start[i].plus(0.01 * network.emf_v);
        }
        let per_row = period.gains[0].per_row.clone();
        period.march = period.marcher.march(&period.loops, &period.start, &per_row, 1e-3 * network.emf_v).unwrap();
        assert!(period.gap_v().iter().any(|gap| gap.abs() > 1e-5 * network.emf_v));
        period.close();
        let m = period.loops.parts.len();
        let here = |step: usize, place: f64| {
            let mut starts = vec![f64::NAN; m];
            period.marcher.ways.here(&period.loops, &period.march.steps[step], &Basis::at(place), &mut starts).0.y
        };
        let last = period.march.steps.len() - 1;
        for i in 0..m {
            let part = &period.loops.parts[i];
            if part.stored == 0.0 {
                continue;
            }
            let per_volt = if part.element.is_node { 1.0 } else { part.element.wave_ohm };
            let jump = |a: f64, b: f64| per_volt * (a - b).abs();
            assert!(jump(here(0, 0.0)[i], here(last, 1.0)[i]) < 1e-12 * network.emf_v, "part {i} of {m} at the seam");
            for k in 0..last {
                assert!(
                    jump(here(k, 1.0)[i], here(k + 1, 0.0)[i]) < 1e-12 * network.emf_v,
                    "part {i} of {m}, step {k}"
                );
            }
        }
    }
}

/// All parts of a chain where one wave each puts them.
fn standing(period: &Period, wave_v: impl Fn(usize) -> f64) -> Here {
    let mut at = Here::default();
    for (i, part) in period.loops.parts.iter().enumerate() {
        at.wave[i] = wave_v(i);
        at.stand[i] = part.element.at(at.wave[i], &mut f64::NAN.clone());
        at.y[i] = at.stand[i].y;
    }
    at
}

#[test]
fn what_is_moved_a_long_way_ends_on_its_law() {
    // rounding moves parts by their last places; here by a ten thousandth to a third of where they stand
    let mut judged = 0;
    for network in hollow().into_iter().chain(mild()) {
        let Some(period) = Period::new(&network, (2e3, network.emf_v), &ohm(&network), &Unwatched) else { continue };
        for (i, part) in period.loops.parts.iter().enumerate().filter(|(_, part)| part.element.has_films()) {
            let wave_v = 0.2 * network.emf_v;
            let at = standing(&period, |_| wave_v);
            for share in [1e-4, -1e-2, 0.3] {
                let way = share * at.y[i];
                let mut moved = standing(&period, |_| wave_v);
                moved.y[i] += way;
                let (stand, moved_v) = moved.along(&part.element, i, f64::NAN, way);
                // the law again, by halving of the wave
                let (mut low, mut high) = (0.0, 4.0 * wave_v);
                for _ in 0..200 {
                    let middle = 0.5 * (low + high);
                    let y = part.element.at(middle, &mut f64::NAN.clone()).y;
                    if y < moved.y[i] { low = middle } else { high = middle }
                }
                let known = part.element.at(low, &mut f64::NAN.clone()).f;
                assert!((stand.f - known).abs() <= 1e-12 * known.abs(), "{i} {share}: {} {known}", stand.f);
                assert!((moved_v - low).abs() <= 1e-9 * low.abs(), "{i} {share}: {moved_v} {low}");
                judged += 1;
                // the first loop is never asked
                if i == 0 {
                    continue;
                }
                // with neighbours at rest nothing but its own rounding counts
                let mut asked = standing(&period, |_| wave_v);
                asked.y = [0.0; MOST_PARTS];
                asked.ask(&period.loops, &[f64::NAN; MOST_PARTS], i, known);
                let off = (asked.y[i] - moved.y[i]).abs();
                assert!(off <= 1e-9 * moved.y[i].abs(), "{i} {share}: {} {}", asked.y[i], moved.y[i]);
                assert!((asked.wave[i] - low).abs() <= 1e-9 * low.abs(), "{i} {share}: {} {low}", asked.wave[i]);
            }
        }
    }
    assert!(judged > 30, "{judged}");
}

#[test]
fn what_a_neighbour_loses_speaks_against_it() {
    let mut period = settled(&mild()[0]);
    let bridge = Film::Bridged { resistance_ohm: 100.0 };
    let loops = &mut period.loops;
    // a hundredth of a siemens at rest, less when driven; the neighbour's storing stands for 0.004 of it
    loops.parts[0].element = Element::new(false, 50.0, &[(bridge, 0.0, 0)]).unwrap();
    loops.parts[1].element = Element::new(true, 50.0, &[]).unwrap();
    loops.parts[1].stored = 0.004 / (SLOPE * USUAL_STEPS);
    for (lost, less) in [(0.005, true), (0.007, false)] {
        loops.parts[1].lost = lost;
        assert_eq!(gives_less(loops, 0, 1), less, "{lost}");
    }
}
