//! Frames as DNG files, the way the simulated camera writes them.

use crate::frame::{Frame, Samples};
use crate::simulate::mosaic;
use crate::simulate::session::{Session, Taken};
use crate::write::dng::{Compression, DngError, DngFile, Pattern, Preview};
use crate::write::exif::ExifData;
use crate::write::{self, WriteError};
use rayon::prelude::*;
use std::path::Path;

/// Why a simulated shoot is not on the disk.
#[derive(Debug, thiserror::Error)]
pub enum FilesError {
    /// A frame that a DNG file cannot hold.
    #[error("{file} cannot be made a DNG file: {source}")]
    Dng {
        /// File name.
        file: String,
        /// Reason.
        source: DngError,
    },
    /// A folder that cannot be made.
    #[error("the folder {folder} cannot be made: {source}")]
    Folder {
        /// The folder.
        folder: String,
        /// The system's words.
        source: std::io::Error,
    },
    /// A file that cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
}

/// The file of a frame, uncompressed and little endian; change what should differ and encode it.
#[must_use]
pub fn dng(frame: &Frame) -> DngFile {
    let info = &frame.info;
    let (width, height, data, pattern) = match &frame.samples {
        Samples::Raw(m, cfa) => (m.width, m.height, &m.data, Pattern::Mosaic(cfa.clone())),
        Samples::Rendered(p) => (p.width, p.height, &p.data, Pattern::Linear),
    };
    let whole = frame.active.width == width && frame.active.height == height;
    DngFile {
        active: (!whole).then_some(frame.active),
        masked: frame.masked.clone(),
        black: Some(frame.levels.black.clone()),
        white: Some(u32::from(frame.levels.white)),
        as_shot_neutral: info.as_shot_neutral,
        matrices: info.matrices.clone(),
        orientation: info.orientation,
        make: info.camera.make.clone(),
        model: info.camera.model.clone(),
        unique_model: info.camera.model.clone(),
        exif: Some(exif(frame)),
        ..DngFile::new(width, height, data.to_vec(), pattern)
    }
}

fn exif(frame: &Frame) -> ExifData {
    let info = &frame.info;
    ExifData {
        exposure_time: info.exposure.time.map(|t| t.get()),
        shutter_speed_value: info.exposure.apex_time.map(|t| -t.get().log2()),
        f_number: info.exposure.f_number.map(|n| n.get()),
        iso: info.exposure.iso.map(|s| s.get().round() as u16),
        taken_at: info.capture.at,
        offset: info.capture.offset.clone(),
        lens: info.camera.lens.clone(),
        focal_length: info.camera.focal_length.map(|f| f.get()),
        focal_length_35mm: info.camera.focal_length_35mm.map(|f| f.get().round() as u16),
        serial: info.camera.serial.clone(),
        more: Vec::new(),
    }
}

/// Columns of a preview, at most.
const PREVIEW_WIDTH: usize = 256;

/// A small picture of a mosaic, white-balanced, in sRGB; `None` for a linear picture.
#[must_use]
pub fn preview(frame: &Frame) -> Option<Preview> {
    let Samples::Raw(mosaic, cfa) = &frame.samples else { return None };
    let area = frame.active;
    let side = (area.width.div_ceil(PREVIEW_WIDTH)).next_multiple_of(cfa.side());
    let (width, height) = (area.width / side, area.height / side);
    let neutral = frame.info.as_shot_neutral.unwrap_or([1.0; 3]);
    let mut rgb = Vec::with_capacity(3 * width * height);
    for cell in 0..width * height {
        let (left, top) = (cell % width * side, cell / width * side);
        let mut sums = [(0.0, 0.0); 3];
        for (row, column) in
            (top..top + side).flat_map(|r| (left..left + side).map(move |c| (r, c)))
        {
            let at = (area.top + row) * mosaic.width + area.left + column;
            let light = f64::from(mosaic.data[at]) - frame.levels.black.at(row, column);
            let sum = &mut sums[cfa.plane(row, column).channel()];
            *sum = (sum.0 + light, sum.1 + 1.0);
        }
        let white = f64::from(frame.levels.white);
        rgb.extend(sums.iter().zip(neutral).map(|((s, n), g)| display(s / n / g / white)));
    }
    Some(Preview { width, height, rgb })
}

/// The sRGB encoding (IEC 61966-2-1) in 8 bits.
fn display(light: f64) -> u8 {
    let v = light.clamp(0.0, 1.0);
    let v = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
    (v * 255.0).round() as u8
}

/// Renders all taken frames and writes them under `folder` (names may hold sub-folders); existing
/// files are refused unless `replace`.
///
/// # Errors
/// Where a frame does not fit a file or the system refuses.
pub fn write_all(
    session: &Session,
    taken: &[Taken],
    folder: &Path,
    compression: Compression,
    replace: bool,
) -> Result<(), FilesError> {
    taken.par_iter().try_for_each(|one| {
        let file = DngFile { compression, ..dng(&mosaic::render(session, one)) };
        let bytes = file
            .encode()
            .map_err(|source| FilesError::Dng { file: one.shot.file.clone(), source })?;
        let path = folder.join(&one.shot.file);
        let parent = path.parent().unwrap_or(folder);
        std::fs::create_dir_all(parent).map_err(|source| FilesError::Folder {
            folder: parent.display().to_string(),
            source,
        })?;
        Ok(write::write(&path, &bytes, replace)?)
    })
}
