//! One stack shot at several focal lengths: the first is measured, the others show what ring or holder
//! shades there.

use super::{Judging, Part};
use crate::profile::{FrameState, Kind};
use crate::shoot::look::median;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Wish, faults};

/// Strengths in the centre at two focal lengths are of one stack up to this difference, stops (ours).
const SAME_STACK: f64 = 0.25;

/// The shoot that is measured, where all of them are of one stack through one camera at focal lengths
/// of their own.
pub(super) fn measured(
    slots: &[Option<Judged>],
    judged: &[Judging],
    shoots: &[usize],
    wish: &Wish,
) -> Option<usize> {
    let (&first, others) = shoots.split_first().filter(|_| wish.kind == Some(Kind::Stack))?;
    let main = &judged[first];
    let strength = strength(slots, &main.part)?;
    let mut seen = vec![focal(&main.part)?];
    for &j in others {
        let Judging { part, sorted, .. } = &judged[j];
        let focal = focal(part)?;
        let kit = &part.kit;
        let apart = (self::strength(slots, part)? - strength).abs();
        let alike = kit.body == main.part.kit.body && kit.size == main.part.kit.size;
        if sorted.is_err() || !alike || seen.contains(&focal) || apart > SAME_STACK {
            return None;
        }
        seen.push(focal);
    }
    main.sorted.is_ok().then_some(first)
}

/// Half millimetres.
fn focal(part: &Part) -> Option<i64> {
    part.kit.lens.as_ref()?.1
}

/// Bare minus filtered level, stops.
fn strength(slots: &[Option<Judged>], part: &Part) -> Option<f64> {
    let level = |state: FrameState| {
        let frames = part.indices.iter().filter_map(|&i| slots[i].as_ref());
        let known: Vec<f64> =
            frames.filter(|f| f.is_good() && f.state == state).map(|f| f.look.whole).collect();
        (!known.is_empty()).then(|| median(known))
    };
    Some(level(FrameState::Bare)? - level(FrameState::Setting)?)
}

/// Sets the frames of another focal length aside for their shading alone; runs are numbered on from
/// `runs`. Gives the last number back.
pub(super) fn lend(slots: &mut [Option<Judged>], part: &Part, runs: u32) -> u32 {
    let mut last = runs;
    for &i in &part.indices {
        let Some(frame) = slots[i].as_mut() else { continue };
        frame.run = frame.run.map(|run| run + runs);
        last = last.max(frame.run.unwrap_or(0));
        frame.setting = None;
        let focal = frame.summary.info.camera.focal_length;
        if let (true, Some(focal)) = (frame.is_good(), focal) {
            let bare = frame.state == FrameState::Bare;
            faults::set_aside(frame, Judgement::AtFocalLength { focal_mm: focal.get(), bare });
        }
    }
    last
}
