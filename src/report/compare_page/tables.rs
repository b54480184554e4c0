//! Tables of a comparison.

use crate::compare::{Comparison, Difference, SettingDifference};
use crate::profile::Kind;
use crate::report::table::{Column, Table};
use crate::say::comparison as said;
use crate::say::figures::{self as words, fixed, signed};
use crate::say::ring::cross;

fn cells(difference: &Difference) -> Vec<String> {
    let places = crate::rounding::places(difference.u95);
    vec![
        fixed(difference.first, places),
        fixed(difference.second, places),
        words::signed_with_doubt(difference.difference, difference.u95),
        said::shows(difference).to_owned(),
    ]
}

const COLUMNS: [(&str, Column); 4] = [
    ("First", Column::Figures),
    ("Second", Column::Figures),
    ("Second \u{2212} first", Column::Figures),
    ("Against its uncertainty", Column::Words),
];

fn head(first: &'static str) -> [(&'static str, Column); 5] {
    [(first, Column::Words), COLUMNS[0], COLUMNS[1], COLUMNS[2], COLUMNS[3]]
}

pub(super) fn tables(comparison: &Comparison, kind: Kind) -> Vec<Table> {
    let mut tables = Vec::new();
    if let Some(graduation) = &comparison.graduation {
        tables.push(graduation_table(graduation));
    }
    if let [one] = comparison.settings.as_slice() {
        tables.push(one_table(one, kind));
    } else {
        let mut table = Table::new("Strength at each mark, in stops", head("Mark"));
        let mut colour = Table::new("Red minus green at each mark, in stops", head("Mark"));
        let mut even = Table::new(
            "Spread and dark cross at each mark",
            [("Mark", Column::Words), ("First", Column::Words), ("Second", Column::Words)],
        );
        for setting in &comparison.settings {
            let mark = setting.mark.as_deref().unwrap_or("\u{2013}");
            table.push_marked(mark, cells(&setting.strength), setting.strength.shows());
            colour.push_marked(mark, cells(&setting.red_green), setting.red_green.shows());
            if let Some(evenness) = &setting.evenness {
                let side = |i: usize| {
                    format!(
                        "{}, cross {}",
                        fixed(evenness.spread[i].get(), 2),
                        cross(evenness.cross[i])
                    )
                };
                even.push(mark, vec![side(0), side(1)]);
            }
        }
        tables.extend([table, colour]);
        tables.extend((!even.lines.is_empty()).then_some(even));
    }
    tables
}

fn one_table(one: &SettingDifference, kind: Kind) -> Table {
    let mut table =
        Table::new("Differences in figures; stops where nothing else is said", head("What"));
    let mut push = |name: &str, difference: &Difference| {
        table.push_marked(name, cells(difference), difference.shows());
    };
    let strength = if kind == Kind::Graduated { "Strength in the centre" } else { "Strength" };
    push(strength, &one.strength);
    for (name, channel) in ["Red", "Green", "Blue"].iter().zip(&one.channels) {
        push(name, channel);
    }
    push("Red minus green", &one.red_green);
    push("Blue minus green", &one.blue_green);
    if let Some(mired) = &one.mired {
        push("Shift of the light, mired", mired);
    }
    if let Some(evenness) = &one.evenness {
        let [a, b] = evenness.spread;
        table.push(
            "Spread across the frame",
            vec![
                fixed(a.get(), 2),
                fixed(b.get(), 2),
                signed((b - a).get(), 2),
                "no uncertainty stated".into(),
            ],
        );
        let [a, b] = evenness.cross.map(|state| cross(state).to_owned());
        let same = if a == b { "alike" } else { "differs" };
        table.push("Dark cross", vec![a, b, String::new(), same.to_owned()]);
    }
    table
}

fn graduation_table(graduation: &crate::compare::GraduationDifference) -> Table {
    let mut table = Table::new(
        "The graduations in figures",
        [
            ("What", Column::Words),
            ("First", Column::Figures),
            ("Second", Column::Figures),
            ("Second \u{2212} first", Column::Figures),
        ],
    );
    let mut push = |name: &str, [a, b]: [f64; 2], places: usize| {
        table.push(name, vec![fixed(a, places), fixed(b, places), signed(b - a, places)]);
    };
    push("Dark end minus clear end, stops", graduation.dark_end.map(|s| s.get()), 2);
    push("Width, % of the height", graduation.width.map(|s| s.get()), 0);
    push("Centre line from the top, %", graduation.centre.map(|s| s.get()), 0);
    push("Angle, \u{b0}", graduation.angle.map(|s| s.get()), 1);
    table
}

pub(super) fn shared(comparison: &Comparison) -> Table {
    let mut table = Table::new(
        "What the two measurements share, and what that does to a difference",
        [
            ("What", Column::Words),
            ("First", Column::Words),
            ("Second", Column::Words),
            ("So", Column::Words),
        ],
    );
    for row in &comparison.shared {
        let word = words::sentence(said::sameness(row.sameness));
        table.push(
            words::sentence(row.what),
            vec![row.first.clone(), row.second.clone(), format!("{word}: {}.", row.meaning)],
        );
    }
    table
}
