//! Walking the parsed sheet with its spans, so that every fault has its line.

use super::keys::{Key, home_of};
pub(super) use crate::bench::names::{allowed_names, nearest};
use crate::bench::quantity::{Dimension, Quantity, quantity};
use crate::error::InputError;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value with its place in the sheet.
pub(super) type Node<'a> = Spanned<DeValue<'a>>;

/// The text of a sheet and the faults found so far.
pub(super) struct Walk<'t> {
    text: &'t str,
    file: &'t str,
    /// every fault
    pub(super) faults: Vec<InputError>,
}

impl<'t> Walk<'t> {
    pub(super) fn new(text: &'t str, file: &'t str) -> Self {
        Self { text, file, faults: Vec::new() }
    }

    pub(super) fn line(&self, at: usize) -> usize {
        self.text.get(..at).map_or(1, |before| before.matches('\n').count() + 1)
    }

    /// Where a line begins.
    pub(super) fn start_of(&self, line: usize) -> usize {
        self.text.split_inclusive('\n').take(line.saturating_sub(1)).map(str::len).sum()
    }

    pub(super) fn written(&self, span: Range<usize>) -> &'t str {
        self.text.get(span).unwrap_or("").trim()
    }

    pub(super) fn fault(&mut self, at: usize, place: &str, value: impl std::fmt::Display, allowed: impl Into<String>) {
        let line = self.line(at);
        // a key may be empty, a place may not
        let place = if place.trim().is_empty() { "sheet" } else { place };
        self.faults.push(InputError::new(place, value, allowed).at_line(line).in_file(self.file));
    }

    /// The parsed sheet, or nothing if its TOML is broken.
    pub(super) fn parse(&mut self) -> Option<Spanned<DeTable<'t>>> {
        let (table, errors) = DeTable::parse_recoverable(self.text);
        let mut lines = Vec::new();
        for error in &errors {
            let at = error.span().map_or(0, |span| span.start);
            let line = self.line(at);
            if lines.contains(&line) {
                continue;
            }
            lines.push(line);
            let source = self.text.lines().nth(line - 1).unwrap_or("").trim();
            if error.message().contains("duplicate") {
                let allowed = "allowed: each name once under a header; join the two entries";
                self.fault(
                    at,
                    "sheet",
                    format!("\"{}\" comes twice", source.split('=').next().unwrap_or(source).trim()),
                    allowed,
                );
            } else if let Some((key, value)) = unquoted(source) {
                let allowed = format!("quotes forgotten? write {key} = \"{value}\"");
                self.fault(at, key, format!("{value} stands without quotes"), allowed);
            } else {
                self.fault(at, "sheet", format!("{source:?} is not TOML"), error.message().to_owned());
            }
        }
        errors.is_empty().then_some(table)
    }

    /// The table of a node, or a fault.
    pub(super) fn table<'n, 'a>(&mut self, place: &str, node: &'n Node<'a>) -> Option<&'n DeTable<'a>> {
        let found = node.get_ref().as_table();
        if found.is_none() {
            let written = self.written(node.span()).to_owned();
            self.fault(node.span().start, place, written, "write it as { key = \"value\", ... }");
        }
        found
    }

    /// Entries of a table whose keys are all known; unknown ones become faults and are left out.
    pub(super) fn entries<'n, 'a>(
        &mut self,
        place: &str,
        table: &'n DeTable<'a>,
        keys: &[Key],
    ) -> Vec<(&'n str, &'n Node<'a>)> {
        let mut known = Vec::new();
        for (key, node) in table {
            let name: &str = key.get_ref();
            if keys.iter().any(|k| k.name == name) {
                known.push((name, node));
                continue;
            }
            let allowed = match home_of(name) {
                Some(home) => format!("it belongs under {home}"),
                None => allowed_names(name, keys.iter().map(|k| k.name)),
            };
            self.fault(key.span().start, place, format!("unknown key \"{name}\""), allowed);
        }
        known
    }

    /// A text, or a fault that says how to write one.
    pub(super) fn text(&mut self, place: &str, node: &Node<'_>) -> Option<String> {
        if let Some(text) = node.get_ref().as_str() {
            return Some(text.trim().to_owned());
        }
        let written = self.written(node.span()).to_owned();
        self.fault(node.span().start, place, format!("{written} is not text"), "write it in quotes");
        None
    }

    /// A quantity, or a fault; a bare number has lost its unit.
    pub(super) fn quantity(&mut self, place: &str, node: &Node<'_>, dimension: Dimension) -> Option<Quantity> {
        let Some(text) = node.get_ref().as_str() else {
            let written = self.written(node.span()).to_owned();
            let unit = dimension.unit();
            let allowed = format!("unit missing: write \"{written} {unit}\" or the like, in quotes");
            self.fault(node.span().start, place, written, allowed);
            return None;
        };
        match quantity(text, dimension) {
            Ok(found) => Some(found),
            Err(error) => {
                self.fault(node.span().start, place, error.problem, error.allowed);
                None
            }
        }
    }

    /// A bare number, or a fault.
    pub(super) fn number(&mut self, place: &str, node: &Node<'_>) -> Option<f64> {
        let written = self.written(node.span()).to_owned();
        let found = written.replace('_', "").parse::<f64>().ok().filter(|value| value.is_finite());
        if found.is_none() {
            self.fault(node.span().start, place, written, "allowed: a number without quotes and unit");
        }
        found
    }

    /// The value of a quantity.
    pub(super) fn value(&mut self, place: &str, node: &Node<'_>, dimension: Dimension) -> Option<f64> {
        self.quantity(place, node, dimension).map(|q| q.value)
    }

    /// One text or a list of them.
    pub(super) fn texts(&mut self, place: &str, node: &Node<'_>) -> Vec<(String, usize)> {
        match node.get_ref().as_array() {
            Some(items) => {
                items.iter().filter_map(|item| self.text(place, item).map(|text| (text, item.span().start))).collect()
            }
            None => self.text(place, node).map(|text| (text, node.span().start)).into_iter().collect(),
        }
    }

    /// A word from a closed list.
    pub(super) fn word<T: Copy>(
        &mut self,
        place: &str,
        word: &str,
        at: usize,
        from: fn(&str) -> Option<T>,
        all: &[&'static str],
    ) -> Option<T> {
        let found = from(word);
        if found.is_none() {
            self.fault(at, place, format!("\"{word}\""), allowed_names(word, all.iter().copied()));
        }
        found
    }
}

/// Key and value of the first value without quotes in a line like `into = 47 kohm` or `x = { into = 47 kohm }`.
fn unquoted(line: &str) -> Option<(&str, &str)> {
    let line = line.split('#').next().unwrap_or(line);
    line.match_indices('=').find_map(|(at, _)| {
        let key = line.get(..at)?.trim_end().rsplit([' ', '{', ',']).next()?;
        let value = line.get(at + 1..)?.split([',', '}']).next()?.trim();
        let begins = value.starts_with(|c: char| c.is_alphanumeric() || c == '-');
        let bare = begins && value.contains(char::is_alphabetic) && !value.contains(['"', '\'', '{', '[']);
        (bare && !key.is_empty() && !matches!(value, "true" | "false" | "inf" | "nan")).then_some((key, value))
    })
}
