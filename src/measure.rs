//! Shoot to profile: a list of calls.

pub mod strength;
pub mod noise;
pub mod fit;
pub mod colour;
pub mod cast;
pub mod readings;
pub mod doubts;
pub mod checks;
pub mod records;
mod robust;
mod noise_of_map;
pub mod map;
mod least_squares;
pub mod pattern;
pub mod pattern_doubt;
pub mod specks;
mod ring;
mod holder;
pub mod vignetting;
mod slot;
pub mod dark_cross;
pub mod evenness;
pub mod pair_model;
mod pair_state;
mod pair_fit;
pub mod pair;
mod pair_lenses;
mod ratio;
mod lens;
mod variable;
mod graduation_fit;
pub mod graduation;
mod polariser;
pub mod stack;
mod across;
mod shading;

use crate::caution::Caution;
use crate::frame::Origin;
use crate::measured::NotAMeasurement;
use crate::profile::{
    Channels, Filter, Form, Kind, MadeBy, Profile, SCHEMA, Setting, StopsU95, Strength,
};
use crate::quantity::{Millimetres, Stops};
use crate::shoot::Shoot;
use cast::CastResult;
use fit::{Fit, FitError, Reading};
use map::RatioMap;
use readings::{TimeRule, Used};
use strength::{BudgetPart, ChannelStrengths, Source};

/// What is claimed of the filter and wished for its profile.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct About {
    /// Name.
    pub name: String,
    /// Rated strength.
    pub rated: Option<Stops>,
    /// Rated range of a variable filter.
    pub rated_range: Option<[Stops; 2]>,
    /// Size as engraved.
    pub size: Option<String>,
    /// Screw-in or slot.
    pub form: Option<Form>,
    /// The user's note.
    pub note: Option<String>,
    /// The user said that frames without exposure data were exposed alike.
    pub said_alike: bool,
    /// Focal length as the user says; the files' otherwise.
    pub focal_length: Option<Millimetres>,
    /// Sensor width and height as the user says; from the files otherwise.
    pub sensor_mm: Option<(Millimetres, Millimetres)>,
    /// Unevenness that passes; a third of a stop otherwise.
    pub tolerance: Option<Stops>,
    /// The single filters of a stack.
    pub parts: Vec<stack::Part>,
}

/// Why a sorted shoot gave no number.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeasureError {
    /// No fit.
    #[error("{0}")]
    Fit(FitError),
    /// A number came out that is none.
    #[error("{0}")]
    Number(NotAMeasurement),
}

impl From<FitError> for MeasureError {
    fn from(error: FitError) -> Self {
        Self::Fit(error)
    }
}

impl From<NotAMeasurement> for MeasureError {
    fn from(error: NotAMeasurement) -> Self {
        Self::Number(error)
    }
}

/// A shoot that is measured in the frame's centre: the strength and cast of every setting.
#[derive(Clone, Debug)]
pub struct Centre<'a> {
    shoot: &'a Shoot,
    profile: Profile,
    used: Vec<Used<'a>>,
    readings: Vec<Reading>,
    fit: Fit,
    about: &'a About,
}

/// Measures a sorted shoot.
///
/// # Errors
/// Where a channel has nothing to compare, or a number is not finite.
pub fn measure(shoot: &Shoot, about: &About) -> Result<Profile, MeasureError> {
    Ok(centre(shoot, about)?.across())
}

/// Measures the frame's centre alone.
///
/// # Errors
/// As [`measure`].
pub fn centre<'a>(shoot: &'a Shoot, about: &'a About) -> Result<Centre<'a>, MeasureError> {
    let mut used = readings::used(shoot);
    let rule = readings::time_rule(&used);
    readings::apply_rule(&mut used, rule);
    let (list, beliefs) = readings::readings(&used, shoot.timed);
    let mut fit = fit::fit(&list, shoot.settings.len(), &beliefs)?;
    not_raw(&used, &mut fit);
    let mut light = None;
    let mut camera = records::camera(&used);
    lens::fill(&mut camera, &used, about);
    let mut settings = Vec::with_capacity(shoot.settings.len());
    for number in 0..shoot.settings.len() {
        let cast = cast_of(&used, &fit, number);
        light = light.or(cast.light);
        camera.colour_matrix = camera.colour_matrix.or_else(|| cast.matrix.clone());
        settings.push(setting(shoot, &used, &fit, number, cast, rule, about)?);
    }
    let mut cautions = shoot.cautions.clone();
    cautions.extend(doubts::of_shoot(shoot, &used, &fit, about.said_alike));
    cautions.extend(checks::cautions(shoot, &used, &fit));
    let strongest = fit.settings.iter().map(|s| s.stops[1]).fold(f64::NEG_INFINITY, f64::max);
    if crate::safety::full_warning_needed(Stops::new(strongest), &about.name) {
        cautions.push(Caution::NotForTheSun);
    }
    let profile = Profile {
        schema: SCHEMA.to_owned(),
        made_by: MadeBy {
            program: "lightloss".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        },
        filter: filter(about, shoot.kind),
        camera,
        light,
        settings,
        usable: None,
        polariser_pair: None,
        graduation: None,
        polarising: None,
        vignetting: None,
        stack: None,
        budget: records::budget(&fit.budget),
        frames: records::frames(shoot, &used),
        cautions: cautions.iter().map(Caution::record).collect(),
    };
    Ok(Centre { shoot, profile, used, readings: list, fit, about })
}

impl Centre<'_> {
    /// Adds everything across the frame: evenness, shading, and what the kind of filter has.
    #[must_use]
    pub fn across(self) -> Profile {
        let Self { shoot, mut profile, used, readings, fit, about } = self;
        let maps = ratio::of_settings(&used, profile.settings.len(), map::Detail::Fine);
        let found = across::fill(&mut profile, &maps);
        shading::fill(&mut profile, shoot, &maps);
        match profile.filter.kind {
            Kind::Variable => variable::fill(&mut profile, &found, &readings, &fit, about),
            Kind::Graduated => graduated(&mut profile, &maps),
            Kind::Polariser => polariser::fill(&mut profile),
            Kind::Stack => stack::fill(&mut profile, &about.parts),
            Kind::Solid => {}
        }
        profile
    }
}

/// The graduation of the first state, from its whole map.
fn graduated(profile: &mut Profile, maps: &[Option<RatioMap>]) {
    let Some(setting) = profile.settings.first() else { return };
    let channels = &setting.channels;
    let centre = [channels.red, channels.green, channels.blue].map(|c| c.stops.get());
    let map = maps.first().and_then(Option::as_ref);
    profile.graduation = map.and_then(|m| graduation::graduation(m, centre));
    if profile.graduation.is_some() {
        let focal_length = profile.camera.focal_length_mm;
        profile.cautions.push(Caution::EdgeBlurredByLens { focal_length }.record());
    }
}

fn filter(about: &About, kind: Kind) -> Filter {
    Filter {
        name: about.name.clone(),
        kind,
        rated_stops: about.rated,
        rated_range_stops: about.rated_range,
        size: about.size.clone(),
        form: about.form,
        note: about.note.clone(),
    }
}

/// Pictures carry the doubt of a tone curve that is only guessed: 0.075 stop common to the channels
/// and 0.03 of each, standard uncertainties (ours).
fn not_raw(used: &[Used<'_>], fit: &mut Fit) {
    const COMMON: f64 = 0.075;
    const OWN: f64 = 0.03;
    if !used.iter().any(|u| u.frame.summary.info.origin == Origin::DisplayPicture) {
        return;
    }
    for strengths in &mut fit.settings {
        for (r, row) in strengths.covariance.iter_mut().enumerate() {
            for (c, cell) in row.iter_mut().enumerate() {
                *cell += COMMON * COMMON + if r == c { OWN * OWN } else { 0.0 };
            }
        }
    }
    fit.budget.push(BudgetPart { source: Source::ToneCurve, stops: COMMON.hypot(OWN) });
}

fn cast_of(used: &[Used<'_>], fit: &Fit, setting: usize) -> CastResult {
    let [red, green, blue] = fit.bare;
    let neutral = [(red - green).exp2(), 1.0, (blue - green).exp2()];
    let matrices = used.first().map(|u| u.frame.summary.info.matrices.clone()).unwrap_or_default();
    cast::cast(&fit.settings[setting], neutral, &matrices)
}

fn setting(
    shoot: &Shoot,
    used: &[Used<'_>],
    fit: &Fit,
    number: usize,
    cast: CastResult,
    rule: TimeRule,
    about: &About,
) -> Result<Setting, MeasureError> {
    let strengths = &fit.settings[number];
    let mut cautions = doubts::of_setting(shoot, used, fit, number, rule, about.form);
    cautions.extend(cast.cautions);
    let green = strengths.channel(1)?;
    Ok(Setting {
        mark: shoot.settings[number].mark.clone(),
        strength: Strength {
            stops: green.value(),
            u95: green.u95(),
            density: green.value().density(),
            factor: green.value().factor(),
            transmittance: green.value().transmittance(),
        },
        visual_strength: cast.visual,
        channels: channels(strengths)?,
        cast: cast.cast,
        ring_repeat_stops: None,
        evenness: None,
        frames: records::setting_frames(used, number),
        cautions: cautions.iter().map(Caution::record).collect(),
    })
}

fn channels(strengths: &ChannelStrengths) -> Result<Channels, NotAMeasurement> {
    let of = |c: usize| strengths.channel(c).map(|m| StopsU95 { stops: m.value(), u95: m.u95() });
    Ok(Channels { red: of(0)?, green: of(1)?, blue: of(2)? })
}
