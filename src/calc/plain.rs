//! What a reader says of a document, in people's words: a list, an object, text; not a sequence, a map, a
//! string.

use super::document::sentence;

/// The most of a value that is said again, in characters.
const MOST_FOUND: usize = 60;

/// A reader's message as a sentence for people. One that a value of ours gave is a sentence already.
pub fn plainly(why: &str) -> String {
    let said = between(why, "missing field `")
        .map(|_| "This is missing. Send it too.".to_owned())
        .or_else(|| {
            between(why, "duplicate field `")
                .map(|_| "This stands here twice. Send it once.".to_owned())
        })
        .or_else(|| {
            let name = between(why, "unknown field `")?;
            let known = known(why);
            Some(if known.is_empty() {
                format!("There is no “{}” here. Leave it out.", short(name))
            } else {
                format!("There is no “{}” here; there is: {known}.", short(name))
            })
        })
        .or_else(|| {
            let word = between(why, "unknown variant `")?;
            Some(format!("“{}” is not one of: {}.", short(word), known(why)))
        })
        .or_else(|| mistaken(why))
        .or_else(|| number(why))
        .or_else(|| day(why));
    said.unwrap_or_else(|| sentence(why))
}

/// What stands between a beginning and the next grave accent.
fn between<'a>(why: &'a str, start: &str) -> Option<&'a str> {
    why.strip_prefix(start)?.split('`').next()
}

/// The words that would have been taken, as the message lists them.
fn known(why: &str) -> String {
    let Some((_, list)) = why.split_once("`, expected ") else {
        return String::new();
    };
    let words: Vec<&str> = list.split('`').skip(1).step_by(2).collect();
    words.join(", ")
}

fn short(text: &str) -> String {
    if text.chars().count() > MOST_FOUND {
        text.chars().take(MOST_FOUND).chain(['…']).collect()
    } else {
        text.to_owned()
    }
}

/// Something of another kind than is wanted.
fn mistaken(why: &str) -> Option<String> {
    let rest = ["invalid type: ", "invalid value: ", "invalid length "]
        .iter()
        .find_map(|start| why.strip_prefix(start))?;
    // What was found may hold any text; what was wanted is a reader's own.
    let (found, wanted) = rest.rsplit_once(", expected ")?;
    let found = if why.starts_with("invalid length ") {
        format!("a list of {found}")
    } else {
        self::found(found)
    };
    let wanted = self::wanted(wanted);
    let wanted = wanted.strip_prefix("send ").unwrap_or(&wanted);
    Some(format!("Send {wanted}, not {found}."))
}

fn found(text: &str) -> String {
    match text {
        "map" | "newtype struct" | "struct variant" => "an object".to_owned(),
        "sequence" => "a list".to_owned(),
        "null" | "unit value" | "Option value" => "null".to_owned(),
        _ => {
            // Such as: integer `5`, string "soon".
            let value = text.split_once('`').and_then(|(_, rest)| {
                let (value, _) = rest.rsplit_once('`')?;
                Some(short(value))
            });
            let words = text.split_once('"').and_then(|(_, rest)| {
                let (value, _) = rest.rsplit_once('"')?;
                Some(format!("the text “{}”", short(value)))
            });
            if text.starts_with("string ") {
                words
            } else {
                value
            }
            .unwrap_or_else(|| "what stands here".to_owned())
        }
    }
}

fn wanted(text: &str) -> String {
    let whole = |least: i128, most: i128| format!("a whole number from {least} to {most}");
    let list = |text: &str| {
        let number: String = text.chars().filter(char::is_ascii_digit).collect();
        format!("a list of {number}")
    };
    match text {
        "a sequence" => "a list".to_owned(),
        "a map" => "an object".to_owned(),
        "a string" | "string" | "a borrowed string" | "string or map" => "text".to_owned(),
        "a boolean" => "true or false".to_owned(),
        "a date string" => "a date such as 2026-12-05".to_owned(),
        "f32" | "f64" => "a number".to_owned(),
        "unit" | "unit value" => "null".to_owned(),
        "u8" => whole(0, u8::MAX.into()),
        "u16" => whole(0, u16::MAX.into()),
        "u32" => whole(0, u32::MAX.into()),
        "u64" | "usize" => "a whole number of zero or more".to_owned(),
        "i8" => whole(i8::MIN.into(), i8::MAX.into()),
        "i16" => whole(i16::MIN.into(), i16::MAX.into()),
        "i32" => whole(i32::MIN.into(), i32::MAX.into()),
        "i64" => "a whole number".to_owned(),
        _ if text.starts_with("a nonzero ") => "a whole number of one or more".to_owned(),
        _ if text.starts_with("an array of length ") || text.starts_with("a tuple of size ") => {
            list(text)
        }
        _ if [
            "struct ",
            "internally tagged enum ",
            "adjacently tagged enum ",
        ]
        .iter()
        .any(|start| text.starts_with(start)) =>
        {
            "an object".to_owned()
        }
        _ if text.starts_with("enum ") || text.ends_with("variant identifier") => {
            "one of the words that may stand here".to_owned()
        }
        text => text.to_owned(),
    }
}

/// What is said of a number, or of a yes or no, in an address.
fn number(why: &str) -> Option<String> {
    let said = match why {
        "invalid digit found in string" | "cannot parse integer from empty string" => {
            "Send a whole number."
        }
        "number too large to fit in target type" | "number too small to fit in target type" => {
            "Send a whole number within what can be counted."
        }
        "provided string was not `true` or `false`" => "Send true or false.",
        _ if why.starts_with("data did not match any variant of untagged enum") => {
            "What stands here is none of what may stand here."
        }
        _ => return None,
    };
    Some(said.to_owned())
}

/// What the reader of dates says.
fn day(why: &str) -> Option<String> {
    let its_own = [
        "expected ",
        "failed to parse ",
        "parsed ",
        "parameter ",
        "invalid digit, ",
    ];
    if !its_own.iter().any(|start| why.starts_with(start)) {
        return None;
    }
    let said = if why.contains("not valid") {
        "There is no such day. Send one that is in the calendar, such as 2026-12-05."
    } else {
        "Send a date as year-month-day, such as 2026-12-05."
    };
    Some(said.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_reader_says_is_told_in_peoples_words() {
        for (said, told) in [
            ("missing field `name`", "This is missing. Send it too."),
            (
                "unknown field `colour`, expected one of `name`, `kind`",
                "There is no “colour” here; there is: name, kind.",
            ),
            (
                "unknown field `a`, there are no fields",
                "There is no “a” here. Leave it out.",
            ),
            (
                "unknown variant `brick`, expected `tape` or `lead`",
                "“brick” is not one of: tape, lead.",
            ),
            (
                "invalid type: map, expected a sequence",
                "Send a list, not an object.",
            ),
            (
                "invalid type: string \"a, expected b\", expected u8",
                "Send a whole number from 0 to 255, not the text “a, expected b”.",
            ),
            (
                "invalid value: integer `-1`, expected usize",
                "Send a whole number of zero or more, not -1.",
            ),
            (
                "invalid type: null, expected struct PlaceBody",
                "Send an object, not null.",
            ),
            (
                "invalid length 3, expected an array of length 2",
                "Send a list of 2, not a list of 3.",
            ),
            ("invalid digit found in string", "Send a whole number."),
            (
                "expected two digit month, but found end of input",
                "Send a date as year-month-day, such as 2026-12-05.",
            ),
            (
                "parsed date is not valid: parameter 'day' is out of range",
                "There is no such day. Send one that is in the calendar, such as 2026-12-05.",
            ),
            ("the number is too large", "The number is too large."),
        ] {
            assert_eq!(plainly(said), told);
        }
    }
}
