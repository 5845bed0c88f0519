//! How many instants a film will need, known beforehand from where its loop ceases to be analytic.

use super::{MOST_LANES, Shape};
use crate::physics::lanes::Lanes;
use crate::response::steady::laws::{Atan, Expm1, Law, Loops, Sinh};
use pulp::{Simd, WithSimd};

/// How many instants the tail of each film will need, as a number of a quarter period; and whether its crest is weak.
pub struct Foresee<'a> {
    /// the law
    pub shape: Shape,
    /// share of the zero-voltage conductance that is a plain leak
    pub leak: f64,
    /// `Z/R`, any number of films
    pub front: &'a [f64],
    /// peak of the open voltage over the law's voltage
    pub drive: &'a [f64],
    /// out: instants that are wanted, negative for a weak film; infinite where this road does not go
    pub wanted: &'a mut [f64],
}

impl WithSimd for Foresee<'_> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        match self.shape {
            Shape::Sinh => self.all::<S, Sinh>(simd),
            Shape::Expm1 => self.all::<S, Expm1>(simd),
            Shape::Atan => self.all::<S, Atan>(simd),
        }
    }
}

impl Foresee<'_> {
    #[inline(always)]
    fn all<S: Simd, L: Law>(self, simd: S) {
        let count = Lanes::<S>::COUNT;
        let leak = Lanes::splat(simd, self.leak);
        let groups = self.front.chunks(count).zip(self.drive.chunks(count)).zip(self.wanted.chunks_mut(count));
        for ((front, drive), wanted) in groups {
            if front.len() == count {
                foresee::<S, L>(leak, Lanes::load(simd, front), Lanes::load(simd, drive)).store(wanted);
                continue;
            }
            let mut ends = [[1.0; MOST_LANES]; 3];
            ends[0][..front.len()].copy_from_slice(front);
            ends[1][..front.len()].copy_from_slice(drive);
            let found = foresee::<S, L>(leak, Lanes::load(simd, &ends[0]), Lanes::load(simd, &ends[1]));
            found.store(&mut ends[2]);
            wanted.copy_from_slice(&ends[2][..wanted.len()]);
        }
    }
}

/// Instants of a quarter that any film needs, and those that it needs per `1/eta`: found by trying (see the tests).
const INSTANTS_LEAST: f64 = 1.5;
const INSTANTS_PER_WIDTH: f64 = 11.5;

#[inline(always)]
fn foresee<S: Simd, L: Law>(leak: Lanes<S>, front: Lanes<S>, drive: Lanes<S>) -> Lanes<S> {
    let simd = front.simd();
    let splat = |number| Lanes::splat(simd, number);
    let zero = splat(0.0);
    let loops = Loops::new(leak, front);
    let (p, q) = L::singular(loops);
    let (p, q) = (p / drive, q / drive);
    // half the sum of the axes of the ellipse with foci -1 and 1 through it
    let far = ((p + 1.0) * (p + 1.0) + q * q).sqrt();
    let near = ((p - 1.0) * (p - 1.0) + q * q).sqrt();
    let long = 0.5 * (far + near);
    let eta = (long + (long * long - 1.0).max(zero).sqrt()).ln();
    let wanted = INSTANTS_PER_WIDTH / eta + INSTANTS_LEAST;
    // numbers that no film has would overflow on the way
    let sane = L::start(loops, drive).below(splat(L::MOST_CREST)).and(splat(1e-100).below(front));
    let sane = sane.and(front.below(splat(1e100))).and(splat(1e-100).below(drive)).and(drive.below(splat(1e100)));
    sane.select(L::weak(loops, drive).select(-wanted, wanted), splat(f64::INFINITY))
}
