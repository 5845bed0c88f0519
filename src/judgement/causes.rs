//! One draw: a suspect at fault in one way, with every quantity that its effect depends on.
//!
//! The same resistance goes into the loss, the residue, the readings and how the symptom changes with level. Film priors are
//! those of the bench practice of this project (see [`super::priors`]).

use super::deeds::Deeds;
use super::priors::Priors;
use super::scene::{Measured, Nature, On, Suspect};
use super::uncertainty::Stream;
use super::uncertainty::generator::normal_cdf;
use crate::circuit::amplifier::ClassAb;
use crate::physics::Film;
use crate::physics::constants::THERMAL_VOLTAGE_V;
use crate::physics::film::heating_voltage_v;
use crate::physics::loaded::Loaded;
use crate::physics::tunnelling::Barrier;
use crate::response::residue::HEARD_ONE_BY_ONE_PER_S;
use std::f64::consts::SQRT_2;
use std::sync::OnceLock;

/// In what way a suspect is at fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Hypothesis {
    /// a plain resistance
    Ohmic,
    /// a film that tunnels or hops
    Tunnelling,
    /// a film that rectifies
    Rectifying,
    /// a film that the signal has broken: a heated metal bridge
    Bridged,
    /// a contact that jumps between resistances
    Chatter,
    /// an output stage with too little bias
    Crossover,
    /// any other fault of a stage, source, loudspeaker, or of a contact that no section describes
    Fault,
}

impl Hypothesis {
    /// Every hypothesis, in the order of this page.
    pub const ALL: [Self; 7] =
        [Self::Ohmic, Self::Tunnelling, Self::Rectifying, Self::Bridged, Self::Chatter, Self::Crossover, Self::Fault];

    /// The words for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Ohmic => "ohmic",
            Self::Tunnelling => "tunnelling",
            Self::Rectifying => "rectifying",
            Self::Bridged => "bridged",
            Self::Chatter => "chatter",
            Self::Crossover => "under-biased",
            Self::Fault => "another fault",
        }
    }

    /// The hypotheses of a suspect with their shares.
    #[must_use]
    pub fn of(suspect: &Suspect, priors: &Priors) -> Vec<(Self, f64)> {
        match suspect.nature {
            Nature::Contact => {
                let steady = 1.0 - priors.chatter - priors.bridged;
                vec![
                    (Self::Ohmic, steady * suspect.laws[0]),
                    (Self::Tunnelling, steady * suspect.laws[1]),
                    (Self::Rectifying, steady * suspect.laws[2]),
                    (Self::Bridged, priors.bridged),
                    (Self::Chatter, priors.chatter),
                ]
            }
            Nature::PowerStage => vec![(Self::Crossover, CROSSOVER_SHARE), (Self::Fault, 1.0 - CROSSOVER_SHARE)],
            _ => vec![(Self::Fault, 1.0)],
        }
    }
}

/// Share of faults of an output stage that are too little bias \[assumption\].
pub const CROSSOVER_SHARE: f64 = 0.6;
/// How much louder "turned up" is \[assumption\]: 12 dB.
pub const TURNED_UP: f64 = 4.0;
/// Changes per second below which a jump is heard as the sound going and coming \[assumption\].
pub const DROPS_BELOW_PER_S: f64 = 1.0;
/// Loss above which nothing else is heard, dB.
pub const SILENT_DB: f64 = 20.0;
/// Rates of a chattering contact, per second \[assumption\].
pub const CHATTER_PER_S: (f64, f64) = (0.03, 3000.0);
/// Residue of a fault that is no contact, ratio, and its loss, dB \[assumption\].
pub const FAULT_RESIDUE: (f64, f64) = (1e-4, 0.1);
/// See [`FAULT_RESIDUE`].
pub const FAULT_LOSS_DB: (f64, f64) = (0.5, 40.0);
/// Voltage across each emitter circuit over the thermal voltage, of an under-biased stage, and what feedback divides the
/// residue by \[assumption\].
pub const QUIESCENT: (f64, f64) = (0.02, 1.0);
/// See [`QUIESCENT`].
pub const FEEDBACK: (f64, f64) = (3.0, 100.0);

/// What is heard of a fault.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Effect {
    /// steady residue over the tone
    pub grit: f64,
    /// size of single cracks over the tone
    pub crackle: f64,
    /// steady loss, dB
    pub loss_db: f64,
    /// loss that comes and goes, dB
    pub drops_db: f64,
    /// treble lost, dB
    pub dull_db: f64,
    /// whether it hums
    pub hum: bool,
}

impl Effect {
    /// Two faults at once.
    #[must_use]
    pub fn with(self, other: Self) -> Self {
        Self {
            grit: self.grit.hypot(other.grit),
            crackle: self.crackle.hypot(other.crackle),
            loss_db: self.loss_db + other.loss_db,
            drops_db: self.drops_db.max(other.drops_db),
            dull_db: self.dull_db + other.dull_db,
            hum: self.hum || other.hum,
        }
    }
}

/// One draw of one fault.
#[derive(Debug, Clone, Copy)]
pub struct Cause {
    /// number of the suspect
    pub suspect: usize,
    /// in what way
    pub hypothesis: Hypothesis,
    /// prior density over that of the proposal, times what the readings say
    pub weight: f64,
    /// the readings' part of it
    pub readings: f64,
    /// film in force, for a contact
    pub film: Film,
    /// zero-voltage resistance, ohm; the larger of two for chatter; not a number where there is none
    pub resistance_ohm: f64,
    /// the smaller one of chatter
    pub low_ohm: f64,
    /// changes per second of chatter
    pub rate_per_s: f64,
    /// share of time at the larger
    pub duty: f64,
    /// voltage that breaks the film, V peak
    pub frit_v: f64,
    /// quiescent voltage of an output stage over the thermal one, and its feedback
    pub quiescent: f64,
    /// what feedback divides its residue by
    pub feedback: f64,
    /// what another fault does
    pub other: Effect,
    /// whether noise of that fault is covered by more signal
    pub covered_when_louder: bool,
}

/// Chances that a cure works, given who is at fault \[assumption, after common practice\].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cures {
    /// turned up
    pub turned_up: f64,
    /// switch worked
    pub worked: f64,
    /// tapped
    pub tapped: f64,
    /// warmed up
    pub warmed: f64,
    /// after an ohmmeter
    pub metered: f64,
    /// comes back after a night or a rest
    pub rest: f64,
    /// comes when tapped
    pub by_tapping: f64,
}

/// Open-loop residue of an under-biased stage, log-spaced over quiescent and peak voltage.
struct Crossover {
    rows: Vec<f64>,
}

const QUIESCENT_NODES: usize = 9;
const PEAK_NODES: usize = 17;
const PEAK_V: (f64, f64) = (0.02, 50.0);

fn crossover() -> &'static Crossover {
    static TABLE: OnceLock<Crossover> = OnceLock::new();
    TABLE.get_or_init(|| {
        let spaced = |(low, high): (f64, f64), k: usize, n: usize| low * (high / low).powf(k as f64 / (n - 1) as f64);
        let rows = (0..QUIESCENT_NODES)
            .flat_map(|a| (0..PEAK_NODES).map(move |b| (a, b)))
            .map(|(a, b)| {
                let stage = ClassAb {
                    quiescent: spaced(QUIESCENT, a, QUIESCENT_NODES),
                    emitter_ohm: 0.22,
                    load_ohm: 8.0,
                    thermal_v: THERMAL_VOLTAGE_V,
                };
                stage.residue(spaced(PEAK_V, b, PEAK_NODES)).max(1e-12).ln()
            })
            .collect();
        Crossover { rows }
    })
}

impl Crossover {
    fn residue(&self, quiescent: f64, peak_v: f64) -> f64 {
        let place = |x: f64, (low, high): (f64, f64), n: usize| {
            let at = ((x / low).ln() / (high / low).ln() * (n - 1) as f64).clamp(0.0, (n - 1) as f64);
            let k = (at as usize).min(n - 2);
            (k, at - k as f64)
        };
        let (a, s) = place(quiescent, QUIESCENT, QUIESCENT_NODES);
        let (b, t) = place(peak_v, PEAK_V, PEAK_NODES);
        let at = |a: usize, b: usize| self.rows[a * PEAK_NODES + b];
        let row = |a: usize| at(a, b) + t * (at(a, b + 1) - at(a, b));
        (row(a) + s * (row(a + 1) - row(a))).exp()
    }
}

/// Share of a log-uniform range that another range covers.
fn log_share((low, high): (f64, f64), (from, to): (f64, f64)) -> f64 {
    let (low, high) = (low.max(from), high.min(to));
    if high <= low { 0.0 } else { (high / low).ln() / (to / from).ln() }
}

/// Probability that an innocent contact of a kind lies in a range: lognormal about half of what is usual, or worn.
#[must_use]
pub fn innocent_share(suspect: &Suspect, (low, high): (f64, f64), priors: &Priors) -> f64 {
    let usual_ohm = suspect.usual_ohm;
    let cdf = |ohm: f64| {
        if ohm <= 0.0 { 0.0 } else { normal_cdf((ohm / (0.5 * usual_ohm)).ln() / INNOCENT_SPREAD.ln()) }
    };
    let sound = cdf(high) - cdf(low);
    let worn = log_share((low, high), (usual_ohm, suspect.worn_ohm.max(10.0 * usual_ohm)));
    (1.0 - priors.worn_part) * sound + priors.worn_part * worn
}

/// Geometric standard deviation of sound contacts of a kind \[assumption\].
pub const INNOCENT_SPREAD: f64 = 2.0;
/// Changes per second above which a meter shows the mean \[assumption\].
const AVERAGED_ABOVE_PER_S: f64 = 5.0;
/// What a reading that does not fit is worth: it was taken at another moment of a contact that wanders \[assumption\].
const MISFIT: f64 = 1e-3;

/// Where all dry readings at rest agree, ohm; `None` where they do not.
#[must_use]
pub fn agreed(readings: &[Measured]) -> Option<(f64, f64)> {
    let rest = readings.iter().filter(|r| r.dry && !r.moved && !r.wandered);
    let range = rest.fold((0.0, f64::INFINITY), |all: (f64, f64), r| (all.0.max(r.low_ohm), all.1.min(r.high_ohm)));
    (range.0 <= range.1).then_some(range)
}

/// How probable the readings of a contact are if it is innocent.
#[must_use]
pub fn readings_if_innocent(suspect: &Suspect, priors: &Priors) -> f64 {
    let share = |range| innocent_share(suspect, range, priors);
    let mut p = agreed(&suspect.readings).map_or(MISFIT, share);
    for r in &suspect.readings {
        if !r.dry {
            p *= share((r.low_ohm, r.high_ohm)).max(MISFIT);
        } else if r.moved || r.wandered {
            p *= share((r.low_ohm, r.high_ohm)) * if swings(r) { 0.05 } else { 0.95 };
        }
    }
    p.max(1e-6)
}

/// Whether a reading shows that the contact jumps: it reached three times its least, the meter's width taken off.
fn swings(r: &Measured) -> bool {
    r.wandered && r.reached_ohm > 3.0 * r.low_ohm.max(1e-3)
}

impl Cause {
    /// Draws one, with the probability of the suspect's readings in its weight.
    #[must_use]
    pub fn draw(
        number: usize,
        suspect: &Suspect,
        hypothesis: Hypothesis,
        place: Option<&Deeds>,
        priors: &Priors,
        stream: &mut Stream,
    ) -> Self {
        let mut cause = Self {
            suspect: number,
            hypothesis,
            weight: 1.0,
            readings: 1.0,
            film: Film::Ohmic { resistance_ohm: 0.0 },
            resistance_ohm: f64::NAN,
            low_ohm: 0.0,
            rate_per_s: 0.0,
            duty: 0.5,
            frit_v: stream.log_between(priors.frit_from, priors.frit_to),
            quiescent: f64::NAN,
            feedback: 1.0,
            other: Effect::default(),
            covered_when_louder: false,
        };
        match (hypothesis, place) {
            (Hypothesis::Crossover, _) => {
                cause.quiescent = stream.log_between(QUIESCENT.0, QUIESCENT.1);
                cause.feedback = stream.log_between(FEEDBACK.0, FEEDBACK.1);
            }
            (Hypothesis::Fault, _) | (_, None) => {
                cause.other = another_fault(suspect.nature, stream);
                cause.covered_when_louder = stream.uniform() < 0.5;
            }
            (_, Some(deeds)) => cause.contact(suspect, deeds, priors, stream),
        }
        cause
    }

    fn contact(&mut self, suspect: &Suspect, deeds: &Deeds, priors: &Priors, stream: &mut Stream) {
        let bad = deeds.bad_ohm();
        if self.hypothesis == Hypothesis::Bridged {
            // the loudest it was ever played sets the bridge
            let peak_v = deeds.open_peak_v * stream.log_between(1.0, 10.0);
            let pinned_v = stream.between(priors.pinned_from, priors.pinned_to);
            if peak_v <= pinned_v.max(self.frit_v) {
                self.weight = 0.0;
            }
            let heating = heating_voltage_v();
            let z = deeds.loop_ohm.norm();
            self.resistance_ohm = heating * (pinned_v / heating).atan() * z / (peak_v - pinned_v).max(1e-3 * peak_v);
            self.film = Film::Bridged { resistance_ohm: self.resistance_ohm };
        } else {
            self.resistance(suspect, bad, stream);
            self.film = self.law(priors, stream);
        }
        if self.hypothesis == Hypothesis::Chatter {
            let (low, high) = (bad.0.min(suspect.usual_ohm * 0.5), self.resistance_ohm);
            self.low_ohm = if deeds.across { bad.1 } else { stream.log_between(low.min(0.5 * high), high) };
            self.rate_per_s = stream.log_between(CHATTER_PER_S.0, CHATTER_PER_S.1);
            self.duty = stream.between(0.1, 0.9);
        } else if self.hypothesis != Hypothesis::Bridged {
            // a film that the signal had broken would be a bridge
            let across = deeds.open_peak_v * (1.0 - deeds.passes(self.resistance_ohm, false).norm());
            if self.film != (Film::Ohmic { resistance_ohm: self.resistance_ohm }) && across > self.frit_v {
                self.weight = 0.0;
            }
        }
        self.readings = self.readings_if_guilty(suspect, deeds) / readings_if_innocent(suspect, priors);
        self.weight *= self.readings;
    }

    /// Resistance from where the readings allow it, mostly; the weight is prior over proposal.
    fn resistance(&mut self, suspect: &Suspect, bad: (f64, f64), stream: &mut Stream) {
        const FROM_READINGS: f64 = 0.85;
        let range = match self.hypothesis {
            Hypothesis::Chatter => None,
            _ => agreed(&suspect.readings)
                .or_else(|| suspect.readings.iter().find(|r| r.dry).map(|r| (r.low_ohm, r.high_ohm))),
        };
        let range = range.map(|(low, high)| (low.max(bad.0), high.min(bad.1))).filter(|r| r.1 > r.0 * 1.000_001);
        let share = range.map_or(1.0, |range| log_share(range, bad));
        match range {
            Some((low, high)) if stream.uniform() < FROM_READINGS => {
                self.resistance_ohm = stream.log_between(low, high)
            }
            _ => self.resistance_ohm = stream.log_between(bad.0, bad.1),
        }
        if let Some((low, high)) = range {
            let inside = self.resistance_ohm >= low && self.resistance_ohm <= high;
            let proposal = (1.0 - FROM_READINGS) + if inside { FROM_READINGS / share } else { 0.0 };
            self.weight /= proposal;
        }
    }

    fn law(&self, priors: &Priors, stream: &mut Stream) -> Film {
        let resistance_ohm = self.resistance_ohm;
        match self.hypothesis {
            Hypothesis::Tunnelling => {
                let scale_v = if stream.uniform() < priors.hopping {
                    let spread = priors.hopping_spread.ln() * stream.normal();
                    (priors.hopping_v * spread.exp()).max(THERMAL_VOLTAGE_V)
                } else {
                    let height = stream.between(priors.barrier_from, priors.barrier_to);
                    let area = stream.log_between(priors.area_from, priors.area_to);
                    let film = Barrier::from_area_resistance(height, resistance_ohm * area).and_then(|b| b.film(area));
                    match film {
                        Ok(Film::Tunnelling { scale_v, .. }) if scale_v.is_finite() => scale_v,
                        // thinner than the equations hold for: the upper end of what readable ohms give
                        _ => 1.9,
                    }
                };
                Film::Tunnelling { resistance_ohm, scale_v }
            }
            Hypothesis::Rectifying => Film::Rectifying {
                resistance_ohm,
                ideality: stream.between(priors.ideality_from, priors.ideality_to),
                leak_ratio: stream.log_between(priors.leak_from, priors.leak_to),
            },
            _ => Film::Ohmic { resistance_ohm },
        }
    }

    /// How probable the suspect's readings are under this draw.
    fn readings_if_guilty(&self, suspect: &Suspect, deeds: &Deeds) -> f64 {
        let mut p = 1.0;
        let chatters = self.hypothesis == Hypothesis::Chatter;
        let within = |ohm: f64, r: &Measured| ohm >= r.low_ohm && ohm <= r.high_ohm;
        for r in &suspect.readings {
            p *= if chatters {
                if r.moved || r.wandered {
                    let reaches = self.resistance_ohm >= r.reached_ohm && self.low_ohm <= r.high_ohm;
                    let told = if swings(r) { 0.6 } else { 0.4 };
                    // how far it was seen to swing, of how far it can
                    let seen = log_share(
                        (r.low_ohm.max(1e-9), r.high_ohm),
                        (self.low_ohm.max(1e-9), self.resistance_ohm.max(1.001e-9)),
                    );
                    if reaches { told * (0.2 + 0.8 * seen) } else { MISFIT }
                } else if r.dry && self.rate_per_s >= AVERAGED_ABOVE_PER_S {
                    if within(self.averaged_ohm(r), r) { 1.0 } else { MISFIT }
                } else if r.dry {
                    log_share(
                        (r.low_ohm.max(1e-9), r.high_ohm),
                        (0.8 * self.low_ohm.max(1e-9), 1.25 * self.resistance_ohm.max(1.001e-9)),
                    )
                    .max(MISFIT)
                } else {
                    log_share((r.low_ohm.max(1e-9), r.high_ohm), (1e-2, (1.25 * self.resistance_ohm).max(0.02)))
                        .max(MISFIT)
                }
            } else if r.moved || r.wandered {
                // another spot of the same film
                let told = if swings(r) { 0.3 } else { 0.7 };
                let near = (r.low_ohm / 10.0 <= self.resistance_ohm) && (self.resistance_ohm <= 10.0 * r.high_ohm);
                told * if near {
                    log_share(
                        (r.low_ohm.max(1e-9), r.high_ohm),
                        (0.1 * self.resistance_ohm, 10.0 * self.resistance_ohm),
                    )
                    .max(0.01)
                } else {
                    MISFIT
                }
            } else if r.at_signal {
                let seen = deeds.ohm_of_loss(deeds.of(&self.film).loss_db);
                if within(seen, r) { 1.0 } else { MISFIT }
            } else if r.dry {
                if within(self.resistance_ohm, r) { 1.0 } else { MISFIT }
            } else {
                self.by_a_meter_that_may_break_it(r)
            };
        }
        p
    }

    /// What a meter shows of a contact that jumps faster than it looks: the mean voltage, as ohms.
    fn averaged_ohm(&self, r: &Measured) -> f64 {
        let (low, high) = (self.low_ohm, self.resistance_ohm);
        let Some(front) = r.open_v.zip(r.current_a).map(|(v, a)| v / a).filter(|_| !r.at_signal) else {
            return self.duty * high + (1.0 - self.duty) * low;
        };
        let share = |ohm: f64| ohm / (ohm + front);
        let mean = self.duty * share(high) + (1.0 - self.duty) * share(low);
        front * mean / (1.0 - mean).max(1e-12)
    }

    /// A meter with more voltage than the signal: the film stands it and shows its chord, or breaks and shows a bridge.
    fn by_a_meter_that_may_break_it(&self, r: &Measured) -> f64 {
        let open_v = r.open_v.unwrap_or(3.0);
        let front = r.current_a.map_or(0.0, |a| open_v / a);
        let ohm = self.resistance_ohm;
        let loaded = Loaded::new(&self.film, front);
        let (across_v, chord) = match &loaded {
            Some(film) if front > 0.0 => {
                let v = film.film_voltage_v(open_v, open_v * ohm / (ohm + front));
                (v, film.chord_ohm(v))
            }
            _ => (open_v * ohm / (ohm + front).max(1e-12), ohm),
        };
        if loaded.is_none() || across_v < self.frit_v {
            return if chord >= r.low_ohm && chord <= r.high_ohm { 1.0 } else { MISFIT };
        }
        let shown = (r.low_ohm, r.high_ohm.min(1e9));
        let wiped = log_share((shown.0.max(1e-3), shown.1), (1e-2, ohm.max(0.02)));
        let pinned = r.current_a.map_or(wiped, |a| {
            let (from, to) = (0.1 / a, 0.45 / a);
            ((shown.1.min(to) - shown.0.max(from)) / (to - from)).max(0.0)
        });
        (0.5 * wiped + 0.5 * pinned).max(MISFIT)
    }

    /// What is heard of it on a route.
    #[must_use]
    pub fn effect(&self, suspect: &Suspect, on: &On) -> Effect {
        match (self.hypothesis, &on.deeds) {
            (Hypothesis::Crossover, _) => {
                let open = crossover().residue(self.quiescent, SQRT_2 * on.level_v);
                Effect { grit: open / self.feedback, ..Effect::default() }
            }
            (Hypothesis::Fault, _) | (_, None) => self.other,
            (Hypothesis::Chatter, Some(deeds)) => {
                let (worse, better) =
                    (deeds.passes(self.resistance_ohm, false), deeds.passes(self.low_ohm.max(1e-12), false));
                let mean = worse * self.duty + better * (1.0 - self.duty);
                let step = (better - worse).norm() / mean.norm().max(1e-12);
                let residue = step * (self.duty * (1.0 - self.duty)).sqrt();
                let loss = |x: f64| -20.0 * x.max(1e-15).log10();
                if self.rate_per_s >= HEARD_ONE_BY_ONE_PER_S {
                    Effect { grit: residue, loss_db: loss(mean.norm()), ..Effect::default() }
                } else if self.rate_per_s >= DROPS_BELOW_PER_S {
                    Effect { crackle: residue, ..Effect::default() }
                } else {
                    let drops_db = loss(worse.norm()) - loss(better.norm());
                    Effect { crackle: 0.3 * residue, drops_db, ..Effect::default() }
                }
            }
            (_, Some(deeds)) => {
                let found = deeds.of(&self.film);
                let dull_db = deeds.dull_db(self.resistance_ohm).max(0.0);
                let hum = suspect.in_return && deeds.loss_db(self.resistance_ohm) > 0.05;
                Effect { grit: found.residue, loss_db: found.loss_db, dull_db, hum, ..Effect::default() }
            }
        }
    }

    /// Chances that each cure works, on a route.
    #[must_use]
    pub fn cures(&self, suspect: &Suspect, on: &On) -> Cures {
        let none = Cures {
            turned_up: 0.03,
            worked: 0.03,
            tapped: 0.05,
            warmed: 0.1,
            metered: 0.02,
            rest: 0.05,
            by_tapping: 0.05,
        };
        let worked = if suspect.workable { 0.6 } else { 0.05 };
        let louder = if on.follows_hand { TURNED_UP } else { 1.0 };
        match (self.hypothesis, &on.deeds) {
            (Hypothesis::Crossover, _) => {
                let peak = SQRT_2 * on.level_v;
                let table = crossover();
                let falls = table.residue(self.quiescent, TURNED_UP * peak) < 0.5 * table.residue(self.quiescent, peak);
                Cures { turned_up: if falls { 0.7 } else { 0.05 }, warmed: 0.3, ..none }
            }
            (Hypothesis::Fault, _) | (_, None) => {
                let covered = self.covered_when_louder && louder > 1.0 && self.other.grit > 0.0;
                Cures { turned_up: if covered { 0.4 } else { 0.03 }, tapped: 0.1, ..none }
            }
            (Hypothesis::Chatter, Some(deeds)) => {
                let breaks = deeds.open_peak_v * louder > self.frit_v && louder > 1.0;
                let turned_up = if breaks { 0.2 } else { 0.03 };
                Cures { turned_up, worked, tapped: 0.4, warmed: 0.1, metered: 0.2, rest: 0.2, by_tapping: 0.5 }
            }
            (Hypothesis::Bridged, _) => Cures { worked, rest: 0.3, ..none },
            (_, Some(deeds)) => {
                let across = deeds.open_peak_v * (1.0 - deeds.passes(self.resistance_ohm, false).norm());
                let breaks = louder > 1.0 && louder * across > self.frit_v;
                let film = self.hypothesis != Hypothesis::Ohmic;
                Cures {
                    turned_up: if breaks && film { 0.7 } else { 0.03 },
                    worked,
                    tapped: 0.15,
                    warmed: 0.1,
                    metered: if film && suspect.readings.iter().any(|r| !r.dry) { 0.6 } else { 0.02 },
                    rest: if film { 0.5 } else { 0.1 },
                    by_tapping: 0.1,
                }
            }
        }
    }
}

/// Shares of what another fault sounds like, by nature: grit, crackle, quieter, comes and goes, dull, hum, dead \[assumption\].
#[must_use]
pub fn fault_shares(nature: Nature) -> [f64; 7] {
    match nature {
        Nature::Source => [0.25, 0.15, 0.20, 0.10, 0.15, 0.10, 0.05],
        Nature::Loudspeaker => [0.40, 0.05, 0.15, 0.10, 0.15, 0.0, 0.15],
        Nature::PowerStage => [0.25, 0.20, 0.05, 0.10, 0.05, 0.20, 0.15],
        _ => [0.30, 0.30, 0.10, 0.05, 0.05, 0.15, 0.05],
    }
}

fn another_fault(nature: Nature, stream: &mut Stream) -> Effect {
    let shares = fault_shares(nature);
    let mut u = stream.uniform();
    let mut which = 0;
    for (k, share) in shares.iter().enumerate() {
        which = k;
        if u < *share {
            break;
        }
        u -= share;
    }
    let residue = stream.log_between(FAULT_RESIDUE.0, FAULT_RESIDUE.1);
    let loss_db = stream.log_between(FAULT_LOSS_DB.0, FAULT_LOSS_DB.1);
    let none = Effect::default();
    match which {
        0 => Effect { grit: residue, ..none },
        1 => Effect { crackle: residue, ..none },
        2 => Effect { loss_db: loss_db.min(SILENT_DB), ..none },
        3 => Effect { drops_db: loss_db, ..none },
        4 => Effect { dull_db: loss_db, ..none },
        5 => Effect { hum: true, ..none },
        _ => Effect { loss_db: 2.0 * SILENT_DB, ..none },
    }
}
