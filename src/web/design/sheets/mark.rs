//! Marks of sheets, by which an old print is told from the plan of now.

use sha2::{Digest as _, Sha256};

/// Letters of marks: none that is taken for another, or for a figure.
const LETTERS: &[u8; 20] = b"ACDEFHJKLMNPRTUVWXY3";
/// How long a mark is.
pub(super) const MARK: usize = 6;

/// Round what is printed and yet is no part of the mark: where a thing lies just now, which one sees
/// when one goes there, and pictures of what the words beside them say.
const LOOSE: [&str; 2] = ["<!--loose-->", "<!--/loose-->"];

/// What of a sheet counts for its mark.
pub(super) fn fixed(body: &str) -> String {
    let parts = body.split(LOOSE[0]).enumerate();
    parts
        .map(|(at, part)| match part.split_once(LOOSE[1]) {
            Some((_, after)) if at > 0 => after,
            _ => part,
        })
        .collect()
}

/// The mark of what a sheet says: one in 64 million that two that differ have the same.
pub(super) fn mark(counts: &str) -> String {
    let digest = Sha256::digest(counts.as_bytes());
    digest
        .chunks(2)
        .take(MARK)
        .map(|pair| {
            let figure = usize::from(pair[0]) << 8 | usize::from(*pair.get(1).unwrap_or(&0));
            char::from(LETTERS[figure % LETTERS.len()])
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_is_short_plain_and_of_what_is_said() {
        let one = mark("bar 1: 1200 mm");
        assert_eq!(one.len(), MARK);
        assert!(one.bytes().all(|byte| LETTERS.contains(&byte)), "{one}");
        assert_eq!(one, mark("bar 1: 1200 mm"));
        assert_ne!(one, mark("bar 1: 1201 mm"));
    }

    #[test]
    fn where_a_thing_lies_is_no_part_of_its_mark() {
        let at = |place: &str, length: &str| {
            fixed(&format!(
                "R-1 <!--loose-->{place}<!--/loose--> {length} <!--loose--><!--/loose-->cut"
            ))
        };
        assert_eq!(at("Shelf A", "2 m"), at("", "2 m"));
        assert_ne!(at("Shelf A", "2 m"), at("Shelf A", "3 m"));
        assert!(at("Shelf A", "2 m").ends_with("cut"));
    }
}
