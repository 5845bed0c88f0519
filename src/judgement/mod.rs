//! What follows from the evidence: which contacts it leaves, what each can do, what to do next.

pub mod belief;
mod bridges;
pub mod causes;
mod checked;
mod crossover;
pub mod cures;
pub mod deeds;
mod dice;
pub mod faults;
pub mod finding;
pub mod listener;
pub mod meters;
pub mod needs;
pub mod next_step;
pub mod posterior;
pub mod priors;
pub mod rivals;
pub mod scene;
mod strata;
pub mod suspects;
pub mod trial;
pub mod uncertainty;

pub use faults::SharedCause;
pub use finding::{Bound, Finding, Kind};
pub use next_step::NextStep;
pub use suspects::{Observation, OnRoute, Picture, Standing, Who};

#[cfg(test)]
mod by_hand;
