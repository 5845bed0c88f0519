//! Frozen value objects: equality, hash, repr, pickle, `to_dict` and `from_dict`.

use super::array::Domain;
use super::errors::input_error;
use super::json::{hash_of, python_number, python_string, python_text, read, to_python, value_of};
use crate::circuit;
use crate::error::InputError;
use crate::physics;
use pyo3::prelude::*;
use pyo3::types::PyType;
use serde_json::Value;

/// What every value class shares; a class has `made(py, value)`, which checks, and `text()`.
macro_rules! value_class {
    ($name:ident, $label:literal) => {
        #[pymethods]
        impl $name {
            fn __repr__(&self) -> String {
                self.text()
            }
            fn __eq__(&self, other: &Bound<'_, PyAny>) -> bool {
                other.cast::<Self>().is_ok_and(|other| other.get().0 == self.0)
            }
            fn __hash__(&self) -> u64 {
                hash_of(&value_of(&self.0))
            }
            fn to_dict(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
                Ok(to_python(py, &value_of(&self.0))?.unbind())
            }
            #[classmethod]
            fn from_dict(cls: &Bound<'_, PyType>, data: &Bound<'_, PyAny>) -> PyResult<Self> {
                Self::made(cls.py(), read($label, data)?)
            }
            fn __reduce__<'py>(slf: &Bound<'py, Self>) -> PyResult<(Bound<'py, PyAny>, (Py<PyAny>,))> {
                let make = slf.get_type().getattr("from_dict")?;
                Ok((make, (slf.get().to_dict(slf.py())?,)))
            }
        }
    };
}

pub(super) use value_class;

pub(super) fn call_text(name: &str, value: &Value) -> String {
    format!("{name}({})", python_text(value))
}

/// A class that is no more than its checked value: `made` beside its kind.
macro_rules! checked_class {
    ($name:ident, $kind:ty, $label:literal) => {
        impl $name {
            fn made(py: Python<'_>, value: $kind) -> PyResult<Self> {
                value.check().map_err(|fault| input_error(py, fault))?;
                Ok(Self(value))
            }
        }
        value_class!($name, $label);
    };
}

pub(super) use checked_class;

#[pyclass(frozen, module = "weaklink")]
pub(super) struct Source(pub(super) circuit::Source);

#[pymethods]
impl Source {
    #[new]
    #[pyo3(signature = (*, emf_v, resistance_ohm=0.0, inductance_h=0.0))]
    fn new(py: Python<'_>, emf_v: f64, resistance_ohm: f64, inductance_h: f64) -> PyResult<Self> {
        Self::made(py, circuit::Source { emf_v, resistance_ohm, inductance_h })
    }
    #[getter]
    fn emf_v(&self) -> f64 {
        self.0.emf_v
    }
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.resistance_ohm
    }
    #[getter]
    fn inductance_h(&self) -> f64 {
        self.0.inductance_h
    }
}

impl Source {
    pub(super) fn text(&self) -> String {
        call_text("Source", &value_of(&self.0))
    }
}
checked_class!(Source, circuit::Source, "source");

#[pyclass(frozen, module = "weaklink")]
pub(super) struct Lead(pub(super) circuit::Lead);

#[pymethods]
impl Lead {
    #[new]
    #[pyo3(signature = (*, resistance_ohm=0.0, inductance_h=0.0, capacitance_f=0.0))]
    fn new(py: Python<'_>, resistance_ohm: f64, inductance_h: f64, capacitance_f: f64) -> PyResult<Self> {
        Self::made(py, circuit::Lead { resistance_ohm, inductance_h, capacitance_f })
    }
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.resistance_ohm
    }
    #[getter]
    fn inductance_h(&self) -> f64 {
        self.0.inductance_h
    }
    #[getter]
    fn capacitance_f(&self) -> f64 {
        self.0.capacitance_f
    }
}

impl Lead {
    pub(super) fn text(&self) -> String {
        call_text("Lead", &value_of(&self.0))
    }
}
checked_class!(Lead, circuit::Lead, "lead");

#[pyclass(frozen, module = "weaklink")]
pub(super) struct Film(pub(super) physics::Film);

impl Film {
    pub(super) fn text(&self) -> String {
        let mut value = value_of(&self.0);
        if let Value::Object(map) = &mut value {
            map.remove("law");
        }
        call_text(&format!("Film.{}", self.0.law()), &value)
    }

    fn over<'py>(
        &self,
        py: Python<'py>,
        what: &str,
        voltage_v: &Bound<'py, PyAny>,
        law: fn(&physics::Film, f64) -> f64,
    ) -> PyResult<Py<PyAny>> {
        let film = self.0;
        let place = format!("Film.{what}");
        super::physics::over(py, &place, &[("voltage_v", Domain::Finite, voltage_v.clone())], move |x| {
            if film.resistance_ohm() == 0.0 && law(&film, x[0]).is_infinite() {
                let allowed =
                    "allowed: above zero here; what flows through a perfect contact is up to the rest of the loop";
                return Err(crate::error::InputError::new("film: resistance_ohm", 0.0, allowed));
            }
            Ok(law(&film, x[0]))
        })
    }
}

#[pymethods]
impl Film {
    #[staticmethod]
    #[pyo3(signature = (*, resistance_ohm))]
    fn ohmic(py: Python<'_>, resistance_ohm: f64) -> PyResult<Self> {
        Self::made(py, physics::Film::Ohmic { resistance_ohm })
    }
    #[staticmethod]
    #[pyo3(signature = (*, resistance_ohm, scale_v))]
    fn tunnelling(py: Python<'_>, resistance_ohm: f64, scale_v: f64) -> PyResult<Self> {
        Self::made(py, physics::Film::Tunnelling { resistance_ohm, scale_v })
    }
    #[staticmethod]
    #[pyo3(signature = (*, resistance_ohm, ideality=1.0, leak_ratio=0.1))]
    fn rectifying(py: Python<'_>, resistance_ohm: f64, ideality: f64, leak_ratio: f64) -> PyResult<Self> {
        Self::made(py, physics::Film::Rectifying { resistance_ohm, ideality, leak_ratio })
    }
    #[staticmethod]
    #[pyo3(signature = (*, resistance_ohm))]
    fn bridged(py: Python<'_>, resistance_ohm: f64) -> PyResult<Self> {
        Self::made(py, physics::Film::Bridged { resistance_ohm })
    }
    #[getter]
    fn law(&self) -> &'static str {
        self.0.law()
    }
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.resistance_ohm()
    }
    fn current_a<'py>(&self, py: Python<'py>, voltage_v: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        self.over(py, "current_a", voltage_v, physics::Film::current_a)
    }
    fn slope_s<'py>(&self, py: Python<'py>, voltage_v: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        self.over(py, "slope_s", voltage_v, physics::Film::slope_s)
    }
    fn chord_ohm<'py>(&self, py: Python<'py>, voltage_v: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        self.over(py, "chord_ohm", voltage_v, physics::Film::chord_ohm)
    }
    fn voltage_v<'py>(slf: &Bound<'py, Self>, current_a: Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        let none = 0.0f64.into_pyobject(slf.py())?.into_any();
        super::physics::_series(slf.py(), "voltage_v", slf, none, current_a)
    }
}
checked_class!(Film, physics::Film, "film");

#[pyclass(frozen, module = "weaklink")]
pub(super) struct Contact(pub(super) circuit::Contact);

impl Contact {
    pub(super) fn text(&self) -> String {
        let c = &self.0;
        let mut parts = vec![python_string(&c.name)];
        match c.film {
            physics::Film::Ohmic { resistance_ohm } => {
                parts.push(format!("resistance_ohm={}", python_number(resistance_ohm)));
            }
            film => parts.push(format!("film={}", Film(film).text())),
        }
        if c.constriction_ohm != 0.0 {
            parts.push(format!("constriction_ohm={:?}", c.constriction_ohm));
        }
        if let Some((low, high)) = c.range_ohm {
            parts.push(format!("range_ohm=({low:?}, {})", python_number(high)));
        }
        if c.role != circuit::Role::Signal {
            parts.push(format!("role={:?}", c.role.word()));
        }
        if c.direct_current_a != 0.0 {
            parts.push(format!("direct_current_a={:?}", c.direct_current_a));
        }
        format!("Contact({})", parts.join(", "))
    }
}

#[pymethods]
impl Contact {
    #[new]
    #[pyo3(signature = (name, *, resistance_ohm=None, film=None, constriction_ohm=0.0, range_ohm=None, role="signal", direct_current_a=0.0))]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        name: String,
        resistance_ohm: Option<f64>,
        film: Option<&Bound<'_, Film>>,
        constriction_ohm: f64,
        range_ohm: Option<(f64, f64)>,
        role: &str,
        direct_current_a: f64,
    ) -> PyResult<Self> {
        let place = format!("contact {name:?}");
        let fault = |value: &str, allowed: &str| input_error(py, InputError::new(&place, value, allowed));
        let film = match (resistance_ohm, film) {
            (Some(resistance_ohm), None) => physics::Film::Ohmic { resistance_ohm },
            (None, Some(film)) => film.get().0,
            (None, None) => {
                return Err(fault("neither resistance_ohm nor film", "give exactly one of the two"));
            }
            (Some(_), Some(_)) => {
                return Err(fault("both resistance_ohm and film", "give exactly one of the two"));
            }
        };
        let Some(role) = circuit::Role::from_word(role) else {
            let place = format!("contact {name:?}: role");
            let known: Vec<_> = circuit::Role::ALL.iter().map(|role| format!("{:?}", role.word())).collect();
            let allowed = format!("allowed: {}", known.join(", "));
            return Err(input_error(py, InputError::new(place, format!("{role:?}"), allowed)));
        };
        Self::made(py, circuit::Contact { name, film, constriction_ohm, range_ohm, role, direct_current_a })
    }
    #[getter]
    fn name(&self) -> &str {
        &self.0.name
    }
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.film.resistance_ohm()
    }
    #[getter]
    fn film(&self) -> Film {
        Film(self.0.film)
    }
    #[getter]
    fn constriction_ohm(&self) -> f64 {
        self.0.constriction_ohm
    }
    #[getter]
    fn range_ohm(&self) -> Option<(f64, f64)> {
        self.0.range_ohm
    }
    #[getter]
    fn role(&self) -> &'static str {
        self.0.role.word()
    }
    #[getter]
    fn direct_current_a(&self) -> f64 {
        self.0.direct_current_a
    }
}
checked_class!(Contact, circuit::Contact, "contact");

#[pyclass(frozen, module = "weaklink")]
pub(super) struct Stage(pub(super) circuit::Stage);

impl Stage {
    pub(super) fn text(&self) -> String {
        let s = &self.0;
        format!(
            "Stage({}, gain_db={:?}, equalisation={:?}, output_resistance_ohm={:?})",
            python_string(&s.name),
            s.gain_db,
            s.equalisation.name(),
            s.output_resistance_ohm
        )
    }
}

#[pymethods]
impl Stage {
    #[new]
    #[pyo3(signature = (name, *, gain_db=0.0, equalisation="flat", output_resistance_ohm=0.0))]
    fn new(
        py: Python<'_>,
        name: String,
        gain_db: f64,
        equalisation: &str,
        output_resistance_ohm: f64,
    ) -> PyResult<Self> {
        let Some(equalisation) = circuit::Equalisation::named(equalisation) else {
            let names: Vec<_> = circuit::Equalisation::NAMES.iter().map(|n| format!("{n:?}")).collect();
            let allowed = format!("allowed: {}", names.join(", "));
            let place = format!("stage {name:?}: equalisation");
            return Err(input_error(py, InputError::new(place, format!("{equalisation:?}"), allowed)));
        };
        Self::made(py, circuit::Stage { name, gain_db, equalisation, output_resistance_ohm })
    }
    #[getter]
    fn name(&self) -> &str {
        &self.0.name
    }
    #[getter]
    fn gain_db(&self) -> f64 {
        self.0.gain_db
    }
    #[getter]
    fn equalisation(&self) -> &'static str {
        self.0.equalisation.name()
    }
    #[getter]
    fn output_resistance_ohm(&self) -> f64 {
        self.0.output_resistance_ohm
    }
}
checked_class!(Stage, circuit::Stage, "stage");

#[pyclass(frozen, module = "weaklink")]
pub(super) struct Divider(pub(super) circuit::Divider);

impl Divider {
    pub(super) fn text(&self) -> String {
        let d = &self.0;
        let wiper = d.wiper.as_ref().map_or(String::new(), |w| format!(", wiper={}", Contact(w.clone()).text()));
        let name = python_string(&d.name);
        format!("Divider({name}, track_ohm={:?}, setting_db={:?}{wiper})", d.track_ohm, d.setting_db)
    }
}

#[pymethods]
impl Divider {
    #[new]
    #[pyo3(signature = (name, *, track_ohm, setting_db, wiper=None))]
    fn new(
        py: Python<'_>,
        name: String,
        track_ohm: f64,
        setting_db: f64,
        wiper: Option<&Bound<'_, Contact>>,
    ) -> PyResult<Self> {
        let wiper = wiper.map(|wiper| wiper.get().0.clone());
        Self::made(py, circuit::Divider { name, track_ohm, setting_db, wiper })
    }
    #[getter]
    fn name(&self) -> &str {
        &self.0.name
    }
    #[getter]
    fn track_ohm(&self) -> f64 {
        self.0.track_ohm
    }
    #[getter]
    fn setting_db(&self) -> f64 {
        self.0.setting_db
    }
    #[getter]
    fn wiper(&self) -> Option<Contact> {
        self.0.wiper.clone().map(Contact)
    }
}
checked_class!(Divider, circuit::Divider, "divider");
