//! A shoot just as a plan orders it, in walking light.

use super::dice::Dice;
use super::light::Sort as Sky;
use super::scene::{Before, Scene, Shot};
use super::shutter::Sort as Shutter;
use super::solid::{self, Case, Recipe};
use lightloss::exposure::{GivenTime, parse_rating};
use lightloss::field::plan::{Plan, Request};
use lightloss::measure::About;
use lightloss::profile::Kind;
use lightloss::quantity::{Seconds, Stops};
use lightloss::shoot::Wish;

/// Before it is shot.
pub struct Ordered {
    pub scene: Scene,
    pub about: About,
    shots: Vec<Shot>,
    wish: Wish,
}

impl Ordered {
    /// For a solid filter of this rating, of a body with a careless shutter.
    pub fn drawn(rated: f64, dice: &mut Dice) -> Self {
        let rating = parse_rating(&format!("{rated}")).unwrap();
        let metered = dice.pick(&[1.0 / 500.0, 1.0 / 250.0, 1.0 / 125.0, 1.0 / 60.0, 1.0 / 30.0]);
        let request = Request {
            kind: Kind::Solid,
            rating: Some(rating),
            metered: Some(GivenTime::new(Seconds::new(metered))),
            marks: Vec::new(),
            name: None,
            slot: false,
            focal: Vec::new(),
        };
        let plan = Plan::of(request).unwrap();
        let level = plan.light.level.share();
        let plan = plan.shoot_file().planned;
        let shots = solid::planned(&plan, dice);
        let stops = rated + dice.uniform(-0.4, 0.4);
        let glass = solid::glass(stops, dice);
        // Whatever lies in the bag that dims about half as much.
        let bridge = solid::glass(rated / 2.0 + dice.uniform(-1.0, 1.0), dice);
        let recipe = Recipe::usual(Sky::Walking, Shutter::Sloppy);
        let mut scene = solid::scene(&recipe, vec![glass, bridge], &shots, dice);
        // A meter hits the level that a plan asks for to a third of a stop.
        let bare = shots.iter().find(|s| s.before == Before::Nothing).unwrap();
        scene.brightness = level * dice.uniform(0.8, 1.2) * scene.body.full_well
            / bare.time.meant()
            / scene.wall.light(0.0, 0.0);
        let mut about = solid::about(&scene, stops, dice);
        about.rated = Some(Stops::new(rated));
        let wish = Wish { kind: Some(Kind::Solid), planned: plan, ..Wish::default() };
        Self { scene, about, shots, wish }
    }
    pub fn case(self) -> Case {
        let Self { scene, about, shots, wish } = self;
        let stops = vec![scene.strength(0)];
        Case { made: scene.shoot(&shots), wish, about, kind: Kind::Solid, stops }
    }
}
