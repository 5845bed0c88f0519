//! Small laws of judgement, each by hand.

use super::causes::{Cause, Effect, Hypothesis, SILENT_DB};
use super::crossover::crossover;
use super::cures::TURNED_UP;
use super::deeds::Deeds;
use super::dice::Dice;
use super::meters::{INNOCENT_MEDIAN, INNOCENT_SPREAD, innocent_share, readings_if_innocent};
use super::posterior::{Asked, believe};
use super::priors::Priors;
use super::scene::{ChannelScene, Excluded, Measured, Nature, Noted, On, Scene, Sighting, Suspect};
use super::suspects::Who;
use super::uncertainty::Stream;
use crate::bench::{Strength, What};
use crate::circuit::chain::Network;
use crate::circuit::{Contact, Load, PathItem, Section, Source};
use crate::physics::Film;
use std::sync::Arc;

fn suspect(nature: Nature, readings: Vec<Measured>) -> Suspect {
    Suspect {
        who: Who::Contact("a / b".into()),
        nature,
        part: "a".into(),
        workable: true,
        in_return: true,
        laws: [0.35, 0.45, 0.2],
        prior: 0.1,
        usual_ohm: 0.1,
        worn_ohm: 10.0,
        readings,
        bridges: vec![],
        drives_control: true,
        direct_current: false,
        goes_with: vec![],
        checked: None,
        excluded: Excluded::No,
    }
}

fn cause(of: &Suspect, hypothesis: Hypothesis, place: Option<&Deeds>) -> Cause {
    Cause::draw(0, of, hypothesis, place, &Priors::default(), &mut Dice::new(Stream::new(1, 0), None))
}

/// A contact that sees 10 kohm.
fn deeds() -> Arc<Deeds> {
    let source = Some(Source { emf_v: 1.0, resistance_ohm: 1e3, inductance_h: 0.0 });
    let path = vec![PathItem::Contact(Contact::ohmic("k", 0.0))];
    let section = Section { name: "s".into(), source, path, load: Load::resistance(9e3) };
    Arc::new(Deeds::new(&Network::from_section(&section).unwrap(), 0, 1.0, &Priors::default()))
}

fn near(found: f64, expected: f64) {
    assert!((found / expected - 1.0).abs() < 1e-9, "{found} {expected}");
}

#[test]
fn two_faults_at_once() {
    let one = Effect { grit: 3e-3, crackle: 0.0, loss_db: 1.0, drops_db: 2.0, dull_db: 0.5, hum: false };
    let other = Effect { grit: 4e-3, crackle: 0.1, loss_db: 2.5, drops_db: 0.0, dull_db: 3.0, hum: true };
    let both = one.with(other);
    near(both.grit, 5e-3);
    assert_eq!((both.crackle, both.loss_db, both.drops_db, both.dull_db, both.hum), (0.1, 3.5, 2.0, 3.5, true));
}

#[test]
fn innocent_readings_share_one() {
    let priors = Priors::default();
    let of = |range| innocent_share(&suspect(Nature::Contact, vec![]), range, &priors);
    // worn ones lie evenly in the logarithm from 0.1 to 10 ohm: half of them below 1
    near(of((0.0, f64::INFINITY)), 1.0);
    near(of((0.0, 1.0)) + of((1.0, f64::INFINITY)), 1.0);
    // up to one standard deviation above the median: 0.841 344 746 of the sound ones (normal law [memory]), none of the worn
    near(of((0.0, INNOCENT_MEDIAN * 0.1 * INNOCENT_SPREAD)), (1.0 - priors.worn_part) * 0.841_344_746_068_543);
    let far = of((3.0, 10.0));
    let worn = priors.worn_part * (10f64 / 3.0).ln() / 100f64.ln();
    assert!(far > worn && far < worn + 1e-5, "{far} {worn}");
}

fn measured(low_ohm: f64, high_ohm: f64, dry: bool, moved: bool) -> Measured {
    Measured {
        low_ohm,
        reached_ohm: low_ohm,
        high_ohm,
        dry,
        moved,
        wandered: false,
        at_signal: false,
        open_v: None,
        current_a: None,
        polarity: None,
        line: 1,
    }
}

#[test]
fn readings_multiply() {
    let priors = Priors::default();
    let of = |readings: Vec<Measured>| readings_if_innocent(&suspect(Nature::Contact, readings), &priors);
    let share = |range| innocent_share(&suspect(Nature::Contact, vec![]), range, &priors);
    near(of(vec![]), 1.0);
    near(of(vec![measured(0.01, 0.1, true, false)]), share((0.01, 0.1)));
    near(of(vec![measured(0.01, 0.1, false, false)]), share((0.01, 0.1)));
    let both = vec![measured(0.01, 0.1, true, false), measured(0.02, 0.3, false, false)];
    near(of(both), share((0.01, 0.1)) * share((0.02, 0.3)));
    // one that was moved and showed no jump
    near(of(vec![measured(0.01, 0.1, true, true)]), 0.95 * share((0.01, 0.1)));
}

#[test]
fn another_spot_of_the_same_film_is_within_ten_times() {
    let deeds = deeds();
    let plain = suspect(Nature::Contact, vec![]);
    let mut bad = cause(&plain, Hypothesis::Ohmic, Some(&deeds));
    bad.resistance_ohm = 100.0;
    // 100 to 10 000 ohm is half of 10 to 1000 in the logarithm, and 0.7 of such contacts show no jump
    let found =
        |low, high| bad.readings_if_guilty(&suspect(Nature::Contact, vec![measured(low, high, true, true)]), &deeds);
    near(found(100.0, 1e4), 0.7 * 0.5);
    near(found(1.0, 1e5), 0.7);
    near(found(1e4, 1e5), 0.7e-3);
}

#[test]
fn what_is_heard_of_each() {
    let on = |deeds| On { deeds, level_v: 2.0, follows_hand: true };
    let stage = suspect(Nature::Stage, vec![]);
    // steps of a control's track carry the direct voltage into the signal
    let mut leaks = cause(&stage, Hypothesis::DirectVoltage, None);
    (leaks.direct_v, leaks.other.crackle) = (3.0, 0.01);
    near(leaks.effect(&stage, &on(None)).crackle, 0.015);
    let mut under = cause(&stage, Hypothesis::Crossover, None);
    (under.quiescent, under.feedback) = (0.1, 20.0);
    near(under.effect(&stage, &on(None)).grit, crossover().residue(0.1, 8f64.sqrt()) / 20.0);
    // a contact of the return that takes something off hums, one that takes off next to nothing does not
    let deeds = deeds();
    let contact = suspect(Nature::Contact, vec![]);
    let mut bad = cause(&contact, Hypothesis::Ohmic, Some(&deeds));
    for (ohm, hums) in [(1e4, true), (1.0, false)] {
        bad.resistance_ohm = ohm;
        bad.film = crate::physics::Film::Ohmic { resistance_ohm: ohm };
        assert_eq!(bad.effect(&contact, &on(Some(deeds.clone()))).hum, hums, "{ohm}");
    }
    // 10 kohm or nothing half of the time, many times a second: passes 1/2 or 1, so 1/4 around 3/4
    let mut jumps = cause(&contact, Hypothesis::Chatter, Some(&deeds));
    (jumps.resistance_ohm, jumps.low_ohm, jumps.duty, jumps.rate_per_s) = (1e4, 0.0, 0.5, 1e3);
    let heard = jumps.effect(&contact, &on(Some(deeds)));
    near(heard.grit, 0.25 / 0.75);
    near(heard.loss_db, -20.0 * 0.75f64.log10());
    assert!(heard.loss_db < SILENT_DB);
}

#[test]
fn louder_breaks_a_film_that_it_takes_past_its_voltage() {
    let deeds = deeds();
    let contact = suspect(Nature::Contact, vec![]);
    let mut jumps = cause(&contact, Hypothesis::Chatter, Some(&deeds));
    let on = On { deeds: Some(deeds.clone()), level_v: 1.0, follows_hand: true };
    let turned_up = |jumps: &Cause, on: &On| jumps.cures(&contact, on).turned_up;
    // 1 V is 1.41 V peak, turned up 5.7 V
    jumps.frit_v = 0.99 * deeds.open_peak_v * TURNED_UP;
    assert_eq!(turned_up(&jumps, &on), 0.2);
    jumps.frit_v = 1.01 * deeds.open_peak_v * TURNED_UP;
    assert_eq!(turned_up(&jumps, &on), 0.03);
    jumps.frit_v = 1.0;
    assert_eq!(turned_up(&jumps, &On { follows_hand: false, ..on }), 0.03);
}

#[test]
fn one_symptom_is_no_reason_to_think_of_two_faults() {
    let noted = || super::scene::Noted {
        what: crate::bench::What::Grit,
        strength: crate::bench::Strength::Plain,
        residue: None,
        loss_db: None,
        goes_away: vec![],
        comes_back: vec![],
        in_pauses: None,
        line: 1,
    };
    let scene = |counts: &[usize]| {
        let of = |&count: &usize| Sighting {
            route: "r".into(),
            line: 1,
            least_residue: 1e-4,
            noted: (0..count).map(|_| noted()).collect(),
            on: vec![],
        };
        ChannelScene { suspects: vec![], sightings: counts.iter().map(of).collect() }
    };
    let could = |counts: &[usize]| scene(counts).could_be_two();
    assert!(!could(&[]) && !could(&[1]) && !could(&[0, 1, 0]) && could(&[2]) && could(&[1, 0, 1]));
}

#[test]
fn draws_from_readings_weigh_as_much_less() {
    // a weight is prior over proposal: its mean is one, and weighed logarithms of the ohms are even over their range
    const DRAWS: usize = 20_000;
    let deeds = deeds();
    let (low, high) = deeds.bad_ohm();
    let read = suspect(Nature::Contact, vec![measured(30.0, 45.0, true, false)]);
    for hypothesis in [Hypothesis::Ohmic, Hypothesis::Chatter] {
        let mut dice = Dice::new(Stream::new(11, 0), None);
        let (mut whole, mut place, mut square) = (0.0, 0.0, 0.0);
        for _ in 0..DRAWS {
            dice.begin();
            let cause = Cause::draw(0, &read, hypothesis, Some(&deeds), &Priors::default(), &mut dice);
            // the readings' own part is taken off again
            let weight = cause.weight / cause.readings;
            let at = (cause.resistance_ohm / low).ln() / (high / low).ln();
            whole += weight / DRAWS as f64;
            place += weight * at / DRAWS as f64;
            square += weight * weight / DRAWS as f64;
        }
        // weights are at most one over the share that is drawn from the prior: five standard errors
        let error = 5.0 * (square / DRAWS as f64).sqrt();
        assert!(error < 0.12, "{error}");
        assert!((whole - 1.0).abs() < error, "{hypothesis:?} {whole} {error}");
        assert!((place - 0.5).abs() < error, "{hypothesis:?} {place} {error}");
    }
}

#[test]
fn turning_up_cures_a_crossover_that_it_halves() {
    let stage = suspect(Nature::PowerStage, vec![]);
    let mut under = cause(&stage, Hypothesis::Crossover, None);
    let mut seen = [false; 2];
    for quiescent in [0.05, 0.3, 0.9] {
        under.quiescent = quiescent;
        for level_v in [0.02f64, 0.1, 0.5, 2.0, 8.0] {
            let peak_v = level_v * 2f64.sqrt();
            let halved =
                crossover().residue(quiescent, TURNED_UP * peak_v) < 0.5 * crossover().residue(quiescent, peak_v);
            seen[usize::from(halved)] = true;
            let found = under.cures(&stage, &On { deeds: None, level_v, follows_hand: true }).turned_up;
            assert_eq!(found, if halved { 0.7 } else { 0.05 }, "{quiescent} {level_v}");
        }
    }
    assert!(seen[0] && seen[1]);
}

#[test]
fn turning_up_cures_an_unbroken_film_that_shorts_itself() {
    let on = |follows_hand| On { deeds: Some(deeds()), level_v: 1.0, follows_hand };
    let contact = suspect(Nature::Contact, vec![]);
    let mut film = cause(&contact, Hypothesis::Tunnelling, Some(&deeds()));
    film.frit_v = 1e3;
    let mut turned_up = |ohm: f64, scale_v: f64, follows_hand| {
        film.resistance_ohm = ohm;
        film.film = Film::Tunnelling { resistance_ohm: ohm, scale_v };
        film.cures(&contact, &on(follows_hand)).turned_up
    };
    // a hundred times its loop and some V0 across it: four times the signal leaves less than half
    assert_eq!(turned_up(1e6, 0.15, true), 0.7);
    // behind the hand only; and a film that its loop decides, or that hardly bends, distorts more
    assert_eq!([turned_up(1e6, 0.15, false), turned_up(1e3, 0.15, true), turned_up(1e6, 3.0, true)], [0.03; 3]);
}

#[test]
fn a_reading_past_all_that_is_drawn_is_as_telling_as_the_most() {
    let contact = |low_ohm: f64| suspect(Nature::Contact, vec![measured(low_ohm, f64::INFINITY, true, false)]);
    let mut ohmic = cause(&contact(1.0), Hypothesis::Ohmic, Some(&deeds()));
    // the loop has 10 kohm, a bad contact up to a hundred times that
    let mut p = |ohm: f64, low_ohm: f64| {
        (ohmic.resistance_ohm, ohmic.film) = (ohm, Film::Ohmic { resistance_ohm: ohm });
        ohmic.readings_if_guilty(&contact(low_ohm), &deeds())
    };
    assert_eq!([p(9e5, 5e5), p(9e5, 5e6), p(9e5, 1e9)], [1.0; 3]);
    assert!(p(1e3, 1e9) < 0.01 && p(1e3, 5e4) < 0.01);
}

#[test]
fn two_pilots_of_a_tenth_each_come_before_the_draws() {
    use crate::watch::Watch;
    use std::sync::atomic::{AtomicUsize, Ordering};
    #[derive(Default)]
    struct Thousands(AtomicUsize);
    impl Watch for Thousands {
        fn done(&self, chunks: usize) {
            self.0.fetch_add(chunks, Ordering::Relaxed);
        }
    }
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
    let on = vec![Some(On { deeds: None, level_v: 1.0, follows_hand: true })];
    let sighting = Sighting { route: "r".into(), line: 1, least_residue: 5e-5, noted: vec![noted], on };
    let left = ChannelScene { suspects: vec![suspect(Nature::Stage, vec![])], sightings: vec![sighting] };
    let scene = Scene { channels: [left, ChannelScene::default()], priors: Priors::default() };
    let seen = Thousands::default();
    let found = believe(&scene, Asked { draws: 400_000, seed: 1, keep: false }, &seen).unwrap();
    assert!(found[0].is_some() && found[1].is_none());
    // 400 and twice 40, and of each of the three runs no more than a part of one for each way to be at fault
    let ways = Hypothesis::of(&scene.channels[0].suspects[0], &scene.priors).len();
    let thousands = seen.0.into_inner();
    assert!((480..=480 + 3 * ways).contains(&thousands), "{thousands} {ways}");
}
