//! The example jobs through the Rust face alone: read, assess, limits.
#![cfg(feature = "job")]
#![allow(clippy::unwrap_used)]

use std::path::Path;
use weaklink::bench::Channel;
use weaklink::job::{Assessment, Targets, assess, limits, load, read};
use weaklink::judgement::Kind;

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
    assert_eq!(kind(&answer, "tape monitor / source", Channel::Right), Kind::CannotBeSole);
    assert!(answer.next_steps[0].lid_on);
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
fn tmp_print() {
    for name in ["gritty-right-on-records", "two-faults", "worn-relay", "innocent-contacts", "quick-form"] {
        let start = std::time::Instant::now();
        let a = example(&format!("{name}.toml"));
        println!("== {name} {:?}", start.elapsed());
        for h in &a.headlines {
            println!("{:?} {} | {}", h.channel, h.says, h.because);
        }
        for o in &a.odds {
            println!(
                "{:?} else {:.3} two {:.3} moved {:?} {:?}-{:?}",
                o.channel, o.something_else, o.two_faults, o.moved_by, o.moved_from, o.moved_to
            );
            for w in &o.odds {
                println!("   {:.4} +-{:.4} {} {:?}", w.probability, w.probability_se, w.who, w.by_hypothesis);
            }
        }
        for s in a.next_steps.iter().take(6) {
            println!("  next {:.3} bits {} min {}", s.bits, s.minutes, s.what);
        }
        println!("clashes {:?}", a.clashes);
    }
}
