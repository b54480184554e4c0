//! Reading: real raw files against LibRaw 0.22's integer sums, small files made byte by byte, and
//! every way in which a file may be no frame.
//!
//! The real files stand outside the repository; without `LIGHTLOSS_RAW_SAMPLES` the tests that
//! need them say that they are skipped.

#![allow(clippy::print_stderr)]

use lightloss::frame::cfa::Plane;
use lightloss::frame::{Frame, Origin, Samples};
use lightloss::read::pool::{Reader, Worker, summaries};
use lightloss::read::{ReadError, ReadOptions, frame_of, read_frame};
use lightloss_test_files::raw_seeds;
use lightloss_test_files::small_dng::{SmallDng, SmallTiff, Value, packed};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value as Json;
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::sync::Arc;

const PROGRAM: &str = env!("CARGO_BIN_EXE_lightloss");

fn samples() -> Option<(PathBuf, Vec<Json>)> {
    let Some(folder) = std::env::var_os("LIGHTLOSS_RAW_SAMPLES").map(PathBuf::from) else {
        eprintln!("SKIPPED: LIGHTLOSS_RAW_SAMPLES is not set, no real raw files to read");
        return None;
    };
    let manifest = std::fs::read_to_string(folder.join("manifest.json")).expect("a manifest");
    Some((folder, serde_json::from_str(&manifest).expect("the manifest is JSON")))
}

fn read(bytes: Vec<u8>) -> Result<Frame, ReadError> {
    frame_of(Arc::new(bytes), "frame", ReadOptions::default())
}

fn mosaic_at(frame: &Frame, row: usize, column: usize) -> u16 {
    let Samples::Raw(mosaic, _) = &frame.samples else { panic!("not a mosaic") };
    mosaic.data[row * mosaic.width + column]
}

/// Sums and counts over LibRaw's active area, from the whole decoded frame.
fn sums(frame: &Frame, area: [usize; 4]) -> [(u64, u64); 4] {
    let Samples::Raw(mosaic, cfa) = &frame.samples else { panic!("not a mosaic") };
    let [left, top, width, height] = area;
    let mut out = [(0, 0); 4];
    for row in top..top + height {
        for column in left..left + width {
            // The pattern counts from our own active area, which may begin after LibRaw's.
            let down = row + 6 * mosaic.height - frame.active.top;
            let across = column + 6 * mosaic.width - frame.active.left;
            let place = match cfa.plane(down, across) {
                Plane::Red => 0,
                Plane::Green1 => 1,
                Plane::Blue => 2,
                Plane::Green2 => 3,
            };
            out[place].0 += u64::from(mosaic.data[row * mosaic.width + column]);
            out[place].1 += 1;
        }
    }
    out
}

fn numbers(record: &Json) -> [usize; 4] {
    std::array::from_fn(|i| record[i].as_u64().expect("a number") as usize)
}

/// LibRaw's sums and counts in the order red, green in red rows, blue, green in blue rows ("G2").
fn expected(record: &Json) -> [(u64, u64); 4] {
    ["R", "G", "B", "G2"].map(|name| {
        let number = |what: &str| record[what][name].as_u64().expect("an integer");
        (number("sum"), number("count"))
    })
}

/// What becomes of each real file, by name. Everything that is read must have LibRaw's sums.
fn refusal_expected(name: &str) -> Option<fn(&ReadError) -> bool> {
    match name {
        // Lossy compressions of 1996: two decoders round differently (0.2 to 0.4 counts a pixel),
        // so there is no exact result to hold, and the files are refused by name.
        "DC0009L.KDC" | "P003911.KDC" => Some(|e| matches!(e, ReadError::Unsupported { .. })),
        // Headers and Exif, no pixels.
        "sample.arw" | "sample.cr2" | "sample.dng" | "sample.nef" | "sample.pef" => {
            Some(|e| matches!(e, ReadError::Truncated { expected, found } if expected > found))
        }
        _ => None,
    }
}

/// LibRaw's active area, but where ours differs for a reason.
fn active_expected(name: &str, libraw: [usize; 4]) -> [usize; 4] {
    match name {
        // The camera table leaves out the last 12 columns and rows, beyond the 2000 x 1312 pixels
        // that this camera records in its own pictures; LibRaw counts them in. The sums above are
        // over LibRaw's area all the same.
        "RAW_NIKON_D1.NEF" => [0, 0, 2000, 1312],
        _ => libraw,
    }
}

#[test]
fn every_real_file_is_read_with_exact_sums_or_refused_by_name() {
    let Some((folder, manifest)) = samples() else { return };
    assert!(!manifest.is_empty());
    for record in &manifest {
        let name = record["file"].as_str().expect("a name");
        let result = read_frame(&folder.join(name), name, ReadOptions::default());
        match (result, refusal_expected(name)) {
            (Ok(frame), None) => {
                let libraw = &record["libraw"];
                assert_eq!(sums(&frame, numbers(&libraw["active"])), expected(libraw), "{name}");
                // White and black level are LibRaw's for every file that is read here.
                let a = frame.active;
                let area = [a.left, a.top, a.width, a.height];
                assert_eq!(area, active_expected(name, numbers(&libraw["active"])), "{name}");
                assert_eq!(Some(u64::from(frame.levels.white)), libraw["white"].as_u64(), "{name}");
                let black = numbers(&libraw["black"])[0] as f64;
                assert_eq!(frame.levels.black.at(0, 0), black, "{name}");
                assert_eq!(Some(frame.info.sha256.as_str()), record["sha256"].as_str(), "{name}");
                eprintln!("{name}: read, sums equal LibRaw's");
            }
            (Err(error), Some(is_expected)) => {
                assert!(is_expected(&error), "{name}: {error}");
                eprintln!("{name}: refused: {error}");
            }
            (Ok(_), Some(_)) => panic!("{name} was read"),
            (Err(error), None) => panic!("{name}: {error}"),
        }
    }
}

#[test]
fn no_real_file_is_read_from_its_first_part() {
    let Some((folder, manifest)) = samples() else { return };
    for record in &manifest {
        let name = record["file"].as_str().expect("a name");
        let whole = std::fs::read(folder.join(name)).expect("a readable file");
        for percent in [10, 50, 90, 99] {
            let part = whole[..whole.len() * percent / 100].to_vec();
            let result = read(part);
            assert!(result.is_err(), "{percent} % of {name} was read");
        }
        // One byte short.
        assert!(read(whole[..whole.len() - 1].to_vec()).is_err(), "{name} less one byte");
    }
}

#[test]
fn the_masked_border_tells_of_a_wrong_black_tag() {
    let Some((folder, _)) = samples() else { return };
    let path = folder.join("colorchart.dng");
    let frame = read_frame(&path, "colorchart.dng", ReadOptions::default()).expect("it is read");
    let [area] = frame.masked.as_slice() else { panic!("{:?}", frame.masked) };
    let (mut sum, mut count) = (0.0, 0.0);
    for row in area.top..area.top + area.height {
        for column in area.left..area.left + area.width {
            sum += f64::from(mosaic_at(&frame, row, column));
            count += 1.0;
        }
    }
    // The file's own description says 2048.8 for the border where the tag says 2056; the mean of
    // 160,000 pixels of some 10 counts of noise is good to 0.1.
    const MEAN_TOLERANCE: f64 = 0.15;
    assert!((sum / count - 2048.8_f64).abs() < MEAN_TOLERANCE, "{}", sum / count);
    assert_eq!(frame.levels.black.at(0, 0), 2056.0);
}

#[test]
fn uncompressed_dng_of_any_order_depth_and_origin_comes_back_pixel_for_pixel() {
    for big in [false, true] {
        for bits in [8, 10, 12, 14, 16] {
            for (width, gap, rows_per_strip) in [(10, 0, 7), (10, 5, 3), (11, 0, 2), (13, 3, 7)] {
                let dng = SmallDng {
                    big,
                    bits,
                    width,
                    gap,
                    rows_per_strip,
                    active: [1, 1, 6, 10],
                    ..SmallDng::default()
                };
                let frame = read(dng.tiff().finish()).expect("it is read");
                for row in 0..dng.height {
                    for column in 0..width {
                        let (is, should) = (mosaic_at(&frame, row, column), dng.count(row, column));
                        assert_eq!(is, should, "{big} {bits} {width} {gap} {row} {column}");
                    }
                }
                let Samples::Raw(_, cfa) = &frame.samples else { panic!("not a mosaic") };
                // The pattern counts from the active area, odd as its origin is.
                assert_eq!(cfa.letters(), "RGGB");
                assert_eq!((frame.active.left, frame.active.top), (1, 1));
            }
        }
    }
}

#[test]
fn tags_of_a_dng_become_levels_colour_and_exposure() {
    let dng = SmallDng::default();
    let mut tiff = dng.tiff();
    tiff.put(271, Value::Text("Nowhere Optics"));
    tiff.put(272, Value::Text("Field One"));
    tiff.put(270, Value::Text("wall, evening"));
    tiff.put(
        700,
        Value::Bytes(b"<dc:subject><rdf:Bag><rdf:li>dusk</rdf:li></rdf:Bag></dc:subject>".to_vec()),
    );
    tiff.put(50_713, Value::Short(vec![2, 2]));
    tiff.put(50_714, Value::Rational(vec![(1025, 2), (512, 1), (2049, 4), (511, 1)]));
    tiff.put(50_715, Value::SRational(vec![(1, 1), (-1, 1), (3, 1), (1, 1)]));
    tiff.put(50_717, Value::Short(vec![15_000]));
    tiff.put(50_721, Value::SRational([1, 0, 0, 0, 2, 0, 0, 0, 3].map(|n| (n, 2)).to_vec()));
    tiff.put(50_728, Value::Rational(vec![(1, 2), (1, 1), (3, 4)]));
    tiff.put(50_778, Value::Short(vec![17]));
    tiff.put_exif(33_434, Value::Rational(vec![(1, 60)]));
    tiff.put_exif(37_377, Value::SRational(vec![(6, 1)]));
    tiff.put_exif(33_437, Value::Rational(vec![(0, 0)]));
    tiff.put_exif(34_855, Value::Short(vec![200]));
    tiff.put_exif(36_867, Value::Text("2031:05:17 09:08:07"));
    tiff.put_exif(36_881, Value::Text("+02:00"));
    tiff.put_exif(37_521, Value::Text("25"));
    tiff.put_exif(37_386, Value::Rational(vec![(35, 1)]));
    tiff.put_exif(41_989, Value::Short(vec![53]));
    tiff.put_exif(42_033, Value::Text("F1-0042"));
    tiff.put_exif(42_036, Value::Text("Plain 35"));
    let frame = read(tiff.finish()).expect("it is read");
    // Each level raised by the mean of the column deltas, 1.
    assert_eq!(frame.levels.black.values, [513.5, 513.0, 513.25, 512.0]);
    assert_eq!(frame.levels.white, 15_000);
    let info = &frame.info;
    assert_eq!(info.matrices[0].illuminant, Some(17));
    assert_eq!(info.matrices[0].xyz_to_camera, [0.5, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.5]);
    assert_eq!(info.as_shot_neutral, Some([0.5, 1.0, 0.75]));
    assert_eq!(info.exposure.time.map(|t| t.get()), Some(1.0 / 60.0));
    assert_eq!(info.exposure.apex_time.map(|t| t.get()), Some(1.0 / 64.0));
    assert_eq!(info.exposure.f_number, None);
    assert_eq!(info.exposure.iso.map(|v| v.get()), Some(200.0));
    assert_eq!(info.capture.at.map(|t| t.to_string()).as_deref(), Some("2031-05-17T09:08:07.25"));
    assert_eq!(info.capture.offset.as_deref(), Some("+02:00"));
    assert_eq!(info.camera.lens.as_deref(), Some("Plain 35"));
    assert_eq!(info.camera.serial.as_deref(), Some("F1-0042"));
    assert_eq!(info.camera.make.as_deref(), Some("Nowhere Optics"));
    assert_eq!(info.camera.focal_length_35mm.map(|v| v.get()), Some(53.0));
    assert_eq!(info.subject, ["dusk", "wall, evening"]);
}

#[test]
fn exposure_that_is_missing_or_zero_stays_unknown() {
    let dng = SmallDng::default();
    assert_eq!(read(dng.tiff().finish()).expect("it is read").info.exposure.time, None);
    let mut tiff = dng.tiff();
    tiff.put_exif(33_434, Value::Rational(vec![(0, 1)]));
    tiff.put_exif(34_850, Value::Short(vec![9]));
    tiff.put_exif(34_855, Value::Short(vec![0]));
    tiff.put_exif(37_386, Value::Rational(vec![(0, 1)]));
    let info = read(tiff.finish()).expect("it is read").info;
    assert_eq!((info.exposure.time, info.exposure.iso, info.exposure.f_number), (None, None, None));
    assert!(info.exposure.bulb);
    assert_eq!(info.camera.focal_length, None);
}

/// t = 2^-Tv (Exif 2.32, annex C), for files without an exposure time; an exposure time wins, and where
/// bulb left none nothing stands in for it.
#[test]
fn shutter_speed_value_tells_the_time_where_nothing_else_does() {
    let exposure = |time: Option<(u32, u32)>, tv: (i32, i32), program: u16| {
        let mut tiff = SmallDng::default().tiff();
        if let Some(time) = time {
            tiff.put_exif(33_434, Value::Rational(vec![time]));
        }
        tiff.put_exif(34_850, Value::Short(vec![program]));
        tiff.put_exif(37_377, Value::SRational(vec![tv]));
        let exposure = read(tiff.finish()).expect("it is read").info.exposure;
        (exposure.time.map(|t| t.get()), exposure.from_apex)
    };
    const MANUAL: u16 = 1;
    const BULB: u16 = 9;
    assert_eq!(exposure(None, (6, 1), MANUAL), (Some(1.0 / 60.0), true));
    assert_eq!(exposure(Some((0, 0)), (-5, 1), MANUAL), (Some(30.0), true));
    let by_timer = exposure(None, (-36, 10), MANUAL);
    assert!(
        by_timer.1 && (by_timer.0.expect("it is told") - 3.6_f64.exp2()).abs() < 1e-9,
        "{by_timer:?}"
    );
    assert_eq!(exposure(Some((1, 50)), (6, 1), MANUAL), (Some(1.0 / 50.0), false));
    assert_eq!(exposure(Some((0, 1)), (6, 1), MANUAL), (None, false));
    assert_eq!(exposure(None, (6, 1), BULB), (None, false));
    assert_eq!(exposure(None, (0, 1), MANUAL), (None, false));
}

#[test]
fn a_linearization_table_is_applied_exactly() {
    let dng = SmallDng { bits: 8, ..SmallDng::default() };
    let mut tiff = dng.tiff();
    tiff.put(50_712, Value::Short((0..=255).map(|v: u16| v * v / 4 + 7).collect()));
    let frame = read(tiff.finish()).expect("it is read");
    for row in 0..dng.height {
        for column in 0..dng.width {
            let stored = dng.count(row, column);
            assert_eq!(mosaic_at(&frame, row, column), stored * stored / 4 + 7);
        }
    }
    assert_eq!(frame.levels.white, 255 * 255 / 4 + 7);
}

#[test]
fn an_x_trans_pattern_is_read_from_any_origin() {
    let letters = "GGRGGBGGBGGRBRGRBGGGBGGRGGRGGBRBGBRG";
    let pattern = letters.chars().map(|c| match c {
        'R' => 0,
        'G' => 1,
        _ => 2,
    });
    let dng = SmallDng {
        width: 20,
        height: 16,
        active: [3, 5, 16, 20],
        pattern: pattern.collect(),
        ..SmallDng::default()
    };
    let frame = read(dng.tiff().finish()).expect("it is read");
    let Samples::Raw(_, cfa) = &frame.samples else { panic!("not a mosaic") };
    assert_eq!(cfa.letters(), letters);
}

#[test]
fn a_dng_that_lacks_a_byte_or_contradicts_itself_is_refused() {
    let dng = SmallDng::default();
    let first_of = |mut file: SmallTiff, tag: u16, value: Value| {
        file.replace(tag, value);
        read(file.finish())
    };
    // The last strip of one row needs 20 bytes.
    let short = first_of(dng.tiff(), 279, Value::Long(vec![60, 60, 19]));
    assert!(matches!(short, Err(ReadError::Damaged { .. })), "{short:?}");
    let beyond = first_of(dng.tiff(), 273, Value::Long(vec![8, 68, 4_000_000]));
    assert!(matches!(beyond, Err(ReadError::Truncated { expected: 4_000_020, .. })), "{beyond:?}");
    let huge = first_of(dng.tiff(), 256, Value::Long(vec![4_000_000_000]));
    assert!(matches!(huge, Err(ReadError::TooLarge { .. })), "{huge:?}");
    let area = first_of(dng.tiff(), 50_829, Value::Long(vec![0, 0, 700, 10]));
    assert!(matches!(area, Err(ReadError::Damaged { .. })), "{area:?}");
    let few = first_of(dng.tiff(), 273, Value::Long(vec![8, 68]));
    assert!(matches!(few, Err(ReadError::Damaged { .. })), "{few:?}");
    let odd = first_of(dng.tiff(), 33_422, Value::Bytes(vec![0, 1, 2, 2]));
    assert!(matches!(odd, Err(ReadError::Unsupported { .. })), "{odd:?}");
}

fn linear_dng() -> SmallTiff {
    let mut tiff = SmallTiff::new(false);
    let rows: Vec<Vec<u16>> =
        (0..4).map(|r| (0..18).map(|c| 1000 * r + 10 * c + 1).collect()).collect();
    let place = tiff.part(&packed(&rows, 16, false), 0);
    tiff.put(256, Value::Long(vec![6]));
    tiff.put(257, Value::Long(vec![4]));
    tiff.put(258, Value::Short(vec![16, 16, 16]));
    tiff.put(259, Value::Short(vec![1]));
    tiff.put(262, Value::Short(vec![34_892]));
    tiff.put(273, Value::Long(vec![place]));
    tiff.put(277, Value::Short(vec![3]));
    tiff.put(279, Value::Long(vec![144]));
    tiff.put(50_706, Value::Bytes(vec![1, 4, 0, 0]));
    tiff
}

#[test]
fn a_linear_dng_is_three_channels_of_light() {
    let frame = read(linear_dng().finish()).expect("it is read");
    assert_eq!(frame.info.origin, Origin::LinearDng);
    let Samples::Rendered(picture) = &frame.samples else { panic!("not three channels") };
    assert_eq!((picture.width, picture.height), (6, 4));
    assert_eq!(picture.data[18 + 3], 1000 + 30 + 1);
    assert_eq!(frame.levels.white, 65_535);
}

/// A TIFF of one row of 16-bit values through the crate `image`.
fn picture(values: &[u16], format: image::ImageFormat) -> Vec<u8> {
    let width = values.len() as u32 / 3;
    let buffer = image::ImageBuffer::<image::Rgb<u16>, _>::from_raw(width, 1, values.to_vec());
    let mut out = std::io::Cursor::new(Vec::new());
    let picture = image::DynamicImage::ImageRgb16(buffer.expect("three values a pixel"));
    match format {
        image::ImageFormat::Jpeg => picture.to_rgb8().write_to(&mut out, format),
        _ => picture.write_to(&mut out, format),
    }
    .expect("it is written");
    out.into_inner()
}

#[test]
fn pictures_become_light_by_the_srgb_curve_unless_they_are_linear() {
    // IEC 61966-2-1: 0.5 encoded is 0.21404 of full light; 0.04045 encoded is 0.04045 / 12.92.
    let values = [0, 32_768, 65_535, 2651, 65_535, 0];
    let light = [0.0, 0.214_05, 1.0, 0.003_131, 1.0, 0.0].map(|v: f64| (v * 65_535.0).round());
    for format in [image::ImageFormat::Tiff, image::ImageFormat::Png] {
        let file = Arc::new(picture(&values, format));
        let frame = frame_of(Arc::clone(&file), "p", ReadOptions::default()).expect("it is read");
        assert_eq!(frame.info.origin, Origin::DisplayPicture);
        let Samples::Rendered(rgb) = &frame.samples else { panic!("not three channels") };
        for (is, should) in rgb.data.iter().zip(light) {
            assert!((f64::from(*is) - should).abs() <= 2.0, "{is} {should}");
        }
        let linear = frame_of(file, "p", ReadOptions { linear: true }).expect("it is read");
        assert_eq!(linear.info.origin, Origin::LinearPicture);
        let Samples::Rendered(rgb) = &linear.samples else { panic!("not three channels") };
        assert_eq!(*rgb.data, values);
    }
}

#[test]
fn a_picture_that_ends_early_is_refused() {
    let values: Vec<u16> = (0..3 * 2000).map(|i| (i * 7919 % 65_536) as u16).collect();
    for format in [image::ImageFormat::Tiff, image::ImageFormat::Png, image::ImageFormat::Jpeg] {
        let whole = picture(&values, format);
        assert!(read(whole.clone()).is_ok(), "{format:?}");
        for length in [whole.len() / 2, whole.len() * 9 / 10, whole.len() - 20] {
            assert!(read(whole[..length].to_vec()).is_err(), "{format:?} cut at {length}");
        }
    }
}

#[test]
fn what_is_no_photograph_is_named() {
    let cases: [(&[u8], &str); 6] = [
        (b"%PDF-1.7 and so on", "a PDF document"),
        (b"dear diary", "a text"),
        (b"PK\x03\x04....", "an archive"),
        (&[0; 4096], "nothing but zeros"),
        (b"\0\0\0\x18ftypqt  \0\0\0\0", "a film"),
        (b"{\"schema\": 1}", "a JSON text"),
    ];
    for (bytes, what) in cases {
        let error = read(bytes.to_vec()).expect_err("no photograph");
        assert_eq!(error, ReadError::NotAPicture { found: what.to_owned() });
    }
    let heif = read(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic".to_vec()).expect_err("not decoded");
    assert!(matches!(heif, ReadError::Unsupported { .. }), "{heif}");
    assert!(heif.to_string().contains("HEIF"));
}

/// A folder with one good frame among everything that may lie beside it.
fn mixed_folder() -> (tempfile::TempDir, Vec<PathBuf>) {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    let good = SmallDng::default().tiff().finish();
    std::fs::write(at("-f.dng"), &good).expect("written");
    std::fs::write(at("empty.dng"), b"").expect("written");
    std::fs::write(at("cut.dng"), &good[..good.len() - 9]).expect("written");
    std::fs::write(at("text.dng"), b"not a frame").expect("written");
    std::fs::create_dir(at("folder.dng")).expect("made");
    let mut files: Vec<PathBuf> =
        ["-f.dng", "empty.dng", "cut.dng", "text.dng", "folder.dng", "missing.dng"]
            .map(at)
            .to_vec();
    #[cfg(unix)]
    {
        use std::os::unix::ffi::OsStringExt;
        std::os::unix::fs::symlink(at("-f.dng"), at("link.dng")).expect("linked");
        files.push(at("link.dng"));
        let odd = std::ffi::OsString::from_vec(b"odd\xff name.dng".to_vec());
        std::fs::write(folder.path().join(&odd), &good).expect("written");
        files.push(folder.path().join(odd));
        let made = std::process::Command::new("mkfifo").arg(at("pipe.dng")).status();
        assert!(made.expect("mkfifo is there").success());
        files.push(at("pipe.dng"));
        files.push(PathBuf::from("/dev/null"));
    }
    (folder, files)
}

fn check_mixed(worker: &Worker) {
    let (folder, files) = mixed_folder();
    let told = RefCell::new(Vec::new());
    let results = summaries(&files, folder.path(), ReadOptions::default(), worker, &|done| {
        told.borrow_mut().push(done);
    });
    assert_eq!(*told.borrow(), (1..=files.len()).collect::<Vec<_>>());
    let name = |i: usize| match &results[i] {
        Ok(summary) => summary.info.file.clone(),
        Err(unreadable) => unreadable.file.clone(),
    };
    let error = |i: usize| results[i].as_ref().err().map(|u| u.error.clone());
    assert_eq!((name(0).as_str(), error(0)), ("-f.dng", None));
    assert_eq!((name(1).as_str(), error(1)), ("empty.dng", Some(ReadError::Empty)));
    assert!(matches!(error(2), Some(ReadError::Truncated { .. })), "{:?}", error(2));
    assert!(matches!(error(3), Some(ReadError::NotAPicture { .. })), "{:?}", error(3));
    assert_eq!((name(4).as_str(), error(4)), ("folder.dng", Some(ReadError::Folder)));
    assert!(matches!(error(5), Some(ReadError::Io { .. })), "{:?}", error(5));
    if cfg!(unix) {
        assert_eq!(error(6), None);
        assert_eq!((name(7).as_str(), error(7)), ("odd\\xFF name.dng", None));
        assert_eq!(error(8), Some(ReadError::NotRegular { kind: "pipe".to_owned() }));
        assert_eq!(error(9), Some(ReadError::NotRegular { kind: "device".to_owned() }));
    }
}

#[test]
fn one_bad_file_never_ends_the_run_in_this_process() {
    check_mixed(&Worker::InProcess);
}

#[test]
fn one_bad_file_never_ends_the_run_in_workers() {
    check_mixed(&Worker::Program(PathBuf::from(PROGRAM)));
}

#[test]
fn workers_answer_exactly_what_this_process_would() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("frame.dng");
    let dng = SmallDng { width: 96, height: 70, active: [3, 1, 69, 95], ..SmallDng::default() };
    std::fs::write(&path, dng.tiff().finish()).expect("written");
    let linear = folder.path().join("linear.dng");
    std::fs::write(&linear, linear_dng().finish()).expect("written");
    let mut here = Reader::new(Worker::InProcess, ReadOptions::default());
    let program = Worker::Program(PathBuf::from(PROGRAM));
    let mut there = Reader::new(program, ReadOptions::default());
    for file in [&path, &linear] {
        let base = folder.path();
        let summary = here.summary(file, base).expect("it is read");
        assert!(summary.cells.planes.iter().any(|plane| plane.sum.iter().any(|&s| s > 0)));
        assert_eq!(there.summary(file, base).expect("it is read"), summary);
        let frame = here.frame(file, base).expect("it is read");
        assert_eq!(there.frame(file, base).expect("it is read"), frame);
    }
}

#[test]
fn real_files_pass_through_workers_too() {
    let Some((folder, manifest)) = samples() else { return };
    let files: Vec<PathBuf> = manifest
        .iter()
        .map(|record| folder.join(record["file"].as_str().expect("a name")))
        .collect();
    let worker = Worker::Program(PathBuf::from(PROGRAM));
    let results = summaries(&files, &folder, ReadOptions::default(), &worker, &|_| ());
    for (file, result) in files.iter().zip(&results) {
        let name = file.file_name().and_then(|n| n.to_str()).expect("a name");
        assert_eq!(result.is_err(), refusal_expected(name).is_some(), "{name}");
    }
}

/// Files that workers take by twos, one of which kills its worker: as each file alone.
#[cfg(unix)]
#[test]
fn many_files_are_read_as_each_alone() {
    let folder = tempfile::tempdir().expect("a folder");
    let files: Vec<PathBuf> = (0..11)
        .map(|i| {
            let path = folder.path().join(format!("F{i}.dng"));
            let mut bytes = SmallDng { bits: 16, ..SmallDng::default() }.tiff().finish();
            bytes.extend(vec![i; 1000 * usize::from(i)]);
            bytes.truncate(if i == 4 { 200 } else { bytes.len() });
            std::fs::write(&path, bytes).expect("written");
            path
        })
        .collect();
    // Its second worker dies at once, whatever it was given.
    let script = folder.path().join("script");
    let text = format!(
        "#!/bin/sh\nmkdir \"$0.first\" || {{ mkdir \"$0.died\" && kill -7 $$; }}\nexec {PROGRAM:?} \"$@\"\n"
    );
    write_script(&script, &text);
    let read = |worker: &Worker, files: &[PathBuf]| {
        summaries(files, folder.path(), ReadOptions::default(), worker, &|_| ())
    };
    let expected: Vec<_> = files
        .iter()
        .flat_map(|file| read(&Worker::InProcess, std::slice::from_ref(file)))
        .collect();
    assert_eq!(expected.iter().filter(|result| result.is_err()).count(), 1);
    for program in [PathBuf::from(PROGRAM), script] {
        assert_eq!(read(&Worker::Program(program), &files), expected);
    }
}

/// Another process writes it: a file that a fork elsewhere in this one still holds open for writing cannot be run.
#[cfg(unix)]
fn write_script(script: &Path, text: &str) {
    let write = "printf %s \"$1\" > \"$0\" && chmod +x \"$0\"";
    let written =
        std::process::Command::new("sh").args(["-c", write]).arg(script).arg(text).status();
    assert!(written.expect("a shell").success(), "{}", script.display());
}

/// What a program that is no worker does to a file.
#[cfg(unix)]
fn error_of_script(text: &str) -> ReadError {
    let folder = tempfile::tempdir().expect("a folder");
    let script = folder.path().join("script");
    write_script(&script, &format!("#!/bin/sh\n{text}\n"));
    let file = folder.path().join("frame.dng");
    std::fs::write(&file, b"anything").expect("written");
    let mut reader = Reader::new(Worker::Program(script), ReadOptions::default())
        .with_patience(std::time::Duration::from_secs(1));
    // The second file gets a worker of its own.
    let errors = [1, 2].map(|_| reader.summary(&file, folder.path()).expect_err("no answer"));
    assert_eq!(errors[0], errors[1]);
    assert_eq!(errors[0].file, "frame.dng");
    errors[0].error.clone()
}

#[cfg(unix)]
#[test]
fn a_worker_that_hangs_is_killed_and_the_file_named() {
    assert_eq!(error_of_script("exec sleep 60"), ReadError::TimedOut { seconds: 1 });
}

#[cfg(unix)]
#[test]
fn a_worker_that_dies_or_babbles_is_an_error_of_the_file() {
    assert_eq!(error_of_script("exit 3"), ReadError::DecoderDied);
    assert_eq!(error_of_script("kill -9 $$"), ReadError::DecoderDied);
    assert_eq!(error_of_script("echo what do you want of me"), ReadError::DecoderDied);
}

/// The first worker dies as if its file had been cut short under the map.
#[cfg(unix)]
#[test]
fn a_file_that_took_its_worker_along_is_read_once_more() {
    let folder = tempfile::tempdir().expect("a folder");
    let script = folder.path().join("script");
    let text = format!("#!/bin/sh\nmkdir \"$0.died\" && kill -7 $$\nexec {PROGRAM:?} \"$@\"\n");
    write_script(&script, &text);
    let path = folder.path().join("frame.dng");
    std::fs::write(&path, SmallDng::default().tiff().finish()).expect("written");
    let mut here = Reader::new(Worker::InProcess, ReadOptions::default());
    let mut there = Reader::new(Worker::Program(script.clone()), ReadOptions::default());
    let expected = here.summary(&path, folder.path()).expect("it is read");
    assert_eq!(there.summary(&path, folder.path()).expect("it is read again"), expected);
    assert!(script.with_extension("died").exists(), "no worker has died");
}

#[test]
fn a_program_that_is_no_worker_is_an_error_for_each_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("frame.dng");
    std::fs::write(&path, SmallDng::default().tiff().finish()).expect("written");
    let missing = Worker::Program(folder.path().join("no-such-program"));
    let files = [path.clone(), path];
    let results = summaries(&files, Path::new("/"), ReadOptions::default(), &missing, &|_| ());
    assert!(results.iter().all(|r| matches!(
        r,
        Err(unreadable) if matches!(unreadable.error, ReadError::Io { .. })
    )));
}

#[test]
fn sony_blocks_come_out_as_libraw_has_them() {
    // SHA-256 of raw_image, little endian, of this very file in LibRaw 0.22 through rawpy 0.28.
    const LIBRAW: &str = "8527deea4c1ca8304005808942ed7f01607c25c240b54e4dc281647ee5bd3071";
    let mut random = ChaCha8Rng::seed_from_u64(23);
    let mut data = vec![0; raw_seeds::WIDTH * raw_seeds::HEIGHT];
    // Any bytes are blocks: also smallest above largest, and both in one place.
    random.fill(data.as_mut_slice());
    let file = raw_seeds::arw_of(&data);
    assert_eq!(counts_hash(&read(file).expect("it is read")), LIBRAW);
}

#[test]
fn a_real_sony_file_comes_out_as_libraw_has_it() {
    // The file that libraw-cffi 0.19.0 brings along, and raw_image of it in LibRaw 0.22.
    const FILE: &str = "42ec55eef6047c1bfbd1fd05fdcae78993f3513814138eff4cbcf9498c57d4e6";
    const LIBRAW: &str = "f43ade8f650bc26986953132e26c047d508dd586b77f7b99166793a30cbf5c81";
    let Some(path) = std::env::var_os("LIGHTLOSS_ARW").map(PathBuf::from) else {
        eprintln!("SKIPPED: LIGHTLOSS_ARW is not set, no real file of Sony's to read");
        return;
    };
    let frame = read_frame(&path, "real", ReadOptions::default()).expect("it is read");
    if frame.info.sha256 != FILE {
        eprintln!("SKIPPED: {} is another file", path.display());
        return;
    }
    assert_eq!(counts_hash(&frame), LIBRAW);
    assert_eq!(frame.levels.black.at(0, 0), 512.0);
}

/// SHA-256 of all counts, little endian.
fn counts_hash(frame: &Frame) -> String {
    let Samples::Raw(mosaic, _) = &frame.samples else { panic!("not a mosaic") };
    let bytes: Vec<u8> = mosaic.data.iter().flat_map(|v| v.to_le_bytes()).collect();
    Sha256::digest(&bytes).iter().map(|b| format!("{b:02x}")).collect()
}
