//! The format as a JSON Schema (draft 2020-12), from the key table: editors complete and validate with it.
//!
//! A schema sees one value at a time. What it cannot tell (names that must match, units that must fit) the reader does.

use super::keys::{Entries, Form, HEADERS, Header, Key, TOP};
use serde_json::{Map, Value, json};

/// A number somewhere, and a letter, percent or ohm sign: what a value with its unit has at least.
const WITH_UNIT: &str = "[0-9].*[A-Za-z%\u{3a9}\u{2126}]|[A-Za-z%\u{3a9}\u{2126}].*[0-9]|^ *OL *$";

fn value(form: Form) -> Value {
    let word = |words: fn() -> Vec<&'static str>| json!({ "type": "string", "enum": words() });
    match form {
        Form::Text => json!({ "type": "string" }),
        Form::Number => json!({ "type": "number" }),
        Form::OneOf(numbers) => json!({ "enum": numbers }),
        Form::Quantity(_) | Form::Figure => json!({ "type": "string", "pattern": WITH_UNIT }),
        Form::Word(words) => word(words),
        Form::Named(words) => json!({ "type": "string", "examples": words() }),
        Form::NameOrTable(words, keys) => {
            json!({ "anyOf": [{ "type": "string", "examples": words() }, table(keys, &[])] })
        }
        Form::Path(keys) => {
            json!({ "type": "array", "items": { "anyOf": [{ "type": "string" }, table(keys, &[])] } })
        }
        Form::Texts => json!({ "anyOf": [{ "type": "string" }, { "type": "array", "items": { "type": "string" } }] }),
        Form::Words(words) => json!({ "anyOf": [word(words), { "type": "array", "items": word(words) }] }),
    }
}

/// An object with these keys and no others.
fn table(keys: &[Key], required: &[&str]) -> Value {
    let mut properties = Map::new();
    for key in keys {
        let mut form = value(key.form);
        if let Value::Object(form) = &mut form {
            let example = key.example.trim_start_matches("# ");
            form.insert("description".to_owned(), format!("{}, like {example}", key.meaning).into());
        }
        properties.insert(key.name.to_owned(), form);
    }
    json!({ "type": "object", "properties": properties, "required": required, "additionalProperties": false })
}

/// Keys that an entry of a header cannot do without.
fn required(header: &Header) -> &'static [&'static str] {
    match header.name {
        "section" => &["path", "into"],
        "heard" => &["route"],
        "bridged" => &["contact", "channel", "then"],
        "checked" => &["at", "channel"],
        "reading" => &["contact", "channel", "method"],
        _ => &[],
    }
}

/// The schema of a job sheet.
#[must_use]
pub fn schema() -> Value {
    let mut sheet = table(TOP, &["sheet", "route"]);
    for header in HEADERS {
        let entry = table(header.keys, required(header));
        let mut whole = match header.entries {
            Entries::Named => json!({ "type": "object", "additionalProperties": entry }),
            Entries::Lists => json!({
                "type": "object",
                "additionalProperties": { "type": "array", "items": { "type": "string" }, "minItems": 1 }
            }),
            Entries::Rows => json!({ "type": "array", "items": entry }),
            Entries::Keys => entry,
        };
        if let Value::Object(whole) = &mut whole {
            whole.insert("description".to_owned(), header.about.into());
        }
        sheet["properties"][header.name] = whole;
    }
    sheet["anyOf"] = json!([{ "required": ["section"] }, { "required": ["contact"] }]);
    sheet["$schema"] = json!("https://json-schema.org/draft/2020-12/schema");
    sheet["title"] = json!(format!("weaklink job sheet, version {}", env!("CARGO_PKG_VERSION")));
    sheet
}
