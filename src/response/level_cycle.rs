//! Level raised, lowered, and raised again after a rest: films that break down and what they remember.
//!
//! Outer loop over states, inner steady state: at each level every whole film whose peak voltage reaches its breakdown voltage
//! breaks, the one furthest past it first, and every bridge whose peak voltage would pass the pinned one widens until it
//! does not (see [`fritting`](crate::physics::fritting)). Lower levels find the bridges as they are; a rest gives the films
//! back. Breaking is no monotone law: between the level that breaks a film and zero there are two states, and `unique` says
//! where the answer depends on what came before.
//!
//! Common practice, reproduced in the tests: a channel with a bad relay fades at low volume, comes back when turned up and stays.

use super::distortion::{Distortion, distortion};
use super::steady::solve::Solver;
use crate::circuit::chain::Network;
use crate::error::{InputError, positive};
use crate::physics::Film;
use crate::physics::constriction::{Heating, heated_current_a};
use crate::watch::{Stopped, Watch};

/// A bridge's peak voltage as a share of the pinned one, from which it is wide enough.
const PINNED: f64 = 1.0 + 1e-9;

/// Rounds of widening a bridge, and of breaking one film after another.
const MOST_STATES: usize = 200;

/// Breakdown of one contact's film.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Breakdown {
    /// number of the contact through the chain
    pub contact: usize,
    /// peak voltage across the film at which it breaks, V
    pub frit_v: f64,
    /// peak voltage at which its bridge is pinned, V
    pub pinned_v: f64,
}

/// One level of a cycle.
#[derive(Debug, Clone)]
pub struct Step {
    /// what the output does there
    pub distortion: Distortion,
    /// resistance of each contact's bridge, ohm; `None` for a whole film
    pub bridge_ohm: Vec<Option<f64>>,
}

/// Levels up, down, and up again after a rest, each in the order of the levels given.
#[derive(Debug, Clone)]
pub struct LevelCycle {
    /// upwards, from whole films
    pub up: Vec<Step>,
    /// downwards from the highest level
    pub down: Vec<Step>,
    /// each level after a rest
    pub after_rest: Vec<Step>,
}

impl LevelCycle {
    /// Whether the way up and the way down find the same state at a level.
    #[must_use]
    pub fn unique(&self, level: usize) -> bool {
        self.up[level].bridge_ohm == self.down[level].bridge_ohm
    }
}

/// Films and bridges of a network, and what is solved with them.
struct State<'a> {
    network: Network,
    film_ohm: Vec<f64>,
    whole: &'a Network,
    whole_ohm: &'a [f64],
    breakdowns: &'a [Breakdown],
    bridge_ohm: Vec<Option<f64>>,
}

impl State<'_> {
    fn bridge(&mut self, contact: usize, ohm: Option<f64>) {
        self.bridge_ohm[contact] = ohm;
        self.network.contacts[contact].film = match ohm {
            Some(resistance_ohm) => Film::Bridged { resistance_ohm },
            None => self.whole.contacts[contact].film,
        };
        self.film_ohm[contact] = ohm.unwrap_or(self.whole_ohm[contact]);
    }

    fn rest(&mut self) {
        for contact in 0..self.bridge_ohm.len() {
            self.bridge(contact, None);
        }
    }

    /// Puts a level on and lets films break and bridges widen until nothing changes.
    fn drive(&mut self, solver: &mut Solver, tone: (f64, f64)) -> Step {
        let mut found = distortion(solver, &self.network, tone, &self.film_ohm, 10);
        for _ in 0..MOST_STATES {
            let past = |b: &Breakdown| {
                let limit = if self.bridge_ohm[b.contact].is_some() { b.pinned_v * PINNED } else { b.frit_v };
                found.film_peak_v[b.contact] / limit
            };
            let worst = self.breakdowns.iter().map(|b| (past(b), b)).max_by(|a, b| a.0.total_cmp(&b.0));
            let Some((_, breakdown)) = worst.filter(|(past, _)| *past >= 1.0) else { break };
            let (k, peak_v) = (breakdown.contact, found.film_peak_v[breakdown.contact]);
            // the bridge that would hold the pinned voltage at the current of now; with less in the way the current grows,
            // and the next round widens it again
            let film = self.network.contacts[k].film.with_resistance(self.film_ohm[k]);
            let current_a = film.current_a(peak_v).abs().max(film.current_a(-peak_v).abs());
            let wider = heated_current_a(breakdown.pinned_v, 1.0, &Heating::default()) / current_a;
            let ohm = self.bridge_ohm[k].map_or(wider, |now| wider.min(now * (1.0 - 1e-12)));
            self.bridge(k, Some(ohm));
            found = distortion(solver, &self.network, tone, &self.film_ohm, 10);
        }
        Step { distortion: found, bridge_ohm: self.bridge_ohm.clone() }
    }
}

/// Goes through levels (rising, V rms of the first EMF) at a frequency.
///
/// # Errors
/// Levels that do not rise; a breakdown voltage below its pinned one, or not above zero. `Ok(Err(Stopped))` when the watch says so.
pub fn level_cycle(
    network: &Network,
    film_ohm: &[f64],
    (frequency_hz, levels_v): (f64, &[f64]),
    breakdowns: &[Breakdown],
    watch: &dyn Watch,
) -> Result<Result<LevelCycle, Stopped>, InputError> {
    for breakdown in breakdowns {
        let place = format!("contact {:?}", network.contacts[breakdown.contact].name);
        positive("frit_v", breakdown.frit_v).map_err(|e| e.within(&place))?;
        positive("pinned_v", breakdown.pinned_v).map_err(|e| e.within(&place))?;
        if breakdown.pinned_v > breakdown.frit_v {
            let allowed = format!(
                "allowed: at most frit_v, {}: a bridge holds no more than what broke the film",
                breakdown.frit_v
            );
            return Err(InputError::new("pinned_v", breakdown.pinned_v, allowed).within(&place));
        }
    }
    if let Some(pair) = levels_v.windows(2).find(|pair| pair[1] <= pair[0]) {
        let found = format!("{} after {}", pair[1], pair[0]);
        return Err(InputError::new("emf_v", found, "allowed: levels that rise"));
    }
    let mut state = State {
        network: network.clone(),
        film_ohm: film_ohm.to_vec(),
        whole: network,
        whole_ohm: film_ohm,
        breakdowns,
        bridge_ohm: vec![None; network.contacts.len()],
    };
    let mut solver = Solver::default();
    let mut go = |state: &mut State<'_>, level: f64| {
        if watch.stop() { Err(Stopped) } else { Ok(state.drive(&mut solver, (frequency_hz, level))) }
    };
    let mut sweep = || -> Result<LevelCycle, Stopped> {
        let up = levels_v.iter().map(|&level| go(&mut state, level)).collect::<Result<Vec<_>, _>>()?;
        let mut down = levels_v.iter().rev().map(|&level| go(&mut state, level)).collect::<Result<Vec<_>, _>>()?;
        down.reverse();
        let rested = |&level: &f64| {
            state.rest();
            go(&mut state, level)
        };
        let after_rest = levels_v.iter().map(rested).collect::<Result<Vec<_>, _>>()?;
        Ok(LevelCycle { up, down, after_rest })
    };
    Ok(sweep())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::circuit::{Contact, Load, PathItem, Section, Source};
    use crate::response::linear::loss_db;
    use crate::watch::Unwatched;

    fn relay(film: Film, source_ohm: f64, load_ohm: f64) -> Network {
        let section = Section {
            name: "loudspeaker".into(),
            source: Some(Source { emf_v: 1.0, resistance_ohm: source_ohm, inductance_h: 0.0 }),
            path: vec![PathItem::Contact(Contact { film, ..Contact::ohmic("relay", 1.0) })],
            load: Load::resistance(load_ohm),
        };
        Network::from_section(&section).unwrap()
    }

    #[test]
    fn a_bad_relay_fades_at_low_volume_comes_back_when_turned_up_and_stays() {
        // common practice; a film of 60 ohm that breaks at 0.5 V and is pinned at 0.2 V, in an 8 ohm loop
        let film = Film::Tunnelling { resistance_ohm: 60.0, scale_v: 0.4 };
        let network = relay(film, 0.1, 8.0);
        let levels = [0.01, 0.03, 0.1, 0.3, 1.0, 3.0];
        let breaks = [Breakdown { contact: 0, frit_v: 0.5, pinned_v: 0.2 }];
        let cycle = level_cycle(&network, &[60.0], (1e3, &levels), &breaks, &Unwatched).unwrap().unwrap();
        let loss = |step: &Step| {
            let ohm = step.bridge_ohm[0].unwrap_or(60.0);
            loss_db(&network, 1e3, &[ohm]) - step.distortion.fundamental_db
        };
        assert!(loss(&cycle.up[0]) > 15.0, "{}", loss(&cycle.up[0]));
        assert!(loss(&cycle.up[5]) < 1.0);
        assert!(loss(&cycle.down[0]) < 1.0);
        assert!(loss(&cycle.after_rest[0]) > 15.0);
        assert!(!cycle.unique(0) && cycle.unique(5));
        // at the widest moment the bridge holds the pinned voltage at the peak
        assert!((cycle.up[5].distortion.film_peak_v[0] / 0.2 - 1.0).abs() < 1e-6);
    }

    #[test]
    fn a_loose_terminal_gives_third_order_that_grows_with_current_and_not_with_frequency() {
        // common practice: some -50 dB at 1 A for a contact that looks fair, here 85 mohm of heated metal, in order for a relay
        let network = relay(Film::Bridged { resistance_ohm: 0.085 }, 0.05, 8.0);
        let mut solver = Solver::default();
        let mut third = |amps: f64, hz: f64| {
            let found = distortion(&mut solver, &network, (hz, amps * 8.135), &[0.085], 3);
            (found.harmonics[1].norm(), found.harmonics[0].norm())
        };
        let (at_one, even) = third(1.0, 1e3);
        let db = 20.0 * at_one.log10();
        assert!((-55.0..-45.0).contains(&db), "{db}");
        assert!(even < 1e-12 * at_one);
        assert!(third(0.5, 1e3).0 < 0.5 * at_one);
        assert!((third(1.0, 40.0).0 / third(1.0, 15e3).0 - 1.0).abs() < 1e-12);
    }

    #[test]
    fn bad_levels_and_voltages_are_named() {
        let network = relay(Film::Tunnelling { resistance_ohm: 60.0, scale_v: 0.4 }, 0.1, 8.0);
        let go = |levels: &[f64], frit_v, pinned_v| {
            let breaks = [Breakdown { contact: 0, frit_v, pinned_v }];
            level_cycle(&network, &[60.0], (1e3, levels), &breaks, &Unwatched).map(|_| ()).unwrap_err().to_string()
        };
        assert!(go(&[1.0, 1.0], 0.5, 0.2).starts_with("emf_v: 1 after 1"));
        assert!(go(&[1.0], 0.1, 0.2).contains("at most frit_v"));
        assert!(go(&[1.0], f64::NAN, 0.2).contains("frit_v"));
    }
}
