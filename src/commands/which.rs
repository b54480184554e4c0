//! `lightloss which`.

use crate::cli::WhichArgs;
use crate::commands::console::Console;
use crate::commands::output;
use crate::commands::photos::{self, exposure_words};
use crate::commands::profiles::{self, Opened};
use crate::editing::used_csv::{UsedRow, write_used};
use crate::editing::which::{Finding, Picture, Verdict, find};
use crate::error::{Done, Failure};
use crate::profile::Profile;
use crate::read::pool::path_text;
use crate::write::write;
use comfy_table::{Table, presets};
use std::path::PathBuf;

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &WhichArgs, console: &mut Console) -> Result<Done, Failure> {
    let kit = profiles::all(&profiles::given_or_kept(&args.profile, console)?)?;
    let files = photos::photographs(&args.photos)?;
    let out = args.out.clone().unwrap_or_else(|| files[0].with_file_name("used.csv"));
    output::refuse_existing(&[&out], args.replace)?;
    let sidecars: Vec<PathBuf> =
        files.iter().filter_map(|file| photos::sidecar_path(file)).collect();
    let profiles = kit.iter().map(|opened| &opened.path);
    let read: Vec<&PathBuf> = files.iter().chain(&sidecars).chain(profiles).collect();
    output::refuse_inputs(&[&out], &read)?;
    let (mut pictures, mut paths, mut unreadable) = (Vec::new(), Vec::new(), Vec::new());
    for (file, result) in files.iter().zip(photos::summaries(&files, console)) {
        match result {
            Ok(summary) => {
                pictures.push(photos::picture(&summary));
                paths.push(file.clone());
            }
            Err(e) => unreadable.push(e),
        }
    }
    for e in &unreadable {
        console.warn(&format!("unreadable: {e}"));
    }
    if pictures.is_empty() {
        return Err(Failure::Nothing("none of the photographs could be read".to_owned()));
    }
    let rows = rows(&pictures, &paths, &kit);
    let text = write_used(&rows)?;
    write(&out, text.as_bytes(), args.replace)?;
    console.line(&table(&rows))?;
    let known = rows.iter().filter(|r| r.filters.is_some()).count();
    console.line(&format!(
        "{known} of {} photographs known; correct the table where you know better, then: lightloss \
         correct PHOTO... --used {}",
        rows.len(),
        out.display()
    ))?;
    Ok(if unreadable.is_empty() { Done::Clean } else { Done::SomeLeftOut })
}

/// What was found, as rows of the table.
#[must_use]
pub fn rows(pictures: &[Picture], paths: &[PathBuf], kit: &[Opened]) -> Vec<UsedRow> {
    let profiles: Vec<Profile> = kit.iter().map(|k| k.profile.clone()).collect();
    let found = find(pictures, &profiles);
    found
        .iter()
        .enumerate()
        .map(|(i, finding)| row(finding, &pictures[i], &paths[i], kit, paths))
        .collect()
}

fn row(
    finding: &Finding,
    picture: &Picture,
    path: &std::path::Path,
    kit: &[Opened],
    paths: &[PathBuf],
) -> UsedRow {
    let absolute =
        |p: &std::path::Path| path_text(&std::path::absolute(p).unwrap_or_else(|_| p.to_owned()));
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
    UsedRow {
        file: absolute(path),
        time: picture.info.capture.at.map(|t| t.to_string()).unwrap_or_default(),
        exposure: exposure_words(&picture.info),
        filters: known.then(|| used.iter().map(|u| name(u.filter)).collect()),
        mark: used.iter().find_map(|u| u.mark.clone()).unwrap_or_default(),
        how_known: finding.how.text().to_owned(),
        how_sure: match (known, finding.sure) {
            (false, _) => "",
            (true, true) => "sure",
            (true, false) => "likely",
        }
        .to_owned(),
        bare_frame: finding.bare.map(|b| absolute(&paths[b])).unwrap_or_default(),
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
