//! Veiling glare: light in a dark hole over the light around it (the idea of ISO 9358 and
//! ISO 18844, from memory), without the filter and through it.

use super::ratio::Estimate;
use super::{Taken, TakenAs};
use crate::caution::PictureDoubt;
use crate::levels::{LevelFrame, levels};
use crate::numerics::marks::{grown, shrunk};
use crate::numerics::robust::{median, quantile};
use crate::quantity::Stops;
use crate::reduce::grid::FrameSummary;

/// Cells darker than this part of the wall are the hole.
const DARK: f64 = 0.3;
/// The hole's share of the frame.
const SHARES: std::ops::RangeInclusive<f64> = 0.005..=0.25;
/// Rows of cells left out at the hole's rim, where the lens blurs the wall into it.
const RIM: usize = 2;
/// The wall is looked at from so many cells off the hole on, over as many more.
const AWAY: usize = 2;
const BAND: usize = 6;
/// Stops below white of the shadow whose lift is told.
const SHADOW_STOPS: f64 = 10.0;
/// From here light past the holder matters, in stops.
const LEAK_FROM: f64 = 8.0;
/// Doubt by the black level that is told, in parts of the wall's light.
const BLACK_TOLD: f64 = 2e-4;
/// Share of clipped pixels from which the wall is not used.
const CLIPPED: f64 = crate::levels::CLIPPED_SHARE;

/// What was found, as parts of the light around the hole.
#[derive(Clone, Debug, PartialEq)]
pub struct Veil {
    /// Without the filter.
    pub bare: Estimate,
    /// Through it.
    pub filtered: Estimate,
    /// The filter's own part.
    pub added: Estimate,
    /// By how many stops the filter's own part lifts a shadow ten stops below white.
    pub lift: Estimate,
    /// Light past the filter was taken out.
    pub leak_taken_out: bool,
}

/// Cells of the hole and of the wall around it.
struct Mask {
    hole: Vec<usize>,
    wall: Vec<usize>,
}

/// Measures the frames; doubts say what is wrong, also where nothing was found.
#[must_use]
pub fn veil(
    frames: &[(&Taken, TakenAs)],
    strength: Option<Stops>,
    slot: bool,
) -> (Option<Veil>, Vec<PictureDoubt>) {
    let of = |wanted: TakenAs| -> Vec<&Taken> {
        frames.iter().filter(|(_, s)| *s == wanted).map(|(t, _)| *t).collect()
    };
    let (bare, filtered, leak) = (of(TakenAs::Bare), of(TakenAs::Filtered), of(TakenAs::Leak));
    let darks: Vec<&FrameSummary> = of(TakenAs::Dark).iter().map(|t| &t.timed.summary).collect();
    let missing = |state| vec![PictureDoubt::StateMissing { folder: "veil", state }];
    if bare.is_empty() {
        return (None, missing("bare"));
    }
    if filtered.is_empty() {
        return (None, missing("filtered"));
    }
    let lights = |list: &[&Taken]| -> Vec<LevelFrame> {
        list.iter().map(|t| levels(&t.timed.summary, &alike(t, &darks))).collect()
    };
    let (bare_light, mut through) = (lights(&bare), lights(&filtered));
    let Some(mask) = mask(&bare_light[0], &bare[0].timed.summary) else {
        return (None, vec![PictureDoubt::NoHole]);
    };
    if let Some(leak) = leak.first() {
        let past = levels(&leak.timed.summary, &alike(leak, &darks));
        for (light, taken) in through.iter_mut().zip(&filtered) {
            let scale = exposure(taken) / exposure(leak);
            take_out(light, &past, scale);
        }
    }
    let mut doubts = Vec::new();
    let strong = slot || strength.is_some_and(|s| s.get() >= LEAK_FROM);
    if leak.is_empty() && strong {
        doubts.push(PictureDoubt::VeilLeakUntold);
    }
    let (Some(a), Some(b)) = (index(&bare_light, &mask), index(&through, &mask)) else {
        return (None, vec![PictureDoubt::NoHole]);
    };
    let black = a.black.max(b.black);
    if black > BLACK_TOLD {
        doubts.push(PictureDoubt::VeilLimitedByBlack { percent: 100.0 * black });
    }
    let sum = |x: f64, y: f64| x.hypot(y);
    let added = Estimate {
        value: b.index.value - a.index.value,
        u: sum(a.index.u, b.index.u),
        dof: a.index.dof.min(b.index.dof),
    };
    let lift = lift(&added);
    let leak_taken_out = !leak.is_empty();
    (Some(Veil { bare: a.index, filtered: b.index, added, lift, leak_taken_out }), doubts)
}

/// By how many stops the filter's own part lifts a shadow: of that part alone, since what the hole itself
/// sends back, in both figures, is the box's and no shadow's.
fn lift(added: &Estimate) -> Estimate {
    let shadow = (-SHADOW_STOPS).exp2();
    let lit = shadow + added.value.max(0.0);
    Estimate {
        value: (lit / shadow).log2(),
        u: added.u / lit / std::f64::consts::LN_2,
        dof: added.dof,
    }
}

/// Dark frames of the same time and ISO.
fn alike<'a>(taken: &Taken, darks: &[&'a FrameSummary]) -> Vec<&'a FrameSummary> {
    let exposure = &taken.timed.summary.info.exposure;
    let time = |e: &crate::frame::Exposure| e.time.map(|t| t.get());
    let same = |dark: &&&FrameSummary| {
        let other = &dark.info.exposure;
        let cells = &taken.timed.summary.cells;
        let close = match (time(exposure), time(other)) {
            (Some(a), Some(b)) => (a / b - 1.0).abs() < 0.01,
            _ => false,
        };
        close && other.iso == exposure.iso && dark.cells.columns == cells.columns
    };
    darks.iter().filter(same).copied().collect()
}

/// Time times ISO over the aperture's square.
fn exposure(taken: &Taken) -> f64 {
    taken.timed.exposure.as_ref().map_or(1.0, |e| {
        let f_number = e.f_number.map_or(1.0, |n| n.get());
        e.true_time.get() * e.iso.map_or(100.0, |i| i.get()) / (f_number * f_number)
    })
}

fn take_out(light: &mut LevelFrame, past: &LevelFrame, scale: f64) {
    for (mine, theirs) in light.planes.iter_mut().zip(&past.planes) {
        mine.level.iter_mut().zip(&theirs.level).for_each(|(m, t)| *m -= scale * t);
    }
}

/// The hole: dark cells in one piece inside the frame; the wall: a band around it.
fn mask(light: &LevelFrame, summary: &FrameSummary) -> Option<Mask> {
    let green = light.channel_cells(1);
    let wall = quantile(green.iter().copied(), 0.75)?;
    let (columns, rows) = (light.columns, light.rows);
    let dark: Vec<bool> = green.iter().map(|g| *g < DARK * wall).collect();
    let hole = largest(&dark, columns, rows);
    let share = hole.iter().filter(|h| **h).count() as f64 / hole.len().max(1) as f64;
    if wall <= 0.0 || !SHARES.contains(&share) {
        return None;
    }
    let core = (1..=RIM).rev().map(|rim| shrunk(&hole, columns, rim));
    let core = core.into_iter().find(|core| core.iter().filter(|c| **c).count() >= 4)?;
    let (near, far) = (grown(&hole, columns, AWAY), grown(&hole, columns, AWAY + BAND));
    let clipped = crate::levels::clipped_cells(&summary.cells, 1);
    let band: Vec<usize> = (0..green.len()).filter(|&i| far[i] && !near[i] && !dark[i]).collect();
    let spoilt = band.iter().filter(|&&i| clipped[i] > CLIPPED).count();
    if band.len() < 8 || spoilt * 10 > band.len() {
        return None;
    }
    let inside = (0..core.len()).filter(|&i| core[i]).collect();
    Some(Mask { hole: inside, wall: band })
}

/// The largest connected part that does not touch the frame's border.
fn largest(dark: &[bool], columns: usize, rows: usize) -> Vec<bool> {
    let mut seen = vec![false; dark.len()];
    let mut best: Vec<usize> = Vec::new();
    for start in 0..dark.len() {
        if !dark[start] || seen[start] {
            continue;
        }
        let (mut part, mut waiting, mut border) = (Vec::new(), vec![start], false);
        seen[start] = true;
        while let Some(i) = waiting.pop() {
            part.push(i);
            let (x, y) = (i % columns, i / columns);
            border |= x == 0 || y == 0 || x + 1 == columns || y + 1 == rows;
            let beside = [
                (x > 0).then(|| i - 1),
                (x + 1 < columns).then(|| i + 1),
                (y > 0).then(|| i - columns),
                (y + 1 < rows).then(|| i + columns),
            ];
            for next in beside.into_iter().flatten() {
                if dark[next] && !seen[next] {
                    seen[next] = true;
                    waiting.push(next);
                }
            }
        }
        if !border && part.len() > best.len() {
            best = part;
        }
    }
    let mut found = vec![false; dark.len()];
    best.into_iter().for_each(|i| found[i] = true);
    found
}

struct Index {
    index: Estimate,
    /// What the black level makes doubtful, in parts of the wall's light.
    black: f64,
}

/// Light in the hole over light around it, over the frames of one state.
fn index(lights: &[LevelFrame], mask: &Mask) -> Option<Index> {
    let mut values = Vec::new();
    let (mut within, mut black) = (0.0_f64, 0.0_f64);
    for light in lights {
        let green = light.channel_cells(1);
        let mean = |cells: &[usize]| {
            cells.iter().map(|&i| green[i]).sum::<f64>() / cells.len().max(1) as f64
        };
        let (hole, wall) = (mean(&mask.hole), mean(&mask.wall));
        if !(wall > 0.0 && hole.is_finite()) {
            return None;
        }
        values.push(hole / wall);
        let middle = median(mask.hole.iter().map(|&i| green[i]))?;
        let spread: f64 = mask.hole.iter().map(|&i| (green[i] - middle).powi(2)).sum();
        let n = mask.hole.len() as f64;
        within += spread / (n - 1.0).max(1.0) / n / (wall * wall);
        black = black.max(light.black_doubt / wall);
    }
    let n = values.len() as f64;
    let value = values.iter().sum::<f64>() / n;
    let repeats: f64 =
        values.iter().map(|v| (v - value).powi(2)).sum::<f64>() / (n * (n - 1.0)).max(1.0);
    // Cells within a frame tell its noise; the hole's own pattern makes that the wide side.
    let (variance, dof) = if n > 1.0 && repeats > within / (n * n) {
        (repeats, n - 1.0)
    } else {
        (within / (n * n), 30.0)
    };
    let u = variance.sqrt();
    let all = u.hypot(black);
    let dof = if u > 0.0 { dof * (all / u).powi(4) } else { f64::INFINITY };
    Some(Index { index: Estimate { value, u: all, dof }, black })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// A shadow ten stops below white has 1/1024 of its light: as much again is one stop, three times as
    /// much two, whatever the box's own hole sends back.
    #[test]
    fn a_shadow_is_lifted_by_the_filters_own_part() {
        for (parts, stops) in [(1.0, 1.0), (3.0, 2.0), (0.0, 0.0), (-0.5, 0.0)] {
            let added = Estimate { value: parts / 1024.0, u: 1e-5, dof: 9.0 };
            let found = lift(&added);
            assert!((found.value - stops).abs() < 1e-12, "{parts}: {}", found.value);
            // d log2(1 + x) = dx / (1 + x) / ln 2.
            let u = 1024e-5 / (1.0 + parts.max(0.0)) / std::f64::consts::LN_2;
            assert!((found.u - u).abs() < 1e-12, "{parts}: {}", found.u);
        }
    }
}
