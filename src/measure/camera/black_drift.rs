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

/// Counts per minute by which black rises, by one line for each time with a slope that all share (least
/// squares); 0 where no time has frames far enough apart.
#[must_use]
pub fn counts_per_minute(darks: &[DarkLevel]) -> f64 {
    let mut sorted = darks.to_vec();
    sorted.sort_by(|a, b| a.time.get().total_cmp(&b.time.get()));
    let (mut spread, mut along) = (0.0, 0.0);
    for same in sorted.chunk_by(|a, b| a.time == b.time) {
        let n = same.len() as f64;
        let minutes = same.iter().map(|d| d.minutes);
        let first = minutes.clone().fold(f64::INFINITY, f64::min);
        let last = minutes.clone().fold(f64::NEG_INFINITY, f64::max);
        if last - first < APART_MINUTES {
            continue;
        }
        let middle = minutes.sum::<f64>() / n;
        for dark in same {
            spread += (dark.minutes - middle).powi(2);
            along += (dark.minutes - middle) * dark.counts;
        }
    }
    if spread > 0.0 { along / spread } else { 0.0 }
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
        assert!((counts_per_minute(&all) - 1.0 / 30.0).abs() < 1e-9);
        // In any order, and with others that stand alone.
        let more = [all[3], all[0], line(8.0, 20.0), all[2], all[1]];
        assert!((counts_per_minute(&more) - 1.0 / 30.0).abs() < 1e-9);
    }

    #[test]
    fn frames_on_one_side_alone_tell_none() {
        let all = [dark(1.0, 40.0, 512.0), dark(1.0, 40.1, 512.3), dark(30.0, 41.0, 515.0)];
        assert_eq!(counts_per_minute(&all), 0.0);
        assert_eq!(counts_per_minute(&[]), 0.0);
    }
}
