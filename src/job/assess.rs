//! From a job sheet to the answer; the lines of [`assess`] are the steps.

use super::drawn::{Drawn, assumed};
use super::impossible::{at_odds, impossible, without};
use super::model::{Job, part_of};
use super::report::{Assessment, Row};
use super::routes::Routes;
use super::rows::{is_proved, rows, side};
use super::scene::{by_hand, scene};
use super::sentences::{assumes, cautions, headlines, rivals, why};
use super::together::{mark, together};
use super::typical::typical;
use crate::bench::evidence::{GoesAway, Heard};
use crate::bench::kind::Kind as PartKind;
use crate::bench::range::dry_box_clears_below_v;
use crate::bench::{Channel, Checked, What};
use crate::circuit::Role;
use crate::error::InputError;
use crate::judgement::belief::ChannelBelief;
use crate::judgement::next_step::first::{direct_voltage_first, short_the_input, swaps_loudspeakers};
use crate::judgement::next_step::{
    Candidate, Done, LID_MIN, LIKELIER, by_probability, most_telling_first, pause, propose, tap, turn_up,
};
use crate::judgement::posterior::{Asked, believe};
use crate::judgement::rivals::DIRECT_V;
use crate::judgement::suspects::picture;
use crate::judgement::trial::Draw;
use crate::judgement::{Kind, NextStep, Picture, Who};
use crate::watch::{Unwatched, Watch};

/// How an assessment is to be made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settings {
    /// draws of the joint state; none for findings without probabilities
    pub draws: usize,
    /// seed: the same bits for the same seed, whatever the number of threads
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Self { draws: 100_000, seed: 0 }
    }
}

/// Assesses a job.
///
/// # Errors
/// A route whose chain cannot be computed; priors that exclude everything.
pub fn assess(job: &Job) -> Result<Assessment, InputError> {
    assess_with(job, Settings::default(), &Unwatched)
}

/// Every draw behind an assessment, left and right; nothing for a channel without a symptom.
///
/// # Errors
/// As [`assess_with`].
pub fn draws(job: &Job, settings: Settings, watch: &dyn Watch) -> Result<[Option<Draws>; 2], InputError> {
    let routes = Routes::new(job)?;
    let picture = picture(&routes.observations(job), &job.bridged);
    let job = &without(job, &routes, &impossible(job, &routes, &picture));
    let rows = rows(job, &routes, &picture, watch)?;
    let scene = scene(job, &routes, &rows, watch)?;
    let asked = Asked { draws: settings.draws, seed: settings.seed, keep: true };
    let names = |k: usize| scene.channels[k].suspects.iter().map(|s| s.who.to_string()).collect();
    let [left, right] = unproved(believe(&scene, asked, watch)?, &rows);
    Ok([(left, 0), (right, 1)].map(|(belief, k)| belief.map(|b| Draws { suspects: names(k), draws: b.draws })))
}

/// The draws of one channel.
#[derive(Debug, Clone, PartialEq)]
pub struct Draws {
    /// names of the suspects, by number
    pub suspects: Vec<String>,
    /// every draw with its weight
    pub draws: Vec<Draw>,
}

/// Assesses a job with settings, asking a watch now and then.
///
/// # Errors
/// As [`assess`]; stopped by the watch.
pub fn assess_with(job: &Job, settings: Settings, watch: &dyn Watch) -> Result<Assessment, InputError> {
    let routes = Routes::new(job)?;
    let picture = picture(&routes.observations(job), &job.bridged);
    let impossible = impossible(job, &routes, &picture);
    let job = &without(job, &routes, &impossible);
    let at_odds = at_odds(job, &routes, &picture);
    let mut rows = rows(job, &routes, &picture, watch)?;
    let drawn = drawn(job, &routes, &rows, settings, watch)?;
    let typical = typical(job, &rows, watch)?;
    let mut rivals = rivals(&picture, &rows);
    let mut headlines = headlines(&picture, &rows, &rivals);
    let direct = [Channel::Left, Channel::Right].into_iter().any(|channel| puts_out_direct(job, channel).is_some());
    let is_loudspeaker = |name: &str| job.sections.iter().any(|s| s.loudspeaker.as_deref() == Some(name));
    for rival in rivals.iter_mut().filter(|rival| direct && is_loudspeaker(&rival.who)) {
        NOT_BEFORE.clone_into(&mut rival.test);
    }
    let next_steps = next_steps(job, &routes, &picture, &rows, drawn.as_ref());
    let sums = [Channel::Left, Channel::Right].map(|channel| together(job, &routes, channel));
    let why = why(job, &picture, &rows, &sums);
    mark(&mut rows, Channel::Left, &sums[0]);
    mark(&mut rows, Channel::Right, &sums[1]);
    let mut assumes = assumes(job, &routes);
    let mut clashes: Vec<String> = picture.channels.iter().flat_map(|c| c.clashes.clone()).collect();
    clashes.extend(impossible.into_iter().map(|one| one.says));
    clashes.extend(at_odds);
    if let Some(drawn) = &drawn {
        drawn.mark(&mut rows);
        drawn.likeliest_first(&mut rivals);
        headlines.iter_mut().for_each(|headline| drawn.headline(headline));
        clashes.extend(drawn.clashes(&picture));
        assumes.push(assumed(settings, &drawn.scene));
    }
    let cautions = cautions(job, &rows);
    Ok(Assessment {
        title: job.title.clone(),
        headlines,
        why,
        rows,
        next_steps,
        rivals,
        typical,
        assumes,
        cautions,
        clashes,
        odds: drawn.as_ref().map(Drawn::odds).unwrap_or_default(),
        draws: settings.draws,
        seed: settings.seed,
        version: env!("CARGO_PKG_VERSION"),
        typical_version: crate::circuit::typical::VERSION,
    })
}

/// Draws, where they are asked for and anything is wrong.
fn drawn(
    job: &Job,
    routes: &Routes,
    rows: &[Row],
    settings: Settings,
    watch: &dyn Watch,
) -> Result<Option<Drawn>, InputError> {
    if settings.draws == 0 {
        return Ok(None);
    }
    let scene = scene(job, routes, rows, watch)?;
    let asked = Asked { draws: settings.draws, seed: settings.seed, keep: false };
    let beliefs = unproved(believe(&scene, asked, watch)?, rows);
    Ok(beliefs.iter().any(Option::is_some).then_some(Drawn { scene, beliefs }))
}

/// Probability never overrides a proof: a channel with a proved contact has no odds.
fn unproved(beliefs: [Option<ChannelBelief>; 2], rows: &[Row]) -> [Option<ChannelBelief>; 2] {
    let [left, right] = beliefs;
    [(left, Channel::Left), (right, Channel::Right)]
        .map(|(belief, channel)| belief.filter(|_| !is_proved(rows, channel)))
}

/// Least bias that is usual, V across each emitter resistor: 15 to 20 mV (common practice).
const BIAS_USUAL_V: f64 = 15e-3;

/// Bias above which a stage is taken to run hot, V across each emitter resistor: twice what is usual (common practice), and more than
/// the optimum of a whole emitter circuit.
const BIAS_HOT_V: f64 = 40e-3;
/// Direct voltage at an output that a loudspeaker must not see, V (common practice).
const DIRECT_AT_OUTPUT_V: f64 = 0.1;

/// What is said of a loudspeaker then.
const NOT_BEFORE: &str = "on no output before the direct voltage is gone";

/// Direct voltage at the output of a channel's power stage, with its name, where it was measured.
fn direct_at_output(job: &Job, channel: Channel) -> Option<(&str, (f64, f64))> {
    let of = |c: &&Checked| c.channel == channel && Who::Stage(c.at.clone()).is_power_stage();
    job.checked.iter().filter(of).find_map(|c| Some((c.at.as_str(), c.direct_v?)))
}

/// The power stage of a channel that puts out direct voltage, where one was found.
fn puts_out_direct(job: &Job, channel: Channel) -> Option<&str> {
    direct_at_output(job, channel).filter(|(_, direct_v)| direct_v.0 >= DIRECT_AT_OUTPUT_V).map(|(at, _)| at)
}

/// Whether a contact stands before a loudspeaker, and nobody has measured the direct voltage of that channel's output.
fn guards(job: &Job, who: &Who, channel: Channel) -> bool {
    who.is_contact() && job.is_before_a_loudspeaker(who.name()) && direct_at_output(job, channel).is_none()
}

/// What the sheet says was tried on what is no contact.
fn done(job: &Job, who: &Who, channel: Channel) -> Done {
    let found = job.checked.iter().find(|c| !who.is_contact() && c.at == who.name() && c.channel == channel);
    found.map_or(Done::default(), |c| Done {
        bias: c.bias_v.is_some(),
        direct: c.direct_v.is_some(),
        swapped: c.swapped.is_some(),
        bias_low: c.bias_v.is_some_and(|(_, most)| most < BIAS_USUAL_V),
        bias_high: c.bias_v.is_some_and(|(least, _)| least > BIAS_HOT_V),
        leaks: !who.is_power_stage() && c.direct_v.is_some_and(|(least, _)| least > DIRECT_V.0),
    })
}

fn next_steps(job: &Job, routes: &Routes, picture: &Picture, rows: &[Row], drawn: Option<&Drawn>) -> Vec<NextStep> {
    let mut steps: Vec<NextStep> = Vec::new();
    for channel in &picture.channels {
        let at = side(channel.channel);
        if let Some(stage) = puts_out_direct(job, channel.channel) {
            steps.push(direct_voltage_first(channel.channel, stage));
            continue;
        }
        let settled = is_proved(rows, channel.channel);
        if channel.symptoms.is_empty() || settled {
            continue;
        }
        // nothing computes hum; of the contacts only those in a return make it
        let hums = channel.symptoms == [What::Hum];
        if hums {
            steps.push(short_the_input(channel.channel));
        }
        let mut open = Vec::new();
        for (who, standing) in &channel.standing {
            let row = rows.iter().find(|row| who.is_contact() && row.contact == who.name());
            let finding = row.map(|row| &row.findings[at]);
            if !standing.is_open()
                || finding.is_some_and(|f| !matches!(f.kind, Kind::Able | Kind::NotSettled | Kind::CannotUnlessItJumps))
            {
                continue;
            }
            let in_return = || matches!(job.role(who.name()), Role::Return | Role::SharedReturn);
            if hums && !(who.is_contact() && in_return()) {
                continue;
            }
            let worked =
                job.heard.iter().any(|h| h.channel == channel.channel && h.goes_away.contains(&GoesAway::SwitchWorked));
            let part_name = part_of(who.name());
            let part = job.parts.get(part_name);
            let elsewhere = rows.iter().any(|row| {
                row.findings[1 - at].kind == Kind::Proved && who.is_contact() && part_of(&row.contact) == part_name
            });
            let likelier = elsewhere || finding.is_some_and(|f| f.kind == Kind::Able);
            let only_jumps = finding.is_some_and(|f| f.kind == Kind::CannotUnlessItJumps);
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
                signal_below_v: finding.and_then(|f| f.impossible_below_v),
                weight: if likelier {
                    LIKELIER
                } else if only_jumps {
                    job.priors.chatter
                } else {
                    1.0
                },
                cures: drawn.and_then(|d| d.cures(channel.channel, who)),
                drives_control: routes.all.iter().any(|route| route.drives_control(job, who)),
                guards: guards(job, who, channel.channel),
                is_relay: part.and_then(|p| p.kind) == Some(PartKind::Relay),
                done: done(job, who, channel.channel),
            });
        }
        if let Some(drawn) = drawn {
            by_probability(&mut open, |who| drawn.of(channel.channel, who).unwrap_or(0.0));
        }
        let tapped = |h: &Heard| h.channel == channel.channel && h.goes_away.contains(&GoesAway::Tapped);
        let mut proposed = propose(channel.channel, &open, &routes.unheard(job, channel.channel), picture.alike);
        let turned = |h: &Heard| h.channel == channel.channel && h.goes_away.contains(&GoesAway::TurnedUp);
        if !job.heard.iter().any(turned) {
            proposed.extend(turn_up(channel.channel, &open, &routes.behind_control(job, channel.channel)));
        }
        if !job.heard.iter().any(tapped) {
            proposed.extend(tap(channel.channel, &open));
        }
        // hum needs no music to be heard
        let paused = |h: &Heard| h.channel == channel.channel && (h.in_pauses.is_some() || h.what == What::Hum);
        if !job.heard.iter().any(paused) {
            proposed.extend(pause(channel.channel, &open));
        }
        for step in proposed {
            if !steps.iter().any(|known| known.what == step.what && known.channel == step.channel) {
                steps.push(step);
            }
        }
    }
    if [Channel::Left, Channel::Right].into_iter().any(|channel| puts_out_direct(job, channel).is_some()) {
        steps.retain(|step| !swaps_loudspeakers(step));
    }
    most_telling_first(&mut steps);
    steps
}
