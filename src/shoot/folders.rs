//! Shoots that lie in folders of their own below the one that was given.

use super::labels::is_camera_folder;
use super::parts::{folder, quoted};
use super::{Judged, SortError, Wish};
use std::collections::BTreeMap;

/// Fewer frames of a wall make no shoot.
const LEAST_FRAMES: usize = 2;

/// A fault of several shoots with one command for each folder, where every frame lies in a folder
/// of its photographer's own (cameras' folders are one sequence); any other fault as it is.
#[must_use]
pub fn instead(fault: SortError, frames: &[Judged], wish: &Wish) -> SortError {
    if !matches!(fault, SortError::SeveralFilters { .. }) {
        return fault;
    }
    let mut folders: BTreeMap<&str, usize> = BTreeMap::new();
    for frame in frames {
        match frame.file().split_once('/') {
            Some((name, _)) if !is_camera_folder(name) => {
                *folders.entry(name).or_default() += usize::from(frame.is_good());
            }
            _ => return fault,
        }
    }
    folders.retain(|_, good| *good >= LEAST_FRAMES);
    if folders.len() < 2 {
        return fault;
    }
    let above = folder(wish);
    let above = above.trim_matches('"').trim_end_matches('/');
    let command = |name: &&str| format!("lightloss measure {}", quoted(&format!("{above}/{name}")));
    SortError::SeveralFilters {
        reason: format!("its frames lie in {} folders", folders.len()),
        commands: folders.keys().map(command).collect(),
    }
}
