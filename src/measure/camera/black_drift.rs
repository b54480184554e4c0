//! Black that drifts while a wall is shot, as a sensor warms: dark frames of one time, before and after, tell
//! by how much.

use crate::quantity::Seconds;

/// Dark frames of one time tell a drift where they lie so far apart, minutes (ours).
const APART_MINUTES: f64 = 5.0;

/// A dark frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DarkLevel {
    /// Exposure time.
    pub time: Seconds,
    /// Middle of the exposure, minutes from the first frame.
    pub minutes: f64,
    /// Its counts.
    pub counts: f64,
}

/// Counts per minute by which black rises: one part at all times, and what dark current that grows adds in
/// proportion to the exposure time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct BlackDrift {
    /// At no time at all.
    per_minute: f64,
    /// More for each second of exposure.
    per_minute_second: f64,
    /// Covariance of both.
    covariance: [[f64; 2]; 2],
    /// The one time that tells it, where no second one tells its parts apart.
    alone: Option<f64>,
}

impl BlackDrift {
    /// Counts per minute at an exposure time, and their standard uncertainty.
    #[must_use]
    pub fn at(&self, time: Seconds) -> (f64, f64) {
        let t = time.get();
        let rise = self.per_minute + self.per_minute_second * t;
        let [[a, b], [_, c]] = self.covariance;
        // All of it may be dark current, or none: a rectangle from what stands to what that makes of it.
        let parts =
            self.alone.map_or(0.0, |own| rise * (1.0 - t / own).abs().min(1.0) / 3_f64.sqrt());
        (rise, (a + 2.0 * b * t + c * t * t).max(0.0).sqrt().hypot(parts))
    }
}

/// What dark frames of one time tell.
struct OfTime {
    time: f64,
    /// Minutes squared, and along them.
    spread: f64,
    along: f64,
    /// Frames, and their squares about their mean, counts squared.
    frames: f64,
    squares: f64,
}

/// Those of one time where they lie far enough apart.
fn of_time(same: &[DarkLevel]) -> Option<OfTime> {
    let n = same.len() as f64;
    let minutes = same.iter().map(|d| d.minutes);
    let first = minutes.clone().fold(f64::INFINITY, f64::min);
    let last = minutes.clone().fold(f64::NEG_INFINITY, f64::max);
    let (middle, mean) = (minutes.sum::<f64>() / n, same.iter().map(|d| d.counts).sum::<f64>() / n);
    let sum = |of: &dyn Fn(&DarkLevel) -> f64| same.iter().map(of).sum::<f64>();
    (last - first >= APART_MINUTES).then(|| OfTime {
        time: same[0].time.get(),
        spread: sum(&|d| (d.minutes - middle).powi(2)),
        along: sum(&|d| (d.minutes - middle) * (d.counts - mean)),
        frames: n,
        squares: sum(&|d| (d.counts - mean).powi(2)),
    })
}

/// The drift of black by one line for each time, whose slopes lie on a line along the exposure time (least
/// squares); none where no time has frames far enough apart, and one slope where one time alone has. `least` is
/// the standard uncertainty of one dark frame, counts, where their scatter tells none or less.
#[must_use]
pub fn black_drift(darks: &[DarkLevel], least: f64) -> BlackDrift {
    let mut sorted = darks.to_vec();
    sorted.sort_by(|a, b| a.time.get().total_cmp(&b.time.get()));
    let times: Vec<OfTime> = sorted.chunk_by(|a, b| a.time == b.time).filter_map(of_time).collect();
    let sum = |of: &dyn Fn(&OfTime) -> f64| times.iter().map(of).sum::<f64>();
    let spread = sum(&|t| t.spread);
    if times.is_empty() || spread <= 0.0 {
        return BlackDrift::default();
    }
    // About the mean time both parts are independent.
    let mean = sum(&|t| t.spread * t.time) / spread;
    let across = sum(&|t| t.spread * (t.time - mean).powi(2));
    let level = sum(&|t| t.along) / spread;
    let several = times.len() > 1 && across > 0.0;
    let more = if several { sum(&|t| (t.time - mean) * t.along) / across } else { 0.0 };
    let slope = |t: &OfTime| level + more * (t.time - mean);
    let left = sum(&|t| t.squares - 2.0 * slope(t) * t.along + slope(t).powi(2) * t.spread);
    let parameters = if several { 2.0 } else { 1.0 };
    let free = sum(&|t| t.frames - 1.0) - parameters;
    let scatter = if free > 0.0 { (left / free).max(0.0) } else { 0.0 };
    let variance = scatter.max(least * least);
    let of_more = if several { variance / across } else { 0.0 };
    BlackDrift {
        per_minute: level - more * mean,
        per_minute_second: more,
        covariance: [
            [variance / spread + mean * mean * of_more, -mean * of_more],
            [-mean * of_more, of_more],
        ],
        alone: (!several).then_some(mean),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dark(time: f64, minutes: f64, counts: f64) -> DarkLevel {
        DarkLevel { time: Seconds::new(time), minutes, counts }
    }

    /// Two counts an hour, and long frames that lie three counts higher.
    #[test]
    fn frames_before_and_after_tell_a_drift_whatever_their_times() {
        let line =
            |time: f64, minutes: f64| dark(time, minutes, 512.0 + time / 10.0 + minutes / 30.0);
        let all = [line(1.0, 0.0), line(30.0, 1.0), line(1.0, 40.0), line(30.0, 42.0)];
        let rise =
            |darks: &[DarkLevel], time: f64| black_drift(darks, 0.1).at(Seconds::new(time)).0;
        assert!((rise(&all, 0.002) - 1.0 / 30.0).abs() < 1e-9);
        // In any order, and with others that stand alone.
        let more = [all[3], all[0], line(8.0, 20.0), all[2], all[1]];
        assert!((rise(&more, 0.002) - 1.0 / 30.0).abs() < 1e-9);
    }

    /// Dark current that grows by 0.01 counts a second each minute, beside one count of black an hour.
    #[test]
    fn what_rises_with_the_exposure_time_is_told_from_what_does_not() {
        let line = |time: f64, minutes: f64| {
            dark(time, minutes, 512.0 + minutes / 60.0 + (0.2 + 0.01 * minutes) * time)
        };
        let all: Vec<DarkLevel> =
            [1.0, 8.0, 30.0].iter().flat_map(|t| [line(*t, 0.0), line(*t, 40.0)]).collect();
        for time in [0.002, 1.0, 15.0] {
            let (rise, u) = black_drift(&all, 0.1).at(Seconds::new(time));
            assert!((rise - (1.0 / 60.0 + 0.01 * time)).abs() < 1e-9, "{time}: {rise}");
            // 0.1 count of each frame, at two ends 40 minutes apart.
            assert!(u > 0.1 / 3_f64.sqrt() / 40.0 && u < 0.1 * 2_f64.sqrt() / 40.0, "{time}: {u}");
        }
        // Of eight seconds alone nothing tells what short frames have of it.
        let (rise, u) = black_drift(&all[2..4], 0.1).at(Seconds::new(0.002));
        assert!((rise - 1.0 / 60.0).abs() < 2.0 * u, "{rise} +- {u}");
    }

    #[test]
    fn frames_on_one_side_alone_tell_none() {
        let all = [dark(1.0, 40.0, 512.0), dark(1.0, 40.1, 512.3), dark(30.0, 41.0, 515.0)];
        assert_eq!(black_drift(&all, 0.1), BlackDrift::default());
        assert_eq!(black_drift(&[], 0.1), BlackDrift::default());
    }
}
