//! How far what the rows leave over can move the output: the bound of the error of the instants.
//!
//! Let a waveform `y` lie on the films' laws at every instant and leave `rho` over in the rows. The true one differs by `d` with
//! `E d' + D d + d f + (neighbours) = -rho`. In lines, `d = -Y (rho + P d f)` with `Y = (j omega E + D + neighbours)^-1` and P the rows
//! that have films. Films rise by no less than their least slope, which is counted in `D`, and beyond that by no more than `s`, anywhere on their laws or
//! over what they visit ([`tube`](super::tube)): `<d f, P d> >= <d f, d f/s>`, hence `<d f, N d f> <= |<d f, P Y rho>|` with `N` the Hermitian part of
//! `P Y P`, which is `P Y* D Y P`, plus `1/s`; so `|N^(1/2) d f| <= |N^(-1/2) P Y rho|`, line by line in the sum. The output
//! `o d` then moves by at most
//!
//! ```text
//! sup |o Y P N^(-1/2)|  sum_i sup |N^(-1/2) P Y_i| |rho_i|  +  sum_i sup |o Y_i| |rho_i|
//! ```
//!
//! with rms norms over the period; the first and third supremum are taken over the lines that are answered (direct current is none
//! of them), the second over all. What is left over on the mean of the period has a second factor of its own: two films with
//! nothing but a capacitance between them let a direct current through that nothing but they oppose.
//!
//! One norm for all films does not know how far apart they are: the gain is the less of this and of what [`handed`](super::handed) follows from film to film.
//!
//! Where films that may saturate are all that opposes it there is no such factor, and the mean must vanish ([`balance`](super::balance)).
//!
//! **Past the lines that are answered** the second is bounded, not looked at (`beyond`). `N` is also `P Y D Y* P + 1/s`, as both are the Hermitian part of
//! `P Y P`. With `v = Y* P w` and w of unit size in `N`, `sum D_j |v_j|^2 + sum |w_p|^2/s_p <= 1` and the i-th number sought is the largest
//! `|v_i|`, so at most `1/sqrt(D_i)`; and row i of `(D - j omega E - neighbours) v = P w` says `|D_i - j omega E_i| |v_i| <= |v_(i-1)| + |v_(i+1)| + sqrt(s_i)`,
//! the last on rows with films. A row that neither stores nor loses ties its neighbours together, `v_(i+1) = v_(i-1)` but for `sqrt(s_i)`, and
//! `sqrt(D_i)` where `D_i` is a film's least slope: what bounds one bounds the other, and the sum of the rows of all that are tied in a run bounds each, with what they store and lose together; as these turn into one
//! quadrant their sizes add up to no more than `sqrt(2)` times that of their sum, so what the ties leave apart counts `sqrt(2)` times at most. None of it
//! grows with the frequency, so what holds at one line holds at all above it. A line at which rounding leaves no matrix to speak of leaves the
//! section without gains: not proved, whatever follows.

use super::balance::Balance;
use super::handed::{across, through};
use super::loops::Loops;
use super::ways::Ways;
use nalgebra::{Complex, DMatrix, DVector};
use num_complex::Complex64;

/// Times that the bounds of neighbours are put into each other.
const ROUNDS: usize = 2 * super::march::MOST_PARTS;

/// Least pivot of `N` with ones on its diagonal, and what rounding of such a one may take off a gain.
const PIVOT: f64 = 1e-11;
const MARGIN: f64 = 1.001;

/// What the output moves by, per rms of what each row leaves over.
#[derive(Debug, Clone, Default)]
pub struct Gains {
    /// lines that are answered
    pub lines: usize,
    /// V per volt or ampere that a row leaves over, rms without the mean
    pub per_row: Vec<f64>,
    /// V per volt or ampere that it leaves over on the mean
    pub per_mean: Vec<f64>,
}

/// What the rows of a chain store and lose, the least slope of their films with it, and the largest slope of films.
#[derive(Debug, Clone, Default)]
pub struct Chain {
    /// inductance or capacitance over the period
    pub stored: Vec<f64>,
    /// resistance or conductance
    pub lost: Vec<f64>,
    /// largest slope of the films
    pub steepest: Vec<f64>,
    /// whether there are films
    pub films: Vec<bool>,
    /// whether nothing but films stores or loses
    pub hollow: Vec<bool>,
}

impl Chain {
    /// Of a chain whose films rise by no less and no more than these slopes.
    fn new(loops: &Loops, slopes: &[(f64, f64)]) -> Self {
        let parts = || loops.parts.iter();
        Self {
            stored: parts().map(|part| part.stored).collect(),
            lost: parts().zip(slopes).map(|(part, (least, _))| part.lost + least).collect(),
            steepest: slopes.iter().map(|(least, most)| most - least).collect(),
            films: parts().map(|part| part.element.has_films()).collect(),
            hollow: parts().map(|part| part.lost == 0.0 && part.stored == 0.0).collect(),
        }
    }
}

/// Least and largest slope of each part's films anywhere on their laws.
#[must_use]
pub fn anywhere(loops: &Loops) -> Vec<(f64, f64)> {
    loops.parts.iter().map(|part| part.element.slopes()).collect()
}

struct At {
    /// `|o Y P N^(-1/2)|`
    out: f64,
    /// `|N^(-1/2) P Y_i|`
    inward: Vec<f64>,
    /// `|o Y_i|`
    straight: Vec<f64>,
}

/// Gains for each of several counts of lines, rising, where films rise by no less and no more than these slopes.
pub fn gains(
    loops: &Loops,
    slopes: &[(f64, f64)],
    ways: &Ways,
    balance: &Balance,
    counts: &[usize],
) -> Option<Vec<Gains>> {
    let parts = loops.parts.len();
    let chain = Chain::new(loops, slopes);
    let most = *counts.last()?;
    let (joined, row) = balance.joined(&chain);
    let mean = at(&joined, 0.0, None).map_or(vec![f64::INFINITY; parts], |found| found.inward);
    let mut inward = vec![0.0f64; parts];
    let (mut out, mut straight) = (0.0f64, vec![0.0f64; parts]);
    let mut found: Vec<(f64, Vec<f64>)> = Vec::new();
    for line in 1..=most {
        let (own, next) = loops.output_row(line as f64);
        let here = at(&chain, line as f64, Some((loops.output, own, next)))?;
        out = out.max(here.out);
        raise(&mut inward, &here.inward);
        raise(&mut straight, &here.straight);
        if counts.contains(&line) {
            found.push((out, straight.clone()));
        }
    }
    raise(&mut inward, &beyond(&chain, ways, (most + 1) as f64));
    let across = across(&chain);
    let mean: Vec<f64> = row.iter().map(|row| row.map_or(0.0, |row| mean[row])).collect();
    let each = |(&lines, (out, straight)): (&usize, (f64, Vec<f64>))| {
        // of a mean that is made to vanish only the sum knows
        let through = |first: &[f64]| match balance.is_empty() {
            true => through(&chain, &across, first, &straight),
            false => vec![f64::INFINITY; parts],
        };
        let (rows, means) = (through(&inward), through(&mean));
        Gains {
            lines,
            per_row: (0..parts).map(|i| (out * inward[i]).min(MARGIN * rows[i]) + straight[i]).collect(),
            per_mean: (0..parts).map(|i| (out * mean[i]).min(MARGIN * means[i])).collect(),
        }
    };
    Some(counts.iter().zip(found).map(each).collect())
}

/// Bounds of `|N^(-1/2) P Y_i|` at a line and all above it.
fn beyond(chain: &Chain, ways: &Ways, harmonic: f64) -> Vec<f64> {
    let omega = std::f64::consts::TAU * harmonic;
    let Chain { stored, lost, .. } = chain;
    let count = lost.len();
    let mut most: Vec<f64> = lost.iter().map(|lost| lost.sqrt().recip()).collect();
    let film = |i: usize| if chain.films[i] { chain.steepest[i].sqrt() } else { 0.0 };
    // of a row that only films are on, what the least slope of theirs leaves apart too
    let slack = |i: usize| film(i) + lost[i].sqrt();
    let hollow = |i: usize| i > 0 && i + 1 < count && chain.hollow[i];
    for _ in 0..ROUNDS {
        for first in (1..count).filter(|&i| hollow(i) && !(i > 2 && hollow(i - 2))) {
            let ties: Vec<usize> = (first..count).step_by(2).take_while(|&i| hollow(i)).collect();
            let tied = || std::iter::once(first - 1).chain(ties.iter().map(|i| i + 1));
            let last = first + 2 * ties.len() - 1;
            let (before, next) =
                (if first > 1 { most[first - 2] } else { 0.0 }, most.get(last + 1).copied().unwrap_or(0.0));
            let outer = before + next + tied().map(film).sum::<f64>();
            let all = |of: &[f64]| tied().map(|n| of[n]).sum::<f64>();
            let own = all(lost).hypot(omega * all(stored));
            // all turn into one quadrant, so the sizes add up to no more than sqrt(2) times that of the sum
            let spread = if ties.len() > 1 { std::f64::consts::SQRT_2 } else { 1.0 };
            let apart = spread * ties.iter().map(|&i| slack(i)).sum::<f64>();
            for n in tied() {
                most[n] = most[n].min(outer / own + apart);
            }
            if let [i] = ties[..]
                && slack(i) == 0.0
            {
                most[i] = most[i].min(outer);
            }
        }
        for i in (1..count).filter(|&i| hollow(i)) {
            // next to a film that may be a short the sum of the rows says nothing, but its own bound goes through the tie
            most[i - 1] = most[i - 1].min(most[i + 1] + slack(i));
            most[i + 1] = most[i + 1].min(most[i - 1] + slack(i));
        }
        for i in 0..count {
            let before = if i > 0 { most[i - 1] } else { 0.0 };
            let next = most.get(i + 1).copied().unwrap_or(0.0);
            let own = lost[i].hypot(omega * stored[i]);
            if own > 0.0 {
                most[i] = most[i].min((before + next + film(i)) / own);
            }
        }
    }
    // rows that are made to hold leave nothing over
    for (most, _) in most.iter_mut().zip(&ways.of).filter(|(_, way)| way.is_some()) {
        *most = 0.0;
    }
    most
}

fn raise(most: &mut [f64], here: &[f64]) {
    most.iter_mut().zip(here).for_each(|(most, here)| *most = most.max(*here));
}

/// All of it at a line; `output` is the part that makes the output and what it and the next one count.
fn at(chain: &Chain, harmonic: f64, output: Option<(usize, Complex64, Complex64)>) -> Option<At> {
    let Chain { stored, lost, .. } = chain;
    let parts = lost.len();
    let ports: Vec<usize> = (0..parts).filter(|&i| chain.films[i]).collect();
    let omega = std::f64::consts::TAU * harmonic;
    // rows and columns scaled to volts and amperes of the same size
    let size = |(stored, lost): (&f64, &f64)| {
        let own = lost.hypot(omega * stored);
        if own > 0.0 { own.sqrt().recip() } else { 1.0 }
    };
    let scale: Vec<f64> = stored.iter().zip(lost).map(size).collect();
    let matrix = DMatrix::from_fn(parts, parts, |i, j| {
        let value = if i == j {
            Complex::new(lost[i], omega * stored[i])
        } else if j == i + 1 {
            Complex::new(1.0, 0.0)
        } else if i == j + 1 {
            Complex::new(-1.0, 0.0)
        } else {
            Complex::new(0.0, 0.0)
        };
        value * (scale[i] * scale[j])
    });
    let mut inverse = matrix.try_inverse()?;
    for i in 0..parts {
        for j in 0..parts {
            inverse[(i, j)] *= scale[i] * scale[j];
        }
    }
    if inverse.iter().any(|x| !(x.re.is_finite() && x.im.is_finite())) {
        return None;
    }
    let o: Vec<Complex64> = (0..parts)
        .map(|j| {
            let Some((output, own, next)) = output else { return Complex64::default() };
            let more = if output + 1 < parts { next * inverse[(output + 1, j)] } else { Complex64::default() };
            own * inverse[(output, j)] + more
        })
        .collect();
    let count = ports.len();
    // Hermitian part by the losses, which only add; unit diagonal
    let n = |p: usize, q: usize| -> Complex64 {
        let own = if p == q { chain.steepest[ports[p]].recip() } else { 0.0 };
        let through = |r: usize| inverse[(r, ports[p])].conj() * lost[r] * inverse[(r, ports[q])];
        own + (0..parts).map(through).sum::<Complex64>()
    };
    let unit: Vec<f64> = (0..count).map(|p| n(p, p).re.sqrt().recip()).collect();
    if unit.iter().any(|x| !x.is_finite()) {
        return None;
    }
    let hermitian = DMatrix::from_fn(count, count, |p, q| n(p, q) * (unit[p] * unit[q]));
    let root = hermitian.cholesky()?;
    // a pivot that rounding has made, or turned, bounds nothing; the factorisation itself takes the root of any
    let lower = root.l();
    if !(0..count).all(|p| lower[(p, p)].re.powi(2) >= PIVOT && lower[(p, p)].im.abs() <= 1e-9 * lower[(p, p)].re) {
        return None;
    }
    let size =
        |column: DVector<Complex64>| lower.solve_lower_triangular(&column).map_or(f64::INFINITY, |x| MARGIN * x.norm());
    let inward = (0..parts).map(|i| size(DVector::from_fn(count, |p, _| inverse[(ports[p], i)] * unit[p]))).collect();
    let out = size(DVector::from_fn(count, |p, _| o[ports[p]].conj() * unit[p]));
    Some(At { out, inward, straight: o.iter().map(|x| x.norm()).collect() })
}

#[cfg(test)]
mod tests {
    use super::super::tests::{hollow, mild, ohm};
    use super::super::{LINES, Period};
    use super::*;
    use crate::watch::Unwatched;

    #[test]
    fn a_pivot_of_rounding_bounds_nothing() {
        // two bridges without end and a capacitance between, beside it a film across that may carry nothing: nothing says how a direct
        // current is divided; and three of them with picofarads between at some ten hertz
        let open = f64::INFINITY;
        let mean = Chain {
            stored: vec![0.0; 4],
            lost: vec![125_601.0, 0.0, 68_371_475.0, 0.125],
            steepest: vec![open, 133_907f64.recip(), open, 0.0],
            films: vec![true, true, true, false],
            hollow: vec![false; 4],
        };
        assert!(at(&mean, 0.0, None).is_none());
        let line = Chain {
            stored: vec![0.0, 1.488e-10, 0.0, 4.78e-10, 0.0, 3.69e-10],
            lost: vec![54.55, 0.0, 0.0436, 0.0, 0.00732, 0.125],
            steepest: vec![open, 0.0, open, 0.0, open, 0.0],
            films: vec![true, false, true, false, true, false],
            hollow: vec![false; 6],
        };
        assert!(at(&line, 1.0, None).is_none());
        // where the same films have an end, it is known
        let finite = Chain { steepest: vec![1e6, 133_907f64.recip(), 1e6, 0.0], ..mean };
        assert!(at(&finite, 0.0, None).unwrap().inward.iter().all(|gain| gain.is_finite()));
    }

    #[test]
    fn no_line_past_those_answered_passes_its_bound() {
        let mut nearest = 0.0f64;
        for network in mild().into_iter().chain(hollow()) {
            let period = Period::new(&network, (2e3, network.emf_v), &ohm(&network), &Unwatched).unwrap();
            let loops = &period.loops;
            let (chain, ways) = (Chain::new(loops, &anywhere(loops)), &period.marcher.ways);
            for from in [2, 10, LINES[2] + 1] {
                let bound = beyond(&chain, ways, from as f64);
                // of what was looked at before there was a bound, forty octaves in eighths, and every line near the first
                let near = (0..300).map(|more| (from + more) as f64);
                let far = (0..320).map(|step| from as f64 * 2f64.powf(f64::from(step) / 8.0));
                for line in near.chain(far) {
                    let Some(here) = at(&chain, line, None) else { continue };
                    for i in (0..loops.parts.len()).filter(|&i| ways.of[i].is_none()) {
                        assert!(
                            here.inward[i] <= MARGIN * bound[i] * (1.0 + 1e-9),
                            "part {i} line {line}: {} above {}",
                            here.inward[i],
                            bound[i]
                        );
                        nearest = nearest.max(here.inward[i] / bound[i]);
                    }
                }
            }
        }
        assert!(nearest > 0.9, "{nearest}");
    }
}
