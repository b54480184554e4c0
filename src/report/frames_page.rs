//! All frames of a shoot on one page, in runs, each with its small picture and what it was taken for:
//! a contact sheet that stands alone.

use super::small_picture::{FramePicture, FramePictures};
use crate::measure::picture::PicturePart;
use crate::profile::{FrameRecord, PictureFrame};
use crate::safety;
use crate::say::figures::{count, sentence};
use crate::say::frames::Counts;
use crate::say::taken;
use crate::shoot::verdict::Judgement;
use crate::shoot::{Judged, Shoot};
use askama::Template;
use std::collections::BTreeMap;

/// What stands on the page beside the frames.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct About {
    /// Whose frames they are.
    pub name: String,
    /// Why nothing can be measured of them.
    pub fault: Option<String>,
    /// What was not looked at.
    pub beside: Option<String>,
    /// Program and version.
    pub made_by: String,
}

/// The frames themselves.
#[derive(Clone, Copy, Debug)]
pub struct Listed<'a> {
    /// Sorted.
    pub shoot: &'a Shoot,
    /// As they stand in a profile.
    pub records: &'a [FrameRecord],
    /// Those for sharpness, veil and ghosts.
    pub for_picture: &'a [PictureFrame],
}

#[derive(Template)]
#[template(path = "frames.html")]
struct FramesPage<'a> {
    about: &'a About,
    lead: String,
    groups: Vec<Group<'a>>,
    sun: &'a str,
}

struct Group<'a> {
    title: String,
    prints: Vec<FramePrint<'a>>,
}

struct FramePrint<'a> {
    file: &'a str,
    picture: Option<&'a FramePicture>,
    /// Exposure and level in one line.
    figures: String,
    /// Level above black, percent of full scale, as far as the bar goes.
    bar: Option<f64>,
    taken: String,
    why: String,
    at_fault: bool,
}

/// Longest that a bar of light may be, percent of full scale.
const LONGEST_BAR: f64 = 104.0;

/// The page of sorted frames.
///
/// # Errors
/// Where the template cannot be written, which does not happen to a string.
pub fn frames_page(
    listed: &Listed<'_>,
    pictures: &FramePictures,
    about: &About,
) -> Result<String, askama::Error> {
    let lead = Counts::of_frames(listed.records).sentence();
    FramesPage { about, lead, groups: groups(listed, pictures), sun: safety::SUN_SHORT }.render()
}

fn groups<'a>(listed: &Listed<'a>, pictures: &'a FramePictures) -> Vec<Group<'a>> {
    let shoot = listed.shoot;
    let records: BTreeMap<&str, &FrameRecord> =
        listed.records.iter().map(|record| (record.file.as_str(), record)).collect();
    let bare = taken::bare_level(shoot);
    let mut groups: Vec<(String, Vec<FramePrint<'a>>)> = Vec::new();
    let mut of_run = None;
    for (frame, run) in shoot.frames.iter().zip(taken::runs_shown(&shoot.frames)) {
        if of_run != Some(run) {
            groups.push((taken::run_title(shoot, run), Vec::new()));
            of_run = Some(run);
        }
        let record = records.get(frame.file()).copied();
        let print = print(shoot, frame, record, bare, pictures.get(frame.file()));
        if let Some((_, prints)) = groups.last_mut() {
            prints.push(print);
        }
    }
    for part in PicturePart::ALL.map(PicturePart::folder) {
        let own = listed.for_picture.iter().filter(|frame| frame.of == part);
        let own = own.map(|frame| of_picture(frame, pictures.get(&frame.file)));
        groups.push((format!("For {part}"), own.collect()));
    }
    let others = shoot.others.iter().map(|(file, _, judgement)| unread(file, judgement));
    groups.push((taken::BESIDE.to_owned(), others.collect()));
    let titled = |(title, prints): (String, Vec<FramePrint<'a>>)| Group {
        title: format!("{title}, {}", count(prints.len(), "frame")),
        prints,
    };
    groups.into_iter().filter(|(_, prints)| !prints.is_empty()).map(titled).collect()
}

fn of_picture<'a>(frame: &'a PictureFrame, picture: Option<&'a FramePicture>) -> FramePrint<'a> {
    FramePrint { picture, taken: sentence(&taken::of_picture(frame)), ..named(&frame.file) }
}

/// A print that says nothing yet.
fn named(file: &str) -> FramePrint<'_> {
    FramePrint {
        file,
        picture: None,
        figures: String::new(),
        bar: None,
        taken: String::new(),
        why: String::new(),
        at_fault: false,
    }
}

fn print<'a>(
    shoot: &Shoot,
    frame: &'a Judged,
    record: Option<&FrameRecord>,
    bare: Option<f64>,
    picture: Option<&'a FramePicture>,
) -> FramePrint<'a> {
    let level = record.and_then(|r| taken::level(frame, r));
    let mut figures = record.map(taken::exposure).unwrap_or_default();
    figures.extend(
        level.map(|level| format!("level {}", taken::level_text(level)).replace(' ', "\u{a0}")),
    );
    let clipped = if frame.look.clipped.contains(&true) { "; clipped" } else { "" };
    FramePrint {
        file: frame.file(),
        picture,
        figures: figures.join(", "),
        bar: level.map(|level| (100.0 * level).clamp(0.0, LONGEST_BAR)),
        taken: sentence(&taken::of_frame(shoot, frame)),
        why: format!("{}{clipped}", sentence(&taken::reason(frame, bare))),
        at_fault: frame.judgement.is_fault(),
    }
}

fn unread<'a>(file: &'a str, judgement: &Judgement) -> FramePrint<'a> {
    FramePrint {
        taken: sentence(taken::LEFT_OUT),
        why: sentence(&judgement.verdict().text),
        at_fault: judgement.is_fault(),
        ..named(file)
    }
}
