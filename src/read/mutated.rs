//! Seeded mutations of small files through the parsers of this crate: whatever the bytes, they
//! return, and what the preflight lets pass lies within the file.

use super::containers::cr3_exif;
use super::examined::{examine, examine_messages};
use super::{ciff, preflight, vendor};
use lightloss_test_files::small_dng::{SmallDng, Value};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

const MUTATIONS: usize = 600;
const SEED: u64 = 20_310_517;

fn dng_file(big: bool) -> Vec<u8> {
    let dng = SmallDng { big, bits: 12, width: 40, active: [1, 24, 7, 39], ..SmallDng::default() };
    let mut tiff = dng.tiff();
    tiff.put(50_713, Value::Short(vec![2, 2]));
    tiff.put(50_714, Value::Rational(vec![(1025, 2), (512, 1), (2049, 4), (511, 1)]));
    tiff.put(50_712, Value::Short((0..64).collect()));
    tiff.put(50_721, Value::SRational([1, 0, 0, 0, 2, 0, 0, 0, 3].map(|n| (n, 2)).to_vec()));
    tiff.put(50_728, Value::Rational(vec![(1, 2), (1, 1), (3, 4)]));
    tiff.put_exif(33_434, Value::Rational(vec![(1, 60)]));
    tiff.put_exif(36_867, Value::Text("2031:05:17 09:08:07"));
    tiff.finish()
}

/// A heap of two records, their directory and its place at the end.
fn crw_file() -> Vec<u8> {
    let mut file = b"II\x1a\0\0\0HEAPCCDR\0\0\0\0\0\0\0\0\0\0\0\0".to_vec();
    file.extend([7; 40]);
    file.extend(2_u16.to_le_bytes());
    for (kind, size, place) in [(0x2005_u16, 20_u32, 0_u32), (0x102a, 20, 20)] {
        file.extend(kind.to_le_bytes());
        file.extend(size.to_le_bytes());
        file.extend(place.to_le_bytes());
    }
    file.extend(40_u32.to_le_bytes());
    file
}

fn boxed(kind: &[u8; 4], content: &[u8]) -> Vec<u8> {
    [&((content.len() + 8) as u32).to_be_bytes(), kind.as_slice(), content].concat()
}

fn cr3_file() -> Vec<u8> {
    let tiff = dng_file(false);
    let inner = [vec![0; 16], boxed(b"CMT1", &tiff), boxed(b"CMT2", &tiff)].concat();
    [boxed(b"ftyp", b"crx \0\0\0\0"), boxed(b"moov", &boxed(b"uuid", &inner)), boxed(b"mdat", b"x")]
        .concat()
}

fn raf_file() -> Vec<u8> {
    let mut file = b"FUJIFILMCCD-RAW ".to_vec();
    file.resize(84, b'0');
    for (place, length) in [(108_u32, 20_u32), (128, 20), (148, 20)] {
        file.extend(place.to_be_bytes());
        file.extend(length.to_be_bytes());
    }
    file.resize(168, 1);
    file
}

fn mrw_file() -> Vec<u8> {
    let mut block = vec![0; 24];
    block[8..12].copy_from_slice(&[0, 4, 0, 6]);
    block[16] = 12;
    let blocks = [b"\0PRD".as_slice(), &24_u32.to_be_bytes(), &block].concat();
    let head = [b"\0MRM".as_slice(), &(blocks.len() as u32).to_be_bytes(), &blocks].concat();
    [head, vec![3; 36]].concat()
}

fn jpeg_file() -> Vec<u8> {
    let frame = b"\xff\xd8\xff\xc3\0\x0b\x0c\0\x07\0\x28\x01\0\x11\0";
    [frame.as_slice(), b"\xff\xda\0\x08\x01\0\0\0\0\0", &[9; 30], b"\xff\0\xff\xd0\xff\xd9"]
        .concat()
}

fn mutated(file: &[u8], random: &mut ChaCha8Rng) -> Vec<u8> {
    let mut file = file.to_vec();
    for _ in 0..random.random_range(1..6) {
        let at = random.random_range(0..file.len());
        match random.random_range(0..4) {
            0 => file[at] ^= 1 << random.random_range(0..8),
            1 => file[at] = [0, 1, 0x7f, 0x80, 0xff][random.random_range(0..5)],
            2 => {
                let end = (at + 4).min(file.len());
                let value = [0, 1, u32::MAX, i32::MAX.cast_unsigned(), random.random()];
                let bytes = value[random.random_range(0..5)].to_le_bytes();
                file[at..end].copy_from_slice(&bytes[..end - at]);
            }
            _ => file.truncate(at.max(1)),
        }
    }
    file
}

/// Whether the preflight let a picture pass; what it promises must hold.
fn passes(file: &[u8]) -> bool {
    examine(file).unwrap_or_else(|broken| panic!("{broken}"))
}

#[test]
fn mutated_files_neither_panic_nor_pass_with_missing_pixels() {
    let files = [
        dng_file(false),
        dng_file(true),
        crw_file(),
        cr3_file(),
        raf_file(),
        mrw_file(),
        jpeg_file(),
    ];
    assert!(passes(&files[0]) && passes(&files[1]));
    assert!(ciff::Heap::parse(&files[2]).is_ok());
    assert!(cr3_exif(&files[3]).is_some() && vendor::cr3(&files[3]).is_ok());
    assert!(vendor::raf(&files[4]).is_ok());
    assert!(vendor::mrw(&files[5]).is_ok());
    assert_eq!(preflight::jpeg_samples(&files[6]), Some(40 * 7));
    assert!(preflight::jpeg_complete(&files[6]));
    let mut random = ChaCha8Rng::seed_from_u64(SEED);
    let mut passed = 0;
    for file in &files {
        for _ in 0..MUTATIONS {
            let file = mutated(file, &mut random);
            passed += usize::from(passes(&file));
            examine_messages(&file);
        }
    }
    // Some mutations do no harm, most do: otherwise nothing was tried.
    assert!(passed > MUTATIONS / 20 && passed < 2 * MUTATIONS, "{passed}");
}
