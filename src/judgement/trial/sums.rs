//! What is made of the sums over draws, by hand.

use super::*;

fn pair(who: (usize, usize), weight: f64, first_group: f64) -> Pair {
    let mut groups = [0.0; GROUPS];
    groups[0] = first_group;
    Pair { who, weight, groups }
}

#[test]
fn means_shares_and_variance() {
    // weights 1, 1, 2, 4 of four draws, the last one of group 2
    let mut sums = Sums { count: 4.0, weight: 8.0, square: 22.0, ..Sums::default() };
    sums.groups[2] = (1.0, 4.0);
    let near = |found: f64, expected: f64| assert!((found - expected).abs() < 1e-12, "{found} {expected}");
    near(sums.mean(), 2.0);
    near(sums.mean_without(Some(2)), 4.0 / 3.0);
    near(sums.mean_without(Some(0)), 2.0);
    // of the mean: (1 + 1 + 0 + 4)/4 over n - 1
    near(sums.variance_of_mean(), 1.5 / 3.0);
    assert_eq!(Sums { count: 1.0, ..sums.clone() }.variance_of_mean(), 0.0);
    assert_eq!(Sums::default().mean(), 0.0);
    sums.pairs = vec![pair((0, 1), 3.0, 1.0), pair((1, 2), 1.0, 0.0), pair((0, 3), 4.0, 4.0)];
    near(sums.share_of(Some(0), None), 7.0 / 8.0);
    near(sums.share_of(Some(1), None), 4.0 / 8.0);
    near(sums.share_of(Some(3), None), 4.0 / 8.0);
    near(sums.share_of(None, None), 1.0);
    near(sums.share_of(Some(1), Some(0)), 1.0);
    near(sums.share_of(Some(0), Some(0)), 2.0 / 3.0);
    assert_eq!(Sums::default().share_of(Some(0), None), 0.0);
}

#[test]
fn what_two_threads_found_is_added() {
    let one = |count: f64, pairs: Vec<Pair>| Sums {
        count,
        weight: 2.0 * count,
        square: 5.0 * count,
        pairs,
        ..Sums::default()
    };
    let mut sums = one(3.0, vec![pair((0, 1), 3.0, 1.0), pair((1, 2), 1.0, 0.5)]);
    sums.groups[2] = (1.0, 4.0);
    let mut other = one(4.0, vec![pair((1, 2), 2.0, 0.25), pair((0, 3), 4.0, 4.0)]);
    (other.groups[2], other.groups[3]) = ((2.0, 5.0), (3.0, 1.0));
    sums.add(other);
    assert_eq!(sums.groups[..4], [(0.0, 0.0), (0.0, 0.0), (3.0, 9.0), (3.0, 1.0)]);
    assert_eq!((sums.count, sums.weight, sums.square), (7.0, 14.0, 35.0));
    let told = |p: &Pair| (p.who, p.weight, p.groups[0]);
    let expected = [((0, 1), 3.0, 1.0), ((1, 2), 3.0, 0.75), ((0, 3), 4.0, 4.0)];
    assert_eq!(sums.pairs.iter().map(told).collect::<Vec<_>>(), expected);
}

#[test]
fn every_draw_of_one_that_has_no_readings_counts_one() {
    use crate::judgement::scene::{Excluded, Nature, Noted, On, Suspect};
    use crate::judgement::suspects::Who;
    let suspect = Suspect {
        who: Who::Stage("s".into()),
        nature: Nature::Stage,
        part: String::new(),
        workable: false,
        in_return: false,
        laws: [1.0, 0.0, 0.0],
        prior: 0.3,
        usual_ohm: 0.1,
        worn_ohm: 1.0,
        readings: vec![],
        bridges: vec![],
        drives_control: false,
        direct_current: false,
        goes_with: vec![],
        checked: None,
        excluded: Excluded::No,
    };
    let noted = Noted {
        what: crate::bench::What::Grit,
        strength: crate::bench::Strength::Plain,
        residue: None,
        loss_db: None,
        goes_away: vec![],
        comes_back: vec![],
        in_pauses: None,
        line: 1,
    };
    let on = vec![Some(On { deeds: None, level_v: 1.0, follows_hand: true })];
    let sighting = Sighting { route: "r".into(), line: 1, least_residue: 5e-5, noted: vec![noted], on };
    let scene = ChannelScene { suspects: vec![suspect], sightings: vec![sighting] };
    let priors = Priors::default();
    let stratum = Stratum { suspect: Some((0, Hypothesis::Noise)), prior: 0.3 };
    let how = How { guide: None, learn: false, keep: true };
    let found = Trial::new(&scene, &priors).run(&stratum, 200, how, Stream::new(2, 0));
    assert_eq!((found.count, found.base, found.draws.len()), (200.0, 200.0, 200));
    // one piece of evidence: it alone is the weight; readings, of which there are none, take nothing away
    assert!((found.single[0] - found.weight).abs() < 1e-9 * found.weight && found.weight > 0.0);
    assert!((found.single[1] - 200.0).abs() < 1e-9 && (found.double[2] - found.single[0]).abs() < 1e-9);
}
