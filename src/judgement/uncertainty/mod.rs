//! Uncertainty: propagation of distributions after JCGM 101:2008, the law of propagation of uncertainty after JCGM 100:2008.
//!
//! Trials come in blocks of [`monte_carlo::BLOCK`], each with a stream of its own, so that the bits of a result depend on the
//! seed alone and not on how many threads shared the work.

pub mod distribution;
pub mod generator;
pub mod interval;
pub mod law;
pub mod monte_carlo;

#[cfg(test)]
mod checks;

pub use distribution::Distribution;
pub use generator::Stream;
pub use interval::{Interval, numerical_tolerance, shortest, symmetric};
pub use law::{Budget, Input};
pub use monte_carlo::{Adaptive, Propagated, adaptive, propagate};
