//! The residue of a tone that counts: below which it cannot be heard, and above which it is.

use super::audible::{Listener, audible, noise_grid, with_modulation};
use super::bark::Scale;
use super::masking::{Kind, Masker, masked};
use super::residue::Line;
use super::threshold::{RANGE_HZ, TABLE_HZ, TERHARDT_LOWEST_HZ};
use super::{decibel, power};
use crate::error::InputError;

/// Where a residue may stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Where {
    /// at harmonics 2 to 10 of the tone up to 16 kHz: a steady film
    Harmonics,
    /// anywhere from 20 Hz to 16 kHz: chatter
    Anywhere,
}

super::named!(Where { Harmonics = "harmonics", Anywhere = "anywhere" });

/// Total residue of a tone, as ratios to it, from which on it counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noticeable {
    /// below this it cannot be heard, by any model, however it is spread
    pub never_below: f64,
    /// from this on it can be heard by every model, where all of it stands at the best place
    pub placed_well: f64,
    /// above this it is heard by every model, however it is spread over the harmonics (or sixths of an octave)
    pub always_above: f64,
}

/// Places among which the lowest threshold beside a tone is sought, Hz, to 0.01 dB: 48ths of an octave, all entries of the tables and Terhardt's
/// lowest, and just outside the reach of the model that ends 3 Bark below and 8 Bark above its masker.
fn every_place(tone_hz: f64, scale: Scale) -> Vec<f64> {
    let mut at: Vec<f64> = (0..=462).map(|k| RANGE_HZ.0 * 2f64.powf(f64::from(k) / 48.0)).collect();
    at.extend(TABLE_HZ);
    at.push(TERHARDT_LOWEST_HZ);
    for (reach, outside) in [(-3.0, 1.0 - 1e-9), (8.0, 1.0 + 1e-9)] {
        at.extend(scale.frequency_hz(scale.bark(tone_hz) + reach).ok().map(|hz| hz * outside));
    }
    at.retain(|hz| (RANGE_HZ.0..=RANGE_HZ.1).contains(hz));
    at
}

/// The residue of a tone that counts.
///
/// # Errors
/// A tone outside what the models take, or without a harmonic up to 16 kHz.
pub fn smallest_noticeable_residue(
    tone_hz: f64,
    tone_db: f64,
    place: Where,
    listener: &Listener,
) -> Result<Noticeable, InputError> {
    let tone = Masker { frequency_hz: tone_hz, level_db: tone_db, kind: Kind::Tone };
    tone.check()?;
    let probes: Vec<f64> = match place {
        Where::Harmonics => (2..=10).map(|n| tone_hz * f64::from(n)).filter(|&hz| hz <= RANGE_HZ.1).collect(),
        Where::Anywhere => noise_grid().filter(|&hz| hz <= RANGE_HZ.1).collect(),
    };
    if probes.is_empty() {
        return Err(InputError::new("tone_hz", tone_hz, "allowed: at most 8 kHz: above, no harmonic is within 16 kHz"));
    }
    let lines: Vec<_> = probes.iter().map(|&frequency_hz| Line { frequency_hz, level_db: 0.0 }).collect();
    let found = audible(&[tone], &lines, &[], listener)?;
    let least = |range: &[(f64, f64)]| range.iter().map(|(low, _)| *low).fold(f64::INFINITY, f64::min);
    let places = if place == Where::Anywhere { every_place(tone_hz, listener.scale) } else { probes };
    let masked = masked(&[tone], &places, listener.scale, &listener.quiets)?;
    let low = least(&with_modulation(&[tone], &places, &masked, listener)?.0) - listener.keen_db;
    // own levels are 0 dB: an excess is minus the threshold
    let strict = || found.over_all.by_probe_db.iter().map(|(least, _)| -least);
    let ratio = |level_db: f64| 10f64.powf((level_db - tone_db) / 20.0);
    Ok(Noticeable {
        never_below: ratio(low),
        placed_well: ratio(strict().fold(f64::INFINITY, f64::min)),
        always_above: ratio(decibel(strict().map(power).sum())),
    })
}

#[cfg(test)]
mod tests {
    use super::super::audible::Verdict;
    use super::super::residue::ratio_level_db;
    use super::super::threshold::Quiet;
    use super::*;

    const TONE: Masker = Masker { frequency_hz: 1000.0, level_db: 80.0, kind: Kind::Tone };

    #[test]
    fn smallest_residues() {
        let by_terhardt = Listener { quiets: vec![Quiet::Terhardt], ..Listener::default() };
        let found = smallest_noticeable_residue(1e3, 80.0, Where::Harmonics, &by_terhardt).unwrap();
        let (low, high) = (found.never_below, found.always_above);
        // the safe end is at the fourth harmonic, -3.388 dB SPL (0.0068 %); the strict end sums the highest, 1.288 % and less
        assert!((low * 100.0 - 0.00677).abs() < 5e-5, "{low}");
        assert!(high * 100.0 > 1.288 && high * 100.0 < 1.4, "{high}");
        let chatter = smallest_noticeable_residue(1e3, 80.0, Where::Anywhere, &by_terhardt).unwrap();
        let chatter = (chatter.never_below, chatter.always_above);
        assert!(chatter.0 <= low && chatter.1 > high);
        assert!(smallest_noticeable_residue(9e3, 80.0, Where::Harmonics, &by_terhardt).is_err());
    }

    #[test]
    fn a_keen_listener_lowers_what_excludes_and_nothing_else() {
        let keen = Listener { keen_db: 6.0, ..Listener::default() };
        assert_eq!((Listener::default().silence_db(), keen.silence_db()), (Ok(-6.0), Ok(-12.0)));
        assert_eq!(Listener { quiets: vec![], ..keen.clone() }.silence_db().unwrap_err().place, "quiet");
        for place in [Where::Harmonics, Where::Anywhere] {
            let of = |listener| smallest_noticeable_residue(1e3, 80.0, place, listener).unwrap();
            let (median, sharp) = (of(&Listener::default()), of(&keen));
            assert!((20.0 * (sharp.never_below / median.never_below).log10() + 6.0).abs() < 1e-9);
            assert_eq!((sharp.placed_well, sharp.always_above), (median.placed_well, median.always_above));
        }
    }

    #[test]
    fn nowhere_is_anything_heard_below_the_least() {
        // not only on a grid: the least is to hold for a line at any place, to 0.01 dB
        for (tone_hz, tone_db) in [(1e3, 80.0), (3e3, 60.0), (100.0, 90.0), (2500.0, 45.0)] {
            let tone = Masker { frequency_hz: tone_hz, level_db: tone_db, ..TONE };
            let least = smallest_noticeable_residue(tone_hz, tone_db, Where::Anywhere, &Listener::default()).unwrap();
            let level_db = ratio_level_db(least.never_below, tone_db);
            let says = |hz: f64, over_db: f64| {
                audible(&[tone], &[Line { frequency_hz: hz, level_db: level_db + over_db }], &[], &Listener::default())
                    .unwrap()
                    .over_all
                    .verdict
            };
            let everywhere: Vec<f64> =
                (0..=4000).map(|k| 20.0 * 800f64.powf(f64::from(k) / 4e3)).chain([3150.0]).collect();
            assert!(everywhere.iter().all(|&hz| says(hz, -0.01) == Verdict::Inaudible), "{tone_hz}");
            assert!(everywhere.iter().any(|&hz| says(hz, 0.03) != Verdict::Inaudible), "{tone_hz}");
        }
    }
}
