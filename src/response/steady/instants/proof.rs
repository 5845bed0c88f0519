//! What a march leaves over, and how far that may have moved the output: gains over what films visit where the true state surely is in there, those
//! of what they do anywhere elsewhere.

use super::balance::Balance;
use super::gains::{Gains, gains};
use super::loops::Loops;
use super::march::{MOST_PARTS, Marcher};
use super::radau::{Basis, gauss};
use super::tube::{Rest, Tube};
use super::ways::Left;
use super::{LINES, Period, SUMMED};

/// Width of the tube that steps go by, of the one that is tried where the true state might be outside, and of the one that bounds most.
pub(super) const WIDTH: f64 = 1e-3;
pub(super) const WIDEST: f64 = 0.05;
pub(super) const NARROWEST: f64 = 1e-6;

/// Beside where a part stands, of its peak, that its slope is looked at.
const BESIDE: f64 = 1e-8;

impl Period<'_> {
    /// Gains of what the films visit for the steps to go by.
    pub(super) fn steer(&mut self) {
        let visited_v = self.rest().visited_v;
        let tube = Tube::around(&self.loops, &visited_v, WIDTH);
        if let Some(gains) = within(&self.loops, &self.marcher, &tube) {
            (self.gains, self.tube) = (gains, Some(tube));
        }
    }

    /// Gains of a tube of another width, if the true state is in there.
    pub(super) fn narrow(&mut self, rest: &Rest, width: f64) -> bool {
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
    pub(super) fn widen(&mut self) -> Option<()> {
        self.gains = self.anywhere.clone()?;
        self.tube = None;
        Some(())
    }

    /// Whether the true state is where the gains hold.
    pub(super) fn stays(&mut self, rest: &Rest) -> bool {
        let Some(tube) = &self.tube else { return false };
        let Some(reach) = tube.reach(&self.loops, rest) else { return false };
        let mut left = [Left::default(); MOST_PARTS];
        gauss(SUMMED).into_iter().all(|(x, _)| {
            let basis = Basis::at(x);
            self.march.steps.iter().all(|step| {
                self.marcher.rest(&self.loops, step, &basis, x, &mut |i, here| left[i] = here);
                reach.stays(&self.loops, &left) && !self.marcher.stopped()
            })
        })
    }

    /// What the rows leave over, over the period.
    pub(super) fn rest(&mut self) -> Rest {
        let parts = self.loops.parts.len();
        let mut sums = vec![(0.0, 0.0); parts];
        let mut visited_v = vec![(f64::INFINITY, f64::NEG_INFINITY); parts];
        let mut given = 0.0;
        for (x, weight) in gauss(SUMMED) {
            let basis = Basis::at(x);
            if self.marcher.stopped() {
                // half a period proves nothing
                given = f64::NAN;
                break;
            }
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
    pub(super) fn balance(&self, rest: &mut Rest) {
        if let Some(balance) = &self.balance
            && !balance.is_empty()
        {
            balance.apply(&mut rest.rows, &self.firmness());
        }
    }

    /// Rms change of each row per change of its part where it stands and a little beside it, and how far the part may move for that.
    pub(super) fn firmness(&self) -> Vec<(f64, f64)> {
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
    pub(super) fn moved_v(&self, rest: &Rest, gains: &Gains) -> f64 {
        let both = gains.per_row.iter().zip(&gains.per_mean);
        let one = |(&(rms, mean), (row, steady)): (&(f64, f64), (&f64, &f64))| rms * row + mean.abs() * steady;
        rest.given + rest.rows.iter().zip(both).map(one).sum::<f64>()
    }
}

/// Gains where waves are as a tube says, if there are any.
pub(super) fn within(loops: &Loops, marcher: &Marcher<'_>, tube: &Tube) -> Option<Vec<Gains>> {
    gains(loops, &tube.slopes, &marcher.ways, &Balance::default(), &LINES).filter(|gains| bounds(gains))
}

/// Whether gains say anything of all rows.
pub(super) fn bounds(gains: &[Gains]) -> bool {
    gains.iter().flat_map(|g| g.per_row.iter().chain(&g.per_mean)).all(|gain| gain.is_finite())
}
