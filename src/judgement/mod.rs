//! What follows from the evidence: which contacts it leaves, what each can do, what to do next.

mod bridges;
pub mod causes;
pub mod deeds;
pub mod faults;
pub mod finding;
pub mod listener;
pub mod needs;
pub mod next_step;
pub mod posterior;
pub mod priors;
pub mod scene;
pub mod suspects;
pub mod uncertainty;

pub use faults::SharedCause;
pub use finding::{Bound, Finding, Kind};
pub use next_step::NextStep;
pub use suspects::{Observation, OnRoute, Picture, Standing, Who};
