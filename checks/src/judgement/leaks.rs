//! Filters that are grey to the eye and leak deep red, before cameras whose infrared cuts are unlike, in
//! daylight and lamp light; and smooth casts before the same.
//!
//! Observer and lights are those of CIE 015 at 10 nm (from memory; the LED's shape as well). The
//! other classes of colour have an observer that ends too early for this.

use super::assess::Outcome;
use super::classes::Class;
use super::colour::{Seen, Spectrum, Three, answered, at_least, fitted, half_gaussian, planck};
use super::dice::Dice;

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
        let bands = [(588.0, 612.0), (525.0, 542.0), (448.0, 468.0)];
        let widths = [(28.0, 40.0), (34.0, 44.0), (24.0, 32.0)];
        let (cuts, powers) =
            if weak { ((670.0, 705.0), (-3.5, -2.2)) } else { ((640.0, 685.0), (-5.5, -3.8)) };
        let dyes = [(0.7, 1.0), (0.2, 0.6), (0.1, 0.6)];
        let mut of = |range: (f64, f64)| dice.uniform(range.0, range.1);
        Self {
            bands: std::array::from_fn(|c| (of(bands[c]), of(widths[c]))),
            tail: of((1.0, 1.7)),
            cut: of(cuts),
            soft: of((5.0, 11.0)),
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
    let (blue, high) = (dice.uniform(446.0, 458.0), dice.uniform(0.6, 1.3));
    match dice.below(4) {
        0 => (true, Box::new(|nm| planck(nm, LAMP))),
        1 => (false, Box::new(move |nm| read(&D50, nm, true) * water(nm))),
        2 => (false, Box::new(move |nm| read(&D65, nm, true) * water(nm))),
        _ => (
            false,
            Box::new(move |nm| {
                let phosphor = half_gaussian(nm, 560.0, 38.0, 60.0);
                high * half_gaussian(nm, blue, 10.0, 10.0) + phosphor
            }),
        ),
    }
}

fn shoot(dice: &mut Dice, k: u64, leaks: bool) -> Outcome {
    let camera = Camera::drawn(dice);
    let (is_lamp, light) = light(dice);
    let stops = dice.uniform(2.0, 12.0);
    // Grey to the eye, or a smooth cast.
    let (slope, bend) = if leaks { (0.1, 0.06) } else { (0.6, 0.4) };
    let (slope, bend) = (dice.uniform(-slope, slope), dice.uniform(-bend, bend));
    let leak = if leaks { dice.uniform(2.0, stops.min(6.0)) } else { 0.0 };
    let (edge, soft) = (dice.uniform(650.0, 720.0), dice.uniform(5.0, 15.0));
    let density = |nm: f64| {
        let t = ((nm - 560.0) / 150.0).min(1.0);
        let red = leak / (1.0 + ((edge - nm) / soft).exp());
        (stops + slope * t + bend * t * t - red).max(0.0)
    };
    let light: Spectrum<'_> = &*light;
    let passed = |nm: f64| light(nm) * (-density(nm)).exp2();
    let see: Three<'_> = &|nm| camera.see(nm);
    let own = |nm: f64| if is_lamp { planck(nm, LAMP) } else { read(&D65, nm, true) };
    let seen = Seen { light, passed: &passed, see, observer: &observer };
    answered(&seen, &|dice| fitted(&own, see, &observer, dice), dice, k)
}

#[cfg(test)]
mod tests {
    use super::super::colour::{temperature, through};
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
