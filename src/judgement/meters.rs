//! How probable a meter's readings are, given what the contact is.

use super::causes::{Cause, Hypothesis};
use super::deeds::Deeds;
use super::priors::Priors;
use super::scene::{Measured, Suspect};
use super::uncertainty::generator::normal_cdf;
use crate::physics::loaded::Loaded;

/// Share of a log-uniform range that another range covers.
pub(super) fn log_share((low, high): (f64, f64), (from, to): (f64, f64)) -> f64 {
    let (low, high) = (low.max(from), high.min(to));
    if high <= low { 0.0 } else { (high / low).ln() / (to / from).ln() }
}

/// Probability that an innocent contact of a kind lies in a range: lognormal below what is usual, or worn.
#[must_use]
pub fn innocent_share(suspect: &Suspect, (low, high): (f64, f64), priors: &Priors) -> f64 {
    let usual_ohm = suspect.usual_ohm;
    let cdf = |ohm: f64| {
        if ohm <= 0.0 { 0.0 } else { normal_cdf((ohm / (INNOCENT_MEDIAN * usual_ohm)).ln() / INNOCENT_SPREAD.ln()) }
    };
    let sound = cdf(high) - cdf(low);
    let worn = log_share((low, high), (usual_ohm, suspect.worn_ohm.max(10.0 * usual_ohm)));
    (1.0 - priors.worn_part) * sound + priors.worn_part * worn
}

/// Sound contacts of a kind: median over what is usual, which is a limit that most keep, and geometric standard deviation
/// \[assumption\]. One in ten is above the limit.
pub const INNOCENT_MEDIAN: f64 = 0.25;
/// See [`INNOCENT_MEDIAN`].
pub const INNOCENT_SPREAD: f64 = 3.0;
/// Changes per second above which a meter shows the mean \[assumption\].
pub(super) const AVERAGED_ABOVE_PER_S: f64 = 5.0;
/// What a reading that does not fit is worth: it was taken at another moment of a contact that wanders \[assumption\].
const MISFIT: f64 = 1e-3;

/// Where all dry readings at rest agree, ohm; `None` where they do not.
#[must_use]
pub fn agreed(readings: &[Measured]) -> Option<(f64, f64)> {
    let rest = readings.iter().filter(|r| r.dry && !r.moved && !r.wandered);
    let range = rest.fold((0.0, f64::INFINITY), |all: (f64, f64), r| (all.0.max(r.low_ohm), all.1.min(r.high_ohm)));
    (range.0 <= range.1).then_some(range)
}

/// How probable the readings of a contact are if it is innocent.
#[must_use]
pub fn readings_if_innocent(suspect: &Suspect, priors: &Priors) -> f64 {
    let share = |range| innocent_share(suspect, range, priors);
    let mut p = agreed(&suspect.readings).map_or(MISFIT, share);
    for r in &suspect.readings {
        if !r.dry {
            p *= share((r.low_ohm, r.high_ohm)).max(MISFIT);
        } else if r.moved || r.wandered {
            p *= share((r.low_ohm, r.high_ohm)) * if swings(r, suspect.usual_ohm) { 0.05 } else { 0.95 };
        }
    }
    p.max(1e-6)
}

/// Whether a reading shows that the contact jumps: it reached three times its least, the meter's width taken off both, and more
/// than half of what is usual for its kind.
fn swings(r: &Measured, usual_ohm: f64) -> bool {
    let width = (r.high_ohm - r.reached_ohm).max(0.0);
    r.wandered && r.reached_ohm > 3.0 * (r.low_ohm + width).max(1e-3) && r.reached_ohm > 0.5 * usual_ohm
}

/// What a meter shows of a contact that jumps faster than it looks: the mean voltage, as ohms.
#[must_use]
pub fn averaged_ohm((low, high): (f64, f64), duty: f64, r: &Measured) -> f64 {
    let Some(front) = r.open_v.zip(r.current_a).map(|(v, a)| v / a).filter(|_| !r.at_signal) else {
        return duty * high + (1.0 - duty) * low;
    };
    let share = |ohm: f64| ohm / (ohm + front);
    let mean = duty * share(high) + (1.0 - duty) * share(low);
    front * mean / (1.0 - mean).max(1e-12)
}

/// Of the largest resistance that is drawn, from where on a reading says no more than "so much".
const UPPERMOST: f64 = 0.1;

impl Measured {
    /// More than the largest that is drawn is as telling as the uppermost of that: nothing speaks less the higher it is.
    fn within_what_is_drawn(&self, most_ohm: f64) -> Self {
        let most = UPPERMOST * most_ohm;
        Self { low_ohm: self.low_ohm.min(most), reached_ohm: self.reached_ohm.min(most), ..self.clone() }
    }
}

impl Cause {
    /// How probable the suspect's readings are under this draw.
    pub(super) fn readings_if_guilty(&self, suspect: &Suspect, deeds: &Deeds) -> f64 {
        let mut p = 1.0;
        let chatters = self.hypothesis == Hypothesis::Chatter;
        // across the signal the worse resistance is the smaller
        let (least, most) = (self.low_ohm.min(self.resistance_ohm), self.low_ohm.max(self.resistance_ohm));
        let within = |ohm: f64, r: &Measured| ohm >= r.low_ohm && ohm <= r.high_ohm;
        // across the signal a high reading is what is sound
        let most_drawn = if deeds.across { f64::INFINITY } else { deeds.bad_ohm().1 };
        for r in &suspect.readings {
            let r = &r.within_what_is_drawn(most_drawn);
            p *= if chatters {
                if r.moved || r.wandered {
                    let reaches = most >= r.reached_ohm && least <= r.high_ohm;
                    let told = if swings(r, suspect.usual_ohm) { 0.6 } else { 0.4 };
                    // how far it was seen to swing, of how far it can
                    let seen = log_share((r.low_ohm.max(1e-9), r.high_ohm), (least.max(1e-9), most.max(1.001e-9)));
                    if reaches { told * (0.2 + 0.8 * seen) } else { MISFIT }
                } else if r.dry && self.rate_per_s >= AVERAGED_ABOVE_PER_S {
                    if within(averaged_ohm((self.low_ohm, self.resistance_ohm), self.duty, r), r) {
                        1.0
                    } else {
                        MISFIT
                    }
                } else if r.dry {
                    log_share((r.low_ohm.max(1e-9), r.high_ohm), (0.8 * least.max(1e-9), 1.25 * most.max(1.001e-9)))
                        .max(MISFIT)
                } else {
                    log_share((r.low_ohm.max(1e-9), r.high_ohm), (1e-2, (1.25 * most).max(0.02))).max(MISFIT)
                }
            } else if r.moved || r.wandered {
                // another spot of the same film
                let told = if swings(r, suspect.usual_ohm) { 0.3 } else { 0.7 };
                let near = (r.low_ohm / 10.0 <= self.resistance_ohm) && (self.resistance_ohm <= 10.0 * r.high_ohm);
                told * if near {
                    log_share(
                        (r.low_ohm.max(1e-9), r.high_ohm),
                        (0.1 * self.resistance_ohm, 10.0 * self.resistance_ohm),
                    )
                    .max(0.01)
                } else {
                    MISFIT
                }
            } else if r.at_signal {
                let seen = deeds.ohm_of_loss(deeds.of(&self.film).loss_db);
                if within(seen, r) { 1.0 } else { MISFIT }
            } else if r.dry {
                self.by_a_dry_meter(r)
            } else {
                self.by_a_meter_that_may_break_it(r)
            };
        }
        p
    }

    /// A dry meter shows the film's chord at the meter's own voltage; a rectifying film has two, told apart by the polarity where
    /// that was written down.
    fn by_a_dry_meter(&self, r: &Measured) -> f64 {
        let fits = |ohm: f64| if ohm >= r.low_ohm && ohm <= r.high_ohm { 1.0 } else { MISFIT };
        let Some((open_v, current_a)) = r.open_v.zip(r.current_a) else { return fits(self.resistance_ohm) };
        let front = open_v / current_a;
        let Some(film) = Loaded::new(&self.film, front) else { return fits(self.resistance_ohm) };
        let start_v = open_v * self.resistance_ohm / (self.resistance_ohm + front);
        let shown = |way: f64| fits(film.chord_ohm(film.film_voltage_v(way * open_v, way * start_v)));
        match r.polarity {
            _ if film.is_odd() => shown(1.0),
            Some(sign) => shown(sign * self.direction),
            None => 0.5 * (shown(1.0) + shown(-1.0)),
        }
    }

    /// A meter with more voltage than the signal: the film stands it and shows its chord, or breaks and shows a bridge.
    fn by_a_meter_that_may_break_it(&self, r: &Measured) -> f64 {
        let open_v = r.open_v.unwrap_or(3.0);
        let front = r.current_a.map_or(0.0, |a| open_v / a);
        let ohm = self.resistance_ohm;
        let loaded = Loaded::new(&self.film, front);
        let (across_v, chord) = match &loaded {
            Some(film) if front > 0.0 => {
                let v = film.film_voltage_v(open_v, open_v * ohm / (ohm + front));
                (v, film.chord_ohm(v))
            }
            _ => (open_v * ohm / (ohm + front).max(1e-12), ohm),
        };
        if loaded.is_none() || across_v < self.frit_v {
            return if chord >= r.low_ohm && chord <= r.high_ohm { 1.0 } else { MISFIT };
        }
        let shown = (r.low_ohm, r.high_ohm.min(1e9));
        let wiped = log_share((shown.0.max(1e-3), shown.1), (1e-2, ohm.max(0.02)));
        let pinned = r.current_a.map_or(wiped, |a| {
            let (from, to) = (0.1 / a, 0.45 / a);
            ((shown.1.min(to) - shown.0.max(from)) / (to - from)).max(0.0)
        });
        (0.5 * wiped + 0.5 * pinned).max(MISFIT)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judgement::dice::Dice;
    use crate::judgement::scene::{Excluded, Nature};
    use crate::judgement::suspects::Who;
    use crate::judgement::uncertainty::Stream;
    use crate::physics::Film;

    fn read(low_ohm: f64, high_ohm: f64, polarity: Option<f64>) -> Measured {
        Measured {
            low_ohm,
            reached_ohm: low_ohm,
            high_ohm,
            dry: true,
            moved: false,
            wandered: false,
            at_signal: false,
            open_v: Some(0.02),
            current_a: Some(2e-5),
            polarity,
            line: 1,
        }
    }

    fn suspect(readings: Vec<Measured>) -> Suspect {
        Suspect {
            who: Who::Contact("a / b".into()),
            nature: Nature::Contact,
            part: "a".into(),
            workable: true,
            in_return: false,
            laws: [0.35, 0.45, 0.2],
            prior: 0.1,
            usual_ohm: 0.1,
            worn_ohm: 10.0,
            readings,
            bridges: vec![],
            drives_control: false,
            direct_current: false,
            goes_with: vec![],
            checked: None,
            excluded: Excluded::No,
        }
    }

    #[test]
    fn a_dry_meter_shows_the_chord_of_a_rectifying_film_either_way_round() {
        // 10 kohm at rest behind the 1 kohm and 20 mV of a box: the diode's own equation, solved by halving
        let film = Film::Rectifying { resistance_ohm: 1e4, ideality: 1.0, leak_ratio: 0.01 };
        let chord = |way: f64| {
            let (mut low, mut high) = (0.0, 0.02);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if middle + 1e3 * film.current_a(way * middle).abs() > 0.02 { high = middle } else { low = middle }
            }
            low / film.current_a(way * low).abs()
        };
        let (forward, reverse) = (chord(1.0), chord(-1.0));
        assert!(forward < 0.8e4 && reverse > 1.25e4, "{forward} {reverse}");
        let mut cause = Cause::draw(
            0,
            &suspect(vec![]),
            Hypothesis::Rectifying,
            None,
            &Priors::default(),
            &mut Dice::new(Stream::new(1, 0), None),
        );
        (cause.film, cause.resistance_ohm, cause.direction) = (film, 1e4, 1.0);
        let near = |ohm: f64, polarity| read(0.99 * ohm, 1.01 * ohm, polarity);
        assert_eq!(cause.by_a_dry_meter(&near(forward, Some(1.0))), 1.0);
        assert_eq!(cause.by_a_dry_meter(&near(forward, Some(-1.0))), MISFIT);
        assert_eq!(cause.by_a_dry_meter(&near(reverse, Some(-1.0))), 1.0);
        // nobody wrote which way round: either half the time
        assert!((cause.by_a_dry_meter(&near(forward, None)) - 0.5).abs() < MISFIT);
        // its value at rest is not what a meter shows
        assert_eq!(cause.by_a_dry_meter(&near(1e4, Some(1.0))), MISFIT);
        cause.direction = -1.0;
        assert_eq!(cause.by_a_dry_meter(&near(forward, Some(-1.0))), 1.0);
    }

    #[test]
    fn a_swing_is_more_than_the_meters_width_and_than_what_is_usual() {
        let wandering = |low_ohm, reached_ohm, high_ohm| Measured {
            wandered: true,
            low_ohm,
            reached_ohm,
            high_ohm,
            ..read(low_ohm, high_ohm, None)
        };
        assert!(swings(&wandering(10.0, 400.0, 420.0), 0.04));
        // 0.1 to 0.4 mV of a box that is good to 0.2 mV
        assert!(!swings(&wandering(0.0, 10.0, 31.0), 0.04));
        // a control may have so much in good order
        assert!(!swings(&wandering(10.0, 400.0, 420.0), 1000.0));
        assert!(!swings(&Measured { wandered: false, ..wandering(10.0, 400.0, 420.0) }, 0.04));
    }

    #[test]
    fn what_jumps_fast_shows_its_mean() {
        // half the time 3 kohm, half nothing, behind 1 kohm: half of three quarters of the voltage, 600 ohm
        assert!((averaged_ohm((0.0, 3e3), 0.5, &read(0.0, 1.0, None)) - 600.0).abs() < 1e-9);
        let played = Measured { at_signal: true, ..read(0.0, 1.0, None) };
        assert!((averaged_ohm((0.0, 3e3), 0.5, &played) - 1500.0).abs() < 1e-9);
    }
}
