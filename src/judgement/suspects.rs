//! Route logic: which contacts, stages, sources and loudspeakers the evidence leaves, channel by channel.
//!
//! No ohms here. A clean route clears what is on it only if the signal it carried there was no larger than on the bad
//! route: a larger one may have broken the film (common practice, and the physics of fritting).

use crate::bench::{Bridged, Channel, Then, What};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

/// Something on a route that can be at fault.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Who {
    /// a contact, `part / position`
    Contact(String),
    /// an active stage
    Stage(String),
    /// a signal source
    Source(String),
    /// a loudspeaker or headphones
    Loudspeaker(String),
}

impl Who {
    /// The name alone.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Contact(name) | Self::Stage(name) | Self::Source(name) | Self::Loudspeaker(name) => name,
        }
    }

    /// Whether it is a contact.
    #[must_use]
    pub fn is_contact(&self) -> bool {
        matches!(self, Self::Contact(_))
    }
}

impl fmt::Display for Who {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// One element of a route and the signal that passed it while listening, V rms.
#[derive(Debug, Clone, PartialEq)]
pub struct OnRoute {
    /// what it is
    pub who: Who,
    /// signal there
    pub level_v: f64,
}

/// What was heard on one route and channel, with all that stands on the route.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// the route
    pub route: String,
    /// the channel
    pub channel: Channel,
    /// the symptom, or clean
    pub what: What,
    /// line of the sheet
    pub line: usize,
    /// what stands on the route
    pub elements: Vec<OnRoute>,
}

/// Where one element stands after the evidence.
#[derive(Debug, Clone, PartialEq)]
pub enum Standing {
    /// bridging or replacing it restored clean sound
    Proved,
    /// bridging it changed nothing
    BridgedNoChange,
    /// a clean route runs through it with no larger signal
    ClearedBy {
        /// the clean route
        route: String,
        /// signal there, V
        level_v: f64,
        /// smallest signal on the bad routes, V
        bad_level_v: f64,
    },
    /// a clean route runs through it, but only with a larger signal
    LouderElsewhere {
        /// the clean route
        route: String,
        /// signal there, V
        level_v: f64,
        /// smallest signal on the bad routes, V
        bad_level_v: f64,
    },
    /// on a bad route, nothing speaks for it
    Suspect,
    /// on no bad route; with a clean route that runs through it, if any
    NotOnABadRoute(Option<String>),
}

impl Standing {
    /// Whether it can still be at fault.
    #[must_use]
    pub fn is_open(&self) -> bool {
        matches!(self, Self::Proved | Self::LouderElsewhere { .. } | Self::Suspect)
    }
}

/// One channel after the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelPicture {
    /// the channel
    pub channel: Channel,
    /// what is wrong on it
    pub symptoms: Vec<What>,
    /// every element of its routes
    pub standing: BTreeMap<Who, Standing>,
    /// elements that alone explain every bad route of the channel
    pub single: Vec<Who>,
    /// where no single one does: groups of bad routes, each with its own candidates
    pub groups: Vec<(Vec<String>, Vec<Who>)>,
    /// observations that contradict each other
    pub clashes: Vec<String>,
}

/// Both channels after the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Picture {
    /// left and right
    pub channels: [ChannelPicture; 2],
    /// both channels have the same symptoms on the same routes: one shared cause is to be asked for before two equal faults
    pub alike: bool,
}

/// Relative slack when two levels are compared: they come from the same sums.
const SAME_LEVEL: f64 = 1.0 + 1e-9;

/// The picture that observations and bridges leave.
#[must_use]
pub fn picture(observations: &[Observation], bridged: &[Bridged]) -> Picture {
    let one = |channel| channel_picture(channel, observations, bridged);
    let channels = [one(Channel::Left), one(Channel::Right)];
    let bad = |channel: Channel| -> BTreeSet<(&str, What)> {
        let bad = observations.iter().filter(|o| o.channel == channel && o.what != What::Clean);
        bad.map(|o| (o.route.as_str(), o.what)).collect()
    };
    let alike = !bad(Channel::Left).is_empty() && bad(Channel::Left) == bad(Channel::Right);
    Picture { channels, alike }
}

fn channel_picture(channel: Channel, observations: &[Observation], bridged: &[Bridged]) -> ChannelPicture {
    let here: Vec<_> = observations.iter().filter(|o| o.channel == channel).collect();
    let (clean, bad): (Vec<&Observation>, Vec<&Observation>) = here.into_iter().partition(|o| o.what == What::Clean);
    let level_in = |o: &Observation, who: &Who| o.elements.iter().find(|e| &e.who == who).map(|e| e.level_v);
    let mut standing = BTreeMap::new();
    let mut clashes = Vec::new();
    for who in clean.iter().chain(&bad).flat_map(|o| o.elements.iter().map(|e| &e.who)) {
        if standing.contains_key(who) {
            continue;
        }
        let bad_level = bad.iter().filter_map(|o| level_in(o, who)).fold(f64::INFINITY, f64::min);
        let quietest_clean = clean
            .iter()
            .filter_map(|o| level_in(o, who).map(|level| (o.route.clone(), level)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let by_routes = match quietest_clean {
            clean_on if bad_level.is_infinite() => Standing::NotOnABadRoute(clean_on.map(|c| c.0)),
            Some((route, level_v)) if level_v <= bad_level * SAME_LEVEL => {
                Standing::ClearedBy { route, level_v, bad_level_v: bad_level }
            }
            Some((route, level_v)) => Standing::LouderElsewhere { route, level_v, bad_level_v: bad_level },
            None => Standing::Suspect,
        };
        let bridge = bridged.iter().find(|b| b.channel == channel && who.is_contact() && b.contact == who.name());
        let found = match bridge.map(|b| (b.then, b)) {
            Some((Then::Clean, bridge)) => {
                if let Standing::ClearedBy { route, .. } = &by_routes {
                    clashes.push(format!(
                        "{}: bridging {who} (line {}) made it clean, yet route \"{route}\" is clean through it",
                        channel.word(),
                        bridge.line
                    ));
                }
                Standing::Proved
            }
            Some((Then::Same, _)) if by_routes.is_open() => Standing::BridgedNoChange,
            _ => by_routes,
        };
        standing.insert(who.clone(), found);
    }
    let candidates = |o: &Observation| -> BTreeSet<Who> {
        let open = o.elements.iter().filter(|e| standing.get(&e.who).is_some_and(Standing::is_open));
        open.map(|e| e.who.clone()).collect()
    };
    for o in &bad {
        if candidates(o).is_empty() {
            clashes.push(format!(
                "{}: everything on route \"{}\" (line {}) is cleared: one observation is wrong, or the fault is not steady",
                channel.word(), o.route, o.line
            ));
        }
    }
    let single: Vec<Who> = common(&bad.iter().map(|o| candidates(o)).collect::<Vec<_>>()).into_iter().collect();
    let groups = if single.is_empty() && !bad.is_empty() {
        groups_of(&bad.iter().map(|o| (o.route.clone(), candidates(o))).collect::<Vec<_>>())
    } else {
        Vec::new()
    };
    let mut symptoms: Vec<What> = bad.iter().map(|o| o.what).collect();
    symptoms.sort_unstable();
    symptoms.dedup();
    ChannelPicture { channel, symptoms, standing, single, groups, clashes }
}

fn common(sets: &[BTreeSet<Who>]) -> BTreeSet<Who> {
    let mut sets = sets.iter();
    let Some(first) = sets.next() else {
        return BTreeSet::new();
    };
    sets.fold(first.clone(), |left, set| left.intersection(set).cloned().collect())
}

/// Splits bad routes into few groups that each have a candidate in common, the widest candidate first.
fn groups_of(bad: &[(String, BTreeSet<Who>)]) -> Vec<(Vec<String>, Vec<Who>)> {
    let mut left: Vec<_> = bad.iter().filter(|(_, set)| !set.is_empty()).collect();
    let mut groups = Vec::new();
    while !left.is_empty() {
        let reach = |who: &Who| left.iter().filter(|(_, set)| set.contains(who)).count();
        let everyone: BTreeSet<&Who> = left.iter().flat_map(|(_, set)| set).collect();
        let Some(widest) = everyone.into_iter().max_by_key(|who| reach(who)).cloned() else {
            break;
        };
        let (group, rest): (Vec<_>, Vec<_>) = left.into_iter().partition(|(_, set)| set.contains(&widest));
        let sets: Vec<_> = group.iter().map(|(_, set)| set.clone()).collect();
        let mut routes: Vec<String> = group.iter().map(|(route, _)| route.clone()).collect();
        routes.dedup();
        groups.push((routes, common(&sets).into_iter().collect()));
        left = rest;
    }
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::evidence::BridgedWith;

    fn heard(route: &str, channel: Channel, what: What, elements: &[(&str, f64)]) -> Observation {
        let elements = elements
            .iter()
            .map(|&(name, level_v)| {
                let name = name.to_owned();
                let who = if name.contains(" / ") { Who::Contact(name) } else { Who::Stage(name) };
                OnRoute { who, level_v }
            })
            .collect();
        Observation { route: route.into(), channel, what, line: 1, elements }
    }

    fn bridge(contact: &str, channel: Channel, then: Then) -> Bridged {
        Bridged { contact: contact.into(), channel, then, with: BridgedWith::ClipLead, line: 9 }
    }

    const PHONO: [(&str, f64); 3] = [("selector / phono", 0.3), ("volume / wiper", 0.01), ("power stage", 1.0)];
    const TAPE: [(&str, f64); 3] = [("monitor / tape", 0.5), ("volume / wiper", 0.01), ("power stage", 1.0)];

    #[test]
    fn a_clean_route_clears_what_it_shares_at_the_same_level() {
        let found = picture(
            &[heard("phono", Channel::Left, What::Grit, &PHONO), heard("tape", Channel::Left, What::Clean, &TAPE)],
            &[],
        );
        assert_eq!(found.channels[0].single, [Who::Contact("selector / phono".into())]);
        assert!(found.channels[1].standing.is_empty() && !found.alike);
    }

    #[test]
    fn a_louder_clean_route_clears_nothing() {
        let loud = [("volume / wiper", 0.02), ("power stage", 2.0)];
        let found = picture(
            &[heard("phono", Channel::Left, What::Grit, &PHONO), heard("tape", Channel::Left, What::Clean, &loud)],
            &[],
        );
        assert_eq!(found.channels[0].single.len(), 3);
        let wiper = &found.channels[0].standing[&Who::Contact("volume / wiper".into())];
        assert!(matches!(wiper, Standing::LouderElsewhere { .. }));
    }

    #[test]
    fn bridges_prove_acquit_and_clash() {
        let observations =
            [heard("phono", Channel::Right, What::Grit, &PHONO), heard("tape", Channel::Right, What::Clean, &TAPE)];
        let found = picture(&observations, &[bridge("selector / phono", Channel::Right, Then::Clean)]);
        assert_eq!(found.channels[1].standing[&Who::Contact("selector / phono".into())], Standing::Proved);
        assert!(found.channels[1].clashes.is_empty());
        let found = picture(&observations, &[bridge("selector / phono", Channel::Right, Then::Same)]);
        assert!(found.channels[1].single.is_empty());
        assert!(found.channels[1].clashes[0].contains("everything on route \"phono\""));
        let found = picture(&observations, &[bridge("volume / wiper", Channel::Right, Then::Clean)]);
        assert!(found.channels[1].clashes[0].contains("volume / wiper"));
    }

    #[test]
    fn two_faults_when_no_single_one_is_left() {
        let observations = [
            heard("phono", Channel::Left, What::Grit, &[("selector / phono", 0.3), ("power stage", 1.0)]),
            heard("tape", Channel::Left, What::Dead, &[("monitor / tape", 0.5), ("power stage", 1.0)]),
            heard("tuner", Channel::Left, What::Clean, &[("selector / tuner", 0.5), ("power stage", 1.0)]),
        ];
        let found = picture(&observations, &[]);
        assert!(found.channels[0].single.is_empty());
        assert_eq!(found.channels[0].groups.len(), 2);
    }

    #[test]
    fn both_channels_alike_ask_for_one_cause() {
        let mut observations =
            vec![heard("phono", Channel::Left, What::Grit, &PHONO), heard("phono", Channel::Right, What::Grit, &PHONO)];
        assert!(picture(&observations, &[]).alike);
        observations.push(heard("tape", Channel::Right, What::Grit, &TAPE));
        assert!(!picture(&observations, &[]).alike);
    }
}
