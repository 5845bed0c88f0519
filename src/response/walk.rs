//! Walks of a network's ladders for many points at once: each step of a ladder for one vector of points, voltages and currents in
//! registers, blocks of [`LANES`] points between two looks at the columns.

use super::sweep::{Contacts, LANES, Values};
use crate::circuit::chain::Network;
use crate::circuit::twoport::{Ladder, Step};
use crate::physics::lanes::Lanes;
use num_complex::Complex64;
use pulp::Simd;
use std::f64::consts::TAU;

/// Real and imaginary parts of a block of points.
pub(super) type Parts = ([f64; LANES], [f64; LANES]);

/// The columns of a block of points.
pub(super) struct Block<'a, S: Simd> {
    simd: S,
    network: &'a Network,
    pub(super) frequency_hz: [f64; LANES],
    omega: [f64; LANES],
    ohm: Vec<[f64; LANES]>,
}

/// A complex number in each lane.
pub(super) type Pair<S> = (Lanes<S>, Lanes<S>);

/// `sum + a b`.
#[inline(always)]
pub(super) fn plus_times<S: Simd>((s, t): Pair<S>, (a, b): Pair<S>, (c, d): Pair<S>) -> Pair<S> {
    (a.times_plus(c, s) - b * d, a.times_plus(d, b.times_plus(c, t)))
}

impl<'a, S: Simd> Block<'a, S> {
    #[inline(always)]
    pub(super) fn new(simd: S, network: &'a Network) -> Self {
        let none = [0.0; LANES];
        Self { simd, network, frequency_hz: none, omega: none, ohm: vec![none; network.contacts.len()] }
    }

    /// Reads `count` points from `start` on.
    #[inline(always)]
    pub(super) fn read(&mut self, frequency_hz: Values<'_>, contacts: &[Values<'_>], start: usize, count: usize) {
        frequency_hz.load(start, count, &mut self.frequency_hz);
        self.omega = self.frequency_hz.map(|f| f * TAU);
        for (values, ohm) in contacts.iter().zip(&mut self.ohm) {
            values.load(start, count, ohm);
        }
    }

    /// EMF per volt at the load; without contacts each is at its best.
    #[inline(always)]
    fn emf(&self, ladder: &Ladder, contacts: Option<Contacts>, from: usize) -> Pair<S> {
        let simd = self.simd;
        let omega = Lanes::load(simd, &self.omega[from..]);
        let (mut v_re, mut v_im) = (Lanes::splat(simd, 1.0), Lanes::splat(simd, 0.0));
        let (mut i_re, mut i_im);
        if ladder.load.loudspeaker.is_none() {
            i_re = Lanes::splat(simd, 1.0 / ladder.load.resistance_ohm);
            i_im = omega * ladder.load.capacitance_f;
        } else {
            let mut parts = ([0.0; LANES], [0.0; LANES]);
            for k in 0..Lanes::<S>::COUNT {
                let admittance = ladder.load.admittance(self.frequency_hz[from + k]);
                (parts.0[k], parts.1[k]) = (admittance.re, admittance.im);
            }
            i_re = Lanes::load(simd, &parts.0);
            i_im = Lanes::load(simd, &parts.1);
        }
        for step in ladder.steps.iter().rev() {
            match *step {
                Step::Series(ohm, henry) => {
                    (v_re, v_im) = plus_times((v_re, v_im), (Lanes::splat(simd, ohm), omega * henry), (i_re, i_im));
                }
                Step::Shunt(siemens, farad) => {
                    (i_re, i_im) = plus_times((i_re, i_im), (Lanes::splat(simd, siemens), omega * farad), (v_re, v_im));
                }
                Step::Contact(index) | Step::Shared(index) => {
                    let Some(contacts) = contacts else { continue };
                    let times = if matches!(step, Step::Shared(_)) { contacts.shared_times } else { 1.0 };
                    let ohm = Lanes::load(simd, &self.ohm[index][from..]) * times;
                    (v_re, v_im) = (ohm.times_plus(i_re, v_re), ohm.times_plus(i_im, v_im));
                }
                Step::Across(index) => {
                    if contacts.is_none() {
                        continue;
                    }
                    let ohm = Lanes::load(simd, &self.ohm[index][from..]);
                    (i_re, i_im) = (i_re + v_re / ohm, i_im + v_im / ohm);
                }
            }
        }
        let source = (Lanes::splat(simd, ladder.source_ohm), omega * ladder.source_h);
        plus_times((v_re, v_im), source, (i_re, i_im))
    }

    /// Transfer of every section together, stages left out.
    #[inline(always)]
    pub(super) fn sections(&self, contacts: Option<Contacts>, to: &mut Parts) {
        for from in (0..LANES).step_by(Lanes::<S>::COUNT) {
            let (mut re, mut im) = (Lanes::splat(self.simd, 1.0), Lanes::splat(self.simd, 0.0));
            for link in &self.network.links {
                let (v_re, v_im) = self.emf(&link.ladder, contacts, from);
                let size = v_re.times_plus(v_re, v_im * v_im);
                (re, im) = (re.times_plus(v_re, im * v_im) / size, (im * v_re - re * v_im) / size);
            }
            re.store(&mut to.0[from..]);
            im.store(&mut to.1[from..]);
        }
    }
}

/// One point of a block.
#[inline(always)]
pub(super) fn at(parts: &Parts, lane: usize) -> Complex64 {
    Complex64::new(parts.0[lane], parts.1[lane])
}
