//! Ceilings of many points: what differs from point to point, and what is made ready once for all that share it.

mod shared;

use super::ceiling::{Ceiling, Loop, Status};
use super::ceiling_many::{Beside, Moving, ceiling_many_beside};
use super::level::{on_contact, section_emf_v};
use super::supply::{Route, Sets};
use super::sweep::Values;
use crate::circuit::chain::Network;
use crate::cores;
use crate::watch::{Stopped, Watch};
use shared::Shared;
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::{Arc, Mutex, PoisonError};

/// Points that one thread takes at a time; a loop is made ready once for those that share it.
const CHUNK: usize = 64;

/// So many points of one loop that its cells are worth their making where points could also go side by side.
pub(super) const VERY_MANY: usize = 16_384;

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

/// What a loop is ready for: driven frequency, fixed resistances, moving contacts.
#[derive(PartialEq, Clone)]
struct Key {
    hz: f64,
    fixed_ohm: Vec<f64>,
    moving: Vec<usize>,
}

impl Key {
    /// The same for equal keys.
    fn number(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        // zeros of both signs are equal
        let parts = std::iter::once(self.hz).chain(self.fixed_ohm.iter().copied());
        parts.for_each(|part| (part + 0.0).to_bits().hash(&mut hasher));
        self.moving.hash(&mut hasher);
        hasher.finish()
    }
}

/// A loop made ready, or why there is none.
type Prepared<'n> = Arc<(Key, Result<Loop<'n>, Status>)>;

/// Loops that are kept for points further on; what comes after them is made anew for each run of points.
const KEPT: usize = 256;

/// Loops that several points share, wherever in the arrays these stand: with a loop its cells are kept.
#[derive(Default)]
struct Store<'n>(Mutex<HashMap<u64, Prepared<'n>>>);

impl<'n> Store<'n> {
    fn find(&self, key: &Key, make: impl FnOnce() -> Result<Loop<'n>, Status>) -> Prepared<'n> {
        let number = key.number();
        let known = || self.0.lock().unwrap_or_else(PoisonError::into_inner).get(&number).cloned();
        if let Some(found) = known().filter(|found| found.0 == *key) {
            return found;
        }
        let made: Prepared<'n> = Arc::new((key.clone(), make()));
        let mut all = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if all.len() < KEPT {
            // another thread may have been faster: its loop is the same
            let kept = all.entry(number).or_insert_with(|| Arc::clone(&made));
            if kept.0 == *key {
                return Arc::clone(kept);
            }
        }
        made
    }
}

/// What a run of points has in common.
struct Kept<'n, 's> {
    store: &'s Store<'n>,
    open_at: Option<(f64, Vec<f64>)>,
    prepared: Option<Prepared<'n>>,
}

impl<'n, 's> Kept<'n, 's> {
    fn new(store: &'s Store<'n>) -> Self {
        Self { store, open_at: None, prepared: None }
    }
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
    fn moving(&self, point: usize, kept: &mut Kept<'a, '_>) -> Vec<(usize, (f64, f64))> {
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
    fn one(&self, point: usize, kept: &mut Kept<'a, '_>) -> Ceiling {
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
        let key = Key { hz: f, fixed_ohm: fixed, moving: indices };
        let prepared = match &mut kept.prepared {
            Some(ready) if ready.0 == key => ready,
            other => {
                let make = || Loop::new(network, &key.moving, &key.fixed_ohm, f, self.band_hz);
                other.insert(kept.store.find(&key, make))
            }
        };
        match &prepared.1 {
            Ok(ready) => ready.grown(ready.one_from_cell(sum), sum, self.emf_v.at(point), direct_a),
            // not one loop: T2
            Err(Status::SeveralLoops | Status::SharedReturn) => {
                let direct_current_a = network.contacts.iter().map(|contact| contact.direct_current_a).collect();
                let beside =
                    Beside { emf_v: self.emf_v.at(point), direct_current_a, other_channel: self.other_channel };
                ceiling_many_beside(network, f, &moving, &key.fixed_ohm, self.band_hz, &beside)
            }
            Err(status) => Ceiling::none(*status),
        }
    }
}

/// Points of a part that [`supply`](super::supply) answers together.
struct SideBySide<'a> {
    asked: &'a Asked<'a>,
    route: &'a Route,
    sets: Sets,
    /// the ends of a contact's range
    ends: [[f64; CHUNK]; 2],
}

impl<'a> SideBySide<'a> {
    fn new(asked: &'a Asked<'a>, route: &'a Route) -> Self {
        Self { asked, route, sets: Sets::new(route, CHUNK), ends: [[0.0; CHUNK]; 2] }
    }

    fn solve(&mut self, part: &Part<'_>, kept: &mut Kept<'a, '_>) {
        let Self { asked, route, sets, ends: [low, high] } = self;
        let (start, count) = (part.start, part.len());
        let (low, high) = (&mut low[..count], &mut high[..count]);
        let hz = |to: &mut [f64]| asked.frequency_hz.read(start, to);
        let fixed_ohm = |k: usize, to: &mut [f64]| {
            asked.film_ohm[k].read(start, to);
            to.iter_mut().for_each(|ohm| *ohm += asked.network.contacts[k].constriction_ohm);
        };
        sets.begin(route, count, hz, fixed_ohm);
        if let Some(ranges) = asked.ranges {
            for (k, from, to) in ranges {
                from.read(start, low);
                to.read(start, high);
                sets.range(route, *k, low, high);
            }
        } else {
            let moving: Vec<Vec<Moving>> = (start..start + count).map(|point| asked.moving(point, kept)).collect();
            for k in 0..asked.network.contacts.len() {
                for (place, moving) in moving.iter().enumerate() {
                    (low[place], high[place]) = moving[k].1;
                }
                sets.range(route, k, low, high);
            }
        }
        sets.solve(route);
    }
}

/// Ceilings of many points, a list of each part of [`Ceiling`].
#[derive(Debug, Clone, PartialEq)]
pub struct Ceilings {
    /// see [`Ceiling::harmonics`]
    pub harmonics: Vec<f64>,
    /// see [`Ceiling::chatter`]
    pub chatter: Vec<f64>,
    /// see [`Ceiling::status`]
    pub status: Vec<Status>,
}

impl Ceilings {
    fn room(points: usize) -> Self {
        Self { harmonics: vec![0.0; points], chatter: vec![0.0; points], status: vec![Status::Holds; points] }
    }

    fn parts(&mut self, length: usize) -> impl ExactSizeIterator<Item = Part<'_>> {
        let Self { harmonics, chatter, status } = self;
        let lists = harmonics.chunks_mut(length).zip(chatter.chunks_mut(length)).zip(status.chunks_mut(length));
        let part =
            move |(number, ((harmonics, chatter), status))| Part { start: number * length, harmonics, chatter, status };
        lists.enumerate().map(part)
    }
}

/// Points one after another, the first of which has number `start`.
struct Part<'a> {
    start: usize,
    harmonics: &'a mut [f64],
    chatter: &'a mut [f64],
    status: &'a mut [Status],
}

impl Part<'_> {
    fn len(&self) -> usize {
        self.status.len()
    }

    fn set(&mut self, place: usize, found: Ceiling) {
        (self.harmonics[place], self.chatter[place], self.status[place]) =
            (found.harmonics, found.chatter, found.status);
    }
}

/// The ceilings of `points` points, on all cores where the feature `threads` is on. None depends on what else is asked, but that
/// with so many ranges of one loop that its cells are made they are the cells' own: at most 1e-11 off.
///
/// # Errors
/// [`Stopped`] when the watch says so.
pub fn ceilings(asked: &Asked<'_>, points: usize, watch: &dyn Watch) -> Result<Ceilings, Stopped> {
    let direct_a: Vec<f64> = asked.network.contacts.iter().map(|contact| contact.direct_current_a).collect();
    let route = Route::of(asked.network, &direct_a, asked.band_hz);
    ceilings_on(route.as_ref(), asked, points, watch)
}

/// The same by cells and searched weights alone where there is no route.
pub(super) fn ceilings_on(
    route: Option<&Route>,
    asked: &Asked<'_>,
    points: usize,
    watch: &dyn Watch,
) -> Result<Ceilings, Stopped> {
    let mut found = Ceilings::room(points);
    if points >= if route.is_some() { VERY_MANY } else { 2 } {
        if let Some(shared) = Shared::of(asked) {
            shared.ceilings(asked, &mut found, watch)?;
            return Ok(found);
        }
    }
    let store = Store::default();
    cores::each(
        found.parts(CHUNK),
        watch,
        || (Kept::new(&store), route.map(|route| SideBySide::new(asked, route))),
        |(kept, side_by_side), mut part| {
            if watch.stop() {
                return Err(Stopped);
            }
            if let Some(many) = side_by_side {
                many.solve(&part, kept);
            }
            for place in 0..part.len() {
                if let Some(found) = side_by_side.as_ref().and_then(|many| many.sets.found(place)) {
                    part.set(place, found);
                    continue;
                }
                if watch.stop() {
                    return Err(Stopped);
                }
                part.set(place, asked.one(part.start + place, kept));
            }
            watch.done(part.len());
            Ok(())
        },
    )?;
    Ok(found)
}
