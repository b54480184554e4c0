//! Filters that are grey to the eye and leak deep red, before cameras whose infrared cuts are unlike, in
//! daylight and lamp light; and smooth casts before the same.
//!
//! What a leak may hide was set over ranges of cuts, filters and lights; these here are wider and off to a
//! side, so that the limits are held against what they were not made of.
//!
//! Observer and lights are those of CIE 015 at 10 nm (from memory; the LED's shape as well). The
//! other classes of colour have an observer that ends too early for this.

use super::assess::Outcome;
use super::classes::Class;
use super::colour::{
    Seen, Spectrum, Three, answered, at_least, fitted, half_gaussian, planck, temperature, through,
};
use super::dice::Dice;
use lightloss::compare::compare;

/// CIE 1931, 380 to 780 nm.
const X: [f64; 41] = [
    0.001368, 0.004243, 0.01431, 0.04351, 0.13438, 0.2839, 0.34828, 0.3362, 0.2908, 0.19536,
    0.09564, 0.03201, 0.0049, 0.0093, 0.06327, 0.1655, 0.2904, 0.43345, 0.5945, 0.7621, 0.9163,
    1.0263, 1.0622, 1.0026, 0.85445, 0.6424, 0.4479, 0.2835, 0.1649, 0.0874, 0.04677, 0.0227,
    0.011359, 0.00579, 0.002899, 0.00144, 0.00069, 0.000332, 0.000166, 0.000083, 0.0000415,
];
const Y: [f64; 41] = [
    0.000039, 0.00012, 0.000396, 0.00121, 0.004, 0.0116, 0.023, 0.038, 0.06, 0.09098, 0.13902,
    0.20802, 0.323, 0.503, 0.71, 0.862, 0.954, 0.99495, 0.995, 0.952, 0.87, 0.757, 0.631, 0.503,
    0.381, 0.265, 0.175, 0.107, 0.061, 0.032, 0.017, 0.00821, 0.004102, 0.002091, 0.001047,
    0.00052, 0.000249, 0.00012, 0.00006, 0.00003, 0.000015,
];
/// It ends at 650 nm.
const Z: [f64; 27] = [
    0.00645, 0.02005, 0.06785, 0.2074, 0.6456, 1.3856, 1.74706, 1.77211, 1.6692, 1.28764, 0.81295,
    0.46518, 0.272, 0.1582, 0.07825, 0.04216, 0.0203, 0.00875, 0.0039, 0.0021, 0.00165, 0.0011,
    0.0008, 0.00034, 0.00019, 0.00005, 0.00002,
];
const D65: [f64; 41] = [
    49.98, 54.65, 82.75, 91.49, 93.43, 86.68, 104.87, 117.01, 117.81, 114.86, 115.92, 108.81,
    109.35, 107.80, 104.79, 107.69, 104.41, 104.05, 100.0, 96.33, 95.79, 88.69, 90.01, 89.60,
    87.70, 83.29, 83.70, 80.03, 80.21, 82.28, 78.28, 69.72, 71.61, 74.35, 61.60, 69.89, 75.09,
    63.59, 46.42, 66.81, 63.38,
];
const D50: [f64; 41] = [
    24.49, 29.87, 49.31, 56.51, 60.03, 57.82, 74.82, 87.25, 90.61, 91.37, 95.11, 91.96, 95.72,
    96.61, 97.13, 102.10, 100.75, 102.32, 100.0, 97.74, 98.92, 93.50, 97.69, 99.27, 99.04, 95.72,
    98.86, 95.67, 98.19, 103.0, 99.13, 87.38, 91.60, 92.89, 76.85, 86.51, 92.58, 78.23, 57.69,
    82.92, 78.27,
];
/// Kelvin of illuminant A.
const LAMP: f64 = 2856.0;

pub fn classes() -> Vec<Class> {
    let class = |name: &str, leaks: bool| Class {
        name: name.into(),
        share: 0.4,
        short: None,
        shoot: Box::new(move |dice, k| shoot(dice, k, leaks)),
        targets: at_least,
    };
    vec![
        class("colour of red leaks, unlike lights and cuts", true),
        class("colour of smooth casts, unlike lights and cuts", false),
        Class {
            name: "colour of filters measured twice, alike lights".into(),
            share: 0.2,
            short: None,
            shoot: Box::new(twice),
            targets: at_least,
        },
    ]
}

/// A table at a wavelength; beyond its end nothing, or what it ends with.
fn read(table: &[f64], nm: f64, goes_on: bool) -> f64 {
    let at = (nm - 380.0) / 10.0;
    let low = at.floor() as usize;
    let Some(next) = table.get(low + 1) else {
        return if goes_on { table.last().copied().unwrap_or(0.0) } else { 0.0 };
    };
    let share = at - low as f64;
    // What falls by a half each step is no straight line.
    (table[low].ln() * (1.0 - share) + next.ln() * share).exp()
}

fn observer(nm: f64) -> [f64; 3] {
    [read(&X, nm, false), read(&Y, nm, false), read(&Z, nm, false)]
}

/// Channels that end where an infrared cut does, which lets some pass; their dyes let infrared through.
struct Camera {
    bands: [(f64, f64); 3],
    tail: f64,
    cut: f64,
    soft: f64,
    passes: f64,
    dyes: [f64; 3],
}

impl Camera {
    fn drawn(dice: &mut Dice) -> Self {
        let weak = dice.chance(0.4);
        let bands = [(585.0, 617.0), (521.0, 545.0), (446.0, 473.0)];
        let widths = [(26.0, 42.0), (31.0, 46.0), (22.0, 35.0)];
        let (cuts, powers) =
            if weak { ((665.0, 715.0), (-3.8, -2.0)) } else { ((635.0, 695.0), (-6.0, -3.5)) };
        let dyes = [(0.6, 1.0), (0.15, 0.7), (0.05, 0.7)];
        let mut of = |range: (f64, f64)| dice.uniform(range.0, range.1);
        Self {
            bands: std::array::from_fn(|c| (of(bands[c]), of(widths[c]))),
            tail: of((0.9, 1.9)),
            cut: of(cuts),
            soft: of((4.0, 13.0)),
            passes: 10_f64.powf(of(powers)),
            dyes: dyes.map(of),
        }
    }
    fn see(&self, nm: f64) -> [f64; 3] {
        let rising = |from: f64, soft: f64| 1.0 / (1.0 + ((from - nm) / soft).exp());
        let cut = 1.0 - rising(self.cut, self.soft) + self.passes;
        // Silicon sees less and less, and nothing at 1050 nm.
        let silicon = (1.0 - ((nm - 550.0) / 500.0).max(0.0).powi(2)).max(0.0);
        std::array::from_fn(|c| {
            let (middle, width) = self.bands[c];
            let above = if c == 0 { self.tail * width } else { width };
            let (from, soft) = if c == 0 { (660.0, 15.0) } else { (790.0, 20.0) };
            let band = half_gaussian(nm, middle, width, above);
            cut * silicon * band.max(self.dyes[c] * rising(from, soft))
        })
    }
}

fn light(dice: &mut Dice) -> (bool, Box<dyn Fn(f64) -> f64>) {
    let water = |nm: f64| 1.0 - 0.35 * half_gaussian(nm, 940.0, 25.0, 25.0);
    let (blue, high) = (dice.uniform(442.0, 464.0), dice.uniform(0.5, 1.5));
    let (yellow, below, above) =
        (dice.uniform(552.0, 578.0), dice.uniform(34.0, 46.0), dice.uniform(52.0, 75.0));
    let kelvin = dice.uniform(2650.0, 3200.0);
    match dice.below(4) {
        0 => (true, Box::new(move |nm| planck(nm, kelvin))),
        1 => (false, Box::new(move |nm| read(&D50, nm, true) * water(nm))),
        2 => (false, Box::new(move |nm| read(&D65, nm, true) * water(nm))),
        _ => (
            false,
            Box::new(move |nm| {
                let phosphor = half_gaussian(nm, yellow, below, above);
                high * half_gaussian(nm, blue, 10.0, 10.0) + phosphor
            }),
        ),
    }
}

/// A filter by its density in stops.
#[derive(Clone, Copy)]
struct Glass {
    stops: f64,
    slope: f64,
    bend: f64,
    leak: f64,
    edge: f64,
    soft: f64,
}

impl Glass {
    /// Grey to the eye with a leak, or a smooth cast.
    fn drawn(dice: &mut Dice, leaks: bool) -> Self {
        let stops = dice.uniform(1.6, 13.0);
        let (slope, bend) = if leaks { (0.12, 0.08) } else { (0.7, 0.5) };
        let (slope, bend) = (dice.uniform(-slope, slope), dice.uniform(-bend, bend));
        let leak = if leaks { dice.uniform(1.5, stops.min(7.0)) } else { 0.0 };
        let (edge, soft) = (dice.uniform(645.0, 735.0), dice.uniform(4.0, 20.0));
        Self { stops, slope, bend, leak, edge, soft }
    }

    fn passes(&self, nm: f64) -> f64 {
        let t = ((nm - 560.0) / 150.0).min(1.0);
        let red = self.leak / (1.0 + ((self.edge - nm) / self.soft).exp());
        let density = (self.stops + self.slope * t + self.bend * t * t - red).max(0.0);
        (-density).exp2()
    }
}

/// The matrix that fits a camera in daylight or lamp light.
fn matrix(camera: &Camera, is_lamp: bool, dice: &mut Dice) -> [f64; 9] {
    let own = |nm: f64| if is_lamp { planck(nm, LAMP) } else { read(&D65, nm, true) };
    fitted(&own, &|nm| camera.see(nm), &observer, dice)
}

fn shoot(dice: &mut Dice, k: u64, leaks: bool) -> Outcome {
    let camera = Camera::drawn(dice);
    let (is_lamp, light) = light(dice);
    let glass = Glass::drawn(dice, leaks);
    let light: Spectrum<'_> = &*light;
    let passed = |nm: f64| light(nm) * glass.passes(nm);
    let see: Three<'_> = &|nm| camera.see(nm);
    let seen = Seen { light, passed: &passed, see, observer: &observer };
    answered(&seen, &|dice| matrix(&camera, is_lamp, dice), dice, k)
}

const CHANGE: &str = "change of mired inside u95 where nothing cautions";
const NARROWER: &str = "no change is surer by a quarter than two measurements apart";

/// Of what two measurements of other cameras, each as sure, would leave of it.
const SURER: f64 = 0.75;

/// One filter and one camera, and daylights of nearly one temperature that hold more or less infrared;
/// between them the filter has faded a little, or its leak grown, by half as much again as what remains of
/// the doubt was reckoned for.
fn twice(dice: &mut Dice, k: u64) -> Outcome {
    let camera = Camera::drawn(dice);
    let leaks = dice.chance(0.5);
    let first = Glass::drawn(dice, leaks);
    let change = if dice.chance(0.5) { 0.0 } else { 1.0 };
    let second = Glass {
        stops: first.stops - change * dice.uniform(0.0, 0.45),
        slope: first.slope + change * dice.uniform(-0.22, 0.22),
        leak: first.leak + if leaks { change * dice.uniform(0.0, 0.45) } else { 0.0 },
        ..first
    };
    let drawn = matrix(&camera, false, dice);
    let kelvin = dice.uniform(5000.0, 7000.0);
    let see: Three<'_> = &|nm| camera.see(nm);
    let mut took = |glass: Glass| {
        let (kelvin, wet) = (kelvin * dice.uniform(0.976, 1.024), dice.uniform(0.0, 0.5));
        let light = |nm: f64| {
            let tilt = planck(nm, kelvin) / planck(nm, 6504.0);
            read(&D65, nm, true) * tilt * (1.0 - wet * half_gaussian(nm, 940.0, 25.0, 25.0))
        };
        let passed = |nm: f64| light(nm) * glass.passes(nm);
        let seen = Seen { light: &light, passed: &passed, see, observer: &observer };
        let mired = |spectrum: Spectrum<'_>| temperature(through(spectrum, &observer), &observer).0;
        (answered(&seen, &|_| drawn, dice, k), mired(&passed) - mired(&light))
    };
    let ((mut outcome, before), (later, after)) = (took(first), took(second));
    outcome.answers.clear();
    let silent = outcome.cautions.is_empty() && later.cautions.is_empty();
    let (Some(one), Some(mut two)) = (&outcome.profile, later.profile) else { return outcome };
    // It is one camera, whatever the draws made of its body.
    two.camera.clone_from(&one.camera);
    let found = compare(one, &two).ok().and_then(|found| found.settings.first()?.mired);
    if let Some(found) = found.filter(|_| silent) {
        let off = found.difference - (after - before);
        let mut other = two.clone();
        other.camera.model = Some("Another".into());
        let apart = compare(one, &other).ok().and_then(|found| found.settings.first()?.mired);
        outcome.answers.push((CHANGE, off.abs() <= found.u95));
        if change == 0.0 {
            let surer = apart.is_some_and(|apart| found.u95 < SURER * apart.u95);
            outcome.answers.push((NARROWER, surer));
        }
    }
    outcome
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Their colour temperatures (CIE 015): 2856, 5003 and 6504 K; D65's white has x = 0.3127, y = 0.3290.
    #[test]
    fn lights_have_their_published_colours() {
        let seen = |light: Spectrum<'_>| through(light, &observer);
        let lights: [(&dyn Fn(f64) -> f64, f64); 3] = [
            (&|nm| planck(nm, LAMP), 2856.0),
            (&|nm| read(&D50, nm, true), 5003.0),
            (&|nm| read(&D65, nm, true), 6504.0),
        ];
        for (light, kelvin) in lights {
            let (mired, _) = temperature(seen(light), &observer);
            assert!((mired - 1e6 / kelvin).abs() < 1.0, "{kelvin}: {mired}");
        }
        let [x, y, z] = seen(&|nm| read(&D65, nm, true));
        let sum = x + y + z;
        assert!((x / sum - 0.3127).abs() < 5e-4 && (y / sum - 0.3290).abs() < 5e-4);
    }
}
