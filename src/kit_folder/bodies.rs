//! Camera records beside the filters: one file per body. The body's name stands in the record, and
//! the file's name is for the eye alone.
//!
//! ```text
//! KIT/camera-records/kelmora-two-serial-number-k2-00417.json
//! ```

use super::{KitError, KitFolder, make_folder};
use crate::body_record::{BodyName, BodyRecord};
use crate::kit::kept::Damaged;
use crate::read::small;
use crate::system::plain;
use crate::text::slug;
use crate::write::write;
use std::path::{Path, PathBuf};

/// Where camera records lie.
pub(super) const RECORDS: &str = "camera-records";

/// The records of a kit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Bodies {
    /// Each with its file.
    pub records: Vec<(PathBuf, BodyRecord)>,
    /// Files that are none.
    pub damaged: Vec<Damaged>,
}

impl Bodies {
    /// The record of a body; of several the one whose frames are newest.
    #[must_use]
    pub fn of(&self, body: &BodyName) -> Option<&(PathBuf, BodyRecord)> {
        let mine = self.records.iter().filter(|(_, record)| record.body == *body);
        mine.max_by(|a, b| a.1.frames.captured_at.cmp(&b.1.frames.captured_at))
    }
}

impl KitFolder {
    /// Reads all camera records; none where the kit holds none.
    ///
    /// # Errors
    /// Where their folder is there and cannot be listed; damaged records are in the result.
    pub fn bodies(&self) -> Result<Bodies, KitError> {
        let folder = self.root.join(RECORDS);
        let entries = match std::fs::read_dir(&folder) {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Ok(Bodies::default());
            }
            other => other.map_err(|source| KitError::Unread { path: folder, source })?,
        };
        let mut files: Vec<PathBuf> = entries.filter_map(Result::ok).map(|e| e.path()).collect();
        // What is being written begins with a dot.
        let hidden = |path: &Path| {
            path.file_name().is_none_or(|name| name.as_encoded_bytes().starts_with(b"."))
        };
        files.retain(|path| path.extension().is_some_and(|e| e == "json") && !hidden(path));
        files.sort();
        let mut bodies = Bodies::default();
        for path in files {
            match read(&path) {
                Ok(record) => bodies.records.push((path, record)),
                Err(reason) => bodies.damaged.push(Damaged { path, reason }),
            }
        }
        Ok(bodies)
    }

    /// Keeps a record; with `replace` in the place of an earlier one of the same body.
    ///
    /// # Errors
    /// Where one of the body is there and is not to be replaced, or the kit cannot be written.
    pub fn keep_body(&self, record: &BodyRecord, replace: bool) -> Result<PathBuf, KitError> {
        let _claim = self.claimed()?;
        let name = record.body.shown();
        let kept = self.bodies()?;
        let text = record.to_text()?;
        if let Some((path, _)) = kept.of(&record.body) {
            if !replace {
                return Err(KitError::BodyKept { name, path: path.clone() });
            }
            write(path, text.as_bytes(), true)?;
            return Ok(path.clone());
        }
        let folder = self.root.join(RECORDS);
        make_folder(&folder)?;
        let slug = slug(&name);
        let names = std::iter::once(slug.clone()).chain((2..).map(|n| format!("{slug}-{n}")));
        let path = |name: String| folder.join(format!("{name}.json"));
        let free = |path: &PathBuf| path.symlink_metadata().is_err();
        let path = names.map(path).find(free).unwrap_or_else(|| folder.join("camera.json"));
        write(&path, text.as_bytes(), false)?;
        Ok(path)
    }
}

fn read(path: &Path) -> Result<BodyRecord, String> {
    let text = small::text(path, small::TABLE_BYTES).map_err(|error| plain(&error))?;
    BodyRecord::parse(&text).map_err(|error| error.to_string())
}
