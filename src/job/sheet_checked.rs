//! `[[checked]]` of a job sheet: what was found at a stage, a source or the loudspeakers.

use super::model::Job;
use super::readings::channels;
use super::sheet::{header, rows};
use super::tree::{Node, Walk, allowed_names};
use crate::bench::Checked;
use crate::bench::evidence::Swapped;
use crate::bench::quantity::{Dimension, quantity};

const PLACE: &str = "[[checked]]";

/// What is no contact, by name.
struct Others {
    stages: Vec<String>,
    sources: Vec<String>,
    loudspeakers: Vec<String>,
}

impl Others {
    fn of(job: &Job) -> Self {
        let sections = job.sections.iter();
        Self {
            stages: sections.clone().filter_map(|s| s.then.as_ref()).map(|t| t.name.clone()).collect(),
            sources: sections.clone().filter_map(|s| s.source_name.clone()).collect(),
            loudspeakers: sections.filter_map(|s| s.loudspeaker.clone()).collect(),
        }
    }

    fn all(&self) -> impl Iterator<Item = &str> {
        self.stages.iter().chain(&self.sources).chain(&self.loudspeakers).map(String::as_str)
    }
}

/// Reads every `[[checked]]` into the job.
pub(super) fn read(walk: &mut Walk<'_>, node: &Node<'_>, job: &mut Job) {
    let others = Others::of(job);
    for (table, line) in rows(walk, node, "checked") {
        let at = walk.start_of(line);
        row(walk, table, line, at, &others, job);
    }
}

/// The size of a voltage, whatever its sign, with the place it stands at.
fn size(walk: &mut Walk<'_>, place: &str, node: &Node<'_>) -> Option<((f64, f64), usize)> {
    let at = node.span().start;
    let written = walk.text(place, node)?;
    let unsigned = written.strip_prefix(['-', '+', '\u{2212}']).unwrap_or(&written);
    // below the last digit
    let below = unsigned.strip_prefix('<');
    match quantity(below.unwrap_or(unsigned), Dimension::Voltage) {
        Ok(found) if below.is_some() => Some(((0.0, found.high()), at)),
        Ok(found) => Some(((found.low().max(0.0), found.high()), at)),
        Err(error) => {
            walk.fault(at, place, format!("\"{written}\": {}", error.problem), error.allowed);
            None
        }
    }
}

fn row(walk: &mut Walk<'_>, table: &toml::de::DeTable<'_>, line: usize, at: usize, others: &Others, job: &mut Job) {
    let (mut name, mut both, mut bias_v, mut direct_v, mut swapped) = (None, None, None, None, None);
    let mut wrong = false;
    for (key, node) in walk.entries(PLACE, table, header("checked").keys) {
        let place = format!("{PLACE}: {key}");
        let at = node.span().start;
        match key {
            "bias" => {
                bias_v = size(walk, &place, node);
                wrong |= bias_v.is_none();
            }
            "direct" => {
                direct_v = size(walk, &place, node);
                wrong |= direct_v.is_none();
            }
            _ => {
                let Some(text) = walk.text(&place, node) else { return };
                match key {
                    "at" => name = Some((text, at)),
                    "channel" => match channels(&text) {
                        Some(found) => both = Some(found),
                        None => {
                            let allowed = "allowed: \"left\", \"right\", \"both\", \"L\", \"R\"";
                            return walk.fault(at, &place, format!("\"{text}\""), allowed);
                        }
                    },
                    _ => {
                        let words: Vec<&'static str> = Swapped::ALL.iter().map(|w| w.word()).collect();
                        swapped = walk.word(&place, &text, at, Swapped::from_word, &words).map(|s| (s, at));
                        wrong |= swapped.is_none();
                    }
                }
            }
        }
    }
    let (Some((name, name_at)), Some(both)) = (name, both) else {
        return walk.fault(at, PLACE, "not complete", "write at (a stage, source or loudspeaker) and channel");
    };
    if !others.all().any(|known| known == name) {
        let known: Vec<&str> = others.all().collect();
        let allowed = allowed_names(&name, known.iter().copied());
        return walk.fault(name_at, "[[checked]]: at", format!("unknown \"{name}\""), allowed);
    }
    if wrong {
        return;
    }
    if bias_v.is_none() && direct_v.is_none() && swapped.is_none() {
        return walk.fault(at, PLACE, "nothing was found", "write bias, direct or swapped beside at and channel");
    }
    let is_stage = others.stages.contains(&name);
    if let Some((_, at)) = bias_v.filter(|_| !(is_stage && name.contains("power"))) {
        let allowed = "only an output stage has one, by a name with \"power\" in it";
        walk.fault(at, "[[checked]]: bias", format!("bias of \"{name}\""), allowed);
    }
    if let Some((_, at)) = direct_v.filter(|_| others.loudspeakers.contains(&name)) {
        let allowed = "a loudspeaker drives nothing: write what the stage before it puts on it";
        walk.fault(at, "[[checked]]: direct", format!("direct voltage of \"{name}\""), allowed);
    }
    if let Some((_, at)) = swapped.filter(|_| is_stage) {
        let allowed = "left and right are swapped at a source or at the loudspeakers";
        walk.fault(at, "[[checked]]: swapped", format!("swapped at \"{name}\""), allowed);
    }
    for channel in both {
        if let Some(known) = job.checked.iter().find(|c| c.at == name && c.channel == channel) {
            let found = format!("\"{name}\" {} stands twice (line {})", channel.word(), known.line);
            return walk.fault(at, PLACE, found, "write it once, with all that was found");
        }
        job.checked.push(Checked {
            at: name.clone(),
            channel,
            bias_v: bias_v.map(|b| b.0),
            direct_v: direct_v.map(|d| d.0),
            swapped: swapped.map(|s| s.0),
            line,
        });
    }
}
