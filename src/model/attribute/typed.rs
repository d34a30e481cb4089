//! How attributes are typed: the text that people write, and its value in JSON.

use serde::{Serialize, de::DeserializeOwned};
use serde_json::Value;

use super::compound;
use crate::{
    model::{
        channel::RoleOrder,
        connector::Connector,
        part::{Inlet, JointPitch, Kind, TapeChannel, UseRate},
        text::Name,
    },
    units::{
        ConductorSize, Current, CutPitch, Frequency, Length, LengthUnit, PowerPerLength,
        ResistancePerLength, Voltage,
    },
};

/// A word of a list: as stored, and as read.
pub type Word = (&'static str, &'static str);

/// How an attribute is typed.
#[derive(Debug, Clone, Copy)]
pub enum Typed {
    /// A length; a bare number takes the venue's unit.
    Length,
    /// A width, which the trade gives in millimetres everywhere.
    Width,
    /// Lengths with commas or semicolons between.
    Lengths,
    /// Volts.
    Voltage,
    /// Amps.
    Current,
    /// Watts per metre.
    PowerPerLength,
    /// Ohms per metre.
    Resistance,
    /// Hertz.
    Frequency,
    /// A whole number within limits.
    Count {
        /// The least.
        least: i64,
        /// The most.
        most: i64,
    },
    /// One of a few numbers.
    OneOf(&'static [i64]),
    /// One to a hundred percent.
    Percent,
    /// One word of a list.
    Words(fn() -> Vec<Word>),
    /// Yes, no, or unknown.
    YesNo,
    /// Roles in order.
    Roles,
    /// A connector: family, gender, pins.
    Connector,
    /// Names with commas between.
    Names,
    /// Colours, each with its kelvin and watts per metre.
    Channels,
    /// The cut pitch of a tape.
    Pitch,
    /// Where a tape has pre-tinned joints.
    Joints,
    /// Which outputs each inlet feeds.
    Inlets,
    /// A conductor size.
    Conductor,
    /// Another part of this kind, by its number.
    Part(Kind),
    /// How much is used for each of something.
    Rate,
    /// A fuse: its rating and how it is made.
    Fuse,
    /// A short text.
    Text,
}

/// What reading and showing depends on.
#[derive(Debug, Clone, Copy)]
pub struct Reading {
    /// The venue's unit of length.
    pub unit: LengthUnit,
    /// Whether the part is measured by length (a sundry such as solder).
    pub by_length: bool,
}

impl Typed {
    /// Reads a text that is not empty; the error is the sentence for people.
    pub(super) fn parse(self, text: &str, reading: Reading) -> Result<Value, String> {
        let text = text.trim();
        match self {
            Self::Length => length(text, reading.unit).and_then(json),
            Self::Width => length(text, LengthUnit::Mm).and_then(json),
            Self::Lengths => items(text)
                .map(|item| length(item, reading.unit))
                .collect::<Result<Vec<_>, _>>()
                .and_then(json),
            Self::Voltage => said(Voltage::parse(text)),
            Self::Current => said(Current::parse(text)),
            Self::PowerPerLength => said(PowerPerLength::parse(text)),
            Self::Resistance => said(ResistancePerLength::parse(text)),
            Self::Frequency => said(Frequency::parse(text)),
            Self::Count { least, most } => count(text, least, most).and_then(json),
            Self::OneOf(numbers) => text
                .parse::<i64>()
                .ok()
                .filter(|number| numbers.contains(number))
                .ok_or_else(|| format!("Type {}.", or_list(numbers)))
                .and_then(json),
            Self::Percent => count(text.trim_end_matches('%').trim_end(), 1, 100).and_then(json),
            Self::Words(words) => word(text, &words()).and_then(json),
            Self::YesNo => match text.to_ascii_lowercase().as_str() {
                "yes" | "y" | "true" => Ok(Value::Bool(true)),
                "no" | "n" | "false" => Ok(Value::Bool(false)),
                _ => Err("Type yes or no, or leave it empty where nobody knows.".into()),
            },
            Self::Roles => said(text.parse::<RoleOrder>()),
            Self::Connector => compound::connector(text).and_then(json),
            Self::Names => items(text)
                .map(|item| Name::parse(item).map_err(|why| why.to_string()))
                .collect::<Result<Vec<_>, _>>()
                .and_then(json),
            Self::Channels => compound::channels(text).and_then(json),
            Self::Pitch => said(CutPitch::parse(text, reading.unit)),
            Self::Joints => compound::joints(text).and_then(json),
            Self::Inlets => compound::inlets(text).and_then(json),
            Self::Conductor => said(ConductorSize::parse(text)),
            Self::Part(kind) => text
                .parse::<i64>()
                .map_err(|_| format!("Choose a {kind} from the list."))
                .and_then(json),
            Self::Rate => compound::rate(text, reading).and_then(json),
            Self::Fuse => compound::fuse(text).and_then(json),
            Self::Text => said(Name::parse(text)),
        }
    }

    /// The text that is read back as the same value.
    pub(super) fn show(self, value: &Value, reading: Reading) -> String {
        match self {
            Self::Length => each(value, |length| show_length(length, reading.unit)),
            Self::Width => each(value, |width: Length| width.show(LengthUnit::Mm)),
            Self::Lengths => list(value, |length| show_length(length, reading.unit)),
            Self::Voltage => each(value, Voltage::show),
            Self::Current => each(value, Current::show),
            Self::PowerPerLength => each(value, PowerPerLength::show),
            Self::Resistance => each(value, ResistancePerLength::show),
            Self::Frequency => each(value, Frequency::show),
            Self::Count { .. } | Self::OneOf(_) | Self::Part(_) => {
                each(value, |number: i64| number.to_string())
            }
            Self::Percent => each(value, |percent: i64| format!("{percent} %")),
            Self::Words(words) => each(value, |stored: String| {
                words()
                    .iter()
                    .find(|word| word.0 == stored)
                    .map_or(stored, |word| word.1.to_owned())
            }),
            Self::YesNo => each(value, |yes| if yes { "yes" } else { "no" }.to_owned()),
            Self::Roles => each(value, |roles: RoleOrder| roles.to_string()),
            Self::Connector => each(value, |connector: Connector| {
                compound::show_connector(&connector)
            }),
            Self::Names => list(value, |name: Name| name.to_string()),
            Self::Channels => each(value, |channels: Vec<TapeChannel>| {
                compound::show_channels(&channels)
            }),
            Self::Pitch => each(value, |pitch: CutPitch| {
                let over = Length::new(pitch.um().into()).unwrap_or(Length::ZERO);
                pitch.show(readable(over, reading.unit))
            }),
            Self::Joints => each(value, |joints: JointPitch| {
                format!(
                    "every {}, first at {}",
                    joints.every_units, joints.offset_units
                )
            }),
            Self::Inlets => each(value, |inlets: Vec<Inlet>| {
                let texts: Vec<_> = inlets
                    .iter()
                    .map(|inlet| compound::ranges(&inlet.outputs))
                    .collect();
                texts.join("; ")
            }),
            Self::Conductor => each(value, |size: ConductorSize| size.to_string()),
            Self::Rate => each(value, |rate: UseRate| compound::show_rate(rate, reading)),
            Self::Fuse => each(value, compound::show_fuse),
            Self::Text => each(value, |text: Name| text.to_string()),
        }
    }

    /// What may be chosen, where there is a list of it.
    pub fn choices(self) -> Option<Vec<(String, String)>> {
        match self {
            Self::Words(words) => Some(
                words()
                    .into_iter()
                    .map(|(stored, read)| (stored.to_owned(), read.to_owned()))
                    .collect(),
            ),
            Self::OneOf(numbers) => Some(
                numbers
                    .iter()
                    .map(|number| (number.to_string(), number.to_string()))
                    .collect(),
            ),
            Self::YesNo => Some(
                ["yes", "no"]
                    .map(|word| (word.to_owned(), word.to_owned()))
                    .to_vec(),
            ),
            _ => None,
        }
    }
}

/// A length in the venue's unit, unless that needs many decimals and millimetres or metres do not:
/// tape sold by 5 m stays 5 m in a venue that works in feet.
pub fn show_length(length: Length, unit: LengthUnit) -> String {
    length.show(readable(length, unit))
}

fn readable(length: Length, unit: LengthUnit) -> LengthUnit {
    /// A hundredth of an inch, in micrometres.
    const HUNDREDTH_IN: i64 = 254;
    if unit.metric() || length.get() % HUNDREDTH_IN == 0 || length.get() % 100 != 0 {
        unit
    } else if length.get() % 100_000 == 0 && length >= Length::mm(1000) {
        LengthUnit::M
    } else {
        LengthUnit::Mm
    }
}

fn json(value: impl Serialize) -> Result<Value, String> {
    serde_json::to_value(value).map_err(|why| why.to_string())
}

fn said<T: Serialize, E: std::fmt::Display>(result: Result<T, E>) -> Result<Value, String> {
    result.map_err(|why| why.to_string()).and_then(json)
}

fn each<T: DeserializeOwned>(value: &Value, show: impl Fn(T) -> String) -> String {
    T::deserialize(value).map(show).unwrap_or_default()
}

fn list<T: DeserializeOwned>(value: &Value, show: impl Fn(T) -> String) -> String {
    each(value, |list: Vec<T>| {
        let texts: Vec<_> = list.into_iter().map(&show).collect();
        texts.join(", ")
    })
}

/// The items of a list, parted by semicolons, new lines, or commas that are no decimal commas.
pub(super) fn items(text: &str) -> impl Iterator<Item = &str> {
    let bytes = text.as_bytes();
    let mut start = 0;
    let mut found = Vec::new();
    for (at, char) in text.char_indices() {
        let digit = |at: Option<usize>| {
            at.and_then(|at| bytes.get(at))
                .is_some_and(u8::is_ascii_digit)
        };
        let parts = match char {
            ';' | '\n' => true,
            ',' => !(digit(at.checked_sub(1)) && digit(Some(at + 1))),
            _ => false,
        };
        if parts {
            found.push(&text[start..at]);
            start = at + 1;
        }
    }
    found.push(&text[start..]);
    found
        .into_iter()
        .map(str::trim)
        .filter(|item| !item.is_empty())
}

pub(super) fn length(text: &str, unit: LengthUnit) -> Result<Length, String> {
    match Length::parse(text, unit) {
        Ok(Length::ZERO) => Err("Type a length above zero, such as 12 mm or 2.4 m.".into()),
        Ok(length) => Ok(length),
        Err(why) => Err(why.to_string()),
    }
}

fn count(text: &str, least: i64, most: i64) -> Result<i64, String> {
    match text.parse::<i64>() {
        Ok(number) if (least..=most).contains(&number) => Ok(number),
        _ => Err(format!("Type a whole number from {least} to {most}.")),
    }
}

fn or_list(numbers: &[i64]) -> String {
    let texts: Vec<_> = numbers.iter().map(i64::to_string).collect();
    texts.join(" or ")
}

fn word(text: &str, words: &[Word]) -> Result<&'static str, String> {
    // A minus sign in a label may come back as a hyphen.
    let plain = |text: &str| text.to_lowercase().replace('−', "-");
    let text = plain(text);
    words
        .iter()
        .find(|word| plain(word.0) == text || plain(word.1) == text)
        .map(|word| word.0)
        .ok_or_else(|| {
            let labels: Vec<_> = words.iter().map(|word| word.1).collect();
            format!("Type one of: {}.", labels.join(", "))
        })
}
