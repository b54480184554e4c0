//! The light without the filter, as a person names it: a frame must be one, and a temperature is that of
//! daylight or of a lamp.

#![allow(clippy::unwrap_used)]

use crate::editing::{LIGHT, SIX, dng, evening, lightloss, planted, text, through};
use lightloss::editing::used_csv::{UsedRow, write_used};
use std::path::Path;

const SIX_JSON: &str = "Heron Six.json";
const OUT: [&str; 4] = ["correct", "L0002.dng", "--profile", SIX_JSON];
/// How near a neutral must come to the planted one, as a share: the table has four decimals, and the
/// formula of daylight lies so near to the tabulated chromaticities. A black body is 3 % away.
const NEUTRAL: f64 = 0.002;

fn run(at: &Path, words: &[&[&str]]) -> (Option<i32>, String) {
    let output = lightloss(at, &words.concat());
    (output.status.code(), text(&output.stdout) + &text(&output.stderr))
}

fn refused(at: &Path, words: &[&[&str]], why: &str) -> String {
    let (status, said) = run(at, words);
    assert!(status != Some(0) && said.contains(why), "{words:?}: {status:?}: {said}");
    assert!(!at.join("corrected/L0002-corrected.dng").exists(), "{words:?}: written all the same");
    said
}

fn done(at: &Path, words: &[&[&str]]) {
    let (status, said) = run(at, &[words, &[&["--replace"]]].concat());
    assert_eq!(status, Some(0), "{words:?}: {said}");
}

/// The one row of the table of numbers, by its column.
fn number(at: &Path, column: &str) -> f64 {
    let table = std::fs::read_to_string(at.join("corrected/corrections.csv")).unwrap();
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let place = reader.headers().unwrap().iter().position(|h| h == column).unwrap();
    let row = reader.records().next().unwrap().unwrap();
    row.get(place).unwrap().parse().unwrap()
}

#[test]
fn a_corrected_frame_is_no_light_without_the_filter() {
    let (folder, _) = planted();
    let at = folder.path();
    done(
        at,
        &[&["correct", "L0003.dng", "--profile", SIX_JSON, "--white", "as-shot", "--out", "once"]],
    );
    std::fs::rename(at.join("once/L0003-corrected.dng"), at.join("wall.dng")).unwrap();
    let said = refused(at, &[&OUT, &["--white", "wall.dng"]], "was corrected (Heron Six; gains");
    assert!(said.ends_with("give a frame made without the filter, or a temperature\n"), "{said}");
    done(at, &[&OUT, &["--white", "L0001.dng"]]);
    // The neutral through the filter, once: LIGHT times 2^(6.10 - 6.00) in red.
    let planted = LIGHT[0] * (SIX[1] - SIX[0]).exp2();
    assert!((number(at, "neutral_red") / planted - 1.0).abs() < NEUTRAL);
    done(at, &[&OUT, &["--white", "5600"]]);
}

#[test]
fn a_frame_that_the_table_knows_as_filtered_is_none_either() {
    let (folder, _) = planted();
    let at = folder.path();
    let table = |of_frame: &[&str]| {
        let row = |file: &str, filters: &[&str]| UsedRow {
            file: file.into(),
            filters: Some(filters.iter().map(|f| (*f).to_owned()).collect()),
            profiles: vec![SIX_JSON.into()],
            ..UsedRow::default()
        };
        let rows = [row("L0002.dng", &["Heron Six"]), row("L0003.dng", of_frame)];
        std::fs::write(at.join("used.csv"), write_used(&rows).unwrap()).unwrap();
    };
    table(&["Heron Six"]);
    let asked = ["correct", "L0002.dng", "--used", "used.csv", "--white"];
    let said = refused(at, &[&asked, &["L0003.dng"]], "the table says that it was made through");
    for advice in ["a frame made without a filter", "a temperature", "say in the table"] {
        assert!(said.contains(advice), "{advice}: {said}");
    }
    done(at, &[&asked, &["L0001.dng"]]);
    done(at, &[&asked, &["5600"]]);
    table(&[]);
    done(at, &[&asked, &["L0003.dng"]]);
}

#[test]
fn a_frame_of_another_camera_is_refused() {
    let (folder, _) = planted();
    let at = folder.path();
    let photo = &evening()[0];
    let other = |name: &str, model: &str, matrices: bool| {
        let mut file = dng(photo, through(photo));
        file.model = Some(model.into());
        if !matrices {
            file.matrices.clear();
        }
        std::fs::write(at.join(name), file.encode().unwrap()).unwrap();
    };
    other("other.dng", "Three", true);
    let said =
        refused(at, &[&OUT, &["--white", "other.dng"]], "of another camera (Three, this is One)");
    assert!(said.contains("a frame of this camera") && said.contains("or a temperature"), "{said}");
    done(at, &[&OUT, &["--white", "L0001.dng"]]);
    done(at, &[&OUT, &["--white", "5600"]]);
}

/// CIE 15:2018, table T.3: D55 and D65 have these chromaticities, which the planted matrix (XYZ to
/// camera) sees so; a row tells the light that was taken, not that of the file.
#[test]
fn a_temperature_is_daylight_and_the_table_tells_it() {
    const MATRIX: [f64; 9] =
        [1.7823, -0.8455, -0.2742, -0.9689, 1.8758, 0.0415, 0.0345, -0.1265, 0.6553];
    let (folder, _) = planted();
    let at = folder.path();
    for (kelvin, [x, y]) in [("5503", [0.332_43, 0.347_44]), ("6504", [0.312_72, 0.329_03])] {
        done(at, &[&OUT, &["--white", kelvin]]);
        let xyz = [x / y, 1.0, (1.0 - x - y) / y];
        let camera: [f64; 3] =
            std::array::from_fn(|r| (0..3).map(|c| MATRIX[3 * r + c] * xyz[c]).sum());
        for (channel, column) in [(0, "neutral_red"), (2, "neutral_blue")] {
            let bare = camera[channel] / camera[1];
            let planted = bare * (SIX[1] - SIX[channel]).exp2();
            let found = number(at, column);
            assert!(
                (found / planted - 1.0).abs() < NEUTRAL,
                "{kelvin} {column}: {found} {planted}"
            );
        }
        let before = number(at, "kelvin_before");
        // The correlated temperature of daylight is its nominal one within a few kelvin.
        assert!((before - kelvin.parse::<f64>().unwrap()).abs() < 5.0, "{kelvin}: {before}");
        assert!((number(at, "green_magenta_duv_before") - 0.0033).abs() < 0.0003);
    }
}
