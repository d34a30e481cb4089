//! The answer: the choice in the question's names.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::asked::PacksBody;
use crate::{
    model::text::words,
    plan::{
        answer::{Bounded, Proof},
        packs::{Aim, Choice, Question},
    },
};

/// Packs of one offer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PacksLine {
    /// What is bought.
    pub want: String,
    /// How many packs.
    pub packs: u64,
    /// What one holds.
    pub pack: u64,
    /// What they cost together.
    pub cost_minor: i64,
}

/// What one supplier sends.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PacksParcel {
    /// Who.
    pub supplier: String,
    /// What is in it.
    pub lines: Vec<PacksLine>,
    /// What the goods cost.
    pub goods_minor: i64,
    /// What the delivery costs.
    pub delivery_minor: i64,
}

/// What is bought beyond the amount wanted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PacksLeft {
    /// Of what.
    pub want: String,
    /// How much, in its unit.
    pub amount: u64,
}

/// What cannot be bought.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PacksShort {
    /// What.
    pub want: String,
    /// How much.
    pub needed: u64,
    /// Why, as a sentence.
    pub why: String,
}

words! {
    /// Another way to buy.
    PacksWay {
        /// For the least money.
        LeastMoney = "least_money", "least money";
        /// With the fewest parcels.
        FewestParcels = "fewest_parcels", "fewest parcels";
        /// As asked, without one supplier.
        Without = "without", "without a supplier";
    }
}

/// Another way to buy, to compare.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PacksBeside {
    /// Which way.
    pub way: PacksWay,
    /// Which supplier is left out; left out itself where none is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(nullable = false)]
    pub supplier: Option<String>,
    /// What it costs, deliveries included; `null` where not everything can be bought so.
    pub cost_minor: Option<i64>,
    /// How many parcels; `null` where it is not known.
    pub parcels: Option<usize>,
}

/// What to buy.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PacksAnswer {
    /// Goods and deliveries together.
    pub cost_minor: i64,
    /// No way to buy all of it costs less than this.
    pub cost_bound_minor: i64,
    /// Whether nothing is better by what counts first.
    pub proven: bool,
    /// What comes from whom, in the order of the suppliers.
    pub parcels: Vec<PacksParcel>,
    /// What is left over.
    pub left_over: Vec<PacksLeft>,
    /// What nobody sells.
    pub short: Vec<PacksShort>,
    /// Other ways, each with its price.
    pub beside: Vec<PacksBeside>,
}

impl PacksAnswer {
    pub(super) fn new(
        asked: &PacksBody,
        question: &Question,
        wants: &[usize],
        short: Vec<PacksShort>,
        best: &Bounded<Choice, i64>,
        other: &Bounded<Choice, i64>,
        without: &[(usize, Option<i64>)],
    ) -> Self {
        let choice = &best.value;
        let name = |want: usize| asked.wants[wants[want]].name.clone();
        let parcels = (0..question.suppliers.len())
            .map(|supplier| PacksParcel {
                supplier: asked.suppliers[supplier].name.clone(),
                lines: choice
                    .lines
                    .iter()
                    .map(|line| (line, question.wants[line.want].offers[line.offer]))
                    .filter(|(_, offer)| offer.supplier == supplier)
                    .map(|(line, offer)| PacksLine {
                        want: name(line.want),
                        packs: line.packs,
                        pack: offer.pack,
                        cost_minor: offer.price_minor * i64::try_from(line.packs).unwrap_or(0),
                    })
                    .collect(),
                goods_minor: choice.goods_minor[supplier],
                delivery_minor: choice.delivery_minor[supplier],
            })
            .filter(|parcel| !parcel.lines.is_empty())
            .collect();
        let way = match asked.aim {
            Aim::Money => PacksWay::FewestParcels,
            Aim::Parcels => PacksWay::LeastMoney,
        };
        let mut beside = vec![PacksBeside {
            way,
            supplier: None,
            cost_minor: Some(other.value.cost_minor),
            parcels: Some(other.value.parcels),
        }];
        beside.extend(without.iter().map(|(supplier, cost)| PacksBeside {
            way: PacksWay::Without,
            supplier: Some(asked.suppliers[*supplier].name.clone()),
            cost_minor: *cost,
            parcels: None,
        }));
        Self {
            cost_minor: choice.cost_minor,
            // Fewer parcels may cost more than the least money.
            cost_bound_minor: match asked.aim {
                Aim::Money => least_money(best),
                Aim::Parcels => least_money(other),
            },
            proven: best.proof.is_proven(),
            parcels,
            left_over: choice
                .left_over
                .iter()
                .enumerate()
                .filter(|(_, amount)| **amount > 0)
                .map(|(want, amount)| PacksLeft {
                    want: name(want),
                    amount: *amount,
                })
                .collect(),
            short,
            beside,
        }
    }
}

/// What no set of packs can cost less than, from the answer for the least money.
fn least_money(best: &Bounded<Choice, i64>) -> i64 {
    match best.proof {
        Proof::Proven => best.value.cost_minor,
        Proof::Within { bound } => bound,
        Proof::Open { .. } => 0,
    }
}
