//! From a job sheet to the answer; the lines of [`assess`] are the steps.

use super::model::{Job, part_of};
use super::report::{Assessment, Row};
use super::routes::Routes;
use super::rows::{is_proved, rows, side};
use super::sentences::{assumes, cautions, headlines, rivals, why};
use super::typical::typical;
use crate::bench::evidence::{GoesAway, Heard};
use crate::bench::kind::Kind as PartKind;
use crate::bench::range::dry_box_clears_below_v;
use crate::error::InputError;
use crate::judgement::next_step::{Candidate, LID_MIN, LIKELIER, most_telling_first, propose, turn_up};
use crate::judgement::suspects::picture;
use crate::judgement::{Kind, NextStep, Picture};

/// Assesses a job.
///
/// # Errors
/// A route whose chain cannot be computed.
pub fn assess(job: &Job) -> Result<Assessment, InputError> {
    let routes = Routes::new(job)?;
    let picture = picture(&routes.observations(job), &job.bridged);
    let rows = rows(job, &routes, &picture);
    let rivals = rivals(&picture, &rows);
    let headlines = headlines(&picture, &rows, &rivals);
    let next_steps = next_steps(job, &routes, &picture, &rows);
    let why = why(job, &routes, &picture, &rows);
    let typical = typical(job, &rows)?;
    let clashes = picture.channels.iter().flat_map(|c| c.clashes.clone()).collect();
    Ok(Assessment {
        title: job.title.clone(),
        headlines,
        why,
        rows,
        next_steps,
        rivals,
        typical,
        assumes: assumes(job, &routes),
        cautions: cautions(job),
        clashes,
        version: env!("CARGO_PKG_VERSION"),
        typical_version: crate::circuit::typical::VERSION,
    })
}

fn next_steps(job: &Job, routes: &Routes, picture: &Picture, rows: &[Row]) -> Vec<NextStep> {
    let mut steps: Vec<NextStep> = Vec::new();
    for channel in &picture.channels {
        let at = side(channel.channel);
        let settled = is_proved(rows, channel.channel);
        if channel.symptoms.is_empty() || settled {
            continue;
        }
        let mut open = Vec::new();
        for (who, standing) in &channel.standing {
            let row = rows.iter().find(|row| who.is_contact() && row.contact == who.name());
            let finding = row.map(|row| &row.findings[at]);
            if !standing.is_open() || finding.is_some_and(|f| !matches!(f.kind, Kind::Able | Kind::NotSettled)) {
                continue;
            }
            let worked =
                job.heard.iter().any(|h| h.channel == channel.channel && h.goes_away.contains(&GoesAway::SwitchWorked));
            let part_name = part_of(who.name());
            let part = job.parts.get(part_name);
            let by_hand = |kind: PartKind| {
                matches!(
                    kind,
                    PartKind::RotarySwitch
                        | PartKind::SlideSwitch
                        | PartKind::PushSwitch
                        | PartKind::ToggleSwitch
                        | PartKind::Potentiometer
                )
            };
            let elsewhere = rows.iter().any(|row| {
                row.findings[1 - at].kind == Kind::Proved && who.is_contact() && part_of(&row.contact) == part_name
            });
            let likelier = elsewhere || finding.is_some_and(|f| f.kind == Kind::Able);
            open.push(Candidate {
                who: who.clone(),
                role: job.role(who.name()),
                access_min: part.and_then(|p| p.access_s).map_or(LID_MIN, |s| s / 60.0),
                has_dry_reading: finding.is_some_and(|f| f.dry == Some(true)),
                dry_box_below_v: finding.and_then(|f| {
                    let (route, index, level) = routes.through(job, &f.contact, channel.channel)?;
                    dry_box_clears_below_v(f.impossible_below_ohm?, &route.place(index, level))
                }),
                can_be_worked: !worked && part.and_then(|p| p.kind).is_some_and(by_hand),
                part: part_name.to_owned(),
                weight: if likelier { LIKELIER } else { 1.0 },
            });
        }
        let mut proposed = propose(channel.channel, &open, &routes.unheard(job, channel.channel), picture.alike);
        let turned = |h: &Heard| h.channel == channel.channel && h.goes_away.contains(&GoesAway::TurnedUp);
        if !job.heard.iter().any(turned) {
            proposed.extend(turn_up(channel.channel, &open, &routes.behind_control(job, channel.channel)));
        }
        for step in proposed {
            if !steps.iter().any(|known| known.what == step.what && known.channel == step.channel) {
                steps.push(step);
            }
        }
    }
    most_telling_first(&mut steps);
    steps
}
