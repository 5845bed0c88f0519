//! One law through current-voltage points: least squares in the voltage at given current.

use super::fit_points::{BLOCK, Points};
use crate::physics::constants::THERMAL_VOLTAGE_V;
use crate::physics::film::heating_voltage_v;
use crate::physics::{Film, series::Series};
use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn};
use std::f64::consts::FRAC_PI_2;
use std::ops::Range;

/// Most values that a law has.
const MOST_VALUES: usize = 4;

/// A search ends where a step makes the squares less by no more than this share of them, moves the values by no more than this share, or
/// finds differences and derivatives as near to a right angle. Of n points a value is then left within about `1e-6 sqrt(n)` of its own
/// standard deviations by the first, far less by the others: a thousandth of one at a million points.
const ENOUGH: f64 = 1e-12;

/// A law with the way it lies: a rectifier may be reversed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Law {
    Ohmic,
    Bridged,
    Tunnelling,
    Rectifying { reversed: bool },
}

/// What a fit varies, in this order: constriction, resistance, then the law's own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Parameters {
    pub(super) law: Law,
    pub(super) constriction_ohm: f64,
    pub(super) film: Film,
}

impl Parameters {
    fn sign(&self) -> f64 {
        if self.law == (Law::Rectifying { reversed: true }) { -1.0 } else { 1.0 }
    }

    /// Voltage at a current, V.
    pub(super) fn voltage_v(&self, current_a: f64) -> Option<f64> {
        let series = Series { film: self.film, constriction_ohm: self.constriction_ohm };
        Some(self.sign() * series.voltage_v(self.sign() * current_a)?)
    }

    pub(super) fn names(&self) -> &'static [&'static str] {
        match self.law {
            Law::Ohmic | Law::Bridged => &["resistance_ohm"],
            Law::Tunnelling => &["constriction_ohm", "resistance_ohm", "scale_v"],
            Law::Rectifying { .. } => &["constriction_ohm", "resistance_ohm", "ideality", "leak_ratio"],
        }
    }

    /// Values in the order of [`Parameters::names`].
    pub(super) fn values(&self) -> Vec<f64> {
        match self.film {
            Film::Ohmic { resistance_ohm } | Film::Bridged { resistance_ohm } => vec![resistance_ohm],
            Film::Tunnelling { resistance_ohm, scale_v } => vec![self.constriction_ohm, resistance_ohm, scale_v],
            Film::Rectifying { resistance_ohm, ideality, leak_ratio } => {
                vec![self.constriction_ohm, resistance_ohm, ideality, leak_ratio]
            }
        }
    }

    pub(super) fn with_values(&self, p: &[f64]) -> Self {
        let (constriction_ohm, film) = match self.law {
            Law::Ohmic => (0.0, Film::Ohmic { resistance_ohm: p[0] }),
            Law::Bridged => (0.0, Film::Bridged { resistance_ohm: p[0] }),
            Law::Tunnelling => (p[0], Film::Tunnelling { resistance_ohm: p[1], scale_v: p[2] }),
            Law::Rectifying { .. } => {
                (p[0], Film::Rectifying { resistance_ohm: p[1], ideality: p[2], leak_ratio: p[3] })
            }
        };
        Self { law: self.law, constriction_ohm, film }
    }

    /// Voltage across the film at a current, V, as the film lies.
    fn film_voltage_v(&self, current_a: f64) -> Option<f64> {
        self.film.voltage_v(self.sign() * current_a)
    }

    /// Derivatives of the voltage at a current by the values, as many as there are: `-(di/dp)/(di/dv)` of the film, `i` for the
    /// constriction; `film_v` is the voltage across the film there.
    pub(super) fn gradient(&self, current_a: f64, film_v: f64) -> [f64; MOST_VALUES] {
        let (i, v) = (self.sign() * current_a, film_v);
        let slope = self.film.slope_s(v);
        let resistance = self.film.resistance_ohm();
        let by_resistance = i / (slope * resistance);
        let own = match self.film {
            Film::Ohmic { .. } | Film::Bridged { .. } => [by_resistance, 0.0, 0.0, 0.0],
            Film::Tunnelling { scale_v, .. } => [i, by_resistance, (v - i / slope) / scale_v, 0.0],
            Film::Rectifying { ideality, leak_ratio, .. } => {
                let unit = ideality * THERMAL_VOLTAGE_V;
                let x = v / unit;
                let diode = unit * x.exp_m1();
                let by_ideality = (1.0 - leak_ratio) * (v * x.exp() - diode) / (ideality * resistance * slope);
                [i, by_resistance, by_ideality, (diode - v) / (resistance * slope)]
            }
        };
        own.map(|d| self.sign() * d)
    }
}

/// Which values stay where they are: those at an end of what is allowed.
pub(super) type Held = Vec<bool>;

/// Free values as the search sees them: logarithms, a logit for the leak, and for a bridge a logit below its end.
struct Search<'a> {
    points: &'a Points<'a>,
    held: Held,
    now: Parameters,
    /// a bridge's resistance stays below this, ohm
    end_ohm: f64,
    /// derivatives by the free values and differences, see [`turned`]
    rows: Option<DMatrix<f64>>,
}

impl Search<'_> {
    fn at(mut self) -> Self {
        self.rows = self.turned();
        self
    }

    fn turned(&self) -> Option<DMatrix<f64>> {
        let values = self.now.values();
        let free: Vec<_> = self.free().into_iter().map(|k| (k, self.derivative(k, values[k]))).collect();
        turned(self.points, &self.now, &free)
    }

    fn free(&self) -> Vec<usize> {
        (0..self.held.len()).filter(|&k| !self.held[k]).collect()
    }

    fn inside(&self, k: usize, value: f64) -> f64 {
        match self.now.names()[k] {
            "constriction_ohm" => value,
            "leak_ratio" => (value / (1.0 - value)).ln(),
            "resistance_ohm" if self.now.law == Law::Bridged => (value / (self.end_ohm - value)).ln(),
            _ => value.ln(),
        }
    }

    fn outside(&self, k: usize, inside: f64) -> f64 {
        match self.now.names()[k] {
            "constriction_ohm" => inside,
            "leak_ratio" => 1.0 / (1.0 + (-inside).exp()),
            "resistance_ohm" if self.now.law == Law::Bridged => self.end_ohm / (1.0 + (-inside).exp()),
            _ => inside.exp(),
        }
    }

    fn derivative(&self, k: usize, value: f64) -> f64 {
        match self.now.names()[k] {
            "constriction_ohm" => 1.0,
            "leak_ratio" => value * (1.0 - value),
            "resistance_ohm" if self.now.law == Law::Bridged => value * (1.0 - value / self.end_ohm),
            _ => value,
        }
    }
}

impl LeastSquaresProblem<f64, Dyn, Dyn> for Search<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, Dyn>;
    type ParameterStorage = Owned<f64, Dyn>;

    fn set_params(&mut self, x: &DVector<f64>) {
        let mut values = self.now.values();
        for (&k, &inside) in self.free().iter().zip(x.iter()) {
            values[k] = self.outside(k, inside);
        }
        self.now = self.now.with_values(&values);
        self.rows = self.turned();
    }

    fn params(&self) -> DVector<f64> {
        let values = self.now.values();
        DVector::from_vec(self.free().into_iter().map(|k| self.inside(k, values[k])).collect())
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let rows = self.rows.as_ref().filter(|_| !self.points.watch.stop())?;
        Some(rows.column(rows.ncols() - 1).into_owned())
    }

    fn jacobian(&self) -> Option<DMatrix<f64>> {
        let rows = self.rows.as_ref()?;
        Some(rows.columns(0, rows.ncols() - 1).into_owned())
    }
}

/// Derivatives by values, each times a factor, and in the last column differences, model less measured, weighted: of every point while
/// they are few, of more the triangle that a turn leaves of them, with the same squares and products. It is made of block after
/// block (Golub and Van Loan, "Matrix Computations", 5.2 \[memory\]), so little is held at a time, and on all cores. None outside
/// the law's range, or when told to stop.
fn turned(points: &Points<'_>, p: &Parameters, of: &[(usize, f64)]) -> Option<DMatrix<f64>> {
    let of_block = |block: Range<usize>| {
        let mut rows = DMatrix::zeros(block.len(), of.len() + 1);
        for (row, n) in block.enumerate() {
            let (i, w) = (points.current_a[n], points.weight[n]);
            let film_v = p.film_voltage_v(i)?;
            let gradient = p.gradient(i, film_v);
            for (column, &(k, factor)) in of.iter().enumerate() {
                rows[(row, column)] = w * gradient[k] * factor;
            }
            let difference = w * (p.sign() * film_v + p.constriction_ohm * i - points.voltage_v[n]);
            if !difference.is_finite() {
                return None;
            }
            rows[(row, of.len())] = difference;
        }
        Some(rows)
    };
    if points.current_a.len() <= BLOCK {
        return (!points.watch.stop()).then(|| of_block(0..points.current_a.len()))?;
    }
    let triangles = points.by_blocks(|block| of_block(block).map(|rows| rows.qr().unpack_r()))?;
    let mut rows = DMatrix::zeros(triangles.iter().map(DMatrix::nrows).sum(), of.len() + 1);
    let mut first = 0;
    for triangle in triangles {
        rows.rows_mut(first, triangle.nrows()).copy_from(&triangle);
        first += triangle.nrows();
    }
    Some(rows.qr().unpack_r())
}

/// Sum of squares of the weighted differences, model less measured; infinite where the law has no such voltage, or when told to stop.
pub(super) fn sum_of_squares(points: &Points<'_>, parameters: &Parameters) -> f64 {
    let one = |n: usize| {
        let model_v = parameters.voltage_v(points.current_a[n])?;
        Some(points.weight[n] * (model_v - points.voltage_v[n])).filter(|r| r.is_finite()).map(|r| r * r)
    };
    let sums = points.by_blocks(|block| block.map(one).sum::<Option<f64>>());
    sums.map_or(f64::INFINITY, |sums| sums.iter().sum())
}

/// Least squares from one start, on all points.
pub(super) fn straight_down(points: &Points<'_>, start: Parameters, held: Held) -> Option<Parameters> {
    let end_ohm = FRAC_PI_2 * heating_voltage_v() / points.largest_current_a();
    let search = Search { points, held, now: start, end_ohm, rows: None }.at();
    if search.free().is_empty() {
        return Some(start);
    }
    let search = LevenbergMarquardt::new()
        .with_patience(60)
        .with_ftol(ENOUGH)
        .with_xtol(ENOUGH)
        .with_gtol(ENOUGH)
        .minimize(search);
    let (found, _) = search;
    // the search may stop anywhere; what counts is how well it fits
    found.now.values().iter().all(|v| v.is_finite()).then_some(found.now)
}

/// Covariance of the free values for unit variance of the weighted differences; none where the points do not fix them.
pub(super) fn covariance(points: &Points<'_>, parameters: &Parameters, held: &Held) -> Option<DMatrix<f64>> {
    let free: Vec<_> = (0..held.len()).filter(|&k| !held[k]).map(|k| (k, 1.0)).collect();
    let mut jacobian = turned(points, parameters, &free)?.remove_column(free.len());
    // columns of unit length, so that ohms and volts do not spoil the inverse
    let lengths: Vec<f64> = jacobian.column_iter().map(|c| c.norm()).collect();
    if !lengths.iter().all(|l| l.is_finite() && *l > 0.0) {
        return None;
    }
    for (mut column, length) in jacobian.column_iter_mut().zip(&lengths) {
        column /= *length;
    }
    let mut inverse = (jacobian.transpose() * &jacobian).cholesky()?.inverse();
    for a in 0..free.len() {
        for b in 0..free.len() {
            inverse[(a, b)] /= lengths[a] * lengths[b];
        }
    }
    inverse.iter().all(|x| x.is_finite()).then_some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::watch::Unwatched;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn gradients_are_derivatives(i in -5.0f64..5.0, rc in 0.0f64..2.0, r in 0.01f64..0.028, n in 1.0f64..2.5, l in 0.02f64..0.9) {
            // currents that keep every law within its range; step 1e-6 of a value: truncation 1e-9, rounding 1e-9
            let base = |law, film| Parameters { law, constriction_ohm: rc, film };
            for (law, film) in [
                (Law::Ohmic, Film::Ohmic { resistance_ohm: r }),
                (Law::Bridged, Film::Bridged { resistance_ohm: r }),
                (Law::Tunnelling, Film::Tunnelling { resistance_ohm: 100.0 * r, scale_v: 0.1 }),
                (Law::Rectifying { reversed: false }, Film::Rectifying { resistance_ohm: r, ideality: n, leak_ratio: l }),
                (Law::Rectifying { reversed: true }, Film::Rectifying { resistance_ohm: r, ideality: n, leak_ratio: l }),
            ] {
                let mut p = base(law, film);
                if matches!(law, Law::Ohmic | Law::Bridged) {
                    p.constriction_ohm = 0.0;
                }
                let gradient = p.gradient(i, p.film_voltage_v(i).unwrap());
                let values = p.values();
                for k in 0..values.len() {
                    let step = 1e-6 * values[k].max(1e-3);
                    let at = |sign: f64| {
                        let mut moved = values.clone();
                        moved[k] += sign * step;
                        p.with_values(&moved).voltage_v(i).unwrap()
                    };
                    let difference = (at(1.0) - at(-1.0)) / (2.0 * step);
                    let scale = gradient[k].abs() + p.voltage_v(i).unwrap().abs() / values[k].max(1e-3);
                    prop_assert!((difference - gradient[k]).abs() <= 1e-6 * scale, "{:?} {} {} {}", p, k, difference, gradient[k]);
                }
            }
        }
    }

    #[test]
    fn what_a_turn_leaves_of_many_points_has_their_squares_and_products() {
        let count = 3 * BLOCK + 17;
        let current_a: Vec<f64> = (0..count).map(|k| (0.37 * k as f64).sin()).collect();
        let voltage_v: Vec<f64> = current_a.iter().map(|i| 0.011 * i + 1e-4 * (1e3 * i).cos()).collect();
        let weight: Vec<f64> = (0..count).map(|k| 1.0 + 0.5 * (0.11 * k as f64).cos()).collect();
        let film = Film::Rectifying { resistance_ohm: 0.01, ideality: 1.7, leak_ratio: 0.3 };
        let p = Parameters { law: Law::Rectifying { reversed: true }, constriction_ohm: 0.001, film };
        let of = [(0, 1.0), (1, 0.01), (3, 0.2)];
        let all = Points { voltage_v: &voltage_v, current_a: &current_a, weight: weight.clone(), watch: &Unwatched };
        let triangle = turned(&all, &p, &of).unwrap();
        assert_eq!(triangle.shape(), (4, 4));
        // few at a time are not turned
        let mut squares = DMatrix::zeros(4, 4);
        let mut sum = 0.0;
        for start in (0..count).step_by(1000) {
            let n = start..count.min(start + 1000);
            let some = Points {
                voltage_v: &voltage_v[n.clone()],
                current_a: &current_a[n.clone()],
                weight: weight[n].to_vec(),
                watch: &Unwatched,
            };
            let rows = turned(&some, &p, &of).unwrap();
            squares += rows.transpose() * &rows;
            sum += sum_of_squares(&some, &p);
        }
        let left = triangle.transpose() * &triangle - &squares;
        for a in 0..4 {
            for b in 0..4 {
                let size = (squares[(a, a)] * squares[(b, b)]).sqrt();
                assert!(left[(a, b)].abs() < 1e-13 * size, "{a} {b} {left} {squares}");
            }
        }
        assert!((squares[(3, 3)] / sum - 1.0).abs() < 1e-13 && (sum_of_squares(&all, &p) / sum - 1.0).abs() < 1e-13);
    }
}
