//! A camera body from frames of a bare wall at many times and at least two light levels: the ratios
//! of its true shutter times, linearity, black, noise.
//!
//! Model of the green level m of a frame i, in stops, against its dial's power of two:
//!
//! log2(m_i / (t_i ISO / N^2)) = a_L + d_L tau_i + o_t + q m_i / white + b / (m_i ln 2) + e_i
//!
//! with a and d level and drift of each light, o the offset of each distinct time, q the bend of the
//! sensor's response, b what black is off by. Lights that share times carry the ratios from one to the other; the mean of
//! the offsets is set to zero, since a common factor shows in no ratio.

use super::noise;
use crate::body_record::{Black, Body, BodyRecord, Linearity, MeasuredTime, Noise, SCHEMA};
use crate::exposure;
use crate::levels::{LevelFrame, from_14_bit, levels};
use crate::numerics::robust::median;
use crate::quantity::{Counts, Iso, Percent, Seconds, Stops};
use crate::shoot::look::COARSE;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Shoot};
use nalgebra::{Cholesky, DMatrix, DVector};
use std::f64::consts::LN_2;

/// Fewer distinct times tell nothing of a dial (ours).
const FEWEST_TIMES: usize = 4;
/// Frames of one light lie this close together once their times are taken out, stops: dial times
/// miss powers of two by a tenth at most (ours).
const ONE_LIGHT: f64 = 0.3;
/// Standard uncertainty of a drift of the light, stops per minute (ours).
const DRIFT: f64 = 0.02;
/// Standard uncertainty of the bend before anything is measured, stops at full scale (ours).
const BEND: f64 = 0.02;
/// Standard uncertainty of black, counts at 14 bit (ours).
const BLACK: f64 = 0.5;
/// Below this share of full scale black weighs too much for a time to be told (ours).
const FAINT: f64 = 0.004;
/// Part of saturation over which EMVA 1288 looks for the line.
const LINE: (f64, f64) = (0.05, 0.95);

/// Why nothing can be told of a body.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BodyError {
    /// Frames of several bodies.
    #[error("the folder holds frames of {found} camera bodies; give one folder for each")]
    SeveralBodies {
        /// How many.
        found: usize,
    },
    /// Too few times.
    #[error(
        "{found} distinct dial times are left after clipped and dark frames, and {FEWEST_TIMES} are needed; shoot the wall at every time of the dial, up and down"
    )]
    FewTimes {
        /// How many.
        found: usize,
    },
    /// One light level.
    #[error(
        "all frames show one light level, so linearity cannot be told from times; shoot the same times again with a smaller aperture or a darker lamp"
    )]
    OneLight,
    /// Lights that share no time.
    #[error(
        "the light of {file} shares no dial time with the others, so its times cannot be held against theirs; shoot two times of the dial in both"
    )]
    Unconnected {
        /// First frame of that light.
        file: String,
    },
    /// As many unknowns as frames.
    #[error("{frames} usable frames are too few for {unknowns} unknowns; shoot every time twice")]
    FewFrames {
        /// Usable frames.
        frames: usize,
        /// Unknowns.
        unknowns: usize,
    },
}

/// A usable frame.
struct Seen<'a> {
    frame: &'a Judged,
    levels: LevelFrame,
    /// Distinct time and light, by number.
    time: usize,
    light: usize,
    /// Green counts above black, and that as a share of full scale.
    level: f64,
    share: f64,
    /// log2(level / exposure), powers of two behind the dial.
    y: f64,
}

/// Measures a body from what a folder's frames show, whatever they were sorted as.
///
/// # Errors
/// [`BodyError`].
pub fn body(shoot: &Shoot) -> Result<BodyRecord, BodyError> {
    let body = one_body(&shoot.frames)?;
    let black = black(&shoot.frames);
    let (seen, shown) = seen(&shoot.frames, black.as_ref());
    if shown.len() < FEWEST_TIMES {
        return Err(BodyError::FewTimes { found: shown.len() });
    }
    let lights = seen.iter().map(|s| s.light + 1).max().unwrap_or(0);
    if lights < 2 {
        return Err(BodyError::OneLight);
    }
    connected(&seen, lights)?;
    let fit = fit(&seen, shown.len(), lights)?;
    let times = shown.iter().enumerate().map(|(k, (time, power))| MeasuredTime {
        shown_s: *time,
        true_s: Seconds::new(power.get() * fit.offsets[k].exp2()),
        u_stops: Stops::new(fit.covariance[(k, k)].sqrt()),
        frames: seen.iter().filter(|s| s.time == k).count(),
    });
    let rows = (0..shown.len()).map(|r| fit.covariance.row(r).iter().copied().collect());
    Ok(BodyRecord {
        schema: SCHEMA.to_owned(),
        body,
        linearity: Linearity {
            error_percent: Percent::new(line_error(&seen, &fit)),
            bend_stops: Stops::new(fit.bend.0),
            bend_u_stops: Stops::new(fit.bend.1),
        },
        black,
        noise: noise_law(&seen),
        scatter_stops: Stops::new(fit.scatter),
        frames: seen.iter().map(|s| s.frame.file().to_owned()).collect(),
        times: times.collect(),
        covariance_stops2: rows.collect(),
    })
}

fn one_body(frames: &[Judged]) -> Result<Body, BodyError> {
    let mut found: Vec<Body> = Vec::new();
    for body in frames.iter().map(|f| Body::of(&f.summary.info.camera)) {
        if !found.contains(&body) {
            found.push(body);
        }
    }
    if found.len() > 1 {
        return Err(BodyError::SeveralBodies { found: found.len() });
    }
    Ok(found.pop().unwrap_or_default())
}

/// Green counts above black in the centre.
fn green(levels: &LevelFrame) -> f64 {
    levels.centre_channels().map_or(f64::NAN, |c| c[1].level)
}

/// Frames that show the wall, with the distinct times (shown, and the power of two behind).
fn seen<'a>(
    frames: &'a [Judged],
    black: Option<&Black>,
) -> (Vec<Seen<'a>>, Vec<(Seconds, Seconds)>) {
    let mut seen: Vec<Seen<'a>> = Vec::new();
    let mut shown: Vec<(Seconds, Seconds)> = Vec::new();
    let usable =
        |f: &&Judged| !f.look.dark && !f.look.clipped[1] && f.judgement != Judgement::OtherPicture;
    for frame in frames.iter().filter(usable) {
        let Some(exposure) = &frame.exposure else { continue };
        let Some(dial) = exposure.dial else { continue };
        let levels = levels(&frame.summary, &[]);
        let creep =
            black.map_or(0.0, |b| b.offset.get() + b.creep_per_s.get() * dial.true_time().get());
        let level = green(&levels) - creep;
        let full = f64::from(frame.summary.levels.white);
        if level.is_nan() || level <= FAINT * full {
            continue;
        }
        let off = exposure::stops_between(exposure.true_time, dial.true_time()).get();
        let time = shown.iter().position(|t| t.0 == exposure.recorded).unwrap_or_else(|| {
            shown.push((exposure.recorded, dial.true_time()));
            shown.len() - 1
        });
        let y = level.log2() - exposure.log_exposure() - off;
        seen.push(Seen { frame, levels, time, light: 0, level, share: level / full, y });
    }
    into_lights(&mut seen);
    in_order(&mut seen, &mut shown);
    (seen, shown)
}

/// Numbers the times from the shortest.
fn in_order(seen: &mut [Seen<'_>], shown: &mut Vec<(Seconds, Seconds)>) {
    let mut order: Vec<usize> = (0..shown.len()).collect();
    order.sort_by(|&a, &b| shown[a].0.get().total_cmp(&shown[b].0.get()));
    for s in seen.iter_mut() {
        s.time = order.iter().position(|&k| k == s.time).unwrap_or(s.time);
    }
    *shown = order.iter().map(|&k| shown[k]).collect();
}

/// Frames of one aperture and ISO that lie close together make one light.
fn into_lights(seen: &mut [Seen<'_>]) {
    let key = |s: &Seen<'_>| {
        let exposure = s.frame.exposure.as_ref();
        let iso = exposure.and_then(|e| e.iso).map_or(0, |v| v.get().round() as i64);
        let f = exposure.and_then(|e| e.f_number).map_or(0, |v| (100.0 * v.get()).round() as i64);
        (iso, f)
    };
    let mut order: Vec<usize> = (0..seen.len()).collect();
    order.sort_by(|&a, &b| key(&seen[a]).cmp(&key(&seen[b])).then(seen[a].y.total_cmp(&seen[b].y)));
    let mut light = 0;
    for pair in 0..order.len() {
        if let Some(before) = pair.checked_sub(1) {
            let (a, b) = (&seen[order[before]], &seen[order[pair]]);
            light += usize::from(key(a) != key(b) || b.y - a.y > ONE_LIGHT);
        }
        seen[order[pair]].light = light;
    }
}

/// Every light shares a time with one that is reached already.
fn connected(seen: &[Seen<'_>], lights: usize) -> Result<(), BodyError> {
    let mut reached = vec![false; lights];
    reached[0] = true;
    for _ in 0..lights {
        for a in seen {
            if reached[a.light] {
                for b in seen.iter().filter(|b| b.time == a.time) {
                    reached[b.light] = true;
                }
            }
        }
    }
    match seen.iter().find(|s| !reached[s.light]) {
        Some(lone) => Err(BodyError::Unconnected { file: lone.frame.file().to_owned() }),
        None => Ok(()),
    }
}

struct Fitted {
    /// Of each time against its power of two, stops, mean zero.
    offsets: Vec<f64>,
    covariance: DMatrix<f64>,
    bend: (f64, f64),
    /// Level of each light.
    lights: Vec<f64>,
    scatter: f64,
}

fn fit(seen: &[Seen<'_>], times: usize, lights: usize) -> Result<Fitted, BodyError> {
    // Columns: lights, their drifts, times (the sum of their offsets is held at zero), the bend,
    // black in its own uncertainty.
    let (drift_at, time_at, bend_at) = (lights, 2 * lights, 2 * lights + times);
    let black_at = bend_at + 1;
    let n = black_at + 1;
    let unknowns = lights + times - 1;
    if seen.len() < unknowns + 2 {
        return Err(BodyError::FewFrames { frames: seen.len(), unknowns });
    }
    let middle: Vec<f64> = (0..lights)
        .map(|l| {
            median(seen.iter().filter(|s| s.light == l).map(|s| s.frame.minutes)).unwrap_or(0.0)
        })
        .collect();
    let design = DMatrix::from_fn(seen.len(), n, |r, c| {
        let s = &seen[r];
        match c {
            c if c == s.light => 1.0,
            c if c == drift_at + s.light => s.frame.minutes - middle[s.light],
            c if c == time_at + s.time => 1.0,
            c if c == bend_at => s.share,
            c if c == black_at => from_14_bit(BLACK, &s.frame.summary) / s.level / LN_2,
            _ => 0.0,
        }
    });
    let y = DVector::from_iterator(seen.len(), seen.iter().map(|s| s.y));
    // Priors are in units of the scatter, which a first round finds.
    let mut scatter = 0.005;
    let mut solved = None;
    for _ in 0..4 {
        let mut normal = design.transpose() * &design;
        for l in 0..lights {
            normal[(drift_at + l, drift_at + l)] += (scatter / DRIFT).powi(2);
        }
        normal[(bend_at, bend_at)] += (scatter / BEND).powi(2);
        normal[(black_at, black_at)] += scatter.powi(2);
        // Any weight holds the sum: nothing else speaks of it.
        for a in time_at..bend_at {
            for b in time_at..bend_at {
                normal[(a, b)] += 1.0;
            }
        }
        let Some(inverse) = Cholesky::new(normal).map(|c| c.inverse()) else { break };
        let x = &inverse * design.transpose() * &y;
        let left = &y - &design * &x;
        scatter = (left.norm_squared() / (seen.len() - unknowns) as f64).sqrt().max(1e-6);
        solved = Some((x, inverse * (scatter * scatter)));
    }
    let Some((x, covariance)) = solved else {
        return Err(BodyError::FewFrames { frames: seen.len(), unknowns });
    };
    // What held the sum is no knowledge of the times: it is taken out.
    let centred =
        DMatrix::from_fn(times, times, |r, c| f64::from(u8::from(r == c)) - 1.0 / times as f64);
    let own = covariance.view((time_at, time_at), (times, times)).into_owned();
    let offsets = &centred * x.rows(time_at, times);
    Ok(Fitted {
        offsets: offsets.iter().copied().collect(),
        covariance: &centred * own * &centred,
        bend: (x[bend_at], covariance[(bend_at, bend_at)].sqrt()),
        lights: x.rows(0, lights).iter().copied().collect(),
        scatter,
    })
}

/// Mean relative deviation in percent from the line y = a + b H through the levels between 5 and
/// 95 % of saturation, the sum of relative deviations squared being least (EMVA 1288).
fn line_error(seen: &[Seen<'_>], fit: &Fitted) -> f64 {
    let points: Vec<(f64, f64)> = seen
        .iter()
        .filter(|s| (LINE.0..LINE.1).contains(&s.share))
        .map(|s| {
            // The light that fell, in counts, by time and light level.
            let stops = s.level.log2() - s.y + fit.lights[s.light] + fit.offsets[s.time];
            (stops.exp2(), s.level)
        })
        .collect();
    let sum = |of: &dyn Fn(f64, f64) -> f64| -> f64 {
        points.iter().map(|(h, m)| of(*h, *m) / (m * m)).sum()
    };
    let (w, wh, whh) = (sum(&|_, _| 1.0), sum(&|h, _| h), sum(&|h, _| h * h));
    let (wm, whm) = (sum(&|_, m| m), sum(&|h, m| h * m));
    let determinant = w * whh - wh * wh;
    if points.len() < 3 || determinant <= 0.0 {
        return 0.0;
    }
    let (a, b) = ((wm * whh - whm * wh) / determinant, (w * whm - wh * wm) / determinant);
    let off = |(h, m): &(f64, f64)| 100.0 * (m / (a + b * h) - 1.0).abs();
    points.iter().map(off).sum::<f64>() / points.len() as f64
}

/// Black from capped frames: a line against time, and what the brightest block adds.
fn black(frames: &[Judged]) -> Option<Black> {
    let points: Vec<(f64, f64, f64)> = frames
        .iter()
        .filter(|f| f.look.dark)
        .filter_map(|f| {
            let seconds = f.exposure.as_ref()?.true_time.get();
            let levels = levels(&f.summary, &[]);
            let centre = green(&levels);
            let blocks = levels.blocks(1, COARSE, COARSE);
            let most = blocks.into_iter().fold(f64::NEG_INFINITY, f64::max);
            Some((seconds, centre, (most - centre).max(0.0) / seconds))
        })
        .collect();
    let n = points.len() as f64;
    let mean = |of: fn(&(f64, f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (t, m) = (mean(|p| p.0), mean(|p| p.1));
    let tt: f64 = points.iter().map(|p| (p.0 - t).powi(2)).sum();
    let tm: f64 = points.iter().map(|p| (p.0 - t) * (p.1 - m)).sum();
    let longest = points.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    // One time alone tells no slope.
    let creep = if tt > 0.25 * t * t { tm / tt } else { 0.0 };
    Some(Black {
        iso: iso(frames),
        offset: Counts::new(m - creep * t),
        creep_per_s: Counts::new(creep),
        glow_per_s: Counts::new(longest.2),
    })
}

/// The ISO of the frames, where they agree.
fn iso(frames: &[Judged]) -> Option<Iso> {
    let first = frames.first()?.exposure.as_ref()?.iso?;
    let same = |f: &Judged| f.exposure.as_ref().is_none_or(|e| e.iso == Some(first));
    frames.iter().all(same).then_some(first)
}

fn noise_law(seen: &[Seen<'_>]) -> Option<Noise> {
    let points: Vec<noise::Point> = seen
        .windows(2)
        .filter(|w| w[0].time == w[1].time && w[0].light == w[1].light)
        .filter_map(|w| noise::from_pair(&w[0].levels, &w[1].levels, 1))
        .collect();
    let law = noise::law(&points)?;
    let exposure = seen.first()?.frame.exposure.as_ref()?;
    Some(Noise { iso: exposure.iso, gain: law.gain, reading: Counts::new(law.floor.sqrt()) })
}
