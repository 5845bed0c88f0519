//! What aged switch and relay contacts do to an audio signal, and whether they explain what is heard.

#[cfg(feature = "job")]
pub mod bench;
pub mod circuit;
pub mod error;
#[cfg(feature = "job")]
pub mod job;
pub mod physics;
pub mod response;

pub use error::InputError;
