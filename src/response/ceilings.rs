//! Ceilings of many points: what differs from point to point, and what is made ready once for all that share it.

use super::ceiling::{Ceiling, Loop, Status};
use super::ceiling_many::{Beside, ceiling_many_beside};
use super::level::{on_contact, section_emf_v};
use super::sweep::Values;
use crate::circuit::chain::Network;
use crate::watch::{Stopped, Watch};

/// Points that one thread takes at a time; a loop is made ready once for those that share it.
const CHUNK: usize = 64;

/// What is asked, a column each.
#[derive(Debug)]
pub struct Asked<'a> {
    /// the section or chain
    pub network: &'a Network,
    /// driven frequency, Hz
    pub frequency_hz: Values<'a>,
    /// the chain's EMF, V rms
    pub emf_v: Values<'a>,
    /// resistance of every contact's film, ohm; its constriction comes on top
    pub film_ohm: &'a [Values<'a>],
    /// contacts that move, each with the ends of its range, ohm; without any every contact keeps to the chords of its film
    pub ranges: Option<&'a [(usize, Values<'a>, Values<'a>)]>,
    /// band at the output, Hz
    pub band_hz: (f64, f64),
    /// the other channel's EMF over this one's, see [`Beside`]
    pub other_channel: Option<f64>,
}

/// A loop made ready, with the frequency, fixed resistances and moving contacts that it is ready for.
type Prepared<'n> = (f64, Vec<f64>, Vec<usize>, Result<Loop<'n>, Status>);

/// What a run of points has in common.
#[derive(Default)]
struct Kept<'n> {
    open_at: Option<(f64, Vec<f64>)>,
    prepared: Option<Prepared<'n>>,
}

impl<'a> Asked<'a> {
    /// Peak voltage of every contact when open, per volt of the chain's EMF.
    fn open_per_emf(&self, f: f64) -> Vec<f64> {
        let network = self.network;
        let section_emf = section_emf_v(network, f);
        let scale = |k: usize| section_emf[network.section_of(k)] / network.emf_v;
        let one = |k: usize| std::f64::consts::SQRT_2 * scale(k) * on_contact(network, k, 1.0, f).open_v;
        (0..network.contacts.len()).map(|k| if network.emf_v > 0.0 { one(k) } else { 0.0 }).collect()
    }

    /// The contacts that are named or that have a film, with their ranges at a point.
    fn moving(&self, point: usize, kept: &mut Kept<'a>) -> Vec<(usize, (f64, f64))> {
        if let Some(ranges) = self.ranges {
            return ranges.iter().map(|&(k, low, high)| (k, (low.at(point), high.at(point)))).collect();
        }
        let f = self.frequency_hz.at(point);
        let emf = self.emf_v.at(point);
        let open = match &mut kept.open_at {
            Some((at, open)) if *at == f => open,
            other => &mut other.insert((f, self.open_per_emf(f))).1,
        };
        let chords = |k: usize| {
            let mut contact = self.network.contacts[k].clone();
            contact.film = contact.film.with_resistance(self.film_ohm[k].at(point));
            contact.chords_ohm(open[k] * emf)
        };
        (0..self.network.contacts.len()).map(|k| (k, chords(k))).collect()
    }

    /// The ceiling of one point.
    fn one(&self, point: usize, kept: &mut Kept<'a>) -> Ceiling {
        let (network, f) = (self.network, self.frequency_hz.at(point));
        let moving = self.moving(point, kept);
        let contacts = self.film_ohm.iter().zip(&network.contacts);
        let mut fixed: Vec<f64> = contacts.map(|(v, c)| v.at(point) + c.constriction_ohm).collect();
        let mut sum = (0.0, 0.0);
        let mut indices = Vec::new();
        for &(k, (low, high)) in &moving {
            if high > low {
                indices.push(k);
                sum = (sum.0 + low, sum.1 + high);
                fixed[k] = network.contacts[k].role.perfect_ohm();
            } else {
                fixed[k] = low;
            }
        }
        if indices.is_empty() {
            return Ceiling::NOTHING_MOVES;
        }
        let direct_a = indices.iter().map(|&k| network.contacts[k].direct_current_a).fold(0.0, f64::max);
        let prepared = match &mut kept.prepared {
            Some(ready) if ready.0 == f && ready.1 == fixed && ready.2 == indices => ready,
            other => {
                let ready = Loop::new(network, &indices, &fixed, f, self.band_hz);
                other.insert((f, fixed, indices, ready))
            }
        };
        match &prepared.3 {
            Ok(ready) => ready.ceiling_beside(sum, self.emf_v.at(point), direct_a),
            // not one loop: T2
            Err(Status::SeveralLoops | Status::SharedReturn) => {
                let direct_current_a = network.contacts.iter().map(|contact| contact.direct_current_a).collect();
                let beside =
                    Beside { emf_v: self.emf_v.at(point), direct_current_a, other_channel: self.other_channel };
                ceiling_many_beside(network, f, &moving, &prepared.1, self.band_hz, &beside)
            }
            Err(status) => Ceiling::none(*status),
        }
    }
}

/// The ceilings of `points` points, on all cores where the feature `threads` is on. None depends on what else is asked.
///
/// # Errors
/// [`Stopped`] when the watch says so.
pub fn ceilings(asked: &Asked<'_>, points: usize, watch: &dyn Watch) -> Result<Vec<Ceiling>, Stopped> {
    let chunk = |start: usize| -> Result<Vec<Ceiling>, Stopped> {
        let mut kept = Kept::default();
        let end = points.min(start + CHUNK);
        let one = |point| if watch.stop() { Err(Stopped) } else { Ok(asked.one(point, &mut kept)) };
        let out = (start..end).map(one).collect();
        watch.done(end - start);
        out
    };
    let starts = || (0..points).step_by(CHUNK);
    #[cfg(feature = "threads")]
    if points > CHUNK {
        use rayon::prelude::*;
        if let Some(pool) = crate::threads::pool() {
            let starts: Vec<usize> = starts().collect();
            let parts: Result<Vec<_>, _> = pool.install(|| starts.into_par_iter().map(chunk).collect());
            return Ok(parts?.concat());
        }
    }
    let parts: Result<Vec<_>, _> = starts().map(chunk).collect();
    Ok(parts?.concat())
}
