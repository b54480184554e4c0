//! Shoot to profile: a list of calls.

pub mod strength;
pub mod noise;
mod off_line;
pub mod fit;
pub mod colour;
pub mod cast;
pub mod readings;
pub mod known_times;
pub mod doubts;
pub mod checks;
pub mod apart;
pub mod sensor;
pub mod map;
pub mod shading;
pub mod evenness;
pub mod pair;
pub mod kinds;
pub mod picture;
pub mod result;
pub mod camera;
mod hand;
mod plausible;
mod sites;
mod turned;
mod widen;
pub mod record;

use crate::body_record::BodyRecord;
use crate::caution::{Caution, ViewDoubt};
use crate::exposure::Reading;
pub use crate::kit::Part;
use crate::measured::NotAMeasurement;
use crate::profile::{Form, Kind, Profile, SensorSize};
use crate::quantity::{Millimetres, Stops};
use crate::shoot::Shoot;
use cast::CastResult;
use evenness::Found;
use fit::{Beliefs, Fit, FitError};
pub use kinds::stack;
use kinds::{OfKind, graduated, polariser, solid, variable};
use map::{Detail, RatioMap};
use readings::{TimeRule, Used};
use result::{Across, Centre, SettingResult};

/// What is claimed of the filter and wished for its profile.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct About {
    /// Name.
    pub name: String,
    /// The user said of which kind it is.
    pub kind_said: bool,
    /// The user named the marks of a ring.
    pub marks_named: bool,
    /// Rated strength.
    pub rated: Option<Stops>,
    /// What the rating was written as, where that is known.
    pub rated_as: Option<Reading>,
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
    pub parts: Vec<Part>,
    /// The record of the camera body, where there is one and it is to be taken up.
    pub camera_record: Option<BodyRecord>,
}

/// Why a sorted shoot gave no number.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum MeasureError {
    /// No fit.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// A number came out that is none.
    #[error(
        "the frames give no finite number; look at their times and levels with lightloss frames"
    )]
    Number(#[from] NotAMeasurement),
}

/// Measures a sorted shoot.
///
/// # Errors
/// Where a channel has nothing to compare, or a number is not finite.
pub fn measure(shoot: &Shoot, about: &About) -> Result<Profile, MeasureError> {
    Ok(centre(shoot, about)?.across())
}

/// The joint fit, of a ring once more with what its marks tell of the hand that set them.
fn fit_by_hand(
    list: &[fit::Reading],
    states: usize,
    mut beliefs: Beliefs,
) -> Result<(Beliefs, Fit), FitError> {
    let fit = fit::fit(list, states, &beliefs)?;
    if beliefs.hand.is_empty() {
        return Ok((beliefs, fit));
    }
    beliefs.hand = hand::by_state(list, &fit);
    let fit = fit::fit(list, states, &beliefs)?;
    Ok((beliefs, fit))
}

/// Measures the frame's centre alone.
///
/// # Errors
/// As [`measure`].
pub fn centre<'a>(shoot: &'a Shoot, about: &'a About) -> Result<Centre<'a>, MeasureError> {
    let mut used = readings::used(shoot);
    let mut beside = readings::beside(shoot);
    let fitted = |used: &[Used<'_>], beside: &[Used<'_>], record: Option<&BodyRecord>| {
        let (list, beliefs) = readings::readings(used, beside, shoot, record);
        let (beliefs, fit) = fit_by_hand(&list, shoot.settings.len(), beliefs)?;
        let fit = widen::widened(sites::in_place(fit, used), used, shoot);
        Ok::<_, FitError>((list, beliefs, fit))
    };
    let record = about.camera_record.as_ref();
    let mut without = None;
    if let Some(record) = record {
        without = Some(fitted(&used, &beside, None)?.2);
        readings::apply_record(&mut used, record);
        readings::apply_record(&mut beside, record);
    }
    let told = |(record, without): (&BodyRecord, &Fit)| {
        known_times::told(record, &used, &known_times::u95_each(without))
    };
    let shutter_record = record.zip(without.as_ref()).map(told);
    // A record that holds none of the times changes nothing.
    let record = record.filter(|_| used.iter().any(|u| u.known.is_some()));
    let (list, beliefs, fit) = fitted(&used, &beside, record)?;
    let rule = readings::time_rule(fit.as_shown);
    readings::apply_rule(&mut used, rule);
    let mut settings = (0..shoot.settings.len())
        .map(|number| setting(shoot, &used, &fit, number, rule, about))
        .collect::<Result<Vec<_>, _>>()?;
    let more = doubts::more_frames(&used, &list, &beliefs, &fit);
    let mut cautions = shoot.cautions.clone();
    cautions.extend(doubts::of_shoot(shoot, &used, &beside, &fit, about.said_alike));
    match settings.as_mut_slice() {
        // Of several, the first alone is meant.
        [first, _, ..] => first.cautions.extend(more),
        _ => cautions.extend(more),
    }
    let told = shutter_record.as_ref().zip(about.camera_record.as_ref());
    cautions.extend(told.map(|(told, record)| known_times::note(told, record, &used, &fit)));
    let contradicted = without.and_then(|without| known_times::contradicted(&fit, &without));
    cautions.extend(contradicted);
    cautions.extend(checks::cautions(shoot, &used, &fit));
    cautions.extend(apart::cautions(shoot, &used));
    cautions.extend(turned::while_filtered(shoot, &fit));
    let strongest = fit.settings.iter().map(|s| s.stops[1]).fold(f64::NEG_INFINITY, f64::max);
    if crate::safety::full_warning_needed(Stops::new(strongest), &about.name) {
        cautions.push(Caution::NotForTheSun);
    }
    let (focal_length, sensor, doubt) = view(about, &used);
    cautions.extend(doubt);
    Ok(Centre {
        shoot,
        about,
        readings: list,
        fit,
        settings,
        focal_length,
        sensor,
        shutter_record,
        cautions,
        used,
    })
}

/// A focal length as said and as files tell it differ by less: a lens's own is within a twentieth of
/// what is engraved (common practice, no source).
const SAME_LENS: f64 = 0.05;

/// Focal length and sensor, as said or else as the files tell; and whether the files tell another
/// focal length than was said.
fn view(
    about: &About,
    used: &[Used<'_>],
) -> (Option<Millimetres>, Option<SensorSize>, Option<Caution>) {
    let camera = record::telling(used).map(|u| (&u.frame.summary.info.camera, u.levels.size));
    let told = camera.and_then(|(camera, size)| sensor::of_file(camera, size));
    let files = camera.and_then(|(camera, _)| camera.focal_length).filter(|f| f.get() > 0.0);
    let other = |(said, files): &(Millimetres, Millimetres)| {
        (said.get() / files.get()).ln().abs() > SAME_LENS
    };
    let doubt = about
        .focal_length
        .zip(files)
        .filter(other)
        .map(|(said, files)| ViewDoubt::FocalLengthSaid { said, files });
    let sensor = about.sensor_mm.map(sensor::said).or(told);
    (about.focal_length.or(files), sensor, doubt.map(Caution::View))
}

impl Centre<'_> {
    /// Adds everything across the frame: evenness, shading, and what the kind of filter has.
    #[must_use]
    pub fn across(&self) -> Profile {
        let maps = map::frames::of_settings(&self.used, self.settings.len(), Detail::Fine);
        let found = evenness::of_settings(&maps, self.shoot.kind);
        let main = maps.first().and_then(Option::as_ref);
        let vignetting = shading::of_mount(found.iter().flatten().map(|f| (&f.clean, &f.shade)));
        let vignetting = vignetting
            .map(|own| shading::lenses::at_focal_lengths(own, self.shoot, self.focal_length, main));
        let (of_kind, mut found, mut cautions) = self.of_kind(found, main);
        let edge = |c: &Caution| matches!(c, Caution::LooksLike { kind: "graduated", .. });
        if matches!(of_kind, OfKind::Graduated(Some(_))) || cautions.iter().any(edge) {
            found = found.into_iter().map(|f| Some(f?.without_cross())).collect();
        }
        cautions.extend(plausible::of_filter(self, &of_kind));
        if maps.iter().flatten().any(|map| map.surface_moved) {
            cautions.push(Caution::SurfaceMoved);
        }
        let odd = found.iter().flatten().any(|f| f.shade.unexplained);
        if odd {
            cautions.push(Caution::ShadeUnexplained);
        }
        record::profile(self, Across { found, vignetting, of_kind, cautions })
    }

    /// The first setting as a graduated filter.
    fn graduated(
        &self,
        found: Vec<Option<Found>>,
        main: Option<&RatioMap>,
    ) -> (OfKind, Vec<Option<Found>>, Vec<Caution>) {
        // The map's channels begin where they were read.
        let beside = sites::beside_green(&self.used, 0);
        let edge = main.zip(self.settings.first()).and_then(|(map, setting)| {
            let stops = setting.strengths.stops;
            let centre = std::array::from_fn(|c| stops[c] + beside[c]);
            graduated::graduation(map, centre, setting.strength().u())
        });
        let other =
            |c: &Caution| matches!(c, Caution::LooksLike { kind, .. } if *kind != "graduated");
        let is_told = self.cautions.iter().any(other);
        let none = edge.as_ref().and_then(solid::no_graduation).filter(|_| !is_told);
        let edge = edge.filter(solid::is_graduation);
        let focal_length = self.focal_length;
        let blurred = edge.is_some().then_some(Caution::EdgeBlurredByLens { focal_length });
        let doubts = none.into_iter().chain(blurred).collect();
        (OfKind::Graduated(edge), found, doubts)
    }

    /// The first setting as one that ought to be even.
    fn solid(
        &self,
        found: Vec<Option<Found>>,
        main: Option<&RatioMap>,
    ) -> (OfKind, Vec<Option<Found>>, Vec<Caution>) {
        let edge = self.edge(main);
        if let Some(edge) = edge.filter(|_| !self.about.kind_said) {
            let (of_kind, found, mut doubts) = self.graduated(found, main);
            doubts.push(Caution::TakenAsGraduated { stops: edge.step });
            return (of_kind, found, doubts);
        }
        let clean = || found.first().and_then(Option::as_ref).map(|f| &f.clean);
        let doubt = match edge {
            Some(edge) => Some(solid::looks_graduated(&edge)),
            None => clean().and_then(solid::shadow),
        };
        (OfKind::Solid, found, doubt.into_iter().collect())
    }

    /// The edge of a graduated filter in the first setting's map.
    fn edge(&self, main: Option<&RatioMap>) -> Option<graduated::Recognised> {
        let stops = self.settings.first().map(|s| s.strength().value());
        main.zip(stops).and_then(|(map, stops)| solid::graduation(map, stops))
    }

    /// What the kind of filter has, the maps' findings as it completes them, and its doubts.
    fn of_kind(
        &self,
        found: Vec<Option<Found>>,
        main: Option<&RatioMap>,
    ) -> (OfKind, Vec<Option<Found>>, Vec<Caution>) {
        let looks_graduated = || self.edge(main).as_ref().map(solid::looks_graduated);
        match self.shoot.kind {
            Kind::Solid => self.solid(found, main),
            Kind::Variable => {
                let other = solid::at_several_heights(&found, &self.settings);
                let (ring, found, mut cautions) = variable::ring(self, found, other.is_none());
                cautions.extend(other);
                (OfKind::Variable(ring), found, cautions)
            }
            Kind::Graduated => self.graduated(found, main),
            Kind::Polariser => {
                let turned = polariser::polarising(&self.settings, &self.fit);
                let other =
                    looks_graduated().or_else(|| polariser::other_kind(&self.settings, &self.fit));
                let doubt = turned.as_ref().filter(|_| other.is_none()).and_then(polariser::doubt);
                (OfKind::Polariser(turned), found, other.into_iter().chain(doubt).collect())
            }
            Kind::Stack => {
                let first = self.settings.first();
                let sum = first.and_then(|s| stack::stack(s.strength(), &self.about.parts));
                (OfKind::Stack(sum), found, looks_graduated().into_iter().collect())
            }
        }
    }
}

fn cast_of(used: &[Used<'_>], fit: &Fit, setting: usize) -> Result<CastResult, NotAMeasurement> {
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
    rule: TimeRule,
    about: &About,
) -> Result<SettingResult, MeasureError> {
    let strengths = fit.settings[number];
    let cast = cast_of(used, fit, number)?;
    let mut cautions = doubts::of_setting(shoot, used, fit, number, rule, about.form);
    cautions.extend(cast.cautions.iter().cloned());
    Ok(SettingResult {
        mark: shoot.settings[number].mark.clone(),
        channels: [strengths.channel(0)?, strengths.channel(1)?, strengths.channel(2)?],
        strengths,
        cast,
        cautions,
    })
}
