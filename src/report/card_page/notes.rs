//! The second side in words: marks, casts and kelvin, lenses, habits, the sun.

use crate::field::card::{Card, MarkNote, Notes};
use crate::kit::Widest;
use crate::measure::colour::DAYLIGHT;
use crate::profile::{Kind, MatrixRecord};
use crate::quantity::{Kelvin, Stops};
use crate::rounding;
use crate::say::cast;
use crate::say::rating::Against;
use crate::say::special::shaped;
use crate::say::{figures, habits as words, picture, ring};

/// A heading with what stands below it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Section {
    /// Heading.
    pub title: String,
    /// Bold throughout.
    pub strong: bool,
    /// Rows under heads.
    pub grid: Option<Grid>,
    /// Paragraphs.
    pub paragraphs: Vec<String>,
}

/// A small table of words.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Grid {
    /// Heads.
    pub heads: Vec<String>,
    /// Rows.
    pub rows: Vec<Vec<String>>,
}

/// What the sun needs said on this card.
#[must_use]
pub fn sun(card: &Card) -> String {
    crate::safety::text(card.full_sun_warning)
}

/// Everything on the second side, in order.
#[must_use]
pub fn sections(card: &Card) -> Vec<Section> {
    let mut list: Vec<Section> = card.filters.iter().map(filter).collect();
    if card.columns.iter().any(|c| c.names.len() > 1) {
        list.push(stacks(card));
    }
    list.push(said("Habits", &words::HABITS));
    list.push(said("Dusk and long times", &words::DUSK));
    if card.full_sun_warning {
        list.push(Section {
            title: "The sun".to_owned(),
            strong: true,
            paragraphs: vec![crate::safety::SUN_FULL.to_owned()],
            grid: None,
        });
    }
    list
}

fn said(title: &str, sentences: &[&str]) -> Section {
    Section { title: title.to_owned(), paragraphs: vec![sentences.join(" ")], ..Section::default() }
}

fn stacks(card: &Card) -> Section {
    let predicted = card.columns.iter().any(|c| c.names.len() > 1 && c.predicted);
    let added = "Stacks: strengths measured one by one and added. ";
    Section {
        title: "Stacks".to_owned(),
        paragraphs: vec![format!(
            "{}Two rings shade the corners of a wide lens: look at them first.",
            if predicted { added } else { "" }
        )],
        ..Section::default()
    }
}

/// What the second side says of one filter.
#[must_use]
pub fn filter(notes: &Notes) -> Section {
    let (grid, paragraphs) = match notes.kind {
        Kind::Solid | Kind::Stack => (None, solid(notes)),
        Kind::Variable => (Some(marks(notes)), variable(notes)),
        Kind::Graduated => (None, graduated(notes)),
        Kind::Polariser => (None, polariser(notes)),
    };
    let mut paragraphs = paragraphs;
    if let Some(onset) = notes.vignetting {
        paragraphs.push(format!(
            "Its ring or holder shades the corners from {:.0} % of the half diagonal.",
            onset.get()
        ));
    }
    paragraphs.extend(notes.picture.as_ref().and_then(picture::line));
    paragraphs.extend(notes.years.clone());
    Section { title: notes.name.clone(), strong: false, grid, paragraphs }
}

fn solid(notes: &Notes) -> Vec<String> {
    let Some(only) = notes.marks.first() else { return Vec::new() };
    let strength = figures::in_hundredths(only.stops, only.u95);
    let against = notes.rated.map_or(String::new(), |rated| {
        format!(", {}", Against::of(only.stops, only.u95, rated).words())
    });
    let (unit, clicks) = (figures::unit(only.stops.get()), figures::clicks(only.stops));
    vec![format!("{strength} {unit}, {clicks}{against}. {}", cast_text(only))]
}

/// Cast in words and as white balance for the later edit.
#[must_use]
pub fn cast_text(note: &MarkNote) -> String {
    let set = cast::to_set(&note.cast, seen_by(note));
    format!("Cast: {}.{set}", cast::words(&note.cast))
}

fn seen_by(note: &MarkNote) -> Option<(&MatrixRecord, Kelvin)> {
    note.seen_by.as_ref().map(|(matrix, light)| (matrix, *light))
}

fn marks(notes: &Notes) -> Grid {
    let fitted = notes.marks.iter().any(|m| m.widest != Widest::Unknown);
    let mut heads = vec!["mark".to_owned(), "true stops".to_owned(), "set by hand".to_owned()];
    if fitted {
        heads.push("widest lens".to_owned());
    }
    heads.push(format!("{} needs", cast::kelvin(DAYLIGHT)));
    heads.push("tint".to_owned());
    let rows = notes.marks.iter().map(|mark| mark_row(mark, fitted)).collect();
    Grid { heads, rows }
}

fn mark_row(mark: &MarkNote, fitted: bool) -> Vec<String> {
    let unknown = || "\u{2013}".to_owned();
    let label = mark.mark.clone().unwrap_or_else(unknown);
    let mut row = vec![
        if mark.usable { label } else { format!("{label} (uneven)") },
        figures::in_hundredths(mark.stops, mark.u95),
        mark.hand.map_or_else(unknown, |hand| format!("\u{b1} {}", rounding::fixed(hand.get(), 2))),
    ];
    if fitted {
        row.push(ring::widest(mark.widest));
    }
    let kelvin = cast::kelvin_behind(&mark.cast, seen_by(mark), DAYLIGHT);
    row.push(kelvin.map_or_else(unknown, |(kelvin, _)| cast::kelvin(kelvin)));
    row.push(cast::tint(&mark.cast).map_or_else(unknown, str::to_owned));
    row
}

fn variable(notes: &Notes) -> Vec<String> {
    let mut said = Vec::new();
    match &notes.last_mark {
        Some(Some(mark)) => said.push(format!("Even enough up to mark {mark}.")),
        Some(None) => said.push("No mark is even enough to be used.".to_owned()),
        None => {}
    }
    let mut casts: Vec<(&str, Vec<&str>)> = Vec::new();
    for note in &notes.marks {
        let (words, mark) = (cast::words(&note.cast), note.mark.as_deref());
        match casts.iter_mut().find(|(known, _)| *known == words) {
            Some((_, marks)) => marks.extend(mark),
            None => casts.push((words, mark.into_iter().collect())),
        }
    }
    let every = casts.len() == 1;
    for (words, marks) in casts {
        let place = if every { String::new() } else { format!(" at {}", marks.join(", ")) };
        said.push(format!("Cast{place}: {words}."));
    }
    vec![said.join(" ")]
}

fn graduated(notes: &Notes) -> Vec<String> {
    let mut said = vec![words::GRADUATED.to_owned()];
    if let Some(edge) = &notes.edge {
        said.push(format!(
            "Dark end {} below the clear end; {}, {:.0} % of the frame's height wide.",
            end(edge.dark, edge.dark_u95),
            shaped(&edge.shape),
            edge.width.get()
        ));
        if edge.clear.get().abs() >= 0.05 {
            said.push(format!("The clear end itself takes {}.", end(edge.clear, edge.clear_u95)));
        }
    }
    let middle = notes.marks.first();
    said.extend(
        middle.map(|m| cast_text(m).replacen("Cast:", "Cast in the middle of the frame:", 1)),
    );
    vec![said.join(" ")]
}

/// What one end takes, with its doubt where the profile states one.
fn end(stops: Stops, u95: Option<Stops>) -> String {
    let number = u95.map_or_else(
        || figures::fixed(stops.get(), figures::PLACES_WITHOUT),
        |u95| figures::in_hundredths(stops, u95),
    );
    format!("{number} {}", figures::unit(stops.get()))
}

fn polariser(notes: &Notes) -> Vec<String> {
    let figures = |(stops, u95): (Stops, Stops)| {
        format!("{} {}", figures::in_hundredths(stops, u95), figures::unit(stops.get()))
    };
    let loss = match (notes.polariser_loss, notes.marks.first()) {
        (Some(loss), _) => format!(" In unpolarised light it takes {}.", figures(loss)),
        (None, _) if notes.light_polarised => " How much it takes of unpolarised light is not \
            known: it was measured in polarised light."
            .to_owned(),
        (None, Some(m)) => format!(" It takes {}.", figures((m.stops, m.u95))),
        (None, None) => String::new(),
    };
    let cast = notes.marks.first().map(cast_text).map_or(String::new(), |c| format!(" {c}"));
    vec![format!("{}{loss}{cast}", words::POLARISER)]
}
