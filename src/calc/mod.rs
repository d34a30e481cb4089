//! Calculators: one document in, one document out, without a database.
//!
//! `tapewright calc KIND FILE` and `POST /api/v1/calc/KIND` take and give the same documents. Each
//! calculator has a file here with its two documents and a function between them. Time is a
//! parameter: whoever asks says how long it has taken so far.

use std::time::Duration;

use serde_json::Value;

use crate::model::text::words;

pub mod addresses;
pub mod cuts;
pub mod document;
pub mod drop;
pub mod feeds;
pub mod packs;
pub mod plain;
pub mod shape;
pub mod wires;

pub use document::Refused;

/// How long it has taken so far; asked often.
pub type Elapsed<'a> = &'a dyn Fn() -> Duration;

words! {
    /// What can be calculated.
    Kind {
        /// How to cut bars from pieces and rolls, see [`cuts`].
        Cuts = "cuts", "how to cut bars from pieces and rolls";
        /// Voltage drop and light along bars, see [`drop`].
        Drop = "drop", "volts and light along bars";
        /// What to buy in which packs, see [`packs`].
        Packs = "packs", "what to buy in which packs";
        /// Which load hangs on which driver output, and which inlet on which supply, see [`feeds`].
        Feeds = "feeds", "which load on which driver output, which inlet on which supply";
        /// DMX512 start addresses, see [`addresses`].
        Addresses = "addresses", "DMX512 start addresses";
        /// Wire order from terminal to pad, see [`wires`].
        Wires = "wires", "wire order from terminal to pad";
    }
}

/// Answers a document of a kind with another.
pub fn answer(kind: Kind, asked: Value, elapsed: Elapsed<'_>) -> Result<Value, Refused> {
    match kind {
        Kind::Cuts => document::write(&cuts::answer(&document::read(asked)?, elapsed)?),
        Kind::Drop => document::write(&drop::answer(&document::read(asked)?)?),
        Kind::Packs => document::write(&packs::answer(&document::read(asked)?)?),
        Kind::Feeds => document::write(&feeds::answer(&document::read(asked)?, elapsed)?),
        Kind::Addresses => document::write(&addresses::answer(&document::read(asked)?)?),
        Kind::Wires => document::write(&wires::answer(&document::read(asked)?)?),
    }
}

/// A worked example: the title, the document asked and the document answered.
#[derive(Debug, Clone, serde::Deserialize)]
pub struct Example {
    /// What it shows.
    pub title: String,
    /// What is asked.
    pub asked: Value,
    /// What is answered.
    pub said: Value,
}

impl Kind {
    /// Worked examples; the tests answer each again.
    pub fn examples(self) -> Vec<Example> {
        let files = match self {
            Self::Cuts => cuts::EXAMPLES,
            Self::Drop => drop::EXAMPLES,
            Self::Packs => packs::EXAMPLES,
            Self::Feeds => feeds::EXAMPLES,
            Self::Addresses => addresses::EXAMPLES,
            Self::Wires => wires::EXAMPLES,
        };
        files
            .iter()
            .filter_map(|file| serde_json::from_str(file).ok())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An answer without what no two runs have alike.
    fn untimed(mut said: Value) -> Value {
        if let Some(fields) = said.as_object_mut() {
            fields.remove("elapsed_ms");
        }
        said
    }

    #[test]
    fn every_example_is_answered_as_it_says() {
        for kind in Kind::ALL {
            let examples = kind.examples();
            assert_eq!(examples.len(), 3, "{kind}");
            for example in examples {
                let said =
                    answer(*kind, example.asked, &|| Duration::ZERO).expect("it is answered");
                assert_eq!(untimed(said), untimed(example.said), "{}", example.title);
            }
        }
    }
}
