//! What the draws add to an assessment: probabilities beside the findings and headlines, clashes, weights of the next steps.

use super::assess::Settings;
use super::report::{ChannelOdds, Headline, Odds, Rival, Row};
use super::rows::side;
use super::sentences::list;
use crate::bench::Channel;
use crate::judgement::belief::{ChannelBelief, MovedBy};
use crate::judgement::scene::{ChannelScene, Scene};
use crate::judgement::{Picture, Who};
use std::collections::BTreeMap;

/// Beliefs of both channels with the scene that they are about.
pub(super) struct Drawn {
    pub(super) scene: Scene,
    pub(super) beliefs: [Option<ChannelBelief>; 2],
}

/// A probability as the page prints it.
pub(super) fn percent(p: f64) -> String {
    if p < 0.005 {
        "<1 %".to_owned()
    } else if p > 0.995 {
        ">99 %".to_owned()
    } else {
        format!("{:.0} %", 100.0 * p)
    }
}

impl Drawn {
    fn channel(&self, channel: Channel) -> Option<(&ChannelScene, &ChannelBelief)> {
        let at = side(channel);
        self.beliefs[at].as_ref().map(|belief| (&self.scene.channels[at], belief))
    }

    /// Probability of a suspect on a channel.
    pub(super) fn of(&self, channel: Channel, who: &Who) -> Option<f64> {
        let (scene, belief) = self.channel(channel)?;
        let number = scene.suspects.iter().position(|s| &s.who == who)?;
        Some(belief.of(number).map_or(0.0, |b| b.probability))
    }

    /// Chances that turning up, working its part and tapping cure it, and that it is heard in a pause, if it is at fault.
    pub(super) fn cures(&self, channel: Channel, who: &Who) -> Option<[f64; 4]> {
        let (scene, belief) = self.channel(channel)?;
        let number = scene.suspects.iter().position(|s| &s.who == who)?;
        belief.of(number).map(|b| b.cures)
    }

    /// Odds of every channel with a symptom.
    pub(super) fn odds(&self) -> Vec<ChannelOdds> {
        let one = |channel: &Channel| {
            let (scene, belief) = self.channel(*channel)?;
            let odds = belief.beliefs.iter().map(|b| Odds {
                who: scene.suspects[b.suspect].who.to_string(),
                probability: b.probability,
                probability_se: b.error,
                by_hypothesis: b.by_hypothesis.iter().map(|(h, p)| (h.word().to_owned(), *p)).collect(),
            });
            let moved_by = belief.moved_by.as_ref();
            Some(ChannelOdds {
                channel: *channel,
                odds: odds.collect(),
                something_else: belief.something_else,
                something_else_se: belief.something_else_error,
                two_faults: belief.two_faults,
                moved_by: moved_by.map(|m| m.assumption.clone()),
                moved_from: moved_by.map(|m| m.from),
                moved_to: moved_by.map(|m| m.to),
            })
        };
        Channel::ALL.iter().filter_map(one).collect()
    }

    /// Puts probabilities beside the findings.
    pub(super) fn mark(&self, rows: &mut [Row]) {
        for row in rows {
            for finding in &mut row.findings {
                let Some((scene, belief)) = self.channel(finding.channel) else { continue };
                let Some(number) =
                    scene.suspects.iter().position(|s| s.who.is_contact() && s.who.name() == row.contact)
                else {
                    continue;
                };
                let found = belief.of(number);
                finding.probability = Some(found.map_or(0.0, |b| b.probability));
                finding.probability_se = Some(found.map_or(0.0, |b| b.error));
                finding.probability_by_hypothesis = found.map_or_else(BTreeMap::new, |b| {
                    b.by_hypothesis.iter().map(|(h, p)| (h.word().to_owned(), *p)).collect()
                });
            }
        }
    }

    /// Puts the likeliest rival first.
    pub(super) fn likeliest_first(&self, rivals: &mut [Rival]) {
        let odds = |rival: &Rival| {
            let on = |channel: &Channel| {
                let (scene, belief) = self.channel(*channel)?;
                let number = scene.suspects.iter().position(|s| s.who.name() == rival.who)?;
                belief.of(number).map(|b| b.probability)
            };
            rival.channels.iter().filter_map(on).fold(0.0, f64::max)
        };
        rivals.sort_by(|a, b| odds(b).total_cmp(&odds(a)));
    }

    /// Says who is likeliest, how sure that is, and what moves it most.
    pub(super) fn headline(&self, headline: &mut Headline) {
        let Some((scene, belief)) = self.channel(headline.channel) else { return };
        let Some(leader) = belief.beliefs.first() else { return };
        let name = |k: usize| scene.suspects[k].who.name();
        let (leading, p) = match belief.pair {
            Some((a, b, p)) if belief.two_faults > 0.5 => (format!("{} with {}", name(a), name(b)), p),
            _ if belief.something_else > leader.probability => {
                ("nothing in this sheet".to_owned(), belief.something_else)
            }
            _ => (name(leader.suspect).to_owned(), leader.probability),
        };
        let alone = format!("{leading} can account for it");
        if headline.says.starts_with(&alone) {
            headline.says.insert_str(alone.len(), &format!(", {}", percent(p)));
        } else {
            headline.says = format!("likeliest {leading}, {}; {}", percent(p), headline.says);
        }
        let error = leader.error.max(belief.something_else_error);
        headline.because = format!("{}; {}", told(belief.moved_by.as_ref(), error), headline.because);
    }

    /// Evidence that no single fault explains together, where two faults do not either.
    pub(super) fn clashes(&self, picture: &Picture) -> Vec<String> {
        let mut found = Vec::new();
        for channel in &picture.channels {
            let Some((scene, belief)) = self.channel(channel.channel) else { continue };
            if !channel.clashes.is_empty() || belief.two_faults > 0.5 || channel.groups.len() > 1 {
                continue;
            }
            let named = |k: usize| {
                scene.sightings.get(k).map_or_else(
                    || "the readings".to_owned(),
                    |s| {
                        let whats: Vec<&str> = s.noted.iter().map(|n| n.what.word()).collect();
                        let what = if whats.is_empty() { "clean".to_owned() } else { list(&whats) };
                        format!("{what} on \"{}\" (line {})", s.route, s.line)
                    },
                )
            };
            for &(a, b) in &belief.clashes {
                found.push(format!(
                    "{}: {} and {} hardly go together: no single fault explains both",
                    channel.channel.word(),
                    named(a),
                    named(b)
                ));
            }
        }
        found
    }
}

fn told(moved_by: Option<&MovedBy>, error: f64) -> String {
    let within = if error < 5e-4 {
        "within 0.1 % by the number of draws".to_owned()
    } else {
        format!("+-{:.1} % by the number of draws", 100.0 * error)
    };
    match moved_by {
        Some(moved) if moved.to - moved.from >= 0.01 => {
            format!("{within}; moved most by {}, {} to {}", moved.assumption, percent(moved.from), percent(moved.to))
        }
        _ => within,
    }
}

/// What the answer rests on, where draws were made.
pub(super) fn assumed(settings: Settings, scene: &Scene) -> String {
    let changed = scene.priors.changed();
    let priors =
        if changed.is_empty() { "typical priors".to_owned() } else { format!("priors set: {}", changed.join(", ")) };
    format!(
        "{} draws, seed {}, {priors}; priors are assumptions, no field data stands behind the odds",
        settings.draws, settings.seed
    )
}
