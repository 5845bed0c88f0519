//! **T2**: the most residue that several contacts can cause together, wherever in a chain they stand.
//!
//! Contact k keeps its chord in `[Rmin_k, Rmax_k]`; with `Rmid_k` of it counted to the network, what is left is an EMF `e_k`
//! in series of no more than `Delta_k` times its current, in rms over all frequencies: `|e_k| <= Delta_k |i_k|`. Across the
//! signal it is a current into the node of no more than `Delta_k` siemens times its voltage. For any weights `p_k > 0`,
//! `sum p_k |e_k|^2 <= sum p_k Delta_k^2 |i_k|^2`. With the network's answers `G` between the contacts (through stages as well:
//! a later contact feels an earlier one), `h` from the contacts to the output, `a` and `t` from the source to the contacts and
//! the output, write `W = diag sqrt(p)`, `K = W Delta G W^-1`, `g = h W^-1`. Off the driven line `i = G e` and `y = h e`, so
//!
//! `sum over w not driven of |y_w|^2 <= sup lambda(w) (|W Delta i_1|^2 - |W e_1|^2 + d^2)`, `lambda = g (1 - K^H K)^-1 g^H`
//!
//! with `d = |W Delta i_0|` from direct currents that run through the contacts. On the driven line `i = a E + G e`, `y = t E +
//! h e`; without direct current the last bracket is at most `c^H (1 - Q Q^H)^-1 c |y_1|^2`, `c = W Delta a/t`,
//! `Q = W Delta (a h/t - G) W^-1`. With it, the least `m` is looked for with `bracket - m |y_1|^2 <= 0` whatever `e_1` is.
//!
//! `residue / fundamental <= sqrt(sup lambda c^H (1 - Q Q^H)^-1 c)`
//!
//! for every choice of weights under which both brackets are positive definite, the first one at every frequency and not only
//! in the band that is looked at: a frequency left out of the sum must not have taken a negative share. Both suprema are
//! enclosed, the second from zero to infinite frequency (`response::supremum`); where no such weights are found
//! there is no ceiling. So that the bracket stays above zero where a loop closes through capacitances alone, a contact is
//! taken to have at least a billionth of its largest resistance (across the signal, of its largest conductance) if the proof
//! needs it. In one section the weights start at `1/Delta`, under which the first bracket is passive and needs no
//! proof. Contacts in series of one section of coils, capacitors and resistances are not enclosed at all: a form of what
//! each cut carries says the same in polynomials (`response::supply`). For contacts of one loop `Q` vanishes and the bound is T1. Where nothing depends on frequency the closed form of
//! [`ceiling_resistive`](super::ceiling_resistive) is taken instead, which is reached.
//!
//! Related to structured singular values with constant diagonal scalings (Packard and Doyle, Automatica 29, 1993 \[memory\]).

use super::ceiling::{Ceiling, Status};
use super::ceiling_resistive::log_gain_range;
use super::jet::Jet;
use super::seen::{Seen, SeenAt};
use super::supply::{Route, Sets};
use super::supremum::{Span, supremum_of};
use super::weights::{self, Problem};
use crate::circuit::Role;
use crate::circuit::chain::Network;

/// One contact that moves: its number through the chain and the range of its chord, ohm.
pub type Moving = (usize, (f64, f64));

/// Above so many harmonics in the band the supremum over the whole band is taken for theirs: never too small.
const MOST_HARMONICS: usize = 2_000;

/// Least resistance of a contact in series over its largest, and least conductance of one across the signal over its largest.
const LEAST: f64 = 1e-9;

/// Shares of what the search for weights gained that are given back until they can be proved.
const HELD_BACK: [f64; 5] = [0.0, 0.03, 0.1, 0.4, 1.0];

/// Most intervals looked at in the proof that no frequency takes a negative share.
const MOST_INTERVALS: usize = 4_000;

/// What is there beside the tone.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// the chain's EMF at the driven frequency, V rms; only its ratio to the direct currents counts
    pub emf_v: f64,
    /// direct current through every contact of the chain, A
    pub direct_current_a: Vec<f64>,
    /// EMF of the other channel over that of this one, at the same frequency: one if both play the same; nothing if it plays
    /// another programme
    pub other_channel: Option<f64>,
}

impl Beside {
    /// No direct current, the other channel playing the same.
    #[must_use]
    pub fn nothing(network: &Network) -> Self {
        Self { emf_v: 1.0, direct_current_a: vec![0.0; network.contacts.len()], other_channel: Some(1.0) }
    }
}

/// The ceiling of several contacts of a chain; the others keep `fixed_ohm`. No direct current, both channels playing the same.
#[must_use]
pub fn ceiling_many(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    fixed_ohm: &[f64],
    band_hz: (f64, f64),
) -> Ceiling {
    ceiling_many_beside(network, driven_hz, moving, fixed_ohm, band_hz, &Beside::nothing(network))
}

/// The same beside direct currents and another channel.
///
/// With contacts in a shared return both channels are alike, and a contact of this channel that moves has a twin in the other
/// one that may move in the same range on its own.
#[must_use]
pub fn ceiling_many_beside(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    fixed_ohm: &[f64],
    band_hz: (f64, f64),
    beside: &Beside,
) -> Ceiling {
    let moving: Vec<Moving> = moving.iter().copied().filter(|&(_, (low, high))| high > low).collect();
    if moving.is_empty() {
        return Ceiling::NOTHING_MOVES;
    }
    let across = |k: usize| network.contacts[k].role == Role::Shunt;
    if moving.iter().any(|&(k, range)| !across(k) && range.1.is_infinite()) {
        return Ceiling::none(Status::CanOpen);
    }
    if moving.iter().any(|&(k, range)| across(k) && range.0 <= 0.0) {
        return Ceiling::none(Status::CanShort);
    }
    let shared = |k: usize| network.contacts[k].role == Role::SharedReturn;
    let in_common = (0..fixed_ohm.len()).any(|k| shared(k) && (fixed_ohm[k] > 0.0 || moving.iter().any(|m| m.0 == k)));
    let other_channel = match beside.other_channel {
        Some(ratio) => ratio,
        None if in_common => return Ceiling::none(Status::OtherProgramme),
        None => 1.0,
    };
    let direct = moving.iter().any(|m| beside.direct_current_a[m.0] != 0.0);
    if let (false, Some(rho)) = (direct, log_gain_range(network, &moving, fixed_ohm)) {
        let residue = 0.5 * rho;
        let harmonics = if 2.0 * driven_hz <= band_hz.1 { residue.sinh() } else { f64::NAN };
        return Ceiling { harmonics, chatter: residue.sinh(), status: Status::Holds };
    }
    if let Some(found) = from_one_section(network, driven_hz, &moving, fixed_ohm, band_hz, beside) {
        return found;
    }
    let floor = |&(k, (low, high)): &Moving| match across(k) {
        true => (k, (low, high.min(low / LEAST))),
        false => (k, (low.max(high * LEAST), high)),
    };
    let floored: Vec<Moving> = moving.iter().map(floor).collect();
    let mut status = Status::NoFundamental;
    for (last, moving) in [(false, &moving), (true, &floored)] {
        let several = Several { seen: Seen::new(network, moving, fixed_ohm, other_channel), driven_hz, band_hz };
        let alone = several.seen.in_one_section();
        // over several sections nothing is proved without the floor
        let Some(problem) = several.problem(moving, beside).filter(|_| alone || last) else { continue };
        status = Status::NoBound;
        let (best, passive) = (problem.best_weights(), problem.passive_weights());
        for share in HELD_BACK {
            let w = problem.held_back(&best, share);
            // in one section the passive weights need no proof
            if alone && (w == passive || share == 1.0 && last) {
                return several.ceiling(&problem, &passive);
            }
            if problem.driven(&w).is_finite() && several.everywhere_passive(&problem.delta, &w) {
                return several.ceiling(&problem, &w);
            }
        }
    }
    Ceiling::none(status)
}

/// The ceiling of what [`supply`](super::supply) serves.
pub(super) fn from_one_section(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    fixed_ohm: &[f64],
    band_hz: (f64, f64),
    beside: &Beside,
) -> Option<Ceiling> {
    let route = Route::of(network, &beside.direct_current_a, band_hz)?;
    let mut sets = Sets::new(&route, 1);
    sets.begin(&route, 1, |hz| hz[0] = driven_hz, |k, ohm| ohm[0] = fixed_ohm[k]);
    for &(k, (low, high)) in moving {
        sets.range(&route, k, &[low], &[high]);
    }
    sets.solve(&route);
    sets.found(0)
}

/// Several contacts made ready for one set of ranges.
struct Several<'a> {
    seen: Seen<'a>,
    driven_hz: f64,
    band_hz: (f64, f64),
}

/// `lambda` over an interval, and whether the bracket under it is proved positive definite there.
fn lambda(seen: &SeenAt, delta: &[f64], w: &[f64]) -> Option<Jet> {
    let n = w.len();
    let k = |row: usize, column: usize| seen.g[row * n + column].scaled(w[row] * delta[row] / w[column]);
    let all: Vec<Jet> = (0..n * n).map(|at| k(at / n, at % n)).collect();
    // 1 - K^H K = L diag(d) L^H, and z = L^-1 g^H
    let (mut l, mut d, mut z) = (vec![Jet::ZERO; n * n], vec![Jet::ZERO; n], vec![Jet::ZERO; n]);
    let mut inverses = Vec::with_capacity(n);
    let mut sum = Jet::ZERO;
    for i in 0..n {
        for j in 0..=i {
            let mut entry = if i == j { Jet::ONE } else { Jet::ZERO };
            for row in 0..n {
                entry = entry.minus(&all[row * n + i].conj().times(&all[row * n + j]));
            }
            for m in 0..j {
                entry = entry.minus(&l[i * n + m].times(&d[m]).times(&l[j * n + m].conj()));
            }
            if i == j {
                if entry.least() <= 0.0 {
                    return None;
                }
                d[i] = entry;
                inverses.push(entry.inverse()?);
            } else {
                l[i * n + j] = entry.times(&inverses[j]);
            }
        }
        let mut entry = seen.h[i].conj().scaled(w[i].recip());
        for m in 0..i {
            entry = entry.minus(&l[i * n + m].times(&z[m]));
        }
        z[i] = entry;
        sum = sum.plus(&entry.square().times(&inverses[i]));
    }
    Some(sum)
}

impl Several<'_> {
    fn problem(&self, moving: &[Moving], beside: &Beside) -> Option<Problem> {
        let driven = self.seen.plain(self.driven_hz)?;
        // one contact has no weights to search
        let searched = driven.a.len() > 1;
        let plain = |hz: Vec<f64>| if searched { self.plain(&hz) } else { Vec::new() };
        (driven.t.norm() > 0.0).then(|| Problem {
            delta: self.seen.delta(moving),
            group: self.seen.sections(),
            direct: self.seen.direct(moving, &beside.direct_current_a),
            emf_v: beside.emf_v,
            driven,
            band: plain(weights::frequencies(self.band_hz, 6.0)),
            everywhere: plain(weights::everywhere()),
        })
    }

    fn plain(&self, frequency_hz: &[f64]) -> Vec<super::seen::Plain> {
        frequency_hz.iter().filter_map(|&f| self.seen.plain(f)).collect()
    }

    /// Whether no frequency from zero to infinity can take a negative share under these weights.
    fn everywhere_passive(&self, delta: &[f64], w: &[f64]) -> bool {
        let mut open = Span::everywhere();
        for _ in 0..MOST_INTERVALS {
            let Some(span) = open.pop() else { return true };
            let proved = self.seen.at::<3>(span).is_some_and(|seen| lambda(&seen, delta, w).is_some());
            if !proved {
                // where it fails in the middle no half of it is ever proved
                let (middle, _) = span.middle_and_half();
                let at = self.seen.at::<1>(span.only(middle)).map(|seen| seen.plain());
                if span.is_narrow() || at.is_none_or(|at| !weights::is_passive(&at.g, delta, w)) {
                    return false;
                }
                open.extend(span.halves());
            }
        }
        false
    }

    fn ceiling(&self, problem: &Problem, w: &[f64]) -> Ceiling {
        let driven = problem.driven(w);
        let over = |spans: &[Span]| {
            let found = supremum_of(spans, |span| lambda(&self.seen.at(span)?, &problem.delta, w));
            (found * driven).sqrt()
        };
        let chatter = if driven.is_finite() { over(&Span::band(self.band_hz)) } else { f64::INFINITY };
        if !chatter.is_finite() {
            return Ceiling::none(if problem.has_direct() { Status::DirectCurrent } else { Status::NoBound });
        }
        let (f, (low, high)) = (self.driven_hz, self.band_hz);
        let last = (high / f * (1.0 + 1e-12)).floor() as usize;
        let harmonics = if last > MOST_HARMONICS {
            chatter
        } else {
            let lines: Vec<Span> = (2..=last).map(|n| n as f64 * f).filter(|&f| f >= low).map(Span::at).collect();
            if lines.is_empty() { f64::NAN } else { over(&lines).min(chatter) }
        };
        Ceiling { harmonics, chatter, status: Status::Holds }
    }
}

/// The ceiling of contacts of one section under `rho/Delta`, a number for each loop, by enclosures; and whether no frequency is seen
/// to take a negative share.
#[cfg(test)]
pub(super) fn under_weights(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    fixed_ohm: &[f64],
    rho: &[f64],
) -> (Ceiling, bool) {
    let band_hz = super::linear::AUDIBLE_BAND_HZ;
    let several = Several { seen: Seen::new(network, moving, fixed_ohm, 1.0), driven_hz, band_hz };
    let Some(problem) = several.problem(moving, &Beside::nothing(network)) else {
        return (Ceiling::none(Status::NoFundamental), false);
    };
    let w: Vec<f64> = problem.passive_weights().iter().zip(rho).map(|(w, rho)| w * rho.sqrt()).collect();
    let seen = several.plain(&weights::everywhere());
    (several.ceiling(&problem, &w), seen.iter().all(|at| weights::is_passive(&at.g, &problem.delta, &w)))
}

#[cfg(test)]
mod tests;
