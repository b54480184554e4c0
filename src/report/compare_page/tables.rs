//! Tables of a comparison.

use crate::compare::{Comparison, Difference};
use crate::profile::Kind;
use crate::report::table::{Column, Table};
use crate::say::comparison as said;
use crate::say::figures::{self as words, fixed, signed};

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
    let mut tables: Vec<Table> = comparison.graduation.iter().map(graduation_table).collect();
    let mut table =
        Table::new("Differences in figures; stops where nothing else is said", head("What"));
    for (name, difference) in said::rows(comparison, kind) {
        table.push_marked(name, cells(&difference), difference.shows());
    }
    tables.push(table);
    let mut even = Table::new(
        "Unevenness across the frame, and dark cross, without their uncertainties",
        [("Where", Column::Words), ("First", Column::Words), ("Second", Column::Words)],
    );
    for (name, both) in said::evenness(comparison) {
        even.push(name, both.to_vec());
    }
    tables.extend((!even.lines.is_empty()).then_some(even));
    tables
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
