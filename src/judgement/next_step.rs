//! What to do next: the tests that separate what is still open, by how much they decide for each minute.
//!
//! A test that splits the open candidates into two parts of weight `p` and `1 - p` decides
//! `-p log2 p - (1-p) log2 (1-p)` bits (Shannon 1948). Minutes are common practice. Lid-on tests come before lid-off ones
//! unless a lid-off one decides more than three times as much a minute.

use super::suspects::Who;
use crate::bench::Channel;
use crate::bench::quantity::{Dimension, engineering};
use crate::circuit::Role;
use first::DIRECT_FIRST;
use serde::Serialize;

pub mod first;

/// One test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NextStep {
    /// what to do, as a sentence
    pub what: String,
    /// the contact, where it is about one
    pub contact: Option<String>,
    /// the channel
    pub channel: Channel,
    /// time it takes
    pub minutes: f64,
    /// how much it decides, bits
    pub bits: f64,
    /// whether the lid stays on
    pub lid_on: bool,
    /// how to read the outcome
    pub reads_as: String,
}

/// Something still open on a channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// what it is
    pub who: Who,
    /// where in the circuit it stands, for a contact
    pub role: Role,
    /// time to get at it, minutes
    pub access_min: f64,
    /// whether a dry reading is at hand
    pub has_dry_reading: bool,
    /// display of a dry box below which it cannot be the cause, V; `None` where the box is too coarse
    pub dry_box_below_v: Option<f64>,
    /// volts across it while the signal plays below which it cannot be the cause whatever it does
    pub signal_below_v: Option<f64>,
    /// whether it can be worked from outside: a switch or a control
    pub can_be_worked: bool,
    /// the part it belongs to
    pub part: String,
    /// how likely it is beside the others: 1, or [`LIKELIER`] where a reading or the other channel points at it; with draws
    /// its probability over that of what is no candidate
    pub weight: f64,
    /// with draws, if it is at fault: chances that turning up, working its part, tapping cure it, that it is heard in a pause
    pub cures: Option<[f64; 4]>,
    /// whether a control follows it
    pub drives_control: bool,
    /// whether it stands before a loudspeaker whose amplifier's direct voltage nobody has measured
    pub guards: bool,
    /// whether it is a relay: open while the set is off
    pub is_relay: bool,
    /// what the sheet already says was tried on it
    pub done: Done,
}

/// What was already tried on what is no contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Done {
    /// its bias was measured
    pub bias: bool,
    /// direct voltage behind it was measured
    pub direct: bool,
    /// left and right were swapped there
    pub swapped: bool,
    /// the bias that was found is below what is usual
    pub bias_low: bool,
    /// the bias that was found is far above what is usual
    pub bias_high: bool,
    /// the direct voltage that was found is more than a sound capacitor leaves
    pub leaks: bool,
}

/// Chance that a cure works where the one that it is about is not at fault \[assumption\].
const BY_CHANCE: f64 = 0.03;
const TAP_MIN: f64 = 2.0;
/// Place of "heard in a pause" in [`Candidate::cures`].
const IN_PAUSES: usize = 3;

/// Expected information of a test with two outcomes: entropy of the outcome less what it has where the culprit is known
/// (Shannon 1948), bits. `p` are probabilities that sum to one, `q` the chance of the outcome under each.
#[must_use]
pub fn information(p: &[f64], q: &[f64]) -> f64 {
    let entropy = |q: f64| if q <= 0.0 || q >= 1.0 { 0.0 } else { -(q * q.log2() + (1.0 - q) * (1.0 - q).log2()) };
    let mean: f64 = p.iter().zip(q).map(|(p, q)| p * q).sum();
    (entropy(mean) - p.iter().zip(q).map(|(p, q)| p * entropy(*q)).sum::<f64>()).max(0.0)
}

/// Weights from probabilities: beside the candidates stands one that weighs 1, all that is no candidate.
pub fn by_probability(open: &mut [Candidate], probability: impl Fn(&Who) -> f64) {
    const LEAST: f64 = 1e-3;
    let all: f64 = open.iter().map(|c| probability(&c.who)).sum();
    let rest = (1.0 - all).max(LEAST);
    for candidate in open {
        candidate.weight = probability(&candidate.who) / rest;
    }
}

/// Bits of a cure that is tried, `which` of [`Candidate::cures`]; where `on` says no, it works by chance.
fn by_cure(open: &[Candidate], which: usize, on: impl Fn(&Candidate) -> bool) -> Option<f64> {
    let whole = open.iter().map(|c| c.weight).sum::<f64>() + 1.0;
    let mut p = vec![1.0 / whole];
    // nobody knows of what no candidate is whether it needs the music
    let mut q = vec![if which == IN_PAUSES { 0.5 } else { BY_CHANCE }];
    for candidate in open {
        p.push(candidate.weight / whole);
        q.push(if on(candidate) { candidate.cures?[which] } else { BY_CHANCE });
    }
    Some(information(&p, &q))
}

/// Tapping along the parts: what is loose or chatters answers.
///
/// `None` without draws, and where it would decide nothing.
#[must_use]
pub fn tap(channel: Channel, open: &[Candidate]) -> Option<NextStep> {
    let bits = by_cure(open, 2, |_| true)?;
    (bits >= WORTH_BITS).then(|| NextStep {
        what: "Tap the case while it plays, with something insulating".into(),
        contact: None,
        channel,
        minutes: TAP_MIN,
        bits,
        lid_on: true,
        reads_as: "a change speaks for a contact that chatters".into(),
    })
}

/// Stopping the music: what only carries the signal falls silent, what makes a noise of its own goes on.
///
/// `None` without draws, and where it would decide nothing.
#[must_use]
pub fn pause(channel: Channel, open: &[Candidate]) -> Option<NextStep> {
    let bits = by_cure(open, IN_PAUSES, |_| true)?;
    (bits >= WORTH_BITS).then(|| NextStep {
        what: "Stop the music and listen".into(),
        contact: None,
        channel,
        minutes: LISTEN_MIN,
        bits,
        lid_on: true,
        reads_as: "it goes on: not a contact that only carries the signal; look at a stage's own noise or, while a control is turned, at direct voltage on it"
            .into(),
    })
}

/// Weight of a candidate that can account for it by its reading, or whose part was proved on the other channel \[assumption\].
pub const LIKELIER: f64 = 3.0;
/// Time to open an amplifier where the sheet gives no access time, minutes (common practice).
pub const LID_MIN: f64 = 10.0;
const LISTEN_MIN: f64 = 1.0;
const SWAP_MIN: f64 = 2.0;
const CLIP_LEAD_MIN: f64 = 3.0;
const DRY_BOX_MIN: f64 = 4.0;
const MILLIVOLTS_MIN: f64 = 5.0;
/// Smallest alternating voltage that a bench meter tells, V (common practice).
const READABLE_V: f64 = 2e-4;
const REWORK_MIN: f64 = 15.0;
const BIAS_MIN: f64 = 10.0;
/// Set, and look again after 15 minutes (common practice).
const SET_BIAS_MIN: f64 = 25.0;
const DIRECT_MIN: f64 = 5.0;
/// A reading settles less than a bridge: share of the bits that it is given \[assumption\].
const READING_SHARE: f64 = 0.8;
const LID_OFF_ADVANTAGE: f64 = 3.0;
const WORTH_BITS: f64 = 0.01;

fn bits(part: f64, whole: f64) -> f64 {
    if part <= 0.0 || part >= whole {
        return 0.0;
    }
    let p = part / whole;
    -(p * p.log2() + (1.0 - p) * (1.0 - p).log2())
}

/// Tests for one channel, best first; `unheard` lists routes that nobody listened on, with what stands on them.
#[must_use]
pub fn propose(channel: Channel, open: &[Candidate], unheard: &[(String, Vec<Who>)], alike: bool) -> Vec<NextStep> {
    // one more for "something else": a single suspect is still worth a test
    let whole = open.iter().map(|c| c.weight).sum::<f64>() + 1.0;
    let mut steps = Vec::new();
    let mut add = |what: String, contact: Option<&Who>, minutes: f64, bits: f64, lid_on: bool, reads_as: String| {
        if bits >= WORTH_BITS {
            let contact = contact.map(|who| who.name().to_owned());
            steps.push(NextStep { what, contact, channel, minutes, bits, lid_on, reads_as });
        }
    };
    for (route, on_it) in unheard {
        let covered = open.iter().filter(|c| on_it.contains(&c.who)).map(|c| c.weight).sum();
        let what = format!("Listen on \"{route}\", no louder than before");
        add(
            what,
            None,
            LISTEN_MIN,
            bits(covered, whole),
            true,
            "clean there clears what it shares with the bad route".into(),
        );
    }
    let mut parts: Vec<&str> = open.iter().filter(|c| c.can_be_worked).map(|c| c.part.as_str()).collect();
    parts.sort_unstable();
    parts.dedup();
    for part in parts {
        let covered = open.iter().filter(|c| c.part == part).map(|c| c.weight).sum();
        add(
            format!("Work the {part} ten times and listen"),
            open.iter().find(|c| c.part == part && c.who.is_contact()).map(|c| &c.who),
            LISTEN_MIN,
            by_cure(open, 1, |c| c.part == part).unwrap_or_else(|| READING_SHARE * bits(covered, whole)),
            true,
            "a change points at it".into(),
        );
    }
    for candidate in open {
        let one = bits(candidate.weight, whole);
        match &candidate.who {
            Who::Source(name) if !alike && !candidate.done.swapped => {
                add(
                    format!("Volume down, set off: swap the left and right plugs of the {name}"),
                    None,
                    SWAP_MIN,
                    one,
                    true,
                    "the fault changes sides: it is before them".into(),
                );
            }
            Who::Loudspeaker(name) if !alike && !candidate.done.swapped => {
                add(
                    format!("{SWAP_LOUDSPEAKERS} {name}s, power off"),
                    None,
                    SWAP_MIN,
                    one,
                    true,
                    "the fault stays with the loudspeaker: it is the loudspeaker".into(),
                );
            }
            Who::Stage(name) if candidate.who.is_power_stage() && !candidate.done.bias => {
                add(
                    format!("Measure the bias of the {name} (live: only if you are trained for it)"),
                    None,
                    LID_MIN + BIAS_MIN,
                    READING_SHARE * one,
                    false,
                    "below the maker's figure (often 15 to 20 mV, common practice): under-biased".into(),
                );
            }
            Who::Stage(name) if candidate.done.bias_high => {
                add(
                    format!(
                        "{COOL} set the bias of the {name} down by the maker's figure (live: only if you are trained for it)"
                    ),
                    None,
                    LID_MIN + SET_BIAS_MIN,
                    one.max(WORTH_BITS),
                    false,
                    "it runs hot: no more listening before; look again after 15 minutes and after an hour or two"
                        .into(),
                );
            }
            Who::Stage(name) if candidate.done.bias_low => {
                add(
                    format!(
                        "{SET_BIAS} of the {name} by the maker's figure, volume down, no loudspeaker (live: only if you are trained for it)"
                    ),
                    None,
                    LID_MIN + SET_BIAS_MIN,
                    one.max(WORTH_BITS),
                    false,
                    "look again after 15 minutes and after an hour or two; clean then: it was under-biased".into(),
                );
            }
            Who::Stage(name) | Who::Source(name) if candidate.done.leaks => {
                add(
                    format!("{RENEW} before and behind the control that the {name} drives"),
                    None,
                    LID_MIN + REWORK_MIN,
                    one.max(WORTH_BITS),
                    false,
                    "silent then: one of them leaked; the same: the control's track is worn".into(),
                );
            }
            Who::Stage(name) if candidate.drives_control && !candidate.done.direct => {
                add(
                    format!(
                        "Direct voltage behind the {name}, nothing playing, no loudspeaker (live: only if you are trained for it)"
                    ),
                    None,
                    LID_MIN + DIRECT_MIN,
                    READING_SHARE * one,
                    false,
                    "more than some millivolts on a control: a coupling capacitor before or behind it leaks".into(),
                );
            }
            Who::Contact(name) => {
                let access = candidate.access_min;
                let (what, minutes) = match candidate.role {
                    Role::Signal | Role::Return | Role::SharedReturn if candidate.guards => (
                        format!("{NO_DIRECT_BEFORE} {name}; if there is none: clip lead across it"),
                        CLIP_LEAD_MIN + DIRECT_MIN,
                    ),
                    Role::Signal | Role::Return | Role::SharedReturn => {
                        (format!("Clip lead across {name}"), CLIP_LEAD_MIN)
                    }
                    // a clip lead across it would mute, not cure
                    Role::Shunt => (format!("Take {name} out of circuit, set off meanwhile"), REWORK_MIN),
                    // bridging it with the set on can destroy the output stage (common practice)
                    Role::Feedback | Role::Supply | Role::Bias => {
                        (format!("Set off and discharged: renew {name}, never bridge it"), REWORK_MIN)
                    }
                };
                let guards = candidate.guards && candidate.role.is_in_the_path();
                let reads_as = if guards {
                    "clean: proved; the same: cleared; bridged it protects nothing"
                } else {
                    "clean: proved; the same: cleared"
                }
                .into();
                add(what, Some(&candidate.who), access + minutes, one, false, reads_as);
                if matches!(candidate.role, Role::Signal | Role::Return | Role::SharedReturn)
                    && !candidate.has_dry_reading
                {
                    let reads_as = candidate.dry_box_below_v.map_or_else(
                        || "too coarse to clear it here; many ohms point at it".to_owned(),
                        |volt| {
                            format!(
                                "under {} it cannot be the cause unless it jumps",
                                engineering(volt, Dimension::Voltage)
                            )
                        },
                    );
                    let fed = if candidate.is_relay { ", its coil fed from a supply of its own" } else { "" };
                    add(
                        format!("Dry box on {name}{fed}"),
                        Some(&candidate.who),
                        access + DRY_BOX_MIN,
                        READING_SHARE * one,
                        false,
                        reads_as,
                    );
                }
                if let Some(volt) = candidate.signal_below_v.filter(|v| candidate.has_dry_reading && *v >= READABLE_V) {
                    let below = engineering(volt, Dimension::Voltage);
                    add(
                        format!(
                            "Alternating millivolts across {name} while it plays a tone (live: only if you are trained for it)"
                        ),
                        Some(&candidate.who),
                        access + MILLIVOLTS_MIN,
                        READING_SHARE * one,
                        false,
                        format!("under {below}, as loud as it was heard, it cannot be the cause, jumping or not"),
                    );
                }
            }
            _ => {}
        }
    }
    most_telling_first(&mut steps);
    steps
}

/// A relay in the way of a loudspeaker may be open because of it, and bridged it protects nothing (common practice).
const NO_DIRECT_BEFORE: &str = "No loudspeaker: direct voltage before";
const SWAP_LOUDSPEAKERS: &str = "Swap left and right at the";

/// What was measured to be off is put right first, whatever the odds.
const SET_BIAS: &str = "Set the bias";
const COOL: &str = "Over-biased: set off, let it cool;";
const RENEW: &str = "Set off, unplugged and discharged: renew the coupling capacitors";

/// Sorts tests, repairs of what was found off first, then by bits a minute; a lid-off one needs more than three times as many to come before a lid-on one.
pub fn most_telling_first(steps: &mut [NextStep]) {
    let rate = |step: &NextStep| step.bits / step.minutes * if step.lid_on { LID_OFF_ADVANTAGE } else { 1.0 };
    steps.sort_by(|a, b| rate(b).total_cmp(&rate(a)));
    let first = [DIRECT_FIRST, COOL, SET_BIAS, RENEW];
    steps.sort_by_key(|step| first.iter().position(|start| step.what.starts_with(start)).unwrap_or(first.len()));
}

/// Turning the volume up: what stands behind the control gets more signal, the rest does not.
///
/// `behind` lists what follows the listener's hand. More signal breaks a film or leaves crossover residue behind, so a
/// change points behind the control; no change says little, as a film may hold or may not be there (common practice).
/// `None` where it would decide nothing. Not for a sheet that already says what turning up does.
#[must_use]
pub fn turn_up(channel: Channel, open: &[Candidate], behind: &[Who]) -> Option<NextStep> {
    let whole = open.iter().map(|c| c.weight).sum::<f64>() + 1.0;
    let covered = open.iter().filter(|c| behind.contains(&c.who)).map(|c| c.weight).sum();
    let bits = by_cure(open, 0, |_| true).unwrap_or_else(|| READING_SHARE * bits(covered, whole));
    (bits >= WORTH_BITS).then(|| NextStep {
        what: "Turn the volume up for a moment, back down, and listen".into(),
        contact: None,
        channel,
        minutes: LISTEN_MIN,
        bits,
        lid_on: true,
        reads_as: "a change points behind the volume control; no change decides little".into(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contact(name: &str, access_min: f64) -> Candidate {
        Candidate {
            who: Who::Contact(name.into()),
            role: Role::Signal,
            access_min,
            has_dry_reading: false,
            dry_box_below_v: Some(1.55e-3),
            signal_below_v: None,
            can_be_worked: false,
            part: name.split(" / ").next().unwrap_or(name).into(),
            weight: 1.0,
            cures: None,
            drives_control: false,
            guards: false,
            is_relay: false,
            done: Done::default(),
        }
    }

    #[test]
    fn an_even_split_is_one_bit() {
        assert!((bits(2.0, 4.0) - 1.0).abs() < 1e-15);
        assert!((bits(1.0, 4.0) - 0.811_278_124_459_133).abs() < 1e-12);
        assert_eq!(bits(0.0, 4.0), 0.0);
    }

    #[test]
    fn quick_and_telling_first_and_in_the_meters_units() {
        let open = [contact("selector / phono", 40.0), contact("relay / a", 15.0)];
        let unheard = [("tape".to_owned(), vec![Who::Contact("relay / a".into())])];
        let steps = propose(Channel::Left, &open, &unheard, false);
        assert!(steps[0].what.contains("Listen on \"tape\""));
        assert_eq!(steps[1].what, "Clip lead across relay / a");
        let box_step = steps.iter().find(|s| s.what == "Dry box on selector / phono").unwrap();
        assert_eq!(box_step.reads_as, "under 1.55 mV it cannot be the cause unless it jumps");
        assert!(steps.windows(2).all(|w| w[0].lid_on || !w[1].lid_on));
    }

    #[test]
    fn nothing_open_nothing_to_do() {
        assert!(propose(Channel::Left, &[], &[], false).is_empty());
    }

    #[test]
    fn turning_up_separates_what_stands_behind_the_control() {
        let open = [contact("selector / phono", 40.0), contact("relay / a", 15.0), contact("relay / b", 15.0)];
        let behind = [Who::Contact("relay / a".into()), Who::Contact("relay / b".into())];
        // two of four, "something else" counted: one bit, by the share of a reading
        let step = turn_up(Channel::Left, &open, &behind).unwrap();
        assert!((step.bits - READING_SHARE).abs() < 1e-15 && step.lid_on && step.minutes == 1.0);
        assert!(turn_up(Channel::Left, &open, &[]).is_none());
    }

    #[test]
    fn lid_off_goes_first_only_at_more_than_three_times_the_bits_a_minute() {
        let unheard = [("tape".to_owned(), vec![Who::Contact("relay / b".into())])];
        let first = |weight: f64| {
            let likely = contact("relay / a", 0.0);
            let unlikely = Candidate { weight, ..contact("relay / b", 0.0) };
            propose(Channel::Left, &[likely, unlikely], &unheard, false).remove(0).what
        };
        // clip lead on a: 1 of 2.01, 1.00 bit in 3 min; listening splits off 0.01 of 2.01, 0.045 bit in 1 min: 7 times
        assert_eq!(first(0.01), "Clip lead across relay / a");
        // 0.99 bit in 3 min against 0.247 bit in 1 min: 1.3 times
        assert!(first(0.09).starts_with("Listen"));
    }

    #[test]
    fn no_clip_lead_where_it_would_mute_or_destroy() {
        for role in [Role::Shunt, Role::Feedback, Role::Supply, Role::Bias] {
            let one = Candidate { role, ..contact("mute / a", 0.0) };
            let steps = propose(Channel::Left, &[one], &[], false);
            assert!(!steps.is_empty());
            assert!(steps.iter().all(|s| !s.what.contains("Clip") && !s.what.contains("Dry box")), "{steps:?}");
        }
    }
}

#[cfg(test)]
mod cures;
