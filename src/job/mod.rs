//! Files in and out: the job sheet, the readings, the assessment.

pub mod assess;
mod drawn;
pub mod evidence;
mod impossible;
pub mod keys;
pub mod limits;
pub mod model;
mod reaching;
mod readings;
pub mod report;
mod route;
mod routes;
mod rows;
mod scene;
mod schema;
mod sentences;
pub mod sheet;
mod sheet_checked;
mod sheet_circuit;
mod sheet_contact;
mod sheet_evidence;
mod sheet_prior;
mod sheet_route;
mod template;
mod together;
mod tree;
mod typical;

pub use assess::{Draws, Settings, assess, assess_with, draws};
pub use evidence::{Evidence, evidence};
pub use limits::{LAYOUTS, Limit, Limits, Targets, limits, limits_with, loudest_db};
pub use model::{Job, QuickSheet, RouteSheet, SectionSheet, SourceSheet, TypicalUse};
pub use report::Assessment;
pub use schema::schema;
pub use sheet::{load, read};
pub use template::{readings_template, sheet_template};
