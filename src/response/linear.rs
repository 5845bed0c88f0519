//! Linear response: transfer, loss, and how the loss varies over the audible band.
//!
//! * `transfer = V(load) / EMF`, complex, with `exp(+j omega t)`.
//! * `loss_db = 20 log10 |transfer with perfect contacts / transfer|`: positive for quieter.
//! * `response_change_db`: largest minus smallest loss over a band.
//! * `damping_factor`, `crosstalk_db`, `dissipation_w`: what else a resistance in the path does.
//!
//! Source: elementary circuit theory; checked against scikit-rf cascades and a numpy ladder in `tests/python`.

use crate::circuit::chain::Network;
use crate::circuit::ports::Ports;
use crate::circuit::{Role, Stage};
use num_complex::Complex64;

/// The audible band, Hz.
pub const AUDIBLE_BAND_HZ: (f64, f64) = (20.0, 20e3);

/// Points per octave of the grid on which extremes over a band are looked for before they are refined.
pub(crate) const POINTS_PER_OCTAVE: f64 = 48.0;

/// Load voltage per EMF through all sections and stages in one mode of two channels.
fn mode(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> Complex64 {
    network.links.iter().fold(Complex64::new(1.0, 0.0), |product, link| {
        let stages: Complex64 = link.stages.iter().map(|s| s.transfer(frequency_hz)).product();
        product * link.ladder.transfer(frequency_hz, contact_ohm) * stages
    })
}

/// Gain from the load of section `link` to the output of the chain, contacts in a shared return perfect.
pub(crate) fn gain_after(network: &Network, link: usize, frequency_hz: f64, contact_ohm: &[f64]) -> f64 {
    let stages = network.links[link..].iter().flat_map(|l| &l.stages).map(|s| s.transfer(frequency_hz).norm());
    let later = network.links[link + 1..].iter().map(|l| l.ladder.transfer(frequency_hz, contact_ohm).norm());
    stages.chain(later).product()
}

/// Load voltage per EMF through all sections and stages; `contact_ohm` by number through the chain.
///
/// With a contact in a shared return, this channel alone is driven and the other one, its equal, is silent.
#[must_use]
pub fn transfer(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> Complex64 {
    let even = mode(network, frequency_hz, contact_ohm);
    match network.odd_mode_ohm(contact_ohm) {
        None => even,
        Some(odd) => 0.5 * (even + mode(network, frequency_hz, &odd)),
    }
}

/// How much quieter than with perfect contacts, dB.
#[must_use]
pub fn loss_db(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> f64 {
    if network.odd_mode_ohm(contact_ohm).is_some() {
        let at = |ohm: &[f64]| transfer(network, frequency_hz, ohm).norm_sqr();
        return 10.0 * (at(&network.perfect_ohm()) / at(contact_ohm)).log10();
    }
    let perfect = network.perfect_ohm();
    let ratio = |link: &crate::circuit::chain::Link| {
        link.ladder.transfer(frequency_hz, &perfect).norm_sqr()
            / link.ladder.transfer(frequency_hz, contact_ohm).norm_sqr()
    };
    10.0 * network.links.iter().map(ratio).product::<f64>().log10()
}

/// Level of a silent channel over that of the driven one, dB, through contacts in a shared return; both channels are alike.
///
/// `(even - odd) / (even + odd)` of the two modes of [`crate::circuit::twoport`]; minus infinity without a shared contact.
/// For one resistance `Rg` between equal sections of source `Rs` and load `RL` it is `Rg / (Rs + RL + Rg)`, in antiphase
/// (common-impedance coupling, H. W. Ott, Noise Reduction Techniques in Electronic Systems \[memory\]).
#[must_use]
pub fn crosstalk_db(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> f64 {
    let Some(odd) = network.odd_mode_ohm(contact_ohm) else {
        return f64::NEG_INFINITY;
    };
    let (even, odd) = (mode(network, frequency_hz, contact_ohm), mode(network, frequency_hz, &odd));
    20.0 * ((even - odd).norm() / (even + odd).norm()).log10()
}

/// Nominal impedance of the last load over the magnitude of what it looks back into: source, leads and contacts.
///
/// Infinite for an ideal source behind perfect contacts. The ratio is that of IEC 60268-3 \[memory\].
#[must_use]
pub fn damping_factor(network: &Network, frequency_hz: f64, contact_ohm: &[f64]) -> f64 {
    let Some(link) = network.links.last() else {
        return f64::NAN;
    };
    let even = link.ladder.output_impedance(frequency_hz, contact_ohm);
    let back = match network.odd_mode_ohm(contact_ohm) {
        None => even,
        Some(odd) => 0.5 * (even + link.ladder.output_impedance(frequency_hz, &odd)),
    };
    link.ladder.load.resistance_ohm / back.norm()
}

/// Power that a resistance in place of contact `index` takes from a tone, W, this channel alone driven.
///
/// `emf_v` is the first source's, rms. In series `R |i|^2`, across the signal `|v|^2 / R`.
#[must_use]
pub fn dissipation_w(network: &Network, index: usize, frequency_hz: f64, emf_v: f64, contact_ohm: &[f64]) -> f64 {
    let number = network.section_of(index);
    let (before, link) = (&network.links[..number], &network.links[number]);
    let drive = |ohm: &[f64]| -> Complex64 {
        let stages = |stages: &[Stage]| -> Complex64 { stages.iter().map(|s| s.transfer(frequency_hz)).product() };
        before.iter().map(|link| link.ladder.transfer(frequency_hz, ohm) * stages(&link.stages)).product()
    };
    let seen = |ohm: &[f64]| {
        let ports = Ports::new(&link.ladder, &[frequency_hz], ohm);
        drive(ohm) * ports.drive[index - link.ladder.contacts().start]
    };
    let ohm = contact_ohm[index];
    let even = seen(contact_ohm);
    match (network.contacts[index].role, network.odd_mode_ohm(contact_ohm)) {
        // each channel of the even mode carries half, and both halves run through the contact
        (Role::SharedReturn, _) => ohm * (emf_v * even).norm_sqr(),
        (Role::Shunt, None) => (emf_v * even).norm_sqr() / ohm,
        (Role::Shunt, Some(odd)) => (emf_v * 0.5 * (even + seen(&odd))).norm_sqr() / ohm,
        (_, None) => ohm * (emf_v * even).norm_sqr(),
        (_, Some(odd)) => ohm * (emf_v * 0.5 * (even + seen(&odd))).norm_sqr(),
    }
}

/// Largest minus smallest loss over a band, dB.
///
/// Found on a logarithmic grid of 48 points an octave, each extreme refined by golden section between its neighbours.
#[must_use]
pub fn response_change_db(network: &Network, contact_ohm: &[f64], band_hz: (f64, f64)) -> f64 {
    let loss = |ln_f: f64| loss_db(network, ln_f.exp(), contact_ohm);
    let largest = largest_over(band_hz, loss);
    let smallest = -largest_over(band_hz, |ln_f| -loss(ln_f));
    (largest - smallest).max(0.0)
}

/// Logarithms of a band's grid frequencies, both ends included.
pub(crate) fn log_grid(band_hz: (f64, f64)) -> Vec<f64> {
    let (low, high) = (band_hz.0.ln(), band_hz.1.ln());
    let steps = ((high - low) / std::f64::consts::LN_2 * POINTS_PER_OCTAVE).ceil().max(1.0);
    (0..=steps as usize).map(|k| low + (high - low) * k as f64 / steps).collect()
}

fn largest_over(band_hz: (f64, f64), value: impl Fn(f64) -> f64) -> f64 {
    let grid = log_grid(band_hz);
    let on_grid: Vec<f64> = grid.iter().map(|&x| value(x)).collect();
    refine_largest(&grid, &on_grid, value)
}

/// Largest value of a function sampled on a grid, each local maximum within 10 % of the top refined between its neighbours.
pub(crate) fn refine_largest(grid: &[f64], on_grid: &[f64], value: impl Fn(f64) -> f64) -> f64 {
    let top = on_grid.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let bottom = on_grid.iter().copied().fold(f64::INFINITY, f64::min);
    let worth = top - 0.1 * (top - bottom);
    let mut best = top;
    for k in 1..grid.len().saturating_sub(1) {
        let (before, here, after) = (on_grid[k - 1], on_grid[k], on_grid[k + 1]);
        if here >= worth && here >= before && here >= after && (here > before || here > after) {
            best = best.max(golden_section(grid[k - 1], grid[k + 1], &value));
        }
    }
    best
}

/// Largest value of a function with one maximum between two points (golden section, Kiefer 1953 \[memory\]).
fn golden_section(mut low: f64, mut high: f64, value: &impl Fn(f64) -> f64) -> f64 {
    const SHARE: f64 = 0.618_033_988_749_894_9;
    const ROUNDS: usize = 30;
    let mut left = high - SHARE * (high - low);
    let mut right = low + SHARE * (high - low);
    let (mut at_left, mut at_right) = (value(left), value(right));
    for _ in 0..ROUNDS {
        if at_left > at_right {
            high = right;
            (right, at_right) = (left, at_left);
            left = high - SHARE * (high - low);
            at_left = value(left);
        } else {
            low = left;
            (left, at_left) = (right, at_right);
            right = low + SHARE * (high - low);
            at_right = value(right);
        }
    }
    at_left.max(at_right)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Contact, Divider, Lead, Load, Loudspeaker, PathItem, Section, Source};
    use approx::assert_relative_eq;

    fn network(source_ohm: f64, path: Vec<PathItem>, load: Load) -> Network {
        let source = Some(Source { emf_v: 1.0, resistance_ohm: source_ohm, inductance_h: 0.0 });
        Network::from_section(&Section { name: "s".into(), source, path, load }).unwrap()
    }

    fn placed(name: &str, role: Role) -> PathItem {
        PathItem::Contact(Contact::perfect(name, role))
    }

    #[test]
    fn crosstalk_of_a_shared_return() {
        // source 600 ohm, load 47 kohm, 1 ohm in common: -93.5523 dB [calc, nodal]
        let network = network(600.0, vec![placed("sleeve", Role::SharedReturn)], Load::resistance(47e3));
        assert_relative_eq!(crosstalk_db(&network, 1e3, &[1.0]), -93.5523, epsilon = 5e-5);
        assert_relative_eq!(crosstalk_db(&network, 1e3, &[1.0]), 20.0 * (1.0f64 / 47_601.0).log10(), epsilon = 1e-9);
        // driven alone, the other channel's loop stands beside the shared ohm
        let beside = 1.0 / (1.0 + 1.0 / 47_600.0);
        let expected = 47e3 / (47_600.0 + beside);
        assert_relative_eq!(transfer(&network, 1e3, &[1.0]).re, expected, max_relative = 1e-12);
        assert_eq!(crosstalk_db(&network, 1e3, &[0.0]), f64::NEG_INFINITY);
    }

    #[test]
    fn damping_factor_of_a_relay() {
        // 8 ohm over 0.05 ohm is 160; a relay of 0.5 ohm leaves 14.5455 [calc]
        let network = network(0.05, vec![placed("relay", Role::Signal)], Load::resistance(8.0));
        assert_relative_eq!(damping_factor(&network, 1e3, &[0.0]), 160.0, max_relative = 1e-12);
        assert_relative_eq!(damping_factor(&network, 1e3, &[0.5]), 14.5455, max_relative = 5e-6);
    }

    #[test]
    fn a_divider_is_its_ratio_and_its_resistance() {
        let wiper = Some(Contact::ohmic("wiper", 0.0));
        let control = Divider { name: "volume".into(), track_ohm: 50e3, setting_db: -20.0, wiper };
        let network = network(0.0, vec![PathItem::Divider(control)], Load::resistance(47e3));
        // 5 kohm beside 47 kohm under 45 kohm
        let below = 1.0 / (1.0 / 5e3 + 1.0 / 47e3);
        assert_relative_eq!(transfer(&network, 1e3, &[0.0]).re, below / (45e3 + below), max_relative = 1e-12);
        assert_relative_eq!(network.links[0].ladder.output_impedance(1e3, &[0.0]).re, 4500.0, max_relative = 1e-12);
        assert_relative_eq!(
            loss_db(&network, 1e3, &[500.0]),
            20.0 * (1.0 + 500.0 / 51_500.0f64).log10(),
            max_relative = 1e-9
        );
    }

    #[test]
    fn a_muting_contact_takes_nothing_while_it_is_open() {
        let network = network(1000.0, vec![placed("mute", Role::Shunt)], Load::resistance(9000.0));
        assert_eq!(loss_db(&network, 1e3, &[f64::INFINITY]), 0.0);
        // node of 900 ohm: a leak of 900 ohm halves the signal
        assert_relative_eq!(loss_db(&network, 1e3, &[900.0]), 20.0 * 2f64.log10(), max_relative = 1e-12);
    }

    #[test]
    fn ripple_between_the_ends_of_a_loudspeaker() {
        // 0.1 ohm between 6.4 and 40 ohm: 0.1130 dB [calc]
        let loudspeaker = Loudspeaker {
            voice_coil_ohm: 6.4,
            voice_coil_h: 0.0,
            resonance_hz: 50.0,
            mechanical_q: 2.625,
            electrical_q: 0.5,
        };
        let load = Load { loudspeaker: Some(loudspeaker), ..Load::resistance(8.0) };
        let network = network(0.0, vec![placed("relay", Role::Signal)], load);
        let ripple = loss_db(&network, 1e9, &[0.1]) - loss_db(&network, 50.0, &[0.1]);
        assert_relative_eq!(ripple, 0.1130, epsilon = 5e-5);
        assert_relative_eq!(response_change_db(&network, &[0.1], (20.0, 20e3)), ripple, epsilon = 1e-4);
    }

    #[test]
    fn power_is_neither_made_nor_lost() {
        // source of 50 ohm: EMF times current is what source, contacts and load take, at any frequency
        let path = vec![
            placed("pin", Role::Signal),
            PathItem::Lead(Lead { capacitance_f: 2e-6, ..Lead::default() }),
            placed("mute", Role::Shunt),
            placed("ground", Role::Return),
        ];
        let network = network(50.0, path, Load::resistance(200.0));
        let (ohm, f, emf) = ([30.0, 400.0, 20.0], 1e3, 2.0);
        let ladder = &network.links[0].ladder;
        let ports = Ports::new(ladder, &[f], &ohm);
        let (current, load_v) = (emf * ports.drive[0], emf * ports.output[0]);
        let parts: f64 = (0..3).map(|k| dissipation_w(&network, k, f, emf, &ohm)).sum();
        let all = parts + 50.0 * current.norm_sqr() + load_v.norm_sqr() / 200.0;
        assert_relative_eq!(all, emf * current.re, max_relative = 1e-12);
    }

    #[test]
    fn power_in_a_shared_ohm_with_one_channel_driven() {
        let network = network(2.0, vec![placed("sleeve", Role::SharedReturn)], Load::resistance(30.0));
        // beside the other channel's 32 ohm: nodal
        let beside = 1.0 / (1.0 / 0.5 + 1.0 / 32.0);
        let across = beside / (32.0 + beside);
        assert_relative_eq!(dissipation_w(&network, 0, 1e3, 1.0, &[0.5]), across * across / 0.5, max_relative = 1e-12);
    }

    #[test]
    fn power_across_the_signal_with_one_channel_driven() {
        // a leak of 90 ohm behind the source of 2, then half an ohm of shared return before the load of 30, by mesh and node: the driven channel's
        // current comes back through the half ohm and, beside it, the other channel's load, leak and source
        let path = vec![placed("leak", Role::Shunt), placed("sleeve", Role::SharedReturn)];
        let network = network(2.0, path, Load::resistance(30.0));
        let beside = 1.0 / (1.0 / 0.5 + 1.0 / (30.0 + 1.0 / (1.0 / 2.0 + 1.0 / 90.0)));
        let end = 1.0 / (1.0 / 90.0 + 1.0 / (30.0 + beside));
        let across = 0.7 * end / (2.0 + end);
        let found = dissipation_w(&network, 0, 1e3, 0.7, &[90.0, 0.5]);
        assert_relative_eq!(found, across * across / 90.0, max_relative = 1e-12);
    }
}

#[cfg(test)]
mod refined;
