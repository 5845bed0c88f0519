//! Fritting: a film breaks down electrically, a metal bridge is left, and stays until the contact moves or rests.
//!
//! * Breakdown (Holm's A-fritting): at a field of the order of 1e8 V/m, 0.1 V per nm of film (Holm, *Electric Contacts*,
//!   4th ed. 1967, paragraphs 26-28 \[memory\]); sulphided silver switches from 70 mV on (Morales-Masis et al. 2011 \[seen\]).
//! * The bridge (B-fritting): it widens until the contact voltage has fallen to the softening or melting voltage of its
//!   metal, 0.1 to 0.45 V \[memory\]; then the voltage at the peak current is pinned. From there down it is a heated
//!   constriction: `I R0 = V_T atan(V/V_T)`, [`Film::Bridged`], with the `R0` that the widest moment left.
//! * Memory: lower levels find the bridge as it is; a higher one widens it; moving or rest gives the film back
//!   (common practice: it comes back overnight).
//!
//! Validity: a resistive loop and slow signals. Breakdown is a scatter over decades, not a threshold: give ranges.

use super::constriction::{Heating, heated_current_a};
use super::film::Film;
use super::series::Series;
use crate::error::{InputError, not_negative, positive};

/// Field at which films break down, V/m: order of magnitude, Holm 1967 \[memory\].
pub const BREAKDOWN_FIELD_V_PER_M: f64 = 1e8;

/// Breakdown voltage of a film, V: field times thickness.
#[must_use]
pub fn breakdown_v(thickness_m: f64, field_v_per_m: f64) -> f64 {
    thickness_m * field_v_per_m
}

/// A film that can break down, and what it remembers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fritting {
    film: Film,
    breakdown_v: f64,
    pinned_v: f64,
    bridge_ohm: Option<f64>,
}

impl Fritting {
    /// A whole film: its law, the peak voltage at which it breaks down, the peak voltage at which its bridge is pinned.
    ///
    /// # Errors
    /// What [`Film::check`] refuses; voltages not above zero; a pinned voltage above the breakdown voltage.
    pub fn new(film: Film, breakdown_v: f64, pinned_v: f64) -> Result<Self, InputError> {
        film.check()?;
        positive("breakdown_v", breakdown_v)?;
        positive("pinned_v", pinned_v)?;
        if pinned_v > breakdown_v {
            let allowed = format!(
                "allowed: at most breakdown_v, {breakdown_v} V: a bridge holds no more than what broke the film"
            );
            return Err(InputError::new("pinned_v", pinned_v, allowed));
        }
        Ok(Self { film, breakdown_v, pinned_v, bridge_ohm: None })
    }

    /// The law in force: the film's, or a bridge's after breakdown.
    #[must_use]
    pub fn law(&self) -> Film {
        self.bridge_ohm.map_or(self.film, |resistance_ohm| Film::Bridged { resistance_ohm })
    }

    /// Whether a bridge is there.
    #[must_use]
    pub fn is_bridged(&self) -> bool {
        self.bridge_ohm.is_some()
    }

    /// Moved: the bridge is torn, the film is back.
    pub fn moved(&mut self) {
        self.bridge_ohm = None;
    }

    /// Rested (overnight): the bridge has oxidised through, the film is back.
    pub fn rested(&mut self) {
        self.bridge_ohm = None;
    }

    /// Puts a signal on: EMF peak (V) in a resistive loop (ohm, without the contact); returns the law after it.
    ///
    /// A whole film breaks where its share of the EMF reaches the breakdown voltage in either polarity; a bridge widens where
    /// its voltage would pass the pinned one. Then `R0 = V_T atan(Vp/V_T) Z/(E - Vp)`, so that the peak finds `Vp` across it.
    ///
    /// # Errors
    /// An EMF below zero or a loop not above zero.
    pub fn drive(&mut self, emf_peak_v: f64, loop_ohm: f64) -> Result<Film, InputError> {
        not_negative("emf_peak_v", emf_peak_v)?;
        positive("loop_ohm", loop_ohm)?;
        let circuit = Series { film: self.law(), constriction_ohm: loop_ohm };
        let limit = if self.is_bridged() { self.pinned_v } else { self.breakdown_v };
        let across = [emf_peak_v, -emf_peak_v].map(|emf| circuit.film_voltage_v(emf).abs());
        if across[0].max(across[1]) >= limit && emf_peak_v > self.pinned_v {
            let current_a = (emf_peak_v - self.pinned_v) / loop_ohm;
            // a bridge of 1 ohm would carry this at the pinned voltage: R0 scales it
            let bridge_ohm = heated_current_a(self.pinned_v, 1.0, &Heating::default()) / current_a;
            self.bridge_ohm = Some(positive("emf_peak_v over loop_ohm: bridge", bridge_ohm)?);
        }
        Ok(self.law())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const FILM: Film = Film::Tunnelling { resistance_ohm: 1e4, scale_v: 0.3 };

    fn peak_across(law: Film, emf: f64, loop_ohm: f64) -> f64 {
        Series { film: law, constriction_ohm: loop_ohm }.film_voltage_v(emf)
    }

    #[test]
    fn a_tenth_of_a_volt_per_nanometre() {
        assert_relative_eq!(breakdown_v(10e-9, BREAKDOWN_FIELD_V_PER_M), 1.0, epsilon = 0.0, max_relative = 1e-14);
    }

    #[test]
    fn up_down_and_after_rest() {
        let mut contact = Fritting::new(FILM, 1.0, 0.3).unwrap();
        // below breakdown the film stays
        assert_eq!(contact.drive(0.9, 8.0).unwrap(), FILM);
        // above it the bridge is pinned
        let bridge = contact.drive(5.0, 8.0).unwrap();
        assert!(contact.is_bridged());
        assert_relative_eq!(peak_across(bridge, 5.0, 8.0), 0.3, epsilon = 0.0, max_relative = 1e-12);
        // going down leaves it as it is, with less than the pinned voltage across
        assert_eq!(contact.drive(0.5, 8.0).unwrap(), bridge);
        assert!(peak_across(bridge, 0.5, 8.0) < 0.03);
        // louder widens it, pinned again
        let wider = contact.drive(20.0, 8.0).unwrap();
        assert!(wider.resistance_ohm() < bridge.resistance_ohm());
        assert_relative_eq!(peak_across(wider, 20.0, 8.0), 0.3, epsilon = 0.0, max_relative = 1e-12);
        assert_eq!(contact.drive(5.0, 8.0).unwrap(), wider);
        // rest and movement give the film back
        contact.rested();
        assert_eq!(contact.law(), FILM);
        contact.drive(5.0, 8.0).unwrap();
        contact.moved();
        assert_eq!(contact.drive(0.9, 8.0).unwrap(), FILM);
    }

    #[test]
    fn a_rectifier_breaks_in_its_reverse_direction() {
        let film = Film::Rectifying { resistance_ohm: 10.0, ideality: 1.0, leak_ratio: 0.01 };
        let mut contact = Fritting::new(film, 1.5, 0.3).unwrap();
        assert!(peak_across(film, 2.0, 8.0) < 0.5);
        contact.drive(2.0, 8.0).unwrap();
        assert!(contact.is_bridged());
    }

    #[test]
    fn bad_input_is_named() {
        assert!(Fritting::new(FILM, 0.2, 0.3).unwrap_err().allowed.contains("breakdown_v"));
        assert!(Fritting::new(FILM, f64::NAN, 0.3).is_err());
        assert!(Fritting::new(FILM, 1.0, 0.0).is_err());
        assert!(Fritting::new(FILM, 1.0, 0.3).unwrap().drive(1.0, 0.0).is_err());
        let mut contact = Fritting::new(FILM, 1.0, 0.3).unwrap();
        assert!(contact.drive(1e308, 1e-5).is_err());
        assert_eq!(contact.law(), FILM);
    }
}
