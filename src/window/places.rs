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
    let home = home();
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

/// The person's own folder.
fn home() -> Option<PathBuf> {
    ["HOME", "USERPROFILE"].iter().find_map(|name| {
        std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute() && p.is_dir())
    })
}

/// A path as it was typed or pasted: file managers copy it in quotes or as a file URL (RFC 8089), and
/// shells write the person's own folder as `~`.
fn pasted(text: &str) -> PathBuf {
    let mut text = text.trim();
    for quote in ['"', '\''] {
        let inner = text.strip_prefix(quote).and_then(|rest| rest.strip_suffix(quote));
        text = inner.unwrap_or(text);
    }
    let url = ["file://localhost/", "file:///", "file:/"].iter().find_map(|s| text.strip_prefix(s));
    if let Some(rest) = url {
        let path = format!("/{}", unescaped(rest));
        // A drive stands behind the first slash there.
        let drive = path.as_bytes().get(2) == Some(&b':') && cfg!(windows);
        return PathBuf::from(if drive { path[1..].to_owned() } else { path });
    }
    match (text.strip_prefix('~'), home()) {
        (Some(""), Some(home)) => home,
        (Some(rest), Some(home)) if rest.starts_with('/') => home.join(&rest[1..]),
        _ => PathBuf::from(text),
    }
}

/// Percent-encoded bytes as they are meant (RFC 3986, section 2.1); others as they stand.
fn unescaped(text: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = text.as_bytes();
    while let Some((&first, after)) = rest.split_first() {
        let pair = after.get(..2).filter(|p| first == b'%' && p.iter().all(u8::is_ascii_hexdigit));
        let byte =
            pair.and_then(|pair| u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok());
        bytes.push(byte.unwrap_or(first));
        rest = if byte.is_some() { &after[2..] } else { after };
    }
    String::from_utf8(bytes).unwrap_or_else(|_| text.to_owned())
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

/// What lies in a folder, whose path was typed or pasted; of a frame its folder is meant.
///
/// # Errors
/// In one line, where it cannot be looked into.
pub fn inside(text: &str) -> Result<Inside, String> {
    let path = pasted(text);
    if !path.is_absolute() {
        return Err(format!(
            "{text:?} is no whole path of a folder; give the one that a file manager copies"
        ));
    }
    let shown = path.display().to_string();
    let path = path
        .canonicalize()
        .map_err(|e| format!("{shown} cannot be opened: {}", crate::system::plain(&e)))?;
    let around = path.parent().filter(|_| path.is_file() && is_frame(&path)).map(Path::to_owned);
    let path = around.unwrap_or(path);
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

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 8089, appendices A and B, and RFC 3986, section 2.1; what file managers copy.
    #[test]
    fn pasted_paths_are_what_they_mean() {
        let own = |text: &str| pasted(text).display().to_string();
        for text in [
            "/home/me/Low tide",
            "  /home/me/Low tide\n",
            "\"/home/me/Low tide\"",
            "'/home/me/Low tide'",
            "file:///home/me/Low%20tide",
            "file://localhost/home/me/Low%20tide",
            "file:/home/me/Low%20tide",
        ] {
            assert_eq!(own(text), "/home/me/Low tide", "{text}");
        }
        assert_eq!(own("file:///home/m%C3%A4rz/100%"), "/home/m\u{e4}rz/100%");
        // An escape is none outside of a URL, nor is a quote in the middle of a name.
        assert_eq!(own("/home/me/100%20"), "/home/me/100%20");
        assert_eq!(own("/home/me/the \"Weir\""), "/home/me/the \"Weir\"");
        if let Some(home) = home() {
            assert_eq!(pasted("~/Low tide"), home.join("Low tide"));
            assert_eq!(pasted("~"), home);
        }
    }
}
