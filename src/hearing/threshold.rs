//! Threshold of hearing: the least level of a tone that a median young listener hears in silence.
//!
//! | threshold | range | source |
//! | --- | --- | --- |
//! | free field, from the front | 20 Hz to 16 kHz | ISO 389-7:2019 \[seen\]; 20 Hz is 78.1 dB since 2016 |
//! | diffuse field | 20 Hz to 16 kHz | ISO 389-7:2019 table 1 \[seen\]; what tables labelled "ISO 389" mostly have |
//! | Terhardt | 20 Hz to 16 kHz | `3.64 F^-0.8 - 6.5 exp(-0.6 (F-3.3)^2) + 0.001 F^4`, F in kHz; Hear. Res. 1 (1979) 155 \[seen\]; range \[derived\] |
//!
//! The table's nominal frequencies are taken as they are printed; between them straight on a logarithmic scale of frequency. It has thirds of
//! an octave and seven audiometric frequencies beside them; without 14 kHz the free field would come out 6.7 dB too high there. Diffuse field
//! at 10 kHz is 9.8 dB, after a copy with the frequencies printed beside; a copy without them has 8.4 dB, which is the 9 kHz of the other.

use super::{between, named};
use crate::error::InputError;

/// Entries of the table.
const ENTRIES: usize = 37;

/// Frequencies of the table, Hz, nominal.
pub const TABLE_HZ: [f64; ENTRIES] = [
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0, 630.0, 750.0,
    800.0, 1000.0, 1250.0, 1500.0, 1600.0, 2000.0, 2500.0, 3000.0, 3150.0, 4000.0, 5000.0, 6000.0, 6300.0, 8000.0,
    9000.0, 10000.0, 11200.0, 12500.0, 14000.0, 16000.0,
];

/// Free-field threshold, dB SPL.
pub const FREE_FIELD_DB: [f64; ENTRIES] = [
    78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2, 4.4, 3.0, 2.4, 2.2, 2.4, 3.5,
    2.4, 1.7, -1.3, -4.2, -5.8, -6.0, -5.4, -1.5, 4.3, 6.0, 12.6, 13.9, 13.9, 13.0, 12.3, 18.4, 40.2,
];

/// Diffuse-field threshold, dB SPL.
pub const DIFFUSE_FIELD_DB: [f64; ENTRIES] = [
    78.1, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.4, 5.8, 3.8, 2.1, 1.2, 1.0, 0.8, 1.9,
    1.0, 0.5, -1.5, -3.1, -4.0, -4.0, -3.8, -1.8, 1.4, 2.5, 6.8, 8.4, 9.8, 11.5, 14.4, 23.2, 43.7,
];

/// Places in the table of the audiometric frequencies that are no thirds of an octave: 750 Hz, 1.5, 3, 6, 9, 11.2, 14 kHz.
const NO_THIRDS: [usize; 7] = [16, 20, 24, 28, 31, 33, 35];

/// The entries at thirds of an octave, 20 Hz to 16 kHz, which other standards take up.
pub(super) const fn thirds(table: &[f64; ENTRIES]) -> [f64; ENTRIES - NO_THIRDS.len()] {
    let mut out = [0.0; ENTRIES - NO_THIRDS.len()];
    let (mut from, mut skipped) = (0, 0);
    while from < ENTRIES {
        if skipped < NO_THIRDS.len() && NO_THIRDS[skipped] == from {
            skipped += 1;
        } else {
            out[from - skipped] = table[from];
        }
        from += 1;
    }
    out
}

/// Ends of the range in which the thresholds are published, Hz.
pub const RANGE_HZ: (f64, f64) = (20.0, 16000.0);

/// Above this nobody is taken to hear, Hz.
pub const AUDIBLE_TO_HZ: f64 = 20_000.0;

/// A threshold in quiet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quiet {
    /// ISO 389-7, plane wave from the front
    FreeField,
    /// ISO 389-7, from all sides
    DiffuseField,
    /// Terhardt 1979
    Terhardt,
}

named!(Quiet { FreeField = "free field", DiffuseField = "diffuse field", Terhardt = "Terhardt" });

/// Where Terhardt's formula is lowest, Hz, to half a hertz, over which it does not change by 1e-6 dB.
pub(super) const TERHARDT_LOWEST_HZ: f64 = 3324.0;

/// Terhardt's formula, dB SPL, at any frequency above zero.
#[must_use]
pub fn terhardt_db(frequency_hz: f64) -> f64 {
    let f = frequency_hz / 1000.0;
    3.64 * f.powf(-0.8) - 6.5 * (-0.6 * (f - 3.3).powi(2)).exp() + 1e-3 * f.powi(4)
}

impl Quiet {
    /// Threshold at a frequency within [`RANGE_HZ`], dB SPL.
    ///
    /// # Errors
    /// A frequency outside the range.
    pub fn level_db(self, frequency_hz: f64) -> Result<f64, InputError> {
        match self.or_beyond_db(frequency_hz) {
            (level_db, false) if level_db.is_finite() => Ok(level_db),
            _ => Err(InputError::new(
                "frequency_hz",
                frequency_hz,
                "allowed: 20 Hz to 16 kHz, the range of the threshold",
            )),
        }
    }

    /// The lowest that it is anywhere, dB SPL.
    #[must_use]
    pub fn lowest_db(self) -> f64 {
        let least = |table: &[f64]| table.iter().copied().fold(f64::INFINITY, f64::min);
        match self {
            Self::FreeField => least(&FREE_FIELD_DB),
            Self::DiffuseField => least(&DIFFUSE_FIELD_DB),
            Self::Terhardt => terhardt_db(TERHARDT_LOWEST_HZ),
        }
    }

    /// Threshold at any frequency above zero, dB SPL, and whether it is extrapolated.
    ///
    /// Outside the range a table gives its last value up to 20 kHz: thresholds rise outwards, so that this is the least it can be.
    /// Terhardt's formula goes on, and above 20 kHz (164 dB) stands for all.
    #[must_use]
    pub fn or_beyond_db(self, frequency_hz: f64) -> (f64, bool) {
        let beyond = !(RANGE_HZ.0..=RANGE_HZ.1).contains(&frequency_hz);
        let table = match self {
            _ if frequency_hz > AUDIBLE_TO_HZ => return (terhardt_db(frequency_hz), beyond),
            Self::Terhardt => return (terhardt_db(frequency_hz), beyond),
            Self::FreeField => &FREE_FIELD_DB,
            Self::DiffuseField => &DIFFUSE_FIELD_DB,
        };
        let held_hz = frequency_hz.clamp(RANGE_HZ.0, RANGE_HZ.1);
        (between(&TABLE_HZ, table, held_hz).unwrap_or(f64::NAN), beyond)
    }
}

#[cfg(test)]
mod tests {
    use super::Quiet::{DiffuseField, FreeField, Terhardt};
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn published_thresholds() {
        for (hz, db) in
            [(100.0, 22.9529), (1e3, 3.3691), (2e3, -0.2513), (3300.0, -4.9809), (1e4, 10.5769), (16e3, 65.9321)]
        {
            assert!((terhardt_db(hz) - db).abs() < 6e-5, "{hz}");
        }
        // lowest at 3324 Hz, -4.98325 dB [calc]
        assert!((terhardt_db(3324.0) + 4.983_25).abs() < 1e-5);
        assert!(terhardt_db(3323.0) > terhardt_db(3324.0) && terhardt_db(3325.0) > terhardt_db(3324.0));
        // trap: free field is 2.4 dB at 1 kHz, diffuse field 0.8 dB
        assert_eq!((FreeField.level_db(1e3), DiffuseField.level_db(1e3)), (Ok(2.4), Ok(0.8)));
        assert_eq!((FreeField.level_db(4e3), DiffuseField.level_db(12.5e3)), (Ok(-5.4), Ok(14.4)));
        // trap: 78.1 dB at 20 Hz since 2016
        assert_eq!(FreeField.level_db(20.0), Ok(78.1));
    }

    #[test]
    fn the_formula_is_not_the_table() {
        // trap: up to 7.8 dB below (8 kHz) and 12.6 above (12.5 kHz), not counting 16 kHz [calc]
        let off = |hz: f64| terhardt_db(hz) - FreeField.level_db(hz).unwrap();
        let all: Vec<_> = thirds(&TABLE_HZ)[..29].iter().map(|&hz| off(hz)).collect();
        let (low, high) = (all.iter().copied().fold(0.0, f64::min), all.iter().copied().fold(0.0, f64::max));
        assert!((low + 7.8).abs() < 0.05 && (off(8000.0) - low).abs() < 1e-12, "{low}");
        assert!((high - 12.6).abs() < 0.05 && (off(12500.0) - high).abs() < 1e-12, "{high}");
    }

    #[test]
    fn audiometric_frequencies_beside_the_thirds() {
        // ISO 389-7, three copies of the free field that agree [seen], one of the diffuse field with its frequencies [seen]
        let rows = [(750.0, 2.4, 1.2), (1500.0, 2.4, 1.0), (3e3, -5.8, -4.0), (6e3, 4.3, 1.4), (9e3, 13.9, 8.4)];
        for (hz, free, diffuse) in rows.into_iter().chain([(11.2e3, 13.0, 11.5), (14e3, 18.4, 23.2)]) {
            assert_eq!((FreeField.level_db(hz), DiffuseField.level_db(hz)), (Ok(free), Ok(diffuse)), "{hz}");
        }
        let hz = thirds(&TABLE_HZ);
        assert_eq!((hz.len(), hz[0], hz[29]), (30, 20.0, 16e3));
        assert!(hz.windows(2).all(|pair| (pair[1] / pair[0] / 10f64.powf(0.1) - 1.0).abs() < 0.03), "{hz:?}");
        // trap: with thirds alone 14 kHz would be 25.1 dB
        assert!((between(&hz, &thirds(&FREE_FIELD_DB), 14e3).unwrap() - 25.108).abs() < 1e-3);
    }

    #[test]
    fn lowest_of_each() {
        assert_eq!((FreeField.lowest_db(), DiffuseField.lowest_db()), (-6.0, -4.0));
        assert!((Terhardt.lowest_db() + 4.983_25).abs() < 1e-5);
        for quiet in [FreeField, DiffuseField, Terhardt] {
            let all = (0..=40_000).map(|k| quiet.level_db(20.0 * 800f64.powf(f64::from(k) / 40e3)));
            let found = all.map(Result::unwrap).fold(f64::INFINITY, f64::min);
            assert!(found >= quiet.lowest_db() - 1e-6 && found < quiet.lowest_db() + 1e-3, "{quiet:?} {found}");
        }
    }

    #[test]
    fn between_the_entries_on_a_logarithmic_scale() {
        let middle = (1000f64 * 1250.0).sqrt();
        assert!((FreeField.level_db(middle).unwrap() - 2.95).abs() < 1e-12);
        // straight in hertz it would be something else
        assert!((FreeField.level_db(1125.0).unwrap() - 2.95).abs() > 0.02);
    }

    #[test]
    fn outside_the_range() {
        for quiet in [FreeField, DiffuseField, Terhardt] {
            for bad in [19.9, 16_000.1, 0.0, -5.0, f64::NAN, f64::INFINITY] {
                assert_eq!(quiet.level_db(bad).unwrap_err().place, "frequency_hz", "{bad}");
            }
            assert!(quiet.or_beyond_db(17e3).1 && quiet.or_beyond_db(10.0).1 && !quiet.or_beyond_db(16e3).1);
            assert_eq!(Quiet::named(quiet.name()), Some(quiet));
        }
        assert_eq!((FreeField.or_beyond_db(18e3), DiffuseField.or_beyond_db(10.0)), ((40.2, true), (78.1, true)));
        assert!(FreeField.or_beyond_db(20_001.0).0 > 160.0);
    }

    proptest! {
        #[test]
        fn between_its_neighbours(hz in 20f64..16e3) {
            for (quiet, table) in [(FreeField, FREE_FIELD_DB), (DiffuseField, DIFFUSE_FIELD_DB)] {
                let k = TABLE_HZ.iter().rposition(|&entry| entry <= hz).unwrap().min(ENTRIES - 2);
                let (a, b) = (table[k].min(table[k + 1]), table[k].max(table[k + 1]));
                let found = quiet.level_db(hz).unwrap();
                prop_assert!(found >= a - 1e-12 && found <= b + 1e-12);
            }
        }
    }
}
