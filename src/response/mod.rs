//! What the chain does to the signal.

pub mod attack;
pub mod bounds;
pub mod ceiling;
pub mod ceiling_many;
pub mod ceiling_resistive;
pub mod ceiling_two_tone;
pub mod distortion;
pub mod distortion_many;
pub(crate) mod enclosed;
pub(crate) mod jet;
pub mod level;
pub mod level_cycle;
pub mod linear;
pub mod loss_disc;
pub mod millivolt;
pub mod residue;
pub mod resistive_loop;
pub(crate) mod seen;
pub mod status;
pub mod steady;
pub(crate) mod supremum;
pub mod sweep;
mod sweep_loops;
pub mod two_tone;
pub(crate) mod walk;
pub mod weighting;
pub(crate) mod weights;
