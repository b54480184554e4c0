//! The demo's invented scenario.
//!
//! Ines Valdrand photographs the coast around Skarvoy, a harbour village that is on no map, with
//! one camera and a handful of filters that bear names of their own.

use crate::exposure::series::DialTime;
use crate::quantity::Seconds;
use crate::simulate::camera::{Camera, Lens, Time};
use crate::simulate::demo_picture::{self, Burden};
use crate::simulate::files::{self, FilesError};
use crate::simulate::filter::{Filter, Graduation};
use crate::simulate::optics::Transition;
use crate::simulate::scene::{Scene, daylight_rgb};
use crate::simulate::session::{Session, Shot, Taken};
use crate::write::dng::Compression;
use serde::Serialize;
use std::path::Path;

/// A filter of the scenario.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Owned {
    /// Name.
    pub name: &'static str,
    /// As `--kind` spells it.
    pub kind: &'static str,
    /// As `--rated` takes it.
    pub rated: &'static str,
    /// Marks of a variable ring in the order they were shot.
    pub marks: Vec<String>,
}

/// What was planted for one state of a filter.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Truth {
    /// Mark of a variable ring.
    pub mark: Option<String>,
    /// Stops over the centre in red, green, blue, light averaged.
    pub stops: [f64; 3],
    /// Angle between the absorption axes and their acute bisector, degrees, for a pair.
    pub pair: Option<(f64, f64)>,
    /// Graduation: dark end minus clear end in stops, 10-90 % width and centre in percent of the
    /// height, angle in degrees.
    pub graduation: Option<(f64, f64, f64, f64)>,
}

/// A calibration shoot of the demo.
#[derive(Clone, Debug, PartialEq)]
pub struct DemoShoot {
    /// Folder name.
    pub folder: &'static str,
    /// The filter.
    pub filter: Owned,
    /// Of a shoot made by a plan: what the meter read without the filter, as `--metered` takes it.
    pub metered: Option<&'static str>,
    /// Camera, lens and light.
    pub session: Session,
    /// Shots in order.
    pub shots: Vec<Shot>,
    /// What was planted, one entry per state.
    pub truth: Vec<Truth>,
    /// The filter and what it does to the picture, where frames were made of that too.
    pub picture: Option<(Filter, Burden)>,
}

impl DemoShoot {
    /// The shots as taken.
    #[must_use]
    pub fn taken(&self) -> Vec<Taken> {
        self.session.take(&self.shots)
    }

    /// Frames for sharpness, veil and ghosts, in folders of their own.
    #[must_use]
    pub fn picture_shots(&self) -> Vec<Shot> {
        let Some((filter, planted)) = &self.picture else { return Vec::new() };
        let stops = filter.stops[1];
        let dial = |seconds: f64| {
            let wanted = Seconds::new(seconds * stops.exp2());
            Time::Dial(DialTime::nearest(wanted).map_or(30.0, |d| d.shown().get()))
        };
        let area = self.session.camera.active;
        demo_picture::shots(filter, planted, (area.width, area.height), dial)
    }

    /// Renders the shoot's files into a folder, uncompressed.
    ///
    /// # Errors
    /// Where the system refuses, or files are there already and are not to be replaced.
    pub fn write(&self, folder: &Path, replace: bool) -> Result<(), FilesError> {
        files::write_all(&self.session, &self.taken(), folder, Compression::None, replace)?;
        let picture = self.session.take(&self.picture_shots());
        files::write_all(&self.session, &picture, folder, Compression::LosslessJpeg, replace)
    }
}

/// Active pixels of the demo's camera.
pub const SIZE: (usize, usize) = (1152, 768);
/// Active pixels of the small shoot that is kept beside the scenario's description.
pub const SMALL: (usize, usize) = (384, 256);
/// Share of full scale that a good frame reaches in green.
const AIM: f64 = 0.45;
/// The bare frames' dial time, short enough for a bright wall and long enough for the shutter.
const BARE: f64 = 1.0 / 125.0;
const BARE_TRUE: f64 = 1.0 / 128.0;
/// The wall's daylight.
const KELVIN: f64 = 6100.0;
/// Seconds it takes to screw a filter on or off.
const CHANGE_S: f64 = 25.0;

/// The camera of the scenario.
#[must_use]
pub fn camera((width, height): (usize, usize)) -> Camera {
    let mut camera = Camera::bayer(width, height).with_border(24, 16);
    // its files hold the true time beside the dial's
    camera.shutter.writes_apex = true;
    camera
}

fn wall(camera: Camera, focal_length: f64, seed: u64) -> Session {
    let light = camera.matrices.first().map_or([1.0; 3], |m| daylight_rgb(KELVIN, m));
    let scene = Scene { drift: -0.004, walk: 0.002, ..Scene::daylight(AIM / BARE_TRUE, light) };
    Session::new(camera, Lens::of(focal_length), scene, seed)
}

/// The filters' true nature.
pub mod kit {
    use super::{Filter, Graduation, Transition};

    /// A ten-stop that is darker than it is rated, and bluish: absorbing glass.
    #[must_use]
    pub fn harbour_ten() -> Filter {
        Filter { tilt: Some((0.02, 70.0)), ..Filter::glass([10.56, 10.35, 10.18]) }
    }
    /// A weak, nearly neutral three-stop film.
    #[must_use]
    pub fn weir_three() -> Filter {
        Filter::even([2.90, 2.93, 2.99])
    }
    /// Strengths in stops of the variable filter's eight marks at the centre of the glass, in green.
    pub const TIDE_MARKS: [f64; 8] = [1.30, 2.05, 2.95, 4.05, 5.25, 6.60, 8.00, 9.60];
    const TIDE_BASE: [f64; 3] = [1.33, 1.30, 1.36];
    const TIDE_FLOOR: [f64; 3] = [6e-4, 4e-4, 1.1e-3];
    /// Where the sheet that stays still absorbs, in degrees.
    const TIDE_STILL: f64 = 22.0;
    /// The variable filter at one of its marks (0 to 7).
    #[must_use]
    pub fn tide_ring(mark: usize) -> Filter {
        let passed = (TIDE_BASE[1] - TIDE_MARKS[mark]).exp2();
        let axes = (passed - TIDE_FLOOR[1]).clamp(0.0, 1.0).sqrt().acos().to_degrees();
        Filter::pair(TIDE_BASE, axes, TIDE_STILL + axes / 2.0, TIDE_FLOOR)
    }
    /// A six-stop sheet of resin, a little warm.
    #[must_use]
    pub fn fen_six() -> Filter {
        Filter::even([5.95, 6.02, 6.12])
    }
    /// A six-stop of glass.
    #[must_use]
    pub fn beck_six() -> Filter {
        Filter::glass([6.03, 5.97, 6.00])
    }
    /// A graduated filter, soft, set a little askew.
    #[must_use]
    pub fn moor_edge() -> Filter {
        Filter {
            graduation: Some(Graduation {
                stops: 2.72,
                transition: Transition::Erf,
                width_percent: 30.0,
                centre_percent: 48.0,
                angle: 2.5,
            }),
            ..Filter::even([0.07, 0.06, 0.08])
        }
    }
}

/// The dial time through a filter that comes nearest to the bare frames' level.
fn dial_through(stops: f64) -> Time {
    let wanted = Seconds::new(BARE_TRUE * stops.exp2());
    Time::Dial(DialTime::nearest(wanted).map_or(30.0, |d| d.shown().get()))
}

/// Bare frames, frames through each state, bare frames; numbered from `first`.
fn sequence(first: usize, states: &[(Filter, Time)], repeats: (usize, usize)) -> Vec<Shot> {
    let bare = || (Vec::new(), Time::Dial(BARE), repeats.0);
    let through = states.iter().map(|(f, t)| (vec![f.clone()], *t, repeats.1));
    runs(first, std::iter::once(bare()).chain(through).chain([bare()]))
}

/// Runs of so many frames of one state at one time.
fn runs(first: usize, runs: impl IntoIterator<Item = (Vec<Filter>, Time, usize)>) -> Vec<Shot> {
    let mut shots = Vec::new();
    for (filters, time, count) in runs {
        let mut run = Shot::repeated("SKA_", first + shots.len(), count, time, &filters);
        if let (Some(start), false) = (run.first_mut(), shots.is_empty()) {
            start.pause_s = CHANGE_S;
        }
        shots.extend(run);
    }
    shots
}

fn truth(session: &Session, filter: &Filter, mark: Option<String>) -> Truth {
    Truth {
        mark,
        stops: session.centre_stops(std::slice::from_ref(filter)),
        pair: filter.pair.map(|p| (p.axes_angle, p.bisector)),
        graduation: filter
            .graduation
            .map(|g| (g.stops, g.width_percent, g.centre_percent, g.angle)),
    }
}

/// One state, three frames of it between three and three bare ones.
fn single(
    folder: &'static str,
    filter: Owned,
    session: Session,
    glass: &Filter,
    first: usize,
) -> DemoShoot {
    // The clear end of a graduated filter must not clip, so it is exposed like the bare wall.
    let time = dial_through(glass.stops[1]);
    DemoShoot {
        folder,
        filter,
        metered: None,
        shots: sequence(first, &[(glass.clone(), time)], (3, 3)),
        truth: vec![truth(&session, glass, None)],
        session,
        picture: None,
    }
}

/// The ten-stop at any size of frame.
#[must_use]
pub fn harbour_ten(size: (usize, usize)) -> DemoShoot {
    let filter = Owned { name: "Harbour Ten", kind: "solid", rated: "10", marks: Vec::new() };
    single("harbour-ten", filter, wall(camera(size), 50.0, 1), &kit::harbour_ten(), 3101)
}

/// The three-stop, by the plan for it: with and without in turns, every frame at one time.
fn weir_three() -> DemoShoot {
    const FIRST: usize = 3127;
    let session = wall(camera(SIZE), 35.0, 2);
    let glass = kit::weir_three();
    let filtered = vec![glass.clone()];
    let bare = Vec::new;
    let states = [bare(), filtered.clone(), bare(), filtered, bare()];
    DemoShoot {
        folder: "weir-three",
        filter: Owned { name: "Weir Three", kind: "solid", rated: "3", marks: Vec::new() },
        metered: Some("1/500"),
        shots: runs(FIRST, states.map(|state| (state, Time::Dial(BARE), 2))),
        truth: vec![truth(&session, &glass, None)],
        session,
        picture: None,
    }
}

fn moor_edge() -> DemoShoot {
    let filter = Owned { name: "Moor Edge", kind: "graduated", rated: "3", marks: Vec::new() };
    single("moor-edge", filter, wall(camera(SIZE), 35.0, 3), &kit::moor_edge(), 3188)
}

fn tide_ring() -> DemoShoot {
    const FIRST: usize = 3140;
    /// From this mark on the lobes beside the dark arms are much brighter than the centre.
    const CAREFUL_FROM: usize = 5;
    let session = wall(camera(SIZE), 20.0, 4);
    let marks: Vec<String> = (1..=8).map(|m: u32| m.to_string()).collect();
    let states: Vec<(Filter, Time)> = (0..8)
        .map(|mark| {
            let filter = kit::tide_ring(mark);
            let stops = session.centre_stops(std::slice::from_ref(&filter))[1];
            let shorter = if mark >= CAREFUL_FROM { 1.0 } else { 0.0 };
            (filter, dial_through(stops - shorter))
        })
        .collect();
    let truth = states
        .iter()
        .zip(&marks)
        .map(|((filter, _), mark)| truth(&session, filter, Some(mark.clone())))
        .collect();
    DemoShoot {
        folder: "tide-ring",
        filter: Owned { name: "Tide Ring", kind: "variable", rated: "1-9", marks },
        metered: None,
        shots: sequence(FIRST, &states, (3, 2)),
        session,
        truth,
        picture: None,
    }
}

/// A filter that was also held before a target, a dark hole and a lamp.
fn with_picture(
    folder: &'static str,
    filter: Owned,
    seed: u64,
    glass: &Filter,
    first: usize,
    planted: Burden,
) -> DemoShoot {
    let shoot = single(folder, filter, wall(camera(SIZE), 50.0, seed), glass, first);
    DemoShoot { picture: Some((glass.clone(), planted)), ..shoot }
}

/// The clean one, of glass.
#[must_use]
pub fn beck_six() -> DemoShoot {
    let filter = Owned { name: "Beck Six", kind: "solid", rated: "6", marks: Vec::new() };
    with_picture("beck-six", filter, 5, &kit::beck_six(), 3201, demo_picture::GLASS)
}

/// The resin sheet whose owner suspects a loss.
#[must_use]
pub fn fen_six() -> DemoShoot {
    let filter = Owned { name: "Fen Six", kind: "solid", rated: "6", marks: Vec::new() };
    with_picture("fen-six", filter, 6, &kit::fen_six(), 3221, demo_picture::RESIN)
}

/// All calibration shoots of the demo, the good ten-stop one first.
#[must_use]
pub fn shoots() -> Vec<DemoShoot> {
    vec![harbour_ten(SIZE), weir_three(), tide_ring(), moor_edge(), beck_six(), fen_six()]
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::frame::cfa::Plane;
    use crate::simulate::cells::draw;
    use crate::simulate::evening::evening;

    /// Clipped share of green and its mean above black in parts of full scale, at the centre.
    fn centre(session: &Session, taken: &Taken) -> (f64, f64) {
        let summary = draw(session, taken);
        let plane = summary.cells.plane(Plane::Green1).unwrap();
        let (mean, clipped) = plane.over(&summary.cells.centre_cells()).unwrap();
        (clipped, (mean - 512.0) / (f64::from(session.camera.white) - 512.0))
    }

    #[test]
    fn every_frame_of_the_shoots_is_well_exposed() {
        for shoot in shoots() {
            // By a plan the filter gets the bare frames' time: it is darker by what it takes.
            let planned = shoot.metered.map_or(0.0, |_| shoot.truth[0].stops[1]);
            for taken in shoot.taken() {
                let darker = if taken.shot.filters.is_empty() { 0.0 } else { planned };
                let (clipped, level) = centre(&shoot.session, &taken);
                assert_eq!(clipped, 0.0, "{} {}", shoot.folder, taken.shot.file);
                assert!(
                    (0.12..0.75).contains(&(level * darker.exp2())),
                    "{} {}: {level}",
                    shoot.folder,
                    taken.shot.file
                );
            }
        }
    }

    #[test]
    fn the_ten_stop_is_darker_than_its_rim_says() {
        let shoot = harbour_ten(SIZE);
        let [red, green, blue] = shoot.truth[0].stops;
        assert!((green - 10.35).abs() < 0.01, "{green}");
        assert!(red > green && green > blue);
        assert_eq!(shoot.shots.len(), 9);
        assert!(shoot.taken().iter().all(|t| t.open_s > 1.0 / 135.0 && t.open_s < 33.0));
    }

    #[test]
    fn the_ring_covers_its_range_and_crosses_at_the_end() {
        let truth = tide_ring().truth;
        assert_eq!(truth.len(), 8);
        assert!(truth.windows(2).all(|w| w[1].stops[1] > w[0].stops[1] + 0.4));
        assert!(truth[7].pair.unwrap().0 > 85.0);
    }

    #[test]
    fn the_evening_is_in_order_and_its_meterings_are_near() {
        let evening = evening();
        let taken = evening.session.take(&evening.shots);
        assert_eq!(taken.len(), evening.planted.len());
        for (one, planted) in taken.iter().zip(&evening.planted) {
            assert_eq!(one.shot.filters.len(), planted.filters.len());
            let Some(bare) = &planted.bare_frame else { continue };
            let bare = taken.iter().find(|t| t.shot.file == *bare).unwrap();
            assert!((0.0..900.0).contains(&(one.begins_s - bare.begins_s)));
            assert!(bare.shot.filters.is_empty());
        }
    }
}
