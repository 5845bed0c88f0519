//! Loss of very many points: what depends on frequency alone is worked out once for each frequency.
//!
//! Contacts of one loop carry one current, so their resistances add up to one `rho` (across the signal a conductance). With `b` the
//! current at a loop without contacts and one volt at the load, `c` the current there per volt put in series with an earlier one
//! (nearer the load), `w` what a volt there adds to the EMF `e0` of the source, relative to it,
//!
//! `z_j = rho_j (b_j + sum over earlier m of c_jm z_m)`, `EMF/e0 = 1 + x`, `x = sum of w_j z_j`,
//!
//! across the signal with voltages for currents. The loss is the logarithm of the power `|1 + x|^2 = 1 + d`, taken from
//! `d = Re x (2 + Re x) + (Im x)^2`: a loss of 1e-12 dB keeps its digits. One loop alone has `x = rho k`, `k = b w`, so
//! `d = rho (2 Re k + rho |k|^2)`. A resistance in series with what is passive on both sides, or across it, makes nothing louder, so
//! `d` is below zero by rounding alone. Where it is not between [`LEAST`] and
//! [`MOST_DEVIATION`], infinite and not a number included, the plain walk answers.
//!
//! Every point goes the same operations whatever the shape of the arrays, so none of its bits depends on its neighbours.

mod table;

use super::linear;
use super::sweep::{Kernel, LANES, Values};
use crate::circuit::chain::Network;
use crate::physics::lanes::Lanes;
use pulp::Simd;
use table::{Group, Make, Pair, Plan, Table, fill, hold, plus_times};

/// Most points between two looks at the columns.
const TILE: usize = 512;

/// Runs of points of one frequency, or of neighbouring frequencies, shorter than this are copied together.
const SHORT: usize = 64;

/// Most frequencies that are worked out beforehand.
const MOST: usize = 32 * 1024;

/// Vectors side by side of one loop alone, where little more than the logarithm is left.
const WIDE: usize = 4;

/// Least deviation of the power from one that a logarithm is taken of here.
const LEAST: f64 = -0.75;

/// Largest one.
const MOST_DEVIATION: f64 = 1e296;

/// A sum below this of up to [`TILE`] deviations none of which is below [`LEAST`] proves each of them below [`MOST_DEVIATION`], and a number.
const MOST_SUM: f64 = 0.9 * MOST_DEVIATION;

/// Loss of a network without contacts in a shared return.
pub(super) struct Collapsed<'a> {
    network: &'a Network,
    plan: Plan<'a>,
    frequency_hz: Values<'a>,
    contacts: &'a [Values<'a>],
    table: Option<Table>,
}

impl<'a> Collapsed<'a> {
    pub(super) fn new(
        network: &'a Network,
        frequency_hz: Values<'a>,
        contacts: &'a [Values<'a>],
        points: usize,
    ) -> Self {
        let plan = Plan::new(network);
        let one;
        let beforehand: &[f64] = match frequency_hz {
            Values::One(value) if points > LANES => {
                one = [value];
                &one
            }
            Values::Spread(values, _) if values.len() <= MOST && 2 * values.len() <= points => values,
            _ => &[],
        };
        let make = Make { plan: &plan, frequency_hz: beforehand };
        let table = (!beforehand.is_empty()).then(|| pulp::Arch::new().dispatch(make));
        Self { network, plan, frequency_hz, contacts, table }
    }

    /// By the plain walk: where the deviation is not one that a logarithm is taken of here.
    #[cold]
    fn plain(&self, point: usize) -> f64 {
        let ohm: Vec<f64> = self.contacts.iter().map(|values| values.at(point)).collect();
        linear::loss_db(self.network, self.frequency_hz.at(point), &ohm)
    }

    /// Sums of resistances, conductances across the signal, of the points from `start` on.
    #[inline(always)]
    fn resistances<S: Simd>(
        &self,
        simd: S,
        start: usize,
        count: usize,
        room: usize,
        rho: &mut [f64],
        next: &mut Vec<f64>,
    ) {
        let groups = self.plan.parts.iter().flat_map(|part| &part.groups);
        for (group, rho) in groups.zip(rho.chunks_exact_mut(room)) {
            for (number, &member) in group.members.iter().enumerate() {
                let values = self.contacts[member];
                if number == 0 {
                    values.read(start, &mut rho[..count]);
                } else if let Some(same) = values.same(start, count) {
                    rho[..count].iter_mut().for_each(|rho| *rho += same);
                } else {
                    next.resize(room, 0.0);
                    values.read(start, &mut next[..count]);
                    rho[..count].iter_mut().zip(&next[..count]).for_each(|(rho, next)| *rho += next);
                }
            }
            if group.across {
                for from in (0..count).step_by(Lanes::<S>::COUNT) {
                    (1.0 / Lanes::<S>::load(simd, &rho[from..])).store(&mut rho[from..]);
                }
            }
        }
    }

    /// `rho` of a group at all of `count` points from `start` on, where it is the same: as [`Self::resistances`] adds it up.
    #[inline(always)]
    fn same_resistance(&self, group: &Group, start: usize, count: usize) -> Option<f64> {
        let mut members = group.members.iter().map(|&member| self.contacts[member].same(start, count));
        let first = members.next()??;
        let rho = members.try_fold(first, |rho, next| Some(rho + next?))?;
        Some(if group.across { 1.0 / rho } else { rho })
    }

    /// `d` of the vector of points at `place`: see the page.
    #[inline(always)]
    fn deviation<S: Simd>(
        &self,
        place: usize,
        coefficients: Tile<'_, S>,
        resistances: Tile<'_, S>,
        z: &mut Vec<Pair<S>>,
    ) -> Lanes<S> {
        let nothing = Lanes::splat(coefficients.simd, 0.0);
        let mut all: Option<Lanes<S>> = None;
        for part in &self.plan.parts {
            let d = if part.groups.len() == 1 {
                of_one_loop(resistances.at(part.first_group, place), coefficients.pair(part.first, place))
            } else {
                z.clear();
                let mut x = (nothing, nothing);
                let mut column = part.first;
                for j in 0..part.groups.len() {
                    let mut y = coefficients.pair(column, place);
                    for (m, z) in z.iter().enumerate() {
                        y = plus_times(y, coefficients.pair(column + 4 + 2 * m, place), *z);
                    }
                    let rho = resistances.at(part.first_group + j, place);
                    let own = (rho * y.0, rho * y.1);
                    x = plus_times(x, coefficients.pair(column + 2, place), own);
                    z.push(own);
                    column += 4 + 2 * j;
                }
                x.0.times_plus(x.0 + 2.0, x.1 * x.1)
            };
            // (1 + D)(1 + d) - 1
            all = Some(match all {
                None => d,
                Some(before) => before.times_plus(d, before + d),
            });
        }
        all.unwrap_or(nothing)
    }

    /// Losses of a run of points, the first of which has number `at`, from the deviation of the vector at each place; `safe`
    /// where all deviations are known to be such as have a logarithm.
    #[inline(always)]
    fn losses<S: Simd, const W: usize>(
        &self,
        simd: S,
        (at, safe): (usize, bool),
        out: &mut [f64],
        mut deviation: impl FnMut(usize) -> Lanes<S, W>,
    ) {
        let mut ends = Ends::new(simd);
        if safe {
            each_vector::<S, W, false>(out, &mut deviation, &mut ends);
            return;
        }
        each_vector::<S, W, true>(out, &mut deviation, &mut ends);
        if ends.have_logarithms() {
            return;
        }
        for place in (0..out.len()).step_by(Lanes::<S, W>::COUNT) {
            let mut lanes = [0.0; LANES];
            deviation(place).store(&mut lanes);
            for (lane, out) in out[place..].iter_mut().take(Lanes::<S, W>::COUNT).enumerate() {
                if !(LEAST < lanes[lane] && lanes[lane] < MOST_DEVIATION) {
                    *out = self.plain(at + place + lane);
                }
            }
        }
    }
}

/// What is seen of deviations.
struct Ends<S: Simd, const W: usize> {
    least: Lanes<S, W>,
    sum: Lanes<S, W>,
}

impl<S: Simd, const W: usize> Ends<S, W> {
    #[inline(always)]
    fn new(simd: S) -> Self {
        Self { least: Lanes::splat(simd, 0.0), sum: Lanes::splat(simd, 0.0) }
    }

    #[inline(always)]
    fn look(&mut self, d: Lanes<S, W>) {
        self.least = self.least.min(d);
        self.sum = self.sum + d;
    }

    /// Whether every one is a number between [`LEAST`] and [`MOST_DEVIATION`].
    #[inline(always)]
    fn have_logarithms(&self) -> bool {
        let splat = |number| Lanes::splat(self.sum.simd(), number);
        splat(LEAST).below(self.least).and(self.sum.below(splat(MOST_SUM))).all()
    }
}

/// Decibels of the vector of deviations at each place.
#[inline(always)]
fn each_vector<S: Simd, const W: usize, const LOOK: bool>(
    out: &mut [f64],
    deviation: &mut impl FnMut(usize) -> Lanes<S, W>,
    ends: &mut Ends<S, W>,
) {
    let mut place = 0;
    let mut vectors = out.chunks_exact_mut(Lanes::<S, W>::COUNT);
    for out in &mut vectors {
        let d = deviation(place);
        if LOOK {
            ends.look(d);
        }
        d.decibels_beside_one().store(out);
        place += Lanes::<S, W>::COUNT;
    }
    let rest = vectors.into_remainder();
    if !rest.is_empty() {
        let d = deviation(place);
        if LOOK {
            ends.look(d);
        }
        let mut lanes = [0.0; LANES];
        d.decibels_beside_one().store(&mut lanes);
        rest.copy_from_slice(&lanes[..rest.len()]);
    }
}

/// Columns of numbers for a run of points.
#[derive(Clone, Copy)]
struct Tile<'a, S> {
    simd: S,
    columns: &'a [f64],
    stride: usize,
    offset: usize,
}

impl<S: Simd> Tile<'_, S> {
    #[inline(always)]
    fn at<const W: usize>(self, column: usize, place: usize) -> Lanes<S, W> {
        Lanes::load(self.simd, &self.columns[column * self.stride + self.offset + place..])
    }

    #[inline(always)]
    fn pair<const W: usize>(self, column: usize, place: usize) -> Pair<S, W> {
        (self.at(column, place), self.at(column + 1, place))
    }
}

/// `d` of one loop alone from `2 Re k` and `|k|^2`.
#[inline(always)]
fn of_one_loop<S: Simd, const W: usize>(rho: Lanes<S, W>, (twice, square): Pair<S, W>) -> Lanes<S, W> {
    rho * rho.times_plus(square, twice)
}

impl Kernel<f64> for Collapsed<'_> {
    #[inline(always)]
    fn chunk<S: Simd>(&self, simd: S, start: usize, out: &mut [f64]) {
        let room = out.len().min(TILE).next_multiple_of(LANES);
        let mut own = vec![0.0; self.plan.columns * room];
        // idle lanes are worked too: ohms that nothing is wrong with
        let mut rho = vec![1.0; self.plan.groups * room];
        // of a second contact in a loop
        let mut next = Vec::new();
        let (mut z, mut states) = (Vec::new(), Vec::with_capacity(4));
        // the frequency that all of `own` holds
        let mut held = None;
        let mut done = 0;
        while done < out.len() {
            let at = start + done;
            let most = room.min(out.len() - done);
            let (mut count, mut offset, mut from_table) = (most, 0, false);
            match (self.frequency_hz, &self.table) {
                (Values::One(_), Some(table)) => hold(&mut own, room, table, 0, &mut held),
                (Values::Spread(values, 1), Some(_)) if values.len() >= SHORT => {
                    offset = at % values.len();
                    count = most.min(values.len() - offset);
                    from_table = true;
                }
                (Values::Spread(values, each), Some(table)) if each >= SHORT => {
                    count = most.min(each - at % each);
                    hold(&mut own, room, table, at / each % values.len(), &mut held);
                }
                (Values::Spread(values, each), Some(table)) => {
                    let (mut number, mut left) = ((at / each) % values.len(), each - at % each);
                    let mut filled = 0;
                    while filled < count {
                        let run = if each == 1 { values.len() - number } else { left }.min(count - filled);
                        for (own, from) in own.chunks_exact_mut(room).zip(table.columns.chunks_exact(table.stride)) {
                            let own = &mut own[filled..filled + run];
                            if each == 1 {
                                own.copy_from_slice(&from[number..number + run]);
                            } else {
                                own.fill(from[number]);
                            }
                        }
                        filled += run;
                        number = if each == 1 || number + 1 == values.len() { 0 } else { number + 1 };
                        left = each;
                    }
                }
                (frequency_hz, _) => {
                    for block in (0..count).step_by(LANES) {
                        let mut lanes = [0.0; LANES];
                        let valid = LANES.min(count - block);
                        frequency_hz.load(at + block, valid, &mut lanes);
                        let lanes = &lanes[..valid.next_multiple_of(Lanes::<S>::COUNT)];
                        fill(simd, &self.plan, lanes, &mut states, &mut own, (room, block));
                    }
                }
            }
            let (columns, stride) = match &self.table {
                Some(table) if from_table => (&table.columns[..], table.stride),
                _ => (&own[..], room),
            };
            let out = &mut out[done..done + count];
            let coefficients = Tile { simd, columns, stride, offset };
            let alone = self.plan.one_loop();
            if let Some(same) = alone.and_then(|group| self.same_resistance(group, at, count)) {
                let safe = self.table.as_ref().is_some_and(|table| table.has_logarithms(same));
                let same = Lanes::<S, WIDE>::splat(simd, same);
                self.losses(
                    simd,
                    (at, safe),
                    out,
                    #[inline(always)]
                    |place| of_one_loop(same, coefficients.pair(0, place)),
                );
            } else {
                self.resistances(simd, at, count, room, &mut rho, &mut next);
                let resistances = Tile { simd, columns: &rho, stride: room, offset: 0 };
                if alone.is_some() {
                    self.losses::<S, WIDE>(
                        simd,
                        (at, false),
                        out,
                        #[inline(always)]
                        |place| of_one_loop(resistances.at(0, place), coefficients.pair(0, place)),
                    );
                } else {
                    self.losses(
                        simd,
                        (at, false),
                        out,
                        #[inline(always)]
                        |place| self.deviation(place, coefficients, resistances, &mut z),
                    );
                }
            }
            done += count;
        }
    }
}

#[cfg(test)]
mod tests;
