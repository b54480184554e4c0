//! What folders within a shoot's folder tell: labels by their names, or shoots of their own.

use super::error::SortError;
use super::frames::Observed;
use super::order::frame_number;
use super::wish::{Label, Wish};
use std::collections::BTreeMap;

/// A count skips so many numbers a frame at most: what was deleted, or left out for a fault (ours).
const MOST_SKIPPED: u64 = 3;
/// Fewer frames of a wall make no shoot.
const LEAST_FRAMES: usize = 2;

/// Labels by file for files named relative to the shoot's folder with `/`; empty where no
/// subfolder is named `bare`, so that the frames are sorted by what they show.
#[must_use]
pub fn labels(files: &[String]) -> BTreeMap<String, Label> {
    let folder = |file: &str| file.rsplit_once('/').map(|(folder, _)| folder.to_owned());
    let is_bare = |name: &str| name.eq_ignore_ascii_case("bare");
    if !files.iter().filter_map(|f| folder(f)).any(|f| is_bare(&f)) {
        return BTreeMap::new();
    }
    let label = |file: &str| match folder(file) {
        None => Label::LeftOut,
        Some(name) if is_bare(&name) => Label::Bare,
        Some(name) if name.eq_ignore_ascii_case("dark") => Label::Dark,
        Some(name) if name.eq_ignore_ascii_case("leak") => Label::Leak,
        Some(name) if name.eq_ignore_ascii_case("bridge") => Label::Bridge,
        Some(name) if name.eq_ignore_ascii_case("filter") => Label::Filtered(None),
        Some(name) => Label::Filtered(Some(name)),
    };
    files.iter().map(|file| (file.clone(), label(file))).collect()
}

/// Whether a folder's name is one that cameras make: three digits and five characters.
#[must_use]
pub fn is_camera_folder(name: &str) -> bool {
    name.len() == 8
        && name.is_ascii()
        && name.bytes().take(3).all(|b| b.is_ascii_digit())
        && name.bytes().skip(3).all(|b| b.is_ascii_alphanumeric() || b == b'_')
}

/// A fault of several shoots with one command for each folder, where every frame lies in a folder
/// of its photographer's own (cameras' folders are one sequence); any other fault as it is.
#[must_use]
pub fn with_commands(
    fault: SortError,
    frames: &[Observed],
    is_good: impl Fn(usize) -> bool,
    wish: &Wish,
) -> SortError {
    let whole = match &fault {
        SortError::SeveralFilters { whole, .. } => whole.clone(),
        _ => return fault,
    };
    let mut folders: BTreeMap<&str, usize> = BTreeMap::new();
    for (i, frame) in frames.iter().enumerate() {
        match frame.file().split_once('/') {
            Some((name, _)) if !is_camera_folder(name) => {
                *folders.entry(name).or_default() += usize::from(is_good(i));
            }
            _ => return fault,
        }
    }
    folders.retain(|_, good| *good >= LEAST_FRAMES);
    if folders.len() < 2 {
        return fault;
    }
    SortError::SeveralFilters {
        reason: format!("its frames lie in {} folders", folders.len()),
        commands: folders.keys().map(|name| wish.in_folder(name)).collect(),
        whole,
    }
}

/// Good frames by folder of their photographer's and by what stands before the number in their
/// names, where the clocks of such groups coincide, as those of copied files do; empty elsewhere.
#[must_use]
pub fn of_one_clock(frames: &[Observed], good: &[usize]) -> Vec<Vec<usize>> {
    let mut groups: BTreeMap<(String, &str), Vec<usize>> = BTreeMap::new();
    for &i in good {
        groups.entry(series(frames[i].file())).or_default().push(i);
    }
    let groups: Vec<Vec<usize>> = groups.into_values().collect();
    // Frames are in order of time: groups that follow each other need no help.
    let span = |g: &[usize]| (g[0], g[g.len() - 1]);
    let coincide = |(a, b): ((usize, usize), (usize, usize))| a.0 < b.1 && b.0 < a.1;
    let mixed = groups.len() > 1
        && groups.windows(2).any(|w| coincide((span(&w[0]), span(&w[1]))))
        && groups.iter().all(|g| g.len() >= LEAST_FRAMES);
    if mixed { groups } else { Vec::new() }
}

/// Folder of its photographer's, and what stands before the number in a file's name.
fn series(file: &str) -> (String, &str) {
    let (folder, name) = file.rsplit_once('/').unwrap_or(("", file));
    let folder = folder.split('/').filter(|f| !is_camera_folder(f)).collect::<Vec<_>>();
    let stem = name.trim_start_matches(|c: char| !c.is_ascii_digit());
    (folder.join("/"), &name[..name.len() - stem.len()])
}

/// Whether one camera counted frames that lie in several folders: one name before the number, and numbers
/// that grow with time and follow each other closely.
#[must_use]
pub fn is_one_count(frames: &[Observed], good: &[usize]) -> bool {
    let mut prefixes = good.iter().map(|&i| series(frames[i].file()).1);
    let first = prefixes.next();
    let numbers: Option<Vec<u64>> = good.iter().map(|&i| frame_number(frames[i].file())).collect();
    let Some(numbers) = numbers.filter(|_| prefixes.all(|prefix| Some(prefix) == first)) else {
        return false;
    };
    let span =
        numbers.last().zip(numbers.first()).map_or(0, |(last, first)| last.saturating_sub(*first));
    numbers.windows(2).all(|w| w[0] < w[1]) && span < MOST_SKIPPED * numbers.len() as u64
}
