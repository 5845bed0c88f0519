//! Constriction resistance of the conducting spots, and what happens when they heat themselves.
//!
//! | what | equation | source |
//! | --- | --- | --- |
//! | one round spot, unlike members | `R = (rho1 + rho2) / (4 a)` | Holm, *Electric Contacts*, 4th ed. 1967, paragraphs 3-4 \[memory\]; half-space `rho/(4a)` \[seen\] |
//! | many spots | `R = rho/(2 sum a_i) + (3 pi rho/(32 n^2)) sum_{i!=j} 1/s_ij` | Greenwood, Brit. J. Appl. Phys. 17 (1966) 1621 \[seen\] |
//! | plastic contact | `a = sqrt(F/(xi pi H))` | Holm 1967 paragraph 7; Bowden and Tabor 1950 \[memory\] |
//! | small spot | `R = G rho/(2a) + 4 rho l/(3 pi a^2)`, `G` 0.69 to 1 | Wexler, Proc. Phys. Soc. 89 (1966) 927; Sharvin 1965 \[memory\] |
//! | voltage and temperature | `V^2 = 4 L (Tm^2 - T0^2)` | form \[seen\]; Kohlrausch 1900, Holm 1967 paragraph 13 \[memory\] |
//! | heated spot | `I R0 = V_T atan(V/V_T)`, `V_T = 2 sqrt(L) T0` | from the line above with `rho` proportional to T \[derived\]; root Holm 1967 paragraphs 15-17 \[memory\] |
//! | third harmonic | `V3/V1 = V1^2/(48 L T0^2)` | cubic term of the heated spot \[derived\]; the same as Holm's `R0 (1 + (2/3) alpha theta)` \[seen\] |
//!
//! Validity: spots much larger than the electrons' free path (about 40 nm in copper, silver, gold; else [`small_spot_ohm`]); members that are wide
//! against the spot; heat and current on the same lines; slow against [`thermal_time_s`]. Lengths in m, resistivity in ohm m,
//! force in N, hardness in Pa, temperature in K. Rounding: a few units in the last place unless a function says more.

use super::constants::{LORENZ_V2_PER_K2, ROOM_TEMPERATURE_K};
use crate::error::{InputError, finite, positive};
use crate::watch::{Stopped, Unwatched, Watch};
use std::f64::consts::{FRAC_PI_2, PI};

/// Constriction of one round spot between unlike members, ohm: `(rho1 + rho2)/(4 a)`.
#[must_use]
pub fn spot_ohm(radius_m: f64, one_ohm_m: f64, other_ohm_m: f64) -> f64 {
    (one_ohm_m + other_ohm_m) / (4.0 * radius_m)
}

/// Constriction of a spot of any size against the electrons' free path, ohm, lowest and highest.
///
/// `R = G rho/(2a) + 4 rho l/(3 pi a^2)` with the free path `l`: Holm's term, and Sharvin's for electrons that fly through.
/// Wexler's factor `G(l/a)` falls from 1 (wide spots) to 0.69 (narrow ones); its course between was not at hand, so that both
/// ends are given (\[memory\], both). The product `rho l` is a constant of the metal, `3 pi^2 hbar/(e^2 kF^2)` for free electrons.
#[must_use]
pub fn small_spot_ohm(radius_m: f64, resistivity_ohm_m: f64, free_path_m: f64) -> (f64, f64) {
    let holm = spot_ohm(radius_m, resistivity_ohm_m, resistivity_ohm_m);
    let sharvin = holm * 8.0 / (3.0 * PI) * (free_path_m / radius_m);
    (WEXLER_LEAST * holm + sharvin, holm + sharvin)
}

/// Wexler's factor for spots far below the free path \[memory\].
const WEXLER_LEAST: f64 = 0.69;

/// Constriction of `count` equal spots of one metal spread over a round patch, ohm: `rho/(2 n a) + rho/(2 alpha)`.
///
/// `alpha` is the patch's Holm radius: for spots spread evenly over a disc, Greenwood's sum gives its radius.
#[must_use]
pub fn cluster_ohm(count: f64, radius_m: f64, cluster_radius_m: f64, resistivity_ohm_m: f64) -> f64 {
    resistivity_ohm_m / (2.0 * count * radius_m) + resistivity_ohm_m / (2.0 * cluster_radius_m)
}

/// A round conducting spot: where it is and how large.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// place in the plane of contact, m
    pub x_m: f64,
    /// place in the plane of contact, m
    pub y_m: f64,
    /// radius, m
    pub radius_m: f64,
}

/// Constriction of many spots of one metal with Greenwood's interaction, ohm.
///
/// `R = rho/(2 sum a_i) + (3 pi rho/(32 n^2)) sum_{i!=j} 1/s_ij`. The factor 3 pi/32 supposes spots that share a patch of even
/// heat flow; equal currents in far spots give `1/pi` instead, 8.1 % more interaction \[derived\]: take that as its uncertainty.
///
/// # Errors
/// No spot, a radius not above zero, a place not finite, spots that overlap.
pub fn spots_ohm(spots: &[Spot], resistivity_ohm_m: f64) -> Result<f64, InputError> {
    let never = |Stopped| InputError::new("spots", "stopped", "allowed: to run to the end");
    spots_ohm_watched(spots, resistivity_ohm_m, &Unwatched)?.map_err(never)
}

/// The same, stopped when the watch says so: the work goes with the square of the count.
///
/// # Errors
/// As [`spots_ohm`]; inside, [`Stopped`].
pub fn spots_ohm_watched(
    spots: &[Spot],
    resistivity_ohm_m: f64,
    watch: &dyn Watch,
) -> Result<Result<f64, Stopped>, InputError> {
    positive("resistivity_ohm_m", resistivity_ohm_m)?;
    if spots.is_empty() {
        return Err(InputError::new("spots", "none", "allowed: one spot or more"));
    }
    let n = spots.len() as f64;
    let (mut radii, mut pairs) = (0.0, 0.0);
    for (k, one) in spots.iter().enumerate() {
        if watch.stop() {
            return Ok(Err(Stopped));
        }
        radii += positive(&format!("spots[{k}]: radius_m"), one.radius_m)?;
        finite(&format!("spots[{k}]: x_m"), one.x_m)?;
        finite(&format!("spots[{k}]: y_m"), one.y_m)?;
        for (j, other) in spots.iter().enumerate().take(k) {
            let distance = (one.x_m - other.x_m).hypot(one.y_m - other.y_m);
            // the tolerance lets spots touch
            if distance < (one.radius_m + other.radius_m) * (1.0 - 1e-12) {
                let allowed = "allowed: spots at least the sum of their radii apart";
                return Err(InputError::new(format!("spots {j} and {k}"), format!("{distance} m apart"), allowed));
            }
            pairs += 2.0 / distance;
        }
    }
    Ok(Ok(resistivity_ohm_m / (2.0 * radii) + 3.0 * PI * resistivity_ohm_m / (32.0 * n * n) * pairs))
}

/// Radius of a spot that yields under a force, m: `sqrt(F/(xi pi H))`.
///
/// `xi` (fullness): 1 for clean full plasticity, 0.3 on rough surfaces, down to 0.1 where part of the contact is elastic.
#[must_use]
pub fn plastic_radius_m(force_n: f64, hardness_pa: f64, fullness: f64) -> f64 {
    (force_n / (fullness * PI * hardness_pa)).sqrt()
}

/// Constriction of a plastic contact of one metal, ohm: `(rho/2) sqrt(xi pi H/F)`; one spot carries all the force.
#[must_use]
pub fn plastic_ohm(force_n: f64, hardness_pa: f64, fullness: f64, resistivity_ohm_m: f64) -> f64 {
    0.5 * resistivity_ohm_m * (fullness * PI * hardness_pa / force_n).sqrt()
}

/// What a constriction's heating depends on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heating {
    /// temperature far from the spot, K
    pub ambient_k: f64,
    /// Lorenz number, `V^2/K^2`: Sommerfeld's 2.443e-8, handbooks 2.4e-8 to 2.45e-8
    pub lorenz_v2_per_k2: f64,
}

impl Default for Heating {
    fn default() -> Self {
        Self { ambient_k: ROOM_TEMPERATURE_K, lorenz_v2_per_k2: LORENZ_V2_PER_K2 }
    }
}

impl Heating {
    /// `V_T = 2 sqrt(L) T0`, V: where a spot has heated itself markedly, 91.6 mV at room temperature.
    #[must_use]
    pub fn scale_v(&self) -> f64 {
        2.0 * self.lorenz_v2_per_k2.sqrt() * self.ambient_k
    }
}

/// Hottest temperature in a constriction, K: `sqrt(T0^2 + V^2/(4 L))`; whatever the spot's shape.
#[must_use]
pub fn hottest_k(voltage_v: f64, heating: &Heating) -> f64 {
    heating.ambient_k.hypot(voltage_v / (2.0 * heating.lorenz_v2_per_k2.sqrt()))
}

/// Rise of the hottest temperature over ambient, K; exact for small voltages too.
#[must_use]
pub fn rise_k(voltage_v: f64, heating: &Heating) -> f64 {
    // hypot(T0, y) - T0 without the difference of near equals
    let y = voltage_v / (2.0 * heating.lorenz_v2_per_k2.sqrt());
    y * (y / (hottest_k(voltage_v, heating) + heating.ambient_k))
}

/// Voltage that heats the hottest point to a temperature, V; not a number below ambient.
#[must_use]
pub fn voltage_for_temperature_v(hottest_k: f64, heating: &Heating) -> f64 {
    2.0 * (heating.lorenz_v2_per_k2 * (hottest_k - heating.ambient_k) * (hottest_k + heating.ambient_k)).sqrt()
}

/// Current through a heated spot, A: `(V_T/R0) atan(V/V_T)`.
#[must_use]
pub fn heated_current_a(voltage_v: f64, cold_ohm: f64, heating: &Heating) -> f64 {
    let scale = heating.scale_v();
    scale / cold_ohm * (voltage_v / scale).atan()
}

/// Voltage across a heated spot at a current, V: `V_T tan(I R0/V_T)`; none from `I R0 = (pi/2) V_T` on.
///
/// There (143.9 mV times 1/R0 at room temperature) the law has no steady state; the metal has melted long before.
#[must_use]
pub fn heated_voltage_v(current_a: f64, cold_ohm: f64, heating: &Heating) -> Option<f64> {
    let scale = heating.scale_v();
    let angle = current_a * cold_ohm / scale;
    (angle.abs() < FRAC_PI_2).then(|| scale * angle.tan())
}

/// Third harmonic over fundamental of the voltage across a heated spot, cubic term: `alpha V1^2/(48 L T0)`.
///
/// `V1` is the peak of the fundamental, the current a sine slow against [`thermal_time_s`]. Wiedemann-Franz with `rho`
/// proportional to T has `alpha = 1/T0`. It is 0.3 % too high at a fundamental of 10 mV and 7 % at 50 mV; put in the cold
/// drop of [`third_harmonic`] instead, and it is too low by as much.
#[must_use]
pub fn third_harmonic_cubic(fundamental_peak_v: f64, coefficient_per_k: f64, heating: &Heating) -> f64 {
    let square = fundamental_peak_v * fundamental_peak_v;
    coefficient_per_k * square / (48.0 * heating.lorenz_v2_per_k2 * heating.ambient_k)
}

/// Third harmonic over fundamental of the voltage across a heated spot, exact, at a sine of current whose cold drop
/// `I R0` has this peak, V; none from `(pi/2) V_T` on.
///
/// With `y = I R0/V_T` the voltage is `V_T tan(y cos wt)`; its harmonics by the midpoint rule, whose error falls
/// geometrically with the samples \[derived\]. Rounding below 1e-12 for `y` up to 1.5, then growing as `1e-16/(pi/2 - y)`;
/// none nearer to the end than 2e-8 of it.
#[must_use]
pub fn third_harmonic(cold_peak_v: f64, heating: &Heating) -> Option<f64> {
    let (first, third) = heated_harmonics(cold_peak_v, heating)?;
    Some(third / first)
}

/// First and third harmonic (peak, V) of the voltage across a heated spot at a sine of current.
fn heated_harmonics(cold_peak_v: f64, heating: &Heating) -> Option<(f64, f64)> {
    let scale = heating.scale_v();
    let y = cold_peak_v / scale;
    if !(y > 0.0 && y < FRAC_PI_2 * (1.0 - 2e-8)) {
        return None;
    }
    // samples of a quarter period: a pole at this distance leaves exp(-4 quarter distance)
    let distance = (FRAC_PI_2 / y).acosh();
    let quarter = ((10.0 / distance) as usize).clamp(64, 1 << 17);
    let (mut first, mut third) = (0.0, 0.0);
    for k in 0..quarter {
        let angle = (k as f64 + 0.5) * FRAC_PI_2 / quarter as f64;
        let cosine = angle.cos();
        let x = y * cosine;
        first += x.tan() * cosine;
        // the linear part has no third harmonic; taking it away keeps the digits of a small one
        third += tangent_excess(x) * (3.0 * angle).cos();
    }
    let weight = 2.0 / quarter as f64 * scale;
    Some((weight * first, weight * third))
}

/// `tan x - x`, without the difference of near equals.
fn tangent_excess(x: f64) -> f64 {
    if x.abs() > 0.3 {
        return x.tan() - x;
    }
    // Taylor: 1/3, 2/15, 17/315, 62/2835, 1382/155925, 21844/6081075, 929569/638512875, 6404582/10854718875
    const SERIES: [f64; 11] = [
        1.0 / 3.0,
        2.0 / 15.0,
        17.0 / 315.0,
        62.0 / 2835.0,
        1382.0 / 155_925.0,
        21_844.0 / 6_081_075.0,
        929_569.0 / 638_512_875.0,
        6_404_582.0 / 10_854_718_875.0,
        443_861_162.0 / 1_856_156_927_625.0,
        18_888_466_084.0 / 194_896_477_400_625.0,
        113_927_491_862.0 / 2_900_518_163_668_125.0,
    ];
    let square = x * x;
    x * square * SERIES.iter().rev().fold(0.0, |sum, term| sum * square + term)
}

/// Time in which a spot follows its heat, s: `a^2/D`, an order of magnitude.
///
/// Copper: 8.6 ns at 1 um, 86 us at 100 um \[calc\].
#[must_use]
pub fn thermal_time_s(radius_m: f64, diffusivity_m2_per_s: f64) -> f64 {
    radius_m * radius_m / diffusivity_m2_per_s
}

/// Frequency above which the heated law is no longer quasi-static, Hz: `1/(2 pi tau)`.
///
/// Copper: 185 kHz at 10 um, 1.85 kHz at 100 um; audio is quasi-static for spots below about 20 um \[calc\].
#[must_use]
pub fn quasi_static_limit_hz(radius_m: f64, diffusivity_m2_per_s: f64) -> f64 {
    1.0 / (2.0 * PI * thermal_time_s(radius_m, diffusivity_m2_per_s))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::constants::{ELEMENTARY_CHARGE_C, PLANCK_J_S};
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// L = 2.44e-8, the value of the published check numbers
    const CHECK: Heating = Heating { ambient_k: ROOM_TEMPERATURE_K, lorenz_v2_per_k2: 2.44e-8 };

    #[test]
    fn handbook_spot_of_copper() {
        // copper 1.75e-8 ohm m, a = 10 um: 0.875 mohm, Holm; the handbook table prints 8.8e-4 [memory]
        assert_relative_eq!(spot_ohm(10e-6, 1.75e-8, 1.75e-8), 0.875e-3, epsilon = 0.0, max_relative = 1e-14);
    }

    #[test]
    fn cluster_of_twenty() {
        // copper 1.7e-8, n = 20, a = 2 um, alpha = 50 um: 0.2125 + 0.1700 mohm [calc]
        assert_relative_eq!(cluster_ohm(20.0, 2e-6, 50e-6, 1.7e-8), 0.3825e-3, epsilon = 0.0, max_relative = 1e-14);
    }

    #[test]
    fn plastic_contacts() {
        // contact-physics references, section 1: milliohm at 0.1 N, printed to three digits [calc]
        for (rho, hardness, milliohm) in [(1.6e-8, 0.5e9, 1.00), (1.7e-8, 1.0e9, 1.51), (7.0e-8, 2.0e9, 8.77)] {
            assert_relative_eq!(
                plastic_ohm(0.1, hardness, 1.0, rho) * 1e3,
                milliohm,
                epsilon = 0.0,
                max_relative = 5e-3
            );
        }
        let a = plastic_radius_m(0.1, 1.0e9, 0.7);
        assert_relative_eq!(
            plastic_ohm(0.1, 1.0e9, 0.7, 1.7e-8),
            spot_ohm(a, 1.7e-8, 1.7e-8),
            epsilon = 0.0,
            max_relative = 1e-14
        );
    }

    #[test]
    fn one_spot_is_the_limit_of_many() {
        let spot = Spot { x_m: 0.0, y_m: 0.0, radius_m: 1e-6 };
        assert_relative_eq!(spots_ohm(&[spot], 1.7e-8).unwrap(), spot_ohm(1e-6, 1.7e-8, 1.7e-8));
        // a pair far apart: half of one
        let far = Spot { x_m: 10.0, ..spot };
        assert_relative_eq!(
            spots_ohm(&[spot, far], 1.7e-8).unwrap(),
            1.7e-8 / 4e-6,
            epsilon = 0.0,
            max_relative = 1e-6
        );
    }

    #[test]
    fn a_disc_full_of_spots_has_its_radius() {
        // mean of 1/s over a disc is 16/(3 pi Rd), so that Greenwood's sum gives alpha = Rd [calc]; rings of a lattice
        let (n, radius) = (60i32, 1.0);
        let mut spots = Vec::new();
        for i in -n..=n {
            for j in -n..=n {
                let (x_m, y_m) = (f64::from(i) / f64::from(n), f64::from(j) / f64::from(n));
                if x_m.hypot(y_m) <= radius && (i + j) % 2 == 0 {
                    spots.push(Spot { x_m, y_m, radius_m: 1e-4 });
                }
            }
        }
        let whole = spots_ohm(&spots, 1.0).unwrap() - 1.0 / (2.0 * spots.len() as f64 * 1e-4);
        // the lattice leaves out the self term: 2 % at 5 600 spots
        assert_relative_eq!(whole, 0.5, epsilon = 0.0, max_relative = 0.03);
    }

    #[test]
    fn overlapping_spots_are_refused() {
        let spot = Spot { x_m: 0.0, y_m: 0.0, radius_m: 1e-6 };
        let fault = spots_ohm(&[spot, Spot { x_m: 1.9e-6, ..spot }], 1e-8).unwrap_err();
        assert!(fault.place.contains("spots 0 and 1"), "{fault}");
        assert!(spots_ohm(&[spot, Spot { x_m: 2e-6, ..spot }], 1e-8).is_ok());
        assert!(spots_ohm(&[], 1e-8).is_err());
    }

    #[test]
    fn voltage_and_temperature() {
        // 0.1 V from 300 K, L = 2.44e-8: 438.7015 K, Kohlrausch-Holm [seen], number [calc]
        let heating = Heating { ambient_k: 300.0, ..CHECK };
        assert_relative_eq!(hottest_k(0.1, &heating), 438.7015, epsilon = 0.0, max_relative = 1e-6);
        // 10 mV: +1.74 K; 20 mV: +6.91 K; the handbooks' L = 2.45e-8 gives +6.88 K there [calc]
        assert_relative_eq!(rise_k(0.01, &CHECK), 1.74237, epsilon = 0.0, max_relative = 1e-5);
        assert_relative_eq!(rise_k(0.02, &CHECK), 6.9088, epsilon = 0.0, max_relative = 1e-5);
        let handbook = Heating { lorenz_v2_per_k2: 2.45e-8, ..CHECK };
        assert_relative_eq!(rise_k(0.02, &handbook), 6.88, epsilon = 0.0, max_relative = 1e-3);
        assert_relative_eq!(CHECK.scale_v(), 91.58e-3, epsilon = 0.0, max_relative = 1e-4);
    }

    #[test]
    fn third_harmonics() {
        // 10 mV, L = 2.44e-8: cubic 9.93549e-4 [derived]; exact 9.96520e-4 at a cold drop of 10 mV [calc]
        let cubic = third_harmonic_cubic(0.01, 1.0 / ROOM_TEMPERATURE_K, &CHECK);
        assert_relative_eq!(cubic, 9.93549e-4, epsilon = 0.0, max_relative = 1e-6);
        assert_relative_eq!(third_harmonic(0.01, &CHECK).unwrap(), 9.96520e-4, epsilon = 0.0, max_relative = 1e-5);
        assert_relative_eq!(third_harmonic(0.05, &CHECK).unwrap(), 2.685e-2, epsilon = 0.0, max_relative = 1e-3);
        assert_eq!(third_harmonic(0.15, &CHECK), None);
        // limit: a weak drive has the cubic term
        let weak = third_harmonic(1e-6, &CHECK).unwrap();
        assert_relative_eq!(
            weak,
            third_harmonic_cubic(1e-6, 1.0 / ROOM_TEMPERATURE_K, &CHECK),
            epsilon = 0.0,
            max_relative = 1e-9
        );
    }

    #[test]
    fn heated_spot_of_the_references() {
        // V = 0.1 V, L = 2.44e-8: I R0 = 0.0759501 V, R/R0 = 1.31665; Holm's first term gives 1.32042 [calc]
        assert_relative_eq!(heated_current_a(0.1, 1.0, &CHECK), 0.075_950_1, epsilon = 0.0, max_relative = 1e-6);
        assert_relative_eq!(0.1 / heated_current_a(0.1, 1.0, &CHECK), 1.316_65, epsilon = 0.0, max_relative = 5e-6);
    }

    #[test]
    fn small_spots() {
        // Sharvin's conductance of free electrons is (2 e^2/h) (kF a/2)^2 [derived]: gold, kF = 1.2e10 per m
        let (k_f, a) = (1.2e10, 1e-9);
        let quantum = 2.0 * ELEMENTARY_CHARGE_C * ELEMENTARY_CHARGE_C / PLANCK_J_S;
        let product = 1.5 * PI * PLANCK_J_S / (ELEMENTARY_CHARGE_C * ELEMENTARY_CHARGE_C * k_f * k_f);
        let (low, high) = small_spot_ohm(a, product, 1.0);
        let exact = 1.0 / (quantum * (k_f * a / 2.0) * (k_f * a / 2.0));
        // a free path of 1 m: Holm's share is 1e-9 of it
        assert_relative_eq!(low, exact, epsilon = 0.0, max_relative = 1e-8);
        assert_relative_eq!(high, exact, epsilon = 0.0, max_relative = 1e-8);
        // no free path: Holm, and 0.69 of it
        let (low, high) = small_spot_ohm(1e-6, 1.7e-8, 0.0);
        assert_relative_eq!(high, spot_ohm(1e-6, 1.7e-8, 1.7e-8), epsilon = 0.0, max_relative = 1e-15);
        assert_relative_eq!(low / high, 0.69, epsilon = 0.0, max_relative = 1e-14);
        // at a = l the Sharvin term is 8/(3 pi) of Holm's
        let (low, high) = small_spot_ohm(40e-9, 1.7e-8, 40e-9);
        let holm = spot_ohm(40e-9, 1.7e-8, 1.7e-8);
        assert_relative_eq!(high / holm, 1.0 + 8.0 / (3.0 * PI), epsilon = 0.0, max_relative = 1e-14);
        assert_relative_eq!((high - low) / holm, 0.31, epsilon = 0.0, max_relative = 1e-13);
    }

    /// The ratio from the poles of the tangent [derived]: `tan x = sum 1/(p-x) - 1/(p+x)` over `p = (k - 1/2) pi`, and
    /// `1/(p - y cos t)` has the harmonics `2 r^n/s`, `s = sqrt(p^2 - y^2)`, `r = (p - s)/y`.
    fn ratio_from_poles(y: f64) -> f64 {
        let (mut first, mut third) = (y, 0.0);
        for k in (1..=20_000).rev() {
            let p = (f64::from(k) - 0.5) * PI;
            let s = ((p - y) * (p + y)).sqrt();
            let r = y / (p + s);
            // the sum of 2 y/p^2 is y: what is left falls as k^-4
            first += 4.0 * r / s - 2.0 * y / (p * p);
            third += 4.0 * r * r * r / s;
        }
        third / first
    }

    #[test]
    fn third_harmonic_to_its_end() {
        let end = FRAC_PI_2 * CHECK.scale_v();
        for gap in [0.9, 0.1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6, 1e-7] {
            let ratio = third_harmonic(end * (1.0 - gap), &CHECK).unwrap();
            let exact = ratio_from_poles(FRAC_PI_2 * (1.0 - gap));
            // rounding of the gap itself, 1e-16 of the end, moves the pole
            assert_relative_eq!(ratio, exact, epsilon = 0.0, max_relative = 1e-11 + 1e-15 / gap);
        }
        assert_eq!(third_harmonic(end * (1.0 - 1e-8), &CHECK), None);
    }

    #[test]
    fn thermal_times_of_copper() {
        // D = 1.165e-4 m^2/s [memory]: 0.86 us and 185 kHz at 10 um [calc]
        assert_relative_eq!(thermal_time_s(10e-6, 1.165e-4), 0.86e-6, epsilon = 0.0, max_relative = 5e-3);
        assert_relative_eq!(quasi_static_limit_hz(10e-6, 1.165e-4), 185e3, epsilon = 0.0, max_relative = 5e-3);
    }

    proptest! {
        #[test]
        fn heated_current_and_voltage_are_inverse(v in -1.0f64..1.0, r in 1e-4f64..1e3) {
            let heating = Heating::default();
            let back = heated_voltage_v(heated_current_a(v, r, &heating), r, &heating).unwrap();
            // the slope of tan at 1 V is 120: the rounding grows by that
            prop_assert!((back - v).abs() <= 1e-13 * v.abs());
        }

        #[test]
        fn temperature_and_voltage_are_inverse(v in 1e-6f64..2.0) {
            let heating = Heating::default();
            let rise = rise_k(v, &heating);
            let back = voltage_for_temperature_v(heating.ambient_k + rise, &heating);
            // adding the rise to ambient loses what it is smaller by
            prop_assert!((back / v - 1.0).abs() <= 1e-15 + 1e-15 * heating.ambient_k / rise);
        }

        #[test]
        fn more_spots_never_resist_more_than_one_of_them(d in 2.0f64..1e3) {
            let one = Spot { x_m: 0.0, y_m: 0.0, radius_m: 1.0 };
            let pair = spots_ohm(&[one, Spot { x_m: d, ..one }], 1.0).unwrap();
            prop_assert!(pair < 0.5 && pair > 0.25);
        }
    }
}
