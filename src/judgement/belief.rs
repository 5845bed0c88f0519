//! From the sums over draws to the probability of every suspect, what moves it, and which evidence clashes.

use super::causes::Hypothesis;
use super::posterior::Weighed;
use super::priors::Priors;
use super::scene::{ChannelScene, Excluded};
use super::trial::{BINS, Draw, Sums, TRIED};

/// Two pieces of evidence clash where together they are this much less probable than apart.
const CLASH: f64 = 0.03;

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
    /// if it is at fault: chance that turning up, working the part, tapping cures it, and that it is heard in a pause
    pub cures: [f64; TRIED],
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

/// Prior of each stratum with what the other channel says of it.
fn priors_of(weighed: &Weighed, factors: Option<&[f64]>) -> Vec<f64> {
    weighed.strata.iter().enumerate().map(|(k, s)| s.prior * factors.map_or(1.0, |f| f[k])).collect()
}

/// Weight of "nothing in the sheet".
fn other_of(weighed: &Weighed, factors: Option<&[f64]>) -> f64 {
    weighed.else_prior * weighed.else_evidence * factors.map_or(1.0, |f| f[weighed.strata.len()])
}

/// Probability of every suspect, alone or with another, and last that it is nothing in the sheet; one group of the draws left
/// out.
pub(super) fn odds(weighed: &Weighed, suspects: usize, factors: Option<&[f64]>, group: Option<usize>) -> Vec<f64> {
    let other = other_of(weighed, factors);
    let mut found = vec![0.0; suspects + 1];
    let mut total = other;
    for ((stratum, sums), prior) in weighed.strata.iter().zip(&weighed.sums).zip(priors_of(weighed, factors)) {
        let mass = prior * sums.mean_without(group);
        total += mass;
        match stratum.suspect {
            Some((k, _)) => found[k] += mass,
            None => (0..suspects).for_each(|k| found[k] += mass * sums.share_of(Some(k), group)),
        }
    }
    found[suspects] = other;
    found.iter().map(|mass| mass / total.max(f64::MIN_POSITIVE)).collect()
}

/// Belief of a channel; `errors` as [`odds`] gives them, suspect by suspect.
pub(super) fn conclude(
    weighed: &Weighed,
    scene: &ChannelScene,
    factors: Option<&[f64]>,
    errors: &[f64],
    priors: &Priors,
) -> ChannelBelief {
    let n = weighed.strata.len();
    let suspects = scene.suspects.len();
    let prior = priors_of(weighed, factors);
    let mass: Vec<f64> = (0..n).map(|k| prior[k] * weighed.sums[k].mean()).collect();
    let other = other_of(weighed, factors);
    let total = (mass.iter().sum::<f64>() + other).max(f64::MIN_POSITIVE);
    let probabilities = odds(weighed, suspects, factors, None);
    let pair_at = weighed.strata.iter().position(|s| s.suspect.is_none());
    let mut beliefs = Vec::new();
    for (number, suspect) in scene.suspects.iter().enumerate() {
        let own: Vec<usize> = (0..n).filter(|&k| weighed.strata[k].suspect.is_some_and(|s| s.0 == number)).collect();
        let by_hypothesis =
            own.iter().filter_map(|&k| weighed.strata[k].suspect.map(|s| (s.1, mass[k] / total))).collect::<Vec<_>>();
        let own_weight: f64 = own.iter().map(|&k| mass[k]).sum();
        let cure = |c: usize| {
            let sum: f64 =
                own.iter().map(|&k| prior[k] * weighed.sums[k].cures[c] / weighed.sums[k].count.max(1.0)).sum();
            if own_weight > 0.0 { sum / own_weight } else { 0.05 }
        };
        let probability = probabilities[number];
        if probability > 0.0 || suspect.excluded != Excluded::Whatever {
            beliefs.push(Belief {
                suspect: number,
                probability,
                error: errors[number],
                by_hypothesis,
                cures: std::array::from_fn(cure),
            });
        }
    }
    beliefs.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let mut draws: Vec<Draw> = Vec::new();
    for (before, sums) in prior.iter().zip(&weighed.sums) {
        let scale = before / sums.count.max(1.0) / total;
        draws.extend(sums.draws.iter().map(|d| Draw { weight: d.weight * scale, ..*d }));
    }
    let pair = pair_at.and_then(|at| {
        let sums = &weighed.sums[at];
        let best = sums.pairs.iter().max_by(|a, b| a.weight.total_cmp(&b.weight))?;
        (sums.weight > 0.0).then(|| (best.who.0, best.who.1, best.weight / sums.weight * mass[at] / total))
    });
    let moved_by = beliefs.first().and_then(|leader| moved_by(leader.suspect, weighed, &prior, other, priors));
    ChannelBelief {
        beliefs,
        something_else: probabilities[suspects],
        something_else_error: errors[suspects],
        two_faults: pair_at.map_or(0.0, |at| mass[at] / total),
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
    let pair = |k: usize| weighed.sums[k].share_of(Some(leader), None);
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
    share("how often it is no contact (half, twice)", &|k| way(k).is_some_and(Hypothesis::is_rival), false);
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

#[cfg(test)]
mod by_hand;
