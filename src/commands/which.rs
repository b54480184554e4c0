//! `lightloss which`.

use crate::cli::WhichArgs;
use crate::commands::console::Console;
use crate::commands::output;
use crate::commands::photos::{self, Photo, exposure_words};
use crate::commands::profiles::{self, Opened};
use crate::commands::used_table;
use crate::editing::used_csv::{UsedRow, write_used};
use crate::editing::which::{Album, Finding, Told, Verdict, shown};
use crate::error::{Done, Failure};
use crate::kit::kept::name_key;
use crate::read::pool::path_text;
use crate::report::lines;
use crate::write::write;
use std::path::{Path, PathBuf};

/// Runs the command.
///
/// # Errors
/// Where the command line is wrong or nothing could be done.
pub fn run(args: &WhichArgs, console: &mut Console) -> Result<Done, Failure> {
    let mut earlier = args.used.as_deref().map(used_table::read).transpose()?.unwrap_or_default();
    let kit = kit(args, &mut earlier, console)?;
    let files = photos::photographs(&args.photos)?;
    let out = args.out.clone().unwrap_or_else(|| files[0].with_file_name("used.csv"));
    output::refuse_existing(&[&out], args.replace)?;
    let sidecars: Vec<PathBuf> =
        files.iter().filter_map(|file| photos::sidecar_path(file)).collect();
    let profiles = kit.iter().map(|opened| &opened.path);
    let read: Vec<&PathBuf> = files.iter().chain(&sidecars).chain(profiles).collect();
    output::refuse_inputs(&[&out], &read)?;
    output::refuse_closed(&out)?;
    let (mut photos, mut unreadable) = (Vec::new(), 0);
    for result in photos::read(&files, console) {
        match result {
            Ok(Photo { path, corrected: Some(what), .. }) => {
                let why = photos::corrected_already(&what);
                console.warn(&format!("left out: {}: {why}", path_text(&path)));
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
    photos.iter().filter_map(|p| p.unread_sidecar.as_ref()).for_each(|unread| {
        console.warn(&format!("caution: {unread}"));
    });
    let told = told(args, &photos, &kit, &earlier, console)?;
    let mut rows = rows(&photos, &kit, &told, args.metered_first);
    for (row, photo) in rows.iter_mut().zip(&photos) {
        let before = used_table::row_of(&earlier, &photo.path)?;
        row.group = before.map(|before| before.group.clone()).unwrap_or_default();
    }
    console.print(&table(&rows))?;
    let all = with_others(args, &out, rows.clone(), &photos)?;
    let text = write_used(&used_table::relative(&all, &out))?;
    write(&out, text.as_bytes(), args.replace)?;
    if all.len() > rows.len() {
        let others = all.len() - rows.len();
        console.line(&format!("{others} rows of other photographs stay in the table"))?;
    }
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

/// The rows with those of the table that is read again, or written over, that are none of these
/// photographs'.
fn with_others(
    args: &WhichArgs,
    out: &Path,
    rows: Vec<UsedRow>,
    photos: &[Photo],
) -> Result<Vec<UsedRow>, Failure> {
    let paths: Vec<&Path> = photos.iter().map(|photo| photo.path.as_path()).collect();
    match &args.used {
        Some(table) => used_table::renewed(table, rows, &paths),
        // What is no table is written over as it was asked.
        None => Ok(used_table::renewed(out, rows.clone(), &paths).unwrap_or(rows)),
    }
}

/// The profiles that are named, else those of the table and of the kit; and what the table names
/// besides.
fn kit(
    args: &WhichArgs,
    earlier: &mut [UsedRow],
    console: &mut Console,
) -> Result<Vec<Opened>, Failure> {
    let of_table: Vec<PathBuf> = earlier.iter().flat_map(|r| &r.profiles).map(Into::into).collect();
    if !args.profile.is_empty() || of_table.is_empty() {
        let mut kit = profiles::all(&profiles::given_or_kept(&args.profile, console)?)?;
        completed(&mut kit, args, earlier, console)?;
        return Ok(kit);
    }
    let mut kit = profiles::all(&of_table)?;
    // Without a kit of one's own those of the table are all there are.
    for file in profiles::given_or_kept(&[], console).unwrap_or_default() {
        let kept = profiles::open(&file)?;
        let name = |opened: &Opened| name_key(&opened.profile.filter.name);
        if kit.iter().all(|known| name(known) != name(&kept)) {
            kit.push(kept);
        }
    }
    completed(&mut kit, args, earlier, console)?;
    Ok(kit)
}

fn completed(
    kit: &mut Vec<Opened>,
    args: &WhichArgs,
    earlier: &mut [UsedRow],
    console: &mut Console,
) -> Result<(), Failure> {
    if let Some(table) = &args.used {
        used_table::complete(kit, earlier, table)?.iter().for_each(|said| console.warn(said));
    }
    Ok(())
}

/// What the user says of each photograph: bare frames by name, and what was changed in a table.
fn told(
    args: &WhichArgs,
    photos: &[Photo],
    kit: &[Opened],
    earlier: &[UsedRow],
    console: &mut Console,
) -> Result<Vec<Told>, Failure> {
    let mut told = vec![Told::Nothing; photos.len()];
    if let Some(table) = &args.used {
        let own = |photo: &Photo| used_table::row_of(earlier, &photo.path);
        let own: Vec<Option<&UsedRow>> = photos.iter().map(own).collect::<Result<_, _>>()?;
        let nothing = told.clone();
        let mut found: Option<Vec<UsedRow>> = None;
        for (at, row) in own.iter().enumerate().filter_map(|(at, row)| Some((at, (*row)?))) {
            let now = || {
                let all = || rows(photos, kit, &nothing, args.metered_first);
                used_table::found(&found.get_or_insert_with(all)[at])
            };
            if used_table::is_users(row, now) {
                let used = used_table::used(row, &row.mark, kit, table)?;
                told[at] = if used.is_empty() { Told::Bare } else { Told::Through(used) };
            }
        }
    }
    for bare in &args.bare {
        let at = named(bare, photos)?;
        if let Told::Through(_) = told[at] {
            let name = bare.display().to_string();
            console.warn(&format!(
                "--bare {name:?}: the table names a filter of it, which is passed over"
            ));
        }
        told[at] = Told::Bare;
    }
    Ok(told)
}

/// The photograph that --bare names: by its path, or by a name that no other has.
fn named(bare: &Path, photos: &[Photo]) -> Result<usize, Failure> {
    let name = bare.display().to_string();
    let real = used_table::real(bare);
    if let Some(at) = photos.iter().position(|p| used_table::real(&p.path) == real) {
        return Ok(at);
    }
    // As it was written by `which`, in which names that are no text are spelt out.
    let spelt = |p: &Path| p.file_name().is_some_and(|file| path_text(file.as_ref()) == name);
    let called = |p: &Path| !bare.exists() && (p.ends_with(bare) || spelt(p));
    let all: Vec<usize> = (0..photos.len()).filter(|&at| called(&photos[at].path)).collect();
    match all.as_slice() {
        [at] => Ok(*at),
        [] => Err(Failure::usage(format!(
            "--bare names {name:?}, which is not among the photographs; name it there too"
        ))),
        [one, two, ..] => Err(Failure::usage(format!(
            "--bare names {name:?}, which may be {:?} or {:?}; give the path of the one that is meant",
            photos[*one].path.display().to_string(),
            photos[*two].path.display().to_string()
        ))),
    }
}

/// What is found, as rows of the table, paths whole.
#[must_use]
pub fn rows(photos: &[Photo], kit: &[Opened], told: &[Told], metered_first: bool) -> Vec<UsedRow> {
    rows_in(&album(photos, kit), photos, kit, told, metered_first)
}

/// The same of an album of these photographs and this kit.
#[must_use]
pub fn rows_in(
    album: &Album,
    photos: &[Photo],
    kit: &[Opened],
    told: &[Told],
    metered_first: bool,
) -> Vec<UsedRow> {
    let found = album.find(told, metered_first);
    found.iter().zip(photos).map(|(finding, photo)| row(finding, photo, kit, photos)).collect()
}

/// Photographs and a kit, to be judged more than once.
#[must_use]
pub fn album(photos: &[Photo], kit: &[Opened]) -> Album {
    let pictures = photos.iter().map(|p| p.picture.clone()).collect();
    Album::new(pictures, kit.iter().map(|k| k.profile.clone()).collect())
}

/// What is found of each photograph.
#[must_use]
pub fn found(photos: &[Photo], kit: &[Opened], told: &[Told], metered_first: bool) -> Vec<Finding> {
    album(photos, kit).find(told, metered_first)
}

/// A finding as a row of the table.
#[must_use]
pub fn row(finding: &Finding, photo: &Photo, kit: &[Opened], photos: &[Photo]) -> UsedRow {
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
    let mut row = UsedRow {
        file: absolute(&photo.path),
        time: info.capture.at.map(|t| t.to_string()).unwrap_or_default(),
        exposure: exposure_words(info),
        filters: known.then(|| used.iter().map(|u| name(u.filter)).collect()),
        mark: used.iter().find_map(|u| u.mark.clone()).unwrap_or_default(),
        how_known: finding.how.text().to_owned(),
        how_sure: match (known && !finding.doubted, finding.sure) {
            (false, _) => "",
            (true, true) => "sure",
            (true, false) => "likely",
        }
        .to_owned(),
        bare_frame: finding.bare.map(|b| absolute(&photos[b].path)).unwrap_or_default(),
        group: String::new(),
        profiles: used.iter().map(|u| kit[u.filter].path.display().to_string()).collect(),
        note,
        found: String::new(),
        own: Vec::new(),
    };
    row.found = used_table::found(&row);
    row
}

fn table(rows: &[UsedRow]) -> String {
    let heads = ["photograph", "exposure", "filter", "mark", "how known", "sure", "note"];
    let mut table = lines::table(heads);
    let files: Vec<&str> = rows.iter().map(|row| row.file.as_str()).collect();
    for row in rows {
        let file = shown(&row.file, &files);
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
    lines::rows(&table).collect()
}
