//! Least change that listeners notice: of level, between channels, of response. Ranges over published experiments.
//!
//! | change | low | high | source |
//! | --- | --- | --- | --- |
//! | loss, all frequencies and both channels alike | Jesteadt, Wier and Green, or 0.7 dB if less | 1.5 dB | below; Shub et al., JASA 123 (2008) 4421: 0.7 dB \[seen\]; rule 0.5 to 1.5 dB \[seen\] |
//! | imbalance of the channels | 0.5 dB | 1 dB | Mills, JASA 32 (1960) 132: 1 dB at 1 kHz, 0.5 dB at high frequencies \[seen\] |
//! | response, some frequencies only | 0.2 dB | 1 dB | Clark, JAES 30 (1982) 330 matches to 0.1-0.2 dB \[memory, low\]; about 1 dB broadband \[seen\] |
//!
//! Jesteadt, Wier and Green, JASA 61 (1977) 169: `dI/I = 0.463 (I/I0)^-0.072`, `I/I0` the sensation level, 5 to 80 dB \[memory\]. The low
//! end excludes ("cannot be noticed"), the high end accuses. These are comparisons side by side: from memory nobody notices so little.

use super::{decibel, power};
use crate::error::InputError;

/// Ends of Jesteadt, Wier and Green's sensation levels, dB.
pub const SENSATION_DB: (f64, f64) = (5.0, 80.0);
/// Shub et al.: 600 Hz, one ear, dB.
pub const SHUB_DB: f64 = 0.7;
/// Mills: imbalance at high frequencies and at 1 kHz, dB.
pub const MILLS_DB: (f64, f64) = (0.5, 1.0);
/// Secondary rule for loss of level: the upper end, dB.
pub const LOSS_RULE_DB: f64 = 1.5;
/// Response: matching in comparison tests, broadband rule, dB.
pub const RESPONSE_DB: (f64, f64) = (0.2, 1.0);

/// A range of changes, with whether a fit was used outside what it was made from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noticeable {
    /// below this nobody is known to notice, dB
    pub low_db: f64,
    /// above this it is noticed, dB
    pub high_db: f64,
    /// the fit was used outside its range
    pub extrapolated: bool,
}

/// Jesteadt, Wier and Green's fit at any sensation level, dB.
fn jesteadt_anywhere_db(sensation_db: f64) -> f64 {
    decibel(1.0 + 0.463 * power(-0.072 * sensation_db))
}

/// Just noticeable change of a tone's level at a sensation level, dB.
///
/// # Errors
/// A sensation level outside 5 to 80 dB.
pub fn jesteadt_db(sensation_db: f64) -> Result<f64, InputError> {
    if (SENSATION_DB.0..=SENSATION_DB.1).contains(&sensation_db) {
        return Ok(jesteadt_anywhere_db(sensation_db));
    }
    Err(InputError::new("sensation_db", sensation_db, "allowed: 5 to 80 dB, the range of the experiment"))
}

/// Loss that is noticed at a sensation level (level over threshold, dB), both channels alike.
///
/// # Errors
/// A sensation level that is not finite, or below zero: nothing is heard there.
pub fn loss(sensation_db: f64) -> Result<Noticeable, InputError> {
    if !(0.0..=140.0).contains(&sensation_db) {
        return Err(InputError::new("sensation_db", sensation_db, "allowed: 0 to 140 dB over the threshold"));
    }
    let fit = jesteadt_anywhere_db(sensation_db);
    let extrapolated = !(SENSATION_DB.0..=SENSATION_DB.1).contains(&sensation_db);
    Ok(Noticeable { low_db: fit.min(SHUB_DB), high_db: fit.max(LOSS_RULE_DB), extrapolated })
}

/// Imbalance of two channels that is noticed.
#[must_use]
pub fn imbalance() -> Noticeable {
    Noticeable { low_db: MILLS_DB.0, high_db: MILLS_DB.1, extrapolated: false }
}

/// Change of response that is noticed.
#[must_use]
pub fn response_change() -> Noticeable {
    Noticeable { low_db: RESPONSE_DB.0, high_db: RESPONSE_DB.1, extrapolated: false }
}

/// Angle by which an imbalance moves the image of a stereo pair, degrees: `tan(phi)/tan(phi0) = tanh(dL ln10/40)`.
///
/// The tangent law, Bernfeld 1973 \[memory\]; loudspeakers at `+-half_angle_deg`, above 0, below 90.
#[must_use]
pub fn image_angle_deg(imbalance_db: f64, half_angle_deg: f64) -> f64 {
    let turn = (imbalance_db * std::f64::consts::LN_10 / 40.0).tanh();
    (half_angle_deg.to_radians().tan() * turn).atan().to_degrees()
}

/// Imbalance that moves the image by an angle, dB: the inverse.
///
/// # Errors
/// An angle not within the loudspeakers'.
pub fn imbalance_for_angle_db(angle_deg: f64, half_angle_deg: f64) -> Result<f64, InputError> {
    if angle_deg.is_nan() || angle_deg.abs() >= half_angle_deg {
        return Err(InputError::new("angle_deg", angle_deg, format!("allowed: within +-{half_angle_deg} degrees")));
    }
    let turn = angle_deg.to_radians().tan() / half_angle_deg.to_radians().tan();
    Ok(40.0 / std::f64::consts::LN_10 * turn.atanh())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn jesteadt_wier_and_green() {
        let rows = [(5.0, 1.542), (10.0, 1.437), (20.0, 1.246), (40.0, 0.929), (60.0, 0.686), (80.0, 0.503)];
        for (sensation, db) in rows {
            assert!((jesteadt_db(sensation).unwrap() - db).abs() < 5.1e-4, "{sensation}");
        }
        for bad in [4.9, 80.1, f64::NAN] {
            assert_eq!(jesteadt_db(bad).unwrap_err().place, "sensation_db");
        }
    }

    #[test]
    fn ranges() {
        let at = |sensation| loss(sensation).unwrap();
        assert_eq!((at(40.0).low_db, at(40.0).high_db, at(40.0).extrapolated), (SHUB_DB, LOSS_RULE_DB, false));
        assert!((at(80.0).low_db - 0.503).abs() < 5.1e-4);
        assert!(at(5.0).high_db > 1.54 && at(90.0).extrapolated && at(90.0).low_db < 0.5 && at(0.0).extrapolated);
        assert!(loss(-1.0).is_err() && loss(f64::INFINITY).is_err());
        assert_eq!((imbalance().low_db, imbalance().high_db), (0.5, 1.0));
        assert_eq!((response_change().low_db, response_change().high_db), (0.2, 1.0));
    }

    #[test]
    fn tangent_law() {
        for (db, deg) in [(0.5, 0.952), (1.0, 1.901), (3.0, 5.638)] {
            assert!((image_angle_deg(db, 30.0) - deg).abs() < 5.1e-4);
            assert!((imbalance_for_angle_db(image_angle_deg(db, 30.0), 30.0).unwrap() - db).abs() < 1e-12);
        }
        // least audible angle 1 degree, Mills 1958 [memory]
        assert!((imbalance_for_angle_db(1.0, 30.0).unwrap() - 0.5254).abs() < 5.1e-5);
        assert!(imbalance_for_angle_db(30.0, 30.0).is_err() && imbalance_for_angle_db(f64::NAN, 30.0).is_err());
    }
}
