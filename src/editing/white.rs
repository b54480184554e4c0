//! White balance: the neutral of the light without the filter, and the neutral through it.
//!
//! A neutral is the camera RGB of something colourless, green = 1; AsShotNeutral of DNG 1.4.

use crate::frame::ColourMatrix;
use crate::measure::colour::matrix::FrozenMatrix;
use crate::measure::colour::{Xyz, light_of, locus::planckian_uv};
use crate::profile::Light;
use crate::quantity::{Kelvin, Mired};

/// A cast below this, in stops over both ratios of channels, needs no decision: taken out twice it
/// leaves grey within 3 % (log2 of 1.03), which is what pictures are held to (ours).
const NO_CAST_STOPS: f64 = 0.042_6;
/// A balance of a light of nature lies so near to the black-body or the daylight locus, in stops
/// over both ratios of channels (ours: matrices are that good). Two distances that differ by less
/// tell nothing, since an error of the matrix may make up the difference.
const ON_LOCUS_STOPS: f64 = 0.1;
/// Lights that people make, and matrices of other bodies, stay so near to them (ours).
const NEAR_LOCUS_STOPS: f64 = 0.2;
/// Both loci are reckoned at so many points, from deep shade to candles, and straight between them.
const LOCUS_MIRED: (f64, f64) = (40.0, 600.0);
const LOCUS_STEPS: usize = 57;
/// The daylight locus is defined from 4000 to 25000 K (CIE 15).
const DAYLIGHT_KELVIN: std::ops::RangeInclusive<f64> = 4000.0..=25_000.0;
/// Rounds in which the matrix, which depends on the light, settles.
const ROUNDS: usize = 12;

/// How the camera came by its balance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Balance {
    /// The camera's own judgement.
    Automatic,
    /// A preset: daylight, cloudy, tungsten and so on.
    Preset,
    /// By hand: measured from something, or a temperature.
    ByHand,
    /// The file does not tell.
    Unknown,
}

impl Balance {
    /// From Exif WhiteBalance (0 automatic, 1 manual) and LightSource (Exif 2.32, 4.6.5; 0 unknown
    /// and 255 other are no presets).
    #[must_use]
    pub fn of(white_balance: Option<u16>, light_source: Option<u16>) -> Self {
        match (white_balance, light_source) {
            (Some(0), _) => Self::Automatic,
            (_, Some(1..=24)) => Self::Preset,
            (Some(1), _) => Self::ByHand,
            _ => Self::Unknown,
        }
    }
}

/// Why the balance in the photograph cannot be the start of a correction.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NotAsShot {
    /// None recorded.
    #[error("the file records no balance")]
    None,
    /// Automatic.
    #[error("the balance was automatic and has taken part of the cast out already")]
    Automatic,
    /// Nearer to the filtered neutral.
    #[error("this balance was probably set through the filter and has taken the cast out already")]
    ThroughFilter,
    /// Nothing decides.
    #[error("nothing tells whether this balance was set through the filter")]
    Undecided,
}

impl NotAsShot {
    /// When a person may say that the balance is that of the bare light after all; `None` where there is
    /// none.
    #[must_use]
    pub fn unless(self) -> Option<&'static str> {
        match self {
            Self::None => None,
            Self::Automatic => Some("it was locked without the filter"),
            Self::ThroughFilter => Some("it was not"),
            Self::Undecided => Some("it was set without the filter"),
        }
    }
}

/// The neutral behind a filter whose channel transmittances are known up to a common factor.
#[must_use]
pub fn through(light: [f64; 3], transmittance: [f64; 3]) -> [f64; 3] {
    let raw: [f64; 3] = std::array::from_fn(|c| light[c] * transmittance[c]);
    raw.map(|v| v / raw[1])
}

/// The neutral (green = 1) of the light of nature or lamp of this temperature through the camera's
/// matrices, see [`natural_xy`]; `None` without usable matrices.
#[must_use]
pub fn of_kelvin(kelvin: Kelvin, matrices: &[ColourMatrix]) -> Option<[f64; 3]> {
    of_xy(natural_xy(kelvin), matrices)
}

fn planckian_xy(kelvin: Kelvin) -> [f64; 2] {
    let [u, v] = planckian_uv(kelvin.mired());
    let below = 2.0 * u - 8.0 * v + 4.0;
    // CIE 15: xy from the uv of 1960.
    [3.0 * u / below, 2.0 * v / below]
}

/// Chromaticity of the light of nature or lamp that has this temperature: a phase of daylight where
/// there is one, else a black body.
#[must_use]
pub fn natural_xy(kelvin: Kelvin) -> [f64; 2] {
    if DAYLIGHT_KELVIN.contains(&kelvin.get()) {
        daylight_xy(kelvin.get())
    } else {
        planckian_xy(kelvin)
    }
}

fn of_xy(xy: [f64; 2], matrices: &[ColourMatrix]) -> Option<[f64; 3]> {
    let xyz = Xyz::from_xy(xy);
    let mut neutral = [0.5, 1.0, 0.6];
    for _ in 0..ROUNDS {
        let after = FrozenMatrix::at(neutral, matrices)?.neutral_of(xyz);
        let before = std::mem::replace(&mut neutral, after);
        if neutral == before {
            break;
        }
    }
    neutral.iter().all(|v| v.is_finite() && *v > 0.0).then_some(neutral)
}

/// How far, on the mired scale, a filter with these raw gains moves a light of nature of so many kelvin,
/// as a camera with this matrix (row-major, XYZ to camera) sees it; `None` where that is no light.
#[must_use]
pub fn shift_of(light: Kelvin, gains: [f64; 3], xyz_to_camera: &[f64; 9]) -> Option<Mired> {
    let matrix =
        ColourMatrix { illuminant: None, xyz_to_camera: *xyz_to_camera, source: String::new() };
    let bare = of_xy(natural_xy(light), std::slice::from_ref(&matrix))?;
    let filtered = through(bare, gains.map(|g| 1.0 / g));
    let of = |neutral| self::light(neutral, std::slice::from_ref(&matrix));
    Some(of(filtered)?.cct_k.mired() - of(bare)?.cct_k.mired())
}

/// Colour temperature and Duv that a neutral stands for.
#[must_use]
pub fn light(neutral: [f64; 3], matrices: &[ColourMatrix]) -> Option<Light> {
    light_of(FrozenMatrix::at(neutral, matrices)?.white())
}

/// Whether the balance recorded in a photograph is that of the light without the filter.
///
/// `bare` holds neutrals of the light known otherwise; without any, natural lights through the
/// matrices take their place.
///
/// # Errors
/// Where it is not, or nothing tells: a cast must never be taken out twice.
pub fn as_shot(
    recorded: Option<[f64; 3]>,
    balance: Balance,
    transmittance: [f64; 3],
    bare: &[[f64; 3]],
    matrices: &[ColourMatrix],
) -> Result<[f64; 3], NotAsShot> {
    let recorded = recorded.ok_or(NotAsShot::None)?;
    let cast = distance(through([1.0; 3], transmittance), [1.0; 3]);
    if cast <= NO_CAST_STOPS || balance == Balance::Preset {
        return Ok(recorded);
    }
    if balance == Balance::Automatic {
        return Err(NotAsShot::Automatic);
    }
    if bare.is_empty() {
        return by_loci(recorded, transmittance, &loci(matrices)).map(|()| recorded);
    }
    let nearest = |filter: [f64; 3]| {
        let all = bare.iter().map(|&light| distance(recorded, through(light, filter)));
        all.fold(f64::INFINITY, f64::min)
    };
    let (to_bare, to_filtered) = (nearest([1.0; 3]), nearest(transmittance));
    if to_bare < to_filtered {
        Ok(recorded)
    } else if to_filtered < to_bare {
        Err(NotAsShot::ThroughFilter)
    } else {
        Err(NotAsShot::Undecided)
    }
}

/// Both loci must speak: this is a light of nature, and what it would be without the filter's cast
/// is none that anybody meets.
fn by_loci(
    recorded: [f64; 3],
    transmittance: [f64; 3],
    loci: &[Vec<[f64; 2]>],
) -> Result<(), NotAsShot> {
    let to_bare = to_loci(ratios(recorded), loci);
    let before: [f64; 3] = std::array::from_fn(|c| recorded[c] / transmittance[c]);
    let to_filtered = to_loci(ratios(before), loci);
    if to_bare <= ON_LOCUS_STOPS && to_filtered > NEAR_LOCUS_STOPS {
        Ok(())
    } else if to_bare - to_filtered > ON_LOCUS_STOPS {
        Err(NotAsShot::ThroughFilter)
    } else {
        Err(NotAsShot::Undecided)
    }
}

/// The black-body and the daylight locus, point by point, as ratios of channels.
fn loci(matrices: &[ColourMatrix]) -> Vec<Vec<[f64; 2]>> {
    let step = (LOCUS_MIRED.1 - LOCUS_MIRED.0) / (LOCUS_STEPS - 1) as f64;
    let kelvin = || (0..LOCUS_STEPS).map(|i| 1e6 / (LOCUS_MIRED.0 + step * i as f64));
    let point = |xy| of_xy(xy, matrices).map(ratios);
    let black_body = kelvin().filter_map(|k| point(planckian_xy(Kelvin::new(k))));
    let daylight = kelvin().filter(|k| DAYLIGHT_KELVIN.contains(k));
    vec![black_body.collect(), daylight.filter_map(|k| point(daylight_xy(k))).collect()]
}

/// Distance to the nearest place of all these lines, in stops; infinite without any.
fn to_loci(from: [f64; 2], lines: &[Vec<[f64; 2]>]) -> f64 {
    let along = |[a, b]: [[f64; 2]; 2]| {
        let (way, off) = ([b[0] - a[0], b[1] - a[1]], [from[0] - a[0], from[1] - a[1]]);
        let length2 = way[0] * way[0] + way[1] * way[1];
        let share =
            ((off[0] * way[0] + off[1] * way[1]) / length2.max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
        (off[0] - share * way[0]).hypot(off[1] - share * way[1])
    };
    let pairs = lines.iter().flat_map(|line| line.array_windows().copied());
    pairs.map(along).fold(f64::INFINITY, f64::min)
}

/// Chromaticity of a phase of daylight (CIE 15, D illuminants).
fn daylight_xy(kelvin: f64) -> [f64; 2] {
    let t = 1e3 / kelvin;
    let x = if kelvin <= 7000.0 {
        -4.6070 * t.powi(3) + 2.9678 * t.powi(2) + 0.09911 * t + 0.244063
    } else {
        -2.0064 * t.powi(3) + 1.9018 * t.powi(2) + 0.24748 * t + 0.237040
    };
    [x, -3.0 * x * x + 2.870 * x - 0.275]
}

/// Red and blue against green, in stops.
fn ratios(neutral: [f64; 3]) -> [f64; 2] {
    [(neutral[0] / neutral[1]).log2(), (neutral[2] / neutral[1]).log2()]
}

/// Distance of two neutrals in stops, over both ratios to green.
fn distance(a: [f64; 3], b: [f64; 3]) -> f64 {
    let (a, b) = (ratios(a), ratios(b));
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const WARM: [f64; 3] = [1.15, 1.0, 0.85];
    /// XYZ to linear sRGB (IEC 61966-2-1), standing for a camera.
    const SRGB: [f64; 9] =
        [3.2406, -1.5372, -0.4986, -0.9689, 1.8758, 0.0415, 0.0557, -0.2040, 1.0570];

    fn matrices() -> Vec<ColourMatrix> {
        vec![ColourMatrix { illuminant: Some(21), xyz_to_camera: SRGB, source: "file".into() }]
    }

    #[test]
    fn a_temperature_comes_back_as_itself() {
        for kelvin in [2856.0, 4000.0, 5500.0, 6500.0, 10_000.0] {
            let neutral = of_xy(planckian_xy(Kelvin::new(kelvin)), &matrices()).unwrap();
            let light = light(neutral, &matrices()).unwrap();
            assert!((light.cct_k.mired().get() - 1e6 / kelvin).abs() < 0.05, "{light:?}");
            assert!(light.duv.get().abs() < 1e-5);
        }
    }

    /// What a person means by 5500 K is daylight, by 2856 K a lamp: CIE 15:2018, chromaticities of D55,
    /// D65 and A (from memory); the temperatures are those of the same tables.
    #[test]
    fn a_temperature_is_that_of_daylight_or_of_a_lamp() {
        let published = [
            (5503.0, [0.332_43, 0.347_44]),
            (6504.0, [0.312_72, 0.329_03]),
            (2855.5, [0.447_58, 0.407_45]),
        ];
        for (kelvin, xy) in published {
            let found = of_kelvin(Kelvin::new(kelvin), &matrices()).unwrap();
            let known = of_xy(xy, &matrices()).unwrap();
            assert!(distance(found, known) < 0.002, "{kelvin}: {found:?}, {known:?}");
        }
    }

    /// A light on a locus is on it wherever it falls between the points that were reckoned.
    #[test]
    fn lights_between_the_points_of_a_locus_lie_on_it() {
        let loci = loci(&matrices());
        let mut far = 0.0f64;
        for mired in 45..240 {
            let kelvin = Kelvin::new(1e6 / f64::from(mired));
            for xy in [planckian_xy(kelvin), natural_xy(kelvin)] {
                far = far.max(to_loci(ratios(of_xy(xy, &matrices()).unwrap()), &loci));
            }
        }
        assert!(far < 0.001, "{far}");
        // Away from it across, the distance is what was added.
        let daylight = ratios(of_kelvin(Kelvin::new(5500.0), &matrices()).unwrap());
        let off = to_loci([daylight[0] + 1.0, daylight[1] + 1.0], &loci);
        assert!(off > 0.9 && off < 2.0f64.sqrt() + 1e-9, "{off}");
    }

    /// A weak cast moves a balance by less than a matrix may be wrong: no distance decides, however the
    /// points of the loci happen to lie, and nobody is told that it "probably" was one or the other.
    #[test]
    fn what_is_finer_than_the_matrix_decides_nothing() {
        let weak: [f64; 3] = [(-0.029f64).exp2(), 1.0, (-0.0569f64).exp2()];
        let none: [f64; 3] = [(-0.0255f64).exp2(), 1.0, (-0.0332f64).exp2()];
        for kelvin in (4200..9000).step_by(411) {
            let light = of_kelvin(Kelvin::new(f64::from(kelvin)), &matrices()).unwrap();
            for recorded in [light, through(light, weak)] {
                let asked = as_shot(Some(recorded), Balance::ByHand, weak, &[], &matrices());
                assert_eq!(asked, Err(NotAsShot::Undecided), "{kelvin} K");
            }
            // 2.3 %: even twice it is less than anything is held to.
            assert_eq!(
                as_shot(Some(light), Balance::ByHand, none, &[], &matrices()),
                Ok(light),
                "{kelvin} K"
            );
        }
    }

    #[test]
    fn the_filter_multiplies_the_neutral() {
        let neutral = through([0.5, 1.0, 0.65], [0.0022, 0.0020, 0.0018]);
        // 0.5 x 1.1, 1, 0.65 x 0.9
        for (found, planted) in neutral.iter().zip([0.55, 1.0, 0.585]) {
            assert!((found - planted).abs() < 1e-12);
        }
    }

    #[test]
    fn automatic_balance_and_balance_through_the_filter_are_refused() {
        let bare = [0.5, 1.0, 0.65];
        let ask = |recorded, balance| as_shot(recorded, balance, WARM, &[bare], &matrices());
        assert_eq!(ask(Some(bare), Balance::Automatic), Err(NotAsShot::Automatic));
        assert_eq!(ask(Some(through(bare, WARM)), Balance::ByHand), Err(NotAsShot::ThroughFilter));
        assert_eq!(ask(Some(bare), Balance::ByHand), Ok(bare));
        assert_eq!(ask(Some(bare), Balance::Preset), Ok(bare));
        assert_eq!(ask(None, Balance::Preset), Err(NotAsShot::None));
    }

    #[test]
    fn without_a_bare_frame_natural_light_decides_or_nothing_does() {
        let daylight = of_kelvin(Kelvin::new(5600.0), &matrices()).unwrap();
        let ask = |recorded, cast| as_shot(Some(recorded), Balance::ByHand, cast, &[], &matrices());
        // A magenta cast leads away from the lights of nature, so both cases are told apart.
        let magenta = [1.25, 1.0, 1.25];
        assert_eq!(ask(daylight, magenta), Ok(daylight));
        assert_eq!(ask(through(daylight, magenta), magenta), Err(NotAsShot::ThroughFilter));
        // A filter that works like a warmer lamp gives no clue.
        let lamp = of_kelvin(Kelvin::new(4700.0), &matrices()).unwrap();
        let warmer: [f64; 3] = std::array::from_fn(|c| lamp[c] / daylight[c]);
        assert_eq!(ask(daylight, warmer), Err(NotAsShot::Undecided));
        assert!(ask(through(daylight, warmer), warmer).is_err());
        // Without a cast there is nothing to take out twice.
        assert_eq!(ask(daylight, [1.001, 1.0, 0.999]), Ok(daylight));
    }

    /// Chromaticities of illuminants: CIE 15:2018, tables T.3 and T.8.1 and following (from memory).
    const LIGHTS: [[f64; 2]; 11] = [
        [0.44758, 0.40745], // A
        [0.34567, 0.35850], // D50
        [0.33242, 0.34743], // D55
        [0.31272, 0.32903], // D65
        [0.29902, 0.31485], // D75
        [0.27, 0.275],      // shade of some 12000 K, beside the locus
        [0.37208, 0.37529], // F2
        [0.31292, 0.32933], // F7
        [0.38052, 0.37713], // F11
        [0.4560, 0.4078],   // LED-B1
        [0.3756, 0.3723],   // LED-B3
    ];

    #[test]
    fn no_light_and_no_filter_lets_a_cast_be_taken_out_twice() {
        let filters = [
            [1.10, 1.0, 0.92],
            [0.90, 1.0, 1.10],
            [1.20, 1.0, 1.15],
            [0.85, 1.0, 0.90],
            [1.05, 1.0, 1.02],
            [1.30, 1.0, 0.75],
        ];
        let mut known = 0;
        for xy in LIGHTS {
            let light = of_xy(xy, &matrices()).unwrap();
            for filter in filters {
                let ask =
                    |recorded| as_shot(Some(recorded), Balance::ByHand, filter, &[], &matrices());
                let twice = ask(through(light, filter));
                assert!(twice.is_err(), "{xy:?} {filter:?}");
                known += usize::from(ask(light).is_ok());
            }
        }
        assert!(known > 8, "only {known} of 66 balances of the bare light are known as such");
    }

    #[test]
    fn the_daylight_locus_is_the_published_one() {
        // CIE 15: D65 is the phase of daylight of 6504 K; D50 of 5003 K.
        for (kelvin, xy) in [(6504.0, [0.3127, 0.3290]), (5003.0, [0.3457, 0.3585])] {
            for (found, published) in daylight_xy(kelvin).into_iter().zip(xy) {
                assert!((found - published).abs() < 2e-4, "{kelvin}: {found}");
            }
        }
    }

    #[test]
    fn exif_tells_how_the_balance_was_made() {
        assert_eq!(Balance::of(Some(0), Some(0)), Balance::Automatic);
        assert_eq!(Balance::of(Some(1), Some(10)), Balance::Preset);
        assert_eq!(Balance::of(Some(1), Some(255)), Balance::ByHand);
        assert_eq!(Balance::of(None, None), Balance::Unknown);
    }
}
