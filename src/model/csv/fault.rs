//! What is wrong with a file, by line and column.

use std::fmt;

/// The most faults that are told one by one; the rest are counted.
pub const FAULT_LIMIT: usize = 50;

/// Where in a file.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct At {
    /// The line of the text, from 1; 0 for the file as a whole.
    pub line: usize,
    /// The row of the table as a spreadsheet counts it, from 1: another number than the line where
    /// cells above hold line breaks; 0 for the file as a whole.
    pub row: usize,
    /// The column's title.
    pub column: Option<String>,
}

impl At {
    /// The file as a whole.
    pub fn file() -> Self {
        Self::default()
    }

    /// The same row, in a column.
    pub fn column(&self, title: impl Into<String>) -> Self {
        Self {
            column: Some(title.into()),
            ..self.clone()
        }
    }
}

impl fmt::Display for At {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 {
            return f.write_str("the file");
        }
        write!(f, "line {}", self.line)?;
        if self.row != self.line {
            write!(f, " (row {} of the table)", self.row)?;
        }
        match &self.column {
            Some(column) => write!(f, ", column “{column}”"),
            None => Ok(()),
        }
    }
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Where.
    pub at: At,
    /// What, and what to write instead.
    pub message: String,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut at = self.at.to_string();
        if let Some(first) = at.get(..1).map(str::to_uppercase) {
            at.replace_range(..1, &first);
        }
        write!(f, "{at}: {}", self.message)
    }
}

/// The most faults that are kept to be told; beyond that they are only counted.
const KEPT: usize = 1_000;

/// Everything that is wrong, as far as it is told.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Faults {
    kept: Vec<Fault>,
    count: usize,
}

impl Faults {
    /// A single one.
    pub fn one(at: At, message: impl Into<String>) -> Self {
        let mut faults = Self::default();
        faults.add(at, message);
        faults
    }

    /// Notes one more.
    pub fn add(&mut self, at: At, message: impl Into<String>) {
        self.count += 1;
        if self.kept.len() < KEPT {
            self.kept.push(Fault {
                at,
                message: message.into(),
            });
        }
    }

    /// Whether nothing is wrong.
    pub const fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// How many there are, the untold ones too.
    pub const fn count(&self) -> usize {
        self.count
    }

    /// Those that are told one by one, at most [`FAULT_LIMIT`].
    pub fn shown(&self) -> &[Fault] {
        &self.kept[..self.kept.len().min(FAULT_LIMIT)]
    }

    /// How many more there are.
    pub fn more(&self) -> usize {
        self.count - self.shown().len()
    }

    /// The value, unless something is wrong; what is wrong stands in order of the lines.
    pub fn or<T>(mut self, value: T) -> Result<T, Self> {
        if self.is_empty() {
            Ok(value)
        } else {
            self.kept.sort_by_key(|fault| fault.at.line);
            Err(self)
        }
    }
}
