//! Names near to the one that was written.

/// The nearest of `known` to a name, if it is near enough to be meant.
pub(crate) fn nearest<'k>(name: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    const NEAR_ENOUGH: f64 = 0.5;
    const BEGINNING: usize = 3;
    let name = name.to_lowercase();
    let likeness = |other: &str| {
        let other = other.to_lowercase();
        let begins = name.len().min(other.len()) >= BEGINNING && (name.starts_with(&other) || other.starts_with(&name));
        strsim::normalized_damerau_levenshtein(&name, &other) + if begins { NEAR_ENOUGH } else { 0.0 }
    };
    let rated = known.into_iter().map(|k| (k, likeness(k)));
    rated.max_by(|a, b| a.1.total_cmp(&b.1)).filter(|(_, l)| *l > NEAR_ENOUGH).map(|(k, _)| k)
}

/// "did you mean", or the list of what is known.
pub(crate) fn allowed_names<'k>(name: &str, known: impl IntoIterator<Item = &'k str> + Clone) -> String {
    let list = || known.clone().into_iter().map(|k| format!("\"{k}\"")).collect::<Vec<_>>().join(", ");
    match nearest(name, known.clone()) {
        Some(near) => format!("did you mean \"{near}\"? allowed: {}", list()),
        None => format!("allowed: {}", list()),
    }
}
