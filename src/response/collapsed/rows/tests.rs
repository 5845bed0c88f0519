//! Rows by polynomials against the same points by logarithms.

use super::super::tests::{cartridge, geometric, losses, muted};
use super::*;
use crate::circuit::chain::Network;
use crate::circuit::{Contact, Lead, Load, PathItem, Section, Source};
use crate::response::sweep::Values;

const FREQUENCIES: usize = 90;

/// A series resonance: next to it the load is a short and `k` turns by nearly half a circle.
fn trap() -> Network {
    let section = Section {
        name: "trap".into(),
        source: Some(Source { emf_v: 1.0, resistance_ohm: 1e-3, inductance_h: 0.0 }),
        path: vec![
            PathItem::Lead(Lead { resistance_ohm: 0.0, inductance_h: 1e-3, capacitance_f: 0.0 }),
            PathItem::Contact(Contact::ohmic("k", 0.0)),
        ],
        load: Load { capacitance_f: 1e-6, ..Load::resistance(1e6) },
    };
    Network::from_section(&section).unwrap()
}

/// All rows together, and point by point.
fn both(network: &Network, f: &[f64], ohm: &[f64]) -> (Vec<f64>, Vec<f64>) {
    let points = f.len() * ohm.len();
    let each: Vec<f64> = (0..points).map(|point| ohm[point / f.len()]).collect();
    let of = |values| {
        let mut columns = vec![Values::One(0.0); network.contacts.len()];
        columns[0] = values;
        losses(network, Values::Spread(f, 1), &columns, points)
    };
    (of(Values::Spread(ohm, f.len())), of(Values::Many(&each)))
}

#[test]
fn polynomials_are_what_logarithms_are() {
    for network in [cartridge(), muted()] {
        let f = geometric(20.0, 90e3, FREQUENCIES);
        // all octaves that have pieces, and more
        let mut ohm = geometric(1e-7, 1e9, 40_000);
        ohm.push(0.0);
        let (rows, points) = both(&network, &f, &ohm);
        let (mut worst, mut same) = (0.0f64, 0);
        for (at, (row, point)) in rows.iter().zip(&points).enumerate() {
            same += usize::from(row.to_bits() == point.to_bits());
            if row != point {
                worst = worst.max(((row - point) / point).abs());
            }
            assert!(ohm[at / FREQUENCIES] > 0.0 || row == point || row.is_nan() && point.is_nan(), "{row} {point}");
        }
        assert!(worst < APART, "{worst:e}");
        // polynomials they were, not the same logarithms
        assert!(worst > 0.1 * APART && same < rows.len() * 3 / 4, "{worst:e} {same}");
    }
}

#[test]
fn what_is_no_resistance_or_has_few_neighbours_goes_by_logarithms() {
    let network = cartridge();
    let f = geometric(20.0, 20e3, FREQUENCIES);
    let odd = [f64::NAN, f64::INFINITY, -1.0, -1e6, 1e155, f64::MAX, 3e5];
    let mut ohm = geometric(1.0, 900.0, FEWEST_ROWS);
    for (k, odd) in odd.into_iter().enumerate() {
        ohm.insert(30 * k, odd);
    }
    let (rows, points) = both(&network, &f, &ohm);
    for (at, (row, point)) in rows.iter().zip(&points).enumerate() {
        let alone = at % (30 * FREQUENCIES) < FREQUENCIES && at / (30 * FREQUENCIES) < odd.len();
        let near = (row / point - 1.0).abs() < APART;
        assert!(
            row.to_bits() == point.to_bits() || !alone && near || row.is_nan() && point.is_nan(),
            "{at}: {row} {point}"
        );
    }
    assert!(rows.iter().zip(&points).any(|(row, point)| row.to_bits() != point.to_bits()));
    // too few of them: no polynomials
    let (rows, points) = both(&network, &f, &geometric(1.0, 900.0, FEWEST_ROWS - 1));
    assert!(rows.iter().zip(&points).all(|(row, point)| row.to_bits() == point.to_bits()));
}

#[test]
fn small_losses_keep_their_digits_in_rows() {
    // to first order `20/ln 10 Re(k) rho`: twice the resistance is twice the loss
    let f = geometric(20.0, 20e3, FREQUENCIES);
    let of = |ohm: f64| both(&cartridge(), &f, &vec![ohm; FEWEST_ROWS]).0;
    for (one, two) in of(1e-12).iter().zip(of(2e-12)) {
        assert!(*one > 0.0 && (two / one - 2.0).abs() < 1e-14, "{one:e} {two:e}");
    }
}

#[test]
fn a_row_has_the_sum_of_its_contacts() {
    let (length, rows) = (SHORTEST, FEWEST_ROWS);
    let (one, two) = (geometric(1.0, 50.0, rows), geometric(0.1, 7.0, rows / 2));
    for across in [false, true] {
        let group = Group { members: vec![2, 0, 3, 1], across };
        // for each row, for two rows, the same everywhere, and fewer of them than rows
        let columns = [
            Values::Spread(&one, length),
            Values::Spread(&two, 2 * length),
            Values::One(3.0),
            Values::Spread(&two, length),
        ];
        let found = resistances(&group, &columns, length, length * rows).unwrap();
        for (row, rho) in found.into_iter().enumerate() {
            let sum = group.members.iter().fold(0.0, |sum, &member| sum + columns[member].at(row * length));
            assert_eq!(rho, if across { 1.0 / sum } else { sum });
        }
        let turned = [Values::Spread(&one, 1), columns[1], columns[2], columns[3]];
        assert!(resistances(&group, &turned, length, length * rows).is_none());
        assert!(
            resistances(&group, &columns, length - 1, (length - 1) * rows).is_none()
                && resistances(&group, &columns, length, length * (rows - 1)).is_none()
        );
    }
}

#[test]
fn the_last_two_powers_are_put_as_well_as_they_can_be() {
    let simd = pulp::Scalar::new();
    for (power, most) in [(8, 128f64.recip()), (9, 256f64.recip())] {
        let terms = std::array::from_fn(|m| Lanes::splat(simd, f64::from(u8::from(m == power))));
        let put = without_the_last_two(terms);
        let mut largest = 0.0f64;
        for step in -1000..=1000 {
            let t = f64::from(step) / 1000.0;
            let mut value = [0.0; 8];
            let sum = put
                .iter()
                .rev()
                .fold(Lanes::splat(simd, 0.0), |sum, term| sum.times_plus(Lanes::splat(simd, t), *term));
            sum.store(&mut value);
            largest = largest.max((value[0] - t.powi(power as i32)).abs());
        }
        // no polynomial of a lower degree is nearer
        assert!((largest / most - 1.0).abs() < 1e-4, "{power}: {largest} {most}");
    }
}

#[test]
fn a_loss_that_is_left_of_larger_terms_and_a_row_that_is_cut_go_by_logarithms() {
    let bits = |(rows, points): (Vec<f64>, Vec<f64>)| {
        rows.iter().zip(&points).all(|(row, point)| row.to_bits() == point.to_bits())
    };
    // next to its resonance the real part of `k` is a hundredth of it
    let f = geometric(20.0, 90e3, FREQUENCIES);
    let ohm = geometric(1e-9, 900.0, 2 * FEWEST_ROWS);
    assert!(bits(both(&trap(), &f, &ohm)) && !bits(both(&cartridge(), &f[..80], &ohm)));
    // one point of the last row is not asked for
    let network = cartridge();
    let columns = [Values::Spread(&ohm, FREQUENCIES), Values::One(0.0)];
    let all = losses(&network, Values::Spread(&f, 1), &columns, ohm.len() * FREQUENCIES);
    let cut = losses(&network, Values::Spread(&f, 1), &columns, ohm.len() * FREQUENCIES - 1);
    assert!(cut.iter().zip(&all).all(|(cut, all)| (cut / all - 1.0).abs() < APART));
}
