use super::*;
use crate::bench::evidence::Channel;
use crate::bench::quantity::{Dimension, accuracy, shown};
use approx::assert_relative_eq;
use num_complex::Complex64;

const PHONO: Place = Place { open_peak_v: 7e-3, short_peak_a: 1.5e-7, loop_ohm: 48e3, load_ohm: 47e3 };
const LOUDSPEAKER: Place = Place { open_peak_v: 8.0, short_peak_a: 1.0, loop_ohm: 8.05, load_ohm: 8.0 };

fn reading(text: &str, method: &str) -> Reading {
    let units = [Dimension::Resistance, Dimension::Voltage, Dimension::Decibel];
    let mut method_used = Method::typical(method).unwrap();
    let (shows, dimension) = shown(text, &units).unwrap();
    if dimension == Dimension::Resistance {
        method_used.shows = Shows::Ohms;
    }
    Reading {
        when: State::AsFound,
        contact: "a / b".into(),
        channel: Channel::Left,
        shows,
        method: method_used,
        method_name: method.into(),
        polarity: None,
        at_v: Some(2.83),
        parallel_ohm: None,
        note: None,
        file: None,
        line: 1,
    }
}

#[test]
fn dry_box_figures() {
    // bench practice of this project: 61 ohm shows 1.15 mV, 101 ohm 1.83 mV, 4.0 kohm 15.8 mV [derived]
    for (ohm, millivolt) in [(61.0, 1.15), (101.0, 1.83), (4000.0, 15.8)] {
        assert_relative_eq!(dry_box_v(ohm) * 1e3, millivolt, max_relative = 6e-3);
    }
    let range = range_of(&reading("1.83 mV", "dry box"), &PHONO);
    assert!(range.dry && range.low_ohm < 101.0 && range.high_ohm > 101.0 && range.high_ohm < 120.0, "{range:?}");
}

#[test]
fn a_rectifier_read_dry_blocks_more_at_a_watt() {
    // read as 0.4 to 0.5 ohm at millivolts, used behind 8 V peak: the upper end in use is far above what was read
    let shown = range_of(&reading("8 uV", "dry box"), &LOUDSPEAKER);
    assert!(shown.dry);
    let in_use = shown.high_in_use_ohm(&LOUDSPEAKER);
    assert!(in_use > 3.0 * shown.high_ohm, "{in_use} {}", shown.high_ohm);
    // a phono signal is too small to wake it: within a fifth
    let phono = range_of(&reading("0.2 mV", "dry box"), &PHONO);
    assert!(phono.high_in_use_ohm(&PHONO) < 1.2 * phono.high_ohm);
    // read with the signal itself there is nothing to grow
    let signal = range_of(&reading("85 mV", "signal millivolts"), &LOUDSPEAKER);
    assert_eq!(signal.high_in_use_ohm(&LOUDSPEAKER), signal.high_ohm);
}

#[test]
fn the_mean_that_a_meter_shows_bounds_the_loss() {
    // chatter of any two resistances, share of time and loop: what the box shows as a mean never hides more loss
    let (open_v, front) = (19.7e-3, 987.0);
    let mut closest = 0.0f64;
    for k in 0..20_000u32 {
        let u = |m: f64| (f64::from(k) * m).fract();
        let (high, duty) = (10f64.powf(9.0 * u(0.754_877_666) - 1.0), 10f64.powf(-4.0 * u(0.569_840_291)));
        let loop_ohm = 10f64.powf(5.0 * u(0.438_579_021));
        let seen = open_v * duty * high / (high + front);
        let place = Place { loop_ohm, ..PHONO };
        let mut box_reading = reading(&format!("{seen} V"), "dry box");
        box_reading.method.of_reading = 0.0;
        box_reading.method.floor = 1e-12;
        let range = range_of(&box_reading, &place);
        // what no film makes grow
        let plain = ResistanceRange { at_signal: true, mean_rest_ohm: range.high_ohm, ..range };
        let (bound, grown) = (plain.mean_loss_db(&place), range.mean_loss_db(&place));
        assert!(grown >= bound);
        // loops from a coil's over a resistance's to a capacitor's
        let z = Complex64::from_polar(loop_ohm, std::f64::consts::FRAC_PI_2 * (2.0 * u(0.330_598_119) - 1.0));
        let passes = Complex64::from(1.0) - duty * high / (high + z);
        let loss = -20.0 * passes.norm().log10();
        assert!(loss <= bound * (1.0 + 1e-6), "{high} {duty} {z}: {loss} {bound}");
        closest = closest.max(if bound.is_finite() { loss / bound } else { 0.0 });
    }
    assert!(closest > 0.75, "{closest}");
    // and a contact that jumps between metal and a film that was read forward and is met in reverse at a volt
    let loud = |loop_ohm| Place { open_peak_v: 1.0, short_peak_a: 1.0, loop_ohm, load_ohm: loop_ohm };
    let mut nearest = 0.0f64;
    for k in 0..400u32 {
        let u = |m: f64| (f64::from(k) * m).fract();
        let (rest, duty) = (10f64.powf(5.0 * u(0.754_877_666)), u(0.569_840_291).max(1e-3));
        let place = loud(10f64.powf(1.0 + 3.0 * u(0.438_579_021)));
        let film = worst_rectifier(rest);
        let at_box = film.chord_ohm(film_voltage_v(&film, front, open_v));
        let seen = open_v * duty * at_box / (at_box + front);
        let mut box_reading = reading(&format!("{seen} V"), "dry box");
        box_reading.method.of_reading = 0.0;
        box_reading.method.floor = 1e-12;
        let bound = range_of(&box_reading, &place).mean_loss_db(&place);
        let met = film.chord_ohm(film_voltage_v(&film, place.loop_ohm, -place.open_peak_v));
        let loss = -20.0 * (1.0 - duty * met / (met + place.loop_ohm)).log10();
        assert!(loss <= bound * (1.0 + 1e-6), "{rest} {duty} {place:?}: {loss} {bound}");
        nearest = nearest.max(if bound.is_finite() { loss / bound } else { 0.0 });
    }
    assert!(nearest > 0.05, "{nearest}");
}

#[test]
fn what_stands_beside_a_contact_takes_its_share_of_the_meters_voltage() {
    // 987 ohm beside it leave half of the 19.7 mV, behind 493.5 ohm: what is shown is twice the share of that
    let mut box_reading = reading("3 mV", "dry box");
    let alone = range_of(&box_reading, &PHONO);
    box_reading.parallel_ohm = Some((987.0, 987.0));
    let beside = range_of(&box_reading, &PHONO);
    assert_relative_eq!(beside.mean_share, 2.0 * alone.mean_share, max_relative = 1e-12);
    let ends = [alone.low_ohm, alone.high_ohm].map(|ohm| 1.0 / (1.0 / ohm - 1.0 / 987.0));
    assert_relative_eq!(beside.low_ohm, ends[0], max_relative = 1e-12);
    assert_relative_eq!(beside.high_ohm, ends[1], max_relative = 1e-12);
    // what a film may grow by is a factor on what was seen of it
    for (grown, was) in [(beside.rest_high_ohm, alone.rest_high_ohm), (beside.mean_rest_ohm, alone.mean_rest_ohm)] {
        assert_relative_eq!(grown / was, ends[1] / alone.high_ohm, max_relative = 1e-12);
    }
    // the draws see a meter of half the voltage and the same current
    let seen = [None, box_reading.parallel_ohm].map(|parallel_ohm| {
        let one = Reading { parallel_ohm, ..box_reading.clone() };
        crate::judgement::scene::Measured::new(&one, &PHONO)
    });
    assert_relative_eq!(2.0 * seen[1].open_v.unwrap(), seen[0].open_v.unwrap(), max_relative = 1e-12);
    assert_eq!(seen[0].current_a, seen[1].current_a);
    // nobody knows what: nothing bounds it, and any share may have been hidden
    box_reading.parallel_ohm = Some((0.0, f64::INFINITY));
    let unknown = range_of(&box_reading, &PHONO);
    assert_eq!((unknown.low_ohm, unknown.high_ohm, unknown.mean_share), (alone.low_ohm, f64::INFINITY, 1.0));
    assert!(unknown.mean_loss_db(&PHONO).is_infinite() && unknown.rest_high_ohm.is_infinite());
}

#[test]
fn what_a_dry_box_must_show_to_clear() {
    // 101 ohm shows 1.83 mV; less one percent, 0.2 mV and what a rectifier could add, the display must be far lower
    let below = dry_box_clears_below_v(101.0, &PHONO).unwrap();
    assert!(below > 1.4e-3 && below < 1.6e-3, "{below}");
    let at = |shown: f64| range_of(&reading(&format!("{shown} V"), "dry box"), &PHONO).high_in_use_ohm(&PHONO);
    assert!(at(below * 0.999) < 101.0 && at(below * 1.001) > 101.0);
    // 0.2 mV is ten ohms: no display clears a contact that may have one
    assert_eq!(dry_box_clears_below_v(1.0, &PHONO), None);
}

#[test]
fn below_the_leads_is_an_interval_from_zero() {
    let range = range_of(&reading("0.1 ohm", "hand meter"), &LOUDSPEAKER);
    assert_eq!(range.low_ohm, 0.0);
    assert_relative_eq!(range.shown_high_ohm, 0.1 + 0.3 + 0.001 - 0.1, max_relative = 1e-12);
}

#[test]
fn a_hand_meter_is_one_sided_on_a_phono_contact_and_not_where_the_signal_is_larger() {
    let range = range_of(&reading("180 ohm", "hand meter"), &PHONO);
    assert!(!range.dry && range.high_ohm.is_infinite() && range.low_ohm > 170.0 && range.fritted);
    let range = range_of(&reading("0.9 ohm", "hand meter"), &LOUDSPEAKER);
    assert!(range.dry && range.high_ohm < 1.2);
}

#[test]
fn loss_to_ohms() {
    // 0.011579, 0.059254, 0.122018 of the loop for 0.1, 0.5, 1 dB [calc]
    for (db, share) in [("0.1 dB", 0.011_579), ("0.5 dB", 0.059_254), ("1 dB", 0.122_018)] {
        let mut r = reading(db, "clip lead loss");
        r.method.floor = 0.0;
        let range = range_of(&r, &PHONO);
        assert_relative_eq!(range.high_ohm / PHONO.loop_ohm, share, max_relative = 5e-5);
    }
}

#[test]
fn hand_meter_half_width() {
    // 1.2 ohm on 0.1 ohm resolution, 0.5 % + 3 counts: 0.306 ohm [calc]
    let method = Method::typical("hand meter").unwrap().with_accuracy(accuracy("0.5 % + 3 x 0.1 ohm").unwrap());
    assert_relative_eq!(method.half_width(1.2), 0.306, max_relative = 1e-12);
}

#[test]
fn drops_millivolts_open_and_swing() {
    let drop = range_of(&reading("85 mV", "1 A drop"), &LOUDSPEAKER);
    assert!(drop.dry && drop.low_ohm < 0.085 && drop.high_ohm > 0.085 && drop.high_ohm < 0.09);
    let signal = range_of(&reading("<0.1 mV", "signal millivolts"), &LOUDSPEAKER);
    assert!(signal.low_ohm == 0.0 && signal.high_ohm < 1e-3);
    let open = range_of(&reading("OL", "hand meter"), &PHONO);
    assert!(open.low_ohm >= OVER_LIMIT_OHM && open.high_ohm.is_infinite());
    let all = swing(&[drop, signal]).unwrap();
    assert_eq!((all.low_ohm, all.high_ohm), (0.0, drop.high_ohm));
    assert!(swing(&[]).is_none());
}

#[test]
fn the_mark_of_a_broken_film_is_seen_at_either_end_of_what_was_shown() {
    // 1 mA: 0.1 to 0.5 V is 100 to 500 ohm as shown, whatever the accuracy takes off
    for text in ["100.5 ohm", "50 to 300 ohm", "500 ohm"] {
        assert!(range_of(&reading(text, "hand meter"), &PHONO).fritted, "{text}");
    }
    for text in ["90 ohm", "510 ohm", "0.1 to 4000 ohm", "OL"] {
        assert!(!range_of(&reading(text, "hand meter"), &PHONO).fritted, "{text}");
    }
}
