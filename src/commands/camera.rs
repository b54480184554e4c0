//! `lightloss camera`: frames of a bare wall to a camera record in the kit, and its page; and the record of
//! the body that a shoot was made with.

use crate::body_record::{BodyName, BodyRecord};
use crate::cli::{CameraArgs, Format};
use crate::commands::console::Console;
use crate::commands::gather::{below, read};
use crate::error::{Done, Failure};
use crate::kit_folder::KitFolder;
use crate::measure::About;
use crate::measure::camera::camera;
use crate::profile::FrameState;
use crate::read::ReadOptions;
use crate::report::camera_page::{self, camera_page};
use crate::shoot::Shoot;

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

/// With the camera record of the shoot's body, unless that is not wanted; and what is to be said of
/// records that cannot be read.
#[must_use]
pub fn with_record(not_wanted: bool, about: &About, shoot: &Shoot) -> (About, Vec<String>) {
    let (camera_record, said) = if not_wanted { (None, Vec::new()) } else { of_shoot(shoot) };
    (About { camera_record, ..about.clone() }, said)
}

/// The same, said on a console.
#[must_use]
pub fn with_record_told(
    not_wanted: bool,
    about: &About,
    shoot: &Shoot,
    console: &mut Console,
) -> About {
    let (about, said) = with_record(not_wanted, about, shoot);
    said.iter().for_each(|line| console.warn(line));
    about
}

fn of_shoot(shoot: &Shoot) -> (Option<BodyRecord>, Vec<String>) {
    // A kit without a place, or one that cannot be listed, holds no record; whoever keeps a profile
    // there is told why.
    let Some(kept) = KitFolder::of_person().ok().and_then(|kit| kit.bodies().ok()) else {
        return (None, Vec::new());
    };
    let said = kept.damaged.iter().map(|damaged| {
        format!("{}: {}; measured without it", damaged.path.display(), damaged.reason)
    });
    let record = body(shoot).and_then(|body| kept.of(&body)).map(|(_, record)| record.clone());
    (record, said.collect())
}

/// The body of the frames that are measured.
fn body(shoot: &Shoot) -> Option<BodyName> {
    let measured = |state| matches!(state, FrameState::Bare | FrameState::Setting);
    let first = shoot.frames.iter().find(|f| f.is_good() && measured(f.state))?;
    let c = &first.summary.info.camera;
    let name = BodyName { make: c.make.clone(), model: c.model.clone(), serial: c.serial.clone() };
    name.is_named().then_some(name)
}
