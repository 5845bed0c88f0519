//! The one table of the bench log's columns: it drives the reader, its hints and the list that the package prints.

use super::remedy::Remedy;
use crate::bench::evidence::words;
use crate::bench::kind::Kind;
use crate::bench::{Channel, Method, State};
use serde::{Deserialize, Serialize};

/// What may stand in a cell.
#[derive(Debug, Clone, Copy)]
pub enum Form {
    /// any text; read only to tell rows apart, never printed
    Text,
    /// what a meter shows
    Figure,
    /// a quantity with its unit
    Quantity,
    /// a number, or a time with its unit
    Minutes,
    /// a number, with or without a currency
    Money,
    /// a day
    Date,
    /// yes or no
    YesNo,
    /// a word of a closed list
    Word(fn() -> Vec<&'static str>),
}

impl Form {
    /// The form in words.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Figure => "what the meter shows",
            Self::Quantity => "a number with its unit",
            Self::Minutes => "a number, or a time with its unit",
            Self::Money => "a number, with or without a currency",
            Self::Date => "a day",
            Self::YesNo => "yes or no",
            Self::Word(_) => "a word",
        }
    }

    /// The words that a closed list allows.
    #[must_use]
    pub fn words(self) -> Vec<&'static str> {
        match self {
            Self::Word(list) => list(),
            _ => Vec::new(),
        }
    }
}

/// One column.
#[derive(Debug, Clone, Copy)]
pub struct Column {
    /// its name in the header; case, and a space for the underscore, do not matter
    pub name: &'static str,
    /// what may stand there
    pub form: Form,
    /// an example
    pub example: &'static str,
    /// what goes there
    pub meaning: &'static str,
}

words! {
    /// Class of a product; brands are not read.
    Product {
        /// leaves nothing behind
        Solvent = "solvent",
        /// dissolves or reduces films
        Deoxidiser = "deoxidiser",
        /// stays as a film
        Lubricant = "lubricant",
        /// both of these
        DeoxidiserAndLubricant = "deoxidiser and lubricant",
        /// takes metal away
        Abrasive = "abrasive",
        /// without any
        Dry = "none",
        /// anything else
        Other = "other",
    }
}

words! {
    /// Why an amplifier came back.
    BackWhy {
        /// this contact again
        Same = "same contact",
        /// something else, this contact was in order
        OtherFault = "other fault",
        /// nobody looked
        NotKnown = "not known",
    }
}

words! {
    /// Where an amplifier lived.
    Surroundings {
        /// dry and clean rooms
        Dry = "dry",
        /// smoke
        Smoke = "smoke",
        /// damp rooms
        Damp = "damp",
        /// sea air
        Coast = "coast",
        /// works, kitchens, stables
        Industry = "industry",
    }
}

fn states() -> Vec<&'static str> {
    State::ALL.iter().map(|w| w.word()).collect()
}
fn channels() -> Vec<&'static str> {
    Channel::ALL.iter().map(|c| c.word()).chain(["both", "L", "R", "l", "r"]).collect()
}
fn methods() -> Vec<&'static str> {
    Method::TYPICAL.to_vec()
}
fn kinds() -> Vec<&'static str> {
    Kind::ALL.iter().map(|w| w.word()).collect()
}
fn remedies() -> Vec<&'static str> {
    Remedy::ALL.iter().map(|w| w.word()).collect()
}
fn products() -> Vec<&'static str> {
    Product::ALL.iter().map(|w| w.word()).collect()
}
fn reasons() -> Vec<&'static str> {
    BackWhy::ALL.iter().map(|w| w.word()).collect()
}
fn surroundings() -> Vec<&'static str> {
    Surroundings::ALL.iter().map(|w| w.word()).collect()
}

use Form::{Date, Figure, Minutes, Money, Quantity, Text, Word, YesNo};

const fn column(name: &'static str, form: Form, example: &'static str, meaning: &'static str) -> Column {
    Column { name, form, example, meaning }
}

/// Number of columns.
pub const COUNT: usize = 27;

/// Every column; those of a readings file first, so that the readings of jobs stack into a log.
pub const COLUMNS: [Column; COUNT] = [
    column("when", Word(states), "as found", "state of this reading; as found if blank"),
    column("contact", Text, "output relay / a", "a contact, \"part / position\"; or fill part and position"),
    column("channel", Word(channels), "left", "left, right or both"),
    column("shows", Figure, "85 mV", "what the meter shows, like \"180 ohm\", \"OL\", \"<0.1 ohm\""),
    column("method", Word(methods), "1 A drop", "how it was read; a plain ohmmeter if blank"),
    column("polarity", Text, "+", "which way round"),
    column("note", Text, "", "not read"),
    column("at", Quantity, "2.83 V", "the load's voltage, for signal millivolts"),
    column("parallel", Text, "8 ohm", "what else joined its two ends while it was read, a resistance or \"unknown\""),
    column("after", Figure, "4 mV", "the same reading after the remedy, where one row holds both"),
    column("job", Text, "1042", "number of the amplifier's job; its contacts count as one cluster"),
    column("date", Date, "2024-03-05", "day of the reading; day of the remedy where one row holds both"),
    column("part", Text, "output relay", "the part, if there is no column contact"),
    column("kind", Word(kinds), "relay", "kind of the part"),
    column("metal", Text, "gold plated", "contact metal; looked through for plating only"),
    column("position", Text, "a", "the contact's position in its part"),
    column("remedy", Word(remedies), "clean", "what was done; none is an untouched contact that was read again"),
    column("product", Word(products), "solvent", "class of what was used, never its brand"),
    column("minutes", Minutes, "25", "working time of the remedy"),
    column("part_cost", Money, "9.50", "price of the new part"),
    column("damage", YesNo, "no", "whether the remedy damaged something; blank is no, once the column is there"),
    column("back_on", Date, "2025-01-20", "day the amplifier came back"),
    column("back_why", Word(reasons), "same contact", "why it came back; same contact if blank"),
    column("last_known_good", Date, "2025-06-01", "last day it was known to be in order"),
    column("environment", Word(surroundings), "smoke", "where it lived"),
    column("sees", Quantity, "8 ohm", "impedance of the loop the contact stands in; typical for its kind if blank"),
    column("signal", Quantity, "2.8 V", "signal across the contact when it is open"),
];

/// Names of the columns as indices of [`COLUMNS`].
pub(super) mod place {
    macro_rules! places {
        ($($name:ident),+ $(,)?) => {
            // a column may be in the table and never read, as the note
            #[allow(dead_code, non_camel_case_types, clippy::upper_case_acronyms)]
            enum All { $($name),+ }
            $(#[allow(dead_code)] pub(in crate::shop) const $name: usize = All::$name as usize;)+
        };
    }
    places!(
        WHEN,
        CONTACT,
        CHANNEL,
        SHOWS,
        METHOD,
        POLARITY,
        NOTE,
        AT,
        PARALLEL,
        AFTER,
        JOB,
        DATE,
        PART,
        KIND,
        METAL,
        POSITION,
        REMEDY,
        PRODUCT,
        MINUTES,
        PART_COST,
        DAMAGE,
        BACK_ON,
        BACK_WHY,
        LAST_KNOWN_GOOD,
        ENVIRONMENT,
        SEES,
        SIGNAL,
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_follow_the_table() {
        for (at, name) in [
            (place::WHEN, "when"),
            (place::SHOWS, "shows"),
            (place::PARALLEL, "parallel"),
            (place::AFTER, "after"),
            (place::KIND, "kind"),
            (place::REMEDY, "remedy"),
            (place::DAMAGE, "damage"),
            (place::SIGNAL, "signal"),
        ] {
            assert_eq!(COLUMNS[at].name, name);
        }
        assert_eq!(COLUMNS[place::POLARITY].name, "polarity");
    }

    #[test]
    fn examples_of_words_are_words() {
        for column in COLUMNS {
            let words = column.form.words();
            assert!(words.is_empty() || words.contains(&column.example), "{}", column.name);
        }
    }
}
