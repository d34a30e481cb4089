//! Reading documents: what is wrong with one is said with a pointer to the field.
//!
//! [`parse`] reads the text and refuses what JSON leaves open; [`read`] makes a type of ours of it. The
//! command line, the API and the bench read by these two.

use std::{cell::RefCell, fmt};

use serde::{
    Serialize,
    de::{DeserializeOwned, DeserializeSeed, Deserializer, MapAccess, SeqAccess, Visitor},
};
use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::{plain::plainly, shape};
use crate::model::text::{Name, TextError};

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

    /// The same, of a field within `step`.
    pub fn under(mut self, step: &str) -> Self {
        self.pointer.insert_str(0, &format!("/{step}"));
        self
    }
}

/// A key as a step of a JSON pointer.
pub fn step(key: &str) -> String {
    key.replace('~', "~0").replace('/', "~1")
}

/// Why a text is no document.
#[derive(Debug)]
pub enum Unread {
    /// It is not JSON.
    NotJson(serde_json::Error),
    /// It is, and says something twice, or holds what cannot be printed.
    Refused(Refused),
}

/// Reads JSON. A key that stands twice in one object is refused, since nobody knows which was meant;
/// so is text with characters that cannot be printed.
pub fn parse(text: &[u8]) -> Result<Value, Unread> {
    let fault = RefCell::new(None);
    let mut reader = serde_json::Deserializer::from_slice(text);
    let value = Strict(&fault).deserialize(&mut reader).map_err(|why| {
        let refused = fault.take();
        refused.map_or(Unread::NotJson(why), Unread::Refused)
    })?;
    reader.end().map_err(Unread::NotJson)?;
    Ok(value)
}

/// Reads one value; what it refuses it leaves in the cell, with the pointer as far as it is known.
#[derive(Clone, Copy)]
struct Strict<'a>(&'a RefCell<Option<Refused>>);

impl Strict<'_> {
    fn refuse<E: serde::de::Error>(self, refused: Refused) -> E {
        self.0.replace(Some(refused));
        E::custom("refused")
    }

    /// What was refused lies within `at`.
    fn within<E>(self, at: impl FnOnce() -> String) -> impl FnOnce(E) -> E {
        move |why| {
            let refused = self.0.take();
            self.0.replace(refused.map(|refused| refused.under(&at())));
            why
        }
    }
}

impl<'de> DeserializeSeed<'de> for Strict<'_> {
    type Value = Value;

    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Strict<'_> {
    type Value = Value;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }

    fn visit_bool<E>(self, value: bool) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_i64<E>(self, value: i64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_u64<E>(self, value: u64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_f64<E>(self, value: f64) -> Result<Value, E> {
        Ok(value.into())
    }

    fn visit_str<E: serde::de::Error>(self, value: &str) -> Result<Value, E> {
        self.visit_string(value.to_owned())
    }

    fn visit_string<E: serde::de::Error>(self, value: String) -> Result<Value, E> {
        let printed = |c: char| !c.is_control() || matches!(c, '\n' | '\r' | '\t');
        if value.chars().all(printed) {
            Ok(value.into())
        } else {
            Err(self.refuse(Refused::at("", TextError::Control.to_string())))
        }
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Value, A::Error> {
        let mut list = Vec::new();
        loop {
            let at = list.len();
            let next = seq.next_element_seed(self);
            match next.map_err(self.within(|| at.to_string()))? {
                Some(value) => list.push(value),
                None => return Ok(list.into()),
            }
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, mut fields: A) -> Result<Value, A::Error> {
        let mut map = Map::new();
        while let Some(key) = fields.next_key::<String>()? {
            if map.contains_key(&key) {
                let detail = "This stands here twice. Send it once.";
                return Err(self.refuse(Refused::at(format!("/{}", step(&key)), detail)));
            }
            let value = fields
                .next_value_seed(self)
                .map_err(self.within(|| step(&key)))?;
            map.insert(key, value);
        }
        Ok(map.into())
    }
}

/// Refuses a name that is none: empty, only spaces, longer than a name.
pub fn named(pointer: impl FnOnce() -> String, name: &str) -> Result<(), Refused> {
    match Name::parse(name) {
        Ok(_) => Ok(()),
        Err(TextError::Empty) => Err(Refused::at(
            pointer(),
            "Send a name: at least one letter or digit.",
        )),
        Err(why) => Err(Refused::at(pointer(), why.to_string())),
    }
}

/// Refuses a number outside of a range.
pub fn within<T: PartialOrd + Copy + fmt::Display>(
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
pub fn read<T: DeserializeOwned + ToSchema>(value: Value) -> Result<T, Refused> {
    shape::check::<T>(&value)?;
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
                    pointer.push_str(&step(key));
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
        Refused::at(pointer, plainly(&why))
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

    #[derive(Debug, Deserialize, PartialEq, ToSchema)]
    struct Bytes {
        a: Vec<u8>,
    }

    fn refused(text: &str) -> Refused {
        match parse(text.as_bytes()) {
            Err(Unread::Refused(why)) => why,
            other => panic!("{text}: {other:?}"),
        }
    }

    #[test]
    fn what_stands_twice_is_named() {
        assert_eq!(refused(r#"{"a": 1, "b": 2, "a": 1}"#).pointer, "/a");
        let deep = refused(r#"{"list": [{}, {"a/b": {"c": 1, "c": [1]}}]}"#);
        assert_eq!(deep.pointer, "/list/1/a~1b/c");
        assert_eq!(deep.detail, "This stands here twice. Send it once.");
        let fine = r#"{"a": {"a": [1, -2, 0.5, null, true, "x\n"]}, "b": {"a": {}}}"#;
        let value = parse(fine.as_bytes()).expect("nothing stands twice");
        assert_eq!(value, serde_json::from_str::<Value>(fine).expect("JSON"));
    }

    #[test]
    fn what_cannot_be_printed_is_named() {
        assert_eq!(refused(r#"{"a": ["b", "c\u0000"]}"#).pointer, "/a/1");
        assert_eq!(refused("\"\\u007f\"").pointer, "");
    }

    #[test]
    fn what_is_no_json_is_said_to_be_none() {
        for text in ["", "{", "{} {}", "[1,]", "{\"a\": 1e400}"] {
            assert!(
                matches!(parse(text.as_bytes()), Err(Unread::NotJson(_))),
                "{text}"
            );
        }
        let deep = "[".repeat(100_000);
        assert!(matches!(parse(deep.as_bytes()), Err(Unread::NotJson(_))));
    }

    #[test]
    fn a_whole_number_may_have_a_point() {
        let read: Bytes = read(json!({"a": [5.0, 1e1]})).expect("it reads");
        assert_eq!(read, Bytes { a: vec![5, 10] });
    }

    #[test]
    fn what_is_wrong_has_a_pointer() {
        let refused = read::<Bytes>(json!({"a": [1, 2.5]})).expect_err("not whole");
        assert_eq!(refused.pointer, "/a/1");
        let refused = read::<Bytes>(json!([[1, 2]])).expect_err("no object");
        assert_eq!(refused.pointer, "");
    }

    #[test]
    fn a_number_out_of_range_is_named() {
        let at = || "/a".to_owned();
        assert_eq!(within(at, 5, 1, 5), Ok(()));
        let refused = within(at, 6, 1, 5).expect_err("too large");
        assert_eq!(refused.to_string(), "/a: Send a number from 1 to 5, not 6.");
    }
}
