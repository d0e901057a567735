//! The normal distribution: density, share below, and the point below which a share
//! lies.

/// Density of the standard normal distribution.
pub fn normal_density(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / libm::sqrt(std::f64::consts::TAU)
}

/// Share of the standard normal distribution below `z`.
pub fn normal_below(z: f64) -> f64 {
    0.5 * libm::erfc(-z * std::f64::consts::FRAC_1_SQRT_2)
}

/// The point of the standard normal distribution below which the share `p` lies;
/// infinite for 0 and 1, NaN for what is no share. Rational approximations in three
/// pieces, good to some 16 digits (Wichura 1988, Applied Statistics 37:477, AS 241;
/// published).
pub fn normal_point(p: f64) -> f64 {
    let from_middle = p - 0.5;
    if from_middle.abs() <= 0.425 {
        let r = 0.180_625 - from_middle * from_middle;
        return from_middle * ratio(r, &MIDDLE);
    }
    let tail = if from_middle < 0.0 { p } else { 1.0 - p };
    if tail <= 0.0 || tail.is_nan() {
        return if tail == 0.0 { f64::INFINITY.copysign(from_middle) } else { f64::NAN };
    }
    let r = libm::sqrt(-libm::log(tail));
    let away = if r <= 5.0 { ratio(r - 1.6, &NEAR) } else { ratio(r - 5.0, &FAR) };
    away.copysign(from_middle)
}

/// Coefficients of numerator and denominator, the highest power first.
type Coefficients = ([f64; 8], [f64; 8]);

fn ratio(r: f64, (above, below): &Coefficients) -> f64 {
    let sum = |terms: &[f64; 8]| terms.iter().fold(0.0, |sum, term| sum * r + term);
    sum(above) / sum(below)
}

const MIDDLE: Coefficients = (
    [
        2_509.080_928_730_122_7,
        33_430.575_583_588_13,
        67_265.770_927_008_7,
        45_921.953_931_549_87,
        13_731.693_765_509_46,
        1_971.590_950_306_551_3,
        133.141_667_891_784_38,
        3.387_132_872_796_366_5,
    ],
    [
        5_226.495_278_852_854,
        28_729.085_735_721_943,
        39_307.895_800_092_71,
        21_213.794_301_586_597,
        5_394.196_021_424_751,
        687.187_007_492_057_9,
        42.313_330_701_600_91,
        1.0,
    ],
);

const NEAR: Coefficients = (
    [
        7.745_450_142_783_414e-4,
        2.272_384_498_926_918_4e-2,
        0.241_780_725_177_450_6,
        1.270_458_252_452_368_4,
        3.647_848_324_763_204_5,
        5.769_497_221_460_691,
        4.630_337_846_156_546,
        1.423_437_110_749_683_5,
    ],
    [
        1.050_750_071_644_416_9e-9,
        5.475_938_084_995_345e-4,
        1.519_866_656_361_645_7e-2,
        0.148_103_976_427_480_08,
        0.689_767_334_985_1,
        1.676_384_830_183_803_8,
        2.053_191_626_637_759,
        1.0,
    ],
);

const FAR: Coefficients = (
    [
        2.010_334_399_292_288_1e-7,
        2.711_555_568_743_487_6e-5,
        1.242_660_947_388_078_4e-3,
        2.653_218_952_657_612_4e-2,
        0.296_560_571_828_504_87,
        1.784_826_539_917_291_3,
        5.463_784_911_164_114,
        6.657_904_643_501_103,
    ],
    [
        2.044_263_103_389_939_8e-15,
        1.421_511_758_316_446e-7,
        1.846_318_317_510_054_8e-5,
        7.868_691_311_456_133e-4,
        1.487_536_129_085_061_5e-2,
        0.136_929_880_922_735_8,
        0.599_832_206_555_887_9,
        1.0,
    ],
);
