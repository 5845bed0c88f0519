//! T1 and T2 in one section, many sets of ranges side by side: what upstream contacts ask of a cut, as a form of its voltage and current.
//!
//! With the weights `1/Delta` of [`ceiling_many`](super::ceiling_many) and the least resistance `Rmin` of each contact counted to the
//! network, a contact with the voltage `x` across what moves of it adds `|x|^2/Delta - 2 Re(conj(x) i)` to what T2 keeps above
//! zero. Off the driven line the network has no source, so the second terms add up to twice its losses, and
//!
//! `1/lambda(w) = least of sum |x_k|^2/Delta_k + 2 losses`, one volt at the load,
//!
//! a sum of squares. From the source to the load the least that is asked upstream of a cut is a Hermitian form of what the cut carries,
//! `(a |v|^2 + 2 Re(conj(v) b i) + c |i|^2)/d`, and with `e = (a c - |b|^2)/d` every element is linear in `(a, b, c, d, e)`:
//!
//! | element | |
//! | --- | --- |
//! | the source's EMF, none | `a = 1`, all others 0 |
//! | `z = r + j w l` in series | `c += 2 Re(conj(z) b) + \|z\|^2 a + 2 r d`, `b += z a`, `e += 2 r a` |
//! | `y = g + j w c` across | `a += 2 Re(y b) + \|y\|^2 c + 2 g d`, `b += conj(y) c`, `e += 2 g c` |
//! | what moves of a contact | `c += Delta e`, `d += Delta a` |
//!
//! and behind the load `lambda = d/a`. (The last row: least over `x` of the form at `v + x` and `|x|^2/Delta`.) All of it are
//! polynomials in `w^2`, `b` in `w^2` with `w` before its imaginary part, of a degree that counts the coils and capacitors. So the
//! supremum of `lambda` over a band is one of a ratio of polynomials (`largest`), and nothing is inverted; no contact needs another's
//! answers; what is added is above zero but for resonances. Rounding is bounded by the same walk with every sign positive.
//!
//! At the driven frequency the source is free. The most of `sum 2 Re(conj(x) i) - |x|^2/Delta` per square of the load's voltage goes
//! through the same elements without the losses, and a contact makes of `(a, b, c)`, as long as `Delta a < 1`,
//! `a/(1 - Delta a)`, `(b + Delta a)/(1 - Delta a)`, `c + Delta |b + 1|^2/(1 - Delta a)`.
//!
//! Other weights than `1/Delta` can be better, one `rho/Delta` for each loop: losses count `rho` times up to the next loop, `Delta` is
//! `Delta/rho`, and where `rho` becomes `rho'` the form gains `2 (rho - rho') Re(conj(v) i)`: `e -= 2 (rho - rho') Re b + (rho - rho')^2 d`,
//! then `b += (rho - rho') d`. They are searched (`weights`), and hold where every `d` behind a contact and the last `a` are above zero
//! from zero to infinite frequency, which their polynomials show.
//!
//! The form is the required supply of dissipative systems (Willems, Arch. Rational Mech. Anal. 45, 1972 \[memory\]); that it goes from
//! cut to cut is dynamic programming (Bellman 1957 \[memory\]).

mod driven;
mod largest;
mod polynomial;
mod sets;
mod weights;

use crate::circuit;
use crate::circuit::chain::Network;
use crate::circuit::stage::Equalisation;
use crate::circuit::twoport::Step;
use crate::physics::lanes::Lanes;
use polynomial::Polynomial;
use pulp::{Simd, WithSimd};
pub(super) use sets::Sets;
use std::f64::consts::TAU;

/// Most harmonics that are looked at one by one; for more the supremum over the whole band stands, which is never too small.
const MOST_HARMONICS: usize = 20_000;

/// Pieces of the band per octave, before any is halved.
const PER_OCTAVE: f64 = 1.0;

/// Most coils and capacitors of a section.
const MOST_REACTIVE: usize = 15;

/// Factors of the bound below this may have lost digits.
const SMALLEST: f64 = 1e-280;

/// Roundings of one element, in units of the rounding of one operation, with room to spare.
const PER_ELEMENT: f64 = 8.0;

/// One element of a section, source to load; contacts by their number.
#[derive(Debug, Clone, Copy)]
enum Element {
    Series(f64, f64),
    Shunt(f64, f64),
    Contact(usize),
    Across(usize),
}

/// What may be asked of a contact.
#[derive(Debug, Clone, Copy)]
struct Role {
    /// number of the loop that it may move in
    movable_in: Option<usize>,
    /// in a return that channels share: served as long as it is perfect
    shared: bool,
}

/// A section made ready, with the band that its residue is asked in.
#[derive(Debug)]
pub(super) struct Route {
    elements: Vec<Element>,
    contacts: Vec<Role>,
    loops: usize,
    reactive: usize,
    band_hz: (f64, f64),
    /// `w^2` at the end of the band
    top: f64,
    /// where pieces of the band meet: `w^2` over `top`
    ends: Vec<f64>,
}

impl Route {
    /// `direct_a` runs through the contacts: those do not move here. Nothing for what this page does not serve: several sections, equalisation, a loudspeaker, no coil and no capacitor or very many.
    /// Contacts in a shared return are taken for perfect.
    pub(super) fn of(network: &Network, direct_a: &[f64], band_hz: (f64, f64)) -> Option<Self> {
        let [link] = &network.links[..] else { return None };
        let ladder = &link.ladder;
        if link.stages.iter().any(|stage| stage.equalisation != Equalisation::Flat) || ladder.load.loudspeaker.is_some()
        {
            return None;
        }
        let step = |step: &Step| match *step {
            Step::Series(ohm, henry) => Some(Element::Series(ohm, henry)),
            Step::Shunt(siemens, farad) => Some(Element::Shunt(siemens, farad)),
            Step::Contact(k) => Some(Element::Contact(k)),
            Step::Across(k) => Some(Element::Across(k)),
            Step::Shared(_) => None,
        };
        let mut elements = vec![Element::Series(ladder.source_ohm, ladder.source_h)];
        elements.extend(ladder.steps.iter().filter_map(step));
        elements.push(Element::Shunt(ladder.load.resistance_ohm.recip(), ladder.load.capacitance_f));
        let is_reactive =
            |element: &&Element| matches!(element, Element::Series(_, x) | Element::Shunt(_, x) if *x != 0.0);
        let reactive = elements.iter().filter(is_reactive).count();
        let loops = ladder.loops();
        let role = |k: usize| Role {
            movable_in: loops.iter().position(|group| group.contains(&k)).filter(|_| direct_a[k] == 0.0),
            shared: network.contacts[k].role == circuit::Role::SharedReturn,
        };
        let contacts = (0..network.contacts.len()).map(role).collect();
        let (top, ends) = ((TAU * band_hz.1).powi(2), ends(band_hz));
        (1..=MOST_REACTIVE).contains(&reactive).then_some(Self {
            elements,
            contacts,
            loops: loops.len(),
            reactive,
            band_hz,
            top,
            ends,
        })
    }
}

/// Where pieces of a band meet, an octave each or less: squares of frequencies over that of the last.
fn ends((low_hz, high_hz): (f64, f64)) -> Vec<f64> {
    let pieces = ((high_hz / low_hz).log2() * PER_OCTAVE).ceil().max(1.0) as usize;
    let end = |k: usize| match k {
        0 => (low_hz / high_hz).powi(2) * (1.0 - 8.0 * f64::EPSILON),
        _ if k == pieces => 1.0 + 8.0 * f64::EPSILON,
        _ => (low_hz / high_hz).powf(2.0 - 2.0 * k as f64 / pieces as f64),
    };
    (0..=pieces).map(end).collect()
}

/// No vector set is longer.
const LONGEST: usize = 32;

struct Solve<'a> {
    route: &'a Route,
    sets: &'a mut Sets,
}

impl WithSimd for Solve<'_> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        match self.route.reactive {
            0..4 => self.groups::<S, 4>(simd),
            4 => self.groups::<S, 5>(simd),
            5..8 => self.groups::<S, 8>(simd),
            _ => self.groups::<S, { MOST_REACTIVE + 1 }>(simd),
        }
    }
}

impl Solve<'_> {
    #[inline(always)]
    fn groups<S: Simd, const N: usize>(self, simd: S) {
        let Self { route, sets } = self;
        let mut search = weights::Search::<S, N>::new(route, simd);
        for from in (0..sets.count).step_by(Lanes::<S>::COUNT) {
            let group = Group { simd, route, sets, from };
            let [harmonics, chatter] = group.ceiling(&mut search);
            harmonics.store(&mut sets.harmonics[from..]);
            chatter.store(&mut sets.chatter[from..]);
        }
    }
}

/// As many sets as a vector has lanes.
struct Group<'a, S: Simd> {
    simd: S,
    route: &'a Route,
    sets: &'a Sets,
    from: usize,
}

/// The form of a cut, see the page; `b` is `b1 + j w b2`.
struct Form<S: Simd, const N: usize> {
    a: Polynomial<S, N>,
    b1: Polynomial<S, N>,
    b2: Polynomial<S, N>,
    c: Polynomial<S, N>,
    d: Polynomial<S, N>,
    e: Polynomial<S, N>,
}

impl<S: Simd, const N: usize> Form<S, N> {
    /// Behind the source's EMF.
    #[inline(always)]
    fn new(simd: S) -> Self {
        let [zero, one] = [0.0, 1.0].map(|number| Polynomial::constant(simd, number));
        Self { a: one, b1: zero, b2: zero, c: zero, d: zero, e: zero }
    }

    /// `r + j w l` in series; losses count `weight` times.
    #[inline(always)]
    fn series(&mut self, r: Lanes<S>, l: f64, weight: Lanes<S>, square: Lanes<S>) {
        let simd = r.simd();
        let twice = r + r;
        self.c.add(twice, &self.b1);
        self.c.add(r * r, &self.a);
        self.c.add(twice * weight, &self.d);
        self.b1.add(r, &self.a);
        self.e.add(twice * weight, &self.a);
        if l != 0.0 {
            let splat = |number| Lanes::splat(simd, number);
            self.c.add(splat(2.0 * l), &self.b2.raised(square));
            self.c.add(splat(l * l), &self.a.raised(square));
            self.b2.add(splat(l), &self.a);
        }
    }

    /// `g + j w c` across; `sign` is minus one, or one for the bound of the rounding.
    #[inline(always)]
    fn shunt(&mut self, g: Lanes<S>, c: f64, weight: Lanes<S>, sign: f64, square: Lanes<S>) {
        let simd = g.simd();
        let twice = g + g;
        self.a.add(twice, &self.b1);
        self.a.add(g * g, &self.c);
        self.a.add(twice * weight, &self.d);
        self.b1.add(g, &self.c);
        self.e.add(twice * weight, &self.c);
        if c != 0.0 {
            let splat = |number| Lanes::splat(simd, number);
            self.a.add(splat(2.0 * sign * c), &self.b2.raised(square));
            self.a.add(splat(c * c), &self.c.raised(square));
            self.b2.add(splat(sign * c), &self.c);
        }
    }

    /// Where one weight of the losses follows another.
    #[inline(always)]
    fn weigh(&mut self, before: Lanes<S>, after: Lanes<S>, sign: f64) {
        let less = if sign < 0.0 { before - after } else { (before - after).abs() };
        self.e.add(less * (2.0 * sign), &self.b1);
        self.e.add(less * less * sign, &self.d);
        self.b1.add(less, &self.d);
    }

    /// What moves of a contact.
    #[inline(always)]
    fn moving(&mut self, delta: Lanes<S>) {
        self.c.add(delta, &self.e);
        self.d.add(delta, &self.a);
    }
}

impl<S: Simd> Group<'_, S> {
    #[inline(always)]
    fn splat(&self, number: f64) -> Lanes<S> {
        Lanes::splat(self.simd, number)
    }

    #[inline(always)]
    fn ohm(&self, contact: usize) -> Lanes<S> {
        Lanes::load(self.simd, &self.sets.ohm[contact][self.from..])
    }

    #[inline(always)]
    fn delta(&self, contact: usize) -> Lanes<S> {
        Lanes::load(self.simd, &self.sets.delta[contact][self.from..])
    }

    /// The form behind the load, a weight for each loop; `square` as [`Polynomial::raised`] takes it, `sign` minus one or, for the bound of
    /// the rounding, one. `under` gets `d` behind each contact.
    #[inline(always)]
    fn walk<const N: usize>(
        &self,
        square: Lanes<S>,
        sign: f64,
        weights: &[Lanes<S>],
        under: &mut [Polynomial<S, N>],
    ) -> Form<S, N> {
        let mut form = Form::new(self.simd);
        let mut weight = weights[0];
        for element in &self.route.elements {
            match *element {
                Element::Series(ohm, henry) => form.series(self.splat(ohm), henry, weight, square),
                Element::Shunt(siemens, farad) => form.shunt(self.splat(siemens), farad, weight, sign, square),
                Element::Contact(k) => {
                    if let Some(own) = self.route.contacts[k].movable_in {
                        form.weigh(weight, weights[own], sign);
                        weight = weights[own];
                    }
                    form.series(self.ohm(k), 0.0, weight, square);
                    form.moving(self.delta(k) / weight);
                    under[k] = form.d;
                }
                Element::Across(k) => form.shunt(1.0 / self.ohm(k), 0.0, weight, sign, square),
            }
        }
        form
    }

    /// Ceilings over the harmonics and over the band; the second is not a number where it is not known.
    #[inline(always)]
    fn ceiling<const N: usize>(&self, search: &mut weights::Search<S, N>) -> [Lanes<S>; 2] {
        let hz = Lanes::load(self.simd, &self.sets.hz[self.from..]);
        let omega = TAU * hz;
        search.start(self);
        let mut known = [self.splat(f64::NAN); 2];
        for searched in [false, true] {
            let bound = search.bound(self, omega * omega);
            let found = self.found(hz, &bound);
            // both hold
            known = if searched { [0, 1].map(|k| found[k].below(known[k]).select(found[k], known[k])) } else { found };
            if searched || !self.sets.several || !search.improve(self, omega * omega, &bound) {
                break;
            }
        }
        known
    }

    #[inline(always)]
    fn found<const N: usize>(&self, hz: Lanes<S>, bound: &Bound<S, N>) -> [Lanes<S>; 2] {
        let chatter = root(bound.top.lambda, bound.driven);
        // neither lost to overflow nor to underflow
        let small = self.splat(SMALLEST);
        let sound = small.below(bound.top.lambda).and(small.below(bound.driven));
        let sound = sound.and(chatter.below(self.splat(f64::MAX)));
        let chatter = sound.select(chatter, self.splat(f64::NAN));
        [self.harmonics(hz, &bound.lambda, bound.driven, chatter), chatter]
    }

    #[inline(always)]
    fn harmonics<const N: usize>(
        &self,
        hz: Lanes<S>,
        lambda: &Lambda<S, N>,
        driven: Lanes<S>,
        chatter: Lanes<S>,
    ) -> Lanes<S> {
        let last = Lanes::load(self.simd, &self.sets.last[self.from..]);
        let orders = &self.sets.last[self.from..self.from + Lanes::<S>::COUNT];
        let longest = orders.iter().copied().fold(0.0, f64::max).min(MOST_HARMONICS as f64) as usize;
        let low = self.splat(self.route.ends[0]);
        let first = hz * (1.0 / self.route.band_hz.1);
        let mut largest = self.splat(0.0);
        for order in 2..=longest {
            let line = first * order as f64;
            let y = line * line;
            let inside = self.splat(order as f64 - 0.5).below(last).and(low.below(y));
            largest = largest.max(inside.select(lambda.at_most(y), self.splat(0.0)));
        }
        let none = self.splat(0.0).below(largest).select(root(largest, driven).min(chatter), self.splat(f64::NAN));
        self.splat(MOST_HARMONICS as f64 + 0.5).below(last).select(chatter, none)
    }
}

/// The rounding of a walk over so many elements and of a value of what it comes to, relative to the same with every sign positive.
#[inline(always)]
fn rounding_of(elements: usize, terms: usize) -> f64 {
    (elements + terms) as f64 * PER_ELEMENT * f64::EPSILON
}

#[inline(always)]
fn root<S: Simd>(lambda: Lanes<S>, driven: Lanes<S>) -> Lanes<S> {
    lambda.sqrt() * driven.sqrt() * (1.0 + 8.0 * f64::EPSILON)
}

/// The two factors of the bound under some weights.
struct Bound<S: Simd, const N: usize> {
    lambda: Lambda<S, N>,
    top: largest::Top<S>,
    driven: Lanes<S>,
}

/// `lambda = d/a` of `y`.
struct Lambda<S: Simd, const N: usize> {
    a: Polynomial<S, N>,
    d: Polynomial<S, N>,
    /// both with every sign positive
    most: [Polynomial<S, N>; 2],
    /// the rounding of both, relative to these
    rounding: f64,
}

impl<S: Simd, const N: usize> Lambda<S, N> {
    #[inline(always)]
    fn at(&self, y: Lanes<S>) -> Lanes<S> {
        self.d.at(y) / self.a.at(y)
    }

    /// Never below [`at`](Self::at) for rounding: infinite where that is all there is.
    #[inline(always)]
    fn at_most(&self, y: Lanes<S>) -> Lanes<S> {
        let (a, d) = (self.a.at(y), self.d.at(y));
        // one division for all
        let per = 1.0 / (a * d);
        let off = (self.rounding * (self.most[0].at(y) * d + self.most[1].at(y) * a) * per).abs();
        let infinite = Lanes::splat(y.simd(), f64::INFINITY);
        off.below(Lanes::splat(y.simd(), 0.01)).select(d * d * per * (1.0 + 1.02 * off), infinite)
    }
}

#[cfg(test)]
mod tests;
