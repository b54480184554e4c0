//! The Exif directory of a written file (CIPA DC-008, Exif 2.32).

use crate::tiff::rational::{exposure_time, signed, unsigned};
use crate::tiff::{NewDirectory, Value, tag};
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
    pub fn directory(&self) -> NewDirectory {
        let mut dir = NewDirectory::default();
        let mut put = |tag: u16, value: Option<Value>| {
            if let Some(value) = value {
                dir.set(tag, value);
            }
        };
        put(
            tag::EXPOSURE_TIME,
            self.exposure_time.map(|t| Value::Rational(vec![exposure_time(t)])),
        );
        put(tag::F_NUMBER, self.f_number.map(|n| Value::Rational(vec![unsigned(n)])));
        put(tag::ISO, self.iso.map(|s| Value::Short(vec![s])));
        put(tag::EXIF_VERSION, Some(Value::Undefined(b"0232".to_vec())));
        put(tag::DATE_TIME_ORIGINAL, self.date_time().map(Value::Ascii));
        put(tag::OFFSET_TIME_ORIGINAL, self.offset.clone().map(Value::Ascii));
        put(
            tag::SHUTTER_SPEED_VALUE,
            self.shutter_speed_value.map(|v| Value::SignedRational(vec![signed(v)])),
        );
        put(tag::FOCAL_LENGTH, self.focal_length.map(|f| Value::Rational(vec![unsigned(f)])));
        put(tag::SUB_SEC_TIME_ORIGINAL, self.sub_seconds().map(Value::Ascii));
        put(tag::FOCAL_LENGTH_35MM, self.focal_length_35mm.map(|f| Value::Short(vec![f])));
        put(tag::BODY_SERIAL, self.serial.clone().map(Value::Ascii));
        put(tag::LENS_MODEL, self.lens.clone().map(Value::Ascii));
        self.more.iter().for_each(|(t, v)| put(*t, Some(v.clone())));
        dir
    }

    fn sub_seconds(&self) -> Option<String> {
        let millis = self.taken_at?.subsec_nanosecond() / 1_000_000;
        (millis != 0).then(|| format!("{millis:03}"))
    }
}
