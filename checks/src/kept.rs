//! Tables that are kept in the repository.

use std::path::{Path, PathBuf};

/// The repository's folder.
pub fn repository() -> &'static Path {
    Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
}

/// The place of a report, its folder made.
pub fn report(name: &str) -> PathBuf {
    let path = repository().join("reports").join(name);
    std::fs::create_dir_all(path.parent().expect("in the reports' folder")).expect("a folder");
    path
}

/// Writes a report anew.
pub fn keep(name: &str, text: &str) {
    std::fs::write(report(name), text).expect("room for the table");
}
