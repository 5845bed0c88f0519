//! What the evidence says about one contact and channel.

use super::needs::{LOSS_SURELY_HEARD_DB, Need};
use super::suspects::Standing;
use crate::bench::Channel;
use crate::bench::evidence::words;
use crate::bench::quantity::{Dimension, engineering};
use crate::bench::range::ResistanceRange;
use crate::circuit::Role;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

words! {
    /// Kind of a finding.
    Kind {
        /// a clip lead across it, or its replacement, restored clean sound
        Proved = "proved",
        /// it can do all that is heard at the resistance that was read
        Able = "able to account for it",
        /// even the ceiling at the upper end of its reading is below what is heard
        CannotBeSole = "cannot be the sole cause",
        /// the same, as long as it is steady: one that jumps faster than a meter looks escapes a reading at rest
        CannotUnlessItJumps = "cannot unless it jumps",
        /// a clean route runs through it with no larger signal
        Cleared = "cleared",
        /// its reading is usual for its kind and nothing points at it
        InOrder = "in order",
        /// the evidence does not reach
        NotSettled = "not settled",
    }
}

/// The bound that clears a contact, in the words of the bench.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bound {
    /// what it is from: "the millivolts across it", "its largest ohms", "all contacts of the route together"
    pub by: String,
    /// the route
    pub route: String,
    /// the most (or, of a measured loss, the least) that the contact can do there
    pub at_most: f64,
    /// what is heard takes so much
    pub needed: f64,
    /// of both: "ratio" to the tone, or "dB"
    pub unit: &'static str,
}

/// Name of the bound of all contacts at once.
pub const TOGETHER: &str = "all contacts of the route together";

/// The finding on one contact and channel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// the contact, `part / position`
    pub contact: String,
    /// the channel
    pub channel: Channel,
    /// what the evidence says
    pub kind: Kind,
    /// most residue it can cause (any contact that stays below the upper end of its reading, T1), as a ratio; `None` without a bound
    pub ceiling: Option<f64>,
    /// loss at the ends of its reading, dB at 1 kHz; `None` without a reading or a bound
    pub loss_db: (Option<f64>, Option<f64>),
    /// resistance at the ends of its reading, ohm
    pub resistance_ohm: (Option<f64>, Option<f64>),
    /// whether the reading is as the signal would find it
    pub dry: Option<bool>,
    /// whether it is usual for its kind; `None` without a reading or a limit
    pub in_order: Option<bool>,
    /// largest steady residue by film law at the resistance that was read, in a resistive loop; chatter between zero and the upper end
    pub by_hypothesis: BTreeMap<String, f64>,
    /// ohms below which it cannot be the cause, as long as it does not jump past them, if anything on it was heard
    pub impossible_below_ohm: Option<f64>,
    /// volts across it, while the signal plays as loud as it was heard, below which it cannot be the cause whatever it does (T8)
    pub impossible_below_v: Option<f64>,
    /// that it is at fault, alone or with another; `None` without draws or without a symptom
    pub probability: Option<f64>,
    /// its standard error from the number of draws
    pub probability_se: Option<f64>,
    /// of that, law by law, alone
    pub probability_by_hypothesis: BTreeMap<String, f64>,
    /// the bound that clears it; `None` where none does, or routes, a bridge or its kind decide
    pub bound: Option<Bound>,
    /// the bound of all contacts of that route together, where it clears them all
    pub bound_together: Option<Bound>,
    /// why, in sentences
    pub reasons: Vec<String>,
    /// the assumption or evidence that decides
    pub decided_by: String,
}

/// What one contact can do on one bad route.
#[derive(Debug, Clone, PartialEq)]
pub struct Ability {
    /// the route
    pub route: String,
    /// what is asked of it there
    pub need: Need,
    /// residue ceiling at the resistance it surely reached and at the upper end; infinite where nothing bounds it
    pub residue: (f64, f64),
    /// whether the upper end of the residue is by millivolts read across it while it played (T8)
    pub by_millivolts: bool,
    /// what that bound of the residue is from, in the words of [`Bound::by`]
    pub by: String,
    /// the same for loss and response change
    pub loss_by: &'static str,
    /// loss at 1 kHz at the resistance it surely reached and at the upper end, dB
    pub loss_db: (f64, f64),
    /// largest loss of a contact that jumps and shows its mean to the meter, dB
    pub jumping_loss_db: f64,
    /// loss at 1 kHz at the smallest resistance of its readings, dB
    pub least_loss_db: f64,
    /// response change at the resistance it surely reached and at the upper end, dB
    pub change_db: (f64, f64),
    /// whether quieter, imbalance or dead was also heard on that route and channel
    pub loss_was_heard: bool,
    /// ohms below which it cannot do what is heard here
    pub impossible_below_ohm: Option<f64>,
    /// volts across it below which it cannot
    pub impossible_below_v: Option<f64>,
}

/// Verdict of the ohms on one bad route.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Verdict {
    Able,
    Cannot,
    CannotSteady,
    Open,
}

fn percent(ratio: f64) -> String {
    if ratio.is_infinite() { "any".to_owned() } else { engineering(ratio, Dimension::Ratio) }
}

fn decibel(db: f64) -> String {
    if db.is_infinite() { "any loss".to_owned() } else { engineering(db, Dimension::Decibel) }
}

/// Judges one route by the ohms; returns the verdict, the reason, the assumption that decided, and the bound that clears.
fn judge(ability: &Ability, range: &ResistanceRange) -> (Verdict, String, &'static str, Option<Bound>) {
    let (verdict, reason, decided) = verdict(ability, range);
    let bound = |by: &str, at_most, needed, unit| Bound {
        by: by.to_owned(),
        route: ability.route.clone(),
        at_most,
        needed,
        unit,
    };
    let bound = matches!(verdict, Verdict::Cannot | Verdict::CannotSteady).then(|| match ability.need {
        Need::Residue(needed, _) | Need::ResidueNowAndThen(needed, _) => {
            bound(&ability.by, ability.residue.1, needed, "ratio")
        }
        Need::Loss(.., most) if ability.least_loss_db > most => {
            bound("its smallest ohms", ability.least_loss_db, most, "dB")
        }
        Need::ResponseChange(needed, _) => bound(ability.loss_by, ability.change_db.1, needed, "dB"),
        Need::Loss(needed, ..) | Need::LossNowAndThen(needed, _) => {
            bound(ability.loss_by, ability.loss_db.1, needed, "dB")
        }
        Need::NotComputed => bound("nothing", f64::NAN, f64::NAN, "ratio"),
    });
    (verdict, reason, decided, bound)
}

/// Of several bounds the one that leaves least room.
fn tightest(bounds: impl Iterator<Item = Bound>) -> Option<Bound> {
    let share = |bound: &Bound| bound.at_most / bound.needed;
    bounds.min_by(|a, b| share(a).total_cmp(&share(b)))
}

fn verdict(ability: &Ability, range: &ResistanceRange) -> (Verdict, String, &'static str) {
    const READING: &str = "the upper end of its reading, grown as far as a rectifying film could at this signal";
    const MILLIVOLTS: &str = "the millivolts across it while the signal played";
    let residue_asked = matches!(ability.need, Need::Residue(..) | Need::ResidueNowAndThen(..));
    let upper = if ability.by_millivolts && residue_asked { MILLIVOLTS } else { READING };
    let route = &ability.route;
    if ability.need.needs_moved_reading() && !range.moved {
        let reason = format!(
            "route \"{route}\": a reading at rest excludes no crackle or drop-out; read it while tapping and turning"
        );
        return (Verdict::Open, reason, "the contact was not moved while it was read");
    }
    let from = if residue_asked { ability.by.as_str() } else { ability.loss_by };
    let by_reach = |low: f64, high: f64, (need, sure): (f64, f64), text: &dyn Fn(f64) -> String, what: &str| {
        if high < need {
            let (high, need) = (text(high), text(need));
            let reason =
                format!("route \"{route}\": at most {high} {what} (bound from {from}), what is heard takes {need}");
            (Verdict::Cannot, reason, upper)
        } else if low >= sure {
            let reason = format!("route \"{route}\": up to {} {what}, what is heard takes {}", text(low), text(sure));
            (Verdict::Able, reason, "chatter, the worst that the reading allows")
        } else if low >= need {
            let (low, need, sure) = (text(low), text(need), text(sure));
            let reason = format!("route \"{route}\": up to {low} {what}, what is heard takes {need} to {sure}");
            (Verdict::Open, reason, "which model of hearing holds, or where within its range the measured value lies")
        } else {
            let reason = format!(
                "route \"{route}\": {} to {} {what} within the reading, what is heard takes {}",
                text(low),
                text(high),
                text(need)
            );
            (Verdict::Open, reason, "the width of the reading")
        }
    };
    match ability.need {
        Need::Residue(need, sure) | Need::ResidueNowAndThen(need, sure) => {
            let mut found = by_reach(ability.residue.0, ability.residue.1, (need, sure), &percent, "residue");
            if found.0 == Verdict::Cannot && !ability.by_millivolts {
                found = steady_only(found);
            }
            if found.0 == Verdict::Able && ability.least_loss_db > LOSS_SURELY_HEARD_DB && !ability.loss_was_heard {
                let reason = format!(
                    "route \"{route}\": at the resistance read it would also be {} quieter, and nobody noted that",
                    decibel(ability.least_loss_db)
                );
                return (Verdict::Open, reason, "a steady loss would have been noted");
            }
            found
        }
        Need::Loss(least, sure, most) => {
            if ability.least_loss_db > most {
                let (quieter, most) = (decibel(ability.least_loss_db), decibel(most));
                if range.at_signal {
                    let reason = format!(
                        "route \"{route}\": it would be at least {quieter} quieter (bound from its smallest ohms), more than the {most} that was measured"
                    );
                    return (Verdict::Cannot, reason, "the measured loss");
                }
                // a film lets more through at the signal than at a meter's millivolts, as much as it likes
                let reason = format!(
                    "route \"{route}\": at the resistance read it would be {quieter} quieter, {most} was measured: not it, unless a film conducts better at the signal or it jumps"
                );
                return (Verdict::Open, reason, "whether it conducts better at the signal than at the meter");
            }
            let mut found = by_reach(ability.loss_db.0, ability.loss_db.1, (least, sure), &decibel, "quieter");
            if found.0 == Verdict::Able {
                found.2 = "the resistance that was read";
            }
            if found.0 == Verdict::Cannot && !range.at_signal && ability.jumping_loss_db >= least {
                found = steady_only(found);
            }
            found
        }
        Need::LossNowAndThen(least, sure) => {
            let found = by_reach(ability.loss_db.0, ability.loss_db.1, (least, sure), &decibel, "quieter");
            // a drop shorter than the meter's look is none to it, moved or not
            if found.0 == Verdict::Cannot { steady_only(found) } else { found }
        }
        Need::ResponseChange(least, sure) => {
            let found = by_reach(ability.change_db.0, ability.change_db.1, (least, sure), &decibel, "response change");
            // open for a share of the time it takes that share of the treble, whatever its mean
            if found.0 == Verdict::Cannot { steady_only(found) } else { found }
        }
        Need::NotComputed => {
            let reason = format!("route \"{route}\": hum through a contact is not computed by this version");
            (Verdict::Open, reason, "not computed")
        }
    }
}

/// A meter shows the mean of what jumps faster than it looks, moved or not: what is heard of such a contact has no bound in ohms.
fn steady_only((_, reason, _): (Verdict, String, &'static str)) -> (Verdict, String, &'static str) {
    let reason = format!("{reason}; a meter shows only the mean of a contact that jumps fast");
    (Verdict::CannotSteady, reason, "that it does not jump faster than the meter looks")
}

/// All that is known about one contact and channel before it is judged.
#[derive(Debug, Clone)]
pub struct Known<'a> {
    /// the contact
    pub contact: &'a str,
    /// the channel
    pub channel: Channel,
    /// where in the circuit it stands
    pub role: Role,
    /// where the route logic left it; `None` if nobody listened through it
    pub standing: Option<&'a Standing>,
    /// its reading
    pub range: Option<ResistanceRange>,
    /// what it can do on each bad route and symptom it stands on
    pub abilities: Vec<Ability>,
    /// largest resistance usual for its kind, ohm
    pub in_order_up_to_ohm: Option<f64>,
    /// largest steady residue by law
    pub by_hypothesis: BTreeMap<String, f64>,
}

fn ohm(value: f64) -> String {
    engineering(value, Dimension::Resistance)
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

impl Known<'_> {
    /// The finding.
    #[must_use]
    pub fn judge(self) -> Finding {
        let mut reasons = Vec::new();
        let in_order = match (self.range, self.in_order_up_to_ohm) {
            (Some(range), Some(limit)) if range.shown_high_ohm <= limit => Some(true),
            (Some(range), Some(limit)) if range.reached_ohm > limit => Some(false),
            _ => None,
        };
        let (kind, decided_by, bound) = self.decide(in_order, &mut reasons);
        let worst = self.abilities.iter().map(|a| a.residue.1).fold(f64::NAN, f64::max);
        let loss = |pick: fn(&Ability) -> f64| self.abilities.iter().map(pick).fold(f64::NAN, f64::max);
        Finding {
            contact: self.contact.to_owned(),
            channel: self.channel,
            kind,
            ceiling: finite(worst),
            loss_db: (finite(loss(|a| a.least_loss_db)), finite(loss(|a| a.loss_db.1))),
            resistance_ohm: (self.range.map(|r| r.low_ohm), self.range.and_then(|r| finite(r.high_ohm))),
            dry: self.range.map(|r| r.dry),
            in_order,
            by_hypothesis: self.by_hypothesis,
            impossible_below_ohm: self.abilities.iter().filter_map(|a| a.impossible_below_ohm).reduce(f64::min),
            impossible_below_v: self.abilities.iter().filter_map(|a| a.impossible_below_v).reduce(f64::min),
            probability: None,
            probability_se: None,
            probability_by_hypothesis: BTreeMap::new(),
            bound,
            bound_together: None,
            reasons,
            decided_by,
        }
    }

    fn decide(&self, in_order: Option<bool>, reasons: &mut Vec<String>) -> (Kind, String, Option<Bound>) {
        let volt = |v: f64| engineering(v, Dimension::Voltage);
        match self.standing {
            Some(Standing::Proved) => {
                reasons.push("bridging or replacing it restored clean sound".to_owned());
                return (Kind::Proved, "the bridge".to_owned(), None);
            }
            Some(Standing::BridgedNoChange) => {
                reasons.push("a bridge across it changed nothing".to_owned());
                return (Kind::CannotBeSole, "the bridge".to_owned(), None);
            }
            Some(Standing::ClearedBy { route, level_v, bad_level_v }) => {
                // in a feedback, supply or bias network no signal level is known, and none is needed
                reasons.push(if self.role.is_in_the_path() {
                    let (here, there) = (volt(*level_v), volt(*bad_level_v));
                    format!(
                        "route \"{route}\" is clean through it with {here}, no more than the {there} of the bad route"
                    )
                } else {
                    format!("route \"{route}\" is clean through it")
                });
                return (Kind::Cleared, format!("clean on \"{route}\""), None);
            }
            Some(Standing::NotOnABadRoute(clean_on)) => {
                if in_order == Some(true) {
                    reasons.push("its reading is usual for its kind, and nothing points at it".to_owned());
                    return (Kind::InOrder, "its reading".to_owned(), None);
                }
                if let Some(route) = clean_on {
                    reasons.push(format!("route \"{route}\" is clean through it"));
                    return (Kind::Cleared, format!("clean on \"{route}\""), None);
                }
            }
            None => {
                if in_order == Some(true) {
                    reasons.push("its reading is usual for its kind, and nothing points at it".to_owned());
                    return (Kind::InOrder, "its reading".to_owned(), None);
                }
                reasons.push("nobody has listened on a route through it".to_owned());
                return (Kind::NotSettled, "no evidence".to_owned(), None);
            }
            Some(Standing::LouderElsewhere { route, level_v, bad_level_v }) => reasons.push(format!(
                "route \"{route}\" is clean through it, but with {} against {}: a larger signal may break its film",
                volt(*level_v),
                volt(*bad_level_v)
            )),
            Some(Standing::PerhapsMissed { route }) => reasons.push(format!(
                "route \"{route}\" is clean through it, but what was heard is slight and may have been missed there"
            )),
            Some(Standing::Suspect) => {}
        }
        self.by_ohms(reasons)
    }

    fn by_ohms(&self, reasons: &mut Vec<String>) -> (Kind, String, Option<Bound>) {
        if !self.role.is_in_the_path() {
            let word = self.role.word();
            reasons.push(format!("a contact in a {word} network: nothing bounds what it does, so no ohms clear it"));
            return (Kind::NotSettled, format!("its role: {word}"), None);
        }
        let below = self.abilities.iter().filter_map(|a| a.impossible_below_ohm).reduce(f64::min);
        let Some(range) = self.range else {
            reasons.push(match below {
                Some(limit) => format!("no reading; below {} it cannot be the cause unless it jumps", ohm(limit)),
                None => "no reading".to_owned(),
            });
            return (Kind::NotSettled, "no reading".to_owned(), None);
        };
        if !range.dry {
            reasons.push(format!(
                "read with more voltage than the signal has: it is at least {}, and may be far more to the signal",
                ohm(range.low_ohm)
            ));
        }
        if range.fritted {
            reasons.push(
                "the meter's current times the reading is 0.1 to 0.5 V: the meter has probably broken a film"
                    .to_owned(),
            );
        }
        let mut verdicts = Vec::new();
        for ability in &self.abilities {
            let (verdict, reason, decided, bound) = judge(ability, &range);
            reasons.push(reason);
            verdicts.push((verdict, decided, bound));
        }
        let pick = |wanted| verdicts.iter().find(|v| v.0 == wanted).map(|v| v.1.to_owned());
        if let Some(decided) = pick(Verdict::Cannot) {
            // of several routes that clear it the one that leaves least room is quoted
            let bounds = verdicts.into_iter().filter_map(|v| v.2);
            (Kind::CannotBeSole, decided, tightest(bounds))
        } else if let Some(decided) = pick(Verdict::CannotSteady) {
            reasons.push("millivolts read across it while it plays would settle it for any contact".to_owned());
            (Kind::CannotUnlessItJumps, decided, tightest(verdicts.into_iter().filter_map(|v| v.2)))
        } else if let Some(decided) = pick(Verdict::Open) {
            (Kind::NotSettled, decided, None)
        } else if let Some(decided) = pick(Verdict::Able) {
            (Kind::Able, decided, None)
        } else {
            reasons.push("nothing wrong was heard through it, and its reading is not usual for its kind".to_owned());
            (Kind::NotSettled, "nothing was heard".to_owned(), None)
        }
    }
}

#[cfg(test)]
mod tests;
