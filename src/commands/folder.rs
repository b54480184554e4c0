//! What lies below a shoot's folder: the files to look at, and what is left alone and why.

use crate::commands::prints;
use crate::error::Failure;
use crate::read::{Kind, kind_of};
use std::path::{Path, PathBuf};

/// How deep camera folders may lie below the shoot's folder.
const DEEPEST: usize = 3;

/// What is not looked at, by its reason.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct LeftAlone {
    /// Files that are no frames at all: sidecars, films, thumbnails.
    pub no_frames: usize,
    /// Frames further down than camera folders lie.
    pub deep: usize,
    /// Frames in a folder that an earlier measurement wrote.
    pub beside_profile: usize,
    /// Links to folders, which may lead anywhere.
    pub links: usize,
    /// Folders that may not be opened, as a card's system folders.
    pub closed: usize,
}

impl LeftAlone {
    /// Counts with their reasons, one thing and several; those of nothing too.
    #[must_use]
    pub fn counts(&self) -> [(usize, &'static str, &'static str); 5] {
        [
            (self.no_frames, "file that is no frame", "files that are no frames"),
            (
                self.deep,
                "frame more than three folders down (give its folder)",
                "frames more than three folders down (give their folder)",
            ),
            (
                self.beside_profile,
                "frame beside a profile.json (give its folder)",
                "frames beside a profile.json (give their folder)",
            ),
            (self.links, "linked folder, not followed", "linked folders, not followed"),
            (self.closed, "folder that may not be opened", "folders that may not be opened"),
        ]
    }

    fn count(&mut self, path: &Path, reason: Reason) {
        match reason {
            _ if !is_frame(path) => self.no_frames += 1,
            Reason::Deep => self.deep += 1,
            Reason::BesideProfile => self.beside_profile += 1,
        }
    }
}

#[derive(Clone, Copy)]
enum Reason {
    Deep,
    BesideProfile,
}

/// Whether reading it as a frame is worth a try, if only to refuse it by name.
fn is_frame(path: &Path) -> bool {
    matches!(kind_of(path), Kind::Raw | Kind::Picture | Kind::Heif)
}

/// All files below a folder that are to be looked at.
///
/// # Errors
/// Where the folder itself cannot be read; one below it that cannot is counted.
pub fn files(folder: &Path) -> Result<(Vec<PathBuf>, LeftAlone), Failure> {
    if !folder.is_dir() {
        let shown = folder.display().to_string();
        let reason = if folder.exists() { "is not a folder" } else { "does not exist" };
        return Err(Failure::Nothing(format!(
            "{shown:?} {reason}; give the folder that holds the frames"
        )));
    }
    let unread = |source| Failure::Unread {
        path: folder.to_owned(),
        advice: "; give another folder",
        source,
    };
    std::fs::read_dir(folder).map_err(unread)?;
    let (mut found, mut left) = (Vec::new(), LeftAlone::default());
    let mut waiting = vec![(folder.to_owned(), 0, None)];
    while let Some((folder, depth, reason)) = waiting.pop() {
        let Ok(entries) = std::fs::read_dir(&folder) else {
            left.closed += 1;
            continue;
        };
        for path in entries.filter_map(|entry| Some(entry.ok()?.path())) {
            if !path.is_dir() {
                match reason {
                    _ if prints::is_one(&path) => left.no_frames += 1,
                    Some(reason) => left.count(&path, reason),
                    None => found.push(path),
                }
            } else if path.is_symlink() {
                left.links += 1;
            } else {
                let measured = path.join("profile.json").exists();
                let own = if measured { Some(Reason::BesideProfile) } else { None };
                let deep = if depth < DEEPEST { None } else { Some(Reason::Deep) };
                waiting.push((path, depth + 1, reason.or(own).or(deep)));
            }
        }
    }
    Ok((found, left))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn every_file_is_found_or_counted() {
        let home = tempfile::tempdir().unwrap();
        let file = |name: &str| {
            let path = home.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, b"x").unwrap();
        };
        file("DCIM/100ABCDE/P1.dng");
        file("a/b/c/P2.dng");
        file("a/b/c/d/P3.dng");
        file("a/b/c/d/e/P4.dng");
        file("a/b/c/d/e/P4.xmp");
        file("ten-profile/profile.json");
        file("ten-profile/P5.dng");
        // Small pictures of our own, also where a run was killed before it wrote its profile.
        file("ten-profile/plots/frames/0123456789abcdef.png");
        file("six-profile/plots/frames/0123456789abcdef.png");
        #[cfg(unix)]
        std::os::unix::fs::symlink(".", home.path().join("again")).unwrap();
        let (mut found, left) = files(home.path()).unwrap();
        found.sort();
        let names: Vec<_> = found.iter().map(|p| p.file_name().unwrap()).collect();
        assert_eq!(names, ["P1.dng", "P2.dng"]);
        let links = usize::from(cfg!(unix));
        let told = LeftAlone { no_frames: 4, deep: 2, beside_profile: 1, links, closed: 0 };
        assert_eq!(left, told);
    }
}
