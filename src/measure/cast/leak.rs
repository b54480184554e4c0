//! What a leak of deep red or near infrared may hide from three channels.
//!
//! A camera's red channel ends where its infrared cut does, the eye's red a little later, and the cut
//! lets some infrared through: of one leak the two see unlike shares, and no three numbers tell which.
//! What that comes to was computed from spectra: cameras with cuts at 640 to 705 nm that pass 3e-6 to
//! 6e-3 of the infrared, filters of 2 to 12 stops that are grey to the eye and let through 2 to 6
//! stops more from 650 to 720 nm on, in illuminant A, D50, D65 and a white LED, seen by the CIE 1931
//! observer (CIE 015). Errors there grow along with what red is lifted by, either way; without any
//! lift there still is the leak that lies beyond the cut. The limits below hold 95 % of them.

use crate::quantity::Mired;

/// Weaker filters have no leak to speak of, in stops (ours).
pub(super) const LEAK_FROM: f64 = 1.5;
/// Red lighter than green by less than this is no sign of a leak, in stops (ours): what it may hide is in
/// the uncertainty.
const LEAK_RED: f64 = 0.02;
/// A leak of red lifts red alone. A slope of the whole spectrum moves blue against green as much as
/// green against red (0.8 to 1.9 of it over computed spectra), a magenta one the other way (-0.74 and
/// below); leaks lie at -0.66 to -0.07. Limits between (ours).
const LEAK_BLUE: std::ops::Range<f64> = -0.7..0.6;
/// Of a slope, blue against green is so much of green against red: the middle of 0.8 to 1.9.
const SLOPE_BLUE: f64 = 1.3;
/// What lies beyond the cut, where red shows nothing: half of what 95 % of computed leaks hide, in
/// mired in daylight of 154 mired. Both the red in a light and the mired that it is worth grow about
/// as its own mired do: 4 in D65, 6 in D50, 18 in illuminant A.
const HIDDEN_MIRED: f64 = 3.5;
const HIDDEN_DUV: f64 = 0.0015;
/// Daylight of 6504 K (CIE 015).
pub(super) const D65: Mired = Mired::new(153.8);
/// What is seen may be worth less or more to the eye, a stop of lift: in mired, Duv and stops of
/// luminance. Half of what 95 % of computed leaks are off by.
const SEEN_MIRED: f64 = 150.0;
const SEEN_DUV: f64 = 0.03;
const SEEN_STOPS: f64 = 0.4;

/// Standard uncertainties that a leak adds to what is told for the eye.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Open {
    /// Of the shift of warmth, in mired.
    pub mired: f64,
    /// Of the shift across the locus, Duv.
    pub duv: f64,
    /// Of the strength for the eye, in stops.
    pub visual_stops: f64,
}

/// Whether a neutral that leaks deep red could have these strengths of red, green and blue, in stops.
/// Under a weak infrared cut blue may be lifted along with red, as by a magenta filter: of that no
/// word, but [`open`] holds it.
#[must_use]
pub fn leak_possible([red, green, blue]: [f64; 3]) -> bool {
    let lift = green - red;
    green >= LEAK_FROM && lift > LEAK_RED && LEAK_BLUE.contains(&((blue - green) / lift))
}

/// What a leak may hide behind these strengths of red, green and blue, in stops, in this light.
#[must_use]
pub fn open(stops: [f64; 3], light: Mired) -> Open {
    if stops[1] < LEAK_FROM {
        return Open::default();
    }
    let [unseen, seen] = open_mired(stops, light);
    let lift = lift(stops);
    Open {
        mired: unseen.hypot(seen),
        duv: HIDDEN_DUV.hypot(SEEN_DUV * lift),
        visual_stops: SEEN_STOPS * lift,
    }
}

/// Of [`Open::mired`] what lies beyond the infrared cut, and what red is lifted by: each off by the same
/// share however often one model of camera sees one filter in one light.
#[must_use]
pub fn open_mired(stops: [f64; 3], light: Mired) -> [f64; 2] {
    if stops[1] < LEAK_FROM {
        return [0.0; 2];
    }
    let redder = (light.get() / D65.get()).powi(2);
    [HIDDEN_MIRED * redder, SEEN_MIRED * lift(stops)]
}

/// Stops by which red is lighter than green, but for those that a slope explains by what it does to blue.
fn lift([red, green, blue]: [f64; 3]) -> f64 {
    (green - red - (blue - green).max(0.0) / SLOPE_BLUE).max(0.0)
}
