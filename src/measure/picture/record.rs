//! The result as a document.

use super::edge::{CURVE_STEP, EdgeFault};
use super::ghost::{GhostFound, Ghosts};
use super::ratio::{Estimate, RatioFound, StateMeans};
use super::sharpness::{EdgeResult, SharpnessResult};
use super::veil::Veil;
use crate::measured::coverage_factor;
use crate::profile::{GhostSpot, Mtf, PercentU95, RatioU95, Sharpness, VeilingGlare};
use crate::quantity::{Degrees, Percent, Ratio, Stops};

fn u95(e: &Estimate) -> f64 {
    coverage_factor(e.dof) * e.u
}

fn ratio(e: &Estimate) -> RatioU95 {
    RatioU95 { value: Ratio::new(e.value), u95: Ratio::new(u95(e)) }
}

fn percent(e: &Estimate) -> PercentU95 {
    PercentU95 { value: Percent::new(100.0 * e.value), u95: Percent::new(100.0 * u95(e)) }
}

/// A ratio from its natural logarithm.
#[must_use]
pub fn change(change: &RatioFound) -> RatioU95 {
    let value = change.ln.value.exp();
    RatioU95 { value: Ratio::new(value), u95: Ratio::new(value * u95(&change.ln)) }
}

fn mtf(means: &StateMeans, height: usize) -> Mtf {
    let point = |(k, e): (usize, &Estimate)| [k as f64 * CURVE_STEP, e.value, u95(e)];
    Mtf {
        mtf50: ratio(&means.mtf50),
        mtf50_per_height: Ratio::new(means.mtf50.value * height as f64),
        half_nyquist: ratio(&means.half),
        curve: means.curve.iter().enumerate().map(point).collect(),
    }
}

/// Place, in parts of width and height, as the picture is viewed (Exif orientation, CIPA DC-008, tag 0x0112) of a place as stored.
#[must_use]
pub fn viewed((x, y): (f64, f64), orientation: u8) -> (f64, f64) {
    let (x, y) = if (5..=8).contains(&orientation) { (y, x) } else { (x, y) };
    let x = if matches!(orientation, 2 | 3 | 6 | 7) { 1.0 - x } else { x };
    let y = if matches!(orientation, 3 | 4 | 7 | 8) { 1.0 - y } else { y };
    (x, y)
}

/// Which ninth of the picture a place lies in, in words.
#[must_use]
pub fn place_words((x, y): (f64, f64)) -> String {
    let part = |v: f64| ((v * 3.0) as usize).min(2);
    let words = match (part(y), part(x)) {
        (0, 0) => "top left",
        (0, 1) => "top",
        (0, 2) => "top right",
        (1, 0) => "left",
        (1, 2) => "right",
        (2, 0) => "bottom left",
        (2, 1) => "bottom",
        (2, 2) => "bottom right",
        _ => "centre",
    };
    words.to_owned()
}

/// One edge.
#[must_use]
pub fn edge(edge: &EdgeResult, found: &SharpnessResult, orientation: u8) -> Option<Sharpness> {
    let at = viewed(edge.at, orientation);
    Some(Sharpness {
        place: place_words(at),
        x_percent: Percent::new(100.0 * at.0),
        y_percent: Percent::new(100.0 * at.1),
        edge_angle: Degrees::new(edge.angle),
        bare: mtf(edge.bare.as_ref()?, found.height),
        filtered: edge.filtered.as_ref().map(|means| mtf(means, found.height)),
        ratio: edge.change.as_ref().map(change),
        half_nyquist_ratio: edge.half_change.as_ref().map(change),
    })
}

/// Why an edge was not measured, and what to do.
#[must_use]
pub fn fault_words(fault: &EdgeFault) -> String {
    match *fault {
        EdgeFault::NoEdge => {
            "no edge is there. Keep camera and target still between the frames.".into()
        }
        EdgeFault::Clipped { percent } => {
            format!("{percent:.1} % of its pixels are clipped. Give it a shorter time.")
        }
        EdgeFault::LowContrast { contrast } => format!(
            "its light side is only {contrast:.1} times as bright as its dark one. Use black ink on white \
             paper and keep reflections off the black."
        ),
        EdgeFault::Angle { degrees } => format!(
            "it stands at {degrees:.1} degrees to the rows of pixels. Turn the target by 3 to 10 degrees."
        ),
        EdgeFault::Small { along, beside } if along.is_finite() => format!(
            "it is too small ({along:.0} pixels long, {beside:.0} even pixels beside it). Move closer or \
             print the target larger."
        ),
        EdgeFault::Small { .. } => {
            "it is too small or too noisy. Move closer, or give it more light.".into()
        }
        EdgeFault::Blurred { rise } => format!(
            "it is out of focus ({rise:.0} pixels from dark to light). Focus on the target without the \
             filter, and leave it so."
        ),
        EdgeFault::Bent { sag } => {
            format!("it is bent by {sag:.1} pixels. Press the target flat, on glass or a board.")
        }
        EdgeFault::Uneven { percent } => format!(
            "the paper beside it is uneven by {percent:.0} % of the step. Light it evenly, without \
             shadows, and keep other things away from the edge."
        ),
    }
}

/// Veiling glare.
#[must_use]
pub fn veil(found: &Veil) -> VeilingGlare {
    VeilingGlare {
        bare: percent(&found.bare),
        filtered: percent(&found.filtered),
        added: percent(&found.added),
        shadow_lift_stops: Stops::new(found.lift.value),
        shadow_lift_u95: Stops::new(u95(&found.lift)),
        leak_taken_out: found.leak_taken_out,
    }
}

/// Ghosts.
#[must_use]
pub fn ghosts(found: &Ghosts, orientation: u8) -> Vec<GhostSpot> {
    let one = |spot: &GhostFound| {
        let at = viewed(spot.at, orientation);
        GhostSpot {
            x_percent: Percent::new(100.0 * at.0),
            y_percent: Percent::new(100.0 * at.1),
            stops: Stops::new(spot.stops.value),
            u95: Stops::new(u95(&spot.stops)),
        }
    };
    found.spots.iter().map(one).collect()
}
