//! Stiff films abreast: instants placed where the waveform bends.
//!
//! A film that wants many even instants has its singular points close to the real axis, at `theta_k +- i delta`, and their mirror images. A loop
//! without reactances has no memory, so instants may stand anywhere: with `theta = theta_k + delta sinh s` the points lie at
//! `s = +- i pi/2` and above it, however small `delta` is, and the images beyond the ends. Gauss and Legendre's rule over `s` converges as `exp(-2 N m)`, `m` from
//! the ellipse about the interval through the nearest of them (Trefethen, SIAM Review 50 (2008) 67; the sinh substitution: Johnston and Elliott,
//! International Journal for Numerical Methods in Engineering 62 (2005) 564 \[memory\]).
//!
//! * **What is summed.** `phi - x`, or of a film that is all but a short circuit `x`, or of one that is all but open `phi`: beyond
//!   the first all have the same lines but for a factor, and the smallest keeps the most digits.
//! * **Residue** by Parseval's theorem, the square of what is left beside mean and fundamental, so that no lines are needed but those asked for.
//! * **Error.** What is left, times the root of `dtheta/ds`, is expanded in Legendre's polynomials; the last eighth of its coefficients stands for
//!   those that the nodes do not know, as the outer quarter of the orders does on even instants.

use super::gauss::Gauss;
use super::{Abreast, Atan, Expm1, MOST_LANES, Shape, Sinh};
use crate::physics::lanes::{Lanes, Mask, atan_and_beyond};
use crate::response::steady::laws::{Law, Loops, Point};
use pulp::{Simd, WithSimd};
use std::f64::consts::{FRAC_PI_2, LN_10, PI, SQRT_2};

/// Nodes that there are rules for.
pub const GRADED: [usize; 13] = [24, 32, 40, 48, 56, 64, 80, 96, 128, 176, 240, 336, 480];

/// Nodes times `m` that any film needs, and nodes for each order of the highest line asked for, per its largest wavenumber over the
/// normalised interval: found by trying (see the tests).
const NODES_LEAST: f64 = 20.0;
const NODES_PER_ORDER: f64 = 0.33;

/// Rounding of the sums, relative to what is summed: the steepness of a stiff film against its instants is in it.
pub const GRADED_ROUNDING: f64 = 2e-14;

/// Where the instants of each film stand: `theta = theta_k + delta sinh(middle + half t)`.
struct Place<S: Simd> {
    /// `pi/2 - theta_k`
    from_quarter: Lanes<S>,
    delta: Lanes<S>,
    middle: Lanes<S>,
    half: Lanes<S>,
    /// `s` at the ends, both as positive numbers
    ends: [Lanes<S>; 2],
}

#[inline(always)]
fn asinh<S: Simd>(a: Lanes<S>) -> Lanes<S> {
    (a + (a * a + 1.0).sqrt()).ln()
}

/// Parameter `m` of the ellipse with foci -1 and 1 through `x + i y`, y above zero, as `sinh m` and `cosh m`.
#[inline(always)]
fn ellipse<S: Simd>(x: Lanes<S>, y: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let beyond = x.times_plus(x, y * y) - 1.0;
    let root = beyond.times_plus(beyond, 4.0 * y * y).sqrt();
    // either form cancels on the other side
    let inside = 2.0 * y * y / (root - beyond.min(Lanes::splat(x.simd(), 0.0)));
    let inside = beyond.below(Lanes::splat(x.simd(), 0.0)).select(inside, 0.5 * (beyond + root));
    (inside.sqrt(), (inside + 1.0).sqrt())
}

/// `ln(sinh m + cosh m)`, good to 1e-3 for small m: nothing here needs more.
#[inline(always)]
fn parameter<S: Simd>((sinh, cosh): (Lanes<S>, Lanes<S>)) -> Lanes<S> {
    sinh.below(Lanes::splat(sinh.simd(), 0.05)).select(sinh, (sinh + cosh).ln())
}

impl<S: Simd> Place<S> {
    #[inline(always)]
    fn of<L: Law>(loops: Loops<S>, drive: Lanes<S>) -> Self {
        let splat = |number| Lanes::splat(loops.simd, number);
        let (p, q) = L::singular(loops);
        let x = p / drive;
        let size = ellipse(x, q / drive);
        let delta = parameter(size);
        // cos theta_k cosh delta = x; acos z = 2 atan sqrt((1 - z)/(1 + z))
        let z = (x / size.1).max(splat(-1.0)).min(splat(1.0));
        let turned = ((1.0 - z) / (z + 1.0).max(splat(1e-30))).sqrt();
        let theta = 2.0 * atan_and_beyond(turned).0;
        let end = if L::ODD { FRAC_PI_2 } else { PI };
        let ends = [asinh(theta / delta), asinh((end - theta).max(splat(0.0)) / delta)];
        Self {
            from_quarter: FRAC_PI_2 - theta,
            delta,
            middle: 0.5 * (ends[1] - ends[0]),
            half: 0.5 * (ends[1] + ends[0]),
            ends,
        }
    }

    /// About the largest `dtheta/dt sqrt(1 - t^2)`, but for a factor: at a distance of u from the end of s it is
    /// `D sqrt(2 half u) exp(-u)`, D the way in theta from the knee to that end.
    #[inline(always)]
    fn longest<L: Law>(&self) -> Lanes<S> {
        let theta = FRAC_PI_2 - self.from_quarter;
        let end = if L::ODD { FRAC_PI_2 } else { PI };
        theta.max(end - theta) * (2.0 * self.half).sqrt()
    }

    /// The smallest `m` of the singular points and of their images beyond both ends.
    #[inline(always)]
    fn narrowest(&self) -> Lanes<S> {
        let own = parameter(ellipse(-self.middle / self.half, FRAC_PI_2 / self.half));
        own.min(self.image(self.ends[0])).min(self.image(self.ends[1]))
    }

    /// `m` of an image: it lies where sinh s = 2 a + i, a = sinh of the end; with k = exp(end) at arcosh k + i arcsin(1/k).
    #[inline(always)]
    fn image(&self, end: Lanes<S>) -> Lanes<S> {
        let k = end.exp();
        let beside = (k * k - 1.0).max(Lanes::splat(end.simd(), 1e-20)).sqrt();
        let beyond = (beside / k + 1.0).ln() / self.half;
        parameter(ellipse(beyond + 1.0, atan_and_beyond(1.0 / beside).0 / self.half))
    }
}

/// How many nodes each film will need.
pub struct ForeseeGraded<'a> {
    /// the law
    pub shape: Shape,
    /// share of the zero-voltage conductance that is a plain leak
    pub leak: f64,
    /// highest line asked for
    pub top: usize,
    /// `Z/R`
    pub front: &'a [f64],
    /// peak of the open voltage over the law's voltage
    pub drive: &'a [f64],
    /// out: nodes
    pub wanted: &'a mut [f64],
}

impl WithSimd for ForeseeGraded<'_> {
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

impl ForeseeGraded<'_> {
    #[inline(always)]
    fn all<S: Simd, L: Law>(self, simd: S) {
        let count = Lanes::<S>::COUNT;
        let groups = self.front.chunks(count).zip(self.drive.chunks(count)).zip(self.wanted.chunks_mut(count));
        for ((front, drive), wanted) in groups {
            let mut some = [[1.0; MOST_LANES]; 3];
            some[0][..front.len()].copy_from_slice(front);
            some[1][..front.len()].copy_from_slice(drive);
            let loops = Loops::new(Lanes::splat(simd, self.leak), Lanes::load(simd, &some[0]));
            let place = Place::of::<L>(loops, Lanes::load(simd, &some[1]));
            (NODES_LEAST / place.narrowest() + place.longest::<L>() * (NODES_PER_ORDER * self.top as f64))
                .store(&mut some[2]);
            wanted.copy_from_slice(&some[2][..wanted.len()]);
        }
    }
}

/// One group of stiff films on one rule.
pub struct SolveGraded<'a> {
    /// the law
    pub shape: Shape,
    /// in and out
    pub films: &'a mut Abreast,
    /// the nodes
    pub rule: &'a Gauss,
    /// highest line asked for
    pub top: usize,
}

impl WithSimd for SolveGraded<'_> {
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

/// What is kept of each instant, lanes side by side.
const KEPT: usize = 5;

impl SolveGraded<'_> {
    #[inline(always)]
    fn all<S: Simd, L: Law>(self, simd: S) {
        let Self { films, rule, top, .. } = self;
        // the first two harmonics have their places, asked for or not
        films.make_room(top.max(3) + 1, KEPT * rule.node.len());
        for from in (0..films.count).step_by(Lanes::<S>::COUNT) {
            films.fill(from, Lanes::<S>::COUNT);
            some::<S, L>(simd, films, rule, top, from);
        }
    }
}

/// Sine from `-pi/2` to `pi/2`: its series, the next term 1e-20 of it.
#[inline(always)]
fn sine<S: Simd>(u: Lanes<S>) -> Lanes<S> {
    const SERIES: [f64; 11] = [
        -1.0 / 6.0,
        1.0 / 120.0,
        -1.0 / 5040.0,
        1.0 / 362_880.0,
        -1.0 / 39_916_800.0,
        1.0 / 6_227_020_800.0,
        -1.0 / 1_307_674_368_000.0,
        1.0 / 355_687_428_096_000.0,
        -1.0 / 121_645_100_408_832_000.0,
        1.957_294_106_339_126_2e-20,
        -3.868_170_170_630_684e-23,
    ];
    let z = u * u;
    (u * z).times_plus(z.polynomial(&SERIES), u)
}

/// Which of voltage, shape and excess is summed.
struct Choice<S: Simd> {
    voltage: Mask<S>,
    shape: Mask<S>,
    of_voltage: Lanes<S>,
    of_shape: Lanes<S>,
}

impl<S: Simd> Choice<S> {
    #[inline(always)]
    fn of(&self, x: Lanes<S>, phi: Lanes<S>, excess: Lanes<S>) -> Lanes<S> {
        self.voltage.select(self.of_voltage * x, self.shape.select(self.of_shape * phi, excess))
    }
}

/// Largest size of two.
#[inline(always)]
fn most<S: Simd>(a: Lanes<S>, b: Lanes<S>) -> Lanes<S> {
    a.abs().max(b.abs())
}

/// Chord over the zero-voltage resistance.
#[inline(always)]
fn chord<S: Simd>(leak: Lanes<S>, at: Point<S>) -> Lanes<S> {
    at.x / leak.times_plus(at.x, (1.0 - leak) * at.phi)
}

#[inline(always)]
fn some<S: Simd, L: Law>(simd: S, films: &mut Abreast, rule: &Gauss, top: usize, from: usize) {
    let splat = |number| Lanes::splat(simd, number);
    let lanes = Lanes::<S>::COUNT;
    let (count, room) = (rule.node.len(), rule.node.len() * lanes);
    let (leak, share) = (splat(films.leak), splat(1.0 - films.leak));
    let front = Lanes::load(simd, &films.front[from..]);
    let drive = Lanes::load(simd, &films.drive[from..]);
    let loops = Loops::new(leak, front);
    let place = Place::<S>::of::<L>(loops, drive);
    let end = if L::ODD { FRAC_PI_2 } else { PI };
    let scale = place.half * place.delta * (1.0 / end);

    let [voltage, shape, excess, cosine, measure] = {
        let mut rest = &mut films.excess[..KEPT * room];
        std::array::from_fn(|_| {
            let (one, more) = std::mem::take(&mut rest).split_at_mut(room);
            rest = more;
            one
        })
    };
    let (crest, mut inverse, mut solved) =
        loops.root::<L, false>(drive, L::start(loops, drive), L::bounds(loops, drive));
    let (mut point, mut before) = (crest, drive);
    let mut fundamentals = [splat(0.0); 3];
    for (k, (&node, &weight)) in rule.node.iter().zip(&rule.weight).enumerate() {
        let growing = place.half.times_plus(splat(node), place.middle).exp();
        let falling = 1.0 / growing;
        let (twice_sinh, twice_cosh) = (growing - falling, growing + falling);
        let cos = sine(place.from_quarter - 0.5 * place.delta * twice_sinh);
        let here = (0.5 * weight) * scale * twice_cosh;
        let y = drive * cos;
        let (low, high) = L::bounds(loops, y);
        let ahead = point.x + loops.series::<L>(point, inverse, (y - before) * inverse);
        let (next, slope, one) = loops.root::<L, false>(y, ahead.max(low).min(high), (low, high));
        solved = solved.and(one);
        next.x.store(&mut voltage[k * lanes..]);
        next.phi.store(&mut shape[k * lanes..]);
        next.excess.store(&mut excess[k * lanes..]);
        cos.store(&mut cosine[k * lanes..]);
        here.store(&mut measure[k * lanes..]);
        let weighted = here * cos;
        fundamentals = [
            next.x.times_plus(weighted, fundamentals[0]),
            next.phi.times_plus(weighted, fundamentals[1]),
            next.excess.times_plus(weighted, fundamentals[2]),
        ];
        (point, inverse, before) = (next, slope, y);
    }
    let trough = if L::ODD {
        crest
    } else {
        let bounds = L::bounds(loops, -drive);
        let ahead = point.x + loops.series::<L>(point, inverse, (-drive - before) * inverse);
        let (trough, _, one) = loops.root::<L, false>(-drive, ahead.max(bounds.0).min(bounds.1), bounds);
        solved = solved.and(one);
        trough
    };
    let (first, second) = (chord(leak, crest), chord(leak, trough));
    first.min(second).min(splat(1.0)).store(&mut films.chord_least[from..]);
    first.max(second).max(splat(1.0)).store(&mut films.chord_most[from..]);

    // (1+c) x + law (phi - x) is the cosine alone, and so is linear x + law phi
    let of_voltage = -((front + 1.0) / loops.law);
    let of_shape = loops.law / loops.linear + 1.0;
    let sizes = [
        most(crest.x, trough.x) * of_voltage.abs(),
        most(crest.phi, trough.phi) * of_shape,
        most(crest.excess, trough.excess),
    ];
    let choice = Choice {
        voltage: sizes[0].below(sizes[1].min(sizes[2])),
        shape: sizes[1].below(sizes[2]),
        of_voltage,
        of_shape,
    };
    let [x_first, phi_first, excess_first] = fundamentals;
    let summed_first = choice.of(x_first, phi_first, excess_first);
    let at = |k: usize| k * lanes..(k + 1) * lanes;
    let load = |from: &[f64], k: usize| Lanes::load(simd, &from[at(k)]);
    let mut mean = splat(0.0);
    for k in 0..count {
        let one = choice.of(load(voltage, k), load(shape, k), load(excess, k));
        one.store(&mut excess[at(k)]);
        mean = one.times_plus(load(measure, k), mean);
    }
    // an odd law has none: its other quarters take away what this one has
    let mean = if L::ODD { splat(0.0) } else { mean };
    let mut power = splat(0.0);
    for k in 0..count {
        let (cos, here) = (load(cosine, k), load(measure, k));
        let left = (-2.0 * summed_first).times_plus(cos, load(excess, k)) - mean;
        let weighted = left * here;
        power = left.times_plus(weighted, power);
        // sqrt(w dtheta/ds) of it, in the place of the voltage
        (left * here.sqrt()).store(&mut voltage[at(k)]);
        weighted.store(&mut excess[at(k)]);
    }
    let mut outer = splat(0.0);
    for row in rule.last.chunks_exact(count) {
        let one = super::product(simd, row, voltage);
        outer = one.times_plus(one, outer);
    }
    let residue = (0.5 * power).sqrt();
    let summed = (summed_first.times_plus(summed_first, mean * mean) + 0.5 * power).sqrt();
    let error = SQRT_2 * share * ((2.0 * outer).sqrt() + GRADED_ROUNDING * summed);
    let residue = share * residue;
    let per_drive = 2.0 / drive;
    // of a film that is all but open the current itself, not what it lacks
    let change = share * excess_first * per_drive;
    let current = (front + 1.0) * leak.times_plus(x_first, share * phi_first) * per_drive;
    let louder = change.abs().below(splat(0.5)).select(change + 1.0, current);
    let thd_f = residue * per_drive / louder;
    residue.store(&mut films.residue[from..]);
    error.store(&mut films.error[from..]);
    (louder.ln() * (20.0 / LN_10)).store(&mut films.fundamental_db[from..]);
    thd_f.store(&mut films.thd_f[from..]);
    (thd_f / thd_f.times_plus(thd_f, splat(1.0)).sqrt()).store(&mut films.thd_r[from..]);
    solved.select(splat(1.0), splat(0.0)).store(&mut films.solved[from..]);

    // lines of what is left, share of the law included: cos(h theta) by its recurrence, four lines in a walk
    let step = if L::ODD { 2 } else { 1 };
    for k in 0..count {
        let cos = load(cosine, k);
        let twice = if L::ODD { 4.0 * cos * cos - 2.0 } else { 2.0 * cos };
        cos.store(&mut voltage[at(k)]);
        (if L::ODD { cos } else { splat(1.0) }).store(&mut shape[at(k)]);
        twice.store(&mut cosine[at(k)]);
    }
    let mut order = 1;
    while order + step <= top {
        let mut sums = [splat(0.0); AT_ONCE];
        for k in 0..count {
            let (twice, left) = (load(cosine, k), load(excess, k));
            let (mut here, mut before) = (load(voltage, k), load(shape, k));
            for sum in &mut sums {
                (here, before) = (twice.times_plus(here, -before), here);
                *sum = here.times_plus(left, *sum);
            }
            here.store(&mut voltage[at(k)]);
            before.store(&mut shape[at(k)]);
        }
        for sum in sums {
            order += step;
            if order <= top {
                (share * sum).store(&mut films.lines[order][from..]);
            }
        }
    }
}

/// Lines of a walk over the instants: as many as the registers hold.
const AT_ONCE: usize = 4;

#[cfg(test)]
mod tests {
    use super::super::Foresee;
    use super::*;
    use proptest::prelude::*;
    use std::collections::HashMap;
    use std::sync::LazyLock;

    /// Rules of the tests: one of 480 nodes takes a tenth of a second to make.
    static RULES: LazyLock<HashMap<usize, Gauss>> =
        LazyLock::new(|| [24, 32, 40, 56, 480].into_iter().chain(GRADED).map(|n| (n, Gauss::new(n))).collect());

    /// Films of a law on `count` nodes.
    fn solved(shape: Shape, leak: f64, some: &[(f64, f64)], count: usize, top: usize) -> Abreast {
        let mut films = Abreast { count: some.len(), leak, ..Abreast::default() };
        for (lane, film) in some.iter().enumerate() {
            (films.front[lane], films.drive[lane]) = *film;
        }
        pulp::Arch::new().dispatch(SolveGraded { shape, films: &mut films, rule: &RULES[&count], top });
        films
    }

    fn foreseen(shape: Shape, leak: f64, some: &[(f64, f64)], top: usize) -> Vec<f64> {
        let (front, drive): (Vec<f64>, Vec<f64>) = some.iter().copied().unzip();
        let mut wanted = vec![0.0; some.len()];
        let (front, drive, out) = (&front[..], &drive[..], &mut wanted[..]);
        pulp::Arch::new().dispatch(ForeseeGraded { shape, leak, top, front, drive, wanted: out });
        wanted
    }

    /// Which of them come this way: those that want more even instants than are given to mild ones.
    fn stiff(shape: Shape, leak: f64, some: &[(f64, f64)]) -> Vec<bool> {
        let (front, drive): (Vec<f64>, Vec<f64>) = some.iter().copied().unzip();
        let mut wanted = vec![0.0; some.len()];
        let (front, drive, out) = (&front[..], &drive[..], &mut wanted[..]);
        pulp::Arch::new().dispatch(Foresee { shape, leak, front, drive, wanted: out });
        wanted.iter().map(|wanted| wanted.abs() > 40.0 && wanted.is_finite()).collect()
    }

    /// What the answer says of its own error in `thd_f`.
    fn bound(films: &Abreast, lane: usize) -> f64 {
        let thd_f = films.thd_f[lane];
        films.error[lane] * thd_f / films.residue[lane] / SQRT_2 * (1.0 + thd_f)
    }

    fn films() -> impl Strategy<Value = (Shape, f64, Vec<(f64, f64)>)> {
        let film = (-8.0f64..5.0, 0.7f64..4.5).prop_map(|(c, y)| (10f64.powf(c), 10f64.powf(y)));
        let shape = prop::sample::select(vec![Shape::Sinh, Shape::Expm1, Shape::Atan]);
        (shape, -4.0f64..-0.01, prop::collection::vec(film, 16))
            .prop_map(|(shape, leak, some)| (shape, if shape == Shape::Expm1 { 10f64.powf(leak) } else { 0.0 }, some))
    }

    proptest! {
        #[test]
        fn the_error_is_bounded_on_too_few_nodes((shape, leak, some) in films()) {
            let (known, stiff) = (solved(shape, leak, &some, 480, 11), stiff(shape, leak, &some));
            for count in [24, 32, 40, 56] {
                let found = solved(shape, leak, &some, count, 11);
                for lane in 0..some.len() {
                    if !stiff[lane] || known.solved[lane] * found.solved[lane] == 0.0 || known.error[lane] > 1e-9 * known.residue[lane] {
                        continue;
                    }
                    let off = (found.thd_f[lane] - known.thd_f[lane]).abs();
                    prop_assert!(off <= bound(&found, lane) + bound(&known, lane), "{count} {:?} {off} {}", some[lane], bound(&found, lane));
                }
            }
        }

        #[test]
        fn the_nodes_that_are_foreseen_are_enough((shape, leak, some) in films(), top in prop::sample::select(vec![2usize, 3, 6, 11, 21, 60, 101])) {
            let (known, stiff) = (solved(shape, leak, &some, 480, top), stiff(shape, leak, &some));
            for (lane, wanted) in foreseen(shape, leak, &some, top).into_iter().enumerate() {
                let Some(&count) = GRADED.iter().find(|&&count| count as f64 >= wanted) else { continue };
                if !stiff[lane] || known.error[lane] > 1e-9 * known.residue[lane] {
                    continue;
                }
                let found = solved(shape, leak, &some[lane..=lane], count, top);
                prop_assert!(found.solved[0] == 1.0);
                prop_assert!(found.error[0] <= 1e-8 * SQRT_2 * found.residue[0], "{count} {:?} {}", some[lane], found.error[0] / found.residue[0]);
                prop_assert!((found.thd_f[0] / known.thd_f[lane] - 1.0).abs() < 1e-12, "{count} {:?}", some[lane]);
                let (first, step) = if shape == Shape::Expm1 { (2, 1) } else { (3, 2) };
                for order in (first..=top).step_by(step) {
                    let off = (found.lines[order][0] - known.lines[order][lane]).abs();
                    prop_assert!(off <= 1e-10 * known.residue[lane], "{count} {order} {:?} {}", some[lane], off / known.residue[lane]);
                }
            }
        }
    }
}
