//! What stands before the camera: the wall that is measured, and other things that end up on a
//! card. Each is a light for a place in the picture, relative to the plain wall.

use crate::simulate::random::fixed_share;

/// What is in front of the lens.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Motif {
    /// The test surface.
    #[default]
    Wall,
    /// A window from inside: bright panes, dark bars.
    Window,
    /// A cat on a rug.
    Cat,
    /// Leaves and flowers.
    Garden,
    /// A shore at dusk: sky, sea and rocks; the number moves the view to the right (a panorama).
    Shore(f64),
    /// Twenty-four patches, the lowest row neutral from white to black.
    Chart,
}

/// Camera-RGB light of the chart's eighteen coloured patches (invented), row by row.
const PATCHES: [[f64; 3]; 18] = [
    [0.19, 0.12, 0.08],
    [0.60, 0.38, 0.28],
    [0.18, 0.24, 0.34],
    [0.14, 0.18, 0.08],
    [0.28, 0.27, 0.44],
    [0.24, 0.50, 0.42],
    [0.62, 0.28, 0.08],
    [0.12, 0.15, 0.38],
    [0.50, 0.15, 0.14],
    [0.12, 0.07, 0.14],
    [0.36, 0.48, 0.10],
    [0.68, 0.42, 0.08],
    [0.06, 0.08, 0.28],
    [0.14, 0.32, 0.10],
    [0.42, 0.08, 0.06],
    [0.78, 0.62, 0.10],
    [0.45, 0.14, 0.30],
    [0.06, 0.26, 0.36],
];
/// Reflectances of its six neutral patches.
const NEUTRALS: [f64; 6] = [0.90, 0.59, 0.36, 0.20, 0.09, 0.035];
/// Light of the chart's frame.
const BETWEEN: f64 = 0.05;

impl Motif {
    /// Whether it has structure of its own.
    #[must_use]
    pub fn is_plain(self) -> bool {
        self == Self::Wall
    }

    /// Light relative to the wall at a place (0 to 1 across and down), red, green, blue.
    #[must_use]
    pub fn light(self, u: f64, v: f64) -> [f64; 3] {
        match self {
            Self::Wall => [1.0; 3],
            Self::Window => window(u, v),
            Self::Cat => cat(u, v),
            Self::Garden => garden(u, v),
            Self::Shore(right) => shore(u + right, v),
            Self::Chart => chart(u, v),
        }
    }
}

/// Smoothed noise in 0..1 with features of size one.
#[must_use]
pub fn noise(x: f64, y: f64, seed: u64) -> f64 {
    let corner = |dx: f64, dy: f64| {
        let (i, j) = ((x.floor() + dx) as i64, (y.floor() + dy) as i64);
        fixed_share(&[seed, i.cast_unsigned(), j.cast_unsigned()])
    };
    let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
    let (a, b) = (smooth(x - x.floor()), smooth(y - y.floor()));
    let top = corner(0.0, 0.0) * (1.0 - a) + corner(1.0, 0.0) * a;
    let bottom = corner(0.0, 1.0) * (1.0 - a) + corner(1.0, 1.0) * a;
    top * (1.0 - b) + bottom * b
}

/// Noise of several sizes, in 0..1.
fn rough(x: f64, y: f64, seed: u64) -> f64 {
    let octave = |k: i32| noise(x * 2f64.powi(k), y * 2f64.powi(k), seed + k as u64) / 2f64.powi(k);
    (0..5).map(octave).sum::<f64>() / 1.9375
}

fn window(u: f64, v: f64) -> [f64; 3] {
    let bar = |t: f64| (t * 3.0).fract() < 0.09;
    let outside = !(0.12..=0.88).contains(&u) || !(0.10..=0.85).contains(&v);
    if outside {
        let wall = 0.10 + 0.05 * rough(u * 12.0, v * 8.0, 1);
        return [1.1 * wall, wall, 0.85 * wall];
    }
    if bar((u - 0.12) / 0.76) || bar((v - 0.10) / 0.75) {
        return [0.05, 0.045, 0.04];
    }
    let sky = 2.6 - 1.4 * v + 0.5 * rough(u * 9.0, v * 9.0, 2);
    let leaves = if v > 0.45 + 0.1 * noise(u * 8.0, 0.0, 3) { 0.2 } else { 1.0 };
    [0.85 * sky * leaves, sky * leaves, 1.15 * sky * leaves]
}

fn cat(u: f64, v: f64) -> [f64; 3] {
    let fur = 0.35 + 0.9 * rough(u * 160.0, v * 60.0, 4);
    let stripe =
        if ((u * 30.0 + 3.0 * noise(u * 6.0, v * 6.0, 5)).sin()) > 0.3 { 0.35 } else { 1.0 };
    let body = ((u - 0.52) / 0.27).powi(2) + ((v - 0.62) / 0.24).powi(2) < 1.0;
    let head = ((u - 0.30) / 0.11).powi(2) + ((v - 0.40) / 0.15).powi(2) < 1.0;
    let ear = (v > 0.20 && v < 0.32) && ((u - 0.24).abs() < 0.03 || (u - 0.36).abs() < 0.03);
    let eye = [0.26, 0.34].iter().any(|x| (u - x).hypot(v - 0.38) < 0.015);
    if eye {
        return [0.2, 0.45, 0.05];
    }
    if body || head || ear {
        let l = fur * stripe * 0.5;
        return [1.15 * l, 0.9 * l, 0.6 * l];
    }
    let rug = 0.12 + 0.5 * rough(u * 40.0, v * 40.0, 6);
    [rug, 0.55 * rug, 0.45 * rug]
}

fn garden(u: f64, v: f64) -> [f64; 3] {
    let leaf = rough(u * 60.0, v * 45.0, 7).powi(2) * 2.2 + 0.03;
    if noise(u * 90.0, v * 65.0, 8) > 0.86 {
        return [1.1, 0.25, 0.5];
    }
    let sky = if v < 0.15 { 1.5 } else { 0.0 };
    [0.45 * leaf + sky, leaf + sky, 0.25 * leaf + 1.2 * sky]
}

fn shore(u: f64, v: f64) -> [f64; 3] {
    let horizon = 0.42;
    if v < horizon {
        let high = 1.0 - v / horizon;
        let cloud = rough(u * 5.0 + 2.0, v * 14.0, 9);
        let l = 1.5 - 0.6 * high + 0.7 * (cloud - 0.5);
        return [l * (1.05 - 0.25 * high), l * 0.95, l * (0.95 + 0.3 * high)];
    }
    let near = (v - horizon) / (1.0 - horizon);
    let wave = rough(u * 14.0 / (0.2 + near), near.sqrt() * 60.0, 10);
    let rock = rough(u * 7.0, v * 5.0, 11) + 0.35 * near;
    if rock > 0.80 {
        let l = 0.04 + 0.16 * rough(u * 80.0, v * 80.0, 12);
        return [1.1 * l, l, 0.9 * l];
    }
    let l = 0.35 + 0.5 * wave;
    [0.80 * l, 0.95 * l, 1.05 * l]
}

fn chart(u: f64, v: f64) -> [f64; 3] {
    let (x, y) = ((u - 0.05) / 0.9 * 6.0, (v - 0.05) / 0.9 * 4.0);
    let edge = |t: f64| t.fract() < 0.06 || t.fract() > 0.94;
    if !(0.0..6.0).contains(&x) || !(0.0..4.0).contains(&y) || edge(x) || edge(y) {
        return [BETWEEN; 3];
    }
    let (column, row) = (x as usize, y as usize);
    if row == 3 { [NEUTRALS[column]; 3] } else { PATCHES[row * 6 + column] }
}
