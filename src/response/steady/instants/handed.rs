//! How far what one row leaves over is handed on from film to film: a bound that knows where in the chain the films are.
//!
//! The difference `d` from the true state obeys `E d' + D d + S d + (neighbours) = -rho` with slopes `0 <= S <= s` beyond the least ones counted in `D`: linear in
//! `rho`, so what each row leaves over may be followed alone. [`gains`](mod@super::gains) bounds what all films answer together, in one norm, and what the output
//! makes of the worst of it. A film of megohms at the source and a contact of milliohms at the output are one in that norm, though next to nothing of what
//! the first does comes so far. Here each film has a bound of its own:
//!
//! ```text
//! |d_p| <= sum_q |Y_pq| (|rho_q| + |S d_q|),    |S d_q| <= s_q |d_q|,    |S d_q| <= sqrt(s_q) |N^(1/2) P S d|
//! ```
//!
//! the last from the one norm, to begin with. `|Y_pq|` is bounded at all lines at once: seen from q, a part further on has an impedance `Z_p = D_p + j omega E_p + 1/Z_(p+1)`
//! of real part no less than `D_p`, and takes `|Y_pq| <= |Y_(p-1)q| / D_p`; `|Y_qq| <= 1/D_q` likewise; and as the power `sum D_p |Y_pq|^2` is the real part of
//! `Y_qq`, `|Y_pq| <= 1/sqrt(D_p D_q)`.

use super::gains::Chain;

/// Times that the bounds are put into each other.
const ROUNDS: usize = 2 * super::march::MOST_PARTS;

/// Bounds of `|Y_pq|` at any line, column by column.
#[must_use]
pub fn across(chain: &Chain) -> Vec<Vec<f64>> {
    (0..chain.lost.len()).map(|q| from(chain, q)).collect()
}

fn from(chain: &Chain, q: usize) -> Vec<f64> {
    let Chain { lost, stored, .. } = chain;
    let count = lost.len();
    let mut most = vec![f64::INFINITY; count];
    if lost[q] == 0.0 {
        return most;
    }
    most[q] = lost[q].recip();
    let mut onward = |p: usize, before: usize, over: Option<usize>| {
        most[p] = (most[before] / lost[p]).min(lost[p].sqrt().recip() * lost[q].sqrt().recip());
        // a row that neither stores nor loses says that those beside it are equal
        if let Some(over) = over.filter(|_| lost[before] == 0.0 && stored[before] == 0.0) {
            most[p] = most[p].min(most[over]);
        }
    };
    (q + 1..count).for_each(|p| onward(p, p - 1, (p > q + 1).then(|| p - 2)));
    (0..q).rev().for_each(|p| onward(p, p + 1, (p + 1 < q).then(|| p + 2)));
    most
}

/// What each row, per rms of what it leaves over, moves the output by through the films: `first` bounds what each row makes all films answer, in the one norm,
/// and `straight` what the output makes of each row.
#[must_use]
pub fn through(chain: &Chain, across: &[Vec<f64>], first: &[f64], straight: &[f64]) -> Vec<f64> {
    let count = chain.lost.len();
    let films: Vec<usize> = (0..count).filter(|&p| chain.films[p]).collect();
    let one = |row: usize| {
        let mut answered: Vec<f64> = films.iter().map(|&p| chain.steepest[p].sqrt() * first[row]).collect();
        for _ in 0..ROUNDS {
            for (k, &p) in films.iter().enumerate() {
                let from_films: f64 = films.iter().zip(&answered).map(|(&q, size)| across[q][p] * size).sum();
                let off = across[row][p] + from_films;
                // not a number, of nothing times without end, bounds nothing and is not the least
                answered[k] = answered[k].min(chain.steepest[p] * off);
            }
        }
        films.iter().zip(&answered).map(|(&p, size)| straight[p] * size).sum()
    };
    (0..count).map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;
    use proptest::prelude::*;

    const LINES: usize = 4;

    /// The rows of a chain at some lines, those of one line together.
    fn rows(chain: &Chain, films: impl Fn(usize, usize, usize) -> Complex64) -> nalgebra::DMatrix<Complex64> {
        let count = chain.lost.len();
        nalgebra::DMatrix::from_fn(LINES * count, LINES * count, |r, c| {
            let ((line, i), (other, j)) = ((r / count, r % count), (c / count, c % count));
            let own = Complex64::new(chain.lost[i], std::f64::consts::TAU * line as f64 * chain.stored[i]);
            let side = f64::from(i8::from(j == i + 1) - i8::from(i == j + 1));
            let straight = if i == j { own } else { side.into() };
            films(i, line, other) * f64::from(u8::from(i == j)) + straight * f64::from(u8::from(line == other))
        })
    }

    fn chain(lost: Vec<f64>, stored: Vec<f64>, steepest: Vec<f64>) -> Chain {
        let films = steepest.iter().map(|&steepest| steepest > 0.0).collect();
        let hollow = lost.iter().zip(&stored).map(|(lost, stored)| *lost == 0.0 && *stored == 0.0).collect();
        Chain { stored, lost, steepest, films, hollow }
    }

    #[test]
    fn a_film_far_from_the_output_hardly_counts() {
        // 1 megohm that may be a short at the source, then two dividers of a thousand; a film of 1 mS beside 1 S at the output
        let chain = chain(vec![1e3, 1e3, 1e3, 1.0], vec![0.0; 4], vec![1e6, 0.0, 0.0, 1e-3]);
        let first: Vec<f64> = chain.lost.iter().map(|lost| lost.sqrt().recip()).collect();
        let by = |straight: [f64; 4]| through(&chain, &across(&chain), &first, &straight);
        let through = by([1e-9, 1e-6, 1e-3, 1.0]);
        // what the first film answers is sqrt(1e6/1e3) of what its own row leaves over, and the last one adds a thousandth of that
        let expected = 1e-9 * 1e3f64.sqrt();
        assert!((through[0] / expected - 1.0).abs() < 0.01, "{} {expected}", through[0]);
        // by itself: what comes of that row and of the first film, a thousandth
        let expected = 1e-3 * 1e-9 * (1.0 + 1e3f64.sqrt());
        assert!((by([0.0, 0.0, 0.0, 1.0])[0] / expected - 1.0).abs() < 0.01);
        // the one norm would have the last film's part of it: thirty thousand times as much
        let one = first[0] * 1e-3f64.sqrt();
        assert!(one > 1e4 * through[0], "{one}");
    }

    proptest! {
        #[test]
        fn no_films_hand_on_more(log_lost in prop::collection::vec(-3.0f64..3.0, 5), log_stored in prop::collection::vec(-3.0f64..3.0, 5),
                                 log_steep in prop::collection::vec(-4.0f64..6.0, 5), is_film in prop::collection::vec(any::<bool>(), 5),
                                 idle in prop::collection::vec(0usize..4, 5), turns in prop::collection::vec(-1.0f64..1.0, 5 * LINES), row in 0usize..5) {
            let ten = |log: &[f64], used: &dyn Fn(usize) -> bool| -> Vec<f64> { log.iter().enumerate().map(|(i, log)| if used(i) { 10f64.powf(*log) } else { 0.0 }).collect() };
            let (ends, films) = ([0, 4], is_film);
            let chain = chain(ten(&log_lost, &|i| ends.contains(&i) || i == row || idle[i] != 0), ten(&log_stored, &|i| idle[i] > 1), ten(&log_steep, &|i| films[i]));
            let across = across(&chain);
            // each line of its own against the bound of all
            let (plain, count) = (rows(&chain, |_, _, _| 0.0.into()).try_inverse().unwrap(), 5);
            let line = |p: usize, q: usize| (0..LINES).map(|l| plain[(l * count + p, l * count + q)].norm()).fold(0.0, f64::max);
            for (p, bound) in across[row].iter().enumerate() {
                prop_assert!(line(p, row) <= bound * (1.0 + 1e-9), "{p}: {} above {bound}", line(p, row));
            }
            // films that turn lines into each other: a positive matrix no larger than their largest slope
            let turn = |i: usize, line: usize| Complex64::from_polar(1.0, 3.0 * turns[i * LINES + line]);
            let film = |i: usize, line: usize, other: usize| chain.steepest[i] / LINES as f64 * turn(i, line) * turn(i, other).conj();
            let right = nalgebra::DVector::from_fn(LINES * count, |r, _| {
                if r % count == row { Complex64::new(turns[r], turns[(r + 7) % (5 * LINES)]) } else { 0.0.into() }
            });
            let moved = rows(&chain, film).lu().solve(&right).unwrap();
            let off = (0..LINES).map(|line| moved[line * count + 4].norm_sqr()).sum::<f64>().sqrt();
            let first: Vec<f64> = chain.lost.iter().map(|lost| lost.sqrt().recip()).collect();
            let straight: Vec<f64> = (0..count).map(|q| line(4, q)).collect();
            let bound = (through(&chain, &across, &first, &straight)[row] + straight[row]) * right.norm();
            prop_assert!(off <= bound * (1.0 + 1e-9), "{off} above {bound}");
        }
    }
}
