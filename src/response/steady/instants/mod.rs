//! The periodic state instant by instant, for waveforms that no even grid of samples can hold.
//!
//! A film of a megohm that stops carrying lets the current of an inductance go within a thousandth of a millionth of the
//! period: its lines fall as slowly as those of a step. Here the period is gone through in steps as short as the waveform asks
//! ([`march`]), the start is moved by Newton's method until the end meets it
//! (`settling`), and what the rows leave over between the points bounds
//! the error of every line that is answered ([`gains`](mod@gains), [`tube`], `proof`): a bound of another kind than that of the lines. Its
//! suprema are over the answered lines and, past them, bounded; its sums over a step are taken at ten points: numerically, not enclosed.
//!
//! Slower than the lines (tens of milliseconds), so it is asked where they gave up. One section, one tone, no direct current.

pub mod balance;
pub mod element;
pub mod gains;
pub mod handed;
pub mod loops;
pub mod march;
mod proof;
pub mod radau;
mod settling;
mod sums;
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
use march::{March, Marcher};
use num_complex::Complex64;
use proof::{NARROWEST, WIDEST, WIDTH, bounds, within};
use radau::STAGES;
use sums::residue_v;
use tube::{Rest, Tube};
use twofold::Twofold;

/// Lines that are answered: as many as can be proved, of these.
const LINES: [usize; 3] = [121, 364, 1093];

/// Error of the output that the last marches aim at, of the residue.
const LAST_AIM: f64 = 3e-8;

/// How much coarser than the last aim one may be that is tried where the last takes too many steps.
const WORST_OVER_LAST: f64 = 10.0;

/// Times that the aim is made finer, and by how much.
const FINER: usize = 3;
const FINER_BY: f64 = 1.0 / 40.0;

/// Share of the error before that finer steps must come down to, to be tried again.
const WORTH: f64 = 0.5;

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
        let was_wide = period.tube.is_none();
        let within = !was_wide && (period.stays(&rest) || period.narrow(&rest, WIDEST));
        if !within && !was_wide && period.anywhere.is_none() && tried < FINER {
            // nothing bounds what films do anywhere: the less is left over, the nearer is the true state
            tried += 1;
            aim_v *= FINER_BY;
            period.refine(aim_v)?;
            continue;
        }
        if !within {
            // the true state may be elsewhere: what films do anywhere
            period.widen()?;
            if !was_wide {
                period.refine(aim_v)?;
                period.close();
                rest = period.rest();
            }
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

    fn answer(&mut self, network: &Network, (hz, _): (f64, f64), film_ohm: &[f64], rest: &Rest) -> Option<Answer> {
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
            let voltages = self.voltages()?;
            for (film, visited) in self.placed.iter().zip(voltages) {
                answer.chord_ohm[film.contact] = chords(film, &visited, network);
                answer.film_peak_v[film.contact] = visited.iter().fold(0.0, |most, u| u.abs().max(most));
            }
            return Some(answer);
        }
        None
    }

    /// Smallest and largest voltage of each film over the steps' points; none when the watch says stop.
    fn voltages(&self) -> Option<Vec<[f64; 2]>> {
        let parts = self.loops.parts.len();
        let mut range = vec![[f64::INFINITY, f64::NEG_INFINITY]; self.placed.len()];
        for step in &self.march.steps {
            if self.marcher.stopped() {
                return None;
            }
            for l in 1..=STAGES {
                for (i, part) in self.loops.parts.iter().enumerate() {
                    part.element.voltages(step.wave_v[l * parts + i], &mut |k, u| {
                        range[k] = [range[k][0].min(u), range[k][1].max(u)];
                    });
                }
            }
        }
        Some(range)
    }
}

#[cfg(test)]
mod tests;
