//! Colour of filters by their spectra: a camera, lights, filters and an observer sampled from violet to
//! where silicon ends, none of them measuring's own.
//!
//! The observer is the fit of CIE 1931 by sums of half Gaussians of C. Wyman, P.-P. Sloan and P.
//! Shirley (Journal of Computer Graphics Techniques 2/2, 2013; coefficients from memory), good to
//! about a percent; truth and matrix rest on the same one.

use super::assess::{Outcome, assess};
use super::body::Body;
use super::classes::Class;
use super::dice::Dice;
use super::filter::Piece;
use super::kinds;
use super::light::Sort as Sky;
use super::scene::Scene;
use super::shutter::Sort as Shutter;
use super::solid::{self, Case, Recipe};
use super::targets::{Bound, Target};
use lightloss::profile::Kind;
use lightloss::shoot::Wish;

/// Wavelengths in nanometres.
fn spectrum() -> impl Iterator<Item = f64> {
    (0..125).map(|i| 380.0 + 5.0 * f64::from(i))
}

/// A spectrum as a function of the wavelength in nanometres.
pub type Spectrum<'a> = &'a dyn Fn(f64) -> f64;
/// What three channels, or the observer's three functions, see at a wavelength in nanometres.
pub type Three<'a> = &'a dyn Fn(f64) -> [f64; 3];

const MIRED: &str = "mired shift inside u95 where nothing cautions";
const DUV: &str = "Duv shift inside u95 where nothing cautions";
const VISUAL: &str = "visual strength inside u95 where nothing cautions";

pub fn classes() -> Vec<Class> {
    let class = |name: &str, leak: (f64, f64), bounds| Class {
        name: name.into(),
        share: 0.2,
        short: None,
        shoot: Box::new(move |dice, k| coloured(dice, k, leak)),
        targets: bounds,
    };
    vec![
        class("colour of smooth casts", (0.0, 0.0), at_least),
        class("colour of red leaks of 2 to 6 stops", (2.0, 6.0), at_least),
    ]
}

pub fn at_least(name: &str, outcomes: &[Outcome]) -> Vec<Target> {
    let target = |(question, yes, of): (&str, usize, usize)| {
        Target::new(format!("{name}: {question}"), yes, of, Bound::AtLeast(0.93))
    };
    kinds::answers(outcomes).into_iter().map(target).collect()
}

pub fn half_gaussian(nm: f64, middle: f64, below: f64, above: f64) -> f64 {
    let width = if nm < middle { below } else { above };
    (-0.5 * ((nm - middle) / width).powi(2)).exp()
}

fn observer(nm: f64) -> [f64; 3] {
    let g = |middle, below, above| half_gaussian(nm, middle, below, above);
    [
        1.056 * g(599.8, 37.9, 31.0) + 0.362 * g(442.0, 16.0, 26.7) - 0.065 * g(501.1, 20.4, 26.2),
        0.821 * g(568.8, 46.9, 40.5) + 0.286 * g(530.9, 16.3, 31.1),
        1.217 * g(437.0, 11.8, 36.0) + 0.681 * g(459.0, 26.0, 13.8),
    ]
}

/// Planck's law, any unit (second radiation constant of CODATA 2018).
pub fn planck(nm: f64, kelvin: f64) -> f64 {
    let x = 1.438_776_877e7 / (nm * kelvin);
    (560.0 / nm).powi(5) / x.exp_m1()
}

/// Sensitivities of a camera's channels.
#[derive(Clone, Copy)]
pub struct Eyes([(f64, f64); 3], f64);

impl Eyes {
    pub fn drawn(dice: &mut Dice) -> Self {
        let mut band = |nm: f64, width: f64| {
            (nm + 7.0 * dice.uniform(-1.0, 1.0), width * dice.uniform(0.9, 1.1))
        };
        let bands = [band(598.0, 34.0), band(535.0, 38.0), band(458.0, 28.0)];
        Self(bands, dice.uniform(665.0, 695.0))
    }
    /// Red, green, blue at a wavelength, behind glass that stops infrared.
    fn see(&self, nm: f64) -> [f64; 3] {
        let cut = 1.0 / (1.0 + ((nm - self.1) / 8.0).exp());
        self.0.map(|(middle, width)| cut * half_gaussian(nm, middle, width, width))
    }
}

pub fn through(light: Spectrum<'_>, see: Three<'_>) -> [f64; 3] {
    spectrum().fold([0.0; 3], |sum, nm| {
        let (l, s) = (light(nm), see(nm));
        std::array::from_fn(|c| sum[c] + l * s[c])
    })
}

/// The matrix from XYZ to the camera that fits smooth reflectances best, by least squares.
pub fn matrix(eyes: &Eyes, dice: &mut Dice) -> [f64; 9] {
    fitted(&|nm| planck(nm, 6500.0), &|nm| eyes.see(nm), &observer, dice)
}

/// The same of a camera and an observer, in a light.
pub fn fitted(
    lamp: Spectrum<'_>,
    see: Three<'_>,
    observer: Three<'_>,
    dice: &mut Dice,
) -> [f64; 9] {
    let (mut xx, mut xc) = ([[0.0; 3]; 3], [[0.0; 3]; 3]);
    for _ in 0..60 {
        let waves: Vec<(f64, f64, f64)> = (0..4)
            .map(|_| {
                (dice.uniform(380.0, 780.0), dice.uniform(20.0, 90.0), dice.uniform(-0.4, 0.6))
            })
            .collect();
        let level = dice.uniform(0.2, 0.5);
        let light = |nm: f64| {
            let shape =
                waves.iter().map(|(m, w, a)| a * half_gaussian(nm, *m, *w, *w)).sum::<f64>();
            lamp(nm) * (level + shape).clamp(0.02, 0.98)
        };
        let (xyz, camera) = (through(&light, observer), through(&light, see));
        for r in 0..3 {
            for c in 0..3 {
                xx[r][c] += xyz[r] * xyz[c];
                xc[r][c] += camera[r] * xyz[c];
            }
        }
    }
    let inverse = inverse(xx);
    let product = |r: usize, c: usize| (0..3).map(|k| xc[r][k] * inverse[k][c]).sum::<f64>();
    std::array::from_fn(|i| product(i / 3, i % 3))
}

fn inverse(m: [[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let minor = |r: usize, c: usize| {
        let (a, b, d, e) = ((r + 1) % 3, (r + 2) % 3, (c + 1) % 3, (c + 2) % 3);
        m[a][d] * m[b][e] - m[a][e] * m[b][d]
    };
    let determinant: f64 = (0..3).map(|c| m[0][c] * minor(0, c)).sum();
    std::array::from_fn(|r| std::array::from_fn(|c| minor(c, r) / determinant))
}

/// CIE 1960 u, v.
fn chromaticity([x, y, z]: [f64; 3]) -> (f64, f64) {
    let sum = x + 15.0 * y + 3.0 * z;
    (4.0 * x / sum, 6.0 * y / sum)
}

/// Mired of the nearest black body and the distance to it, above the locus positive.
pub fn temperature(xyz: [f64; 3], observer: Three<'_>) -> (f64, f64) {
    let (u, v) = chromaticity(xyz);
    let body = |mired: f64| {
        let kelvin = 1e6 / mired;
        chromaticity(through(&|nm| planck(nm, kelvin), observer))
    };
    let far = |mired: f64| {
        let (a, b) = body(mired);
        (u - a).hypot(v - b)
    };
    let coarse = (10..100).map(|i| 5.0 * f64::from(i)).min_by(|a, b| far(*a).total_cmp(&far(*b)));
    let (mut low, mut high) = (coarse.unwrap_or(150.0) - 5.0, coarse.unwrap_or(150.0) + 5.0);
    for _ in 0..40 {
        let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
        if far(a) < far(b) { high = b } else { low = a }
    }
    let mired = (low + high) / 2.0;
    (mired, far(mired) * (v - body(mired).1).signum())
}

/// What the eyes see of a bare light, and how many stops of it a filter takes, channel by channel.
pub fn strengths_seen(
    eyes: &Eyes,
    light: Spectrum<'_>,
    passes: Spectrum<'_>,
) -> ([f64; 3], [f64; 3]) {
    let see = |nm: f64| eyes.see(nm);
    let (bare, behind) = (through(light, &see), through(&|nm| light(nm) * passes(nm), &see));
    (bare, std::array::from_fn(|c| (bare[c] / behind[c]).log2()))
}

fn coloured(dice: &mut Dice, k: u64, leak: (f64, f64)) -> Outcome {
    let eyes = Eyes::drawn(dice);
    let kelvin = dice.uniform(5200.0, 7500.0);
    let light = |nm: f64| planck(nm, kelvin);
    let (stops, slope, bend) =
        (dice.uniform(3.0, 11.0), dice.uniform(-0.6, 0.6), dice.uniform(-0.4, 0.4));
    let (edge, soft, by) =
        (dice.uniform(640.0, 700.0), dice.uniform(6.0, 20.0), dice.uniform(leak.0, leak.1));
    let passed = |nm: f64| {
        let t = (nm - 560.0) / 150.0;
        let red = by / (1.0 + ((edge - nm) / soft).exp());
        light(nm) * (-(stops + slope * t + bend * t * t - red)).exp2()
    };
    let seen =
        Seen { light: &light, passed: &passed, see: &|nm| eyes.see(nm), observer: &observer };
    answered(&seen, &|dice| matrix(&eyes, dice), dice, k)
}

/// A filter in a light, before a camera and an observer.
pub struct Seen<'a> {
    pub light: Spectrum<'a>,
    pub passed: Spectrum<'a>,
    pub see: Three<'a>,
    pub observer: Three<'a>,
}

/// Shoots it, and holds what is said of its colour against the spectra.
pub fn answered(
    seen: &Seen<'_>,
    matrix: &dyn Fn(&mut Dice) -> [f64; 9],
    dice: &mut Dice,
    k: u64,
) -> Outcome {
    let Seen { light, passed, see, observer } = *seen;
    let (bare, filtered) = (through(light, see), through(passed, see));
    let strengths: [f64; 3] = std::array::from_fn(|c| (bare[c] / filtered[c]).log2());
    let (xyz, behind) = (through(light, observer), through(passed, observer));
    let (before, after) = (temperature(xyz, observer), temperature(behind, observer));
    let recipe = Recipe::usual(Sky::Walking, Shutter::Crystal);
    let shots = solid::shots(&recipe, strengths[1], dice);
    let scene = solid::scene(&recipe, vec![vec![Piece::plain(strengths)]], &shots, dice);
    let body: Body = scene.body.clone().seeing(bare, matrix(dice));
    // The brightest channel must not clip.
    let most = bare.iter().chain([&bare[1]]).fold(0.0_f64, |a, b| a.max(*b)) / bare[1];
    let scene = Scene { body, brightness: scene.brightness / most, ..scene };
    let about = solid::about(&scene, strengths[1], dice);
    let made = scene.shoot(&shots);
    let stops = vec![scene.strength(0)];
    let mut outcome =
        assess(Case { made, wish: Wish::default(), about, kind: Kind::Solid, stops }, k);
    // Strength is looked at elsewhere.
    outcome.error = None;
    answer(&mut outcome, [after.0 - before.0, after.1 - before.1, (xyz[1] / behind[1]).log2()]);
    outcome
}

/// The colour figures beside the truth, where no caution of grade `number` speaks.
fn answer(outcome: &mut Outcome, [mired, duv, visual]: [f64; 3]) {
    let Some(setting) = outcome.profile.as_ref().and_then(|p| p.settings.first()) else { return };
    if !outcome.cautions.is_empty() {
        return;
    }
    let inside = |found: f64, u95: f64, truth: f64| (found - truth).abs() <= u95;
    let cast = &setting.cast;
    let answers = [
        cast.mired_shift.map(|m| (MIRED, inside(m.value.get(), m.u95.get(), mired))),
        cast.duv_shift.map(|d| (DUV, inside(d.value.get(), d.u95.get(), duv))),
        setting.visual_strength.map(|v| (VISUAL, inside(v.stops.get(), v.u95.get(), visual))),
    ];
    outcome.answers.extend(answers.into_iter().flatten());
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A black body lies on the locus at its own temperature; D65's chromaticity u = 0.1978, v = 0.3122
    /// is that of 6504 K, 0.0032 above it (CIE 15).
    #[test]
    fn temperatures_are_those_of_the_published_locus() {
        for kelvin in [3000.0, 5000.0, 8000.0] {
            let (mired, duv) = temperature(through(&|nm| planck(nm, kelvin), &observer), &observer);
            assert!((mired - 1e6 / kelvin).abs() < 0.01 && duv.abs() < 1e-6, "{kelvin}");
        }
        let (mired, duv) = temperature([0.950_47, 1.0, 1.088_83], &observer);
        // The observer's fit is good to a percent, which is 2 mired.
        assert!(
            (mired - 1e6 / 6504.0).abs() < 2.0 && (duv - 0.0032).abs() < 0.0006,
            "{mired} {duv}"
        );
    }
}
