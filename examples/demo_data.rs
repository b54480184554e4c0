//! Renders what lies in `demo-data/`: the small shoot and the planted truth of the whole scenario.
//!
//! Run `cargo run --release --example demo_data` in the repository; the folder may be given as an
//! argument.

use lightloss::simulate::demo::{self, DemoShoot};
use lightloss::simulate::evening::evening;
use lightloss::simulate::files::{dng, preview};
use lightloss::simulate::mosaic::render;
use lightloss::write::dng::{Compression, DngFile};
use lightloss::write::write_replacing;
use std::error::Error;
use std::path::{Path, PathBuf};

fn main() -> Result<(), Box<dyn Error>> {
    let out = std::env::args_os().nth(1).map_or_else(|| PathBuf::from("demo-data"), PathBuf::from);
    let small = demo::harbour_ten(demo::SMALL);
    render_shoot(&small, &out.join(small.folder))?;
    let mut shoots = demo::shoots();
    shoots.push(DemoShoot { folder: "harbour-ten (small)", ..small });
    let described: Vec<serde_json::Value> = shoots
        .iter()
        .map(|s| {
            serde_json::json!({
                "folder": s.folder,
                "filter": s.filter,
                "focal_length_mm": s.session.lens.focal_length,
                "frames": s.shots.len(),
                "planted": s.truth,
            })
        })
        .collect();
    let document = serde_json::json!({ "shoots": described, "evening": evening().planted });
    let text = format!("{}\n", serde_json::to_string_pretty(&document)?);
    write_replacing(&out.join("truth.json"), text.as_bytes())?;
    Ok(())
}

fn render_shoot(shoot: &DemoShoot, folder: &Path) -> Result<(), Box<dyn Error>> {
    std::fs::create_dir_all(folder)?;
    for one in shoot.taken() {
        let frame = render(&shoot.session, &one);
        let file = DngFile {
            compression: Compression::LosslessJpeg,
            preview: preview(&frame),
            software: Some(format!("lightloss {} (simulated)", env!("CARGO_PKG_VERSION"))),
            ..dng(&frame)
        };
        write_replacing(&folder.join(&one.shot.file), &file.encode()?)?;
    }
    Ok(())
}
