//! The strata of a channel share its priors out.

use super::*;
use crate::bench::{Strength, What};
use crate::judgement::scene::{Nature, Noted, On, Sighting, Suspect};
use crate::judgement::suspects::Who;

fn suspect(prior: f64, excluded: Excluded) -> Suspect {
    Suspect {
        who: Who::Stage(format!("{prior}")),
        nature: Nature::Stage,
        part: String::new(),
        workable: false,
        in_return: false,
        laws: [1.0, 0.0, 0.0],
        prior,
        usual_ohm: 0.1,
        worn_ohm: 1.0,
        readings: vec![],
        bridges: vec![],
        drives_control: true,
        direct_current: false,
        goes_with: vec![],
        checked: None,
        excluded,
    }
}

fn scene(symptoms: usize, excluded: Excluded) -> ChannelScene {
    let noted = || Noted {
        what: What::Grit,
        strength: Strength::Plain,
        residue: None,
        loss_db: None,
        goes_away: vec![],
        comes_back: vec![],
        in_pauses: None,
        line: 1,
    };
    let sighting = Sighting {
        route: "r".into(),
        line: 1,
        least_residue: 1e-4,
        noted: (0..symptoms).map(|_| noted()).collect(),
        on: vec![Some(On { deeds: None, level_v: 1.0, follows_hand: true }); 2],
    };
    ChannelScene { suspects: vec![suspect(0.3, Excluded::No), suspect(0.1, excluded)], sightings: vec![sighting] }
}

#[test]
fn priors_are_shared_out_whole() {
    let priors = Priors::default();
    let of = |scene: &ChannelScene, who: Option<usize>| -> f64 {
        strata(scene, &priors).iter().filter(|s| s.suspect.map(|s| s.0) == who).map(|s| s.prior).sum()
    };
    // one symptom: one fault
    let one = scene(1, Excluded::No);
    for (who, expected) in [(Some(0), 0.3), (Some(1), 0.1), (None, 0.0)] {
        assert!((of(&one, who) - expected).abs() < 1e-12, "{who:?} {}", of(&one, who));
    }
    // two symptoms: a share of two faults, taken off each
    let two = scene(2, Excluded::No);
    let rest = 1.0 - priors.two_faults;
    assert!(priors.two_faults > 0.0);
    for (who, expected) in [(Some(0), 0.3 * rest), (Some(1), 0.1 * rest), (None, 0.4 * priors.two_faults)] {
        assert!((of(&two, who) - expected).abs() < 1e-12, "{who:?} {}", of(&two, who));
    }
    // what is proved innocent has no stratum at all
    assert!(strata(&scene(1, Excluded::Whatever), &priors).iter().all(|s| s.suspect.is_some_and(|s| s.0 == 0)));
    // nor has what cannot be
    let mut impossible = scene(1, Excluded::No);
    impossible.suspects[1].prior = 0.0;
    assert!(strata(&impossible, &priors).iter().all(|s| s.prior > 0.0 && s.suspect.is_some_and(|s| s.0 == 0)));
}
