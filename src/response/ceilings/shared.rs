//! Ceilings of very many ranges of one loop: points in the order of their cells, so that each cell is met by vectors of ranges.

use super::{Asked, Ceilings, Kept, Part, Store};
use crate::cores;
use crate::response::ceiling::{Ceiling, Loop, Status};
use crate::response::cells::{Cell, ROOM};
use crate::response::sweep::Values;
use crate::watch::{Stopped, Watch};
use std::sync::{Arc, Mutex, PoisonError};

/// A loop that all points share whose contacts all move: only the ranges differ.
pub(super) struct Shared<'n> {
    ready: Loop<'n>,
    direct_a: f64,
}

/// Points that one thread takes at a time.
const CHUNK: usize = 2048;

/// Ranges that are read at a time.
const TILE: usize = 512;

/// Number of no cell: points that share nothing.
const NONE: usize = Loop::CELLS;

/// Ranges of the contacts of a loop, a column for each end.
type Ranges<'a> = [(usize, Values<'a>, Values<'a>)];

/// Ranges of all contacts together.
struct Sums {
    low: [f64; TILE],
    /// not a number where one of the contacts does not move
    high: [f64; TILE],
    next: [[f64; TILE]; 2],
}

impl Sums {
    fn new() -> Self {
        Self { low: [0.0; TILE], high: [0.0; TILE], next: [[0.0; TILE]; 2] }
    }

    /// `count` points from `start` on.
    fn read(&mut self, ranges: &Ranges<'_>, start: usize, count: usize) {
        let (low, high) = (&mut self.low[..count], &mut self.high[..count]);
        let [bottom, top] = &mut self.next;
        let (bottom, top) = (&mut bottom[..count], &mut top[..count]);
        for (number, (_, from, to)) in ranges.iter().enumerate() {
            if number == 0 {
                from.read(start, low);
                to.read(start, high);
                high.iter_mut().zip(&*low).for_each(|(high, low)| *high = if *high > *low { *high } else { f64::NAN });
                continue;
            }
            from.read(start, bottom);
            to.read(start, top);
            for ((low, high), (&bottom, &top)) in low.iter_mut().zip(&mut *high).zip(bottom.iter().zip(&*top)) {
                *low += bottom;
                *high += if top > bottom { top } else { f64::NAN };
            }
        }
    }
}

/// Which cells are used, a bit each.
#[derive(Clone)]
struct Marks([u64; NONE / 64 + 1]);

impl Marks {
    fn new() -> Self {
        Self([0; NONE / 64 + 1])
    }

    #[inline]
    fn mark(&mut self, cell: usize) {
        self.0[cell / 64] |= 1 << (cell % 64);
    }

    fn join(&mut self, other: &Self) {
        self.0.iter_mut().zip(&other.0).for_each(|(own, other)| *own |= other);
    }

    /// Those of cells that there are.
    fn cells(&self) -> Vec<usize> {
        let words = self.0.iter().enumerate().filter(|(_, word)| **word != 0);
        let bits =
            words.flat_map(|(k, word)| (0..64).filter(move |bit| word >> bit & 1 == 1).map(move |bit| 64 * k + bit));
        bits.filter(|&cell| cell != NONE).collect()
    }
}

/// The cells that the points of a call are in, numbered from zero on.
struct Used {
    /// by [`Loop::cell_number`]
    place: Vec<u16>,
    /// the last is the one of points that share nothing
    cells: Vec<Option<Arc<Cell>>>,
}

/// Points of a part in the order of their cells.
struct Sorted {
    sums: Sums,
    /// the cell of each point
    place: Vec<u16>,
    /// where the next point of each cell goes; at the end where the points of the next cell begin
    next: Vec<u32>,
    order: Vec<u32>,
    ends: [Vec<f64>; 2],
    found: [Vec<f64>; 2],
}

impl Sorted {
    /// Room for any part.
    fn new() -> Self {
        let room = || vec![1.0; CHUNK + ROOM];
        let (ends, found) = ([room(), room()], [room(), room()]);
        Self { sums: Sums::new(), place: Vec::new(), next: Vec::new(), order: vec![0; CHUNK], ends, found }
    }
}

impl<'n> Shared<'n> {
    pub(super) fn of(asked: &Asked<'n>) -> Option<Self> {
        let network = asked.network;
        let (Values::One(f), Some(ranges)) = (asked.frequency_hz, asked.ranges) else { return None };
        let mut fixed = Vec::with_capacity(network.contacts.len());
        for (values, contact) in asked.film_ohm.iter().zip(&network.contacts) {
            let Values::One(ohm) = values else { return None };
            fixed.push(ohm + contact.constriction_ohm);
        }
        let indices: Vec<usize> = ranges.iter().map(|range| range.0).collect();
        for &k in &indices {
            fixed[k] = network.contacts[k].role.perfect_ohm();
        }
        let direct_a = indices.iter().map(|&k| network.contacts[k].direct_current_a).fold(0.0, f64::max);
        let ready = Loop::new(network, &indices, &fixed, f, asked.band_hz).ok()?;
        Some(Self { ready, direct_a })
    }

    /// Number of the cell of a range.
    #[inline]
    fn cell_number(&self, sum: (f64, f64)) -> usize {
        let cell = if sum.1.is_nan() { None } else { self.ready.cell_number(sum) };
        cell.map_or(NONE, |cell| cell.0)
    }

    /// Numbers of the cells of points one after another.
    fn numbers(&self, ranges: &Ranges<'_>, start: usize, numbers: &mut [u16]) -> Marks {
        let mut used = Marks::new();
        let mut sums = Sums::new();
        for (tile, numbers) in numbers.chunks_mut(TILE).enumerate() {
            sums.read(ranges, start + tile * TILE, numbers.len());
            for (number, sum) in numbers.iter_mut().zip(sums.low.iter().zip(&sums.high)) {
                let cell = self.cell_number((*sum.0, *sum.1));
                *number = cell as u16;
                used.mark(cell);
            }
        }
        used
    }

    /// The points of a part into the order of their cells, with their ranges.
    fn sort(&self, ranges: &Ranges<'_>, start: usize, numbers: &[u16], used: &Used, sorted: &mut Sorted) {
        let Sorted { sums, place, next, order, ends: [low, high], .. } = sorted;
        place.clear();
        place.extend(numbers.iter().map(|&number| used.place[usize::from(number)]));
        next.clear();
        next.resize(used.cells.len() + 1, 0);
        for &cell in &*place {
            next[usize::from(cell) + 1] += 1;
        }
        for cell in 1..next.len() {
            next[cell] += next[cell - 1];
        }
        for (tile, places) in place.chunks(TILE).enumerate() {
            let before = tile * TILE;
            sums.read(ranges, start + before, places.len());
            for (k, &cell) in places.iter().enumerate() {
                let to = &mut next[usize::from(cell)];
                let at = *to as usize;
                *to += 1;
                order[at] = (before + k) as u32;
                (low[at], high[at]) = self.ready.own_range((sums.low[k], sums.high[k])).unwrap_or((0.0, 1.0));
            }
        }
    }

    fn answer(
        &self,
        asked: &Asked<'n>,
        (part, numbers): (&mut Part<'_>, &[u16]),
        used: &Used,
        sorted: &mut Sorted,
        watch: &dyn Watch,
    ) -> Result<(), Stopped> {
        let Some(ranges) = asked.ranges else { return Ok(()) };
        self.sort(ranges, part.start, numbers, used, sorted);
        let Sorted { next, order, ends: [low, high], found: [harmonics, chatter], .. } = sorted;
        let mut from = 0;
        let store = Store::default();
        let mut kept = Kept::new(&store);
        for (&to, cell) in next.iter().zip(&used.cells) {
            let to = to as usize;
            if to == from {
                continue;
            }
            if watch.stop() {
                return Err(Stopped);
            }
            if let Some(cell) = cell {
                let found = [&mut harmonics[from..], &mut chatter[from..]];
                self.ready.in_cell(cell, to - from, [&low[from..], &high[from..]], found);
            }
            let found = order[from..to].iter().zip(harmonics[from..to].iter().zip(&chatter[from..to]));
            if cell.is_some()
                && self.direct_a == 0.0
                && !chatter[from..to].iter().fold(false, |any, x| any | x.is_nan())
            {
                let (to_harmonics, to_chatter) = (&mut *part.harmonics, &mut *part.chatter);
                for (&place, (&harmonics, &chatter)) in found {
                    (to_harmonics[place as usize], to_chatter[place as usize]) = (harmonics, chatter);
                }
            } else {
                for (&place, (&harmonics, &chatter)) in found {
                    let known = cell.is_some() && !chatter.is_nan();
                    let known = known.then_some(Ceiling { harmonics, chatter, status: Status::Holds });
                    part.set(place as usize, self.alone(asked, part.start + place as usize, known, &mut kept));
                }
            }
            from = to;
        }
        watch.done(part.len());
        Ok(())
    }

    /// The ceiling of a point that wants more than its cell, `known` what that says.
    fn alone(&self, asked: &Asked<'n>, point: usize, known: Option<Ceiling>, kept: &mut Kept<'n, '_>) -> Ceiling {
        let mut sum = (0.0, 0.0);
        for (_, low, high) in asked.ranges.into_iter().flatten() {
            let (low, high) = (low.at(point), high.at(point));
            if high.is_nan() || high <= low {
                // not all of its contacts move
                return asked.one(point, kept);
            }
            sum = (sum.0 + low, sum.1 + high);
        }
        let ceiling = known.unwrap_or_else(|| self.ready.ceiling(sum));
        self.ready.grown(ceiling, sum, asked.emf_v.at(point), self.direct_a)
    }

    pub(super) fn ceilings(&self, asked: &Asked<'n>, found: &mut Ceilings, watch: &dyn Watch) -> Result<(), Stopped> {
        let Some(ranges) = asked.ranges else { return Ok(()) };
        let mut numbers = vec![0; found.status.len()];
        let marks = Mutex::new(Marks::new());
        cores::each(
            numbers.chunks_mut(CHUNK).enumerate(),
            watch,
            || (),
            |(), (part, numbers)| {
                let own = self.numbers(ranges, part * CHUNK, numbers);
                marks.lock().unwrap_or_else(PoisonError::into_inner).join(&own);
                Ok(())
            },
        )?;
        let all = marks.into_inner().unwrap_or_else(PoisonError::into_inner).cells();
        let mut used = Used { place: vec![0; NONE + 1], cells: Vec::new() };
        for (place, &number) in all.iter().chain(&[NONE]).enumerate() {
            used.place[number] = place as u16;
        }
        // each by one thread
        let cell =
            |(): &mut (), place: usize| if watch.stop() { Err(Stopped) } else { Ok(self.ready.cell(all[place])) };
        used.cells = cores::answers(all.len(), watch, || (), cell)?;
        used.cells.push(None);
        cores::each(found.parts(CHUNK).zip(numbers.chunks(CHUNK)), watch, Sorted::new, |sorted, (mut part, numbers)| {
            self.answer(asked, (&mut part, numbers), &used, sorted, watch)
        })
    }
}
