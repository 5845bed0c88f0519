//! The network of a section seen from its films, at every line of a grid.
//!
//! As [`Ports`](crate::circuit::ports::Ports), but with the films at a finite reference resistance, so that contacts in series
//! and across the signal are of one kind: a branch with an EMF in it. Two walks of the ladder give all of it.

use super::grid::Grid;
use crate::circuit::chain::Network;
use crate::circuit::twoport::{Ladder, Step};
use crate::circuit::{Contact, Role};
use crate::physics::Film;
use crate::physics::loaded::Loaded;
use num_complex::Complex64;
use std::f64::consts::{SQRT_2, TAU};

/// A film of a section as one channel sees it: in a shared return both channels' current runs through it, which for one of
/// them is a film of twice the ohms.
#[derive(Debug, Clone, Copy)]
pub struct Placed {
    /// number of its contact through the chain
    pub contact: usize,
    /// the film, ohms as one channel sees them
    pub film: Film,
    /// constriction in series, as one channel sees it, ohm
    pub constriction_ohm: f64,
    /// resistance that stands for the film in the network, ohm
    pub reference_ohm: f64,
    /// resistance of the wave `a = u + Rp i`, ohm
    pub wave_ohm: f64,
    /// the film behind `wave_ohm`
    pub loaded: Loaded,
}

/// A section seen from its films; arrays are film-major: `[film * lines + line]`.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    lines: usize,
    /// load voltage per EMF of the source
    pub output: Vec<Complex64>,
    /// current through the film per EMF of the source, S
    pub drive: Vec<Complex64>,
    /// load voltage per EMF in the film's branch
    pub reach: Vec<Complex64>,
    /// what the film's branch sees, its constriction included and the film itself not, ohm
    pub rest: Vec<Complex64>,
    /// current through film k per EMF in the branch of film j: `[(k * films + j) * lines + line]`, S
    pub admittance: Vec<Complex64>,
    walk: Vec<Complex64>,
}

/// Times that a contact's resistance counts in the loop of one channel.
fn times(role: Role) -> f64 {
    if role == Role::SharedReturn { 2.0 } else { 1.0 }
}

/// The films of a section with a law of their own, at zero-voltage resistances `contact_ohm` (by number through the chain).
#[must_use]
pub fn place(network: &Network, ladder: &Ladder, contact_ohm: &[f64]) -> Vec<Placed> {
    placed(network, ladder, contact_ohm).collect()
}

/// The same, one after another.
pub fn placed<'a>(
    network: &'a Network,
    ladder: &Ladder,
    contact_ohm: &'a [f64],
) -> impl Iterator<Item = Placed> + use<'a> {
    let one = move |index: usize| -> Option<Placed> {
        let contact: &Contact = &network.contacts[index];
        let ohm = contact_ohm[index] * times(contact.role);
        if ohm == 0.0 || ohm.is_infinite() {
            return None;
        }
        let film = contact.film.with_resistance(ohm);
        let loaded = Loaded::new(&film, 0.0)?;
        let constriction_ohm = contact.constriction_ohm * times(contact.role);
        Some(Placed { contact: index, film, constriction_ohm, reference_ohm: ohm, wave_ohm: ohm, loaded })
    };
    ladder.contacts().filter_map(one)
}

/// Resistances of all contacts of a section in the loop of one channel, films at their reference.
#[must_use]
pub fn channel_ohm(network: &Network, placed: &[Placed], contact_ohm: &[f64]) -> Vec<f64> {
    let mut ohm: Vec<f64> =
        network.contacts.iter().zip(contact_ohm).map(|(c, r)| times(c.role) * (r + c.constriction_ohm)).collect();
    for film in placed {
        ohm[film.contact] = film.reference_ohm + film.constriction_ohm;
    }
    ohm
}

impl Seen {
    /// Fills in the network at signed frequencies; `ohm` are the [`channel_ohm`].
    pub fn fill(&mut self, ladder: &Ladder, placed: &[Placed], ohm: &[f64], frequency_hz: &[f64]) {
        let (lines, films) = (frequency_hz.len(), placed.len());
        self.lines = lines;
        let zero = Complex64::default();
        for array in [&mut self.drive, &mut self.reach, &mut self.rest, &mut self.walk] {
            array.clear();
            array.resize(lines * films, zero);
        }
        self.output.clear();
        self.output.resize(lines, zero);
        self.admittance.clear();
        self.admittance.resize(lines * films * films, zero);
        for (line, &signed) in frequency_hz.iter().enumerate() {
            self.at(ladder, placed, ohm, line, signed.abs());
            if signed < 0.0 {
                self.mirror(films, line);
            }
        }
    }

    fn mirror(&mut self, films: usize, line: usize) {
        self.output[line] = self.output[line].conj();
        for k in 0..films {
            let at = k * self.lines + line;
            for array in [&mut self.drive, &mut self.reach, &mut self.rest] {
                array[at] = array[at].conj();
            }
        }
        for pair in 0..films * films {
            let at = pair * self.lines + line;
            self.admittance[at] = self.admittance[at].conj();
        }
    }

    fn at(&mut self, ladder: &Ladder, placed: &[Placed], ohm: &[f64], line: usize, frequency_hz: f64) {
        let omega = TAU * frequency_hz;
        let lines = self.lines;
        let films = placed.len();
        // films in the order of the walk from the load; contacts are numbered from the source
        let mut next = films;
        let mut voltage = Complex64::new(1.0, 0.0);
        let mut current = ladder.load.admittance(frequency_hz);
        for step in ladder.steps.iter().rev() {
            match *step {
                Step::Series(ohm, henry) => voltage += Complex64::new(ohm, omega * henry) * current,
                Step::Shunt(siemens, farad) => current += Complex64::new(siemens, omega * farad) * voltage,
                Step::Contact(index) | Step::Shared(index) => {
                    if next > 0 && placed[next - 1].contact == index {
                        next -= 1;
                        let at = next * lines + line;
                        self.rest[at] = voltage / current;
                        self.walk[at] = current;
                    }
                    voltage += current * ohm[index];
                }
                Step::Across(index) => {
                    if next > 0 && placed[next - 1].contact == index {
                        next -= 1;
                        let at = next * lines + line;
                        // admittance of the node for now
                        self.rest[at] = current / voltage;
                        self.walk[at] = voltage / ohm[index];
                    }
                    current += voltage / ohm[index];
                }
            }
        }
        let mut upstream = ladder.source_impedance(frequency_hz);
        let emf = voltage + upstream * current;
        self.output[line] = emf.inv();
        let mut k = 0;
        for step in &ladder.steps {
            match *step {
                Step::Series(ohm, henry) => upstream += Complex64::new(ohm, omega * henry),
                Step::Shunt(siemens, farad) => upstream /= 1.0 + Complex64::new(siemens, omega * farad) * upstream,
                Step::Contact(index) | Step::Shared(index) => {
                    if k < films && placed[k].contact == index {
                        let at = k * lines + line;
                        let (film, walk) = (&placed[k], self.walk[at]);
                        let rest = self.rest[at] + upstream + film.constriction_ohm;
                        let own = (rest + film.reference_ohm).inv();
                        self.rest[at] = rest;
                        self.drive[at] = walk / emf;
                        self.reach[at] = own / walk;
                        self.set_column(films, line, k, own, walk);
                        k += 1;
                    }
                    upstream += ohm[index];
                }
                Step::Across(index) => {
                    if k < films && placed[k].contact == index {
                        let at = k * lines + line;
                        let (film, walk) = (&placed[k], self.walk[at]);
                        // the node without the branch, as an impedance; an ideal source beside it makes it zero
                        let node = upstream / (1.0 + self.rest[at] * upstream);
                        let rest = node + film.constriction_ohm;
                        let own = (rest + film.reference_ohm).inv();
                        self.rest[at] = rest;
                        self.drive[at] = walk / emf;
                        // an EMF that drives current into the branch pulls its node down by node own
                        let onwards = -node * own / ohm[index];
                        self.reach[at] = onwards / walk;
                        self.set_column(films, line, k, onwards, walk);
                        self.admittance[(k * films + k) * lines + line] = own;
                        k += 1;
                    }
                    upstream /= 1.0 + upstream / ohm[index];
                }
            }
        }
    }

    /// Currents that an EMF in branch `j` drives through it and through all branches nearer to the load, and by
    /// reciprocity the same the other way round.
    fn set_column(&mut self, films: usize, line: usize, j: usize, own: Complex64, walk: Complex64) {
        for k in j..films {
            let value = own * (self.walk[k * self.lines + line] / walk);
            self.admittance[(k * films + j) * self.lines + line] = value;
            self.admittance[(j * films + k) * self.lines + line] = value;
        }
    }
}

/// Rounds of the estimate of chords; each contact then stands within a few per cent of where the fundamental puts it.
const CHORD_ROUNDS: usize = 12;

/// Makes the films ready for a tone: the chord that it sees becomes the reference where it is far from the zero-voltage
/// resistance, and the loop that it sees the resistance of its wave. `emf_v` is rms.
pub fn tune(
    network: &Network,
    ladder: &Ladder,
    placed: &mut [Placed],
    contact_ohm: &[f64],
    (emf_v, frequency_hz): (f64, f64),
) {
    let mut seen = Seen::default();
    let mut chords: Vec<f64> = placed.iter().map(|p| p.film.resistance_ohm()).collect();
    for round in 0..CHORD_ROUNDS {
        for (film, chord) in placed.iter_mut().zip(&chords) {
            film.reference_ohm = *chord;
        }
        let ohm = channel_ohm(network, placed, contact_ohm);
        seen.fill(ladder, placed, &ohm, &[frequency_hz]);
        let mut settled = true;
        for (k, film) in placed.iter_mut().enumerate() {
            let rest = seen.rest[k].norm();
            film.wave_ohm = rest.max(1e-9 * chords[k]).max(f64::MIN_POSITIVE);
            // open voltage of the branch, peak
            let open_v = SQRT_2 * emf_v * seen.drive[k].norm() * (seen.rest[k] + film.reference_ohm).norm();
            let Some(loaded) = Loaded::new(&film.film, film.wave_ohm) else { continue };
            film.loaded = loaded;
            let chord = |v: f64| loaded.chord_ohm(loaded.film_voltage_v(v, 0.0));
            let next = (chord(open_v) * chord(-open_v)).sqrt();
            settled &= (next / chords[k] - 1.0).abs() < 0.05;
            chords[k] = if round < 4 { next } else { (next * chords[k]).sqrt() };
        }
        if settled {
            break;
        }
    }
    for (film, chord) in placed.iter_mut().zip(&chords) {
        let zero_voltage = film.film.resistance_ohm();
        let near = (0.5..2.0).contains(&(chord / zero_voltage));
        film.reference_ohm = if near { zero_voltage } else { *chord };
    }
}

/// EMFs that stand for the direct currents of the contacts, one per film: what a direct current that runs through a perfect
/// contact has behind it, everything else at its zero-voltage resistance, V.
#[must_use]
pub fn direct_emf_v(network: &Network, ladder: &Ladder, placed: &[Placed], contact_ohm: &[f64]) -> Vec<f64> {
    let direct: Vec<f64> = placed.iter().map(|film| network.contacts[film.contact].direct_current_a).collect();
    if direct.iter().all(|&current| current == 0.0) {
        return direct;
    }
    let cold: Vec<Placed> =
        placed.iter().map(|film| Placed { reference_ohm: film.film.resistance_ohm(), ..*film }).collect();
    let mut seen = Seen::default();
    seen.fill(ladder, &cold, &channel_ohm(network, &cold, contact_ohm), &[0.0]);
    direct.iter().enumerate().map(|(k, current)| current * seen.rest[k].re).collect()
}

/// `G`, film by film, of one line: waves per EMF.
#[must_use]
pub fn wave_per_emf(seen: &Seen, placed: &[Placed], k: usize, j: usize, line: usize) -> Complex64 {
    let film = &placed[k];
    if k == j {
        let rest = seen.rest[k * seen.lines + line];
        return (film.wave_ohm - rest) * seen.admittance[(k * placed.len() + k) * seen.lines + line];
    }
    (film.reference_ohm + film.wave_ohm) * seen.admittance[(k * placed.len() + j) * seen.lines + line]
}

/// What a spectrum of EMFs (peak phasors' halves) makes of the waves when every film is its reference.
pub fn linear_waves(
    seen: &Seen,
    placed: &[Placed],
    grid: &Grid,
    emf: &[Complex64],
    direct_v: &[f64],
    out: &mut [Complex64],
) {
    let lines = grid.lines();
    for (k, film) in placed.iter().enumerate() {
        let scale = film.reference_ohm + film.wave_ohm;
        for line in 0..lines {
            out[k * lines + line] = scale * seen.drive[k * lines + line] * emf[line];
        }
        for (j, direct) in direct_v.iter().enumerate() {
            out[k * lines] += scale * seen.admittance[(k * placed.len() + j) * lines] * direct;
        }
    }
}
