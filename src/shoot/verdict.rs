//! Why a frame was used or not.

use crate::profile::Verdict;
use crate::text::in_stops;

/// The judgement on one file.
#[derive(Clone, Debug, PartialEq)]
pub enum Judgement {
    /// Measured.
    Used,
    /// Lens capped; used for the black level.
    Dark,
    /// An opaque card in the filter's place; used for stray light.
    Leak,
    /// A check of the light or of stray light; looked at, not measured.
    Check,
    /// Something else that dims the light; used for the ratio of shutter times.
    Bridge,
    /// Could not be read.
    Unreadable {
        /// Why.
        reason: String,
    },
    /// A picture that the camera wrote beside a raw frame.
    Companion {
        /// The raw frame.
        of: String,
    },
    /// The same content as another file.
    Duplicate {
        /// The other file.
        of: String,
    },
    /// Too many clipped pixels in the centre.
    Clipped {
        /// Share in percent.
        percent: f64,
    },
    /// As dark as black; a lens cap or a filter stronger than this exposure can see.
    BuriedOrCapped,
    /// Far below black: damaged, or black is told wrongly.
    BelowBlack,
    /// Said to be dark, but showing light.
    NotDark,
    /// A part of it departs from the rest and from every other frame.
    Damaged,
    /// Differs from equal frames around it.
    Outlier {
        /// By how many stops.
        stops: f64,
    },
    /// Shows what frames of another state do.
    OtherState {
        /// How much more light than the frames that it was taken to be equal to, stops.
        stops: f64,
        /// Like the bare frames, or else like those through the filter.
        as_bare: bool,
    },
    /// Named as a leak frame, but as bright as frames that are none.
    NoLeak,
    /// Another camera body than most frames.
    OtherCamera {
        /// Its name.
        camera: String,
    },
    /// Another lens, or another focal length.
    OtherLens {
        /// Its name.
        lens: String,
    },
    /// The same filters at another focal length; used for what shades the corners there.
    AtFocalLength {
        /// Focal length in millimetres.
        focal_mm: f64,
        /// Whether without the filters.
        bare: bool,
    },
    /// Another aperture than the bare frames, where frames without that fault exist.
    OtherAperture {
        /// The f-number.
        f_number: f64,
    },
    /// Another ISO than the bare frames, where frames without that fault exist.
    OtherIso {
        /// The setting.
        iso: f64,
    },
    /// Not of the test surface.
    OtherPicture,
    /// No exposure time known.
    NoExposure,
    /// Aperture or ISO not told, and what other frames tell settles it not.
    ExposureUntold {
        /// Which.
        what: Untold,
    },
    /// Another size or pattern of pixels than most frames.
    OtherSize,
    /// A picture among raw frames.
    NotRaw,
    /// Outside `--from` and `--to`.
    OutsideLimits,
    /// Belongs to another shoot in the same folder.
    OtherShoot,
    /// A level that this kind of filter does not explain.
    OtherLevel {
        /// Stops below bare.
        stops: f64,
    },
    /// Left out by the user's own word.
    NotWanted,
}

/// What of an exposure is not told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Untold {
    /// The f-number.
    Aperture,
    /// The ISO setting.
    Iso,
}

impl Judgement {
    /// Whether the frame was at fault, which the exit status tells.
    #[must_use]
    pub fn is_fault(&self) -> bool {
        !matches!(
            self,
            Self::Used
                | Self::Dark
                | Self::Leak
                | Self::Check
                | Self::Bridge
                | Self::AtFocalLength { .. }
                | Self::Companion { .. }
                | Self::Duplicate { .. }
                | Self::OtherPicture
                | Self::OutsideLimits
                | Self::OtherShoot
                | Self::NotWanted
        )
    }

    /// Whether the file itself is at fault, and not how the frame was taken.
    #[must_use]
    pub fn is_damage(&self) -> bool {
        matches!(self, Self::Unreadable { .. } | Self::Damaged | Self::BelowBlack)
    }

    /// Code and plain words, as they stand in the profile.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        let (code, text) = self.entry();
        Verdict { code: code.to_owned(), text }
    }

    fn entry(&self) -> (&'static str, String) {
        match self {
            Self::Used => ("used", "measured".into()),
            Self::Dark => {
                ("dark", "no light: lens capped, or as good as; used for the black level".into())
            }
            Self::Leak => {
                ("leak", "opaque card in the filter's place; used for stray light".into())
            }
            Self::Check => ("check", "a check of the light; not measured".into()),
            Self::Bridge => (
                "bridge",
                "something else dims the light; used for the ratio of shutter times".into(),
            ),
            Self::Unreadable { reason } => ("unreadable", reason.clone()),
            Self::Companion { of } => ("companion", format!("the camera's picture beside {of}")),
            Self::Duplicate { of } => ("duplicate", format!("the same content as {of}")),
            Self::Clipped { percent } => {
                ("clipped", format!("{percent:.1} % of the centre is clipped; give it less time"))
            }
            Self::BuriedOrCapped => (
                "buried_or_capped",
                "too dark to measure: a lens cap, or far too short a time; used for neither".into(),
            ),
            Self::BelowBlack => (
                "below_black",
                "far below the black level: a damaged file; used for neither".into(),
            ),
            Self::NotDark => (
                "not_dark",
                "named as dark, but it shows light; cap the lens and close the eyepiece".into(),
            ),
            Self::Damaged => (
                "damaged",
                "a part of it breaks off sharply from the rest and from every other frame: a damaged \
                 file, or something in the way"
                    .into(),
            ),
            Self::Outlier { stops } => (
                "outlier",
                format!("{} than equal frames around it: a cloud, or a bump", than(*stops)),
            ),
            Self::OtherState { stops, as_bare } => (
                "other_state",
                format!(
                    "{} than the frames that it was named with: it looks like {}",
                    than(*stops),
                    if *as_bare { "a bare frame" } else { "one through the filter" }
                ),
            ),
            Self::NoLeak => (
                "no_leak",
                "named as a leak frame, but it shows as much light as frames that are none; put an opaque \
                 card in the filter's place"
                    .into(),
            ),
            Self::OtherCamera { camera } => {
                ("other_camera", format!("from another camera ({camera})"))
            }
            Self::OtherLens { lens } => ("other_lens", format!("through another lens ({lens})")),
            Self::AtFocalLength { focal_mm, bare } => (
                "at_focal_length",
                format!(
                    "at {focal_mm} mm, {}; used for what shades the corners there",
                    if *bare { "bare" } else { "through the filters" }
                ),
            ),
            Self::OtherAperture { f_number } => {
                ("other_aperture", format!("at f/{f_number}, unlike the bare frames"))
            }
            Self::OtherIso { iso } => {
                ("other_iso", format!("at ISO {iso:.0}, unlike the bare frames"))
            }
            Self::OtherPicture => ("other_picture", "not of the test surface".into()),
            Self::NoExposure => {
                ("no_exposure", "no exposure time known; give it with --time FILE=SECONDS".into())
            }
            Self::ExposureUntold { what } => {
                let (name, key) = match what {
                    Untold::Aperture => ("aperture", "f_number"),
                    Untold::Iso => ("ISO", "iso"),
                };
                let text = format!(
                    "the file does not say its {name}, and the frames around it do not settle it; give \
                     it as \"{key}\" in shoot.json"
                );
                ("exposure_untold", text)
            }
            Self::OtherSize => ("other_size", "another size or layout of pixels".into()),
            Self::NotRaw => ("not_raw", "a picture among raw frames".into()),
            Self::OutsideLimits => ("outside_limits", "before --from or after --to".into()),
            Self::OtherShoot => ("other_shoot", "belongs to another shoot in this folder".into()),
            Self::OtherLevel { stops } => (
                "other_level",
                format!("{} below bare, which no state of this filter explains", in_stops(*stops, 2)),
            ),
            Self::NotWanted => ("not_wanted", "left out on your word".into()),
        }
    }
}

/// "10.37 stops darker".
fn than(stops: f64) -> String {
    let way = if stops < 0.0 { "darker" } else { "brighter" };
    format!("{} {way}", in_stops(stops.abs(), 2))
}
