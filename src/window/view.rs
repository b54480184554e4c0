//! What the contact sheet shows, as plain data for the page; the page lays it out and decides
//! nothing.

use super::outcome::{self, Outcome};
use super::plainly;
use super::said::{self, Said};
use super::session::ShootSession;
use crate::commands::{measure, shoot_json};
use crate::exposure::sentence_text;
use crate::profile::{Grade, Kind, Profile};
use crate::report::small_picture::{self, ON_SHEET};
use crate::report::small_picture::{FramePicture, FramePictures};
use crate::say::strength::{self, Strength};
use crate::say::{cautions, figures, first, taken};
use crate::shoot::Judged;
use crate::shoot::verdict::Judgement;
use crate::shoot_file::ShootFile;
use serde::Serialize;

/// The whole sheet.
#[derive(Debug, Serialize)]
pub struct SheetView {
    /// The folder as shown.
    pub folder: String,
    /// Which of the folders that were chosen it is.
    pub folder_number: u64,
    /// Files read, and of how many.
    pub read: [usize; 2],
    /// Runs and what lies beside them, in capture order.
    pub groups: Vec<GroupView>,
    /// What was not looked at, in one line.
    pub beside: Option<String>,
    /// The first four questions with their answers.
    pub answers: Vec<(&'static str, String)>,
    /// What follows from it in the field.
    pub consequence: Option<String>,
    /// The number and its uncertainty as printed.
    pub number: Option<String>,
    /// Why there is no answer.
    pub fault: Option<String>,
    /// What was understood and should be said.
    pub told: Vec<String>,
    /// Cautions that change the number.
    pub cautions: Vec<String>,
    /// The filter as claimed.
    pub filter: FilterView,
    /// Marks of the filter's states, in the order in which they appear.
    pub marks: Vec<String>,
    /// What they are, in words.
    pub marks_said: String,
    /// Something was said that the folder's document does not say.
    pub unsaved: bool,
    /// Frames of which something was said.
    pub said: usize,
    /// There is something to take back.
    pub can_undo: bool,
    /// There is something to do again.
    pub can_redo: bool,
    /// The folder that a profile would be written into.
    pub out: String,
    /// Changes where the pictures do.
    pub pictures: String,
}

/// The filter as claimed, with what the program guesses.
#[derive(Debug, Serialize)]
pub struct FilterView {
    /// How it is called.
    pub name: String,
    /// The name was said.
    pub name_said: bool,
    /// Its kind as said.
    pub kind: Option<Kind>,
    /// Its kind as found, with the reason; or that it was said.
    pub kind_guess: String,
    /// What it is rated, as said.
    pub rated: String,
    /// A note.
    pub note: String,
}

/// Frames that stand together.
#[derive(Debug, Serialize)]
pub struct GroupView {
    /// Heading.
    pub title: String,
    /// Frames in capture order.
    pub frames: Vec<FrameView>,
}

/// One frame.
#[derive(Debug, Serialize)]
pub struct FrameView {
    /// Its number in the folder.
    pub id: usize,
    /// Its name.
    pub file: String,
    /// Shutter time, aperture and ISO as printed.
    pub exposure: Vec<String>,
    /// Green light at the centre above black, part of full scale (0 to 1); `None` where unknown.
    pub level: Option<f64>,
    /// The same as printed.
    pub level_text: String,
    /// Something of the centre is clipped.
    pub clipped: bool,
    /// There is a picture.
    pub picture: bool,
    /// What it was taken as: a word for the page's own use.
    pub taken: Option<Said>,
    /// The same in words, with its mark.
    pub taken_text: String,
    /// Why.
    pub reason: String,
    /// What the program by itself takes it for, where something was said.
    pub program: Option<String>,
    /// What was said of it.
    pub said: Option<String>,
    /// What was said is not what the program sees.
    pub differs: bool,
    /// Not used, for a fault.
    pub at_fault: bool,
}

/// The sheet of a shoot.
#[must_use]
pub fn sheet(session: &ShootSession) -> SheetView {
    let outcome = session.outcome();
    let profile = outcome.and_then(|o| o.result.as_deref().ok()).map(plainly::of_filter);
    let profile = profile.as_ref();
    let (can_undo, can_redo) = session.steps();
    let marks: Vec<String> = session.states().into_iter().filter_map(|s| s.mark).collect();
    SheetView {
        folder: session.folder().display().to_string(),
        folder_number: session.number(),
        read: session.progress(),
        groups: groups(session),
        beside: outcome.and_then(|o| shoot_json::beside(&o.shoot, &session.left)),
        answers: profile.map(answers).unwrap_or_default(),
        consequence: profile.and_then(strength::consequence),
        number: profile.and_then(Strength::of).map(|s| s.number),
        fault: outcome.and_then(|o| o.result.as_ref().err().map(|why| plainly::of_frames(why))),
        told: outcome.iter().flat_map(|o| &o.told).map(|t| plainly::of_frames(t)).collect(),
        cautions: profile.map(doubts).unwrap_or_default(),
        filter: filter(session),
        marks_said: marks_said(&marks),
        marks,
        unsaved: session.is_unsaved(),
        said: session.said().map_or(0, |f| f.frames.len()),
        can_undo,
        can_redo,
        out: out_folder(session),
        pictures: shown_by(session),
    }
}

/// Changes where the pictures do.
fn shown_by(session: &ShootSession) -> String {
    session.balance().map_or_else(
        || format!("{}-as-shot", session.number()),
        |b| format!("{}-{:.4}-{:.4}", session.number(), b.red, b.blue),
    )
}

/// The pictures of all frames, where the window gives them.
#[must_use]
pub fn pictures(session: &ShootSession) -> FramePictures {
    let at = |(id, file): (usize, &String)| {
        let (summary, _) = session.picture(id)?;
        let address = format!("/picture/{id}?{}", shown_by(session));
        Some((file.clone(), FramePicture::at(address, small_picture::size(summary, ON_SHEET))))
    };
    session.files().iter().enumerate().filter_map(at).collect()
}

/// Where a profile would be written, as shown.
fn out_folder(session: &ShootSession) -> String {
    let folder = session.arguments().map(|args| measure::out_folder(&args, &session.name()));
    folder.map_or_else(|_| String::new(), |folder| folder.display().to_string())
}

/// The first four questions, as the page of the profile answers them.
#[must_use]
pub fn answers(profile: &Profile) -> Vec<(&'static str, String)> {
    let strong = Strength::of(profile).map(|s| ("How strong", s.sentence));
    strong.into_iter().chain(first::after_the_strength(profile)).collect()
}

fn doubts(profile: &Profile) -> Vec<String> {
    let told = cautions::of_grade(profile, Grade::Number);
    told.into_iter()
        .map(|t| if t.about.is_empty() { t.text } else { format!("{}: {}", t.about, t.text) })
        .collect()
}

fn marks_said(marks: &[String]) -> String {
    match marks.len() {
        1 => "1 state of the filter".to_owned(),
        n => format!("{n} states of the filter, in the order in which they appear"),
    }
}

fn filter(session: &ShootSession) -> FilterView {
    let said = session.said().map(|f| &f.filter);
    let rated = said.map(|f| f.rated.clone()).unwrap_or_default();
    let figures: Vec<String> = rated.iter().map(|s| figures::rating(s.get())).collect();
    FilterView {
        name: session.name(),
        name_said: said.is_some_and(|f| f.name.is_some()),
        kind: said.and_then(|f| f.kind),
        kind_guess: session.outcome().map(|o| kind_guess(o, session.said())).unwrap_or_default(),
        rated: figures.join("-"),
        note: said.and_then(|f| f.note.clone()).unwrap_or_default(),
    }
}

/// What is said is no guess, and needs no reason.
fn kind_guess(outcome: &Outcome, said: Option<&ShootFile>) -> String {
    if said.is_some_and(|document| document.filter.kind.is_some()) {
        return "as you said".to_owned();
    }
    let named = said.is_some_and(said::is_labelled);
    let found = outcome.result.as_deref().map_or(outcome.shoot.kind, |p| p.filter.kind);
    match (found, outcome.shoot.settings.len()) {
        (_, 0) => "not known yet".to_owned(),
        (kind, _) if named => format!("{}, as its frames are named", kind.word()),
        (Kind::Solid, 1) => "solid, since one level was found".to_owned(),
        (Kind::Variable, n) if n > 1 => format!("variable, since {n} levels were found"),
        (kind, _) => kind.word().to_owned(),
    }
}

fn groups(session: &ShootSession) -> Vec<GroupView> {
    let Some(outcome) = session.outcome() else {
        let frames = (0..session.files().len()).map(|id| unjudged(session, id)).collect();
        return vec![GroupView { title: "Being read".to_owned(), frames }];
    };
    let bare = taken::bare_level(&outcome.shoot);
    let runs = taken::runs_shown(&outcome.shoot.frames);
    let mut groups: Vec<(Option<u32>, GroupView)> = Vec::new();
    for (judged, shown) in outcome.shoot.frames.iter().zip(runs) {
        let Some(view) = frame(session, outcome, judged, bare) else { continue };
        match groups.last_mut() {
            Some((run, group)) if *run == shown => group.frames.push(view),
            _ => {
                let title = taken::run_title(&outcome.shoot, shown);
                groups.push((shown, GroupView { title, frames: vec![view] }));
            }
        }
    }
    let mut groups: Vec<GroupView> = groups.into_iter().map(|(_, group)| group).collect();
    let others: Vec<FrameView> = outcome
        .shoot
        .others
        .iter()
        .filter_map(|(file, _, judgement)| other(session, file, judgement))
        .collect();
    if !others.is_empty() {
        groups.push(GroupView { title: taken::BESIDE.to_owned(), frames: others });
    }
    groups
}

/// What a frame was said to be or taken for, in words.
fn words(said: Option<Said>, mark: Option<&str>) -> String {
    taken::words(said.and_then(Said::taken), mark)
}

fn frame(
    session: &ShootSession,
    outcome: &Outcome,
    judged: &Judged,
    bare: Option<f64>,
) -> Option<FrameView> {
    let file = judged.file();
    let id = session.files().iter().position(|f| f == file)?;
    let record = outcome.records.iter().find(|r| r.file == file);
    let said = session.said().and_then(|f| said::of_frame(f, file));
    let opinion = session.opinion(file);
    let program = opinion.map(|o| match o.is_unsorted {
        true => taken::GOOD.to_owned(),
        false => words(o.taken, o.mark.as_deref()),
    });
    let differs = said
        .as_ref()
        .zip(opinion)
        .is_some_and(|((said, _), opinion)| *said != opinion.taken.unwrap_or(Said::Out));
    let level = record.and_then(|r| taken::level(judged, r));
    Some(FrameView {
        id,
        file: file.to_owned(),
        exposure: record.map(taken::exposure).unwrap_or_default(),
        level,
        level_text: level.map_or_else(String::new, taken::level_text),
        clipped: judged.look.clipped.contains(&true),
        picture: true,
        taken: outcome::taken(judged.state, &judged.judgement),
        taken_text: taken::of_frame(&outcome.shoot, judged),
        reason: plainly::of_frames(&taken::reason(judged, bare)),
        program: program.filter(|_| said.is_some()),
        said: said.map(|(said, mark)| words(Some(said), mark.as_deref())),
        differs,
        at_fault: judged.judgement.is_fault(),
    })
}

/// A frame that is being read.
fn unjudged(session: &ShootSession, id: usize) -> FrameView {
    let picture = session.picture(id);
    let info = picture.map(|(summary, _)| &summary.info.exposure);
    let time = info.and_then(|e| e.time).map(sentence_text);
    let aperture = info.and_then(|e| e.f_number).map(|n| format!("f/{}", figures::rating(n.get())));
    let iso = info.and_then(|e| e.iso).map(|iso| format!("ISO {:.0}", iso.get()));
    FrameView {
        id,
        file: session.files()[id].clone(),
        exposure: [time, aperture, iso].into_iter().flatten().collect(),
        level: None,
        level_text: String::new(),
        clipped: false,
        picture: picture.is_some(),
        taken: None,
        taken_text: if picture.is_some() { "read" } else { "being read" }.to_owned(),
        reason: String::new(),
        program: None,
        said: None,
        differs: false,
        at_fault: false,
    }
}

/// A file without a picture.
fn other(session: &ShootSession, file: &str, judgement: &Judgement) -> Option<FrameView> {
    let id = session.files().iter().position(|f| f == file)?;
    Some(FrameView {
        taken_text: Said::Out.words().to_owned(),
        reason: plainly::of_frames(&judgement.verdict().text),
        at_fault: judgement.is_fault(),
        picture: false,
        ..unjudged(session, id)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_state_is_said_as_one() {
        let said = |n: usize| marks_said(&vec!["2".to_owned(); n]);
        assert_eq!(said(1), "1 state of the filter");
        assert_eq!(said(3), "3 states of the filter, in the order in which they appear");
    }
}
