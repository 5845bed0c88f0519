//! How many ohms are too many at each place, with no readings at all.
//!
//! Below `residue_ohm` the wanted residue is impossible whatever the contact does (T1, any chatter, the others perfect); at
//! `loss_ohm` a steady resistance reaches the wanted loss at 1 kHz, at `crosstalk_ohm` one in a shared return the wanted
//! crosstalk. All rise with the resistance, so each has one root (`reaching.rs`). T1 between any `R` and `R + swing` is at most
//! T1 between zero and the swing: where a contact that is usual for its kind has more ohms than `residue_ohm`, that limit is one of
//! movement, and its value may be larger. Across the signal all is turned round: so many ohms at least.
//!
//! `together_ohm`: if **every** contact of a route has its own at once, all of them together stay below the residue (T2). It is
//! one and the same share of `residue_ohm` for all contacts of the route, so that each may do as much as the others.
//! `playing_v`: below this display of a meter **across** the contact, true rms, while a tone plays at the stated level, it is
//! cleared whatever its ohms (T8).

use super::model::{Job, TypicalUse, part_of};
use super::reaching::{NEAR, smallest_reaching, smallest_reaching_near};
use super::route::Route;
use super::routes::Routes;
use super::rows::{Deed, TONE_HZ, contacts};
use super::typical::with_typical;
use crate::bench::kind::Kind as PartKind;
use crate::bench::method::{Shows, TYPICAL_LEADS_OHM};
use crate::bench::range::{clears_below, shows_too_much_from_ohm};
use crate::bench::{Method, Strength};
use crate::circuit::Role;
use crate::error::{InputError, finite, positive};
use crate::judgement::needs::{LISTENING_DB, Noticed};
use crate::response::ceiling_many::{Moving, ceiling_many};
use crate::response::linear::AUDIBLE_BAND_HZ;
use crate::response::millivolt::millivolt_factor;
use crate::response::status::Status;
use crate::watch::{Stopped, Unwatched, Watch};
use serde::Serialize;

/// What is wanted of every contact.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Targets {
    /// most residue, as a ratio to the tone
    pub residue: f64,
    /// where that is what nobody hears: the loudest level at the ear that it holds for, dB SPL
    pub inaudible_up_to_db: Option<f64>,
    /// most loss at 1 kHz, dB
    pub loss_db: f64,
    /// most crosstalk through a shared return at 1 kHz, dB, below zero
    pub crosstalk_db: f64,
}

impl Default for Targets {
    /// 0.1 %, 0.5 dB, and the 40 dB between channels at 1 kHz that DIN 45500-6 asks for \[seen\].
    fn default() -> Self {
        Self { residue: 1e-3, inaudible_up_to_db: None, loss_db: 0.5, crosstalk_db: -40.0 }
    }
}

impl Targets {
    /// The same with a residue that no published model of hearing lets through, however it is spread and whatever plays, at any level
    /// at the ear up to so many dB SPL: the residue takes less the louder it is.
    ///
    /// # Errors
    /// A level outside 20 to 110 dB SPL.
    pub fn inaudible(self, up_to_db: f64) -> Result<Self, InputError> {
        let noticed = Noticed::at(up_to_db, Strength::Slight)?;
        Ok(Self { residue: noticed.never_below, inaudible_up_to_db: Some(up_to_db), ..self })
    }
}

/// Loudest level at the ear that a job speaks of, dB SPL: what its listenings say, else the usual one.
///
/// # Errors
/// A route whose chain cannot be computed, a level that the models of hearing do not reach.
pub fn loudest_db(job: &Job) -> Result<f64, InputError> {
    let routes = Routes::new(job)?;
    let levels = job.heard.iter().map(|heard| routes.level_at_ear_db(job, heard));
    Ok(levels.reduce(f64::max).unwrap_or(LISTENING_DB))
}

/// Limits of one contact.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limit {
    /// the contact
    pub contact: String,
    /// its section; `None` in the quick form
    pub section: Option<String>,
    /// where in the circuit it stands
    pub role: &'static str,
    /// magnitude of the impedance that it sees at 1 kHz, ohm; `None` where no section describes it
    pub loop_ohm: Option<f64>,
    /// below this (across the signal: above) the wanted residue is impossible, ohm; tightest over its routes
    pub residue_ohm: Option<f64>,
    /// this much is the wanted loss, ohm; tightest over its routes
    pub loss_ohm: Option<f64>,
    /// this much is the wanted crosstalk, ohm; only in a shared return
    pub crosstalk_ohm: Option<f64>,
    /// if every contact of the route has so many at once (across the signal: so many at least), the wanted residue is impossible
    /// for all of them together (T2), ohm; tightest over its routes, `None` where there is no such bound
    pub together_ohm: Option<f64>,
    /// millivoltmeter across it while 1 kHz plays at [`Limits::playing_output_v`]: below this display the wanted residue is
    /// impossible whatever its ohms (T8), V true rms; `None` where the meter is too coarse or the bound does not reach
    pub playing_v: Option<f64>,
    /// true rms volts across it over those of the tone at its section's load, at any level: below this the wanted residue is
    /// impossible whatever its ohms (T8, no meter's accuracy counted); smallest over its routes
    pub playing_ratio: Option<f64>,
    /// volts at its section's load at that level, V rms
    pub playing_load_v: Option<f64>,
    /// the tightest of residue, loss and crosstalk, ohm
    pub stop_ohm: Option<f64>,
    /// whether `residue_ohm` limits the movement, because a contact that is usual for its kind has more
    pub as_movement: bool,
    /// usual for its kind up to, ohm
    pub in_order_up_to_ohm: Option<f64>,
    /// dry box: below this display it is below `stop_ohm` for sure, V
    pub dry_box_v: Option<f64>,
    /// one ampere: below this display, or where `as_movement` below so much movement of it, it is below `stop_ohm`, V
    pub one_ampere_v: Option<f64>,
    /// the sheet's ohmmeter or a typical one: from this display on it is above `stop_ohm` for sure, ohm
    pub hand_meter_ohm: Option<f64>,
}

/// A typical value that stood in for a number, and how far it moves the limits.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TypicalLimit {
    /// where
    pub place: String,
    /// which
    pub name: String,
    /// what it stands for
    pub means: String,
    /// largest factor by which half or twice of it moves a `stop_ohm`, to a ten thousandth; `None` where that has no meaning
    pub moves_by: Option<f64>,
}

/// Limits of a whole job.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limits {
    /// what was wanted
    pub targets: Targets,
    /// one row per contact, in the order of the routes
    pub rows: Vec<Limit>,
    /// typical values used
    pub typical: Vec<TypicalLimit>,
    /// level at the end of every route that `playing_v` is for, V rms
    pub playing_output_v: f64,
    /// name of the ohmmeter that `hand_meter_ohm` is for
    pub hand_meter: String,
    /// version of the program
    pub version: &'static str,
    /// version of the table of typical values
    pub typical_version: u32,
}

/// Limits of every contact of a job.
///
/// # Errors
/// A residue or loss that is not above zero, a crosstalk that is not below; a route whose chain cannot be computed.
pub fn limits(job: &Job, targets: Targets) -> Result<Limits, InputError> {
    limits_with(job, targets, &Unwatched)
}

/// Limits of every contact of a job, asking a watch now and then.
///
/// # Errors
/// As [`limits`]; stopped by the watch.
pub fn limits_with(job: &Job, targets: Targets, watch: &dyn Watch) -> Result<Limits, InputError> {
    positive("residue", targets.residue)?;
    positive("loss_db", targets.loss_db)?;
    finite("crosstalk_db", targets.crosstalk_db)?;
    if targets.crosstalk_db >= 0.0 {
        return Err(InputError::new("crosstalk_db", targets.crosstalk_db, "allowed: below zero, like -40"));
    }
    let (hand_meter, meter) = hand_meter(job);
    let routes = Routes::new(job)?;
    let mut rows = rows(job, &routes, targets, &meter, &[], watch)?;
    together(&mut rows, &routes, targets);
    let playing_output_v = routes.output_v;
    let moved = |used| moved(job, used, targets, &meter, &rows, watch);
    let typical = job.typical.iter().map(moved).collect::<Result<_, _>>()?;
    Ok(Limits {
        targets,
        rows,
        typical,
        playing_output_v,
        hand_meter,
        version: env!("CARGO_PKG_VERSION"),
        typical_version: crate::circuit::typical::VERSION,
    })
}

/// The two-wire ohmmeter of the sheet, else the typical one.
fn hand_meter(job: &Job) -> (String, Method) {
    let own = job.methods.iter().find(|(_, m)| m.shows == Shows::Ohms && m.wires == 2 && m.source_ohm.is_none());
    let typical = || ("hand meter".to_owned(), Method::typical("hand meter").unwrap_or_else(Method::plain));
    own.map_or_else(typical, |(name, method)| (name.clone(), method.clone()))
}

/// Limits of all contacts; where those of a job much like this one are known, to a ten thousandth.
fn rows(
    job: &Job,
    routes: &Routes,
    targets: Targets,
    meter: &Method,
    like: &[Limit],
    watch: &dyn Watch,
) -> Result<Vec<Limit>, InputError> {
    let one = |(k, contact)| {
        if watch.stop() {
            return Err(InputError::new("limits", Stopped, "let it run to its end"));
        }
        Ok(limit(job, routes, contact, targets, meter, like.get(k)))
    };
    contacts(routes).into_iter().enumerate().map(one).collect()
}

/// How far half and twice of a typical value move the limits.
fn moved(
    job: &Job,
    used: &TypicalUse,
    targets: Targets,
    meter: &Method,
    before: &[Limit],
    watch: &dyn Watch,
) -> Result<TypicalLimit, InputError> {
    let mut moves_by: Option<f64> = None;
    for factor in [0.5, 2.0] {
        let Some(other) = with_typical(job, &used.place, factor) else { break };
        let found = rows(&other, &Routes::new(&other)?, targets, meter, before, watch)?;
        for (now, then) in found.iter().zip(before) {
            if let (Some(now), Some(then)) = (now.stop_ohm, then.stop_ohm) {
                let ratio = (now / then).max(then / now);
                let moved = if ratio <= 1.0 + 2.0 * NEAR { 1.0 } else { ratio };
                moves_by = Some(moves_by.unwrap_or(1.0).max(moved));
            }
        }
    }
    Ok(TypicalLimit { place: used.place.clone(), name: used.name.clone(), means: used.means.clone(), moves_by })
}

fn limit(job: &Job, routes: &Routes, contact: String, targets: Targets, meter: &Method, like: Option<&Limit>) -> Limit {
    let role = job.role(&contact);
    let across = role == Role::Shunt;
    let tighter =
        |a: Option<f64>, b: Option<f64>| a.into_iter().chain(b).reduce(if across { f64::max } else { f64::min });
    let part = job.parts.get(part_of(&contact)).filter(|_| !across && role.is_in_the_path());
    let mut row = Limit {
        section: None,
        role: role.word(),
        loop_ohm: None,
        residue_ohm: None,
        loss_ohm: None,
        crosstalk_ohm: None,
        together_ohm: None,
        playing_v: None,
        playing_ratio: None,
        playing_load_v: None,
        stop_ohm: None,
        as_movement: false,
        in_order_up_to_ohm: part.and_then(|p| p.kind?.in_order(p.track_ohm)).map(|limit| limit.up_to_ohm),
        dry_box_v: None,
        one_ampere_v: None,
        hand_meter_ohm: None,
        contact,
    };
    let mut place = None;
    for route in &routes.all {
        let Some(index) = route.index_of(&row.contact) else { continue };
        let deed = Deed::new(route, index, routes.output_v);
        // across the signal few ohms are worse: siemens rise with what they do
        let found = |law: &dyn Fn(f64) -> f64, least: f64, near: Option<f64>| match near {
            Some(near) => smallest_reaching_near(law, least, near),
            None => smallest_reaching(law, least),
        };
        let smallest = |law: &dyn Fn(f64) -> f64, least: f64, near_ohm: Option<f64>| {
            if across {
                found(&|siemens: f64| law(siemens.recip()), least, near_ohm.map(f64::recip)).map(f64::recip)
            } else {
                found(law, least, near_ohm)
            }
        };
        let near = |which: fn(&Limit) -> Option<f64>| like.and_then(which);
        let bounded = deed.residue(1.0).is_some();
        let residue = |ohm| deed.residue(ohm).unwrap_or(f64::INFINITY);
        let by_residue = bounded.then(|| smallest(&residue, targets.residue, near(|row| row.residue_ohm)));
        row.residue_ohm = tighter(row.residue_ohm, by_residue.flatten());
        row.loss_ohm =
            tighter(row.loss_ohm, smallest(&|ohm| deed.loss_db(ohm), targets.loss_db, near(|row| row.loss_ohm)));
        if role == Role::SharedReturn {
            let crosstalk = |ohm| deed.crosstalk_db(ohm);
            let by_crosstalk = smallest(&crosstalk, targets.crosstalk_db, near(|row| row.crosstalk_ohm));
            row.crosstalk_ohm = tighter(row.crosstalk_ohm, by_crosstalk);
        }
        if let Some(ratio) = playing_ratio(route, index, targets.residue) {
            if row.playing_ratio.is_none_or(|known| ratio < known) {
                let load_v = route.load_v(index, routes.output_v);
                row.playing_ratio = Some(ratio);
                row.playing_load_v = (load_v > 0.0).then_some(load_v);
                row.playing_v =
                    Method::typical("signal millivolts").and_then(|meter| shown_below(&meter, ratio * load_v));
            }
        }
        let here = route.place(index, routes.output_v);
        row.loop_ohm.get_or_insert(here.loop_ohm);
        row.section = row.section.or(route.section_name(job, index).map(str::to_owned));
        place.get_or_insert(here);
    }
    row.stop_ohm = tighter(tighter(row.residue_ohm, row.loss_ohm), row.crosstalk_ohm);
    let usual = row.in_order_up_to_ohm.unwrap_or(TYPICAL_LEADS_OHM.0);
    row.as_movement = !across && row.residue_ohm.is_some_and(|ohm| ohm < usual && row.stop_ohm == Some(ohm));
    if let (Some(stop), Some(place), false) = (row.stop_ohm, place, across) {
        let clears = |name: &str| clears_below(&Method::typical(name)?, stop, &place);
        row.dry_box_v = clears("dry box");
        let ampere = Method::typical("1 A drop");
        // what moves under tapping moves at one ampere too: its accuracy alone is taken off; elsewhere than before a loudspeaker an
        // ampere burns tracks and breaks the film that is to be judged
        row.one_ampere_v = if !bears_an_ampere(job, &row.contact) {
            None
        } else if row.as_movement {
            ampere.and_then(|m| {
                let shown_v = (stop * m.current_a.unwrap_or(1.0) - m.floor) / (1.0 + m.of_reading);
                m.can_show(shown_v).then_some(shown_v)
            })
        } else {
            clears("1 A drop")
        };
        row.hand_meter_ohm = (!row.as_movement).then(|| shows_too_much_from_ohm(meter, stop));
    }
    row
}

/// Whether a contact is one that carries amperes anyway: before a loudspeaker, and no track.
fn bears_an_ampere(job: &Job, contact: &str) -> bool {
    let is_track = job.parts.get(part_of(contact)).is_some_and(|part| part.kind == Some(PartKind::Potentiometer));
    !is_track && job.is_before_a_loudspeaker(contact)
}

/// Volts across a contact over those at its section's load at which T8 still clears it.
fn playing_ratio(route: &Route, index: usize, residue: f64) -> Option<f64> {
    let network = &route.network;
    let factor = millivolt_factor(network, index, TONE_HZ, &network.perfect_ohm(), AUDIBLE_BAND_HZ).ok()?;
    // as assess takes it: over what stands at the load of the whole loop
    let ratio = residue * route.at_link_load_v(index, 1.0) / factor;
    (ratio.is_finite() && ratio > 0.0).then_some(ratio)
}

/// Largest display of a meter with which no more than so many volts are there; nothing where it is too coarse to tell.
fn shown_below(meter: &Method, across_v: f64) -> Option<f64> {
    let shown_v = (across_v - meter.floor) / (1.0 + meter.of_reading);
    (shown_v.is_finite() && meter.can_show(shown_v)).then_some(shown_v)
}

/// What every contact of a route may have at once.
fn together(rows: &mut [Limit], routes: &Routes, targets: Targets) {
    for route in &routes.all {
        let network = &route.network;
        let perfect = network.perfect_ohm();
        let own: Vec<(usize, usize, f64)> = rows
            .iter()
            .enumerate()
            .filter_map(|(at, row)| Some((at, route.index_of(&row.contact)?, row.residue_ohm?)))
            .collect();
        let across = |k: usize| network.contacts[k].role == Role::Shunt;
        // one that has no limit of its own has none together with others
        let all_bounded = own.len() == network.contacts.len() && route.contacts().count() == own.len();
        if !all_bounded || own.iter().any(|&(_, k, _)| network.contacts[k].direct_current_a != 0.0) {
            continue;
        }
        let of = |share: f64| -> f64 {
            let ends = |k: usize, ohm: f64| if across(k) { (ohm / share, f64::INFINITY) } else { (0.0, ohm * share) };
            let moving: Vec<Moving> = own.iter().map(|&(_, k, ohm)| (k, ends(k, ohm))).collect();
            let found = ceiling_many(network, TONE_HZ, &moving, &perfect, AUDIBLE_BAND_HZ);
            if found.status == Status::Holds { found.chatter } else { f64::INFINITY }
        };
        let Some(share) = largest_share(&of, targets.residue, own.len()) else { continue };
        for (at, k, ohm) in own {
            let (each, row) = (if across(k) { ohm / share } else { ohm * share }, &mut rows[at]);
            let tighter = if across(k) { f64::max } else { f64::min };
            row.together_ohm = Some(row.together_ohm.map_or(each, |known| tighter(known, each)));
        }
    }
}

/// Largest share of their own limits that several contacts may have at once, from below; nothing where none does.
fn largest_share(of: &dyn Fn(f64) -> f64, residue: f64, count: usize) -> Option<f64> {
    // what a small share leaves is nearly in proportion to it
    const ROUNDS: usize = 12;
    const CLOSE: f64 = 1e-4;
    let (mut low, mut high) = (0.0, 1.0);
    let mut share = 1.0 / count as f64;
    for _ in 0..ROUNDS {
        let found = of(share);
        if found <= residue {
            low = share;
        } else {
            high = share;
        }
        if high - low < CLOSE * high || low >= 1.0 {
            break;
        }
        let next = share * residue / found * (1.0 - 0.1 * CLOSE);
        share = if next > low && next < high { next } else { 0.5 * (low + high) };
    }
    (low > 0.0).then_some(low)
}

/// Whole layouts that are typical, by name: sheets without readings.
pub const LAYOUTS: [(&str, &str); 4] = [
    ("integrated amplifier", include_str!("layouts/integrated-amplifier.toml")),
    ("receiver", include_str!("layouts/receiver.toml")),
    ("phono stage with line amplifier", include_str!("layouts/phono-stage-with-line-amplifier.toml")),
    ("headphone amplifier", include_str!("layouts/headphone-amplifier.toml")),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::ceiling::ratio_for_residue;
    use approx::assert_relative_eq;

    fn layout(name: &str) -> Job {
        let text = LAYOUTS.iter().find(|row| row.0 == name).unwrap().1;
        crate::job::read(text, name, &|_| Err(std::io::ErrorKind::NotFound.into())).unwrap()
    }

    #[test]
    fn every_layout_reads_and_has_limits() {
        for (name, _) in LAYOUTS {
            let rows = limits(&layout(name), Targets::default()).unwrap().rows;
            assert!(rows.len() >= 4 && rows.iter().all(|r| r.stop_ohm.is_some()), "{name}");
        }
    }

    #[test]
    fn resistive_loops_are_the_closed_forms() {
        // bisection on a logarithmic scale, 40 rounds over 15 decades: 3e-11 of the value
        const BISECTION: f64 = 1e-9;
        let rows = limits(&layout("integrated amplifier"), Targets::default()).unwrap().rows;
        let relay = rows.iter().find(|r| r.contact == "speaker relay / a").unwrap();
        let total = 0.05 + 0.13 + 8.0;
        assert_relative_eq!(relay.loop_ohm.unwrap(), total, max_relative = 1e-12);
        assert_relative_eq!(relay.residue_ohm.unwrap(), total * ratio_for_residue(1e-3), max_relative = BISECTION);
        // 0.059254 of the loop for 0.5 dB [calc]
        assert_relative_eq!(relay.loss_ohm.unwrap(), total * 0.059_254, max_relative = 1e-5);
    }

    #[test]
    fn the_quietest_contact_may_have_the_most_ohms() {
        let rows = limits(&layout("integrated amplifier"), Targets::default()).unwrap().rows;
        let stop = |name: &str| rows.iter().find(|r| r.contact == name).unwrap().stop_ohm.unwrap();
        assert!(stop("phono socket / pin") > 100.0 * stop("speaker relay / a"));
    }

    #[test]
    fn inaudible_is_the_lowest_threshold_of_all_models_and_falls_with_level() {
        // -6.0 dB SPL, ISO 389-7 free field at 3150 Hz [seen]
        let at = |db: f64| Targets::default().inaudible(db).unwrap();
        assert_relative_eq!(20.0 * at(80.0).residue.log10(), -6.0 - 80.0, epsilon = 0.0, max_relative = 1e-12);
        let all: Vec<f64> = (30..=110).map(|db| at(f64::from(db)).residue).collect();
        assert!(all.windows(2).all(|pair| pair[1] < pair[0]));
        assert!(Targets::default().inaudible(150.0).unwrap_err().to_string().contains("level_db"));
        let job = layout("integrated amplifier");
        assert_eq!(loudest_db(&job).unwrap(), LISTENING_DB);
        let stop = |targets| limits(&job, targets).unwrap().rows[0].residue_ohm.unwrap();
        assert!(stop(at(80.0)) < 0.1 * stop(Targets::default()));
    }

    #[test]
    fn targets_must_be_above_zero() {
        let job = layout("headphone amplifier");
        let with = |residue, loss_db, crosstalk_db| {
            limits(&job, Targets { residue, loss_db, crosstalk_db, ..Targets::default() })
        };
        assert!(with(0.0, 0.5, -40.0).unwrap_err().to_string().contains("residue: 0; allowed"));
        assert!(with(1e-3, f64::NAN, -40.0).is_err());
        assert!(with(1e-3, 0.5, 40.0).unwrap_err().to_string().contains("below zero"));
    }
}
