//! The fewest draws that there is an interval of.

use super::*;

#[test]
fn two_draws_are_an_interval_and_one_is_none() {
    let all = Some(Interval { low: 1.0, high: 4.0 });
    assert!(symmetric(&[1.0, 4.0], 0.95) == all && shortest(&[1.0, 4.0], 0.95) == all);
    assert!(symmetric(&[1.0], 0.95).is_none() && shortest(&[1.0], 0.95).is_none());
}
