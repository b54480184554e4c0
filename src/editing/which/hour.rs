//! The light of the hour: what the light of one place says of that at the next.

/// The brightest light on earth as an exposure value at ISO 100, and how sharp that bound is
/// (common practice, no source: sunlit ground is 15, snow 16 and more).
pub(super) const BRIGHTEST_EV: f64 = 16.0;
pub(super) const BRIGHTEST_SOFT: f64 = 0.6;
/// One place against the light of the hour, in stops: under an even sky, and among clouds (ours).
pub(super) const SCENE_STOPS: [f64; 2] = [0.7, 1.3];
/// While the sun is on the land the light of the hour is so bright, and a place may lie in the shadow of
/// a cloud though none was seen to pass (ours).
const SUN_EV: f64 = 12.5;
const SHADOW_STOPS: f64 = 1.3;
/// How the light of the hour changes from scene to scene beside its drift (ours).
const HOUR_STOPS: f64 = 0.3;
const HOUR_A_MINUTE: f64 = 0.04;
const HOUR_AT_MOST: f64 = 3.0;
/// Light of the hour, in steps of a quarter stop.
const DARKEST_EV: f64 = -8.0;
const STEP_EV: f64 = 0.25;
const STEPS: usize = 108;
/// No account is impossible: photographs hold what no model does.
const LEAST: f64 = 1e-6;

/// The light of the hour over an evening, as the lights that the filters of each group mean allow it.
pub(super) struct Hour<'a> {
    tables: &'a Tables,
    /// By group: how the light comes to it from the group before, and how it goes back.
    ways: Vec<[Vec<f64>; 2]>,
    possible: Vec<f64>,
}

/// By group and filter: how likely the light that it means is at every light of the hour; `None` where
/// nobody takes it for that.
pub(super) struct Tables(Vec<Vec<Option<Vec<f64>>>>);

/// What may be in front of the lens at the first photograph of one group.
pub(super) struct Meant {
    /// By filter the exposure value of the light that it would mean, and its doubt; `None` where the light
    /// is not known.
    pub lights: Vec<Option<(f64, f64)>>,
    /// Whether anybody takes it for that.
    pub asked: Vec<bool>,
}

impl Tables {
    /// `scene` is how far the light of a place lies from that of the hour.
    pub fn new(groups: &[Meant], scene: f64) -> Self {
        let at = |light: Option<(f64, f64)>, step: usize| {
            let scene = if ev(step) > SUN_EV { scene.max(SHADOW_STOPS) } else { scene };
            light.map_or(1.0, |(light, u)| student(light - ev(step), scene.hypot(u)).max(LEAST))
        };
        let table = |(&light, &asked): (&Option<(f64, f64)>, &bool)| -> Option<Vec<f64>> {
            asked.then(|| (0..STEPS).map(|step| at(light, step)).collect())
        };
        let of = |g: &Meant| g.lights.iter().zip(&g.asked).map(table).collect();
        Self(groups.iter().map(of).collect())
    }
}

impl<'a> Hour<'a> {
    /// Minutes lead from the group before to each; `brightest` is the brightest light that there may be,
    /// `drift` how it changes in a minute.
    pub fn new(tables: &'a Tables, minutes: &[f64], brightest: f64, drift: f64) -> Self {
        // Minutes are negative on the way back.
        let walk = |minutes: f64| {
            let sd = (HOUR_STOPS + HOUR_A_MINUTE * minutes.abs()).min(HOUR_AT_MOST);
            reach(drift * minutes, sd)
        };
        let possible = |step: usize| {
            let over = (ev(step) - brightest + 1.0).max(0.0) / BRIGHTEST_SOFT;
            (-0.5 * over.powi(2)).exp()
        };
        Self {
            tables,
            ways: minutes.iter().map(|&minutes| [walk(minutes), walk(-minutes)]).collect(),
            possible: (0..STEPS).map(possible).collect(),
        }
    }

    /// What the hour says of the first frame of every group, filter by filter, and the log of how likely
    /// all groups are together. `weights` are how likely each group's frames are by filter, the light of
    /// the hour aside.
    pub fn says(&self, weights: &[Vec<f64>]) -> (Vec<Vec<f64>>, f64) {
        let groups = self.tables.0.len();
        let said: Vec<Vec<f64>> = (0..groups).map(|k| self.said(k, &weights[k])).collect();
        let mut log = 0.0;
        let mut forward: Vec<Vec<f64>> = Vec::new();
        for k in 0..groups {
            let mut from = match forward.last() {
                Some(before) => {
                    let come = moved(&product(before, &said[k - 1]), &self.ways[k][0]);
                    product(&come, &self.possible)
                }
                None => self.possible.clone(),
            };
            normalised(&mut from);
            log += product(&from, &said[k]).iter().sum::<f64>().max(f64::MIN_POSITIVE).ln();
            forward.push(from);
        }
        let mut backward = vec![vec![1.0; STEPS]; groups];
        for k in (1..groups).rev() {
            let here = product(&product(&backward[k], &said[k]), &self.possible);
            backward[k - 1] = moved(&here, &self.ways[k][1]);
            normalised(&mut backward[k - 1]);
        }
        let found = (0..groups).map(|k| {
            let both = product(&forward[k], &backward[k]);
            let at = |table: &Vec<f64>| both.iter().zip(table).map(|(b, t)| b * t).sum();
            self.tables.0[k].iter().map(|t| t.as_ref().map_or(0.0, at)).collect()
        });
        (found.collect(), log)
    }

    fn said(&self, group: usize, weights: &[f64]) -> Vec<f64> {
        let mut said = vec![0.0; STEPS];
        for (table, &weight) in self.tables.0[group].iter().zip(weights) {
            let Some(table) = table.as_ref().filter(|_| weight > 0.0) else { continue };
            said.iter_mut().zip(table).for_each(|(sum, t)| *sum += weight * t);
        }
        said
    }
}

fn ev(step: usize) -> f64 {
    DARKEST_EV + STEP_EV * step as f64
}

/// How likely the light goes so many steps while it goes so many stops, give or take `sd`.
fn reach(stops: f64, sd: f64) -> Vec<f64> {
    let steps = 1 - STEPS as isize..STEPS as isize;
    steps.map(|k| student(STEP_EV * k as f64 - stops, sd)).collect()
}

/// Where the light is after it has gone on.
fn moved(from: &[f64], reach: &[f64]) -> Vec<f64> {
    let to = |step: usize| -> f64 {
        let reach = &reach[step..step + STEPS];
        from.iter().rev().zip(reach).map(|(from, reach)| from * reach).sum()
    };
    (0..STEPS).map(to).collect()
}

fn product(a: &[f64], b: &[f64]) -> Vec<f64> {
    a.iter().zip(b).map(|(a, b)| a * b).collect()
}

/// Student's density with four degrees of freedom: light has heavy tails.
pub(super) fn student(value: f64, scale: f64) -> f64 {
    // Gamma(5/2) / (Gamma(2) sqrt(4 pi)) = 3/8.
    let beyond = 1.0 + (value / scale).powi(2) / 4.0;
    0.375 / (scale * beyond.powi(2) * beyond.sqrt())
}

/// Makes the sum one.
pub(super) fn normalised(values: &mut [f64]) {
    let sum: f64 = values.iter().sum();
    if sum > 0.0 {
        values.iter_mut().for_each(|v| *v /= sum);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What one group says of its first, through one filter.
    #[derive(Clone)]
    struct Says {
        light: Option<(f64, f64)>,
        weight: f64,
    }

    fn by_hour(
        groups: &[(f64, Vec<Says>)],
        scene: f64,
        brightest: f64,
        drift: f64,
    ) -> (Vec<Vec<f64>>, f64) {
        let meant = |(_, says): &(f64, Vec<Says>)| Meant {
            lights: says.iter().map(|s| s.light).collect(),
            asked: vec![true; says.len()],
        };
        let meant: Vec<Meant> = groups.iter().map(meant).collect();
        let weights = |(_, says): &(f64, Vec<Says>)| says.iter().map(|s| s.weight).collect();
        let weights: Vec<Vec<f64>> = groups.iter().map(weights).collect();
        let minutes: Vec<f64> = groups.iter().map(|g| g.0).collect();
        Hour::new(&Tables::new(&meant, scene), &minutes, brightest, drift).says(&weights)
    }

    /// Light that falls by 0.1 stop a minute over three scenes; then one that is bare and dark, or has a
    /// filter of three stops.
    fn evening() -> Vec<(f64, Vec<Says>)> {
        let says = |light: f64| Says { light: Some((light, 0.05)), weight: 1.0 };
        vec![
            (0.0, vec![says(12.0)]),
            (10.0, vec![says(11.0)]),
            (10.0, vec![says(10.0)]),
            (20.0, vec![says(6.5), says(9.5)]),
        ]
    }

    #[test]
    fn the_light_goes_on_falling_between_scenes() {
        let odds = |drift: f64| {
            let (found, _) = by_hour(&evening(), SCENE_STOPS[0], BRIGHTEST_EV, drift);
            found[3][1] / found[3][0]
        };
        // A light that goes on falling is at 8, as far from both; one that stays is nearer to the other.
        assert!((odds(-0.1) - 1.0).abs() < 0.3, "{}", odds(-0.1));
        assert!(odds(0.0) > 2.0 && odds(-0.2) < 0.5, "{} {}", odds(0.0), odds(-0.2));
    }

    /// An evening told backwards, its light rising, says the same.
    #[test]
    fn time_has_no_say() {
        let forward = evening();
        let mut back: Vec<_> = forward.iter().rev().cloned().collect();
        let between = [0.0, 20.0, 10.0, 10.0];
        back.iter_mut().zip(between).for_each(|(group, minutes)| group.0 = minutes);
        let share = |(found, _): (Vec<Vec<f64>>, f64), at: usize| {
            found[at][1] / found[at].iter().sum::<f64>()
        };
        let one = share(by_hour(&forward, SCENE_STOPS[0], 12.0, -0.1), 3);
        let other = share(by_hour(&back, SCENE_STOPS[0], 12.0, 0.1), 0);
        assert!((one - other).abs() < 1e-9, "{one} {other}");
    }
}
