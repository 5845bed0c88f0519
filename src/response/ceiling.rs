//! The most residue that any contact within a range of resistance can cause.
//!
//! **T1** (one contact, or several in one loop with their ranges added). At every instant the contact's chord lies in
//! `[Rmin, Rmax]`: any law, any memory, any vibration. With `M` the impedance of the loop seen from the contact, `T` the
//! output per contact current, `Delta = (Rmax - Rmin)/2` and `D = |M|^2 + (Rmin + Rmax) Re M + Rmin Rmax`,
//!
//! `residue / fundamental <= sup over w != w1 of |T(w)/T(w1)| Delta / sqrt(D(w))`
//!
//! over the multiples of `w1` for a steady film, over the whole band for any chatter. It follows from
//! `(v - Rmin i)(Rmax i - v) >= 0`, averaged over time; background: passivity and the circle criterion (Zames 1966;
//! Desoer and Vidyasagar, Feedback Systems, 1975). In a resistive loop with `Rmin = 0` and `r = Rmax/Z` it is
//! `r / (2 sqrt(1 + r))`, which a switching contact reaches.
//!
//! **A direct current** `I0` through the contact is one more driven line, and a contact that jumps makes some of the tone out
//! of it, which can act against the signal's own. With `E` the EMF of the loop the bound grows by
//! `sqrt(1 + |M + Rmid|^2 I0^2 / (E^2 - Delta^2 I0^2))`; from `Delta I0 >= E` on there is none, for then the tone can be
//! cancelled. (The factor `sqrt(1 + (I0/I1)^2)` holds with the tone's current `I1` as it is then, not as it is without `I0`.)
//!
//! **Across the signal** (a muting contact) the same holds for the dual: conductances for resistances, the admittance of its
//! node for the impedance of its loop, the load voltage per contact voltage for `T`. A direct current `I0` through it stands
//! for the direct voltage `I0 sqrt(Rmin Rmax)`.
//!
//! **T6**: in a resistive loop whose instantaneous loss ranges over `dB`, `residue <= sinh(dB / 17.37)`.
//!
//! The supremum over the band is enclosed (`response::supremum`): never too small, no frequency left out. Proofs of
//! all of it: [`bounds`](super::bounds).

use super::cells::{CELLS, Cell, Enclosing, Form, ROOM, Ranges, Table, cell_of, form};
use super::enclosed::{Cut, EVEN, Field, Walk};
use super::jet::Jet;
use super::linear::gain_after;
pub use super::status::Status;
use super::supremum::{Span, supremum};
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::circuit::ports::Ports;
use crate::circuit::twoport::Ladder;
use num_complex::Complex64;
use std::sync::{Arc, OnceLock};

/// A ceiling, as ratios to the fundamental at the output.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ceiling {
    /// for a steady film: residue at the multiples of the driven frequency inside the band; NaN if there is none
    pub harmonics: f64,
    /// for any chatter: residue anywhere in the band
    pub chatter: f64,
    /// whether it holds, and why not
    pub status: Status,
}

impl Ceiling {
    /// Where no contact moves there is no residue.
    pub const NOTHING_MOVES: Self = Self { harmonics: 0.0, chatter: 0.0, status: Status::Holds };

    pub(crate) fn none(status: Status) -> Self {
        Self { harmonics: f64::NAN, chatter: f64::NAN, status }
    }
}

/// One loop seen from its moving contacts, over the intervals of a band: ready for any number of ranges.
///
/// The network is computed once; each range then costs one pass over the intervals and a few more of them near the top.
#[derive(Debug)]
pub struct Loop<'a> {
    network: &'a Network,
    link: usize,
    contact: usize,
    fixed_ohm: Vec<f64>,
    at_driven: f64,
    spans: Vec<Span>,
    on_spans: Vec<Option<Enclosed>>,
    on_harmonics: Seen,
    /// harmonics so dense that the ceiling over the whole band stands for theirs
    dense: bool,
    /// the contact stands across the signal: conductances for resistances
    across: bool,
    /// for very many ranges, made when it is first asked for
    table: OnceLock<Option<Table>>,
    /// impedance of the loop at the driven frequency, and the closed contact's current per EMF of the chain, S
    pub(super) driven: (Complex64, f64),
}

/// What T1 needs over an interval, all times `|e|^2`'s denominator: see [`super::enclosed`].
#[derive(Debug, Clone, Copy)]
struct Enclosed<const N: usize = 3> {
    /// `|load u|^2`, what follows included, relative to the driven frequency
    output: Jet<N>,
    /// `|e|^2`, real part, `|b u|^2`: `D` is `|e|^2 + (Rmin + Rmax) real + Rmin Rmax |b u|^2`
    parts: [Jet<N>; 3],
}

impl Enclosed {
    /// Square of the share that T1 takes the largest of, over the square of [`factor`].
    fn share_sqr(&self, (low, high): (f64, f64)) -> Option<Jet> {
        let (g, less) = (high.recip(), low.max(1.0).recip());
        let [emf, real, passing] = self.parts;
        let d = emf.scaled(g * less).plus(&real.scaled(less + g * (low * less))).plus(&passing.scaled(low * less));
        Some(self.output.times(&d.inverse()?))
    }
}

/// What is taken out of the share so that huge resistances do not overflow.
fn factor((low, high): (f64, f64)) -> f64 {
    0.5 * (high - low) / high.sqrt() / low.max(1.0).sqrt() * (1.0 + 4.0 * f64::EPSILON)
}

/// Above so many harmonics in the band the supremum over the whole band is taken for theirs: never too small.
const MOST_HARMONICS: usize = 20_000;

/// Loop impedance and output per contact current (relative to the driven frequency), structure of arrays.
#[derive(Debug, Default)]
struct Seen {
    resistance: Vec<f64>,
    magnitude_sqr: Vec<f64>,
    output: Vec<f64>,
}

/// `|T| Delta / sqrt(D)` at one frequency, with `D` divided by `Rmax` so that huge resistances do not overflow.
fn share(resistance: f64, magnitude_sqr: f64, output: f64, (low, high): (f64, f64)) -> f64 {
    if resistance.is_infinite() {
        return 0.0;
    }
    let g = high.recip();
    let d_over_high = resistance + low + g * magnitude_sqr + (g * low) * resistance;
    output * (0.5 * (high - low) / high.sqrt()) / d_over_high.sqrt()
}

impl<'a> Loop<'a> {
    /// Prepares the loop of the contacts `moving` (numbers through the chain); the others are part of the network with
    /// their `fixed_ohm`.
    ///
    /// # Errors
    /// The status that says why there is no such loop.
    pub fn new(
        network: &'a Network,
        moving: &[usize],
        fixed_ohm: &[f64],
        driven_hz: f64,
        band_hz: (f64, f64),
    ) -> Result<Self, Status> {
        let Some(&first) = moving.first() else {
            return Err(Status::Holds);
        };
        let link = network.section_of(first);
        let role = |index: usize| network.contacts[index].role;
        let is_shared = |index: usize| role(index) == Role::SharedReturn;
        if (0..fixed_ohm.len()).any(|k| is_shared(k) && (moving.contains(&k) || fixed_ohm[k] > 0.0)) {
            return Err(Status::SharedReturn);
        }
        let across = role(first) == Role::Shunt;
        let loops = network.links[link].ladder.loops();
        let alone = moving.len() == 1;
        if !(across && alone || loops.iter().any(|group| moving.iter().all(|index| group.contains(index)))) {
            return Err(Status::SeveralLoops);
        }
        let mut fixed_ohm = fixed_ohm.to_vec();
        for &index in moving {
            fixed_ohm[index] = role(index).perfect_ohm();
        }
        let contact = first - network.links[link].ladder.contacts().start;
        let mut this = Self {
            network,
            link,
            contact,
            fixed_ohm,
            at_driven: 1.0,
            spans: Span::band(band_hz),
            on_spans: Vec::new(),
            on_harmonics: Seen::default(),
            dense: false,
            across,
            table: OnceLock::new(),
            driven: (Complex64::new(f64::NAN, 0.0), f64::NAN),
        };
        let at_driven = this.see(&[driven_hz]);
        this.at_driven = at_driven.output[0];
        this.driven = this.drive(driven_hz);
        if this.at_driven <= 0.0 || !this.at_driven.is_finite() {
            return Err(Status::NoFundamental);
        }
        this.on_spans = this.spans.iter().map(|span| this.enclose(*span)).collect();
        let last = (band_hz.1 / driven_hz * (1.0 + 1e-12)).floor() as usize;
        this.dense = last > MOST_HARMONICS;
        let last = if this.dense { 0 } else { last };
        let harmonics: Vec<f64> = (2..=last).map(|n| n as f64 * driven_hz).filter(|&f| f >= band_hz.0).collect();
        this.on_harmonics = this.see(&harmonics);
        Ok(this)
    }

    fn enclose<const N: usize>(&self, span: Span) -> Option<Enclosed<N>> {
        let field = Field::new(span);
        let links = &self.network.links;
        let walk = |ladder| Walk::<N>::new(&field, ladder, &self.fixed_ohm, EVEN);
        let here = walk(&links[self.link].ladder);
        let mut after = field.stages(&links[self.link].stages)?;
        for link in &links[self.link + 1..] {
            after = after.times(&walk(&link.ladder).transfer(&field)?).times(&field.stages(&link.stages)?);
        }
        let cut = &here.cuts[self.contact];
        let (b, u) = (cut.b().jet(), cut.u().jet());
        Some(Enclosed {
            output: here.load.jet().times(u).times(&after).scaled(self.at_driven.recip()).square(),
            parts: [
                here.emf.jet().square(),
                u.square().times(cut.power.0.jet()).plus(&b.square().times(cut.power.1.jet())),
                b.times(u).square(),
            ],
        })
    }

    /// The section, the resistances of what stays, and the place of the moving contact in a walk.
    pub(super) fn ladder(&self) -> &Ladder {
        &self.network.links[self.link].ladder
    }

    pub(super) fn fixed_ohm(&self) -> &[f64] {
        &self.fixed_ohm
    }

    pub(super) fn cut<'w>(&self, walk: &'w Walk) -> &'w Cut {
        &walk.cuts[self.contact]
    }

    fn see(&self, frequency_hz: &[f64]) -> Seen {
        let ports = Ports::new(&self.network.links[self.link].ladder, frequency_hz, &self.fixed_ohm);
        let points = frequency_hz.len();
        let mut seen = Seen::default();
        for (point, &frequency) in frequency_hz.iter().enumerate() {
            let at = self.contact * points + point;
            let m: Complex64 = ports.loop_impedance[at];
            seen.resistance.push(m.re);
            seen.magnitude_sqr.push(m.norm_sqr());
            seen.output.push(
                ports.transfer_impedance[at].norm() * gain_after(self.network, self.link, frequency, &self.fixed_ohm)
                    / self.at_driven,
            );
        }
        seen
    }

    /// Output per current of the contact at a frequency (across the signal per voltage), all stages included.
    pub(super) fn output_per_current(&self, frequency_hz: f64) -> f64 {
        self.see(&[frequency_hz]).output[0] * self.at_driven
    }

    /// `|T| Delta/sqrt(D)` at a frequency for a range in ohm (across the signal in siemens).
    pub(super) fn product_share(&self, frequency_hz: f64, range: (f64, f64)) -> f64 {
        let seen = self.see(&[frequency_hz]);
        share(seen.resistance[0], seen.magnitude_sqr[0], seen.output[0], range) * self.at_driven
    }

    /// Impedance of the loop and current of the closed contact per EMF of the chain, S.
    pub(super) fn drive(&self, frequency_hz: f64) -> (Complex64, f64) {
        let before = self.network.links.iter().take(self.link).map(|link| {
            let stages: f64 = link.stages.iter().map(|s| s.transfer(frequency_hz).norm()).product();
            link.ladder.transfer(frequency_hz, &self.fixed_ohm).norm() * stages
        });
        let ports = Ports::new(&self.network.links[self.link].ladder, &[frequency_hz], &self.fixed_ohm);
        (ports.loop_impedance[self.contact], before.product::<f64>() * ports.drive[self.contact].norm())
    }

    /// The ceiling for a range of the loop's moving contacts added together, ohm, while a direct current runs through them
    /// beside the signal of an EMF (of the whole chain, V rms).
    #[must_use]
    pub fn ceiling_beside(&self, range_ohm: (f64, f64), emf_v: f64, direct_current_a: f64) -> Ceiling {
        self.grown(self.ceiling(range_ohm), range_ohm, emf_v, direct_current_a)
    }

    /// What a direct current adds to a ceiling.
    pub(super) fn grown(&self, ceiling: Ceiling, range_ohm: (f64, f64), emf_v: f64, direct_current_a: f64) -> Ceiling {
        if direct_current_a == 0.0 || ceiling.status != Status::Holds {
            return ceiling;
        }
        // across the signal in siemens, and volts for amperes
        let (range, direct) = if self.across {
            let direct_v = direct_current_a * (range_ohm.0 * range_ohm.1).sqrt();
            ((range_ohm.1.recip(), range_ohm.0.recip()), direct_v)
        } else {
            (range_ohm, direct_current_a)
        };
        let (middle, half) = (0.5 * (range.0 + range.1), 0.5 * (range.1 - range.0));
        let (m, drive) = self.driven;
        let emf = emf_v * drive * m.norm();
        let rest = emf * emf - (half * direct).powi(2);
        if emf.is_nan() || emf <= 0.0 {
            return Ceiling::none(Status::NoFundamental);
        }
        if rest.is_nan() || rest <= 0.0 {
            return Ceiling::none(Status::DirectCurrent);
        }
        let grown = ((m + middle).norm() * direct / rest.sqrt()).hypot(1.0);
        Ceiling { harmonics: ceiling.harmonics * grown, chatter: ceiling.chatter * grown, status: Status::Holds }
    }

    /// A range as the bound takes it: across the signal in siemens.
    pub(super) fn own_range(&self, range_ohm: (f64, f64)) -> Result<(f64, f64), Status> {
        match self.across {
            false if range_ohm.1.is_infinite() => Err(Status::CanOpen),
            true if range_ohm.0 <= 0.0 => Err(Status::CanShort),
            true => Ok((range_ohm.1.recip(), range_ohm.0.recip())),
            false => Ok(range_ohm),
        }
    }

    /// The ceiling for a range of the loop's moving contacts added together, ohm.
    #[must_use]
    pub fn ceiling(&self, range_ohm: (f64, f64)) -> Ceiling {
        let range = match self.own_range(range_ohm) {
            Ok(range) => range,
            Err(status) => return Ceiling::none(status),
        };
        let over = |seen: &Seen| -> Vec<f64> {
            (0..seen.output.len())
                .map(|k| share(seen.resistance[k], seen.magnitude_sqr[k], seen.output[k], range))
                .collect()
        };
        let known = self.on_spans.iter().map(|seen| seen.and_then(|seen| seen.share_sqr(range)));
        let largest = supremum(&self.spans, known, |span| self.enclose::<3>(span)?.share_sqr(range));
        let chatter = largest.max(0.0).sqrt() * factor(range);
        if chatter.is_infinite() {
            return Ceiling::none(Status::NoBound);
        }
        let at_harmonics = over(&self.on_harmonics).into_iter().fold(f64::NAN, f64::max);
        let harmonics = if self.dense { chatter } else { at_harmonics };
        Ceiling { harmonics, chatter, status: Status::Holds }
    }

    fn table(&self) -> Option<&Table> {
        let make = || {
            let seen = &self.on_harmonics;
            let line = |k: usize| {
                let per = (seen.output[k] * seen.output[k]).recip();
                [seen.magnitude_sqr[k] * per, seen.resistance[k] * per, per]
            };
            Table::new(self, &self.spans, (0..seen.output.len()).map(line).collect())
        };
        self.table.get_or_init(make).as_ref()
    }

    /// The number of the cell that a range is answered from, see [`super::cells`], and the range as the bound takes it.
    pub(super) fn cell_number(&self, range_ohm: (f64, f64)) -> Option<(usize, (f64, f64))> {
        let own = self.own_range(range_ohm).ok()?;
        Some((cell_of(own)?, own))
    }

    /// Numbers of cells are below this.
    pub(super) const CELLS: usize = CELLS;

    pub(super) fn cell(&self, number: usize) -> Option<Arc<Cell>> {
        self.table()?.cell(self, number)
    }

    /// Ceilings of `count` ranges of one cell as the bound takes them, to the front of `harmonics` and `chatter`; all lists have
    /// room for a vector more. NaN in `chatter` where the cell does not say: such a range goes interval by interval.
    pub(super) fn in_cell(&self, cell: &Cell, count: usize, ends: [&[f64]; 2], found: [&mut [f64]; 2]) {
        let ([low, high], [harmonics, chatter]) = (ends, found);
        pulp::Arch::new().dispatch(Ranges { cell, count, low, high, harmonics, chatter });
        if self.dense {
            harmonics[..count].copy_from_slice(&chatter[..count]);
        } else if self.on_harmonics.output.is_empty() {
            harmonics[..count].fill(f64::NAN);
        }
    }

    /// The ceiling of one range, from its cell if it has one: the same bits as among many.
    pub(super) fn one_from_cell(&self, range_ohm: (f64, f64)) -> Ceiling {
        let Some((number, (low, high))) = self.cell_number(range_ohm) else { return self.ceiling(range_ohm) };
        let Some(cell) = self.cell(number) else { return self.ceiling(range_ohm) };
        let [mut harmonics, mut chatter] = [[f64::NAN; ROOM]; 2];
        self.in_cell(&cell, 1, [&[low; ROOM], &[high; ROOM]], [&mut harmonics, &mut chatter]);
        if chatter[0].is_nan() {
            return self.ceiling(range_ohm);
        }
        Ceiling { harmonics: harmonics[0], chatter: chatter[0], status: Status::Holds }
    }
}

impl Enclosing for Loop<'_> {
    fn form<const N: usize>(&self, span: Span) -> Option<Form<N>> {
        let seen = self.enclose::<N>(span)?;
        form(&seen.output, &seen.parts)
    }
}

/// The ceiling of a section or chain: `moving` names contacts with their ranges, the others keep `fixed_ohm`.
#[must_use]
pub fn ceiling(
    network: &Network,
    driven_hz: f64,
    moving: &[(usize, (f64, f64))],
    fixed_ohm: &[f64],
    band_hz: (f64, f64),
) -> Ceiling {
    let mut fixed = fixed_ohm.to_vec();
    let mut indices = Vec::new();
    let mut sum = (0.0, 0.0);
    for &(index, (low, high)) in moving {
        if high > low {
            indices.push(index);
            sum = (sum.0 + low, sum.1 + high);
        } else {
            fixed[index] = low;
        }
    }
    if indices.is_empty() {
        return Ceiling::NOTHING_MOVES;
    }
    match Loop::new(network, &indices, &fixed, driven_hz, band_hz) {
        Ok(ready) => ready.ceiling(sum),
        Err(status) => Ceiling::none(status),
    }
}

/// T1 in a resistive loop: `r = Rmax/Z` with `Rmin = 0`.
#[must_use]
pub fn resistive(ratio: f64) -> f64 {
    ratio / (2.0 * (1.0 + ratio).sqrt())
}

/// Inverse of [`resistive`]: the least `Rmax/Z` that can leave the residue `d`, `2 d (d + sqrt(1 + d^2))`.
#[must_use]
pub fn ratio_for_residue(d: f64) -> f64 {
    2.0 * d * (d + d.hypot(1.0))
}

/// T6: most residue in a resistive loop whose instantaneous loss ranges over `range_db`.
#[must_use]
pub fn residue_from_loss_range(range_db: f64) -> f64 {
    (range_db * std::f64::consts::LN_10 / 40.0).sinh()
}

/// Inverse of T6: the least range of loss, dB, that goes with a residue.
#[must_use]
pub fn loss_range_for_residue(residue: f64) -> f64 {
    residue.asinh() * 40.0 / std::f64::consts::LN_10
}

#[cfg(test)]
mod tests;

#[cfg(test)]
mod rounding;
