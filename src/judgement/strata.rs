//! The strata of a channel: every suspect in every way it can be at fault, with how probable each was before, and how many draws
//! each gets.

use super::causes::Hypothesis;
use super::deeds::Deeds;
use super::priors::Priors;
use super::scene::{ChannelScene, Excluded, Suspect};

/// Share of the draws that every stratum gets alike; the rest goes where prior times standard deviation is large (Neyman
/// 1934 \[memory\]).
const EVEN_SHARE: f64 = 0.15;
/// Nodes of the means over a resistance and over how loud it was ever played.
const NODES: usize = 24;

/// A stratum: one suspect in one way, or two at once.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stratum {
    pub suspect: Option<(usize, Hypothesis)>,
    pub prior: f64,
}

/// What a suspect does on the first bad route that it stands on.
pub(super) fn place_of(scene: &ChannelScene, number: usize) -> Option<&Deeds> {
    let bad = scene.sightings.iter().filter(|s| !s.is_clean());
    bad.filter_map(|s| s.on[number].as_ref()).find_map(|on| on.deeds.as_deref())
}

/// Share of a way's draws that the signal leaves as they are: a film that it would have broken is none, and a bridge needs a
/// signal that breaks.
fn survives(hypothesis: Hypothesis, place: &Deeds, priors: &Priors) -> f64 {
    let below = |v: f64| super::meters::log_share((0.0, v), (priors.frit_from, priors.frit_to));
    let middle = |k: usize| (k as f64 + 0.5) / NODES as f64;
    match hypothesis {
        Hypothesis::Tunnelling | Hypothesis::Rectifying => {
            let (low, high) = place.bad_ohm();
            let breaks = |k: usize| below(place.across_v(low * (high / low).powf(middle(k))));
            1.0 - (0..NODES).map(breaks).sum::<f64>() / NODES as f64
        }
        Hypothesis::Bridged => {
            let pinned = |v: f64| {
                let width = priors.pinned_to - priors.pinned_from;
                if width > 0.0 {
                    ((v - priors.pinned_from) / width).clamp(0.0, 1.0)
                } else {
                    f64::from(u8::from(v > priors.pinned_to))
                }
            };
            let of = |k: usize| {
                let peak_v = place.open_peak_v * Hypothesis::EVER_LOUDER.powf(middle(k));
                below(peak_v) * pinned(peak_v)
            };
            (0..NODES).map(of).sum::<f64>() / NODES as f64
        }
        _ => 1.0,
    }
}

/// What the prior of a suspect is to be divided by, so that what the signal would have broken takes nothing from it.
pub(super) fn possible(suspect: &Suspect, place: Option<&Deeds>, priors: &Priors) -> f64 {
    let Some(place) = place else { return 1.0 };
    Hypothesis::of(suspect, priors).into_iter().map(|(way, share)| share * survives(way, place, priors)).sum()
}

/// Every stratum of a channel that no proof excludes.
pub(super) fn strata(scene: &ChannelScene, priors: &Priors) -> Vec<Stratum> {
    let mut found = Vec::new();
    let two = if scene.could_be_two() && scene.on_bad_routes().len() > 1 { priors.two_faults } else { 0.0 };
    for number in scene.on_bad_routes() {
        let suspect = &scene.suspects[number];
        let possible = possible(suspect, place_of(scene, number), priors);
        for (hypothesis, share) in Hypothesis::of(suspect, priors) {
            let prior = suspect.prior * share * (1.0 - two) / possible.max(f64::MIN_POSITIVE);
            let excluded = match suspect.excluded {
                Excluded::No => false,
                Excluded::Steady => hypothesis != Hypothesis::Chatter,
                Excluded::Whatever => true,
            };
            if prior > 0.0 && possible > 0.0 && !excluded {
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

/// Draws of every stratum, whole bins each, by prior times standard deviation as a pilot found them.
pub(super) fn shares(spread: &[f64], draws: usize, bins: usize) -> Vec<usize> {
    let whole: f64 = spread.iter().sum();
    let even = 1.0 / spread.len().max(1) as f64;
    let of = |s: &f64| if whole > 0.0 { EVEN_SHARE * even + (1.0 - EVEN_SHARE) * s / whole } else { even };
    spread.iter().map(|s| ((of(s) * draws as f64) as usize).div_ceil(bins).max(1) * bins).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loud_signal_leaves_fewer_films_and_a_quiet_one_no_bridge() {
        use crate::circuit::chain::Network;
        use crate::circuit::{Contact, Load, PathItem, Section, Source};
        let priors = Priors::default();
        let at = |emf_v: f64, way| {
            let source = Some(Source { emf_v, resistance_ohm: 1000.0, inductance_h: 0.0 });
            let path = vec![PathItem::Contact(Contact::ohmic("k", 0.0))];
            let section = Section { name: "s".into(), source, path, load: Load::resistance(9e3) };
            let network = Network::from_section(&section).unwrap();
            survives(way, &Deeds::new(&network, 0, emf_v, &priors), &priors)
        };
        // 5 mV breaks nothing, and was never loud enough for a bridge
        assert_eq!((at(5e-3, Hypothesis::Tunnelling), at(5e-3, Hypothesis::Bridged)), (1.0, 0.0));
        // 10 V: most films of a large resistance are broken, every pinned voltage was passed
        let (film, bridge) = (at(10.0, Hypothesis::Rectifying), at(10.0, Hypothesis::Bridged));
        assert!(film > 0.3 && film < 0.7 && bridge > 0.999, "{film} {bridge}");
        // 70 mV peak, ever played up to ten times as loud: passed by some pinned voltages and not by others
        let quiet = at(0.05, Hypothesis::Bridged);
        let mut stream = crate::judgement::uncertainty::Stream::new(4, 0);
        let forms = (0..40_000).filter(|_| {
            let peak_v = 0.05 * std::f64::consts::SQRT_2 * stream.log_between(1.0, Hypothesis::EVER_LOUDER);
            let pinned_v = stream.between(priors.pinned_from, priors.pinned_to);
            peak_v > pinned_v && peak_v > stream.log_between(priors.frit_from, priors.frit_to)
        });
        let formed = forms.count() as f64 / 40_000.0;
        assert!(formed > 0.05 && (quiet - formed).abs() < 0.01, "{quiet} {formed}");
        // by numbers drawn one by one: share of films that hold
        let mut stream = crate::judgement::uncertainty::Stream::new(3, 0);
        let count = 40_000;
        let holds = (0..count).filter(|_| {
            let ohm = 1e4 * stream.log_between(priors.bad_from, priors.bad_to);
            let across_v = 10.0 * std::f64::consts::SQRT_2 * ohm / (ohm + 1e4);
            across_v <= stream.log_between(priors.frit_from, priors.frit_to)
        });
        let share = holds.count() as f64 / f64::from(count);
        assert!((film - share).abs() < 0.01, "{film} {share}");
        assert_eq!(at(10.0, Hypothesis::Ohmic), 1.0);
    }

    #[test]
    fn draws_go_where_they_are_needed() {
        let found = shares(&[0.0, 3.0, 1.0], 10_000, 5);
        assert_eq!(found, [500, 6875, 2625]);
        assert_eq!(shares(&[0.0, 0.0], 100, 5), [50, 50]);
        assert_eq!(shares(&[0.0, 1.0], 1, 5), [5, 5]);
    }
}

#[cfg(test)]
mod sum;
