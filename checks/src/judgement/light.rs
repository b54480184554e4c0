//! How the light changes during a shoot, in stops against minutes.

use super::dice::Dice;

/// Knots of a curve lie this far apart, minutes.
const STEP: f64 = 1.0 / 30.0;

/// Sort of light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sort {
    Steady,
    Walking,
    Linear,
    Curved,
    Stepped,
    Clouds,
    /// The sun goes down, or comes up.
    Evening,
    /// The sun comes out, or goes in, on the way.
    SunOut,
}

impl Sort {
    pub const ALL: [Self; 6] =
        [Self::Steady, Self::Walking, Self::Linear, Self::Curved, Self::Stepped, Self::Clouds];

    pub fn name(self) -> &'static str {
        match self {
            Self::Steady => "steady",
            Self::Walking => "walking",
            Self::Linear => "linear drift",
            Self::Curved => "curved drift",
            Self::Stepped => "stepped",
            Self::Clouds => "clouds",
            Self::Evening => "evening",
            Self::SunOut => "sun comes out",
        }
    }
    /// Whether a photographer would call it calm.
    pub fn is_calm(self) -> bool {
        matches!(self, Self::Steady | Self::Walking)
    }
}

/// Light over a shoot.
#[derive(Clone, Debug)]
pub struct Light(Vec<f64>);

impl Light {
    /// Light of this sort over so many minutes.
    pub fn drawn(sort: Sort, minutes: f64, dice: &mut Dice) -> Self {
        let n = (minutes / STEP).ceil() as usize + 2;
        let at = |i: usize| i as f64 * STEP / minutes.max(STEP);
        let mut stops =
            walk(n, if sort == Sort::Steady { 0.0 } else { walk_size(sort, dice) }, dice);
        match sort {
            Sort::Steady | Sort::Walking => {}
            Sort::Linear => {
                let whole = dice.uniform(-0.3, 0.3);
                stops.iter_mut().enumerate().for_each(|(i, s)| *s += whole * at(i));
            }
            Sort::Curved => {
                let (bulge, slope) = (dice.uniform(-0.25, 0.25), dice.uniform(-0.15, 0.15));
                let (skew, turns) = (dice.uniform(0.6, 1.6), dice.uniform(0.7, 1.3));
                stops.iter_mut().enumerate().for_each(|(i, s)| {
                    let t = at(i).clamp(0.0, 1.0).powf(skew);
                    *s += slope * t + bulge * (std::f64::consts::PI * turns * t).sin();
                });
            }
            Sort::Evening => {
                // Stops a minute, and what a minute changes of them.
                let (fall, bend) = (dice.log_uniform(0.05, 0.3), dice.uniform(-0.02, 0.02));
                let way = if dice.chance(0.8) { -1.0 } else { 1.0 };
                stops.iter_mut().enumerate().for_each(|(i, s)| {
                    let t = i as f64 * STEP;
                    *s += way * fall * t * (1.0 + bend * t);
                });
            }
            Sort::SunOut => {
                let when = dice.uniform(0.1, 0.9);
                let by = dice.log_uniform(0.15, 2.0) * if dice.chance(0.7) { 1.0 } else { -1.0 };
                let seconds = dice.log_uniform(2.0, 30.0) / 60.0 / minutes.max(STEP);
                stops.iter_mut().enumerate().for_each(|(i, s)| {
                    *s += by * ((at(i) - when) / seconds + 0.5).clamp(0.0, 1.0);
                });
            }
            Sort::Stepped => {
                for _ in 0..1 + dice.below(2) {
                    let (when, by) =
                        (dice.uniform(0.0, 1.0), 0.25 * dice.uniform(-1.0, 1.0).powi(3));
                    let seconds = dice.log_uniform(1.0, 20.0) / 60.0 / minutes.max(STEP);
                    stops.iter_mut().enumerate().for_each(|(i, s)| {
                        *s += by * ((at(i) - when) / seconds + 0.5).clamp(0.0, 1.0);
                    });
                }
            }
            Sort::Clouds => {
                for _ in 0..1 + dice.below(3) {
                    let (when, by) = (dice.uniform(0.0, 1.0), dice.log_uniform(0.05, 0.6));
                    let wide = dice.log_uniform(10.0, 90.0) / 60.0 / minutes.max(STEP);
                    stops.iter_mut().enumerate().for_each(|(i, s)| {
                        *s -= by / (1.0 + ((at(i) - when) / wide).powi(4));
                    });
                }
            }
        }
        Self(stops)
    }
    /// Light at these stops.
    #[cfg(test)]
    pub fn constant_at(stops: f64) -> Self {
        Self(vec![stops; 2])
    }
    fn at(&self, minutes: f64) -> f64 {
        let place = (minutes / STEP).clamp(0.0, self.0.len() as f64 - 1.001);
        let (i, part) = (place.floor() as usize, place.fract());
        self.0[i] * (1.0 - part) + self.0[i + 1] * part
    }
    /// Mean light of an exposure that begins at `from` minutes and lasts so many seconds; 1 where the
    /// light stands at 0 stops.
    pub fn over(&self, from: f64, seconds: f64) -> f64 {
        let n = ((seconds / 60.0 / STEP).ceil() as usize).clamp(1, 64);
        let part = |i: usize| from + seconds / 60.0 * (i as f64 + 0.5) / n as f64;
        (0..n).map(|i| self.at(part(i)).exp2()).sum::<f64>() / n as f64
    }
}

/// Stops per square root of a minute.
fn walk_size(sort: Sort, dice: &mut Dice) -> f64 {
    if sort == Sort::Walking {
        dice.log_uniform(0.001, 0.012)
    } else {
        dice.log_uniform(0.0005, 0.003)
    }
}

fn walk(n: usize, size: f64, dice: &mut Dice) -> Vec<f64> {
    let mut level = 0.0;
    (0..n)
        .map(|_| {
            level += size * STEP.sqrt() * dice.normal();
            level
        })
        .collect()
}
