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
