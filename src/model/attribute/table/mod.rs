//! The table: which attributes each kind has, how they are typed, and what the trade means by them.

use super::{Attribute, Typed};
use crate::model::part::Kind;

mod device;
mod sundry;
mod tape;
mod wire;

/// The attributes of a kind, in the order in which they are asked.
pub const fn of(kind: Kind) -> &'static [Attribute] {
    match kind {
        Kind::Tape => tape::TAPE,
        Kind::Profile => tape::PROFILE,
        Kind::Lead => wire::LEAD,
        Kind::Coupler => wire::COUPLER,
        Kind::Block => wire::BLOCK,
        Kind::Cable => wire::CABLE,
        Kind::Driver => device::DRIVER,
        Kind::Supply => device::SUPPLY,
        Kind::Data => device::DATA,
        Kind::Sundry => sundry::SUNDRY,
    }
}

const fn ask(name: &'static str, label: &'static str, typed: Typed) -> Attribute {
    Attribute {
        name,
        label,
        typed,
        hint: "",
        meaning: "",
        need: false,
        needed_for: "",
        only_where: None,
    }
}

impl Attribute {
    const fn hint(mut self, hint: &'static str) -> Self {
        self.hint = hint;
        self
    }

    const fn means(mut self, meaning: &'static str) -> Self {
        self.meaning = meaning;
        self
    }

    const fn needed(mut self) -> Self {
        self.need = true;
        self
    }

    const fn needed_for(mut self, what: &'static str) -> Self {
        self.needed_for = what;
        self
    }

    const fn only_where(mut self, name: &'static str, word: &'static str) -> Self {
        self.only_where = Some((name, word));
        self
    }
}

/// The words of an enum, as stored and as read.
macro_rules! one_of {
    ($words:ty) => {
        $crate::model::attribute::Typed::Words(|| {
            <$words>::ALL
                .iter()
                .map(|word| (word.word(), word.label()))
                .collect()
        })
    };
}
use one_of;
