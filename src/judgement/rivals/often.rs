//! How often each of the other faults is drawn.

use super::*;
use crate::judgement::uncertainty::Stream;

#[test]
fn what_is_drawn_is_as_often_as_its_share() {
    const DRAWS: u32 = 20_000;
    for nature in [Nature::Source, Nature::Loudspeaker, Nature::PowerStage, Nature::Stage] {
        let mut dice = Dice::new(Stream::new(3, 0), None);
        let mut count = [0u32; 7];
        for _ in 0..DRAWS {
            let e = another_fault(nature, &mut dice);
            // a dead one is quieter than any that is only quieter
            let heard = [
                e.grit > 0.0,
                e.crackle > 0.0,
                e.loss_db > 0.0 && e.loss_db <= SILENT_DB,
                e.drops_db > 0.0,
                e.dull_db > 0.0,
                e.hum,
                e.loss_db > SILENT_DB,
            ];
            let which: Vec<usize> = (0..7).filter(|&k| heard[k]).collect();
            assert_eq!(which.len(), 1, "{e:?}");
            count[which[0]] += 1;
            let inside = |x: f64, (low, high): (f64, f64)| x == 0.0 || (low..=high).contains(&x);
            assert!(
                inside(e.grit, FAULT_RESIDUE) && inside(e.crackle, FAULT_RESIDUE) && inside(e.dull_db, FAULT_LOSS_DB)
            );
        }
        for (count, share) in count.iter().zip(fault_shares(nature)) {
            // binomial: five standard deviations
            let spread = 5.0 * (share * (1.0 - share) / f64::from(DRAWS)).sqrt();
            assert!((f64::from(*count) / f64::from(DRAWS) - share).abs() <= spread, "{nature:?} {count} {share}");
        }
    }
}

#[test]
fn noise_of_a_stage_is_a_bed_or_cracks_half_each() {
    let mut dice = Dice::new(Stream::new(5, 0), None);
    let drawn: Vec<Effect> = (0..4000).map(|_| noise(&mut dice)).collect();
    assert!(drawn.iter().all(|e| (e.grit > 0.0) != (e.crackle > 0.0)));
    let bed = drawn.iter().filter(|e| e.grit > 0.0).count();
    // five standard deviations of 4000 at one half: 158
    assert!(bed.abs_diff(2000) < 158, "{bed}");
}

#[test]
fn each_kind_of_rival_has_faults_of_its_own() {
    // what the assumptions are meant to say [common practice]: a worn stylus or head grits and dulls more often than a stage and hums
    // less; a loudspeaker has no supply to hum; a power stage is silent more often than only a little quieter
    let of = |nature| {
        let [grit, _, quieter, _, dull, hum, dead] = fault_shares(nature);
        (grit, quieter, dull, hum, dead)
    };
    let (stage, source, speaker, power) =
        (of(Nature::Stage), of(Nature::Source), of(Nature::Loudspeaker), of(Nature::PowerStage));
    assert!(source.0 > stage.0 && source.2 > stage.2 && source.3 < stage.3);
    assert!(speaker.3 == 0.0 && speaker.0 > source.0);
    assert!(power.4 > 2.0 * power.1 && power.1 < stage.1 && power.3 >= stage.3);
    for nature in [Nature::Stage, Nature::Source, Nature::Loudspeaker, Nature::PowerStage] {
        assert!((fault_shares(nature).iter().sum::<f64>() - 1.0).abs() < 1e-12);
    }
}
