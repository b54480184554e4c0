//! Writes DNG files in every layout, with the planted counts beside them, into the folder given:
//! `cargo run --example oracle_dngs -- FOLDER`; `tests/oracle/dng_pixels.py` then asks LibRaw.

use lightloss::frame::cfa::Cfa;
use lightloss::frame::{BlackPattern, Frame, Samples};
use lightloss::simulate::camera::{Camera, Lens, Time};
use lightloss::simulate::files::{dng, preview};
use lightloss::simulate::mosaic::render;
use lightloss::simulate::scene::Scene;
use lightloss::simulate::session::{Session, Shot};
use lightloss::tiff::Order;
use lightloss::write::dng::{Compression, DngFile};
use lightloss::write::write_replacing;
use std::error::Error;
use std::path::{Path, PathBuf};

const BAYER: [&str; 4] = ["RGGB", "GRBG", "GBRG", "BGGR"];
/// Masked columns and rows: none, odd in one direction, odd in both. Not above 6, since LibRaw 0.22
/// turns a 6 x 6 pattern by a negative index beyond that.
const ORIGINS: [(usize, usize); 4] = [(0, 0), (5, 0), (6, 3), (5, 1)];

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args_os().nth(1).map(PathBuf::from).ok_or("which folder?")?;
    std::fs::create_dir_all(&folder)?;
    let six = Camera::xtrans(12, 12).cfa.letters();
    let patterns: Vec<&str> = BAYER.into_iter().chain([six.as_str()]).collect();
    let mut list = Vec::new();
    for letters in patterns {
        for origin in ORIGINS {
            for bits in [12, 14, 16] {
                let frame = frame(letters, origin, bits)?;
                for order in [Order::Little, Order::Big] {
                    for compression in [Compression::None, Compression::LosslessJpeg] {
                        list.push(put(&folder, &frame, (letters, bits), order, compression)?);
                    }
                }
            }
        }
    }
    let text = serde_json::to_string_pretty(&list)?;
    write_replacing(&folder.join("list.json"), text.as_bytes())?;
    Ok(())
}

fn frame(letters: &str, (left, top): (usize, usize), bits: u32) -> Result<Frame, Box<dyn Error>> {
    let full = f64::from((1_u32 << bits) - 1);
    let black = (full / 32.0).floor();
    let values = [0.0, 0.25, -0.5, 1.0].map(|d| black + d).to_vec();
    let camera = Camera {
        cfa: Cfa::from_letters(letters)?,
        black: BlackPattern { rows: 2, columns: 2, values },
        white: (full * 0.97) as u16,
        gain: full / 65_000.0,
        ..Camera::bayer(290, 262)
    }
    .with_border(left, top);
    let scene = Scene { lean: (1.5, 40.0), ..Scene::daylight(20.0, [0.6, 1.0, 0.7]) };
    let seed = u64::from(bits) + (left * 16 + top) as u64;
    let session = Session::new(camera, Lens::of(24.0), scene, seed);
    let taken = session.take(&[Shot::of("one.dng", Time::Dial(1.0 / 30.0), Vec::new())]);
    Ok(render(&session, &taken[0]))
}

fn put(
    folder: &Path,
    frame: &Frame,
    (letters, bits): (&str, u32),
    order: Order,
    compression: Compression,
) -> Result<serde_json::Value, Box<dyn Error>> {
    let Samples::Raw(mosaic, cfa) = &frame.samples else { return Err("not a mosaic".into()) };
    let packed = compression == Compression::LosslessJpeg;
    let kind = if letters.len() == 4 { letters } else { "SIX" };
    let area = frame.active;
    let letters_of_order = if order == Order::Little { "ii" } else { "mm" };
    let way = if packed { "ljpeg" } else { "plain" };
    let name = format!("{kind}-{}x{}-{bits}-{letters_of_order}-{way}", area.left, area.top);
    // files with a preview hold the mosaic in a sub-image
    let preview = if packed { preview(frame) } else { None };
    let file = DngFile { order, compression, preview, ..dng(frame) };
    write_replacing(&folder.join(format!("{name}.dng")), &file.encode()?)?;
    let bytes: Vec<u8> = mosaic.data.iter().flat_map(|v| v.to_le_bytes()).collect();
    write_replacing(&folder.join(format!("{name}.u16")), &bytes)?;
    Ok(serde_json::json!({
        "name": name,
        "width": mosaic.width,
        "height": mosaic.height,
        "active": [area.left, area.top, area.width, area.height],
        "letters": cfa.letters(),
        "white": frame.levels.white,
        "black": frame.levels.black.values,
        "neutral": frame.info.as_shot_neutral,
    }))
}
