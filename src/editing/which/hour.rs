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

/// What one group of photographs says of the light at its first, through one filter.
#[derive(Clone, Copy, Debug)]
pub(super) struct Says {
    /// Exposure value of the light that this filter would mean, and its doubt; `None` where the light
    /// is not known.
    pub light: Option<(f64, f64)>,
    /// How likely the group's frames are, the light of the hour aside.
    pub weight: f64,
}

/// What the hour says of the first frame of every group, filter by filter, and the log of how likely
/// all groups are together. Minutes lead from the group before to each; `scene` is how far the light of
/// a place lies from that of the hour, `brightest` the brightest light that there may be.
pub(super) fn by_hour(
    groups: &[(f64, Vec<Says>)],
    scene: f64,
    brightest: f64,
    drift: f64,
) -> (Vec<Vec<f64>>, f64) {
    let ev = |step: usize| DARKEST_EV + STEP_EV * step as f64;
    let at = |light: Option<(f64, f64)>, step: usize| {
        let scene = if ev(step) > SUN_EV { scene.max(SHADOW_STOPS) } else { scene };
        light.map_or(1.0, |(light, u)| student(light - ev(step), scene.hypot(u)).max(LEAST))
    };
    let tables: Vec<Vec<Vec<f64>>> = groups
        .iter()
        .map(|(_, says)| {
            says.iter().map(|s| (0..STEPS).map(|step| at(s.light, step)).collect()).collect()
        })
        .collect();
    let says = |k: usize| -> Vec<f64> {
        let of = groups[k].1.iter().zip(&tables[k]);
        (0..STEPS).map(|step| of.clone().map(|(s, t)| s.weight * t[step]).sum()).collect()
    };
    let said: Vec<Vec<f64>> = (0..groups.len()).map(says).collect();
    let possible: Vec<f64> = (0..STEPS)
        .map(|step| {
            let over = (ev(step) - brightest + 1.0).max(0.0) / BRIGHTEST_SOFT;
            (-0.5 * over.powi(2)).exp()
        })
        .collect();
    // Minutes are negative on the way back.
    let walk = |from: &[f64], minutes: f64| {
        let sd = (HOUR_STOPS + HOUR_A_MINUTE * minutes.abs()).min(HOUR_AT_MOST);
        moved(from, drift * minutes, sd)
    };
    let mut log = 0.0;
    let mut forward: Vec<Vec<f64>> = Vec::new();
    for k in 0..groups.len() {
        let mut from = match forward.last() {
            Some(before) => product(&walk(&product(before, &said[k - 1]), groups[k].0), &possible),
            None => possible.clone(),
        };
        scaled(&mut from);
        log += product(&from, &said[k]).iter().sum::<f64>().max(f64::MIN_POSITIVE).ln();
        forward.push(from);
    }
    let mut backward = vec![vec![1.0; STEPS]; groups.len()];
    for k in (1..groups.len()).rev() {
        let here = product(&product(&backward[k], &said[k]), &possible);
        backward[k - 1] = walk(&here, -groups[k].0);
        scaled(&mut backward[k - 1]);
    }
    let light = |k: usize, table: &[f64]| {
        (0..STEPS).map(|s| forward[k][s] * backward[k][s] * table[s]).sum()
    };
    let found = (0..groups.len()).map(|k| tables[k].iter().map(|t| light(k, t)).collect());
    (found.collect(), log)
}

/// Where the light is after it has gone so many stops, give or take `sd`.
fn moved(from: &[f64], stops: f64, sd: f64) -> Vec<f64> {
    let reach: Vec<f64> = (1 - STEPS as isize..STEPS as isize)
        .map(|k| student(STEP_EV * k as f64 - stops, sd))
        .collect();
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
    0.375 / scale * (1.0 + (value / scale).powi(2) / 4.0).powf(-2.5)
}

fn scaled(values: &mut [f64]) {
    let sum: f64 = values.iter().sum();
    if sum > 0.0 {
        values.iter_mut().for_each(|v| *v /= sum);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
