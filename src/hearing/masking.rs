//! Masked threshold of a list of maskers: three published models side by side.
//!
//! Places on a Bark scale, `dz = z(probe) - z(masker)`, F in kHz, masker level L in dB SPL (of a noise: in its critical band):
//!
//! | model | threshold beside one masker | source |
//! | --- | --- | --- |
//! | ISO 11172-3 | `L + av + vf`; tone `av = -6.025 - 0.275 z`, noise `av = -2.025 - 0.175 z`; `vf` below | ISO/IEC 11172-3:1993 annex D.1 step 6 \[seen\] |
//! | Schroeder-Johnston | `L + B(dz) - O`; `B = 15.81 + 7.5 (dz+0.474) - 17.5 sqrt(1 + (dz+0.474)^2)`; tone `O = 14.5 + z`, noise `O = 5.5` | JASA 66 (1979) 1647 \[seen\]; offset Johnston 1988 \[memory\] |
//! | Terhardt slopes | `L - 27 abs(dz)` below the masker, `L - (24 + 0.23/F - 0.2 L) dz` above, no offset | Hear. Res. 1 (1979) 155 \[memory\] |
//!
//! `vf`: `17 (dz+1) - (0.4 L + 6)` from -3 to -1, `(0.4 L + 6) dz` to 0, `-17 dz` to 1, `-(dz-1)(17 - 0.15 L) - 17` to 8, else no masking: from
//! the fourth harmonic of 1 kHz on, only the threshold in quiet limits. `z` in an offset is the masker's place; read with the
//! probe's place, Johnston's would lie lower (4.6 dB at the second harmonic of 1 kHz).
//!
//! Powers are added, the threshold in quiet with them. The models disagree by 22 dB on the second harmonic of 1 kHz at 80 dB and by
//! 25 dB on the third: excluding takes the lowest, accusing the highest. Levels above 100 dB SPL and maskers outside 20 Hz to 16
//! kHz are marked as extrapolated; above 110 dB SPL they are refused, since upper slopes would soon rise.

use super::bark::Scale;
use super::threshold::{Quiet, RANGE_HZ};
use super::{decibel, named, power};
use crate::error::InputError;

/// A model of masking.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Model {
    /// ISO/IEC 11172-3 annex D model 1
    Iso11172,
    /// Schroeder, Atal and Hall with Johnston's offset
    SchroederJohnston,
    /// Terhardt's slopes, the upper one of them growing flatter with level
    TerhardtSlopes,
}

named!(Model {
    Iso11172 = "ISO 11172-3",
    SchroederJohnston = "Schroeder-Johnston",
    TerhardtSlopes = "Terhardt slopes"
});

/// Number of models.
pub const MODELS: usize = 3;

/// What a masker is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// a tone
    Tone,
    /// noise about a frequency, its level that of a critical band
    Noise,
}

named!(Kind { Tone = "tone", Noise = "noise" });

/// Something that masks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Masker {
    /// frequency, Hz
    pub frequency_hz: f64,
    /// level at the ear, dB SPL
    pub level_db: f64,
    /// tone or noise
    pub kind: Kind,
}

/// Levels of maskers above this are refused, dB SPL.
pub const MOST_DB: f64 = 110.0;
/// Levels of maskers above this are marked as extrapolated, dB SPL.
pub const PUBLISHED_TO_DB: f64 = 100.0;
/// Most pairs of a masker and a probe in one call: about a second of work.
pub const MOST_PAIRS: usize = 10_000_000;
/// Levels below this are refused as a slip of the pen, dB SPL.
pub const LEAST_DB: f64 = -200.0;

impl Masker {
    /// Checks frequency and level.
    ///
    /// # Errors
    /// A frequency not above zero or above 1 MHz, a level outside -200 to 110 dB SPL.
    pub fn check(&self) -> Result<(), InputError> {
        check_frequency("masker: frequency_hz", self.frequency_hz)?;
        if (LEAST_DB..=MOST_DB).contains(&self.level_db) {
            return Ok(());
        }
        let allowed = "allowed: -200 to 110 dB SPL; the models of masking end there";
        Err(InputError::new("masker: level_db", self.level_db, allowed))
    }

    /// Checks that the models were made for it.
    ///
    /// # Errors
    /// As `check`, and what would be marked as extrapolated.
    pub fn check_published(&self) -> Result<(), InputError> {
        self.check()?;
        if !(RANGE_HZ.0..=RANGE_HZ.1).contains(&self.frequency_hz) {
            let allowed = "allowed: 20 Hz to 16 kHz, or extrapolate";
            return Err(InputError::new("masker: frequency_hz", self.frequency_hz, allowed));
        }
        if self.extrapolated() {
            return Err(InputError::new(
                "masker: level_db",
                self.level_db,
                "allowed: up to 100 dB SPL, or extrapolate",
            ));
        }
        Ok(())
    }

    /// Whether it is outside what the models were made for.
    #[must_use]
    pub fn extrapolated(&self) -> bool {
        self.level_db > PUBLISHED_TO_DB || !(RANGE_HZ.0..=RANGE_HZ.1).contains(&self.frequency_hz)
    }
}

pub(crate) fn check_frequency(place: &str, frequency_hz: f64) -> Result<(), InputError> {
    if frequency_hz > 0.0 && frequency_hz <= 1e6 {
        return Ok(());
    }
    Err(InputError::new(place, frequency_hz, "allowed: above zero, at most 1 MHz"))
}

/// Schroeder's spreading function at a distance `z(probe) - z(masker)`, dB.
#[must_use]
pub fn schroeder_spreading_db(distance_bark: f64) -> f64 {
    let x = distance_bark + 0.474;
    15.81 + 7.5 * x - 17.5 * (1.0 + x * x).sqrt()
}

/// Masking function of ISO/IEC 11172-3 at a distance from a masker of a level, dB; none where the masker does not reach.
#[must_use]
pub fn iso_11172_spreading_db(distance_bark: f64, level_db: f64) -> Option<f64> {
    let dz = distance_bark;
    let lower = 0.4 * level_db + 6.0;
    match dz {
        _ if !(-3.0..8.0).contains(&dz) => None,
        _ if dz < -1.0 => Some(17.0 * (dz + 1.0) - lower),
        _ if dz < 0.0 => Some(lower * dz),
        _ if dz < 1.0 => Some(-17.0 * dz),
        _ => Some(-(dz - 1.0) * (17.0 - 0.15 * level_db) - 17.0),
    }
}

/// Terhardt's upper slope of a masker, dB per Bark.
#[must_use]
pub fn terhardt_upper_slope_db(frequency_hz: f64, level_db: f64) -> f64 {
    24.0 + 230.0 / frequency_hz - 0.2 * level_db
}

impl Model {
    /// What one masker alone puts the threshold at, dB SPL, without the threshold in quiet; none where it does not reach.
    #[must_use]
    pub fn beside_db(self, masker: &Masker, masker_bark: f64, probe_bark: f64) -> Option<f64> {
        let (level, dz) = (masker.level_db, probe_bark - masker_bark);
        let tone = masker.kind == Kind::Tone;
        match self {
            Self::Iso11172 => {
                let av = if tone { -1.525 - 0.275 * masker_bark - 4.5 } else { -1.525 - 0.175 * masker_bark - 0.5 };
                iso_11172_spreading_db(dz, level).map(|vf| level + av + vf)
            }
            Self::SchroederJohnston => {
                let offset = if tone { 14.5 + masker_bark } else { 5.5 };
                Some(level + schroeder_spreading_db(dz) - offset)
            }
            Self::TerhardtSlopes if dz < 0.0 => Some(level + 27.0 * dz),
            Self::TerhardtSlopes => Some(level - terhardt_upper_slope_db(masker.frequency_hz, level) * dz),
        }
    }

    /// What all maskers put the threshold at, without the threshold in quiet, dB SPL; minus infinity where none reaches.
    fn masked_db(self, maskers: &[(Masker, f64)], probe_bark: f64) -> f64 {
        decibel(maskers.iter().filter_map(|(m, z)| self.beside_db(m, *z, probe_bark)).map(power).sum())
    }

    /// Threshold beside one masker and in quiet, dB SPL.
    #[must_use]
    pub fn threshold_db(self, masker: &Masker, scale: Scale, probe_hz: f64, quiet_db: f64) -> f64 {
        let beside = [(*masker, scale.bark(masker.frequency_hz))];
        with_quiet_db(self.masked_db(&beside, scale.bark(probe_hz)), quiet_db)
    }
}

/// Masked threshold with the threshold in quiet, as powers re the latter: outside hearing it is beyond any power.
fn with_quiet_db(masked_db: f64, quiet_db: f64) -> f64 {
    quiet_db + decibel(1.0 + power(masked_db - quiet_db))
}

/// Masked thresholds at every probe, model by model.
#[derive(Debug, Clone, PartialEq)]
pub struct Masked {
    /// per model of [`Model::ALL`] and probe: lowest and highest over the thresholds in quiet, dB SPL
    pub by_model_db: [Vec<(f64, f64)>; MODELS],
    /// per probe: lowest over all, which excludes, and highest, which accuses, dB SPL
    pub range_db: Vec<(f64, f64)>,
    /// per probe: outside the thresholds' range, or beside a masker outside the models'
    pub extrapolated: Vec<bool>,
}

/// Masked thresholds of a list of maskers at a list of probes.
///
/// # Errors
/// A masker or a probe outside what the models take; no threshold in quiet.
pub fn masked(maskers: &[Masker], probe_hz: &[f64], scale: Scale, quiets: &[Quiet]) -> Result<Masked, InputError> {
    for masker in maskers {
        masker.check()?;
    }
    for &hz in probe_hz {
        check_frequency("probe_hz", hz)?;
    }
    if quiets.is_empty() {
        return Err(InputError::new("quiet", "none", format!("allowed: one or more of {:?}", Quiet::NAMES)));
    }
    if probe_hz.len().saturating_mul(maskers.len()) > MOST_PAIRS {
        let found = format!("{} maskers, {} probes", maskers.len(), probe_hz.len());
        return Err(InputError::new("maskers", found, format!("allowed: at most {MOST_PAIRS} pairs in one call")));
    }
    let over = |values: &mut dyn Iterator<Item = f64>| {
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)))
    };
    let placed: Vec<_> = maskers.iter().map(|m| (*m, scale.bark(m.frequency_hz))).collect();
    let beyond = maskers.iter().any(Masker::extrapolated);
    let by_model_db: [Vec<(f64, f64)>; MODELS] = std::array::from_fn(|m| {
        let at = |&hz: &f64| {
            let masked = Model::ALL[m].masked_db(&placed, scale.bark(hz));
            over(&mut quiets.iter().map(|quiet| with_quiet_db(masked, quiet.or_beyond_db(hz).0)))
        };
        probe_hz.iter().map(at).collect()
    });
    let range_db = (0..probe_hz.len())
        .map(|k| {
            let low = over(&mut by_model_db.iter().map(|rows| rows[k].0)).0;
            (low, over(&mut by_model_db.iter().map(|rows| rows[k].1)).1)
        })
        .collect();
    let extrapolated = probe_hz.iter().map(|&hz| beyond || quiets.iter().any(|q| q.or_beyond_db(hz).1)).collect();
    Ok(Masked { by_model_db, range_db, extrapolated })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TONE: Masker = Masker { frequency_hz: 1000.0, level_db: 80.0, kind: Kind::Tone };

    /// Harmonics 2 to 7 of 1 kHz at 80 dB: ISO, Schroeder-Johnston, Terhardt, dB SPL with Terhardt's threshold \[calc\].
    const WORKED_DB: [[f64; 3]; 6] = [
        [36.668, 20.451, 42.196],
        [24.181, -1.269, 21.645],
        [-3.388, -3.301, 8.305],
        [0.482, 0.484, 2.241],
        [2.082, 2.082, 2.276],
        [3.167, 3.167, 3.194],
    ];
    /// Half a unit of the last digit.
    const PRINTED_DB: f64 = 0.5001e-3;

    fn harmonics() -> Vec<f64> {
        (2..8).map(|n| 1000.0 * f64::from(n)).collect()
    }

    #[test]
    fn worked_values() {
        let found = masked(&[TONE], &harmonics(), Scale::ZwickerTerhardt, &[Quiet::Terhardt]).unwrap();
        for (k, row) in WORKED_DB.iter().enumerate() {
            for (m, &db) in row.iter().enumerate() {
                let (low, high) = found.by_model_db[m][k];
                assert!((low - db).abs() < PRINTED_DB && low == high, "{m} {k} {low} {db}");
            }
        }
        // ISO and Schroeder-Johnston 16 dB apart on the second harmonic, all three 22; 25 dB on the third
        let apart: Vec<_> = found.range_db[..2].iter().map(|(low, high)| high - low).collect();
        assert!(
            (apart[0] - 21.745).abs() < 1e-3
                && (apart[1] - 25.450).abs() < 1.1e-3
                && found.extrapolated.iter().all(|x| !x)
        );
    }

    #[test]
    fn spreading_functions() {
        for (dz, db) in
            [(-3.0, -50.6779), (-1.0, -7.9083), (0.0, -0.0014), (1.0, -4.3060), (2.0, -12.3330), (3.0, -21.3986)]
        {
            assert!((schroeder_spreading_db(dz) - db).abs() < 6e-5, "{dz}");
            // trap: with the sign of the distance reversed it is another function
            assert!(dz == 0.0 || (schroeder_spreading_db(-dz) - db).abs() > 1.0);
        }
        for (dz, db) in
            [(-2.0, -55.0), (-1.0, -38.0), (-0.5, -19.0), (0.5, -8.5), (1.0, -17.0), (2.0, -22.0), (4.0, -32.0)]
        {
            assert!((iso_11172_spreading_db(dz, 80.0).unwrap() - db).abs() < 1e-12, "{dz}");
        }
        // trap: nothing is masked from 8 Bark on, nor below -3
        assert!(iso_11172_spreading_db(8.0, 80.0).is_none() && iso_11172_spreading_db(7.999, 80.0).is_some());
        assert!(iso_11172_spreading_db(-3.001, 80.0).is_none() && iso_11172_spreading_db(-3.0, 80.0).is_some());
    }

    #[test]
    fn levels_at_the_masker() {
        let at = |kind| Model::Iso11172.beside_db(&Masker { kind, ..TONE }, 8.5, 8.5).unwrap() - 80.0;
        assert!((at(Kind::Tone) + 8.3625).abs() < 1e-12 && (at(Kind::Noise) + 3.5125).abs() < 1e-12);
        let johnston = |kind| Model::SchroederJohnston.beside_db(&Masker { kind, ..TONE }, 8.5, 8.5).unwrap() - 80.0;
        let top = schroeder_spreading_db(0.0);
        assert!((johnston(Kind::Tone) - top + 23.0).abs() < 1e-12 && (johnston(Kind::Noise) - top + 5.5).abs() < 1e-12);
        // noise masks a tone better than a tone masks noise, in the models that know the difference
        let noise = Masker { kind: Kind::Noise, ..TONE };
        for model in [Model::Iso11172, Model::SchroederJohnston] {
            assert!(model.beside_db(&noise, 8.5, 9.0) > model.beside_db(&TONE, 8.5, 9.0));
        }
        // tones mask upwards
        for &model in Model::ALL {
            assert!(model.beside_db(&TONE, 8.5, 10.5) > model.beside_db(&TONE, 8.5, 6.5));
        }
    }

    #[test]
    fn the_upper_slope_grows_flatter_with_level_and_powers_of_maskers_add() {
        for (hz, level, slope) in [(1e3, 80.0, 8.23), (1e3, 40.0, 16.23), (100.0, 60.0, 14.3)] {
            assert!((terhardt_upper_slope_db(hz, level) - slope).abs() < 1e-12);
        }
        // trap: with the slope of 80 dB a masker of 40 dB would mask 8 dB more at each Bark above it
        let faint = Masker { level_db: 40.0, ..TONE };
        assert!((Model::TerhardtSlopes.beside_db(&faint, 8.5, 9.5).unwrap() - 23.77).abs() < 1e-12);
        // twice the same masker: 3.01 dB, not the louder of the two
        for m in 0..MODELS {
            let at = |maskers: &[Masker]| masked(maskers, &[1100.0], Scale::default(), &[Quiet::FreeField]).unwrap();
            let (one, two) = (at(&[TONE]).by_model_db[m][0].0, at(&[TONE, TONE]).by_model_db[m][0].0);
            assert!((two - one - 3.0103).abs() < 1e-3, "{m}");
        }
    }

    #[test]
    fn nothing_masks_in_silence() {
        let found = masked(&[], &[1000.0, 18e3], Scale::Traunmueller, &[Quiet::FreeField, Quiet::Terhardt]).unwrap();
        assert_eq!(found.range_db[0], (2.4, crate::hearing::threshold::terhardt_db(1000.0)));
        assert_eq!(found.extrapolated, [false, true]);
        assert_eq!(masked(&[], &[1e3], Scale::Traunmueller, &[]).unwrap_err().place, "quiet");
    }

    #[test]
    fn limits_of_the_models() {
        let with = |masker: Masker, probe: f64| masked(&[masker], &[probe], Scale::default(), &[Quiet::FreeField]);
        assert!(with(Masker { level_db: 101.0, ..TONE }, 2e3).unwrap().extrapolated[0]);
        assert!(with(Masker { frequency_hz: 18e3, ..TONE }, 2e3).unwrap().extrapolated[0]);
        assert!(TONE.check_published().is_ok());
        for bad in [Masker { level_db: 101.0, ..TONE }, Masker { frequency_hz: 18e3, ..TONE }] {
            assert!(bad.check().is_ok() && bad.check_published().is_err());
        }
        assert_eq!(with(Masker { level_db: 110.1, ..TONE }, 2e3).unwrap_err().place, "masker: level_db");
        assert_eq!(with(Masker { level_db: f64::NAN, ..TONE }, 2e3).unwrap_err().place, "masker: level_db");
        assert_eq!(with(Masker { frequency_hz: 0.0, ..TONE }, 2e3).unwrap_err().place, "masker: frequency_hz");
        assert_eq!(with(TONE, f64::INFINITY).unwrap_err().place, "probe_hz");
        // far outside hearing the sum of powers does not overflow
        assert!(with(TONE, 1e6).unwrap().range_db[0].0.is_finite());
    }

    fn any_masker() -> impl Strategy<Value = Masker> {
        (20f64..16e3, 0f64..105.0, any::<bool>()).prop_map(|(frequency_hz, level_db, tone)| Masker {
            frequency_hz,
            level_db,
            kind: if tone { Kind::Tone } else { Kind::Noise },
        })
    }

    proptest! {
        #[test]
        fn more_masker_never_lowers_a_threshold(
            maskers in prop::collection::vec(any_masker(), 1..6), more in any_masker(), rise in 0f64..5.0, probe in 20f64..16e3, t in any::<bool>(),
        ) {
            let scale = Scale::ALL[usize::from(t)];
            let all = |m: &[Masker]| masked(m, &[probe], scale, Quiet::ALL).unwrap();
            let before = all(&maskers);
            let mut with_more = maskers.clone();
            with_more.push(more);
            let mut louder = maskers.clone();
            louder[0].level_db += rise;
            for after in [all(&with_more), all(&louder)] {
                for m in 0..MODELS {
                    prop_assert!(after.by_model_db[m][0].0 >= before.by_model_db[m][0].0 - 1e-9);
                    prop_assert!(after.by_model_db[m][0].1 >= before.by_model_db[m][0].1 - 1e-9);
                    prop_assert!(before.by_model_db[m][0].0 >= before.range_db[0].0 && before.by_model_db[m][0].1 <= before.range_db[0].1);
                }
            }
        }
    }
}
