//! Sections and chains as Python sees them, and what both can be asked.

use super::array::{Arguments, Columns, Domain, at, run};
use super::errors::input_error;
use super::json::{read, to_python, value_of};
use super::values::{Contact, Lead, Load, Source, Stage};
use crate::circuit::chain::Network;
use crate::circuit::{self, ChainItem, PathItem};
use crate::error::InputError;
use crate::response::ceiling::{self as bounds, Status};
use crate::response::level::{on_contact, section_emf_v};
use crate::response::linear::{self, AUDIBLE_BAND_HZ};
use crate::response::sweep::{self, Values};
use num_complex::Complex64;
use numpy::PyReadonlyArrayDyn;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyMapping, PyString, PyType};

/// A mapping of contact names, or nothing.
type ByContact<'a, 'py> = Option<&'a Bound<'py, PyMapping>>;

fn pairs<'py>(mapping: ByContact<'_, 'py>) -> PyResult<Vec<(String, Bound<'py, PyAny>)>> {
    let Some(mapping) = mapping else {
        return Ok(Vec::new());
    };
    mapping.items()?.iter().map(|item| item.extract()).collect()
}

/// Whole resistance of every contact: what the caller gave, else its own; returns the arguments' numbers.
fn contact_columns<'py>(
    py: Python<'py>,
    network: &Network,
    arguments: &mut Arguments<'py>,
    contacts: ByContact<'_, 'py>,
) -> PyResult<Vec<usize>> {
    let mut numbers = vec![None; network.contacts.len()];
    for (name, values) in pairs(contacts)? {
        let index = network
            .contact_index(&name)
            .map_err(|fault| input_error(py, fault))?;
        let place = format!("contacts[{name:?}]");
        numbers[index] = Some(arguments.add(&place, &values, Domain::NotNegative)?);
    }
    let own = network.contacts.iter().zip(numbers);
    Ok(own
        .map(|(c, number)| number.unwrap_or_else(|| arguments.constant(c.film.resistance_ohm())))
        .collect())
}

fn band(py: Python<'_>, (low, high): (f64, f64)) -> PyResult<(f64, f64)> {
    if low > 0.0 && high > low && high.is_finite() {
        return Ok((low, high));
    }
    let allowed = "allowed: (low, high) in Hz with 0 < low < high";
    Err(input_error(
        py,
        InputError::new("band_hz", format!("({low}, {high})"), allowed),
    ))
}

/// Adds each contact's constriction to a column of film resistances, only where there is one.
fn with_constriction<'a>(
    values: Values<'a>,
    constriction: f64,
    store: &'a mut Vec<f64>,
) -> Values<'a> {
    match values {
        Values::One(value) => Values::One(value + constriction),
        Values::Many(values) if constriction != 0.0 => {
            store.extend(values.iter().map(|v| v + constriction));
            Values::Many(store)
        }
        many @ Values::Many(_) => many,
    }
}

/// Columns of an evaluation over frequency and contacts.
struct Ready<'py> {
    columns: Columns<'py>,
    frequency: usize,
    contacts: Vec<usize>,
}

impl<'py> Ready<'py> {
    fn new(
        py: Python<'py>,
        network: &Network,
        frequency_hz: &Bound<'py, PyAny>,
        contacts: ByContact<'_, 'py>,
    ) -> PyResult<Self> {
        let mut arguments = Arguments::new(py);
        let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
        let contacts = contact_columns(py, network, &mut arguments, contacts)?;
        Ok(Self {
            columns: arguments.broadcast()?,
            frequency,
            contacts,
        })
    }

    fn evaluate<T>(
        &self,
        py: Python<'py>,
        network: &Network,
        blank: T,
        kernel: impl Fn(
            &Network,
            Values<'_>,
            &[Values<'_>],
            &mut [T],
            &dyn crate::watch::Watch,
        ) -> Result<(), crate::watch::Stopped>
        + Send
        + Sync,
    ) -> PyResult<Vec<T>>
    where
        T: Copy + Send + Sync,
    {
        let frequency = self.columns.values(self.frequency)?;
        let mut stores = vec![Vec::new(); self.contacts.len()];
        let mut values = Vec::with_capacity(self.contacts.len());
        for ((&number, contact), store) in
            self.contacts.iter().zip(&network.contacts).zip(&mut stores)
        {
            values.push(with_constriction(
                self.columns.values(number)?,
                contact.constriction_ohm,
                store,
            ));
        }
        let size = self.columns.size;
        run(py, size, |watch| {
            let mut out = vec![blank; size];
            kernel(network, frequency, &values, &mut out, watch)?;
            Ok(out)
        })
    }
}

/// What sections and chains can be asked.
macro_rules! system_methods {
    ($name:ident) => {
        #[pymethods]
        impl $name {
            #[pyo3(signature = (frequency_hz, *, contacts=None))]
            fn transfer<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                contacts: ByContact<'_, 'py>,
            ) -> PyResult<Py<PyAny>> {
                let network = self.network(py)?;
                let ready = Ready::new(py, network, frequency_hz, contacts)?;
                let out = ready.evaluate(py, network, Complex64::new(0.0, 0.0), sweep::transfer)?;
                ready.columns.result(out)
            }

            #[pyo3(signature = (frequency_hz, *, contacts=None))]
            fn loss_db<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                contacts: ByContact<'_, 'py>,
            ) -> PyResult<Py<PyAny>> {
                let network = self.network(py)?;
                let ready = Ready::new(py, network, frequency_hz, contacts)?;
                let out = ready.evaluate(py, network, 0.0, sweep::loss_db)?;
                ready.columns.result(out)
            }

            #[pyo3(signature = (*, contacts=None, band_hz=AUDIBLE_BAND_HZ), text_signature = "($self, *, contacts=None, band_hz=(20.0, 20000.0))")]
            fn response_change_db<'py>(
                &self,
                py: Python<'py>,
                contacts: ByContact<'_, 'py>,
                band_hz: (f64, f64),
            ) -> PyResult<Py<PyAny>> {
                let network = self.network(py)?;
                let band_hz = band(py, band_hz)?;
                let mut arguments = Arguments::new(py);
                let numbers = contact_columns(py, network, &mut arguments, contacts)?;
                let columns = arguments.broadcast()?;
                let values = numbers.iter().map(|&n| columns.values(n)).collect::<PyResult<Vec<_>>>()?;
                let size = columns.size;
                let out = run(py, size, |watch| {
                    let one = |point: usize| {
                        if watch.stop() {
                            return Err(crate::watch::Stopped);
                        }
                        let ohm: Vec<_> = whole(network, &values, point);
                        Ok(linear::response_change_db(network, &ohm, band_hz))
                    };
                    (0..size).map(one).collect::<Result<Vec<_>, _>>()
                })?;
                columns.result(out)
            }

            #[pyo3(signature = (frequency_hz, *, ranges=None, emf_v=None, contacts=None, band_hz=AUDIBLE_BAND_HZ), text_signature = "($self, frequency_hz, *, ranges=None, emf_v=None, contacts=None, band_hz=(20.0, 20000.0))")]
            #[allow(clippy::too_many_arguments)]
            fn ceiling<'py>(
                &self,
                py: Python<'py>,
                frequency_hz: &Bound<'py, PyAny>,
                ranges: ByContact<'_, 'py>,
                emf_v: Option<&Bound<'py, PyAny>>,
                contacts: ByContact<'_, 'py>,
                band_hz: (f64, f64),
            ) -> PyResult<Ceiling> {
                ceiling(py, self.network(py)?, frequency_hz, ranges, emf_v, contacts, band_hz)
            }
        }
    };
}

/// Whole resistance of every contact at one point.
fn whole(network: &Network, values: &[Values<'_>], point: usize) -> Vec<f64> {
    values
        .iter()
        .zip(&network.contacts)
        .map(|(v, c)| at(*v, point) + c.constriction_ohm)
        .collect()
}

/// A loop made ready, with the frequency, fixed resistances and moving contacts that it is ready for.
type Prepared<'n> = (f64, Vec<f64>, Vec<usize>, Result<bounds::Loop<'n>, Status>);

fn ceiling<'py>(
    py: Python<'py>,
    network: &Network,
    frequency_hz: &Bound<'py, PyAny>,
    ranges: ByContact<'_, 'py>,
    emf_v: Option<&Bound<'py, PyAny>>,
    contacts: ByContact<'_, 'py>,
    band_hz: (f64, f64),
) -> PyResult<Ceiling> {
    let band_hz = band(py, band_hz)?;
    let mut arguments = Arguments::new(py);
    let frequency = arguments.add("frequency_hz", frequency_hz, Domain::Positive)?;
    let numbers = contact_columns(py, network, &mut arguments, contacts)?;
    let emf = match emf_v {
        Some(emf) => arguments.add("emf_v", emf, Domain::NotNegative)?,
        None => arguments.constant(network.emf_v),
    };
    let mut given = Vec::new();
    for (name, range) in pairs(ranges)? {
        let index = network
            .contact_index(&name)
            .map_err(|fault| input_error(py, fault))?;
        let place = format!("ranges[{name:?}]");
        let (low, high): (Bound<'py, PyAny>, Bound<'py, PyAny>) =
            range.extract().map_err(|_| {
                input_error(
                    py,
                    InputError::new(
                        &place,
                        range.to_string(),
                        "allowed: a pair (low, high) in ohm",
                    ),
                )
            })?;
        let low = arguments.add(&format!("{place}: low"), &low, Domain::NotNegative)?;
        let high = arguments.add(
            &format!("{place}: high"),
            &high,
            Domain::NotNegativeOrInfinite,
        )?;
        given.push((index, low, high, place));
    }
    let columns = arguments.broadcast()?;
    let frequency = columns.values(frequency)?;
    let emf = columns.values(emf)?;
    let values = numbers
        .iter()
        .map(|&n| columns.values(n))
        .collect::<PyResult<Vec<_>>>()?;
    let mut wanted = Vec::new();
    for (index, low, high, place) in &given {
        let (low, high) = (columns.values(*low)?, columns.values(*high)?);
        if let Some(point) = (0..columns.size).find(|&k| at(low, k) > at(high, k)) {
            let found = format!("low {} above high {}", at(low, point), at(high, point));
            return Err(input_error(
                py,
                InputError::new(place, found, "allowed: low at most high"),
            ));
        }
        wanted.push((*index, low, high));
    }
    let size = columns.size;
    let by_default = ranges.is_none();
    let out = run(py, size, |watch| {
        let section_emf = section_emf_v(network);
        let open_per_emf: Vec<f64> = (0..network.contacts.len())
            .map(|k| {
                let here = section_emf[network.section_of(k)];
                let scale = if network.emf_v > 0.0 {
                    here / network.emf_v
                } else {
                    0.0
                };
                std::f64::consts::SQRT_2 * scale * on_contact(network, k, 1.0).open_v
            })
            .collect();
        let mut prepared: Option<Prepared<'_>> = None;
        let mut out = Vec::with_capacity(size);
        for point in 0..size {
            if watch.stop() {
                return Err(crate::watch::Stopped);
            }
            let f = at(frequency, point);
            let mut fixed = whole(network, &values, point);
            let moving: Vec<(usize, (f64, f64))> = if by_default {
                let peak = |k: usize| open_per_emf[k] * at(emf, point);
                let chords = |k: usize| {
                    let mut contact = network.contacts[k].clone();
                    contact.film = contact.film.with_resistance(at(values[k], point));
                    contact.chords_ohm(peak(k))
                };
                (0..network.contacts.len())
                    .map(|k| (k, chords(k)))
                    .collect()
            } else {
                wanted
                    .iter()
                    .map(|&(k, low, high)| (k, (at(low, point), at(high, point))))
                    .collect()
            };
            let mut sum = (0.0, 0.0);
            let mut indices = Vec::new();
            for &(k, (low, high)) in &moving {
                if high > low {
                    indices.push(k);
                    sum = (sum.0 + low, sum.1 + high);
                    fixed[k] = 0.0;
                } else {
                    fixed[k] = low;
                }
            }
            if indices.is_empty() {
                out.push(bounds::Ceiling {
                    harmonics: 0.0,
                    chatter: 0.0,
                    status: Status::Holds,
                });
                continue;
            }
            let same = prepared
                .as_ref()
                .is_some_and(|p| p.0 == f && p.1 == fixed && p.2 == indices);
            if !same {
                let ready = bounds::Loop::new(network, &indices, &fixed, f, band_hz);
                prepared = Some((f, fixed, indices, ready));
            }
            out.push(match prepared.as_ref().map(|p| &p.3) {
                Some(Ok(ready)) => ready.ceiling(sum),
                Some(Err(status)) => bounds::Ceiling {
                    harmonics: f64::NAN,
                    chatter: f64::NAN,
                    status: *status,
                },
                None => continue,
            });
        }
        Ok(out)
    })?;
    let word = |c: &bounds::Ceiling| c.status as i64;
    Ok(Ceiling {
        harmonics: columns.result(out.iter().map(|c| c.harmonics).collect::<Vec<f64>>())?,
        chatter: columns.result(out.iter().map(|c| c.chatter).collect::<Vec<f64>>())?,
        status: columns.result(out.iter().map(word).collect::<Vec<i64>>())?,
    })
}

/// Ceilings, one per point.
#[pyclass(frozen, module = "weaklink")]
pub(super) struct Ceiling {
    #[pyo3(get)]
    harmonics: Py<PyAny>,
    #[pyo3(get)]
    chatter: Py<PyAny>,
    status: Py<PyAny>,
}

impl Ceiling {
    fn statuses<'py>(&self, py: Python<'py>) -> PyResult<Vec<&'static str>> {
        let bound = self.status.bind(py);
        if let Ok(one) = bound.extract::<usize>() {
            return Ok(vec![Status::ALL[one].word()]);
        }
        let array: PyReadonlyArrayDyn<'py, i64> = bound.extract()?;
        Ok(array
            .as_array()
            .iter()
            .map(|&k| Status::ALL[k as usize].word())
            .collect())
    }
}

#[pymethods]
impl Ceiling {
    #[getter]
    fn applies(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
        let equal = self
            .status
            .bind(py)
            .rich_compare(0, pyo3::basic::CompareOp::Eq)?;
        Ok(equal.unbind())
    }
    #[getter]
    fn status<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let words = self.statuses(py)?;
        if self.status.bind(py).extract::<usize>().is_ok() {
            return Ok(PyString::new(py, words[0]).into_any());
        }
        let shape = self.status.bind(py).getattr("shape")?;
        py.import("numpy")?
            .call_method1("array", (words,))?
            .call_method1("reshape", (shape,))
    }
    #[pyo3(signature = (index=None))]
    fn reason(&self, py: Python<'_>, index: Option<&Bound<'_, PyAny>>) -> PyResult<&'static str> {
        let bound = self.status.bind(py);
        let number: usize = match bound.extract() {
            Ok(one) => one,
            Err(_) => match index {
                Some(index) => bound.get_item(index)?.extract()?,
                None => bound.call_method0("max")?.extract()?,
            },
        };
        Ok(Status::ALL[number].reason())
    }
    fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
        let text =
            |object: &Py<PyAny>| -> PyResult<String> { Ok(object.bind(py).repr()?.to_string()) };
        Ok(format!(
            "Ceiling(harmonics={}, chatter={}, status={})",
            text(&self.harmonics)?,
            text(&self.chatter)?,
            self.status(py)?.repr()?
        ))
    }
}

#[pyclass(frozen, module = "weaklink")]
pub(super) struct Section(circuit::Section, Option<Network>);

impl Section {
    fn made(py: Python<'_>, section: circuit::Section) -> PyResult<Self> {
        section.check().map_err(|fault| input_error(py, fault))?;
        let network = match section.source {
            Some(_) => {
                Some(Network::from_section(&section).map_err(|fault| input_error(py, fault))?)
            }
            None => None,
        };
        Ok(Self(section, network))
    }

    fn network(&self, py: Python<'_>) -> PyResult<&Network> {
        self.1.as_ref().ok_or_else(|| {
            let place = format!("section {:?}: source", self.0.name);
            let allowed =
                "a section without a source has an answer only inside a Chain, after a Stage";
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
            })
            .collect();
        let source = self
            .0
            .source
            .map_or("None".to_owned(), |source| Source(source).text());
        let load = Load(self.0.load).text();
        format!(
            "Section({:?}, source={source}, path=[{}], load={load})",
            self.0.name,
            path.join(", ")
        )
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
            } else {
                let place = format!("section {name:?}: path[{index}]");
                return Err(input_error(
                    py,
                    InputError::new(place, item.get_type().name()?, "allowed: Contact, Lead"),
                ));
            }
        }
        let source = source.map(|source| source.get().0);
        Self::made(
            py,
            circuit::Section {
                name,
                source,
                path: items,
                load: load.get().0,
            },
        )
    }
    #[getter]
    fn name(&self) -> &str {
        &self.0.name
    }
    #[getter]
    fn source(&self) -> Option<Source> {
        self.0.source.map(Source)
    }
    #[getter]
    fn load(&self) -> Load {
        Load(self.0.load)
    }
    #[getter]
    fn path<'py>(&self, py: Python<'py>) -> PyResult<Vec<Bound<'py, PyAny>>> {
        let object = |item: &PathItem| -> PyResult<Bound<'py, PyAny>> {
            Ok(match item {
                PathItem::Contact(contact) => Bound::new(py, Contact(contact.clone()))?.into_any(),
                PathItem::Lead(lead) => Bound::new(py, Lead(*lead))?.into_any(),
            })
        };
        self.0.path.iter().map(object).collect()
    }
    #[getter]
    fn contact_names(&self) -> Vec<String> {
        self.0
            .contacts()
            .map(|contact| contact.name.clone())
            .collect()
    }
    /// A copy with one contact changed; the changes are the arguments of `Contact`.
    #[pyo3(signature = (name, **changes))]
    fn with_contact(
        &self,
        py: Python<'_>,
        name: &str,
        changes: Option<&Bound<'_, PyDict>>,
    ) -> PyResult<Self> {
        let mut section = self.0.clone();
        let known: Vec<_> = self.contact_names();
        let contact = section.path.iter_mut().find_map(|item| match item {
            PathItem::Contact(contact) if contact.name == name => Some(contact),
            _ => None,
        });
        let Some(contact) = contact else {
            let allowed = format!("allowed: {known:?}");
            return Err(input_error(
                py,
                InputError::new("with_contact", format!("unknown contact {name:?}"), allowed),
            ));
        };
        let arguments = PyDict::new(py);
        let current = Bound::new(py, Contact(contact.clone()))?;
        let replaces_law = changes.is_some_and(|c| c.contains("resistance_ohm").unwrap_or(false));
        for key in ["film", "constriction_ohm", "range_ohm", "role"] {
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
    /// A copy with its source changed; the changes are the arguments of `Source`.
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
        Self::made(
            py,
            circuit::Section {
                source,
                ..self.0.clone()
            },
        )
    }
}

#[pyclass(frozen, module = "weaklink")]
pub(super) struct Chain(circuit::Chain, Network);

impl Chain {
    fn made(py: Python<'_>, chain: circuit::Chain) -> PyResult<Self> {
        let network = Network::from_chain(&chain).map_err(|fault| input_error(py, fault))?;
        Ok(Self(chain, network))
    }

    fn network(&self, _py: Python<'_>) -> PyResult<&Network> {
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
    #[getter]
    fn contact_names(&self) -> Vec<String> {
        self.1
            .contacts
            .iter()
            .map(|contact| contact.name.clone())
            .collect()
    }
    #[getter]
    fn items<'py>(&self, py: Python<'py>) -> PyResult<Vec<Bound<'py, PyAny>>> {
        let object = |item: &ChainItem| -> PyResult<Bound<'py, PyAny>> {
            Ok(match item {
                ChainItem::Section(section) => {
                    Bound::new(py, Section::made(py, section.clone())?)?.into_any()
                }
                ChainItem::Stage(stage) => Bound::new(py, Stage(stage.clone()))?.into_any(),
            })
        };
        self.0.items.iter().map(object).collect()
    }
}

/// The value protocol of a class that keeps its network ready beside the value.
macro_rules! system_values {
    ($name:ident, $label:literal, $text:expr) => {
        #[pymethods]
        impl $name {
            fn __repr__(&self, py: Python<'_>) -> PyResult<String> {
                let text: fn(&$name, Python<'_>) -> PyResult<String> = $text;
                text(self, py)
            }
            fn __eq__(&self, other: &Bound<'_, PyAny>) -> bool {
                other
                    .cast::<Self>()
                    .is_ok_and(|other| other.get().0 == self.0)
            }
            fn __hash__(&self) -> u64 {
                use std::hash::{DefaultHasher, Hash, Hasher};
                let mut hasher = DefaultHasher::new();
                value_of(&self.0).to_string().hash(&mut hasher);
                hasher.finish()
            }
            fn to_dict(&self, py: Python<'_>) -> PyResult<Py<PyAny>> {
                Ok(to_python(py, &value_of(&self.0))?.unbind())
            }
            #[classmethod]
            fn from_dict(cls: &Bound<'_, PyType>, data: &Bound<'_, PyAny>) -> PyResult<Self> {
                Self::made(cls.py(), read($label, data)?)
            }
            fn __reduce__<'py>(
                slf: &Bound<'py, Self>,
            ) -> PyResult<(Bound<'py, PyAny>, (Py<PyAny>,))> {
                Ok((
                    slf.get_type().getattr("from_dict")?,
                    (slf.get().to_dict(slf.py())?,),
                ))
            }
        }
    };
}

system_methods!(Section);
system_methods!(Chain);
system_values!(Section, "section", |this, _py| Ok(this.text()));
system_values!(Chain, "chain", |this, py| {
    let items: PyResult<Vec<String>> = this
        .items(py)?
        .iter()
        .map(|item| Ok(item.repr()?.to_string()))
        .collect();
    Ok(format!("Chain([{}])", items?.join(", ")))
});

fn of_array<'py>(
    py: Python<'py>,
    place: &str,
    object: &Bound<'py, PyAny>,
    law: fn(f64) -> f64,
) -> PyResult<Py<PyAny>> {
    let mut arguments = Arguments::new(py);
    let number = arguments.add(place, object, Domain::NotNegative)?;
    let columns = arguments.broadcast()?;
    let values = columns.values(number)?;
    columns.result(
        (0..columns.size)
            .map(|k| law(at(values, k)))
            .collect::<Vec<_>>(),
    )
}

/// T6: most residue in a resistive loop whose instantaneous loss ranges over `range_db`.
#[pyfunction]
pub(super) fn residue_from_loss_range<'py>(
    py: Python<'py>,
    range_db: &Bound<'py, PyAny>,
) -> PyResult<Py<PyAny>> {
    of_array(py, "range_db", range_db, bounds::residue_from_loss_range)
}

/// Inverse of T6: the least range of loss, dB, that goes with a residue in a resistive loop.
#[pyfunction]
pub(super) fn loss_range_for_residue<'py>(
    py: Python<'py>,
    residue: &Bound<'py, PyAny>,
) -> PyResult<Py<PyAny>> {
    of_array(py, "residue", residue, bounds::loss_range_for_residue)
}
