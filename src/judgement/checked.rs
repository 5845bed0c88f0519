//! How probable it is what was found at a stage, a source or the loudspeakers, given who is at fault.

use super::causes::{Cause, Hypothesis};
use super::meters::log_share;
use super::rivals::DIRECT_V;
use super::scene::{Nature, Suspect};
use super::uncertainty::generator::normal_cdf;
use crate::bench::evidence::Swapped;
use crate::physics::constants::THERMAL_VOLTAGE_V;

/// Bias of a stage that is set right, V across each emitter resistor: 15 to 20 mV (common practice); spread \[assumption\].
pub const BIAS_SET: (f64, f64) = (18e-3, 1.5);
/// Direct voltage behind a coupling capacitor that holds, V, and its spread \[assumption\].
pub const DIRECT_SOUND: (f64, f64) = (2e-3, 4.0);
/// Direct voltage at the output of a power stage that is sound, V: some tens of millivolts (common practice); spread \[assumption\].
pub const OFFSET_SOUND: (f64, f64) = (10e-3, 2.5);
/// The same of one that is at fault in that way, V, up to a supply's, and how many of its other faults are of that kind \[assumption\].
pub const OFFSET_FAULT: (f64, f64) = (0.1, 60.0);
/// See [`OFFSET_FAULT`].
pub const OFFSET_SHARE: f64 = 0.3;
/// How far a meter shows something else than the fault has, as a geometric standard deviation \[assumption\]: the emitter
/// resistor is a part of the emitter circuit, the set was as warm as it was.
pub const SEEN_SPREAD: f64 = 1.25;
/// Widens a reading without a stated width \[assumption\].
const WIDTH: f64 = 0.05;
/// Chance that a swap shows what it should \[assumption\].
const SWAP_TELLS: f64 = 0.97;

/// The last digit of a meter that shows zero, V \[assumption\].
const LAST_DIGIT_V: f64 = 1e-4;

/// Chance that a value around a median lies where it was read; of zero is shown what is below the last digit.
fn window((low, high): (f64, f64), (median, spread): (f64, f64)) -> f64 {
    let place = |v: f64| if v > 0.0 { (v / median).ln() / spread.ln() } else { f64::NEG_INFINITY };
    let low = if low < LAST_DIGIT_V { 0.0 } else { (1.0 - WIDTH) * low };
    let (from, to) = (place(low), place((1.0 + WIDTH) * high.max(LAST_DIGIT_V)));
    // the tail in which it lies, so that small chances keep their digits
    let within = if from > 0.0 { normal_cdf(-from) - normal_cdf(-to) } else { normal_cdf(to) - normal_cdf(from) };
    within.max(f64::MIN_POSITIVE)
}

/// Probability of what was found at a suspect; `causes` are the faults of one draw, none for something that no sheet names.
#[must_use]
pub(super) fn probability(number: usize, suspects: &[Suspect], causes: &[&Cause]) -> f64 {
    let suspect = &suspects[number];
    let Some(found) = &suspect.checked else { return 1.0 };
    let own = causes.iter().find(|c| c.suspect == number);
    let mut p = 1.0;
    if let Some(bias_v) = found.bias_v {
        let under = own.filter(|c| c.hypothesis == Hypothesis::Crossover);
        p *= window(bias_v, under.map_or(BIAS_SET, |c| (c.quiescent * THERMAL_VOLTAGE_V, SEEN_SPREAD)));
    }
    if let Some(direct_v) = found.direct_v {
        // more than the largest that is drawn is as telling as that
        let at_most = |most: f64| (direct_v.0.min(most), direct_v.1.min(most));
        if suspect.nature == Nature::PowerStage {
            let (sound, seen) = (window(direct_v, OFFSET_SOUND), at_most(OFFSET_FAULT.1));
            let off = log_share(((1.0 - WIDTH) * seen.0, (1.0 + WIDTH) * seen.1), OFFSET_FAULT);
            let faulty = own.is_some_and(|c| c.hypothesis == Hypothesis::Fault);
            p *= if faulty { (1.0 - OFFSET_SHARE) * sound + OFFSET_SHARE * off } else { sound };
        } else {
            let leaks = own.filter(|c| c.hypothesis == Hypothesis::DirectVoltage);
            p *= window(at_most(DIRECT_V.1), leaks.map_or(DIRECT_SOUND, |c| (c.direct_v, SEEN_SPREAD)));
        }
    }
    if let Some(swapped) = found.swapped {
        // a fault of the source moves with its plugs; one of a loudspeaker stays with it, anything before it moves
        let by_it = if suspect.nature == Nature::Loudspeaker { Swapped::Stays } else { Swapped::ChangesSides };
        // what stands on its side of its cable goes with it
        let with_it = |c: &&&Cause| c.suspect == number || suspects[c.suspect].goes_with.contains(&found.at);
        p *= match (causes.iter().any(|c| with_it(&c)), causes.len()) {
            // nobody knows where it is, or one of two moves and one stays
            (_, 0) | (true, 2..) => 0.5,
            (guilty, _) if (swapped == by_it) == guilty => SWAP_TELLS,
            _ => 1.0 - SWAP_TELLS,
        };
    }
    p
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{Channel, Checked};
    use crate::judgement::dice::Dice;
    use crate::judgement::priors::Priors;
    use crate::judgement::scene::Excluded;
    use crate::judgement::suspects::Who;
    use crate::judgement::uncertainty::Stream;

    fn suspect(nature: Nature, found: Checked) -> Suspect {
        Suspect {
            who: Who::Stage("a".into()),
            nature,
            part: String::new(),
            workable: false,
            in_return: false,
            laws: [1.0, 0.0, 0.0],
            prior: 0.1,
            usual_ohm: 0.1,
            worn_ohm: 1.0,
            readings: vec![],
            bridges: vec![],
            drives_control: true,
            direct_current: false,
            goes_with: vec![],
            checked: Some(found),
            excluded: Excluded::No,
        }
    }

    fn found(bias_v: Option<f64>, direct_v: Option<f64>, swapped: Option<Swapped>) -> Checked {
        let exact = |v: f64| (v, v);
        Checked {
            at: "a".into(),
            channel: Channel::Left,
            bias_v: bias_v.map(exact),
            direct_v: direct_v.map(exact),
            swapped,
            line: 1,
        }
    }

    /// Something else, at which nothing was found.
    fn silent() -> Suspect {
        Suspect { checked: None, ..suspect(Nature::Stage, found(None, None, None)) }
    }

    fn cause(number: usize, of: &Suspect, hypothesis: Hypothesis) -> Cause {
        let mut dice = Dice::new(Stream::new(1, 0), None);
        Cause::draw(number, of, hypothesis, None, &Priors::default(), &mut dice)
    }

    #[test]
    fn a_bias_far_below_what_is_set_accuses_and_one_at_it_acquits() {
        let at = |bias: f64, quiescent_v: f64| {
            let stage = suspect(Nature::PowerStage, found(Some(bias), None, None));
            let mut under = cause(0, &stage, Hypothesis::Crossover);
            under.quiescent = quiescent_v / THERMAL_VOLTAGE_V;
            let other = cause(1, &stage, Hypothesis::Fault);
            let both = [stage.clone(), silent()];
            probability(0, &both, &[&under]) / probability(0, &both, &[&other])
        };
        // read where the fault has it: far below what is set it is the fault's, at what is set it is sound
        assert!(at(2e-3, 2e-3) > 1e3, "{}", at(2e-3, 2e-3));
        assert!(at(18e-3, 2e-3) < 1e-6, "{}", at(18e-3, 2e-3));
        // the further below, the plainer, down to a meter that shows zero
        assert!(at(0.5e-3, 0.5e-3) > 1e6 && at(0.0, 0.5e-3) > 1e6, "{} {}", at(0.5e-3, 0.5e-3), at(0.0, 0.5e-3));
    }

    #[test]
    fn direct_voltage_at_an_output_accuses_the_stage_and_an_offset_does_not() {
        let at = |read: f64| {
            let stage = suspect(Nature::PowerStage, found(None, Some(read), None));
            let (fault, under) = (cause(0, &stage, Hypothesis::Fault), cause(0, &stage, Hypothesis::Crossover));
            let all = std::slice::from_ref(&stage);
            let p = |causes: &[&Cause]| probability(0, all, causes);
            assert_eq!(p(&[&under]), p(&[]));
            p(&[&fault]) / p(&[])
        };
        assert!(at(0.5) > 100.0 && at(30.0) > 1e9 && at(250.0) > 1e9, "{} {} {}", at(0.5), at(30.0), at(250.0));
        assert!((0.6..1.0).contains(&at(10e-3)), "{}", at(10e-3));
    }

    #[test]
    fn direct_voltage_is_told_from_a_capacitor_that_holds() {
        let at = |read: f64, leaks: f64| {
            let stage = suspect(Nature::Stage, found(None, Some(read), None));
            let mut leaky = cause(0, &stage, Hypothesis::DirectVoltage);
            leaky.direct_v = leaks;
            probability(0, std::slice::from_ref(&stage), &[&leaky]) / probability(0, std::slice::from_ref(&stage), &[])
        };
        assert!(at(1.0, 1.0) > 100.0, "{}", at(1.0, 1.0));
        assert!(at(1e-3, 1.0) < 1e-6 && at(0.0, 0.05) < 1e-6, "{} {}", at(1e-3, 1.0), at(0.0, 0.05));
        // a supply's voltage accuses as much as the largest that is drawn
        assert!(at(250.0, 10.0) > 1e3, "{}", at(250.0, 10.0));
    }

    #[test]
    fn a_swap_points_at_the_source_or_away_and_the_other_way_round_at_a_loudspeaker() {
        let says = |nature, swapped, at_fault: usize, goes: bool| {
            let one = suspect(nature, found(None, None, Some(swapped)));
            let beside = Suspect { goes_with: if goes { vec!["a".into()] } else { vec![] }, ..silent() };
            let fault = cause(at_fault, &one, Hypothesis::Fault);
            probability(0, &[one, beside], &[&fault])
        };
        for (nature, guilty) in [(Nature::Source, Swapped::ChangesSides), (Nature::Loudspeaker, Swapped::Stays)] {
            for swapped in [Swapped::ChangesSides, Swapped::Stays] {
                let (own, other) = (says(nature, swapped, 0, false), says(nature, swapped, 1, false));
                let tells = if swapped == guilty { own / other } else { other / own };
                assert!((tells - SWAP_TELLS / (1.0 - SWAP_TELLS)).abs() < 1e-9, "{nature:?} {swapped:?}");
                // a contact on its side of the cable goes with it
                assert_eq!(says(nature, swapped, 1, true), own);
            }
            let one = suspect(nature, found(None, None, Some(guilty)));
            let (a, b) = (cause(0, &one, Hypothesis::Fault), cause(1, &one, Hypothesis::Fault));
            let both = [one, silent()];
            assert_eq!((probability(0, &both, &[]), probability(0, &both, &[&a, &b])), (0.5, 0.5));
        }
    }

    #[test]
    fn nothing_checked_says_nothing() {
        let one = Suspect { checked: None, ..suspect(Nature::Stage, found(None, None, None)) };
        assert_eq!(probability(0, &[one], &[]), 1.0);
    }
}

#[cfg(test)]
mod tail;
