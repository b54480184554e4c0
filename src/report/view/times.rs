//! Which time to use: a short table from common metered times.

use crate::exposure::{self, DialTime};
use crate::profile::{Kind, Profile};
use crate::quantity::{Seconds, Stops};
use crate::report::table::{Column, Table};
use crate::say::figures as words;
use crate::say::rating::Against;

/// The section on times.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Times {
    /// Sentences before the table.
    pub lead: Vec<String>,
    /// The table, where times change at all.
    pub table: Option<Table>,
}

/// Builds the section.
pub fn times(profile: &Profile) -> Times {
    match profile.filter.kind {
        Kind::Graduated => Times {
            lead: vec![
                "Meter the land without the filter and use that time: it does not change. The filter \
                 only holds the sky back."
                    .to_owned(),
            ],
            table: None,
        },
        Kind::Polariser => Times {
            lead: vec![
                "Turn it first, then meter through it. The loss depends on how polarised the scene \
                 is, so the figure above is not added to a metered time."
                    .to_owned(),
            ],
            table: None,
        },
        Kind::Variable if profile.settings.len() > 1 => by_mark(profile),
        _ => one_strength(profile),
    }
}

const LONGEST_S: f64 = 1800.0;
const SHORTEST_S: f64 = 1.0 / 4000.0;

fn one_strength(profile: &Profile) -> Times {
    let Some(setting) = profile.settings.first() else {
        return Times { lead: Vec::new(), table: None };
    };
    let strength = setting.strength.stops;
    let rated = profile.filter.rated_stops;
    let mut table = match rated {
        Some(rated) => {
            let by_rating = format!("As rated ({})", words::rating(rated.get()));
            Table::new(
                "Metered without the filter, and what to set with it",
                [
                    ("Metered", Column::Figures),
                    ("Set", Column::Figures),
                    ("True time", Column::Figures),
                    (&by_rating, Column::Figures),
                ],
            )
        }
        None => Table::new(
            "Metered without the filter, and what to set with it",
            [
                ("Metered", Column::Figures),
                ("Set", Column::Figures),
                ("True time", Column::Figures),
            ],
        ),
    };
    let useful = |dial: &DialTime| {
        let time = exposure::filtered_time(dial.true_time(), strength).get();
        (SHORTEST_S..=LONGEST_S).contains(&time)
    };
    for dial in exposure::series::metered_times_full().into_iter().filter(useful) {
        let through = exposure::filtered_time(dial.true_time(), strength);
        let mut cells = vec![exposure::card_text(through), true_time(through)];
        if let Some(rated) = rated {
            cells.push(exposure::card_text(exposure::filtered_time(dial.true_time(), rated)));
        }
        table.push(format!("{} s", dial.text()), cells);
    }
    let against = rated.map(|rated| Against::of(strength, setting.strength.u95, rated));
    Times { lead: lead(strength, against), table: Some(table) }
}

fn lead(strength: Stops, against: Option<Against>) -> Vec<String> {
    let mut lead = vec![format!(
        "Meter without the filter, then count {} of the dial (thirds of a stop), or read the time \
         here. Times up to 30 s stand as a camera's dial shows them, longer ones are for bulb and a \
         watch.",
        words::clicks(strength)
    )];
    lead.extend(against.map(|against| {
        let exposure = against.exposure();
        let given =
            if against.differs() { "leaves the picture" } else { "gives an exposure that is" };
        format!("Trusting the rating {given} {exposure}.")
    }));
    lead
}

fn true_time(time: Seconds) -> String {
    const SHORT_S: f64 = 0.25;
    if time.get() < SHORT_S {
        return format!("1/{:.0} s", 1.0 / time.get());
    }
    format!("{} s", words::significant(time.get(), 3))
}

/// Marks down, a few metered times across.
fn by_mark(profile: &Profile) -> Times {
    const METERED: [&str; 4] = ["1/500", "1/125", "1/30", "1/8"];
    let dials: Vec<_> = exposure::series::metered_times_full()
        .into_iter()
        .filter(|dial| METERED.contains(&dial.text()))
        .collect();
    let mut table = Table::new(
        "What to set at each mark for a time metered without the filter (beyond: the frame is less even than the tolerance allows)",
        [("Mark", Column::Words), ("Stops", Column::Figures)],
    );
    for dial in &dials {
        table.head.push(format!("{} s", dial.text()));
        table.columns.push(Column::Figures);
    }
    let beyond = super::ring::beyond_usable(profile);
    for (setting, beyond) in profile.settings.iter().zip(beyond) {
        let strength = setting.strength.stops;
        let mut cells = vec![words::value(strength.get(), setting.strength.u95.get())];
        cells.extend(
            dials.iter().map(|dial| {
                exposure::card_text(exposure::filtered_time(dial.true_time(), strength))
            }),
        );
        let mark = setting.mark.as_deref().unwrap_or("\u{2013}");
        let header = if beyond { format!("{mark}, beyond") } else { mark.to_owned() };
        table.push_marked(header, cells, beyond);
    }
    Times {
        lead: vec![
            "Meter without the filter, set the ring to a mark, and read the time. Times up to 30 s \
             stand as a camera's dial shows them, longer ones are for bulb and a watch."
                .to_owned(),
        ],
        table: Some(table),
    }
}
