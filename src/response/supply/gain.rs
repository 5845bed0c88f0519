//! The second factor of the bound, at the driven frequency, and what other weights might gain.

use super::{Element, Form, Group, rounding_of};
use crate::physics::lanes::Lanes;
use pulp::Simd;

/// What a walk leaves at one contact.
#[derive(Clone, Copy)]
struct Met<S: Simd> {
    a: Lanes<S>,
    b: Complex<S>,
    /// what the sum is divided by
    under: Lanes<S>,
}

/// What walks leave at the contacts, and the shares of these in the factor at the driven frequency.
pub(super) struct Room<S: Simd> {
    met: Vec<Met<S>>,
    beta: Vec<Lanes<S>>,
}

impl<S: Simd> Room<S> {
    pub(super) fn new(contacts: usize, simd: S) -> Self {
        let zero = Lanes::splat(simd, 0.0);
        Self { met: vec![Met { a: zero, b: Complex(zero, zero), under: zero }; contacts], beta: vec![zero; contacts] }
    }
}

impl<S: Simd> Group<'_, S> {
    /// Largest of the bracket of T2 over the square of the load's voltage; not a number where there is none.
    #[inline(always)]
    pub(super) fn driven(&self, square: Lanes<S>, room: &mut Room<S>) -> Lanes<S> {
        let (zero, one) = (self.splat(0.0), self.splat(1.0));
        let omega = square.sqrt();
        let mut form = Form::<S, 1>::new(self.simd);
        form.a.0[0] = zero;
        let mut rounding = self.splat(rounding_of(self.route.elements.len(), 1));
        for element in &self.route.elements {
            match *element {
                Element::Series(ohm, henry) => form.series(self.splat(ohm), henry, square),
                Element::Shunt(siemens, farad) => form.shunt(self.splat(siemens), farad, -1.0, square),
                Element::Across(k) => form.shunt(1.0 / self.ohm(k), 0.0, -1.0, square),
                Element::Contact(k) => {
                    form.series(self.ohm(k), 0.0, square);
                    let (delta, a, b1, b2) = (self.delta(k), form.a.0[0], form.b1.0[0] + one, form.b2.0[0]);
                    let under = one - delta * a;
                    room.met[k] = Met { a, b: Complex(b1, b2 * omega), under };
                    let per = zero.below(under).select(one / under, self.splat(f64::NAN));
                    form.c.0[0] = delta.times_plus((b1 * b1 + b2 * b2 * square) * per, form.c.0[0]);
                    form.a.0[0] = a * per;
                    form.b1.0[0] = b1 * per - one;
                    form.b2.0[0] = b2 * per;
                    rounding = rounding + (one + delta * a) * per * (8.0 * f64::EPSILON);
                }
            }
        }
        let found = form.a.0[0];
        if self.sets.several {
            self.back::<true>(omega, found, room);
        }
        found * (one + rounding)
    }

    /// What is left of the bound at best when weights are searched, foreseen: `sum sqrt(alpha beta)`, `alpha` at the frequency of the largest `lambda`.
    #[inline(always)]
    pub(super) fn gained(&self, square: Lanes<S>, room: &mut Room<S>) -> Lanes<S> {
        let omega = square.sqrt();
        let mut form = Form::<S, 1>::new(self.simd);
        for element in &self.route.elements {
            match *element {
                Element::Series(ohm, henry) => form.series(self.splat(ohm), henry, square),
                Element::Shunt(siemens, farad) => form.shunt(self.splat(siemens), farad, -1.0, square),
                Element::Across(k) => form.shunt(1.0 / self.ohm(k), 0.0, -1.0, square),
                Element::Contact(k) => {
                    form.series(self.ohm(k), 0.0, square);
                    let (a, b) = (form.a.0[0], Complex(form.b1.0[0], form.b2.0[0] * omega));
                    form.moving(self.delta(k));
                    room.met[k] = Met { a, b, under: form.d.0[0] };
                }
            }
        }
        self.back::<false>(omega, form.a.0[0] / form.d.0[0], room)
    }

    /// From one volt at the load to the source: the shares of the contacts in the `whole`, in what goes on at the driven frequency or in what
    /// is asked at another; for that one what is foreseen from both.
    #[inline(always)]
    fn back<const DRIVEN: bool>(&self, omega: Lanes<S>, whole: Lanes<S>, room: &mut Room<S>) -> Lanes<S> {
        let (zero, one) = (self.splat(0.0), self.splat(1.0));
        let (mut v, mut i) = (Complex(one, zero), Complex(zero, zero));
        let mut sum = zero;
        for element in self.route.elements.iter().rev() {
            match *element {
                Element::Series(ohm, henry) => v = v.plus(Complex(self.splat(ohm), omega * henry).times(i)),
                Element::Shunt(siemens, farad) => i = i.plus(Complex(self.splat(siemens), omega * farad).times(v)),
                Element::Across(k) => i = i.plus(v.scaled(1.0 / self.ohm(k))),
                Element::Contact(k) => {
                    let (delta, met) = (self.delta(k), room.met[k]);
                    // what it has across what moves of it, per Delta; before the first that moves nothing is asked
                    let s = v.scaled(met.a).plus(met.b.times(i));
                    let per = zero.below(met.under).select(one / met.under, zero);
                    let s = s.scaled(if DRIVEN { per } else { -per });
                    let along = 2.0 * (s.0 * i.0 + s.1 * i.1) - s.0 * s.0 - s.1 * s.1;
                    let share = delta * along / whole;
                    if DRIVEN {
                        room.beta[k] = share;
                    } else {
                        sum = sum + (room.beta[k] * -share).max(zero).sqrt();
                    }
                    v = v.plus(s.scaled(delta)).plus(i.scaled(self.ohm(k)));
                }
            }
        }
        sum
    }
}

#[derive(Clone, Copy)]
struct Complex<S: Simd>(Lanes<S>, Lanes<S>);

impl<S: Simd> Complex<S> {
    #[inline(always)]
    fn plus(self, other: Self) -> Self {
        Self(self.0 + other.0, self.1 + other.1)
    }

    #[inline(always)]
    fn scaled(self, by: Lanes<S>) -> Self {
        Self(self.0 * by, self.1 * by)
    }

    #[inline(always)]
    fn times(self, other: Self) -> Self {
        Self(self.0 * other.0 - self.1 * other.1, self.0 * other.1 + self.1 * other.0)
    }
}
