//! What is kept: tables in the repository, files of one case in the temporary folder.

use std::fs;
use std::path::{Path, PathBuf};

/// Copies the files of one case into a folder of the temporary one, to be looked at.
pub fn leave(check: &str, folder: &Path) {
    let kept = std::env::temp_dir().join(format!("lightloss-{check}"));
    drop(fs::remove_dir_all(&kept));
    fs::create_dir_all(&kept).expect("a folder");
    for entry in fs::read_dir(folder).expect("the files of a case").flatten() {
        fs::copy(entry.path(), kept.join(entry.file_name())).expect("room for a file");
    }
    println!("the files: {}", kept.display());
}

/// The repository's folder.
pub fn repository() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
}

/// The place of a report, its folder made.
pub fn report(name: &str) -> PathBuf {
    let path = repository().join("reports").join(name);
    fs::create_dir_all(path.parent().expect("in the reports' folder")).expect("a folder");
    path
}

/// Writes a report anew.
pub fn keep(name: &str, text: &str) {
    fs::write(report(name), text).expect("room for the table");
}
