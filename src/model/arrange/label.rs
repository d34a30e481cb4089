//! Free labels for what is copied.

use std::collections::BTreeSet;

use crate::model::text::Name;

/// The label like this one with the next number that is not taken; `None` where none is short
/// enough. What is given out counts as taken.
pub fn next_label(like: &Name, taken: &mut BTreeSet<String>) -> Option<Name> {
    let text = like.as_str();
    let stem = text.trim_end_matches(|c: char| c.is_ascii_digit());
    let (stem, mut number) = match text[stem.len()..].parse::<u64>() {
        Ok(number) => (stem.to_owned(), number),
        Err(_) => (format!("{text} "), 1),
    };
    loop {
        number = number.checked_add(1)?;
        let label = Name::parse(&format!("{stem}{number}")).ok()?;
        if taken.insert(label.to_string()) {
            return Some(label);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn next(like: &str, taken: &[&str]) -> Option<String> {
        let mut taken = taken.iter().map(|label| (*label).to_owned()).collect();
        next_label(&Name::parse(like).unwrap(), &mut taken).map(|label| label.to_string())
    }

    #[test]
    fn copies_take_the_next_free_numbers() {
        assert_eq!(next("Bar 1", &["Bar 1", "Bar 2"]).as_deref(), Some("Bar 3"));
        assert_eq!(next("L9", &["L9"]).as_deref(), Some("L10"));
        assert_eq!(next("Left", &["Left"]).as_deref(), Some("Left 2"));
        assert_eq!(next("7", &["7", "8", "9"]).as_deref(), Some("10"));
        assert_eq!(next(&"x".repeat(120), &[]), None);
        // A number beyond what is counted is part of the word.
        let long = "9".repeat(30);
        assert_eq!(next(&long, &[]), Some(format!("{long} 2")));
        assert_eq!(next(&u64::MAX.to_string(), &[]), None);
    }
}
