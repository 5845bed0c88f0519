//! What the chain does to the signal.

pub mod ceiling;
pub mod ceiling_cascade;
pub mod ceiling_many;
pub mod distortion;
pub mod level;
pub mod level_cycle;
pub mod linear;
pub mod loss_disc;
pub mod millivolt;
pub mod residue;
pub mod resistive_loop;
pub mod status;
pub mod steady;
pub mod sweep;
pub mod two_tone;
pub mod weighting;
