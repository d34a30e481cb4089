//! Forms: what was typed is kept, what is wrong is said beside the field, the answer is 422.

use std::{collections::BTreeMap, fmt::Display, str::FromStr};

use axum::{
    body::Bytes,
    extract::{FromRequest, Multipart, Request, rejection::BytesRejection},
    http::{StatusCode, header},
};
use percent_encoding::{NON_ALPHANUMERIC, percent_decode, utf8_percent_encode};

use super::error::Trouble;
use crate::{
    model::text::{Name, Note},
    units::{Currency, Date, Length, LengthUnit, Money, SignedLength, parse_date},
};

/// What was typed into a form (or asked in an address), and what is wrong with it.
#[derive(Debug, Clone, Default)]
pub struct Form {
    values: Vec<(String, String)>,
    errors: BTreeMap<String, Vec<String>>,
}

/// The most fields in one form.
const FIELD_LIMIT: usize = 5000;

impl Form {
    /// A form to be filled in, with these values to begin with.
    pub fn filled<K: Into<String>, V: Into<String>>(
        values: impl IntoIterator<Item = (K, V)>,
    ) -> Self {
        Self {
            values: values
                .into_iter()
                .map(|(k, v)| (k.into(), v.into()))
                .collect(),
            errors: BTreeMap::new(),
        }
    }

    /// Reads `a=1&b=2`, refusing what is not UTF-8.
    pub fn decode(text: &[u8]) -> Result<Self, Trouble> {
        let mut values = Vec::new();
        for pair in text
            .split(|byte| *byte == b'&')
            .filter(|pair| !pair.is_empty())
        {
            let mut halves = pair.splitn(2, |byte| *byte == b'=');
            let mut half = || decode_part(halves.next().unwrap_or_default());
            values.push((half()?, half()?));
            if values.len() > FIELD_LIMIT {
                return Err(Trouble::new(
                    StatusCode::PAYLOAD_TOO_LARGE,
                    format!("This form has more than {FIELD_LIMIT} fields. Nothing was changed."),
                ));
            }
        }
        Ok(Self {
            values,
            errors: BTreeMap::new(),
        })
    }

    /// The text of a field as typed; empty if it was not sent.
    pub fn value(&self, name: &str) -> &str {
        self.values
            .iter()
            .rev()
            .find(|(key, _)| key == name)
            .map_or("", |(_, value)| value)
    }

    /// Every value of a field that may come several times.
    pub fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.values
            .iter()
            .filter(move |(key, _)| key == name)
            .map(|(_, value)| value.as_str())
    }

    /// Every field as sent.
    pub fn pairs(&self) -> impl Iterator<Item = (&str, &str)> {
        self.values
            .iter()
            .map(|(key, value)| (key.as_str(), value.as_str()))
    }

    /// Whether the field was sent at all.
    pub fn has(&self, name: &str) -> bool {
        self.values.iter().any(|(key, _)| key == name)
    }

    /// Sets a field, in place of what it held.
    pub fn set(&mut self, name: &str, value: impl Into<String>) {
        self.values.retain(|(key, _)| key != name);
        self.values.push((name.to_owned(), value.into()));
    }

    /// Fills the fields that were not sent at all, so that a first look has something to change.
    pub fn fill(&mut self, first: &[(&str, &str)]) {
        for (name, value) in first {
            if !self.has(name) {
                self.set(name, *value);
            }
        }
    }

    /// What stood in the form when it was opened, for it to carry along (see [`super::clash`]).
    pub fn was(&self) -> String {
        if self.has("was") {
            self.value("was").to_owned()
        } else {
            self.encoded()
        }
    }

    /// What stood in it when it was opened, if it carries that.
    pub fn opened_with(&self) -> Option<Self> {
        if !self.has("was") {
            return None;
        }
        Self::decode(self.value("was").as_bytes()).ok()
    }

    /// From now on it counts as opened with `now`.
    pub fn reopen(&mut self, now: &Self) {
        self.set("was", now.encoded());
    }

    /// Takes the fields that were ticked for it as they stood when the form was opened.
    pub fn settle(&mut self) {
        let take: Vec<String> = self.all("take").map(ToOwned::to_owned).collect();
        if let (false, Some(was)) = (take.is_empty(), self.opened_with()) {
            for name in &take {
                self.set(name, was.value(name));
            }
            self.values.retain(|(key, _)| key != "take");
        }
    }

    /// `a=1&b=2`, without the version, which is not typed.
    fn encoded(&self) -> String {
        let text = |text| utf8_percent_encode(text, NON_ALPHANUMERIC);
        let pairs = self.pairs().filter(|(name, _)| *name != "version");
        let pairs: Vec<String> = pairs
            .map(|(name, value)| format!("{}={}", text(name), text(value)))
            .collect();
        pairs.join("&")
    }

    /// The messages of a field (or of the whole form, under the empty name).
    pub fn errors(&self, name: &str) -> &[String] {
        self.errors.get(name).map_or(&[], Vec::as_slice)
    }

    /// Every message, for the summary above the form.
    pub fn all_errors(&self) -> Vec<&String> {
        self.errors.values().flatten().collect()
    }

    /// Says what is wrong with a field.
    pub fn fail(&mut self, name: &str, message: impl Display) {
        self.errors
            .entry(name.to_owned())
            .or_default()
            .push(message.to_string());
    }

    /// Whether nothing is wrong.
    pub fn ok(&self) -> bool {
        self.errors.is_empty()
    }

    /// Parses a field; what is wrong is noted beside it.
    pub fn take<T, E: Display>(
        &mut self,
        name: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<T> {
        match parse(self.value(name)) {
            Ok(value) => Some(value),
            Err(why) => {
                self.fail(name, why);
                None
            }
        }
    }

    /// Parses a field that may be left empty. The outer `None` means that it is wrong.
    pub fn optional<T, E: Display>(
        &mut self,
        name: &str,
        parse: impl FnOnce(&str) -> Result<T, E>,
    ) -> Option<Option<T>> {
        if self.value(name).trim().is_empty() {
            Some(None)
        } else {
            self.take(name, parse).map(Some)
        }
    }

    /// A name.
    pub fn name(&mut self, name: &str) -> Option<Name> {
        self.take(name, Name::parse)
    }

    /// A note, which may be empty.
    pub fn note(&mut self, name: &str) -> Option<Note> {
        self.take(name, Note::parse)
    }

    /// A length; a bare number takes the venue's unit.
    pub fn length(&mut self, name: &str, unit: LengthUnit) -> Option<Length> {
        self.take(name, |text| Length::parse(text, unit))
    }

    /// A length above zero.
    pub fn length_above_zero(&mut self, name: &str, unit: LengthUnit) -> Option<Length> {
        let length = self.length(name, unit)?;
        if length == Length::ZERO {
            self.fail(name, "Type a length above zero, such as 2.4 m or 7 ft.");
            return None;
        }
        Some(length)
    }

    /// A position, which may be negative; empty is zero.
    pub fn position(&mut self, name: &str, unit: LengthUnit) -> Option<SignedLength> {
        self.optional(name, |text| SignedLength::parse(text, unit))
            .map(Option::unwrap_or_default)
    }

    /// A day.
    pub fn date(&mut self, name: &str) -> Option<Date> {
        self.take(name, parse_date)
    }

    /// A sum of money.
    pub fn money(&mut self, name: &str, currency: &Currency) -> Option<Money> {
        self.take(name, |text| Money::parse(text, currency))
    }

    /// A whole number within limits.
    pub fn count(&mut self, name: &str, least: i64, most: i64) -> Option<i64> {
        self.take(name, |text| {
            let text = text.trim();
            match text.parse::<i64>() {
                Ok(count) if (least..=most).contains(&count) => Ok(count),
                Ok(_) => Err(format!("Type a whole number from {least} to {most}.")),
                Err(_) if text.is_empty() => {
                    Err(format!("Type a whole number from {least} to {most}."))
                }
                Err(_) => Err(format!(
                    "“{}” is not a whole number; type one from {least} to {most}.",
                    text.chars().take(40).collect::<String>()
                )),
            }
        })
    }

    /// One of a list of words.
    pub fn word<T: FromStr>(&mut self, name: &str) -> Option<T>
    where
        T::Err: Display,
    {
        self.take(name, T::from_str)
    }

    /// An id chosen from a list.
    pub fn id<T: FromStr>(&mut self, name: &str) -> Option<T> {
        self.take(name, |text| {
            text.trim().parse().map_err(|_| "Choose one from the list.")
        })
    }

    /// An id chosen from a list, or none. The outer `None` means that it is wrong.
    pub fn optional_id<T: FromStr>(&mut self, name: &str) -> Option<Option<T>> {
        self.optional(name, |text| {
            text.trim().parse().map_err(|_| "Choose one from the list.")
        })
    }

    /// A box to tick.
    pub fn ticked(&self, name: &str) -> bool {
        !matches!(self.value(name), "" | "0" | "no" | "off" | "false")
    }
}

fn decode_part(part: &[u8]) -> Result<String, Trouble> {
    let spaced: Vec<u8> = part
        .iter()
        .map(|byte| if *byte == b'+' { b' ' } else { *byte })
        .collect();
    let text = percent_decode(&spaced)
        .decode_utf8()
        .map_err(|_| broken())?;
    if text.contains('\0') {
        return Err(broken());
    }
    Ok(text.into_owned())
}

/// What was sent is not text.
pub(super) fn broken() -> Trouble {
    Trouble::new(
        StatusCode::BAD_REQUEST,
        "What was sent is not text that can be read (broken UTF-8). Nothing was changed. \
         Go back, type it again and send it once more.",
    )
}

fn too_large() -> Trouble {
    Trouble::new(
        StatusCode::PAYLOAD_TOO_LARGE,
        "What was sent is larger than this page takes. Nothing was changed. Send it in smaller parts.",
    )
}

impl<S: Send + Sync> FromRequest<S> for Form {
    type Rejection = Trouble;

    async fn from_request(request: Request, state: &S) -> Result<Self, Trouble> {
        let mut form = Self::read(request, state).await?;
        form.settle();
        Ok(form)
    }
}

impl Form {
    async fn read<S: Send + Sync>(request: Request, state: &S) -> Result<Self, Trouble> {
        if request.method() == axum::http::Method::GET {
            return Self::decode(request.uri().query().unwrap_or_default().as_bytes());
        }
        let kind = request
            .headers()
            .get(header::CONTENT_TYPE)
            .and_then(|value| value.to_str().ok())
            .unwrap_or_default()
            .to_ascii_lowercase();
        if kind.starts_with("application/x-www-form-urlencoded") || kind.is_empty() {
            let body = Bytes::from_request(request, state)
                .await
                .map_err(|why| match why {
                    BytesRejection::FailedToBufferBody(_) => too_large(),
                    _ => broken(),
                })?;
            if kind.is_empty() && !body.is_empty() {
                return Err(unknown_kind());
            }
            Self::decode(&body)
        } else if kind.starts_with("multipart/form-data") {
            let mut multipart = Multipart::from_request(request, state)
                .await
                .map_err(|_| broken())?;
            let mut form = Self::default();
            loop {
                match multipart.next_field().await {
                    Ok(Some(field)) => {
                        let name = field.name().unwrap_or_default().to_owned();
                        let bytes = field.bytes().await.map_err(|why| {
                            if why.status() == StatusCode::PAYLOAD_TOO_LARGE {
                                too_large()
                            } else {
                                broken()
                            }
                        })?;
                        let text = String::from_utf8(bytes.to_vec()).map_err(|_| broken())?;
                        form.values.push((name, text));
                    }
                    Ok(None) => return Ok(form),
                    Err(why) if why.status() == StatusCode::PAYLOAD_TOO_LARGE => {
                        return Err(too_large());
                    }
                    Err(_) => return Err(broken()),
                }
            }
        } else {
            Err(unknown_kind())
        }
    }
}

fn unknown_kind() -> Trouble {
    Trouble::new(
        StatusCode::UNSUPPORTED_MEDIA_TYPE,
        "This page takes a form (application/x-www-form-urlencoded or multipart/form-data) and \
         nothing else. Nothing was changed.",
    )
}

/// One choice of a select field.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// What is sent.
    pub value: String,
    /// What is read.
    pub label: String,
    /// Whether it is chosen.
    pub chosen: bool,
}

impl Choice {
    /// Choices from pairs of value and label, with the one chosen that was typed.
    pub fn list<V: Display, L: Display>(
        pairs: impl IntoIterator<Item = (V, L)>,
        chosen: &str,
    ) -> Vec<Self> {
        pairs
            .into_iter()
            .map(|(value, label)| {
                let value = value.to_string();
                Self {
                    chosen: value == chosen,
                    value,
                    label: label.to_string(),
                }
            })
            .collect()
    }

    /// What is read of a value; the value itself where it is none of the list.
    pub fn label_of(list: &[Self], value: &str) -> String {
        let found = list.iter().find(|choice| choice.value == value);
        found.map_or_else(|| value.to_owned(), |choice| choice.label.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_typed_is_kept_and_messages_stand_at_their_field() {
        let mut form = Form::decode(b"length=-3+m&label=&n=0&day=2026-02-30").unwrap();
        assert_eq!(form.length("length", LengthUnit::Mm), None);
        assert_eq!(form.name("label"), None);
        assert_eq!(form.count("n", 1, 500), None);
        assert_eq!(form.date("day"), None);
        assert!(!form.ok());
        assert_eq!(form.value("length"), "-3 m");
        for name in ["length", "label", "n", "day"] {
            assert_eq!(form.errors(name).len(), 1, "{name}");
        }
    }

    #[test]
    fn broken_utf_8_is_refused() {
        assert_eq!(
            Form::decode(b"a=%ff").unwrap_err().status,
            StatusCode::BAD_REQUEST
        );
        assert_eq!(
            Form::decode("a=7%E2%80%B2".as_bytes()).unwrap().value("a"),
            "7′"
        );
    }
}
