//! The second factor of the bound, at the driven frequency.

use super::{Element, Form, Group, rounding_of};
use crate::physics::lanes::Lanes;
use pulp::Simd;

impl<S: Simd> Group<'_, S> {
    /// Largest of the bracket of T2 over the square of the load's voltage, a weight for each loop; not a number where there is none.
    #[inline(always)]
    pub(super) fn driven(&self, square: Lanes<S>, weights: &[Lanes<S>]) -> Lanes<S> {
        let (zero, one) = (self.splat(0.0), self.splat(1.0));
        let mut form = Form::<S, 1>::new(self.simd);
        form.a.0[0] = zero;
        let mut rounding = self.splat(rounding_of(self.route.elements.len(), 1));
        for element in &self.route.elements {
            match *element {
                Element::Series(ohm, henry) => form.series(self.splat(ohm), henry, zero, square),
                Element::Shunt(siemens, farad) => form.shunt(self.splat(siemens), farad, zero, -1.0, square),
                Element::Across(k) => form.shunt(1.0 / self.ohm(k), 0.0, zero, -1.0, square),
                Element::Contact(k) => {
                    form.series(self.ohm(k), 0.0, zero, square);
                    let weight = self.route.contacts[k].movable_in.map_or(one, |own| weights[own]);
                    let (delta, a) = (self.delta(k) / weight, form.a.0[0]);
                    let (b1, b2) = (form.b1.0[0] + weight, form.b2.0[0]);
                    let under = one - delta * a;
                    let per = zero.below(under).select(one / under, self.splat(f64::NAN));
                    form.c.0[0] = delta.times_plus((b1 * b1 + b2 * b2 * square) * per, form.c.0[0]);
                    form.a.0[0] = a * per;
                    form.b1.0[0] = b1 * per - weight;
                    form.b2.0[0] = b2 * per;
                    rounding = rounding + (one + delta * a) * per * (8.0 * f64::EPSILON);
                }
            }
        }
        form.a.0[0] * (one + rounding)
    }
}
