//! **T4, T5**: chains without reactances: whatever the signal, every instant is one gain.
//!
//! Where nothing depends on frequency the output is `y = g(t) x` with a gain that lies between `gmin`, every contact at its
//! worst, and `gmax`, every contact at its best: it falls with every resistance in series and rises with every one across the
//! signal. Let `rho = ln(gmax/gmin)`, for one loop a section `sum ln((Z + Rmax)/(Z + Rmin))`. After the best single gain
//!
//! `residue / fitted copy <= sinh(rho/2)`, `residue / whole output <= tanh(rho/2)`
//!
//! for any signal (**T5**, music): with the weights `x^2` it is Kantorovich's inequality `mean(g^2) / mean(g)^2 <= (gmin +
//! gmax)^2 / (4 gmin gmax)` (Kantorovich 1948 \[memory\]). A contact that jumps between its ends reaches it, for the share
//! `gmin/(gmin + gmax)` of the energy at its best. For a tone the fundamental is at least the fitted copy, so `residue /
//! fundamental <= sinh(rho/2)` (**T4**), reached as well. Adding the ceilings of the sections is too small: `sinh` of a sum is
//! more than the sum of `sinh`.

use super::ceiling_many::Moving;
use super::status::Status;
use crate::circuit::chain::Network;
use crate::circuit::ports::Ports;
use crate::circuit::{Equalisation, Role};

/// `rho = ln(gmax/gmin)` of what follows from the first moving contact's section on; nothing where that depends on frequency or two channels share a resistance. The others keep `fixed_ohm`.
///
/// Contact by contact from its best to its worst, `ln(1 + (Rmax - Rmin)/(Z + Rmin))` with the others as they are by then: no range
/// is so small that it is lost beside the gain itself.
pub(crate) fn log_gain_range(network: &Network, moving: &[Moving], fixed_ohm: &[f64]) -> Option<f64> {
    let first = moving.iter().map(|m| network.section_of(m.0)).min()?;
    let role = |k: usize| network.contacts[k].role;
    let flat = |link: &crate::circuit::chain::Link| {
        link.ladder.is_resistive() && link.stages.iter().all(|stage| stage.equalisation == Equalisation::Flat)
    };
    if !network.links[first..].iter().all(flat) {
        return None;
    }
    let mut ohm = fixed_ohm.to_vec();
    for &(k, (low, high)) in moving {
        if role(k) == Role::SharedReturn && high > 0.0 {
            return None;
        }
        ohm[k] = if role(k) == Role::Shunt { high } else { low };
    }
    if (0..ohm.len()).any(|k| role(k) == Role::SharedReturn && ohm[k] > 0.0) {
        return None;
    }
    const ANY_HZ: f64 = 1000.0;
    let mut rho = 0.0;
    for &(k, (low, high)) in moving {
        let ladder = &network.links[network.section_of(k)].ladder;
        ohm[k] = role(k).perfect_ohm();
        // siemens across the signal
        let beside = Ports::new(ladder, &[ANY_HZ], &ohm).loop_impedance[k - ladder.contacts().start].re;
        let (from, to) = if role(k) == Role::Shunt { (high.recip(), low.recip()) } else { (low, high) };
        rho += ((to - from) / (beside + from)).ln_1p();
        ohm[k] = if role(k) == Role::Shunt { low } else { high };
    }
    Some(rho)
}

/// Most that is left of any signal after the best single gain, as `(over the fitted copy, over the whole output)`.
///
/// # Errors
/// The status that says why there is no such bound: a reactance or an equaliser, a contact that can open or short, a shared
/// return, a direct current.
pub fn ceiling_music(network: &Network, moving: &[Moving], fixed_ohm: &[f64]) -> Result<(f64, f64), Status> {
    let moving: Vec<Moving> = moving.iter().copied().filter(|&(_, (low, high))| high > low).collect();
    if moving.is_empty() {
        return Ok((0.0, 0.0));
    }
    let role = |k: usize| network.contacts[k].role;
    for &(k, (low, high)) in &moving {
        match role(k) {
            Role::Shunt if low <= 0.0 => return Err(Status::CanShort),
            Role::SharedReturn => return Err(Status::SharedReturn),
            Role::Shunt => {}
            _ if high.is_infinite() => return Err(Status::CanOpen),
            _ => {}
        }
        if network.contacts[k].direct_current_a != 0.0 {
            return Err(Status::DirectCurrent);
        }
    }
    if (0..fixed_ohm.len()).any(|k| role(k) == Role::SharedReturn && fixed_ohm[k] > 0.0) {
        return Err(Status::SharedReturn);
    }
    let half = 0.5 * log_gain_range(network, &moving, fixed_ohm).ok_or(Status::NotResistive)?;
    if !half.is_finite() {
        return Err(Status::NoFundamental);
    }
    Ok((half.sinh(), half.tanh()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Chain, ChainItem, Contact, Load, PathItem, Section, Source, Stage};
    use crate::response::ceiling::ceiling;
    use crate::response::ceiling_many::ceiling_many;
    use crate::response::linear::AUDIBLE_BAND_HZ;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    fn chain() -> Network {
        let section = |name: &str, source| {
            let mute = Contact::perfect(format!("{name} mute"), Role::Shunt);
            let path = vec![PathItem::Contact(Contact::ohmic(name, 0.0)), PathItem::Contact(mute)];
            let load = Load::resistance(700.0);
            ChainItem::Section(Section { name: name.into(), source, path, load })
        };
        let source = Some(Source { emf_v: 1.0, resistance_ohm: 300.0, inductance_h: 0.0 });
        let equalisation = Equalisation::Flat;
        let stage = Stage { name: "s".into(), gain_db: 20.0, equalisation, output_resistance_ohm: 300.0 };
        Network::from_chain(&Chain { items: vec![section("a", source), ChainItem::Stage(stage), section("b", None)] })
            .unwrap()
    }

    const OPEN: [f64; 4] = [0.0, f64::INFINITY, 0.0, f64::INFINITY];

    #[test]
    fn several_loops_together_are_more_than_their_sum() {
        // sum of section ceilings: a false version of the theorem
        let network = chain();
        let moving = [(0, (0.0, 3e3)), (2, (50.0, 9e3))];
        let both = ceiling_many(&network, 1e3, &moving, &OPEN, AUDIBLE_BAND_HZ).chatter;
        // gain between two values for a share d of the time each way, d = gl/(gh + gl)
        let gain = |a: f64, b: f64| 700.0 / (1000.0 + a) * 700.0 / (1000.0 + b);
        let (high, low) = (gain(0.0, 50.0), gain(3e3, 9e3));
        let d = low / (high + low);
        let reached = (d * (1.0 - d)).sqrt() * (high - low) / (d * high + (1.0 - d) * low);
        assert_relative_eq!(both, reached, max_relative = 1e-12);
        let alone = |m: Moving| ceiling(&network, 1e3, &[m], &OPEN, AUDIBLE_BAND_HZ).chatter;
        // each section's own ceiling, the other's contact at the best of its range
        let sum = alone(moving[0]) + alone(moving[1]);
        assert!(sum < 0.75 * reached, "{sum} {reached}");
    }

    proptest! {
        #[test]
        fn no_signal_and_no_switching_passes_it(
            seed in prop::collection::vec((-1.0f64..1.0, prop::collection::vec(0.0f64..1.0, 4)), 2..40), swing in 1.0f64..1e5
        ) {
            let network = chain();
            let ranges = [(0.0, swing), (900.0, 900.0 + swing), (10.0, 10.0 + swing), (2e3, f64::INFINITY)];
            let moving: Vec<Moving> = ranges.into_iter().enumerate().collect();
            let (to_copy, to_total) = ceiling_music(&network, &moving, &OPEN).unwrap();
            let output = |shares: &[f64]| -> f64 {
                let ohm: Vec<f64> = ranges.iter().zip(shares).map(|((low, high), share)| {
                    let (a, b) = (low + 1e-9, if high.is_finite() { *high } else { 1e12 });
                    // ends now and then
                    if *share < 0.3 { *low } else if *share > 0.7 { *high } else { a * (b / a).powf((share - 0.3) / 0.4) }
                }).collect();
                network.links.iter().map(|link| link.ladder.transfer(1e3, &ohm).re).product()
            };
            let pairs: Vec<(f64, f64)> = seed.iter().map(|(x, shares)| (*x, output(shares) * x)).collect();
            let (xx, xy, yy) = pairs.iter().fold((0.0, 0.0, 0.0), |s, (x, y)| (s.0 + x * x, s.1 + x * y, s.2 + y * y));
            let left = (yy - xy * xy / xx).max(0.0).sqrt();
            prop_assert!(left <= to_copy * (xy / xx.sqrt()) * (1.0 + 1e-9) && left <= to_total * yy.sqrt() * (1.0 + 1e-9));
        }
    }

    #[test]
    fn a_jump_for_the_right_share_of_the_energy_reaches_it() {
        let network = chain();
        let moving = [(0, (0.0, 300.0)), (1, (100.0, f64::INFINITY))];
        let (to_copy, to_total) = ceiling_music(&network, &moving, &OPEN).unwrap();
        // from the gains themselves: both sections between their best and their worst
        let gain = |ohm: &[f64]| network.links.iter().map(|link| link.ladder.transfer(1e3, ohm).re).product::<f64>();
        let (low, high) = (gain(&[300.0, 100.0, 0.0, f64::INFINITY]), gain(&OPEN));
        // two samples of a signal, their energies as gh to gl
        let (x1, x2) = (low.sqrt(), high.sqrt());
        let (y1, y2) = (high * x1, low * x2);
        let copy = (x1 * y1 + x2 * y2) / (x1 * x1 + x2 * x2).sqrt();
        let total = y1.hypot(y2);
        let left = (total * total - copy * copy).sqrt();
        assert_relative_eq!(left / copy, to_copy, max_relative = 1e-12);
        assert_relative_eq!(left / total, to_total, max_relative = 1e-12);
    }

    #[test]
    fn a_range_that_rounds_to_nothing_beside_the_gain_still_counts() {
        // 1e-15 ohm in a loop of 1 kohm: gains that are equal in their last digit
        let network = chain();
        for (k, range, each) in [(0, (0.0, 1e-15), 1e-18), (2, (500.0, 500.0 + 1e-12), 1e-12 / 1500.0)] {
            let found = ceiling_music(&network, &[(k, range)], &OPEN).unwrap().0;
            let swing = range.1 - range.0;
            assert_relative_eq!(found, 0.5 * swing / (1000.0 + range.0), max_relative = 1e-9);
            assert_relative_eq!(found, 0.5 * each, max_relative = 0.2);
        }
        let tone = ceiling_many(&network, 1e3, &[(0, (0.0, 1e-15)), (2, (0.0, 1e-15))], &OPEN, AUDIBLE_BAND_HZ);
        assert_relative_eq!(tone.chatter, 1e-18, max_relative = 1e-9);
    }

    #[test]
    fn what_it_refuses() {
        let network = chain();
        let of = |k: usize, range| ceiling_music(&network, &[(k, range)], &OPEN);
        assert_eq!(of(0, (0.0, f64::INFINITY)), Err(Status::CanOpen));
        assert_eq!(of(1, (0.0, 1.0)), Err(Status::CanShort));
        assert_eq!(of(0, (1.0, 1.0)), Ok((0.0, 0.0)));
        let mut reactive = network.clone();
        reactive.links[1].ladder.load.capacitance_f = 1e-9;
        assert_eq!(ceiling_music(&reactive, &[(0, (0.0, 1.0))], &OPEN), Err(Status::NotResistive));
    }
}
