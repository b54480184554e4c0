//! What commands write: folders are made and claimed, nothing that is there is overwritten unasked.

use crate::error::Failure;
use crate::report::ReportFiles;
use crate::write::claim::{Claim, claim};
use crate::write::{self, WriteError};
use std::path::{Path, PathBuf};

/// What to do where a folder cannot be made.
const OTHER_FOLDER: &str = "; choose another with --out";

/// A file to be written: its place below a folder and its content.
pub type NewFile = (PathBuf, String);

/// Writes files into a folder in their order, all or none where one is there already and is not to
/// be replaced, or is one of the files that this run reads.
///
/// # Errors
/// Where a folder cannot be made, another run writes into it, or a file is in the way.
pub fn write_all<P: AsRef<Path>, C: AsRef<[u8]>>(
    folder: &Path,
    files: &[(PathBuf, C)],
    replace: bool,
    inputs: &[P],
) -> Result<(), Failure> {
    let paths: Vec<PathBuf> = files.iter().map(|(name, _)| folder.join(name)).collect();
    make_folder(folder)?;
    let _claim = claim(folder)?;
    refuse_existing(&paths, replace)?;
    refuse_inputs(&paths, inputs)?;
    for path in &paths {
        path.parent().map_or(Ok(()), make_folder)?;
    }
    let files: Vec<(PathBuf, &[u8])> =
        paths.into_iter().zip(files).map(|(path, (_, content))| (path, content.as_ref())).collect();
    Ok(write::write_all(&files, replace)?)
}

/// Refuses files that are there already, unless they are to be replaced, and folders in their place.
///
/// # Errors
/// The first of them.
pub fn refuse_existing<P: AsRef<Path>>(paths: &[P], replace: bool) -> Result<(), WriteError> {
    let paths = || paths.iter().map(AsRef::as_ref);
    if let Some(path) = paths().find(|path| path.is_dir()) {
        return Err(WriteError::Folder { path: path.to_owned() });
    }
    let taken = paths().find(|path| !replace && path.exists());
    taken.map_or(Ok(()), |path| Err(WriteError::Exists { path: path.to_owned() }))
}

/// Refuses a file whose folder takes none, before the work that it is to hold.
///
/// # Errors
/// Where the folder is not there, or the system refuses.
pub fn refuse_closed(path: &Path) -> Result<(), Failure> {
    write::try_place(path).map_err(|error| match error {
        WriteError::Refused { .. } => Failure::Nothing(format!("{error} with --out")),
        other => other.into(),
    })
}

/// Refuses to write over what is read, in whatever spelling and through whatever link; asking to
/// replace what is there does not ask for that.
///
/// # Errors
/// The first file that is both.
pub fn refuse_inputs<O: AsRef<Path>, I: AsRef<Path>>(
    outputs: &[O],
    inputs: &[I],
) -> Result<(), Failure> {
    for output in outputs.iter().map(AsRef::as_ref) {
        let Some(own) = identity(output) else { continue };
        let same = inputs.iter().map(AsRef::as_ref).find(|i| identity(i).as_ref() == Some(&own));
        if let Some(input) = same {
            return Err(Failure::usage(format!(
                "{} would be written over {}, which this run reads; choose another place",
                output.display(),
                input.display()
            )));
        }
    }
    Ok(())
}

/// What stays the same however a file is named; `None` where there is none.
#[cfg(unix)]
fn identity(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt;
    let about = std::fs::metadata(path).ok().filter(|about| !about.is_dir())?;
    Some((about.dev(), about.ino()))
}

/// The same, but for hard links, where a file has no number that can be asked for.
#[cfg(not(unix))]
fn identity(path: &Path) -> Option<PathBuf> {
    path.canonicalize().ok()
}

/// Makes the folders of files that are written one by one, and claims them for this run.
///
/// # Errors
/// Where one cannot be made, or another run writes into it.
pub fn claim_folders(files: &[&Path]) -> Result<Vec<Claim>, Failure> {
    let mut folders: Vec<&Path> = files.iter().filter_map(|file| file.parent()).collect();
    folders.sort_unstable();
    folders.dedup();
    for folder in folders.iter().filter(|folder| !folder.as_os_str().is_empty()) {
        make_folder(folder)?;
    }
    folders.into_iter().map(|folder| Ok(claim(folder)?)).collect()
}

/// A page under its name, its plots in a folder of their own beside it, the plots first.
#[must_use]
pub fn page(files: ReportFiles, name: &str) -> Vec<NewFile> {
    let plots = files.plots.into_iter().map(|(plot, svg)| (Path::new("plots").join(plot), svg));
    plots.chain([(PathBuf::from(name), files.html)]).collect()
}

/// The folder that what is told of a shoot is written into: the one that its folder lies in, never
/// one on a camera card.
#[must_use]
pub fn beside(shoot: &Path) -> PathBuf {
    let shoot = shoot.canonicalize().unwrap_or_else(|_| shoot.to_owned());
    let on_card = shoot.components().any(|c| {
        let part = c.as_os_str().to_string_lossy();
        part.eq_ignore_ascii_case("dcim") || crate::shoot::folders::is_camera_folder(&part)
    });
    let above = shoot.parent().filter(|_| !on_card);
    above.map_or_else(|| PathBuf::from("."), Path::to_path_buf)
}

fn make_folder(folder: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|source| Failure::NoFolder {
        path: folder.to_owned(),
        advice: OTHER_FOLDER,
        source,
    })
}
