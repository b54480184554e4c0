//! Why frames of a wall make no camera record, and what to do.

use crate::measure::fit::FitError;

/// Failures, by whoever has to do something else.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CameraError {
    /// Not one frame could be read.
    #[error("no frame could be read: {file:?}: {reason}; copy the frames from the card again")]
    NothingReadable {
        /// The first.
        file: String,
        /// What is wrong with it.
        reason: String,
    },
    /// The files do not tell a body.
    #[error(
        "the frames tell no camera ({file:?} names none), so that no later shoot could be known as \
         of the same body; give raw frames as the camera wrote them"
    )]
    NoBody {
        /// The first.
        file: String,
    },
    /// Frames of more than one body.
    #[error(
        "the frames are of {} bodies: {}; a camera record is of one: put the frames of each into a \
         folder of its own",
        bodies.len(),
        bodies.join("; ")
    )]
    SeveralBodies {
        /// Each with the number of its frames and the first of them.
        bodies: Vec<String>,
    },
    /// No raw frame among them.
    #[error(
        "{file:?} is a picture and no raw frame, and so are all others; pictures hide what the sensor \
         counted: set the camera to raw"
    )]
    NotRaw {
        /// The first.
        file: String,
    },
    /// The folder says that a filter was on the lens.
    #[error(
        "{file:?} lies in a folder for frames through a filter; a camera record is made of a bare \
         wall: shoot one without any filter (lightloss camera --help tells how), or measure the \
         filter with lightloss measure"
    )]
    Filtered {
        /// The first such frame.
        file: String,
    },
    /// Nothing that could be used.
    #[error(
        "none of the {} frames can be used: {}; shoot an evenly lit bare wall, below 80 % of full \
         scale (lightloss camera --help tells how)",
        of,
        reasons.join("; ")
    )]
    NothingGood {
        /// Frames.
        of: usize,
        /// Why they were left out, the commonest first.
        reasons: Vec<String>,
    },
    /// So many frames are of no use that they, and not what the others lack, are the reason.
    #[error(
        "{out} of the {of} frames cannot be used: {}; put that right first. Of the others: {why}",
        reasons.join("; ")
    )]
    MostLeftOut {
        /// Frames left out.
        out: usize,
        /// Of so many.
        of: usize,
        /// Why, the commonest first.
        reasons: Vec<String>,
        /// What the others lack.
        why: Box<CameraError>,
    },
    /// All at one time.
    #[error(
        "{} at one time, {time}; a camera record needs many: go along the \
         dial in thirds of a stop at each light level (lightloss camera --help tells how)",
        all_shot(*frames)
    )]
    OneTime {
        /// Frames.
        frames: usize,
        /// The time.
        time: String,
    },
    /// Fewer times than a record is worth keeping for.
    #[error(
        "the frames hold only {} times that hang together: {}; a camera record needs {least} at \
         least: go along the dial in thirds of a stop at each light level",
        times.len(),
        times.join(", ")
    )]
    FewTimes {
        /// The times.
        times: Vec<String>,
        /// How many are needed.
        least: usize,
    },
    /// One light level only.
    #[error(
        "all {frames} frames, from {from} to {to}, are of one light level; with one alone a sensor \
         that bends looks like a shutter that errs: dim the light by three stops, or close the \
         aperture by as much, and go along the dial again, with the times of both levels overlapping \
         by two stops"
    )]
    OneLevel {
        /// Frames.
        frames: usize,
        /// Shortest time.
        from: String,
        /// Longest time.
        to: String,
    },
    /// No time was shot at two light levels.
    #[error(
        "not all light levels share times with each other: {}; nothing ties their times together: let \
         the times of neighbouring levels overlap by two stops. Where the darker frames were shot through a \
         filter, this is a filter's shoot: lightloss measure measures it",
        levels.join("; ")
    )]
    Unconnected {
        /// Times of each level, of levels that have the same ones once.
        levels: Vec<String>,
    },
    /// The light or the frames moved too much.
    #[error(
        "the times come out no better than without a record (u95 {u95:.3} stop for half of them): the \
         light moved by {moved:.2} stop and frames scatter by {scatter:.3} stop; shoot under a lamp \
         on a battery (one on the mains flickers), away from the window, at the widest aperture, and each time twice, up the dial and down again"
    )]
    Unsteady {
        /// Median u95, stops.
        u95: f64,
        /// Range of the light, stops.
        moved: f64,
        /// Scatter of one frame, stops.
        scatter: f64,
    },
    /// Light that no two frames share.
    #[error(
        "from one frame to the next at one time the light changes by {step:.3} stop, as a window's does under \
         clouds: that hides what times differ by; shoot at night or with the curtains drawn, under a lamp on a \
         battery"
    )]
    Restless {
        /// What two frames in a row differ by, in the middle, stops.
        step: f64,
    },
    /// The fit failed.
    #[error(transparent)]
    Fit(#[from] FitError),
}

fn all_shot(frames: usize) -> String {
    match frames {
        1 => "the only frame of use was shot".to_owned(),
        many => format!("all {many} frames were shot"),
    }
}
