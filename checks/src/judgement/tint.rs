//! Light that changes its colour while a filter is measured: how a camera's red and blue then move
//! against green, and whether the gains of the cast are as sure as they say.

use super::assess::{Outcome, assess};
use super::classes::Class;
use super::colour::at_least;
use super::dice::Dice;
use super::light::{Light, Sort as Sky};
use super::shutter::Sort as Shutter;
use super::solid::{self, Case, Recipe};
use lightloss::profile::Kind;
use lightloss::shoot::Wish;

/// Wavelengths that red, green and blue stand for, nanometres (ours), and the second radiation constant,
/// nanometres times kelvin (CODATA).
const NANOMETRES: [f64; 3] = [600.0, 540.0, 460.0];
const SECOND_RADIATION: f64 = 1.438_777e7;

/// The light's colour over a shoot.
#[derive(Clone, Debug, Default)]
pub struct Tint(Option<(Light, f64)>);

impl Tint {
    /// What an exposure sees of red, green and blue as shares of the colour at first: Wien's law, by
    /// which light of a black body at a wavelength falls with the exponential of its reciprocal
    /// temperature.
    pub fn over(&self, from: f64, seconds: f64) -> [f64; 3] {
        let Some((light, mired_a_stop)) = &self.0 else { return [1.0; 3] };
        let mired = mired_a_stop * light.over(from, seconds).log2();
        NANOMETRES.map(|nm| {
            let of = |nm: f64| -SECOND_RADIATION * mired * 1e-6 / nm;
            (of(nm) - of(NANOMETRES[1])).exp()
        })
    }
}

/// How the colour changes.
#[derive(Clone, Copy, Debug)]
enum Change {
    /// Not at all.
    None,
    /// By itself, as light of this sort does: so many mired where that changes by a stop, from and to.
    Like(Sky, (f64, f64)),
    /// With the light.
    Along((f64, f64)),
}

const RED: &str = "red gain inside u95";
const BLUE: &str = "blue gain inside u95";

pub fn classes() -> Vec<Class> {
    let of = |name: &str, sky: Sky, change: Change, both_sides: bool| Class {
        name: name.into(),
        share: 0.2,
        short: None,
        shoot: Box::new(move |dice, k| tinted(sky, change, both_sides, dice, k)),
        targets: at_least,
    };
    let own = |sky: Sky, mired: (f64, f64)| Change::Like(sky, mired);
    vec![
        of("light of one colour", Sky::Walking, Change::None, true),
        // A tenth of a mired to one in a minute.
        of("colour that walks", Sky::Walking, own(Sky::Walking, (60.0, 120.0)), true),
        of(
            "colour that walks, bare on one side",
            Sky::Walking,
            own(Sky::Walking, (60.0, 120.0)),
            false,
        ),
        // Half a mired to three a minute.
        of("colour of evening", Sky::Walking, own(Sky::Evening, (5.0, 15.0)), true),
        of(
            "colour of evening, bare on one side",
            Sky::Walking,
            own(Sky::Evening, (5.0, 15.0)),
            false,
        ),
        of("colour of one swing", Sky::Walking, own(Sky::Curved, (10.0, 40.0)), true),
        // The sun's light against that of the sky.
        of("colour of clouds", Sky::Clouds, Change::Along((8.0, 30.0)), true),
        of("colour of a step", Sky::Stepped, Change::Along((8.0, 30.0)), true),
    ]
}

fn tinted(sky: Sky, change: Change, both_sides: bool, dice: &mut Dice, k: u64) -> Outcome {
    let recipe = Recipe { both_sides, ..Recipe::usual(sky, Shutter::Crystal) };
    let stops = dice.uniform(0.8, 12.0);
    let shots = solid::shots(&recipe, stops, dice);
    let glass = solid::glass(stops, dice);
    let mut scene = solid::scene(&recipe, vec![glass], &shots, dice);
    let turned = if dice.chance(0.5) { -1.0 } else { 1.0 };
    scene.tint = Tint(match change {
        Change::None => None,
        Change::Like(sort, (from, to)) => {
            let minutes = solid::minutes(&shots);
            Some((Light::drawn(sort, minutes, dice), turned * dice.uniform(from, to)))
        }
        Change::Along((from, to)) => Some((scene.light.clone(), dice.uniform(from, to))),
    });
    let about = solid::about(&scene, stops, dice);
    let truth = scene.strengths(0);
    let made = scene.shoot(&shots);
    let case =
        Case { made, wish: Wish::default(), about, kind: Kind::Solid, stops: vec![truth[1]] };
    let mut outcome = assess(case, k);
    // Strength is looked at elsewhere.
    outcome.error = None;
    let Some(setting) = outcome.profile.as_ref().and_then(|p| p.settings.first()) else {
        return outcome;
    };
    // Whatever is said of the strength, the gains stand without a word.
    let (gains, u95) = (&setting.cast.gains, &setting.cast.gains_u95);
    let off = |found: f64, c: usize| found - (truth[c] - truth[1]).exp2();
    let (red, blue) = (off(gains.red.get(), 0), off(gains.blue.get(), 2));
    outcome.error = Some(blue / gains.blue.get());
    outcome.u95 = u95.blue.get() / gains.blue.get();
    outcome.answers.push((RED, red.abs() <= u95.red.get()));
    outcome.answers.push((BLUE, blue.abs() <= u95.blue.get()));
    outcome
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From 5,000 K to 10 mired warmer, 4,762 K, a black body's light at 460 nm falls against that at
    /// 540 nm by 4.5 % (Planck's law, worked by hand).
    #[test]
    fn warmer_light_has_less_blue() {
        let planck = |nm: f64, kelvin: f64| 1.0 / ((SECOND_RADIATION / nm / kelvin).exp() - 1.0);
        let ratio = |kelvin: f64| planck(460.0, kelvin) / planck(540.0, kelvin);
        let truth = ratio(1e6 / 210.0) / ratio(5000.0);
        let light = Light::constant_at(1.0);
        let seen = Tint(Some((light, 10.0))).over(0.0, 1.0);
        assert!(
            (seen[2] - truth).abs() < 0.001 && (truth - 0.955).abs() < 0.001,
            "{seen:?} {truth}"
        );
        assert!(seen[0] > 1.02 && seen[1] == 1.0);
    }
}
