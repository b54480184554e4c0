//! By how much a sensor's levels lie off a line against light: what a camera record shows of it is taken off
//! (JCGM 100:2008, 3.2.4), what nobody knows stays as a doubt.

use crate::body_record::{LINEARITY_COVERAGE, Linearity, LinearityPoint};
use std::f64::consts::LN_2;

/// How far levels lie off a line at full scale, standard uncertainty in parts of them: half a percent at
/// most (ours), and anything up to it as likely (0.0029; JCGM 100:2008, 4.3.7), with a little more for
/// responses that bend otherwise, as a root does.
const BEND: f64 = 0.003;
/// Of what is taken off, for what the points of a record leave out between them and below (ours).
const LEFT: f64 = 0.1;

/// How a level lies against the line through what no light gives, stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OffLine {
    /// Above it.
    pub stops: f64,
    /// Standard uncertainty of that in stops; all levels of a body are off by this together.
    pub u: f64,
}

/// What a level in parts of full scale is off by, as far as a record tells.
///
/// Before a record is asked a level is off by `BEND` times the share, or what the record shows at full scale where
/// that is more: both are joined by their weights (two normal distributions of one value).
#[must_use]
pub fn off_line(record: Option<&Linearity>, share: f64) -> OffLine {
    let Some((line, [first, ..])) = record.map(|line| (line, line.points.as_slice())) else {
        return OffLine { stops: 0.0, u: BEND * share / LN_2 };
    };
    let before = BEND.hypot(line.bend()) * share / LN_2;
    let (at, lowest) = (shown(&line.points, share), shown(&line.points, share_of(first)));
    let [stops, u] = [at[0] - lowest[0], at[1] - lowest[1]];
    let weight = before * before / (before * before + u * u).max(f64::MIN_POSITIVE);
    let stops = weight * stops;
    OffLine { stops, u: (before * (1.0 - weight).sqrt()).hypot(LEFT * stops) }
}

/// What points show at a share of full scale, straight from point to point along stops: the deviation, and its
/// standard uncertainty, which has another sign on either side of the level where it is least. Most of it is the
/// slope of the line that deviations are told from, so that what two levels are off by against each other is the
/// difference of both.
fn shown(points: &[LinearityPoint], share: f64) -> [f64; 2] {
    let least = |a: &&LinearityPoint, b: &&LinearityPoint| {
        a.u95_percent.get().total_cmp(&b.u95_percent.get())
    };
    let middle = points.iter().min_by(least).map_or(0.0, share_of);
    let of = |p: &LinearityPoint| {
        let u = p.u95_percent.get() / 100.0 / LN_2 / LINEARITY_COVERAGE;
        let deviation = (p.deviation_percent.get() / 100.0).ln_1p() / LN_2;
        [deviation, if share_of(p) < middle { -u } else { u }]
    };
    let above = points.partition_point(|p| share_of(p) < share);
    match (above.checked_sub(1).map(|below| &points[below]), points.get(above)) {
        (Some(low), Some(high)) => {
            let part = (share / share_of(low)).log2() / (share_of(high) / share_of(low)).log2();
            let (low, high) = (of(low), of(high));
            [0, 1].map(|i| low[i] + part * (high[i] - low[i]))
        }
        (Some(one), None) | (None, Some(one)) => of(one),
        (None, None) => [0.0; 2],
    }
}

fn share_of(point: &LinearityPoint) -> f64 {
    point.level_percent.get() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Percent;

    /// A sensor that lacks so many parts at full scale in step with its level, by points a stop apart.
    fn record(lacks: f64, u95_percent: f64) -> Linearity {
        let points = (0..7_i32).map(|n| {
            let share = 0.7 * f64::from(n - 6).exp2();
            LinearityPoint {
                level_percent: Percent::new(100.0 * share),
                deviation_percent: Percent::new(-100.0 * lacks * (share - 0.1)),
                u95_percent: Percent::new(u95_percent * f64::from((n - 3).abs() + 1)),
            }
        });
        let (mean_percent, largest_percent) = (Percent::new(0.0), Percent::new(0.0));
        Linearity { mean_percent, largest_percent, points: points.collect() }
    }

    #[test]
    fn without_a_record_nothing_is_taken_off() {
        let off = off_line(None, 0.5);
        assert_eq!(off.stops, 0.0);
        // Half a percent at most at full scale, a quarter at half of it: 0.0036 stop, over the root of three.
        assert!((off.u - 0.0036 / 3.0_f64.sqrt()).abs() < 1e-4, "{off:?}");
    }

    #[test]
    fn what_a_record_shows_is_taken_off_and_leaves_less_doubt() {
        for lacks in [-0.02, -0.004, 0.004, 0.02] {
            let record = record(lacks, 0.01);
            for share in [0.05_f64, 0.2, 0.5, 0.8] {
                let planted = |share: f64| (1.0 - lacks * (share - 0.1)).log2();
                let truth = planted(share.min(0.7)) - planted(0.7 / 64.0);
                let off = off_line(Some(&record), share);
                assert!((off.stops - truth).abs() < 2.0 * off.u, "{lacks} {share}: {off:?}");
                let without = off_line(None, share).u.hypot(0.1 * truth);
                assert!(off.u <= without, "{off:?}, without {without}");
            }
        }
    }

    /// A record that does not know leaves all as it was.
    #[test]
    fn a_doubtful_record_changes_little() {
        let off = off_line(Some(&record(0.002, 3.0)), 0.5);
        let without = off_line(None, 0.5);
        assert!(off.stops.abs() < 0.1 * without.u, "{off:?}");
        assert!((off.u / without.u - 1.0).abs() < 0.25, "{off:?} {without:?}");
    }
}
