//! Odds and clashes of a few strata, by hand.

use super::*;
use crate::bench::{Strength, What};
use crate::judgement::scene::{Noted, Sighting};
use crate::judgement::strata::Stratum;

fn sums(count: f64, weight: f64, single: [f64; 2], double: f64) -> Sums {
    // of a pair of evidence the later one comes first: row 1, column 0 of two
    Sums {
        count,
        weight,
        base: weight,
        single: single.to_vec(),
        double: vec![0.0, 0.0, double, 0.0],
        ..Sums::default()
    }
}

fn weighed(sums: [Sums; 2]) -> Weighed {
    let stratum = |k: usize, prior: f64| Stratum { suspect: Some((k, Hypothesis::Fault)), prior };
    Weighed { strata: vec![stratum(0, 0.3), stratum(1, 0.1)], sums: sums.into(), else_prior: 0.2, else_evidence: 0.5 }
}

fn scene(clean: bool) -> ChannelScene {
    let noted = Noted {
        what: What::Grit,
        strength: Strength::Plain,
        residue: None,
        loss_db: None,
        goes_away: vec![],
        comes_back: vec![],
        in_pauses: None,
        line: 1,
    };
    let noted = if clean { vec![] } else { vec![noted] };
    let sighting = Sighting { route: "r".into(), line: 1, least_residue: 1e-4, noted, on: vec![] };
    ChannelScene { suspects: vec![], sightings: vec![sighting] }
}

#[test]
fn odds_are_prior_times_mean_over_all() {
    // means 0.5 and 2: masses 0.15 and 0.2, and 0.1 for nothing in the sheet
    let both = weighed([sums(8.0, 4.0, [0.0; 2], 0.0), sums(4.0, 8.0, [0.0; 2], 0.0)]);
    let found = odds(&both, 2, None, None);
    for (found, expected) in found.iter().zip([0.15, 0.2, 0.1]) {
        assert!((found - expected / 0.45).abs() < 1e-12, "{found}");
    }
    // the other channel says that the second is four times as likely
    let found = odds(&both, 2, Some(&[1.0, 4.0, 1.0]), None);
    assert!((found[1] - 0.8 / 1.05).abs() < 1e-12, "{}", found[1]);
}

#[test]
fn what_no_fault_explains_together_clashes() {
    // each of two pieces of evidence is explained by one of the two, both by none
    let apart = || [sums(10.0, 10.0, [10.0, 0.0], 0.0), sums(10.0, 10.0, [0.0, 10.0], 0.0)];
    assert_eq!(clashes(&weighed(apart()), &scene(false)), [(0, 1)]);
    // one explains both
    let one = [sums(10.0, 10.0, [10.0, 10.0], 10.0), sums(10.0, 10.0, [0.0, 0.0], 0.0)];
    assert!(clashes(&weighed(one), &scene(false)).is_empty());
    // nothing is explained at all: nothing to say
    assert!(
        clashes(&weighed([sums(10.0, 0.0, [0.0; 2], 0.0), sums(10.0, 0.0, [0.0; 2], 0.0)]), &scene(false)).is_empty()
    );
    // readings and a clean route may clash too
    assert_eq!(clashes(&weighed(apart()), &scene(true)), [(0, 1)]);
}

#[test]
fn what_moves_the_leader_most_as_a_share_of_what_is_open() {
    // masses 0.3, 0.1 and 0.1 for nothing in the sheet, whatever the ear: p = 0.6
    let alike = || Sums { by_bin: [10.0 / BINS as f64; BINS], ..sums(10.0, 10.0, [0.0; 2], 0.0) };
    let all = weighed([alike(), alike()]);
    let found = moved_by(0, &all, &[0.3, 0.1], 0.1, &Priors::default()).unwrap();
    // either what is no contact or what is nothing in the sheet, half or twice: 0.5 or 2/3
    let middle = (0.5 + 0.6 + 2.0 / 3.0) / 3.0;
    let variance = [0.5, 0.6, 2.0 / 3.0].iter().map(|x: &f64| (x - middle).powi(2)).sum::<f64>() / 3.0;
    assert!((found.share - variance / (0.6 * 0.4)).abs() < 1e-12, "{} {}", found.assumption, found.share);
    assert!((found.from - 0.5).abs() < 1e-12 && (found.to - 2.0 / 3.0).abs() < 1e-12);
}
