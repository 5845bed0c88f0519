//! Bits of a cure that is tried, against the sum by hand.

use super::*;

fn entropy(q: f64) -> f64 {
    -q * q.log2() - (1.0 - q) * (1.0 - q).log2()
}

#[test]
fn what_is_no_candidate_weighs_one() {
    let candidate = |weight: f64, chance: f64| Candidate {
        who: Who::Contact("a".into()),
        role: Role::Signal,
        access_min: 0.0,
        has_dry_reading: false,
        dry_box_below_v: None,
        signal_below_v: None,
        can_be_worked: false,
        part: "a".into(),
        weight,
        cures: Some([chance, 0.5, 0.5, 0.4]),
        drives_control: false,
        guards: false,
        is_relay: false,
        done: Done::default(),
    };
    // of four parts one is something else, one the first candidate, two the second
    let open = [candidate(1.0, 0.9), candidate(2.0, 0.2)];
    let q = [BY_CHANCE, 0.9, 0.2];
    let by_hand = |p: [f64; 3], q: [f64; 3]| {
        let mean = (0..3).map(|k| p[k] * q[k]).sum();
        entropy(mean) - (0..3).map(|k| p[k] * entropy(q[k])).sum::<f64>()
    };
    let found = by_cure(&open, 0, |_| true).unwrap();
    assert!((found - by_hand([0.25, 0.25, 0.5], q)).abs() < 1e-12, "{found}");
    // tried on the first alone, the second is cured by chance
    let found = by_cure(&open, 0, |c| c.weight < 1.5).unwrap();
    assert!((found - by_hand([0.25, 0.25, 0.5], [BY_CHANCE, 0.9, BY_CHANCE])).abs() < 1e-12, "{found}");
    // whether what is no candidate is heard in a pause nobody knows
    let found = by_cure(&open, IN_PAUSES, |_| true).unwrap();
    assert!((found - by_hand([0.25, 0.25, 0.5], [0.5, 0.4, 0.4])).abs() < 1e-12, "{found}");
    assert!(by_cure(&[Candidate { cures: None, ..candidate(1.0, 0.5) }], 0, |_| true).is_none());
}
