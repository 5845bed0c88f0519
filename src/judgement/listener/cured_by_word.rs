//! What was noted to cure it or to bring it back, word by word.

use super::*;

#[test]
fn every_word_has_its_own_chance() {
    let cures = Cures {
        turned_up: 0.1,
        worked: 0.2,
        tapped: 0.3,
        warmed: 0.35,
        metered: 0.4,
        rest: 0.45,
        by_tapping: 0.55,
        by_turning: 0.6,
        in_pauses: 0.7,
    };
    let tried = 0.25;
    let noted = |away: &[GoesAway], back: &[ComesBack]| Noted {
        what: What::Grit,
        strength: Strength::Plain,
        residue: None,
        loss_db: None,
        goes_away: away.to_vec(),
        comes_back: back.to_vec(),
        in_pauses: None,
        line: 1,
    };
    let all = [0.1, 0.2, 0.3, 0.35, 0.4, 0.45, 0.55, 0.6];
    // a word that is not there was not tried, or failed
    let silent: f64 = all.iter().map(|c| 1.0 - tried * c).product();
    let near = |found: f64, expected: f64| assert!((found / expected - 1.0).abs() < 1e-12, "{found} {expected}");
    near(super::cured(&noted(&[], &[]), &cures, tried), silent);
    let words: [(&[GoesAway], &[ComesBack]); 9] = [
        (&[GoesAway::TurnedUp], &[]),
        (&[GoesAway::SwitchWorked], &[]),
        (&[GoesAway::Tapped], &[]),
        (&[GoesAway::WarmedUp], &[]),
        (&[GoesAway::MeterApplied], &[]),
        (&[], &[ComesBack::Overnight]),
        (&[], &[ComesBack::WhenTapped]),
        (&[], &[ComesBack::WhenTurned]),
        (&[], &[ComesBack::AfterRest, ComesBack::Overnight]),
    ];
    for ((away, back), which) in words.into_iter().zip([0, 1, 2, 3, 4, 5, 6, 7, 5]) {
        near(super::cured(&noted(away, back), &cures, tried), silent / (1.0 - tried * all[which]) * all[which]);
    }
    let in_pauses = |word| super::cured(&Noted { in_pauses: Some(word), ..noted(&[], &[]) }, &cures, tried);
    near(in_pauses(InPauses::Yes), 0.7 * silent);
    near(in_pauses(InPauses::No), (1.0 - 0.7) * silent);
}

#[test]
fn a_measured_loss_is_a_window_of_two_tenths_of_a_decibel() {
    let noted = Noted {
        what: What::Quieter,
        strength: Strength::Plain,
        residue: None,
        loss_db: Some((6.0 - MEASURED_DB, 6.0 + MEASURED_DB)),
        goes_away: vec![],
        comes_back: vec![],
        in_pauses: None,
        line: 1,
    };
    let heard = Heard { any: 0.5, plain: 0.4 };
    let of = |loss_db: f64| as_noted(&noted, heard, &Effect { loss_db, ..Effect::default() });
    // one standard deviation either way: 0.682 689 492; from one to three: 0.157 305 356 (normal law \[memory\])
    assert!((of(6.0) - 0.5 * 0.682_689_492_137).abs() < 1e-9, "{}", of(6.0));
    assert!((of(6.0 + 2.0 * MEASURED_DB) - 0.5 * 0.157_305_356).abs() < 1e-7, "{}", of(6.0 + 2.0 * MEASURED_DB));
}
