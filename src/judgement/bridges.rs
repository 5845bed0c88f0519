//! What a clip lead or a replacement says about one contact, beside what the routes say.

use super::suspects::{Observation, Standing, Who};
use crate::bench::evidence::BridgedWith;
use crate::bench::{Bridged, Channel, Then};
use std::collections::BTreeMap;

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

/// Two contacts of one bad route of which a clip lead across either alone made it clean: with the other still bad neither could have, so
/// neither is proved.
pub(super) fn each_alone(
    standing: &mut BTreeMap<Who, Standing>,
    bridged: &[&Bridged],
    bad: &[&Observation],
    channel: Channel,
    clashes: &mut Vec<String>,
) {
    let led = |who: &Who| {
        bridged.iter().any(|b| b.then == Then::Clean && b.with == BridgedWith::ClipLead && b.contact == who.name())
    };
    let proved: Vec<Who> = standing
        .iter()
        .filter(|(who, found)| **found == Standing::Proved && led(who))
        .map(|(who, _)| who.clone())
        .collect();
    for o in bad {
        let on_it: Vec<&Who> = proved.iter().filter(|who| o.elements.iter().any(|e| e.who == **who)).collect();
        if let [first, .., last] = on_it[..] {
            clashes.push(format!(
                "{}: a clip lead across {first} alone and one across {last} alone made it clean: with the other still bad neither could; the work jolted one of them. Undo both, listen, repeat",
                channel.word()
            ));
            on_it.into_iter().for_each(|who| {
                standing.insert(who.clone(), Standing::Suspect);
            });
            return;
        }
    }
}
