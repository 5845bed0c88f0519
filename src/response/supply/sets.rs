//! Sets of ranges in columns, and what is found of them.

use super::{LONGEST, Route, Solve};
use crate::response::ceiling::{Ceiling, Status};

/// Sets of ranges, a column for each number, with room for a vector more.
#[derive(Debug)]
pub(in crate::response) struct Sets {
    pub(super) count: usize,
    /// by contact: what it has at least, or keeps, ohm
    pub(super) ohm: Vec<Vec<f64>>,
    /// by contact: half of what moves of it, ohm
    pub(super) delta: Vec<Vec<f64>>,
    pub(super) hz: Vec<f64>,
    /// order of the last harmonic in the band
    pub(super) last: Vec<f64>,
    /// what moves
    moves: Vec<Moves>,
    /// some move in several loops
    pub(super) several: bool,
    /// only where `chatter` is known
    pub(super) harmonics: Vec<f64>,
    /// not a number where none is found here
    pub(super) chatter: Vec<f64>,
}

/// What moves in a set.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Moves {
    Nothing,
    /// in this loop, or first in this one
    In(usize),
    /// across the signal, or shared, or with a direct current, or without end
    NotServed,
}

impl Sets {
    /// Room for `most` sets.
    pub(in crate::response) fn new(route: &Route, most: usize) -> Self {
        let column = |number: f64| vec![number; most.next_multiple_of(LONGEST)];
        let columns = |number: f64| route.contacts.iter().map(|_| column(number)).collect();
        Self {
            count: 0,
            ohm: columns(1.0),
            delta: columns(0.0),
            hz: column(1.0),
            last: column(0.0),
            moves: vec![Moves::Nothing; most],
            several: false,
            harmonics: column(f64::NAN),
            chatter: column(f64::NAN),
        }
    }

    /// As many sets, in which nothing moves yet: `read` gives their frequencies, Hz, and the resistances of each contact, ohm.
    pub(in crate::response) fn begin(
        &mut self,
        route: &Route,
        count: usize,
        hz: impl FnOnce(&mut [f64]),
        mut fixed_ohm: impl FnMut(usize, &mut [f64]),
    ) {
        (self.count, self.several) = (count, false);
        self.moves[..count].fill(Moves::Nothing);
        hz(&mut self.hz[..count]);
        let end = route.band_hz.1 * (1.0 + 1e-12);
        for (last, hz) in self.last.iter_mut().zip(&self.hz[..count]) {
            *last = (end / hz).floor();
        }
        for (k, (ohm, delta)) in self.ohm.iter_mut().zip(&mut self.delta).enumerate() {
            fixed_ohm(k, &mut ohm[..count]);
            delta.fill(0.0);
            if route.contacts[k].shared {
                let shared = self.moves.iter_mut().zip(&*ohm).filter(|(_, ohm)| **ohm > 0.0);
                shared.for_each(|(moves, _)| *moves = Moves::NotServed);
            }
        }
    }

    /// A contact that moves between two ends in each set; where they are the same it keeps them.
    pub(in crate::response) fn range(&mut self, route: &Route, contact: usize, low: &[f64], high: &[f64]) {
        let (ohm, delta) = (&mut self.ohm[contact], &mut self.delta[contact]);
        for (place, (&low, &high)) in low.iter().zip(high).enumerate() {
            ohm[place] = low;
            let moves = &mut self.moves[place];
            if high > low {
                delta[place] = 0.5 * (high - low);
                *moves = match (*moves, route.contacts[contact].movable_in) {
                    (Moves::NotServed, _) | (_, None) => Moves::NotServed,
                    _ if low < 0.0 || high.is_infinite() => Moves::NotServed,
                    (Moves::Nothing, Some(own)) => Moves::In(own),
                    (Moves::In(first), Some(own)) => {
                        self.several |= first != own;
                        Moves::In(first)
                    }
                };
            } else if route.contacts[contact].shared && low > 0.0 {
                *moves = Moves::NotServed;
            }
        }
    }

    /// The ceiling of a set; nothing where it is not served here, or none is found.
    pub(in crate::response) fn found(&self, set: usize) -> Option<Ceiling> {
        match self.moves[set] {
            Moves::Nothing => Some(Ceiling::NOTHING_MOVES),
            Moves::NotServed => None,
            Moves::In(_) => {
                let (harmonics, chatter) = (self.harmonics[set], self.chatter[set]);
                (!chatter.is_nan()).then_some(Ceiling { harmonics, chatter, status: Status::Holds })
            }
        }
    }

    /// Answers all sets.
    pub(in crate::response) fn solve(&mut self, route: &Route) {
        if self.moves[..self.count].iter().any(|moves| matches!(moves, Moves::In(_))) {
            pulp::Arch::new().dispatch(Solve { route, sets: self });
        }
    }
}
