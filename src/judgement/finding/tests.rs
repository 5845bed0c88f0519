use super::*;

fn range(low: f64, high: f64) -> ResistanceRange {
    ResistanceRange {
        low_ohm: low,
        reached_ohm: low,
        high_ohm: high,
        rest_high_ohm: high,
        at_signal: true,
        mean_share: 0.0,
        mean_rest_ohm: high,
        shown_high_ohm: high,
        dry: true,
        fritted: false,
        moved: false,
    }
}

fn ability(need: Need, residue: (f64, f64), loss_db: (f64, f64)) -> Ability {
    Ability {
        route: "phono".into(),
        need,
        residue,
        loss_db,
        jumping_loss_db: 0.0,
        least_loss_db: loss_db.0,
        change_db: (0.0, 0.0),
        loss_was_heard: false,
        by_millivolts: false,
        by: "its largest ohms".into(),
        loss_by: "its largest ohms",
        impossible_below_ohm: Some(65.0),
        impossible_below_v: None,
    }
}

fn known<'a>(standing: Option<&'a Standing>, range: Option<ResistanceRange>, abilities: Vec<Ability>) -> Known<'a> {
    Known {
        role: Role::Signal,
        contact: "a / b",
        channel: Channel::Left,
        standing,
        range,
        abilities,
        in_order_up_to_ohm: Some(0.04),
        by_hypothesis: BTreeMap::new(),
    }
}

fn kind(standing: &Standing, range: Option<ResistanceRange>, abilities: Vec<Ability>) -> Kind {
    known(Some(standing), range, abilities).judge().kind
}

#[test]
fn every_kind() {
    let grit = |residue| vec![ability(Need::Residue(0.001, 0.0015), residue, (0.01, 0.02))];
    assert_eq!(kind(&Standing::Proved, None, vec![]), Kind::Proved);
    assert_eq!(kind(&Standing::Suspect, Some(range(200.0, 300.0)), grit((0.002, 0.003))), Kind::Able);
    assert_eq!(kind(&Standing::Suspect, Some(range(0.1, 0.2)), grit((1e-6, 2e-6))), Kind::CannotUnlessItJumps);
    assert_eq!(kind(&Standing::Suspect, Some(range(10.0, 300.0)), grit((1e-4, 3e-3))), Kind::NotSettled);
    assert_eq!(kind(&Standing::NotOnABadRoute(None), Some(range(0.01, 0.03)), vec![]), Kind::InOrder);
    // between the models of hearing it is open
    assert_eq!(kind(&Standing::Suspect, Some(range(200.0, 300.0)), grit((0.0012, 0.003))), Kind::NotSettled);
    let cleared = Standing::ClearedBy { route: "tape".into(), level_v: 1.0, bad_level_v: 1.0 };
    assert_eq!(kind(&cleared, None, vec![]), Kind::Cleared);
}

#[test]
fn a_meter_shows_only_the_mean_of_what_jumps() {
    let grit = ability(Need::Residue(0.001, 0.0015), (1e-6, 2e-6), (0.01, 0.02));
    // by millivolts across it the theorem holds for any contact
    let played = vec![Ability { by_millivolts: true, ..grit.clone() }];
    assert_eq!(kind(&Standing::Suspect, Some(range(0.1, 0.2)), played), Kind::CannotBeSole);
    // a crackle takes a reading while it is moved; a meter under tapping still shows a mean, millivolts do not
    let moved = ResistanceRange { moved: true, ..range(0.1, 0.2) };
    let crackle = Ability { need: Need::ResidueNowAndThen(0.001, 0.001), ..grit.clone() };
    assert_eq!(kind(&Standing::Suspect, Some(moved), vec![crackle.clone()]), Kind::CannotUnlessItJumps);
    let played = vec![Ability { by_millivolts: true, ..crackle }];
    assert_eq!(kind(&Standing::Suspect, Some(moved), played), Kind::CannotBeSole);
    // neither a drop-out nor treble is bounded by a mean
    for need in [Need::LossNowAndThen(0.5, 1.5), Need::ResponseChange(0.2, 1.0)] {
        let one = vec![Ability { need, ..grit.clone() }];
        assert_eq!(kind(&Standing::Suspect, Some(moved), one), Kind::CannotUnlessItJumps);
    }
    // an ohmmeter that is not dry is no reading with the signal: a contact that jumps is not acquitted by it
    let wet = ResistanceRange { dry: false, at_signal: false, high_ohm: f64::INFINITY, ..range(900.0, 1100.0) };
    let wet = crate::bench::range::swing(&[wet]).unwrap();
    let quieter = Ability { need: Need::Loss(0.4, 0.4, 0.8), ..ability(Need::NotComputed, (0.0, 1.0), (3.0, 9.0)) };
    assert_eq!(kind(&Standing::Suspect, Some(wet), vec![quieter.clone()]), Kind::NotSettled);
    // too many ohms for what was measured: a film may let more through at the signal than at a box's 20 mV, not than at the signal
    let boxed = ResistanceRange { at_signal: false, ..range(900.0, 1100.0) };
    assert_eq!(kind(&Standing::Suspect, Some(boxed), vec![quieter.clone()]), Kind::NotSettled);
    assert_eq!(kind(&Standing::Suspect, Some(range(900.0, 1100.0)), vec![quieter]), Kind::CannotBeSole);
    // loss: the mean bounds it, unless the bound itself is too large or the reading was no mean
    let loss =
        |jumping_loss_db: f64| vec![Ability { need: Need::Loss(0.5, 0.5, 9.0), jumping_loss_db, ..grit.clone() }];
    let rest = ResistanceRange { at_signal: false, ..range(0.1, 0.2) };
    assert_eq!(kind(&Standing::Suspect, Some(rest), loss(0.4)), Kind::CannotBeSole);
    assert_eq!(kind(&Standing::Suspect, Some(rest), loss(0.6)), Kind::CannotUnlessItJumps);
    assert_eq!(kind(&Standing::Suspect, Some(range(0.1, 0.2)), loss(0.6)), Kind::CannotBeSole);
    let finding = known(Some(&Standing::Suspect), Some(rest), loss(0.6)).judge();
    assert!(finding.decided_by.contains("jump") && finding.reasons.iter().any(|r| r.contains("millivolts")));
}

#[test]
fn a_crackle_is_never_excluded_at_rest() {
    let crackle = vec![ability(Need::ResidueNowAndThen(0.001, 0.001), (1e-9, 1e-9), (0.0, 0.0))];
    assert_eq!(kind(&Standing::Suspect, Some(range(0.0, 0.01)), crackle.clone()), Kind::NotSettled);
    let moved = ResistanceRange { moved: true, ..range(0.0, 0.01) };
    assert_eq!(kind(&Standing::Suspect, Some(moved), crackle), Kind::CannotUnlessItJumps);
}

#[test]
fn predicting_more_than_is_heard_speaks_against_it() {
    let grit = vec![ability(Need::Residue(0.001, 0.001), (0.5, 0.6), (6.0, 7.0))];
    assert_eq!(kind(&Standing::Suspect, Some(range(5e4, 6e4)), grit), Kind::NotSettled);
    let loss = vec![ability(Need::Loss(0.4, 0.4, 0.8), (0.5, 0.6), (6.0, 7.0))];
    assert_eq!(kind(&Standing::Suspect, Some(range(5e4, 6e4)), loss), Kind::CannotBeSole);
}

#[test]
fn unknowns_stay_open() {
    assert_eq!(known(None, None, vec![]).judge().kind, Kind::NotSettled);
    let one_sided = ResistanceRange { dry: false, high_ohm: f64::INFINITY, ..range(0.0, 0.2) };
    let grit = vec![ability(Need::Residue(0.001, 0.001), (0.0, f64::INFINITY), (0.0, f64::INFINITY))];
    let finding = known(Some(&Standing::Suspect), Some(one_sided), grit).judge();
    assert_eq!(finding.kind, Kind::NotSettled);
    assert!(finding.reasons[0].contains("more voltage than the signal"));
}
