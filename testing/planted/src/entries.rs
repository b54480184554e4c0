//! An entry for every parser of our own: any bytes in, no panic, and what must hold of whatever was
//! understood. Shared by the fuzz targets and the tests of their corpus.

use lightloss::body_record::BodyRecord;
use lightloss::editing::used_csv::{read_used, write_used};
use lightloss::exposure::{parse_rating, parse_time};
use lightloss::profile::json::{Document, to_text};
use lightloss::shoot_file::ShootFile;

/// What is done with any bytes.
pub type Entry = fn(&[u8]);

/// Entries by the names of their targets and corpora.
pub const ENTRIES: [(&str, Entry); 8] = [
    ("containers", containers),
    ("carried", carried),
    ("messages", messages),
    ("profile", profile),
    ("camera_record", camera_record),
    ("shoot_file", shoot_file),
    ("used_csv", used_csv),
    ("arguments", arguments),
];

/// What a file is, its directories and extents, its Exif and keywords; no pixels.
pub fn containers(bytes: &[u8]) {
    if let Err(broken) = lightloss::read::examine(bytes) {
        panic!("{broken}");
    }
}

/// What a corrected copy carries over.
pub fn carried(bytes: &[u8]) {
    let carried = lightloss::read::carried::carried(bytes);
    let all = [&carried.root, &carried.raw, &carried.exif, &carried.gps];
    for entry in all.into_iter().flatten() {
        assert!(entry.bytes.len() <= bytes.len());
    }
    for word in lightloss::read::xmp::words(bytes) {
        assert!(!word.is_empty());
    }
}

/// Messages between the program and its workers.
pub fn messages(bytes: &[u8]) {
    lightloss::read::examine_messages(bytes);
}

/// Whatever is read as a profile can be written and read again, and has a page.
pub fn profile(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(document) = Document::parse(text) else { return };
    let Ok(text) = to_text(&document.profile) else { return };
    let again = Document::parse(&text).expect("what was written is read");
    assert_eq!(again.profile, document.profile);
    drop(lightloss::report::page(&document.profile));
}

/// Whatever is read as a camera record can be written and read again, has a page, and is of use to a
/// shoot at any of its times.
pub fn camera_record(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(record) = BodyRecord::parse(text) else { return };
    let text = record.to_text().expect("what was read is sound");
    assert_eq!(BodyRecord::parse(&text).expect("what was written is read"), record);
    lightloss::report::camera_page::camera_page(&record).expect("a record has a page");
    for time in &record.times.list {
        assert!(record.at(time.shown_s).is_some(), "{}", time.dial);
    }
    for line in lightloss::report::camera_page::text(&record).lines() {
        assert!(!line.contains("NaN") && !line.contains("inf"), "{line}");
    }
}

/// Whatever is read as a shoot's document can be written and read again.
pub fn shoot_file(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(file) = ShootFile::parse(text) else { return };
    let Ok(text) = file.to_text() else { return };
    assert_eq!(ShootFile::parse(&text).expect("what was written is read"), file);
}

/// Rows come back as they were, and no cell of a written table begins a formula.
pub fn used_csv(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    let Ok(rows) = read_used(text) else { return };
    let Ok(text) = write_used(&rows) else { return };
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    for cell in reader.records().flat_map(|r| {
        r.expect("a table was written").into_iter().map(str::to_owned).collect::<Vec<_>>()
    }) {
        let formula = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
        assert!(!formula || cell.parse::<f64>().is_ok(), "{cell:?}");
    }
    let again = read_used(&text).expect("what was written is read");
    assert_eq!(again.len(), rows.len());
    for (a, b) in again.iter().zip(&rows) {
        assert_eq!((&a.file, &a.filters), (&b.file, &b.filters));
    }
}

/// Times and ratings of the command line.
pub fn arguments(bytes: &[u8]) {
    let Ok(text) = std::str::from_utf8(bytes) else { return };
    for word in text.lines() {
        if let Ok(time) = parse_time(word) {
            let seconds = time.seconds().get();
            assert!(seconds.is_finite() && seconds > 0.0, "{word:?}: {seconds}");
            assert!(parse_time(&time.text()).is_ok() || time.text().contains(' '), "{word:?}");
        }
        if let Ok(rating) = parse_rating(word) {
            let all = rating.single().into_iter().chain(rating.range().into_iter().flatten());
            for stops in all {
                assert!(stops.get().is_finite() && stops.get() > 0.0, "{word:?}");
            }
        }
    }
}
