//! From the sheet's sections to chains, with the signal that each listening put where.

use super::model::{Job, RouteSheet, SourceSheet};
use crate::bench::range::Place;
use crate::bench::{Channel, Heard};
use crate::circuit::chain::Network;
use crate::circuit::stage::GAIN_REFERENCE_HZ;
use crate::circuit::{Chain, ChainItem, Section, Stage};
use crate::error::InputError;
use crate::judgement::{Observation, OnRoute, Who};
use crate::response::level::on_contact;
use std::f64::consts::SQRT_2;

/// Loudest listening that is taken for granted where the sheet gives no output level, V rms: 1 W into 8 ohm [assumption].
///
/// A level taken too high would let a meter pass as dry that is not.
const LISTENING_V: f64 = 2.83;

/// One route made ready for computing.
#[derive(Debug)]
pub(super) struct Route {
    pub(super) name: String,
    pub(super) network: Network,
    /// numbers of its sections in the job
    sections: Vec<usize>,
    /// EMF of each section at the control's setting, V rms, with stated signals in place
    emf_v: Vec<f64>,
    /// first section whose level the listener sets: behind a control, or a loudspeaker's
    follows_hand: Option<usize>,
    /// whether it ends in a loudspeaker or headphones
    to_the_ear: bool,
    /// level at the end of the route at that setting, V rms
    output_v: f64,
}

impl Route {
    fn new(job: &Job, sheet: &RouteSheet) -> Result<Self, InputError> {
        let mut items = Vec::new();
        let mut follows_hand = None;
        for (place, &number) in sheet.sections.iter().enumerate() {
            let section = &job.sections[number];
            let source = match &section.from {
                SourceSheet::Own(source) => Some(*source),
                SourceSheet::Before => None,
                SourceSheet::Control { part, track_ohm, ratio } => {
                    follows_hand.get_or_insert(place);
                    // the control as what drives the section: its ratio, and its resistance seen from the wiper
                    items.push(ChainItem::Stage(Stage {
                        name: part.clone(),
                        gain_db: 20.0 * ratio.log10(),
                        output_resistance_ohm: ratio * (1.0 - ratio) * track_ohm,
                        ..Stage {
                            name: String::new(),
                            gain_db: 0.0,
                            equalisation: Default::default(),
                            output_resistance_ohm: 0.0,
                        }
                    }));
                    None
                }
            };
            items.push(ChainItem::Section(Section {
                name: section.name.clone(),
                source,
                path: section.path.clone(),
                load: section.load,
            }));
            if let Some(stage) = &section.then {
                items.push(ChainItem::Stage(stage.clone()));
            }
        }
        let network = Network::from_chain(&Chain { items })
            .map_err(|e| e.within(&format!("[route] \"{}\"", sheet.name)).at_line(sheet.line))?;
        let perfect = vec![0.0; network.contacts.len()];
        let mut emf_v = Vec::new();
        let mut level = network.emf_v;
        for (link, &number) in network.links.iter().zip(&sheet.sections) {
            level = job.sections[number].signal_v.unwrap_or(level);
            emf_v.push(level);
            level *= link.ladder.transfer(GAIN_REFERENCE_HZ, &perfect).norm()
                * link.stages.iter().map(Stage::gain).product::<f64>();
        }
        let to_the_ear = sheet.sections.last().is_some_and(|&number| job.sections[number].loudspeaker.is_some());
        if to_the_ear {
            // no control on the route: the sheet leaves it out, the listener still sets how loud it is
            follows_hand.get_or_insert(sheet.sections.len() - 1);
        }
        Ok(Self {
            name: sheet.name.clone(),
            network,
            sections: sheet.sections.clone(),
            emf_v,
            follows_hand,
            to_the_ear,
            output_v: level,
        })
    }

    /// EMF of each section while listening at `output_v`: only what stands behind a control follows the listener's hand.
    fn emf_at(&self, output_v: f64) -> Vec<f64> {
        let scale = if self.output_v > 0.0 { output_v / self.output_v } else { 1.0 };
        let from = self.follows_hand.unwrap_or(self.emf_v.len());
        self.emf_v.iter().enumerate().map(|(k, &emf)| if k >= from { emf * scale } else { emf }).collect()
    }

    /// Contact numbers through this route's chain, with the number of their section.
    pub(super) fn contacts(&self) -> impl Iterator<Item = (usize, &str)> {
        self.network.contacts.iter().enumerate().map(|(k, c)| (k, c.name.as_str()))
    }

    /// What the circuit is like where contact `index` stands, at a level.
    pub(super) fn place(&self, index: usize, output_v: f64) -> Place {
        let link = self.network.section_of(index);
        let on = on_contact(&self.network, index, self.emf_at(output_v)[link], GAIN_REFERENCE_HZ);
        Place {
            open_peak_v: SQRT_2 * on.open_v,
            short_peak_a: SQRT_2 * on.short_a,
            loop_ohm: on.loop_ohm,
            load_ohm: self.network.links[link].ladder.load_ohm,
        }
    }

    fn elements(&self, job: &Job, output_v: f64) -> Vec<OnRoute> {
        let emf = self.emf_at(output_v);
        let mut elements = Vec::new();
        for (place, &number) in self.sections.iter().enumerate() {
            let section = &job.sections[number];
            if let Some(name) = &section.source_name {
                elements.push(OnRoute { who: Who::Source(name.clone()), level_v: emf[place] });
            }
            for index in self.network.links[place].ladder.contacts() {
                let level_v = on_contact(&self.network, index, emf[place], GAIN_REFERENCE_HZ).open_v;
                elements.push(OnRoute { who: Who::Contact(self.network.contacts[index].name.clone()), level_v });
            }
            let after = emf.get(place + 1).copied().unwrap_or(output_v);
            if let Some(stage) = &section.then {
                elements.push(OnRoute { who: Who::Stage(stage.name.clone()), level_v: after });
            }
            if let Some(name) = &section.loudspeaker {
                elements.push(OnRoute { who: Who::Loudspeaker(name.clone()), level_v: after });
            }
        }
        elements
    }
}

/// Every route of a job, and the level at which it is listened to.
#[derive(Debug)]
pub(super) struct Routes {
    pub(super) all: Vec<Route>,
    /// level at the end of every route where the sheet says nothing: all are listened to equally loud, V rms
    pub(super) output_v: f64,
}

impl Routes {
    pub(super) fn new(job: &Job) -> Result<Self, InputError> {
        let all = job.routes.iter().map(|sheet| Route::new(job, sheet)).collect::<Result<Vec<_>, _>>()?;
        let heard_bad = job.heard.iter().find(|h| h.what != crate::bench::What::Clean);
        let named = |name: &str| all.iter().find(|r| r.name == name);
        let reference = heard_bad.and_then(|h| named(&h.route)).or(all.first());
        let by_sheet = |route: &Route| if route.to_the_ear { route.output_v.min(LISTENING_V) } else { route.output_v };
        let output_v = heard_bad.and_then(|h| h.output_v).or(reference.map(by_sheet)).unwrap_or(0.0);
        Ok(Self { all, output_v })
    }

    pub(super) fn named(&self, name: &str) -> Option<&Route> {
        self.all.iter().find(|route| route.name == name)
    }

    pub(super) fn level(&self, heard: &Heard) -> f64 {
        heard.output_v.unwrap_or(self.output_v)
    }

    /// What was heard, with everything on its route.
    pub(super) fn observations(&self, job: &Job) -> Vec<Observation> {
        let one = |heard: &Heard| {
            let route = self.named(&heard.route)?;
            Some(Observation {
                route: heard.route.clone(),
                channel: heard.channel,
                what: heard.what,
                line: heard.line,
                elements: route.elements(job, self.level(heard)),
            })
        };
        job.heard.iter().filter_map(one).collect()
    }

    /// What gets more signal when the listener turns up, on the bad routes of a channel.
    pub(super) fn behind_control(&self, job: &Job, channel: Channel) -> Vec<Who> {
        let mut found: Vec<Who> = Vec::new();
        for heard in job.heard.iter().filter(|h| h.channel == channel && h.what != crate::bench::What::Clean) {
            let Some(route) = self.named(&heard.route) else { continue };
            let level = self.level(heard);
            let louder = route.elements(job, 2.0 * level);
            for (now, then) in route.elements(job, level).into_iter().zip(louder) {
                if then.level_v > now.level_v && !found.contains(&now.who) {
                    found.push(now.who);
                }
            }
        }
        found
    }

    /// Routes that nobody listened to on a channel, with what stands on them.
    pub(super) fn unheard(&self, job: &Job, channel: Channel) -> Vec<(String, Vec<Who>)> {
        let heard = |name: &str| job.heard.iter().any(|h| h.channel == channel && h.route == name);
        let rest = self.all.iter().filter(|route| !heard(&route.name));
        rest.map(|route| {
            let on_it = route.elements(job, self.output_v).into_iter().map(|e| e.who).collect();
            (route.name.clone(), on_it)
        })
        .collect()
    }

    /// A route through a contact: a bad one on that channel if there is one.
    pub(super) fn through<'r>(&'r self, job: &Job, contact: &str, channel: Channel) -> Option<(&'r Route, usize, f64)> {
        let find = |route: &'r Route| route.contacts().find(|c| c.1 == contact).map(|c| c.0);
        let bad = job.heard.iter().filter(|h| h.channel == channel && h.what != crate::bench::What::Clean);
        for heard in bad {
            if let Some(route) = self.named(&heard.route) {
                if let Some(index) = find(route) {
                    return Some((route, index, self.level(heard)));
                }
            }
        }
        self.all.iter().find_map(|route| find(route).map(|index| (route, index, self.output_v)))
    }
}
