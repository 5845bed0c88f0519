//! Where a contact of a kind usually stands, for rows that do not say it.

use crate::bench::kind::Kind;
use crate::bench::range::Place;

/// A typical place of a contact: one resistive loop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TypicalPlace {
    /// what it is, in words
    pub name: &'static str,
    /// source resistance, ohm
    pub source_ohm: f64,
    /// load resistance, ohm
    pub load_ohm: f64,
    /// EMF, V
    pub emf_v: f64,
}

const fn place(name: &'static str, source_ohm: f64, load_ohm: f64, emf_v: f64) -> TypicalPlace {
    TypicalPlace { name, source_ohm, load_ohm, emf_v }
}

/// The typical place of a kind: common practice, the loads of `circuit::typical`.
#[must_use]
pub fn typical_place(kind: Kind) -> TypicalPlace {
    match kind {
        Kind::Relay | Kind::Terminal => place("8 ohm loudspeaker at 1 W", 0.05, 8.0, 2.83),
        Kind::HeadphoneSocket => place("32 ohm headphones behind 330 ohm", 330.0, 32.0, 2.0),
        Kind::PhonoSocket => place("47 kohm, moving magnet", 1000.0, 47e3, 5e-3),
        Kind::Potentiometer => place("47 kohm behind a wiper", 10e3, 47e3, 0.1),
        Kind::RotarySwitch
        | Kind::SlideSwitch
        | Kind::PushSwitch
        | Kind::ToggleSwitch
        | Kind::Connector
        | Kind::Joint => place("line signal into 50 kohm", 1000.0, 50e3, 0.3),
    }
}

/// The place of a row: what it states, the rest typical for its kind.
pub(super) fn place_of(kind: Option<Kind>, sees_ohm: Option<f64>, signal_v: Option<f64>) -> Place {
    let Some(typical) = kind.map(typical_place) else { return Place::UNKNOWN };
    let loop_ohm = sees_ohm.unwrap_or(typical.source_ohm + typical.load_ohm);
    let open_peak_v = std::f64::consts::SQRT_2 * signal_v.unwrap_or(typical.emf_v);
    Place {
        open_peak_v,
        short_peak_a: open_peak_v / loop_ohm,
        loop_ohm,
        load_ohm: sees_ohm.unwrap_or(typical.load_ohm),
    }
}
