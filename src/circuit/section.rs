//! A section: one passive loop between two active stages.

use super::{Contact, Divider, Lead, Load, Source};
use crate::error::InputError;
use serde::{Deserialize, Serialize};

/// One element of a path, in the order in which the signal meets it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PathItem {
    /// a contact, in the signal or the return conductor or across the two
    Contact(Contact),
    /// a lead or a plain series resistance
    Lead(Lead),
    /// a control: its track across the signal, its wiper in series
    Divider(Divider),
}

impl PathItem {
    /// The contact in it, if it is or has one.
    #[must_use]
    pub fn contact(&self) -> Option<&Contact> {
        match self {
            Self::Contact(contact) => Some(contact),
            Self::Lead(_) => None,
            Self::Divider(divider) => divider.wiper.as_ref(),
        }
    }
}

/// Source, path and load; `source` is `None` where the stage before the section drives it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Section {
    /// name, for messages
    pub name: String,
    /// its own source, or `None` after a stage
    pub source: Option<Source>,
    /// contacts and leads, source to load
    pub path: Vec<PathItem>,
    /// what it ends in
    pub load: Load,
}

impl Section {
    /// The contacts of the path, in order.
    pub fn contacts(&self) -> impl Iterator<Item = &Contact> {
        self.path.iter().filter_map(PathItem::contact)
    }

    /// Checks every value and that no two contacts share a name.
    ///
    /// # Errors
    /// The first value out of its range, or the first name that comes twice.
    pub fn check(&self) -> Result<(), InputError> {
        let place = format!("section {:?}", self.name);
        if let Some(source) = &self.source {
            source.check().map_err(|e| e.within(&place))?;
        }
        for item in &self.path {
            match item {
                PathItem::Contact(contact) => contact.check(),
                PathItem::Lead(lead) => lead.check(),
                PathItem::Divider(divider) => divider.check(),
            }
            .map_err(|e| e.within(&place))?;
            if let Some(contact) = item.contact().filter(|c| !c.role.is_in_the_path()) {
                let found = format!("contact {:?} with the role {:?}", contact.name, contact.role.word());
                let allowed = "no section describes a contact in a feedback, supply or bias network, and nothing bounds what it does; in a job sheet name it under [contact] with its role";
                return Err(InputError::new(place, found, allowed));
            }
        }
        self.load.check().map_err(|e| e.within(&place))?;
        unique(&place, self.contacts())
    }
}

/// Refuses a contact name that comes twice.
pub(crate) fn unique<'a>(place: &str, contacts: impl Iterator<Item = &'a Contact>) -> Result<(), InputError> {
    let mut seen = std::collections::BTreeSet::new();
    for contact in contacts {
        if !seen.insert(contact.name.as_str()) {
            let allowed = "allowed: each contact once, under a name of its own";
            let found = format!("contact {:?} comes twice", contact.name);
            return Err(InputError::new(place, found, allowed));
        }
    }
    Ok(())
}
