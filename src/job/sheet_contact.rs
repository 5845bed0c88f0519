//! Contacts in the quick form: what each sees and the signal there, without a schematic.

use super::model::{Job, QuickSheet};
use super::sheet::{header, named};
use super::sheet_circuit::read_role;
use super::tree::{Node, Walk};
use crate::bench::quantity::Dimension;
use crate::circuit::{Contact, Role};

/// Reads `[contact]` into the job.
pub(super) fn read(walk: &mut Walk<'_>, node: &Node<'_>, job: &mut Job) {
    for (name, at, node) in named(walk, node, "[contact]") {
        let place = format!("[contact] \"{name}\"");
        let Some((part, position)) = name.split_once('/') else {
            walk.fault(at, &place, format!("\"{name}\""), "a contact is written \"part / position\"");
            continue;
        };
        let written = format!("{} / {}", part.trim(), position.trim());
        if written != name || part.trim().is_empty() || position.trim().is_empty() {
            walk.fault(
                at,
                &place,
                format!("\"{name}\""),
                format!("write it with a space on either side: \"{written}\""),
            );
            continue;
        }
        if let Some(section) =
            job.sections.iter().find(|s| s.path.iter().filter_map(|item| item.contact()).any(|c| c.name == name))
        {
            let found = format!("it stands on the path of section \"{}\"", section.name);
            walk.fault(at, &place, found, "describe it in one way: take it out of the path, or out of [contact]");
            continue;
        }
        let Some(table) = walk.table(&place, node) else { continue };
        let (mut sees, mut signal, mut role, mut direct_current_a) = (None, None, Role::Signal, 0.0);
        let (mut complete, mut sees_at, mut signal_at) = (true, at, at);
        for (key, node) in walk.entries(&place, table, header("contact").keys) {
            let place = format!("{place}: {key}");
            match key {
                "sees" => {
                    sees = walk.value(&place, node, Dimension::Resistance);
                    (complete, sees_at) = (complete && sees.is_some(), node.span().start);
                }
                "signal" => {
                    signal = walk.value(&place, node, Dimension::Voltage);
                    (complete, signal_at) = (complete && signal.is_some(), node.span().start);
                }
                "role" => role = read_role(walk, &place, node).unwrap_or(role),
                _ => direct_current_a = walk.value(&place, node, Dimension::Current).unwrap_or(0.0),
            }
        }
        let mut wanted = |key: &str, at: usize, value: Option<f64>, like: &str| match value {
            Some(value) if value > 0.0 => value,
            Some(value) => {
                walk.fault(at, &format!("{place}: {key}"), value, format!("above zero, like {like}"));
                f64::NAN
            }
            None if complete => {
                walk.fault(at, &place, format!("no {key}"), format!("write {key} = {like}"));
                f64::NAN
            }
            None => f64::NAN,
        };
        let (sees_ohm, signal_v) = if role.is_in_the_path() {
            (wanted("sees", sees_at, sees, "\"8 ohm\""), wanted("signal", signal_at, signal, "\"2.8 V\""))
        } else {
            if sees.is_some() || signal.is_some() || direct_current_a != 0.0 {
                let found = format!("sees, signal or direct_current of a contact with the role \"{}\"", role.word());
                let allowed =
                    "write the role alone: nothing bounds what a contact in a feedback, supply or bias network does";
                walk.fault(at, &place, found, allowed);
            }
            (f64::NAN, f64::NAN)
        };
        let contact = Contact { direct_current_a, ..Contact::perfect(name, role) };
        if let Err(fault) = contact.check() {
            walk.fault(at, &place, format!("{}: {}", fault.place, fault.value), fault.allowed);
        }
        job.quick.push(QuickSheet { contact, sees_ohm, signal_v, line: walk.line(at) });
    }
}
