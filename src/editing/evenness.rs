//! What the profile's maps say of evenness, carried to another view, as gains.
//!
//! Without more ado only the part that is even around the centre is taken out: the longer path of
//! oblique light in the glass, a function of the field angle alone. Tilt, saddle and cross depend on
//! how the filter sat; where they are so large that the picture may be the more uneven for it, nothing
//! is taken out.

mod radial;
mod sitting;
#[cfg(test)]
mod tests;

pub use radial::Radial;

use super::gain_map::GainMap;
use crate::profile::{Evenness, Kind, Profile, Setting};
use sitting::Alone;

/// Points of a gain map across and down: with these, bilinear interpolation of a fall of two stops
/// to the corner stays within 0.005 stop.
const COLUMNS: usize = 49;
const ROWS: usize = 33;
/// A gain beyond this raises more noise than light, in stops (ours).
pub const GAIN_LIMIT_STOPS: f64 = 2.0;
/// How much wider than measured a view may be before it is refused (ours).
const WIDER_VIEW: f64 = 1.05;
/// Focal lengths within this factor are one.
const SAME_FOCAL: f64 = 1.05;

/// How a photograph looks out, as far as known.
#[derive(Clone, Debug, PartialEq)]
pub struct View {
    /// Focal length in millimetres.
    pub focal_mm: Option<f64>,
    /// Active area in millimetres, width and height.
    pub sensor_mm: Option<(f64, f64)>,
    /// Active area in pixels, width and height.
    pub pixels: (usize, usize),
    /// Exif orientation.
    pub orientation: u8,
}

/// One filter of a photograph, its state known.
#[derive(Clone, Copy, Debug)]
pub struct Through<'a> {
    /// The profile.
    pub profile: &'a Profile,
    /// Its setting; `None` where the mark is unknown.
    pub setting: Option<&'a Setting>,
    /// Whether profile and photograph come from one camera model.
    pub same_camera: bool,
}

/// Which part of the unevenness is taken out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// What is even around the centre.
    Circular,
    /// All of it, as it was measured.
    AsMeasured,
}

impl Part {
    /// What was done, as notes, the table and the mark of the corrected file have it.
    #[must_use]
    pub fn done(self) -> &'static str {
        match self {
            Self::Circular => "circular part of the unevenness taken out",
            Self::AsMeasured => "unevenness taken out as it was measured",
        }
    }
}

/// A gain map and what must be said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct EvennessGains {
    /// What it takes out.
    pub part: Part,
    /// What depends on how the filters sat and stays in the picture, at most, in stops.
    pub stays_stops: f64,
    /// The gains, none below 1, so that clipped highlights stay white.
    pub map: GainMap,
    /// Largest gain in stops, after the limit.
    pub peak_stops: f64,
    /// By how much the whole picture was raised so that no gain is below 1, in stops; the exposure
    /// baseline takes it back.
    pub raised_stops: f64,
    /// What the limit left in the picture, in stops; 0 where it was not reached.
    pub left_in_stops: f64,
}

/// Why evenness is not taken out.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NotEvened {
    /// A graduated filter.
    #[error("{name:?} is graduated: its unevenness is what it is for")]
    Graduated {
        /// Filter.
        name: String,
    },
    /// A variable filter at an unknown mark.
    #[error("the mark of {name:?} is not known, and its unevenness depends on it; give --mark")]
    MarkUnknown {
        /// Filter.
        name: String,
    },
    /// Nothing to do.
    #[error("the light through {name:?} is even over this view: there is nothing to take out")]
    Even {
        /// Filter.
        name: String,
    },
    /// Cross, tilt and saddle outweigh the circular part.
    #[error(
        "the unevenness of {name:?} depends on how it sat ({rest:.2} stop, against {circular:.2} that \
         is even around the centre): with the latter alone taken out the picture may be more \
         uneven; {way}"
    )]
    Sitting {
        /// Filter.
        name: String,
        /// Stops.
        circular: f64,
        /// Stops.
        rest: f64,
        /// What can be done.
        way: String,
    },
    /// The profile has no maps.
    #[error("the profile of {name:?} holds no map of evenness; measure it from raw frames")]
    NoMap {
        /// Filter.
        name: String,
    },
    /// The photograph does not say.
    #[error("the photograph's focal length is not recorded, so its field angles are not known")]
    NoFocalLength,
    /// The profile does not say.
    #[error("the profile of {name:?} holds no focal length; measure again with --focal")]
    ProfileNoFocalLength {
        /// Filter.
        name: String,
    },
    /// Another camera whose size is not known.
    #[error("the sensor size is not known for both cameras, so field angles cannot be compared")]
    NoSensorSize,
    /// A wider view.
    #[error(
        "this view is wider than {name:?} was measured for ({asked:.0} against {measured:.0} degrees \
         from centre to corner); measure it with a lens as wide"
    )]
    WiderView {
        /// Filter.
        name: String,
        /// Degrees.
        measured: f64,
        /// Degrees.
        asked: f64,
    },
    /// `--mounted-alike` with another lens.
    #[error(
        "--mounted-alike needs the focal length of the profile: {measured:.0} mm, not {asked:.0} mm"
    )]
    OtherFocalLength {
        /// Millimetres.
        measured: f64,
        /// Millimetres.
        asked: f64,
    },
    /// `--mounted-alike` with the camera turned.
    #[error(
        "--mounted-alike needs the camera level as when {name:?} was measured, and only level \
         frames (orientation 1) can be told to be so"
    )]
    OtherOrientation {
        /// Filter.
        name: String,
    },
}

/// The gains that take the unevenness of all these filters out of one photograph.
///
/// # Errors
/// Every case in which the answer would be a guess; see [`NotEvened`].
pub fn gains(
    through: &[Through<'_>],
    view: &View,
    mounted_alike: bool,
) -> Result<EvennessGains, NotEvened> {
    let (mut stops, mut rest) = (flat(), [0.0; 3]);
    for filter in through {
        let evenness = evenness_of(filter)?;
        let field = Field::new(filter, view)?;
        if mounted_alike {
            add_map(&mut stops, filter, evenness, &field, view)?;
        } else {
            let own = add_radial(&mut stops, evenness, &field, view);
            (0..3).for_each(|c| rest[c] += own[c]);
        }
    }
    if mounted_alike {
        return Ok(limited(&stops, Part::AsMeasured, 0.0));
    }
    let circular = stops.each_ref().map(|map| sitting::range(map.iter().copied()));
    match sitting::alone(circular, rest) {
        Alone::Lessens => Ok(limited(&stops, Part::Circular, most(rest))),
        Alone::Nothing => Err(NotEvened::Even { name: names(through) }),
        Alone::MayWorsen => Err(NotEvened::Sitting {
            name: names(through),
            circular: most(circular),
            rest: most(rest),
            way: alike_word(through, view),
        }),
    }
}

fn flat() -> [Vec<f64>; 3] {
    std::array::from_fn(|_| vec![0.0; COLUMNS * ROWS])
}

fn most(channels: [f64; 3]) -> f64 {
    channels.into_iter().fold(0.0, f64::max)
}

fn names(through: &[Through<'_>]) -> String {
    through.iter().map(|t| t.profile.filter.name.as_str()).collect::<Vec<_>>().join(" + ")
}

/// What can be done where the circular part alone may not be taken out.
fn alike_word(through: &[Through<'_>], view: &View) -> String {
    if gains(through, view, true).is_ok() {
        return "if it sat exactly as it was measured, add --mounted-alike".to_owned();
    }
    let focal = through.iter().filter_map(|t| t.profile.camera.focal_length_mm).map(|f| f.get());
    let (low, high) = focal.fold((f64::MAX, 0.0), |(l, h), f| (f64::min(l, f), f64::max(h, f)));
    if high > low * SAME_FOCAL {
        return "leave out --evenness".to_owned();
    }
    format!("leave out --evenness, or give a level photograph at {low:.0} mm and --mounted-alike")
}

fn evenness_of<'a>(filter: &Through<'a>) -> Result<&'a Evenness, NotEvened> {
    let name = || filter.profile.filter.name.clone();
    if filter.profile.filter.kind == Kind::Graduated {
        return Err(NotEvened::Graduated { name: name() });
    }
    let setting = filter.setting.ok_or_else(|| NotEvened::MarkUnknown { name: name() })?;
    setting
        .evenness
        .as_ref()
        .filter(|e| Radial::fit(&e.maps, None).is_some())
        .ok_or_else(|| NotEvened::NoMap { name: name() })
}

/// How the photograph's field relates to the profile's.
struct Field {
    /// Corner of the photograph over corner of the profile, as tangents of field angles.
    scale: f64,
    measured_mm: f64,
    asked_mm: f64,
    onset: Option<f64>,
}

impl Field {
    fn new(filter: &Through<'_>, view: &View) -> Result<Self, NotEvened> {
        let name = || filter.profile.filter.name.clone();
        let camera = &filter.profile.camera;
        let positive = |mm: f64| (mm.is_finite() && mm > 0.0).then_some(mm);
        let asked_mm = view.focal_mm.and_then(positive).ok_or(NotEvened::NoFocalLength)?;
        let measured_mm = camera
            .focal_length_mm
            .and_then(|f| positive(f.get()))
            .ok_or_else(|| NotEvened::ProfileNoFocalLength { name: name() })?;
        let measured_sensor = camera.sensor_mm.as_ref().map(|s| (s.width.get(), s.height.get()));
        let diagonals = match (measured_sensor, view.sensor_mm) {
            (Some(a), Some(b)) if !filter.same_camera => (half(a), half(b)),
            // One camera model: the size cancels, and is needed for the words only.
            (size, other) if filter.same_camera => {
                let size = size.or(other).map_or(NOMINAL_HALF_DIAGONAL_MM, half);
                (size, size)
            }
            _ => return Err(NotEvened::NoSensorSize),
        };
        let (measured, asked) = (diagonals.0 / measured_mm, diagonals.1 / asked_mm);
        if asked > measured * WIDER_VIEW {
            return Err(NotEvened::WiderView {
                name: name(),
                measured: measured.atan().to_degrees(),
                asked: asked.atan().to_degrees(),
            });
        }
        let onset = filter
            .profile
            .vignetting
            .as_ref()
            .filter(|v| v.mechanical)
            .and_then(|v| v.onset_percent_of_half_diagonal)
            .map(|p| p.get() / 100.0);
        Ok(Self { scale: asked / measured, measured_mm, asked_mm, onset })
    }
}

/// Half the diagonal of a 36 x 24 mm frame, for words only.
const NOMINAL_HALF_DIAGONAL_MM: f64 = 21.63;

fn half((width, height): (f64, f64)) -> f64 {
    width.hypot(height) / 2.0
}

/// Adds the circular part, and gives the range of the rest by channel, in stops.
fn add_radial(
    stops: &mut [Vec<f64>; 3],
    evenness: &Evenness,
    field: &Field,
    view: &View,
) -> [f64; 3] {
    let Some(radial) = Radial::fit(&evenness.maps, field.onset) else { return [0.0; 3] };
    let (width, height) = (view.pixels.0 as f64, view.pixels.1 as f64);
    let corner = width.hypot(height) / 2.0;
    for row in 0..ROWS {
        for column in 0..COLUMNS {
            let x = (column as f64 / (COLUMNS - 1) as f64 - 0.5) * width;
            let y = (row as f64 / (ROWS - 1) as f64 - 0.5) * height;
            let radius = x.hypot(y) / corner * field.scale;
            for (channel, map) in stops.iter_mut().enumerate() {
                map[row * COLUMNS + column] += radial.stops(channel, radius);
            }
        }
    }
    sitting::rest(&radial, &evenness.maps, field.scale)
}

fn add_map(
    stops: &mut [Vec<f64>; 3],
    filter: &Through<'_>,
    evenness: &Evenness,
    field: &Field,
    view: &View,
) -> Result<(), NotEvened> {
    let (measured, asked) = (field.measured_mm, field.asked_mm);
    if (measured / asked).max(asked / measured) > SAME_FOCAL {
        return Err(NotEvened::OtherFocalLength { measured, asked });
    }
    let level = evenness.maps.columns >= evenness.maps.rows && view.pixels.0 >= view.pixels.1;
    let Some(radial) = Radial::fit(&evenness.maps, None) else { return Ok(()) };
    if !level || view.orientation != 1 {
        return Err(NotEvened::OtherOrientation { name: filter.profile.filter.name.clone() });
    }
    for (channel, map) in stops.iter_mut().enumerate() {
        let smooth = radial.smoothed(&evenness.maps, channel);
        for row in 0..ROWS {
            for column in 0..COLUMNS {
                let x = column as f64 / (COLUMNS - 1) as f64;
                let y = row as f64 / (ROWS - 1) as f64;
                map[row * COLUMNS + column] += smooth.at(x, y);
            }
        }
    }
    Ok(())
}

fn limited(stops: &[Vec<f64>; 3], part: Part, stays_stops: f64) -> EvennessGains {
    let all = || stops.iter().flatten().copied();
    let lowest = all().fold(0.0, f64::min);
    let highest = all().fold(0.0, f64::max) - lowest;
    let gain = |s: &f64| (s - lowest).min(GAIN_LIMIT_STOPS).exp2() as f32;
    let channel = |map: &Vec<f64>| map.iter().map(gain).collect();
    EvennessGains {
        part,
        stays_stops,
        map: GainMap {
            columns: COLUMNS,
            rows: ROWS,
            gains: [channel(&stops[0]), channel(&stops[1]), channel(&stops[2])],
        },
        peak_stops: highest.min(GAIN_LIMIT_STOPS),
        // The middle is not raised beyond the limit either.
        raised_stops: (-lowest).min(GAIN_LIMIT_STOPS),
        left_in_stops: (highest - GAIN_LIMIT_STOPS).max(0.0),
    }
}
