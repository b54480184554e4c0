//! Planted truth in the terms in which a measurement is judged.

use crate::simulate::camera::Time;
use crate::simulate::field::Field;
use crate::simulate::filter::Filter;
use crate::simulate::session::{Session, Shot};

/// The centre: the middle fifth of width and height.
const CENTRE: f64 = 0.2;
/// Places per direction at which the centre is looked at.
const PLACES: usize = 32;

impl Session {
    /// What these filters take at a place (0 to 1 across and down), in stops per channel; light
    /// past them counts as theirs.
    #[must_use]
    pub fn stops_at(&self, filters: &[Filter], u: f64, v: f64) -> [f64; 3] {
        self.stops_over(filters, &[(u, v)])
    }

    /// What these filters take over the centre, light averaged, in stops per channel: red, green,
    /// blue.
    #[must_use]
    pub fn centre_stops(&self, filters: &[Filter]) -> [f64; 3] {
        let at = |i: usize| 0.5 + CENTRE * ((i as f64 + 0.5) / PLACES as f64 - 0.5);
        let places: Vec<(f64, f64)> =
            (0..PLACES * PLACES).map(|i| (at(i % PLACES), at(i / PLACES))).collect();
        self.stops_over(filters, &places)
    }

    fn stops_over(&self, filters: &[Filter], places: &[(f64, f64)]) -> [f64; 3] {
        let bare = self.light_over(Vec::new(), places);
        let filtered = self.light_over(filters.to_vec(), places);
        std::array::from_fn(|c| (bare[c] / filtered[c]).log2())
    }

    fn light_over(&self, filters: Vec<Filter>, places: &[(f64, f64)]) -> [f64; 3] {
        let mut taken = self.take(&[Shot::of("", Time::Timer(1.0), filters)]);
        let Some(mut one) = taken.pop() else { return [0.0; 3] };
        (one.open_s, one.light) = (1.0, 1.0);
        let field = Field::new(self, &one);
        let area = self.camera.active;
        places.iter().fold([0.0; 3], |sum, (u, v)| {
            let e = field.electrons(u * area.width as f64, v * area.height as f64);
            std::array::from_fn(|c| sum[c] + e[c])
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::simulate::camera::{Camera, Lens};
    use crate::simulate::scene::Scene;

    #[test]
    fn truth_is_what_was_planted_at_the_centre_and_more_in_the_corner() {
        let session = Session::new(
            Camera::bayer(300, 200),
            Lens::of(24.0),
            Scene::daylight(1.0, [1.0; 3]),
            1,
        );
        let glass = Filter::glass([10.2, 10.0, 9.8]);
        let centre = session.stops_at(std::slice::from_ref(&glass), 0.5, 0.5);
        for (found, planted) in centre.iter().zip([10.2, 10.0, 9.8]) {
            assert!((found - planted).abs() < 1e-9);
        }
        // ten stops of absorbing glass at 24 mm: 1.18 stops more in the corner (Snell's law)
        let corner = session.stops_at(std::slice::from_ref(&glass), 0.0, 0.0);
        assert!((corner[1] - 11.18).abs() < 0.006, "{corner:?}");
        let mean = session.centre_stops(std::slice::from_ref(&glass));
        assert!(mean[1] > 10.0 && mean[1] < 10.05);
    }

    /// Electrons of a tenth of full scale over some ten thousand pixels: a thousandth of a stop.
    const NOISE_STOPS: f64 = 0.003;

    #[test]
    fn the_ratio_of_light_in_files_is_what_was_planted() {
        use crate::frame::cfa::Plane;
        let mut camera = Camera::bayer(480, 320);
        (camera.shutter.offsets, camera.dark_rate, camera.hot_share) = (0.0, 0.0, 0.0);
        let session =
            Session::new(camera, Lens::of(35.0), Scene::daylight(57.6, [0.7, 1.0, 0.6]), 3);
        let filters = [Filter::glass([6.3, 6.0, 5.8]), Filter::even([2.9, 3.0, 3.1])];
        let shots = [
            Shot::of("bare.dng", Time::Dial(1.0 / 125.0), Vec::new()),
            Shot::of("filtered.dng", Time::Dial(4.0), filters.to_vec()),
        ];
        let taken = session.take(&shots);
        let means = |i: usize, plane: Plane| {
            let summary =
                crate::reduce::reduce(&crate::simulate::mosaic::render(&session, &taken[i]));
            let black = match plane {
                Plane::Red => 512.25,
                Plane::Blue => 512.5,
                _ => 511.75,
            };
            let plane = summary.cells.plane(plane).unwrap();
            plane.over(&summary.cells.centre_cells()).unwrap().0 - black
        };
        // 1/125 is 1/128 s, so the times are nine stops apart
        let planted = session.centre_stops(&filters);
        for (plane, planted) in [Plane::Red, Plane::Green1, Plane::Blue].into_iter().zip(planted) {
            let found = (means(0, plane) / means(1, plane)).log2() + 9.0;
            assert!((found - planted).abs() < NOISE_STOPS, "{plane:?}: {found} {planted}");
        }
    }
}
