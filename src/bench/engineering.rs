//! Engineering form of a value, for messages and reports.

use super::quantity::Dimension as D;

/// Engineering form for messages: three digits and a prefix, ASCII units; an infinite resistance is "open".
#[must_use]
pub fn engineering(value: f64, dimension: D) -> String {
    if value.is_infinite() && dimension == D::Resistance {
        return "open".to_owned();
    }
    let digits = |x: f64| {
        let places = if x == 0.0 { 0 } else { (2 - x.abs().log10().floor() as i32).clamp(0, 6) };
        let text = format!("{x:.*}", places as usize);
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    };
    match dimension {
        D::Decibel => return format!("{} dB", digits((value * 100.0).round() / 100.0)),
        D::Ratio => return format!("{} %", digits(value * 100.0)),
        D::Time if value >= 60.0 => return format!("{} min", digits(value / 60.0)),
        _ => {}
    }
    if value == 0.0 || !value.is_finite() {
        return format!("{} {}", if value == 0.0 { "0".to_owned() } else { value.to_string() }, dimension.unit());
    }
    const STEPS: [(f64, &str); 8] =
        [(1e-12, "p"), (1e-9, "n"), (1e-6, "u"), (1e-3, "m"), (1.0, ""), (1e3, "k"), (1e6, "M"), (1e9, "G")];
    let rounded = value.abs() * 1.0005;
    let step = STEPS.iter().rev().find(|s| rounded >= s.0).unwrap_or(&STEPS[0]);
    format!("{} {}{}", digits(value / step.0), step.1, dimension.unit())
}
