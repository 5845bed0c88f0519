//! The largest value of a function over a band, with no frequency left out.
//!
//! Branch and bound: each interval has an enclosure ([`Jet`]); the interval with the largest upper bound is halved until
//! that bound is within `CLOSE` of a value that is reached. What is returned is the upper bound: never below the supremum,
//! rounding included, and above it by no more than `CLOSE`, or by the rounding of the network's own arithmetic where that is more.

use super::jet::Jet;
use std::f64::consts::TAU;

/// How close the upper bound is brought to a value that is reached, relative.
const CLOSE: f64 = 1e-11;

/// Most enclosures of one search; the bound is safe wherever it ends.
const MOST: usize = 20_000;

/// Intervals narrower than this, relative to their end, are not halved: only rounding is left there.
const NARROWEST: f64 = 1e-10;

/// A gap below the second share of the value, of which halving takes less than the first share, is one of rounding.
const GAIN: f64 = 0.05;
/// See [`GAIN`].
const ROUNDED: f64 = 1e-7;

/// Angular frequency at which [`Span::High`] takes over from [`Span::Low`] where every frequency counts, rad/s.
pub(crate) const SPLIT: f64 = TAU * 1e5;

/// An interval of angular frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Span {
    /// `omega` between two ends, rad/s
    Low(f64, f64),
    /// `SPLIT / omega` between two ends: zero is an infinite frequency
    High(f64, f64),
}

impl Span {
    /// One frequency.
    pub(crate) fn at(frequency_hz: f64) -> Self {
        Self::Low(TAU * frequency_hz, TAU * frequency_hz)
    }

    /// A band in pieces of about a quarter octave.
    pub(crate) fn band((low_hz, high_hz): (f64, f64)) -> Vec<Self> {
        let (low, high) = (low_hz.ln(), high_hz.ln());
        let pieces = ((high - low) / std::f64::consts::LN_2 * 4.0).ceil().max(1.0) as usize;
        let end = |k: usize| match k {
            0 => TAU * low_hz * (1.0 - f64::EPSILON),
            _ if k == pieces => TAU * high_hz * (1.0 + f64::EPSILON),
            _ => TAU * (low + (high - low) * k as f64 / pieces as f64).exp(),
        };
        (0..pieces).map(|k| Self::Low(end(k), end(k + 1))).collect()
    }

    /// Every frequency from zero to infinity.
    pub(crate) fn everywhere() -> Vec<Self> {
        let halves = |down_to: i32| -> Vec<(f64, f64)> {
            let mut ends: Vec<f64> = (0..=down_to).map(|k| 2f64.powi(-k)).collect();
            ends.push(0.0);
            ends.windows(2).map(|w| (w[1], w[0])).collect()
        };
        let low = halves(20).into_iter().map(|(a, b)| Self::Low(a * SPLIT, b * SPLIT));
        low.chain(halves(14).into_iter().map(|(a, b)| Self::High(a, b))).collect()
    }

    /// Both ends, in the units of the interval.
    pub(crate) fn ends(self) -> (f64, f64) {
        match self {
            Self::Low(a, b) | Self::High(a, b) => (a, b),
        }
    }

    /// Middle and half width.
    pub(crate) fn middle_and_half(self) -> (f64, f64) {
        let (a, b) = self.ends();
        let middle = 0.5 * (a + b);
        // no end may fall outside by rounding
        (middle, if a == b { 0.0 } else { (b - middle).max(middle - a) * (1.0 + 4.0 * f64::EPSILON) })
    }

    /// One point of it.
    pub(crate) fn only(self, at: f64) -> Self {
        match self {
            Self::Low(..) => Self::Low(at, at),
            Self::High(..) => Self::High(at, at),
        }
    }

    pub(crate) fn halves(self) -> [Self; 2] {
        let (a, b) = self.ends();
        let middle = 0.5 * (a + b);
        match self {
            Self::Low(..) => [Self::Low(a, middle), Self::Low(middle, b)],
            Self::High(..) => [Self::High(a, middle), Self::High(middle, b)],
        }
    }

    pub(crate) fn is_narrow(self) -> bool {
        let (a, b) = self.ends();
        b - a <= NARROWEST * b
    }
}

/// An interval with the bounds of its largest value.
struct Piece {
    span: Span,
    top: f64,
}

/// Never below the supremum of a real function over intervals; `known` holds enclosures made before, one per span, `at` makes
/// new ones. Infinite where the function has none, or none that is proved.
pub(crate) fn supremum(
    spans: &[Span],
    known: impl Iterator<Item = Option<Jet>>,
    mut at: impl FnMut(Span) -> Option<Jet>,
) -> f64 {
    let mut reached = f64::NEG_INFINITY;
    let mut open: Vec<Piece> = Vec::with_capacity(spans.len() + 64);
    let mut settled = f64::NEG_INFINITY;
    let mut take = |span: Span, jet: Option<Jet>, open: &mut Vec<Piece>| {
        let (least, top) = jet.map_or((f64::NEG_INFINITY, f64::INFINITY), |jet| jet.largest());
        reached = reached.max(least);
        open.push(Piece { span, top });
        reached
    };
    let mut best = f64::NEG_INFINITY;
    for (span, jet) in spans.iter().zip(known) {
        best = take(*span, jet, &mut open);
    }
    for _ in 0..MOST {
        let Some(worst) = (0..open.len()).max_by(|&a, &b| open[a].top.total_cmp(&open[b].top)) else { break };
        if open[worst].top <= best + CLOSE * best.abs() {
            break;
        }
        let piece = open.swap_remove(worst);
        if piece.span.is_narrow() {
            settled = settled.max(piece.top);
            if settled == f64::INFINITY {
                return settled;
            }
            continue;
        }
        let before = best;
        let mut top = f64::NEG_INFINITY;
        for half in piece.span.halves() {
            let jet = at(half);
            best = take(half, jet, &mut open);
            top = top.max(open[open.len() - 1].top);
        }
        // where halving gains nothing, only rounding is left
        let gap = piece.top - before;
        if top > piece.top - GAIN * gap && gap < ROUNDED * before.abs() {
            settled = settled.max(top);
            open.truncate(open.len() - 2);
        }
    }
    open.iter().map(|piece| piece.top).fold(settled, f64::max)
}

/// Never below the supremum of a real function over intervals.
pub(crate) fn supremum_of(spans: &[Span], mut at: impl FnMut(Span) -> Option<Jet>) -> f64 {
    let first: Vec<_> = spans.iter().map(|span| at(*span)).collect();
    supremum(spans, first.into_iter(), at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    #[test]
    fn a_needle_between_grid_points_is_found() {
        // 1/|j w - p|^2 with a pole a millionth of its frequency from the axis: 1/a^2 at w = b
        for (b, a) in [(TAU * 1_234.567_89, 1e-6), (TAU * 20.000_1, 1e-7), (TAU * 19_999.9, 1e-8)] {
            let a = a * b;
            let found = supremum_of(&Span::band((20.0, 20e3)), |span| {
                let (middle, half) = span.middle_and_half();
                Jet::affine(Complex64::new(a, middle - b), Complex64::new(0.0, half)).square().inverse()
            });
            let exact = (a * a).recip();
            assert!(found >= exact && found < exact * (1.0 + 1e-8), "{found} {exact}");
        }
    }

    #[test]
    fn every_frequency_is_covered_once() {
        let spans = Span::everywhere();
        let length: f64 = spans.iter().map(|s| s.ends().1 - s.ends().0).sum();
        assert!((length - SPLIT - 1.0).abs() < 1e-9 * SPLIT);
        assert_eq!(spans.iter().filter(|s| s.ends().0 == 0.0).count(), 2);
        let band = Span::band((20.0, 20e3));
        assert!(band[0].ends().0 <= TAU * 20.0 && band[band.len() - 1].ends().1 >= TAU * 20e3);
        assert!(band.windows(2).all(|w| w[0].ends().1 == w[1].ends().0));
    }

    #[test]
    fn no_bound_is_infinite() {
        let found = supremum_of(&Span::band((20.0, 20e3)), |span| {
            let (middle, half) = span.middle_and_half();
            Jet::affine(Complex64::new(0.0, middle - 5e3), Complex64::new(0.0, half)).square().inverse()
        });
        assert_eq!(found, f64::INFINITY);
    }
}
