//! The evidence of a job as data, line by line: what figures and the bench record are made of.

use super::model::Job;
use super::routes::Routes;
use crate::bench::method::Shows;
use crate::bench::quantity::{Dimension, Shown, engineering};
use crate::bench::range::{Place, range_of};
use crate::bench::{Bridged, Channel, Checked, Heard, Method, Part, Reading};
use crate::error::InputError;
use serde::Serialize;
use std::collections::BTreeMap;

/// One route, with the contacts that its signal passes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RouteSeen {
    /// its name
    pub name: String,
    /// contacts, source to ear
    pub contacts: Vec<String>,
}

/// One reading and the resistance that it alone leaves.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingSeen {
    /// the contact
    pub contact: String,
    /// the channel
    pub channel: Channel,
    /// the state, in the words of a sheet
    pub when: &'static str,
    /// whether nothing had been remedied yet
    pub before_remedy: bool,
    /// what the meter showed, with its unit
    pub shows: String,
    /// name of the method
    pub method: String,
    /// lower end, ohm
    pub low_ohm: f64,
    /// upper end, ohm; `None` where nothing bounds it
    pub high_ohm: Option<f64>,
    /// upper end as the meter saw it, whatever the signal would see, ohm
    pub shown_high_ohm: Option<f64>,
    /// whether it was dry enough for its place
    pub dry: bool,
    /// which way round, as written
    pub polarity: Option<String>,
    /// what else joined its two ends while it was read: least and most, ohm; most `None` where nobody knows
    pub parallel_ohm: Option<(f64, Option<f64>)>,
    /// remark
    pub note: Option<String>,
    /// line of its file
    pub line: usize,
}

/// Everything that was observed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Evidence {
    /// routes, in the order of the sheet
    pub routes: Vec<RouteSeen>,
    /// what was heard
    pub heard: Vec<Heard>,
    /// what bridging changed
    pub bridged: Vec<Bridged>,
    /// what was found at stages, sources and loudspeakers
    pub checked: Vec<Checked>,
    /// readings, in their order
    pub readings: Vec<ReadingSeen>,
    /// parts by name
    pub parts: BTreeMap<String, Part>,
    /// currency of prices
    pub currency: Option<String>,
}

/// The evidence of a job, each reading turned into ohms at its place.
///
/// # Errors
/// A route whose chain cannot be computed.
pub fn evidence(job: &Job) -> Result<Evidence, InputError> {
    let routes = Routes::new(job)?;
    let seen = |reading: &Reading| {
        let through = routes.through(job, &reading.contact, reading.channel);
        let place = through.map_or(Place::UNKNOWN, |(route, index, level)| route.place(index, level));
        let range = range_of(reading, &place);
        let finite = |ohm: f64| ohm.is_finite().then_some(ohm);
        ReadingSeen {
            contact: reading.contact.clone(),
            channel: reading.channel,
            when: reading.when.word(),
            before_remedy: reading.when.before_remedy(),
            shows: shown(reading.shows, &reading.method),
            method: reading.method_name.clone(),
            // no number: a reading of the signal's loss or millivolts at a place that no section describes
            low_ohm: if range.low_ohm.is_finite() { range.low_ohm } else { 0.0 },
            high_ohm: finite(range.high_ohm),
            shown_high_ohm: finite(range.shown_high_ohm),
            dry: range.dry,
            polarity: reading.polarity.clone(),
            parallel_ohm: reading.parallel_ohm.map(|(least, most)| (least, finite(most))),
            note: reading.note.clone(),
            line: reading.line,
        }
    };
    let route = |r: &super::route::Route| RouteSeen {
        name: r.name.clone(),
        contacts: r.contacts().map(ToOwned::to_owned).collect(),
    };
    Ok(Evidence {
        routes: routes.all.iter().map(route).collect(),
        heard: job.heard.clone(),
        bridged: job.bridged.clone(),
        checked: job.checked.clone(),
        readings: job.readings.iter().map(seen).collect(),
        parts: job.parts.clone(),
        currency: job.currency.clone(),
    })
}

/// What a meter showed, in its method's unit.
fn shown(shows: Shown, method: &Method) -> String {
    let dimension = match method.shows {
        Shows::Ohms => Dimension::Resistance,
        Shows::DividerVolts | Shows::DropVolts | Shows::SignalVolts => Dimension::Voltage,
        Shows::LossDb => Dimension::Decibel,
    };
    let one = |value| engineering(value, dimension);
    match shows {
        Shown::Value(q) if q.plus_minus > 0.0 => format!("{} +- {}", one(q.value), one(q.plus_minus)),
        Shown::Value(q) => one(q.value),
        Shown::Between(low, high) => format!("{} to {}", one(low), one(high)),
        Shown::Below(limit) => format!("<{}", one(limit)),
        Shown::Above(limit) => format!(">{}", one(limit)),
        Shown::Open => "OL".to_owned(),
    }
}
