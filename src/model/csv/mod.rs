//! Tables as CSV text (RFC 4180): read with line and column, written so that a spreadsheet runs
//! nothing of it.
//!
//! Going out: commas, CRLF, UTF-8, and an apostrophe before what a spreadsheet would take for a
//! formula. Coming in: the same, and what spreadsheets make of it: semicolons or tabs, a byte
//! order mark, empty rows at the end. What is wrong is named by its place, all of it at once.

mod fault;
mod figure;
mod formula;
mod read;
mod scan;
mod write;

pub use fault::{At, FAULT_LIMIT, Fault, Faults};
pub use figure::{with_unit, without_unit};
pub use formula::{harmless, plain};
pub use read::{Column, ROW_LIMIT, Row, SIZE_LIMIT, Table};
pub use write::write;

#[cfg(test)]
mod tests;
