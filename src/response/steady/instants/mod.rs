//! The periodic state instant by instant, for waveforms that no even grid of samples can hold.
//!
//! A film of a megohm that stops carrying lets the current of an inductance go within a thousandth of a millionth of the
//! period: its lines fall as slowly as those of a step. Here the period is gone through in steps as short as the waveform asks
//! ([`march`]), the start is moved by Newton's method until the end meets it, and what the rows leave over between the points bounds
//! the error of every line that is answered ([`gains`](mod@gains)): a bound of another kind than that of the lines. Its
//! suprema are over the answered lines and, past them, bounded; its sums over a step are taken at ten points: numerically, not enclosed.
//!
//! Slower than the lines (tens of milliseconds), so it is asked where they gave up. One section, one tone, no direct current.

pub mod balance;
pub mod element;
pub mod gains;
pub mod loops;
pub mod march;
pub mod radau;
pub mod tube;
pub mod twofold;
pub mod ways;

use super::direct::channel_chords;
use super::films::{Placed, Seen, channel_ohm, place, tune};
use super::solve::{Answer, CONVERGED, chords, stages_at};
use crate::circuit::chain::Network;
use crate::watch::Watch;
use balance::Balance;
use gains::{Gains, anywhere, gains};
use loops::Loops;
use march::{BEGIN, March, Marcher};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use radau::{Basis, STAGES, gauss};
use std::f64::consts::TAU;
use tube::{Rest, Tube};
use twofold::Twofold;
use ways::{Left, Way};

/// Lines that are answered: as many as can be proved, of these.
const LINES: [usize; 3] = [121, 364, 1093];

/// Error of the output that the first marches aim at, of the tone; and that of the last ones, of the residue.
const FIRST_AIM: f64 = 1e-4;
const LAST_AIM: f64 = 3e-8;

/// How much coarser than the last aim one may be that is tried where the last takes too many steps.
const WORST_OVER_LAST: f64 = 10.0;

/// How much coarser the first marches aim after one that did not come to its end.
const COARSER_BY: f64 = 1e3;

/// Width of the tube that steps go by, of the one that is tried where the true state might be outside, and of the one that bounds most.
const WIDTH: f64 = 1e-3;
const WIDEST: f64 = 0.05;
const NARROWEST: f64 = 1e-6;

/// How far a march must come to have begun, periods; what is left of the share of Newton's step where it has not, and the least share.
const BEGUN: f64 = 1e-6;
const LESS: f64 = 0.25;
const LEAST_SHARE: f64 = 0.01;

/// Marches towards the periodic state, and on the steps of the last one.
const MOST_MARCHES: usize = 60;
const MOST_AGAIN: usize = 6;

/// Times that the aim is made finer, and by how much.
const FINER: usize = 3;
const FINER_BY: f64 = 1.0 / 40.0;

/// Beside where a part stands, of its peak, that its slope is looked at.
const BESIDE: f64 = 1e-8;

/// Share of the error before that finer steps must come down to, to be tried again.
const WORTH: f64 = 0.5;

/// Gap at the end of the period, of the EMF, and what it may move the output by, of the aim, that is closed without more marches.
const CLOSED: f64 = 1e-14;
const CLOSING: f64 = 0.1;

/// Points of a step that the rest of the rows is summed over.
const SUMMED: usize = 10;

/// Rounding of sums of a period's samples turned line by line, rms over the lines and relative to what is summed: this times their count to the
/// power 1.5, as the instants' rounding is turned as often as they are.
const ROUNDING: f64 = 1.2e-17;

/// The answer, where this road is open, a proof was found, and nobody says stop.
#[must_use]
pub fn solve(network: &Network, tone: (f64, f64), film_ohm: &[f64], watch: &dyn Watch) -> Option<Answer> {
    let mut period = Period::new(network, tone, film_ohm, watch)?;
    period.settle()?;
    let mut aim_v = LAST_AIM * period.residue_v(LINES[0]).max(f64::MIN_POSITIVE);
    period.steer();
    // too many steps for this aim: one that the proof just bears, and more steps
    if period.refine(aim_v).is_none() {
        aim_v *= WORST_OVER_LAST;
        period.marcher.most_steps = march::MOST_AT_WORST;
        period.refine(aim_v)?;
    }
    let mut before_v = f64::INFINITY;
    let mut tried = 0;
    while tried <= FINER {
        period.close();
        let mut rest = period.rest();
        let within = period.tube.is_some() && (period.stays(&rest) || period.narrow(&rest, WIDEST));
        if !within {
            // the true state may be elsewhere: what films do anywhere
            period.widen()?;
            period.refine(aim_v)?;
            period.close();
            rest = period.rest();
            period.balance(&mut rest);
        }
        if let Some(answer) = period.answer(network, tone, film_ohm, &rest) {
            return Some(answer);
        }
        if within
            && period.narrow(&rest, NARROWEST)
            && let Some(answer) = period.answer(network, tone, film_ohm, &rest)
        {
            return Some(answer);
        }
        // finer steps are of no use where rounding is all that is left over
        let moved_v = period.moved_v(&rest, period.gains.last()?);
        if moved_v.is_nan() || moved_v > WORTH * before_v {
            return None;
        }
        before_v = moved_v;
        aim_v *= FINER_BY;
        tried += 1;
        if tried <= FINER {
            period.refine(aim_v)?;
        }
    }
    None
}

/// A section on its way to its periodic state.
struct Period<'w> {
    placed: Vec<Placed>,
    loops: Loops,
    gains: Vec<Gains>,
    /// what films do anywhere, if that bounds anything
    anywhere: Option<Vec<Gains>>,
    /// where the gains hold, if not anywhere
    tube: Option<Tube>,
    balance: Option<Balance>,
    marcher: Marcher<'w>,
    start: Vec<Twofold>,
    march: March,
    tone_v: f64,
    rounds: usize,
}

impl<'w> Period<'w> {
    fn new(network: &Network, tone: (f64, f64), film_ohm: &[f64], watch: &'w dyn Watch) -> Option<Self> {
        let [link] = &network.links[..] else { return None };
        let ladder = &link.ladder;
        let mut placed = place(network, ladder, film_ohm);
        let plain = |(contact, ohm): (&crate::circuit::Contact, &f64)| {
            contact.direct_current_a == 0.0 && (ohm + contact.constriction_ohm).is_finite()
        };
        if placed.is_empty() || !network.contacts.iter().zip(film_ohm).all(plain) {
            return None;
        }
        tune(network, ladder, &mut placed, film_ohm, (tone.1, tone.0));
        let mut seen = Seen::default();
        seen.fill(ladder, &placed, &channel_ohm(network, &placed, film_ohm), &[tone.0]);
        let loops = Loops::new(network, ladder, &placed, film_ohm, tone)?;
        if loops.parts.len() > march::MOST_PARTS {
            return None;
        }
        let marcher = Marcher::new(&loops, watch);
        let balance = Balance::new(&loops, &marcher.ways);
        let anywhere = balance
            .as_ref()
            .and_then(|balance| gains(&loops, &anywhere(&loops), &marcher.ways, balance, &LINES))
            .filter(|gains| bounds(gains));
        // where nothing is known of films anywhere, steps go by what they do up to the EMF
        let gains = anywhere.clone().or_else(|| {
            let visited = vec![(-loops.emf_peak_v, loops.emf_peak_v); loops.parts.len()];
            within(&loops, &marcher, &Tube::around(&loops, &visited, WIDTH))
        })?;
        let start = vec![Twofold::default(); loops.parts.len()];
        let tone_v = tone.1 * seen.output[0].norm();
        let march = March::default();
        Some(Self { placed, loops, gains, anywhere, tube: None, balance, marcher, start, march, tone_v, rounds: 0 })
    }

    /// Gains of what the films visit for the steps to go by.
    fn steer(&mut self) {
        let visited_v = self.rest().visited_v;
        let tube = Tube::around(&self.loops, &visited_v, WIDTH);
        if let Some(gains) = within(&self.loops, &self.marcher, &tube) {
            (self.gains, self.tube) = (gains, Some(tube));
        }
    }

    /// Gains of a tube of another width, if the true state is in there.
    fn narrow(&mut self, rest: &Rest, width: f64) -> bool {
        let before = self.tube.replace(Tube::around(&self.loops, &rest.visited_v, width));
        if self.stays(rest)
            && let Some(tube) = &self.tube
            && let Some(gains) = within(&self.loops, &self.marcher, tube)
        {
            self.gains = gains;
            return true;
        }
        self.tube = before;
        false
    }

    /// Gains of what films do anywhere, where that bounds anything.
    fn widen(&mut self) -> Option<()> {
        self.gains = self.anywhere.clone()?;
        self.tube = None;
        Some(())
    }

    /// Whether the true state is where the gains hold.
    fn stays(&mut self, rest: &Rest) -> bool {
        let Some(tube) = &self.tube else { return false };
        let Some(reach) = tube.reach(&self.loops, rest) else { return false };
        let mut left = [Left::default(); march::MOST_PARTS];
        gauss(SUMMED).into_iter().all(|(x, _)| {
            let basis = Basis::at(x);
            self.march.steps.iter().all(|step| {
                self.marcher.rest(&self.loops, step, &basis, x, &mut |i, here| left[i] = here);
                reach.stays(&self.loops, &left)
            })
        })
    }

    /// What the end lacks of the start, wave by wave.
    fn gap_v(&self) -> Vec<f64> {
        let Some(last) = self.march.steps.last() else { return Vec::new() };
        self.marcher.stores.iter().map(|&i| last.end(i).minus(self.start[i])).collect()
    }

    /// Moves the start to the end, and by a share of the rest of Newton's step.
    fn move_start(&mut self, gap: &[f64], share: f64) {
        let count = gap.len();
        let step = (share > 0.0 && count > 0).then(|| {
            let matrix =
                DMatrix::from_fn(count, count, |r, c| f64::from(u8::from(r == c)) - self.march.carry[r * count + c]);
            matrix.lu().solve(&DVector::from_column_slice(gap))
        });
        let step = step.flatten().filter(|s| s.iter().all(|x| x.is_finite()));
        for (k, &i) in self.marcher.stores.iter().enumerate() {
            let more = step.as_ref().map_or(0.0, |s| s[k] - gap[k]);
            self.start[i] = self.start[i].plus(gap[k] + share * more);
        }
        // what does not store has its waves at the end for a start
        let parts = self.loops.parts.len();
        if let Some(last) = self.march.steps.last() {
            for i in (0..parts).filter(|i| !self.marcher.stores.contains(i)) {
                self.start[i] = last.end(i);
            }
        }
    }

    /// A march from where the last one and a share of Newton's step lead, of less of it where no march begins there: two inductances with next to
    /// nothing across between them have no currents of their own.
    fn march_on(&mut self, gap: &[f64], mut share: f64, per_row: &[f64], aim_v: f64) -> Option<()> {
        let before = self.start.clone();
        loop {
            self.move_start(gap, share);
            if let Some(march) = self.marcher.march(&self.loops, &self.start, per_row, aim_v) {
                self.march = march;
                return Some(());
            }
            if share == 0.0 || self.marcher.came > BEGUN || self.march.steps.is_empty() {
                return None;
            }
            self.start.clone_from(&before);
            share = if share > LEAST_SHARE { share * LESS } else { 0.0 };
        }
    }

    fn settle(&mut self) -> Option<()> {
        let per_row = self.gains.first()?.per_row.clone();
        let mut before = f64::INFINITY;
        let mut newton = true;
        let mut aim_v = FIRST_AIM * self.tone_v.max(1e-12 * self.loops.emf_peak_v);
        let mut gap = Vec::new();
        for _ in 0..MOST_MARCHES {
            self.rounds += 1;
            let went = if gap.is_empty() {
                let march = self.marcher.march(&self.loops, &self.start, &per_row, aim_v);
                march.map(|march| self.march = march)
            } else {
                self.march_on(&gap, if newton { 1.0 } else { 0.0 }, &per_row, aim_v)
            };
            if went.is_none() {
                // the tone of the small signal may be next to nothing beside what the films make of the large one
                if aim_v >= self.loops.emf_peak_v {
                    return None;
                }
                aim_v *= COARSER_BY;
                gap.clear();
                continue;
            }
            gap = self.gap_v();
            let size = gap.iter().fold(0.0f64, |most, x| most.max(x.abs()));
            if size <= 1e-5 * self.loops.emf_peak_v {
                return Some(());
            }
            // where Newton's step came no nearer a period of time goes by before the next
            newton = !newton || size < 0.7 * before;
            before = size;
        }
        None
    }

    /// What the output would be moved by if the period were closed evenly.
    fn closing_v(&self) -> f64 {
        let Some(gains) = self.gains.last() else { return 0.0 };
        let parts = &self.loops.parts;
        let per = |i: usize| gains.per_row[i] + gains.per_mean[i];
        let beside = |i: usize| [i.checked_sub(1), (i + 1 < parts.len()).then_some(i + 1)].into_iter().flatten();
        let slopes = |i: usize| self.tube.as_ref().map_or((f64::INFINITY, 0.0), |tube| tube.slopes[i]);
        let one = |(i, gap): (usize, f64)| {
            let part = &parts[i];
            let moved = gap.abs() * if part.element.is_node { 1.0 } else { part.element.wave_ohm.recip() };
            // a row that is made to hold hands on what moves: to the part that gives way, or to those beside its own film
            let handed = |row: usize| match self.marcher.ways.of[row] {
                Some(Way::Gives(n) | Way::Either(n)) if n != i => per(n) * (parts[n].lost + slopes(n).1),
                Some(Way::Law) => beside(row).map(per).sum::<f64>() / slopes(row).0,
                _ => 0.0,
            };
            // what does not store is felt by its neighbours
            let own = if part.stored > 0.0 { part.stored * per(i) } else { beside(i).map(per).sum() };
            moved * (own + beside(i).map(handed).sum::<f64>())
        };
        self.gaps().into_iter().map(one).sum()
    }

    /// What the end lacks of the start where waves must close: of all parts, where what does not store goes through the start of
    /// the steps too.
    fn gaps(&self) -> Vec<(usize, f64)> {
        let (Some(first), Some(last)) = (self.march.steps.first(), self.march.steps.last()) else { return Vec::new() };
        let closes = |i: &usize| self.marcher.ways.unbroken || self.loops.parts[*i].stored > 0.0;
        let gap = |i: usize| last.end(i).minus(Twofold { high: first.wave_v[i], low: first.low_v[i] });
        (0..self.loops.parts.len()).filter(closes).map(|i| (i, gap(i))).collect()
    }

    /// A march fine enough for the proof, its start moved until the end meets it.
    fn refine(&mut self, aim_v: f64) -> Option<()> {
        let per_row = self.gains.last()?.per_row.clone();
        let gap = self.gap_v();
        self.march_on(&gap, 1.0, &per_row, aim_v)?;
        let mut before = f64::INFINITY;
        for _ in 0..MOST_AGAIN {
            self.rounds += 1;
            let gap = self.gap_v();
            let size = gap.iter().fold(0.0f64, |most, x| most.max(x.abs()));
            let closed = size <= CLOSED * self.loops.emf_peak_v && self.closing_v() <= CLOSING * aim_v;
            if closed || size > 0.5 * before {
                break;
            }
            before = size;
            let kept = (self.start.clone(), self.march.clone());
            self.move_start(&gap, 1.0);
            if !self.marcher.again(&self.loops, &self.start, &mut self.march) {
                // a step that was short enough for another start: steps of its own
                let Some(march) = self.marcher.march(&self.loops, &self.start, &per_row, aim_v) else {
                    (self.start, self.march) = kept;
                    break;
                };
                self.march = march;
            }
        }
        Some(())
    }

    /// Takes what the end still lacks of the start off evenly along the period, so that the waveform closes.
    fn close(&mut self) {
        let parts = self.loops.parts.len();
        let gaps = self.gaps();
        for step in &mut self.march.steps {
            for &(i, gap) in &gaps {
                let start = Twofold { high: step.wave_v[i], low: step.low_v[i] }.plus(-gap * (step.from - BEGIN));
                (step.wave_v[i], step.low_v[i]) = (start.high, start.low);
                for l in 1..=STAGES {
                    let risen = step.risen_v[l * parts + i] - gap * step.length * radau::POINTS[l];
                    step.risen_v[l * parts + i] = risen;
                    step.wave_v[l * parts + i] = start.plus(risen).high;
                }
            }
        }
    }

    /// Lines 0 to `count` of the currents or voltages that make the output, and the rms of what is summed.
    fn lines(&mut self, count: usize) -> (Vec<Complex64>, f64) {
        let wanted: Vec<usize> =
            (0..if self.loops.output_ohm.is_some() { 2 } else { 1 }).map(|k| self.loops.output + k).collect();
        let mut sums = vec![vec![Complex64::default(); count + 1]; wanted.len()];
        let mut squares = vec![0.0; wanted.len()];
        let points = gauss(SUMMED);
        let mut start = f64::NAN;
        for step in &self.march.steps {
            // a turn of the highest line per piece is well within ten points
            let pieces = (count as f64 * step.length).ceil().max(1.0) as usize;
            for piece in 0..pieces {
                let (mut value, mut turn) = ([[0.0; SUMMED]; 2], [(0.0, 0.0); SUMMED]);
                for (k, (x, weight)) in points.iter().enumerate() {
                    let place = (piece as f64 + x) / pieces as f64;
                    let basis = Basis::at(place);
                    turn[k] = (-TAU * (step.from + place * step.length)).sin_cos();
                    let weight = weight * step.length / pieces as f64;
                    for ((value, square), &i) in value.iter_mut().zip(&mut squares).zip(&wanted) {
                        let weights = self.marcher.ways.weights(&self.loops, i, &basis);
                        let wave = step.wave(i, weights);
                        let y = self.loops.parts[i].element.at(wave, &mut start).y;
                        *square += weight * y * y;
                        value[k] = weight * y;
                    }
                }
                for (sum, value) in sums.iter_mut().zip(value) {
                    add_lines(sum, value, &turn);
                }
            }
        }
        let mut rounding = 0.0;
        let output = (0..=count)
            .map(|line| {
                let (own, next) = self.loops.output_row(line as f64);
                let more = sums.get(1).map_or(Complex64::default(), |sum| next * sum[line]);
                rounding = own.norm() * squares[0].sqrt() + squares.get(1).map_or(0.0, |s| s.sqrt());
                own * sums[0][line] + more
            })
            .collect();
        (output, rounding)
    }

    fn residue_v(&mut self, count: usize) -> f64 {
        residue_v(&self.lines(count).0)
    }

    /// What the rows leave over, over the period.
    fn rest(&mut self) -> Rest {
        let parts = self.loops.parts.len();
        let mut sums = vec![(0.0, 0.0); parts];
        let mut visited_v = vec![(f64::INFINITY, f64::NEG_INFINITY); parts];
        let mut given = 0.0;
        for (x, weight) in gauss(SUMMED) {
            let basis = Basis::at(x);
            for step in &self.march.steps {
                let weight = weight * step.length;
                let moved = self.marcher.rest(&self.loops, step, &basis, x, &mut |i, left| {
                    sums[i].0 += weight * left.rest * left.rest;
                    sums[i].1 += weight * left.rest;
                    visited_v[i] = (visited_v[i].0.min(left.wave_v), visited_v[i].1.max(left.wave_v));
                });
                given += weight * moved * moved;
            }
        }
        let rows = sums.iter().map(|(square, mean): &(f64, f64)| (square.sqrt(), *mean)).collect();
        Rest { rows, given: given.sqrt(), visited_v }
    }

    /// Where films anywhere would leave a mean without a bound: makes it vanish.
    fn balance(&self, rest: &mut Rest) {
        if let Some(balance) = &self.balance
            && !balance.is_empty()
        {
            balance.apply(&mut rest.rows, &self.firmness());
        }
    }

    /// Rms change of each row per change of its part where it stands and a little beside it, and how far the part may move for that.
    fn firmness(&self) -> Vec<(f64, f64)> {
        let parts = self.loops.parts.len();
        let (mut sums, mut peak) = (vec![0.0; parts], vec![0.0f64; parts]);
        let each = |look: &mut dyn FnMut(usize, f64, f64)| {
            for (x, weight) in gauss(SUMMED) {
                let basis = Basis::at(x);
                for step in &self.march.steps {
                    for i in 0..parts {
                        let wave = step.wave(i, self.marcher.ways.weights(&self.loops, i, &basis));
                        look(i, wave, weight * step.length);
                    }
                }
            }
        };
        let at = |i: usize, wave: f64| self.loops.parts[i].element.at(wave, &mut f64::NAN.clone());
        each(&mut |i, wave, _| peak[i] = peak[i].max(at(i, wave).y.abs()));
        each(&mut |i, wave, weight| {
            let aside = BESIDE * peak[i] / at(i, wave).dy;
            let slope = |wave: f64| {
                let stand = at(i, wave);
                stand.df / stand.dy
            };
            let most = [-aside, 0.0, aside].into_iter().map(|aside| slope(wave + aside)).fold(0.0, f64::max);
            sums[i] += weight * (self.loops.parts[i].lost + most).powi(2);
        });
        // where a law bends the way along its wave is the shorter one
        sums.into_iter().zip(peak).map(|(sum, peak): (f64, f64)| (sum.sqrt(), 0.1 * BESIDE * peak)).collect()
    }

    /// How far what is left over may have moved the output, V rms.
    fn moved_v(&self, rest: &Rest, gains: &Gains) -> f64 {
        let both = gains.per_row.iter().zip(&gains.per_mean);
        let one = |(&(rms, mean), (row, steady)): (&(f64, f64), (&f64, &f64))| rms * row + mean.abs() * steady;
        rest.given + rest.rows.iter().zip(both).map(one).sum::<f64>()
    }

    fn answer(
        &mut self,
        network: &Network,
        (hz, _): (f64, f64),
        film_ohm: &[f64],
        rest: &Rest,
    ) -> Option<Answer> {
        let link = network.links.first()?;
        let (lines, rounding) = self.lines(LINES[LINES.len() - 1]);
        for gains in self.gains.iter().rev() {
            let output: Vec<Complex64> = lines[..=gains.lines]
                .iter()
                .enumerate()
                .map(|(line, value)| stages_at(link, line as f64 * hz) * value)
                .collect();
            let through = (1..=gains.lines).map(|line| stages_at(link, line as f64 * hz).norm()).fold(0.0, f64::max);
            let moved = self.moved_v(rest, gains);
            let error_v = (moved + ROUNDING * (gains.lines as f64).powf(1.5) * rounding) * through;
            if error_v.is_nan() || error_v > CONVERGED * residue_v(&output) {
                continue;
            }
            let mut answer = Answer {
                frequency_hz: (0..=gains.lines).map(|line| line as f64 * hz).collect(),
                orders: (0..=gains.lines).map(|line| (line as i32, 0)).collect(),
                error_v,
                converged: true,
                rounds: self.rounds,
                samples: 2 * gains.lines + 1,
                chord_ohm: channel_chords(network, film_ohm),
                film_peak_v: vec![0.0; network.contacts.len()],
                output,
            };
            for (film, visited) in self.placed.iter().zip(self.voltages()) {
                answer.chord_ohm[film.contact] = chords(film, &visited, network);
                answer.film_peak_v[film.contact] = visited.iter().fold(0.0, |most, u| u.abs().max(most));
            }
            return Some(answer);
        }
        None
    }

    /// Smallest and largest voltage of each film over the steps' points.
    fn voltages(&self) -> Vec<[f64; 2]> {
        let parts = self.loops.parts.len();
        let mut range = vec![[f64::INFINITY, f64::NEG_INFINITY]; self.placed.len()];
        for step in &self.march.steps {
            for l in 1..=STAGES {
                for (i, part) in self.loops.parts.iter().enumerate() {
                    part.element.voltages(step.wave_v[l * parts + i], &mut |k, u| {
                        range[k] = [range[k][0].min(u), range[k][1].max(u)];
                    });
                }
            }
        }
        range
    }
}

/// Gains where waves are as a tube says, if there are any.
fn within(loops: &Loops, marcher: &Marcher<'_>, tube: &Tube) -> Option<Vec<Gains>> {
    gains(loops, &tube.slopes, &marcher.ways, &Balance::default(), &LINES).filter(|gains| bounds(gains))
}

/// Whether gains say anything of all rows.
fn bounds(gains: &[Gains]) -> bool {
    gains.iter().flat_map(|g| g.per_row.iter().chain(&g.per_mean)).all(|gain| gain.is_finite())
}

/// Adds to each line what values at some instants make of it, all of them turned on together line by line.
fn add_lines(sum: &mut [Complex64], value: [f64; SUMMED], turn: &[(f64, f64); SUMMED]) {
    let (mut re, mut im) = (value, [0.0; SUMMED]);
    for line in sum {
        *line += Complex64::new(re.iter().sum(), im.iter().sum());
        for k in 0..SUMMED {
            let (sin, cos) = turn[k];
            (re[k], im[k]) = (re[k] * cos - im[k] * sin, re[k] * sin + im[k] * cos);
        }
    }
}

/// Everything past the fundamental, V rms.
fn residue_v(lines: &[Complex64]) -> f64 {
    lines.iter().skip(2).map(|c| 2.0 * c.norm_sqr()).sum::<f64>().sqrt()
}

#[cfg(test)]
mod tests;
