//! Typical sources, leads, loads and stages, each with its source and tag; one version for the whole table.

use super::{Equalisation, Lead, Load, Loudspeaker, Source, Stage};

/// Version of the table; results carry it.
pub const VERSION: u32 = 2;

/// A typical source by name: `(name, source, from where)`.
pub const SOURCES: [(&str, Source, &str); 6] = [
    (
        "moving magnet",
        Source { emf_v: 5e-3, resistance_ohm: 1000.0, inductance_h: 0.5 },
        "5 mV at 5 cm/s, 1 kHz [seen]; coil 400-1500 ohm, 300-700 mH [memory]",
    ),
    (
        "moving coil",
        Source { emf_v: 0.5e-3, resistance_ohm: 10.0, inductance_h: 30e-6 },
        "0.1-0.7 mV [seen]; coil 2-40 ohm, 10-100 uH [memory]",
    ),
    (
        "line source",
        Source { emf_v: 0.5, resistance_ohm: 2200.0, inductance_h: 0.0 },
        "IEC 61938: reference 0.5 V, at most 2.2 kohm [seen]",
    ),
    (
        "tuner",
        Source { emf_v: 0.5, resistance_ohm: 2200.0, inductance_h: 0.0 },
        "taken as a line source, common practice",
    ),
    (
        "disc player",
        Source { emf_v: 2.0, resistance_ohm: 1000.0, inductance_h: 0.0 },
        "full scale 2 V, IEC 61938 [seen]; output resistance common practice",
    ),
    (
        "tape deck",
        Source { emf_v: 0.5, resistance_ohm: 2200.0, inductance_h: 0.0 },
        "taken as a line source, common practice",
    ),
];

/// A typical lead by name.
pub const LEADS: [(&str, Lead, &str); 4] = [
    (
        "phono lead",
        Lead { resistance_ohm: 0.2, inductance_h: 0.0, capacitance_f: 150e-12 },
        "80-200 pF [seen]; resistance common practice",
    ),
    (
        "loudspeaker lead",
        Lead { resistance_ohm: 0.13, inductance_h: 0.0, capacitance_f: 0.0 },
        "5 m pair of AWG 16, 2 x 13.174 mohm/m [calc]",
    ),
    (
        "line lead",
        Lead { resistance_ohm: 0.2, inductance_h: 0.0, capacitance_f: 150e-12 },
        "taken as a phono lead, common practice",
    ),
    (
        "headphone resistor",
        Lead { resistance_ohm: 330.0, inductance_h: 0.0, capacitance_f: 0.0 },
        "in series from the power stage to the headphone socket, 100 to 470 ohm, common practice",
    ),
];

/// A typical load by name; the flag says that it is a loudspeaker or headphones, which can be at fault itself.
pub const LOADS: [(&str, Load, bool, &str); 7] = [
    ("8 ohm loudspeaker", Load::resistance(8.0), true, "nominal resistance"),
    ("6 ohm loudspeaker", Load::resistance(6.0), true, "nominal resistance"),
    ("4 ohm loudspeaker", Load::resistance(4.0), true, "nominal resistance"),
    (
        "8 ohm boxed loudspeaker",
        Load {
            resistance_ohm: 8.0,
            capacitance_f: 0.0,
            loudspeaker: Some(Loudspeaker {
                voice_coil_ohm: 6.4,
                voice_coil_h: 0.5e-3,
                resonance_hz: 50.0,
                mechanical_q: 2.625,
                electrical_q: 0.5,
            }),
        },
        true,
        "lowest impedance 80 % of nominal, IEC 60268-5 [seen]; resonance of 40 ohm at 50 Hz and 0.5 mH, common practice",
    ),
    ("32 ohm headphones", Load::resistance(32.0), true, "nominal resistance"),
    ("300 ohm headphones", Load::resistance(300.0), true, "nominal resistance"),
    (
        "moving magnet input",
        Load { capacitance_f: 100e-12, ..Load::resistance(47e3) },
        false,
        "47 kohm [seen]; capacitance common practice",
    ),
];

/// What a load is, in words.
#[must_use]
pub fn load_in_words(load: &Load) -> String {
    let ohm = |value: f64| if value >= 1e3 { format!("{} kohm", value / 1e3) } else { format!("{value} ohm") };
    match load.loudspeaker {
        Some(l) => format!(
            "{} coil with {} mH, {} at {} Hz",
            ohm(l.voice_coil_ohm),
            l.voice_coil_h * 1e3,
            ohm((l.voice_coil_ohm * (1.0 + l.mechanical_q / l.electrical_q)).round()),
            l.resonance_hz
        ),
        None if load.capacitance_f > 0.0 => {
            format!("{} and {} pF", ohm(load.resistance_ohm), (load.capacitance_f * 1e12).round())
        }
        None => ohm(load.resistance_ohm),
    }
}

/// Names of the typical stages.
pub const STAGES: [&str; 5] = ["phono stage", "moving coil stage", "line stage", "power stage", "later power stage"];

/// A typical stage by name, and where its figures come from.
///
/// Gains follow from sensitivities of common practice: 2.5 mV phono and 150 mV line inputs for 35 W into 8 ohm (16.7 V).
#[must_use]
pub fn stage(name: &str) -> Option<(Stage, &'static str)> {
    let made = |gain_db, equalisation, output_resistance_ohm| Stage {
        name: name.to_owned(),
        gain_db,
        equalisation,
        output_resistance_ohm,
    };
    Some(match name {
        // 20 log10(150 mV / 2.5 mV)
        "phono stage" => (made(35.56, Equalisation::Riaa, 1000.0), "2.5 mV to 150 mV, common practice"),
        "moving coil stage" => (made(55.56, Equalisation::Riaa, 1000.0), "0.25 mV to 150 mV, common practice"),
        "line stage" => (made(10.0, Equalisation::Flat, 600.0), "common practice"),
        // 20 log10(16.7 V / 150 mV)
        "power stage" => (made(40.93, Equalisation::Flat, 0.05), "150 mV to 16.7 V, common practice"),
        // 20 log10(16.7 V / 250 mV)
        "later power stage" => (made(36.5, Equalisation::Flat, 0.05), "250 mV to 16.7 V, common practice"),
        _ => return None,
    })
}

/// A typical source by its name.
#[must_use]
pub fn source(name: &str) -> Option<(Source, &'static str)> {
    SOURCES.iter().find(|row| row.0 == name).map(|row| (row.1, row.2))
}

/// A typical lead by its name.
#[must_use]
pub fn lead(name: &str) -> Option<(Lead, &'static str)> {
    LEADS.iter().find(|row| row.0 == name).map(|row| (row.1, row.2))
}

/// A typical load by its name, and whether it is a loudspeaker.
#[must_use]
pub fn load(name: &str) -> Option<(Load, bool, &'static str)> {
    LOADS.iter().find(|row| row.0 == name).map(|row| (row.1, row.2, row.3))
}
