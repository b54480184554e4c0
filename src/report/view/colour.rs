//! What colour the filter adds.

use super::{Drawings, Figure};
use crate::profile::{Cast, Channels, Kind, Profile, Setting, StopsU95};
use crate::report::plots::Caption;
use crate::report::plots::colour::swatch;
use crate::report::plots::ruler::{self, Band, Row};
use crate::report::table::{Column, Table};
use crate::say::{cast as said, cast_along, figures as words};

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
    /// White balance to set.
    pub kelvin: Option<Table>,
    /// White balance to set at every mark.
    pub marks_kelvin: Option<Table>,
}

/// Builds the section for the setting that stands for the filter.
pub fn colour(profile: &Profile, drawings: &mut Drawings) -> Option<Colour> {
    let setting = said::representative(profile)?;
    let cast = &setting.cast;
    let at_mark = said::at_mark(setting);
    let channels = channels(profile.filter.kind, setting, &at_mark, drawings);
    let swatch = cast.lab.map(|lab| patch(lab, cast, &at_mark, drawings));
    Some(Colour {
        lead: lead(profile, setting),
        channels,
        swatch,
        gains: gains(profile),
        kelvin: kelvin(profile, cast, &at_mark),
        marks_kelvin: marks_kelvin(profile),
    })
}

fn lead(profile: &Profile, setting: &Setting) -> Vec<String> {
    let mut lead = said::sentences(setting);
    lead.extend(cast_along::sentence(profile));
    lead.extend(
        said::tint(&setting.cast).map(|tint| {
            format!("When editing, set the kelvin given here and move the tint {tint}.")
        }),
    );
    if let Some(light) = &profile.light {
        lead.push(format!("Measured in light of about {}.", said::kelvin(light.cct_k)));
    }
    lead
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
    let title = "Strength of the three channels".to_owned();
    let caption = Caption { name: "channels".to_owned(), title, finding };
    // elsewhere in the frame a graduated filter takes more or less
    let place = if kind == Kind::Graduated { " in the middle of the frame" } else { "" };
    let words = format!(
        "What each channel loses{place}. Their uncertainties are mostly shared, so differences between \
         channels are better known than each one: the gains below say how well."
    );
    drawings.both("the channels", &caption, words, |caption, width| {
        ruler::rows(caption, &rows, &[], width)
    })
}

fn patch(lab: [f64; 3], cast: &Cast, at_mark: &str, drawings: &mut Drawings) -> Figure {
    let caption = Caption {
        name: "swatch".to_owned(),
        title: "A grey patch without and with the filter".to_owned(),
        finding: format!(
            "The same grey side by side, without the filter and with it{at_mark}: {}.",
            said::words(cast)
        ),
    };
    Figure {
        wide: drawings.keep("the grey patch", swatch(&caption, lab, 330.0)),
        narrow: String::new(),
        caption: "A grey of lightness 60 without and with the filter, brought to the same \
                  brightness. A screen shows this only approximately."
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

/// For a few lights, the kelvin and the tint that make neutral what the filter has coloured.
fn kelvin(profile: &Profile, cast: &Cast, at_mark: &str) -> Option<Table> {
    let mut table = Table::new(
        format!("White balance to set when editing{}", at_mark.replace(" at", ",")),
        [
            ("Light without the filter", Column::Words),
            ("Without", Column::Figures),
            ("With", Column::Figures),
        ],
    );
    let measured = profile.light.as_ref().map(|light| ("as measured", light.cct_k));
    let seen_by = said::seen_by(profile);
    for (name, light) in said::LIGHTS.into_iter().chain(measured) {
        if let Some(behind) = said::kelvin_behind(cast, seen_by, light) {
            table.push(name, vec![said::kelvin(light), said::kelvin_with_u95(behind)]);
        }
    }
    let tint = said::tint(cast).unwrap_or("as it is");
    let known = !table.lines.is_empty();
    table.push("tint", vec!["as it is".to_owned(), tint.to_owned()]);
    known.then_some(table)
}

/// The same for every mark of a ring, in the lights that have a name.
fn marks_kelvin(profile: &Profile) -> Option<Table> {
    let head = |(name, light)| format!("{name}, {}", said::kelvin(light));
    let heads = said::LIGHTS.map(head);
    let mut table = Table::new(
        "White balance to set when editing, mark by mark",
        [
            ("Mark", Column::Words),
            (&heads[0], Column::Figures),
            (&heads[1], Column::Figures),
            (&heads[2], Column::Figures),
            ("Tint", Column::Words),
        ],
    );
    let seen_by = said::seen_by(profile);
    for setting in profile.settings.iter().filter(|_| profile.settings.len() > 1) {
        let cast = &setting.cast;
        let behind = said::LIGHTS.map(|(_, light)| said::kelvin_behind(cast, seen_by, light));
        let [Some(a), Some(b), Some(c)] = behind else { continue };
        let mut cells = [a, b, c].map(|(kelvin, _)| said::kelvin(kelvin)).to_vec();
        cells.push(said::tint(cast).unwrap_or("as it is").to_owned());
        table.push(setting.mark.as_deref().unwrap_or("\u{2013}"), cells);
    }
    (!table.lines.is_empty()).then_some(table)
}
