//! Files in and out: the job sheet, the readings, the assessment.

pub mod assess;
pub mod keys;
pub mod limits;
pub mod model;
mod readings;
pub mod report;
mod routes;
mod rows;
mod sentences;
pub mod sheet;
mod sheet_circuit;
mod sheet_evidence;
mod tree;
mod typical;

pub use assess::assess;
pub use limits::{LAYOUTS, Limit, limits};
pub use model::{Job, RouteSheet, SectionSheet, SourceSheet, TypicalUse};
pub use report::Assessment;
pub use sheet::{load, read};
