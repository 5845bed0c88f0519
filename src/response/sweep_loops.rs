//! Loss of sections whose contacts stand in one loop each, over a grid of frequencies that comes again and again: the loop's
//! impedance M is computed once for each frequency, and each point is `|1 + R/M|^2 = 1 + R (2 Re(1/M) + |1/M|^2 R)`, R the sum of the
//! contacts of the loop. No term is negative in a passive network, so nothing is lost.

use super::sweep::{Kernel, LANES, Values, store_db};
use crate::circuit::chain::Network;
use crate::circuit::twoport::{Ladder, Step};
use crate::physics::lanes::Lanes;
use num_complex::Complex64;
use pulp::Simd;
use std::f64::consts::TAU;

/// Points for each frequency from which on this is worth while.
const ENOUGH: usize = 4;

/// One loop.
struct Loop<'a> {
    /// `2 Re(1/M)` and `|1/M|^2` of each frequency
    twice_real: Vec<f64>,
    square: Vec<f64>,
    contacts: Vec<Values<'a>>,
}

/// Loops of all sections with contacts.
pub(super) struct LossOfLoops<'a> {
    loops: Vec<Loop<'a>>,
    /// for how many points one after another a frequency holds
    each: usize,
}

/// `1/M` of the only loop with contacts at a frequency: what a walk's EMF grows by, per ohm there, over what it is without.
fn inverse_of_loop(ladder: &Ladder, frequency_hz: f64) -> Complex64 {
    let omega = TAU * frequency_hz;
    let zero = Complex64::default();
    let (mut voltage, mut current) = (Complex64::new(1.0, 0.0), ladder.load.admittance(frequency_hz));
    // the same walk for one ohm more in the loop
    let (mut more_voltage, mut more_current) = (zero, zero);
    let mut met = false;
    for step in ladder.steps.iter().rev() {
        match *step {
            Step::Series(ohm, henry) => {
                let z = Complex64::new(ohm, omega * henry);
                voltage += z * current;
                more_voltage += z * more_current;
            }
            Step::Shunt(siemens, farad) => {
                let y = Complex64::new(siemens, omega * farad);
                current += y * voltage;
                more_current += y * more_voltage;
            }
            Step::Contact(_) if !met => {
                more_voltage = current;
                met = true;
            }
            Step::Contact(_) | Step::Shared(_) | Step::Across(_) => {}
        }
    }
    let source = ladder.source_impedance(frequency_hz);
    (more_voltage + source * more_current) / (voltage + source * current)
}

impl<'a> LossOfLoops<'a> {
    /// Where each section has contacts in one loop at most, all in series, and frequencies come again.
    pub(super) fn of(
        network: &Network,
        frequency_hz: Values<'_>,
        contacts: &[Values<'a>],
        points: usize,
    ) -> Option<Self> {
        let one;
        let (frequencies, each) = match frequency_hz {
            Values::One(hz) => {
                one = [hz];
                (&one[..], 1)
            }
            Values::Spread(values, each) => (values, each),
            Values::Many(_) => return None,
        };
        if points < ENOUGH * frequencies.len() {
            return None;
        }
        let mut loops = Vec::new();
        for link in &network.links {
            let in_series = |step: &Step| !matches!(step, Step::Shared(_) | Step::Across(_));
            if !link.ladder.steps.iter().all(in_series) || link.ladder.loops().len() > 1 {
                return None;
            }
            let own = link.ladder.contacts();
            if own.is_empty() {
                continue;
            }
            let inverse: Vec<_> = frequencies.iter().map(|&hz| inverse_of_loop(&link.ladder, hz)).collect();
            loops.push(Loop {
                twice_real: inverse.iter().map(|k| 2.0 * k.re).collect(),
                square: inverse.iter().map(Complex64::norm_sqr).collect(),
                contacts: own.map(|k| contacts[k]).collect(),
            });
        }
        Some(Self { loops, each })
    }
}

impl Kernel<f64> for LossOfLoops<'_> {
    #[inline(always)]
    fn chunk<S: Simd>(&self, simd: S, start: usize, out: &mut [f64]) {
        let mut own = [0.0; LANES];
        let [mut twice_real, mut square, mut sum, mut ratio] = [[0.0; LANES]; 4];
        for (number, lanes) in out.chunks_mut(LANES).enumerate() {
            let (at, count) = (start + number * LANES, lanes.len());
            ratio.fill(1.0);
            for one in &self.loops {
                Values::Spread(&one.twice_real, self.each).load(at, count, &mut twice_real);
                Values::Spread(&one.square, self.each).load(at, count, &mut square);
                sum.fill(0.0);
                for values in &one.contacts {
                    values.load(at, count, &mut own);
                    for from in (0..LANES).step_by(Lanes::<S>::COUNT) {
                        (Lanes::load(simd, &sum[from..]) + Lanes::load(simd, &own[from..])).store(&mut sum[from..]);
                    }
                }
                for from in (0..LANES).step_by(Lanes::<S>::COUNT) {
                    let ohm = Lanes::load(simd, &sum[from..]);
                    let slope =
                        ohm.times_plus(Lanes::load(simd, &square[from..]), Lanes::load(simd, &twice_real[from..]));
                    let so_far = Lanes::load(simd, &ratio[from..]);
                    (so_far * ohm.times_plus(slope, Lanes::splat(simd, 1.0))).store(&mut ratio[from..]);
                }
            }
            for from in (0..count).step_by(Lanes::<S>::COUNT) {
                store_db(Lanes::load(simd, &ratio[from..]), &mut own[from..]);
            }
            lanes.copy_from_slice(&own[..count]);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Chain, ChainItem, Contact, Equalisation, Lead, Load, PathItem, Section, Source, Stage};
    use crate::response::{linear, sweep};
    use crate::watch::Unwatched;

    /// rounding of a few dozen operations on numbers of size one
    const ROUNDING: f64 = 1e-12;

    fn network(lead_between: bool) -> Network {
        let contact = |name: &str| PathItem::Contact(Contact::ohmic(name, 0.0));
        let lead = PathItem::Lead(Lead { capacitance_f: 150e-12, resistance_ohm: 30.0, inductance_h: 1e-3 });
        let mut path = vec![
            lead.clone(),
            contact("a"),
            PathItem::Lead(Lead { resistance_ohm: 5.0, ..Lead::default() }),
            contact("b"),
        ];
        if lead_between {
            path.extend([lead.clone(), contact("c")]);
        }
        path.push(lead);
        let first = Section {
            name: "first".into(),
            source: Some(Source { emf_v: 5e-3, resistance_ohm: 1000.0, inductance_h: 0.5 }),
            path,
            load: Load { capacitance_f: 100e-12, ..Load::resistance(47e3) },
        };
        let stage = Stage {
            name: "stage".into(),
            gain_db: 3.0,
            equalisation: Equalisation::Flat,
            output_resistance_ohm: 600.0,
        };
        let second =
            Section { name: "second".into(), source: None, path: vec![contact("d")], load: Load::resistance(10e3) };
        let items = vec![ChainItem::Section(first), ChainItem::Stage(stage), ChainItem::Section(second)];
        Network::from_chain(&Chain { items }).unwrap()
    }

    #[test]
    fn one_loop_each_is_the_plain_walk() {
        let network = network(false);
        let hz: Vec<f64> = (0..37).map(|k| 10.0 * 1.25f64.powi(k)).collect();
        let sets = 45;
        let a: Vec<f64> = (0..sets).map(|k| 1.7f64.powi(k) * 1e-3).collect();
        let d: Vec<f64> = (0..sets).map(|k| f64::from(k) * 100.0).collect();
        let points = 37 * 45;
        for inner_hz in [true, false] {
            let (f_each, set_each) = if inner_hz { (1, 37) } else { (45, 1) };
            let frequency = Values::Spread(&hz, f_each);
            let contacts = [Values::Spread(&a, set_each), Values::One(12.5), Values::Spread(&d, set_each)];
            assert!(LossOfLoops::of(&network, frequency, &contacts, points).is_some());
            let mut loss = vec![0.0; points];
            sweep::loss_db(&network, frequency, &contacts, &mut loss, &Unwatched).unwrap();
            for k in 0..points {
                let plain = linear::loss_db(&network, frequency.at(k), &[contacts[0].at(k), 12.5, contacts[2].at(k)]);
                assert!((plain - loss[k]).abs() < ROUNDING * (1.0 + plain.abs()), "{k}: {plain} {}", loss[k]);
            }
        }
    }

    #[test]
    fn contacts_in_two_loops_are_walked() {
        let network = network(true);
        let contacts = [Values::One(1.0); 4];
        assert!(LossOfLoops::of(&network, Values::One(1e3), &contacts, 100).is_none());
    }

    #[test]
    fn what_no_logarithm_of_lanes_knows_is_still_right() {
        let network = network(false);
        let ohm = [0.0, 1e160, 1e-320, 3e3];
        let mut loss = [0.0; 4];
        let contacts = [Values::Many(&ohm), Values::One(0.0), Values::One(0.0)];
        sweep::loss_db(&network, Values::One(1e3), &contacts, &mut loss, &Unwatched).unwrap();
        assert_eq!((loss[0], loss[1], loss[2]), (0.0, f64::INFINITY, 0.0));
        assert!((loss[3] - linear::loss_db(&network, 1e3, &[3e3, 0.0, 0.0])).abs() < ROUNDING);
    }
}
