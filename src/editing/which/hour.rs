//! The light of the hour: what the light of one place says of that at the next.

/// The brightest light on earth as an exposure value at ISO 100, and how sharp that bound is
/// (common practice, no source: sunlit ground is 15, snow 16 and more).
pub(super) const BRIGHTEST_EV: f64 = 16.0;
pub(super) const BRIGHTEST_SOFT: f64 = 0.6;
/// One place against the light of the hour, in stops: under an even sky, and among clouds (ours).
pub(super) const SCENE_STOPS: [f64; 2] = [0.9, 1.6];
/// While the sun is on the land the light of the hour is so bright, and a place may lie in the shadow of
/// a cloud though none was seen to pass (ours).
const SUN_EV: f64 = 12.5;
const SHADOW_STOPS: f64 = 1.6;
/// How the light of the hour changes from scene to scene (ours).
const HOUR_STOPS: f64 = 0.4;
const HOUR_A_MINUTE: f64 = 0.08;
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
/// a place lies from that of the hour.
pub(super) fn by_hour(groups: &[(f64, Vec<Says>)], scene: f64) -> (Vec<Vec<f64>>, f64) {
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
            let over = (ev(step) - BRIGHTEST_EV + 1.0).max(0.0) / BRIGHTEST_SOFT;
            (-0.5 * over.powi(2)).exp()
        })
        .collect();
    let walk = |from: &[f64], minutes: f64| {
        let sd = (HOUR_STOPS + HOUR_A_MINUTE * minutes).min(HOUR_AT_MOST);
        let reach: Vec<f64> = (0..STEPS).map(|k| student(STEP_EV * k as f64, sd)).collect();
        let to = |t: usize| -> f64 {
            (0..STEPS).map(|f| from[f] * reach[f.abs_diff(t)]).sum::<f64>() * possible[t]
        };
        (0..STEPS).map(to).collect::<Vec<f64>>()
    };
    let product =
        |a: &[f64], b: &[f64]| -> Vec<f64> { a.iter().zip(b).map(|(a, b)| a * b).collect() };
    let mut log = 0.0;
    let mut forward: Vec<Vec<f64>> = Vec::new();
    for k in 0..groups.len() {
        let mut from = match forward.last() {
            Some(before) => walk(&product(before, &said[k - 1]), groups[k].0),
            None => possible.clone(),
        };
        scaled(&mut from);
        log += product(&from, &said[k]).iter().sum::<f64>().max(f64::MIN_POSITIVE).ln();
        forward.push(from);
    }
    let mut backward = vec![vec![1.0; STEPS]; groups.len()];
    for k in (1..groups.len()).rev() {
        backward[k - 1] = walk(&product(&backward[k], &said[k]), groups[k].0);
        scaled(&mut backward[k - 1]);
    }
    let light = |k: usize, table: &[f64]| {
        (0..STEPS).map(|s| forward[k][s] * backward[k][s] * table[s]).sum()
    };
    let found = (0..groups.len()).map(|k| tables[k].iter().map(|t| light(k, t)).collect());
    (found.collect(), log)
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
