//! A choice of filters in sentences: what to make up, what to think of.

use super::plan::in_thirds;
use super::ring::NONE_WILL_DO;
use crate::exposure::{sentence_text, series};
use crate::field::choose::{Choice, Doubt, Question};
use crate::quantity::{FNumber, Iso};

/// The best choice in one sentence.
#[must_use]
pub fn best(choice: &Choice, question: &Question, metered: &str) -> String {
    format!(
        "{}: a metered {metered} becomes {}{}.",
        choice.names.join(" + "),
        sentence_text(choice.time),
        help(choice, question).map_or(String::new(), |help| format!("; {help}"))
    )
}

/// What is left to make up: "nothing", "1 1/3 stops darker".
#[must_use]
pub fn made_up(thirds: i64) -> String {
    let amount = in_thirds(i32::try_from(thirds.abs()).unwrap_or(i32::MAX));
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
    Some(format!("{} {way} makes it {}", made_up(choice.thirds), sentence_text(choice.made_up)))
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
        None => crate::rounding::fixed(wanted, usize::from(wanted < 10.0)),
    }
}

/// What to think of before taking it.
#[must_use]
pub fn doubt(doubt: &Doubt) -> String {
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
            format!("mark {mark}: {NONE_WILL_DO}")
        }
        Doubt::LargeCast { name, words } => {
            format!("cast of {name}: {words}; take it out when editing")
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
