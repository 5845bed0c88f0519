//! Growth of films: thickness in time, environments, and what resistance that may mean. A range over decades, not a date.
//!
//! Copper: logarithmic below 5 nm, cubic from 5 to 25 nm, parabolic above (Kusano et al., Oxid. Met. 82 (2014) 181, 313 to
//! 453 K \[seen\]). Joined here so that the rate and its slope are continuous at 5 nm and the rate at 25 nm \[derived\]:
//!
//! `dx/dt = r exp((5 - x)/2.5)`, `r (5/x)^2`, `r/x` (x in nm, r the rate at 5 nm in nm per unit of time),
//!
//! which leaves one constant, taken from one known thickness (a month's or a year's film of an environment). Silver
//! sulphide: a falling rate (0.6 Angstrom/h at first, 25 Angstrom in a week \[seen\]), no law seen; taken between parabolic and
//! linear in time, an assumption.
//!
//! Environments: ISA-71.04-2013, film in 30 days, G1 below 30 nm (copper) and 20 nm (silver) \[seen\], G2 100, G3 200 nm
//! \[memory\]; ISO 9223:2012, copper loss in the first year \[memory\], times 1.68 for the volume of `Cu2O` per copper \[calc\].
//! The lower end of the cleanest class is a tenth of its upper end, the upper end of GX ten times its lower: assumptions
//! (rates are log-normal, Rice et al., JES 127 (1980) 891 \[seen\]).
//!
//! Resistance: the smaller of tunnelling (0.8 to 2.5 eV) and an ohmic film `rho t`: `Cu2O` 0.43 to 1e6 ohm m (Parretta et al. 1996
//! \[seen\]; upper end \[seen, low\]), `Ag2S` 1e-3 to 10 ohm m \[memory, low\]. The spread is the answer.

use super::tunnelling::Barrier;
use crate::error::{InputError, not_negative, positive};

/// Thirty days, s.
pub const MONTH_S: f64 = 30.0 * 86_400.0;
/// A year of 365.25 days, s.
pub const YEAR_S: f64 = 365.25 * 86_400.0;

/// Thickness after a time by `x = k ln(1 + t/t0)`, m.
#[must_use]
pub fn logarithmic_m(time_s: f64, length_m: f64, onset_s: f64) -> f64 {
    length_m * (time_s / onset_s).ln_1p()
}

/// Thickness after a time by `x^2 = x0^2 + k t`, m; `k` in `m^2/s`.
#[must_use]
pub fn parabolic_m(time_s: f64, rate_m2_per_s: f64, start_m: f64) -> f64 {
    (start_m * start_m + rate_m2_per_s * time_s).sqrt()
}

/// Thickness after a time by `x^3 = x0^3 + k t`, m; `k` in `m^3/s`.
#[must_use]
pub fn cubic_m(time_s: f64, rate_m3_per_s: f64, start_m: f64) -> f64 {
    (start_m * start_m * start_m + rate_m3_per_s * time_s).cbrt()
}

const NM: f64 = 1e-9;

/// Time to a thickness (nm) in units of nm over the rate at 5 nm, of the joined copper law.
fn copper_clock(x: f64) -> f64 {
    let first = |x: f64| 2.5 * (((x - 5.0) / 2.5).exp() - (-2.0f64).exp());
    let second = |x: f64| (x * x * x - 125.0) / 75.0;
    if x <= 5.0 {
        first(x)
    } else if x <= 25.0 {
        first(5.0) + second(x)
    } else {
        first(5.0) + second(25.0) + 0.5 * (x * x - 625.0)
    }
}

/// Inverse of [`copper_clock`].
fn copper_thickness(clock: f64) -> f64 {
    let (at_5, at_25) = (copper_clock(5.0), copper_clock(25.0));
    if clock <= at_5 {
        5.0 + 2.5 * (clock / 2.5 + (-2.0f64).exp()).ln()
    } else if clock <= at_25 {
        (125.0 + 75.0 * (clock - at_5)).cbrt()
    } else {
        (625.0 + 2.0 * (clock - at_25)).sqrt()
    }
}

/// Copper's film after a time, m, from one known thickness (m) at one known time (s).
#[must_use]
pub fn copper_m(time_s: f64, known_m: f64, known_s: f64) -> f64 {
    copper_thickness(copper_clock(known_m / NM) * (time_s / known_s)) * NM
}

/// A metal whose film grows in an environment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tarnish {
    /// copper and its oxide
    Copper,
    /// silver and its sulphide
    Silver,
}

impl Tarnish {
    /// The metal of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "copper" => Some(Self::Copper),
            "silver" => Some(Self::Silver),
            _ => None,
        }
    }

    /// Resistivity of the film, ohm m, lowest and highest.
    #[must_use]
    pub fn film_resistivity_ohm_m(self) -> (f64, f64) {
        match self {
            Self::Copper => (0.43, 1e6),
            Self::Silver => (1e-3, 10.0),
        }
    }
}

/// An environment: film known at one time, lowest and highest (m).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Environment {
    /// name of the class
    pub name: &'static str,
    /// time of the known thickness, s
    pub known_s: f64,
    /// film on copper, m
    pub copper_m: (f64, f64),
    /// film on silver, m, where the standard has silver
    pub silver_m: Option<(f64, f64)>,
}

const fn isa(name: &'static str, copper_nm: (f64, f64), silver_nm: (f64, f64)) -> Environment {
    Environment {
        name,
        known_s: MONTH_S,
        copper_m: (copper_nm.0 * NM, copper_nm.1 * NM),
        silver_m: Some((silver_nm.0 * NM, silver_nm.1 * NM)),
    }
}

/// Volume of oxide `Cu2O` per volume of copper \[calc\].
const OXIDE_PER_COPPER: f64 = 1.68;

const fn iso(name: &'static str, loss_um: (f64, f64)) -> Environment {
    let metre = 1e-6 * OXIDE_PER_COPPER;
    Environment { name, known_s: YEAR_S, copper_m: (loss_um.0 * metre, loss_um.1 * metre), silver_m: None }
}

/// The classes of ISA-71.04-2013 and ISO 9223:2012.
pub const ENVIRONMENTS: [Environment; 10] = [
    isa("ISA-71.04 G1", (3.0, 30.0), (2.0, 20.0)),
    isa("ISA-71.04 G2", (30.0, 100.0), (20.0, 100.0)),
    isa("ISA-71.04 G3", (100.0, 200.0), (100.0, 200.0)),
    isa("ISA-71.04 GX", (200.0, 2000.0), (200.0, 2000.0)),
    iso("ISO 9223 C1", (0.01, 0.1)),
    iso("ISO 9223 C2", (0.1, 0.6)),
    iso("ISO 9223 C3", (0.6, 1.3)),
    iso("ISO 9223 C4", (1.3, 2.8)),
    iso("ISO 9223 C5", (2.8, 5.6)),
    iso("ISO 9223 CX", (5.6, 10.0)),
];

impl Environment {
    /// The environment of this name.
    ///
    /// # Errors
    /// A name that is not in [`ENVIRONMENTS`].
    pub fn named(name: &str) -> Result<&'static Self, InputError> {
        ENVIRONMENTS.iter().find(|e| e.name == name).ok_or_else(|| {
            let names: Vec<_> = ENVIRONMENTS.iter().map(|e| format!("{:?}", e.name)).collect();
            InputError::new("environment", format!("{name:?}"), format!("allowed: {}", names.join(", ")))
        })
    }

    /// Thickness after a time, m, lowest and highest.
    ///
    /// # Errors
    /// A time below zero; silver in a class of ISO 9223, which has none.
    pub fn thickness_m(&self, metal: Tarnish, time_s: f64) -> Result<(f64, f64), InputError> {
        not_negative("time_s", time_s)?;
        let share = time_s / self.known_s;
        Ok(match metal {
            Tarnish::Copper => {
                let (low, high) = self.copper_m;
                (copper_m(time_s, low, self.known_s), copper_m(time_s, high, self.known_s))
            }
            Tarnish::Silver => {
                let Some((low, high)) = self.silver_m else {
                    let allowed = "allowed: an ISA-71.04 class (ISO 9223 has no silver)";
                    return Err(InputError::new("environment", format!("{:?} for silver", self.name), allowed));
                };
                let (root, line) = (share.sqrt(), share);
                (low * root.min(line), high * root.max(line))
            }
        })
    }

    /// Resistance times area of the film after a time, `ohm m^2`, lowest and highest.
    ///
    /// # Errors
    /// As [`Environment::thickness_m`].
    pub fn area_resistance_ohm_m2(&self, metal: Tarnish, time_s: f64) -> Result<(f64, f64), InputError> {
        let (thin, thick) = self.thickness_m(metal, time_s)?;
        let (low, high) = metal.film_resistivity_ohm_m();
        let one = |thickness_m: f64, height_ev: f64, resistivity: f64| {
            let tunnel = Barrier { height_ev, thickness_m }.area_resistance_ohm_m2();
            tunnel.min(resistivity * thickness_m)
        };
        Ok((one(thin, 0.8, low), one(thick, 2.5, high)))
    }

    /// When a film of an area (`m^2`) may have reached a resistance: earliest and latest, s; infinite past 1 000 years.
    ///
    /// # Errors
    /// A resistance or area not above zero; as [`Environment::thickness_m`].
    pub fn time_to_s(&self, metal: Tarnish, resistance_ohm: f64, area_m2: f64) -> Result<(f64, f64), InputError> {
        positive("resistance_ohm", resistance_ohm)?;
        positive("area_m2", area_m2)?;
        self.thickness_m(metal, 0.0)?;
        let target = resistance_ohm * area_m2;
        let reached = |pick: fn((f64, f64)) -> f64| {
            let holds =
                |log: f64| self.area_resistance_ohm_m2(metal, log.exp()).is_ok_and(|range| pick(range) >= target);
            let (mut low, mut high) = (1e-6f64.ln(), (1e3 * YEAR_S).ln());
            if !holds(high) {
                return f64::INFINITY;
            }
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if holds(middle) { high = middle } else { low = middle }
            }
            high.exp()
        };
        Ok((reached(|r| r.1), reached(|r| r.0)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    #[test]
    fn published_classes() {
        // ISA-71.04-2013 G1: copper below 300, silver below 200 Angstrom in 30 days [seen]
        let g1 = Environment::named("ISA-71.04 G1").unwrap();
        assert_relative_eq!(
            g1.thickness_m(Tarnish::Copper, MONTH_S).unwrap().1,
            300e-10,
            epsilon = 0.0,
            max_relative = 1e-12
        );
        assert_relative_eq!(
            g1.thickness_m(Tarnish::Silver, MONTH_S).unwrap().1,
            200e-10,
            epsilon = 0.0,
            max_relative = 1e-12
        );
        // lab and museum air, 30 to 120 Angstrom of silver sulphide a month [calc from seen]: inside G1
        let (low, high) = g1.thickness_m(Tarnish::Silver, MONTH_S).unwrap();
        assert!(low < 30e-10 && high > 120e-10);
        // 0.1 um/a of copper is 168 nm of oxide [calc]
        let c1 = Environment::named("ISO 9223 C1").unwrap();
        assert_relative_eq!(
            c1.thickness_m(Tarnish::Copper, YEAR_S).unwrap().1,
            168e-9,
            epsilon = 0.0,
            max_relative = 1e-12
        );
    }

    #[test]
    fn the_joined_law_is_smooth() {
        // rate by difference on both sides of 5 and 25 nm
        for x in [5.0, 25.0] {
            let h = 1e-4;
            let (before, after) = (copper_clock(x) - copper_clock(x - h), copper_clock(x + h) - copper_clock(x));
            assert_relative_eq!(before, after, epsilon = 0.0, max_relative = 1e-4);
        }
    }

    #[test]
    fn each_regime_is_its_law() {
        // start on a border, from a film known there: cubic and parabolic constants follow from the rate
        let t5 = copper_clock(5.0);
        let after = |clock: f64| copper_thickness(clock) * NM;
        assert_relative_eq!(
            after(t5 + 10.0),
            cubic_m(10.0, 75.0 * NM.powi(3), 5.0 * NM),
            epsilon = 0.0,
            max_relative = 1e-12
        );
        let t25 = copper_clock(25.0);
        assert_relative_eq!(
            after(t25 + 99.0),
            parabolic_m(99.0, 2.0 * NM * NM, 25.0 * NM),
            epsilon = 0.0,
            max_relative = 1e-12
        );
        let onset = 2.5 * (-2.0f64).exp();
        assert_relative_eq!(after(0.2), logarithmic_m(0.2, 2.5 * NM, onset), epsilon = 0.0, max_relative = 1e-12);
    }

    #[test]
    fn the_answer_is_a_range_over_decades() {
        let g1 = Environment::named("ISA-71.04 G1").unwrap();
        let (low, high) = g1.area_resistance_ohm_m2(Tarnish::Copper, YEAR_S).unwrap();
        assert!(high / low > 1e3, "{low} {high}");
        let (early, late) = g1.time_to_s(Tarnish::Copper, 1.0, 1e-10).unwrap();
        assert!(late > 10.0 * early, "{early} {late}");
        assert!(g1.time_to_s(Tarnish::Copper, 1.0, 0.0).is_err());
        assert!(Environment::named("G9").unwrap_err().allowed.contains("ISA-71.04 G1"));
        assert!(Environment::named("ISO 9223 C1").unwrap().thickness_m(Tarnish::Silver, 1.0).is_err());
    }

    proptest! {
        #[test]
        fn grows_and_comes_back(x in 0.01f64..1e4) {
            prop_assert!((copper_thickness(copper_clock(x)) / x - 1.0).abs() < 1e-12);
            prop_assert!(copper_clock(1.01 * x) > copper_clock(x));
        }

        #[test]
        fn ranges_are_ordered_and_never_shrink(log_t in 2.0f64..10.0, k in 0usize..4, silver in any::<bool>()) {
            let metal = if silver { Tarnish::Silver } else { Tarnish::Copper };
            let at = |t: f64| ENVIRONMENTS[k].area_resistance_ohm_m2(metal, t).unwrap();
            let (one, later) = (at(10f64.powf(log_t)), at(10f64.powf(log_t + 0.1)));
            prop_assert!(one.0 <= one.1 && later.0 >= one.0 && later.1 >= one.1);
        }
    }
}
