//! The second factor of the bound, at the driven frequency.

use super::{Element, Form, Group, PER_ELEMENT};
use crate::physics::lanes::Lanes;
use pulp::Simd;

/// The form at the driven frequency, and how far each of its numbers may be off by rounding.
struct Driven<S: Simd> {
    form: Form<S, 1>,
    off: Form<S, 1>,
}

impl<S: Simd> Form<S, 1> {
    #[inline(always)]
    fn sizes(&self) -> Self {
        let of = |number: &super::Polynomial<S, 1>| super::Polynomial([number.0[0].abs()]);
        Self { a: of(&self.a), b1: of(&self.b1), b2: of(&self.b2), c: of(&self.c), d: of(&self.d), e: of(&self.e) }
    }

    /// Plus `by` times what a form of sizes has.
    #[inline(always)]
    fn add(&mut self, by: Lanes<S>, sizes: &Self) {
        self.a.add(by, &sizes.a);
        self.b1.add(by, &sizes.b1);
        self.b2.add(by, &sizes.b2);
        self.c.add(by, &sizes.c);
    }
}

impl<S: Simd> Group<'_, S> {
    /// Largest of the bracket of T2 over the square of the load's voltage, a weight for each loop; not a number where there is none. Never below it
    /// for rounding where that is asked.
    #[inline(always)]
    pub(super) fn driven<const ROUNDED: bool>(&self, square: Lanes<S>, weights: &[Lanes<S>]) -> Lanes<S> {
        let (zero, one) = (self.splat(0.0), self.splat(1.0));
        let mut at = Driven { form: Form::new(self.simd), off: Form::new(self.simd) };
        (at.form.a.0[0], at.off.a.0[0]) = (zero, zero);
        for element in &self.route.elements {
            match *element {
                Element::Series(ohm, henry) => {
                    let ohm = self.splat(ohm);
                    self.series::<ROUNDED>(&mut at, ohm, henry, square);
                }
                Element::Shunt(siemens, farad) => self.across::<ROUNDED>(&mut at, self.splat(siemens), farad, square),
                Element::Across(k) => self.across::<ROUNDED>(&mut at, 1.0 / self.ohm(k), 0.0, square),
                Element::Contact(k) => {
                    let ohm = self.ohm(k);
                    self.series::<ROUNDED>(&mut at, ohm, 0.0, square);
                    let weight = self.route.contacts[k].movable_in.map_or(one, |own| weights[own]);
                    self.moved::<ROUNDED>(&mut at, self.delta(k) / weight, weight, square);
                }
            }
        }
        at.form.a.0[0] + at.off.a.0[0]
    }

    #[inline(always)]
    fn series<const ROUNDED: bool>(&self, at: &mut Driven<S>, ohm: Lanes<S>, henry: f64, square: Lanes<S>) {
        let zero = self.splat(0.0);
        if ROUNDED {
            let mut sizes = at.form.sizes();
            sizes.series(ohm, henry, zero, square);
            at.off.series(ohm, henry, zero, square);
            at.off.add(self.splat(PER_ELEMENT * f64::EPSILON), &sizes);
        }
        at.form.series(ohm, henry, zero, square);
    }

    #[inline(always)]
    fn across<const ROUNDED: bool>(&self, at: &mut Driven<S>, siemens: Lanes<S>, farad: f64, square: Lanes<S>) {
        let zero = self.splat(0.0);
        if ROUNDED {
            let mut sizes = at.form.sizes();
            sizes.shunt(siemens, farad, zero, 1.0, square);
            at.off.shunt(siemens, farad, zero, 1.0, square);
            at.off.add(self.splat(PER_ELEMENT * f64::EPSILON), &sizes);
        }
        at.form.shunt(siemens, farad, zero, -1.0, square);
    }

    /// What moves of a contact: `a/(1 - delta a)` and so on, and what that makes of what is off.
    #[inline(always)]
    fn moved<const ROUNDED: bool>(&self, at: &mut Driven<S>, delta: Lanes<S>, weight: Lanes<S>, square: Lanes<S>) {
        let (zero, one) = (self.splat(0.0), self.splat(1.0));
        let eps = self.splat(PER_ELEMENT * f64::EPSILON);
        let Driven { form, off } = at;
        let (a, b1, b2) = (form.a.0[0], form.b1.0[0] + weight, form.b2.0[0]);
        let (off_a, off_b1, off_b2) = (off.a.0[0], off.b1.0[0], off.b2.0[0]);
        let under = one - delta * a;
        // as small as it may be
        let least = under - delta * off_a - eps * (one + delta * a.abs());
        let per = zero.below(least).select(one / under, self.splat(f64::NAN));
        let most = zero.below(least).select(one / least, self.splat(f64::NAN));
        let off_per = delta * (off_a + eps * a.abs()) * most * most + eps * most;
        let size = b1 * b1 + b2 * b2 * square;
        if ROUNDED {
            let off_sum = off_b1 + eps * (b1.abs() + weight);
            let off_size = (b1.abs() + off_sum) * off_sum + (b2.abs() + off_b2) * off_b2 * square;
            off.c.0[0] = off.c.0[0]
                + delta * (2.0 * off_size * most + size * off_per)
                + eps * (form.c.0[0].abs() + delta * size * most);
            off.a.0[0] = off_a * most + a.abs() * off_per;
            off.b1.0[0] =
                off_b1 * most + b1.abs() * delta * (off_a * most + a.abs() * off_per) + eps * form.b1.0[0].abs();
            off.b2.0[0] = off_b2 * most + b2.abs() * off_per;
        }
        form.c.0[0] = delta.times_plus(size * per, form.c.0[0]);
        form.a.0[0] = a * per;
        // of a small a little: nothing cancels
        form.b1.0[0] = (delta * a * per).times_plus(b1, form.b1.0[0]);
        form.b2.0[0] = b2 * per;
    }
}
