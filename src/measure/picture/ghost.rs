//! Ghosts: spots that mirror a lamp through the frame's centre, in the filtered frames and not in
//! the bare ones.
//!
//! Strength is light against light: what the whole spot gets over what the whole picture of the
//! lamp gets, so that a spot larger than the lamp counts by all of its light.

mod light;

use super::ratio::Estimate;
use super::{Taken, TakenAs};
use crate::caution::PictureDoubt;
use crate::numerics::robust::{deviation, median};
use light::Light;

/// Cells above this part of the brightest belong to the lamp.
const LAMP: f64 = 0.05;
/// Most of the frame that a lamp may fill.
const MOST_LAMP: f64 = 0.04;
/// How far from the mirrored place a ghost is looked for, in parts of the frame's width.
const ASTRAY: f64 = 0.06;
/// A lamp nearer to the centre has its ghost beside it, in parts of the frame's width.
const LEAST_OFF: f64 = 0.1;
/// A spot is told from so many deviations of such places elsewhere on (ours: none invented in
/// hundreds of frames).
const TOLD: f64 = 7.0;
/// A cell stands out of the lamp's shape from so many deviations of its neighbours on: a hot pixel.
const HOT: f64 = 6.0;
/// A cell that adds less than this part of the ghost's light is not worth leaving out.
const WORTH: f64 = 0.01;
/// Share of a cell's pixels at white from which the spot is clipped: hot pixels alone clip fewer.
const CLIPPED_SPOT: f64 = 0.1;
/// Width in cells of the ring around a place, whose middle value is the ground.
const RING: f64 = 3.0;
/// Weakest ghost worth a word, in stops below the lamp.
const WEAKEST_STOPS: f64 = 18.0;

/// A ghost, as stored.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GhostFound {
    /// In parts of the frame's width and height.
    pub at: (f64, f64),
    /// Stops below the lamp.
    pub stops: Estimate,
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Ghosts {
    /// The spots, strongest first.
    pub spots: Vec<GhostFound>,
    /// Stops below the lamp to which a spot would have been told.
    pub seen_to: f64,
}

/// The lamp's middle and radius in cells, and its light per exposure.
#[derive(Clone, Copy)]
struct Lamp {
    middle: (f64, f64),
    radius: f64,
    light: f64,
    u: f64,
}

/// Looks for ghosts in the frames of both states; doubts say why it could not.
#[must_use]
pub fn ghosts(frames: &[(&Taken, TakenAs)]) -> (Option<Ghosts>, Vec<PictureDoubt>) {
    let of = |wanted: TakenAs| -> Vec<Light> {
        let own = frames.iter().filter(|(_, s)| *s == wanted);
        own.filter_map(|(t, _)| Light::of(t)).collect()
    };
    let (bare, filtered) = (of(TakenAs::Bare), of(TakenAs::Filtered));
    for (list, state) in [(&bare, "bare"), (&filtered, "filtered")] {
        if list.is_empty() {
            return (None, vec![PictureDoubt::StateMissing { folder: "ghost", state }]);
        }
    }
    match search(&bare, &filtered) {
        Ok(found) => (Some(found), Vec::new()),
        Err(reason) => (None, vec![PictureDoubt::NoLamp { reason }]),
    }
}

fn search(bare: &[Light], filtered: &[Light]) -> Result<Ghosts, &'static str> {
    const CLIPPED: &str = "the lamp is clipped in every frame of one state. Add a frame of each state \
        that is so short that the lamp itself keeps below white.";
    let lamp = lamp(bare)?.ok_or(CLIPPED)?;
    let through = lamp_at(filtered, &lamp).ok_or(CLIPPED)?;
    let size = (bare[0].columns as f64, bare[0].rows as f64);
    let centre = (size.0 / 2.0, size.1 / 2.0);
    let mirrored = (2.0 * centre.0 - lamp.middle.0, 2.0 * centre.1 - lamp.middle.1);
    let off = (lamp.middle.0 - centre.0).hypot(lamp.middle.1 - centre.1);
    if off < LEAST_OFF * size.0 {
        return Err(
            "the lamp stands in the middle of the frame, where its ghost would lie on it. Turn \
            the camera until it is half way to a corner.",
        );
    }
    // The longest exposure shows the weakest spots; one that clips there is seen in a shorter one.
    let mut found = Ghosts { spots: Vec::new(), seen_to: 0.0 };
    let Some(without) = by_exposure(bare).first().copied() else { return Ok(found) };
    for frame in by_exposure(filtered) {
        // Light that the bare frame lacks, per light of the lamp.
        let more: Vec<f64> = frame
            .green
            .iter()
            .zip(&without.green)
            .map(|(f, b)| f / through.light - b / lamp.light)
            .collect();
        let radius = lamp.radius.max(1.0) + 1.0;
        let spots = Spots { light: frame, more: &more, radius, lamp, shape: shape(bare, &lamp) };
        let (ghosts, clipped) = spots.around(mirrored, ASTRAY * size.0, through.u / through.light);
        found.seen_to = found.seen_to.max(ghosts.seen_to);
        // A shorter exposure may not show what a longer one did.
        if !ghosts.spots.is_empty() {
            found.spots = ghosts.spots;
        }
        if !clipped {
            break;
        }
    }
    Ok(found)
}

/// Frames from the longest exposure on.
fn by_exposure(list: &[Light]) -> Vec<&Light> {
    let mut sorted: Vec<&Light> = list.iter().collect();
    sorted.sort_by(|a, b| b.exposure.total_cmp(&a.exposure));
    sorted
}

/// The lamp in the longest bare frame that does not clip it; `None` where all do.
fn lamp(bare: &[Light]) -> Result<Option<Lamp>, &'static str> {
    let shortest = bare.iter().min_by(|a, b| a.exposure.total_cmp(&b.exposure));
    let Some(shortest) = shortest else { return Ok(None) };
    let ground = median(shortest.green.iter().copied()).unwrap_or(0.0);
    let brightest = shortest.green.iter().copied().fold(f64::NEG_INFINITY, f64::max) - ground;
    let cells: Vec<usize> = (0..shortest.green.len())
        .filter(|&i| shortest.green[i] - ground > LAMP * brightest)
        .collect();
    let scatter = deviation(shortest.green.iter().copied()).unwrap_or(0.0);
    if cells.is_empty() || brightest < 10.0 * scatter {
        return Err(
            "no lamp was found. Set a small bright lamp before a dark ground, off the centre.",
        );
    }
    if cells.len() as f64 > MOST_LAMP * shortest.green.len() as f64 + 9.0 {
        return Err(
            "no single small lamp was found. Set one small bright lamp before a dark ground, off \
            the centre.",
        );
    }
    let weight = |i: usize| shortest.green[i] - ground;
    let all: f64 = cells.iter().map(|&i| weight(i)).sum();
    let mean =
        |of: &dyn Fn(usize) -> f64| cells.iter().map(|&i| weight(i) * of(i)).sum::<f64>() / all;
    let middle = (mean(&|i| shortest.at(i).0), mean(&|i| shortest.at(i).1));
    let radius = cells
        .iter()
        .map(|&i| (shortest.at(i).0 - middle.0).hypot(shortest.at(i).1 - middle.1))
        .fold(0.0, f64::max);
    let known = Lamp { middle, radius, light: 0.0, u: 0.0 };
    Ok(lamp_at(bare, &known))
}

/// The light of a lamp whose place is known.
fn lamp_at(frames: &[Light], lamp: &Lamp) -> Option<Lamp> {
    let one = |frame: &Light| {
        let reach = (lamp.radius + 2.0, RING);
        let (inside, ground) = frame.with_ground(&frame.green, lamp.middle, reach)?;
        if inside.iter().any(|&i| frame.clipped[i] > 0.0) {
            return None;
        }
        Some(inside.iter().map(|&i| frame.green[i] - ground).sum::<f64>())
    };
    let lights: Vec<f64> = frames.iter().filter_map(one).filter(|l| *l > 0.0).collect();
    let n = lights.len() as f64;
    let light = lights.iter().sum::<f64>() / n;
    let squares: f64 = lights.iter().map(|l| (l - light).powi(2)).sum();
    // Two per cent stand for what the lamp itself does between frames, where nothing shows it (ours).
    let u = (squares / (n * (n - 1.0)).max(1.0)).sqrt().max(0.02 * light);
    (n > 0.0).then_some(Lamp { light, u, ..*lamp })
}

/// Light of the lamp's cells in parts of all of it, by columns and rows from its middle, so large that
/// the cells around it are in.
fn shape(bare: &[Light], lamp: &Lamp) -> Vec<((f64, f64), f64)> {
    let Some(light) = bare.iter().min_by(|a, b| a.exposure.total_cmp(&b.exposure)) else {
        return Vec::new();
    };
    let Some((cells, ground)) =
        light.with_ground(&light.green, lamp.middle, (lamp.radius + 2.0, RING))
    else {
        return Vec::new();
    };
    let all: f64 = cells.iter().map(|&i| light.green[i] - ground).sum();
    let off = |i: usize| {
        let (x, y) = light.at(i);
        (x - lamp.middle.0, y - lamp.middle.1)
    };
    cells.iter().map(|&i| (off(i), (light.green[i] - ground) / all)).collect()
}

/// Share at a place between the cells of a shape, by their areas; 0 outside.
fn share(shape: &[((f64, f64), f64)], (x, y): (f64, f64)) -> f64 {
    let overlap = |d: f64| (1.0 - d.abs()).max(0.0);
    shape.iter().map(|((u, v), s)| s * overlap(x - u) * overlap(y - v)).sum()
}

/// Places as large as the lamp, and how much more light they have.
struct Spots<'a> {
    light: &'a Light,
    more: &'a [f64],
    radius: f64,
    lamp: Lamp,
    /// The lamp's own.
    shape: Vec<((f64, f64), f64)>,
}

impl Spots<'_> {
    /// Light within the radius above that of the ring around, and its middle.
    fn sum(&self, middle: (f64, f64)) -> Option<(f64, (f64, f64))> {
        let reach = (self.radius, RING);
        let (inside, ground) = self.light.with_ground(self.more, middle, reach)?;
        let (mut all, mut x, mut y, mut weights) = (0.0, 0.0, 0.0, 0.0);
        for &i in &inside {
            let more = self.more[i] - ground;
            all += more;
            let weight = more.max(0.0);
            let (cx, cy) = self.light.at(i);
            (x, y, weights) = (x + weight * cx, y + weight * cy, weights + weight);
        }
        (weights > 0.0).then(|| (all, (x / weights, y / weights)))
    }

    /// Light of the spot without its hot pixels, and what its shape leaves open, both per light of the
    /// lamp. A ghost is the lamp's picture turned about the centre: a cell far above that shape holds
    /// a pixel that glows by itself, which a cell with light and dark in it cannot leave out.
    fn cooled(&self, all: f64, middle: (f64, f64)) -> (f64, f64) {
        let reach = (self.radius, RING);
        let Some((inside, ground)) = self.light.with_ground(self.more, middle, reach) else {
            return (all, all);
        };
        let turned: Vec<f64> = inside
            .iter()
            .map(|&i| {
                let (x, y) = self.light.at(i);
                share(&self.shape, (middle.0 - x, middle.1 - y))
            })
            .collect();
        let seen: Vec<f64> = inside.iter().map(|&i| self.more[i] - ground).collect();
        let mut light = all;
        let mut hot = vec![false; seen.len()];
        for _ in 0..3 {
            let rest: Vec<f64> = seen.iter().zip(&turned).map(|(m, t)| m - light * t).collect();
            let scatter = deviation(rest.iter().copied()).unwrap_or(0.0);
            let cool = |hot: &[bool], of: &[f64]| -> f64 {
                of.iter().zip(hot).filter(|(_, h)| !**h).map(|(v, _)| v).sum()
            };
            let least = (HOT * scatter).max(WORTH * light);
            hot = rest.iter().map(|r| *r > least).collect();
            let shown = cool(&hot, &turned);
            // Most of it unlike the lamp is another shape, out of focus, and no hot pixel's work.
            if shown < 0.5 {
                (light, hot) = (all, vec![false; seen.len()]);
                break;
            }
            light = cool(&hot, &seen) / shown;
        }
        let squares: f64 = seen
            .iter()
            .zip(&turned)
            .zip(&hot)
            .filter(|(_, hot)| !**hot)
            .map(|((m, t), _)| (m - light * t).powi(2))
            .sum();
        (light, squares.sqrt())
    }

    /// The spot near the mirrored place, and whether it is clipped.
    fn around(&self, mirrored: (f64, f64), astray: f64, u_lamp: f64) -> (Ghosts, bool) {
        let (columns, rows) = (self.light.columns as f64, self.light.rows as f64);
        let step = (self.radius / 2.0).max(1.0);
        let (mut best, mut elsewhere) = (None::<(f64, (f64, f64))>, Vec::new());
        let (mut x, mut y) = (self.radius, self.radius);
        while y < rows - self.radius {
            while x < columns - self.radius {
                let from_lamp = (x - self.lamp.middle.0).hypot(y - self.lamp.middle.1);
                let from_mirror = (x - mirrored.0).hypot(y - mirrored.1);
                if from_lamp > 3.0 * self.radius + 6.0
                    && let Some(found) = self.sum((x, y))
                {
                    if from_mirror <= astray {
                        if best.is_none_or(|b| found.0 > b.0) {
                            best = Some(found);
                        }
                    } else if from_mirror > astray + 3.0 * self.radius {
                        elsewhere.push(found.0);
                    }
                }
                x += step;
            }
            (x, y) = (self.radius, y + step);
        }
        let noise = deviation(elsewhere.iter().copied()).unwrap_or(0.0);
        let usual = median(elsewhere).unwrap_or(0.0);
        let least = (TOLD * noise).max((-WEAKEST_STOPS).exp2());
        let seen_to = -least.log2();
        // A second look from the spot's own middle. Places without a ghost are not dark on the mean
        // where hot pixels glow in a long exposure: what they usually have is no ghost's.
        let again = best.and_then(|b| self.sum(b.1)).map(|(light, at)| (light - usual, at));
        let spot = again.filter(|(light, _)| *light > least);
        let spots = spot.map(|(all, at)| {
            let (light, open) = self.cooled(all, at);
            let u = (noise / light).hypot(u_lamp).hypot(open / light) / std::f64::consts::LN_2;
            let stops = Estimate { value: -light.log2(), u, dof: 20.0 };
            (at, GhostFound { at: (at.0 / columns, at.1 / rows), stops })
        });
        let clipped = spots.as_ref().is_some_and(|(spot, _)| {
            self.light
                .near(*spot, self.radius)
                .iter()
                .any(|&i| self.light.clipped[i] > CLIPPED_SPOT)
        });
        (Ghosts { spots: spots.map(|(_, spot)| spot).into_iter().collect(), seen_to }, clipped)
    }
}
