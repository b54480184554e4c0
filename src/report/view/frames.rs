//! Which frames were used, which were left out, and why.

use crate::profile::{FrameRecord, FrameState, Profile};
use crate::report::small_picture::FramePictures;
use crate::report::table::{Column, Table};
use crate::say::figures as words;
use crate::say::frames::Counts;
use crate::say::taken;

/// The section on frames.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frames {
    /// Counts in words.
    pub lead: Vec<String>,
    /// Left out, with reasons.
    pub left_out: Option<Table>,
    /// Used.
    pub used: Option<Table>,
}

/// Builds the section.
pub fn frames(profile: &Profile, pictures: &FramePictures) -> Frames {
    let (out, used): (Vec<&FrameRecord>, Vec<&FrameRecord>) = profile
        .frames
        .iter()
        .partition(|frame| frame.state == FrameState::LeftOut && taken::serves(frame).is_none());
    let marks = profile.settings.len() > 1;
    Frames {
        lead: vec![Counts::of(profile).sentence()],
        left_out: left_out(&out, pictures),
        used: used_table(&used, marks.then_some(profile), pictures),
    }
}

fn used_table(
    frames: &[&FrameRecord],
    marks: Option<&Profile>,
    pictures: &FramePictures,
) -> Option<Table> {
    if frames.is_empty() {
        return None;
    }
    let mut table = Table::new(
        "Frames used",
        [
            ("File", Column::Words),
            ("Exposure", Column::Words),
            ("Taken for", Column::Words),
            ("Verdict", Column::Words),
        ],
    );
    for frame in frames {
        let cells =
            vec![exposure(frame), taken_for(frame, marks), words::sentence(&frame.verdict.text)];
        table.push_frame(&frame.file, cells, pictures.get(&frame.file).cloned());
    }
    Some(table)
}

fn left_out(frames: &[&FrameRecord], pictures: &FramePictures) -> Option<Table> {
    let mut table = Table::new(
        "Frames left out, and why",
        [("File", Column::Words), ("Exposure", Column::Words), ("Why", Column::Words)],
    );
    for frame in frames {
        let cells = vec![exposure(frame), words::sentence(&frame.verdict.text)];
        table.push_frame(&frame.file, cells, pictures.get(&frame.file).cloned());
    }
    (!table.lines.is_empty()).then_some(table)
}

fn exposure(frame: &FrameRecord) -> String {
    let parts = taken::exposure(frame);
    if parts.is_empty() { "unknown".to_owned() } else { parts.join(", ") }
}

fn taken_for(frame: &FrameRecord, marks: Option<&Profile>) -> String {
    match frame.state {
        FrameState::Bare => "bare".to_owned(),
        FrameState::Dark => "dark".to_owned(),
        FrameState::LeftOut => taken::serves(frame).unwrap_or(taken::LEFT_OUT).to_owned(),
        FrameState::Setting => marks
            .and_then(|profile| {
                profile.settings.iter().find(|s| s.frames.filtered.contains(&frame.file))
            })
            .and_then(|setting| setting.mark.as_ref())
            .map_or_else(|| "filter".to_owned(), |mark| format!("mark {mark}")),
    }
}
