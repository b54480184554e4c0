//! The bench's own camera body: from light per cell to the sums that a frame is reduced to.
//!
//! Photon noise, read noise and non-uniformity follow the linear model of EMVA 1288 (release 4.0):
//! a pixel's variance in electrons is its mean plus that of reading, a fixed share of the mean stays
//! from frame to frame.

use super::dice::Dice;
use lightloss::frame::cfa::{Cfa, Plane};
use lightloss::frame::{Area, BlackPattern, Camera, ColourMatrix, Levels};
use lightloss::quantity::Millimetres;
use lightloss::reduce::grid::{CellGrid, PlaneCells};

/// Pixels along a cell: large cells keep the pixels of a real frame in few draws.
const SIDE: usize = 144;
/// Cells are this many times smaller where the map across the frame matters.
const FINER: usize = 3;
/// Variance of rounding to whole counts.
const ROUNDING: f64 = 1.0 / 12.0;
/// Time in which a warming sensor's black settles, seconds.
const WARMING_S: f64 = 40.0;

/// What Exif's ShutterSpeedValue holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Apex {
    Missing,
    AsShown,
    Aimed,
}

/// A body with its sensor.
#[derive(Clone, Debug)]
pub struct Body {
    pub name: Camera,
    pub columns: usize,
    pub rows: usize,
    /// Pixels along a cell.
    side: usize,
    pub sensor_mm: (f64, f64),
    cfa: Cfa,
    /// Electrons at the white level, ISO 100.
    pub full_well: f64,
    white: u16,
    /// Black by the tag, and how far above it the truth lies, counts.
    tag: f64,
    above_tag: f64,
    /// Counts per second by which black creeps up, and glow in a corner in counts per second.
    pub creep: f64,
    pub glow: f64,
    glowing: (f64, f64),
    /// Counts that black rises by as the sensor warms over a shoot, and the minutes in which it does.
    pub warms: (f64, f64),
    read_noise: f64,
    pub non_uniformity: f64,
    masked: bool,
    /// Response of red, green and blue to the wall.
    pub colour: [f64; 3],
    matrix: [f64; 9],
    pub apex: Apex,
    pub subseconds: bool,
    /// Stops by which each doubling of ISO misses.
    iso_error: f64,
    /// Share of its light that a level at full scale lacks, and the power of the level that this
    /// grows with: the response bends.
    pub bend: (f64, f64),
    /// Power of the light above a line: a response that bends by the same share with each doubling.
    pub power: f64,
    /// Noise at all; without it the frames are what the model says.
    pub noisy: bool,
    fixed: u64,
}

impl Body {
    pub fn drawn(dice: &mut Dice) -> Self {
        let (columns, rows, width, height) = dice.pick(&[
            (36, 24, 36.0, 24.0),
            (30, 20, 36.0, 24.0),
            (33, 22, 23.5, 15.667),
            (32, 24, 17.3, 12.975),
        ]);
        let letters = dice.pick(&["RGGB", "GBRG", "BGGR", "GRBG", XTRANS]);
        let bits = dice.pick(&[12, 14, 14, 14]);
        let scale = 2_f64.powi(bits - 14);
        let mut slightly = || 1.0 + 0.05 * dice.normal();
        let matrix = MATRIX.map(|m| m * slightly());
        let rate = if dice.chance(0.5) { 0.0 } else { dice.log_uniform(0.001, 0.03) };
        Self {
            name: Camera {
                make: Some("Dunlin".into()),
                model: Some(format!("Dunlin {}", 1 + dice.below(9))),
                serial: Some(format!("{:08}", dice.below(99_999_999))),
                lens: Some("Dunlin prime".into()),
                focal_length: None,
                focal_length_35mm: None,
                focal_plane: None,
            },
            columns,
            rows,
            side: SIDE,
            sensor_mm: (width, height),
            cfa: Cfa::from_letters(letters).unwrap(),
            full_well: dice.log_uniform(18_000.0, 90_000.0),
            white: ((16_383.0 * scale) as u16).saturating_sub(dice.below(40) as u16),
            tag: (dice.pick(&[128.0, 512.0, 1024.0, 2047.0]) * scale).round(),
            above_tag: scale * dice.uniform(-0.7, 0.7),
            creep: scale * rate,
            glow: if dice.chance(0.7) { 0.0 } else { scale * dice.log_uniform(0.01, 0.3) },
            glowing: (dice.sign(), dice.sign()),
            warms: (0.0, 1.0),
            read_noise: dice.log_uniform(1.5, 9.0),
            non_uniformity: dice.log_uniform(0.002, 0.012),
            masked: dice.chance(0.4),
            colour: neutral(&matrix),
            matrix,
            apex: dice.pick(&[Apex::Missing, Apex::AsShown, Apex::AsShown, Apex::Aimed]),
            subseconds: dice.chance(0.5),
            iso_error: 0.04 * dice.normal(),
            bend: (0.0, 1.0),
            power: 0.0,
            noisy: true,
            fixed: dice.number(),
        }
    }
    /// A body without noise or black error, for closed forms.
    #[cfg(test)]
    pub fn ideal(dice: &mut Dice) -> Self {
        let drawn = Self::drawn(dice);
        Self {
            above_tag: 0.0,
            creep: 0.0,
            glow: 0.0,
            masked: false,
            noisy: false,
            cfa: Cfa::from_letters("RGGB").unwrap(),
            white: 65_535,
            tag: 1000.0,
            apex: Apex::Aimed,
            ..drawn
        }
    }
    /// The same body with smaller cells.
    pub fn finer(self) -> Self {
        let (columns, rows) = (FINER * self.columns, FINER * self.rows);
        Self { columns, rows, side: self.side / FINER, ..self }
    }
    /// The same body after so many minutes of a shoot.
    pub fn after(&self, minutes: f64) -> Self {
        let (counts, settled) = self.warms;
        let risen = counts * (1.0 - (-minutes / settled).exp());
        Self { above_tag: self.above_tag + risen, ..self.clone() }
    }
    /// The same body with this response to the wall and this matrix.
    pub fn seeing(self, light: [f64; 3], matrix: [f64; 9]) -> Self {
        let colour = light.map(|c| c / light[1]);
        let green: f64 = (0..3).map(|c| matrix[3 + c] * D65[c]).sum();
        Self { colour, matrix: matrix.map(|m| m / green), ..self }
    }
    /// Half diagonal of the sensor, millimetres.
    pub fn half_diagonal_mm(&self) -> f64 {
        self.sensor_mm.0.hypot(self.sensor_mm.1) / 2.0
    }
    /// Counts per electron at an ISO.
    pub fn gain(&self, iso: f64) -> f64 {
        let doublings = (iso / 100.0).log2();
        let range = f64::from(self.white) - self.tag;
        range / self.full_well * (doublings * (1.0 + self.iso_error)).exp2()
    }
    pub fn levels(&self) -> Levels {
        Levels { black: BlackPattern::uniform(self.tag), white: self.white }
    }
    pub fn matrices(&self) -> Vec<ColourMatrix> {
        let xyz_to_camera = self.matrix;
        vec![ColourMatrix { illuminant: Some(21), xyz_to_camera, source: "file".into() }]
    }
    pub fn camera(&self, focal_mm: f64) -> Camera {
        Camera { focal_length: Some(Millimetres::new(focal_mm)), ..self.name.clone() }
    }
    fn creeping(&self, seconds: f64) -> f64 {
        self.creep * WARMING_S * (1.0 - (-seconds / WARMING_S).exp())
    }
    /// What the border that sees no light tells of black.
    pub fn border(&self, seconds: f64, dice: &mut Dice) -> Option<BlackPattern> {
        let black = self.tag + self.above_tag + self.creeping(seconds);
        self.masked.then(|| BlackPattern::uniform(black + 0.03 * dice.normal()))
    }
    /// Middle of a cell, right and down of the frame's, in half diagonals.
    pub fn place(&self, cell: usize) -> (f64, f64) {
        let half = (self.columns as f64).hypot(self.rows as f64) / 2.0;
        let (column, row) = ((cell % self.columns) as f64, (cell / self.columns) as f64);
        (
            (column + 0.5 - self.columns as f64 / 2.0) / half,
            (row + 0.5 - self.rows as f64 / 2.0) / half,
        )
    }
    pub fn cells(&self) -> usize {
        self.columns * self.rows
    }
    /// Exposes: electrons per pixel and cell of red, green and blue.
    pub fn expose(&self, light: &[[f64; 3]], seconds: f64, iso: f64, dice: &mut Dice) -> CellGrid {
        let area = Area {
            left: 0,
            top: 0,
            width: self.columns * self.side,
            height: self.rows * self.side,
        };
        let mut fixed = Dice::of(&[self.fixed]);
        let planes = self.cfa.planes().into_iter().map(|plane| {
            let share = self.share_of(plane);
            let n = (share * (self.side * self.side) as f64).round();
            let channel = channel(plane);
            let mut out = empty(plane, self.cells());
            for (cell, e) in light.iter().enumerate() {
                let black = self.tag
                    + self.above_tag
                    + self.creeping(seconds)
                    + self.glow * seconds * self.glow_at(cell);
                let pixel = self.pixel(e[channel], black, iso, n, fixed.normal());
                pixel.sum(n, f64::from(self.white), self.noisy.then_some(&mut *dice), &mut out);
            }
            out
        });
        CellGrid {
            columns: self.columns,
            rows: self.rows,
            side: self.side,
            area,
            planes: planes.collect(),
            cfa: Some(self.cfa.clone()),
        }
    }
    fn glow_at(&self, cell: usize) -> f64 {
        let (x, y) = self.place(cell);
        let far = (x - 0.83 * self.glowing.0).hypot(y - 0.55 * self.glowing.1);
        (-far / 0.25).exp()
    }
    fn share_of(&self, plane: Plane) -> f64 {
        let side = self.cfa.side();
        let mine = (0..side * side).filter(|i| self.cfa.plane(i / side, i % side) == plane);
        mine.count() as f64 / (side * side) as f64
    }
    /// What the response makes of light, as a factor; 1 where it is straight.
    fn response(&self, electrons: f64) -> f64 {
        let (lack, power) = self.bend;
        let share = electrons / self.full_well;
        let bent = if lack == 0.0 { 1.0 } else { 1.0 - lack * share.max(0.0).powf(power) };
        if self.power == 0.0 || share <= 0.0 { bent } else { bent * share.powf(self.power) }
    }
    fn pixel(&self, electrons: f64, black: f64, iso: f64, n: f64, fixed: f64) -> Pixel {
        let gain = self.gain(iso);
        let own = if self.noisy { self.non_uniformity } else { 0.0 };
        Pixel {
            mean: black
                + gain * electrons * (1.0 + own * fixed / n.sqrt()) * self.response(electrons),
            temporal: gain * gain * (electrons.max(0.0) + self.read_noise.powi(2)) + ROUNDING,
            lasting: (gain * own * electrons).powi(2),
        }
    }
}

/// Counts of one pixel of a cell.
struct Pixel {
    mean: f64,
    /// Variance from frame to frame, and of what stays over the cell.
    temporal: f64,
    lasting: f64,
}

impl Pixel {
    /// Adds a cell of `n` such pixels; clipped at white.
    fn sum(&self, n: f64, white: f64, dice: Option<&mut Dice>, out: &mut PlaneCells) {
        let spread = (self.temporal + self.lasting).sqrt();
        let above = (self.mean - white) / spread;
        let (mut mean, mut variance, mut clipped) = (self.mean, spread * spread, 0.0);
        if above > -5.0 {
            // Mean of the smaller of a normal value and a limit.
            clipped = cumulative(above);
            mean -= (self.mean - white) * clipped + spread * density(above);
            variance *= (1.0 - clipped).max(0.0);
        }
        if let Some(dice) = dice {
            mean += (self.temporal / n).sqrt() * (1.0 - clipped) * dice.normal();
            variance *= (1.0 + (2.0 / n).sqrt() * dice.normal()).max(0.0);
        }
        let mean = mean.clamp(0.0, white);
        let (count, sum) = (n as u32, (n * mean).round() as u32);
        // Whole counts have no less than their mean's square.
        let least = (u64::from(sum) * u64::from(sum)).div_ceil(u64::from(count));
        out.count.push(count);
        out.sum.push(sum);
        out.squares.push(((n * (mean * mean + variance)).round() as u64).max(least));
        out.clipped.push((n * clipped).round() as u16);
        out.rejected.push(0);
    }
}

fn empty(plane: Plane, cells: usize) -> PlaneCells {
    PlaneCells {
        plane,
        count: Vec::with_capacity(cells),
        sum: Vec::with_capacity(cells),
        squares: Vec::with_capacity(cells),
        clipped: Vec::with_capacity(cells),
        rejected: Vec::with_capacity(cells),
    }
}

fn channel(plane: Plane) -> usize {
    match plane {
        Plane::Red => 0,
        Plane::Green1 | Plane::Green2 => 1,
        Plane::Blue => 2,
    }
}

/// Density of the normal distribution.
fn density(z: f64) -> f64 {
    (-z * z / 2.0).exp() / std::f64::consts::TAU.sqrt()
}

/// Its cumulative distribution (Abramowitz and Stegun, 26.2.17, good to 7.5e-8).
fn cumulative(z: f64) -> f64 {
    const TERMS: [f64; 5] =
        [0.319_381_530, -0.356_563_782, 1.781_477_937, -1.821_255_978, 1.330_274_429];
    let t = 1.0 / (1.0 + 0.231_641_9 * z.abs());
    let tail = density(z) * TERMS.iter().rev().fold(0.0, |sum, b| (sum + b) * t);
    if z > 0.0 { 1.0 - tail } else { tail }
}

/// A matrix of no real camera, CIE XYZ to its red, green and blue.
const MATRIX: [f64; 9] = [0.9, -0.3, -0.1, -0.4, 1.2, 0.2, -0.1, 0.2, 0.6];
/// White of D65 (ISO/CIE 11664-2).
const D65: [f64; 3] = [0.950_47, 1.0, 1.088_83];
const XTRANS: &str = "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG";

fn neutral(matrix: &[f64; 9]) -> [f64; 3] {
    let row = |r: usize| (0..3).map(|c| matrix[3 * r + c] * D65[c]).sum::<f64>();
    let green = row(1);
    [row(0) / green, 1.0, row(2) / green]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EMVA 1288: the variance of the difference of two frames is twice gain times mean, plus that
    /// of reading and rounding.
    #[test]
    fn photon_noise_follows_the_photon_transfer_line() {
        let body = Body::drawn(&mut Dice::of(&[7]));
        for share in [0.02, 0.1, 0.4] {
            let e = share * body.full_well;
            let light = vec![[e; 3]; body.cells()];
            let shot = |k| body.expose(&light, 0.01, 100.0, &mut Dice::of(&[k]));
            let (a, b) = (shot(1), shot(2));
            let (p, q) = (a.plane(Plane::Green1).unwrap(), b.plane(Plane::Green1).unwrap());
            let n = f64::from(p.count[0]);
            let apart = |i: usize| p.mean(i).unwrap() - q.mean(i).unwrap();
            let cells = body.cells() as f64;
            let seen = n * (0..body.cells()).map(|i| apart(i).powi(2)).sum::<f64>() / cells / 2.0;
            let gain = body.gain(100.0);
            let told = gain * gain * (e + body.read_noise.powi(2)) + ROUNDING;
            // Relative standard deviation of a variance from so many differences, three of them.
            let doubt = 3.0 * (2.0 / cells).sqrt();
            assert!((seen / told - 1.0).abs() < doubt, "{seen} is not {told} at {share}");
        }
    }

    /// Handbook values of the normal distribution (Abramowitz and Stegun, table 26.1).
    #[test]
    fn the_normal_distribution_is_the_handbooks() {
        for (z, p) in
            [(0.0, 0.5), (1.0, 0.841_344_746), (1.96, 0.975_002_105), (-2.0, 0.022_750_132)]
        {
            assert!((cumulative(z) - p).abs() < 1e-7, "{z}");
        }
    }
}
