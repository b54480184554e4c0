//! The demo's two filters whose owner asks what they do to the picture: a resin sheet under
//! suspicion, and a clean one of glass. Frames of a target, a dark hole and a lamp, bare and through
//! them.

use crate::simulate::camera::Time;
use crate::simulate::filter::Filter;
use crate::simulate::optics::image::{Ghost, Image, Optics};
use crate::simulate::optics::subject::Subject;
use crate::simulate::session::Shot;
use std::sync::Arc;

/// What a filter does to the picture, as planted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Burden {
    /// Blur of the lens alone, one sigma in pixels.
    pub lens: f64,
    /// Blur that the filter adds as squares add, one sigma in pixels.
    pub blur: f64,
    /// Share of all light that the lens spreads over the picture.
    pub lens_veil: f64,
    /// The same share with the filter.
    pub veil: f64,
    /// A ghost's light in parts of the lamp's, 0 for none.
    pub ghost: f64,
}

/// A sheet of resin, scratched.
pub const RESIN: Burden = Burden {
    lens: 0.55,
    blur: 0.30,
    lens_veil: 0.004,
    veil: 0.013,
    // nine and a half stops below the lamp
    ghost: 0.001_381,
};
/// Glass, clean and coated.
pub const GLASS: Burden =
    Burden { lens: 0.55, blur: 0.0, lens_veil: 0.004, veil: 0.0045, ghost: 0.0 };

/// The target's squares.
pub const TARGET: Subject = Subject::Target { angle: 5.3, dark: 0.06, side: 0.24 };
/// The hole, a twentieth of the frame, in which nothing shines.
pub const HOLE: Subject = Subject::Hole { dark: 0.0, area: 0.05 };
/// The lamp.
pub const LAMP: Subject =
    Subject::Lamp { at: (0.29, 0.31), radius: 15.0, light: 40.0, ground: 0.0005 };

/// Times without the filter, seconds: of the target and the hole, of the lamp itself, and so long
/// that a ghost of it shows.
const WALL_S: f64 = 1.0 / 125.0;
const LAMP_S: f64 = 1.0 / 4000.0;
const GHOST_S: f64 = 1.0 / 30.0;

/// Frames of all three, in folders of their own; `dial` gives the dial time that stands for a time
/// without the filter.
pub fn shots(
    filter: &Filter,
    planted: &Burden,
    size: (usize, usize),
    dial: impl Fn(f64) -> Time,
) -> Vec<Shot> {
    let lens = Optics { veil: planted.lens_veil, ..Optics::blurred(planted.lens) };
    let mut through =
        Optics { veil: planted.veil, ..Optics::blurred(planted.lens) }.softened(planted.blur);
    if planted.ghost > 0.0 {
        through.ghosts.push(Ghost { magnification: -1.0, share: planted.ghost });
    }
    let mut list = Vec::new();
    let mut number = 4001;
    let mut add = |folder: &str, image: &Arc<Image>, time: Time, filtered: bool, count: usize| {
        let state = if filtered { "filter" } else { "bare" };
        let filters = if filtered { vec![filter.clone()] } else { Vec::new() };
        for _ in 0..count {
            let file = format!("{folder}/{state}/SKA_{number}.dng");
            let shot = Shot::of(&file, time, filters.clone());
            list.push(Shot { image: Some(Arc::clone(image)), ..shot });
            number += 1;
        }
    };
    let both = |subject: &Subject| {
        [&lens, &through].map(|optics| Arc::new(Image::of(subject, optics, size)))
    };
    let [bare, filtered] = both(&TARGET);
    add("sharpness", &bare, Time::Dial(WALL_S), false, 2);
    add("sharpness", &filtered, dial(WALL_S), true, 3);
    add("sharpness", &bare, Time::Dial(WALL_S), false, 2);
    let [bare, filtered] = both(&HOLE);
    add("veil", &bare, Time::Dial(WALL_S), false, 2);
    add("veil", &filtered, dial(WALL_S), true, 2);
    let [bare, filtered] = both(&LAMP);
    for time in [LAMP_S, GHOST_S] {
        add("ghost", &bare, Time::Dial(time), false, 1);
        add("ghost", &filtered, dial(time), true, 1);
    }
    list
}
