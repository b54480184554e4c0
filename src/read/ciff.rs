//! CRW files: a heap of records (CIFF 1.0 revision 4). Their extents are checked and the exposure
//! is taken from the shot information, since they hold no Exif.

use super::error::ReadError;
use super::exif::Meta;
use super::preflight::inside;
use crate::frame::{Camera, Exposure};
use crate::quantity::{FNumber, Iso, Millimetres, Seconds};
use crate::text::one_line;
use crate::tiff::Order::Little;
use std::collections::BTreeMap;

const MAKE_MODEL: u16 = 0x080a;
const FOCAL_LENGTH: u16 = 0x1029;
const SHOT_INFO: u16 = 0x102a;
const CAMERA_SETTINGS: u16 = 0x102d;
const CAPTURE_TIME: u16 = 0x180e;
const RAW_DATA: u16 = 0x2005;
/// Heaps within heaps.
const DEEPEST: u32 = 8;
const MOST_RECORDS: usize = 4096;

/// All records of a file by type.
pub(super) struct Heap<'a> {
    records: BTreeMap<u16, &'a [u8]>,
}

impl<'a> Heap<'a> {
    /// # Errors
    /// `Truncated` or `Damaged` where a heap or a record lies beyond its container: the root's
    /// directory stands at the very end, so a cut file has none.
    pub fn parse(file: &'a [u8]) -> Result<Self, ReadError> {
        let start = Little.u32(file, 2).unwrap_or(0) as usize;
        let mut heap = Self { records: BTreeMap::new() };
        heap.walk(file, start, file.len(), DEEPEST)?;
        if !heap.records.contains_key(&RAW_DATA) {
            return Err(ReadError::damaged("there are no pixels in its directory"));
        }
        Ok(heap)
    }
    fn walk(
        &mut self,
        file: &'a [u8],
        start: usize,
        end: usize,
        depth: u32,
    ) -> Result<(), ReadError> {
        let broken = || ReadError::damaged("its directory is missing; it may be cut short");
        let table = end.checked_sub(4).and_then(|at| Little.u32(file, at)).ok_or_else(broken)?;
        let table = start.checked_add(table as usize).filter(|&t| t < end).ok_or_else(broken)?;
        let count = Little.u16(file, table).ok_or_else(broken)? as usize;
        if table + 2 + 10 * count > end || self.records.len() + count > MOST_RECORDS {
            return Err(broken());
        }
        for at in (0..count).map(|i| table + 2 + 10 * i) {
            let Some(kind) = Little.u16(file, at) else { continue };
            let (from, size) = if kind & 0xc000 == 0x4000 {
                (at + 2, 8)
            } else {
                let number = |place| Little.u32(file, place).unwrap_or(0) as usize;
                (start.saturating_add(number(at + 6)), number(at + 2))
            };
            inside(from as u64, size as u64, file.len() as u64)?;
            if matches!(kind & 0x3800, 0x2800 | 0x3000) && depth > 0 {
                self.walk(file, from, from + size, depth - 1)?;
            } else {
                self.records.insert(kind & 0x3fff, &file[from..from + size]);
            }
        }
        Ok(())
    }
    fn short(&self, record: u16, index: usize) -> Option<u16> {
        Little.u16(self.records.get(&record)?, 2 * index)
    }
    /// Body, exposure, focal length and time of day.
    pub fn meta(&self) -> Meta {
        let names = self.records.get(&MAKE_MODEL).copied().unwrap_or_default();
        let mut names = names.split(|&b| b == 0).map(|n| one_line(&String::from_utf8_lossy(n)));
        let mut name = || names.next().filter(|n| !n.is_empty());
        // Zooms count in fractions of a millimetre and say in which (common practice, no source).
        let units = self.short(CAMERA_SETTINGS, 25).filter(|&v| v > 0).unwrap_or(1);
        let focal = self.short(FOCAL_LENGTH, 1).filter(|&v| v > 0);
        let mut meta = Meta {
            camera: Camera { make: name(), model: name(), ..Camera::default() },
            exposure: self.exposure(),
            ..Meta::default()
        };
        meta.camera.focal_length = focal.map(|v| Millimetres::new(f64::from(v) / f64::from(units)));
        let seconds = self.records.get(&CAPTURE_TIME).and_then(|r| Little.u32(r, 0));
        meta.capture.at = seconds.filter(|&s| s > 0).and_then(|s| {
            let epoch = jiff::civil::date(1970, 1, 1).at(0, 0, 0, 0);
            epoch.checked_add(jiff::SignedDuration::from_secs(i64::from(s))).ok()
        });
        meta
    }
    /// Shot information counts in steps of 1/32 of a stop: ISO at 1 and 2, aperture and time as
    /// taken at 21 and 22 (common practice, no source).
    fn exposure(&self) -> Exposure {
        let stops = |index| {
            let value = self.short(SHOT_INFO, index)?;
            Some(steps(i16::from_ne_bytes(value.to_ne_bytes())))
        };
        let time = stops(22).filter(|&v| v != 0.0).map(|tv| (-tv).exp2());
        let aperture = stops(21).filter(|&v| v > 0.0).map(|av| (av / 2.0).exp2());
        let iso = stops(2).filter(|&v| v > 0.0).zip(stops(1));
        Exposure {
            time: time.map(Seconds::new),
            from_apex: false,
            apex_time: None,
            bulb: false,
            f_number: aperture.map(FNumber::new),
            iso: iso.map(|(base, auto)| Iso::new(100.0 * (base - 5.0 + auto).exp2())),
        }
    }
}

/// 1/32 stop, in which 12 and 20 stand for one and two thirds.
fn steps(value: i16) -> f64 {
    let whole = f64::from(value.div_euclid(32));
    whole
        + match value.rem_euclid(32) {
            12 | 0x0b => 1.0 / 3.0,
            20 | 0x15 => 2.0 / 3.0,
            other => f64::from(other) / 32.0,
        }
}
