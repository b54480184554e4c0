//! Plan, card and choice against published tables, closed forms and each other.

#![allow(clippy::unwrap_used)]

use crate::support::program;
use lightloss::exposure::series::DialTime;
use lightloss::exposure::{parse_rating, parse_time};
use lightloss::field::card::Card;
use lightloss::field::choose::{Doubt, Question, rank};
use lightloss::field::plan::{DialTrust, Plan, PlanError, Request};
use lightloss::field::wall_plan::WallPlan;
use lightloss::kit::Kit;
use lightloss::profile::Kind;
use lightloss::quantity::{Millimetres, Seconds, Stops};
use lightloss::report::card_page::flow::{Flow, Style};
use lightloss::report::card_page::lettering::Type;
use lightloss::report::card_page::notes::{Grid, Section};
use lightloss::report::{card_page, choose_text, plan_page};
use lightloss::shoot_file::{ShootFile, ShotState};
use lightloss::simulate::camera::Time;
use lightloss::simulate::demo;
use std::path::PathBuf;

/// Floating-point arithmetic on powers of two.
const ROUNDING: f64 = 1e-9;
/// A time snapped to a dial in thirds is off by at most a sixth of a stop.
const HALF_CLICK: f64 = 1.0 / 6.0 + 1e-9;
/// Hundredths of a millimetre are written.
const DRAWN_MM: f64 = 0.011;

fn kit() -> Kit {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/kit");
    let names = ["harbour-ten", "quay-six", "weir-three", "tide-ring", "moor-edge", "glass-turn"];
    Kit::assemble(names.map(|name| {
        let text = std::fs::read_to_string(folder.join(name).join("profile.json"));
        (name.into(), text.map_err(|error| error.to_string()))
    }))
}

fn rated(stops: f64) -> Kit {
    let mut kit = kit();
    kit.filters.truncate(1);
    kit.filters[0].settings[0].strength.stops = Stops::new(stops);
    kit
}

fn cell(card: &Card, column: usize, metered: &str) -> (f64, String) {
    let row = card.rows.iter().position(|row| row.dial == metered).unwrap();
    let cell = &card.columns[column].cells[row];
    (cell.time.get(), cell.text.clone())
}

#[test]
fn rows_run_in_whole_stops_from_a_500th_to_eight_seconds() {
    let card = Card::of(&kit());
    let dial: Vec<&str> = card.rows.iter().map(|row| row.dial.as_str()).collect();
    // Shutter markings of ISO 516; powers of two behind them: common practice, no source.
    let marks = [
        "1/500", "1/250", "1/125", "1/60", "1/30", "1/15", "1/8", "1/4", "0.5", "1", "2", "4", "8",
    ];
    assert_eq!(dial, marks);
    for (row, power) in card.rows.iter().zip(-9i32..) {
        assert!((row.time.get() - 2f64.powi(power)).abs() < ROUNDING, "{}", row.dial);
    }
}

#[test]
fn worked_examples_of_times_through_whole_stops() {
    // t = t_metered 2^S with powers of two behind the dial (closed form), in seconds.
    let examples = [
        ("1/125", 3.0, 0.0625),
        ("1/125", 10.0, 8.0),
        ("1/60", 6.0, 1.0),
        ("1/30", 10.0, 32.0),
        ("1/15", 10.0, 64.0),
        ("1/8", 10.0, 128.0),
        ("1/4", 6.0, 16.0),
        ("0.5", 3.0, 4.0),
        ("1", 10.0, 1024.0),
        ("1/125", 15.0, 256.0),
        ("1/60", 16.0, 1024.0),
    ];
    for (metered, stops, seconds) in examples {
        let (time, _) = cell(&Card::of(&rated(stops)), 0, metered);
        assert!((time - seconds).abs() < ROUNDING, "{metered} and {stops}: {time}");
    }
}

#[test]
fn cells_read_as_the_rule_says() {
    let card = Card::of(&rated(10.0));
    let read = |metered| cell(&card, 0, metered).1;
    assert_eq!(read("1/500"), "2 s");
    assert_eq!(read("1/30"), "30 s"); // 32 s in truth
    assert_eq!(read("1/15"), "1 min 4 s");
    assert_eq!(read("1/4"), "4 min 15 s"); // 256 s to 5 s
    assert_eq!(read("1"), "17 min"); // 1024 s to 30 s
    assert_eq!(read("2"), "\u{2013}"); // 34 minutes
    let strange = Card::of(&rated(10.35));
    assert_eq!(strange.columns[0].clicks, 31);
    assert_eq!(card_page::table::rated_text(&strange.columns[0]), "0.35 dark");
}

#[test]
fn columns_are_usable_marks_and_useful_stacks_only() {
    let card = Card::of(&kit());
    let marks: Vec<&str> = card.columns.iter().filter_map(|c| c.mark.as_deref()).collect();
    assert_eq!(marks, ["2", "3", "4"]);
    let stacks: Vec<f64> =
        card.columns.iter().filter(|c| c.names.len() == 2).map(|c| c.stops.get()).collect();
    assert_eq!(stacks.len(), 3);
    for (found, sum) in stacks.iter().zip([10.35 + 6.08, 10.35 + 2.93, 6.08 + 2.93]) {
        assert!((found - sum).abs() < ROUNDING);
    }
    let names: Vec<String> = card.columns.iter().flat_map(|c| c.names.clone()).collect();
    assert!(!names.iter().any(|name| name == "Moor Edge" || name == "Glass Turn"));
    assert!(card.full_sun_warning, "stacks count: 16.4 stops");
}

/// Filters of 3, 4, 5, 9 and 10 stops: 13 and 14 are made in two ways each, 7, 8, 12 and 15 in one, 9 is
/// there already, and 19 is too dark for the table.
#[test]
fn of_stacks_that_take_the_same_the_best_known_is_on_the_card() {
    let mut kit = rated(10.0);
    let known = [(10.0, 0.02), (9.0, 0.03), (5.0, 0.04), (4.0, 0.01), (3.0, 0.02)];
    for (k, (stops, u95)) in known.into_iter().enumerate() {
        let mut filter = kit.filters[0].clone();
        filter.filter.name = format!("Sluice {stops}");
        filter.settings[0].strength.stops = Stops::new(stops);
        filter.settings[0].strength.u95 = Stops::new(u95);
        if k == 0 { kit.filters[0] = filter } else { kit.filters.push(filter) }
    }
    let card = Card::of(&kit);
    let stacks: Vec<String> = card
        .columns
        .iter()
        .filter(|c| c.names.len() == 2)
        .map(|c| format!("{:.0}: {}", c.stops.get(), c.names.join(" + ")))
        .collect();
    let expected = [
        "15: Sluice 10 + Sluice 5",
        "14: Sluice 10 + Sluice 4",
        "13: Sluice 10 + Sluice 3",
        "12: Sluice 9 + Sluice 3",
        "8: Sluice 5 + Sluice 3",
        "7: Sluice 4 + Sluice 3",
    ];
    assert_eq!(stacks, expected);
}

#[test]
fn card_and_choice_agree_to_the_second() {
    let kit = kit();
    let card = Card::of(&kit);
    let mut compared = 0;
    for row in &card.rows {
        let question = Question {
            metered: parse_time(&row.dial).unwrap().true_time(Default::default()),
            shortest: Seconds::new(30.0),
            longest: Seconds::new(120.0),
            f_number: None,
            iso: None,
            focal: None,
            most: 2,
        };
        for choice in rank(&kit, &question) {
            let same = |c: &&lightloss::field::card::Column| {
                choice.names.join(" + ") == card_page::table::heading(c)
            };
            let Some(column) = card.columns.iter().find(same) else { continue };
            let at = card.rows.iter().position(|r| r.dial == row.dial).unwrap();
            assert!((column.cells[at].time.get() - choice.time.get()).abs() < ROUNDING);
            compared += 1;
        }
    }
    assert!(compared > 100, "{compared}");
}

/// Metered at 1/16 s, wanted from one time to another in seconds, so many filters at most.
fn within(shortest: f64, longest: f64, most: usize) -> Question {
    Question {
        metered: Seconds::new(1.0 / 16.0),
        shortest: Seconds::new(shortest),
        longest: Seconds::new(longest),
        f_number: None,
        iso: None,
        focal: None,
        most,
    }
}

#[test]
fn the_best_choice_needs_no_help_and_cautions_are_raised() {
    let kit = kit();
    let question = Question { focal: Some(Millimetres::new(24.0)), ..within(32.0, 120.0, 1) };
    let choices = rank(&kit, &question);
    assert_eq!(choices[0].names, ["Harbour Ten"]);
    assert_eq!(choices[0].thirds, 0);
    // 1/16 s through 6.08 stops is 4.23 s, log2(32/4.23) = 2.92 stops = 9 clicks short.
    let quay = choices.iter().find(|c| c.names == ["Quay Six"]).unwrap();
    assert_eq!(quay.thirds, 9);
    let five = choices.iter().find(|c| c.names == ["Tide Ring, mark 5"]).unwrap();
    // No lens allows it, the one that was named least of all.
    let none = |d: &Doubt| matches!(d, Doubt::LensTooWide { widest: None, fails: true, .. });
    assert!(five.cautions.iter().any(none));
    assert!(five.cautions.iter().any(|d| matches!(d, Doubt::LargeCast { .. })));
    let four = choices.iter().find(|c| c.names == ["Tide Ring, mark 4"]).unwrap();
    assert!(four.cautions.iter().any(|d| matches!(d, Doubt::LensTooWide { fails: true, .. })));
    let text = choose_text::text(&kit, &question, "1/15 s", &choices);
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("do not add its stops again"), "{text}");
    // Minutes are offered, and the sun's text is said once, short.
    assert!(words.contains("never turn your back to the sea"), "{text}");
    assert_eq!(words.matches("look at the sun").count(), 1, "{text}");
    assert!(!words.contains("ISO 12312-2"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

/// What does not fit into the list comes up where it is asked for in the ways that the list names.
#[test]
fn what_is_not_listed_can_be_listed() {
    let kit = kit();
    let listed = |question: &Question| {
        let choices = rank(&kit, question);
        let text = choose_text::text(&kit, question, "1/15 s", &choices);
        (choices, text)
    };
    // In a column of its own, so not within a stack.
    let has = |text: &str| text.lines().any(|line| line.trim_end().ends_with("  Weir Three"));
    let question = within(32.0, 120.0, 2);
    let (choices, text) = listed(&question);
    assert!(
        text.contains(&format!("and {} more, not listed: come less", choices.len() - 8)),
        "{text}"
    );
    let unseen = choices[8..].iter().find(|c| c.names == ["Weir Three"]).unwrap();
    assert!(!has(&text), "{text}");
    for another in [within(unseen.time.get(), unseen.time.get(), 2), within(32.0, 120.0, 1)] {
        let (_, text) = listed(&another);
        assert!(has(&text), "{text}");
    }
}

/// The answer itself is wrapped like the rest, however long the names.
#[test]
fn the_answer_of_a_choice_is_no_wider_than_a_terminal() {
    let mut kit = kit();
    for profile in &mut kit.filters {
        profile.filter.name.push_str(", bought for the breakwater at Skerry");
    }
    let question = within(30.0, 1200.0, 2);
    let choices = rank(&kit, &question);
    let text = choose_text::text(&kit, &question, "1/15 s", &choices);
    let (answer, rest) = text.split_once("\n\n").unwrap();
    assert!(answer.lines().count() > 1 && rest.trim_start().starts_with("time"), "{text}");
    assert!(answer.lines().all(|line| line.chars().count() <= 79), "{text}");
    let words = answer.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains(": a metered 1/15 s becomes") && words.ends_with('.'), "{text}");
}

/// Stacks of 13 stops and more carry the whole warning, and columns stay columns however long a cell is.
#[test]
fn strong_stacks_carry_the_whole_warning_in_even_columns() {
    let kit = kit();
    let question = within(30.0, 1200.0, 2);
    let choices = rank(&kit, &question);
    let shown = &choices[..choices.len().min(8)];
    assert!(shown.iter().any(|c| c.stops.get() >= 13.0), "{shown:?}");
    let text = choose_text::text(&kit, &question, "1/15 s", &choices);
    let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(words.contains("ISO 12312-2") && words.contains("qualified advice"), "{text}");
    let head = text.lines().find(|line| line.contains("to make up")).unwrap();
    let column = head.find("filter").unwrap();
    for choice in shown {
        let name = choice.names.join(" + ");
        let own = |line: &&str| line.ends_with(&name) && line.contains("+-");
        let row = text.lines().find(own).unwrap();
        assert_eq!(row.len() - name.len(), column, "{text}");
    }
}

#[test]
fn a_stack_is_never_of_one_filter_nor_of_two_rings() {
    let kit = kit();
    for count in [2, 3] {
        let stacks = kit.stacks(count);
        assert!(!stacks.is_empty());
        for stack in stacks {
            let mut filters: Vec<usize> = stack.parts.iter().map(|p| p.filter).collect();
            filters.sort_unstable();
            filters.dedup();
            assert_eq!(filters.len(), count);
            assert!(stack.parts.iter().filter(|p| p.kind == Kind::Variable).count() <= 1);
        }
    }
}

#[test]
fn damaged_and_later_profiles_are_named_and_skipped() {
    let good = std::fs::read_to_string(
        PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/kit/quay-six/profile.json"),
    )
    .unwrap();
    let later = good.replace("lightloss-profile/1", "lightloss-profile/7");
    let absurd = good.replace("\"stops\": 6.08", "\"stops\": 600.0");
    let cut = good[..good.len() / 2].to_owned();
    let kit = Kit::assemble([
        ("good".into(), Ok(good)),
        ("later".into(), Ok(later)),
        ("cut".into(), Ok(cut)),
        ("absurd".into(), Ok(absurd)),
        ("gone".into(), Err("there is no such file".to_owned())),
    ]);
    assert_eq!(kit.filters.len(), 1);
    let skipped: Vec<&str> = kit.skipped.iter().map(|s| s.path.to_str().unwrap()).collect();
    assert_eq!(skipped, ["later", "cut", "absurd", "gone"]);
    assert!(kit.skipped[0].reason.contains("lightloss-profile/7"), "{}", kit.skipped[0].reason);
}

/// Left, right, top and bottom of the letters, in millimetres: capitals are 0.72 of the size high,
/// a tail 0.2 deep (Helvetica, from memory).
fn bounds(text: &card_page::side::Text) -> [f64; 4] {
    let width = text.face.width(&text.text);
    let left = match text.anchor {
        card_page::side::TextAnchor::Start => text.x,
        card_page::side::TextAnchor::Middle => text.x - width / 2.0,
        card_page::side::TextAnchor::End => text.x - width,
    };
    let size = text.face.size();
    [left, left + width, text.y - 0.72 * size, text.y + 0.2 * size]
}

#[test]
fn printed_sides_hold_their_text_and_the_scale_line() {
    let kit = kit();
    let card = Card::of(&kit);
    let mut sides = card_page::a6::sides(&card);
    for profile in &kit.filters {
        sides.extend(card_page::wallet::sides(&Card::of_one(profile)));
    }
    for side in &sides {
        for text in &side.texts {
            let width = text.face.width(&text.text);
            let (left, right) = match text.anchor {
                card_page::side::TextAnchor::Start => (text.x, text.x + width),
                card_page::side::TextAnchor::Middle => (text.x - width / 2.0, text.x + width / 2.0),
                card_page::side::TextAnchor::End => (text.x - width, text.x),
            };
            assert!(left >= 2.0 && right <= side.width - 2.0, "{}: {}", side.title, text.text);
            assert!(text.y > 2.0 && text.y <= side.height - 1.5, "{}: {}", side.title, text.text);
            if text.time.is_some() {
                assert!(text.face.bold && text.face.points >= 9.0);
            }
        }
        for stroke in side.strokes.iter().filter(|s| s.scale) {
            assert!((stroke.to.0 - stroke.from.0 - 50.0).abs() < DRAWN_MM);
        }
    }
    for side in &sides {
        let boxes: Vec<_> = side.texts.iter().map(|text| (text, bounds(text))).collect();
        for (i, (text, a)) in boxes.iter().enumerate() {
            for (other, b) in &boxes[i + 1..] {
                let apart = a[1] <= b[0] || b[1] <= a[0] || a[3] <= b[2] || b[3] <= a[2];
                assert!(apart, "{}: \"{}\" lies on \"{}\"", side.title, text.text, other.text);
            }
        }
        // Lines to write on keep clear of the one that proves the scale.
        let scale = side.strokes.iter().find(|s| s.scale);
        let level = side.strokes.iter().filter(|s| !s.scale && s.from.1 == s.to.1);
        for stroke in level.filter(|_| scale.is_some()) {
            let y = scale.map_or(0.0, |s| s.from.1);
            assert!((stroke.from.1 - y).abs() > 1.2, "{}: a rule on the scale line", side.title);
        }
    }
    // The caution about the sun is read in one piece: its first and last words on one side.
    let a6 = card_page::a6::sides(&card);
    let holds = |side: &card_page::side::Side, words: &str| {
        side.texts.iter().any(|t| t.text.contains(words))
    };
    let sun = a6.iter().find(|side| holds(side, "This measures visible light")).unwrap();
    assert!(holds(sun, "before the filter comes off"));
    let lines = sides.iter().flat_map(|s| &s.strokes).filter(|s| s.scale).count();
    assert!(lines > kit.filters.len(), "{lines}");
}

/// Every card says never to look at the sun through a filter, and from 13 stops on why besides.
#[test]
fn small_cards_of_every_strength_name_the_sun() {
    let weak = kit().filters.swap_remove(0);
    let mut strong = weak.clone();
    strong.settings[0].strength.stops = Stops::new(13.2);
    for (profile, full) in [(weak, false), (strong, true)] {
        let sides = card_page::wallet::sides(&Card::of_one(&profile));
        let words: Vec<&str> =
            sides.iter().flat_map(|s| &s.texts).flat_map(|t| t.text.split_whitespace()).collect();
        let words = words.join(" ");
        assert!(words.contains(lightloss::safety::SUN_SHORT), "{words}");
        assert_eq!(words.contains(lightloss::safety::SUN_FULL), full, "{words}");
    }
}

/// However long its words a table keeps within the margins of an A6 side, in type that can be read: five
/// points, the smallest on any card (ours).
#[test]
fn a_table_of_the_second_side_keeps_within_its_margins() {
    const MARGIN_MM: f64 = 6.5;
    let style = Style {
        width: card_page::a6::WIDTH,
        height: card_page::a6::HEIGHT,
        margin: MARGIN_MM,
        foot: 0.0,
        head: Type::bold(7.5),
        body: Type::plain(7.0),
    };
    let heads = ["mark", "true stops", "set by hand", "widest lens", "5500 K needs", "tint"];
    let row = ["6 (uneven)", "10.82 \u{b1} 0.03", "\u{b1} 0.05", "24 mm", "5250 K"];
    let tint = "a little to magenta";
    let long = "between the sixth and the seventh dot of the outer ring";
    for (mark, whole) in [(row[0], true), (long, false)] {
        let cells = std::iter::once(mark).chain(row[1..].iter().copied()).chain([tint]);
        let cells: Vec<String> = cells.map(str::to_owned).collect();
        let heads = Vec::from(heads.map(str::to_owned));
        let grid = Grid { heads: heads.clone(), rows: vec![cells.clone(); 3] };
        let mut flow = Flow::new(style, "Ring");
        flow.section(&Section { grid: Some(grid), ..Section::default() });
        let sides = flow.finish();
        let [side] = sides.as_slice() else { panic!("{} sides", sides.len()) };
        let texts: Vec<_> = side.texts.iter().filter(|text| !text.text.is_empty()).collect();
        for (i, text) in texts.iter().enumerate() {
            let [left, right, top, bottom] = bounds(text);
            assert!(left >= MARGIN_MM - DRAWN_MM, "{text:?}");
            assert!(right <= side.width - MARGIN_MM + DRAWN_MM, "{text:?}");
            assert!(text.face.points >= 5.0, "{text:?}");
            for other in &texts[i + 1..] {
                let [l, r, t, b] = bounds(other);
                assert!(right <= l || r <= left || bottom <= t || b <= top, "{text:?} {other:?}");
            }
        }
        // Nothing is lost, and what fits in one piece stays in one.
        let written = |cell: &String| texts.iter().filter(|text| text.text == *cell).count();
        if whole {
            assert!(cells.iter().all(|cell| written(cell) == 3), "{texts:?}");
            assert!(heads.iter().all(|head| written(head) == 1), "{texts:?}");
        }
        for word in cells.iter().flat_map(|cell| cell.split_whitespace()) {
            let holding = texts.iter().filter(|text| text.text.contains(word)).count();
            assert!(holding >= 3, "{word}: {texts:?}");
        }
    }
}

fn request(kind: Kind, rating: &str, metered: Option<&str>) -> Request {
    Request {
        kind,
        rating: Some(parse_rating(rating).unwrap()),
        metered: metered.map(|text| parse_time(text).unwrap()),
        marks: Vec::new(),
        name: None,
        slot: false,
        focal: Vec::new(),
    }
}

#[test]
fn the_demo_s_planned_shoot_is_what_its_plan_orders() {
    let planned = demo::shoots().into_iter().filter(|shoot| shoot.metered.is_some());
    let mut seen = 0;
    for shoot in planned {
        let plan = Plan::of(request(Kind::Solid, shoot.filter.rated, shoot.metered)).unwrap();
        let ordered = plan.shots.iter().flat_map(|s| (0..s.count).map(move |_| s));
        let ordered: Vec<_> =
            ordered.map(|s| (s.state == ShotState::Filtered, s.time.text.as_str())).collect();
        let dial = |time| match time {
            Time::Dial(seconds) => DialTime::nearest(Seconds::new(seconds)).unwrap().text(),
            other => panic!("{other:?}"),
        };
        let shot = shoot.shots.iter().map(|s| (!s.filters.is_empty(), dial(s.time)));
        let shot: Vec<_> = shot.collect();
        assert_eq!(shot, ordered, "{}", shoot.folder);
        seen += 1;
    }
    assert_eq!(seen, 1);
}

#[test]
fn bare_and_filtered_frames_reach_the_same_level() {
    for stops in ["1", "2", "3", "6", "10", "1000x", "13", "4.5D"] {
        for metered in [None, Some("1/2000"), Some("1/500"), Some("1/125"), Some("1/30"), Some("2")]
        {
            let plan = Plan::of(request(Kind::Solid, stops, metered)).unwrap();
            let rating = parse_rating(stops).unwrap().weakest.get();
            let bare = &plan.shots[0].time;
            let filtered = plan.shots.iter().rev().find(|s| s.state == ShotState::Filtered);
            let filtered = &filtered.unwrap().time;
            let apart = (filtered.true_time.get() / bare.true_time.get()).log2();
            // Up to seven stops one time, beyond one level.
            let wanted = if rating <= 7.0 { 0.0 } else { rating };
            assert!((apart - wanted).abs() < HALF_CLICK, "{stops} at {metered:?}: {apart}");
            assert!(bare.true_time.get() >= 1.0 / 256.0 - ROUNDING);
            let could = rating <= 12.0;
            assert!(!could || bare.true_time.get() >= 1.0 / 128.0 - ROUNDING, "{stops}");
        }
    }
}

/// Time of the filter at the level of the bare frames.
fn own_time(plan: &Plan) -> &str {
    let own = plan.shots.iter().rev().find(|s| s.state == ShotState::Filtered).unwrap();
    &own.time.text
}

#[test]
fn thirty_seconds_where_the_light_allows_otherwise_what_light() {
    // Ten stops, closed form: 32 s / 2^10 = 1/32 s bare, half of it metered (a quarter of full scale): 1/60.
    let bright = Plan::of(request(Kind::Solid, "10", Some("1/60"))).unwrap();
    assert_eq!(bright.shots[0].time.text, "1/30");
    assert_eq!(own_time(&bright), "30");
    assert_eq!(bright.light.too_dim, None);
    let dim = Plan::of(request(Kind::Solid, "10", Some("1/30"))).unwrap();
    assert_eq!(own_time(&dim), "64 s");
    assert_eq!(dim.light.too_dim, Some(Some(("1/60".to_owned(), 3))));
    // Fifteen stops: at 1/250 still 128 s, whatever the light.
    let strong = Plan::of(request(Kind::Solid, "15", Some("1/1000"))).unwrap();
    assert_eq!(strong.shots[0].time.text, "1/250");
    assert_eq!(own_time(&strong), "2 min 8 s");
    assert_eq!(strong.light.too_dim, Some(None));
    assert!(matches!(Plan::of(request(Kind::Solid, "3", Some("10m"))), Err(PlanError::TooDim(_))));
}

#[test]
fn strong_filters_are_tied_to_the_bare_time_by_a_bridge() {
    for rating in ["8", "10", "15"] {
        let plan = Plan::of(request(Kind::Solid, rating, None)).unwrap();
        let times = |state| -> Vec<&str> {
            let of = plan.shots.iter().filter(|s| s.state == state);
            of.map(|s| s.time.text.as_str()).collect()
        };
        let (bare, bridge, filtered) =
            (times(ShotState::Bare), times(ShotState::Bridge), times(ShotState::Filtered));
        let (short, middle) = (bare[0], filtered[0]);
        assert_eq!(bridge[..5], [short, middle, short, middle, short], "{rating}");
        assert_eq!(filtered[1], middle, "{rating}");
        assert_ne!(filtered[2], middle, "{rating}");
        // From ten stops on a dimmed frame is so dark that it must tell black by a shorter time.
        let shows_black = rating != "8";
        assert_eq!(bridge.len(), 5 + usize::from(shows_black), "{rating}");
        // Bare frames between, dark ones for the dim and the long.
        assert_eq!(bare.iter().filter(|time| **time == short).count(), 5, "{rating}");
        assert_eq!(bare.len(), bridge.len(), "{rating}");
        for time in [middle, filtered[2], bridge[bridge.len() - 1]] {
            assert!(time == short || times(ShotState::Dark).contains(&time), "{rating} {time}");
        }
        // Something a stop weaker than half of the filter does not clip at the middle time.
        let levels = plan.shots.iter().filter(|s| s.state == ShotState::Bridge);
        let brightest = levels.map(|s| s.time.level).fold(0.0, f64::max);
        assert!(2.0 * brightest < 0.75, "{rating}: {brightest}");
        assert!(brightest > 0.1, "{rating}: {brightest}");
    }
}

#[test]
fn where_a_bridge_is_nearly_black_both_states_are_shot_at_a_time_three_stops_shorter() {
    let at_shorter = |rating: &str| -> Vec<(ShotState, String, u32)> {
        let plan = Plan::of(request(Kind::Solid, rating, None)).unwrap();
        let bare = plan.light.bare.true_time.get();
        let shots = plan.shots.iter().filter(|s| s.time.true_time.get() < 0.9 * bare);
        shots.map(|s| (s.state, s.time.text.clone(), s.count)).collect()
    };
    for rating in ["8", "9"] {
        assert!(at_shorter(rating).is_empty(), "{rating}");
    }
    // Three stops below 1/30 is 1/250, below 1/250 1/2000.
    let states = [(ShotState::Bridge, 4), (ShotState::Bare, 4), (ShotState::Dark, 3)];
    for (rating, shorter) in [("10", "1/250"), ("13", "1/2000"), ("15", "1/2000"), ("16", "1/2000")]
    {
        let expected = states.map(|(state, count)| (state, shorter.to_owned(), count));
        assert_eq!(at_shorter(rating), expected, "{rating}");
    }
}

#[test]
fn marks_are_stops_only_where_all_of_them_can_be() {
    let times = |marks: &[&str]| -> Vec<String> {
        let marks = marks.iter().map(|m| (*m).to_owned()).collect();
        let plan = Plan::of(Request { marks, ..request(Kind::Variable, "2-5", Some("1/60")) });
        let document = plan.unwrap().shoot_file();
        let up = document.planned.iter().filter(|s| s.state == ShotState::Filtered);
        up.take(4).map(|s| s.dial_time.clone()).collect()
    };
    // Bare frames get 1/15 s; whole stops, or four labels spread evenly over two to five stops.
    assert_eq!(times(&["2", "3", "4", "5"]), ["1/4", "0.5", "1", "2"]);
    assert_eq!(times(&["min", "2", "3", "max"]), ["1/4", "0.5", "1", "2"]);
    assert_eq!(times(&["4", "3", "2", "1"]), ["1/4", "0.5", "1", "2"]);
}

#[test]
fn the_order_of_states_follows_the_kind() {
    let states = |plan: &Plan| plan.shots.iter().map(|s| s.state).collect::<Vec<_>>();
    use ShotState::{Bare, Bridge, Dark, Filtered, Leak, LightCheck};
    let solid = Plan::of(request(Kind::Solid, "10", Some("1/125"))).unwrap();
    let mut order = vec![Bare, Bridge, Bridge, Bridge, Bridge, Bridge, Bridge, Bare, Bare];
    order.extend([Filtered, Bare, Filtered, Bare, Filtered, Leak, Bare]);
    order.extend([Dark; 4]);
    assert_eq!(states(&solid), order);
    let weak = Plan::of(request(Kind::Solid, "3", Some("1/125"))).unwrap();
    assert_eq!(states(&weak), [Bare, Filtered, Bare, Filtered, Bare]);
    let slot = Plan::of(Request { slot: true, ..request(Kind::Solid, "3", Some("1/125")) });
    assert_eq!(states(&slot.unwrap()), [Bare, Filtered, Bare, Filtered, Leak, Bare]);
    let ring = Plan::of(request(Kind::Variable, "2-5", Some("1/60"))).unwrap();
    let marks: Vec<&str> = ring.shots.iter().filter_map(|s| s.mark.as_deref()).collect();
    assert_eq!(marks, ["2", "3", "4", "5", "5", "4", "3", "2", "2"]);
    assert!(states(&ring).contains(&LightCheck));
    let polariser = Plan::of(request(Kind::Polariser, "1.5", None)).unwrap();
    let turned: Vec<f64> =
        polariser.shots.iter().filter_map(|s| s.rotation).map(|r| r.get()).collect();
    assert_eq!(turned, [0.0, 45.0, 90.0, 135.0]);
    let unrated = Plan::of(Request { rating: None, ..request(Kind::Polariser, "1", None) });
    assert!(unrated.unwrap().shoot_file().filter.rated.is_empty());
    let missing = Plan::of(Request { rating: None, ..request(Kind::Solid, "1", None) });
    assert!(matches!(missing, Err(PlanError::RatingMissing)));
    let graduated = Plan::of(request(Kind::Graduated, "3", Some("1/60"))).unwrap();
    assert_eq!(graduated.shots[0].time.text, graduated.shots[1].time.text);
}

#[test]
fn the_document_survives_and_times_read_back() {
    for (kind, rating) in [
        (Kind::Solid, "10"),
        (Kind::Variable, "2-5"),
        (Kind::Polariser, "1.5"),
        (Kind::Solid, "15"),
    ] {
        let plan = Plan::of(request(kind, rating, Some("1/125"))).unwrap();
        let file = ShootFile::parse(&plan.shoot_file().to_text().unwrap()).unwrap();
        assert_eq!(file.planned.len(), plan.shots.len());
        assert_eq!(file.filter.kind, Some(kind));
        for (written, shot) in file.planned.iter().zip(&plan.shots) {
            let time = parse_time(&written.dial_time).unwrap().true_time(Default::default());
            assert!((time.get() / shot.time.true_time.get() - 1.0).abs() < ROUNDING);
        }
    }
}

/// 1/16 s stands behind the 1/15 of the bare frames, and powers of two are as shown behind the times of
/// these marks (ISO 516 gives the markings): log2(16/15) at most.
#[test]
fn the_plan_says_what_the_dial_is_trusted_for() {
    let planned = |kind, rating| {
        let plan = Plan::of(request(kind, rating, Some("1/60"))).unwrap();
        let text = plan_page::text(&plan);
        (plan.dial_trust(), text.split_whitespace().collect::<Vec<_>>().join(" "))
    };
    for (kind, rating) in
        [(Kind::Solid, "3"), (Kind::Graduated, "3"), (Kind::Polariser, "1.5"), (Kind::Stack, "6")]
    {
        let (trust, text) = planned(kind, rating);
        assert_eq!(trust, DialTrust::OneTime, "{kind:?}");
        assert!(text.contains("all frames get one time, so it makes no difference"), "{text}");
    }
    let (trust, text) = planned(Kind::Solid, "10");
    assert_eq!(trust, DialTrust::Measured);
    assert!(text.contains("these frames measure the times against each other, so it"), "{text}");
    let (trust, text) = planned(Kind::Variable, "2-5");
    let DialTrust::UpTo(doubt) = trust else { panic!("{trust:?}") };
    assert!((doubt.get() - (16.0_f64 / 15.0).log2()).abs() < ROUNDING, "{doubt:?}");
    assert!(text.contains("marks at other times may be off by up to 0.09 stop."), "{text}");
}

#[test]
fn the_plan_says_what_must_be_said() {
    let ring = Plan::of(request(Kind::Variable, "2-5", Some("1/60"))).unwrap();
    let text = plan_page::text(&ring);
    assert!(text.contains("screen") && text.contains("two polarisers"), "{text}");
    assert!(text.contains("Never look at the sun"));
    for outdoors in ["spray", "sunset", "Dusk", "hump", "play", "Lamps on the mains avoided"] {
        assert!(!text.contains(outdoors), "{outdoors}: {text}");
    }
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let strong = Plan::of(request(Kind::Solid, "15", None)).unwrap();
    let page = plan_page::page(&strong).unwrap();
    assert!(page.contains("ISO 12312-2") && page.contains("Content-Security-Policy"));
    // A box to tick for every shot and every line of the checklist.
    let boxes = page.matches("class=\"box\"").count();
    assert_eq!(boxes, strong.shots.len() + strong.checklist.len());
}

#[test]
fn every_wrong_argument_gets_one_line_that_says_what_to_type() {
    let kit = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/kit");
    let plan = |more: &[&'static str]| [&["plan", "--kind", "solid"], more].concat();
    let choose = |more: &[&'static str]| [&["choose", kit], more].concat();
    let wrong = [
        (plan(&["--rated", "0"]), "write"),
        (plan(&["--rated", "-3"]), "write"),
        (plan(&["--rated", "1/0"]), "write"),
        (plan(&["--rated", "ND2.0"]), "2.0D or 2.0x"),
        (plan(&["--rated", "2-5"]), "--rated 10"),
        (plan(&["--rated", "10", "--metered", "1/0"]), "write"),
        (plan(&["--rated", "10", "--metered", "-1/60"]), "write"),
        (plan(&["--rated", "10", "--marks", "a,b"]), "leave it out"),
        (plan(&["--rated", "10", "--focal", "0"]), "millimetres like 24"),
        (
            vec!["plan", "--kind", "variable", "--rated", "2-5", "--marks", "1,,2"],
            "--marks \"1,,2\" has an empty mark",
        ),
        (choose(&["--metered", "0", "--want", "30s"]), "write"),
        (choose(&["--metered", "1/15", "--want", "0"]), "write"),
        (choose(&["--metered", "1/15", "--want", "2m..30s"]), "30s..2m"),
        (choose(&["--metered", "1/15", "--want", "30s", "--f", "-8"]), "like 8"),
        (choose(&["--metered", "1/15", "--want", "30s", "--iso", "0"]), "like 100"),
    ];
    for (arguments, advice) in wrong {
        let run = program().args(&arguments).output().unwrap();
        let said = String::from_utf8(run.stderr).unwrap();
        assert_eq!(run.status.code(), Some(2), "{arguments:?}: {said}");
        assert_eq!(said.trim_end().lines().count(), 1, "{arguments:?}: {said}");
        assert!(said.contains(advice), "{arguments:?}: {said}");
        assert!(run.stdout.is_empty(), "{arguments:?}");
    }
}

/// A shoot that nobody sits through comes with times that one does: a twenty-stop filter behind a
/// bare 1/250 (1/256 s) takes 2^20 / 256 = 4096 s, and an eighth of that is 512 s, worked by hand.
#[test]
fn a_plan_beyond_half_an_hour_offers_a_shorter_time() {
    let plan = |rated: &str| {
        let output =
            program().args(["plan", "--kind", "solid", "--rated", rated]).output().unwrap();
        assert!(output.status.success());
        let text = String::from_utf8(output.stdout).unwrap();
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let long = plan("20");
    assert!(long.contains("The longest frame takes 1 h 8 min"), "{long}");
    assert!(long.contains("give the frames of that time 8 min 30 s, 3 stops less"), "{long}");
    assert!(!plan("10").contains("Instead give"), "ten stops take no half hour");
}

/// One way to say how long something takes, and what is said is what is planned: 2^15 / 256 = 128 s,
/// 2^20 / 256 = 4096 s, of which 16 s are no more said than set.
#[test]
fn a_plan_says_times_as_everything_else_does() {
    let plan = Plan::of(request(Kind::Solid, "15", None)).unwrap();
    let text = plan_page::text(&plan);
    assert!(text.contains(" 2 min 8 s "), "{text}");
    let plan = Plan::of(request(Kind::Solid, "20", None)).unwrap();
    let text = plan_page::text(&plan);
    assert!(text.contains(" 1 h 8 min "), "{text}");
    assert_eq!(plan.longest(), Seconds::new(4080.0));
    let minutes = (plan.duration().get() / 60.0).ceil() as u32;
    let whole = format!("frames, about {} h {} min.", minutes / 60, minutes % 60);
    assert!(minutes > 60 && text.contains(&whole), "{whole} {text}");
    assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
}

/// Six stops lie between f/2.8 and f/22 (ISO 517), so no aperture is the bridge of more than that.
#[test]
fn the_bridge_may_be_an_aperture_where_one_goes_so_far_and_the_plan_says_so_throughout() {
    let said = |rated| {
        let plan = Plan::of(request(Kind::Solid, rated, None)).unwrap();
        let text = plan_page::text(&plan);
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let but = "The bridge frames alone may have another aperture, the same for all of them.";
    let ten = said("10");
    assert!(ten.contains("about 5 stops") && ten.contains("the aperture closed so far"), "{ten}");
    assert!(ten.contains(but), "{ten}");
    let sixteen = said("16");
    assert!(sixteen.contains("about 8 stops") && !sixteen.contains("aperture closed"), "{sixteen}");
    assert!(!said("3").contains("bridge"), "nothing to be bridged");
}

/// The help of `camera` and its plan agree on how long it takes, whatever the light.
#[test]
fn a_camera_record_takes_as_long_as_its_help_says() {
    let output = program().args(["camera", "--help"]).output().unwrap();
    let help = String::from_utf8(output.stdout).unwrap();
    assert!(help.contains("35 to 45 minutes"), "{help}");
    for metered in [None, Some("1/8000"), Some("1/125"), Some("1/60"), Some("4")] {
        let plan = WallPlan::of(metered.map(|m| parse_time(m).unwrap()), None).unwrap();
        let minutes = plan.duration().get() / 60.0;
        assert!((35.0..=45.0).contains(&minutes), "{metered:?}: {minutes} minutes");
    }
}

/// Up to one it is "stop", beyond "stops", on the second side as everywhere.
#[test]
fn strengths_on_the_second_side_of_the_card_have_their_unit() {
    let said = |card: &Card, n: usize| {
        card_page::notes::filter(&card.filters[n]).paragraphs.join(" ").replace('\u{a0}', " ")
    };
    for (stops, unit) in [(0.75, " stop, "), (1.0, " stop, "), (10.35, " stops, ")] {
        let text = said(&Card::of(&rated(stops)), 0);
        assert!(text.contains(unit), "{stops}: {text}");
    }
    let mut kit = kit();
    let edge = kit.filters.iter_mut().find(|f| f.filter.kind == Kind::Graduated).unwrap();
    let graduation = edge.graduation.as_mut().unwrap();
    (graduation.dark_end_stops, graduation.clear_end_stops) = (Stops::new(0.9), Stops::new(1.2));
    let card = Card::of(&kit);
    let n = card.filters.iter().position(|notes| notes.edge.is_some()).unwrap();
    let text = said(&card, n);
    assert!(text.contains("Dark end 0.90 stop below the clear end"), "{text}");
    assert!(text.contains("The clear end itself takes 1.20 stops."), "{text}");
}

/// Numbers that the program gave to marks are no claim to be held against.
#[test]
fn numbered_marks_are_not_rated_on_the_card() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("fixtures/kit/tide-ring");
    let text = std::fs::read_to_string(folder.join("profile.json")).unwrap();
    let mut profile: serde_json::Value = serde_json::from_str(&text).unwrap();
    profile["filter"]["rated_range_stops"] = serde_json::json!([1.0, 9.0]);
    for (setting, n) in profile["settings"].as_array_mut().unwrap().iter_mut().zip(1..) {
        setting["mark"] = format!("{n}").into();
    }
    let rated = |profile: &serde_json::Value| {
        let kit = Kit::assemble([("ring".into(), Ok(profile.to_string()))]);
        Card::of(&kit).columns.iter().filter(|column| column.rated.is_some()).count()
    };
    assert!(rated(&profile) > 0, "figures that are the ring's own are its claim");
    // "min, 1, 2, ..., max": the figures count places between the ends.
    let mut places = profile.clone();
    places["settings"][0]["mark"] = "min".into();
    assert_eq!(rated(&places), 0);
    profile["cautions"] = serde_json::json!([
        {"code": "marks_numbered", "grade": "note", "text": "The marks were never named."}
    ]);
    assert_eq!(rated(&profile), 0);
}
