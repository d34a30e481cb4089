//! A CSV text read into a table.

use csv::{ReaderBuilder, StringRecord};

use super::{
    fault::{At, Faults},
    formula::plain,
    scan::{self, Start},
};

/// The largest file that is read, in bytes.
pub const SIZE_LIMIT: usize = 2 * 1024 * 1024;
/// The most rows below the titles that are read at once.
pub const ROW_LIMIT: usize = 10_000;

/// A column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its title as it stands in the file.
    pub title: String,
    /// The title in lower case without its unit: what columns are matched by.
    pub name: String,
    /// The unit at the title's end: `mm` of `length (mm)`.
    pub unit: Option<String>,
}

impl Column {
    fn new(title: &str) -> Self {
        let words: Vec<&str> = title.split_whitespace().collect();
        let title = words.join(" ");
        let parted = title
            .strip_suffix(')')
            .and_then(|rest| rest.rsplit_once('('));
        let (name, unit) = match parted {
            Some((name, unit)) if !name.trim().is_empty() => (name.trim(), Some(unit.trim())),
            _ => (&*title, None),
        };
        Self {
            name: name.to_lowercase(),
            unit: unit.map(ToOwned::to_owned),
            title,
        }
    }
}

/// A row below the titles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Where it begins.
    pub at: At,
    /// As many cells as there are columns, formulas read back as what they were.
    pub cells: Vec<String>,
}

/// A table with titles.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Where the titles stand.
    pub at: At,
    /// The columns.
    pub columns: Vec<Column>,
    /// The rows that have anything in them.
    pub rows: Vec<Row>,
}

impl Table {
    /// Reads a file. What is wrong with its text is said all at once, by line: a byte that is no
    /// UTF-8, a quote that does not close, a row that is not as wide as the titles.
    pub fn read(bytes: &[u8]) -> Result<Self, Faults> {
        if bytes.len() > SIZE_LIMIT {
            return Err(Faults::one(
                At::file(),
                format!(
                    "This is larger than {} MiB, the most that is read at once. Cut it into \
                     several files, each with the titles.",
                    SIZE_LIMIT / (1024 * 1024)
                ),
            ));
        }
        let text = text(bytes)?;
        let separator = scan::separator(text);
        let starts = scan::rows(text, separator)?;
        let records = records(text, separator)?;
        let mut rows = starts
            .iter()
            .zip(records)
            .filter(|(_, record)| record.iter().any(|cell| !plain(cell).trim().is_empty()));
        let Some((first, titles)) = rows.next() else {
            return Err(Faults::one(
                At::file(),
                "There is nothing in it. The first row holds the titles of the columns.",
            ));
        };
        let mut table = Self {
            at: at(*first),
            columns: titles
                .iter()
                .map(|title| Column::new(plain(title)))
                .collect(),
            rows: Vec::new(),
        };
        table.check_titles()?;
        let mut faults = Faults::default();
        for (count, (start, record)) in rows.enumerate() {
            let at = at(*start);
            if count == ROW_LIMIT {
                faults.add(
                    at,
                    format!(
                        "At most {ROW_LIMIT} rows are read at once. Put the rest into a second \
                         file, with the titles."
                    ),
                );
                break;
            }
            if record.len() != table.columns.len() {
                faults.add(
                    at,
                    format!(
                        "Cells in this row: {}; titles: {}. A cell with a comma in it stands in \
                         quotes.",
                        record.len(),
                        table.columns.len()
                    ),
                );
                continue;
            }
            table.rows.push(Row {
                at,
                cells: record.iter().map(|cell| plain(cell).to_owned()).collect(),
            });
        }
        for (column, _) in table.untitled() {
            for row in &table.rows {
                if !row.cells[column].trim().is_empty() {
                    faults.add(
                        row.at.clone(),
                        format!("Cell {} stands under no title.", column + 1),
                    );
                }
            }
        }
        faults.or(table)
    }

    /// The column of a name in lower case.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column.name == name)
    }

    /// Where a cell stands.
    pub fn at(&self, row: &Row, column: usize) -> At {
        row.at.column(&self.columns[column].title)
    }

    fn untitled(&self) -> impl Iterator<Item = (usize, &Column)> {
        self.columns
            .iter()
            .enumerate()
            .filter(|(_, column)| column.title.is_empty())
    }

    fn check_titles(&self) -> Result<(), Faults> {
        let mut faults = Faults::default();
        for (number, column) in self.columns.iter().enumerate() {
            if !column.title.is_empty()
                && self.columns[..number].iter().any(|c| c.name == column.name)
            {
                faults.add(
                    self.at.column(&column.title),
                    "This title stands twice. Take one of the two columns away.",
                );
            }
        }
        faults.or(())
    }
}

const fn at(start: Start) -> At {
    At {
        line: start.line,
        row: start.row,
        column: None,
    }
}

/// The text of a file, without its byte order mark.
fn text(bytes: &[u8]) -> Result<&str, Faults> {
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(Faults::one(
            At::file(),
            "This is UTF-16, which is not read. Save it as CSV in UTF-8.",
        ));
    }
    let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    if let Ok(text) = std::str::from_utf8(bytes) {
        return Ok(text);
    }
    let mut faults = Faults::default();
    let (mut line, mut from) = (1, 0);
    while from < bytes.len() {
        let rest = &bytes[from..];
        let end = rest
            .iter()
            .position(|byte| matches!(byte, b'\r' | b'\n'))
            .unwrap_or(rest.len());
        if let Err(why) = std::str::from_utf8(&rest[..end]) {
            let byte = rest[why.valid_up_to()];
            faults.add(
                At {
                    line,
                    row: line,
                    column: None,
                },
                format!(
                    "Byte {} of this line ({byte:#04X}) is not UTF-8. Save the file as CSV in \
                     UTF-8.",
                    why.valid_up_to() + 1
                ),
            );
        }
        from += end
            + if rest[end..].starts_with(b"\r\n") {
                2
            } else {
                1
            };
        line += 1;
    }
    Err(faults)
}

fn records(text: &str, separator: u8) -> Result<Vec<StringRecord>, Faults> {
    ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .from_reader(text.as_bytes())
        .into_records()
        .collect::<Result<_, _>>()
        .map_err(|why| Faults::one(At::file(), why.to_string()))
}
