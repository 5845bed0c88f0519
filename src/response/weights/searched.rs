//! What the search is given to look at, and how it gives back.

use super::*;

#[test]
fn frequencies_are_as_many_per_octave_as_asked() {
    for per_octave in [2.0, 6.0, 48.0] {
        // ten octaves but for what keeps rounding from making one more step of them
        let found = frequencies((20.0, 20_479.999_99), per_octave);
        assert_eq!(found.len(), 1 + (10.0 * per_octave) as usize);
        let step = 2f64.powf(per_octave.recip());
        assert!((found[0] / 20.0 - 1.0).abs() < 1e-12 && (found[found.len() - 1] / 20480.0 - 1.0).abs() < 1e-9);
        assert!(found.windows(2).all(|f| (f[1] / f[0] / step - 1.0).abs() < 1e-9));
    }
    // a last one that is off the beat is there all the same
    let found = frequencies((20.0, 21.0), 2.0);
    assert!(found.len() == 2 && (found[1] / 21.0 - 1.0).abs() < 1e-12);
}

fn problem(group: Vec<usize>) -> Problem {
    let plain = || Plain { a: vec![], t: Complex64::ONE, g: vec![], h: vec![] };
    let n = group.len();
    Problem {
        delta: vec![4.0; n],
        group,
        direct: vec![0.0; n],
        emf_v: 1.0,
        driven: plain(),
        band: vec![],
        everywhere: vec![],
    }
}

#[test]
fn weights_are_given_back_towards_what_is_passive() {
    // in one section 1/sqrt(delta) is passive: a share of the way there, in logarithms
    let found = problem(vec![0, 0]).held_back(&[2.0, 0.5], 0.25);
    assert!((found[0] - 2.0 * 0.25f64.powf(0.25)).abs() < 1e-12 && (found[1] - 0.5).abs() < 1e-12, "{found:?}");
    // a later section that weighs less does less to none before it: the first stays
    let found = problem(vec![0, 1, 1]).held_back(&[2.0, 0.5, 0.1], 0.25);
    assert!(found.iter().zip([2.0, 0.375, 0.075]).all(|(a, b)| (a - b).abs() < 1e-12), "{found:?}");
    let found = problem(vec![0, 1]).held_back(&[2.0, 0.5], 1.0);
    assert!((found[1] - 0.05).abs() < 1e-12, "never to nothing: {found:?}");
}
