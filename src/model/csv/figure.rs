//! Figures whose unit stands in the column's title: bare in the cell, so that a spreadsheet can
//! sort and add them up. A cell may still carry a unit of its own.

/// Whether a text is a figure without a unit.
fn bare(text: &str) -> bool {
    const MARKS: &str = " .,-−/⁄½⅓⅔¼¾⅛⅜⅝⅞";
    text.contains(|c: char| c.is_ascii_digit() || "½⅓⅔¼¾⅛⅜⅝⅞".contains(c))
        && text
            .chars()
            .all(|c| c.is_ascii_digit() || MARKS.contains(c))
}

/// The figures of a shown text without their unit, where they are in it: `5000 mm, 10000 mm` is
/// `5000, 10000` under a title in mm.
pub fn without_unit(shown: &str, unit: &str) -> String {
    let items: Vec<&str> = shown
        .split(", ")
        .map(|item| {
            item.strip_suffix(unit)
                .map(str::trim_end)
                .filter(|figure| bare(figure))
                .unwrap_or(item)
        })
        .collect();
    items.join(", ")
}

/// A single figure with the title's unit, unless it has its own.
pub fn with_unit(cell: &str, unit: &str) -> String {
    let cell = cell.trim();
    if bare(cell) {
        format!("{cell} {unit}")
    } else {
        cell.to_owned()
    }
}
