//! The corpora of the fuzz targets, and seeded mutations of them, through the same entries on the
//! stable toolchain.

#![allow(clippy::unwrap_used)]

use lightloss_planted::entries::ENTRIES;
use lightloss_test_files::small_dng::{SmallDng, Value};
use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::path::{Path, PathBuf};

const MUTATIONS: usize = 3000;
const SEED: u64 = 20_310_517;

fn corpus(target: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target)
}

/// A small DNG with a value of every sort that is read.
fn dng(big: bool) -> Vec<u8> {
    let dng = SmallDng { big, bits: 12, width: 40, active: [1, 24, 7, 39], ..SmallDng::default() };
    let mut tiff = dng.tiff();
    tiff.put(271, Value::Text("Nowhere Optics"));
    tiff.put(50_713, Value::Short(vec![2, 2]));
    tiff.put(50_714, Value::Rational(vec![(1025, 2), (512, 1), (2049, 4), (511, 1)]));
    tiff.put(50_721, Value::SRational([1, 0, 0, 0, 2, 0, 0, 0, 3].map(|n| (n, 2)).to_vec()));
    tiff.put(50_728, Value::Rational(vec![(1, 2), (1, 1), (3, 4)]));
    tiff.put(700, Value::Bytes(b"<dc:subject><rdf:li>dusk</rdf:li></dc:subject>".to_vec()));
    tiff.put_exif(33_434, Value::Rational(vec![(1, 60)]));
    tiff.put_exif(36_867, Value::Text("2031:05:17 09:08:07"));
    tiff.finish()
}

fn mutated(file: &[u8], random: &mut ChaCha8Rng) -> Vec<u8> {
    const WORDS: [&[u8]; 10] =
        [b"1e308", b"-1", b"null", b"\"", b"[[", b"\n=", b",", b"\xff\xff\xff\xff", b"NaN", b"/0"];
    let mut file = file.to_vec();
    for _ in 0..random.random_range(1..6) {
        let at = random.random_range(0..=file.len());
        let end = (at + random.random_range(0..12)).min(file.len());
        match random.random_range(0..6) {
            0 if at < file.len() => file[at] ^= 1 << random.random_range(0..8),
            1 => file.truncate(at),
            2 => drop(file.drain(at..end)),
            3 => {
                let part = file[at..end].to_vec();
                file.splice(at..at, part);
            }
            4 => drop(file.splice(at..end, random.random::<u32>().to_le_bytes()).count()),
            _ => drop(file.splice(at..end, WORDS.choose(random).unwrap().iter().copied()).count()),
        }
    }
    file
}

#[test]
fn every_corpus_and_its_mutations_pass_their_entry() {
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    for (target, entry) in ENTRIES {
        let mut paths: Vec<PathBuf> =
            std::fs::read_dir(corpus(target)).unwrap().map(|e| e.unwrap().path()).collect();
        paths.sort();
        assert!(!paths.is_empty(), "{target} has no corpus");
        let files: Vec<Vec<u8>> = paths.iter().map(|p| std::fs::read(p).unwrap()).collect();
        for (path, file) in paths.iter().zip(&files) {
            assert!(file.len() < 20_000, "{} is no small file", path.display());
            entry(file);
        }
        for _ in 0..MUTATIONS {
            entry(&mutated(files.choose(&mut random).unwrap(), &mut random));
        }
    }
}

/// A corpus that every parser refuses at once tries nothing.
#[test]
fn what_the_corpora_hold_is_understood() {
    let read = |target: &str, name: &str| std::fs::read(corpus(target).join(name)).unwrap();
    let text = |target: &str, name: &str| String::from_utf8(read(target, name)).unwrap();
    for name in ["little.dng", "big.dng"] {
        assert_eq!(read("containers", name), dng(name == "big.dng"), "{name}");
        assert_eq!(lightloss::read::examine(&read("containers", name)), Ok(true), "{name}");
        assert!(!lightloss::read::carried::carried(&read("carried", name)).exif.is_empty());
    }
    assert!(lightloss::read::examine_messages(&read("messages", "request")));
    assert!(lightloss::profile::json::Document::parse(&text("profile", "quay-six.json")).is_ok());
    let record = text("camera_record", "kelmora-two.json");
    assert!(lightloss::body_record::BodyRecord::parse(&record).is_ok());
    assert!(lightloss::shoot_file::ShootFile::parse(&text("shoot_file", "shoot.json")).is_ok());
    let rows = lightloss::editing::used_csv::read_used(&text("used_csv", "used.csv")).unwrap();
    assert_eq!(rows.len(), 3);
    let words = text("arguments", "words.txt");
    assert!(words.lines().any(|w| lightloss::exposure::parse_time(w).is_ok()));
    assert!(words.lines().any(|w| lightloss::exposure::parse_rating(w).is_ok()));
}
