//! Short texts that people type: trimmed, limited, without control characters.

use serde::{Deserialize, Serialize};

/// The longest name of a part, place, design or bar, in characters.
pub const NAME_LIMIT: usize = 120;
/// The longest note, in characters.
pub const NOTE_LIMIT: usize = 4000;

/// Why a text was refused. Its Display is the sentence for people.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TextError {
    /// Nothing, or only spaces.
    #[error("Type a name: at least one letter or digit.")]
    Empty,
    /// Longer than the limit.
    #[error("This is {found} characters long; the limit is {limit}. Shorten it.")]
    TooLong {
        /// Characters allowed.
        limit: usize,
        /// Characters found.
        found: usize,
    },
    /// A control character, which no sheet can print.
    #[error("This holds a character that cannot be printed. Remove it and try again.")]
    Control,
}

fn clean(text: &str, limit: usize, lines: bool) -> Result<String, TextError> {
    let text = text.replace("\r\n", "\n");
    let text = text.trim();
    let found = text.chars().count();
    if found > limit {
        return Err(TextError::TooLong { limit, found });
    }
    if text
        .chars()
        .any(|c| c.is_control() && !(lines && (c == '\n' || c == '\t')))
    {
        return Err(TextError::Control);
    }
    Ok(text.to_owned())
}

/// A name: one line, not empty, at most [`NAME_LIMIT`] characters.
#[derive(
    Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(try_from = "String", into = "String")]
#[schema(
    value_type = String, min_length = 1, max_length = 120,
    pattern = r"^[^\u0000-\u001f\u007f-\u009f]*[^\s\u0000-\u001f\u007f-\u009f][^\u0000-\u001f\u007f-\u009f]*$"
)]
pub struct Name(String);

impl Name {
    /// Trims and checks a name.
    pub fn parse(text: &str) -> Result<Self, TextError> {
        let text = clean(text, NAME_LIMIT, false)?;
        if text.is_empty() {
            Err(TextError::Empty)
        } else {
            Ok(Self(text))
        }
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Name {
    type Error = TextError;
    fn try_from(text: String) -> Result<Self, TextError> {
        Self::parse(&text)
    }
}

impl From<Name> for String {
    fn from(name: Name) -> Self {
        name.0
    }
}

impl std::fmt::Display for Name {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// A note: may be empty, may have lines, at most [`NOTE_LIMIT`] characters.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(try_from = "String", into = "String")]
#[schema(
    value_type = String, max_length = 4000,
    pattern = r"^[^\u0000-\u0008\u000b-\u001f\u007f-\u009f]*$"
)]
pub struct Note(String);

impl Note {
    /// Trims and checks a note.
    pub fn parse(text: &str) -> Result<Self, TextError> {
        clean(text, NOTE_LIMIT, true).map(Self)
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Note {
    type Error = TextError;
    fn try_from(text: String) -> Result<Self, TextError> {
        Self::parse(&text)
    }
}

impl From<Note> for String {
    fn from(note: Note) -> Self {
        note.0
    }
}

/// A tag on a thing: letters, digits and dashes, at most 24, compared without regard to case.
#[derive(
    Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(try_from = "String", into = "String")]
#[schema(value_type = String, min_length = 1, max_length = 24, pattern = "^[A-Z0-9-]+$")]
pub struct Tag(String);

/// Why a tag was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("A tag is 1 to 24 letters, digits and dashes, such as F-12.")]
pub struct TagError;

impl Tag {
    /// Trims, raises to capitals and checks a tag.
    pub fn parse(text: &str) -> Result<Self, TagError> {
        let text = text.trim().to_ascii_uppercase();
        let fits = (1..=24).contains(&text.len())
            && text
                .chars()
                .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '-');
        if fits { Ok(Self(text)) } else { Err(TagError) }
    }

    /// The tag of a thing as people type it to find it: what they part by a space has a dash.
    pub fn sought(text: &str) -> Result<Self, TagError> {
        let words: Vec<&str> = text.split_whitespace().collect();
        Self::parse(&words.join("-"))
    }

    /// Letters and then digits with a dash between them, as tags are given; `None` for any other.
    pub fn dashed(&self) -> Option<Self> {
        let at = self.0.find(|c: char| c.is_ascii_digit())?;
        let (letters, digits) = self.0.split_at(at);
        let plain = letters.chars().all(|c| c.is_ascii_uppercase());
        let number = digits.chars().all(|c| c.is_ascii_digit());
        (!letters.is_empty() && plain && number)
            .then(|| Self::parse(&format!("{letters}-{digits}")).ok())
            .flatten()
    }

    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// What tags are ordered by where people read them, F-9 before F-10: by length, then by text.
    pub fn counted(&self) -> (usize, &str) {
        (self.0.len(), &self.0)
    }
}

impl TryFrom<String> for Tag {
    type Error = TagError;
    fn try_from(text: String) -> Result<Self, TagError> {
        Self::parse(&text)
    }
}

impl From<Tag> for String {
    fn from(tag: Tag) -> Self {
        tag.0
    }
}

impl std::fmt::Display for Tag {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// Gives an enum of plain words its text form, in one place for forms, JSON, CSV and database.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal, $label:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash,
            serde::Serialize, serde::Deserialize)]
        pub enum $name { $($(#[$vdoc])* #[serde(rename = $word)] $variant,)+ }

        impl $name {
            /// All, in the order in which they are offered.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)+];

            /// The word in the database, in JSON and in CSV.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)+ }
            }

            /// The word for people.
            pub const fn label(self) -> &'static str {
                match self { $(Self::$variant => $label,)+ }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.label())
            }
        }

        // By hand, since the derive does not see words that a macro hands on.
        impl utoipa::PartialSchema for $name {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
                utoipa::openapi::ObjectBuilder::new()
                    .schema_type(utoipa::openapi::Type::String)
                    .enum_values(Some([$($word),+]))
                    .into()
            }
        }

        impl utoipa::ToSchema for $name {}

        impl std::str::FromStr for $name {
            type Err = $crate::model::text::UnknownWord;
            fn from_str(text: &str) -> Result<Self, Self::Err> {
                let text = text.trim();
                $(if text.eq_ignore_ascii_case($word) || text.eq_ignore_ascii_case($label) {
                    return Ok(Self::$variant);
                })+
                Err($crate::model::text::UnknownWord {
                    found: text.chars().take(40).collect(),
                    known: &[$($word,)+],
                })
            }
        }
    };
}
pub(crate) use words;

/// A word that is not one of a list.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("“{found}” is not one of: {}.", known.join(", "))]
pub struct UnknownWord {
    /// What stood there.
    pub found: String,
    /// What may stand there.
    pub known: &'static [&'static str],
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_trimmed_and_limited() {
        assert_eq!(Name::parse("  bar 7 ").unwrap().as_str(), "bar 7");
        assert_eq!(Name::parse("   "), Err(TextError::Empty));
        assert_eq!(
            Name::parse(&"x".repeat(121)),
            Err(TextError::TooLong {
                limit: 120,
                found: 121
            })
        );
        assert_eq!(Name::parse("a\u{7}b"), Err(TextError::Control));
        assert_eq!(Name::parse("a\nb"), Err(TextError::Control));
    }

    #[test]
    fn tags_are_capitals() {
        assert_eq!(Tag::parse(" f-12 ").unwrap().as_str(), "F-12");
        assert!(Tag::parse("F 12").is_err());
        assert_eq!(Tag::sought(" f  12").unwrap().as_str(), "F-12");
        assert!(Tag::sought(" ").is_err());
        assert!(Tag::parse("").is_err());
    }

    #[test]
    fn a_tag_typed_without_its_dash_is_told() {
        let dashed = |text| {
            Tag::parse(text)
                .unwrap()
                .dashed()
                .map(|tag| tag.to_string())
        };
        assert_eq!(dashed("f2").as_deref(), Some("F-2"));
        assert_eq!(dashed("WB120").as_deref(), Some("WB-120"));
        for other in ["F-2", "12", "F", "F2A", "2F"] {
            assert_eq!(dashed(other), None, "{other}");
        }
    }
}
