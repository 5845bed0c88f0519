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
//! Each point goes the same operations whatever the shape of the arrays, so none of its bits depends on its neighbours; but for many
//! rows of the same frequencies at one resistance each, which go by polynomials (`rows`), within 2e-15 of the same.

mod rows;
mod table;

use super::linear;
use super::sweep::{CHUNK, Kernel, LANES, Values};
use super::walk::{Pair, plus_times};
use crate::circuit::chain::Network;
use crate::physics::lanes::Lanes;
use pulp::Simd;
use rows::Rows;
use table::{Group, Make, Plan, States, Table, fill, hold};

/// Most points between two looks at the columns.
const TILE: usize = 512;

/// Runs of points of one frequency, or of neighbouring frequencies, shorter than this are copied together.
const SHORT: usize = 64;

/// Most frequencies that are worked out beforehand.
const MOST: usize = 32 * 1024;

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
    rows: Option<Rows>,
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
        let mut all = Self { network, plan, frequency_hz, contacts, table, rows: None };
        all.rows = all.rows(points);
        all
    }

    /// Polynomials for rows of the same frequencies, each at one resistance of one loop.
    fn rows(&self, points: usize) -> Option<Rows> {
        let Values::Spread(frequencies, 1) = self.frequency_hz else { return None };
        let (table, group, length) = (self.table.as_ref()?, self.plan.one_loop()?, frequencies.len());
        Rows::new(table, length, rows::resistances(group, self.contacts, length, points)?)
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

    /// First half of the losses of `count` points, the first of which has number `at`, to the tile from `filled` on; `safe` where
    /// all deviations are known to be such as have a logarithm.
    #[inline(always)]
    fn reduce<S: Simd>(
        &self,
        simd: S,
        (at, filled, count): (usize, usize, usize),
        safe: bool,
        mut deviations: impl Deviations<S>,
        halves: &mut Halves,
    ) {
        let step = Lanes::<S>::COUNT;
        let (s, power) = (&mut halves.s[filled..], &mut halves.power[filled..]);
        if safe {
            for place in (0..count).step_by(step) {
                write_reduced(deviations.at(place), &mut s[place..], &mut power[place..]);
            }
            return;
        }
        let mut ends = Ends::new(simd);
        for place in (0..count).step_by(step) {
            let d = deviations.at(place);
            ends.look(d);
            write_reduced(d, &mut s[place..], &mut power[place..]);
        }
        if ends.have_logarithms() {
            return;
        }
        for place in (0..count).step_by(step) {
            let mut lanes = [0.0; LANES];
            deviations.at(place).store(&mut lanes);
            let without = |lane: &usize| !(LEAST < lanes[*lane] && lanes[*lane] < MOST_DEVIATION);
            halves.without.extend((0..step.min(count - place)).filter(without).map(|lane| at + place + lane));
        }
    }

    /// Second half, for a whole tile, the first point of which has number `at`.
    #[inline(always)]
    fn finish<S: Simd>(&self, simd: S, at: usize, halves: &mut Halves, out: &mut [f64]) {
        let step = Lanes::<S>::COUNT;
        let mut from = 0;
        let mut vectors = out.chunks_exact_mut(step);
        for out in &mut vectors {
            decibels(simd, halves, from).store(out);
            from += step;
        }
        let rest = vectors.into_remainder();
        if !rest.is_empty() {
            let mut lanes = [0.0; LANES];
            decibels(simd, halves, from).store(&mut lanes);
            rest.copy_from_slice(&lanes[..rest.len()]);
        }
        for point in halves.without.drain(..) {
            out[point - at] = self.plain(point);
        }
    }
}

/// Losses between the two halves of their logarithms.
struct Halves {
    s: Vec<f64>,
    power: Vec<f64>,
    /// points of the tile whose deviations have no logarithm here
    without: Vec<usize>,
}

/// Writes the first half of a vector of logarithms.
#[inline(always)]
fn write_reduced<S: Simd>(d: Lanes<S>, to_s: &mut [f64], to_power: &mut [f64]) {
    let (s, power) = d.reduced_beside_one();
    s.store(to_s);
    power.store(to_power);
}

/// The second half of the vector of logarithms from `from` on.
#[inline(always)]
fn decibels<S: Simd>(simd: S, halves: &Halves, from: usize) -> Lanes<S> {
    Lanes::decibels_of_reduced(Lanes::load(simd, &halves.s[from..]), Lanes::load(simd, &halves.power[from..]))
}

/// Deviations of a run of points. A trait and no closures, which the compiler may leave out of line, without the processor's own instructions.
trait Deviations<S: Simd> {
    /// Of the vector of points at `place`.
    fn at(&mut self, place: usize) -> Lanes<S>;
}

/// Of one loop alone at one resistance.
struct AtOneResistance<'a, S: Simd> {
    rho: Lanes<S>,
    coefficients: Tile<'a, S>,
}

impl<S: Simd> Deviations<S> for AtOneResistance<'_, S> {
    #[inline(always)]
    fn at(&mut self, place: usize) -> Lanes<S> {
        of_one_loop(self.rho, self.coefficients.pair(0, place))
    }
}

/// Of one loop alone.
struct OfOneLoop<'a, S: Simd> {
    resistances: Tile<'a, S>,
    coefficients: Tile<'a, S>,
}

impl<S: Simd> Deviations<S> for OfOneLoop<'_, S> {
    #[inline(always)]
    fn at(&mut self, place: usize) -> Lanes<S> {
        of_one_loop(self.resistances.at(0, place), self.coefficients.pair(0, place))
    }
}

/// Of whatever loops there are.
struct OfAll<'a, S: Simd> {
    of: &'a Collapsed<'a>,
    resistances: Tile<'a, S>,
    coefficients: Tile<'a, S>,
    z: &'a mut Vec<Pair<S>>,
}

impl<S: Simd> Deviations<S> for OfAll<'_, S> {
    #[inline(always)]
    fn at(&mut self, place: usize) -> Lanes<S> {
        self.of.deviation(place, self.coefficients, self.resistances, self.z)
    }
}

/// What is seen of deviations.
struct Ends<S: Simd> {
    least: Lanes<S>,
    sum: Lanes<S>,
}

impl<S: Simd> Ends<S> {
    #[inline(always)]
    fn new(simd: S) -> Self {
        Self { least: Lanes::splat(simd, 0.0), sum: Lanes::splat(simd, 0.0) }
    }

    #[inline(always)]
    fn look(&mut self, d: Lanes<S>) {
        self.least = self.least.min(d);
        self.sum = self.sum + d;
    }

    /// Whether every one is a number between [`LEAST`] and [`MOST_DEVIATION`].
    #[inline(always)]
    fn have_logarithms(&self) -> bool {
        let simd = self.sum.simd();
        let (least, most) = (Lanes::splat(simd, LEAST), Lanes::splat(simd, MOST_SUM));
        least.below(self.least).and(self.sum.below(most)).all()
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
    fn at(self, column: usize, place: usize) -> Lanes<S> {
        Lanes::load(self.simd, &self.columns[column * self.stride + self.offset + place..])
    }

    #[inline(always)]
    fn pair(self, column: usize, place: usize) -> Pair<S> {
        (self.at(column, place), self.at(column + 1, place))
    }
}

/// `d` of one loop alone from `2 Re k` and `|k|^2`.
#[inline(always)]
fn of_one_loop<S: Simd>(rho: Lanes<S>, (twice, square): Pair<S>) -> Lanes<S> {
    rho * rho.times_plus(square, twice)
}

impl Kernel<f64> for Collapsed<'_> {
    fn points(&self) -> usize {
        // whole rows, so many that most pieces have two or more of them
        self.rows.as_ref().map_or(CHUNK, |rows| (2 * CHUNK / rows.length).max(1) * rows.length)
    }

    #[inline(always)]
    fn chunk<S: Simd>(&self, simd: S, start: usize, out: &mut [f64]) {
        let Some(rows) = &self.rows else { return self.by_logarithms(simd, start, out) };
        let length = rows.length;
        let mut without = Vec::new();
        rows.write(simd, start / length, out, &mut without);
        // runs of rows, from the last on
        for rows in without.chunk_by(|after, before| *after == before + 1) {
            let from = rows[rows.len() - 1] * length;
            self.by_logarithms(simd, start + from, &mut out[from..from + rows.len() * length]);
        }
    }
}

impl Collapsed<'_> {
    /// Each point by its logarithm.
    #[inline(always)]
    fn by_logarithms<S: Simd>(&self, simd: S, start: usize, out: &mut [f64]) {
        let room = out.len().min(TILE).next_multiple_of(LANES);
        let mut own = vec![0.0; self.plan.columns * room];
        // idle lanes are worked too: ohms that nothing is wrong with
        let mut rho = vec![1.0; self.plan.groups * room];
        // of a second contact in a loop
        let mut next = Vec::new();
        let (mut z, mut states) = (Vec::new(), Vec::with_capacity(4));
        // whole vectors are written wherever a run ends
        let mut halves = Halves { s: vec![0.0; room + LANES], power: vec![0.0; room + LANES], without: Vec::new() };
        // the frequency that all of `own` holds
        let mut held = None;
        let mut done = 0;
        while done < out.len() {
            let tile = room.min(out.len() - done);
            let mut filled = 0;
            while filled < tile {
                let at = start + done + filled;
                let Run { count, offset, from_table } =
                    self.coefficients(simd, at, tile - filled, (&mut own, room), &mut held, &mut states);
                let (columns, stride) = match &self.table {
                    Some(table) if from_table => (&table.columns[..], table.stride),
                    _ => (&own[..], room),
                };
                let coefficients = Tile { simd, columns, stride, offset };
                let run = (at, filled, count);
                let alone = self.plan.one_loop();
                if let Some(same) = alone.and_then(|group| self.same_resistance(group, at, count)) {
                    let safe = self.table.as_ref().is_some_and(|table| table.has_logarithms(same));
                    let rho = Lanes::splat(simd, same);
                    self.reduce(simd, run, safe, AtOneResistance { rho, coefficients }, &mut halves);
                } else {
                    self.resistances(simd, at, count, room, &mut rho, &mut next);
                    let resistances = Tile { simd, columns: &rho, stride: room, offset: 0 };
                    if alone.is_some() {
                        self.reduce(simd, run, false, OfOneLoop { resistances, coefficients }, &mut halves);
                    } else {
                        let all = OfAll { of: self, resistances, coefficients, z: &mut z };
                        self.reduce(simd, run, false, all, &mut halves);
                    }
                }
                filled += count;
            }
            self.finish(simd, start + done, &mut halves, &mut out[done..done + tile]);
            done += tile;
        }
    }
}

/// Points whose coefficients lie side by side.
struct Run {
    count: usize,
    /// where the first stands
    offset: usize,
    /// in the table of all frequencies, or in columns of their own
    from_table: bool,
}

impl Collapsed<'_> {
    /// Coefficients of up to `most` points from `at` on.
    #[inline(always)]
    fn coefficients<S: Simd>(
        &self,
        simd: S,
        at: usize,
        most: usize,
        (own, room): (&mut [f64], usize),
        held: &mut Option<usize>,
        states: &mut States<S>,
    ) -> Run {
        let mut run = Run { count: most, offset: 0, from_table: false };
        match (self.frequency_hz, &self.table) {
            (Values::One(_), Some(table)) => hold(own, room, table, 0, held),
            (Values::Spread(values, 1), Some(_)) if values.len() >= SHORT => {
                run.offset = at % values.len();
                run.count = most.min(values.len() - run.offset);
                run.from_table = true;
            }
            (Values::Spread(values, each), Some(table)) if each >= SHORT => {
                run.count = most.min(each - at % each);
                hold(own, room, table, at / each % values.len(), held);
            }
            (Values::Spread(values, each), Some(table)) => {
                let (mut number, mut left) = ((at / each) % values.len(), each - at % each);
                let mut filled = 0;
                while filled < most {
                    let count = if each == 1 { values.len() - number } else { left }.min(most - filled);
                    for (own, from) in own.chunks_exact_mut(room).zip(table.columns.chunks_exact(table.stride)) {
                        let own = &mut own[filled..filled + count];
                        if each == 1 {
                            own.copy_from_slice(&from[number..number + count]);
                        } else {
                            own.fill(from[number]);
                        }
                    }
                    filled += count;
                    number = if each == 1 || number + 1 == values.len() { 0 } else { number + 1 };
                    left = each;
                }
            }
            (frequency_hz, _) => {
                for block in (0..most).step_by(LANES) {
                    let mut lanes = [0.0; LANES];
                    let valid = LANES.min(most - block);
                    frequency_hz.load(at + block, valid, &mut lanes);
                    let lanes = &lanes[..valid.next_multiple_of(Lanes::<S>::COUNT)];
                    fill(simd, &self.plan, lanes, states, own, (room, block));
                }
            }
        }
        run
    }
}

#[cfg(test)]
mod tests;
