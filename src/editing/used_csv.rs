//! Tables for a spreadsheet: `used.csv` (which photograph had which filter) and `corrections.csv`
//! (the numbers, for those who type them in).
//!
//! RFC 4180.

use super::cells::{cell, defused, filters, names, restored};
use serde::{Deserialize, Serialize};

pub use super::cells::{JOIN, NONE};

/// A row of `used.csv`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct UsedRow {
    /// The photograph.
    #[serde(with = "cell")]
    pub file: String,
    /// Capture time.
    #[serde(with = "cell")]
    pub time: String,
    /// Exposure in plain words.
    #[serde(with = "cell")]
    pub exposure: String,
    /// Filter names; [`None`] where not known, empty where there was none.
    #[serde(with = "filters", rename = "filter")]
    pub filters: Option<Vec<String>>,
    /// Mark of the variable filter.
    #[serde(with = "cell")]
    pub mark: String,
    /// What it rests on.
    #[serde(with = "cell")]
    pub how_known: String,
    /// "sure", "likely", or blank where it is not known, or where the light speaks against the user.
    #[serde(with = "cell")]
    pub how_sure: String,
    /// The bare frame of the scene.
    #[serde(with = "cell")]
    pub bare_frame: String,
    /// Frames with one group name get one balance.
    #[serde(with = "cell")]
    pub group: String,
    /// Files of the profiles, in the order of the filters.
    #[serde(with = "names")]
    pub profiles: Vec<String>,
    /// Plain words.
    #[serde(with = "cell")]
    pub note: String,
    /// Filter and mark as they were written: where those differ, the user changed them.
    #[serde(with = "cell")]
    pub found: String,
    /// Columns of the person's own, as they stand: name and cell.
    #[serde(skip)]
    pub own: Vec<(String, String)>,
}

/// A row of `corrections.csv`: everything that is said of one photograph.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct CorrectionRow {
    /// The photograph.
    #[serde(with = "cell")]
    pub file: String,
    /// The corrected file; blank where only numbers were asked for, or nothing was corrected.
    #[serde(with = "cell")]
    pub corrected: String,
    /// Filters and mark.
    #[serde(with = "cell")]
    pub filter: String,
    /// Multiplier for red.
    pub gain_red: String,
    /// Multiplier for green.
    pub gain_green: String,
    /// Multiplier for blue.
    pub gain_blue: String,
    /// Red of the new neutral, green being 1.
    pub neutral_red: String,
    /// Blue of the new neutral.
    pub neutral_blue: String,
    /// Colour temperature of the light without the filter; blank without a colour matrix.
    pub kelvin_before: String,
    /// The setting that makes neutrals neutral.
    pub kelvin_after: String,
    /// Duv before.
    pub green_magenta_duv_before: String,
    /// Duv after.
    pub green_magenta_duv_after: String,
    /// What was done about evenness: largest gain in the corners in stops, blank where none.
    pub evenness_stops: String,
    /// By how many stops the whole picture was raised, so that no gain is below one.
    pub raised_stops: String,
    /// Share of the pixels that clip by that, in percent.
    pub clips_percent: String,
    /// Series it belongs to, from 1.
    pub series: String,
    /// Plain words.
    #[serde(with = "cell")]
    pub note: String,
}

/// Why a table could not be read or made.
#[derive(Debug, thiserror::Error)]
pub enum TableError {
    /// Not CSV.
    #[error("not a readable table: {0}")]
    Malformed(#[from] csv::Error),
    /// A quote that swallows what follows.
    #[error(
        "line {line}: a quote (\") opens a cell there and does not close it; take it out, or close it"
    )]
    OpenQuote {
        /// Counted from 1.
        line: usize,
    },
    /// Nothing at all.
    #[error("the table is empty; `lightloss which` writes one")]
    Empty,
    /// Bytes that are no text.
    #[error("it is no plain text, so no table; save it as CSV (UTF-8) from the spreadsheet")]
    NoText,
    /// A column is missing.
    #[error(
        "the table has no column {column:?}; expected the header that `lightloss which` writes"
    )]
    NoColumn {
        /// Its name.
        column: &'static str,
    },
    /// Another table where `corrections.csv` is to go on.
    #[error("it is no table of corrections, so nothing is added to it; use --replace, or --out")]
    NotCorrections,
    /// A row names no file.
    #[error("row {row} of the table names no file")]
    NoFile {
        /// Counted from 2, below the header.
        row: usize,
    },
    /// One file twice, with different filters or marks.
    #[error("the table names {file:?} twice, with different filters")]
    Twice {
        /// The file.
        file: String,
    },
    /// A filter without a profile.
    #[error(
        "{row}: the table names the filter {name:?}, for which there is no profile{why}; \
         give it with --profile{or}"
    )]
    NoProfile {
        /// The table and the row in it.
        row: String,
        /// The filter.
        name: String,
        /// Why there is none, in brackets; or nothing.
        why: String,
        /// What else to do; or nothing.
        or: String,
    },
}

/// What the green-magenta columns are worth.
pub const DUV_NOTE: &str =
    "editors scale green-magenta differently: the Duv is a direction, not a setting";

/// `used.csv` as text, with the columns of the person's own behind it: those of the first row that has
/// any.
///
/// # Errors
/// None in practice; the writer's own errors are passed on.
pub fn write_used(rows: &[UsedRow]) -> Result<String, TableError> {
    let text = table(rows)?;
    let Some(names) = rows.iter().map(|row| &row.own).find(|own| !own.is_empty()) else {
        return Ok(text);
    };
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
    let mut writer = csv::Writer::from_writer(Vec::new());
    for (at, record) in reader.records().enumerate() {
        let mut record = record?;
        let row = at.checked_sub(1).map(|at| &rows[at]);
        for (column, (name, _)) in names.iter().enumerate() {
            let own = row.map(|row| row.own.get(column).filter(|own| own.0 == *name));
            record.push_field(&defused(match own {
                None => name,
                Some(own) => own.map_or("", |own| &own.1),
            }));
        }
        writer.write_record(&record)?;
    }
    finished(writer)
}

/// `corrections.csv` as text.
///
/// # Errors
/// None in practice; the writer's own errors are passed on.
pub fn write_corrections(rows: &[CorrectionRow]) -> Result<String, TableError> {
    table(rows)
}

/// `corrections.csv` again, with the rows of an earlier one that these do not replace before them.
///
/// # Errors
/// Where the earlier text is no such table.
pub fn add_corrections(earlier: &str, rows: &[CorrectionRow]) -> Result<String, TableError> {
    let (mut reader, header, _) = reader(earlier)?;
    if !["file", "filter", "gain_red", "gain_blue"].iter().all(|c| header.iter().any(|h| h == *c)) {
        return Err(TableError::NotCorrections);
    }
    let mut all: Vec<CorrectionRow> = Vec::new();
    for row in reader.deserialize() {
        let row: CorrectionRow = row?;
        if rows.iter().all(|new| new.file != row.file) {
            all.push(row);
        }
    }
    all.extend_from_slice(rows);
    table(&all)
}

/// Reads `used.csv`, also after a spreadsheet wrote it with semicolons or tabs, a byte order mark,
/// or its columns in another order. Only `file` and `filter` must be there.
///
/// # Errors
/// Not a table, a missing column, a row without a file, or one file with two filters.
pub fn read_used(text: &str) -> Result<Vec<UsedRow>, TableError> {
    if text.trim_start_matches('\u{feff}').trim().is_empty() {
        return Err(TableError::Empty);
    }
    if let Some(line) = open_quote(text, delimiter(text)) {
        return Err(TableError::OpenQuote { line });
    }
    let (mut reader, header, names) = reader(text)?;
    let ours = table::<UsedRow>(&[])?;
    let ours: Vec<&str> = ours.trim_end().split(',').collect();
    let own: Vec<usize> = (0..header.len()).filter(|&at| !ours.contains(&&header[at])).collect();
    for column in ["file", "filter"] {
        if !header.iter().any(|h| h == column) {
            return Err(TableError::NoColumn { column });
        }
    }
    let mut rows: Vec<UsedRow> = Vec::new();
    for (i, record) in reader.records().enumerate() {
        let mut record = record?;
        if record.iter().all(|c| c.trim().is_empty()) {
            continue;
        }
        // Spreadsheets leave out cells at the end of a row.
        while record.len() < header.len() {
            record.push_field("");
        }
        record.truncate(header.len());
        let mut row: UsedRow = record.deserialize(Some(&header))?;
        let of = |&at: &usize| (restored(&names[at]).to_owned(), restored(&record[at]).to_owned());
        row.own = own.iter().map(of).collect();
        if row.file.is_empty() {
            return Err(TableError::NoFile { row: i + 2 });
        }
        match rows.iter().find(|r| r.file == row.file) {
            Some(r) if (&r.filters, &r.mark) != (&row.filters, &row.mark) => {
                return Err(TableError::Twice { file: row.file });
            }
            Some(_) => {}
            None => rows.push(row),
        }
    }
    Ok(rows)
}

/// The text of a table's bytes: UTF-8, UTF-16 with its mark, or the Latin-1 of spreadsheets of old, whose
/// bytes are code points.
///
/// # Errors
/// Where they are no text.
pub fn text_of(bytes: Vec<u8>) -> Result<String, TableError> {
    let units = |of: fn([u8; 2]) -> u16| -> Vec<u16> {
        bytes[2..].chunks_exact(2).map(|two| of([two[0], two[1]])).collect()
    };
    // The Unicode standard, 23.8: the byte order mark.
    let wide = match bytes.as_slice() {
        [0xFF, 0xFE, ..] => Some(units(u16::from_le_bytes)),
        [0xFE, 0xFF, ..] => Some(units(u16::from_be_bytes)),
        _ => None,
    };
    if let Some(wide) = wide {
        return String::from_utf16(&wide).map_err(|_| TableError::NoText);
    }
    if bytes.contains(&0) {
        return Err(TableError::NoText);
    }
    let latin = |bytes: Vec<u8>| bytes.into_iter().map(char::from).collect();
    Ok(String::from_utf8(bytes).unwrap_or_else(|error| latin(error.into_bytes())))
}

/// The line of a quote that opens a cell and whose partner ends none: what follows would be swallowed.
fn open_quote(text: &str, delimiter: char) -> Option<usize> {
    let mut line = 1;
    let mut opened: Option<usize> = None;
    let mut starts = true;
    let mut all = text.trim_start_matches('\u{feff}').chars().peekable();
    while let Some(c) = all.next() {
        match (opened, c) {
            (Some(at), '"') => match all.peek() {
                Some('"') => {
                    all.next();
                }
                None | Some(' ' | '\r' | '\n') => opened = None,
                Some(&next) if next == delimiter => opened = None,
                Some(_) => return Some(at),
            },
            (None, '"') if starts => opened = Some(line),
            _ => {}
        }
        starts = opened.is_none() && (c == delimiter || c == '\n');
        line += usize::from(c == '\n');
    }
    opened
}

/// What parts the cells, by the header.
fn delimiter(text: &str) -> char {
    let first = text.lines().next().unwrap_or_default();
    let count = |c: char| first.matches(c).count();
    // Names of columns of one's own may hold any of them.
    let file = |cell: &str| cell.trim_matches(['"', ' ', '\u{feff}']).eq_ignore_ascii_case("file");
    let fits = |c: char| first.split(c).any(file);
    [',', ';', '\t'].into_iter().max_by_key(|&d| (fits(d), count(d), d == ',')).unwrap_or(',')
}

/// A reader of what a spreadsheet may have touched, its header in small letters, and as it stands.
fn reader(
    text: &str,
) -> Result<(csv::Reader<&[u8]>, csv::StringRecord, csv::StringRecord), TableError> {
    let text = text.trim_start_matches('\u{feff}');
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(u8::try_from(delimiter(text)).unwrap_or(b','))
        .flexible(true)
        .trim(csv::Trim::Headers)
        .from_reader(text.as_bytes());
    let names = reader.headers()?.clone();
    let header: csv::StringRecord = names.iter().map(str::to_lowercase).collect();
    reader.set_headers(header.clone());
    Ok((reader, header, names))
}

fn table<R: Serialize + Default>(rows: &[R]) -> Result<String, TableError> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        writer.serialize(row)?;
    }
    if rows.is_empty() {
        // The header stands above no rows as well; it is written with the first.
        writer.serialize(R::default())?;
    }
    let text = finished(writer)?;
    let header = text.lines().next().unwrap_or_default();
    Ok(if rows.is_empty() { format!("{header}\n") } else { text })
}

fn finished(writer: csv::Writer<Vec<u8>>) -> Result<String, TableError> {
    let bytes = writer.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
    Ok(String::from_utf8_lossy(&bytes).into_owned())
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::cells::FORMULA_STARTS;
    use super::*;

    fn row(file: &str, filters: Option<&[&str]>) -> UsedRow {
        let filters = filters.map(|f| f.iter().map(|n| (*n).to_owned()).collect());
        UsedRow { file: file.into(), filters, ..UsedRow::default() }
    }

    #[test]
    fn a_table_without_rows_is_read_again() {
        assert_eq!(read_used(&write_used(&[]).unwrap()).unwrap(), []);
    }

    #[test]
    fn rows_come_back_as_they_were() {
        let mut rows = vec![
            row("a, \"b\".dng", Some(&["Grey Heron 6", "Grey Heron 10"])),
            row("=2+5.dng", Some(&[])),
            row("-c.dng", None),
        ];
        rows.push(row("d.dng", Some(&["Ten + a \"bit\", more", "\"Six\"", "Three"])));
        rows[0].note = "line\nbreak; and, comma".into();
        rows[1].mark = "+3".into();
        assert_eq!(read_used(&write_used(&rows).unwrap()).unwrap(), rows);
    }

    /// RFC 4180: what was written into columns of one's own, in whatever place, with quotes and breaks.
    #[test]
    fn columns_of_ones_own_come_back_as_they_were() {
        let text = "Stars;file;filter;Remark, \"mine\"\r\n***;a.dng;Ten;\"two\nlines; \"\"and\"\"\"\r\n;b.dng;;\r\n";
        let mut rows = read_used(text).unwrap();
        let remark = "Remark, \"mine\"";
        let own = |stars: &str, said: &str| {
            vec![("Stars".to_owned(), stars.to_owned()), (remark.to_owned(), said.to_owned())]
        };
        assert_eq!(rows[0].own, own("***", "two\nlines; \"and\""));
        assert_eq!(read_used(&write_used(&rows).unwrap()).unwrap(), rows);
        rows[0].own.push((";".repeat(20), "4".to_owned()));
        assert_eq!(read_used(&write_used(&rows).unwrap()).unwrap()[0], rows[0]);
        rows[0].own.pop();
        // A row that is new has none of them yet.
        rows.insert(0, row("c.dng", None));
        let again = read_used(&write_used(&rows).unwrap()).unwrap();
        assert_eq!(again[0].own, own("", ""));
        assert_eq!(again[1..], rows[1..]);
    }

    #[test]
    fn no_cell_begins_a_formula() {
        let names = ["=cmd", "+cmd", "-cmd", "@cmd", "\tcmd", "\rcmd"];
        let mut rows: Vec<UsedRow> = names.iter().map(|n| row(n, Some(&[n]))).collect();
        for (at, (row, name)) in rows.iter_mut().zip(names).enumerate() {
            row.file.push_str(&at.to_string());
            row.own = vec![("=own".to_owned(), name.to_owned())];
        }
        let text = write_used(&rows).unwrap();
        let own = read_used(&text).unwrap().into_iter().map(|row| row.own);
        assert!(own.eq(rows.iter().map(|row| row.own.clone())), "{text}");
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(text.as_bytes());
        for record in reader.records() {
            for cell in &record.unwrap() {
                assert!(!cell.starts_with(FORMULA_STARTS), "{cell:?}");
            }
        }
    }

    #[test]
    fn negative_numbers_stay_numbers() {
        let row = CorrectionRow {
            green_magenta_duv_before: "-0.0031".into(),
            green_magenta_duv_after: "+0.0012".into(),
            ..Default::default()
        };
        let text = write_corrections(&[row]).unwrap();
        assert!(text.contains(",-0.0031,+0.0012,"), "{text}");
    }

    #[test]
    fn a_second_batch_adds_to_the_first_and_replaces_what_it_repeats() {
        let row = |file: &str, filter: &str| CorrectionRow {
            file: file.into(),
            filter: filter.into(),
            ..Default::default()
        };
        let first = write_corrections(&[row("a.dng", "Six"), row("b.dng", "Six")]).unwrap();
        let second = add_corrections(&first, &[row("b.dng", "Ten"), row("c.dng", "Ten")]).unwrap();
        let whole =
            write_corrections(&[row("a.dng", "Six"), row("b.dng", "Ten"), row("c.dng", "Ten")]);
        assert_eq!(second, whole.unwrap());
        assert!(matches!(add_corrections("x,y\n", &[]), Err(TableError::NotCorrections)));
    }

    #[test]
    fn a_spreadsheet_may_have_touched_it() {
        let text =
            "\u{feff}Filter;FILE;mark\r\nGrey Heron 6 + Ring;x.dng;3\r\n;;\r\nNone;y.dng;\r\n";
        let rows = read_used(text).unwrap();
        assert_eq!(rows[0].filters.as_deref().unwrap(), ["Grey Heron 6", "Ring"]);
        assert_eq!((rows[0].mark.as_str(), rows.len()), ("3", 2));
        assert_eq!(rows[1].filters.as_deref().unwrap().len(), 0);
    }

    #[test]
    fn faults_are_named() {
        assert!(matches!(
            read_used("name,filter\na,b\n"),
            Err(TableError::NoColumn { column: "file" })
        ));
        assert!(matches!(read_used("file,filter\n,b\n"), Err(TableError::NoFile { row: 2 })));
        let twice = read_used("file,filter\na.dng,one\na.dng,two\n");
        assert!(matches!(twice, Err(TableError::Twice { file }) if file == "a.dng"));
        assert!(matches!(read_used("\u{feff}\n"), Err(TableError::Empty)));
        assert!(matches!(text_of(b"PK\x03\x04\0".to_vec()), Err(TableError::NoText)));
    }

    /// RFC 4180: a quoted cell ends with a quote before a comma or the end of its line.
    #[test]
    fn a_quote_that_swallows_rows_is_told_by_its_line() {
        let line = |text: &str| match read_used(text) {
            Err(TableError::OpenQuote { line }) => line,
            other => panic!("{text}: {other:?}"),
        };
        assert_eq!(line("file,filter\na.dng,none\nb.dng,\"Ten\nc.dng,none\n"), 3);
        assert_eq!(line("file,filter\na.dng,\"Ten\nb.dng,\"Six\"\nc.dng,none\n"), 2);
        assert_eq!(line("file;filter\r\n\"a.dng;Ten\r\nb.dng;\"Six\"\r\n"), 2);
        let sound =
            "file,filter,note\n\"a \"\"b\"\".dng\",none,\"two\nlines, and\"\nc.dng,6\" Ten,\n";
        let rows = read_used(sound).unwrap();
        assert_eq!(
            rows.iter().map(|r| r.file.as_str()).collect::<Vec<_>>(),
            ["a \"b\".dng", "c.dng"]
        );
        assert_eq!(rows[1].filters.as_deref().unwrap(), ["6\" Ten"]);
    }

    /// What a spreadsheet saves as "Unicode text".
    #[test]
    fn wide_text_is_read_by_its_mark() {
        let text = "file\tfilter\nL\u{e4}nge.dng\tnone\n";
        let wide = |mark: [u8; 2], of: fn(u16) -> [u8; 2]| -> Vec<u8> {
            mark.into_iter().chain(text.encode_utf16().flat_map(of)).collect()
        };
        let both = [wide([0xFF, 0xFE], u16::to_le_bytes), wide([0xFE, 0xFF], u16::to_be_bytes)];
        for bytes in both {
            let rows = read_used(&text_of(bytes).unwrap()).unwrap();
            assert_eq!(
                (rows[0].file.as_str(), rows[0].filters.clone()),
                ("L\u{e4}nge.dng", Some(vec![]))
            );
        }
        let unmarked: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert!(matches!(text_of(unmarked), Err(TableError::NoText)));
    }

    /// As the lines of `which` put it.
    #[test]
    fn a_question_mark_is_a_blank() {
        let rows = read_used("file,filter\na.dng,?\nb.dng,NONE\n").unwrap();
        assert_eq!((rows[0].filters.clone(), rows[1].filters.clone()), (None, Some(vec![])));
        let named = vec![row("a.dng", Some(&["?"]))];
        assert_eq!(read_used(&write_used(&named).unwrap()).unwrap(), named);
    }
}
