//! Distortion of one tone at many points at once: what [`distortion`] answers for one, as columns.
//!
//! A film in series in a section without reactances, the only film there and the only resistance that changes, goes
//! [abreast](super::steady::abreast) of others, many in one vector; every other point, and every film that does not reach its
//! tolerance there, goes the road of single ones. Points are worked in chunks of a fixed size, and no film looks at its
//! neighbours, so that neither the number of threads nor the rest of the array changes an answer.

use super::distortion::{Distortion, Outcome, distortion};
use super::steady::abreast::{
    Abreast, Foresee, ForeseeGraded, GRADED, Gauss, INSTANTS, MOST_LANES, Shape, Solve, SolveGraded, Table,
};
use super::steady::films::{Seen, channel_ohm, placed};
use super::steady::solve::{CONVERGED, ENOUGH, Solver};
use super::sweep::Values;
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::cores;
use crate::physics::Film;
use crate::physics::constants::THERMAL_VOLTAGE_V;
use crate::physics::film::heating_voltage_v;
use crate::watch::{Stopped, Watch};
use bytemuck::allocation::zeroed_vec;
use num_complex::Complex64;
use std::f64::consts::{FRAC_1_SQRT_2, SQRT_2};
use std::sync::OnceLock;

/// Points of a chunk where films go abreast.
const ABREAST_CHUNK: usize = 1024;

/// Points of a chunk where each goes alone.
const ALONE_CHUNK: usize = 4;

/// Made when they are first needed.
static TABLES: [OnceLock<Table>; INSTANTS.len()] = [const { OnceLock::new() }; INSTANTS.len()];
static RULES: [OnceLock<Gauss>; GRADED.len()] = [const { OnceLock::new() }; GRADED.len()];

/// Even instants from which a film goes on graded ones, if there is a rule for it: about where both take the same time.
const GRADED_FROM: f64 = 40.0;

/// Groups on even instants, ordinary and weak crests apart; those on graded ones follow.
const EVEN_GROUPS: usize = 2 * INSTANTS.len();

/// What is asked at each point.
#[derive(Clone, Copy)]
pub struct Asked<'a> {
    /// frequency of the tone, Hz
    pub frequency_hz: Values<'a>,
    /// EMF of the first source, V rms
    pub emf_v: Values<'a>,
    /// zero-voltage resistance of each contact by number through the chain, ohm
    pub film_ohm: &'a [Values<'a>],
    /// harmonics wanted, from the second on
    pub harmonics: usize,
}

/// [`Distortion`] at every point, column by column.
#[derive(Debug, Clone, Default)]
pub struct Distortions {
    /// all harmonics over the fundamental
    pub thd_f: Vec<f64>,
    /// the same over the total
    pub thd_r: Vec<f64>,
    /// harmonics from the second on, over the fundamental, point by point
    pub harmonics: Vec<Complex64>,
    /// change of the fundamental, dB
    pub fundamental_db: Vec<f64>,
    /// bound of the error of `thd_f`
    pub error_bound: Vec<f64>,
    /// rounds of the solver
    pub rounds: Vec<i64>,
    /// [`Outcome`] by number
    pub outcome: Vec<u8>,
    /// smallest and largest chord of each contact, ohm
    pub chord_ohm: Vec<(Vec<f64>, Vec<f64>)>,
}

/// A chunk of the columns.
struct Part<'a> {
    thd_f: &'a mut [f64],
    thd_r: &'a mut [f64],
    harmonics: &'a mut [Complex64],
    fundamental_db: &'a mut [f64],
    error_bound: &'a mut [f64],
    rounds: &'a mut [i64],
    outcome: &'a mut [u8],
    chord_ohm: Vec<(&'a mut [f64], &'a mut [f64])>,
}

impl Distortions {
    /// Room for `size` points, all zero; memory that nobody has touched, so that it costs nothing before it is written.
    fn with_room(size: usize, contacts: usize, harmonics: usize) -> Self {
        let column = || vec![0.0; size];
        Self {
            thd_f: column(),
            thd_r: column(),
            harmonics: zeroed_vec(size * harmonics),
            fundamental_db: column(),
            error_bound: column(),
            rounds: vec![0; size],
            outcome: vec![0; size],
            chord_ohm: (0..contacts).map(|_| (column(), column())).collect(),
        }
    }

    /// Answers for single points, as columns.
    #[must_use]
    pub fn of(points: &[Distortion], contacts: usize, harmonics: usize) -> Self {
        let mut all = Self::with_room(points.len(), contacts, harmonics);
        for mut part in all.parts(points.len().max(1), harmonics) {
            for (k, one) in points.iter().enumerate() {
                part.set(k, one);
            }
        }
        all
    }

    /// Chunks of some points of the columns.
    fn parts(&mut self, chunk: usize, harmonics: usize) -> impl ExactSizeIterator<Item = Part<'_>> + Send {
        let chords = self.chord_ohm.iter_mut();
        let mut chords: Vec<_> = chords.map(|(low, high)| low.chunks_mut(chunk).zip(high.chunks_mut(chunk))).collect();
        let columns = self.thd_f.chunks_mut(chunk).zip(self.thd_r.chunks_mut(chunk));
        let columns = columns.zip(self.harmonics.chunks_mut(chunk * harmonics.max(1)));
        let columns = columns.zip(self.fundamental_db.chunks_mut(chunk)).zip(self.error_bound.chunks_mut(chunk));
        let columns = columns.zip(self.rounds.chunks_mut(chunk)).zip(self.outcome.chunks_mut(chunk));
        columns.map(move |((((((thd_f, thd_r), harmonics), fundamental_db), error_bound), rounds), outcome)| Part {
            thd_f,
            thd_r,
            harmonics,
            fundamental_db,
            error_bound,
            rounds,
            outcome,
            chord_ohm: chords.iter_mut().filter_map(Iterator::next).collect(),
        })
    }
}

impl Part<'_> {
    fn set(&mut self, at: usize, one: &Distortion) {
        let count = self.harmonics.len() / self.thd_f.len();
        self.thd_f[at] = one.thd_f;
        self.thd_r[at] = one.thd_f / one.thd_f.hypot(1.0);
        self.harmonics[at * count..][..count].copy_from_slice(&one.harmonics[..count]);
        self.fundamental_db[at] = one.fundamental_db;
        self.error_bound[at] = one.error_bound;
        self.rounds[at] = one.rounds as i64;
        self.outcome[at] = one.outcome as u8;
        for ((low, high), chord) in self.chord_ohm.iter_mut().zip(&one.chord_ohm) {
            (low[at], high[at]) = *chord;
        }
    }
}

/// The loop of a film that may go abreast: nothing in it but the film's own resistance and the EMF changes from point to point.
struct OneFilm {
    contact: usize,
    /// what the film sees, ohm; half of it for each channel in a shared return, where the film counts twice
    rest_ohm: f64,
    /// peak of the open voltage over the law's voltage, per EMF
    drive_per_v: f64,
    shape: Shape,
    /// share of the zero-voltage conductance that is a plain leak
    leak: f64,
}

impl OneFilm {
    fn of(network: &Network, film_ohm: &[Values<'_>]) -> Option<Self> {
        let [link] = &network.links[..] else { return None };
        if !link.stages.is_empty() || !link.ladder.is_resistive() {
            return None;
        }
        let is_moving = |k: &usize| !matches!(film_ohm[*k], Values::One(_));
        let mut moving = (0..film_ohm.len()).filter(is_moving);
        let first = moving.next();
        if moving.next().is_some() {
            return None;
        }
        // with the moving one at some resistance it has a law, or none has
        let mut ohm: Vec<f64> = film_ohm.iter().map(|v| if let Values::One(ohm) = v { *ohm } else { 1.0 }).collect();
        let all: Vec<_> = placed(network, &link.ladder, &ohm).collect();
        let [film] = all[..] else { return None };
        // one resistance for all, so that a film alone is answered as in an array
        ohm[film.contact] = 1.0;
        let all: Vec<_> = placed(network, &link.ladder, &ohm).collect();
        let [film] = all[..] else { return None };
        let contact = &network.contacts[film.contact];
        let (shape, unit_v, leak) = match film.film {
            Film::Ohmic { .. } => return None,
            Film::Tunnelling { scale_v, .. } => (Shape::Sinh, scale_v, 0.0),
            Film::Rectifying { ideality, leak_ratio, .. } => (Shape::Expm1, ideality * THERMAL_VOLTAGE_V, leak_ratio),
            Film::Bridged { .. } => (Shape::Atan, heating_voltage_v(), 0.0),
        };
        if first.is_some_and(|k| k != film.contact) || contact.role == Role::Shunt || contact.direct_current_a != 0.0 {
            return None;
        }
        let mut seen = Seen::default();
        // no reactance, no frequency
        seen.fill(&link.ladder, &all, &channel_ohm(network, &all, &ohm), &[1.0]);
        let (rest, drive, reach) = (seen.rest[0].re, seen.drive[0].re, seen.reach[0].re);
        let times = if contact.role == Role::SharedReturn { 2.0 } else { 1.0 };
        let drive_per_v = SQRT_2 * drive * (rest + film.reference_ohm) / unit_v;
        let sound = leak < 1.0
            && rest > 0.0
            && drive_per_v > 0.0
            && reach != 0.0
            && drive_per_v.is_finite()
            && reach.is_finite();
        sound.then_some(Self { contact: film.contact, rest_ohm: rest / times, drive_per_v, shape, leak })
    }
}

/// Buffers of one thread.
struct Room<'w> {
    solver: Solver<'w>,
    films: Abreast,
    front: Vec<f64>,
    drive: Vec<f64>,
    wanted: Vec<f64>,
    /// points by table, then by rule
    groups: Vec<Vec<usize>>,
    /// stiff points, and the same of them
    stiff: Vec<usize>,
    stiff_front: Vec<f64>,
    stiff_drive: Vec<f64>,
    alone: Vec<usize>,
}

impl<'w> Room<'w> {
    fn new(watch: &'w dyn Watch) -> Self {
        Self {
            solver: Solver::watched(watch),
            films: Abreast::default(),
            front: Vec::new(),
            drive: Vec::new(),
            wanted: Vec::new(),
            groups: vec![Vec::new(); EVEN_GROUPS + GRADED.len()],
            stiff: Vec::new(),
            stiff_front: Vec::new(),
            stiff_drive: Vec::new(),
            alone: Vec::new(),
        }
    }
}

/// One chunk of points.
struct Chunk<'a, 'p> {
    network: &'a Network,
    asked: Asked<'a>,
    start: usize,
    part: Part<'p>,
}

impl Chunk<'_, '_> {
    fn run(&mut self, film: Option<&OneFilm>, room: &mut Room, watch: &dyn Watch) -> Result<(), Stopped> {
        room.alone.clear();
        match film {
            Some(film) => self.abreast(film, room),
            None => room.alone.extend(0..self.part.thd_f.len()),
        }
        for &at in &room.alone {
            if watch.stop() {
                return Err(Stopped);
            }
            let point = self.start + at;
            let ohm: Vec<f64> = self.asked.film_ohm.iter().map(|v| v.at(point)).collect();
            let tone = (self.asked.frequency_hz.at(point), self.asked.emf_v.at(point));
            let one = distortion(&mut room.solver, self.network, tone, &ohm, self.asked.harmonics);
            self.part.set(at, &one);
        }
        watch.done(self.part.thd_f.len());
        if watch.stop() { Err(Stopped) } else { Ok(()) }
    }

    /// Films side by side; those that this does not do are left in `room.alone`.
    fn abreast(&mut self, film: &OneFilm, room: &mut Room) {
        let size = self.part.thd_f.len();
        let points = self.start..self.start + size;
        let Room { films, front, drive, wanted, groups, alone, stiff, stiff_front, stiff_drive, .. } = room;
        let ohm = self.asked.film_ohm[film.contact];
        front.clear();
        front.extend(points.clone().map(|k| film.rest_ohm / ohm.at(k)));
        drive.clear();
        drive.extend(points.map(|k| film.drive_per_v * self.asked.emf_v.at(k)));
        wanted.clear();
        wanted.resize(size, 0.0);
        let arch = pulp::Arch::new();
        let (shape, leak, top) = (film.shape, film.leak, self.asked.harmonics + 1);
        arch.dispatch(Foresee { shape, leak, front, drive, wanted });
        stiff.clear();
        stiff.extend((0..size).filter(|&at| wanted[at].abs() > GRADED_FROM && wanted[at].is_finite()));
        stiff_front.clear();
        stiff_front.extend(stiff.iter().map(|&at| front[at]));
        stiff_drive.clear();
        stiff_drive.extend(stiff.iter().map(|&at| drive[at]));
        let mut nodes = std::mem::take(wanted);
        let even = |wanted: f64| {
            let table = INSTANTS.iter().position(|&count| count as f64 >= wanted.abs())?;
            Some(2 * table + usize::from(wanted < 0.0))
        };
        for (at, &wanted) in nodes.iter().enumerate() {
            // infinite is more than any number, and no film on graded instants
            if wanted.abs() <= GRADED_FROM || wanted.is_infinite() {
                even(wanted).map_or(&mut *alone, |group| &mut groups[group]).push(at);
            }
        }
        wanted.resize(stiff.len(), 0.0);
        arch.dispatch(ForeseeGraded { shape, leak, top, front: stiff_front, drive: stiff_drive, wanted });
        for (&at, &wanted) in stiff.iter().zip(&*wanted) {
            let rule = GRADED.iter().position(|&count| count as f64 >= wanted).map(|rule| EVEN_GROUPS + rule);
            rule.or_else(|| even(nodes[at])).map_or(&mut *alone, |group| &mut groups[group]).push(at);
        }
        nodes.clear();
        *wanted = nodes;
        films.leak = leak;
        for group in 0..groups.len() {
            let mut own = std::mem::take(&mut groups[group]);
            // where to go when the tail is too large
            let finer = if group < EVEN_GROUPS { group + 2 } else { group + 1 };
            let finer = if group < EVEN_GROUPS && finer >= EVEN_GROUPS { groups.len() } else { finer };
            for some in own.chunks(MOST_LANES) {
                films.count = some.len();
                for (lane, &at) in some.iter().enumerate() {
                    (films.front[lane], films.drive[lane]) = (front[at], drive[at]);
                }
                if group < EVEN_GROUPS {
                    let table = TABLES[group / 2].get_or_init(|| Table::new(INSTANTS[group / 2]));
                    arch.dispatch(Solve { shape, films, table, weak: group % 2 == 1 });
                } else {
                    let number = group - EVEN_GROUPS;
                    let rule = RULES[number].get_or_init(|| Gauss::new(GRADED[number]));
                    arch.dispatch(SolveGraded { shape, films, rule, top });
                }
                for (lane, &at) in some.iter().enumerate() {
                    if films.solved[lane] == 0.0 {
                        alone.push(at);
                    } else if films.error[lane] <= ENOUGH * SQRT_2 * films.residue[lane] {
                        self.take(film, films, lane, at);
                    } else if let Some(finer) = groups.get_mut(finer) {
                        finer.push(at);
                    } else {
                        alone.push(at);
                    }
                }
            }
            own.clear();
            groups[group] = own;
        }
    }

    fn take(&mut self, film: &OneFilm, films: &Abreast, lane: usize, at: usize) {
        let (part, point) = (&mut self.part, self.start + at);
        let thd_f = films.thd_f[lane];
        part.thd_f[at] = thd_f;
        part.thd_r[at] = films.thd_r[lane];
        part.fundamental_db[at] = films.fundamental_db[lane];
        let per_line = thd_f / films.residue[lane];
        part.error_bound[at] = films.error[lane] * per_line * FRAC_1_SQRT_2 * (1.0 + thd_f);
        part.rounds[at] = 0;
        let converged = films.error[lane] <= CONVERGED * SQRT_2 * films.residue[lane] && thd_f.is_finite();
        part.outcome[at] = Outcome::of(converged, films.drive[lane]) as u8;
        let count = self.asked.harmonics;
        // the second has number 0; of an odd law even ones are none
        let (first, step) = if film.shape == Shape::Expm1 { (0, 1) } else { (1, 2) };
        let wanted = part.harmonics[at * count..][..count].iter_mut().skip(first).step_by(step);
        for (harmonic, line) in wanted.zip(films.lines[first + 2..films.orders].iter().step_by(step)) {
            *harmonic = Complex64::new(line[lane] * per_line, 0.0);
        }
        for (k, (low, high)) in part.chord_ohm.iter_mut().enumerate() {
            let (ohm, fixed) = (self.asked.film_ohm[k].at(point), self.network.contacts[k].constriction_ohm);
            let own = k == film.contact;
            let (least, most) = if own { (films.chord_least[lane], films.chord_most[lane]) } else { (1.0, 1.0) };
            (low[at], high[at]) = (ohm * least + fixed, ohm * most + fixed);
        }
    }
}

/// Distortion at `size` points.
///
/// # Errors
/// [`Stopped`] when the watch says so.
pub fn distortion_many(
    network: &Network,
    asked: Asked<'_>,
    size: usize,
    watch: &dyn Watch,
) -> Result<Distortions, Stopped> {
    let film = OneFilm::of(network, asked.film_ohm);
    let chunk = if film.is_some() { ABREAST_CHUNK } else { ALONE_CHUNK };
    let mut all = Distortions::with_room(size, network.contacts.len(), asked.harmonics);
    cores::each(
        all.parts(chunk, asked.harmonics).enumerate(),
        watch,
        || Room::new(watch),
        |room, (number, part)| Chunk { network, asked, start: number * chunk, part }.run(film.as_ref(), room, watch),
    )?;
    Ok(all)
}

#[cfg(test)]
mod tests;
