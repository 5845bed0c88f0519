//! The form in whole numbers: exactly, and as its rounding says.

use super::super::*;
use proptest::prelude::*;

/// Elements in whole numbers: in series, across, or what moves of a contact.
#[derive(Debug, Clone, Copy)]
enum Whole {
    Series(i32, i32),
    Shunt(i32, i32),
    Moving(i32),
}

/// `a` and `d` behind such elements at the square of a frequency: exactly; as the form has them at the end of a band, and the bounds of their rounding.
fn exactly(elements: &[Whole], square: i32) -> [i128; 2] {
    let (mut a, mut b1, mut b2, mut c, mut d, mut e) = (1i128, 0, 0, 0, 0, 0);
    for element in elements {
        match *element {
            Whole::Series(r, l) => {
                let (r, l, u) = (i128::from(r), i128::from(l), i128::from(square));
                c += 2 * (r * b1 + u * l * b2 + r * d) + (r * r + u * l * l) * a;
                (b1, b2, e) = (b1 + r * a, b2 + l * a, e + 2 * r * a);
            }
            Whole::Shunt(g, f) => {
                let (g, f, u) = (i128::from(g), i128::from(f), i128::from(square));
                a += 2 * (g * b1 - u * f * b2 + g * d) + (g * g + u * f * f) * c;
                (b1, b2, e) = (b1 + g * c, b2 - f * c, e + 2 * g * c);
            }
            Whole::Moving(delta) => (c, d) = (c + i128::from(delta) * e, d + i128::from(delta) * a),
        }
    }
    [a, d]
}

struct Rounded<'a>(&'a [Whole], i32);

impl WithSimd for Rounded<'_> {
    type Output = [(f64, f64); 2];
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Self::Output {
        let splat = |number: i32| Lanes::splat(simd, f64::from(number));
        let walk = |sign: f64| {
            let mut form = Form::<S, 8>::new(simd);
            for element in self.0 {
                match *element {
                    Whole::Series(r, l) => form.series(splat(r), f64::from(l), splat(1), splat(self.1)),
                    Whole::Shunt(g, c) => form.shunt(splat(g), f64::from(c), splat(1), sign, splat(self.1)),
                    Whole::Moving(delta) => form.moving(splat(delta)),
                }
            }
            [form.a, form.d].map(|polynomial| {
                let mut first = [0.0; LONGEST];
                polynomial.at(splat(1)).store(&mut first);
                first[0]
            })
        };
        let (found, most, rounding) = (walk(-1.0), walk(1.0), rounding_of(self.0.len(), 8));
        [0, 1].map(|k| (found[k], most[k] * rounding))
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]
    #[test]
    fn rounding_is_bounded(
        mut elements in prop::collection::vec(
            prop_oneof![
                (0i32..100, 0i32..10).prop_map(|(r, l)| Whole::Series(r, l)),
                (0i32..100, 0i32..10).prop_map(|(g, c)| Whole::Shunt(g, c)),
                (1i32..100).prop_map(Whole::Moving)
            ],
            6
        ),
        square in 1i32..100
    ) {
        elements.insert(0, Whole::Series(97, 7));
        let (exact, found) = (exactly(&elements, square), pulp::Arch::new().dispatch(Rounded(&elements, square)));
        for (exact, (found, bound)) in exact.into_iter().zip(found) {
            // both are far below 2^127; what a number of 2^53 and more leaves over is whole
            let off = (found as i128 - exact).unsigned_abs() as f64;
            prop_assert!(off <= bound, "{elements:?} {square} {off} {bound}");
        }
    }
}
