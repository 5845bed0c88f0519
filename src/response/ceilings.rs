//! Ceilings of many points: what differs from point to point, and what is made ready once for all that share it.

use super::ceiling::{Ceiling, Loop, Status};
use super::ceiling_many::{Beside, ceiling_many_beside};
use super::level::{on_contact, section_emf_v};
use super::sweep::Values;
use crate::circuit::chain::Network;
use crate::watch::{Stopped, Watch};

/// Points that one thread takes at a time; a loop is made ready once for those that share it.
const CHUNK: usize = 64;

/// What is asked, a column each.
#[derive(Debug)]
pub struct Asked<'a> {
    /// the section or chain
    pub network: &'a Network,
    /// driven frequency, Hz
    pub frequency_hz: Values<'a>,
    /// the chain's EMF, V rms
    pub emf_v: Values<'a>,
    /// resistance of every contact's film, ohm; its constriction comes on top
    pub film_ohm: &'a [Values<'a>],
    /// contacts that move, each with the ends of its range, ohm; without any every contact keeps to the chords of its film
    pub ranges: Option<&'a [(usize, Values<'a>, Values<'a>)]>,
    /// band at the output, Hz
    pub band_hz: (f64, f64),
    /// the other channel's EMF over this one's, see [`Beside`]
    pub other_channel: Option<f64>,
}

/// A loop made ready, with the frequency, fixed resistances and moving contacts that it is ready for.
type Prepared<'n> = (f64, Vec<f64>, Vec<usize>, Result<Loop<'n>, Status>);

/// What a run of points has in common.
#[derive(Default)]
struct Kept<'n> {
    open_at: Option<(f64, Vec<f64>)>,
    prepared: Option<Prepared<'n>>,
}

impl<'a> Asked<'a> {
    /// Peak voltage of every contact when open, per volt of the chain's EMF.
    fn open_per_emf(&self, f: f64) -> Vec<f64> {
        let network = self.network;
        let section_emf = section_emf_v(network, f);
        let scale = |k: usize| section_emf[network.section_of(k)] / network.emf_v;
        let one = |k: usize| std::f64::consts::SQRT_2 * scale(k) * on_contact(network, k, 1.0, f).open_v;
        (0..network.contacts.len()).map(|k| if network.emf_v > 0.0 { one(k) } else { 0.0 }).collect()
    }

    /// The contacts that are named or that have a film, with their ranges at a point.
    fn moving(&self, point: usize, kept: &mut Kept<'a>) -> Vec<(usize, (f64, f64))> {
        if let Some(ranges) = self.ranges {
            return ranges.iter().map(|&(k, low, high)| (k, (low.at(point), high.at(point)))).collect();
        }
        let f = self.frequency_hz.at(point);
        let emf = self.emf_v.at(point);
        let open = match &mut kept.open_at {
            Some((at, open)) if *at == f => open,
            other => &mut other.insert((f, self.open_per_emf(f))).1,
        };
        let chords = |k: usize| {
            let mut contact = self.network.contacts[k].clone();
            contact.film = contact.film.with_resistance(self.film_ohm[k].at(point));
            contact.chords_ohm(open[k] * emf)
        };
        (0..self.network.contacts.len()).map(|k| (k, chords(k))).collect()
    }

    /// The ceiling of one point.
    fn one(&self, point: usize, kept: &mut Kept<'a>) -> Ceiling {
        let (network, f) = (self.network, self.frequency_hz.at(point));
        let moving = self.moving(point, kept);
        let contacts = self.film_ohm.iter().zip(&network.contacts);
        let mut fixed: Vec<f64> = contacts.map(|(v, c)| v.at(point) + c.constriction_ohm).collect();
        let mut sum = (0.0, 0.0);
        let mut indices = Vec::new();
        for &(k, (low, high)) in &moving {
            if high > low {
                indices.push(k);
                sum = (sum.0 + low, sum.1 + high);
                fixed[k] = network.contacts[k].role.perfect_ohm();
            } else {
                fixed[k] = low;
            }
        }
        if indices.is_empty() {
            return Ceiling::NOTHING_MOVES;
        }
        let direct_a = indices.iter().map(|&k| network.contacts[k].direct_current_a).fold(0.0, f64::max);
        let prepared = match &mut kept.prepared {
            Some(ready) if ready.0 == f && ready.1 == fixed && ready.2 == indices => ready,
            other => {
                let ready = Loop::new(network, &indices, &fixed, f, self.band_hz);
                other.insert((f, fixed, indices, ready))
            }
        };
        match &prepared.3 {
            Ok(ready) => {
                let cell = ready.cell_number(sum).and_then(|number| ready.cell(number));
                let mut found = Ceiling::NOTHING_MOVES;
                ready.from_cell(cell.as_deref(), std::iter::once(sum), |_, ceiling| found = ceiling);
                ready.grown(found, sum, self.emf_v.at(point), direct_a)
            }
            // not one loop: T2
            Err(Status::SeveralLoops | Status::SharedReturn) => {
                let direct_current_a = network.contacts.iter().map(|contact| contact.direct_current_a).collect();
                let beside =
                    Beside { emf_v: self.emf_v.at(point), direct_current_a, other_channel: self.other_channel };
                ceiling_many_beside(network, f, &moving, &prepared.1, self.band_hz, &beside)
            }
            Err(status) => Ceiling::none(*status),
        }
    }
}

/// Applies work to every item of a list, on all cores where the feature `threads` is on and there is more than one item.
fn each<T: Send, U: Send>(
    items: Vec<T>,
    work: impl Fn(T) -> Result<U, Stopped> + Sync + Send,
) -> Result<Vec<U>, Stopped> {
    #[cfg(feature = "threads")]
    if items.len() > 1 {
        use rayon::prelude::*;
        if let Some(pool) = crate::threads::pool() {
            return pool.install(|| items.into_par_iter().map(work).collect());
        }
    }
    items.into_iter().map(work).collect()
}

/// The ceilings of `points` points, on all cores where the feature `threads` is on. None depends on what else is asked.
///
/// # Errors
/// [`Stopped`] when the watch says so.
pub fn ceilings(asked: &Asked<'_>, points: usize, watch: &dyn Watch) -> Result<Vec<Ceiling>, Stopped> {
    if points > 1 {
        if let Some(shared) = Shared::of(asked) {
            return shared.ceilings(asked, points, watch);
        }
    }
    let chunk = |start: usize| -> Result<Vec<Ceiling>, Stopped> {
        let mut kept = Kept::default();
        let end = points.min(start + CHUNK);
        let one = |point| if watch.stop() { Err(Stopped) } else { Ok(asked.one(point, &mut kept)) };
        let out = (start..end).map(one).collect();
        watch.done(end - start);
        out
    };
    Ok(each((0..points).step_by(CHUNK).collect(), chunk)?.concat())
}

/// A loop that all points share whose contacts all move: only the ranges differ.
struct Shared<'n> {
    ready: Loop<'n>,
    direct_a: f64,
}

/// Points of a chunk in the order of their cells.
struct Sorted {
    start: usize,
    order: Vec<u32>,
    /// cell, where its points begin and end in `order`; points without a cell come last
    groups: Vec<(Option<usize>, usize, usize)>,
}

/// Points of a shared loop that one thread takes at a time.
const SHARED_CHUNK: usize = 8192;

impl<'n> Shared<'n> {
    fn of(asked: &Asked<'n>) -> Option<Self> {
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

    /// The range of all contacts together, if each of them moves.
    fn sum(asked: &Asked<'_>, point: usize) -> Option<(f64, f64)> {
        let mut sum = (0.0, 0.0);
        for (_, low, high) in asked.ranges? {
            let (low, high) = (low.at(point), high.at(point));
            if high.is_nan() || high <= low {
                return None;
            }
            sum = (sum.0 + low, sum.1 + high);
        }
        Some(sum)
    }

    fn sorted(&self, asked: &Asked<'_>, start: usize, end: usize) -> Sorted {
        let none = Loop::CELLS;
        let cell = |point| Self::sum(asked, point).and_then(|sum| self.ready.cell_number(sum)).unwrap_or(none);
        let numbers: Vec<usize> = (start..end).map(cell).collect();
        let mut begins = vec![0u32; none + 2];
        numbers.iter().for_each(|&number| begins[number + 1] += 1);
        let mut groups = Vec::new();
        let mut before = 0;
        for number in 0..=none {
            let count = begins[number + 1] as usize;
            if count > 0 {
                groups.push(((number < none).then_some(number), before, before + count));
            }
            begins[number] = before as u32;
            before += count;
        }
        let mut order = vec![0u32; numbers.len()];
        for (at, &number) in numbers.iter().enumerate() {
            order[begins[number] as usize] = at as u32;
            begins[number] += 1;
        }
        Sorted { start, order, groups }
    }

    fn answer(&self, asked: &Asked<'n>, sorted: &Sorted, out: &mut [Ceiling], watch: &dyn Watch) -> Result<(), Stopped> {
        let mut kept = Kept::default();
        for &(number, from, to) in &sorted.groups {
            if watch.stop() {
                return Err(Stopped);
            }
            let places = &sorted.order[from..to];
            let Some(number) = number else {
                for &place in places {
                    out[place as usize] = asked.one(sorted.start + place as usize, &mut kept);
                }
                continue;
            };
            let cell = self.ready.cell(number);
            let range = |place: &u32| Self::sum(asked, sorted.start + *place as usize).unwrap_or((0.0, 0.0));
            self.ready.from_cell(cell.as_deref(), places.iter().map(range), |k, found| {
                let place = places[k] as usize;
                out[place] = if self.direct_a == 0.0 {
                    found
                } else {
                    self.ready.grown(found, range(&places[k]), asked.emf_v.at(sorted.start + place), self.direct_a)
                };
            });
        }
        watch.done(sorted.order.len());
        Ok(())
    }

    fn ceilings(&self, asked: &Asked<'n>, points: usize, watch: &dyn Watch) -> Result<Vec<Ceiling>, Stopped> {
        let starts: Vec<usize> = (0..points).step_by(SHARED_CHUNK).collect();
        let sorted = each(starts, |start| Ok(self.sorted(asked, start, points.min(start + SHARED_CHUNK))))?;
        // cells first, each by one thread
        let numbers = sorted.iter().flat_map(|part| part.groups.iter().filter_map(|group| group.0));
        let numbers: std::collections::BTreeSet<usize> = numbers.collect();
        let make = |number| if watch.stop() { Err(Stopped) } else { Ok(drop(self.ready.cell(number))) };
        each(numbers.into_iter().collect(), make)?;
        let mut out = vec![Ceiling::NOTHING_MOVES; points];
        let parts: Vec<_> = sorted.iter().zip(out.chunks_mut(SHARED_CHUNK)).collect();
        each(parts, |(sorted, out)| self.answer(asked, sorted, out, watch))?;
        Ok(out)
    }
}
