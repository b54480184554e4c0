//! Simulated frames as a shoot's folders would hold them.

use lightloss::frame::Frame;
use lightloss::measure::picture::{Taken, TakenAs, find};
use lightloss::reduce::reduce;
use lightloss::shoot::Wish;
use lightloss::shoot::frames::timed;
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::filter::Filter;
use lightloss::simulate::mosaic::render;
use lightloss::simulate::optics::image::Image;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use std::sync::Arc;

/// The closed form: modulation of a Gaussian blur of `sigma` pixels seen by square pixels, along the
/// normal of an edge at `angle` degrees.
pub fn closed_form(frequency: f64, sigma: f64, angle: f64) -> f64 {
    use std::f64::consts::PI;
    let sinc = |x: f64| if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) };
    let (sin, cos) = angle.to_radians().sin_cos();
    (-2.0 * (PI * frequency * sigma).powi(2)).exp()
        * (sinc(frequency * cos) * sinc(frequency * sin)).abs()
}

/// The blur that has this MTF50.
pub fn sigma_of(mtf50: f64, angle: f64) -> f64 {
    let (mut low, mut high) = (0.0, 5.0);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if closed_form(mtf50, middle, angle) > 0.5 { low = middle } else { high = middle }
    }
    low
}

/// A camera's frames in a folder.
pub struct Stage {
    pub session: Session,
}

/// One frame: its picture, time, filters, state.
#[derive(Clone)]
pub struct Wanted {
    pub image: Arc<Image>,
    pub seconds: f64,
    pub filters: Vec<Filter>,
    pub f_number: f64,
    pub state: TakenAs,
}

impl Wanted {
    /// At f/8.
    pub fn new(image: &Arc<Image>, seconds: f64, filters: Vec<Filter>, state: TakenAs) -> Self {
        Self { image: Arc::clone(image), seconds, filters, f_number: 8.0, state }
    }
}

impl Stage {
    pub fn new(camera: Camera, seed: u64) -> Self {
        let scene = Scene { lean: (0.0, 0.0), ..Scene::daylight(0.6, [0.6, 1.0, 0.7]) };
        let camera = Camera { seed, ..camera };
        // Without falloff, so that the light around a hole is that of the closed form.
        let lens = Lens { falloff: 0.0, ..Lens::of(50.0) };
        Self { session: Session::new(camera, lens, scene, seed) }
    }

    /// The frames as decoded.
    pub fn frames(&self, wanted: &[Wanted]) -> Vec<Frame> {
        let shots: Vec<Shot> = wanted
            .iter()
            .enumerate()
            .map(|(i, w)| Shot {
                image: Some(Arc::clone(&w.image)),
                f_number: w.f_number,
                ..Shot::of(&format!("P{i:04}.dng"), Time::Timer(w.seconds), w.filters.clone())
            })
            .collect();
        self.session.take(&shots).iter().map(|taken| render(&self.session, taken)).collect()
    }

    /// The frames as they are measured, with the places of the first one's edges.
    pub fn taken(&self, wanted: &[Wanted]) -> (Vec<(Taken, TakenAs)>, Vec<lightloss::frame::Area>) {
        let frames = self.frames(wanted);
        let summaries: Vec<_> = frames.iter().map(reduce).collect();
        let places: Vec<_> = summaries
            .first()
            .map_or_else(Vec::new, |s| find::edges(s).iter().map(|f| f.area).collect());
        let patches: Vec<Vec<_>> =
            frames.iter().map(|f| places.iter().map(|p| f.patch(*p)).collect()).collect();
        let timed = timed(summaries, true, &Wish::default());
        let all = timed.into_iter().zip(patches).zip(wanted);
        let all = all
            .map(|((timed, patches), w)| (Taken { timed, said: Some(w.state), patches }, w.state));
        (all.collect(), places)
    }
}

/// References, as the measuring side takes them.
pub fn refs(taken: &[(Taken, TakenAs)]) -> Vec<(&Taken, TakenAs)> {
    taken.iter().map(|(t, s)| (t, *s)).collect()
}
