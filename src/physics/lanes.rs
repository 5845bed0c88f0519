//! Several numbers at once: arithmetic on vectors of whatever width the processor has, and the elementary functions that the
//! array kernels need, in the same operations for every number, so that none depends on its neighbours.
//!
//! The width is chosen at run time by the crate `pulp` (AVX2 with fused multiply-add, NEON, else plain numbers). Largest errors,
//! found against mpmath by `tests/python/test_lanes.py`, in units in the last place:
//!
//! | function | range | fused | plain |
//! | --- | --- | --- | --- |
//! | [`Lanes::exp`] | -700 to 700 | 1 | 1 |
//! | [`Lanes::ln`] | normal numbers above zero | 1 | 1 |
//! | [`Lanes::decibels_beside_one`] | -0.75 to 1e300 | 3 | 3 |
//! | [`sinh_and_cosh_beyond`] | to 1.5 | 4 | 4 |
//! | [`atan_and_beyond`] | to 1e100 | 6 | 6 |

use pulp::Simd;
use std::ops::{Add, Div, Mul, Neg, Sub};

/// Vectors that go side by side: one alone would wait for each of its own results.
pub const SIDE_BY_SIDE: usize = 2;

/// [`SIDE_BY_SIDE`] vectors of the processor's width.
#[derive(Clone, Copy, Debug)]
pub struct Lanes<S: Simd> {
    simd: S,
    value: [S::f64s; SIDE_BY_SIDE],
}

/// One truth value per lane.
#[derive(Clone, Copy, Debug)]
pub struct Mask<S: Simd> {
    simd: S,
    value: [S::m64s; SIDE_BY_SIDE],
}

/// `$operation` of each vector `$w`. Written out, no closure: one that the compiler leaves out of line is a function without the
/// processor's own instructions, and each operation in it a call.
macro_rules! each {
    ($w:ident => $operation:expr) => {
        [
            {
                let $w = 0;
                $operation
            },
            {
                let $w = 1;
                $operation
            },
        ]
    };
}

macro_rules! elementwise {
    ($trait:ident, $method:ident, $operation:ident) => {
        impl<S: Simd> $trait for Lanes<S> {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: Self) -> Self {
                Self { simd: self.simd, value: each!(w => self.simd.$operation(self.value[w], other.value[w])) }
            }
        }
        impl<S: Simd> $trait<f64> for Lanes<S> {
            type Output = Self;
            #[inline(always)]
            fn $method(self, other: f64) -> Self {
                self.$method(Self::splat(self.simd, other))
            }
        }
        impl<S: Simd> $trait<Lanes<S>> for f64 {
            type Output = Lanes<S>;
            #[inline(always)]
            fn $method(self, other: Lanes<S>) -> Lanes<S> {
                Lanes::splat(other.simd, self).$method(other)
            }
        }
    };
}

elementwise!(Add, add, add_f64s);
elementwise!(Sub, sub, sub_f64s);
elementwise!(Mul, mul, mul_f64s);
elementwise!(Div, div, div_f64s);

impl<S: Simd> Neg for Lanes<S> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self::splat(self.simd, 0.0) - self
    }
}

impl<S: Simd> Mask<S> {
    /// Whether it holds in every lane.
    #[inline(always)]
    pub fn all(self) -> bool {
        let simd = self.simd;
        let both = simd.and_m64s(self.value[0], self.value[1]);
        simd.first_true_m64s(simd.xor_m64s(both, simd.equal_u64s(simd.splat_u64s(0), simd.splat_u64s(0))))
            >= S::F64_LANES
    }

    /// Whether it holds in any lane.
    #[inline(always)]
    pub fn any(self) -> bool {
        let simd = self.simd;
        simd.first_true_m64s(simd.or_m64s(self.value[0], self.value[1])) < S::F64_LANES
    }

    /// Whether both hold.
    #[inline(always)]
    pub fn and(self, other: Self) -> Self {
        Self { simd: self.simd, value: each!(w => self.simd.and_m64s(self.value[w], other.value[w])) }
    }

    /// Whether one holds.
    #[inline(always)]
    pub fn or(self, other: Self) -> Self {
        Self { simd: self.simd, value: each!(w => self.simd.or_m64s(self.value[w], other.value[w])) }
    }

    /// `yes` where it holds, `no` elsewhere.
    #[inline(always)]
    pub fn select(self, yes: Lanes<S>, no: Lanes<S>) -> Lanes<S> {
        let simd = self.simd;
        let value = each!(w => {
            let (yes, no) = (simd.transmute_u64s_f64s(yes.value[w]), simd.transmute_u64s_f64s(no.value[w]));
            simd.transmute_f64s_u64s(simd.select_u64s(self.value[w], yes, no))
        });
        Lanes { simd, value }
    }
}

/// Adding and taking away rounds a number below 2^51 to the next whole one, which is then in its lowest bits.
const TO_WHOLE: f64 = 1.5 * (1u64 << 52) as f64;

/// `ln 2` in two parts: the first has 21 bits to spare, so that its product with a whole number up to 2^20 is exact.
const LN_2_HIGH: f64 = f64::from_bits(std::f64::consts::LN_2.to_bits() & !((1 << 21) - 1));
/// What [`LN_2_HIGH`] lacks [calc: mpmath].
const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;

/// `(exp(r) - 1 - r)/r^2` for |r| up to half of `ln 2`: interpolated at Chebyshev's points, relative error 5e-18 [calc: mpmath].
const EXP: [f64; 11] = [
    0.5,
    0.166_666_666_666_666_7,
    0.041_666_666_666_666_67,
    0.008_333_333_333_326_136,
    0.001_388_888_888_888_374_8,
    0.000_198_412_698_748_206_27,
    2.480_158_732_554_774_3e-5,
    2.755_725_540_020_642_2e-6,
    2.755_727_364_311_03e-7,
    2.510_521_700_472_074_5e-8,
    2.091_468_696_808_687_6e-9,
];

/// `(ln((1+s)/(1-s)) - 2 s)/s^3` as a polynomial in `s^2`, for (1+s)/(1-s) from sqrt(1/2) to sqrt 2; relative error 6e-17 [calc: mpmath].
const LN: [f64; 8] = [
    0.666_666_666_666_666_6,
    0.400_000_000_000_008_8,
    0.285_714_285_708_032_3,
    0.222_222_223_918_004_7,
    0.181_817_956_308_847_53,
    0.153_862_402_058_134_8,
    0.132_687_596_685_606_12,
    0.130_867_670_099_481_75,
];

/// `10 lg((1+s)/(1-s))/s` as a polynomial in `s^2`, in the same range; relative error 1e-18 [calc: mpmath].
const DECIBELS: [f64; 8] = [
    8.685_889_638_065_037,
    2.895_296_546_021_721_3,
    1.737_177_927_582_708_2,
    1.240_841_385_083_854_7,
    0.965_097_755_750_280_6,
    0.789_705_089_968_475_3,
    0.665_014_647_882_278_6,
    0.643_177_548_821_800_4,
];

/// `10 lg 2` [calc: mpmath].
const DECIBELS_OF_TWO: f64 = 3.010_299_956_639_812;

/// `(sinh(x) - x)/x^3` as a polynomial in `x^2`, for |x| up to 1.5; relative error 6e-17 [calc: mpmath].
const SINH: [f64; 8] = [
    0.166_666_666_666_666_66,
    0.008_333_333_333_333_344,
    0.000_198_412_698_412_609_05,
    2.755_731_922_716_205e-6,
    2.505_210_783_125_749_7e-8,
    1.605_909_632_164_578_2e-10,
    7.644_412_502_401_289e-13,
    2.886_392_064_284_567_4e-15,
];

/// `(cosh(x) - 1)/x^2`, likewise; relative error 2e-17.
const COSH: [f64; 8] = [
    0.5,
    0.041_666_666_666_666_85,
    0.001_388_888_888_887_187_2,
    2.480_158_730_763_519e-5,
    2.755_731_816_880_76e-7,
    2.087_685_690_772_499_7e-9,
    1.146_550_895_151_662_7e-11,
    4.922_044_850_361_049e-14,
];

/// `(atan(x) - x)/x^3` as a polynomial in `x^2`, for |x| up to `tan(pi/8)`; relative error 7e-17 [calc: mpmath].
const ATAN: [f64; 13] = [
    -0.333_333_333_333_333_3,
    0.199_999_999_999_999_93,
    -0.142_857_142_857_115_18,
    0.111_111_111_107_547_29,
    -0.090_909_090_670_099_71,
    0.076_923_067_359_994_95,
    -0.066_666_420_200_401_12,
    0.058_819_252_529_735_92,
    -0.052_580_415_521_727_77,
    0.047_193_950_164_566_37,
    -0.041_044_362_109_097_926,
    0.030_635_702_842_093_56,
    -0.013_918_228_004_884_865,
];

/// Bits of the least mantissa that logarithms are taken of, sqrt(1/2): what the exponent lacks of a number's own is its power of two.
const LEAST: u64 = std::f64::consts::FRAC_1_SQRT_2.to_bits();
const EXPONENT: u64 = !((1 << 52) - 1);

/// Largest argument of [`sinh_and_cosh_beyond`].
pub const SERIES_TO: f64 = 1.5;

impl<S: Simd> Lanes<S> {
    /// Numbers in all lanes.
    pub const COUNT: usize = SIDE_BY_SIDE * S::F64_LANES;

    /// The instructions that it uses.
    #[inline(always)]
    pub fn simd(self) -> S {
        self.simd
    }

    /// The same number in every lane.
    #[inline(always)]
    pub fn splat(simd: S, number: f64) -> Self {
        Self { simd, value: [simd.splat_f64s(number); SIDE_BY_SIDE] }
    }

    /// The first [`Self::COUNT`] numbers of a list that has at least as many.
    #[inline(always)]
    pub fn load(simd: S, from: &[f64]) -> Self {
        let vectors = &S::as_simd_f64s(from).0[..SIDE_BY_SIDE];
        Self { simd, value: each!(w => vectors[w]) }
    }

    /// Writes the numbers to the front of a list.
    #[inline(always)]
    pub fn store(self, to: &mut [f64]) {
        let vectors = S::as_mut_simd_f64s(to).0;
        vectors[..SIDE_BY_SIDE].copy_from_slice(&self.value);
    }

    /// `self * times + plus`, rounded once where the processor can.
    #[inline(always)]
    pub fn times_plus(self, times: Self, plus: Self) -> Self {
        let value = each!(w => self.simd.mul_add_e_f64s(self.value[w], times.value[w], plus.value[w]));
        Self { simd: self.simd, value }
    }

    /// The smaller one.
    #[inline(always)]
    pub fn min(self, other: Self) -> Self {
        Self { simd: self.simd, value: each!(w => self.simd.min_f64s(self.value[w], other.value[w])) }
    }

    /// The larger one.
    #[inline(always)]
    pub fn max(self, other: Self) -> Self {
        Self { simd: self.simd, value: each!(w => self.simd.max_f64s(self.value[w], other.value[w])) }
    }

    /// Size without sign.
    #[inline(always)]
    pub fn abs(self) -> Self {
        self.max(-self)
    }

    /// Square root.
    #[inline(always)]
    pub fn sqrt(self) -> Self {
        Self { simd: self.simd, value: each!(w => self.simd.sqrt_f64s(self.value[w])) }
    }

    /// Whether it is below.
    #[inline(always)]
    pub fn below(self, other: Self) -> Mask<S> {
        let value = each!(w => self.simd.less_than_f64s(self.value[w], other.value[w]));
        Mask { simd: self.simd, value }
    }

    /// A polynomial, lowest coefficient first: pairs, pairs of pairs and so on, so that little waits for anything.
    #[inline(always)]
    pub fn polynomial<const N: usize>(self, coefficients: &[f64; N]) -> Self {
        let z2 = self * self;
        let z4 = z2 * z2;
        let mut k = (N - 1) / 4 * 4;
        let mut sum = self.four(z2, coefficients, k);
        while k > 0 {
            k -= 4;
            sum = sum.times_plus(z4, self.four(z2, coefficients, k));
        }
        sum
    }

    /// Terms `k` and `k + 1` of a polynomial, those that it has, over `self^k`.
    #[inline(always)]
    fn pair<const N: usize>(self, coefficients: &[f64; N], k: usize) -> Self {
        let first = Self::splat(self.simd, coefficients[k]);
        if k + 1 < N { Self::splat(self.simd, coefficients[k + 1]).times_plus(self, first) } else { first }
    }

    /// Terms `k` to `k + 3`, likewise.
    #[inline(always)]
    fn four<const N: usize>(self, square: Self, coefficients: &[f64; N], k: usize) -> Self {
        let first = self.pair(coefficients, k);
        if k + 2 < N { self.pair(coefficients, k + 2).times_plus(square, first) } else { first }
    }

    /// The bits of each number, changed.
    #[inline(always)]
    fn with_bits(self, change: impl Fn(u64) -> u64) -> Self {
        let simd = self.simd;
        let value = each!(w => {
            let mut bits = simd.transmute_u64s_f64s(self.value[w]);
            for lane in pulp::bytemuck::cast_slice_mut::<S::u64s, u64>(std::slice::from_mut(&mut bits)) {
                *lane = change(*lane);
            }
            simd.transmute_f64s_u64s(bits)
        });
        Self { simd, value }
    }

    /// `exp` from -700 to 700.
    #[inline(always)]
    pub fn exp(self) -> Self {
        let whole = Self::splat(self.simd, TO_WHOLE);
        let shifted = self.times_plus(Self::splat(self.simd, std::f64::consts::LOG2_E), whole);
        let power = shifted - whole;
        let rest = power.times_plus(Self::splat(self.simd, -LN_2_HIGH), self);
        let rest = power.times_plus(Self::splat(self.simd, -LN_2_LOW), rest);
        let beyond = rest * rest * rest.polynomial(&EXP);
        let two_to_the_power = shifted.with_bits(
            #[inline(always)]
            |bits| (bits << 52).wrapping_add(1f64.to_bits()),
        );
        two_to_the_power.times_plus(rest + beyond, two_to_the_power)
    }

    /// `k` of a normal number above zero that is `2^k` times one from sqrt(1/2) to sqrt 2.
    #[inline(always)]
    fn power_of_two(self) -> Self {
        // the power, made positive, in the last places of a number of the size of 2^52
        const HOLDER: f64 = (1u64 << 52) as f64;
        let held = self.with_bits(
            #[inline(always)]
            |bits| (bits.wrapping_sub(LEAST).wrapping_add(1 << 62) >> 52) | HOLDER.to_bits(),
        );
        held - (HOLDER + 1024.0)
    }

    /// Natural logarithm of a normal number above zero.
    #[inline(always)]
    pub fn ln(self) -> Self {
        let mantissa = self.with_bits(
            #[inline(always)]
            |bits| bits.wrapping_sub(bits.wrapping_sub(LEAST) & EXPONENT),
        );
        let f = mantissa - 1.0;
        let power = self.power_of_two();
        let s = f / (f + 2.0);
        let z = s * s;
        let half = 0.5 * f * f;
        // 2 s = f - s f, and s f = f^2/2 - s f^2/2
        let small = s.times_plus(half + z * z.polynomial(&LN), power * LN_2_LOW);
        power.times_plus(Self::splat(self.simd, LN_2_HIGH), f - (half - small))
    }

    /// `10 lg(1 + self)` for numbers from -0.75 to 1e300: decibels of a power from what it deviates from one.
    #[inline(always)]
    pub fn decibels_beside_one(self) -> Self {
        let (s, power) = self.reduced_beside_one();
        Self::decibels_of_reduced(s, power)
    }

    /// First half of [`Self::decibels_beside_one`]: `1 + self = 2^k (1 + s)/(1 - s)`, that is `s` and `k`.
    ///
    /// Each half waits for its own results far less than both together: long lists go by two loops.
    #[inline(always)]
    pub fn reduced_beside_one(self) -> (Self, Self) {
        let number = self + 1.0;
        let power = number.power_of_two();
        // 2^-k
        let scale = number.with_bits(
            #[inline(always)]
            |bits| 1f64.to_bits().wrapping_sub(bits.wrapping_sub(LEAST) & EXPONENT),
        );
        // (1 + self) 2^-k - 1 rounded once; with k = 0 it is the deviation itself
        let f = self.times_plus(scale, scale - 1.0);
        (f / (f + 2.0), power)
    }

    /// Second half.
    #[inline(always)]
    pub fn decibels_of_reduced(s: Self, power: Self) -> Self {
        let z = s * s;
        let mut sum = Self::splat(s.simd, DECIBELS[DECIBELS.len() - 1]);
        // one after the other: fewest operations, and vectors side by side fill the time
        let mut k = DECIBELS.len() - 1;
        while k > 0 {
            k -= 1;
            sum = sum.times_plus(z, Self::splat(s.simd, DECIBELS[k]));
        }
        power.times_plus(Self::splat(s.simd, DECIBELS_OF_TWO), s * sum)
    }
}

/// `sinh(x) - x` and `cosh(x) - 1` for |x| up to [`SERIES_TO`], to their own last places.
#[inline(always)]
pub fn sinh_and_cosh_beyond<S: Simd>(x: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let z = x * x;
    (x * z * z.polynomial(&SINH), z * z.polynomial(&COSH))
}

/// `atan(x)` and `atan(x) - x`, both to their own last places, for |x| up to 1e100.
///
/// `atan x = 2 atan t` with `t = x/(1 + sqrt(1 + x^2))`, twice; and `2 t - x = -x^3/(1 + sqrt(1 + x^2))^2`.
#[inline(always)]
pub fn atan_and_beyond<S: Simd>(x: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let (t, first) = half_angle(x);
    let (s, second) = half_angle(t);
    let z = s * s;
    let beyond = s * z * z.polynomial(&ATAN);
    (4.0 * (s + beyond), 4.0 * beyond - (2.0 * second + first))
}

/// `t` with `atan x = 2 atan t`, and `x t^2 = x - 2 t`.
#[inline(always)]
fn half_angle<S: Simd>(x: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
    let t = x / (x.times_plus(x, Lanes::splat(x.simd(), 1.0)).sqrt() + 1.0);
    (t, x * t * t)
}
