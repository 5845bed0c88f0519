//! What the chain does to the signal.

pub mod ceiling;
pub mod ceiling_cascade;
pub mod ceiling_many;
pub mod level;
pub mod linear;
pub mod loss_disc;
pub mod millivolt;
pub mod resistive_loop;
pub mod status;
pub mod sweep;
pub mod weighting;
