//! The way to a march that ends where it began: the start is moved by Newton's method, first on steps that are made anew each time, then on those of
//! the last march, and what rounding leaves open is closed evenly.

use super::Period;
use super::march::BEGIN;
use super::radau::{self, STAGES};
use super::twofold::Twofold;
use super::ways::Way;
use nalgebra::{DMatrix, DVector};

/// Error of the output that the first marches aim at, of the tone.
const FIRST_AIM: f64 = 1e-4;

/// How much coarser the first marches aim after one that did not come to its end.
const COARSER_BY: f64 = 1e3;

/// How far a march must come to have begun, periods; what is left of the share of Newton's step where it has not, and the least share.
const BEGUN: f64 = 1e-6;
const LESS: f64 = 0.25;
const LEAST_SHARE: f64 = 0.01;

/// Marches towards the periodic state, and on the steps of the last one.
const MOST_MARCHES: usize = 60;
const MOST_AGAIN: usize = 6;

/// Gap at the end of the period, of the EMF, and what it may move the output by, of the aim, that is closed without more marches.
const CLOSED: f64 = 1e-14;
const CLOSING: f64 = 0.1;

impl Period<'_> {
    /// What the end lacks of the start, wave by wave.
    pub(super) fn gap_v(&self) -> Vec<f64> {
        let Some(last) = self.march.steps.last() else { return Vec::new() };
        self.marcher.stores.iter().map(|&i| last.end(i).minus(self.start[i])).collect()
    }

    /// Moves the start to the end, and by a share of the rest of Newton's step.
    pub(super) fn move_start(&mut self, gap: &[f64], share: f64) {
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
    pub(super) fn march_on(&mut self, gap: &[f64], mut share: f64, per_row: &[f64], aim_v: f64) -> Option<()> {
        let before = self.start.clone();
        loop {
            self.move_start(gap, share);
            if self.march_from_start(per_row, aim_v).is_some() {
                return Some(());
            }
            if share == 0.0 || self.marcher.came > BEGUN || self.march.steps.is_empty() {
                return None;
            }
            self.start.clone_from(&before);
            share = if share > LEAST_SHARE { share * LESS } else { 0.0 };
        }
    }

    /// Marches until one ends near where it began.
    pub(super) fn settle(&mut self) -> Option<()> {
        let per_row = self.gains.first()?.per_row.clone();
        let first_aim_v = FIRST_AIM * self.tone_v.max(1e-12 * self.loops.emf_peak_v);
        let (mut aim_v, mut newton, mut careful) = (first_aim_v, true, false);
        let mut before = f64::INFINITY;
        // what the end lacked of the start at the last march, and that start
        let mut last: Option<(Vec<f64>, Vec<Twofold>)> = None;
        for _ in 0..MOST_MARCHES {
            self.rounds += 1;
            let went = match &last {
                Some((gap, _)) if careful => self.march_on(gap, if newton { 1.0 } else { 0.0 }, &per_row, aim_v),
                _ => self.march_from_start(&per_row, aim_v),
            };
            if went.is_none() {
                if aim_v < self.loops.emf_peak_v {
                    // the tone of the small signal may be next to nothing beside what the films make of the large one
                    aim_v *= COARSER_BY;
                    continue;
                }
                let (_, start) = last.as_ref().filter(|_| !careful)?;
                self.start.clone_from(start);
                (careful, aim_v) = (true, first_aim_v);
                continue;
            }
            let gap = self.gap_v();
            let size = gap.iter().fold(0.0f64, |most, x| most.max(x.abs()));
            if size <= 1e-5 * self.loops.emf_peak_v {
                return Some(());
            }
            // where Newton's step came no nearer a period of time goes by before the next
            newton = !newton || size < 0.7 * before;
            before = size;
            last = Some((gap.clone(), self.start.clone()));
            if !careful {
                self.move_start(&gap, if newton { 1.0 } else { 0.0 });
            }
        }
        None
    }

    fn march_from_start(&mut self, per_row: &[f64], aim_v: f64) -> Option<()> {
        self.march = self.marcher.march(&self.loops, &self.start, per_row, aim_v)?;
        Some(())
    }

    /// What the output would be moved by if the period were closed evenly.
    pub(super) fn closing_v(&self) -> f64 {
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
    pub(super) fn gaps(&self) -> Vec<(usize, f64)> {
        let (Some(first), Some(last)) = (self.march.steps.first(), self.march.steps.last()) else { return Vec::new() };
        let closes = |i: &usize| self.marcher.ways.unbroken || self.loops.parts[*i].stored > 0.0;
        let gap = |i: usize| last.end(i).minus(Twofold { high: first.wave_v[i], low: first.low_v[i] });
        (0..self.loops.parts.len()).filter(closes).map(|i| (i, gap(i))).collect()
    }

    /// A march fine enough for the proof, its start moved until the end meets it.
    pub(super) fn refine(&mut self, aim_v: f64) -> Option<()> {
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
    pub(super) fn close(&mut self) {
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
}
