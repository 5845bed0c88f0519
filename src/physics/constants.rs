//! Constants of nature and the reference temperature, each with its source.

/// Boltzmann constant, J/K. Exact by definition of the SI, 2019.
pub const BOLTZMANN_J_PER_K: f64 = 1.380_649e-23;

/// Elementary charge, C. Exact by definition of the SI, 2019.
pub const ELEMENTARY_CHARGE_C: f64 = 1.602_176_634e-19;

/// Planck constant, J s. Exact by definition of the SI, 2019.
pub const PLANCK_J_S: f64 = 6.626_070_15e-34;

/// Mass of the electron, kg. CODATA 2018, relative uncertainty 3e-10 \[memory\].
pub const ELECTRON_MASS_KG: f64 = 9.109_383_701_5e-31;

/// Room temperature used throughout, K (20 degrees Celsius).
pub const ROOM_TEMPERATURE_K: f64 = 293.15;

/// Sommerfeld value of the Lorenz number, V^2/K^2: `(pi^2/3) (k/e)^2`.
pub const LORENZ_V2_PER_K2: f64 = std::f64::consts::PI * std::f64::consts::PI / 3.0
    * (BOLTZMANN_J_PER_K / ELEMENTARY_CHARGE_C)
    * (BOLTZMANN_J_PER_K / ELEMENTARY_CHARGE_C);

/// Thermal voltage kT/e at room temperature, V.
pub const THERMAL_VOLTAGE_V: f64 = BOLTZMANN_J_PER_K * ROOM_TEMPERATURE_K / ELEMENTARY_CHARGE_C;

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn lorenz_number_is_sommerfelds() {
        // 2.443005e-8 V^2/K^2, Sommerfeld with CODATA constants [computed]
        assert_relative_eq!(LORENZ_V2_PER_K2, 2.443_005e-8, max_relative = 1e-6);
    }

    #[test]
    fn thermal_voltage_at_20_celsius() {
        // 25.262 mV at 293.15 K [computed from the SI constants]
        assert_relative_eq!(THERMAL_VOLTAGE_V, 25.262e-3, max_relative = 2e-5);
    }
}
