//! What lens and filter make of a subject: blur by their point spread, veiling glare, ghosts. The
//! subject is looked at at many places within each pixel; the pixels' own size is part of the
//! picture, as it is on a sensor.

use super::subject::Subject;
use rayon::prelude::*;
use statrs::function::erf::erf;

/// One lobe of the point spread: Gauss' shape.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lobe {
    /// Share of the light.
    pub share: f64,
    /// One sigma in pixels.
    pub sigma: f64,
    /// Its middle, pixels to the right and down.
    pub off: (f64, f64),
}

/// A bright thing's second picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ghost {
    /// Size against the first picture, negative where it is mirrored through the centre.
    pub magnification: f64,
    /// Its light in parts of the first picture's.
    pub share: f64,
}

/// Lens and filter as they form a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Optics {
    /// Point spread; shares add up to 1.
    pub lobes: Vec<Lobe>,
    /// Share of all light that is spread evenly over the picture.
    pub veil: f64,
    /// Ghosts.
    pub ghosts: Vec<Ghost>,
    /// Light past the filter, even over the picture, in parts of the white wall's.
    pub past: f64,
}

impl Optics {
    /// A lens that blurs like Gauss' bell and does nothing else.
    #[must_use]
    pub fn blurred(sigma: f64) -> Self {
        let lobes = vec![Lobe { share: 1.0, sigma, off: (0.0, 0.0) }];
        Self { lobes, veil: 0.0, ghosts: Vec::new(), past: 0.0 }
    }

    /// Blurred by a filter besides: both blurs add as squares.
    #[must_use]
    pub fn softened(mut self, sigma: f64) -> Self {
        for lobe in &mut self.lobes {
            lobe.sigma = lobe.sigma.hypot(sigma);
        }
        self
    }

    /// Moved during the exposure by so many pixels in a direction (degrees, counter-clockwise).
    #[must_use]
    pub fn shaken(mut self, length: f64, angle: f64) -> Self {
        const PLACES: usize = 9;
        let (sin, cos) = angle.to_radians().sin_cos();
        let steps = (0..PLACES).map(|i| length * (i as f64 / (PLACES - 1) as f64 - 0.5));
        let moved = |by: f64| {
            self.lobes.iter().map(move |lobe| Lobe {
                share: lobe.share / PLACES as f64,
                off: (lobe.off.0 + by * cos, lobe.off.1 - by * sin),
                ..*lobe
            })
        };
        self.lobes = steps.flat_map(moved).collect();
        self
    }
}

/// Light of every pixel relative to the plain wall.
#[derive(Clone, Debug, PartialEq)]
pub struct Image {
    width: usize,
    height: usize,
    light: Vec<f32>,
}

/// Places within a pixel and direction at which the subject is looked at: a quarter of a pixel softens
/// modulation at 0.4 cycles per pixel by 1.6 %, with a filter as without, a sixteenth by 0.1 %.
const PER_PIXEL: usize = 4;
const FINELY: usize = 16;
/// A blur is followed to so many sigmas.
const SIGMAS: f64 = 5.0;

impl Image {
    /// Forms the picture of a subject.
    #[must_use]
    pub fn of(subject: &Subject, optics: &Optics, size: (usize, usize)) -> Self {
        Self::formed(subject, optics, size, PER_PIXEL)
    }

    /// The same four times as finely, for small pictures that are held against closed forms.
    #[must_use]
    pub fn finely(subject: &Subject, optics: &Optics, size: (usize, usize)) -> Self {
        Self::formed(subject, optics, size, FINELY)
    }

    fn formed(
        subject: &Subject,
        optics: &Optics,
        (width, height): (usize, usize),
        places: usize,
    ) -> Self {
        let mut light = vec![0.0_f32; width * height];
        for lobe in &optics.lobes {
            add_lobe(&mut light, subject, lobe, (width, height), places);
        }
        let mut image = Self { width, height, light };
        image.spread(optics.veil);
        image.double(&optics.ghosts);
        let past = optics.past as f32;
        image.light.iter_mut().for_each(|l| *l += past);
        image
    }

    /// Light at a place in pixels from the left upper corner.
    #[must_use]
    pub fn at(&self, column: f64, row: f64) -> f64 {
        let within = |at: f64, length: usize| (at.max(0.0) as usize).min(length - 1);
        let (x, y) = (within(column, self.width), within(row, self.height));
        f64::from(self.light[y * self.width + x])
    }

    /// Mean light over the picture, in parts of the wall's.
    #[must_use]
    pub fn mean(&self) -> f64 {
        self.light.iter().map(|&l| f64::from(l)).sum::<f64>() / self.light.len() as f64
    }

    fn spread(&mut self, veil: f64) {
        let even = (veil * self.mean()) as f32;
        let rest = (1.0 - veil) as f32;
        self.light.iter_mut().for_each(|l| *l = rest * *l + even);
    }

    fn double(&mut self, ghosts: &[Ghost]) {
        let first = self.clone();
        let middle = (self.width as f64 / 2.0, self.height as f64 / 2.0);
        for ghost in ghosts {
            let share = ghost.share / ghost.magnification.powi(2);
            self.light.par_chunks_mut(self.width).enumerate().for_each(|(row, out)| {
                let y = middle.1 + (row as f64 + 0.5 - middle.1) / ghost.magnification;
                for (column, light) in out.iter_mut().enumerate() {
                    let x = middle.0 + (column as f64 + 0.5 - middle.0) / ghost.magnification;
                    let inside = (0.0..first.width as f64).contains(&x)
                        && (0.0..first.height as f64).contains(&y);
                    if inside {
                        *light += (share * first.at(x, y)) as f32;
                    }
                }
            });
        }
    }
}

/// How much of a point's light a pixel gets whose middle lies that far away, in one direction: the
/// blur over the pixel's own width.
fn caught(distance: f64, sigma: f64) -> f64 {
    let scale = 1.0 / (sigma * std::f64::consts::SQRT_2);
    0.5 * (erf((distance + 0.5) * scale) - erf((distance - 0.5) * scale))
}

/// Weights of the places around a pixel, and the first place, in places from the pixel's own first.
fn weights(sigma: f64, off: f64, places: usize) -> (isize, Vec<f32>) {
    let reach = SIGMAS * sigma + 0.5;
    let place = |k: isize| (k as f64 + 0.5) / places as f64 - 0.5 + off;
    let first = ((-reach - off) * places as f64).floor() as isize;
    let last = ((reach - off + 1.0) * places as f64).ceil() as isize;
    let taps: Vec<f64> = (first..=last).map(|k| caught(place(k), sigma)).collect();
    let all: f64 = taps.iter().sum();
    (first, taps.iter().map(|t| (t / all) as f32).collect())
}

/// Adds one lobe's picture, first along rows of places, then down.
fn add_lobe(
    out: &mut [f32],
    subject: &Subject,
    lobe: &Lobe,
    (width, height): (usize, usize),
    places: usize,
) {
    let step = 1.0 / places as f64;
    let light = subject.light((width as f64, height as f64), step);
    let (first_x, across) = weights(lobe.sigma, lobe.off.0, places);
    let (first_y, down) = weights(lobe.sigma, lobe.off.1, places);
    let rows = height * places + down.len();
    let columns = width * places + across.len();
    let mut blurred = vec![0.0_f32; rows * width];
    blurred.par_chunks_mut(width).enumerate().for_each(|(row, out)| {
        let y = (row as f64 + first_y as f64 + 0.5) * step;
        let seen: Vec<f32> = (0..columns)
            .map(|column| light((column as f64 + first_x as f64 + 0.5) * step, y) as f32)
            .collect();
        for (x, light) in out.iter_mut().enumerate() {
            let near = &seen[x * places..][..across.len()];
            *light = near.iter().zip(&across).map(|(s, w)| s * w).sum();
        }
    });
    let share = lobe.share as f32;
    out.par_chunks_mut(width).enumerate().for_each(|(y, out)| {
        for (k, weight) in down.iter().enumerate() {
            let row = &blurred[(y * places + k) * width..][..width];
            out.iter_mut().zip(row).for_each(|(o, r)| *o += share * weight * r);
        }
    });
}
