//! What aged switch and relay contacts do to an audio signal, and whether they explain what is heard.
//!
//! # Conventions
//!
//! * SI units, the unit in the name: `resistance_ohm`, `emf_v`, `frequency_hz`. Voltages and currents are rms of a sine
//!   unless the name says `peak`. EMF is the open-circuit source voltage.
//! * `loss_db` is positive for quieter. Distortion and residue are ratios to the fundamental.
//! * `exp(+j omega t)`; current flows from source to load.
//!
//! ```
//! use weaklink::circuit::{Contact, Lead, Load, PathItem, Section, Source, chain::Network};
//! use weaklink::response::linear::{loss_db, transfer};
//! let section = Section {
//!     name: "line input".into(),
//!     source: Some(Source { emf_v: 0.5, resistance_ohm: 2200.0, inductance_h: 0.0 }),
//!     path: vec![
//!         PathItem::Contact(Contact::ohmic("selector", 0.0)),
//!         PathItem::Lead(Lead { capacitance_f: 1e-9, ..Lead::default() }),
//!     ],
//!     load: Load::resistance(22e3),
//! };
//! let network = Network::from_section(&section).unwrap();
//! // EMF is open circuit: the load sees 22/24.2 of it
//! assert!((transfer(&network, 1e-3, &[0.0]).norm() - 22.0 / 24.2).abs() < 1e-9);
//! // quieter is positive
//! assert!(loss_db(&network, 1000.0, &[1000.0]) > 0.0);
//! // exp(+j omega t): a capacitance to the return makes the output lag
//! assert!(transfer(&network, 10e3, &[0.0]).im < 0.0);
//! ```
//!
//! # Building
//!
//! The kernels are written to be inlined. Without optimisation (`opt-level = 0`, cargo's default for `dev`) they are tens of times slower and
//! many films at once want more than a megabyte of stack in every thread; the least optimisation mends both:
//!
//! ```toml
//! [profile.dev.package."*"]
//! opt-level = 1
//! ```
//!
//! # The house
//!
//! Data flows one way; a module uses only modules to its left:
//! [`physics`] -> [`circuit`] -> [`response`] -> [`hearing`] -> `bench` -> `judgement` -> `shop` -> `job` -> `python`.

#[cfg(feature = "job")]
pub mod bench;
pub mod circuit;
mod cores;
pub mod error;
pub mod hearing;
#[cfg(feature = "job")]
pub mod job;
#[cfg(feature = "job")]
pub mod judgement;
pub mod physics;
#[cfg(feature = "python")]
mod python;
pub mod response;
#[cfg(feature = "job")]
pub mod shop;
pub mod watch;

pub use error::InputError;

// the public face alone, by the name that others know
#[cfg(test)]
extern crate self as weaklink;
#[cfg(all(test, feature = "job"))]
#[path = "../tests/fuzz.rs"]
mod fuzz;
#[cfg(all(test, feature = "job"))]
#[path = "../tests/jobs.rs"]
mod jobs;
