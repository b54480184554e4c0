//! `lightloss which`.

use crate::cli::WhichArgs;
use crate::commands::console::Console;
use crate::commands::correct::mark;
use crate::commands::output;
use crate::commands::photos::{self, Photo, exposure_words};
use crate::commands::profiles::{self, Opened};
use crate::commands::used_table::{self, same_file};
use crate::editing::used_csv::{UsedRow, write_used};
use crate::editing::which::{Finding, Picture, Told, Used, Verdict, find};
use crate::error::{Done, Failure};
use crate::profile::Profile;
use crate::read::pool::path_text;
use crate::write::write;
use comfy_table::{Table, presets};
use std::path::{Path, PathBuf};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &WhichArgs, console: &mut Console) -> Result<Done, Failure> {
    let kit = profiles::all(&profiles::given_or_kept(&args.profile, console)?)?;
    let files = photos::photographs(&args.photos)?;
    let out = args.out.clone().unwrap_or_else(|| files[0].with_file_name("used.csv"));
    output::refuse_existing(&[&out], args.replace)?;
    let earlier = args.used.as_deref().map(used_table::read).transpose()?.unwrap_or_default();
    let sidecars: Vec<PathBuf> =
        files.iter().filter_map(|file| photos::sidecar_path(file)).collect();
    let profiles = kit.iter().map(|opened| &opened.path);
    let read: Vec<&PathBuf> = files.iter().chain(&sidecars).chain(profiles).collect();
    output::refuse_inputs(&[&out], &read)?;
    let (mut photos, mut unreadable) = (Vec::new(), 0);
    for result in photos::read(&files, console) {
        match result {
            Ok(Photo { path, corrected: Some(what), .. }) => {
                console.warn(&format!("left out: {}: {}", path_text(&path), mark::refused(&what)));
            }
            Ok(photo) => photos.push(photo),
            Err(e) => {
                console.warn(&format!("unreadable: {e}"));
                unreadable += 1;
            }
        }
    }
    if photos.is_empty() {
        return Err(Failure::Nothing(
            "none of the photographs is left; the lines above say why".to_owned(),
        ));
    }
    let told = told(args, &photos, &kit, &earlier)?;
    let rows = rows(&photos, &kit, &told, args.metered_first);
    let text = write_used(&used_table::relative(&rows, &out))?;
    write(&out, text.as_bytes(), args.replace)?;
    console.line(&table(&rows))?;
    let known = rows.iter().filter(|r| r.filters.is_some()).count();
    let bare =
        if known < rows.len() { "name those made without a filter with --bare, or " } else { "" };
    console.line(&format!(
        "{known} of {} photographs known; {bare}correct the table where you know better, then: lightloss \
         correct PHOTO... --used {}",
        rows.len(),
        out.display()
    ))?;
    Ok(if unreadable == 0 { Done::Clean } else { Done::SomeLeftOut })
}

/// What the user says of each photograph: bare frames by name, and an edited table. A row that says
/// what would be found anyway says nothing new.
fn told(
    args: &WhichArgs,
    photos: &[Photo],
    kit: &[Opened],
    earlier: &[UsedRow],
) -> Result<Vec<Told>, Failure> {
    let mut told = vec![Told::Nothing; photos.len()];
    if !earlier.is_empty() {
        let found = rows(photos, kit, &told, args.metered_first);
        for ((photo, own), told) in photos.iter().zip(&found).zip(&mut told) {
            let row = earlier.iter().find(|r| same_file(&r.file, &photo.path));
            let Some((row, names)) = row.and_then(|r| Some((r, r.filters.as_ref()?))) else {
                continue;
            };
            if Some(names) != own.filters.as_ref() || row.mark != own.mark {
                *told = by_names(names, &row.mark, kit)?;
            }
        }
    }
    for bare in &args.bare {
        let known = photos.iter().position(|p| same_file(&bare.display().to_string(), &p.path));
        let at = known.ok_or_else(|| {
            Failure::usage(format!(
                "--bare names {:?}, which is not among the photographs; name it there too",
                bare.display().to_string()
            ))
        })?;
        told[at] = Told::Bare;
    }
    Ok(told)
}

fn by_names(names: &[String], mark: &str, kit: &[Opened]) -> Result<Told, Failure> {
    if names.is_empty() {
        return Ok(Told::Bare);
    }
    let used = names.iter().map(|name| {
        let filter = kit.iter().position(|k| k.profile.filter.name == *name).ok_or_else(|| {
            Failure::usage(format!(
                "the table names the filter {name:?}, for which there is no profile; give it with \
                 --profile"
            ))
        })?;
        let marks = &kit[filter].profile.settings;
        let own = marks.iter().any(|s| s.mark.as_deref() == Some(mark));
        Ok(Used { filter, mark: own.then(|| mark.to_owned()) })
    });
    Ok(Told::Through(used.collect::<Result<_, Failure>>()?))
}

/// What is found, as rows of the table, paths whole.
#[must_use]
pub fn rows(photos: &[Photo], kit: &[Opened], told: &[Told], metered_first: bool) -> Vec<UsedRow> {
    let profiles: Vec<Profile> = kit.iter().map(|k| k.profile.clone()).collect();
    let pictures: Vec<Picture> = photos.iter().map(|p| p.picture.clone()).collect();
    let found = find(&pictures, &profiles, told, metered_first);
    found.iter().zip(photos).map(|(finding, photo)| row(finding, photo, kit, photos)).collect()
}

fn row(finding: &Finding, photo: &Photo, kit: &[Opened], photos: &[Photo]) -> UsedRow {
    let absolute = |p: &Path| path_text(&std::path::absolute(p).unwrap_or_else(|_| p.to_owned()));
    let used = match &finding.verdict {
        Verdict::Through(used) => used.as_slice(),
        Verdict::Bare | Verdict::Unknown => &[],
    };
    let name = |filter: usize| kit[filter].profile.filter.name.clone();
    let impossible: Vec<String> = finding.impossible.iter().map(|&f| name(f)).collect();
    let mut note = finding.note.clone();
    if finding.verdict == Verdict::Unknown && !impossible.is_empty() {
        let cannot = format!("cannot have been made through {}", impossible.join(" or "));
        note = if note.is_empty() { cannot } else { format!("{note}; {cannot}") };
    }
    let known = finding.verdict != Verdict::Unknown;
    let info = &photo.picture.info;
    UsedRow {
        file: absolute(&photo.path),
        time: info.capture.at.map(|t| t.to_string()).unwrap_or_default(),
        exposure: exposure_words(info),
        filters: known.then(|| used.iter().map(|u| name(u.filter)).collect()),
        mark: used.iter().find_map(|u| u.mark.clone()).unwrap_or_default(),
        how_known: finding.how.text().to_owned(),
        how_sure: match (known, finding.sure) {
            (false, _) => "",
            (true, true) => "sure",
            (true, false) => "likely",
        }
        .to_owned(),
        bare_frame: finding.bare.map(|b| absolute(&photos[b].path)).unwrap_or_default(),
        group: String::new(),
        profiles: used.iter().map(|u| kit[u.filter].path.display().to_string()).collect(),
        note,
    }
}

fn table(rows: &[UsedRow]) -> String {
    let mut table = Table::new();
    table.load_style(presets::NOTHING);
    table.set_header(["photograph", "exposure", "filter", "mark", "how known", "sure", "note"]);
    for row in rows {
        let file = PathBuf::from(&row.file);
        let file = file.file_name().map(|n| path_text(n.as_ref())).unwrap_or_default();
        let filter = match &row.filters {
            None => "?".to_owned(),
            Some(none) if none.is_empty() => "none".to_owned(),
            Some(names) => names.join(" + "),
        };
        table.add_row([
            file,
            row.exposure.clone(),
            filter,
            row.mark.clone(),
            row.how_known.clone(),
            row.how_sure.clone(),
            row.note.clone(),
        ]);
    }
    let text = table.to_string();
    text.lines().map(str::trim_end).collect::<Vec<_>>().join("\n")
}
