//! What a folder is made of: the shape of its shoot, and what else lies on the card.

use rand::seq::IndexedRandom;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Shape {
    Solid,
    Interleaved,
    Ring,
    RingBackwards,
    RingSkips,
    TwoFilters,
    TwoBodies,
    TwoLenses,
    TwoSittings,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mess {
    Pictures,
    PicturesFirst,
    OtherDay,
    StrayBody,
    StrayLens,
    Copies,
    Companions,
    Counter,
    WrongClock,
    NumbersDisagree,
    NoTimes,
    CameraFolders,
    AutoIso,
    ApertureOnce,
    WhiteBalance,
    NoiseReduction,
    Lamp,
    Kicked,
    Compensation,
    Cloud,
    Clipped,
    Buried,
    Darks,
    LeakFrame,
    HandUnder,
    HandOver,
    NoContacts,
    Drift,
}

pub const SHAPES: [Shape; 9] = [
    Shape::Solid,
    Shape::Interleaved,
    Shape::Ring,
    Shape::RingBackwards,
    Shape::RingSkips,
    Shape::TwoFilters,
    Shape::TwoBodies,
    Shape::TwoLenses,
    Shape::TwoSittings,
];

pub const MESSES: [Mess; 28] = [
    Mess::Pictures,
    Mess::PicturesFirst,
    Mess::OtherDay,
    Mess::StrayBody,
    Mess::StrayLens,
    Mess::Copies,
    Mess::Companions,
    Mess::Counter,
    Mess::WrongClock,
    Mess::NumbersDisagree,
    Mess::NoTimes,
    Mess::CameraFolders,
    Mess::AutoIso,
    Mess::ApertureOnce,
    Mess::WhiteBalance,
    Mess::NoiseReduction,
    Mess::Lamp,
    Mess::Kicked,
    Mess::Compensation,
    Mess::Cloud,
    Mess::Clipped,
    Mess::Buried,
    Mess::Darks,
    Mess::LeakFrame,
    Mess::HandUnder,
    Mess::HandOver,
    Mess::NoContacts,
    Mess::Drift,
];

/// Cautions of grade number that name this cause.
pub fn causes(mess: Mess) -> &'static [&'static str] {
    match mess {
        Mess::AutoIso => &["iso_changed"],
        Mess::ApertureOnce => &["aperture_changed"],
        Mess::Lamp | Mess::Cloud | Mess::Drift | Mess::Kicked => &["light_unsteady"],
        Mess::LeakFrame => &["leak_assumed"],
        Mess::HandUnder | Mess::HandOver => &["timed_by_hand"],
        _ => &[],
    }
}

/// Whether these go together, and with the shape.
fn fits(shape: Shape, chosen: &[Mess], mess: Mess) -> bool {
    use Mess::*;
    let single = matches!(shape, Shape::Solid | Shape::Interleaved);
    let alone =
        |these: &[Mess]| !these.contains(&mess) || !chosen.iter().any(|m| these.contains(m));
    let refused = matches!(
        shape,
        Shape::TwoFilters | Shape::TwoBodies | Shape::TwoLenses | Shape::TwoSittings
    );
    !chosen.contains(&mess)
        && (single || !matches!(mess, HandUnder | HandOver | LeakFrame | Buried | AutoIso))
        && (!refused
            || !matches!(mess, NoTimes | OtherDay | Cloud | NoContacts | Lamp | ApertureOnce))
        && alone(&[HandUnder, HandOver, LeakFrame, AutoIso])
        && alone(&[Counter, NumbersDisagree])
        && alone(&[NumbersDisagree, NoTimes])
        && alone(&[WrongClock, NoTimes])
        && alone(&[NoTimes, OtherDay])
        && alone(&[NoTimes, StrayBody])
        && alone(&[NoTimes, StrayLens])
        && alone(&[NoContacts, StrayLens])
        && alone(&[NoContacts, ApertureOnce])
        && alone(&[Lamp, Drift])
        && alone(&[Buried, LeakFrame])
}

pub fn recipe(n: u64) -> (Shape, Vec<Mess>) {
    let mut rng = ChaCha8Rng::seed_from_u64(n ^ 0xCA4D);
    let n = n as usize;
    if n < SHAPES.len() {
        return (SHAPES[n], Vec::new());
    }
    if n < SHAPES.len() + MESSES.len() {
        return (Shape::Solid, vec![MESSES[n - SHAPES.len()]]);
    }
    let shape = *SHAPES.choose(&mut rng).unwrap();
    let mut messes = Vec::new();
    for _ in 0..rng.random_range(1..5) {
        let mess = *MESSES.choose(&mut rng).unwrap();
        if fits(shape, &messes, mess) {
            messes.push(mess);
        }
    }
    (shape, messes)
}
