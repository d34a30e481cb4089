//! Reading documents: what is wrong with one is said with a pointer to the field.

use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;

/// A document that can't be answered.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{}: {detail}", if pointer.is_empty() { "the document" } else { pointer })]
pub struct Refused {
    /// JSON pointer (RFC 6901) to the field; empty for the whole document.
    pub pointer: String,
    /// What is wrong, and what to send instead, as a sentence.
    pub detail: String,
}

impl Refused {
    /// The field at `pointer` is wrong.
    pub fn at(pointer: impl Into<String>, detail: impl Into<String>) -> Self {
        Self {
            pointer: pointer.into(),
            detail: detail.into(),
        }
    }
}

/// Refuses a number outside of a range.
pub fn within<T: PartialOrd + Copy + std::fmt::Display>(
    pointer: impl FnOnce() -> String,
    value: T,
    least: T,
    most: T,
) -> Result<(), Refused> {
    // What is no number is in no range.
    if !(least..=most).contains(&value) {
        let detail = format!("Send a number from {least} to {most}, not {value}.");
        return Err(Refused::at(pointer(), detail));
    }
    Ok(())
}

/// Reads a value that is JSON already.
pub fn read<T: DeserializeOwned>(value: Value) -> Result<T, Refused> {
    serde_path_to_error::deserialize(whole_numbers(value)).map_err(|why| {
        let mut pointer = String::new();
        for segment in why.path() {
            use serde_path_to_error::Segment;
            match segment {
                Segment::Seq { index } => {
                    pointer.push('/');
                    pointer.push_str(&index.to_string());
                }
                Segment::Map { key } => {
                    pointer.push('/');
                    pointer.push_str(&key.replace('~', "~0").replace('/', "~1"));
                }
                Segment::Enum { .. } | Segment::Unknown => {}
            }
        }
        let why = why.into_inner().to_string();
        // A field that is not there is pointed at where it should be.
        if let Some(name) = why
            .strip_prefix("missing field `")
            .and_then(|rest| rest.split('`').next())
        {
            pointer.push('/');
            pointer.push_str(name);
        }
        Refused::at(pointer, sentence(&why))
    })
}

/// Writes an answer as JSON.
pub fn write(answer: &impl Serialize) -> Result<Value, Refused> {
    serde_json::to_value(answer).map_err(|why| Refused::at("", sentence(&why.to_string())))
}

/// JSON knows one kind of number: `5.0` is a whole one too (JSON Schema, `integer`).
fn whole_numbers(value: Value) -> Value {
    /// Beyond this, whole numbers cannot be told apart as floating point.
    const EXACT: f64 = 9_007_199_254_740_992.0;
    match value {
        Value::Number(number) if !number.is_i64() && !number.is_u64() => match number.as_f64() {
            #[expect(
                clippy::cast_possible_truncation,
                reason = "whole, and within the exact range"
            )]
            Some(float) if float.fract() == 0.0 && float.abs() < EXACT => Value::from(float as i64),
            _ => Value::Number(number),
        },
        Value::Array(list) => list.into_iter().map(whole_numbers).collect(),
        Value::Object(map) => map
            .into_iter()
            .map(|(key, value)| (key, whole_numbers(value)))
            .collect(),
        value => value,
    }
}

/// A message as a sentence: with a capital and a full stop.
pub fn sentence(text: &str) -> String {
    let mut text = text.to_owned();
    if let Some(first) = text.get(..1).map(str::to_uppercase) {
        text.replace_range(..1, &first);
    }
    if !text.ends_with(['.', '!', '?']) {
        text.push('.');
    }
    text
}

#[cfg(test)]
mod tests {
    use serde::Deserialize;
    use serde_json::json;

    use super::*;

    #[derive(Debug, Deserialize, PartialEq)]
    struct Two {
        a: Vec<u8>,
    }

    #[test]
    fn a_whole_number_may_have_a_point() {
        let read: Two = read(json!({"a": [5.0, 1e1]})).expect("it reads");
        assert_eq!(read, Two { a: vec![5, 10] });
    }

    #[test]
    fn what_is_wrong_has_a_pointer() {
        let refused = read::<Two>(json!({"a": [1, 2.5]})).expect_err("not whole");
        assert_eq!(refused.pointer, "/a/1");
    }

    #[test]
    fn a_number_out_of_range_is_named() {
        let at = || "/a".to_owned();
        assert_eq!(within(at, 5, 1, 5), Ok(()));
        let refused = within(at, 6, 1, 5).expect_err("too large");
        assert_eq!(refused.to_string(), "/a: Send a number from 1 to 5, not 6.");
    }
}
