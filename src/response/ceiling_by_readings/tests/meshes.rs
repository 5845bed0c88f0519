//! Three meshes by hand: what the ohms of two contacts and the millivolts of a third do between capacitances.
//!
//! A source of `Rs`, contacts 0, 1, 2, a capacitance behind each (`Y = j w C`), the load R. From the load back, per volt there, with `v` across the
//! contacts: `i2 = 1/R + Y`, `i1 = i2 + Y (1 + v2)`, `i0 = i1 + Y (1 + v2 + v1)`; so `c = (1/R + 3 Y, 1/R + 2 Y, 1/R + Y)` and `N01 = Y`, `N02 = 2 Y`,
//! `N12 = Y`, all others zero. Without EMF `Rs i0 + v0 + v1 + v2 + y = 0`.

use super::super::*;
use super::{of, section};
use crate::circuit::Chain;
use crate::circuit::chain::Network;
use nalgebra::{DMatrix, DVector};
use std::f64::consts::TAU;

const SOURCE_OHM: f64 = 300.0;
const LOAD_OHM: f64 = 700.0;
const FARAD: f64 = 2e-7;

fn siemens(hz: f64) -> Complex64 {
    Complex64::new(0.0, TAU * hz * FARAD)
}

fn drive(hz: f64) -> [Complex64; 3] {
    [3.0, 2.0, 1.0].map(|count| 1.0 / LOAD_OHM + siemens(hz) * count)
}

/// N, row by row.
fn driven_by_volts(hz: f64) -> [[Complex64; 3]; 3] {
    let y = siemens(hz);
    let zero = Complex64::ZERO;
    [[zero, y, 2.0 * y], [zero, zero, y], [zero; 3]]
}

/// Output per volt in series with each contact, size.
fn output(hz: f64) -> [f64; 3] {
    let y = siemens(hz);
    let own = 1.0 + SOURCE_OHM * drive(hz)[0];
    [0.0, 1.0, 2.0].map(|count| ((1.0 + SOURCE_OHM * y * count) / own).norm())
}

/// The bound by definition; `ohm` of the first contacts, `volts` across the ones after them.
fn by_hand(hz: f64, ohm: &[f64], volts: &[f64]) -> f64 {
    let (c, n) = (drive(hz), driven_by_volts(hz));
    let m = ohm.len();
    let band = || (0..=4000).map(|k| output(20.0 * 1000f64.powf(f64::from(k) / 4000.0)));
    let largest = band().map(|h| ohm.iter().zip(h).map(|(r, h)| r * h * h).sum()).fold(0.0, f64::max);
    let most: Vec<f64> = (0..volts.len()).map(|b| band().map(|h| h[m + b]).fold(0.0, f64::max)).collect();
    let half_sum = |k: usize, j: usize| (n[k][j] + n[j][k].conj()) / 2.0;
    let power =
        DMatrix::from_fn(m, m, |k, j| Complex64::from(if k == j { ohm[k].recip() } else { 0.0 }) - half_sum(k, j));
    let inverse = power.try_inverse().unwrap();
    let length = |v: DVector<Complex64>| (v.adjoint() * &inverse * &v)[(0, 0)].re.sqrt();
    let by_tone = length(DVector::from_fn(m, |k, _| c[k]));
    let by_volts: Vec<f64> =
        (0..volts.len()).map(|b| length(DVector::from_fn(m, |k, _| 2.0 * half_sum(k, m + b)))).collect();
    let whole: f64 = most.iter().zip(volts).map(|(h, v)| h * v).sum();
    let at = |x: f64| {
        let b: Vec<f64> = most.iter().zip(volts).map(|(h, v)| v.min(x / h)).collect();
        let s = by_tone + by_volts.iter().zip(&b).map(|(l, b)| l * b).sum::<f64>();
        let given: f64 = b.iter().enumerate().map(|(k, b)| c[m + k].norm() * b).sum();
        let pairs = (0..b.len()).flat_map(|x| (0..b.len()).map(move |y| (x, y)));
        let between: f64 = pairs.map(|(x, y)| half_sum(m + x, m + y).norm() * b[x] * b[y]).sum();
        (largest * (s * s / 4.0 + given + between)).sqrt() + (whole * whole - x * x).max(0.0).sqrt()
    };
    (0..=20_000).map(|k| at(whole * f64::from(k) / 20_000.0)).fold(0.0, f64::max)
}

#[test]
fn meshes_between_capacitances_are_the_definition_by_hand() {
    let items = vec![section("a", true, FARAD, 3)];
    let network: Network = Network::from_chain(&Chain { items }).unwrap();
    // so much across the read ones that what they drive counts for as much as the tone
    for (ohm, volts) in [(&[40.0, 90.0][..], &[0.5][..]), (&[150.0], &[0.4, 0.7]), (&[300.0, 20.0], &[2.0])] {
        let moving: Vec<Moving> = ohm.iter().enumerate().map(|(k, &r)| (k, (0.0, r))).collect();
        let read: Vec<Across> = volts.iter().enumerate().map(|(k, &v)| (ohm.len() + k, v)).collect();
        for hz in [1e3, 5e3] {
            let found = ceiling_by_readings(&network, hz, &moving, &read, (20.0, 20e3)).unwrap();
            let exact = by_hand(hz, ohm, volts);
            assert!(found >= exact * (1.0 - 1e-6) && found < exact * 1.005, "{ohm:?} {volts:?} {hz}: {found} {exact}");
        }
        assert!(of(&network, &moving, &read).is_ok());
    }
}
