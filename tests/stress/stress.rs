//! Random sections through the steady-state solver: `cargo run --release --example stress --features threads -- 100000 1`.
//!
//! Places: cartridge, line, loudspeaker, anything; one to four contacts of any law and role; 1e-6 to 1e9 ohm, 1e-6 to 30 V,
//! 10 Hz to 40 kHz, all log-uniform. Prints what share converged, the certificates, the rounds, and what took longest; and how
//! near each converged answer came to the ceiling (T2, which is T1 for one loop) over the chords that its contacts visited. A
//! residue above its ceiling, or a converged answer that is not finite, ends the run with a failure. `PROGRESS=1` prints the
//! figures so far every 50 000 sections, for a run that may be cut; `SHOW=1` what did not converge or took long. `ONLY="47 80"` runs those sections alone. `BOTH=1` solves
//! what converged a second time, step by step in time, a hundred times slower: answers further apart than both bounds end the run with a failure.

use std::time::Instant;
use weaklink::circuit::chain::Network;
use weaklink::circuit::{Contact, Divider, Lead, Load, Loudspeaker, PathItem, Role, Section, Source};
use weaklink::physics::Film;
use weaklink::response::ceiling::Status;
use weaklink::response::ceiling_many::{Moving, ceiling_many};
use weaklink::response::steady::instants;
use weaklink::response::steady::solve::{Answer, Solver, Tones};
use weaklink::watch::Unwatched;

/// Steele, Lea and Flood's SplitMix64.
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
    fn log(&mut self, low: f64, high: f64) -> f64 {
        (low.ln() + self.unit() * (high / low).ln()).exp()
    }
    fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }
}

fn contact(dice: &mut Dice, name: usize) -> Contact {
    let resistance_ohm = dice.log(1e-6, 1e9);
    let film = match dice.below(7) {
        0 => Film::Ohmic { resistance_ohm },
        1 | 2 => Film::Tunnelling { resistance_ohm, scale_v: dice.log(0.025, 2.0) },
        3 | 4 => {
            Film::Rectifying { resistance_ohm, ideality: 1.0 + 1.5 * dice.unit(), leak_ratio: dice.log(0.01, 1.0) }
        }
        _ => Film::Bridged { resistance_ohm },
    };
    let role = match dice.below(8) {
        0 => Role::Return,
        1 => Role::SharedReturn,
        2 => Role::Shunt,
        _ => Role::Signal,
    };
    let constriction_ohm = if dice.below(2) == 0 { dice.log(1e-6, 1e3) } else { 0.0 };
    Contact { film, role, constriction_ohm, ..Contact::ohmic(format!("c{name}"), 1.0) }
}

fn section(dice: &mut Dice) -> (Section, f64) {
    let emf_v = dice.log(1e-6, 30.0);
    let (source, load, lead) = match dice.below(4) {
        0 => (
            (dice.log(300.0, 1500.0), dice.log(0.08, 1.0)),
            Load { capacitance_f: dice.log(3e-11, 5e-10), ..Load::resistance(47e3) },
            Lead { capacitance_f: dice.log(3e-11, 3e-10), ..Lead::default() },
        ),
        1 => (
            (dice.log(10.0, 2500.0), 0.0),
            Load { capacitance_f: dice.log(1e-12, 1e-9), ..Load::resistance(dice.log(1e4, 1e5)) },
            Lead { resistance_ohm: dice.log(0.01, 1.0), capacitance_f: dice.log(1e-11, 1e-9), ..Lead::default() },
        ),
        2 => {
            let speaker = Loudspeaker {
                voice_coil_ohm: dice.log(3.0, 16.0),
                voice_coil_h: dice.log(1e-5, 1e-3),
                resonance_hz: dice.log(20.0, 120.0),
                mechanical_q: dice.log(1.0, 8.0),
                electrical_q: dice.log(0.2, 1.0),
            };
            (
                (dice.log(1e-3, 1.0), 0.0),
                Load { loudspeaker: Some(speaker), ..Load::resistance(8.0) },
                Lead { resistance_ohm: dice.log(1e-3, 1.0), inductance_h: dice.log(1e-7, 1e-5), ..Lead::default() },
            )
        }
        _ => ((dice.log(1e-3, 1e5), 0.0), Load::resistance(dice.log(1.0, 1e6)), Lead::default()),
    };
    let mut path = Vec::new();
    let count = [1, 1, 1, 2, 2, 3, 4][dice.below(7)];
    for name in 0..count {
        path.push(PathItem::Contact(contact(dice, name)));
        match dice.below(3) {
            0 => path.push(PathItem::Lead(lead)),
            1 if dice.below(4) == 0 => path.push(PathItem::Divider(Divider {
                name: format!("d{name}"),
                track_ohm: dice.log(1e3, 1e5),
                setting_db: -60.0 * dice.unit(),
                wiper: None,
            })),
            _ => {}
        }
    }
    let source = Some(Source { emf_v, resistance_ohm: source.0, inductance_h: source.1 });
    (Section { name: "s".into(), source, path, load }, dice.log(10.0, 4e4))
}

/// Orders that the ceiling is compared over: the residue from 2 up to here, in a band that ends just above.
const ORDERS: usize = 30;

/// Rounding of a chord, relative: a few operations.
const CHORD_ROUNDING: f64 = 8.0 * f64::EPSILON;

/// Rounding of a ceiling, absolute: parts of the tone, 300 dB below it.
const LOG_ROUNDING: f64 = 1e-15;

/// Rounding of a ceiling and a residue, relative.
const ROUNDING: f64 = 1e-9;

/// Residue over its ceiling, if the chords that the contacts visited have one.
fn of_ceiling(network: &Network, hz: f64, film_ohm: &[f64], answer: &Answer) -> Result<f64, Option<Status>> {
    // a film that bends by less than rounding has one chord as far as numbers go
    let wide = |(low, high): (f64, f64)| (low * (1.0 - CHORD_ROUNDING), high * (1.0 + CHORD_ROUNDING));
    let moving: Vec<Moving> = answer.chord_ohm.iter().map(|&range| wide(range)).enumerate().collect();
    let fixed: Vec<f64> = network.contacts.iter().zip(film_ohm).map(|(c, r)| r + c.constriction_ohm).collect();
    let band = (0.5 * hz, (ORDERS as f64 + 0.5) * hz);
    let ceiling = ceiling_many(network, hz, &moving, &fixed, band);
    if ceiling.status != Status::Holds {
        return Err(Some(ceiling.status));
    }
    let lines = answer.output.iter().skip(2).take(ORDERS - 1).map(|c| c.norm_sqr()).sum::<f64>().sqrt();
    let tone = answer.output[1].norm();
    // what the certificate leaves open is no fault of the ceiling
    let sure = (lines - answer.error_v / std::f64::consts::SQRT_2).max(0.0) / tone;
    // the closed form of a resistive chain is the logarithm of a ratio of gains, good to rounding and no better
    Ok(sure / (ceiling.harmonics + LOG_ROUNDING))
}

/// How far apart two answers are over the sum of their bounds, lines past direct current that both have.
fn apart(one: &Answer, other: &Answer) -> f64 {
    let lines = one.output.iter().zip(&other.output).skip(1);
    lines.map(|(a, b)| 2.0 * (a - b).norm_sqr()).sum::<f64>().sqrt() / (one.error_v + other.error_v)
}

struct Row {
    seed: u64,
    converged: bool,
    of_ceiling: Result<f64, Option<Status>>,
    relative: f64,
    rounds: usize,
    samples: usize,
    micros: f64,
    thd: f64,
}

fn main() {
    let mut arguments = std::env::args().skip(1).filter_map(|a| a.parse::<u64>().ok());
    let (count, first) = (arguments.next().unwrap_or(10_000), arguments.next().unwrap_or(1));
    let only = std::env::var("ONLY").unwrap_or_default();
    let only: Vec<u64> = only.split([',', ' ']).filter_map(|seed| seed.parse().ok()).collect();
    let seeds: Vec<u64> = if only.is_empty() { (first..first + count).collect() } else { only };
    let mut solver = Solver::default();
    let mut rows = Vec::new();
    let (mut wrong, mut both) = (0, Vec::new());
    for seed in seeds {
        let mut dice = Dice(seed.wrapping_mul(0xd134_2543_de82_ef95));
        let (section, hz) = section(&mut dice);
        let Ok(network) = Network::from_section(&section) else {
            println!("refused {seed}");
            continue;
        };
        let film_ohm: Vec<f64> = network.contacts.iter().map(|c| c.film.resistance_ohm()).collect();
        let began = Instant::now();
        let answer = solver.solve(&network, Tones::One((hz, network.emf_v)), &film_ohm);
        let micros = began.elapsed().as_secs_f64() * 1e6;
        let lines = answer.output.iter().skip(2).map(|c| c.norm_sqr()).sum::<f64>().sqrt();
        let thd = lines / answer.output[1].norm();
        let relative = if lines > 0.0 { answer.error_v / (std::f64::consts::SQRT_2 * lines) } else { 0.0 };
        if std::env::var("SHOW").is_ok() && (!answer.converged || micros > 20_000.0) {
            println!(
                "{seed} {hz:.0} thd {thd:.3e} rel {relative:.2e} rounds {} n {} {micros:.0} us {:?}",
                answer.rounds, answer.samples, section
            );
        }
        let of_ceiling = match answer.converged {
            true => of_ceiling(&network, hz, &film_ohm, &answer),
            false => Err(None),
        };
        let finite = answer.output.iter().all(|c| c.is_finite()) && answer.error_v.is_finite();
        if answer.converged && !finite || of_ceiling.is_ok_and(|share| share > 1.0 + ROUNDING || share.is_nan()) {
            wrong += 1;
            println!("WRONG {seed}: of its ceiling {of_ceiling:?}, finite {finite}, {section:?}");
        }
        if answer.converged && std::env::var("BOTH").is_ok() {
            let other = instants::solve(&network, (hz, network.emf_v), &film_ohm, &Unwatched);
            // what was solved step by step already is the same to the bit
            let apart = other.map(|other| apart(&answer, &other)).filter(|apart| *apart != 0.0);
            if apart.is_some_and(|apart| apart.is_nan() || apart > 1.0) {
                wrong += 1;
                println!("WRONG {seed}: {apart:?} of both bounds apart, {section:?}");
            }
            both.extend(apart);
        }
        rows.push(Row {
            seed,
            converged: answer.converged,
            of_ceiling,
            relative,
            rounds: answer.rounds,
            samples: answer.samples,
            micros,
            thd,
        });
        if rows.len() % 50_000 == 0 && std::env::var("PROGRESS").is_ok() {
            print_figures(&rows);
        }
    }
    print_figures(&rows);
    if !both.is_empty() {
        let most = both.iter().copied().fold(0.0, f64::max);
        println!("solved both ways {}: apart by at most {most:.3} of both bounds", both.len());
    }
    if wrong > 0 {
        eprintln!("{wrong} answers are wrong");
        std::process::exit(1);
    }
}

fn print_figures(rows: &[Row]) {
    let share = rows.iter().filter(|r| r.converged).count() as f64 / rows.len() as f64;
    println!("converged {:.4} % of {}; the rest says so", 100.0 * share, rows.len());
    let quantiles = |name: &str, of: &dyn Fn(&Row) -> f64| {
        let mut all: Vec<f64> = rows.iter().map(of).collect();
        all.sort_by(f64::total_cmp);
        let at = |q: f64| all[((all.len() - 1) as f64 * q) as usize];
        println!("{name:>13}: 50 % {:.3e}  90 % {:.3e}  99 % {:.3e}  most {:.3e}", at(0.5), at(0.9), at(0.99), at(1.0));
    };
    quantiles("bound/residue", &|r| r.relative);
    quantiles("rounds", &|r| r.rounds as f64);
    quantiles("samples", &|r| r.samples as f64);
    quantiles("us", &|r| r.micros);
    quantiles("thd", &|r| r.thd);
    let of: Vec<f64> = rows.iter().filter_map(|r| r.of_ceiling.ok()).collect();
    let near = |least: f64| of.iter().filter(|share| **share > least).count();
    let most = of.iter().copied().fold(0.0, f64::max);
    println!(
        "with a ceiling {}: most of it reached {most:.6}, above 0.5 of it {}, above it {}",
        of.len(),
        near(0.5),
        near(1.0 + ROUNDING)
    );
    let mut without: Vec<(String, usize)> = Vec::new();
    for status in rows.iter().filter_map(|r| r.of_ceiling.err()) {
        let name = status.map_or("not converged".to_string(), |s| format!("{s:?}"));
        match without.iter_mut().find(|(known, _)| *known == name) {
            Some((_, count)) => *count += 1,
            None => without.push((name, 1)),
        }
    }
    println!("without a ceiling: {without:?}");
    let mut worst: Vec<&Row> = rows.iter().filter(|r| !r.converged).collect();
    worst.sort_by(|a, b| b.relative.total_cmp(&a.relative));
    for row in worst.iter().take(12) {
        println!(
            "seed {} bound {:.2e} rounds {} samples {} thd {:.2e} {:.0} us",
            row.seed, row.relative, row.rounds, row.samples, row.thd, row.micros
        );
    }
}
