//! What was found, as the document that is kept.

use super::super::fit::times::{ResponsePoint, TimesFound};
use super::cautions::cautions;
use super::wall::{WallFrame, WallShoot};
use super::{Tied, chip, shown};
use crate::body_record::{
    BodyRecord, FramesOfBody, LINEARITY_COVERAGE, LeftOutFrame, Linearity, LinearityPoint,
    NoiseOfBody, SCHEMA, TimeOfBody, TimesOfBody, triangle,
};
use crate::profile::MadeBy;
use crate::quantity::{Percent, Seconds, Stops};
use std::f64::consts::LN_2;

/// Known worse than this, u95 in stops, a time is left out: what is believed without a record is as
/// good (ours).
const NO_BETTER: f64 = 0.045;
/// Levels between which EMVA 1288 holds a sensor to its line, shares of full scale.
const LINE: std::ops::RangeInclusive<f64> = 0.05..=0.95;
/// Photon noise is told where its u95 is this share of it at most (ours).
const NOISE_TOLD: f64 = 0.5;

/// Writes a record.
#[must_use]
pub fn record(
    shoot: &WallShoot,
    tied: &Tied,
    (found, as_shown): &(TimesFound, f64),
    noise: Option<NoiseOfBody>,
) -> BodyRecord {
    let (times, dropped) = times(shoot, tied, found, *as_shown);
    let linearity = linearity(&found.response);
    let mut left_out = shoot.left_out.clone();
    left_out.extend(dropped);
    let mut record = BodyRecord {
        schema: SCHEMA.to_owned(),
        made_by: MadeBy {
            program: "lightloss".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
        },
        body: shoot.body.clone(),
        frames: FramesOfBody {
            used: (tied.frames.len() + shoot.of_lamps + shoot.of_covered) as u32,
            of_two_lamps: (shoot.of_lamps > 0).then_some(shoot.of_lamps as u32),
            dark: shoot.darks.len() as u32,
            light_levels: tied.light_levels as u32,
            iso: shoot.iso,
            captured_at: shoot.captured_at.clone(),
            light_moved_stops: Stops::new(found.light_moved),
            scatter_stops: Stops::new(found.scatter),
            left_out,
        },
        times,
        linearity,
        black: chip::black(shoot),
        // What may be half of it or twice as much is no finding.
        noise: noise.filter(|n| n.u95_electrons_per_count <= NOISE_TOLD * n.electrons_per_count),
        glow: chip::glow(shoot),
        cautions: Vec::new(),
        more: serde_json::Map::new(),
    };
    record.cautions = cautions(shoot, tied, found, &record);
    record
}

/// Offset of a distinct time and its row among the fitted ones; the reference has none.
pub fn row(tied: &Tied, time: usize) -> Option<usize> {
    match time.cmp(&tied.reference) {
        std::cmp::Ordering::Less => Some(time),
        std::cmp::Ordering::Equal => None,
        std::cmp::Ordering::Greater => Some(time - 1),
    }
}

/// By how much a frame's shown time lies above its power of two, stops.
pub fn above(frame: &WallFrame) -> f64 {
    (frame.exposure.recorded.get() / frame.exposure.true_time.get()).log2()
}

fn times(
    shoot: &WallShoot,
    tied: &Tied,
    found: &TimesFound,
    as_shown: f64,
) -> (TimesOfBody, Vec<LeftOutFrame>) {
    let frame = |k: usize| -> &WallFrame { &shoot.frames[tied.frames[tied.times[k]]] };
    let offset = |k: usize| row(tied, k).map_or(0.0, |r| found.offsets[r]);
    let u95 = |k: usize| row(tied, k).map_or(0.0, |r| found.u95[r]);
    let above = |k: usize| above(frame(k));
    // The reference is what its rule says, and takes all others along.
    let common = if as_shown > 0.5 { above(tied.reference) } else { 0.0 };
    let (kept, dropped): (Vec<usize>, Vec<usize>) =
        (0..tied.times.len()).partition(|k| u95(*k) <= NO_BETTER);
    let one = |&k: &usize| {
        let exposure = &frame(k).exposure;
        let deviation = offset(k) + common - above(k);
        TimeOfBody {
            dial: exposure.text(),
            shown_s: exposure.recorded,
            true_s: Seconds::new(exposure.recorded.get() * deviation.exp2()),
            deviation_stops: Stops::new(deviation),
            u95_stops: Stops::new(u95(k)),
            frames: tied.counts[k] as u32,
        }
    };
    let covariance = |a: usize, b: usize| match (row(tied, a), row(tied, b)) {
        (Some(i), Some(j)) => found.covariance[(i, j)],
        _ => 0.0,
    };
    let all: Vec<Vec<f64>> =
        (0..tied.times.len()).map(|a| (0..=a).map(|b| covariance(a, b)).collect()).collect();
    let left = |&k: &usize| LeftOutFrame {
        file: frame(k).file.clone(),
        reason: format!(
            "{} and all others at this time: known to {:.3} stop only, no better than without a record",
            shown(&frame(k).exposure),
            u95(k)
        ),
    };
    let times = TimesOfBody {
        reference: frame(tied.reference).exposure.text(),
        as_shown,
        list: kept.iter().map(one).collect(),
        covariance: triangle::picked(&all, &kept),
    };
    (times, dropped.iter().map(left).collect())
}

/// Linearity error after EMVA 1288, release 4: mean size of the deviations, here from the line that
/// true times draw.
fn linearity(response: &[ResponsePoint]) -> Option<Linearity> {
    let points: Vec<LinearityPoint> = response
        .iter()
        .map(|p| LinearityPoint {
            level_percent: Percent::new(100.0 * p.log_share.exp2().min(1.0)),
            deviation_percent: Percent::new(100.0 * (p.stops.exp2() - 1.0)),
            u95_percent: Percent::new(100.0 * LN_2 * LINEARITY_COVERAGE * p.u),
        })
        .collect();
    let held: Vec<f64> = response
        .iter()
        .zip(&points)
        .filter(|(r, _)| LINE.contains(&r.log_share.exp2().min(*LINE.end())))
        .map(|(_, p)| p.deviation_percent.get().abs())
        .collect();
    let largest = held.iter().copied().fold(0.0, f64::max);
    (held.len() > 1).then(|| Linearity {
        mean_percent: Percent::new(held.iter().sum::<f64>() / held.len() as f64),
        largest_percent: Percent::new(largest),
        points,
    })
}
