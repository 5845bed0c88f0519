//! A chain as several of its contacts see it over an interval of frequency, through stages and both channels.
//!
//! A cause is an EMF in series with a contact, or a current into the node of one across the signal; an effect is a contact's
//! current, or voltage. `a`: effects per EMF of the chain; `g`: effects per cause; `h`: output per cause; `t`: output per EMF.
//! What moves is at the middle of its range (across the signal: of its conductance). Contacts of one loop are one, with their
//! ranges added.
//!
//! With a contact in a shared return there are two modes of two equal channels ([`twoport`](crate::circuit::twoport)): an EMF
//! in this channel is half of each, one in the shared return excites the even one alone, and the shared contact carries twice
//! the even current. Every moving contact of this channel has a twin in the other.

use super::ceiling_many::Moving;
use super::enclosed::{EVEN, Field, ODD, Walk};
use super::jet::Jet;
use super::supremum::Span;
use crate::circuit::Role;
use crate::circuit::chain::Network;
use num_complex::Complex64;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Own,
    Twin,
    Shared,
}

/// One contact, or several of one loop.
#[derive(Debug, Clone)]
struct Port {
    members: Vec<usize>,
    kind: Kind,
    link: usize,
    across: bool,
}

/// Several contacts of a chain made ready.
pub(crate) struct Seen<'a> {
    network: &'a Network,
    ports: Vec<Port>,
    ohm: Vec<f64>,
    two_channels: bool,
    other: f64,
}

/// What the contacts see over an interval; `g` row by row.
#[derive(Debug, Clone)]
pub(crate) struct SeenAt<const N: usize = 3> {
    pub(crate) a: Vec<Jet<N>>,
    pub(crate) t: Jet<N>,
    pub(crate) g: Vec<Jet<N>>,
    pub(crate) h: Vec<Jet<N>>,
}

/// The same in plain numbers.
#[derive(Debug, Clone)]
pub(crate) struct Plain {
    pub(crate) a: Vec<Complex64>,
    pub(crate) t: Complex64,
    pub(crate) g: Vec<Complex64>,
    pub(crate) h: Vec<Complex64>,
}

impl<const N: usize> SeenAt<N> {
    pub(crate) fn plain(&self) -> Plain {
        let of = |jets: &[Jet<N>]| jets.iter().map(Jet::middle).collect();
        Plain { a: of(&self.a), t: self.t.middle(), g: of(&self.g), h: of(&self.h) }
    }
}

/// One mode of two channels, or the only one.
struct Mode<const N: usize> {
    walks: Vec<Walk<N>>,
    /// from the chain's EMF to each section's
    before: Vec<Jet<N>>,
    /// from each section's load to the output
    after: Vec<Jet<N>>,
    /// each section's own transfer and its stages
    own: Vec<(Jet<N>, Jet<N>)>,
    t: Jet<N>,
}

impl<'a> Seen<'a> {
    /// The contacts `moving` of a chain whose others keep `fixed_ohm`; `other` is the other channel's EMF over this one's.
    pub(crate) fn new(network: &'a Network, moving: &[Moving], fixed_ohm: &[f64], other: f64) -> Self {
        let mut ohm = fixed_ohm.to_vec();
        let role = |k: usize| network.contacts[k].role;
        for &(k, (low, high)) in moving {
            ohm[k] = if role(k) == Role::Shunt { 2.0 / (low.recip() + high.recip()) } else { 0.5 * (low + high) };
        }
        let two_channels = (0..ohm.len()).any(|k| role(k) == Role::SharedReturn && ohm[k] > 0.0);
        let mut ports: Vec<Port> = Vec::new();
        let mut indices: Vec<usize> = moving.iter().map(|m| m.0).collect();
        indices.sort_unstable();
        for k in indices {
            let link = network.section_of(k);
            let together = |other: usize| {
                network.links[link].ladder.loops().iter().any(|group| group.contains(&k) && group.contains(&other))
            };
            if let Some(port) = ports.iter_mut().find(|port| port.link == link && together(port.members[0])) {
                port.members.push(k);
                continue;
            }
            let kind = if role(k) == Role::SharedReturn { Kind::Shared } else { Kind::Own };
            ports.push(Port { members: vec![k], kind, link, across: role(k) == Role::Shunt });
        }
        if two_channels {
            let twins: Vec<Port> =
                ports.iter().filter(|p| p.kind == Kind::Own).map(|p| Port { kind: Kind::Twin, ..p.clone() }).collect();
            ports.extend(twins);
        }
        Self { network, ports, ohm, two_channels, other }
    }

    /// Half of the swing of each, ohm; across the signal siemens.
    pub(crate) fn delta(&self, moving: &[Moving]) -> Vec<f64> {
        let half = |port: &Port, k: usize| {
            let (low, high) = moving.iter().find(|m| m.0 == k).map_or((0.0, 0.0), |m| m.1);
            if port.across { 0.5 * (low.recip() - high.recip()) } else { 0.5 * (high - low) }
        };
        self.ports.iter().map(|port| port.members.iter().map(|&k| half(port, k)).sum()).collect()
    }

    /// Direct current through each, A; across the signal the direct voltage that stands for it, `I0 sqrt(Rmin Rmax)`.
    pub(crate) fn direct(&self, moving: &[Moving], direct_a: &[f64]) -> Vec<f64> {
        let one = |port: &Port, k: usize| match moving.iter().find(|m| m.0 == k) {
            Some(&(_, (low, high))) if port.across && direct_a[k] != 0.0 => direct_a[k] * (low * high).sqrt(),
            Some(_) => direct_a[k].abs(),
            None => 0.0,
        };
        self.ports.iter().map(|port| port.members.iter().map(|&k| one(port, k)).fold(0.0, f64::max)).collect()
    }

    /// The section of each.
    pub(crate) fn sections(&self) -> Vec<usize> {
        self.ports.iter().map(|port| port.link).collect()
    }

    pub(crate) fn in_one_section(&self) -> bool {
        self.ports.iter().all(|port| port.link == self.ports[0].link)
    }

    fn mode<const N: usize>(&self, field: &Field, shared_times: f64) -> Option<Mode<N>> {
        let links = &self.network.links;
        let walks: Vec<Walk<N>> =
            links.iter().map(|link| Walk::new(field, &link.ladder, &self.ohm, shared_times)).collect();
        let own: Option<Vec<(Jet<N>, Jet<N>)>> =
            walks.iter().zip(links).map(|(w, link)| Some((w.transfer(field)?, field.stages(&link.stages)?))).collect();
        let own = own?;
        let mut before = Vec::with_capacity(own.len());
        let mut product = Jet::ONE;
        for (transfer, stages) in &own {
            before.push(product);
            product = product.times(transfer).times(stages);
        }
        let t = product;
        let mut after = vec![Jet::ONE; own.len()];
        let mut product = Jet::ONE;
        for (k, (transfer, stages)) in own.iter().enumerate().rev() {
            product = product.times(stages);
            after[k] = product;
            product = product.times(transfer);
        }
        Some(Mode { walks, before, after, own, t })
    }

    fn local(&self, port: &Port) -> usize {
        port.members[0] - self.network.links[port.link].ladder.contacts().start
    }

    /// Effect at `to` per cause at `from`, in one mode.
    fn between<const N: usize>(&self, field: &Field, mode: &Mode<N>, to: &Port, from: &Port) -> Option<Jet<N>> {
        if to.link < from.link {
            return Some(Jet::ZERO);
        }
        let walk = &mode.walks[from.link];
        if to.link == from.link {
            return walk.between(field, self.local(to), self.local(from));
        }
        let mut product = walk.reach(field, self.local(from))?.times(&mode.own[from.link].1);
        for (transfer, stages) in &mode.own[from.link + 1..to.link] {
            product = product.times(transfer).times(stages);
        }
        Some(product.times(&mode.walks[to.link].drive(field, self.local(to))?))
    }

    /// What is seen at one frequency, Hz.
    pub(crate) fn plain(&self, frequency_hz: f64) -> Option<Plain> {
        Some(self.at::<1>(Span::at(frequency_hz))?.plain())
    }

    /// What is seen over an interval; nothing where it is too wide to say.
    pub(crate) fn at<const N: usize>(&self, span: Span) -> Option<SeenAt<N>> {
        let field = Field::new(span);
        let n = self.ports.len();
        let even = self.mode::<N>(&field, EVEN)?;
        let odd = if self.two_channels { Some(self.mode::<N>(&field, ODD)?) } else { None };
        let a = |mode: &Mode<N>, port: &Port| -> Option<Jet<N>> {
            Some(mode.before[port.link].times(&mode.walks[port.link].drive(&field, self.local(port))?))
        };
        let h = |mode: &Mode<N>, port: &Port| -> Option<Jet<N>> {
            Some(mode.after[port.link].times(&mode.walks[port.link].reach(&field, self.local(port))?))
        };
        let mut out =
            SeenAt { a: Vec::with_capacity(n), t: even.t, g: Vec::with_capacity(n * n), h: Vec::with_capacity(n) };
        let Some(odd) = odd else {
            for port in &self.ports {
                out.a.push(a(&even, port)?);
                out.h.push(h(&even, port)?);
                for from in &self.ports {
                    out.g.push(self.between(&field, &even, port, from)?);
                }
            }
            return Some(out);
        };
        let (sum, difference) = (0.5 * (1.0 + self.other), 0.5 * (1.0 - self.other));
        let mix = |e: Jet<N>, o: Jet<N>, (p, q): (f64, f64)| e.scaled(p).plus(&o.scaled(q));
        out.t = mix(even.t, odd.t, (sum, difference));
        for port in &self.ports {
            let (of_a, of_h) = match port.kind {
                Kind::Shared => (None, None),
                Kind::Own => (Some((sum, difference)), Some((0.5, 0.5))),
                Kind::Twin => (Some((sum, -difference)), Some((0.5, -0.5))),
            };
            out.a.push(match of_a {
                Some(shares) => mix(a(&even, port)?, a(&odd, port)?, shares),
                None => a(&even, port)?.scaled(2.0 * sum),
            });
            out.h.push(match of_h {
                Some(shares) => mix(h(&even, port)?, h(&odd, port)?, shares),
                None => h(&even, port)?,
            });
            for from in &self.ports {
                let e = self.between(&field, &even, port, from)?;
                out.g.push(match (port.kind, from.kind) {
                    (Kind::Shared, Kind::Shared) => e.scaled(2.0),
                    (Kind::Shared, _) | (_, Kind::Shared) => e,
                    (to, of) => {
                        let o = self.between(&field, &odd, port, from)?;
                        mix(e, o, (0.5, if to == of { 0.5 } else { -0.5 }))
                    }
                });
            }
        }
        Some(out)
    }
}
