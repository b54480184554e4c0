//! The search for the likeliest accounts leaves out what cannot be among them: that changes nothing.
#![allow(clippy::unwrap_used)]

use super::*;
use crate::editing::testing::profile;
use crate::editing::which::ground::Ground;
use crate::editing::which::kept::{KEPT, WORTH_KEEPING, likelier};
use crate::editing::which::tests::at;
use crate::editing::which::{Picture, Told, by_user};
use crate::profile::Profile;
use serde_json::json;

const BARE: [f64; 3] = [0.0; 3];
const SIX: [f64; 3] = [6.1, 6.05, 6.0];
const TURNED: [f64; 3] = [3.6, 3.5, 3.45];
const NOBODYS: [f64; 3] = [4.9, 5.1, 5.4];

/// A solid filter, a ring of three marks and a graduated filter: 31 states.
fn kit() -> Vec<Profile> {
    let marks =
        [(Some("1"), [2.1, 2.0, 1.9]), (Some("2"), [3.6, 3.5, 3.4]), (Some("3"), [5.1, 5.0, 4.9])];
    let mut graduated = profile("Heron Edge", "graduated", &[(None, [2.05, 2.0, 1.95])]);
    graduated.graduation = Some(
        serde_json::from_value(json!({
            "dark_end_stops": 2.0, "clear_end_stops": 0.02, "width_percent_of_height": 20.0,
            "centre_percent_of_height": 50.0, "angle": 0.0, "shape": "medium"
        }))
        .unwrap(),
    );
    vec![
        profile("Heron Six", "solid", &[(None, SIX)]),
        profile("Heron Dial", "variable", &marks),
        graduated,
    ]
}

/// The sky of a photograph darker by two stops, as through a graduated filter.
fn darkened(mut picture: Picture, line: f64) -> Picture {
    let scene = picture.scene.as_mut().unwrap();
    let (columns, rows) = (scene.columns, scene.rows);
    for (i, cell) in scene.cells.iter_mut().enumerate() {
        let y = (i / columns) as f64 / rows as f64;
        let dark = 2.0 * (0.5 - (y - line) / 0.2).clamp(0.0, 1.0);
        cell.iter_mut().for_each(|c| *c -= dark as f32);
    }
    picture
}

/// Scenes of several sorts: metered, in failing light without anything to go by, through what nobody
/// measured, and through a graduated filter.
fn evenings() -> Vec<Vec<Picture>> {
    let mut spoken = vec![
        at("18:00:00", 0, 1.0 / 64.0, BARE, 12.0),
        at("18:01:00", 0, 1.0, SIX, 11.9),
        at("18:01:30", 0, 0.25, TURNED, 11.9),
        at("18:01:34", 0, 0.25, TURNED, 11.0),
        at("18:03:00", 0, 0.5, NOBODYS, 11.8),
    ];
    spoken[1].info.subject = vec!["Heron Six".into()];
    let alone = vec![
        at("20:00:00", 1, 2.0, TURNED, 4.0),
        at("20:00:03", 1, 8.0, TURNED, 4.0),
        at("20:05:00", 1, 20.0, SIX, 3.6),
        at("20:06:00", 1, 3.0, TURNED, 3.6),
    ];
    let graduated = vec![
        darkened(at("19:00:00", 2, 1.0 / 16.0, BARE, 9.0), 0.4),
        darkened(at("19:01:00", 2, 4.0, SIX, 9.0), 0.5),
        at("19:02:00", 2, 4.0, SIX, 8.9),
        at("19:20:00", 2, 0.5, NOBODYS, 8.5),
    ];
    vec![spoken, alone, graduated]
}

impl Group<'_> {
    /// The likeliest accounts as steps tell them of which none is passed over: all are taken, and then the
    /// likeliest kept.
    fn accounts_of_all(&self) -> Vec<Trail> {
        let mut accounts = vec![Trail::default()];
        for at in 0..self.frames.len() {
            let frame = &self.frames[at];
            let mut steps: Vec<Step> = Vec::new();
            for (from, account) in accounts.iter().enumerate() {
                for state in 0..self.states.all.len() {
                    let before = account.states.last();
                    let change = match before {
                        Some(&before) => self.changes.after(frame.placed.since, before).0[state],
                        None => first(self.states, self.metered_first, state),
                    };
                    let same = before.is_some_and(|&b| usize::from(b) == state) && frame.repeats;
                    let words = if same { 1.0 } else { frame.words[state] };
                    let words = (words * frame.told[state]).max(f64::MIN_POSITIVE).ln();
                    let log = account.log + change + words;
                    steps.extend(self.step(account, [from, at, state], log, f64::NEG_INFINITY));
                }
            }
            let best = steps.iter().map(|s| s.log).fold(f64::NEG_INFINITY, f64::max);
            steps.retain(|s| s.log >= best - WORTH_KEEPING);
            steps.sort_by(likelier);
            steps.truncate(KEPT);
            accounts = steps.into_iter().map(|s| self.taken(&accounts, at, s)).collect();
        }
        accounts
    }
}

#[test]
fn what_is_passed_over_would_not_have_been_kept() {
    let calm = Habits { drift: 0.0, clouds: [0.003, 0.006] };
    let stormy = Habits { drift: -0.08, clouds: [0.02, 0.08] };
    let kit = kit();
    let mut kept = 0;
    for (evening, told) in evenings().into_iter().zip([Told::Nothing, Told::Nothing, Told::Bare]) {
        let ground = Ground::new(&evening, &kit);
        assert_eq!(ground.groups.len(), 1);
        let members = &ground.groups[0];
        let by_state = |told: &Told| ground.states.all.iter().map(|s| by_user(told, s)).collect();
        let mut words: Vec<Vec<f64>> = vec![by_state(&Told::Nothing); evening.len()];
        words[2] = by_state(&told);
        for (habits, metered_first) in [(calm, false), (stormy, false), (calm, true)] {
            let evidence = |&i: &usize| Evidence {
                placed: &ground.placed[i],
                words: &ground.words[i],
                told: &words[i],
                repeats: ground.repeats[i],
                drawn: &ground.drawn[ground.of[i]],
                fits: &ground.fits[i],
            };
            let group = Group {
                states: &ground.states,
                changes: &ground.changes,
                habits,
                metered_first,
                brightest: 16.0,
                frames: members.all.iter().map(evidence).collect(),
                on: members.on.clone(),
                view: members.view.clone(),
                minute: members.all.iter().map(|&i| ground.minutes[i]).collect(),
            };
            let (some, all) = (group.accounts(), group.accounts_of_all());
            let told = |a: &Trail| (a.states.clone(), a.log.to_bits());
            assert_eq!(
                some.iter().map(told).collect::<Vec<_>>(),
                all.iter().map(told).collect::<Vec<_>>()
            );
            kept += all.len();
        }
    }
    // More than one account each time, or nothing was there to pass over.
    assert!(kept > 100, "{kept}");
}
