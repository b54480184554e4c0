//! Camera records beside the filters: one file per body, and its page. The body's name stands in the
//! record, and the files' name is for the eye alone.
//!
//! ```text
//! KIT/camera-records/kelmora-two-serial-number-k2-00417.json
//! KIT/camera-records/kelmora-two-serial-number-k2-00417.html
//! ```

use super::{KitError, KitFolder, entries, free_name, is_hidden, make_folder, taken};
use crate::body_record::{BodyName, BodyRecord};
use crate::kit::kept::Damaged;
use crate::read::small;
use crate::system::plain;
use crate::text::slug;
use crate::write::write_all;
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

/// Where a record lies now.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KeptBody {
    /// The document.
    pub record: PathBuf,
    /// Its page.
    pub page: PathBuf,
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
        let there = entries(&folder)?.into_iter().flatten().filter_map(Result::ok);
        let paths = there.filter(|entry| !is_hidden(entry)).map(|entry| entry.path());
        let mut files: Vec<PathBuf> =
            paths.filter(|path| path.extension().is_some_and(|e| e == "json")).collect();
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

    /// Keeps a record and its page; with `replace` in the place of an earlier one of the same body.
    ///
    /// # Errors
    /// Where one of the body is there and is not to be replaced, or the kit cannot be written.
    pub fn keep_body(
        &self,
        record: &BodyRecord,
        page: &str,
        replace: bool,
    ) -> Result<KeptBody, KitError> {
        let _claim = self.claimed()?;
        let kept = self.bodies()?;
        let earlier = kept.of(&record.body).map(|(path, _)| path);
        if let Some(path) = earlier.filter(|_| !replace) {
            return Err(KitError::BodyKept { name: record.body.shown(), path: path.clone() });
        }
        let path = match earlier {
            Some(path) => path.clone(),
            None => self.free_place(&record.body)?,
        };
        let kept = KeptBody { page: page_beside(&path), record: path };
        let files =
            [(kept.record.clone(), record.to_text()?), (kept.page.clone(), page.to_owned())];
        write_all(&files, earlier.is_some())?;
        Ok(kept)
    }

    /// A place that neither a record nor a page of another body has.
    fn free_place(&self, body: &BodyName) -> Result<PathBuf, KitError> {
        let folder = self.root.join(RECORDS);
        make_folder(&folder)?;
        let path = |name: &str| folder.join(format!("{name}.json"));
        let free = |name: &str| !taken(&path(name)) && !taken(&page_beside(&path(name)));
        Ok(path(&free_name(&slug(&body.shown()), free)))
    }
}

fn page_beside(record: &Path) -> PathBuf {
    record.with_extension("html")
}

fn read(path: &Path) -> Result<BodyRecord, String> {
    let text = small::text(path, small::TABLE_BYTES).map_err(|error| plain(&error))?;
    BodyRecord::parse(&text).map_err(|error| error.to_string())
}
