//! Route logic: which contacts, stages, sources and loudspeakers the evidence leaves, channel by channel.
//!
//! No ohms here. A clean route clears what is on it only if the signal it carried there was no larger than on the bad
//! route: a larger one may have broken the film (common practice, and the physics of fritting).

use super::bridges::{after_bridges, each_alone};
use super::faults::{SharedCause, common, groups};
use crate::bench::{Bridged, Channel, What};
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

    /// Whether it is an output stage: by its name.
    #[must_use]
    pub fn is_power_stage(&self) -> bool {
        matches!(self, Self::Stage(name) if name.contains("power"))
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
    /// whether it is only slight, so that it may be missed
    pub slight: bool,
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
    /// a clean route runs through it with no larger signal, but all that was heard through it is slight
    PerhapsMissed {
        /// the clean route
        route: String,
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
        matches!(self, Self::Proved | Self::LouderElsewhere { .. } | Self::PerhapsMissed { .. } | Self::Suspect)
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
    /// fewest faults that explain the bad routes; a route on which everything is cleared is told under `clashes`
    pub faults: usize,
    /// evidence that points at something without proving it
    pub notes: Vec<String>,
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
    /// what the two channels could share, if they are alike
    pub shared: Option<SharedCause>,
}

/// Levels within 5 % are the same: nobody sets two routes more alike by ear or meter \[assumption\], and what stands before a
/// control shifts its level by less.
const SAME_LEVEL: f64 = 1.05;

/// The picture that observations and bridges leave.
#[must_use]
pub fn picture(observations: &[Observation], bridged: &[Bridged]) -> Picture {
    let one = |channel| channel_picture(channel, observations, bridged);
    let channels = [one(Channel::Left), one(Channel::Right)];
    let bad = |channel: Channel| -> BTreeSet<(&str, What)> {
        let bad = observations.iter().filter(|o| o.channel == channel && o.what != What::Clean);
        bad.map(|o| (o.route.as_str(), o.what)).collect()
    };
    let shared = SharedCause::of([&bad(Channel::Left), &bad(Channel::Right)], &channels);
    Picture { channels, alike: shared.is_some(), shared }
}

fn channel_picture(channel: Channel, observations: &[Observation], bridged: &[Bridged]) -> ChannelPicture {
    let here: Vec<_> = observations.iter().filter(|o| o.channel == channel).collect();
    let (clean, bad): (Vec<&Observation>, Vec<&Observation>) = here.into_iter().partition(|o| o.what == What::Clean);
    let level_in = |o: &Observation, who: &Who| o.elements.iter().find(|e| &e.who == who).map(|e| e.level_v);
    let mut standing = BTreeMap::new();
    let mut clashes = Vec::new();
    let mut notes = Vec::new();
    let here_bridged: Vec<&Bridged> = bridged.iter().filter(|b| b.channel == channel).collect();
    let heard = clean.iter().chain(&bad).flat_map(|o| o.elements.iter().map(|e| e.who.clone()));
    let everyone: BTreeSet<Who> = heard.chain(here_bridged.iter().map(|b| Who::Contact(b.contact.clone()))).collect();
    for who in everyone {
        let bad_level = bad.iter().filter_map(|o| level_in(o, &who)).fold(f64::INFINITY, f64::min);
        let quietest_clean = clean
            .iter()
            .filter_map(|o| level_in(o, &who).map(|level| (o.route.clone(), level)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let by_routes = match quietest_clean {
            clean_on if bad_level.is_infinite() => Standing::NotOnABadRoute(clean_on.map(|c| c.0)),
            Some((route, level_v)) if level_v <= bad_level * SAME_LEVEL => {
                if bad.iter().any(|o| !o.slight && level_in(o, &who).is_some()) {
                    Standing::ClearedBy { route, level_v, bad_level_v: bad_level }
                } else {
                    Standing::PerhapsMissed { route }
                }
            }
            Some((route, level_v)) => Standing::LouderElsewhere { route, level_v, bad_level_v: bad_level },
            None => Standing::Suspect,
        };
        let bridges: Vec<&Bridged> =
            here_bridged.iter().filter(|b| who.is_contact() && b.contact == who.name()).copied().collect();
        if bridges.is_empty() {
            standing.insert(who, by_routes);
            continue;
        }
        let found = after_bridges(&who, by_routes, &bridges, &mut clashes, &mut notes);
        // a contact that nobody listened through gets no standing from a bridge that changed nothing
        if found != Standing::NotOnABadRoute(None) {
            standing.insert(who, found);
        }
    }
    each_alone(&mut standing, &here_bridged, &bad, channel, &mut clashes);
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
        let proved = standing.iter().filter(|(_, s)| **s == Standing::Proved).map(|(who, _)| who.clone()).collect();
        groups(&bad.iter().map(|o| (o.route.clone(), candidates(o))).collect::<Vec<_>>(), &proved)
    } else {
        Vec::new()
    };
    let faults = if single.is_empty() { groups.len() } else { 1 };
    let mut symptoms: Vec<What> = bad.iter().map(|o| o.what).collect();
    symptoms.sort_unstable();
    symptoms.dedup();
    ChannelPicture { channel, symptoms, standing, single, groups, faults, notes, clashes }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Then;
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
        Observation { route: route.into(), channel, what, slight: false, line: 1, elements }
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
    fn what_is_slight_may_be_missed() {
        let slight = Observation { slight: true, ..heard("phono", Channel::Left, What::Grit, &PHONO) };
        let clean = heard("tape", Channel::Left, What::Clean, &TAPE);
        let stands = |observations: &[Observation]| {
            picture(observations, &[]).channels[0].standing[&Who::Contact("volume / wiper".into())].clone()
        };
        assert_eq!(stands(&[slight.clone(), clean.clone()]), Standing::PerhapsMissed { route: "tape".into() });
        // plain on one route is enough
        let plain = heard("tuner", Channel::Left, What::Grit, &PHONO);
        assert!(matches!(stands(&[slight, clean, plain]), Standing::ClearedBy { .. }));
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
        assert_eq!((found.channels[0].groups.len(), found.channels[0].faults), (2, 2));
        assert_eq!(found.channels[1].faults, 0);
    }

    #[test]
    fn both_channels_alike_ask_for_one_cause() {
        let mut observations =
            vec![heard("phono", Channel::Left, What::Grit, &PHONO), heard("phono", Channel::Right, What::Grit, &PHONO)];
        assert!(picture(&observations, &[]).alike);
        observations.push(heard("tape", Channel::Right, What::Grit, &TAPE));
        assert!(!picture(&observations, &[]).alike);
    }

    #[test]
    fn the_smallest_set_of_faults_not_the_widest_first() {
        // "wide" covers four of six routes and would leave two more faults; "one" and "two" cover all six
        let sets = [["one", "p"], ["one", "wide"], ["one", "wide"], ["two", "wide"], ["two", "wide"], ["two", "q"]];
        let observations: Vec<_> = sets
            .iter()
            .enumerate()
            .map(|(k, names)| heard(&k.to_string(), Channel::Left, What::Grit, &[(names[0], 1.0), (names[1], 1.0)]))
            .collect();
        let found = &picture(&observations, &[]).channels[0];
        assert_eq!(found.groups.len(), 2, "{:?}", found.groups);
    }

    #[test]
    fn a_replacement_that_cured_it_counts_though_the_clip_lead_did_not() {
        let bad = [heard("phono", Channel::Left, What::Grit, &PHONO)];
        let both = [
            bridge("selector / phono", Channel::Left, Then::Same),
            bridge("selector / phono", Channel::Left, Then::Clean),
        ];
        let found = &picture(&bad, &both).channels[0];
        assert_eq!(found.standing[&Who::Contact("selector / phono".into())], Standing::Proved);
        // both by the same clip lead: one of the two lines is wrong, or it is not steady
        assert!(found.clashes[0].contains("yet at line 9 it changed nothing"), "{:?}", found.clashes);
        let replaced = Bridged { with: BridgedWith::Replacement, ..both[1].clone() };
        assert!(picture(&bad, &[both[0].clone(), replaced]).channels[0].clashes.is_empty());
    }

    #[test]
    fn a_bridge_on_a_contact_nobody_listened_through_is_not_dropped() {
        let bad = [heard("phono", Channel::Left, What::Grit, &PHONO)];
        let found = &picture(&bad, &[bridge("relay / a", Channel::Left, Then::Clean)]).channels[0];
        assert_eq!(found.standing.get(&Who::Contact("relay / a".into())), Some(&Standing::Proved));
        assert!(found.clashes[0].contains("nothing wrong was noted on a route through it"));
        // nothing changed: still nobody listened through it
        let found = &picture(&bad, &[bridge("relay / a", Channel::Left, Then::Same)]).channels[0];
        assert_eq!(found.standing.get(&Who::Contact("relay / a".into())), None);
    }

    #[test]
    fn better_is_noted_and_reopens() {
        let observations =
            [heard("phono", Channel::Left, What::Grit, &PHONO), heard("tape", Channel::Left, What::Clean, &TAPE)];
        let found = &picture(&observations, &[bridge("volume / wiper", Channel::Left, Then::Better)]).channels[0];
        assert_eq!(found.standing[&Who::Contact("volume / wiper".into())], Standing::Suspect);
        assert!(found.notes[0].contains("volume / wiper (line 9) made it better"), "{:?}", found.notes);
        assert!(found.clashes[0].contains("route \"tape\" is clean through it"));
        let found = &picture(&observations, &[bridge("selector / phono", Channel::Left, Then::Better)]).channels[0];
        assert!(found.notes.len() == 1 && found.clashes.is_empty());
        assert_eq!(found.faults, 1);
    }

    #[test]
    fn rivals_alone_are_left_when_every_contact_is_bridged() {
        let contacts = ["selector / phono", "volume / wiper"];
        let same: Vec<_> = contacts.iter().map(|name| bridge(name, Channel::Left, Then::Same)).collect();
        let found = &picture(&[heard("phono", Channel::Left, What::Grit, &PHONO)], &same).channels[0];
        assert_eq!(found.single, [Who::Stage("power stage".into())]);
    }

    #[test]
    fn the_other_channel_clears_nothing() {
        let observations =
            [heard("phono", Channel::Left, What::Grit, &PHONO), heard("phono", Channel::Right, What::Clean, &PHONO)];
        let found = picture(&observations, &[bridge("selector / phono", Channel::Right, Then::Same)]);
        assert_eq!(found.channels[0].single.len(), 3);
        assert!(found.channels[1].single.is_empty() && found.shared.is_none());
    }

    #[test]
    fn a_shared_cause_is_named_by_its_part() {
        let side = |channel, place: &str| {
            heard("phono", channel, What::Grit, &[(place, 0.3), ("power stage", 1.0), ("volume / wiper", 0.01)])
        };
        let both = [side(Channel::Left, "selector / left"), side(Channel::Right, "selector / right")];
        let shared = picture(&both, &[]).shared.unwrap();
        assert_eq!(shared.parts, ["selector", "volume"]);
        assert_eq!(shared.others, [Who::Stage("power stage".into())]);
        assert_eq!(
            (shared.routes.as_slice(), shared.symptoms.as_slice()),
            (&["phono".to_owned()][..], &[What::Grit][..])
        );
        // proved on one side, its part is what is left to share
        let shared = picture(&both, &[bridge("selector / left", Channel::Left, Then::Clean)]).shared.unwrap();
        assert_eq!(shared.parts, ["selector"]);
        assert!(shared.others.is_empty());
    }
}
