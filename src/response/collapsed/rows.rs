//! Many rows of the same frequencies, each at one resistance of the only loop: polynomials in place of logarithms.
//!
//! The loss `L(rho) = 10 lg |1 + rho k|^2` is a function of the resistance alone at each frequency, and its nearest singular point `-1/k` is in the
//! half plane where resistances are negative: from `rho` at least `sqrt(rho^2 + |1/k|^2)` away. With `Z` the least `|1/k|` of all frequencies, resistances are divided into
//! [`PER_OCTAVE`] pieces for each octave of `1 + rho/Z`; a piece of half width `h` round `c` has its singular points at least 45 h away, and
//!
//! `L(c + h t) = L(c) + 20/ln 10 * sum of Re (-(-w)^m)/m t^m`, `w = h k/(1 + c k)`, `|w| <= 1/45`.
//!
//! Held is `L/rho`, so that a loss of 1e-12 dB keeps its digits: its coefficients follow from `(c + h t) (L/rho) = L` one after the other, where `h` is at most a
//! third of `c`; those of the first piece, which begins at nothing, are those round nothing, moved. The terms `t^8` and `t^9` are put by what Chebyshev's polynomials are on
//! `[-1, 1]`, which leaves 1/128 and 1/256 of them: 1e-16 of `|k| rho`. Where the real part of any `k` is less than a sixteenth of it, so that a small loss is what is left of
//! larger terms, there are no polynomials.
//!
//! A piece is worth its coefficients where many rows are in it; other rows go by logarithms. Which way a row goes depends on the others then, and
//! with it the last places of its losses, 2e-15 of them: nothing else here depends on neighbours.

use super::table::{Group, Table, times};
use crate::physics::lanes::Lanes;
use crate::response::sweep::Values;
use crate::response::walk::Pair;
use pulp::{Simd, WithSimd};

/// Pieces for each octave of `1 + rho/Z`: five bits of its mantissa.
const PER_OCTAVE: usize = 1 << BITS;
const BITS: u32 = 5;

/// Octaves that may have pieces.
const OCTAVES: usize = 16;

/// Coefficients of a polynomial.
const TERMS: usize = 8;

/// The same before the last two are put by the others.
const ALL: usize = TERMS + 2;

/// Frequencies whose coefficients lie together.
const BLOCK: usize = 16;

/// Rows in a piece that are worth its coefficients, and rows altogether.
const WORTH: usize = 16;
const FEWEST_ROWS: usize = 256;

/// Shortest row.
const SHORTEST: usize = 64;

/// Most that a loss is from what logarithms make of it, relative.
#[cfg(test)]
const APART: f64 = 2e-15;

/// `20 / ln 10`
const DECIBELS: f64 = 8.685_889_638_065_037;

/// The pieces of a table of frequencies.
pub(super) struct Rows {
    /// frequencies of a row
    pub(super) length: usize,
    per_scale: f64,
    /// of each row
    resistances: Vec<f64>,
    /// the pieces that are worth it, and of every piece its place among them
    pieces: Vec<Piece>,
    place: Vec<u32>,
    /// piece after piece, in each block after block, in each term after term
    terms: Vec<f64>,
}

/// Middle and reciprocal of the half width.
#[derive(Debug, Clone, Copy)]
struct Piece {
    middle: f64,
    per_half: f64,
    is_first: bool,
}

/// No piece, no row.
const NONE: u32 = u32::MAX;

/// Rows of a chunk, those of a piece one after the other.
#[derive(Debug)]
struct Order {
    /// first row of each piece, and the one after each row
    first: Vec<u32>,
    next: Vec<u32>,
}

impl Rows {
    /// For rows of so many frequencies and these resistances, if enough of them are near each other.
    pub(super) fn new(table: &Table, length: usize, resistances: Vec<f64>) -> Option<Self> {
        let per_scale = table.largest_k()?;
        let mut counts = vec![0usize; OCTAVES * PER_OCTAVE];
        for rho in &resistances {
            if let Some(count) = counts.get_mut(number(*rho, per_scale)) {
                *count += 1;
            }
        }
        let mut pieces = Vec::new();
        let place = |(number, count): (usize, usize)| {
            if count < WORTH {
                return NONE;
            }
            let octave = f64::from_bits(((number / PER_OCTAVE) as u64 + 1023) << (f64::MANTISSA_DIGITS - 1));
            let half = 0.5 * octave / PER_OCTAVE as f64;
            let middle = octave + (2 * (number % PER_OCTAVE) + 1) as f64 * half - 1.0;
            pieces.push(Piece { middle: middle / per_scale, per_half: per_scale / half, is_first: number == 0 });
            pieces.len() as u32 - 1
        };
        let place: Vec<u32> = counts.into_iter().enumerate().map(place).collect();
        let terms = vec![0.0; pieces.len() * length.div_ceil(BLOCK) * TERMS * BLOCK];
        let mut rows = Self { length, per_scale, resistances, pieces, place, terms };
        pulp::Arch::new().dispatch(Fill { rows: &mut rows, table });
        (!rows.pieces.is_empty()).then_some(rows)
    }

    /// Which of the pieces that are worth it a row is in.
    #[inline(always)]
    fn piece(&self, row: usize) -> Option<usize> {
        let place = *self.place.get(number(self.resistances[row], self.per_scale))?;
        (place != NONE).then_some(place as usize)
    }

    /// Terms of a piece.
    fn size(&self) -> usize {
        self.terms.len() / self.pieces.len()
    }

    /// Losses of rows one after the other, from a row on; `without` is told those that no polynomial is worth.
    #[inline(always)]
    pub(super) fn write<S: Simd>(&self, simd: S, first: usize, out: &mut [f64], without: &mut Vec<usize>) {
        let count = out.len() / self.length;
        let mut order = Order { first: vec![NONE; self.pieces.len()], next: vec![NONE; count] };
        for row in (0..count).rev() {
            match self.piece(first + row) {
                Some(piece) => (order.next[row], order.first[piece]) = (order.first[piece], row as u32),
                None => without.push(row),
            }
        }
        // the terms of a piece stay in the nearest cache for all of its rows
        let pieces = order.first.iter().zip(&self.pieces).zip(self.terms.chunks_exact(self.size()));
        for ((from, piece), terms) in pieces {
            let place = |row: u32| {
                let rho = self.resistances[first + row as usize];
                (rho, (rho - piece.middle) * piece.per_half)
            };
            let mut row = *from;
            while row != NONE {
                let next = order.next[row as usize];
                let at = row as usize * self.length;
                if next == NONE {
                    of_row(simd, place(row), terms, &mut out[at..at + self.length]);
                    break;
                }
                let (before, after) = out.split_at_mut(next as usize * self.length);
                let rows = [&mut before[at..at + self.length], &mut after[..self.length]];
                of_two_rows(simd, [place(row), place(next)], terms, rows);
                row = order.next[next as usize];
            }
        }
    }
}

/// `rho` of a group in each row of so many points, where it is the same all along each: added up as elsewhere. None where there are too few of them or of points.
pub(super) fn resistances(group: &Group, contacts: &[Values<'_>], length: usize, points: usize) -> Option<Vec<f64>> {
    if length < SHORTEST || points % length != 0 || points / length < FEWEST_ROWS {
        return None;
    }
    let rows = points / length;
    let mut rho = vec![0.0; rows];
    for (number, &member) in group.members.iter().enumerate() {
        let put = |(rho, value): (&mut f64, &f64)| *rho = if number == 0 { *value } else { *rho + value };
        match contacts[member] {
            Values::One(value) => rho.iter_mut().zip(std::iter::repeat(&value)).for_each(put),
            Values::Spread(values, each) if each == length => {
                rho.chunks_mut(values.len()).for_each(|rho| rho.iter_mut().zip(values).for_each(put));
            }
            Values::Spread(values, each) if each > 0 && each % length == 0 => {
                let every = values.iter().cycle().flat_map(|value| std::iter::repeat_n(value, each / length));
                rho.iter_mut().zip(every).for_each(put);
            }
            Values::Many(_) | Values::Spread(..) => return None,
        }
    }
    if group.across {
        rho.iter_mut().for_each(|rho| *rho = 1.0 / *rho);
    }
    Some(rho)
}

/// Number of the piece of a resistance; past the last for what has none.
#[inline(always)]
fn number(rho: f64, per_scale: f64) -> usize {
    let bits = (1.0 + rho * per_scale).to_bits().wrapping_sub(1f64.to_bits());
    (bits >> (f64::MANTISSA_DIGITS - 1 - BITS)) as usize
}

/// Losses of a row at a resistance and where in its piece that is.
#[inline(always)]
fn of_row<S: Simd>(simd: S, place: (f64, f64), terms: &[f64], row: &mut [f64]) {
    for (row, terms) in row.chunks_mut(BLOCK).zip(terms.chunks_exact(TERMS * BLOCK)) {
        let Some(terms) = terms.first_chunk::<{ TERMS * BLOCK }>() else { continue };
        if let Some(row) = row.first_chunk_mut::<BLOCK>() {
            of_block(simd, place, terms, row);
        } else {
            let mut whole = [0.0; BLOCK];
            of_block(simd, place, terms, &mut whole);
            row.copy_from_slice(&whole[..row.len()]);
        }
    }
}

/// Losses of two rows of one piece: its terms are loaded once for both, which is what a row alone waits for.
#[inline(always)]
fn of_two_rows<S: Simd>(simd: S, places: [(f64, f64); 2], terms: &[f64], [one, other]: [&mut [f64]; 2]) {
    let blocks = one.chunks_mut(BLOCK).zip(other.chunks_mut(BLOCK)).zip(terms.chunks_exact(TERMS * BLOCK));
    for ((one, other), terms) in blocks {
        let Some(terms) = terms.first_chunk::<{ TERMS * BLOCK }>() else { continue };
        if let (Some(one), Some(other)) = (one.first_chunk_mut::<BLOCK>(), other.first_chunk_mut::<BLOCK>()) {
            of_two_blocks(simd, places, terms, [one, other]);
        } else {
            let mut whole = [[0.0; BLOCK]; 2];
            let [first, second] = &mut whole;
            of_two_blocks(simd, places, terms, [first, second]);
            one.copy_from_slice(&whole[0][..one.len()]);
            other.copy_from_slice(&whole[1][..other.len()]);
        }
    }
}

/// The same of two rows at the frequencies of a block.
#[inline(always)]
fn of_two_blocks<S: Simd>(
    simd: S,
    places: [(f64, f64); 2],
    terms: &[f64; TERMS * BLOCK],
    [one, other]: [&mut [f64; BLOCK]; 2],
) {
    let [(one_rho, one_t), (other_rho, other_t)] =
        places.map(|(rho, t)| (Lanes::splat(simd, rho), Lanes::splat(simd, t)));
    let mut from = 0;
    while from < BLOCK {
        let last = Lanes::load(simd, &terms[(TERMS - 1) * BLOCK + from..]);
        let (mut one_sum, mut other_sum) = (last, last);
        let mut m = TERMS - 1;
        while m > 0 {
            m -= 1;
            let term = Lanes::load(simd, &terms[m * BLOCK + from..]);
            one_sum = one_sum.times_plus(one_t, term);
            other_sum = other_sum.times_plus(other_t, term);
        }
        (one_rho * one_sum).store(&mut one[from..]);
        (other_rho * other_sum).store(&mut other[from..]);
        from += Lanes::<S>::COUNT;
    }
}

/// Losses of a row at the frequencies of a block.
#[inline(always)]
fn of_block<S: Simd>(simd: S, (rho, t): (f64, f64), terms: &[f64; TERMS * BLOCK], row: &mut [f64; BLOCK]) {
    let (rho, t) = (Lanes::splat(simd, rho), Lanes::splat(simd, t));
    let mut from = 0;
    while from < BLOCK {
        let mut sum = Lanes::load(simd, &terms[(TERMS - 1) * BLOCK + from..]);
        let mut m = TERMS - 1;
        while m > 0 {
            m -= 1;
            sum = sum.times_plus(t, Lanes::load(simd, &terms[m * BLOCK + from..]));
        }
        (rho * sum).store(&mut row[from..]);
        from += Lanes::<S>::COUNT;
    }
}

/// Works out the terms.
struct Fill<'a> {
    rows: &'a mut Rows,
    table: &'a Table,
}

impl WithSimd for Fill<'_> {
    type Output = ();
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) {
        if self.rows.pieces.is_empty() {
            return;
        }
        let size = self.rows.size();
        let (twice, square) = self.table.of_one_loop();
        for (piece, terms) in self.rows.pieces.iter().zip(self.rows.terms.chunks_exact_mut(size)) {
            for (block, terms) in terms.chunks_exact_mut(TERMS * BLOCK).enumerate() {
                for from in (0..BLOCK).step_by(Lanes::<S>::COUNT) {
                    // columns have room behind them for whole blocks
                    let at = block * BLOCK + from;
                    let k = (0.5 * Lanes::load(simd, &twice[at..]), Lanes::load(simd, &square[at..]));
                    for (m, term) in of_piece(k, *piece).into_iter().enumerate() {
                        term.store(&mut terms[m * BLOCK + from..]);
                    }
                }
            }
        }
    }
}

/// Terms of `L/rho` in `t`, from `Re k` and `|k|^2`.
#[inline(always)]
fn of_piece<S: Simd>((re, square): (Lanes<S>, Lanes<S>), piece: Piece) -> [Lanes<S>; TERMS] {
    let simd = re.simd();
    // the sign of the imaginary part does not matter
    let im = (square - re * re).max(Lanes::splat(simd, 0.0)).sqrt();
    without_the_last_two(if piece.is_first {
        from_nothing((re, im), piece)
    } else {
        round_middle((re, im), square, piece)
    })
}

/// Puts the last two powers by those before them: `t^9 = (576 t^7 - 432 t^5 + 120 t^3 - 9 t)/256` and `t^8 = (256 t^6 - 160 t^4 + 32 t^2 - 1)/128`, but
/// for Chebyshev's polynomials over as much.
#[inline(always)]
fn without_the_last_two<S: Simd>(mut terms: [Lanes<S>; ALL]) -> [Lanes<S>; TERMS] {
    let (eighth, ninth) = (terms[TERMS] * 128f64.recip(), terms[TERMS + 1] * 256f64.recip());
    for (m, times) in [(7, 576.0), (5, -432.0), (3, 120.0), (1, -9.0)] {
        terms[m] = terms[m] + ninth * times;
    }
    for (m, times) in [(6, 256.0), (4, -160.0), (2, 32.0), (0, -1.0)] {
        terms[m] = terms[m] + eighth * times;
    }
    let mut out = [eighth; TERMS];
    out.copy_from_slice(&terms[..TERMS]);
    out
}

/// Terms of the first piece, which begins with no resistance: those round nothing, which add nothing but what is smaller, moved to its middle.
#[inline(always)]
fn from_nothing<S: Simd>((re, im): Pair<S>, piece: Piece) -> [Lanes<S>; ALL] {
    let h = piece.per_half.recip();
    // `-h k`, and over h once
    let w = (re * -h, im * -h);
    let mut power = (re * -DECIBELS, im * -DECIBELS);
    let mut terms = [power.0; ALL];
    for (m, term) in terms.iter_mut().enumerate() {
        *term = power.0 * (-1.0 / (m + 1) as f64);
        power = times(power, w);
    }
    // rho = h (1 + t)
    for first in 0..ALL - 1 {
        for m in (first..ALL - 1).rev() {
            terms[m] = terms[m] + terms[m + 1];
        }
    }
    terms
}

/// Terms of another piece.
#[inline(always)]
fn round_middle<S: Simd>((re, im): Pair<S>, square: Lanes<S>, piece: Piece) -> [Lanes<S>; ALL] {
    let simd = re.simd();
    let (c, h) = (piece.middle, piece.per_half.recip());
    // 1 + c k, and |1 + c k|^2 less one
    let (one_re, one_im) = (re * c + 1.0, im * c);
    let d = Lanes::splat(simd, c) * (square * c + (re + re));
    let scale = Lanes::splat(simd, -h) / (d + 1.0);
    // -w
    let w = ((re * one_re + im * one_im) * scale, (im * one_re - re * one_im) * scale);
    let (per_middle, share) = (c.recip(), h / c);
    let mut power = w;
    let mut terms = [d.decibels_beside_one() * per_middle; ALL];
    for m in 1..ALL {
        terms[m] = power.0 * (-DECIBELS * per_middle / m as f64) - terms[m - 1] * share;
        power = times(power, w);
    }
    terms
}

#[cfg(test)]
mod tests;
