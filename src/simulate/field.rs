//! Light over the frame: what falls on each place of the sensor, before noise.

use crate::simulate::filter::Point;
use crate::simulate::motif::noise;
use crate::simulate::optics;
use crate::simulate::session::{Session, Taken};

/// The light of one taken frame as a function of the place.
#[derive(Clone, Copy, Debug)]
pub struct Field<'a> {
    session: &'a Session,
    taken: &'a Taken,
    /// Electrons of the green channel at the centre of a bare frame.
    bare: f64,
}

/// Stops of the aperture that `Scene::level` is given for.
const LEVEL_F_NUMBER: f64 = 8.0;

impl<'a> Field<'a> {
    /// The field of a frame.
    #[must_use]
    pub fn new(session: &'a Session, taken: &'a Taken) -> Self {
        let aperture = (LEVEL_F_NUMBER / taken.shot.f_number).powi(2);
        let per_second = session.camera.full_electrons() * session.scene.level;
        Self { session, taken, bare: per_second * taken.open_s * taken.light * aperture }
    }

    /// The point at these pixel coordinates of the active area (pixel centres at halves).
    #[must_use]
    pub fn point(&self, column: f64, row: f64) -> Point {
        let area = self.session.camera.active;
        let (u, v) = (column / area.width as f64, row / area.height as f64);
        let (wide, high) = self.session.camera.sensor_mm;
        let (x, y) = ((u - 0.5) * wide, (0.5 - v) * high);
        let half = wide.hypot(high) / 2.0;
        let ray = optics::ray(x, y, self.session.lens.focal_length);
        Point { ray, u, v, x: x / half, y: y / half, height: high / half }
    }

    /// Electrons per channel without fine detail.
    #[must_use]
    pub fn smooth(&self, column: f64, row: f64) -> [f64; 3] {
        let at = self.point(column, row);
        let (scene, shot) = (&self.session.scene, &self.taken.shot);
        let lean: f64 = [scene.lean, shot.lean]
            .iter()
            .map(|(stops, angle)| {
                let (sin, cos) = angle.to_radians().sin_cos();
                stops * (at.x * cos + at.y * sin)
            })
            .sum();
        let curtain =
            1.0 + self.session.camera.shutter.curtain_tilt_s * (at.v - 0.5) / self.taken.open_s;
        let falloff = optics::falloff(at.ray, self.session.lens.falloff);
        let wall = falloff * lean.exp2() * curtain;
        let mut light = scene.light.map(|c| c * wall);
        let mut past = 0.0;
        for filter in &shot.filters {
            let passed = filter.transmittance(&at, scene.polarised);
            light = std::array::from_fn(|c| light[c] * passed[c]);
            past += filter.past(&at);
        }
        std::array::from_fn(|c| self.bare * (light[c] + past * scene.light[c] * falloff))
    }

    /// Whether there is anything finer than the smooth part.
    #[must_use]
    pub fn is_detailed(&self) -> bool {
        !self.taken.shot.motif.is_plain()
            || self.taken.shot.image.is_some()
            || self.session.scene.texture.is_some()
            || self.taken.shot.filters.iter().any(|f| !f.specks.is_empty())
    }

    /// Factors by which motif, grain and specks change the light at a place: red, green, blue.
    #[must_use]
    pub fn detail(&self, column: f64, row: f64) -> [f64; 3] {
        let at = self.point(column, row);
        let (wide, high) = self.session.camera.sensor_mm;
        let aspect = high / wide;
        let moved = self.taken.shot.moved;
        let (u, v) = (at.u - moved.0, at.v + moved.1 / aspect);
        let grain = self.session.scene.texture.map_or(1.0, |t| {
            1.0 + t.depth * (noise(u * t.grains, v * aspect * t.grains, 0x6A11) - 0.5)
        });
        let specks: f64 =
            self.taken.shot.filters.iter().map(|f| f.speck_share(&at, aspect)).product();
        let image = self.taken.shot.image.as_ref().map_or(1.0, |image| image.at(column, row));
        self.taken.shot.motif.light(u, v).map(|c| c * grain * specks * image)
    }

    /// Electrons per channel, detail included.
    #[must_use]
    pub fn electrons(&self, column: f64, row: f64) -> [f64; 3] {
        let smooth = self.smooth(column, row);
        if !self.is_detailed() {
            return smooth;
        }
        let detail = self.detail(column, row);
        std::array::from_fn(|c| smooth[c] * detail[c])
    }
}
