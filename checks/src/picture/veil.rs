//! Veil with its uncertainty, and light past the holder.

use super::Line;
use super::frames::{Stage, Wanted, refs};
use lightloss::caution::PictureDoubt;
use lightloss::measure::picture::TakenAs;
use lightloss::measure::picture::record;
use lightloss::measure::picture::veil::veil;
use lightloss::quantity::Stops;
use lightloss::simulate::camera::Camera;
use lightloss::simulate::filter::{Filter, Leak};
use lightloss::simulate::optics::image::{Image, Optics};
use lightloss::simulate::optics::subject::Subject;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;
use std::sync::Arc;

const SIZE: (usize, usize) = (1152, 768);
const AREA: f64 = 0.05;

/// Light in the hole over light of the wall: the closed form of an even veil.
fn index(veil: f64, dark: f64) -> f64 {
    let mean = 1.0 - AREA + AREA * dark;
    ((1.0 - veil) * dark + veil * mean) / (1.0 - veil + veil * mean)
}

/// Planted veil that gives an index over a black hole.
fn planted(wanted: f64) -> f64 {
    wanted / (1.0 - AREA + AREA * wanted)
}

/// What one shoot came to.
enum Seen {
    /// Light past the holder that no frame shows; whether that was said.
    Past {
        said: bool,
    },
    /// Distance from the truth in percent, and whether u95 holds it.
    Measured {
        off: f64,
        inside: bool,
        said: bool,
    },
    Unmeasured,
}

fn one(i: u64, seed: u64) -> Seen {
    let mut rng = ChaCha8Rng::seed_from_u64(seed.wrapping_mul(7_919) + i);
    let dark = rng.random_range(0.0..0.001);
    let (a, b) = (planted(rng.random_range(0.001..0.01)), planted(rng.random_range(0.001..0.05)));
    let strong = i % 3 == 2;
    let stops = if strong { 10.0 } else { 3.0 };
    // A ten-thousandth of the bare light past the holder: a tenth of what passes ten stops.
    let past = if strong { 1e-4 } else { 0.0 };
    let picture = |veil: f64, past: f64| {
        let optics = Optics { veil, past, ..Optics::blurred(0.8) };
        Arc::new(Image::of(&Subject::Hole { dark, area: AREA }, &optics, SIZE))
    };
    let filter = Filter::even([stops; 3]);
    let bare = picture(a, 0.0);
    let through = picture(b, past * f64::exp2(stops));
    let long = f64::exp2(stops);
    let white = Arc::new(Image::of(
        &Subject::Hole { dark: 1.0, area: AREA },
        &Optics::blurred(0.8),
        (8, 8),
    ));
    let mut wanted = vec![Wanted::new(&bare, 1.0, Vec::new(), TakenAs::Bare); 3];
    wanted.extend(vec![Wanted::new(&through, long, vec![filter.clone()], TakenAs::Filtered); 3]);
    let card = |past: f64| {
        let leak = (past > 0.0).then_some(Leak { share: past, lean: 0.0, angle: 0.0 });
        Filter::opaque(leak)
    };
    for seconds in [1.0, long] {
        wanted.extend(vec![Wanted::new(&white, seconds, vec![card(0.0)], TakenAs::Dark); 3]);
    }
    let leak_frame = strong && i.is_multiple_of(2);
    if leak_frame {
        wanted.push(Wanted::new(&white, long, vec![card(past)], TakenAs::Leak));
    }
    let stage = Stage::new(Camera::bayer(SIZE.0, SIZE.1), seed + i);
    let (taken, _) = stage.taken(&wanted);
    let (found, doubts) = veil(&refs(&taken), Some(Stops::new(stops)), false);
    let says = doubts.contains(&PictureDoubt::VeilLeakUntold);
    if strong && !leak_frame {
        return Seen::Past { said: says };
    }
    let Some(found) = found.as_ref().map(record::veil) else { return Seen::Unmeasured };
    let truth = 100.0 * (index(b, dark) - index(a, dark));
    let off = (found.added.value.get() - truth).abs();
    Seen::Measured { off, inside: off <= found.added.u95.get(), said: says }
}

pub fn lines(count: u64, seed: u64) -> Vec<Line> {
    let (mut worst, mut inside, mut told, mut untold, mut failed) = (0.0_f64, 0, 0, 0, 0);
    let seen: Vec<Seen> = (0..count).into_par_iter().map(|i| one(i, seed)).collect();
    for seen in seen {
        match seen {
            Seen::Past { said } => {
                untold += 1;
                told += usize::from(said);
            }
            Seen::Measured { off, inside: held, said } => {
                worst = worst.max(off);
                inside += usize::from(held);
                failed += usize::from(said);
            }
            Seen::Unmeasured => failed += 1,
        }
    }
    let measured = count as usize - untold;
    vec![
        Line::new(
            &format!("veil of 0.1 to 5 %, furthest from truth ({measured})"),
            format!("{worst:.3} %"),
            "0.05 % of the light around",
            worst <= 0.05 && failed == 0,
        ),
        Line::new(
            "veil inside its u95",
            format!("{inside} of {measured}"),
            "9 of 10",
            inside * 10 >= measured * 9,
        ),
        Line::new(
            "light past the holder: said where no leak frame is there",
            format!("{told} of {untold}"),
            "all",
            told == untold,
        ),
    ]
}
