//! An assessment as data: what the pages, the tables and `--json` are made of.

use crate::bench::Channel;
use crate::judgement::{Finding, NextStep};
use serde::Serialize;

/// One channel in one line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Headline {
    /// the channel
    pub channel: Channel,
    /// who, in a sentence
    pub says: String,
    /// how sure that is, and by what
    pub because: String,
}

/// Something that is no contact and still open.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Rival {
    /// what it is
    pub who: String,
    /// channels on which it is open
    pub channels: Vec<Channel>,
    /// the test that decides
    pub test: String,
}

/// A typical value that stood in for a number, and whether it matters.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Typical {
    /// where
    pub place: String,
    /// which
    pub name: String,
    /// what it stands for
    pub means: String,
    /// whether half or twice of it changes a finding; `None` where that was not tried
    pub changes_the_answer: Option<bool>,
}

/// One contact in one row.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// the contact
    pub contact: String,
    /// what its kind allows, ohm
    pub in_order_up_to_ohm: Option<f64>,
    /// what the limit rests on
    pub in_order_source: Option<String>,
    /// findings, left and right
    pub findings: [Finding; 2],
}

/// How likely one suspect is on one channel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Odds {
    /// what it is
    pub who: String,
    /// that it is at fault, alone or with another
    pub probability: f64,
    /// standard error from the number of draws
    pub probability_se: f64,
    /// of that, way by way, alone
    pub by_hypothesis: std::collections::BTreeMap<String, f64>,
}

/// How likely everything on a channel with a symptom is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChannelOdds {
    /// the channel
    pub channel: Channel,
    /// likeliest first
    pub odds: Vec<Odds>,
    /// that it is nothing in the sheet
    pub something_else: f64,
    /// standard error of that
    pub something_else_se: f64,
    /// that there are two faults
    pub two_faults: f64,
    /// the assumption that moves the first one most
    pub moved_by: Option<String>,
    /// its probability at one end of that assumption
    pub moved_from: Option<f64>,
    /// and at the other
    pub moved_to: Option<f64>,
}

/// The answer to one job sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Assessment {
    /// title of the job
    pub title: String,
    /// one line per channel
    pub headlines: Vec<Headline>,
    /// how the routes and ohms lead there
    pub why: Vec<String>,
    /// one row per contact
    pub rows: Vec<Row>,
    /// what to do next, best first
    pub next_steps: Vec<NextStep>,
    /// what it is if it is no contact
    pub rivals: Vec<Rival>,
    /// typical values used
    pub typical: Vec<Typical>,
    /// assumptions that every answer of this version rests on
    pub assumes: Vec<String>,
    /// cautions that apply
    pub cautions: Vec<String>,
    /// observations that contradict each other
    pub clashes: Vec<String>,
    /// how likely everything is, channel by channel; nothing without draws
    pub odds: Vec<ChannelOdds>,
    /// number of draws
    pub draws: usize,
    /// their seed
    pub seed: u64,
    /// version of the program
    pub version: &'static str,
    /// version of the table of typical values
    pub typical_version: u32,
}
