//! The array kernel of the linear response: many points at once, structure of arrays, no allocation inside.
//!
//! Points are walked in blocks of [`LANES`]: each block keeps the real and imaginary parts of its voltages and currents
//! in arrays of their own, so that the compiler turns every step of the ladder into vector instructions.

use crate::circuit::chain::Network;
use crate::circuit::twoport::{Ladder, Step};
use crate::watch::{Stopped, Watch};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// Points per block.
pub const LANES: usize = 32;

/// Points between two looks at the watch.
const CHUNK: usize = 16 * 1024;

/// One value for all points, or one for each.
#[derive(Debug, Clone, Copy)]
pub enum Values<'a> {
    /// the same everywhere
    One(f64),
    /// one per point
    Many(&'a [f64]),
}

impl Values<'_> {
    #[inline]
    fn load(&self, start: usize, count: usize, lanes: &mut [f64; LANES]) {
        match self {
            Self::One(value) => *lanes = [*value; LANES],
            Self::Many(values) => {
                lanes[..count].copy_from_slice(&values[start..start + count]);
                let last = lanes[count - 1];
                lanes[count..].fill(last);
            }
        }
    }
}

struct Block {
    omega: [f64; LANES],
    ohm: [f64; LANES],
    v_re: [f64; LANES],
    v_im: [f64; LANES],
    i_re: [f64; LANES],
    i_im: [f64; LANES],
}

impl Block {
    fn new() -> Self {
        let zero = [0.0; LANES];
        Self { omega: zero, ohm: zero, v_re: zero, v_im: zero, i_re: zero, i_im: zero }
    }

    /// Walks a ladder from one volt at its load; leaves the EMF in `v`.
    #[allow(clippy::needless_range_loop)] // lanes of several arrays, walked together
    fn walk(&mut self, ladder: &Ladder, contacts: Option<&[Values<'_>]>, start: usize, count: usize) {
        for k in 0..LANES {
            self.v_re[k] = 1.0;
            self.v_im[k] = 0.0;
            self.i_re[k] = 1.0 / ladder.load_ohm;
            self.i_im[k] = self.omega[k] * ladder.load_f;
        }
        for step in ladder.steps.iter().rev() {
            match *step {
                Step::Series(ohm, henry) => self.series(ohm, henry),
                Step::Shunt(farad) => {
                    for k in 0..LANES {
                        let b = self.omega[k] * farad;
                        self.i_re[k] -= b * self.v_im[k];
                        self.i_im[k] += b * self.v_re[k];
                    }
                }
                Step::Contact(index) => {
                    if let Some(values) = contacts {
                        let mut ohm = self.ohm;
                        values[index].load(start, count, &mut ohm);
                        for k in 0..LANES {
                            self.v_re[k] += ohm[k] * self.i_re[k];
                            self.v_im[k] += ohm[k] * self.i_im[k];
                        }
                    }
                }
            }
        }
        self.series(ladder.source_ohm, ladder.source_h);
    }

    #[inline]
    fn series(&mut self, ohm: f64, henry: f64) {
        for k in 0..LANES {
            let x = self.omega[k] * henry;
            self.v_re[k] += ohm * self.i_re[k] - x * self.i_im[k];
            self.v_im[k] += ohm * self.i_im[k] + x * self.i_re[k];
        }
    }
}

/// Runs `work(start, part of out)` over chunks of `out`, on all cores where the feature `threads` is on.
fn in_chunks<T: Send>(out: &mut [T], watch: &dyn Watch, work: impl Fn(usize, &mut [T]) + Sync) -> Result<(), Stopped> {
    let one = |(index, part): (usize, &mut [T])| {
        if watch.stop() {
            return Err(Stopped);
        }
        work(index * CHUNK, part);
        watch.done(part.len());
        Ok(())
    };
    #[cfg(feature = "threads")]
    if out.len() > CHUNK {
        use rayon::prelude::*;
        if let Some(pool) = crate::threads::pool() {
            return pool.install(|| out.par_chunks_mut(CHUNK).enumerate().try_for_each(one));
        }
    }
    out.chunks_mut(CHUNK).enumerate().try_for_each(one)
}

/// Loss in dB at every point of `out`; `contacts` holds each contact's whole resistance by its number.
///
/// # Errors
/// [`Stopped`] when the watch says so; `out` is then only partly filled.
pub fn loss_db(
    network: &Network,
    frequency_hz: Values<'_>,
    contacts: &[Values<'_>],
    out: &mut [f64],
    watch: &dyn Watch,
) -> Result<(), Stopped> {
    in_chunks(out, watch, |chunk, part| {
        let mut block = Block::new();
        for (number, lanes) in part.chunks_mut(LANES).enumerate() {
            let (start, count) = (chunk + number * LANES, lanes.len());
            frequency_hz.load(start, count, &mut block.omega);
            block.omega.iter_mut().for_each(|f| *f *= TAU);
            let mut ratio = [1.0; LANES];
            for link in &network.links {
                block.walk(&link.ladder, Some(contacts), start, count);
                for (k, ratio) in ratio.iter_mut().enumerate() {
                    *ratio *= block.v_re[k] * block.v_re[k] + block.v_im[k] * block.v_im[k];
                }
                block.walk(&link.ladder, None, start, count);
                for (k, ratio) in ratio.iter_mut().enumerate() {
                    *ratio /= block.v_re[k] * block.v_re[k] + block.v_im[k] * block.v_im[k];
                }
            }
            for (loss, ratio) in lanes.iter_mut().zip(ratio) {
                *loss = 10.0 * ratio.log10();
            }
        }
    })
}

/// Complex transfer at every point of `out`.
///
/// # Errors
/// [`Stopped`] when the watch says so; `out` is then only partly filled.
pub fn transfer(
    network: &Network,
    frequency_hz: Values<'_>,
    contacts: &[Values<'_>],
    out: &mut [Complex64],
    watch: &dyn Watch,
) -> Result<(), Stopped> {
    in_chunks(out, watch, |chunk, part| {
        let mut block = Block::new();
        for (number, lanes) in part.chunks_mut(LANES).enumerate() {
            let (start, count) = (chunk + number * LANES, lanes.len());
            let mut frequency = [0.0; LANES];
            frequency_hz.load(start, count, &mut frequency);
            block.omega = frequency.map(|f| f * TAU);
            lanes.fill(Complex64::new(1.0, 0.0));
            for link in &network.links {
                block.walk(&link.ladder, Some(contacts), start, count);
                for (k, value) in lanes.iter_mut().enumerate() {
                    *value /= Complex64::new(block.v_re[k], block.v_im[k]);
                    for stage in &link.stages {
                        *value *= stage.transfer(frequency[k]);
                    }
                }
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Chain, ChainItem, Contact, Equalisation, Lead, Load, PathItem, Section, Source, Stage};
    use crate::response::linear;
    use crate::watch::Unwatched;

    fn network() -> Network {
        let phono = Section {
            name: "phono".into(),
            source: Some(Source { emf_v: 5e-3, resistance_ohm: 1000.0, inductance_h: 0.5 }),
            path: vec![
                PathItem::Lead(Lead { capacitance_f: 150e-12, ..Lead::default() }),
                PathItem::Contact(Contact::ohmic("pin", 0.0)),
            ],
            load: Load { resistance_ohm: 47e3, capacitance_f: 100e-12 },
        };
        let stage = Stage {
            name: "phono stage".into(),
            gain_db: 35.0,
            equalisation: Equalisation::Riaa,
            output_resistance_ohm: 1000.0,
        };
        let select = Section {
            name: "select".into(),
            source: None,
            path: vec![PathItem::Contact(Contact::ohmic("selector", 0.0))],
            load: Load { resistance_ohm: 50e3, capacitance_f: 0.0 },
        };
        let items = vec![ChainItem::Section(phono), ChainItem::Stage(stage), ChainItem::Section(select)];
        Network::from_chain(&Chain { items }).unwrap()
    }

    #[test]
    fn blocks_agree_with_the_plain_walk() {
        // rounding of a few dozen operations on numbers of size one
        const ROUNDING: f64 = 1e-12;
        let network = network();
        let points = CHUNK + 77; // more than one chunk, and a last block that is not full
        let f: Vec<f64> = (0..points).map(|k| 10.0 + 2.0 * k as f64).collect();
        let r: Vec<f64> = (0..points).map(|k| (k as f64) * 3.0).collect();
        let contacts = [Values::Many(&r), Values::One(250.0)];
        let mut loss = vec![0.0; points];
        loss_db(&network, Values::Many(&f), &contacts, &mut loss, &Unwatched).unwrap();
        let mut ratio = vec![Complex64::new(0.0, 0.0); points];
        transfer(&network, Values::Many(&f), &contacts, &mut ratio, &Unwatched).unwrap();
        for k in (0..points).step_by(97).chain([points - 1]) {
            let plain = linear::loss_db(&network, f[k], &[r[k], 250.0]);
            assert!((plain - loss[k]).abs() < ROUNDING, "{k}: {plain} {}", loss[k]);
            let plain = linear::transfer(&network, f[k], &[r[k], 250.0]);
            assert!((plain - ratio[k]).norm() < ROUNDING * plain.norm());
        }
    }

    #[test]
    fn a_watch_can_stop_it() {
        struct Impatient;
        impl Watch for Impatient {
            fn stop(&self) -> bool {
                true
            }
        }
        let mut out = [0.0; 4];
        let contacts = [Values::One(1.0), Values::One(1.0)];
        assert_eq!(loss_db(&network(), Values::One(1e3), &contacts, &mut out, &Impatient), Err(Stopped));
    }
}
