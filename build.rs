//! Cuts the documentation of the Python module out of its stub, so that it stands in one place: `told/<Class.method>.txt`.

use std::error::Error;
use std::path::{Path, PathBuf};
use std::{env, fs};

const STUB: &str = "python/weaklink/_core.pyi";
const QUOTES: &str = "\"\"\"";

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo::rerun-if-changed=build.rs");
    if env::var_os("CARGO_FEATURE_PYTHON").is_none() {
        return Ok(());
    }
    println!("cargo::rerun-if-changed={STUB}");
    let stub = fs::read_to_string(Path::new(&env::var("CARGO_MANIFEST_DIR")?).join(STUB))?;
    let told = PathBuf::from(env::var("OUT_DIR")?).join("told");
    // what the stub no longer holds must not be found
    if told.exists() {
        fs::remove_dir_all(&told)?;
    }
    fs::create_dir_all(&told)?;
    for (name, text) in cut(&stub)? {
        fs::write(told.join(format!("{name}.txt")), text)?;
    }
    Ok(())
}

/// Every class and function with a docstring, by its name with the classes around it.
fn cut(stub: &str) -> Result<Vec<(String, String)>, String> {
    let mut found = Vec::new();
    let mut around: Vec<(usize, &str)> = Vec::new();
    let mut lines = stub.lines();
    while let Some(line) = lines.next() {
        let Some((indent, name)) = header(line) else { continue };
        around.retain(|(outer, _)| *outer < indent);
        around.push((indent, name));
        let mut end = line;
        while !end.ends_with(':') && !end.ends_with("...") {
            end = lines.next().ok_or_else(|| format!("{STUB}: {name} has no end"))?.trim_end();
        }
        let mut ahead = lines.clone();
        let first = ahead.next().unwrap_or_default();
        if !end.ends_with(':') || !first.trim_start().starts_with(QUOTES) {
            continue;
        }
        let mut text = first.trim_start()[QUOTES.len()..].to_owned();
        while !text.contains(QUOTES) {
            let next = ahead.next().ok_or_else(|| format!("{STUB}: the text of {name} has no end"))?;
            text = format!("{text}\n{next}");
        }
        lines = ahead;
        text.truncate(text.find(QUOTES).unwrap_or(text.len()));
        if text.contains('\\') {
            return Err(format!("{STUB}: the text of {name} holds a backslash"));
        }
        let names: Vec<_> = around.iter().map(|(_, name)| *name).collect();
        found.push((names.join("."), without_indent(&text)));
    }
    Ok(found)
}

/// Indentation and name of a class or function that begins on this line.
fn header(line: &str) -> Option<(usize, &str)> {
    let code = line.trim_start();
    let rest = code.strip_prefix("class ").or_else(|| code.strip_prefix("def "))?;
    let name = rest.split(|c: char| !c.is_alphanumeric() && c != '_').next()?;
    Some((line.len() - code.len(), name))
}

/// A docstring as Python's `inspect.cleandoc` has it.
fn without_indent(text: &str) -> String {
    let depth = |line: &str| line.len() - line.trim_start().len();
    let margin = text.lines().skip(1).filter(|line| !line.trim().is_empty()).map(depth).min().unwrap_or(0);
    let rest = text.lines().skip(1).map(|line| line.get(margin..).unwrap_or_default().trim_end());
    let all: Vec<_> = text.lines().take(1).map(str::trim).chain(rest).collect();
    all.join("\n").trim().to_owned()
}
