//! **T4, T5**: chains without reactances: whatever the signal, every instant is one gain.
//!
//! Where nothing depends on frequency the output is `y = g(t) x` with a gain that lies between `gmin`, every contact at its
//! worst, and `gmax`, every contact at its best: it falls with every resistance in series and rises with every one across the
//! signal. Let `rho = ln(gmax/gmin)`, for one loop a section `sum ln((Z + Rmax)/(Z + Rmin))`. After the best single gain
//!
//! `residue / fitted copy <= sinh(rho/2)`, `residue / whole output <= tanh(rho/2)`
//!
//! for any signal (**T5**, music): with the weights `x^2` it is Kantorovich's inequality `mean(g^2) / mean(g)^2 <= (gmin +
//! gmax)^2 / (4 gmin gmax)` (Kantorovich 1948 \[memory\]). A contact that jumps between its ends reaches it, for the share
//! `gmin/(gmin + gmax)` of the energy at its best. For a tone the fundamental is at least the fitted copy, so `residue /
//! fundamental <= sinh(rho/2)` (**T4**), reached as well. Adding the ceilings of the sections is too small: `sinh` of a sum is
//! more than the sum of `sinh`.

use super::ceiling_many::Moving;
use super::status::Status;
use crate::circuit::chain::Network;
use crate::circuit::{Equalisation, Role};

/// The least and the largest gain of what follows from the first moving contact's section on; nothing where that depends on
/// frequency or two channels share a resistance. The others keep `fixed_ohm`.
pub(crate) fn gain_range(network: &Network, moving: &[Moving], fixed_ohm: &[f64]) -> Option<(f64, f64)> {
    let first = moving.iter().map(|m| network.section_of(m.0)).min()?;
    let role = |k: usize| network.contacts[k].role;
    let flat = |link: &crate::circuit::chain::Link| {
        link.ladder.is_resistive() && link.stages.iter().all(|stage| stage.equalisation == Equalisation::Flat)
    };
    if !network.links[first..].iter().all(flat) {
        return None;
    }
    let (mut best, mut worst) = (fixed_ohm.to_vec(), fixed_ohm.to_vec());
    for &(k, (low, high)) in moving {
        (best[k], worst[k]) = if role(k) == Role::Shunt { (high, low) } else { (low, high) };
    }
    if (0..worst.len()).any(|k| role(k) == Role::SharedReturn && worst[k] > 0.0) {
        return None;
    }
    const ANY_HZ: f64 = 1000.0;
    let gain = |ohm: &[f64]| -> f64 {
        let links = network.links[first..].iter();
        links.map(|link| link.ladder.transfer(ANY_HZ, ohm).norm()).product()
    };
    Some((gain(&worst), gain(&best)))
}

/// Most that is left of any signal after the best single gain, as `(over the fitted copy, over the whole output)`.
///
/// # Errors
/// The status that says why there is no such bound: a reactance or an equaliser, a contact that can open or short, a shared
/// return, a direct current.
pub fn ceiling_music(network: &Network, moving: &[Moving], fixed_ohm: &[f64]) -> Result<(f64, f64), Status> {
    let moving: Vec<Moving> = moving.iter().copied().filter(|&(_, (low, high))| high > low).collect();
    if moving.is_empty() {
        return Ok((0.0, 0.0));
    }
    let role = |k: usize| network.contacts[k].role;
    for &(k, (low, high)) in &moving {
        match role(k) {
            Role::Shunt if low <= 0.0 => return Err(Status::CanShort),
            Role::SharedReturn => return Err(Status::SharedReturn),
            Role::Shunt => {}
            _ if high.is_infinite() => return Err(Status::CanOpen),
            _ => {}
        }
        if network.contacts[k].direct_current_a != 0.0 {
            return Err(Status::DirectCurrent);
        }
    }
    if (0..fixed_ohm.len()).any(|k| role(k) == Role::SharedReturn && fixed_ohm[k] > 0.0) {
        return Err(Status::SharedReturn);
    }
    let (least, most) = gain_range(network, &moving, fixed_ohm).ok_or(Status::NotResistive)?;
    if least.is_nan() || least <= 0.0 {
        return Err(Status::NoFundamental);
    }
    let half = 0.5 * (most / least).ln();
    Ok((half.sinh(), half.tanh()))
}
