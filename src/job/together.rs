//! Whether all contacts of a bad route together could leave what is heard there (T1, T2, T4).

use super::model::Job;
use super::routes::Routes;
use super::rows::{TONE_HZ, measured};
use crate::bench::method::Shows;
use crate::bench::{Channel, What};
use crate::judgement::needs::Need;
use crate::response::ceiling::Status;
use crate::response::ceiling_cascade::ceiling_cascade;
use crate::response::linear::AUDIBLE_BAND_HZ;

/// The most that all contacts of a route can leave together, and what is heard.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Together {
    pub(super) route: String,
    pub(super) residue: f64,
    pub(super) need: f64,
}

/// One entry for every bad route of a channel on which residue is heard and every contact has a reading that bounds it.
///
/// A reading of millivolts across a contact bounds that contact (T8) and not its ohms: with one there is no entry.
pub(super) fn together(job: &Job, routes: &Routes, channel: Channel) -> Vec<Together> {
    let bad = job.heard.iter().filter(|h| h.channel == channel && h.what != What::Clean);
    let one = |heard: &crate::bench::Heard| {
        let Some(Need::Residue(need, _)) = routes.need(heard) else { return None };
        let route = routes.named(&heard.route)?;
        let level = routes.level(heard);
        let mut moving = Vec::new();
        for name in route.contacts() {
            let index = route.index_of(name)?;
            let place = route.place(index, level);
            let by_millivolts = job
                .readings
                .iter()
                .any(|r| r.contact == name && r.channel == channel && r.method.shows == Shows::SignalVolts);
            let direct = route.network.contacts[index].direct_current_a > 0.0;
            let high = measured(job, name, channel, &place)?.high_in_use_ohm(&place);
            if by_millivolts || direct || !high.is_finite() {
                return None;
            }
            moving.push((index, (0.0, high)));
        }
        let perfect = route.network.perfect_ohm();
        let ceiling = ceiling_cascade(&route.network, TONE_HZ, &moving, &perfect, AUDIBLE_BAND_HZ);
        (ceiling.status == Status::Holds && !moving.is_empty()).then(|| Together {
            route: heard.route.clone(),
            residue: ceiling.chatter,
            need,
        })
    };
    bad.filter_map(one).collect()
}
