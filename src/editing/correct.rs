//! Profiles and a photograph's light to the numbers that take the filter out.

use super::evenness::Through;
use super::white;
use crate::frame::ColourMatrix;
use crate::profile::{Gains, Kind, Light, Profile, Setting};
use crate::quantity::Quantity;

/// Light this far from the profile's makes the cast less certain, in mired.
const OTHER_LIGHT_MIRED: f64 = 100.0;

/// The cast of one filter or stack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cast {
    /// Transmittances relative to green.
    pub transmittance: [f64; 3],
    /// Standard uncertainty of red and blue against green, in stops.
    pub u_stops: [f64; 2],
}

/// What is done to one photograph's balance.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// The new neutral, green = 1: AsShotNeutral.
    pub neutral: [f64; 3],
    /// Multipliers for raw values that take out the cast alone.
    pub gains: [f64; 3],
    /// The light without the filters that was taken; unknown without a matrix.
    pub before: Option<Light>,
    /// What the new neutral stands for: the setting that makes neutrals neutral.
    pub after: Option<Light>,
}

/// The setting of a profile that a photograph was made at: the mark's, or the only one; `None`
/// where the mark is not known.
///
/// # Errors
/// The marks there are, where the given one is not among them.
pub fn setting<'a>(
    profile: &'a Profile,
    mark: Option<&str>,
) -> Result<Option<&'a Setting>, Vec<&'a str>> {
    let Some(mark) = mark.filter(|m| !m.is_empty()) else {
        return Ok(if profile.settings.len() == 1 { profile.settings.first() } else { None });
    };
    match profile.settings.iter().find(|s| s.mark.as_deref() == Some(mark)) {
        Some(setting) => Ok(Some(setting)),
        None => Err(profile.settings.iter().filter_map(|s| s.mark.as_deref()).collect()),
    }
}

/// The cast of everything in front of the lens: transmittances multiply, doubts add in quadrature.
/// A filter at an unknown mark counts with the mean of its marks and their spread.
#[must_use]
pub fn cast(through: &[Through<'_>]) -> Cast {
    let mut stops = [0.0; 2];
    let mut variance = [0.0; 2];
    for filter in through {
        let settings: Vec<&Setting> = match filter.setting {
            Some(one) => vec![one],
            None => filter.profile.settings.iter().collect(),
        };
        let count = settings.len().max(1) as f64;
        for channel in 0..2 {
            let gains: Vec<f64> = settings.iter().map(|s| gain_stops(s, channel)).collect();
            let mean = gains.iter().sum::<f64>() / count;
            let own = settings.iter().map(|s| u_stops(s, channel).powi(2)).sum::<f64>() / count;
            let spread = gains.iter().map(|g| (g - mean).powi(2)).sum::<f64>() / count;
            stops[channel] += mean;
            variance[channel] += own + spread;
        }
    }
    Cast {
        transmittance: [(-stops[0]).exp2(), 1.0, (-stops[1]).exp2()],
        u_stops: variance.map(f64::sqrt),
    }
}

/// What everything in front of the lens takes at least, in stops: a filter at an unknown mark counts with
/// its weakest.
#[must_use]
pub fn weakest(through: &[Through<'_>]) -> f64 {
    let least = |filter: &Through<'_>| {
        let settings = match filter.setting {
            Some(one) => std::slice::from_ref(one),
            None => filter.profile.settings.as_slice(),
        };
        let stops = settings.iter().map(|s| s.strength.stops.get());
        stops.min_by(f64::total_cmp).unwrap_or(0.0)
    };
    through.iter().map(least).sum()
}

/// The new balance of a photograph whose light without the filter has this neutral.
#[must_use]
pub fn balance(cast: &Cast, light: [f64; 3], matrices: &[ColourMatrix]) -> Correction {
    let neutral = white::through(light, cast.transmittance);
    Correction {
        neutral,
        gains: cast.transmittance.map(|t| 1.0 / t),
        before: white::light(light, matrices),
        after: white::light(neutral, matrices),
    }
}

/// What must be said where the profile was measured in another light or with another body.
#[must_use]
pub fn cautions(through: &[Through<'_>], light: Option<&Light>) -> Vec<String> {
    let mut said = Vec::new();
    for filter in through {
        let name = &filter.profile.filter.name;
        if let Some((measured, here)) = filter.profile.light.as_ref().zip(light) {
            let apart = (measured.cct_k.mired() - here.cct_k.mired()).abs().get();
            if apart > OTHER_LIGHT_MIRED {
                said.push(format!(
                    "{name:?} was measured in light of {:.0} K, this is {:.0} K ({apart:.0} mired \
                     apart): its cast may differ here; measure it in such light too",
                    measured.cct_k.get(),
                    here.cct_k.get()
                ));
            }
        }
        if !filter.same_camera {
            said.push(format!(
                "{name:?} was measured with {}: another camera sees its cast a little differently",
                filter.profile.camera.model.as_deref().unwrap_or("another camera")
            ));
        }
        if filter.profile.filter.kind == Kind::Graduated {
            said.push(format!(
                "{name:?} is graduated: the whole picture gets one gain for each channel, that of the \
                 frame's middle, and the clear part gets it too, whether or not it has a cast; look at \
                 both parts, and balance them one by one where the editor can"
            ));
        } else if filter.setting.is_none() {
            let [red, blue] = cast(std::slice::from_ref(filter)).u_stops;
            said.push(format!(
                "the mark of {name:?} is not known: the mean cast of its marks was taken, which may \
                 be off by {:.2} stop in red and {:.2} in blue; give --mark",
                2.0 * red,
                2.0 * blue
            ));
        }
    }
    said
}

fn channel(gains: &Gains, channel: usize) -> f64 {
    let wanted = if channel == 0 { gains.red } else { gains.blue };
    wanted.bare() / gains.green.bare()
}

fn gain_stops(setting: &Setting, index: usize) -> f64 {
    channel(&setting.cast.gains, index).log2()
}

/// Standard uncertainty of a gain in stops, from its expanded uncertainty.
fn u_stops(setting: &Setting, index: usize) -> f64 {
    let u95 = &setting.cast.gains_u95;
    let half = if index == 0 { u95.red } else { u95.blue }.bare() / 2.0;
    half / (channel(&setting.cast.gains, index) * std::f64::consts::LN_2)
}
