//! A flat-field frame: what an even white would have looked like through a filter, for programs that
//! read no maps of gains but divide by such a frame.

use super::evenness::EvennessGains;
use crate::frame::{Frame, Mosaic, Samples};

/// Level of the brightest place, as a share of full scale (ours).
const BRIGHT: f64 = 0.6;
/// Pixels between those that are looked at for clipping, in periods of the pattern.
const SPARSE: usize = 4;

/// The flat-field frame for a photograph: its camera and lens, with counts of an even white.
#[must_use]
pub fn frame(photo: &Frame, gains: &EvennessGains) -> Option<Frame> {
    let Samples::Raw(mosaic, cfa) = &photo.samples else { return None };
    let (active, levels) = (photo.active, &photo.levels);
    let (width, height) = (mosaic.width, mosaic.height);
    let mut data = Vec::with_capacity(width * height);
    for row in 0..height {
        for column in 0..width {
            let (r, c) = (row.wrapping_sub(active.top), column.wrapping_sub(active.left));
            let inside = r < active.height && c < active.width;
            let (r, c) = if inside { (r, c) } else { (0, 0) };
            let black = levels.black.at(r, c);
            let light = if inside {
                let gain = gains.map.at(
                    cfa.plane(r, c).channel(),
                    share(c, active.width),
                    share(r, active.height),
                );
                BRIGHT * (f64::from(levels.white) - black) / gain
            } else {
                0.0
            };
            data.push((black + light).round() as u16);
        }
    }
    let samples = Samples::Raw(Mosaic { width, height, data: data.into() }, cfa.clone());
    let mut info = photo.info.clone();
    info.subject.clear();
    Some(Frame {
        samples,
        active,
        masked: photo.masked.clone(),
        levels: photo.levels.clone(),
        info,
    })
}

/// Share of the pixels that clip by being raised and did not before.
#[must_use]
pub fn clips(photo: &Frame, gains: &EvennessGains) -> f64 {
    let Samples::Raw(mosaic, cfa) = &photo.samples else { return 0.0 };
    let (active, white) = (photo.active, f64::from(photo.levels.white));
    let side = cfa.side();
    let near = |at: &usize| (at / side).is_multiple_of(SPARSE);
    let (mut all, mut clipped) = (0_u64, 0_u64);
    for r in (0..active.height).filter(near) {
        for c in (0..active.width).filter(near) {
            let count = f64::from(mosaic.data[(active.top + r) * mosaic.width + active.left + c]);
            let black = photo.levels.black.at(r, c);
            let gain = gains.map.at(
                cfa.plane(r, c).channel(),
                share(c, active.width),
                share(r, active.height),
            );
            all += 1;
            clipped += u64::from(count < white && (count - black) * gain >= white - black);
        }
    }
    clipped as f64 / all.max(1) as f64
}

fn share(at: usize, of: usize) -> f64 {
    (at as f64 + 0.5) / of as f64
}
