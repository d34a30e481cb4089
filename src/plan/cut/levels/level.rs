//! The objectives one by one, what a solution comes to in each, and how each ended.

use super::super::pattern::{Cost, Instance, gcd};

/// The objectives one by one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(in crate::plan::cut) enum Level {
    Short,
    Money,
    Solder,
    Scrap,
    Offcuts,
    Squares,
}

impl Instance {
    /// What all values of a level are multiples of.
    pub(super) fn grain(&self, level: Level) -> i128 {
        let grain = match level {
            Level::Money => self
                .classes
                .iter()
                .filter_map(|class| class.price_minor)
                .fold(0, gcd),
            Level::Solder => {
                let jointed = self.classes.iter().any(|class| class.jointed);
                let joint = if jointed { self.joint } else { 0 };
                gcd(gcd(self.lead, joint), self.mark)
            }
            Level::Short | Level::Scrap | Level::Offcuts | Level::Squares => 1,
        };
        grain.max(1).into()
    }
}

impl Level {
    /// Soldering before money, and nothing that matters less.
    pub const SOLDER_FIRST: [Self; 3] = [Self::Short, Self::Solder, Self::Money];

    pub const ALL: [Self; 6] = [
        Self::Short,
        Self::Money,
        Self::Solder,
        Self::Scrap,
        Self::Offcuts,
        Self::Squares,
    ];

    /// How it ended, among levels in their order.
    pub fn done(self, done: &[Done]) -> Option<Done> {
        let at = Self::ALL.iter().position(|&level| level == self)?;
        done.get(at).copied()
    }

    pub fn of(self, cost: Cost) -> i128 {
        match self {
            Self::Short => cost.short.into(),
            Self::Money => cost.money.into(),
            Self::Solder => cost.solder.into(),
            Self::Scrap => cost.scrap.into(),
            Self::Offcuts => cost.offcuts.into(),
            Self::Squares => cost.squares_lost,
        }
    }
}

/// How one level ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::plan::cut) enum Done {
    Proven,
    /// No plan is better than this in the level.
    Bound(i128),
    /// Nothing is known.
    Open,
}
