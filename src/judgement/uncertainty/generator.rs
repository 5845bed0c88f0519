//! Random numbers by counting: Philox 4x32 with ten rounds (Salmon, Moraes, Dror, Shaw, "Parallel random numbers: as easy as
//! 1, 2, 3", SC11, 2011). A number is a function of seed, stream and place: nothing is carried from one stream to the next.

/// Multipliers and key increments of Philox 4x32 (Salmon et al. 2011 \[memory\]; the known answers below hold them).
const MULTIPLIERS: [u32; 2] = [0xD251_1F53, 0xCD9E_8D57];
const WEYL: [u32; 2] = [0x9E37_79B9, 0xBB67_AE85];
const ROUNDS: usize = 10;

/// The four words at a counter under a key.
#[must_use]
pub fn philox(counter: [u32; 4], key: [u32; 2]) -> [u32; 4] {
    let [mut a, mut b, mut c, mut d] = counter;
    let [mut k, mut l] = key;
    for _ in 0..ROUNDS {
        let x = u64::from(MULTIPLIERS[0]) * u64::from(a);
        let y = u64::from(MULTIPLIERS[1]) * u64::from(c);
        (a, b, c, d) = ((y >> 32) as u32 ^ b ^ k, y as u32, (x >> 32) as u32 ^ d ^ l, x as u32);
        (k, l) = (k.wrapping_add(WEYL[0]), l.wrapping_add(WEYL[1]));
    }
    [a, b, c, d]
}

/// A stream of random numbers: the same for the same seed and number, whatever else was drawn.
#[derive(Debug, Clone)]
pub struct Stream {
    key: [u32; 2],
    number: u64,
    place: u64,
    words: [u32; 4],
    used: usize,
}

impl Stream {
    /// Stream `number` of a seed.
    #[must_use]
    pub fn new(seed: u64, number: u64) -> Self {
        Self { key: [seed as u32, (seed >> 32) as u32], number, place: 0, words: [0; 4], used: 4 }
    }

    fn word(&mut self) -> u32 {
        if self.used == 4 {
            let counter =
                [self.place as u32, (self.place >> 32) as u32, self.number as u32, (self.number >> 32) as u32];
            self.words = philox(counter, self.key);
            self.place += 1;
            self.used = 0;
        }
        self.used += 1;
        self.words[self.used - 1]
    }

    /// Uniform above 0 and below 1, 53 bits.
    pub fn uniform(&mut self) -> f64 {
        let bits = (u64::from(self.word()) << 32 | u64::from(self.word())) >> 11;
        // the last cell's middle would be rounded to 1
        ((bits as f64 + 0.5) / (1u64 << 53) as f64).min(1.0 - 0.5 * f64::EPSILON)
    }

    /// Uniform between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Log-uniform between two values above zero.
    pub fn log_between(&mut self, low: f64, high: f64) -> f64 {
        self.between(low.ln(), high.ln()).exp()
    }

    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }

    /// A number below `count`.
    pub fn below(&mut self, count: usize) -> usize {
        ((self.uniform() * count as f64) as usize).min(count.saturating_sub(1))
    }
}

/// Quantile of the standard normal distribution: Wichura, algorithm AS 241, PPND16, Applied Statistics 37, 477-484, 1988
/// \[memory\]; about 1e-16 relative. Own code, so that the bits last.
#[must_use]
pub fn normal_quantile(p: f64) -> f64 {
    const A: [f64; 8] = [
        3.387_132_872_796_366_5,
        133.141_667_891_784_38,
        1_971.590_950_306_551_3,
        13_731.693_765_509_46,
        45_921.953_931_549_87,
        67_265.770_927_008_7,
        33_430.575_583_588_13,
        2_509.080_928_730_122_7,
    ];
    const B: [f64; 8] = [
        1.0,
        42.313_330_701_600_91,
        687.187_007_492_057_9,
        5_394.196_021_424_751,
        21_213.794_301_586_597,
        39_307.895_800_092_71,
        28_729.085_735_721_943,
        5_226.495_278_852_545,
    ];
    const C: [f64; 8] = [
        1.423_437_110_749_683_5,
        4.630_337_846_156_546,
        5.769_497_221_460_691,
        3.647_848_324_763_204_5,
        1.270_458_252_452_368_4,
        0.241_780_725_177_450_6,
        0.022_723_844_989_269_184,
        7.745_450_142_783_414e-4,
    ];
    const D: [f64; 8] = [
        1.0,
        2.053_191_626_637_759,
        1.676_384_830_183_803_8,
        0.689_767_334_985_1,
        0.148_103_976_427_480_08,
        0.015_198_666_563_616_457,
        5.475_938_084_995_345e-4,
        1.050_750_071_644_416_9e-9,
    ];
    const E: [f64; 8] = [
        6.657_904_643_501_103,
        5.463_784_911_164_114,
        1.784_826_539_917_291_3,
        0.296_560_571_828_504_87,
        0.026_532_189_526_576_124,
        0.001_242_660_947_388_078_4,
        2.711_555_568_743_487_6e-5,
        2.010_334_399_292_288_1e-7,
    ];
    const F: [f64; 8] = [
        1.0,
        0.599_832_206_555_888,
        0.136_929_880_922_735_8,
        0.014_875_361_290_850_615,
        7.868_691_311_456_133e-4,
        1.846_318_317_510_054_8e-5,
        1.421_511_758_316_446e-7,
        2.044_263_103_389_939_8e-15,
    ];
    let polynomial = |c: &[f64; 8], x: f64| c.iter().rev().fold(0.0, |sum, c| sum * x + c);
    let q = p - 0.5;
    if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        return q * polynomial(&A, r) / polynomial(&B, r);
    }
    let tail = if q < 0.0 { p } else { 1.0 - p };
    let r = (-tail.ln()).sqrt();
    let value = if r <= 5.0 {
        polynomial(&C, r - 1.6) / polynomial(&D, r - 1.6)
    } else {
        polynomial(&E, r - 5.0) / polynomial(&F, r - 5.0)
    };
    if q < 0.0 { -value } else { value }
}

/// Distribution function of the standard normal: Hart's rational form after G. West, "Better approximations to cumulative
/// normal functions", Wilmott, 2005 \[memory\]; within 1e-8 relative in the far tail. Its inverse is [`normal_quantile`].
#[must_use]
pub fn normal_cdf(x: f64) -> f64 {
    let z = x.abs();
    let tail = if z > 37.0 {
        0.0
    } else {
        let e = (-0.5 * z * z).exp();
        if z < 7.071_067_811_865_475 {
            const P: [f64; 7] = [
                220.206_867_912_376,
                221.213_596_169_931,
                112.079_291_497_871,
                33.912_866_078_383,
                6.373_962_203_531_65,
                0.700_383_064_443_688,
                3.526_249_659_989_11e-2,
            ];
            const Q: [f64; 8] = [
                440.413_735_824_752,
                793.826_512_519_948,
                637.333_633_378_831,
                296.564_248_779_674,
                86.780_732_202_946_1,
                16.064_177_579_207,
                1.755_667_163_182_64,
                8.838_834_764_831_84e-2,
            ];
            let top = P.iter().rev().fold(0.0, |sum, c| sum * z + c);
            let bottom = Q.iter().rev().fold(0.0, |sum, c| sum * z + c);
            e * top / bottom
        } else {
            let f = z + 1.0 / (z + 2.0 / (z + 3.0 / (z + 4.0 / (z + 0.65))));
            e / (f * 2.506_628_274_631)
        }
    };
    if x > 0.0 { 1.0 - tail } else { tail }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use statrs::distribution::{ContinuousCDF, Normal};

    #[test]
    fn known_answers() {
        // kat_vectors of the authors' reference code for philox4x32, 10 rounds [memory]
        let all = u32::MAX;
        assert_eq!(philox([0; 4], [0; 2]), [0x6627_e8d5, 0xe169_c58d, 0xbc57_ac4c, 0x9b00_dbd8]);
        assert_eq!(philox([all; 4], [all; 2]), [0x408f_276d, 0x41c8_3b0e, 0xa20b_c7c6, 0x6d54_51fd]);
        let pi = [0x243f_6a88, 0x85a3_08d3, 0x1319_8a2e, 0x0370_7344];
        assert_eq!(philox(pi, [0xa409_3822, 0x299f_31d0]), [0xd16c_fe09, 0x94fd_cceb, 0x5001_e420, 0x2412_6ea1]);
    }

    #[test]
    fn the_normal_quantile_and_its_inverse() {
        let normal = Normal::new(0.0, 1.0).unwrap();
        for p in [1e-12, 1e-6, 0.001, 0.0749, 0.0751, 0.3, 0.5, 0.7, 0.9249, 0.9251, 0.999, 1.0 - 1e-9] {
            let x = normal_quantile(p);
            assert_relative_eq!(normal.cdf(x), p, epsilon = 0.0, max_relative = 1e-10);
            assert_relative_eq!(normal_cdf(x), p, epsilon = 0.0, max_relative = 1e-8);
        }
        // mpmath, erfc(z / sqrt(2)) / 2 at 30 digits: where the continued fraction begins and is at its worst
        for (z, tail) in [(7.2, 3.010_627_981_117_433_6e-13), (8.0, 6.220_960_574_271_784e-16)] {
            assert_relative_eq!(normal_cdf(-z), tail, epsilon = 0.0, max_relative = 1e-8);
        }
        // to the last value that is given, by the tail's series phi(z)/z (1 - 1/z^2 + 3/z^4) (Laplace [memory])
        for z in [20.0f64, 30.0, 37.0] {
            let phi = (-0.5 * z * z).exp() / std::f64::consts::TAU.sqrt();
            let tail = phi / z * (1.0 - z.powi(-2) + 3.0 * z.powi(-4));
            assert_relative_eq!(normal_cdf(-z), tail, epsilon = 0.0, max_relative = 1e-6);
        }
        // handbook: 97.5 % at 1.959964, 99 % at 2.326348
        assert_relative_eq!(normal_quantile(0.975), 1.959_963_984_540_054, max_relative = 1e-14);
        assert_relative_eq!(normal_quantile(0.99), 2.326_347_874_040_841, max_relative = 1e-14);
    }

    #[test]
    fn a_uniform_draw_is_the_middle_of_its_cell() {
        // words of which nothing is set, and only the highest bit: cells at 0 and at one half, 2^-53 wide
        let mut none = Stream { words: [0, 0, 1 << 31, 0], used: 0, ..Stream::new(1, 0) };
        assert_eq!(none.uniform(), 2f64.powi(-54));
        let half = none.uniform();
        assert!(half >= 0.5 && half <= 0.5 + 2f64.powi(-53), "{half}");
        let mut all = Stream { words: [u32::MAX; 4], used: 0, ..Stream::new(1, 0) };
        assert!(all.uniform() < 1.0);
    }

    #[test]
    fn streams_do_not_meet() {
        let first: Vec<u32> = (0..100).map(|_| 0).collect();
        let draw = |seed, number| {
            let mut stream = Stream::new(seed, number);
            first.iter().map(|_| stream.uniform()).collect::<Vec<_>>()
        };
        assert_eq!(draw(7, 3), draw(7, 3));
        for (a, b) in [((7, 3), (7, 4)), ((7, 3), (8, 3)), ((7, 3), (7 + (1 << 32), 3)), ((7, 3), (7, 3 + (1 << 32)))] {
            let (a, b) = (draw(a.0, a.1), draw(b.0, b.1));
            assert!(a.iter().all(|x| !b.contains(x)));
        }
    }

    #[test]
    fn ranges_are_filled_to_their_ends_with_the_right_mean() {
        let mut stream = Stream::new(4, 0);
        const N: usize = 20_000;
        let mut both: [Vec<f64>; 2] = [(0..N).map(|_| stream.between(-2.0, 5.0)).collect(), Vec::new()];
        both[1] = (0..N).map(|_| stream.log_between(0.01, 100.0).ln()).collect();
        for (draws, (low, high)) in both.iter().zip([(-2.0, 5.0), (0.01f64.ln(), 100f64.ln())]) {
            let (least, most) = draws.iter().fold((f64::MAX, f64::MIN), |(a, b), x| (a.min(*x), b.max(*x)));
            let mean = draws.iter().sum::<f64>() / N as f64;
            // the ends within a thousandth of the range, the mean within four of its standard errors
            let wide = high - low;
            assert!(least >= low && most <= high && least < low + 1e-3 * wide && most > high - 1e-3 * wide);
            assert!((mean - 0.5 * (low + high)).abs() < 4.0 * wide / (12.0 * N as f64).sqrt());
        }
    }

    #[test]
    fn uniform_fills_its_range_evenly() {
        let mut stream = Stream::new(1, 0);
        let mut counts = [0usize; 16];
        const N: usize = 160_000;
        for _ in 0..N {
            counts[stream.below(16)] += 1;
        }
        // chi-square of 15 degrees of freedom: 37.7 at 0.1 %
        let expected = N as f64 / 16.0;
        let chi: f64 = counts.iter().map(|&c| (c as f64 - expected).powi(2) / expected).sum();
        assert!(chi < 37.7, "{chi}");
    }
}
