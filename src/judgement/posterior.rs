//! From evidence to probability: draws of every suspect in every way it can be at fault, each weighted by how probable it makes
//! all that was heard, read and bridged.
//!
//! `P(h | evidence) = pi_h Z_h / sum pi Z`, `Z_h` the mean weight of the draws of `h` (importance sampling, each hypothesis a
//! stratum with the same number of draws). Its Monte Carlo error follows from the variance of the weights. Two faults are one
//! more stratum. Where both channels are bad, one shared cause is weighed against two: the channels' evidence multiplies.
//! What a theorem excludes as sole cause has no probability as one: probability never overrides a proof.

use super::causes::{Cause, Cures, Effect, Hypothesis};
use super::listener::{Listener, SLIP, all_if_something_else, if_something_else, probability};
use super::priors::Priors;
use super::scene::{ChannelScene, Nature, Scene, Suspect};
use super::uncertainty::Stream;
use super::uncertainty::generator::normal_quantile;
use super::uncertainty::monte_carlo::blocks;
use crate::bench::Then;
use crate::error::InputError;
use crate::watch::Watch;

/// Draws of one stream.
const CHUNK: usize = 1000;
/// Bins of the listener's keenness, of equal prior probability.
const BINS: usize = 5;
/// Share of the draws that go to two faults.
const SHARE_OF_PAIRS: f64 = 0.3;
/// Two pieces of evidence clash where together they are this much less probable than apart.
const CLASH: f64 = 0.03;

/// One draw, for whoever wants to see them all.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Draw {
    /// suspect, by number on its channel; the second of two faults, or itself
    pub suspect: (usize, usize),
    /// in what way, of the first
    pub hypothesis: Hypothesis,
    /// zero-voltage resistance, ohm; not a number for what is no contact
    pub resistance_ohm: f64,
    /// listener's keenness, standard deviations duller than the median
    pub keenness: f64,
    /// breakdown voltage, V
    pub frit_v: f64,
    /// residue and loss that it predicts on the first bad route
    pub residue: f64,
    /// dB
    pub loss_db: f64,
    /// weight, of a sum of one over the channel
    pub weight: f64,
}

/// A stratum: one suspect in one way, or two at once.
#[derive(Debug, Clone, Copy)]
struct Stratum {
    suspect: Option<(usize, Hypothesis)>,
    prior: f64,
}

/// Sums over draws.
#[derive(Debug, Clone, Default)]
struct Sums {
    count: f64,
    weight: f64,
    square: f64,
    by_bin: [f64; BINS],
    /// weight by first and second suspect, for two faults
    pairs: Vec<(usize, usize, f64)>,
    /// weight times the chance that each cure works
    cures: [f64; 3],
    /// evidence by itself and two by two, readings last
    single: Vec<f64>,
    double: Vec<f64>,
    base: f64,
    draws: Vec<Draw>,
}

impl Sums {
    fn add(&mut self, other: Self) {
        self.count += other.count;
        self.weight += other.weight;
        self.square += other.square;
        self.base += other.base;
        for (a, b) in self.by_bin.iter_mut().zip(other.by_bin) {
            *a += b;
        }
        for (a, b) in self.cures.iter_mut().zip(other.cures) {
            *a += b;
        }
        let join = |a: &mut Vec<f64>, b: Vec<f64>| {
            a.resize(a.len().max(b.len()), 0.0);
            for (a, b) in a.iter_mut().zip(b) {
                *a += b;
            }
        };
        join(&mut self.single, other.single);
        join(&mut self.double, other.double);
        for (a, b, w) in other.pairs {
            match self.pairs.iter_mut().find(|p| p.0 == a && p.1 == b) {
                Some(known) => known.2 += w,
                None => self.pairs.push((a, b, w)),
            }
        }
        self.draws.extend(other.draws);
    }

    fn mean(&self) -> f64 {
        if self.count > 0.0 { self.weight / self.count } else { 0.0 }
    }

    fn variance_of_mean(&self) -> f64 {
        if self.count < 2.0 {
            return 0.0;
        }
        ((self.square / self.count - self.mean().powi(2)).max(0.0)) / (self.count - 1.0)
    }
}

/// Probability of one suspect.
#[derive(Debug, Clone, PartialEq)]
pub struct Belief {
    /// number of the suspect on its channel
    pub suspect: usize,
    /// that it is at fault, alone or with another
    pub probability: f64,
    /// standard error from the number of draws
    pub error: f64,
    /// of that, way by way, alone
    pub by_hypothesis: Vec<(Hypothesis, f64)>,
    /// chance that turning up, working the part, tapping cures it, if it is at fault
    pub cures: [f64; 3],
}

/// An assumption and how far it moves the leader's probability.
#[derive(Debug, Clone, PartialEq)]
pub struct MovedBy {
    /// the assumption
    pub assumption: String,
    /// probability at its ends
    pub from: f64,
    /// the other end
    pub to: f64,
    /// variance of the probability that it brings, of the whole variance p (1 - p)
    pub share: f64,
}

/// What one channel leaves.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelBelief {
    /// most probable first
    pub beliefs: Vec<Belief>,
    /// that it is nothing in the sheet
    pub something_else: f64,
    /// its standard error
    pub something_else_error: f64,
    /// that there are two faults
    pub two_faults: f64,
    /// the most probable pair of two faults, with its probability
    pub pair: Option<(usize, usize, f64)>,
    /// what moves the leader most
    pub moved_by: Option<MovedBy>,
    /// numbers of sightings that clash; the number of sightings stands for the readings
    pub clashes: Vec<(usize, usize)>,
    /// the draws, where they were asked for
    pub draws: Vec<Draw>,
}

impl ChannelBelief {
    /// Belief in a suspect.
    #[must_use]
    pub fn of(&self, suspect: usize) -> Option<&Belief> {
        self.beliefs.iter().find(|b| b.suspect == suspect)
    }
}

/// How many draws, from which seed, and whether to keep them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Asked {
    /// draws over both channels
    pub draws: usize,
    /// seed
    pub seed: u64,
    /// whether every draw is wanted
    pub keep: bool,
}

/// A channel's strata with what came out.
struct Weighed {
    strata: Vec<Stratum>,
    sums: Vec<Sums>,
    else_prior: f64,
    else_evidence: f64,
}

fn strata(scene: &ChannelScene, priors: &Priors) -> Vec<Stratum> {
    let mut found = Vec::new();
    let two = if scene.could_be_two() && scene.on_bad_routes().len() > 1 { priors.two_faults } else { 0.0 };
    for number in scene.on_bad_routes() {
        let suspect = &scene.suspects[number];
        for (hypothesis, share) in Hypothesis::of(suspect, priors) {
            let prior = suspect.prior * share * (1.0 - two);
            let excluded = suspect.cannot_be_sole && !(suspect.proved_at_rest && hypothesis == Hypothesis::Chatter);
            if prior > 0.0 && !excluded {
                found.push(Stratum { suspect: Some((number, hypothesis)), prior });
            }
        }
    }
    if two > 0.0 {
        let all: f64 = scene.on_bad_routes().iter().map(|&k| scene.suspects[k].prior).sum();
        found.push(Stratum { suspect: None, prior: two * all });
    }
    found
}

/// What a draw is made of.
struct Trial<'s> {
    scene: &'s ChannelScene,
    priors: &'s Priors,
    open: Vec<usize>,
}

impl Trial<'_> {
    fn cause(&self, number: usize, hypothesis: Hypothesis, stream: &mut Stream) -> Cause {
        let suspect = &self.scene.suspects[number];
        let bad = self.scene.sightings.iter().filter(|s| !s.is_clean());
        let place = bad.filter_map(|s| s.on[number].as_ref()).find_map(|on| on.deeds.as_deref());
        Cause::draw(number, suspect, hypothesis, place, self.priors, stream)
    }

    fn any_cause(&self, number: usize, stream: &mut Stream) -> Cause {
        let ways = Hypothesis::of(&self.scene.suspects[number], self.priors);
        let mut u = stream.uniform() * ways.iter().map(|w| w.1).sum::<f64>();
        let mut way = ways[0].0;
        for (hypothesis, share) in ways {
            way = hypothesis;
            if u < share {
                break;
            }
            u -= share;
        }
        self.cause(number, way, stream)
    }

    /// A suspect by its prior.
    fn any_suspect(&self, but: Option<usize>, stream: &mut Stream) -> usize {
        let prior = |k: usize| if Some(k) == but { 0.0 } else { self.scene.suspects[k].prior };
        let mut u = stream.uniform() * self.open.iter().map(|&k| prior(k)).sum::<f64>();
        let mut found = self.open[0];
        for &k in &self.open {
            if prior(k) > 0.0 {
                found = k;
                if u < prior(k) {
                    break;
                }
                u -= prior(k);
            }
        }
        found
    }

    /// Probability of what bridging changed: of every suspect that was bridged.
    fn bridges(&self, at_fault: &[usize]) -> f64 {
        let mut p = 1.0;
        for (number, suspect) in self.scene.suspects.iter().enumerate() {
            for then in &suspect.bridges {
                let guilty = at_fault.contains(&number);
                p *= match (then, guilty, at_fault.len()) {
                    (Then::Clean, true, 1) => 0.95,
                    (Then::Clean, true, _) => 0.05,
                    (Then::Clean, false, _) => 0.003,
                    (Then::Better, true, 1) => 0.04,
                    (Then::Better, true, _) => 0.85,
                    (Then::Better, false, _) => 0.01,
                    (Then::Same, true, _) => 0.01,
                    (Then::Same, false, _) => 0.987,
                };
            }
        }
        p
    }

    fn run(&self, stratum: &Stratum, draws: usize, keep: bool, mut stream: Stream) -> Sums {
        let items = self.scene.sightings.len() + 1;
        let mut sums = Sums { single: vec![0.0; items], double: vec![0.0; items * items], ..Sums::default() };
        let mut each = vec![0.0; items];
        for k in 0..draws {
            // the listener's keenness evenly over its bins
            let bin = k % BINS;
            let keenness = normal_quantile((bin as f64 + stream.uniform()) / BINS as f64);
            let listener = Listener::new(keenness, self.priors);
            let (first, second) = match stratum.suspect {
                Some((number, hypothesis)) => (self.cause(number, hypothesis, &mut stream), None),
                None => {
                    let a = self.any_suspect(None, &mut stream);
                    let b = self.any_suspect(Some(a), &mut stream);
                    (self.any_cause(a, &mut stream), Some(self.any_cause(b, &mut stream)))
                }
            };
            let base = second.as_ref().map_or(1.0, |c| c.weight / c.readings.max(1e-300)) * first.weight
                / first.readings.max(1e-300);
            let readings = first.readings * second.as_ref().map_or(1.0, |c| c.readings);
            let at_fault: Vec<usize> = std::iter::once(first.suspect).chain(second.iter().map(|c| c.suspect)).collect();
            let (mut predicted, mut cured) = (Effect::default(), [0.0; 3]);
            let mut product = if base > 0.0 { base * readings } else { 0.0 };
            if product > 0.0 {
                product *= self.bridges(&at_fault);
                let mut first_bad = true;
                for (at, sighting) in self.scene.sightings.iter().enumerate() {
                    let (effect, cures) = self.on(sighting, &first, second.as_ref());
                    if !sighting.is_clean() && first_bad {
                        predicted = effect;
                        first_bad = false;
                        if let Some(cures) = cures {
                            cured = [cures.turned_up, cures.worked, cures.tapped];
                        }
                    }
                    let p = probability(sighting, &effect, cures.as_ref(), &listener);
                    each[at] = (1.0 - SLIP) * p + SLIP * if_something_else(sighting);
                    product *= each[at];
                }
                each[items - 1] = readings;
                for a in 0..items {
                    sums.single[a] += base * each[a];
                    for b in 0..a {
                        sums.double[a * items + b] += base * each[a] * each[b];
                    }
                }
            }
            sums.base += base;
            sums.count += 1.0;
            sums.weight += product;
            sums.square += product * product;
            sums.by_bin[bin] += product;
            for (sum, cure) in sums.cures.iter_mut().zip(cured) {
                *sum += product * cure;
            }
            if let Some(second) = second {
                let (a, b) = (first.suspect.min(second.suspect), first.suspect.max(second.suspect));
                match sums.pairs.iter_mut().find(|p| p.0 == a && p.1 == b) {
                    Some(known) => known.2 += product,
                    None => sums.pairs.push((a, b, product)),
                }
            }
            if keep {
                sums.draws.push(Draw {
                    suspect: (first.suspect, second.as_ref().map_or(first.suspect, |c| c.suspect)),
                    hypothesis: first.hypothesis,
                    resistance_ohm: first.resistance_ohm,
                    keenness,
                    frit_v: first.frit_v,
                    residue: predicted.grit,
                    loss_db: predicted.loss_db,
                    weight: product,
                });
            }
        }
        sums
    }

    fn on(&self, sighting: &super::scene::Sighting, first: &Cause, second: Option<&Cause>) -> (Effect, Option<Cures>) {
        let one = |cause: &Cause| {
            let suspect = &self.scene.suspects[cause.suspect];
            sighting.on[cause.suspect].as_ref().map(|on| {
                let cures = (!sighting.is_clean()).then(|| cause.cures(suspect, on));
                (cause.effect(suspect, on), cures)
            })
        };
        match (one(first), second.and_then(one)) {
            (Some(a), None) | (None, Some(a)) => a,
            (Some(a), Some(b)) => {
                (a.0.with(b.0), if a.0.grit + a.0.loss_db >= b.0.grit + b.0.loss_db { a.1 } else { b.1 })
            }
            (None, None) => (Effect::default(), None),
        }
    }
}

fn weigh(scene: &ChannelScene, priors: &Priors, asked: Asked, watch: &dyn Watch) -> Result<Weighed, InputError> {
    let strata = strata(scene, priors);
    let pairs = strata.iter().any(|s| s.suspect.is_none());
    let singles = strata.len() - usize::from(pairs);
    let all = asked.draws as f64 * if pairs { 1.0 - SHARE_OF_PAIRS } else { 1.0 };
    let of = |stratum: &Stratum| {
        let share = match stratum.suspect {
            Some(_) => all / singles.max(1) as f64,
            None => asked.draws as f64 * if singles > 0 { SHARE_OF_PAIRS } else { 1.0 },
        };
        // whole bins
        (share as usize).div_ceil(BINS).max(1) * BINS
    };
    let chunks: Vec<(usize, usize, usize)> = strata
        .iter()
        .enumerate()
        .flat_map(|(k, stratum)| {
            let count = of(stratum);
            (0..count.div_ceil(CHUNK)).map(move |c| (k, c, CHUNK.min(count - c * CHUNK)))
        })
        .collect();
    let trial = Trial { scene, priors, open: scene.on_bad_routes() };
    let work = |at: usize| {
        let (k, chunk, count) = chunks[at];
        // the same streams on both channels: what is alike on both is answered alike
        let number = ((k as u64) << 40) | chunk as u64;
        (k, trial.run(&strata[k], count, asked.keep, Stream::new(asked.seed, number)))
    };
    let found = blocks(0, chunks.len(), watch, &work)
        .map_err(|stopped| InputError::new("draws", stopped, "let it run to its end"))?;
    let mut sums = vec![Sums::default(); strata.len()];
    for (k, one) in found {
        sums[k].add(one);
    }
    let else_evidence = all_if_something_else(&scene.sightings) * trial.bridges(&[]);
    Ok(Weighed { strata, sums, else_prior: priors.something_else, else_evidence })
}

/// What the two channels could share: suspects of one body, by number on either.
fn bodies(scene: &Scene) -> Vec<[Vec<usize>; 2]> {
    let of = |channel: &ChannelScene, k: usize| -> Option<String> {
        let suspect: &Suspect = &channel.suspects[k];
        match suspect.nature {
            Nature::Loudspeaker => None,
            Nature::Contact | Nature::Beside => Some(format!("part {}", suspect.part)),
            _ => Some(format!("other {}", suspect.who)),
        }
    };
    let mut found: Vec<(String, [Vec<usize>; 2])> = Vec::new();
    for (side, channel) in scene.channels.iter().enumerate() {
        for k in channel.on_bad_routes() {
            if let Some(name) = of(channel, k) {
                match found.iter_mut().find(|f| f.0 == name) {
                    Some(known) => known.1[side].push(k),
                    None => {
                        let mut sides = [Vec::new(), Vec::new()];
                        sides[side].push(k);
                        found.push((name, sides));
                    }
                }
            }
        }
    }
    found.into_iter().map(|f| f.1).filter(|sides| sides.iter().all(|s| !s.is_empty())).collect()
}

/// Factor on each stratum's prior from the other channel: one shared cause against two.
fn shared_factors(scene: &Scene, weighed: &[Option<Weighed>; 2], side: usize) -> Option<Vec<f64>> {
    let (here, there) = (weighed[side].as_ref()?, weighed[1 - side].as_ref()?);
    let share = scene.priors.shared;
    let bodies = bodies(scene);
    let total: f64 = there.strata.iter().zip(&there.sums).map(|(s, z)| s.prior * z.mean()).sum::<f64>()
        + there.else_prior * there.else_evidence;
    let all_prior: f64 = there.strata.iter().map(|s| s.prior).sum::<f64>() + there.else_prior;
    let apart = total / all_prior;
    let body_mean = |weighed: &Weighed, members: &[usize]| {
        let mine = |s: &&(&Stratum, &Sums)| s.0.suspect.is_some_and(|(k, _)| members.contains(&k));
        let pairs: Vec<(&Stratum, &Sums)> = weighed.strata.iter().zip(&weighed.sums).collect();
        let prior: f64 = pairs.iter().filter(mine).map(|s| s.0.prior).sum();
        let sum: f64 = pairs.iter().filter(mine).map(|s| s.0.prior * s.1.mean()).sum();
        (prior, if prior > 0.0 { sum / prior } else { 0.0 })
    };
    let here_prior: f64 = here.strata.iter().map(|s| s.prior).sum::<f64>() + here.else_prior;
    Some(
        here.strata
            .iter()
            .map(|stratum| {
                let body = stratum.suspect.and_then(|(k, _)| bodies.iter().find(|b| b[side].contains(&k)));
                let together = body.map_or(0.0, |body| {
                    let (own, _) = body_mean(here, &body[side]);
                    let (_, theirs) = body_mean(there, &body[1 - side]);
                    // every body is as likely as any other; within it the strata keep their shares
                    if own > 0.0 { theirs * here_prior / (own * bodies.len() as f64) } else { 0.0 }
                });
                let share = if bodies.is_empty() { 0.0 } else { share };
                (1.0 - share) * apart + share * together
            })
            .chain(std::iter::once(if bodies.is_empty() { apart } else { (1.0 - share) * apart }))
            .collect(),
    )
}

/// Beliefs of both channels; nothing for one without symptoms.
///
/// # Errors
/// Priors that do not hold; no draws; stopped.
pub fn believe(scene: &Scene, asked: Asked, watch: &dyn Watch) -> Result<[Option<ChannelBelief>; 2], InputError> {
    scene.priors.check()?;
    let active = scene.channels.iter().filter(|c| c.has_symptoms()).count();
    let each = Asked { draws: asked.draws / active.max(1), ..asked };
    for channel in scene.channels.iter().filter(|c| c.has_symptoms()) {
        let prior: f64 = strata(channel, &scene.priors).iter().map(|s| s.prior).sum();
        if prior + scene.priors.something_else <= 0.0 {
            let allowed = "something on every bad route, or something_else above 0";
            return Err(InputError::new("[prior]", "the priors exclude everything", allowed));
        }
    }
    let mut weighed = [None, None];
    for (side, channel) in scene.channels.iter().enumerate() {
        if channel.has_symptoms() {
            weighed[side] = Some(weigh(channel, &scene.priors, each, watch)?);
        }
    }
    let factors = [shared_factors(scene, &weighed, 0), shared_factors(scene, &weighed, 1)];
    let mut found = [None, None];
    for (side, factors) in factors.iter().enumerate() {
        found[side] =
            weighed[side].as_ref().map(|w| conclude(w, &scene.channels[side], factors.as_deref(), &scene.priors));
    }
    Ok(found)
}

fn conclude(weighed: &Weighed, scene: &ChannelScene, factors: Option<&[f64]>, priors: &Priors) -> ChannelBelief {
    let factor = |k: usize| factors.map_or(1.0, |f| f[k]);
    let n = weighed.strata.len();
    let prior: Vec<f64> = (0..n).map(|k| weighed.strata[k].prior * factor(k)).collect();
    let mass: Vec<f64> = (0..n).map(|k| prior[k] * weighed.sums[k].mean()).collect();
    let error: Vec<f64> = (0..n).map(|k| prior[k].powi(2) * weighed.sums[k].variance_of_mean()).collect();
    let other = weighed.else_prior * weighed.else_evidence * factor(n);
    let total = (mass.iter().sum::<f64>() + other).max(f64::MIN_POSITIVE);
    let all_error: f64 = error.iter().sum();
    let pair_at = weighed.strata.iter().position(|s| s.suspect.is_none());
    let pair_share = |test: &dyn Fn(usize, usize) -> bool| {
        pair_at.map_or(0.0, |at| {
            let sums = &weighed.sums[at];
            let part: f64 = sums.pairs.iter().filter(|p| test(p.0, p.1)).map(|p| p.2).sum();
            if sums.weight > 0.0 { part / sums.weight * mass[at] / total } else { 0.0 }
        })
    };
    let mut beliefs = Vec::new();
    for (number, suspect) in scene.suspects.iter().enumerate() {
        let own: Vec<usize> = (0..n).filter(|&k| weighed.strata[k].suspect.is_some_and(|s| s.0 == number)).collect();
        let alone: f64 = own.iter().map(|&k| mass[k]).sum::<f64>() / total;
        let variance: f64 = own.iter().map(|&k| error[k]).sum::<f64>();
        let by_hypothesis =
            own.iter().filter_map(|&k| weighed.strata[k].suspect.map(|s| (s.1, mass[k] / total))).collect::<Vec<_>>();
        let own_weight: f64 = own.iter().map(|&k| mass[k]).sum();
        let cure = |c: usize| {
            let sum: f64 =
                own.iter().map(|&k| prior[k] * weighed.sums[k].cures[c] / weighed.sums[k].count.max(1.0)).sum();
            if own_weight > 0.0 { sum / own_weight } else { 0.05 }
        };
        let probability = alone + pair_share(&|a, b| a == number || b == number);
        let se = ((1.0 - alone).powi(2) * variance + alone.powi(2) * (all_error - variance).max(0.0)).sqrt() / total;
        if probability > 0.0 || !suspect.cannot_be_sole {
            beliefs.push(Belief {
                suspect: number,
                probability,
                error: se,
                by_hypothesis,
                cures: [cure(0), cure(1), cure(2)],
            });
        }
    }
    beliefs.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let p_other = other / total;
    let mut draws: Vec<Draw> = Vec::new();
    for (before, sums) in prior.iter().zip(&weighed.sums) {
        let scale = before / sums.count.max(1.0) / total;
        draws.extend(sums.draws.iter().map(|d| Draw { weight: d.weight * scale, ..*d }));
    }
    let pair = pair_at.and_then(|at| {
        let sums = &weighed.sums[at];
        let best = sums.pairs.iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
        (sums.weight > 0.0).then(|| (best.0, best.1, best.2 / sums.weight * mass[at] / total))
    });
    let moved_by = beliefs.first().and_then(|leader| moved_by(leader.suspect, weighed, &prior, other, priors));
    ChannelBelief {
        beliefs,
        something_else: p_other,
        something_else_error: p_other * all_error.sqrt() / total,
        two_faults: pair_share(&|_, _| true),
        pair,
        moved_by,
        clashes: clashes(weighed, scene),
        draws,
    }
}

/// The assumption that moves the leader's probability most: first-order variance over the draws for what is drawn with every
/// hypothesis, over half and twice for a prior share.
fn moved_by(leader: usize, weighed: &Weighed, prior: &[f64], other: f64, priors: &Priors) -> Option<MovedBy> {
    let mine = |k: usize| weighed.strata[k].suspect.is_some_and(|s| s.0 == leader);
    let pair = |k: usize| {
        let sums = &weighed.sums[k];
        let part: f64 = sums.pairs.iter().filter(|p| p.0 == leader || p.1 == leader).map(|p| p.2).sum();
        if sums.weight > 0.0 { part / sums.weight } else { 0.0 }
    };
    let probability = |times: &dyn Fn(usize) -> f64, other: f64, mean: &dyn Fn(usize) -> f64| {
        let (mut top, mut all) = (0.0, other);
        for (k, before) in prior.iter().enumerate() {
            let mass = before * times(k) * mean(k);
            all += mass;
            top += mass * if mine(k) { 1.0 } else { pair(k) };
        }
        (if all > 0.0 { top / all } else { 0.0 }, all)
    };
    let mean = |k: usize| weighed.sums[k].mean();
    let (p, _) = probability(&|_| 1.0, other, &mean);
    let whole = (p * (1.0 - p)).max(1e-12);
    let mut found: Vec<MovedBy> = Vec::new();
    // how keen the ear is: the draws themselves, bin by bin
    let bins: Vec<(f64, f64)> = (0..BINS)
        .map(|bin| {
            let mean = |k: usize| {
                let sums = &weighed.sums[k];
                sums.by_bin[bin] * BINS as f64 / sums.count.max(1.0)
            };
            probability(&|_| 1.0, other, &mean)
        })
        .collect();
    let mass: f64 = bins.iter().map(|b| b.1).sum();
    if mass > 0.0 {
        let variance: f64 = bins.iter().map(|b| b.1 / mass * (b.0 - p).powi(2)).sum();
        let counted = bins.iter().filter(|b| b.1 > 0.02 * mass).map(|b| b.0);
        let (from, to) = counted.fold((f64::INFINITY, f64::NEG_INFINITY), |e, b| (e.0.min(b), e.1.max(b)));
        found.push(MovedBy { assumption: "how keen the listener's ear is".into(), from, to, share: variance / whole });
    }
    let mut share = |assumption: &str, is: &dyn Fn(usize) -> bool, on_other: bool| {
        let at = |factor: f64| {
            let times = |k: usize| if is(k) { factor } else { 1.0 };
            probability(&times, if on_other { other * factor } else { other }, &mean).0
        };
        let (half, twice) = (at(0.5), at(2.0));
        let middle = (half + p + twice) / 3.0;
        let variance = [half, p, twice].iter().map(|x| (x - middle).powi(2)).sum::<f64>() / 3.0;
        let (from, to) = (half.min(twice), half.max(twice));
        found.push(MovedBy { assumption: assumption.into(), from, to, share: variance / whole });
    };
    let way = |k: usize| weighed.strata[k].suspect.map(|s| s.1);
    share(
        "how often it is no contact (half, twice)",
        &|k| matches!(way(k), Some(Hypothesis::Crossover | Hypothesis::Fault)),
        false,
    );
    share("how often bad contacts chatter (half, twice)", &|k| way(k) == Some(Hypothesis::Chatter), false);
    share("how often films rectify (half, twice)", &|k| way(k) == Some(Hypothesis::Rectifying), false);
    share("how often films tunnel (half, twice)", &|k| way(k) == Some(Hypothesis::Tunnelling), false);
    share("how often a broken film is left bridged (half, twice)", &|k| way(k) == Some(Hypothesis::Bridged), false);
    if priors.two_faults > 0.0 {
        share("how often there are two faults (half, twice)", &|k| weighed.strata[k].suspect.is_none(), false);
    }
    share("how often it is nothing in the sheet (half, twice)", &|_| false, true);
    found.into_iter().max_by(|a, b| a.share.total_cmp(&b.share))
}

/// Pairs of evidence that no single fault explains together, though each alone is explained.
fn clashes(weighed: &Weighed, scene: &ChannelScene) -> Vec<(usize, usize)> {
    let items = scene.sightings.len() + 1;
    let singles = || weighed.strata.iter().zip(&weighed.sums).filter(|(s, z)| s.suspect.is_some() && z.count > 0.0);
    let sum = |pick: &dyn Fn(&Sums) -> f64| singles().map(|(s, z)| s.prior * pick(z) / z.count).sum::<f64>();
    let base = sum(&|z| z.base);
    if base <= 0.0 {
        return Vec::new();
    }
    let mut found = Vec::new();
    for a in 0..items {
        for b in 0..a {
            // two clean routes do not clash; a reading and a route may
            let clean = |k: usize| k < items - 1 && scene.sightings[k].is_clean();
            if clean(a) && clean(b) {
                continue;
            }
            let both = sum(&|z| z.double[a * items + b]) / base;
            let apart = sum(&|z| z.single[a]) / base * sum(&|z| z.single[b]) / base;
            if apart > 0.0 && both / apart < CLASH {
                found.push((b, a));
            }
        }
    }
    found
}
