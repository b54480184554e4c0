//! Damaged files, as a failing card or a bad copy leaves them: the number stays right, and each is
//! left out by name. The damage is done to bytes that the program's own writer made; what it does to
//! them here follows from the file formats alone (TIFF 6.0; DNG 1.7.1; ITU-T T.81).

#![cfg(unix)]
#![allow(clippy::unwrap_used)]

use crate::support::within;
use lightloss::frame::{Area, BlackPattern};
use lightloss::read::{ReadOptions, frame_of};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::tiff::{Tiff, tag};
use lightloss::write::dng::Compression;
use lightloss::write::exif::ExifData;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use std::fs;
use std::ops::Range;
use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(60);
const SIZE: (usize, usize) = (576, 384);
const STOPS: f64 = 6.0;
/// Planted strength and answer: the shutter is perfect here, so that only noise differs.
const WITHIN: f64 = 0.01;

fn camera(black: f64) -> Camera {
    let mut camera = Camera::bayer(SIZE.0, SIZE.1);
    camera.shutter.offsets = 0.0;
    camera.black = BlackPattern::uniform(black);
    camera
}

/// Bare, filtered, bare, three frames each.
fn shots() -> Vec<Shot> {
    let one = [Filter::even([STOPS + 0.1, STOPS, STOPS - 0.1])];
    let mut shots = Shot::repeated("H", 1, 3, Time::Dial(1.0 / 60.0), &[]);
    shots.extend(Shot::repeated("H", 4, 3, Time::Dial(1.0), &one));
    shots.extend(Shot::repeated("H", 7, 3, Time::Dial(1.0 / 60.0), &[]));
    shots
}

fn shoot(folder: &Path, camera: Camera, shots: &[Shot], compression: Compression) {
    let session = Session::new(camera, Lens::of(50.0), Scene::daylight(18.0, [0.55, 1.0, 0.7]), 31);
    write_all(&session, &session.take(shots), folder, compression, true).unwrap();
}

/// Where the pixels of a file lie.
fn pixels(bytes: &[u8]) -> Range<usize> {
    let tiff = Tiff::parse(bytes).unwrap().unwrap();
    let mut parts = Vec::new();
    for directory in tiff.images() {
        for (at, count) in [
            (tag::TILE_OFFSETS, tag::TILE_BYTE_COUNTS),
            (tag::STRIP_OFFSETS, tag::STRIP_BYTE_COUNTS),
        ] {
            let (Some(at), Some(count)) = (directory.uints(at), directory.uints(count)) else {
                continue;
            };
            let end = at.iter().zip(&count).map(|(a, c)| (a + c) as usize).max().unwrap();
            parts.push(at[0] as usize..end);
        }
    }
    parts.into_iter().max_by_key(ExactSizeIterator::len).unwrap()
}

fn damage(file: &Path, wound: impl FnOnce(&mut Vec<u8>, Range<usize>)) {
    let mut bytes = fs::read(file).unwrap();
    let place = pixels(&bytes);
    wound(&mut bytes, place);
    fs::write(file, bytes).unwrap();
}

struct Measured {
    profile: Value,
    said: String,
}

fn measured(folder: &Path, more: &[&str]) -> Measured {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lightloss"));
    command.args(["measure", "shoot", "--format", "json"]).args(more).current_dir(folder);
    let output = within(&mut command, PATIENCE);
    Measured {
        profile: serde_json::from_slice(&output.stdout).unwrap_or_default(),
        said: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

impl Measured {
    fn verdict(&self, file: &str) -> String {
        let frames = self.profile["frames"].as_array().unwrap();
        let frame = frames.iter().find(|f| f["file"] == file).unwrap();
        frame["verdict"]["code"].as_str().unwrap().to_owned()
    }
    /// One strength, the planted one, and each damaged file left out and named aloud.
    fn check(&self, damaged: &[&str], what: &str) {
        let settings = self.profile["settings"].as_array().unwrap_or_else(|| {
            panic!("{what}: {}", self.said);
        });
        assert_eq!(settings.len(), 1, "{what}");
        let stops = settings[0]["strength"]["stops"].as_f64().unwrap();
        assert!((stops - STOPS).abs() < WITHIN, "{what}: {stops}");
        for file in damaged {
            let code = self.verdict(file);
            // Garbage from there on may look like a picture of something else.
            if code == "other_picture" {
                continue;
            }
            assert!(["damaged", "unreadable"].contains(&code.as_str()), "{what}, {file}: {code}");
            assert!(self.said.contains(&format!("left out: {file}: ")), "{what}: {}", self.said);
        }
        let frames = self.profile["frames"].as_array().unwrap();
        let used = frames.iter().filter(|f| f["verdict"]["code"] == "used").count();
        assert_eq!(used, frames.len() - damaged.len(), "{what}: whole frames are used");
    }
}

type Wound = fn(&mut Vec<u8>, Range<usize>);

fn last_third(place: &Range<usize>) -> Range<usize> {
    place.end - place.len() / 3..place.end
}

/// A stretch of a quarter of the pixels that ends within a row.
fn amid(place: &Range<usize>) -> Range<usize> {
    let start = place.start + place.len() * 2 / 5;
    start..start + place.len() / 4 + 346
}

#[test]
fn damage_of_every_sort_is_named_and_the_number_stays() {
    let wounds: [(&str, Wound); 8] = [
        ("erased flash", |b, p| b[last_third(&p)].fill(0xff)),
        ("zeros", |b, p| b[last_third(&p)].fill(0)),
        ("a constant", |b, p| b[last_third(&p)].fill(0x1d)),
        ("a hole", |b, p| b[amid(&p)].fill(0x5a)),
        ("noise", |b, p| ChaCha8Rng::seed_from_u64(5).fill(&mut b[amid(&p)])),
        ("text", |b, p| {
            let text = b"weir; harbour; dusk; tide 0412\n";
            b[amid(&p)].iter_mut().enumerate().for_each(|(i, byte)| *byte = text[i % text.len()]);
        }),
        ("counts above white", |b, p| {
            for pair in b[amid(&p)].as_chunks_mut::<2>().0 {
                *pair = 40_000_u16.to_le_bytes();
            }
        }),
        ("an odd number of bytes lost", |b, p| {
            let at = p.start + p.len() / 4 + 1;
            b.copy_within(at + 77..p.end, at);
        }),
    ];
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("shoot");
    let files = [
        (Compression::None, 512.0, wounds.len()),
        (Compression::LosslessJpeg, 512.0, 6),
        // Where black is zero, zeros may be dark.
        (Compression::None, 0.0, 2),
    ];
    for (compression, black, many) in files {
        shoot(&folder, camera(black), &shots(), compression);
        let damaged = ["H0002.dng", "H0005.dng", "H0006.dng"];
        let whole = damaged.map(|file| fs::read(folder.join(file)).unwrap());
        for (what, wound) in &wounds[..many] {
            for (n, (file, whole)) in damaged.iter().zip(&whole).enumerate() {
                fs::write(folder.join(file), whole).unwrap();
                damage(&folder.join(file), |b, p| wound(b, p.start + 9_001 * n..p.end));
            }
            let what = format!("{what}, {compression:?}, black {black}");
            measured(home.path(), &[]).check(&damaged, &what);
        }
    }
}

#[test]
fn pixels_that_stand_beside_their_place_are_seen() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("shoot");
    let row = 2 * SIZE.0;
    // From a third on everything is one pixel further: red where green belongs.
    shoot(&folder, camera(512.0), &shots(), Compression::None);
    damage(&folder.join("H0004.dng"), |bytes, place| {
        let at = place.start + 130 * row;
        bytes.copy_within(at..place.end - 2, at + 2);
    });
    // Sixty rows of a filtered frame in a bare one of other light.
    let other = fs::read(folder.join("H0005.dng")).unwrap();
    damage(&folder.join("H0008.dng"), |bytes, place| {
        let part = place.start + 150 * row..place.start + 210 * row;
        for (own, other) in bytes[part.clone()]
            .as_chunks_mut::<2>()
            .0
            .iter_mut()
            .zip(other[part].as_chunks::<2>().0)
        {
            let light = (f64::from(u16::from_le_bytes(*other)) - 512.0) * 0.8 + 512.0;
            *own = (light as u16).to_le_bytes();
        }
    });
    let found = measured(home.path(), &[]);
    found.check(&["H0004.dng", "H0008.dng"], "out of place");
    assert_eq!(found.verdict("H0004.dng"), "damaged");
}

#[test]
fn a_shoot_of_nothing_but_damage_is_refused_by_name() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("shoot");
    shoot(&folder, camera(512.0), &shots(), Compression::None);
    for n in 4..=6 {
        damage(&folder.join(format!("H000{n}.dng")), |b, p| b[last_third(&p)].fill(0xff));
    }
    let found = measured(home.path(), &[]);
    assert_eq!(found.profile, Value::Null);
    for n in 4..=6 {
        assert!(found.said.contains(&format!("left out: H000{n}.dng: ")), "{}", found.said);
    }
    assert!(found.said.contains("from row 257 on all its pixels are 65535"), "{}", found.said);
}

/// What clips or is dark fades over several rows, and a wall has what shows damage nowhere.
#[test]
fn light_that_clips_and_frames_without_light_are_no_damage() {
    let read = |width: usize, height: usize, at: &dyn Fn(usize, usize) -> u16| {
        let mut camera = camera(0.0);
        camera.stored = (width, height);
        camera.active = Area { left: 0, top: 0, width, height };
        let scene = Scene::daylight(18.0, [0.5, 1.0, 0.7]);
        let session = Session::new(camera, Lens::of(50.0), scene, 3);
        let taken = session.take(&shots()[..1]);
        let frame = lightloss::simulate::mosaic::render(&session, &taken[0]);
        let mut file = lightloss::simulate::files::dng(&frame);
        file.data = (0..width * height).map(|i| at(i / width, i % width)).collect();
        frame_of(Arc::new(file.encode().unwrap()), "frame", ReadOptions::default())
    };
    let noise = |row: usize, column: usize| ((row * 7919 + column * 104_729) % 61) as u16;
    // A sky that clips below a horizon, upside down: the edge is blurred over six rows, and not
    // level to a hundredth of a degree.
    let sky = |row: usize, column: usize| {
        let below = row as f64 - 150.0 - column as f64 / 100.0;
        let light = 3_000.0 + 15_000.0 * (below / 6.0).clamp(0.0, 1.0);
        ((light as u16) + noise(row, column)).min(16_000)
    };
    assert!(read(300, 200, &sky).is_ok());
    // Black that is cut at zero, with a pixel here and there.
    assert!(read(300, 200, &|row, column| u16::from(noise(row, column) == 7)).is_ok());
    // The same sky of which the file lost the rest.
    let lost = |row: usize, column: usize| if row > 120 { 16_000 } else { sky(row, column) };
    assert!(read(300, 200, &lost).unwrap_err().to_string().contains("from row 122 on"));
    // Rows missing amid light that does not clip.
    let hole =
        |row: usize, column: usize| if (60..64).contains(&row) { 0 } else { sky(row, column) };
    assert!(read(300, 200, &hole).unwrap_err().to_string().contains("in rows 61 to 64"));
}

#[test]
fn a_frame_below_black_or_with_light_is_no_dark_frame() {
    let home = tempfile::tempdir().unwrap();
    let folder = home.path().join("shoot");
    let dark = [Filter::opaque(None)];
    let mut all = shots();
    all.extend(Shot::repeated("D", 1, 3, Time::Dial(1.0), &dark));
    for shot in &mut all {
        let sub = match shot.file.as_bytes()[0] {
            b'D' => "dark",
            _ if shot.filters.is_empty() => "bare",
            _ => "filter",
        };
        shot.file = format!("{sub}/{}", shot.file);
    }
    shoot(&folder, camera(512.0), &all, Compression::None);
    // Sixty counts below its black, with its noise; and a bare frame among the dark ones.
    damage(&folder.join("dark/D0002.dng"), |bytes, place| {
        for pair in bytes[place].as_chunks_mut::<2>().0 {
            *pair = (u16::from_le_bytes(*pair) - 60).to_le_bytes();
        }
    });
    fs::copy(folder.join("filter/H0005.dng"), folder.join("dark/D0003.dng")).unwrap();
    fs::remove_file(folder.join("filter/H0005.dng")).unwrap();
    let found = measured(home.path(), &[]);
    assert_eq!(found.verdict("dark/D0001.dng"), "dark");
    assert_eq!(found.verdict("dark/D0002.dng"), "below_black");
    assert_eq!(found.verdict("dark/D0003.dng"), "not_dark");
    let stops = found.profile["settings"][0]["strength"]["stops"].as_f64().unwrap();
    assert!((stops - STOPS).abs() < WITHIN, "{stops}");
    assert!(found.said.contains("left out: dark/D0002.dng: far below the black"), "{}", found.said);
}

/// Black levels in the files' tags (DNG 1.7.1, BlackLevel) that agree within a state and differ
/// between them move the level of every frame of that state alike: nothing in the light shows it.
#[test]
fn black_levels_that_lie_apart_are_named() {
    use lightloss::simulate::{files::dng, mosaic::render};
    let scene = Scene::daylight(18.0, [0.55, 1.0, 0.7]);
    let session = Session::new(camera(512.0), Lens::of(50.0), scene, 31);
    let taken = session.take(&shots());
    for (one_green, is_named) in [(512.0, false), (513.0, false), (1024.0, true), (0.0, true)] {
        let home = tempfile::tempdir().unwrap();
        fs::create_dir(home.path().join("shoot")).unwrap();
        for one in &taken {
            let mut file = dng(&render(&session, one));
            if !one.shot.filters.is_empty() {
                let values = vec![512.0, one_green, 512.0, 512.0];
                file.black = Some(BlackPattern { rows: 2, columns: 2, values });
            }
            fs::write(home.path().join("shoot").join(&one.shot.file), file.encode().unwrap())
                .unwrap();
        }
        let found = measured(home.path(), &[]);
        let cautions = found.profile["cautions"].as_array().unwrap();
        let named =
            cautions.iter().any(|c| c["code"] == "black_levels_apart" && c["grade"] == "number");
        let stops = found.profile["settings"][0]["strength"]["stops"].as_f64().unwrap();
        assert_eq!(named, is_named, "{one_green}: {stops}, {}", found.said);
        assert_eq!((stops - STOPS).abs() > WITHIN, is_named, "{one_green}: {stops}");
    }
}

/// The same at several ISOs, each compared by itself: the first may tell nothing, and the difference
/// that is worth most is told.
#[test]
fn black_levels_that_lie_apart_are_named_at_every_iso() {
    use lightloss::frame::Samples;
    use lightloss::simulate::{files::dng, mosaic::render};
    let scene = Scene::daylight(18.0, [0.55, 1.0, 0.7]);
    let session = Session::new(camera(512.0), Lens::of(50.0), scene, 31);
    let mut all = shots();
    for shot in all.iter_mut().filter(|shot| !shot.filters.is_empty()) {
        (shot.time, shot.iso) = (Time::Dial(0.25), 400.0);
    }
    let taken = session.take(&all);
    // Shares of one green's light: 0.03 is worth 0.043 stop, 0.018 is worth 0.026 stop, and half of
    // that, as both greens have it, is no outlier.
    for (of_bare, of_filtered) in [(0.0, 0.03), (0.018, 0.03), (0.03, 0.018), (0.0, 0.0)] {
        let home = tempfile::tempdir().unwrap();
        fs::create_dir(home.path().join("shoot")).unwrap();
        let mut higher = [0.0; 2];
        for one in &taken {
            let frame = render(&session, one);
            let mut file = dng(&frame);
            let (share, at) = match one.shot.file.as_str() {
                "H0002.dng" => (of_bare, 0),
                "H0005.dng" => (of_filtered, 1),
                _ => (0.0, 0),
            };
            if share > 0.0 {
                let Samples::Raw(mosaic, _) = &frame.samples else { unreachable!() };
                let middle = mosaic.height / 2 * mosaic.width + mosaic.width / 2 + 1;
                let light = f64::from(mosaic.data[middle]) - 512.0;
                higher[at] = (512.0 + share * light).round();
                let values = vec![512.0, higher[at], 512.0, 512.0];
                file.black = Some(BlackPattern { rows: 2, columns: 2, values });
            }
            fs::write(home.path().join("shoot").join(&one.shot.file), file.encode().unwrap())
                .unwrap();
        }
        let found = measured(home.path(), &[]);
        let named = found.said.split("caution: ").find(|said| said.contains("black levels from"));
        let what = format!("{of_bare}, {of_filtered}: {}", found.said);
        if of_filtered == 0.0 {
            assert_eq!(named, None, "{what}");
            continue;
        }
        let worst = if of_bare > of_filtered { higher[0] } else { higher[1] };
        let expected = format!("from 512.0 to {worst:.1} counts");
        assert!(named.is_some_and(|named| named.contains(&expected)), "{expected}: {what}");
    }
}

/// A camera's property that a file may have lost.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Lost {
    Aperture,
    Iso,
}

/// Takes shots into a folder, with what becomes of their Exif data.
fn shoot_with(folder: &Path, shots: &[Shot], change: impl Fn(&str, &mut ExifData)) {
    use lightloss::simulate::{files::dng, mosaic::render};
    let scene = Scene::daylight(18.0, [0.55, 1.0, 0.7]);
    let session = Session::new(camera(512.0), Lens::of(50.0), scene, 31);
    for one in &session.take(shots) {
        let mut file = dng(&render(&session, one));
        change(&one.shot.file, file.exif.as_mut().unwrap());
        let place = folder.join(&one.shot.file);
        fs::create_dir_all(place.parent().unwrap()).unwrap();
        fs::write(place, file.encode().unwrap()).unwrap();
    }
}

/// Some of the files tell a property no more.
fn shoot_without(folder: &Path, shots: &[Shot], lost: Lost, is_lost: impl Fn(&str) -> bool) {
    shoot_with(folder, shots, |file, exif| match lost {
        Lost::Aperture => exif.f_number = exif.f_number.filter(|_| !is_lost(file)),
        Lost::Iso => exif.iso = exif.iso.filter(|_| !is_lost(file)),
    });
}

impl Measured {
    fn stops(&self) -> f64 {
        let stops = self.profile["settings"][0]["strength"]["stops"].as_f64();
        stops.unwrap_or_else(|| panic!("{}", self.said))
    }
    fn has_caution(&self, code: &str) -> bool {
        let settings = self.profile["settings"].as_array().unwrap();
        let all = std::iter::once(&self.profile).chain(settings);
        all.flat_map(|of| of["cautions"].as_array().unwrap()).any(|c| c["code"] == code)
    }
}

/// Missing means unknown (Exif 2.32, 4.6.5): a file that lost its aperture or ISO was taken as the
/// others were, and that is doubted only where its whole state lost it.
#[test]
fn an_aperture_that_a_file_lost_is_that_of_the_others() {
    let cases: [(&[&str], bool); 3] = [
        (&["H0005.dng"], false),
        (&["H0001.dng", "H0006.dng"], false),
        (&["H0004.dng", "H0005.dng", "H0006.dng"], true),
    ];
    for (files, is_doubted) in cases {
        for lost in [Lost::Aperture, Lost::Iso] {
            let home = tempfile::tempdir().unwrap();
            let folder = home.path().join("shoot");
            shoot_without(&folder, &shots(), lost, |file| files.contains(&file));
            let found = measured(home.path(), &[]);
            let stops = found.stops();
            assert!((stops - STOPS).abs() < WITHIN, "{files:?}: {stops}, {}", found.said);
            assert_eq!(
                found.has_caution("exposure_as_others"),
                is_doubted,
                "{files:?}: {}",
                found.said
            );
            // What the caution asks for ends the doubt.
            let more: &[&str] = if lost == Lost::Aperture { &["--f", "8"] } else { &[] };
            if lost == Lost::Iso {
                let said = r#"{"schema": "lightloss-shoot/1", "iso": 100}"#;
                fs::write(folder.join("shoot.json"), said).unwrap();
            }
            let found = measured(home.path(), more);
            assert!((found.stops() - STOPS).abs() < WITHIN, "{files:?}: {}", found.said);
            assert!(!found.has_caution("exposure_as_others"), "{files:?}: {}", found.said);
        }
    }
}

/// Filtered frames at another aperture or ISO and a quarter of the time: a value that is borrowed
/// must not speak against those that are told.
#[test]
fn what_a_file_lost_never_decides_against_what_others_tell() {
    let bare = 1.0 / 60.0;
    // Time of the state and of its frame that lost the value: alike; that of the bare frames; one
    // that no other has; all alike, so that frames of that time tell two values.
    let times = [(0.25, 0.25), (0.25, bare), (0.25, 0.5), (bare, bare)];
    for (of_state, time) in times {
        for lost in [Lost::Aperture, Lost::Iso] {
            for in_folders in [true, false] {
                let mut all = shots();
                for shot in all.iter_mut().filter(|shot| !shot.filters.is_empty()) {
                    shot.time = Time::Dial(of_state);
                    match lost {
                        Lost::Aperture => shot.f_number = 4.0,
                        Lost::Iso => shot.iso = 400.0,
                    }
                }
                all[3].time = Time::Dial(time);
                if in_folders {
                    for shot in &mut all {
                        let sub = if shot.filters.is_empty() { "bare" } else { "filter" };
                        shot.file = format!("{sub}/{}", shot.file);
                    }
                }
                let home = tempfile::tempdir().unwrap();
                let folder = home.path().join("shoot");
                shoot_without(&folder, &all, lost, |file| file.ends_with("H0004.dng"));
                let found = measured(home.path(), &[]);
                let what = format!(
                    "{lost:?}, {of_state}, {time}, in folders: {in_folders}: {}",
                    found.said
                );
                assert_eq!(found.profile["settings"].as_array().unwrap().len(), 1, "{what}");
                let stops = found.stops();
                assert!((stops - STOPS).abs() < WITHIN, "{stops}, {what}");
                for shot in &all[4..] {
                    assert_eq!(found.verdict(&shot.file), "used", "{}, {what}", shot.file);
                }
                // Named, or shown by the time of its state, it is known what was lost.
                let expected = match time {
                    _ if in_folders || time == 0.25 => "used",
                    _ if of_state == bare => "exposure_untold",
                    _ => "other_level",
                };
                assert_eq!(found.verdict(&all[3].file), expected, "{what}");
                assert!(!found.has_caution("exposure_as_others"), "{what}");
            }
        }
    }
}

/// A lens without contacts tells no aperture in any frame that is used: what the card holds besides
/// is no reason to doubt them, and lends them nothing.
#[test]
fn stray_frames_that_tell_an_aperture_make_no_doubt() {
    // Far too long, so that they clip and are used for nothing; the last two at the times of the
    // shoot, through a lens of their own, in front of something bright.
    let stray = |file: &str, time: f64, f_number: f64, brighter: f64| {
        let mut shot = Shot::of(file, Time::Dial(time), Vec::new());
        (shot.f_number, shot.brighter) = (f_number, brighter);
        shot
    };
    let same_lens = vec![stray("H0010.dng", 2.0, 8.0, 0.0)];
    let other_lens = vec![
        stray("H0010.dng", 1.0 / 60.0, 4.0, 9.0),
        stray("H0011.dng", 1.0 / 60.0, 5.6, 9.0),
        stray("H0012.dng", 1.0, 11.0, 9.0),
    ];
    for (strays, lens) in [(same_lens, None), (other_lens, Some("Invented 24".to_owned()))] {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("shoot");
        let mut all = shots();
        all.extend(strays);
        shoot_with(&folder, &all, |file, exif| {
            let is_stray = file > "H0009.dng";
            exif.f_number = exif.f_number.filter(|_| is_stray);
            if lens.is_some() {
                exif.lens = lens.clone().filter(|_| is_stray);
            }
        });
        let found = measured(home.path(), &[]);
        for shot in &all {
            let is_used = found.verdict(&shot.file) == "used";
            assert_eq!(is_used, shot.file.as_str() < "H0010.dng", "{}, {lens:?}", shot.file);
        }
        let stops = found.stops();
        assert!((stops - STOPS).abs() < WITHIN, "{stops}, {lens:?}: {}", found.said);
        assert!(!found.has_caution("exposure_as_others"), "{}", found.said);
    }
}

/// ExposureTime (Exif 2.32, 4.6.5) of one filtered frame is another than it was, and of the rest of
/// its state a single frame is left: nothing tells which of the two is right, so both are named.
#[test]
fn a_time_that_a_file_tells_wrongly_is_named_where_one_frame_contradicts_it() {
    // A bare frame's ISO, wrong too, that makes it as dark as the wrong one of the filter.
    let cases = [10.0, 3.0, 0.1].iter().flat_map(|&by| [(by, true, None), (by, false, None)]);
    for (factor, writes_apex, iso) in cases.chain([(10.0, true, Some(65_535))]) {
        for wrong in ["H0005.dng", "H0006.dng"] {
            let home = tempfile::tempdir().unwrap();
            let folder = home.path().join("shoot");
            shoot_with(&folder, &shots(), |file, exif| {
                exif.shutter_speed_value = exif.shutter_speed_value.filter(|_| writes_apex);
                if file == "H0007.dng" {
                    exif.iso = iso.or(exif.iso);
                }
                if file == wrong {
                    exif.exposure_time = exif.exposure_time.map(|time| time * factor);
                }
            });
            fs::write(folder.join("H0004.dng"), "lost").unwrap();
            let found = measured(home.path(), &[]);
            let what = format!("{factor}, {writes_apex}, {iso:?}, {wrong}: {}", found.said);
            assert_eq!(found.profile["settings"].as_array().unwrap().len(), 1, "{what}");
            let named = found.said.split("caution: ").find(|said| said.contains("should be equal"));
            let names = |named: &str| named.contains("H0005.dng") && named.contains("H0006.dng");
            assert!(named.is_some_and(names), "{what}");
        }
    }
    // Two frames that agree contradict nothing.
    let home = tempfile::tempdir().unwrap();
    shoot_with(&home.path().join("shoot"), &shots(), |_, _| {});
    fs::write(home.path().join("shoot/H0004.dng"), "lost").unwrap();
    assert!(!measured(home.path(), &[]).has_caution("frames_disagree"));
}
