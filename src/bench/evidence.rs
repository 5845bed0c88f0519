//! Evidence without ohms: what is heard on a route and channel, and what a clip lead changed.

use serde::{Deserialize, Serialize};

/// A closed list of names: the Rust variant and the words that a sheet uses for it.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$each:meta])* $variant:ident = $text:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum $name { $($(#[$each])* #[serde(rename = $text)] $variant),+ }

        impl $name {
            /// Every value, in the order of this page.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The word for it.
            #[must_use]
            pub fn word(self) -> &'static str {
                match self { $(Self::$variant => $text),+ }
            }

            /// The value for a word.
            #[must_use]
            pub fn from_word(word: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|value| value.word() == word)
            }
        }
    };
}
pub(crate) use words;

words! {
    /// One of the two channels.
    Channel {
        /// left
        Left = "left",
        /// right
        Right = "right",
    }
}

words! {
    /// What is heard.
    What {
        /// a gritty, dirty sound that follows the signal
        Grit = "grit",
        /// separate cracks
        Crackle = "crackle",
        /// one channel or both too quiet
        Quieter = "quieter",
        /// treble is missing
        Dull = "dull",
        /// the channels differ in level
        Imbalance = "imbalance",
        /// hum
        Hum = "hum",
        /// nothing at all
        Dead = "dead",
        /// drops out and returns
        ComesAndGoes = "comes and goes",
        /// nothing wrong
        Clean = "clean",
    }
}

words! {
    /// How strongly it is heard.
    Strength {
        /// only just
        Slight = "slight",
        /// plainly
        Plain = "plain",
    }
}

words! {
    /// What makes a symptom go away.
    GoesAway {
        /// when the volume is turned up
        TurnedUp = "turned up",
        /// when the switch is worked
        SwitchWorked = "switch worked",
        /// when something is tapped
        Tapped = "tapped",
        /// when the set has warmed up
        WarmedUp = "warmed up",
        /// when an ohmmeter has been on the contact
        MeterApplied = "meter applied",
    }
}

words! {
    /// When a symptom comes back.
    ComesBack {
        /// by the next morning
        Overnight = "overnight",
        /// after a rest
        AfterRest = "after rest",
        /// when something is tapped
        WhenTapped = "when tapped",
        /// when a control is turned or a switch worked
        WhenTurned = "when turned",
    }
}

words! {
    /// Whether a symptom is heard while nothing plays.
    InPauses {
        /// it is
        Yes = "yes",
        /// only with a signal
        No = "no",
    }
}

words! {
    /// What is heard once left and right have been swapped at a source or at the loudspeakers.
    Swapped {
        /// the fault is on the other side now
        ChangesSides = "changes sides",
        /// it is where it was
        Stays = "stays",
    }
}

words! {
    /// What bridging a contact, or replacing it, changed.
    Then {
        /// clean sound
        Clean = "clean",
        /// nothing
        Same = "same",
        /// better, not clean
        Better = "better",
    }
}

words! {
    /// What was put in the contact's place.
    BridgedWith {
        /// a clip lead across it
        ClipLead = "clip lead",
        /// another part
        Replacement = "replacement",
    }
}

/// What was heard on one route and one channel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Heard {
    /// the route
    pub route: String,
    /// the channel
    pub channel: Channel,
    /// the symptom, or clean
    pub what: What,
    /// how strongly
    pub strength: Strength,
    /// level at the end of the route while listening, V rms, where it is known
    pub output_v: Option<f64>,
    /// level at the ear while listening, dB SPL, where it is known
    pub level_db: Option<f64>,
    /// measured residue, lowest and highest, as a ratio to the tone
    pub residue: Option<(f64, f64)>,
    /// measured loss, lowest and highest, dB
    pub loss_db: Option<(f64, f64)>,
    /// what makes it go away
    pub goes_away: Vec<GoesAway>,
    /// when it comes back
    pub comes_back: Vec<ComesBack>,
    /// whether it is heard while nothing plays, where that was listened for
    pub in_pauses: Option<InPauses>,
    /// line of the sheet, for messages
    pub line: usize,
}

/// What bridging or replacing one contact changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bridged {
    /// the contact, `part / position`
    pub contact: String,
    /// the channel
    pub channel: Channel,
    /// what it changed
    pub then: Then,
    /// what was put there
    pub with: BridgedWith,
    /// line of the sheet, for messages
    pub line: usize,
}

/// What was found at something that is no contact: a stage, a source, a loudspeaker.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Checked {
    /// its name
    pub at: String,
    /// the channel
    pub channel: Channel,
    /// voltage across each emitter resistor of an output stage, idle and warm, lowest and highest, V
    pub bias_v: Option<(f64, f64)>,
    /// size of the direct voltage that it puts on what it drives, lowest and highest, V
    pub direct_v: Option<(f64, f64)>,
    /// what swapping left and right there changed
    pub swapped: Option<Swapped>,
    /// line of the sheet, for messages
    pub line: usize,
}
