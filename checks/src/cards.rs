//! Messy cards, counted: `cards --folders 200`.
//!
//! Each folder holds one shoot (or two, which must be refused) and everything that ends up on a
//! card beside it, alone and combined, from a seed. Fails where a strength lies outside its u95
//! without a caution of grade number that names the cause, where a frame is used that a person
//! would not have used, or where fewer than 95 % of the folders with one measurable shoot are
//! measured without a flag. `--keep` writes the counts to `reports/cards/cards.txt`.

mod card;
mod recipe;
mod tried;

use crate::Verdict;
use crate::kept::keep;
use crate::program::Program;
use card::{bare, card, planted, session, through};
use lightloss::simulate::camera::Camera;
use lightloss::simulate::files::write_all;
use lightloss::write::dng::Compression;
use rayon::prelude::*;
use recipe::recipe;
use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;
use tried::{Outcome, tried};

const MEASURED_SHARE: f64 = 0.95;
const WHOLE: u64 = 200;

/// A few folders of real files through the program.
fn files(program: &Program, report: &mut String) -> usize {
    let mut faults = 0;
    for seed in 0..2_u64 {
        let home = tempfile::tempdir().unwrap();
        let mut session = session(900 + seed);
        session.camera = Camera { seed: 417, ..Camera::bayer(576, 384) };
        session.camera.shutter.offsets = 0.0;
        let mut shots = bare();
        shots.extend(through(6.0 + seed as f64));
        shots.extend(bare());
        for (n, shot) in shots.iter_mut().enumerate() {
            let folder = if n < 4 { "100ABCDE" } else { "101ABCDE" };
            shot.file = format!("{folder}/P{:04}.dng", (9995 + n) % 10_000);
        }
        let card = home.path().join("card");
        let taken = session.take(&shots);
        write_all(&session, &taken, &card, Compression::LosslessJpeg, false).unwrap();
        litter(&card);
        let output = Command::new(program.path())
            .args(["measure", "card", "--format", "json"])
            .current_dir(home.path())
            .output()
            .unwrap();
        let value: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap_or_default();
        let strength = &value["settings"][0]["strength"];
        let error =
            strength["stops"].as_f64().unwrap_or(f64::NAN) - planted(&session, 6.0 + seed as f64);
        let good = output.status.code() == Some(0)
            && error.abs() <= strength["u95"].as_f64().unwrap_or(0.0);
        if !good {
            faults += 1;
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            writeln!(report, "files, seed {seed}: {:?} off by {error:.4}: {said}", output.status)
                .unwrap();
        }
    }
    faults
}

/// What else lies on a card.
fn litter(card: &Path) {
    let folder = card.join("100ABCDE");
    let picture = image::RgbImage::from_fn(90, 60, |x, y| image::Rgb([x as u8, y as u8, 90]));
    picture.save(folder.join("P9995.JPG")).unwrap();
    for (name, bytes) in [
        ("P9996.HIF", b"\0\0\0\x18ftypheic".as_slice()),
        ("P9996.xmp", b"<x/>"),
        ("._P9997.dng", b"\0\x05\x16\x07"),
        ("P9997.THM", b"thumb"),
        ("MVI_0001.MP4", b"film"),
        ("INDEX.CTG", b"index"),
    ] {
        std::fs::write(folder.join(name), bytes).unwrap();
    }
}

#[derive(clap::Args)]
pub struct Options {
    #[arg(long, default_value_t = WHOLE)]
    folders: u64,
    /// Write the counts to reports/cards/cards.txt
    #[arg(long)]
    keep: bool,
}

pub fn check(&Options { folders: count, keep: kept }: &Options, program: &Program) -> Verdict {
    // A short campaign is spread over the whole of a long one.
    let step = (WHOLE / count.max(1)).max(1);
    let outcomes: Vec<Outcome> = (0..count)
        .into_par_iter()
        .map(|n| {
            let n = n * step;
            let (shape, messes) = recipe(n);
            tried(&card(shape, &messes, 1000 + n))
        })
        .collect();
    let mut report = String::new();
    for o in &outcomes {
        for (what, list) in [("outside u95", &o.outside), ("used by mistake", &o.misused)] {
            if !list.is_empty() {
                writeln!(report, "{what}: {}: {}", o.what, list.join("; ")).unwrap();
            }
        }
        if o.measurable && !o.measured {
            writeln!(report, "not measured: {}: {}", o.what, o.note).unwrap();
        }
        if o.must_refuse && !o.refused {
            writeln!(report, "not refused as it should be: {}: {}", o.what, o.note).unwrap();
        }
    }
    let number = |test: &dyn Fn(&Outcome) -> bool| outcomes.iter().filter(|o| test(o)).count();
    let measurable = number(&|o| o.measurable);
    let measured = number(&|o| o.measurable && o.measured);
    let twofold = number(&|o| o.must_refuse);
    let refused = number(&|o| o.must_refuse && o.refused);
    let outside = number(&|o| !o.outside.is_empty());
    let misused = number(&|o| !o.misused.is_empty());
    writeln!(
        report,
        "{count} folders: {measurable} with one measurable shoot, {measured} of them measured \
         without a flag; {twofold} with two shoots, {refused} of them refused with a ready command \
         each that measures; {outside} with a strength outside its u95 and no caution that names \
         the cause; {misused} with a frame used that a person would not have used"
    )
    .unwrap();
    let faults = files(program, &mut report);
    writeln!(report, "2 cards of real files through the program, {faults} not as they should be")
        .unwrap();
    print!("{report}");
    if kept {
        keep("cards/cards.txt", &report);
    }
    let good = [outside, misused, faults].iter().all(|n| *n == 0) && refused == twofold;
    if good && measured as f64 >= MEASURED_SHARE * measurable as f64 {
        return Ok(());
    }
    Err("not as a person would have it; see above".into())
}
