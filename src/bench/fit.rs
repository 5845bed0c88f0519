//! From current-voltage points of a contact to its film law.
//!
//! The voltage is fitted at given current, `v = Rc i + v_film(i)`, by weighted least squares (Levenberg-Marquardt), for each
//! law of [`crate::physics::film`]; a rectifier both ways round. Laws are compared by Akaike's criterion with its correction
//! for few points (Akaike 1974; Hurvich and Tsai 1989 \[memory\]). Covariance `(J^T W J)^-1`, times the variance of the
//! residuals where no standard deviation was given; intervals are 95 %, normal or Student's.
//!
//! Validity: independent errors of the voltage; errors of the current small against them over the slope; a contact that does
//! not change while it is measured (no fritting: take small voltages first and repeat one). For an ohmic film or a bridge the
//! constriction is part of the resistance: no current-voltage curve parts them.
//!
//! What the points do not tell is not guessed: [`FilmFit::identifiable`] is false with a reason.

use super::fit_law::{Held, Law, Parameters, covariance, sum_of_squares};
pub use super::fit_points::{LEAST_OF_A_POLARITY, LEAST_POINTS};
use super::fit_points::{Points, checked};
use super::fit_starts::{Outcome, USUAL_IDEALITY, ahead, carried_on, fit, fit_resistance, squares_at_ideality};
use crate::error::InputError;
use crate::physics::Film;
use crate::watch::{Stopped, Unwatched, Watch};
use serde::Serialize;
use statrs::distribution::{ChiSquared, ContinuousCDF, StudentsT};

/// Akaike weight from which a law is called.
const SURE: f64 = 0.95;

/// Probability of a chi-square this large below which a fit is called bad.
const BAD_FIT: f64 = 1e-3;

/// Relative standard deviation from which a law's own parameter is not known.
const LOOSE: f64 = 0.5;

/// Rise of the criterion up to which a straight line stands against every curve: `-2 ln(0.05)`.
const STRAIGHT: f64 = 6.0;

/// Rise of the criterion that excludes a law that could have been seen: three standard deviations.
const EXCLUDES: f64 = 9.0;

/// Rise of the criterion, on a few of many points and then on all, from which one search is enough for a law: `-2 ln(1e-22)`.
const HOPELESS: f64 = 100.0;

/// One fitted value.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Parameter {
    /// name with unit
    pub name: &'static str,
    /// value
    pub value: f64,
    /// standard deviation; none where the points do not fix it, or at an end of what is allowed
    pub sd: Option<f64>,
    /// 95 % interval
    pub interval: Option<(f64, f64)>,
    /// held: at an end of what is allowed (constriction 0, ideality 1), or because the points do not tell it
    pub at_bound: bool,
}

/// How one law did.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LawFit {
    /// law
    pub law: &'static str,
    /// parameters of the law, whether free or held
    pub parameters: usize,
    /// weighted sum of squares (`V^2` where no standard deviation was given); of more than 4096 points, for a law that they
    /// exclude, what one search from one start finds
    pub sum_of_squares: f64,
    /// Akaike's criterion, corrected
    pub criterion: f64,
    /// Akaike weight among the laws
    pub weight: f64,
}

/// A film law fitted to points.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilmFit {
    /// whether the points tell the law and its parameters
    pub identifiable: bool,
    /// why not, or what speaks for it
    pub reason: String,
    /// the law that did best
    pub law: &'static str,
    /// the film
    pub film: Film,
    /// a rectifier that conducts at negative current
    pub reversed: bool,
    /// constriction in series, ohm; 0 where it cannot be parted from the resistance
    pub constriction_ohm: f64,
    /// values in the order of the covariance
    pub parameters: Vec<Parameter>,
    /// covariance of the values that were free, zero rows for those held; none where the points do not fix them
    pub covariance: Option<Vec<Vec<f64>>>,
    /// number of points
    pub points: usize,
    /// points less free parameters
    pub degrees_of_freedom: usize,
    /// chi-square, where standard deviations were given
    pub chi_square: Option<f64>,
    /// probability of a chi-square at least as large
    pub probability: Option<f64>,
    /// standard deviation of the differences in voltage, V (weighted: in units of the given one)
    pub residual_sd: f64,
    /// every law, best first; a straight line that is not excluded comes before any curve
    pub comparison: Vec<LawFit>,
}

/// Akaike's criterion with the correction for few points; none where the points are too few for the law.
fn criterion(points: &Points<'_>, squares: f64, free: usize, known_sd: bool) -> Option<f64> {
    let n = points.voltage_v.len() as f64;
    // an unknown standard deviation is one parameter more
    let k = free as f64 + if known_sd { 0.0 } else { 1.0 };
    if n - k - 1.0 < 1.0 {
        return None;
    }
    let correction = 2.0 * k + 2.0 * k * (k + 1.0) / (n - k - 1.0);
    if known_sd {
        return Some(squares + correction);
    }
    // numbers that fit to their last digit must not win by rounding: floor at 1e-12 of the voltage
    let size: f64 = points.voltage_v.iter().map(|v| v * v).sum();
    Some(n * (squares.max(1e-24 * size) / n).ln() + correction)
}

struct Candidate {
    parameters: Parameters,
    held: Held,
    squares: f64,
    criterion: f64,
}

/// Fits every law to points (V, A) of both polarities; `sd_v`: standard deviation of the voltages, one or one each (V).
///
/// # Errors
/// Fewer than [`LEAST_POINTS`] points, fewer than [`LEAST_OF_A_POLARITY`] of a polarity, values not finite, lengths that
/// differ, standard deviations not above zero, a contact that gives power.
pub fn fit_film(voltage_v: &[f64], current_a: &[f64], sd_v: Option<&[f64]>) -> Result<FilmFit, InputError> {
    let never = |Stopped| InputError::new("fit_film", "stopped", "allowed: to run to the end");
    fit_film_watched(voltage_v, current_a, sd_v, &Unwatched)?.map_err(never)
}

/// The same, stopped when the watch says so.
///
/// # Errors
/// As [`fit_film`]; inside, [`Stopped`].
pub fn fit_film_watched(
    voltage_v: &[f64],
    current_a: &[f64],
    sd_v: Option<&[f64]>,
    watch: &dyn Watch,
) -> Result<Result<FilmFit, Stopped>, InputError> {
    let points = checked(voltage_v, current_a, sd_v, watch)?;
    let known = sd_v.is_some();
    let laws = [
        Law::Ohmic,
        Law::Bridged,
        Law::Tunnelling,
        Law::Rectifying { reversed: false },
        Law::Rectifying { reversed: true },
    ];
    let mut candidates: Vec<Candidate> = Vec::new();
    let mut unweighed = None;
    let ahead = ahead_of(&points, &laws);
    let hopeless = without_hope(&points, &ahead, known);
    // what the others come to tells whether a law without hope is that on all points
    let mut least = f64::INFINITY;
    let mut order: Vec<usize> = (0..laws.len()).collect();
    order.sort_by_key(|&k| hopeless[k]);
    for k in order {
        let (law, ahead) = (laws[k], &ahead[k][..]);
        let alone = ahead.first().filter(|_| hopeless[k]).and_then(|one| carried_on(&points, one));
        let excluded = |one: &Outcome| {
            criterion(&points, one.squares, one.held.len(), known).is_some_and(|c| c - least > HOPELESS)
        };
        let fitted = alone.filter(excluded).or_else(|| fit(&points, law, ahead));
        if watch.stop() {
            return Ok(Err(Stopped));
        }
        let Some(Outcome { squares, found: parameters, held }) = fitted else { continue };
        // both ways round a rectifier has as many parameters as its law, whether held at a bound or not
        let Some(criterion) = criterion(&points, squares, held.len(), known) else {
            unweighed = Some(parameters.film.law());
            continue;
        };
        least = least.min(criterion);
        let same = candidates.iter().position(|c| c.parameters.film.law() == parameters.film.law());
        let candidate = Candidate { parameters, held, squares, criterion };
        match same {
            Some(k) if candidates[k].squares <= squares => {}
            Some(k) => candidates[k] = candidate,
            None => candidates.push(candidate),
        }
    }
    candidates.sort_by(|a, b| a.criterion.total_cmp(&b.criterion));
    // a curve that is no surer than this is not a curve: the straight line stands
    let least = candidates.first().map_or(0.0, |c| c.criterion);
    let straight = |c: &Candidate| c.parameters.law == Law::Ohmic && c.criterion - least < STRAIGHT;
    if let Some(k) = candidates.iter().position(straight) {
        candidates[..=k].rotate_right(1);
    }
    let Some(best) = candidates.first() else {
        return Err(InputError::new(
            "voltage_v",
            "points that no law fits",
            "allowed: currents and voltages of one contact",
        ));
    };
    let total: f64 = candidates.iter().map(|c| (0.5 * (least - c.criterion)).exp()).sum();
    let comparison: Vec<_> = candidates
        .iter()
        .map(|c| LawFit {
            law: c.parameters.film.law(),
            parameters: c.held.len(),
            sum_of_squares: c.squares,
            criterion: c.criterion,
            weight: (0.5 * (least - c.criterion)).exp() / total,
        })
        .collect();
    let free = best.held.iter().filter(|held| !**held).count();
    let degrees = points.voltage_v.len() - free;
    let residual_sd = (best.squares / degrees as f64).sqrt();
    let unit = covariance(&points, &best.parameters, &best.held);
    let variance = if known { 1.0 } else { residual_sd * residual_sd };
    let quantile = quantile_95(degrees, known);
    let mut order = 0;
    let parameters: Vec<_> = best
        .parameters
        .names()
        .iter()
        .zip(best.parameters.values())
        .zip(&best.held)
        .map(|((&name, value), &at_bound)| {
            let mut sd = None;
            if !at_bound {
                sd = unit.as_ref().map(|c| (variance * c[(order, order)]).sqrt());
                order += 1;
            }
            Parameter { name, value, sd, interval: sd.map(|s| (value - quantile * s, value + quantile * s)), at_bound }
        })
        .collect();
    let whole = unit.map(|c| spread(&(c * variance), &best.held));
    let probability = known.then(|| ChiSquared::new(degrees as f64).map_or(f64::NAN, |d| d.sf(best.squares)));
    let mut result = FilmFit {
        identifiable: false,
        reason: String::new(),
        law: best.parameters.film.law(),
        film: best.parameters.film,
        reversed: best.parameters.law == Law::Rectifying { reversed: true },
        constriction_ohm: best.parameters.constriction_ohm,
        parameters,
        covariance: whole,
        points: points.voltage_v.len(),
        degrees_of_freedom: degrees,
        chi_square: known.then_some(best.squares),
        probability,
        residual_sd,
        comparison,
    };
    (result.identifiable, result.reason) = verdict(&points, &result, best, known);
    // of an ohmic film the verdict has tried every law with its resistance alone
    if let (true, Some(law), true) = (result.identifiable, unweighed, result.law != "ohmic") {
        let n = points.voltage_v.len();
        let reason =
            format!("law not identifiable: {n} points cannot weigh a {law} film against a {}; take more", result.law);
        (result.identifiable, result.reason) = (false, reason);
    }
    // what was stopped half way says nothing
    Ok(if watch.stop() { Err(Stopped) } else { Ok(result) })
}

/// What each law comes to on a few of many points, best first; nothing where there are not more than few.
fn ahead_of(points: &Points<'_>, laws: &[Law]) -> Vec<Vec<Outcome>> {
    let Some(few) = points.thinned() else { return vec![Vec::new(); laws.len()] };
    let few = few.points(points.watch);
    laws.iter().map(|&law| ahead(&few, law)).collect()
}

/// For each law whether a few of many points exclude it by [`HOPELESS`].
fn without_hope(points: &Points<'_>, ahead: &[Vec<Outcome>], known: bool) -> Vec<bool> {
    let Some(few) = points.thinned() else { return vec![false; ahead.len()] };
    let few = few.points(points.watch);
    let criteria =
        ahead.iter().map(|law| law.first().and_then(|one| criterion(&few, one.squares, one.held.len(), known)));
    let criteria: Vec<_> = criteria.collect();
    let least = criteria.iter().flatten().copied().fold(f64::INFINITY, f64::min);
    criteria.into_iter().map(|one| one.is_some_and(|one| one - least > HOPELESS)).collect()
}

fn quantile_95(degrees: usize, known: bool) -> f64 {
    // the normal one, for which a given standard deviation stands
    const NORMAL: f64 = 1.959_963_984_540_054;
    if known {
        return NORMAL;
    }
    StudentsT::new(0.0, 1.0, degrees as f64).map_or(NORMAL, |t| t.inverse_cdf(0.975))
}

fn spread(free: &nalgebra::DMatrix<f64>, held: &Held) -> Vec<Vec<f64>> {
    let places: Vec<Option<usize>> = held
        .iter()
        .scan(0, |next, held| {
            let place = (!*held).then_some(*next);
            *next += usize::from(!*held);
            Some(place)
        })
        .collect();
    let entry = |a: Option<usize>, b: Option<usize>| a.zip(b).map_or(0.0, |at| free[at]);
    places.iter().map(|&a| places.iter().map(|&b| entry(a, b)).collect()).collect()
}

/// Whether the points tell the law, and why.
fn verdict(points: &Points<'_>, found: &FilmFit, best: &Candidate, known: bool) -> (bool, String) {
    if found.probability.is_some_and(|p| p < BAD_FIT) {
        let times = found.residual_sd;
        return (
            false,
            format!("no law fits: the points scatter {times:.3} times their stated standard deviation about the best"),
        );
    }
    let largest_v = points.largest_voltage_v();
    if found.law == "ohmic" {
        // gentlest films of the bench priors: had one been there, would it have shown?
        let film = |scale_v| Film::Tunnelling { resistance_ohm: 1.0, scale_v };
        let gentle = Film::Rectifying { resistance_ohm: 1.0, ideality: 2.5, leak_ratio: 0.5 };
        let rivals = [
            (Law::Tunnelling, film(1.9)),
            (Law::Rectifying { reversed: false }, gentle),
            (Law::Rectifying { reversed: true }, gentle),
            (Law::Bridged, Film::Bridged { resistance_ohm: 1.0 }),
        ];
        for (law, film) in rivals {
            let Some(rival) = fit_resistance(points, law, film) else { continue };
            let squares = sum_of_squares(points, &rival);
            if criterion(points, squares, 1, known).is_none_or(|c| c - best.criterion < EXCLUDES) {
                let name = film.law();
                return (
                    false,
                    format!(
                        "law not identifiable: up to {largest_v:.3e} V nothing departs from a straight line, and a {name} film \
                         would not have shown; the points are dry: take some at larger current, last"
                    ),
                );
            }
        }
        return (true, format!("straight up to {largest_v:.3e} V, where every other law would have shown"));
    }
    let weight = found.comparison.first().map_or(0.0, |c| c.weight);
    if weight < SURE {
        let second = found.comparison.get(1).map_or("no other", |c| c.law);
        return (false, format!("law not identifiable: {} (weight {weight:.2}) and {second} fit alike", found.law));
    }
    // an ideality that is held says nothing of itself: could one half as large again (or as small) be it too?
    let held = found.parameters.iter().find(|p| p.at_bound && p.name == "ideality");
    if let Some(held) = held {
        let [low, high] = USUAL_IDEALITY;
        let other =
            if held.value < 0.5 * (low + high) { held.value * (1.0 + LOOSE) } else { held.value / (1.0 + LOOSE) };
        let squares = squares_at_ideality(points, &best.parameters, other);
        let near = criterion(points, squares, best.held.len(), known).is_none_or(|c| c - best.criterion < EXCLUDES);
        if near || held.value > high {
            return (
                false,
                "law rectifying, but its ideality is not known: only (1 - leak)/ideality is told".to_owned(),
            );
        }
    }
    let loose = found
        .parameters
        .iter()
        .find(|p| p.name != "constriction_ohm" && !p.at_bound && p.sd.is_none_or(|sd| sd > LOOSE * p.value));
    if let Some(loose) = loose {
        return (false, format!("law {}, but its {} is not known to a factor of two", found.law, loose.name));
    }
    (true, format!("{} with weight {weight:.3}", found.law))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn symmetric(most_a: f64, n: i32) -> Vec<f64> {
        (-n..=n).filter(|k| *k != 0).map(|k| most_a * f64::from(k) / f64::from(n)).collect()
    }

    fn planted(film: Film, law: Law, rc: f64, current_a: &[f64]) -> Vec<f64> {
        let p = Parameters { law, constriction_ohm: rc, film };
        // a fixed scatter of +-1e-6 of the largest, so that no law fits to the last digit
        let clean: Vec<_> = current_a.iter().map(|&i| p.voltage_v(i).unwrap()).collect();
        let most = clean.iter().fold(0.0f64, |m, v| m.max(v.abs()));
        clean.iter().enumerate().map(|(k, v)| v + 1e-6 * most * (12.9898 * k as f64).sin()).collect()
    }

    #[test]
    fn each_law_is_told() {
        for (film, law, rc, most) in [
            (Film::Ohmic { resistance_ohm: 2.0 }, Law::Ohmic, 0.0, 1.0),
            (Film::Bridged { resistance_ohm: 2.0 }, Law::Bridged, 0.0, 0.06),
            (Film::Tunnelling { resistance_ohm: 50.0, scale_v: 0.2 }, Law::Tunnelling, 1.0, 0.05),
            (
                Film::Rectifying { resistance_ohm: 50.0, ideality: 1.5, leak_ratio: 0.1 },
                Law::Rectifying { reversed: true },
                1.0,
                0.01,
            ),
        ] {
            let current = symmetric(most, 12);
            let found = fit_film(&planted(film, law, rc, &current), &current, None).unwrap();
            assert!(found.identifiable, "{found:?}");
            assert_eq!(found.law, film.law());
            assert_eq!(found.reversed, law == Law::Rectifying { reversed: true });
            assert_relative_eq!(found.film.resistance_ohm(), film.resistance_ohm(), epsilon = 0.0, max_relative = 1e-3);
            assert_relative_eq!(found.constriction_ohm, rc, epsilon = 1e-2);
        }
    }

    #[test]
    fn dry_points_do_not_tell() {
        let film = Film::Tunnelling { resistance_ohm: 50.0, scale_v: 0.3 };
        let current = symmetric(1e-5, 10);
        // 0.5 mV of 0.3 V: departs by 5e-7, under the scatter
        let found = fit_film(&planted(film, Law::Tunnelling, 0.0, &current), &current, None).unwrap();
        assert!(!found.identifiable && found.reason.contains("dry"), "{found:?}");
        assert_relative_eq!(found.film.resistance_ohm(), 50.0, epsilon = 0.0, max_relative = 1e-5);
    }

    #[test]
    fn six_points_without_their_scatter_do_not_weigh_a_rectifier() {
        let current = symmetric(0.05, 3);
        let voltage = planted(Film::Tunnelling { resistance_ohm: 50.0, scale_v: 0.2 }, Law::Tunnelling, 0.0, &current);
        let found = fit_film(&voltage, &current, None).unwrap();
        assert_eq!(found.law, "tunnelling");
        assert!(!found.identifiable && found.reason.contains("take more"), "{found:?}");
        assert!(fit_film(&voltage, &current, Some(&[1e-6])).unwrap().identifiable);
    }

    #[test]
    fn a_stopped_fit_is_no_fit() {
        /// Says stop from the count-th question on.
        struct After(std::sync::atomic::AtomicUsize, usize);
        impl Watch for After {
            fn stop(&self) -> bool {
                self.0.fetch_add(1, std::sync::atomic::Ordering::Relaxed) >= self.1
            }
        }
        let current = symmetric(0.05, 10);
        let voltage = planted(Film::Tunnelling { resistance_ohm: 50.0, scale_v: 0.2 }, Law::Tunnelling, 1.0, &current);
        for count in [0, 1, 10, 100] {
            let found = fit_film_watched(&voltage, &current, None, &After(0.into(), count)).unwrap();
            assert_eq!(found, Err(Stopped), "{count}");
        }
        assert!(fit_film_watched(&voltage, &current, None, &After(0.into(), usize::MAX)).unwrap().is_ok());
    }

    #[test]
    fn a_wrong_standard_deviation_is_told() {
        let current = symmetric(0.05, 10);
        let voltage = planted(Film::Ohmic { resistance_ohm: 2.0 }, Law::Ohmic, 0.0, &current);
        let found = fit_film(&voltage, &current, Some(&[1e-10])).unwrap();
        assert!(!found.identifiable && found.reason.contains("no law fits"), "{found:?}");
    }

    #[test]
    fn refusals() {
        let current = symmetric(0.05, 10);
        let voltage: Vec<_> = current.iter().map(|i| 2.0 * i).collect();
        let few = fit_film(&voltage[8..12], &current[8..12], None).unwrap_err();
        assert!(few.value.contains("4 points"), "{few}");
        let one = fit_film(&voltage[10..], &current[10..], None).unwrap_err();
        assert!(one.value.contains("negative"), "{one}");
        assert!(fit_film(&voltage, &current[1..], None).is_err());
        assert!(fit_film(&voltage, &current, Some(&[0.0])).is_err());
        assert!(fit_film(&voltage, &current, Some(&[1.0, 2.0])).is_err());
        let backwards: Vec<_> = voltage.iter().map(|v| -v).collect();
        assert!(fit_film(&backwards, &current, None).unwrap_err().allowed.contains("reversed"));
        for factor in [1e-16, 1e11] {
            let far: Vec<_> = voltage.iter().map(|v| factor * v).collect();
            assert!(fit_film(&far, &current, None).unwrap_err().allowed.contains("unit"));
        }
        assert!(fit_film(&voltage, &current, Some(&[1e-40])).is_err());
        let mut broken = voltage.clone();
        broken[3] = f64::NAN;
        assert_eq!(fit_film(&broken, &current, None).unwrap_err().place, "voltage_v[3]");
    }
}
