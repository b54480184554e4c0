//! One question has one answer, wherever it is read: page, terminal, card, choice, document.

use super::{profiles, text_of, written};
use lightloss::field::card::Card;
use lightloss::field::choose::{Choice, Doubt, Question, rank};
use lightloss::kit::stack::{Part, together};
use lightloss::kit::{Kit, lens};
use lightloss::measure::stack::stack;
use lightloss::measured::Measured;
use lightloss::profile::{BudgetLine, Kind, Profile};
use lightloss::quantity::{Millimetres, Seconds, Stops};
use lightloss::report::{card_page, terminal};
use std::path::Path;

/// Arithmetic.
const ROUNDING: f64 = 1e-9;

fn kit(filters: Vec<Profile>) -> Kit {
    Kit { filters, skipped: Vec::new() }
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn said_by_terminal(profile: &Profile) -> String {
    flat(&terminal::summary(profile, Path::new("report.html"), false))
}

/// The page without its tags.
fn said_by_page(profile: &Profile) -> String {
    let html = written(profile).html;
    let body = html.split("</style>").nth(1).expect("a body");
    let texts = body.split('<').map(|part| part.split_once('>').map_or(part, |(_, text)| text));
    flat(&texts.collect::<Vec<_>>().join(" "))
}

/// All words of a card, on the phone and in print.
fn said_by_card(profile: &Profile) -> String {
    let card = Card::of_one(profile);
    let mut sides = card_page::a6::sides(&card);
    sides.extend(card_page::wallet::sides(&card));
    let printed = sides.iter().flat_map(|s| &s.texts).map(|t| t.text.as_str());
    let printed = printed.collect::<Vec<_>>().join(" ");
    flat(&(card_page::phone(&card).expect("a page") + &printed))
}

fn question(focal: Option<f64>) -> Question {
    Question {
        metered: Seconds::new(1.0 / 16.0),
        shortest: Seconds::new(0.5),
        longest: Seconds::new(32.0),
        f_number: None,
        iso: None,
        focal: focal.map(Millimetres::new),
        most: 1,
    }
}

fn hindered(choice: &Choice) -> bool {
    choice.cautions.iter().any(|doubt| {
        matches!(doubt, Doubt::BeyondUsable { .. } | Doubt::LensTooWide { fails: true, .. })
    })
}

#[test]
fn a_wide_uncertainty_is_looked_at_wherever_the_rating_is_named() {
    let mut profile = profiles::harbour_ten();
    profile.settings[0].strength.stops = Stops::new(10.09);
    profile.settings[0].strength.u95 = Stops::new(0.16);
    let as_rated = "as rated within its uncertainty";
    for said in [said_by_terminal(&profile), said_by_page(&profile), said_by_card(&profile)] {
        assert!(said.contains(as_rated), "{said}");
        for other in ["more than rated", "0.09 dark", "0.09 stop too dark", "not 64 s"] {
            assert!(!said.contains(other), "{other}: {said}");
        }
    }
    // The same difference is one where the uncertainty does not cover it.
    profile.settings[0].strength.u95 = Stops::new(0.03);
    for said in [said_by_terminal(&profile), said_by_page(&profile), said_by_card(&profile)] {
        assert!(said.contains("0.09 stop more than rated") && !said.contains(as_rated), "{said}");
    }
}

#[test]
fn a_graduation_is_held_against_its_rating_with_its_uncertainty() {
    let mut profile = profiles::moor_edge();
    let found = profile.graduation.as_mut().expect("an edge");
    found.dark_end_stops = Stops::new(3.1);
    found.dark_end_u95 = Some(Stops::new(0.2));
    for said in [said_by_terminal(&profile), said_by_page(&profile)] {
        assert!(said.contains("as rated within its uncertainty"), "{said}");
    }
}

#[test]
fn a_mark_that_no_lens_allows_is_none_everywhere() {
    let profile = profiles::tide_ring();
    let pair = profile.polariser_pair.as_ref().expect("a pair");
    assert!(pair.widest_lens_mm.iter().any(|w| w.mark == "8" && w.focal_length_mm.is_none()));
    let page = said_by_page(&profile);
    assert!(!page.contains("over 85 mm"), "{page}");
    let cells =
        page.split("none: no lens from 14 to 85 mm is even enough").nth(1).expect("a table");
    assert!(cells.split("Focal length").next().expect("rows").contains("none"), "{cells}");
    assert!(said_by_terminal(&profile).contains("60 none"));
    assert!(said_by_card(&profile).contains("none"));
}

#[test]
fn the_last_mark_at_a_focal_length_is_the_same_on_page_and_in_the_choice() {
    let profile = profiles::tide_ring();
    let html = written(&profile).html;
    let table = html.split("How far to turn the ring with each lens").nth(1).expect("a table");
    let table = table.split("</table>").next().expect("its end");
    let kit = kit(vec![profile.clone()]);
    for found in &profile.polariser_pair.as_ref().expect("a pair").last_mark {
        let focal = found.focal_length_mm.get();
        let row = table.split(&format!(">{focal:.0} mm</th>")).nth(1).expect("a row");
        let on_page: usize =
            text_of(&row.replacen("<td", "<td id=\"cell\"", 1), "cell").parse().expect("a mark");
        let choices = rank(&kit, &question(Some(focal)));
        let allowed = |c: &&Choice| !hindered(c);
        assert_eq!(choices.iter().filter(allowed).count(), on_page, "at {focal} mm");
        // The document: what was measured with the lens of the shoot, what is foretold elsewhere.
        let measured = profile.camera.focal_length_mm == Some(found.focal_length_mm);
        let document = if measured {
            profile.usable.as_ref().and_then(|u| u.last_mark.clone())
        } else {
            found.mark.clone()
        };
        assert_eq!(document.as_deref(), Some(on_page.to_string().as_str()), "at {focal} mm");
    }
    // Between the lenses of the table the widest lens of each mark decides: 3 from 18, 4 from 20 mm.
    let at = |focal| lens::last_mark_with(&profile, Millimetres::new(focal)).flatten();
    assert_eq!(at(19.0).and_then(|s| s.mark.as_deref()), Some("3"));
    assert_eq!(at(60.0).and_then(|s| s.mark.as_deref()), Some("7"));
}

/// Two filters measured with one body at one dial time, half of each variance the shutter's.
fn parts() -> [Profile; 2] {
    let line = |source: &str| BudgetLine {
        source: source.to_owned(),
        kind: lightloss::profile::BudgetKind::B,
        stops: Stops::new(0.01),
    };
    let (mut ten, mut three) = (profiles::harbour_ten(), profiles::harbour_ten());
    three.filter.name = "Weir Three".to_owned();
    three.filter.rated_stops = Some(Stops::new(3.0));
    three.settings[0].strength.stops = Stops::new(2.94);
    for (n, profile) in [&mut ten, &mut three].into_iter().enumerate() {
        profile.settings[0].strength.u95 = Stops::new(0.03);
        profile.budget = vec![line(BudgetLine::SHUTTER), line("photon and read noise")];
        for frame in &mut profile.frames {
            frame.sha256 = format!("{n}{}", frame.sha256);
        }
    }
    [ten, three]
}

#[test]
fn a_stack_has_one_strength_and_one_uncertainty() {
    let [ten, three] = parts();
    // u^2 = 2 x 0.03^2 + 2 x (0.03 / sqrt 2)^2 = 3 x 0.03^2: half of each variance is shared.
    let expected = 0.03 * 3.0_f64.sqrt();
    let of = |p: &Profile| Part::of(p, &p.settings[0]);
    let (stops, u95) = together(&[of(&ten), of(&three)]);
    assert!((stops.get() - 13.292).abs() < ROUNDING && (u95.get() - expected).abs() < ROUNDING);
    let measured = Measured::new(Stops::new(13.3), 0.02, f64::INFINITY).expect("a value");
    let record = stack(&measured, &[of(&ten), of(&three)]).expect("a record").predicted;
    assert_eq!((record.stops, record.u95), (stops, u95));
    let kit = kit(vec![ten, three]);
    let card = Card::of(&kit);
    let column = card.columns.iter().find(|c| c.names.len() == 2).expect("the stack");
    assert_eq!((column.stops, column.u95), (stops, u95));
    let choices = rank(&kit, &Question { most: 2, ..question(None) });
    let choice = choices.iter().find(|c| c.names.len() == 2).expect("the stack");
    assert_eq!((choice.stops, choice.u95), (stops, u95));
}

/// To be set in daylight of 5500 K behind both filters, to 50 K. Their shift of -21.3 mired, measured at
/// 6180 K, adds up to 6230 K; reckoned apart (CIE daylight and Planck's law through the profile's matrix
/// and gains, nearest Planckian in the CIE 1960 diagram, colour-matching functions after Wyman, Sloan and
/// Shirley 2013) they move daylight of 5500 K by 1.4 and 1.65 mired more: 6285 and 6295 K.
const SET_FOR_DAYLIGHT: &str = "6300";

#[test]
fn a_cast_is_the_same_in_words_and_in_kelvin() {
    let mut compared = 0;
    for profile in [profiles::harbour_ten(), profiles::glass_turn(), profiles::two_together()] {
        let cast = &profile.settings[0].cast;
        let words = cast.words.trim_end_matches('.').to_lowercase();
        let (page, card) = (said_by_page(&profile), said_by_card(&profile));
        let terminal = said_by_terminal(&profile);
        for said in [&page, &card, &terminal] {
            assert!(said.to_lowercase().contains(&words), "{words}: {said}");
        }
        let Some(shift) = cast.mired_shift else { continue };
        compared += 1;
        let set = card.split("When editing daylight of 5500 K set ").nth(1).expect("kelvin");
        let kelvin = set.split(" K").next().expect("a figure");
        assert_eq!((shift.value.get(), kelvin), (-21.3, SET_FOR_DAYLIGHT), "{words}");
        let page = page.replace('\u{a0}', " ");
        assert!(page.contains(&format!("daylight 5500 K {kelvin} \u{b1}")), "{page}");
        assert_eq!(card.contains("tint a little to"), page.contains("move the tint a little to"));
    }
    assert!(compared > 0);
}

#[test]
fn frames_are_counted_once() {
    let profile = profiles::harbour_ten();
    let count = |state| profile.frames.iter().filter(|f| f.state == state).count();
    let left_out = count(lightloss::profile::FrameState::LeftOut);
    assert!(profile.filter.kind == Kind::Solid && left_out > 0);
    let words = format!("{left_out} left out.");
    assert!(said_by_terminal(&profile).contains(&words));
    assert!(said_by_page(&profile).contains(&words));
}
