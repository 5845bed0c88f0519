//! What a notch leaves of the output: harmonics, chatter and noise in a band, weighted, as ratios to the tone.
//!
//! * **harmonics**: the lines of the steady state that lie in the band.
//! * **Johnson noise**: of every resistance of every section, `4 k T Re Z` of its load's node, carried through what follows
//!   (Johnson, Nyquist 1928). A stage's output resistance counts with the section that it drives; stages add no noise of their own.
//! * **contact noise**: a resistance that fluctuates with `C/f` (Hooge 1969 \[memory\]) under the tone's current and the direct one.
//! * **chatter**: a random telegraph between two resistances modulates the tone between two transfers (Machlup 1954 \[memory\]); its
//!   sidebands stand about the tone and go on to the output at their own frequencies. Quasi-static: dwell times long against the
//!   section's time constants; exact in a resistive loop.
//!
//! Weights and the notch act on the residue, not on the tone that it is a ratio to. The notch takes the tone alone, or, given a Q,
//! what stands beside it too: `x^2/(1 + x^2)`, `x = Q (f/f0 - f0/f)`.

use super::linear::gain_after;
use super::steady::solve::Answer;
use super::weighting::Weighting;
use crate::circuit::chain::{Link, Network};
use crate::circuit::ports::Ports;
use crate::physics::chatter::{Telegraph, corner_hz, spectrum_per_hz};
use crate::physics::constants::{BOLTZMANN_J_PER_K, ROOM_TEMPERATURE_K};
use num_complex::Complex64;
use std::f64::consts::SQRT_2;

/// Distance from the tone below which 1/f sidebands count as the tone, Hz.
pub const NEAREST_HZ: f64 = 1.0;

/// Changes per second up to which each is heard as one crackle: about where pulses fuse into a tone \[memory\].
pub const HEARD_ONE_BY_ONE_PER_S: f64 = 20.0;

/// Nodes and weights of Gauss and Legendre's rule of order 8 on -1 to 1, positive half.
const GAUSS: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_47),
    (0.960_289_856_497_536_2, 0.101_228_536_290_376_26),
];

/// Panels per octave of the band.
const PANELS_PER_OCTAVE: f64 = 6.0;

/// How the residue is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// band, Hz
    pub band_hz: (f64, f64),
    /// weighting of the residue
    pub weighting: Weighting,
    /// Q of the notch; `None` for one that takes the tone alone
    pub notch_q: Option<f64>,
}

/// What one contact adds.
#[derive(Debug, Clone, Copy, Default)]
pub struct Unsteady {
    /// number of the contact through the chain
    pub contact: usize,
    /// its jumping between two resistances, ohm and s
    pub chatter: Option<Telegraph>,
    /// its 1/f coefficient
    pub flicker: f64,
}

/// Residue over the tone, part by part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residue {
    /// harmonics in the band
    pub harmonics: f64,
    /// chatter
    pub chatter: f64,
    /// Johnson noise
    pub johnson: f64,
    /// 1/f noise of contacts
    pub contact_noise: f64,
    /// changes per second of chatter slow enough to be heard one by one; NaN where it is faster
    pub crackle_per_s: f64,
}

impl Residue {
    /// All of it: the root of the sum of squares.
    #[must_use]
    pub fn total(&self) -> f64 {
        self.harmonics.hypot(self.chatter).hypot(self.johnson).hypot(self.contact_noise)
    }
}

impl View {
    /// Share of power that weighting and notch leave at a frequency beside a tone.
    #[must_use]
    pub fn power(&self, frequency_hz: f64, tone_hz: f64) -> f64 {
        let notch = self.notch_q.map_or(1.0, |q| {
            let x = q * (frequency_hz / tone_hz - tone_hz / frequency_hz);
            x * x / (1.0 + x * x)
        });
        self.weighting.power(frequency_hz) * notch
    }

    /// Nodes and weights of an integral over the band, finer about the tone down to `finest_hz` from it.
    fn quadrature(&self, tone_hz: f64, finest_hz: f64) -> (Vec<f64>, Vec<f64>) {
        let (low, high) = self.band_hz;
        let count = ((high / low).log2() * PANELS_PER_OCTAVE).ceil().max(1.0) as usize;
        let mut ends: Vec<f64> = (0..=count).map(|k| low * (high / low).powf(k as f64 / count as f64)).collect();
        let mut offset = finest_hz;
        while offset < high {
            ends.extend([tone_hz - offset, tone_hz + offset]);
            offset *= 2.0;
        }
        ends.push(tone_hz);
        ends.retain(|f| (low..=high).contains(f));
        ends.sort_by(f64::total_cmp);
        ends.dedup();
        let (mut nodes, mut weights) = (Vec::new(), Vec::new());
        for panel in ends.windows(2) {
            let (middle, half) = (0.5 * (panel[0] + panel[1]), 0.5 * (panel[1] - panel[0]));
            for (x, weight) in GAUSS {
                nodes.extend([middle - half * x, middle + half * x]);
                weights.extend([half * weight; 2]);
            }
        }
        (nodes, weights)
    }
}

/// Load voltage per EMF through everything, both channels driven alike.
fn transfer(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> Complex64 {
    let one = |link: &Link| {
        let stages: Complex64 = link.stages.iter().map(|stage| stage.transfer(frequency_hz)).product();
        link.ladder.transfer(frequency_hz, contact_ohm) * stages
    };
    network.links.iter().map(one).product()
}

/// Density of Johnson noise at the output, V^2/Hz, at room temperature (293.15 K).
#[must_use]
pub fn johnson_v2_per_hz(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> f64 {
    let at = |(number, link): (usize, &Link)| {
        let back = link.ladder.output_impedance(frequency_hz, contact_ohm);
        let node = if back == Complex64::default() {
            back
        } else {
            (back.inv() + link.ladder.load.admittance(frequency_hz)).inv()
        };
        node.re * gain_after(network, number, frequency_hz, contact_ohm).powi(2)
    };
    let resistance: f64 = network.links.iter().enumerate().map(at).sum();
    4.0 * BOLTZMANN_J_PER_K * ROOM_TEMPERATURE_K * resistance
}

/// Johnson noise at the output in a band, weighted, V rms.
#[must_use]
pub fn johnson_v(network: &Network, contact_ohm: &[f64], view: &View) -> f64 {
    let (nodes, weights) = view.quadrature(view.band_hz.0, view.band_hz.0);
    let density = |f: f64| johnson_v2_per_hz(network, f, contact_ohm) * view.weighting.power(f);
    nodes.iter().zip(&weights).map(|(&f, w)| w * density(f)).sum::<f64>().sqrt()
}

/// Power of sidebands about a tone, over the tone's: `modulation(f)` is the one-sided spectrum of the relative change of
/// amplitude, `shape[node]` how much more a sideband reaches the output than the tone does.
fn sidebands(
    view: &View,
    tone_hz: f64,
    (nodes, weights): (&[f64], &[f64]),
    shape: &[f64],
    modulation: impl Fn(f64) -> f64,
) -> f64 {
    let at = |((&f, w), shape): ((&f64, &f64), &f64)| {
        let both = 0.5 * (modulation((f - tone_hz).abs()) + modulation(f + tone_hz));
        w * both * shape * shape * view.power(f, tone_hz)
    };
    nodes.iter().zip(weights).zip(shape).map(at).sum()
}

/// Residue of a tone whose steady state is `answer`; `contact_ohm` are whole resistances, of a chattering contact
/// its mean, with which `answer` was solved too.
#[must_use]
pub fn residue(
    network: &Network,
    answer: &Answer,
    (tone_hz, emf_v): (f64, f64),
    contact_ohm: &[f64],
    unsteady: &[Unsteady],
    view: &View,
) -> Residue {
    let tone_v = SQRT_2 * answer.output.get(1).map_or(0.0, |line| line.norm());
    let (low, high) = view.band_hz;
    let harmonic = |(line, hz): (&Complex64, &f64)| {
        let inside = (low..=high).contains(hz);
        if inside { 2.0 * line.norm_sqr() * view.power(*hz, tone_hz) } else { 0.0 }
    };
    let harmonics_v2: f64 = answer.output.iter().zip(&answer.frequency_hz).skip(2).map(harmonic).sum();
    let ohm = contact_ohm;
    let (nodes, weights) = view.quadrature(tone_hz, NEAREST_HZ);
    let noise = |(&f, w): (&f64, &f64)| w * johnson_v2_per_hz(network, f, ohm) * view.power(f, tone_hz);
    let johnson_v2: f64 = nodes.iter().zip(&weights).map(noise).sum();
    let (mut chatter, mut contact_noise, mut crackle) = (0.0, 0.0, 0.0);
    for one in unsteady {
        let number = network.section_of(one.contact);
        let ladder = &network.links[number].ladder;
        let k = one.contact - ladder.contacts().start;
        let seen = |hz: &[f64]| Ports::new(ladder, hz, ohm);
        let reach = |ports: &Ports, point: usize| {
            let after = gain_after(network, number, ports.frequency_hz[point], ohm);
            ports.reach[k * ports.points() + point].norm() * after
        };
        let at_tone = seen(&[tone_hz]);
        let whole = transfer(network, tone_hz, ohm).norm();
        if let Some(telegraph) = one.chatter {
            let state = |value: f64| {
                let mut ohm = ohm.to_vec();
                ohm[one.contact] = value;
                transfer(network, tone_hz, &ohm)
            };
            let (a, b, p) = (state(telegraph.low_ohm), state(telegraph.high_ohm), telegraph.low_share());
            let step = (a - b).norm() / (a * p + b * (1.0 - p)).norm();
            let dwell = (telegraph.dwell_low_s, telegraph.dwell_high_s);
            let corner = corner_hz(dwell.0, dwell.1);
            let (nodes, weights) = view.quadrature(tone_hz, 0.25 * corner);
            let ports = seen(&nodes);
            let shape: Vec<f64> = (0..nodes.len()).map(|point| reach(&ports, point) / reach(&at_tone, 0)).collect();
            let spectrum = |f: f64| spectrum_per_hz(step, dwell.0, dwell.1, f);
            chatter += sidebands(view, tone_hz, (&nodes, &weights), &shape, spectrum);
            let changes = 2.0 / (dwell.0 + dwell.1);
            crackle += if changes <= HEARD_ONE_BY_ONE_PER_S { changes } else { f64::NAN };
        }
        if one.flicker > 0.0 && ohm[one.contact].is_finite() {
            // the EMF of a fluctuating resistance: its share of what reaches the output, relative to the tone
            let current = at_tone.drive[k].norm();
            let ports = seen(&nodes);
            let (drop, direct_v) =
                (ohm[one.contact] * current, ohm[one.contact] * network.contacts[one.contact].direct_current_a);
            let shape: Vec<f64> = (0..nodes.len()).map(|point| reach(&ports, point)).collect();
            let before = whole / (at_tone.output[0].norm() * gain_after(network, number, tone_hz, ohm));
            // what is nearer counts as the tone; panels end there
            let beside = |f: f64| if f < NEAREST_HZ { 0.0 } else { one.flicker / f };
            let scale = drop * before / whole;
            contact_noise += scale * scale * sidebands(view, tone_hz, (&nodes, &weights), &shape, beside);
            let baseband = |((&f, w), shape): ((&f64, &f64), &f64)| {
                w * (direct_v * shape).powi(2) * one.flicker / f * view.power(f, tone_hz)
            };
            let direct: f64 = nodes.iter().zip(&weights).zip(&shape).map(baseband).sum();
            contact_noise += direct / (emf_v * whole).powi(2);
        }
    }
    Residue {
        harmonics: harmonics_v2.sqrt() / tone_v,
        chatter: chatter.sqrt(),
        johnson: johnson_v2.sqrt() / tone_v,
        contact_noise: contact_noise.sqrt(),
        crackle_per_s: crackle,
    }
}
