//! What the bench found out: parts, methods, readings, and what was heard where.

mod accuracy;
mod engineering;
pub mod evidence;
pub mod fit;
mod fit_law;
mod fit_points;
mod fit_starts;
pub mod harmonics;
pub mod kind;
pub mod method;
pub(crate) mod names;
pub mod part;
pub mod quantity;
pub mod range;
pub mod reading;
pub(crate) mod spreadsheet;

pub use evidence::{Bridged, Channel, Checked, Heard, Strength, Then, What};
pub use method::Method;
pub use part::Part;
pub use reading::{Reading, State};
