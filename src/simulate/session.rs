//! A sitting: shots in order, with the clock, the changing light and the shutter of each.

use crate::frame::{Camera as Body, Capture, Exposure, FrameInfo, Origin};
use crate::quantity::{FNumber, Iso, Millimetres, Seconds};
use crate::simulate::camera::{Camera, Lens, Time};
use crate::simulate::filter::Filter;
use crate::simulate::motif::Motif;
use crate::simulate::optics::image::Image;
use crate::simulate::random::{generator, mix, normal};
use crate::simulate::scene::Scene;
use jiff::ToSpan;
use jiff::civil::DateTime;
use rand::Rng;
use std::sync::Arc;

/// Camera, lens and light of a sitting.
#[derive(Clone, Debug, PartialEq)]
pub struct Session {
    /// Camera.
    pub camera: Camera,
    /// Lens.
    pub lens: Lens,
    /// Light and wall.
    pub scene: Scene,
    /// Camera clock at the first frame; `None` for a camera that writes no time.
    pub starts: Option<DateTime>,
    /// Offset from UTC in the files.
    pub offset: Option<String>,
    /// Everything random but the camera's own fixed pattern.
    pub seed: u64,
}

/// One press of the release.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// File name.
    pub file: String,
    /// Shutter time.
    pub time: Time,
    /// Aperture.
    pub f_number: f64,
    /// ISO setting; the gain follows it exactly.
    pub iso: f64,
    /// Filters in front of the lens, none for a bare frame.
    pub filters: Vec<Filter>,
    /// Seconds between the end of the frame before and the start of this one.
    pub pause_s: f64,
    /// What is in front of the camera.
    pub motif: Motif,
    /// Brightness of this frame alone in stops (a cloud is negative).
    pub brighter: f64,
    /// Light pattern of this frame alone: stops at the corner radius, angle in degrees.
    pub lean: (f64, f64),
    /// By how much the wall moved against the frame, in parts of the frame's width (right, up).
    pub moved: (f64, f64),
    /// What the optics made of a subject with fine detail, relative to the plain wall.
    pub image: Option<Arc<Image>>,
    /// Exif orientation.
    pub orientation: u8,
    /// As-shot neutral in the file, green = 1; `None` for the camera's daylight preset.
    pub neutral: Option<[f64; 3]>,
}

impl Shot {
    /// A frame at f/8 and ISO 100, four seconds after the one before.
    #[must_use]
    pub fn of(file: &str, time: Time, filters: Vec<Filter>) -> Self {
        Self {
            file: file.to_owned(),
            time,
            f_number: 8.0,
            iso: 100.0,
            filters,
            pause_s: 4.0,
            motif: Motif::Wall,
            brighter: 0.0,
            lean: (0.0, 0.0),
            moved: (0.0, 0.0),
            image: None,
            orientation: 1,
            neutral: None,
        }
    }

    /// `count` equal frames named `prefix`, four digits from `first`, and `.dng`.
    #[must_use]
    pub fn repeated(
        prefix: &str,
        first: usize,
        count: usize,
        time: Time,
        filters: &[Filter],
    ) -> Vec<Self> {
        (first..first + count)
            .map(|n| Self::of(&format!("{prefix}{n:04}.dng"), time, filters.to_vec()))
            .collect()
    }
}

/// A shot with what chance and the clock made of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// As asked for.
    pub shot: Shot,
    /// Seconds that the shutter was open.
    pub open_s: f64,
    /// Seconds from the first frame's start to this one's.
    pub begins_s: f64,
    /// Light in parts of the scene's level: drift, walk, flicker, aperture scatter, cloud.
    pub light: f64,
    /// What its file says.
    pub info: FrameInfo,
    /// Seed of its noise.
    pub seed: u64,
}

const SECONDS_PER_MINUTE: f64 = 60.0;
/// The camera is busy that long after a frame.
const BUSY_S: f64 = 0.3;

impl Session {
    /// A sitting on a spring morning with everything at its usual value.
    #[must_use]
    pub fn new(camera: Camera, lens: Lens, scene: Scene, seed: u64) -> Self {
        Self {
            camera,
            lens,
            scene,
            starts: Some(jiff::civil::date(2026, 4, 18).at(9, 12, 31, 410_000_000)),
            offset: Some("+02:00".into()),
            seed,
        }
    }

    /// Takes the shots one after another.
    #[must_use]
    pub fn take(&self, shots: &[Shot]) -> Vec<Taken> {
        let mut rng = generator(&[self.seed, 0x7A6B]);
        let (mut clock, mut walked, mut seen_at) = (0.0, 0.0, 0.0);
        let mut taken = Vec::with_capacity(shots.len());
        for (i, shot) in shots.iter().enumerate() {
            clock += if i == 0 { 0.0 } else { shot.pause_s };
            let open_s = self.camera.shutter.opened(shot.time, self.camera.seed, &mut rng);
            let middle = (clock + open_s / 2.0) / SECONDS_PER_MINUTE;
            walked += self.scene.walk * (middle - seen_at).max(0.0).sqrt() * normal(&mut rng);
            seen_at = middle;
            let stops = self.scene.steady_stops(middle)
                + walked
                + shot.brighter
                + self.lens.aperture_scatter * normal(&mut rng);
            let flicker = self.scene.flicker_share(open_s, rng.random());
            let seed = mix(&[self.seed, i as u64, 0xF4A3]);
            let info = self.info(shot, clock, seed);
            taken.push(Taken {
                shot: shot.clone(),
                open_s,
                begins_s: clock,
                light: stops.exp2() * flicker,
                info,
                seed,
            });
            clock += open_s + BUSY_S;
        }
        taken
    }

    fn info(&self, shot: &Shot, clock_s: f64, seed: u64) -> FrameInfo {
        let (camera, lens) = (&self.camera, &self.lens);
        let contacts = lens.name.is_some();
        let focal = lens.written_focal_length;
        let diagonal = camera.sensor_mm.0.hypot(camera.sensor_mm.1);
        let equivalent = (focal * 36f64.hypot(24.0) / diagonal).round();
        let millis = (clock_s * 1e3).round() as i64;
        FrameInfo {
            file: shot.file.clone(),
            sha256: format!("{seed:016x}").repeat(4),
            origin: Origin::Raw,
            camera: Body {
                make: Some(camera.make.clone()),
                model: Some(camera.model.clone()),
                serial: camera.serial.clone(),
                lens: lens.name.clone(),
                focal_length: contacts.then(|| Millimetres::new(focal)),
                focal_length_35mm: contacts.then(|| Millimetres::new(equivalent)),
                focal_plane: None,
            },
            exposure: Exposure {
                time: Some(Seconds::new(shot.time.written())),
                from_apex: false,
                apex_time: camera
                    .shutter
                    .writes_apex
                    .then(|| Seconds::new(camera.shutter.aimed(shot.time))),
                bulb: matches!(shot.time, Time::Bulb(_)),
                f_number: contacts.then(|| FNumber::new(shot.f_number)),
                iso: Some(Iso::new(shot.iso)),
            },
            capture: Capture {
                at: self.starts.map(|t| t.saturating_add(millis.milliseconds())),
                offset: self.offset.clone(),
            },
            orientation: shot.orientation,
            as_shot_neutral: shot.neutral.or_else(|| camera.daylight_neutral()),
            matrices: camera.matrices.clone(),
            noise_reduction: None,
            subject: Default::default(),
        }
    }
}
