//! The colour cast: what a filter does to a neutral, from the strengths of the three channels.
//!
//! The gains need no colour matrix and are the primary result. Everything for the eye goes through
//! the camera's matrix, which bounds what may be claimed: the standard uncertainties below stand
//! for metamerism between the camera and the eye (from spectra of real neutral filters seen by
//! real cameras), and [`leak`] for what a leak of deep red may hide from the camera.

pub mod leak;
pub mod words;

use super::colour::{self, FrozenMatrix, Xyz, light_of};
use super::strength::ChannelStrengths;
use crate::caution::Caution;
use crate::frame::ColourMatrix;
use crate::measured::{Measured, NotAMeasurement};
use crate::profile::{Light, MatrixRecord};
use crate::quantity::{Duv, Kelvin, Mired, Quantity, Ratio, Stops};

/// Below this the bare light counts as tungsten.
pub const TUNGSTEN_BELOW: Kelvin = Kelvin::new(3500.0);
/// Beyond this a light has no colour temperature worth the name (CIE 15).
pub const WHITE_WITHIN: Duv = Duv::new(0.05);
/// Channels farther apart than this are a strong cast (ours).
pub const STRONG_CAST: Stops = Stops::new(0.5);
/// What a matrix may claim, as standard uncertainties.
const U_DUV: f64 = 0.0015;
const U_LUMINANCE_STOPS: f64 = 0.03;
/// Step of the numerical derivative by a channel's strength, in stops.
const STEP_STOPS: f64 = 1e-3;

/// What a cast comes to.
#[derive(Clone, Debug, PartialEq)]
pub struct CastResult {
    /// Red and blue less green: raw gains are 2 to these powers.
    pub gains: [Measured<Stops>; 2],
    /// Shift of the light on the mired scale; positive is warmer.
    pub mired_shift: Option<Measured<Mired>>,
    /// Shift across the Planckian locus; positive is greener.
    pub duv_shift: Option<Measured<Duv>>,
    /// CIELAB of a neutral behind the filter, the bare light as white, at L* = 50.
    pub lab: Option<[f64; 3]>,
    /// CIEDE2000 of that neutral against the uncast one.
    pub delta_e_2000: Option<Ratio>,
    /// Plain words.
    pub words: String,
    /// The bare light; absent without a matrix or too far from white.
    pub light: Option<Light>,
    /// Strength for the eye.
    pub visual: Option<Measured<Stops>>,
    /// The matrix, frozen at the bare light.
    pub matrix: Option<MatrixRecord>,
    /// What is doubtful.
    pub cautions: Vec<Caution>,
}

/// Cast of a filter with these channel strengths, in a bare light in which the camera sees a
/// neutral as `bare_neutral` (red / green, 1, blue / green).
///
/// # Errors
/// Where the strengths are not finite.
pub fn cast(
    channels: &ChannelStrengths,
    bare_neutral: [f64; 3],
    matrices: &[ColourMatrix],
) -> Result<CastResult, NotAMeasurement> {
    let mut cautions = Vec::new();
    let [r, g, b] = channels.stops;
    if r.max(g).max(b) - r.min(g).min(b) > STRONG_CAST.get() {
        cautions.push(Caution::StrongCast);
    }
    if leak::leak_possible(channels.stops) {
        cautions.push(Caution::RedLeakPossible { red: Stops::new(g - r) });
    }
    let mut result = CastResult {
        gains: [channels.difference(0, 1)?, channels.difference(2, 1)?],
        mired_shift: None,
        duv_shift: None,
        lab: None,
        delta_e_2000: None,
        words: words::from_channels(channels.stops.map(Stops::new)),
        light: None,
        visual: None,
        matrix: None,
        cautions,
    };
    match FrozenMatrix::at(bare_neutral, matrices) {
        Some(matrix) => through_matrix(&mut result, channels, bare_neutral, &matrix),
        None => result.cautions.push(Caution::NoColourMatrix),
    }
    Ok(result)
}

/// The filter's effect for the eye at given channel strengths.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Effect {
    /// CCT and Duv behind the filter; absent beyond the ends of the locus.
    pub light: Option<Light>,
    /// Strength in luminance.
    pub visual: Stops,
    /// CIELAB of a neutral, the bare light as white, L* = 50.
    pub lab: [f64; 3],
    /// Colour difference CIEDE2000 (CIELAB units) of it against the uncast neutral.
    pub delta_e: f64,
}

/// Effect of a change from one light to another, both in XYZ of one scale; `None` where the second
/// is no light.
#[must_use]
pub fn effect(filtered: Xyz, white: Xyz) -> Option<Effect> {
    let tau = filtered.0[1] / white.0[1];
    if !(tau.is_finite() && tau > 0.0) {
        return None;
    }
    let lab = colour::neutral_lab(filtered, white);
    Some(Effect {
        light: light_of(filtered),
        visual: Stops::from_transmittance(Ratio::new(tau)),
        lab,
        delta_e: colour::ciede2000(lab, [lab[0], 0.0, 0.0]),
    })
}

/// Standard uncertainty that the matrix adds to a mired shift: smooth spectra are right within 3 % of it in
/// daylight and 5 % in lamp light (largest deviations over computed spectra). Warm shifts come out too
/// small where the filter passes red that the camera cuts: of filters that may leak [`leak::open`] holds
/// that; of weaker ones a tenth in daylight and a fifth in lamp light does.
#[must_use]
pub fn matrix_u_mired(shift: Mired, bare: &Light, stops: [f64; 3]) -> Mired {
    let [fixed, shared] = matrix_mired(shift, bare, stops);
    Mired::new(fixed.hypot(shared))
}

/// What no three numbers tell of a mired shift, in mired: what the matrix is off by, fixed and as a share
/// of the shift, and what a leak may hide, unseen and seen. One standard deviation of each cause, which
/// is off by the same however often one model of camera sees one filter in one light.
#[must_use]
pub fn untold_mired(shift: Mired, bare: &Light, stops: [f64; 3]) -> [f64; 4] {
    let [fixed, shared] = matrix_mired(shift, bare, stops);
    let [unseen, seen] = leak::open_mired(stops, bare.cct_k.mired());
    [fixed, shared, unseen, seen]
}

fn matrix_mired(shift: Mired, bare: &Light, stops: [f64; 3]) -> [f64; 2] {
    let warm_and_weak = stops[0] < stops[1] && stops[1] < leak::LEAK_FROM;
    let (floor, share) = match (bare.cct_k < TUNGSTEN_BELOW, warm_and_weak) {
        (true, true) => (3.0, 0.2),
        (true, false) => (3.0, 0.05),
        (false, true) => (1.5, 0.10),
        (false, false) => (1.5, 0.03),
    };
    [floor, share * shift.get()]
}

fn through_matrix(
    result: &mut CastResult,
    channels: &ChannelStrengths,
    neutral: [f64; 3],
    matrix: &FrozenMatrix,
) {
    result.matrix = Some(matrix.record());
    let behind = |stops: [f64; 3]| {
        // Relative to green: no underflow, and a scale of our own for the luminance.
        let camera =
            std::array::from_fn(|c| neutral[c] / neutral[1] * (stops[1] - stops[c]).exp2());
        let mut effect = effect(matrix.xyz(camera), matrix.white())?;
        effect.visual = effect.visual + Stops::new(stops[1]);
        Some(effect)
    };
    let Some(centre) = behind(channels.stops) else {
        result.cautions.push(Caution::LightTooColoured);
        return;
    };
    let spread = |of: &dyn Fn(&Effect) -> Option<f64>| propagated(channels, &behind, of);
    result.lab = Some(centre.lab);
    result.delta_e_2000 = Some(Ratio::new(centre.delta_e));
    let bare = light_of(matrix.white()).filter(|light| light.duv.abs() <= WHITE_WITHIN);
    // Of a light of no known colour, as daylight's.
    let light = bare.map_or(leak::D65, |light| light.cct_k.mired());
    let open = leak::open(channels.stops, light);
    let u = spread(&|e| Some(e.visual.get())).unwrap_or(0.0);
    let u = u.hypot(U_LUMINANCE_STOPS).hypot(open.visual_stops);
    result.visual = bounded(centre.visual, u);
    let Some(bare) = bare else {
        result.cautions.push(Caution::LightTooColoured);
        return;
    };
    if bare.cct_k < TUNGSTEN_BELOW {
        result.cautions.push(Caution::TungstenLight);
    }
    result.light = Some(bare);
    let Some(light) = centre.light.filter(|light| light.duv.abs() <= WHITE_WITHIN) else {
        return;
    };
    let mired = light.cct_k.mired() - bare.cct_k.mired();
    let u = spread(&|e| Some(e.light.as_ref()?.cct_k.mired().get())).unwrap_or(0.0);
    let u = u.hypot(matrix_u_mired(mired, &bare, channels.stops).get()).hypot(open.mired);
    result.mired_shift = bounded(mired, u);
    let duv = light.duv - bare.duv;
    let u = spread(&|e| Some(e.light.as_ref()?.duv.get())).unwrap_or(0.0);
    result.duv_shift = bounded(duv, u.hypot(U_DUV).hypot(open.duv));
    result.words = words::of(mired, duv, centre.delta_e);
}

/// A figure through the matrix, whose share of the uncertainty is taken as known.
fn bounded<Q: Quantity>(value: Q, u: f64) -> Option<Measured<Q>> {
    Measured::new(value, u, f64::INFINITY).ok()
}

/// First-order propagation of the channels' covariance (JCGM 102) by central differences.
fn propagated(
    channels: &ChannelStrengths,
    behind: &dyn Fn([f64; 3]) -> Option<Effect>,
    of: &dyn Fn(&Effect) -> Option<f64>,
) -> Option<f64> {
    let mut slope = [0.0; 3];
    for (c, slope) in slope.iter_mut().enumerate() {
        let moved = |by: f64| {
            let mut stops = channels.stops;
            stops[c] += by;
            behind(stops).as_ref().and_then(of)
        };
        *slope = (moved(STEP_STOPS)? - moved(-STEP_STOPS)?) / (2.0 * STEP_STOPS);
    }
    let mut variance = 0.0;
    for (i, row) in channels.covariance.iter().enumerate() {
        for (j, cov) in row.iter().enumerate() {
            variance += slope[i] * cov * slope[j];
        }
    }
    Some(variance.max(0.0).sqrt())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const CAMERA: [f64; 9] = [0.97, -0.25, -0.09, -0.50, 1.20, 0.25, -0.19, 0.28, 0.69];

    fn matrices() -> [ColourMatrix; 1] {
        [ColourMatrix { illuminant: Some(21), xyz_to_camera: CAMERA, source: "file".into() }]
    }

    fn strengths(stops: [f64; 3], covariance: [[f64; 3]; 3]) -> ChannelStrengths {
        ChannelStrengths {
            stops,
            covariance,
            dof: [f64::INFINITY; 3],
            difference_dof: f64::INFINITY,
        }
    }

    /// Camera RGB of daylight (x, y of D65) through the matrix, worked row by row.
    fn daylight() -> [f64; 3] {
        let xyz = [0.950_43, 1.0, 1.088_80];
        let rgb: [f64; 3] =
            std::array::from_fn(|r| (0..3).map(|c| CAMERA[3 * r + c] * xyz[c]).sum());
        rgb.map(|v| v / rgb[1])
    }

    #[test]
    fn a_grey_filter_changes_nothing_but_the_light() {
        let result = cast(&strengths([10.0; 3], [[0.0; 3]; 3]), daylight(), &matrices()).unwrap();
        assert_eq!(result.words, "neutral");
        assert!((result.light.unwrap().cct_k.get() - 6504.0).abs() < 3.0);
        assert!(result.mired_shift.unwrap().value().abs().get() < 1e-6);
        assert!((result.visual.unwrap().value().get() - 10.0).abs() < 1e-12);
        assert!(result.delta_e_2000.unwrap().get() < 1e-6);
        assert_eq!(result.gains[0].value().get(), 0.0);
        // The matrix's own 1.5 mired, 0.0015 and 0.03 stop, with the 3.5 mired and 0.0015 that a leak
        // beyond the infrared cut may hide in such light.
        assert!((result.mired_shift.unwrap().u().get() - 1.5_f64.hypot(3.5)).abs() < 0.01);
        assert!((result.duv_shift.unwrap().u().get() - 0.0015_f64.hypot(0.0015)).abs() < 1e-9);
        assert!((result.visual.unwrap().u().get() - 0.03).abs() < 1e-9);
        assert!(result.cautions.is_empty(), "{:?}", result.cautions);
    }

    #[test]
    fn gains_undo_the_cast_and_share_the_doubt() {
        // 0.01 stop of noise a channel, 0.05 stop in common: the latter cancels.
        let mut covariance = [[0.0025; 3]; 3];
        (0..3).for_each(|i| covariance[i][i] += 0.0001);
        let channels = strengths([10.5, 10.0, 9.0], covariance);
        let [red, blue] = cast(&channels, daylight(), &matrices()).unwrap().gains;
        assert_eq!((red.value().get(), blue.value().get()), (0.5, -1.0));
        // 1.96 x sqrt(2) x 0.01 stop.
        for gain in [red, blue] {
            assert!((gain.u95().get() - 0.027_718).abs() < 1e-5, "{gain:?}");
        }
    }

    #[test]
    fn common_doubt_reaches_the_strength_but_not_the_colour() {
        let common = cast(&strengths([10.0; 3], [[0.01; 3]; 3]), daylight(), &matrices()).unwrap();
        // 0.1 stop with the matrix's 0.03.
        assert!((common.visual.unwrap().u().get() - 0.1f64.hypot(0.03)).abs() < 1e-6);
        // 1.5 of the matrix, 3.5 of what a leak may hide.
        assert!((common.mired_shift.unwrap().u().get() - 1.5_f64.hypot(3.5)).abs() < 0.01);
        let mut alone = [[0.0; 3]; 3];
        alone[2][2] = 0.01;
        let blue = cast(&strengths([10.0; 3], alone), daylight(), &matrices()).unwrap();
        assert!(blue.mired_shift.unwrap().u().get() > 5.0);
    }

    #[test]
    fn cautions_say_what_is_doubtful() {
        let none = [[0.0; 3]; 3];
        let bare = cast(&strengths([9.6, 10.0, 10.2], none), daylight(), &[]).unwrap();
        // Red that passes 0.4 stop more through ten stops may be a leak of far red.
        assert!(
            matches!(
                bare.cautions[..],
                [Caution::StrongCast, Caution::RedLeakPossible { .. }, Caution::NoColourMatrix]
            ),
            "{:?}",
            bare.cautions
        );
        assert!(bare.light.is_none() && bare.mired_shift.is_none());
        assert!(bare.words.contains("warm"), "{}", bare.words);
        let zero =
            [ColourMatrix { illuminant: None, xyz_to_camera: [0.0; 9], source: "file".into() }];
        assert_eq!(
            cast(&strengths([10.0; 3], none), daylight(), &zero).unwrap().cautions,
            [Caution::NoColourMatrix]
        );
        let [r, _, b] = daylight();
        let warm = cast(&strengths([10.0; 3], none), [2.6 * r, 1.0, 0.4 * b], &matrices()).unwrap();
        assert!(warm.cautions.contains(&Caution::TungstenLight), "{warm:?}");
        let odd = cast(&strengths([10.0; 3], none), [0.3 * r, 1.0, 0.3 * b], &matrices()).unwrap();
        assert_eq!(odd.cautions, [Caution::LightTooColoured]);
        assert!(odd.light.is_none() && odd.mired_shift.is_none());
        let nothing = cast(&strengths([10.0; 3], none), [0.0, 1.0, 1.0], &matrices()).unwrap();
        assert_eq!(nothing.cautions, [Caution::NoColourMatrix]);
    }
}
