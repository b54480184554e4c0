//! The scenario's evening at the shore: photographs of which only some went through a filter.

use crate::simulate::camera::{Lens, Time};
use crate::simulate::demo::{SIZE, camera, kit};
use crate::simulate::files::{self, FilesError};
use crate::simulate::filter::Filter;
use crate::simulate::motif::Motif;
use crate::simulate::scene::{Scene, daylight_rgb};
use crate::simulate::session::{Session, Shot};
use crate::write::dng::Compression;
use crate::write::write;
use jiff::civil::date;
use serde::Serialize;
use std::path::Path;

/// A photograph and what was in front of the lens.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Planted {
    /// File name.
    pub file: String,
    /// Names of the filters, none for a bare metering.
    pub filters: Vec<&'static str>,
    /// The bare metering of the same scene, where one was made.
    pub bare_frame: Option<String>,
    /// Number of the panorama or bracket it belongs to.
    pub series: Option<u32>,
    /// A keyword in its XMP sidecar.
    pub keyword: Option<&'static str>,
}

/// The evening's folder.
#[derive(Clone, Debug, PartialEq)]
pub struct Evening {
    /// Camera, lens and light.
    pub session: Session,
    /// Shots in order.
    pub shots: Vec<Shot>,
    /// What was planted, in the same order.
    pub planted: Vec<Planted>,
}

/// Green share of full scale per second at f/8 and ISO 100: a shore soon after sunset.
const LEVEL: f64 = 3.2;
/// Stops per minute by which the evening fades.
const FADE: f64 = -0.02;
const KELVIN: f64 = 7200.0;
/// Seconds of walking to the next place: longer than any metering holds.
const WALK_S: f64 = 1260.0;
/// Seconds to screw a filter on.
const MOUNT_S: f64 = 40.0;
/// Turn between two pictures of a panorama, in frame widths.
const TURN: f64 = 0.6;

impl Evening {
    /// Renders the photographs and their sidecars into a folder.
    ///
    /// # Errors
    /// Where the system refuses, or files are there already and are not to be replaced.
    pub fn write(&self, folder: &Path, replace: bool) -> Result<(), FilesError> {
        let taken = self.session.take(&self.shots);
        files::write_all(&self.session, &taken, folder, Compression::None, replace)?;
        for planted in &self.planted {
            if let Some(keyword) = planted.keyword {
                let path = folder.join(&planted.file).with_extension("xmp");
                write(&path, sidecar(keyword).as_bytes(), replace)?;
            }
        }
        Ok(())
    }
}

/// A packet with one keyword (ISO 16684-1: `dc:subject` is an unordered array).
fn sidecar(keyword: &str) -> String {
    format!(
        "<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n\
         <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n\
         <rdf:Description rdf:about=\"\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\">\n\
         <dc:subject><rdf:Bag><rdf:li>{keyword}</rdf:li></rdf:Bag></dc:subject>\n\
         </rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n"
    )
}

struct Book {
    shots: Vec<Shot>,
    planted: Vec<Planted>,
    bare: Option<String>,
}

impl Book {
    fn add(&mut self, motif: Motif, time: f64, kit: &[(&'static str, Filter)], pause_s: f64) {
        const FIRST: usize = 3301;
        let file = format!("SKA_{:04}.dng", FIRST + self.shots.len());
        let filters: Vec<Filter> = kit.iter().map(|(_, f)| f.clone()).collect();
        if kit.is_empty() {
            self.bare = Some(file.clone());
        }
        let set = if time > 30.0 { Time::Timer(time) } else { Time::Dial(time) };
        self.shots.push(Shot { motif, pause_s, ..Shot::of(&file, set, filters) });
        self.planted.push(Planted {
            file,
            filters: kit.iter().map(|(name, _)| *name).collect(),
            bare_frame: self.bare.clone(),
            series: None,
            keyword: None,
        });
    }
}

/// The evening: the ten-stop with a keyword, the three-stop, both stacked, a panorama through the three-stop,
/// and a last picture of something else that nothing tells about.
#[must_use]
pub fn evening() -> Evening {
    let (ten, three) = (("Harbour Ten", kit::harbour_ten()), ("Weir Three", kit::weir_three()));
    let both = [ten.clone(), three.clone()];
    let mut book = Book { shots: Vec::new(), planted: Vec::new(), bare: None };
    // the first place: metered bare, then ten stops
    book.add(Motif::Shore(0.0), 1.0 / 8.0, &[], MOUNT_S);
    book.add(Motif::Shore(0.0), 160.0, std::slice::from_ref(&ten), MOUNT_S);
    // ten stops more than bare, or ten more than three: light alone cannot tell, a keyword does
    if let Some(last) = book.planted.last_mut() {
        last.keyword = Some(ten.0);
    }
    // the second: three stops, then both
    book.add(Motif::Shore(2.3), 1.0 / 8.0, &[], WALK_S);
    book.add(Motif::Shore(2.3), 1.0, std::slice::from_ref(&three), MOUNT_S);
    book.add(Motif::Shore(2.3), 480.0, &both, MOUNT_S);
    // the third: a panorama through three stops
    book.add(Motif::Shore(5.0), 1.0 / 4.0, &[], WALK_S);
    let panorama = book.shots.len();
    for i in 0..4 {
        let pause = if i == 0 { MOUNT_S } else { 3.0 };
        let view = Motif::Shore(5.0 + TURN * f64::from(i));
        book.add(view, 2.0, std::slice::from_ref(&three), pause);
    }
    book.planted[panorama..].iter_mut().for_each(|p| p.series = Some(1));
    // on the way home: bare, and no metering beside it
    book.add(Motif::Window, 1.0 / 4.0, &[], WALK_S);
    if let Some(last) = book.planted.last_mut() {
        last.bare_frame = None;
    }
    let camera = camera(SIZE);
    let light = camera.matrices.first().map_or([1.0; 3], |m| daylight_rgb(KELVIN, m));
    let scene = Scene { drift: FADE, ..Scene::daylight(LEVEL, light) };
    let mut session = Session::new(camera, Lens::of(24.0), scene, 5);
    session.starts = Some(date(2026, 4, 25).at(20, 41, 7, 120_000_000));
    Evening { session, shots: book.shots, planted: book.planted }
}
