//! Residue and error of a film from its own lines.

use super::*;

#[test]
fn residue_and_error_are_of_the_lines_that_are_told() {
    for (shape, leak) in [(Shape::Sinh, 0.0), (Shape::Expm1, 0.1), (Shape::Atan, 0.0)] {
        let mut films = Abreast { count: 3, leak, ..Abreast::default() };
        for (lane, (front, drive)) in [(3.0, 5.0), (0.2, 8.0), (40.0, 2.0)].into_iter().enumerate() {
            (films.front[lane], films.drive[lane]) = (front, drive);
        }
        for instants in [16, 24] {
            pulp::Arch::new().dispatch(Solve { shape, films: &mut films, table: &Table::new(instants), weak: false });
            for lane in 0..3 {
                let square = |order: usize| films.lines[order][lane].powi(2);
                let there = (2..2 * instants).filter(|order| order % 2 == 1 || shape == Shape::Expm1);
                let residue: f64 = there.clone().map(square).sum();
                // the outer quarter of the orders below 2 M
                let outer: f64 = there.filter(|order| 2 * order > 3 * instants).map(square).sum();
                let error = 2f64.sqrt() * (2.0 * outer.sqrt() + ROUNDING * (square(1) + residue).sqrt());
                assert!(films.solved[lane] == 1.0 && residue > 0.0);
                assert!((films.residue[lane] / residue.sqrt() - 1.0).abs() < 1e-12, "{shape:?} {lane}");
                assert!(
                    (films.error[lane] / error - 1.0).abs() < 1e-9,
                    "{shape:?} {lane} {} {error}",
                    films.error[lane]
                );
            }
        }
    }
}
