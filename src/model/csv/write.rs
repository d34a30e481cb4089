//! A table written as CSV.

use csv::{Terminator, WriterBuilder};

use super::formula::harmless;

/// The byte order mark, by which spreadsheets know UTF-8.
pub(super) const MARK: &str = "\u{feff}";

/// Writes titles and rows: commas, CRLF, quotes where they are needed, formulas made harmless. With
/// `mark` a byte order mark stands first.
pub fn write<'a>(
    titles: &'a [String],
    rows: impl IntoIterator<Item = &'a Vec<String>>,
    mark: bool,
) -> String {
    let mut writer = WriterBuilder::new()
        .terminator(Terminator::CRLF)
        .flexible(true)
        .from_writer(if mark { MARK.into() } else { Vec::new() });
    for row in std::iter::once(titles).chain(rows.into_iter().map(Vec::as_slice)) {
        // Nothing can fail: the text grows in memory, and a row may have any width.
        let _ = writer.write_record(row.iter().map(|cell| harmless(cell)));
    }
    String::from_utf8(writer.into_inner().unwrap_or_default()).unwrap_or_default()
}
