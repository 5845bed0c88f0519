//! **T4**: the most residue that contacts in several sections of a chain can cause together.
//!
//! A section takes in a tone with residue of ratio `Din` and hands on `Dout`. Its contacts stand in one loop with their ranges
//! added; `Rmid` counts to the network, `Delta` is half the swing, and the rest is an EMF of no more than `Delta` times the
//! current in rms. With `a`, `t` from the section's source to the contact's current and the load, `G`, `h` from an EMF in
//! series with the contact to the same two, the stages behind the section in `t` and `h`, and `T1` the output per current at
//! the driven frequency, suprema off the driven line:
//!
//! `k = Delta sup|G|`, `k1 = Delta |G1|`, `ra = sup|a|/|a1|`, `rt = sup|t|/|t1|`,
//! `x = (1 + k1)/(1 - k1 ra Din/sqrt(1 - k^2))`, `U = Din ra x`, `p = (k U + sqrt(U^2 + 1 - k^2))/(1 - k^2)`,
//!
//! `Dout <= Din rt x + Delta sup|h| p/|T1|`
//!
//! What comes in counts at every frequency, direct current and ultrasound too, for a contact that jumps brings it into the
//! band; so `Din` under `x` and `U`, and `k` and `ra`, are taken from 1 mHz to 1 GHz. What passes straight through (`Din rt x`)
//! counts inside the analyser's band alone, so two ratios are carried side by side.
//!
//! `x` bounds the incoming tone by the current it leaves, for residue that comes in feeds the tone through a contact that
//! jumps; `p` is the largest root of `p^2 <= 1 + (U + k p)^2`. Where the bracket under `x` or `1 - k^2` is not positive there
//! is no ceiling. The first section with contacts that move takes T1 or T2. A chain that is resistive and flat throughout has
//! the closed form `sinh(1/2 sum ln((Z + Rmax)/(Z + Rmin)))`, reached when all switch together; adding the sections' own
//! ceilings would be too small.

use super::ceiling::{Ceiling, Loop, Status};
use super::ceiling_many::{Moving, ceiling_many};
const EVERYWHERE_HZ: (f64, f64) = (1e-3, 1e9);
use super::linear::{log_grid, refine_largest};
use crate::circuit::Role;
use crate::circuit::chain::{Link, Network};
use crate::circuit::ports::Ports;
use crate::circuit::{Equalisation, Stage};
use num_complex::Complex64;

/// The ceiling of contacts in series in several sections; the others keep `fixed_ohm`.
///
/// Harmonics that one section makes drive the next at every line that a chatter would use, so the two numbers differ only in
/// the band that is looked at: from the second harmonic up, or all of it.
#[must_use]
pub fn ceiling_cascade(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    fixed_ohm: &[f64],
    band_hz: (f64, f64),
) -> Ceiling {
    let moving: Vec<Moving> = moving.iter().copied().filter(|&(_, (low, high))| high > low).collect();
    if moving.is_empty() {
        return Ceiling::NOTHING_MOVES;
    }
    if moving.iter().any(|m| m.1.1.is_infinite()) {
        return Ceiling::none(Status::CanOpen);
    }
    let role = |k: usize| network.contacts[k].role;
    if (0..fixed_ohm.len()).any(|k| role(k) == Role::SharedReturn && fixed_ohm[k] > 0.0) {
        return Ceiling::none(Status::SharedReturn);
    }
    if !moving.iter().all(|&(k, _)| matches!(role(k), Role::Signal | Role::Return)) {
        return Ceiling::none(Status::SeveralLoops);
    }
    let mut fixed = fixed_ohm.to_vec();
    for &(index, _) in &moving {
        fixed[index] = 0.0;
    }
    if let Some(residue) = resistive(network, &moving, &fixed) {
        let any = |low_hz: f64| if low_hz <= band_hz.1 { residue } else { f64::NAN };
        return Ceiling { harmonics: any(2.0 * driven_hz), chatter: residue, status: Status::Holds };
    }
    let over = |band_hz: (f64, f64)| Cascade { network, fixed: &fixed, driven_hz, band_hz }.residue(&moving);
    match over(band_hz) {
        Err(status) => Ceiling::none(status),
        Ok(chatter) => {
            let from_second = (2.0 * driven_hz).max(band_hz.0);
            let harmonics = if from_second < band_hz.1 {
                over((from_second, band_hz.1)).map_or(chatter, |found| found.min(chatter))
            } else {
                f64::NAN
            };
            Ceiling { harmonics, chatter, status: Status::Holds }
        }
    }
}

/// The closed form where every section is resistive with one loop of moving contacts and every stage between is flat.
fn resistive(network: &Network, moving: &[Moving], fixed: &[f64]) -> Option<f64> {
    let of_section = |k: usize| network.section_of(k);
    let first = moving.iter().map(|m| of_section(m.0)).min()?;
    let mut logarithms = 0.0;
    for (number, link) in network.links.iter().enumerate().skip(first) {
        if !link.ladder.is_resistive() || link.stages.iter().any(|s| s.equalisation != Equalisation::Flat) {
            return None;
        }
        let here: Vec<&Moving> = moving.iter().filter(|m| of_section(m.0) == number).collect();
        let Some(&&(index, _)) = here.first() else { continue };
        if !one_loop(link, &here) {
            return None;
        }
        let (low, high) = summed(&here);
        let ports = Ports::new(&link.ladder, &[1000.0], fixed);
        let z = ports.loop_impedance[index - link.ladder.contacts().start].re;
        logarithms += ((z + high) / (z + low)).ln();
    }
    Some((0.5 * logarithms).sinh())
}

fn one_loop(link: &Link, moving: &[&Moving]) -> bool {
    link.ladder.loops().iter().any(|group| moving.iter().all(|m| group.contains(&m.0)))
}

fn summed(moving: &[&Moving]) -> (f64, f64) {
    moving.iter().fold((0.0, 0.0), |sum, m| (sum.0 + m.1.0, sum.1 + m.1.1))
}

struct Cascade<'a> {
    network: &'a Network,
    fixed: &'a [f64],
    driven_hz: f64,
    band_hz: (f64, f64),
}

fn gain(stages: &[Stage], frequency_hz: f64) -> f64 {
    stages.iter().map(|s| s.transfer(frequency_hz).norm()).product()
}

impl Cascade<'_> {
    /// Largest value of a function of frequency over a band.
    fn largest(band_hz: (f64, f64), value: impl Fn(f64) -> f64) -> f64 {
        let grid = log_grid(band_hz);
        let on_grid: Vec<f64> = grid.iter().map(|x| value(x.exp())).collect();
        refine_largest(&grid, &on_grid, |ln_f| value(ln_f.exp()))
    }

    /// Residue at the output inside the band; on the way it is carried everywhere and inside the band side by side.
    fn residue(&self, moving: &[Moving]) -> Result<f64, Status> {
        let bands = [EVERYWHERE_HZ, self.band_hz];
        let mut ratio = [0.0, 0.0];
        for (number, link) in self.network.links.iter().enumerate() {
            let here: Vec<&Moving> = moving.iter().filter(|m| self.network.section_of(m.0) == number).collect();
            if here.is_empty() {
                let through = |f: f64| link.ladder.transfer(f, self.fixed).norm() * gain(&link.stages, f);
                for (ratio, band_hz) in ratio.iter_mut().zip(bands).filter(|(ratio, _)| **ratio > 0.0) {
                    *ratio *= Self::largest(band_hz, through) / through(self.driven_hz);
                }
            } else if ratio[0] == 0.0 {
                ratio = [self.first(number, &here, bands[0])?, self.first(number, &here, bands[1])?];
            } else {
                ratio = self.next(link, &here, ratio)?;
            }
        }
        Ok(ratio[1])
    }

    /// T1 or T2 of the first section, its stages included, what follows left out.
    fn first(&self, number: usize, here: &[&Moving], band_hz: (f64, f64)) -> Result<f64, Status> {
        let alone = Network {
            links: self.network.links[..=number].to_vec(),
            contacts: self.network.contacts.clone(),
            emf_v: self.network.emf_v,
        };
        let indices: Vec<usize> = here.iter().map(|m| m.0).collect();
        let ceiling = match Loop::new(&alone, &indices, self.fixed, self.driven_hz, band_hz) {
            Ok(ready) => ready.ceiling(summed(here)),
            Err(Status::SeveralLoops) => {
                let here: Vec<Moving> = here.iter().map(|m| **m).collect();
                ceiling_many(&alone, self.driven_hz, &here, self.fixed, band_hz)
            }
            Err(status) => return Err(status),
        };
        if ceiling.status == Status::Holds { Ok(ceiling.chatter) } else { Err(ceiling.status) }
    }

    /// What a later section makes of the ratios that come in, everywhere and inside the band.
    fn next(&self, link: &Link, here: &[&Moving], incoming: [f64; 2]) -> Result<[f64; 2], Status> {
        if !one_loop(link, here) {
            return Err(Status::SeveralLoops);
        }
        let (low, high) = summed(here);
        let (middle, delta) = (0.5 * (low + high), 0.5 * (high - low));
        let index = here[0].0;
        let mut loaded = self.fixed.to_vec();
        loaded[index] = middle;
        let k = index - link.ladder.contacts().start;
        let ports = |f: f64| Ports::new(&link.ladder, &[f], &loaded);
        let a = |f: f64| ports(f).drive[k].norm();
        let g = |f: f64| ports(f).admittance(k, k, 0).norm();
        let t = |f: f64| ports(f).output[0].norm() * gain(&link.stages, f);
        let h = |f: f64| ports(f).reach[k].norm() * gain(&link.stages, f);
        let at = self.driven_hz;
        let output_per_current: Complex64 = ports(at).transfer_impedance[k];
        let t1_ohm = output_per_current.norm() * gain(&link.stages, at);
        let (k_off, k_on) = (delta * Self::largest(EVERYWHERE_HZ, g), delta * g(at));
        let ra = Self::largest(EVERYWHERE_HZ, a) / a(at);
        let rest = 1.0 - k_off * k_off;
        let bracket = 1.0 - k_on * ra * incoming[0] / rest.max(0.0).sqrt();
        if rest.is_nan() || rest <= 0.0 || bracket.is_nan() || bracket <= 0.0 {
            return Err(Status::NoBound);
        }
        let x = (1.0 + k_on) / bracket;
        let u = incoming[0] * ra * x;
        let p = (k_off * u + (u * u + rest).sqrt()) / rest;
        let out = |incoming: f64, band_hz: (f64, f64)| {
            let rt = Self::largest(band_hz, t) / t(at);
            incoming * rt * x + delta * Self::largest(band_hz, h) * p / t1_ohm
        };
        Ok([out(incoming[0], EVERYWHERE_HZ), out(incoming[1], self.band_hz)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Chain, ChainItem, Contact, Lead, Load, PathItem, Section, Source};
    use crate::response::linear::AUDIBLE_BAND_HZ;
    use approx::assert_relative_eq;

    fn chain(farad: f64, equalisation: Equalisation) -> Network {
        let section = |name: &str, source| {
            ChainItem::Section(Section {
                name: name.into(),
                source,
                path: vec![
                    PathItem::Lead(Lead { resistance_ohm: 200.0, capacitance_f: farad, ..Lead::default() }),
                    PathItem::Contact(Contact::ohmic(name, 0.0)),
                ],
                load: Load::resistance(700.0),
            })
        };
        let source = Some(Source { emf_v: 1.0, resistance_ohm: 100.0, inductance_h: 0.0 });
        let stage = Stage { name: "s".into(), gain_db: 20.0, equalisation, output_resistance_ohm: 100.0 };
        let items = vec![section("a", source), ChainItem::Stage(stage), section("b", None)];
        Network::from_chain(&Chain { items }).unwrap()
    }

    #[test]
    fn a_resistive_chain_is_reached_when_both_switch_together() {
        let network = chain(0.0, Equalisation::Flat);
        let moving = [(0, (0.0, 300.0)), (1, (50.0, 900.0))];
        let found = ceiling_cascade(&network, 1e3, &moving, &[0.0; 2], AUDIBLE_BAND_HZ);
        // gain between two values gl < gh for a share d of the time each way: residue over fundamental is
        // sqrt(d (1-d)) (gh - gl)/(d gh + (1-d) gl), largest at d = gl/(gh + gl)
        let gain = |a: f64, b: f64| 700.0 / (1000.0 + a) * 700.0 / (1000.0 + b);
        let (high, low) = (gain(0.0, 50.0), gain(300.0, 900.0));
        let d = low / (high + low);
        let reached = (d * (1.0 - d)).sqrt() * (high - low) / (d * high + (1.0 - d) * low);
        assert_relative_eq!(found.chatter, reached, max_relative = 1e-12);
        let apart: f64 = [0, 1]
            .iter()
            .map(|&k| ceiling_cascade(&network, 1e3, &moving[k..=k], &[0.0, 0.0], AUDIBLE_BAND_HZ).chatter)
            .sum();
        assert!(apart < found.chatter * 1.05);
    }

    #[test]
    fn nearly_resistive_is_nearly_the_closed_form_and_never_below() {
        let moving = [(0, (0.0, 3.0)), (1, (0.0, 9.0))];
        let exact = ceiling_cascade(&chain(0.0, Equalisation::Flat), 1e3, &moving, &[0.0; 2], AUDIBLE_BAND_HZ).chatter;
        let near = ceiling_cascade(&chain(1e-15, Equalisation::Flat), 1e3, &moving, &[0.0; 2], AUDIBLE_BAND_HZ).chatter;
        // the suprema are taken apart: of the second order in the ratios
        assert!(near >= exact && near < exact * 1.01, "{near} {exact}");
    }

    #[test]
    fn an_equaliser_between_weighs_what_came_before_it() {
        let network = chain(0.0, Equalisation::Riaa);
        let of = |moving: &[Moving]| ceiling_cascade(&network, 1e3, moving, &[0.0; 2], AUDIBLE_BAND_HZ).chatter;
        let (a, b) = ((0, (0.0, 1.0)), (1, (0.0, 1.0)));
        // 20 Hz stands 19.274 dB above 1 kHz (IEC 60098): the first contact counts so much more than the second
        assert_relative_eq!(of(&[a]) / of(&[b]), 10f64.powf(19.274 / 20.0), max_relative = 1e-3);
        assert!(of(&[a, b]) >= of(&[a]) + of(&[b]) * 0.999);
    }

    #[test]
    fn too_much_has_no_ceiling_and_says_so() {
        let network = chain(1e-8, Equalisation::Riaa);
        let found = ceiling_cascade(&network, 1e3, &[(0, (0.0, 1e5)), (1, (0.0, 1e6))], &[0.0; 2], AUDIBLE_BAND_HZ);
        assert_eq!(found.status, Status::NoBound);
    }
}
