//! What is connected: sources, paths, loads, stages, and the network that the contacts sit in.

pub mod amplifier;
pub mod chain;
pub mod contact;
pub mod divider;
pub mod lead;
pub mod load;
pub mod loudspeaker;
pub mod ports;
pub mod section;
pub mod source;
pub mod stage;
pub mod twoport;
pub mod typical;

pub use chain::{Chain, ChainItem};
pub use contact::{Contact, Role};
pub use divider::Divider;
pub use lead::Lead;
pub use load::Load;
pub use loudspeaker::Loudspeaker;
pub use section::{PathItem, Section};
pub use source::Source;
pub use stage::{Equalisation, Stage};
