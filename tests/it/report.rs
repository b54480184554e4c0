//! The page of a profile: what it says, and that nothing in a profile can break it.

mod comparisons;
mod one_answer;
mod profiles;

use lightloss::profile::{Profile, ShadingAt, Vignetting, json};
use lightloss::quantity::{Millimetres, Percent, Stops};
use lightloss::report::{ReportFiles, page};
use lightloss::safety;
use std::path::{Path, PathBuf};

/// Largest page for eight marks, in bytes.
const LARGEST_PAGE: usize = 1_500_000;

fn fixtures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/profiles")
}

fn written(profile: &Profile) -> ReportFiles {
    page(profile).expect("a page")
}

/// Text of the element with this id, tags dropped.
fn text_of<'a>(html: &'a str, id: &str) -> &'a str {
    let at = html.find(&format!("id=\"{id}\"")).expect("the element");
    let rest = &html[at..];
    let from = rest.find('>').expect("the tag's end") + 1;
    let to = rest[from..].find('<').expect("the next tag");
    &rest[from..from + to]
}

/// Rewrites the files where LIGHTLOSS_WRITE_FIXTURES is set; they are never edited by hand.
#[test]
fn fixtures_are_what_this_source_builds_and_hold_to_the_contract() {
    let contract =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/profile.contract.schema.json");
    let contract: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(contract).expect("the contract"))
            .expect("JSON");
    let contract = jsonschema::validator_for(&contract).expect("a schema");
    let own = jsonschema::validator_for(&json::schema()).expect("our schema");
    for (name, profile) in profiles::all() {
        let path = fixtures().join(name).join("profile.json");
        let text = json::to_text(&profile).expect("finite numbers");
        if std::env::var_os("LIGHTLOSS_WRITE_FIXTURES").is_some() {
            std::fs::create_dir_all(path.parent().expect("a folder")).expect("made");
            std::fs::write(&path, &text).expect("written");
        }
        let found = std::fs::read_to_string(&path).expect("the fixture");
        assert!(found == text, "{name} differs; write it again with LIGHTLOSS_WRITE_FIXTURES=1");
        let value: serde_json::Value = serde_json::from_str(&found).expect("JSON");
        for schema in [&contract, &own] {
            let faults: Vec<String> = schema.iter_errors(&value).map(|e| e.to_string()).collect();
            assert!(faults.is_empty(), "{name}: {faults:?}");
        }
        assert_eq!(json::Document::parse(&found).expect("reads back").profile, profile);
    }
}

#[test]
fn the_terminal_says_each_doubt_once_with_its_marks() {
    let all = profiles::all();
    let (_, ring) = all.iter().find(|(name, _)| *name == "tide-ring").expect("the ring");
    let mut ring = ring.clone();
    let doubt = |text: &str| lightloss::profile::CautionRecord {
        code: "planted_doubt".to_owned(),
        grade: lightloss::profile::Grade::Note,
        text: text.to_owned(),
    };
    for (i, text) in [(1, "off by 0.02."), (3, "off by 0.03."), (4, "off by 0.04.")] {
        ring.settings[i].cautions.push(doubt(text));
    }
    let said = lightloss::report::terminal::summary(&ring, Path::new("report.html"), false);
    let of = |i: usize| ring.settings[i].mark.as_deref().expect("a mark");
    let line = format!("Note, marks {}, {} and {}: off by 0.02.", of(1), of(3), of(4));
    assert!(said.contains(&line) && !said.contains("off by 0.03."), "{said}");
}

#[test]
fn shading_at_several_focal_lengths_is_told_with_the_widest_safe_one() {
    let row = |focal: f64, onset: Option<f64>| ShadingAt {
        focal_length_mm: Millimetres::new(focal),
        mechanical: onset.is_some(),
        onset_percent_of_half_diagonal: onset.map(Percent::new),
        darkest_corner_stops: onset.map(|o| Stops::new((100.0 - o) / 10.0)),
    };
    let mut stack = profiles::two_together();
    stack.vignetting = Some(Vignetting {
        mechanical: true,
        onset_percent_of_half_diagonal: Some(Percent::new(82.0)),
        corners_stops: None,
        by_focal_length: vec![row(16.0, Some(82.0)), row(20.0, Some(96.0)), row(24.0, None)],
        widest_safe_mm: Some(Millimetres::new(24.0)),
    });
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let said = flat(&lightloss::report::terminal::summary(&stack, Path::new("p.html"), false));
    let widest = "The widest focal length that stays clear is 24 mm, of 16, 20, 24 mm";
    assert!(said.contains(widest), "{said}");
    let lines = "By focal length: 16 mm shaded from 82 % of the half diagonal, 1.80 stops at most; \
                 20 mm shaded from 96 % of the half diagonal, 0.40 stop at most; 24 mm clear.";
    assert!(said.contains(lines), "{said}");
    let html = flat(&written(&stack).html);
    assert!(html.contains(widest) && html.contains("Shading at each focal length"));
    stack.vignetting.as_mut().expect("shading").widest_safe_mm = None;
    let said = lightloss::report::terminal::summary(&stack, Path::new("p.html"), false);
    assert!(
        flat(&said).contains("None of the focal lengths that were tried stays clear"),
        "{said}"
    );
}

#[test]
fn the_answer_stands_at_the_top() {
    let html = written(&profiles::harbour_ten()).html;
    assert_eq!(
        text_of(&html, "answer"),
        "This filter takes 10.35 stops, a third of a stop more than rated."
    );
    assert_eq!(text_of(&html, "measured"), "10.35\u{a0}\u{b1}\u{a0}0.03");
    // 1/15 is 1/16 s on a dial (common practice, no source); 2^10.352 / 16 = 81.6 s, 2^10 / 16 = 64 s.
    assert!(html.contains("A metered 1/15 becomes 82 s, not 64 s."), "{html}");
    let html = written(&profiles::tide_ring()).html;
    let answer = text_of(&html, "answer");
    assert!(answer.starts_with("This filter takes from 1.50 to "), "{answer}");
    assert!(answer.ends_with("it is rated 2 to 5."), "{answer}");
}

#[test]
fn the_first_screen_answers_four_questions() {
    let said = |profile: &Profile| {
        let html = written(profile).html;
        let four = html.split("<dl class=\"four\">").nth(1).expect("the list");
        let four = four.split("</dl>").next().expect("its end").to_owned();
        assert_eq!(four.matches("<dt>").count(), 4, "{four}");
        // What is for the laboratory stands below the times.
        let at = |text: &str| html.find(text).unwrap_or(usize::MAX);
        assert!(at("Which time to use") < at("For the laboratory"));
        assert!(at("Filter factor") > at("For the laboratory"));
        four
    };
    let ten = said(&profiles::harbour_ten());
    assert!(ten.contains("<dt>How even</dt><dd>Even at 24 mm: "), "{ten}");
    assert!(ten.contains("<dt>May I trust it</dt><dd>Yes, to \u{b1} 0.03 stop"), "{ten}");
    assert!(ten.contains("When editing daylight of 5500 K set "), "{ten}");
    let ring = said(&profiles::tide_ring());
    assert!(ring.contains("Even within 0.33 stop up to mark 2 at 24 mm."), "{ring}");
    // The doubt stands beside the verdict, and is that of the mark that is known least.
    let marks = profiles::tide_ring().settings;
    let widest = marks.iter().map(|s| s.strength.u95.get()).fold(0.0, f64::max);
    let care =
        format!("With care, to \u{b1} {widest:.2} stop (marks 7 and 8): The filtered frames");
    assert!(ring.contains(&care), "{care}: {ring}");
    assert!(said(&profiles::moor_edge()).contains("<dd>Graduated: a "));
}

#[test]
fn captions_say_what_is_drawn() {
    // Nothing is rated: no grey tick. An even map: no lines. All cells known: no hatching.
    let mut profile = profiles::harbour_ten();
    profile.filter.rated_stops = None;
    let evenness = profile.settings[0].evenness.as_mut().expect("a map");
    for stops in evenness.maps.green.iter_mut().flatten() {
        *stops = Stops::new(0.1 * stops.get());
    }
    let html = written(&profile).html;
    for absent in ["grey tick", "every third of a stop", "Hatched"] {
        assert!(!html.contains(absent), "{absent}");
    }
    let ring = written(&profiles::tide_ring()).html;
    assert!(ring.contains("grey tick") && ring.contains("every third of a stop"));
    assert!(!ring.contains("as wide as its uncertainty"), "a range is no uncertainty");
    // A cell without a value is hatched, on a ground of its own.
    let evenness = profile.settings[0].evenness.as_mut().expect("a map");
    evenness.maps.green[5] = None;
    let html = written(&profile).html;
    assert!(html.contains("Hatched: not measured there."));
    assert!(html.contains("d=\"M5 1l1 -1\""), "one stroke in the one cell");
}

#[test]
fn a_difference_inside_the_doubt_is_no_difference() {
    let mut profile = profiles::odd_names();
    profile.settings[0].strength.stops = lightloss::quantity::Stops::new(3.12);
    let html = written(&profile).html;
    assert!(text_of(&html, "answer").ends_with("as rated within its uncertainty."));
}

#[test]
fn names_are_shown_and_inject_nothing() {
    let files = written(&profiles::odd_names());
    let html = &files.html;
    for raw in ["<script", "<img", "<b>", "<i>", "onerror=alert(1)>", "</style><b"] {
        assert!(!html.contains(raw), "{raw} stands in the page");
        for (name, svg) in &files.plots {
            assert!(!svg.contains(raw), "{raw} stands in {name}");
        }
    }
    // Exactly one style element, and no other way out of it.
    assert_eq!(html.matches("</style>").count(), 1);
    for shown in ["Größe №5 フィルター", "Täler 峡谷 שמש.dng", "&#60;script&#62;alert("]
    {
        assert!(html.contains(shown), "{shown} is missing");
    }
    for (name, svg) in &files.plots {
        assert!(name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '.'), "{name}");
        assert!(svg.starts_with("<svg xmlns=") && svg.trim_end().ends_with("</svg>"), "{name}");
    }
}

#[test]
fn the_page_stands_alone_and_stays_small() {
    for (name, profile) in profiles::all() {
        let files = written(&profile);
        let tags: String =
            files.html.split('<').filter_map(|part| part.split('>').next()).collect();
        let style =
            files.html.split("<style>").nth(1).and_then(|rest| rest.split("</style>").next());
        for outside in ["http:", "https:", "url(", "@import", "src=", "href=", "script"] {
            assert!(!tags.contains(outside), "{name}: {outside}");
            assert!(!style.expect("a style").contains(outside), "{name}: {outside}");
        }
        assert!(files.html.len() < LARGEST_PAGE, "{name}: {} bytes", files.html.len());
        let drawings = files.html.matches("<svg ").count();
        assert!(drawings >= 2, "{name}: {drawings} drawings");
        assert_eq!(files.html.matches("<title id=").count(), drawings, "{name}");
        assert!(!files.html.contains("></desc>"), "{name}: a drawing without its finding");
    }
}

#[test]
fn what_must_be_said_about_the_sun_is_said() {
    let texts = |profile: &Profile| {
        let html = written(profile).html;
        (html.contains(safety::SUN_SHORT), html.contains("ISO 12312-2"))
    };
    assert_eq!(texts(&profiles::harbour_ten()), (true, false));
    assert_eq!(texts(&profiles::two_together()), (true, true));
    // The name mentions the sun.
    assert_eq!(texts(&profiles::odd_names()), (true, true));
    assert_eq!(texts(&profiles::moor_edge()), (true, false));
}

#[test]
fn a_drawing_that_fails_is_a_caution() {
    let mut profile = profiles::harbour_ten();
    let evenness = profile.settings[0].evenness.as_mut().expect("a map");
    evenness.maps.green.pop();
    let files = written(&profile);
    assert!(files.html.contains("could not be drawn (a map of 64 x 43 cells holds 2751 values)"));
    assert!(files.plots.iter().all(|(name, _)| name != "evenness.svg"));
    assert!(files.plots.iter().any(|(name, _)| name == "ruler.svg"));
}

#[test]
fn a_profile_without_settings_is_refused_by_name() {
    let mut profile = profiles::harbour_ten();
    profile.settings.clear();
    let error = page(&profile).expect_err("nothing to show").to_string();
    assert!(error.contains("Harbour Ten"), "{error}");
}

#[test]
fn one_caution_for_several_marks_stands_once() {
    let html = written(&profiles::tide_ring()).html;
    // The first screen names it; the whole of it stands once.
    let section = html.split("Before you trust it").nth(1).expect("the section");
    assert_eq!(section.matches("so dark that the camera").count(), 1);
    assert!(html.contains("marks 7 and 8"));
}
