//! The second factor of the bound, at the driven frequency, and what other weights might gain.

use super::{Element, Form, Group, Square};
use crate::physics::lanes::Lanes;
use pulp::Simd;

/// What a walk leaves at one contact.
#[derive(Clone, Copy)]
struct Met<S: Simd> {
    a: Lanes<S>,
    b: [Lanes<S>; 2],
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
        Self { met: vec![Met { a: zero, b: [zero; 2], under: zero }; contacts], beta: vec![zero; contacts] }
    }
}

impl<S: Simd> Group<'_, S> {
    /// Largest of the bracket of T2 over the square of the load's voltage; not a number where there is none.
    #[inline(always)]
    pub(super) fn driven(&self, square: Lanes<S>, room: &mut Room<S>) -> Lanes<S> {
        let (zero, one) = (self.splat(0.0), self.splat(1.0));
        let point = Square::at(square);
        let omega = square.sqrt();
        let mut form = Form::<S, 1>::new(self.simd);
        form.a.0[0] = zero;
        let mut rounding = self.splat(self.rounding());
        for element in &self.route.elements {
            match *element {
                Element::Series(ohm, henry) => form.series(self.splat(ohm), henry, point),
                Element::Shunt(siemens, farad) => form.shunt(self.splat(siemens), farad, -1.0, point),
                Element::Across(k) => form.shunt(1.0 / self.ohm(k), 0.0, -1.0, point),
                Element::Contact(k) => {
                    form.series(self.ohm(k), 0.0, point);
                    let (delta, a, b1, b2) = (self.delta(k), form.a.0[0], form.b1.0[0] + one, form.b2.0[0]);
                    let under = one - delta * a;
                    room.met[k] = Met { a, b: [b1, b2 * omega], under };
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
        self.back(omega, room, |met, delta, v, i, beta| {
            let s: [Lanes<S>; 2] = std::array::from_fn(|k| {
                let crossed = if k == 0 { met.b[0] * i[0] - met.b[1] * i[1] } else { met.b[0] * i[1] + met.b[1] * i[0] };
                (met.a * v[k] + crossed) / met.under
            });
            let share = delta * (2.0 * (s[0] * i[0] + s[1] * i[1]) - s[0] * s[0] - s[1] * s[1]);
            *beta = share / found;
            s
        });
        found * (one + rounding)
    }

    /// What is left of the bound at best when weights are searched, foreseen: `sum sqrt(alpha beta)`, `alpha` at the frequency of the largest `lambda`.
    #[inline(always)]
    pub(super) fn gained(&self, square: Lanes<S>, room: &mut Room<S>) -> Lanes<S> {
        let zero = self.splat(0.0);
        let point = Square::at(square);
        let omega = square.sqrt();
        let mut form = Form::<S, 1>::new(self.simd);
        for element in &self.route.elements {
            match *element {
                Element::Series(ohm, henry) => form.series(self.splat(ohm), henry, point),
                Element::Shunt(siemens, farad) => form.shunt(self.splat(siemens), farad, -1.0, point),
                Element::Across(k) => form.shunt(1.0 / self.ohm(k), 0.0, -1.0, point),
                Element::Contact(k) => {
                    form.series(self.ohm(k), 0.0, point);
                    let (a, b) = (form.a.0[0], [form.b1.0[0], form.b2.0[0] * omega]);
                    form.moving(self.delta(k));
                    room.met[k] = Met { a, b, under: form.d.0[0] };
                }
            }
        }
        let whole = form.a.0[0] / form.d.0[0];
        let mut sum = zero;
        self.back(omega, room, |met, delta, v, i, beta| {
            let s: [Lanes<S>; 2] = std::array::from_fn(|k| {
                let crossed = if k == 0 { met.b[0] * i[0] - met.b[1] * i[1] } else { met.b[0] * i[1] + met.b[1] * i[0] };
                // before the first that moves nothing is asked
                zero.below(met.under).select(-(met.a * v[k] + crossed) / met.under, zero)
            });
            let share = delta * (s[0] * s[0] + s[1] * s[1] - 2.0 * (s[0] * i[0] + s[1] * i[1]));
            sum = sum + (share / whole * *beta).max(zero).sqrt();
            s
        });
        sum
    }

    /// From one volt at the load to the source: `at` says what a contact has across what moves of it, per `Delta`.
    #[inline(always)]
    fn back(
        &self,
        omega: Lanes<S>,
        room: &mut Room<S>,
        mut at: impl FnMut(Met<S>, Lanes<S>, [Lanes<S>; 2], [Lanes<S>; 2], &mut Lanes<S>) -> [Lanes<S>; 2],
    ) {
        let zero = self.splat(0.0);
        let (mut v, mut i) = ([self.splat(1.0), zero], [zero; 2]);
        let add = |to: &mut [Lanes<S>; 2], (re, im): (Lanes<S>, Lanes<S>), of: [Lanes<S>; 2]| {
            to[0] = to[0] + (re * of[0] - im * of[1]);
            to[1] = to[1] + (re * of[1] + im * of[0]);
        };
        for element in self.route.elements.iter().rev() {
            match *element {
                Element::Series(ohm, henry) => add(&mut v, (self.splat(ohm), omega * henry), i),
                Element::Shunt(siemens, farad) => add(&mut i, (self.splat(siemens), omega * farad), v),
                Element::Across(k) => add(&mut i, (1.0 / self.ohm(k), zero), v),
                Element::Contact(k) => {
                    let delta = self.delta(k);
                    let s = at(room.met[k], delta, v, i, &mut room.beta[k]);
                    for (v, (s, i)) in v.iter_mut().zip(s.iter().zip(i)) {
                        *v = *v + delta * *s + self.ohm(k) * i;
                    }
                }
            }
        }
    }
}
