//! A choice of filters in sentences: what to make up, what to think of.

use super::plan::in_thirds;
use super::ring::NONE_WILL_DO;
use crate::exposure::{sentence_text, series, stops_between};
use crate::field::choose::{Choice, Doubt, HALF_CLICK, Question};
use crate::quantity::{FNumber, Iso};

/// The best choice in one sentence, or why none is needed.
#[must_use]
pub fn best(choice: &Choice, question: &Question, metered: &str) -> String {
    if let Some(said) = without(question, metered) {
        return said;
    }
    format!(
        "{}: a metered {metered} becomes {}{}.",
        choice.names.join(" + "),
        sentence_text(choice.time),
        help(choice, question).map_or(String::new(), |help| format!("; {help}"))
    )
}

/// What to say where no filter lengthens the metered time to the one that is wanted; a range counts
/// by its longer end.
fn without(question: &Question, metered: &str) -> Option<String> {
    let longer = stops_between(question.metered, question.longest).get();
    if longer > HALF_CLICK {
        None
    } else if longer < -HALF_CLICK {
        let wanted = sentence_text(question.longest);
        Some(format!(
            "A filter only lengthens a time; {wanted} is shorter than the metered {metered}."
        ))
    } else {
        Some(format!("No filter: the metered {metered} is the time you want."))
    }
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

/// That some are not listed, why, and what lists them.
#[must_use]
pub fn more(count: usize, question: &Question) -> String {
    let why = if count == 1 {
        "comes less near, or has more against it"
    } else {
        "come less near, or have more against them"
    };
    let stacks = if question.most > 1 { "; --stack 1 leaves stacks out" } else { "" };
    format!(
        "and {count} more, not listed: {why}. Another --want lists what comes near that time, names of \
         filters list theirs alone{stacks}."
    )
}

/// How aperture or ISO make up what is left.
fn help(choice: &Choice, question: &Question) -> Option<String> {
    if choice.thirds == 0 {
        return None;
    }
    let (amount, time) = (made_up(choice.thirds), sentence_text(choice.made_up));
    Some(match way(choice.thirds, question) {
        Some(way) => format!("{amount} with {way} makes it {time}"),
        None => format!("{amount} would make it {time}, more than aperture or ISO can give"),
    })
}

/// What to set, or which way to turn; `None` where no lens and no camera goes so far.
fn way(thirds: i64, question: &Question) -> Option<String> {
    let aperture = question.f_number.and_then(|f| {
        let wanted = series::true_f_number(f).get() * (thirds as f64 / 6.0).exp2();
        Some(format!("f/{}", marked_f(FNumber::new(wanted))?))
    });
    let iso = question.iso.and_then(|iso| {
        let wanted = series::true_iso(iso).get() * (-thirds as f64 / 3.0).exp2();
        Some(format!("ISO {}", marked_iso(Iso::new(wanted))?))
    });
    let mut ways: Vec<String> = aperture.into_iter().chain(iso).collect();
    if ways.is_empty() {
        let (aperture, iso) = if thirds > 0 {
            ("a smaller aperture", "a lower ISO")
        } else {
            ("a wider aperture", "a higher ISO")
        };
        // Even from one end to the other there are no more thirds than that.
        let reaches = |list: &[f64]| thirds.unsigned_abs() < list.len() as u64;
        if question.f_number.is_none() && reaches(&APERTURES) {
            ways.push(aperture.to_owned());
        }
        if question.iso.is_none() && reaches(&ISOS) {
            ways.push(iso.to_owned());
        }
    }
    (!ways.is_empty()).then(|| ways.join(" or "))
}

/// Aperture markings in thirds (ISO 517).
const APERTURES: [f64; 31] = [
    1.0, 1.1, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.5, 2.8, 3.2, 3.5, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0,
    9.0, 10.0, 11.0, 13.0, 14.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0,
];
/// ISO markings in thirds.
const ISOS: [f64; 34] = [
    50.0, 64.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 320.0, 400.0, 500.0, 640.0, 800.0, 1000.0,
    1250.0, 1600.0, 2000.0, 2500.0, 3200.0, 4000.0, 5000.0, 6400.0, 8000.0, 10000.0, 12800.0,
    16000.0, 20000.0, 25600.0, 32000.0, 40000.0, 51200.0, 64000.0, 80000.0, 102400.0,
];

fn marked_f(wanted: FNumber) -> Option<String> {
    let truth = |marked: f64| series::true_f_number(FNumber::new(marked)).get();
    // A stop of aperture is half a doubling of the f-number.
    nearest(&APERTURES, wanted.get(), HALF_CLICK / 2.0, truth)
}

fn marked_iso(wanted: Iso) -> Option<String> {
    let truth = |marked: f64| series::true_iso(Iso::new(marked)).get();
    nearest(&ISOS, wanted.get(), HALF_CLICK, truth)
}

/// The marking this near, in doublings; `None` beyond the ends of the dial.
fn nearest(list: &[f64], wanted: f64, near: f64, truth: impl Fn(f64) -> f64) -> Option<String> {
    let off = |marked: f64| (truth(marked) / wanted).log2().abs();
    let found = list.iter().copied().min_by(|a, b| off(*a).total_cmp(&off(*b)))?;
    // Half stops lie just between two thirds; ISO 32000 is a hundredth off its power of two.
    (off(found) < near + 0.02).then(|| found.to_string())
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

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::exposure::{Times, filtered_time, parse_time};
    use crate::quantity::{Seconds, Stops};

    fn time(text: &str) -> Seconds {
        parse_time(text).unwrap().true_time(Times::Dial)
    }

    fn question(metered: &str, want: &str, f: Option<f64>, iso: Option<f64>) -> Question {
        Question {
            metered: time(metered),
            shortest: time(want),
            longest: time(want),
            f_number: f.map(FNumber::new),
            iso: iso.map(Iso::new),
            focal: None,
            most: 1,
        }
    }

    /// A filter of so many stops, with what is left to make up.
    fn said(question: &Question, stops: f64, thirds: i64) -> String {
        let behind = filtered_time(question.metered, Stops::new(stops));
        let choice = Choice {
            names: vec!["Harbour".to_owned()],
            stops: Stops::new(stops),
            u95: Stops::new(0.05),
            time: behind,
            thirds,
            made_up: filtered_time(behind, Stops::new(thirds as f64 / 3.0)),
            cautions: Vec::new(),
        };
        best(&choice, question, "a time")
    }

    /// Doublings of the f-number by the root of two a stop and of the ISO by two (definitions).
    #[test]
    fn only_markings_that_lenses_and_cameras_have_are_named() {
        let to_make_up = |f, iso, thirds| said(&question("1/8000", "1h", f, iso), 10.0, thirds);
        let text = to_make_up(Some(8.0), Some(800.0), 9);
        assert!(text.contains("3 stops darker with f/22 or ISO 100 makes it"), "{text}");
        let text = to_make_up(Some(1.4), Some(100.0), -12);
        assert!(text.contains("4 stops brighter with ISO 1600 makes it"), "{text}");
        let text = to_make_up(Some(4.0), Some(50.0), 6);
        assert!(text.contains("2 stops darker with f/8 makes it"), "{text}");
        let text = to_make_up(Some(22.0), Some(50.0), 43);
        assert!(text.ends_with(", more than aperture or ISO can give."), "{text}");
        assert!(!text.contains("f/") && !text.contains("ISO 0"), "{text}");
        let text = to_make_up(Some(22.0), None, 9);
        assert!(text.contains("3 stops darker with a lower ISO makes it"), "{text}");
        let text = to_make_up(None, None, -3);
        assert!(text.contains("1 stop brighter with a wider aperture or a higher ISO"), "{text}");
        assert!(to_make_up(None, None, 43).contains("more than aperture or ISO can give"));
    }

    /// What is named to list them is an option of the command.
    #[test]
    fn what_is_not_listed_says_why_and_what_lists_it() {
        let alone = question("1/15", "30", None, None);
        let text = more(1, &alone);
        assert!(text.starts_with("and 1 more, not listed: comes less near"), "{text}");
        assert!(!text.contains("--stack"), "{text}");
        let text = more(9, &Question { most: 2, ..alone });
        assert!(text.starts_with("and 9 more, not listed: come less near"), "{text}");
        let named: Vec<&str> = text.split_whitespace().filter(|w| w.starts_with("--")).collect();
        assert_eq!(named, ["--want", "--stack"]);
    }

    #[test]
    fn a_time_that_needs_no_filter_gets_none() {
        let first = |metered, want| said(&question(metered, want, None, None), 3.0, -9);
        assert_eq!(first("1/15", "1/15"), "No filter: the metered a time is the time you want.");
        assert_eq!(
            first("30", "1/15"),
            "A filter only lengthens a time; 1/15 s is shorter than the metered a time."
        );
        assert!(first("1/15", "1/8").starts_with("Harbour: a metered a time becomes"));
        let range = Question { shortest: time("1/60"), ..question("1/15", "1/4", None, None) };
        assert!(said(&range, 3.0, -3).starts_with("Harbour: "));
        let range = Question { shortest: time("1/60"), ..question("1/15", "1/30", None, None) };
        assert!(said(&range, 3.0, -12).contains("1/30 s is shorter"));
    }
}
