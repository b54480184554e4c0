//! A camera record as a terminal shows it, at most 79 columns wide.

use super::lines::wrapped;
use crate::body_record::{BodyRecord, LeftOutFrame};
use crate::say::camera as said;
use crate::say::figures::plain;
use crate::text::count;

/// Frames left out that are named one by one.
const MOST_NAMED: usize = 8;

/// The whole record.
#[must_use]
pub fn text(record: &BodyRecord) -> String {
    let mut out = wrapped("", &format!("Camera record of {}.", record.body.shown()));
    out.push_str(&wrapped("", &said::verdict(record)));
    out.push_str(&wrapped("", &said::made_of(record)));
    out.push_str(&times(record));
    if let Some(linearity) = &record.linearity {
        out.push_str("\nlevel, % of full scale   from a straight line        u95\n");
        for point in &linearity.points {
            let [level, off, doubt] = said::level(point).map(|cell| plain(&cell));
            out.push_str(&format!("{level:>22}   {off:>20}   {doubt:>8}\n"));
        }
        out.push_str(&wrapped("", &said::linearity(linearity)));
    }
    out.push('\n');
    for sentence in said::sensor(record) {
        out.push_str(&wrapped("", &plain(&sentence)));
    }
    for caution in &record.cautions {
        out.push('\n');
        out.push_str(&wrapped("", &format!("Mind: {}", caution.text)));
    }
    out.push_str(&left_out(&record.frames.left_out));
    out
}

fn times(record: &BodyRecord) -> String {
    let mut out =
        "\ndial       true time      off by   off by, stop   u95, stop  frames\n".to_owned();
    for time in &record.times.list {
        let [open, percent, stops, doubt] = said::time(record, time).map(|cell| plain(&cell));
        out.push_str(&format!(
            "{:<9}  {open:<11}  {percent:>8}  {stops:>13}  {doubt:>10}  {:>6}\n",
            time.dial, time.frames
        ));
    }
    out.push('\n');
    for sentence in said::about_times(record) {
        out.push_str(&wrapped("", &sentence));
    }
    out
}

fn left_out(frames: &[LeftOutFrame]) -> String {
    let mut out = String::new();
    if !frames.is_empty() {
        out.push_str(&format!("\nLeft out: {}.\n", count(frames.len(), "frame")));
    }
    for frame in frames.iter().take(MOST_NAMED) {
        out.push_str(&wrapped("  ", &format!("{}: {}", frame.file, frame.reason)));
    }
    if let Some(more) = frames.len().checked_sub(MOST_NAMED).filter(|more| *more > 0) {
        out.push_str(&format!("  and {more} more, all of them in the record\n"));
    }
    out
}
