//! What is connected: sources, paths, loads, stages, and the network that the contacts sit in.

pub mod chain;
pub mod contact;
pub mod lead;
pub mod load;
pub mod ports;
pub mod section;
pub mod source;
pub mod stage;
pub mod twoport;
pub mod typical;

pub use chain::{Chain, ChainItem};
pub use contact::{Contact, Role};
pub use lead::Lead;
pub use load::Load;
pub use section::{PathItem, Section};
pub use source::Source;
pub use stage::{Equalisation, Stage};
