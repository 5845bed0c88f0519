//! What a clip lead or a replacement says about one contact, beside what the routes say.

use super::suspects::{Standing, Who};
use crate::bench::{Bridged, Then};

/// Where a contact stands after what bridging or replacing it changed; a cure counts before "better", "better" before "same".
pub(super) fn after_bridges(
    who: &Who,
    by_routes: Standing,
    bridges: &[&Bridged],
    clashes: &mut Vec<String>,
    notes: &mut Vec<String>,
) -> Standing {
    let first = |then: Then| bridges.iter().find(|b| b.then == then);
    let told = |b: &Bridged| format!("{}: the {} at {who} (line {})", b.channel.word(), b.with.word(), b.line);
    let against = match &by_routes {
        Standing::ClearedBy { route, .. } => Some(format!("route \"{route}\" is clean through it")),
        Standing::NotOnABadRoute(_) => Some("nothing wrong was noted on a route through it".to_owned()),
        _ => None,
    };
    if let Some(cure) = first(Then::Clean) {
        if let Some(against) = against {
            clashes.push(format!("{} made it clean, yet {against}", told(cure)));
        }
        if let Some(same) = bridges.iter().find(|b| b.then == Then::Same && b.with == cure.with) {
            clashes.push(format!("{} made it clean, yet at line {} it changed nothing", told(cure), same.line));
        }
        return Standing::Proved;
    }
    if let Some(better) = first(Then::Better) {
        if let Some(against) = against {
            clashes.push(format!("{} made it better, yet {against}", told(better)));
        }
        notes
            .push(format!("{} made it better, not clean: it is one of several faults, or not the cause", told(better)));
        return if by_routes.is_open() { by_routes } else { Standing::Suspect };
    }
    if by_routes.is_open() { Standing::BridgedNoChange } else { by_routes }
}
