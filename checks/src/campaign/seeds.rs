//! Whole files of every kind that the program may be pointed at, small, all our own; real raw
//! files beside them where `LIGHTLOSS_RAW_SAMPLES` names a folder of some.

use image::{DynamicImage, ImageBuffer, ImageFormat, Rgb};
use lightloss::frame::LinearRgb;
use lightloss::simulate::files::{dng, preview};
use lightloss::simulate::mosaic::render;
use lightloss::tiff::Order;
use lightloss::write::dng::{Compression, DngFile};
use lightloss::write::picture::PictureFile;
use lightloss_planted::small_session;
use lightloss_test_files::raw_seeds;
use lightloss_test_files::small_dng::{SmallDng, SmallTiff, Value};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use std::io::Cursor;
use std::path::Path;

/// A whole file.
pub struct Seed {
    /// Kind by which results are counted.
    pub kind: &'static str,
    /// Extension of its name.
    pub extension: &'static str,
    pub bytes: Vec<u8>,
    /// Whether the program reads it as a frame.
    pub readable: bool,
    /// Whether all-zero last rows cannot be of the frame, since black lies well above zero.
    pub raised_black: bool,
}

fn rendered(change: impl Fn(&mut DngFile)) -> Vec<u8> {
    let (session, shots) = small_session::shoot();
    let frame = render(&session, &session.take(&shots)[2]);
    let mut file = DngFile { preview: preview(&frame), ..dng(&frame) };
    change(&mut file);
    file.encode().unwrap()
}

fn small(bits: u32, big: bool) -> Vec<u8> {
    let dng = SmallDng {
        bits,
        big,
        width: 96,
        height: 64,
        active: [2, 4, 62, 92],
        rows_per_strip: 9,
        ..SmallDng::default()
    };
    let mut tiff = dng.tiff();
    tiff.put(271, Value::Text("Nowhere Optics"));
    tiff.put(272, Value::Text("Field One"));
    tiff.put(50_717, Value::Long(vec![(1 << bits.min(14)) - 1]));
    tiff.put_exif(33_434, Value::Rational(vec![(1, 60)]));
    tiff.finish()
}

fn float() -> Vec<u8> {
    const SIDE: usize = 64;
    let mut tiff = SmallTiff::new(false);
    let light = |i: usize| 0.1 + (i * 37 % 101) as f32 / 200.0;
    let data: Vec<u8> = (0..SIDE * SIDE).flat_map(|i| light(i).to_le_bytes()).collect();
    let place = tiff.part(&data, 0);
    for (tag, value) in [(254, 0), (256, SIDE), (257, SIDE), (278, SIDE), (279, data.len())] {
        tiff.put(tag, Value::Long(vec![value as u32]));
    }
    for (tag, value) in [(258, 32), (259, 1), (262, 32_803), (277, 1), (339, 3)] {
        tiff.put(tag, Value::Short(vec![value]));
    }
    tiff.put(273, Value::Long(vec![place]));
    tiff.put(33_421, Value::Short(vec![2, 2]));
    tiff.put(33_422, Value::Bytes(vec![0, 1, 1, 2]));
    tiff.put(50_706, Value::Bytes(vec![1, 4, 0, 0]));
    tiff.finish()
}

fn picture(random: &mut ChaCha8Rng, format: ImageFormat) -> Vec<u8> {
    let (width, height) = (160, 120);
    let mut out = Cursor::new(Vec::new());
    if format == ImageFormat::Jpeg {
        let pixel = |_, _| Rgb([120 + random.random_range(0..9_u8), 128, 110]);
        let picture = DynamicImage::ImageRgb8(ImageBuffer::from_fn(width, height, pixel));
        picture.write_to(&mut out, format).unwrap();
    } else {
        let pixel = |_, _| Rgb([30_000 + random.random_range(0..900_u16), 33_000, 28_000]);
        let picture = DynamicImage::ImageRgb16(ImageBuffer::from_fn(width, height, pixel));
        picture.write_to(&mut out, format).unwrap();
    }
    out.into_inner()
}

fn tiff_picture(random: &mut ChaCha8Rng) -> Vec<u8> {
    let (width, height) = (160, 120);
    let data =
        (0..3 * width * height).map(|_| random.random_range(20_000..21_000)).collect::<Vec<u16>>();
    let file = PictureFile {
        light: LinearRgb { width, height, data: data.into() },
        orientation: 1,
        icc: None,
        xmp: Some(b"<x:xmpmeta><dc:subject><rdf:Bag><rdf:li>dusk</rdf:li></rdf:Bag></dc:subject></x:xmpmeta>".to_vec()),
        software: "lightloss".into(),
        more: Vec::new(),
        exif: Vec::new(),
        gps: Vec::new(),
    };
    file.encode().unwrap()
}

fn heif() -> Vec<u8> {
    let boxed = |kind: &[u8; 4], content: &[u8]| {
        [&(content.len() as u32 + 8).to_be_bytes(), kind.as_slice(), content].concat()
    };
    let meta = [&[0; 4], boxed(b"hdlr", &[0; 24]).as_slice(), &boxed(b"iloc", &[1; 40])].concat();
    [boxed(b"ftyp", b"heic\0\0\0\0mif1heic"), boxed(b"meta", &meta), boxed(b"mdat", &[7; 400])]
        .concat()
}

/// The image files.
pub fn images(seed: u64) -> Vec<Seed> {
    let random = &mut ChaCha8Rng::seed_from_u64(seed);
    let raised = |kind, extension, bytes| Seed {
        kind,
        extension,
        bytes,
        readable: true,
        raised_black: true,
    };
    let plain =
        |kind, extension, bytes| Seed { raised_black: false, ..raised(kind, extension, bytes) };
    let mut seeds = vec![
        raised("DNG, uncompressed", "dng", rendered(|_| {})),
        raised(
            "DNG, uncompressed",
            "dng",
            rendered(|f| {
                f.order = Order::Big;
                f.preview = None;
            }),
        ),
        raised(
            "DNG, lossless JPEG",
            "dng",
            rendered(|f| f.compression = Compression::LosslessJpeg),
        ),
        plain("DNG, packed", "dng", small(8, false)),
        plain("DNG, packed", "dng", small(12, true)),
        plain("DNG, floating point", "dng", float()),
        plain("TIFF", "tif", tiff_picture(random)),
        plain("TIFF", "tiff", picture(random, ImageFormat::Tiff)),
        plain("CRW", "crw", raw_seeds::crw(random)),
        plain("NEF", "nef", raw_seeds::nef(random)),
        plain("ARW", "arw", raw_seeds::arw(random)),
        plain("KDC", "kdc", raw_seeds::kdc(random)),
        plain("JPEG", "jpg", picture(random, ImageFormat::Jpeg)),
        plain("PNG", "png", picture(random, ImageFormat::Png)),
        Seed { readable: false, ..plain("HEIF", "heic", heif()) },
    ];
    if let Some(folder) = std::env::var_os("LIGHTLOSS_RAW_SAMPLES") {
        seeds.extend(real(Path::new(&folder)));
    }
    seeds
}

/// Kinds of real files that are counted on their own.
const REAL: [(&str, &str, &str); 4] = [
    ("crw", "CRW", "CRW, real"),
    ("nef", "NEF", "NEF, real"),
    ("arw", "ARW", "ARW, real"),
    ("kdc", "KDC", "KDC, real"),
];

fn real(folder: &Path) -> Vec<Seed> {
    let mut paths: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    paths.sort();
    let mut found = Vec::new();
    for path in paths {
        let end = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        let kind = REAL.iter().find(|(e, ..)| *e == end).copied();
        let Some((extension, _, kind)) =
            kind.or((end == "dng").then_some(("dng", "", "DNG, real")))
        else {
            continue;
        };
        let bytes = std::fs::read(&path).unwrap();
        // Of some there is only the beginning: seeds all the same, refused from the start.
        let read = lightloss::read::read_frame(&path, "seed", Default::default());
        found.push(Seed { kind, extension, bytes, readable: read.is_ok(), raised_black: false });
    }
    found
}
