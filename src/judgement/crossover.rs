//! Residue of an under-biased output stage against level, from the class AB model, as a table.

use super::rivals::QUIESCENT;
use crate::circuit::amplifier::ClassAb;
use crate::physics::constants::THERMAL_VOLTAGE_V;
use std::sync::OnceLock;

/// Open-loop residue of an under-biased stage, log-spaced over quiescent and peak voltage.
pub(super) struct Crossover {
    rows: Vec<f64>,
}

const QUIESCENT_NODES: usize = 9;
const PEAK_NODES: usize = 17;
const PEAK_V: (f64, f64) = (0.02, 50.0);

pub(super) fn crossover() -> &'static Crossover {
    static TABLE: OnceLock<Crossover> = OnceLock::new();
    TABLE.get_or_init(|| {
        let spaced = |(low, high): (f64, f64), k: usize, n: usize| low * (high / low).powf(k as f64 / (n - 1) as f64);
        let rows = (0..QUIESCENT_NODES)
            .flat_map(|a| (0..PEAK_NODES).map(move |b| (a, b)))
            .map(|(a, b)| {
                let stage = ClassAb {
                    quiescent: spaced(QUIESCENT, a, QUIESCENT_NODES),
                    emitter_ohm: 0.22,
                    load_ohm: 8.0,
                    thermal_v: THERMAL_VOLTAGE_V,
                };
                stage.residue(spaced(PEAK_V, b, PEAK_NODES)).max(1e-12).ln()
            })
            .collect();
        Crossover { rows }
    })
}

impl Crossover {
    /// Residue at an idle voltage over the thermal one and a peak voltage at the load.
    pub(super) fn residue(&self, quiescent: f64, peak_v: f64) -> f64 {
        let place = |x: f64, (low, high): (f64, f64), n: usize| {
            let at = ((x / low).ln() / (high / low).ln() * (n - 1) as f64).clamp(0.0, (n - 1) as f64);
            let k = (at as usize).min(n - 2);
            (k, at - k as f64)
        };
        let (a, s) = place(quiescent, QUIESCENT, QUIESCENT_NODES);
        let (b, t) = place(peak_v, PEAK_V, PEAK_NODES);
        let at = |a: usize, b: usize| self.rows[a * PEAK_NODES + b];
        let row = |a: usize| at(a, b) + t * (at(a, b + 1) - at(a, b));
        (row(a) + s * (row(a + 1) - row(a))).exp()
    }
}

#[cfg(test)]
mod nodes;
