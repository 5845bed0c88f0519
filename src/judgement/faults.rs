//! How few faults explain the bad routes of a channel, and what both channels could share.

use super::suspects::{ChannelPicture, Standing, Who};
use crate::bench::What;
use std::collections::{BTreeMap, BTreeSet};

/// What both channels could share when they are bad alike: ask for one such cause before two equal faults.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SharedCause {
    /// the routes that are bad on both channels
    pub routes: Vec<String>,
    /// the symptoms, the same on both
    pub symptoms: Vec<What>,
    /// parts with an open contact on both channels: one switch body, one relay and its coil, one control
    pub parts: Vec<String>,
    /// stages and sources open on both channels (supply, shared return)
    pub others: Vec<Who>,
}

impl SharedCause {
    /// The shared cause to ask for, from what is bad on each channel and where each channel stands.
    ///
    /// `None` unless both channels have the same symptoms on the same routes, and at least one.
    pub(super) fn of(bad: [&BTreeSet<(&str, What)>; 2], channels: &[ChannelPicture; 2]) -> Option<Self> {
        let [left, right] = bad;
        if left.is_empty() || left != right {
            return None;
        }
        let unique = |values: BTreeSet<String>| values.into_iter().collect();
        let [here, there] = [leading(&channels[0]), leading(&channels[1])];
        let parts = |side: &BTreeSet<Who>| -> BTreeSet<String> {
            side.iter().filter(|who| who.is_contact()).map(|who| part(who.name()).to_owned()).collect()
        };
        let symptoms: BTreeSet<What> = left.iter().map(|bad| bad.1).collect();
        Some(Self {
            routes: unique(left.iter().map(|bad| bad.0.to_owned()).collect()),
            symptoms: symptoms.into_iter().collect(),
            parts: unique(parts(&here).intersection(&parts(&there)).cloned().collect()),
            // a loudspeaker is a body of its own on each side
            others: here
                .intersection(&there)
                .filter(|who| matches!(who, Who::Stage(_) | Who::Source(_)))
                .cloned()
                .collect(),
        })
    }
}

/// The part of a contact written `part / position`.
fn part(contact: &str) -> &str {
    contact.split(" / ").next().unwrap_or(contact)
}

/// What leads on a channel: what was proved, else what alone explains it, else the candidates of its groups.
fn leading(channel: &ChannelPicture) -> BTreeSet<Who> {
    let proved: BTreeSet<Who> =
        channel.standing.iter().filter(|(_, s)| **s == Standing::Proved).map(|(who, _)| who.clone()).collect();
    if !proved.is_empty() {
        return proved;
    }
    channel.single.iter().chain(channel.groups.iter().flat_map(|group| &group.1)).cloned().collect()
}

/// Candidates that all sets have in common.
pub(super) fn common(sets: &[BTreeSet<Who>]) -> BTreeSet<Who> {
    let mut sets = sets.iter();
    let Some(first) = sets.next() else {
        return BTreeSet::new();
    };
    sets.fold(first.clone(), |left, set| left.intersection(set).cloned().collect())
}

/// Splits bad routes into the fewest groups that each have a candidate in common; what was proved counts as found.
///
/// A route without candidates is left out. Among equally few groups the first in the order of the names is taken.
pub(super) fn groups(bad: &[(String, BTreeSet<Who>)], proved: &BTreeSet<Who>) -> Vec<(Vec<String>, Vec<Who>)> {
    let sets: Vec<&BTreeSet<Who>> = bad.iter().map(|(_, set)| set).collect();
    // what each candidate explains, as numbers of bad routes; candidates that explain the same are one choice
    let mut reach: BTreeMap<&Who, BTreeSet<usize>> = BTreeMap::new();
    for (number, set) in sets.iter().enumerate() {
        for who in *set {
            reach.entry(who).or_default().insert(number);
        }
    }
    let mut chosen: Vec<BTreeSet<usize>> = Vec::new();
    for who in proved {
        chosen.extend(reach.get(who).cloned());
    }
    let mut left: BTreeSet<usize> = reach.values().flatten().copied().collect();
    left.retain(|number| !chosen.iter().any(|reach| reach.contains(number)));
    let mut choices: Vec<BTreeSet<usize>> = Vec::new();
    for reach in reach.values() {
        let rest: BTreeSet<usize> = reach.intersection(&left).copied().collect();
        if !rest.is_empty() && !choices.contains(&rest) {
            choices.push(rest);
        }
    }
    // a choice inside a wider one never makes the set smaller
    let narrow = |choice: &BTreeSet<usize>| choices.iter().any(|other| other != choice && choice.is_subset(other));
    let widest: Vec<BTreeSet<usize>> = choices.iter().filter(|choice| !narrow(choice)).cloned().collect();
    let most = left.len();
    if let Some(fewest) = (0..=most).find_map(|count| cover(&left, &widest, count)) {
        chosen.extend(fewest);
    }
    let mut taken: BTreeSet<usize> = BTreeSet::new();
    let mut groups = Vec::new();
    for choice in chosen {
        let members: Vec<_> =
            bad.iter().enumerate().filter(|(k, _)| choice.contains(k) && !taken.contains(k)).collect();
        let sets: Vec<BTreeSet<Who>> = members.iter().map(|(_, (_, set))| set.clone()).collect();
        let mut routes: Vec<String> = Vec::new();
        for (_, (route, _)) in &members {
            if !routes.contains(route) {
                routes.push(route.clone());
            }
        }
        taken.extend(members.iter().map(|(k, _)| *k));
        if !routes.is_empty() {
            groups.push((routes, common(&sets).into_iter().collect()));
        }
    }
    groups
}

/// `count` choices that together cover what is `left`, if there are such.
fn cover(left: &BTreeSet<usize>, choices: &[BTreeSet<usize>], count: usize) -> Option<Vec<BTreeSet<usize>>> {
    let Some(first) = left.first() else {
        return Some(Vec::new());
    };
    let widest = choices.iter().map(|choice| choice.intersection(left).count()).max().unwrap_or(0);
    if widest * count < left.len() {
        return None;
    }
    choices.iter().filter(|choice| choice.contains(first)).find_map(|choice| {
        let mut found = cover(&left.difference(choice).copied().collect(), choices, count - 1)?;
        found.insert(0, choice.clone());
        Some(found)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sets(names: &[&[&str]]) -> Vec<(String, BTreeSet<Who>)> {
        let set = |names: &[&str]| names.iter().map(|name| Who::Stage((*name).into())).collect();
        names.iter().enumerate().map(|(k, names)| (k.to_string(), set(names))).collect()
    }

    /// Fewest candidates that touch every set, by trying every subset.
    fn fewest_by_trial(bad: &[(String, BTreeSet<Who>)]) -> usize {
        let everyone: Vec<&Who> = bad.iter().flat_map(|(_, set)| set).collect::<BTreeSet<_>>().into_iter().collect();
        let all = (0..1u32 << everyone.len()).filter(|mask| {
            let picked = |who: &Who| everyone.iter().position(|w| *w == who).is_some_and(|k| mask >> k & 1 == 1);
            bad.iter().all(|(_, set)| set.is_empty() || set.iter().any(picked))
        });
        all.map(u32::count_ones).min().unwrap() as usize
    }

    #[test]
    fn as_few_as_every_subset_tried_and_each_route_once() {
        // a plain linear congruential walk over small sets of seven candidates
        let mut state = 1u32;
        let mut differing = 0;
        for _ in 0..400 {
            let mut bad: Vec<(String, BTreeSet<Who>)> = Vec::new();
            for k in 0..7 {
                let mut set = BTreeSet::new();
                for _ in 0..3 {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    set.insert(Who::Stage((state >> 24 & 7).to_string()));
                }
                bad.push((k.to_string(), set));
            }
            let found = groups(&bad, &BTreeSet::new());
            assert_eq!(found.len(), fewest_by_trial(&bad), "{bad:?}");
            differing += usize::from(found.len() > 2);
            let mut routes: Vec<_> = found.iter().flat_map(|group| group.0.clone()).collect();
            routes.sort();
            assert_eq!(routes, bad.iter().map(|b| b.0.clone()).collect::<Vec<_>>());
            assert!(found.iter().all(|group| !group.1.is_empty()));
        }
        assert!(differing > 50, "{differing}");
    }

    #[test]
    fn what_was_proved_is_one_of_the_faults() {
        let bad = sets(&[&["a", "wide"], &["b", "wide"], &["c"]]);
        assert_eq!(groups(&bad, &BTreeSet::new()).len(), 2);
        let with = groups(&bad, &BTreeSet::from([Who::Stage("a".into())]));
        assert_eq!(with.len(), 3);
        assert_eq!(with[0].0, ["0"]);
    }

    #[test]
    fn a_route_without_candidates_is_left_out() {
        let found = groups(&sets(&[&[], &["a"], &["b"]]), &BTreeSet::new());
        assert_eq!(found.iter().map(|group| group.0.as_slice()).collect::<Vec<_>>(), [["1"], ["2"]]);
    }
}
