//! Many tunnelling films in resistive loops at once, one in each lane of the processor's vectors.
//!
//! With `x = u/V0`, `c = Z/R` (Z what the film sees) and `y` the peak of the open voltage over V0, every film is
//! `x + c sinh x = y cos theta`, so two numbers say all about it. The law is odd: a quarter of the period is enough.
//!
//! * **Instants.** `x(theta)` is analytic in a strip about the real axis, whose half width `eta` follows from where the slope
//!   `1 + c cosh x` vanishes; the lines fall as `exp(-n eta)` there (Davis, Numerische Mathematik 1959, and
//!   Trefethen and Weideman, SIAM Review 56 (2014) 385 \[memory\]). So the instants that the tail needs are known beforehand;
//!   whether they were enough is judged by the tail itself, as on the [direct road](super::direct).
//! * **Roots.** From the crest down, each root is the start of the next: the inverse series of `x + c sinh x` to the
//!   fourth power of the step. All derivatives of sinh are at hand, so that one exponential per instant is the rule.
//! * **Exact to the last figures.** `sinh x - x` and `cosh x - 1` are carried, not their sums, and moved along by the addition theorem.
//!
//! No lane looks at another: a film's answer does not depend on what stands beside it.

use crate::physics::lanes::{Lanes, Mask, SERIES_TO, sinh_and_cosh_beyond};
use pulp::{Simd, WithSimd};

/// Instants of a quarter period that there are tables for.
pub const INSTANTS: [usize; 15] = [4, 5, 6, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40, 48, 64];

/// Most instants.
const MOST: usize = 64;

/// Most films side by side, on any processor.
pub const MOST_LANES: usize = 32;

/// Steps of an instant after which a film is left to the road for single ones.
const MOST_STEPS: usize = 10;

/// A step up to this is carried out by the addition theorem.
const SHORT_STEP: f64 = 1.0 / 16.0;

/// Largest `x` at the crest.
const MOST_CREST: f64 = 300.0;

/// Rounding of the sums, relative to what is summed.
pub const ROUNDING: f64 = 2e-15;

/// Cosines of the instants, and what makes lines of their values.
pub struct Table {
    /// `cos((2k+1) pi/(4M))`
    cosine: Vec<f64>,
    /// `cos((2h+1)(2k+1) pi/(4M))/M`, row h
    lines: Vec<f64>,
}

impl Table {
    /// For `instants` of a quarter.
    #[must_use]
    pub fn new(instants: usize) -> Self {
        let angle = |h: usize, k: usize| {
            std::f64::consts::TAU * ((2 * h + 1) * (2 * k + 1) % (8 * instants)) as f64 / (8 * instants) as f64
        };
        let row = |h: usize| (0..instants).map(move |k| angle(h, k).cos() / instants as f64);
        Self {
            cosine: (0..instants).map(|k| angle(0, k).cos()).collect(),
            lines: (0..instants).flat_map(row).collect(),
        }
    }
}

/// Films side by side: what is asked, what came out. One number per lane.
pub struct Abreast {
    /// films that are there
    pub count: usize,
    /// instants of the table that they were solved on
    pub instants: usize,
    /// `Z/R`
    pub front: [f64; MOST_LANES],
    /// peak of the open voltage over V0
    pub drive: [f64; MOST_LANES],
    /// `sqrt(sum of c_n^2)` from the third line on, c as in `x = 2 Re sum c_n exp(j n theta)` of `sinh x - x`
    pub residue: [f64; MOST_LANES],
    /// bound of its error
    pub error: [f64; MOST_LANES],
    /// change of the fundamental, dB
    pub fundamental_db: [f64; MOST_LANES],
    /// `thd_r = thd_f/sqrt(1 + thd_f^2)`
    pub thd_f: [f64; MOST_LANES],
    /// the same over the total
    pub thd_r: [f64; MOST_LANES],
    /// `x/sinh x` at the crest
    pub chord: [f64; MOST_LANES],
    /// 1 where every instant was solved, 0 elsewhere
    pub solved: [f64; MOST_LANES],
    /// lines 1, 3, 5, ...
    pub lines: [[f64; MOST_LANES]; MOST],
}

impl Default for Abreast {
    fn default() -> Self {
        let none = [0.0; MOST_LANES];
        Self {
            count: 0,
            instants: 0,
            front: none,
            drive: none,
            residue: none,
            error: none,
            fundamental_db: none,
            thd_f: none,
            thd_r: none,
            chord: none,
            solved: none,
            lines: [none; MOST],
        }
    }
}

/// Where a film stands: `x`, `sinh x - x`, `cosh x - 1`.
#[derive(Clone, Copy)]
struct Point<S: Simd> {
    x: Lanes<S>,
    excess: Lanes<S>,
    rise: Lanes<S>,
}

/// Films of one group, their constants.
#[derive(Clone, Copy)]
struct Loops<S: Simd> {
    simd: S,
    front: Lanes<S>,
    whole: Lanes<S>,
}

impl<S: Simd> Loops<S> {
    #[inline(always)]
    fn at<const WEAK: bool>(self, x: Lanes<S>) -> Point<S> {
        if WEAK {
            let (excess, rise) = sinh_and_cosh_beyond(x);
            return Point { x, excess, rise };
        }
        let half = 0.5 * x.exp();
        let inverse = 0.25 / half;
        Point { x, excess: (half - inverse) - x, rise: (half + inverse) - 1.0 }
    }

    /// What the equation leaves over, and one over its slope.
    #[inline(always)]
    fn left(self, point: Point<S>, y: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        let left = self.whole.times_plus(point.x, self.front.times_plus(point.excess, -y));
        (left, 1.0 / self.front.times_plus(point.rise, self.whole))
    }

    /// The inverse series at a point: the change of `x` for a change of `y` that is `newton` times the slope.
    #[inline(always)]
    fn series(self, point: Point<S>, inverse_slope: Lanes<S>, newton: Lanes<S>) -> Lanes<S> {
        let splat = |number| Lanes::splat(self.simd, number);
        let share = self.front * inverse_slope;
        let second = 0.5 * share * (point.x + point.excess);
        let third = share * (1.0 / 6.0) * (point.rise + 1.0);
        let square = second * second;
        let fourth = second.times_plus(5.0 * third - 5.0 * square, (-1.0 / 12.0) * second);
        let cubic = square.times_plus(splat(2.0), -third);
        let factor = newton.times_plus(newton.times_plus(newton.times_plus(fourth, cubic), -second), splat(1.0));
        newton * factor
    }

    /// The root for `y` from a start; whether it is one; one over the slope there.
    #[inline(always)]
    fn root<const WEAK: bool>(self, y: Lanes<S>, start: Lanes<S>) -> (Point<S>, Lanes<S>, Mask<S>) {
        let splat = |number| Lanes::splat(self.simd, number);
        let mut x = start;
        let mut count = 0;
        let (point, d, short) = loop {
            let point = self.at::<WEAK>(x);
            let (left, inverse) = self.left(point, y);
            let d = self.series(point, inverse, -(left * inverse));
            let short = d.abs().below(splat(SHORT_STEP));
            count += 1;
            if short.all() || count == MOST_STEPS {
                break (point, d, short);
            }
            // a lane that has arrived stays where it is, whatever its neighbours do
            x = short.select(x, x + d);
        };
        // sinh d - d and cosh d - 1, next terms 1e-17 of them
        let z = d * d;
        let sinh = d * z * z.polynomial(&[1.0 / 6.0, 1.0 / 120.0, 1.0 / 5040.0, 1.0 / 362_880.0]);
        let cosh = z * z.polynomial(&[0.5, 1.0 / 24.0, 1.0 / 720.0, 1.0 / 40_320.0, 1.0 / 3_628_800.0]);
        let whole = d + sinh;
        let sine = point.x + point.excess;
        let moved = Point {
            x: point.x + d,
            excess: point.excess + sine.times_plus(cosh, point.rise.times_plus(whole, sinh)),
            rise: point.rise + sine.times_plus(whole, point.rise.times_plus(cosh, cosh)),
        };
        // the fifth power of a short step is left: one more, to its square
        let (left, inverse) = self.left(moved, y);
        let newton = -(left * inverse);
        let half_sine = 0.5 * (moved.x + moved.excess);
        let last = newton * (1.0 - newton * half_sine * self.front * inverse);
        let found = Point {
            x: moved.x + last,
            excess: moved.excess + last * last.times_plus(half_sine, moved.rise),
            rise: moved.rise + last * (2.0 * half_sine),
        };
        (found, inverse, short)
    }
}

/// One group of films on one table.
pub struct Solve<'a> {
    /// in and out
    pub films: &'a mut Abreast,
    /// the instants
    pub table: &'a Table,
    /// whether no crest lies above [`SERIES_TO`]
    pub weak: bool,
}

impl WithSimd for Solve<'_> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        if self.weak {
            solve::<S, true>(simd, self.films, self.table)
        } else {
            solve::<S, false>(simd, self.films, self.table)
        }
    }
}

#[inline(always)]
fn solve<S: Simd, const WEAK: bool>(simd: S, films: &mut Abreast, table: &Table) {
    let count = Lanes::<S>::COUNT;
    films.instants = table.cosine.len();
    for from in (0..films.count).step_by(count) {
        // a group that is not full is filled with its first film
        for lane in films.count..from + count {
            (films.front[lane], films.drive[lane]) = (films.front[from], films.drive[from]);
        }
        some::<S, WEAK>(simd, films, table, from);
    }
}

#[inline(always)]
fn some<S: Simd, const WEAK: bool>(simd: S, films: &mut Abreast, table: &Table, from: usize) {
    let splat = |number| Lanes::splat(simd, number);
    let front = Lanes::load(simd, &films.front[from..]);
    let drive = Lanes::load(simd, &films.drive[from..]);
    let loops = Loops { simd, front, whole: front + 1.0 };
    let straight = 1.0 / loops.whole;
    // both lie above the root; ln(1 + 2 y/c) is at least asinh(y/c)
    let start = (drive * straight).min((2.0 * drive / front + 1.0).ln());
    let (crest, mut inverse, mut solved) = loops.root::<WEAK>(drive, start);
    let chord = crest.x / (crest.x + crest.excess);
    chord.store(&mut films.chord[from..]);
    let mut excess = [splat(0.0); MOST];
    let (mut point, mut before) = (crest, drive);
    for (cosine, excess) in table.cosine.iter().zip(&mut excess) {
        let y = drive * *cosine;
        let ahead = point.x + loops.series(point, inverse, (y - before) * inverse);
        let start = ahead.min(y * straight).max(splat(0.0));
        let (next, slope, one) = loops.root::<WEAK>(y, start);
        solved = solved.and(one);
        *excess = next.excess;
        (point, inverse, before) = (next, slope, y);
    }
    let count = table.cosine.len();
    let excess = &excess[..count];
    let (mut first, mut residue, mut outer) = (splat(0.0), splat(0.0), splat(0.0));
    for (h, row) in table.lines.chunks_exact(count).enumerate() {
        let (mut even, mut odd) = (splat(0.0), splat(0.0));
        let mut pairs = row.chunks_exact(2).zip(excess.chunks_exact(2));
        for (c, e) in &mut pairs {
            even = e[0].times_plus(splat(c[0]), even);
            odd = e[1].times_plus(splat(c[1]), odd);
        }
        if count % 2 == 1 {
            even = excess[count - 1].times_plus(splat(row[count - 1]), even);
        }
        let line = even + odd;
        line.store(&mut films.lines[h][from..]);
        if h == 0 {
            first = line;
        } else {
            residue = line.times_plus(line, residue);
            // the outer quarter of the orders 2h + 1 below 2 M
            if 2 * (2 * h + 1) > 3 * count {
                outer = line.times_plus(line, outer);
            }
        }
    }
    // V rms of 2 c cos is sqrt(2) c
    let root_two = std::f64::consts::SQRT_2;
    let error = root_two * (2.0 * outer.sqrt() + ROUNDING * first.times_plus(first, residue).sqrt());
    let residue = residue.sqrt();
    let share = 2.0 / drive;
    let louder = first * share + 1.0;
    let thd_f = residue * share / louder;
    residue.store(&mut films.residue[from..]);
    error.store(&mut films.error[from..]);
    (louder.ln() * (20.0 / std::f64::consts::LN_10)).store(&mut films.fundamental_db[from..]);
    thd_f.store(&mut films.thd_f[from..]);
    (thd_f / thd_f.times_plus(thd_f, splat(1.0)).sqrt()).store(&mut films.thd_r[from..]);
    solved.select(splat(1.0), splat(0.0)).store(&mut films.solved[from..]);
}

/// How many instants the tail of each film will need, as an index into [`INSTANTS`]; and whether its crest is weak.
pub struct Foresee<'a> {
    /// `Z/R`, any number of films
    pub front: &'a [f64],
    /// peak of the open voltage over V0
    pub drive: &'a [f64],
    /// out: instants that are wanted, negative for a weak film; infinite where this road does not go
    pub wanted: &'a mut [f64],
}

impl WithSimd for Foresee<'_> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let count = Lanes::<S>::COUNT;
        let groups = self.front.chunks(count).zip(self.drive.chunks(count)).zip(self.wanted.chunks_mut(count));
        for ((front, drive), wanted) in groups {
            if front.len() == count {
                foresee(simd, Lanes::load(simd, front), Lanes::load(simd, drive)).store(wanted);
                continue;
            }
            let mut ends = [[1.0; MOST_LANES]; 3];
            ends[0][..front.len()].copy_from_slice(front);
            ends[1][..front.len()].copy_from_slice(drive);
            let found = foresee(simd, Lanes::load(simd, &ends[0]), Lanes::load(simd, &ends[1]));
            found.store(&mut ends[2]);
            wanted.copy_from_slice(&ends[2][..wanted.len()]);
        }
    }
}

/// Instants of a quarter that any film needs, and those that it needs per `1/eta`: found by trying (see the tests).
const INSTANTS_LEAST: f64 = 1.5;
const INSTANTS_PER_WIDTH: f64 = 11.5;

#[inline(always)]
fn foresee<S: Simd>(simd: S, front: Lanes<S>, drive: Lanes<S>) -> Lanes<S> {
    let splat = |number| Lanes::splat(simd, number);
    let (zero, one) = (splat(0.0), splat(1.0));
    // where 1 + c cosh x = 0: at i beta for c >= 1, at a + i pi below it; asin(1/c) is at least 1/c
    let inverse = 1.0 / front;
    let steep = one.below(front);
    let a = steep.select(one, inverse + (inverse * inverse - 1.0).max(zero).sqrt()).ln();
    let p = a - (1.0 - front * front).max(zero).sqrt();
    let q = steep.select(
        inverse + std::f64::consts::FRAC_PI_2 + (front * front - 1.0).max(zero).sqrt(),
        splat(std::f64::consts::PI),
    );
    let (p, q) = (p / drive, q / drive);
    // half the sum of the axes of the ellipse with foci -1 and 1 through it
    let far = ((p + 1.0) * (p + 1.0) + q * q).sqrt();
    let near = ((p - 1.0) * (p - 1.0) + q * q).sqrt();
    let long = 0.5 * (far + near);
    let eta = (long + (long * long - 1.0).max(zero).sqrt()).ln();
    let wanted = INSTANTS_PER_WIDTH / eta + INSTANTS_LEAST;
    let crest = (drive / (front + 1.0)).min((2.0 * drive * inverse + 1.0).ln());
    let weak = crest.below(splat(SERIES_TO));
    // numbers that no film has would overflow on the way
    let sane = crest.below(splat(MOST_CREST)).and(splat(1e-100).below(front)).and(front.below(splat(1e100)));
    let sane = sane.and(splat(1e-100).below(drive)).and(drive.below(splat(1e100)));
    sane.select(weak.select(-wanted, wanted), splat(f64::INFINITY))
}
