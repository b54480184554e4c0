//! One patch as an edge that can be measured, or why it cannot.

use super::greens::PatchGreens;
use super::line::Line;
use super::run::{ASTRAY_PX, ONE_OF, first_look, nearly, settled};
use super::samples::Greens;
use super::spread::{BLOCKS, Pieces, Placed, Spread, pieces, placed, roughly};
use super::transfer::{HALF_NYQUIST, Transfer, Waves, Window};
use crate::numerics::least_squares::NormalSums;
use crate::numerics::robust;

/// Why an edge gives no figure, each with what it was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum EdgeFault {
    /// Nothing with two levels.
    NoEdge,
    /// Pixels at white.
    Clipped {
        /// Percent of the greens.
        percent: f64,
    },
    /// Light side and dark side too much alike.
    LowContrast {
        /// Light over dark.
        contrast: f64,
    },
    /// Not turned against the pixel grid as the method needs it.
    Angle {
        /// Degrees.
        degrees: f64,
    },
    /// Too short, or too little that is even beside it.
    Small {
        /// Pixels along.
        along: f64,
        /// Even pixels on the narrower side.
        beside: f64,
    },
    /// Out of focus beyond use.
    Blurred {
        /// Pixels from 10 to 90 %.
        rise: f64,
    },
    /// Bent.
    Bent {
        /// Pixels off a straight line.
        sag: f64,
    },
    /// The sides are not one level each.
    Uneven {
        /// Percent of the step.
        percent: f64,
    },
}

/// Share of clipped greens from which an edge is refused (as for the frame's centre).
const CLIPPED_SHARE: f64 = crate::levels::CLIPPED_SHARE;
/// Least light over dark (ours; targets are printed with 4 and more).
const LEAST_CONTRAST: f64 = 2.5;
/// Angles that are measured, in degrees; 3 to 10 are asked for.
const ANGLES: std::ops::RangeInclusive<f64> = 2.3..=12.0;
/// Shortest edge, and least even part beside it, in pixels (ours).
const LEAST_ALONG_PX: f64 = 64.0;
const LEAST_REACH_PX: f64 = 8.0;
/// What lies further beside is not looked at: the widest window, and half as much again for the levels.
const ENOUGH_PX: f64 = 48.0;
/// The same for an edge of such a rise, twice its window's width, and least pixels (ours).
const WORTH_RISES: f64 = 5.6;
const WORTH_PX: f64 = 16.0;
/// From 10 to 90 % in more pixels than these is no focus (MTF50 some 0.04 cycles per pixel).
const LONGEST_RISE_PX: f64 = 11.0;
/// Largest bow (the fit follows it; beyond these pixels it is no straight edge).
const MOST_SAG_PX: f64 = 2.0;
/// Most that the sides may stray from one level, in parts of the step.
const MOST_UNEVEN: f64 = 0.06;

/// An edge with its fitted line.
#[derive(Clone, Debug, PartialEq)]
pub struct SlantedEdge {
    /// Where it runs.
    pub line: Line,
    /// It runs up and down.
    pub upright: bool,
    /// Light over dark, a ratio.
    pub contrast: f64,
    /// Pixels from 10 to 90 %.
    pub rise: f64,
    /// Pixels on either side that were looked at.
    pub reach: f64,
    /// Its samples by their distance.
    samples: Vec<Placed>,
}

/// What is read off one edge: [`LN_MTF50`], [`LN_HALF`], then the modulation at [`CURVE_STEP`]s.
pub type Figures = [f64; FIGURES];
/// Natural logarithm of MTF50 in cycles per pixel.
pub const LN_MTF50: usize = 0;
/// Natural logarithm of the modulation at half the Nyquist frequency.
pub const LN_HALF: usize = 1;
/// First of the curve.
pub const CURVE: usize = 2;
/// Cycles per pixel between the curve's points, from 0 to Nyquist.
pub const CURVE_STEP: f64 = 0.025;
/// Points of the curve.
pub const CURVE_POINTS: usize = 21;
const FIGURES: usize = CURVE + CURVE_POINTS;

/// The figures of one edge, of the whole and without each of its pieces.
#[derive(Clone, Debug, PartialEq)]
pub struct EdgeFigures {
    /// Of the whole edge.
    pub whole: Figures,
    /// Without one piece each.
    pub without: Vec<Figures>,
}

impl SlantedEdge {
    /// Fits the edge of a patch.
    ///
    /// # Errors
    /// Why it cannot be measured.
    pub fn of(patch: &PatchGreens<'_>) -> Result<Self, EdgeFault> {
        Self::as_far_as(patch, 0.0)
    }

    /// Fits the edge of a patch, looking at least so many pixels beside it where the patch has them.
    ///
    /// # Errors
    /// Why it cannot be measured.
    pub fn as_far_as(patch: &PatchGreens<'_>, least: f64) -> Result<Self, EdgeFault> {
        let few = &patch.few;
        if few.clipped > CLIPPED_SHARE {
            return Err(EdgeFault::Clipped { percent: 100.0 * few.clipped });
        }
        let (first, (low, high)) = first_look(few).ok_or(EdgeFault::NoEdge)?;
        let (dark, light) = (low.min(high), low.max(high));
        let contrast = if dark > 0.0 { light / dark } else { f64::INFINITY };
        if contrast < LEAST_CONTRAST {
            return Err(EdgeFault::LowContrast { contrast });
        }
        let along = 2.0 * few.half_along;
        let room = reach(&first, few);
        if along < LEAST_ALONG_PX || room < LEAST_REACH_PX {
            return Err(EdgeFault::Small { along, beside: room });
        }
        let first = nearly(few, first, room).ok_or(EdgeFault::NoEdge)?;
        let room = reach(&first, few);
        if room < LEAST_REACH_PX {
            return Err(EdgeFault::Small { along, beside: room });
        }
        let reach = worth(few, &first, room).max(least).min(room);
        let greens = patch.near(&first, reach + ASTRAY_PX);
        if greens.clipped > CLIPPED_SHARE {
            return Err(EdgeFault::Clipped { percent: 100.0 * greens.clipped });
        }
        let mut flat = flattened(greens, &first, reach).ok_or(EdgeFault::NoEdge)?;
        let (line, spread) = settled(&mut flat, first, reach).ok_or(EdgeFault::NoEdge)?;
        Self::checked(&flat, line, &spread, contrast)
    }

    fn checked(
        greens: &Greens,
        line: Line,
        spread: &Spread,
        contrast: f64,
    ) -> Result<Self, EdgeFault> {
        if !ANGLES.contains(&line.angle()) {
            return Err(EdgeFault::Angle { degrees: line.angle() });
        }
        let sag = line.sag(greens.half_along);
        if sag > MOST_SAG_PX {
            return Err(EdgeFault::Bent { sag });
        }
        let levels = plateaus(spread, LEAST_REACH_PX);
        let rise = rise(spread, levels).ok_or(EdgeFault::NoEdge)?;
        if rise > LONGEST_RISE_PX {
            return Err(EdgeFault::Blurred { rise });
        }
        let window = Window::for_rise(rise);
        if spread.reach < window.needs() {
            return Err(EdgeFault::Small { along: 2.0 * greens.half_along, beside: spread.reach });
        }
        let percent = 100.0 * unevenness(spread, window, levels);
        if percent > 100.0 * MOST_UNEVEN {
            return Err(EdgeFault::Uneven { percent });
        }
        // The middle of the step is where the window's middle belongs.
        let middle = spread.reaches(0.5, levels).unwrap_or(0.0);
        let centred = Line { offset: line.offset + middle * line.slope.hypot(1.0), ..line };
        let samples = placed(greens, &centred, spread.reach);
        let reach = spread.reach;
        Ok(Self { line: centred, upright: greens.upright, contrast, rise, reach, samples })
    }

    /// Sums of its pieces as far as a window reaches; `None` where that is beyond what was looked at:
    /// a frame that is cut off sooner than another would not be compared with its like.
    fn pieces(&self, window: Window) -> Option<Pieces> {
        let reach = window.needs().min(self.reach);
        (reach >= window.end).then(|| pieces(&self.samples, reach))
    }

    /// The modulation transfer function through a window.
    #[must_use]
    pub fn transfer(&self, window: Window) -> Option<Transfer> {
        Waves::through(window).transfer(&self.pieces(window)?.spread()?)
    }

    /// The figures through a window, which all frames of one edge share.
    #[must_use]
    pub fn reading(&self, window: Window) -> Option<EdgeFigures> {
        let (pieces, waves) = (self.pieces(window)?, Waves::through(window));
        let whole = figures(&waves.transfer(&pieces.spread()?)?)?;
        let one = |block: usize| figures(&waves.transfer(&pieces.without(block)?)?);
        let without = (0..BLOCKS).map(one).collect::<Option<Vec<_>>>()?;
        Some(EdgeFigures { whole, without })
    }
}

fn figures(transfer: &Transfer) -> Option<Figures> {
    let mut found = [0.0; FIGURES];
    found[LN_MTF50] = transfer.mtf50()?.ln();
    found[LN_HALF] = transfer.at(HALF_NYQUIST).ln();
    for (k, point) in found[CURVE..].iter_mut().enumerate() {
        *point = transfer.at(k as f64 * CURVE_STEP);
    }
    found.iter().all(|f| f.is_finite()).then_some(found)
}

/// Distance that the patch has on both sides all along the line, in pixels.
fn reach(line: &Line, greens: &Greens) -> f64 {
    let ends = [line.at(-greens.half_along), line.at(0.0), line.at(greens.half_along)];
    let furthest = ends.iter().map(|x| x.abs()).fold(0.0, f64::max);
    ((greens.half_across - furthest) / line.slope.hypot(1.0)).clamp(0.0, ENOUGH_PX)
}

/// Distance beside the edge that is worth looking at, in pixels, as blurred as it looks at first.
fn worth(few: &Greens, first: &Line, room: f64) -> f64 {
    let spread = roughly(&few.samples, &first.distances(few), room);
    let rise = spread.and_then(|spread| rise(&spread, plateaus(&spread, LEAST_REACH_PX)));
    rise.map_or(ENOUGH_PX, |rise| (WORTH_RISES * rise).clamp(WORTH_PX, ENOUGH_PX))
}

/// Pixels from 10 to 90 % of the step.
fn rise(spread: &Spread, levels: (f64, f64)) -> Option<f64> {
    let (from, to) = (spread.reaches(0.1, levels)?, spread.reaches(0.9, levels)?);
    Some((to - from).abs())
}

/// Levels of the outermost pixels, on the far dark or light side first.
fn plateaus(spread: &Spread, inner: f64) -> (f64, f64) {
    let outer = (spread.reach * 0.6).max(inner * 0.5);
    let of = |side: f64| {
        let side = (0..spread.knots()).filter(|&k| spread.distance(k) * side > outer);
        robust::median(side.map(|k| spread.light(k))).unwrap_or(f64::NAN)
    };
    (of(-1.0), of(1.0))
}

/// Deviation of the sides from their levels beyond the window, in parts of the step.
fn unevenness(spread: &Spread, window: Window, levels: (f64, f64)) -> f64 {
    let beyond = (0..spread.knots()).filter(|&k| spread.distance(k).abs() > window.end);
    let off = beyond.map(|k| {
        let level = if spread.distance(k) < 0.0 { levels.0 } else { levels.1 };
        (spread.light(k) - level).abs()
    });
    off.fold(0.0, f64::max) / (levels.1 - levels.0).abs()
}

/// The same samples with the slow change of the light over both sides taken out, each side against
/// its own level: what the edge leaves beside it would else count as blur.
fn flattened(mut greens: Greens, line: &Line, reach: f64) -> Option<Greens> {
    const BESIDE: f64 = 0.45;
    let distances = line.distances(&greens);
    let far = |d: f64| (d.abs() > BESIDE * reach && d.abs() < reach).then_some(d > 0.0);
    let level = |wanted: bool| {
        let own = greens.samples.iter().zip(&distances).filter(|(_, d)| far(**d) == Some(wanted));
        robust::median(own.step_by(ONE_OF).map(|(s, _)| s.light))
    };
    let levels = [level(false)?, level(true)?];
    let brightest = levels[0].max(levels[1]);
    let mut sums = NormalSums::<4>::default();
    for (sample, d) in greens.samples.iter().zip(&distances) {
        let Some(beyond) = far(*d) else { continue };
        let level = levels[usize::from(beyond)];
        // A side that is nearly black tells nothing of the light.
        if level < 0.02 * brightest {
            continue;
        }
        let (own, other) = if beyond { (0.0, 1.0) } else { (1.0, 0.0) };
        let row = [own, other, sample.across / 100.0, sample.along / 100.0];
        sums.add(row, sample.light / level - 1.0, level / brightest);
    }
    // Where only one side tells, its column alone is left with weight.
    let ridge = greens.samples.len() as f64 * 1e-9;
    sums.add([1.0, 0.0, 0.0, 0.0], 0.0, ridge);
    sums.add([0.0, 1.0, 0.0, 0.0], 0.0, ridge);
    let [_, _, across, along] = sums.solved()?.map(|slope| slope / 100.0);
    for sample in &mut greens.samples {
        let lean = 1.0 + across * sample.across + along * sample.along;
        sample.light /= lean.max(0.5);
    }
    Some(greens)
}
