//! Frozen value objects: equality, hash, repr, pickle, `to_dict` and `from_dict`.

use super::array::Domain;
use super::errors::input_error;
use super::json::{hash_of, python_number, python_string, python_text, read, to_python, value_of};
use super::number::{Number, pair};
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
            #[doc = told!("_Value.to_dict")]
            fn to_dict(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
                Ok(to_python(py, &value_of(&self.0))?.unbind())
            }
            #[doc = told!("_Value.from_dict")]
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

#[doc = told!("Source")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Source(pub(super) circuit::Source);

#[pymethods]
impl Source {
    #[new]
    #[pyo3(
        signature = (*, emf_v, resistance_ohm=Number::Default(0.0), inductance_h=Number::Default(0.0)),
        text_signature = "(*, emf_v, resistance_ohm=0.0, inductance_h=0.0)"
    )]
    fn new(py: Python<'_>, emf_v: Number<'_>, resistance_ohm: Number<'_>, inductance_h: Number<'_>) -> PyResult<Self> {
        let source = circuit::Source {
            emf_v: emf_v.value("source", "emf_v")?,
            resistance_ohm: resistance_ohm.value("source", "resistance_ohm")?,
            inductance_h: inductance_h.value("source", "inductance_h")?,
        };
        Self::made(py, source)
    }
    #[doc = told!("Source.emf_v")]
    #[getter]
    fn emf_v(&self) -> f64 {
        self.0.emf_v
    }
    #[doc = told!("Source.resistance_ohm")]
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.resistance_ohm
    }
    #[doc = told!("Source.inductance_h")]
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

#[doc = told!("Lead")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Lead(pub(super) circuit::Lead);

#[pymethods]
impl Lead {
    #[new]
    #[pyo3(
        signature = (*, resistance_ohm=Number::Default(0.0), inductance_h=Number::Default(0.0), capacitance_f=Number::Default(0.0)),
        text_signature = "(*, resistance_ohm=0.0, inductance_h=0.0, capacitance_f=0.0)"
    )]
    fn new(
        py: Python<'_>,
        resistance_ohm: Number<'_>,
        inductance_h: Number<'_>,
        capacitance_f: Number<'_>,
    ) -> PyResult<Self> {
        let lead = circuit::Lead {
            resistance_ohm: resistance_ohm.value("lead", "resistance_ohm")?,
            inductance_h: inductance_h.value("lead", "inductance_h")?,
            capacitance_f: capacitance_f.value("lead", "capacitance_f")?,
        };
        Self::made(py, lead)
    }
    #[doc = told!("Lead.resistance_ohm")]
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.resistance_ohm
    }
    #[doc = told!("Lead.inductance_h")]
    #[getter]
    fn inductance_h(&self) -> f64 {
        self.0.inductance_h
    }
    #[doc = told!("Lead.capacitance_f")]
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

#[doc = told!("Film")]
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
    #[doc = told!("Film.ohmic")]
    #[staticmethod]
    #[pyo3(signature = (*, resistance_ohm))]
    fn ohmic(py: Python<'_>, resistance_ohm: Number<'_>) -> PyResult<Self> {
        let resistance_ohm = resistance_ohm.value("film", "resistance_ohm")?;
        Self::made(py, physics::Film::Ohmic { resistance_ohm })
    }
    #[doc = told!("Film.tunnelling")]
    #[staticmethod]
    #[pyo3(signature = (*, resistance_ohm, scale_v))]
    fn tunnelling(py: Python<'_>, resistance_ohm: Number<'_>, scale_v: Number<'_>) -> PyResult<Self> {
        let resistance_ohm = resistance_ohm.value("film", "resistance_ohm")?;
        let scale_v = scale_v.value("film", "scale_v")?;
        Self::made(py, physics::Film::Tunnelling { resistance_ohm, scale_v })
    }
    #[doc = told!("Film.rectifying")]
    #[staticmethod]
    #[pyo3(
        signature = (*, resistance_ohm, ideality=Number::Default(1.0), leak_ratio=Number::Default(0.1)),
        text_signature = "(*, resistance_ohm, ideality=1.0, leak_ratio=0.1)"
    )]
    fn rectifying(
        py: Python<'_>,
        resistance_ohm: Number<'_>,
        ideality: Number<'_>,
        leak_ratio: Number<'_>,
    ) -> PyResult<Self> {
        let resistance_ohm = resistance_ohm.value("film", "resistance_ohm")?;
        let ideality = ideality.value("film", "ideality")?;
        let leak_ratio = leak_ratio.value("film", "leak_ratio")?;
        Self::made(py, physics::Film::Rectifying { resistance_ohm, ideality, leak_ratio })
    }
    #[doc = told!("Film.bridged")]
    #[staticmethod]
    #[pyo3(signature = (*, resistance_ohm))]
    fn bridged(py: Python<'_>, resistance_ohm: Number<'_>) -> PyResult<Self> {
        let resistance_ohm = resistance_ohm.value("film", "resistance_ohm")?;
        Self::made(py, physics::Film::Bridged { resistance_ohm })
    }
    #[doc = told!("Film.law")]
    #[getter]
    fn law(&self) -> &'static str {
        self.0.law()
    }
    #[doc = told!("Film.resistance_ohm")]
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.resistance_ohm()
    }
    #[doc = told!("Film.current_a")]
    fn current_a<'py>(&self, py: Python<'py>, voltage_v: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        self.over(py, "current_a", voltage_v, physics::Film::current_a)
    }
    #[doc = told!("Film.slope_s")]
    fn slope_s<'py>(&self, py: Python<'py>, voltage_v: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        self.over(py, "slope_s", voltage_v, physics::Film::slope_s)
    }
    #[doc = told!("Film.chord_ohm")]
    fn chord_ohm<'py>(&self, py: Python<'py>, voltage_v: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        self.over(py, "chord_ohm", voltage_v, physics::Film::chord_ohm)
    }
    #[doc = told!("Film.voltage_v")]
    fn voltage_v<'py>(slf: &Bound<'py, Self>, current_a: Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        let none = 0.0f64.into_pyobject(slf.py())?.into_any();
        super::physics::_series(slf.py(), "voltage_v", slf, none, current_a)
    }
}
checked_class!(Film, physics::Film, "film");

#[doc = told!("Contact")]
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
    #[pyo3(
        signature = (name, *, resistance_ohm=None, film=None, constriction_ohm=Number::Default(0.0), range_ohm=None, role="signal", direct_current_a=Number::Default(0.0)),
        text_signature = "(name, *, resistance_ohm=None, film=None, constriction_ohm=0.0, range_ohm=None, role=\"signal\", direct_current_a=0.0)"
    )]
    #[allow(clippy::too_many_arguments)]
    fn new(
        py: Python<'_>,
        name: String,
        resistance_ohm: Option<Number<'_>>,
        film: Option<&Bound<'_, Film>>,
        constriction_ohm: Number<'_>,
        range_ohm: Option<&Bound<'_, PyAny>>,
        role: &str,
        direct_current_a: Number<'_>,
    ) -> PyResult<Self> {
        let place = format!("contact {name:?}");
        let resistance_ohm = resistance_ohm.map(|number| number.value(&place, "resistance_ohm")).transpose()?;
        let constriction_ohm = constriction_ohm.value(&place, "constriction_ohm")?;
        let range_ohm = range_ohm.map(|range| pair(range, &place, "range_ohm")).transpose()?;
        let direct_current_a = direct_current_a.value(&place, "direct_current_a")?;
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
    #[doc = told!("Contact.name")]
    #[getter]
    fn name(&self) -> &str {
        &self.0.name
    }
    #[doc = told!("Contact.resistance_ohm")]
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.film.resistance_ohm()
    }
    #[doc = told!("Contact.film")]
    #[getter]
    fn film(&self) -> Film {
        Film(self.0.film)
    }
    #[doc = told!("Contact.constriction_ohm")]
    #[getter]
    fn constriction_ohm(&self) -> f64 {
        self.0.constriction_ohm
    }
    #[doc = told!("Contact.range_ohm")]
    #[getter]
    fn range_ohm(&self) -> Option<(f64, f64)> {
        self.0.range_ohm
    }
    #[doc = told!("Contact.role")]
    #[getter]
    fn role(&self) -> &'static str {
        self.0.role.word()
    }
    #[doc = told!("Contact.direct_current_a")]
    #[getter]
    fn direct_current_a(&self) -> f64 {
        self.0.direct_current_a
    }
}
checked_class!(Contact, circuit::Contact, "contact");

#[doc = told!("Stage")]
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
    #[pyo3(
        signature = (name, *, gain_db=Number::Default(0.0), equalisation="flat", output_resistance_ohm=Number::Default(0.0)),
        text_signature = "(name, *, gain_db=0.0, equalisation=\"flat\", output_resistance_ohm=0.0)"
    )]
    fn new(
        py: Python<'_>,
        name: String,
        gain_db: Number<'_>,
        equalisation: &str,
        output_resistance_ohm: Number<'_>,
    ) -> PyResult<Self> {
        let place = format!("stage {name:?}");
        let gain_db = gain_db.value(&place, "gain_db")?;
        let output_resistance_ohm = output_resistance_ohm.value(&place, "output_resistance_ohm")?;
        let Some(equalisation) = circuit::Equalisation::named(equalisation) else {
            let names: Vec<_> = circuit::Equalisation::NAMES.iter().map(|n| format!("{n:?}")).collect();
            let allowed = format!("allowed: {}", names.join(", "));
            let place = format!("{place}: equalisation");
            return Err(input_error(py, InputError::new(place, format!("{equalisation:?}"), allowed)));
        };
        Self::made(py, circuit::Stage { name, gain_db, equalisation, output_resistance_ohm })
    }
    #[doc = told!("Stage.name")]
    #[getter]
    fn name(&self) -> &str {
        &self.0.name
    }
    #[doc = told!("Stage.gain_db")]
    #[getter]
    fn gain_db(&self) -> f64 {
        self.0.gain_db
    }
    #[doc = told!("Stage.equalisation")]
    #[getter]
    fn equalisation(&self) -> &'static str {
        self.0.equalisation.name()
    }
    #[doc = told!("Stage.output_resistance_ohm")]
    #[getter]
    fn output_resistance_ohm(&self) -> f64 {
        self.0.output_resistance_ohm
    }
}
checked_class!(Stage, circuit::Stage, "stage");

#[doc = told!("Divider")]
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
        track_ohm: Number<'_>,
        setting_db: Number<'_>,
        wiper: Option<&Bound<'_, Contact>>,
    ) -> PyResult<Self> {
        let place = format!("divider {name:?}");
        let track_ohm = track_ohm.value(&place, "track_ohm")?;
        let setting_db = setting_db.value(&place, "setting_db")?;
        let wiper = wiper.map(|wiper| wiper.get().0.clone());
        Self::made(py, circuit::Divider { name, track_ohm, setting_db, wiper })
    }
    #[doc = told!("Divider.name")]
    #[getter]
    fn name(&self) -> &str {
        &self.0.name
    }
    #[doc = told!("Divider.track_ohm")]
    #[getter]
    fn track_ohm(&self) -> f64 {
        self.0.track_ohm
    }
    #[doc = told!("Divider.setting_db")]
    #[getter]
    fn setting_db(&self) -> f64 {
        self.0.setting_db
    }
    #[doc = told!("Divider.wiper")]
    #[getter]
    fn wiper(&self) -> Option<Contact> {
        self.0.wiper.clone().map(Contact)
    }
}
checked_class!(Divider, circuit::Divider, "divider");
