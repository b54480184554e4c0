//! Black under the frames of a wall: what its dark frames show, and how it drifts between them.

use super::black_drift::{BlackDrift, DarkLevel, black_drift};
use super::sorting::Sort;
use crate::frame::cfa::Plane;
use crate::levels::{
    BlackSource, DOUBT_DARK, LevelFrame, from_14_bit, levels, own_black, plane_black,
};
use crate::measured::NORMAL_95;
use crate::quantity::{Iso, Seconds};
use crate::reduce::grid::FrameSummary;
use crate::shoot::frames::Observed;
use crate::shoot::times::Understood;

/// Dark frames, by what they show to rise, and over how many minutes.
pub struct Black<'a> {
    dark: Vec<&'a Observed>,
    drift: BlackDrift,
    over: f64,
}

/// Of a drift from the first dark frames to the last so much is left open in between, since a sensor that warms
/// drifts more at first: standard uncertainty as a share of it (ours; halfway, an exponential
/// lies 0.1 to 0.45 of it above the line).
const OPEN: f64 = 0.3;

fn drift(dark: &[&Observed]) -> BlackDrift {
    let level = |o: &&Observed| {
        let above = levels(&o.summary, &[]).centre_channels()?[1].level;
        let time = o.exposure.as_ref()?.recorded;
        Some(DarkLevel { time, minutes: o.minutes, counts: above + green_black(&o.summary) })
    };
    let least = dark.first().map_or(0.0, |o| from_14_bit(DOUBT_DARK, &o.summary));
    black_drift(&dark.iter().filter_map(level).collect::<Vec<_>>(), least)
}

impl<'a> Black<'a> {
    /// Of all frames, those at the ISO of the wall.
    pub fn of(observed: &'a [Observed], kinds: &[Sort], iso: Option<Iso>) -> Self {
        let is_dark = |(o, kind): (&'a Observed, &Sort)| matches!(kind, Sort::Dark).then_some(o);
        let dark: Vec<&Observed> = observed.iter().zip(kinds).filter_map(is_dark).collect();
        // Black of another ISO is another.
        let other = |o: &Observed| {
            o.exposure
                .as_ref()
                .and_then(|e| e.iso)
                .is_some_and(|own| iso.is_some_and(|iso| own != iso))
        };
        let alike: Vec<&Observed> = dark.iter().copied().filter(|o| !other(o)).collect();
        let minutes = || alike.iter().map(|o| o.minutes);
        let (first, last) = (minutes().fold(f64::MAX, f64::min), minutes().fold(0.0, f64::max));
        Self { drift: drift(&alike), over: (last - first).max(0.0), dark }
    }

    /// By how many counts black rose from the first dark frames to the last in short exposures; `None` where they do
    /// not tell that it did.
    pub fn drifted(&self) -> Option<f64> {
        let (rise, doubt) = self.drift.at(Seconds::new(0.0));
        (rise.abs() > NORMAL_95 * doubt).then_some(rise * self.over)
    }

    /// Light above black, counts: above dark frames of the frame's own time. Where there are none, above those of the
    /// nearest time and the same ISO, which tell a tag that is wrong, with the doubt of a tag all the same.
    pub fn levels(&self, o: &Observed, exposure: &Understood) -> LevelFrame {
        let own = levels(&o.summary, &[]);
        let far = |d: &&&Observed| {
            let dark = d.exposure.as_ref().filter(|e| e.iso == exposure.iso)?;
            Some((dark.recorded.get() / exposure.recorded.get()).ln().abs())
        };
        let told = || self.dark.iter().filter(|d| far(d).is_some());
        let nearest = told().filter_map(|d| far(&d)).fold(f64::INFINITY, f64::min);
        let has_own = nearest < SAME_TIME;
        if !has_own && (own.black != BlackSource::Tag || !nearest.is_finite()) {
            return own;
        }
        let most = nearest.max(SAME_TIME);
        let darks: Vec<&&Observed> =
            told().filter(|d| far(d).is_some_and(|far| far <= most)).collect();
        let summaries: Vec<&FrameSummary> = darks.iter().map(|d| &d.summary).collect();
        let middle = darks.iter().map(|d| d.minutes).sum::<f64>() / darks.len() as f64;
        let mut above = levels(&o.summary, &summaries);
        let (rise, doubt) = self.drift.at(exposure.recorded);
        above.lower(rise * (o.minutes - middle));
        if !has_own {
            above = LevelFrame { black: own.black, black_doubt: own.black_doubt, ..above };
        }
        let open = (OPEN * rise * self.over).hypot(doubt * (o.minutes - middle));
        above.black_doubt = above.black_doubt.hypot(open);
        above
    }
}

/// Times are the same up to this share.
const SAME_TIME: f64 = 0.01;

/// The file's own black level of green, counts.
pub fn green_black(summary: &FrameSummary) -> f64 {
    plane_black(own_black(summary), summary.cells.cfa.as_ref(), Plane::Green1)
}
