//! Loss of very many points: what depends on frequency alone is worked out once for each frequency.
//!
//! Contacts of one loop carry one current, so their resistances add up to one `rho` (across the signal a conductance). With `b` the
//! current at a loop without contacts and one volt at the load, `c` the current there per volt put in series with an earlier one
//! (nearer the load), `w` what a volt there adds to the EMF `e0` of the source, relative to it,
//!
//! `z_j = rho_j (b_j + sum over earlier m of c_jm z_m)`, `EMF/e0 = 1 + x`, `x = sum of w_j z_j`,
//!
//! across the signal with voltages for currents. One loop alone has `x = rho k`, `k = b w`. The loss is the logarithm of
//! `p = |1 + x|^2`, taken from `d = p - 1 = Re x (2 + Re x) + (Im x)^2` where `p` is near one: a loss of 1e-12 dB keeps its digits.
//!
//! Every point goes the same operations whatever the shape of the arrays, so none of its bits depends on its neighbours.

use super::linear;
use super::sweep::{DB_PER_NEPER_OF_POWER, Kernel, LANES, Values};
use crate::circuit::chain::{Link, Network};
use crate::circuit::twoport::Step;
use crate::physics::lanes::Lanes;
use pulp::{Simd, WithSimd};
use std::f64::consts::TAU;

/// Most points between two looks at the columns.
const TILE: usize = 512;

/// Runs of points of one frequency, or of neighbouring frequencies, shorter than this are copied together.
const SHORT: usize = 64;

/// Most frequencies that are worked out beforehand.
const MOST: usize = 32 * 1024;

/// Contacts of one loop, or one across the signal.
struct Group {
    members: Vec<usize>,
    across: bool,
}

/// One section: its loops from the load to the source.
struct Part<'a> {
    link: &'a Link,
    groups: Vec<Group>,
    /// its first coefficient, and its first loop among all
    first: usize,
    first_group: usize,
}

/// The sections that have contacts.
struct Plan<'a> {
    parts: Vec<Part<'a>>,
    columns: usize,
    groups: usize,
}

impl<'a> Plan<'a> {
    fn new(network: &'a Network) -> Self {
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
}

/// A complex number in each lane.
type Pair<S> = (Lanes<S>, Lanes<S>);

#[inline(always)]
fn times<S: Simd>((a, b): Pair<S>, (c, d): Pair<S>) -> Pair<S> {
    (a * c - b * d, a.times_plus(d, b * c))
}

#[inline(always)]
fn plus_times<S: Simd>((s, t): Pair<S>, (a, b): Pair<S>, (c, d): Pair<S>) -> Pair<S> {
    (a.times_plus(c, s) - b * d, a.times_plus(d, b.times_plus(c, t)))
}

impl Part<'_> {
    /// Coefficients of a vector of frequencies, each written once; `states` is room for voltage and current.
    #[inline(always)]
    fn coefficients<S: Simd>(
        &self,
        simd: S,
        frequency_hz: &[f64],
        states: &mut Vec<(Pair<S>, Pair<S>)>,
        mut write: impl FnMut(usize, Pair<S>),
    ) {
        let splat = |number| Lanes::splat(simd, number);
        let (zero, one) = (splat(0.0), splat(1.0));
        let omega = Lanes::load(simd, frequency_hz) * TAU;
        let ladder = &self.link.ladder;
        let current = if ladder.load.loudspeaker.is_none() {
            (splat(1.0 / ladder.load.resistance_ohm), omega * ladder.load.capacitance_f)
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
                    let z = (splat(ohm), omega * henry);
                    for (v, i) in &mut *states {
                        *v = plus_times(*v, z, *i);
                    }
                }
                Step::Shunt(siemens, farad) => {
                    let y = (splat(siemens), omega * farad);
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
        let source = (splat(ladder.source_ohm), omega * ladder.source_h);
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
                write(column, times(found, w));
            } else {
                write(column + 2, w);
                column += 4 + 2 * number;
            }
        }
    }
}

/// Coefficients of a list of frequencies, one column after the other.
struct Table {
    stride: usize,
    columns: Vec<f64>,
}

/// Works out a table.
struct Make<'a> {
    plan: &'a Plan<'a>,
    frequency_hz: &'a [f64],
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
        Table { stride, columns }
    }
}

/// Coefficients of whole vectors of frequencies into columns.
#[inline(always)]
fn fill<S: Simd>(
    simd: S,
    plan: &Plan<'_>,
    frequency_hz: &[f64],
    states: &mut Vec<(Pair<S>, Pair<S>)>,
    columns: &mut [f64],
    (stride, start): (usize, usize),
) {
    for from in (0..frequency_hz.len()).step_by(Lanes::<S>::COUNT) {
        for part in &plan.parts {
            part.coefficients(simd, &frequency_hz[from..], states, |column, (re, im)| {
                re.store(&mut columns[column * stride + start + from..]);
                im.store(&mut columns[(column + 1) * stride + start + from..]);
            });
        }
    }
}

/// Loss of a network without contacts in a shared return.
pub(super) struct Collapsed<'a> {
    network: &'a Network,
    plan: Plan<'a>,
    frequency_hz: Values<'a>,
    contacts: &'a [Values<'a>],
    table: Option<Table>,
}

impl<'a> Collapsed<'a> {
    pub(super) fn new(
        network: &'a Network,
        frequency_hz: Values<'a>,
        contacts: &'a [Values<'a>],
        points: usize,
    ) -> Self {
        let plan = Plan::new(network);
        let one;
        let beforehand: &[f64] = match frequency_hz {
            Values::One(value) if points > LANES => {
                one = [value];
                &one
            }
            Values::Spread(values, _) if values.len() <= MOST && 2 * values.len() <= points => values,
            _ => &[],
        };
        let make = Make { plan: &plan, frequency_hz: beforehand };
        let table = (!beforehand.is_empty()).then(|| pulp::Arch::new().dispatch(make));
        Self { network, plan, frequency_hz, contacts, table }
    }

    /// By the plain walk: where the power is zero, infinite, not a number.
    #[cold]
    fn plain(&self, point: usize) -> f64 {
        let ohm: Vec<f64> = self.contacts.iter().map(|values| values.at(point)).collect();
        linear::loss_db(self.network, self.frequency_hz.at(point), &ohm)
    }

    /// Sums of resistances, conductances across the signal, of the points from `start` on.
    #[inline(always)]
    fn resistances<S: Simd>(
        &self,
        simd: S,
        start: usize,
        count: usize,
        room: usize,
        rho: &mut [f64],
        next: &mut Vec<f64>,
    ) {
        let groups = self.plan.parts.iter().flat_map(|part| &part.groups);
        for (group, rho) in groups.zip(rho.chunks_exact_mut(room)) {
            for (number, &member) in group.members.iter().enumerate() {
                let values = self.contacts[member];
                if number == 0 {
                    values.read(start, &mut rho[..count]);
                } else if let Some(same) = values.same(start, count) {
                    rho[..count].iter_mut().for_each(|rho| *rho += same);
                } else {
                    next.resize(room, 0.0);
                    values.read(start, &mut next[..count]);
                    rho[..count].iter_mut().zip(&next[..count]).for_each(|(rho, next)| *rho += next);
                }
            }
            if group.across {
                for from in (0..count).step_by(Lanes::<S>::COUNT) {
                    (1.0 / Lanes::load(simd, &rho[from..])).store(&mut rho[from..]);
                }
            }
        }
    }

    /// `(p, d)` of a vector of points: see the page.
    #[inline(always)]
    fn power<S: Simd>(
        &self,
        simd: S,
        coefficient: impl Fn(usize) -> Lanes<S>,
        rho: impl Fn(usize) -> Lanes<S>,
        z: &mut Vec<Pair<S>>,
    ) -> Pair<S> {
        let splat = |number| Lanes::splat(simd, number);
        let pair = |column: usize| (coefficient(column), coefficient(column + 1));
        let mut all: Option<Pair<S>> = None;
        for part in &self.plan.parts {
            let (re, im) = if part.groups.len() == 1 {
                let (k, rho) = (pair(part.first), rho(part.first_group));
                (rho * k.0, rho * k.1)
            } else {
                z.clear();
                let mut x = (splat(0.0), splat(0.0));
                let mut column = part.first;
                for j in 0..part.groups.len() {
                    let mut y = pair(column);
                    for (m, z) in z.iter().enumerate() {
                        y = plus_times(y, pair(column + 4 + 2 * m), *z);
                    }
                    let rho = rho(part.first_group + j);
                    let own = (rho * y.0, rho * y.1);
                    x = plus_times(x, pair(column + 2), own);
                    z.push(own);
                    column += 4 + 2 * j;
                }
                x
            };
            let square = im * im;
            let beside = re + 1.0;
            let (p, d) = (beside.times_plus(beside, square), re.times_plus(re + 2.0, square));
            all = Some(match all {
                None => (p, d),
                // (1 + D)(1 + d) - 1
                Some((power, beyond)) => (power * p, beyond.times_plus(d, beyond + d)),
            });
        }
        all.unwrap_or((splat(1.0), splat(0.0)))
    }
}

impl Kernel<f64> for Collapsed<'_> {
    #[inline(always)]
    fn chunk<S: Simd>(&self, simd: S, start: usize, out: &mut [f64]) {
        let room = out.len().min(TILE).next_multiple_of(LANES);
        let mut own = vec![0.0; self.plan.columns * room];
        let mut rho = vec![0.0; self.plan.groups * room];
        // of a second contact in a loop
        let mut next = Vec::new();
        let (mut z, mut states) = (Vec::new(), Vec::with_capacity(4));
        // the frequency that all of `own` holds
        let mut held = None;
        let mut done = 0;
        while done < out.len() {
            let at = start + done;
            let most = room.min(out.len() - done);
            let (mut count, mut offset, mut from_table) = (most, 0, false);
            match (self.frequency_hz, &self.table) {
                (Values::One(_), Some(table)) => hold(&mut own, room, table, 0, &mut held),
                (Values::Spread(values, 1), Some(_)) if values.len() >= SHORT => {
                    offset = at % values.len();
                    count = most.min(values.len() - offset);
                    from_table = true;
                }
                (Values::Spread(values, each), Some(table)) if each >= SHORT => {
                    count = most.min(each - at % each);
                    hold(&mut own, room, table, at / each % values.len(), &mut held);
                }
                (Values::Spread(values, each), Some(table)) => {
                    let (mut number, mut left) = ((at / each) % values.len(), each - at % each);
                    let mut filled = 0;
                    while filled < count {
                        let run = if each == 1 { values.len() - number } else { left }.min(count - filled);
                        for (own, from) in own.chunks_exact_mut(room).zip(table.columns.chunks_exact(table.stride)) {
                            let own = &mut own[filled..filled + run];
                            if each == 1 {
                                own.copy_from_slice(&from[number..number + run]);
                            } else {
                                own.fill(from[number]);
                            }
                        }
                        filled += run;
                        number = if each == 1 || number + 1 == values.len() { 0 } else { number + 1 };
                        left = each;
                    }
                }
                (frequency_hz, _) => {
                    for block in (0..count).step_by(LANES) {
                        let mut lanes = [0.0; LANES];
                        let valid = LANES.min(count - block);
                        frequency_hz.load(at + block, valid, &mut lanes);
                        let lanes = &lanes[..valid.next_multiple_of(Lanes::<S>::COUNT)];
                        fill(simd, &self.plan, lanes, &mut states, &mut own, (room, block));
                    }
                }
            }
            let (columns, stride) = match &self.table {
                Some(table) if from_table => (&table.columns, table.stride),
                _ => (&own, room),
            };
            self.resistances(simd, at, count, room, &mut rho, &mut next);
            let out = &mut out[done..done + count];
            for from in (0..count).step_by(Lanes::<S>::COUNT) {
                let coefficient = |column: usize| Lanes::load(simd, &columns[column * stride + offset + from..]);
                let (p, d) =
                    self.power(simd, coefficient, |group| Lanes::load(simd, &rho[group * room + from..]), &mut z);
                let loss = p.ln_beside(d) * DB_PER_NEPER_OF_POWER;
                let valid = Lanes::<S>::COUNT.min(count - from);
                if valid == Lanes::<S>::COUNT {
                    loss.store(&mut out[from..]);
                } else {
                    let mut lanes = [0.0; LANES];
                    loss.store(&mut lanes);
                    out[from..].copy_from_slice(&lanes[..valid]);
                }
                let splat = |number| Lanes::splat(simd, number);
                if !splat(f64::MIN_POSITIVE).below(p).and(p.below(splat(f64::MAX))).all() {
                    let mut lanes = [0.0; LANES];
                    p.store(&mut lanes);
                    for (lane, p) in lanes[..valid].iter().enumerate() {
                        if !(f64::MIN_POSITIVE < *p && *p < f64::MAX) {
                            out[from + lane] = self.plain(at + from + lane);
                        }
                    }
                }
            }
            done += count;
        }
    }
}

/// Fills all of the room with the coefficients of one frequency, if it does not hold them already.
fn hold(own: &mut [f64], room: usize, table: &Table, number: usize, held: &mut Option<usize>) {
    if *held == Some(number) {
        return;
    }
    for (own, from) in own.chunks_exact_mut(room).zip(table.columns.chunks_exact(table.stride)) {
        own.fill(from[number]);
    }
    *held = Some(number);
}

#[cfg(test)]
mod tests;
