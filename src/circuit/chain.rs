//! A chain: sections and stages from the signal source to the ear.

use super::section::unique;
use super::stage::MOST_GAIN_DB;
use super::twoport::Ladder;
use super::{Contact, Role, Section, Source, Stage};
use crate::error::InputError;
use serde::{Deserialize, Serialize};

/// One link of a chain.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChainItem {
    /// a passive section
    Section(Section),
    /// an active stage
    Stage(Stage),
}

/// Sections and stages in order: the first is a section with a source, a section after a stage has none of its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Chain {
    /// the links, source to ear
    pub items: Vec<ChainItem>,
}

/// A section as the kernels see it, with the stages that follow it.
#[derive(Debug, Clone)]
pub struct Link {
    /// the section's network, its contacts numbered through the chain
    pub ladder: Ladder,
    /// stages between its load and the next section
    pub stages: Vec<Stage>,
    /// name of the section
    pub name: String,
}

/// A section or chain made ready for computing.
///
/// ```
/// use weaklink::circuit::{Contact, Load, PathItem, Section, Source};
/// // SI units; EMF is rms and open circuit; loss_db is positive for quieter
/// let section = Section {
///     name: "loudspeaker".into(),
///     source: Some(Source { emf_v: 2.83, resistance_ohm: 0.0, inductance_h: 0.0 }),
///     path: vec![PathItem::Contact(Contact::ohmic("relay", 0.5))],
///     load: Load::resistance(8.0),
/// };
/// let network = weaklink::circuit::chain::Network::from_section(&section).unwrap();
/// let loss = weaklink::response::linear::loss_db(&network, 1000.0, &[0.5]);
/// assert!((loss - 20.0 * (8.5f64 / 8.0).log10()).abs() < 1e-12);
/// ```
#[derive(Debug, Clone)]
pub struct Network {
    /// sections with what follows them, source to ear
    pub links: Vec<Link>,
    /// every contact, in the order of the signal
    pub contacts: Vec<Contact>,
    /// EMF of the first source, V rms
    pub emf_v: f64,
}

impl Chain {
    /// Checks every value and that the links join.
    ///
    /// # Errors
    /// The first value out of its range; a chain that does not begin with a section that has a source; a section
    /// after a stage with a source of its own; two sections without a stage between; a name that comes twice.
    pub fn check(&self) -> Result<(), InputError> {
        let (mut after_stage, mut gain_db) = (false, 0.0f64);
        for (index, item) in self.items.iter().enumerate() {
            match item {
                ChainItem::Section(section) => {
                    section.check()?;
                    let place = format!("chain: section {:?}", section.name);
                    if index == 0 && section.source.is_none() {
                        return Err(InputError::new(place, "no source", "the first section of a chain needs a source"));
                    }
                    if index > 0 && section.source.is_some() {
                        let allowed = "a section after a stage is driven by it: give it source=None";
                        return Err(InputError::new(place, "a source of its own", allowed));
                    }
                    if index > 0 && !after_stage {
                        let allowed = "put a stage between two sections, or join their paths into one section";
                        return Err(InputError::new(place, "follows a section", allowed));
                    }
                    after_stage = false;
                }
                ChainItem::Stage(stage) => {
                    stage.check()?;
                    gain_db += stage.gain_db;
                    if gain_db.abs() > MOST_GAIN_DB {
                        let place = format!("chain: stages up to {:?}: gain_db", stage.name);
                        let allowed = format!("allowed together: -{MOST_GAIN_DB} to {MOST_GAIN_DB} dB");
                        return Err(InputError::new(place, gain_db, allowed));
                    }
                    if index == 0 {
                        let place = format!("chain: stage {:?}", stage.name);
                        return Err(InputError::new(place, "comes first", "a chain begins with a section"));
                    }
                    after_stage = true;
                }
            }
        }
        if self.items.is_empty() {
            return Err(InputError::new("chain", "no items", "a chain needs at least one section"));
        }
        let contacts = self.items.iter().filter_map(|item| match item {
            ChainItem::Section(section) => Some(section.contacts()),
            ChainItem::Stage(_) => None,
        });
        unique("chain", contacts.flatten())
    }
}

impl Network {
    /// Makes one section ready.
    ///
    /// # Errors
    /// As [`Section::check`]; a section without a source cannot stand alone.
    pub fn from_section(section: &Section) -> Result<Self, InputError> {
        Self::from_chain(&Chain { items: vec![ChainItem::Section(section.clone())] })
    }

    /// Makes a chain ready.
    ///
    /// # Errors
    /// As [`Chain::check`].
    pub fn from_chain(chain: &Chain) -> Result<Self, InputError> {
        chain.check()?;
        let mut network = Self { links: Vec::new(), contacts: Vec::new(), emf_v: 0.0 };
        for item in &chain.items {
            match item {
                ChainItem::Section(section) => {
                    let driven_by = network.links.last().and_then(|link| link.stages.last());
                    let source = section.source.unwrap_or(Source {
                        emf_v: 0.0,
                        resistance_ohm: driven_by.map_or(0.0, |stage| stage.output_resistance_ohm),
                        inductance_h: 0.0,
                    });
                    if network.links.is_empty() {
                        network.emf_v = source.emf_v;
                    }
                    let ladder = Ladder::new(section, &source, network.contacts.len());
                    network.contacts.extend(section.contacts().cloned());
                    network.links.push(Link { ladder, stages: Vec::new(), name: section.name.clone() });
                }
                ChainItem::Stage(stage) => {
                    if let Some(link) = network.links.last_mut() {
                        link.stages.push(stage.clone());
                    }
                }
            }
        }
        Ok(network)
    }

    /// Number of the contact with this name.
    ///
    /// # Errors
    /// An unknown name; the error lists the known ones.
    pub fn contact_index(&self, name: &str) -> Result<usize, InputError> {
        self.contacts.iter().position(|contact| contact.name == name).ok_or_else(|| {
            let known: Vec<_> = self.contacts.iter().map(|c| format!("{:?}", c.name)).collect();
            let allowed = format!("allowed: {}", known.join(", "));
            InputError::new("contacts", format!("unknown contact {name:?}"), allowed)
        })
    }

    /// Number of the section that contact `index` stands in.
    #[must_use]
    pub fn section_of(&self, index: usize) -> usize {
        self.links.iter().position(|link| link.ladder.contacts().contains(&index)).unwrap_or(0)
    }

    /// Resistance of every contact at its best, in order: zero in series, infinite across the signal, ohm.
    #[must_use]
    pub fn perfect_ohm(&self) -> Vec<f64> {
        self.contacts.iter().map(|contact| contact.role.perfect_ohm()).collect()
    }

    /// The odd mode of resistances: contacts in a shared return at zero; `None` if there is no such contact.
    #[must_use]
    pub fn odd_mode_ohm(&self, contact_ohm: &[f64]) -> Option<Vec<f64>> {
        let shared = |k: usize| self.contacts[k].role == Role::SharedReturn;
        let any = (0..self.contacts.len()).any(shared);
        any.then(|| contact_ohm.iter().enumerate().map(|(k, &ohm)| if shared(k) { 0.0 } else { ohm }).collect())
    }

    /// Small-signal resistance of every contact, in order, ohm.
    #[must_use]
    pub fn resistances_ohm(&self) -> Vec<f64> {
        self.contacts.iter().map(Contact::small_signal_ohm).collect()
    }
}
