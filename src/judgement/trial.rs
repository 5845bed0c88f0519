//! Draws of one stratum: a fault with every quantity that it depends on, weighted by how probable it makes the evidence.

use super::causes::{Cause, Cures, Effect, Hypothesis};
use super::listener::{Listener, SLIP, if_something_else, probability};
use super::priors::Priors;
use super::scene::{ChannelScene, Sighting};
use super::strata::{Stratum, place_of, possible};
use super::uncertainty::Stream;
use super::uncertainty::generator::normal_quantile;
use crate::bench::Then;

/// Bins of the listener's keenness, of equal prior probability.
pub(super) const BINS: usize = 5;

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

/// Sums over draws.
#[derive(Debug, Clone, Default)]
pub(super) struct Sums {
    pub count: f64,
    pub weight: f64,
    pub square: f64,
    pub by_bin: [f64; BINS],
    /// weight by first and second suspect, for two faults
    pub pairs: Vec<(usize, usize, f64)>,
    /// weight times the chance that each cure works
    pub cures: [f64; 3],
    /// evidence by itself and two by two, readings last
    pub single: Vec<f64>,
    pub double: Vec<f64>,
    pub base: f64,
    pub draws: Vec<Draw>,
}

impl Sums {
    pub(super) fn add(&mut self, other: Self) {
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

    pub(super) fn mean(&self) -> f64 {
        if self.count > 0.0 { self.weight / self.count } else { 0.0 }
    }

    pub(super) fn variance_of_mean(&self) -> f64 {
        if self.count < 2.0 {
            return 0.0;
        }
        ((self.square / self.count - self.mean().powi(2)).max(0.0)) / (self.count - 1.0)
    }
}

/// What a draw is made of.
pub(super) struct Trial<'s> {
    scene: &'s ChannelScene,
    priors: &'s Priors,
    /// who can be at fault, and what their priors are to be divided by
    open: Vec<usize>,
    possible: Vec<f64>,
}

impl<'s> Trial<'s> {
    pub(super) fn new(scene: &'s ChannelScene, priors: &'s Priors) -> Self {
        let of = |(k, suspect)| possible(suspect, place_of(scene, k), priors);
        Self { scene, priors, open: scene.on_bad_routes(), possible: scene.suspects.iter().enumerate().map(of).collect() }
    }

    fn cause(&self, number: usize, hypothesis: Hypothesis, stream: &mut Stream) -> Cause {
        let suspect = &self.scene.suspects[number];
        Cause::draw(number, suspect, hypothesis, place_of(self.scene, number), self.priors, stream)
    }

    fn any_cause(&self, number: usize, stream: &mut Stream) -> Cause {
        let possible = self.possible[number];
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
        let mut cause = self.cause(number, way, stream);
        // what the signal would have broken takes nothing from the prior
        cause.weight = if possible > 0.0 { cause.weight / possible } else { 0.0 };
        cause
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
    pub(super) fn bridges(&self, at_fault: &[usize]) -> f64 {
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

    pub(super) fn run(&self, stratum: &Stratum, draws: usize, keep: bool, mut stream: Stream) -> Sums {
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

    fn on(&self, sighting: &Sighting, first: &Cause, second: Option<&Cause>) -> (Effect, Option<Cures>) {
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

