//! Every route of a job, and the level at which each is listened to.

use super::model::Job;
use super::route::Route;
use crate::bench::{Channel, Heard, Strength};
use crate::error::InputError;
use crate::hearing::level::Sensitivity;
use crate::judgement::needs::{LISTENING_DB, Need, Noticed};
use crate::judgement::{Observation, Who};

/// Loudest listening that is taken for granted where the sheet gives no output level, V rms: 1 W into 8 ohm [assumption].
///
/// A level taken too high would let a meter pass as dry that is not.
const LISTENING_V: f64 = 2.83;

/// Every route of a job, and the level at which it is listened to.
#[derive(Debug)]
pub(super) struct Routes {
    pub(super) all: Vec<Route>,
    /// level at the end of every route where the sheet says nothing: all are listened to equally loud, V rms
    pub(super) output_v: f64,
    /// residue that could be noticed, observation by observation, in the order of the sheet
    noticed: Vec<(usize, String, Noticed)>,
}

impl Routes {
    pub(super) fn new(job: &Job) -> Result<Self, InputError> {
        let all = job.routes.iter().map(|sheet| Route::new(job, sheet)).collect::<Result<Vec<_>, _>>()?;
        let heard_bad = job.heard.iter().find(|h| h.what != crate::bench::What::Clean);
        let named = |name: &str| all.iter().find(|r| r.name == name);
        let reference = heard_bad.and_then(|h| named(&h.route)).or(all.first());
        let by_sheet = |route: &Route| if route.to_the_ear { route.output_v.min(LISTENING_V) } else { route.output_v };
        let output_v = heard_bad.and_then(|h| h.output_v).or(reference.map(by_sheet)).unwrap_or(0.0);
        let mut routes = Self { all, output_v, noticed: Vec::new() };
        let mut known: Vec<(Strength, Noticed)> = Vec::new();
        for heard in &job.heard {
            let level_db = routes.level_at_ear_db(job, heard);
            let place = || format!("level at the ear, route \"{}\"", heard.route);
            let alike =
                known.iter().find(|(strength, noticed)| (*strength, noticed.level_db) == (heard.strength, level_db));
            let noticed = match alike {
                Some((_, noticed)) => *noticed,
                None => Noticed::at(level_db, heard.strength).map_err(|e| e.within(&place()).at_line(heard.line))?,
            };
            known.push((heard.strength, noticed));
            routes.noticed.push((heard.line, heard.route.clone(), noticed));
        }
        Ok(routes)
    }

    /// Level at the ear while listening, dB SPL: as the sheet says, or by sensitivity and distance, or the usual one.
    pub(super) fn level_at_ear_db(&self, job: &Job, heard: &Heard) -> f64 {
        let by_sensitivity = |sensitivity_db| match job.distance_m {
            Some(away_m) => Sensitivity::LoudspeakerVoltage.level_db(sensitivity_db, self.level(heard), away_m),
            None => Sensitivity::HeadphoneVoltage.level_db(sensitivity_db, self.level(heard), 1.0),
        };
        heard.level_db.or(job.sensitivity_db.map(by_sensitivity)).unwrap_or(LISTENING_DB)
    }

    /// What one observation asks for; `None` for a clean one.
    pub(super) fn need(&self, heard: &Heard) -> Option<Need> {
        Need::of(heard, self.noticed(heard)?)
    }

    /// Residue that could be noticed while listening so.
    pub(super) fn noticed(&self, heard: &Heard) -> Option<Noticed> {
        self.noticed.iter().find(|(line, route, _)| *line == heard.line && *route == heard.route).map(|found| found.2)
    }

    pub(super) fn named(&self, name: &str) -> Option<&Route> {
        self.all.iter().find(|route| route.name == name)
    }

    pub(super) fn level(&self, heard: &Heard) -> f64 {
        heard.output_v.unwrap_or(self.output_v)
    }

    /// What was heard, with everything on its route.
    pub(super) fn observations(&self, job: &Job) -> Vec<Observation> {
        let one = |heard: &Heard| {
            let route = self.named(&heard.route)?;
            Some(Observation {
                route: heard.route.clone(),
                channel: heard.channel,
                what: heard.what,
                slight: heard.strength == crate::bench::Strength::Slight,
                line: heard.line,
                elements: route.elements(job, self.level(heard)),
            })
        };
        job.heard.iter().filter_map(one).collect()
    }

    /// What gets more signal when the listener turns up, on the bad routes of a channel.
    pub(super) fn behind_control(&self, job: &Job, channel: Channel) -> Vec<Who> {
        let mut found: Vec<Who> = Vec::new();
        for heard in job.heard.iter().filter(|h| h.channel == channel && h.what != crate::bench::What::Clean) {
            let Some(route) = self.named(&heard.route) else { continue };
            let level = self.level(heard);
            let louder = route.elements(job, 2.0 * level);
            for (now, then) in route.elements(job, level).into_iter().zip(louder) {
                if then.level_v > now.level_v && !found.contains(&now.who) {
                    found.push(now.who);
                }
            }
        }
        found
    }

    /// Routes that nobody listened to on a channel, with what stands on them.
    pub(super) fn unheard(&self, job: &Job, channel: Channel) -> Vec<(String, Vec<Who>)> {
        let heard = |name: &str| job.heard.iter().any(|h| h.channel == channel && h.route == name);
        let rest = self.all.iter().filter(|route| !heard(&route.name));
        rest.map(|route| {
            let on_it = route.elements(job, self.output_v).into_iter().map(|e| e.who).collect();
            (route.name.clone(), on_it)
        })
        .collect()
    }

    /// A route through a contact: a bad one on that channel if there is one.
    pub(super) fn through<'r>(&'r self, job: &Job, contact: &str, channel: Channel) -> Option<(&'r Route, usize, f64)> {
        let find = |route: &'r Route| route.index_of(contact);
        let bad = job.heard.iter().filter(|h| h.channel == channel && h.what != crate::bench::What::Clean);
        for heard in bad {
            if let Some(route) = self.named(&heard.route) {
                if let Some(index) = find(route) {
                    return Some((route, index, self.level(heard)));
                }
            }
        }
        self.all.iter().find_map(|route| find(route).map(|index| (route, index, self.output_v)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_line_has_what_is_noticed_at_its_own_level_and_strength() {
        let lines =
            [("slight", 70.0), ("plain", 70.0), ("slight", 80.0), ("plain", 80.0), ("plain", 71.0), ("slight", 70.0)];
        let path = r#"{ from = "line source", path = ["selector / disc"], into = "50 kohm" }"#;
        let mut text = format!("sheet = 1\ntitle = \"invented\"\n[section]\n\"in\" = {path}\n[route]\n");
        for number in 0..lines.len() {
            text += &format!("\"{number}\" = [\"in\"]\n");
        }
        for (number, (strength, level)) in lines.iter().enumerate() {
            text += &format!("[[heard]]\nroute = \"{number}\"\nleft = \"grit\"\n");
            text += &format!("strength = \"{strength}\"\nlevel = \"{level} dB\"\n");
        }
        let job = crate::job::read(&text, "s", &|_| Err(std::io::ErrorKind::NotFound.into())).unwrap();
        let routes = Routes::new(&job).unwrap();
        for (number, (strength, level)) in lines.iter().enumerate() {
            let heard = job.heard.iter().find(|heard| heard.route == number.to_string()).unwrap();
            let strength = if *strength == "plain" { Strength::Plain } else { Strength::Slight };
            assert_eq!(routes.noticed(heard), Some(Noticed::at(*level, strength).unwrap()), "{number}");
        }
    }
}
