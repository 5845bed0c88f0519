//! T1 over very many ranges of one loop: what ranges of about the same size have in common is worked out once.
//!
//! With `S = Rmin + Rmax` and `P = Rmin Rmax` the square of the share is `Delta^2` over the least of `phi = a + S b + P c` over the
//! band, `a = |M|^2/|T|^2`, `b = Re M/|T|^2`, `c = 1/|T|^2`: for each frequency **affine** in `S` and `P`. So whatever
//! is above zero at the corners of a cell `[S0, S1] x [P0, P1]` is above zero for every range in it, and one proof serves them all:
//!
//! * an interval of frequency is left out where it exceeds, at every corner, what is reached at one and the same frequency;
//! * on what is left `phi` is a polynomial and a bound of the rest ([`Jet`]), whose slope keeps one sign at the corners, or whose
//!   curvature is at least `m > 0` there. An interval that is neither is halved.
//!
//! A range then costs the ends of the first, `phi` there and nothing else, and a few steps of Newton on each of the second: wherever they
//! end, at `x` the least is no lower than `p - p'^2/(2 m)`. Never too small, and where it is not tight to [`CLOSE`] the
//! range goes the old road, interval by interval. Cells stand fast, so no answer depends on what else is asked.

use super::jet::Jet;
use super::supremum::Span;
use crate::physics::lanes::Lanes;
use pulp::{Simd, WithSimd};
use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

/// Coefficients on the intervals that ranges are worked out on.
pub(super) const MANY: usize = 12;

/// How tight the least is enclosed, relative: as [`super::supremum`] does.
const CLOSE: f64 = 1e-11;

/// Largest bound of what the polynomial leaves out, and of what an interval taken for level may vary, relative.
const LEFT_OUT: f64 = 2e-12;

/// Bound of the rounding of all that is made of the coefficients of a range, relative to the sum of their sizes.
const ROUNDING: f64 = 1000.0 * f64::EPSILON;

/// Least curvature, relative to the value, that steps of Newton are trusted with.
const CURVED: f64 = 1e-9;

/// Halvings of one interval in a cell.
const DEPTH: u32 = 14;

/// Most intervals that a cell may keep.
const MOST: usize = 64;

/// Steps of Newton from the lowest point of the parabola.
const STEPS: usize = 3;

/// Room behind ranges so that whole vectors can be read and written.
pub(super) const ROOM: usize = 32;

/// `a`, `b` and `c` over an interval as polynomials, each with the bound of its rest.
#[derive(Debug, Clone)]
pub(super) struct Form<const N: usize> {
    parts: [[f64; N]; 3],
    rest: [f64; 3],
}

impl<const N: usize> Form<N> {
    /// Of three enclosures; the rounding of what is made of them is added.
    pub(super) fn new(jets: [Jet<N>; 3]) -> Self {
        let both = jets.map(|jet| jet.real_parts());
        let sum = |c: &[f64; N]| c.iter().map(|c| c.abs()).sum::<f64>();
        Self { parts: both.map(|part| part.0), rest: both.map(|(c, rest)| rest + ROUNDING * sum(&c)) }
    }

    /// The polynomial of one range, and the bound of its rest.
    fn of(&self, (s, p): (f64, f64)) -> ([f64; N], f64) {
        let [a, b, c] = &self.parts;
        let [ra, rb, rc] = self.rest;
        (std::array::from_fn(|k| a[k] + s * b[k] + p * c[k]), ra + s * rb + p * rc)
    }

    /// What is reached at `x`: at most this for every range.
    fn reached(&self, x: f64) -> [f64; 3] {
        std::array::from_fn(|part| horner(&self.parts[part], x) + self.rest[part])
    }

    /// What is not passed from above at `x`, `less` taken off each part.
    fn floor(&self, x: f64, less: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|part| horner(&self.parts[part], x) - self.rest[part] - less[part])
    }

    fn is_finite(&self) -> bool {
        self.parts.iter().flatten().chain(&self.rest).all(|number| number.is_finite())
    }
}

fn horner(c: &[f64], x: f64) -> f64 {
    c.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

fn value([a, b, c]: [f64; 3], (s, p): (f64, f64)) -> f64 {
    a + s * b + p * c
}

/// Where the parabola of the first three coefficients is least on `[-1, 1]`.
fn least_at(c: &[f64]) -> f64 {
    if c[2] > 0.0 && c[1].abs() < 2.0 * c[2] {
        -0.5 * c[1] / c[2]
    } else if c[1] > 0.0 {
        -1.0
    } else {
        1.0
    }
}

/// Below every value of a polynomial on `[-1, 1]`.
fn below(c: &[f64], rest: f64) -> f64 {
    let x = least_at(c);
    let parabola = (c[2] * x + c[1]) * x + c[0];
    parabola.min(c[0] + c[2] - c[1].abs()) - c[3..].iter().map(|c| c.abs()).sum::<f64>() - rest
}

/// How `phi` runs over an interval, the same for every range of a cell.
enum Run {
    Level,
    Rising,
    Falling,
    /// curvature at least so much
    Bowl(f64),
    Unclear,
}

/// An interval with its polynomials.
#[derive(Clone)]
struct Piece<const N: usize> {
    span: Span,
    form: Arc<Form<N>>,
    depth: u32,
}

/// Ranges of about the same size.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Corners {
    /// sums of the ends, ohm
    s: (f64, f64),
    /// their products, ohm^2
    p: (f64, f64),
}

impl Corners {
    fn each(&self) -> [(f64, f64); 4] {
        let (s, p) = (self.s, self.p);
        [(s.0, p.0), (s.1, p.0), (s.0, p.1), (s.1, p.1)]
    }

    /// Ranges at which it is asked where the least is.
    fn judged(&self) -> [(f64, f64); 5] {
        let [a, b, c, d] = self.each();
        [a, b, c, d, (0.5 * (self.s.0 + self.s.1), 0.5 * (self.p.0 + self.p.1))]
    }
}

/// Exponents of two of the sums and products that have cells; ranges beyond go the old road.
const SUMS: std::ops::Range<i64> = -40..60;
/// See [`SUMS`].
const PRODUCTS: std::ops::Range<i64> = -80..120;

/// Cells of sums: two an octave.
const SUM_CELLS: usize = 2 * (SUMS.end - SUMS.start) as usize;
/// Cells of products: one in two octaves, and one for zero.
const PRODUCT_CELLS: usize = 1 + (PRODUCTS.end - PRODUCTS.start) as usize / 2;
/// Numbers that [`cell_of`] gives.
pub(super) const CELLS: usize = SUM_CELLS * PRODUCT_CELLS;

const BIAS: i64 = 1023;

/// The number of the cell of a range; nothing for one that has none.
#[inline]
pub(super) fn cell_of((low, high): (f64, f64)) -> Option<usize> {
    let (s, p) = (low + high, low * high);
    let halves = (s.to_bits() >> 51) as i64 - 2 * (BIAS + SUMS.start);
    if !(0..SUM_CELLS as i64).contains(&halves) {
        return None;
    }
    let product = if p == 0.0 {
        // a product that vanishes by underflow is none
        if low != 0.0 {
            return None;
        }
        0
    } else {
        let exponent = (p.to_bits() >> 52) as i64 - BIAS;
        if !PRODUCTS.contains(&exponent) {
            return None;
        }
        1 + (exponent - PRODUCTS.start) as usize / 2
    };
    Some(halves as usize * PRODUCT_CELLS + product)
}

fn corners_of(cell: usize) -> Corners {
    let (halves, product) = (cell / PRODUCT_CELLS, cell % PRODUCT_CELLS);
    let half = |k: usize| 2f64.powi(SUMS.start as i32 + (k / 2) as i32) * if k % 2 == 0 { 1.0 } else { 1.5 };
    let end = |k: usize| 2f64.powi(PRODUCTS.start as i32 + 2 * k as i32);
    let p = if product == 0 { (0.0, 0.0) } else { (end(product - 1), end(product)) };
    Corners { s: (half(halves), half(halves + 1)), p }
}

/// `phi` on an interval where its curvature is proved.
#[derive(Debug)]
struct Bowl {
    form: Form<MANY>,
    /// coefficients that count
    terms: usize,
    /// `1/(2 m)`
    inverse_curvature: f64,
}

/// All that ranges of a cell need.
#[derive(Debug)]
pub(super) struct Cell {
    /// below `phi` on an interval: constant, per sum, per product
    floors: Vec<[f64; 3]>,
    bowls: Vec<Bowl>,
    /// `phi` at the harmonics that can have the largest share
    harmonics: Vec<[f64; 3]>,
}

/// What a table asks a loop.
pub(super) trait Enclosing {
    /// The three parts over an interval.
    fn form<const N: usize>(&self, span: Span) -> Option<Form<N>>;
}

/// What was worked out once, or that there is none.
type Found<T> = Option<Arc<T>>;

/// Intervals of a band, and what cells have asked of them so far.
#[derive(Debug)]
pub(super) struct Table {
    bases: Vec<(Span, Arc<Form<3>>)>,
    /// the three parts at each harmonic
    harmonics: Vec<[f64; 3]>,
    /// by the bits of both ends
    pieces: Mutex<HashMap<(u64, u64), Found<Form<MANY>>>>,
    cells: Mutex<HashMap<usize, Found<Cell>>>,
}

impl Table {
    /// Nothing where the output may vanish inside the band: then `phi` has no bound from above.
    pub(super) fn new(of: &impl Enclosing, spans: &[Span], harmonics: Vec<[f64; 3]>) -> Option<Self> {
        let mut bases = Vec::with_capacity(spans.len());
        let mut open: Vec<(Span, u32)> = spans.iter().map(|span| (*span, 0)).collect();
        while let Some((span, depth)) = open.pop() {
            match of.form::<3>(span) {
                Some(form) if form.is_finite() => bases.push((span, Arc::new(form))),
                _ if depth == DEPTH || bases.len() > 8 * spans.len() => return None,
                _ => open.extend(span.halves().map(|half| (half, depth + 1))),
            }
        }
        let finite = harmonics.iter().flatten().all(|part| part.is_finite());
        finite.then(|| Self { bases, harmonics, pieces: Mutex::default(), cells: Mutex::default() })
    }

    fn piece(&self, of: &impl Enclosing, span: Span, depth: u32) -> Option<Piece<MANY>> {
        let (a, b) = span.ends();
        let key = (a.to_bits(), b.to_bits());
        let mut pieces = self.pieces.lock().unwrap_or_else(PoisonError::into_inner);
        let form = pieces.entry(key).or_insert_with(|| {
            let form = of.form::<MANY>(span).filter(Form::is_finite);
            form.map(Arc::new)
        });
        form.as_ref().map(|form| Piece { span, form: Arc::clone(form), depth })
    }

    /// The cell of this number; nothing if ranges in it had better go the old road.
    pub(super) fn cell(&self, of: &impl Enclosing, number: usize) -> Option<Arc<Cell>> {
        if let Some(known) = self.cells.lock().unwrap_or_else(PoisonError::into_inner).get(&number) {
            return known.clone();
        }
        // two threads may make the same cell at once: it is the same one
        let made = self.make(of, &corners_of(number)).map(Arc::new);
        self.cells.lock().unwrap_or_else(PoisonError::into_inner).insert(number, made.clone());
        made
    }

    fn make(&self, of: &impl Enclosing, corners: &Corners) -> Option<Cell> {
        let coarse: Vec<Piece<3>> =
            self.bases.iter().map(|(span, form)| Piece { span: *span, form: Arc::clone(form), depth: 0 }).collect();
        let mut marks = Vec::new();
        let coarse = left(coarse, corners, &mut marks);
        let mut open = Vec::with_capacity(coarse.len());
        for piece in &coarse {
            open.push(self.piece(of, piece.span, 0)?);
        }
        loop {
            open = left(open, corners, &mut marks);
            if open.len() > MOST {
                return None;
            }
            let mut next = Vec::with_capacity(open.len());
            let mut all_clear = true;
            for piece in open {
                if !matches!(run_of(&piece.form, corners), Run::Unclear) {
                    next.push(piece);
                    continue;
                }
                if piece.depth == DEPTH {
                    return None;
                }
                all_clear = false;
                for half in piece.span.halves() {
                    next.push(self.piece(of, half, piece.depth + 1)?);
                }
            }
            open = next;
            if all_clear {
                break;
            }
        }
        let mut cell = Cell { floors: Vec::new(), bowls: Vec::new(), harmonics: self.harmonics_of(corners) };
        for piece in open {
            let form = &piece.form;
            match run_of(form, corners) {
                Run::Rising => cell.floors.push(form.floor(-1.0, [0.0; 3])),
                Run::Falling => cell.floors.push(form.floor(1.0, [0.0; 3])),
                Run::Level => {
                    let varying = form.parts.map(|part| part[1..].iter().map(|c| c.abs()).sum());
                    cell.floors.push(form.floor(0.0, varying));
                }
                Run::Bowl(curvature) => cell.bowls.push(Bowl::new(form, curvature, corners)),
                Run::Unclear => return None,
            }
        }
        Some(cell)
    }

    /// Those harmonics that can have the largest share somewhere in a cell.
    fn harmonics_of(&self, corners: &Corners) -> Vec<[f64; 3]> {
        // far more than the rounding of three products: what is left out is never the largest in the last place
        const CLEARLY: f64 = 1.0 + 1e-9;
        let all = &self.harmonics;
        let least = |at: (f64, f64)| all.iter().copied().min_by(|&x, &y| value(x, at).total_cmp(&value(y, at)));
        let marks: Vec<[f64; 3]> = corners.judged().into_iter().filter_map(least).collect();
        let passed = |line: [f64; 3], mark: [f64; 3]| {
            corners.each().into_iter().all(|at| value(line, at) > CLEARLY * value(mark, at))
        };
        all.iter().copied().filter(|&line| !marks.iter().any(|&mark| passed(line, mark))).collect()
    }
}

/// The intervals that can hold the least for some range of a cell. `marks` are values that are reached, each at one frequency.
fn left<const N: usize>(pieces: Vec<Piece<N>>, corners: &Corners, marks: &mut Vec<[f64; 3]>) -> Vec<Piece<N>> {
    for at in corners.judged() {
        let reached = |piece: &Piece<N>| piece.form.reached(least_at(&piece.form.of(at).0));
        let best = pieces.iter().map(reached).min_by(|&x, &y| value(x, at).total_cmp(&value(y, at)));
        marks.extend(best);
    }
    // of all marks so far the best at each judged range
    let best = |at: (f64, f64)| marks.iter().copied().min_by(|&x, &y| value(x, at).total_cmp(&value(y, at)));
    let kept: Vec<[f64; 3]> = corners.judged().into_iter().filter_map(best).collect();
    *marks = kept;
    let passed = |piece: &Piece<N>| {
        let floors = corners.each().map(|at| {
            let (c, rest) = piece.form.of(at);
            (at, below(&c, rest))
        });
        marks.iter().any(|&mark| floors.iter().all(|&(at, floor)| floor > value(mark, at) * (1.0 + ROUNDING)))
    };
    pieces.into_iter().filter(|piece| !passed(piece)).collect()
}

/// How `phi` runs over an interval for every range of a cell.
fn run_of(form: &Form<MANY>, corners: &Corners) -> Run {
    let (mut level, mut rising, mut falling, mut curvature) = (true, true, true, f64::INFINITY);
    for at in corners.each() {
        let (c, rest) = form.of(at);
        let size = c[0].abs();
        // a rest above this is halved away, or is rounding that halving does not mend: the old road
        if !(c[0] > 0.0 && rest <= LEFT_OUT * size) {
            return Run::Unclear;
        }
        let varying: f64 = c[1..].iter().map(|c| c.abs()).sum();
        level &= varying <= LEFT_OUT * size;
        let slope: f64 = (2..MANY).map(|k| k as f64 * c[k].abs()).sum::<f64>() + rest;
        rising &= c[1] > slope;
        falling &= -c[1] > slope;
        let bend: f64 = (3..MANY).map(|k| (k * (k - 1)) as f64 * c[k].abs()).sum();
        curvature = curvature.min(2.0 * c[2] - bend - CURVED * size);
    }
    match (level, rising, falling) {
        (true, _, _) => Run::Level,
        (_, true, _) => Run::Rising,
        (_, _, true) => Run::Falling,
        _ if curvature > 0.0 => Run::Bowl(curvature),
        _ => Run::Unclear,
    }
}

/// Ranges of one cell, and their answers: `harmonics` and `chatter`, NaN where a range must go the old road. Whole vectors are read and
/// written, so all have [`ROOM`] behind them.
pub(super) struct Ranges<'a> {
    pub(super) cell: &'a Cell,
    pub(super) count: usize,
    pub(super) low: &'a [f64],
    pub(super) high: &'a [f64],
    pub(super) harmonics: &'a mut [f64],
    pub(super) chatter: &'a mut [f64],
}

impl WithSimd for Ranges<'_> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        let splat = |number: f64| Lanes::splat(simd, number);
        for from in (0..self.count).step_by(Lanes::<S>::COUNT) {
            let (low, high) = (Lanes::load(simd, &self.low[from..]), Lanes::load(simd, &self.high[from..]));
            let (s, p, delta) = (low + high, low * high, 0.5 * (high - low));
            let affine = |[a, b, c]: [f64; 3]| p.times_plus(splat(c), s.times_plus(splat(b), splat(a)));
            let mut least = splat(f64::INFINITY);
            for floor in &self.cell.floors {
                least = least.min(affine(*floor));
            }
            for bowl in &self.cell.bowls {
                least = least.min(bowl.least(simd, s, p));
            }
            let mut at_harmonics = splat(f64::INFINITY);
            for line in &self.cell.harmonics {
                at_harmonics = at_harmonics.min(affine(*line));
            }
            // rounding of the difference, the root and the quotient
            let chatter = delta / least.sqrt() * (1.0 + 8.0 * f64::EPSILON);
            let known = splat(0.0).below(least).and(least.below(splat(f64::MAX)));
            known.select(chatter, splat(f64::NAN)).store(&mut self.chatter[from..]);
            (delta / at_harmonics.sqrt()).store(&mut self.harmonics[from..]);
        }
    }
}

impl Bowl {
    /// With as few coefficients as can be: the others go to the rest, while that stays within [`LEFT_OUT`].
    fn new(form: &Form<MANY>, curvature: f64, corners: &Corners) -> Self {
        let mut found = Self { form: form.clone(), terms: MANY, inverse_curvature: 0.5 / curvature };
        for terms in (4..MANY).rev() {
            let mut short = found.form.clone();
            for (part, rest) in short.parts.iter_mut().zip(&mut short.rest) {
                *rest += part[terms].abs();
                part[terms] = 0.0;
            }
            let Run::Bowl(curvature) = run_of(&short, corners) else { break };
            found = Self { form: short, terms, inverse_curvature: 0.5 / curvature };
        }
        found
    }

    /// Below the least of each range on the interval; minus infinity where the steps of Newton have not come near enough.
    #[inline(always)]
    fn least<S: Simd>(&self, simd: S, s: Lanes<S>, p: Lanes<S>) -> Lanes<S> {
        let splat = |number: f64| Lanes::splat(simd, number);
        let ([a, b, c], [ra, rb, rc]) = (&self.form.parts, self.form.rest);
        let mut q = [splat(0.0); MANY];
        let terms = self.terms.clamp(4, MANY);
        for k in 0..terms {
            q[k] = p.times_plus(splat(c[k]), s.times_plus(splat(b[k]), splat(a[k])));
        }
        let rest = p.times_plus(splat(rc), s.times_plus(splat(rb), splat(ra)));
        let clipped = |x: Lanes<S>| x.max(splat(-1.0)).min(splat(1.0));
        let mut x = clipped(-(q[1] / (q[2] + q[2])));
        let mut slope = splat(0.0);
        for step in 0..=STEPS {
            slope = q[terms - 1] * (terms - 1) as f64;
            let mut bend = splat(0.0);
            for k in (1..terms - 1).rev() {
                bend = bend.times_plus(x, slope);
                slope = slope.times_plus(x, q[k] * k as f64);
            }
            if step < STEPS {
                x = clipped(x - slope / bend);
            }
        }
        let mut found = q[terms - 1];
        for k in (0..terms - 1).rev() {
            found = found.times_plus(x, q[k]);
        }
        // at an end of the interval with the slope outwards nothing inside is lower
        let outwards = slope.below(splat(0.0)).and(splat(1.0 - f64::EPSILON).below(x));
        let outwards = outwards.or(splat(0.0).below(slope).and(x.below(splat(f64::EPSILON - 1.0))));
        let inside = slope * slope * self.inverse_curvature;
        let gap = outwards.select(splat(0.0), inside);
        // what the rest leaves open is within LEFT_OUT, see `run_of`
        let near = gap.below(found * (0.25 * CLOSE));
        near.select(found - gap - rest, splat(f64::NEG_INFINITY))
    }
}

/// `a`, `b`, `c` of a loop over an interval, from the enclosures of its walk.
pub(super) fn form<const N: usize>(output: &Jet<N>, parts: &[Jet<N>; 3]) -> Option<Form<N>> {
    let inverse = output.inverse()?;
    Some(Form::new(parts.map(|part| part.times(&inverse))))
}

#[cfg(test)]
mod tests;
