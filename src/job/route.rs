//! From the sheet's sections to one chain, with the signal that each listening put where.
//!
//! Sections become the links of a chain; a section that begins with a control is one loop with the section before it, whose
//! load the control's track is. Contacts in the quick form stand behind the chain, each a link of its own with the signal
//! that the sheet states; contacts that no section describes are on the route and not in the chain.

use super::model::{Job, QuickSheet, RouteSheet, SourceSheet, part_of};
use crate::bench::kind::Kind;
use crate::bench::range::Place;
use crate::circuit::chain::Network;
use crate::circuit::stage::GAIN_REFERENCE_HZ;
use crate::circuit::twoport::Ladder;
use crate::circuit::{Chain, ChainItem, Contact, Lead, PathItem, Section, Source, Stage};
use crate::error::InputError;
use crate::judgement::{OnRoute, Who};
use crate::response::level::{OnContact, on_contact, section_emf_v};
use std::f64::consts::SQRT_2;

/// One section of the sheet on this route.
#[derive(Debug)]
struct Placed {
    /// its number in the job
    section: usize,
    /// numbers of its contacts through the chain
    contacts: std::ops::Range<usize>,
    /// link of the chain that it is, or is part of
    link: usize,
    /// its own EMF at the control's setting, V rms: at the wiper for a section that begins with a control
    emf_v: f64,
    /// what a stated signal makes of the level that the chain alone would give
    times: f64,
    /// resistance that it ends in by the sheet, ohm: the track, where a control goes on from there
    load_ohm: f64,
    /// voltage at the link's load per voltage at its own, at 1 kHz: less than one where a control goes on from there
    handed_on: f64,
}

/// One route made ready for computing.
#[derive(Debug)]
pub(super) struct Route {
    pub(super) name: String,
    pub(super) network: Network,
    sections: Vec<Placed>,
    /// quick contacts with their numbers through the chain
    quick: Vec<(usize, QuickSheet)>,
    /// contacts that no section describes
    beside: Vec<Contact>,
    /// EMF of every link by the chain alone, V rms
    link_emf_v: Vec<f64>,
    /// first section whose level the listener sets: behind a control, or a loudspeaker's
    follows_hand: usize,
    /// whether it ends in a loudspeaker or headphones
    pub(super) to_the_ear: bool,
    /// level at the end of the route at that setting, V rms
    pub(super) output_v: f64,
}

/// A stage that hands on what it gets.
fn buffer() -> Stage {
    Stage { name: String::new(), gain_db: 0.0, equalisation: Default::default(), output_resistance_ohm: 0.0 }
}

/// The chain of a route, with the number of sections that each of its links is made of.
fn chain(job: &Job, sheet: &RouteSheet) -> (Chain, Vec<usize>) {
    let mut items: Vec<ChainItem> = Vec::new();
    let mut parts: Vec<usize> = Vec::new();
    for (place, &number) in sheet.sections.iter().enumerate() {
        let section = &job.sections[number];
        let before = place.checked_sub(1).map(|k| &job.sections[sheet.sections[k]]);
        match (before.filter(|b| b.then.is_none()), items.last_mut()) {
            (Some(_), Some(ChainItem::Section(one_loop))) => {
                if one_loop.load.capacitance_f > 0.0 {
                    let across = Lead { capacitance_f: one_loop.load.capacitance_f, ..Lead::default() };
                    one_loop.path.push(PathItem::Lead(across));
                }
                one_loop.path.extend(section.path.iter().cloned());
                one_loop.load = section.load;
                if let Some(count) = parts.last_mut() {
                    *count += 1;
                }
            }
            _ => {
                let source = match &section.from {
                    SourceSheet::Own(source) => Some(*source),
                    SourceSheet::Before | SourceSheet::Joined => None,
                };
                let (name, path, load) = (section.name.clone(), section.path.clone(), section.load);
                items.push(ChainItem::Section(Section { name, source, path, load }));
                parts.push(1);
            }
        }
        items.extend(section.then.clone().map(ChainItem::Stage));
    }
    for section in sheet.quick.iter().filter_map(|&q| job.quick[q].section()) {
        let (mut section, _) = section;
        if !items.is_empty() {
            items.push(ChainItem::Stage(Stage {
                output_resistance_ohm: section.source.map_or(0.0, |s| s.resistance_ohm),
                ..buffer()
            }));
            section.source = None;
        }
        items.push(ChainItem::Section(section));
    }
    (Chain { items }, parts)
}

/// Voltage at the load of a section that begins with a control per voltage at the top of its track, at 1 kHz.
fn from_its_top(job: &Job, section: usize) -> f64 {
    let section = &job.sections[section];
    let (name, path, load) = (section.name.clone(), section.path.clone(), section.load);
    let source = Source { emf_v: 1.0, resistance_ohm: 0.0, inductance_h: 0.0 };
    let alone = Ladder::new(&Section { name, source: Some(source), path, load }, &source, 0);
    let perfect: Vec<f64> = section.path.iter().filter_map(PathItem::contact).map(|c| c.role.perfect_ohm()).collect();
    alone.transfer(GAIN_REFERENCE_HZ, &perfect).norm()
}

impl Route {
    pub(super) fn new(job: &Job, sheet: &RouteSheet) -> Result<Self, InputError> {
        let (chain, parts) = chain(job, sheet);
        // a route of contacts that no section describes has no chain; its network is then empty
        let network = if chain.items.is_empty() {
            Network { links: Vec::new(), contacts: Vec::new(), emf_v: 0.0 }
        } else {
            Network::from_chain(&chain)
                .map_err(|e| e.within(&format!("[route] \"{}\"", sheet.name)).at_line(sheet.line))?
        };
        let link_emf_v = section_emf_v(&network, GAIN_REFERENCE_HZ);
        let mut sections: Vec<Placed> = Vec::new();
        let (mut next, mut times) = (0, 1.0);
        let links = parts.iter().enumerate().flat_map(|(link, &count)| (0..count).map(move |part| (link, part)));
        for (&number, (link, part)) in sheet.sections.iter().zip(links) {
            let section = &job.sections[number];
            let first = next;
            next += section.path.iter().filter_map(PathItem::contact).count();
            let by_chain = match part {
                0 => link_emf_v[link],
                // what stands at the open wiper, the first contact of the section
                _ => on_contact(&network, first, link_emf_v[link], GAIN_REFERENCE_HZ).open_v,
            };
            if let Some(signal_v) = section.signal_v.filter(|_| by_chain > 0.0) {
                times = signal_v / by_chain;
            }
            let emf_v = by_chain * times;
            let load_ohm = section.load.resistance_ohm;
            sections.push(Placed {
                section: number,
                contacts: first..next,
                link,
                emf_v,
                times,
                load_ohm,
                handed_on: 1.0,
            });
        }
        for k in (1..sections.len()).rev() {
            if sections[k].link == sections[k - 1].link {
                sections[k - 1].handed_on = sections[k].handed_on * from_its_top(job, sections[k].section);
            }
        }
        let mut quick = Vec::new();
        let mut beside = Vec::new();
        for sheet in sheet.quick.iter().map(|&q| &job.quick[q]) {
            if sheet.contact.role.is_in_the_path() {
                quick.push((next, sheet.clone()));
                next += 1;
            } else {
                beside.push(sheet.contact.clone());
            }
        }
        let last = sections.last().map(|placed| {
            let ladder = &network.links[placed.link].ladder;
            let stages: f64 = job.sections[placed.section].then.iter().map(Stage::gain).product();
            let at_load = ladder.transfer(GAIN_REFERENCE_HZ, &network.perfect_ohm()).norm();
            link_emf_v[placed.link] * placed.times * at_load * stages
        });
        let output_v = last.or(quick.last().map(|q| q.1.signal_v)).unwrap_or(0.0);
        let to_the_ear = sheet.sections.last().is_some_and(|&number| job.sections[number].loudspeaker.is_some());
        let begins_with_a_control =
            |placed: &Placed| matches!(job.sections[placed.section].path.first(), Some(PathItem::Divider(_)));
        // no control on the route: the sheet leaves it out, the listener still sets how loud it is
        let at_the_ear = if to_the_ear { sections.len() - 1 } else { usize::MAX };
        let follows_hand = sections.iter().position(begins_with_a_control).unwrap_or(at_the_ear);
        Ok(Self {
            name: sheet.name.clone(),
            network,
            sections,
            quick,
            beside,
            link_emf_v,
            follows_hand,
            to_the_ear,
            output_v,
        })
    }

    /// Whether a stage or source drives a control: the first section it drives, or one in the same loop, has one.
    pub(super) fn drives_control(&self, job: &Job, who: &Who) -> bool {
        let mut driver: Option<Who> = None;
        let mut before: Option<&str> = None;
        for placed in &self.sections {
            let section = &job.sections[placed.section];
            driver = match section.from {
                SourceSheet::Own(_) => section.source_name.clone().map(Who::Source),
                SourceSheet::Before => before.map(|name| Who::Stage(name.to_owned())),
                SourceSheet::Joined => driver,
            };
            let controls = section.path.iter().any(|item| match item {
                PathItem::Divider(_) => true,
                PathItem::Contact(c) => {
                    job.parts.get(part_of(&c.name)).is_some_and(|p| p.kind == Some(Kind::Potentiometer))
                }
                _ => false,
            });
            if controls && driver.as_ref() == Some(who) {
                return true;
            }
            before = section.then.as_ref().map(|stage| stage.name.as_str());
        }
        false
    }

    /// What the listener's hand makes of the level of a section while listening at `output_v`: only what stands behind a
    /// control follows it.
    fn by_hand(&self, section: usize, output_v: f64) -> f64 {
        if section >= self.follows_hand && self.output_v > 0.0 { output_v / self.output_v } else { 1.0 }
    }

    /// Names of all contacts of the route: those of the chain, then those that no section describes.
    pub(super) fn contacts(&self) -> impl Iterator<Item = &str> {
        self.network.contacts.iter().chain(&self.beside).map(|c| c.name.as_str())
    }

    /// Number of a contact through the chain; nothing for one that no section describes.
    pub(super) fn index_of(&self, contact: &str) -> Option<usize> {
        self.network.contacts.iter().position(|c| c.name == contact)
    }

    /// Name of the section that contact `index` stands in; nothing for a quick contact.
    pub(super) fn section_name<'j>(&self, job: &'j Job, index: usize) -> Option<&'j str> {
        Some(&job.sections[self.placed(index)?.section].name)
    }

    /// What is seen by contact `index` while listening at `output_v`, and the EMF of its link there.
    fn on(&self, index: usize, output_v: f64) -> (OnContact, f64) {
        let link = self.network.section_of(index);
        let emf_v = match self.sections.iter().position(|placed| placed.contacts.contains(&index)) {
            Some(k) => self.link_emf_v[link] * self.sections[k].times * self.by_hand(k, output_v),
            None => {
                let stated = self.quick.iter().find(|q| q.0 == index).and_then(|q| q.1.section());
                stated.map_or(0.0, |(_, emf_v)| emf_v)
            }
        };
        (on_contact(&self.network, index, emf_v, GAIN_REFERENCE_HZ), emf_v)
    }

    /// EMF of the link of contact `index` while listening at `output_v`, V rms.
    pub(super) fn emf_v(&self, index: usize, output_v: f64) -> f64 {
        self.on(index, output_v).1
    }

    /// EMF of the whole chain that puts on contact `index` the signal of listening at `output_v`, V rms.
    pub(super) fn chain_emf_v(&self, index: usize, output_v: f64) -> f64 {
        let by_chain = self.link_emf_v[self.network.section_of(index)];
        if by_chain > 0.0 { self.network.emf_v * self.on(index, output_v).1 / by_chain } else { 0.0 }
    }

    /// What the circuit is like where contact `index` stands, at a level.
    pub(super) fn place(&self, index: usize, output_v: f64) -> Place {
        let (on, _) = self.on(index, output_v);
        Place {
            open_peak_v: SQRT_2 * on.open_v,
            short_peak_a: SQRT_2 * on.short_a,
            loop_ohm: on.loop_ohm,
            load_ohm: self.placed(index).map_or_else(
                || self.network.links[self.network.section_of(index)].ladder.load.resistance_ohm,
                |placed| placed.load_ohm,
            ),
        }
    }

    fn placed(&self, index: usize) -> Option<&Placed> {
        self.sections.iter().find(|placed| placed.contacts.contains(&index))
    }

    /// Voltage at the load of the section of contact `index`, as the sheet has it, while listening at `output_v`, V rms.
    pub(super) fn load_v(&self, index: usize, output_v: f64) -> f64 {
        self.on(index, output_v).0.load_v / self.placed(index).map_or(1.0, |placed| placed.handed_on)
    }

    /// Voltage at the load of the link of contact `index` for a voltage at the load of its section on the sheet.
    pub(super) fn at_link_load_v(&self, index: usize, at_v: f64) -> f64 {
        at_v * self.placed(index).map_or(1.0, |placed| placed.handed_on)
    }

    /// Everything on the route with the signal there, while listening at `output_v`.
    pub(super) fn elements(&self, job: &Job, output_v: f64) -> Vec<OnRoute> {
        let mut elements = Vec::new();
        let emf = |k: usize| self.sections[k].emf_v * self.by_hand(k, output_v);
        let contact = |index: usize| {
            let who = Who::Contact(self.network.contacts[index].name.clone());
            OnRoute { who, level_v: self.on(index, output_v).0.open_v }
        };
        for (k, placed) in self.sections.iter().enumerate() {
            let section = &job.sections[placed.section];
            elements.extend(section.source_name.iter().map(|name| {
                let who = Who::Source(name.clone());
                OnRoute { who, level_v: emf(k) }
            }));
            elements.extend(placed.contacts.clone().map(contact));
            let level_v = if k + 1 < self.sections.len() { emf(k + 1) } else { output_v };
            let stage = section.then.iter().map(|stage| Who::Stage(stage.name.clone()));
            let ear = section.loudspeaker.iter().map(|name| Who::Loudspeaker(name.clone()));
            elements.extend(stage.chain(ear).map(|who| OnRoute { who, level_v }));
        }
        elements.extend(self.quick.iter().map(|q| contact(q.0)));
        // no level is known in a feedback, supply or bias network: it is the same whatever is listened to
        let beside = self.beside.iter().map(|c| Who::Contact(c.name.clone()));
        elements.extend(beside.map(|who| OnRoute { who, level_v: output_v }));
        elements
    }
}
