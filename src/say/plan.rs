//! A plan in sentences: how long, what light, what each shot is of.

use crate::exposure::sentence_text;
use crate::field::plan::light::BareLevel;
use crate::field::plan::{DialTrust, Plan, Shot};
use crate::profile::Kind;
use crate::quantity::Seconds;
use crate::shoot_file::ShotState;

/// Name, number of frames, and how long it takes.
#[must_use]
pub fn total(plan: &Plan) -> String {
    format!("{}: {} frames, about {}.", plan.name, plan.frames(), whole_minutes(plan.duration()))
}

/// How long a shoot takes, no finer than anybody can say: "18 min", "8 h 13 min".
#[must_use]
pub fn whole_minutes(time: Seconds) -> String {
    sentence_text(Seconds::new((time.get() / 60.0).ceil() * 60.0))
}

/// What to do about the light, sentence by sentence.
#[must_use]
pub fn light(plan: &Plan) -> Vec<String> {
    let light = &plan.light;
    let (more, share) = match light.level {
        BareLevel::Half => ("two stops more", "half"),
        BareLevel::Quarter => ("one stop more", "a quarter"),
    };
    let mut said = vec![format!(
        "At the aperture and ISO of the shoot the meter should read {} without the filter; the \
         bare frames then get {}, {} than metered, near {} of full scale.",
        unit(&light.reading),
        unit(&light.bare.text),
        more,
        share
    )];
    if light.brighten_thirds > 0 {
        said.push(format!(
            "That is {} brighter than your reading, in which one frame would take longer than four \
             minutes: a wider aperture, a higher ISO or a brighter wall, set before the first frame \
             and then left.",
            in_thirds(light.brighten_thirds)
        ));
    }
    match light.darken_thirds {
        0 => {}
        n => said.push(format!(
            "That is {} darker than your reading: close the aperture, lower the ISO or dim the \
             light before the first frame, since a shorter shutter time is less exact.",
            in_thirds(n)
        )),
    }
    match &light.too_dim {
        None => {}
        Some(Some((reading, n))) => said.push(format!(
            "The filtered frames need more than 30 s in this light. For 30 s the meter would have \
             to read {}, {} brighter: a wider aperture, a higher ISO or a brighter wall, set before \
             the first frame and then left.",
            unit(reading),
            in_thirds(*n)
        )),
        Some(None) => said.push(
            "No light makes this filter a 30 s exposure at the level of a bare frame of 1/250, so \
             its frames are timed on bulb; the brighter the light, the shorter."
                .to_owned(),
        ),
    }
    said.extend(half_an_hour(plan));
    said.push(dial(plan));
    if plan.request.kind == Kind::Graduated {
        said.push(
            "A graduated filter keeps the bare time: its clear end is as bright as no filter."
                .to_owned(),
        );
    }
    said
}

/// An alternative where one frame takes longer than anybody waits: less light in it.
fn half_an_hour(plan: &Plan) -> Option<String> {
    let longest = plan.longest();
    let shorter = plan.shorter()?;
    Some(format!(
        "The longest frame takes {}, in which daylight changes. Instead give the frames of that time \
         {}, {} less: an even wall stays far above black, and frames need not be alike in level. In \
         brighter light, by a steady lamp or through a wider aperture set before the first frame, \
         they take less still.",
        sentence_text(longest),
        sentence_text(shorter.time),
        in_thirds(3 * shorter.stops)
    ))
}

fn dial(plan: &Plan) -> String {
    const NONE: &str = "it makes no difference whether your camera does.";
    let rest = match plan.dial_trust() {
        DialTrust::OneTime => format!("all frames get one time, so {NONE}"),
        DialTrust::Measured => {
            format!("these frames measure the times against each other, so {NONE}")
        }
        DialTrust::UpTo(doubt) if doubt.get() < 0.005 => format!("for these times {NONE}"),
        DialTrust::UpTo(doubt) => format!(
            "if yours keeps the times as shown, marks at other times may be off by up to {:.2} stop.",
            doubt.get()
        ),
    };
    format!("Times are those of the dial; behind 1/30 stands 1/32 s, behind 30 s 32 s: {rest}")
}

/// "2/3 stop", "1 stop", "1 1/3 stops".
#[must_use]
pub fn in_thirds(thirds: i32) -> String {
    let (whole, part) = (thirds / 3, thirds % 3);
    match (whole, part) {
        (0, part) => format!("{part}/3 stop"),
        (1, 0) => "1 stop".to_owned(),
        (whole, 0) => format!("{whole} stops"),
        (whole, part) => format!("{whole} {part}/3 stops"),
    }
}

/// "30 s".
#[must_use]
pub fn unit(time: &str) -> String {
    format!("{time} s")
}

/// What a shot is of.
#[must_use]
pub fn what(shot: &Shot) -> String {
    let state = match shot.state {
        ShotState::Bare => "bare",
        ShotState::Filtered => "filter",
        ShotState::Dark => "dark",
        ShotState::Leak => "leak",
        ShotState::LightCheck => "light check",
        ShotState::Cloth => "cloth",
        ShotState::Bridge => "bridge",
    };
    let mut said = state.to_owned();
    if let Some(mark) = &shot.mark {
        said.push_str(&format!(", mark {mark}"));
    }
    if let Some(rotation) = shot.rotation {
        said.push_str(&format!(", at {:.0}\u{b0}", rotation.get()));
    }
    if let Some(focal) = shot.focal {
        said.push_str(&format!(", {:.0} mm", focal.get()));
    }
    said
}
