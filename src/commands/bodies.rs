//! The camera record of the body that a shoot was made with.

use crate::body_record::{BodyName, BodyRecord};
use crate::commands::console::Console;
use crate::kit_folder::KitFolder;
use crate::measure::About;
use crate::profile::FrameState;
use crate::shoot::Shoot;

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
