//! Exif (CIPA DC-008, version 2.32) through the crate `kamadak-exif`: exposure, time, lens, body.
//!
//! A zero or 0/0 means unknown, never a value.

use crate::exposure::limits::{F_NUMBER, FOCAL_MM, ISO, TIME_S};
use crate::exposure::{DialTime, stops_between};
use crate::frame::{Camera, Capture, Exposure, FocalPlane};
use crate::quantity::{FNumber, Iso, Millimetres, Seconds};
use crate::text::one_line;
use ::exif::{Context, Exif, Field, In, Rational, Reader, SRational, Tag, Value};
use jiff::civil::{Date, DateTime, Time};
use std::io::Cursor;
use std::ops::RangeInclusive;

/// ExposureProgram for bulb. Not in the standard; several makers write it (common practice, no
/// source).
const PROGRAM_BULB: u32 = 9;
/// ShutterSpeedValue and ExposureTime farther apart than this, in stops, do not tell of one
/// exposure: then the former is left out (ours).
const APEX_MISMATCH_STOPS: f64 = 0.5;
/// Tv is rounded to a tenth at the coarsest (ours).
const APEX_ROUNDING_STOPS: f64 = 0.06;

/// FocalPlaneResolutionUnit: inch and centimetre (Exif 2.32, 4.6.5); 4 for the millimetre, which some
/// write, is not in the standard (common practice, no source).
const INCH: f64 = 2.0;
const UNITS: [(f64, f64); 3] = [(INCH, 25.4), (3.0, 10.0), (4.0, 1.0)];

/// What Exif tells of a frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Meta {
    pub camera: Camera,
    pub exposure: Exposure,
    pub capture: Capture,
    pub orientation: Option<u8>,
    /// ImageDescription.
    pub description: Option<String>,
}

/// From a TIFF structure that holds Exif.
pub(super) fn from_tiff(block: Vec<u8>) -> Meta {
    parsed(Reader::new().continue_on_error(true).read_raw(block))
}

/// From a JPEG, PNG or WebP file.
pub(super) fn from_container(file: &[u8]) -> Meta {
    let mut reader = Reader::new();
    parsed(reader.continue_on_error(true).read_from_container(&mut Cursor::new(file)))
}

fn parsed(result: Result<Exif, ::exif::Error>) -> Meta {
    // Partial results are as good as whole ones: what could not be parsed is missing.
    match result.or_else(|error| error.distill_partial_result(|_| ())) {
        Ok(exif) => Source(&exif).meta(),
        Err(_) => Meta::default(),
    }
}

struct Source<'e>(&'e Exif);

impl Source<'_> {
    fn field(&self, tag: Tag) -> Option<&Field> {
        self.0.get_field(tag, In::PRIMARY)
    }
    /// The first number of a field; `None` where it is not finite.
    fn number(&self, tag: Tag) -> Option<f64> {
        let number = match &self.field(tag)?.value {
            Value::Rational(v) => v.first().map(Rational::to_f64),
            Value::SRational(v) => v.first().map(SRational::to_f64),
            Value::Float(v) => v.first().copied().map(f64::from),
            Value::Double(v) => v.first().copied(),
            other => other.get_uint(0).map(f64::from),
        };
        number.filter(|v| v.is_finite())
    }
    fn positive(&self, tag: Tag) -> Option<f64> {
        self.number(tag).filter(|&v| v > 0.0)
    }
    /// A number that a camera or a lens can have; anything else is unknown.
    fn within(&self, tag: Tag, range: &RangeInclusive<f64>) -> Option<f64> {
        self.number(tag).filter(|v| range.contains(v))
    }
    /// One line that shows what it holds: it goes to terminals, tables and pages.
    fn text(&self, tag: Tag) -> Option<String> {
        let Value::Ascii(parts) = &self.field(tag)?.value else { return None };
        let text = one_line(&String::from_utf8_lossy(parts.first()?));
        (!text.is_empty()).then_some(text)
    }
    fn meta(&self) -> Meta {
        Meta {
            camera: self.camera(),
            exposure: self.exposure(),
            capture: self.capture(),
            orientation: self
                .number(Tag::Orientation)
                .filter(|v| (1.0..=8.0).contains(v))
                .map(|v| v as u8),
            description: self.text(Tag::ImageDescription),
        }
    }
    fn camera(&self) -> Camera {
        const CAMERA_SERIAL: Tag = Tag(Context::Tiff, crate::tiff::tag::CAMERA_SERIAL);
        Camera {
            make: self.text(Tag::Make),
            model: self.text(Tag::Model),
            serial: self.text(Tag::BodySerialNumber).or_else(|| self.text(CAMERA_SERIAL)),
            lens: self.text(Tag::LensModel),
            focal_length: self.within(Tag::FocalLength, &FOCAL_MM).map(Millimetres::new),
            focal_length_35mm: self
                .within(Tag::FocalLengthIn35mmFilm, &FOCAL_MM)
                .map(Millimetres::new),
            focal_plane: self.focal_plane(),
        }
    }
    /// FocalPlaneXResolution and its kin; the unit is the inch where none is named.
    fn focal_plane(&self) -> Option<FocalPlane> {
        let unit = self.number(Tag::FocalPlaneResolutionUnit).unwrap_or(INCH);
        let millimetres = UNITS.into_iter().find(|(code, _)| *code == unit)?.1;
        let x = self.positive(Tag::FocalPlaneXResolution)?;
        let y = self.positive(Tag::FocalPlaneYResolution).unwrap_or(x);
        let side = |tag: Tag| self.positive(tag);
        let pixels = side(Tag::PixelXDimension).zip(side(Tag::PixelYDimension));
        Some(FocalPlane {
            per_mm: [x / millimetres, y / millimetres],
            pixels: pixels.map(|(width, height)| [width, height]),
        })
    }
    fn exposure(&self) -> Exposure {
        let time = self.within(Tag::ExposureTime, &TIME_S);
        let apex = self.number(Tag::ShutterSpeedValue).filter(|v| v.abs() < 32.0);
        let apex = apex.and_then(|tv| apex_time(tv, time)).map(Seconds::new);
        let bulb = self.number(Tag::ExposureProgram) == Some(f64::from(PROGRAM_BULB));
        // A time of 0 is what bulb leaves; 0/0 is unknown, as no time is.
        let missing = self.number(Tag::ExposureTime).is_none() && !bulb;
        let instead = apex.filter(|t| missing && TIME_S.contains(&t.get())).map(behind_apex);
        Exposure {
            time: time.map(Seconds::new).or(instead),
            from_apex: instead.is_some(),
            apex_time: apex,
            bulb,
            f_number: self.f_number().map(FNumber::new),
            iso: self.iso().map(Iso::new),
        }
    }
    /// FNumber, else ApertureValue: N = 2^(Av / 2).
    fn f_number(&self) -> Option<f64> {
        let from_apex = || self.positive(Tag::ApertureValue).map(|av| (av / 2.0).exp2());
        self.positive(Tag::FNumber).or_else(from_apex).filter(|n| F_NUMBER.contains(n))
    }
    /// PhotographicSensitivity, which holds 65535 where the value is too large for it: then one of
    /// the longer fields (Exif 2.32, annex G).
    fn iso(&self) -> Option<f64> {
        let longer = || {
            [Tag::RecommendedExposureIndex, Tag::ISOSpeed, Tag::StandardOutputSensitivity]
                .into_iter()
                .find_map(|tag| self.positive(tag))
        };
        let iso = match self.positive(Tag::PhotographicSensitivity) {
            Some(value) if value < 65_535.0 => Some(value),
            other => longer().or(other),
        };
        iso.filter(|iso| ISO.contains(iso))
    }
    fn capture(&self) -> Capture {
        let moment = |time: Tag, fraction: Tag, offset: Tag| {
            let at = date_time(&self.text(time)?, self.text(fraction).as_deref())?;
            Some(Capture { at: Some(at), offset: self.text(offset) })
        };
        moment(Tag::DateTimeOriginal, Tag::SubSecTimeOriginal, Tag::OffsetTimeOriginal)
            .or_else(|| {
                moment(Tag::DateTimeDigitized, Tag::SubSecTimeDigitized, Tag::OffsetTimeDigitized)
            })
            .unwrap_or_default()
    }
}

/// The time behind a ShutterSpeedValue, t = 2^-Tv (Exif 2.32, annex C), where it can be of the
/// exposure at all: close to ExposureTime or, alone, not the 0 that firmware writes for unknown.
fn apex_time(tv: f64, time: Option<f64>) -> Option<f64> {
    let apex = (-tv).exp2();
    let plausible = match time {
        Some(time) => (time / apex).log2().abs() <= APEX_MISMATCH_STOPS,
        None => tv != 0.0,
    };
    plausible.then_some(apex)
}

/// The dial time that an APEX time stands for: as shown, or the power of two behind it, Tv perhaps
/// rounded; the time itself where it is none.
fn behind_apex(apex: Seconds) -> Seconds {
    let stands_for = |dial: &DialTime| {
        let near = |time| stops_between(apex, time).abs().get() < APEX_ROUNDING_STOPS;
        near(dial.shown()) || near(dial.true_time())
    };
    DialTime::nearest(apex).filter(stands_for).map_or(apex, DialTime::shown)
}

/// `2031:05:17 09:08:07` with decimal digits of the second.
fn date_time(text: &str, fraction: Option<&str>) -> Option<DateTime> {
    let mut numbers = text.split([':', ' ', '-', 'T']).map(|part| part.trim().parse::<i16>().ok());
    let mut next = || numbers.next().flatten();
    let small = |v: i16| i8::try_from(v).ok();
    let date = Date::new(next()?, small(next()?)?, small(next()?)?).ok()?;
    let (hour, minute, second) = (small(next()?)?, small(next()?)?, small(next()?)?);
    let digits: String = fraction
        .unwrap_or("")
        .chars()
        .take_while(char::is_ascii_digit)
        .chain("000000000".chars())
        .take(9)
        .collect();
    let time = Time::new(hour, minute, second, digits.parse().ok()?).ok()?;
    Some(DateTime::from_parts(date, time))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_time_of_the_standard_form_is_read_with_its_digits() {
        let at = date_time("2031:05:17 09:08:07", Some("25")).unwrap();
        assert_eq!(at.to_string(), "2031-05-17T09:08:07.25");
        assert_eq!(date_time("0000:00:00 00:00:00", None), None);
        assert_eq!(date_time("", None), None);
        assert_eq!(date_time("    :  :     :  :  ", Some("1")), None);
    }

    #[test]
    fn the_power_of_two_behind_a_dial_time_is_kept_and_junk_is_not() {
        // 1/60 s on the dial is 2^-6 s (Exif 2.32, annex C, table of Tv).
        assert_eq!(apex_time(6.0, Some(1.0 / 60.0)), Some(1.0 / 64.0));
        assert_eq!(apex_time(0.0, Some(1.0 / 60.0)), None);
        assert_eq!(apex_time(0.0, None), None);
        assert_eq!(apex_time(0.0, Some(1.0)), Some(1.0));
    }

    #[test]
    fn a_time_of_apex_alone_is_the_dial_time_behind_it() {
        let shown = |tv: f64| behind_apex(Seconds::new((-tv).exp2())).get();
        // Tv of 1/60, 1/125, 1, 15 and 30 s (Exif 2.32, annex C), of 1/320 and 2.5 s rounded to a
        // tenth, and reckoned from 1/60 as shown.
        for (tv, time) in [
            (6.0, 1.0 / 60.0),
            (7.0, 1.0 / 125.0),
            (0.0, 1.0),
            (-4.0, 15.0),
            (-5.0, 30.0),
            (8.3, 1.0 / 320.0),
            (-1.3, 2.5),
            (60.0_f64.log2(), 1.0 / 60.0),
        ] {
            assert!((shown(tv) - time).abs() < 1e-9, "{tv}: {}", shown(tv));
        }
        // A time that no dial shows stands as it is.
        assert!((shown(-3.6) - 3.6_f64.exp2()).abs() < 1e-12);
    }
}
