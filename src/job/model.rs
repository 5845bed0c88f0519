//! A job sheet as data: everything that was written, checked, with typical values filled in and listed.

use crate::bench::{Bridged, Checked, Heard, Method, Part, Reading};
use crate::circuit::{Contact, Load, PathItem, Role, Section, Source, Stage};
use crate::judgement::priors::Priors;
use std::collections::BTreeMap;

/// Where a section gets its signal.
#[derive(Debug, Clone, PartialEq)]
pub enum SourceSheet {
    /// a source of its own
    Own(Source),
    /// the stage (`then`) of the section before it on the route
    Before,
    /// nothing between: its path begins with the control whose track the section before it ends in
    Joined,
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

/// A contact in the quick form: what it sees and the signal there, for whoever has no schematic.
#[derive(Debug, Clone, PartialEq)]
pub struct QuickSheet {
    /// the contact, with its role and direct current
    pub contact: Contact,
    /// impedance of the loop it stands in (across the signal: of its node), ohm; not a number where no section describes it
    pub sees_ohm: f64,
    /// signal that stands across it when open, V rms
    pub signal_v: f64,
    /// line of the sheet
    pub line: usize,
}

impl QuickSheet {
    /// The section that it stands for; nothing for a contact that no section describes.
    #[must_use]
    pub fn section(&self) -> Option<(Section, f64)> {
        if !self.contact.role.is_in_the_path() {
            return None;
        }
        // in series the loop is all load; across the signal the node is source and load side by side
        let (source_ohm, load_ohm, emf_v) = match self.contact.role {
            Role::Shunt => (2.0 * self.sees_ohm, 2.0 * self.sees_ohm, 2.0 * self.signal_v),
            _ => (0.0, self.sees_ohm, self.signal_v),
        };
        let section = Section {
            name: self.contact.name.clone(),
            source: Some(Source { emf_v, resistance_ohm: source_ohm, inductance_h: 0.0 }),
            path: vec![PathItem::Contact(self.contact.clone())],
            load: Load::resistance(load_ohm),
        };
        Some((section, emf_v))
    }
}

/// One route of the sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct RouteSheet {
    /// its name
    pub name: String,
    /// numbers of its sections in [`Job::sections`], source to ear
    pub sections: Vec<usize>,
    /// numbers of its contacts in [`Job::quick`]
    pub quick: Vec<usize>,
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
    /// sensitivity, dB SPL: of loudspeakers at 1 m from 2.83 V where there is a distance, else of headphones from 1 V
    pub sensitivity_db: Option<f64>,
    /// distance of the listener from the loudspeakers, m
    pub distance_m: Option<f64>,
    /// parts by name; a part that paths name without an entry is here with nothing known
    pub parts: BTreeMap<String, Part>,
    /// sections, in the order of the sheet
    pub sections: Vec<SectionSheet>,
    /// contacts in the quick form
    pub quick: Vec<QuickSheet>,
    /// methods that the sheet describes itself
    pub methods: BTreeMap<String, Method>,
    /// routes, in the order of the sheet
    pub routes: Vec<RouteSheet>,
    /// what was heard, one entry per route and channel
    pub heard: Vec<Heard>,
    /// what bridging changed
    pub bridged: Vec<Bridged>,
    /// what was found at stages, sources and loudspeakers
    pub checked: Vec<Checked>,
    /// every reading
    pub readings: Vec<Reading>,
    /// rows of the readings file with nothing in `shows` yet
    pub blank_readings: usize,
    /// what was likely before anything was heard
    pub priors: Priors,
    /// typical values that were used
    pub typical: Vec<TypicalUse>,
}

impl Job {
    /// Every contact of the sheet, in its order: those on paths, then those in the quick form.
    pub fn contacts(&self) -> impl Iterator<Item = &Contact> {
        let on_paths = self.sections.iter().flat_map(|s| &s.path).filter_map(PathItem::contact);
        on_paths.chain(self.quick.iter().map(|q| &q.contact))
    }

    /// Whether a contact stands in a section that ends in a loudspeaker.
    #[must_use]
    pub fn is_before_a_loudspeaker(&self, contact: &str) -> bool {
        let on_it = |s: &SectionSheet| s.path.iter().filter_map(PathItem::contact).any(|c| c.name == contact);
        self.sections.iter().any(|s| s.loudspeaker.is_some() && on_it(s))
    }

    /// The role of a contact.
    #[must_use]
    pub fn role(&self, contact: &str) -> Role {
        self.contacts().find(|c| c.name == contact).map_or(Role::Signal, |c| c.role)
    }
}

/// The part of a contact's name: what stands before " / ".
#[must_use]
pub fn part_of(contact: &str) -> &str {
    contact.split(" / ").next().unwrap_or(contact).trim()
}
