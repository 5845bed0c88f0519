//! That the search for a root is Newton's, not only right in the end.

use super::*;

#[test]
fn a_root_takes_a_few_steps() {
    for (bound, sought) in [(2.0f64, 1.3f64), (3.0, 0.7), (-2.0, -1.3), (5.0, 1.0)] {
        let cube = |x: f64| x * x * x + x;
        let mut steps = 0;
        let x = root(bound, f64::NAN, |x| {
            steps += 1;
            (cube(x) - cube(sought), 3.0 * x * x + 1.0, cube(x).abs() + cube(sought).abs())
        });
        assert!((x - sought).abs() <= 8.0 * f64::EPSILON * sought.abs(), "{x} {sought}");
        // halving alone takes fifty
        assert!(steps <= 20, "{steps} for {sought} from {bound}");
    }
}

#[test]
fn a_root_ends_where_only_rounding_is_left() {
    // where a law has levelled off, rounding of its value moves the root by many last places
    for scale in [1e-3f64, 2.7e-4, -3.3e-3] {
        let law = |x: f64| 10.0 * (x / scale).tanh() * scale.signum();
        let slope = |x: f64| 10.0 / scale.abs() / (x / scale).cosh().powi(2);
        let (sought, wave) = (3.0 * scale, law(3.0 * scale));
        let mut steps = 0;
        let x = root(4.1 * scale, f64::NAN, |x| {
            steps += 1;
            // terms of the sum as they round, one after the other
            (((law(x) + 1.0 / 3.0) - wave) - 1.0 / 3.0, slope(x), law(x).abs() + wave.abs() + 2.0 / 3.0)
        });
        assert!((x / sought - 1.0).abs() <= 1e-12, "{x} {sought}");
        assert!(steps <= 25, "{steps} for {sought}");
    }
}

#[test]
fn films_in_series_add_up_to_the_wave() {
    let films = [
        (Film::Rectifying { resistance_ohm: 1.5e8, ideality: 1.7, leak_ratio: 0.15 }, 0.0, 0),
        (Film::Bridged { resistance_ohm: 0.1 }, 0.0, 1),
        (Film::Tunnelling { resistance_ohm: 2e5, scale_v: 0.4 }, 0.0, 2),
    ];
    let element = Element::new(false, 1e3, &films).unwrap();
    let mut start = f64::NAN;
    for k in 0..400 {
        let wave = 5.0 * (0.02 * f64::from(k)).sin();
        let stand = element.at(wave, &mut start);
        let sum = element.wave_ohm * stand.y + stand.f;
        assert!((sum - wave).abs() <= 16.0 * f64::EPSILON * wave.abs(), "{wave} {sum}");
    }
}
