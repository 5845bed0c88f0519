//! Level at the ear from sensitivity, drive and distance.
//!
//! | what | equation | source |
//! | --- | --- | --- |
//! | loudspeaker, voltage | `S + 20 log10(V/2.83) - 20 log10(d)`, S dB SPL at 2.83 V, 1 m | free field, inverse square; practice of IEC 60268-5 \[memory\] |
//! | loudspeaker, power | `S + 10 log10(P) - 20 log10(d)`, S dB SPL at 1 W, 1 m | the same |
//! | headphones, power | `S + 10 log10(P/1 mW)`, S dB SPL at 1 mW | practice of IEC 60268-7 \[memory\] |
//! | headphones, voltage | `S + 20 log10(V)`, S dB SPL at 1 V | the same |
//!
//! In a room the level falls less with distance than this: a room gain is the caller's, as a range. 2.83 V is 1.0011 W into 8 ohm and
//! 2.0022 W into 4 ohm: a sensitivity at 2.83 V flatters a 4 ohm loudspeaker by 3 dB.

use super::decibel;

/// Voltage of a loudspeaker's sensitivity, V rms.
pub const SENSITIVITY_V: f64 = 2.83;

/// What the sensitivity of a source of sound is stated for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sensitivity {
    /// loudspeaker, dB SPL at 2.83 V and 1 m; the drive is a voltage
    LoudspeakerVoltage,
    /// loudspeaker, dB SPL at 1 W and 1 m; the drive is a power
    LoudspeakerPower,
    /// headphones, dB SPL at 1 V; the drive is a voltage
    HeadphoneVoltage,
    /// headphones, dB SPL at 1 mW; the drive is a power
    HeadphonePower,
}

super::named!(Sensitivity {
    LoudspeakerVoltage = "2.83 V, 1 m",
    LoudspeakerPower = "1 W, 1 m",
    HeadphoneVoltage = "1 V",
    HeadphonePower = "1 mW"
});

impl Sensitivity {
    /// Whether the drive is a voltage (V rms), else a power (W).
    #[must_use]
    pub fn takes_volts(self) -> bool {
        matches!(self, Self::LoudspeakerVoltage | Self::HeadphoneVoltage)
    }

    /// Whether distance counts.
    #[must_use]
    pub fn takes_distance(self) -> bool {
        matches!(self, Self::LoudspeakerVoltage | Self::LoudspeakerPower)
    }

    /// Level at the ear, dB SPL: `drive` in V rms or W above zero, `distance_m` above zero (no matter for headphones).
    #[must_use]
    pub fn level_db(self, sensitivity_db: f64, drive: f64, distance_m: f64) -> f64 {
        let away_db = 20.0 * distance_m.log10();
        match self {
            Self::LoudspeakerVoltage => sensitivity_db + 20.0 * (drive / SENSITIVITY_V).log10() - away_db,
            Self::LoudspeakerPower => sensitivity_db + decibel(drive) - away_db,
            Self::HeadphoneVoltage => sensitivity_db + 20.0 * drive.log10(),
            Self::HeadphonePower => sensitivity_db + decibel(drive / 1e-3),
        }
    }
}

/// Headphones: sensitivity at 1 V from that at 1 mW, dB: `S + 10 log10(1000/Z)`.
#[must_use]
pub fn headphone_per_volt_db(per_milliwatt_db: f64, impedance_ohm: f64) -> f64 {
    per_milliwatt_db + decibel(1000.0 / impedance_ohm)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn loudspeakers() {
        use Sensitivity::{LoudspeakerPower, LoudspeakerVoltage};
        // 2.83^2/8 = 1.00111 W: the two agree within 0.005 dB at 8 ohm, 3.01 dB apart at 4 ohm [calc]
        let volts = LoudspeakerVoltage.level_db(87.0, 5.66, 2.5);
        let watts = |ohm: f64| LoudspeakerPower.level_db(87.0, 5.66 * 5.66 / ohm, 2.5);
        assert!((volts - watts(8.0) + 0.00482).abs() < 1e-4, "{}", volts - watts(8.0));
        assert!((watts(4.0) - watts(8.0) - 3.0103).abs() < 1e-4);
        // twice the voltage +6.02 dB, 2.5 m -7.96 dB
        assert!((volts - (87.0 + 6.0206 - 7.9588)).abs() < 1e-4);
        assert_eq!(LoudspeakerVoltage.level_db(87.0, 2.83, 1.0), 87.0);
    }

    #[test]
    fn headphones() {
        use Sensitivity::{HeadphonePower, HeadphoneVoltage};
        // 1 V into 32 ohm is 31.25 mW: 14.949 dB above 1 mW
        let per_volt = headphone_per_volt_db(100.0, 32.0);
        assert!((per_volt - 114.9485).abs() < 1e-4);
        assert!(
            (HeadphoneVoltage.level_db(per_volt, 0.3, 9.0) - HeadphonePower.level_db(100.0, 0.09 / 32.0, 1.0)).abs()
                < 1e-12
        );
        for &kind in Sensitivity::ALL {
            assert_eq!(Sensitivity::named(kind.name()), Some(kind));
        }
    }
}
