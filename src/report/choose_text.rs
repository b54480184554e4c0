//! The choice of a filter for the terminal.

use crate::exposure::{sentence_text, series};
use crate::field::choose::{self, Choice, Doubt, Question};
use crate::field::kit::Kit;
use crate::field::words;
use crate::quantity::{FNumber, Iso, Stops};
use crate::report::plan_page::{self, wrapped};
use crate::{rounding, safety};

/// Rows that are printed.
const MOST: usize = 8;

/// The answer: the best first, then the table, cautions, footnotes.
#[must_use]
pub fn text(kit: &Kit, question: &Question, metered: &str, choices: &[Choice]) -> String {
    let mut out = String::new();
    let Some(best) = choices.first() else {
        return format!(
            "No filter of this kit multiplies a time.\n{}{}",
            special(kit),
            wrapped("", safety::SUN_SHORT)
        );
    };
    out.push_str(&format!(
        "{}: a metered {metered} becomes {}{}.\n\n",
        best.names.join(" + "),
        sentence_text(best.time),
        help(best, question).map_or(String::new(), |help| format!("; {help}"))
    ));
    out.push_str("  time          to make up          stops          filter\n");
    for choice in choices.iter().take(MOST) {
        out.push_str(&row(choice));
        for doubt in &choice.cautions {
            out.push_str(&wrapped("      ", &doubt_text(doubt)));
        }
    }
    if choices.len() > MOST {
        out.push_str(&format!("  and {} more, farther off\n", choices.len() - MOST));
    }
    out.push('\n');
    out.push_str(&special(kit));
    let effects: Vec<String> =
        words::EFFECTS.iter().map(|(what, time)| format!("{what} {time}")).collect();
    let usual = format!("Usual times (common practice): {}.", effects.join(", "));
    out.push_str(&wrapped("", &usual));
    out.push_str(&wrapped("", sun(kit, choices)));
    out
}

fn sun(kit: &Kit, choices: &[Choice]) -> &'static str {
    let shown = choices.iter().take(MOST);
    let strongest = shown.map(|c| c.stops.get()).fold(kit.strongest().get(), f64::max);
    let full = kit
        .filters
        .iter()
        .any(|p| safety::full_warning_needed(Stops::new(strongest), &p.filter.name));
    if full { safety::SUN_FULL } else { safety::SUN_SHORT }
}

fn row(choice: &Choice) -> String {
    let strength = format!(
        "{} +- {}",
        rounding::fixed(choice.stops.get(), 2),
        rounding::fixed(choice.u95.get(), 2)
    );
    format!(
        "  {:<12}  {:<18}  {strength:<13}  {}\n",
        sentence_text(choice.time),
        thirds_text(choice.thirds),
        choice.names.join(" + ")
    )
}

fn thirds_text(thirds: i64) -> String {
    let amount = plan_page::in_thirds(i32::try_from(thirds.abs()).unwrap_or(i32::MAX));
    match thirds {
        0 => "nothing".to_owned(),
        n if n > 0 => format!("{amount} darker"),
        _ => format!("{amount} brighter"),
    }
}

/// How aperture or ISO make up what is left.
fn help(choice: &Choice, question: &Question) -> Option<String> {
    if choice.thirds == 0 {
        return None;
    }
    let mut ways = Vec::new();
    if let Some(f) = question.f_number {
        let wanted = series::true_f_number(f).get() * (choice.thirds as f64 / 6.0).exp2();
        ways.push(format!("f/{}", marked_f(FNumber::new(wanted))));
    }
    if let Some(iso) = question.iso {
        let wanted = series::true_iso(iso).get() * (-choice.thirds as f64 / 3.0).exp2();
        ways.push(format!("ISO {}", marked_iso(Iso::new(wanted))));
    }
    let way = if ways.is_empty() {
        let (aperture, iso) =
            if choice.thirds > 0 { ("smaller", "lower") } else { ("wider", "higher") };
        format!("with a {aperture} aperture or a {iso} ISO")
    } else {
        format!("with {}", ways.join(" or "))
    };
    Some(format!("{} {way} makes it {}", thirds_text(choice.thirds), sentence_text(choice.made_up)))
}

/// Aperture markings in thirds (ISO 517).
const APERTURES: [f64; 31] = [
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0,
    9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0,
];
/// ISO markings in thirds.
const ISOS: [f64; 25] = [
    50.0, 64.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 320.0, 400.0, 500.0, 640.0, 800.0, 1000.0,
    1250.0, 1600.0, 2000.0, 2500.0, 3200.0, 4000.0, 5000.0, 6400.0, 8000.0, 10000.0, 12800.0,
];

fn marked_f(wanted: FNumber) -> String {
    let truth = |marked: f64| series::true_f_number(FNumber::new(marked)).get();
    nearest(&APERTURES, wanted.get(), truth)
}

fn marked_iso(wanted: Iso) -> String {
    nearest(&ISOS, wanted.get(), |marked| series::true_iso(Iso::new(marked)).get())
}

fn nearest(list: &[f64], wanted: f64, truth: impl Fn(f64) -> f64) -> String {
    let off = |marked: &f64| (truth(*marked) / wanted).log2().abs();
    let found = list.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
    match found.filter(|marked| off(marked) < 1.0 / 6.0) {
        Some(marked) => format!("{marked}"),
        // Beyond the dial: the number itself says so.
        None => rounding::fixed(wanted, usize::from(wanted < 10.0)),
    }
}

fn doubt_text(doubt: &Doubt) -> String {
    match doubt {
        Doubt::BeyondUsable { mark, last: Some(last) } => {
            format!("mark {mark} is uneven across the frame; even enough up to mark {last}")
        }
        Doubt::BeyondUsable { mark, last: None } => {
            format!("mark {mark} is uneven across the frame, as is every mark of this ring")
        }
        Doubt::LensTooWide { mark, widest: Some(lens), fails: true } => {
            format!("this lens is too wide for mark {mark}: use {:.0} mm or longer", lens.get())
        }
        Doubt::LensTooWide { mark, widest: Some(lens), fails: false } => {
            format!("mark {mark} is even enough with lenses of {:.0} mm and longer", lens.get())
        }
        Doubt::LensTooWide { mark, widest: None, .. } => {
            format!("mark {mark} is uneven with every lens from 14 to 85 mm")
        }
        Doubt::LargeCast { name, words } => {
            format!("large cast of {name} ({words}): take it out when editing")
        }
        Doubt::Vignetting { onset: Some(onset) } => {
            format!("its ring or holder shades the corners from {onset:.0} % of the half diagonal")
        }
        Doubt::Vignetting { onset: None } => {
            "rings on top of each other shade the corners of a wide lens: look first".to_owned()
        }
        Doubt::Added => "strengths added, this stack was not measured itself".to_owned(),
    }
}

fn special(kit: &Kit) -> String {
    let mut said = String::new();
    if choose::has_polariser(kit) {
        said.push_str(&wrapped("Polariser: ", words::POLARISER));
    }
    if choose::has_graduated(kit) {
        said.push_str(&wrapped("Graduated filter: ", words::GRADUATED));
    }
    said
}
