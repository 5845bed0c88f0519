//! How probable it is that a listener writes down what was written down, given what there was to hear.
//!
//! One listener heard all of a sheet: how keen the ear is, is drawn once. Below the least that any ear could notice
//! ([`super::needs`]) nothing is heard: the proofs stand. Predicting far more than is heard counts against a cause, because a
//! symptom that was not written down would have been.

use super::causes::{Effect, SILENT_DB};
use super::cures::Cures;
use super::meters::log_share;
use super::needs::{PLAIN_LOSS_DB, PLAINLY, SLIGHT_LOSS_DB};
use super::priors::Priors;
use super::rivals::{FAULT_LOSS_DB, FAULT_RESIDUE};
use super::scene::{Noted, Sighting};
use super::uncertainty::generator::normal_cdf;
use crate::bench::evidence::{ComesBack, GoesAway, InPauses};
use crate::bench::{Strength, What};

/// How much the same listener differs from hearing to hearing, as a geometric standard deviation \[assumption\].
pub const FROM_TIME_TO_TIME: f64 = 1.3;
/// The same for decibels of loss.
const FROM_TIME_TO_TIME_LOSS: f64 = 1.15;
/// Loss that half the listeners notice over the least that is noticed, and its spread among them \[assumption\].
pub const LOSS_NOTICED: (f64, f64) = (2.0, 1.4);
/// Scatter of a measured residue and loss beside its stated width: the amplifier's own residue, the meter \[assumption\].
const MEASURED_SPREAD: f64 = 1.15;
const MEASURED_DB: f64 = 0.2;
/// Chance that a line of the sheet is a slip: heard on another route, written in the wrong row \[assumption\].
pub const SLIP: f64 = 1e-3;
const HUM_HEARD: f64 = 0.9;

/// One listener.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Listener {
    /// residue noticed over the least that any ear notices: one or more
    pub residue: f64,
    /// the same for loss
    pub loss: f64,
    /// share of lesser symptoms that are not written down
    pub unwritten: f64,
    /// share of cures that are tried
    pub tried: f64,
}

impl Listener {
    /// A listener `keenness` standard deviations duller than the median.
    #[must_use]
    pub fn new(keenness: f64, priors: &Priors) -> Self {
        Self {
            residue: (priors.noticed * priors.hearing_spread.powf(keenness)).max(1.0),
            loss: (LOSS_NOTICED.0 * LOSS_NOTICED.1.powf(keenness)).max(1.0),
            unwritten: priors.unwritten,
            tried: priors.tried,
        }
    }
}

/// Chances that something is noticed at all, and plainly.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Heard {
    any: f64,
    plain: f64,
}

fn heard(size: f64, least: f64, plain: f64, times: f64, spread: f64) -> Heard {
    let over = |least: f64| if size < least { 0.0 } else { normal_cdf((size / (least * times)).ln() / spread.ln()) };
    Heard { any: over(least), plain: over(plain) }
}

fn residue(size: f64, least: f64, listener: &Listener) -> Heard {
    heard(size, least, PLAINLY * least, listener.residue, FROM_TIME_TO_TIME)
}

fn loss(size: f64, listener: &Listener) -> Heard {
    heard(size, SLIGHT_LOSS_DB, PLAIN_LOSS_DB, listener.loss, FROM_TIME_TO_TIME_LOSS)
}

/// Kinds of symptom that are heard apart from each other.
const KINDS: usize = 6;

fn kind_of(what: What) -> Option<usize> {
    Some(match what {
        What::Clean => return None,
        What::Grit => 0,
        What::Crackle => 1,
        What::Quieter | What::Imbalance | What::Dead => 2,
        What::ComesAndGoes => 3,
        What::Dull => 4,
        What::Hum => 5,
    })
}

fn of_kind(kind: usize, effect: &Effect, least: f64, listener: &Listener) -> Heard {
    // a channel that is silent shows nothing else
    let silent = effect.loss_db >= SILENT_DB;
    match kind {
        0 if !silent => residue(effect.grit, least, listener),
        1 if !silent => residue(effect.crackle, least, listener),
        2 => loss(effect.loss_db, listener),
        3 if !silent => loss(effect.drops_db, listener),
        4 if !silent => loss(effect.dull_db, listener),
        5 => {
            let p = if effect.hum { HUM_HEARD } else { 0.0 };
            Heard { any: p, plain: p }
        }
        _ => Heard { any: 0.0, plain: 0.0 },
    }
}

/// Ends at least as far apart as a meter knows them, `by` from the middle: a value without its band is known no better than that.
fn as_known((low, high): (f64, f64), by: f64) -> (f64, f64) {
    if high - low >= 2.0 * by { (low, high) } else { (0.5 * (low + high) - by, 0.5 * (low + high) + by) }
}

fn known_residue(range: (f64, f64)) -> (f64, f64) {
    as_known(range, (MEASURED_SPREAD - 1.0) * 0.5 * (range.0 + range.1))
}

fn known_loss_db(range: (f64, f64)) -> (f64, f64) {
    as_known(range, MEASURED_DB)
}

/// Chance that a measured value lies between two ends.
fn measured((low, high): (f64, f64), at: impl Fn(f64) -> f64) -> f64 {
    normal_cdf(at(high)) - if low > 0.0 { normal_cdf(at(low)) } else { 0.0 }
}

fn as_noted(noted: &Noted, heard: Heard, effect: &Effect) -> f64 {
    let by_ear = if noted.strength == Strength::Plain { heard.plain } else { (heard.any - heard.plain).max(0.0) };
    let mut p = by_ear;
    let mut dead = |is: f64| p *= is;
    match noted.what {
        What::Dead => dead(normal_cdf(effect.loss_db - SILENT_DB)),
        What::Quieter | What::Imbalance => dead(normal_cdf(SILENT_DB - effect.loss_db)),
        _ => {}
    }
    if let Some(range) = noted.residue {
        let size = if noted.what == What::Crackle { effect.crackle } else { effect.grit };
        // a residue that was measured is there, however well it is heard
        p = heard.any * measured(known_residue(range), |x| (x / size.max(1e-15)).ln() / f64::ln(MEASURED_SPREAD));
    }
    if let Some(range) = noted.loss_db {
        let size = if noted.what == What::ComesAndGoes { effect.drops_db } else { effect.loss_db };
        let there = measured(known_loss_db(range), |x| (x - size) / MEASURED_DB);
        p = if noted.residue.is_some() { p * there } else { heard.any * there };
    }
    p
}

fn cured(noted: &Noted, cures: &Cures, tried: f64) -> f64 {
    let mut p = 1.0;
    let one = |said: bool, chance: f64| if said { chance } else { 1.0 - tried * chance };
    for (word, chance) in [
        (GoesAway::TurnedUp, cures.turned_up),
        (GoesAway::SwitchWorked, cures.worked),
        (GoesAway::Tapped, cures.tapped),
        (GoesAway::WarmedUp, cures.warmed),
        (GoesAway::MeterApplied, cures.metered),
    ] {
        p *= one(noted.goes_away.contains(&word), chance);
    }
    let rest = noted.comes_back.iter().any(|c| matches!(c, ComesBack::Overnight | ComesBack::AfterRest));
    p *= one(rest, cures.rest) * one(noted.comes_back.contains(&ComesBack::WhenTapped), cures.by_tapping);
    p *= one(noted.comes_back.contains(&ComesBack::WhenTurned), cures.by_turning);
    // hum needs no music, whatever it comes from
    let alone = if noted.what == What::Hum { HUM_HEARD } else { cures.in_pauses };
    p * match noted.in_pauses {
        None => 1.0,
        Some(InPauses::Yes) => alone,
        Some(InPauses::No) => 1.0 - alone,
    }
}

/// Probability of one sighting given what there was to hear; cures are those of the fault that is heard there.
#[must_use]
pub fn probability(sighting: &Sighting, effect: &Effect, cures: Option<&Cures>, listener: &Listener) -> f64 {
    let mut p = 1.0;
    for kind in 0..KINDS {
        let heard = of_kind(kind, effect, sighting.least_residue, listener);
        let mut any = false;
        for noted in sighting.noted.iter().filter(|n| kind_of(n.what) == Some(kind)) {
            p *= as_noted(noted, heard, effect);
            any = true;
        }
        if !any {
            let written = if sighting.is_clean() { 1.0 } else { 1.0 - listener.unwritten };
            p *= 1.0 - written * heard.any;
        }
    }
    if let Some(cures) = cures {
        for noted in &sighting.noted {
            p *= cured(noted, cures, listener.tried);
        }
    }
    p
}

/// Chance of what makes a symptom go and come, and of the figures that were measured, if the cause is nothing in the sheet: as
/// large as the fault of a stage may be.
fn by_chance(noted: &Noted, tried: f64) -> f64 {
    const LEAST: f64 = 1e-3;
    let residue = noted.residue.map_or(1.0, |range| log_share(known_residue(range), FAULT_RESIDUE).max(LEAST));
    let of_loss = |(low, high): (f64, f64)| log_share((low.max(1e-3), high), (FAULT_LOSS_DB.0, SILENT_DB)).max(LEAST);
    let loss = noted.loss_db.map_or(1.0, |range| of_loss(known_loss_db(range)));
    residue * loss * cured(noted, &Cures::BY_CHANCE, tried)
}

/// Probability of one sighting if the cause is nothing in the sheet: it may be on the route or not.
#[must_use]
pub fn if_something_else(sighting: &Sighting, tried: f64) -> f64 {
    const ON_THE_ROUTE: f64 = 0.5;
    // one of about six symptoms, slight or plain, or measured within some range
    if sighting.is_clean() {
        return 1.0 - ON_THE_ROUTE;
    }
    let one = |noted: &Noted| 0.15 * by_chance(noted, tried);
    ON_THE_ROUTE * sighting.noted.iter().map(one).product::<f64>()
}

/// Probability of all sightings if the cause is nothing in the sheet: one fault sounds alike on every route that it reaches.
#[must_use]
pub fn all_if_something_else(sightings: &[Sighting], tried: f64) -> f64 {
    const ONE_OF_SIX: f64 = 1.0 / 6.0;
    const ANOTHER_SOUND: f64 = 0.02;
    let mut kinds: Vec<usize> = sightings.iter().flat_map(|s| &s.noted).filter_map(|n| kind_of(n.what)).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let more = kinds.len().saturating_sub(1) as i32;
    // slight or plain
    let one = |noted: &Noted| 0.5 * by_chance(noted, tried);
    let each: f64 = sightings.iter().map(|s| 0.5 * s.noted.iter().map(one).product::<f64>()).product();
    each * if kinds.is_empty() { 1.0 } else { ONE_OF_SIX } * ANOTHER_SOUND.powi(more)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEAST: f64 = 6.8e-5;

    fn sighting(noted: Vec<Noted>) -> Sighting {
        Sighting { route: "disc".into(), line: 1, least_residue: LEAST, noted, on: Vec::new() }
    }

    fn noted(what: What, strength: Strength) -> Noted {
        Noted {
            what,
            strength,
            residue: None,
            loss_db: None,
            goes_away: vec![],
            comes_back: vec![],
            in_pauses: None,
            line: 1,
        }
    }

    fn grit(size: f64) -> Effect {
        Effect { grit: size, ..Effect::default() }
    }

    #[test]
    fn what_is_written_sums_to_one() {
        // every way to write down one kind: clean, slight, plain
        let listener = Listener { unwritten: 0.0, ..Listener::new(0.3, &Priors::default()) };
        for size in [1e-6, 3e-4, 2e-3, 7e-3, 0.1] {
            let ways = [vec![], vec![noted(What::Grit, Strength::Slight)], vec![noted(What::Grit, Strength::Plain)]];
            let sum: f64 = ways.into_iter().map(|w| probability(&sighting(w), &grit(size), None, &listener)).sum();
            assert!((sum - 1.0).abs() < 1e-12, "{size} {sum}");
        }
    }

    #[test]
    fn two_sided_and_never_below_what_an_ear_could_notice() {
        let listener = Listener::new(0.0, &Priors::default());
        let of = |w: Vec<Noted>, effect: &Effect| probability(&sighting(w), effect, None, &listener);
        let slight = || vec![noted(What::Grit, Strength::Slight)];
        assert_eq!(of(slight(), &grit(0.99 * LEAST)), 0.0);
        assert!(of(slight(), &grit(2e-3)) > 0.9 && of(slight(), &grit(0.2)) < 1e-6);
        // grit alone was noted: a loss of 12 dB beside it would have been
        let both = Effect { loss_db: 12.0, ..grit(2e-3) };
        assert!(of(slight(), &both) < 0.25 * of(slight(), &grit(2e-3)));
        assert!(of(vec![], &grit(1e-5)) > 0.99 && of(vec![], &grit(0.1)) < 1e-6);
        // the dull ear hears less
        let dull = Listener::new(3.0, &Priors::default());
        assert!(probability(&sighting(slight()), &grit(2e-3), None, &dull) < 1e-3);
    }

    #[test]
    fn a_measured_residue_is_a_window() {
        let listener = Listener::new(0.0, &Priors::default());
        let one = Noted { residue: Some((0.008, 0.012)), ..noted(What::Grit, Strength::Plain) };
        let of = |size: f64| probability(&sighting(vec![one.clone()]), &grit(size), None, &listener);
        assert!(of(0.01) > 0.7 && of(0.02) < 0.01 && of(0.004) < 0.01);
    }
}

#[cfg(test)]
mod cured_by_word;
