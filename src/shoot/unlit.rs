//! Frames with no picture in them: a few counts that are the same all over and in every channel, where
//! the wall falls off towards the corners and has a colour, are black that lies above what the file
//! tells, and no light.

use super::frames::Observed;
use super::sheet::Sheet;
use crate::levels::from_14_bit;
use crate::numerics::robust::median;

/// Black lies above what the file tells by so much at most, counts at 14 bit (ours).
const MOST_COUNTS: f64 = 8.0;
/// Black of the channels differs by this many counts at 14 bit at most, and this share of it (ours).
const UNEQUAL_COUNTS: f64 = 1.0;
const UNEQUAL_SHARE: f64 = 0.15;
/// A frame that shows the wall clearly lies this many times higher (ours).
const CLEAR_TIMES: f64 = 20.0;
/// Rows of a sensor's noise belong together: light is known so many times worse than noise of single
/// blocks has it (ours).
const LINES: f64 = 3.0;
/// Standard deviations that light may hide behind.
const SIGMAS: f64 = 3.0;
/// A frame holds no picture where less than this share of what it shows can be light (ours).
const LIT_SHARE: f64 = 0.5;
/// Black is taken from a frame that might hide light if that moves no level by more than this share
/// (ours): 0.004 stop.
const HARMLESS: f64 = 0.003;
/// Times are the same from this ratio on.
const SAME_TIME: f64 = 0.99;

/// Which of some frames hold no picture, though they lie above black; told against those that show the
/// wall clearly.
#[must_use]
pub fn unlit(frames: &[Observed], good: &[usize]) -> Vec<usize> {
    let green = |i: usize| frames[i].look.levels[1];
    let near_black = |i: &usize| {
        let frame = &frames[*i];
        let most = from_14_bit(MOST_COUNTS, &frame.summary);
        !frame.look.below_black && frame.look.levels.iter().all(|level| level.abs() <= most)
    };
    let is_unlit = |i: &usize| {
        let most = from_14_bit(MOST_COUNTS, &frames[*i].summary);
        let clear = |j: &&usize| !frames[**j].look.clipped[1] && green(**j) > CLEAR_TIMES * most;
        let light = good.iter().filter(clear).filter_map(|&j| light(&frames[*i], &frames[j]));
        // The frame that tells it best.
        let best = light.min_by(|a, b| a.sigma.total_cmp(&b.sigma));
        let can_be = |light: WallLight| light.counts + SIGMAS * light.sigma;
        is_colourless(&frames[*i])
            && best.is_some_and(|light| can_be(light) < LIT_SHARE * green(*i))
    };
    good.iter().copied().filter(near_black).filter(is_unlit).collect()
}

/// Whether the channels show the same counts.
fn is_colourless(frame: &Observed) -> bool {
    let [red, green, _, blue] = frame.look.levels;
    let most = from_14_bit(UNEQUAL_COUNTS, &frame.summary) + UNEQUAL_SHARE * green.abs();
    [red, blue].iter().all(|level| (level - green).abs() <= most)
}

/// The light of the wall in a frame, counts.
#[derive(Clone, Copy, Debug)]
struct WallLight {
    counts: f64,
    sigma: f64,
}

/// What of a frame goes with the pattern of another: the slope of one over the other, block by block
/// (green), times the other's level.
fn light(frame: &Observed, clear: &Observed) -> Option<WallLight> {
    let (of, by): (&Sheet, &Sheet) = (&frame.sheet, &clear.sheet);
    if (of.columns, of.rows) != (by.columns, by.rows) {
        return None;
    }
    let (of, by) = (&of.channels[1], &by.channels[1]);
    let told = |i: &usize| {
        let finite = of.level[*i].is_finite() && by.level[*i].is_finite();
        finite && !of.clipped[*i] && !by.clipped[*i]
    };
    let pairs: Vec<(f64, f64)> = (0..of.level.len())
        .filter(told)
        .map(|i| (f64::from(by.level[i]), f64::from(of.level[i])))
        .collect();
    let typical = median(pairs.iter().map(|p| p.0))?;
    // Glow in a corner is no light of the wall; half of the blocks tell the middle.
    let middle = median(pairs.iter().map(|p| p.1))?;
    let n = pairs.len() as f64;
    let mean = pairs.iter().map(|p| p.0).sum::<f64>() / n;
    let spread: f64 = pairs.iter().map(|p| (p.0 - mean).powi(2)).sum();
    let slope = pairs.iter().map(|p| (p.0 - mean) * (p.1 - middle)).sum::<f64>() / spread;
    let left: f64 =
        pairs.iter().map(|p| (p.1 - middle - slope * (p.0 - mean)).powi(2)).sum::<f64>();
    let sigma = LINES * (left / (n - 2.0) / spread).sqrt();
    let light = WallLight { counts: slope * typical, sigma: sigma * typical };
    (light.counts.is_finite() && light.sigma.is_finite()).then_some(light)
}

/// Whether black may be taken from a frame near it that might hide so many counts of light, since every
/// frame of its time and ISO that is measured, and one at least, lies so far above that they make no
/// difference.
#[must_use]
pub fn is_harmless(frames: &[Observed], frame: usize, hidden: f64, used: &[usize]) -> bool {
    let told = |i: usize| frames[i].exposure.as_ref().map(|e| (e.recorded.get(), e.iso));
    let alike = |i: &&usize| match (told(frame), told(**i)) {
        (Some((a, of_a)), Some((b, of_b))) => of_a == of_b && a.min(b) > SAME_TIME * a.max(b),
        _ => false,
    };
    let hidden = hidden.min(from_14_bit(MOST_COUNTS, &frames[frame].summary));
    let mut theirs = used.iter().filter(alike).map(|&i| frames[i].look.levels[1]).peekable();
    theirs.peek().is_some() && theirs.all(|level| hidden < HARMLESS * level)
}
