//! `lightloss camera`: frames of a bare wall to a camera record in the kit, and its page.

use crate::cli::{CameraArgs, Format};
use crate::commands::console::Console;
use crate::commands::gather::{below, read};
use crate::error::{Done, Failure};
use crate::kit_folder::KitFolder;
use crate::measure::camera::camera;
use crate::read::ReadOptions;
use crate::report::camera_page::{self, camera_page};

/// Runs the command.
///
/// # Errors
/// Where the folder cannot be read, its frames make no record, or the kit cannot be written.
pub fn run(args: &CameraArgs, console: &mut Console) -> Result<Done, Failure> {
    let folder = &args.shoot;
    let frames = below(folder)?.frames;
    if frames.is_empty() {
        return Err(Failure::Nothing(format!(
            "there are no frames in {:?}; give a folder that holds raw frames of a bare wall \
             (lightloss camera --help tells how to shoot it)",
            folder.display().to_string()
        )));
    }
    let record = camera(read(&frames, folder, ReadOptions::default(), console))?;
    // Shown before it is kept: half an hour's work is told even where an earlier record stays.
    if args.format == Format::Json {
        console.print(&record.to_text().map_err(crate::kit_folder::KitError::from)?)?;
    } else {
        console.print(&camera_page::text(&record))?;
    }
    let page = camera_page(&record)?;
    let kept = KitFolder::of_person()?.keep_body(&record, &page, args.replace)?;
    if args.format == Format::Text {
        console.line(&format!("\n{}", kept.record.display()))?;
        console.line(&kept.page.display().to_string())?;
    }
    let clean = record.frames.left_out.is_empty();
    Ok(if clean { Done::Clean } else { Done::SomeLeftOut })
}
