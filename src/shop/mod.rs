//! The shop's own experience: the bench log, what remedies cost, and above which resistance the next one pays.

pub mod cells;
pub mod cost;
pub mod date;
pub mod log;
pub mod pairs;
pub mod place;
pub mod read;
pub mod remedy;

pub use log::{COLUMNS, Column};
pub use read::{Log, read};
