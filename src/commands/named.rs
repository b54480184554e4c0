//! Frames that are named one by one without their folder.

use crate::cli::ShootArgs;
use crate::error::Failure;
use std::path::{Path, PathBuf};

/// The command line with the folder that holds all frames it names, where it gives none.
///
/// # Errors
/// Where it names frames of one side alone, or the place where the program runs cannot be told.
pub fn with_folder(args: &ShootArgs) -> Result<ShootArgs, Failure> {
    if args.bare.is_empty() != args.filtered.is_empty() {
        return Err(Failure::usage(
            "--bare and --filtered go together: name the frames of both".to_owned(),
        ));
    }
    if !args.shoot.as_os_str().is_empty() {
        return Ok(args.clone());
    }
    if args.bare.is_empty() {
        return Err(Failure::usage("SHOOT is empty; give the folder with the frames".to_owned()));
    }
    let mut args = args.clone();
    for path in args.bare.iter_mut().chain(&mut args.filtered) {
        *path = whole(path)?;
    }
    for path in args.from.iter_mut().chain(&mut args.to).filter(|path| path.exists()) {
        *path = whole(path)?;
    }
    for given in &mut args.time {
        let Some((file, time)) = given.rsplit_once('=') else { continue };
        let file = Path::new(file);
        if file.exists()
            && let Some(whole) = whole(file)?.to_str()
        {
            *given = format!("{whole}={time}");
        }
    }
    let named: Vec<&PathBuf> = args.bare.iter().chain(&args.filtered).collect();
    let first = named.first().and_then(|path| path.parent());
    let mut above = first.into_iter().flat_map(Path::ancestors);
    let shared = above.find(|folder| named.iter().all(|path| path.starts_with(folder)));
    args.shoot = shared.map(Path::to_owned).ok_or_else(|| {
        Failure::usage(
            "no folder holds all these frames; give one, or name frames of one disk".to_owned(),
        )
    })?;
    Ok(args)
}

fn whole(path: &Path) -> Result<PathBuf, Failure> {
    let unread = |source| Failure::Unread { path: path.to_owned(), advice: "", source };
    let path = std::path::absolute(path).map_err(unread)?;
    // The folder as it is, without "..", so that the folders above it hold it.
    let folder = path.parent().and_then(|folder| folder.canonicalize().ok());
    Ok(folder.zip(path.file_name()).map(|(folder, name)| folder.join(name)).unwrap_or(path))
}
