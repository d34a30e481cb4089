//! Columns of the program, and whole-number weights with the bound that they give.

use super::{
    super::{
        pattern::{Cost, Counts, Instance},
        price::Weights,
    },
    level::Level,
};

/// What a column of the program stands for.
#[derive(Debug, Clone)]
pub(in crate::plan::cut) enum What {
    /// A bar served by nothing, which no plan has.
    Missing,
    /// One bar too many, which no plan has.
    Surplus,
    /// A row's slack.
    Left,
    /// A bar of a kind given up.
    Short(usize),
    /// A piece of a class cut to a pattern.
    Cut {
        class: usize,
        counts: Counts,
        cost: Cost,
    },
}

impl What {
    /// What it adds to an objective.
    pub fn adds(&self, level: Level) -> i128 {
        match self {
            Self::Cut { cost, .. } => level.of(*cost),
            Self::Short(_) => i128::from(level == Level::Short),
            Self::Missing | Self::Surplus | Self::Left => 0,
        }
    }
}

/// Whole-number weights with the bound that they give.
#[derive(Debug, Clone)]
pub(in crate::plan::cut) struct Dual {
    pub weights: Weights,
    /// What giving a bar up weighs.
    pub short: i64,
    /// What one of the objective weighs: bound and costs are in parts of it.
    pub scale: i64,
    /// The bound, scaled.
    pub bound: i128,
    /// By class: the cheapest pattern, if it costs less than nought.
    pub least: Vec<i64>,
    /// By class: the most that bars in one piece are worth, where nothing but money weighs.
    pub holds: Vec<i64>,
}

impl Dual {
    /// What one of an objective weighs.
    pub(super) fn weight_of(&self, level: Level) -> i128 {
        i128::from(match level {
            Level::Short => self.short,
            Level::Money => self.weights.money,
            Level::Solder => self.weights.solder,
            Level::Scrap => self.weights.scrap,
            Level::Offcuts => self.weights.offcuts,
            Level::Squares => self.weights.squares,
        })
    }

    /// By how much a pattern is dearer than the cheapest of its class, scaled.
    pub(super) fn slack(&self, class: usize, counts: &[u32], cost: Cost) -> i128 {
        let reduced = self.weights.of(cost) - self.weights.worth_of(counts);
        reduced - i128::from(self.least[class])
    }

    /// No more than that, from a cost that has the least money and soldering and all rest in one.
    pub(super) fn slack_at_least(
        &self,
        instance: &Instance,
        class: usize,
        counts: &[u32],
        cost: Cost,
    ) -> i128 {
        let rest: i64 = counts
            .iter()
            .enumerate()
            .map(|(kind, &count)| instance.takes(kind) * i64::from(count))
            .sum();
        let rest = (instance.room(&instance.classes[class]) - rest - instance.kerf).max(0);
        let whole = self.weights.rest(instance, rest);
        // It may lie in several places, all of them scrap.
        let parts = self.weights.scrap.saturating_mul(rest);
        i128::from(self.weights.piece(instance, class))
            + i128::from(self.weights.solder) * i128::from(cost.solder)
            + i128::from(whole.min(parts))
            - self.weights.worth_of(counts)
            - i128::from(self.least[class])
    }

    /// The bound in whole units of the objective.
    pub fn least_value(&self) -> i128 {
        let scale = i128::from(self.scale);
        self.bound.div_euclid(scale) + i128::from(self.bound.rem_euclid(scale) > 0)
    }
}
