//! A table of lines against its plain sums.

use super::*;

#[test]
fn what_meets_is_summed_over_the_lines_that_add_up_to_it() {
    // every line of another size, none the mirror of another
    let size = |l: Label| 1.0 + 0.01 * f64::from(l.0) + 0.0007 * f64::from(l.1);
    let mut lines = Table::one().lines;
    for a in -INVERSE.0..=INVERSE.0 {
        for b in -INVERSE.1..=INVERSE.1 {
            lines[Table::place((a, b))] = Complex64::from_polar(size((a, b)), f64::from(a + 3 * b));
        }
    }
    let table = Table::new(lines);
    let (x, y) = (vec![((2, 1), Complex64::new(0.0, 3.0))], vec![((1, -4), Complex64::new(-2.0, 0.0))]);
    // of the third wave the line that is left: m - k - l
    let found = table.meeting(&x, &y, &[(5, 2), (-1, 0)]);
    let expected = 6.0 * (size((2, 5)) + size((-4, 3)));
    assert!((found - expected).abs() < 1e-12 * expected, "{found} {expected}");
    // past the table there is none
    assert_eq!(table.meeting(&x, &y, &[(INVERSE.0 + 4, 0)]), 0.0);
    // and the mean takes the line that brings all three to nothing
    let mean = table.mean(&x, &y);
    let expected = (x[0].1 * y[0].1 * table.at((-3, 3))).re;
    assert!((mean - expected).abs() < 1e-12, "{mean} {expected}");
}
