//! Pixels: photon noise, read noise, non-uniformity, hot pixels, clipping, whole counts.

use crate::frame::{Frame, Levels, Mosaic, Samples};
use crate::simulate::field::Field;
use crate::simulate::random::{NORMAL_FROM, electrons, generator, normal};
use crate::simulate::session::{Session, Taken};
use rand::Rng;
use rand_distr::{Distribution, Exp1};
use rayon::prelude::*;

/// Light is computed at so many places across the frame and interpolated between: optics change
/// slowly, and what is finer is looked at in every pixel.
const PLACES: usize = 256;

/// Draws the frame pixel by pixel.
#[must_use]
pub fn render(session: &Session, taken: &Taken) -> Frame {
    let camera = &session.camera;
    let (width, height) = camera.stored;
    let field = Field::new(session, taken);
    let lattice = Lattice::of(&field, camera.active.width, camera.active.height);
    let mut data = vec![0_u16; width * height];
    data.par_chunks_mut(width).enumerate().for_each(|(row, out)| {
        Row { session, taken, field, lattice: &lattice, row }.draw(out);
    });
    Frame {
        samples: Samples::Raw(Mosaic { width, height, data: data.into() }, camera.cfa.clone()),
        active: camera.active,
        masked: camera.masked.clone(),
        levels: Levels { black: camera.black.clone(), white: camera.white },
        info: taken.info.clone(),
    }
}

/// Smooth light at every `step`-th pixel.
struct Lattice {
    step: usize,
    columns: usize,
    values: Vec<[f64; 3]>,
}

impl Lattice {
    fn of(field: &Field<'_>, width: usize, height: usize) -> Self {
        let step = (width / PLACES).max(1);
        let (columns, rows) = (width / step + 2, height / step + 2);
        let values = (0..columns * rows)
            .into_par_iter()
            .map(|i| {
                let (x, y) = ((i % columns) * step, (i / columns) * step);
                field.smooth(x as f64 + 0.5, y as f64 + 0.5)
            })
            .collect();
        Self { step, columns, values }
    }
    /// The lattice's columns at one row of pixels.
    fn row(&self, row: usize) -> Vec<[f64; 3]> {
        let (at, part) =
            (row / self.step * self.columns, (row % self.step) as f64 / self.step as f64);
        (at..at + self.columns)
            .map(|i| mixed(&self.values[i], &self.values[i + self.columns], part))
            .collect()
    }
}

fn mixed(a: &[f64; 3], b: &[f64; 3], part: f64) -> [f64; 3] {
    std::array::from_fn(|c| a[c] + (b[c] - a[c]) * part)
}

/// Electrons as read: both noises in one draw where the photons' is as good as normal.
fn read_out(mean: f64, read_noise: f64, rng: &mut impl Rng) -> f64 {
    if mean < NORMAL_FROM {
        return electrons(mean, rng) + read_noise * normal(rng);
    }
    mean + (mean + read_noise * read_noise).sqrt() * normal(rng)
}

struct Row<'a> {
    session: &'a Session,
    taken: &'a Taken,
    field: Field<'a>,
    lattice: &'a Lattice,
    row: usize,
}

impl Row<'_> {
    fn draw(&self, out: &mut [u16]) {
        let camera = &self.session.camera;
        let area = camera.active;
        let gain = camera.gain * self.taken.shot.iso / 100.0;
        let mut rng = generator(&[self.taken.seed, self.row as u64]);
        let mut fixed = generator(&[camera.seed, 0xF1, self.row as u64]);
        let lit = (area.top..area.top + area.height).contains(&self.row);
        let light = if lit { self.lattice.row(self.row - area.top) } else { Vec::new() };
        let phases = self.phases();
        for ((column, out), (black, channel)) in
            out.iter_mut().enumerate().zip(phases.iter().cycle())
        {
            let inside = column.checked_sub(area.left).filter(|&c| lit && c < area.width);
            let signal = inside.map_or(0.0, |c| self.light(&light, c, *channel));
            let responsivity = 1.0 + camera.non_uniformity * normal(&mut fixed);
            let mean = signal * responsivity + self.dark(&mut fixed);
            let seen = read_out(mean, camera.read_noise, &mut rng);
            let counts = black + camera.bent(gain * seen);
            *out = counts.round().clamp(0.0, f64::from(camera.white)) as u16;
        }
    }

    /// Black level and colour channel of one period of this row from the first stored column on;
    /// the patterns count from the active area's origin and go on through the masked border.
    fn phases(&self) -> Vec<(f64, usize)> {
        let camera = &self.session.camera;
        let period = camera.cfa.side() * camera.black.rows * camera.black.columns;
        let lift = |at: usize, origin: usize| at + origin.div_ceil(period) * period - origin;
        let y = lift(self.row, camera.active.top);
        (0..period)
            .map(|column| {
                let x = lift(column, camera.active.left);
                let black = camera.black.at(y, x) + camera.black_shift;
                (black, camera.cfa.plane(y, x).channel())
            })
            .collect()
    }

    fn light(&self, row: &[[f64; 3]], column: usize, channel: usize) -> f64 {
        let step = self.lattice.step;
        let (at, part) = (column / step, (column % step) as f64 / step as f64);
        let smooth = row[at][channel] + (row[at + 1][channel] - row[at][channel]) * part;
        if !self.field.is_detailed() {
            return smooth;
        }
        let y = (self.row - self.session.camera.active.top) as f64 + 0.5;
        smooth * self.field.detail(column as f64 + 0.5, y)[channel]
    }

    fn dark(&self, fixed: &mut impl Rng) -> f64 {
        let camera = &self.session.camera;
        let hot = if fixed.random::<f64>() < camera.hot_share {
            let size: f64 = Exp1.sample(fixed);
            camera.hot_rate * size
        } else {
            0.0
        };
        (camera.dark_rate + hot) * self.taken.open_s
    }
}
