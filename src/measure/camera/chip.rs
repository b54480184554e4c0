//! Black, its creep, glow and noise of the sensor.

use super::wall::{DarkFrame, WallFrame, WallShoot};
use crate::body_record::{BlackOfBody, CreepOfBody, DarkPoint, GlowOfBody, NoiseOfBody};
use crate::levels::{BlackSource, LevelFrame};
use crate::measure::noise::{self, NoiseLaw, Point};
use crate::measured::coverage_factor;
use crate::numerics::robust::{DEVIATION_PER_MEDIAN, median};
use crate::quantity::{Counts, Seconds};

/// Variance of rounding to whole counts.
const ROUNDING: f64 = 1.0 / 12.0;
/// Dark frames tell a creep where their times differ by this factor at least (ours).
const CREEP_RANGE: f64 = 4.0;
/// Glow is told from so many counts of full scale's 16384th on, and from so many deviations of the
/// other parts of the frame (ours).
const GLOW_COUNTS: f64 = 0.5;
const FULL_SCALE_14_BIT: f64 = 16_384.0;
const GLOW_SIGMAS: f64 = 4.0;

/// The noise law of green, and what it says of the sensor.
#[must_use]
pub fn noise(shoot: &WallShoot) -> Option<(NoiseLaw, NoiseOfBody)> {
    let dark = dark_pairs(shoot);
    let mut points = bright_pairs(shoot);
    points.extend(dark.iter().map(|(_, pair)| pair.point));
    let law = noise::told_law(&points).filter(|law| law.gain > 0.0)?;
    let per_count = 1.0 / law.gain;
    let gain_share = gain_doubt(&points);
    let (variance, share) = read_variance(&dark).unwrap_or((law.floor, None));
    let read = ((variance - ROUNDING).max(0.0)).sqrt() * per_count;
    // A root has half of its square's share; rounding is known.
    let of_root = |share: f64| 0.5 * share * variance / (variance - ROUNDING).max(ROUNDING);
    Some((
        law,
        NoiseOfBody {
            electrons_per_count: per_count,
            u95_electrons_per_count: gain_share * per_count,
            read_noise_electrons: read,
            u95_read_noise_electrons: share.map(|share| read * of_root(share).hypot(gain_share)),
            full_scale_electrons: shoot.full_scale * per_count,
        },
    ))
}

/// The variance of a pixel without light, counts squared, from the shortest dark frames, where what
/// grows with the time is least; and its u95 as a share of it.
fn read_variance(dark: &[(Seconds, FramePair)]) -> Option<(f64, Option<f64>)> {
    let shortest = dark.iter().map(|(time, _)| time.get()).fold(f64::INFINITY, f64::min);
    let pairs: Vec<&FramePair> =
        dark.iter().filter(|(time, _)| time.get() <= shortest).map(|(_, pair)| pair).collect();
    let freedom: f64 = pairs.iter().map(|pair| pair.cells - 1.0).sum();
    let sum: f64 = pairs.iter().map(|pair| (pair.cells - 1.0) * pair.point.variance).sum();
    let variance = sum / freedom;
    // Of a variance from so many independent differences (JCGM 100:2008, E.4.3, near 2 / dof).
    let share = coverage_factor(f64::INFINITY) * (2.0 / freedom).sqrt();
    (variance > 0.0).then_some((variance, Some(share)))
}

/// Variances from neighbouring frames of one exposure.
fn bright_pairs(shoot: &WallShoot) -> Vec<Point> {
    let alike = |a: &WallFrame, b: &WallFrame| {
        a.exposure.recorded == b.exposure.recorded && a.exposure.f_number == b.exposure.f_number
    };
    let mut points = Vec::new();
    for (i, frame) in shoot.frames.iter().enumerate() {
        // Levels may differ a little: the pair is brought to one.
        let next = shoot.frames[i + 1..].iter().find(|next| {
            alike(frame, next) && (next.level / frame.level).log2().abs() < ALIKE_STOPS
        });
        points.extend(next.and_then(|next| pair(&frame.levels, &next.levels)).map(|p| p.point));
    }
    points
}

/// The same of dark frames, with their time.
fn dark_pairs(shoot: &WallShoot) -> Vec<(Seconds, FramePair)> {
    let mut pairs = Vec::new();
    for (i, dark) in shoot.darks.iter().enumerate() {
        let next = shoot.darks[i + 1..].iter().find(|next| next.time == dark.time);
        let found = next.and_then(|next| pair(&dark.levels, &next.levels));
        pairs.extend(found.map(|found| {
            let point = Point { level: found.point.level.max(0.0), ..found.point };
            (dark.time, FramePair { point, ..found })
        }));
    }
    pairs
}

/// What two frames of one exposure tell.
struct FramePair {
    point: Point,
    /// Cells that it comes from.
    cells: f64,
}

/// Variance of a green pixel from two frames of one exposure, as EMVA 1288 has it: half of that of
/// their difference, cell by cell over the centre, the second brought to the first's level; what is
/// far off the others (a hot pixel that warmed up) is left out.
fn pair(a: &LevelFrame, b: &LevelFrame) -> Option<FramePair> {
    let (x, y) = (a.channel_cells(1), b.channel_cells(1));
    let greens = a.planes.len().saturating_sub(2).max(1) as f64;
    let finite = |i: &usize| x[*i].is_finite() && y.get(*i).is_some_and(|v| v.is_finite());
    let cells: Vec<usize> = a.centre_cells.iter().map(|c| c.0).filter(finite).collect();
    if cells.len() < LEAST_CELLS {
        return None;
    }
    let mean = |v: &[f64]| cells.iter().map(|&i| v[i]).sum::<f64>() / cells.len() as f64;
    let (level, other) = (mean(&x), mean(&y));
    // Dark frames have no level to be brought to.
    let scale = if (level / other).log2().abs() < ALIKE_STOPS { level / other } else { 1.0 };
    let apart: Vec<f64> = cells.iter().map(|&i| x[i] - scale * y[i]).collect();
    let middle = median(apart.clone())?;
    let usual = DEVIATION_PER_MEDIAN * median(apart.iter().map(|d| (d - middle).abs()))?;
    let kept: Vec<f64> =
        apart.into_iter().filter(|d| (d - middle).abs() <= FAR_SIGMAS * usual).collect();
    let n = kept.len() as f64;
    let average = kept.iter().sum::<f64>() / n;
    let squares = kept.iter().map(|d| (d - average).powi(2)).sum::<f64>() / (n - 1.0);
    let pixels = median(cells.iter().map(|&i| a.planes[0].pixels[i]))? * greens;
    let variance = squares * pixels / (1.0 + scale * scale);
    (variance > 0.0).then_some(FramePair { point: Point { level, variance }, cells: n })
}

/// Fewer cells tell no variance; cells so many deviations off are left out (ours).
const LEAST_CELLS: usize = 8;
const FAR_SIGMAS: f64 = 5.0;

/// Two frames of one exposure differ by less, stops.
const ALIKE_STOPS: f64 = 0.25;

/// u95 of the gain as a share of it, by leaving out one pair at a time (jackknife, B. Efron 1982).
fn gain_doubt(points: &[Point]) -> f64 {
    let n = points.len();
    if n < 3 {
        return 1.0;
    }
    let without = |i: usize| {
        let rest: Vec<Point> =
            points.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, p)| *p).collect();
        noise::told_law(&rest).map_or(f64::NAN, |law| law.gain.ln())
    };
    let logs: Vec<f64> = (0..n).map(without).filter(|g| g.is_finite()).collect();
    let mean = logs.iter().sum::<f64>() / logs.len().max(1) as f64;
    let spread: f64 = logs.iter().map(|g| (g - mean).powi(2)).sum();
    let u = (spread * (n - 1) as f64 / n as f64).sqrt();
    (coverage_factor((n - 1) as f64) * u).min(1.0)
}

/// Black and its creep.
#[must_use]
pub fn black(shoot: &WallShoot) -> BlackOfBody {
    let above = |dark: &DarkFrame| dark.levels.centre_channels().map(|c| c[1].level);
    let points: Vec<(f64, f64)> =
        shoot.darks.iter().filter_map(|d| Some((d.time.get(), above(d)?))).collect();
    let shortest = points.iter().map(|p| p.0).fold(f64::INFINITY, f64::min);
    let short: Vec<f64> = points.iter().filter(|p| p.0 <= shortest).map(|p| p.1).collect();
    let offset =
        if short.is_empty() { 0.0 } else { short.iter().sum::<f64>() / short.len() as f64 };
    let own = shoot.frames.first().map(|f| f.levels.black);
    let source = match (short.is_empty(), own) {
        (false, _) => "dark frames",
        (true, Some(BlackSource::MaskedPixels)) => "masked pixels",
        _ => "tag",
    };
    BlackOfBody {
        counts: Counts::new(shoot.black + offset),
        source: source.to_owned(),
        creep: creep(&points),
        drifted_counts: shoot.drifted.map(Counts::new),
    }
}

/// A straight line through black against time (least squares over the frames).
fn creep(points: &[(f64, f64)]) -> Option<CreepOfBody> {
    let times = points.iter().map(|p| p.0);
    let longest = times.clone().fold(0.0, f64::max);
    let shortest = times.clone().fold(f64::INFINITY, f64::min);
    let n = points.len() as f64;
    if points.len() < 3 || longest < CREEP_RANGE * shortest {
        return None;
    }
    let (mean_t, mean_y) = (times.sum::<f64>() / n, points.iter().map(|p| p.1).sum::<f64>() / n);
    let spread: f64 = points.iter().map(|p| (p.0 - mean_t).powi(2)).sum();
    let slope = points.iter().map(|p| (p.0 - mean_t) * (p.1 - mean_y)).sum::<f64>() / spread;
    let residual = |p: &(f64, f64)| (p.1 - mean_y - slope * (p.0 - mean_t)).powi(2);
    let dof = n - 2.0;
    let variance = points.iter().map(residual).sum::<f64>() / dof / spread;
    let mut means: Vec<DarkPoint> = Vec::new();
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    for same in sorted.chunk_by(|a, b| a.0 == b.0) {
        let counts = same.iter().map(|p| p.1).sum::<f64>() / same.len() as f64;
        means.push(DarkPoint { time_s: Seconds::new(same[0].0), counts: Counts::new(counts) });
    }
    Some(CreepOfBody {
        counts_per_s: slope,
        u95_counts_per_s: coverage_factor(dof) * variance.sqrt(),
        points: means,
    })
}

/// What glows in the longest dark frames.
#[must_use]
pub fn glow(shoot: &WallShoot) -> Option<GlowOfBody> {
    const PLACES: [&str; 9] = [
        "top left",
        "top",
        "top right",
        "left",
        "centre",
        "right",
        "bottom left",
        "bottom",
        "bottom right",
    ];
    let longest = shoot.darks.iter().map(|d| d.time.get()).fold(0.0, f64::max);
    let frames: Vec<&DarkFrame> = shoot.darks.iter().filter(|d| d.time.get() >= longest).collect();
    let mut mean = [0.0; PLACES.len()];
    for frame in &frames {
        for (m, block) in mean.iter_mut().zip(frame.levels.blocks(1, 3, 3)) {
            *m += block / frames.len() as f64;
        }
    }
    let centre = mean[PLACES.len() / 2];
    let above: Vec<f64> = mean.iter().map(|m| m - centre).collect();
    let (at, most) = above
        .iter()
        .enumerate()
        .filter(|(_, v)| v.is_finite())
        .max_by(|a, b| a.1.total_cmp(b.1))?;
    let spread = median(above.iter().map(|v| v.abs()))?;
    let least = (GLOW_COUNTS * shoot.full_scale / FULL_SCALE_14_BIT).max(GLOW_SIGMAS * spread);
    (!frames.is_empty() && *most > least).then(|| GlowOfBody {
        counts: Counts::new(*most),
        time_s: Seconds::new(longest),
        place: PLACES[at].to_owned(),
    })
}
