//! `[prior]` of a job sheet: what is likely before anything is heard.

use super::sheet::header;
use super::tree::{Node, Walk};
use crate::judgement::priors::{Priors, TABLE};

pub(super) fn read(walk: &mut Walk<'_>, node: &Node<'_>, priors: &mut Priors) {
    const PLACE: &str = "[prior]";
    let Some(table) = walk.table(PLACE, node) else { return };
    let mut sound = true;
    for (key, node) in walk.entries(PLACE, table, header("prior").keys) {
        let place = format!("{PLACE}: {key}");
        let Some(value) = walk.number(&place, node) else {
            sound = false;
            continue;
        };
        if let Some(row) = TABLE.iter().find(|row| row.name == key) {
            if value < row.low || value > row.high {
                let written = walk.written(node.span()).to_owned();
                walk.fault(node.span().start, &place, written, format!("allowed: {} to {}", row.low, row.high));
                sound = false;
                continue;
            }
        }
        priors.set(key, value);
    }
    if let (true, Err(fault)) = (sound, priors.check()) {
        walk.fault(node.span().start, &fault.place, fault.value, fault.allowed);
    }
}
