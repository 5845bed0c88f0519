//! What the loss of many points takes from frequency alone: see the page above.

use super::{LEAST, MOST_DEVIATION};
use crate::circuit::chain::{Link, Network};
use crate::circuit::twoport::Step;
use crate::physics::lanes::Lanes;
use crate::response::sweep::{LANES, Values};
use crate::response::walk::{Pair, plus_times};
use pulp::{Simd, WithSimd};
use std::f64::consts::TAU;

/// Contacts of one loop, or one across the signal.
pub(super) struct Group {
    pub(super) members: Vec<usize>,
    pub(super) across: bool,
}

/// One section: its loops from the load to the source.
pub(super) struct Part<'a> {
    link: &'a Link,
    pub(super) groups: Vec<Group>,
    /// its first coefficient, and its first loop among all
    pub(super) first: usize,
    pub(super) first_group: usize,
}

/// The sections that have contacts.
pub(super) struct Plan<'a> {
    pub(super) parts: Vec<Part<'a>>,
    pub(super) columns: usize,
    pub(super) groups: usize,
}

impl<'a> Plan<'a> {
    pub(super) fn new(network: &'a Network) -> Self {
        let mut plan = Self { parts: Vec::new(), columns: 0, groups: 0 };
        for link in &network.links {
            let mut groups: Vec<Group> = Vec::new();
            let mut open = false;
            for step in link.ladder.steps.iter().rev() {
                match *step {
                    Step::Series(..) => {}
                    Step::Shunt(..) => open = false,
                    Step::Contact(index) | Step::Shared(index) => match groups.last_mut() {
                        Some(group) if open => group.members.push(index),
                        _ => {
                            groups.push(Group { members: vec![index], across: false });
                            open = true;
                        }
                    },
                    Step::Across(index) => {
                        groups.push(Group { members: vec![index], across: true });
                        open = false;
                    }
                }
            }
            if groups.is_empty() {
                continue;
            }
            let n = groups.len();
            let part = Part { link, groups, first: plan.columns, first_group: plan.groups };
            plan.columns += if n == 1 { 2 } else { (0..n).map(|j| 4 + 2 * j).sum() };
            plan.groups += n;
            plan.parts.push(part);
        }
        plan
    }

    /// The group of contacts, where there is one alone.
    pub(super) fn one_loop(&self) -> Option<&Group> {
        match &self.parts[..] {
            [part] => match &part.groups[..] {
                [group] => Some(group),
                _ => None,
            },
            _ => None,
        }
    }
}

/// Voltages and currents: of one volt at the load, and of one volt or ampere at each contact before.
pub(super) type States<S> = Vec<(Pair<S>, Pair<S>)>;

#[inline(always)]
pub(super) fn times<S: Simd>((a, b): Pair<S>, (c, d): Pair<S>) -> Pair<S> {
    (a * c - b * d, a.times_plus(d, b * c))
}

impl Part<'_> {
    /// Coefficients of a vector of frequencies, each written once, of one loop alone `2 Re k` and `|k|^2`; `states` is room for
    /// voltage and current.
    #[inline(always)]
    fn coefficients<S: Simd>(
        &self,
        simd: S,
        frequency_hz: &[f64],
        states: &mut States<S>,
        mut write: impl FnMut(usize, Pair<S>),
    ) {
        let (zero, one) = (Lanes::splat(simd, 0.0), Lanes::splat(simd, 1.0));
        let omega = Lanes::load(simd, frequency_hz) * TAU;
        let ladder = &self.link.ladder;
        let current = if ladder.load.loudspeaker.is_none() {
            (Lanes::splat(simd, 1.0 / ladder.load.resistance_ohm), omega * ladder.load.capacitance_f)
        } else {
            let mut parts = [[0.0; LANES]; 2];
            for k in 0..Lanes::<S>::COUNT {
                let admittance = ladder.load.admittance(frequency_hz[k]);
                (parts[0][k], parts[1][k]) = (admittance.re, admittance.im);
            }
            (Lanes::load(simd, &parts[0]), Lanes::load(simd, &parts[1]))
        };
        states.clear();
        states.push(((one, zero), current));
        let single = self.groups.len() == 1;
        let mut column = self.first;
        let mut found = (zero, zero);
        for step in ladder.steps.iter().rev() {
            match *step {
                Step::Series(ohm, henry) => {
                    let z = (Lanes::splat(simd, ohm), omega * henry);
                    for (v, i) in &mut *states {
                        *v = plus_times(*v, z, *i);
                    }
                }
                Step::Shunt(siemens, farad) => {
                    let y = (Lanes::splat(simd, siemens), omega * farad);
                    for (v, i) in &mut *states {
                        *i = plus_times(*i, y, *v);
                    }
                }
                Step::Contact(index) | Step::Shared(index) | Step::Across(index) => {
                    let number = states.len() - 1;
                    if self.groups.get(number).is_none_or(|group| group.members[0] != index) {
                        continue;
                    }
                    let across = self.groups[number].across;
                    if single {
                        found = if across { states[0].0 } else { states[0].1 };
                    } else {
                        for (k, state) in states.iter().enumerate() {
                            // `w` comes after `b`, once the source is reached
                            let to = column + if k == 0 { 0 } else { 2 + 2 * k };
                            write(to, if across { state.0 } else { state.1 });
                        }
                        column += 4 + 2 * number;
                    }
                    states.push(if across { ((zero, zero), (one, zero)) } else { ((one, zero), (zero, zero)) });
                }
            }
        }
        let source = (Lanes::splat(simd, ladder.source_ohm), omega * ladder.source_h);
        for (v, i) in &mut *states {
            *v = plus_times(*v, source, *i);
        }
        let (re, im) = states[0].0;
        let size = re.times_plus(re, im * im);
        let inverse = (re / size, -im / size);
        let mut column = self.first;
        for (number, state) in states[1..].iter().enumerate() {
            let w = times(state.0, inverse);
            if single {
                let (re, im) = times(found, w);
                write(column, (re + re, re.times_plus(re, im * im)));
            } else {
                write(column + 2, w);
                column += 4 + 2 * number;
            }
        }
    }
}

/// Coefficients of a list of frequencies, one column after the other.
pub(super) struct Table {
    pub(super) stride: usize,
    pub(super) columns: Vec<f64>,
    /// of one loop alone: least and largest `2 Re k`, largest `|k|^2`; infinite where they are not known
    ends: [f64; 3],
}

impl Table {
    pub(super) fn new(stride: usize, columns: Vec<f64>, is_one_loop: bool) -> Self {
        let unknown = [f64::NEG_INFINITY, f64::INFINITY, f64::INFINITY];
        if !is_one_loop || columns.iter().any(|number| !number.is_finite()) {
            return Self { stride, columns, ends: unknown };
        }
        let (twice, square) = (&columns[..stride], &columns[stride..2 * stride]);
        let least = twice.iter().copied().fold(f64::INFINITY, f64::min);
        let most = |column: &[f64]| column.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let ends = [least, most(twice), most(square)];
        Self { stride, columns, ends }
    }

    /// Of one loop alone: largest `|k|`, where all are known and none has a real part below a sixteenth of it.
    pub(super) fn largest_k(&self) -> Option<f64> {
        let [_, _, largest] = self.ends;
        let (twice, square) = self.of_one_loop();
        let is_real = |(twice, square): (&f64, &f64)| *twice >= 0.125 * square.sqrt();
        (largest.is_normal() && largest < 1e200 && twice.iter().zip(square).all(is_real)).then(|| largest.sqrt())
    }

    /// Of one loop alone: `2 Re k` and `|k|^2`, each with room behind.
    pub(super) fn of_one_loop(&self) -> (&[f64], &[f64]) {
        (&self.columns[..self.stride], &self.columns[self.stride..2 * self.stride])
    }

    /// Whether at this resistance of one loop alone every frequency has a deviation well inside what has a logarithm.
    pub(super) fn has_logarithms(&self, rho: f64) -> bool {
        // rounding of two operations is far less than the hundredth
        let [least, most, square] = self.ends;
        rho * least > 0.99 * LEAST && rho * (most + rho * square) < 0.99 * MOST_DEVIATION
    }
}

/// Works out a table.
pub(super) struct Make<'a> {
    pub(super) plan: &'a Plan<'a>,
    pub(super) frequency_hz: &'a [f64],
}

impl WithSimd for Make<'_> {
    type Output = Table;
    #[inline(always)]
    fn with_simd<S: Simd>(self, simd: S) -> Table {
        let length = self.frequency_hz.len();
        // room behind each column, so that whole vectors can be read anywhere
        let stride = length.next_multiple_of(LANES) + LANES;
        let mut columns = vec![0.0; self.plan.columns * stride];
        let mut states = Vec::new();
        for start in (0..length).step_by(LANES) {
            let mut lanes = [0.0; LANES];
            let count = LANES.min(length - start);
            Values::Many(self.frequency_hz).load(start, count, &mut lanes);
            fill(
                simd,
                self.plan,
                &lanes[..count.next_multiple_of(Lanes::<S>::COUNT)],
                &mut states,
                &mut columns,
                (stride, start),
            );
        }
        Table::new(stride, columns, self.plan.one_loop().is_some())
    }
}

/// Coefficients of whole vectors of frequencies into columns.
#[inline(always)]
pub(super) fn fill<S: Simd>(
    simd: S,
    plan: &Plan<'_>,
    frequency_hz: &[f64],
    states: &mut States<S>,
    columns: &mut [f64],
    (stride, start): (usize, usize),
) {
    for from in (0..frequency_hz.len()).step_by(Lanes::<S>::COUNT) {
        for part in &plan.parts {
            part.coefficients(
                simd,
                &frequency_hz[from..],
                states,
                #[inline(always)]
                |column, (re, im)| {
                    re.store(&mut columns[column * stride + start + from..]);
                    im.store(&mut columns[(column + 1) * stride + start + from..]);
                },
            );
        }
    }
}

/// Fills all of the room with the coefficients of one frequency, if it does not hold them already.
pub(super) fn hold(own: &mut [f64], room: usize, table: &Table, number: usize, held: &mut Option<usize>) {
    if *held == Some(number) {
        return;
    }
    for (own, from) in own.chunks_exact_mut(room).zip(table.columns.chunks_exact(table.stride)) {
        own.fill(from[number]);
    }
    *held = Some(number);
}
