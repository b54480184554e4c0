//! Linear light to a 16-bit TIFF picture.

use crate::frame::LinearRgb;
use crate::tiff::{self, Chunks, NewDirectory, Order, TooLarge, Value, tag};
use palette::encoding::{FromLinear, Srgb};
use rayon::prelude::*;

/// A picture and what goes with it.
#[derive(Clone, Debug, PartialEq)]
pub struct PictureFile {
    /// Linear light, 65535 white.
    pub light: LinearRgb,
    /// Exif orientation.
    pub orientation: u8,
    /// Colour profile that the encoding belongs to; sRGB where `None`.
    pub icc: Option<Vec<u8>>,
    /// XMP packet.
    pub xmp: Option<Vec<u8>>,
    /// Program.
    pub software: String,
    /// Further entries of the first directory.
    pub more: Vec<(u16, Value)>,
    /// Exif entries.
    pub exif: Vec<(u16, Value)>,
    /// GPS entries.
    pub gps: Vec<(u16, Value)>,
}

impl PictureFile {
    /// The whole file as bytes, encoded for display.
    ///
    /// # Errors
    /// Where it is larger than TIFF allows.
    pub fn encode(&self) -> Result<Vec<u8>, TooLarge> {
        let mut root = NewDirectory::default();
        self.more.iter().for_each(|(tag, value)| root.set(*tag, value.clone()));
        let long = |v: usize| Value::Long(vec![u32::try_from(v).unwrap_or(u32::MAX)]);
        root.set(tag::IMAGE_WIDTH, long(self.light.width));
        root.set(tag::IMAGE_LENGTH, long(self.light.height));
        root.set(tag::BITS_PER_SAMPLE, Value::Short(vec![16; 3]));
        root.set(tag::COMPRESSION, Value::Short(vec![1]));
        root.set(tag::PHOTOMETRIC, Value::Short(vec![2]));
        root.set(tag::ORIENTATION, Value::Short(vec![u16::from(self.orientation)]));
        root.set(tag::SAMPLES_PER_PIXEL, Value::Short(vec![3]));
        root.set(tag::ROWS_PER_STRIP, long(self.light.height));
        // TIFF 6.0 asks every RGB picture for a resolution; 300 to the inch means nothing here.
        root.set(tag::X_RESOLUTION, Value::Rational(vec![(300, 1)]));
        root.set(tag::Y_RESOLUTION, Value::Rational(vec![(300, 1)]));
        root.set(tag::RESOLUTION_UNIT, Value::Short(vec![2]));
        root.set(tag::PLANAR, Value::Short(vec![1]));
        root.set(tag::SOFTWARE, Value::Ascii(self.software.clone()));
        if let Some(xmp) = &self.xmp {
            root.set(tag::XMP, Value::Byte(xmp.clone()));
        }
        if let Some(icc) = &self.icc {
            root.set(tag::ICC_PROFILE, Value::Undefined(icc.clone()));
        }
        for (pointer, entries) in [(34665, &self.exif), (34853, &self.gps)] {
            if !entries.is_empty() {
                let mut child = NewDirectory::default();
                entries.iter().for_each(|(tag, value)| child.set(*tag, value.clone()));
                root.hang(pointer, child);
            }
        }
        root.set_chunks(Chunks { tiled: false, data: vec![self.samples()] });
        tiff::encode(&root, Order::Little)
    }

    fn samples(&self) -> Vec<u8> {
        let table: Vec<[u8; 2]> = (0..=u16::MAX)
            .into_par_iter()
            .map(|v| {
                let shown: f64 = Srgb::from_linear(f64::from(v) / 65_535.0);
                ((shown * 65_535.0).round() as u16).to_le_bytes()
            })
            .collect();
        self.light.data.par_iter().flat_map_iter(|&v| table[usize::from(v)]).collect()
    }
}
