use super::super::element::Element;
use super::super::proof::WIDTH;
use super::super::radau::{Basis, POINTS};
use super::super::tests::{films, hollow, mild, ohm};
use super::super::{LINES, Period, solve};
use super::*;
use crate::watch::Unwatched;
use proptest::prelude::*;

/// A march that is fine enough for a proof, closed.
fn marched(network: &crate::circuit::chain::Network) -> Period<'static> {
    let tone = (2e3, network.emf_v);
    let mut period = Period::new(network, tone, &ohm(network), &Unwatched).unwrap();
    period.settle().unwrap();
    period.steer();
    let aim_v = 1e-9 * period.residue_v(LINES[0]);
    period.refine(aim_v).unwrap();
    period.close();
    period
}

/// Pushes a part aside by a share of its peak, as a cosine of an order.
fn push(period: &mut Period<'_>, part: usize, share: f64, order: f64) {
    let parts = period.loops.parts.len();
    let range = period.rest().visited_v[part];
    let peak = share * range.0.abs().max(range.1.abs());
    for step in &mut period.march.steps {
        let aside = |place: f64| peak * (TAU * order * (step.from + step.length * place)).cos();
        let start = aside(0.0);
        for (l, place) in POINTS.into_iter().enumerate() {
            step.wave_v[l * parts + part] += aside(place);
            step.risen_v[l * parts + part] += aside(place) - start;
        }
    }
}

/// All waves at the points of all steps.
fn waves(period: &mut Period<'_>) -> Vec<Vec<f64>> {
    let mut all = Vec::new();
    for place in [0.1, 0.5, 0.9] {
        let basis = Basis::at(place);
        for step in &period.march.steps {
            let mut here = vec![0.0; period.loops.parts.len()];
            period.marcher.rest(&period.loops, step, &basis, place, &mut |i, left| here[i] = left.wave_v);
            all.push(here);
        }
    }
    all
}

#[test]
fn what_films_visit_bounds_the_error_and_better_than_what_they_do_anywhere() {
    let (mut nearest, mut better, mut inside, mut all) = (0.0f64, 0.0f64, 0, 0);
    for network in mild().into_iter().chain(hollow()) {
        let fine = solve(&network, (2e3, network.emf_v), &ohm(&network), &Unwatched).unwrap();
        let mut period = marched(&network);
        let kept = period.march.clone();
        for part in 0..period.loops.parts.len() {
            for order in [0.0, 1.0, 3.0] {
                period.march.clone_from(&kept);
                push(&mut period, part, 1e-7, order);
                let rest = period.rest();
                all += 1;
                if !period.stays(&rest) {
                    continue;
                }
                inside += 1;
                let lines = period.lines(LINES[0]).0;
                let apart = lines.iter().zip(&fine.output).skip(1).map(|(a, b)| 2.0 * (a - b).norm_sqr());
                let off = apart.sum::<f64>().sqrt();
                let bound = period.moved_v(&rest, &period.gains[0]) + fine.error_v;
                assert!(off <= bound, "part {part} order {order}: {off} above {bound}");
                nearest = nearest.max(off / bound);
                if let Some(anywhere) = &period.anywhere {
                    let mut rest = rest.clone();
                    period.balance(&mut rest);
                    let of_all = period.moved_v(&rest, &anywhere[0]) + fine.error_v;
                    assert!(bound <= of_all * (1.0 + 1e-6), "{bound} above {of_all}");
                    better = better.max(of_all / bound);
                }
            }
        }
    }
    assert!(nearest > 0.3 && better > 10.0 && inside > all * 9 / 10, "{nearest} {better} {inside} of {all}");
}

#[test]
fn nothing_is_further_off_than_it_can_reach() {
    let (mut nearest, mut judged, mut outside) = (0.0f64, 0, 0);
    for network in mild().into_iter().chain(hollow()) {
        let mut period = marched(&network);
        let (kept, true_v) = (period.march.clone(), waves(&mut period));
        for part in 0..period.loops.parts.len() {
            for (share, order) in [(1e-7, 1.0), (1e-5, 0.0), (1e-3, 2.0), (0.1, 1.0), (1.0, 1.0)] {
                period.march.clone_from(&kept);
                push(&mut period, part, share, order);
                let rest = period.rest();
                let tube = Tube::around(&period.loops, &rest.visited_v, WIDTH);
                period.tube = Some(tube.clone());
                if !period.stays(&rest) {
                    outside += 1;
                    continue;
                }
                let reach = tube.reach(&period.loops, &rest).unwrap();
                for (here, known) in waves(&mut period).iter().zip(&true_v) {
                    for (i, part) in period.loops.parts.iter().enumerate() {
                        let y = |wave: f64| part.element.at(wave, &mut f64::NAN.clone()).y;
                        // the march that is taken for true has its own error
                        let off = 0.999 * (y(here[i]) - y(known[i])).abs() - 1e-9 * y(known[i]).abs();
                        if let Some(peak) = reach.peak[i] {
                            assert!(off <= peak, "part {i}: {off} above {peak}");
                            nearest = nearest.max(off / peak);
                        }
                        let room = room_v(part, here[i], WIDTH);
                        assert!(!part.element.has_films() || (here[i] - known[i]).abs() < room);
                        judged += 1;
                    }
                }
            }
        }
    }
    assert!(judged > 10_000 && nearest > 0.1 && outside > 20, "{judged} {nearest} {outside}");
}

#[test]
fn a_state_that_may_be_elsewhere_is_not_called_inside() {
    for network in mild().into_iter().chain(hollow()) {
        // waves past the edge of the tube they are asked to be in
        let mut period = marched(&network);
        let mut rest = period.rest();
        assert!(period.stays(&rest));
        rest.visited_v.iter_mut().for_each(|range| range.1 += 1e12);
        assert!(!period.stays(&rest));
        // and what is no number
        let mut rest = period.rest();
        rest.rows[0].0 = f64::NAN;
        assert!(!period.stays(&rest));
    }
}

proptest! {
    #[test]
    fn no_slope_between_two_waves_is_outside(log_r in prop::collection::vec(-3.0f64..7.0, 1..4), kinds in prop::collection::vec(0usize..3, 3),
                                             log_wave in -2.0f64..6.0, ends in (-30.0f64..30.0, -30.0f64..30.0), share in 0.0f64..1.0, is_node in any::<bool>()) {
        let films = films(&log_r, &kinds, is_node);
        let element = Element::new(is_node, 10f64.powf(log_wave), &films).unwrap();
        let (low_v, high_v) = (ends.0.min(ends.1), ends.0.max(ends.1));
        let (least, most) = element.slopes_between(low_v, high_v);
        let stand = element.at(low_v + share * (high_v - low_v), &mut f64::NAN.clone());
        let slope = stand.df / stand.dy;
        prop_assert!(least * (1.0 - 1e-6) <= slope && slope <= most * (1.0 + 1e-6), "{least} {slope} {most}");
        // within what the laws do anywhere
        let (flattest, steepest) = element.slopes();
        prop_assert!(flattest <= least * (1.0 + 1e-9) && most <= steepest * (1.0 + 1e-9));
        // and on the spot nothing but what it is there
        let (a, b) = element.slopes_between(high_v, high_v);
        prop_assert!((a / b - 1.0).abs() < 1e-9);
    }
}
