//! The simulated camera and lens: sensor, shutter, what its files say.

use crate::frame::cfa::Cfa;
use crate::frame::{Area, BlackPattern, ColourMatrix};
use crate::simulate::random::{fixed_normal, normal};
use rand::Rng;

/// How the dial relates to the time the shutter stays open.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Dial {
    /// Powers of two behind rounded numbers: 1/60 is 1/64, 15 s is 16 s.
    PowersOfTwo,
    /// The dial's numbers as they stand.
    Exact,
}

/// A shutter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shutter {
    /// Rule behind the dial.
    pub dial: Dial,
    /// Size of the offset that each distinct time carries, in units of what a good shutter has
    /// ([`usual_offset`]); 0 for a perfect one.
    pub offsets: f64,
    /// Scatter from frame to frame in stops.
    pub jitter: f64,
    /// Difference of open time between the top and the bottom of the frame in seconds.
    pub curtain_tilt_s: f64,
    /// Whether Exif's ShutterSpeedValue holds the true time.
    pub writes_apex: bool,
}

/// Standard deviation in stops of the offset of one shutter time: 0.01 from 1/125 up, 0.02 to
/// 1/1000, 0.05 shorter (the budget's own figures, no published source).
#[must_use]
pub fn usual_offset(seconds: f64) -> f64 {
    const SHORT: f64 = 1.0 / 130.0;
    const SHORTEST: f64 = 1.0 / 1050.0;
    match seconds {
        t if t >= SHORT => 0.01,
        t if t >= SHORTEST => 0.02,
        _ => 0.05,
    }
}

/// A shutter time as the photographer sets it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Time {
    /// From the dial.
    Dial(f64),
    /// By an electronic timer: kept as it stands.
    Timer(f64),
    /// Counted by hand on bulb: up to half a second off either way, whole seconds in the file.
    Hand(f64),
    /// Bulb on a body that writes 0 as the time.
    Bulb(f64),
}

impl Time {
    /// Seconds as set.
    #[must_use]
    pub fn set(self) -> f64 {
        match self {
            Self::Dial(t) | Self::Timer(t) | Self::Hand(t) | Self::Bulb(t) => t,
        }
    }
    /// Seconds as the file says.
    #[must_use]
    pub fn written(self) -> f64 {
        match self {
            Self::Dial(t) | Self::Timer(t) => t,
            Self::Hand(t) => t.round(),
            Self::Bulb(_) => 0.0,
        }
    }
}

/// Half a second of a hand on the release.
const HAND_S: f64 = 0.5;

impl Shutter {
    /// Seconds that the shutter aims at.
    #[must_use]
    pub fn aimed(&self, time: Time) -> f64 {
        match (time, self.dial) {
            (Time::Dial(t), Dial::PowersOfTwo) => {
                let tv = -t.log2();
                let (thirds, halves) = ((3.0 * tv).round() / 3.0, (2.0 * tv).round() / 2.0);
                let nearer =
                    if (tv - thirds).abs() <= (tv - halves).abs() { thirds } else { halves };
                (-nearer).exp2()
            }
            _ => time.set(),
        }
    }

    /// Seconds that it stays open this once; the offset of a time is the same in all frames of one
    /// `camera_seed`.
    pub fn opened(&self, time: Time, camera_seed: u64, rng: &mut impl Rng) -> f64 {
        let aimed = self.aimed(time);
        let offset = self.offsets * usual_offset(aimed);
        let stops = offset * fixed_normal(&[camera_seed, 0x5475, aimed.to_bits()])
            + self.jitter * normal(rng);
        let hand = match time {
            Time::Hand(_) => rng.random_range(-HAND_S..HAND_S),
            _ => 0.0,
        };
        aimed * stops.exp2() + hand
    }
}

/// A lens.
#[derive(Clone, Debug, PartialEq)]
pub struct Lens {
    /// Name in the file; `None` without contacts, then the file holds no focal length and no
    /// aperture either.
    pub name: Option<String>,
    /// Focal length in millimetres as light sees it.
    pub focal_length: f64,
    /// Focal length in the file, in millimetres.
    pub written_focal_length: f64,
    /// Falloff: 1 is cos^4.
    pub falloff: f64,
    /// Scatter of the aperture from frame to frame in stops.
    pub aperture_scatter: f64,
}

/// A camera.
#[derive(Clone, Debug, PartialEq)]
pub struct Camera {
    /// Maker.
    pub make: String,
    /// Model.
    pub model: String,
    /// Serial number.
    pub serial: Option<String>,
    /// Width and height of the active area in millimetres.
    pub sensor_mm: (f64, f64),
    /// Stored columns and rows, borders included.
    pub stored: (usize, usize),
    /// The part that sees light.
    pub active: Area,
    /// Optically black parts.
    pub masked: Vec<Area>,
    /// Pattern from the active area's origin.
    pub cfa: Cfa,
    /// Black levels as the file says.
    pub black: BlackPattern,
    /// Counts by which the true black level lies above the file's.
    pub black_shift: f64,
    /// Clipping level.
    pub white: u16,
    /// Counts per electron at ISO 100.
    pub gain: f64,
    /// Share of its counts that a pixel lacks at full scale, growing in step with the light: the
    /// response bends. 0 for a line.
    pub bend: f64,
    /// Electrons.
    pub read_noise: f64,
    /// Differences between pixels, one sigma in parts of the signal.
    pub non_uniformity: f64,
    /// Share of hot pixels.
    pub hot_share: f64,
    /// Mean electrons per second of a hot pixel (exponentially distributed).
    pub hot_rate: f64,
    /// Electrons per second of every pixel in the dark.
    pub dark_rate: f64,
    /// From XYZ to camera.
    pub matrices: Vec<ColourMatrix>,
    /// Shutter.
    pub shutter: Shutter,
    /// Its own fixed pattern and shutter offsets.
    pub seed: u64,
}

/// An invented matrix for D65; rows sum to what its sensor sees of that light.
const MATRIX: [f64; 9] = [0.72, -0.22, -0.06, -0.44, 1.24, 0.22, -0.08, 0.18, 0.62];
const D65: u16 = 21;
/// A 6 x 6 pattern of the X-Trans kind.
const SIX: &str = "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG";

impl Camera {
    /// A 14-bit camera of 36 x 24 mm with a Bayer mosaic, `width` x `height` active pixels and no
    /// masked border. Files hold exact levels; the shutter keeps powers of two.
    #[must_use]
    pub fn bayer(width: usize, height: usize) -> Self {
        Self {
            make: "Kelmora".into(),
            model: "Kelmora Two".into(),
            serial: Some("K2-00417".into()),
            sensor_mm: (36.0, 24.0),
            stored: (width, height),
            active: Area { left: 0, top: 0, width, height },
            masked: Vec::new(),
            cfa: Cfa::from_letters("RGGB").expect("these four letters are a Bayer phase"),
            black: BlackPattern { rows: 2, columns: 2, values: vec![512.25, 511.75, 512.0, 512.5] },
            black_shift: 0.0,
            white: 16_000,
            gain: 0.25,
            bend: 0.0,
            read_noise: 3.0,
            non_uniformity: 0.006,
            hot_share: 2e-4,
            hot_rate: 400.0,
            dark_rate: 0.05,
            matrices: vec![ColourMatrix {
                illuminant: Some(D65),
                xyz_to_camera: MATRIX,
                source: "file".into(),
            }],
            shutter: Shutter {
                dial: Dial::PowersOfTwo,
                offsets: 1.0,
                jitter: 0.0,
                curtain_tilt_s: 0.0,
                writes_apex: true,
            },
            seed: 417,
        }
    }

    /// The same with a 6 x 6 pattern and one black level.
    #[must_use]
    pub fn xtrans(width: usize, height: usize) -> Self {
        Self {
            model: "Kelmora Six".into(),
            cfa: Cfa::from_letters(SIX).expect("these letters are a 6 x 6 pattern"),
            black: BlackPattern::uniform(1022.0),
            ..Self::bayer(width, height)
        }
    }

    /// Puts a masked border of these many pixels left of and above the active area.
    #[must_use]
    pub fn with_border(mut self, left: usize, top: usize) -> Self {
        let Area { width, height, .. } = self.active;
        self.stored = (width + left, height + top);
        self.active = Area { left, top, width, height };
        self.masked =
            [Area { left: 0, top, width: left, height }, Area { left, top: 0, width, height: top }]
                .into_iter()
                .filter(|a| a.width > 0 && a.height > 0)
                .collect();
        self
    }

    /// Electrons at which a pixel clips at ISO 100.
    #[must_use]
    pub fn full_electrons(&self) -> f64 {
        let black = self.black.values.iter().sum::<f64>() / self.black.values.len() as f64;
        (f64::from(self.white) - black) / self.gain
    }

    /// Counts above black where a sensor on a line would give so many.
    #[must_use]
    pub fn bent(&self, counts: f64) -> f64 {
        counts * (1.0 - self.bend * counts / (self.full_electrons() * self.gain))
    }

    /// Camera RGB of daylight of 5500 K: what its daylight preset writes as neutral.
    #[must_use]
    pub fn daylight_neutral(&self) -> Option<[f64; 3]> {
        self.matrices.first().map(|m| crate::simulate::scene::daylight_rgb(5500.0, m))
    }
}

impl Lens {
    /// A lens with contacts and ordinary falloff.
    #[must_use]
    pub fn of(focal_length: f64) -> Self {
        Self {
            name: Some(format!("Kelmora {focal_length} mm f/2.8")),
            focal_length,
            written_focal_length: focal_length,
            falloff: 0.6,
            aperture_scatter: 0.0,
        }
    }
    /// The same lens without contacts.
    #[must_use]
    pub fn without_contacts(self) -> Self {
        Self { name: None, ..self }
    }
}
