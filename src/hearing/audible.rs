//! What of a residue is audible beside tones or programme, or in silence: per model, and as a range.
//!
//! Every line is a probe. Noise is probed where it stands: at sixths of an octave to 18 kHz, at the ends and in the middle of its bands; its
//! level is that in the critical band about the probe. An excess is a level over a threshold, dB, and always a pair:
//!
//! * `least`, the strict end: the probe's own level over the highest threshold. Accuses: above zero it is plainly heard.
//! * `most`, the safe end: all residue in the critical band about the probe over the lowest threshold. Excludes: below zero it cannot be heard.
//!   Over all bands excesses add as `sqrt(sum E^2)`, one band per Bark (a detector of energy in many bands, Green 1958 \[memory\]).
//!
//! Between the two it may be heard. Residue within a critical band of a tone is heard not as a sound but as modulation, which no
//! model of masking knows: there the safe end falls to 43 dB under the tone, a modulation by 1 % (Zwicker and Fastl: just
//! noticeable at high levels \[memory\]). Silence is the same question without maskers. Not modelled: programme that pauses, noise
//! that raises the level of a noise of the same spectrum, listeners better than the median (give `keen_db`).

use super::bark::{Scale, critical_bandwidth_hz};
use super::masking::{Kind, MODELS, Masked, Masker, masked};
use super::residue::{Band, Line};
use super::threshold::{AUDIBLE_TO_HZ, Quiet, RANGE_HZ};
use super::{decibel, power};
use crate::error::InputError;

/// Least modulation that is heard at any level, as a level of both sidebands re the tone, dB: `20 log10(0.01) - 3.01`.
pub const MODULATION_DB: f64 = -43.01;

/// Bands of one Bark each.
const BARKS: usize = 32;
/// Most lines, and most bands of noise, in one call: about a second of work where all are in one critical band.
pub const MOST_LINES: usize = 30_000;

/// Who listens, by which models.
#[derive(Debug, Clone, PartialEq)]
pub struct Listener {
    /// scale of critical bands
    pub scale: Scale,
    /// thresholds in quiet to range over, at least one
    pub quiets: Vec<Quiet>,
    /// by how much the keenest listener may hear better than the median, dB, zero or more: lowers the safe end only
    pub keen_db: f64,
}

impl Default for Listener {
    fn default() -> Self {
        Self { scale: Scale::default(), quiets: Quiet::ALL.to_vec(), keen_db: 0.0 }
    }
}

impl Listener {
    /// Level below which a sound is heard by no model even in silence, dB SPL: the lowest of the thresholds in quiet.
    ///
    /// # Errors
    /// No threshold in quiet.
    pub fn silence_db(&self) -> Result<f64, InputError> {
        let lowest = self.quiets.iter().map(|quiet| quiet.lowest_db()).reduce(f64::min);
        let lowest = lowest.ok_or_else(|| InputError::new("quiet", "none", "allowed: one or more thresholds"))?;
        Ok(lowest - self.keen_db)
    }
}

/// What a pair of excesses says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// below every threshold
    Inaudible,
    /// above one and below another
    MayBeHeard,
    /// above every threshold
    Plain,
}

super::named!(Verdict { Inaudible = "inaudible", MayBeHeard = "may be heard", Plain = "plain" });

impl Verdict {
    fn of((least_db, most_db): (f64, f64)) -> Self {
        match () {
            () if most_db < 0.0 => Self::Inaudible,
            () if least_db >= 0.0 => Self::Plain,
            () => Self::MayBeHeard,
        }
    }
}

/// Excesses over one model's thresholds, or over all.
#[derive(Debug, Clone, PartialEq)]
pub struct Excess {
    /// per probe: least and most, dB
    pub by_probe_db: Vec<(f64, f64)>,
    /// of the whole residue: the largest least, and most with all bands together, dB; minus infinity for no residue
    pub whole_db: (f64, f64),
    /// what that says
    pub verdict: Verdict,
}

/// The answer for one residue.
#[derive(Debug, Clone, PartialEq)]
pub struct Audible {
    /// frequencies of the probes, Hz: the lines as given, then those of the noise
    pub frequency_hz: Vec<f64>,
    /// how many of them are lines
    pub lines: usize,
    /// per probe: its own level, dB SPL
    pub own_db: Vec<f64>,
    /// per probe: level of all residue in the critical band about it, dB SPL
    pub band_db: Vec<f64>,
    /// per probe: within a critical band of a tone, where it is heard as modulation
    pub modulates: Vec<bool>,
    /// thresholds
    pub masked: Masked,
    /// excess by model, in the order of `Model::ALL`, modulation not counted
    pub by_model: [Excess; MODELS],
    /// excess over all models, modulation counted
    pub over_all: Excess,
}

/// Sixths of an octave from 20 Hz to 18.2 kHz.
pub(super) fn noise_grid() -> impl Iterator<Item = f64> {
    (0..60).map(|k| 20.0 * 2f64.powf(f64::from(k) / 6.0))
}

/// Probes of noise that are nearer than this to another are left out: a 48th of an octave.
const SAME_PROBE: f64 = 1.014_545;

/// Probes of noise: where it stands, on the grid, at the ends and in the middle of its bands.
///
/// Beside a tone thresholds change by up to 27 dB per Bark. A probe outside the noise would accuse by a threshold that the noise
/// does not have to cross; without one at its edge nearest to silence a sixth of an octave would be missed.
fn noise_probes(noise: &[Band]) -> Vec<f64> {
    let there = || noise.iter().filter(|band| band.level_db > f64::NEG_INFINITY);
    let mut at: Vec<f64> =
        noise_grid().filter(|&hz| there().any(|band| band.low_hz <= hz && hz <= band.high_hz)).collect();
    let mut more: Vec<f64> = there()
        .flat_map(|band| {
            let low = band.low_hz.max(RANGE_HZ.0.min(band.high_hz));
            let high = band.high_hz.min(AUDIBLE_TO_HZ.max(low));
            [low, (low * high).sqrt(), high]
        })
        .collect();
    more.sort_by(f64::total_cmp);
    let on_grid = at.clone();
    for hz in more {
        let near = |other: &f64| *other < hz * SAME_PROBE && hz < *other * SAME_PROBE;
        let from = on_grid.partition_point(|&other| other * SAME_PROBE <= hz);
        if !on_grid[from..].first().is_some_and(near) && !at[on_grid.len()..].last().is_some_and(near) {
            at.push(hz);
        }
    }
    at
}

/// Modulation of a tone near a probe: lowest threshold it leaves, dB SPL; none if no tone is near.
fn modulation_db(maskers: &[Masker], probe_hz: f64) -> Option<f64> {
    let near = |m: &&Masker| {
        m.kind == Kind::Tone && (m.frequency_hz - probe_hz).abs() <= critical_bandwidth_hz(m.frequency_hz)
    };
    maskers.iter().filter(near).map(|m| m.level_db + MODULATION_DB).reduce(f64::max)
}

/// What the excesses of all models share: the probes.
struct Probes<'a> {
    own_db: &'a [f64],
    band_db: &'a [f64],
    bark: &'a [f64],
    lines: usize,
    keen_db: f64,
}

impl Probes<'_> {
    /// Excess over pairs of thresholds (lowest, highest).
    fn excess(&self, thresholds: &[(f64, f64)]) -> Excess {
        let mut by_probe_db = Vec::with_capacity(thresholds.len());
        // power over the lowest threshold by Bark, each part of the residue once: lines added, noise by its largest probe
        let (mut lines, mut noise) = ([0.0; BARKS], [0.0f64; BARKS]);
        let (mut least, mut most) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
        for (k, &(low, high)) in thresholds.iter().enumerate() {
            let pair = (self.own_db[k] - high, self.band_db[k] - low + self.keen_db);
            (least, most) = (f64::max(least, pair.0), f64::max(most, pair.1));
            let at = (self.bark[k].max(0.0) as usize).min(BARKS - 1);
            let own = power(self.own_db[k] - low + self.keen_db);
            if k < self.lines {
                lines[at] += own;
            } else {
                noise[at] = noise[at].max(own);
            }
            by_probe_db.push(pair);
        }
        let together: f64 = lines.iter().zip(&noise).map(|(line, noise)| (line + noise).powi(2)).sum();
        let whole_db = (least, most.max(0.5 * decibel(together)));
        Excess { by_probe_db, whole_db, verdict: Verdict::of(whole_db) }
    }
}

/// What of a residue is audible beside maskers; without maskers, in silence.
///
/// # Errors
/// Anything outside what the models take; no threshold in quiet; a `keen_db` below zero.
pub fn audible(maskers: &[Masker], lines: &[Line], noise: &[Band], listener: &Listener) -> Result<Audible, InputError> {
    crate::error::not_negative("keen_db", listener.keen_db)?;
    if lines.len() > MOST_LINES || noise.len() > MOST_LINES {
        let found = format!("{} lines, {} bands of noise", lines.len(), noise.len());
        return Err(InputError::new("residue", found, format!("allowed: at most {MOST_LINES} of each")));
    }
    lines.iter().try_for_each(Line::check)?;
    noise.iter().try_for_each(Band::check)?;
    let noise_about = |hz: f64| noise.iter().map(|band| band.power_about(hz)).sum::<f64>();
    let mut frequency_hz: Vec<f64> = lines.iter().map(|line| line.frequency_hz).collect();
    let mut own_db: Vec<f64> = lines.iter().map(|line| line.level_db).collect();
    for hz in noise_probes(noise) {
        let own = noise_about(hz);
        if own > 0.0 {
            frequency_hz.push(hz);
            own_db.push(decibel(own));
        }
    }
    let mut sorted: Vec<_> = lines.iter().map(|line| (line.frequency_hz, power(line.level_db))).collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let about = |hz: f64| {
        let half = 0.5 * critical_bandwidth_hz(hz);
        let from = sorted.partition_point(|line| line.0 < hz - half);
        let near = sorted[from..].iter().take_while(|line| line.0 <= hz + half);
        decibel(near.map(|line| line.1).sum::<f64>() + noise_about(hz))
    };
    let band_db: Vec<f64> = frequency_hz.iter().map(|&hz| about(hz)).collect();
    let bark: Vec<f64> = frequency_hz.iter().map(|&hz| listener.scale.bark(hz)).collect();
    let masked = masked(maskers, &frequency_hz, listener.scale, &listener.quiets)?;
    let probes =
        Probes { own_db: &own_db, band_db: &band_db, bark: &bark, lines: lines.len(), keen_db: listener.keen_db };
    let by_model = std::array::from_fn(|m| probes.excess(&masked.by_model_db[m]));
    let (range, modulates) = with_modulation(maskers, &frequency_hz, &masked, listener)?;
    let over_all = probes.excess(&range);
    Ok(Audible { frequency_hz, lines: lines.len(), own_db, band_db, modulates, masked, by_model, over_all })
}

/// Lowest and highest threshold at each probe, and whether modulation is counted there.
pub(super) type Counted = (Vec<(f64, f64)>, Vec<bool>);

/// Thresholds over all models with modulation counted: lowest and highest at each probe, and where it is counted.
pub(super) fn with_modulation(
    maskers: &[Masker],
    frequency_hz: &[f64],
    masked: &Masked,
    listener: &Listener,
) -> Result<Counted, InputError> {
    let silence = self::masked(&[], frequency_hz, listener.scale, &listener.quiets)?;
    let modulation: Vec<_> = frequency_hz.iter().map(|&hz| modulation_db(maskers, hz)).collect();
    let range = masked
        .range_db
        .iter()
        .zip(modulation.iter().zip(&silence.range_db))
        .map(|(&(low, high), (near, quiet))| (near.map_or(low, |near| low.min(near.max(quiet.0))), high))
        .collect();
    Ok((range, modulation.iter().map(Option::is_some).collect()))
}

#[cfg(test)]
mod tests {
    use super::super::residue::{programme, ratio_level_db};
    use super::*;
    use proptest::prelude::*;

    const TONE: Masker = Masker { frequency_hz: 1000.0, level_db: 80.0, kind: Kind::Tone };

    fn terhardt() -> Listener {
        Listener { quiets: vec![Quiet::Terhardt], ..Listener::default() }
    }

    fn line(frequency_hz: f64, level_db: f64) -> Line {
        Line { frequency_hz, level_db }
    }

    #[test]
    fn second_harmonic_between_the_models() {
        // thresholds 20.451, 36.668, 42.196 dB SPL: 0.1053 %, 0.6814 %, 1.288 % of 1 kHz at 80 dB [calc]
        let says = |percent: f64| {
            let at = line(2000.0, ratio_level_db(percent / 100.0, 80.0));
            let found = audible(&[TONE], &[at], &[], &terhardt()).unwrap();
            (found.over_all.verdict, found.by_model.map(|model| model.verdict))
        };
        use Verdict::{Inaudible, MayBeHeard, Plain};
        assert_eq!(says(0.1052), (Inaudible, [Inaudible; 3]));
        assert_eq!(says(0.1054), (MayBeHeard, [Inaudible, Plain, Inaudible]));
        assert_eq!(says(0.6815), (MayBeHeard, [Plain, Plain, Inaudible]));
        assert_eq!(says(1.287), (MayBeHeard, [Plain, Plain, Inaudible]));
        assert_eq!(says(1.289), (Plain, [Plain; 3]));
    }

    #[test]
    fn difference_tone_that_nothing_masks() {
        // 19 + 20 kHz at 80 dB each: 1 kHz is at threshold at -76.63 dB (0.01474 %), with ISO 2.4 dB at 0.01318 % [calc]
        let tones = [19e3, 20e3].map(|frequency_hz| Masker { frequency_hz, ..TONE });
        for (quiet, percent) in [(Quiet::Terhardt, 0.01474), (Quiet::FreeField, 0.01318)] {
            let listener = Listener { quiets: vec![quiet], ..Listener::default() };
            let found =
                audible(&tones, &[line(1000.0, ratio_level_db(percent / 100.0, 80.0))], &[], &listener).unwrap();
            let (least, most) = found.over_all.whole_db;
            assert!(least.abs() < 5e-3 && most.abs() < 5e-3, "{least} {most}");
        }
        assert!((20.0 * 0.000_147_4f64.log10() + 76.63).abs() < 5e-3);
    }

    #[test]
    fn a_quiet_passage_uncovers_what_programme_hides() {
        let hiss = [Band { low_hz: 20.0, high_hz: 20e3, level_db: 30.0 }];
        let loud = audible(&programme(85.0).unwrap(), &[], &hiss, &Listener::default()).unwrap();
        let quiet = audible(&[], &[], &hiss, &Listener::default()).unwrap();
        assert_eq!((loud.over_all.verdict, quiet.over_all.verdict), (Verdict::Inaudible, Verdict::Plain));
        assert!(loud.over_all.whole_db.1 < -5.0 && quiet.over_all.whole_db.0 > 5.0);
    }

    #[test]
    fn what_is_spread_adds_up() {
        // ten lines in one critical band, each 5 dB under the threshold: together 5 dB over
        let alone = line(1000.0, 2.4 - 5.0);
        let listener = Listener { quiets: vec![Quiet::FreeField], ..Listener::default() };
        assert_eq!(audible(&[], &[alone], &[], &listener).unwrap().over_all.verdict, Verdict::Inaudible);
        let ten = audible(&[], &[alone; 10], &[], &listener).unwrap();
        assert!((ten.over_all.whole_db.1 - 5.0).abs() < 1e-9 && (ten.over_all.whole_db.0 + 5.0).abs() < 1e-9);
        // two at the ends of one Bark, each 2 dB under
        let ends = [8.05, 8.95].map(|z| Scale::default().frequency_hz(z).unwrap());
        let two = ends.map(|hz| line(hz, Quiet::FreeField.level_db(hz).unwrap() - 2.0));
        assert!(
            (audible(&[], &two, &[], &listener).unwrap().over_all.whole_db.1 - (10.0 * 2f64.log10() - 2.0)).abs()
                < 1e-9
        );
        // four in bands of their own: 5 log10(4) dB more than one
        let four = [300.0, 1000.0, 3150.0, 8000.0].map(|hz| line(hz, Quiet::FreeField.level_db(hz).unwrap() - 2.0));
        let found = audible(&[], &four, &[], &listener).unwrap().over_all;
        assert!((found.whole_db.1 - (-2.0 + 5.0 * 4f64.log10())).abs() < 1e-9 && found.verdict == Verdict::MayBeHeard);
    }

    #[test]
    fn beside_the_tone_it_is_modulation() {
        let at = |hz| audible(&[TONE], &[line(hz, 38.0)], &[], &terhardt()).unwrap();
        let (beside, away) = (at(1020.0), at(1400.0));
        assert!(beside.modulates[0] && !away.modulates[0]);
        // every model hides it (Johnston's offset is 23 dB), the safe end does not
        assert!(beside.by_model.iter().all(|model| model.verdict == Verdict::Inaudible));
        assert_eq!(beside.over_all.verdict, Verdict::MayBeHeard);
        assert!((beside.over_all.whole_db.1 - (38.0 - 80.0 - MODULATION_DB)).abs() < 1e-9);
        // beside a faint tone the threshold in quiet stays the least
        let faint = Masker { level_db: 30.0, ..TONE };
        let found = audible(&[faint], &[line(1020.0, 0.0)], &[], &terhardt()).unwrap();
        let quiet_db = Quiet::Terhardt.level_db(1020.0).unwrap();
        assert!(found.modulates[0] && (found.over_all.whole_db.1 + quiet_db).abs() < 1e-9);
        // noise that masks is no carrier
        let noise = Masker { kind: Kind::Noise, ..TONE };
        assert!(!audible(&[noise], &[line(1020.0, 38.0)], &[], &terhardt()).unwrap().modulates[0]);
    }

    #[test]
    fn noise_is_probed_by_critical_bands() {
        // 100 Hz to 10.1 kHz at 60 dB: 20 dB re 1 Hz, in 162.22 Hz about 1 kHz 42.1 dB
        let found =
            audible(&[], &[], &[Band { low_hz: 100.0, high_hz: 10_100.0, level_db: 60.0 }], &terhardt()).unwrap();
        assert_eq!(found.lines, 0);
        for (hz, own) in found.frequency_hz.iter().zip(&found.own_db) {
            if (200.0..8e3).contains(hz) {
                assert!((own - 20.0 - decibel(critical_bandwidth_hz(*hz))).abs() < 1e-9, "{hz}");
            }
        }
        assert!(found.frequency_hz.iter().all(|&hz| hz < 12e3));
    }

    #[test]
    fn no_residue_is_inaudible() {
        for lines in [vec![], vec![line(2000.0, f64::NEG_INFINITY)]] {
            let found = audible(&[TONE], &lines, &[], &Listener::default()).unwrap().over_all;
            assert_eq!((found.verdict, found.whole_db), (Verdict::Inaudible, (f64::NEG_INFINITY, f64::NEG_INFINITY)));
        }
    }

    #[test]
    fn noise_is_judged_where_it_stands() {
        // a narrow noise on the steep side of a tone is its line: a probe beside it would excuse it or accuse it wrongly
        let tone = Masker { frequency_hz: 4200.0, level_db: 86.0, ..TONE };
        let mut off = 0f64;
        for k in 0..60 {
            let hz = 1500.0 * 5f64.powf(f64::from(k) / 60.0);
            let narrow = Band { low_hz: 0.999 * hz, high_hz: 1.001 * hz, level_db: 40.0 };
            let one = audible(&[tone], &[line(hz, 40.0)], &[], &Listener::default()).unwrap().over_all.whole_db;
            let other = audible(&[tone], &[], &[narrow], &Listener::default()).unwrap().over_all.whole_db;
            off = off.max((one.0 - other.0).abs()).max((one.1 - other.1).abs());
        }
        // half of its width times the slope
        assert!(off < 0.6, "{off}");
    }

    #[test]
    fn lines_near_each_other_are_heard_together_by_the_safe_end() {
        // two equal lines in one critical band but in two bands of one Bark: 3 dB more than one of them
        let ends = [7.98, 8.02].map(|z| Scale::default().frequency_hz(z).unwrap());
        let listener = Listener { quiets: vec![Quiet::FreeField], ..Listener::default() };
        let two = ends.map(|hz| line(hz, Quiet::FreeField.level_db(hz).unwrap() - 2.0));
        let found = audible(&[], &two, &[], &listener).unwrap().over_all;
        assert!((found.whole_db.1 - (10.0 * 2f64.log10() - 2.0)).abs() < 0.02 && (found.whole_db.0 + 2.0).abs() < 1e-9);
    }

    #[test]
    fn bad_input_is_named() {
        let place = |lines: &[Line], noise: &[Band], keen_db: f64| {
            let listener = Listener { keen_db, ..Listener::default() };
            audible(&[], lines, noise, &listener).unwrap_err().place
        };
        assert_eq!(place(&[line(0.0, 0.0)], &[], 0.0), "line: frequency_hz");
        assert_eq!(place(&[line(1e3, f64::NAN)], &[], 0.0), "line: level_db");
        assert_eq!(place(&[line(1e3, f64::INFINITY)], &[], 0.0), "line: level_db");
        assert_eq!(place(&[], &[Band { low_hz: 9.0, high_hz: 9.0, level_db: 0.0 }], 0.0), "noise: low_hz");
        assert_eq!(place(&[], &[Band { low_hz: 9.0, high_hz: f64::NAN, level_db: 0.0 }], 0.0), "noise: high_hz");
        assert_eq!(place(&[], &[], -1.0), "keen_db");
    }

    proptest! {
        #[test]
        fn the_range_holds_every_model(
            tone_hz in 50f64..8e3, tone_db in 20f64..100.0, at in prop::collection::vec((30f64..15e3, -20f64..90.0), 1..8), rise in 0f64..20.0,
        ) {
            let tone = Masker { frequency_hz: tone_hz, level_db: tone_db, kind: Kind::Tone };
            let lines: Vec<_> = at.iter().map(|&(hz, db)| line(hz, db)).collect();
            let found = audible(&[tone], &lines, &[], &Listener::default()).unwrap();
            for model in &found.by_model {
                prop_assert!(model.whole_db.0 >= found.over_all.whole_db.0 - 1e-9);
                prop_assert!(model.whole_db.1 <= found.over_all.whole_db.1 + 1e-9);
                prop_assert!(model.whole_db.0 <= model.whole_db.1 + 1e-9);
            }
            // a louder residue is never harder to hear, a keener listener never hears less
            let louder: Vec<_> = at.iter().map(|&(hz, db)| line(hz, db + rise)).collect();
            let after = audible(&[tone], &louder, &[], &Listener::default()).unwrap();
            prop_assert!((after.over_all.whole_db.0 - found.over_all.whole_db.0 - rise).abs() < 1e-9);
            let keen = audible(&[tone], &lines, &[], &Listener { keen_db: rise, ..Listener::default() }).unwrap();
            prop_assert!((keen.over_all.whole_db.1 - found.over_all.whole_db.1 - rise).abs() < 1e-9);
        }
    }
}
