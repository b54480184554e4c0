//! Sharpness, veil and ghosts in sentences, and a graduated filter against frames at several times.

use super::figures::{fixed, signed, unit, with_doubt};
use crate::kit::bracket::{Bracket, bracket};
use crate::profile::{GhostSpot, Graduation, Picture, Profile, RatioU95, VeilingGlare};

/// Uncertainties of a ratio beyond these tell nothing of a filter worth its name.
const USELESS: f64 = 0.1;

/// What a ratio comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Loss {
    /// It is larger than its uncertainty.
    Shows(f64),
    /// It is not.
    None,
    /// The uncertainty is too large to say.
    Unknown,
}

/// Whether a ratio of filtered over bare is a loss.
#[must_use]
pub fn loss(ratio: RatioU95) -> Loss {
    let (lost, u95) = (1.0 - ratio.value.get(), ratio.u95.get());
    if lost > u95 {
        Loss::Shows(lost)
    } else if u95 > USELESS {
        Loss::Unknown
    } else {
        Loss::None
    }
}

fn percent(lost: f64, u95: f64) -> String {
    format!("{} %", with_doubt(100.0 * lost, 100.0 * u95))
}

/// The answer on sharpness; `None` where no edge was measured.
#[must_use]
pub fn sharpness(picture: &Picture) -> Option<String> {
    if picture.sharpness.is_empty() {
        return None;
    }
    let Some(all) = picture.sharpness_ratio else {
        return Some(
            "What the filter does to sharpness is not known: see the cautions.".to_owned(),
        );
    };
    let figure = with_doubt(all.value.get(), all.u95.get());
    let corners = picture.corners_ratio.map(|c| (loss(c), c.u95.get()));
    Some(match (loss(all), corners) {
        (Loss::Shows(lost), Some((Loss::Shows(corner), u95))) if corner > lost + u95 => format!(
            "It loses {} of its sharpness, {} near the corners.",
            percent(lost, all.u95.get()),
            percent(corner, u95)
        ),
        (Loss::Shows(lost), _) => {
            format!("It loses {} of its sharpness (MTF50).", percent(lost, all.u95.get()))
        }
        (_, Some((Loss::Shows(corner), u95))) => {
            format!("It loses {} of its sharpness near the corners.", percent(corner, u95))
        }
        (Loss::None, _) => format!("No loss of sharpness that can be seen (ratio {figure})."),
        (Loss::Unknown, _) => {
            format!("The frames cannot tell a loss of sharpness (ratio {figure}).")
        }
    })
}

/// The answer on veil.
#[must_use]
pub fn veil(found: &VeilingGlare) -> String {
    let added = found.added.value.get();
    if added.abs() <= found.added.u95.get() {
        return format!(
            "It adds no veil that can be seen ({} % of the light around a dark hole).",
            super::figures::signed_with_doubt(added, found.added.u95.get())
        );
    }
    let part = with_doubt(added.abs(), found.added.u95.get());
    if added < 0.0 {
        return format!("It takes {part} % of the light around as veil, which no filter does.");
    }
    let lift = found.shadow_lift_stops.get();
    format!(
        "It adds {part} % of the light around as veil, which by itself lifts a shadow ten stops below \
         white by {} {}.",
        with_doubt(lift, found.shadow_lift_u95.get()),
        unit(lift)
    )
}

/// The answer on ghosts; `None` where none was looked for.
#[must_use]
pub fn ghosts(picture: &Picture) -> Option<String> {
    let ghosts = picture.ghosts.as_ref()?;
    Some(match ghosts.as_slice() {
        [] => picture.ghosts_seen_to_stops.map_or_else(
            || "No ghost was found.".to_owned(),
            |seen| format!("No ghost down to {} stops below the lamp.", fixed(seen.get(), 1)),
        ),
        [one] => format!("A ghost of the lamp {}.", ghost(one)),
        many => format!("{} ghosts of the lamp, the strongest {}.", many.len(), ghost(&many[0])),
    })
}

fn ghost(spot: &GhostSpot) -> String {
    format!(
        "lies opposite to it, {} stops weaker, at {} % from the left and {} % from the top",
        with_doubt(spot.stops.get(), spot.u95.get()),
        fixed(spot.x_percent.get(), 0),
        fixed(spot.y_percent.get(), 0)
    )
}

/// All answers.
#[must_use]
pub fn sentences(profile: &Profile) -> Vec<String> {
    let Some(picture) = &profile.picture else { return Vec::new() };
    let mut said: Vec<String> = sharpness(picture).into_iter().collect();
    said.extend(picture.veiling_glare.as_ref().map(veil));
    said.extend(ghosts(picture));
    said
}

/// One line for cards and lists: "Picture: loses 8 % of sharpness; veil +0.3 %; ghost 9.4 stops down".
#[must_use]
pub fn line(picture: &Picture) -> Option<String> {
    let mut parts = Vec::new();
    match picture.sharpness_ratio.map(|r| (r, loss(r))) {
        Some((_, Loss::Shows(lost))) => {
            parts.push(format!("loses {} % of sharpness", fixed(100.0 * lost, 0)));
        }
        Some((_, Loss::None)) => parts.push("as sharp as without".to_owned()),
        Some((_, Loss::Unknown)) | None => {}
    }
    if let Some(veil) = &picture.veiling_glare {
        let added = veil.added.value.get();
        parts.push(if added.abs() > veil.added.u95.get() {
            format!("veil {} %", signed(added, 1))
        } else {
            "no veil".to_owned()
        });
    }
    match picture.ghosts.as_deref() {
        Some([]) => parts.push("no ghost".to_owned()),
        Some([first, ..]) => {
            parts.push(format!("ghost {} stops down", fixed(first.stops.get(), 0)))
        }
        None => {}
    }
    (!parts.is_empty()).then(|| format!("Picture: {}.", parts.join("; ")))
}

/// What frames at several times would do in a graduated filter's place.
#[must_use]
pub fn without_graduated(found: &Graduation) -> Option<String> {
    let Bracket { frames, apart } = bracket(found.dark_end_stops)?;
    let half = found.width_percent_of_height.get() / 2.0;
    let above = if half < found.centre_percent_of_height.get() {
        format!("from {} % of the frame's height above it", fixed(half, 0))
    } else {
        "beyond the frame's edge".to_owned()
    };
    Some(format!(
        "Doing without it: {frames} frames {} {} apart cover the same {} stops between land and sky, to \
         be merged later. What stands across the line, a mast or a hill, is darkened by the filter with \
         the sky: by half of that at the line, by nine tenths {above}; frames at several times leave it as it is.",
        fixed(apart.get(), 1),
        unit(apart.get()),
        fixed(found.dark_end_stops.get(), 1),
    ))
}
