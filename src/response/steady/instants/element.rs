//! The films of one loop or one node as a single rising law, entered by a wave so that no end of it is steep.
//!
//! In a loop the law gives a voltage per current, on a node a current per voltage. With `y` the loop's current or the node's
//! voltage and `f` what the films answer, the wave is `w = Rp y + f` in a loop and `w = y + Rp f` on a node; `y(w)` and `f(w)`
//! both rise, neither faster than `1/Rp` or 1.

use crate::physics::Film;
use crate::physics::loaded::Loaded;

/// A film in its place: ohms as one channel sees them.
#[derive(Debug, Clone, Copy)]
pub struct Part {
    /// the law
    pub film: Film,
    /// the law behind its constriction and, where it is alone, behind the wave's resistance
    loaded: Loaded,
    /// the law behind both
    alone: Loaded,
    /// constriction in series, counted here on a node and zero in a loop, ohm
    constriction_ohm: f64,
    /// number among the films of the section
    pub number: usize,
}

/// All films of a loop or a node.
#[derive(Debug, Clone)]
pub struct Element {
    /// across the signal, at a node; in series, in a loop, otherwise
    pub is_node: bool,
    /// resistance of the wave, ohm
    pub wave_ohm: f64,
    parts: Vec<Part>,
}

/// Where an element stands.
#[derive(Debug, Clone, Copy, Default)]
pub struct Stand {
    /// current of a loop, A, or voltage of a node, V
    pub y: f64,
    /// voltage of the films in a loop, V, or their current at a node, A
    pub f: f64,
    /// change of `y` per volt of wave
    pub dy: f64,
    /// change of `f` per volt of wave
    pub df: f64,
}

/// Steps of a search between bounds.
const MOST_STEPS: usize = 200;

impl Element {
    /// An element of these films, given as law, constriction and number; `None` for a law that is a plain resistance.
    pub fn new(is_node: bool, wave_ohm: f64, films: &[(Film, f64, usize)]) -> Option<Self> {
        let mut parts = Vec::new();
        for &(film, constriction_ohm, number) in films {
            let front = constriction_ohm + if films.len() == 1 { wave_ohm } else { 0.0 };
            let alone = Loaded::new(&film, constriction_ohm + wave_ohm)?;
            parts.push(Part { film, loaded: Loaded::new(&film, front)?, alone, constriction_ohm, number });
        }
        // the least current that any film can carry bounds them all: it goes first, its voltage is what is sought
        let most = |part: &Part| match part.film {
            Film::Bridged { resistance_ohm } => resistance_ohm.recip(),
            _ => f64::INFINITY,
        };
        parts.sort_by(|a, b| most(a).total_cmp(&most(b)));
        Some(Self { is_node, wave_ohm, parts })
    }

    /// Where it stands at a wave; `start_v` is a guess of the first film's voltage, left at what it was found to be. No place for a wave that is no number.
    pub fn at(&self, wave_v: f64, start_v: &mut f64) -> Stand {
        if !wave_v.is_finite() {
            return Stand { y: f64::NAN, f: f64::NAN, dy: f64::NAN, df: f64::NAN };
        }
        match &self.parts[..] {
            [] if self.is_node => Stand { y: wave_v, f: 0.0, dy: 1.0, df: 0.0 },
            [] => Stand { y: wave_v / self.wave_ohm, f: 0.0, dy: self.wave_ohm.recip(), df: 0.0 },
            [part] => {
                let u = part.loaded.film_voltage_v(wave_v, *start_v);
                let (current, slope) = part.current(u);
                let front = part.constriction_ohm;
                let behind = front + self.wave_ohm;
                let turn = (1.0 + behind * slope).recip();
                // the root counts from a plain resistance, which far from it costs digits: a last step by the law as it is
                let step = (wave_v - u - behind * current) * turn;
                let (u, current) = (u + step, current + slope * step);
                *start_v = u;
                // where the law is steep its current says more of rounding than what the wave leaves
                let current = if behind * slope > 1.0 { (wave_v - u) / behind } else { current };
                if self.is_node {
                    let y = u + front * current;
                    return Stand { y, f: current, dy: (1.0 + front * slope) * turn, df: slope * turn };
                }
                Stand { y: current, f: u, dy: slope * turn, df: turn }
            }
            parts if self.is_node => self.across(parts, wave_v, start_v),
            parts => self.in_series(parts, wave_v, start_v),
        }
    }

    fn across(&self, parts: &[Part], wave_v: f64, start_v: &mut f64) -> Stand {
        let all = |y: f64| {
            let (mut f, mut slope) = (0.0, 0.0);
            for part in parts {
                let (current, own) = part.current(part.loaded.film_voltage_v(y, f64::NAN));
                f += current;
                slope += own / (1.0 + part.constriction_ohm * own);
            }
            (f, slope)
        };
        // with any one of them alone the voltage would be larger
        let bound = parts.iter().fold(wave_v, |least: f64, part| {
            let u = part.alone.film_voltage_v(wave_v, f64::NAN);
            let own = u + part.constriction_ohm * part.current(u).0;
            if own.abs() < least.abs() { own } else { least }
        });
        let y = root(bound, *start_v, |y| {
            let (f, slope) = all(y);
            let size = y.abs() + self.wave_ohm * f.abs() + wave_v.abs();
            (y + self.wave_ohm * f - wave_v, 1.0 + self.wave_ohm * slope, size)
        });
        *start_v = y;
        let (f, slope) = all(y);
        let turn = (1.0 + self.wave_ohm * slope).recip();
        let f = if self.wave_ohm * slope > 1.0 { (wave_v - y) / self.wave_ohm } else { f };
        Stand { y, f, dy: turn, df: slope * turn }
    }

    fn in_series(&self, parts: &[Part], wave_v: f64, start_v: &mut f64) -> Stand {
        let first = &parts[0];
        // current, voltage of all and resistance of all to a change
        let all = |u: f64| {
            let (current, slope) = first.current(u);
            let (mut f, mut ohm) = (u, slope.recip());
            for part in &parts[1..] {
                // a current past the end of another bridge is past that of the first: nothing stands there
                let other = part.film.voltage_v(current).unwrap_or(f64::INFINITY.copysign(current));
                f += other;
                ohm += part.current(other).1.recip();
            }
            (current, f, ohm, slope)
        };
        let u = root(first.alone.film_voltage_v(wave_v, *start_v), *start_v, |u| {
            let (current, f, ohm, slope) = all(u);
            let size = self.wave_ohm * current.abs() + f.abs() + wave_v.abs();
            (self.wave_ohm * current + f - wave_v, (self.wave_ohm + ohm) * slope, size)
        });
        *start_v = u;
        let (current, f, ohm, _) = all(u);
        let turn = (self.wave_ohm + ohm).recip();
        let current = if ohm < self.wave_ohm { (wave_v - f) / self.wave_ohm } else { current };
        Stand { y: current, f, dy: turn, df: ohm * turn }
    }

    /// Numbers and voltages of the films where the element stands.
    pub fn voltages(&self, wave_v: f64, each: &mut impl FnMut(usize, f64)) {
        let mut start = f64::NAN;
        let stand = self.at(wave_v, &mut start);
        for (k, part) in self.parts.iter().enumerate() {
            each(part.number, self.voltage_v(k, &stand, start));
        }
    }

    fn voltage_v(&self, k: usize, stand: &Stand, start_v: f64) -> f64 {
        let part = &self.parts[k];
        match (self.parts.len(), self.is_node) {
            (1, _) => start_v,
            (_, true) => part.loaded.film_voltage_v(stand.y, f64::NAN),
            (_, false) if k == 0 => start_v,
            (_, false) => part.film.voltage_v(stand.y).unwrap_or(0.0),
        }
    }

    /// Least and largest change of `f` per change of `y` between two waves: ohm of a loop, S of a node. Laws turn at zero if anywhere.
    pub fn slopes_between(&self, low_v: f64, high_v: f64) -> (f64, f64) {
        let (mut low_start, mut high_start) = (f64::NAN, f64::NAN);
        let (low, high) = (self.at(low_v, &mut low_start), self.at(high_v, &mut high_start));
        let (mut least, mut most) = (0.0, 0.0);
        for (k, part) in self.parts.iter().enumerate() {
            let ends = (self.voltage_v(k, &low, low_start), self.voltage_v(k, &high, high_start));
            let (flat, steep) = part.loaded.slopes(ends.0, ends.1);
            let ohm = part.loaded.resistance_ohm();
            if self.is_node {
                least += (part.constriction_ohm + ohm / flat).recip();
                most += (part.constriction_ohm + ohm / steep).recip();
            } else {
                least += ohm / steep;
                most += ohm / flat;
            }
        }
        (least, most)
    }

    /// Least change of `f` per change of `y` anywhere on the laws, and the most: ohm of a loop, S of a node.
    pub fn slopes(&self) -> (f64, f64) {
        let (mut least, mut most) = (0.0, 0.0);
        for part in &self.parts {
            let (low_ohm, high_ohm) = match part.film {
                Film::Ohmic { resistance_ohm } => (resistance_ohm, resistance_ohm),
                Film::Tunnelling { resistance_ohm, .. } => (0.0, resistance_ohm),
                Film::Rectifying { resistance_ohm, leak_ratio, .. } => (0.0, resistance_ohm / leak_ratio),
                Film::Bridged { resistance_ohm } => (resistance_ohm, f64::INFINITY),
            };
            if self.is_node {
                least += (part.constriction_ohm + high_ohm).recip();
                most += (part.constriction_ohm + low_ohm).recip();
            } else {
                least += low_ohm;
                most += high_ohm;
            }
        }
        (least, most)
    }

    /// Wave that takes the film that bends first as far as the voltage of its law, were they all as at zero.
    pub fn bends_at_v(&self) -> f64 {
        let along = |part: &Part| {
            let ohm = part.loaded.resistance_ohm();
            part.loaded.unit_v() * if self.is_node { 1.0 + part.constriction_ohm / ohm } else { ohm.recip() }
        };
        let slope = |part: &Part| {
            let ohm = part.loaded.resistance_ohm();
            if self.is_node { (part.constriction_ohm + ohm).recip() } else { ohm }
        };
        let all: f64 = self.parts.iter().map(slope).sum();
        let turn = if self.is_node { 1.0 + self.wave_ohm * all } else { self.wave_ohm + all };
        turn * self.parts.iter().map(along).fold(f64::INFINITY, f64::min)
    }

    /// Whether there is any film.
    pub fn has_films(&self) -> bool {
        !self.parts.is_empty()
    }
}

impl Part {
    fn current(&self, voltage_v: f64) -> (f64, f64) {
        (self.film.current_a(voltage_v), self.film.slope_s(voltage_v))
    }
}

/// Root of a rising function between zero and a bound: Newton's steps, halving where they leave the bounds. `at` gives the value, its slope,
/// and the size of what the value is the sum of: once nothing but rounding of that is left, more steps would only go to and fro.
fn root(bound: f64, start: f64, mut at: impl FnMut(f64) -> (f64, f64, f64)) -> f64 {
    let (mut low, mut high) = (bound.min(0.0), bound.max(0.0));
    if bound == 0.0 {
        return 0.0;
    }
    let mut x = if start > low && start < high { start } else { bound };
    for _ in 0..MOST_STEPS {
        let (value, slope, size) = at(x);
        if value > 0.0 {
            high = x;
        } else {
            low = x;
        }
        let newton = x - value / slope;
        let next = if newton >= low && newton <= high { newton } else { 0.5 * (low + high) };
        let moved = (next - x).abs();
        x = next;
        if moved <= 2.0 * f64::EPSILON * x.abs() || value.abs() <= f64::EPSILON * size {
            break;
        }
    }
    x
}

#[cfg(test)]
mod steps;
