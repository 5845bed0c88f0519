//! The array kernel of the linear response: many points at once, structure of arrays, no allocation inside.
//!
//! Loss is worked out from what depends on frequency alone and the resistances (`collapsed`); for the rest points are walked
//! (`walk`) in blocks of [`LANES`], real and imaginary parts of voltages and currents apart. Vectors are as wide as the
//! processor's; which ones is found out at run time.

use super::collapsed::Collapsed;
use super::walk::{Block, at};
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::cores;
use crate::watch::{Stopped, Watch};
use num_complex::Complex64;
use pulp::{Simd, WithSimd};

/// Points per block.
pub const LANES: usize = 32;

/// Points between two looks at the watch.
pub(super) const CHUNK: usize = 16 * 1024;

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

    /// The value of all of `count` points from `start` on, where it is the same.
    #[inline]
    pub(super) fn same(&self, start: usize, count: usize) -> Option<f64> {
        match *self {
            Self::One(value) => Some(value),
            Self::Spread(values, each) if each - start % each >= count => Some(values[start / each % values.len()]),
            Self::Many(_) | Self::Spread(..) => None,
        }
    }

    /// The points from `start` on.
    #[inline(always)]
    pub(crate) fn read(&self, start: usize, to: &mut [f64]) {
        if let Some(same) = self.same(start, to.len()) {
            to.fill(same);
        } else {
            self.several(start, to);
        }
    }

    /// The points from `start` on, value after value.
    #[inline(always)]
    fn several(&self, start: usize, to: &mut [f64]) {
        let count = to.len();
        match *self {
            Self::One(value) => to.fill(value),
            Self::Many(values) => to.copy_from_slice(&values[start..start + count]),
            Self::Spread(values, each) => {
                let (mut at, mut left) = ((start / each) % values.len(), each - start % each);
                let mut filled = 0;
                while filled < count {
                    // neighbours where each value holds for one point, else one value for a run of them
                    let run = if each == 1 { values.len() - at } else { left }.min(count - filled);
                    let to = &mut to[filled..filled + run];
                    filled += run;
                    if each == 1 {
                        to.copy_from_slice(&values[at..at + run]);
                        at = 0;
                    } else {
                        to.fill(values[at]);
                        at = if at + 1 == values.len() { 0 } else { at + 1 };
                        left = each;
                    }
                }
            }
        }
    }

    /// `count` points from `start` on; lanes past them repeat the last.
    #[inline(always)]
    pub(super) fn load(&self, start: usize, count: usize, lanes: &mut [f64; LANES]) {
        self.several(start, &mut lanes[..count]);
        let last = lanes[count - 1];
        lanes[count..].fill(last);
    }
}

/// One mode of two channels: shared contacts count twice in the even mode, not in the odd one.
#[derive(Clone, Copy)]
pub(super) struct Contacts {
    pub(super) shared_times: f64,
}

impl Contacts {
    pub(super) const EVEN: Self = Self { shared_times: 2.0 };
    pub(super) const ODD: Self = Self { shared_times: 0.0 };
}

fn any_shared(network: &Network) -> bool {
    network.contacts.iter().any(|contact| contact.role == Role::SharedReturn)
}

/// A kernel: fills in the points of `out`, the first of which has number `start`.
pub(super) trait Kernel<T>: Sync {
    /// Points that are worked out together.
    fn points(&self) -> usize {
        CHUNK
    }

    fn chunk<S: Simd>(&self, simd: S, start: usize, out: &mut [T]);
}

/// What a kernel makes of a block of points.
trait OnBlock<T>: Sync {
    fn block<S: Simd>(&self, block: &Block<'_, S>, out: &mut [T]);
}

/// A kernel block by block.
struct ByBlocks<'a, K> {
    kernel: K,
    network: &'a Network,
    frequency_hz: Values<'a>,
    contacts: &'a [Values<'a>],
}

impl<T, K: OnBlock<T>> Kernel<T> for ByBlocks<'_, K> {
    #[inline(always)]
    fn chunk<S: Simd>(&self, simd: S, start: usize, out: &mut [T]) {
        let mut block = Block::new(simd, self.network);
        for (number, lanes) in out.chunks_mut(LANES).enumerate() {
            block.read(self.frequency_hz, self.contacts, start + number * LANES, lanes.len());
            self.kernel.block(&block, lanes);
        }
    }
}

/// One chunk of the points of a kernel.
struct Chunk<'a, K, T> {
    kernel: &'a K,
    start: usize,
    out: &'a mut [T],
}

impl<K: Kernel<T>, T> WithSimd for Chunk<'_, K, T> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        self.kernel.chunk(simd, self.start, self.out);
    }
}

/// Runs a kernel over chunks of `out`, on all cores where the feature `threads` is on.
fn in_chunks<T: Send>(kernel: &impl Kernel<T>, out: &mut [T], watch: &dyn Watch) -> Result<(), Stopped> {
    let arch = pulp::Arch::new();
    let together = kernel.points();
    cores::each(
        out.chunks_mut(together).enumerate(),
        watch,
        || (),
        |(), (index, part)| {
            if watch.stop() {
                return Err(Stopped);
            }
            let points = part.len();
            arch.dispatch(Chunk { kernel, start: index * together, out: part });
            watch.done(points);
            Ok(())
        },
    )
}

/// Loss with contacts in a shared return: this channel alone driven, so half the sum of the two modes.
struct LossOfTwoModes;

impl OnBlock<f64> for LossOfTwoModes {
    #[inline(always)]
    fn block<S: Simd>(&self, block: &Block<'_, S>, out: &mut [f64]) {
        let [mut even, mut odd, mut perfect] = [([0.0; LANES], [0.0; LANES]); 3];
        block.sections(Some(Contacts::EVEN), &mut even);
        block.sections(Some(Contacts::ODD), &mut odd);
        block.sections(None, &mut perfect);
        for (k, loss) in out.iter_mut().enumerate() {
            let half_sum = 0.5 * (at(&even, k) + at(&odd, k));
            *loss = 10.0 * (at(&perfect, k).norm_sqr() / half_sum.norm_sqr()).log10();
        }
    }
}

struct Crosstalk;

impl OnBlock<f64> for Crosstalk {
    #[inline(always)]
    fn block<S: Simd>(&self, block: &Block<'_, S>, out: &mut [f64]) {
        let [mut even, mut odd] = [([0.0; LANES], [0.0; LANES]); 2];
        block.sections(Some(Contacts::EVEN), &mut even);
        block.sections(Some(Contacts::ODD), &mut odd);
        for (k, value) in out.iter_mut().enumerate() {
            let (even, odd) = (at(&even, k), at(&odd, k));
            *value = 20.0 * ((even - odd).norm() / (even + odd).norm()).log10();
        }
    }
}

/// Transfer with the stages.
struct Transfer<'a> {
    network: &'a Network,
    two_modes: bool,
}

impl OnBlock<Complex64> for Transfer<'_> {
    #[inline(always)]
    fn block<S: Simd>(&self, block: &Block<'_, S>, out: &mut [Complex64]) {
        let [mut even, mut odd] = [([0.0; LANES], [0.0; LANES]); 2];
        block.sections(Some(Contacts::EVEN), &mut even);
        if self.two_modes {
            block.sections(Some(Contacts::ODD), &mut odd);
        }
        for (k, value) in out.iter_mut().enumerate() {
            *value = if self.two_modes { 0.5 * (at(&even, k) + at(&odd, k)) } else { at(&even, k) };
            for stage in self.network.links.iter().flat_map(|link| &link.stages) {
                *value *= stage.transfer(block.frequency_hz[k]);
            }
        }
    }
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
        return in_chunks(&ByBlocks { kernel: LossOfTwoModes, network, frequency_hz, contacts }, out, watch);
    }
    in_chunks(&Collapsed::new(network, frequency_hz, contacts, out.len()), out, watch)
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
    in_chunks(&ByBlocks { kernel: Crosstalk, network, frequency_hz, contacts }, out, watch)
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
    let kernel = Transfer { network, two_modes: any_shared(network) };
    in_chunks(&ByBlocks { kernel, network, frequency_hz, contacts }, out, watch)
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
