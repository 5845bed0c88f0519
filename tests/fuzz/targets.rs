//! What must hold of any bytes, one function per way in. The fuzzer calls them with what it finds, the tests with `corpus/`.

use weaklink::bench::quantity::{Dimension, accuracy, quantity, shown};
use weaklink::circuit::chain::{Chain, Network};
use weaklink::circuit::{Contact, Lead, Load, PathItem, Role, Section, Source};
use weaklink::job::{Targets, assess, limits};
use weaklink::physics::Film;
use weaklink::response::ceiling::{Status, ceiling};
use weaklink::response::distortion::{Outcome, distortion};
use weaklink::response::steady::solve::Solver;
use weaklink::watch::Unwatched;

const DIMENSIONS: [Dimension; 11] = [
    Dimension::Resistance,
    Dimension::Voltage,
    Dimension::Current,
    Dimension::Power,
    Dimension::Capacitance,
    Dimension::Inductance,
    Dimension::Time,
    Dimension::Frequency,
    Dimension::Length,
    Dimension::Decibel,
    Dimension::Ratio,
];

/// Text with a unit: a finite value or a sentence.
pub fn quantities(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    for dimension in DIMENSIONS {
        match quantity(&text, dimension) {
            Ok(found) => assert!(found.value.is_finite() && found.low() <= found.high(), "{text:?}: {found:?}"),
            Err(error) => assert!(!error.to_string().is_empty()),
        }
    }
    let _ = shown(&text, &[Dimension::Resistance, Dimension::Voltage]);
    let _ = accuracy(&text);
}

/// A job sheet with its readings behind a NUL: read and assessed, or faults that each say where and what is allowed.
pub fn sheet(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let (sheet, rows) = text.split_once('\0').unwrap_or((&text, "contact,channel,shows,method\n"));
    match weaklink::job::read(sheet, "job.toml", &|_| Ok(rows.to_owned())) {
        Ok(job) => {
            // what a sheet may say and no model takes is refused, not answered
            if let Ok(found) = assess(&job) {
                assert!(serde_json::to_string(&found).is_ok());
                let _ = limits(&job, Targets::default());
            }
        }
        Err(faults) => {
            assert!(!faults.is_empty());
            for fault in faults {
                assert!(!fault.place.is_empty() && !fault.allowed.is_empty(), "{fault}");
                assert!(fault.file.is_some(), "{fault}");
            }
        }
    }
}

/// The readings file of a sheet that is in order: read and assessed, or faults with their lines.
pub fn readings(bytes: &[u8]) {
    let rows = String::from_utf8_lossy(bytes);
    let sheet = include_str!("corpus/sheet/gritty-right-on-records").split('\0').next().unwrap_or("");
    match weaklink::job::read(sheet, "job.toml", &|_| Ok(rows.clone().into_owned())) {
        Ok(job) => {
            if let Ok(found) = assess(&job) {
                assert!(serde_json::to_string(&found).is_ok());
            }
        }
        Err(faults) => {
            assert!(!faults.is_empty());
            for fault in faults {
                assert!(!fault.place.is_empty() && !fault.allowed.is_empty(), "{fault}");
                assert!(fault.file.as_deref().is_some_and(|file| file.ends_with(".csv")), "{fault}");
            }
        }
    }
}

/// A bench log.
pub fn log(bytes: &[u8]) {
    match weaklink::shop::read(bytes, "log.csv", &Unwatched) {
        Ok(Ok(log)) => assert!(log.used <= bytes.len()),
        Ok(Err(fault)) => assert!(!fault.allowed.is_empty(), "{fault}"),
        Err(_) => panic!("nobody stopped it"),
    }
}

/// A chain as JSON: refused, or solved.
pub fn json(bytes: &[u8]) {
    let Ok(chain) = serde_json::from_slice::<Chain>(bytes) else { return };
    if chain.check().is_ok() {
        if let Ok(network) = Network::from_chain(&chain) {
            solved(&network, 1e3);
        }
    }
}

/// Numbers for a section of up to three contacts: solved, or a status; never above its ceiling.
pub fn section(bytes: &[u8]) {
    let mut rest = bytes.iter().copied();
    let mut next = || f64::from(rest.next().unwrap_or(0)) / 256.0;
    let emf_v = 10f64.powf(-6.0 + 7.5 * next());
    let hz = 10f64.powf(1.0 + 3.6 * next());
    let source = Source { emf_v, resistance_ohm: 10f64.powf(-1.0 + 6.0 * next()), inductance_h: 0.5 * next() };
    let contacts = 1 + (3.0 * next()) as usize;
    let mut path = Vec::new();
    for k in 0..contacts {
        let resistance_ohm = 10f64.powf(-6.0 + 15.0 * next());
        let scale_v = 10f64.powf(-1.5 + 2.0 * next());
        let film = match (4.0 * next()) as usize {
            0 => Film::Ohmic { resistance_ohm },
            1 => Film::Tunnelling { resistance_ohm, scale_v },
            2 => Film::Rectifying { resistance_ohm, ideality: 1.0 + next(), leak_ratio: 0.01 + 0.9 * next() },
            _ => Film::Bridged { resistance_ohm },
        };
        let role = [Role::Signal, Role::Return, Role::SharedReturn, Role::Shunt][(4.0 * next()) as usize];
        path.push(PathItem::Contact(Contact { film, role, ..Contact::ohmic(format!("c{k}"), 1.0) }));
        path.push(PathItem::Lead(Lead { capacitance_f: 1e-9 * next(), ..Lead::default() }));
    }
    let load = Load { capacitance_f: 1e-9 * next(), ..Load::resistance(10f64.powf(6.0 * next())) };
    let made = Section { name: "s".into(), source: Some(source), path, load };
    if let Ok(network) = Network::from_section(&made) {
        solved(&network, hz);
    }
}

fn solved(network: &Network, hz: f64) {
    let film_ohm: Vec<f64> = network.contacts.iter().map(|c| c.film.resistance_ohm()).collect();
    let found = distortion(&mut Solver::default(), network, (hz, network.emf_v), &film_ohm, 5);
    match found.outcome {
        Outcome::Converged => {
            assert!(found.thd_f.is_finite() && found.error_bound.is_finite() && found.fundamental_db.is_finite());
        }
        Outcome::NotConverged => assert!(!found.error_bound.is_nan()),
        Outcome::NoFundamental => return,
    }
    // one contact that goes no further than its chords stays below what any contact between them could do
    let [contact] = &network.contacts[..] else { return };
    if found.outcome != Outcome::Converged || contact.direct_current_a != 0.0 {
        return;
    }
    let range = found.chord_ohm[0];
    let top = ceiling(network, hz, &[(0, range)], &film_ohm, (hz, 6000.0 * hz));
    if top.status == Status::Holds && range.1 > range.0 * (1.0 + 1e-9) {
        let allowed = top.chatter * (1.0 + 1e-6) + found.error_bound;
        assert!(found.thd_f <= allowed, "{} above {allowed}", found.thd_f);
    }
}
