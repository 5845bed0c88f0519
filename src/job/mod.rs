//! Files in and out: the job sheet, the readings, the assessment.

pub mod model;

pub use model::{Job, RouteSheet, SectionSheet, SourceSheet, TypicalUse};
