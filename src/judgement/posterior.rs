//! From evidence to probability: draws of every suspect in every way it can be at fault, each weighted by how probable it makes
//! all that was heard, read and bridged.
//!
//! `P(h | evidence) = pi_h Z_h / sum pi Z`, `Z_h` the mean weight of the draws of `h` (importance sampling, each hypothesis a
//! stratum). Its Monte Carlo error is a jackknife over ten groups of the draws. Two faults are one
//! more stratum. Where both channels are bad, one shared cause is weighed against two: the channels' evidence multiplies.
//! What a theorem excludes as sole cause has no probability as one: probability never overrides a proof.

use super::belief::{ChannelBelief, conclude, odds};
use super::dice::{Guide, Marginals};
use super::listener::all_if_something_else;
use super::priors::Priors;
use super::scene::{ChannelScene, Nature, Scene, Suspect};
use super::strata::{Stratum, shares, strata};
use super::trial::{BINS, GROUPS, How, Sums, Trial};
use super::uncertainty::Stream;
use super::uncertainty::monte_carlo::blocks;
use crate::error::InputError;
use crate::watch::Watch;

/// Draws of one stream.
const CHUNK: usize = 1000;
/// Draws of each pilot, of those that were asked for; they find where the others go and are not counted.
const PILOT: f64 = 0.1;
/// Makes the second pilot's numbers others than those that count.
const SECOND: u64 = 0x5EC0_4D00_0000_0000;

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
pub(super) struct Weighed {
    pub strata: Vec<Stratum>,
    pub sums: Vec<Sums>,
    pub else_prior: f64,
    pub else_evidence: f64,
}

/// How many draws of each stratum, where their numbers come from, and which seed.
struct Plan<'p> {
    counts: &'p [usize],
    guides: &'p [Guide],
    seed: u64,
    how: How<'p>,
}

fn run(trial: &Trial<'_>, strata: &[Stratum], plan: &Plan<'_>, watch: &dyn Watch) -> Result<Vec<Sums>, InputError> {
    let chunk = |(k, count): (usize, &usize)| {
        let count = *count;
        (0..count.div_ceil(CHUNK)).map(move |c| (k, c, CHUNK.min(count - c * CHUNK)))
    };
    let chunks: Vec<(usize, usize, usize)> = plan.counts.iter().enumerate().flat_map(chunk).collect();
    let work = |at: usize| {
        let (k, chunk, count) = chunks[at];
        // the same streams on both channels: what is alike on both is answered alike
        let number = ((k as u64) << 40) | chunk as u64;
        let how = How { guide: plan.guides.get(k), ..plan.how };
        (k, trial.run(&strata[k], count, how, Stream::new(plan.seed, number)))
    };
    let found = blocks(0, chunks.len(), watch, &work)
        .map_err(|stopped| InputError::new("draws", stopped, "let it run to its end"))?;
    let mut sums = vec![Sums::default(); strata.len()];
    for (k, one) in found {
        sums[k].add(one);
    }
    Ok(sums)
}

/// Two pilots, then the draws that count: the first pilot is even, the second goes where the first found something. They tell how
/// many draws each stratum gets, where in a draw's numbers the weight lies, and what to draw the first of two faults from.
fn weigh(scene: &ChannelScene, priors: &Priors, asked: Asked, watch: &dyn Watch) -> Result<Weighed, InputError> {
    let strata = strata(scene, priors);
    let mut trial = Trial::new(scene, priors);
    let pilot = (PILOT * asked.draws as f64) as usize;
    let learn = How { learn: true, ..How::default() };
    let single = |s: &Stratum| f64::from(u8::from(s.suspect.is_some()));
    let mut counts = shares(&strata.iter().map(single).collect::<Vec<_>>(), pilot, BINS);
    let pair = strata.iter().position(|s| s.suspect.is_none());
    // two faults wait until it is known what explains the evidence alone
    if let Some(at) = pair {
        counts[at] = 0;
    }
    let mut first = run(&trial, &strata, &Plan { counts: &counts, guides: &[], seed: !asked.seed, how: learn }, watch)?;
    let alone = |(s, z): (&Stratum, &Sums)| s.suspect.map(|(k, way)| (k, way, s.prior * z.mean()));
    trial.learn(&strata.iter().zip(&first).filter_map(alone).collect::<Vec<_>>());
    if let Some(at) = pair {
        let mut counts = vec![0; strata.len()];
        counts[at] = pilot.div_ceil(BINS).max(1) * BINS;
        let plan = Plan { counts: &counts, guides: &[], seed: !asked.seed, how: learn };
        first[at] = run(&trial, &strata, &plan, watch)?.swap_remove(at);
    }
    let spread = |sums: &[Sums]| -> Vec<f64> {
        let one = |(s, z): (&Stratum, &Sums)| s.prior * (z.variance_of_mean() * z.count).sqrt();
        strata.iter().zip(sums).map(one).collect()
    };
    let none = Marginals::default();
    let guide = |sums: &[&Sums]| -> Guide {
        let of = |z: &&Sums| z.marginals.as_ref().unwrap_or(&none).clone();
        sums.iter().map(of).max_by(|a, b| a.effective().total_cmp(&b.effective())).unwrap_or_default().guide()
    };
    let guides: Vec<Guide> = first.iter().map(|z| guide(&[z])).collect();
    let counts = shares(&spread(&first), pilot, BINS);
    let second =
        run(&trial, &strata, &Plan { counts: &counts, guides: &guides, seed: asked.seed ^ SECOND, how: learn }, watch)?;
    let guides: Vec<Guide> = first.iter().zip(&second).map(|(a, b)| guide(&[a, b])).collect();
    // what either pilot found wide stays so
    let wide: Vec<f64> = spread(&first).iter().zip(spread(&second)).map(|(a, b)| a.max(b)).collect();
    let counts = shares(&wide, asked.draws, BINS);
    let how = How { keep: asked.keep, ..How::default() };
    let sums = run(&trial, &strata, &Plan { counts: &counts, guides: &guides, seed: asked.seed, how }, watch)?;
    let else_evidence = all_if_something_else(&scene.sightings, priors.tried) * trial.bench(&[]);
    Ok(Weighed { strata, sums, else_prior: priors.something_else, else_evidence })
}

/// What the two channels can share: suspects of one body, by number on either. A loudspeaker each has its own.
fn bodies(scene: &Scene) -> Vec<[Vec<usize>; 2]> {
    let name = |suspect: &Suspect| match suspect.nature {
        Nature::Loudspeaker => None,
        Nature::Contact | Nature::Beside => Some(format!("part {}", suspect.part)),
        _ => Some(format!("other {}", suspect.who)),
    };
    let mut found: Vec<(String, [Vec<usize>; 2])> = Vec::new();
    for (side, channel) in scene.channels.iter().enumerate() {
        for (k, suspect) in channel.suspects.iter().enumerate() {
            let Some(name) = name(suspect) else { continue };
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
    found.into_iter().map(|f| f.1).filter(|sides| sides.iter().all(|s| !s.is_empty())).collect()
}

/// Factor on each stratum's prior from the other channel, and last that on "nothing in the sheet": one shared cause against two.
///
/// Two causes are drawn apart. A shared one is a body, as probable as its suspects are; on each channel it is one of them, by
/// their priors. Priors are those of the whole sheet: what stands on no bad route, or is excluded, takes its part and explains
/// nothing. Of two faults either was the first, which is the one that can be shared.
fn shared_factors(
    scene: &Scene,
    weighed: &[Option<Weighed>; 2],
    side: usize,
    group: Option<usize>,
) -> Option<Vec<f64>> {
    let (here, there) = (weighed[side].as_ref()?, weighed[1 - side].as_ref()?);
    let bodies = bodies(scene);
    let prior = |side: usize, members: &[usize]| members.iter().map(|&k| scene.channels[side].suspects[k].prior).sum();
    let all_bodies: f64 = bodies.iter().map(|body| -> f64 { prior(side, &body[side]) }).sum();
    // share of a stratum's draws that each of these was the first fault of
    let first = |stratum: &Stratum, sums: &Sums, members: &[usize]| match stratum.suspect {
        Some((k, _)) => f64::from(u8::from(members.contains(&k))),
        None => members.iter().map(|&k| 0.5 * sums.share_of(Some(k), group)).sum(),
    };
    // priors that nobody has (contacts all without suspicion) are no part of the whole
    let whole = |side: usize, weighed: &Weighed| -> f64 {
        scene.channels[side].suspects.iter().map(|s| s.prior).sum::<f64>() + weighed.else_prior
    };
    let share = if all_bodies > 0.0 { scene.priors.shared } else { 0.0 };
    let explained: Vec<f64> =
        there.strata.iter().zip(&there.sums).map(|(s, z)| s.prior * z.mean_without(group)).collect();
    let apart = (explained.iter().sum::<f64>() + there.else_prior * there.else_evidence) / whole(1 - side, there);
    let by_body: Vec<f64> = bodies
        .iter()
        .map(|body| {
            let strata = there.strata.iter().zip(&there.sums).zip(&explained);
            let sum: f64 = strata.map(|((stratum, sums), mass)| mass * first(stratum, sums, &body[1 - side])).sum();
            let prior: f64 = prior(1 - side, &body[1 - side]);
            if prior > 0.0 { sum / prior } else { 0.0 }
        })
        .collect();
    let together = |stratum: &Stratum, sums: &Sums| -> f64 {
        let sum: f64 = bodies.iter().zip(&by_body).map(|(body, z)| first(stratum, sums, &body[side]) * z).sum();
        if all_bodies > 0.0 { sum * whole(side, here) / all_bodies } else { 0.0 }
    };
    let factor = |(stratum, sums): (&Stratum, &Sums)| (1.0 - share) * apart + share * together(stratum, sums);
    let last = std::iter::once((1.0 - share) * apart);
    let factors: Vec<f64> = here.strata.iter().zip(&here.sums).map(factor).chain(last).collect();
    // only their ratios count; where nothing that can be shared explains both, each channel stands alone
    let largest = factors.iter().copied().fold(0.0, f64::max);
    (largest > 0.0).then(|| factors.iter().map(|factor| factor / largest).collect())
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
    let factors = |group| [0, 1].map(|side| shared_factors(scene, &weighed, side, group));
    let of = |side: usize, factors: &[Option<Vec<f64>>; 2], group| {
        weighed[side].as_ref().map(|w| odds(w, scene.channels[side].suspects.len(), factors[side].as_deref(), group))
    };
    // the error of a ratio of sums, the other channel's among them: what leaving out a tenth of all draws changes (jackknife:
    // Quenouille 1956, Tukey 1958 [memory])
    let without: Vec<[Option<Vec<f64>>; 2]> = (0..GROUPS)
        .map(|g| {
            let factors = factors(Some(g));
            [0, 1].map(|side| of(side, &factors, Some(g)))
        })
        .collect();
    let error = |side: usize, k: usize| {
        let each: Vec<f64> = without.iter().filter_map(|w| w[side].as_ref().map(|p| p[k])).collect();
        let n = each.len() as f64;
        let mean = each.iter().sum::<f64>() / n;
        ((n - 1.0) / n * each.iter().map(|p| (p - mean).powi(2)).sum::<f64>()).sqrt()
    };
    let whole = factors(None);
    Ok([0, 1].map(|side| {
        let scene_of = &scene.channels[side];
        weighed[side].as_ref().map(|w| {
            let errors: Vec<f64> = (0..=scene_of.suspects.len()).map(|k| error(side, k)).collect();
            conclude(w, scene_of, whole[side].as_deref(), &errors, &scene.priors)
        })
    }))
}
