//! Many films of one law in resistive loops at once, one in each lane of the processor's vectors.
//!
//! With `x = u/U`, U the law's voltage, `phi` its shape (`sinh`, `expm1`, `atan`), `c = Z/R` (Z what the film sees), `l` the share
//! of a plain leak and `y` the peak of the open voltage over U, every film is `(1 + c l) x + c (1-l) phi(x) = y cos theta`, so
//! two numbers and the leak say all about it. Of an odd law a quarter of the period is enough, of the diode half of it: the same
//! cosines again below zero, and sums and differences of the two quarters for even and odd lines.
//!
//! * **Instants.** `x(theta)` is analytic in a strip about the real axis, whose half width `eta` follows from where the slope
//!   `1 + c l + c (1-l) phi'(x)` vanishes; the lines fall as `exp(-n eta)` there (Davis, Numerische Mathematik 1959, and
//!   Trefethen and Weideman, SIAM Review 56 (2014) 385 \[memory\]). So the instants that the tail needs are known beforehand;
//!   whether they were enough is judged by the tail itself, as on the [direct road](super::direct).
//! * **Roots.** From the crest down, each root is the start of the next: the inverse series of the loop to the
//!   fourth power of the step. All derivatives of a law are at hand, so that one exponential (or arctangent) per instant is the rule.
//! * **Stiff films**, those that want more than some forty even instants, go on instants that stand where the waveform bends (`graded`).
//! * **Exact to the last figures.** `phi(x) - x` and `phi'(x) - 1` are carried, not their sums, and moved along by the addition theorem.
//!
//! No lane looks at another: a film's answer does not depend on what stands beside it.

mod foresee;
mod gauss;
mod graded;

use super::laws::{Atan, Expm1, Law, Loops, Point, Sinh};
use crate::physics::lanes::{Lanes, Mask};
pub use foresee::Foresee;
pub use gauss::Gauss;
pub use graded::{ForeseeGraded, GRADED, SolveGraded};
use pulp::{Simd, WithSimd};

/// Even instants of a quarter period that there are tables for.
pub const INSTANTS: [usize; 20] = [4, 5, 6, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40, 48, 64, 80, 104, 136, 184, 256];

/// Most films side by side, on any processor.
pub const MOST_LANES: usize = 32;

/// Steps of an instant after which a film is left to the road for single ones.
const MOST_STEPS: usize = 10;

/// Rounding of the sums, relative to what is summed.
pub const ROUNDING: f64 = 2e-15;

/// The laws that go abreast.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// tunnelling
    Sinh,
    /// rectifying
    Expm1,
    /// bridged
    Atan,
}

/// Cosines of the instants, and what makes lines of their values.
pub struct Table {
    /// `cos((2k+1) pi/(4M))`
    cosine: Vec<f64>,
    /// `cos((2h+1)(2k+1) pi/(4M))/M`, row h
    odd: Vec<f64>,
    /// `cos(2h(2k+1) pi/(4M))/M`, row h
    even: Vec<f64>,
}

impl Table {
    /// For `instants` of a quarter.
    #[must_use]
    pub fn new(instants: usize) -> Self {
        let circle: Vec<f64> =
            (0..8 * instants).map(|n| (std::f64::consts::TAU * n as f64 / (8 * instants) as f64).cos()).collect();
        let cosine = |order: usize, k: usize| circle[order * (2 * k + 1) % (8 * instants)];
        let row = |order: usize| (0..instants).map(move |k| cosine(order, k) / instants as f64);
        Self {
            cosine: (0..instants).map(|k| cosine(1, k)).collect(),
            odd: (0..instants).flat_map(|h| row(2 * h + 1)).collect(),
            even: (0..instants).flat_map(|h| row(2 * h)).collect(),
        }
    }
}

/// Films side by side: what is asked, what came out. One number per lane.
pub struct Abreast {
    /// films that are there
    pub count: usize,
    /// lines that were found: orders below this
    pub orders: usize,
    /// share of the zero-voltage conductance of each that is a plain leak
    pub leak: f64,
    /// `Z/R`
    pub front: [f64; MOST_LANES],
    /// peak of the open voltage over the law's voltage
    pub drive: [f64; MOST_LANES],
    /// `sqrt(sum of c_n^2)` from the second line on, c as in `x = 2 Re sum c_n exp(j n theta)` of what the law adds
    pub residue: [f64; MOST_LANES],
    /// bound of its error, times the root of two
    pub error: [f64; MOST_LANES],
    /// change of the fundamental, dB
    pub fundamental_db: [f64; MOST_LANES],
    /// `thd_r = thd_f/sqrt(1 + thd_f^2)`
    pub thd_f: [f64; MOST_LANES],
    /// the same over the total
    pub thd_r: [f64; MOST_LANES],
    /// smallest chord over the zero-voltage resistance
    pub chord_least: [f64; MOST_LANES],
    /// largest
    pub chord_most: [f64; MOST_LANES],
    /// 1 where every instant was solved, 0 elsewhere
    pub solved: [f64; MOST_LANES],
    /// lines by order; of an odd law the odd ones alone
    pub lines: Vec<[f64; MOST_LANES]>,
    /// `phi(x) - x` at the instants of the group in work, lanes side by side
    excess: Vec<f64>,
}

impl Default for Abreast {
    fn default() -> Self {
        let none = [0.0; MOST_LANES];
        Self {
            count: 0,
            orders: 0,
            leak: 0.0,
            front: none,
            drive: none,
            residue: none,
            error: none,
            fundamental_db: none,
            thd_f: none,
            thd_r: none,
            chord_least: none,
            chord_most: none,
            solved: none,
            lines: Vec::new(),
            excess: Vec::new(),
        }
    }
}

impl Abreast {
    /// Room for lines and for what is kept of the instants.
    fn make_room(&mut self, orders: usize, kept: usize) {
        self.orders = orders;
        if self.lines.len() < orders {
            self.lines.resize(orders, [0.0; MOST_LANES]);
        }
        if self.excess.len() < kept * MOST_LANES {
            self.excess.resize(kept * MOST_LANES, 0.0);
        }
    }

    /// A group that is not full is filled with its first film.
    fn fill(&mut self, from: usize, lanes: usize) {
        for lane in self.count..from + lanes {
            (self.front[lane], self.drive[lane]) = (self.front[from], self.drive[from]);
        }
    }
}

impl<S: Simd> Loops<S> {
    /// Of films that are `front` of what they see, a share of each a plain leak.
    #[inline(always)]
    fn new(leak: Lanes<S>, front: Lanes<S>) -> Self {
        let (linear, law) = (front * leak + 1.0, front * (1.0 - leak));
        Self { simd: front.simd(), linear, law, straight: 1.0 / (front + 1.0) }
    }

    /// What the equation leaves over, and one over its slope.
    #[inline(always)]
    fn left(self, point: Point<S>, y: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        let left = self.linear.times_plus(point.x, self.law.times_plus(point.phi, -y));
        (left, 1.0 / self.law.times_plus(point.slope, self.linear))
    }

    /// The inverse series at a point: the change of `x` for a change of `y` that is `newton` times the slope.
    #[inline(always)]
    fn series<L: Law>(self, point: Point<S>, inverse_slope: Lanes<S>, newton: Lanes<S>) -> Lanes<S> {
        let splat = |number| Lanes::splat(self.simd, number);
        let share = self.law * inverse_slope;
        let [second, third, fourth] = L::bends(point);
        let (second, third, fourth) = (share * second, share * third, share * fourth);
        let square = second * second;
        let quartic = second.times_plus(5.0 * third - 5.0 * square, -fourth);
        let cubic = square.times_plus(splat(2.0), -third);
        let factor = newton.times_plus(newton.times_plus(newton.times_plus(quartic, cubic), -second), splat(1.0));
        newton * factor
    }

    /// The root for `y` from a start between its bounds; whether it is one; one over the slope there.
    #[inline(always)]
    fn root<L: Law, const WEAK: bool>(
        self,
        y: Lanes<S>,
        start: Lanes<S>,
        (low, high): (Lanes<S>, Lanes<S>),
    ) -> (Point<S>, Lanes<S>, Mask<S>) {
        let mut x = start;
        let mut count = 0;
        let (point, d, short) = loop {
            let point = L::at::<S, WEAK>(x);
            let (left, inverse) = self.left(point, y);
            let newton = -(left * inverse);
            let d = self.series::<L>(point, inverse, newton);
            let short = L::is_short(point, d);
            count += 1;
            if short.all() || count == MOST_STEPS {
                break (point, d, short);
            }
            // far from the root the series may lead anywhere, the tangent does not
            let step = L::is_within(point, newton, 1.0).select(d, newton);
            // a lane that has arrived stays where it is, whatever its neighbours do
            x = short.select(x, (x + step).max(low).min(high));
        };
        let moved = L::moved(point, d);
        // the fifth power of a short step is left: one more, to its square
        let (left, inverse) = self.left(moved, y);
        let newton = -(left * inverse);
        let half_bend = L::bends(moved)[0];
        let last = newton * (1.0 - newton * half_bend * self.law * inverse);
        let bent = last * half_bend;
        let found = Point {
            x: moved.x + last,
            phi: moved.phi + last * (moved.slope + bent),
            excess: moved.excess + last * (moved.rise + bent),
            rise: moved.rise + 2.0 * bent,
            slope: moved.slope + 2.0 * bent,
        };
        (found, inverse, short)
    }
}

/// One group of films on one table.
pub struct Solve<'a> {
    /// the law
    pub shape: Shape,
    /// in and out
    pub films: &'a mut Abreast,
    /// the instants
    pub table: &'a Table,
    /// whether no crest or trough lies beyond [`SERIES_TO`](crate::physics::lanes::SERIES_TO)
    pub weak: bool,
}

impl WithSimd for Solve<'_> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        match (self.shape, self.weak) {
            (Shape::Sinh, true) => solve::<S, Sinh, true>(simd, self.films, self.table),
            (Shape::Sinh, false) => solve::<S, Sinh, false>(simd, self.films, self.table),
            (Shape::Expm1, true) => solve::<S, Expm1, true>(simd, self.films, self.table),
            (Shape::Expm1, false) => solve::<S, Expm1, false>(simd, self.films, self.table),
            (Shape::Atan, _) => solve::<S, Atan, false>(simd, self.films, self.table),
        }
    }
}

#[inline(always)]
fn solve<S: Simd, L: Law, const WEAK: bool>(simd: S, films: &mut Abreast, table: &Table) {
    let count = Lanes::<S>::COUNT;
    let instants = table.cosine.len();
    films.make_room(2 * instants, 2 * instants + 1);
    for from in (0..films.count).step_by(count) {
        films.fill(from, count);
        some::<S, L, WEAK>(simd, films, table, from);
    }
}

#[inline(always)]
fn some<S: Simd, L: Law, const WEAK: bool>(simd: S, films: &mut Abreast, table: &Table, from: usize) {
    let splat = |number| Lanes::splat(simd, number);
    let leak = splat(films.leak);
    let drive = Lanes::load(simd, &films.drive[from..]);
    let loops = Loops::new(leak, Lanes::load(simd, &films.front[from..]));
    let (crest, mut inverse, mut solved) =
        loops.root::<L, WEAK>(drive, L::start(loops, drive), L::bounds(loops, drive));
    let (mut point, mut before) = (crest, drive);
    let count = table.cosine.len();
    // of the falling quarter; then, of a law that is not odd, of the one below zero in the mirrored places; then the trough
    let lanes = Lanes::<S>::COUNT;
    let excess = &mut films.excess[..(2 * count + 1) * lanes];
    for instant in 0..if L::ODD { count } else { 2 * count + 1 } {
        let (cosine, place) = if instant < count {
            (table.cosine[instant], instant)
        } else if instant < 2 * count {
            (-table.cosine[2 * count - 1 - instant], 3 * count - 1 - instant)
        } else {
            (-1.0, 2 * count)
        };
        let y = drive * cosine;
        let (low, high) = L::bounds(loops, y);
        let ahead = point.x + loops.series::<L>(point, inverse, (y - before) * inverse);
        let (next, slope, one) = loops.root::<L, WEAK>(y, ahead.max(low).min(high), (low, high));
        solved = solved.and(one);
        next.excess.store(&mut excess[place * lanes..]);
        (point, inverse, before) = (next, slope, y);
    }
    let chord = crest.x / leak.times_plus(crest.x, (1.0 - leak) * crest.phi);
    let mut ends = (chord.min(splat(1.0)), chord.max(splat(1.0)));
    if !L::ODD {
        let chord = point.x / leak.times_plus(point.x, (1.0 - leak) * point.phi);
        ends = (ends.0.min(chord), ends.1.max(chord));
        let half = 0.5 * (1.0 - leak);
        let (odd, even) = excess.split_at_mut(count * lanes);
        for (odd, even) in odd.chunks_exact_mut(lanes).zip(even.chunks_exact_mut(lanes)) {
            let (above, below) = (half * Lanes::load(simd, odd), half * Lanes::load(simd, even));
            (above - below).store(odd);
            (above + below).store(even);
        }
    }
    ends.0.store(&mut films.chord_least[from..]);
    ends.1.store(&mut films.chord_most[from..]);
    let mut first = splat(0.0);
    let mut sums = Sums { residue: splat(0.0), outer: splat(0.0) };
    for (h, row) in table.odd.chunks_exact(count).enumerate() {
        let line = product(simd, row, &excess[..count * lanes]);
        line.store(&mut films.lines[2 * h + 1][from..]);
        if h == 0 {
            first = line;
        } else {
            sums.add(line, 2 * h + 1, count);
        }
    }
    // the mean has no order
    for (h, row) in table.even.chunks_exact(count).enumerate().skip(1) {
        if L::ODD {
            break;
        }
        let line = product(simd, row, &excess[count * lanes..2 * count * lanes]);
        line.store(&mut films.lines[2 * h][from..]);
        sums.add(line, 2 * h, count);
    }
    let Sums { residue, outer } = sums;
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

/// Squares of lines.
struct Sums<S: Simd> {
    residue: Lanes<S>,
    outer: Lanes<S>,
}

impl<S: Simd> Sums<S> {
    #[inline(always)]
    fn add(&mut self, line: Lanes<S>, order: usize, count: usize) {
        self.residue = line.times_plus(line, self.residue);
        // the outer quarter of the orders below 2 M
        if 2 * order > 3 * count {
            self.outer = line.times_plus(line, self.outer);
        }
    }
}

/// Sum of products of a row of the table and the instants.
#[inline(always)]
fn product<S: Simd>(simd: S, row: &[f64], excess: &[f64]) -> Lanes<S> {
    let splat = |number| Lanes::splat(simd, number);
    let lanes = Lanes::<S>::COUNT;
    let (mut even, mut odd) = (splat(0.0), splat(0.0));
    let mut pairs = row.chunks_exact(2).zip(excess.chunks_exact(2 * lanes));
    for (c, e) in &mut pairs {
        even = Lanes::load(simd, e).times_plus(splat(c[0]), even);
        odd = Lanes::load(simd, &e[lanes..]).times_plus(splat(c[1]), odd);
    }
    if row.len() % 2 == 1 {
        even = Lanes::load(simd, &excess[(row.len() - 1) * lanes..]).times_plus(splat(row[row.len() - 1]), even);
    }
    even + odd
}

#[cfg(test)]
mod error;
