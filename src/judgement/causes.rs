//! One draw: a suspect at fault in one way, with every quantity that its effect depends on.
//!
//! The same resistance goes into the loss, the residue, the readings and how the symptom changes with level. Film priors are
//! those of the bench practice of this project (see [`super::priors`]).

use super::crossover::crossover;
use super::deeds::Deeds;
use super::dice::Dice;
use super::meters::{AVERAGED_ABOVE_PER_S, agreed, averaged_ohm, log_share, readings_if_innocent};
use super::priors::Priors;
use super::rivals::{DIRECT_V, FEEDBACK, QUIESCENT, TRACK_STEP, another_fault, noise, rival_ways};
use super::scene::{Measured, Nature, On, Suspect};
use crate::physics::Film;
use crate::physics::constants::THERMAL_VOLTAGE_V;
use crate::physics::film::heating_voltage_v;
use crate::physics::tunnelling::Barrier;
use crate::response::residue::HEARD_ONE_BY_ONE_PER_S;
use std::f64::consts::SQRT_2;

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
    /// a stage that makes noise of its own
    Noise,
    /// direct voltage that a stage or source puts on the control it drives: a leaky coupling capacitor
    DirectVoltage,
    /// any other fault of a stage, source, loudspeaker, or of a contact that no section describes
    Fault,
}

impl Hypothesis {
    /// How much louder than while listening it was ever played, at most \[assumption\].
    pub const EVER_LOUDER: f64 = 10.0;

    /// Every hypothesis, in the order of this page.
    pub const ALL: [Self; 9] = [
        Self::Ohmic,
        Self::Tunnelling,
        Self::Rectifying,
        Self::Bridged,
        Self::Chatter,
        Self::Crossover,
        Self::Noise,
        Self::DirectVoltage,
        Self::Fault,
    ];

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
            Self::Noise => "noisy",
            Self::DirectVoltage => "direct voltage",
            Self::Fault => "another fault",
        }
    }

    /// Whether it is a way in which what is no contact can be at fault.
    #[must_use]
    pub fn is_rival(self) -> bool {
        matches!(self, Self::Crossover | Self::Noise | Self::DirectVoltage | Self::Fault)
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
            nature => rival_ways(nature, suspect.drives_control, priors),
        }
    }
}

/// Share of the draws that take a resistance from where the readings allow it.
const FROM_READINGS: f64 = 0.85;
/// Changes per second below which a jump is heard as the sound going and coming \[assumption\].
pub const DROPS_BELOW_PER_S: f64 = 1.0;
/// Loss above which nothing else is heard, dB.
pub const SILENT_DB: f64 = 20.0;
/// Rates of a chattering contact, per second \[assumption\].
pub const CHATTER_PER_S: (f64, f64) = (0.03, 3000.0);
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
    /// zero-voltage resistance, ohm; the worse of two for chatter; not a number where there is none
    pub resistance_ohm: f64,
    /// the better one of chatter
    pub low_ohm: f64,
    /// changes per second of chatter
    pub rate_per_s: f64,
    /// share of time at the worse
    pub duty: f64,
    /// which way round a rectifying film lies: 1 or -1
    pub direction: f64,
    /// voltage that breaks the film, V peak
    pub frit_v: f64,
    /// quiescent voltage of an output stage over the thermal one, and its feedback
    pub quiescent: f64,
    /// what feedback divides its residue by
    pub feedback: f64,
    /// direct voltage on what it drives, V
    pub direct_v: f64,
    /// what another fault does
    pub other: Effect,
    /// whether noise of that fault is covered by more signal
    pub covered_when_louder: bool,
}

impl Cause {
    /// Draws one, with the probability of the suspect's readings in its weight.
    #[must_use]
    pub(super) fn draw(
        number: usize,
        suspect: &Suspect,
        hypothesis: Hypothesis,
        place: Option<&Deeds>,
        priors: &Priors,
        stream: &mut Dice<'_>,
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
            direction: 1.0,
            frit_v: stream.log_between(priors.frit_from, priors.frit_to),
            quiescent: f64::NAN,
            feedback: 1.0,
            direct_v: f64::NAN,
            other: Effect::default(),
            covered_when_louder: false,
        };
        match (hypothesis, place) {
            (Hypothesis::Crossover, _) => {
                cause.quiescent = stream.log_between(QUIESCENT.0, QUIESCENT.1);
                cause.feedback = stream.log_between(FEEDBACK.0, FEEDBACK.1);
            }
            (Hypothesis::DirectVoltage, _) => {
                cause.direct_v = stream.log_between(DIRECT_V.0, DIRECT_V.1);
                cause.other.crackle = stream.log_between(TRACK_STEP.0, TRACK_STEP.1);
            }
            (Hypothesis::Noise, _) => cause.other = noise(stream),
            (Hypothesis::Fault, _) | (_, None) => {
                cause.other = another_fault(suspect.nature, stream);
                cause.covered_when_louder = stream.uniform() < 0.5;
            }
            (_, Some(deeds)) => cause.contact(suspect, deeds, priors, stream),
        }
        cause
    }

    fn contact(&mut self, suspect: &Suspect, deeds: &Deeds, priors: &Priors, stream: &mut Dice<'_>) {
        let bad = deeds.bad_ohm();
        if self.hypothesis == Hypothesis::Bridged {
            // the loudest it was ever played sets the bridge
            let peak_v = deeds.open_peak_v * stream.log_between(1.0, Hypothesis::EVER_LOUDER);
            let pinned_v = stream.between(priors.pinned_from, priors.pinned_to);
            if peak_v <= pinned_v.max(self.frit_v) {
                self.weight = 0.0;
            }
            let heating = heating_voltage_v();
            let z = deeds.loop_ohm.norm();
            self.resistance_ohm = heating * (pinned_v / heating).atan() * z / (peak_v - pinned_v).max(1e-3 * peak_v);
            self.film = Film::Bridged { resistance_ohm: self.resistance_ohm };
        } else if self.hypothesis == Hypothesis::Chatter {
            self.jumping(suspect, (bad, deeds.across), stream);
        } else {
            self.resistance(suspect, bad, stream);
            self.film = self.law(priors, stream);
            self.direction = if stream.uniform() < 0.5 { 1.0 } else { -1.0 };
            // a film that the signal had broken would be a bridge
            if self.hypothesis != Hypothesis::Ohmic && deeds.across_v(self.resistance_ohm) > self.frit_v {
                self.weight = 0.0;
            }
        }
        self.readings = self.readings_if_guilty(suspect, deeds) / readings_if_innocent(suspect, priors);
        self.weight *= self.readings;
    }

    /// Chatter: a rate, a share of the time, and two resistances, mostly such that a dry meter shows the mean that was read.
    fn jumping(&mut self, suspect: &Suspect, (bad, across): ((f64, f64), bool), stream: &mut Dice<'_>) {
        const ROUNDS: usize = 32;
        self.rate_per_s = stream.log_between(CHATTER_PER_S.0, CHATTER_PER_S.1);
        self.duty = stream.between(0.1, 0.9);
        let (low_at, least) = (stream.uniform(), bad.0.min(0.5 * suspect.usual_ohm));
        let duty = self.duty;
        let low_of = |high: f64| {
            let from = least.min(0.5 * high);
            if across { bad.1 } else { from * (high / from).powf(low_at) }
        };
        let averages = self.rate_per_s >= AVERAGED_ABOVE_PER_S && !across;
        let read = suspect.readings.iter().find(|r| averages && r.dry && !r.moved && !r.wandered);
        let mean = |high: f64, r: &Measured| averaged_ohm((low_of(high), high), duty, r);
        let range = read
            .map(|r| (r, r.low_ohm.max(mean(bad.0, r)), r.high_ohm.min(mean(bad.1, r))))
            .filter(|(_, from, to)| *to > *from * 1.000_001);
        self.resistance_ohm = stream.log_between(bad.0, bad.1);
        if let Some((r, from, to)) = range {
            if stream.uniform() < FROM_READINGS {
                let target = stream.log_between(from, to);
                let (mut low, mut high) = (bad.0.ln(), bad.1.ln());
                for _ in 0..ROUNDS {
                    let middle = 0.5 * (low + high);
                    if mean(middle.exp(), r) < target {
                        low = middle;
                    } else {
                        high = middle;
                    }
                }
                self.resistance_ohm = (0.5 * (low + high)).exp();
            }
            // density of the logarithm of the larger resistance over its prior, by the slope of what is shown
            const STEP: f64 = 1e-4;
            let at = self.resistance_ohm;
            let shown = mean(at, r);
            let slope = (mean(at * (1.0 + STEP), r) / shown).ln() / STEP.ln_1p();
            let inside = shown >= from && shown <= to;
            let density = if inside { slope * (bad.1 / bad.0).ln() / (to / from).ln() } else { 0.0 };
            self.weight /= (1.0 - FROM_READINGS) + FROM_READINGS * density;
        }
        self.low_ohm = low_of(self.resistance_ohm);
        self.film = Film::Ohmic { resistance_ohm: self.resistance_ohm };
    }

    /// Resistance from where the readings allow it, mostly; the weight is prior over proposal.
    fn resistance(&mut self, suspect: &Suspect, bad: (f64, f64), stream: &mut Dice<'_>) {
        let range = agreed(&suspect.readings)
            .or_else(|| suspect.readings.iter().find(|r| r.dry).map(|r| (r.low_ohm, r.high_ohm)));
        // a meter shows a chord: at the 20 mV of a dry one, two thirds to one and a half of a film at rest
        let grown = if self.hypothesis == Hypothesis::Ohmic { 1.0 } else { 1.5 };
        let range = range
            .map(|(low, high)| ((low / grown).max(bad.0), (high * grown).min(bad.1)))
            .filter(|r| r.1 > r.0 * 1.000_001);
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

    fn law(&self, priors: &Priors, stream: &mut Dice<'_>) -> Film {
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

    /// What is heard of it on a route.
    #[must_use]
    pub fn effect(&self, suspect: &Suspect, on: &On) -> Effect {
        match (self.hypothesis, &on.deeds) {
            (Hypothesis::Crossover, _) => {
                let open = crossover().residue(self.quiescent, SQRT_2 * on.level_v);
                Effect { grit: open / self.feedback, ..Effect::default() }
            }
            // steps of the track carry the direct voltage into the signal
            (Hypothesis::DirectVoltage, _) => {
                Effect { crackle: self.other.crackle * self.direct_v / on.level_v.max(1e-9), ..Effect::default() }
            }
            (Hypothesis::Fault | Hypothesis::Noise, _) | (_, None) => self.other,
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
}
