//! Contact metals: a const table, each value a published range with its tag.
//!
//! Sources of the table: R. Holm, *Electric Contacts*, 4th ed. 1967, appendix X; P. G. Slade (ed.), *Electrical
//! Contacts*, 2nd ed. 2014, appendix. The books were not at hand: the values are \[memory\] unless a field says otherwise,
//! and they are ranges, because purity, cold work and plating move them.
//!
//! A melting voltage can be checked without the books: Kohlrausch's relation `Um = 2 sqrt(L (Tm^2 - T0^2))` (Kohlrausch
//! 1900; Holm 1967, paragraph 13) needs only the melting temperature. [`Metal::melting_is_safe`] says for which metals
//! both agree within 6 % and may be asserted. Nickel (18 % apart: Curie point, large coefficient), platinum (10 %) and brass
//! (zinc boils out) are not safe; the silver alloys have no value of their own.

use super::constriction::{Heating, voltage_for_temperature_v};

/// How a value was obtained.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tag {
    /// read in a text
    Seen,
    /// recalled, no text seen
    Memory,
    /// recalled and doubtful: never assert it
    MemoryLow,
}

impl Tag {
    /// The tag as the references print it.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Seen => "[seen]",
            Self::Memory => "[memory]",
            Self::MemoryLow => "[memory, low]",
        }
    }
}

/// A published range with its tag; low equals high where one value is given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Published {
    /// lower end
    pub low: f64,
    /// upper end
    pub high: f64,
    /// how it was obtained
    pub tag: Tag,
}

impl Published {
    /// Middle of the range.
    #[must_use]
    pub fn middle(&self) -> f64 {
        0.5 * (self.low + self.high)
    }
}

const fn range(low: f64, high: f64) -> Published {
    Published { low, high, tag: Tag::Memory }
}

const fn doubtful(low: f64, high: f64) -> Published {
    Published { low, high, tag: Tag::MemoryLow }
}

/// Zero of the Celsius scale, K.
const CELSIUS_K: f64 = 273.15;

/// A contact metal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Metal {
    /// name, as in [`Metal::named`]
    pub name: &'static str,
    /// resistivity at 20 degrees Celsius, ohm m
    pub resistivity_ohm_m: Published,
    /// temperature coefficient of resistivity at 20 degrees Celsius, 1/K
    pub temperature_coefficient_per_k: Published,
    /// indentation hardness, Pa
    pub hardness_pa: Published,
    /// softening temperature, K
    pub softening_k: Option<Published>,
    /// softening voltage of the tables, V
    pub softening_v: Option<Published>,
    /// melting temperature, K
    pub melting_k: Option<Published>,
    /// melting voltage of the tables, V
    pub melting_v: Option<Published>,
    /// thermal diffusivity at 20 degrees Celsius, m^2/s
    pub diffusivity_m2_per_s: Option<Published>,
}

/// How far the table and Kohlrausch's relation may lie apart for a melting voltage that is safe to assert.
///
/// The tables round to two digits (3 % of 0.13 V) and the Lorenz number of metals scatters by a few per cent.
pub const MELTING_TOLERANCE: f64 = 0.06;

/// Lorenz number of the handbooks' melting voltages, V^2/K^2 \[memory\].
pub const HANDBOOK_LORENZ_V2_PER_K2: f64 = 2.45e-8;

#[allow(clippy::too_many_arguments)]
const fn metal(
    name: &'static str,
    rho_1e8: (f64, f64),
    alpha_1e3: (f64, f64),
    hardness_gpa: (f64, f64),
    softening: Option<(f64, f64, f64)>,
    melting: Option<(f64, f64, f64)>,
    diffusivity_1e4: Option<f64>,
) -> Metal {
    let softening_k = match softening {
        Some((celsius, _, _)) => Some(range(celsius + CELSIUS_K, celsius + CELSIUS_K)),
        None => None,
    };
    let softening_v = match softening {
        Some((_, low, high)) => Some(range(low, high)),
        None => None,
    };
    let melting_k = match melting {
        Some((celsius, _, _)) => Some(range(celsius + CELSIUS_K, celsius + CELSIUS_K)),
        None => None,
    };
    let melting_v = match melting {
        Some((_, low, high)) => Some(range(low, high)),
        None => None,
    };
    let diffusivity_m2_per_s = match diffusivity_1e4 {
        Some(value) => Some(range(value * 1e-4, value * 1e-4)),
        None => None,
    };
    Metal {
        name,
        resistivity_ohm_m: range(rho_1e8.0 * 1e-8, rho_1e8.1 * 1e-8),
        temperature_coefficient_per_k: range(alpha_1e3.0 * 1e-3, alpha_1e3.1 * 1e-3),
        hardness_pa: range(hardness_gpa.0 * 1e9, hardness_gpa.1 * 1e9),
        softening_k,
        softening_v,
        melting_k,
        melting_v,
        diffusivity_m2_per_s,
    }
}

const SILVER_SOFTENING: Option<(f64, f64, f64)> = Some((180.0, 0.09, 0.09));
const SILVER_MELTING: Option<(f64, f64, f64)> = Some((962.0, 0.37, 0.37));
const GOLD_SOFTENING: Option<(f64, f64, f64)> = Some((100.0, 0.08, 0.08));
const GOLD_MELTING: Option<(f64, f64, f64)> = Some((1064.0, 0.43, 0.43));

/// Brass: softening and melting voltages differ between tables (zinc boils out) and are doubtful.
const BRASS: Metal = Metal {
    softening_v: Some(doubtful(0.1, 0.15)),
    melting_k: Some(range(905.0 + CELSIUS_K, 930.0 + CELSIUS_K)),
    melting_v: Some(doubtful(0.2, 0.36)),
    ..metal("brass", (6.0, 7.0), (1.5, 2.0), (0.8, 1.6), None, None, Some(0.34))
};

/// A silver alloy: its own resistivity and hardness (doubtful), silver's softening and melting.
const fn silver_alloy(name: &'static str, rho_1e8: (f64, f64), alpha: (f64, f64), gpa: (f64, f64)) -> Metal {
    Metal {
        resistivity_ohm_m: doubtful(rho_1e8.0 * 1e-8, rho_1e8.1 * 1e-8),
        temperature_coefficient_per_k: doubtful(alpha.0 * 1e-3, alpha.1 * 1e-3),
        hardness_pa: doubtful(gpa.0 * 1e9, gpa.1 * 1e9),
        softening_v: Some(doubtful(0.09, 0.09)),
        melting_v: Some(doubtful(0.35, 0.37)),
        ..metal(name, rho_1e8, alpha, gpa, SILVER_SOFTENING, SILVER_MELTING, None)
    }
}

/// The metals. Diffusivities are \[memory\] (copper 1.165e-4, tin 0.40e-4, brass 0.34e-4 `m^2/s`).
pub const METALS: [Metal; 13] = [
    metal("silver", (1.59, 1.65), (3.8, 4.1), (0.3, 0.7), SILVER_SOFTENING, SILVER_MELTING, None),
    metal(
        "copper",
        (1.68, 1.75),
        (3.9, 4.0),
        (0.4, 1.0),
        Some((190.0, 0.12, 0.12)),
        Some((1085.0, 0.43, 0.43)),
        Some(1.165),
    ),
    metal("soft gold", (2.2, 2.4), (3.4, 4.0), (0.2, 0.6), GOLD_SOFTENING, GOLD_MELTING, None),
    metal("hard gold", (2.2, 2.5), (3.4, 4.0), (1.3, 2.0), GOLD_SOFTENING, GOLD_MELTING, None),
    metal("nickel", (6.9, 7.8), (6.0, 6.0), (0.7, 2.0), Some((520.0, 0.22, 0.22)), Some((1455.0, 0.65, 0.65)), None),
    metal(
        "platinum",
        (10.6, 10.6),
        (3.8, 3.8),
        (0.4, 0.8),
        Some((540.0, 0.25, 0.25)),
        Some((1768.0, 0.70, 0.71)),
        None,
    ),
    metal("palladium", (10.8, 10.8), (3.7, 3.7), (0.4, 1.0), None, Some((1555.0, 0.57, 0.57)), None),
    metal(
        "tin",
        (11.5, 11.5),
        (4.3, 4.3),
        (0.05, 0.1),
        Some((100.0, 0.07, 0.07)),
        Some((232.0, 0.13, 0.13)),
        Some(0.40),
    ),
    metal("tungsten", (5.5, 5.5), (4.6, 5.0), (2.0, 4.0), Some((1000.0, 0.4, 0.6)), Some((3422.0, 1.1, 1.1)), None),
    BRASS,
    silver_alloy("silver nickel 90/10", (1.8, 1.9), (3.5, 3.5), (0.8, 1.0)),
    silver_alloy("silver cadmium oxide 90/10", (2.0, 2.3), (3.5, 3.6), (0.7, 1.0)),
    silver_alloy("silver tin oxide", (2.0, 2.3), (3.5, 3.6), (0.7, 1.0)),
];

impl Metal {
    /// The metal of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static Self> {
        METALS.iter().find(|metal| metal.name == name)
    }

    /// Melting voltage from the melting temperature, V: Kohlrausch with L = 2.45e-8 `V^2/K^2` from 293.15 K.
    #[must_use]
    pub fn calculated_melting_v(&self) -> Option<f64> {
        let heating = Heating { lorenz_v2_per_k2: HANDBOOK_LORENZ_V2_PER_K2, ..Heating::default() };
        self.melting_k.map(|k| voltage_for_temperature_v(k.middle(), &heating))
    }

    /// Calculated over tabled melting voltage, minus 1.
    #[must_use]
    pub fn melting_deviation(&self) -> Option<f64> {
        Some(self.calculated_melting_v()? / self.melting_v?.middle() - 1.0)
    }

    /// Whether table and calculation agree within [`MELTING_TOLERANCE`] and the tabled value is not doubtful.
    #[must_use]
    pub fn melting_is_safe(&self) -> bool {
        let firm = self.melting_v.is_some_and(|v| v.tag != Tag::MemoryLow);
        firm && self.melting_deviation().is_some_and(|d| d.abs() <= MELTING_TOLERANCE)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn safe_metals_are_these() {
        let safe: Vec<_> = METALS.iter().filter(|m| m.melting_is_safe()).map(|m| m.name).collect();
        assert_eq!(safe, ["silver", "copper", "soft gold", "hard gold", "palladium", "tin", "tungsten"]);
    }

    #[test]
    fn deviations_are_those_of_the_references() {
        // calculated against tabled, per cent, contact-physics references section 2 [computed], printed to 0.1
        let expected = [("silver", 1.6), ("copper", -3.5), ("soft gold", -5.1), ("palladium", -0.9), ("tin", -0.8)];
        for (name, percent) in expected {
            let found = 100.0 * Metal::named(name).and_then(Metal::melting_deviation).unwrap();
            assert_abs_diff_eq!(found, percent, epsilon = 0.15);
        }
        assert!(Metal::named("nickel").and_then(Metal::melting_deviation).unwrap() < -0.17);
    }

    #[test]
    fn ranges_are_ordered_positive_and_in_their_units() {
        for m in &METALS {
            for v in [m.resistivity_ohm_m, m.temperature_coefficient_per_k, m.hardness_pa] {
                assert!(v.low > 0.0 && v.low <= v.high, "{}", m.name);
            }
            assert!((1e-8..3e-7).contains(&m.resistivity_ohm_m.low), "{}", m.name);
            assert!((1e-3..7e-3).contains(&m.temperature_coefficient_per_k.low), "{}", m.name);
            assert!((4e7..5e9).contains(&m.hardness_pa.low), "{}", m.name);
            assert!(m.melting_k.is_none_or(|k| (500.0..3700.0).contains(&k.low)), "{}", m.name);
        }
    }

    #[test]
    fn softening_comes_before_melting() {
        for m in &METALS {
            if let (Some(soft), Some(melt)) = (m.softening_v, m.melting_v) {
                assert!(soft.high < melt.low, "{}", m.name);
            }
        }
    }
}
