//! The example jobs through the Rust face alone: read, assess, limits.
#![allow(clippy::unwrap_used)]

use std::path::Path;
use weaklink::bench::Channel;
use weaklink::job::{Assessment, Settings, Targets, assess, assess_with, limits, load, read};
use weaklink::judgement::Kind;
use weaklink::watch::Unwatched;

fn example(name: &str) -> Assessment {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks/jobs").join(name);
    assess(&load(&path).unwrap()).unwrap()
}

fn kind(answer: &Assessment, contact: &str, channel: Channel) -> Kind {
    let row = answer.rows.iter().find(|row| row.contact == contact).unwrap();
    row.findings.iter().find(|finding| finding.channel == channel).unwrap().kind
}

#[test]
fn selector_bad_on_one_channel() {
    let answer = example("gritty-right-on-records.toml");
    assert_eq!(kind(&answer, "source selector / phono", Channel::Right), Kind::Able);
    assert_eq!(kind(&answer, "source selector / phono", Channel::Left), Kind::Cleared);
    assert_eq!(kind(&answer, "tape monitor / source", Channel::Right), Kind::CannotUnlessItJumps);
    // as good as certain: what is left to do is to prove it
    assert_eq!(answer.next_steps[0].what, "Clip lead across source selector / phono");
}

#[test]
fn two_faults_one_a_channel() {
    let answer = example("two-faults.toml");
    assert_eq!(kind(&answer, "speaker relay / a", Channel::Left), Kind::Proved);
    assert_eq!(kind(&answer, "source selector / disc", Channel::Right), Kind::Able);
    assert!(answer.clashes.is_empty());
}

#[test]
fn limits_of_an_example_rise_with_the_loop() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks/jobs/two-faults.toml");
    let rows = limits(&load(&path).unwrap(), Targets::default()).unwrap().rows;
    let stop = |name: &str| rows.iter().find(|row| row.contact == name).unwrap().stop_ohm.unwrap();
    assert!(stop("volume control / wiper") > stop("disc socket / pin"));
    assert!(stop("disc socket / pin") > 1000.0 * stop("speaker relay / a"));
}

#[test]
fn a_missing_file_is_an_error_with_its_name() {
    let faults = load(Path::new("nowhere.toml")).unwrap_err();
    assert!(faults[0].to_string().contains("nowhere.toml"));
    assert_eq!(read("sheet = 3", "s", &|_| Err(std::io::ErrorKind::NotFound.into())).unwrap_err()[0].line, Some(1));
}

#[test]
fn odds_of_the_examples() {
    let odds = |name: &str, channel: Channel| {
        let answer = example(name);
        let found = answer.odds.into_iter().find(|o| o.channel == channel).unwrap();
        let sum: f64 = found.odds.iter().map(|o| o.probability).sum::<f64>() + found.something_else - found.two_faults;
        assert!((sum - 1.0).abs() < 1e-9, "{name} {sum}");
        found
    };
    let first = |name: &str, channel: Channel| {
        let found = odds(name, channel);
        (found.odds[0].who.clone(), found.odds[0].probability)
    };
    let (who, p) = first("gritty-right-on-records.toml", Channel::Right);
    assert!(who == "source selector / phono" && p > 0.9, "{who} {p}");
    let (who, p) = first("two-faults.toml", Channel::Right);
    assert!(who == "source selector / disc" && p > 0.9, "{who} {p}");
    let (who, p) = first("worn-relay.toml", Channel::Left);
    assert!(who == "output relay / a" && p > 0.9, "{who} {p}");
    let (who, p) = first("quick-form.toml", Channel::Right);
    assert!(who == "speaker switch / a" && p > 0.8, "{who} {p}");
    // every contact is excluded by a bound as long as it is steady: little is left to one that jumps, nothing to a film
    let innocent = odds("innocent-contacts.toml", Channel::Left);
    let contact = |o: &&weaklink::job::report::Odds| o.who.contains(" / ");
    assert!(innocent.odds.iter().filter(contact).all(|o| o.probability < 0.03), "{innocent:?}");
    let ways = innocent.odds.iter().filter(contact).flat_map(|o| o.by_hypothesis.iter());
    assert!(ways.clone().count() > 1 && ways.into_iter().all(|(way, _)| way == "chatter"), "{innocent:?}");
}

#[test]
fn the_error_of_the_odds_is_what_other_seeds_show() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks/jobs/innocent-contacts.toml");
    let job = load(&path).unwrap();
    const SEEDS: u64 = 24;
    let (mut values, mut stated) = (Vec::new(), 0.0);
    for seed in 0..SEEDS {
        let found = assess_with(&job, Settings { draws: 5000, seed }, &Unwatched).unwrap().odds.remove(0);
        let leader = found.odds.iter().find(|o| o.who == "power stage").unwrap();
        values.push(leader.probability);
        stated += leader.probability_se.powi(2) / SEEDS as f64;
    }
    let mean = values.iter().sum::<f64>() / SEEDS as f64;
    let seen = (values.iter().map(|p| (p - mean).powi(2)).sum::<f64>() / (SEEDS - 1) as f64).sqrt();
    let ratio = seen / stated.sqrt();
    assert!(ratio > 0.6 && ratio < 1.7, "seen {seen}, stated {}", stated.sqrt());
}

#[test]
fn the_same_seed_the_same_bits() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("notebooks/jobs/two-faults.toml");
    let job = load(&path).unwrap();
    let with = |draws, seed| assess_with(&job, Settings { draws, seed }, &Unwatched).unwrap().odds;
    assert_eq!(with(5000, 3), with(5000, 3));
    assert_ne!(with(5000, 3), with(5000, 4));
    assert!(with(0, 0).is_empty());
}
