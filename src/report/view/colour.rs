//! What colour the filter adds.

use super::{Drawings, Figure};
use super::{cast_along, words};
use crate::profile::{Cast, Channels, Kind, Profile, Setting, StopsU95};
use crate::quantity::{Kelvin, Mired};
use crate::report::plots::Caption;
use crate::report::plots::colour::swatch;
use crate::report::plots::ruler::{self, Band, Row};
use crate::report::table::{Column, Table};

/// The section on colour.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Colour {
    /// Sentences.
    pub lead: Vec<String>,
    /// Channel strengths on the ruler.
    pub channels: Figure,
    /// The patch, where Lab is known.
    pub swatch: Option<Figure>,
    /// Raw multipliers.
    pub gains: Table,
    /// Kelvin to set.
    pub kelvin: Option<Table>,
}

/// Builds the section for the setting that stands for the filter.
pub fn colour(profile: &Profile, drawings: &mut Drawings) -> Option<Colour> {
    let setting = representative(profile)?;
    let cast = &setting.cast;
    let at_mark = at_mark(setting);
    let channels = channels(profile.filter.kind, setting, &at_mark, drawings);
    let swatch = cast.lab.map(|lab| patch(lab, cast, &at_mark, drawings));
    Some(Colour {
        lead: lead(profile, setting, &at_mark),
        channels,
        swatch,
        gains: gains(profile),
        kelvin: kelvin(profile, cast, &at_mark),
    })
}

/// The only setting, or the last usable mark, or the first.
pub fn representative(profile: &Profile) -> Option<&Setting> {
    let last = profile.usable.as_ref().and_then(|usable| usable.last_mark.as_ref());
    profile
        .settings
        .iter()
        .find(|setting| last.is_some() && setting.mark.as_ref() == last)
        .or_else(|| profile.settings.first())
}

/// " at mark 5", or nothing.
fn at_mark(setting: &Setting) -> String {
    setting.mark.as_ref().map_or_else(String::new, |mark| format!(" at mark {mark}"))
}

/// Whether some channel's gain differs from 1 beyond its doubt.
fn significant(cast: &Cast) -> bool {
    let beyond = |gain: f64, u95: f64| (gain - 1.0).abs() > u95;
    beyond(cast.gains.red.get(), cast.gains_u95.red.get())
        || beyond(cast.gains.blue.get(), cast.gains_u95.blue.get())
}

fn lead(profile: &Profile, setting: &Setting, at_mark: &str) -> Vec<String> {
    let cast = &setting.cast;
    let described = words::sentence(cast.words.trim_end_matches('.'));
    let mut lead = vec![format!("{described}{at_mark}.")];
    if !significant(cast) {
        lead.push("The channels are alike within their doubt.".to_owned());
    }
    if let Some(shift) = cast.mired_shift {
        lead.push(warmth(shift.value.get(), shift.u95.get()));
    }
    lead.extend(cast_along::sentence(profile));
    if let Some(light) = &profile.light {
        lead.push(format!(
            "Measured in light of about {} K.",
            words::thousands((light.cct_k.get() / 50.0).round() * 50.0)
        ));
    }
    lead
}

/// How the light moves on the mired scale; what lies within its doubt is no change.
fn warmth(mired: f64, u95: f64) -> String {
    if mired.abs() <= u95 {
        return format!(
            "It leaves the light as warm as it was, within the doubt: {} mired, as this camera sees \
             it.",
            words::signed_with_doubt(mired, u95)
        );
    }
    let way = if mired > 0.0 { "warmer" } else { "cooler" };
    format!(
        "It makes the light {way} by {} mired, as this camera sees it.",
        words::with_doubt(mired.abs(), u95)
    )
}

fn channels(kind: Kind, setting: &Setting, at_mark: &str, drawings: &mut Drawings) -> Figure {
    let Channels { red, green, blue } = &setting.channels;
    let row = |label: &str, value: &StopsU95| Row {
        label: label.to_owned(),
        band: Band::one(value.stops.get(), value.u95.get(), words::stops(*value)),
    };
    let rows = [row("red", red), row("green", green), row("blue", blue)];
    let finding = format!(
        "Channel strengths in stops{at_mark}: red {}, green {}, blue {}.",
        words::stops(*red),
        words::stops(*green),
        words::stops(*blue)
    );
    let draw = |name: &str, width| {
        let title = "Strength of the three channels".to_owned();
        ruler::rows(
            &Caption { name: name.to_owned(), title, finding: finding.clone() },
            &rows,
            &[],
            width,
        )
    };
    // elsewhere in the frame a graduated filter takes more or less
    let place = if kind == Kind::Graduated { " in the middle of the frame" } else { "" };
    Figure {
        wide: drawings.keep("the channels", draw("channels", 680.0)),
        narrow: drawings.only_inline("the channels", draw("channels-narrow", 330.0)),
        caption: format!(
            "What each channel loses{place}. The doubts are mostly shared, so differences between \
             channels are better known than each one: the gains below say how well."
        ),
    }
}

fn patch(lab: [f64; 3], cast: &Cast, at_mark: &str, drawings: &mut Drawings) -> Figure {
    let caption = Caption {
        name: "swatch".to_owned(),
        title: "A grey patch without and with the filter".to_owned(),
        finding: format!(
            "The same grey side by side, without the filter and with it{at_mark}: {}.",
            cast.words.trim_end_matches('.')
        ),
    };
    Figure {
        wide: drawings.keep("the grey patch", swatch(&caption, lab, 330.0)),
        narrow: String::new(),
        caption: "A grey of lightness 60 without and with the filter, exposure made up. A screen \
                  shows this only approximately."
            .to_owned(),
    }
}

fn gains(profile: &Profile) -> Table {
    let one = profile.settings.len() == 1;
    let first = if one { "Channel" } else { "Mark" };
    let caption = "Multiply raw values by these to take the cast out";
    if one {
        let mut table = Table::new(
            caption,
            [
                (first, Column::Words),
                ("Gain", Column::Figures),
                ("Stops more than green", Column::Figures),
            ],
        );
        if let Some(setting) = profile.settings.first() {
            let Cast { gains, gains_u95, .. } = &setting.cast;
            let line = |gain: f64, u95: f64| {
                let stops_u95 = u95 / gain / std::f64::consts::LN_2;
                vec![words::with_doubt(gain, u95), words::signed_with_doubt(gain.log2(), stops_u95)]
            };
            table.push("red", line(gains.red.get(), gains_u95.red.get()));
            table.push("green", vec!["1".to_owned(), "0".to_owned()]);
            table.push("blue", line(gains.blue.get(), gains_u95.blue.get()));
        }
        return table;
    }
    let mut table = Table::new(
        caption,
        [
            (first, Column::Words),
            ("Red", Column::Figures),
            ("Blue", Column::Figures),
            ("Mired", Column::Figures),
            ("In words", Column::Words),
        ],
    );
    for setting in &profile.settings {
        let Cast { gains, gains_u95, mired_shift, .. } = &setting.cast;
        let mired = mired_shift.map_or_else(
            || "\u{2013}".to_owned(),
            |shift| words::signed_with_doubt(shift.value.get(), shift.u95.get()),
        );
        table.push(
            setting.mark.as_deref().unwrap_or("\u{2013}"),
            vec![
                words::with_doubt(gains.red.get(), gains_u95.red.get()),
                words::with_doubt(gains.blue.get(), gains_u95.blue.get()),
                mired,
                setting.cast.words.clone(),
            ],
        );
    }
    table
}

/// For a few lights, the kelvin that makes neutral what the filter has coloured: the light's own
/// place on the mired scale plus the shift.
fn kelvin(profile: &Profile, cast: &Cast, at_mark: &str) -> Option<Table> {
    const SUN: f64 = 5200.0;
    const OVERCAST: f64 = 6500.0;
    const SHADE: f64 = 7500.0;
    let shift = cast.mired_shift?;
    let mut table = Table::new(
        format!("Kelvin to set when editing{}", at_mark.replace(" at", ",")),
        [
            ("Light without the filter", Column::Words),
            ("Without", Column::Figures),
            ("With", Column::Figures),
        ],
    );
    let mut push = |name: &str, light: Kelvin| {
        let through = |shift: Mired| (light.mired() + shift).kelvin().get();
        let value = through(shift.value);
        let doubt =
            (through(shift.value - shift.u95) - through(shift.value + shift.u95)).abs() / 2.0;
        let step = |v: f64| words::thousands((v / 10.0).round() * 10.0);
        if value.is_finite() && value > 0.0 {
            table.push(
                name,
                vec![
                    format!("{} K", step(light.get())),
                    format!("{}\u{a0}\u{b1}\u{a0}{} K", step(value), step(doubt.max(10.0))),
                ],
            );
        }
    };
    push("sun", Kelvin::new(SUN));
    push("overcast", Kelvin::new(OVERCAST));
    push("open shade", Kelvin::new(SHADE));
    if let Some(light) = &profile.light {
        push("as measured", light.cct_k);
    }
    Some(table)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shift_within_its_doubt_is_no_change() {
        assert!(warmth(0.2, 3.0).starts_with("It leaves the light as warm as it was"));
        assert!(warmth(-2.9, 3.0).starts_with("It leaves"));
        assert!(warmth(12.0, 3.0).starts_with("It makes the light warmer by 12"));
        assert!(warmth(-12.0, 3.0).starts_with("It makes the light cooler by 12"));
    }
}
