//! All that bears on who is at fault, as plain data: who stands on which route, what was heard there, what was read.

use super::deeds::Deeds;
use super::priors::Priors;
use super::suspects::Who;
use crate::bench::evidence::{ComesBack, GoesAway, InPauses};
use crate::bench::quantity::Shown;
use crate::bench::range::{Place, range_of};
use crate::bench::{Checked, Reading, Strength, Then, What};
use std::sync::Arc;

/// What kind of thing a suspect is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Nature {
    /// a contact that a section describes
    Contact,
    /// a contact in a feedback, supply or bias network
    Beside,
    /// an output stage: it can be under-biased
    PowerStage,
    /// another stage
    Stage,
    /// a source
    Source,
    /// a loudspeaker or headphones
    Loudspeaker,
}

/// One reading as evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// what it leaves as the meter saw it, ohm
    pub low_ohm: f64,
    /// resistance that was surely reached, ohm
    pub reached_ohm: f64,
    /// upper end as the meter saw it, ohm
    pub high_ohm: f64,
    /// whether it was as the signal finds the contact
    pub dry: bool,
    /// whether the contact was moved
    pub moved: bool,
    /// whether it wandered
    pub wandered: bool,
    /// whether it was taken with the signal itself
    pub at_signal: bool,
    /// open-circuit voltage and test current of the method
    pub open_v: Option<f64>,
    /// test current, A
    pub current_a: Option<f64>,
    /// which way round: 1 and -1, where the readings say it
    pub polarity: Option<f64>,
    /// line of the sheet or file
    pub line: usize,
}

/// Which way round a reading was taken: `-`, `rev...` or `back...` against anything else that is written.
fn direction(polarity: &str) -> f64 {
    let word = polarity.trim().to_lowercase();
    if ["-", "\u{2212}", "rev", "back"].iter().any(|start| word.starts_with(start)) { -1.0 } else { 1.0 }
}

impl Measured {
    /// A reading at its place.
    #[must_use]
    pub fn new(reading: &Reading, place: &Place) -> Self {
        let range = range_of(reading, place);
        // what joins the contact's two ends takes its share of the meter's voltage
        let left = reading.parallel_ohm.map_or(1.0, |(least, most)| {
            let beside = if most.is_finite() { (least * most).sqrt() } else { f64::INFINITY };
            reading.method.behind_ohm().map_or(1.0, |behind| 1.0 / (1.0 + behind / beside))
        });
        Self {
            low_ohm: range.low_ohm,
            reached_ohm: range.reached_ohm,
            high_ohm: range.shown_high_ohm,
            dry: range.dry,
            moved: range.moved,
            wandered: matches!(reading.shows, Shown::Between(..)),
            at_signal: range.at_signal,
            open_v: reading.method.open_circuit_v.map(|v| left * v),
            current_a: reading.method.applied_current_a(),
            polarity: reading.polarity.as_deref().map(direction),
            line: reading.line,
        }
    }
}

/// What a proof says of a suspect as the only cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Excluded {
    /// nothing
    #[default]
    No,
    /// steady it cannot be it; a contact that jumps faster than a meter looks escapes a reading at rest
    Steady,
    /// it cannot be it, whatever it does
    Whatever,
}

/// Something that can be at fault on a channel.
#[derive(Debug, Clone)]
pub struct Suspect {
    /// what it is
    pub who: Who,
    /// of what kind
    pub nature: Nature,
    /// part it belongs to
    pub part: String,
    /// whether a hand can work it: a switch or a control
    pub workable: bool,
    /// whether hum can come of it: a return
    pub in_return: bool,
    /// shares of ohmic, tunnelling, rectifying
    pub laws: [f64; 3],
    /// share of the prior, of the whole sheet
    pub prior: f64,
    /// what is usual for its kind, ohm
    pub usual_ohm: f64,
    /// resistance up to which an innocent one may be worn, ohm
    pub worn_ohm: f64,
    /// its readings before any remedy
    pub readings: Vec<Measured>,
    /// what bridging or replacing it changed
    pub bridges: Vec<Then>,
    /// whether what it drives begins with a control, or has one: direct voltage would be heard as that is turned
    pub drives_control: bool,
    /// whether the sheet says that a direct current runs through it
    pub direct_current: bool,
    /// sources and loudspeakers on whose side of their cable it stands: swapped together
    pub goes_with: Vec<String>,
    /// what was found at it, where it is no contact
    pub checked: Option<Checked>,
    /// what a proof excludes it as, if it were the only cause
    pub excluded: Excluded,
}

/// A symptom as it was written down.
#[derive(Debug, Clone, PartialEq)]
pub struct Noted {
    /// what
    pub what: What,
    /// how strongly
    pub strength: Strength,
    /// measured residue
    pub residue: Option<(f64, f64)>,
    /// measured loss, dB
    pub loss_db: Option<(f64, f64)>,
    /// what makes it go away
    pub goes_away: Vec<GoesAway>,
    /// when it comes back
    pub comes_back: Vec<ComesBack>,
    /// whether it is heard while nothing plays
    pub in_pauses: Option<InPauses>,
    /// line of the sheet
    pub line: usize,
}

/// A suspect on one route.
#[derive(Debug, Clone)]
pub struct On {
    /// what it does there, for a contact of a section
    pub deeds: Option<Arc<Deeds>>,
    /// signal there, V rms
    pub level_v: f64,
    /// whether it gets more signal when the listener turns up
    pub follows_hand: bool,
}

/// What was heard on one route at one level: symptoms, or clean.
#[derive(Debug, Clone)]
pub struct Sighting {
    /// the route
    pub route: String,
    /// first line of the sheet that says so
    pub line: usize,
    /// least residue that any ear could notice there
    pub least_residue: f64,
    /// what was noted; nothing for clean
    pub noted: Vec<Noted>,
    /// every suspect of the channel, where it is on the route
    pub on: Vec<Option<On>>,
}

impl Sighting {
    /// Whether nothing was wrong.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.noted.is_empty()
    }
}

/// One channel.
#[derive(Debug, Clone, Default)]
pub struct ChannelScene {
    /// who can be at fault
    pub suspects: Vec<Suspect>,
    /// what was heard
    pub sightings: Vec<Sighting>,
}

impl ChannelScene {
    /// Whether anything is wrong on it.
    #[must_use]
    pub fn has_symptoms(&self) -> bool {
        self.sightings.iter().any(|s| !s.is_clean())
    }

    /// Numbers of the suspects that stand on a bad route.
    #[must_use]
    pub fn on_bad_routes(&self) -> Vec<usize> {
        let bad = |k: &usize| self.sightings.iter().any(|s| !s.is_clean() && s.on[*k].is_some());
        (0..self.suspects.len()).filter(bad).collect()
    }

    /// Whether two faults are worth a thought: symptoms on several routes, or of several kinds.
    #[must_use]
    pub fn could_be_two(&self) -> bool {
        self.sightings.iter().map(|s| s.noted.len()).sum::<usize>() > 1
    }
}

/// Both channels.
#[derive(Debug, Clone)]
pub struct Scene {
    /// left and right
    pub channels: [ChannelScene; 2],
    /// what was likely before
    pub priors: Priors,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::Method;
    use crate::bench::evidence::Channel;
    use crate::bench::reading::State;
    use approx::assert_relative_eq;

    #[test]
    fn what_stands_in_parallel_loads_the_meter() {
        let method =
            Method { source_ohm: Some(1000.0), open_circuit_v: Some(2.0), ..Method::typical("dry box").unwrap() };
        let mut reading = Reading {
            when: State::AsFound,
            contact: "a / b".into(),
            channel: Channel::Left,
            shows: Shown::Between(1.0, 2.0),
            method,
            method_name: "dry box".into(),
            polarity: None,
            at_v: None,
            parallel_ohm: None,
            note: None,
            file: None,
            line: 1,
        };
        let open_v = |reading: &Reading| Measured::new(reading, &Place::UNKNOWN).open_v.unwrap();
        assert_relative_eq!(open_v(&reading), 2.0);
        // Thevenin: 2 V behind 1 kohm onto 1 kohm leave 1 V, onto 100 to 1000 ohm (316 in the middle) 0.48 V, onto no one knows what 2 V
        for (parallel_ohm, left_v) in [
            ((1000.0, 1000.0), 1.0),
            ((100.0, 1000.0), 2.0 / (1.0 + 1000.0 / 316.227_766_016_837_9)),
            ((0.0, f64::INFINITY), 2.0),
        ] {
            reading.parallel_ohm = Some(parallel_ohm);
            assert_relative_eq!(open_v(&reading), left_v, max_relative = 1e-12);
        }
    }
}
