//! A chain seen from its contacts over whole intervals of frequency: the enclosures that the bounds are made of.
//!
//! The walk of [`twoport`](crate::circuit::twoport) with [`Jet`]s for numbers. From the load to the source every voltage and
//! current is a polynomial in `s` without negative coefficients, from the source to the load every impedance is a ratio of two
//! such. So no sum loses its leading term, and the same walk serves near infinite frequency in powers of `1/s`, each
//! polynomial divided by its highest power. A loudspeaker is its voice coil before a resistance, capacitance and inductance
//! in parallel.
//!
//! At a cut, with `V` and `I` from the load and `N/D` the impedance towards the source, `V D + N I` is the same `e` at every
//! cut: the source's EMF in the units of the walk. A contact in series has `b = I`, `u = D`, one across the signal `b = V`,
//! `u = N`. Then with EMFs in series and currents into nodes as causes, currents in series and voltages across as effects,
//! cause `k` has the effect `b_j u_k / e` at a later contact `j`, the same in the other direction (with a minus between one in
//! series and one across), `load u_k / e` at the load, and the source's EMF `b_j / e`.

use super::jet::Jet;
use super::supremum::{SPLIT, Span};
use crate::circuit::stage::{
    Equalisation, GAIN_REFERENCE_HZ, RIAA_BASS_S, RIAA_MIDDLE_S, RIAA_RUMBLE_S, RIAA_TREBLE_S, Stage,
};
use crate::circuit::twoport::{Ladder, Step};
use num_complex::Complex64;
use std::cell::OnceCell;
use std::f64::consts::TAU;

/// A polynomial in `s` over an interval; near infinite frequency divided by that power of `s` (in units of [`SPLIT`]).
#[derive(Debug, Clone, Copy)]
pub(crate) struct Term<const N: usize = 3> {
    jet: Jet<N>,
    degree: i32,
}

impl<const N: usize> Term<N> {
    /// A square times a weight above zero.
    pub(crate) fn scaled(&self, by: f64) -> Self {
        Self { jet: self.jet.scaled(by), degree: self.degree }
    }

    const ZERO: Self = Self { jet: Jet::ZERO, degree: 0 };
    const ONE: Self = Self { jet: Jet::ONE, degree: 0 };

    /// As it is, inside a finite interval.
    pub(crate) fn jet(&self) -> &Jet<N> {
        &self.jet
    }
}

/// Arithmetic on one interval.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Field {
    middle: f64,
    half: f64,
    high: bool,
    energy: bool,
}

impl Field {
    pub(crate) fn new(span: Span) -> Self {
        let (middle, half) = span.middle_and_half();
        Self { middle, half, high: matches!(span, Span::High(..)), energy: false }
    }

    /// The same, with sums of power near infinity too, and of stored energy.
    pub(crate) fn with_energy(span: Span) -> Self {
        Self { energy: true, ..Self::new(span) }
    }

    /// `a |amount|^2`: a real term whose degree counts twice.
    pub(crate) fn weighed_square<const N: usize>(&self, weight: f64, amount: &Term<N>) -> Term<N> {
        Term { jet: amount.jet.square().scaled(weight), degree: amount.degree }
    }

    /// Product of two such terms.
    pub(crate) fn times_squares<const N: usize>(&self, a: &Term<N>, b: &Term<N>) -> Term<N> {
        Term { jet: a.jet.times(&b.jet), degree: a.degree + b.degree }
    }

    /// Sum of two such terms: near infinity brought to the higher degree by powers of `1/|s|^2`.
    pub(crate) fn plus_squares<const N: usize>(&self, a: &Term<N>, b: &Term<N>) -> Term<N> {
        if a.jet.is_zero() {
            return *b;
        }
        if b.jet.is_zero() {
            return *a;
        }
        let degree = a.degree.max(b.degree);
        let raised = |term: &Term<N>| self.lowered_square(&term.jet, degree - term.degree);
        Term { jet: raised(a).plus(&raised(b)), degree }
    }

    /// Ratio of two such terms.
    pub(crate) fn ratio_of_squares<const N: usize>(&self, p: &Term<N>, q: &Term<N>) -> Option<Jet<N>> {
        if p.jet.is_zero() {
            return Some(Jet::ZERO);
        }
        let ratio = p.jet.times(&q.jet.inverse()?);
        (p.degree <= q.degree).then(|| self.lowered_square(&ratio, q.degree - p.degree))
    }

    fn lowered_square<const N: usize>(&self, jet: &Jet<N>, power: i32) -> Jet<N> {
        let inverse = Jet::affine(Complex64::new(0.0, -self.middle), Complex64::new(0.0, -self.half)).square();
        (0..power).fold(*jet, |product, _| product.times(&inverse))
    }

    /// `r + s x`.
    fn affine<const N: usize>(&self, r: f64, x: f64) -> Term<N> {
        if x == 0.0 {
            return if r == 0.0 { Term::ZERO } else { Term { jet: Jet::real(r), degree: 0 } };
        }
        let (at, slope) = if self.high {
            // s (x + r/s), 1/s = -j middle/SPLIT
            (Complex64::new(x * SPLIT, -r * self.middle), Complex64::new(0.0, -r * self.half))
        } else {
            (Complex64::new(r, x * self.middle), Complex64::new(0.0, x * self.half))
        };
        Term { jet: Jet::affine(at, slope), degree: i32::from(self.high) }
    }

    /// Times `(1/s)^power`.
    fn lowered<const N: usize>(&self, jet: &Jet<N>, power: i32) -> Jet<N> {
        let inverse = Jet::affine(Complex64::new(0.0, -self.middle), Complex64::new(0.0, -self.half));
        (0..power).fold(*jet, |product, _| product.times(&inverse))
    }

    pub(crate) fn plus<const N: usize>(&self, a: &Term<N>, b: &Term<N>) -> Term<N> {
        if a.jet.is_zero() {
            return *b;
        }
        if b.jet.is_zero() {
            return *a;
        }
        let degree = a.degree.max(b.degree);
        let raised = |term: &Term<N>| self.lowered(&term.jet, degree - term.degree);
        Term { jet: raised(a).plus(&raised(b)), degree }
    }

    pub(crate) fn times<const N: usize>(&self, a: &Term<N>, b: &Term<N>) -> Term<N> {
        Term { jet: a.jet.times(&b.jet), degree: a.degree + b.degree }
    }

    /// `p/q`; nothing if `q` may vanish or the ratio grows without end.
    pub(crate) fn ratio<const N: usize>(&self, p: &Term<N>, q: &Term<N>) -> Option<Jet<N>> {
        if p.jet.is_zero() {
            return Some(Jet::ZERO);
        }
        self.lowered_ratio(p, q.degree, &q.jet.inverse()?)
    }

    /// The same with the inverse of `q`, of a degree, at hand.
    fn lowered_ratio<const N: usize>(&self, p: &Term<N>, degree: i32, inverse: &Jet<N>) -> Option<Jet<N>> {
        let ratio = p.jet.times(inverse);
        (p.degree <= degree).then(|| self.lowered(&ratio, degree - p.degree))
    }

    /// Gain and equalisation of a list of stages.
    pub(crate) fn stages<const N: usize>(&self, stages: &[Stage]) -> Option<Jet<N>> {
        let mut product = Jet::ONE;
        for stage in stages {
            product = product.scaled(stage.gain());
            if stage.equalisation == Equalisation::Flat {
                continue;
            }
            // IEC 60098, as in `Equalisation`
            let corner = |time_s: f64| self.affine(1.0, time_s);
            let mut over = corner(RIAA_MIDDLE_S);
            let mut under = self.times(&corner(RIAA_BASS_S), &corner(RIAA_TREBLE_S));
            if stage.equalisation == Equalisation::RiaaAmended {
                over = self.times(&over, &self.affine(0.0, RIAA_RUMBLE_S));
                under = self.times(&under, &corner(RIAA_RUMBLE_S));
            }
            let reference = stage.equalisation.raw(GAIN_REFERENCE_HZ).norm();
            product = product.times(&self.ratio(&over, &under)?.scaled(reference.recip()));
        }
        Some(product)
    }
}

/// A section cut at one of its contacts.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cut<const N: usize = 3> {
    /// voltage and current towards the load
    pub(crate) down: (Term<N>, Term<N>),
    /// numerator and denominator of the impedance towards the source
    pub(crate) up: (Term<N>, Term<N>),
    /// real part of `V conj(I)`, and of `N conj(D)`, as sums of squares; see [`Field::with_energy`] for infinite intervals
    pub(crate) power: (Term<N>, Term<N>),
    /// `L |I|^2` and `C |V|^2` of everything beyond, the same way; only [`Field::with_energy`]
    pub(crate) stored: (Term<N>, Term<N>),
    /// across the signal
    pub(crate) across: bool,
}

impl<const N: usize> Cut<N> {
    /// What it carries per load: current in series, voltage across.
    pub(crate) fn b(&self) -> &Term<N> {
        if self.across { &self.down.0 } else { &self.down.1 }
    }

    /// What it reaches: see the page.
    pub(crate) fn u(&self) -> &Term<N> {
        if self.across { &self.up.0 } else { &self.up.1 }
    }
}

/// A section walked from both ends over an interval.
#[derive(Debug, Clone)]
pub(crate) struct Walk<const N: usize = 3> {
    pub(crate) load: Term<N>,
    pub(crate) emf: Term<N>,
    pub(crate) cuts: Vec<Cut<N>>,
    /// of the EMF, once asked for: everything is divided by it
    inverse: OnceCell<Option<Jet<N>>>,
}

/// The other element of a shared return: twice in the even mode of two channels, not at all in the odd one.
pub(crate) const EVEN: f64 = 2.0;
/// See [`EVEN`].
pub(crate) const ODD: f64 = 0.0;

impl<const N: usize> Walk<N> {
    /// Walks a ladder; `contact_ohm` counts to the network, contacts in a shared return `shared_times`.
    pub(crate) fn new(field: &Field, ladder: &Ladder, contact_ohm: &[f64], shared_times: f64) -> Self {
        let first = ladder.contacts().start;
        let blank = Cut {
            down: (Term::ZERO, Term::ZERO),
            up: (Term::ZERO, Term::ZERO),
            power: (Term::ZERO, Term::ZERO),
            stored: (Term::ZERO, Term::ZERO),
            across: false,
        };
        let mut cuts = vec![blank; ladder.contacts().len()];
        // a finite interval has powers, near infinity few ask for them
        let add = |sum: &mut Term<N>, weight: f64, amount: &Term<N>| {
            *sum = field.plus_squares(sum, &field.weighed_square(weight, amount));
        };
        let lossy = |power: &mut Term<N>, loss: f64, amount: &Term<N>| {
            if loss != 0.0 && (field.energy || !field.high) {
                add(power, loss, amount);
            }
        };
        let storing = |stored: &mut Term<N>, amount: f64, of: &Term<N>| {
            if amount != 0.0 && field.energy {
                add(stored, amount, of);
            }
        };
        let (mut power, mut stored) = (Term::ZERO, Term::ZERO);
        let mut voltage = Term::ONE;
        let mut current = Term::ZERO;
        if let Some(speaker) = ladder.load.loudspeaker {
            // motional branch: R, C, L in parallel, one ampere through the last
            let omega = TAU * speaker.resonance_hz;
            let ohm = speaker.voice_coil_ohm * speaker.mechanical_q / speaker.electrical_q;
            storing(&mut stored, ohm / (speaker.mechanical_q * omega), &Term::ONE);
            voltage = field.affine(0.0, ohm / (speaker.mechanical_q * omega));
            let beside = field.affine(ohm.recip(), speaker.mechanical_q / (omega * ohm));
            lossy(&mut power, ohm.recip(), &voltage);
            storing(&mut stored, speaker.mechanical_q / (omega * ohm), &voltage);
            current = field.plus(&Term::ONE, &field.times(&beside, &voltage));
            lossy(&mut power, speaker.voice_coil_ohm, &current);
            storing(&mut stored, speaker.voice_coil_h, &current);
            let coil = field.affine(speaker.voice_coil_ohm, speaker.voice_coil_h);
            voltage = field.plus(&voltage, &field.times(&coil, &current));
        }
        let load = voltage;
        let siemens = if ladder.load.loudspeaker.is_some() { 0.0 } else { ladder.load.resistance_ohm.recip() };
        lossy(&mut power, siemens, &voltage);
        storing(&mut stored, ladder.load.capacitance_f, &voltage);
        current = field.plus(&current, &field.times(&field.affine(siemens, ladder.load.capacitance_f), &voltage));
        let times = |step: &Step| if matches!(step, Step::Shared(_)) { shared_times } else { 1.0 };
        for step in ladder.steps.iter().rev() {
            match *step {
                Step::Series(ohm, henry) => {
                    lossy(&mut power, ohm, &current);
                    storing(&mut stored, henry, &current);
                    voltage = field.plus(&voltage, &field.times(&field.affine(ohm, henry), &current));
                }
                Step::Shunt(siemens, farad) => {
                    lossy(&mut power, siemens, &voltage);
                    storing(&mut stored, farad, &voltage);
                    current = field.plus(&current, &field.times(&field.affine(siemens, farad), &voltage));
                }
                Step::Contact(index) | Step::Shared(index) => {
                    let cut = &mut cuts[index - first];
                    (cut.down, cut.power.0, cut.stored.0) = ((voltage, current), power, stored);
                    let ohm = times(step) * contact_ohm[index];
                    lossy(&mut power, ohm, &current);
                    voltage = field.plus(&voltage, &field.times(&field.affine(ohm, 0.0), &current));
                }
                Step::Across(index) => {
                    let cut = &mut cuts[index - first];
                    (cut.down, cut.power.0, cut.stored.0) = ((voltage, current), power, stored);
                    cut.across = true;
                    let siemens = contact_ohm[index].recip();
                    lossy(&mut power, siemens, &voltage);
                    current = field.plus(&current, &field.times(&field.affine(siemens, 0.0), &voltage));
                }
            }
        }
        let source = field.affine(ladder.source_ohm, ladder.source_h);
        let emf = field.plus(&voltage, &field.times(&source, &current));
        let (mut power, mut stored) = (Term::ZERO, Term::ZERO);
        let (mut over, mut under) = (source, Term::ONE);
        lossy(&mut power, ladder.source_ohm, &under);
        storing(&mut stored, ladder.source_h, &under);
        for step in &ladder.steps {
            match *step {
                Step::Series(ohm, henry) => {
                    lossy(&mut power, ohm, &under);
                    storing(&mut stored, henry, &under);
                    over = field.plus(&over, &field.times(&field.affine(ohm, henry), &under));
                }
                Step::Shunt(siemens, farad) => {
                    lossy(&mut power, siemens, &over);
                    storing(&mut stored, farad, &over);
                    under = field.plus(&under, &field.times(&field.affine(siemens, farad), &over));
                }
                Step::Contact(index) | Step::Shared(index) => {
                    let cut = &mut cuts[index - first];
                    (cut.up, cut.power.1, cut.stored.1) = ((over, under), power, stored);
                    let ohm = times(step) * contact_ohm[index];
                    lossy(&mut power, ohm, &under);
                    over = field.plus(&over, &field.times(&field.affine(ohm, 0.0), &under));
                }
                Step::Across(index) => {
                    let cut = &mut cuts[index - first];
                    (cut.up, cut.power.1, cut.stored.1) = ((over, under), power, stored);
                    let siemens = contact_ohm[index].recip();
                    lossy(&mut power, siemens, &over);
                    under = field.plus(&under, &field.times(&field.affine(siemens, 0.0), &over));
                }
            }
        }
        Self { load, emf, cuts, inverse: OnceCell::new() }
    }

    fn per_emf(&self, field: &Field, p: &Term<N>) -> Option<Jet<N>> {
        if p.jet.is_zero() {
            return Some(Jet::ZERO);
        }
        let inverse = self.inverse.get_or_init(|| self.emf.jet.inverse());
        field.lowered_ratio(p, self.emf.degree, inverse.as_ref()?)
    }

    /// Load voltage per EMF.
    pub(crate) fn transfer(&self, field: &Field) -> Option<Jet<N>> {
        self.per_emf(field, &self.load)
    }

    /// Load voltage per cause at contact `k`.
    pub(crate) fn reach(&self, field: &Field, k: usize) -> Option<Jet<N>> {
        self.per_emf(field, &field.times(&self.load, self.cuts[k].u()))
    }

    /// Effect at contact `k` per EMF.
    pub(crate) fn drive(&self, field: &Field, k: usize) -> Option<Jet<N>> {
        self.per_emf(field, self.cuts[k].b())
    }

    /// Effect at contact `j` per cause at contact `k`.
    pub(crate) fn between(&self, field: &Field, j: usize, k: usize) -> Option<Jet<N>> {
        let (near, far) = (&self.cuts[j.min(k)], &self.cuts[j.max(k)]);
        let found = self.per_emf(field, &field.times(far.b(), near.u()))?;
        Some(if j < k && near.across != far.across { found.scaled(-1.0) } else { found })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::chain::Network;
    use crate::circuit::ports::Ports;
    use crate::circuit::{Contact, Lead, Load, Loudspeaker, PathItem, Role, Section, Source};
    use proptest::prelude::*;

    fn network(source_ohm: f64, henry: f64, lead: Lead, load: Load) -> Network {
        Network::from_section(&Section {
            name: "s".into(),
            source: Some(Source { emf_v: 1.0, resistance_ohm: source_ohm, inductance_h: henry }),
            path: vec![
                PathItem::Contact(Contact::ohmic("a", 0.0)),
                PathItem::Lead(lead),
                PathItem::Contact(Contact::ohmic("b", 0.0)),
                PathItem::Contact(Contact::perfect("mute", Role::Shunt)),
                PathItem::Contact(Contact::ohmic("c", 0.0)),
            ],
            load,
        })
        .unwrap()
    }

    const DRIVER: Loudspeaker = Loudspeaker {
        voice_coil_ohm: 6.4,
        voice_coil_h: 5e-4,
        resonance_hz: 50.0,
        mechanical_q: 2.6,
        electrical_q: 0.5,
    };

    /// Every place in an interval at which a jet is compared with the walk in plain numbers.
    fn close(jet: &Jet, exact: Complex64) -> bool {
        (jet.middle() - exact).norm() <= 1e-10 * exact.norm()
    }

    proptest! {
        #[test]
        fn one_frequency_is_the_ports(
            source in 0.1f64..5e3, henry in 0.0f64..0.7, ohm in 0.0f64..500.0, farad in 0.0f64..1e-8,
            r in prop::collection::vec(1e-2f64..1e4, 4), f in 10.0f64..4e4, speaker: bool
        ) {
            let load = Load { loudspeaker: speaker.then_some(DRIVER), capacitance_f: 1e-9, ..Load::resistance(47.0) };
            let lead = Lead { resistance_ohm: ohm, inductance_h: 1e-4, capacitance_f: farad };
            let network = network(source, henry, lead, load);
            let ladder = &network.links[0].ladder;
            let ports = Ports::new(ladder, &[f], &r);
            // the same frequency from below and from above: one written as its inverse
            for span in [Span::at(f), Span::High(SPLIT / (TAU * f), SPLIT / (TAU * f))] {
                let field = Field::new(span);
                let walk = Walk::<3>::new(&field, ladder, &r, EVEN);
                prop_assert!(close(&walk.transfer(&field).unwrap(), ports.output[0]));
                for k in 0..4 {
                    prop_assert!(close(&walk.drive(&field, k).unwrap(), ports.drive[k]));
                    prop_assert!(close(&walk.reach(&field, k).unwrap(), ports.reach[k]));
                }
                for (j, k) in [(0, 0), (0, 1), (1, 0), (3, 1), (3, 3)] {
                    prop_assert!(close(&walk.between(&field, j, k).unwrap(), ports.admittance(j, k, 0)));
                }
                prop_assert!(close(&walk.between(&field, 2, 2).unwrap(), ports.loop_impedance[2].inv()));
            }
        }

        #[test]
        fn an_interval_holds_every_frequency_in_it(
            henry in 0.0f64..0.7, f in 10.0f64..4e4, width in 1e-3f64..0.2, share in 0.0f64..1.0, speaker: bool
        ) {
            let load = Load { loudspeaker: speaker.then_some(DRIVER), ..Load::resistance(47.0) };
            let network = network(3.0, henry, Lead { resistance_ohm: 1.0, inductance_h: 1e-5, capacitance_f: 1e-8 }, load);
            let r = [1.0, 2.0, 30.0, 0.5];
            let ladder = &network.links[0].ladder;
            let inside = f * (1.0 + width * share);
            let (a, b) = (TAU * f, TAU * f * (1.0 + width));
            let exact = Ports::new(ladder, &[inside], &r);
            for span in [Span::Low(a, b), Span::High(SPLIT / b, SPLIT / a)] {
                let field = Field::new(span);
                let walk = Walk::<3>::new(&field, ladder, &r, EVEN);
                if let Some(jet) = walk.transfer(&field) {
                    let (value, bounds) = (exact.output[0].norm_sqr(), jet.square());
                    prop_assert!(value <= bounds.largest().1 * (1.0 + 1e-12) && value >= bounds.least() * (1.0 - 1e-12));
                }
            }
        }

        #[test]
        fn power_is_the_real_part(henry in 0.0f64..0.7, f in 10.0f64..4e4, speaker: bool) {
            let load = Load { loudspeaker: speaker.then_some(DRIVER), ..Load::resistance(47.0) };
            let network = network(3.0, henry, Lead { resistance_ohm: 1.0, inductance_h: 1e-5, capacitance_f: 1e-8 }, load);
            let field = Field::new(Span::at(f));
            let walk = Walk::<3>::new(&field, &network.links[0].ladder, &[1.0, 2.0, 30.0, 0.5], EVEN);
            for cut in &walk.cuts {
                let part = |(a, b): (Term, Term)| (a.jet.middle() * b.jet.middle().conj()).re;
                for (sum, pair) in [(cut.power.0, cut.down), (cut.power.1, cut.up)] {
                    prop_assert!((sum.jet.middle().re - part(pair)).abs() <= 1e-9 * (pair.0.jet.middle() * pair.1.jet.middle()).norm());
                }
            }
        }
    }

    #[test]
    fn a_contact_in_series_and_one_across_reach_each_other() {
        // source 2 ohm, a, node with the mute (30 ohm) and the rest (c and load, 7 ohm): one ampere fed into the node
        let lead = Lead::default();
        let network = network(2.0, 0.0, lead, Load::resistance(6.5));
        let field = Field::new(Span::at(1e3));
        let walk = Walk::<3>::new(&field, &network.links[0].ladder, &[1.0, 0.0, 30.0, 0.5], EVEN);
        let node = 1.0 / (1.0 / 3.0 + 1.0 / 30.0 + 1.0 / 7.0);
        assert!(close(&walk.between(&field, 2, 2).unwrap(), node.into()));
        assert!(close(&walk.between(&field, 0, 2).unwrap(), (-node / 3.0).into()));
        assert!(close(&walk.between(&field, 3, 2).unwrap(), (node / 7.0).into()));
        // one volt in series with a: what the node gets of it
        assert!(close(&walk.between(&field, 2, 0).unwrap(), (node / 3.0).into()));
    }
}
