//! The one table of cautions: code, grade, text and what to do.
//!
//! A caution is a value, not a failure. It becomes a [`CautionRecord`] one way only, so codes that
//! this version does not know read back from a document unharmed.

mod apart;
mod levels;
mod light;
mod picture;
mod result;
mod shutter;
mod view;

use crate::profile::{CautionRecord, Grade};
use crate::quantity::{Millimetres, Percent, Stops};
use crate::text::{in_stops, unit};
pub use apart::{ApartDoubt, Shows, WallLooks};
pub use levels::LevelDoubt;
pub use light::LightDoubt;
pub use picture::PictureDoubt;
pub use result::ResultDoubt;
pub use shutter::ShutterDoubt;
pub use view::ViewDoubt;

/// Everything that may be doubtful about a shoot or a setting.
#[derive(Clone, Debug, PartialEq)]
pub enum Caution {
    /// About frames that ought to show the same and do not.
    Apart(ApartDoubt),
    /// About what the filter does to the picture.
    Picture(PictureDoubt),
    /// About what the light did.
    Light(LightDoubt),
    /// About black, stray light and the levels themselves.
    Level(LevelDoubt),
    /// About shutter times that frames or a camera record measure.
    Shutter(ShutterDoubt),
    /// About lens and sensor.
    View(ViewDoubt),
    /// About the result itself.
    Result(ResultDoubt),
    /// The brightest run occurs once, or not on both sides of the filter.
    BareNotConfirmed,
    /// One bare and one filtered frame only.
    OnePairOnly,
    /// Dial times or powers of two behind them: nothing settles it.
    DialTimesAmbiguous {
        /// Dial time of the bare frames.
        bare: String,
        /// Dial time of the filtered frames.
        filtered: String,
        /// What that adds to the standard uncertainty.
        doubt: Stops,
    },
    /// Aperture differs between bare and filtered frames.
    ApertureChanged,
    /// ISO differs between bare and filtered frames.
    IsoChanged {
        /// ISO of the bare frames.
        bare: f64,
        /// ISO of the filtered frames.
        filtered: f64,
    },
    /// Capture times and frame numbers give different orders.
    ClockDisagrees,
    /// No capture times: order by frame number, drift not fitted.
    NoCaptureTimes,
    /// Pictures instead of raw frames.
    NotRaw,
    /// Exposure data missing and taken as alike on the user's word.
    ExposureAssumedAlike,
    /// No used frame of a state tells aperture or ISO, and those of other states do.
    ExposureAsOthers {
        /// How many frames.
        count: usize,
    },
    /// No colour matrix: no figures for the eye.
    NoColourMatrix,
    /// The bare light is too far from white for a matrix to be trusted.
    LightTooColoured,
    /// Tungsten light hides or invents red leaks.
    TungstenLight,
    /// Strength differs strongly between channels.
    StrongCast,
    /// The channels are what a neutral with a leak of deep red would show.
    RedLeakPossible {
        /// How much less red is held back than green.
        red: Stops,
    },
    /// Through the filter it is brighter than without.
    BrighterThanBare {
        /// By this much.
        stops: Stops,
    },
    /// The strength is nowhere near the rating.
    FarFromRated {
        /// As measured.
        measured: Stops,
        /// As rated.
        rated: Stops,
        /// The rating as it would fit, to be typed after --rated.
        reading: Option<String>,
    },
    /// A stack takes something else than its parts.
    StackDiffers {
        /// Measured less foretold.
        difference: Stops,
        /// Its expanded uncertainty.
        u95: Stops,
    },
    /// Marks have no names but their numbers in the order of strength or time.
    MarksNumbered,
    /// A ring takes less at a mark that promises more.
    MarksFall {
        /// The mark that promises less.
        lower: String,
        /// The mark that promises more, and takes less.
        higher: String,
        /// By how much it falls.
        fall: Stops,
    },
    /// A polariser at one rotation only.
    PolarisationUntold,
    /// What was taken as a solid filter may be a polariser at one rotation.
    MaybePolariser,
    /// An edge runs across the frame where the filter has none.
    ShadowSuspected {
        /// How much darker one side is.
        stops: Stops,
        /// Whether it comes and goes within the shoot.
        changes: bool,
    },
    /// Taken as graduated, since the map shows an edge over a clear end.
    TakenAsGraduated {
        /// How much darker one end is.
        stops: Stops,
    },
    /// Something hard shades part of the frame, and no ring or straight edge explains it.
    ShadeUnexplained,
    /// Frames at fault were left out.
    FramesLeftOut {
        /// How many.
        count: usize,
        /// How many of those tell of the light all the same.
        weighed: usize,
    },
    /// Times set by hand on bulb.
    TimedByHand {
        /// Doubt in stops that half a second makes.
        doubt: Stops,
    },
    /// The scene light is polarised.
    LightPolarised {
        /// Change with a quarter turn.
        change: Stops,
    },
    /// The map looks like another kind of filter.
    LooksLike {
        /// The kind it looks like, as `--kind` spells it.
        kind: &'static str,
        /// Why.
        reason: String,
    },
    /// Marks were set once each.
    RingRepeatUnknown,
    /// The frame moved or the wall's pattern changed between bare and filtered.
    SurfaceMoved,
    /// A ring was shot from its strong end.
    ShotBackwards,
    /// Long-exposure noise reduction seems on.
    NoiseReductionSuspected,
    /// Rings or holder shade the corners.
    MechanicalVignetting {
        /// Onset radius.
        onset: Percent,
    },
    /// Part of the frame was clipped or too dark through the filter or without it.
    MapIncomplete {
        /// Share of the frame.
        share: Percent,
        /// Whether the fit of the polariser pair stands in there.
        filled: bool,
    },
    /// Graduated filters blur with aperture and focal length.
    EdgeBlurredByLens {
        /// Focal length, where known.
        focal_length: Option<Millimetres>,
    },
    /// Bulb times are in play and a filter this strong says nothing about the sun.
    NotForTheSun,
    /// Frames of one state contradict each other, and nothing tells which are right.
    FramesDisagree {
        /// Files that were used.
        used: Vec<String>,
        /// Files that were not.
        against: Vec<String>,
        /// How far the latter lie from the former.
        apart: Stops,
    },
    /// Another kind of filter explains the levels nearly as well.
    KindUncertain {
        /// Kind that was taken, as `--kind` spells it.
        taken: &'static str,
        /// The other.
        other: &'static str,
    },
    /// The shoot was not made as planned.
    PlanNotFollowed {
        /// What does not match.
        what: String,
    },
}

impl Caution {
    /// Short code, as it stands in documents.
    #[must_use]
    pub fn code(&self) -> &'static str {
        self.entry().0
    }
    /// Grade.
    #[must_use]
    pub fn grade(&self) -> Grade {
        self.entry().1
    }
    /// What it does to the number, then what to do.
    #[must_use]
    pub fn text(&self) -> String {
        self.entry().2
    }
    /// As written into a document.
    #[must_use]
    pub fn record(&self) -> CautionRecord {
        let (code, grade, text) = self.entry();
        CautionRecord { code: code.to_owned(), grade, text }
    }

    fn entry(&self) -> (&'static str, Grade, String) {
        use Caution as C;
        use Grade::{Note, Number};
        match self {
            C::Apart(doubt) => doubt.entry(),
            C::Picture(doubt) => doubt.entry(),
            C::Level(doubt) => doubt.entry(),
            C::Light(doubt) => doubt.entry(),
            C::Shutter(doubt) => doubt.entry(),
            C::View(doubt) => doubt.entry(),
            C::Result(doubt) => doubt.entry(),
            C::BareNotConfirmed => ("bare_not_confirmed", Number,
                "The strength is only as good as the guess which frames were shot without the filter: \
                 they do not stand on both sides of all filtered ones. What the light did beyond them \
                 is not known, so the uncertainty grows with every minute. Shoot bare frames before \
                 and after the filter.".into()),
            C::OnePairOnly => ("one_pair_only", Number,
                "The uncertainty rests on assumptions, since there is one bare and one filtered frame and \
                 nothing to compare them with. Three frames of each show how steady the light and \
                 the shutter are.".into()),
            C::DialTimesAmbiguous { bare, filtered, doubt } => ("dial_times_ambiguous", Note, format!(
                "Nothing tells whether this camera keeps the times that its dial shows ({bare} and \
                 {filtered}) or powers of two behind them; both were reckoned with, which is {:.3} \
                 stop of the standard uncertainty. Frames of both at one shutter time settle it, and \
                 so does --times exact where you know that the times are exact.", doubt.get())),
            C::ApertureChanged => ("aperture_changed", Number,
                "Bare and filtered frames have different apertures, which adds 0.1 stop to the \
                 uncertainty. \
                 Keep the aperture fixed.".into()),
            C::IsoChanged { bare, filtered } => ("iso_changed", Number, format!(
                "Bare frames are at ISO {bare:.0}, filtered ones at ISO {filtered:.0}; the camera's \
                 gain between them is known to about 0.1 stop only. Turn automatic ISO off.")),
            C::ClockDisagrees => ("clock_disagrees", Note,
                "Capture times and frame numbers give different orders; times were followed. Check \
                 the table of frames against memory.".into()),
            C::NoCaptureTimes => ("no_capture_times", Note,
                "The frames carry no capture times, or one and the same: they were taken in the order of \
                 their numbers, and a drift of the light could not be fitted. Set the camera's clock.".into()),
            C::NotRaw => ("not_raw", Number,
                "These are pictures, not raw frames: the camera's tone curve is only guessed, which \
                 widens the uncertainty to 0.15 stop at least. Shoot raw.".into()),
            C::ExposureAssumedAlike => ("exposure_assumed_alike", Number,
                "The frames carry no exposure data; on your word all were taken as exposed alike. A \
                 stop of difference would be a stop of error.".into()),
            C::ExposureAsOthers { count } => ("exposure_as_others", Number, format!(
                "{count} {} taken, and no other frame of the same setting does. The values of the \
                 other settings were used; one stop of difference there is one stop of error. Give \
                 the aperture with --f, the ISO as \"iso\" in shoot.json, or shoot these frames \
                 again.",
                if *count == 1 { "frame does not say at which aperture or ISO it was" }
                else { "frames do not say at which aperture or ISO they were" })),
            C::NoColourMatrix => ("no_colour_matrix", Note,
                "No colour matrix is known for this camera, so the cast is given as channel gains \
                 only.".into()),
            C::LightTooColoured => ("light_too_coloured", Note,
                "The bare light is too far from white for a colour temperature. Use daylight or a \
                 white lamp.".into()),
            C::TungstenLight => ("tungsten_light", Note,
                "The light is as warm as a filament lamp: a red leak of the filter weighs more in it \
                 than outdoors, and the colour shift is less certain. Overcast daylight is \
                 better.".into()),
            C::StrongCast => ("strong_cast", Note,
                "The channels differ by more than half a stop: expose for the brightest channel and \
                 look at its histogram.".into()),
            C::RedLeakPossible { red } => ("red_leak_possible", Number, format!(
                "Red gets through by {} more than green, and blue does not tell why: the glass \
                 may leak deep red or infrared, of which camera and eye see unlike shares. What that may \
                 hide is in the uncertainty of the shift in mired, of Duv and of the strength as the eye \
                 sees it, for leaks of up to six stops; stronger ones do more. \
                 Raw gains and strength hold in light like that of this shoot alone: the gain of \
                 red changes by a few percent from sun to cloud, by a tenth and more to lamp light. A \
                 second shoot in lamp light would show it.",
                in_stops(red.get(), 2))),
            C::BrighterThanBare { stops } => ("brighter_than_bare", Number, format!(
                "What was taken as shot through the filter is brighter by {:.2} {} than what was \
                 taken as bare, and no filter gives light: the two seem swapped. Look at the table of \
                 frames, and name them with --bare and --filtered.", stops.get(), unit(stops.get()))),
            C::FarFromRated { measured, rated, reading } => ("far_from_rated", Number, format!(
                "The strength is {} where {:.1} are rated. {} whether another filter, two \
                 together, or frames of something else were shot, and whether the shutter times in the \
                 table of frames are those that were set: where a camera wrote a false one for bulb, give it with \
                 --time FILE=SECONDS.",
                in_stops(measured.get(), 1), rated.get(), reading.as_ref().map_or_else(|| "Look".into(), |r| format!(
                    "It would fit if the number on the filter means something else: then measure again \
                     with --rated {r}. Otherwise look")))),
            C::StackDiffers { difference, u95 } => ("stack_differs", Number, format!(
                "Together the filters take {:.2} +- {:.2} {} {} than one by one. Look whether these \
                 were the filters of the profiles, and at the same marks{}.", difference.abs().get(),
                u95.get(), unit(difference.get()),
                if difference.get() > 0.0 { "more" } else { "less" },
                if difference.get() > 0.0 { "" } else {
                    "; light past the holder or reflected between two filters makes a stack look weaker"
                })),
            C::MarksNumbered => ("marks_numbered", Note,
                "The marks were never named, so they are auto-numbered from the weakest on, and these \
                 numbers are not those on the ring. Give the ring's own with --marks, in the order in \
                 which they were shot. If these are filters of their own, shot one after another, measure \
                 each by itself: --from FILE --to FILE.".into()),
            C::MarksFall { lower, higher, fall } => ("marks_fall", Number, format!(
                "At mark {higher} the ring takes {:.2} {} less than at mark {lower}: the marks seem to \
                 be in the wrong order, or the ring was turned past its darkest place. Look at the \
                 table of frames, and give --marks in the order in which they were shot.", fall.get(),
                unit(fall.get()))),
            C::PolarisationUntold => ("polarisation_untold", Number,
                "One rotation cannot tell whether the light was polarised, and if it was, the loss is \
                 that of this light and not the filter's. Shoot three or more rotations, such as 0, 60 \
                 and 120 degrees, and name them with --marks.".into()),
            C::MaybePolariser => ("maybe_polariser", Note,
                "A polariser takes as much. If it is one, its loss belongs to this light, since one \
                 rotation cannot tell whether the light was polarised: shoot three or more, and \
                 measure with --kind polariser.".into()),
            C::ShadowSuspected { stops, changes } => ("shadow_suspected", Number, format!(
                "An edge across the frame makes one side {} darker{}: it looks like a shadow on \
                 the wall, which spoils the strength as much as the evenness. Shoot again where nothing \
                 throws a shadow.", in_stops(stops.get(), 2), if *changes {
                    ", in some of the frames that ought to be alike"
                } else { " through the filter alone" })),
            C::TakenAsGraduated { stops } => ("taken_as_graduated", Note, format!(
                "An edge runs across the frame, one end {} darker and the other nearly clear: \
                 it was measured as a graduated filter. If it is none, measure again with --kind solid.",
                in_stops(stops.get(), 1))),
            C::ShadeUnexplained => ("shade_unexplained", Note,
                "Something with a hard edge shades part of the frame, and neither a ring nor straight \
                 edges explain it, so where it begins is unknown. Look at the map.".into()),
            C::FramesLeftOut { count, weighed } => ("frames_left_out", Note, format!(
                "{count} {} left out for a fault; the table of frames says which and why.{}",
                if *count == 1 { "frame was" } else { "frames were" },
                match weighed {
                    0 => String::new(),
                    some => format!(" Of {some} at an end of a run it is not sure whether the frame \
                                     is spoilt or the light was on the move: both are reckoned with."),
                })),
            C::TimedByHand { doubt } => ("timed_by_hand", Note, format!(
                "Times counted by hand are good to half a second, which is {} here and is in \
                 the uncertainty. A timer remote is better.", in_stops(doubt.get(), 3))),
            C::LightPolarised { change } => ("light_polarised", Number, format!(
                "The light is polarised: turning the whole filter changed the level by {}, \
                 so its strength cannot be told from the light's own. Use a matt white wall under \
                 overcast daylight, no screen, no glossy wall, no blue sky.", in_stops(change.get(), 2))),
            C::LooksLike { kind, reason } => ("looks_like_another_kind", Number, format!(
                "This looks like another kind of filter ({reason}). If so, measure again with --kind \
                 {kind}.")),
            C::RingRepeatUnknown => ("ring_repeat_unknown", Note,
                "Each mark was set once, so how well a hand sets it is not known: a fifth of a degree is \
                 in the uncertainty. Go up the ring and back, always arriving from the same side \
                 first.".into()),
            C::SurfaceMoved => ("surface_moved", Note,
                "The picture of the wall moved between bare and filtered frames, so fine unevenness \
                 may be the wall's. Fix the tripod before the filter goes on.".into()),
            C::ShotBackwards => ("shot_backwards", Note,
                "The ring was shot from its strong end; the marks were given to the frames so that \
                 the strength grows with them. Check the table of frames against memory.".into()),
            C::NoiseReductionSuspected => ("noise_reduction_suspected", Note,
                "Each long frame is followed by a gap of its own length: long-exposure noise \
                 reduction seems on. Turn it off for a calibration.".into()),
            C::MechanicalVignetting { onset } => ("mechanical_vignetting", Note, format!(
                "A ring or holder shades the corners from {:.0} % of the half diagonal. Use fewer \
                 rings, or a longer focal length.", onset.get())),
            C::MapIncomplete { share, filled } => ("map_incomplete", Number, format!(
                "{:.0} % of the frame is clipped or too dark to be measured{}. Shoot this once more at \
                 a shorter time, so that the lightest corner does not clip.", share.get(),
                if *filled { "; there the fit of the two polarisers stands in for the map" }
                else { ", so the unevenness may be larger than stated" })),
            C::EdgeBlurredByLens { focal_length } => ("edge_blurred_by_lens", Note, format!(
                "The width of the edge belongs to this aperture and focal length{}: a smaller \
                 aperture or a shorter lens shows it sharper.",
                focal_length.map_or(String::new(), |f| format!(" ({:.0} mm)", f.get())))),
            C::NotForTheSun => ("not_for_the_sun", Note, crate::safety::SUN_FULL.into()),
            C::FramesDisagree { used, against, apart } => ("frames_disagree", Number, format!(
                "Frames that should be equal lie {:.2} {} apart, and nothing tells which are right: \
                 {} {were} used, {} not. The uncertainty is as wide as that, since the others may be \
                 the right ones. Shoot this state again{}.",
                apart.get().abs(), unit(apart.get()), listed(used), listed(against),
                if against.len() > 1 { ", or give --kind variable if these are marks of a ring; a graduated \
                 filter must not slide in its holder between frames" } else { "" },
                were = if used.len() == 1 { "was" } else { "were" })),
            C::KindUncertain { taken, other } => ("kind_uncertain", Number, format!(
                "The levels fit a {taken} filter best, but a {other} one nearly as well. Say which it \
                 is with --kind {taken} or --kind {other}.")),
            C::PlanNotFollowed { what } => ("plan_not_followed", Note, format!(
                "The frames are not those of the plan ({what}); they were sorted by their levels and \
                 order. Check the table of frames.")),
        }
    }
}

/// Names, those in the middle left out where there are many.
fn listed(names: &[String]) -> String {
    const MANY: usize = 8;
    match names {
        [] => "none".to_owned(),
        [first, .., last] if names.len() > MANY => {
            format!("{first} to {last} ({} frames)", names.len())
        }
        _ => names.join(", "),
    }
}
