//! Cells drawn directly from the noise law that the pixels follow, a hundred times faster.

use crate::frame::cfa::Plane;
use crate::frame::{Area, BlackPattern, Levels};
use crate::reduce::grid::{CellGrid, FrameSummary, PlaneCells};
use crate::simulate::field::Field;
use crate::simulate::random::{electrons, generator, normal};
use crate::simulate::session::{Session, Taken};
use rand::Rng;
use rand_distr::{Distribution, Exp1};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// Places per cell and direction where the light is looked at: Gauss points are exact for light
/// that follows a cubic; detail needs many.
const GAUSS: [f64; 2] = [0.211_324_865_405_187_1, 0.788_675_134_594_812_9];
const FINE: usize = 16;
/// A pixel that many deviations off is left out by the second look.
const REJECTED_FROM: f64 = 5.0;
/// Clipping is looked at from so many deviations below white.
const NEAR_WHITE: f64 = 6.0;

/// Draws the frame's cells.
#[must_use]
pub fn draw(session: &Session, taken: &Taken) -> FrameSummary {
    let camera = &session.camera;
    let area = camera.active;
    let (side, columns, rows) = CellGrid::geometry(area, Some(&camera.cfa));
    let mut grid =
        CellGrid { columns, rows, side, area, cfa: Some(camera.cfa.clone()), planes: Vec::new() };
    let planes = camera.cfa.planes();
    let mut drawn: Vec<PlaneCells> = planes.iter().map(|&p| empty(p)).collect();
    let field = Field::new(session, taken);
    let mut rng = generator(&[taken.seed, 0xCE11]);
    // what stays with the camera is drawn again, the same, for each of its frames
    let mut fixed = generator(&[camera.seed, 0xF2]);
    for cell in 0..columns * rows {
        let place = grid.cell_area(cell);
        let light = moments(&field, place);
        for (plane, out) in planes.iter().zip(&mut drawn) {
            let pixels = pixels(session, place, *plane);
            let law = Law::of(session, taken, &pixels, light[plane.channel()], &mut fixed);
            let hot = law.hot(session, taken, &mut fixed);
            law.draw(session, &hot, out, &mut rng);
        }
    }
    grid.planes = drawn;
    FrameSummary {
        info: taken.info.clone(),
        levels: Levels { black: camera.black.clone(), white: camera.white },
        masked: masked(session, taken, &mut rng),
        cells: grid,
    }
}

fn empty(plane: Plane) -> PlaneCells {
    PlaneCells {
        plane,
        count: Vec::new(),
        sum: Vec::new(),
        squares: Vec::new(),
        clipped: Vec::new(),
        rejected: Vec::new(),
    }
}

/// Light of one channel over a cell, in electrons.
#[derive(Clone, Copy, Default)]
struct Light {
    mean: f64,
    variance: f64,
    /// Electrons per cell width and height: planes do not sit in the cell's very middle.
    slope: (f64, f64),
}

/// Mean, variance and slope over a cell of the light per channel.
fn moments(field: &Field<'_>, place: Area) -> [Light; 3] {
    let fine: Vec<f64> = (0..FINE).map(|i| (i as f64 + 0.5) / FINE as f64).collect();
    let shares: &[f64] = if field.is_detailed() { &fine } else { &GAUSS };
    let mut sums = [Light::default(); 3];
    for v in shares {
        for u in shares {
            let x = place.left as f64 + u * place.width as f64;
            let y = place.top as f64 + v * place.height as f64;
            for (sum, e) in sums.iter_mut().zip(field.electrons(x, y)) {
                sum.mean += e;
                sum.variance += e * e;
                sum.slope = (sum.slope.0 + (u - 0.5) * e, sum.slope.1 + (v - 0.5) * e);
            }
        }
    }
    let n = (shares.len() * shares.len()) as f64;
    let spread: f64 =
        n / shares.len() as f64 * shares.iter().map(|u| (u - 0.5).powi(2)).sum::<f64>();
    sums.map(|s| Light {
        mean: s.mean / n,
        variance: (s.variance / n - (s.mean / n).powi(2)).max(0.0),
        slope: (s.slope.0 / spread, s.slope.1 / spread),
    })
}

/// The pixels of a plane in a cell: how many, and mean and variance of their black levels.
struct Pixels {
    count: u32,
    /// Their middle off the cell's, in cell widths and heights.
    off: (f64, f64),
    black: f64,
    black_variance: f64,
}

fn pixels(session: &Session, place: Area, plane: Plane) -> Pixels {
    let camera = &session.camera;
    let period = camera.cfa.side() * camera.black.rows.max(1) * camera.black.columns.max(1);
    // how many pixels of a phase there are, and their middle
    let times = |origin: usize, length: usize, phase: usize| {
        let first = (0..length.min(period)).find(|i| (origin + i) % period == phase);
        first.map_or((0, 0.0), |first| {
            let n = (length - first).div_ceil(period);
            (n, first as f64 + 0.5 + (n - 1) as f64 * period as f64 / 2.0)
        })
    };
    let (mut count, mut sum, mut squares, mut middle) = (0_usize, 0.0, 0.0, (0.0, 0.0));
    for row in 0..period {
        let (down, y) = times(place.top, place.height, row);
        for column in (0..period).filter(|&c| camera.cfa.plane(row, c) == plane) {
            let (across, x) = times(place.left, place.width, column);
            let (n, black) = (down * across, camera.black.at(row, column));
            count += n;
            sum += n as f64 * black;
            squares += n as f64 * black * black;
            middle = (middle.0 + n as f64 * x, middle.1 + n as f64 * y);
        }
    }
    let n = count.max(1) as f64;
    let mean = sum / n;
    Pixels {
        count: u32::try_from(count).unwrap_or(u32::MAX),
        off: (middle.0 / n / place.width as f64 - 0.5, middle.1 / n / place.height as f64 - 0.5),
        black: mean + camera.black_shift,
        black_variance: (squares / n - mean * mean).max(0.0),
    }
}

/// Mean and spread of the counts of one plane in one cell.
struct Law {
    count: u32,
    black: f64,
    gain: f64,
    /// Electrons per pixel of light and dark current.
    electrons: f64,
    /// Variance that varies from frame to frame, per pixel, in counts.
    temporal: f64,
    /// Variance over the cell that stays, in counts.
    lasting: f64,
}

impl Law {
    fn of(
        session: &Session,
        taken: &Taken,
        pixels: &Pixels,
        light: Light,
        fixed: &mut impl Rng,
    ) -> Self {
        let camera = &session.camera;
        let gain = camera.gain * taken.shot.iso / 100.0;
        let n = f64::from(pixels.count.max(1));
        let responsivity = 1.0 + camera.non_uniformity * normal(fixed) / n.sqrt();
        let mean = light.mean + light.slope.0 * pixels.off.0 + light.slope.1 * pixels.off.1;
        let electrons = mean * responsivity + camera.dark_rate * taken.open_s;
        let own = (camera.non_uniformity * mean).powi(2);
        Self {
            count: pixels.count,
            black: pixels.black,
            gain,
            electrons,
            temporal: gain * gain * (electrons + camera.read_noise.powi(2)) + 1.0 / 12.0,
            lasting: gain * gain * (own + light.variance) + pixels.black_variance,
        }
    }

    /// Counts that each hot pixel adds.
    fn hot(&self, session: &Session, taken: &Taken, fixed: &mut impl Rng) -> Vec<f64> {
        let camera = &session.camera;
        let number = electrons(camera.hot_share * f64::from(self.count), fixed);
        (0..number.round().max(0.0) as u32)
            .map(|_| {
                let size: f64 = Exp1.sample(fixed);
                self.gain * camera.hot_rate * size * taken.open_s
            })
            .collect()
    }

    fn draw(&self, session: &Session, hot: &[f64], out: &mut PlaneCells, rng: &mut impl Rng) {
        let n = f64::from(self.count);
        let white = f64::from(session.camera.white);
        let rest = self.temporal - self.gain * self.gain * self.electrons;
        let all = electrons(n * self.electrons, rng);
        let light = session.camera.bent(self.gain * all / n.max(1.0));
        let sum = n * (self.black + light) + (n * rest).sqrt() * normal(rng);
        let mean = sum / n.max(1.0);
        let variance = self.temporal + self.lasting;
        let wobble = 1.0 + (2.0 / (n - 1.0).max(1.0)).sqrt() * normal(rng);
        let spread = (n - 1.0).max(0.0) * variance * wobble.max(0.0);
        let mut kept = Kept { sum, squares: sum * mean + spread, clipped: 0.0, rejected: 0 };
        if mean + NEAR_WHITE * variance.sqrt() > white {
            kept.clip(n, mean, variance.sqrt(), white, rng);
        } else {
            kept.heat(hot, mean, variance);
        }
        let sum = kept.sum.round().clamp(0.0, f64::from(u32::MAX));
        // Whole counts never have less than the square of their mean, which rounding of a cell
        // that is clipped throughout could undercut.
        let left = (n - f64::from(kept.rejected)).max(1.0);
        let least = (sum * sum / left).ceil();
        // What rounding adds to the sum moves all pixels alike and is no noise of theirs.
        let squares = kept.squares + (sum * sum - kept.sum * kept.sum) / left;
        out.count.push(self.count);
        out.sum.push(sum as u32);
        out.squares.push(squares.round().max(least) as u64);
        out.clipped.push(kept.clipped.round() as u16);
        out.rejected.push(kept.rejected);
    }
}

struct Kept {
    sum: f64,
    squares: f64,
    clipped: f64,
    rejected: u16,
}

impl Kept {
    /// Hot pixels: the faint ones stay in the sums, the bright ones are left out.
    fn heat(&mut self, hot: &[f64], mean: f64, variance: f64) {
        for extra in hot {
            if *extra > REJECTED_FROM * variance.sqrt() {
                self.sum -= mean;
                self.squares -= mean * mean + variance;
                self.rejected += 1;
            } else {
                self.sum += extra;
                self.squares += 2.0 * mean * extra + extra * extra;
            }
        }
    }

    /// Sums of a normal distribution cut off at white (closed forms of its first two moments).
    fn clip(&mut self, n: f64, mean: f64, deviation: f64, white: f64, rng: &mut impl Rng) {
        let standard = Normal::standard();
        let edge = (white - 0.5 - mean) / deviation;
        let (below, density) = (standard.cdf(edge), standard.pdf(edge));
        let above = 1.0 - below;
        let cut_mean = mean * below + white * above - deviation * density;
        let cut_square = (mean * mean + deviation * deviation) * below
            - deviation * (mean + white) * density
            + white * white * above;
        let scatter = (n * above * below).sqrt() * normal(rng);
        self.clipped = (n * above + scatter).clamp(0.0, n);
        self.sum = n * cut_mean;
        self.squares = n * cut_square;
    }
}

/// Black levels measured on the masked pixels, per position of the colour pattern.
fn masked(session: &Session, taken: &Taken, rng: &mut impl Rng) -> Option<BlackPattern> {
    let camera = &session.camera;
    let pixels: usize = camera.masked.iter().map(|a| a.width * a.height).sum();
    if pixels == 0 {
        return None;
    }
    let side = camera.cfa.side();
    let gain = camera.gain * taken.shot.iso / 100.0;
    let dark = camera.dark_rate * taken.open_s;
    let variance = gain * gain * (camera.read_noise.powi(2) + dark) + 1.0 / 12.0;
    let each = (variance * (side * side) as f64 / pixels as f64).sqrt();
    let level = |i: usize| {
        let black = camera.black.at(i / side, i % side) + camera.black_shift;
        black + gain * dark + each * normal(rng)
    };
    Some(BlackPattern { rows: side, columns: side, values: (0..side * side).map(level).collect() })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::reduce::reduce;
    use crate::simulate::camera::{Camera, Lens, Time};
    use crate::simulate::filter::Filter;
    use crate::simulate::mosaic::render;
    use crate::simulate::scene::Scene;
    use crate::simulate::session::Shot;

    const FRAMES: usize = 24;

    /// Means and variances over frames of each cell's sum, by plane.
    fn over_frames(summaries: &[FrameSummary]) -> Vec<Vec<(f64, f64)>> {
        let n = summaries.len() as f64;
        let planes = summaries[0].cells.planes.len();
        (0..planes)
            .map(|p| {
                (0..summaries[0].cells.planes[p].sum.len())
                    .map(|cell| {
                        // per kept pixel: a single rejected one would outweigh the noise
                        let of = |s: &FrameSummary| {
                            let plane = &s.cells.planes[p];
                            plane.mean(cell).unwrap() * f64::from(plane.count[cell])
                        };
                        let mean = summaries.iter().map(of).sum::<f64>() / n;
                        let spread: f64 = summaries.iter().map(|s| (of(s) - mean).powi(2)).sum();
                        (mean, spread / (n - 1.0))
                    })
                    .collect()
            })
            .collect()
    }

    fn both(
        camera: Camera,
        filters: &[Filter],
        time: f64,
    ) -> (Vec<FrameSummary>, Vec<FrameSummary>) {
        let scene = Scene { lean: (0.2, 30.0), ..Scene::daylight(20.0, [0.6, 1.0, 0.7]) };
        let session = Session::new(camera, Lens::of(24.0), scene, 5);
        let taken = session.take(&Shot::repeated("F", 1, FRAMES, Time::Dial(time), filters));
        // the same shutter time in all frames, so that only noise differs
        let pixels = taken.iter().map(|t| reduce(&render(&session, t))).collect();
        (pixels, taken.iter().map(|t| draw(&session, t)).collect())
    }

    /// Means agree within what the fixed pattern of pixels (drawn apart) and the noise allow;
    /// variances, averaged over cells, within a few of their own standard errors.
    fn agree(camera: Camera, filters: &[Filter], time: f64) {
        let pattern = camera.non_uniformity;
        let (pixels, cells) = both(camera, filters, time);
        assert_eq!(pixels[0].cells.side, cells[0].cells.side);
        let (a, b) = (over_frames(&pixels), over_frames(&cells));
        for (p, (a, b)) in a.iter().zip(&b).enumerate() {
            let counts = &cells[0].cells.planes[p].count;
            assert_eq!(counts, &pixels[0].cells.planes[p].count);
            let (mut chi, mut ratio) = (0.0, 0.0);
            for ((x, y), &n) in a.iter().zip(b).zip(counts) {
                let fixed = (pattern * (y.0 - 512.0 * f64::from(n))).powi(2) / f64::from(n);
                chi += (x.0 - y.0).powi(2) / (2.0 * y.1 / FRAMES as f64 + 2.0 * fixed);
                ratio += x.1 / y.1;
            }
            let n = counts.len() as f64;
            let freedom = (FRAMES - 1) as f64;
            assert!((chi / n - 1.0).abs() < 6.0 * (2.0 / n).sqrt(), "plane {p}: chi {}", chi / n);
            // mean of an F ratio and its standard error
            let expected = freedom / (freedom - 2.0);
            let error = 2.0 / freedom.sqrt() / n.sqrt();
            assert!((ratio / n - expected).abs() < 6.0 * error, "plane {p}: ratio {}", ratio / n);
        }
    }

    fn quiet(camera: Camera) -> Camera {
        Camera { hot_share: 0.0, ..camera }
    }

    #[test]
    fn cells_and_pixels_agree_for_bayer() {
        agree(quiet(Camera::bayer(330, 206).with_border(7, 3)), &[], 1.0 / 60.0);
    }

    #[test]
    fn cells_and_pixels_agree_for_six_by_six_and_in_the_dark() {
        agree(quiet(Camera::xtrans(330, 206)), &[Filter::glass([9.0, 10.0, 9.5])], 1.0 / 4.0);
    }

    #[test]
    fn cells_and_pixels_agree_where_it_clips() {
        let (pixels, cells) = both(quiet(Camera::bayer(128, 96)), &[], 1.0 / 15.0);
        let total = |all: &[FrameSummary], p: usize| {
            let clipped = |s: &FrameSummary| {
                s.cells.planes[p].clipped.iter().map(|&c| u32::from(c)).sum::<u32>()
            };
            let sum =
                |s: &FrameSummary| s.cells.planes[p].sum.iter().map(|&c| f64::from(c)).sum::<f64>();
            (all.iter().map(clipped).sum::<u32>(), all.iter().map(sum).sum::<f64>())
        };
        let (a, b) = (total(&pixels, 1), total(&cells, 1));
        assert!(a.0 > 1000, "nothing clipped: {a:?}");
        let (a0, b0) = (f64::from(a.0), f64::from(b.0));
        assert!((a0 / b0 - 1.0).abs() < 0.02 && (a.1 / b.1 - 1.0).abs() < 1e-3, "{a:?} {b:?}");
    }

    #[test]
    fn the_variance_within_cells_agrees() {
        let (pixels, cells) = both(quiet(Camera::bayer(330, 206)), &[], 1.0 / 60.0);
        let mean = |s: &FrameSummary, p: usize| {
            let plane = &s.cells.planes[p];
            let all: Vec<f64> = (0..plane.sum.len()).filter_map(|c| plane.variance(c)).collect();
            all.iter().sum::<f64>() / all.len() as f64
        };
        for p in 0..4 {
            let (a, b) = (mean(&pixels[0], p), mean(&cells[0], p));
            assert!((a / b - 1.0).abs() < 0.03, "plane {p}: {a} {b}");
        }
    }
}
