//! T3 sharpened for single products: the contact's inequality weighed in time. Statement and proof: [`bounds`](super::bounds).
//!
//! T3 averages `e^2 <= Delta^2 i^2`, and so does not see **when** the contact had the current. It holds at every instant, so it
//! may be averaged with any weight `lambda(t) >= 0` first. What a contact gives a product is `<e w>`, `w(t)` a wave of the
//! products' lines; with weights about `|w|/|i|` nothing is lost. Here `lambda = 1 + sum of a few cosines` of even order,
//!
//! `<e w> <= <lambda (Delta^2 i0^2 - e0^2)>/2 + <l^2/(lambda - epsilon)>/2 + <e0 w>`,
//!
//! `i0`, `e0`: middle of what the tones' currents can be; `l`: what is linear in the rest; `epsilon`: the change of the loop
//! between the lines that `lambda` couples ([`drift`](super::drift)). The phases of the products are free: their circles are cut into arcs, every arc has
//! a `lambda` of its own, and as the right side is convex in `w`, the corners of a polygon around the arc hold all of it.
//!
//! All waves are finite sums over labels `(k1, k2)`, lines at `k1 f1 + k2 f2`; where labels meet on one frequency (tones of a
//! small common ratio) what that can add is added whatever the phases are.

use super::ceiling::Loop;
use super::drift::Drift;
pub(super) use super::waves::Label;
use super::waves::{Table, Torus, Wave, cosine, inverse_above, product};
use num_complex::Complex64;
use std::collections::BTreeMap;
use std::f64::consts::{PI, SQRT_2, TAU};

/// Arcs of a circle of phases.
const ARCS: usize = 16;

/// Corners around an arc: its two ends and the tips of this many tangents' polygon.
const TIPS: usize = 3;
const CORNERS: usize = TIPS + 2;

/// Labels that may meet: beyond, two waves and an inverse have no lines.
const MEETING: Label = (44, 24);

/// Frequencies nearer than this share of the upper tone are taken to meet.
const MEET: f64 = 1e-9;

/// Times that the bound is fed back into its own reference.
const ROUNDS: usize = 3;

/// Rounding of the finite sums, relative \[assumption: some thousand terms of double precision\].
const ROUNDING: f64 = 1e-10;

/// What one weight proves on one pair of arcs, for every pair of corners: `sqrt(p (r + m r1 + m^2 r2)) + x + m x1`.
struct Certificate {
    p: f64,
    r: Vec<f64>,
    r1: Vec<f64>,
    r2: f64,
    x: Vec<f64>,
    x1: f64,
    /// what meeting labels add to the mean of squares, without the tone, once and twice with it; and to `x`, `x1`
    meet: [f64; 5],
}

impl Certificate {
    fn at(&self, m: f64) -> f64 {
        let [a, b, c, x, x1] = self.meet;
        let one = |k: usize| {
            let r = self.r[k] + a + m * (self.r1[k] + b) + m * m * (self.r2 + c);
            (self.p * r.max(0.0)).sqrt() + self.x[k] + x + m * (self.x1 + x1)
        };
        (0..self.r.len()).map(one).fold(f64::NEG_INFINITY, f64::max)
    }
}

/// A pair of products as one figure of distortion: the sum of the levels of its lines over the upper tone.
pub(super) struct Pair<'a> {
    /// labels with the factor of their level; zero for a line that does not count
    pub lines: &'a [(Label, f64)],
    /// the weights that are tried; every arc takes the one that proves least
    pub weights: &'a [Weight],
}

/// How a weight in time is made.
pub(super) struct Weight {
    /// labels of its lines, half of them
    pub labels: &'static [Label],
    /// how far the weight's shape is kept from its poles and zeros
    pub blunt: f64,
    /// least value of the weight less the loop's change, on the samples
    pub least: f64,
}

/// Two tones in a loop, ready for any pair of products.
pub(super) struct WeightedInTime<'a> {
    ready: &'a Loop<'a>,
    hz: (f64, f64),
    emf: [f64; 2],
    range: (f64, f64),
    drift: Drift,
    torus: Torus,
    meet: Vec<Label>,
}

impl<'a> WeightedInTime<'a> {
    /// `emf`: V in the loop; `range` in siemens across the signal. Nothing where the loop's change has no bound.
    pub(super) fn new(ready: &'a Loop<'a>, hz: (f64, f64), emf: [f64; 2], range: (f64, f64)) -> Option<Self> {
        let drift = Drift::new(ready, range, TAU * 4.0 * hz.1)?;
        let mut meet = Vec::new();
        for k1 in -MEETING.0..=MEETING.0 {
            for k2 in -MEETING.1..=MEETING.1 {
                let apart = f64::from(k1) * hz.0 + f64::from(k2) * hz.1;
                if (k1, k2) != (0, 0) && apart.abs() <= MEET * hz.1 {
                    meet.push((k1, k2));
                }
            }
        }
        Some(Self { ready, hz, emf, range, drift, torus: Torus::new(), meet })
    }

    fn frequency(&self, label: Label) -> f64 {
        f64::from(label.0) * self.hz.0 + f64::from(label.1) * self.hz.1
    }

    /// `Z = M + Rmid` and `D` at a label.
    fn seen(&self, label: Label) -> (Complex64, f64) {
        let hz = self.frequency(label);
        let m = self.ready.drive(hz.abs()).0;
        let (low, high) = self.range;
        let z = m + 0.5 * (low + high);
        (if hz < 0.0 { z.conj() } else { z }, m.norm_sqr() + (low + high) * m.re + low * high)
    }

    /// Least proved bound of a pair, never above `most`, which has to be one already.
    pub(super) fn bound(&self, pair: &Pair, most: f64) -> f64 {
        self.tightened(pair, most, true).unwrap_or(most)
    }

    fn tightened(&self, pair: &Pair, most: f64, with_drift: bool) -> Option<f64> {
        let lines: Vec<(Label, f64)> = pair.lines.iter().copied().filter(|line| line.1 > 0.0).collect();
        if lines.is_empty() || !most.is_finite() {
            return None;
        }
        let delta = 0.5 * (self.range.1 - self.range.0);
        let tones = [(1, 0), (0, 1)].map(|label| (label, self.seen(label)));
        let (mut current, mut drop) = (Wave::new(), Wave::new());
        for ((label, (z, d)), emf) in tones.iter().zip(self.emf) {
            // time begins where the current has its crest: the EMF is turned by the phase of Z
            current.extend(cosine(*label, Complex64::from(z.norm() * emf / d)));
            drop.extend(cosine(*label, z / z.norm() * (-delta * delta * emf / d)));
        }
        let per_current =
            |label: Label| self.ready.output_per_current(self.frequency(label).abs()) / self.seen(label).0.norm();
        // the wave of a product's or of the tone's unit, on its way to the output and then against the rest of the current
        let upper = per_current((0, 1));
        let reference = upper * self.emf[1];
        let sizes: Vec<(Label, f64)> = lines
            .iter()
            .map(|&(label, factor)| (label, factor * per_current(label)))
            .chain([((0, 1), upper)])
            .collect();
        let against: Vec<f64> = sizes
            .iter()
            .map(|&(label, _)| {
                let (z, d) = self.seen(label);
                -z.norm() / d.sqrt() / SQRT_2
            })
            .collect();
        let drop_of_upper = -delta * delta * self.emf[1] / tones[1].1.1 * upper;
        let mut seen: Vec<(Label, (Complex64, f64))> = current.iter().map(|(k, _)| (*k, self.seen(*k))).collect();
        for weight in pair.weights.iter().flat_map(|w| w.labels) {
            for (k, _) in &current {
                for label in [(k.0 + weight.0, k.1 + weight.1), (k.0 - weight.0, k.1 - weight.1)] {
                    seen.push((label, self.seen(label)));
                }
            }
        }
        seen.sort_by_key(|one| one.0);
        seen.dedup_by_key(|one| one.0);
        let sampled = self.torus.sampled(&current);
        let apart = |label: &Label| self.drift.between(TAU * self.frequency(*label).abs());
        let changes = |w: &Weight| w.labels.iter().map(|label| if with_drift { apart(label) } else { 0.0 }).collect();
        let drift = pair.weights.iter().map(changes).collect();
        let one = Table::one();
        let turned = tones[1].1.0 / tones[1].1.0.norm();
        let known = Known { delta, current, sampled, drop, sizes, against, drop_of_upper, turned, seen, drift, one };
        let second = if lines.len() == 2 { ARCS } else { 1 };
        let mut arcs = Vec::with_capacity(ARCS * second);
        let mut weights: BTreeMap<(usize, usize), Vec<(Wave, Table)>> = BTreeMap::new();
        for one in 0..ARCS {
            for two in 0..second {
                // the weight of a wave is that of the same wave upside down, and backwards in time that of the mirror image
                let turned = |k: usize| (k + ARCS / 2) % ARCS;
                let back = |k: usize| (ARCS - k) % ARCS;
                let forwards = [(one, two), (turned(one), turned(two))];
                let mirrored = forwards.map(|(a, b)| (back(a), back(b)));
                let least = |both: [(usize, usize); 2]| {
                    let [a, b] = both.map(|(a, b)| (a, if second == 1 { 0 } else { b }));
                    a.min(b)
                };
                let (forwards, mirrored) = (least(forwards), least(mirrored));
                let first = forwards.min(mirrored);
                let tried = weights.entry(first).or_insert_with(|| self.weights(pair, &known, first));
                let found = if first == forwards {
                    self.certificates(&known, tried, (one, two))
                } else {
                    let mirror = |(wave, table): &(Wave, Table)| {
                        let wave = wave.iter().map(|(label, c)| (*label, c.conj())).collect();
                        (wave, table.mirrored())
                    };
                    self.certificates(&known, &tried.iter().map(mirror).collect::<Vec<_>>(), (one, two))
                };
                arcs.push(found?);
            }
        }
        let largest = |m: f64| -> f64 {
            let arc = |found: &Vec<Certificate>| found.iter().map(|c| c.at(m)).fold(f64::INFINITY, f64::min);
            arcs.iter().map(arc).fold(f64::NEG_INFINITY, f64::max)
        };
        let (mut m, mut value) = (most, largest(most));
        for _ in 0..ROUNDS {
            let next = value / reference * (1.0 + ROUNDING);
            let there = largest(next);
            // proved for `next` itself
            if !(next < m && there <= next * reference) {
                break;
            }
            (m, value) = (next, there);
        }
        Some((m * (1.0 + ROUNDING)).min(most))
    }

    /// The weights for a pair of arcs, each with the inverse of what is left of it: the shape `|w|/|i|`, blunted, from a few lines.
    fn weights(&self, pair: &Pair, known: &Known, arcs: (usize, usize)) -> Vec<(Wave, Table)> {
        let rms = |wave: &[f64]| (wave.iter().map(|v| v * v).sum::<f64>() / wave.len() as f64).sqrt();
        let mut wave = Wave::new();
        for (k, (label, size)) in known.sizes[..known.sizes.len() - 1].iter().enumerate() {
            let turned = Complex64::from_polar(*size, middle([arcs.0, arcs.1][k]));
            wave.extend(cosine(*label, turned * known.against[k]));
        }
        let wanted = self.torus.sampled(&wave);
        let sizes = (rms(&wanted), rms(&known.sampled));
        let one = |(weight, drift): (&Weight, &Vec<f64>)| self.weight((&wanted, &known.sampled), sizes, weight, drift);
        pair.weights.iter().zip(&known.drift).filter_map(one).collect()
    }

    fn weight(
        &self,
        (wanted, current): (&[f64], &[f64]),
        (a, b): (f64, f64),
        weight: &Weight,
        drift: &[f64],
    ) -> Option<(Wave, Table)> {
        let blunt = weight.blunt * weight.blunt;
        let shape = |(w, i): (&f64, &f64)| ((w * w / (a * a) + blunt) / (i * i / (b * b) + blunt)).sqrt();
        let shape: Vec<f64> = wanted.iter().zip(current).map(shape).collect();
        let mean = self.torus.line(&shape, (0, 0)).re;
        let lines: Vec<Complex64> = weight.labels.iter().map(|&label| self.torus.line(&shape, label) / mean).collect();
        let epsilon: f64 = lines.iter().zip(drift).map(|(c, drift)| 2.0 * c.norm() * drift).sum();
        let mut cosines = Wave::new();
        for (&label, c) in weight.labels.iter().zip(&lines) {
            cosines.extend([(label, *c), ((-label.0, -label.1), c.conj())]);
        }
        let lowest = self.torus.sampled(&cosines).into_iter().fold(0.0, f64::min);
        // one less this, times the strength, is the least value on the samples
        let strength = ((1.0 - weight.least) / (epsilon - lowest)).min(1.0);
        let epsilon = epsilon * strength;
        let mut lambda = vec![((0, 0), Complex64::ONE)];
        lambda.extend(cosines.iter().map(|(label, c)| (*label, c * strength)));
        let mut left = lambda.clone();
        left[0].1 -= epsilon;
        if left[0].1.re.is_nan() || left[0].1.re <= 0.0 {
            return None;
        }
        let inverse = inverse_above(&self.torus, &left)?;
        Some((lambda, inverse))
    }

    /// What no weight and what each weight proves on a pair of arcs.
    fn certificates(&self, known: &Known, weights: &[(Wave, Table)], arcs: (usize, usize)) -> Option<Vec<Certificate>> {
        let mut corners = Vec::with_capacity(CORNERS * CORNERS);
        for one in 0..CORNERS {
            for two in 0..if known.sizes.len() == 3 { CORNERS } else { 1 } {
                corners.push([corner(arcs.0, one), corner(arcs.1, two)]);
            }
        }
        let mut found = vec![self.certificate(known, &vec![((0, 0), Complex64::ONE)], &known.one, &corners)?];
        found.extend(weights.iter().filter_map(|(lambda, inverse)| self.certificate(known, lambda, inverse, &corners)));
        Some(found)
    }

    fn certificate(
        &self,
        known: &Known,
        lambda: &Wave,
        inverse: &Table,
        corners: &[[Complex64; 2]],
    ) -> Option<Certificate> {
        let (currents, drops) = (product(lambda, &known.current), product(lambda, &known.drop));
        let square = known.delta * known.delta;
        let mut linear = Wave::with_capacity(currents.len());
        for ((label, i), (_, e)) in currents.iter().zip(&drops) {
            let place = known.seen.binary_search_by_key(label, |one| one.0).ok()?;
            let (z, d) = known.seen[place].1;
            let size = z.norm();
            linear.push((*label, (z / size * (i * square) + e * size) / d.sqrt()));
        }
        let one = &known.one;
        let mut p = square * one.mean(&currents, &known.current) - one.mean(&drops, &known.drop)
            + inverse.mean(&linear, &linear);
        p += square * one.meeting(&currents, &known.current, &self.meet)
            + one.meeting(&drops, &known.drop, &self.meet)
            + inverse.meeting(&linear, &linear, &self.meet);
        if !p.is_finite() || p < 0.0 {
            return None;
        }
        let count = known.sizes.len();
        let unit = |k: usize| known.sizes[k].1 * known.against[k];
        let add = |a: Label, b: Label| (a.0 + b.0, a.1 + b.1);
        let negative = |a: Label| (-a.0, -a.1);
        // mean of the product of two lines, and of a line with what is linear in the rest
        let pairs = |a: usize, b: usize, x: Complex64, y: Complex64| {
            let (k, l) = (known.sizes[a].0, known.sizes[b].0);
            let both = x * y * inverse.at(negative(add(k, l))) + x * y.conj() * inverse.at(add(l, negative(k)));
            2.0 * unit(a) * unit(b) * both.re
        };
        let beside: Vec<Complex64> = (0..count)
            .map(|a| {
                let k = known.sizes[a].0;
                linear.iter().map(|(l, c)| c * inverse.at(negative(add(k, *l)))).sum::<Complex64>() * (2.0 * unit(a))
            })
            .collect();
        let (tone, all) = (count - 1, known.turned);
        let (mut r, mut r1, mut x) = (Vec::new(), Vec::new(), Vec::new());
        for corner in corners {
            let (mut square, mut cross, mut with) = (0.0, 0.0, 0.0);
            for a in 0..tone {
                for b in 0..tone {
                    square += pairs(a, b, corner[a], corner[b]);
                }
                cross += 2.0 * pairs(a, tone, corner[a], all);
                with += (corner[a] * beside[a]).re;
            }
            r.push(square);
            r1.push(cross);
            x.push(with);
        }
        let wave = |from: usize, to: usize| -> Wave {
            (from..to).flat_map(|k| cosine(known.sizes[k].0, Complex64::from(SQRT_2 * unit(k)))).collect()
        };
        let (products, upper) = (wave(0, tone), wave(tone, count));
        let meeting = |a: &Wave, b: &Wave| inverse.meeting(a, b, &self.meet);
        let meet = [
            meeting(&products, &products),
            2.0 * meeting(&products, &upper),
            meeting(&upper, &upper),
            meeting(&products, &linear),
            meeting(&upper, &linear),
        ];
        let x1 = (all * beside[tone]).re + known.drop_of_upper;
        Some(Certificate { p, r, r1, r2: pairs(tone, tone, all, all), x, x1, meet })
    }
}

/// What all arcs share.
struct Known {
    delta: f64,
    current: Wave,
    sampled: Vec<f64>,
    drop: Wave,
    /// what a label sees of the loop, in the order of the labels
    seen: Vec<(Label, (Complex64, f64))>,
    /// products and the upper tone last: labels, and level at the output per volt of the contact
    sizes: Vec<(Label, f64)>,
    /// their factors against the rest of the current, over a root of two
    against: Vec<f64>,
    /// what the middle of the contact's voltage gives the upper tone
    drop_of_upper: f64,
    /// phase of the upper tone's EMF
    turned: Complex64,
    /// change of the loop between the lines that each weight couples
    drift: Vec<Vec<f64>>,
    one: Table,
}

/// Middle of an arc.
fn middle(arc: usize) -> f64 {
    TAU * arc as f64 / ARCS as f64
}

/// Corners of a polygon around an arc: its ends, and where tangents between them meet.
fn corner(arc: usize, k: usize) -> Complex64 {
    let half = PI / ARCS as f64;
    let tip = half / TIPS as f64;
    match k {
        0 => Complex64::from_polar(1.0, middle(arc) - half),
        _ if k == CORNERS - 1 => Complex64::from_polar(1.0, middle(arc) + half),
        _ => Complex64::from_polar(tip.cos().recip(), middle(arc) - half + (2 * k - 1) as f64 * tip),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::chain::Network;
    use crate::circuit::{Contact, Load, PathItem, Section, Source};
    use crate::response::linear::AUDIBLE_BAND_HZ;

    fn network(farad: f64) -> Network {
        Network::from_section(&Section {
            name: "s".into(),
            source: Some(Source { emf_v: 1.0, resistance_ohm: 300.0, inductance_h: 0.0 }),
            path: vec![PathItem::Contact(Contact::ohmic("c", 0.0))],
            load: Load { capacitance_f: farad, ..Load::resistance(700.0) },
        })
        .unwrap()
    }

    /// `d2` of equal tones: weighed, weighed without the loop's change, and by energies.
    fn three(farad: f64, hz: (f64, f64), swing: f64) -> [f64; 3] {
        let network = network(farad);
        let ready = Loop::new(&network, &[0], &[0.0], hz.0, AUDIBLE_BAND_HZ).unwrap();
        let emf = [hz.0, hz.1].map(|f| {
            let (m, drive) = ready.drive(f);
            0.5 * drive * m.norm()
        });
        let weighted = WeightedInTime::new(&ready, hz, emf, (0.0, swing)).unwrap();
        let weights = [Weight { labels: &[(1, 1), (-1, 1), (-2, 2)], blunt: 0.3, least: 0.25 }];
        let pair = Pair { lines: &[((-1, 1), 0.5)], weights: &weights };
        // by energies: no weight but one, from far above
        let flat = Pair { weights: &[], ..pair };
        let mut energies = 10.0;
        for _ in 0..20 {
            energies = weighted.bound(&flat, energies);
        }
        let without = weighted.tightened(&pair, energies, false).unwrap();
        [weighted.bound(&pair, energies), without, energies]
    }

    #[test]
    fn every_phase_of_an_arc_lies_within_its_corners() {
        for arc in 0..ARCS {
            let corners: Vec<Complex64> = (0..CORNERS).map(|k| corner(arc, k)).collect();
            for step in -1000..=1000 {
                let phase = Complex64::from_polar(1.0, middle(arc) + PI / ARCS as f64 * f64::from(step) * 1e-3);
                // to the left of every side, counterclockwise
                for (k, from) in corners.iter().enumerate() {
                    let side = corners[(k + 1) % CORNERS] - from;
                    assert!((side.conj() * (phase - from)).im > -1e-15, "{arc} {k} {step}");
                }
            }
            // and not far within
            assert!(corners.iter().all(|corner| corner.norm() < 1.003));
        }
    }

    #[test]
    fn what_a_reactive_loop_changes_costs_and_never_more_than_the_gain() {
        let [weighed, without, energies] = three(0.0, (3e3, 3.5e3), 100.0);
        assert!(weighed == without && weighed < 0.9 * energies, "{weighed} {without} {energies}");
        let mut before = 0.0;
        for farad in [1e-9, 1e-8, 1e-7] {
            let [weighed, without, energies] = three(farad, (3e3, 3.5e3), 100.0);
            assert!(without < weighed && weighed <= energies, "{farad} {weighed} {without} {energies}");
            assert!(weighed / energies > before);
            before = weighed / energies;
        }
    }

    #[test]
    fn tones_that_meet_cost_what_they_can_add() {
        // 2:3 has products of low order on one line, the same tones a little apart have none
        let [met, _, energies] = three(0.0, (2e3, 3e3), 100.0);
        let [apart, ..] = three(0.0, (2e3, 3.0123e3), 100.0);
        assert!(apart < 0.97 * met && met <= energies, "{apart} {met} {energies}");
    }
}
