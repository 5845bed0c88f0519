//! What the chain does to the signal.

pub mod ceiling;
pub mod level;
pub mod linear;
pub mod resistive_loop;
pub mod sweep;
