//! What a film makes of the wave that reaches it, at all instants at once: the law of [`loaded`](crate::physics::loaded) in lanes.
//!
//! Each instant is a root `(1 + c (1-s)) x + c s phi(x) = a/U` of its own, by Halley's steps between two bounds; all lanes of a
//! vector go on until the last one stands, so what is answered for an instant may depend in its last place on those beside it
//! in the same waveform, on how many a processor takes at once, and on the guess.
//!
//! The roots of [`abreast`](super::abreast) take fewer operations, and want a start from which plain steps come without a turn; here the guess is where the
//! film stood for another wave.

use super::films::Placed;
use super::laws::{Atan, Expm1, Law, Loops, Point, Sinh};
use crate::physics::film::{EXPONENT_LIMIT, Film};
use crate::physics::lanes::{Lanes, SERIES_TO};
use pulp::{Simd, WithSimd};

/// Steps before a root is left as it is.
const MOST_STEPS: usize = 100;

/// A step of s leaves at most s^3/4 (the laws bend by no more than their slope), and the last one half the square of that: with
/// this less than rounding.
const LAST_STEP: f64 = 1e-3;

/// Largest ratio of a voltage to the law's share that a logarithm is taken of.
const MOST_RATIO: f64 = 1e300;

/// Puts each wave's EMF `e = Rref i - u` in its place, the film's voltage in place of a guess of any quality, and `de/da`.
pub(super) fn reflect(film: &Placed, waves_v: &mut [f64], voltage_v: &mut [f64], slope: &mut [f64]) {
    pulp::Arch::new().dispatch(Reflect { film, waves_v, voltage_v, slope });
}

struct Reflect<'a> {
    film: &'a Placed,
    waves_v: &'a mut [f64],
    voltage_v: &'a mut [f64],
    slope: &'a mut [f64],
}

impl WithSimd for Reflect<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        match self.film.film {
            Film::Ohmic { .. } => {}
            Film::Tunnelling { .. } => self.all::<S, Sinh>(simd),
            Film::Rectifying { .. } => self.all::<S, Expm1>(simd),
            Film::Bridged { .. } => self.all::<S, Atan>(simd),
        }
    }
}

impl Reflect<'_> {
    #[inline(always)]
    fn all<S: Simd, L: Law>(self, simd: S) {
        let loaded = &self.film.loaded;
        let (linear, law) = (1.0 + loaded.front() * (1.0 - loaded.share()), loaded.front() * loaded.share());
        let splat = |number: f64| Lanes::splat(simd, number);
        let of = Loops { simd, linear: splat(linear), law: splat(law), straight: splat(1.0 / (linear + law)) };
        let largest = self.waves_v.iter().fold(0.0f64, |most, wave| most.max(wave.abs())) / loaded.unit_v();
        if L::weak(of, splat(largest)).all() {
            self.each::<S, L, true>(of);
        } else {
            self.each::<S, L, false>(of);
        }
    }

    #[inline(always)]
    fn each<S: Simd, L: Law, const WEAK: bool>(self, of: Loops<S>) {
        let count = Lanes::<S>::COUNT;
        let whole = self.waves_v.len() / count * count;
        for at in (0..whole).step_by(count) {
            let to = at..at + count;
            vector::<S, L, WEAK>(
                self.film,
                of,
                &mut self.waves_v[to.clone()],
                &mut self.voltage_v[to.clone()],
                &mut self.slope[to],
            );
        }
        let left = self.waves_v.len() - whole;
        if left > 0 {
            // idle lanes stand at zero
            let [mut waves_v, mut voltage_v, mut slope] = [[0.0; MOST_LANES]; 3];
            waves_v[..left].copy_from_slice(&self.waves_v[whole..]);
            voltage_v[..left].copy_from_slice(&self.voltage_v[whole..]);
            vector::<S, L, WEAK>(self.film, of, &mut waves_v, &mut voltage_v, &mut slope);
            self.waves_v[whole..].copy_from_slice(&waves_v[..left]);
            self.voltage_v[whole..].copy_from_slice(&voltage_v[..left]);
            self.slope[whole..].copy_from_slice(&slope[..left]);
        }
    }
}

/// As many lanes as any processor has here.
const MOST_LANES: usize = 32;

#[inline(always)]
fn vector<S: Simd, L: Law, const WEAK: bool>(
    film: &Placed,
    of: Loops<S>,
    waves_v: &mut [f64],
    voltage_v: &mut [f64],
    slope: &mut [f64],
) {
    let (simd, loaded) = (of.simd, &film.loaded);
    let unit = loaded.unit_v();
    let wave = Lanes::load(simd, waves_v) * (1.0 / unit);
    let guess = Lanes::load(simd, voltage_v) * (1.0 / unit);
    let (zero, one) = (Lanes::splat(simd, 0.0), Lanes::splat(simd, 1.0));
    // odd laws are solved for positive voltages
    let sign = if L::ODD { wave.below(zero).select(-one, one) } else { one };
    let at = root::<S, L, WEAK>(of, sign * wave, sign * guess);
    let scale = film.reference_ohm / film.film.resistance_ohm();
    let (excess, rise) = (loaded.share() * at.excess, loaded.share() * at.rise);
    let emf = scale * excess + (scale - 1.0) * at.x;
    // a wave that is no number has no EMF
    (sign * emf * unit + 0.0 * wave).store(waves_v);
    (sign * at.x * unit).store(voltage_v);
    ((scale * rise + (scale - 1.0)) / (loaded.front() * (rise + 1.0) + 1.0)).store(slope);
}

/// Roots of `linear x + law phi(x) = y`, and the law there.
#[inline(always)]
fn root<S: Simd, L: Law, const WEAK: bool>(of: Loops<S>, y: Lanes<S>, guess: Lanes<S>) -> Point<S> {
    let simd = of.simd;
    let (mut low, mut high) = bounds::<S, L>(of, y);
    if WEAK {
        // roots stay there, and so must whatever is tried
        (low, high) = (low.max(Lanes::splat(simd, -SERIES_TO)), high.min(Lanes::splat(simd, SERIES_TO)));
    }
    let inside = low.below(guess).and(guess.below(high));
    let mut x = inside.select(guess, if L::STEEPENS { high } else { low });
    let zero = Lanes::splat(simd, 0.0);
    let tangent = of.linear + of.law;
    for _ in 0..MOST_STEPS {
        let at = L::at::<S, WEAK>(x);
        let left = tangent.times_plus(x, of.law.times_plus(at.excess, zero - y));
        let inverse = 1.0 / of.law.times_plus(at.rise, tangent);
        let newton = left * inverse;
        // Halley's correction, kept from turning the step round
        let turn = (1.0 - newton * of.law * L::bends(at)[0] * inverse)
            .max(Lanes::splat(simd, 0.5))
            .min(Lanes::splat(simd, 2.0));
        let next = (x - newton / turn).max(low).min(high);
        let moved = (next - x).abs();
        x = next;
        let last = LAST_STEP * x.abs().min(Lanes::splat(simd, 1.0));
        if !last.below(moved).any() {
            break;
        }
    }
    let at = L::at::<S, WEAK>(x);
    let left = tangent.times_plus(x, of.law.times_plus(at.excess, zero - y));
    let x = (at.x - left / of.law.times_plus(at.rise, tangent)).max(low).min(high);
    let step = x - at.x;
    let [half_curve, ..] = L::bends(at);
    // rounding is left of that step, so its square is nothing
    let excess = step.times_plus(at.rise, at.excess);
    let rise = step.times_plus(2.0 * half_curve, at.rise);
    Point { x, phi: x + excess, excess, rise, slope: rise + 1.0 }
}

/// Two bounds of the root.
#[inline(always)]
fn bounds<S: Simd, L: Law>(of: Loops<S>, y: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let splat = |number: f64| Lanes::splat(of.simd, number);
    let (low, high) = L::bounds(of, y);
    let (low, high) = (low.min(high), low.max(high));
    if !L::STEEPENS {
        return (low, high);
    }
    // of the law alone, where that is less than the straight line by far: near one another the logarithm loses its digits
    let ratio = (y / of.law).max(splat(0.0)).min(splat(MOST_RATIO));
    let alone = if L::ODD { (2.0 * ratio + 1.0).ln() } else { (ratio + 1.0).ln() };
    let high = splat(1.0).below(ratio).select(high.min(alone), high);
    (low, high.min(splat(EXPONENT_LIMIT)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::loaded::Loaded;
    use proptest::prelude::*;

    /// One instant after another: the film's voltage, its EMF, and the slope.
    fn one(film: &Placed, wave_v: f64) -> (f64, f64, f64) {
        let u = film.loaded.film_voltage_v(wave_v, f64::NAN);
        let at = film.loaded.standing(u);
        let scale = film.reference_ohm / film.film.resistance_ohm();
        let slope = (scale * at.rise + (scale - 1.0)) / (1.0 + film.loaded.front() * (1.0 + at.rise));
        (u, scale * at.excess_v + (scale - 1.0) * u, slope)
    }

    fn placed(film: Film, front_ohm: f64, reference_ohm: f64) -> Placed {
        let loaded = Loaded::new(&film, front_ohm).unwrap();
        Placed { contact: 0, film, constriction_ohm: 0.0, reference_ohm, wave_ohm: front_ohm, loaded }
    }

    fn laws(resistance_ohm: f64, scale_v: f64, leak_ratio: f64) -> [Film; 3] {
        [
            Film::Tunnelling { resistance_ohm, scale_v },
            Film::Rectifying { resistance_ohm, ideality: 1.5, leak_ratio },
            Film::Bridged { resistance_ohm },
        ]
    }

    proptest! {
        #[test]
        fn all_instants_are_what_each_is_alone(log_r in -6.0f64..9.0, log_front in -6.0f64..9.0, log_v in -9.0f64..1.5, log_leak in -9.0f64..0.0,
                                               scale_v in 0.02f64..2.0, reference in 0.0f64..1.0, odd in 1usize..40, off in -40.0f64..40.0) {
            let (r, front, crest_v) = (10f64.powf(log_r), 10f64.powf(log_front), 10f64.powf(log_v));
            for law in laws(r, scale_v, 0.99 * 10f64.powf(log_leak)) {
                // its own resistance, or a chord far from it
                let film = placed(law, front, if reference < 0.5 { r } else { r * 10f64.powf(-3.0 * reference) });
                let samples = 2 * odd + 1;
                let waves: Vec<f64> = (0..samples).map(|n| crest_v * (std::f64::consts::TAU * n as f64 / samples as f64).cos()).collect();
                let alone: Vec<_> = waves.iter().map(|&wave| one(&film, wave)).collect();
                let (mut emf, mut slope) = (waves.clone(), vec![0.0; samples]);
                // guesses good and bad
                let mut voltage: Vec<f64> = alone.iter().enumerate().map(|(n, a)| if n % 3 == 0 { a.0 } else { off * scale_v }).collect();
                reflect(&film, &mut emf, &mut voltage, &mut slope);
                let most = |of: fn(&(f64, f64, f64)) -> f64| alone.iter().map(|a| of(a).abs()).fold(0.0, f64::max);
                let (most_emf, most_slope) = (most(|a| a.1), most(|a| a.2));
                for n in 0..samples {
                    let (u, e, s) = alone[n];
                    // as `loaded` is held to: below a bridge that is hot the terms are as many times the root as its argument
                    prop_assert!((voltage[n] - u).abs() <= 1e-13 * u.abs() + 1e-15 * most_emf, "{law:?} {front} {}: {} {u}", waves[n], voltage[n]);
                    // an exponential of x has x roundings
                    prop_assert!((emf[n] - e).abs() <= 1e-12 * most_emf, "{law:?} {front} {}: {} {e} {most_emf}", waves[n], emf[n]);
                    prop_assert!((slope[n] - s).abs() <= 1e-11 * most_slope, "{law:?} {front} {}: {} {s} {most_slope}", waves[n], slope[n]);
                }
            }
        }
    }

    #[test]
    fn a_wave_that_is_no_number_comes_to_an_end() {
        for law in laws(10.0, 0.1, 0.1) {
            let film = placed(law, 100.0, 10.0);
            let waves = [f64::NAN, f64::INFINITY, f64::MAX, -f64::MAX, 0.0, 0.01, 0.0, 0.0, 0.0];
            let (mut emf, mut voltage, mut slope) = (waves, [0.0; 9], [0.0; 9]);
            reflect(&film, &mut emf, &mut voltage, &mut slope);
            assert!(emf[0].is_nan() && emf[1].is_nan(), "{law:?} {emf:?}");
            assert!(voltage[2] > 0.0 && voltage[3] < 0.0, "{law:?} {voltage:?}");
            let (u, e, s) = one(&film, waves[5]);
            assert!(
                (voltage[5] / u - 1.0).abs() < 1e-14 && (slope[5] - s).abs() < 1e-14 && (emf[5] - e).abs() < 1e-14 * u,
                "{law:?}"
            );
            assert!(emf[4] == 0.0 && voltage[4] == 0.0, "{law:?} {emf:?} {voltage:?}");
        }
    }
}
