//! Where the commit that `--version` shows is read from.
//!
//! Sets `LIGHTLOSS_COMMIT_FILE` to a file that begins with the commit, or is empty outside a git
//! checkout. Where git keeps the branch's commit in a file of its own, that very file is named:
//! `main.rs` includes it, so a new commit rebuilds `main.rs` and not the library. Nothing else of
//! the checkout reaches the program, so the same commit builds the same program anywhere.

#![allow(clippy::print_stdout)]

use std::fs;
use std::path::{Path, PathBuf};

/// Where the commit stands, and which files tell that it may stand elsewhere now.
#[derive(Debug, PartialEq, Eq)]
pub enum Commit {
    /// A file that holds the commit and nothing else.
    Kept(PathBuf),
    /// The commit itself.
    Known(String),
    /// No checkout, and no package that was made from one.
    Unknown,
}

/// The commit of a package folder, and the files to watch.
pub fn commit(package: &Path) -> (Commit, Vec<PathBuf>) {
    in_checkout(package).unwrap_or_else(|| {
        // A published package says where it came from.
        let note = package.join(".cargo_vcs_info.json");
        let known = fs::read_to_string(&note).ok().and_then(|text| {
            let (_, rest) = text.split_once("\"sha1\"")?;
            let hash = rest.split('"').nth(1)?;
            is_hash(hash).then(|| hash.to_owned())
        });
        (known.map_or(Commit::Unknown, Commit::Known), Vec::new())
    })
}

fn in_checkout(package: &Path) -> Option<(Commit, Vec<PathBuf>)> {
    let dot_git = package.join(".git");
    let folder = if dot_git.is_dir() {
        dot_git
    } else {
        // A second worktree, or a submodule.
        package.join(fs::read_to_string(dot_git).ok()?.strip_prefix("gitdir:")?.trim())
    };
    let head = folder.join("HEAD");
    let text = fs::read_to_string(&head).ok()?;
    let mut watched = vec![head];
    let Some(branch) = text.strip_prefix("ref:") else {
        let hash = text.trim();
        return is_hash(hash).then(|| (Commit::Known(hash.to_owned()), watched));
    };
    let branch = branch.trim();
    let common = fs::read_to_string(folder.join("commondir"))
        .map_or_else(|_| folder.clone(), |path| folder.join(path.trim()));
    let (loose, packed) = (common.join(branch), common.join("packed-refs"));
    let pack = fs::read_to_string(&packed).ok();
    if pack.is_some() {
        watched.push(packed);
    }
    let hash = fs::read_to_string(&loose).ok().filter(|hash| is_hash(hash.trim()));
    match (hash, pack) {
        // Git removes the file only when it writes the pack, which is watched.
        (Some(_), Some(_)) => Some((Commit::Kept(loose), watched)),
        (Some(hash), None) => {
            watched.push(loose);
            Some((Commit::Known(hash.trim().to_owned()), watched))
        }
        (None, Some(pack)) => {
            let hash =
                pack.lines().find_map(|line| line.strip_suffix(branch)?.strip_suffix(' '))?;
            // The next commit makes the file, in the nearest folder that is there.
            watched.extend(loose.ancestors().skip(1).find(|f| f.is_dir()).map(Path::to_owned));
            is_hash(hash).then(|| (Commit::Known(hash.to_owned()), watched))
        }
        (None, None) => None,
    }
}

fn is_hash(text: &str) -> bool {
    text.len() >= 40 && text.bytes().all(|b| b.is_ascii_hexdigit())
}

#[allow(dead_code)]
fn main() {
    let folder = |name| PathBuf::from(std::env::var_os(name).unwrap_or_default());
    let (commit, watched) = commit(&folder("CARGO_MANIFEST_DIR"));
    let own = folder("OUT_DIR").join("commit");
    let file = match commit {
        Commit::Kept(file) => file,
        other => {
            let text = if let Commit::Known(hash) = other { hash } else { String::new() };
            if let Err(error) = fs::write(&own, text) {
                println!("cargo::error={} cannot be written: {error}", own.display());
            }
            own
        }
    };
    println!("cargo::rustc-env=LIGHTLOSS_COMMIT_FILE={}", file.display());
    for path in watched.into_iter().chain([PathBuf::from("build.rs")]) {
        println!("cargo::rerun-if-changed={}", path.display());
    }
}
