//! **T9**: all contacts of a route together, some read in ohms and some in millivolts across them while a tone plays.
//!
//! Every contact is replaced by its voltage (substitution), so that off the tone the output is `y = -sum h_k v_k`, `h_k` the
//! output per EMF in series with contact k, all contacts perfect. By the triangle inequality, `b` those read in millivolts
//! (`V_b` rms, of which `b_b` is fundamental) and `k` those between zero and `R_k` ohm,
//!
//! `residue |y_1| <= sum sup |h_b| sqrt(V_b^2 - b_b^2) + sqrt(sup sum R_k |h_k|^2) sqrt(sum |v_k|^2 / R_k)`.
//!
//! What the others can do is not T1 any more, for a contact read in millivolts drives them too, at any frequency. But it is
//! passive. Every contact takes power from the network, off the tone the network gives none, and contact k takes at least
//! `|v_k|^2/R_k`. So what they take off the tone comes out of the tone (Tellegen):
//!
//! `sum over w != w1 of |v_k|^2/R_k <= S`, `S = sum_k (Re v_k1* i_k1 - |v_k1|^2/R_k) + sum_b Re v_b1* i_b1`
//!
//! With `i_1 = c y_1 + N v_1` (the EMF eliminated; `N = 0` in one loop) `S` is at most `s^H (1/R - Re N)^-1 s / 4` and what
//! the `b_b` add. In one loop: `residue <= |h| (sqrt((R i/2)^2 + R i b) + sqrt(V^2 - b^2))`, at most `sqrt 2` of T8 and the small
//! T1 added. Worst over `b`.
//!
//! Between sections the stages hand on what was made before, and then off the tone the network does give power. So it is
//! taken: contacts in ohms alone by T2; all in millivolts by T8 added; millivolts in later sections than ohms by T2 and T8 added;
//! both in one section if nothing moves before it. For anything else there is **no sum** ([`Status::ReadDifferently`]):
//! what a contact read in millivolts does outside the meter's band is not known, and a later contact folds it into the band.
//! A contact across the signal or in a shared return has no T8, and none that shares a section with one.

use super::ceiling_many::{Moving, ceiling_many};
use super::enclosed::Field;
use super::jet::Jet;
use super::linear::gain_after;
use super::millivolt::{millivolt_factor, output_per_emf};
use super::status::Status;
use super::supremum::{Span, supremum_of};
use super::weights::over;
use crate::circuit::Role;
use crate::circuit::chain::Network;
use crate::circuit::ports::Ports;
use num_complex::Complex64;

/// A contact read in millivolts: its number through the chain, rms volts across it over those of the tone at its section's load.
pub type Across = (usize, f64);

/// Pieces in which the fundamental share of the millivolts is looked at.
const PIECES: usize = 400;

/// One contact read in millivolts, everything per volt of the tone at the output.
struct Read {
    index: usize,
    link: usize,
    across: f64,
    /// largest output over the band, and at the tone, per volt in series
    most: f64,
    at_tone: f64,
}

/// Most residue at the output, as a ratio to the tone, of contacts read in ohms (`moving`) and in millivolts (`read`) together.
///
/// Contacts in no list are perfect. A reading of millivolts holds for the time and state of its measurement, in true rms over
/// `band_hz`.
///
/// # Errors
/// The status that says why there is no such bound.
pub fn ceiling_by_readings(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    read: &[Across],
    band_hz: (f64, f64),
) -> Result<f64, Status> {
    let perfect = network.perfect_ohm();
    let moving: Vec<Moving> = moving.iter().copied().filter(|&(_, (low, high))| high > low).collect();
    if moving.iter().any(|m| network.contacts[m.0].direct_current_a != 0.0) {
        return Err(Status::DirectCurrent);
    }
    let many = || {
        let found = ceiling_many(network, driven_hz, &moving, &perfect, band_hz);
        if found.status == Status::Holds { Ok(found.chatter) } else { Err(found.status) }
    };
    if read.is_empty() {
        return many();
    }
    let last_moving = moving.iter().map(|m| network.section_of(m.0)).max();
    let first_moving = moving.iter().map(|m| network.section_of(m.0)).min();
    let first_read = read.iter().map(|r| network.section_of(r.0)).min();
    let mixed = last_moving.is_some() && last_moving == first_read;
    if last_moving > first_read && last_moving.is_some() || mixed && first_moving != last_moving {
        return Err(Status::ReadDifferently);
    }
    let (read, later) = outputs(network, driven_hz, read, mixed.then_some(first_read).flatten(), band_hz)?;
    let by_volts = |here: bool| read.iter().filter(move |r| here == (mixed && Some(r.link) == first_read));
    let behind: f64 = by_volts(false).map(|r| r.most * r.across).sum();
    if moving.is_empty() {
        return Ok(behind);
    }
    if !mixed {
        return Ok(many()? * later + behind);
    }
    let here: Vec<&Read> = by_volts(true).collect();
    Ok(behind + in_one_section(network, driven_hz, &moving, &here, later, band_hz)?)
}

/// What is read, last section first, per volt at the output; and what the tone at the output of all sections but the last mixed
/// one's later ones is at most.
fn outputs(
    network: &Network,
    driven_hz: f64,
    read: &[Across],
    mixed: Option<usize>,
    band_hz: (f64, f64),
) -> Result<(Vec<Read>, f64), Status> {
    let perfect = network.perfect_ohm();
    let mut out: Vec<Read> = Vec::new();
    // tone at the output with the contacts of later sections perfect, at most
    let mut tone = 1.0;
    let mut before_here = 1.0;
    for link in (0..network.links.len()).rev() {
        if Some(link) == mixed {
            before_here = tone;
        }
        let after = gain_after(network, link, driven_hz, &perfect);
        let behind = tone;
        for &(index, share) in read.iter().filter(|r| network.section_of(r.0) == link) {
            let per_load = millivolt_factor(network, index, driven_hz, &perfect, band_hz)?;
            let across = share * behind / after;
            let ladder = &network.links[link].ladder;
            let reach = Ports::new(ladder, &[driven_hz], &perfect).reach[index - ladder.contacts().start].norm();
            let at_tone = reach * after;
            tone += at_tone * across;
            out.push(Read { index, link, across, most: per_load * after, at_tone });
        }
    }
    Ok((out, if mixed.is_some() { before_here } else { tone }))
}

/// Contacts in ohms and in millivolts in one section, with nothing that moves before it; `tone`: of its output, with what is
/// behind it perfect, at most.
fn in_one_section(
    network: &Network,
    driven_hz: f64,
    moving: &[Moving],
    read: &[&Read],
    tone: f64,
    band_hz: (f64, f64),
) -> Result<f64, Status> {
    let perfect = network.perfect_ohm();
    let role = |k: usize| network.contacts[k].role;
    if moving.iter().any(|m| role(m.0) == Role::SharedReturn) {
        return Err(Status::SharedReturn);
    }
    if moving.iter().any(|m| role(m.0) == Role::Shunt) {
        return Err(Status::SeveralLoops);
    }
    if moving.iter().any(|m| m.1.1.is_infinite()) {
        return Err(Status::CanOpen);
    }
    let link = network.section_of(moving[0].0);
    let largest = supremum_of(&Span::band(band_hz), |span| {
        let field = Field::new(span);
        let mut sum = Jet::ZERO;
        for &(k, (_, high)) in moving {
            sum = sum.plus(&output_per_emf(&field, network, k, &perfect)?.square().scaled(high));
        }
        Some(sum)
    });
    let ladder = &network.links[link].ladder;
    let ports = Ports::new(ladder, &[driven_hz], &perfect);
    let after = gain_after(network, link, driven_hz, &perfect);
    let own = |index: usize| index - ladder.contacts().start;
    // the tone's phase behind the section turns nothing here: all is per volt at the output
    let t = ports.output[0] * after;
    let c = |k: usize| ports.drive[own(k)] / t;
    let n = |k: usize, j: usize| c(k) * ports.reach[own(j)] * after - ports.admittance(own(k), own(j), 0);
    let m = moving.len();
    let p: Vec<Complex64> = (0..m * m)
        .map(|at| {
            let (k, j) = (moving[at / m].0, moving[at % m].0);
            let own_loss = if k == j { moving[at / m].1.1.recip() } else { 0.0 };
            Complex64::from(own_loss) - (n(k, j) + n(j, k).conj()) * 0.5
        })
        .collect();
    // infinite where it is not positive definite
    let length = |v: &dyn Fn(usize) -> Complex64| over(p.clone(), moving.iter().map(|m| v(m.0)).collect()).sqrt();
    let by_tone = tone * length(&c);
    let by_read: Vec<f64> = read.iter().map(|b| length(&|k| n(k, b.index) + n(b.index, k).conj())).collect();
    if by_tone.is_infinite() {
        return Err(Status::NoBound);
    }
    let power = |b: &[f64]| -> f64 {
        let s = by_tone + by_read.iter().zip(b).map(|(l, b)| l * b).sum::<f64>();
        let given: f64 = read.iter().zip(b).map(|(r, b)| tone * c(r.index).norm() * b).sum();
        let between: f64 = (0..read.len() * read.len())
            .map(|at| (at / read.len(), at % read.len()))
            .map(|(x, y)| {
                let (k, j) = (read[x].index, read[y].index);
                ((n(k, j) + n(j, k).conj()) * 0.5).norm() * b[x] * b[y]
            })
            .sum();
        0.25 * s * s + given + between
    };
    // of the millivolts so much is fundamental that it is worst: sum of most * b between two ends, the rest is residue
    let whole: f64 = read.iter().map(|r| r.most * r.across).sum();
    let mut worst = 0.0f64;
    for piece in 0..PIECES {
        let end = |k: usize| whole * (std::f64::consts::FRAC_PI_2 * k as f64 / PIECES as f64).sin();
        let (low, high) = (end(piece), end(piece + 1));
        let b: Vec<f64> = read.iter().map(|r| r.across.min(high / r.most)).collect();
        let rest = (whole * whole - low * low).max(0.0).sqrt();
        worst = worst.max((largest.max(0.0) * power(&b)).sqrt() + rest);
    }
    if worst.is_finite() && read.iter().all(|r| r.at_tone.is_finite()) { Ok(worst) } else { Err(Status::NoBound) }
}

#[cfg(test)]
mod tests {
    mod meshes;

    use super::*;
    use crate::circuit::{Chain, ChainItem, Contact, Equalisation, Lead, Load, PathItem, Section, Source, Stage};
    use crate::response::ceiling::resistive;
    use crate::response::linear::AUDIBLE_BAND_HZ;
    use approx::assert_relative_eq;

    fn section(name: &str, first: bool, farad: f64, contacts: usize) -> ChainItem {
        let mut path = Vec::new();
        for k in 0..contacts {
            path.push(PathItem::Contact(Contact::ohmic(format!("{name}{k}"), 0.0)));
            path.push(PathItem::Lead(Lead { capacitance_f: farad, ..Lead::default() }));
        }
        let source = first.then_some(Source { emf_v: 1.0, resistance_ohm: 300.0, inductance_h: 0.0 });
        ChainItem::Section(Section { name: name.into(), source, path, load: Load::resistance(700.0) })
    }

    fn stage() -> ChainItem {
        let equalisation = Equalisation::Flat;
        ChainItem::Stage(Stage { name: "s".into(), gain_db: 20.0, equalisation, output_resistance_ohm: 300.0 })
    }

    /// Contacts 0 and 1 in the first section, 2 and 3 in the second.
    fn chain(farad: f64) -> Network {
        let items = vec![section("a", true, farad, 2), stage(), section("b", false, farad, 2)];
        Network::from_chain(&Chain { items }).unwrap()
    }

    fn of(network: &Network, moving: &[Moving], read: &[Across]) -> Result<f64, Status> {
        ceiling_by_readings(network, 1e3, moving, read, AUDIBLE_BAND_HZ)
    }

    #[test]
    fn readings_of_one_kind_are_t2_and_t8() {
        let network = chain(1e-9);
        let ohms = [(0, (0.0, 3.0)), (2, (0.0, 5.0))];
        let t2 = ceiling_many(&network, 1e3, &ohms, &[0.0; 4], AUDIBLE_BAND_HZ).chatter;
        assert_eq!(of(&network, &ohms, &[]), Ok(t2));
        let perfect = network.perfect_ohm();
        let alone = |k: usize| millivolt_factor(&network, k, 1e3, &perfect, AUDIBLE_BAND_HZ).unwrap();
        assert_relative_eq!(of(&network, &[], &[(3, 1e-3)]).unwrap(), alone(3) * 1e-3, max_relative = 1e-12);
        // the tone that a later reading takes away makes an earlier one count for a little more
        let both = of(&network, &[], &[(0, 2e-3), (3, 1e-3)]).unwrap();
        let sum = alone(0) * 2e-3 + alone(3) * 1e-3;
        assert!(both > sum && both < sum * 1.002, "{both} {sum}");
    }

    #[test]
    fn one_resistive_loop_is_the_closed_form() {
        // 10 ohm and 2 mV per volt: i per volt at the output 1/700, worst share of the fundamental by a fine search
        let network = chain(0.0);
        let (r, v, h) = (10.0f64, 2e-3f64, 0.7);
        // at the output the load stands ten times and 0.7 as high, and all is per volt there
        let i = 1.0 / 700.0;
        let at = |b: f64| h * (((r * i / 2.0).powi(2) + r * i * b).sqrt() + (v * v - b * b).sqrt());
        let exact = (0..=20_000).map(|k| at(v * f64::from(k) / 20_000.0)).fold(0.0, f64::max);
        let found = of(&network, &[(0, (0.0, r))], &[(1, v)]).unwrap();
        assert!(found >= exact && found < exact * 1.01, "{found} {exact}");
        let added = h * (r * i / 2.0 + v);
        assert!(found > added && found < added * 2f64.sqrt());
        // without millivolts it is T1 to first order
        let none = of(&network, &[(0, (0.0, r))], &[(1, 0.0)]).unwrap();
        assert_relative_eq!(none, resistive(r / 1000.0) * (1.0 + r / 1000.0f64).sqrt(), max_relative = 1e-9);
    }

    #[test]
    fn millivolts_behind_ohms_are_t2_and_t8_added() {
        let network = chain(1e-9);
        let ohms = [(0, (0.0, 3.0)), (1, (0.0, 2.0))];
        let (t2, t8) = (of(&network, &ohms, &[]).unwrap(), of(&network, &[], &[(2, 1e-3)]).unwrap());
        let both = of(&network, &ohms, &[(2, 1e-3)]).unwrap();
        assert!(both >= t2 + t8 && both < (t2 + t8) * 1.001, "{both} {t2} {t8}");
    }

    #[test]
    fn more_is_never_less() {
        let network = chain(3e-8);
        let mut last = 0.0;
        for v in [0.0, 1e-5, 1e-4, 1e-3, 1e-2] {
            let found = of(&network, &[(0, (0.0, 30.0))], &[(1, v), (3, v)]).unwrap();
            assert!(found >= last, "{found} {last}");
            last = found;
        }
        let more = of(&network, &[(0, (0.0, 40.0))], &[(1, 1e-2), (3, 1e-2)]).unwrap();
        assert!(more > last);
    }

    #[test]
    fn where_there_is_no_sum() {
        let network = chain(1e-9);
        // millivolts before ohms, and beside ohms behind ohms
        assert_eq!(of(&network, &[(2, (0.0, 1.0))], &[(0, 1e-3)]), Err(Status::ReadDifferently));
        assert_eq!(of(&network, &[(0, (0.0, 1.0)), (2, (0.0, 1.0))], &[(3, 1e-3)]), Err(Status::ReadDifferently));
        assert_eq!(of(&network, &[(0, (0.0, f64::INFINITY))], &[(1, 1e-3)]), Err(Status::CanOpen));
        // so many ohms on both sides of a capacitance that the tone could be lost
        let items = vec![section("a", true, 1e-6, 3)];
        let reactive = Network::from_chain(&Chain { items }).unwrap();
        let both = [(0, (0.0, 1e9)), (1, (0.0, 1e9))];
        assert_eq!(of(&reactive, &both, &[(2, 1e-3)]), Err(Status::NoBound));
        assert!(of(&reactive, &both.map(|(k, _)| (k, (0.0, 1.0))), &[(2, 1e-3)]).is_ok());
    }
}
