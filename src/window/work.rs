//! What is written when a person asks for it, where the commands would write it.

use super::answer::{Meant, No, Question};
use super::app::App;
use super::plainly;
use crate::commands::profiles::PROFILE;
use crate::commands::report::PAGE;
use crate::commands::{kit, measure, prints, shoot_json};
use crate::error::Failure;
use crate::kit_folder::{KitError, KitFolder};
use crate::profile::{Profile, json};
use crate::say::figures::sentence;
use crate::shoot_file::FILE_NAME;
use crate::write::{self, WriteError};
use std::path::Path;

/// Writes what was said as the shoot's document; gives its path.
///
/// # Errors
/// Where nothing was said, a document is in the way, or the system refuses.
pub fn save(app: &App, meant: Meant, replace: bool) -> Result<String, No> {
    let mut desk = app.desk();
    let session = desk.meant(meant)?;
    let path = session.folder().join(FILE_NAME);
    let Some(said) = session.said() else {
        return Err(No::Cannot(
            "nothing was said of these frames; there is nothing to save".into(),
        ));
    };
    let text = said.to_text().map_err(No::cannot)?;
    if path.exists() && !replace {
        let args = session.arguments().map_err(No::cannot)?;
        // What cannot be read any more was changed.
        let now = shoot_json::read(&args.shoot).ok().flatten();
        let known = session.on_disk();
        return Err(ask_for(&path, known.map(|known| now.as_ref() == Some(known))));
    }
    write::write(&path, text.as_bytes(), replace).map_err(|e| unwritten(&Failure::from(e)))?;
    session.saved();
    Ok(path.display().to_string())
}

/// Asks for a document; `same` says whether it is as it was read, `None` that it was not there.
pub fn ask_for(path: &Path, same: Option<bool>) -> No {
    let shown = path.display();
    No::Ask(Question::replace(match same {
        Some(true) => format!(
            "{shown} exists; what it says was read when the folder was opened. Write over it?"
        ),
        Some(false) => format!(
            "{shown} was changed by somebody else since it was read; what it says now is not on this \
             page and would be lost. Write over it?"
        ),
        None => format!(
            "{shown} was written by somebody else since the folder was opened. Write over it?"
        ),
    }))
}

/// Writes the profile with its page, as the command would; gives the page's path.
///
/// # Errors
/// Where nothing is measured, a profile is in the way, or the system refuses.
pub fn write_profile(app: &App, meant: Meant, replace: bool) -> Result<String, No> {
    let mut desk = app.desk();
    let session = desk.meant(meant)?;
    let args = session.arguments().map_err(No::cannot)?;
    let read = [session.paths(), session.of_picture()].concat();
    let (profile, shoot) = (measured(session.outcome())?, session.outcome().map(|o| &o.shoot));
    let drawn = prints::of_shoot(shoot.ok_or(No::Missing)?);
    let out = measure::out_folder(&args, &session.name());
    // Others may use the desk while the disk is busy.
    drop(desk);
    let text = json::to_text(&profile).map_err(No::cannot)?;
    let args = crate::cli::MeasureArgs { replace, ..args };
    let written = measure::write_all(&profile, &text, &out, &args, &read, &drawn);
    written.map_err(|failure| match failure {
        Failure::Write(WriteError::Exists { .. }) if out.join(PROFILE).exists() => {
            has_profile(&out)
        }
        other => unwritten(&other),
    })?;
    Ok(out.join(PAGE).display().to_string())
}

/// Asks for the folder as a whole, whichever of its files is the first in the way.
fn has_profile(folder: &Path) -> No {
    let shown = folder.display();
    No::Ask(Question::replace(format!("{shown} holds a profile already. Write over it?")))
}

/// Keeps the profile in the person's kit; gives what was done, in one line.
///
/// # Errors
/// Where nothing is measured, the kit refuses it, or the system does.
pub fn keep(app: &App, meant: Meant, replace: bool) -> Result<String, No> {
    let text = profile_text(app, meant)?;
    let document = json::Document::parse(&text).map_err(No::cannot)?;
    let folder = KitFolder::of_person().map_err(No::cannot)?;
    let said = kit::keep(&folder, &document, replace).map_err(|e| unwritten(&e))?;
    // A name that comes first stays as it is.
    let named = said.starts_with(&document.profile.filter.name);
    let said = plainly::of_frames(&said);
    Ok(if named { said } else { sentence(&said) })
}

/// The text of the profile as it stands.
///
/// # Errors
/// Where nothing is measured.
pub fn profile_text(app: &App, meant: Meant) -> Result<String, No> {
    let profile = measured(app.desk().meant(meant)?.outcome())?;
    json::to_text(&profile).map_err(No::cannot)
}

/// The measured profile.
///
/// # Errors
/// Where there is none, with the reason.
pub fn measured(outcome: Option<&super::outcome::Outcome>) -> Result<Profile, No> {
    let outcome = outcome.ok_or_else(|| No::Cannot("the frames are still being read".into()))?;
    outcome.result.as_deref().cloned().map_err(|fault| No::Cannot(plainly::of_frames(fault)))
}

/// What is in the way is asked for; anything else is said.
pub fn unwritten(failure: &Failure) -> No {
    match failure {
        Failure::Write(WriteError::Exists { path }) => {
            if path.file_name().is_some_and(|n| n == PROFILE || n == PAGE) {
                return has_profile(path.parent().unwrap_or(path));
            }
            let shown = path.display();
            No::Ask(Question::replace(format!("{shown} exists already. Write over it?")))
        }
        Failure::Kit(KitError::SameFrames { path }) => No::Ask(Question::replace(format!(
            "{} was measured from the same frames. Put this measurement in its place?",
            path.display()
        ))),
        other => No::Cannot(plainly::of_kit(&other.to_string())),
    }
}
