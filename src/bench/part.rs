//! A part: what one opens, cleans or replaces.

use super::kind::Kind;
use serde::{Deserialize, Serialize};

/// One part of the amplifier, as the sheet describes it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Part {
    /// what it is, where the sheet says so
    pub kind: Option<Kind>,
    /// contact metal, as written
    pub metal: Option<String>,
    /// time to get at it, s
    pub access_s: Option<f64>,
    /// price of a new one, in the sheet's currency
    pub price: Option<f64>,
    /// a control's track, ohm
    pub track_ohm: Option<f64>,
    /// a control's setting, dB (zero or below)
    pub setting_db: Option<f64>,
    /// how much likelier it is to be at fault than another part; 1 where the sheet says nothing
    pub suspicion: Option<f64>,
    /// remark
    pub note: Option<String>,
}
