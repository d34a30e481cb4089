//! What is asked of each kind of part: one table, from which come the reading of forms and CSV
//! rows, the texts that are shown, and what is unknown and what waits for it.

mod column;
mod compound;
mod table;
mod typed;

use serde_json::{Map, Value};

use super::{
    channel::Channel,
    part::{Kind, PartSpec, SpecError},
};
use crate::units::LengthUnit;

pub use compound::{connector, show_connector};
pub use table::of;
pub use typed::{Reading, Typed, Word, show_length};

/// One attribute of a kind.
#[derive(Debug, Clone, Copy)]
pub struct Attribute {
    /// Its name in JSON, which is its field's name in a form.
    pub name: &'static str,
    /// Its words on pages; in lower case its column in CSV.
    pub label: &'static str,
    /// How to type it, with an example.
    pub hint: &'static str,
    /// What the trade means by it.
    pub meaning: &'static str,
    /// How it is typed.
    pub typed: Typed,
    /// Whether it may not stay empty.
    pub need: bool,
    /// What cannot be worked out while it is unknown; empty if nothing waits for it.
    pub needed_for: &'static str,
    /// Asked only where another attribute has this word: name and word.
    pub only_where: Option<(&'static str, &'static str)>,
}

/// An attribute with its text.
#[derive(Debug, Clone)]
pub struct Shown {
    /// Which.
    pub attribute: &'static Attribute,
    /// The text that is read back as the same value; empty where it is unknown.
    pub text: String,
}

/// An attribute that is not known although something is worked out from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unknown {
    /// Its name in JSON.
    pub name: &'static str,
    /// What is unknown, in words.
    pub what: String,
    /// What cannot be worked out.
    pub needed_for: &'static str,
}

impl std::fmt::Display for Unknown {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "unknown: {} – needed for {}", self.what, self.needed_for)
    }
}

impl Attribute {
    fn applies(&self, spec: &Map<String, Value>) -> bool {
        self.only_where
            .is_none_or(|(name, word)| spec.get(name).and_then(Value::as_str) == Some(word))
    }

    /// Whether `unknown` is a word of its own that an empty text stands for.
    fn word_for_empty(&self) -> Option<&'static str> {
        match self.typed {
            Typed::Words(words) => words()
                .into_iter()
                .find(|word| word.0 == "unknown")
                .map(|word| word.0),
            _ => None,
        }
    }
}

/// Reads the attributes of a part from texts by name: a form's fields or a CSV row's cells.
/// Everything that is wrong is said, each by its attribute.
pub fn parse<'t>(
    kind: Kind,
    unit: LengthUnit,
    text: impl Fn(&'static Attribute) -> &'t str,
) -> Result<PartSpec, Vec<SpecError>> {
    let reading = Reading {
        unit,
        by_length: of(kind)
            .iter()
            .any(|a| a.name == "measure" && text(a).trim().eq_ignore_ascii_case("length")),
    };
    let mut spec = Map::from_iter([("kind".to_owned(), Value::from(kind.word()))]);
    let mut errors = Vec::new();
    for attribute in of(kind) {
        let typed = text(attribute).trim();
        if typed.is_empty() {
            if let Some(word) = attribute.word_for_empty() {
                spec.insert(attribute.name.to_owned(), Value::from(word));
            } else if attribute.need {
                errors.push(SpecError {
                    field: attribute.name,
                    message: format!("This is needed. {}", attribute.hint),
                });
            }
            continue;
        }
        match attribute.typed.parse(typed, reading) {
            Ok(value) => {
                spec.insert(attribute.name.to_owned(), value);
            }
            Err(message) => errors.push(SpecError {
                field: attribute.name,
                message,
            }),
        }
    }
    for attribute in of(kind) {
        let asked = attribute
            .only_where
            .is_none_or(|(name, _)| spec.contains_key(name));
        if asked && !attribute.applies(&spec) && spec.contains_key(attribute.name) {
            errors.push(SpecError {
                field: attribute.name,
                message: format!(
                    "This is asked of a {} only. Leave it empty.",
                    attribute.only_where.map_or("", |(_, word)| word)
                ),
            });
        }
    }
    if !errors.is_empty() {
        return Err(errors);
    }
    let one = |field, message: String| vec![SpecError { field, message }];
    let spec: PartSpec =
        serde_json::from_value(Value::Object(spec)).map_err(|why| one("", why.to_string()))?;
    spec.check().map_err(|why| vec![why])?;
    Ok(spec)
}

fn values(spec: &PartSpec) -> Map<String, Value> {
    match serde_json::to_value(spec) {
        Ok(Value::Object(map)) => map,
        _ => Map::new(),
    }
}

fn reading(spec: &Map<String, Value>, unit: LengthUnit) -> Reading {
    Reading {
        unit,
        by_length: spec.get("measure").and_then(Value::as_str) == Some("length"),
    }
}

/// The attributes of a part as texts, in the order of the table. [`parse`] reads them back.
pub fn show(spec: &PartSpec, unit: LengthUnit) -> Vec<Shown> {
    let map = values(spec);
    let reading = reading(&map, unit);
    of(spec.kind())
        .iter()
        .filter(|attribute| attribute.applies(&map))
        .map(|attribute| Shown {
            attribute,
            text: map
                .get(attribute.name)
                .map(|value| attribute.typed.show(value, reading))
                .unwrap_or_default(),
        })
        .collect()
}

/// What is unknown although something is worked out from it.
pub fn unknowns(spec: &PartSpec) -> Vec<Unknown> {
    let map = values(spec);
    let mut unknown = Vec::new();
    for attribute in of(spec.kind()).iter().filter(|a| a.applies(&map)) {
        let known = match map.get(attribute.name) {
            None | Some(Value::Null) => false,
            Some(Value::String(text)) => text != "unknown",
            Some(Value::Array(list)) => !list.is_empty(),
            Some(_) => true,
        };
        if !known && !attribute.needed_for.is_empty() {
            unknown.push(Unknown {
                name: attribute.name,
                what: attribute.label.to_lowercase(),
                needed_for: attribute.needed_for,
            });
        }
    }
    if let PartSpec::Tape(tape) = spec {
        for channel in &tape.channels {
            let white = matches!(
                channel.channel,
                Channel::White | Channel::Warm | Channel::Cool
            );
            if channel.power_mw_per_m.is_none() {
                unknown.push(Unknown {
                    name: "channels",
                    what: format!("watts per metre of {}", channel.channel),
                    needed_for: "currents, the voltage along a bar, and the size of supplies",
                });
            }
            if white && channel.kelvin.is_none() {
                unknown.push(Unknown {
                    name: "channels",
                    what: format!("colour temperature of {}", channel.channel),
                    needed_for: "telling whites apart that do not match",
                });
            }
        }
    }
    unknown
}

#[cfg(test)]
mod tests;
