//! The laws of one contact on arrays: one table of names, arguments and functions; `weaklink.physics` has the faces.

use super::array::{Arguments, Domain, at, run};
use super::errors::input_error;
use super::fit::flat;
use super::number::Number;
use super::values::Film;
use crate::error::{InputError, finite, positive};
use crate::physics::chatter::{self, Telegraph};
use crate::physics::constriction::{self, Heating, Spot};
use crate::physics::fritting::{self, Fritting};
use crate::physics::growth::{self, Environment, Tarnish};
use crate::physics::metal::{METALS, Published};
use crate::physics::noise;
use crate::physics::series::Series;
use crate::physics::tunnelling::Barrier;
use pyo3::prelude::*;
use pyo3::types::{PyBool, PyString, PyTuple};
use serde_json::{Value, json};

/// A law on numbers: its arguments with what they may be, and the function.
struct Law {
    name: &'static str,
    arguments: &'static [(&'static str, Domain)],
    at: fn(&[f64]) -> Result<f64, InputError>,
}

use Domain::{Finite, NotNegative, NotNegativeOrInfinite, Positive};

fn heating(ambient_k: f64, lorenz_v2_per_k2: f64) -> Heating {
    Heating { ambient_k, lorenz_v2_per_k2 }
}

fn barrier(x: &[f64]) -> Result<Barrier, InputError> {
    let barrier = Barrier { height_ev: x[0], thickness_m: x[1] };
    barrier.check()?;
    Ok(barrier)
}

fn within_barrier(value: Option<f64>, x: &[f64]) -> Result<f64, InputError> {
    value.ok_or_else(|| InputError::new("voltage_v", x[2], format!("allowed: less than height_ev, {}", x[0])))
}

fn telegraph(x: &[f64]) -> Result<Telegraph, InputError> {
    let telegraph = Telegraph { low_ohm: x[0], high_ohm: x[1], dwell_low_s: x[2], dwell_high_s: x[3] };
    telegraph.check()?;
    Ok(telegraph)
}

fn rising(names: (&str, &str), low: f64, high: f64) -> Result<(), InputError> {
    if high >= low {
        Ok(())
    } else {
        Err(InputError::new(names.1, high, format!("allowed: {}, {low}, or more", names.0)))
    }
}

const AMBIENT: (&str, Domain) = ("ambient_k", Positive);
const LORENZ: (&str, Domain) = ("lorenz_v2_per_k2", Positive);
const HEIGHT: (&str, Domain) = ("height_ev", Positive);
const THICKNESS: (&str, Domain) = ("thickness_m", Positive);
const TELEGRAPH: [(&str, Domain); 4] =
    [("low_ohm", NotNegative), ("high_ohm", NotNegative), ("dwell_low_s", Positive), ("dwell_high_s", Positive)];

macro_rules! law {
    ($name:literal, [$($argument:expr),*], $at:expr) => {
        Law { name: $name, arguments: &[$($argument),*], at: $at }
    };
}

const LAWS: &[Law] = &[
    law!(
        "spot_ohm",
        [("radius_m", Positive), ("resistivity_ohm_m", Positive), ("other_resistivity_ohm_m", Positive)],
        |x| Ok(constriction::spot_ohm(x[0], x[1], x[2]))
    ),
    law!(
        "cluster_ohm",
        [("count", Positive), ("radius_m", Positive), ("cluster_radius_m", Positive), ("resistivity_ohm_m", Positive)],
        |x| Ok(constriction::cluster_ohm(x[0], x[1], x[2], x[3]))
    ),
    law!("plastic_radius_m", [("force_n", Positive), ("hardness_pa", Positive), ("fullness", Positive)], |x| {
        Ok(constriction::plastic_radius_m(x[0], x[1], x[2]))
    }),
    law!(
        "plastic_ohm",
        [("force_n", Positive), ("hardness_pa", Positive), ("fullness", Positive), ("resistivity_ohm_m", Positive)],
        |x| Ok(constriction::plastic_ohm(x[0], x[1], x[2], x[3]))
    ),
    law!("hottest_k", [("voltage_v", Finite), AMBIENT, LORENZ], |x| {
        Ok(constriction::hottest_k(x[0], &heating(x[1], x[2])))
    }),
    law!("rise_k", [("voltage_v", Finite), AMBIENT, LORENZ], |x| Ok(constriction::rise_k(x[0], &heating(x[1], x[2])))),
    law!("voltage_for_temperature_v", [("hottest_k", Positive), AMBIENT, LORENZ], |x| {
        rising(("ambient_k", "hottest_k"), x[1], x[0])?;
        Ok(constriction::voltage_for_temperature_v(x[0], &heating(x[1], x[2])))
    }),
    law!("heated_current_a", [("voltage_v", Finite), ("cold_ohm", Positive), AMBIENT, LORENZ], |x| {
        Ok(constriction::heated_current_a(x[0], x[1], &heating(x[2], x[3])))
    }),
    law!("heated_voltage_v", [("current_a", Finite), ("cold_ohm", Positive), AMBIENT, LORENZ], |x| {
        let heating = heating(x[2], x[3]);
        let most = std::f64::consts::FRAC_PI_2 * heating.scale_v() / x[1];
        constriction::heated_voltage_v(x[0], x[1], &heating).ok_or_else(|| {
            InputError::new("current_a", x[0], format!("allowed: less than {most} A at this resistance"))
        })
    }),
    law!("third_harmonic", [("cold_peak_v", Positive), AMBIENT, LORENZ], |x| {
        let heating = heating(x[1], x[2]);
        let most = std::f64::consts::FRAC_PI_2 * heating.scale_v();
        constriction::third_harmonic(x[0], &heating)
            .ok_or_else(|| InputError::new("cold_peak_v", x[0], format!("allowed: less than {most} V")))
    }),
    law!(
        "third_harmonic_cubic",
        [("fundamental_peak_v", NotNegative), ("coefficient_per_k", Positive), AMBIENT, LORENZ],
        |x| Ok(constriction::third_harmonic_cubic(x[0], x[1], &heating(x[2], x[3])))
    ),
    law!("thermal_time_s", [("radius_m", Positive), ("diffusivity_m2_per_s", Positive)], |x| {
        Ok(constriction::thermal_time_s(x[0], x[1]))
    }),
    law!("quasi_static_limit_hz", [("radius_m", Positive), ("diffusivity_m2_per_s", Positive)], |x| {
        Ok(constriction::quasi_static_limit_hz(x[0], x[1]))
    }),
    law!("tunnelling_density_a_per_m2", [HEIGHT, THICKNESS, ("voltage_v", Finite)], |x| {
        within_barrier(barrier(x)?.density_a_per_m2(x[2]), x)
    }),
    law!("tunnelling_slope_s_per_m2", [HEIGHT, THICKNESS, ("voltage_v", Finite)], |x| {
        within_barrier(barrier(x)?.slope_s_per_m2(x[2]), x)
    }),
    law!("tunnelling_area_resistance_ohm_m2", [HEIGHT, THICKNESS], |x| Ok(barrier(x)?.area_resistance_ohm_m2())),
    law!("tunnelling_gamma_per_v2", [HEIGHT, THICKNESS], |x| Ok(barrier(x)?.gamma_per_v2())),
    law!("tunnelling_taylor_gamma_per_v2", [HEIGHT, THICKNESS], |x| Ok(barrier(x)?.taylor_gamma_per_v2())),
    law!("tunnelling_scale_v", [HEIGHT, THICKNESS], |x| Ok(1.0 / (6.0 * barrier(x)?.gamma_per_v2()).sqrt())),
    law!("tunnelling_thickness_m", [HEIGHT, ("area_resistance_ohm_m2", Positive)], |x| {
        Ok(Barrier::from_area_resistance(x[0], x[1])?.thickness_m)
    }),
    law!("breakdown_v", [("thickness_m", Positive), ("field_v_per_m", Positive)], |x| Ok(fritting::breakdown_v(
        x[0], x[1]
    ))),
    law!(
        "telegraph_spectrum_per_hz",
        [("step", Finite), ("dwell_one_s", Positive), ("dwell_other_s", Positive), ("frequency_hz", NotNegative)],
        |x| Ok(chatter::spectrum_per_hz(x[0], x[1], x[2], x[3]))
    ),
    law!("telegraph_variance", [("step", Finite), ("dwell_one_s", Positive), ("dwell_other_s", Positive)], |x| {
        Ok(chatter::variance(x[0], x[1], x[2]))
    }),
    law!("telegraph_corner_hz", [("dwell_one_s", Positive), ("dwell_other_s", Positive)], |x| {
        Ok(chatter::corner_hz(x[0], x[1]))
    }),
    law!("chatter_residue", [TELEGRAPH[0], TELEGRAPH[1], TELEGRAPH[2], TELEGRAPH[3], ("loop_ohm", Positive)], |x| {
        Ok(telegraph(x)?.residue(x[4]))
    }),
    law!(
        "chatter_residue_in_band",
        [
            TELEGRAPH[0],
            TELEGRAPH[1],
            TELEGRAPH[2],
            TELEGRAPH[3],
            ("loop_ohm", Positive),
            ("tone_hz", Positive),
            ("low_hz", NotNegative),
            ("high_hz", Positive)
        ],
        |x| {
            rising(("low_hz", "high_hz"), x[6], x[7])?;
            Ok(telegraph(x)?.residue_in_band(x[4], x[5], x[6], x[7]))
        }
    ),
    law!("thermal_noise_v_per_rthz", [("resistance_ohm", NotNegative), ("temperature_k", Positive)], |x| {
        Ok(noise::thermal_v_per_rthz(x[0], x[1]))
    }),
    law!("spot_flicker", [("radius_m", Positive), ("hooge", Positive), ("electrons_per_m3", Positive)], |x| {
        Ok(noise::spot_flicker(x[0], x[1], x[2]))
    }),
    law!(
        "constriction_flicker",
        [
            ("resistance_ohm", Positive),
            ("resistivity_ohm_m", Positive),
            ("hooge", Positive),
            ("electrons_per_m3", Positive)
        ],
        |x| Ok(noise::constriction_flicker(x[0], x[1], x[2], x[3]))
    ),
    law!("assumed_film_flicker", [("resistance_ohm", NotNegative), ("coefficient_per_ohm", NotNegative)], |x| {
        Ok(noise::assumed_film_flicker(x[0], x[1]))
    }),
    law!(
        "flicker_v_per_rthz",
        [("voltage_v", Finite), ("coefficient", NotNegative), ("frequency_hz", Positive)],
        |x| { Ok(noise::flicker_v_per_rthz(x[0], x[1], x[2])) }
    ),
    law!(
        "flicker_v",
        [("voltage_v", Finite), ("coefficient", NotNegative), ("low_hz", Positive), ("high_hz", Positive)],
        |x| {
            rising(("low_hz", "high_hz"), x[2], x[3])?;
            Ok(noise::flicker_v(x[0], x[1], x[2], x[3]))
        }
    ),
    law!(
        "crackle_step_v",
        [
            ("current_a", Finite),
            ("low_ohm", NotNegative),
            ("high_ohm", NotNegative),
            ("loop_ohm", NotNegativeOrInfinite)
        ],
        |x| {
            if x[3] == 0.0 {
                return Err(InputError::new("loop_ohm", 0.0, "allowed: above zero, or infinite for a stiff current"));
            }
            rising(("low_ohm", "high_ohm"), x[1], x[2])?;
            Ok(noise::crackle_step_v(x[0], x[1], x[2], x[3]))
        }
    ),
    law!("logarithmic_growth_m", [("time_s", NotNegative), ("length_m", Positive), ("onset_s", Positive)], |x| {
        Ok(growth::logarithmic_m(x[0], x[1], x[2]))
    }),
    law!("cubic_growth_m", [("time_s", NotNegative), ("rate_m3_per_s", NotNegative), ("start_m", NotNegative)], |x| {
        Ok(growth::cubic_m(x[0], x[1], x[2]))
    }),
    law!(
        "parabolic_growth_m",
        [("time_s", NotNegative), ("rate_m2_per_s", NotNegative), ("start_m", NotNegative)],
        |x| { Ok(growth::parabolic_m(x[0], x[1], x[2])) }
    ),
    law!("copper_growth_m", [("time_s", NotNegative), ("known_m", Positive), ("known_s", Positive)], |x| {
        Ok(growth::copper_m(x[0], x[1], x[2]))
    }),
];

/// An error about one element of an array says which.
fn at_index(mut fault: InputError, point: usize, size: usize) -> InputError {
    if size > 1 {
        fault.value = format!("{} at element {point}", fault.value);
    }
    fault
}

/// Values of a function at every point of broadcast arguments; the first fault is raised, and so is a value that overflows.
pub(super) fn over<'py>(
    py: Python<'py>,
    what: &str,
    arguments: &[(&str, Domain, Bound<'py, PyAny>)],
    law: impl Fn(&[f64]) -> Result<f64, InputError> + Send + Sync,
) -> PyResult<Py<PyAny>> {
    let mut taken = Arguments::new(py);
    let numbers =
        arguments.iter().map(|(name, domain, x)| taken.add(name, x, *domain)).collect::<PyResult<Vec<_>>>()?;
    let columns = taken.broadcast()?;
    let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
    let size = columns.size;
    let out = run(py, |watch| {
        let mut point = vec![0.0; values.len()];
        let mut out = Vec::with_capacity(size);
        for k in 0..size {
            if k % 64 == 0 && watch.stop() {
                return Err(crate::watch::Stopped);
            }
            for (x, value) in point.iter_mut().zip(&values) {
                *x = at(*value, k);
            }
            match law(&point) {
                Ok(y) if y.is_finite() => out.push(y),
                Ok(y) => {
                    let allowed = "allowed: a finite result; these arguments are far outside any contact";
                    return Ok(Err(at_index(InputError::new(format!("{what}: result"), y, allowed), k, size)));
                }
                Err(fault) => return Ok(Err(at_index(fault, k, size))),
            }
        }
        Ok(Ok(out))
    })?;
    columns.result(out.map_err(|fault| input_error(py, fault))?)
}

/// A law of the table by its name, arguments in its order.
#[pyfunction]
#[pyo3(signature = (name, *arguments))]
pub(super) fn _law<'py>(py: Python<'py>, name: &str, arguments: &Bound<'py, PyTuple>) -> PyResult<Py<PyAny>> {
    let fault = |value: String, allowed: String| input_error(py, InputError::new("_law", value, allowed));
    let Some(law) = LAWS.iter().find(|law| law.name == name) else {
        let names: Vec<_> = LAWS.iter().map(|law| law.name).collect();
        return Err(fault(format!("{name:?}"), format!("allowed: {}", names.join(", "))));
    };
    if arguments.len() != law.arguments.len() {
        return Err(fault(format!("{} arguments", arguments.len()), format!("allowed: {}", law.arguments.len())));
    }
    let given: Vec<_> = law.arguments.iter().zip(arguments.iter()).map(|((n, d), x)| (*n, *d, x)).collect();
    over(py, law.name, &given, law.at)
}

/// Names of the table.
#[pyfunction]
pub(super) fn _laws() -> Vec<&'static str> {
    LAWS.iter().map(|law| law.name).collect()
}

/// A film behind a constriction: current, slope or chord at a voltage, or voltage at a current.
#[pyfunction]
pub(super) fn _series<'py>(
    py: Python<'py>,
    which: &str,
    film: &Bound<'py, Film>,
    constriction_ohm: Bound<'py, PyAny>,
    at: Bound<'py, PyAny>,
) -> PyResult<Py<PyAny>> {
    let film = film.get().0;
    let place = if which == "voltage_v" { "current_a" } else { "voltage_v" };
    let law: fn(&Series, f64) -> Result<f64, InputError> = match which {
        "current_a" => |s, v| Ok(s.current_a(v)),
        "slope_s" => |s, v| Ok(s.slope_s(v)),
        "chord_ohm" => |s, v| Ok(s.chord_ohm(v)),
        "voltage_v" => |s, i| s.voltage_v(i).ok_or_else(|| beyond_the_law(i)),
        other => {
            let allowed = "allowed: current_a, slope_s, chord_ohm, voltage_v";
            return Err(input_error(py, InputError::new("_series", format!("{other:?}"), allowed)));
        }
    };
    over(py, which, &[("constriction_ohm", NotNegative, constriction_ohm), (place, Finite, at)], move |x| {
        if film.resistance_ohm() == 0.0 && x[0] == 0.0 && which != "voltage_v" && which != "chord_ohm" {
            return Err(InputError::new("constriction_ohm", 0.0, "allowed: above zero behind a film of zero ohm"));
        }
        law(&Series { film, constriction_ohm: x[0] }, x[1])
    })
}

/// A current that the law cannot carry at any voltage.
pub(super) fn beyond_the_law(current_a: f64) -> InputError {
    InputError::new("current_a", current_a, "allowed: what the law carries; a bridge ends at |i| R = 143.9 mV")
}

/// Constriction of many spots, ohm.
#[pyfunction]
pub(super) fn _spots_ohm(
    py: Python<'_>,
    x_m: &Bound<'_, PyAny>,
    y_m: &Bound<'_, PyAny>,
    radius_m: &Bound<'_, PyAny>,
    resistivity_ohm_m: Number<'_>,
) -> PyResult<f64> {
    let resistivity_ohm_m = resistivity_ohm_m.argument("resistivity_ohm_m")?;
    let x_m = flat(py, "x_m", x_m, Finite)?;
    let y_m = flat(py, "y_m", y_m, Finite)?;
    let radius_m = flat(py, "radius_m", radius_m, Positive)?;
    let spots: Vec<_> =
        x_m.iter().zip(&y_m).zip(&radius_m).map(|((&x_m, &y_m), &radius_m)| Spot { x_m, y_m, radius_m }).collect();
    if spots.len() != x_m.len() || spots.len() != y_m.len() || spots.len() != radius_m.len() {
        let value = format!("{}, {} and {} values", x_m.len(), y_m.len(), radius_m.len());
        return Err(input_error(py, InputError::new("x_m, y_m, radius_m", value, "allowed: as many of each")));
    }
    let found = run(py, |watch| match constriction::spots_ohm_watched(&spots, resistivity_ohm_m, watch) {
        Ok(Err(stopped)) => Err(stopped),
        Ok(Ok(ohm)) => Ok(Ok(ohm)),
        Err(fault) => Ok(Err(fault)),
    })?;
    found.and_then(|ohm| finite("spots_ohm: result", ohm)).map_err(|fault| input_error(py, fault))
}

/// Lowest and highest constriction of a spot of any size against the free path, ohm.
#[pyfunction]
pub(super) fn _small_spot_ohm<'py>(
    py: Python<'py>,
    radius_m: Bound<'py, PyAny>,
    resistivity_ohm_m: Bound<'py, PyAny>,
    free_path_m: Bound<'py, PyAny>,
) -> PyResult<(Py<PyAny>, Py<PyAny>)> {
    let given = [
        ("radius_m", Positive, radius_m),
        ("resistivity_ohm_m", Positive, resistivity_ohm_m),
        ("free_path_m", NotNegative, free_path_m),
    ];
    let low = over(py, "small_spot_ohm", &given, |x| Ok(constriction::small_spot_ohm(x[0], x[1], x[2]).0))?;
    let high = over(py, "small_spot_ohm", &given, |x| Ok(constriction::small_spot_ohm(x[0], x[1], x[2]).1))?;
    Ok((low, high))
}

/// The film of an area of a barrier.
#[pyfunction]
pub(super) fn _tunnelling_film(
    py: Python<'_>,
    height_ev: Number<'_>,
    thickness_m: Number<'_>,
    area_m2: Number<'_>,
) -> PyResult<Film> {
    let (height_ev, thickness_m) = (height_ev.argument("height_ev")?, thickness_m.argument("thickness_m")?);
    let area_m2 = area_m2.argument("area_m2")?;
    let film = Barrier { height_ev, thickness_m }.film(area_m2);
    film.map(Film).map_err(|fault| input_error(py, fault))
}

/// Film in force after each of a list of EMF peaks, "rest" or "move": resistance (ohm) and whether it is a bridge.
#[pyfunction]
pub(super) fn _fritting(
    py: Python<'_>,
    film: &Bound<'_, Film>,
    breakdown_v: Number<'_>,
    pinned_v: Number<'_>,
    events: Vec<Bound<'_, PyAny>>,
    loop_ohm: Number<'_>,
) -> PyResult<Vec<(f64, bool)>> {
    let (breakdown_v, pinned_v) = (breakdown_v.argument("breakdown_v")?, pinned_v.argument("pinned_v")?);
    let loop_ohm = loop_ohm.argument("loop_ohm")?;
    let raise = |fault: InputError| input_error(py, fault);
    let mut contact = Fritting::new(film.get().0, breakdown_v, pinned_v).map_err(raise)?;
    positive("loop_ohm", loop_ohm).map_err(raise)?;
    let mut out = Vec::with_capacity(events.len());
    for (k, event) in events.iter().enumerate() {
        let place = format!("events[{k}]");
        let wrong =
            || raise(InputError::new(&place, event.to_string(), "allowed: an EMF peak in V, \"rest\" or \"move\""));
        if let Ok(word) = event.cast::<PyString>() {
            match word.to_string().as_str() {
                "rest" => contact.rested(),
                "move" => contact.moved(),
                _ => return Err(wrong()),
            }
        } else if event.cast::<PyBool>().is_ok() {
            return Err(wrong());
        } else {
            let emf: f64 = event.extract().map_err(|_| wrong())?;
            contact.drive(emf, loop_ohm).map_err(|fault| raise(fault.within(&place)))?;
        }
        out.push((contact.law().resistance_ohm(), contact.is_bridged()));
    }
    Ok(out)
}

/// Lowest and highest of a film's growth: "thickness_m" or "area_resistance_ohm_m2" at times.
#[pyfunction]
pub(super) fn _grown<'py>(
    py: Python<'py>,
    which: &str,
    environment: &str,
    metal: &str,
    time_s: Bound<'py, PyAny>,
) -> PyResult<(Py<PyAny>, Py<PyAny>)> {
    let (environment, metal) = place_and_metal(py, environment, metal)?;
    let law = match which {
        "thickness_m" => Environment::thickness_m,
        _ => Environment::area_resistance_ohm_m2,
    };
    let low =
        over(py, which, &[("time_s", NotNegative, time_s.clone())], |x| law(environment, metal, x[0]).map(|r| r.0))?;
    let high = over(py, which, &[("time_s", NotNegative, time_s)], |x| law(environment, metal, x[0]).map(|r| r.1))?;
    Ok((low, high))
}

/// Earliest and latest time, s, to a resistance of an area.
#[pyfunction]
pub(super) fn _time_to_s(
    py: Python<'_>,
    environment: &str,
    metal: &str,
    resistance_ohm: Number<'_>,
    area_m2: Number<'_>,
) -> PyResult<(f64, f64)> {
    let (resistance_ohm, area_m2) = (resistance_ohm.argument("resistance_ohm")?, area_m2.argument("area_m2")?);
    let (environment, metal) = place_and_metal(py, environment, metal)?;
    environment.time_to_s(metal, resistance_ohm, area_m2).map_err(|fault| input_error(py, fault))
}

fn place_and_metal(py: Python<'_>, environment: &str, metal: &str) -> PyResult<(&'static Environment, Tarnish)> {
    let environment = Environment::named(environment).map_err(|fault| input_error(py, fault))?;
    let metal = Tarnish::named(metal).ok_or_else(|| {
        input_error(py, InputError::new("metal", format!("{metal:?}"), "allowed: \"copper\", \"silver\""))
    })?;
    Ok((environment, metal))
}

/// The table of metals as JSON.
#[pyfunction]
pub(super) fn _metals_json() -> String {
    let one = |p: Published| json!([p.low, p.high, p.tag.text()]);
    let some = |p: Option<Published>| p.map_or(Value::Null, one);
    let rows: Vec<_> = METALS
        .iter()
        .map(|m| {
            json!({
                "name": m.name,
                "resistivity_ohm_m": one(m.resistivity_ohm_m),
                "temperature_coefficient_per_k": one(m.temperature_coefficient_per_k),
                "hardness_pa": one(m.hardness_pa),
                "softening_k": some(m.softening_k),
                "softening_v": some(m.softening_v),
                "melting_k": some(m.melting_k),
                "melting_v": some(m.melting_v),
                "diffusivity_m2_per_s": some(m.diffusivity_m2_per_s),
                "calculated_melting_v": m.calculated_melting_v(),
                "melting_is_safe": m.melting_is_safe(),
            })
        })
        .collect();
    Value::Array(rows).to_string()
}

/// Names of the environments.
#[pyfunction]
pub(super) fn _environments() -> Vec<&'static str> {
    growth::ENVIRONMENTS.iter().map(|e| e.name).collect()
}
