//! From what a meter showed to the range of resistance that it leaves.
//!
//! A reading is dry enough where the method puts no more voltage and current on the contact than the larger of the
//! signal's own peaks and 20 mV, 100 mA (ASTM B539 method C, IEC 60512-2-1 test 2a \[seen\]). A method that puts more may
//! have broken or wiped the film it measured: the dry resistance is then at least what was read, and nothing bounds it
//! from above (common practice).

use super::method::{DRY_CURRENT_A, DRY_VOLTAGE_V, Method, Shows};
use super::quantity::{Quantity, Shown};
use super::reading::{Reading, State};
use crate::physics::Film;
use crate::response::resistive_loop::film_voltage_v;

/// What the circuit is like where the contact stands, at 1 kHz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// peak signal voltage across the contact when it is open, V
    pub open_peak_v: f64,
    /// peak signal current through the contact when it is closed, A
    pub short_peak_a: f64,
    /// magnitude of the loop impedance without the contact, ohm
    pub loop_ohm: f64,
    /// resistance of the section's load, ohm
    pub load_ohm: f64,
}

impl Place {
    /// Where nothing is known of the signal: only methods that are dry for any signal count from above.
    pub const UNKNOWN: Self = Self { open_peak_v: 0.0, short_peak_a: 0.0, loop_ohm: f64::NAN, load_ohm: f64::NAN };
}

/// Range of resistance that one reading, or several, leave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResistanceRange {
    /// lower end, ohm
    pub low_ohm: f64,
    /// resistance that the contact surely reached: largest lower end over the readings, ohm
    pub reached_ohm: f64,
    /// upper end, ohm; infinite where nothing bounds it
    pub high_ohm: f64,
    /// largest zero-voltage resistance behind the upper end, if the film rectifies and was read in its forward direction, ohm
    pub rest_high_ohm: f64,
    /// whether the upper end was read with the signal itself, so that it holds at that signal
    pub at_signal: bool,
    /// upper end as the meter saw it, whatever the signal would see, ohm
    pub shown_high_ohm: f64,
    /// largest share of its own voltage that a meter with a known source saw across the contact at the upper end; one where
    /// nothing says so
    pub mean_share: f64,
    /// largest zero-voltage resistance behind a mean that the upper end may be: the film with the meter's whole voltage across it, ohm
    pub mean_rest_ohm: f64,
    /// whether every reading was dry enough
    pub dry: bool,
    /// whether a reading has the mark of a meter that broke the film: test current times reading of 0.1 to 0.5 V
    pub fritted: bool,
    /// whether the contact was moved while it was measured
    pub moved: bool,
}

/// What "over limit" means at least, ohm: hand meters end at some megohms \[assumption\].
pub const OVER_LIMIT_OHM: f64 = 1e6;

impl Method {
    /// Resistance for a shown value, ohm, in SI units of what the method shows.
    fn resistance_ohm(&self, shown: f64, place: &Place, at_v: Option<f64>, lead_ohm: f64) -> f64 {
        match self.shows {
            Shows::Ohms => (shown - lead_ohm).max(0.0),
            Shows::DividerVolts => {
                let (open, source) = (self.open_circuit_v.unwrap_or(DRY_VOLTAGE_V), self.source_ohm.unwrap_or(0.0));
                if shown >= open { f64::INFINITY } else { source * shown.max(0.0) / (open - shown) }
            }
            Shows::DropVolts => shown.max(0.0) / self.current_a.unwrap_or(1.0),
            Shows::SignalVolts => place.load_ohm * shown.max(0.0) / at_v.unwrap_or(f64::NAN),
            Shows::LossDb => place.loop_ohm * (10f64.powf(shown.max(0.0) / 20.0) - 1.0),
        }
    }

    /// Voltage that the method leaves across a contact of a resistance, V.
    fn voltage_across_v(&self, resistance_ohm: f64) -> f64 {
        let open = self.open_circuit_v.unwrap_or(f64::INFINITY);
        let by_current = self.current_a.map_or(f64::INFINITY, |current| current * resistance_ohm);
        let by_divider = match self.source_ohm {
            Some(source) if resistance_ohm.is_finite() => open * resistance_ohm / (resistance_ohm + source),
            _ => open,
        };
        by_current.min(by_divider).min(10.0)
    }

    /// Whether a display is at least the last digit: below it a meter reads zero. The fixed inaccuracy is usually two digits.
    #[must_use]
    pub fn can_show(&self, display: f64) -> bool {
        const LAST_DIGITS: f64 = 0.5;
        display > 0.0 && display >= LAST_DIGITS * self.floor
    }

    /// Resistance behind the method's terminals, ohm, where it is known.
    #[must_use]
    pub fn behind_ohm(&self) -> Option<f64> {
        self.source_ohm.or(self.open_circuit_v.zip(self.current_a).map(|(open, current)| open / current))
    }

    /// Share of the voltage that the open contact would have, across a resistance with `parallel_ohm` beside it; one where the
    /// source is not known.
    fn share(&self, resistance_ohm: f64, parallel_ohm: f64) -> f64 {
        let behind = self.behind_ohm().map(|front| 1.0 / (1.0 / front + 1.0 / parallel_ohm));
        behind.filter(|_| resistance_ohm.is_finite()).map_or(1.0, |front| resistance_ohm / (resistance_ohm + front))
    }

    /// Whether the method leaves the contact as the signal would find it.
    #[must_use]
    pub fn is_dry_at(&self, place: &Place) -> bool {
        match self.shows {
            Shows::SignalVolts | Shows::LossDb => true,
            Shows::Ohms | Shows::DividerVolts | Shows::DropVolts => {
                let voltage = self.applied_voltage_v().unwrap_or(f64::INFINITY);
                let current = self.applied_current_a().unwrap_or(0.0);
                voltage <= place.open_peak_v.max(DRY_VOLTAGE_V) && current <= place.short_peak_a.max(DRY_CURRENT_A)
            }
        }
    }
}

/// The rectifying film of the bench priors that grows most from rest to its reverse direction: ideality 1, leak 0.01.
fn worst_rectifier(resistance_ohm: f64) -> Film {
    Film::Rectifying { resistance_ohm, ideality: 1.0, leak_ratio: 0.01 }
}

impl ResistanceRange {
    /// Without a reading: anything.
    #[must_use]
    pub fn unknown() -> Self {
        Self {
            low_ohm: 0.0,
            reached_ohm: 0.0,
            high_ohm: f64::INFINITY,
            rest_high_ohm: f64::INFINITY,
            at_signal: false,
            shown_high_ohm: f64::INFINITY,
            mean_share: 1.0,
            mean_rest_ohm: f64::INFINITY,
            dry: false,
            fritted: false,
            moved: false,
        }
    }

    /// The contact alone, where between `least` and `most` ohms joined its two ends as well: at least what was read, and at most
    /// what the least of them hides.
    #[must_use]
    pub fn beside(self, (least, most): (f64, f64), method: &Method) -> Self {
        let high = without(self.shown_high_ohm, least);
        // a film's growth between the meter and rest is a factor on what the meter saw of it
        let times = if self.shown_high_ohm > 0.0 { high / self.shown_high_ohm } else { 1.0 };
        let grown = |ohm: f64| if ohm > 0.0 { ohm * times } else { ohm };
        Self {
            low_ohm: without(self.low_ohm, most),
            reached_ohm: without(self.reached_ohm, most),
            high_ohm: if self.high_ohm.is_finite() { high } else { self.high_ohm },
            rest_high_ohm: grown(self.rest_high_ohm),
            shown_high_ohm: high,
            mean_share: method.share(high, least),
            mean_rest_ohm: grown(self.mean_rest_ohm),
            ..self
        }
    }

    /// Largest steady loss, dB, of a contact that jumps faster than the meter looks and shows it as a mean.
    ///
    /// With a share `p` of its time at `R` to the meter and `gR` to the signal, the meter's source `F` and a loop `Z`: `p R/(R + F)`
    /// is at most the share `s` that was seen, and `gR/(gR + Z)` at most `(R/(R + F)) max(1, gF/Z)`; so the mean loses at most
    /// `max(s, g R_mean/Z)` of the signal, times root two where `Z` has a phase. `g`: a rectifying film read forward at the meter's
    /// whole voltage and met in reverse at the signal's.
    #[must_use]
    pub fn mean_loss_db(&self, place: &Place) -> f64 {
        let grown = if self.at_signal { 1.0 } else { worst_rectifier(1.0).chord_ohm(-place.open_peak_v) };
        let lost = std::f64::consts::SQRT_2 * self.mean_share.max(grown * self.mean_rest_ohm / place.loop_ohm);
        if lost < 1.0 { -20.0 * (1.0 - lost).log10() } else { f64::INFINITY }
    }

    /// Largest chord that the signal can meet: the upper end, grown as far as a rectifying film could at this place.
    ///
    /// A ceiling takes the largest chord in use, not the resistance at rest: read with millivolts and used at a volt, a
    /// rectifier blocks far more than it showed. The loop counts with the magnitude of its impedance at 1 kHz.
    #[must_use]
    pub fn high_in_use_ohm(&self, place: &Place) -> f64 {
        if self.at_signal || self.rest_high_ohm.is_infinite() || self.rest_high_ohm <= 0.0 {
            return self.high_ohm;
        }
        let film = worst_rectifier(self.rest_high_ohm);
        let voltage = film_voltage_v(&film, place.loop_ohm, -place.open_peak_v);
        film.chord_ohm(voltage).max(self.high_ohm)
    }
}

/// The range that one reading leaves at its place.
#[must_use]
pub fn range_of(reading: &Reading, place: &Place) -> ResistanceRange {
    let seen = range_from(&reading.method, reading.shows, reading.at_v, reading.when, place);
    reading.parallel_ohm.map_or(seen, |parallel| seen.beside(parallel, &reading.method))
}

/// The resistance that with another in parallel shows so many ohms; without bound from where the other alone shows.
fn without(shown_ohm: f64, parallel_ohm: f64) -> f64 {
    if shown_ohm >= parallel_ohm { f64::INFINITY } else { shown_ohm / (1.0 - shown_ohm / parallel_ohm) }
}

/// The range that a display leaves, whatever contact it was taken on.
#[must_use]
pub fn range_from(method: &Method, shows: Shown, at_v: Option<f64>, when: State, place: &Place) -> ResistanceRange {
    let leads = if method.wires == 4 { (0.0, 0.0) } else { method.lead_ohm };
    let lowest =
        |shown: f64, slack: f64| method.resistance_ohm(shown - method.half_width(shown) - slack, place, at_v, leads.1);
    let highest =
        |shown: f64, slack: f64| method.resistance_ohm(shown + method.half_width(shown) + slack, place, at_v, leads.0);
    let (low, reached, high) = match shows {
        Shown::Value(q) => {
            let low = lowest(q.value, q.plus_minus);
            (low, low, highest(q.value, q.plus_minus))
        }
        Shown::Between(a, b) => (lowest(a, 0.0), lowest(b, 0.0), highest(b, 0.0)),
        Shown::Below(limit) => (0.0, 0.0, highest(limit, 0.0)),
        Shown::Above(limit) => {
            let low = lowest(limit, 0.0);
            (low, low, f64::INFINITY)
        }
        Shown::Open => (OVER_LIMIT_OHM, OVER_LIMIT_OHM, f64::INFINITY),
    };
    let dry = method.is_dry_at(place);
    let at_signal = matches!(method.shows, Shows::SignalVolts | Shows::LossDb);
    let broke = |shown: f64| {
        let ohm = method.resistance_ohm(shown, place, at_v, 0.0);
        method.current_a.is_some_and(|current| (0.1..=0.5).contains(&(current * ohm)))
    };
    let mark = match shows {
        Shown::Value(q) => broke(q.value),
        Shown::Between(a, b) => broke(a) || broke(b),
        Shown::Below(_) | Shown::Above(_) | Shown::Open => false,
    };
    ResistanceRange {
        low_ohm: low,
        reached_ohm: reached,
        high_ohm: if dry { high } else { f64::INFINITY },
        shown_high_ohm: high,
        rest_high_ohm: if !dry {
            f64::INFINITY
        } else if at_signal {
            high
        } else {
            high / worst_rectifier(1.0).chord_ohm(method.voltage_across_v(high))
        },
        at_signal,
        mean_share: method.share(high, f64::INFINITY),
        mean_rest_ohm: match method.open_circuit_v {
            _ if at_signal => high,
            Some(open_v) if dry => high / worst_rectifier(1.0).chord_ohm(open_v),
            _ => f64::INFINITY,
        },
        dry,
        fritted: !dry && mark,
        moved: when.moved(),
    }
}

/// The swing: smallest to largest over all readings; a reading that is not dry leaves the upper end to the dry ones.
///
/// Without any dry reading nothing bounds it from above.
#[must_use]
pub fn swing(ranges: &[ResistanceRange]) -> Option<ResistanceRange> {
    let first = *ranges.first()?;
    let dry: Vec<_> = ranges.iter().filter(|range| range.dry).collect();
    let largest = |values: &mut dyn Iterator<Item = f64>| values.fold(0.0, f64::max);
    let wet_low = largest(&mut ranges.iter().filter(|range| !range.dry).map(|range| range.low_ohm));
    Some(ResistanceRange {
        rest_high_ohm: if dry.is_empty() {
            f64::INFINITY
        } else {
            largest(&mut dry.iter().map(|range| range.rest_high_ohm))
        },
        at_signal: !dry.is_empty() && dry.iter().all(|range| range.at_signal),
        low_ohm: ranges.iter().map(|range| range.low_ohm).fold(first.low_ohm, f64::min),
        reached_ohm: largest(&mut ranges.iter().map(|range| range.reached_ohm)),
        high_ohm: if dry.is_empty() {
            f64::INFINITY
        } else {
            largest(&mut dry.iter().map(|range| range.high_ohm)).max(wet_low)
        },
        shown_high_ohm: largest(&mut ranges.iter().map(|range| range.shown_high_ohm)),
        mean_share: if dry.is_empty() { 1.0 } else { largest(&mut dry.iter().map(|range| range.mean_share)) },
        mean_rest_ohm: if dry.is_empty() {
            f64::INFINITY
        } else {
            largest(&mut dry.iter().map(|range| range.mean_rest_ohm))
        },
        dry: !dry.is_empty(),
        fritted: ranges.iter().any(|range| range.fritted),
        moved: ranges.iter().any(|range| range.moved && range.dry),
    })
}

/// What a dry box shows for a resistance, V.
#[must_use]
pub fn dry_box_v(resistance_ohm: f64) -> f64 {
    const OPEN_V: f64 = 19.7e-3;
    const SOURCE_OHM: f64 = 987.0;
    if resistance_ohm.is_infinite() { OPEN_V } else { OPEN_V * resistance_ohm / (resistance_ohm + SOURCE_OHM) }
}

/// Largest display of a method below which a contact at a place is below `limit_ohm` for sure, in what the method shows.
///
/// The method's accuracy is taken against it, and a rectifying film as far as the signal could make it grow; `None` where its
/// last digit is too coarse to tell, or where it puts more on the contact than the signal does.
#[must_use]
pub fn clears_below(method: &Method, limit_ohm: f64, place: &Place) -> Option<f64> {
    const ROUNDS: usize = 60;
    let clears = |shown: f64| {
        let shows = Shown::Value(Quantity { value: shown, plus_minus: 0.0 });
        range_from(method, shows, None, State::AsFound, place).high_in_use_ohm(place) < limit_ohm
    };
    if !clears(0.0) {
        return None;
    }
    let (mut low, mut high) = (0.0, method.open_circuit_v?.max(limit_ohm));
    for _ in 0..ROUNDS {
        let middle = 0.5 * (low + high);
        if clears(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    method.can_show(low).then_some(low)
}

/// [`clears_below`] for the dry box, V.
#[must_use]
pub fn dry_box_clears_below_v(limit_ohm: f64, place: &Place) -> Option<f64> {
    clears_below(&Method::typical("dry box")?, limit_ohm, place)
}

/// Smallest display of a two-wire ohmmeter from which on the contact is above `limit_ohm` for sure, ohm: a film that the
/// meter broke was more before.
#[must_use]
pub fn shows_too_much_from_ohm(method: &Method, limit_ohm: f64) -> f64 {
    let leads = if method.wires == 4 { 0.0 } else { method.lead_ohm.1 };
    (limit_ohm + leads + method.floor) / (1.0 - method.of_reading)
}

#[cfg(test)]
mod tests;
