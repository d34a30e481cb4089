//! An attribute by channel: an object of numbers, or one number for all of them.

use std::{collections::BTreeMap, fmt};

use serde::{
    Deserialize, Deserializer, Serialize,
    de::{Error, MapAccess, Visitor},
};
use utoipa::ToSchema;

/// Numbers by channel.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[serde(untagged)]
pub enum ByChannel {
    /// The same for every channel.
    Same(f64),
    /// Each by its channel's name.
    Each(BTreeMap<String, f64>),
}

impl ByChannel {
    /// The number of a channel, if it is given.
    pub fn of(&self, channel: &str) -> Option<f64> {
        match self {
            Self::Same(value) => Some(*value),
            Self::Each(map) => map.get(channel).copied(),
        }
    }

    /// The names given.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        let map = match self {
            Self::Same(_) => None,
            Self::Each(map) => Some(map),
        };
        map.into_iter().flat_map(BTreeMap::keys).map(String::as_str)
    }

    /// The pointer to the number of a channel, below the pointer to the attribute.
    pub fn pointer(&self, attribute: &str, channel: &str) -> String {
        match self {
            Self::Same(_) => attribute.to_owned(),
            Self::Each(_) => {
                let key = channel.replace('~', "~0").replace('/', "~1");
                format!("{attribute}/{key}")
            }
        }
    }
}

// By hand, so that a number that can't be read is told by its own path.
impl<'de> Deserialize<'de> for ByChannel {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Numbers;

        impl<'de> Visitor<'de> for Numbers {
            type Value = ByChannel;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number, or an object with one for each channel")
            }

            fn visit_f64<E: Error>(self, value: f64) -> Result<ByChannel, E> {
                Ok(ByChannel::Same(value))
            }

            fn visit_i64<E: Error>(self, value: i64) -> Result<ByChannel, E> {
                // JSON's numbers are one kind; a whole one may arrive as an integer.
                i32::try_from(value)
                    .map(|value| ByChannel::Same(value.into()))
                    .map_err(|_| E::custom("the number is too large"))
            }

            fn visit_u64<E: Error>(self, value: u64) -> Result<ByChannel, E> {
                u32::try_from(value)
                    .map(|value| ByChannel::Same(value.into()))
                    .map_err(|_| E::custom("the number is too large"))
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<ByChannel, A::Error> {
                let mut each = BTreeMap::new();
                while let Some((name, value)) = map.next_entry::<String, f64>()? {
                    each.insert(name, value);
                }
                Ok(ByChannel::Each(each))
            }
        }

        deserializer.deserialize_any(Numbers)
    }
}
