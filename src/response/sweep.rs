//! The array kernel of the linear response: many points at once, structure of arrays, no allocation inside.
//!
//! Points are walked in blocks of [`LANES`]: each block keeps the real and imaginary parts of its voltages and currents
//! in arrays of their own, so that the compiler turns every step of the ladder into vector instructions.

use crate::circuit::Role;
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
    /// each holds for so many points one after another; after the last the first follows again
    Spread(&'a [f64], usize),
}

impl Values<'_> {
    /// The value of one point.
    #[must_use]
    #[inline]
    pub fn at(&self, point: usize) -> f64 {
        match *self {
            Self::One(value) => value,
            Self::Many(values) => values[point],
            Self::Spread(values, each) => values[point / each % values.len()],
        }
    }

    #[inline]
    fn load(&self, start: usize, count: usize, lanes: &mut [f64; LANES]) {
        match self {
            Self::One(value) => *lanes = [*value; LANES],
            Self::Many(values) => {
                lanes[..count].copy_from_slice(&values[start..start + count]);
                let last = lanes[count - 1];
                lanes[count..].fill(last);
            }
            Self::Spread(values, each) => {
                let (mut at, mut left) = ((start / each) % values.len(), each - start % each);
                if left >= count {
                    *lanes = [values[at]; LANES];
                    return;
                }
                for lane in &mut lanes[..count] {
                    *lane = values[at];
                    left -= 1;
                    if left == 0 {
                        left = *each;
                        at = if at + 1 == values.len() { 0 } else { at + 1 };
                    }
                }
                let last = lanes[count - 1];
                lanes[count..].fill(last);
            }
        }
    }
}

/// Resistances of the contacts in one mode of two channels: shared ones count twice in the even mode, not in the odd one.
#[derive(Clone, Copy)]
struct Contacts<'a> {
    values: &'a [Values<'a>],
    shared_times: f64,
}

impl<'a> Contacts<'a> {
    fn even(values: &'a [Values<'a>]) -> Self {
        Self { values, shared_times: 2.0 }
    }

    fn odd(values: &'a [Values<'a>]) -> Self {
        Self { values, shared_times: 0.0 }
    }
}

fn any_shared(network: &Network) -> bool {
    network.contacts.iter().any(|contact| contact.role == Role::SharedReturn)
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

    /// Walks a ladder from one volt at its load; leaves the EMF in `v`. Without `contacts` each is at its best.
    #[allow(clippy::needless_range_loop)] // lanes of several arrays, walked together
    fn walk(&mut self, ladder: &Ladder, contacts: Option<Contacts<'_>>, start: usize, count: usize) {
        self.v_re = [1.0; LANES];
        self.v_im = [0.0; LANES];
        if ladder.load.loudspeaker.is_none() {
            for k in 0..LANES {
                self.i_re[k] = 1.0 / ladder.load.resistance_ohm;
                self.i_im[k] = self.omega[k] * ladder.load.capacitance_f;
            }
        } else {
            for k in 0..LANES {
                let admittance = ladder.load.admittance(self.omega[k] / TAU);
                (self.i_re[k], self.i_im[k]) = (admittance.re, admittance.im);
            }
        }
        for step in ladder.steps.iter().rev() {
            match *step {
                Step::Series(ohm, henry) => self.series(ohm, henry),
                Step::Shunt(siemens, farad) => {
                    for k in 0..LANES {
                        let b = self.omega[k] * farad;
                        self.i_re[k] += siemens * self.v_re[k] - b * self.v_im[k];
                        self.i_im[k] += siemens * self.v_im[k] + b * self.v_re[k];
                    }
                }
                Step::Contact(index) | Step::Shared(index) => {
                    let Some(contacts) = contacts else { continue };
                    let times = if matches!(step, Step::Shared(_)) { contacts.shared_times } else { 1.0 };
                    let mut ohm = self.ohm;
                    contacts.values[index].load(start, count, &mut ohm);
                    for k in 0..LANES {
                        self.v_re[k] += times * ohm[k] * self.i_re[k];
                        self.v_im[k] += times * ohm[k] * self.i_im[k];
                    }
                }
                Step::Across(index) => {
                    let Some(contacts) = contacts else { continue };
                    let mut ohm = self.ohm;
                    contacts.values[index].load(start, count, &mut ohm);
                    for k in 0..LANES {
                        self.i_re[k] += self.v_re[k] / ohm[k];
                        self.i_im[k] += self.v_im[k] / ohm[k];
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
    if any_shared(network) {
        return loss_of_two_modes(network, frequency_hz, contacts, out, watch);
    }
    in_chunks(out, watch, |chunk, part| {
        let mut block = Block::new();
        for (number, lanes) in part.chunks_mut(LANES).enumerate() {
            let (start, count) = (chunk + number * LANES, lanes.len());
            frequency_hz.load(start, count, &mut block.omega);
            block.omega.iter_mut().for_each(|f| *f *= TAU);
            let mut ratio = [1.0; LANES];
            for link in &network.links {
                block.walk(&link.ladder, Some(Contacts::even(contacts)), start, count);
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

/// Multiplies the lanes of `product` by the transfer of every section, stages left out.
fn times_sections(
    block: &mut Block,
    network: &Network,
    contacts: Option<Contacts<'_>>,
    (start, count): (usize, usize),
    product: &mut [Complex64],
) {
    for link in &network.links {
        block.walk(&link.ladder, contacts, start, count);
        for (k, value) in product.iter_mut().enumerate() {
            *value /= Complex64::new(block.v_re[k], block.v_im[k]);
        }
    }
}

const ONE: Complex64 = Complex64::new(1.0, 0.0);

/// Loss with contacts in a shared return: this channel alone driven, so half the sum of the two modes.
fn loss_of_two_modes(
    network: &Network,
    frequency_hz: Values<'_>,
    contacts: &[Values<'_>],
    out: &mut [f64],
    watch: &dyn Watch,
) -> Result<(), Stopped> {
    in_chunks(out, watch, |chunk, part| {
        let mut block = Block::new();
        for (number, lanes) in part.chunks_mut(LANES).enumerate() {
            let at = (chunk + number * LANES, lanes.len());
            frequency_hz.load(at.0, at.1, &mut block.omega);
            block.omega.iter_mut().for_each(|f| *f *= TAU);
            let (mut even, mut odd, mut perfect) = ([ONE; LANES], [ONE; LANES], [ONE; LANES]);
            times_sections(&mut block, network, Some(Contacts::even(contacts)), at, &mut even);
            times_sections(&mut block, network, Some(Contacts::odd(contacts)), at, &mut odd);
            times_sections(&mut block, network, None, at, &mut perfect);
            for (k, loss) in lanes.iter_mut().enumerate() {
                *loss = 10.0 * (perfect[k].norm_sqr() / (0.5 * (even[k] + odd[k])).norm_sqr()).log10();
            }
        }
    })
}

/// Crosstalk in dB at every point of `out`, see [`super::linear::crosstalk_db`].
///
/// # Errors
/// [`Stopped`] when the watch says so; `out` is then only partly filled.
pub fn crosstalk_db(
    network: &Network,
    frequency_hz: Values<'_>,
    contacts: &[Values<'_>],
    out: &mut [f64],
    watch: &dyn Watch,
) -> Result<(), Stopped> {
    if !any_shared(network) {
        out.fill(f64::NEG_INFINITY);
        return Ok(());
    }
    in_chunks(out, watch, |chunk, part| {
        let mut block = Block::new();
        for (number, lanes) in part.chunks_mut(LANES).enumerate() {
            let at = (chunk + number * LANES, lanes.len());
            frequency_hz.load(at.0, at.1, &mut block.omega);
            block.omega.iter_mut().for_each(|f| *f *= TAU);
            let (mut even, mut odd) = ([ONE; LANES], [ONE; LANES]);
            times_sections(&mut block, network, Some(Contacts::even(contacts)), at, &mut even);
            times_sections(&mut block, network, Some(Contacts::odd(contacts)), at, &mut odd);
            for (k, value) in lanes.iter_mut().enumerate() {
                *value = 20.0 * ((even[k] - odd[k]).norm() / (even[k] + odd[k]).norm()).log10();
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
    let two_modes = any_shared(network);
    in_chunks(out, watch, |chunk, part| {
        let mut block = Block::new();
        for (number, lanes) in part.chunks_mut(LANES).enumerate() {
            let at = (chunk + number * LANES, lanes.len());
            let mut frequency = [0.0; LANES];
            frequency_hz.load(at.0, at.1, &mut frequency);
            block.omega = frequency.map(|f| f * TAU);
            lanes.fill(ONE);
            times_sections(&mut block, network, Some(Contacts::even(contacts)), at, lanes);
            if two_modes {
                let mut odd = [ONE; LANES];
                times_sections(&mut block, network, Some(Contacts::odd(contacts)), at, &mut odd);
                lanes.iter_mut().zip(odd).for_each(|(even, odd)| *even = 0.5 * (*even + odd));
            }
            for (k, value) in lanes.iter_mut().enumerate() {
                for stage in network.links.iter().flat_map(|link| &link.stages) {
                    *value *= stage.transfer(frequency[k]);
                }
            }
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{
        Chain, ChainItem, Contact, Divider, Equalisation, Lead, Load, Loudspeaker, PathItem, Section,
    };
    use crate::circuit::{Source, Stage};
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
            load: Load { capacitance_f: 100e-12, ..Load::resistance(47e3) },
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
            load: Load::resistance(50e3),
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
    fn every_kind_of_element_agrees_with_the_plain_walk() {
        const ROUNDING: f64 = 1e-11;
        let loudspeaker = Loudspeaker {
            voice_coil_ohm: 6.4,
            voice_coil_h: 0.4e-3,
            resonance_hz: 45.0,
            mechanical_q: 4.0,
            electrical_q: 0.5,
        };
        let wiper = Some(Contact::ohmic("wiper", 0.0));
        let control = Divider { name: "volume".into(), track_ohm: 50.0, setting_db: -6.0, wiper };
        let section = Section {
            name: "all".into(),
            source: Some(Source { emf_v: 1.0, resistance_ohm: 2.0, inductance_h: 1e-4 }),
            path: vec![
                PathItem::Contact(Contact::perfect("mute", Role::Shunt)),
                PathItem::Divider(control),
                PathItem::Contact(Contact::perfect("sleeve", Role::SharedReturn)),
                PathItem::Lead(Lead { capacitance_f: 1e-7, resistance_ohm: 0.1, inductance_h: 1e-6 }),
                PathItem::Contact(Contact::perfect("ground", Role::Return)),
            ],
            load: Load { loudspeaker: Some(loudspeaker), ..Load::resistance(8.0) },
        };
        let network = Network::from_section(&section).unwrap();
        let points = 3 * LANES + 5;
        let f: Vec<f64> = (0..points).map(|k| 20.0 * 1.07f64.powi(k as i32)).collect();
        let r: Vec<f64> = (0..points).map(|k| 0.01 * k as f64).collect();
        let contacts = [Values::One(90.0), Values::Many(&r), Values::Many(&r), Values::One(0.3)];
        let (mut loss, mut crosstalk) = (vec![0.0; points], vec![0.0; points]);
        let mut ratio = vec![Complex64::new(0.0, 0.0); points];
        loss_db(&network, Values::Many(&f), &contacts, &mut loss, &Unwatched).unwrap();
        crosstalk_db(&network, Values::Many(&f), &contacts, &mut crosstalk, &Unwatched).unwrap();
        transfer(&network, Values::Many(&f), &contacts, &mut ratio, &Unwatched).unwrap();
        for k in 0..points {
            let ohm = [90.0, r[k], r[k], 0.3];
            let plain = linear::transfer(&network, f[k], &ohm);
            assert!((plain - ratio[k]).norm() < ROUNDING * plain.norm());
            assert!((linear::loss_db(&network, f[k], &ohm) - loss[k]).abs() < ROUNDING);
            let plain = linear::crosstalk_db(&network, f[k], &ohm);
            assert!(plain == crosstalk[k] || (plain - crosstalk[k]).abs() < 1e-9, "{plain} {}", crosstalk[k]);
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
