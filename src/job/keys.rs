//! The one table of a job sheet's headers and keys: it drives the reader, its hints, and what is printed about the format.

/// One key.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// its name
    pub name: &'static str,
    /// what goes there, with an example
    pub meaning: &'static str,
}

/// One header with its keys.
#[derive(Debug, Clone, Copy)]
pub struct Header {
    /// as a sheet writes it
    pub header: &'static str,
    /// its name alone
    pub name: &'static str,
    /// the keys of one entry
    pub keys: &'static [Key],
}

const fn key(name: &'static str, meaning: &'static str) -> Key {
    Key { name, meaning }
}

/// Keys at the top of the sheet, before any header.
pub const TOP: &[Key] = &[
    key("sheet", "1, the version of the format"),
    key("title", "one line about the job"),
    key("readings", "name of a CSV file beside the sheet"),
    key("currency", "currency of prices, like \"EUR\""),
];

/// Every header.
pub const HEADERS: &[Header] = &[
    Header {
        header: "[method]",
        name: "method",
        keys: &[
            key("wires", "2 or 4"),
            key("open_circuit", "voltage on an open contact, like \"1.9 V\""),
            key("current", "test current, like \"1 mA\""),
            key("source", "source resistance, like \"987 ohm\""),
            key("lead", "resistance of both leads, like \"0.2 ohm\" or \"0.1 to 0.3 ohm\""),
            key("accuracy", "like \"0.8 % + 3 x 0.1 ohm\""),
        ],
    },
    Header {
        header: "[part]",
        name: "part",
        keys: &[
            key("kind", "like \"rotary switch\" or \"relay\""),
            key("metal", "contact metal, like \"silver\""),
            key("access", "time to get at it, like \"40 min\""),
            key("price", "price of a new one, a number"),
            key("track", "a control's track, like \"50 kohm\""),
            key("setting", "a control's setting, like \"-30 dB\""),
            key("note", "a remark"),
        ],
    },
    Header {
        header: "[section]",
        name: "section",
        keys: &[
            key("from", "a source: \"moving magnet\" or { emf, resistance, inductance }"),
            key("path", "list of contacts and leads, source to load"),
            key("into", "\"47 kohm\", \"8 ohm loudspeaker\" or { resistance, capacitance }"),
            key("then", "a stage: \"phono stage\" or { gain, equalisation, output_resistance }"),
            key("signal", "signal voltage of the section's source where it is known, like \"2 mV\""),
        ],
    },
    Header {
        header: "[contact]",
        name: "contact",
        keys: &[
            key("sees", "impedance of the loop it stands in, source and load together, like \"8 ohm\""),
            key("signal", "signal across it when it is open, like \"2.8 V\""),
            key("role", "where it stands, like \"signal\", \"return\", \"shunt\" or \"bias\""),
            key("direct_current", "largest direct current through it, like \"0.1 mA\""),
        ],
    },
    Header { header: "[route]", name: "route", keys: &[] },
    Header {
        header: "[[heard]]",
        name: "heard",
        keys: &[
            key("route", "a route, or a list of them"),
            key("channel", "\"left\", \"right\" or \"both\""),
            key("what", "like \"grit\" or \"clean\""),
            key("left", "what is heard on the left, in place of channel and what"),
            key("right", "what is heard on the right, in place of channel and what"),
            key("strength", "\"slight\" or \"plain\""),
            key("output", "level at the end of the route, like \"2 V\" or \"1 W\""),
            key("residue", "measured residue, like \"1.2 % +- 0.2 %\""),
            key("by", "measured loss, like \"0.6 dB +- 0.2 dB\""),
            key("than", "what the loss is measured against, like \"the other channel\""),
            key("goes_away", "list, like [\"turned up\"]"),
            key("comes_back", "list, like [\"overnight\"]"),
        ],
    },
    Header {
        header: "[[bridged]]",
        name: "bridged",
        keys: &[
            key("contact", "a contact, \"part / position\""),
            key("channel", "\"left\", \"right\" or \"both\""),
            key("then", "\"clean\", \"better\" or \"same\""),
            key("with", "\"clip lead\" or \"replacement\""),
        ],
    },
    Header { header: "[[reading]]", name: "reading", keys: READING },
];

/// Columns of a readings file and keys of `[[reading]]`.
pub const READING: &[Key] = &[
    key("when", "state, like \"as found\" or \"tapped\""),
    key("contact", "a contact, \"part / position\""),
    key("channel", "\"left\", \"right\" or \"both\""),
    key("shows", "what the meter shows, like \"180 ohm\", \"0.3 to 4 ohm\", \"OL\", \"<0.1 mV\""),
    key("method", "a method, like \"dry box\""),
    key("polarity", "which way round, like \"+\" or \"-\""),
    key("note", "a remark"),
    key("at", "the load's voltage, for signal millivolts, like \"2.83 V\""),
];

/// Keys of inline tables.
pub const SOURCE: &[Key] = &[
    key("emf", "open-circuit voltage, like \"5 mV\""),
    key("resistance", "like \"1 kohm\""),
    key("inductance", "like \"500 mH\""),
];
/// Keys of a lead or a contact inside a path.
pub const PATH: &[Key] = &[
    key("lead", "a typical lead, like \"phono lead\""),
    key("resistance", "like \"0.2 ohm\""),
    key("inductance", "like \"1 uH\""),
    key("capacitance", "to the return, like \"150 pF\""),
    key("contact", "a contact, \"part / position\""),
    key("role", "\"signal\", \"return\", \"shared return\" or \"shunt\""),
    key("direct_current", "largest direct current through the contact, like \"0.1 mA\""),
];
/// Keys of a load.
pub const LOAD: &[Key] = &[
    key("resistance", "like \"47 kohm\"; of a loudspeaker its nominal impedance, like \"8 ohm\""),
    key("capacitance", "across it, like \"220 pF\""),
    key("voice_coil", "direct-current resistance of a loudspeaker's coil, like \"6.4 ohm\""),
    key("inductance", "of the voice coil, like \"0.5 mH\""),
    key("resonance", "of the loudspeaker in its box, like \"50 Hz\""),
    key("mechanical_q", "Q of the mechanical losses, a number"),
    key("electrical_q", "Q of the electrical damping, a number"),
];
/// Keys of a stage.
pub const STAGE: &[Key] = &[
    key("name", "its name in the report"),
    key("gain", "at 1 kHz, like \"35 dB\""),
    key("equalisation", "\"flat\", \"riaa\" or \"riaa 7950 us\""),
    key("output_resistance", "like \"600 ohm\""),
];

/// The header a key belongs under, if only one has it.
#[must_use]
pub fn home_of(key: &str) -> Option<&'static str> {
    let mut homes = HEADERS.iter().filter(|h| h.keys.iter().any(|k| k.name == key));
    let home = homes.next()?;
    homes.next().is_none().then_some(home.header)
}
