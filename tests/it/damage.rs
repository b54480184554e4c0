//! Damaged files, as a failing card or a bad copy leaves them: the number stays right, and each is
//! left out by name. The damage is done to bytes that the program's own writer made; what it does to
//! them here follows from the file formats alone (TIFF 6.0; DNG 1.7.1; ITU-T T.81).

#![cfg(unix)]
#![allow(clippy::unwrap_used)]

use crate::support::{program, within};
use lightloss::frame::{Area, BlackPattern};
use lightloss::read::{ReadOptions, frame_of};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files::write_all;
use lightloss::simulate::filter::Filter;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::tiff::{Tiff, tag};
use lightloss::write::dng::Compression;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use std::fs;
use std::ops::Range;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(60);
const SIZE: (usize, usize) = (576, 384);
pub const STOPS: f64 = 6.0;
/// Planted strength and answer: the shutter is perfect here, so that only noise differs.
pub const WITHIN: f64 = 0.01;

pub fn camera(black: f64) -> Camera {
    let mut camera = Camera::bayer(SIZE.0, SIZE.1);
    camera.shutter.offsets = 0.0;
    camera.black = BlackPattern::uniform(black);
    camera
}

/// Bare, filtered, bare, three frames each.
pub fn shots() -> Vec<Shot> {
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

pub struct Measured {
    pub profile: Value,
    pub said: String,
}

pub fn measured(folder: &Path, more: &[&str]) -> Measured {
    let mut command = program();
    command.args(["measure", "shoot", "--format", "json"]).args(more).current_dir(folder);
    let output = within(&mut command, PATIENCE);
    Measured {
        profile: serde_json::from_slice(&output.stdout).unwrap_or_default(),
        said: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

impl Measured {
    pub fn verdict(&self, file: &str) -> String {
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
