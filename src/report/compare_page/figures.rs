//! Drawings of a comparison.

use crate::compare::{Comparison, Difference};
use crate::profile::Profile;
use crate::report::plots::Caption;
use crate::report::plots::contours::Field;
use crate::report::plots::heat::{self, Scale, Written};
use crate::report::plots::ruler::{self, Band, Row};
use crate::report::view::{Drawings, Figure};
use crate::say::comparison::answer;
use crate::say::figures::{self as words, fixed, signed, unit};

pub(super) fn strengths(
    first: &Profile,
    second: &Profile,
    comparison: &Comparison,
    labels: &[String; 2],
    drawings: &mut Drawings,
) -> Figure {
    let mut rows = Vec::new();
    if let Some(graduation) = &comparison.graduation {
        let both = [graduation.dark_end.first, graduation.dark_end.second];
        for (name, stops) in ["first", "second"].into_iter().zip(both) {
            rows.push(Row { label: name.to_owned(), band: Band::one(stops, 0.0, fixed(stops, 2)) });
        }
    } else {
        for setting in &comparison.settings {
            let mark = setting.mark.as_ref().map_or_else(String::new, |m| format!("{m}, "));
            let doubt = |profile: &Profile| doubt_of(profile, setting.mark.as_deref());
            let (a, b) = (doubt(first), doubt(second));
            // Both with the places of the larger doubt, so that they read alike.
            let places = crate::rounding::places(a.max(b));
            let values =
                [("first", setting.strength.first, a), ("second", setting.strength.second, b)];
            rows.extend(values.map(|(name, value, u95)| Row {
                label: format!("{mark}{name}"),
                band: Band::one(value, u95, words::pair(value, u95, places)),
            }));
        }
    }
    let caption = Caption {
        name: "compare-strengths".to_owned(),
        title: "Both on the ruler of stops".to_owned(),
        finding: answer(comparison, labels),
    };
    let words = "Strength of the first and the second; bands are as wide as their uncertainty.";
    drawings.both("the ruler of both", &caption, words.to_owned(), |caption, width| {
        ruler::rows(caption, &rows, &[], width)
    })
}

fn doubt_of(profile: &Profile, mark: Option<&str>) -> f64 {
    let alone = profile.settings.len() == 1;
    let found = profile.settings.iter().find(|s| alone || s.mark.as_deref() == mark);
    found.map_or(0.0, |setting| setting.strength.u95.get())
}

pub(super) fn difference_ruler(
    comparison: &Comparison,
    labels: &[String; 2],
    drawings: &mut Drawings,
) -> Figure {
    let row = |label: String, difference: &Difference| {
        let (value, u95) = (difference.difference, difference.u95);
        Row { label, band: Band::one(value, u95, words::signed_with_doubt(value, u95)) }
    };
    let rows: Vec<Row> = match comparison.settings.as_slice() {
        [one] => vec![
            row("strength".to_owned(), &one.strength),
            row("red \u{2212} green".to_owned(), &one.red_green),
            row("blue \u{2212} green".to_owned(), &one.blue_green),
        ],
        many => many
            .iter()
            .map(|s| row(format!("mark {}", s.mark.as_deref().unwrap_or("\u{2013}")), &s.strength))
            .collect(),
    };
    let caption = Caption {
        name: "compare-differences".to_owned(),
        title: "Second minus first, in stops".to_owned(),
        finding: answer(comparison, labels),
    };
    let words = "Second minus first: a band that covers zero shows no difference.";
    drawings.both("the ruler of differences", &caption, words.to_owned(), |caption, width| {
        ruler::rows(caption, &rows, &[], width)
    })
}

pub(super) fn maps(
    comparison: &Comparison,
    drawings: &mut Drawings,
) -> (Vec<(String, Figure)>, Option<Figure>) {
    let found: Vec<_> = comparison
        .settings
        .iter()
        .filter_map(|s| Some((s, s.evenness.as_ref()?.map.as_ref()?)))
        .collect();
    if found.is_empty() {
        return (Vec::new(), None);
    }
    let scale =
        Scale::diverging(found.iter().flat_map(|(_, map)| map.stops.iter().flatten().copied()));
    let alone = comparison.settings.len() == 1;
    let mut views = Vec::new();
    for (index, (setting, map)) in found.iter().enumerate() {
        let heading = setting.mark.as_ref().map_or_else(String::new, |mark| format!("Mark {mark}"));
        let at = |row: usize, column: usize| {
            let value = map.stops.get(row * map.columns + column).copied().flatten();
            value.map_or_else(|| "\u{2013}".to_owned(), |v| signed(v, 2))
        };
        let (right, bottom) = (map.columns - 1, map.rows - 1);
        let written = Written {
            centre: at(map.rows / 2, map.columns / 2),
            corners: [at(0, 0), at(0, right), at(bottom, 0), at(bottom, right)],
        };
        let caption = Caption {
            name: format!("compare-evenness-{}", index + 1),
            title: format!("Change of evenness {}", heading.to_lowercase()).trim_end().to_owned(),
            finding: format!(
                "Second minus first: spread {} {}.",
                fixed(map.spread.get(), 2),
                unit(map.spread.get())
            ),
        };
        let field = Field { columns: map.columns, rows: map.rows, values: map.stops.clone() };
        let width = if alone { 440.0 } else { 310.0 };
        let wide =
            drawings.keep(&caption.title, heat::map(&caption, &field, scale, &written, width));
        let figure = Figure { wide, narrow: String::new(), caption: caption.finding };
        views.push((heading, figure));
    }
    let legend = legend(scale, drawings);
    (views, Some(legend))
}

/// The scale of all maps of differences.
fn legend(scale: Scale, drawings: &mut Drawings) -> Figure {
    let caption = Caption {
        name: "compare-evenness-scale".to_owned(),
        title: "Scale of the maps of differences".to_owned(),
        finding: format!(
            "From {} {} (brown, the second is lighter there) to {} {} (ink, darker).",
            signed(scale.lo(), 2),
            unit(scale.lo()),
            signed(scale.hi(), 2),
            unit(scale.hi())
        ),
    };
    Figure {
        wide: drawings.keep("the scale of the maps", heat::legend(&caption, scale, 330.0)),
        narrow: String::new(),
        caption: "Second minus first, each relative to its own centre: towards ink the second is \
                  darker there, towards brown lighter; hatched where either is not known. Written in: \
                  single cells in the centre and the corners."
            .to_owned(),
    }
}
