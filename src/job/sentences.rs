//! The answer in sentences: headlines, reasons, rivals, assumptions, cautions.

use super::model::{Job, part_of};
use super::report::{Headline, Rival, Row};
use super::route::Route;
use super::routes::Routes;
use super::rows::{is_proved, side};
use super::together::Together;
use crate::bench::evidence::{ComesBack, GoesAway, InPauses, Swapped};
use crate::bench::kind::Kind as PartKind;
use crate::bench::quantity::{Dimension, engineering};
use crate::bench::{Channel, Heard, Strength, What};
use crate::circuit::Role;
use crate::judgement::finding::TOGETHER;
use crate::judgement::suspects::ChannelPicture;
use crate::judgement::{Kind, Picture, Standing, Who};
use crate::response::ceiling::loss_range_for_residue;
use std::collections::BTreeMap;

pub(super) fn rivals(picture: &Picture, rows: &[Row]) -> Vec<Rival> {
    let mut open: BTreeMap<&Who, Vec<Channel>> = BTreeMap::new();
    for channel in &picture.channels {
        for (who, standing) in &channel.standing {
            let asked = !channel.symptoms.is_empty() && !is_proved(rows, channel.channel);
            if !who.is_contact() && standing.is_open() && asked {
                open.entry(who).or_default().push(channel.channel);
            }
        }
    }
    let test = |who: &Who| match who {
        Who::Source(_) => "swap its left and right plugs, set off; a fault that moves is before them".to_owned(),
        Who::Loudspeaker(_) => "swap them, power off; a fault that stays is the loudspeaker".to_owned(),
        Who::Stage(_) if who.is_power_stage() => {
            "live, only if trained: bias by the maker's figure; without it measure only".to_owned()
        }
        Who::Stage(_) | Who::Contact(_) => {
            "live, only if trained: noise and direct voltage behind it, input shorted".to_owned()
        }
    };
    open.into_iter().map(|(who, channels)| Rival { who: who.to_string(), channels, test: test(who) }).collect()
}

pub(super) fn list(names: &[&str]) -> String {
    match names {
        [] => "nothing".to_owned(),
        [one] => (*one).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

pub(super) fn headlines(picture: &Picture, rows: &[Row], rivals: &[Rival]) -> Vec<Headline> {
    let shared = picture.shared.as_ref().map_or(String::new(), |cause| {
        // a part whose contacts the ohms exclude on a channel is no cause that both could share
        let open = |part: &&str| {
            [0, 1].into_iter().all(|at| {
                rows.iter().filter(|row| part_of(&row.contact) == *part).any(|row| {
                    matches!(
                        row.findings[at].kind,
                        Kind::Proved | Kind::Able | Kind::NotSettled | Kind::CannotUnlessItJumps
                    )
                })
            })
        };
        let parts = cause.parts.iter().map(String::as_str).filter(open);
        let bodies = parts.chain(cause.others.iter().map(Who::name));
        let could = list(&bodies.collect::<Vec<_>>());
        format!("; both channels alike: look for one shared cause first ({could}, supply, shared return)")
    });
    picture.channels.iter().map(|channel| headline(channel, &shared, rows, rivals)).collect()
}

pub(super) fn headline(channel: &ChannelPicture, shared: &str, rows: &[Row], rivals: &[Rival]) -> Headline {
    let at = side(channel.channel);
    let made = |says: String, because: String| Headline { channel: channel.channel, says, because };
    if channel.symptoms.is_empty() {
        let says =
            if channel.standing.is_empty() { "nobody has listened" } else { "clean wherever it was listened to" };
        return made(says.to_owned(), "no symptom to explain".to_owned());
    }
    let of = |kind: Kind| -> Vec<&str> {
        let on_bad = |row: &&Row| {
            channel
                .standing
                .get(&Who::Contact(row.contact.clone()))
                .is_some_and(|s| !matches!(s, Standing::NotOnABadRoute(_)))
        };
        rows.iter().filter(on_bad).filter(|row| row.findings[at].kind == kind).map(|row| row.contact.as_str()).collect()
    };
    let (proved, able, open) = (of(Kind::Proved), of(Kind::Able), of(Kind::NotSettled));
    let others: Vec<&str> =
        rivals.iter().filter(|r| r.channels.contains(&channel.channel)).map(|r| r.who.as_str()).collect();
    if !proved.is_empty() {
        let are = if proved.len() > 1 { "are" } else { "is" };
        return made(
            format!("{} {are} the cause", list(&proved)),
            "proved: bridging it restored clean sound".to_owned(),
        );
    }
    let faults = if channel.groups.len() > 1 {
        let groups: Vec<String> = channel
            .groups
            .iter()
            .map(|(routes, who)| {
                let names: Vec<&str> = who.iter().map(Who::name).collect();
                format!("{} for {}", list(&names), routes.join(", "))
            })
            .collect();
        format!("; no single fault explains all: {}", groups.join("; "))
    } else {
        String::new()
    };
    let jumping = of(Kind::CannotUnlessItJumps);
    let faults = match jumping.as_slice() {
        [] => faults,
        [one] => format!("{faults}; {one} only if it jumps"),
        several => format!("{faults}; {} only if one jumps", list(several)),
    };
    if !able.is_empty() {
        let rest = [open.as_slice(), others.as_slice()].concat();
        let because = if rest.is_empty() {
            format!("its reading allows it and nothing else is left{faults}")
        } else {
            format!("not excluded yet: {}{faults}", list(&rest))
        };
        let says = if able.len() == 1 {
            format!("{} can account for it", able[0])
        } else {
            format!("each of {} can account for it", list(&able))
        };
        return made(says + shared, because);
    }
    if !open.is_empty() {
        return made(
            format!("not settled between {}{shared}", list(&[open.as_slice(), others.as_slice()].concat())),
            format!("the readings do not reach{faults}"),
        );
    }
    if others.is_empty() && !jumping.is_empty() {
        return made(
            format!("only a contact that jumps could be the cause: {}{shared}", list(&jumping)),
            "steady, none on the bad routes can".to_owned(),
        );
    }
    if others.is_empty() {
        return made(
            "nothing is left that could be the cause".to_owned(),
            "one observation is wrong, or the fault is not steady".to_owned(),
        );
    }
    made(
        format!("no contact alone; look at {}{shared}", list(&others)),
        format!("every contact on the bad routes is cleared, in order or too good{faults}"),
    )
}

/// How the routes and the ohms lead to the headlines.
pub(super) fn why(job: &Job, picture: &Picture, rows: &[Row], sums: &[Vec<Together>; 2]) -> Vec<String> {
    let mut lines = Vec::new();
    for channel in &picture.channels {
        if channel.symptoms.is_empty() {
            continue;
        }
        let at = side(channel.channel);
        let word = channel.channel.word();
        let cleared = rows.iter().filter(|r| r.findings[at].kind == Kind::Cleared).count();
        let left = if channel.single.is_empty() {
            "no single element".to_owned()
        } else {
            list(&channel.single.iter().map(Who::name).collect::<Vec<_>>())
        };
        if !is_proved(rows, channel.channel) {
            let total = rows.len();
            lines.push(format!("{word}: the routes clear {cleared} of {total} contacts; one fault: {left}"));
        }
        lines.extend(sums[at].iter().map(|all| all.line(channel.channel)));
        for kind in [Kind::Able, Kind::CannotUnlessItJumps, Kind::CannotBeSole] {
            for row in rows.iter().filter(|row| row.findings[at].kind == kind) {
                let own = |reason: &&String| reason.starts_with("route") && !reason.contains(TOGETHER);
                let reasons = &row.findings[at].reasons;
                if let Some(reason) = reasons.iter().rfind(own).or(reasons.last()) {
                    lines.push(format!("{word}: {}: {reason}", row.contact));
                }
            }
        }
        let parts = |kind: Kind, at: usize| {
            rows.iter().filter(move |row| row.findings[at].kind == kind).map(|row| part_of(&row.contact))
        };
        if let Some(part) =
            parts(Kind::Proved, 1 - at).find(|part| parts(Kind::NotSettled, at).any(|open| open == *part))
        {
            lines.push(format!(
                "{word}: the {part} was proved on the other channel: the same body is likelier here too"
            ));
        }
        lines.extend(channel.notes.iter().cloned());
        lines.extend(hints(job, channel.channel));
        for heard in job.heard.iter().filter(|h| h.channel == channel.channel && h.what == What::Grit) {
            if let (Some(residue), Some(loss)) = (heard.residue, heard.loss_db) {
                let least = loss_range_for_residue(residue.0);
                if loss.1 < least {
                    lines.push(format!(
                        "{word}: {} residue from a steady film takes a loss of {}, {} at most was measured: not a steady film in a resistive loop",
                        engineering(residue.0, Dimension::Ratio), engineering(least, Dimension::Decibel), engineering(loss.1, Dimension::Decibel)
                    ));
                }
            }
        }
    }
    lines
}

/// What the way a symptom goes and comes speaks for (common practice).
pub(super) fn hints(job: &Job, channel: Channel) -> Vec<String> {
    let word = channel.word();
    let mut lines = Vec::new();
    for heard in job.heard.iter().filter(|h| h.channel == channel && h.what != What::Clean) {
        let what = heard.what.word();
        for goes in &heard.goes_away {
            let speaks = match goes {
                GoesAway::TurnedUp => "a film that the larger signal breaks",
                GoesAway::SwitchWorked => "a contact that wipes itself clean",
                GoesAway::Tapped => "a loose contact or joint",
                GoesAway::WarmedUp => "a joint that closes with heat, or a bias that settles",
                GoesAway::MeterApplied => "a film that the ohmmeter broke",
            };
            lines.push(format!("{word}: {what} goes away ({}): speaks for {speaks}", goes.word()));
        }
        for comes in &heard.comes_back {
            let speaks = match comes {
                ComesBack::Overnight | ComesBack::AfterRest => "a film that grows again or a bridge that lets go",
                ComesBack::WhenTapped => "a loose contact or joint",
                ComesBack::WhenTurned => "a worn track or wiper, or a direct voltage on it",
            };
            lines.push(format!("{word}: {what} comes back ({}): speaks for {speaks}", comes.word()));
        }
        match heard.in_pauses {
            Some(InPauses::Yes) if what != What::Hum.word() => lines.push(format!(
                "{word}: {what} goes on in pauses: speaks against a contact that only carries the signal, for a stage's noise or, while a control is turned, a direct voltage"
            )),
            Some(InPauses::No) => {
                lines.push(format!("{word}: {what} is silent in pauses: speaks against a stage that is noisy of its own"));
            }
            _ => {}
        }
    }
    for found in job.checked.iter().filter(|c| c.channel == channel) {
        let at = &found.at;
        let ends = |(low, high): (f64, f64)| {
            let one = |v| engineering(v, Dimension::Voltage);
            if low == high { one(low) } else { format!("{} to {}", one(low), one(high)) }
        };
        if let Some(bias_v) = found.bias_v {
            let usual = "15 to 20 mV are usual (common practice); the optimum after Oliver 1971 is 26 mV across the whole emitter circuit, of which the resistor is a part";
            lines.push(format!("{word}: {at}: {} across each emitter resistor; {usual}", ends(bias_v)));
        }
        if let Some(direct_v) = found.direct_v {
            lines.push(format!(
                "{word}: {at}: {} direct behind it; some {} are usual (common practice)",
                ends(direct_v),
                if Who::Stage(at.clone()).is_power_stage() { "tens of millivolts at most" } else { "millivolts" }
            ));
        }
        if let Some(swapped) = found.swapped {
            let loudspeaker = job.sections.iter().any(|s| s.loudspeaker.as_deref() == Some(at));
            let speaks = match (swapped, loudspeaker) {
                (Swapped::ChangesSides, false) | (Swapped::Stays, true) => "speaks for it, or what goes with it",
                _ => "speaks against it and what goes with it",
            };
            lines.push(format!("{word}: {at}: left and right swapped, the fault {}: {speaks}", swapped.word()));
        }
    }
    lines
}

pub(super) fn assumes(job: &Job, routes: &Routes) -> Vec<String> {
    let mut lines = Vec::new();
    let guessed = |h: &&Heard| matches!(h.what, What::Grit | What::Crackle) && h.residue.is_none();
    let ratio = |residue| engineering(residue, Dimension::Ratio);
    for heard in job.heard.iter().filter(guessed) {
        let Some(noticed) = routes.noticed(heard) else { continue };
        let beyond = if noticed.extrapolated { "; extrapolated, the models end at 100 dB SPL" } else { "" };
        let line = format!(
            "{} {} at {:.0} dB SPL takes {} to {} residue, {} the model of hearing{beyond}",
            heard.strength.word(),
            heard.what.word(),
            noticed.level_db,
            ratio(noticed.never_below),
            ratio(noticed.surely_from),
            // ten times for what is plain: an assumption of `needs`
            if heard.strength == Strength::Plain { "10 times" } else { "by" }
        );
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    if job.heard.iter().any(|h| h.output_v.is_none()) && routes.all.iter().any(|r: &Route| r.network.links.len() > 1) {
        lines.push(format!("all routes equally loud, {}", engineering(routes.output_v, Dimension::Voltage)));
    }
    if job.blank_readings > 0 {
        lines.push(format!("rows of the readings file still blank: {}", job.blank_readings));
    }
    lines
}

pub(super) fn cautions(job: &Job, rows: &[Row]) -> Vec<String> {
    let mut lines = vec![
        "Lid off: mains unplugged, reservoirs discharged by a resistor and metered, parts cool; live work only by those trained and licensed, after local rules.".to_owned(),
        "Cartridge unplugged before any ohmmeter; ohmmeter last, it may break a film.".to_owned(),
    ];
    let power = job.sections.iter().any(|s| s.loudspeaker.is_some());
    let has = |role: Role| job.contacts().any(|c| c.role == role);
    if has(Role::Feedback) || has(Role::Bias) || has(Role::Supply) {
        lines.push(
            "Never bridge or open a feedback, bias or supply contact with the set on: it can destroy the output stage and the loudspeaker."
                .to_owned(),
        );
    }
    if has(Role::SharedReturn) {
        // common practice
        lines.push("A channel's common return may run through the rear panel's fixing screws.".to_owned());
    }
    let is_relay =
        |row: &&Row| job.parts.get(part_of(&row.contact)).is_some_and(|part| part.kind == Some(PartKind::Relay));
    let open = |kind: Kind| matches!(kind, Kind::Able | Kind::NotSettled | Kind::CannotUnlessItJumps);
    if rows.iter().filter(is_relay).any(|row| row.findings.iter().any(|finding| open(finding.kind))) {
        // common practice
        lines.push("A relay is open with the set off: read it with its coil fed, or not at all.".to_owned());
    }
    if power {
        lines.push("First power-up through a current limiter; no loudspeaker on a d.c. output.".to_owned());
    }
    lines
}
