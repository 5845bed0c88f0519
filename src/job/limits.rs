//! How many ohms are too many at each place, with no readings at all.
//!
//! Below `residue_ohm` the wanted residue is impossible whatever the contact does (T1, any chatter, the others perfect);
//! at `loss_ohm` a steady resistance reaches the wanted loss at 1 kHz. Both rise with the resistance, so each is bisected.

use super::model::{Job, part_of};
use super::routes::Routes;
use super::rows::{TONE_HZ, contacts, smallest_reaching};
use crate::bench::range::dry_box_v;
use crate::error::{InputError, positive};
use crate::response::ceiling::Loop;
use crate::response::linear::{AUDIBLE_BAND_HZ, loss_db};
use serde::Serialize;

/// Limits of one contact.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Limit {
    /// the contact
    pub contact: String,
    /// its section
    pub section: String,
    /// magnitude of the loop impedance at 1 kHz, ohm
    pub loop_ohm: f64,
    /// below this the wanted residue is impossible, ohm; smallest over its routes
    pub residue_ohm: Option<f64>,
    /// this much is the wanted loss, ohm; smallest over its routes
    pub loss_ohm: Option<f64>,
    /// the smaller of the two, ohm
    pub stop_ohm: Option<f64>,
    /// usual for its kind up to, ohm
    pub in_order_up_to_ohm: Option<f64>,
    /// what the dry box shows at `stop_ohm`, V
    pub dry_box_v: Option<f64>,
    /// what one ampere drops at `stop_ohm`, V
    pub one_ampere_v: Option<f64>,
}

/// Limits of every contact of a job, in the order of its routes.
///
/// # Errors
/// A residue or loss that is not above zero; a route whose chain cannot be computed.
pub fn limits(job: &Job, residue: f64, loss: f64) -> Result<Vec<Limit>, InputError> {
    positive("residue", residue)?;
    positive("loss_db", loss)?;
    let routes = Routes::new(job)?;
    Ok(contacts(&routes).into_iter().filter_map(|contact| limit(job, &routes, contact, residue, loss)).collect())
}

fn limit(job: &Job, routes: &Routes, contact: String, residue: f64, loss: f64) -> Option<Limit> {
    let mut found: Option<Limit> = None;
    let smaller = |a: Option<f64>, b: Option<f64>| a.into_iter().chain(b).reduce(f64::min);
    for route in &routes.all {
        let Some((index, _)) = route.contacts().find(|c| c.1 == contact) else { continue };
        let perfect = vec![0.0; route.network.contacts.len()];
        let ready = Loop::new(&route.network, &[index], &perfect, TONE_HZ, AUDIBLE_BAND_HZ).ok()?;
        let by_residue = smallest_reaching(&|ohm| ready.ceiling((0.0, ohm)).chatter, residue);
        let by_loss = smallest_reaching(
            &|ohm| {
                let mut ohms = perfect.clone();
                ohms[index] = ohm;
                loss_db(&route.network, TONE_HZ, &ohms)
            },
            loss,
        );
        let row = found.get_or_insert_with(|| {
            let part = job.parts.get(part_of(&contact));
            Limit {
                contact: contact.clone(),
                section: route.network.links[route.network.section_of(index)].name.clone(),
                loop_ohm: route.place(index, routes.output_v).loop_ohm,
                residue_ohm: None,
                loss_ohm: None,
                stop_ohm: None,
                in_order_up_to_ohm: part.and_then(|p| p.kind?.in_order(p.track_ohm)).map(|limit| limit.up_to_ohm),
                dry_box_v: None,
                one_ampere_v: None,
            }
        });
        row.residue_ohm = smaller(row.residue_ohm, by_residue);
        row.loss_ohm = smaller(row.loss_ohm, by_loss);
    }
    let mut row = found?;
    row.stop_ohm = smaller(row.residue_ohm, row.loss_ohm);
    row.dry_box_v = row.stop_ohm.map(dry_box_v);
    row.one_ampere_v = row.stop_ohm;
    Some(row)
}

/// Whole layouts that are typical, by name: sheets without readings.
pub const LAYOUTS: [(&str, &str); 3] = [
    ("integrated amplifier", include_str!("layouts/integrated-amplifier.toml")),
    ("phono and line", include_str!("layouts/phono-and-line.toml")),
    ("headphone amplifier", include_str!("layouts/headphone-amplifier.toml")),
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::response::ceiling::ratio_for_residue;
    use approx::assert_relative_eq;

    fn layout(name: &str) -> Job {
        let text = LAYOUTS.iter().find(|row| row.0 == name).unwrap().1;
        crate::job::read(text, name, &|_| Err(std::io::ErrorKind::NotFound.into())).unwrap()
    }

    #[test]
    fn every_layout_reads_and_has_limits() {
        for (name, _) in LAYOUTS {
            let rows = limits(&layout(name), 1e-3, 0.5).unwrap();
            assert!(rows.len() >= 4 && rows.iter().all(|r| r.stop_ohm.is_some()), "{name}");
        }
    }

    #[test]
    fn resistive_loops_are_the_closed_forms() {
        // bisection on a logarithmic scale, 40 rounds over 15 decades: 3e-11 of the value
        const BISECTION: f64 = 1e-9;
        let rows = limits(&layout("integrated amplifier"), 1e-3, 0.5).unwrap();
        let relay = rows.iter().find(|r| r.contact == "speaker relay / a").unwrap();
        let total = 0.05 + 0.13 + 8.0;
        assert_relative_eq!(relay.loop_ohm, total, max_relative = 1e-12);
        assert_relative_eq!(relay.residue_ohm.unwrap(), total * ratio_for_residue(1e-3), max_relative = BISECTION);
        // 0.059254 of the loop for 0.5 dB [calc]
        assert_relative_eq!(relay.loss_ohm.unwrap(), total * 0.059_254, max_relative = 1e-5);
    }

    #[test]
    fn the_quietest_contact_may_have_the_most_ohms() {
        let rows = limits(&layout("integrated amplifier"), 1e-3, 0.5).unwrap();
        let stop = |name: &str| rows.iter().find(|r| r.contact == name).unwrap().stop_ohm.unwrap();
        assert!(stop("phono socket / pin") > 100.0 * stop("speaker relay / a"));
    }

    #[test]
    fn targets_must_be_above_zero() {
        let job = layout("headphone amplifier");
        assert!(limits(&job, 0.0, 0.5).unwrap_err().to_string().contains("residue: 0; allowed"));
        assert!(limits(&job, 1e-3, f64::NAN).is_err());
    }
}
