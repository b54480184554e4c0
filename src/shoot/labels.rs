//! Labels from folder names: taken at their word only where one subfolder is named `bare`.

use super::Label;
use std::collections::BTreeMap;

/// Labels by file for files named relative to the shoot's folder with `/`; empty where no
/// subfolder is named `bare`, so that the frames are sorted by what they show.
#[must_use]
pub fn from_folders(files: &[String]) -> BTreeMap<String, Label> {
    let folder = |file: &str| file.rsplit_once('/').map(|(folder, _)| folder.to_owned());
    let is_bare = |name: &str| name.eq_ignore_ascii_case("bare");
    if !files.iter().filter_map(|f| folder(f)).any(|f| is_bare(&f)) {
        return BTreeMap::new();
    }
    files
        .iter()
        .map(|file| {
            let label = match folder(file) {
                None => Label::LeftOut,
                Some(name) if is_bare(&name) => Label::Bare,
                Some(name) if name.eq_ignore_ascii_case("dark") => Label::Dark,
                Some(name) if name.eq_ignore_ascii_case("leak") => Label::Leak,
                Some(name) if name.eq_ignore_ascii_case("filter") => Label::Filtered(None),
                Some(name) => Label::Filtered(Some(name)),
            };
            (file.clone(), label)
        })
        .collect()
}

/// Whether a folder's name is one that cameras make: three digits and five characters.
#[must_use]
pub fn is_camera_folder(name: &str) -> bool {
    name.len() == 8
        && name.is_ascii()
        && name.bytes().take(3).all(|b| b.is_ascii_digit())
        && name.bytes().skip(3).all(|b| b.is_ascii_alphanumeric() || b == b'_')
}
