//! The Exif directory of a written file (CIPA DC-008, Exif 2.32).

use crate::write::rational::{exposure_time, signed, unsigned};
use crate::write::tiff::{Directory, Value};
use jiff::civil::DateTime;

/// What an Exif directory can say here; `None` leaves the entry out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ExifData {
    /// ExposureTime in seconds; 0 is written as 0/1 (bulb on some bodies).
    pub exposure_time: Option<f64>,
    /// ShutterSpeedValue, APEX: log2(1/t).
    pub shutter_speed_value: Option<f64>,
    /// FNumber; 0 is written as 0/1 (a lens without contacts on some bodies).
    pub f_number: Option<f64>,
    /// PhotographicSensitivity.
    pub iso: Option<u16>,
    /// DateTimeOriginal with SubSecTimeOriginal (three digits, left out where zero).
    pub taken_at: Option<DateTime>,
    /// OffsetTimeOriginal, e.g. "+02:00".
    pub offset: Option<String>,
    /// LensModel.
    pub lens: Option<String>,
    /// FocalLength in millimetres.
    pub focal_length: Option<f64>,
    /// FocalLengthIn35mmFilm in millimetres.
    pub focal_length_35mm: Option<u16>,
    /// BodySerialNumber.
    pub serial: Option<String>,
    /// Further entries; they replace those above.
    pub more: Vec<(u16, Value)>,
}

impl ExifData {
    /// The time as Exif writes it, "YYYY:MM:DD HH:MM:SS".
    #[must_use]
    pub fn date_time(&self) -> Option<String> {
        self.taken_at.map(|t| {
            format!(
                "{:04}:{:02}:{:02} {:02}:{:02}:{:02}",
                t.year(),
                t.month(),
                t.day(),
                t.hour(),
                t.minute(),
                t.second()
            )
        })
    }

    /// The directory.
    #[must_use]
    pub fn directory(&self) -> Directory {
        let mut dir = Directory::default();
        let mut put = |tag: u16, value: Option<Value>| {
            if let Some(value) = value {
                dir.set(tag, value);
            }
        };
        put(0x829A, self.exposure_time.map(|t| Value::Rational(vec![exposure_time(t)])));
        put(0x829D, self.f_number.map(|n| Value::Rational(vec![unsigned(n)])));
        put(0x8827, self.iso.map(|s| Value::Short(vec![s])));
        put(0x9000, Some(Value::Undefined(b"0232".to_vec())));
        put(0x9003, self.date_time().map(Value::Ascii));
        put(0x9011, self.offset.clone().map(Value::Ascii));
        put(0x9201, self.shutter_speed_value.map(|v| Value::SignedRational(vec![signed(v)])));
        put(0x920A, self.focal_length.map(|f| Value::Rational(vec![unsigned(f)])));
        put(0x9291, self.sub_seconds().map(Value::Ascii));
        put(0xA405, self.focal_length_35mm.map(|f| Value::Short(vec![f])));
        put(0xA431, self.serial.clone().map(Value::Ascii));
        put(0xA434, self.lens.clone().map(Value::Ascii));
        self.more.iter().for_each(|(t, v)| put(*t, Some(v.clone())));
        dir
    }

    fn sub_seconds(&self) -> Option<String> {
        let millis = self.taken_at?.subsec_nanosecond() / 1_000_000;
        (millis != 0).then(|| format!("{millis:03}"))
    }
}
