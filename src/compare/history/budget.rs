//! What the uncertainties of several measurements of one filter are made of, and what they share.

use super::shapes::Reading;
use super::{Plotted, light};
use crate::compare::cast_stops;
use crate::compare::sharing::model;
use crate::kit::stack::SHUTTER_STAYS;
use crate::measured::dof_of_factor;
use crate::numerics::numbering::number_of;
use crate::profile::{BudgetLine, Profile, Setting};

/// Standard deviations over computed spectra (1,500 filters, half of them with a leak of red; pairs
/// of cameras, daylights of 4800 to 7500 K), each a fixed part and one per stop by which the
/// filter's channels lie apart, rounded up. Another model of camera, in stops of green and of a
/// difference of channels; and another light, per mired.
const CAMERA_GREEN: (f64, f64) = (0.002, 0.06);
const CAMERA_COLOUR: (f64, f64) = (0.008, 0.08);
const LIGHT_GREEN: (f64, f64) = (2e-5, 6e-4);
const LIGHT_COLOUR: (f64, f64) = (1.5e-4, 2e-4);
/// Daylights of one temperature still differ as if by so many mired (ours), and one that is not
/// known by so many.
const LIGHT_OWN: f64 = 5.0;
const LIGHT_UNKNOWN: f64 = 30.0;
/// Expanded to standard uncertainty where the factor is not known.
const FACTOR: f64 = 1.96;

/// Names of bodies, and of models, as causes of shared errors.
pub(super) struct Sharing {
    apart: f64,
    causes: Vec<String>,
    reference: Option<f64>,
}

impl Sharing {
    pub fn new(apart: f64) -> Self {
        Self { apart, causes: Vec::new(), reference: None }
    }

    fn size(&self, (fixed, per_stop): (f64, f64)) -> f64 {
        fixed + per_stop * self.apart
    }

    fn cause(&mut self, name: String) -> usize {
        number_of(&mut self.causes, name)
    }

    /// Strength: shutter and black of a body are shared, but for what wears.
    pub fn strength(&mut self, profile: &Profile, strength: Plotted) -> Reading {
        let total = profile.budget.iter().map(|l| l.stops.get().powi(2)).sum::<f64>().sqrt();
        let first = profile.settings.first().map_or(0.0, |s| s.strength.u95.get());
        let factor = if total > 0.0 && first > 0.0 { first / total } else { FACTOR };
        let u = strength.u95 / factor;
        let share = |source: &str| {
            let line = profile.budget.iter().find(|l| l.source == source);
            line.map_or(0.0, |l| if total > 0.0 { u * l.stops.get() / total } else { 0.0 })
        };
        let (shutter, black) = (share(BudgetLine::SHUTTER), share(BudgetLine::BLACK));
        let stays = shutter * SHUTTER_STAYS.sqrt();
        let mut reading = Reading {
            value: strength.value,
            own: (u * u - stays * stays - black * black).max(0.0).sqrt(),
            dof: dof_of_factor(factor),
            ..Reading::default()
        };
        match body(profile) {
            Some(body) => {
                let times = self.cause(format!("shutter of {body} at {:?}", dial_times(profile)));
                let level = self.cause(format!("black of {body}"));
                reading.shared = vec![(times, stays), (level, black)];
            }
            None => reading.own = u,
        }
        self.camera_and_light(&mut reading, profile, CAMERA_GREEN, LIGHT_GREEN);
        reading
    }

    /// Red or blue (0, 1) minus green in stops, in which the shutter has cancelled.
    pub fn colour(&mut self, profile: &Profile, setting: &Setting, channel: usize) -> Reading {
        let (value, u95) = cast_stops(&setting.cast)[channel];
        let mut reading =
            Reading { value, own: u95 / FACTOR, dof: f64::INFINITY, ..Reading::default() };
        self.camera_and_light(&mut reading, profile, CAMERA_COLOUR, LIGHT_COLOUR);
        reading
    }

    /// Spread across the frame: each its own.
    pub fn unevenness(&self, spread: Plotted) -> Reading {
        Reading {
            value: spread.value,
            own: spread.u95 / FACTOR,
            dof: f64::INFINITY,
            ..Reading::default()
        }
    }

    /// Adds that other cameras, and other lights, see another filter.
    fn camera_and_light(
        &mut self,
        reading: &mut Reading,
        profile: &Profile,
        camera: (f64, f64),
        per_mired: (f64, f64),
    ) {
        let (camera, per_mired) = (self.size(camera), self.size(per_mired));
        let camera_cause = model(profile).map(|model| self.cause(format!("eyes of {model}")));
        let light_cause = self.cause("light".to_owned());
        let mired = light(profile).map(|m| m.get());
        let mut own = reading.own.hypot(per_mired * LIGHT_OWN);
        match mired {
            Some(mired) => {
                let reference = *self.reference.get_or_insert(mired);
                reading.shared.push((light_cause, per_mired * (mired - reference)));
            }
            None => own = own.hypot(per_mired * LIGHT_UNKNOWN),
        }
        match camera_cause {
            Some(cause) => reading.shared.push((cause, camera)),
            None => own = own.hypot(camera),
        }
        reading.own = own;
    }
}

/// Make, model and serial number, where all are known.
fn body(profile: &Profile) -> Option<String> {
    let serial = profile.camera.serial.as_ref()?;
    Some(format!("{} {serial}", model(profile)?))
}

/// The body, as it is noted beside a measurement.
pub(super) fn body_name(profile: &Profile) -> String {
    let camera = &profile.camera;
    let (make, model) = (camera.make.as_deref().unwrap_or_default(), camera.model.as_deref());
    let Some(model) = model else { return "unknown camera".to_owned() };
    // Many makers repeat themselves in the model.
    let name = if model.starts_with(make) { model.to_owned() } else { format!("{make} {model}") };
    match &camera.serial {
        Some(serial) => format!("{name}, {serial}"),
        None => name,
    }
}

/// Lens and focal length; `None` where the focal length is not known.
pub(super) fn lens_name(profile: &Profile) -> Option<String> {
    let camera = &profile.camera;
    let focal = format!("{:.0} mm", camera.focal_length_mm?.get());
    Some(match &camera.lens {
        Some(lens) => format!("{lens} at {focal}"),
        None => focal,
    })
}

/// Dial times of the frames that were measured, in order, each once.
fn dial_times(profile: &Profile) -> Vec<String> {
    use crate::profile::FrameState::{Bare, Setting};
    let used = profile.frames.iter().filter(|f| matches!(f.state, Bare | Setting));
    let mut times: Vec<String> = used.filter_map(|f| f.dial_time.clone()).collect();
    times.sort();
    times.dedup();
    times
}
