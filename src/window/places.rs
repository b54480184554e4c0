//! Folders to choose from: their names, and how many frames lie in them. Nothing else is read.

use crate::read::{Kind, kind_of};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Folders and frames that are listed of one folder, at most.
const MOST_NAMES: usize = 500;
/// Files that are looked at in one folder, at most.
const MOST_FILES: usize = 20_000;

/// A folder to choose.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Place {
    /// What it is called.
    pub name: String,
    /// Where it is.
    pub path: String,
}

/// What lies in a folder.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Inside {
    /// The folder.
    pub path: String,
    /// The folder around it.
    pub above: Option<String>,
    /// Folders in it, by name.
    pub folders: Vec<Place>,
    /// Frames in it, by name.
    pub frames: Vec<String>,
    /// Folders and frames that are not listed.
    pub more: usize,
}

/// Where to begin: folders that are open in a room of the window, by its name; cards that are mounted,
/// the pictures, the person's own folder.
#[must_use]
pub fn beginnings(open: Vec<(String, PathBuf)>) -> Vec<Place> {
    let home = ["HOME", "USERPROFILE"].iter().find_map(|name| {
        std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute() && p.is_dir())
    });
    let pictures = home.as_ref().map(|home| home.join("Pictures")).filter(|p| p.is_dir());
    let here = std::env::current_dir().ok();
    let named = [("Pictures", pictures), ("Your folder", home), ("Where it was started", here)];
    let named = named.into_iter().filter_map(|(name, path)| Some((name.to_owned(), path?)));
    let mut places: Vec<Place> = Vec::new();
    for (name, path) in open.into_iter().chain(cards()).chain(named) {
        let Some(path) = path.to_str().map(str::to_owned) else { continue };
        if !places.iter().any(|place| place.path == path) {
            places.push(Place { name, path });
        }
    }
    places
}

/// Volumes that hold a camera's folder (DCF: DCIM at the root of a card).
fn cards() -> Vec<(String, PathBuf)> {
    let roots = ["/media", "/run/media", "/mnt", "/Volumes"].map(PathBuf::from);
    let below = |folder: &PathBuf| -> Vec<PathBuf> {
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        entries.map(|e| e.path()).filter(|p| p.is_dir()).take(MOST_NAMES).collect()
    };
    let first: Vec<PathBuf> = roots.iter().flat_map(below).collect();
    let second: Vec<PathBuf> = first.iter().flat_map(below).collect();
    first
        .into_iter()
        .chain(second)
        .filter(|volume| volume.join("DCIM").is_dir())
        .map(|volume| (format!("Card {}", name_of(&volume)), volume.join("DCIM")))
        .collect()
}

/// What lies in a folder.
///
/// # Errors
/// In one line, where it cannot be looked into.
pub fn inside(path: &Path) -> Result<Inside, String> {
    if !path.is_absolute() {
        return Err("give the whole path of a folder".to_owned());
    }
    let shown = path.display().to_string();
    let path = path
        .canonicalize()
        .map_err(|e| format!("{shown} cannot be opened: {}", crate::system::plain(&e)))?;
    let entries = std::fs::read_dir(&path)
        .map_err(|e| format!("{shown} cannot be opened: {}", crate::system::plain(&e)))?;
    let (mut folders, mut frames, mut more) = (Vec::new(), Vec::new(), 0);
    for entry in entries.flatten().take(MOST_FILES) {
        let found = entry.path();
        let name = name_of(&found);
        if name.starts_with('.') {
            continue;
        }
        if found.is_dir() {
            match found.to_str() {
                Some(path) => folders.push(Place { name, path: path.to_owned() }),
                None => more += 1,
            }
        } else if is_frame(&found) {
            frames.push(name);
        }
    }
    folders.sort_by(|a, b| a.name.cmp(&b.name));
    frames.sort();
    more += folders.len().saturating_sub(MOST_NAMES) + frames.len().saturating_sub(MOST_NAMES);
    folders.truncate(MOST_NAMES);
    frames.truncate(MOST_NAMES);
    let above = path.parent().and_then(Path::to_str).map(str::to_owned);
    Ok(Inside { path: path.display().to_string(), above, folders, frames, more })
}

/// By its name alone where that tells.
fn is_frame(path: &Path) -> bool {
    path.extension().is_some() && matches!(kind_of(path), Kind::Raw | Kind::Picture | Kind::Heif)
}

fn name_of(path: &Path) -> String {
    let name = path.file_name().unwrap_or(path.as_os_str());
    crate::read::pool::path_text(Path::new(name))
}
