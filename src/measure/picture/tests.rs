//! Edges against closed forms: a Gaussian blur seen by square pixels, a perfect lens.
#![allow(clippy::unwrap_used)]

use super::edge::{EdgeFault, EdgeFigures, LN_MTF50, SlantedEdge};
use super::greens::PatchGreens;
use super::ratio;
use super::transfer::Window;
use crate::frame::Area;
use crate::frame::cfa::Cfa;
use crate::frame::patch::Patch;
use crate::simulate::camera::{Camera, Lens, Time};
use crate::simulate::mosaic::render;
use crate::simulate::optics::image::{Image, Optics};
use crate::simulate::optics::subject::Subject;
use crate::simulate::scene::Scene;
use crate::simulate::session::{Session, Shot};
use std::f64::consts::PI;
use std::sync::Arc;

/// MTF50 of a Gaussian blur of `sigma` pixels seen by square pixels, along the normal of an edge at
/// `angle` degrees: exp(-2 (pi f s)^2) |sinc(f cos a) sinc(f sin a)| = 1/2.
fn closed_form(frequency: f64, sigma: f64, angle: f64) -> f64 {
    let sinc = |x: f64| if x.abs() < 1e-9 { 1.0 } else { (PI * x).sin() / (PI * x) };
    let (sin, cos) = angle.to_radians().sin_cos();
    let blur = (-2.0 * (PI * frequency * sigma).powi(2)).exp();
    blur * (sinc(frequency * cos) * sinc(frequency * sin)).abs()
}

fn true_mtf50(sigma: f64, angle: f64) -> f64 {
    let (mut low, mut high) = (0.001, 0.8);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if closed_form(middle, sigma, angle) > 0.5 { low = middle } else { high = middle }
    }
    low
}

struct Stage {
    camera: Camera,
    level: f64,
}

impl Stage {
    fn new(letters: &str) -> Self {
        let (w, h) = (192, 160);
        let camera = if letters.len() == 36 {
            Camera { cfa: Cfa::from_letters(letters).unwrap(), ..Camera::xtrans(w, h) }
        } else {
            Camera { cfa: Cfa::from_letters(letters).unwrap(), ..Camera::bayer(w, h) }
        };
        Self { camera: Camera { hot_share: 0.0, ..camera }, level: 0.6 }
    }
    fn edges(
        &self,
        subject: &Subject,
        optics: &Optics,
        frames: usize,
        seed: u64,
    ) -> Vec<Result<SlantedEdge, EdgeFault>> {
        let size = (self.camera.active.width, self.camera.active.height);
        let image = Arc::new(Image::finely(subject, optics, size));
        let Camera { cfa, black, white, .. } = &self.camera;
        let patches = self.patches(image, frames, seed);
        patches.iter().map(|p| SlantedEdge::of(&PatchGreens::of(p, cfa, black, *white))).collect()
    }
    fn patches(&self, image: Arc<Image>, frames: usize, seed: u64) -> Vec<Patch> {
        let size = (self.camera.active.width, self.camera.active.height);
        let mut scene = Scene::daylight(self.level, [0.6, 1.0, 0.7]);
        scene.lean = (0.0, 0.0);
        let lens = Lens { falloff: 0.0, ..Lens::of(50.0) };
        let session = Session::new(Camera { seed, ..self.camera.clone() }, lens, scene, seed);
        let shots: Vec<Shot> = Shot::repeated("E", 1, frames, Time::Timer(1.0), &[])
            .into_iter()
            .map(|s| Shot { image: Some(Arc::clone(&image)), ..s })
            .collect();
        let whole = Area { left: 0, top: 0, width: size.0, height: size.1 };
        session.take(&shots).iter().map(|t| render(&session, t).patch(whole).unwrap()).collect()
    }
}

fn readings(edges: &[Result<SlantedEdge, EdgeFault>], window: Window) -> Vec<EdgeFigures> {
    edges.iter().map(|e| e.as_ref().unwrap().reading(window).unwrap()).collect()
}

fn window(edges: &[Result<SlantedEdge, EdgeFault>]) -> Window {
    Window::for_rise(edges.iter().map(|e| e.as_ref().unwrap().rise).fold(0.0, f64::max))
}

/// Four Bayer phases and a six by six pattern.
const PATTERNS: [&str; 5] =
    ["RGGB", "GRBG", "GBRG", "BGGR", "GBGGRGRGRBGBGBGGRGGRGGBGBGBRGRGRGGBG"];

fn edge(angle: f64, upright: bool) -> Subject {
    Subject::Edge { upright, angle, offset: 0.37, dark: 0.1 }
}

/// Noise of three frames of 160 or 192 rows, three standard deviations of it.
const NOISE: f64 = 0.02;

#[test]
fn mtf50_is_that_of_the_closed_form_on_every_mosaic() {
    for (i, letters) in PATTERNS.into_iter().enumerate() {
        {
            let (sigma, angle) = [(0.32, 4.1), (0.7, 7.3), (1.8, 9.4), (0.4, 5.7), (0.35, 4.1)][i];
            let stage = Stage::new(letters);
            let subject = edge(angle, i % 2 == 0);
            let edges = stage.edges(&subject, &Optics::blurred(sigma), 3, 11 + i as u64);
            let all = readings(&edges, window(&edges));
            let found = ratio::state(&all.iter().collect::<Vec<_>>()).unwrap();
            let truth = true_mtf50(sigma, angle);
            let off = found.mtf50.value / truth - 1.0;
            assert!(off.abs() < NOISE, "{letters} {sigma} {angle}: {off}");
            let half = closed_form(0.25, sigma, angle);
            assert!((found.half.value - half).abs() < NOISE, "{letters} {sigma}: {found:?}");
        }
    }
}

/// Modulation of a perfect lens in incoherent light, a circular aperture: 2 / pi (acos x - x
/// sqrt(1 - x^2)), x the frequency over its cut-off (Goodman, Introduction to Fourier Optics, 6.4, from
/// memory); and its line spread function by numerical cosine transform, built into an edge.
#[test]
fn a_perfect_lens_gives_the_closed_form_of_diffraction() {
    const CUT_OFF: f64 = 0.55;
    let lens = |f: f64| {
        let x = (f / CUT_OFF).min(1.0);
        2.0 / PI * (x.acos() - x * (1.0 - x * x).sqrt())
    };
    // SlantedEdge spread at a distance: 1/2 + integral of the modulation times sin(2 pi f d) / (pi f).
    let steps = 400;
    let spread = |d: f64| {
        let sum: f64 = (0..steps)
            .map(|i| {
                let f = (f64::from(i) + 0.5) / f64::from(steps) * CUT_OFF;
                lens(f) * (2.0 * PI * f * d).sin() / (PI * f)
            })
            .sum();
        0.5 + sum * CUT_OFF / f64::from(steps)
    };
    // Samples at any distance on an upright line.
    let line = super::line::Line { offset: 0.0, slope: 0.0, bow: 0.0 };
    let samples: Vec<super::samples::Sample> = (0..12_000)
        .map(|i| {
            let across = (f64::from(i) * 0.618_034).fract() * 122.0 - 61.0;
            let along = f64::from(i) / 100.0 - 60.0;
            super::samples::Sample { along, across, light: 100.0 + 1000.0 * spread(across) }
        })
        .collect();
    let greens = super::samples::Greens {
        samples,
        upright: true,
        half_along: 60.0,
        half_across: 61.0,
        clipped: 0.0,
    };
    let placed = super::spread::placed(&greens, &line, 60.5);
    let spread = super::spread::pieces(&placed, 60.5).spread().unwrap();
    let wide = Window { flat: 54.0, end: 60.0 };
    let found = super::transfer::Waves::through(wide).transfer(&spread).unwrap();
    for f in [0.05, 0.1, 0.2, 0.3, 0.4] {
        // Light that a circular aperture sends beyond the window.
        assert!((found.at(f) - lens(f)).abs() < 0.006, "{f}: {} {}", found.at(f), lens(f));
    }
}

/// Frames of one edge share a window: a sharp one beside one that is blurred is not cut off sooner.
#[test]
fn a_sharp_edge_is_read_through_a_blurred_ones_window_whole_or_not_at_all() {
    let stage = Stage::new("RGGB");
    let image = Image::finely(&edge(5.0, true), &Optics::blurred(0.5), (192, 160));
    let [patch] = stage.patches(Arc::new(image), 1, 7).try_into().unwrap();
    let greens =
        PatchGreens::of(&patch, &stage.camera.cfa, &stage.camera.black, stage.camera.white);
    // From 10 to 90 % in nine pixels.
    let wide = Window::for_rise(9.0);
    let near = SlantedEdge::of(&greens).unwrap();
    assert!(near.rise < 3.0 && near.reading(wide).is_none(), "{} {}", near.rise, near.reach);
    let far = SlantedEdge::as_far_as(&greens, wide.needs()).unwrap();
    let found = far.reading(wide).unwrap().whole[LN_MTF50].exp();
    let truth = true_mtf50(0.5, 5.0);
    // One frame of 160 rows, in a window four times as wide as it needs.
    assert!((found / truth - 1.0).abs() < 2.0 * NOISE, "{found}, planted {truth}");
}

#[test]
fn what_cannot_be_measured_is_refused_by_its_own_name() {
    let stage = Stage::new("RGGB");
    let fault =
        |subject: &Subject, optics: &Optics| stage.edges(subject, optics, 1, 3).remove(0).err();
    let sharp = Optics::blurred(0.6);
    assert!(matches!(fault(&edge(0.4, true), &sharp), Some(EdgeFault::Angle { .. })));
    assert!(matches!(fault(&edge(14.0, true), &sharp), Some(EdgeFault::Angle { .. })));
    let faint = Subject::Edge { upright: true, angle: 5.0, offset: 0.0, dark: 0.7 };
    assert!(matches!(fault(&faint, &sharp), Some(EdgeFault::LowContrast { .. })));
    assert!(matches!(
        fault(&edge(5.0, true), &Optics::blurred(6.0)),
        Some(EdgeFault::Blurred { .. })
    ));
    let bright = Stage { level: 1.2, ..Stage::new("RGGB") };
    let clipped = bright.edges(&edge(5.0, true), &sharp, 1, 3).remove(0).err();
    assert!(matches!(clipped, Some(EdgeFault::Clipped { .. })), "{clipped:?}");
}

#[test]
fn a_loss_is_its_closed_form_and_nothing_is_lost_where_nothing_was_added() {
    let stage = Stage::new("GRBG");
    let subject = edge(6.2, true);
    for (added, seed) in [(0.0, 5), (0.3, 6)] {
        let bare = stage.edges(&subject, &Optics::blurred(0.6), 3, seed);
        // The same camera, other noise.
        let filtered = stage.edges(&subject, &Optics::blurred(0.6).softened(added), 3, seed);
        let both: Vec<_> = bare.iter().chain(&filtered).cloned().collect();
        let window = window(&both);
        let (b, f) = (readings(&bare, window), readings(&filtered, window));
        let change =
            ratio::compared(&b.iter().collect::<Vec<_>>(), &f.iter().collect::<Vec<_>>(), LN_MTF50)
                .change()
                .unwrap();
        let truth = (true_mtf50(0.6_f64.hypot(added), 6.2) / true_mtf50(0.6, 6.2)).ln();
        assert!((change.ln.value - truth).abs() < NOISE, "{added}: {change:?} {truth}");
    }
}
