//! A table of ready strings, the same on every page.

use super::small_picture::FramePicture;

/// How a column stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Column {
    /// Words, from the left.
    Words,
    /// Figures, from the right.
    Figures,
}

/// One row: its header and its cells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// The row's header.
    pub header: String,
    /// The other columns.
    pub cells: Vec<String>,
    /// Shown with a rule in the margin, where the words say why.
    pub marked: bool,
    /// Shown before its header.
    pub picture: Option<FramePicture>,
}

/// A row ready for the page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placed<'a> {
    /// With a rule in the margin.
    pub marked: bool,
    /// Class of the header.
    pub class: &'static str,
    /// The row's header.
    pub header: &'a str,
    /// Shown before it.
    pub picture: Option<&'a FramePicture>,
    /// Class and words of the other cells.
    pub cells: Vec<(&'static str, String)>,
}

/// On a phone a doubt may stand below its value.
fn placed(class: &'static str, cell: &str) -> (&'static str, String) {
    let breakable = cell.replace("\u{a0}\u{b1}", " \u{b1}");
    if class == "figures" && breakable != cell {
        ("figures doubted", breakable)
    } else {
        (class, cell.to_owned())
    }
}

/// A table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// Says what the table holds.
    pub caption: String,
    /// Column heads, the row headers' first.
    pub head: Vec<String>,
    /// How each column stands.
    pub columns: Vec<Column>,
    /// Rows.
    pub lines: Vec<Line>,
}

impl Table {
    /// An empty table.
    pub fn new<const N: usize>(caption: impl Into<String>, head: [(&str, Column); N]) -> Self {
        Self {
            caption: caption.into(),
            head: head.iter().map(|(words, _)| (*words).to_owned()).collect(),
            columns: head.iter().map(|(_, column)| *column).collect(),
            lines: Vec::new(),
        }
    }
    /// Adds a row.
    pub fn push(&mut self, header: impl Into<String>, cells: Vec<String>) {
        self.lines.push(Line { header: header.into(), cells, marked: false, picture: None });
    }
    /// Adds a row with a rule in the margin.
    pub fn push_marked(&mut self, header: impl Into<String>, cells: Vec<String>, marked: bool) {
        self.lines.push(Line { header: header.into(), cells, marked, picture: None });
    }
    /// Adds a row of a frame.
    pub fn push_frame(&mut self, file: &str, cells: Vec<String>, picture: Option<FramePicture>) {
        self.lines.push(Line { header: file.to_owned(), cells, marked: false, picture });
    }
    fn class(&self, column: usize) -> &'static str {
        match self.columns.get(column) {
            Some(Column::Figures) => "figures",
            _ => "words",
        }
    }
    /// Class and words of each column's head.
    #[must_use]
    pub fn heads(&self) -> Vec<(&'static str, &str)> {
        self.head.iter().enumerate().map(|(i, words)| (self.class(i), words.as_str())).collect()
    }
    /// Rows with the class of every cell, the header's first.
    #[must_use]
    pub fn body(&self) -> Vec<Placed<'_>> {
        let place = |line: &'_ Line| {
            line.cells.iter().enumerate().map(|(i, c)| placed(self.class(i + 1), c)).collect()
        };
        self.lines
            .iter()
            .map(|line| Placed {
                marked: line.marked,
                class: self.class(0),
                header: &line.header,
                picture: line.picture.as_ref(),
                cells: place(line),
            })
            .collect()
    }
    /// Whether a phone may have to scroll it sideways.
    #[must_use]
    pub fn is_broad(&self) -> bool {
        self.head.len() > 2
    }
    /// Whether a phone must show it smaller.
    #[must_use]
    pub fn has_many_columns(&self) -> bool {
        self.head.len() > 3
    }
    /// Whether two columns are all it has, so that it need not span the page.
    #[must_use]
    pub fn is_slim(&self) -> bool {
        self.head.len() == 2 && !self.has_hashes()
    }
    /// Whether it fits on a printed page, so that it need not be broken.
    #[must_use]
    pub fn is_short(&self) -> bool {
        self.lines.len() <= 14
    }
    /// Whether it lists hashes, which read best in one width.
    #[must_use]
    pub fn has_hashes(&self) -> bool {
        self.head.last().is_some_and(|head| head.starts_with("SHA"))
    }
}
