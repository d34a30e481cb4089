//! Limits that are broken or not known, as the sheets by which wires are touched say them: those
//! that are alike together.

use crate::{
    plan::outcome::{Check, CheckState},
    web::design::Whole,
};

/// Limits that differ only in what they are about and in their figures.
pub(super) struct Limit {
    pub(super) state: CheckState,
    /// What they are about, runs of numbered bars drawn together.
    pub(super) about: String,
    /// The first of them, as a sentence.
    pub(super) sentence: String,
    /// How many others say the same with figures of their own.
    pub(super) others: usize,
    pub(super) reason: String,
}

/// A sentence without its figures.
fn kind(sentence: &str) -> String {
    sentence.chars().filter(|c| !c.is_ascii_digit()).collect()
}

/// All that is not kept, the broken ones first.
pub(super) fn limits(whole: &Whole) -> Vec<Limit> {
    let reason = |check: &Check| whole.reasons.get(&check.key).cloned().unwrap_or_default();
    let mut groups: Vec<(String, Vec<&Check>)> = Vec::new();
    for check in &whole.plan().checks {
        if check.state > CheckState::Unknown {
            continue;
        }
        let rule = check.key.split(':').next().unwrap_or_default();
        let sentence = kind(&check.sentence.replace(&check.about, ""));
        let like = format!("{} {rule} {sentence} {}", check.state, reason(check));
        match groups.iter_mut().find(|(other, _)| *other == like) {
            Some((_, alike)) => alike.push(check),
            None => groups.push((like, vec![check])),
        }
    }
    groups
        .iter()
        .filter_map(|(_, alike)| {
            let first = alike.first()?;
            let differ = alike.iter().filter(|one| one.sentence != first.sentence);
            Some(Limit {
                state: first.state,
                about: together(alike.iter().map(|check| check.about.as_str())),
                sentence: first.sentence.clone(),
                others: differ.count(),
                reason: reason(first),
            })
        })
        .collect()
}

/// Labels in a row, numbers that follow each other as `9 to 24`.
pub(super) fn together<'a>(labels: impl Iterator<Item = &'a str>) -> String {
    let mut runs: Vec<(&str, &str)> = Vec::new();
    for label in labels {
        match runs.last_mut() {
            Some((_, last)) if follows(last, label) => *last = label,
            _ => runs.push((label, label)),
        }
    }
    let words: Vec<String> = runs
        .iter()
        .map(
            |(first, last)| match (first == last, follows(first, last)) {
                (true, _) => (*first).to_owned(),
                (_, true) => format!("{first}, {last}"),
                _ => format!("{first} to {last}"),
            },
        )
        .collect();
    words.join(", ")
}

/// Whether a label is the next of the same row, such as `R-10` after `R-9`.
fn follows(one: &str, next: &str) -> bool {
    let parts = |label: &str| -> Option<(String, u64)> {
        let row = label.trim_end_matches(|c: char| c.is_ascii_digit());
        Some((row.to_owned(), label[row.len()..].parse().ok()?))
    };
    match (parts(one), parts(next)) {
        (Some((row, at)), Some((next_row, next))) => {
            row == next_row && at.checked_add(1) == Some(next)
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::together;

    #[test]
    fn labels_that_follow_each_other_are_said_together() {
        let said = |labels: &[&str]| together(labels.iter().copied());
        assert_eq!(said(&["9", "10", "11", "14"]), "9 to 11, 14");
        assert_eq!(said(&["R-9", "R-10", "F-11"]), "R-9, R-10, F-11");
        assert_eq!(said(&["Arch", "Arch left"]), "Arch, Arch left");
    }
}
