//! Kinds of part, and what contact resistance is in order for each.
//!
//! Limits are the end-of-life figures of specifications and data sheets, not measurements of this project.

use super::evidence::words;
use serde::{Deserialize, Serialize};

words! {
    /// Kind of a part.
    Kind {
        /// rotary switch
        RotarySwitch = "rotary switch",
        /// slide switch
        SlideSwitch = "slide switch",
        /// push switch
        PushSwitch = "push switch",
        /// toggle or rocker switch
        ToggleSwitch = "toggle switch",
        /// relay
        Relay = "relay",
        /// phono socket
        PhonoSocket = "phono socket",
        /// headphone socket
        HeadphoneSocket = "headphone socket",
        /// control with a track and a wiper
        Potentiometer = "potentiometer",
        /// screw or clamp terminal
        Terminal = "terminal",
        /// plug and socket between boards
        Connector = "connector",
        /// soldered joint
        Joint = "joint",
    }
}

/// What is usual for a kind.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InOrder {
    /// largest resistance still in order, ohm
    pub up_to_ohm: f64,
    /// where the figure comes from, with its tag
    pub source: &'static str,
}

/// Share of a control's track up to which its wiper is in order.
pub const WIPER_SHARE_OF_TRACK: f64 = 0.03;

impl Kind {
    /// What is in order for a contact of this kind; a wiper needs its track. `None` where no figure is at hand.
    #[must_use]
    pub fn in_order(self, track_ohm: Option<f64>) -> Option<InOrder> {
        let limit = |up_to_ohm, source| Some(InOrder { up_to_ohm, source });
        match self {
            Self::RotarySwitch => limit(0.040, "MIL-DTL-3786/1G, after life [seen]"),
            Self::SlideSwitch => limit(0.130, "slide switch data sheet, after 10 000 cycles [seen]"),
            Self::PushSwitch => limit(0.250, "MIL-DTL-28827C, after life [seen]"),
            Self::ToggleSwitch => limit(0.050, "logic-level toggle data sheet [seen]"),
            Self::Relay => {
                limit(0.100, "twice the initial 50 mohm after life, MIL-R-5757J [seen, initial from memory]")
            }
            Self::PhonoSocket => limit(0.100, "[memory]"),
            Self::HeadphoneSocket => limit(0.150, "small jack data sheet, after 5000 cycles [seen]"),
            Self::Potentiometer => track_ohm
                .and_then(|track| limit(WIPER_SHARE_OF_TRACK * track, "3 % of the track, carbon control [memory]")),
            Self::Terminal | Self::Connector | Self::Joint => None,
        }
    }
}
