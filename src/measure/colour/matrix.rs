//! The camera's matrix, frozen at the bare light.
//!
//! A DNG camera profile gives one matrix from CIE XYZ to camera RGB for each of one to three
//! lights; in between they are mixed linearly in inverse temperature (DNG specification, mapping
//! camera colour space to CIE XYZ). Differences between frames are only meaningful through one and
//! the same matrix, so it is settled once, at the bare light.

use super::{Xyz, light_of};
use crate::frame::ColourMatrix;
use crate::profile::MatrixRecord;
use crate::quantity::{Kelvin, Mired};
use nalgebra::{Matrix3, Vector3};

/// Most rounds of the search for the white point, and the change of xy that ends it.
const ROUNDS: usize = 30;
const SETTLED: f64 = 1e-7;
/// Where the search starts, and where it stays while a step has no temperature: D50.
const START_K: f64 = 5000.0;

/// Temperature of an Exif LightSource code as DNG readers take it (2850 K for A and 6500 K for D65
/// are theirs; the fluorescent ranges are the middles of those in Exif 2.3).
#[must_use]
pub fn illuminant_kelvin(code: u16) -> Option<Kelvin> {
    let kelvin = match code {
        3 | 17 => 2850.0,
        24 => 3200.0,
        23 => 5000.0,
        1 | 4 | 9 | 18 | 20 => 5500.0,
        2 | 14 => 4150.0,
        10 | 19 | 21 => 6500.0,
        11 | 22 => 7500.0,
        12 => 6400.0,
        13 => 5050.0,
        15 => 3525.0,
        16 => 2925.0,
        _ => return None,
    };
    Some(Kelvin::new(kelvin))
}

/// Short name of an Exif LightSource code.
#[must_use]
pub fn illuminant_name(code: u16) -> Option<&'static str> {
    Some(match code {
        1 => "daylight",
        2 => "fluorescent",
        3 => "tungsten",
        4 => "flash",
        9 => "fine weather",
        10 => "cloudy weather",
        11 => "shade",
        12 => "daylight fluorescent",
        13 => "day white fluorescent",
        14 => "cool white fluorescent",
        15 => "white fluorescent",
        16 => "warm white fluorescent",
        17 => "A",
        18 => "B",
        19 => "C",
        20 => "D55",
        21 => "D65",
        22 => "D75",
        23 => "D50",
        24 => "studio tungsten",
        _ => return None,
    })
}

/// A matrix settled at the bare light, with that light's XYZ.
#[derive(Clone, Debug, PartialEq)]
pub struct FrozenMatrix {
    xyz_to_camera: Matrix3<f64>,
    camera_to_xyz: Matrix3<f64>,
    white: Xyz,
    source: String,
    illuminant: Option<String>,
}

impl FrozenMatrix {
    /// Settles the matrix for the camera RGB of a neutral in the bare light (any scale); `None`
    /// where no usable matrix is given or the neutral makes no light.
    #[must_use]
    pub fn at(neutral: [f64; 3], matrices: &[ColourMatrix]) -> Option<Self> {
        if !neutral.iter().all(|v| v.is_finite() && *v > 0.0) {
            return None;
        }
        let set = Set::of(matrices)?;
        let neutral = Vector3::from(neutral) / neutral[1];
        let mut mired = Kelvin::new(START_K).mired();
        let (mut last, mut xy) = ([f64::NAN; 2], [f64::NAN; 2]);
        for _ in 0..ROUNDS {
            let xyz = Xyz((set.mixed(mired).try_inverse()? * neutral).into());
            (last, xy) = (xy, xyz.xy()?);
            if (xy[0] - last[0]).abs() + (xy[1] - last[1]).abs() < SETTLED {
                break;
            }
            mired = mired_of(xy);
        }
        // Two values in turn: their middle (as DNG readers do); nothing to a settled search.
        if last.iter().all(|c| c.is_finite()) {
            mired = mired_of([0.5 * (last[0] + xy[0]), 0.5 * (last[1] + xy[1])]);
        }
        let xyz_to_camera = set.mixed(mired);
        let camera_to_xyz = xyz_to_camera.try_inverse()?;
        let white = Xyz((camera_to_xyz * neutral).into());
        if !(white.0[1] > 0.0 && white.xy().is_some()) {
            return None;
        }
        let (source, illuminant) = set.described(mired);
        Some(Self { xyz_to_camera, camera_to_xyz, white, source, illuminant })
    }

    /// XYZ of camera RGB, on the scale on which the bare neutral has green 1.
    #[must_use]
    pub fn xyz(&self, camera: [f64; 3]) -> Xyz {
        Xyz((self.camera_to_xyz * Vector3::from(camera)).into())
    }

    /// XYZ of the bare light.
    #[must_use]
    pub fn white(&self) -> Xyz {
        self.white
    }

    /// Camera RGB of a light of this colour, green 1.
    #[must_use]
    pub fn neutral_of(&self, xyz: Xyz) -> [f64; 3] {
        let camera = self.xyz_to_camera * Vector3::from(xyz.0);
        (camera / camera[1]).into()
    }

    /// As documents keep it.
    #[must_use]
    pub fn record(&self) -> MatrixRecord {
        let m = &self.xyz_to_camera;
        MatrixRecord {
            source: self.source.clone(),
            illuminant: self.illuminant.clone(),
            xyz_to_camera: std::array::from_fn(|i| m[(i / 3, i % 3)]),
        }
    }
}

fn mired_of(xy: [f64; 2]) -> Mired {
    light_of(Xyz::from_xy(xy)).map_or(Kelvin::new(START_K), |light| light.cct_k).mired()
}

/// Usable matrices by rising mired; a single one has no use for its temperature.
struct Set<'a>(Vec<(f64, Matrix3<f64>, &'a ColourMatrix)>);

impl<'a> Set<'a> {
    fn of(matrices: &'a [ColourMatrix]) -> Option<Self> {
        let usable = |given: &'a ColourMatrix| {
            let matrix = Matrix3::from_row_slice(&given.xyz_to_camera);
            let sound = matrix.iter().all(|v| v.is_finite()) && matrix.try_inverse().is_some();
            let mired = given.illuminant.and_then(illuminant_kelvin).map(|k| k.mired().get());
            sound.then_some((mired, matrix, given))
        };
        let all: Vec<_> = matrices.iter().filter_map(usable).collect();
        let mut known: Vec<_> =
            all.iter().filter_map(|(mired, m, given)| Some(((*mired)?, *m, *given))).collect();
        if known.is_empty() {
            let (_, matrix, given) = *all.first()?;
            return Some(Self(vec![(0.0, matrix, given)]));
        }
        known.sort_by(|a, b| a.0.total_cmp(&b.0));
        Some(Self(known))
    }

    /// The two neighbours and the share of the second, clamped at the ends.
    fn neighbours(&self, mired: Mired) -> (usize, usize, f64) {
        let last = self.0.len() - 1;
        let above = self.0.iter().position(|(m, ..)| *m > mired.get());
        match above {
            Some(0) => (0, 0, 0.0),
            None => (last, last, 0.0),
            Some(i) => {
                let (low, high) = (self.0[i - 1].0, self.0[i].0);
                (i - 1, i, (mired.get() - low) / (high - low))
            }
        }
    }

    fn mixed(&self, mired: Mired) -> Matrix3<f64> {
        let (a, b, share) = self.neighbours(mired);
        self.0[a].1 * (1.0 - share) + self.0[b].1 * share
    }

    fn described(&self, mired: Mired) -> (String, Option<String>) {
        let (a, b, share) = self.neighbours(mired);
        let name = |i: usize| self.0[i].2.illuminant.and_then(illuminant_name);
        let source = self.0[a].2.source.clone();
        let illuminant = match (name(a), name(b)) {
            (Some(one), Some(other)) if a != b => Some(format!(
                "between {one} and {other}, at {:.0} K ({:.0} % {other})",
                mired.kelvin().get(),
                100.0 * share
            )),
            (one, _) => one.map(str::to_owned),
        };
        (source, illuminant)
    }
}
