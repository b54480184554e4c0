//! What card and plan say in the same words: the sea, dusk and long times, special filters.

/// Bold, at the top of every card.
pub const SEA: [&str; 5] = [
    "Know when the tide turns.",
    "Never stand with your back to the sea.",
    "Keep a dry way out.",
    "Someone knows where you are.",
    "Follow local warnings.",
];

/// The same where there is room for two lines.
pub const SEA_SHORT: &str = "Know the tide, keep a way out, never turn your back to the sea, follow \
                             local warnings.";

/// While the frames of a calibration are made (common practice, no source).
pub const INDOORS: [&str; 4] = [
    "Leave lamps, doors and curtains as they are.",
    "Step out of the light while a frame is exposed.",
    "Wait while a cloud passes.",
    "Start with a full battery.",
];

/// What a graduated filter does to the exposure.
pub const GRADUATED: &str = "Meter the land without it; the time does not change.";

/// What a polariser does to the exposure.
pub const POLARISER: &str = "Turn it first, meter through it, then add the neutral density; do not \
                             add its stops again.";

/// After sunset and for minutes-long times (common practice, no source).
pub const DUSK: [&str; 7] = [
    "After sunset the light fades while the shutter is open: meter again just before.",
    "Add a third to one stop for times of minutes.",
    "Check the histogram after the first frame.",
    "Compose and focus bare, then put the filter on.",
    "Wipe spray off the glass before every frame.",
    "Carry a spare battery.",
    "Noise reduction in the camera doubles the wait.",
];

/// Every time (common practice, no source).
pub const HABITS: [&str; 6] = [
    "Meter and focus without the filter, then switch autofocus and stabiliser off.",
    "Cover the eyepiece; cloth round holder and mount from eight stops on.",
    "Remote release or self-timer.",
    "Set a variable ring by coming from the weaker side.",
    "Gasket towards the lens, holder pressed home.",
    "Write down frame, filter and mark.",
];

/// Usual times of effects (common practice, no source).
pub const EFFECTS: [(&str, &str); 3] = [
    ("water with texture", "0.5 to 1 s"),
    ("misty sea", "20 s to 2 min"),
    ("streaked clouds", "30 s to 2 min"),
];
