//! The one table of a job sheet's headers and keys: it drives the reader, its hints, the template and the schema.

use crate::bench::evidence::{BridgedWith, Channel, ComesBack, GoesAway, InPauses, Strength, Swapped, Then, What};
use crate::bench::kind::Kind;
use crate::bench::quantity::Dimension;
use crate::bench::{Method, State};
use crate::circuit::{Equalisation, Role, typical};
use crate::judgement::priors;

/// What may stand as the value of a key.
#[derive(Debug, Clone, Copy)]
pub enum Form {
    /// any text
    Text,
    /// a bare number
    Number,
    /// one of these bare numbers
    OneOf(&'static [i64]),
    /// a number with its unit, in quotes
    Quantity(Dimension),
    /// what a meter shows, an accuracy, a level: text with a number in it
    Figure,
    /// a word of a closed list
    Word(fn() -> Vec<&'static str>),
    /// a word that names something typical, or any other text
    Named(fn() -> Vec<&'static str>),
    /// a name or an inline table with these keys
    NameOrTable(fn() -> Vec<&'static str>, &'static [Key]),
    /// a list of texts and inline tables with these keys
    Path(&'static [Key]),
    /// one text or a list of them
    Texts,
    /// a list of words of a closed list, or one
    Words(fn() -> Vec<&'static str>),
}

/// One key.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// its name
    pub name: &'static str,
    /// what may stand there
    pub form: Form,
    /// an example as TOML writes it; the template's entry has it where it begins with no `#`
    pub example: &'static str,
    /// what goes there
    pub meaning: &'static str,
}

/// How the entries of a header are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Entries {
    /// `"name" = { keys }`
    Named,
    /// `"name" = [list of names]`
    Lists,
    /// the keys themselves, line by line
    Keys,
    /// `[[header]]` and its keys, line by line
    Rows,
}

/// One header with its keys.
#[derive(Debug, Clone, Copy)]
pub struct Header {
    /// as a sheet writes it
    pub header: &'static str,
    /// its name alone
    pub name: &'static str,
    /// what it is for
    pub about: &'static str,
    /// how its entries are written
    pub entries: Entries,
    /// entries of the template: whole lines, or names whose keys are those of the table with an example that is on
    pub template: &'static [&'static str],
    /// the keys of one entry
    pub keys: &'static [Key],
}

const fn key(name: &'static str, form: Form, example: &'static str, meaning: &'static str) -> Key {
    Key { name, form, example, meaning }
}

fn kinds() -> Vec<&'static str> {
    Kind::ALL.iter().map(|k| k.word()).collect()
}
fn roles() -> Vec<&'static str> {
    Role::ALL.iter().map(|r| r.word()).collect()
}
fn path_roles() -> Vec<&'static str> {
    Role::ALL.iter().filter(|r| r.is_in_the_path()).map(|r| r.word()).collect()
}
fn channels() -> Vec<&'static str> {
    Channel::ALL.iter().map(|c| c.word()).chain(["both", "L", "R", "l", "r"]).collect()
}
fn whats() -> Vec<&'static str> {
    What::ALL.iter().map(|w| w.word()).collect()
}
fn strengths() -> Vec<&'static str> {
    Strength::ALL.iter().map(|w| w.word()).collect()
}
fn goes_away() -> Vec<&'static str> {
    GoesAway::ALL.iter().map(|w| w.word()).collect()
}
fn comes_back() -> Vec<&'static str> {
    ComesBack::ALL.iter().map(|w| w.word()).collect()
}
fn in_pauses() -> Vec<&'static str> {
    InPauses::ALL.iter().map(|w| w.word()).collect()
}
fn swaps() -> Vec<&'static str> {
    Swapped::ALL.iter().map(|w| w.word()).collect()
}
fn thens() -> Vec<&'static str> {
    Then::ALL.iter().map(|w| w.word()).collect()
}
fn bridges() -> Vec<&'static str> {
    BridgedWith::ALL.iter().map(|w| w.word()).collect()
}
fn states() -> Vec<&'static str> {
    State::ALL.iter().map(|w| w.word()).collect()
}
fn methods() -> Vec<&'static str> {
    Method::TYPICAL.to_vec()
}
fn sources() -> Vec<&'static str> {
    typical::SOURCES.iter().map(|row| row.0).collect()
}
fn loads() -> Vec<&'static str> {
    typical::LOADS.iter().map(|row| row.0).collect()
}
fn leads() -> Vec<&'static str> {
    typical::LEADS.iter().map(|row| row.0).collect()
}
fn stages() -> Vec<&'static str> {
    typical::STAGES.to_vec()
}
fn equalisations() -> Vec<&'static str> {
    Equalisation::NAMES.to_vec()
}

use Dimension as D;
use Form::{Figure, Named, Number, OneOf, Quantity, Text, Texts, Word, Words};

/// Keys at the top of the sheet, before any header.
pub const TOP: &[Key] = &[
    key("sheet", OneOf(&[1]), "1", "the version of the format"),
    key("title", Text, "\"Gritty on records, right channel\"", "one line about the job"),
    key("readings", Text, "# \"readings.csv\"", "name of a CSV file beside the sheet"),
    key("currency", Text, "# \"EUR\"", "currency of prices"),
    key(
        "sensitivity",
        Quantity(D::Decibel),
        "# \"87 dB\"",
        "sound level of the loudspeakers at 1 m from 2.83 V; without a distance, of headphones from 1 V",
    ),
    key("distance", Quantity(D::Length), "# \"2.5 m\"", "from the loudspeakers to the listener"),
];

/// Every header.
pub const HEADERS: &[Header] = &[
    Header {
        header: "[method]",
        name: "method",
        about: "How readings are taken, where it is none of the typical methods",
        entries: Entries::Named,
        template: &["my meter"],
        keys: &[
            key("wires", OneOf(&[2, 4]), "2", "2 or 4"),
            key("open_circuit", Quantity(D::Voltage), "\"1.9 V\"", "voltage on an open contact"),
            key("current", Quantity(D::Current), "\"0.6 mA\"", "test current on a closed contact"),
            key("source", Quantity(D::Resistance), "# \"987 ohm\"", "source resistance, of a divider"),
            key("lead", Figure, "\"0.1 to 0.3 ohm\"", "resistance of both leads, with two wires"),
            key("accuracy", Figure, "\"0.8 % + 3 x 0.1 ohm\"", "share of the reading, and digits"),
        ],
    },
    Header {
        header: "[part]",
        name: "part",
        about: "What one opens, cleans or replaces; a path may name parts that have no entry here",
        entries: Entries::Named,
        template: &[
            "\"source selector\" = { kind = \"rotary switch\", access = \"40 min\" }",
            "\"volume control\"  = { kind = \"potentiometer\", track = \"50 kohm\", setting = \"-30 dB\" }",
        ],
        keys: &[
            key("kind", Word(kinds), "\"rotary switch\"", "what it is"),
            key("metal", Text, "# \"silver\"", "contact metal"),
            key("access", Quantity(D::Time), "\"40 min\"", "time to get at it"),
            key("price", Number, "# 9", "price of a new one, without its currency"),
            key("track", Quantity(D::Resistance), "# \"50 kohm\"", "track of a control"),
            key("setting", Quantity(D::Decibel), "# \"-30 dB\"", "setting of a control, 0 dB is fully up"),
            key("suspicion", Number, "# 2", "how much likelier at fault than another part"),
            key("note", Text, "# \"worked stiffly\"", "a remark"),
        ],
    },
    Header {
        header: "[section]",
        name: "section",
        about: "One passive loop between two active stages; paths declare the contacts",
        entries: Entries::Named,
        template: &[
            "\"phono input\"  = { from = \"moving magnet\", path = [\"phono lead\", \"phono socket / pin\"], into = \"47 kohm\", then = \"phono stage\" }",
            "\"phono select\" = { path = [\"source selector / phono\"], into = \"50 kohm\" }",
            "\"volume\"       = { path = [\"volume control / wiper\"], into = \"47 kohm\", then = \"power stage\" }",
            "\"loudspeakers\" = { path = [\"speaker relay / a\"], into = \"8 ohm loudspeaker\" }",
        ],
        keys: &[
            key(
                "from",
                Form::NameOrTable(sources, SOURCE),
                "\"moving magnet\"",
                "its source; without it the section before drives it",
            ),
            key(
                "path",
                Form::Path(PATH),
                "[\"phono lead\", \"phono socket / pin\"]",
                "contacts, leads and resistances, source to load",
            ),
            key("into", Form::NameOrTable(loads, LOAD), "\"47 kohm\"", "what it ends in, a value or typical"),
            key("then", Form::NameOrTable(stages, STAGE), "\"phono stage\"", "the stage that follows"),
            key("signal", Quantity(D::Voltage), "# \"2 mV\"", "its EMF, where it is known"),
        ],
    },
    Header {
        header: "[contact]",
        name: "contact",
        about: "Quick form: a contact without a schematic, or one that no section describes",
        entries: Entries::Named,
        template: &["# output relay / b"],
        keys: &[
            key(
                "sees",
                Quantity(D::Resistance),
                "\"8 ohm\"",
                "impedance of the loop it stands in, source and load together",
            ),
            key("signal", Quantity(D::Voltage), "\"2.8 V\"", "signal across it when it is open"),
            key("role", Word(roles), "# \"shared return\"", "where it stands, if not in the signal conductor"),
            key("direct_current", Quantity(D::Current), "# \"0.1 mA\"", "largest direct current through it"),
        ],
    },
    Header {
        header: "[route]",
        name: "route",
        about: "One way of listening: its sections (or quick contacts), source to ear",
        entries: Entries::Lists,
        template: &["\"phono\" = [\"phono input\", \"phono select\", \"volume\", \"loudspeakers\"]"],
        keys: &[],
    },
    Header {
        header: "[[heard]]",
        name: "heard",
        about: "What is heard on a route: channel and what, or left and right with a what each",
        entries: Entries::Rows,
        template: &["on"],
        keys: &[
            key("route", Texts, "\"phono\"", "a route, or a list of them"),
            key("channel", Word(channels), "# \"both\"", "left, right or both"),
            key("what", Word(whats), "# \"grit\"", "what is heard there"),
            key("left", Word(whats), "\"clean\"", "what is heard on the left"),
            key("right", Word(whats), "\"grit\"", "what is heard on the right"),
            key("strength", Word(strengths), "# \"slight\"", "how plainly"),
            key("output", Figure, "# \"1 W\"", "level at the end of the route"),
            key("level", Quantity(D::Decibel), "# \"75 dB\"", "sound level at the ear, if it is known"),
            key("residue", Quantity(D::Ratio), "# \"1.2 % +- 0.2 %\"", "measured residue"),
            key("by", Quantity(D::Decibel), "# \"0.6 dB +- 0.2 dB\"", "measured loss"),
            key("than", Text, "# \"the other channel\"", "what the loss is measured against"),
            key("goes_away", Words(goes_away), "# [\"switch worked\"]", "what makes it go away"),
            key("comes_back", Words(comes_back), "# [\"overnight\"]", "when it comes back"),
            key("in_pauses", Word(in_pauses), "# \"no\"", "whether it is heard while nothing plays"),
        ],
    },
    Header {
        header: "[[bridged]]",
        name: "bridged",
        about: "What a clip lead across a contact, or its replacement, changed",
        entries: Entries::Rows,
        template: &[],
        keys: &[
            key("contact", Text, "\"source selector / phono\"", "a contact, \"part / position\""),
            key("channel", Word(channels), "\"right\"", "left, right or both"),
            key("then", Word(thens), "\"clean\"", "what is heard then"),
            key("with", Word(bridges), "# \"replacement\"", "what was put there, a clip lead if it is not said"),
        ],
    },
    Header {
        header: "[[checked]]",
        name: "checked",
        about: "What was found at a stage, a source or the loudspeakers",
        entries: Entries::Rows,
        template: &[],
        keys: &[
            key("at", Text, "\"power stage\"", "a stage, source or loudspeaker, by the name that the sheet has for it"),
            key("channel", Word(channels), "\"right\"", "left, right or both"),
            key("bias", Quantity(D::Voltage), "# \"18 mV\"", "across each emitter resistor, idle and warm"),
            key(
                "direct",
                Quantity(D::Voltage),
                "# \"2 mV\"",
                "direct voltage that it puts on what it drives, nothing playing",
            ),
            key(
                "swapped",
                Word(swaps),
                "# \"stays\"",
                "what swapping left and right there changed: where the fault is heard then",
            ),
        ],
    },
    Header {
        header: "[[reading]]",
        name: "reading",
        about: "A reading; many are easier in a CSV file with the same names",
        entries: Entries::Rows,
        template: &[],
        keys: READING,
    },
    Header {
        header: "[prior]",
        name: "prior",
        about: "What is likely before anything is heard; leave it out for the values shown",
        entries: Entries::Keys,
        template: &[],
        keys: &PRIOR,
    },
];

/// Keys of `[prior]`, from the table of priors.
const PRIOR: [Key; priors::TABLE.len()] = {
    let mut keys = [key("", Number, "", ""); priors::TABLE.len()];
    let mut k = 0;
    while k < keys.len() {
        let row = priors::TABLE[k];
        keys[k] = key(row.name, Number, row.example, row.meaning);
        k += 1;
    }
    keys
};

/// Columns of a readings file and keys of `[[reading]]`.
pub const READING: &[Key] = &[
    key("when", Word(states), "\"as found\"", "state"),
    key("contact", Text, "\"source selector / phono\"", "a contact, \"part / position\""),
    key("channel", Word(channels), "\"right\"", "\"left\", \"right\" or \"both\""),
    key("shows", Figure, "\"0.2 mV\"", "what the meter shows, like \"180 ohm\", \"0.3 to 4 ohm\", \"OL\", \"<0.1 mV\""),
    key("method", Named(methods), "\"dry box\"", "a method, like \"dry box\""),
    key("polarity", Text, "# \"+\"", "which way round, like \"+\" or \"-\""),
    key(
        "parallel",
        Figure,
        "# \"8 ohm\"",
        "what else joins its two ends while it is read, a resistance or \"unknown\"",
    ),
    key("note", Text, "# \"after tapping it rose\"", "a remark"),
    key("at", Quantity(D::Voltage), "# \"2.83 V\"", "the load's voltage, for signal millivolts"),
];

/// Keys of inline tables.
pub const SOURCE: &[Key] = &[
    key("emf", Quantity(D::Voltage), "\"5 mV\"", "open-circuit voltage"),
    key("resistance", Quantity(D::Resistance), "\"1 kohm\"", "in series"),
    key("inductance", Quantity(D::Inductance), "\"500 mH\"", "in series"),
];
/// Keys of a lead or a contact inside a path.
pub const PATH: &[Key] = &[
    key("lead", Named(leads), "\"phono lead\"", "a typical lead"),
    key("resistance", Quantity(D::Resistance), "\"0.2 ohm\"", "in series"),
    key("inductance", Quantity(D::Inductance), "\"1 uH\"", "in series"),
    key("capacitance", Quantity(D::Capacitance), "\"150 pF\"", "to the return, after the series part"),
    key("contact", Text, "\"speaker relay / a\"", "a contact, \"part / position\""),
    key("role", Word(path_roles), "\"return\"", "where the contact stands"),
    key("direct_current", Quantity(D::Current), "\"0.1 mA\"", "largest direct current through the contact"),
];
/// Keys of a load.
pub const LOAD: &[Key] = &[
    key("resistance", Quantity(D::Resistance), "\"8 ohm\"", "or the nominal impedance of a loudspeaker"),
    key("capacitance", Quantity(D::Capacitance), "\"220 pF\"", "across it"),
    key("voice_coil", Quantity(D::Resistance), "\"6.4 ohm\"", "direct-current resistance of a loudspeaker's coil"),
    key("inductance", Quantity(D::Inductance), "\"0.5 mH\"", "of the voice coil"),
    key("resonance", Quantity(D::Frequency), "\"50 Hz\"", "of the loudspeaker in its box"),
    key("mechanical_q", Number, "2.6", "Q of the mechanical losses"),
    key("electrical_q", Number, "0.5", "Q of the electrical damping"),
];
/// Keys of a stage.
pub const STAGE: &[Key] = &[
    key("name", Text, "\"tone stage\"", "its name in the report"),
    key("gain", Quantity(D::Decibel), "\"35 dB\"", "at 1 kHz"),
    key("equalisation", Word(equalisations), "\"riaa\"", "flat if it is not said"),
    key("output_resistance", Quantity(D::Resistance), "\"600 ohm\"", "what drives the next section"),
];

/// The header a key belongs under, if only one has it.
#[must_use]
pub fn home_of(key: &str) -> Option<&'static str> {
    let mut homes = HEADERS.iter().filter(|h| h.keys.iter().any(|k| k.name == key));
    let home = homes.next()?;
    homes.next().is_none().then_some(home.header)
}
