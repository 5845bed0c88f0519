//! What the chain does to the signal.

pub mod ceiling;
pub mod level;
pub mod linear;
pub mod loss_disc;
pub mod resistive_loop;
pub mod sweep;
