//! Points of a current-voltage curve on their way into a fit: what is refused, and with which words.

use crate::cores;
use crate::error::{InputError, finite, positive};
use crate::watch::{Stopped, Watch};
use std::cmp::Ordering;
use std::ops::Range;

/// Fewest points: four parameters, one degree of freedom, one point to spare.
pub const LEAST_POINTS: usize = 6;

/// Fewest points of either polarity.
pub const LEAST_OF_A_POLARITY: usize = 2;

/// Ends of the largest voltage (V) and current (A): what anyone can measure; the search keeps its digits there.
const ENDS: [f64; 2] = [1e-15, 1e9];

/// Ends of a standard deviation, V: their squares are still numbers.
const ENDS_OF_SD: [f64; 2] = [1e-30, 1e30];

/// Points between two looks at the watch, and rows that are turned to a triangle at a time.
pub(super) const BLOCK: usize = 4096;

/// Points that are enough to find the way with, where there are more than [`BLOCK`].
const FEW: u64 = 1024;

/// Points with the weight of each: one over its standard deviation, V (1 where none is known).
pub(super) struct Points<'a> {
    pub(super) voltage_v: &'a [f64],
    pub(super) current_a: &'a [f64],
    pub(super) weight: Vec<f64>,
    /// a search ends where it is when this says stop
    pub(super) watch: &'a dyn Watch,
}

impl Points<'_> {
    pub(super) fn largest_current_a(&self) -> f64 {
        self.current_a.iter().fold(0.0, |most, i| most.max(i.abs()))
    }

    pub(super) fn largest_voltage_v(&self) -> f64 {
        self.voltage_v.iter().fold(0.0, |most, v| most.max(v.abs()))
    }

    /// Some of them, where they are many: spread over all by a fixed sequence, and those of largest current either way.
    pub(super) fn thinned(&self) -> Option<Thinned> {
        let count = self.current_a.len();
        if count <= BLOCK {
            return None;
        }
        let at = |end: Ordering| {
            (1..count)
                .fold(0, |best, k| if self.current_a[k].total_cmp(&self.current_a[best]) == end { k } else { best })
        };
        // Weyl's sequence: equally spread in the long run, and of no period that points in time could share
        let spread = (1..=FEW).map(|k| ((u128::from(k.wrapping_mul(GOLDEN)) * count as u128) >> 64) as usize);
        let picked: Vec<usize> = [at(Ordering::Less), at(Ordering::Greater)].into_iter().chain(spread).collect();
        let of = |values: &[f64]| picked.iter().map(|&k| values[k]).collect();
        Some(Thinned { voltage_v: of(self.voltage_v), current_a: of(self.current_a), weight: of(&self.weight) })
    }

    /// What `work` makes of each block of points, in their order, on all cores; none when it makes nothing of one, or when the watch says stop.
    pub(super) fn by_blocks<T: Send>(&self, work: impl Fn(Range<usize>) -> Option<T> + Sync) -> Option<Vec<T>> {
        let count = self.current_a.len();
        let one = |(): &mut (), number: usize| {
            let start = number * BLOCK;
            if self.watch.stop() { Err(Stopped) } else { work(start..count.min(start + BLOCK)).ok_or(Stopped) }
        };
        cores::answers(count.div_ceil(BLOCK), self.watch, || (), one).ok()
    }
}

/// The golden section of 2^64: an odd number, multiples of which are spread evenly \[memory: Knuth, volume 3, 6.4\].
const GOLDEN: u64 = 0x9e37_79b9_7f4a_7c15;

/// A few of many points.
pub(super) struct Thinned {
    voltage_v: Vec<f64>,
    current_a: Vec<f64>,
    weight: Vec<f64>,
}

impl Thinned {
    pub(super) fn points<'a>(&'a self, watch: &'a dyn Watch) -> Points<'a> {
        Points { voltage_v: &self.voltage_v, current_a: &self.current_a, weight: self.weight.clone(), watch }
    }
}

pub(super) fn checked<'a>(
    voltage_v: &'a [f64],
    current_a: &'a [f64],
    sd_v: Option<&[f64]>,
    watch: &'a dyn Watch,
) -> Result<Points<'a>, InputError> {
    let n = voltage_v.len();
    if current_a.len() != n {
        let allowed = format!("allowed: as many as voltages, {n}");
        return Err(InputError::new("current_a", format!("{} values", current_a.len()), allowed));
    }
    // a place has a name only where something is wrong with it
    if let Some(k) = (0..n).find(|&k| !(voltage_v[k].is_finite() && current_a[k].is_finite())) {
        finite(&format!("voltage_v[{k}]"), voltage_v[k])?;
        finite(&format!("current_a[{k}]"), current_a[k])?;
    }
    let weight = match sd_v {
        None => vec![1.0; n],
        Some(sd) if sd.len() == n || sd.len() == 1 => {
            let one = |k: usize| {
                let place = format!("sd_v[{k}]");
                sized(&place, &[positive(&place, sd[k])?], ENDS_OF_SD)
            };
            let fits = |sd: f64| (ENDS_OF_SD[0]..=ENDS_OF_SD[1]).contains(&sd);
            if let Some(k) = sd.iter().position(|&sd| !fits(sd)) {
                one(k)?;
            }
            if sd.len() == 1 { vec![sd[0].recip(); n] } else { sd.iter().map(|sd| sd.recip()).collect() }
        }
        Some(sd) => {
            let allowed = format!("allowed: one, or as many as voltages, {n}");
            return Err(InputError::new("sd_v", format!("{} values", sd.len()), allowed));
        }
    };
    if n < LEAST_POINTS {
        let allowed = format!("allowed: {LEAST_POINTS} or more, of both polarities: a law has up to four parameters");
        return Err(InputError::new("voltage_v", format!("{n} points"), allowed));
    }
    for (name, sign) in [("positive", 1.0), ("negative", -1.0)] {
        let there = current_a.iter().filter(|i| sign * **i > 0.0).count();
        if there < LEAST_OF_A_POLARITY {
            let allowed = format!(
                "allowed: {LEAST_OF_A_POLARITY} or more of each polarity: one polarity cannot tell a rectifier from a tunnelling film"
            );
            return Err(InputError::new("current_a", format!("{there} points of {name} current"), allowed));
        }
    }
    sized("voltage_v", voltage_v, ENDS)?;
    sized("current_a", current_a, ENDS)?;
    let power: f64 = voltage_v.iter().zip(current_a).map(|(v, i)| v * i).sum();
    if power <= 0.0 {
        let allowed = "allowed: voltages with the sign of their currents; is a lead reversed?";
        return Err(InputError::new("voltage_v", format!("sum of v i = {power} W"), allowed));
    }
    Ok(Points { voltage_v, current_a, weight, watch })
}

/// Whether the largest of some numbers is between two ends.
fn sized(place: &str, values: &[f64], ends: [f64; 2]) -> Result<(), InputError> {
    let most = values.iter().fold(0.0f64, |most, v| most.max(v.abs()));
    if (ends[0]..=ends[1]).contains(&most) {
        return Ok(());
    }
    let allowed = format!("allowed: a largest of {:e} to {:e}; is the unit V, A?", ends[0], ends[1]);
    Err(InputError::new(place, format!("largest {most:e}"), allowed))
}
