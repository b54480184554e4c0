//! Edges in all frames: which were measured, how sharp they are in each state, and whether only the
//! filter changed between.

use super::edge::{EdgeFault, EdgeFigures, LN_HALF, LN_MTF50, SlantedEdge};
use super::greens::PatchGreens;
use super::ratio::{Compared, RatioFound, StateMeans, compared, over_edges, state};
use super::repeats::{TOLD, spoilt};
use super::transfer::Window;
use super::{Taken, TakenAs};
use crate::caution::PictureDoubt;
use crate::frame::Area;
use crate::frame::patch::Patch;
use crate::numerics::least_squares::weighted;
use crate::numerics::robust::median;
use rayon::prelude::*;
use std::borrow::Cow;

/// An edge in both states.
#[derive(Clone, Debug, PartialEq)]
pub struct EdgeResult {
    /// Its middle as stored, in parts of the frame's width and height.
    pub at: (f64, f64),
    /// Degrees against the pixel grid.
    pub angle: f64,
    /// Without the filter.
    pub bare: Option<StateMeans>,
    /// Through it.
    pub filtered: Option<StateMeans>,
    /// MTF50.
    pub change: Option<RatioFound>,
    /// Modulation at half the Nyquist frequency.
    pub half_change: Option<RatioFound>,
}

/// Why an edge at a place was refused.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Refused {
    /// Its middle as stored, in parts of the frame's width and height.
    pub at: (f64, f64),
    /// Why.
    pub fault: EdgeFault,
}

/// All edges.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SharpnessResult {
    /// Those that were measured.
    pub edges: Vec<EdgeResult>,
    /// Those that were not.
    pub refused: Vec<Refused>,
    /// All together.
    pub change: Option<RatioFound>,
    /// Those near the corners.
    pub corners: Option<RatioFound>,
    /// Pixels of the frame's height.
    pub height: usize,
    /// What is doubtful.
    pub doubts: Vec<PictureDoubt>,
    /// Frames left out, with the reason.
    pub left_out: Vec<(String, EdgeFault)>,
}

/// Differences are told from so many standard uncertainties on.
const SIGMAS: f64 = 3.0;
/// Sharper by so much through the filter is a fault of the shoot.
const SHARPER: f64 = 0.03;
/// A change of scale that a filter's glass does not make (2 mm of glass shift an object a metre away
/// by 0.7 mm), in parts.
const RESCALED: f64 = 0.0015;
/// From so far off the middle, in parts of the half width and height, an edge is near a corner.
const CORNER: f64 = 0.4;

/// One frame's edges by place.
struct Looked<'a> {
    taken: &'a Taken,
    state: TakenAs,
    edges: Vec<Result<SlantedEdge, EdgeFault>>,
}

/// Measures the edges at the frames' patches; all frames hold the same places.
#[must_use]
pub fn sharpness(frames: &[(&Taken, TakenAs)], places: &[Area]) -> SharpnessResult {
    let Some((first, _)) = frames.first() else { return SharpnessResult::default() };
    let size = first.timed.summary.cells.area;
    let looked: Vec<Looked<'_>> = frames
        .par_iter()
        .filter(|(_, state)| matches!(state, TakenAs::Bare | TakenAs::Filtered))
        .map(|(taken, state)| Looked { taken, state: *state, edges: edges_of(taken) })
        .collect();
    let mut result = SharpnessResult { height: viewed_height(first), ..Default::default() };
    let (kept, out) = without_spoilt(looked);
    result.left_out = out;
    let middle = |area: &Area| {
        (
            (area.left as f64 + area.width as f64 / 2.0) / size.width as f64,
            (area.top as f64 + area.height as f64 / 2.0) / size.height as f64,
        )
    };
    let read: Vec<_> =
        (0..places.len()).into_par_iter().map(|place| EdgePlace::of(&kept, place)).collect();
    let mut measured = Vec::new();
    for ((place, area), read) in places.iter().enumerate().zip(read) {
        match read {
            Ok(read) => measured.push((middle(area), place, read)),
            Err(Some(fault)) => result.refused.push(Refused { at: middle(area), fault }),
            Err(None) => {}
        }
    }
    result.edges = measured.iter().map(|(at, _, read)| read.result(*at)).collect();
    let all: Vec<Compared> = measured.iter().map(|(_, _, read)| read.compared(LN_MTF50)).collect();
    let near =
        |at: &(f64, f64)| (at.0 - 0.5).abs() > CORNER / 2.0 && (at.1 - 0.5).abs() > CORNER / 2.0;
    let corners: Vec<Compared> = measured
        .iter()
        .zip(&all)
        .filter(|((at, ..), _)| near(at))
        .map(|(_, one)| one.clone())
        .collect();
    result.change = over_edges(&all).and_then(|c| c.change());
    result.corners = over_edges(&corners).and_then(|c| c.change());
    result.doubts = doubts(&kept, &measured, &all, &result);
    if result.doubts.iter().any(forbids_a_ratio) {
        withdraw(&mut result);
    }
    result
}

/// No ratio is given where something else than the filter changed.
fn forbids_a_ratio(doubt: &PictureDoubt) -> bool {
    matches!(
        doubt,
        PictureDoubt::OtherSettings { .. }
            | PictureDoubt::Unsteady { .. }
            | PictureDoubt::Refocused { .. }
            | PictureDoubt::SharperThrough { .. }
    )
}

fn withdraw(result: &mut SharpnessResult) {
    (result.change, result.corners) = (None, None);
    for edge in &mut result.edges {
        (edge.change, edge.half_change) = (None, None);
    }
}

fn viewed_height(taken: &Taken) -> usize {
    let area = taken.timed.summary.cells.area;
    let turned = (5..=8).contains(&taken.timed.summary.info.orientation);
    if turned { area.width } else { area.height }
}

fn edges_of(taken: &Taken) -> Vec<Result<SlantedEdge, EdgeFault>> {
    taken.patches.iter().map(|patch| edge_of(taken, patch, 0.0)).collect()
}

/// The edge of one patch, looked at to so many pixels beside it at least.
fn edge_of(taken: &Taken, patch: &Option<Patch>, least: f64) -> Result<SlantedEdge, EdgeFault> {
    let summary = &taken.timed.summary;
    let (Some(patch), Some(cfa)) = (patch, &summary.cells.cfa) else {
        return Err(EdgeFault::NoEdge);
    };
    let black = crate::levels::own_black(summary);
    SlantedEdge::as_far_as(&PatchGreens::of(patch, cfa, black, summary.levels.white), least)
}

/// Leaves out frames that fail at most places although others of their state do not.
fn without_spoilt(looked: Vec<Looked<'_>>) -> (Vec<Looked<'_>>, Vec<(String, EdgeFault)>) {
    let failures = |l: &Looked<'_>| l.edges.iter().filter(|e| e.is_err()).count();
    let best = |state: TakenAs| {
        looked.iter().filter(|l| l.state == state).map(failures).min().unwrap_or(0)
    };
    let (bare, filtered) = (best(TakenAs::Bare), best(TakenAs::Filtered));
    let (mut kept, mut out) = (Vec::new(), Vec::new());
    for one in looked {
        let least = if one.state == TakenAs::Bare { bare } else { filtered };
        let failed = failures(&one);
        let fault = one.edges.iter().find_map(|e| e.as_ref().err().copied());
        match fault.filter(|_| failed > least && 2 * (failed - least) > one.edges.len() - least) {
            Some(fault) => out.push((one.taken.file().to_owned(), fault)),
            None => kept.push(one),
        }
    }
    (kept, out)
}

/// One place read in all frames.
struct EdgePlace {
    angle: f64,
    bare: Vec<EdgeFigures>,
    filtered: Vec<EdgeFigures>,
    /// Where the edge ran, across, in pixels, bare and filtered.
    offsets: [Option<f64>; 2],
    upright: bool,
    slope: f64,
}

impl EdgePlace {
    /// Reads a place; the fault of the first frame that cannot be read there.
    fn of(frames: &[Looked<'_>], place: usize) -> Result<Self, Option<EdgeFault>> {
        let mut edges = Vec::new();
        for frame in frames {
            match frame.edges.get(place) {
                Some(Ok(edge)) => edges.push((frame.state, Cow::Borrowed(edge))),
                Some(Err(fault)) => return Err(Some(*fault)),
                None => return Err(None),
            }
        }
        let window = Window::for_rise(edges.iter().map(|(_, e)| e.rise).fold(0.0, f64::max));
        // A sharp edge beside a blurred one is looked at again as far as the window reaches.
        for (frame, (_, edge)) in
            frames.iter().zip(&mut edges).filter(|(_, e)| e.1.reach < window.end)
        {
            let wider = edge_of(frame.taken, &frame.taken.patches[place], window.needs());
            *edge = Cow::Owned(wider.map_err(Some)?);
        }
        let (_, first) = edges.first().ok_or(None)?;
        let of = |wanted: TakenAs| -> Option<Vec<EdgeFigures>> {
            let own = edges.iter().filter(|(state, _)| *state == wanted);
            own.map(|(_, edge)| edge.reading(window)).collect()
        };
        let small = || Some(EdgeFault::Small { along: f64::NAN, beside: window.end });
        let offset = |wanted: TakenAs| {
            let own = edges.iter().filter(|(state, _)| *state == wanted);
            median(own.map(|(_, edge)| edge.line.offset))
        };
        Ok(Self {
            angle: first.line.angle(),
            bare: of(TakenAs::Bare).ok_or_else(small)?,
            filtered: of(TakenAs::Filtered).ok_or_else(small)?,
            offsets: [offset(TakenAs::Bare), offset(TakenAs::Filtered)],
            upright: first.upright,
            slope: first.line.slope,
        })
    }

    fn compared(&self, figure: usize) -> Compared {
        let (bare, filtered): (Vec<&EdgeFigures>, Vec<&EdgeFigures>) =
            (self.bare.iter().collect(), self.filtered.iter().collect());
        compared(&bare, &filtered, figure)
    }

    fn result(&self, at: (f64, f64)) -> EdgeResult {
        let means = |list: &[EdgeFigures]| state(&list.iter().collect::<Vec<_>>());
        let filtered = means(&self.filtered);
        EdgeResult {
            at,
            angle: self.angle,
            bare: means(&self.bare),
            filtered,
            change: self.compared(LN_MTF50).change(),
            half_change: self.compared(LN_HALF).change(),
        }
    }
}

type Measured = ((f64, f64), usize, EdgePlace);

fn doubts(
    kept: &[Looked<'_>],
    measured: &[Measured],
    all: &[Compared],
    result: &SharpnessResult,
) -> Vec<PictureDoubt> {
    let mut found = Vec::new();
    let count = |state: TakenAs| kept.iter().filter(|l| l.state == state).count();
    for (state, name) in [(TakenAs::Bare, "bare"), (TakenAs::Filtered, "filtered")] {
        if count(state) == 0 {
            found.push(PictureDoubt::StateMissing { folder: "sharpness", state: name });
        }
    }
    if !found.is_empty() || measured.is_empty() {
        return found;
    }
    found.extend(other_settings(kept));
    found.extend(unsteady(kept, all));
    found.extend(before_and_after(kept, measured));
    found.extend(rescaled(measured, kept));
    let sharper = result.change.filter(|c| c.ln.value > SHARPER.max(SIGMAS * c.ln.u));
    found.extend(
        sharper.map(|c| PictureDoubt::SharperThrough { percent: 100.0 * c.ln.value.exp_m1() }),
    );
    if count(TakenAs::Bare) == 1 || count(TakenAs::Filtered) == 1 {
        found.push(PictureDoubt::NoRepeats);
    }
    found
}

/// Aperture and focal length must be the same.
fn other_settings(kept: &[Looked<'_>]) -> Option<PictureDoubt> {
    let alike = |of: &dyn Fn(&Taken) -> Option<f64>| {
        let known: Vec<f64> = kept.iter().filter_map(|l| of(l.taken)).collect();
        known.iter().all(|v| (v / known[0] - 1.0).abs() < 0.01)
    };
    let aperture = |t: &Taken| t.timed.exposure.as_ref().and_then(|e| e.f_number).map(|n| n.get());
    let focal = |t: &Taken| t.timed.summary.info.camera.focal_length.map(|f| f.get());
    let what = match (alike(&aperture), alike(&focal)) {
        (true, true) => return None,
        (false, true) => "aperture",
        (true, false) => "focal length",
        (false, false) => "aperture and focal length",
    };
    Some(PictureDoubt::OtherSettings { what: what.to_owned() })
}

/// Repeats that scatter by more than their noise.
fn unsteady(kept: &[Looked<'_>], all: &[Compared]) -> Option<PictureDoubt> {
    let found = spoilt(all)?;
    let worst = kept.iter().filter(|l| l.state == found.state).nth(found.frame)?;
    Some(PictureDoubt::Unsteady {
        file: worst.taken.file().to_owned(),
        percent: 100.0 * found.off.exp_m1(),
    })
}

/// The bare frames before the first filtered one against those after the last.
fn before_and_after(kept: &[Looked<'_>], measured: &[Measured]) -> Option<PictureDoubt> {
    let is_filtered = |l: &Looked<'_>| l.state == TakenAs::Filtered;
    let (first, last) = (kept.iter().position(is_filtered)?, kept.iter().rposition(is_filtered)?);
    let bare = |l: &Looked<'_>| l.state == TakenAs::Bare;
    let before = kept[..first].iter().filter(|l| bare(l)).count();
    let after = kept[last..].iter().filter(|l| bare(l)).count();
    if before == 0 || after == 0 {
        return Some(PictureDoubt::FocusUnproved);
    }
    let all: Vec<Compared> = measured
        .iter()
        .map(|(_, _, place)| {
            let opening: Vec<&EdgeFigures> = place.bare[..before].iter().collect();
            let closing: Vec<&EdgeFigures> =
                place.bare[place.bare.len() - after..].iter().collect();
            compared(&opening, &closing, LN_MTF50)
        })
        .collect();
    let change = over_edges(&all)?.change()?.ln;
    let told = change.value.abs() > TOLD && change.value.abs() > SIGMAS * change.u;
    told.then(|| PictureDoubt::Refocused {
        sign: format!(
            "The bare frames after the filtered ones are {:.0} % {} than those before",
            100.0 * change.value.abs().exp_m1(),
            if change.value > 0.0 { "sharper" } else { "softer" }
        ),
    })
}

/// The picture grew or shrank between bare and filtered frames, as it does when a lens is focused.
fn rescaled(measured: &[Measured], kept: &[Looked<'_>]) -> Option<PictureDoubt> {
    let size = kept.first()?.taken.timed.summary.cells.area;
    let (mut rows, mut moved) = (Vec::new(), Vec::new());
    for (at, _, place) in measured {
        let [Some(bare), Some(filtered)] = place.offsets else { continue };
        let (x, y) = ((at.0 - 0.5) * size.width as f64, (at.1 - 0.5) * size.height as f64);
        // The line across = slope along; its normal in the picture.
        let (nx, ny) = if place.upright { (1.0, -place.slope) } else { (-place.slope, 1.0) };
        rows.push([nx, ny, (nx * x + ny * y) / size.width as f64]);
        moved.push(filtered - bare);
    }
    // Shift and scale, and one edge more.
    if rows.len() < 4 {
        return None;
    }
    let fit = weighted(&rows, &moved, &vec![1.0; rows.len()])?;
    let scale = fit.coefficients[2] / size.width as f64;
    (scale.abs() > RESCALED).then(|| PictureDoubt::Refocused {
        sign: format!(
            "The picture is {:.2} % {} through the filter",
            100.0 * scale.abs(),
            if scale > 0.0 { "larger" } else { "smaller" }
        ),
    })
}
