//! A shoot small enough for tests that run the program a thousand times.

use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};

/// Columns and rows of a frame.
pub const SIZE: (usize, usize) = (288, 192);

/// A camera and six shots of a filter of six stops that measure: bare, filtered, bare.
pub fn shoot() -> (Session, Vec<Shot>) {
    let mut camera = Camera::bayer(SIZE.0, SIZE.1);
    camera.shutter.offsets = 0.0;
    let session = Session::new(camera, Lens::of(50.0), Scene::daylight(27.0, [0.55, 1.0, 0.7]), 29);
    let one = [Filter::even([6.1, 6.0, 5.9])];
    let mut shots = Shot::repeated("P", 1, 2, Time::Dial(1.0 / 60.0), &[]);
    shots.extend(Shot::repeated("P", 3, 2, Time::Dial(1.0), &one));
    shots.extend(Shot::repeated("P", 5, 2, Time::Dial(1.0 / 60.0), &[]));
    (session, shots)
}
