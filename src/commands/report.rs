//! `lightloss report`: the page of a profile or of a camera record, written again from that alone.

use crate::body_record::{BodyRecord, json};
use crate::cli::ReportArgs;
use crate::commands::console::Console;
use crate::commands::profiles::{self, Opened};
use crate::commands::{output, prints};
use crate::error::{Done, Failure, ProfilesError};
use crate::kit_folder::KitFolder;
use crate::read::small;
use crate::report;
use crate::report::camera_page::camera_page;
use crate::write::WriteError;
use std::path::{Path, PathBuf};

/// What every page of a camera record has, and hardly anybody else's.
const IS_OURS: &str = ": camera record</title>";
/// Name of the page.
pub const PAGE: &str = "report.html";

/// Runs the command.
///
/// # Errors
/// Where the profile cannot be read, or the page cannot be written.
pub fn run(args: &ReportArgs, console: &mut Console) -> Result<Done, Failure> {
    let Some(path) = &args.profile else { return whole_kit(console) };
    match camera_record(path)? {
        Some(record) => write_camera(path, &record, console)?,
        None => write(&profiles::one(path)?, console)?,
    }
    Ok(Done::Clean)
}

/// Every page of the kit.
fn whole_kit(console: &mut Console) -> Result<Done, Failure> {
    let records = profiles::bodies(&KitFolder::of_person()?, console)?.records;
    match profiles::given_or_kept(&[], console) {
        Ok(paths) => {
            for path in paths {
                write(&profiles::open(&path)?, console)?;
            }
        }
        Err(Failure::Profiles(
            ProfilesError::NoneKept { .. } | ProfilesError::AllRetired { .. },
        )) if !records.is_empty() => {}
        Err(other) => return Err(other),
    }
    for (path, record) in records {
        write_camera(&path, &record, console)?;
    }
    Ok(Done::Clean)
}

/// The camera record in a file; `None` where that is something else, or no file.
fn camera_record(path: &Path) -> Result<Option<BodyRecord>, Failure> {
    if !path.is_file() {
        return Ok(None);
    }
    let Ok(text) = small::text(path, small::TABLE_BYTES) else { return Ok(None) };
    match BodyRecord::parse(&text) {
        Ok(record) => Ok(Some(record)),
        Err(_) if !json::is_camera_record(&text) => Ok(None),
        Err(source) => Err(Failure::CameraRecord { path: path.to_owned(), source }),
    }
}

fn write_camera(path: &Path, record: &BodyRecord, console: &mut Console) -> Result<(), Failure> {
    let page = path.with_extension("html");
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let name = PathBuf::from(page.file_name().unwrap_or_default());
    let ours = |there: String| there.is_empty() || there.contains(IS_OURS);
    if page.exists() && !small::text(&page, small::PROFILE_BYTES).is_ok_and(ours) {
        return Err(Failure::Nothing(format!(
            "{} is there and is no page of a camera record; move it, or copy the record into another \
             folder",
            page.display()
        )));
    }
    let files = [(name, camera_page(record)?)];
    output::write_all(folder, &files, true, &[path]).map_err(in_its_place)?;
    console.line(&page.display().to_string())
}

/// The page has no other place that could be chosen.
fn in_its_place(failure: Failure) -> Failure {
    const ADVICE: &str = "; the page is written beside its profile, so copy that into a folder in which \
                          you may write";
    match failure {
        Failure::NoFolder { path, source, .. } => {
            Failure::NoFolder { path, advice: ADVICE, source }
        }
        Failure::Write(WriteError::Refused { path, reason }) => {
            Failure::Nothing(format!("{} cannot be written: {reason}{ADVICE}", path.display()))
        }
        other => other,
    }
}

fn write(opened: &Opened, console: &mut Console) -> Result<(), Failure> {
    let pictures = prints::beside(opened.folder(), &opened.profile);
    let files = output::page(report::page_with(&opened.profile, pictures)?, PAGE);
    // What this command writes, it wrote before: it is meant to be written over.
    output::write_all(opened.folder(), &files, true, &[&opened.path]).map_err(in_its_place)?;
    console.line(&opened.folder().join(PAGE).display().to_string())
}
