//! Loads as Python sees them: a resistance, or a loudspeaker.

use super::array::{Arguments, Domain, at, run};
use super::errors::input_error;
use super::json::{hash_of, read, to_python, value_of};
use super::number::Number;
use super::values::{call_text, checked_class, value_class};
use crate::circuit;
use crate::circuit::loudspeaker::LOWEST_OF_NOMINAL;
use crate::error::InputError;
use num_complex::Complex64;
use pyo3::prelude::*;
use pyo3::types::PyType;

#[doc = told!("Load")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Load(pub(super) circuit::Load);

impl Load {
    pub(super) fn text(&self) -> String {
        let Some(l) = self.0.loudspeaker else {
            return call_text("Load", &value_of(&self.0));
        };
        format!(
            "Load.loudspeaker(nominal_ohm={:?}, voice_coil_ohm={:?}, voice_coil_h={:?}, resonance_hz={:?}, mechanical_q={:?}, electrical_q={:?}, capacitance_f={:?})",
            self.0.resistance_ohm,
            l.voice_coil_ohm,
            l.voice_coil_h,
            l.resonance_hz,
            l.mechanical_q,
            l.electrical_q,
            self.0.capacitance_f
        )
    }
}

#[pymethods]
impl Load {
    #[new]
    #[pyo3(
        signature = (*, resistance_ohm, capacitance_f=Number::Default(0.0)),
        text_signature = "(*, resistance_ohm, capacitance_f=0.0)"
    )]
    fn new(py: Python<'_>, resistance_ohm: Number<'_>, capacitance_f: Number<'_>) -> PyResult<Self> {
        let resistance_ohm = resistance_ohm.value("load", "resistance_ohm")?;
        let capacitance_f = capacitance_f.value("load", "capacitance_f")?;
        Self::made(py, circuit::Load { capacitance_f, ..circuit::Load::resistance(resistance_ohm) })
    }
    #[doc = told!("Load.loudspeaker")]
    #[staticmethod]
    #[pyo3(
        signature = (*, nominal_ohm, voice_coil_ohm=None, voice_coil_h=Number::Default(0.0), resonance_hz=None, mechanical_q=None, electrical_q=None, capacitance_f=Number::Default(0.0)),
        text_signature = "(*, nominal_ohm, voice_coil_ohm=None, voice_coil_h=0.0, resonance_hz=None, mechanical_q=None, electrical_q=None, capacitance_f=0.0)"
    )]
    #[allow(clippy::too_many_arguments)]
    fn loudspeaker(
        py: Python<'_>,
        nominal_ohm: Number<'_>,
        voice_coil_ohm: Option<Number<'_>>,
        voice_coil_h: Number<'_>,
        resonance_hz: Option<Number<'_>>,
        mechanical_q: Option<Number<'_>>,
        electrical_q: Option<Number<'_>>,
        capacitance_f: Number<'_>,
    ) -> PyResult<Self> {
        const PLACE: &str = "load: loudspeaker";
        let some = |number: Option<Number<'_>>, name: &str| number.map(|n| n.value(PLACE, name)).transpose();
        let nominal_ohm = nominal_ohm.value(PLACE, "nominal_ohm")?;
        let voice_coil_ohm = some(voice_coil_ohm, "voice_coil_ohm")?;
        let voice_coil_h = voice_coil_h.value(PLACE, "voice_coil_h")?;
        let resonance_hz = some(resonance_hz, "resonance_hz")?;
        let mechanical_q = some(mechanical_q, "mechanical_q")?;
        let electrical_q = some(electrical_q, "electrical_q")?;
        let capacitance_f = capacitance_f.value("load", "capacitance_f")?;
        let nominal = circuit::Load { capacitance_f, ..circuit::Load::resistance(nominal_ohm) };
        match (resonance_hz, mechanical_q, electrical_q) {
            (None, None, None) if voice_coil_ohm.is_none() && voice_coil_h == 0.0 => Self::made(py, nominal),
            (Some(resonance_hz), Some(mechanical_q), Some(electrical_q)) => {
                let voice_coil_ohm = voice_coil_ohm.unwrap_or(LOWEST_OF_NOMINAL * nominal_ohm);
                let loudspeaker =
                    circuit::Loudspeaker { voice_coil_ohm, voice_coil_h, resonance_hz, mechanical_q, electrical_q };
                Self::made(py, circuit::Load { loudspeaker: Some(loudspeaker), ..nominal })
            }
            _ => {
                let allowed = "give resonance_hz, mechanical_q and electrical_q together, or nominal_ohm (and capacitance_f) alone";
                Err(input_error(py, InputError::new("Load.loudspeaker", "part of a loudspeaker", allowed)))
            }
        }
    }
    #[doc = told!("Load.impedance_ohm")]
    fn impedance_ohm<'py>(&self, py: Python<'py>, frequency_hz: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        let mut arguments = Arguments::new(py);
        let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
        let columns = arguments.broadcast()?;
        let (values, size, load) = (columns.values(frequency)?, columns.size, self.0);
        let one = |k: usize| load.admittance(at(values, k)).inv();
        let out = run(py, |_| Ok((0..size).map(one).collect::<Vec<Complex64>>()))?;
        columns.result(out)
    }
    #[doc = told!("Load.total_q")]
    fn total_q<'py>(&self, py: Python<'py>, series_ohm: &Bound<'py, PyAny>) -> PyResult<Py<PyAny>> {
        let Some(loudspeaker) = self.0.loudspeaker else {
            let allowed = "only a loudspeaker with a resonance has a Q: Load.loudspeaker(..., resonance_hz=...)";
            return Err(input_error(py, InputError::new("total_q", "a plain resistance", allowed)));
        };
        let mut arguments = Arguments::new(py);
        let series = arguments.add("series_ohm", series_ohm, Domain::NotNegative)?;
        let columns = arguments.broadcast()?;
        let values = columns.values(series)?;
        columns.result((0..columns.size).map(|k| loudspeaker.total_q(at(values, k))).collect::<Vec<_>>())
    }
    #[doc = told!("Load.resistance_ohm")]
    #[getter]
    fn resistance_ohm(&self) -> f64 {
        self.0.resistance_ohm
    }
    #[doc = told!("Load.capacitance_f")]
    #[getter]
    fn capacitance_f(&self) -> f64 {
        self.0.capacitance_f
    }
    #[doc = told!("Load.voice_coil_ohm")]
    #[getter]
    fn voice_coil_ohm(&self) -> Option<f64> {
        self.0.loudspeaker.map(|l| l.voice_coil_ohm)
    }
    #[doc = told!("Load.voice_coil_h")]
    #[getter]
    fn voice_coil_h(&self) -> Option<f64> {
        self.0.loudspeaker.map(|l| l.voice_coil_h)
    }
    #[doc = told!("Load.resonance_hz")]
    #[getter]
    fn resonance_hz(&self) -> Option<f64> {
        self.0.loudspeaker.map(|l| l.resonance_hz)
    }
    #[doc = told!("Load.mechanical_q")]
    #[getter]
    fn mechanical_q(&self) -> Option<f64> {
        self.0.loudspeaker.map(|l| l.mechanical_q)
    }
    #[doc = told!("Load.electrical_q")]
    #[getter]
    fn electrical_q(&self) -> Option<f64> {
        self.0.loudspeaker.map(|l| l.electrical_q)
    }
}
checked_class!(Load, circuit::Load, "load");
