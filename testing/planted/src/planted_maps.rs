//! Light per cell before a planted filter: vector optics with refraction, a wall, a lens, noise.

use lightloss::measure::map::{CellLayout, Detail, FrameLight, RatioMap, build};
use lightloss::simulate::filter::{Filter, Point};
use lightloss::simulate::optics::ray;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

/// Width of a full frame in millimetres.
pub const FRAME_MM: f64 = 36.0;
/// Samples across a cell, each way.
const SAMPLES: usize = 2;

/// Camera and lens.
#[derive(Clone, Copy, Debug)]
pub struct Stage {
    pub width_px: usize,
    pub height_px: usize,
    pub side_px: usize,
    pub focal_mm: f64,
    pub orientation: u8,
}

impl Stage {
    /// 24 megapixels on 36 x 24 mm.
    pub fn full(focal_mm: f64) -> Self {
        Self { width_px: 6000, height_px: 4000, side_px: 32, focal_mm, orientation: 1 }
    }
    /// The same with 960 x 640 pixels.
    pub fn small(focal_mm: f64) -> Self {
        Self { width_px: 960, height_px: 640, side_px: 32, focal_mm, orientation: 1 }
    }
    pub fn layout(&self) -> CellLayout {
        CellLayout {
            columns: self.width_px / self.side_px,
            rows: self.height_px / self.side_px,
            side_px: self.side_px,
            period_px: 2,
            width_px: self.width_px,
            height_px: self.height_px,
            orientation: self.orientation,
        }
    }
    /// The filter's transmittance at a stored pixel place, per channel.
    fn point(&self, column: f64, row: f64) -> Point {
        let (w, h) = (self.width_px as f64, self.height_px as f64);
        let mm = FRAME_MM / w;
        let (x, y) = (column - w / 2.0, h / 2.0 - row);
        let half = 0.5 * w.hypot(h);
        Point {
            ray: ray(x * mm, y * mm, self.focal_mm),
            u: column / w,
            v: row / h,
            x: x / half,
            y: y / half,
            height: h / half,
        }
    }
}

/// Stops of light over the wall: a polynomial in half diagonals and waves of grain.
#[derive(Clone, Debug)]
pub struct Wall {
    /// x, y, x^2, x y, y^2, x^3, x^2 y, x y^2, y^3.
    pub smooth: [f64; 9],
    /// Amplitude, wave numbers across and down in turns per half diagonal, phase.
    pub waves: Vec<[f64; 4]>,
    /// How far the picture of the wall is moved, in half diagonals.
    pub shift: (f64, f64),
    /// Share of the light by which the bottom of the frame is open longer than the top.
    pub curtain: f64,
}

impl Wall {
    pub fn even() -> Self {
        Self { smooth: [0.0; 9], waves: Vec::new(), shift: (0.0, 0.0), curtain: 0.0 }
    }
    /// Uneven light, a few percent of grain and blotches.
    pub fn random(rng: &mut ChaCha8Rng) -> Self {
        let mut normal = || -> f64 { StandardNormal.sample(rng) };
        let mut smooth = [0.0; 9];
        smooth.iter_mut().for_each(|s| *s = 0.1 * normal());
        let waves = (0..8)
            .map(|k| {
                let number = 0.7 * 1.7_f64.powi(k);
                [0.01 * normal(), number * normal(), number * normal(), 3.0 * normal()]
            })
            .collect();
        Self { smooth, waves, shift: (0.0, 0.0), curtain: 0.0 }
    }
    fn stops(&self, x: f64, y: f64) -> f64 {
        let (x, y) = (x + self.shift.0, y + self.shift.1);
        let terms = [x, y, x * x, x * y, y * y, x * x * x, x * x * y, x * y * y, y * y * y];
        let smooth: f64 = terms.iter().zip(self.smooth).map(|(t, c)| t * c).sum();
        let turn = std::f64::consts::TAU;
        smooth
            + self
                .waves
                .iter()
                .map(|[a, kx, ky, phase]| a * (turn * (kx * x + ky * y) + phase).sin())
                .sum::<f64>()
    }
}

/// A random change of a light's pattern that is `share` of the light from its least to its most.
pub fn change(rng: &mut ChaCha8Rng, share: f64) -> [f64; 9] {
    let mut smooth = [0.0; 9];
    smooth.iter_mut().for_each(|s| *s = StandardNormal.sample(rng));
    let wall = Wall { smooth, ..Wall::even() };
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    for i in 0..=20 {
        for k in 0..=20 {
            let s = wall
                .stops(0.832 * (f64::from(i) / 10.0 - 1.0), 0.555 * (f64::from(k) / 10.0 - 1.0));
            (low, high) = (low.min(s), high.max(s));
        }
    }
    smooth.map(|s| s * (1.0 + share).log2() / (high - low))
}

/// Noise-free light per cell and channel.
pub fn light(stage: &Stage, wall: &Wall, filter: Option<&Filter>) -> [Vec<f64>; 3] {
    let layout = stage.layout();
    let mut channels = [(); 3].map(|()| Vec::with_capacity(layout.columns * layout.rows));
    let aspect = stage.width_px as f64 / stage.height_px as f64;
    for row in 0..layout.rows {
        for column in 0..layout.columns {
            let mut sum = [0.0; 3];
            for sample in 0..SAMPLES * SAMPLES {
                let at = |cell: usize, k: usize| {
                    (cell as f64 + (k as f64 + 0.5) / SAMPLES as f64) * stage.side_px as f64
                };
                let point = stage.point(at(column, sample % SAMPLES), at(row, sample / SAMPLES));
                let mut passed = filter.map_or([1.0; 3], |f| f.transmittance(&point, None));
                if let Some(f) = filter {
                    let specks =
                        if f.specks.is_empty() { 1.0 } else { f.speck_share(&point, aspect) };
                    passed = passed.map(|t| t * specks + f.past(&point) * (-f.stops[1]).exp2());
                }
                let open = 1.0 + wall.curtain * (point.v - 0.5);
                let bare = wall.stops(point.x, point.y).exp2() * open;
                for c in 0..3 {
                    sum[c] += bare * passed[c] / (SAMPLES * SAMPLES) as f64;
                }
            }
            for c in 0..3 {
                channels[c].push(sum[c]);
            }
        }
    }
    channels
}

/// One frame: noise relative to the light, as a standard deviation of a cell of the **fine map** in
/// stops.
pub fn frame(
    stage: &Stage,
    light: &[Vec<f64>; 3],
    run: u32,
    noise: f64,
    rng: &mut ChaCha8Rng,
) -> FrameLight {
    let fine = (stage.width_px as f64 / 64.0).max(stage.side_px as f64);
    let relative = noise * std::f64::consts::LN_2 * fine / stage.side_px as f64;
    let channels = light.each_ref().map(|cells| {
        cells
            .iter()
            .map(|v| {
                let z: f64 = StandardNormal.sample(rng);
                v * (1.0 + relative * z)
            })
            .collect()
    });
    FrameLight { run, channels }
}

/// A map with `noise` in stops a cell: two bare frames before, two filtered, two bare after.
pub fn map(stage: &Stage, filter: &Filter, noise: f64, seed: u64) -> RatioMap {
    map_in(stage, filter, [&Wall::even(), &Wall::even(), &Wall::even()], noise, seed, Detail::Fine)
}

/// The same on walls before, through the filter and after.
pub fn map_in(
    stage: &Stage,
    filter: &Filter,
    walls: [&Wall; 3],
    noise: f64,
    seed: u64,
    detail: Detail,
) -> RatioMap {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let [before, through, after] = [
        light(stage, walls[0], None),
        light(stage, walls[1], Some(filter)),
        light(stage, walls[2], None),
    ];
    // four bare frames and two filtered: variance 1/4 + 1/2 of one frame
    let each = noise / 0.75_f64.sqrt();
    let mut shot = |light: &[Vec<f64>; 3], run: u32| -> Vec<FrameLight> {
        (0..2).map(|_| frame(stage, light, run, each, &mut rng)).collect()
    };
    let mut bare = shot(&before, 1);
    let filtered = shot(&through, 2);
    bare.extend(shot(&after, 3));
    build(&stage.layout(), &bare, &filtered, detail).expect("a map of a whole frame")
}

/// A number between two.
pub fn between(rng: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    rng.random_range(low..high)
}
