//! Colour channels and the roles of conductors.

use std::{fmt, str::FromStr};

use serde::{Deserialize, Serialize};

use super::text::{UnknownWord, words};

words! {
    /// One colour of a tape, with its own conductor.
    Channel {
        /// Red.
        Red = "red", "red";
        /// Green.
        Green = "green", "green";
        /// Blue.
        Blue = "blue", "blue";
        /// The one white of a single-white or RGBW tape.
        White = "white", "white";
        /// The warm white of a tape with two whites.
        Warm = "warm", "warm white";
        /// The cool white of a tape with two whites.
        Cool = "cool", "cool white";
        /// Amber.
        Amber = "amber", "amber";
    }
}

impl Channel {
    /// One letter, as printed beside a wire; a legend stands on each sheet that uses it.
    pub const fn letter(self) -> char {
        match self {
            Self::Red => 'R',
            Self::Green => 'G',
            Self::Blue => 'B',
            Self::White => 'W',
            Self::Warm => 'N',
            Self::Cool => 'C',
            Self::Amber => 'A',
        }
    }
}

/// The colours of a tape or the colours wanted of a bar: each at most once, at least one, in the
/// order of [`Channel::ALL`].
#[derive(
    Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, utoipa::ToSchema,
)]
#[serde(try_from = "Vec<Channel>", into = "Vec<Channel>")]
#[schema(value_type = Vec<Channel>, min_items = 1, max_items = 7)]
pub struct Channels(Vec<Channel>);

/// Why a set of colours was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChannelsError {
    /// No colour.
    #[error("Name at least one colour, such as white or red, green, blue.")]
    Empty,
    /// The same colour twice.
    #[error("{0} is named twice; name each colour once.")]
    Twice(Channel),
    /// Not a colour channel.
    #[error(transparent)]
    Unknown(#[from] UnknownWord),
}

impl Channels {
    /// Sorts and checks a list of colours.
    pub fn new(mut list: Vec<Channel>) -> Result<Self, ChannelsError> {
        list.sort_unstable();
        if let Some(pair) = list.windows(2).find(|pair| pair[0] == pair[1]) {
            return Err(ChannelsError::Twice(pair[0]));
        }
        if list.is_empty() {
            Err(ChannelsError::Empty)
        } else {
            Ok(Self(list))
        }
    }

    /// The colours, in order.
    pub fn list(&self) -> &[Channel] {
        &self.0
    }

    /// How many colours.
    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// Conductors needed: one per colour, and the common.
    pub fn conductors(&self) -> usize {
        self.0.len() + 1
    }

    /// Whether every colour of `wanted` is here.
    pub fn cover(&self, wanted: &Self) -> bool {
        wanted.0.iter().all(|channel| self.0.contains(channel))
    }
}

impl TryFrom<Vec<Channel>> for Channels {
    type Error = ChannelsError;
    fn try_from(list: Vec<Channel>) -> Result<Self, ChannelsError> {
        Self::new(list)
    }
}

impl From<Channels> for Vec<Channel> {
    fn from(channels: Channels) -> Self {
        channels.0
    }
}

/// As people write it: the usual short names where there is one, else the words.
impl fmt::Display for Channels {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use Channel::{Blue, Cool, Green, Red, Warm, White};
        f.write_str(match self.0.as_slice() {
            [White] => "white",
            [Warm, Cool] => "tunable white",
            [Red, Green, Blue] => "RGB",
            [Red, Green, Blue, White] => "RGBW",
            [Red, Green, Blue, Warm, Cool] => "RGB+CCT",
            other => {
                let words: Vec<_> = other.iter().map(|channel| channel.label()).collect();
                return f.write_str(&words.join(", "));
            }
        })
    }
}

/// Reads `RGBW`, `tunable white`, or words with commas.
impl FromStr for Channels {
    type Err = ChannelsError;
    fn from_str(text: &str) -> Result<Self, ChannelsError> {
        use Channel::{Blue, Cool, Green, Red, Warm, White};
        let list = match text.trim().to_ascii_lowercase().as_str() {
            "rgb" => vec![Red, Green, Blue],
            "rgbw" => vec![Red, Green, Blue, White],
            "rgb+cct" | "rgbcct" => vec![Red, Green, Blue, Warm, Cool],
            "tunable white" | "cct" => vec![Warm, Cool],
            words => words
                .split([',', '+'])
                .map(str::trim)
                .filter(|word| !word.is_empty())
                .map(Channel::from_str)
                .collect::<Result<_, _>>()?,
        };
        Self::new(list)
    }
}

/// What a conductor, pin, pad or terminal is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum Role {
    /// The conductor that all colours share.
    Common,
    /// The conductor of one colour.
    Colour(Channel),
    /// A pin or core with nothing on it.
    Unused,
}

impl fmt::Display for Role {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Common => f.write_str("common"),
            Self::Colour(channel) => f.write_str(channel.word()),
            Self::Unused => f.write_str("unused"),
        }
    }
}

impl FromStr for Role {
    type Err = UnknownWord;
    fn from_str(text: &str) -> Result<Self, UnknownWord> {
        let text = text.trim();
        if text.eq_ignore_ascii_case("common") {
            Ok(Self::Common)
        } else if text.eq_ignore_ascii_case("unused") || text == "-" {
            Ok(Self::Unused)
        } else {
            Channel::from_str(text)
                .map(Self::Colour)
                .map_err(|unknown| UnknownWord {
                    known: &[
                        "common", "red", "green", "blue", "white", "warm", "cool", "amber",
                        "unused",
                    ],
                    ..unknown
                })
        }
    }
}

impl TryFrom<String> for Role {
    type Error = UnknownWord;
    fn try_from(text: String) -> Result<Self, UnknownWord> {
        text.parse()
    }
}

impl From<Role> for String {
    fn from(role: Role) -> Self {
        role.to_string()
    }
}

/// Roles in the order of the pins, pads or terminals.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(try_from = "Vec<Role>", into = "Vec<Role>")]
#[schema(value_type = Vec<String>, min_items = 2, max_items = 12, example = json!(["common", "red", "green", "blue"]))]
pub struct RoleOrder(Vec<Role>);

/// Why an order of conductors was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RoleOrderError {
    /// Fewer than two or more than twelve.
    #[error("An order names 2 to 12 conductors, such as common, red, green, blue; this has {0}.")]
    Count(usize),
    /// A colour twice.
    #[error("{0} stands twice in the order; each role stands once.")]
    Twice(Role),
    /// Not a role.
    #[error(transparent)]
    Unknown(#[from] UnknownWord),
}

impl RoleOrder {
    /// Checks an order: 2 to 12 roles, none twice but `unused`.
    pub fn new(list: Vec<Role>) -> Result<Self, RoleOrderError> {
        if !(2..=12).contains(&list.len()) {
            return Err(RoleOrderError::Count(list.len()));
        }
        for (i, role) in list.iter().enumerate() {
            if *role != Role::Unused && list[..i].contains(role) {
                return Err(RoleOrderError::Twice(*role));
            }
        }
        Ok(Self(list))
    }

    /// The roles in order.
    pub fn list(&self) -> &[Role] {
        &self.0
    }

    /// Conductors, unused ones included.
    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// Whether the order carries the common and every colour of `channels`.
    pub fn carries(&self, channels: &Channels) -> bool {
        self.0.contains(&Role::Common)
            && channels
                .list()
                .iter()
                .all(|channel| self.0.contains(&Role::Colour(*channel)))
    }
}

impl TryFrom<Vec<Role>> for RoleOrder {
    type Error = RoleOrderError;
    fn try_from(list: Vec<Role>) -> Result<Self, RoleOrderError> {
        Self::new(list)
    }
}

impl From<RoleOrder> for Vec<Role> {
    fn from(order: RoleOrder) -> Self {
        order.0
    }
}

impl fmt::Display for RoleOrder {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words: Vec<_> = self.0.iter().map(Role::to_string).collect();
        f.write_str(&words.join(", "))
    }
}

impl FromStr for RoleOrder {
    type Err = RoleOrderError;
    fn from_str(text: &str) -> Result<Self, RoleOrderError> {
        let list = text
            .split([',', '/', ';'])
            .map(str::trim)
            .filter(|word| !word.is_empty())
            .map(Role::from_str)
            .collect::<Result<_, _>>()?;
        Self::new(list)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn conductors_are_colours_and_the_common() {
        // Common practice, no source: four colours on a common need five conductors.
        assert_eq!("RGBW".parse::<Channels>().unwrap().conductors(), 5);
        assert_eq!("rgb".parse::<Channels>().unwrap().conductors(), 4);
    }

    #[test]
    fn short_names_read_back() {
        for name in ["white", "tunable white", "RGB", "RGBW", "RGB+CCT"] {
            assert_eq!(name.parse::<Channels>().unwrap().to_string(), name);
        }
        assert_eq!(
            "red, amber".parse::<Channels>().unwrap().to_string(),
            "red, amber"
        );
        assert!(matches!(
            "red, red".parse::<Channels>(),
            Err(ChannelsError::Twice(Channel::Red))
        ));
        assert!(matches!("".parse::<Channels>(), Err(ChannelsError::Empty)));
    }

    #[test]
    fn orders_refuse_a_role_twice_but_not_unused_pins() {
        assert!("common, red, unused, unused".parse::<RoleOrder>().is_ok());
        assert!(matches!(
            "common, red, red".parse::<RoleOrder>(),
            Err(RoleOrderError::Twice(Role::Colour(Channel::Red)))
        ));
        let order: RoleOrder = "common, green, red, blue".parse().unwrap();
        assert!(order.carries(&"RGB".parse().unwrap()));
        assert!(!order.carries(&"RGBW".parse().unwrap()));
    }
}
