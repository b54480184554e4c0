//! The light over an evening.

use super::World;
use rand::Rng;
use rand_chacha::ChaCha8Rng;

/// What happens on an evening.
#[derive(Clone, Copy, PartialEq)]
pub enum Weather {
    /// Sunshine, clouds before it, brackets.
    Clouds,
    /// The golden hour and after.
    Dusk,
}

/// The light over the evening: stops and colour at a minute.
pub struct Sky {
    weather: Weather,
    base: f64,
    fade: f64,
    quicker: f64,
    /// Clouds: from, to, depth.
    clouds: Vec<(f64, f64, f64)>,
    warms: [f64; 2],
}

impl Sky {
    pub fn new(world: World, r: &mut ChaCha8Rng) -> Self {
        let weather = world.weather;
        let mut clouds = Vec::new();
        let mut at = r.random_range(0.0..15.0);
        if weather == Weather::Clouds {
            while at < 240.0 {
                let long = r.random_range(0.5..12.0);
                clouds.push((at, at + long, r.random_range(0.6..2.4)));
                at += long + r.random_range(1.0..25.0);
            }
        } else if world.harsh {
            // A bank of cloud on the horizon.
            clouds.push((
                20.0 + at,
                20.0 + at + r.random_range(5.0..60.0),
                r.random_range(0.5..3.0),
            ));
        }
        let dusk = weather == Weather::Dusk;
        Self {
            weather,
            base: if dusk { r.random_range(8.5..12.5) } else { r.random_range(13.0..14.6) },
            fade: if dusk { r.random_range(-0.06..-0.01) } else { r.random_range(-0.006..0.006) },
            quicker: if dusk { r.random_range(0.0..0.0012) } else { 0.0 },
            clouds,
            warms: if dusk {
                [r.random_range(-0.004..0.008), r.random_range(-0.008..0.004)]
            } else {
                [0.0; 2]
            },
        }
    }

    pub fn at(&self, minute: f64) -> (f64, [f64; 2]) {
        let cloud = self.clouds.iter().find(|c| (c.0..c.1).contains(&minute)).map_or(0.0, |c| c.2);
        let light = self.base + self.fade * minute - self.quicker * minute * minute - cloud;
        let blue = if self.weather == Weather::Clouds { 0.06 * cloud } else { 0.0 };
        (light.max(-3.0), [self.warms[0] * minute - blue, self.warms[1] * minute + blue])
    }
}
