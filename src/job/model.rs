//! A job sheet as data: everything that was written, checked, with typical values filled in and listed.

use crate::bench::{Bridged, Heard, Part, Reading};
use crate::circuit::{Load, PathItem, Source, Stage};
use std::collections::BTreeMap;

/// Where a section gets its signal.
#[derive(Debug, Clone, PartialEq)]
pub enum SourceSheet {
    /// a source of its own
    Own(Source),
    /// the stage (`then`) of the section before it on the route
    Before,
    /// the wiper of a control whose track is the load of the section before it: division ratio and the resistance
    /// seen from the wiper, `a (1 - a) track`, with the track driven from far less than its own resistance
    Control {
        /// name of the control
        part: String,
        /// track, ohm
        track_ohm: f64,
        /// voltage ratio, 0 to 1
        ratio: f64,
    },
}

/// One section of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct SectionSheet {
    /// its name
    pub name: String,
    /// where its signal comes from
    pub from: SourceSheet,
    /// typical or own name of the source, for reports ("moving magnet")
    pub source_name: Option<String>,
    /// contacts (perfect: zero ohm) and leads, source to load
    pub path: Vec<PathItem>,
    /// what it ends in
    pub load: Load,
    /// name of the load where it is a rival ("8 ohm loudspeaker"); `None` for a plain resistance
    pub loudspeaker: Option<String>,
    /// the stage that follows
    pub then: Option<Stage>,
    /// EMF where the sheet states it (`signal`), V rms
    pub signal_v: Option<f64>,
    /// line of the sheet
    pub line: usize,
}

/// One route of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct RouteSheet {
    /// its name
    pub name: String,
    /// numbers of its sections in [`Job::sections`], source to ear
    pub sections: Vec<usize>,
    /// line of the sheet
    pub line: usize,
}

/// A typical value that stood in for a number.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct TypicalUse {
    /// where: `section "phono input": from`
    pub place: String,
    /// which: "moving magnet"
    pub name: String,
    /// what it stands for, in words: "5 mV behind 1 kohm and 500 mH"
    pub means: String,
}

/// A whole job sheet.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Job {
    /// title line
    pub title: String,
    /// text of the sheet, so that a job can be written back and pickled
    pub text: String,
    /// name of the file it came from
    pub file: Option<String>,
    /// text of the readings file, with its name
    pub readings_text: Option<(String, String)>,
    /// currency of prices
    pub currency: Option<String>,
    /// parts by name; a part that paths name without an entry is here with nothing known
    pub parts: BTreeMap<String, Part>,
    /// sections, in the order of the sheet
    pub sections: Vec<SectionSheet>,
    /// routes, in the order of the sheet
    pub routes: Vec<RouteSheet>,
    /// what was heard, one entry per route and channel
    pub heard: Vec<Heard>,
    /// what bridging changed
    pub bridged: Vec<Bridged>,
    /// every reading
    pub readings: Vec<Reading>,
    /// typical values that were used
    pub typical: Vec<TypicalUse>,
}

/// The part of a contact's name: what stands before " / ".
#[must_use]
pub fn part_of(contact: &str) -> &str {
    contact.split(" / ").next().unwrap_or(contact).trim()
}
