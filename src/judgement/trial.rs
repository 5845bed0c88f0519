//! Draws of one stratum: a fault with every quantity that it depends on, weighted by how probable it makes the evidence.

use super::causes::{Cause, Effect, Hypothesis};
use super::checked;
use super::cures::Cures;
use super::dice::{Dice, Guide, Marginals};
use super::listener::{Listener, SLIP, if_something_else, probability};
use super::priors::Priors;
use super::scene::{ChannelScene, Sighting};
use super::strata::{Stratum, place_of, possible};
use super::uncertainty::Stream;
use super::uncertainty::generator::normal_quantile;
use crate::bench::Then;

/// Bins of the listener's keenness, of equal prior probability.
pub(super) const BINS: usize = 5;
/// Groups of the draws: one after the other is left out to see what the probabilities owe to it.
pub(super) const GROUPS: usize = 10;

/// What may be tried while listening: turn up, work the part, tap, stop the music.
pub(super) const TRIED: usize = 4;

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

/// Two suspects that were drawn together.
#[derive(Debug, Clone)]
pub(super) struct Pair {
    pub who: (usize, usize),
    pub weight: f64,
    groups: [f64; GROUPS],
}

/// Sums over draws.
#[derive(Debug, Clone, Default)]
pub(super) struct Sums {
    pub count: f64,
    pub weight: f64,
    pub square: f64,
    pub by_bin: [f64; BINS],
    /// draws and weight of each group, for the error
    pub groups: [(f64, f64); GROUPS],
    /// for two faults, by who they are
    pub pairs: Vec<Pair>,
    /// weight times the chance that each of [`TRIED`] works
    pub cures: [f64; TRIED],
    /// evidence by itself and two by two, readings last
    pub single: Vec<f64>,
    pub double: Vec<f64>,
    pub base: f64,
    pub draws: Vec<Draw>,
    /// where in its numbers the weight lies, if that was asked for
    pub marginals: Option<Marginals>,
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
        for (a, b) in self.groups.iter_mut().zip(other.groups) {
            *a = (a.0 + b.0, a.1 + b.1);
        }
        for pair in other.pairs {
            match self.pairs.iter_mut().find(|p| p.who == pair.who) {
                Some(known) => {
                    known.weight += pair.weight;
                    known.groups.iter_mut().zip(pair.groups).for_each(|(a, b)| *a += b);
                }
                None => self.pairs.push(pair),
            }
        }
        self.draws.extend(other.draws);
        if let Some(other) = other.marginals {
            self.marginals.get_or_insert_default().add(&other);
        }
    }

    pub(super) fn mean(&self) -> f64 {
        self.mean_without(None)
    }

    /// Mean weight, one group of the draws left out.
    pub(super) fn mean_without(&self, group: Option<usize>) -> f64 {
        let out = group.map_or((0.0, 0.0), |g| self.groups[g]);
        let count = self.count - out.0;
        if count > 0.0 { (self.weight - out.1).max(0.0) / count } else { 0.0 }
    }

    /// Share of the weight of two faults that has a suspect, or any, one group of the draws left out.
    pub(super) fn share_of(&self, suspect: Option<usize>, group: Option<usize>) -> f64 {
        let of = |p: &Pair| p.weight - group.map_or(0.0, |g| p.groups[g]);
        let all: f64 = self.pairs.iter().map(of).sum();
        let has = |p: &&Pair| suspect.is_none_or(|k| p.who.0 == k || p.who.1 == k);
        let part: f64 = self.pairs.iter().filter(has).map(of).sum();
        if all > 0.0 { (part / all).clamp(0.0, 1.0) } else { 0.0 }
    }

    pub(super) fn variance_of_mean(&self) -> f64 {
        if self.count < 2.0 {
            return 0.0;
        }
        ((self.square / self.count - self.mean().powi(2)).max(0.0)) / (self.count - 1.0)
    }
}

/// A suspect in one way, as the first of two faults.
#[derive(Debug, Clone, Copy)]
struct First {
    suspect: usize,
    way: Hypothesis,
    /// prior of the suspect among all that are open, and of the way for it
    prior: f64,
    share: f64,
    /// chance that it is drawn first, and that of all up to it
    chosen: f64,
    up_to: f64,
}

/// How draws are taken.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct How<'g> {
    /// where the numbers of a draw are taken from
    pub guide: Option<&'g Guide>,
    /// whether to note where the weight lies
    pub learn: bool,
    /// whether every draw is kept
    pub keep: bool,
}

/// What a draw is made of.
pub(super) struct Trial<'s> {
    scene: &'s ChannelScene,
    priors: &'s Priors,
    /// who can be at fault, and what their priors are to be divided by
    open: Vec<usize>,
    possible: Vec<f64>,
    /// what the first of two faults is drawn from
    first: Vec<First>,
    /// probability of each sighting if it was a slip
    slips: Vec<f64>,
}

impl<'s> Trial<'s> {
    pub(super) fn new(scene: &'s ChannelScene, priors: &'s Priors) -> Self {
        let of = |(k, suspect)| possible(suspect, place_of(scene, k), priors);
        let open = scene.on_bad_routes();
        let all: f64 = open.iter().map(|&k| scene.suspects[k].prior).sum();
        let ways = |&k: &usize| {
            let suspect = &scene.suspects[k];
            let prior = if all > 0.0 { suspect.prior / all } else { 0.0 };
            let one = move |(way, share)| First { suspect: k, way, prior, share, chosen: prior * share, up_to: 1.0 };
            Hypothesis::of(suspect, priors).into_iter().map(one).collect::<Vec<_>>()
        };
        let first = open.iter().flat_map(ways).collect();
        let possible = scene.suspects.iter().enumerate().map(of).collect();
        let slips = scene.sightings.iter().map(|s| if_something_else(s, priors.tried)).collect();
        let mut trial = Self { scene, priors, open, possible, first, slips };
        trial.learn(&[]);
        trial
    }

    /// Takes what each suspect and way alone explains, to draw the first of two faults by it.
    pub(super) fn learn(&mut self, alone: &[(usize, Hypothesis, f64)]) {
        let whole: f64 = alone.iter().map(|a| a.2).sum();
        let mut up_to = 0.0;
        for f in &mut self.first {
            let mass: f64 = alone.iter().filter(|a| a.0 == f.suspect && a.1 == f.way).map(|a| a.2).sum();
            f.chosen = if whole > 0.0 { 0.5 * f.prior * f.share + 0.5 * mass / whole } else { f.prior * f.share };
            up_to += f.chosen;
            f.up_to = up_to;
        }
    }

    fn cause(&self, number: usize, hypothesis: Hypothesis, stream: &mut Dice<'_>) -> Cause {
        let suspect = &self.scene.suspects[number];
        Cause::draw(number, suspect, hypothesis, place_of(self.scene, number), self.priors, stream)
    }

    /// A cause of a pair: what the signal would have broken takes nothing from its prior.
    fn one_of_two(&self, number: usize, way: Hypothesis, stream: &mut Dice<'_>) -> Cause {
        let possible = self.possible[number];
        let mut cause = self.cause(number, way, stream);
        cause.weight = if possible > 0.0 { cause.weight / possible } else { 0.0 };
        cause
    }

    /// Two faults. The first is drawn half by prior, half by what explains the evidence alone, the second by prior; the weight
    /// is the prior of the two over the chance that either was the first.
    fn two(&self, stream: &mut Dice<'_>) -> (Cause, Cause) {
        let u = stream.uniform();
        let at = self.first.partition_point(|f| f.up_to < u).min(self.first.len() - 1);
        let a = self.first[at];
        let (b, other) = (self.any_suspect(Some(a.suspect), stream), stream.uniform());
        let ways = || self.first.iter().filter(|f| f.suspect == b);
        let mut left = other * ways().map(|f| f.share).sum::<f64>();
        let mut found = None;
        for f in ways().filter(|f| f.share > 0.0) {
            found = Some(*f);
            if left < f.share {
                break;
            }
            left -= f.share;
        }
        let b = found.unwrap_or(a);
        // the chance of either as the second, given the other
        let second = |x: First, of: First| x.share * x.prior / (1.0 - of.prior).max(1e-12);
        let both = a.prior * a.share * second(b, a) + b.prior * b.share * second(a, b);
        let drawn = a.chosen * second(b, a) + b.chosen * second(a, b);
        let mut first = self.one_of_two(a.suspect, a.way, stream);
        first.weight *= if drawn > 0.0 { both / drawn } else { 0.0 };
        (first, self.one_of_two(b.suspect, b.way, stream))
    }

    /// A suspect by its prior.
    fn any_suspect(&self, but: Option<usize>, stream: &mut Dice<'_>) -> usize {
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

    /// Probability of what was done on the bench beside readings: bridges, and what was found at stages, sources, loudspeakers.
    pub(super) fn bench(&self, causes: &[&Cause]) -> f64 {
        let suspects = &self.scene.suspects;
        let found = (0..suspects.len()).map(|k| checked::probability(k, suspects, causes));
        self.bridges(causes) * found.product::<f64>()
    }

    /// Probability of what bridging changed: of every suspect that was bridged.
    fn bridges(&self, causes: &[&Cause]) -> f64 {
        let mut p = 1.0;
        for (number, suspect) in self.scene.suspects.iter().enumerate() {
            for then in &suspect.bridges {
                let guilty = causes.iter().any(|c| c.suspect == number);
                p *= match (then, guilty, causes.len()) {
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

    pub(super) fn run(&self, stratum: &Stratum, draws: usize, how: How<'_>, stream: Stream) -> Sums {
        let mut dice = Dice::new(stream, how.guide);
        let items = self.scene.sightings.len() + 1;
        let mut sums = Sums { single: vec![0.0; items], double: vec![0.0; items * items], ..Sums::default() };
        let mut each = vec![0.0; items];
        for k in 0..draws {
            // the listener's keenness evenly over its bins
            let bin = k % BINS;
            dice.begin();
            let keenness = normal_quantile((bin as f64 + dice.uniform()) / BINS as f64);
            let listener = Listener::new(keenness, self.priors);
            let (first, second) = match stratum.suspect {
                Some((number, hypothesis)) => (self.cause(number, hypothesis, &mut dice), None),
                None => {
                    let (a, b) = self.two(&mut dice);
                    (a, Some(b))
                }
            };
            let base = second.as_ref().map_or(1.0, |c| c.weight / c.readings.max(1e-300)) * first.weight
                / first.readings.max(1e-300)
                * dice.weight();
            let readings = first.readings * second.as_ref().map_or(1.0, |c| c.readings);
            let both = [&first, second.as_ref().unwrap_or(&first)];
            let at_fault = &both[..1 + usize::from(second.is_some())];
            let (mut predicted, mut cured) = (Effect::default(), [0.0; TRIED]);
            let mut product = if base > 0.0 { base * readings } else { 0.0 };
            if product > 0.0 {
                product *= self.bench(at_fault);
                let mut first_bad = true;
                for (at, sighting) in self.scene.sightings.iter().enumerate() {
                    let (effect, cures) = self.on(sighting, &first, second.as_ref());
                    if !sighting.is_clean() && first_bad {
                        predicted = effect;
                        first_bad = false;
                        if let Some(cures) = cures {
                            cured = [cures.turned_up, cures.worked, cures.tapped, cures.in_pauses];
                        }
                    }
                    let p = probability(sighting, &effect, cures.as_ref(), &listener);
                    each[at] = (1.0 - SLIP) * p + SLIP * self.slips[at];
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
            if how.learn {
                dice.note(product, sums.marginals.get_or_insert_default());
            }
            sums.base += base;
            sums.count += 1.0;
            let group = (k / BINS) % GROUPS;
            sums.groups[group].0 += 1.0;
            sums.groups[group].1 += product;
            sums.weight += product;
            sums.square += product * product;
            sums.by_bin[bin] += product;
            for (sum, cure) in sums.cures.iter_mut().zip(cured) {
                *sum += product * cure;
            }
            if let Some(second) = second {
                let (a, b) = (first.suspect.min(second.suspect), first.suspect.max(second.suspect));
                let at = sums.pairs.iter().position(|p| p.who == (a, b)).unwrap_or_else(|| {
                    sums.pairs.push(Pair { who: (a, b), weight: 0.0, groups: [0.0; GROUPS] });
                    sums.pairs.len() - 1
                });
                sums.pairs[at].weight += product;
                sums.pairs[at].groups[group] += product;
            }
            if how.keep {
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judgement::scene::{Excluded, Nature, Noted, On, Suspect};
    use crate::judgement::suspects::Who;

    fn scene(priors: &[f64]) -> ChannelScene {
        let suspect = |(k, &prior): (usize, &f64)| Suspect {
            who: Who::Stage(format!("stage {k}")),
            nature: if k == 0 { Nature::PowerStage } else { Nature::Stage },
            part: String::new(),
            workable: false,
            in_return: false,
            laws: [1.0, 0.0, 0.0],
            prior,
            usual_ohm: 0.1,
            worn_ohm: 1.0,
            readings: vec![],
            bridges: vec![],
            drives_control: false,
            direct_current: false,
            goes_with: vec![],
            checked: None,
            excluded: Excluded::No,
        };
        let noted = Noted {
            what: crate::bench::What::Grit,
            strength: crate::bench::Strength::Plain,
            residue: None,
            loss_db: None,
            goes_away: vec![],
            comes_back: vec![],
            in_pauses: None,
            line: 1,
        };
        let on = Some(On { deeds: None, level_v: 1.0, follows_hand: true });
        let sighting = Sighting {
            route: "r".into(),
            line: 1,
            least_residue: 5e-5,
            noted: vec![noted],
            on: vec![on; priors.len()],
        };
        ChannelScene { suspects: priors.iter().enumerate().map(suspect).collect(), sightings: vec![sighting] }
    }

    #[test]
    fn two_faults_weigh_as_their_priors_whatever_the_first_is_drawn_from() {
        let prior = [0.5, 0.3, 0.15, 0.05];
        let (scene, priors) = (scene(&prior), Priors::default());
        // what it learned, nothing at all, and that nobody explains anything
        let fault = |mass: f64| (2, Hypothesis::Fault, mass);
        for learned in [vec![fault(0.9), (0, Hypothesis::Crossover, 0.1)], vec![], vec![fault(0.0)]] {
            let mut trial = Trial::new(&scene, &priors);
            trial.learn(&learned);
            let mut dice = Dice::new(Stream::new(7, 0), None);
            let draws = 200_000;
            let mut found = [[0.0; 4]; 4];
            for _ in 0..draws {
                dice.begin();
                let (a, b) = trial.two(&mut dice);
                let (low, high) = (a.suspect.min(b.suspect), a.suspect.max(b.suspect));
                assert_ne!(low, high);
                found[low][high] += a.weight * b.weight / f64::from(draws);
            }
            for a in 0..4 {
                for b in a + 1..4 {
                    // the first by its prior, the second by its prior among the rest, in either order
                    let exact = prior[a] * prior[b] * (1.0 / (1.0 - prior[a]) + 1.0 / (1.0 - prior[b]));
                    assert!((found[a][b] / exact - 1.0).abs() < 0.03, "{a} {b}: {} {exact}", found[a][b]);
                }
            }
        }
    }
}

#[cfg(test)]
mod sums;
