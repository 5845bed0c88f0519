//! What comes before any test: direct voltage at an output, hum that nothing here computes.

use super::{LID_MIN, NextStep, REWORK_MIN, SWAP_LOUDSPEAKERS, SWAP_MIN};
use crate::bench::Channel;

pub(super) const DIRECT_FIRST: &str = "Loudspeakers off";

/// What comes before everything else where direct voltage was found at an output.
#[must_use]
pub fn direct_voltage_first(channel: Channel, stage: &str) -> NextStep {
    NextStep {
        what: format!(
            "{DIRECT_FIRST}; find and repair the direct voltage at the output of the {stage} (live: only if you are trained for it)"
        ),
        contact: None,
        channel,
        minutes: LID_MIN + REWORK_MIN,
        bits: 1.0,
        lid_on: false,
        reads_as:
            "no loudspeaker, no swap and no clip lead before it is gone; a protection relay stays open because of it"
                .into(),
    }
}

/// Where it hums: nothing here computes hum, but what stands before and behind the input can be told apart.
#[must_use]
pub fn short_the_input(channel: Channel) -> NextStep {
    NextStep {
        what: "Set off: unplug the source, plug a shorted plug into its input; listen again".into(),
        contact: None,
        channel,
        minutes: SWAP_MIN,
        bits: 1.0,
        lid_on: true,
        reads_as: "hum gone: source, its lead or their ground; still there: ground or supply inside".into(),
    }
}

/// Whether a step puts one channel's loudspeaker on the other's output.
#[must_use]
pub fn swaps_loudspeakers(step: &NextStep) -> bool {
    step.what.starts_with(SWAP_LOUDSPEAKERS)
}
