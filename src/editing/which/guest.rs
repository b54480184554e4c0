//! A filter that is not in the kit goes on more than once in an evening: what it took where a scene
//! shows it beside something known says what it takes elsewhere.

use super::daylight::red_and_blue;
use super::states::{GUEST_COLOUR_STOPS, GUEST_STOPS, Guest, State, States};
use super::trail::Trail;

/// A known frame beside it must have been taken within so many minutes (ours).
const BESIDE_MINUTES: f64 = 6.0;
/// Guests are looked into from this probability on, and so many at most (ours).
const LEAST_WEIGHT: f64 = 0.05;
const MOST: usize = 3;
/// Guests as near as this are one, in stops.
const ALIKE_STOPS: f64 = 2.0 * GUEST_STOPS;
const ALIKE_COLOUR_STOPS: f64 = 2.0 * GUEST_COLOUR_STOPS;

/// Guests that one group of photographs may show: its accounts with their shares, the view and the
/// minute of each photograph.
pub(super) fn seen_in(
    states: &States,
    accounts: &[(&Trail, f64)],
    view: &[usize],
    minute: &[f64],
) -> Vec<Guest> {
    let mut found: Vec<Guest> = Vec::new();
    for &(account, weight) in accounts {
        let mut own: Vec<Guest> = Vec::new();
        for at in 0..account.states.len() {
            let guest = beside_known(states, account, at, view, minute);
            merge(&mut own, guest.map(|g| Guest { weight, ..g }), f64::max);
        }
        for guest in own {
            merge(&mut found, Some(guest), |a, b| a + b);
        }
    }
    found
}

/// Those of all groups that are worth looking into.
pub(super) fn worth(guests: Vec<Guest>) -> Vec<Guest> {
    let mut found: Vec<Guest> = Vec::new();
    for guest in guests {
        merge(&mut found, Some(guest), f64::max);
    }
    found.retain(|g| g.weight >= LEAST_WEIGHT);
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    found.truncate(MOST);
    found
}

fn merge(found: &mut Vec<Guest>, guest: Option<Guest>, weights: impl Fn(f64, f64) -> f64) {
    let Some(guest) = guest else { return };
    match found.iter_mut().find(|known| alike(known, &guest)) {
        Some(known) => known.weight = weights(known.weight, guest.weight),
        None => found.push(guest),
    }
}

/// What was on at a place against the nearest frame of its view whose filters are known.
fn beside_known(
    states: &States,
    account: &Trail,
    at: usize,
    view: &[usize],
    minute: &[f64],
) -> Option<Guest> {
    let of = |place: usize| -> &State { &states.all[usize::from(account.states[place])] };
    let here = of(at);
    if !(here.unknown && here.used.is_empty()) {
        return None;
    }
    let apart = |other: usize| (minute[other] - minute[at]).abs();
    let known = (0..account.states.len())
        .filter(|&o| view[o] == view[at] && !of(o).unknown && apart(o) <= BESIDE_MINUTES)
        .min_by(|&a, &b| apart(a).total_cmp(&apart(b)))?;
    let takes = |c: usize| account.seen[known][c] - account.seen[at][c];
    let [red, blue] = red_and_blue([takes(1), takes(2)]);
    let colour = [here.colour[0] + red, here.colour[1] + blue];
    Some(Guest {
        loss: Some(here.loss + takes(0)).filter(|loss| loss.is_finite())?,
        colour: Some(colour).filter(|c| c.iter().all(|c| c.is_finite())),
        weight: 1.0,
    })
}

fn alike(one: &Guest, other: &Guest) -> bool {
    let near = |a: f64, b: f64, least: f64| (a - b).abs() <= least;
    let colour = match (one.colour, other.colour) {
        (Some(a), Some(b)) => (0..2).all(|c| near(a[c], b[c], ALIKE_COLOUR_STOPS)),
        _ => true,
    };
    near(one.loss, other.loss, ALIKE_STOPS) && colour
}
