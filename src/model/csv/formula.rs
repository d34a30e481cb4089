//! Cells that a spreadsheet would run as a formula, made harmless and read back.

/// What a formula, or what hides one, begins with.
const STARTS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Whether a text, after any apostrophes of its own, begins like a formula.
fn runs(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(STARTS)
}

/// The text as it may stand in a spreadsheet: an apostrophe before it where it begins like a
/// formula. Where apostrophes stand there already it gets one more, so that [`plain`] takes away
/// exactly the one that was put.
pub fn harmless(text: &str) -> String {
    if runs(text) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// The text that [`harmless`] was given.
pub fn plain(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if runs(rest) => rest,
        _ => text,
    }
}
