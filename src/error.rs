//! The one error of the crate: it names the place, the value and what is allowed.

use std::fmt;

/// Bad input, with the place, the value that was found and what is allowed there.
///
/// Every function that takes values from outside returns this and leaves its inputs as they were.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct InputError {
    /// where: `contact "relay": resistance_ohm`, or a key of a job sheet
    pub place: String,
    /// what was found there, as text
    pub value: String,
    /// what is allowed there, as a sentence fragment
    pub allowed: String,
    /// file the value came from, if it came from one
    pub file: Option<String>,
    /// line in that file, counted from 1
    pub line: Option<usize>,
}

impl InputError {
    /// An error at `place` about `value`; `allowed` says what would do.
    pub fn new(place: impl Into<String>, value: impl fmt::Display, allowed: impl Into<String>) -> Self {
        Self { place: place.into(), value: value.to_string(), allowed: allowed.into(), file: None, line: None }
    }

    /// The same error with the line it came from, unless it already has one.
    #[must_use]
    pub fn at_line(mut self, line: usize) -> Self {
        self.line.get_or_insert(line);
        self
    }

    /// The same error with the file it came from, unless it already has one.
    #[must_use]
    pub fn in_file(mut self, file: &str) -> Self {
        self.file.get_or_insert_with(|| file.to_owned());
        self
    }

    /// The same error, its place led by the name of what encloses it.
    #[must_use]
    pub fn within(mut self, outer: &str) -> Self {
        self.place = format!("{outer}: {}", self.place);
        self
    }
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(file) = &self.file {
            write!(f, "{file}: ")?;
        }
        if let Some(line) = self.line {
            write!(f, "line {line}: ")?;
        }
        write!(f, "{}: {}; {}", self.place, self.value, self.allowed)
    }
}

impl std::error::Error for InputError {}

/// `value` if it is finite and at least zero, else an error that names `place`.
pub(crate) fn not_negative(place: &str, value: f64) -> Result<f64, InputError> {
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(InputError::new(place, value, "allowed: finite, zero or more"))
    }
}

/// `value` if it is finite and above zero, else an error that names `place`.
pub(crate) fn positive(place: &str, value: f64) -> Result<f64, InputError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(InputError::new(place, value, "allowed: finite, above zero"))
    }
}

/// `value` if it is finite, else an error that names `place`.
pub(crate) fn finite(place: &str, value: f64) -> Result<f64, InputError> {
    if value.is_finite() { Ok(value) } else { Err(InputError::new(place, value, "allowed: a finite number")) }
}
