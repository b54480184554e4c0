//! What speaks against the user's word: light that shows other filters than those that were named, a frame
//! that is named for the light without the filter and shows one, a table that contradicts itself.

use super::job::{Candidate, through};
use super::light::White;
use crate::commands::photos::Photo;
use crate::commands::profiles::Opened;
use crate::commands::used_table;
use crate::editing::correct::weakest;
use crate::editing::start::Start;
use crate::editing::used_csv::UsedRow;
use crate::editing::which::{
    AS_BRIGHT_STOPS, Finding, How, Leaning, SceneStep, Used, Verdict, step, used_words,
};
use crate::error::Failure;
use crate::read::pool::path_text;
use std::path::Path;

/// Weaker filters are not told from a cloud by the level, in stops (ours).
const LEAST_STOPS: f64 = 1.0;
/// Less than this share of what the filter takes is no filter taken off (ours).
const HALF: f64 = 0.5;
/// Within so many minutes light seldom loses half of what a filter takes (ours).
const SOON_MINUTES: f64 = 6.0;

/// Of each photograph what it says instead of the filters that were named for all.
pub(super) fn against_named(
    read: &[Photo],
    findings: &[Finding],
    named: &[Used],
    kit: &[Opened],
) -> Vec<Option<String>> {
    // Where the light shows the filters in no photograph, it tells nothing by showing none in one.
    let shows = |f: &Finding| matches!(&f.verdict, Verdict::Through(used) if is_named(used, named));
    let tells = findings.iter().any(shows);
    let of = |(photo, finding): (&Photo, &Finding)| {
        let other = instead(finding, named, kit, tells)?;
        Some(format!(
            "{}: you said {}, which stands, but {other}; look at it again",
            path_text(&photo.path),
            words(named, kit)
        ))
    };
    read.iter().zip(findings).map(of).collect()
}

fn instead(finding: &Finding, named: &[Used], kit: &[Opened], tells: bool) -> Option<String> {
    let who = if finding.how == How::Words { "its keywords say" } else { "the light says" };
    match (&finding.verdict, finding.leans) {
        (Verdict::Through(used), _) if !is_named(used, named) => {
            Some(format!("{who} {}", words(used, kit)))
        }
        (Verdict::Bare, _) => Some(format!("{who} bare")),
        (Verdict::Unknown, Leaning::Stranger) => {
            Some("its light fits no filter, mark or stack of those named".to_owned())
        }
        (Verdict::Unknown, Leaning::Bare) if tells => Some("the light rather says bare".to_owned()),
        (Verdict::Through(_) | Verdict::Unknown, _) => None,
    }
}

/// Whether these are the filters that were named, at no other mark.
fn is_named(used: &[Used], named: &[Used]) -> bool {
    let of = |filter: usize| named.iter().find(|own| own.filter == filter);
    let alike = |u: &Used| {
        of(u.filter).is_some_and(|own| own.mark.is_none() || u.mark.is_none() || own.mark == u.mark)
    };
    used.len() == named.len() && used.iter().all(alike)
}

pub(super) fn words(used: &[Used], kit: &[Opened]) -> String {
    used_words(used, |filter| kit[filter].profile.filter.name.clone())
}

/// Fills in bare frames that a table does not name: of the photographs that it says are bare, the nearest
/// in time that shows the same scene.
pub(super) fn fill_bare_frames(found: &mut [Candidate], read: &[Photo], rows: &[UsedRow]) {
    let none = |photo: &&Photo| {
        let row = used_table::row_of(rows, &photo.path).ok().flatten();
        row.and_then(|row| row.filters.as_ref()).is_some_and(Vec::is_empty)
    };
    let bare: Vec<&Photo> = read.iter().filter(none).collect();
    for candidate in found.iter_mut().filter(|c| c.row.bare_frame.is_empty()) {
        let apart = |photo: &&Photo| Some(step(&photo.picture, &candidate.photo.picture)?.minutes);
        let own = bare.iter().filter_map(|photo| Some((photo, apart(photo)?)));
        if let Some((photo, _)) = own.min_by(|a, b| a.1.total_cmp(&b.1)) {
            let path = std::path::absolute(&photo.path).unwrap_or_else(|_| photo.path.clone());
            candidate.row.bare_frame = path.display().to_string();
        }
    }
}

/// Refuses bare frames of a table that the same table says were made through a filter, where their
/// balance would be taken.
///
/// # Errors
/// The first of them.
pub(super) fn refuse_filtered_bare(
    found: &[Candidate],
    rows: &[UsedRow],
    white: &White,
) -> Result<(), Failure> {
    if !matches!(white.start, Start::Told | Start::NearestBare) {
        return Ok(());
    }
    for Candidate { photo, row, .. } in found.iter().filter(|c| !c.row.bare_frame.is_empty()) {
        let bare = Path::new(&row.bare_frame);
        let through = match used_table::row_of(rows, bare)?.and_then(|row| row.filters.as_ref()) {
            _ if used_table::real(bare) == used_table::real(&photo.path) => {
                "it is that photograph itself".to_owned()
            }
            Some(filters) if !filters.is_empty() => {
                format!("it says that this was made through {}", filters.join(" + "))
            }
            _ => continue,
        };
        return Err(Failure::usage(format!(
            "{}: the table gives {} as its bare frame, and {through}; give a frame made without a filter \
             there, or leave it blank",
            path_text(&photo.path),
            path_text(bare)
        )));
    }
    Ok(())
}

/// Holds a frame that is named for the light without the filter against the photographs that were made
/// through one: of one scene it must be brighter than these. What is doubtful only is a caution.
///
/// # Errors
/// Where it shows their scene as dark as they do, soon before or after.
pub(super) fn frame_against(
    white: &White,
    found: &[Candidate],
    rows: Option<&[UsedRow]>,
    kit: &[Opened],
) -> Result<Option<String>, Failure> {
    let Some((path, picture)) = white.named() else { return Ok(None) };
    let told = |rows: &[UsedRow]| rows.iter().any(|r| used_table::same_file(&r.file, path));
    if rows.is_some_and(told) {
        return Ok(None);
    }
    let mut as_dark: Option<(SceneStep, &Candidate, f64)> = None;
    let own = used_table::real(path);
    for candidate in found.iter().filter(|c| used_table::real(&c.photo.path) != own) {
        let takes = weakest(&through(kit, &candidate.filters, &candidate.photo.picture.info));
        let Some(seen) = step(picture, &candidate.photo.picture) else { continue };
        if takes < LEAST_STOPS {
            continue;
        }
        if seen.stops >= HALF * takes {
            return Ok(None);
        }
        if as_dark.as_ref().is_none_or(|known| seen.minutes < known.0.minutes) {
            as_dark = Some((seen, candidate, takes));
        }
    }
    let Some((seen, candidate, takes)) = as_dark else { return Ok(None) };
    let file = path_text(&candidate.photo.path);
    let beside = if seen.stops < AS_BRIGHT_STOPS {
        "no brighter than that does".to_owned()
    } else {
        format!("only {:.1} stops brighter", seen.stops)
    };
    let said = format!(
        "--white {}: it shows the scene of {file} {beside}, and {} takes {takes:.1} stops, so it \
         seems to have been made through a filter too; give a frame made without a filter, or a \
         temperature; if it had none, say that in a table given with --used",
        path_text(path),
        candidate.row.how_known,
    );
    if seen.minutes <= SOON_MINUTES { Err(Failure::usage(said)) } else { Ok(Some(said)) }
}
