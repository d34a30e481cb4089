//! Rolls of one part for several sets, cut together.
//!
//! Each set's cuts are solved by themselves: two sets that each leave half a reel unused may do with
//! one. Here what the sets cut from rolls to buy is cut once more, from whatever is sold, for the
//! least money. The sets' own plans follow once what was ordered is in the house.

use std::collections::BTreeMap;

use super::{
    cut::{
        self, Aim, Effort, End, Fed, MOST_PRICE_MINOR, Problem, Roll, SolderWeights, Stock, Want,
    },
    manner::Manner,
};
use crate::{model::part::Part, units::Length};

/// A length in which a part can be had.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sold {
    /// Its length in micrometres.
    pub(super) roll_um: i64,
    /// What one costs.
    pub(super) price_minor: i64,
    /// How many there are; `None`: as many as wanted.
    pub(super) most: Option<u32>,
}

/// What is bought for all.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Together {
    /// How many of each length in micrometres.
    pub(super) rolls: BTreeMap<i64, u32>,
    /// What they cost.
    pub(super) cost_minor: i128,
    /// Whether nothing costs less.
    pub(super) proven: bool,
}

/// Steps of one search.
const STEPS: u64 = 40_000;

/// The rolls of least cost from which all the lengths (in the part's stock unit) can be cut; `None`
/// where they can't.
pub(super) fn cheapest(part: &Part, lengths: &[i64], sold: &[Sold]) -> Option<Together> {
    let manner = Manner::of(part).filter(|manner| !manner.whole_only)?;
    let sold: Vec<(&Sold, i64)> = sold
        .iter()
        .map(|it| {
            let roll = Length::new(it.roll_um).unwrap_or(Length::ZERO);
            (it, manner.amount(roll))
        })
        .filter(|(it, amount)| *amount > 0 && it.price_minor <= MOST_PRICE_MINOR)
        .collect();
    let amounts = sold.iter().map(|(_, amount)| *amount);
    let step = manner.step(amounts, lengths.iter().copied());
    let up = |amount: i64| u64::try_from((amount + step - 1) / step).unwrap_or(u64::MAX);
    let down = |amount: i64| u64::try_from(amount / step).unwrap_or(0).max(1);
    // A length that is exactly a whole roll needs no cut and no rounding.
    let units = |length: i64| {
        if sold.iter().any(|(_, amount)| *amount == length) {
            down(length)
        } else {
            up(length)
        }
    };
    let mut wants: BTreeMap<u64, u32> = BTreeMap::new();
    for &length in lengths.iter().filter(|length| **length > 0) {
        *wants.entry(units(length)).or_default() += 1;
    }
    let problem = Problem {
        stock: Vec::new(),
        rolls: sold
            .iter()
            .map(|(it, amount)| Roll {
                // Where the leads are makes no difference to what is bought.
                piece: Stock {
                    units: down(*amount),
                    start: End::Bare,
                    end: End::Bare,
                    joints: None,
                },
                price_minor: it.price_minor,
                quantity: it.most,
            })
            .collect(),
        wants: wants
            .into_iter()
            .map(|(units, quantity)| Want {
                units,
                quantity,
                fed: Fed::OneEnd,
            })
            .collect(),
        usable_units: 1,
        kerf_units: up(manner.kerf),
        trim_units: 0,
        weights: SolderWeights::NONE,
    };
    let effort = Effort {
        steps: STEPS,
        aim: Aim::Money,
        stop: &|| false,
    };
    let plan = cut::plan_within(&problem, &effort).ok()?;
    if !plan.short.is_empty() {
        return None;
    }
    let mut found = Together {
        proven: plan.proof.money.is_proven(),
        ..Together::default()
    };
    for layout in &plan.layouts {
        if let cut::Source::Roll(at) = layout.source {
            let (it, _) = sold.get(at)?;
            *found.rolls.entry(it.roll_um).or_default() += 1;
            found.cost_minor += i128::from(it.price_minor);
        }
    }
    Some(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{
        id::PartId,
        text::{Name, Note},
    };

    fn cable() -> Part {
        Part {
            id: PartId(1),
            name: Name::parse("Cable").unwrap(),
            code: String::new(),
            spec: serde_json::from_value(serde_json::json!({"kind": "cable", "conductors": 4}))
                .unwrap(),
            typical: false,
            note: Note::default(),
            retired: false,
            version: 1,
        }
    }

    fn metres(lengths: &[i64]) -> Vec<i64> {
        lengths.iter().map(|it| it * 1_000_000).collect()
    }

    fn sold(roll: i64, price_minor: i64, most: Option<u32>) -> Sold {
        Sold {
            roll_um: roll * 1_000_000,
            price_minor,
            most,
        }
    }

    #[test]
    fn one_long_reel_does_for_two_sets() {
        let offers = [sold(25, 3_400, None), sold(50, 6_100, None)];
        let found = cheapest(&cable(), &metres(&[9, 7, 14, 12]), &offers).unwrap();
        assert_eq!(found.rolls, BTreeMap::from([(50_000_000, 1)]));
        assert!(found.proven && found.cost_minor == 6_100);
        // Each by itself: 16 m from 25, 26 m from 50.
        let one = cheapest(&cable(), &metres(&[9, 7]), &offers).unwrap();
        let other = cheapest(&cable(), &metres(&[14, 12]), &offers).unwrap();
        assert!(one.cost_minor + other.cost_minor > found.cost_minor);
    }

    #[test]
    fn what_is_on_order_is_used_first_and_what_is_too_long_cannot_be_had() {
        let offers = [sold(50, 6_100, None), sold(25, 0, Some(2))];
        let found = cheapest(&cable(), &metres(&[9, 7, 14, 12]), &offers).unwrap();
        assert_eq!(found.rolls, BTreeMap::from([(25_000_000, 2)]));
        assert_eq!(found.cost_minor, 0);
        assert_eq!(cheapest(&cable(), &metres(&[51]), &offers), None);
        // A whole reel, beside a length that is no whole number of steps.
        let lengths = [50_000_000, 12_345_679];
        assert_eq!(
            cheapest(&cable(), &lengths, &offers).unwrap().cost_minor,
            6_100
        );
    }
}
