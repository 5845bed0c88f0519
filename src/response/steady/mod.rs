//! Periodic steady state of a section whose contacts have film laws.
//!
//! Every film is its zero-voltage resistance (or, far from it, its chord) and an EMF `e = Rref i - u` in series that the film's
//! own state makes. The network is linear in the EMFs, so with `a = u + Rp i`, the wave that a film sees behind `Rp`,
//!
//! ```text
//! a = a_linear + G e(a)        G[k][j] = (Rref + Rp)_k Y[k][j] - (k == j)        load = output E + sum reach_k e_k
//! ```
//!
//! at every frequency, and `e(a)` at every instant. The unknown is `delta = a - a_linear`, which is as small as the
//! distortion is: nothing small is taken from something large. `Rp` is the magnitude of the loop that the film sees, so that
//! `e(a)` bends gently however stiff the law is.
//!
//! * [`grid`]: samples, and what frequency each line of their spectrum has (one tone or two)
//! * [`films`]: the network seen from its films
//! * `reflect`: what each film makes of its wave, all instants at once; `laws`: the laws of films in lanes
//! * [`newton`]: damped Newton steps, each solved by GMRES; half-step averaging where they do not fall
//! * [`certificate`]: how far the answer can be from the true one
//! * [`direct`]: one film without reactances around it, instant by instant
//! * [`abreast`]: many such films at once, one per lane of a vector
//! * [`instants`]: the period step by step in time, where no even grid will do
//! * [`solve`]: samples raised until the certificate is small, the EMF raised in steps where nothing else helps

pub mod abreast;
pub mod certificate;
pub mod direct;
pub mod films;
pub mod grid;
pub mod instants;
mod laws;
pub mod newton;
mod reflect;
pub mod solve;
