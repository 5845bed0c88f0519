//! Sections and chains as Python sees them.

use super::answers::{ByContact, Ceiling, Ready, ceiling};
use super::errors::input_error;
use super::json::{hash_of, python_string, read, to_python, value_of};
use super::level_cycle::{self, Signature};
use super::linear::{self as more, LossRange};
use super::loads::Load;
use super::number::{Band, Number, Whole};
use super::residue::{self, Residue};
use super::steady::{self, Distortion, TwoTone};
use super::values::{Contact, Divider, Lead, Source, Stage, value_class};
use crate::circuit::chain::Network;
use crate::circuit::{self, ChainItem, PathItem};
use crate::error::InputError;
use crate::response::sweep;
use num_complex::Complex64;
use pyo3::IntoPyObjectExt;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyFloat, PyMapping, PyType};

/// The network of a section or chain.
pub(super) fn network_of<'a>(py: Python<'_>, system: &'a Bound<'_, PyAny>) -> PyResult<&'a Network> {
    if let Ok(section) = system.cast::<Section>() {
        return section.get().network(py);
    }
    if let Ok(chain) = system.cast::<Chain>() {
        return chain.get().network(py);
    }
    let found = system.get_type().name()?;
    Err(input_error(py, InputError::new("system", found, "allowed: Section, Chain")))
}

/// What sections and chains can be asked.
macro_rules! system_methods {
    ($name:ident) => {
        #[pymethods]
        impl $name {
            #[doc = told!("_System.transfer")]
            #[pyo3(signature = (frequency_hz, *, contacts=None, out=None))]
            fn transfer<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                contacts: ByContact<'_, 'py>,
                out: Option<&Bound<'py, PyAny>>,
            ) -> PyResult<Py<PyAny>> {
                let network = self.network(py)?;
                let ready = Ready::new(py, network, frequency_hz, contacts)?;
                ready.evaluate(network, Complex64::new(0.0, 0.0), out, sweep::transfer)
            }

            #[doc = told!("_System.loss_db")]
            #[pyo3(signature = (frequency_hz, *, contacts=None, out=None))]
            fn loss_db<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                contacts: ByContact<'_, 'py>,
                out: Option<&Bound<'py, PyAny>>,
            ) -> PyResult<Py<PyAny>> {
                let network = self.network(py)?;
                if contacts.is_none() && out.is_none() {
                    if let Some(loss) = more::loss_of_one(network, frequency_hz)? {
                        return loss.into_py_any(py);
                    }
                }
                let ready = Ready::new(py, network, frequency_hz, contacts)?;
                ready.evaluate(network, 0.0, out, sweep::loss_db)
            }

            #[doc = told!("_System.crosstalk_db")]
            #[pyo3(signature = (frequency_hz, *, contacts=None, out=None))]
            fn crosstalk_db<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                contacts: ByContact<'_, 'py>,
                out: Option<&Bound<'py, PyAny>>,
            ) -> PyResult<Py<PyAny>> {
                more::crosstalk_db(py, self.network(py)?, frequency_hz, contacts, out)
            }

            #[doc = told!("_System.imbalance_db")]
            #[pyo3(signature = (frequency_hz, *, left=None, right=None))]
            fn imbalance_db<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                left: ByContact<'_, 'py>,
                right: ByContact<'_, 'py>,
            ) -> PyResult<Py<PyAny>> {
                more::imbalance_db(py, self.network(py)?, frequency_hz, left, right)
            }

            #[doc = told!("_System.damping_factor")]
            #[pyo3(signature = (frequency_hz=None, *, contacts=None), text_signature = "($self, frequency_hz=1000.0, *, contacts=None)")]
            fn damping_factor<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
            ) -> PyResult<Py<PyAny>> {
                let usual = PyFloat::new(py, 1000.0).into_any();
                more::damping_factor(py, self.network(py)?, frequency_hz.unwrap_or(&usual), contacts)
            }

            #[doc = told!("_System.dissipation_w")]
            #[pyo3(signature = (contact, frequency_hz, *, emf_v=None, contacts=None))]
            fn dissipation_w<'py>(
                &self,
                py: Python<'py>,
                contact: &str,
                frequency_hz: &Bound<'py, PyAny>,
                emf_v: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
            ) -> PyResult<Py<PyAny>> {
                more::dissipation_w(py, self.network(py)?, contact, frequency_hz, emf_v, contacts)
            }

            #[doc = told!("_System.distortion")]
            #[pyo3(signature = (frequency_hz, *, emf_v=None, contacts=None, harmonics=Whole::Default(10)), text_signature = "($self, frequency_hz, *, emf_v=None, contacts=None, harmonics=10)")]
            fn distortion<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                emf_v: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
                harmonics: Whole<'py>,
            ) -> PyResult<Distortion> {
                steady::distortion(py, self.network(py)?, frequency_hz, emf_v, contacts, &harmonics)
            }

            #[doc = told!("_System.signature")]
            #[pyo3(signature = (frequency_hz, *, emf_v=None, contacts=None))]
            fn signature<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                emf_v: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
            ) -> PyResult<Signature> {
                level_cycle::signature(py, self.network(py)?, frequency_hz, emf_v, contacts)
            }

            #[doc = told!("_System.two_tone")]
            #[pyo3(signature = (low_hz, high_hz, *, ratio=Number::Default(4.0), emf_v=None, contacts=None), text_signature = "($self, low_hz, high_hz, *, ratio=4.0, emf_v=None, contacts=None)")]
            fn two_tone<'py>(
                &self,
                py: Python<'py>,
                low_hz: &Bound<'py, PyAny>,
                high_hz: &Bound<'py, PyAny>,
                ratio: Number<'py>,
                emf_v: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
            ) -> PyResult<TwoTone> {
                steady::two_tone(py, self.network(py)?, (low_hz, high_hz), ratio, emf_v, contacts)
            }

            #[pyo3(
                signature = (frequency_hz, *, emf_v=None, contacts=None, chatter=None, flicker=None, band_hz=Band::AUDIBLE, weighting="none", notch_q=None),
                text_signature = "($self, frequency_hz, *, emf_v=None, contacts=None, chatter=None, flicker=None, band_hz=(20.0, 20000.0), weighting='none', notch_q=None)"
            )]
            #[doc = told!("_System.residue")]
            #[allow(clippy::too_many_arguments)] // keywords of one question
            fn residue<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                emf_v: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
                chatter: ByContact<'_, 'py>,
                flicker: ByContact<'_, 'py>,
                band_hz: Band,
                weighting: &str,
                notch_q: Option<Number<'py>>,
            ) -> PyResult<Residue> {
                let asked = residue::Asked { chatter, flicker, band_hz, weighting, notch_q };
                residue::residue(py, self.network(py)?, frequency_hz, emf_v, contacts, &asked)
            }

            #[pyo3(
                signature = (*, contacts=None, band_hz=Band::AUDIBLE, weighting="none"),
                text_signature = "($self, *, contacts=None, band_hz=(20.0, 20000.0), weighting='none')"
            )]
            #[doc = told!("_System.johnson_v")]
            fn johnson_v<'py>(
                &self,
                py: Python<'py>,
                contacts: ByContact<'_, 'py>,
                band_hz: Band,
                weighting: &str,
            ) -> PyResult<Py<PyAny>> {
                let asked = residue::Asked { chatter: None, flicker: None, band_hz, weighting, notch_q: None };
                residue::johnson_v(py, self.network(py)?, contacts, &asked)
            }

            #[doc = told!("_System.millivolt_bound")]
            #[pyo3(signature = (contact, *, across_v, load_v, frequency_hz, band_hz=Band::AUDIBLE), text_signature = "($self, contact, *, across_v, load_v, frequency_hz, band_hz=(20.0, 20000.0))")]
            fn millivolt_bound<'py>(
                &self,
                py: Python<'py>,
                contact: &str,
                across_v: &Bound<'py, PyAny>,
                load_v: &Bound<'py, PyAny>,
                frequency_hz: &Bound<'py, PyAny>,
                band_hz: Band,
            ) -> PyResult<Py<PyAny>> {
                more::millivolt_bound(py, self.network(py)?, contact, frequency_hz, (across_v, load_v), band_hz)
            }

            #[doc = told!("_System.loss_range_db")]
            #[pyo3(signature = (frequency_hz, *, ranges, contacts=None))]
            fn loss_range_db<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                ranges: &Bound<'py, PyMapping>,
                contacts: ByContact<'_, 'py>,
            ) -> PyResult<LossRange> {
                more::loss_range_db(py, self.network(py)?, frequency_hz, Some(ranges), contacts)
            }

            #[doc = told!("_System.response_change_db")]
            #[pyo3(signature = (*, contacts=None, band_hz=Band::AUDIBLE), text_signature = "($self, *, contacts=None, band_hz=(20.0, 20000.0))")]
            fn response_change_db<'py>(
                &self,
                py: Python<'py>,
                contacts: ByContact<'_, 'py>,
                band_hz: Band,
            ) -> PyResult<Py<PyAny>> {
                more::response_change_db(py, self.network(py)?, contacts, band_hz)
            }

            #[pyo3(
                signature = (frequency_hz, *, ranges=None, emf_v=None, contacts=None, band_hz=Band::AUDIBLE, other_channel=Some(Number::Default(1.0))),
                text_signature = "($self, frequency_hz, *, ranges=None, emf_v=None, contacts=None, band_hz=(20.0, 20000.0), other_channel=1.0)"
            )]
            #[doc = told!("_System.ceiling")]
            #[allow(clippy::too_many_arguments)]
            fn ceiling<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                ranges: ByContact<'_, 'py>,
                emf_v: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
                band_hz: Band,
                other_channel: Option<Number<'py>>,
            ) -> PyResult<Ceiling> {
                let view = (band_hz, other_channel);
                ceiling(py, self.network(py)?, frequency_hz, ranges, emf_v, contacts, view)
            }
        }
    };
}

#[doc = told!("Section")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Section(circuit::Section, Option<Network>);

impl Section {
    fn made(py: Python<'_>, section: circuit::Section) -> PyResult<Self> {
        section.check().map_err(|fault| input_error(py, fault))?;
        let network = match section.source {
            Some(_) => Some(Network::from_section(&section).map_err(|fault| input_error(py, fault))?),
            None => None,
        };
        Ok(Self(section, network))
    }

    pub(super) fn network(&self, py: Python<'_>) -> PyResult<&Network> {
        self.1.as_ref().ok_or_else(|| {
            let place = format!("section {:?}: source", self.0.name);
            let allowed = "a section without a source has an answer only inside a Chain, after a Stage";
            input_error(py, InputError::new(place, "None", allowed))
        })
    }

    fn text(&self) -> String {
        let path: Vec<_> = self
            .0
            .path
            .iter()
            .map(|item| match item {
                PathItem::Contact(contact) => Contact(contact.clone()).text(),
                PathItem::Lead(lead) => Lead(*lead).text(),
                PathItem::Divider(divider) => Divider(divider.clone()).text(),
            })
            .collect();
        let source = self.0.source.map_or("None".to_owned(), |source| Source(source).text());
        let load = Load(self.0.load).text();
        format!("Section({}, source={source}, path=[{}], load={load})", python_string(&self.0.name), path.join(", "))
    }
}

#[pymethods]
impl Section {
    #[new]
    #[pyo3(signature = (name, *, source, path, load))]
    fn new(
        py: Python<'_>,
        name: String,
        source: Option<&Bound<'_, Source>>,
        path: &Bound<'_, PyAny>,
        load: &Bound<'_, Load>,
    ) -> PyResult<Self> {
        let mut items = Vec::new();
        for (index, item) in path.try_iter()?.enumerate() {
            let item = item?;
            if let Ok(contact) = item.cast::<Contact>() {
                items.push(PathItem::Contact(contact.get().0.clone()));
            } else if let Ok(lead) = item.cast::<Lead>() {
                items.push(PathItem::Lead(lead.get().0));
            } else if let Ok(divider) = item.cast::<Divider>() {
                items.push(PathItem::Divider(divider.get().0.clone()));
            } else {
                let place = format!("section {name:?}: path[{index}]");
                return Err(input_error(
                    py,
                    InputError::new(place, item.get_type().name()?, "allowed: Contact, Lead, Divider"),
                ));
            }
        }
        let source = source.map(|source| source.get().0);
        Self::made(py, circuit::Section { name, source, path: items, load: load.get().0 })
    }
    #[doc = told!("Section.name")]
    #[getter]
    fn name(&self) -> &str {
        &self.0.name
    }
    #[doc = told!("Section.source")]
    #[getter]
    fn source(&self) -> Option<Source> {
        self.0.source.map(Source)
    }
    #[doc = told!("Section.load")]
    #[getter]
    fn load(&self) -> Load {
        Load(self.0.load)
    }
    #[doc = told!("Section.path")]
    #[getter]
    fn path<'py>(&self, py: Python<'py>) -> PyResult<Vec<Bound<'py, PyAny>>> {
        let object = |item: &PathItem| -> PyResult<Bound<'py, PyAny>> {
            Ok(match item {
                PathItem::Contact(contact) => Bound::new(py, Contact(contact.clone()))?.into_any(),
                PathItem::Lead(lead) => Bound::new(py, Lead(*lead))?.into_any(),
                PathItem::Divider(divider) => Bound::new(py, Divider(divider.clone()))?.into_any(),
            })
        };
        self.0.path.iter().map(object).collect()
    }
    #[doc = told!("_System.contact_names")]
    #[getter]
    fn contact_names(&self) -> Vec<String> {
        self.0.contacts().map(|contact| contact.name.clone()).collect()
    }
    #[doc = told!("Section.with_contact")]
    #[pyo3(signature = (name, **changes))]
    fn with_contact(&self, py: Python<'_>, name: &str, changes: Option<&Bound<'_, PyDict>>) -> PyResult<Self> {
        let mut section = self.0.clone();
        let known: Vec<_> = self.contact_names();
        let contact = section.path.iter_mut().find_map(|item| match item {
            PathItem::Contact(contact) => Some(contact).filter(|contact| contact.name == name),
            PathItem::Divider(divider) => divider.wiper.as_mut().filter(|wiper| wiper.name == name),
            PathItem::Lead(_) => None,
        });
        let Some(contact) = contact else {
            let allowed = format!("allowed: {known:?}");
            return Err(input_error(py, InputError::new("with_contact", format!("unknown contact {name:?}"), allowed)));
        };
        let arguments = PyDict::new(py);
        let current = Bound::new(py, Contact(contact.clone()))?;
        let replaces_law = changes.is_some_and(|c| c.contains("resistance_ohm").unwrap_or(false));
        for key in ["film", "constriction_ohm", "range_ohm", "role", "direct_current_a"] {
            if key != "film" || !replaces_law {
                arguments.set_item(key, current.getattr(key)?)?;
            }
        }
        if let Some(changes) = changes {
            arguments.update(changes.as_mapping())?;
        }
        let made = py.get_type::<Contact>().call((name,), Some(&arguments))?;
        *contact = made.cast::<Contact>()?.get().0.clone();
        Self::made(py, section)
    }
    #[doc = told!("Section.with_source")]
    #[pyo3(signature = (**changes))]
    fn with_source(&self, py: Python<'_>, changes: Option<&Bound<'_, PyDict>>) -> PyResult<Self> {
        let arguments = PyDict::new(py);
        if let Some(source) = self.0.source {
            arguments.set_item("emf_v", source.emf_v)?;
            arguments.set_item("resistance_ohm", source.resistance_ohm)?;
            arguments.set_item("inductance_h", source.inductance_h)?;
        }
        if let Some(changes) = changes {
            arguments.update(changes.as_mapping())?;
        }
        let made = py.get_type::<Source>().call((), Some(&arguments))?;
        let source = Some(made.cast::<Source>()?.get().0);
        Self::made(py, circuit::Section { source, ..self.0.clone() })
    }
}

#[doc = told!("Chain")]
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Chain(circuit::Chain, Network);

impl Chain {
    fn made(py: Python<'_>, chain: circuit::Chain) -> PyResult<Self> {
        let network = Network::from_chain(&chain).map_err(|fault| input_error(py, fault))?;
        Ok(Self(chain, network))
    }

    fn text(&self) -> String {
        let text = |item: &ChainItem| match item {
            ChainItem::Section(section) => Section(section.clone(), None).text(),
            ChainItem::Stage(stage) => Stage(stage.clone()).text(),
        };
        let items: Vec<_> = self.0.items.iter().map(text).collect();
        format!("Chain([{}])", items.join(", "))
    }

    pub(super) fn network(&self, _py: Python<'_>) -> PyResult<&Network> {
        Ok(&self.1)
    }
}

#[pymethods]
impl Chain {
    #[new]
    fn new(py: Python<'_>, items: &Bound<'_, PyAny>) -> PyResult<Self> {
        let mut links = Vec::new();
        for (index, item) in items.try_iter()?.enumerate() {
            let item = item?;
            if let Ok(section) = item.cast::<Section>() {
                links.push(ChainItem::Section(section.get().0.clone()));
            } else if let Ok(stage) = item.cast::<Stage>() {
                links.push(ChainItem::Stage(stage.get().0.clone()));
            } else {
                let place = format!("chain: items[{index}]");
                return Err(input_error(
                    py,
                    InputError::new(place, item.get_type().name()?, "allowed: Section, Stage"),
                ));
            }
        }
        Self::made(py, circuit::Chain { items: links })
    }
    #[doc = told!("_System.contact_names")]
    #[getter]
    fn contact_names(&self) -> Vec<String> {
        self.1.contacts.iter().map(|contact| contact.name.clone()).collect()
    }
    #[doc = told!("Chain.with_contact")]
    #[pyo3(signature = (name, **changes))]
    fn with_contact(&self, py: Python<'_>, name: &str, changes: Option<&Bound<'_, PyDict>>) -> PyResult<Self> {
        let mut chain = self.0.clone();
        self.1.contact_index(name).map_err(|fault| input_error(py, fault.within("with_contact")))?;
        for item in &mut chain.items {
            if let ChainItem::Section(section) = item {
                if section.contacts().any(|contact| contact.name == name) {
                    *section = Section::made(py, section.clone())?.with_contact(py, name, changes)?.0;
                }
            }
        }
        Self::made(py, chain)
    }
    #[doc = told!("Chain.with_source")]
    #[pyo3(signature = (**changes))]
    fn with_source(&self, py: Python<'_>, changes: Option<&Bound<'_, PyDict>>) -> PyResult<Self> {
        let mut chain = self.0.clone();
        if let Some(ChainItem::Section(section)) = chain.items.first_mut() {
            *section = Section::made(py, section.clone())?.with_source(py, changes)?.0;
        }
        Self::made(py, chain)
    }
    #[doc = told!("Chain.items")]
    #[getter]
    fn items<'py>(&self, py: Python<'py>) -> PyResult<Vec<Bound<'py, PyAny>>> {
        let object = |item: &ChainItem| -> PyResult<Bound<'py, PyAny>> {
            Ok(match item {
                ChainItem::Section(section) => Bound::new(py, Section::made(py, section.clone())?)?.into_any(),
                ChainItem::Stage(stage) => Bound::new(py, Stage(stage.clone()))?.into_any(),
            })
        };
        self.0.items.iter().map(object).collect()
    }
}

system_methods!(Section);
system_methods!(Chain);
value_class!(Section, "section");
value_class!(Chain, "chain");
