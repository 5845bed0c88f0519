//! Points of a current-voltage curve on their way into a fit: what is refused, and with which words.

use super::fit_law::Points;
use crate::error::{InputError, finite, positive};
use crate::watch::Watch;

/// Fewest points: four parameters, one degree of freedom, one point to spare.
pub const LEAST_POINTS: usize = 6;

/// Fewest points of either polarity.
pub const LEAST_OF_A_POLARITY: usize = 2;

/// Ends of the largest voltage (V) and current (A): what anyone can measure; the search keeps its digits there.
const ENDS: [f64; 2] = [1e-15, 1e9];

/// Ends of a standard deviation, V: their squares are still numbers.
const ENDS_OF_SD: [f64; 2] = [1e-30, 1e30];

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
